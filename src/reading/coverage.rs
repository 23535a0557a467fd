//! What the printed uncertainty of a centre holds.
//!
//! A reading prints the half width that holds the true centre in 90 % of photos, for length and for
//! height each. What [`combine`](crate::reading::combine) puts together are standard deviations as far as
//! they are known; how much wider the truth scatters is measured (`calibration.rs`), and applied nowhere else.

use super::calibration::CALIBRATION;
use crate::frames::FlankPoint;

/// Half the width that holds 90 % of a normal distribution, in standard deviations (the 95 % point of
/// the standard normal distribution, 1.6449).
pub(crate) const HALF_WIDTH_90: f64 = 1.6449;

/// Who drew the outlines that a reading rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum OutlineSource {
    /// The user marked them.
    #[default]
    Marked,
    /// They were found in the photo.
    Found,
}

/// The half width that holds 90 %, of a standard deviation that was put together from its parts.
pub(super) fn half_width_90(deviation: FlankPoint, source: OutlineSource) -> FlankPoint {
    let factor = match source {
        OutlineSource::Marked => CALIBRATION.coverage_factor_marked,
        OutlineSource::Found => CALIBRATION.coverage_factor_found,
    };
    FlankPoint::new(
        factor.length * deviation.length,
        factor.height * deviation.height,
    )
}

/// The standard deviation of a centre whose printed uncertainty this is.
pub(crate) fn deviation(printed: FlankPoint) -> FlankPoint {
    FlankPoint::new(
        printed.length / HALF_WIDTH_90,
        printed.height / HALF_WIDTH_90,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_printed_uncertainty_gives_back_a_deviation_a_normal_error_of_which_it_holds_nine_in_ten() {
        // Table of the standard normal distribution: 0.95 lies below 1.6449.
        let back = deviation(FlankPoint::new(1.6449, 0.822_45));
        assert!((back.length - 1.0).abs() < 1e-9 && (back.height - 0.5).abs() < 1e-9);
    }
}
