//! From the flanks that were proposed to all that can be seen: the teeth of a gear stand at equal
//! angles, so one good fit says where every other flank must lie.

use super::camera::Camera;
use super::fit::{GearFit, SEEN_WEIGHT, usual_focal};
use super::gear_form::{Flank, RingForm, SHAPE_NUMBERS};
use super::problem::{CAMERA_NUMBERS, SeenFlank, Sight, Sights};
use crate::flank::coordinate_map::FlankCoordinateMap;
use crate::flank::occlusion::PITCHES;
use crate::frames::{FlankPoint, PhotoPoint};
use crate::photo::Photo;
use crate::schema::FlankForm;
use nalgebra::{Matrix2, Vector2, Vector3};
use std::f64::consts::TAU;

/// A flank of the fitted gear as the fields show it.
#[derive(Debug, Clone)]
pub(crate) struct SeenTooth {
    /// Its place in the row of teeth, counted from the first proposed one.
    pub step: f64,
    /// Share of the flank that the fields show where the fit has it.
    pub share: f64,
    /// Share of the flank that lies within the photo.
    pub in_photo: f64,
    /// What the fields say over the parts of the flank.
    parts: Vec<Part>,
}

/// The mean over a part of a flank of what its cells say.
#[derive(Debug, Clone, Copy)]
struct Part {
    /// Length and height as the network has them.
    said: FlankPoint,
    /// Where in the photo.
    place: PhotoPoint,
    /// Standard deviation of what it says.
    error: FlankPoint,
}

/// Rows and columns of a flank at which the fields are asked, and of the parts they are gathered
/// into.
const GRID: (usize, usize) = (8, 40);
const PARTS: (usize, usize) = (4, 10);

/// Every so many points are asked whether a flank shows at all.
const A_FEW: usize = 9;

/// Farther than this from what the fit says, a cell speaks of another flank.
const ANOTHER: FlankPoint = FlankPoint::new(0.2, 0.4);

/// A flank takes part in the fit when this share of it is shown.
const SHOWN: f64 = 0.55;

/// Rounds of looking for teeth and fitting them.
const ROUNDS: usize = 2;

/// Fits the gear to all flanks that the fields show where teeth of equal pitch have them. `None`
/// when the flanks of `fit` do not say how far apart the teeth are.
pub(crate) fn refine(
    photo: &Photo,
    fields: &FlankCoordinateMap,
    fit: &GearFit,
) -> Option<(GearFit, Vec<SeenTooth>)> {
    let pitch = fit.pitch()?;
    let first = fit.angles[0];
    // Flanks that were not proposed between others make the pitch look larger than it is.
    let mut tried: Vec<(f64, Vec<SeenTooth>)> = [1.0, 2.0, 3.0]
        .into_iter()
        .map(|parts| pitch / parts)
        .filter(|pitch| (PITCHES.0..PITCHES.1).contains(pitch))
        .map(|pitch| (pitch, seen_teeth(photo, fields, fit, first, pitch)))
        .collect();
    tried.sort_by(|a, b| support(&b.1).total_cmp(&support(&a.1)));
    tried
        .into_iter()
        .find_map(|(pitch, teeth)| settled(photo, fields, fit, first, pitch, teeth))
}

/// The fit to the teeth that a pitch has seen, looked for again and fitted again. `None` where that does
/// not end with a row of teeth: with too small a pitch several may have been seen on one flank, and the fit
/// puts them all there.
fn settled(
    photo: &Photo,
    fields: &FlankCoordinateMap,
    fit: &GearFit,
    first: f64,
    pitch: f64,
    mut teeth: Vec<SeenTooth>,
) -> Option<(GearFit, Vec<SeenTooth>)> {
    if teeth.len() < 2 {
        return None;
    }
    let mut at = regular(fit, first, pitch, &teeth);
    for _ in 0..ROUNDS {
        at = refit(photo, &at, &teeth)?;
        let pitch = pitch_of(&at.angles, &teeth)?;
        let first = at.angles[0] - teeth[0].step * pitch;
        teeth = seen_teeth(photo, fields, &at, first, pitch);
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
    let mut shares: Vec<f64> = teeth.iter().map(|tooth| tooth.share).collect();
    shares.sort_by(|a, b| b.total_cmp(a));
    let good = shares.get(2).or(shares.first()).copied().unwrap_or(0.0);
    let row = teeth.first().zip(teeth.last());
    let missing =
        row.map_or(0.0, |(first, last)| last.step - first.step + 1.0) - teeth.len() as f64;
    shares.iter().map(|share| share - 0.7 * good).sum::<f64>() - 0.3 * missing
}

/// The flanks that the fields show, of all teeth of equal pitch.
fn seen_teeth(
    photo: &Photo,
    fields: &FlankCoordinateMap,
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
            seen_tooth(photo, fields, fit.kind.form, step, &camera, &points)
        })
        .collect();
    row_about_the_best(teeth)
}

