//! Bolts: torque to tension and back, and the order to tighten them in.

use super::friction::{Custom, Friction};
use super::threads::{Grade, Thread};
use super::{Answer, SetupError, StationResult, Step};
use crate::units::Shown;
use schemars::JsonSchema;
use serde::Serialize;

/// Share of the proof load a re-usable joint is tightened to (the basis of IFI N-68, as quoted in a torque table).
pub(crate) const USUAL_SHARE: f64 = 0.75;

/// A bolt's torque and tension.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(crate) struct Bolt {
    /// The thread.
    pub thread: Thread,
    /// Its stress area.
    pub stress_area_mm2: f64,
    /// Nut factor worked with.
    pub nut_factor: f64,
    /// The customs that the thread's state goes by, the one worked with first.
    #[serde(skip_serializing_if = "<[Custom]>::is_empty")]
    pub customs: &'static [Custom],
    /// Torque.
    pub torque_nm: f64,
    /// Tension of one bolt.
    pub tension_n: f64,
    /// Proof strength, with the grade.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub proof_mpa: Option<f64>,
    /// Tension over proof load, with the grade.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub share_of_proof: Option<f64>,
    /// How many bolts.
    pub count: usize,
    /// Tension of all of them.
    pub clamp_n: f64,
    /// Order to tighten them in, counted round the circle.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub order: Vec<usize>,
    /// Torques of the passes.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub passes_nm: Vec<f64>,
}

/// What is known of a bolt.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Known {
    /// The torque.
    Torque(f64),
    /// The tension.
    Tension(f64),
    /// The share of the proof load.
    Share(f64),
}

/// Works a bolt out: `T = K D F`, `F = p · S_p · A_s`.
///
/// # Errors
/// No grade where the proof load is needed; numbers that cannot be.
pub(crate) fn bolt(
    thread: Thread,
    grade: Option<Grade>,
    friction: Friction,
    known: Known,
    count: usize,
) -> Result<Bolt, SetupError> {
    let nut_factor = friction.nut_factor(&thread);
    if !(0.05..=0.5).contains(&nut_factor) {
        return Err(SetupError::Impossible(format!(
            "a nut factor of {nut_factor:.2} is none; usual ones run from 0.10 (waxed) to 0.22 (zinc, dry)"
        )));
    }
    let stress_area_mm2 = thread.stress_area_mm2();
    let proof_mpa = grade.and_then(|grade| grade.proof_mpa(thread.diameter_mm));
    let arm_m = nut_factor * thread.diameter_mm / 1000.0;
    let tension_n = match known {
        Known::Torque(nm) => nm / arm_m,
        Known::Tension(n) => n,
        Known::Share(share) => {
            let proof = proof_mpa.ok_or_else(|| match grade {
                Some(grade) => SetupError::Missing(format!(
                    "no document at hand has the proof strength of {} at this size; give --torque or --tension, from the \
                     axle's manual",
                    grade.words()
                )),
                None => SetupError::Missing(
                    "the grade is needed: look at the marks on the bolt's head (three lines grade 5, six lines grade \
                     8; metric classes stand as 8.8, 10.9, 12.9) and give --grade; or give --torque or --tension"
                        .into(),
                ),
            })?;
            if !(0.0..=1.0).contains(&share) {
                return Err(SetupError::Impossible(
                    "the share of the proof load runs from 0 to 1; 0.75 is usual".into(),
                ));
            }
            share * proof * stress_area_mm2
        }
    };
    if !(tension_n.is_finite() && tension_n > 0.0) {
        return Err(SetupError::Impossible(
            "torque and tension must be above nothing".into(),
        ));
    }
    let torque_nm = tension_n * arm_m;
    Ok(Bolt {
        thread,
        stress_area_mm2,
        nut_factor,
        customs: friction.customs(),
        torque_nm,
        tension_n,
        proof_mpa,
        share_of_proof: proof_mpa.map(|proof| tension_n / (proof * stress_area_mm2)),
        count,
        clamp_n: tension_n * count as f64,
        order: if count > 1 { star(count) } else { Vec::new() },
        passes_nm: if count > 1 {
            PASSES.map(|share| share * torque_nm).to_vec()
        } else {
            Vec::new()
        },
    })
}

/// Shares of the torque for the passes: common practice, no source.
const PASSES: [f64; 3] = [0.5, 0.8, 1.0];

/// Crosswise order round a circle of bolts: always the bolt furthest from all that are done, the one opposite the
/// last of them first among equals.
pub(crate) fn star(count: usize) -> Vec<usize> {
    let mut order: Vec<usize> = Vec::with_capacity(count);
    let apart = |a: usize, b: usize| {
        let steps = a.abs_diff(b);
        steps.min(count - steps)
    };
    while order.len() < count {
        let free = (0..count).filter(|i| !order.contains(i));
        let next = free.max_by_key(|i| {
            let nearest = order.iter().map(|done| apart(*i, *done)).min().unwrap_or(0);
            let last = order.last().map_or(0, |last| apart(*i, *last));
            (nearest, last, std::cmp::Reverse(*i))
        });
        match next {
            Some(next) => order.push(next),
            None => break,
        }
    }
    order.iter().map(|i| i + 1).collect()
}

