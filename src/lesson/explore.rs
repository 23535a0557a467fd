//! The page on which an apprentice moves the gears: one file, no network, the contact model's own
//! mesh inside it.

use super::case::{Case, SLANT_BIAS_MM, Set, form};
use super::flat::{Outline, outline};
use super::photo::noise::share;
use crate::contact::patch::SOFTNESS;
use crate::contact::{ContactError, Misalignment};
use crate::frames::{FlankPoint, Side};
use crate::schema::Cutting;
use crate::units::Units;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use serde::Serialize;

/// A set as the page offers it.
pub(crate) struct Offered {
    /// What it is called.
    pub title: String,
    /// A sentence or two about it.
    pub about: String,
    /// The set.
    pub set: Set,
    /// Bias of both flanks at the corners, mm.
    pub bias_mm: f64,
}

/// The invented sets that the page offers when no card is given.
///
/// # Errors
/// As [`Set::new`].
pub(crate) fn examples() -> Result<Vec<Offered>, ContactError> {
    let offered = |title: &str, about: &str, set, bias_mm| Offered {
        title: title.into(),
        about: about.into(),
        set,
        bias_mm,
    };
    Ok(vec![
        offered(
            "Face-milled, 8-inch",
            "Tapered teeth. The pinion moves the height of both patches and carries the drive patch along the tooth with it.",
            Set::example(Cutting::FaceMilled)?,
            0.0,
        ),
        offered(
            "Face-hobbed, 8-inch",
            "Teeth of even depth. The pinion moves the heights; along the tooth the drive patch goes little more than half as far as on the face-milled set.",
            Set::example(Cutting::FaceHobbed)?,
            0.0,
        ),
        offered(
            "Face-hobbed, 8-inch, slanted",
            "The slant is cut into the teeth. No shim squares it: judge the middle of the patch.",
            Set::example(Cutting::FaceHobbed)?,
            SLANT_BIAS_MM,
        ),
        offered(
            "Face-milled, strongly crowned",
            "The same teeth, the flanks more rounded: smaller patches, which move less for the same error.",
            Set::crowned_example(1.7)?,
            0.0,
        ),
    ])
}

/// A card's own set.
pub(crate) fn of_card(set: Set) -> Offered {
    let method = match set.card.gear.cutting {
        Cutting::FaceMilled => "Face-milled",
        Cutting::FaceHobbed => "Face-hobbed",
    };
    let title = if set.card.name.is_empty() {
        format!("{method}, {:.0} mm", set.card.gear.ring_diameter_mm)
    } else {
        set.card.name.clone()
    };
    Offered {
        title,
        about: format!("{method}, from your card."),
        set,
        bias_mm: 0.0,
    }
}

#[derive(Serialize)]
struct PageData {
    units: &'static str,
    softness: f64,
    sets: Vec<SetData>,
}

#[derive(Serialize)]
pub(super) struct SetData {
    title: String,
    about: String,
    targets: [FlankPoint; 2],
    tolerance: FlankPoint,
    backlash_mm: [f64; 2],
    film_mm: f64,
    /// Backlash as measured for each radian that the ring gear is free, mm.
    backlash_per_radian_mm: f64,
    /// How backlash is measured.
    measured: &'static str,
    /// How the drive flanks look.
    drive_form: &'static str,
    outlines: [Outline; 2],
    flanks: [FlankData; 2],
    checks: Vec<Check>,
}

#[derive(Serialize)]
pub(super) struct FlankData {
    columns: usize,
    rows: usize,
    ratio: f64,
    size_mm: [f64; 2],
    /// Eight numbers for each node and each point of a line, as the contact model's table has them.
    nodes: String,
    points: String,
    /// Step and how many points, line by line.
    lines: Vec<[usize; 2]>,
}

/// What the program itself answers at a place, for the page to compare itself with.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct Check {
    /// + = pinion away from the ring gear.
    pub pinion_mm: f64,
    /// + = ring gear away from the pinion.
    pub ring_mm: f64,
    /// Length and height of drive and coast patch.
    pub centres: [Option<[f64; 2]>; 2],
    /// What they are called.
    pub words: [String; 2],
    /// Backlash.
    pub backlash_mm: f64,
    /// Whether all is right.
    pub right: bool,
}

