//! The card: a TOML file that describes a gear set, its limits and where its shims sit.
//!
//! Inside, and in JSON, lengths are millimetres, torques newton-metres and angles degrees, with the
//! unit in the key; TOML writes lengths and torques with their unit. Both forms go through the
//! same check ([`super::card_keys`]).

use super::card_keys::normalise;
use super::set::{Cutting, FlankForm, GearSet, Hand};
use crate::frames::{FlankPoint, Side};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::path::Path;

/// A card that cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CardError {
    /// The file is no TOML.
    #[error("the card is not valid TOML: {0}")]
    Syntax(String),
    /// A plain value stands where a table belongs.
    #[error("{0} must be a table")]
    NoTable(String),
    /// A key that a card does not have.
    #[error("unknown key `{key}` {table} of the card; {hint}")]
    UnknownKey {
        /// The key as written.
        key: String,
        /// Where it stands.
        table: String,
        /// The nearest known key, or where it belongs.
        hint: String,
    },
    /// A key every card needs.
    #[error("the card has no {place}; add it")]
    Missing {
        /// The key and its table.
        place: String,
    },
    /// A value of the wrong kind, unit or size.
    #[error("{place} of the card {message}")]
    Value {
        /// The key and its table.
        place: String,
        /// What is wrong and what would do.
        message: String,
    },
    /// Values that do not go together.
    #[error("the card's values do not go together: {0}")]
    Together(String),
}

/// A gear set with its limits, and where its shims sit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Card {
    /// What people call the set.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub name: String,
    /// The gears.
    pub gear: Gear,
    /// Where the patches should stand.
    #[serde(default)]
    pub target: Target,
    /// What must hold when the axle is closed.
    #[serde(default)]
    pub limits: Limits,
    /// The pinion's shims.
    #[serde(default)]
    pub pinion: Pinion,
    /// The ring gear's shims or adjusters, and how backlash is measured.
    #[serde(default)]
    pub carrier: Carrier,
    /// The shims at hand.
    #[serde(default)]
    pub kit: Kit,
}

/// The gears of a card. What is `None` is derived by the geometry.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Gear {
    /// Teeth of the ring gear.
    pub ring_teeth: u32,
    /// Teeth of the pinion.
    pub pinion_teeth: u32,
    /// Outer pitch diameter of the ring gear.
    pub ring_diameter_mm: f64,
    /// Face width of the ring gear.
    pub face_width_mm: f64,
    /// Hypoid offset; 0 for a spiral bevel set.
    pub offset_mm: f64,
    /// Mean spiral angle of the ring gear.
    pub spiral_angle_deg: f64,
    /// Normal pressure angle; 20 when the card is silent.
    #[serde(default = "twenty_degrees")]
    pub pressure_angle_deg: f64,
    /// How the teeth were cut.
    pub cutting: Cutting,
    /// Hand of the ring gear's spiral; left when the card is silent.
    #[serde(default = "left")]
    pub hand: Hand,
    /// Form of the drive flank; convex when the card is silent.
    #[serde(default = "convex")]
    pub drives_on: FlankForm,
    /// Pitch angle of the ring gear.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pitch_angle_deg: Option<f64>,
    /// Cutter radius.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cutter_radius_mm: Option<f64>,
    /// Blade groups of a face-hobbing cutter.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub blade_groups: Option<u32>,
    /// Whole depth at the mean point.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub whole_depth_mm: Option<f64>,
    /// Clearance at the mean point.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clearance_mm: Option<f64>,
    /// Addendum of the ring gear at the mean point.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub addendum_mm: Option<f64>,
    /// Dedendum angle plus addendum angle of the ring gear.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub taper_deg: Option<f64>,
    /// Ease-off at toe and heel.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crowning_length_mm: Option<f64>,
    /// Ease-off at tip and root.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crowning_height_mm: Option<f64>,
    /// Thickness of the film that contact leaves.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub film_mm: Option<f64>,
}

fn twenty_degrees() -> f64 {
    20.0
}

fn left() -> Hand {
    Hand::Left
}

fn convex() -> FlankForm {
    FlankForm::Convex
}

/// Where the patches should stand, and how near is right.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Target {
    /// Drive flank: centred, a little to the toe.
    pub drive: FlankPoint,
    /// Coast flank: centred.
    pub coast: FlankPoint,
    /// Both centres within this of their target are right.
    pub tolerance: FlankPoint,
}

