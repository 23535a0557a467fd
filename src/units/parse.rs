//! A number with its unit, as people write it.

use super::tables::Quantity;
use super::{INCH_MM, UnitError};
use std::borrow::Cow;

/// Lower case without the marks people put between the parts of a unit.
pub(super) fn plain(unit: &str) -> String {
    unit.chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, '-' | '·' | '⋅' | '*' | '.' | '/'))
        .flat_map(char::to_lowercase)
        .collect()
}

/// The number with a decimal point for its comma; `None` without a comma that could be one.
pub(super) fn comma_as_point(text: &str) -> Option<Result<String, UnitError>> {
    let (before, after) = text.split_once(',')?;
    let whole = before.trim_start_matches(['+', '-']);
    let decimals = after.bytes().take_while(u8::is_ascii_digit).count();
    let digits_only = !whole.is_empty() && whole.bytes().all(|c| c.is_ascii_digit());
    let more = after[decimals..].starts_with([',', '.']);
    if !digits_only || decimals == 0 || (more && decimals != 3) {
        return None;
    }
    let decimal = format!("{before}.{after}");
    // `0,762` is a decimal comma; `1,250` may be either.
    if decimals == 3 && !whole.starts_with('0') {
        return Some(Err(UnitError::Comma {
            text: text.to_owned(),
            decimal,
            thousands: text.replace(',', ""),
        }));
    }
    (!more).then_some(Ok(decimal))
}

/// Splits `text` where its number ends. A number may be a fraction of whole numbers (`3/8`).
pub(super) fn split_number(text: &str) -> Option<(f64, &str)> {
    let text = text.trim();
    let sign = usize::from(text.starts_with(['+', '-']));
    let digits = |from: usize| {
        text[from..]
            .find(|c: char| !c.is_ascii_digit() && c != '.')
            .map_or(text.len(), |n| from + n)
    };
    let mut end = digits(sign);
    let rest = &text[end..];
    if let Some(power) = rest.strip_prefix(['e', 'E']) {
        let signed = usize::from(power.starts_with(['+', '-']));
        if power[signed..].starts_with(|c: char| c.is_ascii_digit()) {
            end = digits(end + 1 + signed);
        }
    }
    let number: f64 = text[..end].parse().ok()?;
    if let Some(below) = text[end..].strip_prefix('/') {
        let length = below
            .find(|c: char| !c.is_ascii_digit())
            .unwrap_or(below.len());
        if let Ok(divisor) = below[..length].parse::<u32>() {
            return (divisor > 0).then(|| (number / f64::from(divisor), below[length..].trim()));
        }
    }
    number.is_finite().then(|| (number, text[end..].trim()))
}

pub(super) fn parse(text: &str, quantity: &Quantity) -> Result<f64, UnitError> {
    let text = match comma_as_point(text.trim()) {
        Some(point) => Cow::Owned(point?),
        None => Cow::Borrowed(text.trim()),
    };
    let Some((number, unit)) = split_number(&text) else {
        return Err(UnitError::NotANumber {
            text: text.into_owned(),
            quantity: quantity.name,
            example: quantity.example,
        });
    };
    if unit.is_empty() {
        if quantity.bare_inches && bare_decimals(&text) {
            return within(number * INCH_MM, &text, quantity);
        }
        let choices: Vec<String> = quantity
            .usual
            .iter()
            .map(|unit| format!("`{text} {unit}`"))
            .collect();
        return Err(UnitError::NoUnit {
            text: text.into_owned(),
            choices: one_of(&choices),
        });
    }
    let key = plain(unit);
    if let Some((_, factor)) = quantity.units.iter().find(|(name, _)| *name == key) {
        return within(number * factor, &text, quantity);
    }
    // The first part of units that need two: `14 lb` may be either torque.
    let begun: Vec<String> = (quantity.usual.iter())
        .filter(|unit| plain(unit).starts_with(&key))
        .map(|unit| format!("`{number} {unit}`"))
        .collect();
    let hint = match (misspelt(&key, quantity), begun.as_slice()) {
        (Some(unit), _) => format!("the nearest is `{unit}`"),
        (None, []) => format!("known are {}", quantity.usual.join(", ")),
        (None, begun) => format!("was {} meant?", one_of(begun)),
    };
    Err(UnitError::UnknownUnit {
        text: text.to_string(),
        unit: unit.to_owned(),
        quantity: quantity.name,
        hint,
    })
}

