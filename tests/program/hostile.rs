//! What is not meant well, or went wrong on the way: numbers that cannot be, files that are none, databases of others, names
//! that act. Each is refused in words or made harmless, and nothing is lost by it.

use crate::common::{PROGRAM, ended, flankread, root};
use serde_json::{Value, json};
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

const CARD: &str = "examples/larchfield/card.toml";

/// `flankread job …` on a database: exit status, what it printed, what it said of errors.
fn job(database: &Path, arguments: &[&str]) -> (Option<i32>, String, String) {
    ended(
        flankread()
            .env("FLANKREAD_DB", database)
            .arg("job")
            .args(arguments),
    )
}

fn with_a_job(folder: &Path, name: &str) -> PathBuf {
    let database = folder.join("workshop.db");
    let (status, _, error) = job(&database, &["new", name, "--card", CARD]);
    assert_eq!(status, Some(0), "{error}");
    database
}

fn names(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).unwrap();
    let mut names: Vec<String> = entries
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

#[test]
fn no_number_that_cannot_be_gets_into_a_job_even_as_written() {
    let folder = tempfile::tempdir().unwrap();
    let database = with_a_job(folder.path(), "Rear axle");
    for option in [
        ["--backlash", "1e308in"],
        ["--backlash", "-0.2mm"],
        ["--pinion-shim", "1e308in"],
        ["--pinion-torque", "1e200 lb-ft"],
        ["--notches", "2000000000"],
    ] {
        let arguments = [&["trial", "--as-written"], &option[..]].concat();
        let (status, out, _) = job(&database, &arguments);
        assert_eq!(status, Some(2), "{option:?}: {out}");
    }
    let unusual = ["trial", "--as-written", "--backlash", "0.2in"];
    assert_eq!(job(&database, &unusual).0, Some(0));
    for arguments in [
        &["show"][..],
        &["advise"],
        &["next"],
        &["strike", "1", "--because", "x"],
    ] {
        let (status, _, error) = job(&database, arguments);
        assert_eq!(status, Some(0), "{arguments:?}: {error}");
    }
}

#[test]
fn a_job_in_json_with_a_number_that_cannot_be_gets_no_advice() {
    let folder = tempfile::tempdir().unwrap();
    let text = std::fs::read_to_string(root("fixtures/jobs/high-heel.json")).unwrap();
    let whole: Value = serde_json::from_str(&text).unwrap();
    for (place, key, number) in [
        ("/trials/0/drive", "lean_deg", 1e200),
        ("/trials/0/drive/centre", "length", 1e308),
        ("/trials/0", "pinion_shim_mm", 1e308),
        ("/trials/0", "backlash_mm", 1e9),
    ] {
        let mut written = whole.clone();
        written.pointer_mut(place).unwrap()[key] = json!(number);
        written["card"] = json!({"path": root(CARD)});
        let path = folder.path().join("job.json");
        std::fs::write(&path, written.to_string()).unwrap();
        let (status, out, error) = ended(flankread().arg("advise").arg(&path));
        assert_eq!(status, Some(2), "{key}: {out}");
        assert!(error.contains(&format!("`{key}`")), "{error}");
    }
}

#[test]
fn the_database_of_another_program_is_not_touched() {
    let folder = tempfile::tempdir().unwrap();
    let other = folder.path().join("other.sqlite");
    rusqlite::Connection::open(&other)
        .unwrap()
        .execute_batch("CREATE TABLE bills (amount)")
        .unwrap();
    let before = std::fs::read(&other).unwrap();
    for arguments in [
        &["list"][..],
        &["next"],
        &["new", "Rear axle", "--card", CARD],
    ] {
        let (status, _, error) = job(&other, arguments);
        assert_eq!(status, Some(2));
        assert!(error.contains("not a workshop's record"), "{error}");
    }
    assert_eq!(std::fs::read(&other).unwrap(), before);
    assert_eq!(names(folder.path()), ["other.sqlite"]);
}

#[test]
fn a_database_that_is_not_there_is_not_made_by_looking_for_it() {
    let folder = tempfile::tempdir().unwrap();
    let typo = folder.path().join("typo").join("x.db");
    let new = ["new", "Rear axle", "--card", CARD];
    for arguments in [
        &["list"][..],
        &["show"],
        &["note", "a"],
        &["trial", "--backlash", "0.2mm"],
        &new,
    ] {
        let (status, _, error) = job(&typo, arguments);
        assert_eq!(status, Some(2), "{arguments:?}");
        assert!(error.contains("x.db"), "{error}");
    }
    for name in [":memory:", "file:x?mode=memory"] {
        let (status, _, error) = job(Path::new(name), &new);
        assert_eq!(status, Some(2));
        assert!(error.contains("keeps a record"), "{error}");
    }
    assert!(names(folder.path()).is_empty());
    let mut unnamed = flankread();
    unnamed
        .env_remove("FLANKREAD_DB")
        .env("XDG_DATA_HOME", folder.path())
        .args(["job", "list"]);
    assert_eq!(ended(&mut unnamed).0, Some(0));
    assert!(names(folder.path()).is_empty());
}

