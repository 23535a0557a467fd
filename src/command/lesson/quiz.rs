//! `flankread lesson quiz`: in the terminal, as a page, or a class's answers graded.

use super::{Outcome, OutputOptions, say_written};
use crate::contact::Misalignment;
use crate::files;
use crate::files::Folder;
use crate::frames::Side;
use crate::lesson::case::{Set, form};
use crate::lesson::quiz::answer::{movement, photo};
use crate::lesson::quiz::grade::{self, Grades, Told};
use crate::lesson::quiz::progress::{Answered, Progress};
use crate::lesson::quiz::{
    Answer, Fault, MOST, Question, Quiz, QuizError, Score, page, score, why,
};
use crate::schema::Card;
use crate::units::Units;
use crate::{Error, Result};
use clap::{ArgGroup, Args};
use comfy_table::{CellAlignment, Table, presets};
use std::fmt::Write as _;
use std::io::BufRead as _;
use std::path::{Path, PathBuf};

/// Questions from simulated photos: which flank, what is wrong, what to move.
#[derive(Debug, Args)]
#[command(group(ArgGroup::new("mode").required(true).args(["out", "page", "grade"])), after_help = "Example:
  flankread lesson quiz --out quiz --learner Ines --units in
  flankread lesson quiz --page quiz.html --seed 7
  flankread lesson quiz --grade class.csv --seed 7

In the terminal it writes two photos for each question into the folder, asks, and keeps the answers in
progress.json there; the next call goes on. A move is an amount and a way: `4thou toward`, `0.10mm away`, `0`.

Points: 15 for the drive flank, 15 for the fault, 70 when the move would make both patches and the backlash
right, part of 60 when it would make them better.

A class's table has the columns learner, question, drive_photo (a or b), fault (none, pinion near, pinion far,
ring near, ring far, two with + between), pinion and ring (moves), and may have seed and questions, how many the
quiz has. The page makes such lines. A question that is not answered counts 0, one answered twice as answered first.")]
pub(crate) struct QuizArgs {
    /// Ask in the terminal; folder for the photos and the progress.
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// Write the quiz as one page that needs no network.
    #[arg(long, value_name = "FILE")]
    page: Option<PathBuf>,
    /// Grade a class's answers, a CSV file.
    #[arg(long, value_name = "FILE")]
    grade: Option<PathBuf>,
    /// Also write the graded answers as CSV.
    #[arg(long, value_name = "FILE", requires = "grade")]
    graded: Option<PathBuf>,
    /// The card of a gear set; invented axles when left out.
    #[arg(long, value_name = "FILE")]
    card: Option<PathBuf>,
    /// Decides the questions: the same seed asks the same.
    /// 1 when left out, or what the table says that is graded.
    #[arg(long)]
    seed: Option<u64>,
    /// How many questions: 5 more in the terminal, 12 on a page when left out; when grading, what the table says.
    #[arg(long, value_parser = clap::value_parser!(u32).range(1..=60))]
    count: Option<u32>,
    /// What the learner is called.
    #[arg(long, value_name = "NAME", requires = "out")]
    learner: Option<String>,
    /// Where the learner's answers are kept; `progress.json` in the folder when left out.
    #[arg(long, value_name = "FILE", requires = "out")]
    progress: Option<PathBuf>,
    /// Width of the photos in pixels; 1000 in the terminal, 640 on a page when left out.
    #[arg(long, value_name = "PIXELS", value_parser = clap::value_parser!(u32).range(160..=4000))]
    photo_width: Option<u32>,
    /// Overwrite files that exist; the learner's answers so far are kept.
    #[arg(long)]
    force: bool,
}

/// What `lesson quiz --page --json` prints.
#[derive(serde::Serialize, schemars::JsonSchema)]
pub(in super::super) struct QuizPageDocument<'a> {
    /// `flankread/lesson_quiz/1`.
    schema: &'static str,
    /// The page that was written.
    file: &'a Path,
    /// With the same one the same questions come again.
    seed: u64,
    /// How many there are.
    questions: u32,
}

