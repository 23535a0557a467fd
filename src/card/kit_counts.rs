//! How many shims of each size a kit has.

use super::error::CardError;
use super::key::{Key, Kind};
use super::keys::KEYS;
use super::values::count;
use serde_json::{Map, Value};

/// Where the counts of a list of shims stand.
pub(super) fn counts_name(key: &Key) -> String {
    format!("{}_counts", key.name.trim_end_matches('s'))
}

/// Shims written with how many there are of each, `[{size = "0.003in", count = 2}, …]`, as two lists; `None` for a plain
/// list of sizes.
pub(super) fn sizes_and_counts(
    key: &Key,
    value: &Value,
) -> Result<Option<(Value, Value)>, CardError> {
    let (Kind::Lengths(..), Value::Array(items)) = (key.kind, value) else {
        return Ok(None);
    };
    if !items.iter().any(Value::is_object) {
        return Ok(None);
    }
    let wrong = || {
        key.wrong("must give every shim as {size = \"0.003in\", count = 2}, or every shim as its size alone")
    };
    let (mut sizes, mut counts) = (Vec::new(), Vec::new());
    for item in items {
        let (Some(size), Some(many), Some(2)) = (
            item.get("size"),
            item.get("count"),
            item.as_object().map(Map::len),
        ) else {
            return Err(wrong());
        };
        sizes.push(size.clone());
        counts.push(count(key, many, 0, MOST_OF_A_SHIM)?);
    }
    Ok(Some((Value::Array(sizes), Value::Array(counts))))
}

/// No kit has more of one shim.
pub(super) const MOST_OF_A_SHIM: u32 = 99;

/// Every list of counts is as long as its list of shims.
pub(super) fn counts_fit(card: &Map<String, Value>) -> Result<(), CardError> {
    let Some(kit) = card.get("kit") else {
        return Ok(());
    };
    let long = |name: &str| kit.get(name).and_then(Value::as_array).map(Vec::len);
    for key in KEYS.iter().filter(|key| key.table == "kit") {
        let (shims, counts) = (long(&key.json_name()), long(&counts_name(key)));
        if matches!(key.kind, Kind::Lengths(..))
            && counts.is_some_and(|n| n > 0 && Some(n) != shims)
        {
            return Err(key.wrong(format!(
                "has {} sizes, but `{}` has {} numbers; give one for each",
                shims.unwrap_or_default(),
                counts_name(key),
                counts.unwrap_or_default()
            )));
        }
    }
    Ok(())
}
