//! Opening a photo: limits first, then sniffing, decoding, shrinking, turning.

use super::decoded::Decoded;
use super::exif::{CameraFacts, camera_facts};
#[cfg(feature = "heic")]
use super::heic::{decode_heic, looks_like_heic};
use super::jpeg::shrunk_jpeg;
use super::jpeg_data::whole_share;
use super::jpeg_markers::jpeg_is_complete;
use super::limits::Limits;
use super::png_chunks::only_pixels;
use super::shrink::resized;
use super::{Photo, PhotoError, WORKING_SIDE_PX};
use crate::files;
use image::metadata::Orientation;
use image::{DynamicImage, ImageFormat, ImageReader, RgbImage};
use sha2::{Digest, Sha256};
use std::fs;
use std::io::Cursor;
use std::path::Path;

/// Opens the photo at `path` within the usual limits.
///
/// # Errors
/// [`PhotoError`] says what is wrong with the file.
pub(crate) fn open(path: &Path) -> Result<Photo, PhotoError> {
    open_with(path, Limits::default())
}

/// Opens the photo at `path` within `limits`.
///
/// # Errors
/// [`PhotoError`] says what is wrong with the file.
pub(crate) fn open_with(path: &Path, limits: Limits) -> Result<Photo, PhotoError> {
    let name = path.display().to_string();
    let bytes = read_bytes(path, limits)?;
    from_bytes(bytes, name, limits)
}

/// Opens a photo of this name whose file is in memory; its size was looked at by whoever put it there.
///
/// # Errors
/// [`PhotoError`] says what is wrong with it.
pub(crate) fn from_bytes(
    bytes: Vec<u8>,
    name: String,
    limits: Limits,
) -> Result<Photo, PhotoError> {
    let sha256 = format!("{:x}", Sha256::digest(&bytes));
    open_bytes(bytes, name, sha256, limits)
}

/// Opens the photo that is in the bytes of a file of that name.
///
/// # Errors
/// [`PhotoError`] says what is wrong with the file.
pub(crate) fn open_bytes(
    bytes: Vec<u8>,
    name: String,
    sha256: String,
    limits: Limits,
) -> Result<Photo, PhotoError> {
    if bytes.is_empty() {
        return Err(PhotoError::Empty { path: name });
    }
    let facts = camera_facts(&bytes);
    #[cfg(feature = "heic")]
    if looks_like_heic(&bytes) {
        let decoded = decode_heic(&bytes, &name, limits)?.into();
        drop(bytes);
        // The decoder turns the picture itself.
        let facts = CameraFacts {
            orientation: None,
            ..facts
        };
        return Ok(upright(decoded, facts, name, sha256));
    }
    let kind = sniff(&bytes, &name)?;
    let decoded = decode(&bytes, kind, &name, limits)?;
    drop(bytes);
    Ok(upright(decoded, facts, name, sha256))
}

/// The bytes of a photo's file within `limits`.
///
/// # Errors
/// It cannot be read, is a folder, or too large.
pub(crate) fn read_bytes(path: &Path, limits: Limits) -> Result<Vec<u8>, PhotoError> {
    let name = path.display().to_string();
    let unreadable = |source| PhotoError::Unreadable {
        path: name.clone(),
        source,
    };
    let about = fs::metadata(path).map_err(unreadable)?;
    if about.is_dir() {
        return Err(PhotoError::Folder { path: name });
    }
    if about.len() > limits.bytes {
        return Err(PhotoError::TooManyBytes {
            path: name,
            megabytes: about.len().div_ceil(1_000_000),
            limit_megabytes: limits.bytes / 1_000_000,
        });
    }
    files::read(path, limits.bytes).map_err(unreadable)
}

/// Whether bytes begin like a photo of a kind that is opened.
#[cfg(feature = "cli")]
pub(crate) fn looks_like_photo(bytes: &[u8]) -> bool {
    #[cfg(feature = "heic")]
    if looks_like_heic(bytes) {
        return true;
    }
    sniff(bytes, "").is_ok()
}

