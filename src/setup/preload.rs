//! Pinion-bearing preload by shims: rotating torque against the pack that keeps the bearings apart.
//!
//! A thinner pack lets the nut draw the bearings closer and the rotating torque rises. Until the bearings
//! touch, torque is the drag of grease alone; from there it grows with every hundredth. The fit is
//! `torque = drag + slope · max(0, touch − pack)`, falling with the pack by its very form. Its three unknowns
//! are weighed on a grid: what every axle has in common goes in as a prior, the trials decide.

use super::kit_packs::ShimsAtHand;
use super::turning_torque::{clearly_less, noise_nm};
use super::{Answer, SetupError, StationResult, Step, verdict};
use crate::units::{LB_IN_NM, Shown, THOU_MM};
use schemars::JsonSchema;
use serde::Serialize;

/// One assembly: a pack and the rotating torque it gave.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub(crate) struct PreloadTrial {
    /// Its number in the job that it was recorded in.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub of_job: Option<i64>,
    /// Pack between the bearings, mm.
    pub pack_mm: f64,
    /// Rotating torque without the seal's drag, N·m.
    pub torque_nm: f64,
}

/// Slope to expect before two trials tell: 4 lb-in for each 0.001 in, and how far off that may be as a
/// factor (one standard deviation). From memory of light axles; wide, and given up after two trials.
const USUAL_SLOPE_NM_PER_MM: f64 = 4.0 * LB_IN_NM / THOU_MM;
const SLOPE_FACTOR: f64 = 2.2;
/// Drag of greased bearings without preload: up to about 3 lb-in. Common practice, no source.
const MOST_DRAG_NM: f64 = 3.0 * LB_IN_NM;
/// No step from one trial goes further than this, mm (0.005 in): the slope is not known yet.
const LONGEST_FIRST_STEP_MM: f64 = 5.0 * THOU_MM;

/// Packs this near to the wanted one are weighed by their chance, mm.
const NEAR_MM: f64 = 0.06;
/// Beyond this no pack is offered, mm.
const FARTHEST_MM: f64 = 0.3;

const SLOPES: usize = 61;
const DRAGS: usize = 7;
const TOUCHES: usize = 241;

/// What the trials say of the next pack.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(crate) struct PreloadFit {
    /// The window for the rotating torque.
    pub window_nm: [f64; 2],
    /// How the last trial stands to it.
    pub last: &'static str,
    /// Torque per millimetre of thinner pack, and one standard deviation of it.
    pub slope_nm_per_mm: [f64; 2],
    /// The pack at which the bearings begin to be preloaded, and one standard deviation of it.
    pub touch_mm: [f64; 2],
    /// Packs among the trials that lie on both sides of the window, thick (loose) first.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bracket_mm: Option<[f64; 2]>,
    /// The pack to try next; the last one when it was right.
    pub next_pack_mm: f64,
    /// The pack that would be in the middle of the window.
    pub wanted_mm: f64,
    /// The shims that make up the next pack, thickest first.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub stack_mm: Vec<f64>,
    /// Torque to expect of it, and one standard deviation.
    pub expected_nm: [f64; 2],
    /// Chance that it lands in the window.
    pub chance: f64,
    /// Trials that contradict each other, from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub contradiction: Option<[usize; 2]>,
}

/// One set of the unknowns with its weight.
struct Guess {
    touch_mm: f64,
    slope: f64,
    drag_nm: f64,
    weight: f64,
}

impl Guess {
    fn torque_nm(&self, pack_mm: f64) -> f64 {
        self.drag_nm + self.slope * (self.touch_mm - pack_mm).max(0.0)
    }
}

