//! A printed page as a list of things at places, in points; written as SVG and PNG here, as PDF by [`crate::report::draw::pdf`].

use crate::report::PictureError;
use crate::report::draw::canvas::text_width;
use crate::report::draw::raster;
use crate::report::draw::theme::{INK, LETTERS};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use image::codecs::jpeg::JpegEncoder;
use image::{ImageError, RgbImage, imageops};
use std::borrow::Cow;
use std::fmt::Write as _;
use std::io::Cursor;

/// A4 in points.
pub(crate) const A4: [f64; 2] = [595.28, 841.89];
/// 8.5 in × 11 in in points.
pub(crate) const LETTER: [f64; 2] = [612.0, 792.0];

/// A thing on a page.
#[derive(Debug, Clone)]
pub(crate) enum Item {
    /// A line of text by its left end and baseline.
    Text {
        /// Left end and baseline.
        at: [f64; 2],
        /// Size of the letters.
        size: f64,
        /// Bold letters.
        bold: bool,
        /// As SVG writes it.
        colour: &'static str,
        /// The words.
        words: String,
    },
    /// A picture in a box, with what it shows in words. Pictures lie above all else.
    Picture {
        /// Left, top, width, height.
        frame: [f64; 4],
        /// The pixels.
        picture: Picture,
        /// What it shows.
        shows: String,
    },
    /// A line through points.
    Line {
        /// The points.
        points: Vec<[f64; 2]>,
        /// Its thickness.
        thick: f64,
        /// As SVG writes it.
        colour: &'static str,
    },
    /// A coloured box.
    Ground {
        /// Left, top, width, height.
        frame: [f64; 4],
        /// As SVG writes it.
        colour: &'static str,
    },
    /// A whole SVG, shrunk or enlarged.
    Drawing {
        /// Left and top.
        at: [f64; 2],
        /// Points for each of its own units.
        scale: f64,
        /// The SVG.
        svg: String,
    },
}

/// What a picture is made of.
#[derive(Debug, Clone)]
pub(crate) enum Picture {
    /// Pixels.
    Plain(RgbImage),
    /// A JPEG file in grey or in three colours.
    Jpeg(Vec<u8>),
}

impl Picture {
    /// The picture as a JPEG file.
    pub(crate) fn jpeg(&self) -> Cow<'_, [u8]> {
        match self {
            Self::Plain(pixels) => Cow::Owned(jpeg(pixels)),
            Self::Jpeg(bytes) => Cow::Borrowed(bytes),
        }
    }

    fn pixels(&self) -> Result<Cow<'_, RgbImage>, ImageError> {
        match self {
            Self::Plain(pixels) => Ok(Cow::Borrowed(pixels)),
            Self::Jpeg(bytes) => Ok(Cow::Owned(image::load_from_memory(bytes)?.into_rgb8())),
        }
    }
}

/// A page, written from the top down.
#[derive(Debug, Clone)]
pub(crate) struct Page {
    /// Width and height.
    pub size: [f64; 2],
    /// What stands on it.
    pub items: Vec<Item>,
    /// What is lowest so far.
    pub y: f64,
}

impl Default for Page {
    fn default() -> Self {
        Self::new(A4)
    }
}

impl Page {
    /// An empty page of a width and height.
    pub(crate) const fn new(size: [f64; 2]) -> Self {
        Self {
            size,
            items: Vec::new(),
            y: 0.0,
        }
    }

    /// One line of text.
    pub(crate) fn text(&mut self, at: [f64; 2], size: f64, bold: bool, words: &str) {
        self.items.push(Item::Text {
            at,
            size,
            bold,
            colour: INK,
            words: words.to_owned(),
        });
    }

    /// A line through points.
    pub(crate) fn line(&mut self, points: Vec<[f64; 2]>, thick: f64) {
        self.items.push(Item::Line {
            points,
            thick,
            colour: INK,
        });
    }

    /// A paragraph from `at` down; returns where it ends.
    pub(crate) fn paragraph(&mut self, at: [f64; 2], width: f64, size: f64, words: &str) -> f64 {
        let mut line = String::new();
        let mut y = at[1];
        let mut put = |page: &mut Self, line: &mut String| {
            y += 1.25 * size;
            page.text([at[0], y], size, false, line);
            line.clear();
        };
        // Not at hard spaces.
        for word in words.split(' ').filter(|word| !word.is_empty()) {
            if !line.is_empty() && text_width(&format!("{line} {word}"), size, false) > width {
                put(self, &mut line);
            }
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
        put(self, &mut line);
        y + 0.3 * size
    }

    /// A picture of a width, as high as it must be; returns where it ends.
    pub(crate) fn picture(
        &mut self,
        at: [f64; 2],
        width: f64,
        picture: RgbImage,
        shows: &str,
    ) -> f64 {
        let height = width * f64::from(picture.height()) / f64::from(picture.width());
        self.items.push(Item::Picture {
            frame: [at[0], at[1], width, height],
            picture: Picture::Plain(picture),
            shows: shows.to_owned(),
        });
        at[1] + height
    }

    /// The page as SVG; pictures inside it, or left out.
    pub(crate) fn svg(&self, with_pictures: bool) -> String {
        let [w, h] = self.size;
        let mut svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {w} {h}\" width=\"{w}\" height=\"{h}\" \
             font-family=\"{LETTERS}\" fill=\"{INK}\" xml:space=\"preserve\"><rect width=\"{w}\" height=\"{h}\" fill=\"#fff\"/>"
        );
        for item in &self.items {
            if with_pictures || !matches!(item, Item::Picture { .. }) {
                item.write_svg(&mut svg);
            }
        }
        svg.push_str("</svg>");
        svg
    }

