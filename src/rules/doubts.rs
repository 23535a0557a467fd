//! What may be wrong with what was told, or with the set: the explanations that are weighed beside "all as told".

use super::calibration::{CALIBRATION, DoubtChances};
use super::forward_model::ForwardModel;
use super::observation::{Gear, Measured, Observation, ObservedPatch};
use super::set_parameters::{FlankParameters, SetParameters};
use crate::contact::ContactError;
use crate::frames::{FlankPoint, Side};
use crate::schema::{Card, Cutting, Move, SuspectKind, Trial};
use std::rc::Rc;

/// Which of a centre's numbers was misread.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Misread {
    /// Along the tooth.
    Length,
    /// Up the tooth.
    Height,
    /// Both.
    Place,
}

/// What no shim cures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Fault {
    /// Axes not at the gears' offset.
    Offset,
    /// Axes not square.
    ShaftAngle,
    /// Pinion and ring gear that do not belong together.
    Mates,
}

/// One explanation of all trials. `at` counts the trials that are used, from 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Doubt {
    /// Everything is as it was told.
    None,
    /// One flank's reading is off.
    Misread {
        at: usize,
        side: Side,
        what: Misread,
    },
    /// The dial was misread.
    Dial { at: usize },
    /// The photos of drive and coast were taken for each other.
    FlanksSwapped { at: usize },
    /// Toe and heel were taken for each other, on drive and coast.
    EndsSwapped { at: usize, sides: [bool; 2] },
    /// The photos of drive and coast are from before the change.
    OldPhoto { at: usize, sides: [bool; 2] },
    /// A pack other than the one written down was in.
    PackNotedWrong { at: usize, gear: Gear },
    /// The pinion's shims sit on the other side of the bearing.
    ShimPlace,
    /// The dial stands along where the card has it square, or the other way round.
    DialSetting,
    /// The teeth were cut the other way than the card says.
    Cutting,
    /// Something no shim cures.
    Fault(Fault),
}

/// The numbers of how likely each is.
const CHANCES: DoubtChances = CALIBRATION.doubts;

/// Drive, coast, and both.
const SIDES: [[bool; 2]; 3] = [[true, true], [true, false], [false, true]];

impl Doubt {
    /// Everything that may be doubted in these trials.
    pub(crate) fn all(card: &Card, trials: &[&Trial], observations: &[Observation]) -> Vec<Self> {
        let mut list = Vec::new();
        for (at, observation) in observations.iter().enumerate() {
            for (side, there) in [
                (Side::Drive, observation.drive.is_some()),
                (Side::Coast, observation.coast.is_some()),
            ] {
                for what in [Misread::Length, Misread::Height, Misread::Place] {
                    list.extend(there.then_some(Self::Misread { at, side, what }));
                }
            }
            list.push(Self::Dial { at });
            list.push(Self::FlanksSwapped { at });
            list.extend(SIDES.map(|sides| Self::EndsSwapped { at, sides }));
            let changed = at > 0 && observations[at - 1].moved != observation.moved;
            if changed {
                list.extend(SIDES.map(|sides| Self::OldPhoto { at, sides }));
            }
            let packs = [
                (Gear::Pinion, trials[at].pinion_shim_mm),
                (Gear::Ring, trials[at].ring_side_shim_mm),
            ];
            let noted = packs.into_iter().filter(|(_, noted)| noted.is_some());
            list.extend(noted.map(|(gear, _)| Self::PackNotedWrong { at, gear }));
        }
        if trials.iter().all(|t| t.pinion_shim_mm.is_some()) {
            list.push(Self::ShimPlace);
        }
        list.extend(card.carrier.backlash_direction.map(|_| Self::DialSetting));
        if observations.len() > 1 {
            list.push(Self::Cutting);
        }
        list.extend([Fault::Offset, Fault::ShaftAngle, Fault::Mates].map(Self::Fault));
        list.retain(|doubt| !doubt.settled(trials));
        list
    }

    /// What is published of it, and which of the used trials it is of.
    pub(crate) fn named(self) -> Option<(SuspectKind, Option<usize>)> {
        Some(match self {
            Self::None | Self::Fault(_) => return None,
            Self::Misread { at, side, .. } => match side {
                Side::Drive => (SuspectKind::DriveMisread, Some(at)),
                Side::Coast => (SuspectKind::CoastMisread, Some(at)),
            },
            Self::Dial { at } => (SuspectKind::BacklashMisread, Some(at)),
            Self::FlanksSwapped { at } => (SuspectKind::FlanksSwapped, Some(at)),
            Self::EndsSwapped { at, .. } => (SuspectKind::EndsSwapped, Some(at)),
            Self::OldPhoto { at, .. } => (SuspectKind::OldPhoto, Some(at)),
            Self::PackNotedWrong { at, .. } => (SuspectKind::PackNotedWrong, Some(at)),
            Self::ShimPlace => (SuspectKind::ShimPlace, None),
            Self::DialSetting => (SuspectKind::DialSetting, None),
            Self::Cutting => (SuspectKind::Cutting, None),
        })
    }

