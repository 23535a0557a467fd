//! The settings file: what a user wants every time.

use crate::files::{MOST_TEXT_BYTES, read_text};
use crate::trade_words::misspelt;
use crate::units::{LengthUnit, TorqueUnit, Units};
use crate::{Error, Result};
use clap::ValueEnum;
use std::path::{Path, PathBuf};

/// What the settings file says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Settings {
    /// Units of the texts.
    pub units: Option<Units>,
    /// One unit for all lengths.
    pub length_unit: Option<LengthUnit>,
    /// One unit for all torques.
    pub torque_unit: Option<TorqueUnit>,
}

const KEYS: [&str; 3] = ["units", "length_unit", "torque_unit"];

/// `FLANKREAD_CONFIG`, else `flankread/config.toml` in the user's folder of settings, and whether it was named.
pub(super) fn place() -> Option<(PathBuf, bool)> {
    let set = |name: &str| std::env::var_os(name).filter(|value| !value.is_empty());
    if let Some(path) = set("FLANKREAD_CONFIG") {
        return Some((path.into(), true));
    }
    let folder = set("XDG_CONFIG_HOME")
        .or_else(|| set("APPDATA"))
        .map(PathBuf::from)
        .or_else(|| set("HOME").map(|home| Path::new(&home).join(".config")))?;
    Some((folder.join("flankread").join("config.toml"), false))
}

impl Settings {
    /// Reads the file; none is no fault, unless it was named.
    ///
    /// # Errors
    /// The file cannot be read, is no TOML, or says what no setting is.
    pub(super) fn read() -> Result<Self> {
        let Some((path, named)) = place() else {
            return Ok(Self::default());
        };
        match read_text(&path, MOST_TEXT_BYTES) {
            Ok(text) => Self::of(&text).map_err(|why| {
                Error::usage(format!("the settings file {}: {why}", path.display()))
            }),
            // A home that cannot be looked into, as a service has, holds no settings.
            Err(_) if !named && !path.is_file() => Ok(Self::default()),
            Err(error) => Err(Error::input(&path, error)),
        }
    }

    fn of(text: &str) -> std::result::Result<Self, String> {
        let table: toml::Table = text
            .parse()
            .map_err(|error| format!("it is not valid TOML: {error}"))?;
        let mut settings = Self::default();
        for (key, value) in &table {
            let said = value.as_str().unwrap_or_default();
            match key.as_str() {
                "units" => settings.units = Some(word(key, said)?),
                "length_unit" => settings.length_unit = Some(word(key, said)?),
                "torque_unit" => settings.torque_unit = Some(word(key, said)?),
                _ => {
                    let nearest = misspelt(key, KEYS).map_or_else(String::new, |nearest| {
                        format!("; the nearest is `{nearest}`")
                    });
                    return Err(format!(
                        "`{key}` is no setting; there are {}{nearest}",
                        KEYS.join(", ")
                    ));
                }
            }
        }
        Ok(settings)
    }
}

fn word<T: ValueEnum>(key: &str, said: &str) -> std::result::Result<T, String> {
    T::from_str(said, true).map_err(|_| {
        let known: Vec<String> = T::value_variants()
            .iter()
            .filter_map(|value| Some(format!("\"{}\"", value.to_possible_value()?.get_name())))
            .collect();
        format!("{key} must be one of {}", known.join(", "))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn settings_are_read_and_slips_named() {
        let settings = Settings::of("units = \"in\"\ntorque_unit = \"lb-ft\"\n").unwrap();
        assert_eq!(settings.units, Some(Units::In));
        assert_eq!(settings.torque_unit, Some(TorqueUnit::LbFt));
        assert_eq!(settings.length_unit, None);
        for (text, part) in [
            ("unit = \"in\"", "nearest is `units`"),
            ("units = \"furlong\"", "units must be one of \"mm\", \"in\""),
            ("units = 3", "units must be one of"),
            ("units", "not valid TOML"),
        ] {
            let error = Settings::of(text).unwrap_err();
            assert!(error.contains(part), "{text}: {error}");
        }
    }
}
