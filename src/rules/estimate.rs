//! One estimate from all trials at once: maximum a posteriori over what is not known of the set, with the covariance of
//! what is left unknown.
//!
//! Every number that was read gives one residual (predicted less read, over its standard uncertainty), every
//! parameter one more (its deviation from the prior mean), both with heavy tails. The shim changes between trials are
//! known exactly, so all trials speak of the same parameters.

use super::calibration::CALIBRATION;
use super::forward_model::ForwardModel;
use super::observation::{Gear, OBSERVED, Observation, PredictedObservation, ReadNumber};
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
    /// Minus twice the logarithm of the posterior density at the optimum, less what does not depend on the parameters.
    pub misfit: f64,
    /// Logarithm of how likely everything read is under the assumptions it was read with (Laplace's method), less what
    /// does not depend on them.
    pub ln_evidence: f64,
    /// How many numbers were read.
    pub numbers: usize,
    /// Share of each reading in what is known of the two places; together 1.
    pub shares: Vec<ReadingPart>,
}

impl Estimate {
    /// Whether readings and set are no further from what is expected of them than usual: the misfit of a sound job is as
    /// chi-squared with one degree of freedom per number.
    pub(crate) fn fits_well(&self) -> bool {
        self.misfit < self.numbers as f64
    }

    /// The variance of every parameter, in prior deviations squared.
    pub(crate) fn variances(&self) -> SetParameters {
        SetParameters::from_fn(|i| self.covariance[(i, i)])
    }
}

/// Loss of everything read and of the parameters' deviations, and what the last trial shows.
pub(crate) fn misfit(
    model: &ForwardModel,
    observations: &[Observation],
    parameters: &SetParameters,
) -> (f64, PredictedObservation) {
    let mut sum = 0.0;
    let mut last = PredictedObservation::default();
    for observation in observations {
        last = model.predict(parameters, observation.stood(&model.values(parameters)));
        let seen = observation.seen(&last, |at| model.predict(parameters, at));
        for (_, number, predicted) in compared(observation, &seen) {
            sum += CALIBRATION.tails.readings.loss(number.residual(predicted));
        }
    }
    (sum + prior_loss(parameters), last)
}

