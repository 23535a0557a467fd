//! What the flank network says of each place of a photo: which surface, where on its flank. It is a proposal that the gear
//! fit judges.

use crate::frames::{FlankPoint, PhotoPoint};
use crate::network::{FLANK, Planes, SIDE_MULTIPLE};
use crate::photo::Photo;
use crate::photo::shrink::resized;
use crate::schema::FlankForm;

/// Longest side of what the network is shown, pixels: to find the gear, and to measure it. It was
/// trained on flanks of 0.6 to 2.5 times the size they have in a photo of 384 pixels. Its cells are four
/// pixels wide.
const FINDING_SIDE_PX: f64 = super::calibration::CALIBRATION.network.finding_side_px;
const MEASURING_SIDE_PX: f64 = super::calibration::CALIBRATION.network.measuring_side_px;

/// Fewer cells on flanks than this are chance.
const FEWEST_CELLS: usize = super::calibration::CALIBRATION.network.fewest_cells_of_gear;

/// The plane of the network's score of compound.
const COMPOUND: usize = 7;

/// Margin about the flanks, share of their width or height.
const MARGIN: f64 = super::calibration::CALIBRATION.network.margin;

/// A rectangle of the upright photo, full-size pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Window {
    pub left: f64,
    pub top: f64,
    pub width: f64,
    pub height: f64,
}

impl Window {
    /// The whole photo.
    pub(crate) fn whole(photo: &Photo) -> Self {
        Self {
            left: 0.0,
            top: 0.0,
            width: f64::from(photo.width),
            height: f64::from(photo.height),
        }
    }

    /// The part of a photo that holds all but stray ones of some points, with a margin. There must
    /// be at least one point.
    pub(crate) fn about(photo: &Photo, points: impl Iterator<Item = PhotoPoint>) -> Self {
        let (mut across, mut down): (Vec<f64>, Vec<f64>) = points.map(|p| (p.x, p.y)).unzip();
        let range = |along: &mut Vec<f64>, end: u32| {
            along.sort_by(f64::total_cmp);
            // A hundredth at each end may be strays.
            let (low, high) = (along[along.len() / 100], along[along.len() * 99 / 100]);
            let margin = MARGIN * (high - low);
            let end = f64::from(end);
            let low = (low - margin).clamp(0.0, end - 1.0);
            (low, (high + margin).clamp(low + 1.0, end) - low)
        };
        let (left, width) = range(&mut across, photo.width);
        let (top, height) = range(&mut down, photo.height);
        Self {
            left,
            top,
            width,
            height,
        }
    }

    /// With so many pixels more on each side, as far as the photo goes.
    pub(crate) fn grown(self, photo: &Photo, by_px: f64) -> Self {
        let range = |low: f64, length: f64, end: u32| {
            let from = (low - by_px).max(0.0);
            (from, (low + length + by_px).min(f64::from(end)) - from)
        };
        let (left, width) = range(self.left, self.width, photo.width);
        let (top, height) = range(self.top, self.height, photo.height);
        Self {
            left,
            top,
            width,
            height,
        }
    }

    /// Its longer side.
    pub(crate) fn longest(&self) -> f64 {
        self.width.max(self.height)
    }
}

/// Dense flank coordinates over a window of a photo.
#[derive(Debug, Clone)]
pub(crate) struct FlankCoordinateMap {
    /// Cells across.
    pub width: usize,
    /// Cells down.
    pub height: usize,
    window: Window,
    planes: Planes,
}

impl FlankCoordinateMap {
    /// A look at the whole photo, to find the gear in it.
    pub(crate) fn found(photo: &Photo) -> Self {
        let window = Window::whole(photo);
        let planes = FLANK.run(&input(photo, window, FINDING_SIDE_PX));
        Self::new(window, planes)
    }

