//! A photo without what the camera wrote about place, time and owner, for an archive that leaves the workshop.
//!
//! JPEG, PNG and WebP files are copied part by part: what the picture needs stays bit for bit, all else (EXIF,
//! XMP, comments, anything behind the picture's end) is left out. The orientation and the focal length,
//! which a reading needs, are written anew. HEIC and TIFF hold their notes all over the file, so those
//! leave as PNG of the working copy.

use super::JobError;
use crate::photo::{self, CameraFacts, camera_facts};
use exif::experimental::Writer;
use exif::{Context, Field, In, Tag, Value};
use image::{DynamicImage, ImageFormat};
use img_parts::png::Png;
use img_parts::webp::WebP;
use img_parts::{Bytes, ImageEXIF as _};
use std::io::{Cursor, Write as _};

/// The photo's bytes without notes, and the ending its file should have.
///
/// # Errors
/// A file that cannot be taken apart; one whose notes still name a place afterwards.
pub(crate) fn without_metadata(
    bytes: &[u8],
    name: &str,
) -> Result<(Vec<u8>, &'static str), JobError> {
    let bad = |detail: &str| JobError::Metadata {
        name: name.to_owned(),
        detail: detail.to_owned(),
    };
    let facts = camera_facts(bytes);
    let (clean, ending) = if bytes.starts_with(&[0xff, 0xd8]) {
        (jpeg(bytes, &facts), "jpg")
    } else if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        (png(bytes, &facts), "png")
    } else if bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP") {
        (webp(bytes, &facts), "webp")
    } else {
        (Some(redrawn(bytes, name)?), "png")
    };
    let clean = clean.ok_or_else(|| bad("it is cut short or damaged"))?;
    if names_a_place(&clean) {
        return Err(bad("its notes still name a place"));
    }
    Ok((clean, ending))
}

/// Whether a file's notes say where it was taken.
pub(crate) fn names_a_place(bytes: &[u8]) -> bool {
    let exif = exif::Reader::new()
        .read_from_container(&mut Cursor::new(bytes))
        .is_ok_and(|found| {
            found
                .fields()
                .any(|field| field.tag.context() == Context::Gps)
        });
    let xmp = [
        &b"exif:GPS"[..],
        b"GPSLatitude",
        b"LocationCreated",
        b"GPSCoordinates",
    ]
    .iter()
    .any(|mark| bytes.windows(mark.len()).any(|window| window == *mark));
    exif || xmp
}

/// An EXIF block with nothing but orientation and focal length.
fn notes(facts: &CameraFacts) -> Option<Vec<u8>> {
    let field = |tag, value| Field {
        tag,
        ifd_num: In::PRIMARY,
        value: Value::Short(vec![value]),
    };
    let orientation = facts.orientation.map(u16::from);
    let focal_mm = facts.focal_35mm.map(|mm| mm.round() as u16);
    let fields = [
        orientation.map(|value| field(Tag::Orientation, value)),
        focal_mm.map(|value| field(Tag::FocalLengthIn35mmFilm, value)),
    ];
    let mut writer = Writer::new();
    for field in fields.iter().flatten() {
        writer.push_field(field);
    }
    let mut block = Cursor::new(Vec::new());
    // It fails where there is nothing to write.
    writer.write(&mut block, false).ok()?;
    Some(block.into_inner())
}

/// JPEG segments (ITU-T T.81, annex B): kept are those a decoder needs, and the colour profile.
///
/// By hand: `img-parts` keeps whatever follows the first scan's head, and there phones put a second picture with
/// notes of its own.
fn jpeg(bytes: &[u8], facts: &CameraFacts) -> Option<Vec<u8>> {
    let mut out = vec![0xff, 0xd8];
    if let Some(notes) = notes(facts) {
        let length = u16::try_from(2 + 6 + notes.len()).ok()?;
        out.extend([0xff, 0xe1]);
        out.extend(length.to_be_bytes());
        out.extend(b"Exif\0\0");
        out.extend(notes);
    }
    let mut at = 2;
    loop {
        // A marker may be led in by any number of FF.
        while *bytes.get(at + 1)? == 0xff {
            at += 1;
        }
        if *bytes.get(at)? != 0xff {
            return None;
        }
        let marker = *bytes.get(at + 1)?;
        if marker == 0xd9 {
            out.extend([0xff, 0xd9]);
            return Some(out);
        }
        let length = usize::from(u16::from_be_bytes([
            *bytes.get(at + 2)?,
            *bytes.get(at + 3)?,
        ]));
        let end = at + 2 + length;
        let segment = bytes.get(at..end)?;
        let profile = segment.get(4..15) == Some(b"ICC_PROFILE");
        let keep = match marker {
            0xe0 | 0xee => true,
            0xe2 => profile,
            0xe1..=0xef | 0xfe => false,
            _ => true,
        };
        if keep {
            out.extend(segment);
        }
        at = end;
        if marker == 0xda {
            let start = at;
            // Entropy-coded data runs to the next marker that is neither stuffing nor a restart.
            while *bytes.get(at)? != 0xff || matches!(*bytes.get(at + 1)?, 0x00 | 0xd0..=0xd7) {
                at += 1;
            }
            out.extend(bytes.get(start..at)?);
        }
    }
}

