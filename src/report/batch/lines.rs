//! A batch as JSON Lines: one line a photo, one line a set.

use super::letter::Letter;
use crate::batch::group::Plan;
use crate::batch::judge::{PhotoVerdict, SetVerdict, photo_verdict};
use crate::batch::run::{Found, page_name};
use crate::batch::shown::{encoded, shown};
use crate::batch::store::Record;
use crate::batch::summary::BatchResult;
use crate::frames::Side;
use crate::schema::direction::Direction;
use crate::schema::{Advice, FlankDiagnosis, Reading};
use schemars::JsonSchema;
use serde::Serialize;

/// Value of the `schema` field of a set's line.
pub(crate) const SET_SCHEMA: &str = "flankread/batch-set/1";

/// A photo's line: its reading (`flankread/reading/1`) with what the batch knows of it.
#[derive(Serialize, JsonSchema)]
pub(crate) struct PhotoLine<'a> {
    #[serde(flatten)]
    reading: Reading,
    batch: About<'a>,
}

#[derive(Serialize, JsonSchema)]
struct About<'a> {
    set: &'a str,
    verdict: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    diagnosis: Option<&'a FlankDiagnosis>,
    /// The path's bytes, percent-encoded, when they are no UTF-8.
    #[serde(skip_serializing_if = "Option::is_none")]
    path_encoded: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    page: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    same_as: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    like: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    problem: Option<&'a crate::batch::ask::Problem>,
}

/// The line of a photo, with its line end. What only the whole lot tells (copies) is in it where
/// `lot` is given.
pub(crate) fn photo_line(
    plan: &Plan,
    at: usize,
    record: &Record,
    lot: Option<&BatchResult>,
) -> String {
    let item = &plan.items[at];
    let set = &plan.sets[item.set];
    let mut reading = record.reading.clone();
    reading.photo.path = shown(&item.path);
    let verdict: PhotoVerdict = match lot {
        Some(lot) => lot.photos[at].clone(),
        None => photo_verdict(&Found::of(record), set),
    };
    let path_of = |other: Option<usize>| other.map(|other| shown(&plan.items[other].path));
    let line = PhotoLine {
        reading,
        batch: About {
            set: &set.name,
            verdict: verdict.verdict.word(),
            diagnosis: verdict.diagnosis.as_ref(),
            path_encoded: encoded(&item.path),
            page: record
                .likeness
                .is_some()
                .then(|| format!("readings/{}", page_name(&record.key))),
            same_as: path_of(lot.and_then(|lot| lot.same_as[at])),
            like: path_of(lot.and_then(|lot| lot.like[at])),
            problem: record.problem.as_ref(),
        },
    };
    to_line(&line)
}

/// A set's line.
#[derive(Serialize, JsonSchema)]
pub(crate) struct SetLine<'a> {
    /// Always `flankread/batch-set/1`.
    schema: &'static str,
    /// The set's name.
    set: &'a str,
    /// The customer's name, from the list.
    #[serde(skip_serializing_if = "Option::is_none")]
    customer: Option<&'a str>,
    /// The order's number, from the list.
    #[serde(skip_serializing_if = "Option::is_none")]
    order: Option<&'a str>,
    /// How soon, and what about.
    verdict: &'static str,
    /// Largest distance of a patch from its target, in tolerances.
    distance: f64,
    photos: Vec<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    drive: Option<FlankLine<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    coast: Option<FlankLine<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    advice: Option<&'a Advice>,
    /// Why there is no advice.
    #[serde(skip_serializing_if = "Option::is_none")]
    no_advice: Option<&'a str>,
    /// Which way to move the gears, where there is no card, or all that a card's advice lacks is a number.
    #[serde(skip_serializing_if = "Option::is_none")]
    direction: Option<&'a Direction>,
    /// What could be sent back to the owner.
    reply: String,
}

/// The photo that speaks for a flank.
#[derive(Serialize, JsonSchema)]
struct FlankLine<'a> {
    photo: String,
    sure: bool,
    contradicted: bool,
    diagnosis: &'a FlankDiagnosis,
}

/// The line of a set, with its line end.
pub(crate) fn set_line(lot: &BatchResult, set: usize, letter: &Letter) -> String {
    let about = &lot.plan.sets[set];
    let verdict: &SetVerdict = &lot.sets[set];
    let path = |at: &usize| shown(&lot.plan.items[*at].path);
    let flank = |side: Side| {
        let place = Side::BOTH.iter().position(|other| *other == side)?;
        verdict.flanks[place].as_ref().map(|seen| FlankLine {
            photo: path(&seen.photo),
            sure: seen.sure,
            contradicted: seen.contradicted,
            diagnosis: &seen.diagnosis,
        })
    };
    to_line(&SetLine {
        schema: SET_SCHEMA,
        set: &about.name,
        customer: about.client.customer.as_deref(),
        order: about.client.order.as_deref(),
        verdict: verdict.verdict.word(),
        distance: (verdict.distance * 1e4).round() / 1e4,
        photos: about.photos.iter().map(path).collect(),
        drive: flank(Side::Drive),
        coast: flank(Side::Coast),
        advice: verdict.advice.as_ref(),
        no_advice: verdict.no_advice.as_deref(),
        direction: verdict.direction.as_ref(),
        reply: letter.reply(lot, set),
    })
}

fn to_line(value: &impl Serialize) -> String {
    // Maps with text keys and numbers always have a JSON form.
    let mut line = serde_json::to_string(value).unwrap_or_default();
    line.push('\n');
    line
}
