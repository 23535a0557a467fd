//! `flankread simulate` as a whole program.

use crate::common::flankread;
use assert_cmd::Command;
use serde_json::Value;
use std::path::Path;

const AXLE: &str = "fixtures/cards/larchfield-8in.toml";

fn simulate(arguments: &[&str]) -> Command {
    let mut command = flankread();
    command.arg("simulate").args(arguments);
    command
}

fn json(arguments: &[&str]) -> Value {
    let output = simulate(arguments).arg("--json").assert().success();
    serde_json::from_slice(&output.get_output().stdout).expect("one JSON document")
}

fn number(document: &Value, pointer: &str) -> f64 {
    document
        .pointer(pointer)
        .and_then(Value::as_f64)
        .unwrap_or_else(|| panic!("no {pointer} in {document}"))
}

fn refusal(arguments: &[&str]) -> String {
    let output = simulate(arguments).assert().code(2);
    String::from_utf8_lossy(&output.get_output().stderr).into_owned()
}

/// Every cell of ISO 23509:2016, Annex F, as quoted, through a card; tolerances as in the unit tests
/// of the blank.
#[test]
fn the_blank_is_printed_under_the_symbols_of_iso_23509() {
    for (sample, apart) in [(1, "–"), (2, "hamc1"), (4, "Rm1")] {
        let card = format!("fixtures/blanks/iso23509-sample-{sample}.toml");
        let document = json(&[&card]);
        assert_eq!(document["schema"], "flankread/simulation/1");
        let cells = format!("src/gear/blank/samples/iso23509_sample{sample}.csv");
        let cells = std::fs::read_to_string(cells).unwrap();
        let mut compared = 0;
        for line in cells.lines().filter(|l| !l.starts_with('#')) {
            let (symbol, value) = line.split_once(',').unwrap();
            let value: f64 = value.parse().unwrap();
            let computed = number(&document, &format!("/blank/{symbol}"));
            let allowed = if symbol.starts_with("dmn") {
                1e-4 * value
            } else {
                0.005
            };
            if symbol != apart {
                assert!(
                    (computed - value).abs() <= allowed,
                    "{sample} {symbol}: {computed}"
                );
                compared += 1;
            }
        }
        assert!(compared > 60);
        // The set meshes, too.
        let length = number(&document, "/drive/patch/centre/length");
        assert!((length - 0.5).abs() < 0.02);
    }
}

#[test]
fn moves_and_sensitivities_agree_with_each_other() {
    let right = json(&[AXLE]);
    let moved = json(&[AXLE, "--pinion", "0.02mm"]);
    let rows = right["sensitivities"].as_array().unwrap();
    let pinion = rows.iter().find(|r| r["cause"] == "pinion").unwrap();
    for side in ["drive", "coast"] {
        for axis in ["length", "height"] {
            let at = format!("/{side}/patch/centre/{axis}");
            let change = number(&moved, &at) - number(&right, &at);
            let rate = number(pinion, &format!("/{side}/centre/{axis}"));
            assert!(
                (change - 0.02 * rate).abs() < 0.0015,
                "{side} {axis}: {change} {rate}"
            );
        }
    }
    assert!(rows.len() == 8);
    assert!(number(&moved, "/backlash/change_mm") > 0.0);
}

#[test]
fn the_same_move_in_thousandths_is_the_same() {
    let millimetres = json(&[AXLE, "--ring", "-0.127mm"]);
    let thousandths = json(&[AXLE, "--ring", "-5thou"]);
    assert_eq!(millimetres["drive"], thousandths["drive"]);
    let text = simulate(&[AXLE, "--ring", "5thou", "--units", "in"])
        .assert()
        .success();
    let text = String::from_utf8_lossy(&text.get_output().stdout).into_owned();
    assert!(
        text.contains("ring gear 5.0 thou out") && text.contains("drive: centre"),
        "{text}"
    );
}

#[test]
fn pictures_plots_and_solids_are_written_and_never_over_another_file() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    let (picture, plot, strip) = (at("flanks.png"), at("error.svg"), at("strip.svg"));
    let (stl, obj) = (at("tooth.stl"), at("tooth.obj"));
    simulate(&[
        AXLE,
        "--picture",
        &picture,
        "--error-plot",
        &plot,
        "--tooth",
        &stl,
    ])
    .assert()
    .success();
    let shown = image::open(&picture).unwrap();
    assert!(shown.width() == 1800 && shown.height() > 800);
    assert!(
        std::fs::read_to_string(&plot)
            .unwrap()
            .contains("mesh position")
    );
    assert!(std::fs::read(&stl).unwrap().len() > 10_000);
    let document = json(&[
        AXLE,
        "--sweep",
        "pinion",
        "-0.3..0.3mm",
        "--picture",
        &strip,
        "--tooth",
        &obj,
        "--teeth",
        "3",
        "--units",
        "mm",
    ]);
    let steps = document["sweep"]["steps"].as_array().unwrap();
    assert_eq!(steps.len(), 7);
    assert!((number(&steps[0], "/value") + 0.3).abs() < 1e-12);
    // Pinion in: to the root; out: to the tip.
    assert!(number(&steps[0], "/coast/centre/height") < number(&steps[6], "/coast/centre/height"));
    let strip_text = std::fs::read_to_string(&strip).unwrap();
    assert!(strip_text.contains("-0.300 mm") && strip_text.contains("sweep of pinion"));
    assert!(
        std::fs::read_to_string(&obj)
            .unwrap()
            .lines()
            .any(|l| l.starts_with("f "))
    );

    let message = refusal(&[AXLE, "--picture", &picture]);
    assert!(message.contains("--force"), "{message}");
    simulate(&[AXLE, "--picture", &picture, "--force"])
        .assert()
        .success();
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 5);
}

