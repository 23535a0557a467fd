//! Huffman-coded numbers (ITU-T T.81, annex C and F.2.2).

/// Bits that are looked up at once; longer codes are rare.
const AHEAD: u32 = 10;

/// The run that stands for the end of a block.
pub(super) const END: u8 = 255;

/// A number and how many zeros stand before it.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Step {
    pub value: i16,
    pub run: u8,
    /// Bits it took; 0 if more than were looked up.
    bits: u8,
}

/// A table of codes.
pub(super) struct Huffman {
    /// By the next [`AHEAD`] bits.
    ahead: Vec<Step>,
    /// For each length: the first code beyond those of this length, at the top of 16 bits.
    limit: [u32; 17],
    /// For each length: what to add to a code to get its symbol's number.
    offset: [i32; 17],
    symbols: Vec<u8>,
}

impl Huffman {
    /// The table of `counts[i]` codes of `i + 1` bits; `None` if there are more than fit.
    pub fn new(counts: &[u8], symbols: &[u8]) -> Option<Self> {
        let mut table = Self {
            ahead: vec![Step::default(); 1 << AHEAD],
            limit: [0; 17],
            offset: [0; 17],
            symbols: symbols.to_vec(),
        };
        let (mut code, mut number) = (0u32, 0i32);
        for (length, &count) in (1..=16).zip(counts) {
            table.offset[length] = number - code as i32;
            code += u32::from(count);
            number += i32::from(count);
            table.limit[length] = code << (16 - length);
            if table.limit[length] > 1 << 16 {
                return None;
            }
            code <<= 1;
        }
        for ahead in 0..1u32 << AHEAD {
            let next = u64::from(ahead) << (64 - AHEAD);
            let step = table
                .step(next)
                .filter(|step| u32::from(step.bits) <= AHEAD);
            table.ahead[ahead as usize] = step.unwrap_or_default();
        }
        Some(table)
    }

    /// The step at the top of 64 bits; `None` if no code begins so.
    fn step(&self, next: u64) -> Option<Step> {
        let top = (next >> 48) as u32;
        let length = (1..=16).find(|&length| top < self.limit[length])?;
        let code = (top >> (16 - length)) as i32;
        let symbol = *self.symbols.get((code + self.offset[length]) as usize)?;
        let (run, size) = (symbol >> 4, u32::from(symbol & 15));
        let run = if run < 15 && size == 0 { END } else { run };
        let value = if size == 0 {
            0
        } else {
            let more = ((next << length) >> (64 - size)) as i32;
            // T.81, F.2.2.1: the lower half of the codes are the negative numbers.
            let negative = more < 1 << (size - 1);
            more - if negative { (1 << size) - 1 } else { 0 }
        };
        Some(Step {
            value: value as i16,
            run,
            bits: (length as u32 + size) as u8,
        })
    }
}

/// The entropy-coded data of a scan without stuffed zeros, parted at restarts (T.81, B.1.1.5).
pub(super) struct Segments {
    bytes: Vec<u8>,
    /// Where each part begins and its bytes end; zeros stand between them.
    parts: Vec<(usize, usize)>,
}

/// Zeros after each part, so that bits can be fetched eight bytes at a time.
const SPARE: usize = 16;

impl Segments {
    /// The data up to the first marker that is no restart.
    pub fn new(data: &[u8]) -> Self {
        let mut bytes = Vec::with_capacity(data.len() + SPARE);
        let mut parts = Vec::new();
        let mut from = 0;
        let mut rest = data;
        loop {
            let plain = until_ff(rest);
            bytes.extend_from_slice(&rest[..plain]);
            rest = &rest[plain..];
            match rest {
                [0xff, 0x00, ..] => bytes.push(0xff),
                [0xff, 0xff, ..] => {
                    rest = &rest[1..];
                    continue;
                }
                restart_or_end => {
                    parts.push((from, bytes.len()));
                    bytes.extend_from_slice(&[0; SPARE]);
                    from = bytes.len();
                    if !matches!(restart_or_end, [0xff, 0xd0..=0xd7, ..]) {
                        return Self { bytes, parts };
                    }
                }
            }
            rest = &rest[2..];
        }
    }

