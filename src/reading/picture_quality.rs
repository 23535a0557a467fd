//! Whether a whole picture, or what is about its flanks, is sharp and light enough: what a photo is refused for in which no
//! flanks were found, and what tells of flanks whose own edges are soft, as under thin compound.

use super::calibration::CALIBRATION;
use super::image_quality::{Quality, luminance, quality, ranked};
use crate::flank::{FlankMap, Outline, Window};
use crate::photo::shrink::{Part, resized};
use crate::photo::{Photo, linear_of_levels};
use crate::schema::{Reason, ReasonCode};
use image::{ImageBuffer, Luma, RgbImage, imageops};

/// Longest side at which a whole picture is judged, pixels: that at which flanks are measured in it.
const PICTURE_SIDE_PX: f64 = 576.0;

/// Height at which a flank is judged, pixels, where it is not lower to begin with: what blurs a tenth of its height is as
/// much on every photo.
const FLANK_HEIGHT_PX: f64 = 40.0;

/// How far edges are smoothed away little and much, pixels.
const SMOOTHED: [f32; 2] = [1.0, 4.0];

/// This share of all pixels is on lesser edges than those that count.
const STEEPEST: f64 = 0.995;

/// The light of the brightest pixels but for so many of them: lamps and sparkles.
const BRIGHTEST: f64 = 0.99;

/// The quality of flattened flanks, with how sharp the picture is about them where their own edges do not tell; `None` for
/// none.
pub(super) fn quality_of(
    photo: &Photo,
    outlines: &[Outline],
    maps: &[FlankMap],
) -> Option<Quality> {
    let quality = quality(maps)?;
    if quality.sharpness >= CALIBRATION.sharpness.plain {
        return Some(quality);
    }
    let height = outlines.iter().map(|outline| outline.size_px().1);
    let height = height.fold(0.0, f64::max);
    let corners = outlines.iter().flat_map(|outline| outline.corners().ring());
    let window = Window::about(photo, corners).grown(photo, height);
    let scale = (FLANK_HEIGHT_PX / (height * photo.scale)).min(1.0);
    Some(Quality {
        surroundings: edges(&photo.working, part_of(photo, window), scale),
        ..quality
    })
}

/// A window of a photo in pixels of its working copy.
fn part_of(photo: &Photo, window: Window) -> Part {
    let (width, height) = photo.working.dimensions();
    let at = |px: f64, end: u32| ((px * photo.scale) as u32).min(end - 1);
    let (left, top) = (at(window.left, width), at(window.top, height));
    let right = at(window.left + window.width, width);
    let low = at(window.top + window.height, height);
    (
        left,
        top,
        right.max(left) + 1 - left,
        low.max(top) + 1 - top,
    )
}

/// How steep the steepest edges of a part of a picture are when little is smoothed away, against when much is, at so many
/// times its size: a sharp edge loses steepness in proportion to the smoothing, 4, one that is out of focus hardly any. `None`
/// of parts too small to tell.
fn edges(picture: &RgbImage, part: Part, scale: f64) -> Option<f64> {
    let at_scale = |length: u32| (f64::from(length) * scale).round().max(1.0) as u32;
    let (width, height) = (at_scale(part.2), at_scale(part.3));
    if width < 16 || height < 16 {
        return None;
    }
    let small = resized(picture, part, (width, height));
    let levels = linear_of_levels();
    let faintest = CALIBRATION.sharpness.faint_of_picture;
    // From nought to one, which is what the library smooths.
    let shades = small.pixels().map(|pixel| {
        let light = luminance(&pixel.0.map(|level| levels[usize::from(level)]));
        1.0 - ((light + faintest) / (1.0 + faintest)).ln() / (faintest / (1.0 + faintest)).ln()
    });
    let shades: ImageBuffer<Luma<f32>, Vec<f32>> =
        ImageBuffer::from_raw(width, height, shades.collect())?;
    let [little, much] = SMOOTHED.map(|by| steepest(&imageops::blur(&shades, by)));
    Some(f64::from(little? / much?.max(1e-4)))
}

/// The steepness that all but the steepest few places stay below, shades per pixel.
fn steepest(shades: &ImageBuffer<Luma<f32>, Vec<f32>>) -> Option<f32> {
    let wide = shades.width() as usize;
    let rows = shades.as_raw().chunks_exact(wide);
    let mut steps: Vec<f32> = (rows.clone().zip(rows.skip(1)))
        .flat_map(|(row, below)| {
            (1..wide).map(|at| (row[at] - row[at - 1]).hypot(below[at] - row[at]))
        })
        .collect();
    ranked(&mut steps, STEEPEST)
}

/// Why no flanks could be outlined on a photo: where it is dark, burnt out or not sharp that is why, and not what could not
/// be seen on it.
pub(super) fn why_unseen(photo: &Photo, reasons: Vec<Reason>) -> Vec<Reason> {
    let unseen =
        |reason: &Reason| matches!(reason.code, ReasonCode::NoGear | ReasonCode::FlankHidden);
    if !reasons.iter().all(unseen) {
        return reasons;
    }
    against_picture(photo).map_or(reasons, |reason| vec![reason])
}

