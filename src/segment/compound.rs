//! Marking compound on the flanks: whether there is any, how contact shows in it, its colour.

use super::calibration::CALIBRATION;
use super::mask::Mask;
use super::patch_probability::PatchProbability;
use crate::flank::FlankMap;
use crate::schema::Polarity;
use ndarray::Zip;

/// The compound on the flanks of one photo.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct SeenCompound {
    /// How contact shows: as given, else by where the compound is.
    pub polarity: Polarity,
    /// How sure the polarity is, 0 … 1; 1 when given.
    pub polarity_sure: f64,
    /// Typical linear light of the compound: red, green, blue.
    pub light: [f64; 3],
    /// Mean likelihood of compound over what is seen of the flanks beside the patches, 0 … 1.
    pub beside: f64,
    /// The same in the patches.
    pub in_patch: f64,
    /// Share of the flanks under compound, the patches counted with it when they were wiped.
    pub coverage: f64,
}

impl SeenCompound {
    /// Whether there is compound on the flanks, be it beside the patches or in them.
    pub(crate) fn painted(&self) -> bool {
        self.beside.max(self.in_patch) > CALIBRATION.painted
    }

    /// Whether the patches are prints of a compound so white that a good light burns it out.
    pub(crate) fn is_white_print(&self) -> bool {
        self.painted()
            && self.polarity == Polarity::Transferred
            && self.light.iter().all(|&light| light > CALIBRATION.white)
    }
}

/// Looks at the compound beside the patches of the flanks and in them. `None` where nothing of the
/// flanks is seen.
pub(crate) fn compound_on(
    probabilities: &[PatchProbability],
    maps: &[FlankMap],
    patches: &[Option<&Mask>],
    polarity: Option<Polarity>,
) -> Option<SeenCompound> {
    // Beside the patches, and in them.
    let (mut sum, mut cells) = ([0.0; 2], [0.0; 2]);
    let mut covered = [0.0; 2];
    for ((probability, map), patch) in probabilities.iter().zip(maps).zip(patches) {
        let mut add = |likely: f32, unseen: bool, side: usize| {
            let seen = f64::from(u8::from(!unseen));
            sum[side] += seen * f64::from(likely);
            covered[side] += seen * f64::from(u8::from(likely > 0.5));
            cells[side] += seen;
        };
        let cells = Zip::from(&probability.compound).and(&map.unseen);
        match patch {
            Some(patch) => cells.and(*patch).for_each(|&likely, &unseen, &in_patch| {
                add(likely, unseen, usize::from(in_patch));
            }),
            None => cells.for_each(|&likely, &unseen| add(likely, unseen, 0)),
        }
    }
    if cells[0] + cells[1] == 0.0 {
        return None;
    }
    let [beside, in_patch] = [0, 1].map(|side| sum[side] / f64::max(cells[side], 1.0));
    let seen = if in_patch > beside {
        Polarity::Transferred
    } else {
        Polarity::Wiped
    };
    let share = (beside - in_patch).abs() / (beside + in_patch + 2.0 * CALIBRATION.bare);
    let sure = (share / CALIBRATION.sure_polarity_share).min(1.0);
    let given = polarity.unwrap_or(seen);
    let painted = match given {
        Polarity::Wiped => covered[0] + cells[1],
        Polarity::Transferred => covered[1],
    };
    Some(SeenCompound {
        polarity: given,
        polarity_sure: polarity.map_or(sure, |_| 1.0),
        light: light_of(probabilities, maps, patches, given),
        beside,
        in_patch,
        coverage: painted / (cells[0] + cells[1]),
    })
}

