//! What warmth does to a set in a housing of light alloy.

use super::case::Case;
use crate::frames::Side;
use crate::schema::{Advice, Housing, Move};

/// Coefficient of linear expansion of aluminium casting alloys less that of steel, per kelvin: 21.5e-6 (EN 1706, AC-46000,
/// from memory) less 11.5e-6 (EN 10088-1 and handbooks, from memory).
const EXPANSION_PER_KELVIN: f64 = 10.0e-6;

/// From the bench to working temperature, kelvin. Common practice, no source.
const WARMER_KELVIN: f64 = 80.0;

/// Says where a light housing takes the patches when it is warm. Targets are meant cold, as they are set on the bench.
pub(crate) fn caution(advice: &mut Advice, case: &Case) {
    if case.card.gear.housing != Some(Housing::Aluminium) {
        return;
    }
    let (model, told) = (&case.model, &case.explained[0]);
    let farther_mm = EXPANSION_PER_KELVIN * WARMER_KELVIN * model.pinion_distance_mm();
    let warm = case.now
        + advice.change.unwrap_or_default()
        + Move {
            pinion_mm: farther_mm,
            ring_mm: 0.0,
        };
    let of = |at| {
        told.model
            .predict(&told.estimate.parameters, told.doubt.really(at))
    };
    let cold = of(case.now + advice.change.unwrap_or_default());
    let shown = of(warm);
    let up = |side: Side| match side {
        Side::Drive => shown.drive.centre.height - cold.drive.centre.height,
        Side::Coast => shown.coast.centre.height - cold.coast.centre.height,
    };
    advice.cautions.push(format!(
        "The housing is aluminium: some {WARMER_KELVIN:.0} K warmer it stands the pinion about {} farther from the ring gear, and the \
         patches {:.2} (drive) and {:.2} (coast) of the height nearer the tip. The target is meant cold, as set on the bench.",
        case.units.shim(farther_mm),
        up(Side::Drive),
        up(Side::Coast)
    ));
}
