//! `flankread job card`: asks for what a card needs and saves it, completes it, and gives a job another one.

use super::{Common, WhenWho};
use crate::card::ask::{QUESTIONS, asked, both_teeth, check_answer, completed, left_open, written};
use crate::command::ask::{Answer, Asker};
use crate::command::{Outcome, OutputOptions};
use crate::files::{self, MOST_TEXT_BYTES, read_text};
use crate::job::answers::JobAnswer;
use crate::job::clock::given_or_now;
use crate::report::job::text::said as value_words;
use crate::schema::Card;
use crate::schema::record::Note;
use crate::units::Shown;
use crate::{Error, Result};
use clap::{Args, Subcommand};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::io::IsTerminal as _;
use std::path::{Path, PathBuf};

/// Cards of gear sets.
#[derive(Debug, Args)]
pub(super) struct CardArgs {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Asks for each value, says where to find it on the axle, checks it, and saves the card with comments.
    #[command(
        after_help = "Example: flankread job card new --out axle.toml --short\nAnswers may come from a file, one a line: flankread job card new --out axle.toml < answers.txt"
    )]
    New(New),
    /// Asks for what a card leaves open, limits above all, and adds it; what stands in it stays.
    #[command(after_help = "Example: flankread job card complete axle.toml")]
    Complete(Complete),
    /// Gives a job another card in the place of its own; what changes is noted in the job.
    #[command(after_help = "Example: flankread job card use axle.toml --job 3")]
    Use(UseCard),
}

#[derive(Debug, Args)]
struct New {
    /// The file to save.
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Overwrite the file if it is there.
    #[arg(long)]
    force: bool,
    /// Eight questions only; the limits can be asked for later with `job card complete`.
    #[arg(long)]
    short: bool,
    /// Take up the answers that an interrupted try left in FILE.draft; at a terminal that is done unasked.
    #[arg(long)]
    go_on: bool,
}

#[derive(Debug, Args)]
struct Complete {
    /// The card.
    card: PathBuf,
}

#[derive(Debug, Args)]
struct UseCard {
    /// The card.
    card: PathBuf,
    #[command(flatten)]
    who: WhenWho,
    #[command(flatten)]
    common: Common,
}

impl CardArgs {
    pub(super) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        match &self.what {
            What::New(new) => new.run(output),
            What::Complete(complete) => complete.run(output),
            What::Use(card) => card.run(output),
        }
    }
}

/// Answers by the place of their question; an empty one was skipped.
type Answers = BTreeMap<usize, String>;

/// The answers that an interrupted try left: a file beside the card, written after each answer.
struct Draft {
    path: PathBuf,
}

impl Draft {
    fn beside(card: &Path) -> Self {
        let mut name = card.as_os_str().to_owned();
        name.push(".draft");
        Self { path: name.into() }
    }

    fn key(place: usize) -> String {
        format!("{}.{}", QUESTIONS[place].table, QUESTIONS[place].name)
    }

    fn load(&self) -> Answers {
        let text = read_text(&self.path, MOST_TEXT_BYTES).unwrap_or_default();
        let places = 0..QUESTIONS.len();
        text.lines()
            .filter_map(|line| line.split_once('\t'))
            .filter_map(|(key, answer)| {
                let place = places.clone().find(|place| Self::key(*place) == key)?;
                Some((place, answer.to_owned()))
            })
            .collect()
    }

    fn save(&self, answers: &Answers) -> Result<()> {
        let lines = answers
            .iter()
            .map(|(place, answer)| format!("{}\t{answer}\n", Self::key(*place)));
        let text: String = lines.collect();
        files::write(&self.path, text.as_bytes(), true)
    }

    fn remove(&self) {
        // A draft that is gone already is what was wanted.
        let _ = std::fs::remove_file(&self.path);
    }
}

/// Those that say something.
fn said(answers: Answers) -> Answers {
    let said = answers.into_iter().filter(|(_, answer)| !answer.is_empty());
    said.collect()
}

