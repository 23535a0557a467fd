//! `flankread advise` as a program: job files in, text or JSON out, exit status.

use crate::common::{ended, flankread, root};
use serde_json::{Value, json};

/// A complete job of one trial, to be bent by each test.
pub(super) fn job() -> Value {
    let text = std::fs::read_to_string(root("fixtures/jobs/high-heel.json"))
        .expect("the fixture is there");
    let mut job: Value = serde_json::from_str(&text).expect("the fixture is JSON");
    job["card"]["path"] = json!("fixtures/cards/larchfield-8in.toml");
    job
}

fn run(job: &Value) -> (Option<i32>, String, String) {
    ended(
        flankread()
            .args(["advise", "-", "--json"])
            .write_stdin(job.to_string()),
    )
}

pub(super) fn advice(job: &Value) -> Value {
    let (status, out, error) = run(job);
    assert_eq!(status, Some(0), "{error}");
    let advice: Value = serde_json::from_str(&out).expect("one JSON document");
    never_wild(&advice);
    advice
}

/// No move beyond ±1 mm, no pack below zero, no chance outside 0 … 1: whatever was asked.
fn never_wild(advice: &Value) {
    if let Some(change) = advice.get("move") {
        for gear in ["pinion_mm", "ring_mm"] {
            assert!(change[gear].as_f64().unwrap().abs() <= 1.0, "{advice}");
        }
    }
    for pack in ["pinion", "ring_side", "far_side"] {
        if let Some(pack) = advice.get("shims").and_then(|s| s.get(pack)) {
            assert!(pack["to_mm"].as_f64().unwrap() > 0.0, "{advice}");
        }
    }
    for key in ["chance", "chance_now"] {
        if let Some(chance) = advice.get(key) {
            assert!((0.0..=1.0).contains(&chance.as_f64().unwrap()), "{advice}");
        }
    }
}

fn codes(advice: &Value) -> Vec<&str> {
    advice["checks"]
        .as_array()
        .map(|checks| checks.iter().filter_map(|c| c["code"].as_str()).collect())
        .unwrap_or_default()
}

#[test]
fn a_high_heel_job_is_answered_with_shims_of_the_kit() {
    let advice = advice(&job());
    assert_eq!(advice["schema"], "flankread/advice/2");
    assert_eq!(advice["verdict"], "change");
    assert_eq!(advice["diagnosis"]["drive"]["words"], "high heel");
    assert!(advice["move"]["pinion_mm"].as_f64().unwrap() < -0.1);
    let pack = &advice["shims"]["pinion"];
    let stack: Vec<f64> = pack["stack_mm"]
        .as_array()
        .unwrap()
        .iter()
        .map(|s| s.as_f64().unwrap())
        .collect();
    let to_mm = pack["to_mm"].as_f64().unwrap();
    assert!((stack.iter().sum::<f64>() - to_mm).abs() < 1e-6);
    let kit = [0.0635, 0.1016, 0.1778, 0.762];
    assert!(
        stack
            .iter()
            .all(|s| kit.iter().any(|k| (k - s).abs() < 1e-6))
    );
    let moved_mm = advice["move"]["pinion_mm"].as_f64().unwrap();
    // Behind the head bearing thicker is toward the ring gear.
    assert!((to_mm - 0.762 + moved_mm).abs() < 1e-4);
    assert!(advice["why"].as_array().unwrap().len() >= 6);
}

#[test]
fn text_speaks_the_units_asked_for() {
    let text = |units: &str| {
        let output = flankread()
            .args(["advise", "fixtures/jobs/high-heel.json", "--units", units])
            .output()
            .unwrap();
        assert!(output.status.success());
        String::from_utf8(output.stdout).unwrap()
    };
    let (inch, metric) = (text("in"), text("mm"));
    assert!(
        inch.contains("30.0 thou") && !inch.contains(" mm"),
        "{inch}"
    );
    assert!(
        metric.contains("0.762 mm") && !metric.contains("thou"),
        "{metric}"
    );
    assert!(metric.contains("  1. Trial 1: the drive patch"), "{metric}");
}

