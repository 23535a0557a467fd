//! `flankread advise` where the card or the bench says something that few do: a light housing, a kit with few shims, teeth
//! that differ, a dial whose setting has not shown, what was looked at again.

use crate::common::{ended, flankread, root};
use serde_json::{Value, json};

/// The high-heel job with its card as a file of its own, changed.
struct Bench {
    folder: tempfile::TempDir,
    job: Value,
}

impl Bench {
    fn with_card(change: impl Fn(String) -> String) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let text = |path: &str| std::fs::read_to_string(root(path)).unwrap();
        let card = folder.path().join("card.toml");
        std::fs::write(&card, change(text("fixtures/cards/larchfield-8in.toml"))).unwrap();
        let mut job: Value = serde_json::from_str(&text("fixtures/jobs/high-heel.json")).unwrap();
        job["card"]["path"] = json!(card.to_str().unwrap());
        Self { folder, job }
    }

    fn new() -> Self {
        Self::with_card(|card| card)
    }

    /// The same, its patches and backlash as they should be.
    fn right() -> Self {
        let mut bench = Self::new();
        let trial = &mut bench.job["trials"][0];
        trial["drive"]["centre"] = json!({"length": 0.48, "height": 0.51});
        trial["coast"]["centre"] = json!({"length": 0.50, "height": 0.50});
        trial["backlash_mm"] = json!([0.20, 0.21, 0.20, 0.19]);
        bench
    }

    fn advice(&self) -> Value {
        assert!(self.folder.path().is_dir());
        let (status, out, error) = ended(
            flankread()
                .args(["advise", "-", "--json"])
                .write_stdin(self.job.to_string()),
        );
        assert_eq!(status, Some(0), "{error}");
        serde_json::from_str(&out).unwrap()
    }
}

fn sentence<'a>(advice: &'a Value, list: &str, part: &str) -> Option<&'a str> {
    let all = advice[list].as_array().into_iter().flatten();
    all.filter_map(Value::as_str)
        .find(|text| text.contains(part))
}

fn asks(advice: &Value, code: &str) -> bool {
    let checks = advice["checks"].as_array().into_iter().flatten();
    checks.into_iter().any(|check| check["code"] == code)
}

/// The number before a unit that follows some words.
fn number_after(text: &str, words: &str) -> f64 {
    let after = text.split_once(words).unwrap().1.trim_start();
    after.split(' ').next().unwrap().parse().unwrap()
}

/// By hand: what carries the pinion reaches from the ring gear's axis to its head, √(101.6² − 35.56²) = 95.2 mm for a ring gear
/// of 8 in and an offset of 1.4 in, and grows by 10e-6 more a kelvin than steel: 0.076 mm in 80 K, 3.0 thou.
#[test]
fn a_light_housing_takes_the_patches_to_the_tip_when_warm_and_the_target_is_meant_cold() {
    let of = |housing: &str| {
        let line = format!("[gear]\nhousing = \"{housing}\"");
        Bench::with_card(|card| card.replace("[gear]", &line)).advice()
    };
    let (light, iron) = (of("aluminium"), of("iron"));
    let caution = sentence(&light, "cautions", "aluminium").expect("a light housing is spoken of");
    let thou = number_after(caution, "stands the pinion about");
    assert!((thou - 3.0).abs() < 0.5, "{caution}");
    assert!(caution.contains("The target is meant cold"), "{caution}");
    // 0.057 to 0.085 of the height per 0.1 mm on both flanks of milled sets: an independent model's nine in ten.
    for flank in ["(drive)", "(coast)"] {
        let (before, _) = caution.split_once(flank).unwrap();
        let up: f64 = before.split_whitespace().last().unwrap().parse().unwrap();
        assert!((0.035..=0.075).contains(&up), "{caution}");
    }
    assert_eq!(sentence(&iron, "cautions", "aluminium"), None);
    assert_eq!(light["move"], iron["move"]);
}

#[test]
fn coast_heights_that_differ_round_the_gear_are_run_out_before_they_are_shims() {
    let warned = |drive: f64, coast: f64| {
        let mut bench = Bench::new();
        for (flank, height) in [("drive", drive), ("coast", coast)] {
            bench.job["trials"][0][flank]["spread"] = json!({"length": 0.01, "height": height});
        }
        sentence(&bench.advice(), "cautions", "runs out radially").is_some()
    };
    // A radial run-out of 0.05 mm moves a coast patch by 0.08 of the height: an independent model's figure.
    assert!(warned(0.01, 0.08));
    assert!(!warned(0.01, 0.02), "readings scatter as much");
    assert!(!warned(0.08, 0.08), "both flanks: not the ring gear alone");
}

/// All shims that the packs of an advice take, in tenths of a thou.
fn taken(advice: &Value, packs: &[&str]) -> Vec<i64> {
    let mut all = Vec::new();
    for pack in packs {
        let pack = &advice["shims"][pack];
        if pack["to_mm"] != pack["from_mm"] {
            let stack = pack["stack_mm"].as_array().into_iter().flatten();
            all.extend(stack.map(|mm| (mm.as_f64().unwrap() / 0.00254).round() as i64));
        }
    }
    all
}