/// A point of a flank at which the fields are asked.
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
            part: (row * PARTS.0 / GRID.0) * PARTS.1 + column * PARTS.1 / GRID.1,
            solid: flank.point(0.0, at),
        }
    }
}

/// The teeth about those that show best, as far as they show on both sides: beyond a gap they are
/// small and far off.
fn row_about_the_best(mut teeth: Vec<SeenTooth>) -> Vec<SeenTooth> {
    let three = |i: usize| -> f64 {
        let near = i.saturating_sub(1)..(i + 2).min(teeth.len());
        teeth[near].iter().map(|tooth| tooth.share).sum()
    };
    let Some(best) = (0..teeth.len()).max_by(|&a, &b| three(a).total_cmp(&three(b))) else {
        return teeth;
    };
    let shows = |i: usize| teeth.get(i).is_some_and(|tooth| tooth.share > SHOWN);
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
    teeth.retain(|tooth| tooth.share > SHOWN);
    teeth
}

/// What the fields show of the flank that the camera has at `points`.
fn seen_tooth(
    photo: &Photo,
    fields: &FlankCoordinateMap,
    form: FlankForm,
    step: f64,
    camera: &Camera,
    points: &[GridPoint],
) -> SeenTooth {
    let mut sums = [[0.0; 7]; PARTS.0 * PARTS.1];
    let (mut shown, mut inside) = (0, 0);
    let cell_showing = |at: FlankPoint, place: PhotoPoint| {
        fields.cell_at(place).filter(|&cell| {
            let said = fields.at(cell);
            (said.length - at.length).abs() <= ANOTHER.length
                && (said.height - at.height).abs() <= ANOTHER.height
                && fields.form(cell) == Some(form)
        })
    };
    // Most teeth of a gear do not show: a few points tell.
    let shows = |point: &GridPoint| cell_showing(point.at, camera.project(point.solid)).is_some();
    let looked_at = if points.iter().step_by(A_FEW).any(shows) {
        points
    } else {
        &[]
    };
    for &GridPoint { at, part, solid } in looked_at {
        let point = camera.project(solid);
        inside += usize::from(photo.contains(point));
        let Some(cell) = cell_showing(at, point) else {
            continue;
        };
        shown += 1;
        let (said, seen, error) = (
            fields.at(cell),
            fields.place(cell),
            fields.expected_error(cell),
        );
        let values = [
            1.0,
            said.length,
            said.height,
            seen.x,
            seen.y,
            error.length,
            error.height,
        ];
        for (sum, value) in sums[part].iter_mut().zip(values) {
            *sum += value;
        }
    }
    let cells = points.len() as f64;
    SeenTooth {
        step,
        share: f64::from(shown) / cells,
        in_photo: inside as f64 / cells,
        parts: sums
            .iter()
            .filter(|sum| sum[0] >= 2.0)
            .map(|sum| {
                let mean = |i: usize| sum[i] / sum[0];
                Part {
                    said: FlankPoint::new(mean(1), mean(2)),
                    place: PhotoPoint::new(mean(3), mean(4)),
                    error: FlankPoint::new(mean(5), mean(6)),
                }
            })
            .collect(),
    }
}

