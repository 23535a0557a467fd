//! The workshop's database against processes that are killed, that write at the same time, and a disk that is full.

use crate::common::{PROGRAM, root};
use serde_json::Value;
use sha2::{Digest, Sha256};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;

fn flankread(db: &Path) -> Command {
    let mut command = Command::new(PROGRAM);
    command
        .env("FLANKREAD_DB", db)
        .arg("job")
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    command
}

fn workshop() -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("workshop.db");
    let card = root("examples/larchfield/card.toml");
    let status = flankread(&db)
        .args(["new", "Rear axle", "--card"])
        .arg(card)
        .status()
        .unwrap();
    assert!(status.success());
    (folder, db)
}

fn shown(db: &Path) -> Value {
    let output = flankread(db)
        .args(["show", "--json"])
        .stdout(Stdio::piped())
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "the database does not open any more"
    );
    serde_json::from_slice(&output.stdout).unwrap()
}

/// The marker that a trial was recorded with.
fn markers(record: &Value) -> Vec<String> {
    let trials = record["trials"].as_array().unwrap();
    trials
        .iter()
        .map(|trial| trial["bench"]["note"].as_str().unwrap().to_owned())
        .collect()
}

/// A photo whose bytes no other has: a painted one with its number behind the picture's end.
fn photo(folder: &Path, number: usize) -> PathBuf {
    let path = root("fixtures/painted/drive-yellow.jpg");
    let mut bytes = std::fs::read(path).unwrap();
    bytes.extend(format!("photo {number}").bytes());
    let path = folder.join(format!("photo-{number}.jpg"));
    std::fs::write(&path, bytes).unwrap();
    path
}

fn writer(db: &Path, photo: &Path, marker: &str) -> Child {
    flankread(db)
        .args([
            "trial",
            "--backlash",
            "0.2mm",
            "--no-read",
            "--note",
            marker,
            "--drive",
        ])
        .arg(photo)
        .spawn()
        .unwrap()
}

/// Numbers that look random and are the same each time (Park and Miller's generator).
struct Dice(u64);

impl Dice {
    fn below(&mut self, most: Duration) -> Duration {
        self.0 = self.0 * 48_271 % 2_147_483_647;
        most.mul_f64(self.0 as f64 / 2_147_483_647.0)
    }
}

