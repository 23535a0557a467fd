//! Texts are in the units of the person who reads them: asked for, set once, those of the card, those that were typed.

use crate::common::{ended, flankread};

const CARD: &str = "examples/larchfield/card.toml";

fn text(arguments: &[&str], set: &[(&str, &str)]) -> String {
    let mut command = flankread();
    command.args(arguments).envs(set.iter().copied());
    let (status, out, error) = ended(&mut command);
    assert_eq!(status, Some(0), "{arguments:?}: {error}");
    out
}

#[test]
fn what_was_asked_for_goes_before_what_the_card_and_the_command_line_are_in() {
    let folder = tempfile::tempdir().unwrap();
    let settings = folder.path().join("settings.toml");
    std::fs::write(&settings, "units = \"mm\"\n").unwrap();
    let settings = settings.to_str().unwrap();
    let station = |more: &[&str], set: &[(&str, &str)]| {
        text(
            &[
                &[
                    "setup",
                    "backlash",
                    "--reading",
                    "0.20mm",
                    "--reading",
                    "0.22mm",
                ],
                more,
            ]
            .concat(),
            set,
        )
    };
    // Typed in millimetres; the card is in inches; the settings file, the environment and the option, each before the other.
    assert!(station(&[], &[]).starts_with("Mean 0.210 mm"));
    let card = ["--card", CARD];
    assert!(station(&card, &[]).starts_with("Mean 8.3 thou"));
    let file = [("FLANKREAD_CONFIG", settings)];
    assert!(station(&card, &file).starts_with("Mean 0.210 mm"));
    let both = [file[0], ("FLANKREAD_UNITS", "in")];
    assert!(station(&card, &both).starts_with("Mean 8.3 thou"));
    let option = [&card[..], &["--units", "mm"]].concat();
    assert!(station(&option, &both).starts_with("Mean 0.210 mm"));
    // Machines always get millimetres.
    let json = [&card[..], &["--json"]].concat();
    assert!(station(&json, &both).contains("\"mean_mm\": 0.21"));
}

#[test]
fn a_card_in_inches_speaks_inches_in_errors_too() {
    let arguments = ["simulate", CARD, "--film", "9mm"];
    let (status, _, error) = ended(flankread().args(arguments));
    assert_eq!(status, Some(2));
    assert!(error.contains("at most 196.9 thou"), "{error}");
    let metric = [&arguments[..], &["--units", "mm"]].concat();
    let (_, _, error) = ended(flankread().args(metric));
    assert!(error.contains("at most 5.000 mm"), "{error}");
}

#[test]
fn settings_that_cannot_be_used_are_named() {
    for (name, value, part) in [
        ("FLANKREAD_UNITS", "furlong", "FLANKREAD_UNITS is `furlong`"),
        (
            "FLANKREAD_CONFIG",
            "nowhere.toml",
            "cannot read nowhere.toml",
        ),
        ("FLANKREAD_CONFIG", CARD, "is no setting"),
    ] {
        let (status, _, error) = ended(flankread().args(["setup", "sum", "1mm"]).env(name, value));
        assert_eq!(status, Some(2), "{name}");
        assert!(error.contains(part), "{error}");
    }
}

/// One shim in all the ways it is said: 0.030 in is 0.762 mm (NIST SP 811, B.8: an inch is 25.4 mm).
#[test]
fn one_length_in_all_the_ways_it_is_said() {
    for typed in [
        "0.030in",
        ".030",
        ".030in",
        "30thou",
        "30 thou",
        "30 mil",
        "30 THOU",
        "0.762mm",
        "0,762mm",
        "0,762 MM",
        "762 um",
        "0.030\"",
        "0.030 inches",
    ] {
        let out = text(
            &[
                &["setup", "sum", "--json"],
                &typed.split(' ').collect::<Vec<_>>()[..],
            ]
            .concat(),
            &[],
        );
        assert!(
            out.contains("\"total_mm\": 0.762") || out.contains("\"total_mm\": 0.7619999"),
            "{typed}: {out}"
        );
    }
    // Below nought, wherever a number may be.
    for (typed, sign) in [
        ("-0.005in", "-5.0 thou"),
        ("-.005", "-5.0 thou"),
        ("-0,127mm", "-0.127 mm"),
    ] {
        let out = text(
            &[
                "setup",
                "pinion-shim",
                "etched",
                "--base",
                "30 thou",
                "--etched",
                typed,
                "--etched",
                typed,
            ],
            &[],
        );
        assert!(out.contains(sign), "{typed}: {out}");
    }
}

#[test]
fn words_are_taken_as_the_trade_and_the_card_have_them() {
    for place in [
        "behind-head-bearing",
        "behind head bearing",
        "Behind Head Bearing",
        "head bearing",
    ] {
        let out = text(
            &[
                "setup",
                "pinion-shim",
                "gauge",
                "--shim-in",
                "0mm",
                "--measured",
                "2.504in",
                "--nominal",
                "2.500in",
                "--place",
                place,
            ],
            &[],
        );
        assert!(out.contains("pack of 4.0 thou"), "{place}: {out}");
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("axle.toml");
    let card = std::fs::read_to_string(crate::common::root(CARD)).unwrap();
    for (line, said) in [
        ("hand = \"left\"", "hand = \"LH\""),
        ("cutting = \"face-milled\"", "cutting = \"five-cut\""),
        ("cutting = \"face-milled\"", "cutting = \"Face Milled\""),
    ] {
        std::fs::write(&path, card.replacen(line, said, 1)).unwrap();
        let same = text(&["simulate", path.to_str().unwrap()], &[]);
        assert_eq!(same, text(&["simulate", CARD], &[]), "{said}");
    }
}
