//! `flankread setup backlash`.

use super::{Common, two, window};
use crate::Result;
use crate::command::OutputOptions;
use crate::contact::Model;
use crate::rules::RulesError;
use crate::schema::{BacklashDirection, Card, PreloadOn};
use crate::setup::adjusters::notches;
use crate::setup::backlash_cure::Cure;
use crate::setup::backlash_ratio::of_card;
use crate::setup::kit_packs::ShimsAtHand;
use crate::setup::round_the_gear::{BacklashAt, Conversion, Limits, Round, answer, evenly, judge};
use crate::setup::side_packs::{Found, Wanted, split};
use crate::setup::usual::{BACKLASH, SIDE_PACK};
use crate::setup::{Answer, SetupError};
use crate::units::{AsWritten, Length, plain_number};
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
    #[arg(value_parser = plain_number, long = "at", value_name = "DEGREES", allow_hyphen_values = true)]
    at_deg: Vec<f64>,
    /// Window for the backlash, low then high; from the card when not given.
    #[arg(long, num_args = 2, value_names = ["LOW", "HIGH"])]
    window: Vec<AsWritten<Length>>,
    /// Greatest variation; from the card when not given.
    #[arg(long, value_name = "LENGTH")]
    variation: Option<Length>,
    /// Pack behind the ring gear, to say what to change; from the job's last trial when not given.
    #[arg(long, value_name = "LENGTH", requires = "far_side")]
    ring_side: Option<AsWritten<Length>>,
    /// Pack on the other side.
    #[arg(long, value_name = "LENGTH", requires = "ring_side")]
    far_side: Option<AsWritten<Length>>,
    /// How the indicator stood; the mean is then also given the other way.
    #[arg(long, value_enum)]
    direction: Option<DirectionArg>,
    /// Radius the indicator stood at; the card's when not given.
    #[arg(long, value_name = "LENGTH")]
    radius: Option<Length>,
    /// Spiral angle for the conversion, when there is no card, degrees.
    #[arg(value_parser = plain_number, long, value_name = "DEGREES")]
    spiral_angle: Option<f64>,
    /// Normal pressure angle for the conversion, when there is no card, degrees.
    #[arg(value_parser = plain_number, long, value_name = "DEGREES", default_value_t = 20.0)]
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
        round.cure = self.cure(&round, &limits, card.as_ref())?;
        Ok(answer(
            &places,
            &round,
            &limits,
            &output.shown(card.as_ref()),
        ))
    }

    /// What brings a mean that is outside to the middle of the window: notches, or packs of the shims at hand.
    fn cure(&self, round: &Round, limits: &Limits, card: Option<&Card>) -> Result<Option<Cure>> {
        let (Some(window), Some(card), Some("below" | "above")) =
            (limits.window_mm, card, round.mean_is)
        else {
            return Ok(None);
        };
        let ratio = of_card(card).map_err(RulesError::from)?;
        let wanted_mm = 0.5 * (window[0] + window[1]);
        if let Some(notch_mm) = card.carrier.notch_mm() {
            let turn = notches(round.mean_mm, wanted_mm, notch_mm, 0.0, ratio)?;
            return Ok(Some(Cure::Notches(turn)));
        }
        let sure = self.common.as_written;
        let given = (self.ring_side.as_ref().zip(self.far_side.as_ref()))
            .map(|(ring, far)| {
                Ok::<_, SetupError>((SIDE_PACK.check(ring, sure)?, SIDE_PACK.check(far, sure)?))
            })
            .transpose()?;
        let of_job = || -> Result<Option<(f64, f64)>> {
            let record = self.common.record()?;
            let last = record
                .as_ref()
                .and_then(|record| record.built().next_back());
            Ok(last.and_then(|last| {
                last.trial
                    .ring_side_shim_mm
                    .zip(last.trial.far_side_shim_mm)
            }))
        };
        let packs = match given {
            Some(given) => Some(given),
            None => of_job()?,
        };
        let Some((ring_side_mm, far_side_mm)) = packs else {
            let away_mm = (wanted_mm - round.mean_mm) / ratio.ratio;
            return Ok(Some(Cure::Move { away_mm }));
        };
        let found = Found {
            ring_side_mm,
            far_side_mm,
            backlash_mm: round.mean_mm,
        };
        let wanted = Wanted {
            backlash_mm: wanted_mm,
            preload_mm: 0.0,
            preload_on: PreloadOn::BothSides,
            window_mm: Some(window),
        };
        let kit = ShimsAtHand::for_sides(Some(card), &[ring_side_mm, far_side_mm]);
        Ok(Some(Cure::Packs(Box::new(split(
            &found, &wanted, ratio, &kit,
        )?))))
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
