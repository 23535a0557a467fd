//! The ring gear as a known solid, and the camera under which its flanks lie as they are seen.

pub mod camera;
pub mod fit;
pub mod gear_fit;
pub mod gear_form;
mod parameters;
pub mod problem;
pub mod regular_teeth;
mod starting_poses;
