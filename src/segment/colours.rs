//! Which cells of the flanks are like the ground that surrounds the patch, by the photo's own
//! colours: compound round a wiped patch, steel round a transferred one.

use super::field::{Field, median, share};
use super::lda::{otsu, two_kinds};
use super::morphology::{Mask, box_mean};
use crate::flank::FlankMap;
use crate::reading::Polarity;
use nalgebra::{Matrix3, Vector3};
use ndarray::Array2;

/// Added to linear light before its logarithm, so that noise in the dark does not count.
pub(super) const DARK: f32 = 0.004;

/// Saturation from which a light is compound's.
const COMPOUND_SATURATION: f64 = 0.75;

/// The flanks of one photo with ground and rest told apart.
#[derive(Debug, Clone)]
pub struct Colours {
    /// One for each flank map.
    pub flanks: Vec<FlankColours>,
    /// How contact shows: as given, else by the colours.
    pub polarity: Polarity,
    /// How sure the polarity is, 0 … 1; 1 when given.
    pub polarity_sure: f64,
    /// Typical linear light of the compound: red, green, blue.
    pub compound: [f64; 3],
    /// Typical linear light of the steel.
    pub steel: [f64; 3],
    /// Distance at which a cell no longer counts as ground, in spreads of the ground's colour.
    pub limit: f64,
    /// How clearly the cells fall into two kinds: share of the variance of the (log) distances
    /// that lies between the kinds. A wiped patch gives 0.7 and more, shading alone 0.65 and less.
    pub separation: f64,
}

/// One flank with ground and rest told apart.
#[derive(Debug, Clone)]
pub struct FlankColours {
    /// Smoothed light over the ground's own light at the same place; 1 on plain ground.
    pub relative: Array2<[f32; 3]>,
    /// Distance from the ground's colour, in spreads of it.
    pub distance: Array2<f32>,
    /// Cells like the ground.
    pub ground: Mask,
    /// Cells that say nothing: burnt out, hidden, outside the photo.
    pub mute: Mask,
}

/// Tells ground from rest on all flanks of a photo together, starting from where contact is likely
/// (0 … 1 for each cell of each flank) if that is known. `None` when too little is visible.
pub fn separate(
    maps: &[FlankMap],
    polarity: Option<Polarity>,
    likely: Option<&[Array2<f32>]>,
) -> Option<Colours> {
    let mutes: Vec<Mask> = maps
        .iter()
        .map(|map| {
            ndarray::Zip::from(&map.clipped)
                .and(&map.unseen)
                .map_collect(|&a, &b| a || b)
        })
        .collect();
    let kinds = match likely {
        Some(likely) => likely.iter().map(|l| l.mapv(|l| l < 0.5)).collect(),
        None => first_kinds(maps, &mutes)?,
    };
    let (first_true, first_false) = (
        mean_light(maps, &mutes, &kinds, true),
        mean_light(maps, &mutes, &kinds, false),
    );
    // The compound is the more colourful of the two kinds; of two greys, the brighter.
    let apart = compound_likeness(first_true) - compound_likeness(first_false);
    let border = match likely {
        Some(_) => 1.0,
        None => border_share(&kinds, &mutes),
    };
    let ground_is_true = border > 0.5;
    let ground_light = if ground_is_true {
        first_true
    } else {
        first_false
    };
    // Steel is never as colourful as this, whatever it mirrors: the ground itself is compound.
    let coloured_ground = saturation(ground_light) > COMPOUND_SATURATION;
    let compound_is_true = if coloured_ground {
        ground_is_true
    } else {
        apart > 0.0
    };
    let seen = if ground_is_true == compound_is_true {
        Polarity::Wiped
    } else {
        Polarity::Transferred
    };
    let polarity_sure = if polarity.is_some() || coloured_ground {
        1.0
    } else {
        (apart.abs() / 0.15).min(1.0) * (4.0 * (border - 0.5).abs()).min(1.0)
    };
    let polarity = polarity.unwrap_or(seen);
    // Which cells are ground is not asked when it is known where contact is.
    let ground_is_true = likely.is_some() || (polarity == Polarity::Wiped) == compound_is_true;
    let mut grounds: Vec<Mask> = kinds
        .into_iter()
        .map(|kind| kind.mapv(|side| side == ground_is_true))
        .collect();
    let logs: Vec<Array2<[f32; 3]>> = maps
        .iter()
        .map(|map| box_mean(&map.light.mapv(|rgb| rgb.map(|l| (l + DARK).ln())), 1, 2))
        .collect();
    let mut fields = Vec::new();
    let mut distances = Vec::new();
    let mut limit = 3.0;
    let mut separation = 0.0;
    for _ in 0..4 {
        fields = ground_fields(&logs, &grounds, &mutes);
        (distances, limit, separation) = ground_distances(&logs, &fields, &grounds, &mutes)?;
        grounds = distances
            .iter()
            .map(|distance: &Array2<f32>| distance.mapv(|d| f64::from(d) < limit))
            .collect();
    }
    let (ground, rest) = (
        mean_light(maps, &mutes, &grounds, true),
        mean_light(maps, &mutes, &grounds, false),
    );
    let (compound, steel) = match polarity {
        Polarity::Wiped => (ground, rest),
        Polarity::Transferred => (rest, ground),
    };
    let flanks = logs
        .into_iter()
        .zip(fields)
        .zip(distances.into_iter().zip(grounds).zip(mutes))
        .map(|((log, field), ((distance, ground), mute))| FlankColours {
            relative: relative_light(&log, &field),
            distance,
            ground,
            mute,
        })
        .collect();
    Some(Colours {
        flanks,
        polarity,
        polarity_sure,
        compound,
        steel,
        limit,
        separation,
    })
}

