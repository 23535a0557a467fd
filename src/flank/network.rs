//! The flank network: a small U-shaped convolutional network from a photo to dense flank
//! coordinates. It was trained on renders only (examples/flank_network); what it says is a proposal
//! that the gear fit judges.

use matrixmultiply::sgemm;
use std::sync::OnceLock;

/// Input sides must be multiples of this: the deepest level works at 1/32 of the size.
pub(super) const SIDE_MULTIPLE: u32 = 32;

/// Planes of the output: four class scores, length, height, contact score, compound score, and the
/// logarithms of the errors to be expected of length and height.
pub(super) const OUTPUT_PLANES: usize = 10;

/// Levels of the U; each but the first halves the size.
const LEVELS: usize = 5;

static WEIGHTS: &[u8] = include_bytes!("flank_network.bin");
const MAGIC: &[u8; 8] = b"flanknet";

/// Planes of one size, row by row, plane by plane.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Planes {
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
    fn zeros(planes: usize, width: usize, height: usize) -> Self {
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
}

/// One convolution with a square kernel, edges padded with zeros.
struct Layer {
    output: usize,
    input: usize,
    kernel: usize,
    /// output × (input × kernel × kernel), row by row.
    weights: Vec<f32>,
    bias: Vec<f32>,
}

/// Runs the network on sRGB planes in 0 … 1, both sides multiples of [`SIDE_MULTIPLE`]. The output
/// has half the sides and [`OUTPUT_PLANES`] planes.
pub(super) fn run(input: &Planes) -> Planes {
    let mut layers = layers().iter();
    let mut next = || layers.next().expect("the weights hold every layer");
    let mut x = next().apply(input, 2, true);
    let mut skips: Vec<Planes> = Vec::new();
    for level in 0..LEVELS {
        if level > 0 {
            x = halve(&x);
        }
        x = next().apply(&x, 1, true);
        x = next().apply(&x, 1, true);
        skips.push(x.clone());
    }
    x = next().apply(&x, 1, true);
    x = next().apply(&x, 1, true);
    skips.pop();
    while let Some(mut skip) = skips.pop() {
        add_doubled(&mut skip, &next().apply(&x, 1, false));
        x = next().apply(&skip, 1, true);
        x = next().apply(&x, 1, true);
    }
    next().apply(&x, 1, false)
}

fn layers() -> &'static [Layer] {
    static LAYERS: OnceLock<Vec<Layer>> = OnceLock::new();
    LAYERS.get_or_init(|| read_layers(WEIGHTS))
}

/// Layers of a weights file; see examples/flank_network/export.py for its form.
fn read_layers(mut bytes: &[u8]) -> Vec<Layer> {
    let mut take = |count: usize| {
        let (head, tail) = bytes.split_at(count);
        bytes = tail;
        head
    };
    assert_eq!(take(8), MAGIC, "the weights are built in");
    let mut layers = Vec::new();
    loop {
        let mut number = || u32::from_le_bytes(take(4).try_into().expect("four bytes")) as usize;
        let (output, input, kernel) = (number(), number(), number());
        let count = output * input * kernel * kernel;
        let weights = take(2 * count)
            .chunks_exact(2)
            .map(|b| half_to_single(u16::from_le_bytes([b[0], b[1]])))
            .collect();
        let bias = take(4 * output)
            .chunks_exact(4)
            .map(|b| f32::from_le_bytes(b.try_into().expect("four bytes")))
            .collect();
        layers.push(Layer {
            output,
            input,
            kernel,
            weights,
            bias,
        });
        if output == OUTPUT_PLANES {
            return layers;
        }
    }
}

/// IEEE 754 binary16 → binary32, for finite numbers.
fn half_to_single(bits: u16) -> f32 {
    let sign = if bits & 0x8000 == 0 { 1.0 } else { -1.0 };
    let exponent = i32::from((bits >> 10) & 0x1f);
    let fraction = f32::from(bits & 0x3ff) / 1024.0;
    sign * if exponent == 0 {
        fraction * 2f32.powi(-14)
    } else {
        (1.0 + fraction) * 2f32.powi(exponent - 15)
    }
}

/// Values of unfolded input worked on at a time: a quarter of a usual second-level cache.
const BLOCK: usize = 64 * 1024;

impl Layer {
    fn apply(&self, input: &Planes, stride: usize, rectify: bool) -> Planes {
        assert_eq!(input.planes, self.input);
        let (width, height) = (input.width / stride, input.height / stride);
        let mut output = Planes::zeros(self.output, width, height);
        let depth = self.input * self.kernel * self.kernel;
        let rows = (BLOCK / (depth * width)).clamp(1, height);
        let mut unfolded = vec![0.0; depth * width * rows];
        for top in (0..height).step_by(rows) {
            let here = rows.min(height - top);
            self.unfold(input, stride, (top, here, width), &mut unfolded);
            let columns = here * width;
            for (plane, &bias) in self.bias.iter().enumerate() {
                let from = (plane * height + top) * width;
                output.values[from..from + columns].fill(bias);
            }
            let target = &mut output.values[top * width..];
            assert!((self.output - 1) * width * height + columns <= target.len());
            // SAFETY: weights are output × depth, unfolded is at least depth × columns, and the
            // last row of the target ends inside it as asserted above.
            unsafe {
                sgemm(
                    self.output,
                    depth,
                    columns,
                    1.0,
                    self.weights.as_ptr(),
                    depth as isize,
                    1,
                    unfolded.as_ptr(),
                    columns as isize,
                    1,
                    1.0,
                    target.as_mut_ptr(),
                    (width * height) as isize,
                    1,
                );
            }
        }
        if rectify {
            for value in &mut output.values {
                *value = value.max(0.0);
            }
        }
        output
    }

