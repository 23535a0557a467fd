//! All pictures of the readings of one gear set, into a folder.

use super::flank_view::{FlankView, flank_view_picture};
use super::overlay::overlay;
use super::page::{PagePhoto, reading_page};
use crate::files::Folder;
use crate::photo::Photo;
use crate::reading::OutlinedReading;
use crate::schema::read::ReadAnswer;
use crate::schema::{Advice, Card, Status, Target};
use crate::units::Units;
use crate::{Error, Result};
use image::{ImageFormat, RgbImage};
use std::collections::HashSet;
use std::io::Cursor;
use std::path::{Path, PathBuf};

/// A photo and what was read in it.
#[derive(Debug)]
pub(crate) struct PhotoReading {
    /// The photo.
    pub photo: Photo,
    /// Its reading.
    pub read: OutlinedReading,
}

/// Name of the page of all photos.
const PAGE: &str = "reading.html";

/// Writes, for each photo, the photo with its reading drawn on it and the flank with its patch,
/// and one page of all. Everything is drawn before the first file is written.
///
/// # Errors
/// A file is in the way, a drawing fails, or the folder cannot be written.
pub(crate) fn write_pictures(
    folder: &Path,
    force: bool,
    told: &[PhotoReading],
    card: Option<&Card>,
    answer: &ReadAnswer,
    units: Units,
) -> Result<Vec<PathBuf>> {
    let stems = stems(told);
    let mut names: Vec<String> = Vec::new();
    for (told, stem) in told.iter().zip(&stems) {
        names.push(format!("{stem}.overlay.png"));
        if told.read.reading.status != Status::Unreadable {
            names.push(format!("{stem}.flank.png"));
        }
    }
    names.push(PAGE.to_owned());
    let folder = Folder::new(folder, force);
    folder.check(&names)?;
    let mut files: Vec<Vec<u8>> = Vec::new();
    let mut overlays = Vec::new();
    let mut views = Vec::new();
    for told in told {
        let drawn = overlay(&told.photo, &told.read)?;
        files.push(png(&drawn)?);
        overlays.push(drawn);
        let readable = told.read.reading.status != Status::Unreadable;
        let view = readable.then(|| view(&told.read, card, answer.advice.as_ref()));
        if let Some(view) = &view {
            files.push(png(&flank_view_picture(view)?)?);
        }
        views.push(view);
    }
    let photos: Vec<PagePhoto> = told
        .iter()
        .zip(&overlays)
        .zip(&views)
        .map(|((told, overlay), view)| PagePhoto {
            reading: &told.read.reading,
            overlay,
            view: view.as_ref(),
        })
        .collect();
    files.push(reading_page(&photos, answer, units).into_bytes());
    names
        .iter()
        .zip(&files)
        .map(|(name, bytes)| folder.write(name, bytes))
        .collect()
}

/// The flank with what card and advice say of it.
fn view(read: &OutlinedReading, card: Option<&Card>, advice: Option<&Advice>) -> FlankView {
    let mut view = FlankView::of(read);
    let target = card.map_or_else(Target::default, |card| card.target);
    if let Some(side) = view.side {
        view.target = Some((target.of(side), target.tolerance));
        let predicted = advice.and_then(|advice| advice.predicted.as_ref());
        view.predicted = predicted.map(|predicted| match side {
            crate::frames::Side::Drive => predicted.drive,
            crate::frames::Side::Coast => predicted.coast,
        });
    }
    view
}

/// The photos' names without folder and ending, told apart by a number where they are alike.
fn stems(told: &[PhotoReading]) -> Vec<String> {
    let mut taken = HashSet::new();
    told.iter()
        .map(|told| {
            let path = Path::new(&told.photo.path);
            let stem = path.file_stem().unwrap_or(path.as_os_str());
            let stem = stem.to_string_lossy().into_owned();
            let mut name = stem.clone();
            let mut number = 2;
            while !taken.insert(name.clone()) {
                name = format!("{stem}-{number}");
                number += 1;
            }
            name
        })
        .collect()
}

fn png(picture: &RgbImage) -> Result<Vec<u8>> {
    let mut bytes = Vec::new();
    picture
        .write_to(&mut Cursor::new(&mut bytes), ImageFormat::Png)
        .map_err(|error| Error::machine(Path::new("a picture"), std::io::Error::other(error)))?;
    Ok(bytes)
}
