//! The same picture again: saved anew, shrunk, or sent through a messenger.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use image::RgbImage;
use image::imageops::{self, FilterType};

/// Side of the small grey copy that is compared, cells. A patch that moved by a tenth of a flank
/// still changes some of its cells.
const SIDE: usize = 32;
/// Two copies of one picture correlate at least so well. Measured on this program's rendered and
/// painted photos by the test below: saved at JPEG quality 25 and half the size 0.9967 and more,
/// another photo 0.891 and less. Two photos by a camera that stood still may be taken for one;
/// copies are said and never left out.
const LEAST_ALIKE: f64 = 0.99;
/// Cells that may fall on the other side of their picture's mean; a quick test before the
/// correlation.
const MOST_FLIPPED: u32 = 6;
/// Width over height may differ by this share.
const SAME_SHAPE: f64 = 0.02;

/// A small grey copy of a photo, to be compared with others.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Likeness {
    cells: Vec<u8>,
    mean: f64,
    /// Root of the sum of squares about the mean.
    size: f64,
    coarse: u64,
    shape: f64,
}

impl Likeness {
    /// The likeness of an upright picture.
    pub(crate) fn of(picture: &RgbImage) -> Self {
        let (width, height) = picture.dimensions();
        let side = SIDE as u32;
        let small = if width >= side && height >= side {
            imageops::thumbnail(picture, side, side)
        } else {
            imageops::resize(picture, side, side, FilterType::Triangle)
        };
        let cells = small
            .pixels()
            .map(|pixel| {
                // Luma of Rec. ITU-R BT.601, which JPEG keeps best.
                let [r, g, b] = pixel.0.map(u32::from);
                ((299 * r + 587 * g + 114 * b + 500) / 1000) as u8
            })
            .collect();
        Self::from_cells(cells, f64::from(width) / f64::from(height.max(1)))
    }

    fn from_cells(cells: Vec<u8>, shape: f64) -> Self {
        let count = cells.len() as f64;
        let mean = cells.iter().map(|&cell| f64::from(cell)).sum::<f64>() / count;
        let squares: f64 = cells
            .iter()
            .map(|&cell| (f64::from(cell) - mean).powi(2))
            .sum();
        let coarse = (0..64).fold(0, |bits, block| {
            let (row, column) = (block / 8 * (SIDE / 8), block % 8 * (SIDE / 8));
            let sum: f64 = (0..SIDE / 8)
                .flat_map(|r| (0..SIDE / 8).map(move |c| (row + r) * SIDE + column + c))
                .map(|at| f64::from(cells[at]) - mean)
                .sum();
            bits << 1 | u64::from(sum > 0.0)
        });
        Self {
            mean,
            size: squares.sqrt(),
            coarse,
            shape,
            cells,
        }
    }

    /// The likeness as text.
    pub(crate) fn to_text(&self) -> String {
        format!("{:.4} {}", self.shape, STANDARD.encode(&self.cells))
    }

    /// The likeness from its text; `None` for any other text.
    pub(crate) fn from_text(text: &str) -> Option<Self> {
        let (shape, cells) = text.split_once(' ')?;
        let shape = shape.parse().ok().filter(|shape| *shape > 0.0)?;
        let cells = STANDARD.decode(cells).ok()?;
        (cells.len() == SIDE * SIDE).then(|| Self::from_cells(cells, shape))
    }

    /// Whether both are of one picture.
    pub(crate) fn is_like(&self, other: &Self) -> bool {
        (self.coarse ^ other.coarse).count_ones() <= MOST_FLIPPED
            && (self.shape / other.shape - 1.0).abs() < SAME_SHAPE
            && self.correlation(other) >= LEAST_ALIKE
    }

