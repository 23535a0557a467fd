//! The lessons as a whole program.

use assert_cmd::Command;
use serde_json::Value;
use std::fs;
use std::path::Path;

fn flankread(folder: &Path) -> Command {
    let mut command = Command::cargo_bin("flankread").unwrap();
    command.current_dir(folder).arg("--quiet");
    command
}

#[test]
fn sheets_are_written_in_three_forms_with_what_they_claim() {
    let folder = tempfile::tempdir().unwrap();
    let card = concat!(env!("CARGO_MANIFEST_DIR"), "/examples/larchfield/card.toml");
    let args = [
        "lesson",
        "sheet",
        "--card",
        card,
        "--out",
        "sheets",
        "--photo-width",
        "240",
        "--json",
    ];
    let made = flankread(folder.path()).args(args).assert().success();
    let document: Value = serde_json::from_slice(&made.get_output().stdout).unwrap();
    assert_eq!(document["schema"], "flankread/lesson_sheet/1");
    assert_eq!(document["claims"].as_array().unwrap().len(), 5);
    assert_eq!(document["limits"].as_array().unwrap().len(), 4);
    let near = &document["claims"][1];
    assert_eq!(near["pinion_mm"], -0.2);
    assert_eq!(near["drive"]["words"], "low toe");
    let out = folder.path().join("sheets");
    assert!(
        fs::read(out.join("lessons.pdf"))
            .unwrap()
            .starts_with(b"%PDF")
    );
    let page = fs::read_to_string(out.join("lessons.html")).unwrap();
    assert!(page.contains("low toe") && !page.contains("src=\"http"));
    for n in 1..=document["files"].as_array().unwrap().len() - 2 {
        let png = image::open(out.join(format!("page-{n}.png"))).unwrap();
        assert!(png.height() > png.width());
    }
    // Once more: nothing is overwritten unasked.
    let again = flankread(folder.path()).args(args).assert().code(2);
    let said = String::from_utf8_lossy(&again.get_output().stderr).into_owned();
    assert!(said.contains("--force"), "{said}");
}

#[test]
fn a_card_that_is_not_there_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let args = ["lesson", "sheet", "--card", "none.toml", "--out", "sheets"];
    let refused = flankread(folder.path()).args(args).assert().code(2);
    let said = String::from_utf8_lossy(&refused.get_output().stderr).into_owned();
    assert!(said.contains("none.toml"), "{said}");
    assert!(!folder.path().join("sheets").exists());
}

#[test]
fn the_page_to_move_the_gears_is_one_file_and_is_not_overwritten_unasked() {
    let folder = tempfile::tempdir().unwrap();
    let args = ["lesson", "explore", "--out", "gears.html", "--json"];
    let made = flankread(folder.path()).args(args).assert().success();
    let document: Value = serde_json::from_slice(&made.get_output().stdout).unwrap();
    assert_eq!(document["schema"], "flankread/lesson_explore/1");
    assert_eq!(document["sets"].as_array().unwrap().len(), 4);
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    let page = fs::read_to_string(folder.path().join("gears.html")).unwrap();
    assert!(page.contains("Face-hobbed, 8-inch, slanted"));
    flankread(folder.path()).args(args).assert().code(2);
}
