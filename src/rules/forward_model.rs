//! What the contact model says that an assembly of a card's gears would show, for any values of what is not known of
//! the set.

use super::calibration::CALIBRATION;
use super::observation::{PredictedObservation, PredictedPatch};
use super::outlook::Judged;
use super::set_parameters::{FlankParameters, SetParameters};
use crate::contact::{ContactError, EaseOff, FlankContact, Misalignment, Model};
use crate::frames::FlankPoint;
use crate::schema::{BacklashDirection, Card, Move};
use std::rc::Rc;

/// The set of a card, and how far it may be from its card.
#[derive(Clone)]
pub(crate) struct ForwardModel {
    model: Rc<Model>,
    card_ease_off: [EaseOff; 2],
    card_film_mm: f64,
    /// One standard deviation of every parameter, in its own unit.
    priors: SetParameters,
    /// Backlash at the right place before anything is measured: mid-window.
    usual_backlash_mm: f64,
    /// Measured backlash per backlash in the plane of rotation at the outer diameter.
    indicator: f64,
    /// The dial standing the other way over the dial as the card has it; `None` where the card does not say.
    other_dial: Option<f64>,
    /// Backlash as the card has it measured over what the dial shows.
    judged_per_shown: f64,
}

/// Least lag of the ring gear on each flank, at the outer diameter.
#[derive(Clone, Copy)]
struct Lags {
    drive_mm: f64,
    coast_mm: f64,
}

