//! The printable sheets. What each says of a patch is computed from the misalignment it shows.

mod charts;
mod drawing;
mod limits;
mod mistakes;
mod names;
mod web;

use super::case::{Case, SLANT_BIAS_MM, Set};
use super::photo::Studio;
use crate::Result;
use crate::contact::Misalignment;
use crate::frames::Side;
use crate::report::draw::page::{A4, Page};
use crate::schema::Cutting;
use crate::schema::FlankDiagnosis;
use crate::units::Units;
use drawing::{Room, WIDTH, draw_backlash, draw_section, pair};
pub(crate) use limits::Limit;
pub(crate) use mistakes::Spoilt;
use serde::Serialize;
pub(crate) use web::html;

/// Value of the `schema` field.
pub(crate) const SCHEMA: &str = "flankread/lesson_sheet/2";

const MARGIN: f64 = 36.0;
const BODY: f64 = 8.0;
/// Pinion moves of the sheets, mm: clearly wrong, the patch still on the flank.
const PINION_MM: f64 = 0.20;
/// Ring-gear moves of the sheets, mm. Away takes more: the drive patch moves little.
const RING_MM: [f64; 2] = [-0.15, 0.30];

/// One picture's misalignment and what came of it, for machines.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub(crate) struct Claim {
    /// What the picture is called on the sheet.
    pub title: String,
    /// How the gears of the picture are cut.
    pub cutting: Cutting,
    /// + = pinion away from the ring gear.
    pub pinion_mm: f64,
    /// + = ring gear away from the pinion.
    pub ring_mm: f64,
    /// Bias of the flanks at the corners.
    pub bias_mm: f64,
    /// The drive flank against its target.
    pub drive: Option<FlankDiagnosis>,
    /// The coast flank against its target.
    pub coast: Option<FlankDiagnosis>,
    /// Angle of the drive patch's long axis.
    pub drive_lean_deg: Option<f64>,
    /// Backlash as the card has it measured, from mid-window; 0 = jammed. In version 1 it was that at the outer diameter in
    /// the plane of rotation.
    pub backlash_mm: f64,
    /// Where the trade's charts say something else along the tooth.
    pub charts: Option<String>,
    /// Whether both patches and the backlash are right.
    pub right: bool,
}

/// The sheets with what they say.
#[derive(Default)]
pub(crate) struct Sheets {
    /// The pages, in order.
    pub pages: Vec<Page>,
    /// What they say of the patches.
    pub claims: Vec<Claim>,
    /// How far off is still right.
    pub limits: Vec<Limit>,
    /// What they say of the spoilt photos.
    pub spoilt: Vec<Spoilt>,
}

/// The faults of the sheets: title, misalignment, bias.
fn faults() -> [(&'static str, Misalignment); 4] {
    let at = |pinion_mm, ring_mm| Misalignment {
        pinion_mm,
        ring_mm,
        ..Misalignment::default()
    };
    [
        ("Pinion too near the ring gear", at(-PINION_MM, 0.0)),
        ("Pinion too far from the ring gear", at(PINION_MM, 0.0)),
        ("Ring gear too near the pinion", at(0.0, RING_MM[0])),
        ("Ring gear too far from the pinion", at(0.0, RING_MM[1])),
    ]
}

/// A case as numbers.
pub(crate) fn claim(set: &Set, title: &str, case: &Case, bias_mm: f64) -> Claim {
    let [drive, coast] = case.words.clone();
    Claim {
        title: title.to_owned(),
        cutting: set.card.gear.cutting,
        pinion_mm: case.misalignment.pinion_mm,
        ring_mm: case.misalignment.ring_mm,
        bias_mm,
        drive,
        coast,
        drive_lean_deg: case.state.drive.patch.map(|p| p.lean.to_degrees()),
        backlash_mm: case.backlash_mm,
        charts: charts::apart(
            set.card.gear.cutting,
            case,
            &Case::new(set, Misalignment::default(), bias_mm),
        ),
        right: case.is_right(&set.card),
    }
}

/// How large and with what units the sheets are made.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Wanted {
    /// Units of the words.
    pub units: Units,
    /// Decides viewpoints and compounds.
    pub seed: u64,
    /// Size of the photos, pixels.
    pub photo: (u32, u32),
}

/// Makes the pages of the words alone: what is what on a photo of the set's ring gear, and what a patch is called.
///
/// # Errors
/// Teeth that cannot be cut.
pub(crate) fn glossary(set: &Set, wanted: &Wanted) -> Result<Sheets> {
    let mut all = Sheets::default();
    all.names(set, &Studio::new(&set.model)?, wanted)?;
    all.glossary(set);
    Ok(all)
}

