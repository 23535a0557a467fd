//! Compound, and the contact patch in it, on flattened flanks.

mod calibration;
pub mod compound;
pub mod mask;
pub mod patch;
pub mod patch_probability;

pub use compound::{SeenCompound, compound_on};
pub use patch::{FoundPatch, find_patches};
pub use patch_probability::{PatchProbability, segment_flanks};
