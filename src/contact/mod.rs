//! The contact of a ring gear with its pinion: gap field, patch, transmission error, backlash.
//!
//! The pinion is the exact conjugate of the ring gear less an ease-off; a misalignment of the pinion
//! against the ring gear changes the gap along the flank's normal and takes the ease-off, which is cut into the
//! pinion, along. Compound is wiped where the gap
//! that is left at some mesh position is less than the marking film.

pub(crate) mod backlash;
pub(crate) mod ease_off;
mod mesh;
pub(crate) mod patch;
mod remedy;
mod run_out;
pub(crate) mod sensitivity;
mod undercut;

use crate::frames::{FlankPoint, Side};
use crate::gear::GearError;
use crate::gear::dimensions::Dimensions;
use crate::gear::flank::{FlankGrid, Surface};
use crate::gear::pitch::PitchPair;
use crate::gear::set::GearSet;
use crate::schema::FlankForm;
pub use ease_off::EaseOff;
use mesh::FlankMesh;
pub(crate) use mesh::FlankTable;
use nalgebra::Vector3;
pub(crate) use patch::{Field, Patch};
use std::fmt;

/// Columns of the usual grid, toe to heel.
pub(crate) const USUAL_COLUMNS: usize = 61;
/// Rows of the usual grid, root to tip.
pub(crate) const USUAL_ROWS: usize = 31;

/// Why no contact can be computed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ContactError {
    /// The gear set itself cannot be made.
    #[error(transparent)]
    Gear(#[from] GearError),
    /// Part of the flank never touches a conjugate pinion.
    #[error(
        "{share:.0}% of the {side} flank has no conjugate contact: no pinion can touch it there; {advice}"
    )]
    NoConjugate {
        /// Which flank.
        side: &'static str,
        /// Percentage of the flank's points.
        share: f64,
        /// What would work.
        advice: String,
    },
    /// The conjugate pinion would be undercut.
    #[error(
        "{share:.0}% of the {side} flank would undercut the pinion: the tooth that should meet it there is cut away; {advice}"
    )]
    Undercut {
        /// Which flank.
        side: &'static str,
        /// Percentage of the flank's points.
        share: f64,
        /// What would work.
        advice: String,
    },
    /// One pair of teeth lets go before the next one touches.
    #[error(
        "the {side} flank stays in mesh for {ratio:.2} of a pitch only: the next tooth would not have come in; {advice}"
    )]
    ContactRatio {
        /// Which flank.
        side: &'static str,
        /// Pitches one tooth stays in mesh.
        ratio: f64,
        /// What would work.
        advice: String,
    },
}

impl From<ContactError> for crate::Error {
    fn from(error: ContactError) -> Self {
        Self::of(crate::error::ErrorKind::Input, error)
    }
}

/// How far pinion and ring gear stand from their right places. Millimetres and radians.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
#[non_exhaustive]
pub struct Misalignment {
    /// + = pinion away from the ring gear along its own axis.
    pub pinion_mm: f64,
    /// + = ring gear away from the pinion (more backlash).
    pub ring_mm: f64,
    /// + = axes further apart than the hypoid offset.
    pub offset_mm: f64,
    /// + = the shaft angle is larger than the card's, radians.
    pub shaft_angle: f64,
}

/// Contact of both flanks in one state of assembly.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct State {
    /// The flank that drives the vehicle forward.
    pub drive: FlankContact,
    /// The other flank.
    pub coast: FlankContact,
    /// Backlash that the misalignment adds, at the ring gear's outer diameter, in the plane of
    /// rotation, mm.
    pub backlash_change_mm: f64,
}

impl State {
    /// The contact of one side.
    pub fn side(&self, side: Side) -> &FlankContact {
        match side {
            Side::Drive => &self.drive,
            Side::Coast => &self.coast,
        }
    }
}

/// Contact of one flank in one state of assembly.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct FlankContact {
    /// The patch; `None` when nothing of it is on the flank.
    pub patch: Option<Patch>,
    /// How far compound is wiped, point by point.
    pub field: Field,
    /// What is left between the flanks at each of the field's points when it comes nearest to
    /// touching, mm; endless at a corner that no pinion can touch.
    pub clearance_mm: Vec<f64>,
    /// Lag of the ring gear over one pitch, radians of its rotation, at equal steps.
    pub transmission_error: Vec<f64>,
    /// Least lag over the pitch, radians of the ring gear's rotation: this flank's part of the
    /// backlash.
    pub least_lag: f64,
}

impl FlankContact {
    /// Peak-to-peak transmission error, radians of the ring gear's rotation.
    pub fn transmission_error_range(&self) -> f64 {
        let (low, high) = self
            .transmission_error
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &t| {
                (l.min(t), h.max(t))
            });
        high - low
    }
}

/// One gear set, set up: flank grids with normals and the mesh position of every point.
#[derive(Clone)]
pub struct Model {
    dimensions: Dimensions,
    pair: PitchPair,
    flanks: [FlankMesh; 2],
}

