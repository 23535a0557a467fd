//! A file → an upright picture in sRGB levels, with what the camera said.
//!
//! Limits on bytes and pixels are checked before anything is decoded; the EXIF orientation is
//! applied after shrinking; the file itself is never touched.

mod colour;
mod decoded;
mod error;
mod exif;
#[cfg(feature = "heic")]
mod heic;
#[cfg(feature = "heic")]
mod heic_stream;
mod jpeg;
mod jpeg_data;
mod jpeg_markers;
mod layout;
mod limits;
mod open;
pub(crate) mod png_chunks;
pub(crate) mod shrink;

#[cfg(test)]
pub(crate) use colour::linear_from_srgb;
pub(crate) use colour::linear_of_levels;
pub use error::PhotoError;
pub(crate) use exif::{CameraFacts, camera_facts};
pub(crate) use layout::Layout;
pub(crate) use limits::Limits;
pub(crate) use open::open;
#[cfg(feature = "cli")]
pub(crate) use open::{formats, from_bytes, looks_like_photo, open_bytes, open_with, read_bytes};

use crate::frames::PhotoPoint;
use crate::schema::{PhotoArea, PhotoPart};
use image::{RgbImage, imageops};
use std::path::Path;
use std::sync::OnceLock;

/// Longest side of the working copy, pixels: patch edges are much wider than a pixel at this
/// size, so more would only cost time.
pub(crate) const WORKING_SIDE_PX: u32 = 2048;

/// A rectangle of a working copy, pixels.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Area {
    pub left: u32,
    pub top: u32,
    pub width: u32,
    pub height: u32,
}

/// One opened photo.
#[derive(Debug, Clone)]
pub struct Photo {
    /// The path as it was given.
    pub path: String,
    /// SHA-256 of the file's bytes, lower-case hexadecimal.
    pub sha256: String,
    /// Width of the upright photo at full size, pixels.
    pub width: u32,
    /// Height of the upright photo at full size, pixels.
    pub height: u32,
    /// Focal length the camera gave, as that of a 36 mm × 24 mm frame, millimetres.
    pub focal_35mm: Option<f64>,
    /// Upright sRGB copy, its longest side at most [`WORKING_SIDE_PX`], of a JPEG perhaps only half of that.
    pub(crate) working: RgbImage,
    /// Working pixels per full-size pixel, 0 < scale ≤ 1.
    pub(crate) scale: f64,
    /// The one photo of a collage that this is: its place in the working copy, its number from 1, and how many there are.
    pub(crate) part: Option<(Area, u32, u32)>,
    /// What the working copy is made of, once it was asked for.
    pub(crate) layout: OnceLock<Layout>,
}

impl Photo {
    /// Opens a photo: JPEG, PNG, WebP, TIFF, or HEIC with the feature `heic`. At most 64 MB and 110 megapixels are opened.
    ///
    /// ```
    /// let photo = flankread::Photo::open("examples/larchfield/drive.jpg")?;
    /// assert!(photo.width > photo.height);
    /// # Ok::<(), flankread::PhotoError>(())
    /// ```
    ///
    /// # Errors
    /// [`PhotoError`] says what is wrong with the file and what to do.
    pub fn open(path: impl AsRef<Path>) -> Result<Self, PhotoError> {
        open(path.as_ref())
    }

    /// A photo from upright pixels in memory: red, green and blue of 8 bits each in sRGB, row by row. `None` when there are
    /// not three bytes for each of `width` × `height` pixels.
    ///
    /// ```
    /// use flankread::{Photo, ReadOptions, Status, read_photo};
    /// let grey = Photo::from_rgb("grey", 640, 480, vec![128; 640 * 480 * 3]).unwrap();
    /// assert_eq!(read_photo(&grey, &ReadOptions::default()).reading.status, Status::Unreadable);
    /// ```
    pub fn from_rgb(name: &str, width: u32, height: u32, rgb: Vec<u8>) -> Option<Self> {
        let working = RgbImage::from_raw(width, height, rgb)?;
        Some(Self::from_pixels(name, working))
    }

    /// The upright copy that is read: width, height, and red, green and blue of 8 bits each in sRGB, row by row. Its longest side is at
    /// most 2048 pixels.
    ///
    /// ```
    /// let photo = flankread::Photo::from_rgb("grey", 4, 2, vec![128; 24]).unwrap();
    /// assert_eq!(photo.working_rgb(), (4, 2, [128; 24].as_slice()));
    /// ```
    pub fn working_rgb(&self) -> (u32, u32, &[u8]) {
        let (width, height) = self.working.dimensions();
        (width, height, self.working.as_raw())
    }

    /// A photo from a picture in memory.
    pub(crate) fn from_pixels(path: &str, working: RgbImage) -> Self {
        Self {
            path: path.to_owned(),
            sha256: String::new(),
            width: working.width(),
            height: working.height(),
            focal_35mm: None,
            working,
            scale: 1.0,
            part: None,
            layout: OnceLock::new(),
        }
    }

    /// The photos of a collage, each to be read by itself, row by row; none when this is one photo. They keep the pixels of
    /// the whole picture: corners and pictures of their readings are those of the collage.
    ///
    /// ```
    /// let photo = flankread::Photo::open("examples/larchfield/drive.jpg")?;
    /// assert!(photo.parts().is_empty());
    /// # Ok::<(), flankread::PhotoError>(())
    /// ```
    pub fn parts(&self) -> Vec<Self> {
        let areas = match (self.part, self.layout()) {
            (None, Layout::Collage(areas)) => areas,
            _ => return Vec::new(),
        };
        let of = areas.len() as u32;
        let parts = areas.iter().zip(1..).map(|(&area, number)| Self {
            part: Some((area, number, of)),
            ..self.clone()
        });
        parts.collect()
    }

    /// What the whole picture is made of.
    pub(crate) fn layout(&self) -> &Layout {
        self.layout.get_or_init(|| layout::layout(&self.working))
    }

    /// The picture without what is about an area, as a photo of its own.
    pub(crate) fn cropped(&self, area: Area) -> Self {
        let Area {
            left,
            top,
            width,
            height,
        } = area;
        let full = |pixels: u32| (f64::from(pixels) / self.scale).round() as u32;
        Self {
            path: self.path.clone(),
            sha256: self.sha256.clone(),
            width: full(width),
            height: full(height),
            // Of the camera's picture: who cuts it says no more.
            focal_35mm: None,
            working: imageops::crop_imm(&self.working, left, top, width, height).to_image(),
            scale: self.scale,
            part: None,
            layout: OnceLock::new(),
        }
    }

    /// An area of the working copy in pixels of the photo.
    pub(crate) fn area_in_photo(&self, area: Area) -> PhotoArea {
        let full = |pixels: u32| f64::from(pixels) / self.scale;
        PhotoArea {
            left: full(area.left),
            top: full(area.top),
            width: full(area.width),
            height: full(area.height),
            part: self.part.map(|(_, number, of)| PhotoPart { number, of }),
        }
    }

    /// What of the picture is this photo.
    #[cfg(feature = "cli")]
    pub(crate) fn seen(&self) -> std::borrow::Cow<'_, RgbImage> {
        match self.part {
            Some((area, ..)) => std::borrow::Cow::Owned(self.cropped(area).working),
            None => std::borrow::Cow::Borrowed(&self.working),
        }
    }

    /// Whether a point lies within the photo.
    pub fn contains(&self, point: PhotoPoint) -> bool {
        (0.0..=f64::from(self.width)).contains(&point.x)
            && (0.0..=f64::from(self.height)).contains(&point.y)
    }
}
