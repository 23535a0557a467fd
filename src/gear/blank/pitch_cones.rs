//! Clause 6 of ISO 23509: the pitch cones by methods 0 to 3.
//!
//! Any wheel pitch angle δ_2 gives a pair of cones with the wanted offset and ratio; what a hypoid
//! method adds is the one condition that chooses among them.

use super::input::{BlankInput, Method};
use super::spiral::{Trace, TraceInput};
use crate::gear::GearError;
use std::f64::consts::{FRAC_PI_2, PI};

/// Pitch cone parameters. Lengths in millimetres, angles in radians.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct PitchCones {
    /// R_m1, pinion mean cone distance.
    pub rm1: f64,
    /// R_m2, wheel mean cone distance.
    pub rm2: f64,
    /// δ_1, pinion pitch angle.
    pub delta1: f64,
    /// δ_2, wheel pitch angle.
    pub delta2: f64,
    /// β_m1, pinion mean spiral angle.
    pub bm1: f64,
    /// β_m2, wheel mean spiral angle.
    pub bm2: f64,
    /// c_be2, share of the wheel's face outside the calculation point.
    pub cbe2: f64,
}

impl PitchCones {
    /// Finds the cones by the input's method.
    pub(super) fn new(input: &BlankInput) -> Result<Self, GearError> {
        match input.method {
            Method::Zero => zero(input),
            Method::One => one(input),
            Method::Two => two(input),
            Method::Three => three(input),
        }
    }

    /// α_lim, limit pressure angle, for the offset angle in the pitch plane.
    pub(crate) fn limit_pressure_angle(&self, zeta_mp: f64) -> f64 {
        let (t1, t2) = (self.delta1.tan(), self.delta2.tan());
        (-t1 * t2 / zeta_mp.cos() * (self.rm1 * self.bm1.sin() - self.rm2 * self.bm2.sin())
            / (self.rm1 * t1 + self.rm2 * t2))
            .atan()
    }

    /// ρ_lim, limit radius of curvature.
    fn limit_curvature_radius(&self, zeta_mp: f64) -> f64 {
        let limit = self.limit_pressure_angle(zeta_mp);
        let (b1, b2) = (self.bm1, self.bm2);
        let bend =
            b1.tan() / (self.rm1 * self.delta1.tan()) + b2.tan() / (self.rm2 * self.delta2.tan());
        (b1.tan() - b2.tan())
            / limit.cos()
            / (-limit.tan() * bend + 1.0 / (self.rm1 * b1.cos()) - 1.0 / (self.rm2 * b2.cos()))
    }

    fn trace(&self, input: &BlankInput) -> Option<Trace> {
        Trace::new(&TraceInput {
            cutting: input.cutting,
            rm2: self.rm2,
            bm2: self.bm2,
            delta2: self.delta2,
            rc0: input.rc0,
            z0: input.z0,
            z2: input.z2,
        })
    }
}

fn gear_ratio(input: &BlankInput) -> f64 {
    f64::from(input.z2) / f64::from(input.z1)
}

/// Wheel pitch angle of a pair with intersecting axes.
fn bevel_wheel_angle(input: &BlankInput) -> f64 {
    let (sin, cos) = input.shaft_angle.sin_cos();
    input.shaft_angle - sin.atan2(cos + gear_ratio(input))
}

fn past_apex(input: &BlankInput, cone: f64) -> GearError {
    GearError::FacePastApex {
        face_width_mm: input.b2,
        cone_mm: input.b2 - cone,
        nearest_mm: 0.999 * cone,
    }
}

fn zero(input: &BlankInput) -> Result<PitchCones, GearError> {
    let delta2 = bevel_wheel_angle(input);
    let re = 0.5 * input.de2.unwrap_or_default() / delta2.sin();
    if input.b2 >= re {
        return Err(past_apex(input, re));
    }
    let rm = re - input.cbe2 * input.b2;
    let bm = input.bm2.unwrap_or_default();
    Ok(PitchCones {
        rm1: rm,
        rm2: rm,
        delta1: input.shaft_angle - delta2,
        delta2,
        bm1: bm,
        bm2: bm,
        cbe2: input.cbe2,
    })
}

