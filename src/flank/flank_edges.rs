//! Where the flanks truly lie about a fitted gear's: each flank is flattened with a margin all round, and the outline network says of
//! each cell whether it shows the flank, and at which length and height.

use super::outline::Outline;
use super::pose::gear_fit::GearFit;
use super::pose::hidden_end::HiddenEnd;
use super::rectify::{FlankMap, shown};
use crate::frames::FlankPoint;
use crate::network::OUTLINE;
use crate::photo::Photo;
use nalgebra::{Matrix4, Vector4};

/// Cells of what the network is shown, along the length and up the height, and the part of the flank's plane that they cover:
/// as `outline_train.py` has them.
const CELLS: (usize, usize) = (160, 96);
const LENGTHS: (f64, f64) = (-0.2, 1.2);
const HEIGHTS: (f64, f64) = (-0.6, 1.5);

/// Planes of what the network says.
const THIS_FLANK: usize = 2;
const LENGTH: usize = 3;
const HEIGHT: usize = 4;
const LENGTH_ERROR: usize = 5;
const HEIGHT_ERROR: usize = 6;

/// Natural logarithms of the errors that the network may expect.
const ERRORS: (f32, f32) = (-5.5, 0.0);

/// Fewer cells on a flank than this say nothing of it: a fiftieth of what the network is shown. Chosen, no evidence.
const FEWEST_CELLS: usize = CELLS.0 * CELLS.1 / 4 / 50;

/// Of what lies beyond an end, so far from it, and of what lies before it, so far, over heights without root and tip, is asked
/// whether the end shows: shares of the flank.
const BEYOND_END: f64 = 0.05;
const BEFORE_END: f64 = 0.08;
const MIDDLE_HEIGHTS: (f64, f64) = (0.1, 0.9);

/// Beyond an end there is always so much of the gear and of other things, share of both: the network is never surer.
const LEAST_OF_OTHER: f64 = 0.02;

/// Degrees of freedom of Student's t, by which cells that are far off lose weight. Chosen, no evidence.
const FREEDOM: f64 = 4.0;

/// Rounds in which they do.
const ROUNDS: usize = 8;

/// Steps to the place in the fit; each leaves a tenth of what the one before left.
const STEPS: usize = 8;

/// The places of a flank's corners in the coordinates of a fit. The same for all teeth, for the fit holds for all.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct FlankEdges {
    toe_root: FlankPoint,
    toe_tip: FlankPoint,
    heel_tip: FlankPoint,
    heel_root: FlankPoint,
    /// Standard deviation of the flank's middle, as far as the teeth differ.
    pub doubt: FlankPoint,
}

impl FlankEdges {
    /// Those of the fit itself.
    pub(super) const OF_FIT: Self = Self {
        toe_root: FlankPoint::new(0.0, 0.0),
        toe_tip: FlankPoint::new(0.0, 1.0),
        heel_tip: FlankPoint::new(1.0, 1.0),
        heel_root: FlankPoint::new(1.0, 0.0),
        doubt: FlankPoint::new(0.0, 0.0),
    };

    /// The place in the fit of a place on the flank.
    pub(crate) fn in_fit(&self, at: FlankPoint) -> FlankPoint {
        let root = between(self.toe_root, self.heel_root, at.length);
        let tip = between(self.toe_tip, self.heel_tip, at.length);
        between(root, tip, at.height)
    }

    /// Toe root, toe tip, heel tip, heel root.
    pub(super) const fn corners(&self) -> [FlankPoint; 4] {
        [self.toe_root, self.toe_tip, self.heel_tip, self.heel_root]
    }

    fn middle(&self) -> FlankPoint {
        self.in_fit(FlankPoint::new(0.5, 0.5))
    }
}

fn between(from: FlankPoint, to: FlankPoint, share: f64) -> FlankPoint {
    FlankPoint::new(
        from.length + share * (to.length - from.length),
        from.height + share * (to.height - from.height),
    )
}

