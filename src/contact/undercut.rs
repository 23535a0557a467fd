//! Where the conjugate pinion would be undercut by the ring gear's flank.

use crate::gear::flank::FlankGrid;
use crate::gear::pitch::PitchPair;
use nalgebra::{Rotation3, Vector3};

/// How many inner points of the grid lie beyond the pinion's undercut.
///
/// The conjugate pinion is singular where the point of contact stands still on it: where
/// `r_u du + r_v dv = −v12` for the same `du, dv` that advance the mesh position by one. With
/// `r_u a + r_v b = v12` that is `1 + φ_u a + φ_v b = 0`; beyond it the sum has the other sign than in
/// the flank's middle.
pub(super) fn count(grid: &FlankGrid, pair: &PitchPair, angles: &[f64]) -> usize {
    let (nu, nv) = (grid.nu, grid.nv);
    let sign_at = |i: usize, j: usize| -> Option<f64> {
        let k = j * nu + i;
        let turn = Rotation3::from_axis_angle(&Vector3::z_axis(), angles[k]);
        let slope = |from: usize, to: usize| {
            (
                turn * (grid.points[to].position - grid.points[from].position),
                angles[to] - angles[from],
            )
        };
        let (ru, phi_u) = slope(k - 1, k + 1);
        let (rv, phi_v) = slope(k - nu, k + nu);
        let position = turn * grid.points[k].position;
        let velocity = Vector3::z().cross(&position)
            + pair.pinion_axis.cross(&(position - pair.pinion_point)) * pair.ratio;
        let (uu, uv, vv) = (ru.dot(&ru), ru.dot(&rv), rv.dot(&rv));
        let (pu, pv) = (ru.dot(&velocity), rv.dot(&velocity));
        let determinant = uu * vv - uv * uv;
        let (a, b) = (
            (pu * vv - pv * uv) / determinant,
            (pv * uu - pu * uv) / determinant,
        );
        let sum = 1.0 + phi_u * a + phi_v * b;
        sum.is_finite().then_some(sum)
    };
    let Some(middle) = sign_at(nu / 2, nv / 2) else {
        return 0;
    };
    (1..nv - 1)
        .flat_map(|j| (1..nu - 1).map(move |i| (i, j)))
        .filter(|&(i, j)| sign_at(i, j).is_some_and(|s| s * middle < 0.0))
        .count()
}
