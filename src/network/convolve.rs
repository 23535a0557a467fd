//! Convolutions of tiles.
//!
//! Those of three by three pixels are done by the minimal filtering method F(4 × 4, 3 × 3) of
//! A. Lavin and S. Gray, "Fast algorithms for convolutional neural networks" (CVPR 2016): a tile of
//! 4 × 4 results takes 36 multiplications instead of 144. Its matrices are written here from memory;
//! the tests compare all of it with the plain sum.

use super::lanes::{Lanes, Plain};
use super::tiles::{Pool, TILE, Tiles, WIDEST};
use super::weights::{GROUP, Layer};

/// Registers of places worked on together by the plain sum.
const WIDE: usize = 3;

/// Side of the patch of pixels that a tile of results depends on, and its pixels.
const PATCH: usize = TILE + 2;
const PATCH_PIXELS: usize = PATCH * PATCH;

/// Whether a layer goes by minimal filtering.
fn filters(layer: &Layer, stride: usize) -> bool {
    layer.kernel == 3 && stride == 1
}

/// From the weights of one pixel of the transformed patch to those of the next, all of a group of
/// outputs: a line of the cache more than they take, lest all pixels fall on the same lines of it.
fn row(layer: &Layer) -> usize {
    layer.input * GROUP + 16
}

/// Room for the weights of a layer as the convolution takes them, numbers.
fn weights_room(layer: &Layer, stride: usize) -> usize {
    if filters(layer, stride) {
        layer.groups() * PATCH_PIXELS * row(layer)
    } else {
        layer.groups() * GROUP * layer.depth()
    }
}

/// Room for all that a layer needs beside its pictures, numbers, with any instructions.
pub(super) fn most_work(layer: &Layer, stride: usize) -> usize {
    let planes = layer.input + layer.groups() * GROUP;
    weights_room(layer, stride) + planes * step(WIDE * WIDEST)
}

/// The weights as minimal filtering takes them: group of outputs, pixel of the transformed patch,
/// input, output in its group.
#[inline(always)]
fn filter_weights(layer: &Layer, weights: &mut [f32], kept: &mut [f32]) {
    let row = row(layer);
    for (group, to) in weights.chunks_exact_mut(PATCH_PIXELS * row).enumerate() {
        layer.weights(group, kept);
        let (kernels, _) = kept.as_chunks::<{ 9 * GROUP }>();
        for (input, kernel) in kernels.iter().take(layer.input).enumerate() {
            // SAFETY: plain numbers need no special instructions; each of the nine of a kernel and
            // each of the pixels' rows holds `GROUP` of them from there on.
            unsafe {
                let mut taps = [[Plain::splat(0.0); 3]; 3];
                let all = taps.as_flattened_mut().iter_mut();
                for (tap, weights) in all.zip(kernel.chunks_exact(GROUP)) {
                    *tap = Plain::load(weights.as_ptr());
                }
                let pixels = transformed(taps);
                for (pixel, to) in pixels.as_flattened().iter().zip(to.chunks_exact_mut(row)) {
                    pixel.store(to[input * GROUP..].as_mut_ptr());
                }
            }
        }
    }
}

/// G g Gᵀ of Lavin and Gray, for a group of outputs.
#[inline(always)]
unsafe fn transformed<V: Lanes>(kernel: [[V; 3]; 3]) -> [[V; PATCH]; PATCH] {
    // SAFETY: as the caller promises.
    unsafe {
        // Loops, as closures that are handed on would not be compiled for the instructions.
        let mut columns = [[V::splat(0.0); PATCH]; 3];
        for (column, kernel) in columns.iter_mut().zip(turned(kernel)) {
            *column = transformed_line(kernel);
        }
        let mut lines = [[V::splat(0.0); PATCH]; PATCH];
        for (line, across) in lines.iter_mut().zip(turned(columns)) {
            *line = transformed_line(across);
        }
        lines
    }
}

#[inline(always)]
unsafe fn transformed_line<V: Lanes>(g: [V; 3]) -> [V; PATCH] {
    // SAFETY: as the caller promises.
    unsafe {
        let none = V::splat(0.0);
        let sum = g[0].plus(g[2]).mul_add(V::splat(-1.0 / 6.0), none);
        let far = g[2].mul_add(V::splat(4.0), g[0]);
        let far_sum = far.mul_add(V::splat(1.0 / 24.0), none);
        [
            g[0].mul_add(V::splat(0.25), none),
            g[1].mul_add(V::splat(-1.0 / 6.0), sum),
            g[1].mul_add(V::splat(1.0 / 6.0), sum),
            g[1].mul_add(V::splat(1.0 / 12.0), far_sum),
            g[1].mul_add(V::splat(-1.0 / 12.0), far_sum),
            g[2],
        ]
    }
}

/// A layer as a convolution takes it.
struct Ready<'a> {
    layer: &'a Layer<'a>,
    weights: &'a [f32],
    /// Whether it goes by minimal filtering.
    filters: bool,
    /// The least value there may be.
    floor: f32,
}

