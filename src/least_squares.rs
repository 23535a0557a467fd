//! Levenberg–Marquardt for small dense problems: the one in the house, for the pose of a gear in a photo and for
//! where the gears of an axle stand.
//!
//! Method: each step solves (JᵀJ + λ·diag JᵀJ) δ = Jᵀr by Cholesky and takes x − δ when that lowers the cost ½ rᵀr;
//! λ falls to a fifth after a step taken and rises five times after one refused. Damping scaled by the diagonal
//! of the normal matrix is D. Marquardt's, "An algorithm for least-squares estimation of nonlinear parameters",
//! J. SIAM 11 (1963) 431–441; it makes the steps independent of the unknowns' units.
//!
//! Convergence: to a local minimum, and only as near as the derivatives allow. The cost never rises. The walk ends
//! when a step taken gains less than a given share of the cost, when λ passes 10¹² (no direction goes down), or
//! after a given number of steps. Near a minimum with small residuals steps are Gauss–Newton's and the error of x
//! is squared by each; where the last gain is a share g of the cost c, what a further step could still gain is of
//! the order of g·c. Derivatives by differences over h err by h/2 times the second derivative.

use nalgebra::{DMatrix, DVector};

/// Where a minimisation ended.
#[derive(Debug, Clone)]
pub(crate) struct Minimum {
    /// The unknowns.
    pub at: Vec<f64>,
    /// Half the sum of the squared residuals there.
    pub cost: f64,
}

/// Step of the difference quotients; the unknowns here are of the order of one.
const DIFFERENCE: f64 = 1e-6;

/// Relative gain below which a further step is not worth its time to [`minimise`].
const ENOUGH: f64 = 1e-5;

/// JᵀJ, of which only the lower half is asked, and Jᵀr of the residuals r and their derivatives J.
pub(crate) type Normal = (DMatrix<f64>, DVector<f64>);

/// Lowers half the sum of squares of `residuals` (unknowns in, residuals out, always as many)
/// from `start`, in at most `steps` accepted or refused steps. Residuals that are not finite count
/// as a refused step.
pub(crate) fn minimise(
    start: Vec<f64>,
    steps: usize,
    residuals: impl Fn(&[f64]) -> Vec<f64>,
) -> Minimum {
    descend(
        start,
        steps,
        ENOUGH,
        |at| half_square(&residuals(at)),
        |at| normal_equations(&mut at.to_vec(), &residuals(at), &residuals),
    )
}

/// The same for a cost that is half a sum of squares, and the normal equations of its residuals, until a
/// step gains less than `enough` of the cost.
pub(crate) fn descend(
    start: Vec<f64>,
    steps: usize,
    enough: f64,
    cost_of: impl Fn(&[f64]) -> f64,
    normal_of: impl Fn(&[f64]) -> Normal,
) -> Minimum {
    let unknowns = start.len();
    let mut at = start;
    let mut cost = cost_of(&at);
    let mut damping = 1e-3;
    let mut normal = None;
    for _ in 0..steps {
        let (square, slope) = normal.get_or_insert_with(|| normal_of(&at));
        let mut damped = square.clone();
        for i in 0..unknowns {
            damped[(i, i)] += damping * square[(i, i)].max(1e-9);
        }
        let Some(step) = damped.cholesky().map(|factor| factor.solve(slope)) else {
            damping *= 10.0;
            continue;
        };
        let next: Vec<f64> = at.iter().zip(step.iter()).map(|(x, dx)| x - dx).collect();
        let next_cost = cost_of(&next);
        if next_cost.is_finite() && next_cost < cost {
            let gain = (cost - next_cost) / cost.max(f64::MIN_POSITIVE);
            (at, cost) = (next, next_cost);
            normal = None;
            damping = (damping * 0.2).max(1e-12);
            if gain < enough {
                break;
            }
        } else {
            damping *= 5.0;
            if damping > 1e12 {
                break;
            }
        }
    }
    Minimum { at, cost }
}

fn half_square(residuals: &[f64]) -> f64 {
    0.5 * residuals.iter().map(|r| r * r).sum::<f64>()
}

/// JᵀJ and Jᵀr at `at`.
fn normal_equations(
    at: &mut [f64],
    here: &[f64],
    residuals: &impl Fn(&[f64]) -> Vec<f64>,
) -> Normal {
    let mut jacobian = DMatrix::zeros(here.len(), at.len());
    for i in 0..at.len() {
        let kept = at[i];
        at[i] = kept + DIFFERENCE;
        for (j, (there, base)) in residuals(at).iter().zip(here).enumerate() {
            jacobian[(j, i)] = (there - base) / DIFFERENCE;
        }
        at[i] = kept;
    }
    let slope = jacobian.tr_mul(&DVector::from_column_slice(here));
    (jacobian.tr_mul(&jacobian), slope)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_curved_valley_is_walked_to_its_end() {
        // H. H. Rosenbrock, Computer Journal 3 (1960) 175: minimum 0 at (1, 1).
        let found = minimise(vec![-1.2, 1.0], 200, |x| {
            vec![10.0 * (x[1] - x[0] * x[0]), 1.0 - x[0]]
        });
        assert!(found.cost < 1e-10, "{}", found.cost);
        assert!((found.at[0] - 1.0).abs() < 1e-4 && (found.at[1] - 1.0).abs() < 1e-4);
    }
}
