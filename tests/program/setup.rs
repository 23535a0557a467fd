//! `flankread setup` as a program: worked numbers of documents in, text and JSON out, nonsense asked back.

use crate::common::{ended, flankread};
use serde_json::Value;

fn run(arguments: &[&str]) -> (Option<i32>, String, String) {
    ended(flankread().arg("setup").args(arguments))
}

fn result(line: &str) -> Value {
    let mut arguments: Vec<&str> = line.split(' ').collect();
    arguments.push("--json");
    let (status, out, error) = run(&arguments);
    assert_eq!(status, Some(0), "{line}: {error}");
    let answer: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(answer["schema"], "flankread/setup/1", "{line}");
    let steps = answer["steps"].as_array().unwrap();
    assert!(!steps.is_empty(), "{line}");
    for step in steps {
        for part in ["what", "formula", "numbers", "result"] {
            assert!(
                step[part].as_str().is_some_and(|text| !text.is_empty()),
                "{line}: {step}"
            );
        }
    }
    answer["result"].clone()
}

const INCH: f64 = 25.4;
const LB_IN: f64 = 0.112_984_829;
const LB_FT: f64 = 1.355_817_948;

/// Source, command line, key of the result, its value in the key's unit, how near.
#[test]
fn worked_numbers() {
    for (source, line, key, expected, near) in [
        (
            "TM 9-2320-280-34: old -3, new +2 takes .005 off",
            "pinion-shim marks --old-shim 0.100in --old-mark -3 --new-mark 2 --mark-unit 0.001in --mark-sense plus-thinner",
            "/change_mm",
            -0.005 * INCH,
            1e-9,
        ),
        (
            "TM 9-2320-289-34 p. 6-37: .019 with +2 is .021",
            "pinion-shim marks --old-shim 0.019in --new-mark 2 --mark-unit 0.001in --mark-sense plus-thicker",
            "/pack_mm",
            0.021 * INCH,
            1e-9,
        ),
        (
            "TM 9-2320-289-34 p. 6-37: .031 with -3 is .028",
            "pinion-shim marks --old-shim 0.031in --new-mark -3 --mark-unit 0.001in --mark-sense plus-thicker",
            "/pack_mm",
            0.028 * INCH,
            1e-9,
        ),
        (
            "TM 10-3930-660-34: .030 + .002 - .005 is .027",
            "pinion-shim etched --base 0.030in --etched 0.002in --etched=-0.005in",
            "/pack_mm",
            0.027 * INCH,
            1e-9,
        ),
        (
            "TM 9-2320-289-34, Table 6-1 and preload: L - .006 (ratio .65 is the middle of its .005-.008)",
            "side-shims --ring-side 0.095in --far-side 0.088in --backlash 0in --wanted 0.0065in --ratio 0.65 --preload 0.008in --preload-on both-sides",
            "/ring_side_mm",
            0.089 * INCH,
            1e-9,
        ),
        (
            "the same: R + .014",
            "side-shims --ring-side 0.095in --far-side 0.088in --backlash 0in --wanted 0.0065in --ratio 0.65 --preload 0.008in --preload-on both-sides",
            "/far_side_mm",
            0.102 * INCH,
            1e-9,
        ),
        (
            "the same: total + .008",
            "side-shims --ring-side 0.095in --far-side 0.088in --backlash 0in --wanted 0.0065in --ratio 0.65 --preload 0.008in --preload-on both-sides",
            "/total_mm",
            0.191 * INCH,
            1e-9,
        ),
        (
            "MM-15103: 13.927 to 13.932 is .005",
            "case-spread --before 13.927in --after 13.932in --window 0.002in 0.009in",
            "/spread_mm",
            0.005 * INCH,
            1e-9,
        ),
        (
            "by hand: 15.324 - 15.315 is .009; window of TM 5-3810-306-34 p. 8-34",
            "case-spread --before 15.315in --after 15.324in --window 0.006in 0.013in",
            "/spread_mm",
            0.009 * INCH,
            1e-9,
        ),
        (
            "by hand, 1 / (cos 20 cos 38.61) is 1.362",
            "backlash --reading 0.100mm --direction square --spiral-angle 38.61",
            "/other_direction_mm",
            0.1362,
            1e-4,
        ),
        (
            "IFI N-68, as quoted, 3/8-24 grade 8, 75 % of proof, K .20: 49 lb-ft; by hand 49.4",
            "fasteners 3/8-24 --grade 8 --nut-factor 0.20",
            "/torque_nm",
            49.4 * LB_FT,
            0.05,
        ),
        (
            "by hand: F 35.16 kN, D 9.525 mm, K .20 is 67.0 N·m",
            "fasteners 3/8-24 --tension 35.16kN --nut-factor 0.20",
            "/torque_nm",
            67.0,
            0.05,
        ),
        (
            "NIST SP 811, B.8: 1 lbf·in = 0.112985 N·m",
            "torque --pinion 20lb-in --pinion 20lb-in",
            "/mean_nm",
            20.0 * 0.112_985,
            1e-4,
        ),
    ] {
        let got = result(line).pointer(key).and_then(Value::as_f64);
        let got = got.unwrap_or_else(|| panic!("{source}: no {key}"));
        assert!(
            (got - expected).abs() <= near,
            "{source}: {got} for {expected}"
        );
    }
}

