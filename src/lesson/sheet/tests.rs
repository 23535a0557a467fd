use super::*;
use crate::report::draw::page::Item;
use crate::schema::Card;
use std::sync::LazyLock;

fn small() -> Wanted {
    Wanted {
        units: Units::Mm,
        seed: 5,
        photo: (320, 240),
    }
}

/// Both sets' sheets, made once for all tests.
static SHEETS: LazyLock<Sheets> = LazyLock::new(|| sheets(&both(), &small()).unwrap());

fn both() -> Vec<Set> {
    [Cutting::FaceMilled, Cutting::FaceHobbed]
        .map(|cutting| Set::example(cutting).unwrap())
        .into()
}

/// TM 9-2320-266-34 para 19-5 and TM 5-3810-306-34 p. 8-42: pinion in lowers both patches, out raises them; drive goes to the
/// toe with the pinion in (face-milled: common practice, no source); more backlash takes the drive patch to the heel, less to the
/// toe.
#[test]
#[ignore = "slow: by .ci/run"]
fn every_picture_shows_what_the_trade_says_of_its_misplacement() {
    let sheets = &*SHEETS;
    assert_eq!(sheets.claims.len(), 2 * 4 + 3);
    for c in &sheets.claims {
        let (drive, coast) = (c.drive.as_ref().unwrap(), c.coast.as_ref().unwrap());
        if c.pinion_mm != 0.0 {
            assert_eq!(drive.height < 0.0, c.pinion_mm < 0.0, "{c:?}");
            assert_eq!(coast.height < 0.0, c.pinion_mm < 0.0, "{c:?}");
            assert!(!c.right, "{c:?}");
            if c.cutting == Cutting::FaceMilled {
                assert_eq!(drive.length < 0.0, c.pinion_mm < 0.0, "{c:?}");
            }
        } else if c.ring_mm != 0.0 {
            assert_eq!(drive.length < 0.0, c.ring_mm < 0.0, "{c:?}");
            // "Believe the dial": the heights hardly change. An independent prototype has 0.023 of the coast height for
            // each 0.1 mm, in the median of usual sets.
            assert!(
                drive.height.abs() < 0.07 && coast.height.abs() < 0.07,
                "{c:?}"
            );
            assert!(!c.right, "{c:?}");
            let [low, high] = crate::schema::USUAL_BACKLASH_MM;
            assert_eq!(c.backlash_mm < low, c.ring_mm < 0.0, "{c:?}");
            assert_eq!(c.backlash_mm > high, c.ring_mm > 0.0, "{c:?}");
        } else {
            assert!(
                c.right && drive.words == "centred" && coast.words == "centred",
                "{c:?}"
            );
        }
    }
    let texts = |words: &str| {
        let items = sheets.pages.iter().flat_map(|p| &p.items);
        items
            .filter(|i| matches!(i, Item::Text { words: w, .. } if w.contains(words)))
            .count()
    };
    assert_eq!(texts("clear of all four edges"), 2);
    let slant = |bias: bool| {
        let mut of = sheets
            .claims
            .iter()
            .filter(|c| c.cutting == Cutting::FaceHobbed);
        of.find(|c| (c.bias_mm > 0.0) == bias && c.pinion_mm == 0.0 && c.ring_mm == 0.0)
            .and_then(|c| c.drive_lean_deg)
            .unwrap()
    };
    assert!(
        slant(true).abs() > slant(false).abs() + 2.0,
        "{} {}",
        slant(true),
        slant(false)
    );
}

/// Every place where the model parts ways with the usual chart for hypoid sets (common practice, no source) is said, and only those: each side's
/// way along the tooth against the chart's, which stands here once more.
#[test]
fn where_the_charts_say_something_else_it_is_said() {
    let mut apart = 0;
    for c in SHEETS
        .claims
        .iter()
        .filter(|c| c.pinion_mm + c.ring_mm != 0.0)
    {
        let away = c.pinion_mm + c.ring_mm > 0.0;
        let heel_away = match (c.cutting, c.pinion_mm != 0.0) {
            (Cutting::FaceMilled, true) => [true, false],
            (Cutting::FaceHobbed, true) => [false, true],
            (Cutting::FaceMilled, false) => [true, true],
            (Cutting::FaceHobbed, false) => [true, false],
        };
        let place = SHEETS.claims.iter().find(|other| {
            other.cutting == c.cutting
                && other.pinion_mm + other.ring_mm == 0.0
                && other.bias_mm == 0.0
        });
        let place = place.unwrap();
        let sides = [
            ("drive", &c.drive, &place.drive, heel_away[0]),
            ("coast", &c.coast, &place.coast, heel_away[1]),
        ];
        for (name, now, then, heel) in sides {
            let shift = now.as_ref().unwrap().length - then.as_ref().unwrap().length;
            let agrees = shift.abs() > 0.015 && (shift > 0.0) == (heel == away);
            let said = c.charts.as_deref().unwrap_or_default();
            assert_eq!(
                said.contains(&format!("the {name} patch to the")),
                !agrees,
                "{c:?}"
            );
            apart += usize::from(!agrees);
        }
    }
    assert!(apart > 0);
}

/// The dial of the card: what one unit of the ring gear adds is what the bench's arithmetic has for the same card.
#[test]
fn backlash_is_measured_as_the_card_says() {
    let set = Set::example(Cutting::FaceMilled).unwrap();
    let at = |ring_mm| {
        let misalignment = Misalignment {
            ring_mm,
            ..Misalignment::default()
        };
        Case::new(&set, misalignment, 0.0).backlash_mm
    };
    let slope = (at(0.1) - at(-0.1)) / 0.2;
    let bench = crate::setup::backlash_ratio::of_card(&set.card)
        .unwrap()
        .ratio;
    assert!((slope / bench - 1.0).abs() < 0.02, "{slope} {bench}");
    // TM 9-2320-289-34 p. 6-19, Table 6-1: 0.5 to 0.8 of the dial for each unit across.
    assert!((0.5..0.8).contains(&slope), "{slope}");
}

