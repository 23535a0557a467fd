//! What the build sheet says, as HTML and PDF alike: tables of words.

use super::text;
use super::text::{TRIAL_HEADINGS, adjusters_at, outdated, trial_cells, verdict_word};
use crate::job::clock::short;
use crate::job::closing::{Standing, standing};
use crate::job::limits::{mean, of_assembly};
use crate::job::next::is_unfinished;
use crate::rules::adjusters;
use crate::schema::Condition;
use crate::schema::record::{Assembly, Item, PhotoOf, Record};
use crate::units::Shown;

/// A record with its pictures, as the command gathers it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sheet<'a> {
    /// The job.
    pub record: &'a Record,
    /// For each assembly, the drawn-on picture of each photo (JPEG).
    pub pictures: &'a [Vec<Option<Vec<u8>>>],
    /// What it is printed in.
    pub shown: Shown,
}

/// Rows of trials that fit the first side; the first and the newest are printed.
const MOST_TRIALS: usize = 10;
/// Pictures that fit the second side.
const MOST_PICTURES: usize = 9;
/// Lines of advice and of notes that fit it; the newest are printed.
const MOST_LINES: usize = 6;
/// Letters of a note that fit; the record holds all of it.
const MOST_LETTERS: usize = 230;
/// The same of a note of the job, of which there may be many.
const MOST_LETTERS_OF_A_NOTE: usize = 180;

/// The words as far as they fit.
fn fitting(words: &str) -> String {
    first_letters(words, MOST_LETTERS)
}

/// So many letters of the words.
fn first_letters(words: &str, most: usize) -> String {
    if words.chars().count() <= most {
        return words.to_owned();
    }
    let kept: String = words.chars().take(most).collect();
    format!("{} …", kept.trim_end())
}

/// The newest lines, and how many there are before them.
fn newest(mut lines: Vec<String>) -> Vec<String> {
    let before = lines.len().saturating_sub(MOST_LINES);
    if before > 0 {
        lines.drain(..before);
        lines.insert(0, format!("{before} earlier ones are in the job's record"));
    }
    lines
}

/// Printed at the foot of every sheet.
pub(crate) const CAUTIONS: [&str; 5] = [
    "Limits and torques come from the manual of this axle; it goes before this sheet.",
    "A drive axle is safety-critical. Where local rules ask for a licensed mechanic, one has to do or to check this work.",
    "Axle on stands, wheels chocked; no fingers near the mesh while it turns; gloves and fresh air for compound and thread locker.",
    "Break-in: 15 to 20 gentle miles, cool down, oil change at 500 miles, no towing before (common practice; the manual goes first).",
    "Readings from photos have an uncertainty. Look at the pictures: each outline must lie on one whole flank.",
];

/// A named value of a list.
pub(crate) struct Fact {
    /// What it is.
    pub name: &'static str,
    /// Its value; never empty.
    pub value: String,
    /// It is outside its limit: printed in red.
    pub outside: bool,
}

fn fact(facts: &mut Vec<Fact>, name: &'static str, value: String) {
    if !value.is_empty() {
        facts.push(Fact {
            name,
            value,
            outside: false,
        });
    }
}

/// The head of the sheet.
pub(crate) fn head(sheet: &Sheet) -> Vec<Fact> {
    let Record { head, card, .. } = sheet.record;
    let mut facts = Vec::new();
    fact(&mut facts, "axle", fitting(&head.axle));
    fact(&mut facts, "gear set", card.name.clone());
    fact(
        &mut facts,
        "teeth",
        format!("{} × {}", card.gear.pinion_teeth, card.gear.ring_teeth),
    );
    fact(&mut facts, "mechanic", head.mechanic.clone());
    fact(&mut facts, "opened", short(&head.opened));
    if let Some(at) = &head.closed {
        let unfinished = is_unfinished(sheet.record, &sheet.shown);
        let with = if unfinished { ", WITH WORK LEFT" } else { "" };
        facts.push(Fact {
            name: "closed",
            value: format!("{}{with}", short(at)),
            outside: unfinished,
        });
    }
    facts
}

