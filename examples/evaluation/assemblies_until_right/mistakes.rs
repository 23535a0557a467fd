//! What goes wrong between the bench and what is written down.

use crate::draw::{Chance, THOU_MM, Truth};
use flankread::schema::{BacklashDirection, Cutting, ShimPlace, SuspectKind};
use flankread::{Card, FlankReading, Trial};

/// One mistake, made once or standing on the card.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Mistake {
    None,
    /// One flank's length is read 0.3 off, in the first trial.
    Length,
    /// One flank's height is read 0.25 off, in the first trial.
    Height,
    /// Toe and heel are taken for each other on one or both photos of the first trial.
    Ends,
    /// The photos of the first trial are taken for each other.
    Flanks,
    /// The photos of the first trial are given for the second.
    OldPhotos,
    /// The card has the pinion's shims on the other side of its bearing.
    ShimPlace,
    /// The first trial's pinion pack is written down 0.010 in thicker or thinner.
    Pack,
    /// The dial stands square to the tooth, the card has it along.
    Dial,
    /// The card has the other cutting method.
    Cutting,
}

impl Mistake {
    /// The card as it is written.
    pub fn card(self, card: &Card) -> Card {
        let mut card = card.clone();
        match self {
            Self::ShimPlace => card.pinion.shim_place = ShimPlace::UnderCage,
            Self::Dial => card.carrier.backlash_direction = Some(BacklashDirection::Tangential),
            Self::Cutting => {
                card.gear.cutting = match card.gear.cutting {
                    Cutting::FaceMilled => Cutting::FaceHobbed,
                    Cutting::FaceHobbed => Cutting::FaceMilled,
                }
            }
            _ => {}
        }
        card
    }

    /// Whether the dial stands square to the tooth.
    pub fn square(self) -> bool {
        self == Self::Dial
    }

    /// Whether it is this that is suspected.
    pub fn is(self, suspected: SuspectKind) -> bool {
        match suspected {
            SuspectKind::DriveMisread | SuspectKind::CoastMisread => {
                matches!(self, Self::Length | Self::Height)
            }
            SuspectKind::EndsSwapped => self == Self::Ends,
            SuspectKind::FlanksSwapped => self == Self::Flanks,
            SuspectKind::OldPhoto => self == Self::OldPhotos,
            SuspectKind::ShimPlace => self == Self::ShimPlace,
            SuspectKind::PackNotedWrong => self == Self::Pack,
            SuspectKind::DialSetting => self == Self::Dial,
            SuspectKind::Cutting => self == Self::Cutting,
            _ => false,
        }
    }

    /// What is photographed at an assembly, counted from 0.
    pub fn photographed<'a>(
        self,
        now: &'a Truth,
        before: Option<&'a Truth>,
        at: usize,
    ) -> &'a Truth {
        match before {
            Some(before) if self == Self::OldPhotos && at == 1 => before,
            _ => now,
        }
    }

    /// What is written down of the first assembly.
    pub fn written(self, trial: &mut Trial, chance: &mut Chance) {
        let coin = |chance: &mut Chance| chance.between(0.0, 1.0) < 0.5;
        let one = coin(chance);
        let flank = |trial: &mut Trial, drive: bool, change: &dyn Fn(&mut FlankReading)| {
            let reading = if drive {
                &mut trial.drive
            } else {
                &mut trial.coast
            };
            if let Some(reading) = reading {
                change(reading);
            }
        };
        // Off to whichever side there is room on.
        let off = |at: f64, by: f64| if at < 0.5 { at + by } else { at - by };
        match self {
            Self::Length => flank(trial, one, &|r| r.centre.length = off(r.centre.length, 0.3)),
            Self::Height => flank(trial, one, &|r| {
                r.centre.height = off(r.centre.height, 0.25)
            }),
            Self::Ends => {
                let both = coin(chance);
                for drive in [true, false] {
                    if both || drive == one {
                        flank(trial, drive, &|r| r.centre.length = 1.0 - r.centre.length);
                    }
                }
            }
            Self::Flanks => std::mem::swap(&mut trial.drive, &mut trial.coast),
            Self::Pack => {
                let by = if one { 10.0 } else { -10.0 } * THOU_MM;
                trial.pinion_shim_mm = trial.pinion_shim_mm.map(|mm| mm + by);
            }
            _ => {}
        }
    }
}
