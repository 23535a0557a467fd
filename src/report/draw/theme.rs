//! Colours and letters of every picture: told apart by lightness and by line as well as by hue, so
//! that they hold for colour-blind eyes and on grey prints.

/// Dark ink: text, frames, casings of light lines.
pub(crate) const INK: &str = "#14213d";
/// Light line over dark or coloured ground.
pub(crate) const LIGHT: &str = "#ffffff";
/// The patch.
pub(crate) const PATCH: &str = "#0b63c5";
/// The target.
pub(crate) const TARGET: &str = "#14213d";
/// The place expected after the change.
pub(crate) const PREDICTED: &str = "#b3470f";
/// The flank itself.
pub(crate) const STEEL: &str = "#e9edf2";
/// Lesser lines and words.
pub(crate) const QUIET: &str = "#5b6678";
/// What is outside its limit.
pub(crate) const WARNING: &str = "#b3261e";
/// Hairlines between rows.
pub(crate) const RULE: &str = "#ccd3dd";
/// The ground that a picture stands on where it does not fill its frame.
pub(crate) const GROUND: &str = "#f3f5f8";
/// The letters of pictures; the file is part of the program.
pub(crate) const LETTERS: &str = "DejaVu Sans, sans-serif";