#[test]
fn what_is_missing_is_asked_for_and_the_diagnosis_still_given() {
    for (key, code) in [
        ("drive", "drive_missing"),
        ("coast", "coast_missing"),
        ("backlash_mm", "backlash_missing"),
    ] {
        let mut job = job();
        job["trials"][0].as_object_mut().unwrap().remove(key);
        let advice = advice(&job);
        assert_eq!(advice["verdict"], "measure");
        assert_eq!(codes(&advice), [code]);
        assert!(advice.get("move").is_none());
        let other = if key == "drive" { "coast" } else { "drive" };
        assert!(advice["diagnosis"][other]["words"].is_string());
    }
    let mut empty = job();
    empty["trials"] = json!([]);
    assert_eq!(codes(&advice(&empty)), ["no_trial"]);
}

#[test]
fn values_that_cannot_be_are_questioned_and_never_turned_into_shims() {
    let cases = [
        (
            "backlash_mm",
            json!([0.008, 0.0085]),
            "backlash_impossible",
            "0.008",
        ),
        (
            "backlash_mm",
            json!(8.0),
            "backlash_impossible",
            "thousandths",
        ),
        (
            "backlash_mm",
            json!([-0.9]),
            "backlash_impossible",
            "below zero",
        ),
        (
            "backlash_mm",
            json!([0.1, 0.6]),
            "backlash_varies",
            "Measure again",
        ),
        (
            "pinion_shim_mm",
            json!(0.030),
            "shim_impossible",
            "0.762 mm",
        ),
        (
            "pinion_shim_mm",
            json!(30.0),
            "shim_impossible",
            "thousandths",
        ),
        ("pinion_shim_mm", json!(-0.2), "shim_impossible", "nothing"),
        (
            "pinion_torque_nm",
            json!(20.0),
            "torque_impossible",
            "lb-in",
        ),
        (
            "drive",
            json!({"centre":{"length":62,"height":63}}),
            "reading_impossible",
            "percent",
        ),
    ];
    for (key, value, code, word) in cases {
        let mut job = job();
        job["trials"][0][key] = value;
        let advice = advice(&job);
        assert_eq!(advice["verdict"], "measure", "{key}: {advice}");
        assert!(codes(&advice).contains(&code), "{key}: {advice}");
        assert!(
            advice["checks"].to_string().contains(word),
            "{key}: {advice}"
        );
        assert!(advice.get("move").is_none());
    }
}

#[test]
fn a_photo_older_than_the_change_is_taken_again() {
    let mut job = job();
    job["trials"][0]["assembled"] = json!("2026-05-04T10:30:00");
    job["trials"][0]["coast"]["taken"] = json!("2026-05-04T09:10:00");
    let advice = advice(&job);
    assert_eq!(advice["verdict"], "measure");
    assert_eq!(codes(&advice), ["photo_older"]);
}

#[test]
fn a_right_assembly_is_left_alone() {
    let mut job = job();
    job["trials"][0]["drive"]["centre"] = json!({"length": 0.48, "height": 0.51});
    job["trials"][0]["coast"]["centre"] = json!({"length": 0.50, "height": 0.50});
    job["trials"][0]["backlash_mm"] = json!([0.20, 0.21, 0.20, 0.19]);
    let advice = advice(&job);
    assert_eq!(advice["verdict"], "good");
    assert_eq!(advice["move"], json!({"pinion_mm": 0.0, "ring_mm": 0.0}));
}

#[test]
fn used_gears_are_set_to_the_pattern_they_ran_with() {
    let mut job = job();
    let mut found = job["trials"][0].clone();
    found["as_found"] = json!(true);
    let mut rebuilt = job["trials"][0].clone();
    rebuilt["condition"] = json!("used");
    job["trials"] = json!([found, rebuilt]);
    let advice = advice(&job);
    assert_eq!(advice["verdict"], "good", "{advice}");
    assert_eq!(advice["diagnosis"]["drive"]["words"], "centred");
}

