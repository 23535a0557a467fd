//! Reads the contact pattern on ring-gear flanks from a photo and says which shims to change.
//!
//! The way of the data: [`photo`](self) → segment → [`flank`](self) → [`reading`] → rules → report,
//! with gear → contact feeding rules.

pub mod batch;
pub mod card;
pub mod command;
pub mod contact;
pub mod error;
pub mod files;
pub mod flank;
pub mod frames;
pub mod gear;
pub mod job;
mod least_squares;
pub mod lesson;
mod network;
pub mod photo;
pub mod reading;
pub mod report;
pub mod rules;
pub mod schema;
pub mod segment;
pub mod setup;
pub mod units;

pub use error::{Error, ErrorKind, Result};