/// One assembly in full: as found, or final.
pub(crate) fn state(sheet: &Sheet, assembly: &Assembly) -> Vec<Fact> {
    let shown = &sheet.shown;
    let (trial, bench) = (&assembly.trial, &assembly.bench);
    let shim = |mm: Option<f64>| mm.map_or(String::new(), |mm| shown.shim(mm));
    let torque = |nm: Option<f64>| nm.map_or(String::new(), |nm| shown.torque(nm));
    let wear = |wear: Option<Condition>| match wear {
        Some(Condition::New) => "new".to_owned(),
        Some(Condition::Used) => "used".to_owned(),
        None => String::new(),
    };
    let mut facts = Vec::new();
    fact(
        &mut facts,
        "recorded",
        format!("{} {}", short(&assembly.recorded), assembly.by)
            .trim()
            .to_owned(),
    );
    fact(&mut facts, "gears", wear(trial.condition));
    fact(&mut facts, "pinion bearings", wear(bench.bearings));
    fact(&mut facts, "pinion pack", shim(trial.pinion_shim_mm));
    fact(&mut facts, "preload pack", shim(bench.preload_pack_mm));
    fact(&mut facts, "ring-side pack", shim(trial.ring_side_shim_mm));
    fact(&mut facts, "far-side pack", shim(trial.far_side_shim_mm));
    fact(
        &mut facts,
        "adjusters",
        trial.ring_notches.map_or(String::new(), adjusters_at),
    );
    fact(
        &mut facts,
        "rotating torque",
        torque(trial.pinion_torque_nm),
    );
    fact(
        &mut facts,
        "pinion and carrier",
        torque(mean(&bench.total_readings_nm)),
    );
    fact(&mut facts, "pinion nut", torque(bench.pinion_nut_nm));
    let places: Vec<String> = trial.backlash_mm.iter().map(|mm| shown.shim(*mm)).collect();
    fact(&mut facts, "backlash", places.join(", "));
    for (name, reading) in [("drive patch", &trial.drive), ("coast patch", &trial.coast)] {
        fact(
            &mut facts,
            name,
            reading.as_ref().map_or(String::new(), |r| {
                format!(
                    "{:.0} % from the toe, {:.0} % up from the root",
                    100.0 * r.centre.length,
                    100.0 * r.centre.height
                )
            }),
        );
    }
    let flags: Vec<&str> = [
        (bench.side_preload, "side bearings preloaded"),
        (bench.seal, "seal fitted"),
        (bench.final_parts, "final parts"),
    ]
    .into_iter()
    .filter_map(|(is, word)| is.then_some(word))
    .collect();
    fact(&mut facts, "state", flags.join(", "));
    fact(&mut facts, "note", fitting(&bench.note));
    for outside in of_assembly(sheet.record, assembly, shown) {
        for fact in facts.iter_mut().filter(|fact| fact.name == outside.name) {
            fact.outside = true;
        }
        facts.push(Fact {
            name: "outside",
            value: outside.says,
            outside: true,
        });
    }
    facts
}

/// What was struck out and put right, the newest that fit.
pub(crate) fn mended(sheet: &Sheet) -> Vec<String> {
    let lines = text::mended(sheet.record, &sheet.shown);
    newest(lines.iter().map(|line| fitting(line)).collect())
}

/// The table of trials, what was left out of it, and its headings.
pub(crate) fn trials(sheet: &Sheet) -> (Vec<[String; 9]>, usize, [&'static str; 9]) {
    let all = &sheet.record.trials;
    let left_out = all.len().saturating_sub(MOST_TRIALS);
    let rows = all
        .iter()
        .enumerate()
        .filter(|(i, _)| *i == 0 || *i > left_out || left_out == 0)
        .map(|(_, assembly)| trial_cells(assembly, &sheet.shown))
        .collect();
    (rows, left_out, TRIAL_HEADINGS)
}

/// A picture with its words.
pub(crate) struct Picture<'a> {
    /// The JPEG.
    pub bytes: &'a [u8],
    /// What it shows.
    pub words: String,
}

/// The pictures that fit, and how many were left out: the first trial's and the newest.
pub(crate) fn pictures<'a>(sheet: &Sheet<'a>) -> (Vec<Picture<'a>>, usize) {
    let all: Vec<Picture<'a>> = sheet
        .record
        .trials
        .iter()
        .zip(sheet.pictures)
        .flat_map(|(assembly, pictures)| {
            assembly
                .photos
                .iter()
                .zip(pictures)
                .filter_map(|(photo, bytes)| {
                    Some(Picture {
                        bytes: bytes.as_deref()?,
                        words: picture_words(assembly, photo),
                    })
                })
        })
        .collect();
    let left_out = all.len().saturating_sub(MOST_PICTURES);
    let kept = all
        .into_iter()
        .enumerate()
        .filter(|(i, _)| left_out == 0 || *i < 2 || *i >= 2 + left_out)
        .map(|(_, picture)| picture)
        .collect();
    (kept, left_out)
}

