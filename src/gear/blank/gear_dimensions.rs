//! Clause 7 of ISO 23509: the dimensions that follow from the pitch cones.

use super::input::{Backlash, BlankInput, Depth, Method};
use super::pitch_cones::PitchCones;
use super::spiral::{Trace, TraceInput};
use super::taper::taper_angles;
use crate::gear::GearError;
use std::f64::consts::{FRAC_PI_2, PI};

/// What both members have, each its own value. Lengths in millimetres, angles in radians.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Member {
    /// d_m, mean pitch diameter.
    pub dm: f64,
    /// t_zm, crossing point to calculation point along the axis.
    pub tzm: f64,
    /// t_z, pitch apex beyond the crossing point.
    pub tz: f64,
    /// h_am, mean addendum.
    pub ham: f64,
    /// h_fm, mean dedendum.
    pub hfm: f64,
    /// δ_a, face angle.
    pub delta_a: f64,
    /// δ_f, root angle.
    pub delta_f: f64,
    /// θ_a, addendum angle.
    pub theta_a: f64,
    /// θ_f, dedendum angle.
    pub theta_f: f64,
    /// t_zF, face apex beyond the crossing point.
    pub tz_face: f64,
    /// t_zR, root apex beyond the crossing point.
    pub tz_root: f64,
    /// b, face width.
    pub b: f64,
    /// b_e, face width from the calculation point to the outside.
    pub be: f64,
    /// b_i, face width from the calculation point to the inside.
    pub bi: f64,
    /// R_e, outer cone distance.
    pub re: f64,
    /// R_i, inner cone distance.
    pub ri: f64,
    /// d_e, outer pitch diameter.
    pub de: f64,
    /// d_i, inner pitch diameter.
    pub di: f64,
    /// β_e, outer spiral angle.
    pub beta_e: f64,
    /// β_i, inner spiral angle.
    pub beta_i: f64,
    /// h_ae, outer addendum.
    pub hae: f64,
    /// h_fe, outer dedendum.
    pub hfe: f64,
    /// h_ai, inner addendum.
    pub hai: f64,
    /// h_fi, inner dedendum.
    pub hfi: f64,
    /// x_sm, thickness modification coefficient with backlash.
    pub xsm: f64,
    /// s_mn, mean normal circular tooth thickness.
    pub smn: f64,
    /// s_mt, mean transverse circular tooth thickness.
    pub smt: f64,
    /// d_mn, mean normal (virtual) diameter.
    pub dmn: f64,
    /// s_mnc, mean normal chordal tooth thickness.
    pub smnc: f64,
    /// h_amc, mean chordal addendum.
    pub hamc: f64,
    /// d_ae, outside diameter.
    pub dae: f64,
    /// d_fe, outer root diameter.
    pub dfe: f64,
    /// d_ai, inner tip diameter.
    pub dai: f64,
    /// d_fi, inner root diameter.
    pub dfi: f64,
    /// t_xo, crown to crossing point.
    pub txo: f64,
    /// t_xi, front crown to crossing point.
    pub txi: f64,
}