/// The formats by the names people know them by, and whether this build opens them.
#[cfg(feature = "cli")]
pub(crate) fn formats() -> [(&'static str, bool); 5] {
    [
        // JPEG is decoded without the picture library.
        ("JPEG", true),
        ("PNG", ImageFormat::Png.reading_enabled()),
        ("WebP", ImageFormat::WebP.reading_enabled()),
        ("TIFF", ImageFormat::Tiff.reading_enabled()),
        ("HEIC", cfg!(feature = "heic")),
    ]
}

/// The format by the first bytes; the file's name is not asked.
fn sniff(bytes: &[u8], name: &str) -> Result<ImageFormat, PhotoError> {
    let looks_like = match image::guess_format(bytes) {
        Ok(
            kind @ (ImageFormat::Jpeg | ImageFormat::Png | ImageFormat::WebP | ImageFormat::Tiff),
        ) => return Ok(kind),
        Ok(_) => "a picture format that is not read here",
        Err(_) if bytes.starts_with(b"%PDF") => "it is a PDF document",
        Err(_) if bytes.get(4..8) == Some(b"ftyp") => {
            "it is a film or a kind of picture not read here"
        }
        Err(_) if std::str::from_utf8(&bytes[..bytes.len().min(512)]).is_ok() => "it is text",
        Err(_) => "its first bytes fit no picture format",
    };
    Err(PhotoError::NotAPicture {
        path: name.into(),
        looks_like,
    })
}

fn decode(
    bytes: &[u8],
    kind: ImageFormat,
    name: &str,
    limits: Limits,
) -> Result<Decoded, PhotoError> {
    let cut_short = |kind| PhotoError::CutShort {
        path: name.into(),
        kind,
    };
    let failed = |error: image::ImageError| match &error {
        image::ImageError::IoError(_) => cut_short(kind_word(kind)),
        _ => PhotoError::Damaged {
            path: name.into(),
            detail: error.to_string(),
        },
    };
    let complete = kind != ImageFormat::Jpeg || jpeg_is_complete(bytes);
    // A decoder goes on past lost bytes, shifts what follows and fills the rest with grey.
    if kind == ImageFormat::Jpeg && complete && whole_share(bytes).is_some_and(|share| share < 1.0)
    {
        return Err(PhotoError::Damaged {
            path: name.into(),
            detail: "a part of the picture's data is missing".into(),
        });
    }
    // First, for only the usual way copies the file.
    if kind == ImageFormat::Jpeg
        && complete
        && let Some(decoded) = shrunk_jpeg(bytes, limits.pixels)
    {
        return Ok(decoded);
    }
    let pixels_only;
    let bytes = if kind == ImageFormat::Png {
        pixels_only = only_pixels(bytes);
        &pixels_only
    } else {
        bytes
    };
    let (width, height) = ImageReader::with_format(Cursor::new(bytes), kind)
        .into_dimensions()
        .map_err(failed)?;
    if u64::from(width) * u64::from(height) > limits.pixels {
        return Err(PhotoError::TooManyPixels {
            path: name.into(),
            width,
            height,
            limit_megapixels: limits.pixels / 1_000_000,
        });
    }
    if width.max(height) > limits.side {
        return Err(PhotoError::TooLong {
            path: name.into(),
            width,
            height,
            limit: limits.side,
        });
    }
    if !complete {
        return Err(cut_short(kind_word(kind)));
    }
    let mut reader = ImageReader::with_format(Cursor::new(bytes), kind);
    let mut memory = image::Limits::default();
    // Eight bytes a pixel cover 16-bit colour with transparency; a little for the decoder itself.
    memory.max_alloc = Some(limits.pixels * 8 + 64_000_000);
    reader.limits(memory);
    Ok(reader.decode().map_err(failed)?.into_rgb8().into())
}

const fn kind_word(kind: ImageFormat) -> &'static str {
    match kind {
        ImageFormat::Jpeg => "JPEG",
        ImageFormat::Png => "PNG",
        ImageFormat::WebP => "WebP",
        _ => "TIFF",
    }
}

/// Shrinks to the working size, then turns: turning the small copy costs a fraction.
fn upright(decoded: Decoded, facts: CameraFacts, path: String, sha256: String) -> Photo {
    let orientation = facts
        .orientation
        .and_then(Orientation::from_exif)
        .unwrap_or(Orientation::NoTransforms);
    let (mut width, mut height) = decoded.size;
    let mut working = DynamicImage::ImageRgb8(shrink(decoded.pixels));
    working.apply_orientation(orientation);
    if matches!(
        orientation,
        Orientation::Rotate90
            | Orientation::Rotate270
            | Orientation::Rotate90FlipH
            | Orientation::Rotate270FlipH
    ) {
        (width, height) = (height, width);
    }
    let working = working.into_rgb8();
    let scale = f64::from(working.width().max(working.height())) / f64::from(width.max(height));
    Photo {
        path,
        sha256,
        width,
        height,
        focal_35mm: facts.focal_35mm,
        working,
        scale,
        part: None,
        layout: Default::default(),
    }
}

