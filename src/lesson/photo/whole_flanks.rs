//! Which flanks a photo shows whole, and where.

use super::shade::Scene;
use super::solid::GearSolid;
use super::view::View;
use crate::flank::MarkedFlank;
use crate::frames::{FlankPoint, PhotoPoint, Side};
use crate::schema::Corners;

/// A pixel this near the picture's edge (share of the longer side) does not count as whole.
const EDGE: f64 = 0.004;
/// What may hide a flank's point by standing this much nearer, mm: the grid's own facets.
const SLACK_MM: f64 = 0.5;

/// The flanks of a side that are seen whole, nearest the middle first, at most five.
pub(crate) fn whole_flanks(
    view: &View,
    solid: &GearSolid,
    scene: &Scene,
    side: Side,
) -> Vec<MarkedFlank> {
    let mut found = Vec::new();
    for k in 0..7i64 {
        let both = [k, -k];
        for step in &both[usize::from(k == 0)..] {
            let tooth = step.rem_euclid(i64::from(solid.teeth)) as u32;
            if found.len() < 5 && sees_whole(view, solid, scene, side, tooth) {
                found.extend(mark(view, solid, side, tooth));
            }
        }
    }
    found
}

fn sees_whole(view: &View, solid: &GearSolid, scene: &Scene, side: Side, tooth: u32) -> bool {
    let (width, height) = scene.size();
    let edge = EDGE * width.max(height);
    (0..=8).all(|i| {
        (0..=4).all(|j| {
            let at = FlankPoint::new(
                0.01 + 0.98 * f64::from(i) / 8.0,
                0.02 + 0.97 * f64::from(j) / 4.0,
            );
            let [point, _] = solid.flank_point(side, tooth, at);
            let Some(([x, y], depth_mm)) = view.camera.see(&point) else {
                return false;
            };
            let inside = |v: f64, size: f64| v > edge && v < size - edge;
            inside(x, width)
                && inside(y, height)
                && scene
                    .depth_mm(x, y)
                    .is_some_and(|seen| seen > depth_mm - SLACK_MM)
        })
    })
}

fn mark(view: &View, solid: &GearSolid, side: Side, tooth: u32) -> Option<MarkedFlank> {
    let place = |length: f64, height: f64| -> Option<PhotoPoint> {
        let [point, _] = solid.flank_point(side, tooth, FlankPoint::new(length, height));
        view.camera.place(&point)
    };
    let line = |height: f64| -> Option<Vec<PhotoPoint>> {
        (1..10)
            .map(|i| place(f64::from(i) / 10.0, height))
            .collect()
    };
    Some(MarkedFlank {
        corners: Corners {
            toe_root: place(0.0, 0.0)?,
            toe_tip: place(0.0, 1.0)?,
            heel_tip: place(1.0, 1.0)?,
            heel_root: place(1.0, 0.0)?,
        },
        root: line(0.0)?,
        tip: line(1.0)?,
    })
}
