//! What the next station of a job is, and what is missing there.

use super::closing::{Standing, Value, standing};
use super::limits::{Outside, ROTATING_TORQUE, of_newest, rotating_window};
use crate::rules::{SAFETY, adjusters};
use crate::schema::record::{Assembly, Item, Record};
use crate::schema::{Adjust, Card, Preload, ShimPlace, Verdict};
use crate::setup::verdict;
use crate::units::Shown;
use schemars::JsonSchema;
use serde::Serialize;

/// The stations in the order of the work (common practice, no source).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Station {
    /// The axle as it came in.
    AsFound,
    /// The pack to start the pinion with.
    PinionShim,
    /// Preload of the pinion's bearings.
    PinionPreload,
    /// Side packs, backlash.
    Backlash,
    /// Paint, roll, photograph both flanks.
    Pattern,
    /// Ask what to change.
    Advice,
    /// Change the shims as advised and assemble again.
    Change,
    /// Something must be measured or checked first.
    Check,
    /// Preload of the side bearings.
    SidePreload,
    /// Everything once more with the final parts.
    FinalAssembly,
    /// The closing list.
    Closing,
    /// Nothing is left.
    Done,
}

/// The next station with what is missing there.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub(crate) struct Next {
    /// Which.
    pub station: Station,
    /// What to do, in a sentence or two.
    pub says: String,
    /// What is missing, one thing a line.
    pub missing: Vec<String>,
    /// What is in doubt already.
    pub remarks: Vec<String>,
    /// A command that records it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub command: Option<String>,
}

/// Fewest places round the gear that make a final backlash.
const FEWEST_PLACES: usize = 4;

/// Says what comes next.
pub(crate) fn next(record: &Record, shown: &Shown) -> Next {
    let job = record.head.number;
    let mut next = station(record, shown);
    next.command = next
        .command
        .map(|command| command.replace("JOB", &job.to_string()));
    next.remarks.extend(remarks(record));
    if record.head.closed.is_none() {
        next.remarks.push(SAFETY.into());
    }
    next
}

fn at(station: Station, says: impl Into<String>, missing: Vec<String>, command: &str) -> Next {
    Next {
        station,
        says: says.into(),
        missing,
        remarks: Vec::new(),
        command: (!command.is_empty()).then(|| command.to_owned()),
    }
}

/// Whether work of the job is left, closed or not.
pub(crate) fn is_unfinished(record: &Record, shown: &Shown) -> bool {
    work(record, shown).station != Station::Done
}

fn station(record: &Record, shown: &Shown) -> Next {
    if record.head.closed.is_some() {
        return at(
            Station::Done,
            "This job is closed.",
            Vec::new(),
            "flankread job sheet --job JOB --out sheet.html",
        );
    }
    work(record, shown)
}

fn work(record: &Record, shown: &Shown) -> Next {
    let card = &record.card;
    let found_or_waived = record.counting().any(|a| a.trial.as_found)
        || record.notes.iter().any(|n| n.text.starts_with(NOT_FOUND));
    if !found_or_waived {
        return at(
            Station::AsFound,
            "Record the axle as it came in, before anything is taken apart: afterwards it cannot be had again.",
            vec![
                "shims and which side each sat on, marks on the caps".into(),
                "backlash at four places or more".into(),
                "torque to turn the pinion".into(),
                "a photo of the drive flanks and one of the coast flanks, painted and rolled"
                    .into(),
            ],
            "flankread job trial --job JOB --as-found --backlash 0.20mm --drive drive.jpg --coast coast.jpg",
        );
    }
    let built: Vec<&Assembly> = record.counting().filter(|a| !a.trial.as_found).collect();
    let Some(last) = built.last() else {
        return at(
            Station::PinionShim,
            "Work out the pack to start the pinion with, from the marks of old and new pinion or with the depth gauge.",
            missing_for_marks(card),
            "flankread setup pinion-shim marks --job JOB --old-shim … --old-mark … --new-mark …",
        );
    };
    assembled(record, &built, last, shown)
}

