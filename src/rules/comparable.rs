//! Which trials of a job can be put on one scale with the last, and how far the gears moved between them.

use super::places;
use crate::schema::{Card, Condition, Move, Trial};

/// Where both gears stood in a trial, each on its own scale.
#[derive(Clone, Copy)]
struct Stood {
    pinion: places::Place,
    ring: places::Place,
}

impl Stood {
    /// `None` when the trial does not say. `both_packs`: every trial that says the ring-side pack says the far-side
    /// pack too.
    fn of(card: &Card, trial: &Trial, both_packs: bool) -> Option<Self> {
        let mut ring = places::ring(card, trial)?;
        // A shim more on both sides preloads the bearings and moves nothing: where both packs are known, half their
        // difference tells the place, however thick they are together.
        if let (true, places::Scale::Shim, Some(near_mm), Some(far_mm)) = (
            both_packs,
            ring.scale,
            trial.ring_side_shim_mm,
            trial.far_side_shim_mm,
        ) {
            ring.away_mm = 0.5 * (far_mm - near_mm);
        }
        let pinion = places::pinion(card, trial)?;
        Some(Self { pinion, ring })
    }

    fn on_the_scale_of(&self, other: &Self) -> bool {
        self.pinion.scale == other.pinion.scale && self.ring.scale == other.ring.scale
    }

    const fn at(&self) -> Move {
        Move {
            pinion_mm: self.pinion.away_mm,
            ring_mm: self.ring.away_mm,
        }
    }
}

/// The trials that say where the gears stood on the last trial's own scale, as indices, with the
/// move since the first of them; and what to say of the others.
pub(crate) fn comparable(card: &Card, trials: &[Trial]) -> (Vec<(usize, Move)>, Vec<String>) {
    let Some((last, earlier)) = trials.split_last() else {
        return (Vec::new(), Vec::new());
    };
    let both_packs = trials
        .iter()
        .all(|t| t.ring_side_shim_mm.is_none() || t.far_side_shim_mm.is_some());
    let Some(now) = Stood::of(card, last, both_packs) else {
        let caution = "The last trial does not say where both gears stood, so the earlier trials could not \
                       be used. Record the pinion's pack and the ring-side pack of every trial.";
        let cautions = (!earlier.is_empty()).then(|| caution.into());
        return (
            vec![(earlier.len(), Move::default())],
            cautions.into_iter().collect(),
        );
    };
    let mut used: Vec<(usize, Move)> = Vec::new();
    let mut cautions = Vec::new();
    let mut first: Option<Move> = None;
    let new_gears = last.condition == Some(Condition::New);
    for (i, trial) in trials.iter().enumerate() {
        // Struck out, or nothing was read that could be used: no doubt about where its gears stood.
        let read = trial.drive.is_some() || trial.coast.is_some() || !trial.backlash_mm.is_empty();
        if trial.struck || !read {
            continue;
        }
        if new_gears && trial.as_found && trial.condition != Some(Condition::New) {
            cautions.push(format!(
                "Trial {} is the axle as found with its old gears, so it was not used for the new ones.",
                i + 1
            ));
            continue;
        }
        match Stood::of(card, trial, both_packs) {
            Some(stood) if stood.on_the_scale_of(&now) => {
                let zero = *first.get_or_insert(stood.at());
                used.push((i, stood.at() - zero));
            }
            _ => cautions.push(format!(
                "Trial {} does not say where both gears stood in the way the last trial does, so it \
                 was not used.",
                i + 1
            )),
        }
    }
    (used, cautions)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn card() -> Card {
        Card::from_toml(include_str!("../../examples/larchfield/card.toml"))
            .expect("the card is sound")
    }

    fn packs(ring_mm: f64, far_mm: Option<f64>) -> Trial {
        Trial {
            pinion_shim_mm: Some(0.762),
            ring_side_shim_mm: Some(ring_mm),
            far_side_shim_mm: far_mm,
            backlash_mm: vec![0.2],
            ..Trial::default()
        }
    }

    #[test]
    fn preload_on_both_sides_moves_nothing_and_on_the_ring_side_half() {
        let moved = |ring_mm: f64, far_mm: f64| {
            let trials = [packs(2.10, Some(2.35)), packs(ring_mm, Some(far_mm))];
            let (used, cautions) = comparable(&card(), &trials);
            assert!(cautions.is_empty(), "{cautions:?}");
            used[1].1.ring_mm
        };
        assert!(moved(2.20, 2.45).abs() < 1e-12);
        assert!((moved(2.20, 2.35) + 0.05).abs() < 1e-12);
        assert!((moved(2.00, 2.45) - 0.10).abs() < 1e-12);
    }

    #[test]
    fn where_a_far_pack_is_not_known_the_ring_side_alone_tells() {
        let trials = [packs(2.10, Some(2.35)), packs(2.00, None)];
        let (used, _) = comparable(&card(), &trials);
        assert!((used[1].1.ring_mm - 0.10).abs() < 1e-12);
    }

    #[test]
    fn what_was_struck_out_or_never_read_is_no_riddle() {
        let struck = Trial {
            struck: true,
            ..Trial::default()
        };
        let mut preloaded = packs(2.10, None);
        preloaded.backlash_mm.clear();
        let last = packs(2.00, Some(2.45));
        let (used, cautions) = comparable(&card(), &[struck, preloaded, last]);
        assert_eq!(used.len(), 1);
        assert!(cautions.is_empty(), "{cautions:?}");
    }

    #[test]
    fn old_gears_as_found_teach_nothing_of_new_ones() {
        let mut found = packs(2.00, Some(2.45));
        found.as_found = true;
        found.condition = Some(Condition::Used);
        let mut last = packs(2.10, Some(2.35));
        last.condition = Some(Condition::New);
        let (used, cautions) = comparable(&card(), &[found.clone(), last.clone()]);
        assert_eq!(used.len(), 1);
        assert!(cautions[0].contains("old gears"), "{cautions:?}");
        last.condition = Some(Condition::Used);
        assert_eq!(comparable(&card(), &[found, last]).0.len(), 2);
    }
}
