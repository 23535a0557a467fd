//! A collapsible sleeve: nut torque by steps until the rotating torque is right, never back.

use super::turning_torque::clearly_less;
use super::{Answer, SetupError, StationResult, Step, verdict};
use crate::units::{LB_IN_NM, Shown};
use schemars::JsonSchema;
use serde::Serialize;

/// Step of the nut, N·m: 5 lb-ft at a time; common practice, no source.
pub(crate) const STEP_NM: f64 = 5.0 * 12.0 * LB_IN_NM;

/// One step: the nut's torque and what the pinion then turned with.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub(crate) struct SleeveStep {
    /// Torque the nut was brought to, N·m.
    pub nut_nm: f64,
    /// Rotating torque, N·m.
    pub rotating_nm: f64,
}

/// What to do next.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum SleeveVerdict {
    /// Tighten by a step and measure again.
    Tighten,
    /// Tighten by less than a step: the rotating torque rises fast now.
    TightenALittle,
    /// Right.
    Right,
    /// The nut's limit is reached before the sleeve gave way.
    NutLimit,
    /// Too tight: a new sleeve.
    NewSleeve,
}

/// The next step.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(crate) struct SleeveNext {
    /// What to do.
    pub verdict: SleeveVerdict,
    /// Torque to bring the nut to, when it is to be tightened.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nut_nm: Option<f64>,
    /// The window for the rotating torque.
    pub window_nm: [f64; 2],
    /// Greatest torque of the nut, if it is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nut_limit_nm: Option<f64>,
    /// Steps at which the nut was turned back, from 1.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub backed_off: Vec<usize>,
}

/// The steps of a job's newest sleeve: a nut that is slacker than before begins another.
pub(crate) fn since_newest_sleeve(steps: &[SleeveStep]) -> &[SleeveStep] {
    let slackened = steps
        .windows(2)
        .rposition(|pair| pair[1].nut_nm < pair[0].nut_nm - 1e-9);
    &steps[slackened.map_or(0, |before| before + 1)..]
}

/// Judges the steps so far, oldest first. `as_written` takes a torque that falls while the nut is tightened.
///
/// # Errors
/// No step yet; numbers below nothing; a sleeve that loosens as its nut is tightened.
pub(crate) fn next(
    steps: &[SleeveStep],
    window_nm: [f64; 2],
    nut_limit_nm: Option<f64>,
    as_written: bool,
) -> Result<SleeveNext, SetupError> {
    let Some(last) = steps.last() else {
        return Err(SetupError::Missing(
            "give the steps so far, as --step NUT=ROTATING, for example --step 200lb-ft=0lb-in; start where \
             the play is just gone"
                .into(),
        ));
    };
    if steps
        .iter()
        .any(|s| !(s.nut_nm > 0.0 && s.rotating_nm >= 0.0))
    {
        return Err(SetupError::Impossible(
            "a nut torque must be above nothing and a rotating torque not below it".into(),
        ));
    }
    let mut pairs = (1..).zip(steps.windows(2));
    let loosens = pairs.find(|(_, pair)| {
        pair[1].nut_nm > pair[0].nut_nm && clearly_less(pair[1].rotating_nm, pair[0].rotating_nm)
    });
    if let Some((number, _)) = loosens.filter(|_| !as_written) {
        return Err(SetupError::Question(format!(
            "at step {} the nut is tighter than at step {number} and the pinion turns easier, which a sleeve does not do: \
             was one of them read wrong, or the torque to start it written down? Turn it some turns and read both again; \
             if they are right as they stand, add --as-written",
            number + 1
        )));
    }
    let backed_off: Vec<usize> = (2..)
        .zip(steps.windows(2))
        .filter(|(_, pair)| pair[1].nut_nm < pair[0].nut_nm - 1e-9)
        .map(|(number, _)| number)
        .collect();
    let too_tight = steps
        .iter()
        .any(|s| verdict(s.rotating_nm, window_nm) == "above");
    // The rise of the last step, were it to go on, would overshoot the middle of the window.
    let fast = steps.windows(2).last().is_some_and(|pair| {
        let rise = pair[1].rotating_nm - pair[0].rotating_nm;
        last.rotating_nm + rise > 0.5 * (window_nm[0] + window_nm[1])
    });
    let verdict = if too_tight || !backed_off.is_empty() {
        SleeveVerdict::NewSleeve
    } else if verdict(last.rotating_nm, window_nm) == "within" {
        SleeveVerdict::Right
    } else if nut_limit_nm.is_some_and(|limit| last.nut_nm >= limit - 1e-9) {
        SleeveVerdict::NutLimit
    } else if fast {
        SleeveVerdict::TightenALittle
    } else {
        SleeveVerdict::Tighten
    };
    let step_nm = match verdict {
        SleeveVerdict::Tighten => Some(STEP_NM),
        SleeveVerdict::TightenALittle => Some(STEP_NM / 2.0),
        _ => None,
    };
    let nut_nm = step_nm.map(|step| {
        let to = last.nut_nm + step;
        nut_limit_nm.map_or(to, |limit| to.min(limit))
    });
    Ok(SleeveNext {
        verdict,
        nut_nm,
        window_nm,
        nut_limit_nm,
        backed_off,
    })
}

