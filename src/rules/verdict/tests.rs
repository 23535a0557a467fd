use super::*;
use crate::frames::{FlankPoint, Side};
use crate::schema::{Condition, FlankReading, Suspect};
use proptest::prelude::*;

const CARD: &str = r#"
[gear]
ring_teeth = 39
pinion_teeth = 10
ring_diameter = "220mm"
face_width = "33mm"
offset = "38mm"
spiral_angle_deg = 31
cutting = "face-hobbed"
[limits]
backlash = ["0.15mm", "0.25mm"]
backlash_variation = "0.05mm"
[kit]
pinion_shims = ["0.05mm", "0.13mm", "0.50mm"]
side_shims = ["0.05mm", "0.13mm", "0.50mm"]
"#;

fn reading() -> impl Strategy<Value = Option<FlankReading>> {
    let share = -0.2..1.2_f64;
    let extent = prop::option::of((0.0..1.1_f64, 0.0..1.1_f64));
    let uncertainty = prop::option::of((0.0..0.1_f64, 0.0..0.1_f64));
    prop::option::weighted(
        0.9,
        (
            share.clone(),
            share,
            extent,
            uncertainty,
            prop::option::of(-90.0..90.0_f64),
        )
            .prop_map(
                |(length, height, extent, uncertainty, lean_deg)| FlankReading {
                    centre: FlankPoint::new(length, height),
                    extent: extent.map(|(l, h)| FlankPoint::new(l, h)),
                    lean_deg,
                    uncertainty: uncertainty.map(|(l, h)| FlankPoint::new(l, h)),
                    spread: None,
                    taken: None,
                },
            ),
    )
}

/// A trial that passes every check and may say anything.
fn believable() -> impl Strategy<Value = Trial> {
    let share = 0.0..1.0_f64;
    let flank = (
        share.clone(),
        share.clone(),
        prop::option::of((share.clone(), share)),
    );
    let flank = flank.prop_map(|(length, height, extent)| {
        Some(FlankReading {
            centre: FlankPoint::new(length, height),
            extent: extent.map(|(l, h)| FlankPoint::new(l, h)),
            lean_deg: None,
            uncertainty: None,
            spread: None,
            taken: None,
        })
    });
    (
        0.1..2.0_f64,
        0.1..3.0_f64,
        0.0..0.7_f64,
        flank.clone(),
        flank,
    )
        .prop_map(|(pinion, ring, backlash_mm, drive, coast)| Trial {
            pinion_shim_mm: Some(pinion),
            ring_side_shim_mm: Some(ring),
            far_side_shim_mm: Some(3.2 - ring),
            backlash_mm: vec![backlash_mm],
            drive,
            coast,
            ..Trial::default()
        })
}

fn trial() -> impl Strategy<Value = Trial> {
    (
        prop::option::of(prop_oneof![0.0..3.0_f64, -1.0..50.0_f64]),
        prop::option::of(0.0..4.0_f64),
        prop::option::of(0.0..4.0_f64),
        prop::collection::vec(prop_oneof![0.05..0.5_f64, -1.0..10.0_f64], 0..5),
        reading(),
        reading(),
    )
        .prop_map(|(pinion, ring, far, backlash_mm, drive, coast)| Trial {
            pinion_shim_mm: pinion,
            ring_side_shim_mm: ring,
            far_side_shim_mm: far,
            backlash_mm,
            drive,
            coast,
            ..Trial::default()
        })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    #[ignore = "slow: by .ci/run"]
    fn no_input_makes_a_wild_shim(
        trials in prop_oneof![
            prop::collection::vec(trial(), 0..4),
            prop::collection::vec(believable(), 1..4),
        ],
    ) {
        let card = Card::from_toml(CARD).unwrap();
        let advice = advise(&card, &trials).unwrap();
        if let Some(change) = advice.change {
            prop_assert!(change.pinion_mm.abs() <= 1.0 && change.ring_mm.abs() <= 1.0);
        }
        let shims = advice.shims.clone().unwrap_or_default();
        for pack in [shims.pinion, shims.ring_side, shims.far_side].into_iter().flatten() {
            prop_assert!(pack.to_mm >= 0.0);
            let stacked: f64 = pack.stack_mm.iter().sum();
            let unchanged = pack.to_mm == pack.from_mm;
            prop_assert!(unchanged || (stacked - pack.to_mm).abs() < 1e-4, "{pack:?}");
        }
        for chance in [advice.chance, advice.chance_now].into_iter().flatten() {
            prop_assert!((0.0..=1.0).contains(&chance));
        }
        let share: f64 = advice.shares.iter().map(|s| s.share).sum();
        prop_assert!(advice.shares.is_empty() || (share - 1.0).abs() < 0.01);
        prop_assert!(!advice.why.is_empty());
        prop_assert_eq!(advice.change.is_none(), advice.verdict == Verdict::Measure);
    }
}

