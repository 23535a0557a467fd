//! A PNG file without what no pixel needs: colour profiles and texts are packed, and a short one unpacks to any size.

/// The chunks that pixels are made of (PNG specification, 5.6 and 11).
const OF_PIXELS: [&[u8]; 5] = [b"IHDR", b"PLTE", b"tRNS", b"IDAT", b"IEND"];
/// Signature at the start; length and kind before a chunk's data, checksum behind.
const SIGNATURE_BYTES: usize = 8;
const HEAD_BYTES: usize = 8;
const SUM_BYTES: usize = 4;

/// The file's bytes with only the chunks of its pixels. What is no chunk any more is left for the decoder to say.
pub(super) fn only_pixels(bytes: &[u8]) -> Vec<u8> {
    let mut out = Vec::with_capacity(bytes.len());
    let mut at = SIGNATURE_BYTES.min(bytes.len());
    out.extend(&bytes[..at]);
    while let Some(head) = bytes.get(at..at + HEAD_BYTES) {
        let (length, kind) = head.split_at(4);
        let length = length
            .iter()
            .fold(0, |sum, byte| sum << 8 | usize::from(*byte));
        let end = at.saturating_add(HEAD_BYTES + SUM_BYTES + length);
        let Some(chunk) = bytes.get(at..end) else {
            break;
        };
        if OF_PIXELS.contains(&kind) {
            out.extend(chunk);
        }
        at = end;
    }
    out.extend(&bytes[at..]);
    out
}

/// The CRC of the PNG specification's annex D, bit by bit: for tests that write files of their own.
#[cfg(test)]
pub(crate) fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0_u32, |crc, &byte| {
        (0..8).fold(crc ^ u32::from(byte), |crc, _| {
            if crc & 1 == 1 {
                0xedb8_8320 ^ (crc >> 1)
            } else {
                crc >> 1
            }
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chunk(kind: &[u8], data: &[u8]) -> Vec<u8> {
        let mut chunk = (data.len() as u32).to_be_bytes().to_vec();
        chunk.extend(kind);
        chunk.extend(data);
        chunk.extend([0; 4]);
        chunk
    }

    #[test]
    fn a_packed_profile_goes_and_pixels_stay() {
        let parts = [
            b"\x89PNG\r\n\x1a\n".to_vec(),
            chunk(b"IHDR", &[1; 13]),
            chunk(b"iCCP", &[2; 1000]),
            chunk(b"IDAT", &[3; 50]),
            chunk(b"zTXt", &[4; 1000]),
            chunk(b"IEND", &[]),
        ];
        let kept = [&parts[0], &parts[1], &parts[3], &parts[5]].map(Vec::as_slice);
        assert_eq!(only_pixels(&parts.concat()), kept.concat());
    }

    #[test]
    fn a_file_cut_anywhere_keeps_its_cut_end() {
        let whole = [
            b"\x89PNG\r\n\x1a\n".to_vec(),
            chunk(b"IHDR", &[1; 13]),
            chunk(b"IDAT", &[3; 50]),
        ]
        .concat();
        for cut in 0..whole.len() {
            assert_eq!(only_pixels(&whole[..cut]), &whole[..cut], "{cut}");
        }
    }
}
