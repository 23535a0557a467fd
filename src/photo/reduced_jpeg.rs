//! JPEG pictures decoded at a half or a quarter of their size.
//!
//! A photo of a phone has far more pixels than a reading needs. Of each block of 8 × 8 only the low
//! frequencies are turned back into 4 × 4 or 2 × 2 pixels, which saves most of the arithmetic, all of
//! the shrinking, and the memory of the full picture. Only what phones write is decoded here:
//! sequential Huffman coding, eight bits, grey or luma with chroma, all in one scan. Whoever asks for
//! anything else, or for a damaged picture, is told so and takes the full decoder.
//!
//! References are to ITU-T T.81 (the JPEG standard).

mod blocks;
mod huffman;

use blocks::{Block, Inverse, inverse};
use huffman::{Bits, Huffman, Segments};
use image::RgbImage;

/// Pixels along a block that are kept of its eight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kept {
    /// A half of the size.
    Four = 4,
    /// A quarter of the size.
    Two = 2,
}

/// Sides of a block.
const SIDE: usize = 8;

/// The order in which coefficients follow each other, as row × 8 + column (T.81, figure A.6).
const ZIGZAG: [usize; 64] = [
    0, 1, 8, 16, 9, 2, 3, 10, 17, 24, 32, 25, 18, 11, 4, 5, 12, 19, 26, 33, 40, 48, 41, 34, 27, 20,
    13, 6, 7, 14, 21, 28, 35, 42, 49, 56, 57, 50, 43, 36, 29, 22, 15, 23, 30, 37, 44, 51, 58, 59,
    52, 45, 38, 31, 39, 46, 53, 60, 61, 54, 47, 55, 62, 63,
];

/// One colour component.
struct Component {
    id: u8,
    /// Blocks across and down in one unit of the scan.
    across: usize,
    down: usize,
    quantisation: usize,
    dc: usize,
    ac: usize,
}

/// What stands before the scan.
#[derive(Default)]
struct Header {
    width: usize,
    height: usize,
    components: Vec<Component>,
    /// In zigzag order.
    quantisation: [Option<[u16; 64]>; 4],
    dc: [Option<Huffman>; 4],
    ac: [Option<Huffman>; 4],
    /// Units of the scan between restarts; none if 0.
    restart: usize,
}

/// The picture at a half or a quarter of its size, rounded up; `None` if it is not of the kind
/// decoded here, or damaged.
pub(super) fn reduced(bytes: &[u8], kept: Kept) -> Option<RgbImage> {
    let (header, scan) = header(bytes)?;
    let segments = Segments::new(&bytes[scan..]);
    #[cfg(target_arch = "x86_64")]
    if is_x86_feature_detected!("avx2") && is_x86_feature_detected!("bmi2") {
        // SAFETY: the processor has the instructions.
        return unsafe { picture_avx2(&header, &segments, kept as usize) };
    }
    picture(&header, &segments, kept as usize)
}

/// The same with instructions that the compiler makes good use of.
#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx2,bmi1,bmi2,lzcnt")]
fn picture_avx2(header: &Header, segments: &Segments, kept: usize) -> Option<RgbImage> {
    picture(header, segments, kept)
}

/// Everything before the entropy-coded data, and where these begin (T.81, B.2).
fn header(bytes: &[u8]) -> Option<(Header, usize)> {
    let mut header = Header::default();
    let mut at = 2;
    loop {
        while bytes.get(at) == Some(&0xff) && bytes.get(at + 1) == Some(&0xff) {
            at += 1;
        }
        let [0xff, marker, high, low] = *bytes.get(at..at + 4)? else {
            return None;
        };
        let length = usize::from(u16::from_be_bytes([high, low]));
        let body = bytes.get(at + 4..at + 2 + length)?;
        match marker {
            // Sequential, eight bits: baseline and extended.
            0xc0 | 0xc1 => frame(&mut header, body)?,
            0xc4 => huffman_tables(&mut header, body)?,
            0xdb => quantisation_tables(&mut header, body)?,
            0xdd => header.restart = usize::from(u16::from_be_bytes(body.try_into().ok()?)),
            0xda => {
                scan(&mut header, body)?;
                return Some((header, at + 2 + length));
            }
            // A colour transform that is not the usual one (Adobe's segment: the last byte).
            0xee if body.starts_with(b"Adobe") && body.get(11) != Some(&1) => return None,
            0xe0..=0xef | 0xfe => {}
            _ => return None,
        }
        at += 2 + length;
    }
}

