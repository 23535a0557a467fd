//! Convolutions of tiles.
//!
//! Those of three by three pixels are done by the minimal filtering method F(4 × 4, 3 × 3) of
//! A. Lavin and S. Gray, "Fast algorithms for convolutional neural networks" (CVPR 2016): a tile of
//! 4 × 4 results takes 36 multiplications instead of 144. Its matrices are written here from memory;
//! the tests compare all of it with the plain sum.

use super::lanes::Lanes;
use super::tiles::{Pool, TILE, Tiles};
use super::weights::Layer;

/// Results worked on together; weights are kept in groups of as many.
const GROUP: usize = 8;

/// Registers of places worked on together by the plain sum.
const WIDE: usize = 3;

/// Side of the patch of pixels that a tile of results depends on, and its pixels.
const PATCH: usize = TILE + 2;
const PATCH_PIXELS: usize = PATCH * PATCH;

/// A layer with its weights as the convolution takes them.
#[derive(Debug)]
pub(super) struct Prepared {
    output: usize,
    input: usize,
    kernel: usize,
    stride: usize,
    /// Pixel of the transformed patch (or none), group of outputs, input or tap, output in its
    /// group.
    weights: Vec<f32>,
    /// Filled up to whole groups.
    bias: Vec<f32>,
}

impl Prepared {
    /// Lays out the weights of a layer that is applied with a stride.
    pub fn new(layer: &Layer, stride: usize) -> Self {
        let groups = layer.output.div_ceil(GROUP);
        let taps = layer.kernel * layer.kernel;
        let mut bias = layer.bias.clone();
        bias.resize(groups * GROUP, 0.0);
        let weights = if Self::filters(layer.kernel, stride) {
            let step = groups * layer.input * GROUP;
            let mut weights = vec![0.0; PATCH_PIXELS * step];
            for (number, to) in (0..groups * layer.input).zip((0..step).step_by(GROUP)) {
                let (group, input) = (number / layer.input, number % layer.input);
                // A whole group at a time: its weights lie together, those of each pixel far apart.
                let mut together = [[0.0; GROUP]; PATCH_PIXELS];
                for (m, output) in (group * GROUP..layer.output).take(GROUP).enumerate() {
                    let kernel = &layer.weights[(output * layer.input + input) * taps..][..taps];
                    let pixels = transformed(kernel).into_iter().flatten();
                    for (row, value) in together.iter_mut().zip(pixels) {
                        row[m] = value;
                    }
                }
                for (pixel, row) in together.iter().enumerate() {
                    weights[pixel * step + to..][..GROUP].copy_from_slice(row);
                }
            }
            weights
        } else {
            let depth = layer.input * taps;
            let mut weights = vec![0.0; groups * depth * GROUP];
            for (output, row) in layer.weights.chunks_exact(depth).enumerate() {
                for (tap, value) in row.iter().enumerate() {
                    weights[(output / GROUP * depth + tap) * GROUP + output % GROUP] = *value;
                }
            }
            weights
        };
        Self {
            output: layer.output,
            input: layer.input,
            kernel: layer.kernel,
            stride,
            weights,
            bias,
        }
    }

    /// Whether such a layer goes by minimal filtering.
    fn filters(kernel: usize, stride: usize) -> bool {
        kernel == 3 && stride == 1
    }

    /// Side of the tiles that the layer takes: as many as it makes, of [`TILE`] pixels.
    pub fn side(&self) -> usize {
        TILE * self.stride
    }
}

/// G g Gᵀ of Lavin and Gray.
fn transformed(kernel: &[f32]) -> [[f32; PATCH]; PATCH] {
    let line = |g: [f32; 3]| {
        let (even, odd) = (g[0] + g[2], g[1]);
        let (far_even, far_odd) = (g[0] + 4.0 * g[2], 2.0 * g[1]);
        [
            g[0] / 4.0,
            (even + odd) / -6.0,
            (even - odd) / -6.0,
            (far_even + far_odd) / 24.0,
            (far_even - far_odd) / 24.0,
            g[2],
        ]
    };
    let columns: [[f32; PATCH]; 3] =
        std::array::from_fn(|x| line([kernel[x], kernel[3 + x], kernel[6 + x]]));
    std::array::from_fn(|y| line([columns[0][y], columns[1][y], columns[2][y]]))
}

