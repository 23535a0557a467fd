//! A direction without a card: only what holds for every set, milled or hobbed, hypoid or not.
//!
//! The pinion's distance moves both patches up or down: away from the ring gear is higher on drive and coast, toward it
//! lower. TM 9-2320-266-34 para 19-5, TM 10-3930-638-24&P p. 4-246, TM 5-3810-306-34 p. 8-42, TM 10-3930-660-34
//! p. 9-29 agree on it. The ring gear's distance moves the drive patch along
//! the flank: less backlash is nearer the toe, more is nearer the heel; TM 5-3810-306-34 p. 8-42 and TM 10-3930-660-34
//! p. 9-29 have it so. Which way a patch runs along the flank when the pinion moves, and the coast patch when the ring gear
//! does, differs from set to set and is not said here.

use super::diagnose;
use super::explain::SAFETY;
use crate::card::simulate;
use crate::contact::Misalignment;
use crate::frames::{FlankPoint, Side};
use crate::schema::direction::{Direction, SCHEMA, Way};
use crate::schema::{Card, Cutting, Diagnosis, FlankDiagnosis, Target};
use crate::units::Units;
use serde_json::json;

/// Sizes that a first amount can be had from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct SetSizes {
    /// Teeth of the ring gear.
    pub ring_teeth: u32,
    /// Its outer diameter.
    pub ring_diameter_mm: f64,
    /// How the teeth were cut.
    pub cutting: Cutting,
}

/// The direction that the two centres give, drive and coast, against the usual place; `None` when no flank was read.
pub(crate) fn direction(
    centres: [Option<FlankPoint>; 2],
    sizes: Option<SetSizes>,
    units: Units,
) -> Option<Direction> {
    direction_to(&Target::default(), centres, sizes, units)
}

/// The same against the target of a card that cannot say more yet.
pub(crate) fn direction_to(
    target: &Target,
    centres: [Option<FlankPoint>; 2],
    sizes: Option<SetSizes>,
    units: Units,
) -> Option<Direction> {
    let [drive, coast] =
        [(Side::Drive, centres[0]), (Side::Coast, centres[1])].map(|(side, centre)| {
            centre.map(|centre| diagnose::flank(centre, target.of(side), target.tolerance))
        });
    let (drive, coast) = match (drive, coast) {
        (Some(drive), Some(coast)) => (drive, coast),
        (None, None) => return None,
        (drive, coast) => return Some(one_flank(drive, coast)),
    };
    let (pinion, mut why) = pinion_way(&drive, &coast);
    let ring_gear = ring_way(&drive, pinion, &mut why);
    let first_pinion_mm = match (pinion, sizes) {
        (Some(Way::Toward | Way::Away), Some(sizes)) => {
            first_amount_mm(0.5 * (drive.height + coast.height), &sizes)
        }
        _ => None,
    };
    if let Some(mm) = first_pinion_mm {
        why.push(format!(
            "On a usual set of this size the contact model has the patches back at their height after about {} of \
             pinion. Yours may want half of it or twice as much: crowning decides that. See how far the patches went, \
             then take the rest by proportion.",
            units.shim(mm)
        ));
    }
    let mut found = Direction {
        schema: SCHEMA.into(),
        summary: String::new(),
        diagnosis: Diagnosis::of(Some(drive), Some(coast)),
        pinion,
        ring_gear,
        first_pinion_mm,
        why,
        card_would_add: card_would_add(first_pinion_mm.is_some()),
        cautions: cautions(),
    };
    if *target != Target::default() {
        found.cautions.retain(|caution| caution != USUAL_PLACE);
    }
    found.summary = summary(&found, units);
    Some(found)
}

