//! The flank of a ring gear nobody has measured yet: a few shape numbers with the range usual
//! ring gears have, enough to say where each point of a flank stands in space.
//!
//! Lengths are in face widths, so that no size is needed. Axis z along the gear's axis towards the
//! pinion's side, origin on the axis level with the middle of the pitch cone.

use crate::frames::FlankPoint;
use crate::schema::{FlankForm, Hand};
use nalgebra::Vector3;

/// Number of shape numbers in [`RingForm`].
pub(crate) const SHAPE_NUMBERS: usize = 8;

/// Shape of a ring gear's flanks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct RingForm {
    /// Pitch angle, radians.
    pub pitch_angle: f64,
    /// Face width over outer diameter.
    pub face_per_diameter: f64,
    /// Tangent of the spiral angle at mid-face.
    pub spiral_tangent: f64,
    /// Change of that tangent from toe to heel.
    pub spiral_change: f64,
    /// Depth of the visible flank at mid-face, square to the pitch cone, over the face width.
    pub depth_per_face: f64,
    /// Depth at the heel less depth at the toe, over the depth at mid-face.
    pub taper: f64,
    /// Normal pressure angle, radians.
    pub pressure_angle: f64,
    /// Height of the profile's curve over its chord, over the depth.
    pub bulge: f64,
}

/// Standard deviations of the shape numbers among usual gears; of face width and depth, those of the
/// logarithms. Common practice, no source.
pub(super) const SPREADS: RingForm = RingForm {
    pitch_angle: 0.044,
    face_per_diameter: 0.035,
    spiral_tangent: 0.06,
    spiral_change: 0.12,
    depth_per_face: 0.08,
    taper: 0.17,
    pressure_angle: 0.026,
    bulge: 0.004,
};

/// Between these a ring gear is still a bevel gear, radians.
const PITCH_ANGLES: (f64, f64) = (0.9, 1.5);

impl RingForm {
    /// Middle of what usual car and truck axles have: pitch angle 70° … 80°, face width near
    /// 0.155 of the diameter, spiral angle 29° … 35° at mid-face and some 10° more at the heel than
    /// at the toe, taper from none (face-hobbed) to a third (face-milled), pressure angle near 20°.
    /// Common practice, no source. The bulge is h ÷ 8ρ of a profile of depth h whose radius of
    /// curvature ρ is that of the equivalent cylindrical gear.
    pub(crate) const USUAL: Self = Self {
        pitch_angle: 1.309,
        face_per_diameter: 0.152,
        spiral_tangent: 0.625,
        spiral_change: 0.22,
        depth_per_face: 0.25,
        taper: 0.16,
        pressure_angle: 0.349,
        bulge: 0.012,
    };

    /// The form that lies `offsets` standard deviations of usual gears from [`Self::USUAL`], in the
    /// order of the fields.
    pub(crate) fn from_offsets(offsets: &[f64; SHAPE_NUMBERS]) -> Self {
        let usual = Self::USUAL;
        let [pitch, face, spiral, change, depth, taper, pressure, bulge] = *offsets;
        let (least, most) = PITCH_ANGLES;
        Self {
            pitch_angle: (usual.pitch_angle + SPREADS.pitch_angle * pitch).clamp(least, most),
            face_per_diameter: usual.face_per_diameter * (SPREADS.face_per_diameter * face).exp(),
            spiral_tangent: usual.spiral_tangent + SPREADS.spiral_tangent * spiral,
            spiral_change: usual.spiral_change + SPREADS.spiral_change * change,
            depth_per_face: usual.depth_per_face * (SPREADS.depth_per_face * depth).exp(),
            taper: usual.taper + SPREADS.taper * taper,
            pressure_angle: usual.pressure_angle + SPREADS.pressure_angle * pressure,
            bulge: usual.bulge + SPREADS.bulge * bulge,
        }
    }

    /// Flank depth over flank length as seen square to the flank: the depth leans by the pressure
    /// angle, the length by the spiral angle.
    pub(crate) fn depth_over_length(&self) -> f64 {
        let spiral_cosine = 1.0 / self.spiral_tangent.hypot(1.0);
        self.depth_per_face / self.pressure_angle.cos() * spiral_cosine
    }

    /// Whether the pitch angle stands at an end of its range and moves no more with its offset.
    fn pitch_angle_is_held(&self) -> bool {
        !(self.pitch_angle > PITCH_ANGLES.0 && self.pitch_angle < PITCH_ANGLES.1)
    }

    /// Mean cone distance, face widths.
    fn mean_cone_distance(&self) -> f64 {
        0.5 / self.face_per_diameter / self.pitch_angle.sin() - 0.5
    }
}

/// Which of the four kinds of flank: hand of spiral and lengthwise form.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct FlankKind {
    /// Hand of the ring gear's spiral.
    pub hand: Hand,
    /// Convex or concave along its length.
    pub form: FlankForm,
}