/// Applies a layer.
///
/// # Safety
/// The processor must have the instructions that `V` stands for.
#[inline(always)]
pub(super) unsafe fn convolve<V: Lanes, const M: usize>(
    layer: &Prepared,
    input: &Tiles,
    rectify: bool,
    pool: &mut Pool,
) -> Tiles {
    assert_eq!(input.planes, layer.input);
    assert_eq!(input.side, layer.side());
    let (width, height) = (input.width / layer.stride, input.height / layer.stride);
    let mut output = Tiles::room(layer.output, width, height, TILE, pool);
    assert_eq!(input.grid, output.grid);
    let pieces = output.grid.count().div_ceil(V::COUNT);
    let floor = if rectify { 0.0 } else { f32::NEG_INFINITY };
    let (widest, scratch) = if Prepared::filters(layer.kernel, layer.stride) {
        (
            V::FILTERED,
            (layer.input + layer.bias.len()) * step(V::FILTERED * V::COUNT),
        )
    } else {
        (WIDE, 0)
    };
    let blocks = pieces.div_ceil(widest);
    let mut scratch = pool.take(scratch);
    let mut from = 0;
    for block in 0..blocks {
        // As even as can be.
        let wide = (pieces - from).div_ceil(blocks - block);
        let at = from * V::COUNT;
        // SAFETY: as the caller promises.
        unsafe {
            match wide {
                1 => one_block::<V, M, 1>(layer, input, &mut output, at, floor, &mut scratch),
                2 => one_block::<V, M, 2>(layer, input, &mut output, at, floor, &mut scratch),
                _ => one_block::<V, M, 3>(layer, input, &mut output, at, floor, &mut scratch),
            }
        }
        from += wide;
    }
    pool.give(scratch);
    output.clear_outside();
    output
}

/// The results of `N` registers of places from the `at`-th place on.
#[inline(always)]
unsafe fn one_block<V: Lanes, const M: usize, const N: usize>(
    layer: &Prepared,
    input: &Tiles,
    output: &mut Tiles,
    at: usize,
    floor: f32,
    scratch: &mut [f32],
) {
    // SAFETY: as the caller promises.
    unsafe {
        if Prepared::filters(layer.kernel, layer.stride) {
            filtered::<V, M, N>(layer, input, output, at, floor, scratch);
        } else {
            summed::<V, M, N>(layer, input, output, at, floor);
        }
    }
}

/// A block by the plain sum over all taps.
#[inline(always)]
unsafe fn summed<V: Lanes, const M: usize, const N: usize>(
    layer: &Prepared,
    input: &Tiles,
    output: &mut Tiles,
    at: usize,
    floor: f32,
) {
    let grid = output.grid;
    let side = input.side;
    let reach = layer.kernel / 2;
    let depth = layer.input * layer.kernel * layer.kernel;
    let mut taps = vec![0; depth];
    assert!(at + N * V::COUNT <= grid.length - 2 * grid.first());
    assert!(layer.weights.len() >= layer.bias.len() * depth);
    for y in 0..TILE {
        for x in 0..TILE {
            // Where each tap finds the first tile's pixel.
            let mut tap = 0;
            for plane in 0..layer.input {
                for ky in 0..layer.kernel {
                    for kx in 0..layer.kernel {
                        let along =
                            |place: usize, k: usize| place * layer.stride + k + side - reach;
                        let (px, py) = (along(x, kx), along(y, ky));
                        let row = input.row_at(plane, (px % side, py % side));
                        // One tile to the left and up is one step and one stride back.
                        taps[tap] = row + py / side * grid.stride() + px / side + grid.first()
                            - grid.stride()
                            - 1;
                        tap += 1;
                    }
                }
            }
            let last = taps.iter().max().copied().unwrap_or(0);
            assert!(last + at + N * V::COUNT <= input.values.len());
            for group in (0..layer.output).step_by(M) {
                // SAFETY: weights hold `depth` rows for each group of outputs, and each tap's row
                // of places lies within the input, as asserted above.
                let sums = unsafe {
                    let weights = layer.weights.as_ptr().add(group_at(group, depth));
                    let pixels = input.values.as_ptr().add(at);
                    products::<V, M, N>(weights, depth, |tap| pixels.add(taps[tap]))
                };
                for (m, sums) in sums
                    .iter()
                    .enumerate()
                    .take(layer.output.saturating_sub(group))
                {
                    let row = output.row_at(group + m, (x, y)) + grid.first() + at;
                    let room = &mut output.values[row..row + N * V::COUNT];
                    for (n, &sum) in sums.iter().enumerate() {
                        // SAFETY: `room` has place for N registers.
                        unsafe {
                            sum.plus(V::splat(layer.bias[group + m]))
                                .max(V::splat(floor))
                                .store(room.as_mut_ptr().add(n * V::COUNT));
                        }
                    }
                }
            }
        }
    }
}