/// The value, unless nothing measured on an axle can be as much.
fn within(value: f64, text: &str, quantity: &Quantity) -> Result<f64, UnitError> {
    if value.abs() <= quantity.most {
        return Ok(value);
    }
    Err(UnitError::Impossible {
        text: text.to_owned(),
        quantity: quantity.name,
        example: quantity.example,
    })
}

/// `.030`, `-.0305`: nothing before the point, three or four decimals behind it.
pub(super) fn bare_decimals(text: &str) -> bool {
    let decimals = text.trim_start_matches(['+', '-']).strip_prefix('.');
    decimals.is_some_and(|decimals| {
        (3..=4).contains(&decimals.len()) && decimals.bytes().all(|c| c.is_ascii_digit())
    })
}

/// The usual unit that was meant, where a letter is wrong and no unit of another size is as near: between inches and
/// millimetres, or pound-inches and pound-feet, nothing is guessed.
fn misspelt(key: &str, quantity: &Quantity) -> Option<&'static str> {
    let length = key.chars().count();
    let near = |name: &str| length >= 3 && strsim::damerau_levenshtein(name, key) <= 1;
    let mut factors = quantity
        .units
        .iter()
        .filter(|(name, _)| near(name))
        .map(|(_, factor)| *factor);
    let factor = factors.next()?;
    if factors.any(|other| other != factor) {
        return None;
    }
    let usual = quantity.usual.iter().copied();
    usual.into_iter().find(|unit| {
        let unit = plain(unit);
        quantity
            .units
            .iter()
            .any(|(name, f)| *name == unit && *f == factor)
    })
}

/// `a`, `a or b`, `a, b or c`.
fn one_of(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [only] => only.clone(),
        [first @ .., last] => format!("{} or {last}", first.join(", ")),
    }
}

/// The parts of a list with commas or semicolons; a comma between two digits is a decimal comma.
pub(crate) fn listed(text: &str) -> impl Iterator<Item = &str> {
    let digit = |at: Option<u8>| at.is_some_and(|byte| byte.is_ascii_digit());
    let bytes = text.as_bytes();
    let cuts = text.char_indices().filter(move |(at, sign)| match sign {
        ';' => true,
        ',' => {
            let before = at.checked_sub(1).and_then(|at| bytes.get(at).copied());
            !(digit(before) && digit(bytes.get(at + 1).copied()))
        }
        _ => false,
    });
    let mut ends: Vec<usize> = cuts.map(|(at, _)| at).collect();
    ends.push(text.len());
    let mut from = 0;
    ends.into_iter()
        .map(move |end| {
            let part = text.get(from..end).unwrap_or_default().trim();
            from = end + 1;
            part
        })
        .filter(|part| !part.is_empty())
}

#[cfg(test)]
mod tests {
    use super::listed;

    #[test]
    fn a_decimal_comma_parts_no_list() {
        let parts = |text| listed(text).collect::<Vec<_>>();
        assert_eq!(
            parts("0.003in, 0.005in,0.010in"),
            ["0.003in", "0.005in", "0.010in"]
        );
        assert_eq!(parts("0,08mm;0,13mm ;"), ["0,08mm", "0,13mm"]);
        assert_eq!(parts("0,08mm, 0,13mm"), ["0,08mm", "0,13mm"]);
        assert_eq!(parts("24lb-in,25lb-in"), ["24lb-in", "25lb-in"]);
        assert_eq!(parts(""), [""; 0]);
    }
}
