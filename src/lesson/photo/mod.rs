//! Photo-like pictures of painted ring-gear teeth: the contact model's own flanks and patches, seen
//! from a place beside a bench. The same seed gives the same picture.

mod camera;
mod depth;
pub(super) mod noise;
mod shade;
mod solid;
mod view;

use crate::contact::{ContactError, FlankContact, Model, Patch, State};
use crate::flank::MarkedFlank;
use crate::frames::Side;
use image::RgbImage;
use shade::Scene;
pub use shade::{Compound, Mistake};
use solid::GearSolid;
use view::View;

/// What to photograph, and how.
#[derive(Debug, Clone, Copy)]
pub struct Shot {
    /// The flank that is turned to the camera.
    pub side: Side,
    /// Width and height, pixels.
    pub size: (u32, u32),
    /// What decides viewpoint, lamp, brush strokes and compound.
    pub seed: u64,
    /// The compound; by the seed when `None`.
    pub compound: Option<Compound>,
    /// What the photographer or the painter does wrong, if anything.
    pub mistake: Option<Mistake>,
}

impl Shot {
    /// A good photo of a side.
    pub const fn new(side: Side, size: (u32, u32), seed: u64) -> Self {
        Self {
            side,
            size,
            seed,
            compound: None,
            mistake: None,
        }
    }
}

/// A picture with its truth.
#[derive(Debug, Clone)]
pub struct Rendered {
    /// The picture.
    pub picture: RgbImage,
    /// Flanks that are seen whole, nearest the middle first, projected by the picture's own camera.
    pub marks: Vec<MarkedFlank>,
    /// The contact model's patch; `None` when nothing of it is on the flank or in the picture.
    pub patch: Option<Patch>,
}

/// Renders one photo of a gear set in a state of assembly.
///
/// # Errors
/// A gear set whose teeth cannot be cut.
pub fn render(model: &Model, state: &State, shot: &Shot) -> Result<Rendered, ContactError> {
    Studio::new(model)?.render(model, state, shot)
}

/// A gear set's teeth, ready for any number of photos.
pub struct Studio {
    solid: GearSolid,
}

impl Studio {
    /// Cuts the teeth.
    ///
    /// # Errors
    /// As [`render`].
    pub fn new(model: &Model) -> Result<Self, ContactError> {
        Ok(Self {
            solid: GearSolid::new(model)?,
        })
    }

    /// Renders one photo.
    ///
    /// # Errors
    /// As [`render`].
    pub fn render(
        &self,
        model: &Model,
        state: &State,
        shot: &Shot,
    ) -> Result<Rendered, ContactError> {
        let view = View::choose(&self.solid, model, shot);
        let contacts: [&FlankContact; 2] = Side::BOTH.map(|side| state.side(side));
        let scene = Scene::new(&self.solid, &view, contacts, shot);
        let picture = scene.picture();
        let marks = view.whole_flanks(&self.solid, &scene, shot.side);
        let shown = !matches!(shot.mistake, Some(Mistake::NotRolled | Mistake::NoCompound));
        Ok(Rendered {
            picture,
            marks,
            patch: state.side(shot.side).patch.filter(|_| shown),
        })
    }
}

#[cfg(test)]
mod tests;
