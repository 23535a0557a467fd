//! Patch region → patch numbers.

use crate::frames::FlankPoint;
use crate::schema::{Margin, Patch};
use crate::segment::mask::Mask;

/// The numbers of a patch region on a map of length × height; `depth_over_length` is the flank's depth
/// over its length. `None` for an empty region.
pub(crate) fn patch_numbers(region: &Mask, depth_over_length: f64) -> Option<Patch> {
    let (rows, columns) = region.dim();
    let mut cells = 0.0;
    let (mut u, mut v, mut uu, mut uv, mut vv) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let (mut left, mut right, mut low, mut high) = (columns, 0, rows, 0);
    for (row, marked) in region.rows().into_iter().enumerate() {
        // Sums of whole numbers along a row take a fraction of the time of those cell by cell.
        let (mut here, mut along, mut squares) = (0u64, 0u64, 0u64);
        for (column, &marked) in (0u64..).zip(marked) {
            let marked = u64::from(marked);
            here += marked;
            along += marked * column;
            squares += marked * column * column;
        }
        if here == 0 {
            continue;
        }
        let (here, along, squares) = (here as f64, along as f64, squares as f64);
        // Of cells' middles, in shares of the map.
        let y = (row as f64 + 0.5) / rows as f64;
        let x = (along + 0.5 * here) / columns as f64;
        cells += here;
        u += x;
        v += here * y;
        uu += (squares + along + 0.25 * here) / (columns * columns) as f64;
        uv += x * y;
        vv += here * y * y;
        let first = marked.iter().position(|&marked| marked).unwrap_or(columns);
        let last = marked.iter().rposition(|&marked| marked).unwrap_or(0);
        (left, right) = (left.min(first), right.max(last + 1));
        (low, high) = (low.min(row), high.max(row + 1));
    }
    if cells == 0.0 {
        return None;
    }
    let centre = FlankPoint::new(u / cells, v / cells);
    let along = uu / cells - centre.length * centre.length;
    let across =
        (vv / cells - centre.height * centre.height) * depth_over_length * depth_over_length;
    let mixed = (uv / cells - centre.length * centre.height) * depth_over_length;
    let edge = |index: usize, count: usize| index as f64 / count as f64;
    let margin = Margin {
        toe: edge(left, columns),
        heel: 1.0 - edge(right, columns),
        tip: 1.0 - edge(high, rows),
        root: edge(low, rows),
    };
    Some(Patch {
        centre,
        extent: FlankPoint::new(edge(right - left, columns), edge(high - low, rows)),
        area: cells / (rows * columns) as f64,
        // Direction of the larger principal axis of the second moments.
        lean_deg: (0.5 * (2.0 * mixed).atan2(along - across)).to_degrees(),
        margin,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_drawn_ellipse_gives_back_its_centre_size_and_lean() {
        // An ellipse of half axes 0.3 and 0.08 (of the length), turned by 8°, centred at
        // (0.45, 0.6) on a flank a quarter as deep as long: truth by construction.
        let (turn, depth_over_length): (f64, f64) = (8.0f64.to_radians(), 0.25);
        let region = Mask::from_shape_fn((96, 256), |(row, column)| {
            let x = (column as f64 + 0.5) / 256.0 - 0.45;
            let y = ((row as f64 + 0.5) / 96.0 - 0.6) * depth_over_length;
            let (a, b) = (
                x * turn.cos() + y * turn.sin(),
                y * turn.cos() - x * turn.sin(),
            );
            (a / 0.3).powi(2) + (b / 0.08).powi(2) < 1.0
        });
        let patch = patch_numbers(&region, depth_over_length).unwrap();
        assert!((patch.centre.length - 0.45).abs() < 0.002);
        assert!((patch.centre.height - 0.6).abs() < 0.004);
        assert!((patch.lean_deg - 8.0).abs() < 0.5, "{}", patch.lean_deg);
        let area = std::f64::consts::PI * 0.3 * 0.08 / depth_over_length;
        assert!((patch.area - area).abs() < 0.005, "{}", patch.area);
        let margins = patch.margin.toe + patch.extent.length + patch.margin.heel;
        assert!((margins - 1.0).abs() < 1e-9);
    }

    #[test]
    fn an_empty_region_has_no_numbers() {
        assert!(patch_numbers(&Mask::from_elem((4, 4), false), 0.25).is_none());
    }
}
