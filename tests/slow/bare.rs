//! Real photographs of gears that nobody painted: none is read.

use crate::common::{ended, flankread, only_reading, root};
use serde_json::Value;
use std::path::PathBuf;

fn photos() -> Vec<PathBuf> {
    let entries = std::fs::read_dir(root("fixtures/bare")).unwrap();
    let mut photos: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
    photos.retain(|path| path.extension().is_some_and(|ending| ending == "jpg"));
    assert_eq!(photos.len(), 4);
    photos
}

fn reading(photo: &PathBuf, more: &[&str]) -> (Value, Option<i32>) {
    let mut command = flankread();
    command.args(["read", "--json"]).arg(photo).args(more);
    let (status, out, error) = ended(&mut command);
    assert!(!out.is_empty(), "{}: {error}", photo.display());
    (only_reading(out.as_bytes()), status)
}

#[test]
fn real_gears_without_compound_are_refused() {
    for photo in photos() {
        let card = ["--card", "examples/larchfield/card.toml"];
        for more in [&[][..], &card] {
            let (reading, status) = reading(&photo, more);
            let case = format!("{} {more:?}: {reading}", photo.display());
            assert_eq!(reading["status"], "unreadable", "{case}");
            assert_eq!(status, Some(1), "{case}");
            assert!(reading["mean"].is_null(), "{case}");
            assert!(reading["reasons"][0]["code"].is_string(), "{case}");
        }
    }
}

/// Whoever says which flank it is believes that one can be seen: then a photo may be unsure, on which no shim is advised.
#[test]
fn told_which_flank_it_is_no_bare_gear_is_read_either() {
    for photo in photos() {
        for side in ["drive", "coast"] {
            let (reading, _) = reading(&photo, &["--flank", side]);
            assert_ne!(reading["status"], "read", "{} {side}", photo.display());
            assert!(reading["reasons"][0]["code"].is_string());
        }
    }
}
