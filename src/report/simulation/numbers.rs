//! What a simulation says: `flankread/simulation/1`.

use crate::contact::sensitivity::{Cause, PatchRate, Sensitivity};
use crate::contact::{self, EaseOff, FlankContact, Misalignment, Model, State};
use crate::frames::{FlankPoint, Side};
use crate::gear::blank::Blank;
use crate::schema::simulation::{
    Backlash, Contact, Derived, EaseOffNumbers, Flank, FlankRates, Mesh, Moves, Rates, RunOut,
    Sweep, SweepStep, TransmissionError,
};
use crate::schema::{Margin, Patch};
use serde_json::{Map, Value};

/// What is simulated.
#[derive(Debug, Clone)]
pub(crate) struct Assembly {
    /// How far pinion and ring gear stand from their right places.
    pub misalignment: Misalignment,
    /// Ease-off of drive and coast.
    pub ease_off: [EaseOff; 2],
    /// Marking film, mm.
    pub film_mm: f64,
}

impl Assembly {
    /// The model's state of this assembly.
    pub(crate) fn state(&self, model: &Model) -> State {
        model.state(&self.misalignment, &self.ease_off, self.film_mm)
    }

    /// The same with `by` (mm or radians) more of a cause.
    #[must_use]
    pub(crate) fn with(&self, cause: Cause, by: f64) -> Self {
        let mut other = self.clone();
        cause.add(
            by,
            &mut other.misalignment,
            &mut other.ease_off,
            &mut other.film_mm,
        );
        other
    }
}

/// Whether the cause is in degrees at the edge of the program, and the factor to there.
pub(crate) fn edge_unit(cause: Cause) -> (&'static str, f64) {
    if cause.is_angle() {
        ("deg", 1f64.to_degrees())
    } else {
        ("mm", 1.0)
    }
}

/// A patch as readings print it.
pub(crate) fn patch_numbers(patch: &contact::Patch) -> Patch {
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
pub(crate) fn blank_numbers(blank: &Blank) -> Map<String, Value> {
    blank
        .symbols()
        .into_iter()
        .map(|(symbol, value)| (symbol.to_owned(), Value::from(value)))
        .collect()
}

/// What the card left out, in the units of its keys.
pub(crate) fn derived_numbers(model: &Model) -> Vec<Derived> {
    model
        .dimensions()
        .derived
        .iter()
        .map(|d| {
            let (suffix, factor) = match d.key {
                "pitch_angle" | "taper" | "pressure_angle_drive" | "pressure_angle_coast" => {
                    ("_deg", 1f64.to_degrees())
                }
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
pub(crate) fn contact_numbers(model: &Model, assembly: &Assembly, state: &State) -> Contact {
    let (m, pair) = (&assembly.misalignment, model.pair());
    let outer_mm = 0.5 * model.dimensions().ring_diameter_mm;
    let (ring, pinion) = (
        model.ring_backlash_ratio(outer_mm),
        model.pinion_backlash_ratio(outer_mm),
    );
    let flank = |side: Side| flank_numbers(model, assembly, state.side(side), side);
    Contact {
        misalignment: Moves {
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
pub(crate) fn run_out_numbers(model: &Model, assembly: &Assembly, run_out_mm: f64) -> RunOut {
    const PLACES: usize = 16;
    let turn = model.turn_with_run_out(
        &assembly.misalignment,
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
pub(crate) fn sweep_numbers(cause: Cause, steps: &[(f64, State)]) -> Sweep {
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
