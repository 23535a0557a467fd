//! Bolts: torque to tension and back, and the order to tighten them in.

use super::threads::{Grade, Thread};
use super::{Answer, MANUAL, SetupError, Step};
use crate::units::Shown;
use serde::Serialize;

/// Share of the proof load a re-usable joint is tightened to (the basis of published fastener tables).
pub(crate) const USUAL_SHARE: f64 = 0.75;

/// How easily the thread turns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Friction {
    /// Nut factor K in `T = K D F`.
    NutFactor(f64),
    /// Coefficient of friction of thread and head alike.
    Coefficient(f64),
}

/// Usual states of a thread with their nut factor: .20 plain, .22 zinc, .10 waxed (a bolt catalogue); .15 and .18 as
/// in published torque tables for oiled threads.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, clap::ValueEnum)]
#[serde(rename_all = "snake_case")]
pub(crate) enum ThreadState {
    /// Plain and dry: K 0.20.
    Dry,
    /// Zinc plated, dry: K 0.22.
    Plated,
    /// A little oil: K 0.18.
    Oiled,
    /// Lubricated: K 0.15.
    Lubricated,
    /// Waxed: K 0.10.
    Waxed,
}

impl ThreadState {
    /// Its nut factor.
    pub(crate) const fn nut_factor(self) -> f64 {
        match self {
            Self::Dry => 0.20,
            Self::Plated => 0.22,
            Self::Oiled => 0.18,
            Self::Lubricated => 0.15,
            Self::Waxed => 0.10,
        }
    }
}

impl Friction {
    /// The nut factor it amounts to on a thread.
    ///
    /// `K = (0.159 P + 0.578 d₂ μ + ½ D_b μ) / D` with the head bearing at `D_b = 1.3 D` (ISO 16047 and VDI 2230,
    /// from memory).
    pub(crate) fn nut_factor(self, thread: &Thread) -> f64 {
        match self {
            Self::NutFactor(k) => k,
            Self::Coefficient(mu) => {
                (0.159 * thread.pitch_mm
                    + 0.578 * thread.pitch_diameter_mm() * mu
                    + 0.5 * 1.3 * thread.diameter_mm * mu)
                    / thread.diameter_mm
            }
        }
    }
}

