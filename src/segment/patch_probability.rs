//! Where contact was and where compound is, by the patch networks: they see the flattened flanks of a photo
//! one under the other, so that what they have in common counts.

use crate::flank::FlankMap;
use crate::flank::rectify::{FINE_MAP_SIZE, shown};
use crate::network::{ANY_PATCH, FINE_ANY_PATCH, FINE_PATCH, PATCH};
use ndarray::Array2;

/// What the patch network says of one flank, cell by cell of its map.
#[derive(Debug, Clone)]
pub(crate) struct PatchProbability {
    /// How likely contact was, 0 … 1.
    pub contact: Array2<f32>,
    /// How likely there is compound, 0 … 1.
    pub compound: Array2<f32>,
}

/// Which patches a look knows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Shapes {
    /// Those of gears that stand nearly right, and these best.
    Usual,
    /// Also narrow, strongly leaning, bent, broken and small ones, over ends and edges, and thin prints.
    Any,
}

/// Looks at the flanks of one photo together: all their maps of [`MAP_SIZE`](crate::flank::rectify::MAP_SIZE)
/// or all of [`FINE_MAP_SIZE`].
pub(crate) fn segment_flanks(maps: &[FlankMap], shapes: Shapes) -> Vec<PatchProbability> {
    let Some((rows, columns)) = maps.first().map(|map| map.light.dim()) else {
        return Vec::new();
    };
    let network = match (shapes, columns == FINE_MAP_SIZE.0) {
        (Shapes::Usual, false) => &PATCH,
        (Shapes::Usual, true) => &FINE_PATCH,
        (Shapes::Any, false) => &ANY_PATCH,
        (Shapes::Any, true) => &FINE_ANY_PATCH,
    };
    let said = network.run(&shown(maps));
    maps.iter()
        .enumerate()
        .map(|(flank, _)| {
            let plane = |index: usize| {
                let size = rows / 2 * (columns / 2);
                let scores = &said.plane(index)[flank * size..(flank + 1) * size];
                doubled(scores, rows / 2, columns / 2).mapv_into(logistic)
            };
            PatchProbability {
                contact: plane(0),
                compound: plane(1),
            }
        })
        .collect()
}

/// A score → how likely, 0 … 1, to six digits. Written without a call, so that many are worked out together.
fn logistic(score: f32) -> f32 {
    // The odds against are 2^power: a whole power by the bits of the number, the rest by the series.
    const ROUNDING: f32 = 12_582_912.0; // 1.5 · 2^23: adding it leaves the whole number in the lowest bits
    let power = (-score * std::f32::consts::LOG2_E).clamp(-100.0, 100.0);
    let rounded = power + ROUNDING;
    let rest = (power - (rounded - ROUNDING)) * std::f32::consts::LN_2;
    let series = 1.0 / 120.0 + rest / 720.0;
    let series = 1.0 / 2.0 + rest * (1.0 / 6.0 + rest * (1.0 / 24.0 + rest * series));
    let whole = f32::from_bits((rounded.to_bits() << 23).wrapping_add(1.0f32.to_bits()));
    1.0 / (1.0 + whole * (1.0 + rest * (1.0 + rest * series)))
}

/// Scores at twice the rows and columns, straight lines between.
fn doubled(scores: &[f32], rows: usize, columns: usize) -> Array2<f32> {
    // The middle of each new cell lies a quarter of an old one beside the old one's middle.
    let mut wide = Vec::with_capacity(2 * scores.len());
    for row in scores.chunks_exact(columns) {
        wide.push(row[0]);
        for pair in row.windows(2) {
            wide.extend([0.25, 0.75].map(|along| pair[0] + along * (pair[1] - pair[0])));
        }
        wide.push(row[columns - 1]);
    }
    let line = |row: usize| wide[row * 2 * columns..].iter();
    let mut doubled = Array2::zeros((2 * rows, 2 * columns));
    for (row, mut to) in doubled.rows_mut().into_iter().enumerate() {
        let (top, under) = (row.saturating_sub(1) / 2, row.div_ceil(2).min(rows - 1));
        let down = if row % 2 == 0 { 0.75 } else { 0.25 };
        for (to, (above, below)) in to.iter_mut().zip(line(top).zip(line(under))) {
            *to = above + down * (below - above);
        }
    }
    doubled
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::flank::rectify::MAP_SIZE;

    #[test]
    fn the_logistic_is_that_of_the_exponential() {
        for i in -1000..=1000 {
            let score = f64::from(i) / 10.0;
            let expected = 1.0 / (1.0 + (-score).exp());
            let got = f64::from(logistic(score as f32));
            assert!((got - expected).abs() < 1e-6, "{score}: {got} {expected}");
        }
    }

    #[test]
    fn a_wiped_ellipse_on_three_flanks_is_seen_where_it_is() {
        for shapes in [Shapes::Usual, Shapes::Any] {
            ellipses_are_seen(MAP_SIZE, shapes);
            ellipses_are_seen(FINE_MAP_SIZE, shapes);
            assert!(segment_flanks(&[], shapes).is_empty());
        }
    }

    fn ellipses_are_seen((columns, rows): (usize, usize), shapes: Shapes) {
        let flank = |shift: f32| {
            let light = Array2::from_shape_fn((rows, columns), |(row, column)| {
                let u = (column as f32 + 0.5) / columns as f32;
                let v = (row as f32 + 0.5) / rows as f32;
                let inside = ((u - 0.4 - shift) / 0.2).powi(2) + ((v - 0.55) / 0.25).powi(2) < 1.0;
                let grain = 0.05 * ((row * 97 + column * 31) as f32 * 12.9898).sin();
                let colour = if inside {
                    [0.06, 0.055, 0.05]
                } else {
                    [0.6, 0.42, 0.04]
                };
                colour.map(|level: f32| level * (1.0 - 0.4 * u + grain))
            });
            FlankMap {
                clipped: Array2::from_elem(light.dim(), false),
                unseen: Array2::from_shape_fn(light.dim(), |(row, _)| row < rows / 10),
                light,
            }
        };
        let flanks = segment_flanks(&[flank(0.0), flank(0.1), flank(0.2)], shapes);
        for (seen, centre) in flanks.iter().zip([0.4, 0.5, 0.6]) {
            let cells = seen
                .contact
                .indexed_iter()
                .filter(|(_, likely)| **likely > 0.5);
            let lengths: Vec<f64> = cells
                .map(|((_, column), _)| (column as f64 + 0.5) / columns as f64)
                .collect();
            let mean = lengths.iter().sum::<f64>() / lengths.len() as f64;
            assert!((mean - centre).abs() < 0.02, "{mean} {centre}");
            let compound = |length: f64, height: f64| {
                let (column, row) = (length * columns as f64, height * rows as f64);
                seen.compound[[row as usize, column as usize]]
            };
            assert!(compound(0.12, 0.94) > 0.5 && compound(centre, 0.55) < 0.5);
        }
    }

    #[test]
    fn doubling_keeps_a_slope() {
        let scores: Vec<f32> = (0..12).map(|i| (i % 4) as f32).collect();
        let doubled = doubled(&scores, 3, 4);
        assert_eq!(doubled.dim(), (6, 8));
        assert!((doubled[[2, 3]] - 1.25).abs() < 1e-6 && doubled[[5, 7]] == 3.0);
    }
}
