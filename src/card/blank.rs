//! The card's `[blank]` table: the initial data of ISO 23509 under the standard's symbols, and what
//! `[gear]` takes from the blank computed from them.
//!
//! Everything in it may be left out: teeth, diameter, face width, offset, angles and cutter come from
//! `[gear]`, and a card with `[blank]` alone needs no `[gear]` at all.

use super::error::CardError;
use super::key::{Key, Kind, key};
use crate::gear::blank::{Backlash, Blank, BlankInput, Depth, Method};
use crate::schema::BlankTable;
use crate::schema::Cutting;
use crate::schema::FlankForm;
use crate::schema::Taper;
use serde::Deserialize;
use serde_json::{Map, Value, json};

/// Keys of `[blank]`. Lengths carry their unit; names of angles end in `_deg`.
pub(crate) const KEYS: &[Key] = &[
    optional("method", Kind::Count(0, 3)),
    optional("shaft_angle_deg", Kind::Degrees(10.0, 170.0)),
    optional("a", Kind::Length(0.0, 500.0)),
    optional("z1", Kind::Count(1, 200)),
    optional("z2", Kind::Count(1, 400)),
    optional("de2", Kind::Length(5.0, 5000.0)),
    optional("dm2", Kind::Length(5.0, 5000.0)),
    optional("b2", Kind::Length(0.5, 2000.0)),
    optional("bm2_deg", Kind::Degrees(0.0, 65.0)),
    optional("bdelta1_deg", Kind::Degrees(0.0, 75.0)),
    optional("rc0", Kind::Length(1.0, 5000.0)),
    optional("z0", Kind::Count(1, 60)),
    optional("alpha_dD_deg", Kind::Degrees(5.0, 40.0)),
    optional("alpha_dC_deg", Kind::Degrees(5.0, 40.0)),
    optional("f_alpha_lim", Kind::Number(-2.0, 2.0)),
    optional("cbe2", Kind::Number(0.1, 0.9)),
    optional("cham", Kind::Number(-0.5, 1.5)),
    optional("kd", Kind::Number(0.5, 4.0)),
    optional("kc", Kind::Number(0.0, 1.0)),
    optional("kt", Kind::Number(-1.0, 1.0)),
    optional("xhm1", Kind::Number(-2.0, 2.0)),
    optional("khap", Kind::Number(0.2, 2.0)),
    optional("khfp", Kind::Number(0.2, 2.5)),
    optional("xsmn", Kind::Number(-1.0, 1.0)),
    optional("jen", Kind::Length(0.0, 10.0)),
    optional("jet2", Kind::Length(0.0, 10.0)),
    optional("jmn", Kind::Length(0.0, 10.0)),
    optional("jmt2", Kind::Length(0.0, 10.0)),
    optional("theta_a2_deg", Kind::Degrees(-10.0, 20.0)),
    optional("theta_f2_deg", Kind::Degrees(-10.0, 20.0)),
    optional(
        "taper",
        Kind::Choice(&["standard", "duplex", "modified", "uniform"]),
    ),
    optional("cutting", Kind::Choice(&["face-milled", "face-hobbed"])),
];

const fn optional(name: &'static str, kind: Kind) -> Key {
    key("blank", name, kind, false)
}

/// The parts of `[gear]` the blank may rest on, in the JSON form.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct GearPart {
    ring_teeth: Option<u32>,
    pinion_teeth: Option<u32>,
    ring_diameter_mm: Option<f64>,
    face_width_mm: Option<f64>,
    offset_mm: Option<f64>,
    spiral_angle_deg: Option<f64>,
    pressure_angle_deg: Option<f64>,
    f_alpha_lim: Option<f64>,
    drives_on: Option<FlankForm>,
    shaft_angle_deg: Option<f64>,
    cutting: Option<Cutting>,
    cutter_radius_mm: Option<f64>,
    blade_groups: Option<u32>,
}

