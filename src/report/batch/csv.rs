//! A batch as a table for spreadsheets.

use crate::batch::ask::code_word;
use crate::batch::run::page_name;
use crate::batch::shown::shown;
use crate::batch::summary::BatchResult;
use crate::schema::Source;

/// The columns. Lengths and heights are shares of the flank.
const HEADS: [&str; 20] = [
    "path",
    "set",
    "verdict",
    "status",
    "flank",
    "flank_from",
    "length",
    "height",
    "length_uncertainty",
    "height_uncertainty",
    "length_offset",
    "height_offset",
    "words",
    "teeth",
    "reasons",
    "same_as",
    "like",
    "problem",
    "page",
    "sha256",
];

/// One row a photo, in the order of the paths.
pub(crate) fn batch_csv(lot: &BatchResult) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Writing to memory cannot fail.
    let _ = writer.write_record(HEADS);
    for (at, found) in lot.found.iter().enumerate() {
        let item = &lot.plan.items[at];
        let verdict = &lot.photos[at];
        let share = |value: Option<f64>| value.map_or(String::new(), |v| format!("{v:.4}"));
        let mean = found.mean;
        let diagnosis = verdict.diagnosis.as_ref();
        let path = |other: Option<usize>| {
            other.map_or(String::new(), |other| shown(&lot.plan.items[other].path))
        };
        let codes: Vec<String> = found.reasons.iter().map(|r| code_word(r.code)).collect();
        let row = [
            not_a_formula(&shown(&item.path)),
            not_a_formula(&lot.plan.sets[item.set].name),
            verdict.verdict.word().into(),
            found.status.word().into(),
            found
                .flank
                .map_or(String::new(), |flank| flank.side.word().into()),
            found.flank.map_or(String::new(), |flank| {
                match flank.source {
                    Source::Given => "given",
                    Source::Marked => "marked",
                    Source::Inferred => "inferred",
                }
                .into()
            }),
            share(mean.map(|mean| mean.centre.length)),
            share(mean.map(|mean| mean.centre.height)),
            share(found.uncertainty.map(|u| u.length)),
            share(found.uncertainty.map(|u| u.height)),
            share(diagnosis.map(|d| d.length)),
            share(diagnosis.map(|d| d.height)),
            diagnosis.map_or(String::new(), |d| d.words.clone()),
            mean.map_or(String::new(), |mean| mean.teeth.to_string()),
            codes.join(" "),
            not_a_formula(&path(lot.same_as[at])),
            not_a_formula(&path(lot.like[at])),
            not_a_formula(found.problem.as_ref().map_or("", |p| &p.message)),
            found
                .key
                .as_ref()
                .filter(|_| found.has_pictures())
                .map_or(String::new(), |key| format!("readings/{}", page_name(key))),
            found.sha256.clone(),
        ];
        let _ = writer.write_record(&row);
    }
    let bytes = writer.into_inner().unwrap_or_default();
    String::from_utf8_lossy(&bytes).into_owned()
}

/// A text that came from outside. Spreadsheets take one that begins like a formula for one, and run
/// it: an apostrophe before it keeps it a text.
pub(crate) fn not_a_formula(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_never_a_formula() {
        assert_eq!(not_a_formula("=cmd()|x.jpg"), "'=cmd()|x.jpg");
        assert_eq!(not_a_formula("-1.jpg"), "'-1.jpg");
        assert_eq!(not_a_formula("in/=a.jpg"), "in/=a.jpg");
    }
}