fn picture_words(assembly: &Assembly, photo: &PhotoOf) -> String {
    let read = photo
        .reading
        .as_ref()
        .map_or("", |reading| match reading.status {
            crate::schema::Status::Read => ", read",
            crate::schema::Status::Unsure => ", unsure",
            crate::schema::Status::Unreadable => ", not readable",
        });
    format!(
        "Trial {}{}: {}{read} ({})",
        assembly.number,
        if assembly.bench.struck.is_some() {
            ", struck out"
        } else if assembly.trial.as_found {
            ", as found"
        } else {
            ""
        },
        photo.shows.word(),
        photo.name
    )
}

/// Advice, a line each: after which trial, what, and what became of it.
pub(crate) fn advice(sheet: &Sheet) -> Vec<String> {
    let shown = &sheet.shown;
    let lines = sheet
        .record
        .advice
        .iter()
        .map(|given| {
            let mut line = format!(
                "After trial {}: {}",
                given.after,
                verdict_word(given.advice.verdict)
            );
            if let (Some(shims), crate::schema::Verdict::Change) =
                (&given.advice.shims, given.advice.verdict)
            {
                for (name, pack) in [
                    ("pinion pack", &shims.pinion),
                    ("ring side", &shims.ring_side),
                    ("far side", &shims.far_side),
                ] {
                    if let Some(pack) = pack
                        && (pack.to_mm - pack.from_mm).abs() > 1e-9
                    {
                        line += &format!(
                            ", {name} {} → {}",
                            shown.shim(pack.from_mm),
                            shown.shim(pack.to_mm)
                        );
                    }
                }
                if let Some(notches) = shims.ring_notches.filter(|notches| *notches != 0) {
                    line += &format!(", {}", adjusters(notches));
                }
            }
            if let Some(followed) = given.followed {
                line += &format!("; {}", followed.word());
            }
            if !given.remark.is_empty() {
                line += &format!(" ({})", given.remark);
            }
            line += &outdated(given);
            fitting(&line)
        })
        .collect();
    newest(lines)
}

/// How an item of the closing list is marked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Mark {
    /// Not done, or not as it has to be.
    Open,
    /// Done.
    Done,
    /// Done outside its limit with a reason: printed in red.
    Outside,
}

impl Mark {
    /// The box before the item.
    pub(crate) const fn sign(self) -> &'static str {
        match self {
            Self::Open => "☐",
            Self::Done | Self::Outside => "☑",
        }
    }
}

/// The closing list: how each item is marked, what it is, and when by whom.
pub(crate) fn closing(sheet: &Sheet) -> Vec<(Mark, String)> {
    let day = |at: &str| short(at).chars().take(10).collect::<String>();
    Item::ALL
        .into_iter()
        .map(|item| {
            let tick = sheet.record.closing.iter().find(|tick| tick.item == item);
            let mut words = item.asks().to_owned();
            if let Some(tick) = tick.filter(|tick| !tick.value.is_empty()) {
                words += &format!(": {}", tick.value);
            }
            if let Some(tick) = tick {
                words += &format!(" ({} {})", day(&tick.at), tick.by).replace(" )", ")");
            }
            let mark = match standing(sheet.record, item, &sheet.shown) {
                Standing::Done => Mark::Done,
                Standing::Open(None) => Mark::Open,
                Standing::Open(Some(says)) => {
                    words += &format!("; open: {says}");
                    Mark::Open
                }
                Standing::Outside(says) => {
                    let because = tick.map_or("", |tick| tick.because.as_str());
                    words += &format!("; OUTSIDE ITS LIMIT: {says}; taken because: {because}");
                    Mark::Outside
                }
            };
            // A reason is never cut off.
            let words = match mark {
                Mark::Outside => words,
                Mark::Open | Mark::Done => fitting(&words),
            };
            (mark, words)
        })
        .collect()
}

/// Notes, a line each.
pub(crate) fn notes(sheet: &Sheet) -> Vec<String> {
    let lines = sheet
        .record
        .notes
        .iter()
        .map(|note| {
            let line = format!("{} {}: {}", short(&note.at), note.by, note.text);
            first_letters(&line, MOST_LETTERS_OF_A_NOTE)
        })
        .collect();
    newest(lines)
}

/// The assemblies that stand in full: as found, and the last that is not.
pub(crate) fn ends<'a>(sheet: &Sheet<'a>) -> (Option<&'a Assembly>, Option<&'a Assembly>) {
    let record = sheet.record;
    (
        record.counting().find(|a| a.trial.as_found),
        record.counting().rev().find(|a| !a.trial.as_found),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_cut_where_they_are_too_long_and_not_before() {
        assert_eq!(first_letters("abc", 3), "abc");
        assert_eq!(first_letters("ab cd", 3), "ab …");
    }
}
