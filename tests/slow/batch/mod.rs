//! `flankread batch` as a whole, on copies of the painted pictures.

mod broken;
mod forty;
mod runs;

use crate::common::{flankread, painted_copy as photo, root};
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::Path;
use std::process::Output;

fn batch(arguments: &[&str]) -> Output {
    flankread().arg("batch").args(arguments).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

fn lines(text: &str) -> Vec<Value> {
    text.lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect()
}

fn lines_of(path: &Path) -> Vec<Value> {
    lines(&std::fs::read_to_string(path).unwrap())
}

/// Everything in a folder of results; the store's lines in the order of their text, because photos
/// are done in any order.
fn results(out: &Path) -> BTreeMap<String, String> {
    let mut all = BTreeMap::new();
    for folder in [out.to_owned(), out.join("readings")] {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                continue;
            }
            let mut text = std::fs::read_to_string(&path).unwrap();
            let name = path.strip_prefix(out).unwrap().display().to_string();
            if name == "flankread-store.jsonl" {
                let mut lines: Vec<&str> = text.lines().collect();
                lines.sort_unstable();
                text = lines.join("\n");
            }
            all.insert(name, text);
        }
    }
    all
}

#[test]
fn a_folder_is_sorted_and_each_set_gets_its_reply() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    photo("drive-yellow.jpg", &at("larchfield/7 drive.jpg"), "");
    photo("coast-white.jpg", &at("larchfield/7 coast.jpg"), "");
    std::fs::copy(
        root("fixtures/cards/larchfield-8in.toml"),
        at("larchfield/card.toml"),
    )
    .unwrap();
    photo("blurred.jpg", &at("blurred.jpg"), "");
    photo("drive-red-turned.jpg", &at("other/one.jpg"), "");
    photo("drive-red-turned.jpg", &at("other/one again.jpg"), "");
    std::fs::write(
        at("list.csv"),
        "photo,backlash,pinion_shim\nlarchfield/7 drive.jpg,0.20mm+0.21mm,0.76mm\n",
    )
    .unwrap();
    let (inbox, list) = (folder.path().to_str().unwrap(), at("list.csv"));
    let output = batch(&[inbox, "--manifest", list.to_str().unwrap()]);
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains("4 read now, 1 known"), "{said}");
    let table = text(&output.stdout);
    assert!(table.contains("5 photos in 3 sets: 4 read"), "{table}");
    assert!(table.contains("copies of other files: 1"), "{table}");
    for not_here in ["saved once more", "less urgent"] {
        assert!(!table.contains(not_here), "{table}");
    }
    let row_of = |name: &str| table.lines().find(|line| line.contains(name)).unwrap();
    assert!(
        row_of("blurred.jpg").contains("ask for a sharp photo"),
        "{table}"
    );

    let out = at("flankread-batch");
    let sets = lines_of(&out.join("sets.jsonl"));
    let names: Vec<&str> = sets
        .iter()
        .map(|set| set["set"].as_str().unwrap())
        .collect();
    assert_eq!(names.len(), 3);
    let pair = &sets[names
        .iter()
        .position(|name| *name == "larchfield/7")
        .unwrap()];
    // Painted at (0.62, 0.66) of the drive flank (fixtures/painted/paint.py): high and to the heel.
    assert_eq!(pair["drive"]["diagnosis"]["words"], "high heel");
    assert_eq!(pair["advice"]["schema"], "flankread/advice/2");
    let reply = pair["reply"].as_str().unwrap();
    for part in [
        "What we see",
        "high (towards the tip)",
        "Cautions",
        "stands",
    ] {
        assert!(reply.contains(part), "{reply}");
    }
    let blurred = &sets[names
        .iter()
        .position(|name| *name == "blurred.jpg")
        .unwrap()];
    assert_eq!(blurred["verdict"], "photo_again");
    let reply = blurred["reply"].as_str().unwrap();
    assert!(reply.contains("tap on the painted teeth"), "{reply}");
    assert!(!reply.contains("--flank"), "{reply}");
    // What must be answered first comes first.
    assert_eq!(names.last(), Some(&"blurred.jpg"));

    let readings = lines_of(&out.join("readings.jsonl"));
    let paths: Vec<&str> = readings
        .iter()
        .map(|reading| reading["photo"]["path"].as_str().unwrap())
        .collect();
    assert!(paths.is_sorted() && paths.len() == 5, "{paths:?}");
    for reading in &readings {
        assert_eq!(reading["schema"], "flankread/reading/1");
    }
    let copy = readings
        .iter()
        .find(|reading| !reading["batch"]["same_as"].is_null());
    let copy = copy.unwrap()["photo"]["path"].as_str().unwrap();
    assert!(copy.ends_with("one.jpg"), "{copy}");

    let table = std::fs::read_to_string(out.join("readings.csv")).unwrap();
    let mut table = csv::Reader::from_reader(table.as_bytes());
    let rows: Vec<csv::StringRecord> = table.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 5);
    let sheet = std::fs::read_to_string(out.join("sheet.html")).unwrap();
    for reading in &readings {
        let page = reading["batch"]["page"].as_str().unwrap();
        assert!(sheet.contains(&format!("href=\"{page}\"")), "{page}");
        assert!(out.join(page).is_file(), "{page}");
        assert!(out.join(page.replace(".html", ".svg")).is_file(), "{page}");
    }
    assert!(!sheet.contains("http://") && !sheet.contains("https://"));
    for part in [
        "5 photos in 3 sets: 4 read",
        "drive, up the height",
        "farther to the root",
    ] {
        assert!(sheet.contains(part), "{part}");
    }
    for reading in &readings {
        let page = reading["batch"]["page"].as_str().unwrap();
        let picture = std::fs::read_to_string(out.join(page.replace(".html", ".svg"))).unwrap();
        let is_drawn = picture.split("\"/>").nth(1).unwrap().contains("<path");
        assert_eq!(is_drawn, reading["status"] != "unreadable", "{page}");
    }
    let numbers = std::fs::read_to_string(out.join("summary.json")).unwrap();
    let numbers: Value = serde_json::from_str(&numbers).unwrap();
    assert_eq!(numbers["reasons"]["blurred"]["photos"], 1);
    assert_eq!(
        numbers["offsets"]["drive_height"].as_array().unwrap().len(),
        10
    );
}

