//! Packs of the shims at hand: the nearest that can be built, and what it gives.

use crate::rules::kit::Stacks;
use crate::schema::Card;
use crate::units::Shown;
use schemars::JsonSchema;
use serde::Serialize;

/// The shims at hand: those of the kit, in number where the card says it, and the packs that are in the axle.
#[derive(Debug, Clone, Default)]
pub(crate) struct ShimsAtHand {
    sizes_mm: Vec<f64>,
    counts: Vec<u32>,
    in_axle_mm: Vec<f64>,
}

/// A pack that can be built.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(crate) struct BuiltPack {
    /// How thick it is.
    pub pack_mm: f64,
    /// Its shims, thickest first.
    pub stack_mm: Vec<f64>,
}

impl BuiltPack {
    /// `87.0 thou (30.0 thou + 30.0 thou + 27.0 thou)`.
    pub(crate) fn words(&self, shown: &Shown) -> String {
        let parts: Vec<String> = self.stack_mm.iter().map(|mm| shown.shim(*mm)).collect();
        match parts.as_slice() {
            [] | [_] => shown.shim(self.pack_mm),
            _ => format!("{} ({})", shown.shim(self.pack_mm), parts.join(" + ")),
        }
    }
}

/// Packs for both sides that can be built together, and what they give.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(crate) struct BuiltPair {
    /// Behind the ring gear.
    pub ring_side: BuiltPack,
    /// On the other side.
    pub far_side: BuiltPack,
    /// Backlash to expect of them.
    pub backlash_mm: f64,
    /// Both together beyond zero end play.
    pub preload_mm: f64,
}

/// What a pair of side packs is wanted for.
#[derive(Debug, Clone, Copy)]
pub(crate) struct WantedPair {
    /// Behind the ring gear.
    pub ring_side_mm: f64,
    /// On the other side.
    pub far_side_mm: f64,
    /// Backlash that these two give.
    pub backlash_mm: f64,
    /// Window of the backlash.
    pub window_mm: Option<[f64; 2]>,
    /// Both packs together at zero end play.
    pub zero_mm: f64,
    /// Backlash per move of the ring gear.
    pub ratio: f64,
}

/// Packs this far from the wanted one are looked at, mm.
const REACH_MM: f64 = 0.25;
/// Half a thou of backlash weighs as much as a thou of preload: chosen, no evidence.
const BACKLASH_STEP_MM: f64 = 0.0127;
const PRELOAD_STEP_MM: f64 = 0.0254;
/// For so many of the best pairs one pack is built anew of what the other leaves; packs further off are taken only as they
/// are built by themselves. Enough for any kit that was tried, and done in a tenth of a second.
const MOST_REBUILT: usize = 40;
/// A piece more weighs this little: of packs that are alike the one with fewer pieces.
const PIECE: f64 = 1e-3;
/// A backlash outside its window weighs more than anything else.
const OUTSIDE: f64 = 1e3;

impl ShimsAtHand {
    /// Those for the pinion, with the packs that come out of it.
    pub(crate) fn for_pinion(card: Option<&Card>, in_axle_mm: &[f64]) -> Self {
        let kit = card.map(|card| &card.kit);
        Self {
            sizes_mm: kit.map_or_else(Vec::new, |kit| kit.pinion_shims_mm.clone()),
            counts: kit.map_or_else(Vec::new, |kit| kit.pinion_shim_counts.clone()),
            in_axle_mm: in_axle_mm.to_vec(),
        }
    }

    /// Those for the sides, with the packs that come out of them.
    pub(crate) fn for_sides(card: Option<&Card>, in_axle_mm: &[f64]) -> Self {
        let kit = card.map(|card| &card.kit);
        Self {
            sizes_mm: kit.map_or_else(Vec::new, |kit| kit.side_shims_mm.clone()),
            counts: kit.map_or_else(Vec::new, |kit| kit.side_shim_counts.clone()),
            in_axle_mm: in_axle_mm.to_vec(),
        }
    }

    /// Any number of these sizes.
    #[cfg(test)]
    pub(crate) fn any_number(sizes_mm: &[f64]) -> Self {
        Self {
            sizes_mm: sizes_mm.to_vec(),
            ..Self::default()
        }
    }

    /// All packs up to a thickness; nothing where no kit is known.
    pub(crate) fn stacks(&self, most_mm: f64) -> Option<Stacks> {
        Stacks::of_kit(&self.sizes_mm, &self.counts, &self.in_axle_mm, most_mm)
    }

    /// The nearest pack that can be built.
    pub(crate) fn nearest(&self, wanted_mm: f64) -> Option<BuiltPack> {
        let stacks = self.stacks(wanted_mm + REACH_MM)?;
        let pack_mm = stacks.nearest_mm(wanted_mm)?;
        Some(BuiltPack {
            pack_mm,
            stack_mm: stacks.stack_mm(pack_mm),
        })
    }

