//! Small U-shaped convolutional networks, worked out on the CPU. They were trained on renders only
//! (examples/flank_network).

mod convolve;
mod lanes;
mod tiles;
mod weights;

use convolve::{convolve, most_work};
use lanes::Plain;
#[cfg(target_arch = "x86_64")]
use lanes::{Eight, Sixteen};
use std::cell::RefCell;
use std::sync::OnceLock;
use tiles::{Pool, TILE, Tiles};
use weights::{Layer, read_weights};

/// Input sides must be multiples of this: the deepest level works at 1/32 of the size.
pub const SIDE_MULTIPLE: u32 = 32;

/// Planes of one size, row by row, plane by plane.
#[derive(Debug, Clone, PartialEq)]
pub struct Planes {
    /// Number of planes.
    pub planes: usize,
    /// Width of each.
    pub width: usize,
    /// Height of each.
    pub height: usize,
    /// The values.
    pub values: Vec<f32>,
}

impl Planes {
    /// Planes of zeros.
    pub fn zeros(planes: usize, width: usize, height: usize) -> Self {
        Self {
            planes,
            width,
            height,
            values: vec![0.0; planes * width * height],
        }
    }

    /// One plane.
    pub fn plane(&self, index: usize) -> &[f32] {
        let size = self.width * self.height;
        &self.values[index * size..(index + 1) * size]
    }

    /// Exchanges left and right.
    pub fn mirror(&mut self) {
        for row in self.values.chunks_exact_mut(self.width) {
            row.reverse();
        }
    }
}

/// A network with its weights.
pub struct Network<'w> {
    /// The layers in the order they are used; only the first has a stride.
    layers: Vec<Layer<'w>>,
    /// Pixels of the picture from one of the output's to the next.
    stride: usize,
}

impl<'w> Network<'w> {
    /// A network from a weights file that is part of the program; see
    /// examples/flank_network/export.py for its form.
    pub fn new(weights: &'w [u8]) -> Self {
        let (stride, layers) = read_weights(weights);
        Self { layers, stride }
    }

    /// Levels of the U; each but the first halves the size.
    fn levels(&self) -> usize {
        (self.layers.len() - 1) / 5
    }

    /// Runs the network on three planes, both sides multiples of [`SIDE_MULTIPLE`]. The output's sides
    /// are shorter by the stride of the first layer.
    pub fn run(&self, input: &Planes) -> Planes {
        self.run_with(input, Instructions::best())
    }

    fn run_with(&self, input: &Planes, instructions: Instructions) -> Planes {
        thread_local! {
            static POOL: RefCell<Pool> = RefCell::default();
        }
        POOL.with_borrow_mut(|pool| self.run_in(input, instructions, pool))
    }

    fn run_in(&self, input: &Planes, instructions: Instructions, pool: &mut Pool) -> Planes {
        let strides = std::iter::once(self.stride).chain(std::iter::repeat(1));
        let work = self
            .layers
            .iter()
            .zip(strides)
            .map(|(layer, stride)| most_work(layer, stride));
        pool.work
            .reserve(work.max().unwrap_or(0).saturating_sub(pool.work.len()));
        let mut layers = self.layers.iter();
        let mut apply = |input: &Tiles, rectify: bool, pool: &mut Pool| {
            let layer = layers.next().expect("the weights hold every layer");
            instructions.apply(layer, input, rectify, pool)
        };
        // Each picture's memory serves again as soon as the next one is made of it.
        let mut step = |x: &mut Tiles, rectify: bool, pool: &mut Pool| {
            let next = apply(x, rectify, pool);
            pool.give(std::mem::replace(x, next).values);
        };
        let mut x = Tiles::from_planes(input, self.stride * TILE, pool);
        step(&mut x, true, pool);
        let mut skips: Vec<Tiles> = Vec::new();
        for level in 0..self.levels() {
            if level > 0 {
                let half = x.halved(pool);
                skips.push(std::mem::replace(&mut x, half));
            }
            step(&mut x, true, pool);
            step(&mut x, true, pool);
        }
        step(&mut x, true, pool);
        step(&mut x, true, pool);
        while let Some(mut skip) = skips.pop() {
            step(&mut x, false, pool);
            skip.add_doubled(&x);
            pool.give(std::mem::replace(&mut x, skip).values);
            step(&mut x, true, pool);
            step(&mut x, true, pool);
        }
        step(&mut x, false, pool);
        let output = x.to_planes(x.planes);
        pool.give(x.values);
        output
    }
}

