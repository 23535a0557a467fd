//! `flankread setup preload` and `setup sleeve`.

use super::{Common, two, window};
use crate::Result;
use crate::command::OutputOptions;
use crate::schema::record::Record;
use crate::schema::{Card, Condition, Preload as CardPreload};
use crate::setup::kit_packs::ShimsAtHand;
use crate::setup::preload::{Asked, PreloadTrial, answer, fit};
use crate::setup::sleeve::{self, SleeveStep};
use crate::setup::usual::{PINION_NUT, PRELOAD_PACK, ROTATING};
use crate::setup::{Answer, SetupError, turning_torque};
use crate::units::{AsWritten, Length, Measured, Torque, listed};
use clap::Args;
use std::str::FromStr;

/// Pinion bearing preload by shims: which pack to try next, from the trials so far.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: flankread setup preload --card axle.toml --trial 0.082in=5lb-in --trial 0.078in=24lb-in,25lb-in --units in"
)]
pub(super) struct Preload {
    /// A trial: the pack and the rotating torque it gave; several readings of one trial with commas.
    #[arg(long = "trial", value_name = "PACK=TORQUE")]
    trials: Vec<Pair<Length>>,
    /// The bearings have run before.
    #[arg(long)]
    used: bool,
    /// Window for the rotating torque, low then high; from the card when not given.
    #[arg(long, num_args = 2, value_names = ["LOW", "HIGH"])]
    window: Vec<AsWritten<Torque>>,
    /// The seal was fitted when the torque was read.
    #[arg(long)]
    seal: bool,
    /// The seal's own drag, to be taken off.
    #[arg(long, value_name = "TORQUE", requires = "seal")]
    seal_drag: Option<AsWritten<Torque>>,
    #[command(flatten)]
    common: Common,
}

/// A collapsible sleeve: how far to bring the nut next.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: flankread setup sleeve --window 25lb-in 35lb-in --step 350lb-ft=2lb-in --step 355lb-ft=17lb-in"
)]
pub(super) struct Sleeve {
    /// A step: torque the nut was brought to and what the pinion then turned with.
    #[arg(long = "step", value_name = "NUT=ROTATING")]
    steps: Vec<Pair<Torque>>,
    /// The bearings have run before.
    #[arg(long)]
    used: bool,
    /// Window for the rotating torque, low then high; from the card when not given.
    #[arg(long, num_args = 2, value_names = ["LOW", "HIGH"])]
    window: Vec<AsWritten<Torque>>,
    /// Greatest torque of the nut; from the card when not given.
    #[arg(long, value_name = "TORQUE")]
    nut_limit: Option<AsWritten<Torque>>,
    #[command(flatten)]
    common: Common,
}

/// `0.080in=14lb-in,15lb-in`: a quantity and the torque readings it gave.
#[derive(Debug, Clone)]
pub(super) struct Pair<T> {
    first: AsWritten<T>,
    torques: Vec<AsWritten<Torque>>,
}

impl<T: Measured> FromStr for Pair<T> {
    type Err = String;

    fn from_str(text: &str) -> std::result::Result<Self, String> {
        let (first, torques) = text
            .split_once('=')
            .ok_or_else(|| format!("`{text}` has no `=`; write it like 0.080in=14lb-in"))?;
        Ok(Self {
            first: first
                .parse()
                .map_err(|e: crate::units::UnitError| e.to_string())?,
            torques: listed(torques)
                .map(|one| {
                    one.parse()
                        .map_err(|e: crate::units::UnitError| e.to_string())
                })
                .collect::<std::result::Result<_, String>>()?,
        })
    }
}

impl<T> Pair<T> {
    /// Mean of the torque readings, N·m.
    fn rotating_nm(&self, as_written: bool) -> Result<f64> {
        let readings = ROTATING.check_all(&self.torques, as_written)?;
        Ok(turning_torque::readings(&readings)?.mean_nm)
    }
}