    /// Lays the neighbourhoods of `rows` output rows out as columns.
    fn unfold(
        &self,
        input: &Planes,
        stride: usize,
        (top, rows, width): (usize, usize, usize),
        unfolded: &mut [f32],
    ) {
        let reach = self.kernel / 2;
        let columns = rows * width;
        let mut line = 0;
        for plane in 0..self.input {
            let source = input.plane(plane);
            for ky in 0..self.kernel {
                for kx in 0..self.kernel {
                    for row in 0..rows {
                        let to = &mut unfolded[line * columns + row * width..][..width];
                        let Some(y) = ((top + row) * stride + ky)
                            .checked_sub(reach)
                            .filter(|&y| y < input.height)
                        else {
                            to.fill(0.0);
                            continue;
                        };
                        let from = &source[y * input.width..][..input.width];
                        if stride == 1 {
                            let skip = reach.saturating_sub(kx);
                            let start = kx.saturating_sub(reach);
                            let count = width - skip - start;
                            to[..skip].fill(0.0);
                            to[skip..skip + count].copy_from_slice(&from[start..start + count]);
                            to[skip + count..].fill(0.0);
                        } else {
                            for (x, value) in to.iter_mut().enumerate() {
                                *value = (x * stride + kx)
                                    .checked_sub(reach)
                                    .and_then(|x| from.get(x).copied())
                                    .unwrap_or(0.0);
                            }
                        }
                    }
                    line += 1;
                }
            }
        }
    }
}

/// The largest of each two by two values.
fn halve(input: &Planes) -> Planes {
    let (width, height) = (input.width / 2, input.height / 2);
    let mut output = Planes::zeros(input.planes, width, height);
    for plane in 0..input.planes {
        let source = input.plane(plane);
        for y in 0..height {
            for x in 0..width {
                let at = 2 * y * input.width + 2 * x;
                output.values[(plane * height + y) * width + x] = source[at]
                    .max(source[at + 1])
                    .max(source[at + input.width])
                    .max(source[at + input.width + 1]);
            }
        }
    }
    output
}

/// Adds a picture of half the size, each value to four.
fn add_doubled(to: &mut Planes, small: &Planes) {
    for plane in 0..to.planes {
        for y in 0..to.height {
            let from = &small.values[(plane * small.height + y / 2) * small.width..][..small.width];
            let row = &mut to.values[(plane * to.height + y) * to.width..][..to.width];
            for (x, value) in row.iter_mut().enumerate() {
                *value += from[x / 2];
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use sha2::{Digest, Sha256};

    #[test]
    fn the_weights_are_the_ones_that_were_measured() {
        let digest: String = Sha256::digest(WEIGHTS)
            .iter()
            .map(|byte| format!("{byte:02x}"))
            .collect();
        assert_eq!(digest, include_str!("flank_network.sha256").trim());
    }

    #[test]
    fn every_weight_is_used_and_the_output_has_half_the_sides() {
        assert_eq!(layers().len(), 1 + 2 * LEVELS + 2 + 3 * (LEVELS - 1) + 1);
        let output = run(&Planes::zeros(3, 96, 64));
        assert_eq!((output.planes, output.width, output.height), (10, 48, 32));
        assert!(output.values.iter().all(|value| value.is_finite()));
    }

    #[test]
    fn halves_become_singles() {
        // IEEE 754-2019, table 3.5: binary16 with bias 15.
        assert_eq!(half_to_single(0x3c00), 1.0);
        assert_eq!(half_to_single(0xc000), -2.0);
        assert_eq!(half_to_single(0x0001), 2f32.powi(-24));
        assert_eq!(half_to_single(0x7bff), 65504.0);
    }

    #[test]
    fn a_convolution_is_the_sum_over_the_neighbourhood() {
        let layer = Layer {
            output: 1,
            input: 2,
            kernel: 3,
            weights: (0..18).map(|i| (i as f32 * 0.7).sin()).collect(),
            bias: vec![0.25],
        };
        let mut input = Planes::zeros(2, 8, 6);
        for (i, value) in input.values.iter_mut().enumerate() {
            *value = (i as f32 * 0.37).cos();
        }
        for stride in [1, 2] {
            let output = layer.apply(&input, stride, false);
            for y in 0..output.height {
                for x in 0..output.width {
                    let mut sum = 0.25;
                    for plane in 0..2 {
                        for ky in 0..3 {
                            for kx in 0..3 {
                                let (sx, sy) = (x * stride + kx, y * stride + ky);
                                if (1..=8).contains(&sx) && (1..=6).contains(&sy) {
                                    sum += layer.weights[plane * 9 + ky * 3 + kx]
                                        * input.plane(plane)[(sy - 1) * 8 + sx - 1];
                                }
                            }
                        }
                    }
                    let got = output.values[y * output.width + x];
                    assert!((got - sum).abs() < 1e-5, "{stride} {x} {y}: {got} {sum}");
                }
            }
        }
    }
}
