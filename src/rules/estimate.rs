//! One estimate from all trials at once: maximum a posteriori least squares over what is not known of the set, with
//! the covariance of what is left unknown.
//!
//! Every number that was read gives one residual (predicted less read, over its standard uncertainty), every
//! parameter one more (its deviation from the prior mean). The shim changes between trials are known exactly, so
//! all trials speak of the same parameters.

use super::calibration::CALIBRATION;
use super::forward_model::ForwardModel;
use super::observation::{Observation, PredictedObservation, ReadNumber};
use super::set_parameters::{COUNT, SetParameters};
use crate::least_squares::{Normal, descend};
use crate::schema::{Move, ReadingKind};
use nalgebra::{DMatrix, DVector};

/// What one reading of one trial did.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ReadingPart {
    /// Number of the trial in the job, from 1.
    pub trial: usize,
    /// Which reading.
    pub reading: ReadingKind,
    /// Its part.
    pub part: f64,
}

/// The estimate.
#[derive(Debug, Clone)]
pub(crate) struct Estimate {
    /// The parameters at their most likely values, in prior deviations.
    pub parameters: SetParameters,
    /// Their covariance, in prior deviations squared, in the order of [`SetParameters::to_array`].
    pub covariance: DMatrix<f64>,
    /// Sum of squares at the optimum: as chi-squared with one degree of freedom per number read.
    pub misfit: f64,
    /// How many numbers were read.
    pub numbers: usize,
    /// Share of each reading in what is known of the two places; together 1.
    pub shares: Vec<ReadingPart>,
    /// Each reading's own part of the misfit.
    pub pulls: Vec<ReadingPart>,
}

impl Estimate {
    /// The variance of every parameter, in prior deviations squared.
    pub(crate) fn variances(&self) -> SetParameters {
        SetParameters::from_fn(|i| self.covariance[(i, i)])
    }
}

/// Sum of squares of everything read and of the parameters' deviations, and what the last trial shows.
pub(crate) fn misfit(
    model: &ForwardModel,
    observations: &[Observation],
    parameters: &SetParameters,
) -> (f64, PredictedObservation) {
    let mut sum = 0.0;
    let mut last = PredictedObservation::default();
    for observation in observations {
        last = model.predict(parameters, observation.moved);
        for (_, number, predicted) in compared(observation, &last) {
            sum += number.residual(predicted).powi(2);
        }
    }
    (sum + parameters.norm_squared(), last)
}

/// Every number read in a trial with its place in the order of quantities and what is predicted for it.
fn compared(
    observation: &Observation,
    predicted: &PredictedObservation,
) -> impl Iterator<Item = (usize, ReadNumber, f64)> {
    let predicted = predicted.to_array();
    observation
        .numbers()
        .into_iter()
        .enumerate()
        .filter_map(move |(i, number)| Some((i, number?, predicted[i])))
}

/// One number read, at a set of parameters.
struct Row {
    trial: usize,
    reading: ReadingKind,
    residual: f64,
    /// Change of the residual with every parameter.
    slopes: DVector<f64>,
}

fn rows(model: &ForwardModel, observations: &[Observation], at: &SetParameters) -> Vec<Row> {
    let mut rows = Vec::new();
    for observation in observations {
        let (here, slopes) = model.predict_with_slopes(at, observation.moved);
        let slopes = slopes.to_array().map(PredictedObservation::to_array);
        for (quantity, number, predicted) in compared(observation, &here) {
            let residual = number.residual(predicted);
            let idle = number.at_most && residual == 0.0;
            rows.push(Row {
                trial: observation.trial,
                reading: number.kind,
                residual,
                slopes: DVector::from_fn(COUNT, |parameter, _| {
                    let slope = if idle {
                        0.0
                    } else {
                        slopes[parameter][quantity]
                    };
                    slope / number.measured.deviation
                }),
            });
        }
    }
    rows
}

/// The normal equations of everything read and of the priors, whose residuals are the parameters themselves.
fn normal_equations(rows: &[Row], at: &SetParameters) -> Normal {
    let mut square = DMatrix::identity(COUNT, COUNT);
    let mut slope = DVector::from_row_slice(&at.to_array());
    for row in rows {
        square.syger(1.0, &row.slopes, &row.slopes, 1.0);
        slope.axpy(row.residual, &row.slopes, 1.0);
    }
    (square, slope)
}

