//! A job as text for a terminal.

use crate::job::JobLine;
use crate::job::clock::short;
use crate::job::next::{Next, Station};
use crate::schema::Verdict;
use crate::schema::record::{Assembly, Record};
use crate::units::Shown;
use comfy_table::{CellAlignment, Table, presets};
use std::fmt::Write as _;

/// The jobs of a workshop, a line each.
pub(crate) fn list_text(jobs: &[JobLine]) -> String {
    if jobs.is_empty() {
        return "No jobs yet; `flankread job new` opens one.\n".into();
    }
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    table.set_header(["job", "name", "axle", "opened", "trials", "photos", ""]);
    for job in jobs {
        table.add_row([
            job.number.to_string(),
            job.name.clone(),
            job.axle.clone(),
            short(&job.opened),
            job.trials.to_string(),
            job.photos.to_string(),
            if job.closed.is_some() {
                "closed"
            } else {
                "open"
            }
            .to_owned(),
        ]);
    }
    format!("{table}\n")
}

/// One line of numbers for an assembly; empty cells stand for what was not measured.
pub(crate) fn trial_cells(assembly: &Assembly, shown: &Shown) -> [String; 8] {
    let trial = &assembly.trial;
    let shim = |mm: Option<f64>| mm.map_or(String::new(), |mm| shown.shim(mm));
    let place = |reading: &Option<crate::schema::FlankReading>| {
        reading.as_ref().map_or(String::new(), |r| {
            format!(
                "{:.0} / {:.0}",
                100.0 * r.centre.length,
                100.0 * r.centre.height
            )
        })
    };
    let sides = match (
        trial.ring_side_shim_mm,
        trial.far_side_shim_mm,
        trial.ring_notches,
    ) {
        (None, None, Some(notches)) => format!("{notches:+} notches"),
        (None, None, None) => String::new(),
        (ring, far, _) => {
            let one = |mm: Option<f64>| mm.map_or("–".to_owned(), |mm| shown.shim(mm));
            format!("{} / {}", one(ring), one(far))
        }
    };
    [
        assembly.number.to_string()
            + match (&assembly.bench.struck, trial.as_found) {
                (Some(_), _) => " struck out",
                (None, true) => " as found",
                (None, false) => "",
            },
        short(&assembly.recorded),
        shim(trial.pinion_shim_mm),
        sides,
        trial
            .pinion_torque_nm
            .map_or(String::new(), |nm| shown.torque(nm)),
        match (trial.mean_backlash_mm(), trial.backlash_variation_mm()) {
            (Some(mean), Some(variation)) => {
                format!("{}, varies {}", shown.shim(mean), shown.shim(variation))
            }
            (Some(mean), None) => shown.shim(mean),
            _ => String::new(),
        },
        place(&trial.drive),
        place(&trial.coast),
    ]
}

/// Headings of [`trial_cells`].
pub(crate) const TRIAL_HEADINGS: [&str; 8] = [
    "trial",
    "recorded",
    "pinion pack",
    "ring side / far side",
    "rotating torque",
    "backlash",
    "drive, % length / height",
    "coast, % length / height",
];

/// The word for advice in a table.
pub(crate) const fn verdict_word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Good => "right",
        Verdict::Change => "change",
        Verdict::Measure => "measure",
        Verdict::BeyondShims => "beyond shims",
    }
}

/// Everything of a job in plain lines.
pub(crate) fn job_text(record: &Record, shown: &Shown) -> String {
    let head = &record.head;
    let mut out = format!("Job {}: {}\n", head.number, head.name);
    for (word, text) in [
        ("axle", head.axle.as_str()),
        ("card", record.card.name.as_str()),
        ("mechanic", head.mechanic.as_str()),
        ("opened", &short(&head.opened)),
        (
            "closed",
            &head.closed.as_deref().map_or(String::new(), short),
        ),
    ] {
        if !text.is_empty() {
            let _ = writeln!(out, "  {word}  {text}");
        }
    }
    write_trials(&mut out, record, shown);
    write_advice(&mut out, record);
    write_closing(&mut out, record);
    if !record.notes.is_empty() {
        out.push_str("\nNotes\n");
    }
    for note in &record.notes {
        let _ = writeln!(out, "  {} {}: {}", short(&note.at), note.by, note.text);
    }
    out
}

fn write_trials(out: &mut String, record: &Record, shown: &Shown) {
    if !record.trials.is_empty() {
        let mut table = Table::new();
        table.load_style(presets::NOTHING);
        table.set_header(TRIAL_HEADINGS);
        for assembly in &record.trials {
            table.add_row(trial_cells(assembly, shown));
        }
        for column in table.column_iter_mut().skip(2) {
            column.set_cell_alignment(CellAlignment::Right);
        }
        let _ = writeln!(out, "\n{table}");
    }
    for assembly in &record.trials {
        if let Some(why) = &assembly.bench.struck {
            let _ = writeln!(out, "  trial {} is struck out: {why}", assembly.number);
        }
    }
    for assembly in record.trials.iter().filter(|a| !a.bench.note.is_empty()) {
        let _ = writeln!(out, "  trial {}: {}", assembly.number, assembly.bench.note);
    }
}

fn write_advice(out: &mut String, record: &Record) {
    if !record.advice.is_empty() {
        out.push_str("\nAdvice\n");
    }
    for given in &record.advice {
        let became = given
            .followed
            .map_or_else(|| "open".to_owned(), |f| f.word().to_owned());
        let remark = if given.remark.is_empty() {
            String::new()
        } else {
            format!(" ({})", given.remark)
        };
        let _ = writeln!(
            out,
            "  after trial {}: {}; {became}{remark}",
            given.after,
            verdict_word(given.advice.verdict)
        );
    }
}

fn write_closing(out: &mut String, record: &Record) {
    if !record.closing.is_empty() {
        out.push_str("\nClosing list\n");
    }
    for tick in &record.closing {
        let value = if tick.value.is_empty() {
            String::new()
        } else {
            format!(": {}", tick.value)
        };
        let _ = writeln!(
            out,
            "  {}{value} ({}, {})",
            tick.item.asks(),
            short(&tick.at),
            tick.by
        );
    }
}

/// What comes next, in plain lines.
pub(crate) fn next_text(record: &Record, next: &Next) -> String {
    let mut out = format!(
        "Job {}: {}\nNext: {}\n  {}\n",
        record.head.number,
        record.head.name,
        station_words(next.station),
        next.says
    );
    if !next.missing.is_empty() {
        out.push_str("\nMissing\n");
        for line in &next.missing {
            let _ = writeln!(out, "  - {line}");
        }
    }
    if !next.remarks.is_empty() {
        out.push_str("\nCautions\n");
        for line in &next.remarks {
            let _ = writeln!(out, "  - {line}");
        }
    }
    if let Some(command) = &next.command {
        let _ = writeln!(out, "\n  {command}");
    }
    out
}

/// How a station is called.
pub(crate) const fn station_words(station: Station) -> &'static str {
    match station {
        Station::AsFound => "record the axle as found",
        Station::PinionShim => "starting pinion shim",
        Station::PinionPreload => "pinion bearing preload",
        Station::Backlash => "side shims and backlash",
        Station::Pattern => "paint, roll, photograph",
        Station::Advice => "ask what to change",
        Station::Change => "change the shims",
        Station::Check => "measure or check first",
        Station::SidePreload => "side bearing preload",
        Station::FinalAssembly => "final parts",
        Station::Closing => "closing list",
        Station::Done => "nothing left",
    }
}
