//! Drawing onto an SVG.

use crate::report::PictureError;
use plotters::coord::Shift;
use plotters::prelude::*;
use std::sync::LazyLock;
use ttf_parser::Face;

/// The name all text is set in.
pub(crate) const FONT: &str = "DejaVu Sans";

/// The font's files, regular and bold. In one place: whoever calls the crate for them gets a copy of his own into the program.
pub(super) static FONT_FILES: LazyLock<[&[u8]; 2]> =
    LazyLock::new(|| [dejavu::sans::regular(), dejavu::sans::bold()]);

/// Width of a line of text set `size` high (the em), in the unit of `size`.
pub(crate) fn text_width(text: &str, size: f64, bold: bool) -> f64 {
    static FACES: LazyLock<[Option<Face<'static>>; 2]> =
        LazyLock::new(|| FONT_FILES.map(|font| Face::parse(font, 0).ok()));
    let ems = |letter| {
        let face = FACES[usize::from(bold)].as_ref()?;
        let advance = face.glyph_hor_advance(face.glyph_index(letter)?)?;
        Some(f64::from(advance) / f64::from(face.units_per_em()))
    };
    // A letter that the font lacks is drawn as a box.
    let width: f64 = text.chars().map(|letter| ems(letter).unwrap_or(0.6)).sum();
    width * size
}

/// Draws an SVG of a size in pixels.
///
/// # Errors
/// Whatever `draw` met.
pub(crate) fn svg(
    (width, height): (u32, u32),
    draw: impl FnOnce(&DrawingArea<SVGBackend, Shift>) -> Result<(), PictureError>,
) -> Result<String, PictureError> {
    let mut text = String::new();
    {
        let area = SVGBackend::with_string(&mut text, (width, height)).into_drawing_area();
        area.fill(&WHITE).map_err(PictureError::new)?;
        draw(&area)?;
        area.present().map_err(PictureError::new)?;
    }
    Ok(text)
}