#[test]
fn trials_that_contradict_each_other_name_what_to_look_at() {
    let mut job = job();
    let mut second = job["trials"][0].clone();
    // The pinion went 0.25 mm toward the ring gear, and both patches rose.
    second["pinion_shim_mm"] = json!(1.016);
    second["drive"]["centre"] = json!({"length": 0.70, "height": 0.76});
    second["coast"]["centre"] = json!({"length": 0.46, "height": 0.84});
    job["trials"].as_array_mut().unwrap().push(second);
    let advice = advice(&job);
    assert_eq!(codes(&advice)[0], "second_look");
    let suspects = advice["suspects"].to_string();
    assert!(suspects.contains("pack_noted_wrong"), "{advice}");
    assert!(suspects.contains("shim_place"), "{advice}");
    let summary = advice["summary"].as_str().unwrap();
    assert!(summary.starts_with("LOOK AGAIN"), "{summary}");
    // Less sure than where the same patches come of a pinion that went away by as much as they rose.
    job["trials"][1]["pinion_shim_mm"] = json!(0.635);
    let told = self::advice(&job);
    assert!(!codes(&told).contains(&"second_look"), "{told}");
    let chance = |advice: &Value| advice["chance"].as_f64().unwrap();
    assert!(chance(&advice) < chance(&told) - 0.1, "{advice} {told}");
}

#[test]
fn patches_that_no_shim_brings_together_are_beyond_shims() {
    let mut job = job();
    // Opposite ways along the tooth: what an error of the offset does, and nothing else.
    job["trials"][0]["drive"]["centre"] = json!({"length": 0.80, "height": 0.50});
    job["trials"][0]["coast"]["centre"] = json!({"length": 0.18, "height": 0.50});
    // Photographed twice and the same: no misreading.
    let again = job["trials"][0].clone();
    job["trials"].as_array_mut().unwrap().push(again);
    let advice = advice(&job);
    assert_eq!(advice["verdict"], "beyond_shims", "{advice}");
    assert!(codes(&advice).contains(&"housing"), "{advice}");
    assert!(advice["checks"].to_string().contains("dial indicator"));
    let left = &advice["unexplained"];
    let largest = ["drive", "coast"]
        .iter()
        .flat_map(|side| ["length", "height"].map(|part| left[side][part].as_f64().unwrap()))
        .fold(0.0, |most: f64, part| most.max(part.abs()));
    assert!(largest > 0.15, "{advice}");
}

#[test]
fn backlash_that_varies_round_a_right_gear_is_run_out() {
    let mut job = job();
    job["trials"][0]["drive"]["centre"] = json!({"length": 0.48, "height": 0.51});
    job["trials"][0]["coast"]["centre"] = json!({"length": 0.50, "height": 0.50});
    job["trials"][0]["backlash_mm"] = json!([0.16, 0.20, 0.24, 0.20]);
    let advice = advice(&job);
    assert_eq!(advice["verdict"], "beyond_shims", "{advice}");
    assert_eq!(codes(&advice)[0], "run_out");
}

#[test]
fn a_window_narrower_than_the_step_of_the_side_shims_is_said() {
    let card = std::fs::read_to_string(root("fixtures/cards/larchfield-8in.toml"))
        .unwrap()
        .replace(
            "[\"0.0065in\", \"0.0105in\"]",
            "[\"0.0060in\", \"0.0062in\"]",
        )
        .replace(
            "side_shims = [\"0.0025in\", \"0.004in\", \"0.007in\", \"0.030in\"]",
            "side_shims = [\"0.030in\"]",
        );
    let card = flankread::Card::from_toml(&card).unwrap();
    let mut job = job();
    job["card"] = serde_json::to_value(&card).unwrap();
    job["trials"][0]["ring_side_shim_mm"] = json!(2.286);
    let advice = advice(&job);
    assert_eq!(advice["verdict"], "beyond_shims", "{advice}");
    assert!(codes(&advice).contains(&"out_of_reach"), "{advice}");
    assert!(
        advice["checks"].to_string().contains("narrower than"),
        "{advice}"
    );
}

#[test]
fn unusable_input_ends_with_status_2_and_one_plain_sentence() {
    let mut other_schema = job();
    other_schema["schema"] = json!("flankread/job/2");
    let mut no_card = job();
    no_card["card"]["path"] = json!("fixtures/cards/none.toml");
    let mut unknown_key = job();
    unknown_key["card"] = json!({"gear": {"ring_tooth": 41}});
    for (job, word) in [
        (other_schema, "flankread/job/1"),
        (no_card, "none.toml"),
        (unknown_key, "`ring_teeth`"),
        (json!("text"), "object"),
    ] {
        let (status, out, error) = run(&job);
        assert_eq!(status, Some(2), "{error}");
        assert!(
            out.starts_with("{\"schema\":\"flankread/error/1\""),
            "{out}"
        );
        assert!(error.contains(word), "{error}");
        assert_eq!(error.lines().count(), 1, "{error}");
    }
    let output = flankread()
        .args(["advise", "no-such-job.json"])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
}

