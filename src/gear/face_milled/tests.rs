//! Generated flanks against published points, and against each other.

use super::*;
use crate::gear::flank::Surface;
use nalgebra::Isometry3;
use nalgebra::{Translation3, UnitQuaternion};

/// Machine settings as NASA CR-191009 (Bibel, Reddy, Kumar, 1994), pp. 4–6, gives them, as quoted in
/// another program's tests; inches and degrees. The lengths stay in inches here: the surface does not mind its unit.
pub(crate) struct Settings {
    /// +1 pinion, −1 gear.
    hand: f64,
    /// +1 convex, −1 concave.
    away: f64,
    radius: f64,
    cradle: f64,
    blade: f64,
    radial: f64,
    ratio: f64,
    offset: f64,
    back: f64,
    dedendum: f64,
    pub(crate) pitch: f64,
}

impl Settings {
    pub(crate) fn flank(&self) -> GeneratedFlank {
        let (q, psi) = (self.cradle.to_radians(), self.blade.to_radians());
        let (ded, pitch) = (self.dedendum.to_radians(), self.pitch.to_radians());
        let turn = |axis: Vector3<f64>, angle: f64| {
            Isometry3::from_parts(
                Translation3::identity(),
                UnitQuaternion::from_scaled_axis(axis * angle),
            )
        };
        let shift = |x, y, z| Isometry3::translation(x, y, z);
        let to_blank = turn(Vector3::y(), pitch)
            * shift(
                -self.back * ded.sin(),
                self.hand * self.offset,
                self.back * ded.cos(),
            )
            * turn(Vector3::y(), -ded);
        let to_machine = shift(
            0.0,
            -self.hand * self.radial * q.sin(),
            self.radial * q.cos(),
        ) * turn(Vector3::x(), self.hand * q);
        let cutter = to_blank * to_machine;
        GeneratedFlank {
            cutter: CutterCone {
                centre: (cutter * nalgebra::Point3::origin()).coords,
                first: cutter * Vector3::z(),
                second: cutter * Vector3::y(),
                axis: cutter * Vector3::x(),
                radius_mm: self.radius,
                slope: -psi.tan(),
                away: self.away,
            },
            cradle_point: (to_blank * nalgebra::Point3::origin()).coords,
            cradle_axis: Unit::new_normalize(to_blank * Vector3::x() * -self.hand),
            blank_per_cradle: self.hand / self.ratio,
        }
    }
}

pub(crate) const PINION: Settings = Settings {
    hand: 1.0,
    away: -1.0,
    radius: 2.965_621_378_06,
    cradle: 63.942_030_463_5,
    blade: 161.954_330_248,
    radial: 2.947_802_029_69,
    ratio: 0.308_385_127_09,
    offset: 0.154_575_896,
    back: 0.038_499_997_787_4,
    dedendum: 1.566_666_7,
    pitch: 18.433_333_3,
};
const GEAR: Settings = Settings {
    hand: -1.0,
    radius: 3.0325,
    cradle: 59.234_202_3,
    blade: 158.0,
    radial: 2.859_950_046_91,
    ratio: 0.950_864_6,
    offset: 0.0,
    back: 0.0,
    dedendum: 3.883_333_3,
    pitch: 71.566_666_7,
    ..PINION
};

pub(crate) const GEAR_CONVEX: Settings = Settings {
    away: 1.0,
    radius: 2.9675,
    blade: 22.0,
    ..GEAR
};

impl Settings {
    /// Distance from the cutter cone's apex, along the generatrix, to the place that cuts a point: the published
    /// coordinate u, inches.
    pub(crate) fn generatrix(&self, angle: f64, roll: f64) -> f64 {
        let flank = self.flank();
        let (.., height) = flank.cut(angle, roll).expect("a point of the flank");
        (self.radius + flank.cutter.slope * height) / self.blade.to_radians().sin()
    }
}

