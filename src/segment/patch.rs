//! The contact patch of every flank: where contact is likely, held against the other teeth.

use super::calibration::CALIBRATION;
use super::mask::{Mask, area, area_of_both, either, minus, of_half, overlap, parts};
use super::patch_probability::PatchProbability;
use crate::flank::FlankMap;
use ndarray::{Array2, Zip};

/// The patch of one flank.
#[derive(Debug, Clone)]
pub(crate) struct FoundPatch {
    /// Where contact is likelier than not: of one patch, or of both islands.
    pub region: Mask,
    /// The islands of a patch in two, the larger first; else none.
    pub islands: Vec<Mask>,
    /// The same where it is likelier than a third and than two thirds.
    pub band: [Mask; 2],
    /// How much likelier contact is in the patch than beside it, 0 … 1.
    pub contrast: f64,
    /// Share of this patch and of the one common to all teeth (with two, of the other's) that is in
    /// both; 1 for a single tooth.
    pub agreement: f64,
    /// Share of the patch common to all teeth that cannot be seen on this one.
    pub hidden: f64,
}

/// The patch on every flank; `None` where there is none.
pub(crate) fn find_patches(
    probabilities: &[PatchProbability],
    maps: &[FlankMap],
) -> Vec<Option<FoundPatch>> {
    let of_all = |islands: Islands| -> Vec<Vec<Mask>> {
        let of = |probability| islands(probability, CALIBRATION.patch_probability);
        probabilities.iter().map(of).collect()
    };
    let (seen, wiped) = (of_all(islands), of_all(with_wiped));
    let (islands, of_flanks): (Islands, _) = if !are_in_two(&seen) && are_in_two(&wiped) {
        (with_wiped, wiped)
    } else {
        (islands, seen)
    };
    let in_two = are_in_two(&of_flanks);
    let regions: Vec<Option<Mask>> = of_flanks.iter().map(|of| region(of, in_two)).collect();
    let seen: Vec<&Mask> = regions.iter().flatten().collect();
    let core = of_half(&seen);
    let agreement = |region: &Mask, unseen: &Mask| match seen.as_slice() {
        [a, b] => overlap(a, b),
        // One tooth alone has none to disagree with; one of several should have had.
        [_] => f64::from(u8::from(probabilities.len() == 1)),
        _ => overlap(&minus(region, unseen), &minus(&core, unseen)),
    };
    probabilities
        .iter()
        .zip(maps)
        .zip(regions.iter().zip(&of_flanks))
        .map(|((probability, map), (region_of, islands_of))| {
            let own = region_of.clone()?;
            let at_level = |level| region(&islands(probability, level), in_two);
            let shown = minus(&core, &map.unseen);
            Some(FoundPatch {
                band: CALIBRATION
                    .band
                    .map(|level| at_level(level).unwrap_or_else(|| own.clone())),
                contrast: contrast(&probability.contact, &own),
                agreement: agreement(&own, &map.unseen),
                hidden: 1.0 - area(&shown) as f64 / area(&core).max(1) as f64,
                region: own,
                islands: if in_two && islands_of.len() > 1 {
                    islands_of.clone()
                } else {
                    Vec::new()
                },
            })
        })
        .collect()
}

/// What finds the islands of a flank's patch, two at most, where contact is likelier than a level.
type Islands = fn(&PatchProbability, f32) -> Vec<Mask>;

/// The largest region of a flank where contact is likelier than a level, and the second where it is no speck beside it.
fn islands(probability: &PatchProbability, level: f32) -> Vec<Mask> {
    let likely = probability.contact.mapv(|likely| likely > level);
    let fewest = CALIBRATION.least_area * likely.len() as f64;
    let mut found = parts(&likely, fewest as usize + 1);
    found.truncate(2);
    let least = |first: &Mask| (CALIBRATION.least_island * area(first) as f64) as usize;
    if let [first, second] = found.as_slice()
        && area(second) < least(first)
    {
        found.truncate(1);
    }
    found
}

