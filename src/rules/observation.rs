//! What an assembly shows: as the model predicts it, and as it was read with standard uncertainties; and the one
//! place that puts the observed quantities in order for linear algebra.

use super::calibration::{CALIBRATION, Noise};
use super::set_parameters::SetParameters;
use crate::frames::FlankPoint;
use crate::reading::deviation;
use crate::schema::{FlankReading, Move, ReadingKind, Trial};

/// Quantities of one flank.
const OF_A_FLANK: usize = 5;
/// Observed quantities in all.
pub(crate) const OBSERVED: usize = 2 * OF_A_FLANK + 1;

/// The patch that one flank shows.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct PredictedPatch {
    /// Its centre.
    pub centre: FlankPoint,
    /// Its size.
    pub extent: FlankPoint,
    /// Its slant, radians, + = heel end nearer the tip.
    pub lean: f64,
}

impl PredictedPatch {
    fn fields(&mut self) -> [&mut f64; OF_A_FLANK] {
        let Self {
            centre,
            extent,
            lean,
        } = self;
        [
            &mut centre.length,
            &mut centre.height,
            &mut extent.length,
            &mut extent.height,
            lean,
        ]
    }
}

/// What an assembly shows, or how fast that changes.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct PredictedObservation {
    /// Patch of the drive flank.
    pub drive: PredictedPatch,
    /// Patch of the coast flank.
    pub coast: PredictedPatch,
    /// Backlash, millimetres, as the card has it measured.
    pub backlash_mm: f64,
}

impl PredictedObservation {
    /// The one order of all observed quantities; [`Observation::numbers`] keeps it.
    fn fields(&mut self) -> [&mut f64; OBSERVED] {
        let Self {
            drive,
            coast,
            backlash_mm,
        } = self;
        let [d1, d2, d3, d4, d5] = drive.fields();
        let [c1, c2, c3, c4, c5] = coast.fields();
        [d1, d2, d3, d4, d5, c1, c2, c3, c4, c5, backlash_mm]
    }

    /// Every quantity, in order.
    pub(crate) fn to_array(mut self) -> [f64; OBSERVED] {
        self.fields().map(|field| *field)
    }

    /// How fast this was reached from another prediction over a step.
    pub(crate) fn slope_from(self, here: &Self, step: f64) -> Self {
        let (there, here) = (self.to_array(), here.to_array());
        let mut slope = Self::default();
        for (i, field) in slope.fields().into_iter().enumerate() {
            *field = (there[i] - here[i]) / step;
        }
        slope
    }
}

/// A value with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Measured<T = f64> {
    /// What was read.
    pub value: T,
    /// One standard uncertainty.
    pub deviation: T,
}

impl Measured<FlankPoint> {
    /// Along the length.
    pub(crate) const fn length(self) -> Measured {
        Measured {
            value: self.value.length,
            deviation: self.deviation.length,
        }
    }

    /// Along the height.
    pub(crate) const fn height(self) -> Measured {
        Measured {
            value: self.value.height,
            deviation: self.deviation.height,
        }
    }
}

/// What was read of one flank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ObservedPatch {
    /// The patch's centre.
    pub centre: Measured<FlankPoint>,
    /// Its size.
    pub extent: Option<Measured<FlankPoint>>,
    /// Its slant, radians.
    pub lean: Option<Measured>,
}

/// Which gear's pack.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Gear {
    /// The pinion.
    Pinion,
    /// The ring gear.
    Ring,
}

/// What was read in one trial.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Observation {
    /// Number of the trial in the job, from 1.
    pub trial: usize,
    /// The gears against where they stood in the first trial.
    pub moved: Move,
    /// The gears where the photos of drive and coast flank were taken: here, unless a photo is older.
    pub photographed: [Move; 2],
    /// The gear whose pack was another than the one written down, if one was.
    pub noted_wrong: Option<Gear>,
    /// The drive flank, if it was read.
    pub drive: Option<ObservedPatch>,
    /// The coast flank, if it was read.
    pub coast: Option<ObservedPatch>,
    /// Mean backlash, millimetres.
    pub backlash_mm: Option<Measured>,
    /// The gears had no play at all: the backlash that the shims ask for is the read one or less.
    pub jammed: bool,
}

/// One number that was read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ReadNumber {
    /// Which reading it belongs to.
    pub kind: ReadingKind,
    /// The value and its uncertainty.
    pub measured: Measured,
    /// The true value is this or less.
    pub at_most: bool,
}

impl ReadNumber {
    /// Predicted less read over its uncertainty.
    pub(crate) fn residual(&self, predicted: f64) -> f64 {
        let residual = (predicted - self.measured.value) / self.measured.deviation;
        if self.at_most {
            residual.max(0.0)
        } else {
            residual
        }
    }
}

