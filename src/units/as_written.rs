//! A quantity together with the words it was given in, so that a doubtful one can be asked back.

use super::UnitError;
use super::parse::{comma_as_point, split_number};
use std::str::FromStr;

/// A quantity whose number may have been meant in another of its units.
pub(crate) trait Measured: FromStr<Err = UnitError> + Copy {
    /// The value in the inside unit.
    fn inside(self) -> f64;
    /// The usual units.
    fn units() -> &'static [&'static str];
}

/// A quantity as it was written.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct AsWritten<T> {
    /// What was written.
    pub text: String,
    /// What it means.
    pub value: T,
}

impl<T: Measured> FromStr for AsWritten<T> {
    type Err = UnitError;

    fn from_str(text: &str) -> Result<Self, UnitError> {
        Ok(Self {
            text: text.trim().to_owned(),
            value: text.parse()?,
        })
    }
}

impl<T: Measured> AsWritten<T> {
    /// The value in the inside unit.
    pub(crate) fn inside(&self) -> f64 {
        self.value.inside()
    }

    /// The same number in every usual unit, with its value in the inside unit.
    pub(crate) fn in_other_units(&self) -> Vec<(String, f64)> {
        let point = comma_as_point(&self.text).and_then(Result::ok);
        let Some((number, _)) = split_number(point.as_deref().unwrap_or(&self.text)) else {
            return Vec::new();
        };
        T::units()
            .iter()
            .filter_map(|unit| {
                let text = format!("{number} {unit}");
                let value: T = text.parse().ok()?;
                Some((text, value.inside()))
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Torque;

    #[test]
    fn the_same_number_in_other_units() {
        let said: AsWritten<Torque> = "150 lb-in".parse().unwrap();
        let others = said.in_other_units();
        let feet = others.iter().find(|(text, _)| text == "150 lb-ft").unwrap();
        // 150 lb-ft = 203.4 N·m (NIST SP 811, B.8: 1 lbf·ft = 1.355 818 N·m).
        assert!((feet.1 - 203.37).abs() < 0.01);
        assert_eq!(others.len(), 5);
    }
}
