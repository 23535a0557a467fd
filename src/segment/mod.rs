//! Compound, and the contact patch in it, on flattened flanks.

mod calibration;
pub(crate) mod compound;
pub(crate) mod mask;
pub(crate) mod patch;
pub(crate) mod patch_probability;

pub(crate) use compound::{SeenCompound, compound_on};
pub(crate) use patch::{FoundPatch, find_patches};
pub(crate) use patch_probability::{Shapes, segment_flanks};