impl FlankKind {
    /// The kind that spirals with `hand` and looks along increasing (+1) or decreasing (−1) angle.
    pub(crate) fn facing(hand: Hand, sense: f64) -> Self {
        let form = if sense * hand_sign(hand) < 0.0 {
            FlankForm::Convex
        } else {
            FlankForm::Concave
        };
        Self { hand, form }
    }

    /// +1 when the flank's outer side looks along increasing angle, else −1.
    pub(crate) fn sense(self) -> f64 {
        match self.form {
            FlankForm::Convex => -hand_sign(self.hand),
            FlankForm::Concave => hand_sign(self.hand),
        }
    }
}

/// Sign of the angle by which the heel leads the toe, seen from the pinion's side: a right-hand
/// spiral runs clockwise outwards.
fn hand_sign(hand: Hand) -> f64 {
    match hand {
        Hand::Left => 1.0,
        Hand::Right => -1.0,
    }
}

/// Share of the depth at which the pitch cone cuts the flank; only fixes where heights count from.
const PITCH_HEIGHT: f64 = 0.7;

/// A kind of flank of a form, with all that does not change from point to point.
///
/// The lengthwise curve is the integral of tan β ÷ (R sin δ) over the cone distance R with tan β
/// linear in R; the profile is a line leaning by the pressure angle plus a parabola of the bulge.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Flank {
    form: RingForm,
    hand: f64,
    sense: f64,
    mean: f64,
    per_mean: f64,
    sine: f64,
    per_sine: f64,
    cosine: f64,
    transverse: f64,
    /// By how much that grows with the pressure angle.
    transverse_by_pressure: f64,
}

/// What a point of a flank is worked out from: lengths in face widths, angles in radians.
struct Parts {
    /// From mid-face towards the heel.
    along: f64,
    /// From the pitch cone towards the tip.
    height: f64,
    /// Logarithm of the cone distance over that at mid-face.
    outwards: f64,
    /// Turn about the axis since mid-face, on the pitch cone.
    turn: f64,
    /// Sideways for a bulge of one.
    arc: f64,
    /// Along the circle about the axis.
    sideways: f64,
    /// One over the distance from the axis: many derivatives need it, and a division takes long.
    per_radius: f64,
    /// Distance from the axis, angle about it and place along it.
    cylinder: [f64; 3],
}

impl Flank {
    pub(crate) fn new(form: &RingForm, kind: FlankKind) -> Self {
        let (sine, cosine) = form.pitch_angle.sin_cos();
        let lean = form.pressure_angle.tan();
        let slant = form.spiral_tangent.hypot(1.0);
        let mean = form.mean_cone_distance();
        Self {
            form: *form,
            hand: hand_sign(kind.hand),
            sense: kind.sense(),
            mean,
            per_mean: 1.0 / mean,
            sine,
            per_sine: 1.0 / sine,
            cosine,
            transverse: lean * slant,
            transverse_by_pressure: (1.0 + lean * lean) * slant,
        }
    }

    /// A point of the flank as its distance from the axis, its angle about it for the tooth at
    /// angle 0, and its place along it.
    pub(crate) fn cylinder(&self, at: FlankPoint) -> [f64; 3] {
        self.parts(at).cylinder
    }

    fn parts(&self, at: FlankPoint) -> Parts {
        let Self {
            form,
            mean,
            per_mean,
            sine,
            per_sine,
            ..
        } = self;
        let along = at.length - 0.5;
        let depth = form.depth_per_face * (1.0 + form.taper * along);
        let height = depth * (at.height - PITCH_HEIGHT);
        // As exact as needed here, and several times as fast as `ln_1p`.
        let outwards = (1.0 + along * per_mean).ln();
        let turn = self.hand
            * (form.spiral_change * along
                + (form.spiral_tangent - form.spiral_change * mean) * outwards)
            * per_sine;
        let arc = self.sense * 4.0 * at.height * (1.0 - at.height) * depth;
        let sideways = form.bulge * arc - self.sense * height * self.transverse;
        let radius = (mean + along) * sine + height * self.cosine;
        let per_radius = 1.0 / radius;
        Parts {
            along,
            height,
            outwards,
            turn,
            arc,
            sideways,
            per_radius,
            cylinder: [
                radius,
                turn + sideways * per_radius,
                height * sine - along * self.cosine,
            ],
        }
    }

