//! A flank flattened to a small map of length × height.

use super::Outline;
use super::calibration::CALIBRATION;
use super::outline::{Line, LinePlace};
use crate::frames::PhotoPoint;
use crate::network::Planes;
use crate::photo::{Photo, linear_of_levels};
use image::RgbImage;
use ndarray::Array2;

/// Columns (toe to heel) and rows (root to tip) of the maps of a coarse pass.
pub(crate) const MAP_SIZE: (usize, usize) = (128, 48);

/// The same for a fine pass.
pub(crate) const FINE_MAP_SIZE: (usize, usize) = (256, 96);

/// Most places sampled in a cell, along each side of it: on a flank of up to a thousand pixels, all of them.
const MOST_PLACES: usize = 8;

/// From so many places in a cell on, each counts as the pixel it lies on: their mean is as smooth.
const MANY: usize = 4;

/// Mean linear light that the network is shown, and what it is shown where nothing is seen.
const MIDDLE_LIGHT: f32 = 0.18;

/// Lights are cut off at this square root.
const MOST_LIGHT: f32 = 1.5;

/// Level at which a colour channel counts as burnt out.
const CLIPPED_LEVEL: u8 = CALIBRATION.flattening.clipped_level;

/// One flank, flattened: index `[row, column]`, row 0 at the root, column 0 at the toe.
#[derive(Debug, Clone)]
pub(crate) struct FlankMap {
    /// Linear light 0 … 1: red, green, blue.
    pub light: Array2<[f32; 3]>,
    /// Cells with at least two channels burnt out.
    pub clipped: Array2<bool>,
    /// Cells outside the photo or hidden by something in front.
    pub unseen: Array2<bool>,
}

impl FlankMap {
    /// Flattens the flank that `outline` says to so many columns and rows. Where the photo is finer
    /// than the map, a cell is the mean over the pixels it covers.
    pub(crate) fn new(photo: &Photo, outline: &Outline, (columns, rows): (usize, usize)) -> Self {
        let (length_px, height_px) = outline.size_px();
        let fine = |px: f64, cells: usize| {
            ((px * photo.scale / cells as f64).round() as usize).clamp(1, MOST_PLACES)
        };
        let (across, up) = (fine(length_px, columns), fine(height_px, rows));
        let mut map = Self {
            light: Array2::from_elem((rows, columns), [0.0; 3]),
            clipped: Array2::from_elem((rows, columns), false),
            unseen: Array2::from_elem((rows, columns), false),
        };
        let sampler = Sampler::new(&photo.working);
        let lengths = |count: usize| -> Vec<LinePlace> {
            let lengths = (0..count).map(|i| (i as f64 + 0.5) / count as f64);
            lengths.map(LinePlace::new).collect()
        };
        let (places, middles) = (lengths(columns * across), lengths(columns));
        let samples = across * up;
        for row in 0..rows {
            let height = |line: f64| (row as f64 + line) / rows as f64;
            let lines: Vec<Line> = (0..up)
                .map(|line| outline.line(height((line as f64 + 0.5) / up as f64)))
                .map(|line| line.scaled(photo.scale))
                .collect();
            // Between nodes inside the photo nothing lies outside it.
            let leaves = !lines
                .iter()
                .all(|line| line.nodes().all(|node| sampler.holds(node)));
            let mut hidden = outline.hidden_along(height(0.5), &middles);
            for (column, places) in places.chunks_exact(across).enumerate() {
                let mut sums = CellSums::default();
                for line in &lines {
                    for &place in places {
                        if samples < MANY {
                            sampler.add(line.at(place), &mut sums);
                        } else {
                            sampler.add_pixel(line.at(place), &mut sums);
                        }
                    }
                }
                let cell = [row, column];
                let [red, green, blue] = sums.light;
                let all = samples as f32;
                map.light[cell] = [red / all, green / all, blue / all];
                map.clipped[cell] = 2 * sums.burnt > samples;
                let out = |line: &Line| places.iter().any(|&place| !sampler.holds(line.at(place)));
                let outside = leaves && lines.iter().any(out);
                map.unseen[cell] = outside | hidden.next().unwrap_or(false);
            }
        }
        map
    }
}