/// The answer in words.
pub(crate) fn answer(steps: &[SleeveStep], next: &SleeveNext, shown: &Shown) -> Answer {
    let window = format!(
        "{} to {}",
        shown.torque(next.window_nm[0]),
        shown.torque(next.window_nm[1])
    );
    let says = match (next.verdict, next.nut_nm) {
        (SleeveVerdict::Right, _) => {
            format!("Right: the rotating torque is within {window}. Leave the nut; never turn it back.")
        }
        (SleeveVerdict::NewSleeve, _) if !next.backed_off.is_empty() => {
            "The nut was turned back: a crushed sleeve does not spring back and the bearings lose their \
             preload. Fit a new sleeve and start again."
                .into()
        }
        (SleeveVerdict::NewSleeve, _) => format!(
            "Too tight for {window}: do not turn the nut back. Fit a new sleeve and start again, with smaller \
             steps near the end."
        ),
        (SleeveVerdict::NutLimit, _) => {
            "The nut is at its limit and the sleeve has not given enough. Stop: check sleeve, bearings and the \
             order of parts."
                .into()
        }
        (_, Some(nut_nm)) => format!(
            "Bring the nut to {} and measure again.",
            shown.fastener(nut_nm)
        ),
        (_, None) => "Measure again.".into(),
    };
    let mut answer = Answer::new(StationResult::Sleeve(next.clone()), says);
    for (number, step) in (1..).zip(steps) {
        answer.steps.push(Step::new(
            format!("step {number}"),
            "tighten, turn some turns, read while turning",
            format!("nut {}", shown.fastener(step.nut_nm)),
            format!(
                "rotating torque {}, {} {window}",
                shown.torque(step.rotating_nm),
                verdict(step.rotating_nm, next.window_nm)
            ),
        ));
    }
    answer.remarks.push(format!(
        "Steps of {} at most; hold the yoke with a bar made for it. Once play is gone the rotating torque rises \
         within a few degrees of the nut.",
        shown.fastener(STEP_NM)
    ));
    answer.cautions.push(
        "Never back the nut off to reduce preload. An over-crushed sleeve is replaced.".into(),
    );
    answer
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Units;

    const LB_IN: f64 = 0.112_984_8;
    const LB_FT: f64 = 1.355_818;

    fn steps(list: &[(f64, f64)]) -> Vec<SleeveStep> {
        list.iter()
            .map(|(nut, rotating)| SleeveStep {
                nut_nm: nut * LB_FT,
                rotating_nm: rotating * LB_IN,
            })
            .collect()
    }

    /// TM 9-2320-289-34 p. 6-119: 25–35 lb-in with new bearings.
    const WINDOW: [f64; 2] = [25.0 * LB_IN, 35.0 * LB_IN];

    fn verdict_of(list: &[(f64, f64)]) -> (SleeveVerdict, Option<f64>) {
        let next = next(&steps(list), WINDOW, Some(400.0 * LB_FT), false).unwrap();
        (next.verdict, next.nut_nm.map(|nm| nm / LB_FT))
    }

    #[test]
    fn the_nut_goes_up_by_five_pound_feet_and_never_back() {
        let (verdict, nut) = verdict_of(&[(350.0, 2.0)]);
        assert_eq!(verdict, SleeveVerdict::Tighten);
        assert!((nut.unwrap() - 355.0).abs() < 1e-3);
        assert_eq!(
            verdict_of(&[(350.0, 2.0), (355.0, 17.0)]).0,
            SleeveVerdict::TightenALittle
        );
        assert_eq!(
            verdict_of(&[(355.0, 17.0), (358.0, 28.0)]).0,
            SleeveVerdict::Right
        );
        assert_eq!(
            verdict_of(&[(355.0, 17.0), (365.0, 48.0)]).0,
            SleeveVerdict::NewSleeve
        );
        // Backing off brought the reading into the window; the sleeve is spent all the same.
        assert_eq!(
            verdict_of(&[(365.0, 48.0), (340.0, 30.0)]).0,
            SleeveVerdict::NewSleeve
        );
        assert_eq!(
            verdict_of(&[(340.0, 2.0), (330.0, 2.0)]).0,
            SleeveVerdict::NewSleeve
        );
        assert_eq!(verdict_of(&[(400.0, 3.0)]).0, SleeveVerdict::NutLimit);
        assert!(next(&[], WINDOW, None, false).is_err());
    }

    #[test]
    fn a_sleeve_that_loosens_as_the_nut_is_tightened_is_asked_back() {
        let list = steps(&[(200.0, 20.0), (210.0, 5.0)]);
        let question = next(&list, WINDOW, None, false).unwrap_err().to_string();
        assert!(question.contains("at step 2"), "{question}");
        assert!(next(&list, WINDOW, None, true).is_ok());
        let shown = Shown::from(Units::In);
        let list = steps(&[(200.0, 2.0)]);
        let answer = answer(&list, &next(&list, WINDOW, None, false).unwrap(), &shown);
        assert!(answer.says.contains("205.0 lb-ft"), "{}", answer.says);
        let said = answer.remarks.join(" ");
        assert!(said.contains("Steps of 5.0 lb-ft"), "{said}");
    }

    #[test]
    fn the_same_nut_torque_read_again_is_no_contradiction() {
        let list = steps(&[(200.0, 20.0), (200.0, 5.0)]);
        assert!(next(&list, WINDOW, None, false).is_ok());
    }
}
