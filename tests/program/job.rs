//! `flankread job` as a program: a job from its card to its sheet, its archive in another workshop, and what is
//! asked back.

use crate::common::{PROGRAM, ended, flankread, root};
use serde_json::Value;
use std::io::Write as _;
use std::path::PathBuf;
use std::process::Stdio;
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// A workshop of its own with one open job on the Larchfield card.
struct Workshop {
    folder: TempDir,
}

fn example(name: &str) -> PathBuf {
    root("examples/larchfield").join(name)
}

impl Workshop {
    fn empty() -> Self {
        Self {
            folder: tempfile::tempdir().unwrap(),
        }
    }

    fn with_a_job() -> Self {
        let workshop = Self::empty();
        let card = example("card.toml");
        workshop.done(&[
            "new",
            "Rear axle",
            "--card",
            card.to_str().unwrap(),
            "--by",
            "Robin",
            "--at",
            "2026-05-04T08:00:00Z",
        ]);
        workshop
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn run(&self, arguments: &[&str]) -> (Option<i32>, String, String) {
        ended(
            flankread()
                .current_dir(self.folder.path())
                .env("FLANKREAD_DB", self.path("workshop.db"))
                .arg("job")
                .args(arguments),
        )
    }

    fn done(&self, arguments: &[&str]) -> String {
        let (status, out, error) = self.run(arguments);
        assert_eq!(status, Some(0), "{arguments:?}: {error}");
        out
    }

    fn json(&self, arguments: &[&str]) -> Value {
        let mut all = arguments.to_vec();
        all.push("--json");
        serde_json::from_str(&self.done(&all)).unwrap()
    }

    fn station(&self) -> String {
        self.json(&["next"])["next"]["station"]
            .as_str()
            .unwrap()
            .to_owned()
    }
}

const NUMBERS: [&str; 14] = [
    "--condition",
    "new",
    "--pinion-shim",
    "0.030in",
    "--ring-side-shim",
    "2.10mm",
    "--far-side-shim",
    "2.35mm",
    "--backlash",
    "0.28mm",
    "--backlash",
    "0.28mm",
    "--pinion-torque",
    "13lb-in",
];

#[test]
fn photos_are_read_advised_on_printed_and_carried_to_another_workshop() {
    let here = Workshop::with_a_job();
    assert_eq!(here.station(), "as_found");
    here.done(&[
        "note",
        "--not-found",
        "It came in a box",
        "--at",
        "2026-05-04T08:10:00Z",
    ]);
    assert_eq!(here.station(), "pinion_shim");
    // The drive photo gets a place, as a phone would write it; the file must stay as it is.
    let photo = here.path("drive.jpg");
    let plain = std::fs::read(example("drive.jpg")).unwrap();
    let mut bytes = plain[..2].to_vec();
    let xmp = b"http://ns.adobe.com/xap/1.0/\0<x:xmpmeta exif:GPSLatitude='48,7N'/>";
    bytes.extend([0xff, 0xe1]);
    bytes.extend((xmp.len() as u16 + 2).to_be_bytes());
    bytes.extend(xmp);
    bytes.extend(&plain[2..]);
    std::fs::write(&photo, &bytes).unwrap();
    let coast = example("coast.jpg");
    let mut trial = vec![
        "trial",
        "--drive",
        "drive.jpg",
        "--coast",
        coast.to_str().unwrap(),
        "--at",
        "2026-05-04T09:00:00Z",
    ];
    trial.extend(NUMBERS);
    let recorded = here.json(&trial);
    assert_eq!(recorded["trial"], 1);
    assert!(
        recorded["drive"]["centre"]["length"].is_number(),
        "{recorded}"
    );
    assert_eq!(std::fs::read(&photo).unwrap(), bytes);
    assert_eq!(here.station(), "advice");
    let advice = here.json(&["advise", "--at", "2026-05-04T09:10:00Z"]);
    assert_eq!(advice["verdict"], "change");
    assert_eq!(here.station(), "change");
    // The photos were rendered for a pinion 0.20 mm too far out (examples/larchfield/README.md).
    let wanted = advice["shims"]["pinion"]["to_mm"].as_f64().unwrap();
    assert!((wanted - 0.762 - 0.2).abs() < 0.08, "{wanted}");
    // The next assembly puts exactly the advised packs in.
    let pack = |name: &str, had: f64| {
        let mm = advice["shims"][name]["to_mm"].as_f64().unwrap_or(had);
        format!("{mm}mm")
    };
    let (pinion, ring, far) = (
        pack("pinion", 0.762),
        pack("ring_side", 2.10),
        pack("far_side", 2.35),
    );
    here.done(&[
        "trial",
        "--pinion-shim",
        &pinion,
        "--ring-side-shim",
        &ring,
        "--far-side-shim",
        &far,
        "--at",
        "2026-05-04T11:00:00Z",
    ]);
    let record = here.json(&["show"]);
    assert_eq!(record["advice"][0]["followed"], "yes");
    assert_eq!(
        record["trials"][0]["photos"][0]["reading"]["photo"]["path"],
        "drive.jpg"
    );

    here.done(&["sheet", "--out", "sheet.html", "--units", "in"]);
    let sheet = std::fs::read_to_string(here.path("sheet.html")).unwrap();
    assert!(
        sheet.contains("30.0 thou")
            && sheet.contains("data:image/jpeg")
            && sheet.contains("It came in a box")
    );
    assert!(
        !sheet.contains("src=\"http") && !sheet.contains("href="),
        "the page needs other files"
    );
    here.done(&["sheet", "--out", "sheet.pdf"]);
    assert!(
        std::fs::read(here.path("sheet.pdf"))
            .unwrap()
            .starts_with(b"%PDF")
    );
    let (status, _, error) = here.run(&["sheet", "--out", "sheet.pdf"]);
    assert_eq!(status, Some(2));
    assert!(error.contains("--force"), "{error}");

    here.done(&["export", "--out", "job.zip"]);
    let archive = std::fs::read(here.path("job.zip")).unwrap();
    assert!(
        !archive.windows(7).any(|w| w == b"GPSLati"),
        "the archive names a place"
    );
    let there = Workshop::empty();
    std::fs::copy(here.path("job.zip"), there.path("job.zip")).unwrap();
    there.done(&["import", "job.zip"]);
    there.done(&["sheet", "--out", "sheet.html", "--units", "in"]);
    assert_eq!(
        std::fs::read_to_string(there.path("sheet.html")).unwrap(),
        sheet
    );
    assert_eq!(
        there.json(&["show", "--as-job"]),
        here.json(&["show", "--as-job"])
    );
    assert_eq!(
        there.json(&["next"])["next"]["says"],
        here.json(&["next"])["next"]["says"]
    );
    let (status, _, error) = there.run(&["import", "job.zip"]);
    assert_eq!(status, Some(2));
    assert!(error.contains("--again"), "{error}");
    there.done(&["import", "job.zip", "--again"]);
    assert_eq!(there.json(&["list"])["jobs"].as_array().unwrap().len(), 2);
}

#[test]
fn archives_that_were_damaged_are_refused_and_nothing_is_taken_in() {
    let here = Workshop::with_a_job();
    let photo = root("fixtures/painted/drive-yellow.jpg");
    here.done(&[
        "trial",
        "--photo",
        photo.to_str().unwrap(),
        "--backlash",
        "0.2mm",
    ]);
    here.done(&["export", "--out", "job.zip"]);
    let whole = std::fs::read(here.path("job.zip")).unwrap();
    let there = Workshop::empty();
    let refused = |bytes: &[u8]| {
        std::fs::write(there.path("bad.zip"), bytes).unwrap();
        let (status, _, error) = there.run(&["import", "bad.zip"]);
        assert_eq!(status, Some(2), "{error}");
        assert!(error.contains("archive cannot be used"), "{error}");
    };
    refused(b"no archive");
    refused(&whole[..whole.len() / 2]);
    // One byte of the photo, which is stored as it is, is changed.
    let marker = whole
        .windows(4)
        .position(|w| w == [0xff, 0xd8, 0xff, 0xe0])
        .unwrap();
    let mut changed = whole.clone();
    changed[marker + 2000] ^= 1;
    refused(&changed);
    assert!(there.json(&["list"])["jobs"].as_array().unwrap().is_empty());
}

#[test]
fn nonsense_pairs_are_asked_back_and_nothing_is_recorded() {
    let here = Workshop::with_a_job();
    for (arguments, part) in [
        (&["trial", "--backlash", "0.2in"][..], "`0.2 mm` meant"),
        (
            &["trial", "--nut-torque", "150 lb-in"][..],
            "`150 lb-ft` meant",
        ),
        (&["trial", "--pinion-torque", "14 lb-ft"][..], "`14 lb-in`"),
        (&["trial", "--pinion-shim", "30mm"][..], "`30 thou` meant"),
        (&["trial", "--pinion-shim", "0.03"][..], "has no unit"),
        (&["trial"][..], "nothing to record"),
        (&["trial", "--drive", "gone.jpg"][..], "gone.jpg"),
        (
            &["trial", "--backlash", "0.2mm", "--at", "yesterday"][..],
            "no time",
        ),
        (
            &["check", "pinion-nut", "--value", "150 lb-in"][..],
            "150 lb-ft",
        ),
        (&["close"][..], "not finished"),
        (&["show", "--job", "7"][..], "no job 7"),
        (&["sheet", "--out", "sheet.doc"][..], ".html or .pdf"),
    ] {
        let (status, out, error) = here.run(arguments);
        assert_eq!(status, Some(2), "{arguments:?}: {out}{error}");
        assert!(error.contains(part), "{arguments:?}: {error}");
    }
    assert_eq!(here.json(&["list"])["jobs"][0]["trials"], 0);
    here.done(&["trial", "--backlash", "0.2in", "--as-written"]);
    assert_eq!(
        here.json(&["show"])["trials"][0]["trial"]["backlash_mm"][0],
        5.08
    );
}

#[test]
fn an_unreadable_photo_is_kept_and_said_to_be_so() {
    let here = Workshop::with_a_job();
    let photo = root("fixtures/painted/blurred.jpg");
    let recorded = here.json(&[
        "trial",
        "--drive",
        photo.to_str().unwrap(),
        "--backlash",
        "0.2mm",
    ]);
    assert!(recorded["drive"].is_null());
    assert!(
        recorded["remarks"][0]
            .as_str()
            .unwrap()
            .contains("drive flanks"),
        "{recorded}"
    );
    let record = here.json(&["show"]);
    assert_eq!(record["trials"][0]["photos"][0]["name"], "blurred.jpg");
    assert_eq!(
        record["trials"][0]["photos"][0]["reading"]["status"],
        "unreadable"
    );
}

#[test]
fn a_card_is_made_by_question_and_answer() {
    let here = Workshop::empty();
    let answers = "Larchfield\nmany\n41\n11\n8.0\n8.0in\n1.2in\n1.4in\n31\nface-milled\nleft\nconvex\n0.006in, 0.010in\n";
    let output = flankread()
        .current_dir(here.folder.path())
        .args(["job", "card", "new", "--out", "axle.toml"])
        .write_stdin(answers)
        .output()
        .unwrap();
    let asked = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(0), "{asked}");
    assert!(
        asked.contains("whole number") && asked.contains("no unit"),
        "{asked}"
    );
    let card = std::fs::read_to_string(here.path("axle.toml")).unwrap();
    assert!(
        card.contains("ring_diameter = \"8.0in\"") && card.contains("# How many teeth"),
        "{card}"
    );
    here.done(&["new", "First", "--card", "axle.toml"]);
    // Answers that end too early write no card.
    let output = flankread()
        .current_dir(here.folder.path())
        .args(["job", "card", "new", "--out", "half.toml"])
        .write_stdin("Larchfield\n41\n")
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(!here.path("half.toml").exists());
}