impl ForwardModel {
    /// Sets the card's gears up.
    ///
    /// # Errors
    /// Gears that cannot mesh.
    pub(crate) fn new(card: &Card) -> Result<Self, ContactError> {
        let (columns, rows) = CALIBRATION.numerics.grid;
        let model = Model::with_grid(&card.gear_set(), columns, rows)?;
        let (card_ease_off, card_film_mm) = model.defaults();
        let outer_mm = card.gear.ring_diameter_mm / 2.0;
        let mean_mm = model.pair().ring_radius_mm;
        let radius_mm = card.carrier.backlash_radius_mm;
        let square = model.square_radius_mm() / outer_mm * radius_mm.map_or(1.0, |r| r / mean_mm);
        let tangential = radius_mm.map_or(1.0, |r| r / outer_mm);
        let mut priors = CALIBRATION.priors;
        let other_dial = (card.carrier.backlash_direction).map(|told| match told {
            BacklashDirection::Square => tangential / square,
            BacklashDirection::Tangential => square / tangential,
        });
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
            model: Rc::new(model),
            card_ease_off,
            card_film_mm,
            priors,
            usual_backlash_mm: 0.5 * (low + high),
            indicator,
            other_dial,
            judged_per_shown: 1.0,
        })
    }

    /// The same set, its dial standing the other way than the card has it.
    pub(crate) fn by_the_other_dial(&self) -> Self {
        let shows = self.other_dial.unwrap_or(1.0);
        Self {
            priors: SetParameters {
                backlash: self.priors.backlash * shows,
                ..self.priors
            },
            usual_backlash_mm: self.usual_backlash_mm * shows,
            indicator: self.indicator * shows,
            judged_per_shown: self.judged_per_shown / shows,
            ..self.clone()
        }
    }

    /// What the dial shows over backlash as the card has it measured.
    pub(crate) fn shown_per_judged(&self) -> f64 {
        1.0 / self.judged_per_shown
    }

    /// What is shown, or how fast that changes, with the backlash as the card has it measured.
    pub(crate) fn judged(&self, shown: &PredictedObservation) -> Judged {
        Judged {
            backlash_mm: self.judged_per_shown * shown.backlash_mm,
            ..Judged::of(shown)
        }
    }

    /// The same set with every parameter's standard deviation so many times as wide.
    pub(crate) fn wider(&self, widths: &SetParameters) -> Self {
        Self {
            priors: self.priors.times(widths),
            ..self.clone()
        }
    }

    /// One standard deviation of every parameter before anything is measured, in its own unit.
    pub(crate) fn priors(&self) -> &SetParameters {
        &self.priors
    }

    /// The parameters in their own units.
    pub(crate) fn values(&self, deviations: &SetParameters) -> SetParameters {
        deviations.times(&self.priors)
    }

    /// Backlash measured per millimetre the ring gear is backed off, to first order.
    pub(crate) fn backlash_per_ring(&self) -> f64 {
        self.model.ring_backlash_ratio(1.0).transverse * self.outer_mm() * self.indicator
    }

    /// Backlash measured per millimetre the pinion is withdrawn, to first order.
    pub(crate) fn backlash_per_pinion(&self) -> f64 {
        self.model.pinion_backlash_ratio(1.0).transverse * self.outer_mm() * self.indicator
    }

    /// From the ring gear's axis to the pinion's head along the pinion's axis, mm: what of the housing carries the
    /// pinion, near enough.
    pub(crate) fn pinion_distance_mm(&self) -> f64 {
        let pair = self.model.pair();
        (pair.mean_point - pair.crossing_point)
            .dot(&pair.pinion_axis)
            .abs()
            + 0.5 * self.model.dimensions().face_width_mm
    }

    fn outer_mm(&self) -> f64 {
        0.5 * self.model.dimensions().ring_diameter_mm
    }

    /// Backlash at the right place, millimetres as measured.
    pub(crate) fn backlash_at_right_mm(&self, deviations: &SetParameters) -> f64 {
        self.usual_backlash_mm + deviations.backlash * self.priors.backlash
    }

    /// What an assembly shows whose gears stand `moved` from where they stood in the first trial; `deviations` in
    /// prior deviations.
    pub(crate) fn predict(&self, deviations: &SetParameters, moved: Move) -> PredictedObservation {
        self.predict_with_lags(deviations, moved).0
    }

    fn predict_with_lags(
        &self,
        deviations: &SetParameters,
        moved: Move,
    ) -> (PredictedObservation, Lags) {
        let values = self.values(deviations);
        let misalignment = Misalignment {
            pinion_mm: values.pinion + moved.pinion_mm,
            ring_mm: values.ring + moved.ring_mm,
            offset_mm: values.offset,
            shaft_angle: values.shaft_angle,
        };
        let [drive, coast] = &self.card_ease_off;
        let ease_off = [
            ease_off(drive, &values.drive),
            ease_off(coast, &values.coast),
        ];
        let film_mm = self.card_film_mm * values.film.exp();
        let state = self.model.state(&misalignment, &ease_off, film_mm);
        let lags = Lags {
            drive_mm: state.drive.least_lag * self.outer_mm(),
            coast_mm: state.coast.least_lag * self.outer_mm(),
        };
        let predicted = PredictedObservation {
            drive: patch(&state.drive),
            coast: patch(&state.coast),
            backlash_mm: self.backlash_mm(deviations, lags),
        };
        (predicted, lags)
    }

    fn backlash_mm(&self, deviations: &SetParameters, lags: Lags) -> f64 {
        let ratio = self.indicator * (deviations.backlash_ratio * self.priors.backlash_ratio).exp();
        self.backlash_at_right_mm(deviations) + ratio * (lags.drive_mm + lags.coast_mm)
    }

    /// What the assembly shows, and how that changes with every parameter per prior deviation, by forward
    /// differences.
    pub(crate) fn predict_with_slopes(
        &self,
        deviations: &SetParameters,
        moved: Move,
    ) -> (PredictedObservation, SetParameters<PredictedObservation>) {
        let step = CALIBRATION.numerics.slope_step;
        let (here, lags) = self.predict_with_lags(deviations, moved);
        let slope = |parameter: fn(&mut SetParameters) -> &mut f64| {
            let mut there = *deviations;
            *parameter(&mut there) += step;
            self.predict(&there, moved).slope_from(&here, step)
        };
        let of_backlash = |backlash_mm: f64| PredictedObservation {
            backlash_mm,
            ..PredictedObservation::default()
        };
        let change_mm = here.backlash_mm - self.backlash_at_right_mm(deviations);
        let (drive, coast) = self.flank_slopes(deviations, moved, &here, lags);
        let slopes = SetParameters {
            pinion: slope(|z| &mut z.pinion),
            ring: slope(|z| &mut z.ring),
            offset: slope(|z| &mut z.offset),
            shaft_angle: slope(|z| &mut z.shaft_angle),
            film: slope(|z| &mut z.film),
            backlash: of_backlash(self.priors.backlash),
            backlash_ratio: of_backlash(change_mm * self.priors.backlash_ratio),
            // Only of the trial whose pack is doubted: `Tangent::of`.
            pack: PredictedObservation::default(),
            drive,
            coast,
        };
        (here, slopes)
    }

    /// The slopes of each flank's own parameters. The flanks do not know of each other, so one prediction serves
    /// the same parameter of both.
    fn flank_slopes(
        &self,
        deviations: &SetParameters,
        moved: Move,
        here: &PredictedObservation,
        lags: Lags,
    ) -> (
        FlankParameters<PredictedObservation>,
        FlankParameters<PredictedObservation>,
    ) {
        let step = CALIBRATION.numerics.slope_step;
        let slope = |parameter: usize| {
            let there = SetParameters {
                drive: deviations.drive.stepped(parameter, step),
                coast: deviations.coast.stepped(parameter, step),
                ..*deviations
            };
            let (there, lags_there) = self.predict_with_lags(&there, moved);
            let backlash_mm = |lags| self.backlash_mm(deviations, lags);
            let of_drive = PredictedObservation {
                drive: there.drive,
                coast: here.coast,
                backlash_mm: backlash_mm(Lags {
                    drive_mm: lags_there.drive_mm,
                    ..lags
                }),
            };
            let of_coast = PredictedObservation {
                drive: here.drive,
                coast: there.coast,
                backlash_mm: backlash_mm(Lags {
                    coast_mm: lags_there.coast_mm,
                    ..lags
                }),
            };
            (
                of_drive.slope_from(here, step),
                of_coast.slope_from(here, step),
            )
        };
        let both: FlankParameters<(PredictedObservation, PredictedObservation)> =
            FlankParameters::from_fn(slope);
        (both.map(|(drive, _)| drive), both.map(|(_, coast)| coast))
    }

    /// The same set with a faultless housing and mates that belong together: what shims cannot cure taken out, what
    /// every set differs in (crowning, film, backlash) kept.
    pub(crate) fn without_faults(&self, deviations: &SetParameters) -> SetParameters {
        let sound = |flank: FlankParameters| FlankParameters {
            bias: 0.0,
            tilt_length: 0.0,
            tilt_height: 0.0,
            ..flank
        };
        SetParameters {
            offset: 0.0,
            shaft_angle: 0.0,
            drive: sound(deviations.drive),
            coast: sound(deviations.coast),
            ..*deviations
        }
    }
}