    /// Looks at parts of the photo, `across` of them along its longer side and as many along the other as are needed, that
    /// overlap by half: small flanks are large enough in them.
    pub(crate) fn found_in_parts(photo: &Photo, across: usize) -> Vec<Self> {
        let whole = Window::whole(photo);
        let side = whole.width.max(whole.height) / across as f64;
        let starts = |length: f64| -> Vec<f64> {
            let steps = ((length / side - 1.0) * 2.0).ceil().max(0.0) as usize;
            let step = |i: usize| (length - side).max(0.0) * i as f64 / steps.max(1) as f64;
            (0..=steps).map(step).collect()
        };
        let parts = starts(whole.height).into_iter().flat_map(|top| {
            let windows = starts(whole.width).into_iter();
            windows.map(move |left| Window {
                left,
                top,
                width: side.min(whole.width),
                height: side.min(whole.height),
            })
        });
        parts.map(|window| Self::measured(photo, window)).collect()
    }

    /// A closer look at a window of the photo, to measure the flanks in it.
    pub(crate) fn measured(photo: &Photo, window: Window) -> Self {
        let planes = FLANK.run(&input(photo, window, MEASURING_SIDE_PX));
        Self::new(window, planes)
    }

    /// The mean of this closer look and of one at the same window mirrored: what the network mistakes in one of
    /// them it often does not in the other. A mirrored flank is as convex or concave as before.
    pub(crate) fn and_mirrored(&self, photo: &Photo) -> Self {
        let mut input = input(photo, self.window, MEASURING_SIDE_PX);
        input.mirror();
        let mut planes = FLANK.run(&input);
        planes.mirror();
        for (value, first) in planes.values.iter_mut().zip(&self.planes.values) {
            *value = (*value + first) / 2.0;
        }
        Self::new(self.window, planes)
    }

    fn new(window: Window, planes: Planes) -> Self {
        Self {
            width: planes.width,
            height: planes.height,
            window,
            planes,
        }
    }

    /// The part of the window that holds the flanks, with a margin; `None` if hardly any show.
    pub(crate) fn flanks_window(&self, photo: &Photo) -> Option<Window> {
        let on_flank: Vec<PhotoPoint> = self.on_flanks().map(|cell| self.place(cell)).collect();
        (on_flank.len() >= FEWEST_CELLS).then(|| Window::about(photo, on_flank.into_iter()))
    }

    /// Places on flanks that carry compound, or, where hardly any do, on flanks.
    pub(crate) fn painted_places(&self) -> Vec<PhotoPoint> {
        let painted: Vec<usize> = (self.on_flanks())
            .filter(|&cell| self.carries_compound(cell))
            .collect();
        let cells = if painted.len() >= FEWEST_CELLS {
            painted
        } else {
            self.on_flanks().collect()
        };
        cells.into_iter().map(|cell| self.place(cell)).collect()
    }

    fn on_flanks(&self) -> impl Iterator<Item = usize> {
        (0..self.len()).filter(|&cell| self.form(cell).is_some())
    }

    /// The part of the photo that is shown.
    pub(crate) fn window(&self) -> Window {
        self.window
    }

    /// Whether compound shows in a cell.
    pub(crate) fn carries_compound(&self, cell: usize) -> bool {
        self.planes.plane(COMPOUND)[cell] > 0.0
    }

    /// How many pixels of what the network was shown a length in the photo is.
    pub(crate) fn shown_px(&self, length_px: f64) -> f64 {
        length_px * MEASURING_SIDE_PX / self.window.longest()
    }

    /// Number of cells.
    pub(crate) fn len(&self) -> usize {
        self.width * self.height
    }

    /// The flank a cell lies on, if its likeliest class is a flank.
    pub(crate) fn form(&self, cell: usize) -> Option<FlankForm> {
        let score = |class: usize| self.planes.plane(class)[cell];
        let best = (0..4).max_by(|&a, &b| score(a).total_cmp(&score(b)));
        match best {
            Some(2) => Some(FlankForm::Convex),
            Some(3) => Some(FlankForm::Concave),
            _ => None,
        }
    }

    /// Where on its flank a cell lies.
    pub(crate) fn at(&self, cell: usize) -> FlankPoint {
        FlankPoint::new(
            f64::from(self.planes.plane(4)[cell]),
            f64::from(self.planes.plane(5)[cell]),
        )
    }

