//! What a simulation says: `flankread/simulation/1`.

use crate::contact::sensitivity::{Cause, PatchRate, Sensitivity};
use crate::contact::{self, EaseOff, FlankContact, Misplacement, Model, State};
use crate::frames::{FlankPoint, Side};
use crate::gear::blank::Blank;
use crate::reading::{Margin, Patch};
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value};

/// Value of the `schema` field.
pub const SCHEMA: &str = "flankread/simulation/1";

/// What is simulated.
#[derive(Debug, Clone)]
pub struct Assembly {
    /// How far pinion and ring gear stand from their right places.
    pub misplacement: Misplacement,
    /// Ease-off of drive and coast.
    pub ease_off: [EaseOff; 2],
    /// Marking film, mm.
    pub film_mm: f64,
}

impl Assembly {
    /// The model's state of this assembly.
    pub fn state(&self, model: &Model) -> State {
        model.state(&self.misplacement, &self.ease_off, self.film_mm)
    }

    /// The same with `by` (mm or radians) more of a cause.
    #[must_use]
    pub fn with(&self, cause: Cause, by: f64) -> Self {
        let mut other = self.clone();
        cause.add(
            by,
            &mut other.misplacement,
            &mut other.ease_off,
            &mut other.film_mm,
        );
        other
    }
}

/// The document.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Simulation {
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
pub struct Derived {
    /// The card's key, with its unit.
    pub key: String,
    /// The value taken.
    pub value: f64,
    /// How it was come by.
    pub how: &'static str,
}

/// The contact part of the document.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Contact {
    /// The misplacement simulated.
    pub misplacement: Moves,
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

