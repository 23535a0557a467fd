//! Compound, and the contact patch in it, on flattened flanks.

pub mod compound;
pub mod patch_probability;
pub mod mask;
pub mod patch;

pub use compound::{SeenCompound, compound_on};
pub use patch_probability::{PatchProbability, segment_flanks};
pub use patch::{FoundPatch, find_patches};
