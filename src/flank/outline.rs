//! One flank in the photo: where each (length, height) of it falls.

use super::calibration::CALIBRATION;
use super::marked_flank::MarkedFlank;
use super::pose::gear_fit::GearFit;
use super::pose::gear_form::RingForm;
use crate::frames::{FlankPoint, PhotoPoint};
use crate::schema::Corners;

/// Nodes along the length and the height between which places are interpolated linearly; a flank
/// bends so little that this is exact to a hundredth of a pixel.
const NODES: (usize, usize) = (49, 13);

/// Points given along each long side of a reading's outline.
const SIDE_POINTS: usize = 13;

/// The map from flank coordinates to the photo, for one flank.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Outline {
    /// Photo points of the nodes, length running fastest, from the toe's root.
    nodes: Vec<PhotoPoint>,
    /// Depth over length of the flank at its true proportions.
    pub depth_over_length: f64,
    /// How far the outline itself may be off, standard deviation in shares of length and height.
    pub doubt: FlankPoint,
    /// Which nodes are hidden; empty when nothing is known to be.
    hidden: Vec<bool>,
}

impl Outline {
    /// An outline from any map of flank coordinates. `depth_over_length` is the flank's depth over its
    /// length, `doubt` the standard deviation of the map in flank coordinates.
    pub(crate) fn from_map(
        depth_over_length: f64,
        doubt: FlankPoint,
        place: impl Fn(FlankPoint) -> PhotoPoint,
    ) -> Self {
        let nodes = node_points().map(place).collect();
        Self {
            nodes,
            depth_over_length,
            doubt,
            hidden: Vec::new(),
        }
    }

    /// The same outline with the parts hidden, by their place on the flank and in the photo, that something in front
    /// hides; what was hidden stays so.
    #[must_use]
    pub(crate) fn with_hidden(
        mut self,
        is_hidden: impl Fn(FlankPoint, PhotoPoint) -> bool,
    ) -> Self {
        self.hidden.resize(self.nodes.len(), false);
        for ((hidden, at), &place) in self.hidden.iter_mut().zip(node_points()).zip(&self.nodes) {
            *hidden |= is_hidden(at, place);
        }
        self
    }

    /// The same outline in a picture that this one is a part of.
    pub(crate) fn shift(&mut self, right: f64, down: f64) {
        for node in &mut self.nodes {
            *node = node.shifted(right, down);
        }
    }

    /// The marked flank as the fitted gear explains it, shifted so that it passes through every
    /// mark.
    pub(crate) fn from_fit(fit: &GearFit, tooth: usize, marked: &MarkedFlank) -> Self {
        let c = &marked.corners;
        let root = side_corrections(fit, tooth, 0.0, c.toe_root, &marked.root, c.heel_root);
        let tip = side_corrections(fit, tooth, 1.0, c.toe_tip, &marked.tip, c.heel_tip);
        // What the marks leave open: with points along the sides, the shape of the profile; without
        // them, how far the flank bows, the more so the fewer teeth say where the camera stands.
        let few = 1.0 / (fit.angles.len() as f64).min(3.0);
        let doubt = if marked.root.is_empty() && marked.tip.is_empty() {
            CALIBRATION.outline.corners_only.at(few)
        } else {
            CALIBRATION.outline.with_sides.at(fit.misfit)
        };
        let outline = Self::from_map(fit.form.depth_over_length(), doubt, |at| {
            let model = fit.place(tooth, at);
            let (low, high) = (interpolate(&root, at.length), interpolate(&tip, at.length));
            PhotoPoint::new(
                model.x + low.0 * (1.0 - at.height) + high.0 * at.height,
                model.y + low.1 * (1.0 - at.height) + high.1 * at.height,
            )
        });
        match fit.next_tooth(tooth) {
            Some(next) => outline.with_hidden(|_, place| next.covers(place)),
            None => outline,
        }
    }

    /// A flank between its two marked sides, with nothing known of the gear: lengths run evenly
    /// along the sides, heights evenly between them.
    pub(crate) fn from_sides(marked: &MarkedFlank) -> Self {
        let c = &marked.corners;
        let root = evenly(c.toe_root, &marked.root, c.heel_root);
        let tip = evenly(c.toe_tip, &marked.tip, c.heel_tip);
        let doubt = CALIBRATION.outline.without_gear;
        Self::from_map(RingForm::USUAL.depth_over_length(), doubt, |at| {
            let low = interpolate(&root, at.length);
            let high = interpolate(&tip, at.length);
            PhotoPoint::new(low.0, low.1).lerp(PhotoPoint::new(high.0, high.1), at.height)
        })
    }

