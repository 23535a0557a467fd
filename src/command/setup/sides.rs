//! `flankread setup side-shims` and `setup adjusters`.

use super::Common;
use crate::Result;
use crate::command::OutputOptions;
use crate::rules::RulesError;
use crate::schema::{Adjust, Card, PreloadOn};
use crate::setup::adjusters::{notches, notches_answer};
use crate::setup::backlash_ratio::{PlaceAndBacklash, Ratio, RatioSource, of_card, shop, updated};
use crate::setup::kit_packs::ShimsAtHand;
use crate::setup::side_packs::{Found, Wanted, answer, split};
use crate::setup::usual::{BACKLASH, BACKLASH_OR_NONE, SIDE_PACK, SIDE_PRELOAD};
use crate::setup::{Answer, SetupError, verdict};
use crate::units::{AsWritten, Length, Shown, plain_number};
use clap::Args;
use std::str::FromStr;

/// How the ratio of backlash to the ring gear's move is found.
#[derive(Debug, Args)]
struct RatioArgs {
    /// Backlash per move of the ring gear; else the card's own by the contact model, else the shop's 0.6.
    #[arg(value_parser = plain_number, long, value_name = "NUMBER")]
    ratio: Option<f64>,
    /// Take the shop's 0.6 in spite of the card.
    #[arg(long, conflicts_with = "ratio")]
    shop_ratio: bool,
}

impl RatioArgs {
    fn ratio(&self, card: Option<&Card>) -> Result<Ratio> {
        match (self.ratio, card) {
            (Some(ratio), _) if !(0.3..=1.2).contains(&ratio) => Err(SetupError::Impossible(
                format!("a ratio of {ratio} is none; usual ones run from 0.5 to 0.9"),
            )
            .into()),
            (Some(ratio), _) => Ok(Ratio {
                ratio,
                deviation: 0.05 * ratio,
                source: RatioSource::Given,
            }),
            (None, Some(card)) if !self.shop_ratio => Ok(of_card(card).map_err(RulesError::from)?),
            _ => Ok(shop()),
        }
    }
}

/// Side packs from zero end play to the backlash wanted, preload added.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: flankread setup side-shims --ring-side 0.095in --far-side 0.088in --backlash 0in --wanted 0.008in --preload 0.008in --preload-on both-sides --units in"
)]
pub(super) struct SideShims {
    /// Pack behind the ring gear with the bearings just free of end play.
    #[arg(long, value_name = "LENGTH")]
    ring_side: AsWritten<Length>,
    /// Pack on the other side.
    #[arg(long, value_name = "LENGTH")]
    far_side: AsWritten<Length>,
    /// Backlash found there; once for each place round the gear.
    #[arg(long, value_name = "LENGTH", required = true)]
    backlash: Vec<AsWritten<Length>>,
    /// Backlash to aim at; the middle of the card's window when not given.
    #[arg(long, value_name = "LENGTH")]
    wanted: Option<AsWritten<Length>>,
    /// Preload to add, both sides together; from the card when not given, else none.
    #[arg(long, value_name = "LENGTH")]
    preload: Option<AsWritten<Length>>,
    /// Where the preload goes; from the card when not given, else on both sides.
    #[arg(long, value_enum)]
    preload_on: Option<PreloadOn>,
    /// An earlier trial of this job, to correct the ratio: ring-side pack and mean backlash.
    #[arg(long = "trial", value_name = "RING_SIDE=BACKLASH")]
    trials: Vec<Places>,
    #[command(flatten)]
    ratio: RatioArgs,
    #[command(flatten)]
    common: Common,
}

/// Threaded side adjusters: whole notches for the backlash wanted.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: flankread setup adjusters --backlash 0.10mm --wanted 0.20mm --pitch 1.5mm --notches-per-turn 18"
)]
pub(super) struct Adjusters {
    /// Backlash found; once for each place round the gear.
    #[arg(long, value_name = "LENGTH", required = true)]
    backlash: Vec<AsWritten<Length>>,
    /// Backlash to aim at; the middle of the card's window when not given.
    #[arg(long, value_name = "LENGTH")]
    wanted: Option<AsWritten<Length>>,
    /// Thread pitch of the adjusters; from the card when not given.
    #[arg(long, value_name = "LENGTH", requires = "notches_per_turn")]
    pitch: Option<Length>,
    /// Notches in one turn; from the card when not given.
    #[arg(long, value_name = "COUNT", requires = "pitch", value_parser = clap::value_parser!(u32).range(2..=400))]
    notches_per_turn: Option<u32>,
    /// Notches of preload beyond zero end play, both sides together.
    #[arg(
        long,
        value_parser = plain_number,
        default_value_t = 0.0,
        value_name = "COUNT",
        allow_hyphen_values = true
    )]
    preload_notches: f64,
    #[command(flatten)]
    ratio: RatioArgs,
    #[command(flatten)]
    common: Common,
}

/// `2.10mm=0.25mm`: the ring-side pack of a trial and its mean backlash.
#[derive(Debug, Clone)]
struct Places {
    ring_side: AsWritten<Length>,
    backlash: AsWritten<Length>,
}

impl FromStr for Places {
    type Err = String;