impl fmt::Debug for Model {
    /// The sizes only: the grids run to megabytes.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Model")
            .field("dimensions", &self.dimensions)
            .field("pair", &self.pair)
            .finish_non_exhaustive()
    }
}

impl Model {
    /// Sets a gear set up on the usual grid.
    ///
    /// # Errors
    /// [`ContactError`] when the set cannot be made or cannot mesh.
    pub(crate) fn new(set: &GearSet) -> Result<Self, ContactError> {
        Self::with_grid(set, USUAL_COLUMNS, USUAL_ROWS)
    }

    /// Sets a gear set up on a grid of `nu` × `nv` points, each at least 5.
    ///
    /// # Errors
    /// As [`Model::new`].
    pub(crate) fn with_grid(set: &GearSet, nu: usize, nv: usize) -> Result<Self, ContactError> {
        Self::set_up(set, nu, nv).map_err(|error| remedy::with_advice(error, set))
    }

    fn set_up(set: &GearSet, nu: usize, nv: usize) -> Result<Self, ContactError> {
        let dimensions = Dimensions::new(set)?;
        let pair = PitchPair::solve(dimensions.pitch_input())?;
        let mesh = |side: Side| {
            let surface = Surface::new(&dimensions, &pair, form_of(&dimensions, side));
            let grid = FlankGrid::new(&dimensions, &pair, &surface, nu.max(5), nv.max(5))?;
            FlankMesh::new(&grid, &pair, &dimensions, side)
        };
        let flanks = [mesh(Side::Drive)?, mesh(Side::Coast)?];
        Ok(Self {
            dimensions,
            pair,
            flanks,
        })
    }

    /// The set's sizes, nothing left out.
    pub(crate) fn dimensions(&self) -> &Dimensions {
        &self.dimensions
    }

    /// The pitch cones and axes.
    pub(crate) fn pair(&self) -> &PitchPair {
        &self.pair
    }

    /// Length of a side's flank along the tooth at half height, and its height along the profile at
    /// half length, mm.
    pub fn flank_size_mm(&self, side: Side) -> [f64; 2] {
        let index = usize::from(side == Side::Coast);
        self.flanks[index].size_mm
    }

    /// The card's ease-off of drive and coast, centred on the flank, and its film in mm; what the
    /// card leaves out is usual.
    pub fn defaults(&self) -> ([EaseOff; 2], f64) {
        let ease_off = EaseOff {
            length_mm: self.dimensions.crowning_length_mm,
            height_mm: self.dimensions.crowning_height_mm,
            bias_mm: 0.0,
            third_length_mm: 0.0,
            third_height_mm: 0.0,
            centre: FlankPoint::new(0.5, 0.5),
        };
        ([ease_off; 2], self.dimensions.film_mm)
    }

    /// The contact of both flanks for a misalignment, the ease-off of drive and coast, and a film
    /// (mm, above 0).
    pub fn state(
        &self,
        misalignment: &Misalignment,
        ease_off: &[EaseOff; 2],
        film_mm: f64,
    ) -> State {
        let (shift, turn) = self.displacement(misalignment);
        let [drive, coast] =
            [0, 1].map(|i| self.flanks[i].contact(&ease_off[i], &shift, &turn, film_mm));
        let backlash_change_mm =
            (drive.least_lag + coast.least_lag) * 0.5 * self.dimensions.ring_diameter_mm;
        State {
            drive,
            coast,
            backlash_change_mm,
        }
    }

    /// One flank's mesh as plain numbers, for an ease-off.
    pub(crate) fn flank_table(&self, side: Side, ease_off: &EaseOff) -> FlankTable {
        let one = |pinion_mm, ring_mm| {
            let unit = Misalignment {
                pinion_mm,
                ring_mm,
                ..Misalignment::default()
            };
            self.displacement(&unit).0
        };
        let index = usize::from(side == Side::Coast);
        self.flanks[index].table(ease_off, [&one(1.0, 0.0), &one(0.0, 1.0)])
    }

    /// The displacement of the pinion against the ring gear: shift of the crossing point of its axis,
    /// and turn about that point.
    fn displacement(&self, m: &Misalignment) -> (Vector3<f64>, Vector3<f64>) {
        let shift = self.pair.pinion_axis * m.pinion_mm - Vector3::z() * m.ring_mm
            + self.pair.offset_direction * m.offset_mm;
        // A larger shaft angle turns the pinion's axis away from the ring gear's back.
        let turn = self.pair.offset_direction * m.shaft_angle;
        (shift, turn)
    }
}

/// The lengthwise form of the flank on a side.
pub(crate) fn form_of(dimensions: &Dimensions, side: Side) -> FlankForm {
    match (side, dimensions.drives_on) {
        (Side::Drive, form) => form,
        (Side::Coast, FlankForm::Convex) => FlankForm::Concave,
        (Side::Coast, FlankForm::Concave) => FlankForm::Convex,
    }
}

#[cfg(test)]
mod tests;