/// The same; beside a single island the largest place that is bare of compound with compound all about it. Where teeth
/// are bare in the same place the pinion touched them there, though it looks like no patch by itself.
fn with_wiped(probability: &PatchProbability, level: f32) -> Vec<Mask> {
    let mut found = islands(probability, level);
    if let [first] = found.as_slice() {
        let even = CALIBRATION.patch_probability;
        let bare = probability.compound.mapv(|likely| likely < even);
        let least = (CALIBRATION.least_island * area(first) as f64) as usize;
        let (last_row, last_column) = (bare.nrows() - 1, bare.ncols() - 1);
        let inside = |part: &Mask| {
            part.indexed_iter().all(|((row, column), &bare)| {
                let edge = row == 0 || row == last_row || column == 0 || column == last_column;
                !(bare && edge)
            })
        };
        let second = (parts(&bare, least.max(1)).into_iter())
            .find(|part| area_of_both(part, first) == 0 && inside(part));
        found.extend(second);
    }
    found
}

/// Whether the patch of most flanks is in two islands that lie at the same places.
fn are_in_two(islands: &[Vec<Mask>]) -> bool {
    let pairs: Vec<&[Mask]> = (islands.iter().map(Vec::as_slice))
        .filter(|of| of.len() == 2)
        .collect();
    let with_patch = islands.iter().filter(|of| !of.is_empty()).count();
    let of_all = |which: usize| of_half(&pairs.iter().map(|of| &of[which]).collect::<Vec<_>>());
    let alike = |which: usize| {
        let core = of_all(which);
        let alike = pairs.iter().map(|of| overlap(&of[which], &core));
        alike.sum::<f64>() / pairs.len() as f64
    };
    pairs.len() >= 2
        && 3 * pairs.len() >= 2 * with_patch
        && alike(0) > CALIBRATION.islands_alike
        && alike(1) > CALIBRATION.islands_alike
}

/// The region of a flank's patch: its largest island, or both where the patch is in two.
fn region(islands: &[Mask], in_two: bool) -> Option<Mask> {
    match islands {
        [first, second] if in_two => Some(either(first, second)),
        [first, ..] => Some(first.clone()),
        [] => None,
    }
}

