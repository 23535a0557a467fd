//! From the flanks that were proposed to all that can be seen: the teeth of a gear stand at equal
//! angles, so one good fit says where every other flank must lie.

use super::camera::Camera;
use super::gear_fit::{GearFit, PITCHES};
use super::gear_form::Flank;
use super::known_gear::KnownGear;
use super::refit::Refit;
use crate::flank::calibration::CALIBRATION;
use crate::flank::coordinate_map::FlankCoordinateMap;
use crate::flank::correspondence::{Correspondence, PARTS_ALONG, PARTS_UP};
use crate::frames::{FlankPoint, PhotoPoint};
use crate::photo::Photo;
use crate::schema::FlankForm;
use nalgebra::Vector3;
use std::f64::consts::TAU;

/// A flank of the fitted gear as the network's coordinates show it.
#[derive(Debug, Clone)]
pub(crate) struct SeenTooth {
    /// Its place in the row of teeth, counted from the first proposed one.
    pub step: f64,
    /// Share of the flank that the coordinates show where the fit has it.
    pub visible_share: f64,
    /// Share of what is shown of it that carries compound.
    pub painted_share: f64,
    /// Share of the flank that lies within the photo.
    pub in_photo: f64,
    /// What the coordinates are over the parts of the flank.
    pub(super) parts: Vec<Part>,
}

#[cfg(test)]
impl SeenTooth {
    /// One that lies within the photo, with so much of it shown and painted.
    pub(crate) fn of_shares(step: f64, visible_share: f64, painted_share: f64) -> Self {
        Self {
            step,
            visible_share,
            painted_share,
            in_photo: 1.0,
            parts: Vec::new(),
        }
    }
}

/// The mean over the cells of a part of a flank.
#[derive(Debug, Clone, Copy)]
pub(super) struct Part {
    /// Length and height as the network has them, and where they are seen.
    pub(super) point: Correspondence,
    /// Standard deviation of length and height.
    pub(super) error: FlankPoint,
}

/// Sums over the cells of a part of a flank.
#[derive(Debug, Clone, Copy)]
struct PartSums {
    cells: f64,
    on_flank: FlankPoint,
    in_photo: PhotoPoint,
    error: FlankPoint,
}

impl PartSums {
    const NONE: Self = Self {
        cells: 0.0,
        on_flank: FlankPoint::new(0.0, 0.0),
        in_photo: PhotoPoint::new(0.0, 0.0),
        error: FlankPoint::new(0.0, 0.0),
    };

    fn add(&mut self, coordinates: &FlankCoordinateMap, cell: usize) {
        let (on_flank, in_photo) = (coordinates.at(cell), coordinates.place(cell));
        let error = coordinates.expected_error(cell);
        self.cells += 1.0;
        self.on_flank.length += on_flank.length;
        self.on_flank.height += on_flank.height;
        self.in_photo.x += in_photo.x;
        self.in_photo.y += in_photo.y;
        self.error.length += error.length;
        self.error.height += error.height;
    }

    /// Their means; of a single cell, none.
    fn mean(&self) -> Option<Part> {
        let flank_mean =
            |sum: FlankPoint| FlankPoint::new(sum.length / self.cells, sum.height / self.cells);
        (self.cells >= 2.0).then(|| Part {
            point: Correspondence {
                on_flank: flank_mean(self.on_flank),
                in_photo: PhotoPoint::new(
                    self.in_photo.x / self.cells,
                    self.in_photo.y / self.cells,
                ),
            },
            error: flank_mean(self.error),
        })
    }
}

/// Rows and columns of a flank at which the coordinates are asked.
const GRID: (usize, usize) = (8, 40);

/// Every so many points are asked whether a flank shows at all.
const PROBE_STRIDE: usize = 9;

/// Rounds of looking for teeth and fitting them.
const ROUNDS: usize = 2;

