//! Patches become centres and extents, their mean with its uncertainty, and a status with reasons.

mod calibration;
mod combine;
mod coverage;
#[cfg(test)]
mod fixture_photos;
pub(crate) mod image_quality;
mod judge;
mod measure_patches;
mod numbers;
mod part_of_photo;
mod passes;
mod patch_cells;
mod picture_quality;
mod read_photo;
mod set_of_photos;

pub(crate) use calibration::COUNTED_CONFIDENCE;
pub(crate) use coverage::{HALF_WIDTH_90, OutlineSource, deviation};
pub use measure_patches::OutlinedReading;
#[cfg(all(test, feature = "cli"))]
pub(crate) use measure_patches::{FlankContext, unreadable};
pub use read_photo::{ReadOptions, read_photo};
pub(crate) use set_of_photos::{ONE_PHOTO, doubt_set, shows_both};