fn contrast(likely: &Array2<f32>, region: &Mask) -> f64 {
    let (mut all, mut inside) = (0.0, 0.0);
    Zip::from(likely).and(region).for_each(|&likely, &marked| {
        all += f64::from(likely);
        inside += if marked { f64::from(likely) } else { 0.0 };
    });
    let cells = area(region);
    let mean = |sum: f64, cells: usize| sum / cells.max(1) as f64;
    mean(inside, cells) - mean(all - inside, region.len() - cells)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::ops::Range;

    /// Contact is likely within some rows and columns of a flank, all of which is seen.
    fn flank(rows: Range<usize>, columns: Range<usize>) -> (PatchProbability, FlankMap) {
        let contact = Array2::from_shape_fn((96, 256), |(row, column)| {
            let inside = rows.contains(&row) && columns.contains(&column);
            if inside { 0.9 } else { 0.05 }
        });
        let map = FlankMap {
            light: Array2::from_elem(contact.dim(), [0.2; 3]),
            clipped: Mask::from_elem(contact.dim(), false),
            unseen: Mask::from_elem(contact.dim(), false),
        };
        let compound = Array2::from_elem(contact.dim(), 0.5);
        (PatchProbability { contact, compound }, map)
    }

    fn patches(flanks: Vec<(PatchProbability, FlankMap)>) -> Vec<Option<FoundPatch>> {
        let (probabilities, maps): (Vec<_>, Vec<_>) = flanks.into_iter().unzip();
        find_patches(&probabilities, &maps)
    }

    #[test]
    fn teeth_that_agree_show_the_patch() {
        let found = patches(Vec::from([0, 2, 4].map(|i| flank(30 + i..70 + i, 80..180))));
        let middle = found[1].as_ref().unwrap();
        assert!(middle.region[[50, 130]] && !middle.region[[10, 130]]);
        assert!(
            found
                .iter()
                .flatten()
                .all(|p| p.contrast > 0.8 && p.agreement > 0.85 && p.hidden == 0.0)
        );
    }

    #[test]
    fn two_islands_at_the_same_places_are_both_the_patch() {
        let split = |shift: usize| {
            let (mut probability, map) = flank(30..70, 20 + shift..100 + shift);
            let (other, _) = flank(35..65, 160 + shift..220 + shift);
            probability
                .contact
                .zip_mut_with(&other.contact, |a, b| *a = a.max(*b));
            (probability, map)
        };
        let found = patches(Vec::from([0, 3, 6].map(split)));
        for patch in found.iter().flatten() {
            assert_eq!(patch.islands.len(), 2);
            assert_eq!(area(&patch.region), 40 * 80 + 30 * 60);
        }
        // On one tooth of three it is a stain.
        let mut stained = Vec::from([0, 2].map(|i| flank(30..70, 20 + i..100 + i)));
        stained.push(split(0));
        let found = patches(stained);
        assert!(found.iter().flatten().all(|patch| patch.islands.is_empty()));
        assert_eq!(area(&found[2].as_ref().unwrap().region), 40 * 80);
    }

    #[test]
    fn teeth_that_are_bare_in_a_second_place_all_alike_were_touched_there() {
        let bare_at = |rows: Range<usize>, columns: Range<usize>| {
            let (mut probability, map) = flank(30..70, 140..220);
            probability.compound.fill(0.9);
            probability
                .compound
                .slice_mut(ndarray::s![rows, columns])
                .fill(0.1);
            (probability, map)
        };
        let found = patches(Vec::from(
            [0, 3, 6].map(|i| bare_at(40..70, 30 + i..90 + i)),
        ));
        for patch in found.iter().flatten() {
            assert_eq!(patch.islands.len(), 2);
            assert_eq!(area(&patch.region), 40 * 80 + 30 * 60);
        }
        // Where the brush stopped short of the flank's edge, and where it missed a place of each tooth.
        for places in [
            [0, 0, 0].map(|_| (0..30, 30..90)),
            [(5..35, 5..65), (40..70, 70..130), (60..90, 5..65)],
        ] {
            let found = patches(Vec::from(
                places.map(|(rows, columns)| bare_at(rows, columns)),
            ));
            assert!(found.iter().flatten().all(|patch| patch.islands.is_empty()));
        }
    }

    #[test]
    fn a_tooth_that_shows_it_elsewhere_does_not_agree_and_one_without_has_none() {
        let mut flanks = Vec::from([0, 2, 4].map(|i| flank(30 + i..70 + i, 80..180)));
        flanks.push(flank(5..40, 0..60));
        flanks.push(flank(0..0, 0..0));
        let found = patches(flanks);
        assert!(found[3].as_ref().unwrap().agreement < 0.1);
        assert!(found[4].is_none());
        assert!(found[0].as_ref().unwrap().agreement > 0.85);
    }

    #[test]
    fn what_is_hidden_of_the_patch_is_told_and_not_held_against_the_tooth() {
        let mut flanks = Vec::from([0, 0, 0].map(|_| flank(30..70, 80..180)));
        let (half, map) = flank(30..70, 130..180);
        let unseen = Mask::from_shape_fn((96, 256), |(_, column)| column < 130);
        flanks.push((half, FlankMap { unseen, ..map }));
        let found = patches(flanks);
        let last = found[3].as_ref().unwrap();
        assert!((last.hidden - 0.5).abs() < 0.01 && last.agreement > 0.99);
    }

    #[test]
    fn a_single_tooth_has_none_to_disagree_with_but_one_of_several_should_have_had() {
        let alone = patches(vec![flank(30..70, 80..180)]);
        assert_eq!(alone[0].as_ref().unwrap().agreement, 1.0);
        let one = patches(vec![flank(30..70, 80..180), flank(0..0, 0..0)]);
        assert_eq!(one[0].as_ref().unwrap().agreement, 0.0);
        assert!(patches(Vec::new()).is_empty());
    }
}
