//! Readings + contact model + limits → advice.
//!
//! The way: [`job`] holds card and trials; [`checks`] finds what is missing or cannot be;
//! [`estimate`] fits the [`unknowns`] of the set to all trials; [`choose`] picks the change with the
//! greatest chance among what the [`kit`] can stack ([`places`]); [`explain`] says why.

mod case;
mod checks;
mod choose;
pub mod diagnose;
mod estimate;
mod explain;
pub mod job;
pub mod kit;
mod places;
mod posterior;
pub mod time;
mod unknowns;
mod verdict;

pub use job::Job;
pub use unknowns::Priors;
pub use verdict::{advise, advise_in, advise_with};

/// Why no advice could be made.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RulesError {
    /// The job's text cannot be used.
    #[error("the job cannot be used: {0}")]
    Job(String),
    /// The card's gears cannot mesh.
    #[error("the card's gears cannot mesh: {0}")]
    Gears(#[from] crate::contact::ContactError),
}

impl From<RulesError> for crate::Error {
    fn from(error: RulesError) -> Self {
        Self::of(crate::error::ErrorKind::Input, error)
    }
}

/// Standard uncertainties of what is read and of the model itself.
#[derive(Debug, Clone, Copy)]
pub struct Noise {
    /// Centre along the length, when a reading does not say.
    pub length: f64,
    /// Centre along the height, when a reading does not say.
    pub height: f64,
    /// Extent of the patch: where a patch ends is a matter of taste, unlike its centre.
    pub extent: f64,
    /// Lean, radians.
    pub lean: f64,
    /// One reading of backlash, millimetres.
    pub backlash_mm: f64,
    /// The contact model's own error of the centre along the length.
    pub model_length: f64,
    /// The contact model's own error of the centre along the height.
    pub model_height: f64,
    /// The contact model's own error of the backlash, millimetres.
    pub model_backlash_mm: f64,
}

impl Default for Noise {
    fn default() -> Self {
        Self {
            length: 0.02,
            height: 0.03,
            extent: 0.05,
            lean: 0.12,
            backlash_mm: 0.006,
            model_length: 0.012,
            model_height: 0.012,
            model_backlash_mm: 0.003,
        }
    }
}