/// Fits the trials and finds the pack for the middle of the window, from the shims at hand where they are known.
/// `as_written` takes trials that contradict each other all the same.
///
/// # Errors
/// No trial; numbers that cannot be; a thinner pack that turned easier.
pub(crate) fn fit(
    trials: &[PreloadTrial],
    window_nm: [f64; 2],
    kit: &ShimsAtHand,
    as_written: bool,
) -> Result<PreloadFit, SetupError> {
    let Some(last) = trials.last() else {
        return Err(SetupError::Missing(
            "give at least one trial, as --trial PACK=TORQUE, for example --trial 0.080in=9lb-in; about \
             0.080 in is a usual first pack on a light axle (common practice, no source)"
                .into(),
        ));
    };
    if trials
        .iter()
        .any(|t| !(t.pack_mm > 0.0 && t.torque_nm >= 0.0 && t.torque_nm.is_finite()))
    {
        return Err(SetupError::Impossible(
            "a pack must be thicker than nothing and a torque not below nothing; if the seal's drag was \
             taken off, was it measured on this axle?"
                .into(),
        ));
    }
    let contradiction = contradiction(trials);
    if let Some([a, b]) = contradiction.filter(|_| !as_written) {
        return Err(SetupError::Question(format!(
            "{} has the thinner pack but turned easier than {}, which preload does not do: a bearing not \
             seated, the nut not at its torque, a shim left out or counted twice, or the two packs mixed up? Measure both \
             again; if they are right as they stand, add --as-written",
            name(trials, a),
            name(trials, b)
        )));
    }
    let guesses = weigh(trials);
    let bracket_mm = bracket(trials, window_nm);
    let inside = verdict(last.torque_nm, window_nm) == "within";
    let middle_nm = 0.5 * (window_nm[0] + window_nm[1]);
    let wanted_mm = mean(&guesses, |g| {
        g.touch_mm - (middle_nm - g.drag_nm).max(0.0) / g.slope
    })
    .0;
    let wanted_mm = match bracket_mm {
        // What two trials enclose goes before any fit.
        Some([loose, tight]) => wanted_mm.clamp(tight, loose),
        None => wanted_mm.clamp(
            last.pack_mm - LONGEST_FIRST_STEP_MM,
            last.pack_mm + LONGEST_FIRST_STEP_MM,
        ),
    };
    let (next_pack_mm, stack_mm) = if inside {
        (last.pack_mm, Vec::new())
    } else {
        stacked(&guesses, trials, wanted_mm, window_nm, kit)
    };
    Ok(PreloadFit {
        window_nm,
        last: verdict(last.torque_nm, window_nm),
        slope_nm_per_mm: pair(mean(&guesses, |g| g.slope)),
        touch_mm: pair(mean(&guesses, |g| g.touch_mm)),
        bracket_mm,
        next_pack_mm,
        stack_mm,
        expected_nm: pair(mean(&guesses, |g| g.torque_nm(next_pack_mm))),
        chance: chance(&guesses, next_pack_mm, window_nm),
        wanted_mm,
        contradiction,
    })
}

const fn pair((mean, deviation): (f64, f64)) -> [f64; 2] {
    [mean, deviation]
}

fn weigh(trials: &[PreloadTrial]) -> Vec<Guess> {
    let thickest = trials.iter().map(|t| t.pack_mm).fold(f64::MIN, f64::max);
    let thinnest = trials.iter().map(|t| t.pack_mm).fold(f64::MAX, f64::min);
    let (low, high) = (thinnest - 0.25, thickest + 0.9);
    let mut guesses = Vec::with_capacity(SLOPES * DRAGS * TOUCHES);
    for slope in 0..SLOPES {
        let deviations = 3.0 * (2.0 * slope as f64 / (SLOPES - 1) as f64 - 1.0);
        let prior = -0.5 * deviations * deviations;
        let slope = USUAL_SLOPE_NM_PER_MM * SLOPE_FACTOR.powf(deviations);
        for drag in 0..DRAGS {
            let drag_nm = MOST_DRAG_NM * drag as f64 / (DRAGS - 1) as f64;
            for touch in 0..TOUCHES {
                let guess = Guess {
                    touch_mm: low + (high - low) * touch as f64 / (TOUCHES - 1) as f64,
                    slope,
                    drag_nm,
                    weight: 0.0,
                };
                let misfit: f64 = trials
                    .iter()
                    .map(|t| {
                        let off =
                            (t.torque_nm - guess.torque_nm(t.pack_mm)) / noise_nm(t.torque_nm);
                        // Student's t with four degrees of freedom: one bad reading must not decide.
                        2.5 * (1.0 + off * off / 4.0).ln()
                    })
                    .sum();
                guesses.push(Guess {
                    weight: prior - misfit,
                    ..guess
                });
            }
        }
    }
    let best = guesses.iter().map(|g| g.weight).fold(f64::MIN, f64::max);
    for guess in &mut guesses {
        guess.weight = (guess.weight - best).exp();
    }
    guesses.retain(|g| g.weight > 1e-9);
    guesses
}

fn mean(guesses: &[Guess], of: impl Fn(&Guess) -> f64) -> (f64, f64) {
    let total: f64 = guesses.iter().map(|g| g.weight).sum();
    let mean = guesses.iter().map(|g| g.weight * of(g)).sum::<f64>() / total;
    let square = guesses
        .iter()
        .map(|g| g.weight * (of(g) - mean).powi(2))
        .sum::<f64>()
        / total;
    (mean, square.sqrt())
}