/// Method 1: the wheel's offset angle in the axial plane, η, is varied until the limit curvature
/// radius is the trace's.
fn one(input: &BlankInput) -> Result<PitchCones, GearError> {
    let u = gear_ratio(input);
    let de2 = input.de2.unwrap_or_default();
    let excess = input.shaft_angle - FRAC_PI_2;
    let bdelta1 = input.bdelta1.unwrap_or_default();
    let first2 = (u * excess.cos()).atan2(1.2 * (1.0 - u * excess.sin()));
    let rmpt2 = 0.5 * (de2 - input.b2 * first2.sin());
    if rmpt2 <= 0.0 {
        return Err(past_apex(input, 0.5 * de2 / first2.sin()));
    }
    let first_offset = (input.a * first2.sin() / rmpt2).asin();
    let k1 = bdelta1.tan() * first_offset.sin() + first_offset.cos();
    let rmn1 = rmpt2 * k1 / u;
    let cones_at = |eta: f64| -> Option<(PitchCones, f64)> {
        let (sin, cos) = eta.sin_cos();
        let second = ((input.a - rmn1 * sin) / rmpt2).asin();
        let pitch1 =
            |offset: f64| (sin / (offset.tan() * excess.cos()) + excess.tan() * cos).atan();
        let delta_int1 = pitch1(second);
        let second_pitch = (second.sin() * excess.cos() / delta_int1.cos()).asin();
        let spiral_int1 = ((k1 - second_pitch.cos()) / second_pitch.sin()).atan();
        let dk = second_pitch.sin() * (bdelta1.tan() - spiral_int1.tan());
        let dr = rmpt2 * dk / u;
        let first = (second.sin() - dr / rmpt2 * sin).asin();
        let delta1 = pitch1(first);
        let zeta_mp = (first.sin() * excess.cos() / delta1.cos()).asin();
        let bm1 = ((k1 + dk - zeta_mp.cos()) / zeta_mp.sin()).atan();
        let delta2 = (first.sin() / (eta.tan() * excess.cos()) + first.cos() * excess.tan()).atan();
        let rm2 = rmpt2 / delta2.sin();
        let cones = PitchCones {
            rm1: (rmn1 + dr) / delta1.sin(),
            rm2,
            delta1,
            delta2,
            bm1,
            bm2: bm1 - zeta_mp,
            cbe2: (0.5 * de2 / delta2.sin() - rm2) / input.b2,
        };
        let miss = cones.limit_curvature_radius(zeta_mp) / cones.trace(input)?.curvature_radius();
        // As curvatures, so that a straight trace (infinite radius) is an ordinary value.
        (miss.is_finite() && delta2 > 0.0).then_some((cones, miss.recip() - 1.0))
    };
    let eta = find_root(0.02 * PI / 180.0, 45.0 * PI / 180.0, 900, |eta| {
        cones_at(eta).map(|c| c.1)
    });
    eta.and_then(cones_at)
        .map(|(cones, _)| cones)
        .ok_or(GearError::NoPitchCones {
            method: 1,
            advice: "no pitch cones have the cutter's curvature as their limit; another cutter radius or pinion spiral angle is needed",
        })
}

