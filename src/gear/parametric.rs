//! What every way of cutting says of one point of its surface.

use nalgebra::Vector3;

/// A surface with two parameters of its own, and its two tangents.
pub(crate) struct Parametric {
    /// The point, mm.
    pub position: Vector3<f64>,
    /// Derivative by the first parameter.
    pub by_first: Vector3<f64>,
    /// Derivative by the second parameter.
    pub by_second: Vector3<f64>,
    /// Unit normal out of the tooth.
    pub normal: Vector3<f64>,
}
