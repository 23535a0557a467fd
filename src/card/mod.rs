//! What a person writes about an axle: keys, the check of what was written, the questions that make a card.

pub(crate) mod ask;
mod bench_keys;
pub(crate) mod blank;
mod dial;
mod error;
mod key;
pub(crate) mod keys;
mod kit_counts;
pub(crate) mod parse;
mod questions;
mod simulate;
mod values;

pub(crate) use dial::Dial;
pub use error::CardError;
pub use simulate::simulate;

use crate::gear::set::GearSet;
use crate::schema::{Card, Hand, RingCut, USUAL_BACKLASH_MM};

impl Card {
    /// The backlash window in force: the card's, or [`USUAL_BACKLASH_MM`].
    pub fn backlash_window_mm(&self) -> [f64; 2] {
        self.limits.backlash_mm.unwrap_or(USUAL_BACKLASH_MM)
    }

    /// Radius the backlash indicator stands at, millimetres.
    pub fn backlash_radius_mm(&self) -> f64 {
        self.carrier
            .backlash_radius_mm
            .unwrap_or(self.gear.ring_diameter_mm / 2.0)
    }

    /// The gear set as the geometry needs it.
    pub fn gear_set(&self) -> GearSet {
        let gear = &self.gear;
        GearSet {
            ring_teeth: gear.ring_teeth,
            pinion_teeth: gear.pinion_teeth,
            ring_diameter_mm: gear.ring_diameter_mm,
            face_width_mm: gear.face_width_mm,
            offset_mm: gear.offset_mm,
            spiral_angle: gear.spiral_angle_deg.to_radians(),
            pressure_angle: gear.pressure_angle_deg.to_radians(),
            limit_angle_factor: gear.f_alpha_lim,
            flank_angles: [gear.pressure_angle_drive_deg, gear.pressure_angle_coast_deg]
                .map(|angle| angle.map(f64::to_radians)),
            cutting: gear.cutting,
            generated: gear.ring_cut == RingCut::Generated,
            shaft_angle: gear.shaft_angle_deg.to_radians(),
            // The other hand is the same set seen in a mirror: nothing that is computed depends on it.
            hand: gear.hand.unwrap_or(Hand::Left),
            drives_on: gear.drives_on,
            pitch_angle: gear.pitch_angle_deg.map(f64::to_radians),
            cutter_radius_mm: gear.cutter_radius_mm,
            blade_groups: gear.blade_groups,
            whole_depth_mm: gear.whole_depth_mm,
            clearance_mm: gear.clearance_mm,
            addendum_mm: gear.addendum_mm,
            taper: gear.taper_deg.map(f64::to_radians),
            crowning_length_mm: gear.crowning_length_mm,
            crowning_height_mm: gear.crowning_height_mm,
            film_mm: gear.film_mm,
        }
    }
}
