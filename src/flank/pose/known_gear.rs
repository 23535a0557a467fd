//! What is known of a ring gear before its photo is looked at, and how firmly a fit holds its shape by it.

use super::gear_form::{RingForm, SHAPE_NUMBERS, SPREADS};
use crate::flank::calibration::CALIBRATION;
use crate::schema::{Card, Cutting, Gear};

/// Sizes of a ring gear as a card or a caliper states them; what is `None` is as on usual gears.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[non_exhaustive]
pub struct KnownGear {
    /// Teeth of the ring gear.
    pub ring_teeth: Option<u32>,
    /// Face width over outer diameter.
    pub face_per_diameter: Option<f64>,
    /// Pitch angle, radians, and its standard deviation.
    pitch_angle: Option<(f64, f64)>,
    /// Tangent of the spiral angle at mid-face.
    spiral_tangent: Option<f64>,
    /// Whole depth at mid-face over the face width.
    whole_depth_per_face: Option<f64>,
    /// Depth at the heel less depth at the toe, over the depth at mid-face, and its standard deviation.
    taper: Option<(f64, f64)>,
    /// Normal pressure angle, radians.
    pressure_angle: Option<f64>,
}

impl KnownGear {
    /// What a card states, and what follows from it.
    pub fn of_card(card: &Card) -> Self {
        let gear = &card.gear;
        let spreads = &CALIBRATION.known_gear;
        let taper = match gear.cutting {
            Cutting::FaceHobbed => spreads.taper_hobbed,
            Cutting::FaceMilled => spreads.taper_milled,
        };
        Self {
            ring_teeth: Some(gear.ring_teeth),
            face_per_diameter: Some(gear.face_width_mm / gear.ring_diameter_mm),
            pitch_angle: Some(pitch_angle(gear)),
            spiral_tangent: Some(gear.spiral_angle_deg.to_radians().tan()),
            whole_depth_per_face: gear.whole_depth_mm.map(|depth| depth / gear.face_width_mm),
            taper: Some(taper),
            pressure_angle: Some(gear.pressure_angle_deg.to_radians()),
        }
    }

    /// The same with what was counted or measured on the ring gear itself: its teeth, and face width over outer diameter.
    #[must_use]
    pub fn with_sizes(self, ring_teeth: Option<u32>, face_per_diameter: Option<f64>) -> Self {
        Self {
            ring_teeth: ring_teeth.or(self.ring_teeth),
            face_per_diameter: face_per_diameter.or(self.face_per_diameter),
            ..self
        }
    }

    /// The angle from one tooth to the next, radians.
    pub(crate) fn pitch(&self) -> Option<f64> {
        let teeth = self.ring_teeth.filter(|&teeth| teeth > 0)?;
        Some(std::f64::consts::TAU / f64::from(teeth))
    }

    /// Where a fit holds the shape, and how firmly.
    pub(crate) fn shape_prior(&self) -> ShapePrior {
        let spreads = &CALIBRATION.known_gear;
        let (usual, usual_spread) = (RingForm::USUAL, SPREADS);
        let mut prior = ShapePrior::USUAL;
        let mut hold = |index: usize, offset: f64, spread: f64| {
            prior.middle[index] = offset;
            prior.weight[index] = 1.0 / spread;
        };
        if let Some((angle, spread)) = self.pitch_angle {
            let unit = usual_spread.pitch_angle;
            hold(0, (angle - usual.pitch_angle) / unit, spread / unit);
        }
        if let Some(ratio) = self.face_per_diameter {
            let unit = usual_spread.face_per_diameter;
            let off = (ratio / usual.face_per_diameter).ln();
            hold(1, off / unit, spreads.face_per_diameter / unit);
        }
        if let Some(tangent) = self.spiral_tangent {
            let unit = usual_spread.spiral_tangent;
            let off = tangent - usual.spiral_tangent;
            hold(2, off / unit, spreads.spiral_tangent / unit);
        }
        if let Some(depth) = self.whole_depth_per_face {
            let unit = usual_spread.depth_per_face;
            let off = (depth * spreads.flank_of_whole_depth / usual.depth_per_face).ln();
            hold(4, off / unit, spreads.depth_per_face / unit);
        }
        if let Some((taper, spread)) = self.taper {
            let unit = usual_spread.taper;
            hold(5, (taper - usual.taper) / unit, spread / unit);
        }
        if let Some(angle) = self.pressure_angle {
            let unit = usual_spread.pressure_angle;
            hold(6, (angle - usual.pressure_angle) / unit, 1.0);
        }
        prior
    }
}