/// Fits the gear to all flanks that the network's coordinates show where teeth of equal pitch have them. `None`
/// when the flanks of `fit` do not say how far apart the teeth are.
pub(crate) fn refine(
    photo: &Photo,
    coordinates: &FlankCoordinateMap,
    known: &KnownGear,
    fit: &GearFit,
) -> Option<(GearFit, Vec<SeenTooth>)> {
    let pitch = fit.pitch()?;
    let first = fit.angles[0];
    // Flanks that were not proposed between others make the pitch look larger than it is.
    let mut tried: Vec<(f64, Vec<SeenTooth>)> = [1.0, 2.0, 3.0]
        .into_iter()
        .map(|parts| pitch / parts)
        .filter(|pitch| (PITCHES.0..PITCHES.1).contains(pitch))
        .map(|pitch| (pitch, seen_teeth(photo, coordinates, fit, first, pitch)))
        .collect();
    tried.sort_by(|a, b| support(&b.1).total_cmp(&support(&a.1)));
    tried
        .into_iter()
        .find_map(|(pitch, teeth)| settled(photo, coordinates, known, fit, (first, pitch), teeth))
}

/// The fit to the teeth that a pitch has seen, looked for again and fitted again. `None` where that does
/// not end with a row of teeth: with too small a pitch several may have been seen on one flank, and the fit
/// puts them all there.
fn settled(
    photo: &Photo,
    coordinates: &FlankCoordinateMap,
    known: &KnownGear,
    fit: &GearFit,
    (first, pitch): (f64, f64),
    mut teeth: Vec<SeenTooth>,
) -> Option<(GearFit, Vec<SeenTooth>)> {
    if teeth.len() < 2 {
        return None;
    }
    let mut at = regular(fit, first, pitch, &teeth);
    for _ in 0..ROUNDS {
        at = Refit::of(photo, known, &at, &teeth)?.free_pitch()?;
        let pitch = pitch_of(&at.angles, &teeth)?;
        let first = at.angles[0] - teeth[0].step * pitch;
        teeth = seen_teeth(photo, coordinates, &at, first, pitch);
        at = regular(&at, first, pitch, &teeth);
    }
    (teeth.len() >= 2).then_some((at, teeth))
}

/// The pitch of at least two teeth at these angles, if a ring gear can have it.
fn pitch_of(angles: &[f64], teeth: &[SeenTooth]) -> Option<f64> {
    let pitch = (angles[1] - angles[0]) / (teeth[1].step - teeth[0].step);
    (PITCHES.0..PITCHES.1).contains(&pitch).then_some(pitch)
}

/// The fit with the angles of these teeth in place of its own.
fn regular(fit: &GearFit, first: f64, pitch: f64, teeth: &[SeenTooth]) -> GearFit {
    GearFit {
        angles: teeth.iter().map(|t| first + t.step * pitch).collect(),
        ..fit.clone()
    }
}

/// How much speaks for a pitch: flanks that show nearly as well as the best ones speak for it;
/// those that show much worse, or not at all, lie between the real ones and speak against it.
fn support(teeth: &[SeenTooth]) -> f64 {
    let row = &CALIBRATION.tooth_row;
    let mut shares: Vec<f64> = teeth.iter().map(|tooth| tooth.visible_share).collect();
    shares.sort_by(|a, b| b.total_cmp(a));
    let good = shares.get(2).or(shares.first()).copied().unwrap_or(0.0);
    let ends = teeth.first().zip(teeth.last());
    let missing =
        ends.map_or(0.0, |(first, last)| last.step - first.step + 1.0) - teeth.len() as f64;
    let neutral = row.neutral_share_of_good * good;
    shares.iter().map(|share| share - neutral).sum::<f64>() - row.missing_tooth * missing
}

/// The flanks that the coordinates show, of all teeth of equal pitch.
fn seen_teeth(
    photo: &Photo,
    coordinates: &FlankCoordinateMap,
    fit: &GearFit,
    first: f64,
    pitch: f64,
) -> Vec<SeenTooth> {
    let flank = fit.flank();
    let points: Vec<GridPoint> = (0..GRID.0 * GRID.1)
        .map(|i| GridPoint::new(&flank, i / GRID.1, i % GRID.1))
        .collect();
    let most = (TAU / pitch / 2.0) as i32;
    let teeth: Vec<SeenTooth> = (-most..=most)
        .map(|step| {
            let step = f64::from(step);
            let camera = fit.camera.before_turned(first + step * pitch);
            seen_tooth(photo, coordinates, fit.kind.form, step, &camera, &points)
        })
        .collect();
    row_about_the_best(teeth)
}

/// A point of a flank at which the coordinates are asked.
struct GridPoint {
    at: FlankPoint,
    /// Which part it belongs to.
    part: usize,
    /// Where in space on the tooth at angle 0.
    solid: Vector3<f64>,
}

