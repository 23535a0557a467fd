//! The job's record: cards, trials with their photos, advice and what became of it, the closing list.
//!
//! One embedded database is one workshop ([`store`]); [`archive`] carries a whole job to another one; [`next`]
//! says what the next station is. The numbers of a trial are those of [`crate::schema::Trial`], so that the
//! advice reads a stored job like any other.

pub mod archive;
pub mod clock;
pub mod closing;
mod error;
mod layout;
pub mod new_trial;
pub mod next;
pub mod photos;
pub mod record;
mod rows;
pub mod store;
pub mod strip_metadata;
mod writes;

pub use error::JobError;
pub use rows::JobLine;
pub use store::Store;
