//! The wiped patch of one flank: a soft field, and its centre, size, lean and margins.

use crate::frames::FlankPoint;

/// Half-width of the soft edge, as a share of the film: compound is bare where less than 0.75 of the
/// film is left between the flanks, untouched above 1.25. It spans two to four cells of the usual
/// grid at the edge of a usual patch, so that the centre moves smoothly with the misalignment, and
/// being even about the film it leaves the centre where the sharp edge would have it.
pub(crate) const SOFTNESS: f64 = 0.25;

/// How far compound is wiped, point by point: 1 bare … 0 untouched.
#[derive(Debug, Clone, PartialEq)]
pub struct Field {
    /// Columns, toe to heel, ends included.
    pub nu: usize,
    /// Rows, root to tip, ends included.
    pub nv: usize,
    /// Row after row from the root, each row toe to heel.
    pub wiped: Vec<f64>,
}

impl Field {
    pub(super) fn new(nu: usize, nv: usize, clearance_mm: &[f64], film_mm: f64) -> Self {
        let wiped = clearance_mm
            .iter()
            .map(|c| {
                let t = ((film_mm - c) / (2.0 * SOFTNESS * film_mm) + 0.5).clamp(0.0, 1.0);
                t * t * (3.0 - 2.0 * t)
            })
            .collect();
        Self { nu, nv, wiped }
    }

    /// Wiped share at a place of the flank, between the grid's points by bilinear interpolation.
    pub fn at(&self, place: FlankPoint) -> f64 {
        let cell = |share: f64, n: usize| {
            let x = share.clamp(0.0, 1.0) * (n - 1) as f64;
            let i = (x as usize).min(n - 2);
            (i, x - i as f64)
        };
        let ((i, s), (j, t)) = (cell(place.length, self.nu), cell(place.height, self.nv));
        let w = |i: usize, j: usize| self.wiped[j * self.nu + i];
        let low = w(i, j) + (w(i + 1, j) - w(i, j)) * s;
        let high = w(i, j + 1) + (w(i + 1, j + 1) - w(i, j + 1)) * s;
        low + (high - low) * t
    }
}

/// The contact patch of one flank, in shares of the flank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Patch {
    /// Centroid over (length, height) with equal weight.
    pub centre: FlankPoint,
    /// Size of the bounding box.
    pub extent: FlankPoint,
    /// Share of the flank's (length, height) square.
    pub area: f64,
    /// Angle of the long axis to the flank's length, positive when the heel end is nearer the tip,
    /// on the flank drawn at its true proportions, radians.
    pub lean: f64,
    /// Bare distance from the bounding box to toe, heel, tip and root.
    pub margin: Margin,
}

/// Distance from the patch to each edge of the flank, in shares of the flank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Margin {
    /// To the inner end.
    pub toe: f64,
    /// To the outer end.
    pub heel: f64,
    /// To the tip.
    pub tip: f64,
    /// To the root.
    pub root: f64,
}

/// Measures the patch; `None` when next to nothing of it is on the flank.
pub(super) fn measure(
    field: &Field,
    clearance_mm: &[f64],
    film_mm: f64,
    size_mm: [f64; 2],
) -> Option<Patch> {
    let (nu, nv) = (field.nu, field.nv);
    let edge = |i: usize, n: usize| if i == 0 || i + 1 == n { 0.5 } else { 1.0 };
    let share = |i: usize, n: usize| i as f64 / (n - 1) as f64;
    let cell = 1.0 / ((nu - 1) * (nv - 1)) as f64;
    let (mut area, mut su, mut sv, mut suu, mut svv, mut suv) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for j in 0..nv {
        let (v, wv) = (share(j, nv), edge(j, nv) * cell);
        for i in 0..nu {
            let w = field.wiped[j * nu + i] * edge(i, nu) * wv;
            if w == 0.0 {
                continue;
            }
            let u = share(i, nu);
            area += w;
            su += w * u;
            sv += w * v;
            suu += w * u * u;
            svv += w * v * v;
            suv += w * u * v;
        }
    }
    if area < 1e-4 {
        return None;
    }
    let centre = FlankPoint::new(su / area, sv / area);
    let [length_mm, height_mm] = size_mm;
    let xx = (suu / area - centre.length.powi(2)) * length_mm.powi(2);
    let yy = (svv / area - centre.height.powi(2)) * height_mm.powi(2);
    let xy = (suv / area - centre.length * centre.height) * length_mm * height_mm;
    let (low, high) = bounds(clearance_mm, film_mm, nu, nv)?;
    Some(Patch {
        centre,
        extent: FlankPoint::new(high.length - low.length, high.height - low.height),
        area,
        lean: 0.5 * (2.0 * xy).atan2(xx - yy),
        margin: Margin {
            toe: low.length,
            heel: 1.0 - high.length,
            tip: 1.0 - high.height,
            root: low.height,
        },
    })
}

/// Corners of the box around all places with less clearance than the film, between grid points by
/// straight interpolation along the grid's lines.
fn bounds(
    clearance_mm: &[f64],
    film_mm: f64,
    nu: usize,
    nv: usize,
) -> Option<(FlankPoint, FlankPoint)> {
    let mut low = FlankPoint::new(f64::INFINITY, f64::INFINITY);
    let mut high = FlankPoint::new(f64::NEG_INFINITY, f64::NEG_INFINITY);
    let (du, dv) = (1.0 / (nu - 1) as f64, 1.0 / (nv - 1) as f64);
    for j in 0..nv {
        for i in 0..nu {
            let k = j * nu + i;
            let here = film_mm - clearance_mm[k];
            if here < 0.0 {
                continue;
            }
            let (u, v) = (i as f64 * du, j as f64 * dv);
            let reach = |neighbour: usize| {
                let there = film_mm - clearance_mm[neighbour];
                if there < 0.0 {
                    here / (here - there)
                } else {
                    0.0
                }
            };
            let toe = if i > 0 { reach(k - 1) } else { 0.0 };
            let heel = if i + 1 < nu { reach(k + 1) } else { 0.0 };
            let root = if j > 0 { reach(k - nu) } else { 0.0 };
            let tip = if j + 1 < nv { reach(k + nu) } else { 0.0 };
            low.length = low.length.min(u - toe * du);
            high.length = high.length.max(u + heel * du);
            low.height = low.height.min(v - root * dv);
            high.height = high.height.max(v + tip * dv);
        }
    }
    low.length.is_finite().then_some((low, high))
}
