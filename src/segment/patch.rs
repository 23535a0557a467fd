//! The contact patch: the region of each flank where film is half gone (or half laid on), told
//! from brush streaks and bare spots by its shape and by the other teeth.

use super::colours::{Colours, FlankColours};
use super::field::median;
use super::likely::likely_regions;
use super::morphology::{
    Mask, and, area, close, dilate, erode, fill_holes, minus, open, overlap, parts, spread,
};
use nalgebra::{Matrix3, Vector3};
use ndarray::Array2;

/// The patch of one flank.
#[derive(Debug, Clone)]
pub struct FoundPatch {
    /// Where contact left less than half of the film (or laid on more than half).
    pub region: Mask,
    /// The same at a third and at two thirds of the film instead of half.
    pub band: [Mask; 2],
    /// How far apart patch and ground are in colour, in spreads of the two.
    pub contrast: f64,
    /// Share of this patch and of the one common to all teeth (with two, of the other's) that is in
    /// both; 1 for a single tooth.
    pub agreement: f64,
    /// Share of the patch common to all teeth that cannot be seen on this one.
    pub hidden: f64,
}

/// Half of what is opened away: streaks lower than 13 rows of 96 are brush marks, not contact.
const STREAK: (usize, usize) = (6, 3);

/// Film shares at which the band around the patch's edge is drawn.
const BAND: [f64; 2] = [0.35, 0.65];

/// Finds the patch on every flank, near where contact is likely if that is known; `None` where
/// there is none.
pub fn find_patches(colours: &Colours, likely: Option<&[Array2<f32>]>) -> Vec<Option<FoundPatch>> {
    match likely {
        Some(likely) => grown(colours, likely_regions(likely, 0.5)),
        None => grown(colours, unlike_ground(colours)),
    }
}

/// The region of every flank that is unlike its ground and, of several, most like those of the
/// other flanks.
fn unlike_ground(colours: &Colours) -> Vec<Option<Mask>> {
    let rest: Vec<Mask> = colours
        .flanks
        .iter()
        .map(|flank| {
            let not_ground = flank.ground.mapv(|ground| !ground);
            let streakless = without_streaks(&minus(&not_ground, &flank.mute));
            without_bare_ends(streakless)
        })
        .collect();
    let common = share_of(&rest);
    rest.iter()
        .map(|rest| {
            let weight = |part: &Mask| -> f64 {
                let cells = part.iter().zip(&common).filter(|(marked, _)| **marked);
                cells.map(|(_, &share)| f64::from(share)).sum()
            };
            parts(rest)
                .into_iter()
                .max_by(|a, b| weight(a).total_cmp(&weight(b)))
        })
        .collect()
}

/// The patches that grow from rough ones by their film, held to what the flanks have in common.
fn grown(colours: &Colours, seeds: Vec<Option<Mask>>) -> Vec<Option<FoundPatch>> {
    let mut found: Vec<Option<Film>> = colours
        .flanks
        .iter()
        .zip(seeds)
        .map(|(flank, seed)| refine(flank, seed?))
        .collect();
    let regions: Vec<Mask> = found
        .iter()
        .flatten()
        .map(|film| film.region.clone())
        .collect();
    if regions.len() < 3 {
        let agreement = match regions.as_slice() {
            [a, b] => overlap(a, b),
            // One tooth alone has none to disagree with; one of several should have had.
            _ if found.len() == 1 => 1.0,
            _ => 0.0,
        };
        return found
            .into_iter()
            .map(|film| Some(film?.into_patch(agreement)))
            .collect();
    }
    let core = share_of(&regions).mapv(|share| share >= 0.5);
    if area(&core) * 100 < core.len() {
        return found
            .into_iter()
            .map(|film| Some(film?.into_patch(0.0)))
            .collect();
    }
    let allowed = dilate(&core, 9, 13);
    for film in &mut found {
        *film = film.take().and_then(|film| film.held_to(&core, &allowed));
    }
    found
        .into_iter()
        .map(|film| {
            let film = film?;
            let seen = minus(&core, &film.mute);
            let agreement = overlap(&film.region, &seen);
            let mut patch = film.into_patch(agreement);
            patch.hidden = 1.0 - area(&seen) as f64 / area(&core) as f64;
            Some(patch)
        })
        .collect()
}