    /// The parts, each with zeros after it, and how many bytes it has without them.
    pub fn parts(&self) -> impl Iterator<Item = (&[u8], usize)> {
        self.parts
            .iter()
            .map(|&(from, to)| (&self.bytes[from..to + SPARE], to - from))
    }
}

/// Bytes before the first 0xff, eight at a time.
fn until_ff(bytes: &[u8]) -> usize {
    let mut at = 0;
    for eight in bytes.chunks_exact(8) {
        let inverted = !u64::from_le_bytes(eight.try_into().expect("eight bytes"));
        // A zero byte borrows from its own highest bit, which was not set.
        if inverted.wrapping_sub(0x0101_0101_0101_0101) & !inverted & 0x8080_8080_8080_8080 != 0 {
            break;
        }
        at += 8;
    }
    let tail = bytes[at..].iter().position(|&byte| byte == 0xff);
    tail.map_or(bytes.len(), |more| at + more)
}

/// A reader of one part.
pub(super) struct Bits<'a> {
    bytes: &'a [u8],
    /// Bytes that are not the zeros after the part.
    real: usize,
    at: usize,
    /// The next bits at the top.
    next: u64,
    count: u32,
}

impl<'a> Bits<'a> {
    pub fn new((bytes, real): (&'a [u8], usize)) -> Self {
        Self {
            bytes,
            real,
            at: 0,
            next: 0,
            count: 0,
        }
    }

    /// The next number; `None` if there is no such code, or nothing is left.
    #[inline(always)]
    pub fn next(&mut self, table: &Huffman) -> Option<Step> {
        // The longest code and its number have 31 bits.
        if self.count < 32 {
            let eight = self.bytes.get(self.at..self.at + 8)?;
            let eight = u64::from_be_bytes(eight.try_into().ok()?);
            self.next |= eight >> self.count;
            let bytes = (63 - self.count) / 8;
            self.at += bytes as usize;
            self.count += 8 * bytes;
        }
        let mut step = table.ahead[(self.next >> (64 - AHEAD)) as usize];
        if step.bits == 0 {
            step = table.step(self.next)?;
        }
        self.next <<= step.bits;
        self.count -= u32::from(step.bits);
        Some(step)
    }

    /// Whether more bits were read than there were.
    pub fn overrun(&self) -> bool {
        8 * self.at > 8 * self.real + self.count as usize
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_standard_s_table_of_luma_means_gives_its_codes() {
        // T.81, table K.3: categories 0 … 11 of luminance differences, codes of 2 … 9 bits.
        let counts = [0, 1, 5, 1, 1, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0, 0];
        let symbols: Vec<u8> = (0..12).collect();
        let table = Huffman::new(&counts, &symbols).unwrap();
        // Category 2 is 011, then 10 is +2 and 00 is −3; category 11 is 111111110, then its 11 bits.
        let mut bytes = vec![0b0111_0011, 0b0011_1111, 0b1101_1111, 0b1111_1100];
        bytes.extend_from_slice(&[0; SPARE]);
        let mut bits = Bits::new((&bytes, 4));
        let values: Vec<i16> = (0..3).map(|_| bits.next(&table).unwrap().value).collect();
        assert_eq!(values, [2, -3, 2047]);
        assert!(!bits.overrun());
    }

    #[test]
    fn stuffed_zeros_go_and_restarts_part() {
        let data = [
            1, 2, 0xff, 0x00, 3, 0xff, 0xd0, 4, 5, 6, 7, 8, 9, 10, 0xff, 0xff, 0xd9, 9,
        ];
        let segments = Segments::new(&data);
        let parts: Vec<&[u8]> = segments
            .parts()
            .map(|(bytes, real)| &bytes[..real])
            .collect();
        assert_eq!(parts, [&[1, 2, 0xff, 3][..], &[4, 5, 6, 7, 8, 9, 10]]);
    }
}
