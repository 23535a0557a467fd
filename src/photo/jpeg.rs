//! Large JPEGs, decoded straight to a fraction of their size.

use super::decoded::Decoded;
use image::RgbImage;
use jpeg_decoder::{Decoder, PixelFormat};

/// The longest side stays as long as this, pixels: patch edges are still wider than a pixel then, and phones'
/// 12 megapixels are decoded to a quarter.
const ENOUGH_SIDE_PX: f64 = 1000.0;

/// The picture at a half, a quarter or an eighth of its size, its longest side still as long as
/// [`ENOUGH_SIDE_PX`]: half the time and a quarter of the memory of the whole picture or less, for most of
/// each block's cosine terms need not be worked out. `None` if it is too small for that or has more than
/// `most_pixels`, in colours that are not of a camera, or cannot be decoded: the usual way reads it or says
/// what is wrong.
pub(super) fn shrunk_jpeg(bytes: &[u8], most_pixels: u64) -> Option<Decoded> {
    let mut decoder = Decoder::new(bytes);
    decoder.read_info().ok()?;
    let info = decoder.info()?;
    let size = (u32::from(info.width), u32::from(info.height));
    let share = ENOUGH_SIDE_PX / f64::from(size.0.max(size.1));
    if share > 0.5
        || u64::from(size.0) * u64::from(size.1) > most_pixels
        || !matches!(info.pixel_format, PixelFormat::RGB24 | PixelFormat::L8)
    {
        return None;
    }
    // Rounded down: the decoder takes the smallest size that is no smaller than this.
    let wanted = |side: u16| (f64::from(side) * share).max(1.0) as u16;
    let (width, height) = decoder
        .scale(wanted(info.width), wanted(info.height))
        .ok()?;
    let pixels = decoder.decode().ok()?;
    let (width, height) = (u32::from(width), u32::from(height));
    let pixels = match info.pixel_format {
        PixelFormat::L8 => {
            let grey = image::GrayImage::from_raw(width, height, pixels)?;
            image::DynamicImage::ImageLuma8(grey).into_rgb8()
        }
        _ => RgbImage::from_raw(width, height, pixels)?,
    };
    Some(Decoded { pixels, size })
}

#[cfg(test)]
mod tests {
    use super::super::shrink::resized;
    use super::*;
    use image::codecs::jpeg::JpegEncoder;
    use image::{DynamicImage, Rgb};

    fn jpeg(picture: &DynamicImage) -> Vec<u8> {
        let mut bytes = Vec::new();
        JpegEncoder::new_with_quality(&mut bytes, 95)
            .encode_image(picture)
            .unwrap();
        bytes
    }

    /// More pixels than any picture here has.
    const MANY: u64 = 10_000_000;

    fn waves(width: u32, height: u32) -> RgbImage {
        RgbImage::from_fn(width, height, |x, y| {
            let wave = |period: f32| 128.0 + 90.0 * ((x as f32 + 0.3 * y as f32) / period).sin();
            Rgb([wave(31.0) as u8, wave(47.0) as u8, wave(90.0) as u8])
        })
    }

    #[test]
    fn a_large_picture_is_the_mean_of_its_pixels() {
        for (size, shrunk) in [((2100, 500), (1050, 250)), ((400, 4004), (100, 1001))] {
            let picture = waves(size.0, size.1);
            let expected = resized(&picture, (0, 0, size.0, size.1), shrunk);
            let decoded = shrunk_jpeg(&jpeg(&picture.into()), MANY).unwrap();
            assert_eq!(decoded.size, size);
            let got = decoded.pixels;
            assert_eq!(got.dimensions(), shrunk);
            let off = got.as_raw().iter().zip(expected.as_raw());
            let mean = off.map(|(a, b)| f64::from(a.abs_diff(*b))).sum::<f64>()
                / expected.as_raw().len() as f64;
            assert!(mean < 2.0, "{mean}");
        }
    }

    #[test]
    fn grey_pictures_become_colour_ones() {
        let grey = DynamicImage::ImageRgb8(waves(2100, 64)).into_luma8();
        let got = shrunk_jpeg(&jpeg(&grey.into()), MANY).unwrap();
        assert!(got.pixels.pixels().all(|Rgb([r, g, b])| r == g && g == b));
    }

    #[test]
    fn small_huge_and_damaged_files_are_left_to_the_usual_way() {
        assert!(shrunk_jpeg(&jpeg(&waves(1900, 64).into()), MANY).is_none());
        let whole = jpeg(&waves(2100, 64).into());
        assert!(shrunk_jpeg(&whole, 2100 * 64).is_some());
        assert!(shrunk_jpeg(&whole, 2100 * 64 - 1).is_none());
        assert!(shrunk_jpeg(&whole[..200], MANY).is_none());
        assert!(shrunk_jpeg(b"tooth contact", MANY).is_none());
    }
}
