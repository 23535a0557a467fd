//! `flankread setup torque` and `setup case-spread`.

use super::preload::{of_used_bearings, rotating_window};
use super::{Common, two, window};
use crate::Result;
use crate::command::OutputOptions;
use crate::setup::Answer;
use crate::setup::case_spread;
use crate::setup::turning_torque::{TotalLimits, readings, readings_answer, total, total_answer};
use crate::setup::usual::{HOUSING, ROTATING, SPREAD, TOTAL_ROTATING};
use crate::units::{self, AsWritten, Length};
use clap::Args;

/// Torque to turn: the pinion alone over several turns, or pinion and carrier together.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: flankread setup torque --pinion 13lb-in --pinion 14lb-in --total 22lb-in --rise 7lb-in 11lb-in --units in"
)]
pub(super) struct Torque {
    /// The pinion alone, read while turning; once for each turn.
    #[arg(long, value_name = "TORQUE", required = true)]
    pinion: Vec<AsWritten<units::Torque>>,
    /// Pinion and carrier, read at the pinion; once for each turn.
    #[arg(long, value_name = "TORQUE")]
    total: Vec<AsWritten<units::Torque>>,
    /// The bearings have run before.
    #[arg(long)]
    used: bool,
    /// Window for the pinion alone, low then high; from the card when not given.
    #[arg(long, num_args = 2, value_names = ["LOW", "HIGH"])]
    window: Vec<AsWritten<units::Torque>>,
    /// Window for the rise, low then high; from the card when not given.
    #[arg(long, num_args = 2, value_names = ["LOW", "HIGH"])]
    rise: Vec<AsWritten<units::Torque>>,
    #[command(flatten)]
    common: Common,
}

/// Case spread: cap to cap without and with preload.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: flankread setup case-spread --before 13.927in --after 13.932in --window 0.002in 0.009in --units in"
)]
pub(super) struct CaseSpread {
    /// Cap to cap without preload.
    #[arg(long, value_name = "LENGTH")]
    before: AsWritten<Length>,
    /// Cap to cap with preload.
    #[arg(long, value_name = "LENGTH")]
    after: AsWritten<Length>,
    /// Window, low then high; from the card when not given.
    #[arg(long, num_args = 2, value_names = ["LOW", "HIGH"])]
    window: Vec<AsWritten<Length>>,
    #[command(flatten)]
    common: Common,
}

impl Torque {
    pub(super) fn answer(&self, output: OutputOptions) -> Result<Answer> {
        let card = self.common.card()?;
        let shown = output.shown(card.as_ref());
        let sure = self.common.as_written;
        let pinion = readings(&ROTATING.check_all(&self.pinion, sure)?)?;
        if self.total.is_empty() {
            let used = self.used || of_used_bearings(self.common.record()?.as_ref());
            let window_nm = rotating_window(&self.window, card.as_ref(), used, sure).ok();
            return Ok(readings_answer(&pinion, window_nm, &shown));
        }
        let all = readings(&TOTAL_ROTATING.check_all(&self.total, sure)?)?;
        let given = window(two(&ROTATING.check_all(&self.rise, sure)?), "--rise")?;
        let limits = TotalLimits {
            rise_nm: given.or(card
                .as_ref()
                .and_then(|card| card.limits.total_torque_rise_nm)),
            total_nm: card.as_ref().and_then(|card| card.limits.total_torque_nm),
            gear_ratio: card
                .as_ref()
                .map(|card| f64::from(card.gear.ring_teeth) / f64::from(card.gear.pinion_teeth)),
        };
        Ok(total_answer(&total(pinion, all, &limits)?, &shown))
    }
}

impl CaseSpread {
    pub(super) fn answer(&self, output: OutputOptions) -> Result<Answer> {
        let card = self.common.card()?;
        let sure = self.common.as_written;
        let before = HOUSING.check(&self.before, sure)?;
        let after = HOUSING.check(&self.after, sure)?;
        let given = window(two(&SPREAD.check_all(&self.window, sure)?), "--window")?;
        let window_mm = given.or(card.as_ref().and_then(|card| card.limits.case_spread_mm));
        let found = case_spread::spread(before, after, window_mm)?;
        Ok(case_spread::answer(&found, &output.shown(card.as_ref())))
    }
}
