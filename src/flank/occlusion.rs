//! The tooth before a flank: what it hides.

use super::calibration::CALIBRATION;
use super::pose::gear_fit::GearFit;
use crate::frames::{FlankPoint, PhotoPoint};

/// What stands before a flank: the next tooth's flank with its top land, as a closed line in the
/// photo.
#[derive(Debug, Clone)]
pub(crate) struct NextTooth(Vec<PhotoPoint>);

impl NextTooth {
    /// Whether a point of the photo lies on the next tooth (crossings of a ray to the right).
    pub(crate) fn covers(&self, point: PhotoPoint) -> bool {
        let mut inside = false;
        let mut before = *self.0.last().unwrap_or(&point);
        for &corner in &self.0 {
            if (corner.y > point.y) != (before.y > point.y) {
                let at = (point.y - corner.y) / (before.y - corner.y);
                inside ^= point.x < corner.x + at * (before.x - corner.x);
            }
            before = corner;
        }
        inside
    }
}

impl GearFit {
    /// The tooth that stands before the `tooth`-th flank.
    pub(crate) fn next_tooth(&self, tooth: usize) -> Option<NextTooth> {
        let sense = self.kind.sense();
        let angle = self.angles[tooth] + sense * self.pitch()?;
        let flank = self.flank();
        let place = |angle: f64, i: i32, height: f64| {
            let at = FlankPoint::new(f64::from(i) / 24.0, height);
            let point = flank.point(angle, at);
            (self.camera.project(point), point)
        };
        let (_, tip) = place(angle, 12, 1.0);
        let top_land = CALIBRATION.occlusion.top_land;
        let land = top_land * self.form.spiral_tangent.hypot(1.0) / tip.x.hypot(tip.y);
        let mut line: Vec<PhotoPoint> = (0..=24)
            .map(|i| place(angle - sense * land, i, 1.0).0)
            .collect();
        line.extend((0..=24).rev().map(|i| place(angle, i, 0.0).0));
        line.iter()
            .all(|p| p.x.is_finite() && p.y.is_finite())
            .then_some(NextTooth(line))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_lies_inside_the_next_tooth_is_covered() {
        let corner = PhotoPoint::new;
        let tooth = NextTooth(vec![
            corner(10.0, 10.0),
            corner(30.0, 12.0),
            corner(30.0, 40.0),
            corner(10.0, 40.0),
        ]);
        assert!(tooth.covers(corner(20.0, 25.0)));
        assert!(!tooth.covers(corner(5.0, 25.0)) && !tooth.covers(corner(20.0, 50.0)));
        assert!(!tooth.covers(corner(35.0, 25.0)));
    }
}
