//! The networks: their weights as ONNX files, and the one call that runs them. They were trained on renders only
//! (`examples/training`).
//!
//! All are U-Nets of one form (`model` in `examples/training/export.py`), so that the layers alone are read from the files.

mod convolve;
mod filtering;
mod onnx;

use convolve::{Layer, Room};
use rayon::{ThreadPool, ThreadPoolBuilder};
#[cfg(feature = "cli")]
use sha2::{Digest as _, Sha256};
use std::cell::RefCell;
use std::sync::OnceLock;

/// Sides of what [`FLANK`], [`FINE_PATCH`] and [`OUTLINE`] are shown must be multiples of this, for their deepest level works at 1/32 of the
/// size; those of [`PATCH`] of half of it.
pub(crate) const SIDE_MULTIPLE: u32 = 32;

/// From a photo to where on which flank each place of four by four pixels lies. Planes of its output: four class scores
/// (other, gear, convex flank, concave flank), length, height, contact score, compound score, and the
/// logarithms of the errors to be expected of length and height.
pub(crate) static FLANK: Network = Network::new(include_bytes!("flank.onnx"));

/// From flattened flanks to contact score and compound score, at half the size.
pub(crate) static PATCH: Network = Network::new(include_bytes!("patch.onnx"));

/// The same of fine maps, which takes thrice as long.
pub(crate) static FINE_PATCH: Network = Network::new(include_bytes!("fine_patch.onnx"));

/// Like [`PATCH`] and [`FINE_PATCH`], and trained on patches of all shapes that misaligned gears have: they find what those
/// overlook, and place usual ones less well.
pub(crate) static ANY_PATCH: Network = Network::new(include_bytes!("any_patch.onnx"));

/// See [`ANY_PATCH`].
pub(crate) static FINE_ANY_PATCH: Network = Network::new(include_bytes!("fine_any_patch.onnx"));

/// From one flattened flank with a margin to what each cell shows, at half the size: scores of other things, of the gear, of this
/// flank; length and height; the logarithms of the errors to be expected of them.
pub(crate) static OUTLINE: Network = Network::new(include_bytes!("outline.onnx"));

/// The networks and the names of their files.
#[cfg(feature = "cli")]
pub(crate) static ALL: [(&str, &Network); 6] = [
    ("flank", &FLANK),
    ("patch", &PATCH),
    ("fine_patch", &FINE_PATCH),
    ("any_patch", &ANY_PATCH),
    ("fine_any_patch", &FINE_ANY_PATCH),
    ("outline", &OUTLINE),
];

/// SHA-256 of the files of weights, as `sha256sum` writes them.
#[cfg(test)]
const CHECKSUMS: &str = include_str!("weights.sha256");

/// Planes of one size, row by row, plane by plane.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Planes {
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
    pub(crate) fn zeros(planes: usize, width: usize, height: usize) -> Self {
        Self {
            planes,
            width,
            height,
            values: vec![0.0; planes * width * height],
        }
    }

    /// One plane.
    pub(crate) fn plane(&self, index: usize) -> &[f32] {
        let size = self.width * self.height;
        &self.values[index * size..(index + 1) * size]
    }

    /// Exchanges left and right.
    pub(crate) fn mirror(&mut self) {
        for row in self.values.chunks_exact_mut(self.width) {
            row.reverse();
        }
    }

    /// The largest of each two by two pixels. Sides must be even.
    fn halved(&self, room: &mut Room) -> Self {
        let mut half = room.planes(self.planes, self.width / 2, self.height / 2);
        let rows = half.values.chunks_exact_mut(half.width);
        for (to, pair) in rows.zip(self.values.chunks_exact(2 * self.width)) {
            let (above, below) = pair.split_at(self.width);
            let (above, below) = (above.as_chunks::<2>().0, below.as_chunks::<2>().0);
            for ((to, [a, b]), [c, d]) in to.iter_mut().zip(above).zip(below) {
                *to = a.max(*b).max(c.max(*d));
            }
        }
        half
    }

    /// Adds planes of half the size, each value to two by two pixels.
    fn add_doubled(&mut self, small: &Self) {
        let rows = self.values.chunks_exact_mut(2 * self.width);
        for (pair, from) in rows.zip(small.values.chunks_exact(small.width)) {
            for row in pair.chunks_exact_mut(self.width) {
                for ([left, right], more) in row.as_chunks_mut::<2>().0.iter_mut().zip(from) {
                    *left += more;
                    *right += more;
                }
            }
        }
    }
}

/// A network that is part of the program, read from its file once, when it is first used.
pub(crate) struct Network {
    file: &'static [u8],
    /// In the order of use.
    layers: OnceLock<Vec<Layer>>,
}

impl Network {
    const fn new(file: &'static [u8]) -> Self {
        Self {
            file,
            layers: OnceLock::new(),
        }
    }

    /// SHA-256 of its file, as sixty-four digits.
    #[cfg(feature = "cli")]
    pub(crate) fn sha256(&self) -> String {
        format!("{:x}", Sha256::digest(self.file))
    }

    /// Runs the network on three planes, on one thread: programs that read many photos read one on each core. The output's sides are
    /// shorter by the stride of the first layer. Panics if sides are no multiples of what they must be ([`SIDE_MULTIPLE`]).
    pub(crate) fn run(&self, input: &Planes) -> Planes {
        thread_local! {
            // Products of matrices would spread over all cores, and wake them some thousand times a photo. One pool for
            // each caller, lest all of them wait for the same thread.
            static ONE_THREAD: Option<ThreadPool> = ThreadPoolBuilder::new().num_threads(1).build().ok();
            // Memory that serves again: to have fresh memory cleared costs as much as the arithmetic.
            static ROOM: RefCell<Room> = RefCell::default();
        }
        let run = || ROOM.with_borrow_mut(|room| self.run_in(input, room));
        ONE_THREAD.with(|pool| match pool {
            Some(pool) => pool.install(run),
            None => run(),
        })
    }

    fn run_in(&self, input: &Planes, room: &mut Room) -> Planes {
        let layers = self
            .layers
            .get_or_init(|| onnx::layers(self.file).expect("the weights are built in and tested"));
        let levels = (layers.len() - 1) / 5;
        let mut layers = layers.iter();
        let mut apply = |x: &Planes, room: &mut Room| {
            let layer = layers.next().expect("the weights hold every layer");
            layer.apply(x, room)
        };
        // Each picture's memory serves again as soon as the next one is made of it.
        let mut step = |x: &mut Planes, room: &mut Room| {
            let next = apply(x, room);
            room.give(std::mem::replace(x, next));
        };
        let mut x = room.planes(input.planes, input.width, input.height);
        x.values.copy_from_slice(&input.values);
        step(&mut x, room);
        let mut skips: Vec<Planes> = Vec::new();
        for level in 0..levels {
            if level > 0 {
                let half = x.halved(room);
                skips.push(std::mem::replace(&mut x, half));
            }
            step(&mut x, room);
            step(&mut x, room);
        }
        step(&mut x, room);
        step(&mut x, room);
        while let Some(mut skip) = skips.pop() {
            step(&mut x, room);
            skip.add_doubled(&x);
            room.give(std::mem::replace(&mut x, skip));
            step(&mut x, room);
            step(&mut x, room);
        }
        step(&mut x, room);
        let output = x.clone();
        room.give(x);
        output
    }
}

#[cfg(test)]
mod tests;
