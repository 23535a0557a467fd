//! The blank that goes with a gear set whose card has no `[blank]`.

use super::GearError;
use super::blank::{Backlash, Blank, BlankInput, Depth, Method};
use super::cones_of_pair::cones_of_pair;
use super::dimensions::Dimensions;
use super::pitch::PitchPair;
use crate::schema::Cutting;
use crate::schema::Taper;

/// The blank of a gear set whose card has no `[blank]`: clause 7 on the model's own pitch cones.
///
/// # Errors
/// When no tooth fits on the cones.
pub(crate) fn blank_of_model(
    dimensions: &Dimensions,
    pair: &PitchPair,
) -> Result<Blank, GearError> {
    let d = dimensions;
    let module = d.normal_module_mm();
    let working = d.whole_depth_mm - d.clearance_mm;
    let input = BlankInput {
        method: match d.cutting {
            _ if d.offset_mm == 0.0 => Method::Zero,
            Cutting::FaceMilled => Method::One,
            Cutting::FaceHobbed => Method::Three,
        },
        cutting: d.cutting,
        shaft_angle: d.shaft_angle,
        a: d.offset_mm,
        z1: d.pinion_teeth,
        z2: d.ring_teeth,
        de2: Some(d.ring_diameter_mm),
        dm2: None,
        b2: d.face_width_mm,
        bm2: Some(d.spiral_angle),
        bdelta1: None,
        rc0: d.cutter_radius_mm,
        z0: d.blade_groups,
        // The flanks' own angles, whichever way the card came to them.
        alpha_dd: d.convex_angle,
        alpha_dc: d.concave_angle,
        falim: 0.0,
        cbe2: 0.5,
        depth: Depth::Factors {
            cham: d.addendum_mm / working,
            kd: working / module,
            kc: d.clearance_mm / working,
            kt: 0.0,
        },
        backlash: Backlash::OuterNormal(0.0),
        theta2: Some([d.addendum_angle, d.dedendum_angle]),
        taper: Taper::Uniform,
    };
    Blank::on(&input, cones_of_pair(pair))
}
