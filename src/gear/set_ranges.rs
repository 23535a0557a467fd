//! The ranges in which a card's sizes have a meaning.

use super::GearError;
use super::set::GearSet;
use std::f64::consts::PI;

struct Range {
    key: &'static str,
    /// `None` where the card leaves it out.
    value: Option<f64>,
    low: f64,
    high: f64,
    allowed: &'static str,
    unit: &'static str,
}

impl Range {
    fn check(&self) -> Result<(), GearError> {
        match self.value {
            Some(value) if !(value.is_finite() && (self.low..=self.high).contains(&value)) => {
                Err(GearError::OutOfRange {
                    key: self.key,
                    value,
                    allowed: self.allowed,
                    nearest: if value > self.high {
                        self.high
                    } else {
                        self.low
                    },
                    unit: self.unit,
                })
            }
            _ => Ok(()),
        }
    }
}

/// Checks every size by itself; how they go together is seen when the flanks are made.
///
/// # Errors
/// [`GearError::OutOfRange`] with the first that is outside.
pub(super) fn check(set: &GearSet) -> Result<(), GearError> {
    whole_set(set)
        .iter()
        .chain(&details(set))
        .try_for_each(Range::check)
}

fn range(
    key: &'static str,
    value: impl Into<Option<f64>>,
    [low, high]: [f64; 2],
    allowed: &'static str,
    unit: &'static str,
) -> Range {
    Range {
        key,
        value: value.into(),
        low,
        high,
        allowed,
        unit,
    }
}

const fn degrees(angle: f64) -> f64 {
    angle * 180.0 / PI
}

/// What every card gives, and the pitch angle.
fn whole_set(set: &GearSet) -> [Range; 8] {
    let d = set.ring_diameter_mm;
    let pinion_teeth = f64::from(set.pinion_teeth);
    let ring_teeth = f64::from(set.ring_teeth);
    let spiral = degrees(set.spiral_angle);
    let pressure = degrees(set.pressure_angle);
    let pitch = set.pitch_angle.map(degrees);
    let offset_words = "from 0 to 0.4 of the ring gear's diameter";
    [
        range(
            "pinion_teeth",
            pinion_teeth,
            [4.0, 200.0],
            "from 4 to 200",
            "",
        ),
        range(
            "ring_teeth",
            ring_teeth,
            [10.0, 400.0],
            "from 10 to 400",
            "",
        ),
        range(
            "ring_diameter",
            d,
            [10.0, 5000.0],
            "from 10 mm to 5 m",
            " mm",
        ),
        range(
            "face_width",
            set.face_width_mm,
            [1.0, 2000.0],
            "at least 1 mm",
            " mm",
        ),
        range("offset", set.offset_mm, [0.0, 0.4 * d], offset_words, " mm"),
        range(
            "spiral_angle_deg",
            spiral,
            [0.0, 60.0],
            "from 0° to 60°",
            "°",
        ),
        range(
            "pressure_angle_deg",
            pressure,
            [8.0, 35.0],
            "from 8° to 35°",
            "°",
        ),
        range(
            "pitch_angle_deg",
            pitch,
            [20.0, 89.0],
            "from 20° to 89°",
            "°",
        ),
    ]
}

/// What a card may leave out.
fn details(set: &GearSet) -> [Range; 9] {
    let d = set.ring_diameter_mm;
    let positive = |key, value, high| range(key, value, [1e-4, high], "more than 0", " mm");
    let depth = set.whole_depth_mm;
    let share_of_depth = |share: f64| [0.0, share * depth.unwrap_or(f64::INFINITY)];
    // Clearance and addendum are held against the whole depth only where the card gives it.
    let clearance = depth.and(set.clearance_mm);
    let addendum = depth.and(set.addendum_mm);
    let taper = set.taper.map(degrees);
    let groups = set.blade_groups.map(f64::from);
    let clearance_words = "from 0 to half the whole depth";
    [
        positive("cutter_radius", set.cutter_radius_mm, 10.0 * d),
        positive("whole_depth", depth, 0.3 * d),
        positive("crowning_length", set.crowning_length_mm, 2.0),
        positive("crowning_height", set.crowning_height_mm, 2.0),
        positive("film", set.film_mm, 0.2),
        range(
            "clearance",
            clearance,
            share_of_depth(0.5),
            clearance_words,
            " mm",
        ),
        range(
            "addendum",
            addendum,
            share_of_depth(0.9),
            "less than the working depth",
            " mm",
        ),
        range("taper_deg", taper, [0.0, 30.0], "from 0° to 30°", "°"),
        range("blade_groups", groups, [1.0, 50.0], "from 1 to 50", ""),
    ]
}