impl GearPart {
    fn of(gear: Option<&Value>) -> Result<Self, CardError> {
        let part = gear.map(|g| serde_json::from_value(g.clone())).transpose();
        Ok(part
            .map_err(|error| CardError::Together(error.to_string()))?
            .unwrap_or_default())
    }
}

impl BlankTable {
    /// The initial data, with what the table leaves out taken from the JSON form of `[gear]`.
    ///
    /// # Errors
    /// What is missing in both, or given twice and differently.
    pub fn input(&self, gear: Option<&Value>) -> Result<BlankInput, CardError> {
        self.input_with(&GearPart::of(gear)?)
    }

    fn input_with(&self, part: &GearPart) -> Result<BlankInput, CardError> {
        let z1 = agree("z1", self.z1, "pinion_teeth", part.pinion_teeth)?;
        let z2 = agree("z2", self.z2, "ring_teeth", part.ring_teeth)?;
        let a = agree_mm("a", self.a_mm, "offset", part.offset_mm)?.unwrap_or(0.0);
        let method = match self.method {
            Some(number) => Method::try_from(number).map_err(|m| wrong("method", &m))?,
            None if a == 0.0 => Method::Zero,
            None if self.dm2_mm.is_some() => Method::Two,
            None if self.bdelta1_deg.is_some() => Method::One,
            None => Method::Three,
        };
        let z0 = agree("z0", self.z0, "blade_groups", part.blade_groups)?;
        let cutting = agree("cutting", self.cutting, "cutting", part.cutting)?.unwrap_or(
            if z0.is_some() || matches!(method, Method::Two | Method::Three) {
                Cutting::FaceHobbed
            } else {
                Cutting::FaceMilled
            },
        );
        if cutting == Cutting::FaceHobbed && z0.is_none() {
            return Err(missing("z0"));
        }
        let de2 = agree_mm("de2", self.de2_mm, "ring_diameter", part.ring_diameter_mm)?;
        let alpha = part.pressure_angle_deg.unwrap_or(20.0);
        let (z1, z2) = (
            z1.ok_or_else(|| missing("z1"))?,
            z2.ok_or_else(|| missing("z2"))?,
        );
        Ok(BlankInput {
            method,
            cutting,
            shaft_angle: self
                .shaft_angle_deg
                .or(part.shaft_angle_deg)
                .unwrap_or(90.0)
                .to_radians(),
            a,
            z1,
            z2,
            de2: de2.filter(|_| method != Method::Two),
            dm2: self.dm2_mm,
            b2: agree_mm("b2", self.b2_mm, "face_width", part.face_width_mm)?
                .ok_or_else(|| missing("b2"))?,
            bm2: self.bm2_deg.or(part.spiral_angle_deg).map(f64::to_radians),
            bdelta1: self.bdelta1_deg.map(f64::to_radians),
            rc0: agree_mm("rc0", self.rc0_mm, "cutter_radius", part.cutter_radius_mm)?
                .ok_or_else(|| missing("rc0"))?,
            z0: z0.unwrap_or(1),
            alpha_dd: self.alpha_dD_deg.unwrap_or(alpha).to_radians(),
            alpha_dc: self.alpha_dC_deg.unwrap_or(alpha).to_radians(),
            falim: self
                .f_alpha_lim
                .or(part.f_alpha_lim)
                .unwrap_or(if method == Method::Zero { 0.0 } else { 1.0 }),
            cbe2: self.cbe2.unwrap_or(0.5),
            depth: self.depth(f64::from(z1) / f64::from(z2))?,
            backlash: self.backlash()?,
            theta2: self.theta2()?,
            taper: self.taper.unwrap_or(match cutting {
                Cutting::FaceMilled => Taper::Modified,
                Cutting::FaceHobbed => Taper::Uniform,
            }),
        })
    }

