//! Every screen that tells someone to change, torque or close defers to the manual, local rules and licensed practice. The
//! stations of `setup` are held by `stations.rs`.

use crate::common::{ended, flankread, painted_copy};
use serde_json::{Value, json};
use std::io::Write as _;
use std::path::Path;

const CARD: &str = "examples/larchfield/card.toml";

/// The deference in whatever words the screen has it.
fn defers(what: &str, text: &str) {
    let plain = text
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
        .to_lowercase();
    for part in ["manual", "local rules", "licensed"] {
        assert!(plain.contains(part), "{what} does not say `{part}`: {text}");
    }
}

fn out(arguments: &[&str]) -> String {
    let (status, out, error) = ended(flankread().args(arguments));
    assert_eq!(status, Some(0), "{arguments:?}: {error}");
    out
}

#[test]
fn advice_under_every_verdict_defers() {
    let fixture =
        std::fs::read_to_string(crate::common::root("fixtures/jobs/high-heel.json")).unwrap();
    let mut job: Value = serde_json::from_str(&fixture).unwrap();
    job["card"]["path"] = json!(crate::common::root("fixtures/cards/larchfield-8in.toml"));
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("job.json");
    let mut seen = Vec::new();
    for (backlash_mm, drive, coast) in [
        (0.20, [0.47, 0.50], Some([0.50, 0.50])),
        (0.24, [0.62, 0.63], Some([0.49, 0.69])),
        (0.24, [0.62, 0.63], None),
        (0.24, [0.80, 0.50], Some([0.18, 0.50])),
    ] {
        let mut trial = job["trials"][0].clone();
        trial["backlash_mm"] = json!([backlash_mm]);
        trial["drive"]["centre"] = json!({"length": drive[0], "height": drive[1]});
        match coast {
            Some([length, height]) => {
                trial["coast"]["centre"] = json!({"length": length, "height": height})
            }
            None => trial["coast"] = Value::Null,
        }
        // Photographed twice and the same: no misreading.
        job["trials"] = json!([trial, trial]);
        std::fs::File::create(&path)
            .unwrap()
            .write_all(job.to_string().as_bytes())
            .unwrap();
        let path = path.to_str().unwrap();
        let advice: Value = serde_json::from_str(&out(&["advise", path, "--json"])).unwrap();
        let verdict = advice["verdict"].as_str().unwrap().to_owned();
        defers(&verdict, &advice["cautions"].to_string());
        let text = out(&["advise", path]);
        defers(&verdict, text.split("Cautions").nth(1).unwrap());
        seen.push(verdict);
    }
    seen.sort();
    assert_eq!(seen, ["beyond_shims", "change", "good", "measure"]);
}

#[test]
fn the_page_of_a_reading_defers_with_a_card_and_without() {
    let folder = tempfile::tempdir().unwrap();
    for (name, card) in [
        (
            "with",
            &[
                "--card",
                CARD,
                "--backlash",
                "11thou",
                "--pinion-shim",
                "30thou",
            ][..],
        ),
        ("without", &[]),
    ] {
        let to = folder.path().join(name);
        let photos = [
            "read",
            "--drive",
            "examples/larchfield/drive.jpg",
            "--coast",
            "examples/larchfield/coast.jpg",
            "--out",
        ];
        let screen = out(&[&photos[..], &[to.to_str().unwrap()], card].concat());
        defers(name, screen.split("Cautions").nth(1).unwrap());
        let page = std::fs::read_to_string(to.join("reading.html")).unwrap();
        let cautions = page.split("<h2>Cautions</h2>").nth(1).unwrap();
        defers(name, cautions.split("</ul>").next().unwrap());
        // What to do stands before the pictures and the reasons.
        let heading = page.find("<h1>").unwrap();
        assert!(
            heading < page.find("<svg").unwrap()
                && page.find("<svg").unwrap() < page.find("<h2>Why</h2>").unwrap()
        );
        let title = page
            .split("<h1>")
            .nth(1)
            .unwrap()
            .split("</h1>")
            .next()
            .unwrap();
        assert!(title.contains("pinion"), "{title}");
    }
}

#[test]
#[ignore = "slow: by .ci/run"]
fn a_batch_that_tells_to_move_gears_defers_in_table_sheet_and_reply() {
    let folder = tempfile::tempdir().unwrap();
    // Both a little high, and one high, one low: without a card only the first tells which way to go.
    for (set, photos) in [
        (
            "plain",
            ["drive-red-turned.jpg", "coast-blue-transferred.jpg"],
        ),
        ("card", ["drive-yellow.jpg", "coast-white.jpg"]),
    ] {
        for (photo, name) in photos.iter().zip(["1-drive.jpg", "1-coast.jpg"]) {
            painted_copy(photo, &folder.path().join(set).join(name), "");
        }
    }
    std::fs::copy(
        crate::common::root(CARD),
        folder.path().join("card/card.toml"),
    )
    .unwrap();
    let list = folder.path().join("card/list.csv");
    std::fs::write(
        &list,
        "Photo;Backlash;Pinion Shim\n1-drive.jpg;0,25 mm;30 thou\n1-coast.jpg;;\n",
    )
    .unwrap();
    for which in ["plain", "card"] {
        let inbox = folder.path().join(which);
        let mut arguments = vec!["batch", inbox.to_str().unwrap()];
        if which == "card" {
            arguments.extend(["--manifest", list.to_str().unwrap()]);
        }
        let table = out(&arguments);
        assert!(table.contains("pinion"), "{table}");
        defers("table", table.split("Caution").nth(1).unwrap());
        let file = |name: &str| {
            std::fs::read_to_string(Path::new(&inbox).join("flankread-batch").join(name)).unwrap()
        };
        defers(
            "reply",
            file("replies.txt").split("Cautions").nth(1).unwrap(),
        );
        defers(
            "sheet",
            file("sheet.html")
                .rsplit("Look at the outlines")
                .next()
                .unwrap(),
        );
        let line: Value = serde_json::from_str(file("sets.jsonl").lines().next().unwrap()).unwrap();
        let has = if which == "card" {
            "advice"
        } else {
            "direction"
        };
        defers("line", &line[has]["cautions"].to_string());
    }
}
