//! A gear set in one state of assembly, with what the contact model and the rules say of it.

use crate::card::Dial;
use crate::contact::patch::Field;
use crate::contact::{ContactError, Misalignment, Model, State};
use crate::frames::Side;
use crate::rules::diagnose;
use crate::schema::{Card, Cutting, FlankDiagnosis, FlankForm};

/// The bias of the slanted face-hobbed lesson, mm at the corners; common practice that such sets
/// run slanted, the amount is ours.
pub(crate) const SLANT_BIAS_MM: f64 = 0.03;

/// A card with its gears set up.
pub(crate) struct Set {
    /// The card.
    pub card: Card,
    /// Its gears.
    pub model: Model,
    /// How the card has backlash measured.
    pub dial: Dial,
}

impl Set {
    /// Sets a card's gears up.
    ///
    /// # Errors
    /// Gears that cannot mesh.
    pub(crate) fn new(card: Card) -> Result<Self, ContactError> {
        let model = Model::new(&card.gear_set())?;
        Ok(Self::of_model(card, model))
    }

    /// A card with its gears on a grid of one's own.
    pub(crate) fn of_model(card: Card, model: Model) -> Self {
        let dial = card.dial(&model);
        Self { card, model, dial }
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

/// How a side's flanks of the ring gear are told on a photo.
pub(crate) fn form(card: &Card, side: Side) -> &'static str {
    if (card.gear.drives_on == FlankForm::Convex) == (side == Side::Drive) {
        "convex, bulging outward along their length"
    } else {
        "concave, hollow along their length"
    }
}

/// Compound is dragged along a little by what wipes it: a patch's edge runs soft and its corners round over this far,
/// mm. Common practice, no source.
const SMEAR_MM: f64 = 0.35;

/// Softens and rounds what is seen of a patch, photo and flat drawing alike; what is said of it is the contact's own.
fn smear(field: &mut Field, size_mm: [f64; 2]) {
    let (nu, nv) = (field.nu, field.nv);
    let along = SMEAR_MM / size_mm[0] * (nu - 1) as f64;
    let up = SMEAR_MM / size_mm[1] * (nv - 1) as f64;
    for (cells, step, count, lines) in [(along, 1, nu, nv), (up, nu, nv, nu)] {
        let reach = (2.5 * cells).ceil() as isize;
        let weight: Vec<f64> = (-reach..=reach)
            .map(|k| (-0.5 * (k as f64 / cells).powi(2)).exp())
            .collect();
        let whole: f64 = weight.iter().sum();
        for line in 0..lines {
            let first = line * if step == 1 { nu } else { 1 };
            let old: Vec<f64> = (0..count).map(|k| field.wiped[first + k * step]).collect();
            for k in 0..count {
                let around = weight.iter().zip(-reach..=reach).map(|(w, off)| {
                    let at = (k as isize + off).clamp(0, count as isize - 1);
                    w * old[at as usize]
                });
                field.wiped[first + k * step] = around.sum::<f64>() / whole;
            }
        }
    }
}

/// One state of assembly.
pub(crate) struct Case {
    /// Where the gears stand.
    pub misalignment: Misalignment,
    /// What that does.
    pub state: State,
    /// Mid-window backlash and what the misalignment adds, as the card has it measured; not below 0, where the teeth
    /// jam, mm.
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
        let mut state = set.model.state(&misalignment, &ease_off, film_mm);
        for (side, contact) in [
            (Side::Drive, &mut state.drive),
            (Side::Coast, &mut state.coast),
        ] {
            smear(&mut contact.field, set.model.flank_size_mm(side));
        }
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
        let backlash_mm = (0.5 * (low + high) + set.dial.share * state.backlash_change_mm).max(0.0);
        Self {
            misalignment,
            state,
            backlash_mm,
            words,
        }
    }

    /// Whether both centres are within tolerance and the backlash in its window.
    pub(crate) fn is_right(&self, card: &Card) -> bool {
        self.what_is_out(card).is_empty()
    }

    /// Whether a side's centre is within tolerance.
    pub(crate) fn is_within(&self, side: Side, card: &Card) -> bool {
        let tolerance = card.target.tolerance;
        self.words[side as usize].as_ref().is_some_and(|w| {
            w.length.abs() <= tolerance.length && w.height.abs() <= tolerance.height
        })
    }

    /// What is out of its limit, in words; backlash first.
    pub(crate) fn what_is_out(&self, card: &Card) -> Vec<String> {
        let [low, high] = card.backlash_window_mm();
        let tolerance = card.target.tolerance;
        let mut out = Vec::new();
        if self.backlash_mm < low {
            out.push("the backlash is too small".into());
        } else if self.backlash_mm > high {
            out.push("the backlash is too large".into());
        }
        for side in Side::BOTH {
            let name = side.word();
            let Some(d) = &self.words[side as usize] else {
                out.push(format!("the {name} patch is gone"));
                continue;
            };
            if d.height.abs() > tolerance.height {
                let way = if d.height < 0.0 { "low" } else { "high" };
                out.push(format!("the {name} patch is too {way}"));
            }
            if d.length.abs() > tolerance.length {
                let way = if d.length < 0.0 { "toe" } else { "heel" };
                out.push(format!("the {name} patch is too near the {way}"));
            }
        }
        out
    }
}
