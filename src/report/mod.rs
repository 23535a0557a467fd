//! Results → bytes, one file per format.

pub mod advice_text;
pub mod canvas;
pub mod error_plot;
pub mod files;
pub mod flank_picture;
pub mod flank_view;
pub mod new_file;
pub mod overlay;
mod patch_shape;
pub mod pictures;
mod raster;
pub mod reading_page;
pub mod reading_text;
pub mod simulation;
pub mod simulation_text;
mod theme;

/// Why a picture could not be made.
#[derive(Debug, thiserror::Error)]
#[error("the picture of {of} could not be drawn: {detail}")]
pub struct ReportError {
    /// What it is a picture of.
    pub of: String,
    /// What went wrong.
    pub detail: String,
}