    /// Where a point of the flank falls in the photo.
    pub(crate) fn place(&self, at: FlankPoint) -> PhotoPoint {
        let (column, x) = cell(at.length, NODES.0);
        let (row, y) = cell(at.height, NODES.1);
        let node = |r: usize, c: usize| self.nodes[r * NODES.0 + c];
        node(row, column)
            .lerp(node(row, column + 1), x)
            .lerp(node(row + 1, column).lerp(node(row + 1, column + 1), x), y)
    }

    /// The line along the flank at a height.
    pub(crate) fn line(&self, height: f64) -> Line {
        let (row, y) = cell(height, NODES.1);
        let (low, high) = self.nodes[row * NODES.0..].split_at(NODES.0);
        Line(std::array::from_fn(|i| low[i].lerp(high[i], y)))
    }

    /// Of some lengths at a height, whether the nearest node of the flank is hidden by something in
    /// front of it.
    pub(crate) fn hidden_along(
        &self,
        height: f64,
        lengths: &[LinePlace],
    ) -> impl Iterator<Item = bool> {
        let row = (height.clamp(0.0, 1.0) * (NODES.1 - 1) as f64).round() as usize;
        let hidden = self.hidden.get(row * NODES.0..).unwrap_or_default();
        lengths.iter().map(|place| {
            let nearest = place.node + usize::from(place.share >= 0.5);
            hidden.get(nearest).copied().unwrap_or(false)
        })
    }

    /// The four corners.
    pub(crate) fn corners(&self) -> Corners {
        let at = |length, height| self.place(FlankPoint::new(length, height));
        Corners {
            toe_root: at(0.0, 0.0),
            toe_tip: at(0.0, 1.0),
            heel_tip: at(1.0, 1.0),
            heel_root: at(1.0, 0.0),
        }
    }

    /// The long side at `height` (0 root, 1 tip), toe to heel, in equal steps of length.
    pub(crate) fn side(&self, height: f64) -> Vec<PhotoPoint> {
        (0..SIDE_POINTS)
            .map(|i| i as f64 / (SIDE_POINTS - 1) as f64)
            .map(|length| self.place(FlankPoint::new(length, height)))
            .collect()
    }

    /// Length along the flank's middle and mean height, in full-size pixels.
    pub(crate) fn size_px(&self) -> (f64, f64) {
        let middle = self.side(0.5);
        let length = middle
            .windows(2)
            .map(|pair| pair[0].distance(pair[1]))
            .sum();
        let (root, tip) = (self.side(0.0), self.side(1.0));
        let heights: f64 = root.iter().zip(&tip).map(|(a, b)| a.distance(*b)).sum();
        (length, heights / SIDE_POINTS as f64)
    }

    /// Share of the flank inside a photo of this size.
    pub(crate) fn share_in_photo(&self, width: u32, height: u32) -> f64 {
        let inside = |p: &&PhotoPoint| {
            (0.0..=f64::from(width)).contains(&p.x) && (0.0..=f64::from(height)).contains(&p.y)
        };
        self.nodes.iter().filter(inside).count() as f64 / self.nodes.len() as f64
    }
}

/// A line along a flank: the photo points of its nodes, which lie at equal steps of length.
pub(crate) struct Line([PhotoPoint; NODES.0]);

/// Where a length lies among the nodes of any line.
#[derive(Debug, Clone, Copy)]
pub(crate) struct LinePlace {
    node: usize,
    /// How far towards the next node.
    share: f64,
}

impl LinePlace {
    /// Of a length 0 … 1.
    pub(crate) fn new(length: f64) -> Self {
        let (node, share) = cell(length, NODES.0);
        Self { node, share }
    }
}

impl Line {
    /// The same line of the same picture shown `factor` times as large.
    pub(crate) fn scaled(self, factor: f64) -> Self {
        Self(self.0.map(|node| node.scaled(factor)))
    }

    /// Its nodes.
    pub(crate) fn nodes(&self) -> impl Iterator<Item = PhotoPoint> {
        self.0.iter().copied()
    }

    /// Where a place of the line falls in the photo: as [`Outline::place`].
    pub(crate) fn at(&self, place: LinePlace) -> PhotoPoint {
        self.0[place.node].lerp(self.0[place.node + 1], place.share)
    }
}

fn node_points() -> impl Iterator<Item = FlankPoint> {
    (0..NODES.1).flat_map(|row| {
        (0..NODES.0).map(move |column| {
            FlankPoint::new(
                column as f64 / (NODES.0 - 1) as f64,
                row as f64 / (NODES.1 - 1) as f64,
            )
        })
    })
}

/// The grid cell a share falls in and how far into it; outside, the border cell goes on straight.
fn cell(share: f64, nodes: usize) -> (usize, f64) {
    let at = share * (nodes - 1) as f64;
    // Cut off to a whole number from 0 up; asking for `floor` would be a call for every place.
    let index = (at as usize).min(nodes - 2);
    (index, at - index as f64)
}

/// A value of two numbers along the length: knots in rising order.
type Knots = Vec<(f64, (f64, f64))>;

