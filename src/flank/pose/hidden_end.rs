//! One end of the flanks behind something: a housing's edge, a cap, a finger.
//!
//! The network takes what it sees of a flank for all of it. Where something hides one end of every flank, its lengths
//! 0 … 1 are those of the part that shows, from the hiding edge on. A gear's own proportions tell the two apart: how teeth
//! converge towards the axis, how far apart they stand for their length, how the row bends.

use super::parameters::EDGE_NUMBERS;
use crate::frames::FlankPoint;

/// The end that is hidden.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum HiddenEnd {
    /// The inner end.
    Toe,
    /// The outer end.
    Heel,
}

/// One over the standard deviations of the hiding edge's numbers: the share of the length that it hides, how much more from
/// root to tip, from the first to the last tooth, and between them than at both. Any edge is as likely as any other, so
/// that these only keep the equations solvable; chosen, no evidence.
pub(super) const EDGE_PRIOR: [f64; EDGE_NUMBERS] = [1.0, 5.0, 3.0, 3.0];

impl HiddenEnd {
    /// Both.
    pub(crate) const BOTH: [Self; 2] = [Self::Toe, Self::Heel];

    /// Share of the length that the edge hides at a height of the flank whose place in the row is `step`, −½ … ½.
    pub(crate) fn share(height: f64, step: f64, edge: &[f64; EDGE_NUMBERS]) -> f64 {
        edge.iter()
            .zip(terms(height, step))
            .map(|(number, term)| number * term)
            .sum()
    }

    /// Where on the whole flank a point lies whose length is that along the part that shows.
    pub(crate) fn on_whole(
        self,
        at: FlankPoint,
        step: f64,
        edge: &[f64; EDGE_NUMBERS],
    ) -> FlankPoint {
        let shows = 1.0 - Self::share(at.height, step, edge);
        let length = match self {
            Self::Toe => 1.0 - shows * (1.0 - at.length),
            Self::Heel => shows * at.length,
        };
        FlankPoint::new(length, at.height)
    }

    /// How that length moves with each of the edge's numbers.
    pub(crate) fn length_by_edge(self, at: FlankPoint, step: f64) -> [f64; EDGE_NUMBERS] {
        let by_share = match self {
            Self::Toe => 1.0 - at.length,
            Self::Heel => -at.length,
        };
        terms(at.height, step).map(|term| term * by_share)
    }

    /// Whether a point of the whole flank lies behind the edge.
    pub(crate) fn hides(self, at: FlankPoint, step: f64, edge: &[f64; EDGE_NUMBERS]) -> bool {
        let from_end = match self {
            Self::Toe => at.length,
            Self::Heel => 1.0 - at.length,
        };
        from_end < Self::share(at.height, step, edge)
    }
}

fn terms(height: f64, step: f64) -> [f64; EDGE_NUMBERS] {
    [1.0, height - 0.5, step, 0.25 - step * step]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_part_that_shows_runs_from_the_edge_to_the_other_end() {
        let edge = [0.2, 0.1, -0.1, 0.0];
        for end in HiddenEnd::BOTH {
            for (height, step) in [(0.0, 0.5), (1.0, -0.5), (0.5, 0.0)] {
                let whole = |length| end.on_whole(FlankPoint::new(length, height), step, &edge);
                let share = HiddenEnd::share(height, step, &edge);
                let (first, last) = (whole(0.0).length, whole(1.0).length);
                let expected = match end {
                    HiddenEnd::Toe => (share, 1.0),
                    HiddenEnd::Heel => (0.0, 1.0 - share),
                };
                assert!((first - expected.0).abs() < 1e-12 && (last - expected.1).abs() < 1e-12);
                assert!(!end.hides(whole(0.5), step, &edge));
            }
        }
        // More at the tip, less at the last tooth.
        assert!((HiddenEnd::share(1.0, 0.0, &edge) - 0.25).abs() < 1e-12);
        assert!((HiddenEnd::share(0.5, 0.5, &edge) - 0.15).abs() < 1e-12);
        assert!(HiddenEnd::Toe.hides(FlankPoint::new(0.1, 0.5), 0.0, &edge));
        assert!(!HiddenEnd::Heel.hides(FlankPoint::new(0.1, 0.5), 0.0, &edge));
    }
}
