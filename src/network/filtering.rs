//! The minimal filtering method F(4 × 4, 3 × 3) of A. Lavin and S. Gray, "Fast algorithms for convolutional neural networks" (CVPR 2016): a
//! tile of 4 × 4 results takes 36 multiplications for each input instead of 144. What is here leads from pixels to the matrices that are
//! multiplied and back, the rows of many tiles together. Its matrices are written here from memory; the tests compare
//! whole networks with another program.

#![expect(
    clippy::needless_range_loop,
    reason = "loops by index stay in the function that is compiled for the processor's best instructions; what iterators are handed may not"
)]

use super::Planes;
use multiversion::multiversion;
use std::ops::{Add, Mul, Range, Sub};

/// Side of a tile, pixels.
pub(super) const TILE: usize = 4;

/// Pixels of the patch that a tile of results depends on.
const SIDE: usize = TILE + 2;
pub(super) const PATCH_PIXELS: usize = SIDE * SIDE;

/// Numbers worked on together.
pub(super) const LANES: usize = 8;

/// So many numbers, added and multiplied together.
#[derive(Clone, Copy)]
struct Lanes([f32; LANES]);

impl Add for Lanes {
    type Output = Self;
    #[inline(always)]
    fn add(mut self, other: Self) -> Self {
        for i in 0..LANES {
            self.0[i] += other.0[i];
        }
        self
    }
}

impl Sub for Lanes {
    type Output = Self;
    #[inline(always)]
    fn sub(mut self, other: Self) -> Self {
        for i in 0..LANES {
            self.0[i] -= other.0[i];
        }
        self
    }
}

impl Mul<f32> for Lanes {
    type Output = Self;
    #[inline(always)]
    fn mul(mut self, factor: f32) -> Self {
        for i in 0..LANES {
            self.0[i] *= factor;
        }
        self
    }
}

impl Lanes {
    const ZERO: Self = Self([0.0; LANES]);

    /// The next numbers.
    #[inline(always)]
    fn of(from: &[f32]) -> Self {
        let mut lanes = Self::ZERO;
        lanes.0.copy_from_slice(&from[..LANES]);
        lanes
    }

    #[inline(always)]
    fn to(self, to: &mut [f32]) {
        to[..LANES].copy_from_slice(&self.0);
    }

    #[inline(always)]
    fn plus_at_least(mut self, more: f32, floor: f32) -> Self {
        for i in 0..LANES {
            let sum = self.0[i] + more;
            self.0[i] = if sum > floor { sum } else { floor };
        }
        self
    }
}

/// G g of Lavin and Gray.
#[inline(always)]
fn kernel_line(g: [Lanes; 3]) -> [Lanes; SIDE] {
    let sum = (g[0] + g[2]) * (-1.0 / 6.0);
    let far = (g[0] + g[2] * 4.0) * (1.0 / 24.0);
    let (near_middle, far_middle) = (g[1] * (1.0 / 6.0), g[1] * (1.0 / 12.0));
    [
        g[0] * 0.25,
        sum - near_middle,
        sum + near_middle,
        far + far_middle,
        far - far_middle,
        g[2],
    ]
}

/// Bᵀ d of Lavin and Gray.
#[inline(always)]
fn patch_line(d: [Lanes; SIDE]) -> [Lanes; SIDE] {
    let (even, odd) = (d[4] - d[2] * 4.0, d[3] - d[1] * 4.0);
    let (even_far, odd_far) = (d[4] - d[2], (d[3] - d[1]) * 2.0);
    [
        d[0] * 4.0 - d[2] * 5.0 + d[4],
        even + odd,
        even - odd,
        even_far + odd_far,
        even_far - odd_far,
        d[1] * 4.0 - d[3] * 5.0 + d[5],
    ]
}

/// Aᵀ m of Lavin and Gray.
#[inline(always)]
fn result_line(m: [Lanes; SIDE]) -> [Lanes; TILE] {
    let (sum, difference) = (m[1] + m[2], m[1] - m[2]);
    let (far_sum, far_difference) = (m[3] + m[4], m[3] - m[4]);
    [
        m[0] + sum + far_sum,
        difference + far_difference * 2.0,
        sum + far_sum * 4.0,
        difference + far_difference * 8.0 + m[5],
    ]
}

/// G g Gᵀ: from kernels, nine taps of so many each, to the same for each pixel of the patch.
#[multiversion(targets(
    "x86_64+avx512f+avx512vl+avx512dq+avx512bw+avx2+fma",
    "x86_64+avx2+fma"
))]
pub(super) fn filter_weights(taps: &[f32], to: &mut [f32]) {
    let count = taps.len() / 9;
    for at in (0..count).step_by(LANES) {
        let mut columns = [[Lanes::ZERO; SIDE]; 3];
        for across in 0..3 {
            let (a, b, c) = (
                across * count + at,
                (3 + across) * count + at,
                (6 + across) * count + at,
            );
            columns[across] = kernel_line([
                Lanes::of(&taps[a..]),
                Lanes::of(&taps[b..]),
                Lanes::of(&taps[c..]),
            ]);
        }
        for y in 0..SIDE {
            let line = kernel_line([columns[0][y], columns[1][y], columns[2][y]]);
            for x in 0..SIDE {
                line[x].to(&mut to[(y * SIDE + x) * count + at..]);
            }
        }
    }
}

