//! Threaded adjusters at the sides: whole notches to the backlash wanted.

use super::backlash_ratio::Ratio;
use super::side_packs::ratio_step;
use super::{Answer, SetupError, StationResult, Step};
use crate::rules::adjusters;
use crate::units::Shown;
use schemars::JsonSchema;
use serde::Serialize;

/// Threaded adjusters.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(crate) struct Notches {
    /// Axial travel of one notch.
    pub notch_mm: f64,
    /// Backlash one notch is worth, both adjusters turned alike.
    pub backlash_per_notch_mm: f64,
    /// Notches to turn both adjusters, + = ring gear away from the pinion.
    pub notches: i32,
    /// The same before rounding to whole notches.
    pub exact_notches: f64,
    /// Backlash to expect.
    pub backlash_mm: f64,
    /// Notches of preload beyond zero end play, both sides together.
    pub preload_notches: f64,
    /// The ratio it was worked out with.
    pub ratio: Ratio,
}

/// Whole notches for the backlash wanted: `notches = (wanted − found) / (ratio · pitch / notches per turn)`.
///
/// # Errors
/// No travel per notch.
pub(crate) fn notches(
    found_mm: f64,
    wanted_mm: f64,
    notch_mm: f64,
    preload_notches: f64,
    ratio: Ratio,
) -> Result<Notches, SetupError> {
    if !(notch_mm.is_finite() && notch_mm > 0.0) {
        return Err(SetupError::Missing(
            "the travel of a notch is needed: give --pitch and --notches-per-turn, or a card with threaded \
             adjusters"
                .into(),
        ));
    }
    if preload_notches < 0.0 {
        return Err(SetupError::Impossible(format!(
            "{preload_notches} notches of preload would be end play; preload is 0 or more beyond zero end play"
        )));
    }
    let backlash_per_notch_mm = ratio.ratio * notch_mm;
    let exact_notches = (wanted_mm - found_mm) / backlash_per_notch_mm;
    let notches = exact_notches.round();
    Ok(Notches {
        notch_mm,
        backlash_per_notch_mm,
        notches: notches as i32,
        exact_notches,
        backlash_mm: found_mm + notches * backlash_per_notch_mm,
        preload_notches,
        ratio,
    })
}

/// The answer in words.
pub(crate) fn notches_answer(
    found_mm: f64,
    wanted_mm: f64,
    turn: &Notches,
    shown: &Shown,
) -> Answer {
    let s = |mm: f64| shown.shim(mm);
    let says = if turn.notches == 0 {
        format!(
            "Leave the adjusters: a notch is worth {} and the backlash is nearer than half of that.",
            s(turn.backlash_per_notch_mm)
        )
    } else {
        let words = adjusters(turn.notches);
        let (first, rest) = words.split_at(1);
        format!(
            "{}{rest}: expect {}.",
            first.to_uppercase(),
            s(turn.backlash_mm)
        )
    };
    let mut answer = Answer::new(StationResult::Adjusters(turn.clone()), says);
    answer.steps.extend([
        Step::new(
            "one notch",
            "ratio × pitch / notches per turn",
            format!("{:.2} × {}", turn.ratio.ratio, s(turn.notch_mm)),
            format!("{} of backlash", s(turn.backlash_per_notch_mm)),
        ),
        Step::new(
            "notches",
            "(wanted − found) / one notch",
            format!(
                "({} − {}) / {}",
                s(wanted_mm),
                s(found_mm),
                s(turn.backlash_per_notch_mm)
            ),
            format!("{:+.1}, so {:+}", turn.exact_notches, turn.notches),
        ),
        ratio_step(turn.ratio),
    ]);
    if turn.preload_notches > 0.0 {
        answer.remarks.push(format!(
            "Then preload: {} notches tight in all beyond zero end play, {} on each side, so that the ring gear stays.",
            turn.preload_notches,
            turn.preload_notches / 2.0
        ));
    }
    answer.remarks.push(
        "Always finish by tightening, so that threads and bearings sit against their load.".into(),
    );
    answer
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::setup::backlash_ratio::{RatioSource, shop};

    fn given(ratio: f64) -> Ratio {
        Ratio {
            ratio,
            deviation: 0.05,
            source: RatioSource::Given,
        }
    }

    /// SHAIS150A: one notch is worth about 0.003 in (0.08 mm). No thread is given with it; by hand, 16 threads an inch and 18 notches give 0.0882 mm of travel.
    #[test]
    fn a_notch_of_a_usual_adjuster_is_worth_about_three_thou() {
        let notch_mm = 25.4 / 16.0 / 18.0;
        let turn = notches(0.10, 0.25, notch_mm, 2.0, given(0.85)).unwrap();
        assert!(
            (turn.backlash_per_notch_mm - 0.076).abs() < 0.008,
            "{turn:?}"
        );
        assert_eq!(turn.notches, 2);
        assert!((turn.backlash_mm - 0.25).abs() < 0.5 * turn.backlash_per_notch_mm + 1e-12);
        assert!(notches(0.1, 0.2, 0.0, 0.0, shop()).is_err());
    }

    #[test]
    fn notches_of_preload_are_told_where_there_are_any() {
        let told = |preload: f64| {
            let turn = notches(0.10, 0.25, 0.09, preload, given(0.85)).unwrap();
            let answer = notches_answer(0.10, 0.25, &turn, &Shown::default());
            answer
                .remarks
                .iter()
                .any(|remark| remark.contains("Then preload"))
        };
        assert_eq!((told(0.0), told(2.0)), (false, true));
    }
}
