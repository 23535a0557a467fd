//! Results → bytes, one file per format.

pub mod advice_text;
pub mod batch_csv;
pub mod batch_lines;
pub mod batch_photo;
pub mod batch_sheet;
pub mod batch_text;
pub mod build_sheet;
mod build_sheet_parts;
pub mod build_sheet_pdf;
pub mod canvas;
pub mod convergence;
pub mod error_plot;
pub mod files;
pub mod flank_picture;
pub mod flank_view;
pub mod job_text;
pub mod overlay;
pub mod page;
mod patch_shape;
pub mod pdf;
mod pdf_pen;
pub mod pictures;
pub mod raster;
pub mod reading_page;
pub mod reading_text;
pub mod reply;
pub mod setup_text;
pub mod simulation;
pub mod simulation_text;
mod theme;

/// A picture that could not be drawn.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the picture cannot be drawn: {0}")]
pub struct PictureError(String);

impl PictureError {
    pub(crate) fn new(cause: impl std::fmt::Display) -> Self {
        Self(cause.to_string())
    }
}
