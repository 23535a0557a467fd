//! Whether something hides one end of the flanks: the gear that fits whole flanks is held against those that fit flanks
//! of which one end does not show.

use super::calibration::CALIBRATION;
use super::flank_edges::SeenEnd;
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
    /// The gear that explains it, where that is another than the one told.
    pub fit: Option<GearFit>,
    /// What hides one end, if anything does.
    pub hiding: Option<Hiding>,
    /// Standard deviation of lengths, for it is not sure how much is hidden.
    pub length_doubt: f64,
    /// What they scatter by beyond it.
    pub length_scatter: f64,
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

/// Looks whether an end is hidden from the teeth that show, whose angles are those of `fit`; `seen` is what shows about its toe
/// and its heel.
///
/// # Errors
/// The reason for which it cannot be said how much is hidden, though something seems to be.
pub(super) fn ends(
    photo: &Photo,
    known: &KnownGear,
    fit: &GearFit,
    teeth: &[SeenTooth],
    seen: [SeenEnd; 2],
) -> Result<Ends, Vec<Reason>> {
    let limits = &CALIBRATION.hidden_ends;
    let whole = |fit: Option<GearFit>, length_doubt: f64| Ends {
        fit,
        hiding: None,
        length_doubt,
        length_scatter: 0.0,
    };
    let Some(refit) = Refit::of(photo, known, fit, teeth) else {
        return Ok(whole(None, 0.0));
    };
    let shown = refit.hidden(None).ok_or_else(not_told)?;
    let [toe, heel] = HiddenEnd::BOTH.map(|end| refit.hidden(Some(end)));
    let (Some(toe), Some(heel)) = (toe, heel) else {
        return Ok(whole(Some(shown.fit), 0.0));
    };
    let of_end = |end, refitted: Refitted| {
        let share = HiddenEnd::share(0.5, 0.0, &refitted.edge);
        let gain = if share > limits.least_share {
            shown.cost - refitted.cost
        } else {
            0.0
        };
        HiddenFit {
            end,
            refitted,
            share,
            gain,
        }
    };
    let toe = of_end(HiddenEnd::Toe, toe);
    let heel = of_end(HiddenEnd::Heel, heel);
    let [nothing, at_toe, at_heel] = likely([toe.gain, heel.gain], seen);
    if nothing > at_toe.max(at_heel) {
        // Lengths are off by half of what is hidden all the same.
        let off = |one: &HiddenFit| 0.5 * one.share.clamp(limits.usual_share, limits.most_share);
        let counts = 1.0 - (limits.uncounted / (at_toe + at_heel)).min(1.0);
        let doubt = (at_toe.sqrt() * off(&toe)).hypot(at_heel.sqrt() * off(&heel));
        // Without a known pitch the teeth were fitted so already.
        let fit = known.pitch().map(|_| shown.fit);
        return told(whole(fit, counts.sqrt() * doubt));
    }
    let (best, other) = if at_toe > at_heel {
        (toe, heel)
    } else {
        (heel, toe)
    };
    if best.gain < limits.least_gain {
        return Err(not_told());
    }
    let (counted, scatter) = match known.pitch() {
        Some(_) => (limits.share_deviation_known, limits.share_scatter_known),
        None => (limits.share_deviation, limits.share_scatter),
    };
    let if_nothing = nothing.sqrt() * 0.5 * best.share;
    let if_other = at_toe.min(at_heel).sqrt() * 0.5 * (best.share + other.share.max(0.0));
    let steps = teeth.iter().map(|tooth| refit.place_in_row(tooth));
    told(Ends {
        hiding: Some(Hiding {
            end: best.end,
            edge: best.refitted.edge,
            steps: steps.collect(),
        }),
        fit: Some(best.refitted.fit),
        length_doubt: (0.5 * counted).hypot(if_nothing).hypot(if_other),
        length_scatter: 0.5 * (scatter.powi(2) - counted.powi(2)).max(0.0).sqrt(),
    })
}

/// The gear that explains the teeth best of which one end is hidden.
struct HiddenFit {
    end: HiddenEnd,
    refitted: Refitted,
    /// The share of the length that is hidden, in the middle of the row.
    share: f64,
    /// By how much less a half of the sum of squares it leaves than the gear whose flanks show whole; nought where it hides
    /// next to nothing.
    gain: f64,
}

/// How likely it is that nothing is hidden, the toe, and the heel: by how much better a gear explains the teeth of which that
/// end is hidden, and by what shows about it.
fn likely(gains: [f64; 2], seen: [SeenEnd; 2]) -> [f64; 3] {
    let limits = &CALIBRATION.hidden_ends;
    let mut odds = [1.0; 3];
    for (end, (gain, seen)) in gains.into_iter().zip(seen).enumerate() {
        let by = &limits.odds[end];
        let logarithm = by.base
            + by.gain * gain.clamp(-limits.most_gain, limits.most_gain)
            + by.gear_beyond * seen.gear_beyond
            + by.other_before * seen.other_before
            + by.goes_on * seen.goes_on;
        odds[1 + end] = logarithm.exp();
    }
    let all: f64 = odds.iter().sum();
    odds.map(|one| one / all)
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

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(gear_beyond: f64, other_before: f64, goes_on: f64) -> SeenEnd {
        SeenEnd {
            gear_beyond,
            other_before,
            goes_on,
        }
    }

    #[test]
    fn what_shows_beyond_an_end_says_whether_it_is_one() {
        let end = seen(3.0, 0.0, 0.0);
        let cover = seen(-2.0, 0.05, 0.02);
        let [whole, ..] = likely([0.0, 0.0], [end, end]);
        assert!(whole > 0.95, "{whole}");
        let [_, toe, _] = likely([0.0, 0.0], [cover, end]);
        let [.., heel] = likely([0.0, 0.0], [end, cover]);
        // Beyond a heel that shows there often is no gear either.
        assert!(toe > 0.7 && heel > 0.3 && heel < toe, "{toe} {heel}");
        // The gear's own proportions count beside it.
        let [.., surer] = likely([0.0, 30.0], [end, cover]);
        assert!(surer > heel + 0.1, "{surer} {heel}");
        // Nothing seen is no reason to give a photo up, and no gain is too large.
        let unseen = seen(0.0, 0.0, 0.0);
        let [whole, ..] = likely([0.0, 0.0], [unseen, unseen]);
        assert!(whole > 0.5, "{whole}");
        let all = likely([f64::INFINITY, f64::NEG_INFINITY], [unseen, unseen]);
        assert!(all.iter().all(|one| one.is_finite()), "{all:?}");
        assert!((all.iter().sum::<f64>() - 1.0).abs() < 1e-12);
    }
}