/// Clause 7. Lengths in millimetres, angles in radians.
#[derive(Debug, Clone, PartialEq)]
pub struct GearDimensions {
    /// u, gear ratio.
    pub u: f64,
    /// ζ_m, offset angle in the pinion's axial plane.
    pub zeta_m: f64,
    /// ζ_mp, offset angle in the pitch plane.
    pub zeta_mp: f64,
    /// a_p, offset in the pitch plane.
    pub ap: f64,
    /// m_mn, mean normal module.
    pub mmn: f64,
    /// m_et2, outer transverse module of the wheel.
    pub met2: f64,
    /// α_lim, limit pressure angle.
    pub alpha_lim: f64,
    /// α_n, generated normal pressure angle, drive and coast.
    pub alpha_n: [f64; 2],
    /// α_e, effective pressure angle, drive and coast.
    pub alpha_e: [f64; 2],
    /// h_mw, mean working depth.
    pub hmw: f64,
    /// c, clearance.
    pub c: f64,
    /// h_m, mean whole depth.
    pub hm: f64,
    /// x_hm1, profile shift coefficient.
    pub xhm1: f64,
    /// x_smn, theoretical thickness modification coefficient.
    pub xsmn: f64,
    /// φ_R, auxiliary angle in the root plane.
    pub phi_root: f64,
    /// φ_o, auxiliary angle in the face plane.
    pub phi_face: f64,
    /// ζ_R, pinion offset angle in the root plane.
    pub zeta_root: f64,
    /// ζ_o, pinion offset angle in the face plane.
    pub zeta_face: f64,
    /// b_p1, pinion face width in the pitch plane.
    pub bp1: f64,
    /// b_1A, pinion face width from the calculation point to the front crown.
    pub b1a: f64,
    /// Auxiliary angle λ′ and pinion face width b_reri1 (method 1).
    pub method1: Option<[f64; 2]>,
    /// b_x, face width increment (method 3).
    pub bx: Option<f64>,
    /// R_e21, wheel cone distance at the pinion's outer boundary.
    pub re21: f64,
    /// R_i21, wheel cone distance at the pinion's inner boundary.
    pub ri21: f64,
    /// ν, lead angle of the cutter (0 when face milled).
    pub nu: f64,
    /// ρ_P0, crown gear to cutter centre distance.
    pub rho_p0: f64,
    /// ρ_b, epicycloid base circle radius.
    pub rho_b: f64,
    /// β_e21, wheel spiral angle at the pinion's outer boundary.
    pub beta_e21: f64,
    /// β_i21, wheel spiral angle at the pinion's inner boundary.
    pub beta_i21: f64,
    /// h_t1, pinion whole depth square to the root cone.
    pub ht1: f64,
    /// j_et2, outer transverse backlash.
    pub jet2: f64,
    /// Pinion.
    pub pinion: Member,
    /// Wheel.
    pub wheel: Member,
}

