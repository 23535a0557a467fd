//! The order of the floors: a room uses what lies below it, never what lies above. DEVELOPERS.md draws the same order.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The rooms from the ground floor up. Those in one line stand side by side and do not know of each other, but for
/// the ground floor, where everything is plain.
const FLOORS: [&[&str]; 18] = [
    &[
        "error",
        "frames",
        "units",
        "trade_words",
        "files",
        "held",
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
    &["command", "fuzzing"],
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

#[path = "../src/batch/build/revision.rs"]
mod revision;

/// Stored readings are kept over a rebuild, and made again when anything that they come from has changed.
#[test]
fn the_reading_s_revision_follows_numbers_and_networks_and_nothing_else() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let copy = tempfile::tempdir().unwrap();
    for room in revision::ROOMS.iter().copied().chain(["report"]) {
        copy_tree(
            &root.join("src").join(room),
            &copy.path().join("src").join(room),
        );
    }
    fs::copy(root.join("Cargo.lock"), copy.path().join("Cargo.lock")).unwrap();
    let now = || revision::revision(copy.path()).unwrap();
    let first = now();
    assert_eq!(first, revision::revision(root).unwrap());
    // Every calibrated number stands in a `calibration.rs` of a stage: the last digit of each file's last number.
    let mut calibrations = 0;
    let stages = [
        "flank/calibration.rs",
        "segment/calibration.rs",
        "reading/calibration.rs",
    ];
    let networks = [
        "network/flank.onnx",
        "network/patch.onnx",
        "network/fine_patch.onnx",
    ];
    for name in stages.into_iter().chain(networks) {
        let path = copy.path().join("src").join(name);
        let bytes = fs::read(&path).unwrap();
        let mut changed = bytes.clone();
        let digit = changed.iter().rposition(u8::is_ascii_digit).unwrap();
        changed[digit] = if changed[digit] == b'9' {
            b'8'
        } else {
            changed[digit] + 1
        };
        fs::write(&path, &changed).unwrap();
        assert_ne!(now(), first, "{name}");
        fs::write(&path, &bytes).unwrap();
        calibrations += 1;
    }
    assert_eq!(calibrations, 6);
    let lock = fs::read_to_string(copy.path().join("Cargo.lock")).unwrap();
    let at = lock.find("name = \"jpeg-decoder\"\nversion = \"").unwrap() + 33;
    let newer = format!("{}9{}", &lock[..at], &lock[at..]);
    fs::write(copy.path().join("Cargo.lock"), newer).unwrap();
    assert_ne!(now(), first);
    fs::write(copy.path().join("Cargo.lock"), lock).unwrap();
    // Drawings and tables make no other reading.
    fs::write(copy.path().join("src/report/mod.rs"), "// other").unwrap();
    assert_eq!(now(), first);
}

fn copy_tree(from: &Path, to: &Path) {
    if from.is_dir() {
        for entry in fs::read_dir(from).unwrap() {
            let path = entry.unwrap().path();
            copy_tree(&path, &to.join(path.file_name().unwrap()));
        }
    } else {
        fs::create_dir_all(to.parent().unwrap()).unwrap();
        fs::copy(from, to).unwrap();
    }
}

/// What `cargo metadata` says of all packages that are built with any feature on this machine.
fn packages() -> Vec<serde_json::Value> {
    let host = Command::new("rustc").arg("-vV").output().unwrap();
    let host = String::from_utf8(host.stdout).unwrap();
    let host = host.lines().find_map(|line| line.strip_prefix("host: "));
    let output = Command::new(env!("CARGO"))
        .args([
            "metadata",
            "--format-version",
            "1",
            "--locked",
            "--all-features",
        ])
        .args(["--filter-platform", host.unwrap()])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
    let all: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let packages = all["packages"].as_array().unwrap().clone();
    // What is built on this machine alone.
    let nodes = all["resolve"]["nodes"].as_array().unwrap();
    let built: BTreeSet<&str> = nodes
        .iter()
        .filter_map(|node| node["id"].as_str())
        .collect();
    let built =
        |package: &serde_json::Value| package["id"].as_str().is_some_and(|id| built.contains(id));
    packages.into_iter().filter(built).collect()
}

/// Licences that let a program under MIT or Apache-2.0 be given away with what they cover, notices kept.
const LICENCES: [&str; 15] = [
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "CDLA-Permissive-2.0",
    "ISC",
    "MIT",
    "MIT-0",
    "NCSA",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
];

/// Whether an SPDX expression leaves a choice among [`LICENCES`]; a slash is an old way of saying OR.
fn is_free(expression: &str) -> bool {
    let expression = expression.trim().replace('/', " OR ");
    let mut depth = 0;
    // The parts between a word that stands outside all brackets.
    let parts = |word: &str, depth: &mut i32| -> Vec<String> {
        let mut parts = vec![String::new()];
        for piece in expression
            .replace('(', " ( ")
            .replace(')', " ) ")
            .split_whitespace()
        {
            *depth += i32::from(piece == "(") - i32::from(piece == ")");
            if piece == word && *depth == 0 {
                parts.push(String::new());
            } else if let Some(last) = parts.last_mut() {
                last.push_str(piece);
                last.push(' ');
            }
        }
        parts
    };
    let either = parts("OR", &mut depth);
    if either.len() > 1 {
        return either.iter().any(|part| is_free(part));
    }
    let both = parts("AND", &mut depth);
    if both.len() > 1 {
        return both.iter().all(|part| is_free(part));
    }
    match expression
        .strip_prefix('(')
        .and_then(|rest| rest.strip_suffix(')'))
    {
        Some(inside) => is_free(inside),
        None => LICENCES.contains(&expression.as_str()),
    }
}

#[test]
fn a_licence_is_free_if_a_choice_of_it_is() {
    for free in [
        "MIT",
        "MIT/Apache-2.0",
        "GPL-3.0 OR MIT",
        "(MIT OR GPL-3.0) AND ISC",
        "Apache-2.0 WITH LLVM-exception OR GPL-3.0",
        "ISC AND (Apache-2.0 OR ISC)",
    ] {
        assert!(is_free(free), "{free}");
    }
    for bound in [
        "GPL-3.0",
        "MIT AND GPL-3.0",
        "(MIT OR ISC) AND LGPL-3.0",
        "",
        "none",
    ] {
        assert!(!is_free(bound), "{bound}");
    }
}

/// Asks for packages that `cargo test` may not have fetched; `.ci/run` runs it.
#[test]
#[ignore = "fetches the packages of all features"]
fn packages_are_free_of_one_source_and_for_our_compiler() {
    let number = |text: &str| -> Vec<u32> { text.split('.').map(|n| n.parse().unwrap()).collect() };
    let ours = number(env!("CARGO_PKG_RUST_VERSION"));
    let mut wrong = Vec::new();
    let packages = packages();
    assert!(packages.len() > 300, "{}", packages.len());
    let mut sources = std::collections::BTreeSet::new();
    for package in &packages {
        let text = |key: &str| package[key].as_str().unwrap_or_default();
        let name = format!("{} {}", text("name"), text("version"));
        if !is_free(text("license")) {
            wrong.push(format!("{name}: licence `{}`", text("license")));
        }
        if text("name") != env!("CARGO_PKG_NAME") {
            sources.insert(text("source"));
        }
        let wants = package["rust_version"].as_str().map(number);
        if wants.is_some_and(|wants| wants[..2] > ours[..2]) {
            wrong.push(format!("{name}: wants Rust {}", text("rust_version")));
        }
    }
    // One registry: nothing from a repository, nothing from a folder.
    assert!(
        sources.len() == 1 && sources.iter().all(|source| source.starts_with("registry+")),
        "{sources:?}"
    );
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