    /// How far off length and height at a cell are to be expected, as the network judges itself.
    pub(crate) fn expected_error(&self, cell: usize) -> FlankPoint {
        let error = |plane: usize| f64::from(self.planes.plane(plane)[cell].clamp(-5.0, 0.0)).exp();
        FlankPoint::new(error(8), error(9))
    }

    /// The cell that shows a point of the photo.
    pub(crate) fn cell_at(&self, point: PhotoPoint) -> Option<usize> {
        let x = (point.x - self.window.left) / self.window.width * self.width as f64;
        let y = (point.y - self.window.top) / self.window.height * self.height as f64;
        let inside =
            (0.0..self.width as f64).contains(&x) && (0.0..self.height as f64).contains(&y);
        inside.then(|| y as usize * self.width + x as usize)
    }

    /// The middle of a cell in the photo.
    pub(crate) fn place(&self, cell: usize) -> PhotoPoint {
        let (x, y) = (cell % self.width, cell / self.width);
        PhotoPoint::new(
            self.window.left + (x as f64 + 0.5) * self.window.width / self.width as f64,
            self.window.top + (y as f64 + 0.5) * self.window.height / self.height as f64,
        )
    }
}

/// A window of the photo as the network takes it, its longest side about so many pixels.
fn input(photo: &Photo, window: Window, side_px: f64) -> Planes {
    let side = |px: f64| {
        let steps = (px / window.longest() * side_px / f64::from(SIDE_MULTIPLE)).round();
        steps.max(2.0) as u32 * SIDE_MULTIPLE
    };
    shown(photo, window, side(window.width), side(window.height))
}

/// The window of the working copy at the size the network takes, as planes in 0 … 1.
fn shown(photo: &Photo, window: Window, width: u32, height: u32) -> Planes {
    let working = &photo.working;
    let scale = photo.scale;
    let (right, lower) = working.dimensions();
    let left = ((window.left * scale).round() as u32).min(right - 1);
    let top = ((window.top * scale).round() as u32).min(lower - 1);
    let across = ((window.width * scale).round() as u32).clamp(1, right - left);
    let down = ((window.height * scale).round() as u32).clamp(1, lower - top);
    let small = resized(working, (left, top, across, down), (width, height));
    let size = (width * height) as usize;
    let mut values = vec![0.0; 3 * size];
    for (i, pixel) in small.pixels().enumerate() {
        for (channel, &byte) in pixel.0.iter().enumerate() {
            values[channel * size + i] = f32::from(byte) / 255.0;
        }
    }
    Planes {
        planes: 3,
        width: width as usize,
        height: height as usize,
        values,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::{Rgb, RgbImage, imageops};

    #[test]
    fn two_looks_say_the_same_of_a_photo_and_of_its_mirror_image() {
        let picture = RgbImage::from_fn(128, 96, |x, y| {
            let light = if (x + y / 2) % 24 < 12 { 200 } else { 40 };
            Rgb([light, light / 2 + (x / 2) as u8, 20])
        });
        let looked = |picture: RgbImage| {
            let photo = Photo::from_pixels("drawn", picture);
            let first = FlankCoordinateMap::measured(&photo, Window::whole(&photo));
            (first.and_mirrored(&photo), first)
        };
        let (mirrored, mirrored_once) = looked(imageops::flip_horizontal(&picture));
        let (both, once) = looked(picture);
        // Bytes are rounded when the picture is made larger.
        let (mut apart, mut apart_once) = (0.0f64, 0.0f64);
        for cell in 0..both.len() {
            let (x, y) = (cell % both.width, cell / both.width);
            let other = y * both.width + both.width - 1 - x;
            let off = |one: &FlankCoordinateMap, two: &FlankCoordinateMap| {
                one.at(cell).height - two.at(other).height
            };
            apart = apart.max(off(&both, &mirrored).abs());
            apart_once = apart_once.max(off(&once, &mirrored_once).abs());
        }
        assert!(apart < 0.01 && apart_once > 0.05, "{apart} {apart_once}");
    }
}
