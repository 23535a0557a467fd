//! Blank geometry of bevel and hypoid gears by ISO 23509: pitch cones, tooth depths, cones, face
//! widths, spiral angles, tooth thicknesses; pinion is member 1, ring gear (wheel) member 2.
//!
//! Symbols are those of the standard; lengths in millimetres, angles in radians.

pub(crate) mod contact_ratio;
mod gear_dimensions;
mod input;
mod member;
mod pitch_cones;
mod spiral;
mod symbols;
pub(crate) mod taper;
pub(crate) mod top_lands;

pub(crate) use contact_ratio::ContactRatio;
pub(crate) use gear_dimensions::GearDimensions;
pub(crate) use input::{Backlash, BlankInput, Depth, Method};
pub(crate) use pitch_cones::PitchCones;
pub(crate) use top_lands::TopLands;

use super::GearError;

/// A whole blank: pitch cones and everything that follows from them.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Blank {
    /// What it was computed from.
    pub input: BlankInput,
    /// Clause 6: the pitch cones.
    pub cones: PitchCones,
    /// Clause 7: the gear dimensions.
    pub gear: GearDimensions,
    /// Virtual cylindrical gears and their contact ratios (ISO 10300), drive flank.
    pub contact: ContactRatio,
    /// Thickness of the teeth at their tips.
    pub top_lands: TopLands,
}

impl Blank {
    /// Computes the blank.
    ///
    /// # Errors
    /// [`GearError`] when a size is impossible or the method finds no pitch cones.
    pub(crate) fn new(input: &BlankInput) -> Result<Self, GearError> {
        input.check()?;
        let cones = PitchCones::new(input)?;
        Self::on(input, cones)
    }

    /// The blank on pitch cones that are already known.
    ///
    /// # Errors
    /// [`GearError`] when no tooth fits on these cones.
    pub(crate) fn on(input: &BlankInput, cones: PitchCones) -> Result<Self, GearError> {
        let gear = GearDimensions::new(input, &cones)?;
        let contact = ContactRatio::new(input, &cones, &gear);
        let top_lands = TopLands::new(input, &cones, &gear);
        Ok(Self {
            input: input.clone(),
            cones,
            gear,
            contact,
            top_lands,
        })
    }
}

#[cfg(test)]
mod tests;
