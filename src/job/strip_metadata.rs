//! A photo without what the camera wrote about place, time and owner, for an archive that leaves the workshop.
//!
//! JPEG, PNG and WebP files are copied part by part: what the picture needs stays bit for bit, all else (EXIF,
//! XMP, colour profiles, comments, small pictures, anything behind the picture's end) is left out. The orientation and the focal length,
//! which a reading needs, are written anew. HEIC and TIFF hold their notes all over the file, so those
//! leave as PNG of the working copy.

use super::JobError;
use crate::photo::{self, CameraFacts, Limits, camera_facts};
use exif::experimental::Writer;
use exif::{Context, Field, In, Tag, Value};
use image::{DynamicImage, ImageFormat};
use img_parts::png::Png;
use img_parts::webp::WebP;
use img_parts::{Bytes, ImageEXIF as _};
use std::io::Cursor;

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

/// JPEG segments (ITU-T T.81, annex B): kept is what a decoder needs.
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
        // These stand alone, and mean nothing between segments (T.81, table B.1).
        if matches!(marker, 0x01 | 0xd0..=0xd7) {
            at += 2;
            continue;
        }
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
        out.extend(kept_of_jpeg(marker, segment).unwrap_or_default());
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

/// What of a JPEG segment a decoder needs: frames, tables, scans and restarts whole (T.81, table B.1); of JFIF's and
/// Adobe's the fields they have, without the small picture and whatever else was hung on. Colour profiles hold texts of
/// whoever made them and no reading goes by them, so they stay out.
fn kept_of_jpeg(marker: u8, segment: &[u8]) -> Option<Vec<u8>> {
    let head = |name: &[u8], length: u8| {
        let body = segment.get(4..2 + usize::from(length))?;
        let mut kept = vec![0xff, marker, 0, length];
        kept.extend(body.starts_with(name).then_some(body)?);
        Some(kept)
    };
    match marker {
        0xe0 => {
            // ITU-T T.871, 10.1: sixteen bytes, the last two the size of the small picture behind them.
            let mut kept = head(b"JFIF\0", 16)?;
            kept[16..].fill(0);
            Some(kept)
        }
        // ITU-T T.872, 6.5.3: fourteen bytes.
        0xee => head(b"Adobe", 14),
        0xc0..=0xc7 | 0xc9..=0xcf | 0xda..=0xdf => Some(segment.to_vec()),
        _ => None,
    }
}

/// PNG chunks (PNG specification, 5): kept are the picture's own.
fn png(bytes: &[u8], facts: &CameraFacts) -> Option<Vec<u8>> {
    const KEPT: [&[u8; 4]; 11] = [
        b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"sBIT", b"bKGD",
        b"pHYs",
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
    const KEPT: [&[u8; 4]; 6] = [b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ANIM", b"ANMF"];
    /// Bits of the extended header that announce a profile, EXIF and XMP (RFC 9649, 2.7), and where they stand in the file.
    const PROFILE_EXIF_XMP: u8 = 0x2c;
    const EXIF: u8 = 0x08;
    const FLAGS_AT: usize = 20;
    let mut picture = WebP::from_bytes(Bytes::copy_from_slice(bytes)).ok()?;
    picture
        .chunks_mut()
        .retain(|chunk| KEPT.contains(&&chunk.id()));
    let notes = notes(facts);
    let exif = if notes.is_some() { EXIF } else { 0 };
    picture.set_exif(notes.map(Bytes::from));
    let mut clean = picture.encoder().bytes().to_vec();
    if clean.get(12..16) == Some(b"VP8X") {
        let flags = clean.get_mut(FLAGS_AT)?;
        *flags = *flags & !PROFILE_EXIF_XMP | exif;
    }
    Some(clean)
}

/// The upright working copy as PNG.
fn redrawn(bytes: &[u8], name: &str) -> Result<Vec<u8>, JobError> {
    let bad = |detail: String| JobError::Metadata {
        name: name.to_owned(),
        detail,
    };
    let opened = photo::from_bytes(bytes.to_vec(), name.to_owned(), Limits::default())
        .map_err(|error| bad(error.to_string()))?;
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
    fn small_pictures_profiles_tails_and_unknown_segments_stay_here() {
        const SECRET: &[u8] = b"Robin, 12 Mill Lane";
        let segment = |marker: u8, head: &[u8]| {
            let body = [head, SECRET].concat();
            let mut bytes = vec![0xff, marker];
            bytes.extend((body.len() as u16 + 2).to_be_bytes());
            bytes.extend(body);
            bytes
        };
        let plain = picture(ImageFormat::Jpeg);
        let mut bytes = vec![0xff, 0xd8];
        for (marker, head) in [
            (0xe0, &b"JFIF\0\x01\x02\x01\0\x48\0\x48\x02\x03"[..]),
            (0xe0, b"JFXX\0\x10"),
            (0xe2, b"ICC_PROFILE\0\x01\x01"),
            (0xee, b"Adobe\0\x64\0\0\0\0\x01"),
            (0xf0, b""),
            (0xfe, b""),
        ] {
            bytes.extend(segment(marker, head));
        }
        bytes.extend(&plain[2..]);
        let mut png = picture(ImageFormat::Png);
        let profile = PngChunk::new(*b"iCCP", SECRET.to_vec().into());
        png.splice(33..33, profile.encoder().bytes().to_vec());
        let mut webp = webp_with_a_place();
        webp[20] |= 0x20;
        let mut profile = b"ICCP".to_vec();
        profile.extend((SECRET.len() as u32).to_le_bytes());
        profile.extend(SECRET);
        profile.push(0);
        // Behind the extended header: 12 + 8 + 10 (RFC 9649, 2.7).
        webp.splice(30..30, profile);
        let size = (webp.len() as u32 - 8).to_le_bytes();
        webp[4..8].copy_from_slice(&size);
        let holds = |bytes: &[u8]| bytes.windows(SECRET.len()).any(|part| part == SECRET);
        for (name, bytes) in [("a.jpg", bytes), ("a.png", png), ("a.webp", webp)] {
            assert!(holds(&bytes), "{name}");
            let (clean, _) = without_metadata(&bytes, name).unwrap();
            assert!(!holds(&clean), "{name}");
            assert_eq!(pixels(&clean), pixels(&bytes), "{name}");
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