#[test]
fn replies_go_out_in_the_shop_s_letter_with_customer_and_order() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    photo("drive-yellow.jpg", &at("in/a.jpg"), "");
    photo("drive-yellow.jpg", &at("in/elsewhere/copy.jpg"), "");
    let list = at("list.csv");
    std::fs::write(
        &list,
        "photo,customer,order,phone\nin/a.jpg,=Ina,A-17,0123\nin/elsewhere/copy.jpg,Ole,A-18,4567\n",
    )
    .unwrap();
    let letter = at("letter.txt");
    std::fs::write(
        &letter,
        "Hello {customer} ({order})\n\n{reply}\n\nThe bench",
    )
    .unwrap();
    let inbox = at("in");
    let arguments = [
        inbox.to_str().unwrap(),
        "--manifest",
        list.to_str().unwrap(),
        "--reply-template",
        letter.to_str().unwrap(),
    ];
    let output = batch(&arguments);
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{said}");
    assert!(said.contains("mean nothing here: phone"), "{said}");
    let out = inbox.join("flankread-batch");
    let sets = lines_of(&out.join("sets.jsonl"));
    let ina = sets.iter().find(|set| set["order"] == "A-17").unwrap();
    assert_eq!(ina["customer"], "=Ina");
    let reply = ina["reply"].as_str().unwrap();
    assert!(
        reply.starts_with("Hello =Ina (A-17)\n\nWhat we see"),
        "{reply}"
    );
    assert!(
        reply.contains("Cautions") && reply.ends_with("The bench\n"),
        "{reply}"
    );
    // That the same file lies with another customer's is nobody's business.
    for set in &sets {
        let reply = set["reply"].as_str().unwrap();
        assert!(
            !reply.contains("same file") && !reply.contains("elsewhere"),
            "{reply}"
        );
    }
    let sheet = std::fs::read_to_string(out.join("sheet.html")).unwrap();
    assert!(sheet.contains("Customer =Ina, order A-17") && sheet.contains("Copy the reply"));
    let table = std::fs::read_to_string(out.join("readings.csv")).unwrap();
    assert!(table.contains("'=Ina,A-17"), "{table}");
    // A letter without the cautions goes to nobody.
    std::fs::write(&letter, "Hello, {see}").unwrap();
    let refused = batch(&arguments);
    assert_eq!(refused.status.code(), Some(2));
    assert!(text(&refused.stderr).contains("{cautions}"));
}

