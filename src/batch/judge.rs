//! What a set's photos say together, and how soon its owner should hear of it.

use super::group::{Plan, SetPlan};
use super::run::Found;
use crate::frames::{FlankPoint, Side};
use crate::rules;
use crate::rules::direction::direction_to;
use crate::rules::trial::{of_both_flanks, usable_mean};
use crate::rules::{FlankNotUsable, NotUsable, diagnose};
use crate::schema::direction::Direction;
use crate::schema::{Advice, CheckCode, FlankDiagnosis, Status, Target, Trial, advice};
use crate::units::Units;
use serde::Serialize;

/// What became of a photo or a set, most urgent first. The order is this program's own; no source.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Verdict {
    /// No shim cures it.
    BeyondShims,
    /// A patch stands out of its place.
    Misplaced,
    /// Numbers that somebody must look at, or photos of one flank that contradict each other.
    Unsure,
    /// As far as it was seen it is right, but something is missing.
    Measure,
    /// Nothing could be read.
    PhotoAgain,
    /// In its place.
    Right,
}

impl Verdict {
    /// All of them, most urgent first.
    pub(crate) const ALL: [Self; 6] = [
        Self::BeyondShims,
        Self::Misplaced,
        Self::Unsure,
        Self::Measure,
        Self::PhotoAgain,
        Self::Right,
    ];

    /// As in JSON.
    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::BeyondShims => "beyond_shims",
            Self::Misplaced => "misplaced",
            Self::Unsure => "unsure",
            Self::Measure => "measure",
            Self::PhotoAgain => "photo_again",
            Self::Right => "right",
        }
    }

    /// As people are told.
    pub(crate) const fn title(self) -> &'static str {
        match self {
            Self::BeyondShims => "no shim cures it",
            Self::Misplaced => "out of place",
            Self::Unsure => "unsure, look at it",
            Self::Measure => "something is missing",
            Self::PhotoAgain => "new photo needed",
            Self::Right => "right",
        }
    }
}

/// One photo against the target of its set.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct PhotoVerdict {
    /// What became of it.
    pub verdict: Verdict,
    /// Where the patch stands, when flank and patch are known.
    pub diagnosis: Option<FlankDiagnosis>,
    /// Distance from the target in tolerances; above 1 is out of place.
    pub distance: f64,
}

/// The photo that speaks for a flank.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FlankSeen {
    /// Its place in the plan.
    pub photo: usize,
    /// Its patch's centre.
    pub centre: FlankPoint,
    /// Where that is against the target.
    pub diagnosis: FlankDiagnosis,
    /// Distance from the target in tolerances.
    pub distance: f64,
    /// Whether the reading is sure.
    pub sure: bool,
    /// Sure photos of this flank show different places.
    pub contradicted: bool,
}

/// What a set's photos say together.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct SetVerdict {
    /// How soon, and what about.
    pub verdict: Verdict,
    /// Largest distance from a target, in tolerances.
    pub distance: f64,
    /// Drive and coast.
    pub flanks: [Option<FlankSeen>; 2],
    /// The advice, where the card is known and both flanks are sure.
    pub advice: Option<Advice>,
    /// Why there is none.
    pub no_advice: Option<String>,
    /// Which way to move the gears, where there is no card, or all that a card's advice lacks is a number.
    pub direction: Option<Direction>,
}

fn distance(diagnosis: &FlankDiagnosis, tolerance: FlankPoint) -> f64 {
    (diagnosis.length.abs() / tolerance.length).max(diagnosis.height.abs() / tolerance.height)
}

fn target_of(set: &SetPlan) -> Target {
    set.card
        .as_ref()
        .map_or_else(Target::default, |card| card.target)
}

/// One photo by itself.
pub(crate) fn photo_verdict(found: &Found, set: &SetPlan) -> PhotoVerdict {
    let target = target_of(set);
    let diagnosis = found
        .flank
        .zip(found.mean)
        .map(|(flank, mean)| diagnose::flank(mean.centre, target.of(flank.side), target.tolerance));
    let distance = diagnosis
        .as_ref()
        .map_or(0.0, |diagnosis| distance(diagnosis, target.tolerance));
    let verdict = match found.status {
        Status::Unreadable => Verdict::PhotoAgain,
        Status::Read if diagnosis.is_some() && distance > 1.0 => Verdict::Misplaced,
        Status::Read if diagnosis.is_some() => Verdict::Right,
        _ => Verdict::Unsure,
    };
    PhotoVerdict {
        verdict,
        diagnosis,
        distance,
    }
}

/// A whole set. `found` is that of the whole plan.
pub(crate) fn set_verdict(set: &SetPlan, found: &[Found], units: Units) -> SetVerdict {
    let flanks = Side::BOTH.map(|side| flank_seen(side, set, found));
    let advised = advise(set, found, &flanks, units);
    let (advice, no_advice) = match advised {
        Ok(advice) => (Some(advice), None),
        Err(why) => (None, Some(why)),
    };
    let seen = || flanks.iter().flatten();
    let misplaced = seen().any(|flank| flank.sure && flank.distance > 1.0);
    let verdict = if seen().any(|flank| flank.contradicted) {
        Verdict::Unsure
    } else {
        match advice.as_ref().map(|advice| advice.verdict) {
            Some(advice::Verdict::BeyondShims) => Verdict::BeyondShims,
            Some(advice::Verdict::Change) => Verdict::Misplaced,
            Some(advice::Verdict::Good) => Verdict::Right,
            _ if misplaced => Verdict::Misplaced,
            _ if seen().any(|flank| !flank.sure) => Verdict::Unsure,
            Some(advice::Verdict::Measure) => Verdict::Measure,
            None if flanks.iter().all(Option::is_some) => Verdict::Right,
            None if flanks.iter().any(Option::is_some) => Verdict::Measure,
            // A patch was seen whose flank is not known.
            None if set.photos.iter().any(|&at| found[at].mean.is_some()) => Verdict::Unsure,
            None => Verdict::PhotoAgain,
        }
    };
    SetVerdict {
        verdict,
        distance: seen().map(|flank| flank.distance).fold(0.0, f64::max),
        no_advice,
        direction: direction_of(set, &flanks, advice.as_ref(), units),
        advice,
        flanks,
    }
}

