//! The gear set as the geometry needs it: plain numbers in millimetres and radians, checked.

use crate::schema::{Cutting, FlankForm, Hand};

/// A ring-and-pinion set as a card gives it. Lengths in millimetres, angles in radians. `None` is derived by the geometry and reported as derived.
#[derive(Debug, Clone, PartialEq)]
pub struct GearSet {
    /// z2, teeth of the ring gear.
    pub ring_teeth: u32,
    /// z1, teeth of the pinion.
    pub pinion_teeth: u32,
    /// d_e2, outer pitch diameter of the ring gear.
    pub ring_diameter_mm: f64,
    /// b2, face width of the ring gear.
    pub face_width_mm: f64,
    /// a, hypoid offset; 0 for a spiral bevel set.
    pub offset_mm: f64,
    /// β_m2, mean spiral angle of the ring gear.
    pub spiral_angle: f64,
    /// α_d, design pressure angle of both flanks: against the limit pressure angle.
    pub pressure_angle: f64,
    /// f_αlim, how much of the limit pressure angle the flanks are cut with; 1 when `None`.
    pub limit_angle_factor: Option<f64>,
    /// α_n of drive and coast flank, from the pitch plane's normal; `None` follows from `pressure_angle` and the limit
    /// pressure angle.
    pub flank_angles: [Option<f64>; 2],
    /// How the teeth were cut.
    pub cutting: Cutting,
    /// Whether a face-milled ring gear's flanks were generated (cutter and blank rolled together)
    /// rather than formed by the cutter alone.
    pub generated: bool,
    /// Σ, shaft angle; 90° on an axle.
    pub shaft_angle: f64,
    /// Hand of the ring gear's spiral.
    pub hand: Hand,
    /// Which form the drive flank has.
    pub drives_on: FlankForm,
    /// δ_2, pitch angle of the ring gear.
    pub pitch_angle: Option<f64>,
    /// r_c0, cutter radius.
    pub cutter_radius_mm: Option<f64>,
    /// z_0, blade groups of a face-hobbing cutter.
    pub blade_groups: Option<u32>,
    /// h_m, whole depth at the mean point.
    pub whole_depth_mm: Option<f64>,
    /// c, clearance.
    pub clearance_mm: Option<f64>,
    /// h_am2, mean addendum of the ring gear.
    pub addendum_mm: Option<f64>,
    /// Σθ_f, dedendum angle plus addendum angle of the ring gear; 0 for uniform depth.
    pub taper: Option<f64>,
    /// Ease-off at toe and heel (lengthwise crowning), millimetres.
    pub crowning_length_mm: Option<f64>,
    /// Ease-off at tip and root (profile crowning), millimetres.
    pub crowning_height_mm: Option<f64>,
    /// Thickness of the marking film that contact leaves, millimetres.
    pub film_mm: Option<f64>,
}

impl GearSet {
    /// An invented rear axle of 11 × 41 teeth and 200 mm, for examples and tests.
    pub fn example(cutting: Cutting) -> Self {
        let milled = cutting == Cutting::FaceMilled;
        let rad = |degrees: f64| degrees.to_radians();
        Self {
            ring_teeth: 41,
            pinion_teeth: 11,
            ring_diameter_mm: 200.0,
            face_width_mm: 30.0,
            offset_mm: 35.0,
            spiral_angle: rad(31.0),
            pressure_angle: rad(20.0),
            limit_angle_factor: None,
            flank_angles: [None; 2],
            cutting,
            generated: false,
            shaft_angle: rad(90.0),
            hand: Hand::Left,
            drives_on: FlankForm::Convex,
            pitch_angle: Some(rad(74.0)),
            cutter_radius_mm: Some(if milled { 95.25 } else { 88.0 }),
            blade_groups: (!milled).then_some(13),
            whole_depth_mm: Some(9.5),
            clearance_mm: Some(1.0),
            addendum_mm: Some(1.6),
            taper: milled.then(|| rad(3.2)),
            crowning_length_mm: None,
            crowning_height_mm: None,
            film_mm: None,
        }
    }
}
