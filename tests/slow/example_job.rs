//! The example job is played as the README promises it: by its script, through the command line only.

#![cfg(unix)]

use crate::common::{PROGRAM, flankread, root};
use serde_json::Value;
use std::process::Command;

#[test]
fn the_example_job_goes_from_the_axle_as_found_to_its_sheet() {
    let folder = tempfile::tempdir().unwrap();
    let output = Command::new("bash")
        .arg(root("examples/larchfield_job/play.sh"))
        .arg(folder.path())
        .env("FLANKREAD", PROGRAM)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(
        output.status.success(),
        "{said}{}",
        String::from_utf8_lossy(&output.stderr)
    );
    for file in [
        "sheet.html",
        "sheet.pdf",
        "job.zip",
        "workshop.db",
        "other-workshop.db",
    ] {
        assert!(folder.path().join(file).is_file(), "{file}");
    }
    let shown = |db: &str| -> Value {
        let output = flankread()
            .env("FLANKREAD_DB", folder.path().join(db))
            .args(["job", "show", "--job", "1", "--json"])
            .output()
            .unwrap();
        serde_json::from_slice(&output.stdout).unwrap()
    };
    let record = shown("workshop.db");
    // The pinion was rendered 0.20 mm too far out, and the second pair where a pack 7 thou thicker puts it.
    let advice = record["advice"].as_array().unwrap();
    assert_eq!(advice[0]["advice"]["verdict"], "change");
    let moved = advice[0]["advice"]["move"]["pinion_mm"].as_f64().unwrap();
    assert!((moved + 0.2).abs() < 0.08, "{moved}");
    assert_eq!(advice[0]["followed"], "partly");
    let last = advice.last().unwrap();
    assert_eq!(
        (&last["after"], &last["advice"]["verdict"]),
        (&Value::from(7), &Value::from("good"))
    );
    assert_eq!(record["closing"].as_array().unwrap().len(), 17);
    assert!(record["head"]["closed"].is_string());
    let there = shown("other-workshop.db");
    for part in ["card", "advice", "closing", "notes"] {
        assert_eq!(there[part], record[part], "{part}");
    }
    let trials = |record: &Value| -> Vec<Value> {
        let trials = record["trials"].as_array().unwrap();
        trials.iter().map(|trial| trial["trial"].clone()).collect()
    };
    assert_eq!(trials(&there), trials(&record));
    let sheet = std::fs::read_to_string(folder.path().join("sheet.html")).unwrap();
    assert!(sheet.contains("Rear axle of the blue pickup") && sheet.contains("partly followed"));
}
