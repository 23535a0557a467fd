//! The edge of a patch region as a line in flank coordinates.

use crate::frames::FlankPoint;
use crate::segment::mask::Mask;
use image::{GrayImage, Luma};
use imageproc::contours::{BorderType, find_contours};

/// The outer edge of the largest part of a region; empty for an empty region.
pub(crate) fn edge(region: &Mask) -> Vec<FlankPoint> {
    let (rows, columns) = region.dim();
    // A border of empty cells, so that an edge along the map's border is found as well.
    let mut picture = GrayImage::new(columns as u32 + 2, rows as u32 + 2);
    for ((row, column), &marked) in region.indexed_iter() {
        if marked {
            picture.put_pixel(column as u32 + 1, row as u32 + 1, Luma([255]));
        }
    }
    find_contours::<u32>(&picture)
        .into_iter()
        .filter(|contour| contour.border_type == BorderType::Outer)
        .max_by_key(|contour| contour.points.len())
        .map(|contour| {
            let along = contour.points.iter().step_by(2);
            along
                .map(|point| {
                    FlankPoint::new(
                        ((f64::from(point.x) - 0.5) / columns as f64).clamp(0.0, 1.0),
                        ((f64::from(point.y) - 0.5) / rows as f64).clamp(0.0, 1.0),
                    )
                })
                .collect()
        })
        .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_edge_of_a_block_goes_round_it() {
        let block = Mask::from_shape_fn((20, 40), |(r, c)| {
            (5..15).contains(&r) && (10..30).contains(&c)
        });
        let edge = edge(&block);
        let low = edge.iter().map(|p| p.length).fold(1.0, f64::min);
        let high = edge.iter().map(|p| p.height).fold(0.0, f64::max);
        assert!((low - 0.25).abs() < 0.03 && (high - 0.75).abs() < 0.05);
    }
}
