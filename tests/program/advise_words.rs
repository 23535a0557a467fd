//! `flankread advise`: the sentences say what the numbers beside them say.

use super::advise::{advice, job};
use serde_json::json;

/// What is told in words is what stands in numbers, on a set whose pinion is too far out and on one whose is too far in.
#[test]
fn sentences_tell_the_ways_and_packs_that_the_numbers_have() {
    let mut low = job();
    for side in ["drive", "coast"] {
        let centre = &mut low["trials"][0][side]["centre"];
        centre["height"] = json!(0.98 - centre["height"].as_f64().unwrap());
    }
    low["trials"][0]["drive"]["centre"]["length"] = json!(0.36);
    let mut pinions = Vec::new();
    for job in [job(), low] {
        let advice = advice(&job);
        let why: Vec<&str> = (advice["why"].as_array().unwrap().iter())
            .map(|sentence| sentence.as_str().unwrap())
            .collect();
        let why = why.join("\n");
        let summary = advice["summary"].as_str().unwrap();
        let thou = |mm: f64| format!("{:.1} thou", mm / 0.0254);
        let moved = |gear: &str| advice["move"][gear].as_f64().unwrap();
        let way = |mm: f64| if mm < 0.0 { "toward" } else { "away from" };
        let pinion = moved("pinion_mm");
        let effect = if pinion < 0.0 { "lowers" } else { "raises" };
        for part in [
            format!(
                "Move the pinion {} {} the ring gear",
                thou(pinion.abs()),
                way(pinion)
            ),
            format!("that {effect} both patches"),
        ] {
            assert!(why.contains(&part), "{part}: {why}");
        }
        let ring = moved("ring_mm");
        if ring != 0.0 {
            let backlash = if ring < 0.0 { "less" } else { "more" };
            let part = format!("{} the pinion for {backlash} backlash", way(ring));
            assert!(why.contains(&part), "{part}: {why}");
        }
        let pack = |edge: &str| advice["shims"]["pinion"][edge].as_f64().unwrap();
        let (from, to) = (pack("from_mm"), pack("to_mm"));
        let does = if to < from { "take out" } else { "add" };
        for part in [
            format!("{} → {}", thou(from), thou(to)),
            format!("{does} {}", thou((to - from).abs())),
        ] {
            assert!(summary.contains(&part), "{part}: {summary}");
        }
        let trial = &job["trials"][0]["drive"]["centre"];
        let end = if trial["length"].as_f64().unwrap() < 0.47 {
            "toe"
        } else {
            "heel"
        };
        let up = if trial["height"].as_f64().unwrap() < 0.5 {
            "root"
        } else {
            "tip"
        };
        let drive = why.lines().next().unwrap();
        assert!(drive.contains(&format!(" % to the {end} and ")), "{drive}");
        assert!(
            drive.contains(&format!(" % to the {up} of its target")),
            "{drive}"
        );
        pinions.push(pinion);
    }
    assert!(pinions[0] < 0.0 && pinions[1] > 0.0, "{pinions:?}");
}
