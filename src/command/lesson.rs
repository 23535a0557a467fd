//! `flankread lesson`: teaching sheets, a page to try, a quiz.

pub(super) mod cases;
pub(super) mod quiz;

use super::{Outcome, OutputOptions};
use crate::files;
use crate::files::Folder;
use crate::lesson::case::Set;
use crate::lesson::explore;
use crate::lesson::sheet::{self, Claim, Limit, Sheets, Spoilt, Wanted};
use crate::report::draw::pdf::pdf;
use crate::schema::{Card, Cutting, FlankDiagnosis};
use crate::units::Units;
use crate::{Error, Result};
use clap::{Args, Subcommand};
use serde::Serialize;
use std::path::{Path, PathBuf};

/// Lessons on contact patterns, made from simulated gears.
#[derive(Debug, Args)]
pub(crate) struct Lesson {
    #[command(subcommand)]
    kind: Kind,
}

#[derive(Debug, Subcommand)]
enum Kind {
    Sheet(Sheet),
    Glossary(Glossary),
    Explore(Explore),
    Quiz(Box<quiz::QuizArgs>),
    Cases(cases::CasesArgs),
}

/// Printable sheets: what is what, what a centred pattern looks like, what moves it, how to paint and photograph.
#[derive(Debug, Args)]
#[command(after_help = "Example:
  flankread lesson sheet --out lessons --units in

Writes lessons.html, lessons.pdf and page-1.png … into the folder.")]
struct Sheet {
    #[command(flatten)]
    pages: PagesArgs,
}

/// The words with pictures: drive and coast, toe and heel, tip and root on a photo, milled and hobbed, good and useless photos.
#[derive(Debug, Args)]
#[command(after_help = "Example:
  flankread lesson glossary --out words

Writes glossary.html, glossary.pdf, page-1.png and page-2.png into the folder: the first pages of lesson sheet.")]
struct Glossary {
    #[command(flatten)]
    pages: PagesArgs,
}

/// How pages are made.
#[derive(Debug, Args)]
struct PagesArgs {
    /// Folder to write into.
    #[arg(long, value_name = "FOLDER")]
    out: PathBuf,
    /// The card of a gear set; an invented axle when left out, where need be by either cutting method.
    #[arg(long, value_name = "FILE")]
    card: Option<PathBuf>,
    /// Width of the rendered photos in pixels; larger takes longer.
    #[arg(long, value_name = "PIXELS", default_value_t = 1000, value_parser = clap::value_parser!(u32).range(160..=4000))]
    photo_width: u32,
    /// Decides viewpoints, light and compound of the rendered photos.
    #[arg(long, default_value_t = 5)]
    seed: u64,
    /// Overwrite files that exist.
    #[arg(long)]
    force: bool,
}

/// A page on which to move pinion and ring gear and see both patches; one file, no network.
#[derive(Debug, Args)]
#[command(after_help = "Example:
  flankread lesson explore --out gears.html --units in

Open the page in any browser, on a phone too. It also hides errors to be found in few assemblies.")]
struct Explore {
    /// The page to write.
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// The card of a gear set to offer, any number of times; invented axles when left out.
    #[arg(long, value_name = "FILE")]
    card: Vec<PathBuf>,
    /// Overwrite a file that exists.
    #[arg(long)]
    force: bool,
}

/// What `lesson explore --json` prints.
#[derive(Serialize, schemars::JsonSchema)]
pub(super) struct ExploreDocument<'a> {
    schema: &'static str,
    file: &'a Path,
    sets: Vec<&'a str>,
}

/// What `lesson sheet --json` prints.
#[derive(Serialize, schemars::JsonSchema)]
pub(super) struct SheetDocument<'a> {
    schema: &'static str,
    claims: &'a [Claim],
    limits: &'a [Limit],
    spoilt: &'a [Spoilt],
    files: &'a [PathBuf],
}

/// What `lesson glossary --json` prints.
#[derive(Serialize, schemars::JsonSchema)]
pub(super) struct GlossaryDocument<'a> {
    schema: &'static str,
    spoilt: &'a [Spoilt],
    files: &'a [PathBuf],
}

impl Lesson {
    /// Makes the lesson.
    ///
    /// # Errors
    /// A card that cannot be used; files that cannot be written.
    pub(crate) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        match &self.kind {
            Kind::Sheet(sheet) => sheet.pages.sheets(output),
            Kind::Glossary(glossary) => glossary.pages.glossary(output),
            Kind::Explore(explore) => explore.run(output),
            Kind::Quiz(quiz) => quiz.run(output),
            Kind::Cases(cases) => cases.run(output),
        }
    }
}

/// The card's set, or the invented axle by both cutting methods.
fn sets(card: Option<Card>) -> Result<Vec<Set>> {
    Ok(match card {
        Some(card) => vec![Set::new(card)?],
        None => vec![
            Set::example(Cutting::FaceMilled)?,
            Set::example(Cutting::FaceHobbed)?,
        ],
    })
}