/// Applies a layer.
///
/// # Safety
/// The processor must have the instructions that `V` stands for.
#[inline(always)]
pub(super) unsafe fn convolve<V: Lanes, const M: usize>(
    layer: &Layer,
    input: &Tiles,
    rectify: bool,
    pool: &mut Pool,
) -> Tiles {
    assert_eq!(input.planes, layer.input);
    let stride = input.side / TILE;
    let (width, height) = (input.width / stride, input.height / stride);
    let mut output = Tiles::room(layer.output, width, height, TILE, pool);
    assert_eq!(input.grid, output.grid);
    let pieces = output.grid.count().div_ceil(V::COUNT);
    let filters = filters(layer, stride);
    let (widest, patches, results) = if filters {
        let step = step(V::FILTERED * V::COUNT);
        (V::FILTERED, layer.input * step, layer.bias.len() * step)
    } else {
        (WIDE, 0, 0)
    };
    let mut work = std::mem::take(&mut pool.work);
    let weights = weights_room(layer, stride);
    let room = weights + patches + results;
    if work.len() < room {
        work.resize(room, 0.0);
    }
    let (weights, scratch) = work[..room].split_at_mut(weights);
    if filters {
        filter_weights(layer, weights, scratch);
    } else {
        for (group, to) in weights.chunks_exact_mut(layer.depth() * GROUP).enumerate() {
            layer.weights(group, to);
        }
    }
    let ready = Ready {
        layer,
        weights,
        filters,
        floor: if rectify { 0.0 } else { f32::NEG_INFINITY },
    };
    let blocks = pieces.div_ceil(widest);
    let mut from = 0;
    for block in 0..blocks {
        // As even as can be.
        let wide = (pieces - from).div_ceil(blocks - block);
        let at = from * V::COUNT;
        // SAFETY: as the caller promises.
        unsafe {
            match wide {
                1 => one_block::<V, M, 1>(&ready, input, &mut output, at, scratch),
                2 => one_block::<V, M, 2>(&ready, input, &mut output, at, scratch),
                _ => one_block::<V, M, 3>(&ready, input, &mut output, at, scratch),
            }
        }
        from += wide;
    }
    pool.work = work;
    output.clear_outside();
    output
}

/// The results of `N` registers of places from the `at`-th place on.
#[inline(always)]
unsafe fn one_block<V: Lanes, const M: usize, const N: usize>(
    ready: &Ready,
    input: &Tiles,
    output: &mut Tiles,
    at: usize,
    scratch: &mut [f32],
) {
    // SAFETY: as the caller promises.
    unsafe {
        if ready.filters {
            filtered::<V, M, N>(ready, input, output, at, scratch);
        } else {
            summed::<V, M, N>(ready, input, output, at);
        }
    }
}

/// A block by the plain sum over all taps.
#[inline(always)]
unsafe fn summed<V: Lanes, const M: usize, const N: usize>(
    ready: &Ready,
    input: &Tiles,
    output: &mut Tiles,
    at: usize,
) {
    let Ready {
        layer,
        weights,
        floor,
        ..
    } = *ready;
    let grid = output.grid;
    let side = input.side;
    let reach = layer.kernel / 2;
    let depth = layer.depth();
    let mut taps = vec![0; depth];
    assert!(at + N * V::COUNT <= grid.length - 2 * grid.first());
    assert!(weights.len() >= layer.bias.len() * depth);
    for y in 0..TILE {
        for x in 0..TILE {
            // Where each tap finds the first tile's pixel.
            let mut tap = 0;
            for plane in 0..layer.input {
                for ky in 0..layer.kernel {
                    for kx in 0..layer.kernel {
                        let along =
                            |place: usize, k: usize| place * (side / TILE) + k + side - reach;
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
                    let weights = weights.as_ptr().add(group_at(group, depth));
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
    ready: &Ready,
    input: &Tiles,
    output: &mut Tiles,
    at: usize,
    scratch: &mut [f32],
) {
    let Ready {
        layer,
        weights,
        floor,
        ..
    } = *ready;
    let grid = output.grid;
    let places = N * V::COUNT;
    let outputs = layer.bias.len();
    assert!(at + places <= grid.length - 2 * grid.first());
    assert!(input.values.len() >= layer.input * TILE * TILE * grid.length);
    assert!(output.values.len() >= layer.output * TILE * TILE * grid.length);
    let row = row(layer);
    assert!(weights.len() >= layer.groups() * PATCH_PIXELS * row);
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
            let patches = patches.as_ptr().add(pixel * places);
            let results = results.as_mut_ptr().add(pixel * places);
            for output in (0..layer.output).step_by(M) {
                let at = (output / GROUP * PATCH_PIXELS + pixel) * row + output % GROUP;
                let weights = weights.as_ptr().add(at);
                let sums = products::<V, M, N>(weights, layer.input, |k| patches.add(k * step));
                for (m, sums) in sums.iter().enumerate() {
                    for (n, sum) in sums.iter().enumerate() {
                        sum.store(results.add((output + m) * step + n * V::COUNT));
                    }
                }
            }
        }
        for plane in 0..layer.output {
            let place = output.row_at(plane, (0, 0)) + grid.first() + at;
            let bias = V::splat(layer.bias[plane]);
            for n in 0..N {
                let from = results.as_ptr().add(plane * step + n * V::COUNT);
                let to = output.values.as_mut_ptr().add(place + n * V::COUNT);
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
