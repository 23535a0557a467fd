//! Whether the coded data of a JPEG hold its whole picture: every block is there, and no bytes are left over.
//!
//! Decoders go on past missing bytes, fill the rest with grey and say nothing. Only baseline and extended sequential pictures by
//! Huffman's codes are followed, as cameras and messengers write them; of others the markers alone are asked.

use super::jpeg_markers::{Segment, segments};

/// Coefficients of a block.
const COEFFICIENTS: usize = 64;

/// Bits by which codes are looked up at once; longer ones go through the list.
const LOOKED_UP: u32 = 10;

/// A block's mean, eight times its distance from middle grey, is no farther from nought than this, but for rounding
/// (ITU-T T.81, A.3.3 and F.1.1.3, of eight bits a sample).
const MOST_MEAN: i32 = 1024;

/// So many bytes may be left between the last block and the next marker: the last byte is filled up, and some writers add one.
const MOST_LEFT: usize = 2;

/// The share of the picture's blocks, in the order of the file, that came whole; 1 for all. `None` if the file is none that is
/// followed.
pub(super) fn whole_share(bytes: &[u8]) -> Option<f64> {
    let mut tables: [[Option<Codes>; 4]; 2] = Default::default();
    let mut frame: Option<Frame> = None;
    let mut steps = [1; 4];
    let mut restart = 0;
    for segment in segments(bytes) {
        let Segment { marker, body, data } = segment;
        match marker {
            0xc0 | 0xc1 => frame = Some(Frame::read(body)?),
            0xc2..=0xc3 | 0xc5..=0xc7 | 0xc9..=0xcf if marker != 0xcc => return None,
            0xdb => read_steps(body, &mut steps)?,
            0xc4 => read_tables(body, &mut tables)?,
            0xdd => restart = usize::from(u16::from_be_bytes([*body.first()?, *body.get(1)?])),
            0xda => {
                let frame = frame.as_ref()?;
                return Scan::read(body, frame, &tables, &steps)?.whole_share(data, restart);
            }
            _ => {}
        }
    }
    None
}

/// A component of the picture: its name, its blocks a unit, and which steps it is rounded to.
struct Component {
    name: u8,
    blocks: usize,
    steps: usize,
}

/// The picture's size in units, and its components.
struct Frame {
    units: usize,
    components: Vec<Component>,
}

impl Frame {
    /// ITU-T T.81, B.2.2.
    fn read(body: &[u8]) -> Option<Self> {
        let &[_, h1, h0, w1, w0, count, ref rest @ ..] = body else {
            return None;
        };
        let (height, width) = (u16::from_be_bytes([h1, h0]), u16::from_be_bytes([w1, w0]));
        let sizes: Vec<(u8, usize, usize, usize)> = rest
            .chunks_exact(3)
            .take(usize::from(count))
            .map(|c| {
                let (across, down) = (usize::from(c[1] >> 4), usize::from(c[1] & 15));
                (c[0], across, down, usize::from(c[2] & 3))
            })
            .collect();
        let across = sizes.iter().map(|size| size.1).max()?;
        let down = sizes.iter().map(|size| size.2).max()?;
        if across == 0 || down == 0 || height == 0 || sizes.len() != usize::from(count) {
            return None;
        }
        // One component alone has units of one block, whatever its size is said to be (A.2.2).
        let (across, down) = if sizes.len() == 1 {
            (1, 1)
        } else {
            (across, down)
        };
        let units = |length: u16, blocks: usize| usize::from(length).div_ceil(8 * blocks);
        let alone = sizes.len() == 1;
        Some(Self {
            units: units(width, across) * units(height, down),
            components: (sizes.into_iter())
                .map(|(name, across, down, steps)| Component {
                    name,
                    blocks: if alone { 1 } else { across * down },
                    steps,
                })
                .collect(),
        })
    }
}