    /// Whether somebody looked, and it is as it was told.
    fn settled(self, trials: &[&Trial]) -> bool {
        self.named().is_some_and(|(what, at)| match at {
            Some(at) => trials[at].looked.contains(&what),
            None => trials.iter().any(|trial| trial.looked.contains(&what)),
        })
    }

    /// Whether nothing that was read could show it yet, because the gear that would show it was never moved.
    pub(crate) fn unseen(self, told: &[Observation]) -> bool {
        let moved = |of: fn(Move) -> f64| told.iter().any(|o| of(o.moved) != of(told[0].moved));
        let pinion_moved = moved(|place| place.pinion_mm);
        let ring_moved = moved(|place| place.ring_mm);
        match self {
            Self::ShimPlace => !pinion_moved,
            Self::DialSetting => !ring_moved,
            Self::PackNotedWrong { gear, .. } => match gear {
                Gear::Pinion => !pinion_moved,
                Gear::Ring => !ring_moved,
            },
            _ => false,
        }
    }

    /// How likely it is before anything is read, over everything being as told.
    pub(crate) fn chance(self) -> f64 {
        match self {
            Self::None => 1.0,
            Self::Misread { what, .. } => match what {
                Misread::Length | Misread::Height => CHANCES.misread,
                Misread::Place => CHANCES.misread_both_ways,
            },
            Self::Dial { .. } => CHANCES.dial_misread,
            Self::FlanksSwapped { .. } => CHANCES.flanks_swapped,
            Self::EndsSwapped { .. } => CHANCES.ends_swapped,
            Self::OldPhoto { .. } => CHANCES.old_photo,
            Self::PackNotedWrong { at: 0, .. } => CHANCES.first_pack_noted_wrong,
            Self::PackNotedWrong { .. } => CHANCES.later_pack_noted_wrong,
            Self::ShimPlace => CHANCES.shim_place,
            Self::DialSetting => CHANCES.dial_setting,
            Self::Cutting => CHANCES.cutting,
            Self::Fault(_) => CHANCES.fault,
        }
    }

    /// What was read, if this is so.
    pub(crate) fn of(self, told: &[Observation]) -> Vec<Observation> {
        let mut read = told.to_vec();
        match self {
            Self::None | Self::DialSetting | Self::Cutting | Self::Fault(_) => {}
            Self::Misread { at, side, what } => {
                let patch = match side {
                    Side::Drive => &mut read[at].drive,
                    Side::Coast => &mut read[at].coast,
                };
                if let Some(patch) = patch {
                    misread(patch, what);
                }
            }
            Self::Dial { at } => {
                if let Some(backlash) = &mut read[at].backlash_mm {
                    backlash.deviation = backlash.deviation.hypot(CHANCES.dial_misread_mm);
                }
            }
            Self::FlanksSwapped { at } => {
                let Observation { drive, coast, .. } = &mut read[at];
                std::mem::swap(drive, coast);
            }
            Self::EndsSwapped { at, sides } => {
                let Observation { drive, coast, .. } = &mut read[at];
                for (patch, swapped) in [drive, coast].into_iter().zip(sides) {
                    if let (Some(patch), true) = (patch, swapped) {
                        turn_ends(patch);
                    }
                }
            }
            Self::OldPhoto { at, sides } => {
                let before = read[at - 1].moved;
                for (place, old) in read[at].photographed.iter_mut().zip(sides) {
                    if old {
                        *place = before;
                    }
                }
            }
            Self::PackNotedWrong { at, gear } => read[at].noted_wrong = Some(gear),
            Self::ShimPlace => {
                for read in &mut read {
                    read.moved = other_way(read.moved);
                    read.photographed = read.photographed.map(other_way);
                }
            }
        }
        read
    }

    /// How much wider than usual a fault's parameters are.
    pub(crate) fn widths(self) -> SetParameters {
        let usual = &CALIBRATION.priors;
        let faulty = &CHANCES.faults;
        let one = SetParameters::from_fn(|_| 1.0);
        match self {
            Self::Fault(Fault::Offset) => SetParameters {
                offset: faulty.offset / usual.offset,
                ..one
            },
            Self::Fault(Fault::ShaftAngle) => SetParameters {
                shaft_angle: faulty.shaft_angle / usual.shaft_angle,
                ..one
            },
            Self::Fault(Fault::Mates) => {
                let of = |usual: &FlankParameters, faulty: &FlankParameters| FlankParameters {
                    bias: faulty.bias / usual.bias,
                    tilt_length: faulty.tilt_length / usual.tilt_length,
                    tilt_height: faulty.tilt_height / usual.tilt_height,
                    ..FlankParameters::from_fn(|_| 1.0)
                };
                SetParameters {
                    drive: of(&usual.drive, &faulty.drive),
                    coast: of(&usual.coast, &faulty.coast),
                    ..one
                }
            }
            _ => one,
        }
    }