/// The cones of a wheel pitch angle, ratio and offset exactly met; and the offset angle ζ_mp.
fn cones_with_offset(
    input: &BlankInput,
    delta2: f64,
    rm2: f64,
    bm2: f64,
    cbe2: f64,
) -> Option<(PitchCones, f64)> {
    let u = gear_ratio(input);
    let at = |zeta: f64| -> Option<(PitchCones, f64)> {
        // cos Σ = cos δ1 cos δ2 cos ζmp − sin δ1 sin δ2
        let (even, odd) = (zeta.cos() * delta2.cos(), delta2.sin());
        let delta1 = (input.shaft_angle.cos() / even.hypot(odd)).acos() - odd.atan2(even);
        let bm1 = bm2 + zeta;
        let rm1 = rm2 * delta2.sin() / u * bm2.cos() / bm1.cos() / delta1.sin();
        let dm1 = 2.0 * rm1 * delta1.sin();
        let dm2 = 2.0 * rm2 * delta2.sin();
        let offset = 0.5 * zeta.sin() * delta1.cos() / input.shaft_angle.sin()
            * (dm2 + dm1 * delta2.cos() / delta1.cos());
        let cones = PitchCones {
            rm1,
            rm2,
            delta1,
            delta2,
            bm1,
            bm2,
            cbe2,
        };
        (offset.is_finite() && rm1 > 0.0 && delta1 > 0.0).then_some((cones, offset))
    };
    let limit = (80.0 * PI / 180.0 - bm2).max(0.0);
    let zeta = find_root(0.0, limit, 120, |zeta| at(zeta).map(|c| c.1 - input.a))?;
    at(zeta).map(|(cones, _)| (cones, zeta))
}

/// Method 2: in the pitch plane the centres of both crown gears and of the cutter are in line, so
/// that one rolling motion cuts both members.
fn two(input: &BlankInput) -> Result<PitchCones, GearError> {
    let (dm2, bm2) = (input.dm2.unwrap_or_default(), input.bm2.unwrap_or_default());
    let cones_at = |delta2: f64| {
        let rm2 = 0.5 * dm2 / delta2.sin();
        cones_with_offset(input, delta2, rm2, bm2, input.cbe2)
    };
    let miss = |delta2: f64| {
        let (cones, zeta) = cones_at(delta2)?;
        let nu = cones.trace(input)?.nu;
        // λ, from the generatrix to the cutter's centre, and η, at the wheel's apex.
        let lambda = FRAC_PI_2 - bm2 + nu;
        let eta = (input.rc0 * lambda.sin()).atan2(cones.rm2 - input.rc0 * lambda.cos());
        Some(cones.rm1 * (zeta + eta).sin() - cones.rm2 * eta.sin())
    };
    find_wheel_angle(input, miss)
        .and_then(cones_at)
        .map(|(cones, _)| cones)
        .ok_or(GearError::NoPitchCones {
            method: 2,
            advice: "no pitch cones bring the cutter's centre in line with both apexes; another cutter radius or offset is needed",
        })
}

