//! A printed page as a list of things at places, in points; written as SVG, PNG or PDF.

use crate::report::PictureError;
use crate::report::draw::canvas::text_width;
use crate::report::draw::raster;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use image::codecs::jpeg::JpegEncoder;
use image::{RgbImage, imageops};
use krilla::Document;
use krilla::color::rgb;
use krilla::geom::{PathBuilder, Point, Size, Transform};
use krilla::image::Image;
use krilla::page::PageSettings;
use krilla::paint::{Fill, Stroke};
use krilla::text::{Font, TextDirection};
use std::fmt::Write as _;
use std::io::Cursor;

/// A4 in points.
pub const PAPER: [f64; 2] = [595.28, 841.89];
const INK: [u8; 3] = [0x14, 0x21, 0x3d];

/// A thing on a page.
#[derive(Debug, Clone)]
pub enum Item {
    /// A line of text by its left end and baseline.
    Text {
        /// Left end and baseline.
        at: [f64; 2],
        /// Size of the letters.
        size: f64,
        /// Bold letters.
        bold: bool,
        /// The words.
        words: String,
    },
    /// A picture in a box, with what it shows in words.
    Picture {
        /// Left, top, width, height.
        frame: [f64; 4],
        /// The pixels.
        picture: RgbImage,
        /// What it shows.
        shows: String,
    },
    /// A line through points.
    Line {
        /// The points.
        points: Vec<[f64; 2]>,
        /// Its thickness.
        thick: f64,
    },
}

/// A page, written from the top down.
#[derive(Debug, Clone, Default)]
pub struct Page {
    /// What stands on it.
    pub items: Vec<Item>,
    /// What is lowest so far.
    pub y: f64,
}

impl Page {
    /// One line.
    pub fn text(&mut self, at: [f64; 2], size: f64, bold: bool, words: &str) {
        self.items.push(Item::Text {
            at,
            size,
            bold,
            words: words.to_owned(),
        });
    }