/// Asks the questions in order from the first that is not answered yet; an answer that cannot be is asked again. `keep` is
/// called after each answer.
fn ask(
    questions: &[usize],
    mut answers: Answers,
    keep: impl Fn(&Answers) -> Result<()>,
) -> Result<Answers> {
    let mut asker = Asker::new();
    asker.say("Answer each question, with the unit where it asks for a length or a torque. Enter: skip. < goes back.\n");
    let open = questions
        .iter()
        .position(|place| !answers.contains_key(place));
    let mut at = open.unwrap_or(questions.len());
    if at > 0 {
        asker.say(&format!(
            "{at} answers of an earlier try are taken up; < goes back to them.\n"
        ));
    }
    // Places that were answered together with the one before.
    let mut together: Vec<usize> = Vec::new();
    while let Some(&place) = questions.get(at) {
        if together.contains(&place) {
            at += 1;
            continue;
        }
        let question = &QUESTIONS[place];
        let had = answers.get(&place).filter(|answer| !answer.is_empty());
        let had = had.map_or(String::new(), |answer| format!(" [{answer}]"));
        asker.say(&format!(
            "\n{}\n  {}\n  {}{had}",
            question.ask, question.find, question.name
        ));
        let text = match asker.answer()? {
            Answer::Back => {
                let before = (0..at).rev().find(|at| !together.contains(&questions[*at]));
                at = before.unwrap_or(0);
                continue;
            }
            Answer::Skip if answers.contains_key(&place) => {
                at += 1;
                continue;
            }
            Answer::Skip | Answer::Ended if !question.required() => String::new(),
            Answer::Ended => {
                return Err(Error::usage(format!(
                    "a card needs `{}`; the answers ended before it",
                    question.name
                )));
            }
            Answer::Skip => {
                asker.say("  This one is needed.\n");
                continue;
            }
            Answer::Said(text) => text,
        };
        if text.is_empty() {
            answers.insert(place, text);
        } else if let Some((given, said)) = understood(place, &text) {
            together.retain(|place| !given.contains(place));
            together.extend(given.iter().skip(1));
            answers.extend(given.into_iter().zip(said));
        } else if let Err(why) = sound(place, &text, &answers) {
            asker.say(&format!("  {why}\n"));
            continue;
        } else {
            together.retain(|of| {
                QUESTIONS[*of].name != "pinion_teeth" || question.name != "ring_teeth"
            });
            answers.insert(place, text);
        }
        keep(&answers)?;
        at += 1;
    }
    asker.say("\n");
    Ok(answers)
}

/// Whether an answer can be, by itself and beside those before.
fn sound(place: usize, text: &str, answers: &Answers) -> std::result::Result<(), String> {
    let question = &QUESTIONS[place];
    check_answer(question.table, question.name, text).map_err(|error| error.to_string())?;
    let ring = QUESTIONS.iter().position(|q| q.name == "ring_teeth");
    let ring = ring.and_then(|ring| answers.get(&ring)?.parse::<u32>().ok());
    match (question.name, ring, text.parse::<u32>()) {
        ("pinion_teeth", Some(ring), Ok(pinion)) if pinion >= ring => Err(format!(
            "the pinion is the one with fewer teeth; the ring gear has {ring}"
        )),
        _ => Ok(()),
    }
}

/// An answer that answers more than its own question: the places answered, the question's own first, and what they are.
fn understood(place: usize, text: &str) -> Option<(Vec<usize>, [String; 2])> {
    let teeth = both_teeth(text).filter(|_| QUESTIONS[place].name == "ring_teeth")?;
    let pinion = QUESTIONS.iter().position(|q| q.name == "pinion_teeth")?;
    let sound = |place: usize, answer: &str| {
        check_answer(QUESTIONS[place].table, QUESTIONS[place].name, answer).is_ok()
    };
    (sound(place, &teeth[0]) && sound(pinion, &teeth[1])).then(|| (vec![place, pinion], teeth))
}

impl New {
    fn run(&self, output: OutputOptions) -> Result<Outcome> {
        if !self.force && self.out.exists() {
            return Err(Error::usage(format!(
                "{} is there already; choose another name or overwrite with --force",
                self.out.display()
            )));
        }
        let draft = Draft::beside(&self.out);
        let take_up = self.go_on || std::io::stdin().is_terminal();
        let earlier = if take_up {
            draft.load()
        } else {
            Answers::new()
        };
        let answers = ask(&asked(self.short), earlier, |answers| draft.save(answers));
        let text = answers.and_then(|answers| {
            written(&said(answers)).map_err(|error| error.of(self.out.display()))
        });
        let text = text.map_err(|error| {
            if !draft.path.exists() {
                return error;
            }
            Error::usage(format!(
                "{error}. What was answered is kept in {}: the same command with --go-on takes it up, and < goes back",
                draft.path.display()
            ))
        })?;
        files::write(&self.out, text.as_bytes(), self.force)?;
        draft.remove();
        let next = if self.short {
            format!(
                "Its limits are not in it yet: `flankread job card complete {}` asks for them.",
                self.out.display()
            )
        } else {
            "Look it over, and check the limits against the axle's manual.".to_owned()
        };
        super::say(
            output,
            &format!("wrote {}. {next}", self.out.display()),
            JobAnswer::CardNew {
                file: self.out.clone(),
            },
        )
    }
}

