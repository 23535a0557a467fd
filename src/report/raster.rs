//! SVG → pixels, with letters of our own so that a picture looks the same on every machine.

use super::ReportError;
use image::{Rgba, RgbaImage};
use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree};

/// Draws an SVG at `scale` pixels per unit on a clear ground.
///
/// # Errors
/// The SVG is faulty or too large.
pub(super) fn rasterise(svg: &str, scale: f32, of: &str) -> Result<RgbaImage, ReportError> {
    let failed = |detail: String| ReportError {
        of: of.to_owned(),
        detail,
    };
    let mut options = Options::default();
    let letters = options.fontdb_mut();
    letters.load_font_data(dejavu::sans::regular().to_vec());
    letters.load_font_data(dejavu::sans::bold().to_vec());
    let tree = Tree::from_str(svg, &options).map_err(|error| failed(error.to_string()))?;
    let size = tree.size();
    let (width, height) = (
        (size.width() * scale).ceil() as u32,
        (size.height() * scale).ceil() as u32,
    );
    let mut pixels =
        Pixmap::new(width, height).ok_or_else(|| failed(format!("{width} × {height} pixels")))?;
    resvg::render(
        &tree,
        Transform::from_scale(scale, scale),
        &mut pixels.as_mut(),
    );
    let plain = pixels.pixels().iter().map(|pixel| {
        let colour = pixel.demultiply();
        Rgba([colour.red(), colour.green(), colour.blue(), colour.alpha()])
    });
    let mut picture = RgbaImage::new(width, height);
    for (to, from) in picture.pixels_mut().zip(plain) {
        *to = from;
    }
    Ok(picture)
}
