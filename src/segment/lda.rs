//! Two kinds of cells told apart by whichever mix of features separates them best.

use nalgebra::{Matrix3, Vector3};

/// A straight cut through feature space: cells with a positive value are of the one kind.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cut {
    middle: Vector3<f64>,
    spread: Vector3<f64>,
    direction: Vector3<f64>,
    level: f64,
}

impl Cut {
    /// Signed distance of a cell from the cut.
    pub fn value(&self, features: [f64; 3]) -> f64 {
        let scaled = (Vector3::from(features) - self.middle).component_div(&self.spread);
        self.direction.dot(&scaled) - self.level
    }
}

/// The cut that tells the cells' two kinds apart: it starts from the single feature whose two
/// halves differ most and is then turned by R. A. Fisher's linear discriminant (Annals of Eugenics
/// 7 (1936) 179–188), levels by N. Otsu's criterion (IEEE Trans. SMC 9 (1979) 62–66), until the
/// kinds no longer change. `None` with fewer than 50 cells.
pub(super) fn two_kinds(cells: &[[f64; 3]]) -> Option<Cut> {
    if cells.len() < 50 {
        return None;
    }
    let count = cells.len() as f64;
    let points: Vec<Vector3<f64>> = cells.iter().map(|&cell| Vector3::from(cell)).collect();
    let middle = points.iter().sum::<Vector3<f64>>() / count;
    let spread = points
        .iter()
        .map(|p| (p - middle).component_mul(&(p - middle)))
        .sum::<Vector3<f64>>()
        .map(|square| (square / count).sqrt() + 1e-6);
    let points: Vec<_> = points
        .into_iter()
        .map(|p| (p - middle).component_div(&spread))
        .collect();
    let (mut direction, mut level, _) = (0..3)
        .map(|axis| {
            let direction = Vector3::ith(axis, 1.0);
            let (level, merit) = otsu(points.iter().map(|p| p[axis]));
            (direction, level, merit)
        })
        .max_by(|a, b| a.2.total_cmp(&b.2))?;
    for _ in 0..12 {
        let Some(next) = fisher(&points, direction, level) else {
            break;
        };
        let turned = (next - direction).norm();
        direction = next;
        level = otsu(points.iter().map(|p| p.dot(&direction))).0;
        if turned < 1e-4 {
            break;
        }
    }
    Some(Cut {
        middle,
        spread,
        direction,
        level,
    })
}

/// Fisher's direction for the two sides of a cut.
fn fisher(points: &[Vector3<f64>], direction: Vector3<f64>, level: f64) -> Option<Vector3<f64>> {
    let mut sums = [Vector3::zeros(), Vector3::zeros()];
    let mut counts = [0.0, 0.0];
    for p in points {
        let side = usize::from(p.dot(&direction) > level);
        sums[side] += p;
        counts[side] += 1.0;
    }
    if counts[0] < 10.0 || counts[1] < 10.0 {
        return None;
    }
    let means = [sums[0] / counts[0], sums[1] / counts[1]];
    let mut within = Matrix3::zeros();
    for p in points {
        let off = p - means[usize::from(p.dot(&direction) > level)];
        within += off * off.transpose();
    }
    within = within / points.len() as f64 + Matrix3::identity() * 1e-3;
    let next = within.cholesky()?.solve(&(means[1] - means[0]));
    Some(next / next.norm().max(1e-12))
}

/// Otsu's level over 128 bins, and the variance between the two sides there.
pub(super) fn otsu(values: impl Iterator<Item = f64> + Clone) -> (f64, f64) {
    const BINS: usize = 128;
    let (mut low, mut high, mut total) = (f64::INFINITY, f64::NEG_INFINITY, 0.0);
    for value in values.clone() {
        low = low.min(value);
        high = high.max(value);
        total += 1.0;
    }
    let width = ((high - low) / BINS as f64).max(1e-12);
    let mut bins = [0.0f64; BINS];
    for value in values {
        bins[(((value - low) / width) as usize).min(BINS - 1)] += 1.0;
    }
    let centre = |bin: usize| low + (bin as f64 + 0.5) * width;
    let all: f64 = (0..BINS).map(|bin| bins[bin] * centre(bin)).sum();
    let (mut below, mut moment) = (0.0, 0.0);
    let mut best = (low, 0.0);
    for (bin, &held) in bins.iter().enumerate().take(BINS - 1) {
        below += held;
        moment += held * centre(bin);
        if below > 0.0 && below < total {
            let apart = moment / below - (all - moment) / (total - below);
            let merit = below * (total - below) / (total * total) * apart * apart;
            if merit > best.1 {
                best = (centre(bin) + width / 2.0, merit);
            }
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_cut_finds_the_feature_that_matters() {
        // Two kinds that differ in the third feature; the first is noise ten times as large.
        let cells: Vec<[f64; 3]> = (0..400)
            .map(|i| {
                let noise = (f64::from(i) * 12.9898).sin() * 43.7585;
                let noise = noise - noise.floor();
                let kind = f64::from(i % 4 == 0);
                [10.0 * noise, 0.1 * noise, kind + 0.2 * noise]
            })
            .collect();
        let cut = two_kinds(&cells).unwrap();
        let sides: Vec<bool> = cells.iter().map(|&cell| cut.value(cell) > 0.0).collect();
        let kinds = sides.iter().enumerate();
        let agree = kinds.filter(|(i, side)| **side == (i % 4 == 0)).count();
        assert!(agree == 400 || agree == 0, "{agree} of 400");
    }
}