/// What comes next once the axle was put together: preload, backlash, pattern.
fn assembled(record: &Record, built: &[&Assembly], last: &Assembly, shown: &Shown) -> Next {
    let card = &record.card;
    // A preload once found holds for later trials that do not repeat it, unless its pack was changed.
    let preload = built
        .iter()
        .rev()
        .find_map(|a| torque_of(a).map(|nm| (*a, nm)));
    if let Some(next) = preload_station(record, preload, last, shown) {
        return next;
    }
    if last.trial.backlash_mm.is_empty() {
        return at(
            Station::Backlash,
            "Put the carrier in, shims at zero end play, and set the backlash; then measure it round the gear.",
            vec!["backlash of this assembly, at four places or more".into()],
            match card.carrier.adjust {
                Adjust::Shims => {
                    "flankread setup side-shims --job JOB --ring-side … --far-side … --backlash …"
                }
                Adjust::Threaded => "flankread setup adjusters --job JOB --backlash …",
            },
        );
    }
    // Preload of the side bearings needs a new backlash, but the pattern is rolled again with the final parts.
    let only_preloaded =
        last.bench.side_preload && !last.bench.final_parts && last.photos.is_empty();
    let read = |a: &&&Assembly| a.trial.drive.is_some() && a.trial.coast.is_some();
    let judged = match built.iter().rev().find(read) {
        Some(before) if only_preloaded => before,
        _ => last,
    };
    let missing = missing_flanks(judged);
    if !missing.is_empty() {
        return at(
            Station::Pattern,
            "Paint four or five teeth thinly, roll them through under a light brake both ways, and photograph both flanks.",
            missing,
            "flankread job trial --job JOB --drive drive.jpg --coast coast.jpg …",
        );
    }
    after_pattern(record, judged, last, shown)
}

/// Photos that are wanting of an assembly.
fn missing_flanks(judged: &Assembly) -> Vec<String> {
    let mut missing = Vec::new();
    for (word, there) in [
        ("drive", judged.trial.drive.is_some()),
        ("coast", judged.trial.coast.is_some()),
    ] {
        if !there {
            let had = judged.photos.iter().any(|p| p.shows.word() == word);
            missing.push(if had {
                format!(
                    "a photo of the {word} flanks that can be read (the one recorded could not)"
                )
            } else {
                format!("a photo of the {word} flanks of this assembly")
            });
        }
    }
    missing
}

fn after_pattern(record: &Record, judged: &Assembly, last: &Assembly, shown: &Shown) -> Next {
    let Some(given) = record
        .advice
        .iter()
        .rev()
        .find(|g| g.after == judged.number && g.outdated.is_empty())
    else {
        return at(
            Station::Advice,
            "Both flanks are read and the backlash is measured: ask what to change.",
            Vec::new(),
            "flankread job advise --job JOB",
        );
    };
    match given.advice.verdict {
        Verdict::Change => {
            let pack = |name: &str, pack: Option<&crate::schema::Pack>| {
                let changed = pack.filter(|p| (p.to_mm - p.from_mm).abs() > 1e-9)?;
                let (from, to) = (shown.shim(changed.from_mm), shown.shim(changed.to_mm));
                Some(format!("{name} {from} → {to}"))
            };
            let shims = given.advice.shims.as_ref();
            let packs: Vec<String> = [
                pack("pinion pack", shims.and_then(|s| s.pinion.as_ref())),
                pack("ring-side pack", shims.and_then(|s| s.ring_side.as_ref())),
                pack("far-side pack", shims.and_then(|s| s.far_side.as_ref())),
                shims
                    .and_then(|s| s.ring_notches)
                    .filter(|notches| *notches != 0)
                    .map(adjusters),
            ]
            .into_iter()
            .flatten()
            .collect();
            at(
                Station::Change,
                "Change the shims as advised, check preload and backlash again, paint and photograph again.",
                packs,
                "flankread job trial --job JOB --pinion-shim … --ring-side-shim … --far-side-shim … --backlash … --drive … --coast …",
            )
        }
        Verdict::Measure | Verdict::BeyondShims => at(
            Station::Check,
            "Do not change shims yet: see what the advice asks to measure or to check.",
            given
                .advice
                .checks
                .iter()
                .map(|c| c.message.clone())
                .collect(),
            "flankread job advise --job JOB",
        ),
        Verdict::Good => closing(record, last, shown),
    }
}