    /// The pair that comes nearest to the wanted one in backlash and preload, of shims that are enough for both.
    pub(crate) fn nearest_pair(&self, wanted: &WantedPair) -> Option<BuiltPair> {
        let thickest = wanted.ring_side_mm.max(wanted.far_side_mm);
        let stacks = self.stacks(thickest + REACH_MM)?;
        let near = |mm: f64| {
            let mut packs = stacks.packs_mm(mm - REACH_MM, mm + REACH_MM);
            if packs.is_empty() {
                packs.extend(stacks.nearest_mm(mm));
            }
            let of = |pack_mm| BuiltPack {
                pack_mm,
                stack_mm: stacks.stack_mm(pack_mm),
            };
            packs.into_iter().map(of).collect::<Vec<_>>()
        };
        let (ring, far) = (near(wanted.ring_side_mm), near(wanted.far_side_mm));
        let mut pairs: Vec<(f64, &BuiltPack, &BuiltPack)> = Vec::new();
        for ring in &ring {
            for far in &far {
                pairs.push((cost(wanted, ring, far), ring, far));
            }
        }
        pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (ring, far) = pairs
            .into_iter()
            .enumerate()
            .find_map(|(place, (_, ring, far))| {
                together(&stacks, ring, far, place < MOST_REBUILT)
            })?;
        Some(BuiltPair {
            backlash_mm: backlash_mm(wanted, &ring, &far),
            preload_mm: ring.pack_mm + far.pack_mm - wanted.zero_mm,
            ring_side: ring,
            far_side: far,
        })
    }
}

/// Both packs of shims that are there together: as each is built by itself, or one of what the other leaves.
fn together(
    stacks: &Stacks,
    ring: &BuiltPack,
    far: &BuiltPack,
    rebuilt: bool,
) -> Option<(BuiltPack, BuiltPack)> {
    if stacks.enough_for(&[ring.pack_mm, far.pack_mm]) {
        return Some((ring.clone(), far.clone()));
    }
    if !rebuilt {
        return None;
    }
    let of_rest = |taken: &BuiltPack, other: &BuiltPack| {
        let stack_mm = stacks.without(&taken.stack_mm).stack_mm(other.pack_mm);
        (!stack_mm.is_empty()).then_some(BuiltPack {
            stack_mm,
            ..other.clone()
        })
    };
    if let Some(far) = of_rest(ring, far) {
        return Some((ring.clone(), far));
    }
    Some((of_rest(far, ring)?, far.clone()))
}

/// A thicker pack behind the ring gear pushes it toward the pinion, a thicker far one away; with both bearings giving way
/// alike, by half of either.
fn backlash_mm(wanted: &WantedPair, ring: &BuiltPack, far: &BuiltPack) -> f64 {
    let by_ring = ring.pack_mm - wanted.ring_side_mm;
    let by_far = far.pack_mm - wanted.far_side_mm;
    wanted.backlash_mm + wanted.ratio * 0.5 * (by_far - by_ring)
}