/// Says on standard error what was written.
fn say_written(paths: &[PathBuf], output: OutputOptions) {
    if !output.quiet {
        for path in paths {
            eprintln!("wrote {}", path.display());
        }
    }
}

impl Explore {
    fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let cards: Vec<Card> = self.card.iter().map(Card::read).collect::<Result<_>>()?;
        let units = output.units(cards.first());
        let sets = if cards.is_empty() {
            explore::examples()?
        } else {
            let own = |card: Card| Ok(explore::of_card(Set::new(card)?));
            cards.into_iter().map(own).collect::<Result<_>>()?
        };
        let page =
            explore::page(&sets, units).map_err(|error| Error::machine(&self.out, error.into()))?;
        files::write(&self.out, page.as_bytes(), self.force)?;
        if output.json {
            super::print_json(&ExploreDocument {
                schema: "flankread/lesson_explore/1",
                file: &self.out,
                sets: sets.iter().map(|offered| offered.title.as_str()).collect(),
            })?;
        }
        say_written(std::slice::from_ref(&self.out), output);
        Ok(Outcome::Answered)
    }
}

impl PagesArgs {
    fn wanted(&self, card: Option<&Card>, output: OutputOptions) -> Wanted {
        Wanted {
            units: output.units(card),
            seed: self.seed,
            photo: (self.photo_width, self.photo_width * 3 / 4),
        }
    }

    fn card(&self) -> Result<Option<Card>> {
        self.card.as_deref().map(Card::read).transpose()
    }

    /// Makes so many pages and writes them as HTML, PDF and PNG, after a look whether all names are free.
    fn write(
        &self,
        stem: &str,
        title: &str,
        count: usize,
        output: OutputOptions,
        make: impl FnOnce() -> Result<Sheets>,
    ) -> Result<(Sheets, Vec<PathBuf>)> {
        let mut names = vec![format!("{stem}.html"), format!("{stem}.pdf")];
        names.extend((1..=count).map(|n| format!("page-{n}.png")));
        let folder = Folder::new(&self.out, self.force);
        folder.check(&names)?;
        if !output.quiet {
            eprintln!("rendering the photos of {count} pages");
        }
        let made = make()?;
        debug_assert_eq!(made.pages.len(), count);
        let mut files = vec![
            sheet::html(title, &made.pages).into_bytes(),
            pdf(title, &made.pages)?,
        ];
        for page in &made.pages {
            files.push(page.png(2.0)?);
        }
        let written = names
            .iter()
            .zip(&files)
            .map(|(name, bytes)| folder.write(name, bytes))
            .collect::<Result<Vec<PathBuf>>>()?;
        Ok((made, written))
    }

    fn glossary(&self, output: OutputOptions) -> Result<Outcome> {
        let card = self.card()?;
        let wanted = self.wanted(card.as_ref(), output);
        let set = match card {
            Some(card) => Set::new(card)?,
            None => Set::example(Cutting::FaceMilled)?,
        };
        let title = "Contact pattern words";
        let (made, written) = self.write("glossary", title, 2, output, || {
            sheet::glossary(&set, &wanted)
        })?;
        if output.json {
            super::print_json(&GlossaryDocument {
                schema: "flankread/lesson_glossary/1",
                spoilt: &made.spoilt,
                files: &written,
            })?;
        }
        say_written(&written, output);
        Ok(Outcome::Answered)
    }

    fn sheets(&self, output: OutputOptions) -> Result<Outcome> {
        let card = self.card()?;
        let wanted = self.wanted(card.as_ref(), output);
        let sets = sets(card)?;
        // Pages: names, words, one centred and two of faults for each set, limits, mistakes.
        let count = 3 * sets.len() + 4;
        let title = "Contact pattern lessons";
        let (made, written) = self.write("lessons", title, count, output, || {
            sheet::sheets(&sets, &wanted)
        })?;
        if output.json {
            super::print_json(&SheetDocument {
                schema: sheet::SCHEMA,
                claims: &made.claims,
                limits: &made.limits,
                spoilt: &made.spoilt,
                files: &written,
            })?;
        } else {
            super::print(&claims_text(&made.claims, wanted.units))?;
        }
        say_written(&written, output);
        Ok(Outcome::Answered)
    }
}

/// What the pictures claim, a line each.
fn claims_text(claims: &[Claim], units: Units) -> String {
    let word =
        |d: &Option<FlankDiagnosis>| d.as_ref().map_or("gone".to_owned(), |d| d.words.clone());
    let line = |c: &Claim| {
        let cutting = match c.cutting {
            Cutting::FaceMilled => "face-milled",
            Cutting::FaceHobbed => "face-hobbed",
        };
        format!(
            "{cutting}: {}: drive {}, coast {}, backlash {}\n",
            c.title,
            word(&c.drive),
            word(&c.coast),
            units.shim(c.backlash_mm)
        )
    };
    claims.iter().map(line).collect()
}
