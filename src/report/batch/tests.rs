//! A lot of sets of every kind, as text, table, sheet and replies.

use super::csv::batch_csv;
use super::letter::Letter;
use super::sheet::batch_sheet;
use super::text::batch_text;
use crate::batch::ask::PhotoSettings;
use crate::batch::group::{Item, Plan, SetPlan};
use crate::batch::manifest::{Bench, Client};
use crate::batch::run::Found;
use crate::batch::summary::BatchResult;
use crate::frames::{FlankPoint, Side};
use crate::held;
use crate::schema::{Card, FlankSide, Mean, Reason, ReasonCode, Source, Status, advice};
use crate::units::Units;
use std::sync::Arc;

/// A photo of a flank whose patch stands there.
fn seen(side: Side, length: f64, height: f64) -> Found {
    let point = FlankPoint::new;
    Found {
        parts: 0,
        part: 0,
        key: Some("key".into()),
        sha256: format!("{side:?} {length} {height}"),
        size: (100, 100),
        status: Status::Read,
        reasons: Vec::new(),
        flank: Some(FlankSide {
            side,
            source: Source::Given,
        }),
        mean: Some(Mean {
            centre: point(length, height),
            extent: point(0.5, 0.5),
            lean_deg: 0.0,
            spread: point(0.01, 0.01),
            teeth: 3,
        }),
        uncertainty: Some(point(0.01, 0.02)),
        problem: None,
        likeness: None,
        unkept: None,
    }
}

fn unsure(found: Found, code: ReasonCode) -> Found {
    Found {
        status: Status::Unsure,
        reasons: vec![Reason::new(code, "It is in doubt. So look at it.")],
        ..found
    }
}

fn unreadable(name: &str, code: ReasonCode) -> Found {
    Found {
        status: Status::Unreadable,
        sha256: name.into(),
        mean: None,
        flank: None,
        uncertainty: None,
        reasons: vec![Reason::new(code, "Nothing could be read. Go nearer.")],
        ..seen(Side::Drive, 0.5, 0.5)
    }
}

/// Backlash and packs as they were measured.
fn measured(backlash_mm: f64) -> Bench {
    Bench {
        backlash_mm: vec![backlash_mm; 4],
        pinion_shim_mm: Some(0.9),
        ring_side_shim_mm: Some(5.1),
        far_side_shim_mm: Some(5.6),
    }
}

/// The sets: name, whether with a card, what was measured, photos.
fn sets() -> Vec<(&'static str, bool, Bench, Vec<Found>)> {
    let drive = |length, height| seen(Side::Drive, length, height);
    let coast = |length, height| seen(Side::Coast, length, height);
    vec![
        (
            "right",
            true,
            measured(0.2),
            vec![drive(0.47, 0.5), coast(0.5, 0.5)],
        ),
        (
            "high",
            true,
            measured(0.2),
            vec![drive(0.3, 0.75), coast(0.6, 0.72)],
        ),
        (
            "low",
            true,
            measured(0.3),
            vec![drive(0.62, 0.3), coast(0.4, 0.3)],
        ),
        (
            "no backlash",
            true,
            Bench::default(),
            vec![drive(0.3, 0.75), coast(0.6, 0.72)],
        ),
        (
            "no card",
            false,
            Bench::default(),
            vec![drive(0.3, 0.75), coast(0.6, 0.72)],
        ),
        (
            "no card, right",
            false,
            Bench::default(),
            vec![drive(0.47, 0.5), coast(0.5, 0.5)],
        ),
        ("one flank", true, measured(0.2), vec![drive(0.3, 0.4)]),
        (
            "a little off",
            true,
            measured(0.2),
            vec![drive(0.57, 0.56), coast(0.5, 0.5)],
        ),
        (
            "contradicted",
            true,
            measured(0.2),
            vec![drive(0.2, 0.5), drive(0.8, 0.5), coast(0.5, 0.5)],
        ),
        (
            "in doubt",
            true,
            measured(0.2),
            vec![
                unsure(drive(0.3, 0.75), ReasonCode::FewTeeth),
                coast(0.6, 0.72),
            ],
        ),
        (
            "blurred",
            false,
            Bench::default(),
            vec![unreadable("a", ReasonCode::Blurred)],
        ),
        (
            "which flank",
            false,
            Bench::default(),
            vec![Found {
                flank: None,
                ..unsure(drive(0.4, 0.4), ReasonCode::WhichFlank)
            }],
        ),
        (
            "twice",
            false,
            Bench::default(),
            vec![
                drive(0.3, 0.76),
                drive(0.3, 0.76),
                unreadable("b", ReasonCode::NoGear),
            ],
        ),
    ]
}

fn planned() -> (Plan, Vec<Found>) {
    let card = Card::from_toml(include_str!("../../../examples/larchfield/card.toml")).unwrap();
    let card = Arc::new(card);
    let (mut plan, mut all) = (Plan::default(), Vec::new());
    for (set, (name, with_card, bench, found)) in sets().into_iter().enumerate() {
        let photos = all.len()..all.len() + found.len();
        plan.items.extend(photos.clone().map(|at| Item {
            // One photo of a collage of two.
            part: (name == "which flank").then_some((2, 2)),
            path: format!("shop/{name}/{at}.jpg").into(),
            set,
            said: PhotoSettings::default(),
        }));
        plan.sets.push(SetPlan {
            name: name.into(),
            card: with_card.then(|| card.clone()),
            bench,
            client: Client {
                customer: with_card.then(|| "Lind Farm".into()),
                order: (name == "high").then(|| "A 17".into()),
            },
            photos: photos.collect(),
        });
        all.extend(found);
    }
    (plan, all)
}

#[test]
fn held_text_sheet_and_replies_of_a_lot() {
    let (plan, found) = planned();
    let mut lot = BatchResult::new(&plan, &found, |_| Units::In);
    // What no shim cures takes a set seen twice: one is given up here.
    let given_up = lot.sets[2].advice.as_mut().unwrap();
    given_up.verdict = advice::Verdict::BeyondShims;
    (given_up.change, given_up.shims) = (None, None);
    held::hold_worked_out("batch.txt", &batch_text(&lot, 100, true));
    held::hold_worked_out("batch-five.txt", &batch_text(&lot, 5, false));
    let mut few = BatchResult::new(&plan, &found, |_| Units::Mm);
    few.order.truncate(5);
    assert!(!batch_text(&few, 5, false).contains("less urgent"));
    let mut sheet = String::new();
    batch_sheet(&lot, "the shop", &Letter::default(), |part| {
        sheet.push_str(part);
        Ok(())
    })
    .unwrap();
    held::hold("batch.html", &sheet);
    held::hold_worked_out("batch.csv", &batch_csv(&lot));
    let replies = (0..plan.sets.len()).map(|set| Letter::default().reply(&lot, set));
    let replies = replies.collect::<Vec<_>>().join("\n---\n");
    assert!(!replies.contains("looked:"), "{replies}");
    held::hold("replies.txt", &replies);
}
