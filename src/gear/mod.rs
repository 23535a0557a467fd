//! Card → blank → flank surfaces, with the symbols of ISO 23509.

pub mod card;
pub mod card_keys;
pub mod set;