/// The pinion by the heights, which it moves alike on both flanks.
fn pinion_way(drive: &FlankDiagnosis, coast: &FlankDiagnosis) -> (Option<Way>, Vec<String>) {
    let sign = |flank: &FlankDiagnosis| match flank.words.split(' ').next() {
        Some("high") => 1,
        Some("low") => -1,
        _ => 0,
    };
    let (way, words) = match (sign(drive), sign(coast)) {
        (0, 0) => (
            Some(Way::Stays),
            "Both patches stand at their height: the pinion is about where it should be.",
        ),
        (1, 1) => (
            Some(Way::Toward),
            "Both patches are high: the pinion stands too far out. It goes toward the ring gear, which lowers both.",
        ),
        (-1, -1) => (
            Some(Way::Away),
            "Both patches are low: the pinion stands too deep. It goes away from the ring gear, which raises both.",
        ),
        (1, 0) | (0, 1) => (
            Some(Way::Toward),
            "One patch is high and the other at its height: the pinion stands a little too far out. It goes toward the \
             ring gear, which lowers both.",
        ),
        (-1, 0) | (0, -1) => (
            Some(Way::Away),
            "One patch is low and the other at its height: the pinion stands a little too deep. It goes away from the \
             ring gear, which raises both.",
        ),
        _ => (
            None,
            "One patch is high and the other low, and the pinion moves both alike: shims do not cure that. Look first \
             whether drive and coast are mixed up, and whether both photos are of one assembly; then at the housing and \
             the set numbers of the pair.",
        ),
    };
    (way, vec![words.to_owned()])
}

/// What one flank alone tells.
fn one_flank(drive: Option<FlankDiagnosis>, coast: Option<FlankDiagnosis>) -> Direction {
    let (side, other, words) = match (&drive, &coast) {
        (Some(found), _) => ("drive", "coast", found.words.clone()),
        (None, found) => (
            "coast",
            "drive",
            found
                .as_ref()
                .map_or(String::new(), |found| found.words.clone()),
        ),
    };
    Direction {
        schema: SCHEMA.into(),
        summary: format!(
            "The {side} patch is {words}; which way to move needs the {other} flank too."
        ),
        diagnosis: Diagnosis::of(drive, coast),
        pinion: None,
        ring_gear: None,
        first_pinion_mm: None,
        why: vec![format!(
            "One flank alone cannot tell a pinion out of place from gears that differ: give a photo of the {other} flanks of \
             the same assembly, with --{other}."
        )],
        card_would_add: card_would_add(false),
        cautions: vec![USUAL_PLACE.into()],
    }
}

/// The ring gear by the place of the drive patch along the flank, once the pinion is right.
fn ring_way(drive: &FlankDiagnosis, pinion: Option<Way>, why: &mut Vec<String>) -> Option<Way> {
    let after = match pinion {
        Some(Way::Stays) => "",
        Some(_) => {
            "After the pinion, for it moves this patch along the flank too: if it still stands so, "
        }
        None => return None,
    };
    let (way, words) = if drive.words.ends_with("toe") {
        (
            Way::Away,
            "the drive patch toward the toe wants more backlash: the ring gear goes away from the pinion, as far as the \
             backlash window allows.",
        )
    } else if drive.words.ends_with("heel") {
        (
            Way::Toward,
            "the drive patch toward the heel wants less backlash: the ring gear goes toward the pinion, as far as the \
             backlash window allows.",
        )
    } else {
        why.push("Along the flank the drive patch stands about right: the ring gear stays, if the backlash is in its window.".into());
        return Some(Way::Stays);
    };
    let sentence = format!("{after}{words}");
    let mut letters = sentence.chars();
    why.push(letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().collect::<String>() + letters.as_str()
    }));
    Some(way)
}

fn summary(found: &Direction, units: Units) -> String {
    let first = match (found.pinion, found.first_pinion_mm) {
        (Some(way @ (Way::Toward | Way::Away)), Some(mm)) => {
            format!(
                "Move the pinion {} the ring gear, about {} for a first step",
                way.word(),
                units.shim(mm)
            )
        }
        (Some(way @ (Way::Toward | Way::Away)), None) => {
            format!("Move the pinion {} the ring gear", way.word())
        }
        (Some(Way::Stays), _) => match found.ring_gear {
            Some(way @ (Way::Toward | Way::Away)) => format!(
                "Leave the pinion; move the ring gear {} the pinion as far as the backlash window allows",
                way.word()
            ),
            _ => "Leave pinion and ring gear, if the backlash is in its window".into(),
        },
        (None, _) => "No direction yet: see why".into(),
    };
    format!("{first}.")
}

fn card_would_add(has_amount: bool) -> String {
    let sizes = if has_amount {
        ""
    } else {
        " For a first amount give --ring-teeth, --ring-diameter and --cutting."
    };
    format!(
        "A card of the set (`flankread job card new --out axle.toml`) adds how far and which shims, which way the patches run \
         along the flank, the backlash to expect, and the chance of being right.{sizes}"
    )
}

