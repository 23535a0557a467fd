//! Teeth of the ring gear as a closed triangle mesh, and that as STL or OBJ bytes, so that anyone can
//! look at the tooth.

use super::GearError;
use super::dimensions::Dimensions;
use super::pitch::PitchPair;
use super::tooth_flanks::tooth_flanks;
use crate::schema::Hand;
use nalgebra::{Rotation3, Vector3};
use std::f64::consts::TAU;
use std::fmt::Write;

/// Columns and rows of a flank in the mesh.
const COLUMNS: usize = 41;
const ROWS: usize = 15;

/// A closed mesh of one or more separate teeth, millimetres; +z from the pitch apex to the back.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ToothSolid {
    /// Corners, mm.
    pub vertices: Vec<[f64; 3]>,
    /// Triangles by corner, counter-clockwise seen from outside.
    pub triangles: Vec<[usize; 3]>,
}

impl ToothSolid {
    /// `teeth` neighbouring teeth of the ring gear, each from its root to its tip, closed by plain
    /// faces at the ends, the top land and the root.
    ///
    /// # Errors
    /// [`GearError`] when the flanks cannot be cut.
    pub(crate) fn new(
        dimensions: &Dimensions,
        pair: &PitchPair,
        teeth: u32,
    ) -> Result<Self, GearError> {
        let mut one: Vec<Vector3<f64>> = Vec::with_capacity(2 * COLUMNS * ROWS);
        for flank in tooth_flanks(dimensions, pair, COLUMNS, ROWS)? {
            let turn = Rotation3::from_axis_angle(&Vector3::z_axis(), flank.turn);
            one.extend(flank.grid.points.iter().map(|p| turn * p.position));
        }
        let mirror = match dimensions.hand {
            // The frame of the geometry is that of a right-hand ring gear: seen from the apex, the
            // outer half of a tooth leans clockwise.
            Hand::Right => 1.0,
            Hand::Left => -1.0,
        };
        let faces = faces(mirror < 0.0);
        let mut solid = Self {
            vertices: Vec::new(),
            triangles: Vec::new(),
        };
        for tooth in 0..teeth.clamp(1, dimensions.ring_teeth) {
            let base = solid.vertices.len();
            let turn = Rotation3::from_axis_angle(
                &Vector3::z_axis(),
                TAU * f64::from(tooth) / f64::from(dimensions.ring_teeth),
            );
            solid.vertices.extend(one.iter().map(|p| {
                let q = turn * p;
                [q.x, mirror * q.y, q.z]
            }));
            solid
                .triangles
                .extend(faces.iter().map(|t| t.map(|v| base + v)));
        }
        Ok(solid)
    }

    /// The mesh as binary STL.
    pub(crate) fn to_stl(&self) -> Vec<u8> {
        let mut bytes = vec![0; 80];
        let title = b"ring gear teeth, millimetres";
        bytes[..title.len()].copy_from_slice(title);
        bytes.extend((self.triangles.len() as u32).to_le_bytes());
        for t in &self.triangles {
            let [a, b, c] = t.map(|v| Vector3::from(self.vertices[v]));
            let normal = (b - a).cross(&(c - a)).normalize();
            for v in [normal, a, b, c] {
                for x in v.iter() {
                    bytes.extend((*x as f32).to_le_bytes());
                }
            }
            bytes.extend([0, 0]);
        }
        bytes
    }

    /// The mesh as Wavefront OBJ text.
    pub(crate) fn to_obj(&self) -> String {
        let mut text = String::from("# ring gear teeth, millimetres\n");
        for [x, y, z] in &self.vertices {
            let _ = writeln!(text, "v {x:.6} {y:.6} {z:.6}");
        }
        for [a, b, c] in &self.triangles {
            let _ = writeln!(text, "f {} {} {}", a + 1, b + 1, c + 1);
        }
        text
    }
}