    /// What [`BlankTable::input`] takes for keys that neither table gives: key, value, how.
    pub fn derived(&self, input: &BlankInput) -> Vec<(&'static str, f64, &'static str)> {
        let mut list = vec![(
            self.f_alpha_lim,
            "f_alpha_lim",
            input.falim,
            "0 without offset, else 1",
        )];
        if input.method != Method::One {
            list.push((self.cbe2, "cbe2", input.cbe2, "half the face"));
        }
        match input.depth {
            Depth::Coefficients {
                xhm1,
                khap,
                khfp,
                xsmn,
            } => list.extend([
                (self.xhm1, "xhm1", xhm1, "no profile shift"),
                (self.khap, "khap", khap, "usual"),
                (self.khfp, "khfp", khfp, "usual"),
                (self.xsmn, "xsmn", xsmn, "no thickness shift"),
            ]),
            Depth::Factors { cham, kd, kc, kt } => list.extend([
                (self.cham, "cham", cham, "0.21 + 0.29 (z1/z2)²"),
                (self.kd, "kd", kd, "usual"),
                (self.kc, "kc", kc, "usual"),
                (self.kt, "kt", kt, "no thickness shift"),
            ]),
        }
        list.into_iter()
            .filter(|(given, ..)| given.is_none())
            .map(|(_, key, value, how)| (key, value, how))
            .collect()
    }

    fn depth(&self, inverse_ratio: f64) -> Result<Depth, CardError> {
        let first = [self.xhm1, self.khap, self.khfp, self.xsmn];
        let second = [self.cham, self.kd, self.kc, self.kt];
        let given = |list: &[Option<f64>]| list.iter().any(Option::is_some);
        if given(&first) && given(&second) {
            return Err(CardError::Together(
                "[blank] has depth data of type I (xhm1, khap, khfp, xsmn) and of type II (cham, kd, \
                 kc, kt); give one of them"
                    .into(),
            ));
        }
        Ok(if given(&first) {
            Depth::Coefficients {
                xhm1: self.xhm1.unwrap_or(0.0),
                khap: self.khap.unwrap_or(1.0),
                khfp: self.khfp.unwrap_or(1.25),
                xsmn: self.xsmn.unwrap_or(0.0),
            }
        } else {
            Depth::Factors {
                cham: self.cham.unwrap_or(0.21 + 0.29 * inverse_ratio.powi(2)),
                kd: self.kd.unwrap_or(2.0),
                kc: self.kc.unwrap_or(0.125),
                kt: self.kt.unwrap_or(0.0),
            }
        })
    }

    fn backlash(&self) -> Result<Backlash, CardError> {
        let ways: Vec<Backlash> = [
            self.jen_mm.map(Backlash::OuterNormal),
            self.jet2_mm.map(Backlash::OuterTransverse),
            self.jmn_mm.map(Backlash::MeanNormal),
            self.jmt2_mm.map(Backlash::MeanTransverse),
        ]
        .into_iter()
        .flatten()
        .collect();
        match ways[..] {
            [] => Ok(Backlash::OuterNormal(0.0)),
            [one] => Ok(one),
            _ => Err(CardError::Together(
                "[blank] states the backlash in more than one way; give one of jen, jet2, jmn, jmt2"
                    .into(),
            )),
        }
    }

    fn theta2(&self) -> Result<Option<[f64; 2]>, CardError> {
        match (self.theta_a2_deg, self.theta_f2_deg) {
            (Some(a), Some(f)) => Ok(Some([a.to_radians(), f.to_radians()])),
            (None, None) => Ok(None),
            _ => Err(CardError::Together(
                "[blank] has one of theta_a2_deg and theta_f2_deg; give both or neither".into(),
            )),
        }
    }
}

fn missing(symbol: &str) -> CardError {
    CardError::Missing {
        place: format!("`{symbol}` in [blank]"),
    }
}

fn wrong(symbol: &str, message: &str) -> CardError {
    CardError::Value {
        place: format!("`{symbol}` in [blank]"),
        message: message.to_owned(),
    }
}

