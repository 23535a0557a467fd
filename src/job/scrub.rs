//! A photo without what the camera wrote about place, time and owner, for an archive that leaves the workshop.
//!
//! JPEG, PNG and WebP files are copied part by part: what the picture needs stays bit for bit, all else (EXIF,
//! XMP, comments, anything behind the picture's end) is left out. The orientation and the focal length,
//! which a reading needs, are written anew. HEIC and TIFF hold their notes all over the file, so those
//! leave as PNG of the working copy.

use super::JobError;
use crate::photo::{self, CameraFacts, camera_facts};
use image::{DynamicImage, ImageFormat};
use std::io::{Cursor, Write as _};

/// The photo's bytes without notes, and the ending its file should have.
///
/// # Errors
/// A file that cannot be taken apart; one whose notes still name a place afterwards.
pub fn scrubbed(bytes: &[u8], name: &str) -> Result<(Vec<u8>, &'static str), JobError> {
    let bad = |detail: &str| JobError::Scrub {
        name: name.to_owned(),
        detail: detail.to_owned(),
    };
    let facts = camera_facts(bytes);
    let (clean, ending) = if bytes.starts_with(&[0xff, 0xd8]) {
        (
            jpeg(bytes, &facts).ok_or_else(|| bad("it is cut short"))?,
            "jpg",
        )
    } else if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        (
            png(bytes, &facts).ok_or_else(|| bad("it is cut short"))?,
            "png",
        )
    } else if bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP") {
        (
            webp(bytes, &facts).ok_or_else(|| bad("it is cut short"))?,
            "webp",
        )
    } else {
        (redrawn(bytes, name)?, "png")
    };
    if names_a_place(&clean) {
        return Err(bad("its notes still name a place"));
    }
    Ok((clean, ending))
}

/// Whether a file's notes say where it was taken.
pub fn names_a_place(bytes: &[u8]) -> bool {
    let exif = exif::Reader::new()
        .read_from_container(&mut Cursor::new(bytes))
        .is_ok_and(|found| {
            found
                .fields()
                .any(|field| field.tag.context() == exif::Context::Gps)
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

/// A TIFF block with nothing but orientation and focal length (EXIF 2.32, 4.6): the shortest that says it.
fn notes(facts: &CameraFacts) -> Option<Vec<u8>> {
    if facts.orientation.is_none() && facts.focal_35mm.is_none() {
        return None;
    }
    let entry = |tag: u16, kind: u16, value: u32| {
        let mut entry = Vec::with_capacity(12);
        entry.extend(tag.to_be_bytes());
        entry.extend(kind.to_be_bytes());
        entry.extend(1_u32.to_be_bytes());
        // A SHORT stands in the upper half of its four bytes.
        entry.extend(if kind == 3 { value << 16 } else { value }.to_be_bytes());
        entry
    };
    let orientation = u32::from(facts.orientation.unwrap_or(1));
    let mut block = b"MM\0\x2a\0\0\0\x08".to_vec();
    let focal = facts.focal_35mm.map(|mm| mm.round() as u32);
    block.extend(if focal.is_some() { 2_u16 } else { 1 }.to_be_bytes());
    block.extend(entry(0x0112, 3, orientation));
    if let Some(focal) = focal {
        // The EXIF directory follows this one: 8 + 2 + 2 × 12 + 4.
        block.extend(entry(0x8769, 4, 38));
        block.extend(0_u32.to_be_bytes());
        block.extend(1_u16.to_be_bytes());
        block.extend(entry(0xa405, 3, focal));
    }
    block.extend(0_u32.to_be_bytes());
    Some(block)
}

/// JPEG segments (ITU-T T.81, annex B): kept are those a decoder needs, and the colour profile.
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
    const KEPT: [&[u8]; 12] = [
        b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT",
        b"bKGD", b"pHYs",
    ];
    let mut out = bytes.get(..8)?.to_vec();
    let mut waiting = notes(facts);
    let mut at = 8;
    loop {
        let length = u32::from_be_bytes(bytes.get(at..at + 4)?.try_into().ok()?) as usize;
        let kind = bytes.get(at + 4..at + 8)?;
        let end = at.checked_add(length)?.checked_add(12)?;
        // Notes stand before the picture's data.
        if kind == b"IDAT"
            && let Some(notes) = waiting.take()
        {
            chunk(&mut out, b"eXIf", &notes);
        }
        if KEPT.contains(&kind) {
            out.extend(bytes.get(at..end)?);
        }
        if kind == b"IEND" {
            return Some(out);
        }
        at = end;
    }
}

fn chunk(out: &mut Vec<u8>, kind: &[u8; 4], data: &[u8]) {
    out.extend((data.len() as u32).to_be_bytes());
    let start = out.len();
    out.extend(kind);
    out.extend(data);
    // The checksum of the PNG specification's annex D.
    let crc = !out[start..].iter().fold(!0_u32, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| {
            if crc & 1 == 1 {
                0xedb8_8320 ^ (crc >> 1)
            } else {
                crc >> 1
            }
        })
    });
    out.extend(crc.to_be_bytes());
}