#[test]
fn what_makes_no_sense_is_refused_with_what_would() {
    for (arguments, words) in [
        (vec![AXLE, "--pinion", "0.1"], "no unit"),
        (
            vec![AXLE, "--sweep", "pinon", "-0.3..0.3mm"],
            "one of pinion",
        ),
        (vec![AXLE, "--sweep", "pinion", "0.3mm"], "-0.3..0.3mm"),
        (
            vec![AXLE, "--pinion", "30mm", "--units", "mm"],
            "at most 10.000 mm",
        ),
        (vec![AXLE, "--picture", "flanks.pdf"], ".svg or .png"),
        (vec!["fixtures/cards/none.toml"], "cannot read"),
    ] {
        let message = refusal(&arguments);
        assert!(message.contains(words), "{arguments:?}: {message}");
    }
    assert!(!Path::new("flanks.pdf").exists());
}

#[test]
fn a_card_that_cannot_mesh_is_refused_and_a_blank_alone_is_still_printed() {
    let folder = tempfile::tempdir().unwrap();
    let card = folder.path().join("card.toml");
    let path = card.display().to_string();
    let axle = std::fs::read_to_string(AXLE).unwrap();
    std::fs::write(
        &card,
        axle.replace("[target]", "addendum = \"7mm\"\n[target]")
            .replace("pinion_teeth = 11", "pinion_teeth = 6"),
    )
    .unwrap();
    let message = refusal(&[&path]);
    assert!(
        message.contains("undercut") && message.contains("works"),
        "{message}"
    );

    let blank = std::fs::read_to_string("fixtures/blanks/iso23509-sample-4.toml").unwrap();
    std::fs::write(&card, format!("{blank}kd = 2.0\n")).unwrap();
    let message = refusal(&[&path]);
    assert!(
        message.contains("type I") && message.contains("type II"),
        "{message}"
    );
    std::fs::write(&card, blank.replace("xhm1 = 0.2", "xhm1 = -0.95")).unwrap();
    let document = json(&[&path]);
    assert!(document["no_contact"].is_string(), "{document}");
    assert!((number(&document, "/blank/delta2") - 71.36).abs() < 0.01);
}

/// Found by `tests/fuzz`: such a card was taken, and the same card in JSON, as an archive has it, was not.
#[test]
fn a_blank_whose_gear_cannot_be_is_refused() {
    let blank = std::fs::read_to_string("fixtures/blanks/iso23509-sample-4.toml").unwrap();
    assert!(flankread::Card::from_toml(&blank).is_ok());
    // A dedendum of a quarter of the module is less than the mate's addendum: no clearance is left.
    let shallow = blank.replace("khfp = 1.25", "khfp = 0.25");
    assert_ne!(shallow, blank);
    let error = flankread::Card::from_toml(&shallow).unwrap_err();
    assert!(error.to_string().contains("[blank]"), "{error}");
    assert!(error.to_string().contains("`clearance`"), "{error}");
}

/// The table of changes against the document's rates, which are per millimetre and per degree.
#[test]
fn the_table_of_changes_says_what_the_document_says() {
    let step_mm = 5.0 * 0.0254;
    let document = json(&[AXLE]);
    let printed = simulate(&[AXLE]).assert().success();
    let printed = String::from_utf8_lossy(&printed.get_output().stdout).into_owned();
    for (cause, step) in [
        ("pinion", step_mm),
        ("film", 0.01 * step_mm),
        ("shaft_angle", 0.1),
        ("crowning_length", 0.1 * step_mm),
    ] {
        let rates = document["sensitivities"].as_array().unwrap();
        let rates = rates.iter().find(|row| row["cause"] == cause).unwrap();
        let name = cause.replace('_', " ");
        let row = printed
            .lines()
            .find(|line| line.starts_with(&format!("│ {name}")))
            .unwrap();
        let drive = &rates["drive"];
        let percent = |pointer: &str| 100.0 * number(drive, pointer) * step;
        let cells = [
            format!("{:+.1}", percent("/centre/length")),
            format!("{:+.1}", percent("/centre/height")),
            format!(
                "{:+.1} × {:+.1}",
                percent("/extent/length"),
                percent("/extent/height")
            ),
            format!("{:.1} thou", number(rates, "/backlash_mm") * step / 0.0254),
        ];
        for cell in cells {
            assert!(row.contains(&cell), "{cell} in {row}");
        }
    }
}

/// By hand: a bevel pair of 11 and 41 teeth has a pitch angle of atan(41/11) = 74.98°; flanks of 20° about a limit angle sum up to 40°.
#[test]
fn what_the_card_leaves_out_is_told_in_the_units_of_its_key() {
    let document = json(&[AXLE]);
    let derived = |key: &str| {
        let all = document["derived"].as_array().unwrap();
        let found = all.iter().find(|one| one["key"] == key);
        number(found.unwrap_or_else(|| panic!("no {key}")), "/value")
    };
    assert!((derived("pitch_angle_deg") - 74.98).abs() < 0.01);
    let flanks = derived("pressure_angle_drive_deg") + derived("pressure_angle_coast_deg");
    assert!((flanks - 40.0).abs() < 1e-6, "{flanks}");
    let shown = json(&[AXLE, "--ring", "0.1mm"]);
    let backlash = |key: &str| number(&shown, &format!("/backlash/{key}"));
    // What is square to the tooth is the same share of the whole as of the ring gear's ratio.
    let square = backlash("change_square_mm") / backlash("change_mm");
    let of_ratio = backlash("ring_ratio_square") / backlash("ring_ratio");
    assert!((square - of_ratio).abs() < 1e-6, "{square} {of_ratio}");
}