/// Bᵀ d B: from some rows of tiles of all planes to the matrices, plane by tile, for each pixel of the patch. Each has room for
/// [`LANES`] numbers more, for the last of a row are written in full and what is too much is written over by the next.
#[multiversion(targets(
    "x86_64+avx512f+avx512vl+avx512dq+avx512bw+avx2+fma",
    "x86_64+avx2+fma"
))]
pub(super) fn patches(input: &Planes, rows: Range<usize>, to: &mut [f32]) {
    let across = input.width.div_ceil(TILE);
    let tiles = across * rows.len();
    let step = input.planes * tiles + LANES;
    // Of six lines, the pixels that stand at the same place of their tile, tile after tile.
    let long = across.next_multiple_of(LANES) + LANES;
    let mut places = vec![0.0; SIDE * TILE * long];
    for plane in 0..input.planes {
        let pixels = input.plane(plane);
        for (number, row) in rows.clone().enumerate() {
            for (line, to) in places.chunks_exact_mut(TILE * long).enumerate() {
                match (TILE * row + line)
                    .checked_sub(1)
                    .filter(|&y| y < input.height)
                {
                    Some(y) => by_place(&pixels[y * input.width..][..input.width], to),
                    None => to.fill(0.0),
                }
            }
            for tile in (0..across).step_by(LANES) {
                let mut patch = [[Lanes::ZERO; SIDE]; SIDE];
                for line in 0..SIDE {
                    let from = &places[line * TILE * long + tile..];
                    let (a, b, c, d) = (from, &from[long..], &from[2 * long..], &from[3 * long..]);
                    patch[line] = patch_line([
                        Lanes::of(a),
                        Lanes::of(b),
                        Lanes::of(c),
                        Lanes::of(d),
                        Lanes::of(&a[1..]),
                        Lanes::of(&b[1..]),
                    ]);
                }
                for x in 0..SIDE {
                    let column = [
                        patch[0][x],
                        patch[1][x],
                        patch[2][x],
                        patch[3][x],
                        patch[4][x],
                        patch[5][x],
                    ];
                    let column = patch_line(column);
                    let at = plane * tiles + number * across + tile;
                    for y in 0..SIDE {
                        column[y].to(&mut to[(y * SIDE + x) * step + at..]);
                    }
                }
            }
        }
    }
}

/// A line of pixels by their place in the patch, the first of which lies one pixel to the left of its tile.
#[inline(always)]
fn by_place(line: &[f32], to: &mut [f32]) {
    let long = to.len() / TILE;
    let (first, second) = to.split_at_mut(2 * long);
    let (a, b) = first.split_at_mut(long);
    let (c, d) = second.split_at_mut(long);
    let (whole, last) = line.as_chunks::<TILE>();
    let count = whole.len();
    a[0] = 0.0;
    let after = &mut a[1..];
    {
        let (a, b, c, d) = (
            &mut after[..count],
            &mut b[..count],
            &mut c[..count],
            &mut d[..count],
        );
        for i in 0..count {
            (b[i], c[i], d[i], a[i]) = (whole[i][0], whole[i][1], whole[i][2], whole[i][3]);
        }
    }
    for (number, place) in [&mut *b, c, d].into_iter().enumerate() {
        place[count] = last.get(number).copied().unwrap_or(0.0);
    }
    after[count] = 0.0;
    if let Some(beyond) = b.get_mut(count + 1) {
        *beyond = 0.0;
    }
}

/// Aᵀ m A: from the products, output by tile for each pixel of the patch, to the lines of some rows of tiles, with a bias added.
#[multiversion(targets(
    "x86_64+avx512f+avx512vl+avx512dq+avx512bw+avx2+fma",
    "x86_64+avx2+fma"
))]
pub(super) fn results(
    products: &[f32],
    (bias, floor): (&[f32], f32),
    rows: Range<usize>,
    output: &mut Planes,
) {
    let (width, height) = (output.width, output.height);
    let across = width.div_ceil(TILE);
    let tiles = across * rows.len();
    let step = output.planes * tiles + LANES;
    let long = across.next_multiple_of(LANES);
    let mut places = vec![0.0; TILE * TILE * long];
    for (plane, &bias) in bias.iter().enumerate() {
        for (number, row) in rows.clone().enumerate() {
            for tile in (0..across).step_by(LANES) {
                let at = plane * tiles + number * across + tile;
                let mut columns = [[Lanes::ZERO; TILE]; SIDE];
                for x in 0..SIDE {
                    let from = &products[x * step + at..];
                    columns[x] = result_line([
                        Lanes::of(from),
                        Lanes::of(&from[SIDE * step..]),
                        Lanes::of(&from[2 * SIDE * step..]),
                        Lanes::of(&from[3 * SIDE * step..]),
                        Lanes::of(&from[4 * SIDE * step..]),
                        Lanes::of(&from[5 * SIDE * step..]),
                    ]);
                }
                for y in 0..TILE {
                    let c = &columns;
                    let line = result_line([c[0][y], c[1][y], c[2][y], c[3][y], c[4][y], c[5][y]]);
                    for x in 0..TILE {
                        let to = &mut places[(y * TILE + x) * long + tile..];
                        line[x].plus_at_least(bias, floor).to(to);
                    }
                }
            }
            for (y, places) in places.chunks_exact(TILE * long).enumerate() {
                let line = TILE * row + y;
                if line < height {
                    by_line(
                        places,
                        &mut output.values[(plane * height + line) * width..][..width],
                    );
                }
            }
        }
    }
}

/// Pixels that stand at the same place of their tile, tile after tile → a line of them.
#[inline(always)]
fn by_line(places: &[f32], line: &mut [f32]) {
    let long = places.len() / TILE;
    let (whole, last) = line.as_chunks_mut::<TILE>();
    let count = whole.len();
    let (a, b) = (&places[..count], &places[long..][..count]);
    let (c, d) = (&places[2 * long..][..count], &places[3 * long..][..count]);
    for i in 0..count {
        whole[i] = [a[i], b[i], c[i], d[i]];
    }
    for (place, to) in last.iter_mut().enumerate() {
        *to = places[place * long + count];
    }
}