/// The picture with its longest side at most [`WORKING_SIDE_PX`], by area averaging.
fn shrink(full: RgbImage) -> RgbImage {
    let (width, height) = full.dimensions();
    let longest = width.max(height);
    if longest <= WORKING_SIDE_PX {
        return full;
    }
    let to = |side: u32| {
        let share = f64::from(side) * f64::from(WORKING_SIDE_PX) / f64::from(longest);
        (share.round() as u32).max(1)
    };
    resized(&full, (0, 0, width, height), (to(width), to(height)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write as _;

    fn file(bytes: &[u8]) -> tempfile::NamedTempFile {
        let mut file = tempfile::Builder::new().suffix(".jpg").tempfile().unwrap();
        file.write_all(bytes).unwrap();
        file
    }

    fn png(width: u32, height: u32) -> Vec<u8> {
        let mut bytes = Vec::new();
        RgbImage::from_fn(width, height, |x, _| image::Rgb([x as u8, 0, 0]))
            .write_to(&mut Cursor::new(&mut bytes), ImageFormat::Png)
            .unwrap();
        bytes
    }

    #[test]
    fn a_large_picture_is_shrunk_and_keeps_its_full_size_in_numbers() {
        let photo = open(file(&png(3000, 1000)).path()).unwrap();
        assert_eq!((photo.width, photo.height), (3000, 1000));
        assert_eq!(photo.working.dimensions(), (2048, 683));
        assert!((photo.scale - 2048.0 / 3000.0).abs() < 1e-12);
        assert_eq!(photo.sha256.len(), 64);
    }

    #[test]
    fn a_header_that_claims_too_much_is_refused_before_decoding() {
        let mut bytes = png(4, 4);
        bytes[16..20].copy_from_slice(&30_000u32.to_be_bytes());
        bytes[20..24].copy_from_slice(&30_000u32.to_be_bytes());
        // The header chunk's checksum over type and data (PNG specification, 5.5).
        let crc = crate::photo::png_chunks::crc32(&bytes[12..29]);
        bytes[29..33].copy_from_slice(&crc.to_be_bytes());
        let error = open(file(&bytes).path()).unwrap_err();
        assert!(
            matches!(error, PhotoError::TooManyPixels { width: 30_000, .. }),
            "{error}"
        );
    }

    #[test]
    fn a_picture_of_one_endless_row_is_refused() {
        let mut bytes = png(4, 4);
        bytes[16..20].copy_from_slice(&100_000_000u32.to_be_bytes());
        bytes[20..24].copy_from_slice(&1u32.to_be_bytes());
        let crc = crate::photo::png_chunks::crc32(&bytes[12..29]);
        bytes[29..33].copy_from_slice(&crc.to_be_bytes());
        let error = open(file(&bytes).path()).unwrap_err();
        assert!(
            matches!(error, PhotoError::TooLong { height: 1, .. }),
            "{error}"
        );
    }

    #[cfg(unix)]
    #[test]
    fn a_pipe_or_a_device_is_no_photo() {
        let folder = tempfile::tempdir().unwrap();
        let pipe = folder.path().join("drive.jpg");
        let made = std::process::Command::new("mkfifo")
            .arg(&pipe)
            .status()
            .unwrap();
        assert!(made.success());
        for path in [pipe.as_path(), Path::new("/dev/zero")] {
            let error = open(path).unwrap_err().to_string();
            assert!(error.contains("a pipe, a socket or a device"), "{error}");
        }
    }

    #[test]
    fn every_bad_file_gets_its_own_sentence() {
        let cut = png(300, 300);
        let cases: [(&[u8], &str); 4] = [
            (b"", "is empty"),
            (
                b"tooth contact, drive side",
                "is not a picture (it is text)",
            ),
            (b"%PDF-1.7\n\xff\xfe", "PDF document"),
            (&cut[..cut.len() / 2], "cut short"),
        ];
        for (bytes, words) in cases {
            let message = open(file(bytes).path()).unwrap_err().to_string();
            assert!(message.contains(words), "{message}");
            assert!(!message.contains('\n'));
        }
        let folder = tempfile::tempdir().unwrap();
        assert!(matches!(
            open(folder.path()),
            Err(PhotoError::Folder { .. })
        ));
    }
}