/// WebP chunks (RFC 9649): kept are the picture's own; the flags of the header are set to what is there.
fn webp(bytes: &[u8], facts: &CameraFacts) -> Option<Vec<u8>> {
    let mut body: Vec<u8> = Vec::with_capacity(bytes.len());
    let mut at = 12;
    let size = u32::from_le_bytes(bytes.get(4..8)?.try_into().ok()?) as usize;
    let end_of_file = size.checked_add(8)?.min(bytes.len());
    let notes = notes(facts);
    let mut extended = false;
    while at + 8 <= end_of_file {
        let kind = bytes.get(at..at + 4)?;
        let length = u32::from_le_bytes(bytes.get(at + 4..at + 8)?.try_into().ok()?) as usize;
        let end = at
            .checked_add(8)?
            .checked_add(length)?
            .checked_add(length & 1)?;
        if matches!(
            kind,
            b"VP8 " | b"VP8L" | b"VP8X" | b"ALPH" | b"ICCP" | b"ANIM" | b"ANMF"
        ) {
            let start = body.len();
            body.extend(bytes.get(at..end)?);
            if kind == b"VP8X" {
                extended = true;
                // Bit 3 says EXIF, bit 2 XMP (RFC 9649, 2.7.1).
                let flags = body.get_mut(start + 8)?;
                *flags &= !0b1100;
                if notes.is_some() {
                    *flags |= 0b1000;
                }
            }
        }
        at = end;
    }
    if let (true, Some(notes)) = (extended, notes) {
        body.extend(b"EXIF");
        body.extend((notes.len() as u32).to_le_bytes());
        body.extend(&notes);
        if notes.len() % 2 == 1 {
            body.push(0);
        }
    }
    let mut out = b"RIFF".to_vec();
    out.extend((body.len() as u32 + 4).to_le_bytes());
    out.extend(b"WEBP");
    out.extend(body);
    Some(out)
}

/// The upright working copy as PNG.
fn redrawn(bytes: &[u8], name: &str) -> Result<Vec<u8>, JobError> {
    let bad = |detail: String| JobError::Scrub {
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
        chunk(&mut bytes, b"eXIf", &notes_with_a_place());
        chunk(&mut bytes, b"tEXt", b"Comment\0exif:GPSLatitude 48");
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
            let (clean, ending) = scrubbed(&bytes, name).unwrap();
            assert!(!names_a_place(&clean), "{name}");
            assert!(name.ends_with(ending));
            assert_eq!(pixels(&clean), pixels(&bytes), "{name}");
            let facts = camera_facts(&clean);
            assert_eq!(facts.orientation, Some(6), "{name}");
            assert_eq!(facts.focal_35mm, Some(26.0), "{name}");
            // What is clean already stays as it is.
            assert_eq!(scrubbed(&clean, name).unwrap().0, clean, "{name}");
        }
    }

    #[test]
    fn a_tiff_leaves_as_a_png_of_the_same_pixels() {
        let bytes = picture(ImageFormat::Tiff);
        let (clean, ending) = scrubbed(&bytes, "a.tif").unwrap();
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
            let (clean, _) = scrubbed(&bytes, name).unwrap();
            assert_eq!(pixels(&clean), pixels(&bytes), "{name}");
        }
    }

    #[test]
    fn files_cut_short_are_refused_and_never_panic() {
        for bytes in [jpeg_with_a_place(), png_with_a_place(), webp_with_a_place()] {
            let whole = bytes.len();
            for cut in (0..whole).step_by(7) {
                let _ = scrubbed(&bytes[..cut], "cut");
            }
        }
        assert!(scrubbed(&jpeg_with_a_place()[..300], "cut.jpg").is_err());
    }
}
