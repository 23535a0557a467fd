//! A used set is put back where it ran: its own pattern and backlash are what is right.

use super::explain::place;
use crate::frames::Side;
use crate::schema::{Advice, Card, Condition, Trial};
use crate::units::Units;

/// The card with the target of a used set: the pattern and backlash it ran with.
pub(crate) fn as_it_ran(card: &Card, trials: &[Trial]) -> Card {
    let mut card = card.clone();
    let used = trials.last().and_then(|t| t.condition) == Some(Condition::Used);
    let Some(found) = trials.iter().find(|t| t.as_found).filter(|_| used) else {
        return card;
    };
    if let Some(drive) = &found.drive {
        card.target.drive = drive.centre;
    }
    if let Some(coast) = &found.coast {
        card.target.coast = coast.centre;
    }
    if let Some(mean_mm) = found.mean_backlash_mm() {
        let [low, high] = card.backlash_window_mm();
        let half = 0.5 * (high - low);
        card.limits.backlash_mm = Some([(mean_mm - half).max(0.0), mean_mm + half]);
    }
    card
}

/// A used set is put back where it ran; says so where that changes what is right.
pub(crate) fn explain(advice: &mut Advice, asked: &Card, ran: &Card, units: Units) {
    let mut moved = Vec::new();
    for side in Side::BOTH {
        if asked.target.of(side) != ran.target.of(side) {
            moved.push(format!(
                "the {} target is {}",
                side.word(),
                place(ran.target.of(side))
            ));
        }
    }
    if asked.limits.backlash_mm != ran.limits.backlash_mm {
        let window = |card: &Card| {
            let [low, high] = card.backlash_window_mm();
            format!("{} to {}", units.shim(low), units.shim(high))
        };
        moved.push(format!(
            "the backlash window is {} (the card has {})",
            window(ran),
            window(asked)
        ));
    }
    if !moved.is_empty() {
        advice.why.push(format!(
            "The gears are used, so what is right is what they came in with, not what the card says of new ones: {}.",
            moved.join(", ")
        ));
    }
}
