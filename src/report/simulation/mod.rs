//! A simulation as numbers, text, flank pictures and error plot.

pub(crate) mod error_plot;
pub(crate) mod flank_picture;
pub(crate) mod numbers;
pub(crate) mod text;
