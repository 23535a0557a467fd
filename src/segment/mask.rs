//! Yes/no maps of a flank.

use image::{GrayImage, Luma};
use imageproc::region_labelling::{Connectivity, connected_components};
use ndarray::{Array2, Zip};

/// A yes/no map, `[row, column]`.
pub type Mask = Array2<bool>;

/// The first without the second.
pub fn minus(a: &Mask, b: &Mask) -> Mask {
    Zip::from(a).and(b).map_collect(|&a, &b| a && !b)
}

/// Number of marked cells.
pub fn area(mask: &Mask) -> usize {
    mask.iter().filter(|&&marked| marked).count()
}

/// Number of cells marked in both.
pub fn area_of_both(a: &Mask, b: &Mask) -> usize {
    a.iter().zip(b).filter(|(a, b)| **a && **b).count()
}

/// Share of the two masks' union that is in both; 0 when both are empty.
pub fn overlap(a: &Mask, b: &Mask) -> f64 {
    let both = area_of_both(a, b);
    let either = area(a) + area(b) - both;
    if either == 0 {
        0.0
    } else {
        both as f64 / either as f64
    }
}

/// The largest part of the mask that hangs together through edges; `None` of an empty one.
pub fn largest_part(mask: &Mask) -> Option<Mask> {
    let labels = connected_components(&picture(mask), Connectivity::Four, Luma([0]));
    let mut areas = vec![0usize];
    for &label in labels.as_raw() {
        let label = label as usize;
        areas.resize(areas.len().max(label + 1), 0);
        areas[label] += 1;
    }
    let largest = (1..areas.len()).max_by_key(|&label| areas[label])?;
    Some(Mask::from_shape_fn(mask.dim(), |(row, column)| {
        labels.get_pixel(column as u32, row as u32)[0] as usize == largest
    }))
}

/// The mask as a picture: 255 where it is marked.
pub fn picture(mask: &Mask) -> GrayImage {
    let (rows, columns) = mask.dim();
    GrayImage::from_fn(columns as u32, rows as u32, |x, y| {
        Luma([255 * u8::from(mask[[y as usize, x as usize]])])
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(rows: &[&str]) -> Mask {
        Array2::from_shape_fn((rows.len(), rows[0].len()), |(r, c)| {
            rows[r].as_bytes()[c] == b'#'
        })
    }

    #[test]
    fn parts_hang_together_through_edges_only() {
        let largest = largest_part(&drawn(&["##..", "..##", "..##"])).unwrap();
        assert_eq!(largest, drawn(&["....", "..##", "..##"]));
        assert_eq!(largest_part(&drawn(&["...", "..."])), None);
    }

    #[test]
    fn overlap_is_the_share_of_the_union() {
        let (a, b) = (drawn(&["##.."]), drawn(&[".##."]));
        assert!((overlap(&a, &b) - 1.0 / 3.0).abs() < 1e-12);
        assert_eq!(overlap(&drawn(&["."]), &drawn(&["."])), 0.0);
    }
}
