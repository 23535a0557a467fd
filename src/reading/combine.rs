//! The teeth of one photo → one mean with its spread and uncertainty.

use super::calibration::CALIBRATION;
use super::coverage::HALF_WIDTH_90;
use crate::frames::FlankPoint;
use crate::schema::{Mean, Patch};

/// One tooth's patch as it goes into the mean.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ToothPatch {
    /// The patch's numbers.
    pub patch: Patch,
    /// How far its centre moves between where contact is likelier than a third and than two thirds, half of it.
    pub band: FlankPoint,
    /// Standard deviation of the outline it was read in.
    pub doubt: FlankPoint,
    /// Weight before the teeth are compared, 0 … 1.
    pub confidence: f64,
}

/// The mean of several teeth.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Combined {
    /// Mean and spread.
    pub mean: Mean,
    /// Standard deviation of the mean centre as far as its parts are known; what is printed is made of it
    /// in `coverage.rs`.
    pub uncertainty: FlankPoint,
    /// Weight each tooth got, 0 … 1, in the order given.
    pub weights: Vec<f64>,
}

/// Weights the teeth by how near they lie to their common middle and how alike their areas are,
/// and takes the mean. Weights fall with the fourth power of the distance, so that one hidden or
/// smeared tooth among good ones counts nothing. `None` for no teeth.
pub(crate) fn combine(teeth: &[ToothPatch]) -> Option<Combined> {
    if teeth.is_empty() {
        return None;
    }
    let numbers = &CALIBRATION.combining;
    let usual = numbers.usual_spread;
    let of = |get: fn(&ToothPatch) -> f64| -> Vec<f64> { teeth.iter().map(get).collect() };
    let lengths = of(|t| t.patch.centre.length);
    let heights = of(|t| t.patch.centre.height);
    let areas = of(|t| t.patch.area.max(1e-4).ln());
    let mut weights = of(|t| t.confidence.max(CALIBRATION.combining.least_weight));
    if teeth.len() >= 3 {
        let mut middle = (median(&lengths), median(&heights));
        let scale = |values: &[f64], middle: f64, usual: f64| {
            let off: Vec<f64> = values.iter().map(|v| (v - middle).abs()).collect();
            // 1.4826 × the median deviation is the standard deviation of a normal distribution.
            (1.4826 * median(&off)).max(usual)
        };
        let spread = (
            scale(&lengths, middle.0, usual.length),
            scale(&heights, middle.1, usual.height),
        );
        let area = median(&areas);
        for _ in 0..6 {
            for (i, weight) in weights.iter_mut().enumerate() {
                let off =
                    ((lengths[i] - middle.0) / spread.0).hypot((heights[i] - middle.1) / spread.1);
                let size = (areas[i] - area) / numbers.area_log_spread;
                *weight = teeth[i].confidence.max(numbers.least_weight)
                    / ((1.0 + (off / numbers.outlier_deviations).powi(4)) * (1.0 + size.powi(4)));
            }
            middle = (mean(&lengths, &weights), mean(&heights, &weights));
        }
    }
    let centre = FlankPoint::new(mean(&lengths, &weights), mean(&heights, &weights));
    let spread = FlankPoint::new(
        deviation(&lengths, &weights, centre.length),
        deviation(&heights, &weights, centre.height),
    );
    let total: f64 = weights.iter().sum();
    let effective = total * total / weights.iter().map(|w| w * w).sum::<f64>();
    let part = |get: fn(&ToothPatch) -> f64| mean(&of(get), &weights);
    // Among teeth most of the scatter averages out; threshold and outline err alike on all of them.
    let few = few_teeth(effective);
    let uncertain = |get: fn(FlankPoint) -> f64| {
        let scatter = (few * get(spread)).max(get(usual));
        let common = get(numbers.common_of_spread) * get(spread);
        let in_common = |of: fn(&ToothPatch) -> FlankPoint| {
            let each: Vec<f64> = teeth.iter().map(|tooth| get(of(tooth))).collect();
            mean(&each, &weights)
        };
        (scatter / effective.sqrt())
            .hypot(common)
            .hypot(in_common(|tooth| tooth.band))
            .hypot(in_common(|tooth| tooth.doubt))
    };
    Some(Combined {
        mean: Mean {
            centre,
            extent: FlankPoint::new(
                part(|t| t.patch.extent.length),
                part(|t| t.patch.extent.height),
            ),
            lean_deg: part(|t| t.patch.lean_deg),
            spread,
            teeth: weights
                .iter()
                .filter(|&&weight| weight > numbers.counted_weight)
                .count()
                .max(1),
        },
        uncertainty: FlankPoint::new(uncertain(|at| at.length), uncertain(|at| at.height)),
        weights,
    })
}

/// How much wider the mean of so many teeth is held in nine of ten for their spread being known from them
/// alone: the 95 % point of Student's t-distribution over that of the normal one, by the first terms of its
/// expansion (Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.5).
fn few_teeth(teeth: f64) -> f64 {
    let z = HALF_WIDTH_90;
    let freedom = (teeth - 1.0).max(1.0);
    let first = (z.powi(2) + 1.0) / 4.0;
    let second = (5.0 * z.powi(4) + 16.0 * z.powi(2) + 3.0) / 96.0;
    1.0 + first / freedom + second / freedom.powi(2)
}

fn mean(values: &[f64], weights: &[f64]) -> f64 {
    let total: f64 = weights.iter().sum();
    values.iter().zip(weights).map(|(v, w)| v * w).sum::<f64>() / total
}

