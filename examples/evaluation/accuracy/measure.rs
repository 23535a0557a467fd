//! Photos read in every mode and compared with their truth.

use crate::truth::{LiesOn, Truth};
use clap::ValueEnum;
use flankread::{FlankPoint, Photo, ReadOptions, ReasonCode, Side, Status, read_photo};
use serde::Serialize;

/// What is said to the program beside the photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ValueEnum)]
#[serde(rename_all = "lowercase")]
pub enum Mode {
    /// The true outlines of the teeth that can be measured, the flank and the polarity.
    Marks,
    /// Which flank it is.
    Flank,
    /// Nothing.
    Automatic,
}

/// One photo read in one mode.
#[derive(Debug, Clone, Serialize)]
pub struct Answer {
    /// The photo.
    pub photo: String,
    /// How it was read.
    pub mode: Mode,
    /// Whether the truth says that it can be read.
    pub readable: bool,
    /// What the reading says of itself.
    pub status: Status,
    /// Reasons that go with it.
    pub reasons: Vec<ReasonCode>,
    /// The side that is meant.
    pub meant: Side,
    /// The side that the reading names.
    pub side: Option<Side>,
    /// Outlines on flanks of the side that is meant, with toe and heel swapped, on the other side, on
    /// none.
    pub outlines: [usize; 4],
    /// Mean centre read less true one.
    pub error: Option<FlankPoint>,
    /// Printed uncertainty of the centre.
    pub uncertainty: Option<FlankPoint>,
    /// Whether the hand that the reading names is the gear's; `None` when it names none.
    pub hand_true: Option<bool>,
}

impl Answer {
    /// Answered without a doubt.
    pub fn answered(&self) -> bool {
        self.status == Status::Read
    }

    /// Whether the side that is named is that of the flanks which were outlined.
    pub fn side_true(&self) -> bool {
        let other = self.outlines[2] > self.outlines[0] + self.outlines[1];
        (self.side == Some(self.meant)) != other
    }

    /// Whether toe and heel are where they are on most outlines of the side that is meant.
    pub fn ends_true(&self) -> bool {
        self.outlines[1] == 0
    }

    /// Whether the truth lies within the printed uncertainty, along length and height.
    pub fn holds(&self) -> Option<[bool; 2]> {
        let (error, u) = (self.error?, self.uncertainty?);
        Some([
            error.length.abs() <= u.length,
            error.height.abs() <= u.height,
        ])
    }
}

/// Reads one photo in each of the modes; it is opened once.
pub fn answers(truth: &Truth, modes: &[Mode]) -> Result<Vec<Answer>, String> {
    let photo = Photo::open(&truth.photo).map_err(|error| error.to_string())?;
    let read = modes.iter().filter_map(|&mode| answer(truth, &photo, mode));
    Ok(read.collect())
}

/// Reads one photo in a mode; `None` when there is nothing to mark.
pub fn answer(truth: &Truth, photo: &Photo, mode: Mode) -> Option<Answer> {
    let mut options = ReadOptions::default();
    match mode {
        Mode::Marks => options.marks = Some(truth.marks()?),
        Mode::Flank => options.flank = Some(truth.flank),
        Mode::Automatic => {}
    }
    let reading = read_photo(photo, &options).reading;
    let mut outlines = [0; 4];
    for tooth in &reading.teeth {
        let kind = match truth.lies_on(&tooth.corners) {
            LiesOn::Meant => 0,
            LiesOn::EndsSwapped => 1,
            LiesOn::OtherSide => 2,
            LiesOn::Nothing => 3,
        };
        outlines[kind] += 1;
    }
    let error = reading.mean.zip(truth.centre()).map(|(mean, centre)| {
        FlankPoint::new(
            mean.centre.length - centre.length,
            mean.centre.height - centre.height,
        )
    });
    Some(Answer {
        photo: truth.photo.display().to_string(),
        mode,
        readable: truth.readable(),
        status: reading.status,
        reasons: reading.reasons.iter().map(|reason| reason.code).collect(),
        meant: truth.flank,
        side: reading.flank.map(|flank| flank.side),
        outlines,
        error,
        uncertainty: reading.uncertainty,
        hand_true: reading.hand.zip(truth.hand).map(|(read, is)| read == is),
    })
}

/// The value below which a share of the values lies, straight between neighbours; `None` of none.
pub fn quantile(values: &[f64], share: f64) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let at = share * (sorted.len().checked_sub(1)?) as f64;
    let (low, part) = (at.floor() as usize, at.fract());
    let high = (low + 1).min(sorted.len() - 1);
    Some(sorted[low] + part * (sorted[high] - sorted[low]))
}
