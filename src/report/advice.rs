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
    let first = match advice.summary.as_str() {
        "" => headline(advice.verdict),
        summary => summary,
    };
    writeln!(out, "{first}")?;
    flank(out, "drive", advice.diagnosis.drive.as_ref())?;
    flank(out, "coast", advice.diagnosis.coast.as_ref())?;
    if let Some(change) = advice.change
        && advice.verdict != Verdict::Good
    {
        writeln!(out)?;
        gear_move(out, "pinion", change.pinion_mm, "ring gear", units)?;
        gear_move(out, "ring gear", change.ring_mm, "pinion", units)?;
        if let Some(shims) = &advice.shims {
            pack(out, "pinion pack", shims.pinion.as_ref(), units)?;
            pack(out, "ring-side pack", shims.ring_side.as_ref(), units)?;
            pack(out, "far-side pack", shims.far_side.as_ref(), units)?;
            if let Some(notches) = shims.ring_notches {
                let words = match notches {
                    0 => "stay".to_owned(),
                    turn => adjusters(turn),
                };
                writeln!(out, "  adjusters       {words}")?;
            }
        }
    }
    if let Some(predicted) = &advice.predicted {
        let band = &predicted.band;
        writeln!(out)?;
        for (name, at, band) in [
            ("drive", predicted.drive, band.drive),
            ("coast", predicted.coast, band.coast),
        ] {
            writeln!(
                out,
                "  expected {name}  length {:.2} ± {:.2}, height {:.2} ± {:.2}",
                at.length, band.length, at.height, band.height
            )?;
        }
        writeln!(
            out,
            "  expected backlash  {} ± {}",
            units.shim(predicted.backlash_mm),
            units.shim(band.backlash_mm)
        )?;
    }
    if let Some(chance) = advice.chance {
        writeln!(out, "  chance of being right  {:.0} %", 100.0 * chance)?;
    }
    if let Some(next) = advice.runner_up {
        writeln!(out, "  next best, {:.0} %:", 100.0 * next.chance)?;
        gear_move(out, "  pinion", next.pinion_mm, "ring gear", units)?;
        gear_move(out, "  ring gear", next.ring_mm, "pinion", units)?;
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

fn flank(out: &mut String, name: &str, found: Option<&FlankDiagnosis>) -> std::fmt::Result {
    match found {
        Some(found) => writeln!(
            out,
            "  {name}  {:<10} length {:+.2}, height {:+.2} from target",
            found.words, found.length, found.height
        ),
        None => writeln!(out, "  {name}  not read"),
    }
}

fn gear_move(
    out: &mut String,
    gear: &str,
    move_mm: f64,
    mate: &str,
    units: Units,
) -> std::fmt::Result {
    if move_mm == 0.0 {
        return writeln!(out, "  {gear:<14}  stays");
    }
    writeln!(
        out,
        "  {gear:<14}  {} {} the {mate}",
        units.shim(move_mm.abs()),
        if move_mm < 0.0 { "toward" } else { "away from" }
    )
}

fn pack(out: &mut String, name: &str, pack: Option<&Pack>, units: Units) -> std::fmt::Result {
    let Some(pack) = pack else { return Ok(()) };
    if (pack.to_mm - pack.from_mm).abs() < 1e-9 {
        return writeln!(out, "  {name:<14}  {} stays", units.shim(pack.from_mm));
    }
    write!(
        out,
        "  {name:<14}  {} → {}",
        units.shim(pack.from_mm),
        units.shim(pack.to_mm)
    )?;
    if !pack.stack_mm.is_empty() {
        let parts: Vec<String> = pack.stack_mm.iter().map(|mm| units.shim(*mm)).collect();
        write!(out, " = {}", parts.join(" + "))?;
    }
    writeln!(out)
}
