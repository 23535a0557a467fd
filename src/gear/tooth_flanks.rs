//! Both flanks of one tooth of the ring gear, in their places about its axis.

use super::GearError;
use super::dimensions::Dimensions;
use super::flank::{FlankGrid, Surface};
use super::pitch::PitchPair;
use crate::schema::FlankForm;
use std::f64::consts::PI;

/// One flank of the tooth whose middle passes the x axis at the mean point.
#[derive(Debug, Clone)]
pub(crate) struct ToothFlank {
    /// Convex or concave.
    pub form: FlankForm,
    /// Its points, in the frame of the geometry: that of a right-hand ring gear.
    pub grid: FlankGrid,
    /// Height share of the grid's first row: below 0 at the root, 0 at the clearance line.
    pub lowest: f64,
    /// Angle about the ring gear's axis that brings the grid to its side of the tooth, radians.
    pub turn: f64,
}

/// The convex flank, which faces −y, and the concave one, each down to the root where the cutter reaches it and to
/// the clearance line where it does not.
///
/// # Errors
/// [`GearError`] when the active flanks cannot be cut.
pub(crate) fn tooth_flanks(
    dimensions: &Dimensions,
    pair: &PitchPair,
    columns: usize,
    rows: usize,
) -> Result<[ToothFlank; 2], GearError> {
    let working = dimensions.whole_depth_mm - dimensions.clearance_mm;
    let root = -dimensions.clearance_mm / working;
    let flank = |form| {
        let surface = Surface::new(dimensions, pair, form);
        let from =
            |lowest| FlankGrid::from_height(dimensions, pair, &surface, columns, rows, lowest);
        let (grid, lowest) = match from(root) {
            Ok(grid) => (grid, root),
            Err(_) => (from(0.0)?, 0.0),
        };
        Ok(ToothFlank {
            form,
            grid,
            lowest,
            turn: flank_turn(dimensions, pair, form),
        })
    };
    Ok([flank(FlankForm::Convex)?, flank(FlankForm::Concave)?])
}

/// Angle from the tooth's middle to its flank at the mean point, radians.
pub(crate) fn flank_turn(dimensions: &Dimensions, pair: &PitchPair, form: FlankForm) -> f64 {
    let half = half_angle(dimensions, pair);
    match form {
        FlankForm::Convex => -half,
        FlankForm::Concave => half,
    }
}

/// Half of the angle that a tooth takes up about the ring gear's axis at the mean point, radians.
pub(crate) fn half_angle(dimensions: &Dimensions, pair: &PitchPair) -> f64 {
    let module = dimensions.normal_module_mm();
    let working = dimensions.whole_depth_mm - dimensions.clearance_mm;
    // The wheel's normal thickness at the pitch cone; a high-addendum pinion is the thicker one.
    let thickness = 0.5 * PI * module
        - 0.5
            * (working - 2.0 * dimensions.addendum_mm)
            * (dimensions.convex_angle.tan() + dimensions.concave_angle.tan());
    0.5 * thickness.max(0.2 * module) / pair.ring_spiral.cos() / pair.ring_radius_mm
}
