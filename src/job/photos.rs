//! A photo file → what a job keeps of it: the bytes as they are, the reading, and the picture for sheets.

use super::new_trial::{NewPhoto, NewTrial};
use crate::files;
use crate::flank::find::{FindHints, ToeEnd};
use crate::flank::marks;
use crate::frames::Side;
use crate::photo;
use crate::photo::Photo;
use crate::reading::{OutlinedReading, ReadOptions, doubt_set, read_photo, shows_both};
use crate::rules::NotUsable;
use crate::rules::trial::usable;
use crate::schema::Reading;
use crate::schema::record::Shows;
use crate::schema::{Card, Polarity};
use crate::{Error, Result};
use image::RgbImage;
use image::codecs::jpeg::JpegEncoder;
use std::path::Path;

/// Longest side of the picture kept for sheets, pixels: a third of a page's width at 300 dots an inch.
const PICTURE_SIDE_PX: u32 = 800;
const PICTURE_QUALITY: u8 = 80;

/// What the user says of the photos of a trial.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct PhotoOptions {
    /// Which end of the flanks is the toe.
    pub toe: Option<ToeEnd>,
    /// How contact shows.
    pub polarity: Option<Polarity>,
    /// The photos are mirrored.
    pub mirrored: bool,
    /// Keep the photo without reading it.
    pub unread: bool,
}

/// Opens the photos of one assembly, reads those that show flanks, doubts them together, and has the pictures for sheets
/// drawn. The files are only read. One photo may serve both flanks, where it shows both well.
///
/// # Errors
/// A photo or its marks cannot be opened; one file for both flanks that does not show both; a picture cannot be drawn.
pub(crate) fn take_all(
    photos: &[(&Path, Shows, PhotoOptions)],
    card: &Card,
    draw: impl Fn(&Photo, &OutlinedReading) -> Result<RgbImage>,
) -> Result<Vec<NewPhoto>> {
    let mut taken = photos
        .iter()
        .map(|&(path, shows, options)| open(path, shows, options, card))
        .collect::<Result<Vec<Taken>>>()?;
    let mut reads: Vec<&mut OutlinedReading> = taken
        .iter_mut()
        .filter_map(|one| one.read.as_mut())
        .collect();
    if let [one, two] = reads.as_slice()
        && one.reading.photo.sha256 == two.reading.photo.sha256
        && !shows_both(&one.reading, &two.reading)
    {
        return Err(Error::usage(format!(
            "{} was given for the drive flanks and for the coast flanks, and does not show both well; give a photo of each",
            one.reading.photo.path
        )));
    }
    doubt_set(&mut reads);
    taken
        .into_iter()
        .map(|one| {
            let drawn = match &one.read {
                Some(read) => draw(&one.opened, read)?,
                None => one.opened.working,
            };
            Ok(NewPhoto {
                name: one.name,
                bytes: one.bytes,
                original_sha256: None,
                shows: one.shows,
                reading: one.read.map(|read| read.reading),
                picture: Some(picture(&drawn)?),
            })
        })
        .collect()
}

/// A photo, opened and read.
struct Taken {
    name: String,
    bytes: Vec<u8>,
    shows: Shows,
    opened: Photo,
    read: Option<OutlinedReading>,
}

fn open(path: &Path, shows: Shows, options: PhotoOptions, card: &Card) -> Result<Taken> {
    let opened = photo::open(path)?;
    let bytes = files::read(path, photo::Limits::default().bytes)
        .map_err(|source| Error::input(path, source))?;
    let name = path.file_name().map_or_else(
        || "photo".into(),
        |name| name.to_string_lossy().into_owned(),
    );
    let side = match shows {
        Shows::Drive => Some(Side::Drive),
        Shows::Coast => Some(Side::Coast),
        Shows::Other => None,
    };
    let read = match side.filter(|_| !options.unread) {
        None => None,
        Some(side) => {
            let marks = marks::beside(path)
                .map(|path| marks::load(&path, &opened))
                .transpose()?;
            let asked = ReadOptions {
                marks,
                polarity: options.polarity,
                flank: Some(side),
                hints: FindHints {
                    toe: options.toe,
                    form: None,
                },
                mirrored: options.mirrored,
                ..ReadOptions::of_card(card)
            };
            let mut read = read_photo(&opened, &asked);
            // The folder a photo lay in is nobody else's business once a job leaves the workshop.
            read.reading.photo.path.clone_from(&name);
            Some(read)
        }
    };
    Ok(Taken {
        name,
        bytes,
        shows,
        opened,
        read,
    })
}

/// A small JPEG of a picture.
fn picture(drawn: &RgbImage) -> Result<Vec<u8>> {
    let (width, height) = drawn.dimensions();
    let longest = width.max(height).max(1);
    let small;
    let shown = if longest > PICTURE_SIDE_PX {
        let to = |side: u32| (side * PICTURE_SIDE_PX / longest).max(1);
        small = photo::shrink::resized(drawn, (0, 0, width, height), (to(width), to(height)));
        &small
    } else {
        drawn
    };
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, PICTURE_QUALITY)
        .encode_image(shown)
        .map_err(|error| Error::machine(Path::new("a picture"), std::io::Error::other(error)))?;
    Ok(bytes)
}

/// Puts a photo into a trial, and its reading where it may be used; gives what to say of it.
pub(crate) fn put(new: &mut NewTrial, photo: NewPhoto, use_unsure: bool) -> Vec<String> {
    let mut remarks = Vec::new();
    if let Some(reading) = &photo.reading {
        let place = match photo.shows {
            Shows::Coast => &mut new.trial.coast,
            Shows::Drive | Shows::Other => &mut new.trial.drive,
        };
        let used = usable(reading, use_unsure).map(|reading| *place = Some(reading));
        remarks = remarks_on(reading, photo.shows, &used);
    }
    new.photos.push(photo);
    remarks
}

/// What to say of a photo that was read: its reasons, and whether it is used.
fn remarks_on(
    reading: &Reading,
    shows: Shows,
    used: &std::result::Result<(), NotUsable>,
) -> Vec<String> {
    let photo = format!("photo of the {} flanks", shows.word());
    let mut remarks = Vec::new();
    match used {
        Ok(()) => {}
        Err(NotUsable::Unsure) => {
            remarks.push(format!(
                "The {photo} is unsure and is kept, but no advice is made of it; look at its picture on the sheet, then take a \
                 better photo, or record it again with --use-unsure."
            ));
        }
        Err(NotUsable::Mirrored) => remarks.push(format!(
            "The {photo} is kept, but no advice is made of it; if it is mirrored, record it again with --mirrored."
        )),
        Err(NotUsable::Unreadable { .. }) => {
            remarks.push(format!("The {photo} could not be read."))
        }
        Err(other) => remarks.push(format!("The {photo} is not used: {other}.")),
    }
    let reasons = reading.reasons.iter();
    remarks.extend(reasons.map(|reason| format!("The {photo}: {}", reason.message)));
    remarks
}