/// Where the flanks of some teeth lie in a fit, and what is about them.
#[derive(Debug, Clone)]
pub(super) struct SeenEdges {
    /// All of them together; where nothing is seen of them, as the fit has them.
    pub of_all: FlankEdges,
    /// Each of those that show enough.
    pub of_each: Vec<FlankEdges>,
    /// Toe and heel of the fit, all flanks together.
    pub ends: [SeenEnd; 2],
}

/// What shows about one end of the flanks of a fit, as the network has it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct SeenEnd {
    /// Logarithm of the odds that what lies just beyond the end is the gear; nought where nothing is seen.
    pub gear_beyond: f64,
    /// Share of the flank just before the end that shows other things.
    pub other_before: f64,
    /// How much further than the fit has it the flank goes on by what shows of it just before the end, shares of its length.
    pub goes_on: f64,
}

/// Sums over cells about an end.
#[derive(Debug, Clone, Copy, Default)]
struct EndSums {
    /// Cells beyond the end, each as likely as it shows the gear.
    gear: f64,
    /// The same of other things.
    other: f64,
    /// Cells before the end.
    before: f64,
    /// Those, each as likely as it shows other things.
    other_before: f64,
    /// The same of the flank.
    on_flank: f64,
    /// By how much further they are from this end than the fit has them, each as much as it is likely.
    goes_on: f64,
}

impl EndSums {
    fn add(&mut self, more: Self) {
        self.gear += more.gear;
        self.other += more.other;
        self.before += more.before;
        self.other_before += more.other_before;
        self.on_flank += more.on_flank;
        self.goes_on += more.goes_on;
    }

    fn seen(self) -> SeenEnd {
        let least = LEAST_OF_OTHER * (self.gear + self.other) + f64::MIN_POSITIVE;
        SeenEnd {
            gear_beyond: ((self.gear + least) / (self.other + least)).ln(),
            other_before: self.other_before / self.before.max(1.0),
            goes_on: self.goes_on / self.on_flank.max(1.0),
        }
    }
}

/// Looks where the flanks of these teeth lie.
pub(super) fn flank_edges(photo: &Photo, fit: &GearFit, teeth: &[usize]) -> SeenEdges {
    let mut by_tooth = Vec::new();
    let mut sums = [EndSums::default(); 2];
    for &tooth in teeth {
        let (cells, of_tooth) = look(photo, fit, tooth);
        by_tooth.push(cells);
        for (sum, more) in sums.iter_mut().zip(of_tooth) {
            sum.add(more);
        }
    }
    let ends = sums.map(EndSums::seen);
    let all: Vec<&Cell> = by_tooth.iter().flatten().collect();
    let Some(edges) = edges_of(&all) else {
        return SeenEdges {
            of_all: FlankEdges::OF_FIT,
            of_each: Vec::new(),
            ends,
        };
    };
    let of_each: Vec<FlankEdges> = by_tooth
        .iter()
        .filter_map(|cells| edges_of(&cells.iter().collect::<Vec<_>>()))
        .collect();
    let middles = of_each.iter().map(FlankEdges::middle);
    let doubt = FlankPoint::new(
        deviation_of_mean(middles.clone().map(|middle| middle.length)),
        deviation_of_mean(middles.map(|middle| middle.height)),
    );
    SeenEdges {
        of_all: FlankEdges { doubt, ..edges },
        of_each,
        ends,
    }
}

/// Standard deviation of the mean; nought of fewer than two, which do not say how they differ.
pub(super) fn deviation_of_mean(values: impl ExactSizeIterator<Item = f64> + Clone) -> f64 {
    let count = values.len() as f64;
    if count < 2.0 {
        return 0.0;
    }
    let mean = values.clone().sum::<f64>() / count;
    let squares: f64 = values.map(|value| (value - mean).powi(2)).sum();
    (squares / (count - 1.0) / count).sqrt()
}

/// One cell that shows the flank.
struct Cell {
    in_fit: FlankPoint,
    /// Where on the flank the network has it.
    said: FlankPoint,
    /// The errors that it expects of that.
    error: FlankPoint,
    /// How likely it shows the flank.
    likely: f64,
}

