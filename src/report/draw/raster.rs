//! SVG → pixels, with letters of our own so that a picture looks the same on every machine.

use super::canvas::{FONT, FONT_FILES};
use crate::report::PictureError;
use image::{Rgb, RgbImage};
use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::fontdb::{Database, Source};
use resvg::usvg::{Options, Tree};
use std::sync::{Arc, LazyLock};

/// The SVG as PNG bytes, `scale` pixels to each of its own units.
///
/// # Errors
/// The SVG is faulty, or has no size or too large a one.
pub(crate) fn png(svg: &str, scale: f32) -> Result<Vec<u8>, PictureError> {
    pixels(svg, scale)?.encode_png().map_err(PictureError::new)
}

/// The SVG as a picture on a white ground, `scale` pixels to each of its own units.
///
/// # Errors
/// As [`png`].
pub(crate) fn on_white(svg: &str, scale: f32) -> Result<RgbImage, PictureError> {
    let drawn = pixels(svg, scale)?;
    let mut picture = RgbImage::from_pixel(drawn.width(), drawn.height(), Rgb([255; 3]));
    lay(&drawn, &mut picture);
    Ok(picture)
}

/// Draws the SVG over a picture of its size.
///
/// # Errors
/// As [`png`].
pub(crate) fn draw_over(picture: &mut RgbImage, svg: &str) -> Result<(), PictureError> {
    lay(&pixels(svg, 1.0)?, picture);
    Ok(())
}

/// Lays what was drawn over a picture of the same size.
fn lay(drawn: &Pixmap, picture: &mut RgbImage) {
    for (to, from) in picture.pixels_mut().zip(drawn.pixels()) {
        let left = 255 - u32::from(from.alpha());
        if left < 255 {
            let colour = [from.red(), from.green(), from.blue()];
            for (level, over) in to.0.iter_mut().zip(colour) {
                // What is drawn is multiplied by its cover already.
                *level = over + ((u32::from(*level) * left + 127) / 255) as u8;
            }
        }
    }
}

/// The letters of every drawing.
static FONTS: LazyLock<Arc<Database>> = LazyLock::new(|| {
    let mut fonts = Database::new();
    for font in *FONT_FILES {
        fonts.load_font_source(Source::Binary(Arc::new(font)));
    }
    fonts.set_sans_serif_family(FONT);
    fonts.set_serif_family(FONT);
    Arc::new(fonts)
});

/// The SVG understood, its text laid out.
///
/// # Errors
/// The SVG is faulty.
pub(crate) fn tree(svg: &str) -> Result<Tree, PictureError> {
    let options = Options {
        font_family: FONT.to_owned(),
        fontdb: Arc::clone(&FONTS),
        ..Options::default()
    };
    Tree::from_str(svg, &options).map_err(PictureError::new)
}

fn pixels(svg: &str, scale: f32) -> Result<Pixmap, PictureError> {
    let tree = tree(svg)?;
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_laid_over_the_picture_and_mixed_where_they_are_clear() {
        let svg = r##"<svg xmlns="http://www.w3.org/2000/svg" width="4" height="1"><rect width="1" height="1" fill="#ff0000"/><rect x="1" width="1" height="1" fill="#0000ff" fill-opacity="0.5"/></svg>"##;
        let mut picture = RgbImage::from_pixel(4, 1, Rgb([100, 200, 40]));
        draw_over(&mut picture, svg).unwrap();
        assert_eq!(picture.get_pixel(0, 0), &Rgb([255, 0, 0]));
        let expected = [50, 100, 148];
        for (level, expected) in picture.get_pixel(1, 0).0.into_iter().zip(expected) {
            assert!(level.abs_diff(expected) <= 1, "{level} {expected}");
        }
        assert_eq!(picture.get_pixel(2, 0), &Rgb([100, 200, 40]));
        assert_eq!(on_white(svg, 2.0).unwrap().get_pixel(7, 1), &Rgb([255; 3]));
    }
}