/// The maps one under the other: square roots of the light, its mean the same in every photo.
pub(crate) fn shown(maps: &[FlankMap]) -> Planes {
    let (rows, columns) = maps[0].light.dim();
    let (mut sum, mut cells) = (0.0f64, 0usize);
    for map in maps {
        for (light, _) in map
            .light
            .iter()
            .zip(&map.unseen)
            .filter(|(_, unseen)| !**unseen)
        {
            sum += f64::from(light.iter().sum::<f32>() / 3.0);
            cells += 1;
        }
    }
    let mean = (sum / cells.max(1) as f64) as f32;
    let scale = MIDDLE_LIGHT / mean.max(1e-4);
    let mut planes = Planes::zeros(3, columns, rows * maps.len());
    let size = planes.width * planes.height;
    let (red, others) = planes.values.split_at_mut(size);
    let (green, blue) = others.split_at_mut(size);
    let shown = red.iter_mut().zip(green).zip(blue);
    let cells = maps
        .iter()
        .flat_map(|map| map.light.iter().zip(&map.unseen));
    for (((red, green), blue), (light, &unseen)) in shown.zip(cells) {
        let shown = |light: f32| {
            if unseen {
                MIDDLE_LIGHT.sqrt()
            } else {
                (light * scale).sqrt().min(MOST_LIGHT)
            }
        };
        *red = shown(light[0]);
        *green = shown(light[1]);
        *blue = shown(light[2]);
    }
    planes
}

/// The sums over the samples of a cell.
#[derive(Debug, Clone, Copy, Default)]
struct CellSums {
    /// Sums of the linear light.
    light: [f32; 3],
    /// How many are burnt out.
    burnt: usize,
}

/// The working copy of a photo as it is sampled place by place.
struct Sampler<'a> {
    linear: &'static [f32; 256],
    levels: &'a [u8],
    /// Width and height.
    size: (f64, f64),
    /// The last pixel's column and row.
    last: (f64, f64),
    /// From one row of pixels to the next, bytes.
    stride: u32,
    /// From a pixel to the one on its right and to the one below it, bytes: 0 where there is none at all.
    next: (u32, u32),
}

impl<'a> Sampler<'a> {
    fn new(picture: &'a RgbImage) -> Self {
        let (width, height) = picture.dimensions();
        let stride = 3 * width;
        Self {
            linear: linear_of_levels(),
            levels: picture.as_raw(),
            size: (f64::from(width), f64::from(height)),
            last: (f64::from(width - 1), f64::from(height - 1)),
            stride,
            next: (
                if width > 1 { 3 } else { 0 },
                if height > 1 { stride } else { 0 },
            ),
        }
    }

    /// Adds the pixel at a point (pixel corners at whole numbers), or the nearest one there is.
    fn add_pixel(&self, place: PhotoPoint, sums: &mut CellSums) {
        // What is no number or below nought becomes nought.
        let pixel = |value: f64, last: f64| value.max(0.0).min(last) as u32;
        let (x, y) = (pixel(place.x, self.last.0), pixel(place.y, self.last.1));
        let levels = self.pixel(y * self.stride + 3 * x);
        for (sum, light) in sums.light.iter_mut().zip(self.light(levels)) {
            *sum += light;
        }
        sums.burnt += usize::from(is_burnt(levels));
    }

