//! A flank as a person marks it: its corners, and points along its sides.

use super::correspondence::Correspondence;
use crate::frames::{FlankPoint, PhotoPoint};
use crate::schema::Corners;

/// Where a flank's corners lie on it: root and tip of the toe, tip and root of the heel.
pub(crate) const CORNERS: [FlankPoint; 4] = [
    FlankPoint::new(0.0, 0.0),
    FlankPoint::new(0.0, 1.0),
    FlankPoint::new(1.0, 1.0),
    FlankPoint::new(1.0, 0.0),
];

/// One flank as it was marked: corners, and points along the two long sides.
#[derive(Debug, Clone, PartialEq)]
pub struct MarkedFlank {
    /// The four corners.
    pub corners: Corners,
    /// Points along the root side, toe to heel, without the corners.
    pub root: Vec<PhotoPoint>,
    /// Points along the tip side, toe to heel, without the corners.
    pub tip: Vec<PhotoPoint>,
}

impl MarkedFlank {
    /// The corners with their flank coordinates.
    pub fn corner_points(&self) -> [Correspondence; 4] {
        let c = &self.corners;
        let seen = [c.toe_root, c.toe_tip, c.heel_tip, c.heel_root];
        std::array::from_fn(|i| Correspondence {
            on_flank: CORNERS[i],
            in_photo: seen[i],
        })
    }

    /// The same marks in a part of the picture, or in the whole of it.
    #[must_use]
    pub(crate) fn shifted(&self, right: f64, down: f64) -> Self {
        let moved = |point: &PhotoPoint| point.shifted(right, down);
        Self {
            corners: self.corners.map(|corner| moved(&corner)),
            root: self.root.iter().map(moved).collect(),
            tip: self.tip.iter().map(moved).collect(),
        }
    }

    /// Mean length of the two long sides, straight, in pixels.
    pub fn length_px(&self) -> f64 {
        let c = &self.corners;
        (c.toe_root.distance(c.heel_root) + c.toe_tip.distance(c.heel_tip)) / 2.0
    }

    /// +1 or −1: the turn from toe → heel to root → tip in the photo.
    pub fn turn(&self) -> f64 {
        let c = &self.corners;
        let along = (
            c.heel_root.x + c.heel_tip.x - c.toe_root.x - c.toe_tip.x,
            c.heel_root.y + c.heel_tip.y - c.toe_root.y - c.toe_tip.y,
        );
        let up = (
            c.toe_tip.x + c.heel_tip.x - c.toe_root.x - c.heel_root.x,
            c.toe_tip.y + c.heel_tip.y - c.toe_root.y - c.heel_root.y,
        );
        (along.0 * up.1 - along.1 * up.0).signum()
    }
}