/// PNG chunks (PNG specification, 5): kept are the picture's own.
fn png(bytes: &[u8], facts: &CameraFacts) -> Option<Vec<u8>> {
    const KEPT: [&[u8; 4]; 12] = [
        b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT",
        b"bKGD", b"pHYs",
    ];
    let mut picture = Png::from_bytes(Bytes::copy_from_slice(bytes)).ok()?;
    let whole = picture.chunk_by_type(*b"IEND").is_some();
    picture
        .chunks_mut()
        .retain(|chunk| KEPT.contains(&&chunk.kind()));
    picture.set_exif(notes(facts).map(Bytes::from));
    whole.then(|| picture.encoder().bytes().to_vec())
}

/// WebP chunks (RFC 9649): kept are the picture's own.
fn webp(bytes: &[u8], facts: &CameraFacts) -> Option<Vec<u8>> {
    const KEPT: [&[u8; 4]; 7] = [
        b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ICCP", b"ANIM", b"ANMF",
    ];
    let mut picture = WebP::from_bytes(Bytes::copy_from_slice(bytes)).ok()?;
    picture
        .chunks_mut()
        .retain(|chunk| KEPT.contains(&&chunk.id()));
    picture.set_exif(notes(facts).map(Bytes::from));
    Some(picture.encoder().bytes().to_vec())
}

