//! What is measured of an assembly, as the keys of the page ask for it: in the card's units, with what the trial before had.

use crate::job::assembly::carried;
use crate::schema::record::Record;
use crate::schema::{Adjust, Preload};
use crate::units::Shown;
use schemars::JsonSchema;
use serde::Serialize;

/// The values to ask for, in order.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct Fields {
    /// Always `flankread/page-fields/1`.
    schema: &'static str,
    /// One a value.
    fields: Vec<Field>,
    /// The trial that packs are taken over from.
    #[serde(skip_serializing_if = "Option::is_none")]
    before: Option<i64>,
}

/// One value.
#[derive(Debug, Serialize, JsonSchema)]
struct Field {
    /// Its key in a trial that is told.
    key: &'static str,
    /// What it is called.
    name: &'static str,
    /// Where or how it is measured.
    hint: &'static str,
    /// The unit that is written behind the number; none for notches.
    unit: String,
    /// The number of the trial before.
    #[serde(skip_serializing_if = "Option::is_none")]
    before: Option<String>,
    /// Any number of values may be told.
    several: bool,
}

/// The values to ask for of a job's next trial.
pub(super) fn fields(record: &Record, shown: &Shown) -> Fields {
    let card = &record.card;
    let (before, carried) = carried(record).unzip();
    let carried = carried.unwrap_or_default();
    let (trial, bench) = (&carried.trial, &carried.bench);
    let split = |text: String| match text.split_once(' ') {
        Some((number, unit)) => (number.to_owned(), unit.to_owned()),
        None => (text, String::new()),
    };
    let plain = |number: String| match number.split_once('.') {
        Some((whole, rest)) if rest.bytes().all(|b| b == b'0') => whole.to_owned(),
        _ => number,
    };
    let length_unit = split(shown.shim(1.0)).1;
    let torque_unit = split(shown.torque(1.0)).1;
    let pack = |key, name, hint, before: Option<f64>| Field {
        key,
        name,
        hint,
        unit: length_unit.clone(),
        before: before.map(|mm| plain(split(shown.shim(mm)).0)),
        several: false,
    };
    let mut fields = vec![
        Field {
            several: true,
            ..pack(
                "backlash",
                "Backlash",
                "Dial square to the tooth unless the card says otherwise; four places round the gear are best.",
                None,
            )
        },
        pack(
            "pinion_shim",
            "Pinion pack",
            "With an oil slinger or baffle that sits between head and bearing.",
            trial.pinion_shim_mm,
        ),
    ];
    match card.carrier.adjust {
        Adjust::Shims => fields.extend([
            pack(
                "ring_side_shim",
                "Pack behind the ring gear",
                "On the side of the ring gear's back face.",
                trial.ring_side_shim_mm,
            ),
            pack(
                "far_side_shim",
                "Pack on the other side",
                "On the far side of the carrier.",
                trial.far_side_shim_mm,
            ),
        ]),
        Adjust::Threaded => fields.push(Field {
            unit: String::new(),
            before: trial.ring_notches.map(|notches| notches.to_string()),
            ..pack(
                "notches",
                "Adjusters, notches",
                "From any zero of this job; + is the ring gear away from the pinion.",
                None,
            )
        }),
    }
    if card.pinion.preload == Preload::Shims {
        fields.push(pack(
            "preload_pack",
            "Pack between the pinion's bearings",
            "Only if it is known.",
            bench.preload_pack_mm,
        ));
    }
    fields.push(Field {
        unit: torque_unit,
        several: true,
        ..pack(
            "pinion_torque",
            "Torque to turn the pinion",
            "Without the seal, after some turns.",
            None,
        )
    });
    Fields {
        schema: "flankread/page-fields/1",
        fields,
        before,
    }
}