fn chance(guesses: &[Guess], pack_mm: f64, window_nm: [f64; 2]) -> f64 {
    let total: f64 = guesses.iter().map(|g| g.weight).sum();
    let inside: f64 = guesses
        .iter()
        .filter(|g| verdict(g.torque_nm(pack_mm), window_nm) == "within")
        .map(|g| g.weight)
        .sum();
    inside / total
}

/// The thinnest pack that was too loose and the thickest that was too tight, when they are in order.
fn bracket(trials: &[PreloadTrial], window_nm: [f64; 2]) -> Option<[f64; 2]> {
    let packs = |word: &'static str| {
        trials
            .iter()
            .filter(move |t| verdict(t.torque_nm, window_nm) == word)
            .map(|t| t.pack_mm)
    };
    let loose = packs("below").fold(f64::INFINITY, f64::min);
    let tight = packs("above").fold(f64::NEG_INFINITY, f64::max);
    (loose.is_finite() && tight.is_finite() && loose > tight).then_some([loose, tight])
}

/// How texts name a trial, counted from 1: by its number in the job, where it has one.
fn name(trials: &[PreloadTrial], number: usize) -> String {
    match trials.get(number - 1).and_then(|trial| trial.of_job) {
        Some(of_job) => format!("trial {of_job} of the job"),
        None => format!("trial {number}"),
    }
}

/// Two trials of which the clearly thinner pack turned clearly easier.
fn contradiction(trials: &[PreloadTrial]) -> Option<[usize; 2]> {
    for (i, a) in trials.iter().enumerate() {
        for (j, b) in trials.iter().enumerate() {
            if a.pack_mm < b.pack_mm - 0.005 && clearly_less(a.torque_nm, b.torque_nm) {
                return Some([i + 1, j + 1]);
            }
        }
    }
    None
}

/// The pack of the shims at hand that is likeliest to land in the window, among those near the wanted one and not tried
/// already; where there is none near, the nearest.
fn stacked(
    guesses: &[Guess],
    trials: &[PreloadTrial],
    wanted_mm: f64,
    window_nm: [f64; 2],
    kit: &ShimsAtHand,
) -> (f64, Vec<f64>) {
    let untried = |mm: &f64| trials.iter().all(|t| (t.pack_mm - mm).abs() > 1e-6);
    let Some(stacks) = kit.stacks(wanted_mm + FARTHEST_MM) else {
        return ((wanted_mm / 0.001).round() * 0.001, Vec::new());
    };
    let off = |mm: &f64| (mm - wanted_mm).abs();
    let packs = |reach: f64| {
        stacks
            .packs_mm(wanted_mm - reach, wanted_mm + reach)
            .into_iter()
    };
    let near = packs(NEAR_MM)
        .filter(untried)
        .map(|mm| (mm, chance(guesses, mm, window_nm)))
        .max_by(|a, b| a.1.total_cmp(&b.1).then(off(&b.0).total_cmp(&off(&a.0))))
        .map(|(mm, _)| mm);
    let nearest = || {
        packs(FARTHEST_MM)
            .filter(untried)
            .min_by(|a, b| off(a).total_cmp(&off(b)))
    };
    match near.or_else(nearest) {
        Some(mm) => (mm, stacks.stack_mm(mm)),
        None => (wanted_mm, Vec::new()),
    }
}

/// What else the answer must say.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Asked {
    /// Used bearings.
    pub used: bool,
    /// The seal was fitted when the torque was read.
    pub seal: bool,
    /// Drag of the seal that was taken off, when it was measured.
    pub seal_drag_nm: Option<f64>,
}

/// The answer in words.
pub(crate) fn answer(
    trials: &[PreloadTrial],
    fit: &PreloadFit,
    asked: Asked,
    shown: &Shown,
) -> Answer {
    let mut answer = Answer::new(
        StationResult::Preload(fit.clone()),
        says(trials, fit, asked, shown),
    );
    answer.steps = steps(trials, fit, shown);
    remarks(&mut answer, trials, fit, asked, shown);
    answer
}

fn says(trials: &[PreloadTrial], fit: &PreloadFit, asked: Asked, shown: &Shown) -> String {
    let window = format!(
        "{} to {} ({} bearings)",
        shown.torque(fit.window_nm[0]),
        shown.torque(fit.window_nm[1]),
        if asked.used { "used" } else { "new" }
    );
    let last = trials.last().map_or(0.0, |t| t.torque_nm);
    if fit.last == "within" {
        format!("{} is within {window}: keep this pack.", shown.torque(last))
    } else {
        format!(
            "{} is {} {window}: try a pack of {} next ({}).",
            shown.torque(last),
            fit.last,
            shown.shim(fit.next_pack_mm),
            if fit.last == "below" {
                "thinner pack, more preload"
            } else {
                "thicker pack, less preload"
            }
        )
    }
}