/// Fits the parameters to everything read.
pub(crate) fn fit(model: &ForwardModel, observations: &[Observation]) -> Estimate {
    let numerics = &CALIBRATION.numerics;
    let parameters = |at: &[f64]| SetParameters::from_fn(|i| at[i]);
    let found = descend(
        coarse_start(model, observations).to_array().to_vec(),
        numerics.fit_steps,
        numerics.fit_gain,
        |at| 0.5 * misfit(model, observations, &parameters(at)).0,
        |at| {
            let at = parameters(at);
            normal_equations(&rows(model, observations, &at), &at)
        },
    );
    estimate(model, observations, parameters(&found.at))
}

/// What is known at the most likely parameters.
fn estimate(model: &ForwardModel, observations: &[Observation], at: SetParameters) -> Estimate {
    let rows = rows(model, observations, &at);
    // The prior makes it positive definite.
    let covariance = normal_equations(&rows, &at)
        .0
        .cholesky()
        .map_or_else(|| DMatrix::identity(COUNT, COUNT), |c| c.inverse());
    let mut estimate = Estimate {
        parameters: at,
        covariance,
        misfit: rows.iter().map(|row| row.residual.powi(2)).sum::<f64>() + at.norm_squared(),
        numbers: rows.len(),
        shares: Vec::new(),
        pulls: Vec::new(),
    };
    let variances = estimate.variances();
    for row in &rows {
        let gain = &estimate.covariance * &row.slopes;
        let gain = SetParameters::from_fn(|i| gain[i]);
        let share =
            gain.pinion * gain.pinion / variances.pinion + gain.ring * gain.ring / variances.ring;
        add(&mut estimate.shares, row, share);
        add(&mut estimate.pulls, row, row.residual.powi(2));
    }
    let all: f64 = estimate.shares.iter().map(|share| share.part).sum();
    for share in &mut estimate.shares {
        share.part /= all.max(f64::MIN_POSITIVE);
    }
    estimate
}

fn add(list: &mut Vec<ReadingPart>, row: &Row, part: f64) {
    match list
        .iter_mut()
        .find(|of| (of.trial, of.reading) == (row.trial, row.reading))
    {
        Some(of) => of.part += part,
        None => list.push(ReadingPart {
            trial: row.trial,
            reading: row.reading,
            part,
        }),
    }
}

/// The best of a row of pinion places, the ring gear put where the backlash then says: the fit is not linear over the
/// whole flank, and starts on the right side of it.
fn coarse_start(model: &ForwardModel, observations: &[Observation]) -> SetParameters {
    let numerics = &CALIBRATION.numerics;
    let priors = model.priors();
    let mut best = (SetParameters::default(), f64::INFINITY);
    for step in -numerics.starts_each_way..=numerics.starts_each_way {
        let pinion_mm = numerics.start_step_mm * f64::from(step);
        let mut start = SetParameters {
            pinion: pinion_mm / priors.pinion,
            ..SetParameters::default()
        };
        let ring_of = |moved: Move, backlash_mm: f64| {
            let pinion_part = model.backlash_per_pinion() * (pinion_mm + moved.pinion_mm);
            let change_mm = backlash_mm - model.backlash_at_right_mm(&start) - pinion_part;
            change_mm / model.backlash_per_ring() - moved.ring_mm
        };
        let rings_mm: Vec<f64> = observations
            .iter()
            .filter_map(|o| Some(ring_of(o.moved, o.backlash_mm?.value)))
            .collect();
        if !rings_mm.is_empty() {
            let ring_mm = rings_mm.iter().sum::<f64>() / rings_mm.len() as f64;
            let most_mm = numerics.most_start_ring_mm;
            start.ring = ring_mm.clamp(-most_mm, most_mm) / priors.ring;
        }
        let misfit = misfit(model, observations, &start).0;
        if misfit < best.1 {
            best = (start, misfit);
        }
    }
    best.0
}
