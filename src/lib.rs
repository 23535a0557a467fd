//! Reads the contact pattern on ring-gear flanks from photos and says which shims to change.
//!
//! A card says what an axle is; a photo of each flank is read; readings, shims and backlash are a trial; the trials so
//! far give the advice:
//!
//! ```
//! use flankread::{Card, Photo, ReadOptions, Side, Trial, advise, read_photo, usable};
//!
//! let card = Card::read("examples/larchfield/card.toml")?;
//! let mut trial = Trial::default();
//! trial.pinion_shim_mm = Some(0.762);
//! trial.ring_side_shim_mm = Some(2.10);
//! trial.far_side_shim_mm = Some(2.35);
//! trial.backlash_mm = vec![0.28];
//! for side in Side::BOTH {
//!     let photo = Photo::open(format!("examples/larchfield/{}.jpg", side.word()))?;
//!     let read = read_photo(&photo, &ReadOptions::of_card(&card).of_flank(side));
//!     trial.set_reading(side, usable(&read.reading, false)?);
//! }
//! let advice = advise(&card, &[trial])?;
//! let change = advice.change.expect("this axle wants a change");
//! // The example's pinion stood 0.20 mm too far from the ring gear; + is away from it.
//! assert!((-0.28..-0.12).contains(&change.pinion_mm));
//! println!("{}", advice.why.join("\n"));
//! # Ok::<(), flankread::Error>(())
//! ```
//!
//! The contact model stands beside that: what would an assembly show whose gears stand off by so much?
//!
//! ```
//! use flankread::{Card, Misalignment, simulate};
//!
//! let card = Card::read("examples/larchfield/card.toml")?;
//! let mut off = Misalignment::default();
//! off.ring_mm = 0.1;
//! let state = simulate(&card, &off)?;
//! println!("drive {:?}, backlash +{:.3} mm", state.drive.patch.unwrap().centre, state.backlash_change_mm);
//! # Ok::<(), flankread::Error>(())
//! ```
//!
//! # What it can be trusted with
//!
//! Readings were measured on path-traced pictures and on real gears painted by program: a readable real photo of painted teeth
//! was not to be had. Advice is as right as card, readings and contact model are: the axle's manual, local rules and a
//! licensed shop go before it.
//!
//! # Units and signs
//!
//! Fields carry their unit: `_mm`, `_nm`, `_deg`; other angles are radians. Places on a flank are shares: `length` 0 at the toe … 1 at
//! the heel, `height` 0 at the root end of the flank … 1 at the tip. A pinion move is + away from the ring gear along the pinion's
//! own axis, a ring-gear move + away from the pinion, which adds backlash. A ± is half the width that holds nine in ten.
//!
//! # Features
//!
//! `cli` (default) is the program: command line, pictures and pages, jobs, batches, lessons. Library users leave it out with
//! `default-features = false`. `heic` (default) opens HEIC photos, `cloud` lets the program's worker read object stores.

// Tests slice arrays by a macro that allows it to itself.
#![deny(unsafe_code)]
#![cfg_attr(not(test), forbid(unsafe_code))]
#![warn(missing_docs, unreachable_pub)]
// The rooms serve the program; a library without it leaves parts of them unused.
#![cfg_attr(
    not(feature = "cli"),
    allow(dead_code, unused_imports, unreachable_pub)
)]

mod card;
mod contact;
mod error;
mod flank;
mod frames;
mod gear;
#[cfg(test)]
mod held;
mod least_squares;
mod network;
mod photo;
mod reading;
mod rules;
pub mod schema;
mod segment;
mod trade_words;
mod units;

#[cfg(feature = "cli")]
mod batch;
#[cfg(feature = "cli")]
mod command;
mod files;
#[cfg(all(fuzzing, feature = "cli"))]
#[doc(hidden)]
pub mod fuzzing;
#[cfg(feature = "cli")]
mod job;
#[cfg(feature = "cli")]
mod lesson;
#[cfg(feature = "cli")]
mod page;
#[cfg(feature = "cli")]
mod report;
#[cfg(feature = "cli")]
mod setup;

pub use card::{CardError, simulate};
pub use contact::{ContactError, EaseOff, FlankContact, Misalignment, Model, State};
pub use error::{Error, ErrorKind, Result};
pub use flank::find::{FindHints, ToeEnd};
pub use flank::marks::{Marks, MarksError};
pub use flank::{KnownGear, MarkedFlank};
pub use frames::{FlankPoint, PhotoPoint, Side};
pub use photo::{Photo, PhotoError};
pub use reading::{OutlinedReading, ReadOptions, read_photo};
pub use rules::{Job, NotUsable, RulesError, advise, advise_in, usable};
pub use schema::{
    Advice, Card, Condition, Corners, Cutting, FlankForm, FlankReading, Hand, PhotoArea, PhotoPart,
    Polarity, Reading, ReasonCode, Status, Trial, Verdict,
};
pub use units::Units;

#[cfg(feature = "cli")]
#[doc(hidden)]
pub use command::run as run_command_line;
