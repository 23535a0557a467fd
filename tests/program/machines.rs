//! What programs that call this one rely on: one shape a command, errors as JSON, schemas, completions, manual pages.

use crate::common::{ended, flankread};
use serde_json::Value;

#[test]
fn read_prints_one_shape_whatever_is_asked() {
    let [drive, coast] = [
        "examples/larchfield/drive.jpg",
        "examples/larchfield/coast.jpg",
    ];
    let card = ["--card", "examples/larchfield/card.toml"];
    for (photos, more, has) in [
        (&[drive][..], &[][..], None),
        (&[drive, coast], &[], Some("direction")),
        (&[drive, coast], &card, Some("advice")),
        (&["fixtures/rendered/h024.jpg"], &[], None),
    ] {
        let (_, out, error) = ended(flankread().args(["read", "--json"]).args(photos).args(more));
        let answer: Value = serde_json::from_str(&out).unwrap_or_else(|_| panic!("{error}"));
        assert_eq!(answer["readings"].as_array().unwrap().len(), photos.len());
        if photos.len() > 1 {
            assert_eq!(answer["schema"], "flankread/read/1");
        } else {
            // A photo alone is its reading as well.
            assert_eq!(answer["schema"], "flankread/reading/1");
            for key in ["status", "reasons", "flank", "mean", "uncertainty"] {
                assert_eq!(answer[key], answer["readings"][0][key], "{key}");
            }
        }
        if let Some(has) = has {
            assert!(answer[has].is_object(), "{has}: {out}");
        }
    }
}

#[test]
fn a_failure_is_one_json_document_too() {
    for (arguments, kind, status, part) in [
        (
            &["read", "--json", "nowhere.jpg"][..],
            "input",
            2,
            "cannot read nowhere.jpg",
        ),
        (
            &["read", "--json", "--flank", "up", "x.jpg"],
            "usage",
            2,
            "invalid value 'up'",
        ),
        (
            &["setup", "sum", "0.030", "--json"],
            "usage",
            2,
            "has no unit",
        ),
        (
            &["setup", "backlash", "--reading", "0.2in", "--json"],
            "input",
            2,
            "`0.2 mm` meant",
        ),
        (
            &["job", "list", "--json", "--db", "/dev/null/x.db"],
            "input",
            2,
            "cannot be opened",
        ),
    ] {
        let (code, out, error) = ended(flankread().args(arguments));
        let failure: Value =
            serde_json::from_str(&out).unwrap_or_else(|_| panic!("{arguments:?}: {out}{error}"));
        assert_eq!(failure["schema"], "flankread/error/1");
        assert_eq!(failure["kind"], kind, "{out}");
        assert_eq!(code, Some(status), "{out}");
        assert_eq!(failure["exit_status"], status, "{out}");
        let message = failure["messages"][0].as_str().unwrap();
        assert!(
            message.contains(part) && !message.contains("Usage:"),
            "{message}"
        );
        // People read it on standard error as ever.
        assert!(error.contains(message.lines().next().unwrap()), "{error}");
    }
    // Each file that cannot be used has a sentence of its own.
    let (_, out, _) = ended(flankread().args(["read", "--json", "a.jpg", "b.jpg"]));
    let failure: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(failure["messages"].as_array().unwrap().len(), 2, "{out}");
    let (_, out, _) = ended(flankread().args(["read", "nowhere.jpg"]));
    assert!(out.is_empty(), "{out}");
}

#[test]
fn every_document_has_a_schema() {
    let (status, out, _) = ended(flankread().args(["schema", "--json"]));
    assert_eq!(status, Some(0));
    let list: Value = serde_json::from_str(&out).unwrap();
    let names: Vec<&str> = list["documents"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(Value::as_str)
        .collect();
    assert!(names.len() >= 14, "{names:?}");
    for name in names {
        let (status, out, error) = ended(flankread().args(["schema", name]));
        assert_eq!(status, Some(0), "{name}: {error}");
        let schema: Value = serde_json::from_str(&out).unwrap();
        let alternatives = schema["oneOf"].as_array().cloned();
        for one in alternatives.unwrap_or_else(|| vec![schema.clone()]) {
            let shape = one["properties"].as_object();
            assert!(shape.is_some_and(|shape| shape.len() >= 2), "{name}: {out}");
        }
    }
}

#[test]
fn shells_and_manuals_know_every_command() {
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let (status, out, _) = ended(flankread().args(["completions", shell]));
        assert_eq!(status, Some(0), "{shell}");
        for word in ["side-shims", "both-flanks", "far-side-shim"] {
            assert!(out.contains(word), "{shell}: {word}");
        }
    }
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("man1");
    let arguments = ["man", "--out", out.to_str().unwrap()];
    let (status, _, error) = ended(flankread().args(arguments));
    assert_eq!(status, Some(0), "{error}");
    for page in [
        "flankread.1",
        "flankread-read.1",
        "flankread-setup-side-shims.1",
        "flankread-job-trial.1",
    ] {
        let text = std::fs::read_to_string(out.join(page)).unwrap();
        assert!(
            text.contains(".SH NAME") && text.contains(".SH OPTIONS"),
            "{page}"
        );
    }
    // Nothing is overwritten unasked.
    assert_eq!(ended(flankread().args(arguments)).0, Some(2));
}

#[test]
fn help_stands_in_the_order_of_the_work() {
    let (_, help, _) = ended(flankread().arg("--help"));
    let places: Vec<usize> = [
        "  setup ",
        "  read ",
        "  advise ",
        "  job ",
        "  batch ",
        "  simulate ",
        "  lesson ",
        "  worker ",
    ]
    .iter()
    .map(|name| help.find(name).unwrap_or_else(|| panic!("{name}: {help}")))
    .collect();
    assert!(places.is_sorted(), "{help}");
    // One place for the options of every command.
    for command in [
        &["read"][..],
        &["setup", "sum"],
        &["job", "show"],
        &["lesson", "sheet"],
        &["simulate"],
        &["batch"],
    ] {
        let (_, help, _) = ended(flankread().args(command).arg("--help"));
        let every = help
            .split("Output, for every command:")
            .nth(1)
            .unwrap_or_else(|| panic!("{help}"));
        for option in [
            "--json",
            "--quiet",
            "--units",
            "--length-unit",
            "--torque-unit",
        ] {
            assert!(every.contains(option), "{command:?}: {option}");
        }
        assert_eq!(help.matches("--units <").count(), 1, "{command:?}: {help}");
    }
}

/// Advice that was asked for and not given is no success.
#[test]
fn no_advice_is_exit_status_1() {
    let [drive, coast] = [
        "fixtures/painted/drive-yellow.jpg",
        "fixtures/painted/blurred.jpg",
    ];
    let arguments = [
        "read",
        "--drive",
        drive,
        "--coast",
        coast,
        "--card",
        "examples/larchfield/card.toml",
    ];
    let (status, out, _) = ended(flankread().args(arguments));
    assert_eq!(status, Some(1), "{out}");
    assert!(out.contains("No advice"), "{out}");
}
