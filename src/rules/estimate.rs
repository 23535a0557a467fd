//! One estimate from all trials at once: maximum a posteriori least squares over the unknowns of the
//! set, by Levenberg–Marquardt, with the covariance of what is left unknown.
//!
//! Every number that was read gives one residual (read less shown, over its standard uncertainty),
//! every unknown one more (its deviation from the prior mean). The shim changes between trials are
//! known exactly, so all trials speak of the same unknowns.

use super::unknowns::{
    COUNT, Observer, PINION, RING, SHOWN, SHOWN_BACKLASH, SHOWN_OF_A_FLANK, Show, Unknowns,
};
use crate::schema::ReadingKind;
use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::{DMatrix, DVector, Dyn, Owned};

/// What was read in one trial, with standard uncertainties; `None` where nothing was.
#[derive(Debug, Clone, Default)]
pub struct Seen {
    /// Number of the trial in the job, from 1.
    pub trial: usize,
    /// Pinion and ring gear against where they stood in the first trial, millimetres.
    pub moved_mm: [f64; 2],
    /// Read value and its standard uncertainty, in the order of [`Show`].
    pub read: [Option<(f64, f64)>; SHOWN],
    /// The gears had no play at all: the backlash that the shims ask for is the read one or less.
    pub jammed: bool,
}

impl Seen {
    /// Shown less read over its uncertainty.
    fn residual(&self, row: usize, shown: f64, value: f64, deviation: f64) -> f64 {
        let residual = (shown - value) / deviation;
        if self.jammed && row == SHOWN_BACKLASH {
            residual.max(0.0)
        } else {
            residual
        }
    }
}

/// Sum of squares of everything read and of the unknowns' deviations, and what the last trial shows.
pub fn misfit(observer: &Observer, seen: &[Seen], unknowns: &Unknowns) -> (f64, Show) {
    let problem = Problem::new(observer, seen, *unknowns);
    let last = problem.shown[problem.shown.len() - 1];
    (problem.misfit(), last)
}

/// The estimate.
#[derive(Debug, Clone)]
pub struct Estimate {
    /// The unknowns at their most likely values, in prior deviations.
    pub unknowns: Unknowns,
    /// Their covariance, in prior deviations squared.
    pub covariance: DMatrix<f64>,
    /// Sum of squares at the optimum: as chi-squared with one degree of freedom per number read.
    pub misfit: f64,
    /// How many numbers were read.
    pub numbers: usize,
    /// Share of each kind of reading of each trial in what is known of the two places.
    pub shares: Vec<(usize, ReadingKind, f64)>,
    /// Each reading's own part of the misfit.
    pub pulls: Vec<(usize, ReadingKind, f64)>,
}

/// Which reading a row of [`Show`] belongs to.
pub fn kind_of(row: usize) -> ReadingKind {
    if row == SHOWN_BACKLASH {
        ReadingKind::Backlash
    } else if row < SHOWN_OF_A_FLANK {
        ReadingKind::Drive
    } else {
        ReadingKind::Coast
    }
}

struct Problem<'a> {
    observer: &'a Observer,
    seen: &'a [Seen],
    unknowns: Unknowns,
    /// What each trial shows with its slopes, at the unknowns in hand.
    shown: Vec<Show>,
}

impl<'a> Problem<'a> {
    fn new(observer: &'a Observer, seen: &'a [Seen], unknowns: Unknowns) -> Self {
        let shown = seen
            .iter()
            .map(|s| observer.show(&unknowns, s.moved_mm))
            .collect();
        Self {
            observer,
            seen,
            unknowns,
            shown,
        }
    }