#[cfg(unix)]
#[test]
fn devices_and_pipes_are_no_input() {
    let folder = tempfile::tempdir().unwrap();
    let pipe = folder.path().join("drive.jpg");
    assert!(
        Command::new("mkfifo")
            .arg(&pipe)
            .status()
            .unwrap()
            .success()
    );
    let pipe = pipe.to_str().unwrap();
    let database = with_a_job(folder.path(), "Rear axle");
    let database = database.to_str().unwrap();
    let photo = "fixtures/painted/drive-yellow.jpg";
    let begun = Instant::now();
    for arguments in [
        &["simulate", "/dev/zero"][..],
        &["read", "/dev/zero"],
        &["read", pipe],
        &["read", photo, "--marks", "/dev/zero"],
        &["read", photo, "--card", "/dev/zero"],
        &["advise", "/dev/zero"],
        &["job", "import", "/dev/zero", "--db", database],
        &["job", "trial", "--photo", pipe, "--db", database],
        &[
            "batch",
            folder.path().to_str().unwrap(),
            "--manifest",
            "/dev/zero",
        ],
    ] {
        let (status, out, error) = ended(flankread().args(arguments));
        assert!(matches!(status, Some(1 | 2)), "{arguments:?}: {out}{error}");
        let named = format!("{out}{error}");
        assert!(named.contains("a device"), "{arguments:?}: {named}");
    }
    assert!(begun.elapsed() < Duration::from_secs(60));
}

#[cfg(unix)]
#[test]
fn a_worker_opens_no_device_and_answers_what_follows() {
    let photo = root("fixtures/painted/drive-yellow.jpg");
    let lines = [
        json!({"id": 1, "photo": photo, "card": "/dev/zero"}),
        json!({"id": 2, "photo": photo, "marks": "/dev/stdin"}),
        json!({"id": 3, "photo": "/dev/zero"}),
        json!({"id": 4, "photo": photo}),
    ];
    let text: String = lines.iter().map(|line| format!("{line}\n")).collect();
    let mut worker = Command::new(PROGRAM)
        .arg("worker")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    worker
        .stdin
        .take()
        .unwrap()
        .write_all(text.as_bytes())
        .unwrap();
    let output = worker.wait_with_output().unwrap();
    let answers: Vec<Value> = output
        .stdout
        .split(|byte| *byte == b'\n')
        .filter(|line| !line.is_empty())
        .map(|line| serde_json::from_slice(line).unwrap())
        .collect();
    assert_eq!(answers.len(), 4);
    for answer in &answers[..3] {
        let message = answer["error"]["message"].as_str().unwrap();
        assert!(message.contains("a device"), "{message}");
    }
    assert!(answers[3]["error"].is_null());
    assert_eq!(answers[3]["reading"]["status"], "read");
}

#[test]
fn no_name_acts_on_the_terminal() {
    let folder = tempfile::tempdir().unwrap();
    let name = "Axle \x1b]0;owned\x07\u{202e}gpj.exe\u{9b}2J";
    let database = with_a_job(folder.path(), name);
    for arguments in [&["list"][..], &["show"], &["next"]] {
        let (status, out, _) = job(&database, arguments);
        assert_eq!(status, Some(0));
        assert!(out.contains("Axle"), "{out}");
        let acts = |sign: char| (sign.is_control() && sign != '\n') || sign == '\u{202e}';
        assert!(!out.contains(acts), "{out:?}");
    }
    let (_, out, _) = job(&database, &["list", "--json"]);
    assert!(!out.contains(['\x1b', '\u{9b}', '\u{202e}']));
    let jobs: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(jobs["jobs"][0]["name"], name);
}

#[test]
fn a_learner_s_name_is_never_a_formula() {
    let folder = tempfile::tempdir().unwrap();
    let table = "learner,question,drive_photo,fault,pinion,ring\n=cmd|' /C calc'!A0,1,a,none,0,0\n";
    let (class, graded) = (
        folder.path().join("class.csv"),
        folder.path().join("out.csv"),
    );
    std::fs::write(&class, table).unwrap();
    flankread()
        .args(["lesson", "quiz", "--seed", "4", "--grade"])
        .arg(&class)
        .arg("--graded")
        .arg(&graded)
        .assert()
        .success();
    let text = std::fs::read_to_string(graded).unwrap();
    assert!(text.contains(",'=cmd|"), "{text}");
}

#[test]
fn what_a_killed_export_left_goes_with_the_next() {
    let folder = tempfile::tempdir().unwrap();
    let database = with_a_job(folder.path(), "Rear axle");
    let out = folder.path().join("out");
    std::fs::create_dir(&out).unwrap();
    let left = out.join(".flankread-part-Xy12Zq");
    let file = std::fs::File::create(&left).unwrap();
    let hour_ago = std::time::SystemTime::now() - Duration::from_secs(3600);
    file.set_modified(hour_ago).unwrap();
    let archive = out.join("job.zip");
    let (status, _, error) = job(&database, &["export", "--out", archive.to_str().unwrap()]);
    assert_eq!(status, Some(0), "{error}");
    assert_eq!(names(&out), ["job.zip"]);
}
