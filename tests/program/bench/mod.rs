//! The bench from card to build sheet: two whole jobs played by a script, and the mistakes that people make on the way.

#![cfg(unix)]

mod mistakes;

use crate::common::{PROGRAM, root};
use std::process::Command;

/// Plays a script and gives what it printed.
fn played(name: &str) -> String {
    let folder = tempfile::tempdir().unwrap();
    let output = Command::new("bash")
        .arg(root("tests/program/bench").join(format!("{name}.sh")))
        .arg(folder.path())
        .env("FLANKREAD", PROGRAM)
        .env_remove("FLANKREAD_UNITS")
        .output()
        .unwrap();
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(output.status.success(), "{said}");
    said
}

/// How far two numbers may be apart: steps of the last digit that is printed, and a share.
#[derive(Clone, Copy)]
struct Slack {
    steps: f64,
    share: f64,
}

impl Slack {
    /// What a photo shows may differ a little from machine to machine, and with it the numbers that come of it.
    const OF_PHOTOS: Self = Self {
        steps: 3.01,
        share: 0.03,
    };
    /// What many steps of a model leave of the last digits.
    const OF_MODEL: Self = Self {
        steps: 1.01,
        share: 1e-3,
    };
    /// What is worked out from what is written.
    const OF_SUMS: Self = Self {
        steps: 0.01,
        share: 1e-9,
    };
}

/// The digits behind the point of a number.
fn decimals(number: &str) -> i32 {
    number
        .split_once('.')
        .map_or(0, |(_, behind)| behind.len() as i32)
}

/// Whether two words say the same.
fn same(word: &str, other: &str, slack: Slack) -> bool {
    let number = |word: &str| {
        let bare = word.trim_matches(|c: char| !c.is_ascii_digit()).to_owned();
        bare.parse::<f64>()
            .ok()
            .map(|value| (value, decimals(&bare)))
    };
    match (number(word), number(other)) {
        _ if word == other => true,
        (Some((a, digits)), Some((b, _))) => {
            let allowed = (slack.steps * 10_f64.powi(-digits)).max(slack.share * a.abs());
            let around =
                |word: &str| word.replace(|c: char| c.is_ascii_digit() || "+-.".contains(c), "");
            (a - b).abs() <= allowed && around(word) == around(other)
        }
        _ => false,
    }
}

fn same_line(line: &str, other: &str, slack: Slack) -> bool {
    let (a, b) = (line.split_whitespace(), other.split_whitespace());
    a.clone().count() == b.clone().count() && a.zip(b).all(|(a, b)| same(a, b, slack))
}

/// Holds what a script prints against the file beside it. With WRITE_PRINTED in the environment the file is written
/// anew, to be read line by line before it is kept.
fn holds(name: &str, slack: Slack) {
    let file = root("tests/program/bench").join(format!("{name}.txt"));
    let said = played(name);
    if std::env::var_os("WRITE_PRINTED").is_some() {
        std::fs::write(&file, said).unwrap();
        return;
    }
    let kept = std::fs::read_to_string(&file).unwrap();
    for (number, (kept, said)) in (1..).zip(kept.lines().zip(said.lines())) {
        assert!(
            same_line(kept, said, slack),
            "{name}.txt:{number}\n  kept: {kept}\n  said: {said}"
        );
    }
    assert_eq!(kept.lines().count(), said.lines().count(), "{name}");
}

#[test]
#[ignore = "slow: by .ci/run"]
fn a_job_in_inches_with_shims_goes_from_card_to_sheet() {
    holds("inches", Slack::OF_PHOTOS);
}

#[test]
#[ignore = "slow: by .ci/run"]
fn a_job_in_millimetres_with_adjusters_and_a_sleeve_goes_from_card_to_sheet() {
    holds("metric", Slack::OF_PHOTOS);
}

#[test]
fn each_station_says_what_it_said_in_words_and_in_numbers() {
    holds("stations", Slack::OF_SUMS);
}

#[test]
fn the_contact_model_says_what_it_said_in_words_and_in_numbers() {
    holds("simulations", Slack::OF_MODEL);
}

#[test]
fn the_comparison_sees_a_changed_word_and_a_changed_number() {
    let of_photos = |line, other| same_line(line, other, Slack::OF_PHOTOS);
    assert!(of_photos(
        "expect 8.1 thou ± 0.7 thou.",
        "expect 8.3 thou ± 0.7 thou."
    ));
    assert!(!of_photos("expect 8.1 thou", "expect 9.1 thou"));
    assert!(!of_photos("expect 8.1 thou", "expect 8.1 mm"));
    assert!(!of_photos("Trial 3 is", "Trial 3 is struck"));
    assert!(!of_photos("10.0 thou toward", "10.0 thou away"));
    let of_sums = |line, other| same_line(line, other, Slack::OF_SUMS);
    assert!(of_sums("0.20000000000000001 mm", "0.2 mm"));
    assert!(!of_sums("8.1 thou", "8.2 thou"));
}
