//! Whether flanks can be read at all: sharpness, burnt-out light, darkness, measured on the
//! flattened flanks and not on the background.

use super::calibration::CALIBRATION;
use crate::flank::FlankMap;

/// Cells along the length that count as one where it is about edges, and rows of which one is asked where it is about
/// light: neighbours are much alike.
const TOGETHER: usize = 2;

/// How many of those, from two before on, brightness is averaged over before sharpness is measured: edges
/// run that way, a camera's noise does not, and on a flank out of focus it is all that is steep.
const ALONG: usize = 4;

/// What edges are seen in: the logarithm of the light, and this many times the shares of red and of blue in it.
/// Compound is often as light as the steel beside it, and shadows on a flank are soft however sharp the photo is.
const SHADES: usize = 3;
const COLOUR: f32 = CALIBRATION.sharpness.colour;

/// An edge that steep counts as it is, shades per row, a steeper one for more and a weaker one for less,
/// by this power: what is out of focus is weak as well, and noise all that is left of it.
const STEEP: f32 = CALIBRATION.sharpness.steep;
const STEEPNESS: f32 = CALIBRATION.sharpness.steepness_power;

/// Linear light that is hardly more than none: what is darker tells neither light nor colour.
const FAINT: f32 = CALIBRATION.sharpness.faint;

/// Edges this near to what is burnt out or unseen do not count, rows.
const MUTE: usize = 2;

/// Linear light from which a colour of a cell counts as burnt out: level 247 of 255.
const BURNT: f32 = CALIBRATION.light.burnt;

/// How many rows to each side the running means reach when little is smoothed away, and when much is. Even the
/// lesser leaves nothing finer than a pixel of a flank that is 15 pixels high, so that a smaller copy of a
/// photo is about as sharp.
const REACHES: [usize; 2] = CALIBRATION.sharpness.reaches;

/// Measures of the flanks of one photo.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Quality {
    /// Steepness of the steepest edges over that of the same edges smoothed, weighed by how steep they are, median
    /// over the flanks: 2.6 and more when sharp beyond question, 1.9 and less when out of focus or shaken.
    pub sharpness: f64,
    /// How sharp the picture is about the flanks, 1 … 4, where their own edges do not tell.
    pub surroundings: Option<f64>,
    /// Share of the cells seen that are burnt out, in one colour at least: what is left of their colour is false.
    pub burnt_share: f64,
    /// Linear light 0 … 1 in its strongest colour that the darkest fifth of the cells stays below: steel, beside compound
    /// that may be burnt out in its own colour and still plain.
    pub darkest_fifth: f64,
    /// Linear light 0 … 1 that the brightest tenth of the cells exceeds: compound, where steel is black.
    pub brightness: f64,
}

/// Measures the flattened flanks; `None` for none.
pub(crate) fn quality(maps: &[FlankMap]) -> Option<Quality> {
    if maps.is_empty() {
        return None;
    }
    let (mut lights, mut strongest) = (Vec::new(), Vec::new());
    for map in maps {
        for row in (0..map.light.nrows()).step_by(TOGETHER) {
            let cells = map.light.row(row).into_iter().zip(map.unseen.row(row));
            for (light, _) in cells.filter(|(_, unseen)| !**unseen) {
                lights.push(luminance(light));
                strongest.push(light[0].max(light[1]).max(light[2]));
            }
        }
    }
    let burnt = strongest.iter().filter(|&&light| light > BURNT).count();
    let mut sharpness: Vec<f32> = maps.iter().filter_map(sharpness).collect();
    Some(Quality {
        sharpness: f64::from(ranked(&mut sharpness, 0.5).unwrap_or(0.0)),
        surroundings: None,
        burnt_share: burnt as f64 / strongest.len().max(1) as f64,
        darkest_fifth: f64::from(ranked(&mut strongest, 0.2).unwrap_or(0.0)),
        brightness: f64::from(ranked(&mut lights, 0.9).unwrap_or(0.0)),
    })
}

/// Luminance of linear sRGB (Rec. ITU-R BT.709).
pub(super) fn luminance(light: &[f32; 3]) -> f32 {
    0.2126 * light[0] + 0.7152 * light[1] + 0.0722 * light[2]
}

