//! The whole blank as a list of ISO 23509 symbols with their values, as it is printed.

use super::Blank;
use super::member::Member;

/// One symbol: its name in ASCII, and its value in millimetres, degrees or as a plain number.
pub(crate) type Symbol = (&'static str, f64);

impl Blank {
    /// Every value, under the standard's symbol; lengths in mm, angles in degrees.
    pub(crate) fn symbols(&self) -> Vec<Symbol> {
        let (cones, g) = (&self.cones, &self.gear);
        let (p, w, c) = (&g.pinion, &g.wheel, &self.contact);
        let deg = f64::to_degrees;
        let mut list: Vec<Symbol> = vec![
            ("u", g.u),
            ("delta1", deg(cones.delta1)),
            ("delta2", deg(cones.delta2)),
            ("Rm1", cones.rm1),
            ("Rm2", cones.rm2),
            ("bm1", deg(cones.bm1)),
            ("bm2", deg(cones.bm2)),
            ("cbe2", cones.cbe2),
            ("zeta_m", deg(g.zeta_m)),
            ("zeta_mp", deg(g.zeta_mp)),
            ("ap", g.ap),
            ("m_mn", g.mmn),
            ("met2", g.met2),
            ("alpha_lim", deg(g.alpha_lim)),
            ("alpha_nD", deg(g.alpha_n[0])),
            ("alpha_nC", deg(g.alpha_n[1])),
            ("alpha_eD", deg(g.alpha_e[0])),
            ("alpha_eC", deg(g.alpha_e[1])),
            ("hmw", g.hmw),
            ("c", g.c),
            ("hm", g.hm),
            ("xhm1", g.xhm1),
            ("xsmn", g.xsmn),
            ("phi_R", deg(g.phi_root)),
            ("phi_o", deg(g.phi_face)),
            ("zeta_R", deg(g.zeta_root)),
            ("zeta_o", deg(g.zeta_face)),
            ("bp1", g.bp1),
            ("b1A", g.b1a),
            ("Re21", g.re21),
            ("Ri21", g.ri21),
            ("nu", deg(g.nu)),
            ("lam", 90.0 - deg(cones.bm2) + deg(g.nu)),
            ("rho_P0", g.rho_p0),
            ("rho_b", g.rho_b),
            ("beta_e21", deg(g.beta_e21)),
            ("beta_i21", deg(g.beta_i21)),
            ("ht1", g.ht1),
            ("jet2", g.jet2),
        ];
        if let Some([lambda, breri]) = g.method1 {
            list.push(("lambda'", deg(lambda)));
            list.push(("b_reri1", breri));
        }
        if let Some(bx) = g.bx {
            list.push(("bx", bx));
        }
        list.extend(member(p).map(|(names, value)| (names[0], value)));
        list.extend(member(w).map(|(names, value)| (names[1], value)));
        list.extend([
            ("dv1", c.dv[0]),
            ("dv2", c.dv[1]),
            ("zv1", c.zv[0]),
            ("zv2", c.zv[1]),
            ("beta_v", deg(c.beta_v)),
            ("alpha_vet", deg(c.alpha_vet)),
            ("pvet", c.pvet),
            ("gva", c.gva),
            ("eps_va", c.eps_va),
            ("bv_eff", c.bv_eff),
            ("eps_vb", c.eps_vb),
            ("eps_vg", c.eps_vg),
            ("rho_t", c.rho_t),
            ("rho_rel", c.rho_rel),
        ]);
        let t = &self.top_lands;
        list.extend([
            ("pn", t.pitch),
            ("Wm2", t.slot),
            ("sai1", t.pinion[0]),
            ("sam1", t.pinion[1]),
            ("sae1", t.pinion[2]),
            ("sai2", t.wheel[0]),
            ("sam2", t.wheel[1]),
            ("sae2", t.wheel[2]),
        ]);
        list
    }

    /// The value of one symbol, if there is such a one.
    #[cfg(test)]
    pub(crate) fn symbol(&self, name: &str) -> Option<f64> {
        self.symbols()
            .into_iter()
            .find_map(|(n, value)| (n == name).then_some(value))
    }
}

/// Values that both members have, under the pinion's and the wheel's symbol.
fn member(m: &Member) -> impl Iterator<Item = ([&'static str; 2], f64)> + use<> {
    let deg = f64::to_degrees;
    [
        (["dm1", "dm2"], m.dm),
        (["tzm1", "tzm2"], m.tzm),
        (["tz1", "tz2"], m.tz),
        (["ham1", "ham2"], m.ham),
        (["hfm1", "hfm2"], m.hfm),
        (["delta_a1", "delta_a2"], deg(m.delta_a)),
        (["delta_f1", "delta_f2"], deg(m.delta_f)),
        (["theta_a1", "theta_a2"], deg(m.theta_a)),
        (["theta_f1", "theta_f2"], deg(m.theta_f)),
        (["tzF1", "tzF2"], m.tz_face),
        (["tzR1", "tzR2"], m.tz_root),
        (["b1", "b2"], m.b),
        (["be1", "be2"], m.be),
        (["bi1", "bi2"], m.bi),
        (["Re1", "Re2"], m.re),
        (["Ri1", "Ri2"], m.ri),
        (["de1", "de2"], m.de),
        (["di1", "di2"], m.di),
        (["beta_e1", "beta_e2"], deg(m.beta_e)),
        (["beta_i1", "beta_i2"], deg(m.beta_i)),
        (["hae1", "hae2"], m.hae),
        (["hfe1", "hfe2"], m.hfe),
        (["he1", "he2"], m.hae + m.hfe),
        (["hai1", "hai2"], m.hai),
        (["hfi1", "hfi2"], m.hfi),
        (["hi1", "hi2"], m.hai + m.hfi),
        (["xsm1", "xsm2"], m.xsm),
        (["smn1", "smn2"], m.smn),
        (["smt1", "smt2"], m.smt),
        (["dmn1", "dmn2"], m.dmn),
        (["smnc1", "smnc2"], m.smnc),
        (["hamc1", "hamc2"], m.hamc),
        (["dae1", "dae2"], m.dae),
        (["dfe1", "dfe2"], m.dfe),
        (["dai1", "dai2"], m.dai),
        (["dfi1", "dfi2"], m.dfi),
        (["txo1", "txo2"], m.txo),
        (["txi1", "txi2"], m.txi),
    ]
    .into_iter()
}