impl QuizArgs {
    pub(super) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let card = self.card.as_ref().map(Card::read).transpose()?;
        let units = output.units(card.as_ref());
        let table = self.grade.as_deref().map(read_table).transpose()?;
        let named = table.as_ref().and_then(grade::Table::seed);
        let seed = self.seed.or(named).unwrap_or(1);
        let quiz = match card {
            Some(card) => Quiz::of_card(Set::new(card)?, seed),
            None => Quiz::new(seed)?,
        };
        if let Some(table) = table {
            return self.grade_table(&quiz, &table, units, output);
        }
        match (&self.page, &self.out) {
            (Some(path), _) => self.write_page(&quiz, path, units, output),
            (_, Some(folder)) => self.ask_all(&quiz, folder, units, output),
            (None, None) => Err(Error::usage(
                "say what to do: --out FOLDER, --page FILE or --grade FILE",
            )),
        }
    }

    fn photo_size(&self, usual: u32) -> (u32, u32) {
        let width = self.photo_width.unwrap_or(usual);
        (width, width * 3 / 4)
    }

    fn write_page(
        &self,
        quiz: &Quiz,
        path: &Path,
        units: Units,
        output: OutputOptions,
    ) -> Result<Outcome> {
        // Before the photos are drawn, which takes a while.
        if let (Some(folder), Some(name)) = (path.parent(), path.file_name()) {
            let name = name.to_string_lossy().into_owned();
            Folder::new(folder, self.force).check(&[name])?;
        }
        let count = self.count.unwrap_or(12);
        let mut done = |number| {
            if !output.quiet {
                eprintln!("drew question {number} of {count}");
            }
        };
        let text = page::page(quiz, count, self.photo_size(640), units, &mut done)?;
        files::write(path, text.as_bytes(), self.force)?;
        if output.json {
            super::super::print_json(&QuizPageDocument {
                schema: "flankread/lesson_quiz/1",
                file: path,
                seed: quiz.seed,
                questions: count,
            })?;
        }
        say_written(&[path.to_owned()], output);
        Ok(Outcome::Answered)
    }

    fn grade_table(
        &self,
        quiz: &Quiz,
        table: &grade::Table,
        units: Units,
        output: OutputOptions,
    ) -> Result<Outcome> {
        let told = Told {
            count: self.count,
            seed: self.seed.is_some(),
            units,
        };
        let grades = grade::grade(quiz, table, told);
        if let Some(out) = &self.graded {
            files::write(out, &graded_csv(&grades, out)?, self.force)?;
            say_written(std::slice::from_ref(out), output);
        }
        if output.json {
            super::super::print_json(&grades)?;
        } else {
            super::super::print(&grades_text(&grades))?;
        }
        for note in &grades.notes {
            eprintln!("{note}");
        }
        if !output.quiet {
            for refused in &grades.refused {
                eprintln!("line {}: {}", refused.line, refused.why);
            }
        }
        Ok(if grades.refused.is_empty() {
            Outcome::Answered
        } else {
            Outcome::NothingReadable
        })
    }

    fn ask_all(
        &self,
        quiz: &Quiz,
        folder: &Path,
        units: Units,
        output: OutputOptions,
    ) -> Result<Outcome> {
        let kept = self
            .progress
            .clone()
            .unwrap_or_else(|| folder.join("progress.json"));
        let mut progress = Progress::open(&kept, self.learner.as_deref(), quiz.seed)?;
        let mut input = std::io::stdin().lock().lines();
        let last = (progress.next() + self.count.unwrap_or(5) - 1).min(MOST);
        while progress.next() <= last {
            let question = quiz.question(progress.next())?;
            self.show(quiz, &question, folder, units)?;
            let Some(answer) = ask(&mut input, units)? else {
                break;
            };
            let score = score(quiz, &question, &answer);
            let name = format!("question-{}-next.png", question.number);
            let drawn = why::drawn(quiz, &question, &answer)?;
            let drawn = Folder::new(folder, true).write(&name, &drawn)?;
            if !output.json {
                let mut text = told(quiz, &question, &answer, &score, units);
                let _ = writeln!(text, "  drawn: {}", drawn.display());
                super::super::print(&text)?;
            }
            progress.answers.push(Answered {
                question: question.number,
                level: question.level,
                answer,
                score,
            });
            progress.save(&kept)?;
        }
        if output.json {
            super::super::print_json(&progress)?;
        } else if let Some(mean) = progress.mean() {
            let answered = progress.answers.len();
            super::super::print(&format!(
                "{answered} answered, {mean:.0} points in the mean.\n"
            ))?;
        }
        Ok(Outcome::Answered)
    }

    /// Draws the photos and tells what is known.
    fn show(&self, quiz: &Quiz, question: &Question, folder: &Path, units: Units) -> Result<()> {
        let out = Folder::new(folder, self.force);
        let photos = quiz.photos(question, self.photo_size(1000))?;
        let mut paths = Vec::new();
        for (photo, letter) in photos.iter().zip(["a", "b"]) {
            let name = format!("question-{}-{letter}.png", question.number);
            let bytes = crate::report::draw::page::encoded(&photo.picture)?;
            let path = folder.join(&name);
            // An unanswered question is drawn again, and comes out the same.
            if std::fs::read(&path).is_ok_and(|old| old == bytes) {
                paths.push(path);
            } else {
                paths.push(out.write(&name, &bytes)?);
            }
        }
        let offered = quiz.offered(question);
        let [low, high] = offered.set.card.backlash_window_mm();
        let backlash = quiz.case(question, Misalignment::default()).backlash_mm;
        eprintln!(
            "\nQuestion {}, level {}: {} gears\n  photo a: {}\n  photo b: {}\n  backlash {} (window {} to {}, measured {})",
            question.number,
            question.level,
            offered.title,
            paths[0].display(),
            paths[1].display(),
            units.shim(backlash),
            units.shim(low),
            units.shim(high),
            offered.set.dial.words
        );
        Ok(())
    }
}

