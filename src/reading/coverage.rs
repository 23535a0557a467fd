//! What the printed uncertainty of a centre holds.
//!
//! A reading prints the half width that holds the true centre in 90 % of photos, for length and for
//! height each. What [`combine`](crate::reading::combine) puts together are standard deviations as far as
//! they are known; how much wider the truth scatters is measured (`calibration.rs` here and in `flank`), and applied nowhere else.

use super::calibration::CALIBRATION;
use crate::flank::FitScatter;
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

/// The half width that holds 90 %, of a standard deviation that was put together from its parts. Of found outlines what was
/// counted for the fit gives way to what was measured.
pub(super) fn half_width_90(deviation: FlankPoint, found: Option<&FitScatter>) -> FlankPoint {
    let Some(scatter) = found else {
        let factor = CALIBRATION.coverage_factor_marked;
        return FlankPoint::new(
            factor.length * deviation.length,
            factor.height * deviation.height,
        );
    };
    let of = |all: f64, counted: f64, measured: f64| {
        let others = (all.powi(2) - counted.powi(2)).max(0.0).sqrt();
        HALF_WIDTH_90 * others.hypot(measured)
    };
    let (counted, measured) = (scatter.counted, scatter.measured);
    FlankPoint::new(
        of(deviation.length, counted.length, measured.length),
        of(deviation.height, counted.height, measured.height),
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
    fn what_is_counted_for_safety_is_not_printed() {
        let scatter = FitScatter {
            counted: FlankPoint::new(0.03, 0.04),
            measured: FlankPoint::new(0.006, 0.012),
        };
        let all = FlankPoint::new(0.03f64.hypot(0.008), 0.04f64.hypot(0.005));
        let printed = half_width_90(all, Some(&scatter));
        assert!((printed.length - 0.016_449).abs() < 1e-6, "{printed:?}");
        assert!(
            (printed.height - 1.6449 * 0.013).abs() < 1e-6,
            "{printed:?}"
        );
        // A band cannot be less than nothing.
        let less = half_width_90(FlankPoint::new(0.02, 0.03), Some(&scatter));
        assert!((less.length - 1.6449 * 0.006).abs() < 1e-6, "{less:?}");
    }

    #[test]
    fn a_printed_uncertainty_gives_back_a_deviation_a_normal_error_of_which_it_holds_nine_in_ten() {
        // Table of the standard normal distribution: 0.95 lies below 1.6449.
        let back = deviation(FlankPoint::new(1.6449, 0.822_45));
        assert!((back.length - 1.0).abs() < 1e-9 && (back.height - 0.5).abs() < 1e-9);
    }
}