/// Huffman's codes of one table.
struct Codes {
    /// By the next bits: the code's length and its symbol; length 0 where the code is longer.
    short: Vec<(u8, u8)>,
    /// Of each length, the first code and where its symbols begin; with how many there are.
    long: [(u32, usize, usize); 17],
    symbols: Vec<u8>,
}

impl Codes {
    /// Of the counts of codes of each length and their symbols (ITU-T T.81, C.2).
    fn new(counts: &[u8], symbols: &[u8]) -> Self {
        let mut short = vec![(0, 0); 1 << LOOKED_UP];
        let mut long = [(0, 0, 0); 17];
        let (mut code, mut at) = (0u32, 0usize);
        for (length, &count) in (1u32..).zip(counts) {
            long[length as usize] = (code, at, usize::from(count));
            for &symbol in &symbols[at..at + usize::from(count)] {
                if length <= LOOKED_UP {
                    let shift = LOOKED_UP - length;
                    let from = (code << shift) as usize;
                    let to = (from + (1 << shift)).min(short.len());
                    short[from.min(to)..to].fill((length as u8, symbol));
                }
                code += 1;
            }
            at += usize::from(count);
            code <<= 1;
        }
        Self {
            short,
            long,
            symbols: symbols.to_vec(),
        }
    }
}

/// ITU-T T.81, B.2.4.2.
fn read_tables(mut body: &[u8], tables: &mut [[Option<Codes>; 4]; 2]) -> Option<()> {
    while let [about, rest @ ..] = body {
        let counts = rest.get(..16)?;
        let total: usize = counts.iter().map(|&count| usize::from(count)).sum();
        let symbols = rest.get(16..16 + total)?;
        let table = tables.get_mut(usize::from(about >> 4))?;
        *table.get_mut(usize::from(about & 15))? = Some(Codes::new(counts, symbols));
        body = &rest[16 + total..];
    }
    Some(())
}

/// The steps that means of blocks are rounded to (ITU-T T.81, B.2.4.1).
fn read_steps(mut body: &[u8], steps: &mut [i32; 4]) -> Option<()> {
    while let [about, rest @ ..] = body {
        let wide = about >> 4 != 0;
        let size = if wide { 2 * COEFFICIENTS } else { COEFFICIENTS };
        let table = rest.get(..size)?;
        steps[usize::from(about & 3)] = if wide {
            i32::from(u16::from_be_bytes([table[0], table[1]]))
        } else {
            i32::from(table[0])
        };
        body = &rest[size..];
    }
    Some(())
}

/// A block of a unit: the codes of its first coefficient and of the others, and which component's it is, with the largest
/// first coefficient of that.
struct Block<'a> {
    first: &'a Codes,
    others: &'a Codes,
    component: usize,
    most: i32,
}

/// The data of a picture.
struct Scan<'a> {
    units: usize,
    components: usize,
    /// The blocks of a unit.
    blocks: Vec<Block<'a>>,
}

impl<'a> Scan<'a> {
    /// ITU-T T.81, B.2.3. `None` where it holds some of the colours only: each such scan is a part of the picture.
    fn read(
        body: &[u8],
        frame: &Frame,
        tables: &'a [[Option<Codes>; 4]; 2],
        steps: &[i32; 4],
    ) -> Option<Self> {
        let count = usize::from(*body.first()?);
        if count != frame.components.len() {
            return None;
        }
        let mut blocks = Vec::new();
        for named in body[1..].chunks_exact(2).take(count) {
            let is_named = |c: &Component| c.name == named[0];
            let index = frame.components.iter().position(is_named)?;
            let component = &frame.components[index];
            let first = tables[0].get(usize::from(named[1] >> 4))?.as_ref()?;
            let others = tables[1].get(usize::from(named[1] & 15))?.as_ref()?;
            let step = steps[component.steps].max(1);
            blocks.extend((0..component.blocks).map(|_| Block {
                first,
                others,
                component: index,
                most: MOST_MEAN / step + 2,
            }));
        }
        Some(Self {
            units: frame.units,
            components: count,
            blocks,
        })
    }

