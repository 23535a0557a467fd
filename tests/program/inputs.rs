//! Photos as phones, scanners and messengers hand them over, written by `fixtures/inputs/make.py` (Pillow and
//! libheif). Each must read like the painted photo that it was made from, whose truth comes from its painter.

use crate::common::{flankread, only_reading, root};
use flankread::Photo;
use image::RgbImage;
use serde_json::Value;
use std::path::{Path, PathBuf};

fn fixture(name: &str) -> PathBuf {
    root("fixtures").join(name)
}

/// The mean centre read, on the marks of the painted photo times `scale`.
fn centre(photo: &Path, scale: f64) -> [f64; 2] {
    let marks = std::fs::read_to_string(fixture("painted/drive-yellow.jpg.marks.json")).unwrap();
    let mut marks: Value = serde_json::from_str(&marks).unwrap();
    for tooth in marks["teeth"].as_array_mut().unwrap() {
        scale_numbers(tooth, scale);
    }
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("marks.json");
    std::fs::write(&file, marks.to_string()).unwrap();
    let output = flankread()
        .args(["read", "--json", "--marks"])
        .args([&file, photo])
        .output()
        .unwrap();
    let reading = only_reading(&output.stdout);
    assert_eq!(
        reading["status"],
        "read",
        "{}: {}",
        photo.display(),
        reading["reasons"]
    );
    ["length", "height"].map(|key| reading["mean"]["centre"][key].as_f64().unwrap())
}

fn scale_numbers(value: &mut Value, scale: f64) {
    match value {
        Value::Number(number) => *value = (number.as_f64().unwrap() * scale).into(),
        Value::Array(all) => all.iter_mut().for_each(|one| scale_numbers(one, scale)),
        Value::Object(all) => all.values_mut().for_each(|one| scale_numbers(one, scale)),
        _ => {}
    }
}

/// Peak signal to noise of the opened photo against the one it was made from, decibels.
fn likeness(photo: &RgbImage, original: &RgbImage) -> f64 {
    assert_eq!(photo.dimensions(), original.dimensions());
    let square: f64 = photo
        .iter()
        .zip(original.iter())
        .map(|(&a, &b)| (f64::from(a) - f64::from(b)).powi(2))
        .sum();
    10.0 * (255.0f64.powi(2) * photo.len() as f64 / square.max(1.0)).log10()
}

fn original() -> RgbImage {
    picture(&Photo::open(fixture("painted/drive-yellow.jpg")).unwrap())
}

fn picture(photo: &Photo) -> RgbImage {
    let (width, height, pixels) = photo.working_rgb();
    RgbImage::from_raw(width, height, pixels.to_vec()).unwrap()
}

/// Opens like its original to `decibels`, and its patch is read where that of the JPEG is: all stand within 0.001 and 0.004 of it.
fn assert_reads_like_the_original(name: &str, decibels: f64) {
    let path = fixture("inputs").join(name);
    let opened = Photo::open(&path).unwrap();
    let alike = likeness(&picture(&opened), &original());
    assert!(alike > decibels, "{name}: {alike:.1} dB");
    let [length, height] = centre(&fixture("painted/drive-yellow.jpg"), 1.0);
    let [l, h] = centre(&path, 1.0);
    assert!(
        (l - length).abs() < 0.002 && (h - height).abs() < 0.005,
        "{name}: {l:.4} {h:.4} for {length:.4} {height:.4}"
    );
}

#[test]
fn heic_reads_like_the_jpeg_whatever_its_range_and_wherever_that_is_said() {
    for name in ["full-range.heic", "limited-range.heic", "profile-only.heic"] {
        assert_reads_like_the_original(name, 38.0);
    }
}

#[test]
fn a_turned_and_a_mirrored_heic_stand_upright() {
    for name in ["turned-2.heic", "turned-6.heic", "turned-7.heic"] {
        assert_reads_like_the_original(name, 38.0);
    }
}

#[test]
fn every_exif_orientation_stands_upright() {
    let original = original();
    for orientation in 1..=8 {
        let name = format!("orientation-{orientation}.jpg");
        let opened = Photo::open(fixture("inputs").join(&name)).unwrap();
        let alike = likeness(&picture(&opened), &original);
        assert!(alike > 33.0, "{name}: {alike:.1} dB");
        assert_eq!((opened.width, opened.height), (960, 720));
    }
    for name in ["orientation-3.jpg", "orientation-5.jpg"] {
        assert_reads_like_the_original(name, 33.0);
    }
}

#[test]
fn progressive_and_four_ink_jpegs_read_like_the_usual_one() {
    assert_reads_like_the_original("progressive.jpg", 36.0);
    assert_reads_like_the_original("cmyk-inverted.jpg", 36.0);
    assert_reads_like_the_original("ycck.jpg", 36.0);
}

#[test]
fn sixteen_bits_a_channel_are_read() {
    let [length, height] = centre(&fixture("painted/drive-yellow.jpg"), 1.0);
    for name in ["sixteen-bit.png", "sixteen-bit.tif"] {
        let [l, h] = centre(&fixture("inputs").join(name), 0.5);
        assert!(
            (l - length).abs() < 0.002 && (h - height).abs() < 0.005,
            "{name}: {l:.4} {h:.4} for {length:.4} {height:.4}"
        );
    }
}

#[test]
fn a_grey_photo_is_read_by_brightness() {
    let [length, height] = centre(&fixture("painted/drive-yellow.jpg"), 1.0);
    let [l, h] = centre(&fixture("inputs/grey.jpg"), 1.0);
    assert!(
        (l - length).abs() < 0.002 && (h - height).abs() < 0.005,
        "{l:.4} {h:.4} for {length:.4} {height:.4}"
    );
}

#[test]
fn a_photo_that_a_messenger_pressed_to_a_megapixel_is_read() {
    // The renderer's truth of h007, of which it is a small copy.
    let truth = std::fs::read_to_string(fixture("rendered/h007.json")).unwrap();
    let truth: Value = serde_json::from_str(&truth).unwrap();
    let output = flankread()
        .args(["read", "--json"])
        .arg(fixture("inputs/messenger.jpg"))
        .output()
        .unwrap();
    let reading = only_reading(&output.stdout);
    assert_eq!(reading["status"], "read", "{}", reading["reasons"]);
    assert_eq!(reading["flank"]["side"], truth["flank"]);
    for (key, index, near) in [("length", 0, 0.02), ("height", 1, 0.02)] {
        let read = reading["mean"]["centre"][key].as_f64().unwrap();
        let true_one = truth["mean"]["center"][index].as_f64().unwrap();
        assert!(
            (read - true_one).abs() < near,
            "{key} {read} for {true_one}"
        );
    }
}