type Lines<'a> = std::io::Lines<std::io::StdinLock<'a>>;

/// Asks until the answer can be understood; `None` when there is no more input.
fn ask_one<T>(
    input: &mut Lines,
    prompt: &str,
    read: impl Fn(&str) -> std::result::Result<T, QuizError>,
) -> Result<Option<T>> {
    loop {
        eprintln!("{prompt}");
        let Some(line) = input.next() else {
            return Ok(None);
        };
        let line = line.map_err(|error| Error::input(Path::new("standard input"), error))?;
        match read(&line) {
            Ok(value) => return Ok(Some(value)),
            Err(error) => eprintln!("{error}"),
        }
    }
}

fn ask(input: &mut Lines, units: Units) -> Result<Option<Answer>> {
    let unit = match units {
        Units::Mm => "0.10mm",
        Units::In => "4thou",
    };
    let Some(drive_first) = ask_one(input, "Which photo shows the drive flanks, a or b?", photo)?
    else {
        return Ok(None);
    };
    let Some(faults) = ask_one(
        input,
        "What is wrong: pinion near, pinion far, ring near, ring far, none (two with + between)?",
        Fault::several,
    )?
    else {
        return Ok(None);
    };
    let how = |gear: &str| format!("Move the {gear} by, like `{unit} toward`, `{unit} away`, `0`?");
    let Some(pinion_mm) = ask_one(input, &how("pinion"), |text| movement(text, units))? else {
        return Ok(None);
    };
    let Some(ring_mm) = ask_one(input, &how("ring gear"), |text| movement(text, units))? else {
        return Ok(None);
    };
    Ok(Some(Answer {
        drive_first,
        faults,
        pinion_mm,
        ring_mm,
    }))
}

/// A class's table is smaller than this.
const MOST_TABLE_BYTES: u64 = 64 << 20;

/// A class's table, in whatever form a spreadsheet saved it.
fn read_table(path: &Path) -> Result<grade::Table> {
    let bytes = files::read(path, MOST_TABLE_BYTES).map_err(|error| Error::input(path, error))?;
    Ok(grade::Table::read(&grade::decoded(&bytes), path)?)
}

