//! How far each gear may stand off and still be right, and how to paint and photograph.

use super::drawing::WIDTH;
use super::{BODY, CAUTION, MARGIN, Sheets, Wanted, begin};
use crate::contact::Misalignment;
use crate::frames::Side;
use crate::lesson::case::{Case, Set};
use crate::lesson::flat::flank_picture;
use crate::report::draw::page::Page;
use crate::units::Units;
use serde::Serialize;

/// The farthest that one gear may stand off while all is still right.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub(crate) struct Limit {
    /// `pinion` or `ring gear`.
    pub gear: &'static str,
    /// + = away from its mate.
    pub mm: f64,
    /// What goes wrong first beyond it.
    pub gives: String,
}

/// No set is looked at farther out than this, mm.
const FARTHEST_MM: f64 = 1.0;
const STEP_MM: f64 = 0.02;

fn at(pinion: bool, mm: f64) -> Misalignment {
    Misalignment {
        pinion_mm: if pinion { mm } else { 0.0 },
        ring_mm: if pinion { 0.0 } else { mm },
        ..Misalignment::default()
    }
}

/// The limits of pinion and ring gear, each toward and away; empty when the set is not right even
/// where the card puts it.
pub(crate) fn limits_of(set: &Set) -> Vec<Limit> {
    let right = |pinion, mm| Case::new(set, at(pinion, mm), 0.0).is_right(&set.card);
    if !right(true, 0.0) {
        return Vec::new();
    }
    let mut limits = Vec::new();
    for pinion in [true, false] {
        for way in [-1.0, 1.0] {
            let mut good = 0.0;
            while good < FARTHEST_MM && right(pinion, way * (good + STEP_MM)) {
                good += STEP_MM;
            }
            let mut bad = good + STEP_MM;
            while bad - good > 5e-4 {
                let middle = 0.5 * (good + bad);
                if right(pinion, way * middle) {
                    good = middle;
                } else {
                    bad = middle;
                }
            }
            limits.push(Limit {
                gear: if pinion { "pinion" } else { "ring gear" },
                mm: (way * good * 1e3).trunc() / 1e3,
                gives: Case::new(set, at(pinion, way * bad), 0.0)
                    .what_is_out(&set.card)
                    .swap_remove(0),
            });
        }
    }
    limits
}

/// The limit as a sentence.
pub(crate) fn sentence(limit: &Limit, units: Units) -> String {
    let mate = if limit.gear == "pinion" {
        "ring gear"
    } else {
        "pinion"
    };
    let way = if limit.mm < 0.0 {
        "nearer the"
    } else {
        "farther from the"
    };
    format!(
        "The {} up to {} {way} {mate}. Beyond that {}.",
        limit.gear,
        units.shim(limit.mm.abs()),
        limit.gives
    )
}

const PRACTICE: [&str; 3] = [
    "# Order of work",
    "- Pinion first: it moves the height of both patches. Then the ring gear: it sets the backlash and moves the drive patch along the tooth.",
    "- Change one thing by a known amount. Then measure the backlash again, paint and roll again, and take a new photo of both flanks. A photo \
     that is older than the last change tells nothing.",
];

const PAINTING: [&str; 8] = [
    "# How to paint and roll",
    "- Clean the teeth dry of oil. Brush compound thinly on both flanks of four or five teeth in a row.",
    "- Hold the ring gear back a little and turn the pinion so that the painted teeth go through the mesh both ways. Fingers stay out of the mesh.",
    "- Some compounds carry lead or solvent: gloves, fresh air, no food on the bench.",
    "# How to photograph",
    "- One kind of flank turned to the camera, drive and coast in a photo each. Fill the picture with four or five painted teeth, toe to heel.",
    "- Tilt the camera until you see the flanks down to the root, no more. Light from the side, flash off, tap on the teeth to focus.",
    "- Note with each photo: which flank, which end is the toe, the backlash, the shims that are in.",
];

fn write(page: &mut Page, lines: &[&str]) {
    for line in lines {
        page.y = if let Some(title) = line.strip_prefix("# ") {
            page.text([MARGIN, page.y + 17.0], 11.0, true, title);
            page.y + 21.0
        } else {
            page.paragraph([MARGIN, page.y], WIDTH, BODY + 1.0, line)
        };
    }
}

impl Sheets {
    pub(super) fn limits(&mut self, set: &Set, wanted: &Wanted) {
        let mut page = begin("How far off is still right, and how to take the photo");
        let card = &set.card;
        let percent = |share: f64| format!("{:.0}\u{a0}%", 100.0 * share);
        let [low, high] = card.backlash_window_mm();
        let units = wanted.units;
        let (t, target) = (card.target.tolerance, card.target);
        let name = if card.name.is_empty() {
            "this card"
        } else {
            &card.name
        };
        write(
            &mut page,
            &[
                &format!("# Still right for {name}"),
                &format!(
                    "- Drive patch: middle at {} of the length from the toe and {} of the height; coast patch: {} and {}. Right when both are within {} of \
                     the length and {} of the height of that, and the backlash is between {} and {} all round the gear.",
                    percent(target.drive.length),
                    percent(target.drive.height),
                    percent(target.coast.length),
                    percent(target.coast.height),
                    percent(t.length),
                    percent(t.height),
                    units.shim(low),
                    units.shim(high)
                ),
                "- These limits are the card's. The manual of your axle goes before them; so does the pattern that a used set ran with.",
                "# How far off is still right, by the contact model",
            ],
        );
        let limits = limits_of(set);
        page.y += 9.0;
        let room = 0.34 * WIDTH;
        let wide = 0.5 * (WIDTH - room) - 10.0;
        let left = |side: Side| MARGIN + room + 10.0 + side as u8 as f64 * (wide + 10.0);
        for side in Side::BOTH {
            page.text([left(side), page.y - 2.0], 7.0, true, side.word());
        }
        for limit in &limits {
            let case = Case::new(set, at(limit.gear == "pinion", limit.mm), 0.0);
            let end = page.paragraph([MARGIN, page.y], room, BODY, &sentence(limit, units));
            let mut lowest = end;
            for side in Side::BOTH {
                let shows = format!("the {} flank at this limit", side.word());
                let flat = flank_picture(set, &case, side, 600);
                lowest = lowest.max(page.picture([left(side), page.y + 2.0], wide, flat, &shows));
            }
            page.y = lowest + 2.0;
        }
        self.limits.extend(limits);
        write(&mut page, &PRACTICE);
        write(&mut page, &PAINTING);
        page.paragraph([MARGIN, page.y + 6.0], WIDTH, BODY, CAUTION);
        self.pages.push(page);
    }
}
