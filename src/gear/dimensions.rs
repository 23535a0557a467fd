//! Every size the flanks need: the card's where it gives them, derived where it does not.

use super::GearError;
use super::cones_of_pair::cones_of_pair;
use super::pitch::{PitchInput, PitchPair};
use super::set::GearSet;
use super::set_ranges::check;
use crate::schema::{Cutting, FlankForm, Hand};
use nalgebra::Vector3;
use std::f64::consts::PI;

/// A size the card left out, and what was taken instead.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Derived {
    /// The card's key.
    pub key: &'static str,
    /// The value: millimetres, radians or a count, as the key says.
    pub value: f64,
    /// How it was come by.
    pub how: &'static str,
}

/// A gear set with nothing left out. Lengths in millimetres, angles in radians.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Dimensions {
    /// z_2.
    pub ring_teeth: u32,
    /// z_1.
    pub pinion_teeth: u32,
    /// How the teeth were cut.
    pub cutting: Cutting,
    /// Whether a face-milled ring gear's flanks were generated rather than formed.
    pub generated: bool,
    /// Σ.
    pub shaft_angle: f64,
    /// Hand of the ring gear's spiral.
    pub hand: Hand,
    /// Form of the drive flank.
    pub drives_on: FlankForm,
    /// d_e2.
    pub ring_diameter_mm: f64,
    /// b_2.
    pub face_width_mm: f64,
    /// a.
    pub offset_mm: f64,
    /// β_m2.
    pub spiral_angle: f64,
    /// α_d, of both flanks, against the limit pressure angle.
    pub pressure_angle: f64,
    /// f_αlim.
    pub limit_angle_factor: f64,
    /// α_n of the convex flank, from the machine plane's normal.
    pub convex_angle: f64,
    /// α_n of the concave flank.
    pub concave_angle: f64,
    /// δ_2.
    pub pitch_angle: f64,
    /// R_m2.
    pub mean_cone_mm: f64,
    /// r_c0.
    pub cutter_radius_mm: f64,
    /// z_0; 1 for a face-milled set.
    pub blade_groups: u32,
    /// h_m.
    pub whole_depth_mm: f64,
    /// c.
    pub clearance_mm: f64,
    /// h_am2.
    pub addendum_mm: f64,
    /// θ_f2.
    pub dedendum_angle: f64,
    /// θ_a2.
    pub addendum_angle: f64,
    /// Ease-off at toe and heel.
    pub crowning_length_mm: f64,
    /// Ease-off at tip and root.
    pub crowning_height_mm: f64,
    /// Marking film.
    pub film_mm: f64,
    /// What the card left out.
    pub derived: Vec<Derived>,
}

/// Usual ease-off at both ends of the flank, mm, when the card gives none. Chosen; with the other two it makes patches as long
/// and as high as GOST 1758-81 has them (see `contact/tests/sweep.rs`).
pub(crate) const USUAL_CROWNING_LENGTH_MM: f64 = 0.040;
/// Usual ease-off at tip and root, mm, when the card gives none. Chosen, as the former.
pub(crate) const USUAL_CROWNING_HEIGHT_MM: f64 = 0.025;
/// Usual thickness of the marking film, mm, when the card gives none. Chosen, as the former, a little above the 0.006 35 mm
/// (0.000 25 in) that tooth contact analysis takes (from memory).
pub(crate) const USUAL_FILM_MM: f64 = 0.008;

