//! The measured figures beside their targets.

use crate::measure::{Answer, Mode, quantile};
use flankread::FlankPoint;
use serde::Serialize;

/// The figures of one mode.
#[derive(Debug, Clone, Serialize)]
pub struct Figures {
    /// The mode.
    pub mode: Mode,
    /// Readable photos: answered and all.
    pub answered: [usize; 2],
    /// Readable photos with numbers that are called unsure.
    pub unsure: usize,
    /// Unreadable photos: refused (or called unsure) and all.
    pub refused: [usize; 2],
    /// Error of the mean centre along the length over the answered: median, 90th percentile, greatest.
    pub length_error: Option<[f64; 3]>,
    /// The same along the height.
    pub height_error: Option<[f64; 3]>,
    /// Answered photos whose side is the one that is meant.
    pub side_as_meant: usize,
    /// Answered photos whose side is that of the flanks which were outlined.
    pub side_true: usize,
    /// Answered photos with no outline whose toe and heel are swapped.
    pub ends_true: usize,
    /// Answered photos that name the gear's hand: rightly, and all.
    pub hand: [usize; 2],
    /// Answered photos, among those of the side that is meant, whose truth lies within the printed
    /// uncertainty: along the length, along the height, of how many.
    pub held: [usize; 3],
    /// The factor on the printed uncertainty with which it would hold 90 % of them, length and height.
    pub factor_90: Option<[f64; 2]>,
    /// The same of all that carry numbers, those called unsure among them.
    pub factor_90_of_all: Option<[f64; 2]>,
}

/// The figures of a mode.
pub fn figures(answers: &[Answer], mode: Mode) -> Option<Figures> {
    let all: Vec<&Answer> = answers.iter().filter(|a| a.mode == mode).collect();
    if all.is_empty() {
        return None;
    }
    let count = |which: &dyn Fn(&Answer) -> bool| all.iter().filter(|a| which(a)).count();
    let read: Vec<&Answer> = (all.iter().copied())
        .filter(|a| a.readable && a.answered())
        .collect();
    let errors = |get: fn(FlankPoint) -> f64| {
        let off: Vec<f64> = (read.iter())
            .filter_map(|a| a.error.map(|e| get(e).abs()))
            .collect();
        Some([0.5, 0.9, 1.0].map(|share| quantile(&off, share).unwrap_or(f64::NAN)))
            .filter(|_| !off.is_empty())
    };
    let sound: Vec<&Answer> = (read.iter().copied())
        .filter(|a| a.side == Some(a.meant))
        .collect();
    let held = |axis: usize| {
        let holds = sound.iter().filter_map(|a| a.holds());
        holds.filter(|held| held[axis]).count()
    };
    let with_numbers: Vec<&Answer> = (all.iter().copied())
        .filter(|a| a.readable && a.side == Some(a.meant))
        .collect();
    Some(Figures {
        mode,
        answered: [read.len(), count(&|a| a.readable)],
        unsure: count(&|a| a.readable && !a.answered() && a.error.is_some()),
        refused: [
            count(&|a| !a.readable && !a.answered()),
            count(&|a| !a.readable),
        ],
        length_error: errors(|e| e.length),
        height_error: errors(|e| e.height),
        side_as_meant: sound.len(),
        side_true: read.iter().filter(|a| a.side_true()).count(),
        ends_true: read.iter().filter(|a| a.ends_true()).count(),
        hand: [
            read.iter().filter(|a| a.hand_true == Some(true)).count(),
            read.iter().filter(|a| a.hand_true.is_some()).count(),
        ],
        held: [held(0), held(1), sound.len()],
        factor_90: factor_90(&sound),
        factor_90_of_all: factor_90(&with_numbers),
    })
}

fn factor_90(answers: &[&Answer]) -> Option<[f64; 2]> {
    let ratios = |get: fn(FlankPoint) -> f64| -> Vec<f64> {
        let pairs = answers.iter().filter_map(|a| a.error.zip(a.uncertainty));
        pairs.map(|(e, u)| get(e).abs() / get(u)).collect()
    };
    Some([
        quantile(&ratios(|p| p.length), 0.9)?,
        quantile(&ratios(|p| p.height), 0.9)?,
    ])
}

/// What each mode is to reach; nothing is asked of the flank alone, which stands between the two.
fn target(mode: Mode, marks: &'static str, automatic: &'static str) -> &'static str {
    match mode {
        Mode::Marks => marks,
        Mode::Flank => "",
        Mode::Automatic => automatic,
    }
}

/// The figures of one mode as lines of text.
pub fn text(f: &Figures) -> String {
    let mut out = format!("{}\n", format!("{:?}", f.mode).to_lowercase());
    let mut line = |name: &str, measured: String, target: &str| {
        let target = match target {
            "" => String::new(),
            target => format!("   target {target}"),
        };
        out.push_str(&format!("  {name:<46} {measured:<28}{target}\n"));
    };
    let errors = |errors: &Option<[f64; 3]>| {
        errors.map_or("none answered".to_owned(), |[median, p90, most]| {
            format!("{median:.4} / {p90:.4} (most {most:.3})")
        })
    };
    let of = |part: usize, all: usize| {
        let share = 100.0 * part as f64 / all.max(1) as f64;
        format!("{part} of {all} ({share:.0} %)")
    };
    line(
        "length: error of the mean centre, median / 90 %",
        errors(&f.length_error),
        target(f.mode, "0.008 / 0.015", "0.02 / 0.05"),
    );
    line(
        "height: error of the mean centre, median / 90 %",
        errors(&f.height_error),
        target(f.mode, "0.015 / 0.03", "0.04 / 0.08"),
    );
    line(
        "readable photos answered",
        of(f.answered[0], f.answered[1]),
        target(f.mode, "100 %", "≥ 95 %"),
    );
    line("readable photos called unsure", f.unsure.to_string(), "");
    line(
        "unreadable photos refused",
        of(f.refused[0], f.refused[1]),
        "100 %",
    );
    if f.mode == Mode::Automatic {
        line(
            "drive or coast as meant, when answered",
            of(f.side_as_meant, f.answered[0]),
            "≥ 99 %",
        );
        line(
            "drive or coast true of the flanks outlined",
            of(f.side_true, f.answered[0]),
            "",
        );
    }
    line("hand right, when told", of(f.hand[0], f.hand[1]), "");
    if f.mode != Mode::Marks {
        line(
            "toe and heel right, when answered",
            of(f.ends_true, f.answered[0]),
            "≥ 99 %",
        );
    }
    line(
        "length: truth within the printed uncertainty",
        of(f.held[0], f.held[2]),
        "90 %",
    );
    line(
        "height: truth within the printed uncertainty",
        of(f.held[1], f.held[2]),
        "90 %",
    );
    for (name, factors) in [
        ("factor that would hold 90 %", f.factor_90),
        ("the same with the unsure ones", f.factor_90_of_all),
    ] {
        if let Some([length, height]) = factors {
            line(name, format!("{length:.2} length, {height:.2} height"), "");
        }
    }
    out
}
