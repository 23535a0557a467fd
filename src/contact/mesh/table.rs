//! A flank's mesh as plain numbers, for pages that redo the sum elsewhere.

use super::{EaseOff, FlankMesh, Touch};
use nalgebra::Vector3;

/// Everything that the contact of one flank needs when only pinion and ring gear move: at each
/// place the gap is `eased + by_pinion · pinion_mm + by_ring · ring_mm`, and a lag of the pinion by
/// an angle θ closes it by `lever · θ`.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FlankTable {
    /// Columns of the grid, toe to heel.
    pub columns: usize,
    /// Rows of the grid, root to tip.
    pub rows: usize,
    /// For each point of the grid, row after row from the root: eased (mm), by_pinion, by_ring, lever
    /// (mm), and mesh position in steps of a pitch, NaN at a corner that no pinion can touch.
    pub nodes: Vec<[f32; 5]>,
    /// The lines of contact that were sampled.
    pub lines: Vec<LineTable>,
    /// Teeth of the ring gear over teeth of the pinion.
    pub ratio: f64,
}

/// One line of contact.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct LineTable {
    /// Which of the steps of a pitch it belongs to.
    pub step: usize,
    /// In order along the line: place along it (shares of the flank), eased (mm), by_pinion, by_ring,
    /// lever (mm).
    pub points: Vec<[f32; 5]>,
}

impl FlankMesh {
    /// The table for an ease-off and the directions in which the pinion shifts against the ring gear
    /// when pinion or ring gear move by 1 mm.
    pub(in crate::contact) fn table(
        &self,
        ease_off: &EaseOff,
        [by_pinion, by_ring]: [&Vector3<f64>; 2],
    ) -> FlankTable {
        let of = |t: &Touch| {
            [
                ease_off.at(t.length, t.height) as f32,
                t.normal.dot(by_pinion) as f32,
                t.normal.dot(by_ring) as f32,
                t.lever as f32,
            ]
        };
        let nodes = self.nodes.iter().zip(&self.position).map(|(node, at)| {
            let [a, b, c, d] = of(node);
            let position = at.map_or(f32::NAN, |(step, rest)| (step as f64 + rest) as f32);
            [a, b, c, d, position]
        });
        let lines = self.lines.iter().map(|line| LineTable {
            step: line.step,
            points: line
                .points
                .iter()
                .map(|(along, touch)| {
                    let [a, b, c, d] = of(touch);
                    [*along as f32, a, b, c, d]
                })
                .collect(),
        });
        FlankTable {
            columns: self.nu,
            rows: self.nv,
            nodes: nodes.collect(),
            lines: lines.collect(),
            ratio: self.ratio,
        }
    }
}
