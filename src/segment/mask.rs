//! Yes/no maps of a flank.

use ndarray::{Array2, Zip};

/// A yes/no map, `[row, column]`.
pub(crate) type Mask = Array2<bool>;

/// The first without the second.
pub(crate) fn minus(a: &Mask, b: &Mask) -> Mask {
    Zip::from(a).and(b).map_collect(|&a, &b| a && !b)
}

/// Number of marked cells.
pub(crate) fn area(mask: &Mask) -> usize {
    mask.iter().filter(|&&marked| marked).count()
}

/// Number of cells marked in both.
pub(crate) fn area_of_both(a: &Mask, b: &Mask) -> usize {
    a.iter().zip(b).filter(|(a, b)| **a && **b).count()
}

/// Share of the two masks' union that is in both; 0 when both are empty.
pub(crate) fn overlap(a: &Mask, b: &Mask) -> f64 {
    let both = area_of_both(a, b);
    let either = area(a) + area(b) - both;
    if either == 0 {
        0.0
    } else {
        both as f64 / either as f64
    }
}

/// The cells that at least half of the masks mark; all must have the same size.
pub(crate) fn of_half(masks: &[&Mask]) -> Mask {
    let mut count = Array2::<u16>::zeros(masks.first().map_or((0, 0), |mask| mask.dim()));
    for mask in masks {
        count.zip_mut_with(mask, |count, &marked| *count += u16::from(marked));
    }
    count.mapv(|count| 2 * usize::from(count) >= masks.len())
}

/// The largest part of the mask that hangs together through edges, of equal ones the last; `None` of an empty one. By
/// hand: labels of the image library give the same in six times the time, two dozen times a photo.
pub(crate) fn largest_part(mask: &Mask) -> Option<Mask> {
    // Unmarked cells about the mask, so that every marked one has four neighbours.
    let (rows, columns) = mask.dim();
    let stride = columns + 1;
    let mut left = vec![false; stride * (rows + 2)];
    for (to, from) in left.chunks_exact_mut(stride).skip(1).zip(mask.rows()) {
        for (to, &from) in to.iter_mut().zip(from) {
            *to = from;
        }
    }
    let (mut part, mut largest) = (Vec::new(), Vec::new());
    for start in 0..left.len() {
        if !std::mem::take(&mut left[start]) {
            continue;
        }
        part.clear();
        part.push(start);
        let mut looked_at = 0;
        while let Some(&cell) = part.get(looked_at) {
            looked_at += 1;
            for near in [cell - 1, cell + 1, cell - stride, cell + stride] {
                if std::mem::take(&mut left[near]) {
                    part.push(near);
                }
            }
        }
        if part.len() >= largest.len() {
            std::mem::swap(&mut part, &mut largest);
        }
    }
    let mut found = Mask::from_elem(mask.dim(), false);
    for &cell in &largest {
        found[[cell / stride - 1, cell % stride]] = true;
    }
    (!largest.is_empty()).then_some(found)
}

/// The parts that hang together through edges, the largest first, as far as they have so many cells.
pub(crate) fn parts(mask: &Mask, fewest: usize) -> Vec<Mask> {
    let (mut left, mut parts) = (mask.clone(), Vec::new());
    while let Some(part) = largest_part(&left).filter(|part| area(part) >= fewest.max(1)) {
        left = minus(&left, &part);
        parts.push(part);
    }
    parts
}

/// What any of two masks marks.
pub(crate) fn either(a: &Mask, b: &Mask) -> Mask {
    Zip::from(a).and(b).map_collect(|&a, &b| a || b)
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
    fn parts_come_largest_first_and_small_ones_not_at_all() {
        let mask = drawn(&["#..##", "....#", "#.###"]);
        let found = parts(&mask, 1);
        let areas: Vec<usize> = found.iter().map(area).collect();
        assert_eq!(areas, [6, 1, 1]);
        assert_eq!(parts(&mask, 2).len(), 1);
        assert!(parts(&drawn(&["...."]), 0).is_empty());
        assert_eq!(area(&either(&found[0], &found[1])), 7);
    }

    #[test]
    fn half_of_the_masks_make_the_common_one() {
        let (left, all, none) = (drawn(&["##.."]), drawn(&["####"]), drawn(&["...."]));
        assert_eq!(of_half(&[&left, &all, &none]), left);
        assert_eq!(of_half(&[&left, &none]), left);
        assert!(of_half(&[]).is_empty());
    }

    #[test]
    fn overlap_is_the_share_of_the_union() {
        let (a, b) = (drawn(&["##.."]), drawn(&[".##."]));
        assert!((overlap(&a, &b) - 1.0 / 3.0).abs() < 1e-12);
        assert_eq!(overlap(&drawn(&["."]), &drawn(&["."])), 0.0);
    }
}
