//! What the sheets draw: photos and flat flanks side by side, the mesh cut across, the backlash.

use super::{BODY, MARGIN, Wanted, words};
use crate::Result;
use crate::frames::Side;
use crate::lesson::case::{Case, Set};
use crate::lesson::flat::{GAP_SCALE, flank_picture, section};
use crate::lesson::photo::{Compound, Shot, Studio};
use crate::report::draw::page::{A4, Page};

/// Width between the margins.
pub(crate) const WIDTH: f64 = A4[0] - 2.0 * MARGIN;
const GAP: f64 = 14.0;
/// Width of one of two columns.
pub(crate) const HALF: f64 = (WIDTH - GAP) / 2.0;
/// Share of a column that a small photo takes; its words stand beside it.
const SMALL: f64 = 0.48;
const FLAT_PIXELS: u32 = 900;

/// Left edge of a side's column.
pub(crate) fn column(side: Side) -> f64 {
    MARGIN + side as u8 as f64 * (HALF + GAP)
}

/// The usual photo of a side: yellow, so that it prints well.
pub(crate) fn photo_of(side: Side, wanted: &Wanted) -> Shot {
    Shot {
        compound: Some(Compound::Yellow),
        ..Shot::new(side, wanted.photo, wanted.seed + 11 * side as u64)
    }
}

/// How wide the photos of a pair are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Room {
    /// The whole column, words above.
    Wide,
    /// Part of it, words beside.
    Narrow,
}

/// Drive and coast side by side: the photo above, the flat flank below. Returns where it ends.
pub(crate) fn pair(
    page: &mut Page,
    set: &Set,
    studio: &Studio,
    case: &Case,
    wanted: &Wanted,
    room: Room,
) -> Result<f64> {
    let top = page.y + 4.0;
    let mut lowest = top;
    for side in Side::BOTH {
        let left = column(side);
        let mut shot = photo_of(side, wanted);
        if room == Room::Narrow {
            let small = |pixels: u32| (f64::from(pixels) * SMALL).round() as u32;
            shot.size = (small(shot.size.0), small(shot.size.1));
        }
        let rendered = studio.render(&set.model, &case.state, &shot)?;
        let [named, amounts] = words(case.words[side as usize].as_ref());
        let line = format!("{}: {named}", side.word());
        let shows = format!("rendered photo of the {} flanks", side.word());
        let y = match room {
            Room::Wide => {
                page.text([left, top + 9.0], 9.5, true, &line);
                page.text([left, top + 19.0], 7.0, false, &amounts);
                page.picture([left, top + 24.0], HALF, rendered.picture, &shows)
            }
            Room::Narrow => {
                let small = SMALL * HALF;
                let beside = left + small + 6.0;
                page.text([beside, top + 10.0], 9.5, true, &line);
                page.paragraph([beside, top + 14.0], HALF - small - 6.0, 7.0, &amounts);
                page.picture([left, top], small, rendered.picture, &shows)
            }
        };
        page.text([left, y + 8.0], 6.0, false, "toe");
        page.text([left + HALF - 13.0, y + 8.0], 6.0, false, "heel");
        let flat = flank_picture(set, case, side, FLAT_PIXELS);
        let shows = format!("the {} flank laid flat, toe left, tip up", side.word());
        lowest = lowest.max(page.picture([left, y + 10.0], HALF, flat, &shows));
    }
    Ok(lowest)
}

/// The mesh cut across. Returns where it ends.
pub(crate) fn draw_section(
    page: &mut Page,
    set: &Set,
    case: &Case,
    [left, top]: [f64; 2],
    width: f64,
) -> f64 {
    let cut = section(set, case);
    let all = cut.ring.iter().flatten();
    let (low, high) = all
        .clone()
        .fold((f64::MAX, f64::MIN), |(l, h), p| (l.min(p[1]), h.max(p[1])));
    let reach = all.fold(0.0_f64, |r, p| r.max(p[0].abs()));
    let land = 0.35 * reach;
    let scale = width / (2.0 * (reach + land));
    let at = |p: &[f64; 2]| {
        [
            left + 0.5 * width + scale * p[0],
            top + 12.0 + scale * (high - p[1]),
        ]
    };
    // The ring gear's slot: land, coast flank down, root, drive flank up, land.
    let mut slot = vec![[-reach - land, high]];
    slot.extend(cut.ring[0].iter().rev());
    slot.extend(&cut.ring[1]);
    slot.push([reach + land, high]);
    page.line(slot.iter().map(at).collect(), 1.8);
    let mut tooth: Vec<[f64; 2]> = cut.pinion[0].iter().rev().copied().collect();
    tooth.extend(&cut.pinion[1]);
    page.line(tooth.iter().map(at).collect(), 0.8);
    page.text(
        [left, top + 7.0],
        6.5,
        false,
        "thick: ring gear, coast | drive; thin: pinion",
    );
    let bottom = top + 12.0 + scale * (high - low);
    let words = format!(
        "The mesh cut across at the patches, each flank as it touches; gaps drawn {GAP_SCALE:.0} times as wide. Compound is wiped where the lines meet."
    );
    page.paragraph([left, bottom + 2.0], width + 20.0, 6.0, &words)
}

/// Backlash on a scale, the window thick. Returns where it ends.
pub(crate) fn draw_backlash(
    page: &mut Page,
    set: &Set,
    case: &Case,
    wanted: &Wanted,
    [left, top]: [f64; 2],
    width: f64,
) -> f64 {
    let window = set.card.backlash_window_mm();
    let most = 1.15 * case.backlash_mm.max(2.0 * window[1]);
    let x = |mm: f64| left + width * mm / most;
    let y = top + 20.0;
    page.line(vec![[left, y], [left + width, y]], 0.6);
    page.line(vec![[x(window[0]), y], [x(window[1]), y]], 4.0);
    for (mm, up) in [(0.0, 3.0), (window[0], 4.0), (window[1], 4.0)] {
        page.line(vec![[x(mm), y - up], [x(mm), y + up]], 0.6);
    }
    let mark = x(case.backlash_mm);
    let pointer = vec![
        [mark, y - 2.5],
        [mark - 3.0, y - 9.0],
        [mark + 3.0, y - 9.0],
        [mark, y - 2.5],
    ];
    page.line(pointer, 1.0);
    let words = format!("backlash {}", wanted.units.shim(case.backlash_mm));
    let start = if mark < left + 0.7 * width {
        mark + 6.0
    } else {
        mark - 78.0
    };
    page.text([start, y - 5.0], 6.5, true, &words);
    let words = format!(
        "window {} to {}",
        wanted.units.shim(window[0]),
        wanted.units.shim(window[1])
    );
    page.text([x(window[0]), y + 11.0], 6.5, false, &words);
    y + 11.0 + 0.5 * BODY
}
