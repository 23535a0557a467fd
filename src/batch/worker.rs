//! One request a line in, one answer a line out, in order: for programs that spread work over
//! processes and machines.

use super::BatchError;
use super::ask::{MarksFrom, PhotoRequest, PhotoSettings, Problem, ProblemKind};
use super::fetch::Fetcher;
use crate::flank::KnownGear;
use crate::frames::Side;
use crate::rules::diagnose;
use crate::schema::{Card, FlankDiagnosis, FlankForm, Polarity, Reading};
use crate::trade_words::misspelt;
use clap::ValueEnum;
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value};
use std::io::{BufRead, Read as _, Write};
use std::path::Path;

/// Value of the `schema` field of an [`Answered`].
pub(crate) const SCHEMA: &str = "flankread/answer/1";

/// A request is a path and a few words, with marks and a card at most some dozen kilobytes.
const MOST_LINE_BYTES: usize = 1 << 20;

/// The fields of a request.
pub(crate) const FIELDS: [&str; 9] = [
    "id",
    "photo",
    "flank",
    "toe",
    "polarity",
    "drives_on",
    "mirrored",
    "marks",
    "card",
];

/// A request, for the published schema; what is read goes field by field, so that each fault can be named.
#[derive(Debug, JsonSchema)]
#[expect(dead_code, reason = "its shape is all that is wanted of it")]
pub(crate) struct RequestLine {
    /// The request's own mark, given back as it came.
    id: Option<Value>,
    /// A path, or an address where the program was built for object stores.
    photo: String,
    /// Which flank the photo shows: drive or coast.
    flank: Option<String>,
    /// Which end is the toe: left, right, up or down.
    toe: Option<String>,
    /// How contact shows: wiped or transferred.
    polarity: Option<String>,
    /// Which flank drives: convex or concave.
    drives_on: Option<String>,
    /// The photo shows the gear mirrored.
    mirrored: Option<bool>,
    /// A path, or the marks themselves.
    marks: Option<Value>,
    /// A path, or the card itself.
    card: Option<Value>,
}

/// The answer to one line.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct Answered {
    /// Always [`SCHEMA`].
    pub schema: &'static str,
    /// The request's line, from 1.
    pub line: u64,
    /// The request's own mark, given back as it came.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub id: Option<Value>,
    /// The reading.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reading: Option<Reading>,
    /// The patch against the card's target.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub diagnosis: Option<FlankDiagnosis>,
    /// Why there is no reading, or one without numbers.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub error: Option<WorkerError>,
}

/// What went wrong with one line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub(crate) struct WorkerError {
    /// Which kind.
    pub kind: WorkerErrorKind,
    /// What is wrong and what to do.
    pub message: String,
}

/// What a caller can do about it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum WorkerErrorKind {
    /// The request is at fault; asking again gives the same.
    Request,
    /// The photo could not be had; asking again may help.
    Fetch,
    /// The file is no photo.
    Photo,
    /// The marks cannot be used.
    Marks,
    /// The program broke off on this photo.
    Program,
}

/// How a run of requests went.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Served {
    /// Lines answered.
    pub lines: u64,
    /// Of these, with a reading that has numbers.
    pub readable: u64,
}

/// A request as it will be carried out.
#[derive(Debug)]
struct Request {
    photo: String,
    said: PhotoSettings,
    card: Option<Card>,
}

/// Answers every line of `input` on `output` until the input ends or nobody reads the answers any
/// more. Memory does not grow with the number of lines.
///
/// # Errors
/// Input or output breaks. Whatever is wrong with a line is in its answer.
pub(crate) fn serve(
    mut input: impl BufRead,
    mut output: impl Write,
    fetcher: &mut Fetcher,
) -> Result<Served, BatchError> {
    let failed = |path: &str, source| BatchError::Store {
        path: path.into(),
        source,
    };
    let mut served = Served::default();
    let mut line = Vec::new();
    loop {
        let whole = next_line(&mut input, &mut line).map_err(|e| failed("standard input", e))?;
        let Some(whole) = whole else {
            return Ok(served);
        };
        served.lines += 1;
        let answer = if whole {
            answer(&line, served.lines, fetcher)
        } else {
            refused(
                served.lines,
                format!("the line is longer than {MOST_LINE_BYTES} bytes"),
            )
        };
        let has_numbers = |reading: &Reading| reading.mean.is_some();
        served.readable += u64::from(answer.reading.as_ref().is_some_and(has_numbers));
        let mut text =
            serde_json::to_vec(&answer).map_err(|error| failed("standard output", error.into()))?;
        text.push(b'\n');
        match output.write_all(&text).and_then(|()| output.flush()) {
            Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => return Ok(served),
            other => other.map_err(|error| failed("standard output", error))?,
        }
    }
}

