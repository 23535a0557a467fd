//! The flank unrolled at its true proportions, and the mesh cut across at the middle of the patch.

use super::case::{Case, Set};
use crate::contact::form_of;
use crate::frames::{FlankPoint, Side};
use crate::gear::tooth_flanks::half_angle;
use image::{Rgb, RgbImage};

const COMPOUND: [f64; 3] = [236.0, 190.0, 52.0];
const STEEL: [f64; 3] = [92.0, 102.0, 112.0];
const INK: Rgb<u8> = Rgb([20, 33, 61]);
const PAPER: Rgb<u8> = Rgb([255, 255, 255]);
/// How much wider than true the section draws the gaps.
pub(crate) const GAP_SCALE: f64 = 25.0;

/// A flank's four sides at its true proportions, mm.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub(crate) struct Outline {
    /// Along the tooth.
    pub length_mm: f64,
    /// How high the root side stands at toe and heel.
    pub root_mm: [f64; 2],
    /// How high the tip side stands at toe and heel.
    pub tip_mm: [f64; 2],
}

/// The outline of a side's flank.
pub(crate) fn outline(set: &Set, side: Side) -> Outline {
    let d = set.model.dimensions();
    let [length_mm, height_mm] = set.model.flank_size_mm(side);
    let stretch = height_mm / (d.height_at(0.5, 1.0) - d.height_at(0.5, 0.0));
    let line = |height| [0.0, 1.0].map(|length| stretch * d.height_at(length, height));
    Outline {
        length_mm,
        root_mm: line(0.0),
        tip_mm: line(1.0),
    }
}

/// The flank with its patch and the target's cross and box, toe left, tip up, `width` pixels wide.
pub(crate) fn flank_picture(set: &Set, case: &Case, side: Side, width: u32) -> RgbImage {
    let [length_mm, height_mm] = set.model.flank_size_mm(side);
    let Outline {
        root_mm: root,
        tip_mm: tip,
        ..
    } = outline(set, side);
    let (low, high) = (root[0].min(root[1]), tip[0].max(tip[1]));
    let scale = f64::from(width) / length_mm;
    let contact = case.state.side(side);
    let target = set.card.target.of(side);
    let tolerance = set.card.target.tolerance;
    let mut picture = RgbImage::from_pixel(width, (scale * (high - low)).ceil() as u32, PAPER);
    for (x, y, pixel) in picture.enumerate_pixels_mut() {
        let length = (f64::from(x) + 0.5) / f64::from(width);
        let up = high - (f64::from(y) + 0.5) / scale;
        let between = |[toe, heel]: [f64; 2]| toe + (heel - toe) * length;
        let height = (up - between(root)) / (between(tip) - between(root));
        if !(0.0..=1.0).contains(&height) {
            continue;
        }
        let wiped = contact.field.at(FlankPoint::new(length, height));
        *pixel = Rgb([0, 1, 2].map(|k| (COMPOUND[k] + (STEEL[k] - COMPOUND[k]) * wiped) as u8));
        let off_mm = [
            (length - target.length) * length_mm,
            (height - target.height) * height_mm,
        ];
        let half_mm = [tolerance.length * length_mm, tolerance.height * height_mm];
        let thin = 1.2 / scale;
        let on = |k: usize, at: f64| (off_mm[k].abs() - at).abs() < thin;
        let cross = (on(0, 0.0) && off_mm[1].abs() < 1.0) || (on(1, 0.0) && off_mm[0].abs() < 1.0);
        let frame = (on(0, half_mm[0]) && off_mm[1].abs() <= half_mm[1] + thin)
            || (on(1, half_mm[1]) && off_mm[0].abs() <= half_mm[0] + thin);
        let dash = (off_mm[0] + off_mm[1]).rem_euclid(1.6) < 0.9;
        let edge = !(0.012..=0.988).contains(&height) || !(0.004..=0.996).contains(&length);
        if cross || (frame && dash) || edge {
            *pixel = INK;
        }
    }
    picture
}

/// Polylines in millimetres, x across the slot and y from the root up: the ring gear's two flanks of
/// a slot, and the pinion tooth between them with its gaps drawn [`GAP_SCALE`] times as wide.
pub(crate) struct Section {
    /// Ring gear: coast flank left, drive flank right.
    pub ring: [Vec<[f64; 2]>; 2],
    /// The pinion tooth's sides facing them.
    pub pinion: [Vec<[f64; 2]>; 2],
}

/// Cuts the mesh across at the middle of each flank's patch. The ring gear's sides are drawn straight,
/// at their pressure angles; the gaps are the contact model's own.
pub(crate) fn section(set: &Set, case: &Case) -> Section {
    let d = set.model.dimensions();
    let pair = set.model.pair();
    let tooth_mm = 2.0 * half_angle(d, pair) * pair.ring_radius_mm * pair.ring_spiral.cos();
    let slot_mm = std::f64::consts::PI * d.normal_module_mm() - tooth_mm;
    let side_of = |side: Side| {
        let sign = if side == Side::Drive { 1.0 } else { -1.0 };
        let contact = case.state.side(side);
        let slope = d.flank_angle(form_of(d, side)).tan();
        let (nu, nv) = (contact.field.nu, contact.field.nv);
        let length = contact.patch.map_or(0.5, |p| p.centre.length);
        let column = (length * (nu - 1) as f64).round() as usize;
        let mut ring = Vec::new();
        let mut pinion = Vec::new();
        for row in 0..nv {
            let height = row as f64 / (nv - 1) as f64;
            let y = d.height_at(0.5, height);
            let x = sign * (0.5 * slot_mm + slope * y);
            ring.push([x, y]);
            let gap = contact.clearance_mm[row * nu + column];
            if gap.is_finite() {
                // Never past the middle of the slot: the other side is drawn there.
                let inward = (GAP_SCALE * gap.max(0.0)).min(x.abs());
                pinion.push([x - sign * inward, y]);
            }
        }
        (ring, pinion)
    };
    let (left, left_pinion) = side_of(Side::Coast);
    let (right, right_pinion) = side_of(Side::Drive);
    Section {
        ring: [left, right],
        pinion: [left_pinion, right_pinion],
    }
}
