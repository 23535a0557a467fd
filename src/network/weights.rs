//! A weights file → the layers of a network.

pub(super) const MAGIC: &[u8; 8] = b"flanknet";

/// Outputs whose weights lie together, the last ones filled up with zeros.
pub(super) const GROUP: usize = 8;

/// One convolution with a square kernel, edges padded with zeros.
///
/// Its weights stay as they are in the file until they are needed: what the convolutions calculate with is
/// eight times as large, and to fill so much fresh memory took longer than to use it.
#[derive(Debug)]
pub(super) struct Layer<'w> {
    pub output: usize,
    pub input: usize,
    pub kernel: usize,
    /// Group of outputs, input, line and column of the kernel, output in its group.
    kept: Kept<'w>,
    /// Of each output, filled up to whole groups.
    pub bias: Vec<f32>,
}

#[derive(Debug)]
enum Kept<'w> {
    /// IEEE 754 binary16.
    Half(&'w [u8]),
    /// Whole numbers, and what each output's are multiplied by.
    Scaled(&'w [u8], Vec<f32>),
}

impl Layer<'_> {
    /// Groups of outputs.
    pub fn groups(&self) -> usize {
        self.output.div_ceil(GROUP)
    }

    /// Weights of each output.
    pub fn depth(&self) -> usize {
        self.input * self.kernel * self.kernel
    }

    /// The weights of a group: those of each of its outputs together, [`Self::depth`] times.
    #[inline(always)]
    pub fn weights(&self, group: usize, to: &mut [f32]) {
        let count = self.depth() * GROUP;
        let to = &mut to[..count];
        match &self.kept {
            Kept::Half(bytes) => {
                let (halves, _) = bytes[2 * group * count..][..2 * count].as_chunks();
                for (to, half) in to.iter_mut().zip(halves) {
                    *to = half_to_single(u16::from_le_bytes(*half));
                }
            }
            Kept::Scaled(bytes, scales) => {
                let bytes = &bytes[group * count..][..count];
                let scales = &scales[group * GROUP..][..GROUP];
                for (to, bytes) in to.chunks_exact_mut(GROUP).zip(bytes.chunks_exact(GROUP)) {
                    for (to, (&byte, scale)) in to.iter_mut().zip(bytes.iter().zip(scales)) {
                        *to = f32::from(byte.cast_signed()) * scale;
                    }
                }
            }
        }
    }
}

/// The first layer's stride and the layers of a weights file; see examples/flank_network/export.py for
/// its form.
pub(super) fn read_weights(file: &[u8]) -> (usize, Vec<Layer<'_>>) {
    let (stride, layers) = file
        .strip_prefix(MAGIC)
        .and_then(<[u8]>::split_first)
        .expect("the weights are built in");
    (usize::from(*stride), read_layers(layers))
}

/// Layers, one after the other.
fn read_layers(mut bytes: &[u8]) -> Vec<Layer<'_>> {
    fn take<'a>(bytes: &mut &'a [u8], count: usize) -> &'a [u8] {
        let (head, tail) = bytes.split_at(count);
        *bytes = tail;
        head
    }
    let mut layers = Vec::new();
    while !bytes.is_empty() {
        let bytes = &mut bytes;
        let [output, input, kernel, size] = std::array::from_fn(|_| {
            u32::from_le_bytes(take(bytes, 4).try_into().expect("four bytes")) as usize
        });
        let filled = output.next_multiple_of(GROUP);
        let kept = take(bytes, size * filled * input * kernel * kernel);
        let mut singles = || -> Vec<f32> {
            let singles = take(bytes, 4 * output).chunks_exact(4);
            let mut singles: Vec<f32> = singles
                .map(|b| f32::from_le_bytes(b.try_into().expect("four bytes")))
                .collect();
            singles.resize(filled, 0.0);
            singles
        };
        layers.push(Layer {
            output,
            input,
            kernel,
            kept: if size == 1 {
                Kept::Scaled(kept, singles())
            } else {
                Kept::Half(kept)
            },
            bias: singles(),
        });
    }
    layers
}

/// IEEE 754 binary16 → binary32, for finite numbers.
#[inline(always)]
fn half_to_single(bits: u16) -> f32 {
    // Exponent and fraction moved to their places in a binary32, whose exponent is biased by 127
    // instead of 15: too small by 2^112, which is exact for subnormal numbers too.
    let magnitude = f32::from_bits(u32::from(bits & 0x7fff) << 13) * f32::from_bits(239 << 23);
    f32::from_bits(magnitude.to_bits() | u32::from(bits & 0x8000) << 16)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weights_of_eight_bits_are_scaled_by_their_output() {
        let mut file = Vec::new();
        for number in [2u32, 3, 1, 1] {
            file.extend(number.to_le_bytes());
        }
        for weights in [[1i8, 4], [-2, 0], [127, -127]] {
            file.extend(weights.map(i8::cast_unsigned));
            file.extend([0; GROUP - 2]);
        }
        for number in [0.5f32, 0.25, 7.0, 8.0] {
            file.extend(number.to_le_bytes());
        }
        let layers = read_layers(&file);
        let [layer] = &layers[..] else {
            panic!("{} layers", layers.len())
        };
        let mut weights = [f32::NAN; 3 * GROUP];
        layer.weights(0, &mut weights);
        let of = |output: usize| [0, 1, 2].map(|number| weights[number * GROUP + output]);
        assert_eq!(of(0), [0.5, -1.0, 63.5]);
        assert_eq!(of(1), [1.0, 0.0, -31.75]);
        assert_eq!(of(2), [0.0; 3]);
        assert_eq!(layer.bias, [7.0, 8.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]);
    }

    #[test]
    fn weights_of_a_group_of_outputs_lie_together() {
        let mut file = Vec::new();
        for number in [9u32, 2, 1, 2] {
            file.extend(number.to_le_bytes());
        }
        // Binary16 of 1 + k / 32: of two groups, each with two inputs, the eight outputs of each.
        for k in 0..32u16 {
            file.extend((15 << 10 | k << 5).to_le_bytes());
        }
        file.extend([0; 4 * 9]);
        let layers = read_layers(&file);
        assert_eq!(
            (layers.len(), layers[0].groups(), layers[0].depth()),
            (1, 2, 2)
        );
        for group in 0..2 {
            let mut weights = [f32::NAN; 2 * GROUP];
            layers[0].weights(group, &mut weights);
            let first = group * 2 * GROUP;
            let expected = std::array::from_fn(|k| 1.0 + (first + k) as f32 / 32.0);
            assert_eq!(weights, expected);
        }
    }

    #[test]
    fn halves_become_singles() {
        // IEEE 754-2019, table 3.5: binary16 with bias 15.
        assert_eq!(half_to_single(0x3c00), 1.0);
        assert_eq!(half_to_single(0xc000), -2.0);
        assert_eq!(half_to_single(0x0001), 2f32.powi(-24));
        assert_eq!(half_to_single(0x7bff), 65504.0);
    }
}
