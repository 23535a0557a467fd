//! Whether a JPEG file holds its whole picture.
//!
//! Decoders fill what is missing with grey and say nothing; a reading of half a gear must not
//! look like one of a whole gear.

/// Whether the main picture of a JPEG stream is closed by its end-of-image marker
/// (ITU-T T.81, B.1.1 and B.2.1). Anything after it (other pictures, films) is not looked at.
pub fn jpeg_is_complete(bytes: &[u8]) -> bool {
    let mut at = 2;
    loop {
        let Some(&0xff) = bytes.get(at) else {
            return false;
        };
        let Some(&marker) = bytes.get(at + 1) else {
            return false;
        };
        match marker {
            0xd9 => return true,
            0xff => at += 1,
            0x01 | 0xd0..=0xd8 => at += 2,
            _ => {
                let Some(length) = bytes.get(at + 2..at + 4) else {
                    return false;
                };
                at += 2 + usize::from(u16::from_be_bytes([length[0], length[1]]));
                if marker == 0xda {
                    match end_of_scan(bytes, at) {
                        Some(next) => at = next,
                        None => return false,
                    }
                }
            }
        }
    }
}

/// Where the entropy-coded data starting at `from` end: the next marker that is neither a stuffed
/// zero nor a restart (ITU-T T.81, B.1.1.5).
fn end_of_scan(bytes: &[u8], from: usize) -> Option<usize> {
    bytes
        .get(from..)?
        .windows(2)
        .position(|pair| pair[0] == 0xff && !matches!(pair[1], 0x00 | 0xd0..=0xd7 | 0xff))
        .map(|offset| from + offset)
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
    fn bytes_after_the_picture_do_no_harm() {
        let mut bytes = picture();
        bytes.extend_from_slice(b"a short film");
        assert!(jpeg_is_complete(&bytes));
    }
}
