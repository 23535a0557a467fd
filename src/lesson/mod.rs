//! Teaching from the gear itself: rendered photos of painted teeth, sheets, a page to try, a quiz.
//!
//! Every patch shown is the contact model's for the misalignment named beside it; nothing is drawn
//! by hand.

pub mod case;
pub mod explore;
pub mod flat;
pub mod photo;
pub mod quiz;
pub mod sheet;

#[cfg(test)]
mod browser_tests;