    /// The set and the dial, if this is so.
    ///
    /// # Errors
    /// Gears that cannot mesh, cut the other way.
    pub(crate) fn model(
        self,
        card: &Card,
        told: &Rc<ForwardModel>,
    ) -> Result<Rc<ForwardModel>, ContactError> {
        match self {
            Self::DialSetting => Ok(Rc::new(told.by_the_other_dial())),
            Self::Cutting => {
                let mut other = card.clone();
                other.gear.cutting = match card.gear.cutting {
                    Cutting::FaceMilled => Cutting::FaceHobbed,
                    Cutting::FaceHobbed => Cutting::FaceMilled,
                };
                other.gear.taper_deg = None;
                other.gear.blade_groups = None;
                other.gear.cutter_radius_mm = None;
                ForwardModel::new(&other).map(Rc::new)
            }
            Self::Fault(_) => Ok(Rc::new(told.wider(&self.widths()))),
            _ => Ok(Rc::clone(told)),
        }
    }

    /// Where a move that is told really takes the gears.
    pub(crate) fn really(self, told: Move) -> Move {
        match self {
            Self::ShimPlace => other_way(told),
            _ => told,
        }
    }
}

fn other_way(told: Move) -> Move {
    Move {
        pinion_mm: -told.pinion_mm,
        ..told
    }
}

/// A centre that may be anywhere.
fn misread(patch: &mut ObservedPatch, what: Misread) {
    let anywhere = |deviation: &mut f64| *deviation = deviation.hypot(CHANCES.misread_by);
    let centre = &mut patch.centre.deviation;
    if what != Misread::Height {
        anywhere(&mut centre.length);
    }
    if what != Misread::Length {
        anywhere(&mut centre.height);
    }
}

fn turn_ends(patch: &mut ObservedPatch) {
    let Measured { value, .. } = &mut patch.centre;
    *value = FlankPoint::new(1.0 - value.length, value.height);
    if let Some(lean) = &mut patch.lean {
        lean.value = -lean.value;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schema::{FlankReading, Trial};

    /// Two assemblies between which the gears moved so far.
    fn told(pinion_mm: f64, ring_mm: f64) -> [Observation; 2] {
        let reading = FlankReading::at(FlankPoint::new(0.5, 0.5));
        let trial = Trial {
            drive: Some(reading),
            ..Trial::default()
        };
        let moved = Move { pinion_mm, ring_mm };
        [
            Observation::of(1, &trial, Move::default()),
            Observation::of(2, &trial, moved),
        ]
    }

    #[test]
    fn a_pack_noted_wrong_shows_once_its_own_gear_was_moved() {
        let noted = |gear| Doubt::PackNotedWrong { at: 1, gear };
        let unseen = |doubt: Doubt| {
            [told(0.0, 0.0), told(0.1, 0.0), told(0.0, 0.1)].map(|told| doubt.unseen(&told))
        };
        assert_eq!(unseen(noted(Gear::Pinion)), [true, false, true]);
        assert_eq!(unseen(noted(Gear::Ring)), [true, true, false]);
        assert_eq!(unseen(Doubt::ShimPlace), [true, false, true]);
        assert_eq!(unseen(Doubt::DialSetting), [true, true, false]);
    }

    #[test]
    fn a_misread_number_may_be_anything_and_the_other_stays() {
        let [observation, _] = told(0.0, 0.0);
        let patch = observation.drive.unwrap();
        let wider = |what| {
            let mut doubted = patch;
            misread(&mut doubted, what);
            let (before, after) = (patch.centre.deviation, doubted.centre.deviation);
            [
                after.length > 2.0 * before.length,
                after.height > 2.0 * before.height,
            ]
        };
        assert_eq!(wider(Misread::Length), [true, false]);
        assert_eq!(wider(Misread::Height), [false, true]);
        assert_eq!(wider(Misread::Place), [true, true]);
    }

    /// What is wrong may be far more wrong than usual, and nothing else is.
    #[test]
    fn each_fault_widens_what_it_makes_wrong() {
        let mates = Doubt::Fault(Fault::Mates).widths();
        for flank in [&mates.drive, &mates.coast] {
            assert!(flank.bias > 1.0 && flank.tilt_length > 1.0 && flank.tilt_height > 1.0);
        }
        assert_eq!((mates.offset, mates.shaft_angle), (1.0, 1.0));
        let offset = Doubt::Fault(Fault::Offset).widths();
        assert!(offset.offset > 1.0 && offset.drive.bias == 1.0 && offset.shaft_angle == 1.0);
        let angle = Doubt::Fault(Fault::ShaftAngle).widths();
        assert!(angle.shaft_angle > 1.0 && angle.offset == 1.0);
    }
}