/// NASA CR-191009, pp. 9–11, as quoted: flank points on the root line at the toe, inches.
#[test]
fn flank_points_of_nasa_cr_191009() {
    let pinion_b = Settings {
        away: 1.0,
        radius: 3.071_306_157,
        cradle: 53.925_994_546_7,
        blade: 24.337_423_854,
        radial: 2.801_049_46,
        ratio: 0.322_042_853_6,
        offset: -0.174_261_594_93,
        back: -0.051_813_822_7,
        ..PINION
    };
    // Settings, clearance, published point, published start (θ, φ) in degrees.
    let rows = [
        (
            PINION,
            0.03,
            [
                0.794_818_589_333_792,
                0.151_877_187_650_515_8,
                2.565_573_009_266_192,
            ],
            [126.835_44, -0.858_13],
        ),
        (
            pinion_b,
            0.03,
            [
                0.709_346_317_842_243_9,
                0.389_398_345_454_677_2,
                2.565_573_009_266_191,
            ],
            [124.436_89, -11.386_63],
        ),
        (
            GEAR,
            0.0366,
            [
                2.474_433_967_420_987,
                -0.339_565_332_737_207,
                0.985_635_879_846_902_3,
            ],
            [233.989_94, -0.350_63],
        ),
        (
            GEAR_CONVEX,
            0.0366,
            [
                2.487_328_996_883_535,
                -0.226_544_776_117_317_2,
                0.985_635_879_846_903_3,
            ],
            [234.954_51, -12.338_4],
        ),
    ];
    let (mean_cone, face) = (3.191, 1.0);
    for (settings, clearance, published, start) in rows {
        let [theta, phi]: [f64; 2] = start;
        let root_angle = (settings.pitch - settings.dedendum).to_radians();
        let toe = (mean_cone - 0.5 * face) * settings.dedendum.to_radians().cos();
        let z = toe * root_angle.cos() - clearance * root_angle.sin();
        let r = z * root_angle.tan() + clearance / root_angle.cos();
        let (sin, cos) = settings.pitch.to_radians().sin_cos();
        let surface = Surface::Generated(settings.flank());
        let (point, _) = surface
            .locate(
                settings.pitch.to_radians(),
                r * sin + z * cos,
                r * cos - z * sin,
                [theta.to_radians(), phi.to_radians()],
            )
            .expect("the toe's root point");
        let miss = (point.position - Vector3::from(published)).abs().max();
        assert!(miss < 1e-6, "{:?} {published:?}", point.position);
        // The normal stands square on the surface.
        assert!((point.normal.norm() - 1.0).abs() < 1e-12);
    }
}

/// Two members with intersecting axes cut by the same crown gear are exactly conjugate (principle of
/// NASA TM-101449, Chang, Huston, Coy, 1989): transmission error 0.
struct CrownPair {
    gear: GeneratedFlank,
    pinion: GeneratedFlank,
    gear_angle: f64,
    pinion_angle: f64,
    /// From the gear's frame to the pinion's when both stand at 0.
    to_pinion: Rotation3<f64>,
}

