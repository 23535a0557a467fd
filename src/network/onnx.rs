//! An ONNX file → the layers of a network.

use super::convolve::{Kernel, Layer};
use super::filtering::LANES;
use rten_onnx::onnx::{DataType, GraphProto, ModelProto, TensorProto};

/// The convolutions of a file that `examples/training/export.py` wrote, in the order of use; `None` if it is none. Their weights come
/// out of a Cast (half precision) or a DequantizeLinear (whole numbers and a scale for each output).
pub(super) fn layers(file: &[u8]) -> Option<Vec<Layer>> {
    let graph = ModelProto::parse_buf(file).ok()?.graph?;
    let convolutions = graph
        .node
        .iter()
        .enumerate()
        .filter(|(_, node)| node.op_type.as_deref() == Some("Conv"));
    convolutions
        .map(|(at, node)| {
            let [_, weight, bias] = &node.input[..] else {
                return None;
            };
            let made = graph
                .node
                .iter()
                .find(|node| node.output.contains(weight))?;
            let kept = tensor(&graph, made.input.first()?)?;
            let [outputs, inputs, kernel, _] = kept.dims[..] else {
                return None;
            };
            let (outputs, inputs) = (outputs as usize, inputs as usize);
            let mut weights = numbers(kept)?;
            if let Some(scales) = made.input.get(1) {
                let scales = numbers(tensor(&graph, scales)?)?;
                let each = weights.len() / outputs;
                for (weights, scale) in weights.chunks_exact_mut(each).zip(scales) {
                    weights.iter_mut().for_each(|weight| *weight *= scale);
                }
            }
            let after = graph.node.get(at + 1).and_then(|n| n.op_type.as_deref());
            Some(Layer {
                outputs,
                inputs,
                kernel: Kernel::of(kernel as usize)?,
                weights: match kernel {
                    3 => by_tap(&weights),
                    _ => weights,
                },
                bias: numbers(tensor(&graph, bias)?)?,
                floor: match after {
                    Some("Relu") => 0.0,
                    _ => f32::NEG_INFINITY,
                },
            })
        })
        .collect()
}

fn tensor<'a>(graph: &'a GraphProto, name: &str) -> Option<&'a TensorProto> {
    let mut constants = graph.initializer.iter();
    constants.find(|tensor| tensor.name.as_deref() == Some(name))
}

fn numbers(tensor: &TensorProto) -> Option<Vec<f32>> {
    let bytes = tensor.raw_data.as_ref()?.borrow();
    match tensor.data_type? {
        DataType::FLOAT => {
            let numbers = bytes.as_chunks().0.iter();
            Some(numbers.map(|four| f32::from_le_bytes(*four)).collect())
        }
        DataType::FLOAT16 => {
            let halves = bytes.as_chunks().0.iter();
            Some(
                halves
                    .map(|two| half_to_single(u16::from_le_bytes(*two)))
                    .collect(),
            )
        }
        DataType::INT8 => Some(
            bytes
                .iter()
                .map(|byte| f32::from(byte.cast_signed()))
                .collect(),
        ),
        _ => None,
    }
}

/// Kernels of three by three, one after the other → the first tap of all, the second of all …, each filled up to whole [`LANES`]
fn by_tap(weights: &[f32]) -> Vec<f32> {
    let kernels = weights.as_chunks::<9>().0;
    let step = kernels.len().next_multiple_of(LANES);
    let mut taps = vec![0.0; 9 * step];
    for (number, kernel) in kernels.iter().enumerate() {
        for (tap, weight) in kernel.iter().enumerate() {
            taps[tap * step + number] = *weight;
        }
    }
    taps
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
    fn halves_become_singles() {
        // IEEE 754-2019, table 3.5: binary16 with bias 15.
        assert_eq!(half_to_single(0x3c00), 1.0);
        assert_eq!(half_to_single(0xc000), -2.0);
        assert_eq!(half_to_single(0x0001), 2f32.powi(-24));
        assert_eq!(half_to_single(0x7bff), 65504.0);
    }

    #[test]
    fn what_is_no_network_is_refused() {
        assert!(layers(b"no network").is_none());
    }
}
