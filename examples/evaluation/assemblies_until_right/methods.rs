//! Three ways to choose the next shims.

use crate::draw::{Packs, THOU_MM};
use flankread::schema::{BacklashDirection, CheckCode, SuspectKind};
use flankread::{Advice, Card, FlankReading, Misalignment, Trial, Verdict, advise};

/// A way to choose.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// 0.010 in to start with, half of it after every overshoot; backlash by the shop's 0.6.
    FixedSteps,
    /// The card's gears, once, nothing learnt; never stops by itself.
    PlainSensitivities,
    /// The same, which stops when it reads right.
    PlainThatStops,
    /// The library.
    Estimator,
}

pub const METHODS: [(&str, Method); 4] = [
    ("fixed steps", Method::FixedSteps),
    ("linear rule", Method::PlainSensitivities),
    ("linear, stops", Method::PlainThatStops),
    ("estimator", Method::Estimator),
];

/// The next change.
pub struct Next {
    pub move_mm: [f64; 2],
    pub chance: Option<f64>,
}

fn whole_thou(mm: f64) -> f64 {
    (mm / THOU_MM).round() * THOU_MM
}

/// What a method says.
pub enum Said {
    /// Build it with these packs.
    Build { packs: Packs, chance: Option<f64> },
    /// It is right.
    Right,
    /// No shim cures it.
    GivenUp,
    /// Look again first.
    LookAgain,
}

/// What a method says, and the one look that it asks for in words before that is done: at what, of which trial from 1.
pub struct Answer {
    pub said: Said,
    pub asked: Option<(SuspectKind, Option<usize>)>,
}

/// The look that an advice asks for in words.
fn asked(advice: &Advice) -> Option<(SuspectKind, Option<usize>)> {
    let asks = |code| advice.checks.iter().any(|check| check.code == code);
    let first = advice.suspects.first();
    match first.filter(|_| asks(CheckCode::SecondLook)) {
        Some(suspect) => Some((suspect.what, suspect.trial)),
        None => asks(CheckCode::DialSetting).then_some((SuspectKind::DialSetting, None)),
    }
}

impl Method {
    /// What to do next.
    pub fn next(self, card: &Card, trials: &[Trial]) -> Answer {
        let last = &trials[trials.len() - 1];
        let build = |next: Option<Next>| {
            next.map_or(Said::GivenUp, |next| Said::Build {
                packs: packs_after(card, last, next.move_mm),
                chance: next.chance,
            })
        };
        let advice = match self {
            Self::FixedSteps => Err(build(Some(fixed_steps(card, trials)))),
            Self::PlainThatStops if reads_right(card, last) => Err(Said::Right),
            Self::PlainSensitivities | Self::PlainThatStops => Err(build(plain(card, last))),
            Self::Estimator => advise(card, trials).map_err(|_| Said::GivenUp),
        };
        let advice = match advice {
            Ok(advice) => advice,
            Err(said) => return Answer { said, asked: None },
        };
        let said = match advice.verdict {
            Verdict::Good => Said::Right,
            Verdict::Change => build(advice.change.map(|change| Next {
                move_mm: [change.pinion_mm, change.ring_mm],
                chance: advice.chance,
            })),
            Verdict::BeyondShims => Said::GivenUp,
            _ => Said::LookAgain,
        };
        Answer {
            said,
            asked: asked(&advice),
        }
    }
}

/// Whether both centres are read within tolerance and the backlash in its window.
fn reads_right(card: &Card, trial: &Trial) -> bool {
    let target = &card.target;
    let [low, high] = card.backlash_window_mm();
    let flanks = [(&trial.drive, target.drive), (&trial.coast, target.coast)];
    let near = flanks.into_iter().all(|(reading, target_at)| {
        reading.as_ref().is_some_and(|r| {
            (r.centre.length - target_at.length).abs() <= target.tolerance.length
                && (r.centre.height - target_at.height).abs() <= target.tolerance.height
        })
    });
    near && (trial.mean_backlash_mm()).is_some_and(|mm| (low..=high).contains(&mm))
}

/// The packs that move the gears so, as the card has the shims.
fn packs_after(card: &Card, last: &Trial, [pinion_mm, ring_mm]: [f64; 2]) -> Packs {
    let thicker = card.pinion.shim_place.away_per_thicker();
    let pack = |mm: Option<f64>| mm.unwrap_or_default();
    Packs {
        pinion_mm: pack(last.pinion_shim_mm) + thicker * pinion_mm,
        ring_side_mm: pack(last.ring_side_shim_mm) - ring_mm,
        far_side_mm: pack(last.far_side_shim_mm) + ring_mm,
    }
}

