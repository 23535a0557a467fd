//! The options of every command: how it prints, and in which units.

use super::settings::Settings;
use crate::schema::Card;
use crate::units::{LengthUnit, Shown, TorqueUnit, Units, most_written};
use crate::{Error, Result};
use clap::{Args, ValueEnum as _};
use std::ffi::OsString;

/// What every command may be told.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "Output, for every command")]
pub(super) struct Globals {
    /// One JSON document on standard output, for machines; errors too.
    #[arg(long, global = true)]
    json: bool,
    /// No progress and no remarks on standard error.
    #[arg(long, short, global = true)]
    quiet: bool,
    /// Units of the text: mm (with newton-metres) or in (thousandths of an inch, pounds). Else FLANKREAD_UNITS, the
    /// settings file, what the card is written in, what the command line is written in, mm. JSON is always in
    /// millimetres and newton-metres.
    #[arg(long, global = true, value_enum, value_name = "UNITS")]
    units: Option<Units>,
    /// One unit for all lengths of the text.
    #[arg(
        id = "length_unit",
        long = "length-unit",
        global = true,
        value_enum,
        value_name = "UNIT"
    )]
    length: Option<LengthUnit>,
    /// One unit for all torques of the text.
    #[arg(
        id = "torque_unit",
        long = "torque-unit",
        global = true,
        value_enum,
        value_name = "UNIT"
    )]
    torque: Option<TorqueUnit>,
}

/// How a command prints.
#[derive(Debug, Clone, Copy)]
pub(crate) struct OutputOptions {
    /// JSON on standard output.
    pub json: bool,
    /// Nothing on standard error but errors.
    pub quiet: bool,
    /// The units that were asked for, by an option or a setting.
    pub asked: Option<Units>,
    /// The units that the quantities of the command line are in.
    typed: Option<Units>,
    length: Option<LengthUnit>,
    torque: Option<TorqueUnit>,
}

impl OutputOptions {
    /// The units a text is written in: those asked for, else those the card is written in, else those that were typed.
    pub(crate) fn units(self, card: Option<&Card>) -> Units {
        self.asked
            .or_else(|| card.and_then(|card| card.units))
            .or(self.typed)
            .unwrap_or_default()
    }

    /// The same where nothing that was typed has a unit but this.
    pub(crate) fn or_typed(self, units: Units) -> Self {
        Self {
            typed: self.typed.or(Some(units)),
            ..self
        }
    }

    /// The same with the single units that were asked for.
    pub(crate) fn shown(self, card: Option<&Card>) -> Shown {
        Shown {
            units: self.units(card),
            length: self.length,
            torque: self.torque,
        }
    }
}

impl Globals {
    /// What was asked for on the command line, in the environment and in the settings file, in this order.
    ///
    /// # Errors
    /// A setting that is no unit, a settings file that cannot be used.
    pub(super) fn output(&self, arguments: &[OsString]) -> Result<OutputOptions> {
        let settings = Settings::read()?;
        let from_environment = match std::env::var_os("FLANKREAD_UNITS") {
            Some(said) if !said.is_empty() => {
                let said = said.to_string_lossy().into_owned();
                Some(Units::from_str(&said, true).map_err(|_| {
                    Error::usage(format!(
                        "FLANKREAD_UNITS is `{said}`; it must be mm or in, or not set"
                    ))
                })?)
            }
            _ => None,
        };
        let texts = arguments.iter().filter_map(|argument| argument.to_str());
        let quantities = texts.flat_map(|text| text.split(['=', ',', '+']));
        Ok(OutputOptions {
            json: self.json,
            quiet: self.quiet,
            asked: self.units.or(from_environment).or(settings.units),
            typed: most_written(quantities),
            length: self.length.or(settings.length_unit),
            torque: self.torque.or(settings.torque_unit),
        })
    }
}
