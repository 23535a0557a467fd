//! The pitch cones of ring and pinion, and where the two axes lie.
//!
//! Frame: origin at the ring gear's pitch apex, +z along its axis from the apex to its back, the
//! mean point in the x–z plane. Right-hand and left-hand sets are mirror images in y; everything is
//! computed for the form whose tooth trace leans toward +y at the heel.

use super::GearError;
use nalgebra::Vector3;

/// Where ring gear and pinion stand relative to each other at the mean point.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct PitchPair {
    /// Γ or δ_2, ring gear's pitch angle, radians.
    pub ring_angle: f64,
    /// γ or δ_1, pinion's pitch angle, radians.
    pub pinion_angle: f64,
    /// ε, offset angle in the pitch plane, radians; not above 0, 0 for a spiral bevel set.
    pub offset_angle: f64,
    /// ψ_2, ring gear's mean spiral angle, radians.
    pub ring_spiral: f64,
    /// ψ_1 = ψ_2 − ε, pinion's mean spiral angle, radians.
    pub pinion_spiral: f64,
    /// A_m, ring gear's mean cone distance, mm.
    pub mean_cone_mm: f64,
    /// r_2, ring gear's mean pitch radius, mm.
    pub ring_radius_mm: f64,
    /// r_1, pinion's mean pitch radius, mm.
    pub pinion_radius_mm: f64,
    /// z_2 / z_1.
    pub ratio: f64,
    /// P, the mean point, mm.
    pub mean_point: Vector3<f64>,
    /// Along the ring gear's pitch generatrix, apex to heel.
    pub generatrix: Vector3<f64>,
    /// Out of the ring gear's pitch cone, toward the pinion.
    pub outward: Vector3<f64>,
    /// a_1, the pinion's axis, away from the ring gear.
    pub pinion_axis: Vector3<f64>,
    /// O_1, a point of the pinion's axis, mm.
    pub pinion_point: Vector3<f64>,
    /// The point of the pinion's axis nearest the ring gear's axis, mm.
    pub crossing_point: Vector3<f64>,
    /// Unit vector along the common perpendicular, from the ring gear's axis to the pinion's: a
    /// larger offset moves the pinion this way.
    pub offset_direction: Vector3<f64>,
}

/// The sizes that fix the pitch cones.
#[derive(Debug, Clone, Copy)]
pub(crate) struct PitchInput {
    /// z_2 / z_1.
    pub ratio: f64,
    /// δ_2, radians.
    pub ring_angle: f64,
    /// R_m2, mm.
    pub mean_cone_mm: f64,
    /// β_m2, radians.
    pub ring_spiral: f64,
    /// Σ, radians.
    pub shaft_angle: f64,
    /// a, mm, not negative.
    pub offset_mm: f64,
}

/// Largest pinion spiral angle that is looked at while the offset angle is searched.
const LARGEST_PINION_SPIRAL: f64 = 75.0 * std::f64::consts::PI / 180.0;

impl PitchPair {
    /// The pair for which the distance between the axes is the hypoid offset.
    ///
    /// The pinion's pitch angle follows from `cos Σ = cos γ cos Γ cos ε − sin γ sin Γ` (for 90°:
    /// `tan γ = cos ε / tan Γ`), its radius from equal normal pitches.
    ///
    /// # Errors
    /// [`GearError::OffsetTooLarge`] when no offset angle gives the offset.
    pub(crate) fn solve(input: PitchInput) -> Result<Self, GearError> {
        let excess = |angle: f64| Self::at(input, angle).offset_mm() - input.offset_mm;
        if input.offset_mm == 0.0 {
            return Ok(Self::at(input, 0.0));
        }
        let limit = (LARGEST_PINION_SPIRAL - input.ring_spiral).max(0.0);
        let steps = 90;
        let (mut near, mut far) = (0.0, None);
        let mut largest = (0.0, 0.0);
        for i in 1..=steps {
            let angle = -limit * f64::from(i) / f64::from(steps);
            let e = excess(angle);
            if e + input.offset_mm > largest.1 {
                largest = (angle, e + input.offset_mm);
            }
            if e >= 0.0 {
                far = Some(angle);
                break;
            }
            near = angle;
        }
        let Some(mut far) = far else {
            return Err(GearError::OffsetTooLarge {
                offset_mm: input.offset_mm,
                nearest_mm: largest.1,
            });
        };
        for _ in 0..60 {
            let middle = 0.5 * (near + far);
            if excess(middle) >= 0.0 {
                far = middle;
            } else {
                near = middle;
            }
        }
        Ok(Self::at(input, 0.5 * (near + far)))
    }

    /// The pair at a given offset angle.
    fn at(input: PitchInput, offset_angle: f64) -> Self {
        let (sin_ring, cos_ring) = input.ring_angle.sin_cos();
        let generatrix = Vector3::new(sin_ring, 0.0, cos_ring);
        let outward = Vector3::new(cos_ring, 0.0, -sin_ring);
        let along = generatrix * offset_angle.cos() + Vector3::y() * offset_angle.sin();
        let (even, odd) = (cos_ring * offset_angle.cos(), sin_ring);
        let pinion_angle = (input.shaft_angle.cos() / even.hypot(odd)).acos() - odd.atan2(even);
        let (sin_pinion, cos_pinion) = pinion_angle.sin_cos();
        let pinion_axis = along * cos_pinion + outward * sin_pinion;
        let to_axis = outward * cos_pinion - along * sin_pinion;
        let mean_point = generatrix * input.mean_cone_mm;
        let ring_radius_mm = mean_point.x;
        let pinion_spiral = input.ring_spiral - offset_angle;
        let pinion_radius_mm =
            ring_radius_mm / input.ratio * input.ring_spiral.cos() / pinion_spiral.cos();
        let pinion_point = mean_point + to_axis * pinion_radius_mm;
        // The foot of the common perpendicular is where the pinion's axis passes nearest to z.
        let across = pinion_axis.xy();
        let crossing_point =
            pinion_point - pinion_axis * (pinion_point.xy().dot(&across) / across.norm_squared());
        Self {
            ring_angle: input.ring_angle,
            pinion_angle,
            offset_angle,
            ring_spiral: input.ring_spiral,
            pinion_spiral,
            mean_cone_mm: input.mean_cone_mm,
            ring_radius_mm,
            pinion_radius_mm,
            ratio: input.ratio,
            mean_point,
            generatrix,
            outward,
            pinion_axis,
            pinion_point,
            crossing_point,
            offset_direction: Vector3::z().cross(&pinion_axis).normalize(),
        }
    }

    /// a, the distance between the axes, mm.
    pub(crate) fn offset_mm(&self) -> f64 {
        self.pinion_point.dot(&self.offset_direction)
    }
}