/// As [`agree`] for lengths in mm, which may differ by rounding.
fn agree_mm(
    symbol: &str,
    blank: Option<f64>,
    name: &str,
    gear: Option<f64>,
) -> Result<Option<f64>, CardError> {
    match (blank, gear) {
        (Some(b), Some(g)) if (b - g).abs() <= 1e-6 * b.abs() => Ok(blank),
        _ => agree(symbol, blank, name, gear),
    }
}

/// The value of `[blank]` or of `[gear]`; both must be the same when both are given.
fn agree<T: PartialEq + std::fmt::Debug>(
    symbol: &str,
    blank: Option<T>,
    name: &str,
    gear: Option<T>,
) -> Result<Option<T>, CardError> {
    match (blank, gear) {
        (Some(b), Some(g)) if b != g => Err(CardError::Together(format!(
            "`{symbol}` in [blank] is {b:?}, but `{name}` in [gear] is {g:?}; keep one of them"
        ))),
        (blank, gear) => Ok(blank.or(gear)),
    }
}

/// The initial data of a card with `[blank]`; `None` without.
///
/// # Errors
/// As [`BlankTable::input`].
pub(crate) fn input_of(card: &crate::schema::Card) -> Result<Option<BlankInput>, CardError> {
    let Some(table) = &card.blank else {
        return Ok(None);
    };
    let gear =
        serde_json::to_value(&card.gear).map_err(|error| CardError::Together(error.to_string()))?;
    table.input(Some(&gear)).map(Some)
}

/// Fills the keys of `[gear]` that are absent from the blank of `[blank]`, in a card in JSON form.
///
/// # Errors
/// A blank that cannot be computed.
pub(super) fn complete(card: &mut Map<String, Value>) -> Result<(), CardError> {
    let Some(table) = card.get("blank") else {
        return Ok(());
    };
    let table: BlankTable = serde_json::from_value(table.clone())
        .map_err(|error| CardError::Together(error.to_string()))?;
    let part = GearPart::of(card.get("gear"))?;
    let input = table.input_with(&part)?;
    let blank =
        Blank::new(&input).map_err(|error| CardError::Together(format!("[blank]: {error}")))?;
    let (cones, g) = (&blank.cones, &blank.gear);
    // The standard's drive side is the flank that is convex on the wheel.
    let [convex, concave] = g.alpha_n;
    let [drive, coast] = match part.drives_on {
        Some(FlankForm::Concave) => [concave, convex],
        _ => [convex, concave],
    };
    let mut keys = vec![
        ("ring_teeth", json!(input.z2)),
        ("pinion_teeth", json!(input.z1)),
        ("ring_diameter_mm", json!(input.de2.unwrap_or(g.wheel.de))),
        ("face_width_mm", json!(input.b2)),
        ("offset_mm", json!(input.a)),
        ("spiral_angle_deg", json!(cones.bm2.to_degrees())),
        (
            "pressure_angle_deg",
            json!((0.5 * (drive + coast)).to_degrees()),
        ),
        ("pressure_angle_drive_deg", json!(drive.to_degrees())),
        ("pressure_angle_coast_deg", json!(coast.to_degrees())),
        ("shaft_angle_deg", json!(input.shaft_angle.to_degrees())),
        ("cutting", json!(input.cutting)),
        ("pitch_angle_deg", json!(cones.delta2.to_degrees())),
        ("cutter_radius_mm", json!(input.rc0)),
        ("whole_depth_mm", json!(g.hm)),
        ("clearance_mm", json!(g.c)),
        ("addendum_mm", json!(g.wheel.ham)),
        (
            "taper_deg",
            json!((g.wheel.theta_a + g.wheel.theta_f).max(0.0).to_degrees()),
        ),
    ];
    if input.cutting == Cutting::FaceHobbed {
        keys.push(("blade_groups", json!(input.z0)));
    }
    let gear = card
        .entry("gear")
        .or_insert_with(|| Value::Object(Map::new()));
    if let Value::Object(gear) = gear {
        for (name, value) in keys {
            gear.entry(name).or_insert(value);
        }
    }
    Ok(())
}