/// Median light of the side of the patches' edges where the compound lies, of its likelier half: of
/// every second cell of every second row, which are thousands still.
fn light_of(
    probabilities: &[PatchProbability],
    maps: &[FlankMap],
    patches: &[Option<&Mask>],
    polarity: Polarity,
) -> [f64; 3] {
    let mut lights = Vec::new();
    for ((probability, map), patch) in probabilities.iter().zip(maps).zip(patches) {
        let (rows, columns) = probability.compound.dim();
        for row in (0..rows).step_by(2) {
            for at in (0..columns).step_by(2).map(|column| [row, column]) {
                let in_patch = patch.is_some_and(|patch| patch[at]);
                if !map.unseen[at] && in_patch == (polarity == Polarity::Transferred) {
                    lights.push((probability.compound[at], map.light[at]));
                }
            }
        }
    }
    if lights.is_empty() {
        return [0.0; 3];
    }
    let middle = lights.len() / 2;
    lights.select_nth_unstable_by(middle, |a, b| a.0.total_cmp(&b.0));
    let likelier = &lights[middle..];
    std::array::from_fn(|channel| {
        let mut levels: Vec<f32> = likelier.iter().map(|(_, light)| light[channel]).collect();
        let middle = levels.len() / 2;
        f64::from(*levels.select_nth_unstable_by(middle, f32::total_cmp).1)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use ndarray::Array2;

    /// A flank with a round patch, compound beside it or in it.
    fn flank(wiped: bool) -> (PatchProbability, FlankMap, Mask) {
        let patch = Mask::from_shape_fn((96, 256), |(row, column)| {
            ((row as f64 - 48.0) / 24.0).hypot((column as f64 - 100.0) / 60.0) < 1.0
        });
        let painted = patch.mapv(|patch| patch != wiped);
        let compound = painted.mapv(|painted| if painted { 0.95f32 } else { 0.03 });
        let light = painted.mapv(|painted| {
            if painted {
                [0.5f32, 0.4, 0.05]
            } else {
                [0.1; 3]
            }
        });
        let none = Mask::from_elem(patch.dim(), false);
        let map = FlankMap {
            light,
            clipped: none.clone(),
            unseen: none,
        };
        let contact = Array2::zeros(patch.dim());
        (PatchProbability { contact, compound }, map, patch)
    }

    fn seen(wiped: bool, given: Option<Polarity>) -> SeenCompound {
        let (probability, map, patch) = flank(wiped);
        compound_on(&[probability], &[map], &[Some(&patch)], given).unwrap()
    }

    #[test]
    fn compound_beside_the_patch_was_wiped_in_it_was_transferred() {
        // Share of the ellipse: π · 24 · 60 / (96 · 256).
        let patch = std::f64::consts::PI * 24.0 * 60.0 / (96.0 * 256.0);
        let wiped = seen(true, None);
        assert_eq!(
            (wiped.polarity, wiped.polarity_sure),
            (Polarity::Wiped, 1.0)
        );
        assert!((wiped.coverage - 1.0).abs() < 1e-9 && wiped.painted());
        let transferred = seen(false, None);
        assert_eq!(transferred.polarity, Polarity::Transferred);
        assert!((transferred.coverage - patch).abs() < 0.005 && transferred.painted());
        for seen in [wiped, transferred] {
            assert!((seen.light[0] - 0.5).abs() < 1e-6 && (seen.light[2] - 0.05).abs() < 1e-6);
        }
    }

    #[test]
    fn a_bright_print_is_white_and_a_bright_reflection_in_wiped_compound_is_none() {
        assert!(!seen(false, None).is_white_print());
        for wiped in [false, true] {
            let (probability, mut map, patch) = flank(wiped);
            map.light.zip_mut_with(&patch, |light, &in_patch| {
                if in_patch {
                    *light = [0.97; 3];
                }
            });
            let seen = compound_on(&[probability], &[map], &[Some(&patch)], None).unwrap();
            assert_eq!(seen.is_white_print(), !wiped);
        }
    }

    #[test]
    fn what_the_user_says_of_the_polarity_holds() {
        let seen = seen(true, Some(Polarity::Transferred));
        assert_eq!(
            (seen.polarity, seen.polarity_sure),
            (Polarity::Transferred, 1.0)
        );
    }

    #[test]
    fn bare_flanks_are_not_painted_and_unseen_ones_say_nothing() {
        let (mut probability, mut map, _) = flank(true);
        probability.compound.fill(0.03);
        let bare = compound_on(&[probability.clone()], &[map.clone()], &[None], None).unwrap();
        assert!(!bare.painted());
        map.unseen.fill(true);
        assert!(compound_on(&[probability], &[map], &[None], None).is_none());
    }
}
