//! A decoded picture, perhaps smaller than it is in the file.

use image::RgbImage;

/// A decoded picture, perhaps smaller than it is in the file.
pub(super) struct Decoded {
    pub pixels: RgbImage,
    /// Width and height in the file.
    pub size: (u32, u32),
}

impl From<RgbImage> for Decoded {
    fn from(pixels: RgbImage) -> Self {
        let size = pixels.dimensions();
        Self { pixels, size }
    }
}