impl Target {
    /// The place of one flank's patch.
    pub const fn of(&self, side: Side) -> FlankPoint {
        match side {
            Side::Drive => self.drive,
            Side::Coast => self.coast,
        }
    }
}

impl Default for Target {
    fn default() -> Self {
        Self {
            drive: FlankPoint::new(0.47, 0.50),
            coast: FlankPoint::new(0.50, 0.50),
            tolerance: FlankPoint::new(0.20, 0.12),
        }
    }
}

/// What must hold when the axle is closed. All from the axle's manual.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Limits {
    /// Backlash window, low and high.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub backlash_mm: Option<[f64; 2]>,
    /// Greatest difference of backlash round the gear.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub backlash_variation_mm: Option<f64>,
    /// Rotating torque of the pinion with new bearings.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pinion_torque_new_nm: Option<[f64; 2]>,
    /// Rotating torque of the pinion with used bearings.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pinion_torque_used_nm: Option<[f64; 2]>,
    /// Rise of the torque when the carrier is in.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub total_torque_rise_nm: Option<[f64; 2]>,
    /// Greatest run-out of the ring gear's back face.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ring_runout_mm: Option<f64>,
}

/// Backlash window used when the card has none: 0.006–0.010 in, common practice on a light hypoid
/// axle, no source.
pub const USUAL_BACKLASH_MM: [f64; 2] = [0.1524, 0.254];

/// Where the pinion's shims sit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub enum ShimPlace {
    /// Thicker moves the pinion toward the ring gear.
    #[default]
    #[serde(rename = "behind head bearing")]
    BehindHeadBearing,
    /// Thicker moves the pinion away from the ring gear.
    #[serde(rename = "under cage")]
    UnderCage,
}

impl ShimPlace {
    /// Millimetres the pinion moves away from the ring gear per millimetre of thicker pack.
    pub const fn away_per_thicker(self) -> f64 {
        match self {
            Self::BehindHeadBearing => -1.0,
            Self::UnderCage => 1.0,
        }
    }
}

/// How the pinion bearings are preloaded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Preload {
    /// A shim pack of its own.
    #[default]
    Shims,
    /// A collapsible sleeve.
    Sleeve,
}

/// The pinion's shims.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Pinion {
    /// Where they sit; behind the head bearing when the card is silent.
    pub shim_place: ShimPlace,
    /// How the bearings are preloaded.
    pub preload: Preload,
}

/// How the ring gear is moved along its axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Adjust {
    /// A pack of shims on each side.
    #[default]
    Shims,
    /// A threaded ring on each side, turned by whole notches.
    Threaded,
}

/// Which way the dial indicator stands when backlash is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum BacklashDirection {
    /// Square to the tooth's flank.
    #[default]
    Square,
    /// Along the circle the gear turns in.
    Tangential,
}

/// The ring gear's shims or adjusters, and how backlash is measured.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Carrier {
    /// Shims or threaded rings.
    pub adjust: Adjust,
    /// Thread pitch of the rings.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pitch_mm: Option<f64>,
    /// Notches in one turn of a ring.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub notches_per_turn: Option<u32>,
    /// Both side packs together when their preload is right; held as found when the card is silent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub side_pack_total_mm: Option<f64>,
    /// Which way the indicator stands.
    pub backlash_direction: BacklashDirection,
    /// Radius the indicator stands at; the outer pitch radius when the card is silent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub backlash_radius_mm: Option<f64>,
}

impl Carrier {
    /// Axial travel of the ring gear per notch, when the adjusters are threaded and the card says
    /// how.
    pub fn notch_mm(&self) -> Option<f64> {
        match (self.adjust, self.pitch_mm, self.notches_per_turn) {
            (Adjust::Threaded, Some(pitch_mm), Some(notches)) => {
                Some(pitch_mm / f64::from(notches))
            }
            _ => None,
        }
    }
}

/// The shims at hand, any number of each.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Kit {
    /// For the pinion.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub pinion_shims_mm: Vec<f64>,
    /// For the sides of the carrier.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub side_shims_mm: Vec<f64>,
}

impl Card {
    /// Reads a card in TOML.
    ///
    /// # Errors
    /// No TOML, unknown or missing keys, values that cannot be.
    pub fn from_toml(text: &str) -> Result<Self, CardError> {
        let table: toml::Table =
            toml::from_str(text).map_err(|error| CardError::Syntax(error.to_string()))?;
        let written =
            serde_json::to_value(table).map_err(|error| CardError::Syntax(error.to_string()))?;
        Self::from_json(&written)
    }

