//! Thirty readable photos and five that must be refused, rendered from seeds that no network and no rule was fitted to: read
//! without a word, and held to what the README says of them. Truth: `examples/training/photos.py`, which counts it on the
//! renderer's own contact function.

use crate::common::{flankread, only_reading, root};
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;
use std::thread::ScopedJoinHandle;

/// A photo with its truth and its reading.
struct Golden {
    truth: Value,
    reading: Value,
}

impl Golden {
    fn is_readable(&self) -> bool {
        self.truth["status"] == "ok"
    }

    fn is_read(&self) -> bool {
        self.reading["status"] == "read"
    }

    /// How far the mean centre is off and the printed ±, of length (0) or height (1).
    fn error(&self, axis: usize) -> (f64, f64) {
        let key = ["length", "height"][axis];
        let centre = self.reading["mean"]["centre"][key].as_f64().unwrap();
        let truth = self.truth["mean"]["center"][axis].as_f64().unwrap();
        let said = self.reading["uncertainty"][key].as_f64().unwrap();
        ((centre - truth).abs(), said)
    }
}

/// All of them, each read by itself: photos that are given together are taken to be of one gear set.
fn all() -> &'static [Golden] {
    static ALL: LazyLock<Vec<Golden>> = LazyLock::new(|| {
        let folders = ["fixtures/golden/close", "fixtures/golden/workshop"];
        let mut photos: Vec<PathBuf> = (folders.iter())
            .flat_map(|folder| std::fs::read_dir(root(folder)).unwrap())
            .map(|entry| entry.unwrap().path())
            .collect();
        photos.retain(|path| path.extension().is_some_and(|ending| ending == "jpg"));
        // The other tests of this file wait for these: their cores help.
        std::thread::scope(|scope| {
            let parts = photos.chunks(photos.len().div_ceil(4));
            let readers: Vec<_> = parts
                .map(|part| scope.spawn(|| part.iter().map(|photo| golden(photo)).collect()))
                .collect();
            let read = |reader: ScopedJoinHandle<'_, Vec<Golden>>| reader.join().unwrap();
            readers.into_iter().flat_map(read).collect()
        })
    });
    &ALL
}

fn golden(photo: &Path) -> Golden {
    let truth = std::fs::read_to_string(photo.with_extension("json")).unwrap();
    let output = flankread().args(["read", "--json"]).arg(photo).output();
    Golden {
        truth: serde_json::from_str(&truth).unwrap(),
        reading: only_reading(&output.unwrap().stdout),
    }
}

/// The value below which a share of the values lies, straight between neighbours: as `examples/evaluation/accuracy` has it.
fn quantile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let at = share * (sorted.len() - 1) as f64;
    let next = sorted[(at.floor() as usize + 1).min(sorted.len() - 1)];
    sorted[at.floor() as usize] * (1.0 - at.fract()) + next * at.fract()
}

/// Median and nine in ten.
fn spread(errors: &[f64]) -> [f64; 2] {
    [quantile(errors, 0.5), quantile(errors, 0.9)]
}

/// The cells of the README's row about these photos.
fn shown() -> Vec<String> {
    let text = std::fs::read_to_string(root("README.md")).unwrap();
    let row = text.lines().find(|line| line.contains("`fixtures/golden`"));
    let row = row.expect("a row about `fixtures/golden`");
    row.split('|').map(|cell| cell.trim().to_owned()).collect()
}