impl Dimensions {
    /// Checks the card's sizes and fills in what it leaves out.
    ///
    /// # Errors
    /// [`GearError`] naming the size, why it cannot be and the nearest that can.
    pub(crate) fn new(set: &GearSet) -> Result<Self, GearError> {
        check(set)?;
        let mut taken = Taken::default();
        let (pitch_angle, mean_cone_mm) = ring_cone(set, &mut taken)?;
        let mean_radius_mm = mean_cone_mm * pitch_angle.sin();
        let module_mm = 2.0 * mean_radius_mm * set.spiral_angle.cos() / f64::from(set.ring_teeth);
        let (cutter_radius_mm, blade_groups) = cutter(set, &mut taken);
        let depth = Depth::new(set, module_mm, &mut taken)?;
        let taper = depth.taper(set, mean_cone_mm, &mut taken)?;
        let dedendum_share = (depth.whole_mm - depth.addendum_mm) / depth.whole_mm;
        let crowning_length_mm = taken.or_usual(
            set.crowning_length_mm,
            "crowning_length",
            USUAL_CROWNING_LENGTH_MM,
        );
        let crowning_height_mm = taken.or_usual(
            set.crowning_height_mm,
            "crowning_height",
            USUAL_CROWNING_HEIGHT_MM,
        );
        let film_mm = taken.or_usual(set.film_mm, "film", USUAL_FILM_MM);
        let pitch = PitchInput {
            ratio: f64::from(set.ring_teeth) / f64::from(set.pinion_teeth),
            ring_angle: pitch_angle,
            mean_cone_mm,
            ring_spiral: set.spiral_angle,
            shaft_angle: set.shaft_angle,
            offset_mm: set.offset_mm,
        };
        let limit_angle_factor = set.limit_angle_factor.unwrap_or(1.0);
        let [convex_angle, concave_angle] = flank_angles(
            set,
            limit_angle_factor,
            &PitchPair::solve(pitch)?,
            &mut taken,
        )?;
        Ok(Self {
            ring_teeth: set.ring_teeth,
            pinion_teeth: set.pinion_teeth,
            cutting: set.cutting,
            generated: set.generated,
            shaft_angle: set.shaft_angle,
            hand: set.hand,
            drives_on: set.drives_on,
            ring_diameter_mm: set.ring_diameter_mm,
            face_width_mm: set.face_width_mm,
            offset_mm: set.offset_mm,
            spiral_angle: set.spiral_angle,
            pressure_angle: set.pressure_angle,
            limit_angle_factor,
            convex_angle,
            concave_angle,
            pitch_angle,
            mean_cone_mm,
            cutter_radius_mm,
            blade_groups,
            whole_depth_mm: depth.whole_mm,
            clearance_mm: depth.clearance_mm,
            addendum_mm: depth.addendum_mm,
            dedendum_angle: taper * dedendum_share,
            addendum_angle: taper * (1.0 - dedendum_share),
            crowning_length_mm,
            crowning_height_mm,
            film_mm,
            derived: taken.derived,
        })
    }

    /// z_2 / z_1.
    pub(crate) fn ratio(&self) -> f64 {
        f64::from(self.ring_teeth) / f64::from(self.pinion_teeth)
    }

    /// What the pitch cones are found from.
    pub(crate) fn pitch_input(&self) -> PitchInput {
        PitchInput {
            ratio: self.ratio(),
            ring_angle: self.pitch_angle,
            mean_cone_mm: self.mean_cone_mm,
            ring_spiral: self.spiral_angle,
            shaft_angle: self.shaft_angle,
            offset_mm: self.offset_mm,
        }
    }

    /// α_n of a flank, from the machine plane's normal, radians.
    pub(crate) fn flank_angle(&self, form: FlankForm) -> f64 {
        match form {
            FlankForm::Convex => self.convex_angle,
            FlankForm::Concave => self.concave_angle,
        }
    }

    /// m_mn, mean normal module, mm.
    pub(crate) fn normal_module_mm(&self) -> f64 {
        2.0 * self.mean_cone_mm * self.pitch_angle.sin() * self.spiral_angle.cos()
            / f64::from(self.ring_teeth)
    }

    /// ν, lead angle of a face-hobbing cutter: `sin ν = z_0 m_mn / (2 r_c0)`.
    pub(crate) fn lead_angle(&self) -> f64 {
        (f64::from(self.blade_groups) * self.normal_module_mm() / (2.0 * self.cutter_radius_mm))
            .asin()
    }

    /// Cone distance along the pitch generatrix at a share of the face (0 toe … 1 heel), mm.
    pub(crate) fn cone_at(&self, length: f64) -> f64 {
        self.mean_cone_mm + (length - 0.5) * self.face_width_mm
    }

    /// Height above the pitch cone of a share of the local active depth (0 clearance line … 1 tip),
    /// mm.
    pub(crate) fn height_at(&self, length: f64, height: f64) -> f64 {
        let along = (length - 0.5) * self.face_width_mm;
        let tip = self.addendum_mm + along * self.addendum_angle.tan();
        let root = self.clearance_mm
            - (self.whole_depth_mm - self.addendum_mm)
            - along * self.dedendum_angle.tan();
        root + height * (tip - root)
    }