/// Drops parts that only the brush can have left: at an end from root to tip, or too short for
/// contact, which is never less than an eighth of the length long on a tooth that carries load.
fn without_bare_ends(mask: Mask) -> Mask {
    let (rows, columns) = mask.dim();
    let mut kept = Mask::from_elem(mask.dim(), false);
    for part in parts(&mask) {
        let column_marked = |column: usize| part.column(column).iter().any(|&marked| marked);
        let length = (0..columns).filter(|&column| column_marked(column)).count();
        let whole_end = [0, columns - 1].into_iter().any(|column| {
            let end = part.column(column);
            end.iter().filter(|&&marked| marked).count() * 10 > rows * 9
        });
        if length * 8 >= columns && !(whole_end && length * 4 < columns) {
            for (kept, &marked) in kept.iter_mut().zip(&part) {
                *kept |= marked;
            }
        }
    }
    kept
}

/// Share of the masks that mark each cell, smoothed.
pub(super) fn share_of(masks: &[Mask]) -> Array2<f32> {
    let Some(first) = masks.first() else {
        return Array2::zeros((0, 0));
    };
    let mut share = Array2::from_elem(first.dim(), [0.0f32; 3]);
    for mask in masks {
        for (cell, &marked) in share.iter_mut().zip(mask) {
            cell[0] += f32::from(u8::from(marked)) / masks.len() as f32;
        }
    }
    super::morphology::box_mean(&share, 3, 6).mapv(|cell| cell[0])
}

/// Closes the light lines that sliding leaves in a patch, then drops what is too low to be one.
fn without_streaks(mask: &Mask) -> Mask {
    open(&close(mask, 0, 3), STREAK.0, STREAK.1)
}

/// One flank's film: 0 as in the middle of the patch, 1 as on the ground beside it.
struct Film {
    share: Array2<f32>,
    region: Mask,
    mute: Mask,
    contrast: f64,
}

/// Improves a rough patch: the film's share is measured between the colour in its middle and that
/// of the ground around it, the patch is where the share is under a half.
fn refine(flank: &FlankColours, seed: Mask) -> Option<Film> {
    let mut region = seed;
    let mut film = None;
    for _ in 0..3 {
        let (share, contrast) = film_share(flank, &region)?;
        let bare = minus(&share.mapv(|share| share < 0.5), &flank.mute);
        let near = and(&bare, &dilate(&region, 10, 15));
        let part = parts(&without_streaks(&near))
            .into_iter()
            .max_by_key(|part| area(&and(part, &region)))?;
        region = regrow(&part, &bare);
        film = Some((share, contrast));
    }
    let (share, contrast) = film?;
    Some(Film {
        share,
        region: fill_holes(&region),
        mute: flank.mute.clone(),
        contrast,
    })
}

/// Gives back the ragged ends that opening took, a little way and only where they hang together.
fn regrow(part: &Mask, bare: &Mask) -> Mask {
    let within = and(&close(bare, 0, 2), &dilate(part, 3, 4));
    spread(part, &within)
}

/// Share of the film at every cell, and the contrast of patch and ground.
fn film_share(flank: &FlankColours, region: &Mask) -> Option<(Array2<f32>, f64)> {
    let inner = erode(region, 2, 4);
    let inner = if area(&inner) < 60 {
        region.clone()
    } else {
        inner
    };
    let ring = minus(&dilate(region, 8, 12), &dilate(region, 3, 5));
    let ring = minus(&and(&ring, &flank.ground), &flank.mute);
    let patch = Sample::of(flank, &minus(&inner, &flank.mute))?;
    let ground = Sample::of(flank, &ring);
    let (middle, spread) = match &ground {
        Some(ground) => (ground.middle, ground.spread + patch.spread),
        None => (Vector3::repeat(1.0), patch.spread * 2.0),
    };
    let inverse = (spread + Matrix3::identity() * 1e-3).try_inverse()?;
    let apart = middle - patch.middle;
    let toward = inverse * apart;
    let square = apart.dot(&toward);
    if !(square.is_finite() && square > 1e-9) {
        return None;
    }
    let (weights, level) = (
        (toward / square).cast::<f32>(),
        (patch.middle.dot(&toward) / square) as f32,
    );
    let share = flank
        .relative
        .mapv(|[r, g, b]| weights[0] * r + weights[1] * g + weights[2] * b - level);
    Some((share, square.sqrt()))
}

/// Middle and spread of the relative light over some cells.
struct Sample {
    middle: Vector3<f64>,
    spread: Matrix3<f64>,
}

