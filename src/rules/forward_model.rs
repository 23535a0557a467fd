//! What is not known of a gear set before its trials, with how far each may be off, and what the
//! contact model says that an assembly with it would show.

use crate::contact::{EaseOff, FlankContact, Misalignment, Model};
use crate::frames::FlankPoint;
use crate::schema::{BacklashDirection, Card};

/// Unknowns of one flank.
const OF_A_FLANK: usize = 5;
/// Unknowns of the set.
const OF_THE_SET: usize = 7;
/// All unknowns: those of the set, then the drive flank's, then the coast flank's.
pub const COUNT: usize = OF_THE_SET + 2 * OF_A_FLANK;

/// Where the pinion stood in the first trial, millimetres.
pub const PINION: usize = 0;
/// Where the ring gear stood in the first trial, millimetres.
pub const RING: usize = 1;
const OFFSET: usize = 2;
const SHAFT: usize = 3;
const FILM: usize = 4;
const BACKLASH: usize = 5;
const BACKLASH_RATIO: usize = 6;
const CROWNING_LENGTH: usize = 0;
const CROWNING_HEIGHT: usize = 1;
const BIAS: usize = 2;
const TILT_LENGTH: usize = 3;
const TILT_HEIGHT: usize = 4;

/// One standard deviation of every unknown before anything is measured.
#[derive(Debug, Clone, Copy)]
pub struct Priors {
    /// Pinion in the first trial, millimetres: pinion numbers spread by ±0.10 mm (several makers'
    /// texts), wrong starting shims by more.
    pub pinion_mm: f64,
    /// Ring gear in the first trial, millimetres.
    pub ring_mm: f64,
    /// Offset of the housing, millimetres.
    pub offset_mm: f64,
    /// Shaft angle of the housing, radians.
    pub shaft_angle: f64,
    /// Film, natural logarithm.
    pub film: f64,
    /// Backlash at the right place, millimetres.
    pub backlash_mm: f64,
    /// Backlash per move against the model's, natural logarithm: where the indicator stands, and how
    /// square. Workshops read 0.5 to 0.82 of backlash per unit of shim moved across (service texts of
    /// several makers, an army manual TM 9-2320-289-34 p. 6-19) where the geometry gives 0.6–0.87.
    pub backlash_ratio: f64,
    /// Both crownings of each flank, natural logarithm.
    pub crowning: f64,
    /// Bias of each flank at the corners, millimetres.
    pub bias_mm: f64,
    /// Ease-off at the ends that a small spiral-angle error between the mates makes, millimetres.
    pub tilt_length_mm: f64,
    /// Ease-off at tip and root that a small pressure-angle error makes, millimetres.
    pub tilt_height_mm: f64,
}

impl Default for Priors {
    fn default() -> Self {
        Self {
            pinion_mm: 0.25,
            ring_mm: 0.15,
            offset_mm: 0.02,
            shaft_angle: 0.000_2,
            film: 0.30,
            backlash_mm: 0.02,
            backlash_ratio: 0.18,
            crowning: 0.35,
            bias_mm: 0.008,
            tilt_length_mm: 0.003,
            tilt_height_mm: 0.001_5,
        }
    }
}

impl Priors {
    fn deviation(&self, unknown: usize) -> f64 {
        if unknown >= OF_THE_SET {
            return match (unknown - OF_THE_SET) % OF_A_FLANK {
                CROWNING_LENGTH | CROWNING_HEIGHT => self.crowning,
                BIAS => self.bias_mm,
                TILT_LENGTH => self.tilt_length_mm,
                _ => self.tilt_height_mm,
            };
        }
        match unknown {
            PINION => self.pinion_mm,
            RING => self.ring_mm,
            OFFSET => self.offset_mm,
            SHAFT => self.shaft_angle,
            FILM => self.film,
            BACKLASH => self.backlash_mm,
            _ => self.backlash_ratio,
        }
    }
}

/// What an assembly shows: per flank centre length, centre height, extent length, extent height and
/// lean (radians); then backlash in millimetres as the card has it measured.
pub const SHOWN: usize = 11;
/// Numbers per flank in what an assembly shows; drive first.
pub const SHOWN_OF_A_FLANK: usize = 5;
/// Place of the backlash in what an assembly shows.
pub const SHOWN_BACKLASH: usize = 10;

/// What an assembly shows.
pub type Show = [f64; SHOWN];

/// Values of the unknowns, each in standard deviations from its prior mean.
pub type Unknowns = [f64; COUNT];