/// Reads one line without its end. `None` at the end of the input; false for a line that is too
/// long, which is passed over.
fn next_line(input: &mut impl BufRead, line: &mut Vec<u8>) -> std::io::Result<Option<bool>> {
    line.clear();
    let mut piece = || -> std::io::Result<usize> {
        line.clear();
        input
            .by_ref()
            .take(MOST_LINE_BYTES as u64 + 1)
            .read_until(b'\n', line)
    };
    if piece()? == 0 {
        return Ok(None);
    }
    let mut whole = true;
    while line.last() != Some(&b'\n') && line.len() > MOST_LINE_BYTES {
        whole = false;
        line.clear();
        let count = input
            .by_ref()
            .take(MOST_LINE_BYTES as u64 + 1)
            .read_until(b'\n', line)?;
        if count == 0 {
            break;
        }
    }
    while line.last().is_some_and(u8::is_ascii_whitespace) {
        line.pop();
    }
    Ok(Some(whole))
}

fn refused(line: u64, message: String) -> Answered {
    Answered {
        schema: SCHEMA,
        line,
        id: None,
        reading: None,
        diagnosis: None,
        error: Some(WorkerError {
            kind: WorkerErrorKind::Request,
            message,
        }),
    }
}

fn answer(bytes: &[u8], line: u64, fetcher: &mut Fetcher) -> Answered {
    let value: Value = match serde_json::from_slice(bytes) {
        Ok(value) => value,
        Err(error) => return refused(line, format!("the line is not valid JSON: {error}")),
    };
    let Value::Object(mut object) = value else {
        return refused(
            line,
            "the line must be a JSON object like {\"photo\":\"drive.jpg\"}".into(),
        );
    };
    let id = object.remove("id");
    let mut answered = match request(&object) {
        Ok(request) => carry_out(&request, line, fetcher),
        Err(message) => refused(line, message),
    };
    answered.id = id;
    answered
}

fn carry_out(request: &Request, line: u64, fetcher: &mut Fetcher) -> Answered {
    let mut said = request.said.clone();
    let fetched = fetcher
        .fetch(&request.photo)
        .and_then(|photo| match &said.marks {
            Some(MarksFrom::File(marks)) => {
                let fetched = fetcher.fetch(&marks.to_string_lossy())?;
                said.marks = Some(MarksFrom::File(fetched.path().to_owned()));
                Ok((photo, Some(fetched)))
            }
            _ => Ok((photo, None)),
        });
    let (photo, _marks) = match fetched {
        Ok(fetched) => fetched,
        Err(message) => {
            let mut answered = refused(line, message);
            if let Some(error) = &mut answered.error {
                error.kind = WorkerErrorKind::Fetch;
            }
            return answered;
        }
    };
    let ready = PhotoRequest::new(photo.path(), &said);
    let answer = ready.answer(&request.photo);
    let reading = answer.read.reading;
    let error = answer.problem.map(|problem| WorkerError {
        kind: kind_of(&problem, answer.lasting),
        message: problem.message,
    });
    let diagnosis = request.card.as_ref().and_then(|card| {
        let (flank, mean) = reading.flank.zip(reading.mean)?;
        Some(diagnose::flank(
            mean.centre,
            card.target.of(flank.side),
            card.target.tolerance,
        ))
    });
    Answered {
        schema: SCHEMA,
        line,
        id: None,
        reading: Some(reading),
        diagnosis,
        error,
    }
}

const fn kind_of(problem: &Problem, lasting: bool) -> WorkerErrorKind {
    match problem.kind {
        ProblemKind::Photo if lasting => WorkerErrorKind::Photo,
        ProblemKind::Photo => WorkerErrorKind::Fetch,
        ProblemKind::Marks => WorkerErrorKind::Marks,
        ProblemKind::Program => WorkerErrorKind::Program,
    }
}

fn request(object: &Map<String, Value>) -> Result<Request, String> {
    for key in object.keys() {
        if !FIELDS.contains(&key.as_str()) {
            let nearest = misspelt(key, FIELDS).map_or_else(
                || format!("known are {}", FIELDS.join(", ")),
                |nearest| format!("the nearest known field is `{nearest}`"),
            );
            return Err(format!("`{key}` is not known; {nearest}"));
        }
    }
    let photo = text(object, "photo")?
        .filter(|photo| !photo.is_empty())
        .ok_or("`photo` is missing: give a path or an address")?;
    let card = match object.get("card") {
        None | Some(Value::Null) => None,
        Some(Value::String(path)) => {
            Some(Card::read(Path::new(path)).map_err(|error| error.to_string())?)
        }
        Some(value) => Some(Card::from_json(value).map_err(|error| format!("`card`: {error}"))?),
    };
    let marks = match object.get("marks") {
        None | Some(Value::Null) => None,
        Some(Value::String(path)) => Some(MarksFrom::File(path.into())),
        Some(value) => Some(MarksFrom::Text(value.to_string())),
    };
    let drives_on = word::<FlankForm>(object, "drives_on")?;
    Ok(Request {
        photo,
        said: PhotoSettings {
            flank: word::<Side>(object, "flank")?,
            named: None,
            toe: word(object, "toe")?,
            polarity: word::<Polarity>(object, "polarity")?,
            drives_on: drives_on.or(card.as_ref().map(|card| card.gear.drives_on)),
            hand: card.as_ref().and_then(|card| card.gear.hand),
            gear: card.as_ref().map(KnownGear::of_card).unwrap_or_default(),
            mirrored: flag(object, "mirrored")?,
            marks,
        },
        card,
    })
}

