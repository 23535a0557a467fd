//! The ring gear as a known solid, and the camera under which its flanks lie as they are seen.

pub(crate) mod camera;
pub(crate) mod fit;
pub(crate) mod gear_fit;
pub(crate) mod gear_form;
pub(crate) mod hidden_end;
pub(crate) mod known_gear;
pub(crate) mod parameters;
pub(crate) mod problem;
pub(crate) mod refit;
pub(crate) mod regular_teeth;
mod starting_poses;
