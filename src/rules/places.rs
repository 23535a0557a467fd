//! Where pinion and ring gear stood in each trial, and where the shims at hand can put them next.

use super::calibration::{CALIBRATION, ChoiceWeights};
use super::kit::{Stacks, step_mm};
use crate::schema::{Adjust, Card, Pack, Shims, Trial};

/// The numbers that changes are weighed by.
const WEIGHTS: ChoiceWeights = CALIBRATION.choice;

/// Trials written in different ways of saying where a gear stood cannot be put on one scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Scale {
    /// A position.
    Position,
    /// The pack that carries the gear.
    Shim,
    /// The pack on the far side only.
    FarShim,
    /// Notches of threaded rings.
    Notches,
}

/// Where a gear stood: millimetres away from its mate, from the zero of its scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Place {
    /// What the zero belongs to.
    pub scale: Scale,
    /// Millimetres, + = away.
    pub away_mm: f64,
}

/// Where the pinion stood; `None` when the trial does not say.
pub(crate) fn pinion(card: &Card, trial: &Trial) -> Option<Place> {
    let place = |scale, away_mm| Some(Place { scale, away_mm });
    match (trial.pinion_mm, trial.pinion_shim_mm) {
        (Some(at), _) => place(Scale::Position, at),
        (None, Some(shim)) => place(
            Scale::Shim,
            card.pinion.shim_place.away_per_thicker() * shim,
        ),
        (None, None) => None,
    }
}

/// Where the ring gear stood; `None` when the trial does not say. A thicker pack behind the ring
/// gear pushes it toward the pinion; the far side takes out what this side puts in.
pub(crate) fn ring(card: &Card, trial: &Trial) -> Option<Place> {
    let place = |scale, away_mm| Some(Place { scale, away_mm });
    if let Some(at) = trial.ring_mm {
        return place(Scale::Position, at);
    }
    if let (Some(notches), Some(notch_mm)) = (trial.ring_notches, card.carrier.notch_mm()) {
        return place(Scale::Notches, f64::from(notches) * notch_mm);
    }
    match (trial.ring_side_shim_mm, trial.far_side_shim_mm) {
        (Some(shim), _) => place(Scale::Shim, -shim),
        (None, Some(shim)) => place(Scale::FarShim, shim),
        (None, None) => None,
    }
}

/// One change of one gear that the shims at hand allow.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Choice {
    /// Millimetres the gear moves, + = away.
    pub move_mm: f64,
    /// What it takes.
    pub by: Means,
    /// Shims that have to be stacked for it, of all packs; 0 where the kit is unknown or nothing is
    /// changed.
    pub pieces: usize,
}

/// What a change takes.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Means {
    /// Nothing is known of the shims.
    Unknown,
    /// The pinion's pack.
    PinionPack(f64),
    /// The packs on the ring side and, if known, on the far side.
    SidePacks(f64, Option<f64>),
    /// Only the far side's pack is known.
    FarPack(f64),
    /// Notches.
    Notches(i32),
}

/// Everything the next assembly can be changed to.
#[derive(Debug, Clone)]
pub(crate) struct Choices {
    /// For the pinion, least move first, "as it is" among them.
    pub pinion: Vec<Choice>,
    /// For the ring gear, likewise.
    pub ring: Vec<Choice>,
    pinion_stacks: Option<Stacks>,
    side_stacks: Option<Stacks>,
}