#[test]
fn positions_may_stand_for_shims_and_a_misspelt_field_is_remarked() {
    let mut job = job();
    let trial = job["trials"][0].as_object_mut().unwrap();
    for shim in ["pinion_shim_mm", "ring_side_shim_mm", "far_side_shim_mm"] {
        trial.remove(shim);
    }
    trial.insert("pinion_mm".into(), json!(3.1));
    trial.insert("ring_mm".into(), json!(-1.4));
    trial.insert("backlash".into(), json!(0.2));
    let advice = advice(&job);
    assert_eq!(advice["verdict"], "change");
    assert!(advice.get("shims").is_none());
    assert!(advice["move"]["pinion_mm"].as_f64().unwrap() < -0.1);
    assert!(
        advice["cautions"].to_string().contains("`backlash_mm`"),
        "{advice}"
    );
}

/// Every document of the program fits the schema that the program publishes.
#[test]
fn the_advice_fits_its_published_schema() {
    let output = flankread().args(["schema", "advice"]).output().unwrap();
    let schema: Value = serde_json::from_slice(&output.stdout).unwrap();
    let mut beyond = job();
    beyond["trials"][0]["drive"]["centre"] = json!({"length": 0.85, "height": 0.30});
    let mut missing = job();
    missing["trials"][0]
        .as_object_mut()
        .unwrap()
        .remove("coast");
    for job in [job(), beyond, missing] {
        fits(&advice(&job), &schema, &schema, "advice");
    }
    // The check itself must be able to fail.
    let wrong = std::panic::catch_unwind(|| fits(&json!({"schema": 7}), &schema, &schema, "wrong"));
    assert!(wrong.is_err());
}

/// As much of JSON Schema as the published schemas use.
fn fits(value: &Value, schema: &Value, root: &Value, at: &str) {
    if let Some(reference) = schema["$ref"].as_str() {
        let target = root
            .pointer(reference.trim_start_matches('#'))
            .expect(reference);
        return fits(value, target, root, at);
    }
    for kind in ["anyOf", "oneOf"] {
        if let Some(options) = schema[kind].as_array() {
            let any = options.iter().any(|option| {
                option["const"] == *value
                    || option["enum"].as_array().is_some_and(|e| e.contains(value))
                    || option["type"] == "null" && value.is_null()
                    || option.get("$ref").is_some() && !value.is_null()
            });
            assert!(any, "{at}: {value} fits none of {options:?}");
            let object = options.iter().find(|o| o.get("$ref").is_some());
            if let (Some(object), false) = (object, value.is_null()) {
                fits(value, object, root, at);
            }
            return;
        }
    }
    let is = |kind: &str| match kind {
        "object" => value.is_object(),
        "array" => value.is_array(),
        "string" => value.is_string(),
        "number" => value.is_number(),
        "integer" => value.is_i64() || value.is_u64(),
        "null" => value.is_null(),
        other => panic!("{at}: type {other} is not checked"),
    };
    match &schema["type"] {
        Value::String(kind) => assert!(is(kind), "{at}: {value} is no {kind}"),
        Value::Array(kinds) => {
            assert!(
                kinds.iter().any(|k| is(k.as_str().unwrap())),
                "{at}: {value}"
            );
        }
        _ => {}
    }
    if let Some(words) = schema["enum"].as_array() {
        assert!(words.contains(value), "{at}: {value} is none of {words:?}");
    }
    for key in schema["required"].as_array().into_iter().flatten() {
        assert!(
            value.get(key.as_str().unwrap()).is_some(),
            "{at} lacks {key}"
        );
    }
    if let Some(fields) = value.as_object() {
        for (key, inner) in fields {
            let known = &schema["properties"][key];
            assert!(!known.is_null(), "{at}.{key} is not in the schema");
            fits(inner, known, root, &format!("{at}.{key}"));
        }
    }
    for inner in value.as_array().into_iter().flatten() {
        fits(inner, &schema["items"], root, &format!("{at}[]"));
    }
}
