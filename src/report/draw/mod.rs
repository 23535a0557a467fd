//! What every picture is drawn with: colours, canvas, rasteriser, pen of the PDF.

pub mod canvas;
pub mod page;
pub mod patch_shape;
pub mod pdf;
pub mod pdf_pen;
pub mod raster;
pub mod theme;