fn flag(object: &Map<String, Value>, key: &str) -> Result<bool, String> {
    match object.get(key) {
        None | Some(Value::Null) => Ok(false),
        Some(Value::Bool(flag)) => Ok(*flag),
        Some(other) => Err(format!("`{key}` must be true or false, not {other}")),
    }
}

fn text(object: &Map<String, Value>, key: &str) -> Result<Option<String>, String> {
    match object.get(key) {
        None | Some(Value::Null) => Ok(None),
        Some(Value::String(text)) => Ok(Some(text.clone())),
        Some(other) => Err(format!("`{key}` must be a text, not {other}")),
    }
}

fn word<T: ValueEnum>(object: &Map<String, Value>, key: &str) -> Result<Option<T>, String> {
    let Some(text) = text(object, key)? else {
        return Ok(None);
    };
    T::from_str(&text, true).map(Some).map_err(|_| {
        let known: Vec<String> = T::value_variants()
            .iter()
            .filter_map(|value| Some(value.to_possible_value()?.get_name().to_owned()))
            .collect();
        format!(
            "`{key}` is `{text}`: it must be one of {}",
            known.join(", ")
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn painted(name: &str) -> String {
        format!("{}/fixtures/painted/{name}", env!("CARGO_MANIFEST_DIR"))
    }

    fn answers(input: &[u8]) -> (Vec<Value>, Served) {
        let mut output = Vec::new();
        let served = serve(input, &mut output, &mut Fetcher::default()).unwrap();
        let text = String::from_utf8(output).unwrap();
        let lines = text.lines().map(|line| serde_json::from_str(line).unwrap());
        (lines.collect(), served)
    }

    #[test]
    fn each_line_gets_its_answer_in_order_whatever_is_wrong_with_others() {
        let photo = painted("drive-yellow.jpg");
        let mut input = Vec::new();
        let good = json!({"id": 7, "photo": photo}).to_string();
        for line in [
            good.as_bytes(),
            b"",
            b"{\"photo\":",
            b"\xff\xfe",
            b"[1,2]",
            br#"{"id":"x","phto":"a.jpg"}"#,
            br#"{"photo":"no such file.jpg"}"#,
            br#"{"photo":"a.jpg","flank":"left"}"#,
            br#"{"photo":"a.jpg","card":{"gear":{}}}"#,
            json!({"photo": format!("{}/Cargo.toml", env!("CARGO_MANIFEST_DIR"))})
                .to_string()
                .as_bytes(),
        ] {
            input.extend_from_slice(line);
            input.push(b'\n');
        }
        input.extend(std::iter::repeat_n(b'x', 3 * MOST_LINE_BYTES));
        input.push(b'\n');
        // The last line may have no end.
        input.extend_from_slice(good.as_bytes());
        let (answers, served) = answers(&input);
        let kinds: Vec<&str> = answers
            .iter()
            .map(|answer| answer["error"]["kind"].as_str().unwrap_or("none"))
            .collect();
        assert_eq!(
            kinds,
            [
                "none", "request", "request", "request", "request", "request", "fetch", "request",
                "request", "photo", "request", "none"
            ]
        );
        assert_eq!((served.lines, served.readable), (12, 2));
        for (number, answer) in (1..).zip(&answers) {
            assert_eq!(answer["line"], number);
        }
        assert_eq!(answers[0]["id"], 7);
        assert_eq!(answers[0]["reading"]["status"], "read");
        assert_eq!(answers[0]["reading"]["photo"]["path"], photo);
        assert_eq!(answers[5]["id"], "x");
        let message = answers[5]["error"]["message"].as_str().unwrap();
        assert!(
            message.contains("nearest known field is `photo`"),
            "{message}"
        );
        assert_eq!(answers[9]["reading"]["reasons"][0]["code"], "not_an_image");
        let long = answers[10]["error"]["message"].as_str().unwrap();
        assert!(long.contains("longer than"), "{long}");
    }

    #[test]
    fn marks_and_card_may_stand_in_the_request() {
        let photo = painted("drive-yellow.jpg");
        let marks = std::fs::read_to_string(painted("drive-yellow.jpg.marks.json")).unwrap();
        let marks: Value = serde_json::from_str(&marks).unwrap();
        let folder = tempfile::tempdir().unwrap();
        let alone = folder.path().join("alone.jpg");
        std::fs::copy(&photo, &alone).unwrap();
        let card = format!(
            "{}/fixtures/cards/larchfield-8in.toml",
            env!("CARGO_MANIFEST_DIR")
        );
        let request = json!({"photo": alone, "marks": marks, "card": card, "flank": "drive"});
        let (answers, _) = answers(request.to_string().as_bytes());
        let answer = &answers[0];
        assert_eq!(answer["reading"]["status"], "read", "{answer}");
        // Painted at (0.62, 0.66) of the drive flank (fixtures/painted/paint.py), right of and
        // above the card's target.
        assert_eq!(answer["diagnosis"]["words"], "high heel");
    }
}