#[test]
fn photos_that_had_no_say_are_read_as_well_as_the_readme_says() {
    let all = all();
    let readable: Vec<&Golden> = all.iter().filter(|one| one.is_readable()).collect();
    assert_eq!((readable.len(), all.len()), (30, 35));
    let read: Vec<&&Golden> = readable.iter().filter(|one| one.is_read()).collect();
    let errors =
        [0, 1].map(|axis| -> Vec<f64> { read.iter().map(|one| one.error(axis).0).collect() });
    let [length, height] = [spread(&errors[0]), spread(&errors[1])];
    let row = format!(
        "{} of 30 | {:.3} / {:.3} | {:.3} / {:.3}",
        read.len(),
        length[0],
        length[1],
        height[0],
        height[1]
    );
    println!("{row}");
    let shown = shown();
    let count: usize = shown[2].strip_suffix(" of 30").unwrap().parse().unwrap();
    assert!(
        read.len() >= count && read.len() <= count + 2,
        "measured: {row}"
    );
    for (cell, measured) in [(&shown[3], length), (&shown[4], height)] {
        let (median, nine) = cell.split_once(" / ").unwrap();
        for (said, is) in [median, nine].iter().zip(measured) {
            let said: f64 = said.parse().unwrap();
            // Processors round differently; a figure that has become better by much is to be written anew.
            assert!(
                (said - 0.012..said + 0.002).contains(&is),
                "measured: {row}"
            );
        }
    }
}

/// Of the photos that are read, the right kind of flank is named, and nine in ten hold the truth within their ±; these do
/// not so because the ± were wide.
#[test]
fn flanks_and_uncertainties_of_photos_that_had_no_say_are_true() {
    let all = all();
    let read: Vec<&Golden> = all.iter().filter(|one| one.is_read()).collect();
    for one in &read {
        assert!(one.is_readable(), "{}", one.reading["photo"]["path"]);
        assert_eq!(one.reading["flank"]["side"], one.truth["flank"]);
    }
    for axis in [0, 1] {
        let errors: Vec<(f64, f64)> = read.iter().map(|one| one.error(axis)).collect();
        let held = errors.iter().filter(|(off, said)| off <= said).count();
        assert!(10 * held >= 9 * read.len(), "{held} of {}", read.len());
        let said: Vec<f64> = errors.iter().map(|error| error.1).collect();
        assert!(spread(&said)[1] < 0.13, "{:?}", spread(&said));
    }
}

/// How the gear was cut is told of a third and more, and where it is told it is so but for one in ten: as it is promised.
#[test]
fn the_cutting_method_is_told_where_the_teeth_show_it() {
    let told: Vec<(String, String)> = (all().iter().filter(|one| one.is_read()))
        .filter_map(|one| {
            let method = one.reading["cutting"]["method"].as_str()?;
            let truth = one.truth["method"].as_str().unwrap().replace('_', "-");
            Some((method.to_owned(), truth))
        })
        .collect();
    let right = told.iter().filter(|(told, truth)| told == truth).count();
    assert!(told.len() >= 9, "{told:?}");
    assert!(told.len() - right <= told.len() / 10, "{told:?}");
}

/// A card that has the other method gets a remark, and the reading stands.
#[test]
fn a_card_of_the_other_cutting_method_is_doubted_and_the_reading_stands() {
    let photo = root("fixtures/golden/close/h003.jpg");
    let truth = std::fs::read_to_string(photo.with_extension("json")).unwrap();
    let truth: Value = serde_json::from_str(&truth).unwrap();
    assert_eq!(truth["method"], "face_hobbed");
    let teeth = truth["gear"]["teeth"].to_string();
    let diameter = format!("{}mm", truth["gear"]["outer_diameter"]);
    let remarks = |cutting: &str| -> (String, Vec<Value>) {
        let output = flankread()
            .args([
                "read",
                "--json",
                "--cutting",
                cutting,
                "--ring-teeth",
                &teeth,
            ])
            .args(["--ring-diameter", &diameter])
            .arg(&photo)
            .output();
        let answer: Value = serde_json::from_slice(&output.unwrap().stdout).unwrap();
        let reading = answer["readings"].get(0).unwrap_or(&answer);
        let reasons = reading["reasons"].as_array().unwrap();
        let codes = reasons.iter().map(|reason| reason["code"].clone());
        let status = reading["status"].as_str().unwrap().to_owned();
        (status, codes.collect())
    };
    let other = remarks("face-milled");
    assert_eq!(
        other,
        ("read".to_owned(), vec![Value::from("cutting_differs")])
    );
    assert_eq!(remarks("face-hobbed"), ("read".to_owned(), Vec::new()));
}
