//! Where each tooth flank lies in the photo.

mod coordinate_map;
pub mod find;
mod marked_flank;
pub mod marks;
pub mod occlusion;
pub mod outline;
pub mod pose;
mod proposal;
pub mod rectify;
mod tip_edge;

pub use marked_flank::MarkedFlank;
pub use outline::Outline;
pub use pose::fit::GearFit;
pub use rectify::FlankMap;
