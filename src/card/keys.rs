//! What may stand in a card: every key with its kind of value and its sensible range, and the
//! check that turns a written card (TOML, or JSON with units in the keys) into plain numbers.

use super::error::CardError;
use super::key::{Key, Kind, key};
use super::kit_counts::{MOST_OF_A_SHIM, counts_fit, counts_name, sizes_and_counts};
use super::values::read_value;
use super::{bench_keys, blank};
use crate::trade_words::misspelt;
use serde_json::{Map, Value};

/// Keys of a card but those of `[blank]`.
pub(super) const KEYS: &[Key] = &[
    key("", "name", Kind::Text, false),
    key("", "units", Kind::Choice(&["mm", "in"]), false),
    key("gear", "ring_teeth", Kind::Count(12, 120), true),
    key("gear", "pinion_teeth", Kind::Count(3, 60), true),
    key("gear", "ring_diameter", Kind::Length(50.0, 1000.0), true),
    key("gear", "face_width", Kind::Length(5.0, 200.0), true),
    key("gear", "offset", Kind::Length(0.0, 300.0), true),
    key("gear", "spiral_angle_deg", Kind::Degrees(0.0, 50.0), true),
    key(
        "gear",
        "pressure_angle_deg",
        Kind::Degrees(10.0, 30.0),
        false,
    ),
    key(
        "gear",
        "pressure_angle_drive_deg",
        Kind::Degrees(2.0, 50.0),
        false,
    ),
    key(
        "gear",
        "pressure_angle_coast_deg",
        Kind::Degrees(2.0, 50.0),
        false,
    ),
    key("gear", "f_alpha_lim", Kind::Number(-2.0, 2.0), false),
    key(
        "gear",
        "cutting",
        Kind::Choice(&["face-milled", "face-hobbed"]),
        true,
    ),
    key(
        "gear",
        "ring_cut",
        Kind::Choice(&["non-generated", "generated"]),
        false,
    ),
    key("gear", "shaft_angle_deg", Kind::Degrees(60.0, 120.0), false),
    key("gear", "hand", Kind::Choice(&["left", "right"]), false),
    key(
        "gear",
        "drives_on",
        Kind::Choice(&["convex", "concave"]),
        false,
    ),
    key("gear", "pitch_angle_deg", Kind::Degrees(30.0, 89.0), false),
    key("gear", "cutter_radius", Kind::Length(20.0, 400.0), false),
    key("gear", "blade_groups", Kind::Count(3, 40), false),
    key("gear", "whole_depth", Kind::Length(1.0, 50.0), false),
    key("gear", "clearance", Kind::Length(0.0, 10.0), false),
    key("gear", "addendum", Kind::Length(0.0, 25.0), false),
    key("gear", "taper_deg", Kind::Degrees(0.0, 15.0), false),
    key("gear", "crowning_length", Kind::Length(0.002, 0.5), false),
    key("gear", "crowning_height", Kind::Length(0.002, 0.5), false),
    key("gear", "film", Kind::Length(0.001, 0.05), false),
    key(
        "gear",
        "housing",
        Kind::Choice(&["iron", "aluminium"]),
        false,
    ),
    key("target", "drive", Kind::Flank(0.05, 0.95), false),
    key("target", "coast", Kind::Flank(0.05, 0.95), false),
    key("target", "tolerance", Kind::Flank(0.01, 0.5), false),
    key("limits", "backlash", Kind::Window(0.02, 2.0), false),
    key(
        "limits",
        "backlash_variation",
        Kind::Length(0.005, 0.5),
        false,
    ),
    key(
        "limits",
        "pinion_torque_new",
        Kind::TorqueWindow(0.1, 15.0),
        false,
    ),
    key(
        "limits",
        "pinion_torque_used",
        Kind::TorqueWindow(0.05, 15.0),
        false,
    ),
    key(
        "limits",
        "total_torque_rise",
        Kind::TorqueWindow(0.05, 15.0),
        false,
    ),
    key("limits", "ring_runout", Kind::Length(0.005, 0.5), false),
    key(
        "pinion",
        "shim_place",
        Kind::Choice(&["behind head bearing", "under cage"]),
        false,
    ),
    key(
        "pinion",
        "preload",
        Kind::Choice(&["shims", "sleeve"]),
        false,
    ),
    key(
        "carrier",
        "adjust",
        Kind::Choice(&["shims", "threaded"]),
        false,
    ),
    key("carrier", "pitch", Kind::Length(0.5, 6.0), false),
    key("carrier", "notches_per_turn", Kind::Count(4, 200), false),
    key("carrier", "side_pack_total", Kind::Length(0.1, 40.0), false),
    key(
        "carrier",
        "backlash_direction",
        Kind::Choice(&["square", "tangential"]),
        false,
    ),
    key(
        "carrier",
        "backlash_radius",
        Kind::Length(15.0, 500.0),
        false,
    ),
    key("kit", "pinion_shims", Kind::Lengths(0.01, 10.0), false),
    key("kit", "side_shims", Kind::Lengths(0.01, 10.0), false),
    key(
        "kit",
        "pinion_shim_counts",
        Kind::Counts(MOST_OF_A_SHIM),
        false,
    ),
    key(
        "kit",
        "side_shim_counts",
        Kind::Counts(MOST_OF_A_SHIM),
        false,
    ),
];

