//! One flank of the ring gear as a grid of points with unit normals.

use super::GearError;
use super::dimensions::Dimensions;
use super::face_hobbed::HobbedFlank;
use super::face_milled::{CutterCone, GeneratedFlank};
use super::parametric::Parametric;
use super::pitch::PitchPair;
use crate::schema::{Cutting, FlankForm};
use nalgebra::Vector3;
use std::f64::consts::TAU;

/// A point of a flank, in the ring gear's frame, millimetres, with the unit normal out of the tooth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct SurfacePoint {
    /// Where it is, mm.
    pub position: Vector3<f64>,
    /// Unit normal, out of the ring gear's material.
    pub normal: Vector3<f64>,
}

/// A ring gear's flank surface.
#[derive(Debug, Clone)]
pub(crate) enum Surface {
    /// The cone swept by a face-mill cutter's straight blade.
    Milled(CutterCone),
    /// What that cone envelops while cradle and blank roll together.
    Generated(GeneratedFlank),
    /// The surface swept by a blade line on an extended epicycloid.
    Hobbed(HobbedFlank),
}

impl Surface {
    /// The flank of the given form, both flanks passing through the mean point.
    pub(crate) fn new(dimensions: &Dimensions, pair: &PitchPair, form: FlankForm) -> Self {
        match dimensions.cutting {
            Cutting::FaceMilled if dimensions.generated => {
                Self::Generated(GeneratedFlank::new(dimensions, pair, form))
            }
            Cutting::FaceMilled => Self::Milled(CutterCone::new(dimensions, pair, form)),
            Cutting::FaceHobbed => Self::Hobbed(HobbedFlank::new(dimensions, pair, form)),
        }
    }

    fn at(&self, first: f64, second: f64) -> Option<Parametric> {
        match self {
            Self::Milled(s) => Some(s.at(first, second)),
            Self::Generated(s) => s.at(first, second),
            Self::Hobbed(s) => Some(s.at(first, second)),
        }
    }

    /// The point at a cone distance (mm along the pitch generatrix) and a height (mm above the pitch
    /// cone), found by Newton's method from `start`, the surface's own parameters of a point nearby;
    /// returns the parameters as the next start.
    pub(crate) fn locate(
        &self,
        ring_angle: f64,
        cone_mm: f64,
        height_mm: f64,
        start: [f64; 2],
    ) -> Option<(SurfacePoint, [f64; 2])> {
        let (sin, cos) = ring_angle.sin_cos();
        let [mut first, mut second] = start;
        for _ in 0..40 {
            let p = self.at(first, second)?;
            let radius = p.position.xy().norm();
            let miss_cone = radius * sin + p.position.z * cos - cone_mm;
            let miss_height = radius * cos - p.position.z * sin - height_mm;
            if miss_cone.abs().max(miss_height.abs()) < 1e-11 * (1.0 + cone_mm) {
                return Some((
                    SurfacePoint {
                        position: p.position,
                        normal: p.normal,
                    },
                    [first, second],
                ));
            }
            let outward = |t: &Vector3<f64>| p.position.xy().dot(&t.xy()) / radius;
            let (r1, r2) = (outward(&p.by_first), outward(&p.by_second));
            let (a11, a12) = (
                r1 * sin + p.by_first.z * cos,
                r2 * sin + p.by_second.z * cos,
            );
            let (a21, a22) = (
                r1 * cos - p.by_first.z * sin,
                r2 * cos - p.by_second.z * sin,
            );
            let determinant = a11 * a22 - a12 * a21;
            if determinant.abs() < 1e-12 {
                return None;
            }
            first -= (a22 * miss_cone - a12 * miss_height) / determinant;
            second -= (a11 * miss_height - a21 * miss_cone) / determinant;
            if !(first.abs() < TAU && second.is_finite()) {
                return None;
            }
        }
        None
    }
}

/// A regular grid over one flank: `length` in `nu` columns, `height` in `nv` rows.
#[derive(Debug, Clone)]
pub(crate) struct FlankGrid {
    /// Columns, toe to heel.
    pub nu: usize,
    /// Rows, root to tip.
    pub nv: usize,
    /// Points, row after row from the root, each row toe to heel.
    pub points: Vec<SurfacePoint>,
}

impl FlankGrid {
    /// Computes the grid of the active flank: from the clearance line to the tip, toe to heel.
    ///
    /// # Errors
    /// [`GearError::CutterMisses`] when the cutter's path does not reach a part of the flank.
    pub(crate) fn new(
        dimensions: &Dimensions,
        pair: &PitchPair,
        surface: &Surface,
        nu: usize,
        nv: usize,
    ) -> Result<Self, GearError> {
        Self::from_height(dimensions, pair, surface, nu, nv, 0.0)
    }

