//! Whether something hides one end of the flanks: the gear that fits whole flanks is held against those that fit flanks
//! of which one end does not show.

use super::calibration::CALIBRATION;
use super::pose::gear_fit::GearFit;
use super::pose::hidden_end::HiddenEnd;
use super::pose::known_gear::KnownGear;
use super::pose::parameters::EDGE_NUMBERS;
use super::pose::refit::{Refit, Refitted};
use super::pose::regular_teeth::SeenTooth;
use crate::frames::FlankPoint;
use crate::photo::Photo;
use crate::schema::{Reason, ReasonCode};

/// What shows of the ends of the flanks.
#[derive(Debug, Clone)]
pub(super) struct Ends {
    /// The gear that explains it.
    pub fit: GearFit,
    /// What hides one end, if anything does.
    pub hiding: Option<Hiding>,
    /// Standard deviation of lengths, for it is not sure how much is hidden.
    pub length_doubt: f64,
}

/// What hides one end of every flank.
#[derive(Debug, Clone)]
pub(super) struct Hiding {
    /// Which end.
    pub end: HiddenEnd,
    /// Where its edge runs.
    edge: [f64; EDGE_NUMBERS],
    /// Where each tooth stands in the row, −½ … ½.
    steps: Vec<f64>,
}

impl Hiding {
    /// Whether a point of a tooth's flank is hidden.
    pub(super) fn hides(&self, tooth: usize, at: FlankPoint) -> bool {
        self.end.hides(at, self.steps[tooth], &self.edge)
    }
}

/// Looks whether an end is hidden from the teeth that show, whose angles are those of `fit`.
///
/// # Errors
/// The reason for which it cannot be said which end is, though one seems to be.
pub(super) fn ends(
    photo: &Photo,
    known: &KnownGear,
    fit: &GearFit,
    teeth: &[SeenTooth],
) -> Result<Ends, Vec<Reason>> {
    let limits = &CALIBRATION.hidden_ends;
    let whole = |fit: GearFit, length_doubt: f64| Ends {
        fit,
        hiding: None,
        length_doubt,
    };
    let Some(refit) = Refit::of(photo, known, fit, teeth) else {
        return Ok(whole(fit.clone(), 0.0));
    };
    let shown = refit.hidden(None).ok_or_else(not_told)?;
    let [toe, heel] = HiddenEnd::BOTH.map(|end| refit.hidden(Some(end)).map(|fit| (end, fit)));
    let (Some(toe), Some(heel)) = (toe, heel) else {
        return Ok(whole(shown.fit, 0.0));
    };
    let share = |one: &Refitted| HiddenEnd::share(0.5, 0.0, &one.edge);
    let ahead = (toe.1.cost - heel.1.cost).abs();
    let (best, other) = if toe.1.cost < heel.1.cost {
        (toe, heel.1)
    } else {
        (heel, toe.1)
    };
    let gain = shown.cost - best.1.cost;
    let hidden_share = share(&best.1);
    if gain < limits.least_gain || hidden_share < limits.least_share {
        // What would be hidden, as far as it is likely.
        let likely = 1.0 / (1.0 + ((limits.even_gain - gain) / limits.gain_spread).exp());
        let most = hidden_share
            .max(share(&other))
            .clamp(0.0, limits.most_share);
        // An edge that hides hardly anything on the whole and explains much: it may well be more.
        let uneven = if gain < limits.least_gain {
            0.0
        } else {
            0.5 * limits.share_deviation
        };
        // Without a known pitch the teeth were fitted so already.
        let fit = match known.pitch() {
            Some(_) => shown.fit,
            None => fit.clone(),
        };
        return told(whole(fit, (likely * 0.5 * most).hypot(uneven)));
    }
    // Taken for hidden at the one end, lengths are off by the share where it is the other.
    let other_end = 1.0 / (1.0 + (ahead / limits.ahead_spread).exp());
    if other_end > limits.most_other_end {
        // Neither: the middle between both.
        return told(whole(fit.clone(), 0.5 * hidden_share));
    }
    let deviation = match known.pitch() {
        Some(_) => limits.share_deviation_known,
        None => limits.share_deviation,
    };
    told(Ends {
        hiding: Some(Hiding {
            end: best.0,
            edge: best.1.edge,
            steps: teeth
                .iter()
                .map(|tooth| refit.place_in_row(tooth))
                .collect(),
        }),
        fit: best.1.fit,
        length_doubt: (0.5 * deviation).hypot(other_end.sqrt() * hidden_share),
    })
}

/// The ends, unless it is too much in doubt how much of them shows.
fn told(ends: Ends) -> Result<Ends, Vec<Reason>> {
    if ends.length_doubt > CALIBRATION.hidden_ends.most_doubt {
        Err(not_told())
    } else {
        Ok(ends)
    }
}

fn not_told() -> Vec<Reason> {
    vec![Reason::new(
        ReasonCode::FlankHidden,
        "Something hides an end of the flanks, and how much of them shows cannot be told. Turn the gear or go aside until toe and heel of the painted teeth are in view, or mark the flanks.",
    )]
}