/// What the kit and the packs that are in allow from the last trial on.
pub(crate) fn choices(card: &Card, last: &Trial) -> Choices {
    let kit = &card.kit;
    let stacks = |shims: &[f64], counts: &[u32], in_axle: &[Option<f64>], most_mm: f64| {
        let in_axle: Vec<f64> = in_axle
            .iter()
            .copied()
            .flatten()
            .filter(|mm| *mm > 0.0)
            .collect();
        Stacks::of_kit(shims, counts, &in_axle, most_mm)
    };
    let thickest =
        |pack: Option<f64>| pack.unwrap_or(0.0) + WEIGHTS.most_move_mm + WEIGHTS.spare_pack_mm;
    let pinion_stacks = stacks(
        &kit.pinion_shims_mm,
        &kit.pinion_shim_counts,
        &[last.pinion_shim_mm],
        thickest(last.pinion_shim_mm),
    );
    let side = last
        .ring_side_shim_mm
        .unwrap_or(0.0)
        .max(last.far_side_shim_mm.unwrap_or(0.0))
        .max(card.carrier.side_pack_total_mm.unwrap_or(0.0) / 2.0);
    let side_stacks = stacks(
        &kit.side_shims_mm,
        &kit.side_shim_counts,
        &[last.ring_side_shim_mm, last.far_side_shim_mm],
        side + WEIGHTS.most_move_mm + WEIGHTS.spare_pack_mm,
    );
    Choices {
        pinion: sorted(pinion_options(card, last, pinion_stacks.as_ref())),
        ring: sorted(ring_options(card, last, side_stacks.as_ref())),
        pinion_stacks,
        side_stacks,
    }
}

fn sorted(mut options: Vec<Choice>) -> Vec<Choice> {
    options.retain(|option| option.move_mm.abs() <= WEIGHTS.most_move_mm + 1e-9);
    options.sort_by(|a, b| a.move_mm.abs().total_cmp(&b.move_mm.abs()));
    options
}

/// Whole steps up to the greatest move, both ways and none.
fn free_moves(step_mm: f64) -> impl Iterator<Item = f64> {
    let most = (WEIGHTS.most_move_mm / step_mm).floor() as i32;
    (-most..=most).map(move |n| f64::from(n) * step_mm)
}

/// A step no finer than makes sense to try.
fn sensible_step_mm(kit: &[f64]) -> f64 {
    let step = step_mm(kit).unwrap_or(WEIGHTS.step_without_kit_mm);
    step * (WEIGHTS.finest_step_mm / step).ceil().max(1.0)
}

/// Packs a gear's own pack may become: what the kit stacks, or any step without a kit, and what is
/// in.
fn next_packs(from_mm: f64, kit: &[f64], stacks: Option<&Stacks>) -> Vec<f64> {
    let mut packs = match stacks {
        Some(stacks) => stacks.packs_mm(
            from_mm - WEIGHTS.most_move_mm,
            from_mm + WEIGHTS.most_move_mm,
        ),
        None => free_moves(sensible_step_mm(kit))
            .map(|change| from_mm + change)
            .filter(|mm| *mm > 0.0)
            .collect(),
    };
    packs.retain(|mm| (mm - from_mm).abs() > WEIGHTS.same_pack_mm);
    packs.push(from_mm);
    packs
}

/// Shims in the pack that takes the place of the one that is in.
fn pieces(stacks: Option<&Stacks>, from_mm: f64, to_mm: f64) -> usize {
    if from_mm == to_mm {
        return 0;
    }
    stacks.map_or(0, |s| s.stack_mm(to_mm).len())
}

fn pinion_options(card: &Card, last: &Trial, stacks: Option<&Stacks>) -> Vec<Choice> {
    let kit = &card.kit.pinion_shims_mm;
    if let Some(from_mm) = last.pinion_shim_mm {
        let away = card.pinion.shim_place.away_per_thicker();
        return next_packs(from_mm, kit, stacks)
            .into_iter()
            .map(|to_mm| Choice {
                move_mm: away * (to_mm - from_mm),
                by: Means::PinionPack(to_mm),
                pieces: pieces(stacks, from_mm, to_mm),
            })
            .collect();
    }
    free_moves(sensible_step_mm(kit))
        .map(|move_mm| Choice {
            move_mm,
            by: Means::Unknown,
            pieces: 0,
        })
        .collect()
}

