//! Card → blank → flank surfaces, with the symbols of ISO 23509.

pub mod set;