/// How steep the steepest edges across the height are when little is smoothed away, against when
/// much is. A sharp edge loses steepness in proportion to the smoothing, one that is out of focus
/// hardly any, and is not steep at all. Streaks and patch edges run lengthwise, so that every painted flank has such
/// edges.
fn sharpness(map: &FlankMap) -> Option<f32> {
    let columns = map.light.ncols().div_ceil(TOGETHER);
    let wide = SHADES * columns;
    let (mut shades, mut mute_cells) = (vec![0.0; wide * map.light.nrows()], Vec::new());
    for (row, shades) in shades.chunks_exact_mut(wide).enumerate() {
        let lights: Vec<&[f32; 3]> = map.light.row(row).into_iter().collect();
        for (column, lights) in lights.chunks(TOGETHER).enumerate() {
            for (kind, shade) in shades_of(lights).into_iter().enumerate() {
                shades[kind * columns + column] = shade;
            }
        }
        let clipped = map.clipped.row(row);
        let mute: Vec<bool> = (clipped.iter().zip(map.unseen.row(row)))
            .map(|(clipped, unseen)| clipped | unseen)
            .collect();
        let any = mute.chunks(TOGETHER).map(|cells| cells.contains(&true));
        mute_cells.extend(any.map(|any| f32::from(u8::from(any))));
    }
    let near = means_along(&mute_cells, columns, ALONG / 2);
    let mut mute = near.clone();
    running_mean(&mut mute, &near, columns, MUTE);
    let mut quiet = means_along(&shades, columns, ALONG);
    fill(&mut quiet, &mute, columns);
    let steepest = |reach: usize| -> Option<f32> {
        let (mut smooth, mut before) = (quiet.clone(), quiet.clone());
        // Three running means come near a bell curve (central limit theorem).
        for _ in 0..3 {
            before.copy_from_slice(&smooth);
            running_mean(&mut smooth, &before, wide, reach);
        }
        let square = |at: usize| (smooth[at] - smooth[at - wide]).powi(2);
        let mut steps: Vec<f32> = (columns..mute.len())
            .filter(|&cell| mute[cell] == 0.0)
            .map(|cell| {
                let first = cell / columns * wide + cell % columns;
                let kinds = (first..).step_by(columns).take(SHADES);
                kinds.map(square).sum()
            })
            .collect();
        let at = steps.len().checked_sub(1)? * 99 / 100;
        Some(steps.select_nth_unstable_by(at, f32::total_cmp).1.sqrt())
    };
    let [little, much] = REACHES;
    let edge = steepest(little)?;
    Some(edge / steepest(much)?.max(1e-4) * (edge / STEEP).powf(STEEPNESS))
}

/// The shades of the mean of some light.
fn shades_of(lights: &[&[f32; 3]]) -> [f32; SHADES] {
    let sum = |channel: usize| lights.iter().map(|light| light[channel]).sum::<f32>();
    let mean = [0, 1, 2].map(|channel| sum(channel) / lights.len() as f32);
    let all = mean.iter().sum::<f32>() + 3.0 * FAINT;
    [
        (luminance(&mean) + FAINT).ln(),
        COLOUR * mean[0] / all,
        COLOUR * mean[2] / all,
    ]
}

/// Gives mute cells what the nearest cell of their column that is not has, shade by shade: else a dark tooth in
/// front, smoothed much, would reach beyond the mute cells, and smoothed little not.
fn fill(shades: &mut [f32], mute: &[f32], columns: usize) {
    let wide = SHADES * columns;
    for column in 0..wide {
        let is_mute = |row: usize| mute[row * columns + column % columns] != 0.0;
        if !(0..mute.len() / columns).any(is_mute) {
            continue;
        }
        let column = (column..shades.len()).step_by(wide);
        let audible: Vec<(usize, f32)> = (column.clone().enumerate())
            .filter(|&(row, _)| !is_mute(row))
            .map(|(row, at)| (row, shades[at]))
            .collect();
        let mut nearest = audible.iter().peekable();
        let Some(mut near) = nearest.next() else {
            continue;
        };
        for (row, at) in column.enumerate() {
            while let Some(next) =
                nearest.next_if(|next| next.0.abs_diff(row) <= near.0.abs_diff(row))
            {
                near = next;
            }
            shades[at] = near.1;
        }
    }
}

