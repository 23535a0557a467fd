//! Every size the flanks need: the card's where it gives them, derived where it does not.

use super::GearError;
use super::pitch::PitchInput;
use super::set::GearSet;
use crate::schema::{Cutting, FlankForm, Hand};
use std::f64::consts::PI;

/// A size the card left out, and what was taken instead.
#[derive(Debug, Clone, PartialEq)]
pub struct Derived {
    /// The card's key.
    pub key: &'static str,
    /// The value: millimetres, radians or a count, as the key says.
    pub value: f64,
    /// How it was come by.
    pub how: &'static str,
}

/// A gear set with nothing left out. Lengths in millimetres, angles in radians.
#[derive(Debug, Clone, PartialEq)]
pub struct Dimensions {
    /// z_2.
    pub ring_teeth: u32,
    /// z_1.
    pub pinion_teeth: u32,
    /// How the teeth were cut.
    pub cutting: Cutting,
    /// Whether a face-milled ring gear's flanks were generated (rolled) rather than formed.
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
    /// α, of both flanks, from the machine plane's normal.
    pub pressure_angle: f64,
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

/// Usual ease-off at both ends of the flank, mm, when the card gives none.
pub const USUAL_CROWNING_LENGTH_MM: f64 = 0.040;
/// Usual ease-off at tip and root, mm, when the card gives none.
pub const USUAL_CROWNING_HEIGHT_MM: f64 = 0.025;
/// Usual thickness of the marking film, mm, when the card gives none.
pub const USUAL_FILM_MM: f64 = 0.008;

impl Dimensions {
    /// Checks the card's sizes and fills in what it leaves out.
    ///
    /// # Errors
    /// [`GearError`] naming the size, why it cannot be and the nearest that can.
    pub fn new(set: &GearSet) -> Result<Self, GearError> {
        check(set)?;
        let mut derived = Vec::new();
        let mut take = |given: Option<f64>, key, how, value: f64| {
            given.unwrap_or_else(|| {
                derived.push(Derived { key, value, how });
                value
            })
        };
        let ratio = f64::from(set.ring_teeth) / f64::from(set.pinion_teeth);
        let pitch_angle = take(
            set.pitch_angle,
            "pitch_angle",
            "as for a pair without offset",
            set.shaft_angle - set.shaft_angle.sin().atan2(ratio + set.shaft_angle.cos()),
        );
        let outer_cone_mm = 0.5 * set.ring_diameter_mm / pitch_angle.sin();
        let mean_cone_mm = outer_cone_mm - 0.5 * set.face_width_mm;
        if set.face_width_mm >= outer_cone_mm {
            return Err(GearError::FacePastApex {
                face_width_mm: set.face_width_mm,
                cone_mm: set.face_width_mm - outer_cone_mm,
                nearest_mm: 0.999 * outer_cone_mm,
            });
        }
        let mean_radius_mm = mean_cone_mm * pitch_angle.sin();
        let module_mm = 2.0 * mean_radius_mm * set.spiral_angle.cos() / f64::from(set.ring_teeth);
        let cutter_radius_mm = take(
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
            Cutting::FaceHobbed => take(
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
        let whole_depth_mm = take(
            set.whole_depth_mm,
            "whole_depth",
            "2.75 mean normal modules",
            2.75 * module_mm,
        );
        let clearance_mm = take(
            set.clearance_mm,
            "clearance",
            "a tenth of the whole depth",
            0.1 * whole_depth_mm,
        );
        let working_mm = whole_depth_mm - clearance_mm;
        let addendum_mm = take(
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
        let taper = match set.cutting {
            Cutting::FaceMilled => take(
                set.taper,
                "taper",
                "a little under half the standard taper",
                0.47 * standard_taper(whole_depth_mm, clearance_mm, addendum_mm, mean_cone_mm),
            ),
            Cutting::FaceHobbed => take(set.taper, "taper", "uniform depth", 0.0),
        };
        let dedendum_share = (whole_depth_mm - addendum_mm) / whole_depth_mm;
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
        let crowning_length_mm = take(
            set.crowning_length_mm,
            "crowning_length",
            "usual",
            USUAL_CROWNING_LENGTH_MM,
        );
        let crowning_height_mm = take(
            set.crowning_height_mm,
            "crowning_height",
            "usual",
            USUAL_CROWNING_HEIGHT_MM,
        );
        let film_mm = take(set.film_mm, "film", "usual", USUAL_FILM_MM);
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
            pitch_angle,
            mean_cone_mm,
            cutter_radius_mm,
            blade_groups,
            whole_depth_mm,
            clearance_mm,
            addendum_mm,
            dedendum_angle: taper * dedendum_share,
            addendum_angle: taper * (1.0 - dedendum_share),
            crowning_length_mm,
            crowning_height_mm,
            film_mm,
            derived,
        })
    }

    /// z_2 / z_1.
    pub fn ratio(&self) -> f64 {
        f64::from(self.ring_teeth) / f64::from(self.pinion_teeth)
    }

    /// What the pitch cones are found from.
    pub fn pitch_input(&self) -> PitchInput {
        PitchInput {
            ratio: self.ratio(),
            ring_angle: self.pitch_angle,
            mean_cone_mm: self.mean_cone_mm,
            ring_spiral: self.spiral_angle,
            shaft_angle: self.shaft_angle,
            offset_mm: self.offset_mm,
        }
    }

    /// m_mn, mean normal module, mm.
    pub fn normal_module_mm(&self) -> f64 {
        2.0 * self.mean_cone_mm * self.pitch_angle.sin() * self.spiral_angle.cos()
            / f64::from(self.ring_teeth)
    }

    /// ν, lead angle of a face-hobbing cutter: `sin ν = z_0 m_mn / (2 r_c0)`.
    pub fn lead_angle(&self) -> f64 {
        (f64::from(self.blade_groups) * self.normal_module_mm() / (2.0 * self.cutter_radius_mm))
            .asin()
    }

    /// Cone distance along the pitch generatrix at a share of the face (0 toe … 1 heel), mm.
    pub fn cone_at(&self, length: f64) -> f64 {
        self.mean_cone_mm + (length - 0.5) * self.face_width_mm
    }

    /// Height above the pitch cone of a share of the local active depth (0 clearance line … 1 tip),
    /// mm.
    pub fn height_at(&self, length: f64, height: f64) -> f64 {
        let along = (length - 0.5) * self.face_width_mm;
        let tip = self.addendum_mm + along * self.addendum_angle.tan();
        let root = self.clearance_mm
            - (self.whole_depth_mm - self.addendum_mm)
            - along * self.dedendum_angle.tan();
        root + height * (tip - root)
    }
}

/// Sum of dedendum and addendum angle when both root lines meet at the apex (ISO 23509, Annex C.5).
fn standard_taper(whole_mm: f64, clearance_mm: f64, addendum_mm: f64, mean_cone_mm: f64) -> f64 {
    ((addendum_mm + clearance_mm) / mean_cone_mm).atan()
        + ((whole_mm - addendum_mm) / mean_cone_mm).atan()
}

fn check(set: &GearSet) -> Result<(), GearError> {
    let range = |key, value: f64, low: f64, high: f64, allowed, unit| {
        if value.is_finite() && (low..=high).contains(&value) {
            Ok(())
        } else {
            Err(GearError::OutOfRange {
                key,
                value,
                allowed,
                nearest: if value > high { high } else { low },
                unit,
            })
        }
    };
    let degrees = |angle: f64| angle * 180.0 / PI;
    range(
        "pinion_teeth",
        f64::from(set.pinion_teeth),
        4.0,
        200.0,
        "from 4 to 200",
        "",
    )?;
    range(
        "ring_teeth",
        f64::from(set.ring_teeth),
        10.0,
        400.0,
        "from 10 to 400",
        "",
    )?;
    range(
        "ring_diameter",
        set.ring_diameter_mm,
        10.0,
        5000.0,
        "from 10 mm to 5 m",
        " mm",
    )?;
    range(
        "face_width",
        set.face_width_mm,
        1.0,
        2000.0,
        "at least 1 mm",
        " mm",
    )?;
    range(
        "offset",
        set.offset_mm,
        0.0,
        0.4 * set.ring_diameter_mm,
        "from 0 to 0.4 of the ring gear's diameter",
        " mm",
    )?;
    range(
        "spiral_angle_deg",
        degrees(set.spiral_angle),
        0.0,
        60.0,
        "from 0° to 60°",
        "°",
    )?;
    range(
        "pressure_angle_deg",
        degrees(set.pressure_angle),
        8.0,
        35.0,
        "from 8° to 35°",
        "°",
    )?;
    if let Some(angle) = set.pitch_angle {
        range(
            "pitch_angle_deg",
            degrees(angle),
            20.0,
            89.0,
            "from 20° to 89°",
            "°",
        )?;
    }
    let positive = |key, value: Option<f64>, high| match value {
        Some(v) => range(key, v, 1e-4, high, "more than 0", " mm"),
        None => Ok(()),
    };
    let d = set.ring_diameter_mm;
    positive("cutter_radius", set.cutter_radius_mm, 10.0 * d)?;
    positive("whole_depth", set.whole_depth_mm, 0.3 * d)?;
    positive("crowning_length", set.crowning_length_mm, 2.0)?;
    positive("crowning_height", set.crowning_height_mm, 2.0)?;
    positive("film", set.film_mm, 0.2)?;
    if let Some(depth) = set.whole_depth_mm {
        if let Some(clearance) = set.clearance_mm {
            range(
                "clearance",
                clearance,
                0.0,
                0.5 * depth,
                "from 0 to half the whole depth",
                " mm",
            )?;
        }
        if let Some(addendum) = set.addendum_mm {
            range(
                "addendum",
                addendum,
                0.0,
                0.9 * depth,
                "less than the working depth",
                " mm",
            )?;
        }
    }
    if let Some(taper) = set.taper {
        range(
            "taper_deg",
            degrees(taper),
            0.0,
            30.0,
            "from 0° to 30°",
            "°",
        )?;
    }
    if let Some(groups) = set.blade_groups {
        range(
            "blade_groups",
            f64::from(groups),
            1.0,
            50.0,
            "from 1 to 50",
            "",
        )?;
    }
    Ok(())
}
