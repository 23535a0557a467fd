//! Opening, closing, growing and filling of yes/no maps with rectangles.

use ndarray::{Array2, Axis};

/// A yes/no map, `[row, column]`.
pub type Mask = Array2<bool>;

/// Marked cells in the rectangle of `2·rows + 1` × `2·columns + 1` round each cell, and how many
/// cells of it lie on the map.
fn counts(mask: &Mask, rows: usize, columns: usize) -> Array2<(u32, u32)> {
    let (height, width) = mask.dim();
    let mut sums = Array2::<u32>::zeros((height + 1, width + 1));
    for r in 0..height {
        let mut row = 0;
        for c in 0..width {
            row += u32::from(mask[[r, c]]);
            sums[[r + 1, c + 1]] = sums[[r, c + 1]] + row;
        }
    }
    Array2::from_shape_fn((height, width), |(r, c)| {
        let (top, low) = (r.saturating_sub(rows), (r + rows + 1).min(height));
        let (left, right) = (c.saturating_sub(columns), (c + columns + 1).min(width));
        let inside =
            sums[[low, right]] + sums[[top, left]] - sums[[top, right]] - sums[[low, left]];
        (inside, ((low - top) * (right - left)) as u32)
    })
}

/// Every cell with a marked one within `rows` and `columns`.
pub fn dilate(mask: &Mask, rows: usize, columns: usize) -> Mask {
    counts(mask, rows, columns).mapv(|(marked, _)| marked > 0)
}

/// Every cell with only marked ones within `rows` and `columns`; the map goes on as it ends.
pub fn erode(mask: &Mask, rows: usize, columns: usize) -> Mask {
    counts(mask, rows, columns).mapv(|(marked, all)| marked == all)
}

/// What is left of the mask when everything narrower than the rectangle is taken away.
pub fn open(mask: &Mask, rows: usize, columns: usize) -> Mask {
    dilate(&erode(mask, rows, columns), rows, columns)
}

/// The mask with every gap narrower than the rectangle filled.
pub fn close(mask: &Mask, rows: usize, columns: usize) -> Mask {
    erode(&dilate(mask, rows, columns), rows, columns)
}

/// Both marked.
pub fn and(a: &Mask, b: &Mask) -> Mask {
    ndarray::Zip::from(a).and(b).map_collect(|&a, &b| a && b)
}

/// The first without the second.
pub fn minus(a: &Mask, b: &Mask) -> Mask {
    ndarray::Zip::from(a).and(b).map_collect(|&a, &b| a && !b)
}

/// The part of `within` that hangs together with a cell of `seed` through edges, and the seed.
pub fn spread(seed: &Mask, within: &Mask) -> Mask {
    let (height, width) = seed.dim();
    let mut reached = seed.clone();
    let mut open: Vec<(usize, usize)> = seed
        .indexed_iter()
        .filter_map(|(at, &marked)| marked.then_some(at))
        .collect();
    while let Some((r, c)) = open.pop() {
        let near = [
            (r.wrapping_sub(1), c),
            (r + 1, c),
            (r, c.wrapping_sub(1)),
            (r, c + 1),
        ];
        for (r, c) in near {
            if r < height && c < width && within[[r, c]] && !reached[[r, c]] {
                reached[[r, c]] = true;
                open.push((r, c));
            }
        }
    }
    reached
}

/// The mask with every hole filled that does not reach the map's border.
pub fn fill_holes(mask: &Mask) -> Mask {
    let outside = mask.mapv(|marked| !marked);
    let mut border = Mask::from_elem(mask.dim(), false);
    let (height, width) = mask.dim();
    for (at, cell) in border.indexed_iter_mut() {
        let on_border = at.0 == 0 || at.1 == 0 || at.0 == height - 1 || at.1 == width - 1;
        *cell = on_border && outside[at];
    }
    spread(&border, &outside).mapv(|reached| !reached)
}

