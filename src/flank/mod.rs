//! Where each tooth flank lies in the photo.

mod calibration;
mod coordinate_map;
mod correspondence;
pub mod find;
mod marked_flank;
pub mod marks;
pub mod occlusion;
pub mod outline;
pub mod pose;
mod proposal;
pub mod rectify;
mod tip_edge;

pub use correspondence::Correspondence;
pub use marked_flank::MarkedFlank;
pub use outline::Outline;
pub use pose::gear_fit::GearFit;
pub use rectify::FlankMap;