/// The ring gear's pitch angle and its standard deviation: what the card says, else that of a pair without offset,
/// from which hypoid ring gears differ by a few degrees.
fn pitch_angle(gear: &Gear) -> (f64, f64) {
    let spreads = &CALIBRATION.known_gear;
    if let Some(degrees) = gear.pitch_angle_deg {
        return (degrees.to_radians(), spreads.pitch_angle);
    }
    let shafts = gear.shaft_angle_deg.to_radians();
    let ratio = f64::from(gear.pinion_teeth) / f64::from(gear.ring_teeth.max(1));
    // The pitch cones of two bevel gears meet at the shafts' crossing: ISO 23509, 6.2.
    let angle = shafts.sin().atan2(ratio + shafts.cos());
    let spread = if gear.offset_mm == 0.0 {
        spreads.pitch_angle
    } else {
        spreads.pitch_angle_with_offset
    };
    (angle, spread)
}

/// Where the shape numbers' offsets from usual gears are held, and how firmly.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ShapePrior {
    /// The likeliest offsets.
    pub middle: [f64; SHAPE_NUMBERS],
    /// One over their standard deviations.
    pub weight: [f64; SHAPE_NUMBERS],
}

impl ShapePrior {
    /// That of usual gears.
    pub(crate) const USUAL: Self = Self {
        middle: [0.0; SHAPE_NUMBERS],
        weight: [1.0; SHAPE_NUMBERS],
    };

    /// The same with less belief in what usual gears have of spiral and depth, where no card says them: they range widely, while
    /// the face width keeps to its share of the diameter.
    pub(crate) fn of_any_gear(mut self) -> Self {
        let spreads = &CALIBRATION.known_gear;
        for (index, wider) in [(2, spreads.any_spiral), (4, spreads.any_depth)] {
            if self.weight[index] == 1.0 {
                self.weight[index] = 1.0 / wider;
            }
        }
        self
    }

    /// How far offsets are off, standard deviations.
    pub(crate) fn deviations(&self, offsets: &[f64; SHAPE_NUMBERS]) -> [f64; SHAPE_NUMBERS] {
        std::array::from_fn(|i| (offsets[i] - self.middle[i]) * self.weight[i])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_known_gear_is_held_at_its_own_shape() {
        let toml = "name = \"set\"\n[gear]\nring_teeth = 41\npinion_teeth = 11\nring_diameter = \"200mm\"\nface_width = \"30mm\"\noffset = \"0mm\"\nspiral_angle_deg = 35\ncutting = \"face-milled\"\n";
        let card: Card = Card::from_toml(toml).unwrap();
        let known = KnownGear::of_card(&card);
        let prior = known.shape_prior();
        let form = RingForm::from_offsets(&prior.middle);
        assert!((form.face_per_diameter - 0.15).abs() < 1e-12);
        assert!((form.spiral_tangent - 35f64.to_radians().tan()).abs() < 1e-12);
        // tan of the ring gear's pitch angle is the ratio of the teeth where shafts stand square.
        assert!((form.pitch_angle.tan() - 41.0 / 11.0).abs() < 1e-9);
        assert!((known.pitch().unwrap() * 41.0 - std::f64::consts::TAU).abs() < 1e-12);
        assert!(prior.weight[1] > 1.0 && prior.weight[7] == 1.0);
        assert_eq!(KnownGear::default().shape_prior(), ShapePrior::USUAL);
        assert_eq!(prior.deviations(&prior.middle), [0.0; SHAPE_NUMBERS]);
    }
}