/// A bolt's torque and tension.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct Bolt {
    /// The thread.
    pub thread: Thread,
    /// Its stress area.
    pub stress_area_mm2: f64,
    /// Nut factor.
    pub nut_factor: f64,
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
            "a nut factor of {nut_factor:.2} is none; they run from about 0.10 (waxed) to 0.30 (rusty), friction \
             coefficients from 0.06 to 0.22"
        )));
    }
    let stress_area_mm2 = thread.stress_area_mm2();
    let proof_mpa = grade.map(|grade| grade.proof_mpa(thread.diameter_mm));
    let arm_m = nut_factor * thread.diameter_mm / 1000.0;
    let tension_n = match known {
        Known::Torque(nm) => nm / arm_m,
        Known::Tension(n) => n,
        Known::Share(share) => {
            let proof = proof_mpa.ok_or_else(|| {
                SetupError::Missing(
                    "the grade is needed: look at the marks on the bolt's head (three lines grade 5, six lines grade \
                     8; metric classes stand as 8.8, 10.9, 12.9) and give --grade; or give --torque or --tension"
                        .into(),
                )
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
pub(crate) fn answer(bolt: &Bolt, grade: Option<Grade>, shown: &Shown) -> Answer {
    let mut answer = Answer::new(
        "fasteners",
        bolt,
        format!(
            "{} of torque is {} of tension{}.",
            shown.torque(bolt.torque_nm),
            shown.force(bolt.tension_n),
            bolt.share_of_proof.map_or(String::new(), |share| format!(
                ", {:.0} % of proof",
                100.0 * share
            ))
        ),
    );
    answer.steps = bolt_steps(bolt, grade, shown);
    if bolt.count > 1 {
        answer.steps.extend(circle_steps(bolt, shown));
    }
    if bolt.share_of_proof.is_some_and(|share| share > 0.9) {
        answer.cautions.push("That is more than 90 % of the proof load: the bolt may stretch for good. Check size, grade and friction.".into());
    }
    answer.remarks.push(
        "The same torque gives a quarter more or less tension by oil, plating and thread locker alone. Clean threads, \
         new bolts where the manual asks for them."
            .into(),
    );
    answer.cautions.push(MANUAL.into());
    answer
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

/// A pack stacked from single shims, against what the whole measured.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct Sum {
    /// The shims.
    pub shims_mm: Vec<f64>,
    /// Their sum.
    pub total_mm: f64,
    /// What the stack measured as a whole.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub measured_mm: Option<f64>,
}

/// A stack measures more than its shims when dirt or burrs are between them, mm (0.0005 in a shim at most).
const STACK_SLACK_MM: f64 = 0.0127;

/// Sums up shims.
///
/// # Errors
/// No shim.
pub(crate) fn sum(shims_mm: &[f64], measured_mm: Option<f64>) -> Result<Sum, SetupError> {
    if shims_mm.is_empty() {
        return Err(SetupError::Missing(
            "give the shims of the pack, each with its unit".into(),
        ));
    }
    Ok(Sum {
        shims_mm: shims_mm.to_vec(),
        total_mm: shims_mm.iter().sum(),
        measured_mm,
    })
}

/// The answer in words.
pub(crate) fn sum_answer(sum: &Sum, shown: &Shown) -> Answer {
    let mut answer = Answer::new(
        "sum",
        sum,
        format!("The pack is {}.", shown.shim(sum.total_mm)),
    );
    let parts: Vec<String> = sum.shims_mm.iter().map(|mm| shown.shim(*mm)).collect();
    answer.steps.push(Step::new(
        "pack",
        "sum of the shims",
        parts.join(" + "),
        shown.shim(sum.total_mm),
    ));
    if let Some(measured) = sum.measured_mm {
        let off = measured - sum.total_mm;
        answer.steps.push(Step::new(
            "check",
            "measured − sum",
            format!("{} − {}", shown.shim(measured), shown.shim(sum.total_mm)),
            shown.signed_shim(off),
        ));
        if off.abs() > STACK_SLACK_MM * sum.shims_mm.len() as f64 {
            answer.cautions.push("The stack does not measure what its shims add up to: clean them, look for burrs, and measure each one.".into());
        }
    }
    answer
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{LB_IN_NM, POUND_FORCE_N};
    use proptest::prelude::*;
    use std::f64::consts::TAU;

    /// A published table on 75 % of proof, clamp in lb and torque in lb-ft at K .15/.18/.20.
    #[test]
    fn seven_published_rows_of_torque_and_tension() {
        for (size, grade, clamp_lb, torques) in [
            ("3/8-24", Grade::Sae2, 3623.0, [17.0, 20.0, 23.0]),
            ("3/8-24", Grade::Sae5, 5599.0, [26.0, 31.0, 35.0]),
            ("3/8-24", Grade::Sae8, 7905.0, [37.0, 44.0, 49.0]),
            ("3/8-16", Grade::Sae8, 6974.0, [33.0, 39.0, 44.0]),
            ("7/16-20", Grade::Sae8, 10684.0, [58.0, 70.0, 78.0]),
            ("1/2-20", Grade::Sae8, 14396.0, [90.0, 108.0, 120.0]),
            ("1/2-13", Grade::Sae8, 12771.0, [80.0, 96.0, 106.0]),
        ] {
            for (k, expected) in [0.15, 0.18, 0.20].into_iter().zip(torques) {
                let found = bolt(
                    Thread::parse(size).unwrap(),
                    Some(grade),
                    Friction::NutFactor(k),
                    Known::Share(USUAL_SHARE),
                    1,
                )
                .unwrap();
                assert!(
                    (found.tension_n / POUND_FORCE_N - clamp_lb).abs() < 1.0,
                    "{size} {grade:?}"
                );
                let lb_ft = found.torque_nm / (12.0 * LB_IN_NM);
                // The table rounds to whole pound-feet.
                assert!(
                    (lb_ft - expected).abs() <= 0.55,
                    "{size} {grade:?} K {k}: {lb_ft}"
                );
            }
        }
    }

    /// TM 10-3930-647-14&P: proof loads of grade 8, 3/4-10 40 100 lb and 3/4-16 44 800 lb.
    #[test]
    fn two_published_proof_loads() {
        for (size, proof_lb) in [("3/4-10", 40_100.0), ("3/4-16", 44_800.0)] {
            let found = bolt(
                Thread::parse(size).unwrap(),
                Some(Grade::Sae8),
                Friction::NutFactor(0.2),
                Known::Share(1.0),
                1,
            )
            .unwrap();
            assert!(
                (found.tension_n / POUND_FORCE_N / proof_lb - 1.0).abs() < 0.0013,
                "{size}"
            );
        }
    }

    /// 3/8-in ring-gear bolts of grade 8 at 55 lb-ft with thread locker (common practice, no source)
    /// against 44–49 lb-ft at 75 % of proof: the difference is what the answer shows.
    #[test]
    fn the_shops_ring_bolt_torque_is_above_three_quarters_of_proof() {
        let found = bolt(
            Thread::parse("3/8-24").unwrap(),
            Some(Grade::Sae8),
            Friction::NutFactor(0.2),
            Known::Torque(55.0 * 12.0 * LB_IN_NM),
            10,
        )
        .unwrap();
        let share = found.share_of_proof.unwrap();
        assert!((0.80..0.88).contains(&share), "{share}");
        assert!((found.clamp_n / found.tension_n - 10.0).abs() < 1e-12);
    }

    /// A friction of 0.15 gives a nut factor of about 0.2 on usual threads (rule of thumb, from memory).
    #[test]
    fn friction_as_a_coefficient() {
        let k = Friction::Coefficient(0.15).nut_factor(&Thread::parse("M12").unwrap());
        assert!((k - 0.20).abs() < 0.015, "{k}");
        assert!(
            bolt(
                Thread::parse("M12").unwrap(),
                None,
                Friction::NutFactor(2.0),
                Known::Torque(50.0),
                1
            )
            .is_err()
        );
        assert!(
            bolt(
                Thread::parse("M12").unwrap(),
                None,
                Friction::NutFactor(0.2),
                Known::Share(0.75),
                1
            )
            .is_err()
        );
    }

    #[test]
    fn bolts_are_tightened_crosswise() {
        assert_eq!(star(4), [1, 3, 2, 4]);
        assert_eq!(star(8), [1, 5, 3, 7, 2, 6, 4, 8]);
        // Each bolt once, and the second always opposite the first.
        for count in 2..=16 {
            let order = star(count);
            let mut sorted = order.clone();
            sorted.sort_unstable();
            assert_eq!(sorted, (1..=count).collect::<Vec<_>>());
            let angle = TAU * (order[1] - order[0]) as f64 / count as f64;
            assert!((angle - TAU / 2.0).abs() <= TAU / count as f64 / 2.0 + 1e-9);
        }
    }

    #[test]
    fn a_pack_is_the_sum_of_its_shims() {
        let thou = 0.0254;
        let pack = sum(&[30.0 * thou, 5.0 * thou, 2.0 * thou], Some(40.0 * thou)).unwrap();
        assert!((pack.total_mm / thou - 37.0).abs() < 1e-9);
        let answer = sum_answer(&pack, &Shown::default());
        assert!(answer.cautions[0].contains("burrs"));
        assert!(sum(&[], None).is_err());
    }

    proptest! {
        #[test]
        fn torque_and_tension_are_one_another_s_inverse(nm in 5.0..600.0_f64, k in 0.08..0.3_f64) {
            let thread = Thread::parse("7/16-20").unwrap();
            let there = bolt(thread, None, Friction::NutFactor(k), Known::Torque(nm), 1).unwrap();
            let back = bolt(thread, None, Friction::NutFactor(k), Known::Tension(there.tension_n), 1).unwrap();
            prop_assert!((back.torque_nm / nm - 1.0).abs() < 1e-12);
        }
    }
}
