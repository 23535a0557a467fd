//! A batch for the terminal: the sets by urgency, then the lot in numbers.

use super::reply::words_of;
use crate::batch::judge::{FlankSeen, SetVerdict, Verdict};
use crate::batch::summary::{BatchResult, BatchSummary};
use crate::frames::Side;
use crate::report::advice::gear_move;
use crate::schema::{CheckCode, ReasonCode, advice};
use comfy_table::{ContentArrangement, Table, presets};
use std::fmt::Write as _;

/// Longest bar of a histogram, letters.
const LONGEST_BAR: usize = 24;

/// The table of the first `rows` sets and the numbers, with or without histograms, ending with a newline.
pub(crate) fn batch_text(lot: &BatchResult, rows: usize, with_histograms: bool) -> String {
    let mut out = String::new();
    // Writing to a string cannot fail.
    let _ = writeln!(out, "{}", sets_table(lot, rows));
    if lot.order.len() > rows {
        let _ = writeln!(
            out,
            "  and {} more that are less urgent: see sheet.html, or give --rows",
            lot.order.len() - rows
        );
    }
    out.push('\n');
    if lot.order.iter().any(|&set| lot.tells_to_change(set)) {
        let _ = writeln!(out, "Caution: {CHANGES}\n");
    }
    out.push_str(&summary_text(&lot.summary));
    if with_histograms {
        out.push_str(&histograms(&lot.summary));
    }
    out
}

/// What stands under every list that tells someone to move gears.
pub(crate) const CHANGES: &str = "before shims are changed look at the pictures; the limits and torques of the axle's manual, \
    local rules and licensed practice go before what stands here, and backlash and rotating torque are measured again after \
    every change.";

fn sets_table(lot: &BatchResult, rows: usize) -> Table {
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    if let Some((terminal_size::Width(letters), _)) =
        terminal_size::terminal_size_of(std::io::stdout())
    {
        table.set_content_arrangement(ContentArrangement::Dynamic);
        table.set_width(letters);
    }
    table.set_header(["set", "what", "drive", "coast", "next"]);
    for &set in lot.order.iter().take(rows) {
        let verdict = &lot.sets[set];
        let flank = |seen: &Option<FlankSeen>| match seen {
            None => "-".to_owned(),
            Some(seen) => {
                let doubt = if seen.sure { "" } else { "?" };
                format!(
                    "{}{doubt} {:+.2} {:+.2}",
                    seen.diagnosis.words, seen.diagnosis.length, seen.diagnosis.height
                )
            }
        };
        table.add_row([
            lot.plan.sets[set].name.clone(),
            verdict.verdict.title().to_owned(),
            flank(&verdict.flanks[0]),
            flank(&verdict.flanks[1]),
            next(lot, set),
        ]);
    }
    table
}

/// What to do about a set, in a few words.
pub(crate) fn next(lot: &BatchResult, set: usize) -> String {
    let verdict: &SetVerdict = &lot.sets[set];
    if let Some(advice) = &verdict.advice {
        match (advice.verdict, advice.change) {
            (advice::Verdict::Change, Some(change)) => {
                let units = lot.units[set];
                return format!(
                    "pinion {}, ring gear {}",
                    gear_move(change.pinion_mm, "ring gear", units),
                    gear_move(change.ring_mm, "pinion", units)
                );
            }
            (advice::Verdict::Good, _) => return "leave the shims".into(),
            (advice::Verdict::BeyondShims, _) => return "check the parts".into(),
            _ => {}
        }
        let missing = advice.checks.first().map(|check| match check.code {
            CheckCode::BacklashMissing => "ask for the backlash".into(),
            _ => first_sentence(&check.message),
        });
        let way = verdict
            .direction
            .as_ref()
            .filter(|way| way.pinion.is_some());
        let way = way.map(|way| way.summary.trim_end_matches('.').to_lowercase());
        let both: Vec<String> = way.into_iter().chain(missing).collect();
        if !both.is_empty() {
            return both.join("; ");
        }
    }
    if verdict
        .flanks
        .iter()
        .flatten()
        .any(|seen| seen.contradicted)
    {
        return "ask which photo is the last one".into();
    }
    let is_unsure = |seen: &FlankSeen| !seen.sure;
    if (matches!(verdict.verdict, Verdict::PhotoAgain | Verdict::Unsure)
        || verdict.flanks.iter().flatten().any(is_unsure))
        && let Some(reason) = first_reason(lot, set)
    {
        return reason;
    }
    if let Some(direction) = &verdict.direction
        && verdict.flanks.iter().all(Option::is_some)
    {
        return match direction.pinion {
            Some(_) => direction.summary.trim_end_matches('.').to_lowercase(),
            None => direction.why.first().map_or_else(
                || "measure the backlash; the patches stand where they should".into(),
                |why| first_sentence(why),
            ),
        };
    }
    for (side, seen) in Side::BOTH.into_iter().zip(&verdict.flanks) {
        if seen.is_none() {
            return format!("ask for a photo of the {} flanks", side.word());
        }
    }
    verdict.no_advice.as_deref().map_or_else(
        || "look at the pictures and decide by hand".into(),
        |why| why.split(':').next().unwrap_or(why).to_owned(),
    )
}

