//! Cells of the network's coordinate map → one proposed flank each: which cells belong to one tooth, and
//! the smooth map that explains where they say they are.

use super::calibration::CALIBRATION;
use super::coordinate_map::FlankCoordinateMap;
use super::correspondence::{Correspondence, PARTS_ALONG, PARTS_UP};
use super::marked_flank::MarkedFlank;
use crate::frames::{FlankPoint, PhotoPoint};
use crate::schema::{Corners, FlankForm};
use nalgebra::{SMatrix, SVector};

/// A flank as the network sees it.
#[derive(Debug, Clone)]
pub(crate) struct Proposal {
    /// Cells that lie on it.
    pub cells: usize,
    /// Whether compound shows on a good part of it.
    pub painted: bool,
    /// Its corners and points along its sides, carried on by the smooth map to the flank's edges.
    pub marked: MarkedFlank,
    /// Points seen on it, each the mean of the cells of a small part of the flank.
    pub points: Vec<Correspondence>,
}

/// The flanks of one form, those that carry compound before the rest, largest first; `forms` says for each cell which flank it lies on.
pub(crate) fn proposals(
    coordinates: &FlankCoordinateMap,
    forms: &[Option<FlankForm>],
    form: FlankForm,
) -> Vec<Proposal> {
    let mut found: Vec<Proposal> = groups(coordinates, forms, form)
        .iter()
        .filter_map(|cells| propose(coordinates, cells))
        .collect();
    found.sort_by_key(|proposal| std::cmp::Reverse((proposal.painted, proposal.cells)));
    found
}

/// Connected cells of one form between which length and height run on smoothly.
fn groups(
    coordinates: &FlankCoordinateMap,
    forms: &[Option<FlankForm>],
    form: FlankForm,
) -> Vec<Vec<usize>> {
    let step = CALIBRATION.proposal.neighbour_step;
    let of_form = |cell: usize| forms[cell] == Some(form);
    let mut seen = vec![false; coordinates.len()];
    let mut groups = Vec::new();
    for first in 0..coordinates.len() {
        if !of_form(first) || seen[first] {
            continue;
        }
        let mut group = vec![first];
        seen[first] = true;
        let mut next = 0;
        while next < group.len() {
            let cell = group[next];
            next += 1;
            let here = coordinates.at(cell);
            for neighbour in neighbours(cell, coordinates.width, coordinates.height) {
                let there = coordinates.at(neighbour);
                if of_form(neighbour)
                    && !seen[neighbour]
                    && (there.length - here.length).abs() < step.length
                    && (there.height - here.height).abs() < step.height
                {
                    seen[neighbour] = true;
                    group.push(neighbour);
                }
            }
        }
        if group.len() >= CALIBRATION.proposal.fewest_cells_of_flank {
            groups.push(group);
        }
    }
    groups
}

fn neighbours(cell: usize, width: usize, height: usize) -> impl Iterator<Item = usize> {
    let (x, y) = (cell % width, cell / width);
    [
        (x > 0).then(|| cell - 1),
        (x + 1 < width).then(|| cell + 1),
        (y > 0).then(|| cell - width),
        (y + 1 < height).then(|| cell + width),
    ]
    .into_iter()
    .flatten()
}

/// Terms of the smooth map: quadratic in length, linear in height.
const TERMS: usize = 6;
type Terms = SVector<f64, TERMS>;

fn terms(at: FlankPoint) -> Terms {
    let (u, v) = (at.length - 0.5, at.height - 0.5);
    Terms::from_column_slice(&[1.0, u, v, u * v, u * u, u * u * v])
}

fn propose(coordinates: &FlankCoordinateMap, cells: &[usize]) -> Option<Proposal> {
    let at: Vec<FlankPoint> = cells.iter().map(|&cell| coordinates.at(cell)).collect();
    let span = |value: fn(&FlankPoint) -> f64| {
        let mut values: Vec<f64> = at.iter().map(value).collect();
        let mut ranked = |rank: usize| *values.select_nth_unstable_by(rank, f64::total_cmp).1;
        ranked(at.len() * 97 / 100) - ranked(at.len() * 3 / 100)
    };
    let least = CALIBRATION.proposal.least_span;
    if span(|p| p.length) < least.length || span(|p| p.height) < least.height {
        return None;
    }
    let places: Vec<PhotoPoint> = cells.iter().map(|&cell| coordinates.place(cell)).collect();
    let (map, scatter_px) = smooth_map(&at, &places)?;
    let place = |length: f64, height: f64| {
        let terms = terms(FlankPoint::new(length, height));
        PhotoPoint::new(map.0.dot(&terms), map.1.dot(&terms))
    };
    let side = |height: f64| (1..8).map(move |i| (f64::from(i) / 8.0, height));
    let marked = MarkedFlank {
        corners: Corners {
            toe_root: place(0.0, 0.0),
            toe_tip: place(0.0, 1.0),
            heel_tip: place(1.0, 1.0),
            heel_root: place(1.0, 0.0),
        },
        root: side(0.0).map(|(l, h)| place(l, h)).collect(),
        tip: side(1.0).map(|(l, h)| place(l, h)).collect(),
    };
    let one_flank = scatter_px < CALIBRATION.proposal.worst_scatter * marked.length_px();
    one_flank.then(|| Proposal {
        cells: cells.len(),
        painted: carries(coordinates, cells),
        marked,
        points: part_means(&at, &places),
    })
}

