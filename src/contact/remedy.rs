//! What to change in a set that cannot mesh: the nearest value of one size that works.

use super::{ContactError, Model};
use crate::gear::dimensions::Dimensions;
use crate::gear::set::GearSet;

/// Grid on which a changed set is tried; coarse, for only yes or no is asked.
const TRIAL_GRID: (usize, usize) = (21, 13);

/// One way of changing a set: what it is called, and the set changed by a share from 0 to 1.
type Change = (&'static str, fn(&GearSet, f64) -> (GearSet, f64));

/// Completes an error about meshing with the nearest value that works.
pub(super) fn with_advice(error: ContactError, set: &GearSet) -> ContactError {
    let advise = |changes: &[Change]| {
        changes
            .iter()
            .find_map(|&(what, change)| {
                let works = |share: f64| {
                    let (changed, _) = change(set, share);
                    Model::set_up(&changed, TRIAL_GRID.0, TRIAL_GRID.1).is_ok()
                };
                let steps = 20;
                let first =
                    (1..=steps).find(|&step: &i32| works(f64::from(step) / f64::from(steps)))?;
                let (mut fails, mut share) = (
                    f64::from(first - 1) / f64::from(steps),
                    f64::from(first) / f64::from(steps),
                );
                for _ in 0..5 {
                    let middle = 0.5 * (fails + share);
                    if works(middle) {
                        share = middle;
                    } else {
                        fails = middle;
                    }
                }
                let (_, value) = change(set, share);
                Some(format!("{what} {value:.1} mm is the nearest that works"))
            })
            .unwrap_or_else(|| {
                "neither another offset nor another face width or addendum alone would help; \
                 check the tooth counts and angles"
                    .to_owned()
            })
    };
    let offset: Change = ("an offset of", |set, share| {
        let value = set.offset_mm * (1.0 - share);
        let mut changed = set.clone();
        changed.offset_mm = value;
        (changed, value)
    });
    let narrower: Change = ("a face width of", |set, share| {
        let value = set.face_width_mm * (1.0 - 0.9 * share);
        let mut changed = set.clone();
        changed.face_width_mm = value;
        (changed, value)
    });
    let wider: Change = ("a face width of", |set, share| {
        let value = set.face_width_mm * (1.0 + 9.0 * share);
        let mut changed = set.clone();
        changed.face_width_mm = value;
        (changed, value)
    });
    let shallower: Change = ("a whole depth of", |set, share| {
        let mut changed = set.clone();
        let whole = size_of(set, |d| d.whole_depth_mm);
        let value = whole * (1.0 - 0.8 * share);
        changed.whole_depth_mm = Some(value);
        changed.clearance_mm = set.clearance_mm.map(|c| c * value / whole);
        changed.addendum_mm = set.addendum_mm.map(|a| a * value / whole);
        (changed, value)
    });
    let lower: Change = ("a ring gear addendum of", |set, share| {
        let value = size_of(set, |d| d.addendum_mm) * (1.0 - share);
        let mut changed = set.clone();
        changed.addendum_mm = Some(value);
        (changed, value)
    });
    match error {
        ContactError::NoConjugate { side, share, .. } => ContactError::NoConjugate {
            side,
            share,
            advice: advise(&[offset, shallower, narrower]),
        },
        ContactError::Undercut { side, share, .. } => ContactError::Undercut {
            side,
            share,
            advice: advise(&[lower, shallower, offset, narrower]),
        },
        ContactError::ContactRatio { side, ratio, .. } => ContactError::ContactRatio {
            side,
            ratio,
            advice: advise(&[wider, offset]),
        },
        other => other,
    }
}

/// A size of the set, derived if the card leaves it out.
fn size_of(set: &GearSet, size: fn(&Dimensions) -> f64) -> f64 {
    Dimensions::new(set).map_or(1.0, |d| size(&d))
}
