//! `flankread doctor`: what this build can do, where its files are, and whether the workshop's database is whole.

use super::{Outcome, OutputOptions, settings};
use crate::job::health::{Checkup, Health, Holdings, back_up, checkup};
use crate::job::open::usual_place;
use crate::{Result, network, photo};
use clap::Args;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// Says what this build reads, where settings and database are, and whether the database is whole.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  flankread doctor
  flankread doctor --backup workshop-copy.db

The database is only read; none is made. Exit status 3: it is damaged. 2: it cannot be used.")]
pub(super) struct Doctor {
    /// The workshop's database; else FLANKREAD_DB, else a file in your data folder.
    #[arg(long, value_name = "FILE")]
    db: Option<PathBuf>,
    /// Copy the database into this file, also while others record; keep it on another disk.
    #[arg(long, value_name = "FILE")]
    backup: Option<PathBuf>,
    /// Overwrite the copy if it is there.
    #[arg(long, requires = "backup")]
    force: bool,
}

/// What `doctor --json` prints.
#[derive(serde::Serialize, schemars::JsonSchema)]
pub(super) struct DoctorDocument {
    /// `flankread/doctor/1`.
    schema: &'static str,
    /// Version of the program.
    version: &'static str,
    /// The kinds of photo and whether this build reads them.
    formats: Vec<Format>,
    /// Whether `worker` reads object stores.
    object_stores: bool,
    /// The networks that are built in.
    networks: Vec<Network>,
    /// The settings file.
    settings: Place,
    /// The workshop's database.
    database: Database,
    /// The copy that was made.
    #[serde(skip_serializing_if = "Option::is_none")]
    backup: Option<Copied>,
}

#[derive(serde::Serialize, schemars::JsonSchema)]
struct Format {
    name: &'static str,
    read: bool,
}

#[derive(serde::Serialize, schemars::JsonSchema)]
struct Network {
    name: &'static str,
    /// Of its weights.
    sha256: String,
}

#[derive(serde::Serialize, schemars::JsonSchema)]
struct Place {
    /// Absent where neither a variable nor a home says where.
    #[serde(skip_serializing_if = "Option::is_none")]
    file: Option<PathBuf>,
    there: bool,
}

#[derive(serde::Serialize, schemars::JsonSchema)]
struct Database {
    file: PathBuf,
    health: Health,
    /// What is wrong and what to do.
    #[serde(skip_serializing_if = "Option::is_none")]
    fault: Option<String>,
    #[serde(flatten)]
    holds: Option<Holdings>,
}

#[derive(serde::Serialize, schemars::JsonSchema)]
struct Copied {
    file: PathBuf,
    bytes: u64,
}

/// Digits of a sum that people compare.
const SHORT_DIGITS: usize = 12;

impl Doctor {
    /// Looks, copies if asked to, prints.
    ///
    /// # Errors
    /// The copy cannot be made, or standard output not be written.
    pub(super) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let path = self.db.clone().unwrap_or_else(|| usual_place().path);
        let found = checkup(&path);
        let health = found.health;
        let usable = matches!(health, Health::Whole | Health::Absent);
        let backup = match &self.backup {
            Some(to) if usable => Some(Copied {
                bytes: back_up(&path, to, self.force)?,
                file: to.clone(),
            }),
            _ => None,
        };
        let document = report(&path, found, backup);
        if output.json {
            super::print_json(&document)?;
        } else {
            super::print(&text(&document))?;
        }
        if !usable && self.backup.is_some() && !output.quiet {
            eprintln!("no copy was made: only a database that is whole is copied");
        }
        Ok(match health {
            Health::Whole | Health::Absent => Outcome::Answered,
            Health::Damaged => Outcome::Damaged,
            Health::Unusable => Outcome::Unusable,
        })
    }
}

fn report(path: &Path, found: Checkup, backup: Option<Copied>) -> DoctorDocument {
    let settings = settings::place().map(|(file, _)| file);
    let formats = photo::formats();
    DoctorDocument {
        schema: "flankread/doctor/1",
        version: env!("CARGO_PKG_VERSION"),
        formats: formats.map(|(name, read)| Format { name, read }).into(),
        object_stores: cfg!(feature = "cloud"),
        networks: network::ALL
            .map(|(name, network)| Network {
                name,
                sha256: network.sha256(),
            })
            .into(),
        settings: Place {
            there: settings.as_ref().is_some_and(|file| file.is_file()),
            file: settings,
        },
        database: Database {
            file: path.to_owned(),
            health: found.health,
            fault: found.fault.map(|fault| fault.to_string()),
            holds: found.holds,
        },
        backup,
    }
}

fn text(document: &DoctorDocument) -> String {
    let formats = |read: bool| -> Vec<&str> {
        let of = document.formats.iter().filter(|format| format.read == read);
        of.map(|format| format.name).collect()
    };
    let mut lines = String::new();
    let mut line = |name: &str, what: String| {
        // Writing into a text does not fail.
        let _ = writeln!(lines, "{name:<10}{what}");
    };
    line("version", document.version.to_owned());
    let not_read = formats(false);
    let without = if not_read.is_empty() {
        String::new()
    } else {
        format!("; not in this build: {}", not_read.join(", "))
    };
    line("photos", format!("{}{without}", formats(true).join(", ")));
    let stores = if document.object_stores {
        "yes"
    } else {
        "not in this build"
    };
    line("cloud", stores.to_owned());
    let networks = document.networks.iter();
    let networks: Vec<String> = networks
        .map(|network| format!("{} {}", network.name, &network.sha256[..SHORT_DIGITS]))
        .collect();
    line("networks", networks.join(", "));
    line(
        "settings",
        match &document.settings {
            Place { file: None, .. } => {
                "no folder for them; FLANKREAD_CONFIG may name a file".into()
            }
            Place {
                file: Some(file),
                there: true,
            } => file.display().to_string(),
            Place {
                file: Some(file),
                there: false,
            } => format!("{} (none there)", file.display()),
        },
    );
    line("database", document.database.file.display().to_string());
    line("", state(&document.database));
    if let Some(copy) = &document.backup {
        let size = copy.bytes.div_ceil(1000);
        line(
            "copy",
            format!("{} ({size} kB), looked through", copy.file.display()),
        );
    }
    lines
}

fn state(database: &Database) -> String {
    let fault = database.fault.as_deref().unwrap_or_default();
    match (database.health, database.holds) {
        (Health::Absent, _) => "none there yet; the first `flankread job new` makes it".into(),
        (Health::Damaged, _) => format!("DAMAGED: {fault}"),
        (Health::Unusable, _) => format!("cannot be used: {fault}"),
        (Health::Whole, None) => "whole".into(),
        (Health::Whole, Some(holds)) => format!(
            "whole: jobs {} ({} open), photos {}, layout {}",
            holds.jobs, holds.open_jobs, holds.photos, holds.layout
        ),
    }
}