fn steps(trials: &[PreloadTrial], fit: &PreloadFit, shown: &Shown) -> Vec<Step> {
    let mut steps = Vec::new();
    for (number, trial) in (1..).zip(trials) {
        steps.push(Step::new(
            name(trials, number),
            "rotating torque of the pack",
            format!("pack {}", shown.shim(trial.pack_mm)),
            format!(
                "{}, {} the window",
                shown.torque(trial.torque_nm),
                verdict(trial.torque_nm, fit.window_nm)
            ),
        ));
    }
    let step_mm = shown.units.shim_step_mm() / 5.0;
    steps.push(Step::new(
        "fit",
        "torque = drag + slope × (touch − pack), never rising with the pack",
        format!(
            "touch at {} ± {}",
            shown.shim(fit.touch_mm[0]),
            shown.shim(fit.touch_mm[1])
        ),
        format!(
            "{} ± {} for each {} thinner",
            shown.torque(fit.slope_nm_per_mm[0] * step_mm),
            shown.torque(fit.slope_nm_per_mm[1] * step_mm),
            shown.shim(step_mm)
        ),
    ));
    if let Some([loose, tight]) = fit.bracket_mm {
        steps.push(Step::new(
            "bracket",
            "the window lies between a pack too loose and one too tight",
            format!(
                "{} too loose, {} too tight",
                shown.shim(loose),
                shown.shim(tight)
            ),
            format!("{} apart", shown.shim(loose - tight)),
        ));
    }
    let parts: Vec<String> = fit.stack_mm.iter().map(|mm| shown.shim(*mm)).collect();
    steps.push(Step::new(
        "next pack",
        "the pack likeliest to land in the window",
        if parts.is_empty() {
            shown.shim(fit.next_pack_mm)
        } else {
            parts.join(" + ")
        },
        format!(
            "{}: expect {} ± {}, {:.0} % to be right",
            shown.shim(fit.next_pack_mm),
            shown.torque(fit.expected_nm[0]),
            shown.torque(fit.expected_nm[1]),
            100.0 * fit.chance
        ),
    ));
    steps
}

fn remarks(
    answer: &mut Answer,
    trials: &[PreloadTrial],
    fit: &PreloadFit,
    asked: Asked,
    shown: &Shown,
) {
    if let Some([a, b]) = fit.contradiction {
        answer.cautions.push(format!(
            "The thinner pack of {} turned easier than that of {}. Check both: a bearing not seated, \
             the nut not at its torque, a shim left out, or dry bearings. Until then the fit is not to be trusted.",
            name(trials, a),
            name(trials, b)
        ));
    }
    if trials.len() == 1 && fit.last != "within" {
        answer.remarks.push(
            "One trial does not show how steep this axle is: the step is kept short, the next trial tells.".into(),
        );
    }
    if fit.last != "within" && (fit.next_pack_mm - fit.wanted_mm).abs() > 0.5 * THOU_MM {
        answer.remarks.push(format!(
            "The pack that would be wanted is {}; {} is the likeliest that the shims at hand make up and that was not tried.",
            shown.shim(fit.wanted_mm),
            shown.shim(fit.next_pack_mm)
        ));
    }
    if fit.bracket_mm.is_some() && fit.last != "within" && fit.chance < 0.2 {
        answer.remarks.push(
            "No pack that can be stacked here is likely to land in the window: this axle answers too steeply for \
             the kit's steps. Get a finer shim, or measure the ones you have."
                .into(),
        );
    }
    match (asked.seal, asked.seal_drag_nm) {
        (true, None) => answer.cautions.push(
            "The seal was fitted and its drag is in the reading. Limits are usually without the seal: measure \
             without it, or measure its drag and give it with --seal-drag."
                .into(),
        ),
        (true, Some(_)) => answer.remarks.push("The seal's drag was taken off every reading.".into()),
        _ => {}
    }
    answer.remarks.push(
        "Read the torque while turning steadily, over several turns; the torque to start it is higher and does \
         not count. Oil the bearings, bring the nut to its torque, turn the pinion some turns to seat the rollers first."
            .into(),
    );
}

#[cfg(test)]
mod tests;
