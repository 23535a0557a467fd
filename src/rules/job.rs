//! A job: a card with its trials so far, `flankread/job/1`.

use super::RulesError;
use super::calibration::CALIBRATION;
use super::time::Instant;
use crate::frames::Side;
use crate::schema::Card;
use crate::schema::Trial;
use crate::units::possible;
use crate::{Error, Result};
use serde_json::Value;
use std::path::Path;

/// Value of the `schema` field of a job.
pub(crate) const SCHEMA: &str = "flankread/job/1";

impl Trial {
    /// Whether the photo of `side` was taken before the shims were last changed.
    ///
    /// # Errors
    /// A time that cannot be read.
    pub fn photo_is_stale(&self, side: Side) -> std::result::Result<bool, RulesError> {
        let (Some(assembled), Some(taken)) = (
            self.assembled.as_deref(),
            self.reading(side)
                .and_then(|reading| reading.taken.as_deref()),
        ) else {
            return Ok(false);
        };
        Ok(Instant::parse(taken)? < Instant::parse(assembled)?)
    }
}

/// A card with its trials.
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    /// The gear set.
    pub card: Card,
    /// The assemblies so far, oldest first.
    pub trials: Vec<Trial>,
    /// Remarks on what the job's text held beside what is used.
    pub remarks: Vec<String>,
}

/// A job as it is written, for the published schema; what is read goes part by part, so that each fault can be named.
#[cfg(feature = "cli")]
#[derive(Debug, schemars::JsonSchema)]
#[expect(dead_code, reason = "its shape is all that is wanted of it")]
pub(crate) struct JobDocument {
    /// `flankread/job/1`; may be left out.
    schema: Option<String>,
    /// The card, or where it is.
    card: CardOrPath,
    /// The assemblies so far, oldest first.
    trials: Vec<Trial>,
}

/// A card itself or the path of its TOML file, from the job's own folder.
#[cfg(feature = "cli")]
#[derive(Debug, schemars::JsonSchema)]
#[serde(untagged)]
#[expect(dead_code, reason = "its shape is all that is wanted of it")]
enum CardOrPath {
    Path {
        /// Of the TOML file.
        path: String,
    },
    Card(Box<Card>),
}

impl Job {
    /// Reads a job. A card given by path is looked for beside `folder`.
    ///
    /// # Errors
    /// No JSON, another schema, a card that cannot be used, trials that are not trials.
    pub fn from_json(text: &str, folder: &Path) -> Result<Self> {
        let bad = |message: String| Error::from(RulesError::Job(message));
        let value: Value = serde_json::from_str(text)
            .map_err(|error| bad(format!("it is not valid JSON: {error}")))?;
        let Value::Object(mut top) = value else {
            return Err(bad(
                "it must be a JSON object with `card` and `trials`".into()
            ));
        };
        if let Some(schema) = top.remove("schema")
            && schema != SCHEMA
        {
            return Err(bad(format!(
                "its schema is {schema}; this version reads \"{SCHEMA}\""
            )));
        }
        let card = match top.remove("card") {
            None => return Err(bad("it has no `card`".into())),
            Some(Value::Object(table)) if table.keys().eq(["path"]) => match &table["path"] {
                Value::String(path) => Card::read(folder.join(path))?,
                other => return Err(bad(format!("the card's path must be text, not {other}"))),
            },
            Some(written) => Card::from_json(&written).map_err(|error| error.of("the job"))?,
        };
        let trials = match top.remove("trials") {
            Some(trials @ Value::Array(_)) => {
                possible(&trials).map_err(|error| bad(format!("a trial cannot be: {error}")))?;
                serde_json::from_value::<Vec<Trial>>(trials)
                    .map_err(|error| bad(format!("a trial cannot be read: {error}")))?
            }
            _ => return Err(bad("it has no list of `trials`".into())),
        };
        let remarks = top
            .keys()
            .map(|key| (key, "job"))
            .chain(
                trials
                    .iter()
                    .flat_map(|trial| trial.other.keys().map(|key| (key, "trial"))),
            )
            .map(|(key, place)| unused(key, place))
            .collect();
        Ok(Self {
            card,
            trials,
            remarks,
        })
    }
}

