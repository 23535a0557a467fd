//! The card: what a person writes about a gear set, its limits and where its shims sit.
//!
//! Inside, and in JSON, lengths are millimetres, torques newton-metres and angles degrees, with the
//! unit in the key; TOML writes lengths and torques with their unit. Both forms go through the
//! same check in `card`.

use super::blank_table::BlankTable;
use super::gear::{Cutting, FlankForm, Hand, RingCut};
use crate::frames::{FlankPoint, Side};
use crate::units::{THOU_MM, Units};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A gear set with its limits, and where its shims sit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Card {
    /// What people call the set.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub name: String,
    /// What people who work with the card want to read; without the key, what most of the card is written in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub units: Option<Units>,
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
    /// Initial data of ISO 23509 for the blank.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub blank: Option<BlankTable>,
}

/// The gears of a card. What is `None` is derived by the geometry.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
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
    /// Normal pressure angle of both flanks about the limit pressure angle; 20 when the card is silent.
    #[serde(default = "twenty_degrees")]
    pub pressure_angle_deg: f64,
    /// The drive flank's own angle, from the pitch plane's normal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pressure_angle_drive_deg: Option<f64>,
    /// The coast flank's own angle, from the pitch plane's normal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pressure_angle_coast_deg: Option<f64>,
    /// How much of the limit pressure angle the flanks are cut with; 1 when the card is silent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub f_alpha_lim: Option<f64>,
    /// How the teeth were cut.
    pub cutting: Cutting,
    /// Whether a face-milled ring gear was formed or generated; formed when the card is silent.
    #[serde(default)]
    pub ring_cut: RingCut,
    /// Shaft angle; 90 when the card is silent.
    #[serde(default = "ninety_degrees")]
    pub shaft_angle_deg: f64,
    /// Hand of the ring gear's spiral, if the card says it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hand: Option<Hand>,
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
    /// What the housing is cast of; nothing is said of warmth when the card is silent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub housing: Option<Housing>,
}

/// What a housing is cast of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Housing {
    /// Grey or nodular iron, or steel: it grows as the gears do.
    Iron,
    /// Light alloy: it grows twice as much.
    Aluminium,
}

fn twenty_degrees() -> f64 {
    20.0
}

fn ninety_degrees() -> f64 {
    90.0
}

fn convex() -> FlankForm {
    FlankForm::Convex
}

/// Where the patches should stand, and how near is right.
///
/// The usual numbers are chosen. A little to the toe: without load contact starts near the toe (TM 5-3805-260-24
/// pp. 3-244/245), and load moves it to the heel (TM 5-4210-230-14&P-1 fig. 20). No source has a tolerance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
#[non_exhaustive]
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
#[non_exhaustive]
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
    /// Torque to turn pinion and carrier together.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub total_torque_nm: Option<[f64; 2]>,
    /// Torque of the pinion nut.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pinion_nut_torque_nm: Option<[f64; 2]>,
    /// Torque of the ring-gear bolts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ring_bolt_torque_nm: Option<[f64; 2]>,
    /// Torque of the bearing-cap bolts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cap_bolt_torque_nm: Option<[f64; 2]>,
    /// How far the side bearings' preload may spread the case.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub case_spread_mm: Option<[f64; 2]>,
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
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
#[non_exhaustive]
pub struct Pinion {
    /// Where they sit; behind the head bearing when the card is silent.
    pub shim_place: ShimPlace,
    /// How the bearings are preloaded.
    pub preload: Preload,
    /// What one step of the pinion's mark is worth.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mark_unit: Option<MarkUnit>,
    /// Which way a pinion's mark goes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mark_sense: Option<MarkSense>,
    /// From the ring gear's axis to the pinion's measured face, for a mark of nought.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mounting_distance_mm: Option<f64>,
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
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum BacklashDirection {
    /// Square to the tooth's flank.
    Square,
    /// Along the circle the gear turns in.
    Tangential,
}

/// The ring gear's shims or adjusters, and how backlash is measured.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
#[non_exhaustive]
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
    /// What is added to the side packs, in all, to preload the side bearings.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub side_preload_mm: Option<f64>,
    /// On which side that goes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub preload_on: Option<PreloadOn>,
    /// Which way the indicator stands; half-way between both, and less sure, when the card is silent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub backlash_direction: Option<BacklashDirection>,
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

/// The shims at hand, beside those that are in the axle.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
#[non_exhaustive]
pub struct Kit {
    /// For the pinion.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub pinion_shims_mm: Vec<f64>,
    /// How many there are of each of these; any number where the card is silent.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub pinion_shim_counts: Vec<u32>,
    /// For the sides of the carrier.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub side_shims_mm: Vec<f64>,
    /// How many there are of each of these; any number where the card is silent.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub side_shim_counts: Vec<u32>,
}

/// What one step of a pinion's mark is worth. Makers use all three; none can be told from the
/// number alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[cfg_attr(feature = "cli", derive(clap::ValueEnum))]
pub enum MarkUnit {
    /// Thousandths of an inch.
    #[serde(rename = "0.001in")]
    #[cfg_attr(feature = "cli", value(name = "0.001in", alias = "thou"))]
    Thou,
    /// Hundredths of a millimetre.
    #[serde(rename = "0.01mm")]
    #[cfg_attr(feature = "cli", value(name = "0.01mm"))]
    Hundredth,
    /// Thousandths of a millimetre.
    #[serde(rename = "0.001mm")]
    #[cfg_attr(feature = "cli", value(name = "0.001mm", alias = "um"))]
    Thousandth,
}

impl MarkUnit {
    /// One step of the mark, millimetres.
    pub const fn mm(self) -> f64 {
        match self {
            Self::Thou => THOU_MM,
            Self::Hundredth => 0.01,
            Self::Thousandth => 0.001,
        }
    }

    /// How a card writes it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Thou => "0.001 in",
            Self::Hundredth => "0.01 mm",
            Self::Thousandth => "0.001 mm",
        }
    }
}

/// Which way a pinion's mark goes. Both are in use: TM 9-2320-280-34 takes a plus off the pack,
/// TM 9-2320-289-34 puts it on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[cfg_attr(feature = "cli", derive(clap::ValueEnum))]
pub enum MarkSense {
    /// A plus asks for a thicker pack.
    #[serde(rename = "plus is thicker")]
    #[cfg_attr(feature = "cli", value(name = "plus-thicker"))]
    PlusThicker,
    /// A plus asks for a thinner pack.
    #[serde(rename = "plus is thinner")]
    #[cfg_attr(feature = "cli", value(name = "plus-thinner"))]
    PlusThinner,
}

impl MarkSense {
    /// Thicker pack per step of the mark: +1 or −1.
    pub const fn thicker_per_plus(self) -> f64 {
        match self {
            Self::PlusThicker => 1.0,
            Self::PlusThinner => -1.0,
        }
    }
}

/// On which side the shim that preloads the side bearings goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[cfg_attr(feature = "cli", derive(clap::ValueEnum))]
pub enum PreloadOn {
    /// Half on each side: the ring gear stays.
    #[serde(rename = "both sides")]
    #[cfg_attr(feature = "cli", value(name = "both-sides", alias = "both"))]
    BothSides,
    /// All behind the ring gear: the ring gear moves toward the pinion.
    #[serde(rename = "ring side")]
    #[cfg_attr(feature = "cli", value(name = "ring-side", alias = "ring"))]
    RingSide,
}