/// The gear, camera, first angle and pitch that explain the parts best.
fn refit(photo: &Photo, fit: &GearFit, teeth: &[SeenTooth]) -> Option<GearFit> {
    if teeth.len() < 2 {
        return None;
    }
    let flank = fit.flank();
    let slopes: Vec<Vec<Matrix2<f64>>> = teeth
        .iter()
        .zip(&fit.angles)
        .map(|(tooth, &angle)| {
            let place = |at: FlankPoint| fit.camera.project(flank.point(angle, at));
            let parts = tooth.parts.iter();
            parts.map(|part| slope(place, part.said)).collect()
        })
        .collect();
    let (focal_px, focal_log_spread) = usual_focal(photo);
    let origin = fit.camera.origin;
    let pitch = (fit.angles[1] - fit.angles[0]) / (teeth[1].step - teeth[0].step);
    let first = fit.angles[0] - teeth[0].step * pitch;
    let mut start = vec![
        0.0,
        0.0,
        0.0,
        origin.x / origin.z,
        origin.y / origin.z,
        origin.z.ln(),
        fit.camera.focal_px.ln(),
        first,
        pitch,
    ];
    start.extend_from_slice(&fit.offsets);
    let seen_flank = |(seen, slopes): (&SeenTooth, &Vec<Matrix2<f64>>)| {
        let weight = (seen.parts.len() as f64 / SEEN_WEIGHT).sqrt();
        let sight = |(part, slope): (&Part, &Matrix2<f64>)| Sight {
            at: part.said,
            seen: part.place,
            tolerance: Matrix2::from_diagonal(&Vector2::new(
                1.0 / (part.error.length * weight),
                1.0 / (part.error.height * weight),
            )) * slope,
        };
        SeenFlank {
            angle: [(0, 1.0), (1, seen.step)],
            sights: seen.parts.iter().zip(slopes).map(sight).collect(),
        }
    };
    let sights = Sights {
        flanks: teeth.iter().zip(&slopes).map(seen_flank).collect(),
        doubtful: true,
        kind: fit.kind,
        rotation: fit.camera.rotation,
        centre: fit.camera.centre,
        focal_log: (focal_px.ln(), focal_log_spread),
        // Only the first tooth is held.
        held: (vec![1.0, 0.0], first),
    };
    let end = sights.explain(start, 25).at;
    let mut found = fit.clone();
    found.camera = sights.camera(&end);
    found.angles = teeth
        .iter()
        .map(|tooth| end[CAMERA_NUMBERS] + tooth.step * end[CAMERA_NUMBERS + 1])
        .collect();
    found
        .offsets
        .copy_from_slice(&end[CAMERA_NUMBERS + 2..][..SHAPE_NUMBERS]);
    found.form = RingForm::from_offsets(&found.offsets);
    let (mut square, mut count) = (0.0, 0.0);
    for ((tooth, seen), slopes) in teeth.iter().enumerate().zip(&slopes) {
        for (part, slope) in seen.parts.iter().zip(slopes) {
            let placed = found.place(tooth, part.said);
            let away = slope * Vector2::new(part.place.x - placed.x, part.place.y - placed.y);
            // Heights in flank lengths, as the misfit counts.
            square += away.x.powi(2) + (away.y * found.form.depth_over_length()).powi(2);
            count += 1.0;
        }
    }
    found.misfit = (square / f64::max(count, 1.0)).sqrt();
    found.misfit.is_finite().then_some(found)
}

/// Steps in the photo → steps of length and height, about a point of a flank that falls in the photo as
/// `place` says.
fn slope(place: impl Fn(FlankPoint) -> PhotoPoint, about: FlankPoint) -> Matrix2<f64> {
    const STEP: f64 = 0.02;
    let at = |length: f64, height: f64| {
        place(FlankPoint::new(
            about.length + length,
            about.height + height,
        ))
    };
    let (back, on) = (at(-STEP, 0.0), at(STEP, 0.0));
    let (low, high) = (at(0.0, -STEP), at(0.0, STEP));
    let per = 1.0 / (2.0 * STEP);
    Matrix2::new(
        (on.x - back.x) * per,
        (high.x - low.x) * per,
        (on.y - back.y) * per,
        (high.y - low.y) * per,
    )
    .try_inverse()
    .unwrap_or_else(Matrix2::zeros)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn teeth_on_one_flank_have_no_pitch() {
        let tooth = |step| SeenTooth {
            step,
            share: 1.0,
            in_photo: 1.0,
            parts: Vec::new(),
        };
        let teeth = [tooth(-1.0), tooth(1.0)];
        let apart = pitch_of(&[0.3, 0.3 + 2.0 * TAU / 41.0], &teeth).unwrap();
        assert!((apart - TAU / 41.0).abs() < 1e-12);
        for angles in [[0.3, 0.3], [0.3, 0.3001], [0.3, -0.1], [0.3, 1.3]] {
            assert_eq!(pitch_of(&angles, &teeth), None, "{angles:?}");
        }
    }
}
