//! How right readings are, on photos with truth: each figure beside its target, error against the share
//! answered, whether the printed uncertainty holds, and what a photo's way to the program changes.
//!
//! `cargo run --release --example accuracy -- FOLDER... [--steady] [--none FOLDER] [--out FOLDER] [--json]`
//!
//! A folder holds photos, each with `NAME.json` beside it as in `fixtures/rendered`.

mod curve;
mod measure;
mod steady;
mod table;
mod truth;

use clap::Parser;
use flankread::{Photo, ReadOptions, Status, read_photo};
use measure::{Answer, Mode, answers};
use rayon::prelude::*;
use serde::Serialize;
use std::error::Error;
use std::path::{Path, PathBuf};
use truth::Truth;

/// Measures readings against photos with truth.
#[derive(Debug, Parser)]
struct Arguments {
    /// Folders of photos with truth.
    #[arg(value_name = "FOLDER")]
    folders: Vec<PathBuf>,
    /// Modes to read in; all by default.
    #[arg(long, value_enum)]
    mode: Vec<Mode>,
    /// Folders of pictures that hold no painted gear: none may be answered.
    #[arg(long, value_name = "FOLDER")]
    none: Vec<PathBuf>,
    /// Read each photo also turned, scaled, recompressed and exposed otherwise.
    #[arg(long)]
    steady: bool,
    /// Where the curves go, as SVG.
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// Overwrite curves that are there.
    #[arg(long)]
    force: bool,
    /// Each photo on a line of its own.
    #[arg(long)]
    list: bool,
    /// One JSON document.
    #[arg(long)]
    json: bool,
}

#[derive(Debug, Serialize)]
struct Report {
    schema: &'static str,
    figures: Vec<table::Figures>,
    answers: Vec<Answer>,
    #[serde(skip_serializing_if = "Option::is_none")]
    steady: Option<Vec<SteadyMode>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    none: Option<Nothing>,
}

#[derive(Debug, Serialize)]
struct SteadyMode {
    mode: Mode,
    changes: Vec<steady::Steadiness>,
}

/// Pictures without a painted gear.
#[derive(Debug, Serialize)]
struct Nothing {
    pictures: usize,
    /// Those that were answered, which is wrong.
    answered: Vec<String>,
    /// Those that were called unsure, with numbers.
    unsure: Vec<String>,
    /// Those that could not be opened.
    not_opened: Vec<String>,
}

fn main() -> Result<(), Box<dyn Error>> {
    let arguments = Arguments::parse();
    let mut truths = Vec::new();
    for folder in &arguments.folders {
        truths.extend(Truth::of_folder(folder)?);
    }
    let modes = if arguments.mode.is_empty() {
        vec![Mode::Marks, Mode::Flank, Mode::Automatic]
    } else {
        arguments.mode.clone()
    };
    let read: Vec<Result<Vec<Answer>, String>> = truths
        .par_iter()
        .map(|truth| answers(truth, &modes))
        .collect();
    let mut all = Vec::new();
    for answers in read {
        all.extend(answers?);
    }
    let steady = if arguments.steady {
        let each = modes.iter().map(|&mode| -> Result<_, Box<dyn Error>> {
            let fates: Result<Vec<_>, String> =
                steady::steadiness(&truths, mode).into_iter().collect();
            Ok(SteadyMode {
                mode,
                changes: steady::counted(&fates?),
            })
        });
        Some(each.collect::<Result<Vec<_>, _>>()?)
    } else {
        None
    };
    let none = if arguments.none.is_empty() {
        None
    } else {
        Some(nothing(&arguments.none)?)
    };
    let report = Report {
        schema: "flankread/accuracy/1",
        figures: (modes.iter())
            .filter_map(|&mode| table::figures(&all, mode))
            .collect(),
        answers: all,
        steady,
        none,
    };
    if let Some(folder) = &arguments.out {
        std::fs::create_dir_all(folder)?;
        for figures in &report.figures {
            draw(folder, &report.answers, figures.mode, arguments.force)?;
        }
    }
    if arguments.json {
        println!("{}", serde_json::to_string_pretty(&report)?);
    } else {
        print(&report, arguments.list);
    }
    Ok(())
}

fn draw(folder: &Path, answers: &[Answer], mode: Mode, force: bool) -> Result<(), Box<dyn Error>> {
    let svg = curve::svg(answers, mode)?;
    let name = format!("answered-{mode:?}.svg").to_lowercase();
    let path = folder.join(name);
    if path.exists() && !force {
        return Err(format!("{} is there already; say --force", path.display()).into());
    }
    std::fs::write(&path, svg)?;
    eprintln!("wrote {}", path.display());
    Ok(())
}

/// Reads every file of the folders; what cannot be opened is named and counts as refused.
fn nothing(folders: &[PathBuf]) -> Result<Nothing, Box<dyn Error>> {
    let mut paths = Vec::new();
    for folder in folders {
        for entry in std::fs::read_dir(folder)? {
            let path = entry?.path();
            if path.is_file() {
                paths.push(path);
            }
        }
    }
    paths.sort();
    let read: Vec<(String, Option<Status>)> = paths
        .par_iter()
        .map(|path| {
            let status = Photo::open(path)
                .ok()
                .map(|photo| read_photo(&photo, &ReadOptions::default()).reading.status);
            (path.display().to_string(), status)
        })
        .collect();
    let named = |which: Option<Status>| -> Vec<String> {
        let with = read.iter().filter(|(_, status)| *status == which);
        with.map(|(name, _)| name.clone()).collect()
    };
    Ok(Nothing {
        pictures: read.len(),
        answered: named(Some(Status::Read)),
        unsure: named(Some(Status::Unsure)),
        not_opened: named(None),
    })
}

fn print(report: &Report, list: bool) {
    if list {
        for a in &report.answers {
            let pair = |p: Option<flankread::FlankPoint>| {
                p.map_or("-".to_owned(), |p| {
                    format!("{:+.3} {:+.3}", p.length, p.height)
                })
            };
            println!(
                "{:?} {} {} {:?} side {:?} for {:?} error {} uncertainty {} outlines {:?} {:?}",
                a.mode,
                a.photo,
                if a.readable { "readable" } else { "unreadable" },
                a.status,
                a.side,
                a.meant,
                pair(a.error),
                pair(a.uncertainty),
                a.outlines,
                a.reasons
            );
        }
    }
    for figures in &report.figures {
        println!("{}", table::text(figures));
    }
    for steady in report.steady.iter().flatten() {
        println!(
            "steady, {:?}: stayed / moved farther than it says / refused",
            steady.mode
        );
        for change in &steady.changes {
            println!(
                "  {:<28} {:>3} / {:>3} / {:>3}",
                change.change,
                change.stayed,
                change.moved.len(),
                change.refused
            );
            for moved in change.moved.iter().filter(|_| list) {
                println!("    {moved}");
            }
        }
    }
    if let Some(none) = &report.none {
        println!(
            "no painted gear: {} pictures, answered {}, unsure {}, not opened {}",
            none.pictures,
            none.answered.len(),
            none.unsure.len(),
            none.not_opened.len()
        );
        for name in none
            .answered
            .iter()
            .chain(&none.unsure)
            .chain(&none.not_opened)
        {
            println!("  {name}");
        }
    }
}
