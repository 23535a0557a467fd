//! `flankread setup`: the bench's arithmetic, one subcommand a station.

mod fasteners;
mod pinion_shim;
mod preload;
mod round;
mod sides;
mod torque;

use super::{Outcome, OutputOptions};
use crate::Result;
use crate::job::Store;
use crate::job::open::{Purpose, usual_place};
use crate::report::setup::setup_text;
use crate::schema::Card;
use crate::schema::record::Record;
use crate::setup::{Answer, SetupError};
use clap::{Args, Subcommand};
use std::path::PathBuf;

/// Bench arithmetic, one subcommand a station; each prints formula, numbers and result.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: flankread setup pinion-shim marks --old-shim 0.100in --old-mark -3 --new-mark 2 --mark-unit 0.001in --mark-sense plus-thinner --units in"
)]
pub(crate) struct Setup {
    #[command(subcommand)]
    station: Station,
}

#[derive(Debug, Subcommand)]
enum Station {
    PinionShim(pinion_shim::PinionShim),
    Preload(preload::Preload),
    Sleeve(preload::Sleeve),
    SideShims(sides::SideShims),
    Adjusters(sides::Adjusters),
    Backlash(round::Backlash),
    Torque(torque::Torque),
    CaseSpread(torque::CaseSpread),
    Fasteners(fasteners::Fasteners),
    Sum(fasteners::Sum),
}

/// What every station may be told.
#[derive(Debug, Args)]
struct Common {
    /// The card of the axle: limits, kit and conventions come from it unless given here.
    #[arg(long, value_name = "FILE")]
    card: Option<PathBuf>,
    /// A job of the workshop's database: its card and its trials so far are used.
    #[arg(long, value_name = "NUMBER")]
    job: Option<i64>,
    /// The workshop's database, with --job.
    #[arg(long, value_name = "FILE", requires = "job")]
    db: Option<PathBuf>,
    /// Take unusual numbers as they are written.
    #[arg(long)]
    as_written: bool,
}

impl Common {
    fn record(&self) -> Result<Option<Record>> {
        let Some(job) = self.job else { return Ok(None) };
        let path = self.db.clone().unwrap_or_else(|| usual_place().path);
        let store = Store::open(&path, Purpose::Look)?;
        Ok(Some(store.record(job)?))
    }

    /// The card given, or that of the job given with the target and the window that its set ran with, where it is used.
    fn card(&self) -> Result<Option<Card>> {
        match &self.card {
            Some(path) => Card::read(path).map(Some),
            None => Ok(self.record()?.map(|record| record.card_in_force())),
        }
    }
}

/// Two numbers, low then high.
fn window<const N: usize>(given: Option<[f64; N]>, name: &str) -> Result<Option<[f64; 2]>> {
    let Some(given) = given else { return Ok(None) };
    match given.as_slice() {
        [low, high] if low < high => Ok(Some([*low, *high])),
        _ => Err(SetupError::Impossible(format!("{name} takes two values, low then high")).into()),
    }
}

/// The two numbers of an option that takes two.
fn two(values: &[f64]) -> Option<[f64; 2]> {
    match values {
        [low, high] => Some([*low, *high]),
        _ => None,
    }
}

impl Setup {
    /// Works the station out and prints it.
    ///
    /// # Errors
    /// Numbers that are missing, cannot be, or were probably meant otherwise; a card that cannot be used.
    pub(crate) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let answer = match &self.station {
            Station::PinionShim(station) => station.answer(output)?,
            Station::Preload(station) => station.answer(output)?,
            Station::Sleeve(station) => station.answer(output)?,
            Station::SideShims(station) => station.answer(output)?,
            Station::Adjusters(station) => station.answer(output)?,
            Station::Backlash(station) => station.answer(output)?,
            Station::Torque(station) => station.answer(output)?,
            Station::CaseSpread(station) => station.answer(output)?,
            Station::Fasteners(station) => station.answer(output)?,
            Station::Sum(station) => station.answer(output)?,
        };
        print(&answer, output)?;
        Ok(Outcome::Answered)
    }
}

fn print(answer: &Answer, output: OutputOptions) -> Result<()> {
    if output.json {
        super::print_json(answer)
    } else {
        super::print(&setup_text(answer))
    }
}
