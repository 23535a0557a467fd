//! One value of a card: its kind, its unit, its range.

use super::error::CardError;
use super::key::{Key, Kind};
use crate::trade_words::{misspelt, understood};
use crate::units::{
    Angle, AsWritten, INCH_MM, Length, Measured, Torque, UnitError, Units, most_written,
};
use serde_json::{Number, Value};

pub(super) fn read_value(key: &Key, value: &Value, unit_in_key: bool) -> Result<Value, CardError> {
    let millimetres = |item: &Value, low, high| length(key, item, unit_in_key, low, high);
    match key.kind {
        Kind::Text => match value {
            Value::String(_) => Ok(value.clone()),
            _ => Err(key.wrong("must be text in quotes")),
        },
        Kind::Count(low, high) => count(key, value, low, high),
        Kind::Length(low, high) => millimetres(value, low, high).and_then(|mm| number(key, mm)),
        Kind::Lengths(low, high) => list(key, value)?
            .iter()
            .map(|item| millimetres(item, low, high).and_then(|mm| number(key, mm)))
            .collect::<Result<Vec<_>, _>>()
            .map(Value::Array),
        Kind::Counts(most) => list(key, value)?
            .iter()
            .map(|item| count(key, item, 0, most))
            .collect::<Result<Vec<_>, _>>()
            .map(Value::Array),
        Kind::Window(low, high) => window(key, value, |item| millimetres(item, low, high)),
        Kind::TorqueWindow(low, high) => {
            window(key, value, |item| torque(key, item, unit_in_key, low, high))
        }
        Kind::Number(low, high) => {
            let Value::Number(n) = value else {
                return Err(key.wrong("must be a plain number"));
            };
            in_range(key, n.as_f64().unwrap_or(f64::NAN), low, high, "")
                .and_then(|x| number(key, x))
        }
        Kind::Degrees(low, high) => {
            let degrees = match value {
                Value::String(text) => text
                    .parse::<Angle>()
                    .map_err(|error| key.wrong(error.to_string()))?
                    .rad()
                    .to_degrees(),
                Value::Number(n) => n.as_f64().unwrap_or(f64::NAN),
                _ => return Err(key.wrong("must be a number of degrees")),
            };
            in_range(key, degrees, low, high, "degrees").and_then(|x| number(key, x))
        }
        Kind::Choice(words) => choice(key, value, words),
        Kind::Flank(low, high) => flank_place(key, value, low, high),
    }
}

pub(super) fn count(key: &Key, value: &Value, low: u32, high: u32) -> Result<Value, CardError> {
    match value.as_u64() {
        Some(n) if (u64::from(low)..=u64::from(high)).contains(&n) => Ok(value.clone()),
        _ => {
            let nearest = value.as_f64().map_or_else(String::new, |n| {
                let nearest = n.round().clamp(low.into(), high.into());
                format!(", the nearest is {nearest}")
            });
            Err(key.wrong(format!(
                "is {value}; it must be a whole number from {low} to {high}{nearest}{}",
                stamping(value)
            )))
        }
    }
}

/// `39-10` as it is stamped on the gear holds two counts.
fn stamping(value: &Value) -> String {
    let parts = value.as_str().and_then(|text| {
        let (first, second) = text.split_once(['-', '/', ':', 'x'])?;
        Some([
            first.trim().parse::<u32>().ok()?,
            second.trim().parse().ok()?,
        ])
    });
    parts.map_or_else(String::new, |[a, b]| {
        format!(
            ". A stamping of both counts is written ring_teeth = {} and pinion_teeth = {}",
            a.max(b),
            a.min(b)
        )
    })
}

/// What cards called non-generated and generated flanks before, and JSON still does.
const OLD_RING_CUTS: [&str; 2] = ["plunged", "rolled"];

fn choice(key: &Key, value: &Value, words: &[&str]) -> Result<Value, CardError> {
    let written = value.as_str().unwrap_or_default();
    if let Some(word) = understood(key.name, written, words) {
        return Ok(Value::String(word.to_owned()));
    }
    if key.name == "ring_cut" && OLD_RING_CUTS.contains(&written) {
        return Ok(value.clone());
    }
    let nearest = misspelt(written, words.iter().copied())
        .map_or_else(String::new, |word| format!("; the nearest is \"{word}\""));
    Err(key.wrong(format!(
        "is {value}; it must be one of \"{}\"{nearest}",
        words.join("\", \"")
    )))
}