fn deviation(values: &[f64], weights: &[f64], mean: f64) -> f64 {
    let total: f64 = weights.iter().sum();
    let square: f64 = values
        .iter()
        .zip(weights)
        .map(|(v, w)| w * (v - mean).powi(2))
        .sum();
    (square / total).sqrt()
}

/// The middle value; of an even number, the mean of the middle two.
fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let middle = sorted.len() / 2;
    if sorted.len() % 2 == 1 {
        sorted[middle]
    } else {
        (sorted[middle - 1] + sorted[middle]) / 2.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schema::Margin;
    use proptest::prelude::*;

    fn tooth(length: f64, height: f64) -> ToothPatch {
        ToothPatch {
            patch: Patch {
                centre: FlankPoint::new(length, height),
                extent: FlankPoint::new(0.5, 0.5),
                area: 0.2,
                lean_deg: 0.0,
                margin: Margin {
                    toe: 0.2,
                    heel: 0.3,
                    tip: 0.2,
                    root: 0.3,
                },
            },
            band: FlankPoint::new(0.002, 0.003),
            doubt: FlankPoint::new(0.003, 0.006),
            confidence: 1.0,
        }
    }

    #[test]
    fn one_hidden_tooth_does_not_move_the_mean() {
        let teeth = [0.50, 0.51, 0.49, 0.50, 0.58].map(|l| tooth(l, 0.4));
        let combined = combine(&teeth).unwrap();
        assert!((combined.mean.centre.length - 0.5).abs() < 0.003);
        assert_eq!(combined.mean.teeth, 4);
    }

    #[test]
    fn a_tooth_of_little_confidence_counts_little() {
        let mut teeth = [0.50, 0.50, 0.53].map(|length| tooth(length, 0.4));
        let among_equals = combine(&teeth).unwrap().mean.centre.length;
        teeth[2].confidence = 0.1;
        let hardly_seen = combine(&teeth).unwrap().mean.centre.length;
        assert!(
            hardly_seen < among_equals - 0.002,
            "{hardly_seen}, {among_equals}"
        );
    }

    #[test]
    fn few_teeth_hold_as_much_as_the_table_of_students_t_says() {
        // 95 % points of the t-distribution by degrees of freedom: Abramowitz and Stegun, table 26.10.
        for (freedom, t, within) in [
            (2.0, 2.920, 0.06),
            (3.0, 2.353, 0.02),
            (5.0, 2.015, 0.005),
            (10.0, 1.812, 0.001),
            (30.0, 1.697, 0.001),
        ] {
            let ratio = HALF_WIDTH_90 * few_teeth(freedom + 1.0) / t;
            assert!((ratio - 1.0).abs() < within, "{freedom}: {ratio}");
        }
    }

    #[test]
    fn half_of_the_spread_of_heights_remains_and_none_of_that_of_lengths() {
        let off = |way: usize| if way.is_multiple_of(2) { 0.04 } else { -0.04 };
        let doubt_of = |count: usize| {
            let teeth: Vec<_> = (0..count)
                .map(|i| tooth(0.5 + off(i), 0.5 + off(i / 2)))
                .collect();
            combine(&teeth).unwrap().uncertainty
        };
        let many = doubt_of(4000);
        assert!(
            (many.length - 0.002f64.hypot(0.003)).abs() < 3e-4,
            "{many:?}"
        );
        assert!(
            (many.height - 0.02f64.hypot(0.003).hypot(0.006)).abs() < 3e-4,
            "{many:?}"
        );
        assert!(doubt_of(8).height > many.height + 0.001);
    }

    #[test]
    fn no_teeth_have_no_mean() {
        assert!(combine(&[]).is_none());
    }

    proptest! {
        #[test]
        fn the_mean_lies_among_the_teeth(
            centres in prop::collection::vec((0.1f64..0.9, 0.1f64..0.9), 1..9)
        ) {
            let teeth: Vec<_> = centres.iter().map(|&(l, h)| tooth(l, h)).collect();
            let combined = combine(&teeth).unwrap();
            let low = centres.iter().map(|c| c.0).fold(f64::INFINITY, f64::min);
            let high = centres.iter().map(|c| c.0).fold(0.0, f64::max);
            prop_assert!(combined.mean.centre.length >= low - 1e-9);
            prop_assert!(combined.mean.centre.length <= high + 1e-9);
            prop_assert!(combined.mean.spread.length >= 0.0);
            prop_assert!(combined.uncertainty.length > 0.0);
        }
    }

    #[test]
    fn a_tooth_that_shows_the_patch_elsewhere_in_height_hardly_moves_the_mean() {
        let teeth = [0.40, 0.41, 0.39, 0.40, 0.52].map(|height| tooth(0.5, height));
        let combined = combine(&teeth).unwrap();
        assert!(
            (combined.mean.centre.height - 0.4).abs() < 0.004,
            "{combined:?}"
        );
        assert_eq!(combined.mean.teeth, 4);
    }

    #[test]
    fn a_patch_of_another_size_counts_less() {
        let mut teeth = [0.50, 0.50, 0.50, 0.54].map(|length| tooth(length, 0.4));
        let alike = combine(&teeth).unwrap().mean.centre.length;
        teeth[3].patch.area = 0.05;
        let smaller = combine(&teeth).unwrap().mean.centre.length;
        assert!(smaller < alike, "{smaller} {alike}");
        teeth[3].patch.area = 0.8;
        let larger = combine(&teeth).unwrap().mean.centre.length;
        assert!((larger - smaller).abs() < 1e-9, "{larger} {smaller}");
    }
}
