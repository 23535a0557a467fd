//! The dimensions each of the two members has.

use std::f64::consts::PI;

/// What both members have, each its own value. Lengths in millimetres, angles in radians.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Member {
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

impl Member {
    /// 7.7 Tooth thickness. `xhm` is the member's own profile shift coefficient, `alpha` the mean pressure angle.
    pub(super) fn thickness(&mut self, mmn: f64, xhm: f64, delta: f64, bm: f64, alpha: f64) {
        self.smn = 0.5 * PI * mmn + 2.0 * mmn * (self.xsm + xhm * alpha.tan());
        self.smt = self.smn / bm.cos();
        self.dmn = self.dm / ((1.0 - (bm.sin() * alpha.cos()).powi(2)) * delta.cos());
        let half_angle = self.smn / self.dmn;
        self.smnc = self.dmn * half_angle.sin();
        self.hamc = self.ham + 0.5 * self.dmn * delta.cos() * (1.0 - half_angle.cos());
    }

    /// 7.8 Remaining dimensions, on a pitch cone of angle `delta` and mean cone distance `rm`.
    pub(super) fn remaining(&mut self, delta: f64, rm: f64) {
        self.re = rm + self.be;
        self.ri = rm - self.bi;
        self.de = 2.0 * self.re * delta.sin();
        self.di = 2.0 * self.ri * delta.sin();
        self.dae = self.de + 2.0 * self.hae * delta.cos();
        self.dfe = self.de - 2.0 * self.hfe * delta.cos();
        self.dai = self.di + 2.0 * self.hai * delta.cos();
        self.dfi = self.di - 2.0 * self.hfi * delta.cos();
        self.txo = self.tzm + self.be * delta.cos() - self.hae * delta.sin();
        self.txi = self.tzm - self.bi * delta.cos() - self.hai * delta.sin();
    }
}