/// The answers so far are in a file beside the card after each answer, so that no interruption loses them.
#[test]
fn an_interrupted_card_is_taken_up_where_it_was_left() {
    let here = Workshop::empty();
    let draft = here.path("axle.toml.draft");
    let mut asking = std::process::Command::new(PROGRAM)
        .current_dir(here.folder.path())
        .args(["job", "card", "new", "--out", "axle.toml", "--short"])
        .stdin(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut answers = asking.stdin.take().unwrap();
    answers.write_all(b"Larchfield\n41-11\n8.0in\n").unwrap();
    answers.flush().unwrap();
    let kept = || std::fs::read_to_string(&draft).unwrap_or_default();
    let begun = Instant::now();
    while !kept().contains("8.0in") && begun.elapsed() < Duration::from_secs(60) {
        std::thread::sleep(Duration::from_millis(5));
    }
    asking.kill().unwrap();
    asking.wait().unwrap();
    assert!(kept().contains("pinion_teeth\t11"), "{}", kept());
    assert!(!here.path("axle.toml").exists());
    let output = flankread()
        .current_dir(here.folder.path())
        .args([
            "job",
            "card",
            "new",
            "--out",
            "axle.toml",
            "--short",
            "--go-on",
        ])
        .write_stdin("1.2in\n1.4in\n31\nface-milled\nunder cage\n")
        .output()
        .unwrap();
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(0), "{said}");
    let card = std::fs::read_to_string(here.path("axle.toml")).unwrap();
    assert!(
        card.contains("ring_teeth = 41") && card.contains("under cage"),
        "{card}"
    );
    assert!(!draft.exists());
}