fn frame(header: &mut Header, body: &[u8]) -> Option<()> {
    let [8, h1, h0, w1, w0, count] = *body.get(..6)? else {
        return None;
    };
    if !header.components.is_empty() || !matches!(count, 1 | 3) {
        return None;
    }
    header.height = usize::from(u16::from_be_bytes([h1, h0]));
    header.width = usize::from(u16::from_be_bytes([w1, w0]));
    for part in body.get(6..6 + 3 * usize::from(count))?.chunks_exact(3) {
        header.components.push(Component {
            id: part[0],
            across: usize::from(part[1] >> 4),
            down: usize::from(part[1] & 15),
            quantisation: usize::from(part[2]),
            dc: 0,
            ac: 0,
        });
    }
    if header.components.iter().map(|c| c.id).eq(*b"RGB") {
        return None;
    }
    if let [only] = header.components.as_mut_slice() {
        // The blocks of a single component follow each other whatever its factors (T.81, A.2.2).
        (only.across, only.down) = (1, 1);
    }
    // The second and third component have whole numbers of blocks to each of the first, up to two.
    let fits = |component: &Component| {
        let first = &header.components[0];
        let ratios = [
            (first.across, component.across),
            (first.down, component.down),
        ];
        ratios.iter().all(|&(first, other)| {
            (1..=2).contains(&first) && (1..=2).contains(&other) && first >= other
        })
    };
    (header.width > 0 && header.height > 0 && header.components.iter().all(fits)).then_some(())
}

fn quantisation_tables(header: &mut Header, mut body: &[u8]) -> Option<()> {
    while let [about, rest @ ..] = body {
        let wide = about >> 4 == 1;
        let (table, rest) = rest.split_at_checked(if wide { 128 } else { 64 })?;
        let value = |k: usize| {
            if wide {
                u16::from_be_bytes([table[2 * k], table[2 * k + 1]])
            } else {
                u16::from(table[k])
            }
        };
        let place = header.quantisation.get_mut(usize::from(about & 15))?;
        *place = Some(std::array::from_fn(value));
        body = rest;
    }
    Some(())
}

fn huffman_tables(header: &mut Header, mut body: &[u8]) -> Option<()> {
    while let [about, rest @ ..] = body {
        let (counts, rest) = rest.split_at_checked(16)?;
        let total = counts.iter().map(|&count| usize::from(count)).sum();
        let (symbols, rest) = rest.split_at_checked(total)?;
        let tables = if about >> 4 == 0 {
            &mut header.dc
        } else {
            &mut header.ac
        };
        *tables.get_mut(usize::from(about & 15))? = Some(Huffman::new(counts, symbols)?);
        body = rest;
    }
    Some(())
}

fn scan(header: &mut Header, body: &[u8]) -> Option<()> {
    let (&count, parts) = body.split_first()?;
    // All components in one scan, in their order.
    if header.components.is_empty() || usize::from(count) != header.components.len() {
        return None;
    }
    for (component, part) in header.components.iter_mut().zip(parts.chunks_exact(2)) {
        if component.id != part[0] {
            return None;
        }
        component.dc = usize::from(part[1] >> 4);
        component.ac = usize::from(part[1] & 15);
    }
    (parts.get(2 * usize::from(count)..) == Some(&[0, 63, 0])).then_some(())
}

/// A component with all that its blocks need.
struct Channel<'a> {
    across: usize,
    down: usize,
    dc: &'a Huffman,
    ac: &'a Huffman,
    /// Quantisation with the factors of the inverse transform, in zigzag order.
    factors: [f32; 64],
    inverse: Inverse,
    /// Pixels that a block becomes.
    size: (usize, usize),
    /// The value before, for the differences of the means.
    before: i32,
    /// One row of scan units.
    strip: Vec<u8>,
}

