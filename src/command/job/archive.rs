//! `flankread job sheet`, `export` and `import`.

use super::{Common, Database, say};
use crate::command::{Outcome, OutputOptions};
use crate::files;
use crate::job::answers::JobAnswer;
use crate::job::archive;
use crate::job::open::Purpose;
use crate::report::job::build_sheet::{Sheet as SheetData, build_sheet};
use crate::report::job::build_sheet_pdf::{Paper, build_sheet_pdf};
use crate::{Error, Result};
use clap::Args;
use std::path::PathBuf;

/// Writes the build sheet: one page that needs no other file and prints on two sides.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: flankread job sheet --out sheet.html --units in\n         flankread job sheet --out sheet.pdf --paper letter"
)]
pub(super) struct Sheet {
    /// The file to write: .html or .pdf.
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Overwrite the file if it is there.
    #[arg(long)]
    force: bool,
    /// Paper of the PDF; the page prints on either.
    #[arg(long, value_enum, default_value = "a4")]
    paper: Paper,
    #[command(flatten)]
    common: Common,
}

/// Writes a whole job into one file for another workshop; what cameras wrote about place and owner is left out.
#[derive(Debug, Args)]
#[command(after_help = "Example: flankread job export --job 3 --out job3.zip")]
pub(super) struct Export {
    /// The file to write.
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Overwrite the file if it is there.
    #[arg(long)]
    force: bool,
    #[command(flatten)]
    common: Common,
}

/// Takes in a job that another workshop exported.
#[derive(Debug, Args)]
#[command(after_help = "Example: flankread job import job3.zip")]
pub(super) struct Import {
    /// The file.
    file: PathBuf,
    /// Take it in although it is here already, as a job of its own.
    #[arg(long)]
    again: bool,
    #[command(flatten)]
    database: Database,
}

impl Sheet {
    pub(super) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let ending = self.out.extension().and_then(|e| e.to_str()).unwrap_or("");
        let pdf = match ending.to_ascii_lowercase().as_str() {
            "html" | "htm" => false,
            "pdf" => true,
            _ => {
                return Err(Error::usage(format!(
                    "{}: the build sheet is written as .html or .pdf",
                    self.out.display()
                )));
            }
        };
        let (store, job) = self.common.look()?;
        let record = store.record(job)?;
        let pictures = store.pictures(&record)?;
        let data = SheetData {
            record: &record,
            pictures: &pictures,
            shown: output.shown(Some(&record.card)),
        };
        let bytes = if pdf {
            build_sheet_pdf(&data, self.paper)?
        } else {
            build_sheet(&data).into_bytes()
        };
        files::write(&self.out, &bytes, self.force)?;
        say(
            output,
            &format!("wrote {}", self.out.display()),
            JobAnswer::Sheet {
                job,
                file: self.out.clone(),
                bytes: bytes.len(),
            },
        )
    }
}

impl Export {
    pub(super) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let (store, job) = self.common.look()?;
        let bytes = archive::export(&store, job)?;
        files::write(&self.out, &bytes, self.force)?;
        say(
            output,
            &format!(
                "wrote {} ({} kB); places and owners that cameras wrote into the photos are left out",
                self.out.display(),
                bytes.len().div_ceil(1000)
            ),
            JobAnswer::Export {
                job,
                file: self.out.clone(),
                bytes: bytes.len(),
            },
        )
    }
}

impl Import {
    pub(super) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let bytes = files::read(&self.file, archive::MOST_BYTES)
            .map_err(|source| Error::input(&self.file, source))?;
        let mut store = self.database.open(Purpose::Begin)?;
        let job = archive::import(&mut store, &bytes, self.again)?;
        say(
            output,
            &format!("{} is here now as job {job}.", self.file.display()),
            JobAnswer::Import { job },
        )
    }
}