fn interpolate(knots: &Knots, length: f64) -> (f64, f64) {
    let after = knots
        .partition_point(|knot| knot.0 < length)
        .clamp(1, knots.len() - 1);
    let ((l0, a), (l1, b)) = (knots[after - 1], knots[after]);
    let t = if l1 > l0 {
        (length - l0) / (l1 - l0)
    } else {
        0.0
    };
    (a.0 + (b.0 - a.0) * t, a.1 + (b.1 - a.1) * t)
}

/// By how much the fitted side must move to pass through the marks, at each mark's length.
fn side_corrections(
    fit: &GearFit,
    tooth: usize,
    height: f64,
    toe: PhotoPoint,
    between: &[PhotoPoint],
    heel: PhotoPoint,
) -> Knots {
    let correction = |length: f64, mark: PhotoPoint| {
        let model = fit.place(tooth, FlankPoint::new(length, height));
        (length, (mark.x - model.x, mark.y - model.y))
    };
    let nearest = |mark: PhotoPoint| {
        let steps = 240;
        (-steps / 10..=steps + steps / 10)
            .map(|i| f64::from(i) / f64::from(steps))
            .min_by(|&a, &b| {
                let off = |l| fit.place(tooth, FlankPoint::new(l, height)).distance(mark);
                off(a).total_cmp(&off(b))
            })
            .unwrap_or(0.5)
    };
    let (first, last) = (nearest(toe), nearest(heel));
    let mut knots = vec![correction(0.0, toe)];
    for &mark in between {
        let length = (nearest(mark) - first) / (last - first).max(0.5);
        if length > knots[knots.len() - 1].0 + 0.01 && length < 0.99 {
            knots.push(correction(length, mark));
        }
    }
    knots.push(correction(1.0, heel));
    knots
}

/// Points of a side against the share of the way along it.
fn evenly(toe: PhotoPoint, between: &[PhotoPoint], heel: PhotoPoint) -> Knots {
    let mut way = 0.0;
    let mut previous = toe;
    let mut knots = vec![(0.0, (toe.x, toe.y))];
    for &point in between.iter().chain([&heel]) {
        way += previous.distance(point);
        knots.push((way, (point.x, point.y)));
        previous = point;
    }
    for knot in &mut knots {
        knot.0 /= way.max(1e-9);
    }
    knots
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square() -> MarkedFlank {
        MarkedFlank {
            corners: Corners {
                toe_root: PhotoPoint::new(100.0, 100.0),
                toe_tip: PhotoPoint::new(100.0, 60.0),
                heel_tip: PhotoPoint::new(300.0, 60.0),
                heel_root: PhotoPoint::new(300.0, 100.0),
            },
            root: vec![PhotoPoint::new(200.0, 110.0)],
            tip: vec![],
        }
    }

    #[test]
    fn sides_pass_through_the_marks() {
        let outline = Outline::from_sides(&square());
        let middle = outline.place(FlankPoint::new(0.5, 0.0));
        assert!(middle.distance(PhotoPoint::new(200.0, 110.0)) < 1e-9);
        let centre = outline.place(FlankPoint::new(0.5, 0.5));
        assert!(centre.distance(PhotoPoint::new(200.0, 85.0)) < 1e-9);
        assert_eq!(outline.corners(), square().corners);
    }

    #[test]
    fn a_line_of_places_is_where_each_of_them_is() {
        let outline = Outline::from_sides(&square());
        for height in [0.0, 0.07, 0.5, 0.999, 1.0] {
            let line = outline.line(height);
            for length in (0..=100).map(|i| f64::from(i) / 100.0) {
                let place = line.at(LinePlace::new(length));
                let expected = outline.place(FlankPoint::new(length, height));
                assert!(place.distance(expected) < 1e-9, "{height} {length}");
            }
        }
    }

    #[test]
    fn the_share_in_the_photo_counts_what_is_inside() {
        let outline = Outline::from_sides(&square());
        assert_eq!(outline.share_in_photo(400, 400), 1.0);
        let half = outline.share_in_photo(200, 400);
        assert!((half - 0.5).abs() < 0.03, "{half}");
    }

    #[test]
    fn hidden_parts_are_told_by_the_nearest_node() {
        let outline = Outline::from_sides(&square());
        let hidden = |outline: &Outline, height| -> Vec<bool> {
            let lengths = [0.2, 0.51, 1.0].map(LinePlace::new);
            outline.hidden_along(height, &lengths).collect()
        };
        assert_eq!(hidden(&outline, 0.1), [false; 3]);
        let outline = outline.with_hidden(|_, place| place.y > 88.0 && place.x > 201.0);
        assert_eq!(hidden(&outline, 0.1), [false, false, true]);
        assert_eq!(hidden(&outline, 0.29), [false, false, true]);
        assert_eq!(hidden(&outline, 0.3), [false; 3]);
    }
}
