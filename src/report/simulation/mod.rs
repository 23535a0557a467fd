//! A simulation as numbers, text, flank pictures and error plot.

pub mod error_plot;
pub mod flank_picture;
pub mod numbers;
pub mod text;
