//! Everything that was read, explained: as told, and by each doubt that explains it nearly as well or better.

use super::calibration::CALIBRATION;
use super::doubts::{Doubt, Fault};
use super::estimate::{Estimate, fit};
use super::forward_model::ForwardModel;
use super::observation::Observation;
use super::screening::AsTold;
use super::set_parameters::SetParameters;
use crate::schema::{Card, Trial};
use std::rc::Rc;

/// One explanation with the set that it makes most likely.
#[derive(Clone)]
pub(crate) struct Explained {
    /// What is doubted.
    pub doubt: Doubt,
    /// The set and the dial.
    pub model: Rc<ForwardModel>,
    /// What was read.
    pub observations: Vec<Observation>,
    /// The most likely set.
    pub estimate: Estimate,
    /// How likely the explanation is; all together 1.
    pub weight: f64,
    /// Whether nothing read so far could show it.
    pub unseen: bool,
}

impl Explained {
    /// What no shim cures, if it is that.
    pub(crate) fn fault(&self) -> Option<Fault> {
        match self.doubt {
            Doubt::Fault(fault) => Some(fault),
            _ => None,
        }
    }

    /// Whether something that was told is doubted.
    pub(crate) fn doubts_what_was_told(&self) -> bool {
        !matches!(self.doubt, Doubt::None | Doubt::Fault(_))
    }
}

/// Weighs everything that explains the trials, likeliest first.
pub(crate) fn explain(
    card: &Card,
    model: &Rc<ForwardModel>,
    trials: &[&Trial],
    observations: &[Observation],
) -> Vec<Explained> {
    let limits = &CALIBRATION.doubts;
    let estimate = fit(model, observations, &[]);
    let as_told = AsTold::new(model, observations, &estimate);
    let told = estimate.ln_evidence;
    let well = estimate.fits_well();
    let start = estimate.parameters.to_array();
    let mut worth: Vec<(Doubt, f64, SetParameters)> = Vec::new();
    let mut unscreened = Vec::new();
    for doubt in Doubt::all(card, trials, observations) {
        match as_told.screen(doubt) {
            Some(s) => {
                let ln_odds = s.ln_evidence + doubt.chance().ln() - told;
                worth.push((doubt, ln_odds, s.parameters));
            }
            None if !well => unscreened.push(doubt),
            None => {}
        }
    }
    worth.sort_by(|a, b| b.1.total_cmp(&a.1));
    let best = worth.first().map_or(0.0, |w| w.1.max(0.0));
    worth.retain(|w| w.1 > best - limits.worth_a_fit);
    worth.truncate(limits.most_fits);
    let mut found = vec![(
        Doubt::None,
        Rc::clone(model),
        observations.to_vec(),
        estimate,
        told,
    )];
    let unscreened = unscreened.into_iter().map(|doubt| (doubt, None));
    let screened = worth.into_iter().map(|(doubt, _, at)| (doubt, Some(at)));
    for (doubt, screened) in unscreened.chain(screened) {
        // Gears that cannot mesh cut the other way were not cut that way.
        let Ok(other) = doubt.model(card, model) else {
            continue;
        };
        let read = doubt.of(observations);
        // Nothing that was read can tell it from all as told yet.
        let same = Rc::ptr_eq(&other, model) && read == observations;
        let fitted = same.then(|| found[0].3.clone());
        let widths = doubt.widths().to_array();
        let start = SetParameters::from_fn(|i| start[i] / widths[i]);
        let starts: Vec<SetParameters> = screened.into_iter().chain([start]).collect();
        let estimate = fitted.unwrap_or_else(|| fit(&other, &read, &starts));
        let ln_odds = estimate.ln_evidence + doubt.chance().ln();
        found.push((doubt, other, read, estimate, ln_odds));
    }
    let most = found
        .iter()
        .fold(f64::NEG_INFINITY, |most, f| most.max(f.4));
    let all: f64 = found.iter().map(|f| (f.4 - most).exp()).sum();
    let mut explained: Vec<Explained> = found
        .into_iter()
        .map(|(doubt, model, read, estimate, ln_odds)| Explained {
            doubt,
            model,
            observations: read,
            estimate,
            weight: (ln_odds - most).exp() / all,
            unseen: doubt.unseen(observations),
        })
        .collect();
    explained.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    explained
}