/// Every so-manieth cell of a map: enough for medians and shares.
fn sampled((rows, columns): (usize, usize), every: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..rows * columns)
        .step_by(every)
        .map(move |i| (i / columns, i % columns))
}

/// The maps with all differences of brightness taken out: gloss and shade, which add or take
/// white light, change a colour's shares less than they change its brightness.
pub fn without_brightness(maps: &[FlankMap]) -> Vec<FlankMap> {
    maps.iter()
        .map(|map| FlankMap {
            light: box_mean(&map.light, 1, 3).mapv(|light| {
                let sum: f32 = light.iter().sum::<f32>() + 3.0 * DARK;
                light.map(|level| (level + DARK) / sum)
            }),
            ..map.clone()
        })
        .collect()
}

/// Log brightness and the shares of red and blue.
fn features(light: [f32; 3]) -> [f64; 3] {
    let [r, g, b] = light.map(f64::from);
    // Luminance of linear sRGB (Rec. ITU-R BT.709).
    let bright = 0.2126 * r + 0.7152 * g + 0.0722 * b;
    let sum = r + g + b + 0.006;
    [(bright + f64::from(DARK)).ln(), r / sum, b / sum]
}

/// A first division of all cells into two kinds, by the cut that separates them best. Brightness
/// counts against each flank's own middle, for flanks turn differently to the light.
fn first_kinds(maps: &[FlankMap], mutes: &[Mask]) -> Option<Vec<Mask>> {
    let mut cells = Vec::new();
    let mut middles = Vec::new();
    for (map, mute) in maps.iter().zip(mutes) {
        let first = cells.len();
        for ((at, &light), &mute) in map.light.indexed_iter().zip(mute) {
            if at.0 % 3 == 0 && at.1 % 3 == 0 && !mute {
                cells.push(features(light));
            }
        }
        let middle = median(cells[first..].iter().map(|cell| cell[0]).collect());
        for cell in &mut cells[first..] {
            cell[0] -= middle;
        }
        middles.push(middle);
    }
    let cut = two_kinds(&cells)?;
    let kind = |(map, middle): (&FlankMap, &f64)| {
        map.light.mapv(|light| {
            let [bright, red, blue] = features(light);
            cut.value([bright - middle, red, blue]) > 0.0
        })
    };
    Some(maps.iter().zip(&middles).map(kind).collect())
}

/// How much a light looks like compound: its saturation, and a little of its brightness.
fn compound_likeness(light: [f64; 3]) -> f64 {
    let high = light.iter().copied().fold(0.0, f64::max);
    saturation(light) + 0.25 * (high + 0.003).ln() / 6.0
}

/// Saturation of linear light, 0 grey … 1 pure; the dark counts as grey.
pub fn saturation(light: [f64; 3]) -> f64 {
    let high = light.iter().copied().fold(0.0, f64::max);
    let low = light.iter().copied().fold(f64::INFINITY, f64::min);
    (high - low) / (high + 0.01)
}

/// Share of the first kind in a band along the flanks' edges.
fn border_share(kinds: &[Mask], mutes: &[Mask]) -> f64 {
    let (mut of_kind, mut all) = (0.0, 0.0);
    for (kind, mute) in kinds.iter().zip(mutes) {
        let (rows, columns) = kind.dim();
        for (at, &side) in kind.indexed_iter() {
            let edge = at.0 < rows / 10
                || at.0 >= rows - rows / 10
                || at.1 < columns / 12
                || at.1 >= columns - columns / 12;
            if edge && !mute[at] {
                all += 1.0;
                of_kind += f64::from(u8::from(side));
            }
        }
    }
    if all > 0.0 { of_kind / all } else { 0.5 }
}

/// Median linear light over the cells of a kind.
fn mean_light(maps: &[FlankMap], mutes: &[Mask], kinds: &[Mask], side: bool) -> [f64; 3] {
    let mut cells: [Vec<f64>; 3] = Default::default();
    for ((map, mute), kind) in maps.iter().zip(mutes).zip(kinds) {
        for at in sampled(kind.dim(), 7) {
            if kind[at] == side && !mute[at] {
                for (channel, &level) in cells.iter_mut().zip(&map.light[at]) {
                    channel.push(f64::from(level));
                }
            }
        }
    }
    cells.map(median)
}

