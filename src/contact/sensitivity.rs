//! How much each misalignment and each property of the pinion moves the patch and the backlash.

use super::{EaseOff, Misalignment, Model, Patch, State};
use crate::frames::Side;

/// Something that changes the patch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    /// Pinion withdrawn along its axis.
    Pinion,
    /// Ring gear backed off.
    Ring,
    /// Offset larger.
    Offset,
    /// Shaft angle larger.
    ShaftAngle,
    /// Lengthwise crowning larger.
    CrowningLength,
    /// Profile crowning larger.
    CrowningHeight,
    /// Bias larger.
    Bias,
    /// Film thicker.
    Film,
}

impl Cause {
    /// All of them, misplacements first.
    pub const ALL: [Self; 8] = [
        Self::Pinion,
        Self::Ring,
        Self::Offset,
        Self::ShaftAngle,
        Self::CrowningLength,
        Self::CrowningHeight,
        Self::Bias,
        Self::Film,
    ];

    /// The word it is printed with.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Pinion => "pinion",
            Self::Ring => "ring",
            Self::Offset => "offset",
            Self::ShaftAngle => "shaft_angle",
            Self::CrowningLength => "crowning_length",
            Self::CrowningHeight => "crowning_height",
            Self::Bias => "bias",
            Self::Film => "film",
        }
    }

    /// Whether it is an angle; the others are lengths.
    pub const fn is_angle(self) -> bool {
        matches!(self, Self::ShaftAngle)
    }

    /// Adds `by` (mm or radians) of this cause to an assembly.
    pub fn add(
        self,
        by: f64,
        misalignment: &mut Misalignment,
        ease_off: &mut [EaseOff; 2],
        film_mm: &mut f64,
    ) {
        match self {
            Self::Pinion => misalignment.pinion_mm += by,
            Self::Ring => misalignment.ring_mm += by,
            Self::Offset => misalignment.offset_mm += by,
            Self::ShaftAngle => misalignment.shaft_angle += by,
            Self::CrowningLength => ease_off.iter_mut().for_each(|e| e.length_mm += by),
            Self::CrowningHeight => ease_off.iter_mut().for_each(|e| e.height_mm += by),
            Self::Bias => ease_off.iter_mut().for_each(|e| e.bias_mm += by),
            Self::Film => *film_mm += by,
        }
    }

    /// Half the step of the central difference, mm (radians for the shaft angle).
    ///
    /// A patch's centre is smooth over moves of some hundredths; the sampled field carries noise of
    /// about 1e-5 of the flank. At 0.01 mm that noise is 1e-3 per mm, the curvature of the centre's
    /// path less than that. Crowning and film are a tenth as large as moves, and so is their step.
    const fn step(self) -> f64 {
        match self {
            Self::Pinion | Self::Ring | Self::Offset => 0.01,
            Self::ShaftAngle => 1e-4,
            Self::CrowningLength | Self::CrowningHeight | Self::Bias => 0.001,
            Self::Film => 0.0003,
        }
    }
}

/// Change of one flank's patch per millimetre (per radian for the shaft angle) of a cause.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PatchRate {
    /// Of the centre along the length, share of the flank.
    pub length: f64,
    /// Of the centre along the height, share of the flank.
    pub height: f64,
    /// Of the extent along the length.
    pub extent_length: f64,
    /// Of the extent along the height.
    pub extent_height: f64,
    /// Of the lean, radians.
    pub lean: f64,
}

/// What one cause does, per millimetre (per radian for the shaft angle).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sensitivity {
    /// What is changed.
    pub cause: Cause,
    /// Drive and coast flank; `None` where the patch is lost within the step.
    pub sides: [Option<PatchRate>; 2],
    /// Of the backlash at the ring gear's outer diameter, in the plane of rotation, mm.
    pub backlash: f64,
}

impl Model {
    /// The sensitivities of a state, by central differences of the model.
    pub fn sensitivities(
        &self,
        misalignment: &Misalignment,
        ease_off: &[EaseOff; 2],
        film_mm: f64,
    ) -> Vec<Sensitivity> {
        Cause::ALL
            .into_iter()
            .map(|cause| {
                let h = cause.step();
                let at = |by: f64| {
                    let (mut m, mut e, mut film) = (*misalignment, *ease_off, film_mm);
                    cause.add(by, &mut m, &mut e, &mut film);
                    self.state(&m, &e, film)
                };
                difference(cause, &at(-h), &at(h), 2.0 * h)
            })
            .collect()
    }
}

fn difference(cause: Cause, before: &State, after: &State, step: f64) -> Sensitivity {
    let rate = |side: Side| {
        let (a, b) = (before.side(side).patch?, after.side(side).patch?);
        let of = |value: fn(&Patch) -> f64| (value(&b) - value(&a)) / step;
        Some(PatchRate {
            length: of(|p| p.centre.length),
            height: of(|p| p.centre.height),
            extent_length: of(|p| p.extent.length),
            extent_height: of(|p| p.extent.height),
            lean: of(|p| p.lean),
        })
    };
    Sensitivity {
        cause,
        sides: Side::BOTH.map(rate),
        backlash: (after.backlash_change_mm - before.backlash_change_mm) / step,
    }
}