/// What to say of a field that nothing reads.
fn unused(key: &str, place: &str) -> String {
    const KNOWN: [&str; 17] = [
        "pinion_shim_mm",
        "ring_side_shim_mm",
        "far_side_shim_mm",
        "pinion_mm",
        "ring_mm",
        "ring_notches",
        "backlash_mm",
        "condition",
        "bearings",
        "side_preload",
        "struck",
        "as_found",
        "pinion_torque_nm",
        "assembled",
        "drive",
        "coast",
        "trials",
    ];
    let (nearest, likeness) = KNOWN
        .iter()
        .map(|known| (known, strsim::jaro_winkler(known, key)))
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .unwrap_or((&"trials", 0.0));
    if likeness > CALIBRATION.verdict.misspelt_likeness {
        format!("`{key}` of the {place} was not used; was `{nearest}` meant?")
    } else {
        format!("`{key}` of the {place} was not used.")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frames::FlankPoint;
    use crate::schema::{Condition, FlankReading};

    const CARD: &str = r#"{"gear":{"ring_teeth":41,"pinion_teeth":11,"ring_diameter_mm":200,
        "face_width_mm":30,"offset_mm":35,"spiral_angle_deg":31,"cutting":"face-milled"}}"#;

    fn job(trials: &str) -> Result<Job> {
        let text = format!(r#"{{"schema":"{SCHEMA}","card":{CARD},"trials":{trials}}}"#);
        Job::from_json(&text, Path::new("."))
    }

    #[test]
    fn trials_with_shims_or_positions_and_one_or_more_backlashes() {
        let job = job(r#"[{"pinion_shim_mm":0.762,"backlash_mm":[0.18,0.20],
                 "drive":{"centre":{"length":0.62,"height":0.71}}},
                {"pinion_mm":0.1,"ring_mm":-0.05,"backlash_mm":0.19,"condition":"used"},{}]"#)
        .unwrap();
        assert_eq!(job.trials[0].mean_backlash_mm(), Some(0.19));
        assert!((job.trials[0].backlash_variation_mm().unwrap() - 0.02).abs() < 1e-12);
        assert_eq!(job.trials[1].mean_backlash_mm(), Some(0.19));
        assert_eq!(job.trials[1].backlash_variation_mm(), None);
        assert_eq!(job.trials[1].condition, Some(Condition::Used));
        assert_eq!(job.trials[2], Trial::default());
        assert!(job.remarks.is_empty());
    }

    #[test]
    fn a_misspelt_field_is_remarked_with_what_was_meant() {
        let job = job(r#"[{"pinion_shim":0.762}]"#).unwrap();
        assert!(
            job.remarks[0].contains("`pinion_shim_mm`"),
            "{:?}",
            job.remarks
        );
    }

    #[test]
    fn unusable_jobs_are_refused_with_the_reason() {
        for (text, part) in [
            ("", "not valid JSON"),
            ("[]", "object"),
            ("{}", "`card`"),
            (r#"{"schema":"flankread/job/9"}"#, "flankread/job/1"),
            (r#"{"card":{}}"#, "ring_teeth"),
            (r#"{"card":{"path":7}}"#, "path"),
            (r#"{"card":{"path":"no such.toml"}}"#, "no such.toml"),
        ] {
            let error = Job::from_json(text, Path::new("."))
                .unwrap_err()
                .to_string();
            assert!(error.contains(part), "{text}: {error}");
        }
        let error = job(r#"[{"drive":{"centre":{"length":0.5}}}]"#).unwrap_err();
        assert!(error.to_string().contains("height"), "{error}");
        assert!(job(r#"{"not":"a list"}"#).is_err());
    }

    #[test]
    fn a_photo_older_than_the_change_is_stale() {
        let trial = Trial {
            assembled: Some("2026-05-04T10:30:00".into()),
            drive: Some(FlankReading {
                centre: FlankPoint::new(0.5, 0.5),
                extent: None,
                lean_deg: None,
                uncertainty: None,
                spread: None,
                taken: Some("2026-05-04T09:00:00".into()),
            }),
            ..Trial::default()
        };
        assert!(trial.photo_is_stale(Side::Drive).unwrap());
        assert!(!trial.photo_is_stale(Side::Coast).unwrap());
    }
}