fn cost(wanted: &WantedPair, ring: &BuiltPack, far: &BuiltPack) -> f64 {
    let backlash_mm = backlash_mm(wanted, ring, far);
    let total = ring.pack_mm + far.pack_mm - wanted.ring_side_mm - wanted.far_side_mm;
    let outside = wanted
        .window_mm
        .is_some_and(|window| super::verdict(backlash_mm, window) != "within");
    ((backlash_mm - wanted.backlash_mm) / BACKLASH_STEP_MM).powi(2)
        + (total / PRELOAD_STEP_MM).powi(2)
        + PIECE * (ring.stack_mm.len() + far.stack_mm.len()) as f64
        + if outside { OUTSIDE } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::THOU_MM;
    use proptest::prelude::*;

    fn wanted(ring: f64, far: f64) -> WantedPair {
        WantedPair {
            ring_side_mm: ring * THOU_MM,
            far_side_mm: far * THOU_MM,
            backlash_mm: 8.0 * THOU_MM,
            window_mm: Some([6.0 * THOU_MM, 10.0 * THOU_MM]),
            zero_mm: (ring + far - 8.0) * THOU_MM,
            ratio: 0.6,
        }
    }

    fn thou(mm: f64) -> f64 {
        mm / THOU_MM
    }

    /// By hand: 86.9 and 104.1 in whole thou are 87 and 104, which pushes the gear 0.1 thou over and takes 0.06 of backlash.
    #[test]
    fn a_kit_in_whole_thou_gives_whole_thou() {
        let sizes = [2.0, 3.0, 5.0, 10.0, 30.0].map(|t| t * THOU_MM);
        let built = ShimsAtHand::any_number(&sizes)
            .nearest_pair(&wanted(86.9, 104.1))
            .unwrap();
        assert!(
            (thou(built.ring_side.pack_mm) - 87.0).abs() < 1e-6,
            "{built:?}"
        );
        assert!(
            (thou(built.far_side.pack_mm) - 104.0).abs() < 1e-6,
            "{built:?}"
        );
        assert!((thou(built.backlash_mm) - 7.94).abs() < 1e-6);
        assert!((thou(built.preload_mm) - 8.0).abs() < 1e-6);
    }

    /// Neither pack need be the nearest one: together they are no worse than any pair within reach, above or below.
    #[test]
    fn no_pair_within_reach_is_better() {
        let kit = ShimsAtHand::any_number(&[7.0, 12.0, 31.0].map(|t| t * THOU_MM));
        let stacks = kit.stacks(2.0 * REACH_MM + 80.0 * THOU_MM).unwrap();
        for (ring, far) in
            (0..64).map(|k| (40.3 + f64::from(k % 8) * 4.1, 38.9 + f64::from(k / 8) * 4.7))
        {
            let wanted = wanted(ring, far);
            let built = kit.nearest_pair(&wanted).unwrap();
            let near = |mm: f64| {
                let packs = stacks.packs_mm(mm - REACH_MM, mm + REACH_MM).into_iter();
                packs.map(|pack_mm| BuiltPack {
                    pack_mm,
                    stack_mm: stacks.stack_mm(pack_mm),
                })
            };
            let least = near(wanted.ring_side_mm)
                .flat_map(|ring| near(wanted.far_side_mm).map(move |far| (ring.clone(), far)))
                .map(|(ring, far)| cost(&wanted, &ring, &far))
                .fold(f64::INFINITY, f64::min);
            let found = cost(&wanted, &built.ring_side, &built.far_side);
            assert!(found <= least + 1e-12, "{found} and {least}: {built:?}");
        }
    }

    /// One shim of each size: 30 + 5 and 20 + 10 are what is left for 35 and 30; what is in the axle comes to it.
    #[test]
    fn shims_that_are_there_once_are_used_once() {
        let kit = ShimsAtHand {
            sizes_mm: [5.0, 10.0, 20.0, 30.0].map(|t| t * THOU_MM).to_vec(),
            counts: vec![1, 1, 1, 1],
            in_axle_mm: Vec::new(),
        };
        let built = kit.nearest_pair(&wanted(35.0, 30.0)).unwrap();
        let all: f64 = [&built.ring_side, &built.far_side]
            .iter()
            .map(|p| p.pack_mm)
            .sum();
        assert!(thou(all) <= 65.0 + 1e-6);
        let mut pieces = [built.ring_side.stack_mm, built.far_side.stack_mm].concat();
        pieces.sort_by(f64::total_cmp);
        let doubled = pieces
            .windows(2)
            .any(|pair| (pair[0] - pair[1]).abs() < 1e-6);
        assert!(!doubled, "{pieces:?}");
        // The pack of 41 that is in would do for either; the other is made of the kit.
        let both = ShimsAtHand {
            sizes_mm: [1.0, 10.0, 30.0].map(|t| t * THOU_MM).to_vec(),
            counts: vec![2, 1, 1],
            in_axle_mm: vec![41.0 * THOU_MM],
        };
        let built = both.nearest_pair(&wanted(41.0, 41.0)).unwrap();
        assert!(
            (thou(built.ring_side.pack_mm) - 41.0).abs() < 1e-6,
            "{built:?}"
        );
        assert!(
            (thou(built.far_side.pack_mm) - 41.0).abs() < 1e-6,
            "{built:?}"
        );
        assert_eq!(
            built.ring_side.stack_mm.len() + built.far_side.stack_mm.len(),
            4
        );
        let with_axle = ShimsAtHand {
            in_axle_mm: vec![41.0 * THOU_MM],
            ..kit
        };
        let found = with_axle.nearest(41.0 * THOU_MM).unwrap();
        assert_eq!(found.stack_mm.len(), 1);
    }

    #[test]
    fn without_a_kit_nothing_is_built() {
        assert_eq!(ShimsAtHand::for_sides(None, &[2.0]).nearest(2.0), None);
    }

    proptest! {
        /// No pair is built that a pair of the same kit would beat in backlash and in preload both.
        #[test]
        fn the_pair_is_near(ring in 60.0..110.0_f64, far in 60.0..110.0_f64) {
            let sizes = [2.0, 3.0, 5.0, 10.0, 30.0].map(|t| t * THOU_MM);
            let built = ShimsAtHand::any_number(&sizes).nearest_pair(&wanted(ring, far)).unwrap();
            prop_assert!((thou(built.backlash_mm) - 8.0).abs() <= 0.6);
            prop_assert!((thou(built.preload_mm) - 8.0).abs() <= 1.0 + 1e-6);
        }
    }
}