/// The set of a card as an observer of assemblies.
pub struct Observer {
    model: Model,
    card_ease_off: [EaseOff; 2],
    card_film_mm: f64,
    priors: Priors,
    /// Backlash at the right place before anything is measured: mid-window.
    usual_backlash_mm: f64,
    /// Measured backlash per backlash in the plane of rotation at the outer diameter.
    indicator: f64,
}

/// Grid of the contact model: a sixth of the usual points moves a centre by less than 0.010, half
/// of the best reading's uncertainty, and by less than 0.015 where most of the patch has run off the
/// flank; and it is several times as fast.
const GRID: (usize, usize) = (25, 13);

impl Observer {
    /// Sets the card's gears up.
    ///
    /// # Errors
    /// Gears that cannot mesh.
    pub fn new(card: &Card, priors: Priors) -> Result<Self, crate::contact::ContactError> {
        let model = Model::with_grid(&card.gear_set(), GRID.0, GRID.1)?;
        let (card_ease_off, card_film_mm) = model.defaults();
        let outer_mm = card.gear.ring_diameter_mm / 2.0;
        let mean_mm = model.pair().ring_radius_mm;
        let radius_mm = card.carrier.backlash_radius_mm;
        let square = model.square_radius_mm() / outer_mm * radius_mm.map_or(1.0, |r| r / mean_mm);
        let tangential = radius_mm.map_or(1.0, |r| r / outer_mm);
        let mut priors = priors;
        let indicator = match card.carrier.backlash_direction {
            Some(BacklashDirection::Square) => square,
            Some(BacklashDirection::Tangential) => tangential,
            None => {
                let half_way_apart = 0.5 * (tangential / square).ln().abs();
                priors.backlash_ratio = priors.backlash_ratio.hypot(half_way_apart);
                (square * tangential).sqrt()
            }
        };
        let [low, high] = card.backlash_window_mm();
        Ok(Self {
            model,
            card_ease_off,
            card_film_mm,
            priors,
            usual_backlash_mm: 0.5 * (low + high),
            indicator,
        })
    }

    /// Deviation of an unknown from its prior mean, in its own unit.
    pub fn value(&self, unknown: usize, z: &Unknowns) -> f64 {
        z[unknown] * self.priors.deviation(unknown)
    }

    /// Backlash measured per millimetre the ring gear is backed off, to first order.
    pub fn backlash_per_ring(&self) -> f64 {
        self.model.ring_backlash_ratio(1.0).transverse * self.outer_mm() * self.indicator
    }

    /// Backlash measured per millimetre the pinion is withdrawn, to first order.
    pub fn backlash_per_pinion(&self) -> f64 {
        self.model.pinion_backlash_ratio(1.0).transverse * self.outer_mm() * self.indicator
    }

    fn outer_mm(&self) -> f64 {
        0.5 * self.model.dimensions().ring_diameter_mm
    }

    /// Backlash at the right place, millimetres as measured.
    pub fn backlash_at_right_mm(&self, z: &Unknowns) -> f64 {
        self.usual_backlash_mm + self.value(BACKLASH, z)
    }

    /// Pinion and ring gear in the first trial that are one standard deviation per millimetre.
    pub fn place_deviation_mm(&self) -> (f64, f64) {
        (self.priors.pinion_mm, self.priors.ring_mm)
    }

    fn ease_off(&self, side: usize, z: &Unknowns) -> EaseOff {
        let first = OF_THE_SET + side * OF_A_FLANK;
        let of = |unknown: usize| self.value(first + unknown, z);
        let card = &self.card_ease_off[side];
        let length_mm = card.length_mm * of(CROWNING_LENGTH).exp();
        let height_mm = card.height_mm * of(CROWNING_HEIGHT).exp();
        // A tilt t·x on top of c·x² is the same parabola about x = −t/2c, x = 2(u − u0).
        EaseOff {
            length_mm,
            height_mm,
            bias_mm: card.bias_mm + of(BIAS),
            centre: FlankPoint::new(
                card.centre.length - of(TILT_LENGTH) / (4.0 * length_mm),
                card.centre.height - of(TILT_HEIGHT) / (4.0 * height_mm),
            ),
        }
    }

    /// What an assembly shows whose gears stand `moved_mm` = [pinion, ring gear] from where they
    /// stood in the first trial.
    pub fn show(&self, z: &Unknowns, moved_mm: [f64; 2]) -> Show {
        self.look(z, moved_mm).0
    }