/// All keys of a card.
pub(crate) fn keys() -> impl Iterator<Item = &'static Key> {
    KEYS.iter().chain(bench_keys::KEYS).chain(blank::KEYS)
}

impl Key {
    /// The name in JSON, where the unit stands in the key.
    pub(crate) fn json_name(&self) -> String {
        let unit = match self.kind {
            Kind::Length(..) | Kind::Window(..) | Kind::Lengths(..) => "_mm",
            Kind::TorqueWindow(..) => "_nm",
            _ => "",
        };
        format!("{}{unit}", self.name)
    }

    /// How messages name the key.
    fn place(&self) -> String {
        if self.table.is_empty() {
            format!("`{}`", self.name)
        } else {
            format!("`{}` in [{}]", self.name, self.table)
        }
    }

    pub(super) fn wrong(&self, message: impl Into<String>) -> CardError {
        CardError::Value {
            place: self.place(),
            message: message.into(),
        }
    }
}

/// Turns a written card into one whose numbers are millimetres, newton-metres and degrees under
/// keys that say so.
///
/// # Errors
/// Unknown or missing keys, values of the wrong kind, without unit, or out of range.
pub(crate) fn normalise(written: &Value) -> Result<Value, CardError> {
    let Value::Object(top) = written else {
        return Err(CardError::NoTable("the card".into()));
    };
    let mut out = Map::new();
    for (name, value) in top {
        if keys().any(|key| key.table == name.as_str()) {
            let Value::Object(table) = value else {
                return Err(CardError::NoTable(format!("[{name}]")));
            };
            let mut inner = Map::new();
            for (name_in, value) in table {
                take(name, name_in, value, &mut inner)?;
            }
            out.insert(name.clone(), Value::Object(inner));
        } else {
            take("", name, value, &mut out)?;
        }
    }
    blank::complete(&mut out)?;
    gear_can_be(&out)?;
    counts_fit(&out)?;
    for key in keys().filter(|key| key.required) {
        let there = out
            .get(key.table)
            .and_then(|table| table.get(key.json_name()));
        if there.is_none() {
            return Err(CardError::Missing { place: key.place() });
        }
    }
    Ok(Value::Object(out))
}

/// Holds what a blank fills in to the ranges of what is written.
fn gear_can_be(card: &Map<String, Value>) -> Result<(), CardError> {
    let (Some(_), Some(gear)) = (card.get("blank"), card.get("gear")) else {
        return Ok(());
    };
    for key in keys().filter(|key| key.table == "gear") {
        if let Some(value) = gear.get(key.json_name()) {
            read_value(key, value, true).map_err(|error| {
                CardError::Together(format!("[blank] makes a gear that cannot be: {error}"))
            })?;
        }
    }
    Ok(())
}

/// Reads one key into `out`.
fn take(
    table: &str,
    name: &str,
    value: &Value,
    out: &mut Map<String, Value>,
) -> Result<(), CardError> {
    let here = || keys().filter(|key| key.table == table);
    let Some(key) = here().find(|key| key.name == name || key.json_name() == name) else {
        return Err(unknown(table, name));
    };
    if value.is_null() {
        return Ok(());
    }
    let unit_in_key = key.name != name || matches!(key.kind, Kind::Degrees(..));
    let sizes = match sizes_and_counts(key, value)? {
        Some((sizes, counts)) => {
            if out.insert(counts_name(key), counts).is_some() {
                return Err(key.wrong("has its counts given twice"));
            }
            sizes
        }
        None => value.clone(),
    };
    let read = read_value(key, &sizes, unit_in_key)?;
    if out.insert(key.json_name(), read).is_some() {
        return Err(key.wrong("is given twice"));
    }
    Ok(())
}

pub(super) fn unknown(table: &str, name: &str) -> CardError {
    let names = keys().filter(|key| key.table == table).map(|key| key.name);
    let tables = keys().map(|key| key.table).filter(|_| table.is_empty());
    let nearest = misspelt(name, names.chain(tables).filter(|known| !known.is_empty()));
    // A key that belongs to another table is the likelier slip than a misspelling.
    let elsewhere = keys().find(|key| key.name == name || key.json_name() == name);
    let hint = match (elsewhere, nearest) {
        (Some(key), _) => format!("it belongs in [{}]", key.table),
        (None, Some(nearest)) => format!("the nearest known key is `{nearest}`"),
        (None, None) => String::from("remove it; examples/larchfield/card.toml has every key"),
    };
    CardError::UnknownKey {
        key: name.to_owned(),
        table: if table.is_empty() {
            "at the top of the card".into()
        } else {
            format!("in [{table}]")
        },
        hint,
    }
}