    /// The share of the units that are there before the data break off or stop making sense. Where all are there and more
    /// data follow, bytes are lost or added, nobody knows where: nothing is sure.
    fn whole_share(&self, data: &[u8], restart: usize) -> Option<f64> {
        let mut done = 0;
        let stretches = stretches(data);
        let count = stretches.len();
        for (at, stretch) in stretches.into_iter().enumerate() {
            let due = match restart {
                0 => self.units - done,
                every => every.min(self.units - done),
            };
            let mut bits = Bits::new(stretch);
            // Counted from the block before (F.1.1.5.1), so that a mistake stays and leads out of the range.
            let mut means = vec![0; self.components];
            for unit in 0..due {
                let mut broken = |block: &Block| {
                    let mean = &mut means[block.component];
                    bits.skip_block(block, mean).is_none() || mean.abs() > block.most
                };
                if self.blocks.iter().any(&mut broken) {
                    return Some((done + unit) as f64 / self.units as f64);
                }
            }
            if bits.left() > MOST_LEFT {
                return Some(done as f64 / self.units as f64);
            }
            done += due;
            if done == self.units && at + 1 < count {
                return Some(0.0);
            }
        }
        Some(done as f64 / self.units as f64)
    }
}

/// The data between restart markers, without stuffed zeros.
fn stretches(data: &[u8]) -> Vec<Vec<u8>> {
    let mut stretches = vec![Vec::with_capacity(data.len())];
    let mut from = 0;
    for at in memchr::memchr_iter(0xff, data) {
        if at < from {
            continue;
        }
        let last = stretches.len() - 1;
        match data.get(at + 1) {
            Some(0) => {
                stretches[last].extend_from_slice(&data[from..=at]);
                from = at + 2;
            }
            Some(0xd0..=0xd7) => {
                stretches[last].extend_from_slice(&data[from..at]);
                stretches.push(Vec::new());
                from = at + 2;
            }
            // Fill bytes before a marker (B.1.1.2).
            _ => {
                stretches[last].extend_from_slice(&data[from..at]);
                from = at + 1;
            }
        }
    }
    let last = stretches.len() - 1;
    stretches[last].extend_from_slice(data.get(from..).unwrap_or_default());
    stretches
}

/// Bits of coded data, highest first.
struct Bits {
    bytes: Vec<u8>,
    /// The next bit.
    at: usize,
    end: usize,
}

impl Bits {
    fn new(mut bytes: Vec<u8>) -> Self {
        let end = 8 * bytes.len();
        // So that eight bytes can be read anywhere.
        bytes.extend([0xff; 8]);
        Self { bytes, at: 0, end }
    }

    /// Whole bytes that are left.
    fn left(&self) -> usize {
        self.end.saturating_sub(self.at) / 8
    }

    /// The next 32 bits.
    fn next(&self) -> u32 {
        let from = self.at / 8;
        let bytes = self.bytes.get(from..).and_then(|rest| rest.first_chunk());
        (u64::from_be_bytes(*bytes.unwrap_or(&[0xff; 8])) << (self.at % 8) >> 32) as u32
    }

    /// The next symbol and the length of its code; `None` where there is no such code. `next` are the next bits.
    fn symbol(codes: &Codes, next: u32) -> Option<(usize, u8)> {
        let (length, symbol) = codes.short[(next >> (32 - LOOKED_UP)) as usize];
        if length > 0 {
            return Some((usize::from(length), symbol));
        }
        (LOOKED_UP + 1..=16).find_map(|length| {
            let (first, at, count) = codes.long[length as usize];
            let past = (next >> (32 - length)).checked_sub(first)? as usize;
            (past < count).then(|| (length as usize, codes.symbols[at + past]))
        })
    }