/// Whether compound shows on a good part of these cells.
fn carries(coordinates: &FlankCoordinateMap, cells: &[usize]) -> bool {
    let painted = cells
        .iter()
        .filter(|&&cell| coordinates.carries_compound(cell));
    painted.count() as f64 > CALIBRATION.finding.painted_share * cells.len() as f64
}

/// The means of the cells of each part of a flank.
fn part_means(at: &[FlankPoint], places: &[PhotoPoint]) -> Vec<Correspondence> {
    let mut sums = vec![[0.0; 5]; PARTS_ALONG * PARTS_UP];
    for (point, place) in at.iter().zip(places) {
        let part = |share: f64, parts: usize| ((share * parts as f64) as usize).min(parts - 1);
        let sum =
            &mut sums[part(point.height, PARTS_UP) * PARTS_ALONG + part(point.length, PARTS_ALONG)];
        for (total, value) in
            sum.iter_mut()
                .zip([1.0, point.length, point.height, place.x, place.y])
        {
            *total += value;
        }
    }
    sums.iter()
        .filter(|sum| sum[0] >= 2.0)
        .map(|[count, length, height, x, y]| Correspondence {
            on_flank: FlankPoint::new(length / count, height / count),
            in_photo: PhotoPoint::new(x / count, y / count),
        })
        .collect()
}

/// Robust least squares of the places over the terms, three rounds of weights that fall with the
/// distance from the last map; with the median distance, pixels.
fn smooth_map(at: &[FlankPoint], places: &[PhotoPoint]) -> Option<((Terms, Terms), f64)> {
    let rows: Vec<Terms> = at.iter().map(|&point| terms(point)).collect();
    let mut weights = vec![1.0; rows.len()];
    let mut result = None;
    for _ in 0..4 {
        let mut normal = SMatrix::<f64, TERMS, TERMS>::zeros();
        let (mut right_x, mut right_y) = (Terms::zeros(), Terms::zeros());
        for ((row, place), weight) in rows.iter().zip(places).zip(&weights) {
            normal += row * row.transpose() * *weight;
            right_x += row * (place.x * weight);
            right_y += row * (place.y * weight);
        }
        for i in 0..TERMS {
            normal[(i, i)] += 1e-6 * rows.len() as f64;
        }
        let factor = normal.cholesky()?;
        let map = (factor.solve(&right_x), factor.solve(&right_y));
        let distances: Vec<f64> = rows
            .iter()
            .zip(places)
            .map(|(row, place)| {
                let (x, y) = (map.0.dot(row) - place.x, map.1.dot(row) - place.y);
                (x * x + y * y).sqrt()
            })
            .collect();
        let mut sorted = distances.clone();
        let middle = sorted.len() / 2;
        let median = *sorted.select_nth_unstable_by(middle, f64::total_cmp).1;
        let reach = CALIBRATION.proposal.reach_per_median * median.max(1e-3);
        weights = distances
            .iter()
            .map(|d| 1.0 / (1.0 + (d / reach).powi(2)))
            .collect();
        result = Some((map, median));
    }
    result
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Places of a made-up flank that bends and shrinks towards the heel.
    fn flank() -> (Vec<FlankPoint>, Vec<PhotoPoint>) {
        let at: Vec<FlankPoint> = (0..400)
            .map(|i| FlankPoint::new(f64::from(i % 40) / 39.0, f64::from(i / 40) / 9.0))
            .collect();
        let places = at
            .iter()
            .map(|p| {
                PhotoPoint::new(
                    100.0 + 200.0 * p.length,
                    50.0 + 20.0 * p.length * p.length - 40.0 * p.height * (1.0 - 0.3 * p.length),
                )
            })
            .collect();
        (at, places)
    }

    #[test]
    fn a_smooth_map_shrugs_off_mistaken_cells() {
        let (at, mut places) = flank();
        for place in places.iter_mut().step_by(9) {
            place.x += 60.0;
            place.y -= 45.0;
        }
        let (map, _) = smooth_map(&at, &places).unwrap();
        let corner = terms(FlankPoint::new(1.0, 1.0));
        let found = PhotoPoint::new(map.0.dot(&corner), map.1.dot(&corner));
        let off = found.distance(PhotoPoint::new(300.0, 42.0));
        assert!(off < 2.0, "{off}");
    }

    #[test]
    fn gathered_points_are_means_of_their_part() {
        let (at, places) = flank();
        let means = part_means(&at, &places);
        assert_eq!(means.len(), PARTS_ALONG * PARTS_UP);
        for Correspondence { on_flank, in_photo } in means {
            assert!((in_photo.x - (100.0 + 200.0 * on_flank.length)).abs() < 1e-9);
        }
    }
}
