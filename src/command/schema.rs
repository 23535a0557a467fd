//! `flankread schema`: the JSON Schema of what the program prints and reads.

use super::doctor::DoctorDocument;
use super::lesson::cases::CasesDocument;
use super::lesson::quiz::QuizPageDocument;
use super::lesson::{ExploreDocument, GlossaryDocument, SheetDocument};
use super::page::PageDocument;
use super::pages::ManDocument;
use super::{Outcome, OutputOptions};
use crate::Result;
use crate::batch::summary::BatchSummary;
use crate::batch::worker::{Answered, RequestLine};
use crate::job::answers::JobAnswer;
use crate::lesson::quiz::grade::Grades;
use crate::lesson::quiz::progress::Progress;
use crate::report::batch::lines::{PhotoLine, SetLine};
use crate::rules::job::JobDocument;
use crate::schema::direction::Direction;
use crate::schema::failure::Failure;
use crate::schema::read::ReadAnswer;
use crate::schema::record::Record;
use crate::schema::simulation::Simulation;
use crate::schema::{Advice, Card, Reading};
use crate::setup::Answer;
use clap::{Args, ValueEnum};
use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, Schema as Schemars};

/// The JSON Schema of a document, for programs that check what they are given; without a name, the documents there are.
#[derive(Debug, Args)]
#[command(after_help = "Example: flankread schema advice > advice.schema.json")]
pub(crate) struct Schema {
    /// Which document.
    document: Option<Document>,
}

/// The documents with a schema.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Document {
    /// What `read --json` prints.
    Read,
    /// What one photo says, as it stands in `read --json`, a batch's line and a worker's answer.
    Reading,
    /// What `advise --json` and `job advise --json` print.
    Advice,
    /// Which way to go without a card, as it stands in `read --json` and a set's line.
    Direction,
    /// A card as it stands in a job.
    Card,
    /// What `advise` reads and `job show --as-job` prints: a card with its trials.
    Job,
    /// What `job show --json` prints, and `record.json` of an exported job.
    Record,
    /// What the other commands of `job --json` print, one of these.
    JobAnswer,
    /// What a station of `setup --json` prints.
    Setup,
    /// What `simulate --json` prints.
    Simulation,
    /// A line of `batch --json` and of `readings.jsonl`.
    BatchPhoto,
    /// A line of `sets.jsonl`.
    BatchSet,
    /// `summary.json` of a batch.
    BatchSummary,
    /// A line that `worker` reads.
    WorkerRequest,
    /// A line that `worker` prints.
    WorkerAnswer,
    /// What `lesson sheet --json` prints.
    LessonSheet,
    /// What `lesson glossary --json` prints.
    LessonGlossary,
    /// What `lesson explore --json` prints.
    LessonExplore,
    /// What `lesson cases --json` prints.
    LessonCases,
    /// What `lesson quiz --json` prints in the terminal, and `progress.json`.
    QuizProgress,
    /// What `lesson quiz --grade --json` prints.
    QuizGrades,
    /// What `lesson quiz --page --json` prints.
    QuizPage,
    /// What `doctor --json` prints.
    Doctor,
    /// What `page --json` prints.
    Page,
    /// What `man --json` prints.
    Man,
    /// What `schema --json` prints.
    Schemas,
    /// What any command prints with --json when it fails.
    Error,
}

/// What `schema --json` prints.
#[derive(serde::Serialize, schemars::JsonSchema)]
struct SchemasDocument<'a> {
    /// `flankread/schemas/1`.
    schema: &'static str,
    /// The names that `schema` takes.
    documents: Vec<&'a str>,
}

impl Schema {
    /// Prints the schema.
    ///
    /// # Errors
    /// Standard output cannot be written.
    pub(crate) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        match self.document {
            Some(document) => super::print_json(&document.schema())?,
            None => list(output)?,
        }
        Ok(Outcome::Answered)
    }
}

impl Document {
    fn schema(self) -> serde_json::Value {
        match self {
            Self::Card => read::<Card>(),
            Self::Job => read::<JobDocument>(),
            Self::WorkerRequest => read::<RequestLine>(),
            Self::Read => printed::<ReadAnswer>(),
            Self::Reading => printed::<Reading>(),
            Self::Advice => printed::<Advice>(),
            Self::Direction => printed::<Direction>(),
            Self::Record => printed::<Record>(),
            Self::JobAnswer => printed::<JobAnswer>(),
            Self::Setup => printed::<Answer>(),
            Self::Simulation => printed::<Simulation>(),
            Self::BatchPhoto => printed::<PhotoLine>(),
            Self::BatchSet => printed::<SetLine>(),
            Self::BatchSummary => printed::<BatchSummary>(),
            Self::WorkerAnswer => printed::<Answered>(),
            Self::LessonSheet => printed::<SheetDocument>(),
            Self::LessonGlossary => printed::<GlossaryDocument>(),
            Self::LessonExplore => printed::<ExploreDocument>(),
            Self::LessonCases => printed::<CasesDocument>(),
            Self::QuizProgress => printed::<Progress>(),
            Self::QuizGrades => printed::<Grades>(),
            Self::QuizPage => printed::<QuizPageDocument>(),
            Self::Doctor => printed::<DoctorDocument>(),
            Self::Page => printed::<PageDocument>(),
            Self::Man => printed::<ManDocument>(),
            Self::Schemas => printed::<SchemasDocument>(),
            Self::Error => printed::<Failure>(),
        }
        .to_value()
    }
}

/// The schema of what the program takes.
fn read<T: JsonSchema>() -> Schemars {
    SchemaSettings::default()
        .into_generator()
        .into_root_schema_for::<T>()
}

/// The schema of what the program writes: what it leaves out where there is nothing to say is not required.
fn printed<T: JsonSchema>() -> Schemars {
    SchemaSettings::default()
        .for_serialize()
        .into_generator()
        .into_root_schema_for::<T>()
}

fn list(output: OutputOptions) -> Result<()> {
    let documents: Vec<(String, String)> = Document::value_variants()
        .iter()
        .filter_map(ValueEnum::to_possible_value)
        .map(|value| {
            let help = value
                .get_help()
                .map(ToString::to_string)
                .unwrap_or_default();
            (value.get_name().to_owned(), help)
        })
        .collect();
    if output.json {
        let names: Vec<&str> = documents.iter().map(|(name, _)| name.as_str()).collect();
        return super::print_json(&SchemasDocument {
            schema: "flankread/schemas/1",
            documents: names,
        });
    }
    let lines = documents
        .iter()
        .map(|(name, help)| format!("{name:<16}{help}\n"));
    super::print(&lines.collect::<String>())
}