/// The answer in words.
pub(crate) fn answer(
    bolt: &Bolt,
    grade: Option<Grade>,
    friction: Friction,
    known: Known,
    shown: &Shown,
) -> Answer {
    let custom = match bolt.customs.first() {
        Some(custom) => format!(" ({})", custom.source),
        None => String::new(),
    };
    let mut answer = Answer::new(
        StationResult::Fasteners(bolt.clone()),
        format!(
            "{} of torque is {} of tension{}, with a nut factor K of {:.2}{custom}.",
            shown.torque(bolt.torque_nm),
            shown.force(bolt.tension_n),
            bolt.share_of_proof.map_or(String::new(), |share| format!(
                ", {:.0} % of proof",
                100.0 * share
            )),
            bolt.nut_factor,
        ),
    );
    answer.steps = bolt_steps(bolt, grade, shown);
    answer.steps.extend(other_customs(bolt, known, shown));
    if bolt.count > 1 {
        answer.steps.extend(circle_steps(bolt, shown));
    }
    // Common practice, no source.
    if bolt.share_of_proof.is_some_and(|share| share > 0.9) {
        answer.cautions.push("That is more than 90 % of the proof load: the bolt may stretch for good. Check size, grade and friction.".into());
    }
    if bolt.customs.len() > 1 {
        answer.remarks.push(
            "Customs differ for plated threads. The slipperiest is worked with: it asks the least torque for a tension, and \
             finds the most tension in a torque. K 0.22 for zinc (common practice, no source) asks a third more torque; it is not \
             worked with."
                .into(),
        );
    }
    answer.remarks.push(
        "By IFI N-68, as quoted (K 0.15 and 0.20), the same torque gives a third more tension on a lubricated thread than on a dry \
         one. Clean threads, new bolts where the manual asks for them; with thread locker its maker's word counts."
            .into(),
    );
    answer
        .remarks
        .extend(from_memory(bolt, grade, friction, shown));
    answer
}

/// What no document at hand stands for, said with its value.
fn from_memory(
    bolt: &Bolt,
    grade: Option<Grade>,
    friction: Friction,
    shown: &Shown,
) -> Option<String> {
    let mut values: Vec<String> = Vec::new();
    if let (Some(grade), Some(proof)) =
        (grade.filter(|grade| grade.is_from_memory()), bolt.proof_mpa)
    {
        values.push(format!(
            "the proof strength of {}, {}",
            grade.words(),
            shown.stress(proof)
        ));
    }
    if !bolt.thread.inch {
        values.push("the stress area of metric threads, π/4 (d − 0.9382 P)², ISO 898-1".into());
    }
    if bolt.thread.usual_pitch {
        values.push(format!(
            "the coarse pitch of that size, {}, ISO 261",
            shown.length(bolt.thread.pitch_mm)
        ));
    }
    if matches!(friction, Friction::Coefficient(_)) {
        values.push("the head bearing at 1.3 times the diameter".into());
    }
    (!values.is_empty()).then(|| {
        format!(
            "From memory, without a document beside it: {}. Check before you rely on it.",
            values.join("; ")
        )
    })
}

/// What the other customs for the thread's state come to.
fn other_customs(bolt: &Bolt, known: Known, shown: &Shown) -> Vec<Step> {
    let others = bolt.customs.iter().skip(1);
    others
        .map(|custom| {
            let (what, result) = match known {
                Known::Torque(_) => (
                    "tension by another custom",
                    shown.force(bolt.tension_n * bolt.nut_factor / custom.nut_factor),
                ),
                Known::Tension(_) | Known::Share(_) => (
                    "torque by another custom",
                    shown.torque(bolt.torque_nm * custom.nut_factor / bolt.nut_factor),
                ),
            };
            Step::new(
                what,
                "the same with the other K",
                format!("K {:.2}: {}", custom.nut_factor, custom.source),
                result,
            )
        })
        .collect()
}

/// One bolt: from its thread to its torque.
fn bolt_steps(bolt: &Bolt, grade: Option<Grade>, shown: &Shown) -> Vec<Step> {
    let mut steps = vec![Step::new(
        "stress area",
        if bolt.thread.inch {
            "π/4 (D − 0.9743/n)²"
        } else {
            "π/4 (d − 0.9382 P)²"
        },
        format!(
            "D {}, pitch {}",
            shown.length(bolt.thread.diameter_mm),
            shown.length(bolt.thread.pitch_mm)
        ),
        shown.area(bolt.stress_area_mm2),
    )];
    if let (Some(grade), Some(proof), Some(share)) = (grade, bolt.proof_mpa, bolt.share_of_proof) {
        steps.push(Step::new(
            "tension",
            "share of proof × proof strength × stress area",
            format!(
                "{share:.2} × {} ({}) × {}",
                shown.stress(proof),
                grade.words(),
                shown.area(bolt.stress_area_mm2)
            ),
            shown.force(bolt.tension_n),
        ));
    }
    steps.push(Step::new(
        "torque",
        "K × D × tension",
        format!(
            "{:.3} × {} × {}",
            bolt.nut_factor,
            shown.length(bolt.thread.diameter_mm),
            shown.force(bolt.tension_n)
        ),
        shown.torque(bolt.torque_nm),
    ));
    steps
}

/// All bolts of the circle: their clamp, the order and the passes.
fn circle_steps(bolt: &Bolt, shown: &Shown) -> [Step; 2] {
    let order: Vec<String> = bolt.order.iter().map(ToString::to_string).collect();
    let passes: Vec<String> = bolt.passes_nm.iter().map(|nm| shown.torque(*nm)).collect();
    [
        Step::new(
            "all bolts",
            "tension × number",
            format!("{} × {}", shown.force(bolt.tension_n), bolt.count),
            shown.force(bolt.clamp_n),
        ),
        Step::new(
            "order",
            "crosswise, counted round the circle",
            order.join(" – "),
            format!(
                "{} passes: {}, then once round to check",
                passes.len(),
                passes.join(", ")
            ),
        ),
    ]
}

#[cfg(test)]
mod tests;