/// Height of both flanks less target, in the mean.
fn mean_height(card: &Card, trial: &Trial) -> f64 {
    let off = |reading: Option<&FlankReading>, target: f64| {
        reading.map_or(0.0, |r| r.centre.height - target)
    };
    0.5 * (off(trial.drive.as_ref(), card.target.drive.height)
        + off(trial.coast.as_ref(), card.target.coast.height))
}

fn fixed_steps(card: &Card, trials: &[Trial]) -> Next {
    let heights: Vec<f64> = trials.iter().map(|t| mean_height(card, t)).collect();
    let overshoots = heights
        .windows(2)
        .filter(|w| w[0].signum() != w[1].signum())
        .count();
    let height = heights[heights.len() - 1];
    let pinion_mm = if height.abs() > 0.5 * card.target.tolerance.height {
        let step = 10.0 * THOU_MM / 2_f64.powi(overshoots as i32);
        -height.signum() * whole_thou(step).max(THOU_MM)
    } else {
        0.0
    };
    let [low, high] = card.backlash_window_mm();
    let backlash_mm = trials[trials.len() - 1].mean_backlash_mm().unwrap_or(0.0);
    let ring_mm = if (low..=high).contains(&backlash_mm) {
        0.0
    } else {
        // Five of shim give three of backlash square to the tooth, and half as much again along the
        // circle.
        let ratio = match card.carrier.backlash_direction {
            Some(BacklashDirection::Tangential) => 0.9,
            _ => 0.6,
        };
        whole_thou((0.5 * (low + high) - backlash_mm) / ratio)
    };
    Next {
        move_mm: [pinion_mm, ring_mm],
        chance: None,
    }
}

/// The least-squares answer of the card's own sensitivities to four offsets and the backlash.
fn plain(card: &Card, trial: &Trial) -> Option<Next> {
    let model = card.model().ok()?;
    let (ease_off, film_mm) = model.defaults();
    let indicator = match card.carrier.backlash_direction {
        Some(BacklashDirection::Tangential) => 1.0,
        _ => model.square_radius_mm() / (0.5 * card.gear.ring_diameter_mm),
    };
    let show = |pinion_mm: f64, ring_mm: f64| {
        let mut misalignment = Misalignment::default();
        misalignment.pinion_mm = pinion_mm;
        misalignment.ring_mm = ring_mm;
        let state = model.state(&misalignment, &ease_off, film_mm);
        let (drive, coast) = (state.drive.patch?.centre, state.coast.patch?.centre);
        Some([
            drive.length / 0.20,
            drive.height / 0.12,
            coast.length / 0.20,
            coast.height / 0.12,
            indicator * state.backlash_change_mm / 0.05,
        ])
    };
    const STEP_MM: f64 = 0.05;
    let difference = |a: [f64; 5], b: [f64; 5]| {
        std::array::from_fn::<f64, 5, _>(|i| (a[i] - b[i]) / (2.0 * STEP_MM))
    };
    let pinion = difference(show(STEP_MM, 0.0)?, show(-STEP_MM, 0.0)?);
    let ring = difference(show(0.0, STEP_MM)?, show(0.0, -STEP_MM)?);
    let target = &card.target;
    let (drive, coast) = (trial.drive.as_ref()?.centre, trial.coast.as_ref()?.centre);
    let [low, high] = card.backlash_window_mm();
    let off = [
        (drive.length - target.drive.length) / 0.20,
        (drive.height - target.drive.height) / 0.12,
        (coast.length - target.coast.length) / 0.20,
        (coast.height - target.coast.height) / 0.12,
        (trial.mean_backlash_mm()? - 0.5 * (low + high)) / 0.05,
    ];
    let dot = |a: &[f64; 5], b: &[f64; 5]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>();
    let (pp, pr, rr) = (
        dot(&pinion, &pinion),
        dot(&pinion, &ring),
        dot(&ring, &ring),
    );
    let (po, ro) = (dot(&pinion, &off), dot(&ring, &off));
    let determinant = pp * rr - pr * pr;
    Some(Next {
        move_mm: [
            whole_thou(-(rr * po - pr * ro) / determinant),
            whole_thou(-(pp * ro - pr * po) / determinant),
        ],
        chance: None,
    })
}
