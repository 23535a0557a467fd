//! Pictures at another size.

use fast_image_resize::images::{TypedImage, TypedImageRef};
use fast_image_resize::pixels::U8x3;
use fast_image_resize::{FilterType, ResizeAlg, ResizeOptions, Resizer};
use image::RgbImage;

/// A rectangle of a picture, pixels of that picture: left, top, width, height.
pub type Part = (f64, f64, f64, f64);

/// `part` of a picture at `width` × `height`; each pixel of the result weighs all pixels it
/// stands for. `part` must lie inside the picture and be no smaller than a pixel.
pub fn resized(
    picture: &RgbImage,
    part: Part,
    (width, height): (u32, u32),
    filter: FilterType,
) -> RgbImage {
    // Pictures of one known pixel type: the untyped call would compile the kernels of all.
    let source = TypedImageRef::<U8x3>::from_buffer(
        picture.width(),
        picture.height(),
        picture.as_raw(),
    )
    .expect("an RGB picture has three bytes a pixel");
    let mut small = TypedImage::<U8x3>::new(width, height);
    let (left, top, across, down) = part;
    let options = ResizeOptions::new()
        .resize_alg(ResizeAlg::Convolution(filter))
        .crop(left, top, across, down);
    Resizer::new()
        .resize_typed(&source, &mut small, &options)
        .expect("the part lies inside the picture");
    let bytes = small.pixels().iter().flat_map(|pixel| pixel.0).collect();
    RgbImage::from_raw(width, height, bytes).expect("three bytes a pixel")
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Rgb;

    #[test]
    fn a_pixel_is_the_mean_of_what_it_stands_for() {
        let picture = RgbImage::from_fn(4, 2, |x, _| Rgb([if x % 2 == 0 { 10 } else { 30 }, 0, 200]));
        let small = resized(&picture, (0.0, 0.0, 4.0, 2.0), (2, 1), FilterType::Box);
        assert_eq!(small.get_pixel(0, 0), &Rgb([20, 0, 200]));
        let right = resized(&picture, (3.0, 0.0, 1.0, 2.0), (1, 1), FilterType::Box);
        assert_eq!(right.get_pixel(0, 0), &Rgb([30, 0, 200]));
    }
}