fn closing(record: &Record, last: &Assembly, shown: &Shown) -> Next {
    let bench = &last.bench;
    let wrong = of_newest(record, shown);
    if !bench.final_parts && !wrong.is_empty() {
        return to_put_right(record, &wrong);
    }
    if !bench.side_preload && !bench.final_parts {
        return at(
            Station::SidePreload,
            "The pattern is right. Preload the side bearings, then measure backlash again: preload on the ring side alone takes some away.",
            vec!["an assembly with the side bearings preloaded (--side-preload)".into()],
            "flankread job trial --job JOB --side-preload --backlash …",
        );
    }
    if !bench.final_parts {
        let mut missing = vec!["an assembly with the final parts (--final-parts)".to_owned()];
        missing.extend(SMALL_PARTS.map(|item| format!("before it is closed: {}", item.asks())));
        return at(
            Station::FinalAssembly,
            "Put the final parts in: pressed bearings, seal, new nut or sleeve. Then preload, backlash round the gear and the pattern once more.",
            missing,
            "flankread job trial --job JOB --final-parts --backlash … --pinion-torque … --drive … --coast …",
        );
    }
    let mut missing: Vec<String> = wrong.into_iter().map(|outside| outside.says).collect();
    let places = last.trial.backlash_mm.len();
    if places < FEWEST_PLACES {
        missing.insert(
            0,
            format!("backlash at {FEWEST_PLACES} places or more round the gear ({places} so far)"),
        );
    }
    let open = open_items(record, shown);
    let first = open.first().map(|(item, _)| *item);
    missing.extend(open.into_iter().map(|(_, line)| line));
    if missing.is_empty() {
        return at(
            Station::Done,
            "Everything is recorded. Print the build sheet and close the job.",
            Vec::new(),
            "flankread job close --job JOB",
        );
    }
    let Some(first) = first else {
        return at(
            Station::Closing,
            "The closing list is ticked off, but the final assembly's own numbers are not right yet.",
            missing,
            "flankread job trial --job JOB --final-parts …",
        );
    };
    let value = match first.value() {
        Value::Torque(_) => " --value …",
        Value::Words => "",
    };
    at(
        Station::Closing,
        "Tick off the closing list, one item after the other.",
        missing,
        &format!("flankread job check --job JOB {}{value}", first.word()),
    )
}

/// Small parts that are forgotten and cost a tear-down (common practice, no source).
const SMALL_PARTS: [Item; 5] = [
    Item::Slinger,
    Item::Washers,
    Item::CapSides,
    Item::Magnet,
    Item::Vent,
];

/// The pattern is right and a number is not: back to the station where it is put right.
fn to_put_right(record: &Record, wrong: &[Outside]) -> Next {
    let lines = wrong.iter().map(|outside| outside.says.clone()).collect();
    let says = "The pattern is right, but these numbers are outside their limits. Put them right before anything final goes in.";
    if wrong.iter().any(|outside| outside.name == ROTATING_TORQUE) {
        let command = preload_command(&record.card);
        return at(Station::PinionPreload, says, lines, command);
    }
    let backlash = wrong.iter().any(|outside| outside.name == "backlash");
    let (station, command) = if backlash {
        (
            Station::Backlash,
            "flankread setup backlash --job JOB --reading … --reading … --reading … --reading …",
        )
    } else {
        (
            Station::SidePreload,
            "flankread setup torque --job JOB --pinion … --total …",
        )
    };
    at(station, says, lines, command)
}