    fn from_str(text: &str) -> std::result::Result<Self, String> {
        let (ring_side, backlash) = text
            .split_once('=')
            .ok_or_else(|| format!("`{text}` has no `=`; write it like 2.10mm=0.25mm"))?;
        let read = |text: &str| {
            text.parse()
                .map_err(|e: crate::units::UnitError| e.to_string())
        };
        Ok(Self {
            ring_side: read(ring_side)?,
            backlash: read(backlash)?,
        })
    }
}

fn mean_mm(said: &[AsWritten<Length>], as_written: bool) -> Result<f64> {
    let all = BACKLASH_OR_NONE.check_all(said, as_written)?;
    Ok(all.iter().sum::<f64>() / all.len().max(1) as f64)
}

fn wanted_mm(
    given: Option<&AsWritten<Length>>,
    card: Option<&Card>,
    as_written: bool,
    shown: &Shown,
) -> Result<f64> {
    let of_card = card.and_then(|card| card.limits.backlash_mm);
    match (given, of_card) {
        (Some(said), window) => {
            let mm = BACKLASH.check(said, as_written)?;
            match window.filter(|window| !as_written && verdict(mm, *window) != "within") {
                None => Ok(mm),
                Some(window) => Err(SetupError::Question(format!(
                    "a wanted backlash of {} is {} the card's {} to {}; take one inside it, or, if the axle's manual has it \
                     so, add --as-written",
                    said.text,
                    verdict(mm, window),
                    shown.shim(window[0]),
                    shown.shim(window[1])
                ))
                .into()),
            }
        }
        (None, Some([low, high])) => Ok(0.5 * (low + high)),
        (None, None) => Err(SetupError::Missing(
            "the backlash to aim at is needed: give --wanted, or a card with backlash in [limits]"
                .into(),
        )
        .into()),
    }
}

impl SideShims {
    pub(super) fn answer(&self, output: OutputOptions) -> Result<Answer> {
        let card = self.common.card()?;
        let sure = self.common.as_written;
        if card
            .as_ref()
            .is_some_and(|card| card.carrier.adjust == Adjust::Threaded)
        {
            return Err(SetupError::Impossible(
                "the card has threaded adjusters at the sides, not shims; use `setup adjusters`"
                    .into(),
            )
            .into());
        }
        let found = Found {
            ring_side_mm: SIDE_PACK.check(&self.ring_side, sure)?,
            far_side_mm: SIDE_PACK.check(&self.far_side, sure)?,
            backlash_mm: mean_mm(&self.backlash, sure)?,
        };
        let carrier = card.as_ref().map(|card| card.carrier);
        let wanted = Wanted {
            backlash_mm: wanted_mm(
                self.wanted.as_ref(),
                card.as_ref(),
                sure,
                &output.shown(card.as_ref()),
            )?,
            preload_mm: match &self.preload {
                Some(said) => SIDE_PRELOAD.check(said, sure)?,
                None => carrier.and_then(|c| c.side_preload_mm).unwrap_or(0.0),
            },
            preload_on: self
                .preload_on
                .or(carrier.and_then(|c| c.preload_on))
                .unwrap_or(PreloadOn::BothSides),
            window_mm: card.as_ref().and_then(|card| card.limits.backlash_mm),
        };
        let mut trials = match self.common.record()? {
            Some(record) => record.backlash_trials()?,
            None => Vec::new(),
        };
        for trial in &self.trials {
            trials.push(PlaceAndBacklash {
                away_mm: -SIDE_PACK.check(&trial.ring_side, sure)?,
                backlash_mm: BACKLASH_OR_NONE.check(&trial.backlash, sure)?,
            });
        }
        let ratio = updated(self.ratio.ratio(card.as_ref())?, &trials);
        let in_axle = [found.ring_side_mm, found.far_side_mm];
        let kit = ShimsAtHand::for_sides(card.as_ref(), &in_axle);
        let packs = split(&found, &wanted, ratio, &kit)?;
        Ok(answer(
            &found,
            &wanted,
            &packs,
            &output.shown(card.as_ref()),
        ))
    }
}

impl Adjusters {
    pub(super) fn answer(&self, output: OutputOptions) -> Result<Answer> {
        let card = self.common.card()?;
        let sure = self.common.as_written;
        let given = self.pitch.zip(self.notches_per_turn);
        if given.is_none()
            && card
                .as_ref()
                .is_some_and(|card| card.carrier.adjust == Adjust::Shims)
        {
            return Err(SetupError::Impossible(
                "the card has shims at the sides, not threaded adjusters; use `setup side-shims`, or write \
                 adjust = \"threaded\" with pitch and notches_per_turn in [carrier]"
                    .into(),
            )
            .into());
        }
        let found = mean_mm(&self.backlash, sure)?;
        let wanted = wanted_mm(
            self.wanted.as_ref(),
            card.as_ref(),
            sure,
            &output.shown(card.as_ref()),
        )?;
        let given = given.map(|(pitch, notches)| pitch.mm() / f64::from(notches));
        let notch_mm = given
            .or(card.as_ref().and_then(|card| card.carrier.notch_mm()))
            .unwrap_or(0.0);
        let trials = match self.common.record()? {
            Some(record) => record.backlash_trials()?,
            None => Vec::new(),
        };
        let ratio = updated(self.ratio.ratio(card.as_ref())?, &trials);
        let turn = notches(found, wanted, notch_mm, self.preload_notches, ratio)?;
        Ok(notches_answer(
            found,
            wanted,
            &turn,
            &output.shown(card.as_ref()),
        ))
    }
}
