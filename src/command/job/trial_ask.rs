//! Asks for an assembly value by value, with what is taken over from the trial before.

use super::trial::Given;
use crate::Result;
use crate::command::ask::{Answer, Asker};
use crate::job::assembly::carried;
use crate::job::new_trial::NewTrial;
use crate::report::job::text::value_words;
use crate::schema::record::Record;
use crate::schema::{Adjust, Preload};
use crate::units::{Shown, listed};
use clap::Parser;

/// The options of a trial alone, to read answers the way the command line is read.
#[derive(Debug, Parser)]
#[command(name = "trial", no_binary_name = true)]
struct Asked {
    #[command(flatten)]
    given: Given,
}

/// How an answer is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    /// One value.
    One,
    /// Any number of values with commas.
    Several,
    /// Yes or no.
    YesNo,
}

/// One question: the option, the key of what is taken over, what is asked, and how it is answered.
struct Question {
    option: &'static str,
    key: &'static str,
    ask: &'static str,
    kind: Kind,
}

const fn q(option: &'static str, key: &'static str, ask: &'static str, kind: Kind) -> Question {
    Question {
        option,
        key,
        ask,
        kind,
    }
}

/// The questions in the order of the work, as far as the card has such parts.
fn questions(record: &Record) -> Vec<Question> {
    let card = &record.card;
    let first = record.counting().next().is_none();
    let mut all = Vec::new();
    if first {
        all.push(q(
            "--as-found",
            "",
            "Is this the axle as it came in, before anything was changed? (yes or no)",
            Kind::YesNo,
        ));
    }
    all.push(q(
        "--condition",
        "condition",
        "Gears: new or used?",
        Kind::One,
    ));
    all.push(q(
        "--bearings",
        "bearings",
        "Pinion bearings: new or used?",
        Kind::One,
    ));
    all.push(q(
        "--pinion-shim",
        "pinion_shim_mm",
        "Pinion pack, with an oil slinger or baffle that sits between head and bearing?",
        Kind::One,
    ));
    if card.pinion.preload == Preload::Shims {
        all.push(q(
            "--preload-pack",
            "preload_pack_mm",
            "Pack between the pinion's bearings?",
            Kind::One,
        ));
    }
    all.push(q(
        "--nut-torque",
        "",
        "Torque the pinion nut was brought to?",
        Kind::One,
    ));
    all.push(q(
        "--pinion-torque",
        "",
        "Rotating torque of the pinion, each turn's reading?",
        Kind::Several,
    ));
    if card.carrier.adjust == Adjust::Shims {
        all.push(q(
            "--ring-side-shim",
            "ring_side_shim_mm",
            "Pack behind the ring gear?",
            Kind::One,
        ));
        all.push(q(
            "--far-side-shim",
            "far_side_shim_mm",
            "Pack on the other side?",
            Kind::One,
        ));
    } else {
        all.push(q(
            "--notches",
            "ring_notches",
            "Adjusters: notches from the job's zero, + = ring gear away from the pinion?",
            Kind::One,
        ));
    }
    all.push(q(
        "--side-preload",
        "",
        "Do the side bearings carry their preload? (yes or no)",
        Kind::YesNo,
    ));
    all.push(q(
        "--final-parts",
        "",
        "Are the final parts in? (yes or no)",
        Kind::YesNo,
    ));
    all.push(q(
        "--backlash",
        "",
        "Backlash, each place round the gear?",
        Kind::Several,
    ));
    all.push(q(
        "--total-torque",
        "",
        "Torque to turn pinion and carrier, each turn's reading?",
        Kind::Several,
    ));
    all.push(q(
        "--drive",
        "",
        "Photo of the drive flanks (a file)?",
        Kind::One,
    ));
    all.push(q(
        "--coast",
        "",
        "Photo of the coast flanks (a file)?",
        Kind::One,
    ));
    all.push(q("--note", "", "Anything to note?", Kind::One));
    all
}