    /// The page as PNG.
    ///
    /// # Errors
    /// The drawing failed.
    pub(crate) fn png(&self, scale: f32) -> Result<Vec<u8>, PictureError> {
        let bytes = raster::png(&self.svg(false), scale)?;
        let mut page = image::load_from_memory(&bytes)
            .map_err(PictureError::new)?
            .to_rgb8();
        for item in &self.items {
            if let Item::Picture { frame, picture, .. } = item {
                let [x, y, w, h] = frame.map(|v| v * f64::from(scale));
                let filter = imageops::FilterType::Triangle;
                let picture = picture.pixels().map_err(PictureError::new)?;
                let small = imageops::resize(&*picture, w.round() as u32, h.round() as u32, filter);
                imageops::replace(&mut page, &small, x.round() as i64, y.round() as i64);
            }
        }
        encoded(&page)
    }
}

/// A picture as PNG.
///
/// # Errors
/// There is no room for it.
pub(crate) fn encoded(picture: &RgbImage) -> Result<Vec<u8>, PictureError> {
    let mut out = Cursor::new(Vec::new());
    picture
        .write_to(&mut out, image::ImageFormat::Png)
        .map_err(PictureError::new)?;
    Ok(out.into_inner())
}

impl Item {
    fn write_svg(&self, svg: &mut String) {
        // Writing into a string does not fail.
        let _ = match self {
            Self::Text {
                at: [x, y],
                size,
                bold,
                colour,
                words,
            } => {
                let weight = if *bold { " font-weight=\"bold\"" } else { "" };
                let words = escaped(words);
                write!(
                    svg,
                    "<text x=\"{x:.2}\" y=\"{y:.2}\" font-size=\"{size}\"{weight} fill=\"{colour}\">{words}</text>"
                )
            }
            Self::Picture {
                frame: [x, y, w, h],
                picture,
                shows,
            } => write!(
                svg,
                "<image x=\"{x:.2}\" y=\"{y:.2}\" width=\"{w:.2}\" height=\"{h:.2}\" role=\"img\" \
                 aria-label=\"{}\" href=\"data:image/jpeg;base64,{}\"/>",
                escaped(shows),
                STANDARD.encode(picture.jpeg())
            ),
            Self::Line {
                points,
                thick,
                colour,
            } => {
                let points: Vec<String> = points
                    .iter()
                    .map(|[x, y]| format!("{x:.2},{y:.2}"))
                    .collect();
                write!(
                    svg,
                    "<polyline fill=\"none\" stroke=\"{colour}\" stroke-width=\"{thick}\" points=\"{}\"/>",
                    points.join(" ")
                )
            }
            Self::Ground {
                frame: [x, y, w, h],
                colour,
            } => write!(
                svg,
                "<rect x=\"{x:.2}\" y=\"{y:.2}\" width=\"{w:.2}\" height=\"{h:.2}\" fill=\"{colour}\"/>"
            ),
            Self::Drawing {
                at: [x, y],
                scale,
                svg: drawing,
            } => write!(
                svg,
                "<g transform=\"translate({x:.2} {y:.2}) scale({scale:.4})\">{drawing}</g>"
            ),
        };
    }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('"', "&quot;")
}

/// A picture as JPEG.
pub(crate) fn jpeg(picture: &RgbImage) -> Vec<u8> {
    let mut bytes = Vec::new();
    // Encoding into memory fails only for sizes a JPEG cannot have; ours are small.
    if JpegEncoder::new_with_quality(&mut bytes, 86)
        .encode_image(picture)
        .is_err()
    {
        bytes.clear();
    }
    bytes
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_stand_on_the_page_as_words_whatever_is_in_them() {
        let mut page = Page::new(A4);
        page.text([40.0, 40.0], 9.0, false, "backlash < 9 & more");
        let svg = page.svg(true);
        assert!(svg.contains(">backlash &lt; 9 &amp; more</text>"), "{svg}");
    }

    /// Pictures are laid into the page after it is drawn: at any scale where the page has them.
    #[test]
    fn a_picture_lies_on_the_page_where_it_was_put() {
        let mut page = Page::new([100.0, 80.0]);
        let red = RgbImage::from_pixel(20, 10, image::Rgb([200, 0, 0]));
        assert_eq!(page.picture([30.0, 20.0], 40.0, red, "red"), 40.0);
        for scale in [1.0, 2.0] {
            let png = image::load_from_memory(&page.png(scale).unwrap()).unwrap();
            let png = png.into_rgb8();
            assert_eq!(png.width(), (100.0 * scale) as u32);
            let is_red = |x: f32, y: f32| {
                png.get_pixel((x * scale) as u32, (y * scale) as u32).0 == [200, 0, 0]
            };
            assert!(is_red(32.0, 22.0) && is_red(68.0, 38.0));
            assert!(!is_red(28.0, 22.0) && !is_red(32.0, 42.0) && !is_red(72.0, 38.0));
        }
    }
}
