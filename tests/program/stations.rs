//! Each setup station with the outside check beside it and one case by hand. More numbers from documents: `setup.rs`.

use crate::common::{ended, flankread};
use serde_json::Value;

const INCH: f64 = 25.4;
/// NIST SP 811, B.8: 1 lbf·in = 0.112 984 8 N·m.
const LB_IN: f64 = 0.112_984_829;

/// A station's case: the outside check, the sum by hand, the command line, the key of the result, its value in the key's unit,
/// how near.
type Case = (
    &'static str,
    &'static str,
    &'static str,
    &'static str,
    f64,
    f64,
);

const CASES: [Case; 13] = [
    (
        "TM 9-2320-280-34: shim change is old mark less new mark in .001 in",
        "0.100 + (-3 - 2) x 0.001 = 0.095 in",
        "pinion-shim marks --old-shim 0.100in --old-mark -3 --new-mark 2 --mark-unit 0.001in --mark-sense plus-thinner",
        "/pack_mm",
        0.095 * INCH,
        1e-9,
    ),
    (
        "common practice, no source",
        "behind the head bearing a pinion 0.004 in too far out wants 0.004 in more: 0.030 + 2.504 - 2.500 = 0.034 in",
        "pinion-shim gauge --shim-in 0.030in --measured 2.504in --nominal 2.500in --place behind-head-bearing",
        "/pack_mm",
        0.034 * INCH,
        1e-9,
    ),
    (
        "TM 10-3930-660-34, pinion-cone shim: .030 + .002 - .005 = .027 in",
        "the same",
        "pinion-shim etched --base 0.030in --etched 0.002in --etched -0.005in",
        "/pack_mm",
        0.027 * INCH,
        1e-9,
    ),
    (
        "common practice, no source",
        "4.250 - 1.125 - 3.095 = 0.030 in",
        "pinion-shim dimensions --case 4.250in --bearing 1.125in --mounting-distance 3.095in",
        "/pack_mm",
        0.030 * INCH,
        1e-9,
    ),
    (
        "TM 9-2320-289-34 p. 6-119: new bearings 25-35 lb-in",
        "a line through 0.082 in = 10 and 0.078 in = 50 lb-in meets 30 lb-in, the middle, at 0.082 - 0.004 x 20/40 = 0.080 in",
        "preload --trial 0.082in=10lb-in --trial 0.078in=50lb-in --window 25lb-in 35lb-in",
        "/next_pack_mm",
        0.080 * INCH,
        0.0002 * INCH,
    ),
    (
        "common practice, no source: raise the nut by 5 lb-ft at a time; TM 9-2320-289-34: window 25-35 lb-in",
        "355 + 5 = 360 lb-ft",
        "sleeve --window 25lb-in 35lb-in --step 350lb-ft=2lb-in --step 355lb-ft=7lb-in",
        "/nut_nm",
        360.0 * 12.0 * LB_IN,
        0.01,
    ),
    (
        "TM 9-2320-289-34, Table 6-1: .010 in across makes .005-.008 in of backlash, .65 in the middle",
        "0.0065 / 0.65 = 0.010 in across: 0.095 - 0.010 = 0.085 in",
        "side-shims --ring-side 0.095in --far-side 0.088in --backlash 0in --wanted 0.0065in --ratio 0.65",
        "/ring_side_mm",
        0.085 * INCH,
        1e-9,
    ),
    (
        "SHAIS150A: one notch is about .003 in (0.08 mm) of backlash",
        "a notch of 2.4 / 18 = 0.133 mm makes 0.6 x 0.133 = 0.08 mm: 0.16 mm wants 2 notches",
        "adjusters --backlash 0.04mm --wanted 0.20mm --pitch 2.4mm --notches-per-turn 18",
        "/notches",
        2.0,
        1e-9,
    ),
    (
        "ISO 23509:2016, Annex F, sample 2, as quoted: normal pressure angle 20, spiral angle 38.61",
        "0.100 / (cos 20 x cos 38.61) = 0.1362 mm",
        "backlash --reading 0.100mm --direction square --spiral-angle 38.61",
        "/other_direction_mm",
        0.1362,
        1e-4,
    ),
    (
        "common practice, no source: total is the pinion's own and 7-11 lb-in",
        "22 - 13 = 9 lb-in",
        "torque --pinion 13lb-in --total 22lb-in --rise 7lb-in 11lb-in",
        "/rise_nm",
        9.0 * LB_IN,
        1e-6,
    ),
    (
        "MM-15103: 13.927 to 13.932 is .005 in",
        "the same",
        "case-spread --before 13.927in --after 13.932in --window 0.002in 0.009in",
        "/spread_mm",
        0.005 * INCH,
        1e-9,
    ),
    (
        "IFI N-68, as quoted, on 75 % of proof, 3/8-24 grade 8, K .20: 49 lb-ft",
        "0.75 x 120 000 x 0.7854 (0.375 - 0.9743/24)^2 = 7905 lb; 0.20 x 0.375 x 7905 / 12 = 49.4 lb-ft",
        "fasteners 3/8-24 --grade 8 --nut-factor 0.20",
        "/torque_nm",
        49.4 * 12.0 * LB_IN,
        0.05,
    ),
    (
        "none needed: a sum",
        "0.030 + 0.005 + 0.002 = 0.037 in",
        "sum 0.030in 0.005in 0.002in",
        "/total_mm",
        0.037 * INCH,
        1e-9,
    ),
];

fn answer(line: &str) -> Value {
    let (status, out, error) = ended(flankread().args(["setup", "--json"]).args(line.split(' ')));
    assert_eq!(status, Some(0), "{line}: {error}");
    serde_json::from_str(&out).unwrap()
}

#[test]
fn each_station_agrees_with_its_case_by_hand() {
    for (check, by_hand, line, key, expected, near) in CASES {
        let answer = answer(line);
        let got = answer["result"].pointer(key).and_then(Value::as_f64);
        let got = got.unwrap_or_else(|| panic!("{line}: no {key} in {}", answer["result"]));
        assert!(
            (got - expected).abs() <= near,
            "{check}; {by_hand}: {got} for {expected}"
        );
    }
}

#[test]
fn no_station_is_without_a_case() {
    let (_, help, _) = ended(flankread().args(["setup", "--help"]));
    let commands = help
        .split("Commands:")
        .nth(1)
        .unwrap()
        .split("Options:")
        .next()
        .unwrap();
    let stations: Vec<&str> = commands
        .lines()
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|word| *word != "help")
        .collect();
    assert!(stations.len() >= 10, "{stations:?}");
    for station in stations {
        assert!(
            CASES.iter().any(|case| case.2.starts_with(station)),
            "{station}"
        );
    }
}

/// The manual, local rules and licensed practice go before every station's answer.
#[test]
fn every_station_ends_with_the_caution() {
    for (_, _, line, ..) in CASES {
        let cautions = answer(line)["cautions"].to_string();
        for part in ["manual", "local rules", "licensed"] {
            assert!(cautions.contains(part), "{line}: {cautions}");
        }
    }
}