/// Makes the sheets for the sets given.
///
/// # Errors
/// Teeth that cannot be cut.
pub(crate) fn sheets(sets: &[Set], wanted: &Wanted) -> Result<Sheets> {
    let mut all = match sets.first() {
        Some(first) => glossary(first, wanted)?,
        None => Sheets::default(),
    };
    for set in sets {
        let studio = Studio::new(&set.model)?;
        all.centred(set, &studio, wanted)?;
        all.four_faults(set, &studio, wanted)?;
    }
    if let Some(first) = sets.first() {
        let studio = Studio::new(&first.model)?;
        all.limits(first, wanted);
        all.mistakes(first, &studio, wanted)?;
    }
    Ok(all)
}

fn method(set: &Set) -> &'static str {
    match set.card.gear.cutting {
        Cutting::FaceMilled => "face-milled",
        Cutting::FaceHobbed => "face-hobbed",
    }
}

pub(super) fn begin(title: &str) -> Page {
    let mut page = Page::default();
    page.text([MARGIN, MARGIN + 14.0], 16.0, true, title);
    let y = MARGIN + 22.0;
    page.line(vec![[MARGIN, y], [A4[0] - MARGIN, y]], 1.0);
    page.y = MARGIN + 30.0;
    page
}

/// The trade's words, and the amounts.
fn words(diagnosis: Option<&FlankDiagnosis>) -> [String; 2] {
    let Some(d) = diagnosis else {
        return ["gone".into(), "nothing of the patch is on the flank".into()];
    };
    let shift = |value: f64, less: &str, more: &str| {
        let way = if value < 0.0 { less } else { more };
        format!("{:.0}\u{a0}% toward the {way}", 100.0 * value.abs())
    };
    let amounts = format!(
        "{}, {} of the target",
        shift(d.length, "toe", "heel"),
        shift(d.height, "root", "tip")
    );
    [d.words.clone(), amounts]
}

impl Sheets {
    fn centred(&mut self, set: &Set, studio: &Studio, wanted: &Wanted) -> Result<()> {
        let mut page = begin(&format!("A centred pattern, {} gears", method(set)));
        let mut show = |page: &mut Page, title: &str, bias_mm: f64| -> Result<()> {
            let case = Case::new(set, Misalignment::default(), bias_mm);
            page.y = pair(page, set, studio, &case, wanted, Room::Wide)?;
            self.claims.push(claim(set, title, &case, bias_mm));
            Ok(())
        };
        page.y = page.paragraph(
            [MARGIN, page.y],
            WIDTH,
            BODY + 1.0,
            &format!(
                "{} The cross is the target; the patch's centre may stand in the dashed box. Toe is the inner end, on the left of the flat \
                 drawings; the tip is up.",
                at_its_place(set)
            ),
        );
        show(&mut page, "Centred", 0.0)?;
        if set.card.gear.cutting == Cutting::FaceHobbed {
            let slanted = Case::new(set, Misalignment::default(), SLANT_BIAS_MM);
            let slant = slanted
                .state
                .drive
                .patch
                .map_or(0.0, |p| p.lean.to_degrees());
            page.y = page.paragraph(
                [MARGIN, page.y + 8.0],
                WIDTH,
                BODY + 1.0,
                &format!(
                    "The same place with slanted flanks, as face-hobbed sets often have them. The drive patch slants {:.0}°, and pinion and ring gear stand \
                     right. No shim squares it: a slant is cut into the teeth. Judge the middle of the patch and leave the slant alone.",
                    slant.abs()
                ),
            );
            show(&mut page, "Centred and slanted", SLANT_BIAS_MM)?;
        }
        page.paragraph([MARGIN, page.y + 6.0], WIDTH, BODY, CAUTION);
        self.pages.push(page);
        Ok(())
    }

    fn four_faults(&mut self, set: &Set, studio: &Studio, wanted: &Wanted) -> Result<()> {
        let mut page = Page::default();
        for (number, (title, misalignment)) in faults().into_iter().enumerate() {
            if number % 2 == 0 {
                let which = if number == 0 {
                    "the pinion"
                } else {
                    "the ring gear"
                };
                page = begin(&format!("What {which} does, {} gears", method(set)));
            }
            let case = Case::new(set, misalignment, 0.0);
            let said = claim(set, title, &case, 0.0);
            let top = page.y + 4.0;
            let amount = misalignment.pinion_mm + misalignment.ring_mm;
            let heading = format!("{title}: {}", wanted.units.shim(amount.abs()));
            page.text([MARGIN, top + 10.0], 11.0, true, &heading);
            page.y = top + 16.0;
            page.y = pair(&mut page, set, studio, &case, wanted, Room::Narrow)?;
            let cut_width = 110.0;
            let corner = [MARGIN, page.y + 6.0];
            let cut_end = draw_section(&mut page, set, &case, corner, cut_width);
            let (left, mut y) = (MARGIN + cut_width + 34.0, page.y + 4.0);
            let room = MARGIN + WIDTH - left;
            for line in fault_words(set, &case, &said, wanted.units) {
                y = page.paragraph([left, y], room, BODY, &line);
            }
            y = draw_backlash(&mut page, set, &case, wanted, [left, y], 0.8 * room);
            page.y = y.max(cut_end);
            self.claims.push(said);
            if number % 2 == 1 {
                page.paragraph([MARGIN, page.y + 6.0], WIDTH, BODY, CAUTION);
                self.pages.push(std::mem::take(&mut page));
            }
        }
        Ok(())
    }
}