/// The window given, or the card's for these bearings.
pub(super) fn rotating_window(
    given: &[AsWritten<Torque>],
    card: Option<&Card>,
    used: bool,
    as_written: bool,
) -> Result<[f64; 2]> {
    let given = window(two(&ROTATING.check_all(given, as_written)?), "--window")?;
    let of_card = card.and_then(|card| {
        if used {
            card.limits.pinion_torque_used_nm
        } else {
            card.limits.pinion_torque_new_nm
        }
    });
    given.or(of_card).ok_or_else(|| {
        SetupError::Missing(format!(
            "the window for the rotating torque is needed: give --window LOW HIGH, or pinion_torque_{} in [limits] of \
             the card. New and used bearings have different limits; both stand in the axle's manual",
            if used { "used" } else { "new" }
        ))
        .into()
    })
}

/// Whether a job's newest assembly has used pinion bearings.
pub(super) fn of_used_bearings(record: Option<&Record>) -> bool {
    record.is_some_and(|record| record.newest_bearings() == Condition::Used)
}

impl Preload {
    pub(super) fn answer(&self, output: OutputOptions) -> Result<Answer> {
        let card = self.common.card()?;
        let sure = self.common.as_written;
        if card
            .as_ref()
            .is_some_and(|card| card.pinion.preload == CardPreload::Sleeve)
        {
            return Err(SetupError::Impossible(
                "the card says the pinion is preloaded by a collapsible sleeve; use `setup sleeve`"
                    .into(),
            )
            .into());
        }
        let record = self.common.record()?;
        let used = self.used || of_used_bearings(record.as_ref());
        let window_nm = rotating_window(&self.window, card.as_ref(), used, sure)?;
        let drag_nm = self
            .seal_drag
            .as_ref()
            .map(|said| ROTATING.check(said, sure))
            .transpose()?;
        let mut trials = record.map_or_else(Vec::new, |record| record.preload_trials());
        for pair in &self.trials {
            trials.push(PreloadTrial {
                of_job: None,
                pack_mm: PRELOAD_PACK.check(&pair.first, sure)?,
                torque_nm: pair.rotating_nm(sure)? - drag_nm.unwrap_or(0.0),
            });
        }
        let in_axle: Vec<f64> = trials.last().map(|last| last.pack_mm).into_iter().collect();
        let kit = ShimsAtHand::for_pinion(card.as_ref(), &in_axle);
        let found = fit(&trials, window_nm, &kit, sure)?;
        let asked = Asked {
            used,
            seal: self.seal,
            seal_drag_nm: drag_nm,
        };
        Ok(answer(&trials, &found, asked, &output.shown(card.as_ref())))
    }
}

impl Sleeve {
    pub(super) fn answer(&self, output: OutputOptions) -> Result<Answer> {
        let card = self.common.card()?;
        let sure = self.common.as_written;
        if card
            .as_ref()
            .is_some_and(|card| card.pinion.preload == CardPreload::Shims)
        {
            return Err(SetupError::Impossible(
                "the card has the pinion preloaded by shims; use `setup preload`, or write preload = \"sleeve\" in [pinion]"
                    .into(),
            )
            .into());
        }
        let record = self.common.record()?;
        let used = self.used || of_used_bearings(record.as_ref());
        let window_nm = rotating_window(&self.window, card.as_ref(), used, sure)?;
        let limit_nm = match &self.nut_limit {
            Some(said) => Some(PINION_NUT.check(said, sure)?),
            None => card
                .as_ref()
                .and_then(|card| card.limits.pinion_nut_torque_nm)
                .map(|w| w[1]),
        };
        let recorded = record.map_or_else(Vec::new, |record| record.sleeve_steps());
        let newest = sleeve::since_newest_sleeve(&recorded);
        let given = self
            .steps
            .iter()
            .map(|pair| {
                Ok(SleeveStep {
                    nut_nm: PINION_NUT.check(&pair.first, sure)?,
                    rotating_nm: pair.rotating_nm(sure)?,
                })
            })
            .collect::<Result<Vec<_>>>()?;
        let steps = [newest, &given].concat();
        let next = sleeve::next(&steps, window_nm, limit_nm, sure)?;
        let mut answer = sleeve::answer(&steps, &next, &output.shown(card.as_ref()));
        if newest.len() < recorded.len() {
            answer.cautions.push(
                "The job has trials before these with the nut tighter: they are taken to be of an older sleeve. One whose nut \
                 was slackened is spent, whatever the torque."
                    .into(),
            );
        }
        Ok(answer)
    }
}