    /// Adds what is seen at a point (pixel corners at whole numbers): straight lines between
    /// pixels, burnt out where one of those with a quarter of the weight is.
    fn add(&self, place: PhotoPoint, sums: &mut CellSums) {
        let between = |value: f64, last: f64| {
            // What is no number becomes nought. The last pixel is all of the way from the one before.
            let value = (value - 0.5).max(0.0).min(last);
            let whole = value.min(last - 1.0).max(0.0) as u32;
            (whole, (value - f64::from(whole)) as f32)
        };
        let (left, x) = between(place.x, self.last.0);
        let (top, y) = between(place.y, self.last.1);
        let (right, low) = self.next;
        let at = top * self.stride + 3 * left;
        let levels = [
            self.pixel(at),
            self.pixel(at + right),
            self.pixel(at + low),
            self.pixel(at + low + right),
        ];
        let [a, b, c, d] = &levels;
        let (a, b) = (self.light(*a), self.light(*b));
        let (c, d) = (self.light(*c), self.light(*d));
        for (channel, sum) in sums.light.iter_mut().enumerate() {
            let above = a[channel] + x * (b[channel] - a[channel]);
            let below = c[channel] + x * (d[channel] - c[channel]);
            *sum += above + y * (below - above);
        }
        if levels.into_iter().any(is_burnt) {
            let (left, top) = (1.0 - x, 1.0 - y);
            let weights = [left * top, x * top, left * y, x * y];
            let mut weighed = levels.into_iter().zip(weights);
            sums.burnt +=
                usize::from(weighed.any(|(pixel, weight)| is_burnt(pixel) && weight >= 0.25));
        }
    }

    fn holds(&self, place: PhotoPoint) -> bool {
        (0.0..=self.size.0).contains(&place.x) && (0.0..=self.size.1).contains(&place.y)
    }

    /// Levels of the pixel that begins at a byte.
    fn pixel(&self, at: u32) -> [u8; 3] {
        let at = at as usize;
        let levels = &self.levels[at..at + 3];
        [levels[0], levels[1], levels[2]]
    }

    fn light(&self, levels: [u8; 3]) -> [f32; 3] {
        let light = |level: u8| self.linear[usize::from(level)];
        [light(levels[0]), light(levels[1]), light(levels[2])]
    }
}