/// Triangles of one tooth: convex flank's grid first, then the concave flank's.
fn faces(mirrored: bool) -> Vec<[usize; 3]> {
    let convex = |i: usize, j: usize| j * COLUMNS + i;
    let concave = |i: usize, j: usize| COLUMNS * ROWS + j * COLUMNS + i;
    let mut triangles = Vec::new();
    let mut quad = |a, b, c, d| {
        triangles.push([a, b, c]);
        triangles.push([a, c, d]);
    };
    for j in 0..ROWS - 1 {
        for i in 0..COLUMNS - 1 {
            quad(
                convex(i, j),
                convex(i, j + 1),
                convex(i + 1, j + 1),
                convex(i + 1, j),
            );
            quad(
                concave(i, j),
                concave(i + 1, j),
                concave(i + 1, j + 1),
                concave(i, j + 1),
            );
        }
        let heel = COLUMNS - 1;
        quad(
            convex(0, j),
            concave(0, j),
            concave(0, j + 1),
            convex(0, j + 1),
        );
        quad(
            convex(heel, j),
            convex(heel, j + 1),
            concave(heel, j + 1),
            concave(heel, j),
        );
    }
    let tip = ROWS - 1;
    for i in 0..COLUMNS - 1 {
        quad(
            convex(i, tip),
            concave(i, tip),
            concave(i + 1, tip),
            convex(i + 1, tip),
        );
        quad(
            convex(i, 0),
            convex(i + 1, 0),
            concave(i + 1, 0),
            concave(i, 0),
        );
    }
    if mirrored {
        for t in &mut triangles {
            t.swap(1, 2);
        }
    }
    triangles
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::gear::set::GearSet;
    use crate::schema::Cutting;
    use std::collections::HashMap;

    fn solid(cutting: Cutting, hand: Hand, generated: bool) -> ToothSolid {
        let set = GearSet {
            generated,
            hand,
            ..GearSet::example(cutting)
        };
        let dimensions = Dimensions::new(&set).unwrap();
        let pair = PitchPair::solve(dimensions.pitch_input()).unwrap();
        ToothSolid::new(&dimensions, &pair, 2).unwrap()
    }

    fn volume_mm3(solid: &ToothSolid) -> f64 {
        let of = |t: &[usize; 3]| {
            let [a, b, c] = t.map(|v| Vector3::from(solid.vertices[v]));
            a.dot(&b.cross(&c)) / 6.0
        };
        solid.triangles.iter().map(of).sum()
    }

    #[test]
    fn teeth_are_closed_and_face_outward() {
        for (cutting, generated) in [
            (Cutting::FaceMilled, false),
            (Cutting::FaceMilled, true),
            (Cutting::FaceHobbed, false),
        ] {
            for hand in [Hand::Left, Hand::Right] {
                let solid = solid(cutting, hand, generated);
                let mut edges: HashMap<(usize, usize), i32> = HashMap::new();
                for [a, b, c] in &solid.triangles {
                    for (p, q) in [(a, b), (b, c), (c, a)] {
                        *edges.entry((*p.min(q), *p.max(q))).or_default() +=
                            if p < q { 1 } else { -1 };
                    }
                }
                assert!(edges.values().all(|&n| n == 0), "{cutting:?}: open edge");
                // Two teeth of about 35 mm length, 9.5 mm depth and 5 mm mean thickness.
                let volume = volume_mm3(&solid);
                assert!(
                    (2000.0..6000.0).contains(&volume),
                    "{cutting:?} {hand:?} {volume}"
                );
            }
        }
    }

    #[test]
    fn hands_are_mirror_images() {
        let left = solid(Cutting::FaceMilled, Hand::Left, false);
        let right = solid(Cutting::FaceMilled, Hand::Right, false);
        for (l, r) in left.vertices.iter().zip(&right.vertices) {
            assert_eq!([l[0], -l[1], l[2]], *r);
        }
    }

    #[test]
    fn files_hold_every_triangle() {
        let solid = solid(Cutting::FaceMilled, Hand::Right, false);
        assert_eq!(solid.to_stl().len(), 84 + 50 * solid.triangles.len());
        let obj = solid.to_obj();
        let lines = |start| obj.lines().filter(|l| l.starts_with(start)).count();
        assert_eq!(lines("v "), solid.vertices.len());
        assert_eq!(lines("f "), solid.triangles.len());
    }
}