#[inline(always)]
fn picture(header: &Header, segments: &Segments, kept: usize) -> Option<RgbImage> {
    let first = header.components.first()?;
    let unit = (SIDE * first.across, SIDE * first.down);
    let units = (
        header.width.div_ceil(unit.0),
        header.height.div_ceil(unit.1),
    );
    let (width, height) = (
        (header.width * kept).div_ceil(SIDE),
        (header.height * kept).div_ceil(SIDE),
    );
    let strip = (units.0 * first.across * kept, first.down * kept);
    let mut channels = Vec::new();
    for component in &header.components {
        // Chroma of half the size becomes as many pixels as luma by keeping twice as many of each
        // block.
        let size = (
            kept * first.across / component.across,
            kept * first.down / component.down,
        );
        let quantisation = header.quantisation.get(component.quantisation)?.as_ref()?;
        channels.push(Channel {
            across: component.across,
            down: component.down,
            dc: header.dc.get(component.dc)?.as_ref()?,
            ac: header.ac.get(component.ac)?.as_ref()?,
            factors: blocks::factors(quantisation),
            inverse: inverse(size)?,
            size,
            before: 0,
            strip: vec![0; strip.0 * strip.1],
        });
    }
    let mut pixels = vec![0; 3 * width * height];
    let mut parts = segments.parts();
    let mut bits = Bits::new(parts.next()?);
    let mut done = 0;
    for (row, lines) in pixels.chunks_mut(3 * width * strip.1).enumerate() {
        if row >= units.1 {
            return None;
        }
        for column in 0..units.0 {
            if header.restart > 0 && done > 0 && done % header.restart == 0 {
                if bits.overrun() {
                    return None;
                }
                bits = Bits::new(parts.next()?);
                for channel in &mut channels {
                    channel.before = 0;
                }
            }
            for channel in &mut channels {
                one_unit(channel, &mut bits, column, strip.0)?;
            }
            done += 1;
        }
        for (y, line) in lines.chunks_exact_mut(3 * width).enumerate() {
            let of = |channel: usize| &channels[channel].strip[y * strip.0..][..width];
            if channels.len() == 1 {
                grey_line(of(0), line);
            } else {
                colour_line(of(0), of(1), of(2), line);
            }
        }
    }
    if bits.overrun() {
        return None;
    }
    RgbImage::from_raw(width.try_into().ok()?, height.try_into().ok()?, pixels)
}

/// The blocks of one channel in one unit of the scan.
#[inline(always)]
fn one_unit(channel: &mut Channel, bits: &mut Bits, unit: usize, stride: usize) -> Option<()> {
    for down in 0..channel.down {
        for across in 0..channel.across {
            let mut block: Block = [0.0; 64];
            let last = one_block(channel, bits, &mut block)?;
            let x = (unit * channel.across + across) * channel.size.0;
            let y = down * channel.size.1;
            let room = &mut channel.strip[y * stride + x..];
            (channel.inverse)(&block, last == 0, room, stride);
        }
    }
    Some(())
}

/// Reads one block (T.81, F.2.2): its coefficients times their factors, row by row. Returns the
/// number of the last one in zigzag order.
#[inline(always)]
fn one_block(channel: &mut Channel, bits: &mut Bits, block: &mut Block) -> Option<usize> {
    let difference = bits.next(channel.dc)?;
    channel.before += i32::from(difference.value);
    block[0] = channel.before as f32 * channel.factors[0];
    let mut last = 0;
    let mut k = 1;
    while k < 64 {
        let step = bits.next(channel.ac)?;
        k += usize::from(step.run);
        if k > 63 {
            // The end of the block lies far beyond it; anything else is damage.
            return (step.run == huffman::END).then_some(last);
        }
        block[ZIGZAG[k]] = f32::from(step.value) * channel.factors[k];
        last = k;
        k += 1;
    }
    Some(last)
}

fn grey_line(grey: &[u8], line: &mut [u8]) {
    for (pixel, &level) in line.chunks_exact_mut(3).zip(grey) {
        pixel.fill(level);
    }
}

