//! `flankread read` as a whole, on painted pictures whose truth comes from their painter
//! (`fixtures/painted/paint.py`).

use crate::common::{flankread, only_reading, readings, root};
use serde_json::Value;
use std::path::{Path, PathBuf};

fn painted(name: &str) -> PathBuf {
    root("fixtures/painted").join(name)
}

fn read(arguments: &[&str]) -> std::process::Output {
    flankread().arg("read").args(arguments).output().unwrap()
}

fn reading_of(photo: &Path, more: &[&str]) -> (Value, Option<i32>) {
    let path = photo.to_str().unwrap();
    let output = read(&[&["--json", path], more].concat());
    (only_reading(&output.stdout), output.status.code())
}

/// The mean patch centre as it was painted must be read to a hundredth of the length and two of
/// the height.
fn assert_centre(reading: &Value, name: &str) {
    let truth = std::fs::read_to_string(painted("truth.json")).unwrap();
    let truth: Value = serde_json::from_str(&truth).unwrap();
    let truth = &truth[name]["mean"];
    let centre = &reading["mean"]["centre"];
    let off = |key: &str, index: usize| {
        (centre[key].as_f64().unwrap() - truth[index].as_f64().unwrap()).abs()
    };
    assert!(off("length", 0) < 0.01, "{name}: {centre} for {truth}");
    assert!(off("height", 1) < 0.02, "{name}: {centre} for {truth}");
}

#[test]
fn marked_photos_are_read_as_they_were_painted() {
    for (name, colour) in [
        ("drive-yellow", "yellow"),
        ("coast-white", "white"),
        ("drive-red-turned", "red"),
        ("coast-blue-transferred", "blue"),
    ] {
        let (reading, status) = reading_of(&painted(&format!("{name}.jpg")), &[]);
        assert_eq!(status, Some(0), "{name}: {}", reading["reasons"]);
        assert_eq!(reading["status"], "read", "{name}: {}", reading["reasons"]);
        assert_eq!(reading["compound"]["colour"], colour, "{name}");
        assert_eq!(reading["flank"]["source"], "marked");
        assert_eq!(reading["teeth"].as_array().unwrap().len(), 7);
        assert_centre(&reading, name);
    }
}

#[test]
fn flank_and_polarity_are_inferred_when_the_marks_do_not_say() {
    let folder = tempfile::tempdir().unwrap();
    for name in [
        "drive-yellow",
        "coast-white",
        "drive-red-turned",
        "coast-blue-transferred",
    ] {
        let photo = painted(&format!("{name}.jpg"));
        let marks = std::fs::read_to_string(painted(&format!("{name}.jpg.marks.json"))).unwrap();
        let mut marks: Value = serde_json::from_str(&marks).unwrap();
        let said = marks.as_object_mut().unwrap();
        let polarity = said.remove("polarity").unwrap();
        let flank = said.remove("flank").unwrap();
        let path = folder.path().join("marks.json");
        std::fs::write(&path, marks.to_string()).unwrap();
        let (reading, _) = reading_of(&photo, &["--marks", path.to_str().unwrap()]);
        assert_eq!(reading["flank"]["source"], "inferred", "{name}");
        assert_eq!(reading["flank"]["side"], flank, "{name}");
        assert_eq!(reading["compound"]["polarity"], polarity, "{name}");
        assert_centre(&reading, name);
    }
}

#[test]
fn what_cannot_be_read_is_refused_with_its_reason() {
    for (name, code) in [
        ("blurred", "blurred"),
        ("bare-steel", "no_compound"),
        ("not-rolled", "no_patch"),
    ] {
        let (reading, status) = reading_of(&painted(&format!("{name}.jpg")), &[]);
        assert_eq!(status, Some(1), "{name}");
        assert_eq!(reading["status"], "unreadable", "{name}");
        assert_eq!(reading["reasons"][0]["code"], code, "{name}");
        assert!(reading.get("mean").is_none() && reading.get("teeth").is_none());
    }
}

#[test]
fn several_photos_give_several_readings_and_flags_go_before_marks() {
    let photos = [painted("drive-yellow.jpg"), painted("coast-white.jpg")];
    let photos = photos.each_ref().map(|photo| photo.to_str().unwrap());
    let output = read(&["--json", photos[0], photos[1], "--flank", "coast"]);
    assert_eq!(output.status.code(), Some(0));
    let readings = readings(&output.stdout);
    assert_eq!(readings.len(), 2);
    assert_eq!(readings[0]["flank"]["side"], "coast");
    assert_eq!(readings[0]["flank"]["source"], "given");
}

