//! Drawing onto an SVG.

use crate::report::PictureError;
use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::FontStyle;
use std::sync::Once;

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

/// Width of a line of text set `size` high (the em), in the unit of `size`.
pub(crate) fn text_width(text: &str, size: f64) -> f64 {
    register_font();
    // The rasteriser counts a font's size from descent to ascent: 1.164 em in DejaVu Sans. Measured large, for
    // the answer is in whole pixels.
    const EM: f64 = 1000.0;
    let font = (FONT, 1.164 * EM).into_font();
    match font.layout_box(text) {
        Ok(((left, _), (right, _))) => f64::from(right - left) / EM * size,
        Err(_) => 0.6 * size * text.chars().count() as f64,
    }
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
