//! The networks: their weights as ONNX files, and the one call that runs them. They were trained on renders only
//! (`examples/training`).

use rten::{Model, ModelOptions, RunOptions, ThreadPool, ValueView, op_registry};
use std::sync::{Arc, OnceLock};

/// Sides of what [`FLANK`] and [`FINE_PATCH`] are shown must be multiples of this, for their deepest level works at 1/32 of the
/// size; those of [`PATCH`] of half of it.
pub const SIDE_MULTIPLE: u32 = 32;

/// From a photo to where on which flank each place of four by four pixels lies. Planes of its output: four class scores
/// (other, gear, convex flank, concave flank), length, height, contact score, compound score, and the
/// logarithms of the errors to be expected of length and height.
pub static FLANK: Network = Network::new(include_bytes!("flank.onnx"));

/// From flattened flanks to contact score and compound score, at half the size.
pub static PATCH: Network = Network::new(include_bytes!("patch.onnx"));

/// The same of fine maps, which takes thrice as long.
pub static FINE_PATCH: Network = Network::new(include_bytes!("fine_patch.onnx"));

/// SHA-256 of the files of weights, as `sha256sum` writes them.
const CHECKSUMS: &str = include_str!("weights.sha256");

/// The weights in few letters: the beginning of each file's SHA-256.
pub fn weights() -> String {
    let starts = CHECKSUMS.lines().map(|line| line.split_at(8).0);
    starts.collect::<Vec<_>>().join("-")
}

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

/// A network that is part of the program, made ready once, when it is first used.
pub struct Network {
    file: &'static [u8],
    model: OnceLock<Model>,
}

impl Network {
    const fn new(file: &'static [u8]) -> Self {
        Self {
            file,
            model: OnceLock::new(),
        }
    }

    fn model(&self) -> &Model {
        self.model.get_or_init(|| {
            let operators = op_registry!(Add, Cast, Conv, DequantizeLinear, MaxPool, Relu, Resize);
            ModelOptions::with_ops(operators)
                .load_static_slice(self.file)
                .expect("the weights are built in")
        })
    }

    /// Runs the network on three planes, on one thread: programs that read many photos read one on each core. The output's sides are
    /// shorter by the stride of the first layer. Panics if sides are no multiples of what they must be ([`SIDE_MULTIPLE`]).
    pub fn run(&self, input: &Planes) -> Planes {
        thread_local! {
            // One for each caller, lest all of them wait for the same thread.
            static ONE_THREAD: Arc<ThreadPool> = Arc::new(ThreadPool::with_num_threads(1));
        }
        let shape = [1, input.planes, input.height, input.width];
        let picture = ValueView::from_shape(&shape, &input.values)
            .expect("as many values as the planes' size says");
        let options = RunOptions::default().with_thread_pool(Some(ONE_THREAD.with(Arc::clone)));
        let output = self.model().run_one(picture.into(), Some(options));
        let ([_, planes, height, width], values) = output
            .expect("three planes of sides that the network takes")
            .into_shape_vec()
            .expect("planes of numbers");
        Planes {
            planes,
            width,
            height,
            values,
        }
    }
}

#[cfg(test)]
mod tests;