    /// How fast length and height change when a point of the flank moves, per millimetre: the gradients of
    /// the inverse of [`Self::cone_at`] and [`Self::height_at`] at a point of the flank at `height`.
    pub(crate) fn place_gradients(
        &self,
        ring_angle: f64,
        position: &Vector3<f64>,
        height: f64,
    ) -> [Vector3<f64>; 2] {
        let (sin, cos) = ring_angle.sin_cos();
        let outward = Vector3::new(position.x, position.y, 0.0).normalize();
        let along = outward * sin + Vector3::z() * cos;
        let up = outward * cos - Vector3::z() * sin;
        let length = along / self.face_width_mm;
        let share = (along.dot(position) - self.mean_cone_mm) / self.face_width_mm + 0.5;
        let depth_mm = self.height_at(share, 1.0) - self.height_at(share, 0.0);
        // Per unit of length at the same share of the depth.
        let rise_mm = self.height_at(share + 1.0, height) - self.height_at(share, height);
        [length, (up - length * rise_mm) / depth_mm]
    }
}

/// Keeps account of what the card left out.
#[derive(Default)]
struct Taken {
    derived: Vec<Derived>,
}

impl Taken {
    /// What the card gives, or the value that is taken instead, noted.
    fn or(&mut self, given: Option<f64>, key: &'static str, how: &'static str, value: f64) -> f64 {
        given.unwrap_or_else(|| {
            self.derived.push(Derived { key, value, how });
            value
        })
    }

    fn or_usual(&mut self, given: Option<f64>, key: &'static str, value: f64) -> f64 {
        self.or(given, key, "usual", value)
    }
}

/// δ_2 and R_m2 of the ring gear.
fn ring_cone(set: &GearSet, taken: &mut Taken) -> Result<(f64, f64), GearError> {
    let ratio = f64::from(set.ring_teeth) / f64::from(set.pinion_teeth);
    let pitch_angle = taken.or(
        set.pitch_angle,
        "pitch_angle",
        "as for a pair without offset",
        set.shaft_angle - set.shaft_angle.sin().atan2(ratio + set.shaft_angle.cos()),
    );
    let outer_cone_mm = 0.5 * set.ring_diameter_mm / pitch_angle.sin();
    if set.face_width_mm >= outer_cone_mm {
        return Err(GearError::FacePastApex {
            face_width_mm: set.face_width_mm,
            cone_mm: set.face_width_mm - outer_cone_mm,
            nearest_mm: 0.999 * outer_cone_mm,
        });
    }
    Ok((pitch_angle, outer_cone_mm - 0.5 * set.face_width_mm))
}

/// Flank angles from the machine plane's normal that a cutter and a tooth still make, radians.
const LEAST_FLANK_ANGLE: f64 = 2.0 * PI / 180.0;
/// See [`LEAST_FLANK_ANGLE`].
const GREATEST_FLANK_ANGLE: f64 = 50.0 * PI / 180.0;

/// α_n of the convex and the concave flank: ISO 23509, `α_nD = α_dD + f_αlim α_lim` and `α_nC = α_dC − f_αlim α_lim`,
/// where D is the flank that is convex on the ring gear.
fn flank_angles(
    set: &GearSet,
    limit_angle_factor: f64,
    pair: &PitchPair,
    taken: &mut Taken,
) -> Result<[f64; 2], GearError> {
    let limit = limit_angle_factor * cones_of_pair(pair).limit_pressure_angle(pair.offset_angle);
    let keys = ["pressure_angle_drive", "pressure_angle_coast"];
    let mut of = |form: FlankForm, about_limit: f64| {
        let side = usize::from(form != set.drives_on);
        let angle = taken.or(
            set.flank_angles[side],
            keys[side],
            "pressure angle about the limit pressure angle",
            set.pressure_angle + about_limit,
        );
        if (LEAST_FLANK_ANGLE..=GREATEST_FLANK_ANGLE).contains(&angle) {
            return Ok(angle);
        }
        let nearest = angle.clamp(LEAST_FLANK_ANGLE, GREATEST_FLANK_ANGLE) - about_limit;
        Err(GearError::OutOfRange {
            key: "pressure_angle_deg",
            value: set.pressure_angle * 180.0 / PI,
            allowed: "such that either flank, about the limit pressure angle, keeps 2° to 50°",
            nearest: nearest * 180.0 / PI,
            unit: "°",
        })
    };
    Ok([
        of(FlankForm::Convex, limit)?,
        of(FlankForm::Concave, -limit)?,
    ])
}