/// Of each number of a row of `columns`, the mean of `count` of them, from half as many before it on, cut
/// at the ends.
fn means_along(numbers: &[f32], columns: usize, count: usize) -> Vec<f32> {
    let mut means = Vec::with_capacity(numbers.len());
    for row in numbers.chunks_exact(columns) {
        for column in 0..columns {
            let from = column.saturating_sub(count / 2);
            let near = &row[from..(column + count - count / 2).min(columns)];
            means.push(near.iter().sum::<f32>() / near.len() as f32);
        }
    }
    means
}

/// The mean of each of a row of items, of `size` numbers each, and those within `reach` of it, cut at
/// the ends.
fn running_mean(means: &mut [f32], items: &[f32], size: usize, reach: usize) {
    means.fill(0.0);
    let (count, reach) = (items.len() / size, reach.min(items.len() / size));
    // The neighbours in order, each added to all items at once.
    for back in (1..=reach).rev() {
        add(&mut means[back * size..], items);
    }
    for ahead in 0..=reach {
        add(means, &items[ahead * size..]);
    }
    for (i, item) in means.chunks_exact_mut(size).enumerate() {
        let near = (i + reach + 1).min(count) - i.saturating_sub(reach);
        for value in item {
            *value /= near as f32;
        }
    }
}

fn add(sums: &mut [f32], values: &[f32]) {
    for (sum, value) in sums.iter_mut().zip(values) {
        *sum += value;
    }
}

