//! Convolutions, edges padded with zeros, as products of matrices.

use super::Planes;
use super::filtering::{LANES, PATCH_PIXELS, TILE, filter_weights, patches, results};
use rten_gemm::{BiasVector, GemmExecutor, GemmInputA, GemmInputB, GemmOptions};
use rten_tensor::NdTensorView;

/// Numbers worked on together by minimal filtering: what fits the second level of a core's cache with room to spare.
const BLOCK: usize = 200_000;

/// Side of a kernel, with the stride that goes with it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kernel {
    Pixel,
    /// Three by three.
    Three,
    /// A larger one, whose stride makes the picture smaller.
    Strided {
        side: usize,
        stride: usize,
    },
}

impl Kernel {
    /// By its side, as the networks have them.
    pub(crate) fn of(side: usize) -> Option<Self> {
        match side {
            1 => Some(Self::Pixel),
            3 => Some(Self::Three),
            5 => Some(Self::Strided { side, stride: 2 }),
            7 => Some(Self::Strided { side, stride: 4 }),
            _ => None,
        }
    }
}

/// One convolution.
#[derive(Debug)]
pub(super) struct Layer {
    pub outputs: usize,
    pub inputs: usize,
    pub kernel: Kernel,
    /// Output, input, line and column of the kernel; of three by three: line, column, output, input.
    pub weights: Vec<f32>,
    /// Of each output.
    pub bias: Vec<f32>,
    /// The least value there may be.
    pub floor: f32,
}

/// Memory that was used and can be used again.
#[derive(Default)]
pub(super) struct Room {
    spares: Vec<Vec<f32>>,
    weights: Vec<f32>,
    columns: Vec<f32>,
    products: Vec<f32>,
}

impl Room {
    /// Planes of a size, whatever is in them.
    pub(crate) fn planes(&mut self, planes: usize, width: usize, height: usize) -> Planes {
        let count = planes * width * height;
        let room = |spare: &Vec<f32>| spare.capacity();
        let fits = (0..self.spares.len())
            .filter(|&at| room(&self.spares[at]) >= count)
            .min_by_key(|&at| room(&self.spares[at]));
        let mut values = if let Some(at) = fits {
            self.spares.swap_remove(at)
        } else {
            // What is too small for the largest planes would only lie about.
            let largest = (0..self.spares.len()).max_by_key(|&at| room(&self.spares[at]));
            if let Some(at) = largest {
                self.spares.swap_remove(at);
            }
            Vec::with_capacity(count)
        };
        values.resize(count, 0.0);
        Planes {
            planes,
            width,
            height,
            values,
        }
    }

    /// Gives memory back.
    pub(crate) fn give(&mut self, planes: Planes) {
        self.spares.push(planes.values);
    }
}

/// The first `count` numbers, whatever they are.
fn first(numbers: &mut Vec<f32>, count: usize) -> &mut [f32] {
    if numbers.len() < count {
        numbers.resize(count, 0.0);
    }
    &mut numbers[..count]
}

impl Layer {
    /// The planes that the layer makes of others.
    pub(crate) fn apply(&self, input: &Planes, room: &mut Room) -> Planes {
        assert_eq!(input.planes, self.inputs);
        let gemm = GemmExecutor::new();
        match self.kernel {
            Kernel::Pixel => {
                let mut output = room.planes(self.outputs, input.width, input.height);
                let size = [self.outputs, self.inputs, input.width * input.height];
                let bias = Some(&self.bias[..]);
                multiply(
                    &gemm,
                    &mut output.values,
                    &self.weights,
                    &input.values,
                    size,
                    bias,
                );
                output
                    .values
                    .iter_mut()
                    .for_each(|value| *value = value.max(self.floor));
                output
            }
            Kernel::Three => self.filtered(&gemm, input, room),
            Kernel::Strided { side, stride } => self.strided(&gemm, input, (side, stride), room),
        }
    }

