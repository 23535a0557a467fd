//! HEIC pictures, as phones write them.

use super::PhotoError;
use super::heic_stream::{colours, usual};
use super::limits::Limits;
use heic_rs::color::convert;
use heic_rs::context::Context;
use heic_rs::grid::compose;
use heic_rs::hevc::{Frame, decode_still};
use heic_rs::image::check_pixels;
use heic_rs::transform::apply_all;
use heic_rs::{Error, Mirror, PixelLayout, Transform};
use image::RgbImage;
use rayon::prelude::*;

/// Whether the bytes begin like a HEIC file: a file-type box (ISO/IEC 14496-12, 4.3) with a brand
/// of ISO/IEC 23008-12, annex B.
pub(super) fn looks_like_heic(bytes: &[u8]) -> bool {
    let brands: [&[u8]; 7] = [
        b"heic", b"heix", b"heim", b"heis", b"mif1", b"msf1", b"hevc",
    ];
    bytes.get(4..8) == Some(b"ftyp")
        && bytes
            .get(8..12)
            .is_some_and(|brand| brands.contains(&brand))
}

/// Decodes a HEIC picture, turned as the file itself says; the EXIF orientation must not be applied
/// on top.
///
/// # Errors
/// Too many pixels, cut short, damaged, or coded in a way that is not read.
pub(super) fn decode_heic(
    bytes: &[u8],
    name: &str,
    limits: Limits,
) -> Result<RgbImage, PhotoError> {
    let failed = |error: Error| match error {
        Error::Truncated(_) => PhotoError::CutShort {
            path: name.into(),
            kind: "HEIC",
        },
        other => PhotoError::Damaged {
            path: name.into(),
            detail: other.to_string(),
        },
    };
    let about = heic_rs::probe(bytes).map_err(failed)?;
    if u64::from(about.width) * u64::from(about.height) > limits.pixels {
        return Err(PhotoError::TooManyPixels {
            path: name.into(),
            width: about.width,
            height: about.height,
            limit_megapixels: limits.pixels / 1_000_000,
        });
    }
    let picture = pixels(bytes, limits.pixels).map_err(failed)?;
    RgbImage::from_raw(picture.width, picture.height, picture.data).ok_or_else(|| {
        PhotoError::Damaged {
            path: name.into(),
            detail: "the decoded picture has another size than it says".into(),
        }
    })
}

/// The picture, its colours as the file says or, where it is silent, as the coded stream does.
fn pixels(bytes: &[u8], most: u64) -> Result<heic_rs::Image, Error> {
    let file = Context::open(bytes)?;
    let properties = file.props(file.meta.primary)?;
    // Before cropping it may be larger than what it is shown as.
    let (width, height) = file.coded_size(file.meta.primary, &properties)?;
    check_pixels(width, height, most)?;
    let (frame, coded_properties) = match file.grid(file.meta.primary)? {
        Some((grid, tiles)) => {
            let first = tiles.first().copied().unwrap_or(file.meta.primary);
            let first_tile = file.props(first)?;
            let frames: Result<Vec<Frame>, Error> =
                tiles.par_iter().map(|&tile| coded(&file, tile)).collect();
            (compose(&grid, &frames?, most)?, first_tile)
        }
        None => (coded(&file, file.meta.primary)?, properties.clone()),
    };
    let in_stream = || colours(&coded_properties.hvcc.as_ref()?.parameter_sets());
    let colours = properties
        .nclx
        .or(coded_properties.nclx)
        .or_else(in_stream)
        .unwrap_or_else(usual);
    let picture = convert(&frame, None, colours, PixelLayout::Rgb8, most, None)?;
    apply_all(picture, &as_meant(&properties.transforms))
}

/// The turns and mirrorings of a file as ISO/IEC 23008-12:2022 has them (6.5.12, from memory; files of an
/// independent encoder bear it out): mirroring 0 exchanges top and bottom, 1 left and right. The decoder
/// names them by the wording of 2017, which was read both ways.
fn as_meant(transforms: &[Transform]) -> Vec<Transform> {
    let meant = |transform: &Transform| match *transform {
        Transform::Mirror(Mirror::LeftRight) => Transform::Mirror(Mirror::TopBottom),
        Transform::Mirror(Mirror::TopBottom) => Transform::Mirror(Mirror::LeftRight),
        other => other,
    };
    transforms.iter().map(meant).collect()
}

/// One coded picture: the whole, or a tile of it.
fn coded(file: &Context, item: u32) -> Result<Frame, Error> {
    let properties = file.props(item)?;
    let coding = properties.hvcc.as_ref().ok_or(Error::MissingBox("hvcC"))?;
    let data = file.item_data(item)?;
    let frame = decode_still(&coding.parameter_sets(), &coding.split_nals(&data)?)?;
    Ok(frame)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_type_box_of_the_right_brand_is_heic() {
        assert!(looks_like_heic(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic"));
        assert!(!looks_like_heic(b"\0\0\0\x18ftypisom\0\0\0\0isomavc1"));
        assert!(!looks_like_heic(b"\xff\xd8\xff\xe0"));
    }

    #[test]
    fn a_header_without_a_picture_is_an_error() {
        let bytes = b"\0\0\0\x18ftypheic\0\0\0\0mif1heic";
        let error = decode_heic(bytes, "phone.heic", Limits::default()).unwrap_err();
        assert!(error.to_string().starts_with("phone.heic is "), "{error}");
    }
}
