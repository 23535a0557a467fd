//! A flank flattened to a small map of length × height.

use super::Outline;
use super::outline::{Line, LinePlace};
use crate::frames::PhotoPoint;
use crate::photo::{Photo, linear_of_levels};
use ndarray::Array2;

/// Columns of a map (toe to heel) and rows (root to tip).
pub const MAP_SIZE: (usize, usize) = (256, 96);

/// From so many places in a cell on, each counts as the pixel it lies on: their mean is as smooth.
const MANY: usize = 4;

/// Level at which a colour channel counts as burnt out.
const CLIPPED_LEVEL: u8 = 250;

/// One flank, flattened: index `[row, column]`, row 0 at the root, column 0 at the toe.
#[derive(Debug, Clone)]
pub struct FlankMap {
    /// Linear light 0 … 1: red, green, blue.
    pub light: Array2<[f32; 3]>,
    /// Cells with at least two channels burnt out.
    pub clipped: Array2<bool>,
    /// Cells outside the photo or hidden by something in front.
    pub unseen: Array2<bool>,
    /// Depth over length of the flank at its true proportions.
    pub proportion: f64,
}

impl FlankMap {
    /// Flattens the flank that `outline` says. Where the photo is finer than the map, a cell is
    /// the mean over the pixels it covers.
    pub fn new(photo: &Photo, outline: &Outline) -> Self {
        let (columns, rows) = MAP_SIZE;
        let (length_px, height_px) = outline.size_px();
        let fine = |px: f64, cells: usize| {
            ((px * photo.scale / cells as f64).round() as usize).clamp(1, 4)
        };
        let (across, up) = (fine(length_px, columns), fine(height_px, rows));
        let mut map = Self {
            light: Array2::from_elem((rows, columns), [0.0; 3]),
            clipped: Array2::from_elem((rows, columns), false),
            unseen: Array2::from_elem((rows, columns), false),
            proportion: outline.proportion,
        };
        let look = Look {
            linear: linear_of_levels(),
            levels: photo.working.as_raw(),
            size: photo.working.dimensions(),
        };
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
            let mut hidden = outline.hidden_along(height(0.5), &middles);
            for (column, places) in places.chunks_exact(across).enumerate() {
                let mut seen = Seen::default();
                for line in &lines {
                    for &place in places {
                        if samples < MANY {
                            look.add(line.at(place), &mut seen);
                        } else {
                            look.add_pixel(line.at(place), &mut seen);
                        }
                    }
                }
                let cell = [row, column];
                map.light[cell] = seen.light.map(|total| total / samples as f32);
                map.clipped[cell] = 2 * seen.burnt > samples;
                map.unseen[cell] = seen.outside | hidden.next().unwrap_or(false);
            }
        }
        map
    }
}

/// What is seen at some places together.
#[derive(Debug, Clone, Copy, Default)]
struct Seen {
    /// Sums of the linear light.
    light: [f32; 3],
    /// How many are burnt out.
    burnt: usize,
    /// Whether any lies outside the photo.
    outside: bool,
}

/// The working copy of a photo as it is looked at place by place.
struct Look<'a> {
    linear: &'static [f32; 256],
    levels: &'a [u8],
    size: (u32, u32),
}

impl Look<'_> {
    /// Adds the pixel at a point (pixel corners at whole numbers), or the nearest one there is.
    fn add_pixel(&self, place: PhotoPoint, seen: &mut Seen) {
        let (width, height) = self.size;
        seen.outside |= !self.holds(place);
        // What is no number or below nought becomes nought.
        let pixel = |value: f64, size: u32| (value as u32).min(size - 1) as usize;
        let levels = self.pixel(pixel(place.x, width), pixel(place.y, height));
        for (sum, light) in seen.light.iter_mut().zip(self.light(levels)) {
            *sum += light;
        }
        seen.burnt += usize::from(is_burnt(levels));
    }

    /// Adds what is seen at a point (pixel corners at whole numbers): straight lines between
    /// pixels, burnt out where one of those with a quarter of the weight is.
    fn add(&self, place: PhotoPoint, seen: &mut Seen) {
        let (width, height) = self.size;
        seen.outside |= !self.holds(place);
        let between = |value: f64, size: u32| {
            let last = size - 1;
            // What is no number becomes nought.
            let value = (value - 0.5).max(0.0).min(f64::from(last));
            let whole = value as u32;
            let next = (whole + 1).min(last);
            let share = (value - f64::from(whole)) as f32;
            (whole as usize, next as usize, share)
        };
        let (left, right, x) = between(place.x, width);
        let (top, low, y) = between(place.y, height);
        let corners = [(left, top), (right, top), (left, low), (right, low)];
        let levels = corners.map(|(x, y)| self.pixel(x, y));
        let [a, b, c, d] = levels.map(|levels| self.light(levels));
        for (channel, sum) in seen.light.iter_mut().enumerate() {
            let above = a[channel] + x * (b[channel] - a[channel]);
            let below = c[channel] + x * (d[channel] - c[channel]);
            *sum += above + y * (below - above);
        }
        let (left, top) = (1.0 - x, 1.0 - y);
        let weights = [left * top, x * top, left * y, x * y];
        let burnt = |burnt, (levels, weight)| burnt | (is_burnt(levels) & (weight >= 0.25));
        seen.burnt += usize::from(levels.into_iter().zip(weights).fold(false, burnt));
    }

    fn holds(&self, place: PhotoPoint) -> bool {
        (0.0..=f64::from(self.size.0)).contains(&place.x)
            && (0.0..=f64::from(self.size.1)).contains(&place.y)
    }

    /// Levels of a pixel.
    fn pixel(&self, x: usize, y: usize) -> [u8; 3] {
        let at = 3 * (y * self.size.0 as usize + x);
        let levels = &self.levels[at..at + 3];
        [levels[0], levels[1], levels[2]]
    }

    fn light(&self, levels: [u8; 3]) -> [f32; 3] {
        levels.map(|level| self.linear[usize::from(level)])
    }
}

/// Whether at least two channels of a pixel are burnt out.
fn is_burnt(levels: [u8; 3]) -> bool {
    let [red, green, blue] = levels.map(|level| level >= CLIPPED_LEVEL);
    (red & green) | (red & blue) | (green & blue)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::flank::MarkedFlank;
    use crate::photo::linear_from_srgb;
    use crate::reading::Corners;

    /// Red grows to the right, blue downwards; the flank lies upside down and mirrored. Light of the root
    /// at the toe and of the tip at the heel is that of the levels given.
    fn shown(size: u32, flank: (f64, f64, f64, f64), root_toe: [u8; 2], tip_heel: [u8; 2]) {
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
        let map = FlankMap::new(&photo, &outline);
        for (at, levels) in [([0, 0], root_toe), ([95, 255], tip_heel)] {
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
        shown(200, (50.0, 40.0, 350.0, 160.0), [175, 40], [25, 159]);
    }

    #[test]
    fn a_flank_of_many_pixels_is_shown_alike() {
        shown(1000, (250.0, 200.0, 1750.0, 800.0), [175, 40], [25, 159]);
    }
}
