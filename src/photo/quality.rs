//! Whether flanks can be read at all: sharpness, burnt-out light, darkness, measured on the
//! flattened flanks and not on the background.

use crate::flank::FlankMap;
use ndarray::Array2;

/// Measures of the flanks of one photo.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quality {
    /// Contrast of the finest detail over that of the coarse, median over the flanks; near 0 when
    /// out of focus or shaken.
    pub sharpness: f64,
    /// Share of all cells that are burnt out.
    pub burnt_share: f64,
    /// Median brightness, linear light 0 … 1.
    pub brightness: f64,
}

/// Measures the flattened flanks; `None` for none.
pub fn quality(maps: &[FlankMap]) -> Option<Quality> {
    if maps.is_empty() {
        return None;
    }
    let mut lights = Vec::new();
    let (mut burnt, mut cells) = (0usize, 0usize);
    for map in maps {
        for ((light, &clipped), &unseen) in map.light.iter().zip(&map.clipped).zip(&map.unseen) {
            if !unseen {
                cells += 1;
                burnt += usize::from(clipped);
                lights.push(luminance(light));
            }
        }
    }
    let mut sharpness: Vec<f32> = maps.iter().filter_map(sharpness).collect();
    Some(Quality {
        sharpness: f64::from(middle(&mut sharpness).unwrap_or(0.0)),
        burnt_share: burnt as f64 / cells.max(1) as f64,
        brightness: f64::from(middle(&mut lights).unwrap_or(0.0)),
    })
}

/// Luminance of linear sRGB (Rec. ITU-R BT.709).
fn luminance(light: &[f32; 3]) -> f32 {
    0.2126 * light[0] + 0.7152 * light[1] + 0.0722 * light[2]
}

/// Mean steepness over two cells against that over sixteen, both along the length, in log light:
/// an edge that is sharp is as high over two cells as over sixteen, one out of focus an eighth.
fn sharpness(map: &FlankMap) -> Option<f32> {
    let logs = map.light.mapv(|light| (luminance(&light) + 0.004).ln());
    let logs = rows_averaged(&logs);
    let (mut fine, mut coarse) = (Vec::new(), Vec::new());
    let (rows, columns) = logs.dim();
    for row in 0..rows {
        for column in 8..columns - 8 {
            if map.clipped[[row, column]] || map.unseen[[row, column]] {
                continue;
            }
            fine.push((logs[[row, column + 1]] - logs[[row, column - 1]]).abs());
            coarse.push((logs[[row, column + 8]] - logs[[row, column - 8]]).abs());
        }
    }
    let strongest = |values: &mut Vec<f32>| -> Option<f32> {
        let at = values.len().checked_sub(1)? * 97 / 100;
        Some(*values.select_nth_unstable_by(at, f32::total_cmp).1)
    };
    Some(strongest(&mut fine)? / strongest(&mut coarse)?.max(1e-3))
}

/// Each cell the mean of three rows: keeps edges across the length and quiets noise.
fn rows_averaged(values: &Array2<f32>) -> Array2<f32> {
    let rows = values.nrows();
    Array2::from_shape_fn(values.dim(), |(row, column)| {
        let (from, to) = (row.saturating_sub(1), (row + 2).min(rows));
        (from..to).map(|r| values[[r, column]]).sum::<f32>() / (to - from) as f32
    })
}

fn middle(values: &mut [f32]) -> Option<f32> {
    let at = values.len().checked_sub(1)? / 2;
    Some(*values.select_nth_unstable_by(at, f32::total_cmp).1)
}