/// The score in words, with what would happen next and why.
fn told(quiz: &Quiz, question: &Question, answer: &Answer, score: &Score, units: Units) -> String {
    let m = question.misalignment;
    let stands = |gear: &str, mm: f64| {
        if mm == 0.0 {
            format!("{gear} right")
        } else {
            let way = if mm < 0.0 { "too near" } else { "too far" };
            format!("{gear} {} {way}", units.shim(mm.abs()))
        }
    };
    let after = &score.after;
    let backlash = if after.backlash_mm == 0.0 {
        "none, the teeth jam".to_owned()
    } else {
        units.shim(after.backlash_mm)
    };
    let verdict = if after.right {
        "all right"
    } else if score.before.right {
        "not right, and it was before"
    } else if after.badness < score.before.badness {
        "nearer, not right yet"
    } else {
        "no better"
    };
    let letter = |first: bool| if first { "a" } else { "b" };
    let flank = if score.flank {
        "right".to_owned()
    } else {
        format!("wrong, you said photo {}", letter(answer.drive_first))
    };
    let fault = if score.fault {
        "right".to_owned()
    } else {
        let named: Vec<&str> = answer.faults.iter().map(|f| f.word()).collect();
        let named = if named.is_empty() {
            "none".to_owned()
        } else {
            named.join(" + ")
        };
        format!("wrong, you said {named}")
    };
    let card = &quiz.offered(question).set.card;
    let [cause, left] = why::why(quiz, question, answer, units);
    format!(
        "Question {}: {} of 100 points\n  drive flank   {flank}: photo {} shows the drive flanks, which are {}\n  fault         {fault}: {}, {}\n  \
         why           {cause} {left}\n  next assembly drive {}; coast {}; backlash {backlash}: {verdict}\n",
        question.number,
        score.points,
        letter(question.drive_first),
        form(card, Side::Drive),
        stands("pinion", m.pinion_mm),
        stands("ring gear", m.ring_mm),
        after.patch_words(Side::Drive),
        after.patch_words(Side::Coast),
    )
}

fn grades_text(grades: &Grades) -> String {
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    table.set_header([
        "learner",
        "answered",
        "points",
        "flank",
        "fault",
        "right next",
    ]);
    let percent = |share: f64| format!("{:.0} %", 100.0 * share);
    for l in &grades.learners {
        table.add_row([
            l.learner.clone(),
            format!("{} of {}", l.answers, grades.questions),
            format!("{:.0}", l.mean_points),
            percent(l.flank),
            percent(l.fault),
            percent(l.right_next),
        ]);
    }
    for k in 1..6 {
        if let Some(column) = table.column_mut(k) {
            column.set_cell_alignment(CellAlignment::Right);
        }
    }
    let mut text = format!("{table}\n");
    if !grades.refused.is_empty() {
        let _ = writeln!(text, "{} lines could not be graded", grades.refused.len());
    }
    text
}

fn graded_csv(grades: &Grades, path: &Path) -> Result<Vec<u8>> {
    use crate::report::batch::csv::not_a_formula;
    let failed = |error: csv::Error| Error::machine(path, std::io::Error::other(error));
    let mut table = csv::Writer::from_writer(Vec::new());
    table
        .write_record([
            "line",
            "learner",
            "question",
            "level",
            "points",
            "flank",
            "fault",
            "outcome",
            "right_next",
        ])
        .map_err(failed)?;
    for g in &grades.answers {
        table
            .write_record([
                g.line.to_string(),
                not_a_formula(&g.learner),
                g.question.to_string(),
                g.level.to_string(),
                g.score.points.to_string(),
                g.score.flank.to_string(),
                g.score.fault.to_string(),
                g.score.outcome.to_string(),
                g.score.after.right.to_string(),
            ])
            .map_err(failed)?;
    }
    table
        .into_inner()
        .map_err(|error| Error::machine(path, std::io::Error::other(error.to_string())))
}
