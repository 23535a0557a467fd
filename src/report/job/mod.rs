//! A job as text and as the build sheet.

pub(crate) mod build_sheet;
pub(crate) mod build_sheet_parts;
pub(crate) mod build_sheet_pdf;
pub(crate) mod convergence;
#[cfg(test)]
mod samples;
pub(crate) mod text;