    /// As [`FlankGrid::new`], with the first row at a height share of `lowest`: below 0 it lies
    /// between the clearance line and the root.
    ///
    /// # Errors
    /// As [`FlankGrid::new`].
    pub(crate) fn from_height(
        dimensions: &Dimensions,
        pair: &PitchPair,
        surface: &Surface,
        nu: usize,
        nv: usize,
        lowest: f64,
    ) -> Result<Self, GearError> {
        let mut points = vec![
            SurfacePoint {
                position: Vector3::zeros(),
                normal: Vector3::zeros(),
            };
            nu * nv
        ];
        // From the middle outward, so that every Newton search starts beside a solved point.
        let middle = nu / 2;
        let mut column_start = [[0.0, 0.0]; 2];
        for i in (middle..nu).chain((0..middle).rev()) {
            let side = usize::from(i < middle);
            let length = i as f64 / (nu - 1) as f64;
            let mut start = column_start[side];
            for j in 0..nv {
                let height = lowest + (1.0 - lowest) * j as f64 / (nv - 1) as f64;
                let cone_mm = dimensions.cone_at(length);
                let height_mm = dimensions.height_at(length, height);
                let (point, own) = surface
                    .locate(pair.ring_angle, cone_mm, height_mm, start)
                    .ok_or(GearError::CutterMisses {
                        radius_mm: dimensions.cutter_radius_mm,
                        place: if i < middle { "toe" } else { "heel" },
                        nearest_mm: dimensions.mean_cone_mm,
                    })?;
                points[j * nu + i] = point;
                start = own;
                if j == 0 {
                    column_start[side] = own;
                    if i == middle {
                        column_start[1] = own;
                    }
                }
            }
        }
        Ok(Self { nu, nv, points })
    }

    /// The point in column `i` of row `j`.
    pub(crate) fn point(&self, i: usize, j: usize) -> &SurfacePoint {
        &self.points[j * self.nu + i]
    }

    /// Length of the flank along the tooth at half height, mm.
    pub(crate) fn length_mm(&self) -> f64 {
        let j = self.nv / 2;
        (1..self.nu)
            .map(|i| (self.point(i, j).position - self.point(i - 1, j).position).norm())
            .sum()
    }

    /// Height of the flank along the profile at half length, mm.
    pub(crate) fn height_mm(&self) -> f64 {
        let i = self.nu / 2;
        (1..self.nv)
            .map(|j| (self.point(i, j).position - self.point(i, j - 1).position).norm())
            .sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::gear::set::GearSet;
    use proptest::prelude::*;

    /// The flank by its own grid: the closed-form normal is square to both differences and points out
    /// of the tooth.
    fn check_normals(set: &GearSet) -> Result<(), TestCaseError> {
        let dimensions = Dimensions::new(set).unwrap();
        let pair = PitchPair::solve(dimensions.pitch_input()).unwrap();
        for (form, out) in [(FlankForm::Convex, -1.0), (FlankForm::Concave, 1.0)] {
            let surface = Surface::new(&dimensions, &pair, form);
            let grid = FlankGrid::new(&dimensions, &pair, &surface, 41, 21).unwrap();
            for i in (1..40).step_by(6) {
                for j in (1..20).step_by(4) {
                    let n = grid.point(i, j).normal;
                    let along = grid.point(i + 1, j).position - grid.point(i - 1, j).position;
                    let up = grid.point(i, j + 1).position - grid.point(i, j - 1).position;
                    prop_assert!((n.norm() - 1.0).abs() < 1e-12);
                    prop_assert!(n.dot(&along).abs() < 1e-3 * along.norm());
                    prop_assert!(n.dot(&up).abs() < 1e-3 * up.norm());
                    // The convex flank looks to −y, the concave one to +y, where the tooth passes x.
                    prop_assert!(n.y * out > 0.2);
                }
            }
        }
        Ok(())
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(16))]

        #[test]
        fn normals_are_square_to_the_surface(
            kind in 0..3u8, diameter in 165.0f64..280.0, offset in 0.0f64..0.18, spiral in 28.0f64..34.0,
        ) {
            let cutting = if kind == 2 { Cutting::FaceHobbed } else { Cutting::FaceMilled };
            let scale = diameter / 200.0;
            let set = GearSet {
                generated: kind == 1,
                ring_diameter_mm: diameter,
                face_width_mm: 30.0 * scale,
                offset_mm: offset * diameter,
                spiral_angle: spiral.to_radians(),
                cutter_radius_mm: None,
                whole_depth_mm: None,
                clearance_mm: None,
                addendum_mm: None,
                ..GearSet::example(cutting)
            };
            check_normals(&set)?;
        }
    }

    #[test]
    fn the_grid_spans_face_width_and_depth() {
        let dimensions = Dimensions::new(&GearSet::example(Cutting::FaceHobbed)).unwrap();
        let pair = PitchPair::solve(dimensions.pitch_input()).unwrap();
        let surface = Surface::new(&dimensions, &pair, FlankForm::Convex);
        let grid = FlankGrid::new(&dimensions, &pair, &surface, 31, 11).unwrap();
        let cone = |i, j| grid.point(i, j).position.dot(&Vector3::new(0.0, 0.0, 1.0));
        assert!(cone(30, 0) > cone(0, 0));
        let (sin, cos) = pair.ring_angle.sin_cos();
        for (i, j, length, height) in [(0, 0, 0.0, 0.0), (30, 10, 1.0, 1.0), (15, 5, 0.5, 0.5)] {
            let p = grid.point(i, j).position;
            let r = p.xy().norm();
            assert!((r * sin + p.z * cos - dimensions.cone_at(length)).abs() < 1e-8);
            assert!((r * cos - p.z * sin - dimensions.height_at(length, height)).abs() < 1e-8);
        }
        // 30 mm of face at about 31° of spiral; 8.5 mm at the flank's own angle.
        assert!((33.0..38.0).contains(&grid.length_mm()));
        let straight_mm = 8.5 / dimensions.convex_angle.cos();
        assert!((grid.height_mm() / straight_mm - 1.0).abs() < 0.05);
    }
}