/// A command that must fail: exit status 2, one sentence, nothing on standard output.
fn assert_refused(arguments: &[&str], words: &str) {
    let output = read(arguments);
    let message = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{message}");
    assert!(output.stdout.is_empty());
    assert_eq!(message.trim_end().lines().count(), 1, "{message}");
    assert!(message.contains(words), "{message}");
}

#[test]
fn bad_input_gets_one_sentence_and_nothing_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str, bytes: &[u8]| {
        let path = folder.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let good = std::fs::read(painted("drive-yellow.jpg")).unwrap();
    let photo = painted("drive-yellow.jpg");
    let photo = photo.to_str().unwrap();
    let empty = file("empty.jpg", b"");
    let text = file("text.jpg", b"this is no photo");
    let cut = file("cut.jpg", &good[..good.len() / 2]);
    // A PNG header of 30,000 × 30,000 pixels with its checksum (CRC of the PNG specification).
    let mut huge = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\x75\x30\0\0\x75\x30\x08\x02\0\0\0".to_vec();
    let sum = png_checksum(&huge[12..]);
    huge.extend(sum.to_be_bytes());
    huge.extend(b"\0\0\0\0IDAT\x35\xaf\x06\x1e");
    let huge = file("huge.png", &huge);
    let unknown = file("card.toml", b"name = \"x\"\n[gear]\nring_theeth = 41\n");
    let outside = file(
        "marks.json",
        br#"{"teeth":[{"toe_root":[10,10],"toe_tip":[10,50],"heel_tip":[9000,50],"heel_root":[9000,10]}]}"#,
    );
    let out = folder.path().join("out");
    let out = out.to_str().unwrap();
    let cases: [(&[&str], &str); 9] = [
        (&[&empty], "is empty"),
        (&[&text], "is not a picture (it is text)"),
        (&[&cut], "is cut short"),
        (&[&huge], "30000 × 30000"),
        (&[folder.path().to_str().unwrap()], "is a folder"),
        (&["missing.jpg"], "cannot read missing.jpg"),
        (&[photo, "--card", "missing.toml"], "missing.toml"),
        (&[photo, "--card", &unknown], "ring_theeth"),
        (&[photo, "--marks", &outside], "outside the photo"),
    ];
    for (arguments, words) in cases {
        assert_refused(&[arguments, &["--out", out]].concat(), words);
        assert!(!Path::new(out).exists(), "{arguments:?}");
    }
    let both = read(&[&empty, &text]);
    let message = String::from_utf8(both.stderr).unwrap();
    assert_eq!((both.status.code(), message.lines().count()), (Some(2), 2));
}

/// The CRC of the PNG specification's annex D, bit by bit.
fn png_checksum(bytes: &[u8]) -> u32 {
    let mut crc = !0u32;
    for &byte in bytes {
        crc ^= u32::from(byte);
        for _ in 0..8 {
            crc = if crc & 1 == 1 {
                0xedb8_8320 ^ (crc >> 1)
            } else {
                crc >> 1
            };
        }
    }
    !crc
}

#[test]
fn pictures_are_written_and_never_overwritten_unasked() {
    let folder = tempfile::tempdir().unwrap();
    let photo = painted("drive-yellow.jpg");
    let out = folder.path().join("pictures");
    let arguments = [photo.to_str().unwrap(), "--out", out.to_str().unwrap()];
    let first = read(&arguments);
    assert_eq!(first.status.code(), Some(0));
    for name in ["drive-yellow.overlay.png", "drive-yellow.flank.png"] {
        let picture = image::open(out.join(name)).unwrap();
        assert!(picture.width() >= 900, "{name}");
    }
    let page = std::fs::read_to_string(out.join("reading.html")).unwrap();
    assert!(page.contains("data:image/jpeg;base64,") && page.contains("<svg"));
    assert!(!page.contains("src=\"http") && !page.contains("href="));
    assert_eq!(std::fs::read_dir(&out).unwrap().count(), 3);
    assert_refused(&arguments, "--force");
    let forced = read(&[&arguments[..], &["--force"]].concat());
    assert_eq!(forced.status.code(), Some(0));
}

#[test]
fn with_a_card_and_both_flanks_advice_follows() {
    let card = root("fixtures/cards/larchfield-8in.toml");
    let (drive, coast) = (painted("drive-yellow.jpg"), painted("coast-white.jpg"));
    let output = read(&[
        "--json",
        "--card",
        card.to_str().unwrap(),
        "--drive",
        drive.to_str().unwrap(),
        "--coast",
        coast.to_str().unwrap(),
        "--backlash",
        "0.20mm",
        "--pinion-shim",
        "0.76mm",
    ]);
    let message = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(0), "{message}");
    let document: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(document["readings"].as_array().unwrap().len(), 2);
    assert_eq!(document["advice"]["schema"], "flankread/advice/2");
    // Both patches as painted, drive (0.62, 0.66): towards heel and tip of a target below both.
    let words = document["advice"]["diagnosis"]["drive"]["length"]
        .as_f64()
        .unwrap();
    let target = 0.62 - words;
    assert!((target - 0.47).abs() < 0.05, "{words}");
}