/// What the network says of one tooth's flank: the cells that show it, and what is about its toe and its heel.
fn look(photo: &Photo, fit: &GearFit, tooth: usize) -> (Vec<Cell>, [EndSums; 2]) {
    let (flank, angle) = (fit.flank(), fit.angles[tooth]);
    let (root_toe, tip_heel) = (
        FlankPoint::new(LENGTHS.0, HEIGHTS.0),
        FlankPoint::new(LENGTHS.1, HEIGHTS.1),
    );
    let in_fit = |share: FlankPoint| {
        FlankPoint::new(
            root_toe.length + share.length * (tip_heel.length - root_toe.length),
            root_toe.height + share.height * (tip_heel.height - root_toe.height),
        )
    };
    let window = Outline::from_map(1.0, FlankPoint::new(0.0, 0.0), |at| {
        fit.camera.project(flank.point(angle, in_fit(at)))
    });
    let map = FlankMap::new(photo, &window, CELLS);
    let said = OUTLINE.run(&shown(std::slice::from_ref(&map)));
    let (width, height) = (said.width, said.height);
    let value = |plane: usize, cell: usize| said.plane(plane)[cell];
    let error =
        |plane: usize, cell: usize| f64::from(value(plane, cell).clamp(ERRORS.0, ERRORS.1)).exp();
    let mut cells = Vec::new();
    let mut ends = [EndSums::default(); 2];
    for cell in 0..width * height {
        let (column, row) = (cell % width, cell / width);
        if map.unseen[[2 * row, 2 * column]] {
            continue;
        }
        let in_fit = in_fit(FlankPoint::new(
            (column as f64 + 0.5) / width as f64,
            (row as f64 + 0.5) / height as f64,
        ));
        let likely = shares(std::array::from_fn(|class| f64::from(value(class, cell))));
        let said = FlankPoint::new(
            f64::from(value(LENGTH, cell)),
            f64::from(value(HEIGHT, cell)),
        );
        for (end, sums) in HiddenEnd::BOTH.into_iter().zip(&mut ends) {
            sums.add(about_end(end, in_fit, said.length, likely));
        }
        if likely[THIS_FLANK] > 0.5 {
            cells.push(Cell {
                in_fit,
                said,
                error: FlankPoint::new(error(LENGTH_ERROR, cell), error(HEIGHT_ERROR, cell)),
                likely: likely[THIS_FLANK],
            });
        }
    }
    (cells, ends)
}

/// Scores as likelihoods.
fn shares(scores: [f64; 3]) -> [f64; 3] {
    let most = scores.into_iter().fold(f64::NEG_INFINITY, f64::max);
    let each = scores.map(|score| (score - most).exp());
    let all: f64 = each.iter().sum();
    each.map(|one| one / all)
}

/// What one cell says of an end: nothing if it lies farther from that.
fn about_end(end: HiddenEnd, in_fit: FlankPoint, said_length: f64, likely: [f64; 3]) -> EndSums {
    let [beyond, goes_on] = match end {
        HiddenEnd::Toe => [-in_fit.length, said_length - in_fit.length],
        HiddenEnd::Heel => [in_fit.length - 1.0, in_fit.length - said_length],
    };
    let [other, gear, on_flank] = likely;
    let (low, high) = MIDDLE_HEIGHTS;
    if (0.0..BEYOND_END).contains(&beyond) {
        EndSums {
            gear,
            other,
            ..EndSums::default()
        }
    } else if (-BEFORE_END..0.0).contains(&beyond) && (low..high).contains(&in_fit.height) {
        EndSums {
            before: 1.0,
            other_before: other,
            on_flank,
            goes_on: goes_on * on_flank,
            ..EndSums::default()
        }
    } else {
        EndSums::default()
    }
}

/// The corners that explain cells best; `None` where too few show the flank.
fn edges_of(cells: &[&Cell]) -> Option<FlankEdges> {
    if cells.len() < FEWEST_CELLS {
        return None;
    }
    let length = line(cells, |cell| {
        (cell.said.length - cell.in_fit.length, cell.error.length)
    })?;
    let height = line(cells, |cell| {
        (cell.said.height - cell.in_fit.height, cell.error.height)
    })?;
    let corner = |on_flank: FlankPoint| {
        let mut at = on_flank;
        for _ in 0..STEPS {
            let terms = terms(at);
            at = FlankPoint::new(
                on_flank.length - length.dot(&terms),
                on_flank.height - height.dot(&terms),
            );
        }
        at
    };
    let fit = FlankEdges::OF_FIT;
    Some(FlankEdges {
        toe_root: corner(fit.toe_root),
        toe_tip: corner(fit.toe_tip),
        heel_tip: corner(fit.heel_tip),
        heel_root: corner(fit.heel_root),
        doubt: fit.doubt,
    })
}