/// Where the weights of outputs from `output` on begin, among groups of `depth` rows.
fn group_at(output: usize, depth: usize) -> usize {
    output / GROUP * depth * GROUP + output % GROUP
}

/// From one plane's transformed patches to the next one's: a line of the cache more than they take,
/// lest all planes fall on the same lines of it.
fn step(places: usize) -> usize {
    PATCH_PIXELS * places + 16
}

/// A block by minimal filtering.
#[inline(always)]
unsafe fn filtered<V: Lanes, const M: usize, const N: usize>(
    layer: &Prepared,
    input: &Tiles,
    output: &mut Tiles,
    at: usize,
    floor: f32,
    scratch: &mut [f32],
) {
    let grid = output.grid;
    let places = N * V::COUNT;
    let outputs = layer.bias.len();
    assert!(at + places <= grid.length - 2 * grid.first());
    assert!(input.values.len() >= layer.input * TILE * TILE * grid.length);
    assert!(output.values.len() >= layer.output * TILE * TILE * grid.length);
    assert!(layer.weights.len() >= PATCH_PIXELS * outputs * layer.input);
    let step = step(places);
    let (patches, results) = scratch.split_at_mut(layer.input * step);
    assert!(results.len() >= outputs * step);
    // SAFETY: a row has `grid.first()` = stride + 1 numbers before the first place and after the
    // last block, so that the patches about the block lie within it; the rest of the addresses
    // are within the lengths asserted above.
    unsafe {
        for plane in 0..layer.input {
            let rows = input.values.as_ptr().add(input.row_at(plane, (0, 0)));
            for n in 0..N {
                let from = rows.add(at + n * V::COUNT);
                let to = patches.as_mut_ptr().add(plane * step + n * V::COUNT);
                patch::<V>(from, (grid.length, grid.stride()), to, places);
            }
        }
        for pixel in 0..PATCH_PIXELS {
            let weights = layer.weights.as_ptr().add(pixel * outputs * layer.input);
            let patches = patches.as_ptr().add(pixel * places);
            let results = results.as_mut_ptr().add(pixel * places);
            for group in (0..layer.output).step_by(M) {
                let weights = weights.add(group_at(group, layer.input));
                let sums = products::<V, M, N>(weights, layer.input, |k| patches.add(k * step));
                for (m, sums) in sums.iter().enumerate() {
                    for (n, sum) in sums.iter().enumerate() {
                        sum.store(results.add((group + m) * step + n * V::COUNT));
                    }
                }
            }
        }
        for plane in 0..layer.output {
            let row = output.row_at(plane, (0, 0)) + grid.first() + at;
            let bias = V::splat(layer.bias[plane]);
            for n in 0..N {
                let from = results.as_ptr().add(plane * step + n * V::COUNT);
                let to = output.values.as_mut_ptr().add(row + n * V::COUNT);
                result::<V>(from, places, bias, V::splat(floor), to, grid.length);
            }
        }
    }
}

/// Sums over `depth` of weights times places: `M` outputs by `N` registers.
#[inline(always)]
unsafe fn products<V: Lanes, const M: usize, const N: usize>(
    weights: *const f32,
    depth: usize,
    places: impl Fn(usize) -> *const f32,
) -> [[V; N]; M] {
    // SAFETY: the caller promises `depth` groups of weights and `depth` rows of places.
    unsafe {
        let mut sums = [[V::splat(0.0); N]; M];
        for k in 0..depth {
            let row = places(k);
            let mut here = [V::splat(0.0); N];
            for (n, here) in here.iter_mut().enumerate() {
                *here = V::load(row.add(n * V::COUNT));
            }
            for (m, sums) in sums.iter_mut().enumerate() {
                let weight = V::splat(*weights.add(k * GROUP + m));
                for (sum, here) in sums.iter_mut().zip(here) {
                    *sum = here.mul_add(weight, *sum);
                }
            }
        }
        sums
    }
}