fn flank_place(key: &Key, value: &Value, low: f64, high: f64) -> Result<Value, CardError> {
    let Value::Object(table) = value else {
        return Err(key.wrong("must be written {length = 0.47, height = 0.50}"));
    };
    if let Some(other) = table
        .keys()
        .find(|k| !["length", "height"].contains(&k.as_str()))
    {
        return Err(key.wrong(format!(
            "has `{other}`; it must be written {{length = 0.47, height = 0.50}}"
        )));
    }
    for part in ["length", "height"] {
        let share = table.get(part).and_then(Value::as_f64).unwrap_or(f64::NAN);
        if !(low..=high).contains(&share) {
            return Err(key.wrong(format!(
                "needs a {part} from {low} to {high}, a fraction of the flank"
            )));
        }
    }
    Ok(value.clone())
}

fn list<'v>(key: &Key, value: &'v Value) -> Result<&'v [Value], CardError> {
    match value {
        Value::Array(items) => Ok(items),
        _ => Err(key.wrong("must be a list in [ ]")),
    }
}

fn window(
    key: &Key,
    value: &Value,
    read: impl Fn(&Value) -> Result<f64, CardError>,
) -> Result<Value, CardError> {
    let [low, high] = list(key, value)? else {
        return Err(key.wrong("must be two values, low then high"));
    };
    let (low, high) = (read(low)?, read(high)?);
    if low >= high {
        return Err(key.wrong("has its low end at or above its high end; write low then high"));
    }
    Ok(Value::Array(vec![number(key, low)?, number(key, high)?]))
}

fn length(
    key: &Key,
    value: &Value,
    unit_in_key: bool,
    low: f64,
    high: f64,
) -> Result<f64, CardError> {
    let shown = |mm: f64, units| match units {
        Units::Mm => format!("{mm} mm"),
        Units::In => format!("{} in", (mm / INCH_MM * 1e4).round() / 1e4),
    };
    match value {
        Value::String(text) => sized::<Length>(key, text, [low, high], shown),
        Value::Number(n) if unit_in_key => {
            in_range(key, n.as_f64().unwrap_or(f64::NAN), low, high, "mm")
        }
        Value::Number(n) => Err(key.wrong(format!(
            "{n} has no unit: was `\"{n}mm\"`, `\"{n}in\"` or `\"{n}thou\"` meant?"
        ))),
        _ => Err(key.wrong("must be a length in quotes, such as \"0.030in\"")),
    }
}

fn torque(
    key: &Key,
    value: &Value,
    unit_in_key: bool,
    low: f64,
    high: f64,
) -> Result<f64, CardError> {
    let shown = |nm: f64, units: Units| units.torque(nm);
    match value {
        Value::String(text) => sized::<Torque>(key, text, [low, high], shown),
        Value::Number(n) if unit_in_key => {
            in_range(key, n.as_f64().unwrap_or(f64::NAN), low, high, "N·m")
        }
        other => Err(key.wrong(format!(
            "{other} has no unit: was `\"{other} lb-in\"` or `\"{other} N·m\"` meant?"
        ))),
    }
}

/// Reads a quantity, refuses what no axle has in the units it is written in, and asks for another unit when that
/// would fit.
fn sized<T: Measured>(
    key: &Key,
    text: &str,
    [low, high]: [f64; 2],
    shown: impl Fn(f64, Units) -> String,
) -> Result<f64, CardError> {
    let said: AsWritten<T> = text
        .parse()
        .map_err(|error: UnitError| key.wrong(error.to_string()))?;
    let value = said.inside();
    if (low..=high).contains(&value) {
        return Ok(value);
    }
    let units = most_written(std::iter::once(text)).unwrap_or_default();
    let meant = (said.in_other_units().into_iter()).find(|(_, value)| (low..=high).contains(value));
    let hint = meant.map_or_else(
        || {
            format!(
                "the nearest that would pass is {}",
                shown(if value < low { low } else { high }, units)
            )
        },
        |(meant, _)| format!("was {meant} meant?"),
    );
    Err(key.wrong(format!(
        "is {text}, outside {} to {}; {hint}",
        shown(low, units),
        shown(high, units)
    )))
}

/// Refuses what no axle has.
fn in_range(key: &Key, value: f64, low: f64, high: f64, unit: &str) -> Result<f64, CardError> {
    if (low..=high).contains(&value) {
        return Ok(value);
    }
    if !value.is_finite() {
        return Err(key.wrong("is not a finite number"));
    }
    let nearest = if value < low { low } else { high };
    Err(key.wrong(format!(
        "is {value:.4} {unit}, outside {low} to {high} {unit}; the nearest that would pass is {nearest} {unit}"
    )))
}

fn number(key: &Key, value: f64) -> Result<Value, CardError> {
    Number::from_f64(value)
        .map(Value::Number)
        .ok_or_else(|| key.wrong("is not a finite number"))
}
