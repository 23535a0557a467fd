//! A flank flattened to a small map of length × height.

use super::Outline;
use crate::frames::FlankPoint;
use crate::photo::{Photo, linear_from_srgb};
use ndarray::Array2;

/// Columns of a map (toe to heel) and rows (root to tip).
pub const MAP_SIZE: (usize, usize) = (256, 96);

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
        for row in 0..rows {
            for column in 0..columns {
                let mut sum = [0.0f32; 3];
                let mut burnt = 0;
                let mut outside = false;
                for i in 0..across * up {
                    let at = FlankPoint::new(
                        (column as f64 + ((i % across) as f64 + 0.5) / across as f64)
                            / columns as f64,
                        (row as f64 + ((i / across) as f64 + 0.5) / up as f64) / rows as f64,
                    );
                    let place = outline.place(at).scaled(photo.scale);
                    let (light, clipped, inside) = sample(photo, place.x, place.y);
                    for (total, part) in sum.iter_mut().zip(light) {
                        *total += part;
                    }
                    burnt += usize::from(clipped);
                    outside |= !inside;
                }
                let samples = (across * up) as f32;
                map.light[[row, column]] = sum.map(|total| total / samples);
                map.clipped[[row, column]] = 2 * burnt > across * up;
                map.unseen[[row, column]] = outside
                    || outline.is_hidden(FlankPoint::new(
                        (column as f64 + 0.5) / columns as f64,
                        (row as f64 + 0.5) / rows as f64,
                    ));
            }
        }
        map
    }
}

/// Linear light at a point of the working copy (pixel corners at whole numbers), whether it is
/// burnt out, and whether it lies in the photo at all.
fn sample(photo: &Photo, x: f64, y: f64) -> ([f32; 3], bool, bool) {
    let (width, height) = photo.working.dimensions();
    let inside = x >= 0.0 && y >= 0.0 && x <= f64::from(width) && y <= f64::from(height);
    let clamp = |value: f64, size: u32| {
        if value.is_finite() {
            (value - 0.5).clamp(0.0, f64::from(size - 1))
        } else {
            0.0
        }
    };
    let (x, y) = (clamp(x, width), clamp(y, height));
    let (left, top) = (x as u32, y as u32);
    let (right, low) = ((left + 1).min(width - 1), (top + 1).min(height - 1));
    let (fx, fy) = ((x - f64::from(left)) as f32, (y - f64::from(top)) as f32);
    let mut light = [0.0; 3];
    let mut burnt = 0;
    for (px, py, weight) in [
        (left, top, (1.0 - fx) * (1.0 - fy)),
        (right, top, fx * (1.0 - fy)),
        (left, low, (1.0 - fx) * fy),
        (right, low, fx * fy),
    ] {
        let levels = photo.working.get_pixel(px, py).0;
        for (sum, level) in light.iter_mut().zip(levels) {
            *sum += weight * linear_from_srgb(level);
        }
        if weight >= 0.25 || (fx == 0.0 && fy == 0.0) {
            burnt = burnt.max(levels.iter().filter(|&&l| l >= CLIPPED_LEVEL).count());
        }
    }
    (light, burnt >= 2, inside)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::flank::MarkedFlank;
    use crate::frames::PhotoPoint;
    use crate::reading::Corners;

    #[test]
    fn the_map_shows_the_flank_with_its_root_in_row_nought_and_its_toe_in_column_nought() {
        // Red grows to the right, blue downwards; the flank lies upside down and mirrored.
        let picture =
            image::RgbImage::from_fn(400, 200, |x, y| image::Rgb([(x / 2) as u8, 0, y as u8]));
        let photo = Photo::from_pixels("drawn", picture);
        let corner = |x, y| PhotoPoint::new(x, y);
        let outline = Outline::from_sides(&MarkedFlank {
            corners: Corners {
                toe_root: corner(350.0, 40.0),
                toe_tip: corner(350.0, 160.0),
                heel_tip: corner(50.0, 160.0),
                heel_root: corner(50.0, 40.0),
            },
            root: vec![],
            tip: vec![],
        });
        let map = FlankMap::new(&photo, &outline);
        let near = |value: f32, level: u8| (value - linear_from_srgb(level)).abs() < 0.01;
        assert!(near(map.light[[0, 0]][0], 175) && near(map.light[[0, 0]][2], 40));
        assert!(near(map.light[[95, 255]][0], 25) && near(map.light[[95, 255]][2], 159));
        assert!(map.unseen.iter().all(|unseen| !unseen));
    }
}
