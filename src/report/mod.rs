//! Results → bytes, one file per format.

pub mod advice_text;