impl CrownPair {
    /// 12 × 36 teeth, mean cone distance 81 mm, spiral 35°, cutter 76.2 mm, pressure angle 20°; the
    /// pinion's blade may be made to differ.
    fn new(pinion_slope: f64) -> Self {
        let gear_angle = 3f64.atan();
        let pinion_angle = std::f64::consts::FRAC_PI_2 - gear_angle;
        let (mean_mm, spiral) = (81.0, 35f64.to_radians());
        // The crown gear lies in the pitch plane, its axis square to it.
        let member = |angle: f64, side: f64, slope: f64| {
            let (sin, cos) = angle.sin_cos();
            let generatrix = Vector3::new(sin, 0.0, cos);
            let across = Vector3::y() * side;
            let first = generatrix * spiral.sin() - across * spiral.cos();
            let outward = Vector3::new(cos, 0.0, -sin);
            GeneratedFlank {
                cutter: CutterCone {
                    centre: generatrix * mean_mm - first * 76.2,
                    first,
                    second: generatrix * spiral.cos() + across * spiral.sin(),
                    axis: outward * side,
                    radius_mm: 76.2,
                    slope,
                    away: side,
                },
                cradle_point: Vector3::zeros(),
                cradle_axis: Unit::new_normalize(-outward),
                blank_per_cradle: 1.0 / angle.sin(),
            }
        };
        // The pinion lies on the other side of the pitch plane: its outward normal is the gear's
        // inward one, and its y runs the other way.
        let slope = -20f64.to_radians().tan();
        let (sin, cos) = gear_angle.sin_cos();
        let (sin1, cos1) = pinion_angle.sin_cos();
        let basis = |g: Vector3<f64>, t: Vector3<f64>, n: Vector3<f64>| {
            nalgebra::Matrix3::from_columns(&[g, t, n])
        };
        let gear_basis = basis(
            Vector3::new(sin, 0.0, cos),
            Vector3::y(),
            Vector3::new(cos, 0.0, -sin),
        );
        let pinion_basis = basis(
            Vector3::new(sin1, 0.0, cos1),
            -Vector3::y(),
            -Vector3::new(cos1, 0.0, -sin1),
        );
        Self {
            gear: member(gear_angle, 1.0, slope),
            pinion: member(pinion_angle, -1.0, pinion_slope),
            gear_angle,
            pinion_angle,
            to_pinion: Rotation3::from_matrix_unchecked(pinion_basis * gear_basis.transpose()),
        }
    }

    /// How far the pinion (radians of its rotation) is from touching a gear point in the place the
    /// point has when the gear has turned by `gear_turn`; 0 for contact at the nominal ratio.
    fn lag(&self, point: &Vector3<f64>, gear_turn: f64, start: [f64; 2]) -> f64 {
        let in_space = Rotation3::from_axis_angle(&Vector3::z_axis(), gear_turn) * point;
        let seen = self.to_pinion * in_space;
        let (sin, cos) = self.pinion_angle.sin_cos();
        let r = seen.xy().norm();
        let surface = Surface::Generated(self.pinion.clone());
        let (met, _) = surface
            .locate(
                self.pinion_angle,
                r * sin + seen.z * cos,
                r * cos - seen.z * sin,
                start,
            )
            .expect("a pinion point at this radius");
        // In the pinion's frame the crown turns the other way, and so does the pinion.
        let ratio = self.gear_angle.sin() / self.pinion_angle.sin();
        let nominal = -gear_turn * ratio;
        seen.y.atan2(seen.x) - met.position.y.atan2(met.position.x) - nominal
    }
}

#[test]
fn members_cut_by_one_crown_gear_run_without_transmission_error() {
    let pair = CrownPair::new(-20f64.to_radians().tan());
    let mut met = 0;
    for roll in [-0.12, -0.06, 0.0, 0.05, 0.1] {
        let gear_turn = roll * pair.gear.blank_per_cradle;
        for angle in [-0.12, -0.05, 0.0, 0.06, 0.12] {
            let (point, _) = pair.gear.point(angle, roll).expect("a gear point");
            let lag = pair.lag(&point, gear_turn, [angle, -roll]);
            assert!(lag.abs() < 1e-9, "{roll} {angle}: {lag}");
            met += 1;
        }
    }
    assert_eq!(met, 25);
}

/// A pinion blade half a degree off breaks the line contact: away from the pitch cone the lag is no
/// longer 0, and grows evenly with the change.
#[test]
fn another_pinion_blade_shows_as_transmission_error() {
    let lag = |degrees: f64| {
        let pair = CrownPair::new(-degrees.to_radians().tan());
        let (point, _) = pair.gear.point(0.05, 0.08).expect("a gear point");
        pair.lag(&point, 0.08 * pair.gear.blank_per_cradle, [0.05, -0.08])
    };
    let (small, large) = (lag(20.25), lag(20.5));
    assert!(large.abs() > 1e-4, "{large}");
    assert!((large / small - 2.0).abs() < 0.1, "{small} {large}");
}