#[test]
fn only_what_is_new_is_read_and_json_has_a_line_a_photo() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    photo("drive-yellow.jpg", &at("a.jpg"), "");
    photo("coast-white.jpg", &at("b.jpg"), "");
    let inbox = folder.path().to_str().unwrap();
    let first = batch(&[inbox, "--json"]);
    assert_eq!(first.status.code(), Some(0), "{}", text(&first.stderr));
    assert_eq!(lines(&text(&first.stdout)).len(), 2);
    let before = results(&at("flankread-batch"));
    let again = batch(&[inbox, "--json"]);
    assert!(text(&again.stderr).contains("0 read now, 2 known"));
    assert_eq!(results(&at("flankread-batch")), before);
    // Another name is no other photo; other marks make one.
    std::fs::rename(at("a.jpg"), at("c.jpg")).unwrap();
    std::fs::rename(at("a.jpg.marks.json"), at("c.jpg.marks.json")).unwrap();
    photo("coast-blue-transferred.jpg", &at("d.jpg"), "");
    let more = batch(&[inbox, "--json"]);
    assert!(text(&more.stderr).contains("1 read now, 2 known"));
    let marks = std::fs::read_to_string(at("c.jpg.marks.json")).unwrap();
    std::fs::write(at("c.jpg.marks.json"), marks.replace("drive", "coast")).unwrap();
    let more = batch(&[inbox, "--json"]);
    assert!(text(&more.stderr).contains("1 read now, 2 known"));
    // A picture that somebody threw away is made again.
    let page = std::fs::read_dir(at("flankread-batch/readings"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .find(|path| path.extension().is_some_and(|ending| ending == "svg"))
        .unwrap();
    let drawn = std::fs::read(&page).unwrap();
    std::fs::remove_file(&page).unwrap();
    batch(&[inbox, "--json", "--quiet"]);
    let everything = batch(&[inbox, "--fresh"]);
    assert!(text(&everything.stderr).contains("3 read now, 0 known"));
    // Three readings with two files each: those of the reading whose marks are gone went with it.
    assert_eq!(results(&at("flankread-batch")).len(), 7 + 6);
    if page.exists() {
        assert_eq!(std::fs::read(&page).unwrap(), drawn);
    }
}

#[test]
fn somebody_else_s_files_are_not_overwritten_unasked() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    photo("drive-yellow.jpg", &at("in/a.jpg"), "");
    std::fs::create_dir(at("out")).unwrap();
    std::fs::write(at("out/sheet.html"), "mine").unwrap();
    let (inbox, out) = (at("in"), at("out"));
    let arguments = [inbox.to_str().unwrap(), "--out", out.to_str().unwrap()];
    let refused = batch(&arguments);
    assert_eq!(refused.status.code(), Some(2));
    assert!(text(&refused.stderr).contains("--force"));
    assert_eq!(std::fs::read(at("out/sheet.html")).unwrap(), b"mine");
    let forced = batch(&[&arguments[..], &["--force"]].concat());
    assert_eq!(forced.status.code(), Some(0));
    // Its own results it may write again.
    assert_eq!(batch(&arguments).status.code(), Some(0));
    for (arguments, words) in [
        (vec!["no such folder"], "no such folder"),
        (
            vec![inbox.to_str().unwrap(), "--manifest", "none.csv"],
            "none.csv",
        ),
        (vec![inbox.to_str().unwrap(), "--glob", "["], "--glob ["),
    ] {
        let refused = batch(&arguments);
        assert_eq!(refused.status.code(), Some(2), "{arguments:?}");
        assert!(text(&refused.stderr).contains(words), "{arguments:?}");
        assert!(refused.stdout.is_empty());
    }
}
