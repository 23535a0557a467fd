//! The order of the floors: a room uses what lies below it, never what lies above. DEVELOPERS.md draws the same order.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// The rooms from the ground floor up. Those in one line stand side by side and do not know of each other, but for
/// the ground floor, where everything is plain.
const FLOORS: [&[&str]; 18] = [
    &[
        "error",
        "frames",
        "units",
        "trade_words",
        "files",
        "least_squares",
    ],
    &["schema"],
    &["photo"],
    &["network"],
    &["flank"],
    &["segment"],
    &["reading"],
    &["gear"],
    &["contact"],
    &["card"],
    &["rules"],
    &["setup"],
    &["job"],
    &["batch"],
    &["report"],
    &["lesson"],
    &["page"],
    &["command"],
];

fn floor_of(room: &str) -> Option<usize> {
    FLOORS.iter().position(|floor| floor.contains(&room))
}

/// All source files below a folder.
fn sources(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(sources(&path));
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            found.push(path);
        }
    }
    found
}

/// The room a file stands in: the folder or file right below `src`.
fn room_of(file: &Path, src: &Path) -> String {
    let below = file.strip_prefix(src).unwrap();
    let first = Path::new(below.iter().next().unwrap());
    first.file_stem().unwrap().to_string_lossy().into_owned()
}

/// The rooms that a line of code names behind `crate::`, comments left out. `crate::{a, b}` is not written in this house.
fn rooms_named(line: &str) -> Vec<&str> {
    let code = line.split("//").next().unwrap_or_default();
    code.split("crate::")
        .skip(1)
        .map(|rest| {
            let end = rest.find(|c: char| !(c.is_ascii_lowercase() || c == '_'));
            &rest[..end.unwrap_or(rest.len())]
        })
        .filter(|room| !room.is_empty())
        .collect()
}

#[test]
fn no_room_uses_one_above_it() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut wrong = BTreeSet::new();
    for file in sources(&src) {
        let room = room_of(&file, &src);
        if room == "lib" || room == "main" {
            continue;
        }
        let here = floor_of(&room).unwrap_or_else(|| panic!("{room} stands on no floor"));
        for line in fs::read_to_string(&file).unwrap().lines() {
            for used in rooms_named(line) {
                let Some(there) = floor_of(used) else {
                    panic!("{}: crate::{used} is no room", file.display());
                };
                if there > here {
                    wrong.insert(format!("{}: {}", file.display(), line.trim()));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn every_floor_is_a_room() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    for room in FLOORS.concat() {
        let there = src.join(room).is_dir() || src.join(format!("{room}.rs")).is_file();
        assert!(there, "{room} is on a floor and is no room");
    }
}
