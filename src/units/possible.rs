//! The one gate for numbers that come from outside: finite, and no larger than anything that is measured on an axle.
//!
//! The limits are chosen, far outside of everything that questions are asked about elsewhere: what passes may still be
//! wrong, but no sum, square or ratio of it leaves the numbers of the machine.

use serde::Serialize;
use serde_json::Value;

/// Ten metres.
pub(super) const MOST_MM: f64 = 10_000.0;
/// Some sixty times the torque of the largest pinion nut.
pub(super) const MOST_NM: f64 = 100_000.0;
/// The weight of a thousand tonnes.
pub(super) const MOST_N: f64 = 10_000_000.0;
/// A turn.
pub(super) const MOST_DEG: f64 = 360.0;
/// Shares of a flank: a patch lies on it or near it.
const MOST_SHARE: f64 = 100.0;
/// Numbers without a unit: counts, marks, pixels.
const MOST_PLAIN: f64 = 1.0e6;
/// Numbers that nothing is worked out from.
const MOST_OTHER: f64 = 1.0e15;

/// The values that hold a length and a height on a flank.
const ON_FLANK: [&str; 4] = ["centre", "extent", "uncertainty", "spread"];

/// A number that no axle has.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("`{key}` is {value}, which no axle has; at most {most} passes, measure or write it again")]
pub(crate) struct ImpossibleNumber {
    /// Where it stands.
    key: String,
    /// What stands there.
    value: String,
    /// The largest that passes.
    most: f64,
}

/// Whether every number of a JSON value can be; keys say units and so the limit.
///
/// # Errors
/// The first that cannot be.
pub(crate) fn possible(written: &Value) -> Result<(), ImpossibleNumber> {
    gate(written, "", "", false)
}

/// The same of a value on its way into JSON, which would write `null` for a number that is not finite; so `value` must have no
/// `null` of its own.
///
/// # Errors
/// The first number that cannot be.
pub(crate) fn possible_numbers(value: &impl Serialize) -> Result<(), ImpossibleNumber> {
    match serde_json::to_value(value) {
        Ok(written) => gate(&written, "", "", true),
        Err(error) => Err(ImpossibleNumber {
            key: "a value".into(),
            value: error.to_string(),
            most: 0.0,
        }),
    }
}

/// A number without a unit, as a user writes it.
///
/// # Errors
/// No number, or one that cannot be.
#[cfg(feature = "cli")]
pub(crate) fn plain_number(text: &str) -> Result<f64, String> {
    let text = text.trim();
    let number: f64 = text
        .parse()
        .map_err(|_| format!("`{text}` is no plain number"))?;
    if number.abs() <= MOST_PLAIN {
        Ok(number)
    } else {
        Err(format!(
            "`{text}` is no number that can stand here: at most {MOST_PLAIN} passes"
        ))
    }
}

fn gate(value: &Value, above: &str, key: &str, null_is_lost: bool) -> Result<(), ImpossibleNumber> {
    let refused = |value: String| {
        Err(ImpossibleNumber {
            key: key.to_owned(),
            value,
            most: most(above, key),
        })
    };
    match value {
        Value::Null if null_is_lost => refused("no finite number".into()),
        Value::Number(number) => match number.as_f64() {
            Some(x) if x.abs() <= most(above, key) => Ok(()),
            _ => refused(number.to_string()),
        },
        Value::Array(items) => items
            .iter()
            .try_for_each(|item| gate(item, above, key, null_is_lost)),
        Value::Object(table) => table
            .iter()
            .try_for_each(|(name, item)| gate(item, key, name, null_is_lost)),
        Value::Null | Value::Bool(_) | Value::String(_) => Ok(()),
    }
}

/// The largest number that passes under a key.
fn most(above: &str, key: &str) -> f64 {
    let named = |end: &str| key.ends_with(end);
    if named("_mm") {
        MOST_MM
    } else if named("_nm") {
        MOST_NM
    } else if named("_deg") {
        MOST_DEG
    } else if named("_notches") {
        MOST_PLAIN
    } else if ON_FLANK.contains(&above) || ON_FLANK.contains(&key) {
        MOST_SHARE
    } else {
        MOST_OTHER
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn a_number_that_no_axle_has_is_named_wherever_it_stands() {
        for (value, key) in [
            (
                json!({"trial": {"pinion_shim_mm": 1e308}}),
                "pinion_shim_mm",
            ),
            (json!([{"backlash_mm": [0.2, -1e7]}]), "backlash_mm"),
            (
                json!({"drive": {"centre": {"length": 1e200, "height": 0.5}}}),
                "length",
            ),
            (json!({"drive": {"lean_deg": 1e200}}), "lean_deg"),
            (json!({"bench": {"pinion_nut_nm": 1e9}}), "pinion_nut_nm"),
            (json!({"ring_notches": 2_000_000_000}), "ring_notches"),
            (json!({"anything": 1e300}), "anything"),
        ] {
            let error = possible(&value).unwrap_err().to_string();
            assert!(error.contains(&format!("`{key}`")), "{error}");
        }
        let usual = json!({"photo": {"width": 4000, "height": 3000}, "pinion_shim_mm": 0.762, "ring_notches": -4,
            "drive": {"centre": {"length": 1.2, "height": -0.1}, "lean_deg": -40.0}, "was": null});
        assert_eq!(possible(&usual), Ok(()));
    }

    #[test]
    fn a_number_that_json_would_lose_is_refused() {
        assert!(possible_numbers(&[0.2, f64::NAN]).is_err());
        assert!(possible_numbers(&[0.2, f64::INFINITY]).is_err());
        assert_eq!(possible_numbers(&[0.2, 0.3]), Ok(()));
    }
}