/// What to ask for about the first photo that says nothing sure.
fn first_reason(lot: &BatchResult, set: usize) -> Option<String> {
    lot.plan.sets[set].photos.iter().find_map(|&at| {
        let found = &lot.found[at];
        let reason = found.reasons.first().map(|reason| {
            let (_, send, photo) = words_of(reason.code);
            let send = send.split(':').next().unwrap_or(send);
            if reason.code == ReasonCode::WhichFlank {
                return "ask which flank each photo shows".into();
            }
            let word = if photo || send.starts_with("the photo") {
                "ask for"
            } else {
                "ask"
            };
            format!("{word} {send}")
        });
        reason.or_else(|| Some(first_sentence(&found.problem.as_ref()?.message)))
    })
}

fn first_sentence(text: &str) -> String {
    let end = text.find(". ").or_else(|| text.find(": "));
    let sentence = end.map_or(text, |end| &text[..end]);
    sentence.trim_end_matches('.').to_owned()
}

/// The lot in numbers.
pub(crate) fn summary_text(summary: &BatchSummary) -> String {
    let mut out = String::new();
    let status = &summary.status;
    let share = |count: usize| 100.0 * count as f64 / summary.photos.max(1) as f64;
    let _ = writeln!(
        out,
        "{} photos in {} sets: {} read ({:.0} %), {} unsure ({:.0} %), {} unreadable ({:.0} %)",
        summary.photos,
        summary.sets,
        status.read,
        share(status.read),
        status.unsure,
        share(status.unsure),
        status.unreadable,
        share(status.unreadable)
    );
    if let Some(copies) = copies_words(summary) {
        let _ = writeln!(out, "{copies}");
    }
    if !summary.reasons.is_empty() {
        let mut reasons: Vec<_> = summary.reasons.iter().collect();
        reasons.sort_by(|a, b| b.1.photos.cmp(&a.1.photos).then(a.0.cmp(b.0)));
        let words = (reasons.iter())
            .map(|(code, count)| format!("{} {}", code.replace('_', " "), count.photos));
        let _ = writeln!(out, "why: {}", words.collect::<Vec<_>>().join(", "));
    }
    if !summary.troubles.is_empty() {
        let _ = writeln!(out, "\nCould not be used");
        for trouble in &summary.troubles {
            let _ = writeln!(out, "  {}: {}", trouble.path, trouble.message);
        }
    }
    if summary.links_not_followed > 0 {
        let _ = writeln!(
            out,
            "\nlinks to folders that were not followed: {}; --follow goes into them",
            summary.links_not_followed
        );
    }
    out
}

/// How many photos came twice, if any did.
pub(crate) fn copies_words(summary: &BatchSummary) -> Option<String> {
    let mut parts = Vec::new();
    if summary.copies > 0 {
        parts.push(format!("copies of other files: {}", summary.copies));
    }
    if summary.near_copies > 0 {
        parts.push(format!(
            "same pictures saved once more: {}",
            summary.near_copies
        ));
    }
    (!parts.is_empty()).then(|| parts.join("; "))
}

/// The four histograms with anything in them: name of flank and direction, names of the ends, bars.
pub(crate) fn filled_histograms(
    summary: &BatchSummary,
) -> Vec<(&'static str, [&'static str; 2], &[usize])> {
    let offsets = &summary.offsets;
    let ends = [["toe", "heel"], ["root", "tip"]];
    [
        ("drive, along the length", ends[0], &offsets.drive_length),
        ("drive, up the height", ends[1], &offsets.drive_height),
        ("coast, along the length", ends[0], &offsets.coast_length),
        ("coast, up the height", ends[1], &offsets.coast_height),
    ]
    .into_iter()
    .filter(|(.., bars)| bars.iter().any(|count| *count > 0))
    .map(|(name, ends, bars)| (name, ends, bars.as_slice()))
    .collect()
}

/// The range of each bar in words.
pub(crate) fn bar_names(edges: &[f64], ends: [&str; 2]) -> Vec<String> {
    let first = edges.first().copied().unwrap_or_default();
    let last = edges.last().copied().unwrap_or_default();
    let mut names = vec![format!("{first:+.1} and farther to the {}", ends[0])];
    names.extend(
        edges
            .windows(2)
            .map(|pair| format!("{} to {}", edge(pair[0]), edge(pair[1]))),
    );
    names.push(format!("{last:+.1} and farther to the {}", ends[1]));
    names
}

/// An edge with its sign; none before nought.
fn edge(value: f64) -> String {
    if value == 0.0 {
        "0".into()
    } else {
        format!("{value:+.1}")
    }
}

fn histograms(summary: &BatchSummary) -> String {
    let mut out = String::new();
    for (name, ends, bars) in filled_histograms(summary) {
        let _ = writeln!(out, "\nPatch from its target: {name} (share of the flank)");
        let most = bars.iter().copied().max().unwrap_or(1).max(1);
        for (name, &count) in bar_names(&summary.offsets.edges, ends).iter().zip(bars) {
            let length = (count * LONGEST_BAR).div_ceil(most);
            let bar = "#".repeat(length);
            let _ = writeln!(out, "  {name:<28} {count:>5}  {bar}");
        }
    }
    out
}