/// Luma and chroma to red, green and blue (ITU-T T.871, clause 7), in 1/65536.
#[inline(always)]
fn colour_line(luma: &[u8], blue: &[u8], red: &[u8], line: &mut [u8]) {
    let level = |value: i32| (value >> 16).clamp(0, 255) as u8;
    for (((pixel, &y), &cb), &cr) in line.chunks_exact_mut(3).zip(luma).zip(blue).zip(red) {
        let y = (i32::from(y) << 16) + (1 << 15);
        let (cb, cr) = (i32::from(cb) - 128, i32::from(cr) - 128);
        pixel[0] = level(y + 91_881 * cr);
        pixel[1] = level(y - 22_554 * cb - 46_802 * cr);
        pixel[2] = level(y + 116_130 * cb);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::{ImageFormat, imageops};

    /// Mean and largest distance of a reduced picture from the full one averaged over squares.
    fn off(bytes: &[u8], kept: Kept) -> (f64, i32) {
        let small = reduced(bytes, kept).expect("it is of the kind that phones write");
        let full = image::load_from_memory_with_format(bytes, ImageFormat::Jpeg)
            .unwrap()
            .into_rgb8();
        let expected = imageops::thumbnail(&full, small.width(), small.height());
        let distances: Vec<i32> = small
            .as_raw()
            .iter()
            .zip(expected.as_raw())
            .map(|(&a, &b)| (i32::from(a) - i32::from(b)).abs())
            .collect();
        let mean = f64::from(distances.iter().sum::<i32>()) / distances.len() as f64;
        (mean, distances.into_iter().max().unwrap_or(0))
    }

    #[test]
    fn a_reduced_picture_is_the_full_one_averaged() {
        // Not of one program's making: painted by one, path-traced and encoded by another.
        for bytes in [
            include_bytes!("../../fixtures/painted/drive-yellow.jpg").as_slice(),
            include_bytes!("../../fixtures/rendered/h007.jpg"),
            include_bytes!("../../examples/larchfield/drive.jpg"),
        ] {
            for kept in [Kept::Four, Kept::Two] {
                let (mean, most) = off(bytes, kept);
                assert!(mean < 1.5 && most < 64, "{kept:?}: {mean} {most}");
            }
        }
    }

    #[test]
    fn smooth_pictures_come_out_the_same_with_and_without_thinned_chroma() {
        let smooth = RgbImage::from_fn(203, 121, |x, y| {
            image::Rgb([(x + 20) as u8, (2 * y) as u8, (200 - x / 2 - y / 2) as u8])
        });
        let mut bytes = Vec::new();
        image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, 95)
            .encode_image(&smooth)
            .unwrap();
        let small = reduced(&bytes, Kept::Four).unwrap();
        assert_eq!(small.dimensions(), (102, 61));
        for (x, y, pixel) in small.enumerate_pixels() {
            let (x, y) = (f64::from(2 * x) + 0.5, f64::from(2 * y) + 0.5);
            let expected = [x + 20.0, 2.0 * y, 200.0 - x / 2.0 - y / 2.0];
            if x < 200.0 && y < 118.0 {
                for (got, expected) in pixel.0.iter().zip(expected) {
                    assert!((f64::from(*got) - expected).abs() < 4.0, "{x} {y}");
                }
            }
        }
    }

    #[test]
    fn what_is_cut_or_of_another_kind_is_left_to_the_full_decoder() {
        let whole = include_bytes!("../../fixtures/painted/drive-yellow.jpg").as_slice();
        assert!(reduced(whole, Kept::Four).is_some());
        for cut in [0, 2, 3, 200, 400, whole.len() / 2] {
            assert!(reduced(&whole[..cut], Kept::Four).is_none(), "{cut}");
        }
        let frame = whole.windows(2).position(|pair| pair == [0xff, 0xc0]);
        let mut progressive = whole.to_vec();
        progressive[frame.expect("baseline") + 1] = 0xc2;
        assert!(reduced(&progressive, Kept::Four).is_none());
    }

    #[test]
    fn no_damage_ends_in_a_panic() {
        let whole = include_bytes!("../../fixtures/painted/not-rolled.jpg");
        let mut number = 12_345u32;
        for _ in 0..300 {
            let mut bytes = whole.to_vec();
            for _ in 0..4 {
                number = number.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                // Half of the damage goes to the headers.
                let range = if number & 1 == 0 { 700 } else { bytes.len() };
                let at = (number >> 8) as usize % range;
                bytes[at] ^= 1 << (number >> 5 & 7);
            }
            if let Some(picture) = reduced(&bytes, Kept::Two) {
                assert!(picture.width() > 0);
            }
        }
    }
}
