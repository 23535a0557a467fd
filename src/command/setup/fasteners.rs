//! `flankread setup fasteners` and `setup sum`.

use super::Common;
use crate::Result;
use crate::command::OutputOptions;
use crate::setup::fasteners::{Known, USUAL_SHARE, answer, bolt};
use crate::setup::friction::{Friction, ThreadState};
use crate::setup::sum::{sum, sum_answer};
use crate::setup::threads::{Grade, Thread};
use crate::setup::usual::BOLT;
use crate::setup::{Answer, SetupError};
use crate::units::{AsWritten, Force, Length, Torque, Units, plain_number};
use clap::Args;

/// Bolts: torque to tension and back, by size, grade and friction; the order to tighten them in.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: flankread setup fasteners 3/8-24 --grade 8 --state oiled --count 10 --units in"
)]
pub(super) struct Fasteners {
    /// The thread: 3/8-24, 7/16-20, M10x1.25, M12.
    size: String,
    /// SAE J429 grade (2, 5, 8) or ISO 898-1 class (8.8, 9.8, 10.9, 12.9).
    #[arg(long, value_enum)]
    grade: Option<Grade>,
    /// Torque: what tension is it?
    #[arg(long, value_name = "TORQUE", conflicts_with_all = ["tension", "share"])]
    torque: Option<AsWritten<Torque>>,
    /// Tension of one bolt: what torque is it?
    #[arg(long, value_name = "FORCE", conflicts_with = "share")]
    tension: Option<Force>,
    /// Share of the proof load to tighten to.
    #[arg(value_parser = plain_number, long, default_value_t = USUAL_SHARE)]
    share: f64,
    /// State of the thread.
    #[arg(long, value_enum, conflicts_with_all = ["nut_factor", "friction"])]
    state: Option<ThreadState>,
    /// Nut factor K in torque = K × diameter × tension.
    #[arg(value_parser = plain_number, long, value_name = "K", conflicts_with = "friction")]
    nut_factor: Option<f64>,
    /// Coefficient of friction of thread and head.
    #[arg(value_parser = plain_number, long, value_name = "MU")]
    friction: Option<f64>,
    /// How many bolts.
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..=64))]
    count: u16,
    #[command(flatten)]
    common: Common,
}

/// The sum of a pack's shims, against what the stack measures.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: flankread setup sum 0.030in 0.005in 0.002in --measured 0.037in --units in"
)]
pub(super) struct Sum {
    /// The shims of the pack, each with its unit.
    #[arg(value_name = "SHIM", required = true)]
    shims: Vec<Length>,
    /// What the whole stack measured.
    #[arg(long, value_name = "LENGTH")]
    measured: Option<Length>,
    #[command(flatten)]
    common: Common,
}

impl Fasteners {
    pub(super) fn answer(&self, output: OutputOptions) -> Result<Answer> {
        let thread = Thread::parse(&self.size)?;
        let output = output.or_typed(if thread.inch { Units::In } else { Units::Mm });
        let friction = match (self.nut_factor, self.friction, self.state) {
            (Some(k), ..) => Friction::NutFactor(k),
            (None, Some(mu), _) => Friction::Coefficient(mu),
            (None, None, Some(state)) => Friction::State(state),
            (None, None, None) => {
                return Err(SetupError::Missing(
                    "friction decides half of it: say --state dry, plated, oiled, lubricated or waxed, or give \
                     --nut-factor or --friction. With thread locker take what its maker says"
                        .into(),
                )
                .into());
            }
        };
        let known = match (&self.torque, self.tension) {
            (Some(said), _) => Known::Torque(BOLT.check(said, self.common.as_written)?),
            (None, Some(force)) => Known::Tension(force.n()),
            (None, None) => Known::Share(self.share),
        };
        let found = bolt(thread, self.grade, friction, known, usize::from(self.count))?;
        let card = self.common.card()?;
        let shown = output.shown(card.as_ref());
        let mut answer = answer(&found, self.grade, friction, known, &shown);
        // A card's torque with thread locker and the table's for the bare bolt differ; both belong on the bench.
        if let Some(limits) = card.map(|card| card.limits) {
            for (name, window) in [
                ("ring-gear bolts", limits.ring_bolt_torque_nm),
                ("cap bolts", limits.cap_bolt_torque_nm),
            ] {
                if let Some([low, high]) = window {
                    answer.remarks.push(format!(
                        "The card asks for {} to {} on its {name}; the axle's manual decides.",
                        shown.torque(low),
                        shown.torque(high)
                    ));
                }
            }
        }
        Ok(answer)
    }
}

impl Sum {
    pub(super) fn answer(&self, output: OutputOptions) -> Result<Answer> {
        let shims: Vec<f64> = self.shims.iter().map(|length| length.mm()).collect();
        let found = sum(&shims, self.measured.map(Length::mm))?;
        let card = self.common.card()?;
        Ok(sum_answer(&found, &output.shown(card.as_ref())))
    }
}