/// The upright working copy as PNG.
fn redrawn(bytes: &[u8], name: &str) -> Result<Vec<u8>, JobError> {
    let bad = |detail: String| JobError::Metadata {
        name: name.to_owned(),
        detail,
    };
    let mut file = tempfile::NamedTempFile::new().map_err(|error| bad(error.to_string()))?;
    file.write_all(bytes)
        .map_err(|error| bad(error.to_string()))?;
    let opened = photo::open(file.path()).map_err(|error| bad(error.to_string()))?;
    let mut out = Vec::new();
    DynamicImage::from(opened.working)
        .write_to(&mut Cursor::new(&mut out), ImageFormat::Png)
        .map_err(|error| bad(error.to_string()))?;
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::RgbImage;
    use img_parts::png::PngChunk;

    /// A TIFF block with orientation 6, a place (48° N) and a focal length of 26 mm, written by hand after EXIF 2.32.
    fn notes_with_a_place() -> Vec<u8> {
        let mut block = b"MM\0\x2a\0\0\0\x08".to_vec();
        let entry = |tag: u16, kind: u16, count: u32, value: [u8; 4]| {
            let mut entry = Vec::new();
            entry.extend(tag.to_be_bytes());
            entry.extend(kind.to_be_bytes());
            entry.extend(count.to_be_bytes());
            entry.extend(value);
            entry
        };
        block.extend(3_u16.to_be_bytes());
        block.extend(entry(0x0112, 3, 1, [0, 6, 0, 0]));
        block.extend(entry(0x8769, 4, 1, 50_u32.to_be_bytes()));
        block.extend(entry(0x8825, 4, 1, 68_u32.to_be_bytes()));
        block.extend(0_u32.to_be_bytes());
        assert_eq!(block.len(), 50);
        block.extend(1_u16.to_be_bytes());
        block.extend(entry(0xa405, 3, 1, [0, 26, 0, 0]));
        block.extend(0_u32.to_be_bytes());
        assert_eq!(block.len(), 68);
        block.extend(2_u16.to_be_bytes());
        block.extend(entry(1, 2, 2, [b'N', 0, 0, 0]));
        block.extend(entry(2, 5, 3, 98_u32.to_be_bytes()));
        block.extend(0_u32.to_be_bytes());
        assert_eq!(block.len(), 98);
        for (above, below) in [(48_u32, 1_u32), (7, 1), (0, 1)] {
            block.extend(above.to_be_bytes());
            block.extend(below.to_be_bytes());
        }
        block
    }

    fn picture(format: ImageFormat) -> Vec<u8> {
        let mut bytes = Vec::new();
        RgbImage::from_fn(40, 20, |x, y| {
            image::Rgb([(6 * x) as u8, (12 * y) as u8, 90])
        })
        .write_to(&mut Cursor::new(&mut bytes), format)
        .unwrap();
        bytes
    }

    fn jpeg_with_a_place() -> Vec<u8> {
        let notes = notes_with_a_place();
        let mut bytes = vec![0xff, 0xd8, 0xff, 0xe1];
        bytes.extend((notes.len() as u16 + 8).to_be_bytes());
        bytes.extend(b"Exif\0\0");
        bytes.extend(notes);
        bytes.extend(&picture(ImageFormat::Jpeg)[2..]);
        // A second picture behind the first, as phones append them, has a place of its own.
        bytes.extend(b"<x:xmpmeta exif:GPSLatitude=\"48,7N\"/>");
        bytes
    }

    fn png_with_a_place() -> Vec<u8> {
        let plain = picture(ImageFormat::Png);
        // Behind the header chunk: 8 + 4 + 4 + 13 + 4.
        let mut bytes = plain[..33].to_vec();
        for (kind, data) in [
            (*b"eXIf", notes_with_a_place()),
            (*b"tEXt", b"Comment\0exif:GPSLatitude 48".to_vec()),
        ] {
            bytes.extend(PngChunk::new(kind, data.into()).encoder().bytes());
        }
        bytes.extend(&plain[33..]);
        bytes
    }

    fn webp_with_a_place() -> Vec<u8> {
        let plain = picture(ImageFormat::WebP);
        let notes = notes_with_a_place();
        let mut body = b"VP8X".to_vec();
        body.extend(10_u32.to_le_bytes());
        body.extend([0b1000, 0, 0, 0]);
        body.extend(&39_u32.to_le_bytes()[..3]);
        body.extend(&19_u32.to_le_bytes()[..3]);
        body.extend(&plain[12..]);
        body.extend(b"EXIF");
        body.extend((notes.len() as u32).to_le_bytes());
        body.extend(notes);
        let mut bytes = b"RIFF".to_vec();
        bytes.extend((body.len() as u32 + 4).to_le_bytes());
        bytes.extend(b"WEBP");
        bytes.extend(body);
        bytes
    }

    fn pixels(bytes: &[u8]) -> RgbImage {
        image::load_from_memory(bytes).unwrap().into_rgb8()
    }

    #[test]
    fn place_goes_and_picture_orientation_and_focal_length_stay() {
        for (name, bytes) in [
            ("a.jpg", jpeg_with_a_place()),
            ("a.png", png_with_a_place()),
            ("a.webp", webp_with_a_place()),
        ] {
            assert!(names_a_place(&bytes), "{name}");
            let (clean, ending) = without_metadata(&bytes, name).unwrap();
            assert!(!names_a_place(&clean), "{name}");
            assert!(name.ends_with(ending));
            assert_eq!(pixels(&clean), pixels(&bytes), "{name}");
            let facts = camera_facts(&clean);
            assert_eq!(facts.orientation, Some(6), "{name}");
            assert_eq!(facts.focal_35mm, Some(26.0), "{name}");
            // What is clean already stays as it is.
            assert_eq!(without_metadata(&clean, name).unwrap().0, clean, "{name}");
        }
    }

    #[test]
    fn a_tiff_leaves_as_a_png_of_the_same_pixels() {
        let bytes = picture(ImageFormat::Tiff);
        let (clean, ending) = without_metadata(&bytes, "a.tif").unwrap();
        assert_eq!(ending, "png");
        assert_eq!(pixels(&clean), pixels(&bytes));
    }

    #[test]
    fn photos_of_the_fixtures_keep_their_pixels() {
        for name in ["painted/drive-yellow.jpg", "rendered/h007.jpg"] {
            let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
                .join("fixtures")
                .join(name);
            let bytes = std::fs::read(path).unwrap();
            let (clean, _) = without_metadata(&bytes, name).unwrap();
            assert_eq!(pixels(&clean), pixels(&bytes), "{name}");
        }
    }

    #[test]
    fn files_cut_short_are_refused_and_never_panic() {
        for bytes in [jpeg_with_a_place(), png_with_a_place(), webp_with_a_place()] {
            let whole = bytes.len();
            for cut in (0..whole).step_by(7) {
                let _ = without_metadata(&bytes[..cut], "cut");
            }
        }
        assert!(without_metadata(&jpeg_with_a_place()[..300], "cut.jpg").is_err());
    }
}
