//! What every picture is drawn with: colours, canvas, rasteriser, pen of the PDF.

pub(crate) mod canvas;
pub(crate) mod page;
pub(crate) mod patch_shape;
pub(crate) mod pdf;
pub(crate) mod pdf_pen;
pub(crate) mod raster;
pub(crate) mod theme;
