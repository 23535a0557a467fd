//! HEIC pictures, as phones write them.

use super::PhotoError;
use super::open::Limits;
use heic_rs::{DecodeOptions, Error};
use image::RgbImage;

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
    let options = DecodeOptions {
        max_pixels: Some(limits.pixels),
        decode_alpha: false,
        ..DecodeOptions::default()
    };
    let picture = heic_rs::decode(bytes, &options).map_err(failed)?;
    RgbImage::from_raw(picture.width, picture.height, picture.data).ok_or_else(|| {
        PhotoError::Damaged {
            path: name.into(),
            detail: "the decoded picture has another size than it says".into(),
        }
    })
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
