//! A weights file → the layers of a network.

pub(super) const MAGIC: &[u8; 8] = b"flanknet";

/// One convolution with a square kernel, edges padded with zeros.
pub(super) struct Layer {
    pub output: usize,
    pub input: usize,
    pub kernel: usize,
    /// output × (input × kernel × kernel), row by row.
    pub weights: Vec<f32>,
    pub bias: Vec<f32>,
}

/// The first layer's stride and the layers of a weights file; see examples/flank_network/export.py for
/// its form.
pub(super) fn read_weights(file: &[u8]) -> (usize, impl Iterator<Item = Layer>) {
    let (stride, layers) = file
        .strip_prefix(MAGIC)
        .and_then(<[u8]>::split_first)
        .expect("the weights are built in");
    (usize::from(*stride), read_layers(layers))
}

/// Layers, one after the other.
fn read_layers(mut bytes: &[u8]) -> impl Iterator<Item = Layer> {
    fn take<'a>(bytes: &mut &'a [u8], count: usize) -> &'a [u8] {
        let (head, tail) = bytes.split_at(count);
        *bytes = tail;
        head
    }
    std::iter::from_fn(move || {
        if bytes.is_empty() {
            return None;
        }
        let bytes = &mut bytes;
        let [output, input, kernel, size] = std::array::from_fn(|_| {
            u32::from_le_bytes(take(bytes, 4).try_into().expect("four bytes")) as usize
        });
        let each = input * kernel * kernel;
        let kept = take(bytes, size * output * each);
        let mut singles = || -> Vec<f32> {
            take(bytes, 4 * output)
                .chunks_exact(4)
                .map(|b| f32::from_le_bytes(b.try_into().expect("four bytes")))
                .collect()
        };
        let weights = if size == 1 {
            let scales = singles();
            let scaled = kept.iter().enumerate();
            scaled
                .map(|(i, &byte)| f32::from(byte.cast_signed()) * scales[i / each])
                .collect()
        } else {
            kept.chunks_exact(2)
                .map(|b| half_to_single(u16::from_le_bytes([b[0], b[1]])))
                .collect()
        };
        let bias = singles();
        Some(Layer {
            output,
            input,
            kernel,
            weights,
            bias,
        })
    })
}

/// IEEE 754 binary16 → binary32, for finite numbers.
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
        file.extend([1i8, -2, 127, 4, 0, -127].map(|weight| weight.cast_unsigned()));
        for number in [0.5f32, 0.25, 7.0, 8.0] {
            file.extend(number.to_le_bytes());
        }
        let layer = read_layers(&file).next().unwrap();
        assert_eq!(layer.weights, [0.5, -1.0, 63.5, 1.0, 0.0, -31.75]);
        assert_eq!(layer.bias, [7.0, 8.0]);
        assert!(read_layers(&file).nth(1).is_none());
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