/// r_c0 and z_0. What is taken where the card has neither is chosen, no source.
fn cutter(set: &GearSet, taken: &mut Taken) -> (f64, u32) {
    let radius_mm = taken.or(
        set.cutter_radius_mm,
        "cutter_radius",
        "0.47 (face-hobbed 0.44) of the ring diameter",
        match set.cutting {
            Cutting::FaceMilled => 0.47 * set.ring_diameter_mm,
            Cutting::FaceHobbed => 0.44 * set.ring_diameter_mm,
        },
    );
    let blade_groups = match set.cutting {
        Cutting::FaceMilled => 1,
        Cutting::FaceHobbed => taken.or(
            set.blade_groups.map(f64::from),
            "blade_groups",
            "13, or 11 where 13 divides the ring gear's teeth",
            if set.ring_teeth.is_multiple_of(13) {
                11.0
            } else {
                13.0
            },
        ) as u32,
    };
    (radius_mm, blade_groups)
}

/// The ring gear's tooth depth at the mean point.
struct Depth {
    /// h_m.
    whole_mm: f64,
    /// c.
    clearance_mm: f64,
    /// h_am2.
    addendum_mm: f64,
}

impl Depth {
    /// What is taken for a size that the card leaves out is chosen, no source; so is the taper below.
    fn new(set: &GearSet, module_mm: f64, taken: &mut Taken) -> Result<Self, GearError> {
        let whole_mm = taken.or(
            set.whole_depth_mm,
            "whole_depth",
            "2.75 mean normal modules",
            2.75 * module_mm,
        );
        let clearance_mm = taken.or(
            set.clearance_mm,
            "clearance",
            "a tenth of the whole depth",
            0.1 * whole_mm,
        );
        let working_mm = whole_mm - clearance_mm;
        let addendum_mm = taken.or(
            set.addendum_mm,
            "addendum",
            "0.18 of the working depth",
            0.18 * working_mm,
        );
        if addendum_mm >= working_mm {
            return Err(GearError::OutOfRange {
                key: "addendum",
                value: addendum_mm,
                allowed: "less than whole depth less clearance",
                nearest: 0.9 * working_mm,
                unit: " mm",
            });
        }
        Ok(Self {
            whole_mm,
            clearance_mm,
            addendum_mm,
        })
    }

    /// Σθ_f: dedendum angle plus addendum angle of the ring gear.
    fn taper(&self, set: &GearSet, mean_cone_mm: f64, taken: &mut Taken) -> Result<f64, GearError> {
        let taper = match set.cutting {
            Cutting::FaceMilled => taken.or(
                set.taper,
                "taper",
                "a little under half the standard taper",
                0.47 * self.standard_taper(mean_cone_mm),
            ),
            Cutting::FaceHobbed => taken.or(set.taper, "taper", "uniform depth", 0.0),
        };
        let working_mm = self.whole_mm - self.clearance_mm;
        let least_depth_mm = working_mm - 0.5 * set.face_width_mm * taper.tan();
        if least_depth_mm < 0.1 * working_mm {
            let steepest = (0.9 * working_mm / (0.5 * set.face_width_mm)).atan();
            return Err(GearError::OutOfRange {
                key: "taper_deg",
                value: taper * 180.0 / PI,
                allowed: "small enough to leave a tooth at the toe",
                nearest: steepest * 180.0 / PI,
                unit: "°",
            });
        }
        Ok(taper)
    }

    /// Sum of dedendum and addendum angle when both root lines meet at the apex (ISO 23509, Annex C.5).
    fn standard_taper(&self, mean_cone_mm: f64) -> f64 {
        ((self.addendum_mm + self.clearance_mm) / mean_cone_mm).atan()
            + ((self.whole_mm - self.addendum_mm) / mean_cone_mm).atan()
    }
}
