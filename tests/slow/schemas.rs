//! What the program prints for machines, held against the schema that `flankread schema` prints for it; the judge is the
//! `jsonschema` crate.

use crate::common::{ended, flankread, painted_copy, root};
use serde_json::Value;
use std::collections::HashMap;
use std::path::Path;

const CARD: &str = "CARD";

/// A folder to run in, and the schemas asked for so far.
struct Held<'a> {
    here: &'a Path,
    card: String,
    schemas: HashMap<String, jsonschema::Validator>,
    faults: Vec<String>,
}

impl<'a> Held<'a> {
    fn new(here: &'a Path) -> Self {
        Self {
            here,
            card: root("examples/larchfield/card.toml").display().to_string(),
            schemas: HashMap::new(),
            faults: Vec::new(),
        }
    }

    /// Runs a command with `--json`; what it printed.
    fn prints(&self, line: &str) -> String {
        self.prints_when_told(line, "")
    }

    /// The same of a command that reads these words.
    fn prints_when_told(&self, line: &str, told: &str) -> String {
        let words = line.split(' ').map(|word| match word {
            CARD => self.card.as_str(),
            word => word,
        });
        let mut command = flankread();
        command.current_dir(self.here).args(words).arg("--json");
        command.env("FLANKREAD_DB", self.here.join("workshop.db"));
        command.write_stdin(told);
        let (_, out, error) = ended(&mut command);
        assert!(!out.is_empty(), "{line}: {error}");
        out
    }

    fn against(&mut self, document: &str, text: &str, from: &str) {
        let value: Value =
            serde_json::from_str(text).unwrap_or_else(|error| panic!("{from}: {error} in {text}"));
        let validator = self.schemas.entry(document.to_owned()).or_insert_with(|| {
            let (_, out, error) = ended(flankread().args(["schema", document]));
            let schema =
                serde_json::from_str(&out).unwrap_or_else(|_| panic!("{document}: {error}"));
            jsonschema::validator_for(&schema).unwrap_or_else(|error| panic!("{document}: {error}"))
        });
        let faults = validator
            .iter_errors(&value)
            .map(|error| format!("{from} against {document}: {error}"));
        self.faults.extend(faults);
    }

    fn printed(&mut self, document: &str, line: &str) {
        let out = self.prints(line);
        self.against(document, &out, line);
    }

    fn written(&mut self, document: &str, name: &str) {
        let path = self.here.join(name);
        let text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{name}: {error}"));
        if name.ends_with(".jsonl") {
            text.lines()
                .for_each(|line| self.against(document, line, name));
        } else {
            self.against(document, &text, name);
        }
    }
}

/// The document and the command that prints one; run in this order, in a folder with the example's photos.
const PRINTED: &[(&str, &str)] = &[
    ("schemas", "schema"),
    ("reading", "read drive.jpg"),
    ("read", "read drive.jpg coast.jpg"),
    (
        "read",
        "read drive.jpg coast.jpg --card CARD --backlash 11thou --pinion-shim 30thou",
    ),
    ("error", "read gone.jpg"),
    ("error", "setup sum 0.030"),
    (
        "setup",
        "setup pinion-shim marks --old-shim 0.100in --old-mark -3 --new-mark 2 --mark-unit 0.001in --mark-sense plus-thinner",
    ),
    (
        "setup",
        "setup pinion-shim etched --base 0.030in --etched 0.002in --card CARD",
    ),
    (
        "setup",
        "setup preload --trial 0.082in=10lb-in --trial 0.078in=50lb-in --window 25lb-in 35lb-in",
    ),
    (
        "setup",
        "setup sleeve --window 25lb-in 35lb-in --step 350lb-ft=2lb-in --step 355lb-ft=7lb-in",
    ),
    (
        "setup",
        "setup side-shims --ring-side 0.095in --far-side 0.088in --backlash 0in --wanted 0.0065in --ratio 0.65",
    ),
    (
        "setup",
        "setup side-shims --ring-side 0.095in --far-side 0.088in --backlash 5thou --card CARD",
    ),
    (
        "setup",
        "setup adjusters --backlash 0.04mm --wanted 0.20mm --pitch 2.4mm --notches-per-turn 18",
    ),
    (
        "setup",
        "setup backlash --reading 0.100mm --direction square --spiral-angle 38.61",
    ),
    (
        "setup",
        "setup backlash --reading 7thou --reading 8thou --reading 9thou --reading 8thou --card CARD",
    ),
    ("setup", "setup torque --pinion 13lb-in"),
    (
        "setup",
        "setup torque --pinion 13lb-in --total 22lb-in --rise 7lb-in 11lb-in",
    ),
    (
        "setup",
        "setup case-spread --before 13.927in --after 13.932in --window 0.002in 0.009in",
    ),
    ("setup", "setup fasteners 3/8-24 --grade 8 --state plated"),
    ("setup", "setup sum 0.030in 0.005in 0.002in"),
    ("simulation", "simulate --card CARD --pinion 0.1mm"),
    ("man", "man --out man"),
    ("doctor", "doctor"),
    (
        "lesson-glossary",
        "lesson glossary --out words --photo-width 160",
    ),
    ("lesson-explore", "lesson explore --out explore.html"),
    (
        "lesson-sheet",
        "lesson sheet --out sheets --photo-width 160",
    ),
    ("lesson-cases", "lesson cases --out cases --photo-width 160"),
    (
        "quiz-page",
        "lesson quiz --page quiz.html --photo-width 160 --count 2",
    ),
    ("job-answer", "job new Rear --card CARD"),
    ("job-answer", "job list"),
    ("job-answer", "job next"),
    (
        "job-answer",
        "job trial --pinion-shim 30thou --backlash 11thou --drive drive.jpg --coast coast.jpg",
    ),
    ("advice", "job advise"),
    ("job-answer", "job advise --followed yes"),
    (
        "job-answer",
        "job amend 1 --pinion-shim 31thou --because misread",
    ),
    ("job-answer", "job note seal"),
    ("job-answer", "job check washers"),
    ("record", "job show"),
    ("job", "job show --as-job"),
    ("doctor", "doctor --backup copy.db"),
    ("job-answer", "job sheet --out sheet.html"),
    ("job-answer", "job export --out job.zip"),
    ("job-answer", "job strike 1 --because tried"),
    ("job-answer", "job close --anyway --because sold"),
];

