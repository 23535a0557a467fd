//! Readings + contact model + limits → advice.
//!
//! The way: [`trial`] says which readings may be used; [`job`] holds card and trials; [`checks`] finds what is
//! missing or cannot be; [`estimate`] fits what is not known of the set ([`set_parameters`]) so that the
//! [`forward_model`] shows what was read ([`observation`]) in all trials; [`choose`] picks the change with the
//! greatest chance ([`outlook`]) among what the [`kit`] can stack ([`places`]); [`verdict`] judges it and
//! [`explain`] says why. All fitted and chosen numbers are in [`calibration`].

mod calibration;
mod case;
mod cautions;
mod checks;
mod choose;
mod comparable;
pub(crate) mod diagnose;
#[cfg(feature = "cli")]
pub(crate) mod direction;
mod doubts;
mod estimate;
mod explain;
mod explained;
mod forward_model;
pub(crate) mod job;
pub(crate) mod kit;
mod observation;
mod outlook;
mod places;
mod posterior;
mod robust;
mod screening;
mod set_parameters;
#[cfg(test)]
mod stories;
mod summary;
mod suspicion;
pub(crate) mod time;
pub(crate) mod trial;
mod used_set;
mod verdict;
mod warm;

#[cfg(feature = "cli")]
pub(crate) use explain::SAFETY;
pub use job::Job;
#[cfg(feature = "cli")]
pub(crate) use summary::adjusters;
#[cfg(feature = "cli")]
pub(crate) use trial::FlankNotUsable;
pub use trial::{NotUsable, usable};
#[cfg(feature = "cli")]
pub(crate) use used_set::as_it_ran;
pub use verdict::{advise, advise_in};

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