fn prior_loss(parameters: &SetParameters) -> f64 {
    let tails = CALIBRATION.tails.of_parameters().to_array();
    let parameters = parameters.to_array();
    tails
        .iter()
        .zip(parameters)
        .map(|(tail, z)| tail.loss(z))
        .sum()
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

/// What is predicted for one place, and how it changes with every parameter.
#[derive(Debug, Clone)]
pub(crate) struct Tangent {
    /// Every quantity.
    pub here: PredictedObservation,
    /// Its change per prior deviation of every parameter.
    pub slopes: Box<[[f64; OBSERVED]; COUNT]>,
}

impl Tangent {
    pub(crate) fn at(model: &ForwardModel, parameters: &SetParameters, moved: Move) -> Self {
        let (here, slopes) = model.predict_with_slopes(parameters, moved);
        Self {
            here,
            slopes: Box::new(slopes.to_array().map(PredictedObservation::to_array)),
        }
    }

    /// The same where the dial shows so many times as much.
    pub(crate) fn by_dial(mut self, shows: f64) -> Self {
        self.here.backlash_mm *= shows;
        for slope in self.slopes.iter_mut() {
            slope[OBSERVED - 1] *= shows;
        }
        self
    }

    /// The same of a trial whose pack is doubted: that moves its gear as another place at first does.
    pub(crate) fn with_pack(mut self, gear: Gear, priors: &SetParameters) -> Self {
        let order = SetParameters::from_fn(|i| i);
        let (gear, per) = match gear {
            Gear::Pinion => (order.pinion, priors.pack / priors.pinion),
            Gear::Ring => (order.ring, priors.pack / priors.ring),
        };
        self.slopes[order.pack] = self.slopes[gear].map(|slope| per * slope);
        self
    }
}

/// One number read, at a set of parameters.
pub(crate) struct Row {
    /// Number of the trial in the job, from 1.
    pub trial: usize,
    /// Which reading it belongs to.
    pub reading: ReadingKind,
    /// Predicted less read, in standard uncertainties.
    pub residual: f64,
    /// One standard uncertainty.
    pub deviation: f64,
    /// Change of the residual with every parameter.
    pub slopes: DVector<f64>,
}

/// The numbers of a trial against what is predicted: for the trial's own place, and for where each flank's photo was
/// taken.
pub(crate) fn rows_of(
    observation: &Observation,
    here: &Tangent,
    photographed: [&Tangent; 2],
) -> Vec<Row> {
    let [drive, coast] = photographed;
    let seen = PredictedObservation {
        drive: drive.here.drive,
        coast: coast.here.coast,
        backlash_mm: here.here.backlash_mm,
    };
    compared(observation, &seen)
        .map(|(quantity, number, predicted)| {
            let residual = number.residual(predicted);
            let idle = number.at_most && residual == 0.0;
            let tangent = match number.kind {
                ReadingKind::Drive => drive,
                ReadingKind::Coast => coast,
                ReadingKind::Backlash => here,
            };
            Row {
                trial: observation.trial,
                reading: number.kind,
                residual,
                deviation: number.measured.deviation,
                slopes: DVector::from_fn(COUNT, |parameter, _| {
                    let slope = if idle {
                        0.0
                    } else {
                        tangent.slopes[parameter][quantity]
                    };
                    slope / number.measured.deviation
                }),
            }
        })
        .collect()
}

fn rows(model: &ForwardModel, observations: &[Observation], at: &SetParameters) -> Vec<Row> {
    let mut rows = Vec::new();
    for observation in observations {
        let mut here = Tangent::at(model, at, observation.stood(&model.values(at)));
        if let Some(gear) = observation.noted_wrong {
            here = here.with_pack(gear, model.priors());
        }
        let older = observation.photographed.map(|photographed| {
            (photographed != observation.moved).then(|| Tangent::at(model, at, photographed))
        });
        let [drive, coast] = &older;
        let photographed = [drive, coast].map(|older| older.as_ref().unwrap_or(&here));
        rows.extend(rows_of(observation, &here, photographed));
    }
    rows
}

/// The normal equations of everything read and of the priors, whose residuals are the parameters themselves.
fn normal_equations(rows: &[Row], at: &SetParameters) -> Normal {
    let tails = &CALIBRATION.tails;
    let at = at.to_array();
    let of_parameters = tails.of_parameters().to_array();
    let weights: [f64; COUNT] = std::array::from_fn(|i| of_parameters[i].weight(at[i]));
    let mut square = DMatrix::from_diagonal(&DVector::from_row_slice(&weights));
    let mut slope = DVector::from_fn(COUNT, |i, _| weights[i] * at[i]);
    for row in rows {
        let weight = tails.readings.weight(row.residual);
        square.syger(weight, &row.slopes, &row.slopes, 1.0);
        slope.axpy(weight * row.residual, &row.slopes, 1.0);
    }
    (square, slope)
}

/// Fits the parameters to everything read, from a coarse search and from `starts`.
pub(crate) fn fit(
    model: &ForwardModel,
    observations: &[Observation],
    starts: &[SetParameters],
) -> Estimate {
    let numerics = &CALIBRATION.numerics;
    let parameters = |at: &[f64]| SetParameters::from_fn(|i| at[i]);
    let of = |start: &SetParameters| misfit(model, observations, start).0;
    let start = starts
        .iter()
        .copied()
        .chain([coarse_start(model, observations)])
        .min_by(|a, b| of(a).total_cmp(&of(b)))
        .unwrap_or_default();
    let found = descend(
        start.to_array().to_vec(),
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

/// Logarithm of the evidence by Laplace's method: the density at the optimum times the room round it.
pub(crate) fn ln_evidence(misfit: f64, rows: &[Row], covariance: &DMatrix<f64>) -> f64 {
    let room = covariance.clone().cholesky().map_or(0.0, |c| {
        c.l().diagonal().iter().map(|d| d.ln()).sum::<f64>()
    });
    let scale: f64 = rows.iter().map(|row| row.deviation.ln()).sum();
    room - 0.5 * misfit - scale
}

/// What is known at the most likely parameters.
fn estimate(model: &ForwardModel, observations: &[Observation], at: SetParameters) -> Estimate {
    let rows = rows(model, observations, &at);
    // The prior makes it positive definite.
    let covariance = normal_equations(&rows, &at)
        .0
        .cholesky()
        .map_or_else(|| DMatrix::identity(COUNT, COUNT), |c| c.inverse());
    let tail = CALIBRATION.tails.readings;
    let misfit = rows.iter().map(|row| tail.loss(row.residual)).sum::<f64>() + prior_loss(&at);
    let mut estimate = Estimate {
        parameters: at,
        misfit,
        ln_evidence: ln_evidence(misfit, &rows, &covariance),
        covariance,
        numbers: rows.len(),
        shares: Vec::new(),
    };
    estimate.shares = shares(&rows, &estimate);
    estimate
}

/// How much less would be known of the two places without each reading, as logarithms of their variances, over all of
/// that.
fn shares(rows: &[Row], estimate: &Estimate) -> Vec<ReadingPart> {
    let with = estimate.variances();
    let square = normal_equations(rows, &estimate.parameters).0;
    let mut parts: Vec<ReadingPart> = Vec::new();
    for row in rows {
        let of = (row.trial, row.reading);
        if parts.iter().any(|part| (part.trial, part.reading) == of) {
            continue;
        }
        let mut others = square.clone();
        for row in rows.iter().filter(|row| (row.trial, row.reading) == of) {
            let weight = CALIBRATION.tails.readings.weight(row.residual);
            others.syger(-weight, &row.slopes, &row.slopes, 1.0);
        }
        let less = others.cholesky().map_or(0.0, |c| {
            let without = c.inverse();
            let without = SetParameters::from_fn(|i| without[(i, i)]);
            (without.pinion / with.pinion).ln() + (without.ring / with.ring).ln()
        });
        parts.push(ReadingPart {
            trial: row.trial,
            reading: row.reading,
            part: less.max(0.0),
        });
    }
    let all: f64 = parts.iter().map(|part| part.part).sum();
    for part in &mut parts {
        part.part /= all.max(f64::MIN_POSITIVE);
    }
    parts
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