impl GearDimensions {
    pub(super) fn new(input: &BlankInput, cones: &PitchCones) -> Result<Self, GearError> {
        let &PitchCones {
            rm1,
            rm2,
            delta1,
            delta2,
            bm1,
            bm2,
            cbe2,
        } = cones;
        let u = f64::from(input.z2) / f64::from(input.z1);
        let excess = input.shaft_angle - FRAC_PI_2;
        let a = input.a;
        let mut p = Member {
            dm: 2.0 * rm1 * delta1.sin(),
            ..Member::default()
        };
        let mut w = Member {
            dm: 2.0 * rm2 * delta2.sin(),
            ..Member::default()
        };

        // 7.1 Basic data.
        let both = w.dm + p.dm * delta2.cos() / delta1.cos();
        let zeta_m = (2.0 * a / both).asin();
        let zeta_mp = (zeta_m.sin() * input.shaft_angle.sin() / delta1.cos()).asin();
        let ap = rm2 * zeta_mp.sin();
        let mmn = w.dm * bm2.cos() / f64::from(input.z2);
        let alpha_lim = cones.limit_pressure_angle(zeta_mp);
        let alpha_n = [
            input.alpha_dd + input.falim * alpha_lim,
            input.alpha_dc - input.falim * alpha_lim,
        ];
        let alpha_e = [alpha_n[0] - alpha_lim, alpha_n[1] + alpha_lim];
        w.be = cbe2 * input.b2;
        w.bi = input.b2 - w.be;
        w.b = input.b2;
        w.re = rm2 + w.be;
        w.ri = w.re - input.b2;
        if w.ri <= 0.0 {
            return Err(GearError::FacePastApex {
                face_width_mm: input.b2,
                cone_mm: -w.ri,
                nearest_mm: 0.999 * w.re,
            });
        }
        w.tzm = 0.5 * p.dm * delta2.sin() / delta1.cos() - 0.5 * zeta_m.cos() * excess.tan() * both;
        p.tzm = 0.5 * w.dm * zeta_m.cos() * excess.cos() - w.tzm * excess.sin();
        p.tz = rm1 * delta1.cos() - p.tzm;
        w.tz = rm2 * delta2.cos() - w.tzm;

        // 7.2 Tooth depth.
        let (hmw, c, xhm1, xsmn) = match input.depth {
            Depth::Coefficients {
                xhm1,
                khap,
                khfp,
                xsmn,
            } => (2.0 * mmn * khap, mmn * (khfp - khap), xhm1, xsmn),
            Depth::Factors { cham, kd, kc, kt } => {
                (kd * mmn, kc * kd * mmn, kd * (0.5 - cham), 0.5 * kt)
            }
        };
        w.ham = 0.5 * hmw - mmn * xhm1;
        p.ham = 0.5 * hmw + mmn * xhm1;
        w.hfm = p.ham + c;
        p.hfm = w.ham + c;
        let hm = hmw + c;

        // 7.3 Face and root angles.
        let alpha_mean = 0.5 * (alpha_n[0] + alpha_n[1]);
        [w.theta_a, w.theta_f] = input
            .theta2
            .unwrap_or_else(|| taper_angles(input, cones, &w, hmw, alpha_mean));
        w.delta_a = delta2 + w.theta_a;
        w.delta_f = delta2 - w.theta_f;
        let plane = |theta: f64, delta: f64| {
            let reach = rm2 * theta.cos() - w.tz * delta.cos();
            let phi = (a * excess.tan() * delta.cos() / reach).atan();
            (phi, (a * phi.cos() * delta.sin() / reach).asin() - phi)
        };
        let (phi_root, zeta_root) = plane(w.theta_f, w.delta_f);
        let (phi_face, zeta_face) = plane(w.theta_a, w.delta_a);
        let pinion_cone = |delta: f64, zeta: f64| {
            (excess.sin() * delta.sin() + excess.cos() * delta.cos() * zeta.cos()).asin()
        };
        p.delta_a = pinion_cone(w.delta_f, zeta_root);
        p.delta_f = pinion_cone(w.delta_a, zeta_face);
        p.theta_a = p.delta_a - delta1;
        p.theta_f = delta1 - p.delta_f;
        w.tz_face = w.tz - (rm2 * w.theta_a.sin() - w.ham * w.theta_a.cos()) / w.delta_a.sin();
        w.tz_root = w.tz + (rm2 * w.theta_f.sin() - w.hfm * w.theta_f.cos()) / w.delta_f.sin();
        p.tz_face = (a * zeta_root.sin() * w.delta_f.cos() - w.tz_root * w.delta_f.sin() - c)
            / p.delta_a.sin();
        p.tz_root = (a * zeta_face.sin() * w.delta_a.cos() - w.tz_face * w.delta_a.sin() - c)
            / p.delta_f.sin();

        // 7.4 Pinion face width.
        let in_plane = |r: f64| (r * r - ap * ap).sqrt();
        let bp1 = in_plane(w.re) - in_plane(w.ri);
        let b1a = in_plane(rm2) - in_plane(w.ri);
        let (mut method1, mut bx) = (None, None);
        match input.method {
            Method::Zero => {
                p.b = input.b2;
                p.be = cbe2 * p.b;
                p.bi = p.b - p.be;
            }
            Method::One => {
                let lambda = (zeta_mp.sin() * delta2.cos())
                    .atan2(u * delta1.cos() + delta2.cos() * zeta_mp.cos());
                let breri = input.b2 * lambda.cos() / (zeta_mp - lambda).cos();
                let shift = hmw * zeta_root.sin() * (1.0 - 1.0 / u);
                let slant = p.delta_a.cos() / p.theta_a.cos();
                let outer = cbe2 * breri * slant + shift - (w.hfm - c) * delta1.sin();
                let inner = (1.0 - cbe2) * breri * slant + shift + (w.hfm - c) * delta1.sin();
                p.be = (outer + p.ham * delta1.sin()) / slant;
                p.bi = (inner - p.ham * delta1.sin())
                    / (delta1.cos() - p.theta_a.tan() * delta1.sin());
                p.b = p.be + p.bi;
                method1 = Some([lambda, breri]);
            }
            Method::Two => {
                p.b = input.b2 * (1.0 + zeta_mp.tan().powi(2));
                p.be = cbe2 * p.b;
                p.bi = p.b - p.be;
            }
            Method::Three => {
                p.b = (bp1 + 3.0 * mmn * zeta_mp.tan().abs() + 1.0).floor();
                let increment = 0.5 * (p.b - bp1);
                p.bi = b1a + increment;
                p.be = p.b - p.bi;
                bx = Some(increment);
            }
        }

        // 7.5 Spiral angles at the ends.
        let end = |face: f64| (rm2 * rm2 + face * face + 2.0 * rm2 * face * zeta_mp.cos()).sqrt();
        let (re21, ri21) = (end(p.be), end(-p.bi));
        let trace = Trace::new(&TraceInput {
            cutting: input.cutting,
            rm2,
            bm2,
            delta2,
            rc0: input.rc0,
            z0: input.z0,
            z2: input.z2,
        })
        .ok_or(GearError::CutterMisses {
            radius_mm: input.rc0,
            place: "mean point",
            nearest_mm: f64::from(input.z0) * mmn,
        })?;
        let spiral = |cone: f64, place| {
            trace.spiral_at(cone).ok_or(GearError::CutterMisses {
                radius_mm: input.rc0,
                place,
                nearest_mm: rm2,
            })
        };
        let beta_e21 = spiral(re21, "heel")?;
        let beta_i21 = spiral(ri21, "toe")?;
        p.beta_e = beta_e21 + (ap / re21).asin();
        p.beta_i = beta_i21 + (ap / ri21).asin();
        w.beta_e = spiral(w.re, "heel")?;
        w.beta_i = spiral(w.ri, "toe")?;

        // 7.6 Depths at the ends.
        for m in [&mut p, &mut w] {
            m.hae = m.ham + m.be * m.theta_a.tan();
            m.hfe = m.hfm + m.be * m.theta_f.tan();
            m.hai = m.ham - m.bi * m.theta_a.tan();
            m.hfi = m.hfm - m.bi * m.theta_f.tan();
        }

        // 7.7 Thickness. Every way of stating the backlash is turned into the mean normal one.
        let outer = rm2 * bm2.cos() / (w.re * w.beta_e.cos());
        let mean_normal = match input.backlash {
            Backlash::OuterNormal(j) => j * outer,
            Backlash::OuterTransverse(j) => j * rm2 * bm2.cos() * alpha_mean.cos() / w.re,
            Backlash::MeanNormal(j) => j,
            Backlash::MeanTransverse(j) => j * bm2.cos() * alpha_mean.cos(),
        };
        let jet2 = mean_normal * w.re / (rm2 * bm2.cos() * alpha_mean.cos());
        let thinning = mean_normal / (4.0 * mmn * alpha_mean.cos());
        p.xsm = xsmn - thinning;
        w.xsm = -xsmn - thinning;
        p.smn = 0.5 * PI * mmn + 2.0 * mmn * (p.xsm + xhm1 * alpha_mean.tan());
        w.smn = 0.5 * PI * mmn + 2.0 * mmn * (w.xsm - xhm1 * alpha_mean.tan());
        for (m, delta, bm, tz_rest) in [(&mut p, delta1, bm1, rm1), (&mut w, delta2, bm2, rm2)] {
            m.smt = m.smn / bm.cos();
            m.dmn = m.dm / ((1.0 - (bm.sin() * alpha_mean.cos()).powi(2)) * delta.cos());
            let half_angle = m.smn / m.dmn;
            m.smnc = m.dmn * half_angle.sin();
            m.hamc = m.ham + 0.5 * m.dmn * delta.cos() * (1.0 - half_angle.cos());
            // 7.8 Remaining dimensions.
            m.re = tz_rest + m.be;
            m.ri = tz_rest - m.bi;
            m.de = 2.0 * m.re * delta.sin();
            m.di = 2.0 * m.ri * delta.sin();
            m.dae = m.de + 2.0 * m.hae * delta.cos();
            m.dfe = m.de - 2.0 * m.hfe * delta.cos();
            m.dai = m.di + 2.0 * m.hai * delta.cos();
            m.dfi = m.di - 2.0 * m.hfi * delta.cos();
            m.txo = m.tzm + m.be * delta.cos() - m.hae * delta.sin();
            m.txi = m.tzm - m.bi * delta.cos() - m.hai * delta.sin();
        }
        let ht1 = (p.tz_face + p.txo) / p.delta_a.cos() * (p.theta_a + p.theta_f).sin()
            - (p.tz_root - p.tz_face) * p.delta_f.sin();
        Ok(Self {
            u,
            zeta_m,
            zeta_mp,
            ap,
            mmn,
            met2: w.de / f64::from(input.z2),
            alpha_lim,
            alpha_n,
            alpha_e,
            hmw,
            c,
            hm,
            xhm1,
            xsmn,
            phi_root,
            phi_face,
            zeta_root,
            zeta_face,
            bp1,
            b1a,
            method1,
            bx,
            re21,
            ri21,
            nu: trace.nu,
            rho_p0: trace.rho_p0,
            rho_b: trace.rho_b,
            beta_e21,
            beta_i21,
            ht1,
            jet2,
            pinion: p,
            wheel: w,
        })
    }
}
