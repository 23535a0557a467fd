//! Mistakes that people make at the bench, each with the sentence it gets and the exit status.

use crate::common::{ended, flankread, root};
use std::path::Path;

/// What was done, the command line, the exit status, and the sentence that answers it.
type Mistake = (&'static str, &'static str, i32, &'static str);

/// Asked of a job on the Larchfield card: trial 1 as found, trial 2 with 13 lb-in, trial 3 with preload and both packs, trial
/// 4 struck out; advice was given after trial 3.
const ON_A_JOB: [Mistake; 24] = [
    (
        "inches for millimetres",
        "job trial --backlash 0.2in",
        2,
        "was `0.2 mm` meant?",
    ),
    (
        "pound-feet for pound-inches",
        "job trial --pinion-torque 14lb-ft",
        2,
        "`14 lb-in` meant?",
    ),
    (
        "pound-inches for pound-feet",
        "job trial --nut-torque 150lb-in",
        2,
        "`150 lb-ft` meant?",
    ),
    (
        "no unit",
        "job trial --pinion-shim 0.030",
        2,
        "`0.030` has no unit",
    ),
    (
        "one photo for both flanks",
        "job trial --drive a.jpg --coast a.jpg",
        2,
        "a.jpg was given for the drive flanks and for the coast flanks, and does not show both well; give a photo of each",
    ),
    (
        "a photo that is not there",
        "job trial --drive gone.jpg",
        2,
        "gone.jpg",
    ),
    (
        "the carrier makes it easier",
        "job trial --pinion-torque 13lb-in --total-torque 9lb-in",
        2,
        "easier, which no bearing does",
    ),
    (
        "nothing given, nothing answered",
        "job trial",
        2,
        "nothing to record: give at least a shim, a torque, a backlash or a photo",
    ),
    (
        "a trial that is not there",
        "job amend 9 --pinion-shim 0.032in",
        2,
        "job 1 has no trial 9",
    ),
    (
        "nothing to amend",
        "job amend 2 --because sorry",
        2,
        "nothing to put right in trial 2",
    ),
    (
        "the same value again",
        "job amend 2 --pinion-shim 0.030in",
        2,
        "nothing to put right in trial 2",
    ),
    (
        "amending what is struck out",
        "job amend 4 --pinion-shim 0.032in",
        2,
        "trial 4 is struck out already",
    ),
    (
        "striking twice",
        "job strike 4 --because again",
        2,
        "trial 4 is struck out already",
    ),
    (
        "striking without a reason",
        "job strike 3",
        2,
        "--because <BECAUSE>",
    ),
    (
        "advice that was not given",
        "job advise --followed yes --after 2",
        2,
        "job 1 has no advice after trial 2",
    ),
    (
        "ring bolts far too tight",
        "job check ring-bolts --value 85lb-ft --units in",
        2,
        "ring-bolts stays open: 85.0 lb-ft is above 49.0 lb-ft to 54.0 lb-ft",
    ),
    (
        "a nut too tight, taken as written without a reason",
        "job check pinion-nut --value 200lb-ft --as-written",
        2,
        "--because <WORDS>",
    ),
    (
        "the pinion too tight",
        "job check pinion-torque --value 22lb-in --units in",
        2,
        "pinion-torque stays open: 22.0 lb-in is above 11.5 lb-in to 14.5 lb-in",
    ),
    (
        "the total below the pinion's own",
        "job check total-torque --value 12lb-in --units in",
        2,
        "total-torque stays open: 12.0 lb-in for pinion and carrier is less than the pinion's own 13.0 lb-in",
    ),
    (
        "a torque item without its torque",
        "job check cap-bolts",
        2,
        "cap-bolts: give the torque that was used, as --value 55lb-ft",
    ),
    ("closing too early", "job close", 2, "job 1 is not finished"),
    (
        "reopening without saying which",
        "job close --reopen",
        2,
        "say which job to open again, with --job",
    ),
    (
        "the card that the job has already",
        "job card use card.toml",
        2,
        "card.toml says what the card of job 1 says already",
    ),
    (
        "a card file that is there already",
        "job card new --out card.toml",
        2,
        "card.toml is there already; choose another name or overwrite with --force",
    ),
];

/// Asked of a closed job.
const ON_A_CLOSED_JOB: [Mistake; 5] = [
    (
        "a note",
        "job note --job 1 late",
        2,
        "open it again with `flankread job close --job 1 --reopen`",
    ),
    ("a tick", "job check vent --job 1", 2, "job 1 was closed on"),
    (
        "a trial",
        "job trial --job 1 --backlash 0.2mm",
        2,
        "job 1 was closed on",
    ),
    (
        "an amendment",
        "job amend 2 --job 1 --pinion-shim 0.032in",
        2,
        "job 1 was closed on",
    ),
    ("no job is open", "job next", 2, "no job is open"),
];

/// Asked of a station.
const AT_A_STATION: [Mistake; 16] = [
    (
        "end play below nothing",
        "setup side-shims --card card.toml --ring-side 2mm --far-side 2mm --backlash=-0.05mm",
        2,
        "a backlash of -0.05mm is below nothing, which cannot be",
    ),
    (
        "a thinner pack that turns easier",
        "setup preload --card card.toml --trial 80thou=13lb-in --trial 75thou=10lb-in",
        2,
        "trial 2 has the thinner pack but turned easier than trial 1",
    ),
    (
        "a sleeve that loosens",
        "setup sleeve --window 12lb-in 15lb-in --step 200lb-ft=20lb-in --step 210lb-ft=5lb-in",
        2,
        "at step 2 the nut is tighter than at step 1 and the pinion turns easier",
    ),
    (
        "a sleeve on a shim card",
        "setup sleeve --card card.toml --step 200lb-ft=2lb-in",
        2,
        "the card has the pinion preloaded by shims; use `setup preload`",
    ),
    (
        "shims on a sleeve card",
        "setup preload --card threaded.toml --trial 80thou=13lb-in",
        2,
        "collapsible sleeve; use `setup sleeve`",
    ),
    (
        "shims on threaded adjusters",
        "setup side-shims --card threaded.toml --ring-side 2mm --far-side 2mm --backlash 0.1mm",
        2,
        "threaded adjusters at the sides, not shims; use `setup adjusters`",
    ),
    (
        "adjusters on side shims",
        "setup adjusters --card card.toml --backlash 0.1mm",
        2,
        "shims at the sides, not threaded adjusters; use `setup side-shims`",
    ),
    (
        "a backlash wanted below the window",
        "setup side-shims --card card.toml --ring-side 2.3mm --far-side 2.1mm --backlash 0.1mm --wanted 2thou --units in",
        2,
        "a wanted backlash of 2thou is below the card's 6.5 thou to 10.5 thou",
    ),
    (
        "a backlash wanted above it",
        "setup adjusters --card threaded.toml --backlash 0.1mm --wanted 0.6mm",
        2,
        "is above the card's",
    ),
    (
        "end play for preload",
        "setup adjusters --card threaded.toml --backlash 0.1mm --preload-notches -2",
        2,
        "-2 notches of preload would be end play",
    ),
    (
        "a side pack thinner than nothing",
        "setup side-shims --card card.toml --ring-side 0.2mm --far-side 2mm --backlash 0mm",
        2,
        "measure the backlash and both packs again",
    ),
    (
        "a slinger and no place of the shims",
        "setup pinion-shim marks --old-shim 0.062in --new-mark 0 --mark-unit 0.001in --mark-sense plus-thicker --slinger 0.030in",
        2,
        "say where the shims sit",
    ),
    (
        "a slinger in the wrong unit",
        "setup pinion-shim marks --card card.toml --old-shim 0.062in --new-mark 0 --slinger 30mm",
        2,
        "`30 thou` meant?",
    ),
    (
        "a slinger thicker than the pack",
        "setup pinion-shim marks --card card.toml --old-shim 0.020in --new-mark 0 --slinger 0.030in",
        2,
        "the slinger is thicker than the whole pack",
    ),
    (
        "one pack of two",
        "setup backlash --card card.toml --reading 0.4mm --ring-side 2mm",
        2,
        "--far-side",
    ),
    (
        "places bunched together",
        "setup backlash --reading 0.2mm --reading 0.2mm --reading 0.2mm --at 0 --at 0 --at 360",
        2,
        "the places must be spread round the gear",
    ),
];

fn answered(folder: &Path, line: &str) -> (Option<i32>, String) {
    let (status, out, error) = ended(
        flankread()
            .current_dir(folder)
            .env("FLANKREAD_DB", folder.join("workshop.db"))
            .args(line.split(' ')),
    );
    (status, out + &error)
}

/// The mistakes that were answered otherwise.
fn answered_otherwise(folder: &Path, mistakes: &[Mistake]) -> Vec<String> {
    let mut otherwise = Vec::new();
    for (what, line, status, sentence) in mistakes {
        let (found, said) = answered(folder, line);
        if found != Some(*status) || !said.contains(sentence) {
            otherwise.push(format!("{what}: {found:?} {said}"));
        }
    }
    otherwise
}

#[test]
fn every_mistake_gets_its_sentence_and_its_exit_status() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    let card = std::fs::read_to_string(root("examples/larchfield/card.toml")).unwrap();
    std::fs::write(here.join("card.toml"), &card).unwrap();
    let threaded = card
        .replace(
            "adjust = \"shims\"",
            "adjust = \"threaded\"\npitch = \"1.5mm\"\nnotches_per_turn = 18",
        )
        .replace("preload = \"shims\"", "preload = \"sleeve\"");
    std::fs::write(here.join("threaded.toml"), threaded).unwrap();
    std::fs::copy(root("examples/larchfield/drive.jpg"), here.join("a.jpg")).unwrap();
    for line in [
        "job new Rear --card card.toml --by Robin",
        "job trial --as-found --backlash 0.36mm",
        "job trial --pinion-shim 0.030in --pinion-torque 13lb-in",
        "job trial --ring-side-shim 2.10mm --far-side-shim 2.35mm --backlash 0.20mm",
        "job trial --backlash 0.9mm",
        "job strike 4 --because misread",
        "job advise",
    ] {
        let (status, said) = answered(here, line);
        assert_eq!(status, Some(0), "{line}: {said}");
    }
    let before = answered(here, "job show --json").1;
    let mut otherwise = answered_otherwise(here, &ON_A_JOB);
    otherwise.extend(answered_otherwise(here, &AT_A_STATION));
    // Whatever was asked back left no trace.
    assert_eq!(answered(here, "job show --json").1, before);
    answered(here, "job close --anyway --because sold");
    otherwise.extend(answered_otherwise(here, &ON_A_CLOSED_JOB));
    assert!(otherwise.is_empty(), "{}", otherwise.join("\n"));
}