/// What the patches are held against.
const USUAL_PLACE: &str = "This is against the place that is usual for a patch (common practice, no source). The manual of your \
    axle may want another place, and a used set is put back where it ran.";

fn cautions() -> Vec<String> {
    vec![
        USUAL_PLACE.into(),
        "Whether thicker shims move the pinion toward the ring gear or away depends on where they sit: behind the head bearing \
         toward, under a cage away."
            .into(),
        "Measure backlash and the pinion's rotating torque again after every change; a photo older than the change tells \
         nothing."
            .into(),
        SAFETY.into(),
    ]
}

/// What a pinion move of the contact model's usual set of this size does to both heights, turned round. Ratio, face width,
/// offset and angles that a light hypoid axle has: common practice, no source.
fn first_amount_mm(off_height: f64, sizes: &SetSizes) -> Option<f64> {
    const TRIED_MM: f64 = 0.1;
    let diameter_mm = sizes.ring_diameter_mm;
    let card = Card::from_json(&json!({"gear": {
        "ring_teeth": sizes.ring_teeth,
        "pinion_teeth": (f64::from(sizes.ring_teeth) / 3.7).round() as u32,
        "ring_diameter_mm": diameter_mm,
        "face_width_mm": 0.15 * diameter_mm,
        "offset_mm": 0.17 * diameter_mm,
        "spiral_angle_deg": 31,
        "cutting": sizes.cutting,
    }}))
    .ok()?;
    let height = |pinion_mm: f64| {
        let at = Misalignment {
            pinion_mm,
            ..Misalignment::default()
        };
        let state = simulate(&card, &at).ok()?;
        Some(0.5 * (state.drive.patch?.centre.height + state.coast.patch?.centre.height))
    };
    let per_mm = (height(TRIED_MM)? - height(-TRIED_MM)?) / (2.0 * TRIED_MM);
    let mm = (off_height / per_mm).abs();
    // More than this is no first step, whatever a usual set would want.
    (per_mm > 0.0 && mm.is_finite()).then(|| (mm.min(MOST_MM) * 100.0).round() / 100.0)
}

/// The largest first step, mm: the 0.010 in that TM 9-2320-272-24-4 p. 460 starts with, and half as much again.
const MOST_MM: f64 = 0.381;

#[cfg(test)]
mod tests {
    use super::*;

    fn of(drive: (f64, f64), coast: (f64, f64)) -> Direction {
        let target = Target::default();
        let at = |side, (length, height): (f64, f64)| {
            let to = target.of(side);
            Some(FlankPoint::new(to.length + length, to.height + height))
        };
        direction(
            [at(Side::Drive, drive), at(Side::Coast, coast)],
            None,
            Units::Mm,
        )
        .unwrap()
    }

    /// TM 9-2320-266-34 para 19-5: pinion too far out, high; TM 5-3810-306-34 p. 8-42: low, pinion out; less backlash to the
    /// toe, more to the heel.
    #[test]
    fn the_published_directions() {
        let high = of((0.0, 0.2), (0.0, 0.15));
        assert_eq!(
            (high.pinion, high.ring_gear),
            (Some(Way::Toward), Some(Way::Stays))
        );
        assert!(high.why[0].contains("too far out"), "{:?}", high.why);
        let low = of((0.0, -0.2), (0.0, -0.15));
        assert_eq!(low.pinion, Some(Way::Away));
        let toe = of((-0.2, 0.0), (0.1, 0.0));
        assert_eq!(
            (toe.pinion, toe.ring_gear),
            (Some(Way::Stays), Some(Way::Away))
        );
        let heel = of((0.2, 0.0), (0.1, 0.0));
        assert_eq!(heel.ring_gear, Some(Way::Toward));
        let right = of((0.0, 0.0), (0.0, 0.0));
        assert_eq!(
            (right.pinion, right.ring_gear),
            (Some(Way::Stays), Some(Way::Stays))
        );
    }

    #[test]
    fn what_shims_do_not_cure_gets_no_direction() {
        let crossed = of((0.0, 0.2), (0.0, -0.2));
        assert_eq!((crossed.pinion, crossed.ring_gear), (None, None));
        let one = direction([Some(FlankPoint::new(0.5, 0.8)), None], None, Units::Mm).unwrap();
        assert_eq!(one.pinion, None);
        assert!(
            one.summary.contains("drive patch is high"),
            "{}",
            one.summary
        );
        assert!(one.why[0].contains("--coast"), "{:?}", one.why);
        assert_eq!(direction([None, None], None, Units::Mm), None);
    }