/// How many places each set is compared at.
const CHECKS: u64 = 24;
/// The sliders reach this far, mm.
const REACH_MM: f64 = 0.5;

/// The program's answers at places all over the sliders' reach.
pub(crate) fn checks(offered: &Offered) -> Vec<Check> {
    (0..CHECKS)
        .map(|k| {
            let spread = |n| REACH_MM * (2.0 * share(0x5eed, 2 * k + n) - 1.0);
            let misalignment = Misalignment {
                pinion_mm: spread(0),
                ring_mm: spread(1),
                ..Misalignment::default()
            };
            let case = Case::new(&offered.set, misalignment, offered.bias_mm);
            let centre = |side| {
                let patch = case.state.side(side).patch?;
                Some([patch.centre.length, patch.centre.height])
            };
            Check {
                pinion_mm: misalignment.pinion_mm,
                ring_mm: misalignment.ring_mm,
                centres: Side::BOTH.map(centre),
                words: Side::BOTH.map(|side| {
                    let words = &case.words[side as usize];
                    words.as_ref().map_or("gone".into(), |d| d.words.clone())
                }),
                backlash_mm: case.backlash_mm,
                right: case.is_right(&offered.set.card),
            }
        })
        .collect()
}

fn packed<'a>(rows: impl Iterator<Item = &'a [f32; 8]>) -> String {
    let bytes: Vec<u8> = rows.flatten().flat_map(|v| v.to_le_bytes()).collect();
    STANDARD.encode(bytes)
}

pub(super) fn set_data(offered: &Offered) -> SetData {
    let set = &offered.set;
    let (mut ease_off, film_mm) = set.model.defaults();
    let target = &set.card.target;
    SetData {
        title: offered.title.clone(),
        about: offered.about.clone(),
        targets: Side::BOTH.map(|side| target.of(side)),
        tolerance: target.tolerance,
        backlash_mm: set.card.backlash_window_mm(),
        film_mm,
        backlash_per_radian_mm: 0.5 * set.model.dimensions().ring_diameter_mm * set.dial.share,
        measured: set.dial.words,
        drive_form: form(&set.card, Side::Drive),
        outlines: Side::BOTH.map(|side| outline(set, side)),
        flanks: Side::BOTH.map(|side| {
            let own = &mut ease_off[side as usize];
            own.bias_mm = offered.bias_mm;
            let table = set.model.flank_table(side, own);
            FlankData {
                columns: table.columns,
                rows: table.rows,
                ratio: table.ratio,
                size_mm: set.model.flank_size_mm(side),
                nodes: packed(table.nodes.iter()),
                points: packed(table.lines.iter().flat_map(|line| &line.points)),
                lines: table
                    .lines
                    .iter()
                    .map(|line| [line.step, line.points.len()])
                    .collect(),
            }
        }),
        checks: checks(offered),
    }
}

/// The page for the sets given.
///
/// # Errors
/// Numbers that JSON cannot hold, which no set has.
pub(crate) fn page(sets: &[Offered], units: Units) -> Result<String, serde_json::Error> {
    let data = PageData {
        units: match units {
            Units::Mm => "mm",
            Units::In => "thou",
        },
        softness: SOFTNESS,
        sets: sets.iter().map(set_data).collect(),
    };
    // A card's name must not end the script it stands in.
    let data = serde_json::to_string(&data)?.replace('<', "\\u003c");
    let script = [
        include_str!("explore/contact.js"),
        include_str!("explore/flank_view.js"),
        include_str!("explore/page.js"),
    ]
    .concat();
    Ok(include_str!("explore/page.html")
        .replace("@CSS@", include_str!("explore/page.css"))
        .replace("@SCRIPT@", &script)
        .replace("@DATA@", &data))
}

#[cfg(test)]
mod tests;
