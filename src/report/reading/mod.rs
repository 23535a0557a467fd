//! A reading as text, as pictures and as a page.

pub mod flank_view;
pub mod overlay;
pub mod page;
pub mod pictures;
pub mod text;
