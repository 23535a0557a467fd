//! Advice as text for a terminal or a sheet of paper.

use crate::rules::adjusters;
use crate::schema::{Advice, FlankDiagnosis, Pack, Verdict};
use crate::units::Units;
use std::fmt::Write;

/// The advice in plain lines, ending with a newline.
pub(crate) fn advice_text(advice: &Advice, units: Units) -> String {
    let mut out = String::new();
    // Writing to a string cannot fail.
    let _ = write(&mut out, advice, units);
    out
}

const fn headline(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Good => "RIGHT: leave the shims as they are",
        Verdict::Change => "CHANGE the shims",
        Verdict::Measure => "MEASURE: something is missing or contradictory",
        Verdict::BeyondShims => "BEYOND SHIMS: no shim cures this",
    }
}

fn write(out: &mut String, advice: &Advice, units: Units) -> std::fmt::Result {
    writeln!(out, "{}", first_line(advice))?;
    out.push_str(&flank_line("drive", advice.diagnosis.drive.as_ref()));
    out.push_str(&flank_line("coast", advice.diagnosis.coast.as_ref()));
    for lines in [change_lines(advice, units), expected_lines(advice, units)] {
        if !lines.is_empty() {
            writeln!(out)?;
        }
        for (name, words) in lines {
            writeln!(out, "  {name:<14}  {words}")?;
        }
    }
    writeln!(out, "\nWhy")?;
    for (number, sentence) in (1..).zip(&advice.why) {
        writeln!(out, "  {number}. {sentence}")?;
    }
    if !advice.cautions.is_empty() {
        writeln!(out, "\nCautions")?;
        for caution in &advice.cautions {
            writeln!(out, "  - {caution}")?;
        }
    }
    Ok(())
}

/// What to do, in one line.
pub(crate) fn first_line(advice: &Advice) -> &str {
    match advice.summary.as_str() {
        "" => headline(advice.verdict),
        summary => summary,
    }
}

/// Each gear and each pack with what happens to it.
pub(crate) fn change_lines(advice: &Advice, units: Units) -> Vec<(String, String)> {
    let mut lines = Vec::new();
    let (Some(change), false) = (advice.change, advice.verdict == Verdict::Good) else {
        return lines;
    };
    let mut line = |name: &str, words: String| lines.push((name.to_owned(), words));
    line("pinion", gear_move(change.pinion_mm, "ring gear", units));
    line("ring gear", gear_move(change.ring_mm, "pinion", units));
    let Some(shims) = &advice.shims else {
        return lines;
    };
    for (name, pack) in [
        ("pinion pack", &shims.pinion),
        ("ring-side pack", &shims.ring_side),
        ("far-side pack", &shims.far_side),
    ] {
        if let Some(pack) = pack {
            line(name, pack_words(pack, units));
        }
    }
    if let Some(notches) = shims.ring_notches {
        let words = match notches {
            0 => "stay".to_owned(),
            turn => adjusters(turn),
        };
        line("adjusters", words);
    }
    lines
}

/// What the next assembly should show, how likely it is right, and the next best change.
pub(crate) fn expected_lines(advice: &Advice, units: Units) -> Vec<(String, String)> {
    let mut lines = Vec::new();
    let mut line = |name: &str, words: String| lines.push((name.to_owned(), words));
    let percent = |share: f64| format!("{:.0}", 100.0 * share);
    if let Some(predicted) = &advice.predicted {
        let band = &predicted.band;
        for (name, at, band) in [
            ("expected drive", predicted.drive, band.drive),
            ("expected coast", predicted.coast, band.coast),
        ] {
            let (length, height) = (percent(at.length), percent(at.height));
            let (along, up) = (percent(band.length), percent(band.height));
            line(
                name,
                format!("{length} ± {along} % of the length, {height} ± {up} % of the height"),
            );
        }
        line(
            "expected backlash",
            format!(
                "{} ± {}",
                units.shim(predicted.backlash_mm),
                units.shim(band.backlash_mm)
            ),
        );
    }
    if let Some(chance) = advice.chance {
        line("chance of being right", format!("{} %", percent(chance)));
    }
    if let Some(next) = advice.runner_up {
        line(
            &format!("next best, {} %", percent(next.chance)),
            format!(
                "pinion {}, ring gear {}",
                gear_move(next.pinion_mm, "ring gear", units),
                gear_move(next.ring_mm, "pinion", units)
            ),
        );
    }
    lines
}

/// Where one patch stands against its target, ending with a newline.
pub(crate) fn flank_line(name: &str, found: Option<&FlankDiagnosis>) -> String {
    match found {
        Some(found) => format!("  {name}  {:<10} {}\n", found.words, offset_words(found)),
        None => format!("  {name}  not read\n"),
    }
}

/// `17 % of the length to the heel, 11 % of the height to the tip of its target`.
pub(crate) fn offset_words(found: &FlankDiagnosis) -> String {
    format!(
        "{:.0} % of the length to the {}, {:.0} % of the height to the {} of its target",
        100.0 * found.length.abs(),
        if found.length < 0.0 { "toe" } else { "heel" },
        100.0 * found.height.abs(),
        if found.height < 0.0 { "root" } else { "tip" }
    )
}

/// `7.0 thou toward the ring gear`.
pub(crate) fn gear_move(move_mm: f64, mate: &str, units: Units) -> String {
    if move_mm == 0.0 {
        return "stays".to_owned();
    }
    format!(
        "{} {} the {mate}",
        units.shim(move_mm.abs()),
        if move_mm < 0.0 { "toward" } else { "away from" }
    )
}

fn pack_words(pack: &Pack, units: Units) -> String {
    if (pack.to_mm - pack.from_mm).abs() < 1e-9 {
        return format!("{} stays", units.shim(pack.from_mm));
    }
    let mut words = format!("{} → {}", units.shim(pack.from_mm), units.shim(pack.to_mm));
    if !pack.stack_mm.is_empty() {
        let parts: Vec<String> = pack.stack_mm.iter().map(|mm| units.shim(*mm)).collect();
        words.push_str(&format!(" = {}", parts.join(" + ")));
    }
    words
}
