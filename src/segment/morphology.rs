//! Opening, closing, growing and filling of yes/no maps with rectangles.

use ndarray::Array2;

/// A yes/no map, `[row, column]`.
pub type Mask = Array2<bool>;

/// Every cell with a marked one within `rows` and `columns`.
pub fn dilate(mask: &Mask, rows: usize, columns: usize) -> Mask {
    joined(mask, rows, columns, |a, b| a | b)
}

/// Every cell with only marked ones within `rows` and `columns`; the map goes on as it ends.
pub fn erode(mask: &Mask, rows: usize, columns: usize) -> Mask {
    joined(mask, rows, columns, |a, b| a & b)
}

/// Each cell joined with all those of the map within `rows` and `columns` of it.
fn joined(
    mask: &Mask,
    rows: usize,
    columns: usize,
    join: impl Fn(bool, bool) -> bool + Copy,
) -> Mask {
    let (height, width) = mask.dim();
    let mut cells: Vec<bool> = mask.iter().copied().collect();
    let mut before = vec![false; cells.len()];
    if width > 0 {
        join_along(&mut cells, &mut before, width, rows, join);
        for row in cells.chunks_exact_mut(width) {
            join_along(row, &mut before, 1, columns, join);
        }
    }
    Mask::from_shape_vec((height, width), cells).expect("a cell for each of the mask")
}

/// Joins each of a row of items, of `size` cells each, with all those within `reach` of it; what is
/// joined twice counts once. `before` is room for as many cells.
fn join_along(
    cells: &mut [bool],
    before: &mut [bool],
    size: usize,
    reach: usize,
    join: impl Fn(bool, bool) -> bool,
) {
    let reach = reach.min(cells.len() / size - 1);
    let before = &mut before[..cells.len()];
    // An item that is joined with those within some reach, and with two that are so and stand on
    // either side, reaches three times as far.
    let mut reached = 0;
    while reached < reach {
        let step = (2 * reached + 1).min(reach - reached);
        before.copy_from_slice(cells);
        let shift = step * size;
        let onto = |cells: &mut [bool], from: &[bool]| {
            for (cell, &from) in cells.iter_mut().zip(from) {
                *cell = join(*cell, from);
            }
        };
        onto(&mut cells[shift..], before);
        onto(cells, &before[shift..]);
        // Beyond the ends the last items stand for what lies within their reach.
        let (first, last) = (&before[..size], &before[before.len() - size..]);
        let end = cells.len() - shift;
        for item in cells[..shift].chunks_exact_mut(size) {
            onto(item, first);
        }
        for item in cells[end..].chunks_exact_mut(size) {
            onto(item, last);
        }
        reached += step;
    }
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
    let mut ground = Ground::new(within);
    let mut reached = Ground::new(seed).places();
    for &place in &reached {
        ground.free[place] = false;
    }
    ground.flood(&mut reached);
    ground.mask_of(&reached)
}

/// Cells that may be reached, with a border of others, so that every cell has four neighbours.
struct Ground {
    free: Vec<bool>,
    dim: (usize, usize),
}

impl Ground {
    fn new(within: &Mask) -> Self {
        let dim = within.dim();
        let mut free = vec![false; (dim.0 + 2) * (dim.1 + 1) + 1];
        for (row, cells) in within.rows().into_iter().enumerate() {
            for (free, &cell) in free[Self::first(dim, row)..].iter_mut().zip(cells) {
                *free = cell;
            }
        }
        Self { free, dim }
    }

    /// The place of the first cell of a row.
    fn first(dim: (usize, usize), row: usize) -> usize {
        (row + 1) * (dim.1 + 1) + 1
    }

    /// All places that are free.
    fn places(&self) -> Vec<usize> {
        let places = self.free.iter().enumerate();
        places.filter_map(|(i, &free)| free.then_some(i)).collect()
    }

    /// A mask that marks some places.
    fn mask_of(&self, places: &[usize]) -> Mask {
        let mut marked = vec![false; self.free.len()];
        for &place in places {
            marked[place] = true;
        }
        let mut cells = Vec::with_capacity(self.dim.0 * self.dim.1);
        for row in 0..self.dim.0 {
            let first = Self::first(self.dim, row);
            cells.extend_from_slice(&marked[first..first + self.dim.1]);
        }
        Mask::from_shape_vec(self.dim, cells).expect("a cell for each of the mask")
    }

