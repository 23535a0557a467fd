//! Photo-like pictures of painted ring-gear teeth: the contact model's own flanks and patches, seen
//! from a place beside a bench. The same seed gives the same picture.

mod camera;
mod depth;
pub(super) mod noise;
mod shade;
mod shot;
mod solid;
mod view;
mod whole_flanks;

use crate::contact::{ContactError, FlankContact, Model, Patch, State};
use crate::flank::MarkedFlank;
use crate::frames::Side;
use image::RgbImage;
use shade::Scene;
pub(crate) use shot::{Compound, Mistake, Shot};
use solid::GearSolid;
use view::View;
use whole_flanks::whole_flanks;

/// A picture with its truth.
#[derive(Debug, Clone)]
pub(crate) struct Rendered {
    /// The picture.
    pub picture: RgbImage,
    /// Flanks that are seen whole, nearest the middle first, projected by the picture's own camera.
    pub marks: Vec<MarkedFlank>,
    /// The contact model's patch; `None` when nothing of it is on the flank or in the picture.
    pub patch: Option<Patch>,
}

/// A gear set's teeth, ready for any number of photos.
pub(crate) struct Studio {
    solid: GearSolid,
}

impl Studio {
    /// Cuts the teeth.
    ///
    /// # Errors
    /// A gear set whose teeth cannot be cut.
    pub(crate) fn new(model: &Model) -> Result<Self, ContactError> {
        Ok(Self {
            solid: GearSolid::new(model)?,
        })
    }

    /// Renders one photo.
    ///
    /// # Errors
    /// As [`Studio::new`].
    pub(crate) fn render(
        &self,
        model: &Model,
        state: &State,
        shot: &Shot,
    ) -> Result<Rendered, ContactError> {
        let view = View::choose(&self.solid, model, shot);
        let contacts: [&FlankContact; 2] = Side::BOTH.map(|side| state.side(side));
        let scene = Scene::new(&self.solid, &view, contacts, shot);
        let picture = scene.picture();
        let marks = whole_flanks(&view, &self.solid, &scene, shot.side);
        let shown = shot.mistake != Some(Mistake::NotRolled);
        Ok(Rendered {
            picture,
            marks,
            patch: state.side(shot.side).patch.filter(|_| shown),
        })
    }
}

#[cfg(test)]
mod tests;