/// What holds for every set whose patches stand as the sure photos say; nothing where a card says more, or where anything
/// but a missing number speaks against what was told.
fn direction_of(
    set: &SetPlan,
    flanks: &[Option<FlankSeen>; 2],
    advice: Option<&Advice>,
    units: Units,
) -> Option<Direction> {
    let lacks_a_number = |advice: &Advice| {
        let missing = [CheckCode::BacklashMissing, CheckCode::PlaceMissing];
        advice.verdict == advice::Verdict::Measure
            && advice
                .checks
                .iter()
                .all(|check| missing.contains(&check.code))
    };
    if set.card.is_some() && !advice.is_some_and(lacks_a_number) {
        return None;
    }
    let centres = flanks.each_ref().map(|seen| {
        let seen = seen.as_ref()?;
        (seen.sure && !seen.contradicted).then_some(seen.centre)
    });
    direction_to(&target_of(set), centres, None, units)
}

/// The surest photo of one flank: sure readings go before unsure ones, then the smaller
/// uncertainty.
fn flank_seen(side: Side, set: &SetPlan, found: &[Found]) -> Option<FlankSeen> {
    let target = target_of(set);
    let of_side = set.photos.iter().filter_map(|&at| {
        let found = &found[at];
        let mean = found.mean.filter(|_| found.status != Status::Unreadable)?;
        (found.flank?.side == side).then_some((at, found, mean.centre))
    });
    let doubt = |found: &Found| {
        let unsure = found.uncertainty.map_or(1.0, |u| {
            u.length / target.tolerance.length + u.height / target.tolerance.height
        });
        (found.status != Status::Read, unsure)
    };
    let mut all: Vec<_> = of_side.collect();
    // Stable: of two alike the one that is first by name counts, in every run.
    all.sort_by(|a, b| {
        let (a, b) = (doubt(a.1), doubt(b.1));
        a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))
    });
    let &(photo, best, centre) = all.first()?;
    let sure = best.status == Status::Read;
    let contradicted = all.iter().any(|(_, other, at)| {
        other.status == Status::Read
            && sure
            && ((at.length - centre.length).abs() > target.tolerance.length
                || (at.height - centre.height).abs() > target.tolerance.height)
    });
    let diagnosis = diagnose::flank(centre, target.of(side), target.tolerance);
    Some(FlankSeen {
        photo,
        centre,
        distance: distance(&diagnosis, target.tolerance),
        diagnosis,
        sure,
        contradicted,
    })
}

fn advise(
    set: &SetPlan,
    found: &[Found],
    flanks: &[Option<FlankSeen>; 2],
    units: Units,
) -> Result<Advice, String> {
    let Some(card) = &set.card else {
        return Err(
            "give the card of this gear set: put a card.toml beside the photos or name it in the list"
                .into(),
        );
    };
    let measured = Trial {
        pinion_shim_mm: set.bench.pinion_shim_mm,
        ring_side_shim_mm: set.bench.ring_side_shim_mm,
        far_side_shim_mm: set.bench.far_side_shim_mm,
        backlash_mm: set.bench.backlash_mm.clone(),
        ..Trial::default()
    };
    let trial = of_both_flanks(measured, |side| {
        let [drive, coast] = flanks;
        let seen = match side {
            Side::Drive => drive,
            Side::Coast => coast,
        };
        let seen = seen.as_ref().ok_or(NotUsable::NoPhoto)?;
        let found = &found[seen.photo];
        let reading = usable_mean(found.status, found.mean, found.uncertainty, false)?;
        if seen.contradicted {
            return Err(NotUsable::Contradicted);
        }
        Ok(reading)
    })
    .map_err(|refused| no_advice(&refused))?;
    rules::advise_in(card, &[trial], units).map_err(|error| error.to_string())
}

/// Why a set's photos make no advice.
fn no_advice(FlankNotUsable { side, why }: &FlankNotUsable) -> String {
    let word = side.word();
    match why {
        NotUsable::NoPhoto | NotUsable::SeveralPhotos(_) | NotUsable::Unreadable { .. } => {
            format!("no photo of the {word} flanks could be read")
        }
        NotUsable::Unsure | NotUsable::Mirrored => {
            format!("the reading of the {word} flanks is unsure")
        }
        NotUsable::Contradicted => {
            format!("photos of the {word} flanks show the patch in different places")
        }
    }
}

/// The sets' places in the plan, most urgent first.
pub(crate) fn by_urgency(plan: &Plan, verdicts: &[SetVerdict]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..plan.sets.len()).collect();
    order.sort_by(|&a, &b| {
        let (x, y) = (&verdicts[a], &verdicts[b]);
        x.verdict
            .cmp(&y.verdict)
            .then(y.distance.total_cmp(&x.distance))
            .then(plan.sets[a].name.cmp(&plan.sets[b].name))
    });
    order
}
