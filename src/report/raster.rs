//! SVG → pixels, with letters of our own so that a picture looks the same on every machine.

use super::PictureError;
use super::canvas::FONT;
use image::{Rgba, RgbaImage};
use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree};

/// The SVG as PNG bytes, `scale` pixels to each of its own units.
///
/// # Errors
/// The SVG is faulty, or has no size or too large a one.
pub fn png(svg: &str, scale: f32) -> Result<Vec<u8>, PictureError> {
    pixels(svg, scale)?.encode_png().map_err(PictureError::new)
}

/// The SVG as a picture on a clear ground, `scale` pixels to each of its own units.
///
/// # Errors
/// As [`png`].
pub(super) fn picture(svg: &str, scale: f32) -> Result<RgbaImage, PictureError> {
    let pixels = pixels(svg, scale)?;
    let plain = pixels.pixels().iter().map(|pixel| {
        let colour = pixel.demultiply();
        Rgba([colour.red(), colour.green(), colour.blue(), colour.alpha()])
    });
    let mut picture = RgbaImage::new(pixels.width(), pixels.height());
    for (to, from) in picture.pixels_mut().zip(plain) {
        *to = from;
    }
    Ok(picture)
}

fn pixels(svg: &str, scale: f32) -> Result<Pixmap, PictureError> {
    let mut options = Options {
        font_family: FONT.to_owned(),
        ..Options::default()
    };
    let letters = options.fontdb_mut();
    letters.load_font_data(dejavu::sans::regular().to_vec());
    letters.load_font_data(dejavu::sans::bold().to_vec());
    let tree = Tree::from_str(svg, &options).map_err(PictureError::new)?;
    let size = tree.size();
    let (width, height) = (
        (size.width() * scale).ceil() as u32,
        (size.height() * scale).ceil() as u32,
    );
    let mut pixels = Pixmap::new(width, height)
        .ok_or_else(|| PictureError::new(format!("{width} × {height} pixels cannot be had")))?;
    resvg::render(
        &tree,
        Transform::from_scale(scale, scale),
        &mut pixels.as_mut(),
    );
    Ok(pixels)
}
