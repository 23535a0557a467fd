//! What the camera wrote about the picture.

use super::jpeg_markers::jpeg_header;
use exif::{In, Reader, Tag, Value};
use std::io::Cursor;

/// The two facts of the camera that a reading needs.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct CameraFacts {
    /// EXIF orientation 1 … 8, if given.
    pub orientation: Option<u8>,
    /// Focal length as that of a 36 mm × 24 mm frame, millimetres.
    pub focal_35mm: Option<f64>,
}

/// Reads the camera's facts; a file without them, or with damaged ones, has none.
pub(crate) fn camera_facts(bytes: &[u8]) -> CameraFacts {
    // The data of a JPEG's picture would be gone through byte by byte for facts that are not there.
    let header = jpeg_header(bytes).unwrap_or(bytes);
    let Ok(found) = Reader::new().read_from_container(&mut Cursor::new(header)) else {
        return CameraFacts::default();
    };
    let number = |tag| -> Option<u32> {
        match &found.get_field(tag, In::PRIMARY)?.value {
            Value::Short(values) => values.first().map(|&value| u32::from(value)),
            Value::Long(values) => values.first().copied(),
            _ => None,
        }
    };
    CameraFacts {
        orientation: number(Tag::Orientation)
            .and_then(|value| u8::try_from(value).ok())
            .filter(|value| (1..=8).contains(value)),
        // 0 means unknown (EXIF 2.32, FocalLengthIn35mmFilm).
        focal_35mm: number(Tag::FocalLengthIn35mmFilm)
            .filter(|&value| (8..=400).contains(&value))
            .map(f64::from),
    }
}
