//! The change that is chosen is the one that the gears want: the contact model says what a set would show that stands off by
//! so much, and the advice on it must bring the gears back to within a shim. Which packs are chosen is tested, not the model.

use crate::contact::Misalignment;
use crate::frames::Side;
use crate::rules::advise;
use crate::schema::{Card, FlankReading, Trial};

/// What a bench would note of gears that stand so far off.
fn bench_of(card: &Card, pinion_mm: f64, ring_mm: f64) -> Trial {
    let off = Misalignment {
        pinion_mm,
        ring_mm,
        ..Misalignment::default()
    };
    let state = crate::card::simulate(card, &off).unwrap();
    let [least, most] = card.backlash_window_mm();
    let mut trial = Trial {
        pinion_shim_mm: Some(0.762),
        ring_side_shim_mm: Some(2.159),
        far_side_shim_mm: Some(2.286),
        backlash_mm: vec![(least + most) / 2.0 + state.backlash_change_mm],
        ..Trial::default()
    };
    for side in Side::BOTH {
        let centre = state.side(side).patch.unwrap().centre;
        trial.set_reading(side, FlankReading::at(centre));
    }
    trial
}

#[test]
fn the_packs_that_are_chosen_bring_the_gears_back_to_within_a_shim() {
    let card = Card::from_toml(include_str!("../../../examples/larchfield/card.toml")).unwrap();
    let [least_mm, most_mm] = card.backlash_window_mm();
    for (pinion_mm, ring_mm) in [
        (0.25, 0.0),
        (0.15, 0.0),
        (-0.15, 0.0),
        (-0.25, 0.0),
        (0.2, 0.1),
        (-0.2, -0.1),
    ] {
        let advice = advise(&card, &[bench_of(&card, pinion_mm, ring_mm)]).unwrap();
        let change = advice.change.unwrap();
        // One assembly and its priors leave up to 0.05 mm; the thinnest shim of the card's kit is 0.064 mm (0.0025 in).
        let left_mm = pinion_mm + change.pinion_mm;
        assert!(left_mm.abs() < 0.06, "{pinion_mm}, {ring_mm}: {change:?}");
        let backlash_mm = advice.predicted.unwrap().backlash_mm;
        assert!((least_mm..=most_mm).contains(&backlash_mm), "{backlash_mm}");
    }
}

/// Found by `tests/fuzz` through the page: advice on hundreds of assemblies took minutes.
#[test]
#[ignore = "slow: by .ci/run"]
fn of_a_log_without_end_the_newest_assemblies_are_weighed() {
    let card = Card::from_toml(include_str!("../../../examples/larchfield/card.toml")).unwrap();
    let one = bench_of(&card, 0.15, 0.0);
    let mut log = vec![one.clone(); 25];
    let said = |log: &[Trial]| advise(&card, log).unwrap().cautions.concat();
    assert!(said(&log).contains("newest 24 assemblies"));
    log.pop();
    assert!(!said(&log).contains("newest"));
    log.extend(vec![one; 2000]);
    assert!(said(&log).contains("newest 24 assemblies"));
}

/// A set is not called right while it is likelier wrong, however far its gears stand off; and near enough it is.
#[test]
fn good_is_said_of_what_is_likelier_right_than_wrong() {
    let card = Card::from_toml(include_str!("../../../examples/larchfield/card.toml")).unwrap();
    let mut verdicts = Vec::new();
    for step in 0..16 {
        let advice = advise(&card, &[bench_of(&card, 0.015 * f64::from(step), 0.0)]).unwrap();
        let chance = advice.chance_now.unwrap();
        let good = advice.verdict == crate::schema::Verdict::Good;
        assert!(!good || chance >= 0.5, "{step}: {chance}");
        verdicts.push(good);
    }
    assert!(verdicts[0] && !verdicts[15], "{verdicts:?}");
}
