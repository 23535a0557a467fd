//! A job as text and as the build sheet.

pub mod build_sheet;
pub mod build_sheet_parts;
pub mod build_sheet_pdf;
pub mod convergence;
pub mod text;
