//! Clause 7 of ISO 23509: the dimensions that follow from the pitch cones.

use super::input::{Backlash, BlankInput, Depth, Method};
use super::member::Member;
use super::pitch_cones::PitchCones;
use super::spiral::{Trace, TraceInput};
use super::taper::taper_angles;
use crate::gear::GearError;
use std::f64::consts::FRAC_PI_2;

/// Clause 7. Lengths in millimetres, angles in radians.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct GearDimensions {
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
    /// All of clause 7, in the standard's order: every step needs those before it.
    pub(super) fn new(input: &BlankInput, cones: &PitchCones) -> Result<Self, GearError> {
        let mut gear = Self {
            u: f64::from(input.z2) / f64::from(input.z1),
            ..Self::default()
        };
        gear.basic_data(input, cones)?;
        gear.tooth_depth(input);
        gear.face_and_root_angles(input, cones);
        gear.pinion_face_width(input, cones);
        gear.spiral_angles_at_the_ends(input, cones)?;
        gear.depths_at_the_ends();
        gear.backlash_and_thickness_coefficients(input, cones);
        for (member, addendum_sign, delta, bm, rm) in [
            (&mut gear.pinion, 1.0, cones.delta1, cones.bm1, cones.rm1),
            (&mut gear.wheel, -1.0, cones.delta2, cones.bm2, cones.rm2),
        ] {
            let alpha = mean_of(gear.alpha_n);
            member.thickness(gear.mmn, addendum_sign * gear.xhm1, delta, bm, alpha);
            member.remaining(delta, rm);
        }
        gear.met2 = gear.wheel.de / f64::from(input.z2);
        let p = &gear.pinion;
        gear.ht1 = (p.tz_face + p.txo) / p.delta_a.cos() * (p.theta_a + p.theta_f).sin()
            - (p.tz_root - p.tz_face) * p.delta_f.sin();
        Ok(gear)
    }

    /// 7.1 Basic data.
    fn basic_data(&mut self, input: &BlankInput, cones: &PitchCones) -> Result<(), GearError> {
        let &PitchCones {
            rm1,
            rm2,
            delta1,
            delta2,
            bm2,
            cbe2,
            ..
        } = cones;
        let excess = input.shaft_angle - FRAC_PI_2;
        let (p, w) = (&mut self.pinion, &mut self.wheel);
        p.dm = 2.0 * rm1 * delta1.sin();
        w.dm = 2.0 * rm2 * delta2.sin();
        let both = w.dm + p.dm * delta2.cos() / delta1.cos();
        self.zeta_m = (2.0 * input.a / both).asin();
        self.zeta_mp = (self.zeta_m.sin() * input.shaft_angle.sin() / delta1.cos()).asin();
        self.ap = rm2 * self.zeta_mp.sin();
        self.mmn = w.dm * bm2.cos() / f64::from(input.z2);
        self.alpha_lim = cones.limit_pressure_angle(self.zeta_mp);
        self.alpha_n = [
            input.alpha_dd + input.falim * self.alpha_lim,
            input.alpha_dc - input.falim * self.alpha_lim,
        ];
        self.alpha_e = [
            self.alpha_n[0] - self.alpha_lim,
            self.alpha_n[1] + self.alpha_lim,
        ];
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
        w.tzm = 0.5 * p.dm * delta2.sin() / delta1.cos()
            - 0.5 * self.zeta_m.cos() * excess.tan() * both;
        p.tzm = 0.5 * w.dm * self.zeta_m.cos() * excess.cos() - w.tzm * excess.sin();
        p.tz = rm1 * delta1.cos() - p.tzm;
        w.tz = rm2 * delta2.cos() - w.tzm;
        Ok(())
    }

    /// 7.2 Tooth depth at the calculation point.
    fn tooth_depth(&mut self, input: &BlankInput) {
        let mmn = self.mmn;
        (self.hmw, self.c, self.xhm1, self.xsmn) = match input.depth {
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
        let (p, w) = (&mut self.pinion, &mut self.wheel);
        w.ham = 0.5 * self.hmw - mmn * self.xhm1;
        p.ham = 0.5 * self.hmw + mmn * self.xhm1;
        w.hfm = p.ham + self.c;
        p.hfm = w.ham + self.c;
        self.hm = self.hmw + self.c;
    }

    /// 7.3 Face and root angles.
    fn face_and_root_angles(&mut self, input: &BlankInput, cones: &PitchCones) {
        let &PitchCones {
            rm2,
            delta1,
            delta2,
            ..
        } = cones;
        let (a, c) = (input.a, self.c);
        let excess = input.shaft_angle - FRAC_PI_2;
        let (p, w) = (&mut self.pinion, &mut self.wheel);
        [w.theta_a, w.theta_f] = input
            .theta2
            .unwrap_or_else(|| taper_angles(input, cones, w, self.hmw, mean_of(self.alpha_n)));
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
        (self.phi_root, self.zeta_root) = (phi_root, zeta_root);
        (self.phi_face, self.zeta_face) = (phi_face, zeta_face);
    }

    /// 7.4 Pinion face width, by the method.
    fn pinion_face_width(&mut self, input: &BlankInput, cones: &PitchCones) {
        let &PitchCones {
            rm2,
            delta1,
            delta2,
            cbe2,
            ..
        } = cones;
        let (ap, u, zeta_mp) = (self.ap, self.u, self.zeta_mp);
        let (p, w) = (&mut self.pinion, &self.wheel);
        let in_plane = |r: f64| (r * r - ap * ap).sqrt();
        self.bp1 = in_plane(w.re) - in_plane(w.ri);
        self.b1a = in_plane(rm2) - in_plane(w.ri);
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
                let shift = self.hmw * self.zeta_root.sin() * (1.0 - 1.0 / u);
                let slant = p.delta_a.cos() / p.theta_a.cos();
                let outer = cbe2 * breri * slant + shift - (w.hfm - self.c) * delta1.sin();
                let inner = (1.0 - cbe2) * breri * slant + shift + (w.hfm - self.c) * delta1.sin();
                p.be = (outer + p.ham * delta1.sin()) / slant;
                p.bi = (inner - p.ham * delta1.sin())
                    / (delta1.cos() - p.theta_a.tan() * delta1.sin());
                p.b = p.be + p.bi;
                self.method1 = Some([lambda, breri]);
            }
            Method::Two => {
                p.b = input.b2 * (1.0 + zeta_mp.tan().powi(2));
                p.be = cbe2 * p.b;
                p.bi = p.b - p.be;
            }
            Method::Three => {
                p.b = (self.bp1 + 3.0 * self.mmn * zeta_mp.tan().abs() + 1.0).floor();
                let increment = 0.5 * (p.b - self.bp1);
                p.bi = self.b1a + increment;
                p.be = p.b - p.bi;
                self.bx = Some(increment);
            }
        }
    }

    /// 7.5 Spiral angles at toe and heel.
    fn spiral_angles_at_the_ends(
        &mut self,
        input: &BlankInput,
        cones: &PitchCones,
    ) -> Result<(), GearError> {
        let rm2 = cones.rm2;
        let (p, w) = (&mut self.pinion, &mut self.wheel);
        let end =
            |face: f64| (rm2 * rm2 + face * face + 2.0 * rm2 * face * self.zeta_mp.cos()).sqrt();
        (self.re21, self.ri21) = (end(p.be), end(-p.bi));
        let trace = Trace::new(&TraceInput {
            cutting: input.cutting,
            rm2,
            bm2: cones.bm2,
            delta2: cones.delta2,
            rc0: input.rc0,
            z0: input.z0,
            z2: input.z2,
        })
        .ok_or(GearError::CutterMisses {
            radius_mm: input.rc0,
            place: "mean point",
            nearest_mm: f64::from(input.z0) * self.mmn,
        })?;
        let spiral = |cone: f64, place| {
            trace.spiral_at(cone).ok_or(GearError::CutterMisses {
                radius_mm: input.rc0,
                place,
                nearest_mm: rm2,
            })
        };
        self.beta_e21 = spiral(self.re21, "heel")?;
        self.beta_i21 = spiral(self.ri21, "toe")?;
        p.beta_e = self.beta_e21 + (self.ap / self.re21).asin();
        p.beta_i = self.beta_i21 + (self.ap / self.ri21).asin();
        w.beta_e = spiral(w.re, "heel")?;
        w.beta_i = spiral(w.ri, "toe")?;
        (self.nu, self.rho_p0, self.rho_b) = (trace.nu, trace.rho_p0, trace.rho_b);
        Ok(())
    }

    /// 7.6 Tooth depths at toe and heel.
    fn depths_at_the_ends(&mut self) {
        for m in [&mut self.pinion, &mut self.wheel] {
            m.hae = m.ham + m.be * m.theta_a.tan();
            m.hfe = m.hfm + m.be * m.theta_f.tan();
            m.hai = m.ham - m.bi * m.theta_a.tan();
            m.hfi = m.hfm - m.bi * m.theta_f.tan();
        }
    }

    /// 7.7 Thickness coefficients. Every way of stating the backlash is turned into the mean normal one.
    fn backlash_and_thickness_coefficients(&mut self, input: &BlankInput, cones: &PitchCones) {
        let &PitchCones { rm2, bm2, .. } = cones;
        let alpha_mean = mean_of(self.alpha_n);
        let w = &self.wheel;
        let outer = rm2 * bm2.cos() / (w.re * w.beta_e.cos());
        let mean_normal = match input.backlash {
            Backlash::OuterNormal(j) => j * outer,
            Backlash::OuterTransverse(j) => j * rm2 * bm2.cos() * alpha_mean.cos() / w.re,
            Backlash::MeanNormal(j) => j,
            Backlash::MeanTransverse(j) => j * bm2.cos() * alpha_mean.cos(),
        };
        self.jet2 = mean_normal * w.re / (rm2 * bm2.cos() * alpha_mean.cos());
        let thinning = mean_normal / (4.0 * self.mmn * alpha_mean.cos());
        self.pinion.xsm = self.xsmn - thinning;
        self.wheel.xsm = -self.xsmn - thinning;
    }
}

/// Mean of the drive and the coast flank's value.
fn mean_of(flanks: [f64; 2]) -> f64 {
    0.5 * (flanks[0] + flanks[1])
}
