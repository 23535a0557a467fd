//! Where each tooth flank lies in the photo.

pub mod find;
pub mod gear_fit;
pub mod gear_form;
mod least_squares;
pub mod marks;
pub mod outline;
pub mod rectify;

pub use gear_fit::{GearFit, MarkedFlank};
pub use outline::Outline;
pub use rectify::FlankMap;
