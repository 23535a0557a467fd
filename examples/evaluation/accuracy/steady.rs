//! Whether a reading stays where it is when the same photo comes another way.

use crate::measure::{Answer, Mode, answer};
use crate::truth::Truth;
use flankread::{Photo, PhotoPoint};
use image::codecs::jpeg::JpegEncoder;
use image::imageops::{self, FilterType};
use image::{DynamicImage, ImageDecoder, ImageReader, RgbImage};
use serde::Serialize;
use std::error::Error;
use std::path::Path;

/// A change of the upright picture, the JPEG quality with which it is kept, and where a point of a picture
/// that is so wide and high comes to lie.
struct Change {
    name: &'static str,
    quality: u8,
    make: fn(&RgbImage) -> RgbImage,
    place: fn(PhotoPoint, (f64, f64)) -> PhotoPoint,
}

const CHANGES: [Change; 10] = [
    kept("saved again", 95, |p| p.clone()),
    change("turned by 90°", imageops::rotate90, |p, (_, high)| {
        PhotoPoint::new(high - p.y, p.x)
    }),
    change("turned by 180°", imageops::rotate180, |p, (wide, high)| {
        PhotoPoint::new(wide - p.x, high - p.y)
    }),
    change("turned by 270°", imageops::rotate270, |p, (wide, _)| {
        PhotoPoint::new(p.y, wide - p.x)
    }),
    change("mirrored", imageops::flip_horizontal, |p, (wide, _)| {
        PhotoPoint::new(wide - p.x, p.y)
    }),
    change("scaled to 50 %", |p| scaled(p, 2), |p, _| p.scaled(0.5)),
    change("scaled to 25 %", |p| scaled(p, 4), |p, _| p.scaled(0.25)),
    kept("recompressed at quality 50", 50, |p| p.clone()),
    kept("one stop darker", 95, |p| exposed(p, 0.5)),
    kept("one stop brighter", 95, |p| exposed(p, 2.0)),
];

/// A change that moves points.
const fn change(
    name: &'static str,
    make: fn(&RgbImage) -> RgbImage,
    place: fn(PhotoPoint, (f64, f64)) -> PhotoPoint,
) -> Change {
    Change {
        name,
        quality: 95,
        make,
        place,
    }
}

/// A change that leaves points where they are.
const fn kept(name: &'static str, quality: u8, make: fn(&RgbImage) -> RgbImage) -> Change {
    Change {
        name,
        quality,
        make,
        place: |point, _| point,
    }
}

fn scaled(picture: &RgbImage, parts: u32) -> RgbImage {
    let (width, height) = picture.dimensions();
    imageops::resize(picture, width / parts, height / parts, FilterType::Triangle)
}

/// The picture with `factor` times the linear light, clipped as a camera clips it.
fn exposed(picture: &RgbImage, factor: f32) -> RgbImage {
    let levels: Vec<u8> = (0..=255)
        .map(|level| srgb_level(factor * linear_light(level)))
        .collect();
    let mut changed = picture.clone();
    for value in changed.iter_mut() {
        *value = levels[usize::from(*value)];
    }
    changed
}

/// Linear light 0 … 1 of a level, by the transfer function of IEC 61966-2-1.
fn linear_light(level: u8) -> f32 {
    let share = f32::from(level) / 255.0;
    if share <= 0.040_45 {
        share / 12.92
    } else {
        ((share + 0.055) / 1.055).powf(2.4)
    }
}

/// The inverse of it.
fn srgb_level(light: f32) -> u8 {
    let light = light.clamp(0.0, 1.0);
    let share = if light <= 0.003_130_8 {
        12.92 * light
    } else {
        1.055 * light.powf(1.0 / 2.4) - 0.055
    };
    (255.0 * share).round() as u8
}

/// What became of the photos that were answered, for one change.
#[derive(Debug, Clone, Serialize)]
pub struct Steadiness {
    /// The change.
    pub change: &'static str,
    /// The centre moved by no more than its printed uncertainty, along length and height.
    pub stayed: usize,
    /// It moved farther.
    pub moved: Vec<String>,
    /// The changed photo was refused or called unsure.
    pub refused: usize,
}

/// Reads each photo that is answered in a mode again after every change.
pub fn steadiness(truths: &[Truth], mode: Mode) -> Vec<Result<Vec<(usize, Fate)>, String>> {
    use rayon::prelude::*;
    truths
        .par_iter()
        .filter(|truth| truth.readable())
        .map(|truth| fates(truth, mode).map_err(|e| format!("{}: {e}", truth.photo.display())))
        .collect()
}

/// What became of one photo under one change.
#[derive(Debug, Clone, PartialEq)]
pub enum Fate {
    Stayed,
    Moved(String),
    Refused,
}

fn fates(truth: &Truth, mode: Mode) -> Result<Vec<(usize, Fate)>, Box<dyn Error>> {
    let first = Photo::open(&truth.photo)?;
    let Some(before) = answer(truth, &first, mode).filter(Answer::answered) else {
        return Ok(Vec::new());
    };
    let upright = upright(&truth.photo)?;
    let folder = tempfile::tempdir()?;
    let mut fates = Vec::new();
    for (index, change) in CHANGES.iter().enumerate() {
        let mut bytes = Vec::new();
        JpegEncoder::new_with_quality(&mut bytes, change.quality)
            .encode_image(&(change.make)(&upright))?;
        let path = folder.path().join("changed.jpg");
        std::fs::write(&path, bytes)?;
        let mut changed = Photo::open(&path)?;
        // The camera's words stay with the picture when it is turned or sent on.
        changed.focal_35mm = first.focal_35mm;
        let size = (f64::from(first.width), f64::from(first.height));
        let moved = truth.moved(|point| (change.place)(point, size));
        let fate = answer(&moved, &changed, mode).map(|after| fate(&before, &after));
        fates.extend(fate.map(|fate| (index, fate)));
    }
    Ok(fates)
}

fn fate(before: &Answer, after: &Answer) -> Fate {
    let (Some(from), Some(to), Some(u)) = (before.error, after.error, after.uncertainty) else {
        return Fate::Refused;
    };
    if !after.answered() {
        return Fate::Refused;
    }
    let (length, height) = (to.length - from.length, to.height - from.height);
    if length.abs() <= u.length && height.abs() <= u.height && before.side == after.side {
        Fate::Stayed
    } else {
        Fate::Moved(format!("{} by {length:+.3} {height:+.3}", before.photo))
    }
}

/// The fates of all photos, counted by change.
pub fn counted(all: &[Vec<(usize, Fate)>]) -> Vec<Steadiness> {
    let of = |index: usize| all.iter().flatten().filter(move |(i, _)| *i == index);
    CHANGES
        .iter()
        .enumerate()
        .map(|(index, change)| Steadiness {
            change: change.name,
            stayed: of(index).filter(|(_, f)| *f == Fate::Stayed).count(),
            moved: of(index)
                .filter_map(|(_, fate)| match fate {
                    Fate::Moved(how) => Some(how.clone()),
                    _ => None,
                })
                .collect(),
            refused: of(index).filter(|(_, f)| *f == Fate::Refused).count(),
        })
        .collect()
}

/// The whole picture at full size, turned as its EXIF data say.
fn upright(path: &Path) -> Result<RgbImage, Box<dyn Error>> {
    let mut decoder = ImageReader::open(path)?
        .with_guessed_format()?
        .into_decoder()?;
    let turn = decoder.orientation()?;
    let mut picture = DynamicImage::from_decoder(decoder)?;
    picture.apply_orientation(turn);
    Ok(picture.into_rgb8())
}