    /// What the assembly shows, and each flank's least lag at the outer diameter, millimetres.
    fn look(&self, z: &Unknowns, moved_mm: [f64; 2]) -> (Show, [f64; 2]) {
        let misalignment = Misalignment {
            pinion_mm: self.value(PINION, z) + moved_mm[0],
            ring_mm: self.value(RING, z) + moved_mm[1],
            offset_mm: self.value(OFFSET, z),
            shaft_angle: self.value(SHAFT, z),
        };
        let ease_off = [self.ease_off(0, z), self.ease_off(1, z)];
        let film_mm = self.card_film_mm * self.value(FILM, z).exp();
        let state = self.model.state(&misalignment, &ease_off, film_mm);
        let lags = [&state.drive, &state.coast].map(|flank| flank.least_lag * self.outer_mm());
        let mut show = [0.0; SHOWN];
        show[..SHOWN_OF_A_FLANK].copy_from_slice(&seen(&state.drive));
        show[SHOWN_OF_A_FLANK..SHOWN_BACKLASH].copy_from_slice(&seen(&state.coast));
        show[SHOWN_BACKLASH] = self.backlash_mm(z, lags);
        (show, lags)
    }

    fn backlash_mm(&self, z: &Unknowns, lags_mm: [f64; 2]) -> f64 {
        let ratio = self.indicator * self.value(BACKLASH_RATIO, z).exp();
        self.backlash_at_right_mm(z) + ratio * (lags_mm[0] + lags_mm[1])
    }

    /// What the assembly shows, and how that changes with every unknown, by forward differences.
    ///
    /// The flanks do not know of each other, so one look serves the same unknown of both.
    pub fn show_with_slopes(
        &self,
        z: &Unknowns,
        moved_mm: [f64; 2],
    ) -> (Show, [[f64; COUNT]; SHOWN]) {
        /// A quarter of a deviation, 0.06 mm of the pinion: above the grid's grain, which moves a centre
        /// by 0.002 or so, and below the curvature.
        const STEP: f64 = 0.25;
        let (here, lags_mm) = self.look(z, moved_mm);
        let mut slopes = [[0.0; COUNT]; SHOWN];
        for unknown in [PINION, RING, OFFSET, SHAFT, FILM] {
            let mut there = *z;
            there[unknown] += STEP;
            let there = self.show(&there, moved_mm);
            for (row, slope) in slopes.iter_mut().enumerate() {
                slope[unknown] = (there[row] - here[row]) / STEP;
            }
        }
        let change_mm = here[SHOWN_BACKLASH] - self.backlash_at_right_mm(z);
        slopes[SHOWN_BACKLASH][BACKLASH] = self.priors.deviation(BACKLASH);
        slopes[SHOWN_BACKLASH][BACKLASH_RATIO] = change_mm * self.priors.deviation(BACKLASH_RATIO);
        for unknown in 0..OF_A_FLANK {
            let of_side = |side: usize| OF_THE_SET + side * OF_A_FLANK + unknown;
            let mut there = *z;
            there[of_side(0)] += STEP;
            there[of_side(1)] += STEP;
            let (there, lags_there_mm) = self.look(&there, moved_mm);
            for side in 0..2 {
                let first = side * SHOWN_OF_A_FLANK;
                for row in first..first + SHOWN_OF_A_FLANK {
                    slopes[row][of_side(side)] = (there[row] - here[row]) / STEP;
                }
                let mut lags = lags_mm;
                lags[side] = lags_there_mm[side];
                slopes[SHOWN_BACKLASH][of_side(side)] =
                    (self.backlash_mm(z, lags) - here[SHOWN_BACKLASH]) / STEP;
            }
        }
        (here, slopes)
    }
}

/// Centre, extent and lean of one flank's patch. A patch that has left the flank is put far outside
/// it, where no reading can be.
fn seen(flank: &FlankContact) -> [f64; SHOWN_OF_A_FLANK] {
    flank.patch.map_or([-2.0, -2.0, 0.0, 0.0, 0.0], |patch| {
        [
            patch.centre.length,
            patch.centre.height,
            patch.extent.length,
            patch.extent.height,
            patch.lean,
        ]
    })
}

