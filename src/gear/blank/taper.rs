//! Addendum and dedendum angle of the wheel by the kind of taper (ISO 23509, Annex C.5).

use super::input::BlankInput;
use super::member::Member;
use super::pitch_cones::PitchCones;
use crate::schema::Taper;
use std::f64::consts::PI;

/// Sums of the dedendum angles of both members, radians.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct TaperSums {
    /// Σθ_fS, standard.
    pub standard: f64,
    /// Σθ_fC, constant slot width.
    pub duplex: f64,
    /// Σθ_fM, the smaller of duplex and 1.3 times standard.
    pub modified: f64,
}

impl TaperSums {
    /// The sums for a wheel of these mean sizes (mm, radians).
    pub(crate) fn new(sizes: &TaperSizes) -> Self {
        let s = sizes;
        let standard = (s.hfm1 / s.rm2).atan() + (s.hfm2 / s.rm2).atan();
        let duplex = 0.5 * PI * s.met2 / (s.re2 * s.alpha_n.tan() * s.bm2.cos())
            * (1.0 - s.rm2 * s.bm2.sin() / s.rc0);
        Self {
            standard,
            duplex,
            modified: duplex.min(1.3 * standard),
        }
    }
}

/// What the taper depends on. Lengths in millimetres, angles in radians.
#[derive(Debug, Clone, Copy)]
pub(crate) struct TaperSizes {
    /// h_fm1, pinion mean dedendum.
    pub hfm1: f64,
    /// h_fm2, wheel mean dedendum.
    pub hfm2: f64,
    /// R_m2.
    pub rm2: f64,
    /// R_e2.
    pub re2: f64,
    /// m_et2.
    pub met2: f64,
    /// α_n, mean of both flanks.
    pub alpha_n: f64,
    /// β_m2.
    pub bm2: f64,
    /// r_c0.
    pub rc0: f64,
}

/// θ_a2 and θ_f2.
pub(super) fn taper_angles(
    input: &BlankInput,
    cones: &PitchCones,
    wheel: &Member,
    hmw: f64,
    alpha_n: f64,
) -> [f64; 2] {
    let c = wheel.hfm + wheel.ham - hmw;
    let sizes = TaperSizes {
        hfm1: wheel.ham + c,
        hfm2: wheel.hfm,
        rm2: cones.rm2,
        re2: wheel.re,
        met2: 2.0 * wheel.re * cones.delta2.sin() / f64::from(input.z2),
        alpha_n,
        bm2: cones.bm2,
        rc0: input.rc0,
    };
    let sums = TaperSums::new(&sizes);
    let shared = |sum: f64| {
        let theta_a2 = sum * wheel.ham / hmw;
        [theta_a2, sum - theta_a2]
    };
    match input.taper {
        Taper::Uniform => [0.0, 0.0],
        Taper::Standard => [
            (sizes.hfm1 / sizes.rm2).atan(),
            (sizes.hfm2 / sizes.rm2).atan(),
        ],
        Taper::Duplex => shared(sums.duplex),
        Taper::Modified => shared(sums.modified),
    }
}