/// Whether at least two channels of a pixel are burnt out.
fn is_burnt(levels: [u8; 3]) -> bool {
    let sum: u32 = levels.into_iter().map(u32::from).sum();
    // Asked first, for it settles nearly all of them.
    sum >= 2 * u32::from(CLIPPED_LEVEL)
        && levels
            .into_iter()
            .filter(|&level| level >= CLIPPED_LEVEL)
            .count()
            >= 2
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::flank::MarkedFlank;
    use crate::flank::pose::camera::Camera;
    use crate::flank::pose::gear_fit::GearFit;
    use crate::flank::pose::gear_form::{FlankKind, RingForm, SHAPE_NUMBERS};
    use crate::frames::FlankPoint;
    use crate::photo::linear_from_srgb;
    use crate::schema::{Corners, Hand};
    use nalgebra::{Rotation3, Vector3};
    use proptest::prelude::*;

    /// Red grows to the right, blue downwards; the flank lies upside down and mirrored. Light of the root
    /// at the toe and of the tip at the heel is that of the levels given.
    fn is_shown(size: u32, flank: (f64, f64, f64, f64), root_toe: [u8; 2], tip_heel: [u8; 2]) {
        let (left, top, right, low) = flank;
        let picture = image::RgbImage::from_fn(2 * size, size, |x, y| {
            image::Rgb([(x * 100 / size) as u8, 0, (y * 200 / size) as u8])
        });
        let photo = Photo::from_pixels("drawn", picture);
        let corner = |x, y| PhotoPoint::new(x, y);
        let outline = Outline::from_sides(&MarkedFlank {
            corners: Corners {
                toe_root: corner(right, top),
                toe_tip: corner(right, low),
                heel_tip: corner(left, low),
                heel_root: corner(left, top),
            },
            root: vec![],
            tip: vec![],
        });
        let (columns, rows) = MAP_SIZE;
        let map = FlankMap::new(&photo, &outline, MAP_SIZE);
        for (at, levels) in [([0, 0], root_toe), ([rows - 1, columns - 1], tip_heel)] {
            let near = |channel: usize, level: u8| {
                (map.light[at][channel] - linear_from_srgb(level)).abs() < 0.01
            };
            assert!(near(0, levels[0]) && near(2, levels[1]), "{at:?}");
        }
        assert!(map.unseen.iter().all(|unseen| !unseen));
        assert!(map.clipped.iter().all(|clipped| !clipped));
    }

    #[test]
    fn the_map_shows_the_flank_with_its_root_in_row_nought_and_its_toe_in_column_nought() {
        is_shown(200, (50.0, 40.0, 350.0, 160.0), [175, 40], [25, 159]);
    }

    #[test]
    fn a_flank_of_many_pixels_is_shown_alike() {
        is_shown(1000, (250.0, 200.0, 1750.0, 800.0), [175, 40], [25, 159]);
    }

    /// A pinhole camera before a ring gear, as a hand holds a phone: its distance in face widths, its turns in radians.
    fn seen_gear(distance: f64, turns: [f64; 3], teeth_on: f64, hand: Hand) -> GearFit {
        let (sine, cosine) = 0.7f64.sin_cos();
        GearFit {
            form: RingForm::USUAL,
            offsets: [0.0; SHAPE_NUMBERS],
            kind: FlankKind::facing(hand, -1.0),
            camera: Camera {
                rotation: Rotation3::new(Vector3::from(turns)).into_inner(),
                origin: Vector3::new(-3.0 * cosine, 3.0 * sine, distance),
                focal_px: 1200.0,
                centre: PhotoPoint::new(800.0, 600.0),
            },
            angles: vec![teeth_on],
            misfit: 0.0,
            other_hand_cost_ratio: 3.0,
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(40))]

        /// The camera says which places of the flank lie under a white spot in the photo; their middle must be that of the light
        /// in the map, and the outline's own place of it must be the camera's.
        #[test]
        fn a_spot_on_the_flank_goes_to_the_photo_and_comes_back(
            distance in 4.0..7.0_f64,
            turns in [2.0..2.6_f64, -0.1..0.5, -0.6..0.1],
            tooth in 0.3..1.0_f64,
            left in any::<bool>(),
            length in 0.15..0.85_f64,
            height in 0.2..0.8_f64,
        ) {
            let hand = if left { Hand::Left } else { Hand::Right };
            let gear = seen_gear(distance, turns, tooth, hand);
            let at = FlankPoint::new(length, height);
            let outline = Outline::from_map(0.3, FlankPoint::new(0.01, 0.01), |at| gear.place(0, at));
            let spot = gear.place(0, at);
            // A flank of some size, all of it in the picture.
            let (length_px, height_px) = outline.size_px();
            prop_assume!(outline.share_in_photo(1600, 1200) == 1.0);
            prop_assume!(length_px > 120.0 && height_px > 24.0);
            let radius_px = (height_px / 8.0).max(3.0);
            let near = |x: u32, y: u32| {
                let pixel = PhotoPoint::new(f64::from(x) + 0.5, f64::from(y) + 0.5);
                pixel.distance(spot) < radius_px
            };
            let (mut places, mut lengths, mut heights) = (0.0, 0.0, 0.0);
            for place in (0..400 * 200).map(|i| {
                let share = |n: i32, of: i32| (f64::from(n) + 0.5) / f64::from(of);
                FlankPoint::new(share(i % 400, 400), share(i / 400, 200))
            }) {
                if gear.place(0, place).distance(spot) < radius_px {
                    places += 1.0;
                    lengths += place.length;
                    heights += place.height;
                }
            }
            let under = FlankPoint::new(lengths / places, heights / places);
            let picture = image::RgbImage::from_fn(1600, 1200, |x, y| {
                image::Rgb([if near(x, y) { 255 } else { 0 }; 3])
            });
            let map = FlankMap::new(&Photo::from_pixels("drawn", picture), &outline, FINE_MAP_SIZE);
            let (mut sum, mut along, mut up) = (0.0, 0.0, 0.0);
            for ((row, column), light) in map.light.indexed_iter() {
                let light = f64::from(light[0]);
                sum += light;
                along += light * (column as f64 + 0.5) / FINE_MAP_SIZE.0 as f64;
                up += light * (row as f64 + 0.5) / FINE_MAP_SIZE.1 as f64;
            }
            prop_assert!(sum > 0.0);
            let back = FlankPoint::new(along / sum, up / sum);
            // The photo has whole pixels.
            prop_assert!((back.length - under.length).abs() < 0.006, "{back:?} for {under:?}");
            prop_assert!((back.height - under.height).abs() < 0.012, "{back:?} for {under:?}");
            prop_assert!(outline.place(at).distance(spot) < 0.1);
        }
    }
}