/// Readings of one assembly, without extents.
fn assembly(pinion_shim_mm: f64, height: f64, backlash_mm: f64) -> Trial {
    let flank = |height: f64| {
        Some(FlankReading {
            centre: FlankPoint::new(0.52, height),
            extent: None,
            lean_deg: None,
            uncertainty: None,
            spread: None,
            taken: None,
        })
    };
    Trial {
        pinion_shim_mm: Some(pinion_shim_mm),
        ring_side_shim_mm: Some(2.0),
        far_side_shim_mm: Some(2.0),
        backlash_mm: vec![backlash_mm],
        drive: flank(0.5 + 0.5 * height),
        coast: flank(0.5 + height),
        ..Trial::default()
    }
}

#[test]
fn a_second_trial_narrows_what_is_known() {
    let card = Card::from_toml(CARD).unwrap();
    let first = assembly(0.81, 0.2, 0.24);
    let second = assembly(0.94, 0.05, 0.20);
    let one = advise(&card, std::slice::from_ref(&first)).unwrap();
    let two = advise(&card, &[first, second]).unwrap();
    let sure = |advice: &Advice| advice.uncertainty.unwrap().pinion_mm;
    assert!(sure(&two) < sure(&one), "{} {}", sure(&two), sure(&one));
}

/// Three trials that agree, then one with the same packs and 0.08 mm less of backlash, which only preload takes away. As it
/// will be driven, with the side bearings preloaded, that one is right and decides.
#[test]
fn an_assembly_that_is_right_with_its_preload_is_good_whatever_came_before() {
    let card = Card::from_toml(CARD).unwrap();
    let mut trials = vec![
        assembly(0.81, 0.2, 0.30),
        assembly(0.94, 0.05, 0.235),
        assembly(0.94, 0.04, 0.235),
        assembly(0.94, 0.04, 0.235),
        assembly(0.94, 0.05, 0.155),
    ];
    let contradicted = advise(&card, &trials).unwrap();
    assert!(!contradicted.checks.is_empty(), "{:?}", contradicted.why);
    trials[4].side_preload = true;
    let settled = advise(&card, &trials).unwrap();
    assert_eq!(settled.verdict, Verdict::Good, "{:?}", settled.why);
    assert!(settled.checks.is_empty(), "{:?}", settled.checks);
    let why = settled.why.join(" ");
    assert!(
        why.contains("was 0.235 mm, with it 0.155 mm: preload moves it a little"),
        "{why}"
    );
}

/// 1.5 N·m: right for new bearings, too much for used ones.
#[test]
fn used_gears_on_new_bearings_go_by_the_window_of_the_bearings() {
    let windows = "[limits]\npinion_torque_new = [\"1.3N·m\", \"1.7N·m\"]\npinion_torque_used = [\"0.6N·m\", \"0.9N·m\"]";
    let card = Card::from_toml(&CARD.replace("[limits]", windows)).unwrap();
    let warned = |bearings| {
        let mut trial = assembly(0.81, 0.05, 0.20);
        trial.condition = Some(Condition::Used);
        trial.pinion_torque_nm = Some(1.5);
        trial.bearings = bearings;
        let cautions = advise(&card, &[trial]).unwrap().cautions;
        cautions
            .iter()
            .any(|caution| caution.contains("rotating torque of"))
    };
    assert!(!warned(Some(Condition::New)));
    assert!(warned(Some(Condition::Used)));
    assert!(warned(None));
}

#[test]
fn doubts_of_the_last_photos_and_of_the_dial_stand_against_a_right_reading() {
    let doubted = |what, trial| {
        let mut advice = blank(Diagnosis::default());
        advice.suspects = vec![Suspect {
            what,
            trial,
            odds: 9.0,
        }];
        doubts_the_last(&advice, 4)
    };
    assert!(doubted(SuspectKind::CoastMisread, Some(4)));
    assert!(doubted(SuspectKind::DialSetting, None));
    assert!(!doubted(SuspectKind::CoastMisread, Some(3)));
    assert!(!doubted(SuspectKind::BacklashMisread, Some(4)));
    assert!(!doubts_the_last(&blank(Diagnosis::default()), 4));
}