    /// Reads a card in JSON, where the unit stands in the key (`ring_diameter_mm`).
    ///
    /// # Errors
    /// Unknown or missing keys, values that cannot be.
    pub fn from_json(written: &Value) -> Result<Self, CardError> {
        let card: Self = serde_json::from_value(normalise(written)?)
            .map_err(|error| CardError::Together(error.to_string()))?;
        card.check()?;
        Ok(card)
    }

    /// Reads the TOML file of a card.
    ///
    /// # Errors
    /// The file cannot be read, or [`Card::from_toml`]; the message names the file.
    pub fn read(path: &Path) -> crate::Result<Self> {
        let text =
            std::fs::read_to_string(path).map_err(|source| crate::Error::input(path, source))?;
        Self::from_toml(&text).map_err(|error| crate::Error::Card {
            path: path.display().to_string(),
            error,
        })
    }

    fn check(&self) -> Result<(), CardError> {
        let gear = &self.gear;
        let together = |message: String| Err(CardError::Together(message));
        if gear.pinion_teeth >= gear.ring_teeth {
            return together(format!(
                "the pinion has {} teeth and the ring gear {}; the pinion is the one with fewer",
                gear.pinion_teeth, gear.ring_teeth
            ));
        }
        let radius_mm = gear.ring_diameter_mm / 2.0;
        if gear.face_width_mm >= 0.5 * radius_mm {
            return together(format!(
                "face width {:.1} mm on a ring gear of {:.1} mm; at most {:.1} mm would be sensible",
                gear.face_width_mm,
                gear.ring_diameter_mm,
                0.5 * radius_mm
            ));
        }
        if gear.offset_mm >= 0.6 * radius_mm {
            return together(format!(
                "offset {:.1} mm on a ring gear of {:.1} mm; at most {:.1} mm would be sensible",
                gear.offset_mm,
                gear.ring_diameter_mm,
                0.6 * radius_mm
            ));
        }
        if let Some(indicator_mm) = self.carrier.backlash_radius_mm
            && indicator_mm > 1.1 * radius_mm
        {
            return together(format!(
                "the indicator at a radius of {indicator_mm:.1} mm on a ring gear of radius {radius_mm:.1} mm; \
                 was the diameter written?"
            ));
        }
        if self.carrier.adjust == Adjust::Threaded && self.carrier.notch_mm().is_none() {
            return together(
                "threaded adjusters need `pitch` and `notches_per_turn` in [carrier]".into(),
            );
        }
        Ok(())
    }

    /// The backlash window in force: the card's, or [`USUAL_BACKLASH_MM`].
    pub fn backlash_window_mm(&self) -> [f64; 2] {
        self.limits.backlash_mm.unwrap_or(USUAL_BACKLASH_MM)
    }

    /// Radius the backlash indicator stands at, millimetres.
    pub fn backlash_radius_mm(&self) -> f64 {
        self.carrier
            .backlash_radius_mm
            .unwrap_or(self.gear.ring_diameter_mm / 2.0)
    }

