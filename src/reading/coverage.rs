//! What the printed uncertainty of a centre holds.
//!
//! A reading prints the half width that holds the true centre in 90 % of photos, for length and for
//! height each. What [`combine`](crate::reading::combine) puts together are standard deviations as far as
//! they are known; how much wider the truth scatters is measured here, and nowhere else.

use crate::frames::FlankPoint;

/// Half the width that holds 90 % of a normal distribution, in standard deviations (the 95 % point of
/// the standard normal distribution, 1.6449).
pub const HALF_WIDTH_90: f64 = 1.6449;

/// Who drew the outlines that a reading rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum OutlineSource {
    /// The user marked them.
    #[default]
    Marked,
    /// They were found in the photo.
    Found,
}

/// Printed half width over the standard deviation that is put together from the parts: on 999 marked and 978
/// found photos of our own renders and of another path tracer (`examples/accuracy`) these coverage_factor 97 to 99.6 in a
/// hundred, more than is promised, for other photos may be worse, and the same photo turned, scaled or relit
/// should stay within them. Of a normal distribution it would be 1.64.
const fn coverage_factor(drawn: OutlineSource) -> FlankPoint {
    match drawn {
        OutlineSource::Marked => FlankPoint::new(1.7, 1.6),
        OutlineSource::Found => FlankPoint::new(1.6, 1.75),
    }
}

/// The half width that holds 90 %, of a standard deviation that was put together from its parts.
pub(super) fn half_width_90(standard: FlankPoint, drawn: OutlineSource) -> FlankPoint {
    let coverage_factor = coverage_factor(drawn);
    FlankPoint::new(
        coverage_factor.length * standard.length,
        coverage_factor.height * standard.height,
    )
}

/// The standard deviation of a centre whose printed uncertainty this is.
pub fn deviation(printed: FlankPoint) -> FlankPoint {
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