/// What the card's own place shows.
fn at_its_place(set: &Set) -> &'static str {
    let case = Case::new(set, Misalignment::default(), 0.0);
    let clear = Side::BOTH.iter().all(|side| {
        let patch = case.state.side(*side).patch;
        patch.is_some_and(|p| {
            let m = p.margin;
            m.toe.min(m.heel).min(m.tip).min(m.root) > 0.0
        })
    });
    match (case.is_right(&set.card), clear) {
        (true, true) => {
            "Both patches stand at their targets, clear of all four edges, and the backlash is in its window."
        }
        (true, false) => {
            "Both patches stand at their targets and the backlash is in its window, though a patch runs into an edge."
        }
        (false, _) => {
            "By the contact model this card does not reach its own targets where it puts the gears: look at its target and crowning."
        }
    }
}

fn why_pinion(said: &Claim) -> String {
    let end = |d: &Option<FlankDiagnosis>| {
        d.as_ref()
            .map_or("an edge", |d| if d.height < 0.0 { "root" } else { "tip" })
    };
    let (drive, coast) = (end(&said.drive), end(&said.coast));
    if drive == coast {
        format!(
            "Why: the gap at the {coast} of the ring-gear flanks closes first, so the patches move there on both flanks."
        )
    } else {
        format!(
            "Why: the gap closes first at the {drive} of the drive flank and at the {coast} of the coast flank, so the patches move there."
        )
    }
}

fn why_ring(case: &Case, right: &Case, units: Units) -> String {
    let shifts = Side::BOTH.map(|side| {
        let centre = |c: &Case| c.state.side(side).patch.map(|p| p.centre);
        centre(case)
            .zip(centre(right))
            .map_or([0.0, 0.0], |(now, then)| {
                [now.length - then.length, now.height - then.height]
            })
    });
    let along = shifts[0][0];
    format!(
        "Why: the flanks come straight nearer or farther, so the dial shows it first: {} {} backlash. The drive patch goes {:.0}\u{a0}% of the length \
         toward the {}, the heights change by {:.0}\u{a0}% at most. Believe the dial.",
        units.shim((case.backlash_mm - right.backlash_mm).abs()),
        if case.backlash_mm < right.backlash_mm {
            "less"
        } else {
            "more"
        },
        100.0 * along.abs(),
        if along < 0.0 { "toe" } else { "heel" },
        100.0 * shifts.iter().map(|s| s[1].abs()).fold(0.0, f64::max),
    )
}

fn fault_words(set: &Set, case: &Case, said: &Claim, units: Units) -> Vec<String> {
    let pinion = said.pinion_mm != 0.0;
    let amount = said.pinion_mm + said.ring_mm;
    let (gear, mate) = if pinion {
        ("pinion", "ring gear")
    } else {
        ("ring gear", "pinion")
    };
    let way = if amount < 0.0 { "away from" } else { "toward" };
    let [low, high] = set.card.backlash_window_mm();
    let backlash = if said.backlash_mm == 0.0 {
        "Backlash: none, the teeth jam. Do not turn them by force.".to_owned()
    } else {
        let shown = |mm: f64| units.shim(mm);
        let is_at_edge = [low, high].map(shown).contains(&shown(said.backlash_mm));
        let window = if is_at_edge {
            "at the very edge of its window"
        } else if said.backlash_mm < low {
            "too little"
        } else if said.backlash_mm > high {
            "too much"
        } else {
            "still in its window"
        };
        format!(
            "Backlash, measured {}: {}, {window}.",
            set.dial.words,
            units.shim(said.backlash_mm)
        )
    };
    let right = Case::new(set, Misalignment::default(), said.bias_mm);
    let why = if pinion {
        why_pinion(said)
    } else {
        why_ring(case, &right, units)
    };
    let not = if pinion {
        "Leave alone: the side shims, until the height is right. Then set the backlash again, for the pinion has changed it."
    } else {
        "Leave alone: the pinion, while the height of both patches is near its target. A pinion shim would move it."
    };
    let mut lines = vec![
        why,
        backlash,
        format!(
            "Change: the {gear} {} {way} the {mate}.",
            units.shim(amount.abs())
        ),
        not.to_owned(),
    ];
    lines.extend(said.charts.clone());
    if set.card.gear.cutting == Cutting::FaceHobbed {
        lines
            .push("A slanted patch is cut into face-hobbed teeth: do not try to square it.".into());
    }
    lines
}

/// What every side ends with.
pub(super) const CAUTION: &str = "Pictures and words are computed from a contact model of an invented or given card, not from your axle. Its manual, local rules and \
     licensed practice decide. Support the vehicle on stands, chock the wheels, keep fingers out of the mesh.";

#[cfg(test)]
mod tests;
