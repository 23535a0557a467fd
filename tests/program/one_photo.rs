//! One photo that shows both kinds of flanks serves for both. The larchfield pictures were rendered for a pinion 0.20 mm too
//! far out; what is read of the drive flanks in the coast photo must agree with the photo of the drive flanks.

use crate::common::{ended, flankread, readings};
use serde_json::Value;

const COAST: &str = "examples/larchfield/coast.jpg";
const CARD: &str = "examples/larchfield/card.toml";

fn centre(reading: &Value, key: &str) -> f64 {
    reading["mean"]["centre"][key].as_f64().unwrap()
}

#[test]
fn a_photo_of_both_flanks_serves_for_both() {
    let json = |arguments: &[&str]| {
        let output = flankread()
            .args(["read", "--json"])
            .args(arguments)
            .output()
            .unwrap();
        readings(&output.stdout)
    };
    let alone = json(&["examples/larchfield/drive.jpg"]);
    let both = json(&[COAST, "--both-flanks"]);
    let sides: Vec<&Value> = both
        .iter()
        .map(|reading| &reading["flank"]["side"])
        .collect();
    assert_eq!(sides, ["coast", "drive"]);
    assert!((centre(&both[1], "length") - centre(&alone[0], "length")).abs() < 0.05);
    assert!((centre(&both[1], "height") - centre(&alone[0], "height")).abs() < 0.10);
    // Unasked only one flank is read: the second takes as long again.
    assert_eq!(json(&[COAST]).len(), 1);
    // A photo in which the other flanks are hidden stays one reading.
    assert_eq!(
        json(&["fixtures/rendered/h007.jpg", "--both-flanks"]).len(),
        1
    );
}

#[test]
fn with_a_card_the_advice_follows_from_it_and_says_so() {
    let (status, out, error) = ended(flankread().args([
        "read",
        "--json",
        COAST,
        "--card",
        CARD,
        "--backlash",
        "11thou",
        "--pinion-shim",
        "30thou",
    ]));
    assert_eq!(status, Some(0), "{error}");
    let answer: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(answer["advice"]["verdict"], "change");
    let pinion_mm = answer["advice"]["move"]["pinion_mm"].as_f64().unwrap();
    assert!((pinion_mm + 0.2).abs() < 0.08, "{pinion_mm}");
    assert!(
        answer["advice"]["cautions"]
            .to_string()
            .contains("from one photo"),
        "{out}"
    );
}

#[test]
fn one_file_given_for_both_flanks_is_asked_back_where_it_does_not_show_both() {
    let drive = "examples/larchfield/drive.jpg";
    let arguments = ["read", "--card", CARD, "--drive", drive, "--coast", drive];
    let (status, out, _) = ended(flankread().args(arguments));
    assert_eq!(status, Some(1), "{out}");
    assert!(out.contains("No advice"), "{out}");
}

#[test]
fn a_trial_takes_one_photo_for_both_and_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let job = |arguments: &[&str]| {
        let mut command = flankread();
        command.arg("job").args(arguments).arg("--json");
        command.env("FLANKREAD_DB", folder.path().join("workshop.db"));
        let (_, out, error) = ended(&mut command);
        serde_json::from_str::<Value>(&out).unwrap_or_else(|_| panic!("{error}"))
    };
    job(&["new", "Rear axle", "--card", CARD]);
    let trial = job(&[
        "trial",
        "--backlash",
        "11thou",
        "--drive",
        COAST,
        "--coast",
        COAST,
    ]);
    assert!(
        trial["drive"].is_object() && trial["coast"].is_object(),
        "{trial}"
    );
    let remarks = trial["remarks"].to_string();
    assert!(remarks.contains("read from one photo"), "{remarks}");
    // A photo of drive flanks alone does not serve for both.
    let drive = "examples/larchfield/drive.jpg";
    let refused = job(&["trial", "--drive", drive, "--coast", drive]);
    assert_eq!(refused["status"], "error", "{refused}");
    assert_eq!(job(&["show"])["trials"].as_array().unwrap().len(), 1);
}