/// A misplacement.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Moves {
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
pub struct Flank {
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
pub struct EaseOffNumbers {
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
pub struct TransmissionError {
    /// Highest less lowest.
    pub peak_to_peak_urad: f64,
    /// Lag of the ring gear at equal steps of one pitch.
    pub lag_urad: Vec<f64>,
}

/// Backlash the misplacement adds.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Backlash {
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
pub struct Mesh {
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
pub struct Rates {
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
pub struct FlankRates {
    /// Of the centre.
    pub centre: FlankPoint,
    /// Of the extent.
    pub extent: FlankPoint,
    /// Of the lean.
    pub lean_deg: f64,
}

/// One turn with run-out.
#[derive(Debug, Serialize, JsonSchema)]
pub struct RunOut {
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
pub struct Sweep {
    /// What is swept.
    pub cause: &'static str,
    /// `mm` or `deg`.
    pub unit: &'static str,
    /// The states.
    pub steps: Vec<SweepStep>,
}

/// One state of a sweep.
#[derive(Debug, Serialize, JsonSchema)]
pub struct SweepStep {
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

/// Whether the cause is in degrees at the edge of the program, and the factor to there.
pub fn edge_unit(cause: Cause) -> (&'static str, f64) {
    if cause.is_angle() {
        ("deg", 1f64.to_degrees())
    } else {
        ("mm", 1.0)
    }
}

/// A patch as readings print it.
pub fn patch_numbers(patch: &contact::Patch) -> Patch {
    Patch {
        centre: patch.centre,
        extent: patch.extent,
        area: patch.area,
        lean_deg: patch.lean.to_degrees(),
        margin: Margin {
            toe: patch.margin.toe,
            heel: patch.margin.heel,
            tip: patch.margin.tip,
            root: patch.margin.root,
        },
    }
}

/// The blank as a JSON object of symbols.
pub fn blank_numbers(blank: &Blank) -> Map<String, Value> {
    blank
        .symbols()
        .into_iter()
        .map(|(symbol, value)| (symbol.to_owned(), Value::from(value)))
        .collect()
}

/// What the card left out, in the units of its keys.
pub fn derived_numbers(model: &Model) -> Vec<Derived> {
    model
        .dimensions()
        .derived
        .iter()
        .map(|d| {
            let (suffix, factor) = match d.key {
                "pitch_angle" | "taper" => ("_deg", 1f64.to_degrees()),
                "blade_groups" => ("", 1.0),
                _ => ("_mm", 1.0),
            };
            Derived {
                key: format!("{}{suffix}", d.key),
                value: d.value * factor,
                how: d.how,
            }
        })
        .collect()
}

/// The contact part for one assembly, with the sensitivities at it.
pub fn contact_numbers(model: &Model, assembly: &Assembly, state: &State) -> Contact {
    let (m, pair) = (&assembly.misplacement, model.pair());
    let outer_mm = 0.5 * model.dimensions().ring_diameter_mm;
    let (ring, pinion) = (
        model.ring_backlash_ratio(outer_mm),
        model.pinion_backlash_ratio(outer_mm),
    );
    let flank = |side: Side| flank_numbers(model, assembly, state.side(side), side);
    Contact {
        misplacement: Moves {
            pinion_mm: m.pinion_mm,
            ring_mm: m.ring_mm,
            offset_mm: m.offset_mm,
            shaft_angle_deg: m.shaft_angle.to_degrees(),
        },
        film_mm: assembly.film_mm,
        drive: flank(Side::Drive),
        coast: flank(Side::Coast),
        backlash: Backlash {
            change_mm: state.backlash_change_mm,
            change_square_mm: state.backlash_change_mm / outer_mm * model.square_radius_mm(),
            ring_ratio: ring.transverse,
            ring_ratio_square: ring.square,
            pinion_ratio: pinion.transverse,
            pinion_ratio_square: pinion.square,
        },
        mesh: Mesh {
            ring_pitch_angle_deg: pair.ring_angle.to_degrees(),
            pinion_pitch_angle_deg: pair.pinion_angle.to_degrees(),
            offset_angle_deg: pair.offset_angle.to_degrees(),
            pinion_spiral_angle_deg: pair.pinion_spiral.to_degrees(),
            mean_cone_distance_mm: pair.mean_cone_mm,
        },
        sensitivities: model
            .sensitivities(m, &assembly.ease_off, assembly.film_mm)
            .iter()
            .map(rates)
            .collect(),
        run_out: None,
        sweep: None,
    }
}

fn flank_numbers(model: &Model, assembly: &Assembly, contact: &FlankContact, side: Side) -> Flank {
    let e = &assembly.ease_off[usize::from(side == Side::Coast)];
    let [length_mm, height_mm] = model.flank_size_mm(side);
    Flank {
        patch: contact.patch.as_ref().map(patch_numbers),
        ease_off: EaseOffNumbers {
            length_mm: e.length_mm,
            height_mm: e.height_mm,
            bias_mm: e.bias_mm,
            centre: e.centre,
        },
        transmission_error: TransmissionError {
            peak_to_peak_urad: 1e6 * contact.transmission_error_range(),
            lag_urad: contact.transmission_error.iter().map(|t| 1e6 * t).collect(),
        },
        length_mm,
        height_mm,
    }
}

fn rates(row: &Sensitivity) -> Rates {
    let (per, factor) = edge_unit(row.cause);
    let side = |rate: PatchRate| FlankRates {
        centre: FlankPoint::new(rate.length / factor, rate.height / factor),
        extent: FlankPoint::new(rate.extent_length / factor, rate.extent_height / factor),
        lean_deg: rate.lean.to_degrees() / factor,
    };
    Rates {
        cause: row.cause.word(),
        per,
        drive: row.sides[0].map(side),
        coast: row.sides[1].map(side),
        backlash_mm: row.backlash / factor,
    }
}

/// The states of one turn with run-out.
pub fn run_out_numbers(model: &Model, assembly: &Assembly, run_out_mm: f64) -> RunOut {
    const PLACES: usize = 16;
    let turn = model.turn_with_run_out(
        &assembly.misplacement,
        &assembly.ease_off,
        assembly.film_mm,
        run_out_mm,
        PLACES,
    );
    let swing = |values: Vec<f64>| {
        values.iter().copied().fold(f64::MIN, f64::max)
            - values.iter().copied().fold(f64::MAX, f64::min)
    };
    let centre = |side: Side| {
        let centres: Option<Vec<FlankPoint>> = turn
            .iter()
            .map(|s| s.side(side).patch.map(|p| p.centre))
            .collect();
        let centres = centres?;
        Some(FlankPoint::new(
            swing(centres.iter().map(|c| c.length).collect()),
            swing(centres.iter().map(|c| c.height).collect()),
        ))
    };
    RunOut {
        run_out_mm,
        backlash_swing_mm: swing(turn.iter().map(|s| s.backlash_change_mm).collect()),
        drive_swing: centre(Side::Drive),
        coast_swing: centre(Side::Coast),
    }
}

/// The states of a sweep as numbers; values in mm or radians.
pub fn sweep_numbers(cause: Cause, steps: &[(f64, State)]) -> Sweep {
    let (unit, factor) = edge_unit(cause);
    let patch = |state: &State, side| state.side(side).patch.as_ref().map(patch_numbers);
    Sweep {
        cause: cause.word(),
        unit,
        steps: steps
            .iter()
            .map(|(value, state)| SweepStep {
                value: value * factor,
                drive: patch(state, Side::Drive),
                coast: patch(state, Side::Coast),
                backlash_change_mm: state.backlash_change_mm,
            })
            .collect(),
    }
}