#[test]
fn a_shim_that_the_kit_has_no_more_of_is_in_no_advice() {
    let kit = |counts: [u32; 4]| {
        let sizes = ["0.0025in", "0.004in", "0.007in", "0.030in"];
        let shims: Vec<String> = (sizes.iter().zip(counts))
            .map(|(size, count)| format!("{{size = \"{size}\", count = {count}}}"))
            .collect();
        let counted = format!("pinion_shims = [{}]", shims.join(", "));
        let any = "pinion_shims = [\"0.0025in\", \"0.004in\", \"0.007in\", \"0.030in\"]";
        Bench::with_card(|card| {
            assert!(card.contains(any));
            card.replace(any, &counted)
        })
        .advice()
    };
    let full = kit([9, 9, 9, 9]);
    assert_eq!(full["verdict"], "change");
    assert!(taken(&full, &["pinion"]).contains(&70), "{}", full["shims"]);
    // Without the 7 thou shim, then with one of each of the thin ones only, then with none at all.
    for counts in [[9, 9, 0, 9], [1, 1, 0, 0], [0, 0, 0, 0]] {
        let advice = kit(counts);
        let taken = taken(&advice, &["pinion"]);
        for (size, count) in [25, 40, 70, 300].into_iter().zip(counts) {
            // The pack that is in, 30 thou, may stay.
            let at_hand = count as usize + usize::from(size == 300);
            let used = taken.iter().filter(|shim| **shim == size).count();
            assert!(used <= at_hand, "{counts:?}: {}", advice["shims"]);
        }
        if counts == [0, 0, 0, 0] {
            // The pack stays, or nothing is advised at all.
            let moved = advice["move"]["pinion_mm"].as_f64();
            assert!(moved.is_none_or(|mm| mm == 0.0), "{advice}");
        }
    }
}

#[test]
fn before_an_assembly_is_called_right_the_dial_is_looked_at_unless_it_has_shown_or_was_seen() {
    let mut bench = Bench::right();
    let advice = bench.advice();
    assert_eq!(advice["verdict"], "good");
    assert!(asks(&advice, "dial_setting"), "{advice}");
    let look = sentence(&advice, "why", "how the dial's foot stands").unwrap();
    assert!(
        look.contains("turn it and measure again at four places"),
        "{look}"
    );
    let summary = advice["summary"].as_str().unwrap();
    assert!(
        summary.starts_with("RIGHT, if the dial stands"),
        "{summary}"
    );
    bench.job["trials"][0]["looked"] = json!(["dial_setting"]);
    let seen = bench.advice();
    assert_eq!(seen["verdict"], "good");
    assert!(!asks(&seen, "dial_setting"), "{seen}");
    assert_eq!(seen["summary"], "RIGHT: leave the shims as they are.");
    assert!(seen["chance_now"].as_f64() > advice["chance_now"].as_f64());
    // A card that does not say how the dial stands has no setting to be wrong.
    let unsaid = Bench::with_card(|card| card.replace("backlash_direction = \"square\"\n", ""));
    let mut right = Bench::right();
    right.job["card"] = unsaid.job["card"].clone();
    assert!(!asks(&right.advice(), "dial_setting"));
}

#[test]
fn a_first_chance_counts_what_nothing_can_show_yet_and_says_so() {
    let mut bench = Bench::new();
    let advice = bench.advice();
    let counted = sentence(&advice, "why", "what nothing read so far could show").unwrap();
    for what in [
        "a pack written down wrong",
        "shims on the other side of the bearing",
    ] {
        assert!(counted.contains(what), "{counted}");
    }
    bench.job["trials"][0]["looked"] = json!(["shim_place", "dial_setting", "pack_noted_wrong"]);
    let looked = bench.advice();
    assert_eq!(sentence(&looked, "why", "nothing read so far"), None);
    assert_eq!(looked["move"], advice["move"]);
    let chance = |advice: &Value| advice["chance"].as_f64().unwrap();
    assert!(chance(&looked) > chance(&advice) + 0.02, "{looked}");
}

#[test]
fn what_was_looked_at_and_is_as_told_is_suspected_no_more() {
    let mut bench = Bench::new();
    let mut second = bench.job["trials"][0].clone();
    // The pinion went 0.25 mm toward the ring gear, and both patches rose.
    second["pinion_shim_mm"] = json!(1.016);
    second["drive"]["centre"] = json!({"length": 0.70, "height": 0.76});
    second["coast"]["centre"] = json!({"length": 0.46, "height": 0.84});
    bench.job["trials"].as_array_mut().unwrap().push(second);
    let suspects = |advice: &Value| advice["suspects"].to_string();
    let advice = bench.advice();
    assert!(suspects(&advice).contains("shim_place"), "{advice}");
    assert!(
        sentence(&advice, "why", "say so (looked: ").is_some(),
        "{advice}"
    );
    bench.job["trials"][1]["looked"] = json!(["shim_place"]);
    let looked = suspects(&bench.advice());
    assert!(!looked.contains("shim_place"), "{looked}");
    assert!(looked.contains("pack_noted_wrong"), "{looked}");
}
