//! How well each doubt would explain the trials, to first order about the estimate that has everything as told: quick
//! enough for all of them, and good enough to say which are worth a fit of their own.

use super::calibration::CALIBRATION;
use super::doubts::Doubt;
use super::estimate::{Estimate, Row, Tangent, rows_of};
use super::forward_model::ForwardModel;
use super::observation::Observation;
use super::set_parameters::{COUNT, SetParameters};
use nalgebra::{DMatrix, DVector};

/// Everything as told, and what is predicted for each trial there.
pub(crate) struct AsTold<'a> {
    observations: &'a [Observation],
    model: &'a ForwardModel,
    estimate: &'a Estimate,
    tangents: Vec<Tangent>,
}

/// What the first order says of a doubt.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Screened {
    /// Logarithm of its evidence, on the scale of [`Estimate::ln_evidence`].
    pub ln_evidence: f64,
    /// The most likely set, in prior deviations of the doubt's own model.
    pub parameters: SetParameters,
}

/// Reweighted least squares: the weights settle in a few rounds.
const ROUNDS: usize = 5;

impl<'a> AsTold<'a> {
    pub(crate) fn new(
        model: &'a ForwardModel,
        observations: &'a [Observation],
        estimate: &'a Estimate,
    ) -> Self {
        let tangents = observations
            .iter()
            .map(|o| Tangent::at(model, &estimate.parameters, o.moved))
            .collect();
        Self {
            observations,
            model,
            estimate,
            tangents,
        }
    }

    /// A doubt's evidence; `None` where the first order cannot say, because the gears stood somewhere else or are
    /// others.
    pub(crate) fn screen(&self, doubt: Doubt) -> Option<Screened> {
        let moved = self
            .observations
            .iter()
            .any(|o| o.moved != doubt.really(o.moved));
        if moved || doubt == Doubt::Cutting {
            return None;
        }
        let read = doubt.of(self.observations);
        let other_dial = (doubt == Doubt::DialSetting).then(|| self.model.by_the_other_dial());
        let mut rows = Vec::new();
        for (k, observation) in read.iter().enumerate() {
            let here = match (observation.noted_wrong, &other_dial) {
                (Some(gear), _) => self.tangents[k]
                    .clone()
                    .with_pack(gear, self.model.priors()),
                (None, Some(other)) => self.tangents[k].clone().by_dial(other.shown_per_judged()),
                (None, None) => self.tangents[k].clone(),
            };
            let of_photo = observation.photographed.map(|place| {
                let same = self.observations.iter().position(|o| o.moved == place);
                same.filter(|same| *same != k)
                    .map_or(&here, |k| &self.tangents[k])
            });
            rows.extend(rows_of(observation, &here, of_photo));
        }
        let widths = doubt.widths().to_array();
        let at = self.estimate.parameters.to_array();
        let linear = Linear {
            at: DVector::from_fn(COUNT, |i, _| at[i] / widths[i]),
            slopes: rows
                .iter()
                .map(|row| DVector::from_fn(COUNT, |i, _| row.slopes[i] * widths[i]))
                .collect(),
        };
        linear.solve(&rows)
    }
}

/// Rows that are straight in the unknowns.
struct Linear {
    /// The unknowns that the residuals belong to, in their prior deviations.
    at: DVector<f64>,
    slopes: Vec<DVector<f64>>,
}

impl Linear {
    fn solve(&self, rows: &[Row]) -> Option<Screened> {
        let tails = &CALIBRATION.tails;
        let n = self.at.len();
        let of_parameters = tails.of_parameters().to_array();
        let mut at = self.at.clone();
        let residuals = |at: &DVector<f64>| -> Vec<f64> {
            let by = at - &self.at;
            rows.iter()
                .zip(&self.slopes)
                .map(|(row, slopes)| row.residual + slopes.dot(&by))
                .collect()
        };
        let mut covariance = DMatrix::identity(n, n);
        for _ in 0..ROUNDS {
            let weights = DVector::from_fn(n, |i, _| of_parameters[i].weight(at[i]));
            let mut square = DMatrix::from_diagonal(&weights);
            let mut slope = DVector::zeros(n);
            for ((row, slopes), here) in rows.iter().zip(&self.slopes).zip(residuals(&at)) {
                let weight = tails.readings.weight(here);
                square.syger(weight, slopes, slopes, 1.0);
                // The residual with all unknowns at nought.
                let start = row.residual - slopes.dot(&self.at);
                slope.axpy(-weight * start, slopes, 1.0);
            }
            let factor = square.cholesky()?;
            at = factor.solve(&slope);
            covariance = factor.inverse();
        }
        let read = residuals(&at).into_iter().map(|r| tails.readings.loss(r));
        let set = at
            .iter()
            .enumerate()
            .map(|(i, z)| of_parameters[i].loss(*z));
        let misfit = read.chain(set).sum();
        Some(Screened {
            ln_evidence: super::estimate::ln_evidence(misfit, rows, &covariance),
            parameters: SetParameters::from_fn(|i| at[i]),
        })
    }
}
