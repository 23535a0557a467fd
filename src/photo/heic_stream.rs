//! What the coded stream inside a HEIC picture says of its colours.
//!
//! Phones often leave the file's colour box to a display profile and write range and matrix only into the
//! stream: in the usability information of its sequence parameter set (ITU-T H.265, 7.3.2.2.1 and E.2.1).
//! Taken for what it is not, a full-range picture loses a seventh of its contrast.

use heic_rs::{MatrixCoefficients, Nclx, Range};

/// NAL unit type of a sequence parameter set (ITU-T H.265, table 7-1).
const SEQUENCE_PARAMETER_SET: u8 = 33;

/// Colours of a picture that says nothing of them anywhere: sRGB primaries and transfer, the matrix of
/// ITU-R BT.601, full range (ISO/IEC 23000-22, 7.3.6.4; from memory).
pub(super) fn usual() -> Nclx {
    Nclx {
        primaries: 1,
        transfer: 13,
        matrix: MatrixCoefficients::Bt601,
        matrix_code: 6,
        range: Range::Full,
    }
}

/// The colours that one of the stream's parameter sets gives; `None` when none does, or it is damaged.
pub(super) fn colours(parameter_sets: &[&[u8]]) -> Option<Nclx> {
    let of_pictures = |unit: &&&[u8]| {
        let kind = unit.first().map(|byte| (byte >> 1) & 0x3f);
        kind == Some(SEQUENCE_PARAMETER_SET)
    };
    let unit = parameter_sets.iter().find(of_pictures)?;
    let payload = without_emulation(unit.get(2..)?);
    sequence_colours(&mut Bits::new(&payload))
}

/// The payload of a NAL unit: of three bytes 0, 0, 3 the last is only there to keep start codes out
/// (ITU-T H.265, 7.3.1.1).
fn without_emulation(unit: &[u8]) -> Vec<u8> {
    let mut payload = Vec::with_capacity(unit.len());
    let mut zeros = 0;
    for &byte in unit {
        if zeros >= 2 && byte == 3 {
            zeros = 0;
            continue;
        }
        zeros = if byte == 0 { zeros + 1 } else { 0 };
        payload.push(byte);
    }
    payload
}

/// Bits from the highest of each byte down.
struct Bits<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl<'a> Bits<'a> {
    const fn new(bytes: &'a [u8]) -> Self {
        Self { bytes, at: 0 }
    }

    fn flag(&mut self) -> Option<bool> {
        let byte = self.bytes.get(self.at / 8)?;
        let bit = byte >> (7 - self.at % 8) & 1;
        self.at += 1;
        Some(bit == 1)
    }

    /// An unsigned number of up to 32 bits.
    fn number(&mut self, bits: usize) -> Option<u32> {
        (0..bits).try_fold(0, |value, _| Some(value << 1 | u32::from(self.flag()?)))
    }

    fn skip(&mut self, bits: usize) -> Option<()> {
        self.at = self.at.checked_add(bits)?;
        (self.at <= 8 * self.bytes.len()).then_some(())
    }

    /// An unsigned number in exponential Golomb code (ITU-T H.265, 9.2).
    fn golomb(&mut self) -> Option<u32> {
        let mut zeros = 0;
        while !self.flag()? {
            zeros += 1;
            if zeros > 31 {
                return None;
            }
        }
        Some((1 << zeros) - 1 + self.number(zeros)?)
    }

    fn skip_golombs(&mut self, count: u32) -> Option<()> {
        (0..count).try_for_each(|_| self.golomb().map(drop))
    }
}