/// The limits that manuals give for rotating torque: each window judges its own ends as within and
/// a pound-inch outside as outside.
#[test]
fn windows_of_rotating_torque() {
    for (source, low, high) in [
        ("TM 9-2320-289-34 p. 6-119, new", 25, 35),
        ("TM 9-2320-289-34 p. 6-119, used", 5, 15),
        ("TM 10-3930-660-34 p. 9-16, new", 5, 45),
        ("TM 10-3930-660-34 p. 9-16, used", 10, 30),
        ("TM 9-2320-365-34-2 table 24-1, new", 10, 30),
        ("common practice, no source", 20, 25),
        ("common practice, no source", 24, 32),
        (
            "a light 4x4 front axle, new: common practice, no source",
            12,
            15,
        ),
    ] {
        for (torque, word) in [
            (low - 1, "below"),
            (low, "within"),
            (high, "within"),
            (high + 1, "above"),
        ] {
            let line =
                format!("preload --trial 0.080in={torque}lb-in --window {low}lb-in {high}lb-in");
            assert_eq!(result(&line)["last"], word, "{source}: {torque}");
        }
    }
}

/// Numbers of a light 4x4 axle: common practice, no source.
#[test]
fn common_practice_rows() {
    // 0.005 in of shim across makes 0.003 in of backlash (0.6).
    let packs = result(
        "side-shims --ring-side 0.090in --far-side 0.090in --backlash 0.006in --wanted 0.009in",
    );
    assert!((packs["ring_moves_mm"].as_f64().unwrap() / INCH - 0.005).abs() < 1e-9);
    // 0.006–0.010 in: a mean of 0.008 in is within.
    let round = result(
        "backlash --reading 0.008in --reading 0.0085in --reading 0.008in --reading 0.0075in --window 0.006in 0.010in --variation 0.002in",
    );
    assert_eq!(round["mean_is"], "within");
    assert_eq!(round["variation_ok"], true);
    // One more shim of 0.0035–0.005 in after the backlash is right: on the ring side it takes some away.
    for shim in [0.0035, 0.005] {
        let line = format!(
            "side-shims --ring-side 0.090in --far-side 0.090in --backlash 0.008in --wanted 0.008in --preload {shim}in --preload-on ring-side"
        );
        let lost = result(&line)["preload_changes_backlash_mm"]
            .as_f64()
            .unwrap()
            / INCH;
        assert!((lost + 0.6 * shim / 2.0).abs() < 1e-9, "{lost}");
    }
    // 3/8-in ring-gear bolts of grade 8 at 55 lb-ft: more than the 44–49 lb-ft of 75 % of proof.
    let bolt = result("fasteners 3/8-24 --grade 8 --torque 55lb-ft --nut-factor 0.20");
    assert!(bolt["share_of_proof"].as_f64().unwrap() > 0.8);
    // A pinion nut at 150 lb-ft passes unasked; total torque 7–11 lb-in above the pinion.
    let sleeve = result("sleeve --window 12lb-in 15lb-in --step 150lb-ft=3lb-in");
    assert_eq!(sleeve["verdict"], "tighten");
    assert!((sleeve["nut_nm"].as_f64().unwrap() - 155.0 * LB_FT).abs() < 1e-3);
    let total = result("torque --pinion 13lb-in --total 22lb-in --rise 7lb-in 11lb-in");
    assert_eq!(total["rise_is"], "within");
    assert!((total["rise_nm"].as_f64().unwrap() - 9.0 * LB_IN).abs() < 1e-9);
}

#[test]
fn text_is_in_the_units_asked_for() {
    let torque = |units: &[&str]| {
        let (status, out, error) = run(&[&["torque", "--pinion", "14 lb-in"], units].concat());
        assert_eq!(status, Some(0), "{error}");
        out
    };
    assert!(torque(&["--units", "in"]).contains("14.0 lb-in"));
    // What was typed in pounds is answered in pounds.
    assert!(torque(&[]).contains("14.0 lb-in"));
    assert!(torque(&["--units", "mm"]).contains("1.58 N·m"));
    assert!(torque(&["--torque-unit", "ncm"]).contains("158 N·cm"));
    assert!(torque(&["--torque-unit", "kgf-cm"]).contains("16.1 kgf·cm"));
    assert!(torque(&["--torque-unit", "lb-ft"]).contains("1.2 lb-ft"));
    let (_, out, _) = run(&["sum", "0.030in", "5thou", "0.0508mm", "--length-unit", "in"]);
    assert!(out.contains("0.0370 in"), "{out}");
    // Input in every unit is one and the same torque.
    for text in [
        "14 lb-in",
        "158.179 N·cm",
        "1.58179 N·m",
        "16.1298 kgf·cm",
        "1.166667 lb-ft",
    ] {
        let (_, out, error) = run(&["torque", "--pinion", text, "--as-written", "--json"]);
        let answer: Value =
            serde_json::from_str(&out).unwrap_or_else(|_| panic!("{text}: {error}"));
        let nm = answer["result"]["mean_nm"].as_f64().unwrap();
        assert!((nm - 14.0 * LB_IN).abs() < 2e-5, "{text}: {nm}");
    }
}

