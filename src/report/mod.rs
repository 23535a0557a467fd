//! Results → bytes, one file per format.

pub mod advice_text;
pub mod canvas;
pub mod error_plot;
pub mod flank_picture;
pub mod new_file;
pub mod simulation;
pub mod simulation_text;