/// Columns as lines.
#[inline(always)]
fn turned<V: Copy, const W: usize, const H: usize>(columns: [[V; H]; W]) -> [[V; W]; H] {
    std::array::from_fn(|y| std::array::from_fn(|x| columns[x][y]))
}

/// Bᵀ d B of Lavin and Gray for one plane: from the tiles' rows to the pixels of the patch, `step`
/// apart. `rows` is the first place less one stride and one step, in the row of pixels (0, 0).
#[inline(always)]
unsafe fn patch<V: Lanes>(
    rows: *const f32,
    (length, stride): (usize, usize),
    to: *mut f32,
    step: usize,
) {
    // A pixel of the patch: its place in a tile, and the tile, counted from the one before.
    let place = |i: usize| {
        let along = i + TILE - 1;
        (along % TILE, along / TILE)
    };
    // SAFETY: as the caller promises.
    unsafe {
        let mut columns = [[V::splat(0.0); PATCH]; PATCH];
        for (x, column) in columns.iter_mut().enumerate() {
            let (px, across) = place(x);
            let mut pixels = [V::splat(0.0); PATCH];
            for (y, pixel) in pixels.iter_mut().enumerate() {
                let (py, down) = place(y);
                let from = (py * TILE + px) * length + down * stride + across;
                *pixel = V::load(rows.add(from));
            }
            *column = patch_line(pixels);
        }
        for (y, across) in turned(columns).into_iter().enumerate() {
            let line = patch_line(across);
            for (x, pixel) in line.into_iter().enumerate() {
                pixel.store(to.add((y * PATCH + x) * step));
            }
        }
    }
}

#[inline(always)]
unsafe fn patch_line<V: Lanes>(d: [V; PATCH]) -> [V; PATCH] {
    // SAFETY: as the caller promises.
    unsafe {
        let (four, five) = (V::splat(4.0), V::splat(-5.0));
        let minus_four = V::splat(-4.0);
        let two = V::splat(2.0);
        let even = d[2].mul_add(minus_four, d[4]);
        let odd = d[1].mul_add(minus_four, d[3]);
        let far_even = d[4].minus(d[2]);
        let far_odd = d[3].minus(d[1]).mul_add(two, V::splat(0.0));
        [
            d[0].mul_add(four, d[2].mul_add(five, d[4])),
            even.plus(odd),
            even.minus(odd),
            far_even.plus(far_odd),
            far_even.minus(far_odd),
            d[1].mul_add(four, d[3].mul_add(five, d[5])),
        ]
    }
}

/// Aᵀ m A of Lavin and Gray for one plane, with bias and the least value there may be: from the
/// pixels of the products, `step` apart, to the rows of the tiles.
#[inline(always)]
unsafe fn result<V: Lanes>(
    from: *const f32,
    step: usize,
    bias: V,
    floor: V,
    to: *mut f32,
    length: usize,
) {
    // SAFETY: as the caller promises.
    unsafe {
        let mut columns = [[V::splat(0.0); TILE]; PATCH];
        for (x, column) in columns.iter_mut().enumerate() {
            let mut pixels = [V::splat(0.0); PATCH];
            for (y, pixel) in pixels.iter_mut().enumerate() {
                *pixel = V::load(from.add((y * PATCH + x) * step));
            }
            *column = result_line(pixels);
        }
        for (y, across) in turned(columns).into_iter().enumerate() {
            let line = result_line(across);
            for (x, pixel) in line.into_iter().enumerate() {
                pixel
                    .plus(bias)
                    .max(floor)
                    .store(to.add((y * TILE + x) * length));
            }
        }
    }
}

#[inline(always)]
unsafe fn result_line<V: Lanes>(m: [V; PATCH]) -> [V; TILE] {
    // SAFETY: as the caller promises.
    unsafe {
        let (near_sum, near) = (m[1].plus(m[2]), m[1].minus(m[2]));
        let (far_sum, far) = (m[3].plus(m[4]), m[3].minus(m[4]));
        [
            m[0].plus(near_sum).plus(far_sum),
            far.mul_add(V::splat(2.0), near),
            far_sum.mul_add(V::splat(4.0), near_sum),
            far.mul_add(V::splat(8.0), near).plus(m[5]),
        ]
    }
}
