//! Teaching from the gear itself: rendered photos of painted teeth, sheets, a page to try, a quiz.
//!
//! Every patch shown is the contact model's for the misalignment named beside it; nothing is drawn
//! by hand.

pub(crate) mod case;
pub(crate) mod cases;
pub(crate) mod explore;
pub(crate) mod flat;
pub(crate) mod photo;
pub(crate) mod quiz;
pub(crate) mod sheet;

#[cfg(test)]
pub(crate) mod browser_tests;