/// Method 3: the pinion's cone distance is moved toward the one at which the cutter's epicycloid
/// suits both members, until they differ by less than 1e-4 of it.
///
/// The iteration is the standard's, stopped where it stops, for published dimensions carry its last
/// step: the cone distances are those before the last correction of the pitch angles.
fn three(input: &BlankInput) -> Result<PitchCones, GearError> {
    const PASSES: usize = 100;
    let u = gear_ratio(input);
    let (de2, bm2) = (input.de2.unwrap_or_default(), input.bm2.unwrap_or_default());
    let (sin_sigma, cos_sigma) = input.shaft_angle.sin_cos();
    let mut delta2 = bevel_wheel_angle(input);
    let mut delta1 = input.shaft_angle - delta2;
    // F, how much larger the pinion is than a bevel pinion of the same ratio.
    let mut factor = 1.0;
    for _ in 0..PASSES {
        let dm2 = de2 - 2.0 * input.cbe2 * input.b2 * delta2.sin();
        if dm2 <= 0.0 {
            return Err(past_apex(input, 0.5 * de2 / delta2.sin()));
        }
        let zeta_m =
            (2.0 * input.a / (dm2 * (1.0 + factor * delta2.cos() / (u * delta1.cos())))).asin();
        delta1 = (zeta_m.cos() * sin_sigma * delta2.cos() - cos_sigma * delta2.sin()).asin();
        let zeta_mp = (zeta_m.sin() * sin_sigma / delta1.cos()).asin();
        let bm1 = bm2 + zeta_mp;
        factor = bm2.cos() / bm1.cos();
        let dm1 = factor * dm2 / u;
        let cones = PitchCones {
            rm1: 0.5 * dm1 / delta1.sin(),
            rm2: 0.5 * dm2 / delta2.sin(),
            delta1,
            delta2,
            bm1,
            bm2,
            cbe2: input.cbe2,
        };
        let Some(trace) = cones.trace(input) else {
            break;
        };
        let wanted = suited_pinion_cone(&cones, zeta_m, zeta_mp, input.rc0, trace.nu);
        delta1 = (0.5 * dm1 / wanted).asin();
        let (even, odd) = (zeta_m.cos() * sin_sigma, cos_sigma);
        delta2 = (delta1.sin() / even.hypot(odd)).acos() - odd.atan2(even);
        if !(delta1.is_finite() && delta2.is_finite()) {
            break;
        }
        if (wanted - cones.rm1).abs() <= 1e-4 * cones.rm1 {
            return Ok(PitchCones {
                delta1,
                delta2,
                ..cones
            });
        }
    }
    Err(GearError::NoPitchCones {
        method: 3,
        advice: "no pitch cones suit this cutter; another cutter radius or offset is needed",
    })
}

/// R_int, the pinion's cone distance that suits the cutter (ISO 23509, method 3).
fn suited_pinion_cone(cones: &PitchCones, zeta_m: f64, zeta_mp: f64, rc: f64, nu: f64) -> f64 {
    let bm2 = cones.bm2;
    let theta = (cones.delta2.sin() * zeta_m.tan()).atan();
    let a3 = rc * (bm2 - nu).cos().powi(2);
    let a4 = cones.rm2 * (bm2 + theta).cos() * bm2.cos();
    let a5 = zeta_mp.sin() * theta.cos() * nu.cos();
    let a6 = cones.rm2 * bm2.cos() + rc * nu.sin();
    let a7 = cones.bm1.cos() * (bm2 + theta).cos()
        - (bm2 + theta - nu).sin() / (bm2 - nu).cos() * zeta_mp.sin();
    a3 * a4 / (a5 * a6 + a3 * a7)
}

/// A root of `miss` in δ_2: hypoid wheels are flatter than the bevel wheel of the same ratio, so
/// below it first, then above.
fn find_wheel_angle(input: &BlankInput, miss: impl Fn(f64) -> Option<f64>) -> Option<f64> {
    let bevel = bevel_wheel_angle(input);
    find_root(bevel, 0.4 * bevel, 240, &miss)
        .or_else(|| find_root(bevel, 0.5 * (bevel + input.shaft_angle), 120, &miss))
}

/// The first root of `f` going from `from` to `to` in `steps`, then halved to the last digit. Jumps
/// (poles) are passed over.
fn find_root(from: f64, to: f64, steps: u32, f: impl Fn(f64) -> Option<f64>) -> Option<f64> {
    let mut last: Option<(f64, f64)> = None;
    for i in 0..=steps {
        let x = from + (to - from) * f64::from(i) / f64::from(steps);
        let Some(y) = f(x) else {
            last = None;
            continue;
        };
        if let Some((x0, y0)) = last
            && (y0 < 0.0) != (y < 0.0)
        {
            let (mut low, mut high) = (x0, x);
            for _ in 0..80 {
                let middle = 0.5 * (low + high);
                match f(middle) {
                    Some(v) if (v < 0.0) == (y0 < 0.0) => low = middle,
                    _ => high = middle,
                }
            }
            if f(low).is_some_and(|v| v.abs() < 0.1 * (y0.abs() + y.abs())) {
                return Some(low);
            }
        }
        last = Some((x, y));
    }
    None
}