#[test]
fn a_used_set_says_that_its_own_pattern_and_backlash_are_the_target() {
    let card = Card::from_toml(CARD).unwrap();
    let mut found = assembly(0.81, 0.1, 0.30);
    found.as_found = true;
    let mut last = assembly(0.81, 0.1, 0.30);
    for trial in [&mut found, &mut last] {
        trial.condition = Some(Condition::Used);
    }
    let advice = advise(&card, &[found, last.clone()]).unwrap();
    let first = &advice.why[0];
    assert!(
        first.contains("0.250 mm to 0.350 mm (the card has 0.150 mm to 0.250 mm)"),
        "{first}"
    );
    let alone = advise(&card, &[last]).unwrap();
    assert!(
        alone
            .why
            .iter()
            .all(|why| !why.contains("The gears are used"))
    );
}

#[test]
fn the_same_job_gets_the_same_advice() {
    let card = Card::from_toml(CARD).unwrap();
    let trials = [assembly(0.81, 0.2, 0.24)];
    assert_eq!(
        advise(&card, &trials).unwrap(),
        advise(&card, &trials).unwrap()
    );
}

#[test]
fn the_zero_of_the_positions_does_not_matter() {
    let card = Card::from_toml(CARD).unwrap();
    let at = |zero_mm: f64| {
        let mut trial = assembly(0.0, 0.2, 0.24);
        trial.pinion_shim_mm = None;
        trial.ring_side_shim_mm = None;
        trial.far_side_shim_mm = None;
        trial.pinion_mm = Some(zero_mm);
        trial.ring_mm = Some(-zero_mm);
        advise(&card, &[trial]).unwrap().change
    };
    assert!(at(0.0).is_some());
    assert_eq!(at(0.0), at(7.3));
}

#[test]
fn threaded_adjusters_turn_by_whole_notches() {
    let text = format!(
        "{CARD}\n[carrier]\nadjust = \"threaded\"\npitch = \"1.5mm\"\nnotches_per_turn = 20\n"
    );
    let card = Card::from_toml(&text).unwrap();
    let mut trial = assembly(0.81, 0.0, 0.42);
    trial.ring_notches = Some(0);
    let advice = advise(&card, &[trial]).unwrap();
    let notches = advice.shims.unwrap().ring_notches.unwrap();
    assert!(notches < 0, "{notches}");
    let ring_mm = advice.change.unwrap().ring_mm;
    assert!((ring_mm - f64::from(notches) * 0.075).abs() < 1e-9);
}

/// The last trial is preloaded, so that its own readings decide: each of them must be right.
#[test]
#[ignore = "slow: by .ci/run"]
fn a_preloaded_assembly_is_right_where_all_its_readings_are() {
    let card = Card::from_toml(CARD).unwrap();
    let verdict = |drive: (f64, f64), coast: (f64, f64), backlash_mm: f64| {
        let at = |side: Side, (length, height): (f64, f64)| {
            let target = card.target.of(side);
            FlankReading::at(FlankPoint::new(
                target.length + length,
                target.height + height,
            ))
        };
        let trial = Trial {
            pinion_shim_mm: Some(0.8),
            ring_side_shim_mm: Some(2.0),
            far_side_shim_mm: Some(2.0),
            backlash_mm: vec![backlash_mm; 4],
            side_preload: true,
            drive: Some(at(Side::Drive, drive)),
            coast: Some(at(Side::Coast, coast)),
            ..Trial::default()
        };
        advise(&card, &[trial]).unwrap().verdict
    };
    assert_eq!(verdict((0.0, 0.0), (0.0, 0.0), 0.2), Verdict::Good);
    let far = [(0.3, 0.0), (0.0, 0.3), (-0.3, 0.0), (0.0, -0.3)];
    for off in far {
        assert_ne!(
            verdict(off, (0.0, 0.0), 0.2),
            Verdict::Good,
            "drive {off:?}"
        );
        assert_ne!(
            verdict((0.0, 0.0), off, 0.2),
            Verdict::Good,
            "coast {off:?}"
        );
    }
    assert_ne!(verdict((0.0, 0.0), (0.0, 0.0), 0.5), Verdict::Good);
}