#[test]
fn without_the_other_flank_it_says_why_there_is_no_advice() {
    let card = root("fixtures/cards/larchfield-8in.toml");
    let drive = painted("drive-yellow.jpg");
    let arguments = ["--card", card.to_str().unwrap(), drive.to_str().unwrap()];
    let said = |more: &[&str]| {
        let output = read(&[&arguments, more].concat());
        let text = String::from_utf8(output.stdout).unwrap();
        assert!(text.contains("no photo shows the coast flanks"), "{text}");
        output.status.code()
    };
    // A photo alone is read with what the card knows of it; with what was measured advice is asked for.
    assert_eq!(said(&[]), Some(0));
    assert_eq!(said(&["--backlash", "0.20mm"]), Some(1));
}

#[test]
fn a_collage_is_read_photo_by_photo_and_bars_are_left_out() {
    let folder = tempfile::tempdir().unwrap();
    let opened = |name: &str| image::open(crate::common::root(name)).unwrap().into_rgb8();
    let pair = ["drive", "coast"].map(|side| opened(&format!("examples/larchfield/{side}.jpg")));
    let (width, height) = pair[0].dimensions();
    let mut collage = image::RgbImage::from_pixel(2 * width, height + 300, image::Rgb([0; 3]));
    for (one, left) in pair.iter().zip([0, width]) {
        image::imageops::replace(&mut collage, one, i64::from(left), 200);
    }
    let path = folder.path().join("both.jpg");
    collage.save(&path).unwrap();
    let card = crate::common::root("examples/larchfield/card.toml");
    let output = flankread()
        .args([
            "read",
            "--json",
            "--backlash",
            "0.28mm",
            "--pinion-shim",
            "0.030in",
            "--card",
        ])
        .args([&card, &path])
        .output()
        .unwrap();
    let answer: Value = serde_json::from_slice(&output.stdout).unwrap();
    let readings = answer["readings"].as_array().unwrap();
    assert_eq!(readings.len(), 2, "{answer}");
    assert_eq!(answer["advice"]["verdict"], "change", "{answer}");
    for (reading, (side, left)) in readings
        .iter()
        .zip([("drive", 0.0), ("coast", f64::from(width))])
    {
        assert_eq!(reading["flank"]["side"], side, "{reading}");
        let area = &reading["photo"]["area"];
        assert!(
            (area["left"].as_f64().unwrap() - left).abs() < 20.0,
            "{area}"
        );
        assert!(
            (area["top"].as_f64().unwrap() - 200.0).abs() < 20.0,
            "{area}"
        );
        // Corners are pixels of the whole picture.
        let heel = reading["teeth"][0]["corners"]["heel_root"][0]
            .as_f64()
            .unwrap();
        assert!((left..left + f64::from(width)).contains(&heel), "{heel}");
    }
    // Whoever asks for one reading of it is told what it is.
    let worker = flankread()
        .arg("worker")
        .write_stdin(format!("{}\n", serde_json::json!({"photo": path})))
        .output()
        .unwrap();
    let line: Value = serde_json::from_slice(&worker.stdout).unwrap();
    assert_eq!(line["reading"]["reasons"][0]["code"], "collage", "{line}");
}

/// The toe of the rendered pair's drive flanks lies to the right (examples/larchfield/drive.json).
#[test]
fn a_toe_said_to_be_at_the_other_end_makes_it_unsure_and_the_text_says_what_the_document_says() {
    let drive = root("examples/larchfield/drive.jpg");
    let (reading, _) = reading_of(&drive, &["--toe", "right"]);
    assert_eq!(reading["status"], "read", "{reading}");
    let (reading, _) = reading_of(&drive, &["--toe", "left"]);
    assert_eq!(reading["status"], "unsure");
    assert_eq!(reading["reasons"][0]["code"], "which_end");
    let output = read(&[drive.to_str().unwrap(), "--toe", "left"]);
    let text = String::from_utf8(output.stdout).unwrap();
    let message = reading["reasons"][0]["message"].as_str().unwrap();
    assert!(text.contains(message), "{text}");
    let percent = |place: &str| 100.0 * reading.pointer(place).unwrap().as_f64().unwrap();
    let centre = format!(
        "{:.0} ± {:.0} % of the length from the toe, {:.0} ± {:.0} % of the height from the root",
        percent("/mean/centre/length"),
        percent("/uncertainty/length"),
        percent("/mean/centre/height"),
        percent("/uncertainty/height"),
    );
    assert!(text.contains(&centre), "{centre}: {text}");
}