    /// Correlation of the two copies, −1 … 1; 0 for a picture of one grey, which is like nothing.
    pub(crate) fn correlation(&self, other: &Self) -> f64 {
        let sizes = self.size * other.size;
        if sizes < 1.0 {
            return 0.0;
        }
        let together: f64 = self
            .cells
            .iter()
            .zip(&other.cells)
            .map(|(&a, &b)| (f64::from(a) - self.mean) * (f64::from(b) - other.mean))
            .sum();
        together / sizes
    }
}

/// For each picture the first before it that is like it, if there is one.
pub(crate) fn first_like(pictures: &[Option<&Likeness>]) -> Vec<Option<usize>> {
    let mut first: Vec<Option<usize>> = Vec::with_capacity(pictures.len());
    for (at, picture) in pictures.iter().enumerate() {
        let like = picture.and_then(|picture| {
            (0..at).find(|&before| {
                first[before].is_none()
                    && pictures[before].is_some_and(|other| picture.is_like(other))
            })
        });
        first.push(like);
    }
    first
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::codecs::jpeg::JpegEncoder;
    use std::path::Path;

    fn saved_again(picture: &RgbImage, quality: u8, size: (u32, u32)) -> RgbImage {
        let small = imageops::resize(picture, size.0, size.1, FilterType::Lanczos3);
        let mut bytes = Vec::new();
        JpegEncoder::new_with_quality(&mut bytes, quality)
            .encode_image(&small)
            .unwrap();
        image::load_from_memory(&bytes).unwrap().into_rgb8()
    }

    fn photos() -> Vec<(String, RgbImage)> {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let mut photos = Vec::new();
        for folder in [
            "fixtures/rendered",
            "fixtures/painted",
            "examples/larchfield",
        ] {
            let mut paths: Vec<_> = std::fs::read_dir(root.join(folder))
                .unwrap()
                .map(|entry| entry.unwrap().path())
                .filter(|path| path.extension().is_some_and(|ending| ending == "jpg"))
                .collect();
            paths.sort();
            for path in paths {
                let picture = image::open(&path).unwrap().into_rgb8();
                photos.push((path.display().to_string(), picture));
            }
        }
        assert!(photos.len() >= 12);
        photos
    }

    #[test]
    fn saved_again_is_alike_and_another_photo_is_not() {
        let photos = photos();
        let likes: Vec<Likeness> = photos.iter().map(|(_, p)| Likeness::of(p)).collect();
        let (mut least_same, mut most_other) = (1.0_f64, -1.0_f64);
        for (i, (name, picture)) in photos.iter().enumerate() {
            let (width, height) = picture.dimensions();
            let again = Likeness::of(&saved_again(picture, 25, (width / 2, height / 2)));
            least_same = least_same.min(likes[i].correlation(&again));
            assert!(likes[i].is_like(&again), "{name}");
            let text = likes[i].to_text();
            assert!(Likeness::from_text(&text).unwrap().is_like(&likes[i]));
            for (j, (other, _)) in photos.iter().enumerate() {
                if i != j {
                    most_other = most_other.max(likes[i].correlation(&likes[j]));
                    assert!(!likes[i].is_like(&likes[j]), "{name} and {other}");
                }
            }
        }
        // The threshold stands well clear of both.
        assert!(
            least_same > 0.995 && most_other < 0.95,
            "{least_same} {most_other}"
        );
    }

    #[test]
    fn the_first_of_its_kind_stands_for_all() {
        let picture = |k: u32| {
            RgbImage::from_fn(64, 64, |x, y| {
                image::Rgb([(((x * k) ^ (y * 3)) % 64 * 4) as u8; 3])
            })
        };
        let (a, b) = (Likeness::of(&picture(1)), Likeness::of(&picture(5)));
        let all = [Some(&a), Some(&b), None, Some(&a), Some(&a), Some(&b)];
        assert_eq!(
            first_like(&all),
            [None, None, None, Some(0), Some(0), Some(1)]
        );
        let grey = Likeness::of(&RgbImage::new(40, 40));
        assert!(!grey.is_like(&grey));
        assert!(Likeness::from_text("1.5 AAAA").is_none());
    }
}