/// What is straight over the length and over the height.
fn terms(at: FlankPoint) -> Vector4<f64> {
    Vector4::new(1.0, at.length, at.height, at.length * at.height)
}

/// How far off the fit is, over its lengths and heights: from what each cell says of it, and its error. Student's t, lest
/// a few cells that are far off draw it after them.
fn line(cells: &[&Cell], off: impl Fn(&Cell) -> (f64, f64)) -> Option<Vector4<f64>> {
    let mut line = Vector4::zeros();
    for _ in 0..ROUNDS {
        let (mut normal, mut right) = (Matrix4::identity() * 1e-6, Vector4::zeros());
        for cell in cells {
            let (off, error) = off(cell);
            let terms = terms(cell.in_fit);
            let far = (off - line.dot(&terms)) / error;
            let weight = cell.likely / (error * error * (1.0 + far * far / FREEDOM));
            normal += weight * terms * terms.transpose();
            right += weight * off * terms;
        }
        line = normal.cholesky()?.solve(&right);
    }
    line.iter().all(|term| term.is_finite()).then_some(line)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Cells of a flank whose corners lie in the fit where `edges` has them, up to the last place of the numbers.
    fn seen(edges: &FlankEdges, off: impl Fn(usize) -> f64) -> Vec<Cell> {
        (0..400)
            .map(|i| {
                let on_flank = FlankPoint::new((i % 20) as f64 / 19.0, (i / 20) as f64 / 19.0);
                Cell {
                    in_fit: edges.in_fit(on_flank),
                    said: FlankPoint::new(on_flank.length, on_flank.height + off(i)),
                    error: FlankPoint::new(0.01, 0.02),
                    likely: 0.9,
                }
            })
            .collect()
    }

    fn shifted() -> FlankEdges {
        FlankEdges {
            toe_root: FlankPoint::new(0.02, 0.10),
            toe_tip: FlankPoint::new(0.02, 0.95),
            heel_tip: FlankPoint::new(0.97, 1.05),
            heel_root: FlankPoint::new(0.97, 0.02),
            ..FlankEdges::OF_FIT
        }
    }

    fn off(found: &FlankEdges, expected: &FlankEdges) -> f64 {
        [(0.0, 0.0), (0.0, 1.0), (1.0, 1.0), (1.0, 0.0), (0.5, 0.5)]
            .map(|(length, height)| FlankPoint::new(length, height))
            .map(|at| (found.in_fit(at), expected.in_fit(at)))
            .map(|(a, b)| (a.length - b.length).abs().max((a.height - b.height).abs()))
            .into_iter()
            .fold(0.0, f64::max)
    }

    #[test]
    fn corners_are_found_where_cells_say_they_are() {
        let expected = shifted();
        let cells = seen(&expected, |_| 0.0);
        let found = edges_of(&cells.iter().collect::<Vec<_>>()).unwrap();
        // What is straight one way is not quite straight the other.
        assert!(off(&found, &expected) < 0.005, "{}", off(&found, &expected));
    }

    #[test]
    fn cells_that_are_far_off_do_not_draw_it_after_them() {
        let expected = shifted();
        let cells = seen(&expected, |i| if i % 7 == 0 { 0.5 } else { 0.0 });
        let found = edges_of(&cells.iter().collect::<Vec<_>>()).unwrap();
        assert!(off(&found, &expected) < 0.01, "{}", off(&found, &expected));
    }

    #[test]
    fn a_few_cells_say_nothing() {
        let cells = seen(&shifted(), |_| 0.0);
        let few: Vec<&Cell> = cells.iter().take(FEWEST_CELLS - 1).collect();
        assert_eq!(edges_of(&few), None);
    }
}
