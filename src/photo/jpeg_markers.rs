//! The markers of a JPEG stream: where its header ends, and whether it holds its whole picture.
//!
//! Decoders fill what is missing with grey and say nothing; a reading of half a gear must not
//! look like one of a whole gear.

/// What a stream of markers comes to.
enum Next {
    /// Entropy-coded data, from here on.
    Scan(usize),
    /// The end-of-image marker.
    End,
}

/// All of a JPEG stream before the data of its picture, where cameras write what they know; `None` if the
/// bytes are none.
pub(crate) fn jpeg_header(bytes: &[u8]) -> Option<&[u8]> {
    match next(bytes, start(bytes)?)? {
        Next::Scan(from) => bytes.get(..from),
        Next::End => None,
    }
}

/// Whether the main picture of a JPEG stream is closed by its end-of-image marker
/// (ITU-T T.81, B.1.1 and B.2.1). Anything after it (other pictures, films) is not looked at.
pub(crate) fn jpeg_is_complete(bytes: &[u8]) -> bool {
    let mut at = start(bytes);
    while let Some(from) = at {
        at = match next(bytes, from) {
            Some(Next::End) => return true,
            Some(Next::Scan(from)) => end_of_scan(bytes, from),
            None => None,
        };
    }
    false
}

/// A marker segment of a JPEG stream.
pub(super) struct Segment<'a> {
    /// The marker's second byte.
    pub marker: u8,
    /// What follows its length.
    pub body: &'a [u8],
    /// After the header of a scan, its entropy-coded data; else nothing.
    pub data: &'a [u8],
}

/// The marker segments of a JPEG stream up to its end-of-image marker, or to where it breaks off.
pub(super) fn segments(bytes: &[u8]) -> impl Iterator<Item = Segment<'_>> {
    let mut from = start(bytes);
    std::iter::from_fn(move || {
        let mut at = from.take()?;
        loop {
            let &[0xff, marker] = bytes.get(at..at + 2)? else {
                return None;
            };
            match marker {
                0xd9 => return None,
                0xff => at += 1,
                0x01 | 0xd0..=0xd8 => at += 2,
                _ => {
                    let length = bytes.get(at + 2..at + 4)?;
                    let length = usize::from(u16::from_be_bytes([length[0], length[1]]));
                    let body = bytes.get(at + 4..at + 2 + length)?;
                    let end = at + 2 + length;
                    let next = match marker {
                        0xda => end_of_scan(bytes, end).unwrap_or(bytes.len()),
                        _ => end,
                    };
                    from = Some(next);
                    let data = bytes.get(end..next)?;
                    return Some(Segment { marker, body, data });
                }
            }
        }
    })
}

/// Behind the start-of-image marker.
fn start(bytes: &[u8]) -> Option<usize> {
    bytes.starts_with(&[0xff, 0xd8]).then_some(2)
}

/// Goes over marker segments from one on, up to the next data or the end.
fn next(bytes: &[u8], mut at: usize) -> Option<Next> {
    loop {
        let &[0xff, marker] = bytes.get(at..at + 2)? else {
            return None;
        };
        match marker {
            0xd9 => return Some(Next::End),
            0xff => at += 1,
            0x01 | 0xd0..=0xd8 => at += 2,
            _ => {
                let length = bytes.get(at + 2..at + 4)?;
                at += 2 + usize::from(u16::from_be_bytes([length[0], length[1]]));
                if marker == 0xda {
                    return Some(Next::Scan(at));
                }
            }
        }
    }
}

/// Where the entropy-coded data starting at `from` end: the next marker that is neither a stuffed
/// zero nor a restart (ITU-T T.81, B.1.1.5).
fn end_of_scan(bytes: &[u8], from: usize) -> Option<usize> {
    memchr::memchr_iter(0xff, bytes.get(from..)?)
        .map(|offset| from + offset)
        .find(|&at| matches!(bytes.get(at + 1), Some(1..=0xcf | 0xd8..=0xfe)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::codecs::jpeg::JpegEncoder;

    fn picture() -> Vec<u8> {
        let image = image::RgbImage::from_fn(64, 48, |x, y| {
            image::Rgb([(x * 4) as u8, (y * 5) as u8, (x * y) as u8])
        });
        let mut bytes = Vec::new();
        JpegEncoder::new(&mut bytes).encode_image(&image).unwrap();
        bytes
    }

    #[test]
    fn a_whole_file_is_complete_and_any_shorter_one_is_not() {
        let bytes = picture();
        assert!(jpeg_is_complete(&bytes));
        for cut in [3, 20, bytes.len() / 2, bytes.len() - 1] {
            assert!(!jpeg_is_complete(&bytes[..cut]), "cut at {cut}");
        }
    }

    #[test]
    fn the_header_ends_where_the_data_begin() {
        let bytes = picture();
        let header = jpeg_header(&bytes).unwrap();
        // The scan's header of a picture in three colours is twelve bytes long after its marker (ITU-T T.81, B.2.3).
        let [.., 0xff, 0xda, 0, 12, 3, _, _, _, _, _, _, 0, 63, 0] = header else {
            panic!("{header:?}");
        };
        assert!(bytes.len() > header.len() + 100);
        for other in [&bytes[1..], &header[..header.len() - 1], b"tooth", b""] {
            assert_eq!(jpeg_header(other), None);
        }
    }

    #[test]
    fn bytes_after_the_picture_do_no_harm() {
        let mut bytes = picture();
        bytes.extend_from_slice(b"a short film");
        assert!(jpeg_is_complete(&bytes));
    }
}