fn ground_fields(logs: &[Array2<[f32; 3]>], grounds: &[Mask], mutes: &[Mask]) -> Vec<Field> {
    let found: Vec<Option<Field>> = logs
        .iter()
        .zip(grounds.iter().zip(mutes))
        .map(|(log, (ground, mute))| {
            let plain = super::morphology::minus(ground, mute);
            let enough = super::morphology::area(&plain) * 100 > 15 * plain.len();
            enough.then(|| Field::fit(log, &plain)).flatten()
        })
        .collect();
    let middle: [f64; 3] = std::array::from_fn(|channel| {
        median(
            logs.iter()
                .zip(grounds)
                .flat_map(|(log, ground)| {
                    sampled(log.dim(), 11)
                        .filter(|&at| ground[at])
                        .map(|at| f64::from(log[at][channel]))
                })
                .collect(),
        )
    });
    found
        .into_iter()
        .map(|field| field.unwrap_or(Field::flat(middle)))
        .collect()
}

/// Each cell's distance from the ground's colour, the distance that divides best, and how well.
fn ground_distances(
    logs: &[Array2<[f32; 3]>],
    fields: &[Field],
    grounds: &[Mask],
    mutes: &[Mask],
) -> Option<(Vec<Array2<f32>>, f64, f64)> {
    let mut sample = Vec::new();
    let offs: Vec<Array2<[f32; 3]>> = logs
        .iter()
        .zip(fields)
        .map(|(log, field)| off_field(log, field))
        .collect();
    for (off, (ground, mute)) in offs.iter().zip(grounds.iter().zip(mutes)) {
        let plain = sampled(off.dim(), 7).filter(|&at| ground[at] && !mute[at]);
        sample.extend(plain.map(|at| Vector3::from(off[at].map(f64::from))));
    }
    if sample.len() < 50 {
        return None;
    }
    let middle = Vector3::from_fn(|i, _| median(sample.iter().map(|s| s[i]).collect()));
    let mut from_middle: Vec<Vector3<f64>> = sample.iter().map(|s| s - middle).collect();
    // The outer part is patch edge and gloss; the spread of the rest is scaled up for the cut.
    let inner = (from_middle.len() * 17).div_ceil(20);
    let nearer = |a: &Vector3<f64>, b: &Vector3<f64>| a.norm_squared().total_cmp(&b.norm_squared());
    from_middle.select_nth_unstable_by(inner - 1, nearer);
    let spread = from_middle[..inner]
        .iter()
        .map(|s| s * s.transpose())
        .sum::<Matrix3<f64>>()
        * 1.6
        / inner as f64
        + Matrix3::identity() * 2e-4;
    let inverse = spread.try_inverse()?;
    let distances: Vec<Array2<f32>> = offs
        .iter()
        .map(|off| distances_from(off, &middle, &inverse))
        .collect();
    let mut logs = Vec::new();
    for (distance, mute) in distances.iter().zip(mutes) {
        let seen = sampled(distance.dim(), 7).filter(|&at| !mute[at]);
        logs.extend(seen.map(|at| (f64::from(distance[at]) + 0.3).ln()));
    }
    let (level, between) = otsu(logs.iter().copied());
    let mean = logs.iter().sum::<f64>() / logs.len() as f64;
    let variance = logs.iter().map(|l| (l - mean).powi(2)).sum::<f64>() / logs.len() as f64;
    let limit = (level.exp() - 0.3).clamp(2.5, 8.0);
    Some((distances, limit, between / variance.max(1e-9)))
}

/// What the cells of a map differ from the field by.
fn off_field(log: &Array2<[f32; 3]>, field: &Field) -> Array2<[f32; 3]> {
    let (rows, columns) = log.dim();
    let across: Vec<f32> = (0..columns).map(|c| share(c, columns) as f32).collect();
    let mut off = log.clone();
    for (row, mut cells) in off.rows_mut().into_iter().enumerate() {
        let along = field.along(row, rows);
        for (cell, u) in cells.iter_mut().zip(&across) {
            for (value, [level, slope, bend]) in cell.iter_mut().zip(along) {
                *value -= level + u * (slope + u * bend);
            }
        }
    }
    off
}

/// Distances from `middle` in the measure of `inverse`.
fn distances_from(
    off: &Array2<[f32; 3]>,
    middle: &Vector3<f64>,
    inverse: &Matrix3<f64>,
) -> Array2<f32> {
    let (middle, inverse) = (middle.cast::<f32>(), inverse.cast::<f32>());
    off.mapv(|off| {
        let off = Vector3::from(off) - middle;
        off.dot(&(inverse * off)).max(0.0).sqrt()
    })
}

/// Smoothed light over the ground's light.
fn relative_light(log: &Array2<[f32; 3]>, field: &Field) -> Array2<[f32; 3]> {
    let mut relative = off_field(log, field);
    for (relative, value) in relative.iter_mut().zip(log) {
        for (relative, value) in relative.iter_mut().zip(value) {
            let full = ((value - *relative).exp() - DARK).max(1e-3);
            *relative = (value.exp() - DARK) / full;
        }
    }
    relative
}
