//! A station's answer as text: the answer first, then formula, numbers and result line by line.

use crate::setup::Answer;
use std::fmt::Write as _;

/// The answer in plain lines, ending with a newline.
pub(crate) fn setup_text(answer: &Answer) -> String {
    let mut out = format!("{}\n", answer.says);
    if !answer.steps.is_empty() {
        out.push('\n');
    }
    for step in &answer.steps {
        // Writing to a string cannot fail.
        let _ = writeln!(out, "  {}: {}", step.what, step.formula);
        let _ = writeln!(out, "      {}  →  {}", step.numbers, step.result);
    }
    for (title, lines) in [("Note", &answer.remarks), ("Cautions", &answer.cautions)] {
        if !lines.is_empty() {
            let _ = writeln!(out, "\n{title}");
            for line in lines {
                let _ = writeln!(out, "  - {line}");
            }
        }
    }
    out
}
