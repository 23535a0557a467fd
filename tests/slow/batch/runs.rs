//! Runs that are killed, that stay, and that answer line by line.

use super::{batch, photo, results, root, text};
use crate::common::PROGRAM;
use serde_json::Value;
use std::collections::HashSet;
use std::io::{BufRead as _, BufReader, Write as _};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

fn start(arguments: &[&str]) -> Child {
    Command::new(PROGRAM)
        .arg("batch")
        .args(arguments)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

#[cfg(unix)]
fn interrupt(child: &Child) {
    let done = Command::new("kill")
        .args(["-INT", &child.id().to_string()])
        .status();
    assert!(done.unwrap().success());
}

/// Runs that are killed or interrupted after some lines, and then one that is not.
#[cfg(unix)]
#[test]
fn runs_that_are_killed_add_up_to_one_that_is_not() {
    let folder = tempfile::tempdir().unwrap();
    let names = ["drive-yellow", "coast-white", "blurred", "not-rolled"];
    let inbox = folder.path().join("in");
    for number in 0..12 {
        let name = format!("{}.jpg", names[number % 4]);
        photo(
            &name,
            &inbox.join(format!("set {}/{number}.jpg", number % 4)),
            &number.to_string(),
        );
    }
    std::fs::write(inbox.join("broken.jpg"), "broken").unwrap();
    let whole = folder.path().join("whole");
    let broken = folder.path().join("broken");
    let inbox = inbox.to_str().unwrap();
    let undisturbed = batch(&[inbox, "--json", "--out", whole.to_str().unwrap()]);
    assert_eq!(undisturbed.status.code(), Some(1));
    let out = broken.to_str().unwrap();
    for round in 0..6 {
        let mut child = start(&[inbox, "--json", "--out", out]);
        let mut told = BufReader::new(child.stdout.take().unwrap());
        let mut line = String::new();
        for _ in 0..2 * round + 1 {
            told.read_line(&mut line).unwrap();
        }
        // At another place of the work in each round.
        std::thread::sleep(Duration::from_millis(37 * round as u64 % 90));
        if round % 3 == 2 {
            interrupt(&child);
        } else {
            child.kill().unwrap();
        }
        drop(told);
        let code = child.wait().unwrap().code();
        // Killed, interrupted, or done before it could be.
        assert!(
            matches!(code, None | Some(130 | 1)),
            "round {round}: {code:?}"
        );
    }
    let last = batch(&[inbox, "--json", "--out", out]);
    assert_eq!(last.status.code(), Some(1), "{}", text(&last.stderr));
    let (whole, broken) = (results(&whole), results(&broken));
    let names: HashSet<&String> = whole.keys().chain(broken.keys()).collect();
    for name in names {
        assert_eq!(whole.get(name), broken.get(name), "{name}");
    }
    let store = &broken["flankread-store.jsonl"];
    let keys: HashSet<String> = store
        .lines()
        .filter_map(|line| {
            let line: Value = serde_json::from_str(line).unwrap();
            line["key"].as_str().map(str::to_owned)
        })
        .collect();
    // A line a photo: none was read twice to the end.
    assert_eq!((keys.len(), store.lines().count()), (13, 14));
}

#[cfg(unix)]
#[test]
fn a_watched_folder_gives_a_line_for_each_photo_that_comes_in() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    photo("drive-yellow.jpg", &at("a.jpg"), "");
    let mut child = start(&[folder.path().to_str().unwrap(), "--json", "--watch"]);
    let mut told = BufReader::new(child.stdout.take().unwrap());
    let mut next = || -> Value {
        let mut line = String::new();
        told.read_line(&mut line).unwrap();
        serde_json::from_str(&line).unwrap()
    };
    assert!(next()["photo"]["path"].as_str().unwrap().ends_with("a.jpg"));
    // In pieces, as a phone sends it. However slow the machine is, in the end it is read whole.
    photo("coast-white.jpg", &at("elsewhere"), "");
    std::fs::rename(at("elsewhere.marks.json"), at("b.jpg.marks.json")).unwrap();
    std::fs::remove_file(at("elsewhere")).unwrap();
    let bytes = std::fs::read(root("fixtures/painted/coast-white.jpg")).unwrap();
    let mut file = std::fs::File::create(at("b.jpg")).unwrap();
    for piece in bytes.chunks(bytes.len() / 4 + 1) {
        file.write_all(piece).unwrap();
        std::thread::sleep(Duration::from_millis(200));
    }
    drop(file);
    loop {
        let line = next();
        assert!(line["photo"]["path"].as_str().unwrap().ends_with("b.jpg"));
        if line["status"] == "read" {
            assert_eq!(line["flank"]["side"], "coast");
            break;
        }
        assert_eq!(line["reasons"][0]["code"], "not_an_image", "{line}");
    }
    interrupt(&child);
    child.wait().unwrap();
}