#[test]
fn what_is_printed_for_machines_keeps_to_its_schema() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    for photo in ["drive.jpg", "coast.jpg"] {
        std::fs::copy(root("examples/larchfield").join(photo), here.join(photo)).unwrap();
    }
    let mut held = Held::new(here);
    for (document, line) in PRINTED {
        held.printed(document, line);
    }
    let progress = held.prints_when_told(
        "lesson quiz --out quiz --learner Ines --seed 4 --count 1 --photo-width 160",
        "b\nnone\n0\n0\n",
    );
    held.against("quiz-progress", &progress, "lesson quiz");
    let table = "learner,question,drive_photo,fault,pinion,ring\nInes,1,a,pinion far,a bit,0\n";
    std::fs::write(here.join("class.csv"), table).unwrap();
    held.printed("quiz-grades", "lesson quiz --grade class.csv --seed 4");
    let job = held.prints("job show --as-job --job 1");
    std::fs::write(here.join("job.json"), job).unwrap();
    held.printed("advice", "advise job.json");
    assert!(held.faults.is_empty(), "{}", held.faults.join("\n"));
}

#[test]
fn what_a_batch_and_the_worker_write_keeps_to_its_schema() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    for name in ["left/drive.jpg", "left/coast.jpg"] {
        let from = root("examples/larchfield").join(name.trim_start_matches("left/"));
        std::fs::create_dir_all(here.join("left")).unwrap();
        std::fs::copy(from, here.join(name)).unwrap();
    }
    std::fs::write(here.join("left/none.jpg"), "no picture").unwrap();
    painted_copy("bare-steel.jpg", &here.join("other/drive.jpg"), "");
    let mut held = Held::new(here);
    let lines = held.prints("batch . --card CARD --out out");
    for line in lines.lines() {
        held.against("batch-photo", line, "batch");
    }
    held.written("batch-photo", "out/readings.jsonl");
    held.written("batch-set", "out/sets.jsonl");
    held.written("batch-summary", "out/summary.json");
    let requests = [
        r#"{"id": 1, "photo": "left/drive.jpg", "flank": "drive"}"#,
        r#"{"id": 2, "photo": "left/none.jpg"}"#,
        r#"{"id": 3, "photo": "gone.jpg"}"#,
    ];
    let answers =
        held.prints_when_told("worker", &requests.map(|line| format!("{line}\n")).concat());
    assert_eq!(answers.lines().count(), requests.len());
    for (request, answer) in requests.into_iter().zip(answers.lines()) {
        held.against("worker-request", request, "worker");
        held.against("worker-answer", answer, "worker");
    }
    assert!(held.faults.is_empty(), "{}", held.faults.join("\n"));
}

#[test]
fn a_wrong_document_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let mut held = Held::new(folder.path());
    let sum = held.prints("setup sum 0.030in 0.005in");
    held.against(
        "setup",
        &sum.replace("total_mm", "total"),
        "a renamed number",
    );
    held.against("setup", &sum.replace("\"sum\"", "\"total\""), "no station");
    held.against("advice", &sum, "another document");
    for told in ["a renamed number", "no station", "another document"] {
        assert!(
            held.faults.iter().any(|fault| fault.starts_with(told)),
            "{told}: {:?}",
            held.faults
        );
    }
}
