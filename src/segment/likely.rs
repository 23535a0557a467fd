//! The contact patch by how likely contact is at every place of the flanks: coarser than by colour,
//! but it knows what painted teeth look like, so that it stands in where the colours do not tell.

use super::morphology::{Mask, area, overlap, parts};
use super::patch::{FoundPatch, share_of};
use ndarray::{Array2, Zip};

/// Patches of this many teeth, and of this share of them, must lie alike.
const FEWEST: usize = 3;
const ENOUGH: f64 = 0.5;

/// Patches lie alike when they share at least this much with the place common to all.
const ALIKE: f64 = 0.5;

/// Likelihoods at which the band around a patch's edge is drawn.
const BAND: [f32; 2] = [0.3, 0.7];

/// The largest region of every flank where contact is likelier than a level, by what is seen on it
/// and, as much, on all flanks together.
pub(super) fn likely_regions(likely: &[Array2<f32>], level: f32) -> Vec<Option<Mask>> {
    let count = likely.len() as f32;
    let Some(first) = likely.first() else {
        return Vec::new();
    };
    let common = likely
        .iter()
        .skip(1)
        .fold(first.clone(), |sum, one| sum + one)
        / count;
    likely
        .iter()
        .map(|own| {
            let region = Zip::from(own)
                .and(&common)
                .map_collect(|own, common| own + common > 2.0 * level);
            parts(&region).into_iter().max_by_key(area)
        })
        .collect()
}

/// The patches where contact is likely, if at least three teeth, and half of all, show them at the
/// same place: what is no contact is not alike from tooth to tooth.
pub fn likely_patches(likely: &[Array2<f32>]) -> Option<Vec<Option<FoundPatch>>> {
    let regions = likely_regions(likely, 0.5);
    let seen: Vec<Mask> = regions.iter().flatten().cloned().collect();
    if seen.is_empty() {
        return None;
    }
    let core = share_of(&seen).mapv(|share| share >= 0.5);
    let [wide, narrow] = BAND.map(|level| likely_regions(likely, level));
    let patches: Vec<Option<FoundPatch>> = regions
        .into_iter()
        .enumerate()
        .map(|(i, region)| {
            let region = region?;
            let agreement = overlap(&region, &core);
            let at = |band: &[Option<Mask>]| band[i].clone().unwrap_or_else(|| region.clone());
            (agreement > ALIKE).then(|| FoundPatch {
                band: [at(&wide), at(&narrow)],
                contrast: plainness(&likely[i], &region),
                agreement,
                hidden: 0.0,
                region: region.clone(),
            })
        })
        .collect();
    let alike = patches.iter().flatten().count();
    (alike >= FEWEST && alike as f64 >= ENOUGH * likely.len() as f64).then_some(patches)
}

/// How much likelier contact is in the region than beside it, scaled so that certainty counts as
/// much as a colour contrast of four spreads.
fn plainness(likely: &Array2<f32>, region: &Mask) -> f64 {
    let mean = |inside: bool| {
        let cells = likely.iter().zip(region).filter(|(_, r)| **r == inside);
        let (sum, count) = cells.fold((0.0, 0.0), |(s, n), (l, _)| (s + f64::from(*l), n + 1.0));
        sum / f64::max(count, 1.0)
    };
    4.0 * (mean(true) - mean(false))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Contact is likely within some rows and columns of a map.
    fn map(rows: std::ops::Range<usize>, columns: std::ops::Range<usize>) -> Array2<f32> {
        Array2::from_shape_fn((96, 256), |(row, column)| {
            if rows.contains(&row) && columns.contains(&column) {
                0.9
            } else {
                0.05
            }
        })
    }

    #[test]
    fn teeth_that_agree_show_the_patch() {
        let teeth = [0, 2, 4].map(|i| map(30 + i..70 + i, 80..180));
        let patches = likely_patches(&teeth).unwrap();
        let region = &patches[1].as_ref().unwrap().region;
        assert!(region[[50, 130]] && !region[[10, 130]] && !region[[50, 220]]);
        assert!(patches.iter().flatten().all(|p| p.contrast > 3.0));
    }

    #[test]
    fn scattered_places_and_two_teeth_show_none() {
        let scattered = [
            map(5..40, 0..60),
            map(40..90, 90..150),
            map(5..40, 180..250),
            map(50..90, 10..60),
        ];
        assert!(likely_patches(&scattered).is_none());
        let two = [0, 2].map(|i| map(30 + i..70 + i, 80..180));
        assert!(likely_patches(&two).is_none());
        assert!(likely_patches(&[]).is_none());
    }
}