/// A score → how likely, 0 … 1, to six digits. Written without a call, so that many are worked out together.
pub fn logistic(score: f32) -> f32 {
    // The odds against are 2^power: a whole power by the bits of the number, the rest by the series.
    const ROUNDING: f32 = 12_582_912.0; // 1.5 · 2^23: adding it leaves the whole number in the lowest bits
    let power = (-score * std::f32::consts::LOG2_E).clamp(-100.0, 100.0);
    let rounded = power + ROUNDING;
    let rest = (power - (rounded - ROUNDING)) * std::f32::consts::LN_2;
    let series = 1.0 / 120.0 + rest / 720.0;
    let series = 1.0 / 2.0 + rest * (1.0 / 6.0 + rest * (1.0 / 24.0 + rest * series));
    let whole = f32::from_bits((rounded.to_bits() << 23).wrapping_add(1.0f32.to_bits()));
    1.0 / (1.0 + whole * (1.0 + rest * (1.0 + rest * series)))
}

/// The instructions that the network is worked out with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Instructions {
    /// Those that every processor of the kind has.
    Plain,
    #[cfg(target_arch = "x86_64")]
    Avx2,
    #[cfg(target_arch = "x86_64")]
    Avx512,
}

impl Instructions {
    /// All that this processor has, the best last.
    fn all() -> Vec<Self> {
        let mut all = vec![Self::Plain];
        #[cfg(target_arch = "x86_64")]
        {
            if is_x86_feature_detected!("avx2") && is_x86_feature_detected!("fma") {
                all.push(Self::Avx2);
            }
            if is_x86_feature_detected!("avx512f") {
                all.push(Self::Avx512);
            }
        }
        all
    }

    fn best() -> Self {
        static BEST: OnceLock<Instructions> = OnceLock::new();
        *BEST.get_or_init(|| Self::all().pop().unwrap_or(Self::Plain))
    }

    fn apply(self, layer: &Layer, input: &Tiles, rectify: bool, pool: &mut Pool) -> Tiles {
        // SAFETY: `all` offers only what the processor has.
        unsafe {
            match self {
                Self::Plain => convolve::<Plain, 4>(layer, input, rectify, pool),
                #[cfg(target_arch = "x86_64")]
                Self::Avx2 => convolve_avx2(layer, input, rectify, pool),
                #[cfg(target_arch = "x86_64")]
                Self::Avx512 => convolve_avx512(layer, input, rectify, pool),
            }
        }
    }
}

