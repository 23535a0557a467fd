//! Where each tooth flank lies in the photo.

pub mod camera;
mod fields;
pub mod find;
pub mod gear_fit;
pub mod gear_form;
mod least_squares;
mod marked_flank;
pub mod marks;
pub mod next_tooth;
pub mod outline;
mod proposal;
pub mod rectify;
mod regular_teeth;
mod sights;
mod starting_poses;
mod tip_edge;

pub use gear_fit::GearFit;
pub use marked_flank::MarkedFlank;
pub use outline::Outline;
pub use rectify::FlankMap;