    /// Adds to the places that were reached all that hang together with them; none is free any more.
    fn flood(&mut self, reached: &mut Vec<usize>) {
        let row = self.dim.1 + 1;
        let mut next = 0;
        while let Some(&at) = reached.get(next) {
            for near in [at - row, at - 1, at + 1, at + row] {
                if self.free[near] {
                    self.free[near] = false;
                    reached.push(near);
                }
            }
            next += 1;
        }
    }
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
    let mut ground = Ground::new(mask);
    let mut parts = Vec::new();
    for place in 0..ground.free.len() {
        if ground.free[place] {
            ground.free[place] = false;
            let mut reached = vec![place];
            ground.flood(&mut reached);
            parts.push(ground.mask_of(&reached));
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
    let (height, width) = values.dim();
    let mut cells: Vec<[f32; 3]> = values.iter().copied().collect();
    let flat = cells.as_flattened_mut();
    let mut before = flat.to_vec();
    if width > 0 {
        for (row, before) in flat
            .chunks_exact_mut(3 * width)
            .zip(before.chunks_exact(3 * width))
        {
            running_mean(row, before, 3, columns);
        }
        before.copy_from_slice(flat);
        running_mean(flat, &before, 3 * width, rows);
    }
    Array2::from_shape_vec((height, width), cells).expect("a cell for each of the map")
}

/// The mean of each of a row of items, of `size` numbers each, and those within `reach` of it, cut at
/// the ends.
pub(crate) fn running_mean(means: &mut [f32], items: &[f32], size: usize, reach: usize) {
    means.fill(0.0);
    let (count, reach) = (items.len() / size, reach.min(items.len() / size));
    // The neighbours in order, each added to all items at once.
    for back in (1..=reach).rev() {
        add(&mut means[back * size..], items);
    }
    for ahead in 0..=reach {
        add(means, &items[ahead * size..]);
    }
    for (i, item) in means.chunks_exact_mut(size).enumerate() {
        let near = (i + reach + 1).min(count) - i.saturating_sub(reach);
        for value in item {
            *value /= near as f32;
        }
    }
}

fn add(sums: &mut [f32], values: &[f32]) {
    for (sum, value) in sums.iter_mut().zip(values) {
        *sum += value;
    }
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
    fn growing_and_shrinking_look_at_the_whole_rectangle() {
        let mask = Mask::from_shape_fn((23, 31), |(r, c)| (r * r + 7 * c * c + r * c) % 11 < 4);
        for (rows, columns) in [(0, 0), (1, 2), (4, 3), (5, 0), (0, 13), (9, 14), (40, 40)] {
            let near = |(r, c): (usize, usize)| {
                let down = r.saturating_sub(rows)..(r + rows + 1).min(23);
                down.flat_map(move |r| {
                    (c.saturating_sub(columns)..(c + columns + 1).min(31)).map(move |c| (r, c))
                })
            };
            let any = Mask::from_shape_fn((23, 31), |at| near(at).any(|at| mask[at]));
            let all = Mask::from_shape_fn((23, 31), |at| near(at).all(|at| mask[at]));
            assert_eq!(dilate(&mask, rows, columns), any, "{rows} {columns}");
            assert_eq!(erode(&mask, rows, columns), all, "{rows} {columns}");
        }
    }

    #[test]
    fn means_are_those_of_the_whole_rectangle() {
        let values = Array2::from_shape_fn((13, 17), |(r, c)| {
            [r as f32, (c * c % 7) as f32, ((3 * r + c) as f32).sin()]
        });
        for (rows, columns) in [(1, 2), (0, 3), (4, 0), (20, 20)] {
            let means = box_mean(&values, rows, columns);
            for ((r, c), mean) in means.indexed_iter() {
                let near = ndarray::s![
                    r.saturating_sub(rows)..(r + rows + 1).min(13),
                    c.saturating_sub(columns)..(c + columns + 1).min(17)
                ];
                let near = values.slice(near);
                for channel in 0..3 {
                    let sum: f32 = near.iter().map(|value| value[channel]).sum();
                    let expected = sum / near.len() as f32;
                    assert!((mean[channel] - expected).abs() < 1e-5 * expected.abs().max(1.0));
                }
            }
        }
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