impl Sample {
    /// `None` for fewer than 40 cells.
    fn of(flank: &FlankColours, cells: &Mask) -> Option<Self> {
        let lights: Vec<Vector3<f64>> = flank
            .relative
            .iter()
            .zip(cells)
            .filter(|(_, marked)| **marked)
            .map(|(light, _)| Vector3::from(light.map(f64::from)))
            .collect();
        if lights.len() < 40 {
            return None;
        }
        let middle = Vector3::from_fn(|i, _| median(lights.iter().map(|l| l[i]).collect()));
        let mean = lights.iter().sum::<Vector3<f64>>() / lights.len() as f64;
        let spread = lights
            .iter()
            .map(|l| (l - mean) * (l - mean).transpose())
            .sum::<Matrix3<f64>>()
            / lights.len() as f64;
        Some(Self { middle, spread })
    }
}

impl Film {
    /// The region cut again, kept to where the other teeth have theirs.
    fn held_to(self, core: &Mask, allowed: &Mask) -> Option<Self> {
        let region = self.cut(0.5, core, allowed)?;
        Some(Self { region, ..self })
    }

    /// The patch where less than `level` of the film is left, near `core`.
    fn cut(&self, level: f64, core: &Mask, allowed: &Mask) -> Option<Mask> {
        let bare = minus(
            &self.share.mapv(|share| f64::from(share) < level),
            &self.mute,
        );
        let bare = and(&close(&bare, 0, 2), allowed);
        let part = parts(&without_streaks(&bare))
            .into_iter()
            .max_by_key(|part| area(&and(part, core)))?;
        Some(fill_holes(&regrow(&part, &bare)))
    }

    fn into_patch(self, agreement: f64) -> FoundPatch {
        let near = dilate(&self.region, 6, 9);
        let band = BAND.map(|level| {
            self.cut(level, &self.region, &near)
                .unwrap_or_else(|| self.region.clone())
        });
        FoundPatch {
            region: self.region,
            band,
            contrast: self.contrast,
            agreement,
            hidden: 0.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::flank::FlankMap;
    use crate::reading::{Polarity, patch_numbers};
    use crate::segment::separate;

    const COMPOUND: [f32; 3] = [0.60, 0.42, 0.04];
    const STEEL: [f32; 3] = [0.06, 0.055, 0.05];

    /// A flank painted with an elliptic patch, light falling off towards the heel, a little noise,
    /// and on the given flank a brush streak that runs into the patch.
    fn painted(tooth: usize, streak: bool, wiped: bool) -> FlankMap {
        let (ground, patch) = if wiped {
            (COMPOUND, STEEL)
        } else {
            (STEEL, COMPOUND)
        };
        let light = Array2::from_shape_fn((96, 256), |(row, column)| {
            let (u, v) = ((column as f32 + 0.5) / 256.0, (row as f32 + 0.5) / 96.0);
            let inside = ((u - 0.4) / 0.22).powi(2) + ((v - 0.55) / 0.25).powi(2) < 1.0;
            let streaked = streak && (0.50..0.56).contains(&v) && (0.3..0.95).contains(&u);
            let seed = (row * 256 + column + 7919 * tooth) as f32;
            let noise = 0.06 * ((seed * 12.9898).sin() * 43758.547).fract();
            let colour = if inside || streaked { patch } else { ground };
            colour.map(|level| level * (1.0 - 0.4 * u) * (1.0 + noise))
        });
        FlankMap {
            clipped: Array2::from_elem(light.dim(), false),
            unseen: Array2::from_elem(light.dim(), false),
            light,
            proportion: 0.25,
        }
    }

    fn centres(maps: &[FlankMap], polarity: Option<Polarity>) -> Vec<(f64, f64)> {
        let colours = separate(maps, polarity, None).unwrap();
        find_patches(&colours, None)
            .into_iter()
            .map(|found| {
                let centre = patch_numbers(&found.unwrap().region, 0.25).unwrap().centre;
                (centre.length, centre.height)
            })
            .collect()
    }

    #[test]
    fn a_wiped_patch_is_found_and_a_streak_into_it_is_not_part_of_it() {
        let maps: Vec<_> = (0..4)
            .map(|tooth| painted(tooth, tooth == 2, true))
            .collect();
        for (length, height) in centres(&maps, None) {
            assert!((length - 0.4).abs() < 0.012, "{length}");
            assert!((height - 0.55).abs() < 0.012, "{height}");
        }
    }

    #[test]
    fn a_transferred_patch_is_known_as_such() {
        let maps: Vec<_> = (0..3).map(|tooth| painted(tooth, false, false)).collect();
        let colours = separate(&maps, None, None).unwrap();
        assert_eq!(colours.polarity, Polarity::Transferred);
        for (length, height) in centres(&maps, None) {
            assert!((length - 0.4).abs() < 0.01 && (height - 0.55).abs() < 0.015);
        }
    }
}