fn ring_options(card: &Card, last: &Trial, stacks: Option<&Stacks>) -> Vec<Choice> {
    let kit = &card.kit.side_shims_mm;
    if let (Adjust::Threaded, Some(notch_mm)) = (card.carrier.adjust, card.carrier.notch_mm()) {
        let most = (WEIGHTS.most_move_mm / notch_mm).floor() as i32;
        return (-most..=most)
            .map(|n| Choice {
                move_mm: f64::from(n) * notch_mm,
                by: Means::Notches(n),
                pieces: 0,
            })
            .collect();
    }
    match (last.ring_side_shim_mm, last.far_side_shim_mm) {
        (Some(ring_mm), far_mm) => next_packs(ring_mm, kit, stacks)
            .into_iter()
            .filter_map(|to_mm| {
                let far = match far_mm {
                    Some(far_mm) => Some(far_pack(card, ring_mm, far_mm, to_mm, kit, stacks)?),
                    None => None,
                };
                let both: Vec<f64> = [(ring_mm, Some(to_mm)), (far_mm.unwrap_or_default(), far)]
                    .into_iter()
                    .filter_map(|(from, to)| to.filter(|to| *to != from))
                    .collect();
                stacks.is_none_or(|s| s.enough_for(&both)).then_some(())?;
                Some(Choice {
                    move_mm: ring_mm - to_mm,
                    by: Means::SidePacks(to_mm, far),
                    pieces: pieces(stacks, ring_mm, to_mm)
                        + far_mm
                            .zip(far)
                            .map_or(0, |(from, to)| pieces(stacks, from, to)),
                })
            })
            .collect(),
        (None, Some(far_mm)) => next_packs(far_mm, kit, stacks)
            .into_iter()
            .map(|to_mm| Choice {
                move_mm: to_mm - far_mm,
                by: Means::FarPack(to_mm),
                pieces: pieces(stacks, far_mm, to_mm),
            })
            .collect(),
        (None, None) => free_moves(sensible_step_mm(kit))
            .map(|move_mm| Choice {
                move_mm,
                by: Means::Unknown,
                pieces: 0,
            })
            .collect(),
    }
}

/// The far side's pack that keeps the total of both, and with it the preload; `None` when the kit
/// has none near enough.
fn far_pack(
    card: &Card,
    ring_mm: f64,
    far_mm: f64,
    to_mm: f64,
    kit: &[f64],
    stacks: Option<&Stacks>,
) -> Option<f64> {
    let total_mm = card.carrier.side_pack_total_mm.unwrap_or(ring_mm + far_mm);
    let wanted_mm = total_mm - to_mm;
    if wanted_mm <= 0.0 {
        return None;
    }
    if (wanted_mm - far_mm).abs() < 0.002 {
        return Some(far_mm);
    }
    let Some(stacks) = stacks else {
        return Some(wanted_mm);
    };
    // Half a step is what rounding to the kit costs; more would change the preload.
    let allowed_mm = 0.5 * step_mm(kit).unwrap_or(WEIGHTS.step_without_kit_mm) + 0.003;
    stacks
        .nearest_mm(wanted_mm)
        .filter(|mm| (mm - wanted_mm).abs() <= allowed_mm)
}