/// A flank's ease-off: the card's, changed by the parameters in their own units.
fn ease_off(card: &EaseOff, values: &FlankParameters) -> EaseOff {
    let length_mm = card.length_mm * values.crowning_length.exp();
    let height_mm = card.height_mm * values.crowning_height.exp();
    // A tilt t·x on top of c·x² is the same parabola about x = −t/2c, x = 2(u − u0).
    EaseOff {
        length_mm,
        height_mm,
        bias_mm: card.bias_mm + values.bias,
        third_length_mm: card.third_length_mm,
        third_height_mm: card.third_height_mm,
        centre: FlankPoint::new(
            card.centre.length - values.tilt_length / (4.0 * length_mm),
            card.centre.height - values.tilt_height / (4.0 * height_mm),
        ),
    }
}

/// Centre, extent and slant of one flank's patch. A patch that has left the flank is put far outside it, where no
/// reading can be.
fn patch(flank: &FlankContact) -> PredictedPatch {
    let lost = PredictedPatch {
        centre: FlankPoint::new(-2.0, -2.0),
        ..PredictedPatch::default()
    };
    flank.patch.map_or(lost, |patch| PredictedPatch {
        centre: patch.centre,
        extent: patch.extent,
        lean: patch.lean,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::set_parameters::COUNT;

    fn card(cutting: &str) -> Card {
        Card::from_toml(&format!(
            "[gear]\nring_teeth = 41\npinion_teeth = 11\nring_diameter = \"200mm\"\n\
             face_width = \"30mm\"\noffset = \"35mm\"\nspiral_angle_deg = 31\ncutting = \"{cutting}\"\n"
        ))
        .unwrap()
    }

    /// By hand: a bevel set of 11 and 41 teeth, 200 mm across, 30 mm wide: pitch angles 15.02° and 74.98°, mean cone distance
    /// 100 / sin 74.98° − 15 = 88.54 mm, whose part along the pinion is 88.54 cos 15.02° = 85.52 mm, and half the face width on.
    #[test]
    fn the_head_of_a_bevel_pinion_stands_at_its_cone_distance() {
        let card = Card::from_toml(
            "[gear]\nring_teeth = 41\npinion_teeth = 11\nring_diameter = \"200mm\"\nface_width = \"30mm\"\n\
             offset = \"0mm\"\nspiral_angle_deg = 35\ncutting = \"face-milled\"\n",
        );
        let distance_mm = ForwardModel::new(&card.unwrap())
            .unwrap()
            .pinion_distance_mm();
        assert!((distance_mm - 100.52).abs() < 0.2, "{distance_mm}");
    }

    /// The full grid is the contact model's own, whose convergence its own tests show.
    #[test]
    fn the_coarse_grid_is_as_good_as_the_full_one_for_advice() {
        for cutting in ["face-milled", "face-hobbed"] {
            let card = card(cutting);
            let coarse = ForwardModel::new(&card).unwrap();
            let full = Model::new(&card.gear_set()).unwrap();
            let (ease_off, film_mm) = full.defaults();
            for pinion_mm in [-0.3, -0.13, 0.0, 0.07, 0.22] {
                for ring_mm in [-0.1, 0.0, 0.15] {
                    let shown =
                        coarse.predict(&SetParameters::default(), Move { pinion_mm, ring_mm });
                    let at = Misalignment {
                        pinion_mm,
                        ring_mm,
                        ..Misalignment::default()
                    };
                    let state = full.state(&at, &ease_off, film_mm);
                    let near = f64::abs(pinion_mm) < 0.2;
                    for (shown, flank) in [(shown.drive, &state.drive), (shown.coast, &state.coast)]
                    {
                        let true_patch = patch(flank);
                        let apart = |a: FlankPoint, b: FlankPoint| {
                            (a.length - b.length).abs().max((a.height - b.height).abs())
                        };
                        let off = apart(shown.centre, true_patch.centre);
                        let allowed = if near { 0.010 } else { 0.015 };
                        assert!(
                            off < allowed,
                            "{cutting} {pinion_mm} {ring_mm}: centre off {off}"
                        );
                        let off = apart(shown.extent, true_patch.extent);
                        assert!(
                            off < 0.04,
                            "{cutting} {pinion_mm} {ring_mm}: extent off {off}"
                        );
                    }
                    let change_mm = coarse.indicator * state.backlash_change_mm;
                    let shown_mm = shown.backlash_mm - coarse.usual_backlash_mm;
                    assert!((shown_mm - change_mm).abs() < 0.001);
                }
            }
        }
    }

    #[test]
    fn slopes_are_those_of_what_is_shown() {
        let model = ForwardModel::new(&card("face-milled")).unwrap();
        let here = SetParameters::from_fn(|i| 0.3 * f64::from(i as u32 % 3) - 0.3);
        let moved = Move {
            pinion_mm: 0.05,
            ring_mm: -0.02,
        };
        let slopes = model.predict_with_slopes(&here, moved).1.to_array();
        // Extents jump a little from grid line to grid line; centres and backlash agree but for the curvature over
        // half a step.
        let steady = |shown: &PredictedObservation| {
            [
                shown.drive.centre.length,
                shown.drive.centre.height,
                shown.coast.centre.length,
                shown.coast.centre.height,
                shown.backlash_mm,
            ]
        };
        let slopes = slopes.map(|slope| steady(&slope));
        for parameter in 0..COUNT {
            let shown = |by: f64| {
                let step: [f64; COUNT] =
                    std::array::from_fn(|i| if i == parameter { by } else { 0.0 });
                steady(&model.predict(&here.plus(&step), moved))
            };
            let (there, back) = (shown(0.25), shown(-0.25));
            for (i, slope) in slopes[parameter].iter().enumerate() {
                let steepest = slopes.iter().fold(0.0, |most: f64, s| most.max(s[i].abs()));
                let off = (slope - (there[i] - back[i]) / 0.5).abs();
                assert!(
                    off < 0.02 + 0.1 * steepest,
                    "parameter {parameter}, quantity {i}: {off}"
                );
            }
        }
    }

    /// The slopes to first order against the model's own backlash a hundredth of a millimetre apart.
    #[test]
    fn backlash_follows_ring_gear_and_pinion_as_fast_as_it_is_said_to() {
        for cutting in ["face-milled", "face-hobbed"] {
            let model = ForwardModel::new(&card(cutting)).unwrap();
            let backlash = |pinion_mm: f64, ring_mm: f64| {
                let place = Move { pinion_mm, ring_mm };
                model.predict(&SetParameters::default(), place).backlash_mm
            };
            let per_ring = (backlash(0.0, 0.01) - backlash(0.0, -0.01)) / 0.02;
            let per_pinion = (backlash(0.01, 0.0) - backlash(-0.01, 0.0)) / 0.02;
            assert!(
                (model.backlash_per_ring() / per_ring - 1.0).abs() < 0.02,
                "{per_ring}"
            );
            assert!(
                (model.backlash_per_pinion() / per_pinion - 1.0).abs() < 0.05,
                "{per_pinion}"
            );
        }
    }

    /// A dial square to the tooth shows less than one along the circle; a card that does not say stands between.
    #[test]
    fn the_dial_s_setting_turns_what_is_shown() {
        let with = |told| {
            let mut card = card("face-milled");
            card.carrier.backlash_direction = told;
            ForwardModel::new(&card).unwrap()
        };
        let square = with(Some(BacklashDirection::Square));
        let along = with(Some(BacklashDirection::Tangential));
        let open = with(None);
        let (low, high) = (square.backlash_per_ring(), along.backlash_per_ring());
        assert!(low < 0.95 * high, "{low} {high}");
        assert!((open.backlash_per_ring() - (low * high).sqrt()).abs() < 1e-9);
        for (told, other) in [(&square, &along), (&along, &square)] {
            let turned = told.by_the_other_dial();
            let ratio = other.backlash_per_ring() / told.backlash_per_ring();
            assert!((turned.backlash_per_ring() - other.backlash_per_ring()).abs() < 1e-9);
            assert!((turned.shown_per_judged() - ratio).abs() < 1e-9);
            assert!((turned.usual_backlash_mm - told.usual_backlash_mm * ratio).abs() < 1e-9);
            assert!((turned.priors.backlash - told.priors.backlash * ratio).abs() < 1e-9);
        }
    }
}
