//! `flankread doctor`: it tells what this build opens as it opens it, changes nothing, and its exit status tells a damaged
//! database from one that is not there.

use crate::common::{ended, flankread, root};
use assert_cmd::Command;
use serde_json::Value;
use std::path::Path;

fn doctor(db: &Path) -> Command {
    let mut command = flankread();
    command.args(["doctor", "--json", "--db"]).arg(db);
    command
}

fn document(text: &str) -> Value {
    serde_json::from_str(text).unwrap_or_else(|error| panic!("{error}: {text}"))
}

fn begin(db: &Path) {
    let mut command = flankread();
    command.args([
        "job",
        "new",
        "Rear",
        "--card",
        "examples/larchfield/card.toml",
        "--db",
    ]);
    let (status, _, error) = ended(command.arg(db));
    assert_eq!(status, Some(0), "{error}");
}

#[test]
fn it_opens_the_kinds_of_photo_that_it_names_and_no_other() {
    let folder = tempfile::tempdir().unwrap();
    let webp = folder.path().join("photo.webp");
    let picture = image::open(root("fixtures/inputs/grey.jpg")).unwrap();
    picture.save(&webp).unwrap();
    let (status, out, _) = ended(&mut doctor(&folder.path().join("none.db")));
    assert_eq!(status, Some(0));
    let told = document(&out);
    let photos = [
        ("JPEG", root("fixtures/inputs/grey.jpg")),
        ("PNG", root("fixtures/inputs/sixteen-bit.png")),
        ("WebP", webp),
        ("TIFF", root("fixtures/inputs/sixteen-bit.tif")),
        ("HEIC", root("fixtures/inputs/turned-2.heic")),
    ];
    let formats = told["formats"].as_array().unwrap();
    assert_eq!(formats.len(), photos.len());
    for (format, (name, photo)) in formats.iter().zip(photos) {
        assert_eq!(format["name"], name);
        let opened = flankread::Photo::open(photo).is_ok();
        assert_eq!(format["read"], opened, "{name}");
    }
}

/// `weights.sha256` is written by sha256sum.
#[test]
fn its_networks_are_the_files_of_the_source() {
    let (_, out, _) = ended(&mut doctor(Path::new("none.db")));
    let told = document(&out);
    let sums = std::fs::read_to_string(root("src/network/weights.sha256")).unwrap();
    let networks = told["networks"].as_array().unwrap();
    assert_eq!(networks.len(), sums.lines().count());
    for (network, line) in networks.iter().zip(sums.lines()) {
        let [sum, name] = ["sha256", "name"].map(|key| network[key].as_str().unwrap());
        assert_eq!(line, format!("{sum}  {name}.onnx"));
    }
}

#[test]
fn a_damaged_database_is_exit_status_3_and_is_not_copied() {
    let folder = tempfile::tempdir().unwrap();
    let (db, copy) = (folder.path().join("w.db"), folder.path().join("copy.db"));
    let (status, out, _) = ended(&mut doctor(&db));
    assert_eq!(status, Some(0));
    assert_eq!(document(&out)["database"]["health"], "absent");
    assert!(!db.exists());
    begin(&db);
    let (status, out, error) = ended(doctor(&db).arg("--backup").arg(&copy));
    assert_eq!(status, Some(0), "{error}");
    let told = document(&out);
    assert_eq!(told["database"]["health"], "whole");
    assert_eq!(told["database"]["jobs"], 1);
    let list = |db: &Path| ended(flankread().args(["job", "list", "--json", "--db"]).arg(db)).1;
    assert_eq!(list(&copy), list(&db));
    let (status, _, error) = ended(doctor(&db).arg("--backup").arg(&copy));
    assert_eq!(status, Some(2));
    assert!(error.contains("--force"), "{error}");
    let mut bytes = std::fs::read(&db).unwrap();
    let end = bytes.len();
    bytes[4096..end].fill(0);
    std::fs::write(&db, bytes).unwrap();
    let kept = std::fs::read(&copy).unwrap();
    let (status, out, error) = ended(doctor(&db).arg("--force").arg("--backup").arg(&copy));
    assert_eq!(status, Some(3), "{error}");
    let told = document(&out);
    assert_eq!(told["database"]["health"], "damaged");
    assert!(told.get("backup").is_none(), "{out}");
    assert_eq!(std::fs::read(&copy).unwrap(), kept);
    let (status, out, _) = ended(flankread().args(["doctor", "--db"]).arg(&db));
    assert_eq!(status, Some(3));
    assert!(out.contains("DAMAGED"), "{out}");
    std::fs::write(&db, "notes").unwrap();
    assert_eq!(ended(&mut doctor(&db)).0, Some(2));
}
