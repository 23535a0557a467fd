//! A reading as text, as pictures and as a page.

pub(crate) mod flank_view;
pub(crate) mod overlay;
pub(crate) mod page;
pub(crate) mod pictures;
pub(crate) mod text;