impl Choices {
    /// The shims of a change; `None` where the job says nothing of shims.
    pub(crate) fn shims(&self, last: &Trial, pinion: &Choice, ring: &Choice) -> Option<Shims> {
        let pack = |from_mm: f64, to_mm: f64, stacks: Option<&Stacks>| Pack {
            from_mm,
            to_mm,
            stack_mm: stacks.map_or_else(Vec::new, |s| s.stack_mm(to_mm)),
        };
        let side = self.side_stacks.as_ref();
        let mut shims = Shims::default();
        if let (Means::PinionPack(to_mm), Some(from_mm)) = (&pinion.by, last.pinion_shim_mm) {
            shims.pinion = Some(pack(from_mm, *to_mm, self.pinion_stacks.as_ref()));
        }
        match &ring.by {
            Means::SidePacks(to_mm, far_mm) => {
                shims.ring_side = last.ring_side_shim_mm.map(|from| pack(from, *to_mm, side));
                shims.far_side = last
                    .far_side_shim_mm
                    .zip(*far_mm)
                    .map(|(from, to)| pack(from, to, side));
            }
            Means::FarPack(to_mm) => {
                shims.far_side = last.far_side_shim_mm.map(|from| pack(from, *to_mm, side));
            }
            Means::Notches(n) => shims.ring_notches = Some(*n),
            Means::Unknown | Means::PinionPack(_) => {}
        }
        (shims != Shims::default()).then_some(shims)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schema::ShimPlace;

    /// As cards and README have it: behind the head bearing thicker is toward the ring gear, under a cage away from it; a thicker
    /// pack behind the ring gear pushes it toward the pinion, one on the far side away.
    #[test]
    fn thicker_packs_move_the_gears_the_way_that_the_card_says() {
        let mut card =
            Card::from_toml(include_str!("../../examples/larchfield/card.toml")).unwrap();
        let with = |pinion: f64, ring: Option<f64>, far: Option<f64>| Trial {
            pinion_shim_mm: Some(pinion),
            ring_side_shim_mm: ring,
            far_side_shim_mm: far,
            ..Trial::default()
        };
        let (thin, thick) = (
            with(0.5, Some(2.0), Some(2.0)),
            with(0.7, Some(2.3), Some(1.7)),
        );
        let moved = |before: Option<Place>, after: Option<Place>| {
            let (before, after) = (before.unwrap(), after.unwrap());
            assert_eq!(before.scale, after.scale);
            after.away_mm - before.away_mm
        };
        for (place, away_mm) in [
            (ShimPlace::BehindHeadBearing, -0.2),
            (ShimPlace::UnderCage, 0.2),
        ] {
            card.pinion.shim_place = place;
            let by = moved(pinion(&card, &thin), pinion(&card, &thick));
            assert!((by - away_mm).abs() < 1e-12, "{place:?}: {by}");
        }
        let by = moved(ring(&card, &thin), ring(&card, &thick));
        assert!((by + 0.3).abs() < 1e-12, "{by}");
        let far = |mm: f64| ring(&card, &with(0.5, None, Some(mm)));
        assert!((moved(far(2.0), far(2.3)) - 0.3).abs() < 1e-12);
    }

    /// With the far pack alone known the ring gear moves away from the pinion by what that pack gets thicker, and threaded
    /// rings and packs that nobody wrote down reach both ways.
    #[test]
    fn the_ring_gear_moves_by_what_its_means_move_it() {
        let mut card =
            Card::from_toml(include_str!("../../examples/larchfield/card.toml")).unwrap();
        let mut last = Trial {
            far_side_shim_mm: Some(2.0),
            ..Trial::default()
        };
        let choices = ring_options(&card, &last, None);
        assert!(choices.len() > 10);
        for choice in choices {
            let Means::FarPack(to_mm) = choice.by else {
                panic!("{:?}", choice.by)
            };
            assert!((choice.move_mm - (to_mm - 2.0)).abs() < 1e-12, "{to_mm}");
        }
        last.far_side_shim_mm = None;
        card.carrier.adjust = Adjust::Threaded;
        card.carrier.pitch_mm = Some(1.5);
        card.carrier.notches_per_turn = Some(30);
        for choice in ring_options(&card, &last, None) {
            let Means::Notches(notches) = choice.by else {
                panic!("{:?}", choice.by)
            };
            assert!((choice.move_mm - 0.05 * f64::from(notches)).abs() < 1e-12);
        }
    }

    #[test]
    fn without_a_kit_a_pack_may_become_any_step_about_what_is_in() {
        let packs = next_packs(5.0, &[], None);
        let mean = packs.iter().sum::<f64>() / packs.len() as f64;
        assert!((mean - 5.0).abs() < 0.01, "{mean}");
        assert!(
            packs
                .iter()
                .all(|mm| (mm - 5.0).abs() <= WEIGHTS.most_move_mm + 1e-9)
        );
        assert!(packs.iter().all(|mm| *mm > 0.0) && packs.contains(&5.0));
    }

    #[test]
    fn a_step_is_a_whole_number_of_the_kit_s_own_and_no_finer_than_makes_sense() {
        let coarse = sensible_step_mm(&[0.1, 0.2]);
        assert!((coarse - 0.1).abs() < 1e-9, "{coarse}");
        let fine = WEIGHTS.finest_step_mm / 2.5;
        let step = sensible_step_mm(&[fine, 2.0 * fine]);
        assert!((step - 3.0 * fine).abs() < 1e-9, "{step} of {fine}");
    }
}
