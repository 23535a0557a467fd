//! What to change in a set that cannot mesh: the nearest value of one size that works.

use super::{ContactError, Model};
use crate::gear::dimensions::Dimensions;
use crate::gear::set::GearSet;

/// Grid on which a changed set is tried; coarse, for only yes or no is asked.
const TRIAL_GRID: (usize, usize) = (21, 13);

/// Shares of a change that are tried from little to all until one works.
const STEPS: i32 = 20;

/// Halvings of the last step; the value is then within a six-hundredth of the whole change.
const HALVINGS: i32 = 5;

/// One way of changing a set: what it is called, and the set changed by a share from 0 to 1 with the changed value.
struct Change {
    what: &'static str,
    by: fn(&GearSet, f64) -> (GearSet, f64),
}

const OFFSET: Change = Change {
    what: "an offset of",
    by: |set, share| {
        let value = set.offset_mm * (1.0 - share);
        let mut changed = set.clone();
        changed.offset_mm = value;
        (changed, value)
    },
};

const NARROWER: Change = Change {
    what: "a face width of",
    by: |set, share| with_face_width(set, 1.0 - 0.9 * share),
};

const WIDER: Change = Change {
    what: "a face width of",
    by: |set, share| with_face_width(set, 1.0 + 9.0 * share),
};

const SHALLOWER: Change = Change {
    what: "a whole depth of",
    by: |set, share| {
        let mut changed = set.clone();
        let whole = size_of(set, |d| d.whole_depth_mm);
        let value = whole * (1.0 - 0.8 * share);
        changed.whole_depth_mm = Some(value);
        changed.clearance_mm = set.clearance_mm.map(|c| c * value / whole);
        changed.addendum_mm = set.addendum_mm.map(|a| a * value / whole);
        (changed, value)
    },
};

const LOWER: Change = Change {
    what: "a ring gear addendum of",
    by: |set, share| {
        let value = size_of(set, |d| d.addendum_mm) * (1.0 - share);
        let mut changed = set.clone();
        changed.addendum_mm = Some(value);
        (changed, value)
    },
};

fn with_face_width(set: &GearSet, factor: f64) -> (GearSet, f64) {
    let value = set.face_width_mm * factor;
    let mut changed = set.clone();
    changed.face_width_mm = value;
    (changed, value)
}

impl Change {
    /// The least change that works, in words.
    fn nearest(&self, set: &GearSet) -> Option<String> {
        let works = |share: f64| {
            let (changed, _) = (self.by)(set, share);
            Model::set_up(&changed, TRIAL_GRID.0, TRIAL_GRID.1).is_ok()
        };
        let share_of = |step: i32| f64::from(step) / f64::from(STEPS);
        let first = (1..=STEPS).find(|&step| works(share_of(step)))?;
        let (mut fails, mut share) = (share_of(first - 1), share_of(first));
        for _ in 0..HALVINGS {
            let middle = 0.5 * (fails + share);
            if works(middle) {
                share = middle;
            } else {
                fails = middle;
            }
        }
        let (_, value) = (self.by)(set, share);
        Some(format!(
            "{} {value:.1} mm is the nearest that works",
            self.what
        ))
    }
}

/// Completes an error about meshing with the nearest value that works.
pub(super) fn with_advice(error: ContactError, set: &GearSet) -> ContactError {
    let advise = |changes: &[Change]| {
        changes
            .iter()
            .find_map(|change| change.nearest(set))
            .unwrap_or_else(|| {
                "neither another offset nor another face width or addendum alone would help; \
                 check the tooth counts and angles"
                    .to_owned()
            })
    };
    match error {
        ContactError::NoConjugate { side, share, .. } => ContactError::NoConjugate {
            side,
            share,
            advice: advise(&[OFFSET, SHALLOWER, NARROWER]),
        },
        ContactError::Undercut { side, share, .. } => ContactError::Undercut {
            side,
            share,
            advice: advise(&[LOWER, SHALLOWER, OFFSET, NARROWER]),
        },
        ContactError::ContactRatio { side, ratio, .. } => ContactError::ContactRatio {
            side,
            ratio,
            advice: advise(&[WIDER, OFFSET]),
        },
        other => other,
    }
}

/// A size of the set, derived if the card leaves it out.
fn size_of(set: &GearSet, size: fn(&Dimensions) -> f64) -> f64 {
    Dimensions::new(set).map_or(1.0, |d| size(&d))
}