    /// Row numbers of everything read: (trial index, row of [`Show`], value, uncertainty).
    fn numbers(&self) -> impl Iterator<Item = (usize, usize, f64, f64)> + '_ {
        self.seen.iter().enumerate().flat_map(|(t, seen)| {
            (0..SHOWN).filter_map(move |row| {
                seen.read[row].map(|(value, deviation)| (t, row, value, deviation))
            })
        })
    }

    fn residual(&self, (t, row, value, deviation): (usize, usize, f64, f64)) -> f64 {
        self.seen[t].residual(row, self.shown[t][row], value, deviation)
    }

    fn misfit(&self) -> f64 {
        self.numbers()
            .map(|number| self.residual(number).powi(2))
            .sum::<f64>()
            + self.unknowns.iter().map(|z| z * z).sum::<f64>()
    }

    fn slopes(&self) -> DMatrix<f64> {
        let numbers: Vec<_> = self.numbers().collect();
        let slopes: Vec<_> = self
            .seen
            .iter()
            .map(|s| self.observer.show_with_slopes(&self.unknowns, s.moved_mm).1)
            .collect();
        let mut jacobian = DMatrix::zeros(numbers.len() + COUNT, COUNT);
        for (i, (t, row, _, deviation)) in numbers.iter().enumerate() {
            let idle =
                self.seen[*t].jammed && *row == SHOWN_BACKLASH && self.residual(numbers[i]) == 0.0;
            for unknown in 0..COUNT {
                let slope = if idle { 0.0 } else { slopes[*t][*row][unknown] };
                jacobian[(i, unknown)] = slope / deviation;
            }
        }
        for unknown in 0..COUNT {
            jacobian[(numbers.len() + unknown, unknown)] = 1.0;
        }
        jacobian
    }
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Problem<'_> {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, x: &DVector<f64>) {
        self.unknowns.copy_from_slice(x.as_slice());
        *self = Self::new(self.observer, self.seen, self.unknowns);
    }

    fn params(&self) -> DVector<f64> {
        DVector::from_row_slice(&self.unknowns)
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        let read = self.numbers().map(|number| self.residual(number));
        let all: Vec<f64> = read.chain(self.unknowns).collect();
        all.iter()
            .all(|r| r.is_finite())
            .then(|| DVector::from_vec(all))
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        Some(self.slopes())
    }
}

/// Fits the unknowns to everything seen.
pub fn fit(observer: &Observer, seen: &[Seen]) -> Estimate {
    let start = coarse_start(observer, seen);
    let solver = LevenbergMarquardt::new()
        .with_ftol(1e-5)
        .with_xtol(1e-4)
        .with_gtol(1e-6)
        .with_patience(2);
    let (problem, _) = solver.minimize(Problem::new(observer, seen, start));
    let jacobian = problem.slopes();
    // The prior's rows make it positive definite.
    let covariance = (jacobian.transpose() * &jacobian)
        .cholesky()
        .map_or_else(|| DMatrix::identity(COUNT, COUNT), |c| c.inverse());
    let mut shares: Vec<(usize, ReadingKind, f64)> = Vec::new();
    let mut pulls: Vec<(usize, ReadingKind, f64)> = Vec::new();
    for (i, number) in problem.numbers().enumerate() {
        let (t, row, ..) = number;
        let gain = &covariance * jacobian.row(i).transpose();
        let share = [PINION, RING]
            .iter()
            .map(|&u| gain[u] * gain[u] / covariance[(u, u)])
            .sum::<f64>();
        let pull = problem.residual(number).powi(2);
        let (trial, kind) = (seen[t].trial, kind_of(row));
        add(&mut shares, trial, kind, share);
        add(&mut pulls, trial, kind, pull);
    }
    let all: f64 = shares.iter().map(|s| s.2).sum();
    for share in &mut shares {
        share.2 /= all.max(f64::MIN_POSITIVE);
    }
    Estimate {
        unknowns: problem.unknowns,
        covariance,
        misfit: problem.misfit(),
        numbers: problem.numbers().count(),
        shares,
        pulls,
    }
}

fn add(list: &mut Vec<(usize, ReadingKind, f64)>, trial: usize, kind: ReadingKind, part: f64) {
    match list.iter_mut().find(|(t, k, _)| (*t, *k) == (trial, kind)) {
        Some((_, _, sum)) => *sum += part,
        None => list.push((trial, kind, part)),
    }
}

/// The best of a row of pinion places, the ring gear put where the backlash then says: the fit is
/// not linear over the whole flank, and starts on the right side of it.
fn coarse_start(observer: &Observer, seen: &[Seen]) -> Unknowns {
    let (pinion_deviation_mm, ring_deviation_mm) = observer.place_deviation_mm();
    let mut best = ([0.0; COUNT], f64::INFINITY);
    for step in -4..=4 {
        let pinion_mm = 0.12 * f64::from(step);
        let mut start = [0.0; COUNT];
        start[PINION] = pinion_mm / pinion_deviation_mm;
        let rings: Vec<f64> = seen
            .iter()
            .filter_map(|s| {
                let (backlash_mm, _) = s.read[SHOWN_BACKLASH]?;
                let pinion_part = observer.backlash_per_pinion() * (pinion_mm + s.moved_mm[0]);
                let change_mm = backlash_mm - observer.backlash_at_right_mm(&start) - pinion_part;
                Some(change_mm / observer.backlash_per_ring() - s.moved_mm[1])
            })
            .collect();
        if !rings.is_empty() {
            let ring_mm = rings.iter().sum::<f64>() / rings.len() as f64;
            start[RING] = ring_mm.clamp(-0.6, 0.6) / ring_deviation_mm;
        }
        let misfit = Problem::new(observer, seen, start).misfit();
        if misfit < best.1 {
            best = (start, misfit);
        }
    }
    best.0
}
