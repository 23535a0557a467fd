//! Compound against steel, and the contact patch inside it, on flattened flanks.

pub mod colours;
mod field;
mod lda;
mod likely;
pub mod morphology;
pub mod patch;

pub use colours::{Colours, saturation, separate, without_brightness};
pub use likely::likely_patches;
pub use patch::{FoundPatch, find_patches};
