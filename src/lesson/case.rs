//! A gear set in one state of assembly, with what the contact model and the rules say of it.

use crate::contact::{ContactError, Misalignment, Model, State};
use crate::frames::Side;
use crate::rules::diagnose;
use crate::schema::{Card, Cutting, FlankDiagnosis};

/// The bias of the slanted face-hobbed lesson, mm at the corners; common practice that such sets
/// run slanted, the amount is ours.
pub(crate) const SLANT_BIAS_MM: f64 = 0.03;

/// A card with its gears set up.
pub(crate) struct Set {
    /// The card.
    pub card: Card,
    /// Its gears.
    pub model: Model,
}

impl Set {
    /// Sets a card's gears up.
    ///
    /// # Errors
    /// Gears that cannot mesh.
    pub(crate) fn new(card: Card) -> Result<Self, ContactError> {
        let model = Model::new(&card.gear_set())?;
        Ok(Self { card, model })
    }

    /// The invented axle that the lessons use, by either cutting method.
    ///
    /// # Errors
    /// As [`Set::new`].
    pub(crate) fn example(cutting: Cutting) -> Result<Self, ContactError> {
        let mut card = example_card();
        if cutting == Cutting::FaceHobbed {
            card.name = "Larchfield 8-inch rear axle, face-hobbed".into();
            let gear = &mut card.gear;
            gear.cutting = cutting;
            gear.pitch_angle_deg = None;
            gear.cutter_radius_mm = None;
            gear.whole_depth_mm = None;
            gear.clearance_mm = None;
            gear.addendum_mm = None;
            gear.taper_deg = None;
        }
        Self::new(card)
    }

    /// The face-milled one with its crowning `factor` times as strong.
    ///
    /// # Errors
    /// As [`Set::new`].
    pub(crate) fn crowned_example(factor: f64) -> Result<Self, ContactError> {
        let mut card = example_card();
        card.name = "Larchfield 8-inch rear axle, strongly crowned".into();
        let plain = Model::new(&card.gear_set())?;
        let usual = plain.dimensions();
        card.gear.crowning_length_mm = Some(factor * usual.crowning_length_mm);
        card.gear.crowning_height_mm = Some(factor * usual.crowning_height_mm);
        Self::new(card)
    }
}

fn example_card() -> Card {
    let text = include_str!("../../examples/larchfield/card.toml");
    Card::from_toml(text).expect("the example card is part of the program")
}

/// One state of assembly.
pub(crate) struct Case {
    /// Where the gears stand.
    pub misalignment: Misalignment,
    /// What that does.
    pub state: State,
    /// Mid-window backlash and what the misalignment adds; not below 0, where the teeth jam, mm.
    pub backlash_mm: f64,
    /// What drive and coast flank are called; `None` when no patch is on the flank.
    pub words: [Option<FlankDiagnosis>; 2],
}

impl Case {
    /// The case of a misalignment, with a bias of both flanks (mm).
    pub(crate) fn new(set: &Set, misalignment: Misalignment, bias_mm: f64) -> Self {
        let (mut ease_off, film_mm) = set.model.defaults();
        for e in &mut ease_off {
            e.bias_mm = bias_mm;
        }
        let state = set.model.state(&misalignment, &ease_off, film_mm);
        let target = &set.card.target;
        let words = Side::BOTH.map(|side| {
            let patch = state.side(side).patch?;
            Some(diagnose::flank(
                patch.centre,
                target.of(side),
                target.tolerance,
            ))
        });
        let [low, high] = set.card.backlash_window_mm();
        let backlash_mm = (0.5 * (low + high) + state.backlash_change_mm).max(0.0);
        Self {
            misalignment,
            state,
            backlash_mm,
            words,
        }
    }

    /// Whether both centres are within tolerance and the backlash in its window.
    pub(crate) fn is_right(&self, card: &Card) -> bool {
        let [low, high] = card.backlash_window_mm();
        let tolerance = card.target.tolerance;
        (low..=high).contains(&self.backlash_mm)
            && self.words.iter().all(|words| {
                words.as_ref().is_some_and(|w| {
                    w.length.abs() <= tolerance.length && w.height.abs() <= tolerance.height
                })
            })
    }
}
