//! Jobs as they go at the bench, played on cards of every kind, and what advice says of each: held, so that nothing of it
//! changes unseen. What a trial shows is the contact model's own; whether advice is right is played elsewhere
//! (`examples/evaluation`).

use super::advise;
use crate::contact::Misalignment;
use crate::frames::Side;
use crate::held;
use crate::schema::{
    Adjust, Advice, BacklashDirection, Card, Cutting, FlankReading, ShimPlace, Trial,
};
use rayon::prelude::*;
use std::fmt::Write as _;

/// Where the gears of a set stand, and what is wrong with its housing.
#[derive(Clone, Copy, Default)]
struct Stands {
    pinion_mm: f64,
    ring_mm: f64,
    offset_mm: f64,
    shaft_angle_deg: f64,
}

/// What a bench notes of an assembly with its first packs moved by so much.
fn trial(card: &Card, at: Stands, packs: [f64; 2]) -> Trial {
    let off = Misalignment {
        pinion_mm: at.pinion_mm,
        ring_mm: at.ring_mm,
        offset_mm: at.offset_mm,
        shaft_angle: at.shaft_angle_deg.to_radians(),
    };
    let state = crate::card::simulate(card, &off).unwrap();
    let [least, most] = card.backlash_window_mm();
    let mut trial = Trial {
        pinion_shim_mm: Some(0.762 + packs[0]),
        ring_side_shim_mm: Some(2.159 + packs[1]),
        far_side_shim_mm: Some(2.286 - packs[1]),
        backlash_mm: vec![0.5 * (least + most) + state.backlash_change_mm],
        ..Trial::default()
    };
    for side in Side::BOTH {
        if let Some(patch) = state.side(side).patch {
            trial.set_reading(side, FlankReading::at(patch.centre));
        }
    }
    trial
}

/// Two assemblies: the gears off by so much, then moved by packs.
fn two(card: &Card, first: Stands, moved: [f64; 2]) -> [Trial; 2] {
    let then = Stands {
        pinion_mm: first.pinion_mm + moved[0],
        ring_mm: first.ring_mm + moved[1],
        ..first
    };
    // A thicker pack behind the ring gear moves it toward the pinion.
    let packs = [
        moved[0] / card.pinion.shim_place.away_per_thicker(),
        -moved[1],
    ];
    [trial(card, first, [0.0; 2]), trial(card, then, packs)]
}

fn misread(trial: &mut Trial, side: Side, length: f64, height: f64) {
    let reading = match side {
        Side::Drive => &mut trial.drive,
        Side::Coast => &mut trial.coast,
    };
    if let Some(reading) = reading {
        reading.centre.length += length;
        reading.centre.height += height;
    }
}

const OFF: Stands = Stands {
    pinion_mm: 0.2,
    ring_mm: 0.12,
    offset_mm: 0.0,
    shaft_angle_deg: 0.0,
};

/// One assembly: right, off its place, or told wrong.
fn stories_of_one(card: &Card) -> Vec<(&'static str, Vec<Trial>)> {
    let at = |pinion_mm, ring_mm| Stands {
        pinion_mm,
        ring_mm,
        ..Stands::default()
    };
    let one = |at| vec![trial(card, at, [0.0; 2])];
    let mut varies = one(at(0.02, 0.0));
    let mean_mm = varies[0].backlash_mm[0];
    varies[0].backlash_mm = [-0.04, 0.0, 0.04, 0.0].map(|mm| mean_mm + mm).to_vec();
    let mut mixed_up = one(OFF);
    let (drive, coast) = (mixed_up[0].drive.take(), mixed_up[0].coast.take());
    (mixed_up[0].drive, mixed_up[0].coast) = (coast, drive);
    let mut placed = one(OFF);
    placed[0].pinion_shim_mm = None;
    placed[0].pinion_mm = Some(0.0);
    vec![
        ("right", one(at(0.0, 0.0))),
        ("nearly right", one(at(0.06, -0.03))),
        ("pinion far, ring gear far", one(OFF)),
        ("pinion near, ring gear near", one(at(-0.15, -0.1))),
        ("backlash wide alone", one(at(0.0, 0.25))),
        ("backlash varies", varies),
        ("drive and coast mixed up", mixed_up),
        ("pinion's place instead of its pack", placed),
        (
            "offset wrong",
            one(Stands {
                offset_mm: 0.6,
                ..OFF
            }),
        ),
    ]
}

