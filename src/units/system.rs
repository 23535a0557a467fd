//! Which system of units a text is written in.

use super::Units;
use super::parse::{bare_decimals, comma_as_point, plain, split_number};
use super::tables::{FORCE, LENGTH, Quantity, TORQUE};

/// The system that a number with its unit belongs to; `None` for what is no quantity, and for units of neither.
pub(crate) fn system_of(text: &str) -> Option<Units> {
    if bare_decimals(text.trim()) {
        return Some(Units::In);
    }
    let point = comma_as_point(text.trim()).and_then(Result::ok);
    let (_, unit) = split_number(point.as_deref().unwrap_or(text))?;
    let key = plain(unit);
    let known = |quantity: &Quantity| quantity.units.iter().any(|(name, _)| *name == key);
    if key.is_empty() || ![&LENGTH, &TORQUE, &FORCE].into_iter().any(known) {
        return None;
    }
    // Every unit of the trade that is neither inch nor pound is one of metric countries.
    let inch = key.contains('"')
        || key.starts_with("in")
        || key.starts_with("th")
        || key.starts_with("mil");
    let pound = ["lb", "oz", "ft", "foot", "pound"]
        .iter()
        .any(|word| key.contains(word));
    Some(if inch || pound { Units::In } else { Units::Mm })
}

/// The system most of the quantities are written in; `None` when there is none, or as many of one as of the other.
pub(crate) fn most_written<'a>(texts: impl Iterator<Item = &'a str>) -> Option<Units> {
    let mut lead = 0;
    for text in texts {
        match system_of(text) {
            Some(Units::In) => lead += 1,
            Some(Units::Mm) => lead -= 1,
            None => {}
        }
    }
    match lead {
        0 => None,
        more if more > 0 => Some(Units::In),
        _ => Some(Units::Mm),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_known_unit_belongs_to_the_system_that_it_is_used_in() {
        for unit in LENGTH.units.iter().chain(TORQUE.units).chain(FORCE.units) {
            // Metric units are decimal multiples of the inside unit or of the kilogram-force.
            let decimal = |factor: f64| (factor.log10() - factor.log10().round()).abs() < 1e-9;
            let inch = !decimal(unit.1) && !decimal(unit.1 / crate::units::KILOGRAM_FORCE_N);
            let expected = if inch { Units::In } else { Units::Mm };
            assert_eq!(
                system_of(&format!("3 {}", unit.0)),
                Some(expected),
                "{}",
                unit.0
            );
        }
    }

    #[test]
    fn the_majority_decides_and_words_do_not_count() {
        let of = |texts: &[&str]| most_written(texts.iter().copied());
        assert_eq!(of(&["8.0in", "0.030in", "M12", "1.5mm"]), Some(Units::In));
        assert_eq!(of(&["203mm", "3.5 N·m", "8in"]), Some(Units::Mm));
        assert_eq!(of(&["8in", "203mm"]), None);
        assert_eq!(of(&["left", "41", "12 bananas"]), None);
        assert_eq!(of(&[".030", "0.5"]), Some(Units::In));
    }
}
