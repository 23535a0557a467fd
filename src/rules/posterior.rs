//! Sets that could have shown what was seen: weighted draws from what the estimate leaves open.
//!
//! Near its optimum the posterior is a Gaussian with the estimate's covariance; draws from that are
//! weighted by how well each really fits (importance sampling), because how far a patch moves and how
//! far out the gear stands are tied together by a product, which no Gaussian holds.

use super::calibration::CALIBRATION;
use super::estimate::misfit;
use super::explained::Explained;
use super::observation::PredictedObservation;
use super::set_parameters::{COUNT, SetParameters};
use nalgebra::{DMatrix, DVector};

/// One set that could be the one on the bench.
#[derive(Debug, Clone)]
pub(crate) struct Draw {
    /// Which explanation it belongs to.
    pub explained: usize,
    /// What it is, in prior deviations of that explanation's model.
    pub parameters: SetParameters,
    /// How likely, all together 1.
    pub weight: f64,
    /// What its last trial shows.
    pub now: PredictedObservation,
}

/// Draws the sets that could have shown what was observed, from every explanation by its weight.
pub(crate) fn draws(explained: &[Explained]) -> Vec<Draw> {
    let numerics = &CALIBRATION.numerics;
    let mut all = Vec::new();
    let likely = |e: &&Explained| e.unseen || e.weight >= numerics.least_weight;
    let sum_of = |unseen: &[bool]| -> f64 {
        let of = explained.iter().filter(likely);
        let of = of.filter(|e| unseen.contains(&e.unseen));
        of.map(|e| e.weight).sum()
    };
    let (sum, seen) = (sum_of(&[true, false]), sum_of(&[false]));
    for (number, one) in explained.iter().enumerate() {
        if !likely(&one) {
            continue;
        }
        // What nothing could show has no say in the choice, and takes no draws from what has.
        let count = if one.unseen {
            numerics.draws_of_unseen
        } else {
            ((one.weight / seen * numerics.draws as f64) as usize).max(numerics.least_draws)
        };
        draw_from(one, number, one.weight / sum, count, &mut all);
    }
    all
}

fn draw_from(explained: &Explained, number: usize, weight: f64, count: usize, all: &mut Vec<Draw>) {
    let estimate = &explained.estimate;
    let root = estimate
        .covariance
        .clone()
        .cholesky()
        .map_or_else(|| DMatrix::zeros(COUNT, COUNT), |c| c.l());
    // Where no pack is doubted nothing depends on it: to draw it would only scatter the weights.
    let pack = SetParameters::from_fn(|i| i).pack;
    let pack_doubted = (explained.observations.iter()).any(|o| o.noted_wrong.is_some());
    let mut normal = Normal::new();
    let mut step = DVector::zeros(COUNT);
    let drawn: Vec<(Draw, f64)> = (0..count)
        .map(|i| {
            // Every second draw is the last one mirrored: the mean of the draws stays at the optimum.
            step = if i % 2 == 0 {
                DVector::from_fn(COUNT, |i, _| {
                    if i == pack && !pack_doubted {
                        0.0
                    } else {
                        normal.next()
                    }
                })
            } else {
                -&step
            };
            let offset = &root * &step;
            let parameters = estimate.parameters.plus(offset.as_slice());
            let (misfit, now) = misfit(&explained.model, &explained.observations, &parameters);
            let log_weight = 0.5 * (step.norm_squared() - (misfit - estimate.misfit));
            let draw = Draw {
                explained: number,
                parameters,
                weight: 0.0,
                now,
            };
            (draw, log_weight)
        })
        .collect();
    let mut sorted: Vec<f64> = drawn.iter().map(|d| d.1).collect();
    sorted.sort_by(|a, b| b.total_cmp(a));
    let heaviest = CALIBRATION.numerics.heaviest_draw * count as f64;
    let most = sorted[(heaviest.round() as usize).min(count - 1)];
    let of = |log_weight: f64| (log_weight.min(most) - most).exp();
    let sum: f64 = drawn.iter().map(|d| of(d.1)).sum();
    all.extend(drawn.into_iter().map(|(draw, log_weight)| Draw {
        weight: weight * of(log_weight) / sum,
        ..draw
    }));
}

/// The same standard normal numbers every time, so that the same job gets the same advice.
struct Normal {
    state: u64,
    spare: Option<f64>,
}

impl Normal {
    fn new() -> Self {
        Self {
            state: 0x9e37_79b9_7f4a_7c15,
            spare: None,
        }
    }

    /// Uniform in (0, 1), by a 64-bit multiply-and-mix of a counter.
    fn uniform(&mut self) -> f64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut x = self.state;
        x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        x ^= x >> 31;
        ((x >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }

    /// Box and Muller's pair of normals from a pair of uniforms.
    fn next(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        let radius = (-2.0 * self.uniform().ln()).sqrt();
        let angle = std::f64::consts::TAU * self.uniform();
        self.spare = Some(radius * angle.sin());
        radius * angle.cos()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_normal_numbers_have_mean_0_and_deviation_1() {
        let mut normal = Normal::new();
        let n = 20_000;
        let all: Vec<f64> = (0..n).map(|_| normal.next()).collect();
        let mean = all.iter().sum::<f64>() / f64::from(n);
        let square = all.iter().map(|x| x * x).sum::<f64>() / f64::from(n);
        let within_one = all.iter().filter(|x| x.abs() < 1.0).count() as f64 / f64::from(n);
        assert!(mean.abs() < 0.03, "{mean}");
        assert!((square - 1.0).abs() < 0.04, "{square}");
        // 0.6827 of a normal lies within one deviation.
        assert!((within_one - 0.6827).abs() < 0.015, "{within_one}");
    }
}