#[test]
fn two_hundred_killed_writers_lose_no_trial_and_leave_no_half_one() {
    let (folder, db) = workshop();
    let photo_of = |number| photo(folder.path(), number);
    // How long a writer takes that is left alone, so that the kills fall all over its life.
    let mut took = Duration::ZERO;
    for number in 0..3 {
        let path = photo_of(number);
        let begun = Instant::now();
        assert!(
            writer(&db, &path, &number.to_string())
                .wait()
                .unwrap()
                .success()
        );
        took = took.max(begun.elapsed());
    }
    let mut returned: BTreeSet<String> = (0..3).map(|n: usize| n.to_string()).collect();
    let mut dice = Dice(20_260_504);
    let mut killed = 0;
    let mut longest = took.mul_f64(1.2);
    for number in 3..203 {
        let path = photo_of(number);
        let mut child = writer(&db, &path, &number.to_string());
        std::thread::sleep(dice.below(longest));
        child.kill().unwrap();
        // A writer that had ended by itself before the kill says so by its status. Then the machine has become
        // quicker, and the next are waited for less: most kills fall into a life, whatever the machine.
        if child.wait().unwrap().success() {
            returned.insert(number.to_string());
            longest = longest.mul_f64(0.95);
        } else {
            killed += 1;
            longest = longest.mul_f64(1.01);
        }
        std::fs::remove_file(path).unwrap();
    }
    let record = shown(&db);
    let there = markers(&record);
    let set: BTreeSet<String> = there.iter().cloned().collect();
    assert_eq!(set.len(), there.len(), "a trial is there twice");
    assert!(
        returned.is_subset(&set),
        "a trial whose command had returned is lost"
    );
    // Each trial has all of it: its backlash, and its photo with the bytes the hash belongs to.
    for trial in record["trials"].as_array().unwrap() {
        assert_eq!(trial["trial"]["backlash_mm"][0], 0.2);
        assert_eq!(trial["photos"].as_array().unwrap().len(), 1);
    }
    let connection = rusqlite::Connection::open(&db).unwrap();
    let sound: String = connection
        .query_row("PRAGMA integrity_check", [], |row| row.get(0))
        .unwrap();
    assert_eq!(sound, "ok");
    let dangling: i64 = connection
        .query_row("SELECT count(*) FROM pragma_foreign_key_check", [], |row| {
            row.get(0)
        })
        .unwrap();
    assert_eq!(dangling, 0);
    let orphans: i64 = connection
        .query_row(
            "SELECT count(*) FROM photo WHERE sha256 NOT IN (SELECT sha256 FROM trial_photo)",
            [],
            |row| row.get(0),
        )
        .unwrap();
    assert_eq!(orphans, 0, "a photo without its trial is half a trial");
    let bytes: Vec<(String, Vec<u8>)> = connection
        .prepare("SELECT sha256, bytes FROM photo")
        .unwrap()
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))
        .unwrap()
        .collect::<Result<_, _>>()
        .unwrap();
    for (hash, bytes) in &bytes {
        assert_eq!(*hash, format!("{:x}", Sha256::digest(bytes)));
    }
    println!(
        "{killed} of 200 writers were killed before they returned, {} trials are there",
        there.len()
    );
    // A guard against a test that proves nothing.
    assert!(killed > 40, "only {killed} writers were killed");
}

#[test]
fn two_processes_lose_none_of_five_hundred_trials_each() {
    let (_folder, db) = workshop();
    let writers: Vec<_> = ["a", "b"]
        .map(|who| {
            let db = db.clone();
            std::thread::spawn(move || {
                for number in 0..500 {
                    let status = flankread(&db)
                        .args([
                            "trial",
                            "--backlash",
                            "0.2mm",
                            "--note",
                            &format!("{who}{number}"),
                        ])
                        .status()
                        .unwrap();
                    assert!(status.success(), "{who}{number}");
                }
            })
        })
        .into_iter()
        .collect();
    for writer in writers {
        writer.join().unwrap();
    }
    let record = shown(&db);
    let set: BTreeSet<String> = markers(&record).into_iter().collect();
    assert_eq!(set.len(), 1000);
    let numbers: Vec<i64> = record["trials"]
        .as_array()
        .unwrap()
        .iter()
        .map(|trial| trial["number"].as_i64().unwrap())
        .collect();
    assert_eq!(numbers, (1..=1000).collect::<Vec<i64>>());
}

/// A file that may not grow any further stands for a disk without room.
#[cfg(unix)]
#[test]
fn without_room_the_command_fails_plainly_and_the_old_state_is_intact() {
    let (folder, db) = workshop();
    let path = photo(folder.path(), 1);
    assert!(writer(&db, &path, "first").wait().unwrap().success());
    let before = shown(&db);
    let size = std::fs::metadata(&db).unwrap().len();
    // Blocks of 512 bytes in POSIX, 1024 in some shells: either way less than the photo needs.
    let blocks = size / 1024 / 2;
    let path = photo(folder.path(), 2);
    let output = Command::new("sh")
        .env("FLANKREAD_DB", &db)
        .arg("-c")
        .arg(format!(
            "trap '' XFSZ; ulimit -f {blocks}; exec '{}' job trial --backlash 0.3mm --no-read --drive '{}'",
            PROGRAM,
            path.display()
        ))
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(3), "{said}");
    assert!(said.contains("full"), "{said}");
    assert_eq!(shown(&db), before);
    assert!(writer(&db, &path, "second").wait().unwrap().success());
    assert_eq!(markers(&shown(&db)), ["first", "second"]);
}