#[test]
fn photos_in_the_folder_of_results_are_read_and_pages_of_those_that_went_go() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    photo("drive-yellow.jpg", &at("a.jpg"), "");
    let out = at("done");
    let arguments = [
        folder.path().to_str().unwrap(),
        "--json",
        "--out",
        out.to_str().unwrap(),
    ];
    let count = |output: &std::process::Output| text(&output.stdout).lines().count();
    assert_eq!(count(&batch(&arguments)), 1);
    // A customer's photo that somebody put among the results, and a page of somebody's own.
    photo("coast-white.jpg", &at("done/b.jpg"), "");
    std::fs::write(at("done/readings/mine.html"), "mine").unwrap();
    let both = batch(&arguments);
    assert_eq!(count(&both), 2, "{}", text(&both.stderr));
    let pages = || std::fs::read_dir(at("done/readings")).unwrap().count();
    assert_eq!(pages(), 5);
    // Of a part of the folder nothing is thrown away.
    batch(&[&arguments[..], &["--glob", "a.jpg"]].concat());
    assert_eq!(pages(), 5);
    std::fs::remove_file(at("a.jpg")).unwrap();
    assert_eq!(count(&batch(&arguments)), 1);
    assert_eq!(pages(), 3);
    assert_eq!(
        std::fs::read(at("done/readings/mine.html")).unwrap(),
        b"mine"
    );
}

#[test]
fn a_photo_that_is_still_coming_in_is_waited_for() {
    let folder = tempfile::tempdir().unwrap();
    let bytes = std::fs::read(root("fixtures/painted/coast-white.jpg")).unwrap();
    let path = folder.path().join("a.jpg");
    photo("coast-white.jpg", &path, "");
    std::fs::write(&path, &bytes[..bytes.len() / 5]).unwrap();
    let writer = std::thread::spawn(move || {
        for piece in bytes[bytes.len() / 5..].chunks(bytes.len() / 5 + 1) {
            std::thread::sleep(Duration::from_millis(400));
            let file = std::fs::File::options().append(true).open(&path);
            file.unwrap().write_all(piece).unwrap();
        }
    });
    let output = batch(&[folder.path().to_str().unwrap(), "--json"]);
    writer.join().unwrap();
    let line: Value = serde_json::from_str(text(&output.stdout).trim()).unwrap();
    assert_eq!(line["status"], "read", "{line}");
}

#[test]
fn a_worker_answers_line_by_line() {
    let mut child = Command::new(PROGRAM)
        .arg("worker")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut ask = child.stdin.take().unwrap();
    let mut told = BufReader::new(child.stdout.take().unwrap());
    let photo = root("fixtures/painted/drive-yellow.jpg");
    for (request, status, kind) in [
        (
            serde_json::json!({"id": "a", "photo": photo}),
            "read",
            Value::Null,
        ),
        (serde_json::json!({"id": "b"}), "", "request".into()),
        (
            serde_json::json!({"id": "c", "photo": "s3://no/such"}),
            "",
            "fetch".into(),
        ),
    ] {
        // Each answer comes before the next request is written: nothing is held back.
        writeln!(ask, "{request}").unwrap();
        let mut line = String::new();
        told.read_line(&mut line).unwrap();
        let answer: Value = serde_json::from_str(&line).unwrap();
        assert_eq!(answer["id"], request["id"]);
        assert_eq!(answer["reading"]["status"].as_str().unwrap_or(""), status);
        assert_eq!(answer["error"]["kind"], kind, "{answer}");
    }
    drop(ask);
    assert_eq!(child.wait().unwrap().code(), Some(0));
}
