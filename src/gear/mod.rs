//! Blank → flank surfaces, with the symbols of ISO 23509.

pub(crate) mod blank;
pub(crate) mod blank_of_model;
mod cones_of_pair;
pub(crate) mod dimensions;
pub(crate) mod face_hobbed;
pub(crate) mod face_milled;
pub(crate) mod flank;
mod parametric;
pub(crate) mod pitch;
pub(crate) mod set;
mod set_ranges;
pub(crate) mod tooth_flanks;
pub(crate) mod tooth_solid;

/// Why a gear set cannot be made as its card says. Every message ends with what would work.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum GearError {
    /// A number is outside the range in which it has a meaning.
    #[error(
        "{key} is {value}{unit}: it must be {allowed}; the nearest that works is {nearest}{unit}"
    )]
    OutOfRange {
        /// The card's key.
        key: &'static str,
        /// What was given, in the unit of the message.
        value: f64,
        /// What is allowed, in words.
        allowed: &'static str,
        /// The nearest usable value.
        nearest: f64,
        /// Unit, with its leading space if it wants one.
        unit: &'static str,
    },
    /// The axes cannot stand this far apart with these cones.
    #[error(
        "the offset of {offset_mm:.2} mm is too large for this ring gear and spiral angle: the pinion's spiral would pass 75°; the largest that works is {nearest_mm:.2} mm"
    )]
    OffsetTooLarge {
        /// The card's offset.
        offset_mm: f64,
        /// The largest offset that works.
        nearest_mm: f64,
    },
    /// The face is so wide that the teeth would reach the pitch apex.
    #[error(
        "the face width of {face_width_mm:.2} mm reaches the pitch apex {cone_mm:.2} mm inside the outer end; the widest that works is {nearest_mm:.2} mm (a third of that is usual)"
    )]
    FacePastApex {
        /// The card's face width.
        face_width_mm: f64,
        /// R_e2.
        cone_mm: f64,
        /// The widest usable face.
        nearest_mm: f64,
    },
    /// The cutter does not reach every point of the flank.
    #[error(
        "a cutter of radius {radius_mm:.2} mm does not sweep the whole flank (it misses the {place}); the nearest radius that works is about {nearest_mm:.2} mm"
    )]
    CutterMisses {
        /// The cutter radius used.
        radius_mm: f64,
        /// Which end of the flank is missed.
        place: &'static str,
        /// A radius that works.
        nearest_mm: f64,
    },
    /// The blank's method wants something that was not given.
    #[error("{key} is missing: {why}")]
    Missing {
        /// What is missing.
        key: &'static str,
        /// Why it is needed.
        why: &'static str,
    },
    /// The pitch cones of a hypoid pair could not be found.
    #[error("method {method}: {advice}")]
    NoPitchCones {
        /// Method of ISO 23509.
        method: u8,
        /// What to change.
        advice: &'static str,
    },
}
