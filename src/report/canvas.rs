//! Drawing onto an SVG, and an SVG onto pixels.

use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::FontStyle;
use resvg::{tiny_skia, usvg};
use std::sync::{Arc, Once};

/// A picture that could not be drawn.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the picture cannot be drawn: {0}")]
pub struct PictureError(String);

impl PictureError {
    pub(super) fn new(cause: impl std::fmt::Display) -> Self {
        Self(cause.to_string())
    }
}

/// The name all text is set in.
pub const FONT: &str = "DejaVu Sans";

/// Text cannot be measured before a font is registered.
fn register_font() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        // The only failure is a font that does not parse, and this one is part of the program.
        let _ = plotters::style::register_font(FONT, FontStyle::Normal, dejavu::sans::regular());
    });
}

/// Draws an SVG of a size in pixels.
///
/// # Errors
/// Whatever `draw` met.
pub fn svg(
    (width, height): (u32, u32),
    draw: impl FnOnce(&DrawingArea<SVGBackend, Shift>) -> Result<(), PictureError>,
) -> Result<String, PictureError> {
    register_font();
    let mut text = String::new();
    {
        let area = SVGBackend::with_string(&mut text, (width, height)).into_drawing_area();
        area.fill(&WHITE).map_err(PictureError::new)?;
        draw(&area)?;
        area.present().map_err(PictureError::new)?;
    }
    Ok(text)
}

/// The SVG as PNG bytes, `scale` pixels to each of its own.
///
/// # Errors
/// An SVG that does not parse, or a size of nothing.
pub fn png(svg: &str, scale: f32) -> Result<Vec<u8>, PictureError> {
    let mut fonts = usvg::fontdb::Database::new();
    fonts.load_font_data(dejavu::sans::regular().to_vec());
    let options = usvg::Options {
        fontdb: Arc::new(fonts),
        font_family: FONT.to_owned(),
        ..usvg::Options::default()
    };
    let tree = usvg::Tree::from_str(svg, &options).map_err(PictureError::new)?;
    let size = tree
        .size()
        .to_int_size()
        .scale_by(scale)
        .ok_or_else(|| PictureError::new("no pixels"))?;
    let mut pixels = tiny_skia::Pixmap::new(size.width(), size.height())
        .ok_or_else(|| PictureError::new("no pixels"))?;
    resvg::render(
        &tree,
        tiny_skia::Transform::from_scale(scale, scale),
        &mut pixels.as_mut(),
    );
    pixels.encode_png().map_err(PictureError::new)
}