/// Walks through a sequence parameter set to its video signal type.
fn sequence_colours(bits: &mut Bits) -> Option<Nclx> {
    bits.skip(4)?;
    let sub_layers = bits.number(3)?;
    bits.skip(1)?;
    profile_tier_level(bits, sub_layers)?;
    bits.golomb()?;
    if bits.golomb()? == 3 {
        // Separate colour planes.
        bits.skip(1)?;
    }
    // Width and height; the window that is shown.
    bits.skip_golombs(2)?;
    if bits.flag()? {
        bits.skip_golombs(4)?;
    }
    // Bit depths; bits of the picture order count.
    bits.skip_golombs(2)?;
    let order_bits = bits.golomb()? + 4;
    let every_layer = bits.flag()?;
    let layers = if every_layer { sub_layers + 1 } else { 1 };
    bits.skip_golombs(3 * layers)?;
    // Sizes of coding and transform blocks, depths of the transform trees.
    bits.skip_golombs(6)?;
    if bits.flag()? && bits.flag()? {
        scaling_lists(bits)?;
    }
    // Asymmetric partitions; sample-adaptive offset.
    bits.skip(2)?;
    if bits.flag()? {
        bits.skip(8)?;
        bits.skip_golombs(2)?;
        bits.skip(1)?;
    }
    short_term_sets(bits)?;
    if bits.flag()? {
        let count = bits.golomb()?;
        for _ in 0..count.min(33) {
            bits.skip(order_bits as usize + 1)?;
        }
    }
    // Temporal prediction; strong smoothing.
    bits.skip(2)?;
    if !bits.flag()? {
        return None;
    }
    video_signal(bits)
}

fn profile_tier_level(bits: &mut Bits, sub_layers: u32) -> Option<()> {
    // Profile space, tier, profile, compatibility, constraints: 88 bits; level: 8.
    bits.skip(96)?;
    let mut present = Vec::new();
    for _ in 0..sub_layers {
        present.push((bits.flag()?, bits.flag()?));
    }
    if sub_layers > 0 {
        bits.skip(2 * (8 - sub_layers as usize))?;
    }
    for (profile, level) in present {
        bits.skip(if profile { 88 } else { 0 } + if level { 8 } else { 0 })?;
    }
    Some(())
}

fn scaling_lists(bits: &mut Bits) -> Option<()> {
    for size in 0..4 {
        let lists = if size == 3 { 2 } else { 6 };
        for _ in 0..lists {
            if bits.flag()? {
                let direct = u32::from(size > 1);
                let coefficients = if size == 0 { 16 } else { 64 };
                bits.skip_golombs(direct + coefficients)?;
            } else {
                bits.golomb()?;
            }
        }
    }
    Some(())
}

/// Sets of pictures to be kept for prediction. Those that are told by their difference to another are not
/// followed: a still picture has none.
fn short_term_sets(bits: &mut Bits) -> Option<()> {
    let sets = bits.golomb()?;
    for set in 0..sets {
        if set > 0 && bits.flag()? {
            return None;
        }
        let pictures = bits.golomb()?.checked_add(bits.golomb()?)?;
        for _ in 0..pictures.min(33) {
            bits.golomb()?;
            bits.skip(1)?;
        }
    }
    Some(())
}

fn video_signal(bits: &mut Bits) -> Option<Nclx> {
    if bits.flag()? && bits.number(8)? == 255 {
        // An aspect ratio of its own.
        bits.skip(32)?;
    }
    if bits.flag()? {
        bits.skip(1)?;
    }
    if !bits.flag()? {
        return None;
    }
    bits.skip(3)?;
    let range = if bits.flag()? {
        Range::Full
    } else {
        Range::Limited
    };
    let mut colours = Nclx { range, ..usual() };
    if bits.flag()? {
        bits.skip(16)?;
        let code = bits.number(8)? as u16;
        // 2: unspecified.
        if code != 2 {
            colours.matrix = MatrixCoefficients::from_code(code);
            colours.matrix_code = code;
        }
    }
    Some(colours)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn golomb_codes_are_those_of_the_standard() {
        // ITU-T H.265, table 9-2: 1, 010, 011, 00100.
        let mut bits = Bits::new(&[0b1010_0110, 0b0100_0000]);
        let read: Vec<_> = (0..4).map(|_| bits.golomb()).collect();
        assert_eq!(read, [Some(0), Some(1), Some(2), Some(3)]);
        assert_eq!(Bits::new(&[0, 0, 0, 0, 0]).golomb(), None);
    }

    #[test]
    fn bytes_against_start_codes_are_dropped() {
        assert_eq!(
            without_emulation(&[1, 0, 0, 3, 1, 0, 3]),
            [1, 0, 0, 1, 0, 3]
        );
    }

    #[test]
    fn damaged_parameter_sets_say_nothing() {
        assert_eq!(colours(&[]), None);
        assert_eq!(colours(&[&[]]), None);
        assert_eq!(colours(&[&[0x42, 1, 0xff, 0xff]]), None);
        assert_eq!(colours(&[&[0x42, 1, 0, 0, 0, 0]]), None);
    }
}