impl ObservedPatch {
    fn of(reading: &FlankReading, noise: &Noise) -> Self {
        let u = reading
            .uncertainty
            .map_or(FlankPoint::new(noise.length, noise.height), deviation);
        Self {
            centre: Measured {
                value: reading.centre,
                deviation: FlankPoint::new(
                    u.length.hypot(noise.model_length),
                    u.height.hypot(noise.model_height),
                ),
            },
            extent: reading.extent.map(|value| Measured {
                value,
                deviation: FlankPoint::new(
                    (noise.extent_over_centre * u.length).hypot(noise.extent),
                    (noise.extent_over_centre * u.height).hypot(noise.extent),
                ),
            }),
            lean: reading.lean_deg.map(|lean_deg| Measured {
                value: lean_deg.to_radians(),
                deviation: noise.lean,
            }),
        }
    }

    /// In the order of [`PredictedPatch`].
    fn measured(&self) -> [Option<Measured>; OF_A_FLANK] {
        [
            Some(self.centre.length()),
            Some(self.centre.height()),
            self.extent.map(Measured::length),
            self.extent.map(Measured::height),
            self.lean,
        ]
    }
}

impl Observation {
    /// The numbers of a trial with their standard uncertainties.
    pub(crate) fn of(number: usize, trial: &Trial, moved: Move) -> Self {
        let noise = &CALIBRATION.noise;
        let patch = |reading: Option<&FlankReading>| reading.map(|r| ObservedPatch::of(r, noise));
        let mean_mm = trial.mean_backlash_mm();
        Self {
            trial: number,
            moved,
            photographed: [moved; 2],
            noted_wrong: None,
            drive: patch(trial.drive.as_ref()),
            coast: patch(trial.coast.as_ref()),
            backlash_mm: mean_mm.map(|mean_mm| {
                let n = trial.backlash_mm.len() as f64;
                let spread_mm = trial.backlash_variation_mm().unwrap_or(0.0) / 2.0;
                let deviation_mm = noise.backlash_mm.max(spread_mm) / n.sqrt();
                Measured {
                    value: mean_mm,
                    deviation: deviation_mm.hypot(noise.model_backlash_mm),
                }
            }),
            jammed: mean_mm.is_some_and(|mm| (0.0..CALIBRATION.verdict.no_play_mm).contains(&mm)),
        }
    }

    /// The same of a trial with another preload of the side bearings than the last: that moves the ring gear and spreads
    /// the case, and with them the backlash, by more than the dial errs.
    pub(crate) fn of_another_preload(mut self) -> Self {
        if let Some(backlash) = &mut self.backlash_mm {
            backlash.deviation = backlash
                .deviation
                .hypot(CALIBRATION.noise.preload_backlash_mm);
        }
        self
    }

    /// Where the gears stood, of a set with these values in their own units.
    pub(crate) fn stood(&self, values: &SetParameters) -> Move {
        let mut stood = self.moved;
        match self.noted_wrong {
            Some(Gear::Pinion) => stood.pinion_mm += values.pack,
            Some(Gear::Ring) => stood.ring_mm += values.pack,
            None => {}
        }
        stood
    }

    /// What is predicted for this trial, `here` for where the gears stood and the flanks from where their photos were
    /// taken.
    pub(crate) fn seen(
        &self,
        here: &PredictedObservation,
        predict: impl Fn(Move) -> PredictedObservation,
    ) -> PredictedObservation {
        let [drive, coast] = self.photographed;
        let elsewhere = |at: Move| (at != self.moved).then(|| predict(at));
        PredictedObservation {
            drive: elsewhere(drive).map_or(here.drive, |seen| seen.drive),
            coast: elsewhere(coast).map_or(here.coast, |seen| seen.coast),
            backlash_mm: here.backlash_mm,
        }
    }

    /// Everything read, `None` where nothing was, in the order of [`PredictedObservation::to_array`].
    pub(crate) fn numbers(&self) -> [Option<ReadNumber>; OBSERVED] {
        let flank = |patch: &Option<ObservedPatch>, kind| {
            patch
                .map_or([None; OF_A_FLANK], |patch| patch.measured())
                .map(|measured| read(kind, measured, false))
        };
        let [d1, d2, d3, d4, d5] = flank(&self.drive, ReadingKind::Drive);
        let [c1, c2, c3, c4, c5] = flank(&self.coast, ReadingKind::Coast);
        let backlash = read(ReadingKind::Backlash, self.backlash_mm, self.jammed);
        [d1, d2, d3, d4, d5, c1, c2, c3, c4, c5, backlash]
    }
}

fn read(kind: ReadingKind, measured: Option<Measured>, at_most: bool) -> Option<ReadNumber> {
    measured.map(|measured| ReadNumber {
        kind,
        measured,
        at_most,
    })
}