    /// The gear set as the geometry needs it.
    pub fn gear_set(&self) -> GearSet {
        let gear = &self.gear;
        GearSet {
            ring_teeth: gear.ring_teeth,
            pinion_teeth: gear.pinion_teeth,
            ring_diameter_mm: gear.ring_diameter_mm,
            face_width_mm: gear.face_width_mm,
            offset_mm: gear.offset_mm,
            spiral_angle: gear.spiral_angle_deg.to_radians(),
            pressure_angle: gear.pressure_angle_deg.to_radians(),
            cutting: gear.cutting,
            hand: gear.hand,
            drives_on: gear.drives_on,
            pitch_angle: gear.pitch_angle_deg.map(f64::to_radians),
            cutter_radius_mm: gear.cutter_radius_mm,
            blade_groups: gear.blade_groups,
            whole_depth_mm: gear.whole_depth_mm,
            clearance_mm: gear.clearance_mm,
            addendum_mm: gear.addendum_mm,
            taper: gear.taper_deg.map(f64::to_radians),
            crowning_length_mm: gear.crowning_length_mm,
            crowning_height_mm: gear.crowning_height_mm,
            film_mm: gear.film_mm,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LARCH: &str = r#"
name = "Larchfield 8-inch rear axle"
[gear]
ring_teeth = 41
pinion_teeth = 11
ring_diameter = "8.0in"
face_width = "1.2in"
offset = "1.4in"
spiral_angle_deg = 31
pressure_angle_deg = 20
cutting = "face-milled"
hand = "left"
[target]
drive = {length = 0.45, height = 0.50}
[limits]
backlash = ["0.006in", "0.010in"]
backlash_variation = "0.002in"
pinion_torque_new = ["12lb-in", "15lb-in"]
[pinion]
shim_place = "under cage"
[carrier]
adjust = "shims"
backlash_direction = "tangential"
[kit]
pinion_shims = ["0.003in", "0.005in", "0.010in", "0.030in"]
side_shims = ["0.003in", "0.005in", "0.010in", "0.030in"]
"#;

    fn refused(from: &str, to: &str) -> String {
        assert!(LARCH.contains(from), "{from}");
        Card::from_toml(&LARCH.replace(from, to))
            .unwrap_err()
            .to_string()
    }

    #[test]
    fn a_card_is_read_into_millimetres() {
        let card = Card::from_toml(LARCH).unwrap();
        assert_eq!(card.gear.ring_diameter_mm, 203.2);
        assert_eq!(card.limits.backlash_mm, Some([0.006 * 25.4, 0.010 * 25.4]));
        assert_eq!(card.target.drive.length, 0.45);
        assert_eq!(card.target.coast, Target::default().coast);
        assert_eq!(card.pinion.shim_place, ShimPlace::UnderCage);
        assert_eq!(card.kit.pinion_shims_mm.len(), 4);
        assert_eq!(card.backlash_radius_mm(), 101.6);
        assert!((card.gear_set().spiral_angle.to_degrees() - 31.0).abs() < 1e-12);
    }

    #[test]
    fn json_with_units_in_the_keys_is_the_same_card() {
        let card = Card::from_toml(LARCH).unwrap();
        let json = serde_json::to_value(&card).unwrap();
        assert_eq!(json["gear"]["ring_diameter_mm"], 203.2);
        assert_eq!(Card::from_json(&json).unwrap(), card);
    }

    #[test]
    fn an_unknown_key_is_named_with_the_nearest_known() {
        let error = refused("ring_teeth = 41", "ring_teeth = 41\nring_diametre = \"8in\"");
        assert!(error.contains("`ring_diametre` in [gear]"), "{error}");
        assert!(error.contains("`ring_diameter`"), "{error}");
        let error = refused("[kit]", "[kits]");
        assert!(error.contains("`kit`"), "{error}");
        let error = refused("adjust = \"shims\"", "shim_place = \"under cage\"");
        assert!(error.contains("belongs in [pinion]"), "{error}");
    }

    #[test]
    fn a_missing_key_is_named() {
        let error = refused("pinion_teeth = 11\n", "");
        assert!(error.contains("`pinion_teeth` in [gear]"), "{error}");
    }

    #[test]
    fn a_number_without_unit_is_answered_with_a_question() {
        let error = refused("\"1.2in\"", "1.2");
        assert!(error.contains("\"1.2in\""), "{error}");
        let error = refused("\"12lb-in\"", "12");
        assert!(error.contains("lb-in"), "{error}");
    }

    #[test]
    fn the_other_unit_is_asked_for_when_it_would_fit() {
        let error = refused("\"8.0in\"", "\"8.0mm\"");
        assert!(error.contains("8 in meant"), "{error}");
        let error = refused("\"0.006in\", \"0.010in\"", "\"0.15in\", \"0.25in\"");
        assert!(error.contains("0.1500 mm meant"), "{error}");
    }

    #[test]
    fn values_that_cannot_be_are_refused_with_the_nearest() {
        for (from, to, part) in [
            ("ring_teeth = 41", "ring_teeth = 0", "nearest is 12"),
            ("\"face-milled\"", "\"milled\"", "nearest is \"face-milled\""),
            ("spiral_angle_deg = 31", "spiral_angle_deg = 310", "nearest that would pass is 50"),
            ("\"0.006in\", \"0.010in\"", "\"0.010in\", \"0.006in\"", "low then high"),
            ("pinion_teeth = 11", "pinion_teeth = 45", "fewer"),
            ("\"1.4in\"", "\"3.5in\"", "would be sensible"),
            ("adjust = \"shims\"", "adjust = \"threaded\"", "notches_per_turn"),
            ("height = 0.50", "height = 50", "fraction"),
            ("[gear]", "gear", "TOML"),
        ] {
            let error = refused(from, to);
            assert!(error.contains(part), "{to}: {error}");
        }
    }
}
