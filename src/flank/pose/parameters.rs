//! What a fit may change, by name, and the one place that lays these numbers out in the solver's vector.
//!
//! The vector holds the camera's numbers, the angles, the shape numbers, and those of a hiding edge, in this order; rows and columns of the
//! normal equations are the same.

use super::camera::Camera;
use super::gear_form::SHAPE_NUMBERS;
use crate::frames::PhotoPoint;
use nalgebra::{Matrix3, Rotation3, Vector3};
use std::ops::Range;

/// Numbers in [`CameraParameters`].
const CAMERA_NUMBERS: usize = 7;

/// Numbers of the edge of what hides one end of the flanks ([`super::hidden_end`]).
pub(crate) const EDGE_NUMBERS: usize = 4;

/// Numbers that move the points of one flank: the camera's, its tooth's angle, the shape's, the hiding edge's.
pub(crate) const FLANK_NUMBERS: usize = CAMERA_NUMBERS + 1 + SHAPE_NUMBERS + EDGE_NUMBERS;

/// A camera as a fit changes it, or the derivatives of something by these numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct CameraParameters {
    /// Turn from the rotation that the fit starts from: axis times angle, radians.
    pub turn: Vector3<f64>,
    /// Where the gear's origin stands to the right and downwards, over its distance.
    pub shift_per_distance: [f64; 2],
    /// Logarithm of the distance in face widths.
    pub log_distance: f64,
    /// Logarithm of the focal length in full-size pixels.
    pub log_focal_px: f64,
}

impl CameraParameters {
    /// Those of a camera from whose rotation turns are counted.
    pub(crate) fn unturned(camera: &Camera) -> Self {
        let origin = camera.origin;
        Self {
            turn: Vector3::zeros(),
            shift_per_distance: [origin.x / origin.z, origin.y / origin.z],
            log_distance: origin.z.ln(),
            log_focal_px: camera.focal_px.ln(),
        }
    }

    /// The camera; `rotation` is what turns are counted from, `centre` the middle of the photo.
    pub(crate) fn camera(&self, rotation: &Matrix3<f64>, centre: PhotoPoint) -> Camera {
        let distance = self.log_distance.exp();
        let [right, down] = self.shift_per_distance;
        Camera {
            rotation: self.rotation(rotation),
            origin: Vector3::new(right * distance, down * distance, distance),
            focal_px: self.log_focal_px.exp(),
            centre,
        }
    }

    /// The rotation that turns are counted from, turned.
    pub(crate) fn rotation(&self, from: &Matrix3<f64>) -> Matrix3<f64> {
        Rotation3::new(self.turn).into_inner() * from
    }

    fn pack(&self) -> [f64; CAMERA_NUMBERS] {
        let [turn_x, turn_y, turn_z] = self.turn.into();
        let [right, down] = self.shift_per_distance;
        [
            turn_x,
            turn_y,
            turn_z,
            right,
            down,
            self.log_distance,
            self.log_focal_px,
        ]
    }

    fn unpack(numbers: [f64; CAMERA_NUMBERS]) -> Self {
        let [
            turn_x,
            turn_y,
            turn_z,
            right,
            down,
            log_distance,
            log_focal_px,
        ] = numbers;
        Self {
            turn: Vector3::new(turn_x, turn_y, turn_z),
            shift_per_distance: [right, down],
            log_distance,
            log_focal_px,
        }
    }
}

/// All that a fit may change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct PoseParameters<'a> {
    /// The camera.
    pub camera: CameraParameters,
    /// What the teeth's angles are made of, radians.
    pub angles: &'a [f64],
    /// Shape of the flanks as standard deviations from usual gears.
    pub offsets: [f64; SHAPE_NUMBERS],
    /// Where the edge of what hides one end runs; noughts where nothing does.
    pub edge: [f64; EDGE_NUMBERS],
}

impl<'a> PoseParameters<'a> {
    /// The solver's vector.
    pub(crate) fn pack(&self) -> Vec<f64> {
        let mut vector = self.camera.pack().to_vec();
        vector.extend_from_slice(self.angles);
        vector.extend_from_slice(&self.offsets);
        vector.extend_from_slice(&self.edge);
        vector
    }

    /// The numbers of a vector made by [`Self::pack`].
    pub(crate) fn unpack(vector: &'a [f64]) -> Self {
        let layout = Layout::of(vector);
        let (offsets, edge) = (&vector[layout.offsets()], &vector[layout.edge()]);
        Self {
            camera: CameraParameters::unpack(std::array::from_fn(|i| vector[i])),
            angles: &vector[layout.angles()],
            offsets: std::array::from_fn(|i| offsets[i]),
            edge: std::array::from_fn(|i| edge[i]),
        }
    }
}

/// Where the numbers lie in the solver's vector, and so in the rows and columns of the normal equations.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Layout {
    length: usize,
}

impl Layout {
    /// Where the logarithm of the focal length lies.
    pub(crate) const LOG_FOCAL_PX: usize = CAMERA_NUMBERS - 1;

    /// That of a vector.
    pub(crate) const fn of(vector: &[f64]) -> Self {
        Self {
            length: vector.len(),
        }
    }

    /// Where the angles lie.
    pub(crate) const fn angles(self) -> Range<usize> {
        CAMERA_NUMBERS..self.offsets().start
    }