    /// A paragraph from `at` down; returns where it ends.
    pub fn paragraph(&mut self, at: [f64; 2], width: f64, size: f64, words: &str) -> f64 {
        let mut line = String::new();
        let mut y = at[1];
        let mut put = |page: &mut Self, line: &mut String| {
            y += 1.25 * size;
            page.text([at[0], y], size, false, line);
            line.clear();
        };
        // Not at hard spaces.
        for word in words.split(' ').filter(|word| !word.is_empty()) {
            if !line.is_empty() && text_width(&format!("{line} {word}"), size) > width {
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
    pub fn picture(&mut self, at: [f64; 2], width: f64, picture: RgbImage, shows: &str) -> f64 {
        let height = width * f64::from(picture.height()) / f64::from(picture.width());
        self.items.push(Item::Picture {
            frame: [at[0], at[1], width, height],
            picture,
            shows: shows.to_owned(),
        });
        at[1] + height
    }

    /// The page as SVG; pictures inside it, or left out.
    pub fn svg(&self, with_pictures: bool) -> String {
        let [w, h] = PAPER;
        let mut svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {w} {h}\" width=\"{w}\" height=\"{h}\" \
             font-family=\"DejaVu Sans, sans-serif\" fill=\"#14213d\"><rect width=\"{w}\" height=\"{h}\" fill=\"#fff\"/>"
        );
        for item in &self.items {
            let _ = match item {
                Item::Text {
                    at,
                    size,
                    bold,
                    words,
                } => {
                    let weight = if *bold { " font-weight=\"bold\"" } else { "" };
                    let words = escaped(words);
                    write!(
                        svg,
                        "<text x=\"{:.2}\" y=\"{:.2}\" font-size=\"{size}\"{weight}>{words}</text>",
                        at[0], at[1]
                    )
                }
                Item::Picture { .. } if !with_pictures => Ok(()),
                Item::Picture {
                    frame: [x, y, w, h],
                    picture,
                    shows,
                } => write!(
                    svg,
                    "<image x=\"{x:.2}\" y=\"{y:.2}\" width=\"{w:.2}\" height=\"{h:.2}\" role=\"img\" \
                     aria-label=\"{}\" href=\"data:image/jpeg;base64,{}\"/>",
                    escaped(shows),
                    STANDARD.encode(jpeg(picture))
                ),
                Item::Line { points, thick } => {
                    let points: Vec<String> = points
                        .iter()
                        .map(|p| format!("{:.2},{:.2}", p[0], p[1]))
                        .collect();
                    write!(
                        svg,
                        "<polyline fill=\"none\" stroke=\"#14213d\" stroke-width=\"{thick}\" points=\"{}\"/>",
                        points.join(" ")
                    )
                }
            };
        }
        svg.push_str("</svg>");
        svg
    }

    /// The page as PNG.
    ///
    /// # Errors
    /// The drawing failed.
    pub fn png(&self, scale: f32) -> Result<Vec<u8>, PictureError> {
        let bytes = raster::png(&self.svg(false), scale)?;
        let mut page = image::load_from_memory(&bytes)
            .map_err(PictureError::new)?
            .to_rgb8();
        for item in &self.items {
            if let Item::Picture { frame, picture, .. } = item {
                let [x, y, w, h] = frame.map(|v| v * f64::from(scale));
                let filter = imageops::FilterType::Triangle;
                let small = imageops::resize(picture, w.round() as u32, h.round() as u32, filter);
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
pub fn encoded(picture: &RgbImage) -> Result<Vec<u8>, PictureError> {
    let mut out = Cursor::new(Vec::new());
    picture
        .write_to(&mut out, image::ImageFormat::Png)
        .map_err(PictureError::new)?;
    Ok(out.into_inner())
}

/// Pages as one PDF.
///
/// # Errors
/// A letter or a picture cannot be embedded.
pub fn pdf(pages: &[Page]) -> Result<Vec<u8>, PictureError> {
    let font = |bytes: &[u8]| {
        Font::new(bytes.to_vec().into(), 0)
            .ok_or_else(|| PictureError::new("the program's letters cannot be embedded"))
    };
    let letters = [font(dejavu::sans::regular())?, font(dejavu::sans::bold())?];
    let ink = || rgb::Color::new(INK[0], INK[1], INK[2]);
    let mut document = Document::new();
    for page in pages {
        let settings = PageSettings::from_wh(PAPER[0] as f32, PAPER[1] as f32)
            .ok_or_else(|| PictureError::new("the paper has no size"))?;
        let mut sheet = document.start_page_with(settings);
        let mut surface = sheet.surface();
        for item in &page.items {
            match item {
                Item::Text {
                    at,
                    size,
                    bold,
                    words,
                } => {
                    surface.set_stroke(None);
                    surface.set_fill(Some(Fill {
                        paint: ink().into(),
                        ..Fill::default()
                    }));
                    surface.draw_text(
                        Point::from_xy(at[0] as f32, at[1] as f32),
                        letters[usize::from(*bold)].clone(),
                        *size as f32,
                        words,
                        false,
                        TextDirection::LeftToRight,
                    );
                }
                Item::Picture { frame, picture, .. } => {
                    let [x, y, w, h] = frame.map(|v| v as f32);
                    let image =
                        Image::from_jpeg(jpeg(picture).into(), true).map_err(PictureError::new)?;
                    if let Some(size) = Size::from_wh(w, h) {
                        surface.push_transform(&Transform::from_translate(x, y));
                        surface.draw_image(image, size);
                        surface.pop();
                    }
                }
                Item::Line { points, thick } => {
                    let mut path = PathBuilder::new();
                    for (k, p) in points.iter().enumerate() {
                        if k == 0 {
                            path.move_to(p[0] as f32, p[1] as f32);
                        } else {
                            path.line_to(p[0] as f32, p[1] as f32);
                        }
                    }
                    if let Some(path) = path.finish() {
                        surface.set_fill(None);
                        surface.set_stroke(Some(Stroke {
                            paint: ink().into(),
                            width: *thick as f32,
                            ..Stroke::default()
                        }));
                        surface.draw_path(&path);
                    }
                }
            }
        }
        surface.finish();
        sheet.finish();
    }
    document
        .finish()
        .map_err(|error| PictureError::new(format!("{error:?}")))
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('"', "&quot;")
}

/// A picture as JPEG.
pub(super) fn jpeg(picture: &RgbImage) -> Vec<u8> {
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
