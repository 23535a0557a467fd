//! What a simulation says: `flankread/simulation/1`.

use super::reading::Patch;
use crate::frames::FlankPoint;
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value};

/// Value of the `schema` field.
pub(crate) const SCHEMA: &str = "flankread/simulation/1";

/// The document.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct Simulation {
    /// Always [`SCHEMA`].
    pub schema: &'static str,
    /// The card's name.
    pub card: String,
    /// What was simulated, and what came of it; absent when the set of a `[blank]` cannot mesh.
    #[serde(flatten)]
    pub contact: Option<Contact>,
    /// Why there is no contact.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub no_contact: Option<String>,
    /// The blank, under the symbols of ISO 23509: millimetres, degrees, plain numbers.
    pub blank: Map<String, Value>,
    /// What the card left out, under the card's keys with the unit.
    pub derived: Vec<Derived>,
}

/// One size the card left out.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct Derived {
    /// The card's key, with its unit.
    pub key: String,
    /// The value taken.
    pub value: f64,
    /// How it was come by.
    pub how: &'static str,
}

/// The contact part of the document.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct Contact {
    /// The misalignment simulated.
    #[serde(rename = "misplacement")]
    pub misalignment: Moves,
    /// Marking film.
    pub film_mm: f64,
    /// Drive flank.
    pub drive: Flank,
    /// Coast flank.
    pub coast: Flank,
    /// Backlash.
    pub backlash: Backlash,
    /// Pitch cones as the model meshes them.
    pub mesh: Mesh,
    /// Change of the patch and the backlash per millimetre (per degree for the shaft angle).
    pub sensitivities: Vec<Rates>,
    /// One turn with run-out, when it was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub run_out: Option<RunOut>,
    /// The sweep, when it was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sweep: Option<Sweep>,
}

/// A misalignment.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct Moves {
    /// + = pinion away from the ring gear.
    pub pinion_mm: f64,
    /// + = ring gear away from the pinion.
    pub ring_mm: f64,
    /// + = axes further apart.
    pub offset_mm: f64,
    /// + = shaft angle larger.
    pub shaft_angle_deg: f64,
}

/// One flank.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct Flank {
    /// The patch; absent when nothing of it is on the flank.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub patch: Option<Patch>,
    /// Ease-off of the pinion.
    pub ease_off: EaseOffNumbers,
    /// Transmission error over one pitch.
    pub transmission_error: TransmissionError,
    /// Length of the flank along the tooth.
    pub length_mm: f64,
    /// Height of the flank along the profile.
    pub height_mm: f64,
}

/// Ease-off at the edges of a centred flank.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct EaseOffNumbers {
    /// At toe and heel.
    pub length_mm: f64,
    /// At tip and root.
    pub height_mm: f64,
    /// At the heel-tip corner.
    pub bias_mm: f64,
    /// Where it is nothing.
    pub centre: FlankPoint,
}

/// Transmission error of one flank, microradians of the ring gear's rotation.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct TransmissionError {
    /// Highest less lowest.
    pub peak_to_peak_urad: f64,
    /// Lag of the ring gear at equal steps of one pitch.
    pub lag_urad: Vec<f64>,
}

/// Backlash the misalignment adds.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct Backlash {
    /// In the plane of rotation at the outer diameter.
    pub change_mm: f64,
    /// Square to the tooth at the mean radius.
    pub change_square_mm: f64,
    /// Per unit that the ring gear is backed off, in the plane of rotation at the outer diameter.
    pub ring_ratio: f64,
    /// Per unit that the ring gear is backed off, square to the tooth.
    pub ring_ratio_square: f64,
    /// Per unit that the pinion is withdrawn, in the plane of rotation at the outer diameter.
    pub pinion_ratio: f64,
    /// Per unit that the pinion is withdrawn, square to the tooth.
    pub pinion_ratio_square: f64,
}

/// Pitch cones.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct Mesh {
    /// Γ.
    pub ring_pitch_angle_deg: f64,
    /// γ.
    pub pinion_pitch_angle_deg: f64,
    /// ε, not above 0 in the model's frame.
    pub offset_angle_deg: f64,
    /// ψ_1.
    pub pinion_spiral_angle_deg: f64,
    /// A_m.
    pub mean_cone_distance_mm: f64,
}

/// One row of the sensitivities.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct Rates {
    /// What is changed.
    pub cause: &'static str,
    /// `mm` or `deg`.
    pub per: &'static str,
    /// Drive flank.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drive: Option<FlankRates>,
    /// Coast flank.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub coast: Option<FlankRates>,
    /// Backlash in the plane of rotation at the outer diameter.
    pub backlash_mm: f64,
}

/// Rates of one patch.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct FlankRates {
    /// Of the centre.
    pub centre: FlankPoint,
    /// Of the extent.
    pub extent: FlankPoint,
    /// Of the lean.
    pub lean_deg: f64,
}

/// One turn with run-out.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct RunOut {
    /// Axial swing of the ring gear, whole.
    pub run_out_mm: f64,
    /// Swing of the backlash in the plane of rotation at the outer diameter.
    pub backlash_swing_mm: f64,
    /// Swing of the drive patch's centre.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drive_swing: Option<FlankPoint>,
    /// Swing of the coast patch's centre.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub coast_swing: Option<FlankPoint>,
}

/// A sweep over one cause.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct Sweep {
    /// What is swept.
    pub cause: &'static str,
    /// `mm` or `deg`.
    pub unit: &'static str,
    /// The states.
    pub steps: Vec<SweepStep>,
}

/// One state of a sweep.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct SweepStep {
    /// Value of the cause, added to what was asked for.
    pub value: f64,
    /// Drive patch.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drive: Option<Patch>,
    /// Coast patch.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub coast: Option<Patch>,
    /// Backlash change in the plane of rotation at the outer diameter.
    pub backlash_change_mm: f64,
}
