//! Virtual cylindrical gears at the mean point and their contact ratios (ISO 10300-1, method B1, as
//! worked in ISO/TR 10300-30, as quoted).

use super::gear_dimensions::GearDimensions;
use super::input::BlankInput;
use super::pitch_cones::PitchCones;
use std::f64::consts::PI;

/// Share of the wheel's face that carries, as the samples of ISO/TR 10300-30 take it.
const EFFECTIVE_FACE: f64 = 0.85;

/// Virtual cylindrical gear pair, by the drive flank's effective pressure angle. Lengths in
/// millimetres, angles in radians.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ContactRatio {
    /// d_v1, d_v2, reference diameters.
    pub dv: [f64; 2],
    /// z_v1, z_v2, numbers of teeth.
    pub zv: [f64; 2],
    /// β_v, helix angle.
    pub beta_v: f64,
    /// α_vet, transverse pressure angle.
    pub alpha_vet: f64,
    /// p_vet, transverse base pitch.
    pub pvet: f64,
    /// g_vα, length of the path of contact.
    pub gva: f64,
    /// ε_vα, profile contact ratio.
    pub eps_va: f64,
    /// b_v,eff, effective face width.
    pub bv_eff: f64,
    /// ε_vβ, overlap ratio.
    pub eps_vb: f64,
    /// ε_vγ, total contact ratio: the sum of both.
    pub eps_vg: f64,
    /// ρ_t, equivalent radius of curvature in the transverse section.
    pub rho_t: f64,
    /// ρ_rel, equivalent radius of curvature square to the contact line.
    pub rho_rel: f64,
}

impl ContactRatio {
    pub(super) fn new(input: &BlankInput, cones: &PitchCones, gear: &GearDimensions) -> Self {
        let (p, w) = (&gear.pinion, &gear.wheel);
        let (alpha_n, alpha_e) = (gear.alpha_n[0], gear.alpha_e[0]);
        let dv = [p.dm / cones.delta1.cos(), w.dm / cones.delta2.cos()];
        let beta_v = 0.5 * (cones.bm1 + cones.bm2);
        let zv = dv.map(|d| d * beta_v.cos() / gear.mmn);
        let alpha_vet = (alpha_e.tan() / beta_v.cos()).atan();
        let reach = |d: f64, ham: f64| {
            let base = d * alpha_vet.cos();
            0.5 * (((d + 2.0 * ham).powi(2) - base * base).sqrt() - d * alpha_vet.sin())
        };
        let gva = reach(dv[0], p.ham) + reach(dv[1], w.ham);
        let pvet = PI * gear.mmn * alpha_vet.cos() / beta_v.cos();
        let half = 0.5 * gear.zeta_mp;
        let gamma = (cones.delta2.sin() * gear.zeta_m.tan()).atan() - half;
        let bv_eff = (EFFECTIVE_FACE * input.b2 / half.cos() - gva * alpha_vet.cos() * half.tan())
            / (1.0 - gamma.tan() * half.tan());
        let (eps_va, eps_vb) = (gva / pvet, bv_eff * beta_v.sin() / (PI * gear.mmn));
        // β_B, inclination of the contact line.
        let tan_b = beta_v.tan() * alpha_e.sin();
        let rho_t = (alpha_n.cos() * (alpha_n.tan() - gear.alpha_lim.tan())
            + gear.zeta_mp.tan() * tan_b)
            * gear.zeta_mp.cos()
            / (cones.bm1.cos() * cones.bm2.cos())
            / ((cones.rm2 * cones.delta2.tan()).recip() + (cones.rm1 * cones.delta1.tan()).recip());
        Self {
            dv,
            zv,
            beta_v,
            alpha_vet,
            pvet,
            gva,
            eps_va,
            bv_eff,
            eps_vb,
            eps_vg: eps_va + eps_vb,
            rho_t,
            rho_rel: rho_t / (1.0 + tan_b * tan_b),
        }
    }
}