/// The value that this share of all values lies below; of none there is none.
pub(super) fn ranked(values: &mut [f32], share: f64) -> Option<f32> {
    let at = (values.len().checked_sub(1)? as f64 * share) as usize;
    Some(*values.select_nth_unstable_by(at, f32::total_cmp).1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::flank::rectify::MAP_SIZE;
    use ndarray::{Array2, s};

    /// A flank dark at the root and light at the tip, the edge between them `soft` of its height wide.
    fn edged(soft: f32) -> FlankMap {
        let (columns, rows) = MAP_SIZE;
        let size = (rows, columns);
        FlankMap {
            light: Array2::from_shape_fn(size, |(row, _)| {
                let from_edge = (row as f32 + 0.5) / rows as f32 - 0.4;
                [0.05 + 0.4 / (1.0 + (-4.0 * from_edge / soft).exp()); 3]
            }),
            clipped: Array2::from_elem(size, false),
            unseen: Array2::from_elem(size, false),
        }
    }

    #[test]
    fn sharp_edges_measure_higher_than_soft_ones() {
        let sharp = quality(&[edged(0.01)]).unwrap();
        let soft = quality(&[edged(0.3)]).unwrap();
        assert!(sharp.sharpness > 2.5, "{sharp:?}");
        assert!(soft.sharpness < 1.7, "{soft:?}");
        assert!(sharp.burnt_share == 0.0 && sharp.brightness > 0.3);
    }

    /// The flank as a camera in poor light has it: every cell up to a fifth lighter or darker.
    fn grainy(mut map: FlankMap) -> FlankMap {
        for ((row, column), light) in map.light.indexed_iter_mut() {
            let mut grain =
                (row as u32).wrapping_mul(73_856_093) ^ (column as u32).wrapping_mul(19_349_663);
            for factor in [2_654_435_761_u32, 2_246_822_519] {
                grain = grain.wrapping_mul(factor);
                grain ^= grain >> 15;
            }
            let share = grain as f32 / u32::MAX as f32;
            *light = light.map(|channel| channel * (0.8 + 0.4 * share));
        }
        map
    }

    /// As many photos show it: red compound no lighter than the steel, under a shadow at the root.
    #[test]
    fn edges_of_colour_alone_are_edges() {
        let coloured = |soft: f32| {
            let mut map = edged(0.5);
            for ((row, _), light) in map.light.indexed_iter_mut() {
                let from_edge = (row as f32 + 0.5) / MAP_SIZE.1 as f32 - 0.6;
                let red = 1.0 / (1.0 + (-4.0 * from_edge / soft).exp());
                // Of the same luminance as the steel.
                *light =
                    [1.0 + 1.5 * red, 1.0 - 0.43 * red, 1.0 - 0.16 * red].map(|c| c * light[1]);
            }
            quality(&[map]).unwrap().sharpness
        };
        let (sharp, soft) = (coloured(0.01), coloured(0.5));
        assert!(sharp > 2.5 && soft < 1.7, "{sharp} {soft}");
    }

    #[test]
    fn black_steel_under_a_little_compound_is_not_dark() {
        let mut map = edged(0.01);
        map.light.fill([0.004; 3]);
        assert!(quality(&[map.clone()]).unwrap().brightness < 0.01);
        let rows = map.light.nrows() / 6;
        map.light.slice_mut(s![..rows, ..]).fill([0.3; 3]);
        assert!(quality(&[map]).unwrap().brightness > 0.29);
    }

    #[test]
    fn grain_is_no_sharpness() {
        let sharp = quality(&[grainy(edged(0.01))]).unwrap();
        let soft = quality(&[grainy(edged(0.6))]).unwrap();
        assert!(sharp.sharpness > 2.5, "{sharp:?}");
        assert!(soft.sharpness < 1.7, "{soft:?}");
    }

    /// The tooth in front is dark and covers the flank up to an edge that is sharp whatever the flank is.
    #[test]
    fn a_tooth_in_front_tells_nothing_of_sharpness() {
        for soft in [0.01, 0.3] {
            let bare = edged(soft);
            let mut covered = bare.clone();
            let rows = covered.light.nrows() / 6;
            covered.light.slice_mut(s![..rows, ..]).fill([0.002; 3]);
            covered.unseen.slice_mut(s![..rows, ..]).fill(true);
            let [bare, covered] = [bare, covered].map(|map| quality(&[map]).unwrap().sharpness);
            assert!((bare - covered).abs() < 0.2 * bare, "{bare} {covered}");
        }
    }

    #[test]
    fn mute_cells_have_what_is_nearest() {
        let mut shades = [1.0, 7.0, 8.0, 0.0, 0.0, 0.0, 2.0, 6.0, 5.0, 0.0, 0.0, 0.0];
        fill(&mut shades, &[0.0, 1.0, 0.0, 1.0], 1);
        let filled = [1.0, 7.0, 8.0, 2.0, 6.0, 5.0, 2.0, 6.0, 5.0, 2.0, 6.0, 5.0];
        assert_eq!(shades, filled);
        fill(&mut shades, &[1.0; 4], 1);
        assert_eq!(shades, filled);
        let mut beside = [1.0, 2.0, 1.5, 2.5, 1.7, 2.7, 0.0, 4.0, 0.0, 4.5, 0.0, 4.7];
        fill(&mut beside, &[0.0, 0.0, 1.0, 0.0], 2);
        assert_eq!(
            beside,
            [1.0, 2.0, 1.5, 2.5, 1.7, 2.7, 1.0, 4.0, 1.5, 4.5, 1.7, 4.7]
        );
    }

    #[test]
    fn means_are_those_of_the_neighbours_there_are() {
        let items: Vec<f32> = (0..26).map(|i| (i * i % 11) as f32).collect();
        for (size, reach) in [(1, 2), (2, 3), (13, 0), (2, 40)] {
            let mut means = vec![f32::NAN; items.len()];
            running_mean(&mut means, &items, size, reach);
            let count = items.len() / size;
            for (at, mean) in means.iter().enumerate() {
                let near = (at / size).saturating_sub(reach)..(at / size + reach + 1).min(count);
                let sum: f32 = near.clone().map(|i| items[i * size + at % size]).sum();
                assert!((mean - sum / near.len() as f32).abs() < 1e-5);
            }
        }
    }

    #[test]
    fn cells_with_a_burnt_colour_are_counted_where_they_are_seen() {
        let mut red = edged(0.01);
        red.light.fill([0.96, 0.3, 0.3]);
        let third = quality(&[edged(0.01), edged(0.01), red.clone()]).unwrap();
        assert!((third.burnt_share - 1.0 / 3.0).abs() < 1e-9);
        // The other flanks are dark at the root.
        assert!(third.darkest_fifth < 0.1);
        assert!((quality(&[red.clone()]).unwrap().darkest_fifth - 0.96).abs() < 1e-6);
        red.unseen.fill(true);
        assert_eq!(quality(&[edged(0.01), red]).unwrap().burnt_share, 0.0);
        assert!(quality(&[]).is_none());
    }

    #[test]
    fn means_along_a_row_are_of_those_near() {
        let row = [0.0, 6.0, 3.0, 9.0];
        assert_eq!(means_along(&row, 4, 2), [0.0, 3.0, 4.5, 6.0]);
    }
}