    #[test]
    fn every_direction_carries_its_cautions() {
        for found in [
            of((0.0, 0.2), (0.0, 0.2)),
            of((0.0, 0.2), (0.0, -0.2)),
            of((0.0, 0.0), (0.0, 0.0)),
        ] {
            for part in [
                "axle may want",
                "local rules",
                "licensed practice",
                "stands",
            ] {
                assert!(
                    found.cautions.iter().any(|caution| caution.contains(part)),
                    "{part}"
                );
            }
        }
    }

    /// The truth is the contact model on the whole cards; the amount knows only teeth, diameter and cutting.
    #[test]
    fn the_first_amount_is_of_the_right_size_on_cards_that_it_does_not_know() {
        // Ring teeth, pinion teeth, diameter in, face in, offset in, spiral angle, cutting: light axles of usual and of
        // unusual ratio and offset, and a spiral bevel set.
        for (ring, pinion, diameter, face, offset, spiral, cutting) in [
            (41, 11, 8.0, 1.2, 1.4, 31.0, "face-milled"),
            (41, 11, 8.0, 1.2, 1.4, 31.0, "face-hobbed"),
            (37, 13, 7.2, 1.1, 1.0, 33.0, "face-milled"),
            (43, 9, 9.5, 1.5, 1.75, 29.0, "face-milled"),
            (39, 10, 10.5, 1.6, 1.5, 32.0, "face-hobbed"),
            (38, 13, 6.5, 0.95, 0.0, 35.0, "face-milled"),
        ] {
            let card = Card::from_json(&json!({"gear": {
                "ring_teeth": ring, "pinion_teeth": pinion, "ring_diameter_mm": 25.4 * diameter,
                "face_width_mm": 25.4 * face, "offset_mm": 25.4 * offset, "spiral_angle_deg": spiral, "cutting": cutting,
            }}))
            .unwrap();
            let sizes = SetSizes {
                ring_teeth: card.gear.ring_teeth,
                ring_diameter_mm: card.gear.ring_diameter_mm,
                cutting: card.gear.cutting,
            };
            let height = |pinion_mm: f64| {
                let at = Misalignment {
                    pinion_mm,
                    ..Misalignment::default()
                };
                let state = simulate(&card, &at).unwrap();
                let of = |flank: crate::contact::FlankContact| flank.patch.unwrap().centre.height;
                0.5 * (of(state.drive) + of(state.coast))
            };
            let told = first_amount_mm(height(0.15) - height(0.0), &sizes).unwrap();
            assert!(
                (0.07..=0.31).contains(&told),
                "{ring}-{pinion} {cutting}: {told}"
            );
        }
    }

    /// A pair's first amount follows how far both patches are off together.
    #[test]
    fn the_first_amount_is_by_the_mean_of_both_heights() {
        let sizes = SetSizes {
            ring_teeth: 41,
            ring_diameter_mm: 203.0,
            cutting: Cutting::FaceMilled,
        };
        let first = |drive: f64, coast: f64| {
            let target = Target::default();
            let at = |side, height: f64| {
                let to = target.of(side);
                Some(FlankPoint::new(to.length, to.height + height))
            };
            let centres = [at(Side::Drive, drive), at(Side::Coast, coast)];
            direction(centres, Some(sizes), Units::Mm)
                .unwrap()
                .first_pinion_mm
                .unwrap()
        };
        let (alike, uneven, twice) = (first(0.15, 0.15), first(0.2, 0.1), first(0.3, 0.3));
        assert!((alike - uneven).abs() < 1e-9, "{alike} {uneven}");
        assert!(twice > 1.5 * alike, "{alike} {twice}");
    }

    #[test]
    fn a_card_with_a_place_of_its_own_is_not_told_of_the_usual_one() {
        let usual = Target::default();
        let mut own = usual;
        own.drive.length += 0.1;
        let told = |target: &Target| {
            let at = |side| Some(target.of(side));
            let centres = [at(Side::Drive), at(Side::Coast)];
            let found = direction_to(target, centres, None, Units::Mm).unwrap();
            found.cautions.iter().any(|caution| caution == USUAL_PLACE)
        };
        assert_eq!((told(&usual), told(&own)), (true, false));
    }
}
