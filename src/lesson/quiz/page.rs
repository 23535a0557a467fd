//! The quiz as one page that needs nothing else.

use super::{Quiz, score};
use crate::contact::Misalignment;
use crate::contact::patch::SOFTNESS;
use crate::lesson::explore::{SetData, set_data};
use crate::report::draw::page::jpeg;
use crate::units::Units;
use crate::{Error, Result};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use serde::Serialize;
use sha2::{Digest as _, Sha256};
use std::path::Path;

#[derive(Serialize)]
struct PageData {
    units: &'static str,
    seed: u64,
    /// What tells the answers to one page from those to another with the same seed.
    print: String,
    softness: f64,
    points: [u32; 3],
    nearly: f64,
    hopeless: f64,
    off_mm: f64,
    sets: Vec<SetData>,
    questions: Vec<QuestionData>,
}

#[derive(Serialize)]
struct QuestionData {
    number: u32,
    level: u32,
    set: usize,
    pinion_mm: f64,
    ring_mm: f64,
    backlash_mm: f64,
    drive_first: bool,
    photos: Vec<String>,
}

/// The page with the first `count` questions; photos of a size in pixels. `done` hears of every
/// question that is drawn.
///
/// # Errors
/// Questions that do not exist; teeth that cannot be cut.
pub(crate) fn page(
    quiz: &Quiz,
    count: u32,
    size: (u32, u32),
    units: Units,
    done: &mut dyn FnMut(u32),
) -> Result<String> {
    let mut questions = Vec::new();
    for number in 1..=count {
        let question = quiz.question(number)?;
        let photos = quiz.photos(&question, size)?;
        questions.push(QuestionData {
            number,
            level: question.level,
            set: question.set,
            pinion_mm: question.misalignment.pinion_mm,
            ring_mm: question.misalignment.ring_mm,
            backlash_mm: quiz.case(&question, Misalignment::default()).backlash_mm,
            drive_first: question.drive_first,
            photos: photos
                .iter()
                .map(|photo| {
                    let bytes = STANDARD.encode(jpeg(&photo.picture));
                    format!("data:image/jpeg;base64,{bytes}")
                })
                .collect(),
        });
        done(number);
    }
    let sets: Vec<SetData> = quiz.sets.iter().map(set_data).collect();
    let name = |error: serde_json::Error| Error::machine(Path::new("the page"), error.into());
    let print = Sha256::digest(serde_json::to_vec(&sets).map_err(name)?);
    let data = PageData {
        units: match units {
            Units::Mm => "mm",
            Units::In => "thou",
        },
        seed: quiz.seed,
        print: STANDARD.encode(&print[..6]),
        softness: SOFTNESS,
        points: score::POINTS,
        nearly: score::NEARLY,
        hopeless: score::HOPELESS,
        off_mm: score::OFF_MM,
        sets,
        questions,
    };
    // A card's name must not end the script it stands in.
    let data = serde_json::to_string(&data)
        .map_err(name)?
        .replace('<', "\\u003c");
    let script = [
        include_str!("../explore/contact.js"),
        include_str!("../explore/flank_view.js"),
        include_str!("page.js"),
    ]
    .concat();
    Ok(include_str!("page.html")
        .replace("@CSS@", include_str!("../explore/page.css"))
        .replace("@SCRIPT@", &script)
        .replace("@DATA@", &data))
}