// As many outputs together as leave registers for the sums of each: at most 12 of 16 and 24 of 32.

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx2,fma")]
fn convolve_avx2(layer: &Layer, input: &Tiles, rectify: bool, pool: &mut Pool) -> Tiles {
    // SAFETY: this function is compiled for the instructions.
    unsafe { convolve::<Eight, 4>(layer, input, rectify, pool) }
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx512f")]
fn convolve_avx512(layer: &Layer, input: &Tiles, rectify: bool, pool: &mut Pool) -> Tiles {
    // SAFETY: this function is compiled for the instructions.
    unsafe { convolve::<Sixteen, 8>(layer, input, rectify, pool) }
}

#[cfg(test)]
mod tests {
    use super::weights::{GROUP, MAGIC};
    use super::*;

    /// A file of layers (outputs, inputs, kernel) with made-up weights.
    fn weights(stride: usize, layers: &[[usize; 3]]) -> Vec<u8> {
        let mut file = MAGIC.to_vec();
        file.push(stride as u8);
        for &[output, input, kernel] in layers {
            for number in [output, input, kernel, 2] {
                file.extend((number as u32).to_le_bytes());
            }
            for i in 0..output.next_multiple_of(GROUP) * input * kernel * kernel {
                // Binary16 between 2^-6 and 2^-3, of either sign.
                let exponent = 9 + (i * 7) % 3;
                let bits = ((i / 3 % 2) << 15) | (exponent << 10) | ((i * 389) % 1024);
                file.extend((bits as u16).to_le_bytes());
            }
            for i in 0..output {
                file.extend((0.1 * (i as f32).sin()).to_le_bytes());
            }
        }
        file
    }

    /// Of a network with three levels.
    fn network(stride: usize) -> Vec<u8> {
        let mut layers = vec![[5, 3, if stride == 2 { 5 } else { 7 }]];
        for (input, output) in [(5, 6), (6, 9), (9, 12), (12, 12)] {
            layers.extend([[output, input, 3], [output, output, 3]]);
        }
        for (input, output) in [(12, 9), (9, 6)] {
            layers.push([output, input, 1]);
            layers.extend([[output, output, 3]; 2]);
        }
        layers.push([4, 6, 1]);
        weights(stride, &layers)
    }

    #[test]
    fn mirrored_planes_have_left_and_right_exchanged() {
        let picture = waves(2, 5, 3);
        let mut mirrored = picture.clone();
        mirrored.mirror();
        for plane in 0..2 {
            for (at, value) in mirrored.plane(plane).iter().enumerate() {
                let (x, y) = (at % 5, at / 5);
                assert_eq!(*value, picture.plane(plane)[5 * y + 4 - x]);
            }
        }
    }

    #[test]
    fn the_logistic_is_that_of_the_exponential() {
        for i in -1000..=1000 {
            let score = f64::from(i) / 10.0;
            let expected = 1.0 / (1.0 + (-score).exp());
            let got = f64::from(logistic(score as f32));
            assert!((got - expected).abs() < 1e-6, "{score}: {got} {expected}");
        }
    }

    #[test]
    fn every_layer_is_used_and_the_output_is_smaller_by_the_stride() {
        for (stride, size) in [(2, (48, 32)), (4, (24, 16))] {
            let file = network(stride);
            let network = Network::new(&file);
            assert_eq!((network.levels(), network.layers.len()), (3, 16));
            let output = network.run(&Planes::zeros(3, 96, 64));
            assert_eq!((output.planes, (output.width, output.height)), (4, size));
            assert!(output.values.iter().all(|value| value.is_finite()));
        }
    }

    /// The sum over the neighbourhood, as it is defined.
    fn plain(layer: &Layer, input: &Planes, stride: usize) -> Planes {
        let (width, height) = (input.width / stride, input.height / stride);
        let mut output = Planes::zeros(layer.output, width, height);
        let (kernel, reach) = (layer.kernel, layer.kernel / 2);
        let group = layer.depth() * GROUP;
        let mut weights = vec![f32::NAN; layer.groups() * group];
        for (number, to) in weights.chunks_exact_mut(group).enumerate() {
            layer.weights(number, to);
        }
        for (at, value) in output.values.iter_mut().enumerate() {
            let (plane, y, x) = (at / (width * height), at / width % height, at % width);
            *value = layer.bias[plane];
            for from in 0..layer.input {
                for ky in 0..kernel {
                    for kx in 0..kernel {
                        let (sx, sy) = (x * stride + kx, y * stride + ky);
                        if (reach..input.width + reach).contains(&sx)
                            && (reach..input.height + reach).contains(&sy)
                        {
                            let number = (from * kernel + ky) * kernel + kx;
                            let at = plane / GROUP * group + number * GROUP + plane % GROUP;
                            *value += weights[at]
                                * input.plane(from)[(sy - reach) * input.width + sx - reach];
                        }
                    }
                }
            }
        }
        output
    }

    fn waves(planes: usize, width: usize, height: usize) -> Planes {
        let mut picture = Planes::zeros(planes, width, height);
        for (i, value) in picture.values.iter_mut().enumerate() {
            *value = (i as f32 * 0.37).cos() + (i as f32 * 0.0113).sin();
        }
        picture
    }

    #[test]
    fn every_convolution_is_the_sum_over_the_neighbourhood() {
        for (kernel, stride, output, input, width, height) in [
            (3, 1, 9, 5, 72, 52),
            (3, 1, 8, 16, 26, 14),
            (3, 1, 17, 3, 6, 10),
            (1, 1, 10, 24, 36, 24),
            (5, 2, 16, 3, 96, 64),
            (5, 2, 7, 3, 32, 160),
            (7, 4, 16, 3, 96, 64),
        ] {
            let file = weights(stride, &[[output, input, kernel]]);
            let layer = &read_weights(&file).1[0];
            let picture = waves(input, width, height);
            let expected = plain(layer, &picture, stride);
            let pool = &mut Pool::default();
            // What was in memory before must not matter.
            pool.give(vec![f32::NAN; 1 << 20]);
            pool.give(vec![f32::NAN; 1 << 20]);
            let tiles = Tiles::from_planes(&picture, stride * TILE, pool);
            for instructions in Instructions::all() {
                let got = instructions.apply(layer, &tiles, false, pool);
                let planes = got.to_planes(output);
                for (got, expected) in planes.values.iter().zip(&expected.values) {
                    let off = (got - expected).abs();
                    assert!(
                        off < 1e-3,
                        "{instructions:?} {kernel} {width}: {got} {expected}"
                    );
                }
                let rectified = instructions.apply(layer, &tiles, true, pool);
                for (a, b) in rectified
                    .to_planes(output)
                    .values
                    .iter()
                    .zip(&planes.values)
                {
                    assert_eq!(*a, b.max(0.0));
                }
                pool.give(rectified.values);
                pool.give(got.values);
            }
        }
    }

    #[test]
    fn the_network_says_the_same_with_all_instructions_as_by_the_plain_sum() {
        let mut input = waves(3, 96, 64);
        for value in &mut input.values {
            *value = 0.5 + 0.25 * *value;
        }
        for stride in [2, 4] {
            let file = network(stride);
            let expected = plain_run(&file, &input);
            for instructions in Instructions::all() {
                let got = Network::new(&file).run_with(&input, instructions);
                let pairs = got.values.iter().zip(&expected.values);
                let worst = pairs
                    .map(|(a, b)| (a - b).abs() / b.abs().max(1.0))
                    .fold(0.0, f32::max);
                assert!(worst < 1e-4, "{instructions:?}: {worst}");
            }
        }
    }

    /// The whole network by plain sums.
    fn plain_run(file: &[u8], input: &Planes) -> Planes {
        let (stride, layers) = read_weights(file);
        let mut layers = layers.iter();
        let mut next = |x: &Planes, stride: usize, rectify: bool| {
            let mut out = plain(layers.next().unwrap(), x, stride);
            if rectify {
                out.values.iter_mut().for_each(|v| *v = v.max(0.0));
            }
            out
        };
        let mut x = next(input, stride, true);
        let mut skips = Vec::new();
        for level in 0..3 {
            if level > 0 {
                let mut half = Planes::zeros(x.planes, x.width / 2, x.height / 2);
                let (width, size) = (half.width, half.width * half.height);
                for (at, value) in half.values.iter_mut().enumerate() {
                    let (px, py) = (2 * (at % width), 2 * (at % size / width));
                    let at =
                        |dx: usize, dy: usize| x.plane(at / size)[(py + dy) * x.width + px + dx];
                    *value = at(0, 0).max(at(1, 0)).max(at(0, 1)).max(at(1, 1));
                }
                x = half;
            }
            x = next(&x, 1, true);
            x = next(&x, 1, true);
            skips.push(x.clone());
        }
        x = next(&x, 1, true);
        x = next(&x, 1, true);
        skips.pop();
        while let Some(mut skip) = skips.pop() {
            let small = next(&x, 1, false);
            let (width, size) = (skip.width, skip.width * skip.height);
            for (at, value) in skip.values.iter_mut().enumerate() {
                let (px, py) = (at % width / 2, at % size / width / 2);
                *value += small.plane(at / size)[py * small.width + px];
            }
            x = next(&skip, 1, true);
            x = next(&x, 1, true);
        }
        next(&x, 1, false)
    }
}
