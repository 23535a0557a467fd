//! Thirty mistakes that a person makes on the command line, each with the sentence it gets. All end with exit status 2: wrong
//! use or unusable input.

use crate::common::{ended, flankread};

/// The command line after the program's name, parted at spaces (`_` stands for a space in one word); a part of the sentence.
const MISTAKES: [(&str, &str); 30] = [
    // Units.
    (
        "setup sum 0.030",
        "was `0.030 mm`, `0.030 in` or `0.030 thou` meant?",
    ),
    (
        "setup sum 30 lb-in",
        "`lb-in` is no unit of length; known are mm, in, thou",
    ),
    ("setup sum 0.030inhc", "the nearest is `in`"),
    ("setup sum 1,250mm", "write `1.250mm` or `1250mm`"),
    (
        "setup torque --pinion 14 lb",
        "was `14 lb-in` or `14 lb-ft` meant?",
    ),
    ("setup torque --pinion 14 lb-ft", "`14 lb-in` meant"),
    ("setup backlash --reading 0.2in", "was `0.2 mm` meant?"),
    (
        "setup backlash --reading -0.2mm",
        "a backlash of -0.2mm is below nothing, which cannot be",
    ),
    (
        "setup pinion-shim marks --old-shim 31mm --new-mark 2",
        "was `31 thou` meant?",
    ),
    (
        "setup pinion-shim marks --old-shim 31thou --new-mark -0.05mm",
        "was `-5` with --mark-unit 0.01mm meant?",
    ),
    (
        "setup sleeve --window 12lb-in 15lb-in --step 150lb-in=3lb-in",
        "`150 lb-ft` meant",
    ),
    (
        "simulate examples/larchfield/card.toml --ring 0,1",
        "`0.1` has no unit",
    ),
    (
        "simulate examples/larchfield/card.toml --pinion 40mm",
        "at most 393.7 thou can be simulated",
    ),
    ("setup sum 1mm --units furlong", "[possible values: mm, in]"),
    // Words.
    (
        "read --flank left drive.jpg",
        "[possible values: drive, coast]",
    ),
    (
        "read --toe inner drive.jpg",
        "[possible values: left, right, up, down]",
    ),
    (
        "setup fasteners 3/8-24 --grade 8",
        "friction decides half of it",
    ),
    (
        "setup fasteners 3/8 --grade 8 --state dry",
        "the threads per inch are missing",
    ),
    (
        "setup fasteners 1-8 --grade 5 --state dry",
        "no document at hand has the proof strength",
    ),
    (
        "setup pinion-shim marks --old-shim 31thou --new-mark 2",
        "never guessed",
    ),
    (
        "lesson quiz --grade class.csv --seed seven",
        "invalid digit",
    ),
    // Files.
    ("read nowhere.jpg", "cannot read nowhere.jpg"),
    ("read README.md", "is not a picture"),
    (
        "read examples/larchfield/drive.jpg --card examples/larchfield/drive.jpg",
        "this is no card but a file without text, such as a photo",
    ),
    (
        "advise examples/larchfield/card.toml",
        "this is a card; `advise` reads a job",
    ),
    (
        "advise examples/larchfield/drive.jpg",
        "a file without text, such as a photo",
    ),
    (
        "setup sum 1mm --card nowhere.toml",
        "cannot read nowhere.toml",
    ),
    // Options.
    (
        "read --flnk drive drive.jpg",
        "a similar argument exists: '--flank'",
    ),
    (
        "read --backlash 11 thou examples/larchfield/drive.jpg",
        "give its card with --card",
    ),
    (
        "setup backlash --reading 0.2mm --reading 0.2mm --at 0",
        "2 readings but 1 places",
    ),
];

#[test]
fn each_mistake_gets_its_sentence() {
    let mut wrong = Vec::new();
    for (line, sentence) in MISTAKES {
        let arguments = line.split(' ').map(|word| word.replace('_', " "));
        let (status, out, error) = ended(flankread().args(arguments));
        // Lines are broken to the width of a terminal.
        let said = error.split_whitespace().collect::<Vec<_>>().join(" ");
        if status != Some(2) || !out.is_empty() || !said.contains(sentence) {
            wrong.push(format!("{line}\n  {status:?} {said}\n  {out}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// A card of the example with one line changed, and what is said of it.
const CARD_MISTAKES: [(&str, &str, &str); 12] = [
    (
        "ring_teeth = 41",
        "ring_teeth = \"41-11\"",
        "ring_teeth = 41 and pinion_teeth = 11",
    ),
    (
        "ring_teeth = 41",
        "ring_teth = 41",
        "the nearest known key is `ring_teeth`",
    ),
    ("ring_teeth = 41", "customer = 41", "remove it"),
    (
        "ring_diameter = \"8.0in\"",
        "ring_diameter = \"8.0mm\"",
        "was 8 in meant?",
    ),
    (
        "ring_diameter = \"8.0in\"",
        "ring_diameter = 8.0",
        "has no unit",
    ),
    (
        "ring_diameter = \"8.0in\"",
        "ring_diameter = \"80in\"",
        "outside 1.9685 in to 39.3701 in",
    ),
    (
        "cutting = \"face-milled\"",
        "cutting = \"sawn\"",
        "must be one of \"face-milled\", \"face-hobbed\"",
    ),
    (
        "cutting = \"face-milled\"",
        "cutting = \"face-miled\"",
        "the nearest is \"face-milled\"",
    ),
    (
        "hand = \"left\"",
        "hand = \"up\"",
        "must be one of \"left\", \"right\"",
    ),
    (
        "backlash = [\"0.0065in\", \"0.0105in\"]",
        "backlash = [\"0.0105in\", \"0.0065in\"]",
        "low then high",
    ),
    (
        "backlash = [\"0.0065in\", \"0.0105in\"]",
        "backlash = [\"0.15in\", \"0.25in\"]",
        "was 0.15 mm meant?",
    ),
    (
        "face_width = \"1.2in\"",
        "face_width = \"1.2 lb-in\"",
        "no unit of length",
    ),
];

#[test]
fn each_slip_in_a_card_gets_its_sentence() {
    let card =
        std::fs::read_to_string(crate::common::root("examples/larchfield/card.toml")).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("axle.toml");
    for (line, slip, sentence) in CARD_MISTAKES {
        assert!(card.contains(line), "{line}");
        std::fs::write(&path, card.replacen(line, slip, 1)).unwrap();
        let (status, out, error) = ended(flankread().arg("simulate").arg(&path));
        assert_eq!(status, Some(2), "{slip}: {out}");
        assert!(error.contains(sentence), "{slip}: {error}");
    }
}

#[test]
fn no_misspelt_word_is_taken_for_its_opposite() {
    let card =
        std::fs::read_to_string(crate::common::root("examples/larchfield/card.toml")).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("axle.toml");
    for (line, slip) in [
        ("hand = \"left\"", "hand = \"lift\""),
        ("hand = \"left\"", "hand = \"ring\""),
        ("cutting = \"face-milled\"", "cutting = \"six-cut\""),
        ("cutting = \"face-milled\"", "cutting = \"face\""),
    ] {
        std::fs::write(&path, card.replacen(line, slip, 1)).unwrap();
        let (_, _, error) = ended(flankread().arg("simulate").arg(&path));
        let opposite = ["nearest is \"right\"", "nearest is \"face-hobbed\""];
        assert!(
            !opposite.iter().any(|word| error.contains(word)),
            "{slip}: {error}"
        );
    }
}