    /// What [`Self::cylinder`] gives, and how it moves with each of the form's offsets from usual
    /// gears.
    pub(crate) fn cylinder_by_offsets(
        &self,
        at: FlankPoint,
    ) -> ([f64; 3], [[f64; 3]; SHAPE_NUMBERS]) {
        let Parts {
            along,
            height,
            outwards,
            turn,
            arc,
            sideways,
            per_radius,
            cylinder,
        } = self.parts(at);
        let Self {
            form,
            hand,
            sense,
            mean,
            per_mean,
            sine,
            per_sine,
            cosine,
            transverse,
            transverse_by_pressure,
        } = *self;
        let by = |turn: f64, sideways_by: f64, radius_by: f64, level: f64| {
            let about = turn + (sideways_by - sideways * per_radius * radius_by) * per_radius;
            [radius_by, about, level]
        };
        let turn_by_mean = -hand
            * per_sine
            * (form.spiral_change * outwards
                + (form.spiral_tangent - form.spiral_change * mean) * along * per_mean
                    / (mean + along));
        let (pitch_by, mean_by_pitch) = if form.pitch_angle_is_held() {
            (0.0, 0.0)
        } else {
            (
                SPREADS.pitch_angle,
                -SPREADS.pitch_angle * (mean + 0.5) * cosine * per_sine,
            )
        };
        let mean_by_face = -SPREADS.face_per_diameter * (mean + 0.5);
        let deeper = |share: f64| {
            let height = share * height;
            by(0.0, share * sideways, height * cosine, height * sine)
        };
        let spiral = form.spiral_tangent;
        let leaning = |transverse_by: f64| -sense * height * transverse_by;
        let offsets = [
            by(
                turn_by_mean * mean_by_pitch - turn * pitch_by * cosine * per_sine,
                0.0,
                mean_by_pitch * sine + pitch_by * ((mean + along) * cosine - height * sine),
                pitch_by * (height * cosine + along * sine),
            ),
            by(turn_by_mean * mean_by_face, 0.0, mean_by_face * sine, 0.0),
            by(
                SPREADS.spiral_tangent * hand * outwards * per_sine,
                leaning(SPREADS.spiral_tangent * transverse * spiral / (1.0 + spiral * spiral)),
                0.0,
                0.0,
            ),
            by(
                SPREADS.spiral_change * hand * (along - mean * outwards) * per_sine,
                0.0,
                0.0,
                0.0,
            ),
            deeper(SPREADS.depth_per_face),
            deeper(SPREADS.taper * along / (1.0 + form.taper * along)),
            by(
                0.0,
                leaning(SPREADS.pressure_angle * transverse_by_pressure),
                0.0,
                0.0,
            ),
            by(0.0, SPREADS.bulge * arc, 0.0, 0.0),
        ];
        (cylinder, offsets)
    }

    /// The point in space, face widths, for the tooth turned by `angle` radians.
    pub(crate) fn point(&self, angle: f64, at: FlankPoint) -> Vector3<f64> {
        let [radius, about, level] = self.cylinder(at);
        let (sine, cosine) = (angle + about).sin_cos();
        Vector3::new(radius * cosine, radius * sine, level)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sense_and_kind_are_inverse_to_each_other() {
        for hand in [Hand::Left, Hand::Right] {
            for sense in [1.0, -1.0] {
                assert_eq!(FlankKind::facing(hand, sense).sense(), sense);
            }
        }
    }

    #[test]
    fn toe_and_heel_are_one_face_width_apart_along_the_cone() {
        let form = RingForm::USUAL;
        let kind = FlankKind::facing(Hand::Left, 1.0);
        let radius = |length| {
            let point = Flank::new(&form, kind).point(0.3, FlankPoint::new(length, PITCH_HEIGHT));
            (point.x.hypot(point.y), point.z)
        };
        let (toe, heel) = (radius(0.0), radius(1.0));
        let distance = (heel.0 - toe.0).hypot(heel.1 - toe.1);
        assert!((distance - 1.0).abs() < 1e-9, "{distance}");
    }

    #[test]
    fn the_lengthwise_curve_has_the_spiral_angle_at_mid_face() {
        let form = RingForm::USUAL;
        let kind = FlankKind::facing(Hand::Left, 1.0);
        let at = |length| Flank::new(&form, kind).point(0.0, FlankPoint::new(length, PITCH_HEIGHT));
        let step = at(0.5001) - at(0.4999);
        let (x, y, z) = (step.x, step.y, step.z);
        // At angle 0 the radial direction is x, the circumferential one y.
        let tangent = y / x.hypot(z);
        assert!((tangent - form.spiral_tangent).abs() < 1e-3, "{tangent}");
    }

    #[test]
    fn a_convex_flank_bulges_along_its_length() {
        for hand in [Hand::Left, Hand::Right] {
            for sense in [1.0, -1.0] {
                let kind = FlankKind::facing(hand, sense);
                let flank = Flank::new(&RingForm::USUAL, kind);
                let at = |length| flank.point(0.0, FlankPoint::new(length, PITCH_HEIGHT));
                let middle = at(0.5) - (at(0.0) + at(1.0)) / 2.0;
                let bulges_outward = middle.y * kind.sense() > 0.0;
                assert_eq!(bulges_outward, kind.form == FlankForm::Convex, "{kind:?}");
            }
        }
    }
}