impl Complete {
    fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let of_card = |error: crate::card::CardError| error.of(self.card.display());
        let text = read_text(&self.card, MOST_TEXT_BYTES)
            .map_err(|source| Error::input(&self.card, source))?;
        let open = left_open(&text).map_err(of_card)?;
        let answers = said(ask(&open, Answers::new(), |_| Ok(()))?);
        let added = answers.len();
        if added > 0 {
            let text = completed(&text, &answers).map_err(of_card)?;
            files::write(&self.card, text.as_bytes(), true)?;
        }
        let says = match added {
            0 => format!("Nothing was added to {}.", self.card.display()),
            added => format!(
                "{added} values were added to {}. A job that is open keeps its own card until `flankread job card use {}`.",
                self.card.display(),
                self.card.display()
            ),
        };
        super::say(
            output,
            &says,
            JobAnswer::CardComplete {
                file: self.card.clone(),
                added,
            },
        )
    }
}

/// What differs between two cards, a line a value: `limits.backlash: nothing → 0.150 mm, 0.250 mm`.
fn differences(was: &Value, now: &Value, path: &str, shown: &Shown, lines: &mut Vec<String>) {
    match (was, now) {
        (Value::Object(a), Value::Object(b)) => {
            let keys: std::collections::BTreeSet<&String> = a.keys().chain(b.keys()).collect();
            for key in keys {
                let of = |table: &serde_json::Map<String, Value>| table.get(key).cloned();
                let inner = if path.is_empty() {
                    key.clone()
                } else {
                    format!("{path}.{key}")
                };
                let (was, now) = (of(a).unwrap_or(Value::Null), of(b).unwrap_or(Value::Null));
                differences(&was, &now, &inner, shown, lines);
            }
        }
        _ if was != now => {
            let name = path.trim_end_matches("_mm").trim_end_matches("_nm");
            let (was, now) = (value_words(path, was, shown), value_words(path, now, shown));
            lines.push(format!("{name}: {was} → {now}"));
        }
        _ => {}
    }
}

impl UseCard {
    fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let card = Card::read(&self.card)?;
        crate::contact::Model::new(&card.gear_set())?;
        let at = given_or_now(self.who.at.as_deref())?;
        let (mut store, job) = self.common.open()?;
        let record = store.record(job)?;
        let mut lines = Vec::new();
        let shown = &output.shown(Some(&card));
        differences(&json!(record.card), &json!(card), "", shown, &mut lines);
        if lines.is_empty() {
            return Err(Error::usage(format!(
                "{} says what the card of job {job} says already",
                self.card.display()
            )));
        }
        let by = self.who.by.clone().unwrap_or(record.head.mechanic);
        let text = format!("Card changed: {}", lines.join("; "));
        store.set_card(job, &card, &Note { at, by, text })?;
        super::say(
            output,
            &format!(
                "Job {job} has another card. Changed: {}. Advice given before is out of date.",
                lines.join("; ")
            ),
            JobAnswer::Card {
                job,
                changed: lines.clone(),
            },
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_differs_between_cards_is_told_by_key() {
        let mut lines = Vec::new();
        let was = json!({"gear": {"ring_teeth": 41}, "limits": {}});
        let now = json!({"gear": {"ring_teeth": 39}, "limits": {"backlash_mm": [0.15, 0.25]}});
        differences(&was, &now, "", &Shown::default(), &mut lines);
        assert_eq!(
            lines,
            [
                "gear.ring_teeth: 41 → 39",
                "limits.backlash: nothing → 0.150 mm, 0.250 mm"
            ]
        );
    }

    #[test]
    fn a_draft_comes_back_as_it_was_kept() {
        let folder = tempfile::tempdir().unwrap();
        let draft = Draft::beside(&folder.path().join("axle.toml"));
        assert!(draft.load().is_empty());
        let answers = Answers::from([
            (0, "Larch".to_owned()),
            (1, "41".to_owned()),
            (8, String::new()),
        ]);
        draft.save(&answers).unwrap();
        assert_eq!(draft.load(), answers);
        assert_eq!(said(draft.load()).len(), 2);
        draft.remove();
        assert!(!draft.path.exists());
    }
}
