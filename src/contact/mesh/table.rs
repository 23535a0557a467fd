//! A flank's mesh as plain numbers, for pages that redo the sum elsewhere.

use super::{EaseOff, FlankMesh, Touch};
use nalgebra::Vector3;

/// Everything that the contact of one flank needs when only the pinion moves by `p` and the ring gear by `q`: at each
/// place the gap is `c_0 + c_1 p + c_2 q + c_3 p² + c_4 p q + c_5 q²` (mm), and a lag of the pinion by an angle θ closes
/// it by `lever · θ`.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FlankTable {
    /// Columns of the grid, toe to heel.
    pub columns: usize,
    /// Rows of the grid, root to tip.
    pub rows: usize,
    /// For each point of the grid, row after row from the root: c_0 … c_5, lever (mm), and mesh position in steps of
    /// a pitch, NaN at a corner that no pinion can touch.
    pub nodes: Vec<[f32; ROW]>,
    /// The lines of contact that were sampled.
    pub lines: Vec<LineTable>,
    /// Teeth of the ring gear over teeth of the pinion.
    pub ratio: f64,
}

/// Numbers of a node, or of a point of a line.
const ROW: usize = 8;

/// One line of contact.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct LineTable {
    /// Which of the steps of a pitch it belongs to.
    pub step: usize,
    /// In order along the line: place along it (shares of the flank), c_0 … c_5, lever (mm).
    pub points: Vec<[f32; ROW]>,
}

impl FlankMesh {
    /// The table for an ease-off and the directions in which the pinion shifts against the ring gear
    /// when pinion or ring gear move by 1 mm.
    pub(in crate::contact) fn table(
        &self,
        ease_off: &EaseOff,
        [by_pinion, by_ring]: [&Vector3<f64>; 2],
    ) -> FlankTable {
        // The gap is of the second degree in both moves, so that six of its values give it.
        let coefficients = |t: &Touch| {
            let gap =
                |p: f64, q: f64| t.gap(ease_off, &(by_pinion * p + by_ring * q), &Vector3::zeros());
            let here = gap(0.0, 0.0);
            let [p, q] = [
                [gap(1.0, 0.0), gap(-1.0, 0.0)],
                [gap(0.0, 1.0), gap(0.0, -1.0)],
            ];
            let [first_p, first_q] = [p, q].map(|[there, back]| 0.5 * (there - back));
            let [second_p, second_q] = [p, q].map(|[there, back]| 0.5 * (there + back) - here);
            let both = gap(1.0, 1.0) - here - first_p - first_q - second_p - second_q;
            [here, first_p, first_q, second_p, both, second_q].map(|c| c as f32)
        };
        let nodes = self.nodes.iter().zip(&self.position).map(|(node, at)| {
            let [a, b, c, d, e, f] = coefficients(node);
            let position = at.map_or(f32::NAN, |(step, rest)| (step as f64 + rest) as f32);
            [a, b, c, d, e, f, node.lever as f32, position]
        });
        let lines = self.lines.iter().map(|line| LineTable {
            step: line.step,
            points: line
                .points
                .iter()
                .map(|(along, touch)| {
                    let [a, b, c, d, e, f] = coefficients(touch);
                    [*along as f32, a, b, c, d, e, f, touch.lever as f32]
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