    /// The plain sum: for each line of the output, a matrix of what each tap of the kernel sees.
    fn strided(
        &self,
        gemm: &GemmExecutor<f32>,
        input: &Planes,
        (side, stride): (usize, usize),
        room: &mut Room,
    ) -> Planes {
        let (width, height) = (input.width / stride, input.height / stride);
        let depth = self.inputs * side * side;
        let mut output = room.planes(self.outputs, width, height);
        let columns = first(&mut room.columns, depth * width);
        let products = first(&mut room.products, self.outputs * width);
        let inside = |at: usize, size: usize| at.checked_sub(side / 2).filter(|&at| at < size);
        for line in 0..height {
            for (tap, to) in columns.chunks_exact_mut(width).enumerate() {
                let (plane, down, right) = (tap / (side * side), tap / side % side, tap % side);
                let Some(from) = inside(line * stride + down, input.height) else {
                    to.fill(0.0);
                    continue;
                };
                let from = &input.plane(plane)[from * input.width..][..input.width];
                for (number, to) in to.iter_mut().enumerate() {
                    *to = inside(number * stride + right, input.width).map_or(0.0, |at| from[at]);
                }
            }
            multiply(
                gemm,
                products,
                &self.weights,
                columns,
                [self.outputs, depth, width],
                Some(&self.bias),
            );
            for (plane, from) in products.chunks_exact(width).enumerate() {
                let to = &mut output.values[(plane * height + line) * width..][..width];
                for (to, from) in to.iter_mut().zip(from) {
                    *to = from.max(self.floor);
                }
            }
        }
        output
    }

    /// Three by three pixels by minimal filtering, some rows of tiles together.
    fn filtered(&self, gemm: &GemmExecutor<f32>, input: &Planes, room: &mut Room) -> Planes {
        let (across, down) = (input.width.div_ceil(TILE), input.height.div_ceil(TILE));
        let (inputs, outputs) = (self.inputs, self.outputs);
        let mut output = room.planes(outputs, input.width, input.height);
        let count = self.weights.len() / 9;
        let weights = first(&mut room.weights, PATCH_PIXELS * count);
        filter_weights(&self.weights, weights);
        // Blocks of few tiles would spend more on the weights than on the pixels.
        let whole = PATCH_PIXELS * (inputs + outputs) * across * down;
        let blocks = whole
            .div_ceil(BLOCK)
            .min((across * down).div_ceil(3 * outputs));
        let mut from = 0;
        for block in 0..blocks {
            let rows = from..from + (down - from).div_ceil(blocks - block);
            from = rows.end;
            let tiles = across * rows.len();
            let step = inputs * tiles + LANES;
            let columns = first(&mut room.columns, PATCH_PIXELS * step);
            patches(input, rows.clone(), columns);
            let result_step = outputs * tiles + LANES;
            let products = first(&mut room.products, PATCH_PIXELS * result_step);
            let factors = weights.chunks_exact(count).zip(columns.chunks_exact(step));
            for (to, (weights, columns)) in products.chunks_exact_mut(result_step).zip(factors) {
                let (to, columns) = (&mut to[..outputs * tiles], &columns[..inputs * tiles]);
                multiply(
                    gemm,
                    to,
                    &weights[..outputs * inputs],
                    columns,
                    [outputs, inputs, tiles],
                    None,
                );
            }
            results(products, (&self.bias, self.floor), rows, &mut output);
        }
        output
    }
}

/// A matrix of `m` × `k` by one of `k` × `n`, each line by line, and a number added to each line of the product.
fn multiply(
    gemm: &GemmExecutor<f32>,
    to: &mut [f32],
    a: &[f32],
    b: &[f32],
    [m, k, n]: [usize; 3],
    bias: Option<&[f32]>,
) {
    let options = GemmOptions {
        bias: bias.map(BiasVector::Column),
        ..GemmOptions::default()
    };
    let a = GemmInputA::Unpacked(NdTensorView::from_data([m, k], a));
    let b = GemmInputB::Unpacked(NdTensorView::from_data([k, n], b));
    gemm.gemm(to, a, b, options).expect("sizes that fit");
}
