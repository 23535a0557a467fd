//! A job: a card with its trials so far, `flankread/job/1`.

use super::RulesError;
use super::time::Instant;
use crate::frames::{FlankPoint, Side};
use crate::gear::card::Card;
use crate::reading::Mean;
use crate::{Error, Result};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use std::path::Path;

/// Value of the `schema` field of a job.
pub const SCHEMA: &str = "flankread/job/1";

/// One assembly with its shims, backlash and readings. Shims are millimetres of pack; positions are
/// millimetres from any zero that stays the same through the job, + = away from the mating gear.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Trial {
    /// Pinion pack.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pinion_shim_mm: Option<f64>,
    /// Pack on the side of the ring gear's back face.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ring_side_shim_mm: Option<f64>,
    /// Pack on the other side of the carrier.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub far_side_shim_mm: Option<f64>,
    /// Place of the pinion, instead of its pack.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pinion_mm: Option<f64>,
    /// Place of the ring gear, instead of its packs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ring_mm: Option<f64>,
    /// Place of threaded adjusters in whole notches, + = ring gear away from the pinion.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ring_notches: Option<i32>,
    /// Backlash at any number of places round the gear; a single number may stand alone.
    #[serde(
        deserialize_with = "one_or_many",
        skip_serializing_if = "Vec::is_empty"
    )]
    pub backlash_mm: Vec<f64>,
    /// New or used gears.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub condition: Option<Condition>,
    /// The set as it came in, before anything was changed.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub as_found: bool,
    /// Rotating torque of the pinion.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pinion_torque_nm: Option<f64>,
    /// When the shims were last changed, RFC 3339 (`2026-05-04T10:30:00`).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub assembled: Option<String>,
    /// Reading of the drive flank.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drive: Option<FlankReading>,
    /// Reading of the coast flank.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub coast: Option<FlankReading>,
    /// Fields this version does not know.
    #[serde(flatten)]
    #[schemars(skip)]
    pub other: Map<String, Value>,
}

/// New or used gears.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Condition {
    /// Never run.
    New,
    /// Run in another position or another axle's life before.
    Used,
}

/// Where the patch stands on one flank, in shares of the flank.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FlankReading {
    /// Centre of the patch.
    pub centre: FlankPoint,
    /// Size of the patch.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub extent: Option<FlankPoint>,
    /// Lean of the patch, degrees, + = heel end nearer the tip.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lean_deg: Option<f64>,
    /// Half widths that hold the true centre in 90 % of readings, along length and height each.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub uncertainty: Option<FlankPoint>,
    /// When the photo was taken, RFC 3339.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub taken: Option<String>,
}

impl FlankReading {
    /// The reading of a photo's mean over its teeth.
    pub fn from_mean(mean: &Mean, uncertainty: Option<FlankPoint>) -> Self {
        Self {
            centre: mean.centre,
            extent: Some(mean.extent),
            lean_deg: Some(mean.lean_deg),
            uncertainty,
            taken: None,
        }
    }
}

impl Trial {
    /// The reading of one flank.
    pub const fn reading(&self, side: Side) -> Option<&FlankReading> {
        match side {
            Side::Drive => self.drive.as_ref(),
            Side::Coast => self.coast.as_ref(),
        }
    }

    /// Mean of the backlash readings.
    pub fn mean_backlash_mm(&self) -> Option<f64> {
        let n = self.backlash_mm.len();
        (n > 0).then(|| self.backlash_mm.iter().sum::<f64>() / n as f64)
    }

    /// Greatest less least backlash round the gear; `None` with fewer than two readings.
    pub fn backlash_variation_mm(&self) -> Option<f64> {
        if self.backlash_mm.len() < 2 {
            return None;
        }
        let low = self
            .backlash_mm
            .iter()
            .copied()
            .fold(f64::INFINITY, f64::min);
        let high = self
            .backlash_mm
            .iter()
            .copied()
            .fold(f64::NEG_INFINITY, f64::max);
        Some(high - low)
    }

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
                Value::String(path) => Card::read(&folder.join(path))?,
                other => return Err(bad(format!("the card's path must be text, not {other}"))),
            },
            Some(written) => Card::from_json(&written).map_err(|error| Error::Card {
                path: "the job".into(),
                error,
            })?,
        };
        let trials = match top.remove("trials") {
            Some(trials @ Value::Array(_)) => serde_json::from_value::<Vec<Trial>>(trials)
                .map_err(|error| bad(format!("a trial cannot be read: {error}")))?,
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
    const KNOWN: [&str; 14] = [
        "pinion_shim_mm",
        "ring_side_shim_mm",
        "far_side_shim_mm",
        "pinion_mm",
        "ring_mm",
        "ring_notches",
        "backlash_mm",
        "condition",
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
    if likeness > 0.85 {
        format!("`{key}` of the {place} was not used; was `{nearest}` meant?")
    } else {
        format!("`{key}` of the {place} was not used.")
    }
}

fn one_or_many<'de, D: serde::Deserializer<'de>>(
    deserializer: D,
) -> std::result::Result<Vec<f64>, D::Error> {
    #[derive(Deserialize)]
    #[serde(untagged)]
    enum OneOrMany {
        None,
        One(f64),
        Many(Vec<f64>),
    }
    Ok(match OneOrMany::deserialize(deserializer)? {
        OneOrMany::None => Vec::new(),
        OneOrMany::One(one) => vec![one],
        OneOrMany::Many(many) => many,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

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
                taken: Some("2026-05-04T09:00:00".into()),
            }),
            ..Trial::default()
        };
        assert!(trial.photo_is_stale(Side::Drive).unwrap());
        assert!(!trial.photo_is_stale(Side::Coast).unwrap());
    }
}