#[test]
fn a_mirrored_photo_is_asked_for_as_mirrored() {
    let here = Workshop::with_a_job();
    let card = std::fs::read_to_string(example("card.toml")).unwrap();
    let right = card.replace("hand = \"left\"", "hand = \"right\"");
    std::fs::write(here.path("right.toml"), right).unwrap();
    here.done(&["new", "Right-hand", "--card", "right.toml"]);
    // A right-hand gear (fixtures/rendered/h007.json), in a mirror.
    let picture = image::open(root("fixtures/rendered/h007.jpg")).unwrap();
    let flipped = image::imageops::flip_horizontal(&picture.into_rgb8());
    flipped.save(here.path("flipped.png")).unwrap();
    let recorded = here.json(&["trial", "--drive", "flipped.png"]);
    assert!(recorded["drive"].is_null(), "{recorded}");
    let remarks = recorded["remarks"].to_string();
    assert!(
        remarks.contains("record it again with --mirrored"),
        "{remarks}"
    );
    assert!(!remarks.contains("--use-unsure"), "{remarks}");
    // Why stands there too, as `read` says it.
    assert!(remarks.contains("The photo seems mirrored"), "{remarks}");
}

#[test]
fn stations_judge_a_used_set_by_what_it_ran_with() {
    let here = Workshop::with_a_job();
    for found in [
        &["--as-found"][..],
        &["--pinion-torque", "7lb-in", "--bearings", "used"],
    ] {
        let trial = ["trial", "--condition", "used", "--backlash", "0.36mm"];
        here.done(&[&trial, found].concat());
    }
    let db = here.path("workshop.db");
    let (status, out, error) = ended(
        flankread()
            .args(["setup", "backlash", "--job", "1", "--json", "--db"])
            .arg(&db)
            .args(["--reading", "0.36mm", "--reading", "0.37mm"]),
    );
    assert_eq!(status, Some(0), "{error}");
    let answer: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(answer["result"]["mean_is"], "within", "{out}");
}

#[test]
fn every_subcommand_shows_an_example() {
    let here = Workshop::empty();
    for what in [
        "new", "list", "show", "trial", "amend", "advise", "next", "note", "strike", "check",
        "close", "sheet", "export", "import",
    ] {
        let help = here.done(&[what, "--help"]);
        assert!(help.contains("Example: flankread job "), "{what}");
    }
}
