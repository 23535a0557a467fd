//! Where each tooth flank lies in the photo.

mod calibration;
mod coordinate_map;
mod correspondence;
pub(crate) mod find;
mod flank_edges;
mod hidden_ends;
mod marked_flank;
pub(crate) mod marks;
pub(crate) mod occlusion;
pub(crate) mod outline;
pub(crate) mod pose;
mod proposal;
pub(crate) mod rectify;
mod seen_cutting;

pub(crate) use coordinate_map::Window;
pub(crate) use find::FitScatter;
pub use marked_flank::MarkedFlank;
pub(crate) use outline::Outline;
pub(crate) use pose::gear_fit::GearFit;
pub(crate) use pose::hidden_end::HiddenEnd;
pub use pose::known_gear::KnownGear;
pub(crate) use rectify::FlankMap;