impl GridPoint {
    fn new(flank: &Flank, row: usize, column: usize) -> Self {
        let at = FlankPoint::new(
            (column as f64 + 0.5) / GRID.1 as f64,
            (row as f64 + 0.5) / GRID.0 as f64,
        );
        Self {
            at,
            part: (row * PARTS_UP / GRID.0) * PARTS_ALONG + column * PARTS_ALONG / GRID.1,
            solid: flank.point(0.0, at),
        }
    }
}

/// The teeth about those that show best, as far as they show on both sides: beyond a gap they are
/// small and far off.
fn row_about_the_best(mut teeth: Vec<SeenTooth>) -> Vec<SeenTooth> {
    let three = |i: usize| -> f64 {
        let near = i.saturating_sub(1)..(i + 2).min(teeth.len());
        teeth[near].iter().map(|tooth| tooth.visible_share).sum()
    };
    let Some(best) = (0..teeth.len()).max_by(|&a, &b| three(a).total_cmp(&three(b))) else {
        return teeth;
    };
    let least = CALIBRATION.tooth_row.fitted_visible_share;
    let shows = |i: usize| {
        let tooth = teeth.get(i);
        tooth.is_some_and(|tooth| tooth.visible_share > least)
    };
    // One flank that does not show is no gap: a glint or a rag may hide it.
    let after = (best..teeth.len())
        .find(|&i| !(shows(i) || shows(i + 1)))
        .unwrap_or(teeth.len());
    let before = (0..=best)
        .rev()
        .find(|&i| !(shows(i) || i > 0 && shows(i - 1)));
    let first = before.map_or(0, |i| i + 1);
    teeth.truncate(after.max(first));
    teeth.drain(..first);
    teeth.retain(|tooth| tooth.visible_share > least);
    teeth
}

/// What the coordinates show of the flank that the camera has at `points`.
fn seen_tooth(
    photo: &Photo,
    coordinates: &FlankCoordinateMap,
    form: FlankForm,
    step: f64,
    camera: &Camera,
    points: &[GridPoint],
) -> SeenTooth {
    let mut sums = [PartSums::NONE; PARTS_UP * PARTS_ALONG];
    let (mut visible, mut painted, mut inside) = (0, 0, 0);
    let same_flank = CALIBRATION.tooth_row.same_flank;
    let cell_showing = |at: FlankPoint, place: PhotoPoint| {
        coordinates.cell_at(place).filter(|&cell| {
            let seen = coordinates.at(cell);
            (seen.length - at.length).abs() <= same_flank.length
                && (seen.height - at.height).abs() <= same_flank.height
                && coordinates.form(cell) == Some(form)
        })
    };
    // Most teeth of a gear do not show: a few points tell.
    let shows = |point: &GridPoint| cell_showing(point.at, camera.project(point.solid)).is_some();
    let probed = if points.iter().step_by(PROBE_STRIDE).any(shows) {
        points
    } else {
        &[]
    };
    for &GridPoint { at, part, solid } in probed {
        let point = camera.project(solid);
        inside += usize::from(photo.contains(point));
        if let Some(cell) = cell_showing(at, point) {
            visible += 1;
            painted += i32::from(coordinates.carries_compound(cell));
            sums[part].add(coordinates, cell);
        }
    }
    let cells = points.len() as f64;
    SeenTooth {
        step,
        visible_share: f64::from(visible) / cells,
        painted_share: f64::from(painted) / f64::from(visible.max(1)),
        in_photo: inside as f64 / cells,
        parts: sums.iter().filter_map(PartSums::mean).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn teeth_on_one_flank_have_no_pitch() {
        let tooth = |step| SeenTooth::of_shares(step, 1.0, 1.0);
        let teeth = [tooth(-1.0), tooth(1.0)];
        let apart = pitch_of(&[0.3, 0.3 + 2.0 * TAU / 41.0], &teeth).unwrap();
        assert!((apart - TAU / 41.0).abs() < 1e-12);
        for angles in [[0.3, 0.3], [0.3, 0.3001], [0.3, -0.1], [0.3, 1.3]] {
            assert_eq!(pitch_of(&angles, &teeth), None, "{angles:?}");
        }
    }
}