    /// Where the shape numbers lie.
    pub(crate) const fn offsets(self) -> Range<usize> {
        let end = self.edge().start;
        end - SHAPE_NUMBERS..end
    }

    /// Where the hiding edge's numbers lie.
    pub(crate) const fn edge(self) -> Range<usize> {
        self.length - EDGE_NUMBERS..self.length
    }

    /// Of each number that moves the points of one flank: its place in a [`ResidualRow`], in the vector, and by how
    /// much of it the flank moves. The tooth's angle is a sum of so much of some of the vector's angles.
    pub(crate) fn of_flank(self, angle: &[(usize, f64)]) -> Vec<(usize, usize, f64)> {
        let turned = angle.iter().filter(|part| part.1 != 0.0);
        (0..CAMERA_NUMBERS)
            .map(|row| (row, row, 1.0))
            .chain(
                turned.map(|&(which, times)| (CAMERA_NUMBERS, self.angles().start + which, times)),
            )
            .chain(
                (CAMERA_NUMBERS + 1..)
                    .zip(self.offsets().chain(self.edge()))
                    .map(|(row, at)| (row, at, 1.0)),
            )
            .collect()
    }
}

/// A residual of a point of a flank, and how it moves with each number that moves the flank.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ResidualRow {
    /// By the camera's.
    pub by_camera: CameraParameters,
    /// By the tooth's angle.
    pub by_angle: f64,
    /// By the shape's.
    pub by_offsets: [f64; SHAPE_NUMBERS],
    /// By the hiding edge's.
    pub by_edge: [f64; EDGE_NUMBERS],
    /// The residual itself.
    pub residual: f64,
}

/// The derivatives in the order of the vector, the residual, and one number more, nought, for rows of whole pairs.
pub(crate) type PackedRow = [f64; FLANK_NUMBERS + 2];

impl ResidualRow {
    /// Where the residual lies in a packed row.
    pub(crate) const RESIDUAL: usize = FLANK_NUMBERS;

    /// The row as numbers.
    pub(crate) fn pack(&self) -> PackedRow {
        let mut row = [0.0; FLANK_NUMBERS + 2];
        row[..CAMERA_NUMBERS].copy_from_slice(&self.by_camera.pack());
        row[CAMERA_NUMBERS] = self.by_angle;
        let (shape, edge) = row[CAMERA_NUMBERS + 1..].split_at_mut(SHAPE_NUMBERS);
        shape.copy_from_slice(&self.by_offsets);
        edge[..EDGE_NUMBERS].copy_from_slice(&self.by_edge);
        row[Self::RESIDUAL] = self.residual;
        row
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_packed_is_unpacked_and_stands_where_the_layout_says() {
        let parameters = PoseParameters {
            camera: CameraParameters {
                turn: Vector3::new(0.1, 0.2, 0.3),
                shift_per_distance: [0.4, 0.5],
                log_distance: 0.6,
                log_focal_px: 7.0,
            },
            angles: &[8.0, 9.0, 10.0],
            offsets: std::array::from_fn(|i| 20.0 + i as f64),
            edge: std::array::from_fn(|i| 40.0 + i as f64),
        };
        let vector = parameters.pack();
        assert_eq!(PoseParameters::unpack(&vector), parameters);
        let layout = Layout::of(&vector);
        assert_eq!(vector[Layout::LOG_FOCAL_PX], 7.0);
        assert_eq!(vector[layout.angles()], [8.0, 9.0, 10.0]);
        assert_eq!(vector[layout.offsets()], parameters.offsets);
        assert_eq!(vector[layout.edge()], parameters.edge);
    }

    #[test]
    fn the_columns_of_a_flank_are_those_of_what_moves_it() {
        let vector = [0.0; CAMERA_NUMBERS + 2 + SHAPE_NUMBERS + EDGE_NUMBERS];
        let layout = Layout::of(&vector);
        let columns = layout.of_flank(&[(0, 1.0), (1, 3.0)]);
        assert_eq!(columns.len(), FLANK_NUMBERS + 1);
        assert_eq!(columns[CAMERA_NUMBERS], (CAMERA_NUMBERS, 7, 1.0));
        assert_eq!(columns[CAMERA_NUMBERS + 1], (CAMERA_NUMBERS, 8, 3.0));
        assert_eq!(columns[CAMERA_NUMBERS + 2], (CAMERA_NUMBERS + 1, 9, 1.0));
        // An angle that takes no part has no column.
        assert_eq!(layout.of_flank(&[(1, 1.0), (1, 0.0)]).len(), FLANK_NUMBERS);
    }

    #[test]
    fn a_camera_comes_back_from_its_numbers() {
        let camera = Camera {
            rotation: Rotation3::new(Vector3::new(2.0, 0.1, -0.4)).into_inner(),
            origin: Vector3::new(-2.0, 1.5, 9.0),
            focal_px: 1300.0,
            centre: PhotoPoint::new(800.0, 600.0),
        };
        let back = CameraParameters::unturned(&camera).camera(&camera.rotation, camera.centre);
        assert!((back.origin - camera.origin).norm() < 1e-12);
        assert!((back.rotation - camera.rotation).norm() < 1e-12);
        assert!((back.focal_px - camera.focal_px).abs() < 1e-9);
    }
}
