//! `flankread read`: photos of one gear set → readings, and the advice that follows.

use super::{Outcome, Talk};
use crate::flank::find::{Help, ToeEnd};
use crate::flank::marks::{self, Marks};
use crate::frames::Side;
use crate::photo::{self, Photo};
use crate::reading::{Asked, OutlinedReading, Polarity, Reading, Status, read_photo};
use crate::{Error, Result};
use clap::Args;
use std::path::{Path, PathBuf};

/// Reads where the contact patch lies on the flanks in photos of one gear set.
///
/// Example: flankread read drive.jpg coast.jpg --out pictures
#[derive(Debug, Args)]
pub(super) struct ReadArgs {
    /// The photos: JPEG, PNG, WebP or TIFF. Marks in PHOTO.marks.json beside a photo are used.
    #[arg(required = true, value_name = "PHOTO")]
    photos: Vec<PathBuf>,
    /// Marks for the photo, instead of those beside it (one photo only).
    #[arg(long, value_name = "FILE")]
    marks: Option<PathBuf>,
    /// Which flank the photos show.
    #[arg(long)]
    flank: Option<Side>,
    /// Which end of the flanks in the photo is the toe (the inner end).
    #[arg(long, value_name = "END")]
    toe: Option<ToeEnd>,
    /// How contact shows: wiped out of compound on the ring gear, or transferred from the pinion.
    #[arg(long)]
    polarity: Option<Polarity>,
    /// Number of teeth of the ring gear.
    #[arg(long, value_name = "NUMBER")]
    teeth: Option<u32>,
}

pub(super) fn run(args: &ReadArgs, talk: Talk) -> Result<Outcome> {
    if args.marks.is_some() && args.photos.len() > 1 {
        return Err(Error::Usage(
            "--marks goes with one photo; put the marks of several into PHOTO.marks.json beside each".into(),
        ));
    }
    let opened = open_all(&args.photos, args)?;
    let readings: Vec<OutlinedReading> = opened
        .iter()
        .map(|(photo, asked)| read_photo(photo, asked))
        .collect();
    let documents: Vec<&Reading> = readings.iter().map(|read| &read.reading).collect();
    if talk.json {
        let text = match documents.as_slice() {
            [one] => serde_json::to_string_pretty(one),
            several => serde_json::to_string_pretty(several),
        };
        println!("{}", text.expect("a reading is plain data"));
    }
    let any = documents.iter().any(|r| r.status != Status::Unreadable);
    Ok(if any {
        Outcome::Answered
    } else {
        Outcome::NothingReadable
    })
}

/// Opens every photo and its marks before anything is read.
fn open_all(paths: &[PathBuf], args: &ReadArgs) -> Result<Vec<(Photo, Asked)>> {
    paths.iter().map(|path| open_one(path, args)).collect()
}

fn open_one(path: &Path, args: &ReadArgs) -> Result<(Photo, Asked)> {
    let photo = photo::open(path)?;
    let marks_path = args.marks.clone().or_else(|| marks::beside(path));
    let marks: Option<Marks> = marks_path
        .map(|path| marks::load(&path, &photo))
        .transpose()?;
    let asked = Asked {
        marks,
        polarity: args.polarity,
        help: Help {
            flank: args.flank,
            toe: args.toe,
            ring_teeth: args.teeth,
        },
        ..Asked::default()
    };
    Ok((photo, asked))
}
