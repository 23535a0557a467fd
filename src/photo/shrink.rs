//! Pictures at another size.

use image::RgbImage;
use image::imageops::{self, FilterType};

/// A rectangle of a picture, whole pixels of that picture: left, top, width, height.
pub type Part = (u32, u32, u32, u32);

/// `part` of a picture at `width` × `height`: area averaging where it shrinks, straight lines
/// between pixels where it grows. `part` must lie inside the picture.
pub fn resized(picture: &RgbImage, part: Part, (width, height): (u32, u32)) -> RgbImage {
    let (left, top, across, down) = part;
    let view = imageops::crop_imm(picture, left, top, across, down);
    if width <= across && height <= down {
        imageops::thumbnail(&*view, width, height)
    } else {
        imageops::resize(&*view, width, height, FilterType::Triangle)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Rgb;

    #[test]
    fn a_pixel_is_the_mean_of_what_it_stands_for() {
        let picture =
            RgbImage::from_fn(4, 2, |x, _| Rgb([if x % 2 == 0 { 10 } else { 30 }, 0, 200]));
        let small = resized(&picture, (0, 0, 4, 2), (2, 1));
        assert_eq!(small.get_pixel(0, 0), &Rgb([20, 0, 200]));
        let right = resized(&picture, (3, 0, 1, 2), (1, 1));
        assert_eq!(right.get_pixel(0, 0), &Rgb([30, 0, 200]));
    }

    #[test]
    fn a_part_can_grow() {
        let picture = RgbImage::from_pixel(3, 3, Rgb([7, 8, 9]));
        let large = resized(&picture, (1, 1, 2, 2), (8, 8));
        assert!(large.pixels().all(|pixel| pixel == &Rgb([7, 8, 9])));
    }
}
