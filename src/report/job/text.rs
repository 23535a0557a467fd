//! A job as text for a terminal.

use crate::job::JobLine;
use crate::job::clock::short;
use crate::job::closing::{Standing, standing};
use crate::job::new_trial::NewTrial;
use crate::job::next::{Next, Station};
use crate::schema::Verdict;
use crate::schema::record::{Amendment, Assembly, Given, Item, Record};
use crate::units::Shown;
use comfy_table::{CellAlignment, Table, presets};
use serde_json::{Value, json};
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
pub(crate) fn trial_cells(assembly: &Assembly, shown: &Shown) -> [String; 9] {
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
        (None, None, Some(notches)) => format!("adjusters {}", adjusters_at(notches)),
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
        shim(assembly.bench.preload_pack_mm),
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

/// Where the adjusters stand, from the job's own zero.
pub(crate) fn adjusters_at(notches: i32) -> String {
    let by = match notches.abs() {
        0 => return "at 0".into(),
        1 => "1 notch".to_owned(),
        count => format!("{count} notches"),
    };
    format!("{by} {}", if notches < 0 { "toward" } else { "away" })
}

/// What was struck out and what was put right of the assemblies, a line each.
pub(crate) fn mended(record: &Record, shown: &Shown) -> Vec<String> {
    let mut lines = Vec::new();
    for assembly in &record.trials {
        let number = assembly.number;
        if let Some(why) = &assembly.bench.struck {
            lines.push(format!("Trial {number} is struck out: {why}"));
        }
        for one in &assembly.bench.amended {
            let because = if one.because.is_empty() {
                String::new()
            } else {
                format!(": {}", one.because)
            };
            lines.push(format!(
                "Trial {number}, {} ({} {}){because}",
                mended_words(one, shown),
                short(&one.at),
                one.by
            ));
        }
    }
    lines
        .into_iter()
        .map(|line| line.replace(" )", ")"))
        .collect()
}

/// `pinion pack: 30.0 thou put right to 32.0 thou`.
pub(crate) fn mended_words(one: &Amendment, shown: &Shown) -> String {
    let (was, now) = (
        said(&one.what, &one.was, shown),
        said(&one.what, &one.now, shown),
    );
    let name = words_of(&one.what);
    match one.was {
        Value::Null => format!("{name}: {now} added"),
        _ => format!("{name}: {was} put right to {now}"),
    }
}

/// A value that a new trial takes over, by its key; nothing where there is none.
pub(crate) fn value_words(key: &str, new: &NewTrial, shown: &Shown) -> Option<String> {
    let (trial, bench) = (json!(new.trial), json!(new.bench));
    let value = trial.get(key).or_else(|| bench.get(key))?;
    Some(said(key, value, shown))
}

/// What a trial takes over from the one before it.
pub(crate) fn carried_over(
    number: i64,
    before: &NewTrial,
    new: &NewTrial,
    shown: &Shown,
) -> Option<String> {
    const KEYS: [&str; 7] = [
        "pinion_shim_mm",
        "preload_pack_mm",
        "ring_side_shim_mm",
        "far_side_shim_mm",
        "ring_notches",
        "condition",
        "bearings",
    ];
    let same: Vec<String> = KEYS
        .iter()
        .filter_map(|key| {
            let words = value_words(key, before, shown)?;
            let still = value_words(key, new, shown)? == words;
            still.then(|| format!("{} {words}", words_of(key)))
        })
        .collect();
    (!same.is_empty()).then(|| format!("As in trial {number}: {}.", same.join(", ")))
}

/// The name of a value by its key, as texts and sheets have it.
pub(crate) fn words_of(key: &str) -> &str {
    match key {
        "pinion_shim_mm" => "pinion pack",
        "ring_side_shim_mm" => "ring-side pack",
        "far_side_shim_mm" => "far-side pack",
        "ring_notches" => "adjusters",
        "backlash_mm" => "backlash",
        "pinion_readings_nm" => "rotating torque",
        "total_readings_nm" => "pinion and carrier",
        "preload_pack_mm" => "preload pack",
        "pinion_nut_nm" => "pinion nut",
        "condition" => "gears",
        "bearings" => "pinion bearings",
        "seal" => "seal fitted",
        "side_preload" => "side bearings preloaded",
        "final_parts" => "final parts",
        "as_found" => "as found",
        "looked" => "looked at again",
        "drive" => "photo of the drive flanks",
        "coast" => "photo of the coast flanks",
        other => other,
    }
}

/// A value of the record or of its card in the units asked for, by its key.
pub(crate) fn said(key: &str, value: &Value, shown: &Shown) -> String {
    match value {
        Value::Null => "nothing".into(),
        Value::Bool(is) => if *is { "yes" } else { "no" }.into(),
        Value::String(text) => text.clone(),
        Value::Array(list) if list.is_empty() => "nothing".into(),
        Value::Array(list) => {
            let all: Vec<String> = list.iter().map(|one| said(key, one, shown)).collect();
            all.join(", ")
        }
        Value::Number(number) => {
            let number = number.as_f64().unwrap_or_default();
            match key {
                "ring_notches" => adjusters_at(number as i32),
                _ if key.ends_with("_mm") && number.abs() >= 20.0 => shown.length(number),
                _ if key.ends_with("_mm") => shown.shim(number),
                _ if key.ends_with("_nm") => shown.torque(number),
                _ => number.to_string(),
            }
        }
        other @ Value::Object(_) => other.to_string(),
    }
}

/// Headings of [`trial_cells`].
pub(crate) const TRIAL_HEADINGS: [&str; 9] = [
    "trial",
    "recorded",
    "pinion pack",
    "preload pack",
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
    write_closing(&mut out, record, shown);
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
    for line in mended(record, shown) {
        let _ = writeln!(out, "  {line}");
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
            "  after trial {}: {}; {became}{remark}{}",
            given.after,
            verdict_word(given.advice.verdict),
            outdated(given)
        );
    }
}

