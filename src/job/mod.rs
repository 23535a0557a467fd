//! The job's record: cards, trials with their photos, advice and what became of it, the closing list.
//!
//! One embedded database is one workshop ([`store`]); [`archive`] carries a whole job to another one; [`next`]
//! says what the next station is. The numbers of a trial are those of [`crate::schema::Trial`], so that the
//! advice reads a stored job like any other.

pub(crate) mod answers;
pub(crate) mod archive;
pub(crate) mod assembly;
pub(crate) mod begin;
pub(crate) mod clock;
pub(crate) mod closing;
mod error;
pub(crate) mod health;
mod layout;
pub(crate) mod limits;
mod mending;
pub(crate) mod new_trial;
pub(crate) mod next;
pub(crate) mod open;
pub(crate) mod photos;
pub(crate) mod record;
mod rows;
pub(crate) mod store;
pub(crate) mod strip_metadata;
mod writes;

pub(crate) use error::JobError;
pub(crate) use rows::JobLine;
pub(crate) use store::Store;