/// The words of the command line that an answer stands for.
fn arguments(question: &Question, answer: &str) -> Vec<String> {
    let option = question.option;
    match question.kind {
        Kind::One => vec![format!("{option}={answer}")],
        Kind::Several => listed(answer)
            .map(|part| format!("{option}={part}"))
            .collect(),
        Kind::YesNo => {
            let yes = ["y", "yes"].contains(&answer.to_lowercase().as_str());
            let no = ["n", "no"].contains(&answer.to_lowercase().as_str());
            let said = if yes {
                "yes"
            } else if no {
                "no"
            } else {
                answer
            };
            vec![format!("{option}={said}")]
        }
    }
}

/// What a trial with these words would hold; in one sentence why not.
fn read(words: &[String]) -> std::result::Result<Given, String> {
    let asked = Asked::try_parse_from(words).map_err(|error| {
        let text = error.to_string();
        let first = text.lines().next().unwrap_or_default();
        // What the option is called says nothing to whom it was not shown.
        let why = first.split_once("': ").map_or(first, |(_, why)| why);
        why.trim_start_matches("error: ").to_owned()
    })?;
    let mut alone = NewTrial::default();
    let sound = asked.given.numbers.put_into(&mut alone);
    sound.map_err(|error| error.to_string())?;
    if let Some(gone) = asked.given.photos.missing() {
        return Err(format!("{} is not there", gone.display()));
    }
    Ok(asked.given)
}

/// Asks for everything; `None` where nothing was answered.
///
/// # Errors
/// Standard input cannot be read.
pub(super) fn ask(record: &Record, shown: &Shown) -> Result<Option<Given>> {
    let questions = questions(record);
    let before = carried(record);
    let mut asker = Asker::new();
    asker.say(
        "Each value with its unit; Enter takes what stands in [ ] or leaves it out; < goes back.\n",
    );
    let mut answers: Vec<Option<Vec<String>>> = questions.iter().map(|_| None).collect();
    let mut at = 0;
    while let Some(question) = questions.get(at) {
        let over = before.as_ref().and_then(|(number, new)| {
            let words = value_words(question.key, new, shown)?;
            Some(format!(" [{words}, trial {number}]"))
        });
        asker.say(&format!("{}{}", question.ask, over.unwrap_or_default()));
        match asker.answer()? {
            Answer::Back => at = at.saturating_sub(1),
            Answer::Ended => break,
            Answer::Skip => {
                answers[at] = None;
                at += 1;
            }
            Answer::Said(text) => {
                let words = arguments(question, &text);
                match read(&words) {
                    Ok(_) => {
                        answers[at] = Some(words);
                        at += 1;
                    }
                    Err(why) => asker.say(&format!("  {why}\n")),
                }
            }
        }
    }
    let words: Vec<String> = answers.into_iter().flatten().flatten().collect();
    if words.is_empty() {
        return Ok(None);
    }
    read(&words).map(Some).map_err(crate::Error::usage)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn answers_are_read_as_the_command_line_is() {
        let several = q("--backlash", "", "", Kind::Several);
        let words = arguments(&several, "0.20mm, 0.21mm");
        assert_eq!(words, ["--backlash=0.20mm", "--backlash=0.21mm"]);
        let mut new = NewTrial::default();
        read(&words).unwrap().numbers.put_into(&mut new).unwrap();
        assert_eq!(new.trial.backlash_mm, [0.20, 0.21]);
        let yes = q("--side-preload", "", "", Kind::YesNo);
        assert!(read(&arguments(&yes, "Y")).is_ok());
        for (question, answer, part) in [
            (&several, "0.2in", "0.2 mm"),
            (&several, "0.2", "no unit"),
            (&yes, "perhaps", "perhaps"),
            (&q("--drive", "", "", Kind::One), "no such.jpg", "not there"),
        ] {
            let why = read(&arguments(question, answer)).unwrap_err();
            assert!(why.contains(part), "{answer}: {why}");
        }
    }
}