/// Why advice holds no more, in brackets.
pub(crate) fn outdated(given: &Given) -> String {
    if given.outdated.is_empty() {
        return String::new();
    }
    format!("; out of date: {}", given.outdated)
}

fn write_closing(out: &mut String, record: &Record, shown: &Shown) {
    if !record.closing.is_empty() {
        out.push_str("\nClosing list\n");
    }
    let ticked = |item: Item| record.closing.iter().find(move |tick| tick.item == item);
    for tick in Item::ALL.into_iter().filter_map(ticked) {
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
        match standing(record, tick.item, shown) {
            Standing::Outside(says) => {
                let _ = writeln!(
                    out,
                    "    OUTSIDE ITS LIMIT: {says}; taken because: {}",
                    tick.because
                );
            }
            Standing::Open(Some(says)) => {
                let _ = writeln!(out, "    still open: {says}");
            }
            Standing::Open(None) | Standing::Done => {}
        }
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
    if next.station == Station::AsFound {
        let job = record.head.number;
        let _ = writeln!(
            out,
            "or, where it came in pieces:\n  flankread job note --job {job} --not-found"
        );
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn adjusters_are_counted_from_the_job_s_own_zero() {
        let said = [0, 1, -1, 5, -12].map(adjusters_at);
        assert_eq!(
            said,
            [
                "at 0",
                "1 notch away",
                "1 notch toward",
                "5 notches away",
                "12 notches toward"
            ]
        );
    }

    #[test]
    fn every_value_of_a_trial_has_words_of_its_own() {
        let keys = [
            "pinion_shim_mm",
            "ring_side_shim_mm",
            "far_side_shim_mm",
            "ring_notches",
            "backlash_mm",
            "pinion_readings_nm",
            "total_readings_nm",
            "preload_pack_mm",
            "pinion_nut_nm",
            "condition",
            "bearings",
            "seal",
            "side_preload",
            "final_parts",
            "as_found",
            "looked",
            "drive",
            "coast",
        ];
        let mut words: Vec<&str> = keys.map(words_of).to_vec();
        assert!(
            words
                .iter()
                .all(|words| !words.contains('_') && !keys.contains(words)),
            "{words:?}"
        );
        words.sort_unstable();
        words.dedup();
        assert_eq!(words.len(), keys.len());
    }
}
