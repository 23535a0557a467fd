//! Thickness of the teeth at their tips and width of the wheel's slot at its root (the quantities of
//! AGMA 929), each section taken as an involute gear in the normal section.

use super::gear_dimensions::GearDimensions;
use super::input::BlankInput;
use super::pitch_cones::PitchCones;
use std::f64::consts::PI;

/// Top lands and slot width, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct TopLands {
    /// p_n, mean normal pitch.
    pub pitch: f64,
    /// W_m2, width of the wheel's slot at its root in the mean normal section, before the backlash is
    /// taken off the wheel's teeth.
    pub slot: f64,
    /// Pinion's normal top land at the inner end, the middle and the outer end; below 0 the tooth is
    /// pointed.
    pub pinion: [f64; 3],
    /// Wheel's, likewise.
    pub wheel: [f64; 3],
}

impl TopLands {
    /// The slot is taken as wide at both ends as in the middle, as one pair of blades leaves it; the
    /// pinion fills it, and the backlash is taken off the wheel's teeth in proportion to the pitch.
    pub(super) fn new(input: &BlankInput, cones: &PitchCones, gear: &GearDimensions) -> Self {
        let alpha = 0.5 * (gear.alpha_n[0] + gear.alpha_n[1]);
        let (p, w) = (&gear.pinion, &gear.wheel);
        let normal_pitch = |cone: f64, beta: f64| {
            2.0 * PI * cone * cones.delta2.sin() * beta.cos() / f64::from(input.z2)
        };
        let pitch = normal_pitch(cones.rm2, cones.bm2);
        let slot = p.smn - 2.0 * w.hfm * alpha.tan();
        let play = pitch - w.smn - p.smn;
        let lands = |cone2: f64, hf2: f64, ha: [f64; 2], beta2: f64, cone1: f64, beta1: f64| {
            let here = normal_pitch(cone2, beta2);
            let pinion = slot + 2.0 * hf2 * alpha.tan();
            let wheel = here - pinion - play * here / pitch;
            [
                tip_thickness(
                    pinion,
                    virtual_radius(cone1, cones.delta1, beta1, alpha),
                    ha[0],
                    alpha,
                ),
                tip_thickness(
                    wheel,
                    virtual_radius(cone2, cones.delta2, beta2, alpha),
                    ha[1],
                    alpha,
                ),
            ]
        };
        let inner = lands(w.ri, w.hfi, [p.hai, w.hai], w.beta_i, p.ri, p.beta_i);
        let mean = lands(
            cones.rm2,
            w.hfm,
            [p.ham, w.ham],
            cones.bm2,
            cones.rm1,
            cones.bm1,
        );
        let outer = lands(w.re, w.hfe, [p.hae, w.hae], w.beta_e, p.re, p.beta_e);
        Self {
            pitch,
            slot,
            pinion: [inner[0], mean[0], outer[0]],
            wheel: [inner[1], mean[1], outer[1]],
        }
    }
}

/// Radius of the virtual gear in the normal section, as d_mn of ISO 23509.
fn virtual_radius(cone: f64, delta: f64, beta: f64, alpha: f64) -> f64 {
    cone * delta.tan() / (1.0 - (beta.sin() * alpha.cos()).powi(2))
}

/// Thickness at the tip of an involute tooth whose thickness on the reference circle is given.
fn tip_thickness(thickness: f64, radius: f64, addendum: f64, alpha: f64) -> f64 {
    let involute = |a: f64| a.tan() - a;
    let tip = radius + addendum;
    let tip_alpha = (radius * alpha.cos() / tip).acos();
    tip * (thickness / radius - 2.0 * (involute(tip_alpha) - involute(alpha)))
}