impl Observer {
    /// The same set with a faultless housing and mates that belong together: what shims cannot
    /// cure taken out, what every set differs in (crowning, film, backlash) kept.
    pub fn without_faults(&self, z: &Unknowns) -> Unknowns {
        let mut sound = *z;
        sound[OFFSET] = 0.0;
        sound[SHAFT] = 0.0;
        for side in 0..2 {
            for unknown in [BIAS, TILT_LENGTH, TILT_HEIGHT] {
                sound[OF_THE_SET + side * OF_A_FLANK + unknown] = 0.0;
            }
        }
        sound
    }

    /// How far, in prior deviations, each kind of fault is from none: offset of the housing, its
    /// shaft angle, and mates that do not belong together.
    pub fn faults(&self, z: &Unknowns) -> [f64; 3] {
        let mates = (0..2)
            .flat_map(|side| (0..OF_A_FLANK).map(move |u| OF_THE_SET + side * OF_A_FLANK + u))
            .map(|unknown| z[unknown].abs())
            .fold(0.0, f64::max);
        [z[OFFSET].abs(), z[SHAFT].abs(), mates]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn card(cutting: &str) -> Card {
        Card::from_toml(&format!(
            "[gear]\nring_teeth = 41\npinion_teeth = 11\nring_diameter = \"200mm\"\n\
             face_width = \"30mm\"\noffset = \"35mm\"\nspiral_angle_deg = 31\ncutting = \"{cutting}\"\n"
        ))
        .unwrap()
    }

    /// The full grid is the contact model's own, whose convergence its own tests show.
    #[test]
    fn the_coarse_grid_is_as_good_as_the_full_one_for_advice() {
        for cutting in ["face-milled", "face-hobbed"] {
            let card = card(cutting);
            let observer = Observer::new(&card, Priors::default()).unwrap();
            let full = Model::new(&card.gear_set()).unwrap();
            let (ease_off, film_mm) = full.defaults();
            for pinion_mm in [-0.3, -0.13, 0.0, 0.07, 0.22] {
                for ring_mm in [-0.1, 0.0, 0.15] {
                    let show = observer.show(&[0.0; COUNT], [pinion_mm, ring_mm]);
                    let at = Misalignment {
                        pinion_mm,
                        ring_mm,
                        ..Misalignment::default()
                    };
                    let state = full.state(&at, &ease_off, film_mm);
                    for (first, flank) in [(0, &state.drive), (SHOWN_OF_A_FLANK, &state.coast)] {
                        let seen = seen(flank);
                        for i in 0..4 {
                            let off = (show[first + i] - seen[i]).abs();
                            let near = f64::abs(pinion_mm) < 0.2;
                            let allowed = match (i < 2, near) {
                                (true, true) => 0.010,
                                (true, false) => 0.015,
                                (false, _) => 0.04,
                            };
                            assert!(
                                off < allowed,
                                "{cutting} {pinion_mm} {ring_mm}: {i} off {off}"
                            );
                        }
                    }
                    let change_mm = observer.indicator * state.backlash_change_mm;
                    let shown_mm = show[SHOWN_BACKLASH] - observer.usual_backlash_mm;
                    assert!((shown_mm - change_mm).abs() < 0.001);
                }
            }
        }
    }

    #[test]
    fn slopes_are_those_of_what_is_shown() {
        let observer = Observer::new(&card("face-milled"), Priors::default()).unwrap();
        let mut here = [0.0; COUNT];
        for (i, z) in here.iter_mut().enumerate() {
            *z = 0.3 * f64::from(i as u32 % 3) - 0.3;
        }
        let moved_mm = [0.05, -0.02];
        let (_, slopes) = observer.show_with_slopes(&here, moved_mm);
        for unknown in 0..COUNT {
            let mut there = here;
            there[unknown] += 0.25;
            let mut back = here;
            back[unknown] -= 0.25;
            let (there, back) = (
                observer.show(&there, moved_mm),
                observer.show(&back, moved_mm),
            );
            let steepest = |row: usize| {
                slopes[row]
                    .iter()
                    .fold(0.0, |most: f64, s| most.max(s.abs()))
            };
            // Extents jump a little from grid line to grid line; centres and backlash agree but for the
            // curvature over half a step.
            for row in [0, 1, SHOWN_OF_A_FLANK, SHOWN_OF_A_FLANK + 1, SHOWN_BACKLASH] {
                let central = (there[row] - back[row]) / 0.5;
                let off = (slopes[row][unknown] - central).abs();
                let steepest = steepest(row);
                assert!(
                    off < 0.02 + 0.1 * steepest,
                    "unknown {unknown}, row {row}: {off}"
                );
            }
        }
    }
}
