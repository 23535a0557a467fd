//! How many cells of the patches are burnt out, or run on behind something.

use crate::flank::FlankMap;
use crate::segment::FoundPatch;
use crate::segment::mask::{Mask, area, area_of_both, minus};

/// A patch that ends so few columns of a map before what hides the flank is taken to run on behind it.
const BESIDE: usize = 3;

/// Share of a patch that is burnt out.
pub(super) fn burnt_share(found: &FoundPatch, map: &FlankMap) -> f64 {
    let cells = area(&found.region).max(1) as f64;
    area_of_both(&found.region, &map.clipped) as f64 / cells
}

/// Share of the patches' rows that run behind what hides the flanks: their end lies beside cells that are not seen. The
/// median of the flanks that have a patch.
pub(super) fn share_behind(maps: &[FlankMap], regions: &[Option<Mask>]) -> f64 {
    let with_patch = maps.iter().zip(regions);
    let shares = with_patch.filter_map(|(map, region)| {
        let (mut behind, mut rows) = (0usize, 0usize);
        for (marked, unseen) in region.as_ref()?.rows().into_iter().zip(map.unseen.rows()) {
            let Some(first) = marked.iter().position(|&marked| marked) else {
                continue;
            };
            let last = marked.iter().rposition(|&marked| marked).unwrap_or(first);
            let near = first.saturating_sub(BESIDE)..(last + 1 + BESIDE).min(unseen.len());
            rows += 1;
            behind += usize::from(near.into_iter().any(|column| unseen[column]));
        }
        Some(behind as f64 / rows.max(1) as f64)
    });
    let mut shares: Vec<f64> = shares.collect();
    shares.sort_by(f64::total_cmp);
    shares.get(shares.len() / 2).copied().unwrap_or(0.0)
}

/// Share of burnt-out cells in the patches.
pub(super) fn glare_share(maps: &[FlankMap], regions: &[Option<Mask>]) -> f64 {
    let (mut burnt, mut cells) = (0usize, 0usize);
    for (map, region) in maps.iter().zip(regions) {
        if let Some(region) = region {
            burnt += area_of_both(region, &map.clipped);
            cells += area(region);
        }
    }
    burnt as f64 / cells.max(1) as f64
}

/// A flank on which what burnt out of the patch was white compound, not a reflection that hides it.
pub(super) fn without_burnt(map: &FlankMap, patch: Option<&Mask>) -> FlankMap {
    FlankMap {
        clipped: patch.map_or_else(|| map.clipped.clone(), |patch| minus(&map.clipped, patch)),
        ..map.clone()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ndarray::{Array2, s};

    #[test]
    fn what_burnt_out_of_a_white_print_hides_nothing_but_what_burnt_out_beside_it_does() {
        let columns = |from: usize, to: usize| {
            let mut mask = Array2::from_elem((10, 40), false);
            mask.slice_mut(s![.., from..to]).fill(true);
            mask
        };
        let map = FlankMap {
            light: Array2::from_elem((10, 40), [0.2; 3]),
            clipped: columns(5, 30),
            unseen: columns(0, 0),
        };
        let print = columns(10, 40);
        assert_eq!(without_burnt(&map, Some(&print)).clipped, columns(5, 10));
        assert_eq!(without_burnt(&map, None).clipped, map.clipped);
    }

    #[test]
    fn a_patch_that_ends_where_the_flank_is_hidden_runs_on_behind_it() {
        let size = (48, 128);
        let behind = |hidden: std::ops::Range<usize>, patch: std::ops::Range<usize>| {
            let mut map = FlankMap {
                light: Array2::from_elem(size, [0.2; 3]),
                clipped: Mask::from_elem(size, false),
                unseen: Mask::from_elem(size, false),
            };
            map.unseen.slice_mut(s![.., hidden]).fill(true);
            let mut region = Mask::from_elem(size, false);
            region.slice_mut(s![10..30, patch]).fill(true);
            share_behind(&[map], &[Some(region)])
        };
        assert_eq!(behind(0..30, 31..90), 1.0);
        assert_eq!(behind(0..30, 40..90), 0.0);
        assert_eq!(behind(100..128, 40..99), 1.0);
        assert_eq!(behind(100..128, 40..90), 0.0);
        assert_eq!(share_behind(&[], &[None]), 0.0);
    }
}
