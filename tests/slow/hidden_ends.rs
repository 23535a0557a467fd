//! Something in front of one end of every flank: the reading is that of the whole flank, or there is none.

use crate::common::{flankread, only_reading, root};
use image::{Rgb, RgbImage};
use serde_json::Value;
use std::path::Path;

type Point = (f64, f64);

const PHOTO: &str = "fixtures/rendered/h007";

fn truth() -> Value {
    let text = std::fs::read_to_string(root(&format!("{PHOTO}.json"))).unwrap();
    serde_json::from_str(&text).unwrap()
}

/// The middles of the two ends of every flank, from the renderer's corners, in order along the row: the hidden one first.
fn ends(truth: &Value, end: &str) -> Vec<(Point, Point)> {
    let middle = |corners: &Value, of: [usize; 2]| {
        let sum = |axis: usize| {
            of.map(|i| corners[i][axis].as_f64().unwrap())
                .iter()
                .sum::<f64>()
        };
        (sum(0) / 2.0, sum(1) / 2.0)
    };
    // Numbered round the gear: those about the first, which stand in a row before the camera.
    let count = truth["gear"]["teeth"].as_i64().unwrap();
    let from_first = |tooth: &Value| {
        let number = tooth["tooth"].as_i64().unwrap();
        if 2 * number > count {
            number - count
        } else {
            number
        }
    };
    let mut teeth: Vec<&Value> = truth["teeth"].as_array().unwrap().iter().collect();
    teeth.sort_by_key(|tooth| from_first(tooth));
    teeth.retain(|tooth| tooth["corners"].is_array() && from_first(tooth) < 10);
    teeth
        .into_iter()
        .map(|tooth| {
            let (toe, heel) = (
                middle(&tooth["corners"], [0, 1]),
                middle(&tooth["corners"], [2, 3]),
            );
            if end == "toe" {
                (toe, heel)
            } else {
                (heel, toe)
            }
        })
        .collect()
}

fn inside(quad: &[Point; 4], (x, y): Point) -> bool {
    let side = |i: usize| {
        let (a, b) = (quad[i], quad[(i + 1) % 4]);
        (b.0 - a.0) * (y - a.1) - (b.1 - a.1) * (x - a.0)
    };
    let sides = [0, 1, 2, 3].map(side);
    sides.iter().all(|s| *s >= 0.0) || sides.iter().all(|s| *s <= 0.0)
}

/// The photo with a grey plate before this share of the flanks next to an end.
fn covered(share: f64, end: &str, to: &Path) {
    let mut picture = image::open(root(&format!("{PHOTO}.jpg")))
        .unwrap()
        .into_rgb8();
    let along = |(a, b): (Point, Point), t: f64| (a.0 + t * (b.0 - a.0), a.1 + t * (b.1 - a.1));
    let ends = ends(&truth(), end);
    let mut cut: Vec<(Point, Point)> = ends
        .iter()
        .map(|&flank| (along(flank, share), along(flank, -1.5)))
        .collect();
    // On beyond the first and the last tooth.
    let beyond = |one: (Point, Point), two: (Point, Point)| {
        (along((one.0, two.0), -2.5), along((one.1, two.1), -2.5))
    };
    let last = cut.len() - 1;
    let (before, after) = (beyond(cut[0], cut[1]), beyond(cut[last], cut[last - 1]));
    cut.insert(0, before);
    cut.push(after);
    let quads: Vec<[Point; 4]> = cut
        .windows(2)
        .map(|pair| [pair[0].0, pair[1].0, pair[1].1, pair[0].1])
        .collect();
    for (x, y, pixel) in picture.enumerate_pixels_mut() {
        if quads
            .iter()
            .any(|quad| inside(quad, (f64::from(x), f64::from(y))))
        {
            let grain = (x.wrapping_mul(73_856_093) ^ y.wrapping_mul(19_349_663)) >> 29;
            *pixel = Rgb([54, 53, 56].map(|level: u8| level + grain as u8));
        }
    }
    save(&picture, to);
}

fn save(picture: &RgbImage, to: &Path) {
    let file = std::fs::File::create(to).unwrap();
    let encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(file, 90);
    picture.write_with_encoder(encoder).unwrap();
}

#[test]
fn a_hidden_end_is_no_end_of_the_flank() {
    let folder = tempfile::tempdir().unwrap();
    let photo = folder.path().join("covered.jpg");
    let length = truth()["mean"]["center"][0].as_f64().unwrap();
    for end in ["toe", "heel"] {
        for share in [0.1, 0.2, 0.5] {
            covered(share, end, &photo);
            let output = flankread()
                .args(["read", "--json"])
                .arg(&photo)
                .output()
                .unwrap();
            let reading = only_reading(&output.stdout);
            let case = format!(
                "{end} {share}: {} {}",
                reading["status"], reading["reasons"]
            );
            if reading["status"] == "read" {
                let read = reading["mean"]["centre"]["length"].as_f64().unwrap();
                let within = reading["uncertainty"]["length"].as_f64().unwrap();
                assert!(
                    (read - length).abs() < within,
                    "{case}: {read} ± {within}, is {length}"
                );
            }
        }
    }
}