/// The parts of the mask that hang together, through edges.
pub fn parts(mask: &Mask) -> Vec<Mask> {
    let mut left = mask.clone();
    let mut parts = Vec::new();
    for (at, &marked) in mask.indexed_iter() {
        if marked && left[at] {
            let mut seed = Mask::from_elem(mask.dim(), false);
            seed[at] = true;
            let part = spread(&seed, &left);
            left = minus(&left, &part);
            parts.push(part);
        }
    }
    parts
}

/// Number of marked cells.
pub fn area(mask: &Mask) -> usize {
    mask.iter().filter(|&&marked| marked).count()
}

/// Share of the two masks' union that is in both; 0 when both are empty.
pub fn overlap(a: &Mask, b: &Mask) -> f64 {
    let both = area(&and(a, b));
    let either = area(a) + area(b) - both;
    if either == 0 {
        0.0
    } else {
        both as f64 / either as f64
    }
}

/// The mean over the rectangle of `2·rows + 1` × `2·columns + 1` round each cell, cut at the edges.
pub fn box_mean(values: &Array2<[f32; 3]>, rows: usize, columns: usize) -> Array2<[f32; 3]> {
    let along = running_mean(values, Axis(1), columns);
    running_mean(&along, Axis(0), rows)
}

fn running_mean(values: &Array2<[f32; 3]>, axis: Axis, reach: usize) -> Array2<[f32; 3]> {
    let mut out = values.clone();
    for (source, mut target) in values.lanes(axis).into_iter().zip(out.lanes_mut(axis)) {
        for i in 0..source.len() {
            let (from, to) = (i.saturating_sub(reach), (i + reach + 1).min(source.len()));
            let mut sum = [0.0; 3];
            for j in from..to {
                for (total, part) in sum.iter_mut().zip(source[j]) {
                    *total += part;
                }
            }
            target[i] = sum.map(|total| total / (to - from) as f32);
        }
    }
    out
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
    fn opening_takes_thin_streaks_and_keeps_blocks() {
        let mask = drawn(&["......##", "###...##", "###.....", "########", "......#."]);
        let opened = open(&mask, 1, 1);
        let kept = drawn(&["........", "###.....", "###.....", "###.....", "........"]);
        // The streak of the fourth row is one high and the block on the right two wide: the map
        // goes on as it ends, so the block in the upper corner counts as wider than it is drawn.
        assert_eq!(and(&opened, &kept), kept);
        assert!(!opened[[3, 5]] && !opened[[4, 6]]);
    }

    #[test]
    fn holes_are_filled_and_bays_are_not() {
        let mask = drawn(&["#####", "#...#", "#####", "#..#.", "#..#."]);
        let filled = drawn(&["#####", "#####", "#####", "#..#.", "#..#."]);
        assert_eq!(fill_holes(&mask), filled);
    }

    #[test]
    fn parts_hang_together_through_edges_only() {
        let parts = parts(&drawn(&["##..", "..##", "..##"]));
        assert_eq!(parts.iter().map(area).collect::<Vec<_>>(), [2, 4]);
    }

    #[test]
    fn overlap_is_the_share_of_the_union() {
        let (a, b) = (drawn(&["##.."]), drawn(&[".##."]));
        assert!((overlap(&a, &b) - 1.0 / 3.0).abs() < 1e-12);
    }

    #[test]
    fn box_mean_keeps_a_plain_map_and_spreads_a_spot() {
        let mut values = Array2::from_elem((5, 5), [0.0, 1.0, 0.0]);
        values[[2, 2]][0] = 9.0;
        let mean = box_mean(&values, 1, 1);
        assert!((mean[[1, 1]][0] - 1.0).abs() < 1e-6 && mean[[0, 0]][0].abs() < 1e-6);
        assert!(mean.iter().all(|cell| (cell[1] - 1.0).abs() < 1e-6));
    }
}