/// The items of the closing list that are open, each with what is to be done and its limit.
fn open_items(record: &Record, shown: &Shown) -> Vec<(Item, String)> {
    let line = |item: Item, stands: Option<String>| {
        let mut line = format!("{} ({})", item.asks(), item.word());
        match (stands, item.limit(record, shown)) {
            (Some(says), _) => line += &format!(": {says}"),
            (None, Some(limit)) => line += &format!(": {limit}"),
            (None, None) => {}
        }
        (item, line)
    };
    Item::ALL
        .into_iter()
        .filter_map(|item| match standing(record, item, shown) {
            Standing::Open(stands) => Some(line(item, stands)),
            Standing::Done | Standing::Outside(_) => None,
        })
        .collect()
}

/// The pinion's rotating torque of an assembly.
fn torque_of(assembly: &Assembly) -> Option<f64> {
    assembly.trial.pinion_torque_nm
}

/// What finds the preload of the pinion's bearings.
const fn preload_command(card: &Card) -> &'static str {
    match card.pinion.preload {
        Preload::Shims => "flankread setup preload --job JOB --trial PACK=TORQUE …",
        Preload::Sleeve => "flankread setup sleeve --job JOB --step NUT=ROTATING …",
    }
}

fn preload_station(
    record: &Record,
    found: Option<(&Assembly, f64)>,
    last: &Assembly,
    shown: &Shown,
) -> Option<Next> {
    let card = &record.card;
    let command = preload_command(card);
    let Some((assembly, torque_nm)) = found else {
        return Some(at(
            Station::PinionPreload,
            "Set the preload of the pinion's bearings and record the torque to turn it, without the seal.",
            vec!["rotating torque of the pinion (--pinion-torque)".into()],
            command,
        ));
    };
    // The backlash and the patches of this assembly were recorded, so a torque off its window waits until the pattern is
    // right, and is no reason to send the mechanic back before it is read.
    if !last.trial.backlash_mm.is_empty() {
        return None;
    }
    let window = rotating_window(card, record.bearings(assembly))?;
    let is = verdict(torque_nm, window);
    (is != "within").then(|| {
        at(
            Station::PinionPreload,
            format!(
                "The pinion's rotating torque is {}, {is} {} to {}. Change the preload pack or go on with the sleeve.",
                shown.torque(torque_nm),
                shown.torque(window[0]),
                shown.torque(window[1])
            ),
            vec!["a rotating torque within its window".into()],
            command,
        )
    })
}

fn missing_for_marks(card: &Card) -> Vec<String> {
    let mut missing = Vec::new();
    if card.pinion.mark_sense.is_none() || card.pinion.mark_unit.is_none() {
        missing.push(
            "how pinion marks are meant: mark_sense and mark_unit in [pinion] of the card".into(),
        );
    }
    if card.pinion.shim_place == ShimPlace::BehindHeadBearing {
        missing.push(
            "whether an oil slinger or baffle sits between pinion head and bearing: it is part of the pack (--slinger)"
                .into(),
        );
    }
    missing.push("the first assembly with its pinion pack and rotating torque".into());
    missing
}

/// A note that starts so says that the axle as found cannot be had any more.
pub(crate) const NOT_FOUND: &str = "No record as found";

/// What is in doubt whatever the station.
fn remarks(record: &Record) -> Vec<String> {
    let mut remarks = Vec::new();
    let limits = &record.card.limits;
    for (name, there) in [
        ("backlash", limits.backlash_mm.is_some()),
        ("backlash_variation", limits.backlash_variation_mm.is_some()),
        (
            "pinion_torque_new or pinion_torque_used",
            limits.pinion_torque_new_nm.is_some() || limits.pinion_torque_used_nm.is_some(),
        ),
    ] {
        if !there {
            remarks.push(format!(
                "The card has no {name} in [limits]; look it up in the axle's manual."
            ));
        }
    }
    let mut newest = record.counting().rev();
    if let (Some(last), Some(before)) = (newest.next(), newest.next())
        && last.trial.pinion_shim_mm != before.trial.pinion_shim_mm
        && !last.trial.as_found
        && !before.trial.as_found
        && last.trial.pinion_torque_nm.is_none()
    {
        remarks.push(
            "The pinion's pack was changed and its rotating torque not measured again.".into(),
        );
    }
    remarks
}

#[cfg(test)]
mod tests;