#[test]
fn what_is_missing_or_nonsense_is_asked_back() {
    for (line, part) in [
        (
            "pinion-shim marks --old-shim 0.031in --new-mark 2",
            "never guessed",
        ),
        (
            "pinion-shim marks --old-shim 0.031in --new-mark 40 --mark-unit 0.001in --mark-sense plus-thicker",
            "are the steps 0.01 mm",
        ),
        (
            "pinion-shim gauge --shim-in 0mm --measured 60mm --nominal 60mm",
            "where the shims sit",
        ),
        (
            "pinion-shim marks --old-shim 31mm --new-mark 2",
            "`31 thou` meant",
        ),
        ("backlash --reading 0.2in", "`0.2 mm` meant"),
        ("backlash --reading 0.2", "no unit"),
        (
            "sleeve --window 12lb-in 15lb-in --step 150lb-in=3lb-in",
            "`150 lb-ft` meant",
        ),
        ("preload --trial 0.080in=14lb-in", "window"),
        (
            "preload --trial 0.080in=14lb-ft --window 12lb-in 15lb-in",
            "`14 lb-in`",
        ),
        ("preload --window 12lb-in 15lb-in", "at least one trial"),
        (
            "adjusters --backlash 0.1mm --wanted 0.2mm",
            "travel of a notch",
        ),
        ("fasteners 3/8-24 --grade 8", "friction"),
        ("fasteners 3/8-24 --nut-factor 0.2", "grade"),
        ("fasteners M11 --grade 8.8 --state dry", "pitch"),
        (
            "side-shims --ring-side 2mm --far-side 2mm --backlash 0mm",
            "--wanted",
        ),
        ("case-spread --before 13.932in --after 13.927in", "swapped"),
        ("torque --pinion 22lb-in --total 13lb-in", "swapped"),
        (
            "backlash --reading 0.2mm --window 0.3mm 0.2mm",
            "low then high",
        ),
    ] {
        let arguments: Vec<&str> = line.split(' ').collect();
        let (status, out, error) = run(&arguments);
        assert_eq!(status, Some(2), "{line}: {out}");
        assert!(error.contains(part), "{line}: {error}");
    }
}

#[test]
fn the_card_gives_limits_conventions_and_its_own_ratio() {
    let card = "--card examples/larchfield/card.toml";
    let packs = result(&format!(
        "side-shims {card} --ring-side 2.3mm --far-side 2.1mm --backlash 0.10mm"
    ));
    assert_eq!(packs["ratio"]["source"], "model");
    // Square to the tooth 0.64–0.65 by formula.
    assert!((packs["ratio"]["ratio"].as_f64().unwrap() - 0.65).abs() < 0.05);
    let taught = result(&format!(
        "side-shims {card} --ring-side 2.3mm --far-side 2.1mm --backlash 0.10mm --trial 2.3mm=0.10mm --trial 2.1mm=0.26mm"
    ));
    assert_eq!(taught["ratio"]["source"], "trials");
    // The two trials alone say 0.8.
    assert!(
        taught["ratio"]["ratio"].as_f64().unwrap()
            > packs["ratio"]["ratio"].as_f64().unwrap() + 0.05
    );
    let pack = result(&format!(
        "pinion-shim marks {card} --old-shim 0.030in --new-mark 2"
    ));
    assert!((pack["pack_mm"].as_f64().unwrap() - 0.032 * INCH).abs() < 1e-9);
    // Thicker behind the head bearing: toward the ring gear.
    assert!(pack["pinion_moves_mm"].as_f64().unwrap() < 0.0);
}

#[test]
fn every_station_shows_an_example() {
    for station in [
        "preload",
        "sleeve",
        "side-shims",
        "adjusters",
        "backlash",
        "torque",
        "case-spread",
        "fasteners",
        "sum",
    ] {
        let (status, out, _) = run(&[station, "--help"]);
        assert_eq!(status, Some(0));
        assert!(out.contains("Example: flankread setup "), "{station}");
    }
    for way in ["marks", "gauge", "etched", "dimensions"] {
        let (_, out, _) = run(&["pinion-shim", way, "--help"]);
        assert!(
            out.contains("Example: flankread setup pinion-shim "),
            "{way}"
        );
    }
}
