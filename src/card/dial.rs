//! What the card's dial makes of a backlash.

use crate::contact::Model;
use crate::schema::{BacklashDirection, Card};

/// How backlash as the card has it measured compares with backlash at the outer diameter in the plane of rotation, which
/// is what the contact model counts in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Dial {
    /// Measured millimetres for each of the contact model's.
    pub share: f64,
    /// How far that may be off because the card does not say how the dial stands.
    pub spread: f64,
    /// How the dial stands, as texts say it.
    pub words: &'static str,
}

impl Card {
    /// How the dial stands; half-way between square to the tooth and along the circle when the card is silent.
    pub(crate) fn dial(&self, model: &Model) -> Dial {
        let outer_mm = 0.5 * model.dimensions().ring_diameter_mm;
        let square = model.square_radius_mm() / outer_mm;
        let along = self.backlash_radius_mm() / outer_mm;
        let (share, spread, words) = match self.carrier.backlash_direction {
            Some(BacklashDirection::Square) => (square, 0.0, "square to the tooth"),
            Some(BacklashDirection::Tangential) => {
                (along, 0.0, "along the circle, in the plane of rotation")
            }
            None => (
                0.5 * (square + along),
                0.5 * (along - square).abs(),
                "half-way between square to the tooth and along the circle, for the card does not say how the dial stands",
            ),
        };
        Dial {
            share,
            spread,
            words,
        }
    }
}
