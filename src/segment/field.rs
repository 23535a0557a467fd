//! How light falls over one flank: a smooth surface through the cells of one kind.

use super::morphology::Mask;
use nalgebra::{SMatrix, SVector};
use ndarray::Array2;

/// Terms of the quadratic in length and height.
const TERMS: usize = 6;

/// How strongly each term is held back: bends more than slopes, the level not at all.
const HOLD_BACK: [f64; TERMS] = [0.0, 0.006, 0.006, 0.02, 0.02, 0.02];

/// A quadratic in length and height, one for each colour channel.
#[derive(Debug, Clone, Copy)]
pub(super) struct Field([[f64; TERMS]; 3]);

impl Field {
    /// The same value everywhere.
    pub fn flat(value: [f64; 3]) -> Self {
        Self(value.map(|level| [level, 0.0, 0.0, 0.0, 0.0, 0.0]))
    }

    /// The field along one row of a map, to be asked for the columns: level, slope and bend of each
    /// channel with the place from −1 to 1.
    pub fn along(&self, row: usize, rows: usize) -> [[f32; 3]; 3] {
        let v = share(row, rows);
        self.0.map(|[level, across, down, bend, twist, sag]| {
            let level = level + v * (down + v * sag);
            [level as f32, (across + v * twist) as f32, bend as f32]
        })
    }

    /// Fits the cells marked in `of`, those far off counting little (weights after Cauchy).
    /// `None` when fewer than 60 of the cells looked at are marked.
    pub fn fit(values: &Array2<[f32; 3]>, of: &Mask) -> Option<Self> {
        let dim = values.dim();
        let mut cells = Vec::new();
        for row in (0..dim.0).step_by(3) {
            for column in (0..dim.1).step_by(4) {
                if of[[row, column]] {
                    let value = values[[row, column]].map(f64::from);
                    cells.push((terms((row, column), dim), value));
                }
            }
        }
        if cells.len() < 60 {
            return None;
        }
        let level: [f64; 3] =
            std::array::from_fn(|channel| median(cells.iter().map(|(_, v)| v[channel]).collect()));
        let mut field = Self::flat(level);
        let mut weights = vec![1.0; cells.len()];
        for _ in 0..4 {
            field = weighted(&cells, &weights, level)?;
            let off: Vec<f64> = cells
                .iter()
                .map(|(terms, value)| {
                    (0..3)
                        .map(|k| (value[k] - dot(&field.0[k], terms)).abs())
                        .fold(0.0, f64::max)
                })
                .collect();
            let scale = 1.5 * (1.5 * median(off.clone()) + 1e-3);
            for (weight, off) in weights.iter_mut().zip(off) {
                *weight = 1.0 / (1.0 + (off / scale).powi(2));
            }
        }
        Some(field)
    }
}

fn weighted(cells: &[([f64; TERMS], [f64; 3])], weights: &[f64], level: [f64; 3]) -> Option<Field> {
    let mut square = SMatrix::<f64, TERMS, TERMS>::zeros();
    let mut sides = [SVector::<f64, TERMS>::zeros(); 3];
    for ((terms, value), &weight) in cells.iter().zip(weights) {
        let terms = SVector::from(*terms);
        square += terms * terms.transpose() * weight;
        for ((side, value), level) in sides.iter_mut().zip(value).zip(level) {
            *side += terms * (weight * (value - level));
        }
    }
    for i in 0..TERMS {
        square[(i, i)] += HOLD_BACK[i] * cells.len() as f64 + 1e-9;
    }
    let factor = square.cholesky()?;
    let mut field = Field::flat(level);
    for (factors, side) in field.0.iter_mut().zip(&sides) {
        let found = factor.solve(side);
        for (to, add) in factors.iter_mut().zip(found.iter()) {
            *to += add;
        }
    }
    Some(field)
}

fn terms((row, column): (usize, usize), (rows, columns): (usize, usize)) -> [f64; TERMS] {
    terms_at(share(column, columns), share(row, rows))
}

/// Where a cell's middle lies between −1 and 1.
pub(super) fn share(cell: usize, cells: usize) -> f64 {
    (2 * cell + 1) as f64 / cells as f64 - 1.0
}

fn terms_at(u: f64, v: f64) -> [f64; TERMS] {
    [1.0, u, v, u * u, u * v, v * v]
}

fn dot(a: &[f64; TERMS], b: &[f64; TERMS]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// The middle value; NaN-free input, 0 for none.
pub(super) fn median(mut values: Vec<f64>) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slope_is_followed_and_a_dark_spot_ignored() {
        let values = Array2::from_shape_fn((96, 256), |(row, column)| {
            let spot = (30..50).contains(&row) && (100..140).contains(&column);
            let level = column as f32 / 256.0;
            [level - if spot { 2.0 } else { 0.0 }, 0.5, 0.1]
        });
        let all = Mask::from_elem((96, 256), true);
        let field = Field::fit(&values, &all).unwrap();
        for column in [20, 120, 230] {
            let u = share(column, 256) as f32;
            let found = field
                .along(40, 96)
                .map(|[level, slope, bend]| level + u * (slope + u * bend));
            assert!((found[0] - column as f32 / 256.0).abs() < 0.04, "{found:?}");
            assert!((found[1] - 0.5).abs() < 1e-6);
        }
    }
}