/// What is wrong with the whole of a photo.
fn against_picture(photo: &Photo) -> Option<Reason> {
    let picture = &photo.working;
    let (width, height) = picture.dimensions();
    let scale = (PICTURE_SIDE_PX / f64::from(width.max(height))).min(1.0);
    let levels = linear_of_levels();
    let (mut lights, mut strongest): (Vec<f32>, Vec<f32>) = (picture.pixels())
        .step_by((1.0 / scale).ceil() as usize)
        .map(|pixel| {
            let light = pixel.0.map(|level| levels[usize::from(level)]);
            (luminance(&light), light[0].max(light[1]).max(light[2]))
        })
        .unzip();
    let limits = &CALIBRATION.light;
    if f64::from(ranked(&mut lights, BRIGHTEST)?) < limits.least_brightness {
        return Some(Reason::new(
            ReasonCode::TooDark,
            "The photo is too dark to find the teeth in it. Bring a lamp and take it again.",
        ));
    }
    let burnt = strongest
        .iter()
        .filter(|&&light| light > limits.burnt)
        .count();
    if burnt as f64 > limits.most_burnt * strongest.len() as f64
        && f64::from(ranked(&mut strongest, 0.2)?) > limits.lightest_darkest_fifth
    {
        return Some(Reason::new(
            ReasonCode::BurntOut,
            "Most of the photo is burnt out, and no teeth were found in it. Take the flash off, or tap on the gear to expose for it.",
        ));
    }
    let edges = edges(picture, (0, 0, width, height), scale)?;
    (edges < CALIBRATION.sharpness.least_of_picture).then(|| {
        Reason::new(
            ReasonCode::Blurred,
            "The photo is not sharp. Tap on the painted teeth to focus, hold still, and take it again.",
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::flank::rectify::MAP_SIZE;
    use crate::frames::{FlankPoint, PhotoPoint};

    /// Light bars on dark, each edge so many pixels wide.
    fn bars(soft: f32) -> RgbImage {
        RgbImage::from_fn(400, 300, |x, y| {
            let across = (x as f32 + 0.3 * y as f32) % 80.0;
            let from_edge = 20.0 - (across - 40.0).abs();
            let share = 1.0 / (1.0 + (-4.0 * from_edge / soft).exp());
            image::Rgb([(30.0 + 150.0 * share) as u8; 3])
        })
    }

    fn unseen(picture: RgbImage, code: ReasonCode) -> Vec<ReasonCode> {
        let photo = Photo::from_pixels("drawn", picture);
        let why = why_unseen(&photo, vec![Reason::new(code, "")]);
        why.into_iter().map(|reason| reason.code).collect()
    }

    #[test]
    fn a_photo_without_flanks_is_refused_for_what_hid_them() {
        use ReasonCode::{Blurred, BurntOut, Collage, FlankHidden, NoGear, TooDark};
        assert_eq!(unseen(bars(0.5), NoGear), [NoGear]);
        assert_eq!(unseen(bars(0.5), FlankHidden), [FlankHidden]);
        assert_eq!(unseen(bars(30.0), NoGear), [Blurred]);
        assert_eq!(unseen(bars(30.0), FlankHidden), [Blurred]);
        let black = RgbImage::from_pixel(400, 300, image::Rgb([9; 3]));
        assert_eq!(unseen(black, NoGear), [TooDark]);
        let white = RgbImage::from_pixel(400, 300, image::Rgb([254; 3]));
        assert_eq!(unseen(white, NoGear), [BurntOut]);
        assert_eq!(unseen(bars(30.0), Collage), [Collage]);
    }

    #[test]
    fn blur_is_measured_by_the_height_of_the_flanks() {
        let at = |picture: &RgbImage, scale| {
            let part = (0, 0, picture.width(), picture.height());
            edges(picture, part, scale).unwrap()
        };
        let sharp = at(&bars(0.5), 1.0);
        assert!(sharp > 2.5, "{sharp}");
        let soft = at(&bars(16.0), 1.0);
        assert!(soft < 1.6, "{soft}");
        // Of flanks four times as high the same edges are sharp.
        let large = at(&bars(16.0), 0.25);
        assert!(large > 2.2, "{large}");
        assert_eq!(edges(&bars(1.0), (0, 0, 10, 300), 1.0), None);
    }

    #[test]
    fn only_flanks_that_do_not_tell_are_looked_about() {
        let about = |soft: f32| {
            let photo = Photo::from_pixels("drawn", bars(soft));
            let outline = Outline::from_map(0.2, FlankPoint::new(0.004, 0.006), |at| {
                PhotoPoint::new(100.0 + 40.0 * at.height, 60.0 + 180.0 * at.length)
            });
            let maps = [FlankMap::new(&photo, &outline, MAP_SIZE)];
            let found = quality_of(&photo, &[outline], &maps);
            found.unwrap().surroundings
        };
        assert_eq!(about(0.5), None);
        let soft = about(24.0).unwrap();
        assert!(soft < CALIBRATION.sharpness.least_of_picture, "{soft}");
        let photo = Photo::from_pixels("drawn", bars(0.5));
        assert_eq!(quality_of(&photo, &[], &[]), None);
    }

    #[test]
    fn a_window_s_part_stays_within_the_picture() {
        let photo = Photo::from_pixels("drawn", bars(0.5));
        let corners = [PhotoPoint::new(2.0, 180.0), PhotoPoint::new(398.0, 220.0)];
        let window = Window::about(&photo, corners.into_iter()).grown(&photo, 40.0);
        let (left, top, width, height) = part_of(&photo, window);
        assert_eq!((left, width), (0, 400));
        assert!(top <= 140 && top + height >= 260 && top + height <= 300);
    }
}
