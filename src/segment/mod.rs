//! Compound, and the contact patch in it, on flattened flanks.

mod calibration;
pub mod compound;
pub mod film;
pub mod mask;
pub mod patch;

pub use compound::{SeenCompound, compound_on};
pub use film::{FlankFilm, film_on};
pub use patch::{FoundPatch, find_patches};
