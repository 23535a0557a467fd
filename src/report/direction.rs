//! A direction without a card, as text for a terminal.

use super::advice::flank_line;
use crate::schema::direction::Direction;
use std::fmt::Write as _;

/// The direction in plain lines, ending with a newline.
pub(crate) fn direction_text(direction: &Direction) -> String {
    let mut out = format!("WITHOUT A CARD: {}\n", direction.summary);
    for (name, found) in [
        ("drive", &direction.diagnosis.drive),
        ("coast", &direction.diagnosis.coast),
    ] {
        out.push_str(&flank_line(name, found.as_ref()));
    }
    let found = &direction.diagnosis;
    if found.drive.is_none() || found.coast.is_none() {
        // One flank tells no way: a line is enough.
        return out + &format!("  {}\n", direction.why.join(" "));
    }
    // Writing to a string cannot fail.
    let _ = writeln!(out, "\nWhy");
    for (number, sentence) in (1..).zip(&direction.why) {
        let _ = writeln!(out, "  {number}. {sentence}");
    }
    let _ = writeln!(out, "\nCautions");
    for caution in &direction.cautions {
        let _ = writeln!(out, "  - {caution}");
    }
    let _ = writeln!(out, "\n{}", direction.card_would_add);
    out
}
