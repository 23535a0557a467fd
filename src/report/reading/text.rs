//! A reading as text for a terminal.

use crate::frames::Side;
use crate::report::advice::advice_text;
use crate::report::direction::direction_text;
use crate::schema::read::ReadAnswer;
use crate::schema::{Cutting, Reading, SeenCutting, Source, Status};
use crate::units::Units;
use comfy_table::{CellAlignment, Table, presets};
use std::fmt::Write as _;

/// Readings and what follows from them in plain lines, ending with a newline.
pub(crate) fn answer_text(answer: &ReadAnswer, units: Units) -> String {
    let mut out: String = answer.readings.iter().map(reading_text).collect();
    if let Some(advice) = &answer.advice {
        out.push('\n');
        out.push_str(&advice_text(advice, units));
    }
    if let Some(why) = &answer.no_advice {
        let _ = writeln!(out, "\nNo advice: {why}");
    }
    if let Some(direction) = &answer.direction {
        out.push('\n');
        out.push_str(&direction_text(direction));
    }
    out
}

/// The reading in plain lines, ending with a newline.
pub(crate) fn reading_text(reading: &Reading) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "{}: {}", reading.photo.name(), headline(reading));
    for reason in &reading.reasons {
        let _ = writeln!(out, "  {}", reason.message);
    }
    if let Some(cutting) = reading.cutting {
        let _ = writeln!(out, "  cut     {}", cutting_words(cutting));
    }
    if let (Some(mean), Some(uncertainty)) = (reading.mean, reading.uncertainty) {
        let percent = |share: f64| 100.0 * share;
        let _ = writeln!(
            out,
            "  centre  {:.0} ± {:.0} % of the length from the toe, {:.0} ± {:.0} % of the height from the root; each ± holds in 9 of 10 photos",
            percent(mean.centre.length),
            percent(uncertainty.length),
            percent(mean.centre.height),
            percent(uncertainty.height)
        );
        let _ = writeln!(
            out,
            "  size    {:.0} % of the length, {:.0} % of the height; slant {}; {} of {} teeth count",
            percent(mean.extent.length),
            percent(mean.extent.height),
            degrees(mean.lean_deg),
            mean.teeth,
            reading.teeth.len()
        );
        let _ = writeln!(out, "{}", teeth_table(reading));
    }
    out
}

/// How the teeth look cut, and how sure that is.
pub(crate) fn cutting_words(seen: SeenCutting) -> String {
    let look = match seen.method {
        Cutting::FaceMilled => "face-milled, for the teeth taper towards the toe",
        Cutting::FaceHobbed => "face-hobbed, for the teeth are as deep at the toe as at the heel",
    };
    format!(
        "{look} ({:.0} in 100 that look so are)",
        100.0 * seen.probability
    )
}

/// What the reading is, in a few words.
pub(crate) fn headline(reading: &Reading) -> String {
    let flank = match reading.flank {
        Some(flank) => {
            let side = match flank.side {
                Side::Drive => "drive flank",
                Side::Coast => "coast flank",
            };
            match flank.source {
                Source::Inferred => format!("{side} (told from the picture)"),
                Source::Given | Source::Marked => side.to_owned(),
            }
        }
        None => "flank not known".to_owned(),
    };
    let status = match reading.status {
        Status::Read => "read",
        Status::Unsure => "unsure, confirm before changing shims",
        Status::Unreadable => return "cannot be read".to_owned(),
    };
    match &reading.compound {
        Some(compound) => format!("{flank}, {} compound, {status}", compound.colour),
        None => format!("{flank}, {status}"),
    }
}

/// Whole degrees with their sign; none before nought.
pub(crate) fn degrees(value: f64) -> String {
    let whole = value.round();
    if whole == 0.0 {
        "0°".to_owned()
    } else {
        format!("{whole:+.0}°")
    }
}

fn teeth_table(reading: &Reading) -> Table {
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    table.set_header(["  tooth", "length", "height", "area", "slant", "confidence"]);
    for (number, tooth) in reading.teeth.iter().enumerate() {
        let confidence = format!("{:.2}", tooth.confidence);
        let name = format!("  {}", number + 1);
        match tooth.patch {
            Some(patch) => table.add_row([
                name,
                format!("{:.0} %", 100.0 * patch.centre.length),
                format!("{:.0} %", 100.0 * patch.centre.height),
                format!("{:.0} %", 100.0 * patch.area),
                degrees(patch.lean_deg),
                confidence,
            ]),
            None => table.add_row([
                name,
                "none".to_owned(),
                String::new(),
                String::new(),
                String::new(),
                confidence,
            ]),
        };
    }
    for column in table.column_iter_mut() {
        column.set_cell_alignment(CellAlignment::Right);
    }
    table
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nought_degrees_have_no_sign() {
        assert_eq!(degrees(-0.3), "0°");
        assert_eq!(degrees(3.6), "+4°");
        assert_eq!(degrees(-2.0), "-2°");
    }
}
