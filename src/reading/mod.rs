//! Patches become centres and extents, their mean with its uncertainty, and a status with reasons.

mod calibration;
mod combine;
mod coverage;
pub mod image_quality;
mod judge;
mod measure_patches;
mod numbers;
mod read_photo;

pub(crate) use calibration::COUNTED_CONFIDENCE;
pub use combine::{Combined, ToothPatch, combine};
pub use coverage::{HALF_WIDTH_90, OutlineSource, deviation};
pub use measure_patches::{FlankContext, OutlinedReading, read_outlined, unreadable};
pub use numbers::patch_numbers;
pub use read_photo::{ReadOptions, read_photo};
