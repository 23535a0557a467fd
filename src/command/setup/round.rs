//! `flankread setup backlash`.

use super::{Common, two, window};
use crate::Result;
use crate::command::OutputOptions;
use crate::contact::Model;
use crate::rules::RulesError;
use crate::schema::{BacklashDirection, Card};
use crate::setup::backlash_ratio::of_card;
use crate::setup::round_the_gear::{BacklashAt, Conversion, Limits, answer, evenly, judge};
use crate::setup::usual::BACKLASH;
use crate::setup::{Answer, SetupError};
use crate::units::{AsWritten, Length};
use clap::{Args, ValueEnum};

/// Backlash round the gear: mean, range, run-out, verdict.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: flankread setup backlash --card axle.toml --reading 0.19mm --reading 0.20mm --reading 0.21mm --reading 0.20mm"
)]
pub(super) struct Backlash {
    /// A reading, in order round the gear at equal steps, or each with --at.
    #[arg(long = "reading", value_name = "LENGTH", required = true)]
    readings: Vec<AsWritten<Length>>,
    /// Where each reading was taken, degrees.
    #[arg(long = "at", value_name = "DEGREES", allow_hyphen_values = true)]
    at_deg: Vec<f64>,
    /// Window for the backlash, low then high; from the card when not given.
    #[arg(long, num_args = 2, value_names = ["LOW", "HIGH"])]
    window: Vec<AsWritten<Length>>,
    /// Greatest variation; from the card when not given.
    #[arg(long, value_name = "LENGTH")]
    variation: Option<Length>,
    /// How the indicator stood; the mean is then also given the other way.
    #[arg(long, value_enum)]
    direction: Option<DirectionArg>,
    /// Radius the indicator stood at; the card's when not given.
    #[arg(long, value_name = "LENGTH")]
    radius: Option<Length>,
    /// Spiral angle for the conversion, when there is no card, degrees.
    #[arg(long, value_name = "DEGREES")]
    spiral_angle: Option<f64>,
    /// Normal pressure angle for the conversion, when there is no card, degrees.
    #[arg(long, value_name = "DEGREES", default_value_t = 20.0)]
    pressure_angle: f64,
    #[command(flatten)]
    common: Common,
}

/// How the indicator stood, as the command line writes it.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum DirectionArg {
    /// Square to the tooth.
    Square,
    /// Along the circle the gear turns in.
    Tangential,
}

impl Backlash {
    pub(super) fn answer(&self, output: OutputOptions) -> Result<Answer> {
        let card = self.common.card()?;
        let sure = self.common.as_written;
        let readings = BACKLASH.check_all(&self.readings, sure)?;
        let places = if self.at_deg.is_empty() {
            evenly(&readings)
        } else if self.at_deg.len() == readings.len() {
            self.at_deg
                .iter()
                .zip(&readings)
                .map(|(at_deg, backlash_mm)| BacklashAt {
                    at_deg: *at_deg,
                    backlash_mm: *backlash_mm,
                })
                .collect()
        } else {
            return Err(SetupError::Missing(format!(
                "{} readings but {} places; give --at once for each --reading, or never",
                readings.len(),
                self.at_deg.len()
            ))
            .into());
        };
        let given = window(two(&BACKLASH.check_all(&self.window, sure)?), "--window")?;
        let limits = Limits {
            window_mm: given.or(card.as_ref().and_then(|card| card.limits.backlash_mm)),
            variation_mm: self.variation.map(Length::mm).or(card
                .as_ref()
                .and_then(|card| card.limits.backlash_variation_mm)),
            ratio: card
                .as_ref()
                .map(of_card)
                .transpose()
                .map_err(RulesError::from)?
                .map(|ratio| ratio.ratio),
        };
        let mut round = judge(&places, &limits)?;
        round.conversion = self.conversion(card.as_ref())?;
        round.other_direction_mm = round.conversion.map(|c| c.other_mm(round.mean_mm));
        Ok(answer(
            &places,
            &round,
            &limits,
            &output.shown(card.as_ref()),
        ))
    }

    fn conversion(&self, card: Option<&Card>) -> Result<Option<Conversion>> {
        let read = match (
            self.direction,
            card.and_then(|card| card.carrier.backlash_direction),
        ) {
            (Some(DirectionArg::Square), _) => BacklashDirection::Square,
            (Some(DirectionArg::Tangential), _) => BacklashDirection::Tangential,
            (None, Some(direction)) => direction,
            (None, None) => return Ok(None),
        };
        if let Some(card) = card {
            let model = Model::new(&card.gear_set()).map_err(RulesError::from)?;
            let radius_mm = self.radius.map_or(card.backlash_radius_mm(), Length::mm);
            let pair = model.pair();
            let cosine = model.square_radius_mm() / (pair.ring_radius_mm * pair.ring_spiral.cos());
            return Ok(Some(Conversion {
                read,
                pressure_angle_deg: cosine.acos().to_degrees(),
                spiral_angle_deg: pair.ring_spiral.to_degrees(),
                radii_mm: Some([pair.ring_radius_mm, radius_mm]),
            }));
        }
        let Some(spiral) = self.spiral_angle else {
            return Err(SetupError::Missing(
                "to turn the reading into the other direction give --card, or --spiral-angle"
                    .into(),
            )
            .into());
        };
        if !(0.0..60.0).contains(&spiral) || !(10.0..30.0).contains(&self.pressure_angle) {
            return Err(SetupError::Impossible(
                "a spiral angle runs from 0 to 60 degrees, a pressure angle from 10 to 30".into(),
            )
            .into());
        }
        Ok(Some(Conversion {
            read,
            pressure_angle_deg: self.pressure_angle,
            spiral_angle_deg: spiral,
            radii_mm: None,
        }))
    }
}