/// A second assembly, with one thing gone wrong.
fn stories_of_two(card: &Card) -> Vec<(&'static str, Vec<Trial>)> {
    let moved = [-0.13, -0.05];
    let told = two(card, OFF, moved);
    let but = |change: &dyn Fn(&mut [Trial; 2])| {
        let mut trials = told.clone();
        change(&mut trials);
        trials.to_vec()
    };
    let fault = |stands| two(card, stands, moved).to_vec();
    let old = |t: &mut [Trial; 2]| {
        t[1].drive = t[0].drive.clone();
        t[1].coast = t[0].coast.clone();
    };
    vec![
        ("as told", told.to_vec()),
        ("old photos", but(&old)),
        (
            "drive length misread",
            but(&|t| misread(&mut t[0], Side::Drive, 0.3, 0.0)),
        ),
        (
            "coast height misread",
            but(&|t| misread(&mut t[0], Side::Coast, 0.0, -0.25)),
        ),
        (
            "pinion pack noted wrong",
            but(&|t| t[0].pinion_shim_mm = Some(1.016)),
        ),
        (
            "side pack noted wrong",
            but(&|t| {
                t[0].ring_side_shim_mm = Some(2.413);
                t[0].far_side_shim_mm = Some(2.032);
            }),
        ),
        (
            "pack moved the other way",
            two(card, OFF, [0.13, -0.05])
                .into_iter()
                .zip(&told)
                .map(|(shown, told)| Trial {
                    pinion_shim_mm: told.pinion_shim_mm,
                    ..shown
                })
                .collect(),
        ),
        ("dial misread", but(&|t| t[0].backlash_mm[0] += 0.2)),
        (
            "dial along",
            but(&|t| {
                for trial in t {
                    trial.backlash_mm[0] *= 1.35;
                }
            }),
        ),
        (
            "offset wrong",
            fault(Stands {
                offset_mm: 0.6,
                ..OFF
            }),
        ),
        (
            "shaft angle wrong",
            fault(Stands {
                shaft_angle_deg: 0.6,
                ..OFF
            }),
        ),
    ]
}

/// A card of each kind.
fn cards() -> Vec<(&'static str, Card)> {
    let example = Card::from_toml(include_str!("../../examples/larchfield/card.toml")).unwrap();
    let but = |change: &dyn Fn(&mut Card)| {
        let mut card = example.clone();
        change(&mut card);
        card
    };
    vec![
        ("milled", example.clone()),
        (
            "hobbed, under the cage, dial along at another radius",
            but(&|card| {
                card.gear.cutting = Cutting::FaceHobbed;
                card.gear.taper_deg = None;
                card.pinion.shim_place = ShimPlace::UnderCage;
                card.carrier.backlash_direction = Some(BacklashDirection::Tangential);
                card.carrier.backlash_radius_mm = Some(85.0);
            }),
        ),
        (
            "adjusters, dial not said",
            but(&|card| {
                card.carrier.adjust = Adjust::Threaded;
                card.carrier.pitch_mm = Some(1.5);
                card.carrier.notches_per_turn = Some(24);
                card.carrier.backlash_direction = None;
                card.carrier.backlash_radius_mm = Some(85.0);
            }),
        ),
        (
            "one thick shim at hand",
            but(&|card| {
                card.kit.side_shims_mm = vec![1.0];
                card.kit.pinion_shims_mm = vec![0.254];
            }),
        ),
        (
            "no kit",
            but(&|card| card.kit = crate::schema::Kit::default()),
        ),
    ]
}

/// What was advised, in a few lines: millimetres are in hundredths, chances in per cent.
fn lines(name: &str, advice: &Advice) -> String {
    let mut out = format!("{name}: {:?}\n", advice.verdict);
    let hundredths = |mm: f64| format!("{:+.1}", 100.0 * mm + 0.0);
    let percent = |share: f64| format!("{:.1} %", 100.0 * share);
    let _ = writeln!(out, "  {}\n  {}", advice.summary, advice.instruction);
    if let (Some(change), Some(stands)) = (advice.change, advice.stands) {
        let _ = writeln!(
            out,
            "  pinion {}, ring gear {}; they stand {}, {}",
            hundredths(change.pinion_mm),
            hundredths(change.ring_mm),
            hundredths(stands.pinion_mm),
            hundredths(stands.ring_mm),
        );
    }
    let chances = [advice.chance_now, advice.chance].map(|c| c.map_or("-".into(), percent));
    let _ = writeln!(out, "  right {} now, {} then", chances[0], chances[1]);
    if let Some(second) = &advice.runner_up {
        let _ = writeln!(
            out,
            "  second {}, {} at {}",
            hundredths(second.pinion_mm),
            hundredths(second.ring_mm),
            percent(second.chance)
        );
    }
    for suspect in &advice.suspects {
        let (what, odds) = (suspect.what, suspect.odds.log10());
        let _ = writeln!(
            out,
            "  suspect {what:?} of {:?}, odds of ten to the {odds:.1}",
            suspect.trial
        );
    }
    for check in &advice.checks {
        let _ = writeln!(out, "  check {:?}", check.code);
    }
    let _ = writeln!(out, "  cautions {}", advice.cautions.len());
    out
}

#[test]
#[ignore = "slow: by .ci/run"]
fn held_advice_on_jobs_as_they_go() {
    let played: Vec<String> = cards()
        .into_par_iter()
        .flat_map(|(kind, card)| {
            let stories = stories_of_one(&card).into_par_iter();
            let stories = stories.chain(stories_of_two(&card));
            let told = stories.map(move |(name, mut trials)| {
                if card.carrier.adjust == Adjust::Threaded {
                    let first = trials[0].ring_side_shim_mm.unwrap_or_default();
                    for trial in &mut trials {
                        let thicker = trial.ring_side_shim_mm.take().unwrap_or_default() - first;
                        trial.far_side_shim_mm = None;
                        trial.ring_notches = Some((-thicker / 1.5 * 24.0).round() as i32);
                    }
                }
                let advice = advise(&card, &trials).unwrap();
                lines(&format!("{kind}, {name}, {}", trials.len()), &advice)
            });
            told.collect::<Vec<_>>()
        })
        .collect();
    held::hold("advice.txt", &played.concat());
}