/// The words on a page come again from the misalignment alone, on another grid.
#[test]
#[ignore = "slow: by .ci/run"]
fn each_claim_is_regenerated_from_its_own_misplacement() {
    let all = &*SHEETS;
    let words = |item: &Item| match item {
        Item::Text { words, .. } => Some(words.clone()),
        _ => None,
    };
    let items = all.pages.iter().flat_map(|p| &p.items);
    let printed = items.filter_map(words).collect::<Vec<_>>().join(" ");
    for c in &all.claims {
        let set = Set::example(c.cutting).unwrap();
        let card = Card { ..set.card.clone() };
        let coarse = Set::of_model(
            card.clone(),
            crate::contact::Model::with_grid(&card.gear_set(), 45, 23).unwrap(),
        );
        let misalignment = Misalignment {
            pinion_mm: c.pinion_mm,
            ring_mm: c.ring_mm,
            ..Misalignment::default()
        };
        let again = claim(
            &coarse,
            &c.title,
            &Case::new(&coarse, misalignment, c.bias_mm),
            c.bias_mm,
        );
        for (a, b) in [(&c.drive, &again.drive), (&c.coast, &again.coast)] {
            let (a, b) = (a.as_ref().unwrap(), b.as_ref().unwrap());
            assert!(
                (a.length - b.length).abs() < 0.01 && (a.height - b.height).abs() < 0.01,
                "{a:?} {b:?}"
            );
            let [_, shown] = super::words(Some(a));
            assert!(printed.contains(&shown), "{shown}");
        }
    }
}

#[test]
fn nothing_runs_off_a_page_and_all_three_forms_are_made() {
    let sheets = &*SHEETS;
    for page in &sheets.pages {
        for item in &page.items {
            let lowest = match item {
                Item::Text { at, .. } => at[1],
                Item::Picture { frame, .. } => frame[1] + frame[3],
                Item::Line { points, .. } => points.iter().map(|p| p[1]).fold(0.0, f64::max),
                Item::Ground { .. } | Item::Drawing { .. } => unreachable!("a lesson has none"),
            };
            assert!(lowest <= A4[1] - 10.0, "{lowest}");
        }
    }
    let pdf = crate::report::draw::pdf::pdf("Contact pattern lessons", &sheets.pages).unwrap();
    assert!(pdf.starts_with(b"%PDF") && pdf.len() > 20_000);
    let page = html("Lessons", &sheets.pages);
    assert!(page.contains("data:image/jpeg") && !page.contains("src=\"http"));
    assert!(!sheets.pages[0].png(0.5).unwrap().is_empty());
}

/// Each limit is right and a little beyond it is not, on another grid, for the reason that is given.
#[test]
fn just_inside_a_limit_is_right_and_just_outside_is_not() {
    let set = Set::example(Cutting::FaceMilled).unwrap();
    let limits = super::limits::limits_of(&set);
    assert_eq!(limits.len(), 4);
    let card = set.card.clone();
    let coarse = Set::of_model(
        card.clone(),
        crate::contact::Model::with_grid(&card.gear_set(), 45, 23).unwrap(),
    );
    for limit in &limits {
        let at = |mm: f64| {
            let misalignment = if limit.gear == "pinion" {
                Misalignment {
                    pinion_mm: mm,
                    ..Misalignment::default()
                }
            } else {
                Misalignment {
                    ring_mm: mm,
                    ..Misalignment::default()
                }
            };
            Case::new(&coarse, misalignment, 0.0)
        };
        assert!(at(0.95 * limit.mm).is_right(&coarse.card), "{limit:?}");
        let beyond = at(1.08 * limit.mm);
        assert!(!beyond.is_right(&coarse.card), "{limit:?}");
        let [low, high] = coarse.card.backlash_window_mm();
        let out = !(low..=high).contains(&beyond.backlash_mm);
        assert!(out || !limit.gives.contains("backlash"), "{limit:?}");
    }
}

/// Common practice, no source: photos that nobody should take are not read without a doubt.
#[test]
#[ignore = "slow: by .ci/run"]
fn hopeless_photos_are_not_read_and_good_ones_are_with_marks() {
    use crate::frames::Side;
    use crate::lesson::photo::{Mistake, Shot};
    use crate::schema::Status;
    let set = Set::example(Cutting::FaceMilled).unwrap();
    let studio = Studio::new(&set.model).unwrap();
    let case = Case::new(&set, Misalignment::default(), 0.0);
    let wanted = Wanted {
        photo: (800, 600),
        ..small()
    };
    let judged = |side, mistake| {
        let shot = Shot {
            mistake,
            ..drawing::photo_of(side, &wanted)
        };
        let rendered = studio.render(&set.model, &case.state, &shot).unwrap();
        mistakes::judge("photo", side, &rendered)
    };
    for side in Side::BOTH {
        let marked = judged(side, None).marked.unwrap();
        assert_eq!(marked.status, Status::Read, "{side:?} {marked:?}");
        let off = marked.off.unwrap();
        assert!(
            off.length.abs() < 0.015 && off.height.abs() < 0.03,
            "{off:?}"
        );
    }
    for mistake in [Mistake::Blurred, Mistake::TooDark, Mistake::OneTooth] {
        let spoilt = judged(Side::Coast, Some(mistake));
        for judged in [Some(&spoilt.alone), spoilt.marked.as_ref()]
            .into_iter()
            .flatten()
        {
            assert_ne!(judged.status, Status::Read, "{mistake:?} {spoilt:?}");
        }
    }
}