    /// Goes over one block, whose mean is counted on (ITU-T T.81, F.1.2); `None` where it breaks off or cannot be one.
    fn skip_block(&mut self, block: &Block, mean: &mut i32) -> Option<()> {
        let next = self.next();
        let (length, size) = Self::symbol(block.first, next)?;
        if size > 11 {
            return None;
        }
        *mean += number(next << length, size);
        self.at += length + usize::from(size);
        let mut coefficient = 1;
        while coefficient < COEFFICIENTS {
            let (length, symbol) = Self::symbol(block.others, self.next())?;
            let (zeros, size) = (usize::from(symbol >> 4), usize::from(symbol & 15));
            self.at += length + size;
            if size > 0 {
                coefficient += zeros + 1;
            } else if zeros == 15 {
                coefficient += 16;
            } else if zeros == 0 {
                break;
            } else {
                return None;
            }
        }
        (self.at <= self.end && coefficient <= COEFFICIENTS).then_some(())
    }
}

/// The number that so many of the first of some bits stand for (ITU-T T.81, F.2.2.1).
fn number(bits: u32, size: u8) -> i32 {
    if size == 0 {
        return 0;
    }
    let value = (bits >> (32 - u32::from(size))) as i32;
    if bits >> 31 == 0 {
        value - (1 << size) + 1
    } else {
        value
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::codecs::jpeg::JpegEncoder;

    fn picture(colours: bool) -> Vec<u8> {
        let image = image::RgbImage::from_fn(203, 148, |x, y| {
            let grain = (x.wrapping_mul(73_856_093) ^ y.wrapping_mul(19_349_663)) >> 24;
            image::Rgb([(x + grain / 4) as u8, (y * 2) as u8, (x * y / 90) as u8])
        });
        let mut bytes = Vec::new();
        let mut encoder = JpegEncoder::new_with_quality(&mut bytes, 90);
        if colours {
            encoder.encode_image(&image).unwrap();
        } else {
            let grey = image::DynamicImage::ImageRgb8(image).into_luma8();
            encoder.encode_image(&grey).unwrap();
        }
        bytes
    }

    #[test]
    fn all_of_a_whole_picture_is_there() {
        for colours in [true, false] {
            assert_eq!(whole_share(&picture(colours)), Some(1.0));
        }
        assert_eq!(whole_share(b"tooth contact"), None);
    }

    #[test]
    fn lost_bytes_and_an_early_end_are_seen() {
        let bytes = picture(true);
        let (from, to) = (bytes.len() / 3, bytes.len() - 340);
        let (mut cuts, mut few_seen) = (0, 0);
        for at in (from..to).step_by((to - from) / 40) {
            let without = |lost: usize| [&bytes[..at], &bytes[at + lost..]].concat();
            let many = whole_share(&without(300));
            assert!(many.is_some_and(|share| share < 1.0), "300 at {at}");
            // The codes fall into step again after a few lost bytes, now and then with as many blocks as before.
            cuts += 1;
            few_seen += usize::from(whole_share(&without(7)).is_some_and(|share| share < 1.0));
            let mut ended = bytes[..at].to_vec();
            ended.extend([0xff, 0xd9]);
            let share = whole_share(&ended).unwrap();
            assert!(share < 1.0 && share > 0.05, "{share} at {at}");
        }
        assert!(2 * few_seen > cuts, "{few_seen} of {cuts}");
    }

    #[test]
    fn a_scan_of_some_colours_is_not_followed() {
        let bytes = picture(true);
        let scan = bytes.windows(4).position(|at| at == [0xff, 0xda, 0, 12]);
        let scan = scan.unwrap();
        // The third colour alone: its two bytes, between how many there are and the three that close the header.
        let alone = [&[0xff, 0xda, 0, 8, 1][..], &bytes[scan + 9..scan + 11]].concat();
        let bytes = [&bytes[..scan], &alone, &bytes[scan + 11..]].concat();
        assert_eq!(whole_share(&bytes), None);
    }

    #[test]
    fn what_comes_after_the_picture_does_no_harm() {
        let mut bytes = picture(true);
        bytes.extend_from_slice(b"a short film");
        assert_eq!(whole_share(&bytes), Some(1.0));
    }
}
