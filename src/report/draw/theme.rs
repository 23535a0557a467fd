//! Colours and letters of every picture: told apart by lightness and by line as well as by hue, so
//! that they hold for colour-blind eyes and on grey prints.

/// Dark ink: text, frames, casings of light lines.
pub const INK: &str = "#14213d";
/// Light line over dark or coloured ground.
pub const LIGHT: &str = "#ffffff";
/// The patch.
pub const PATCH: &str = "#0b63c5";
/// The target.
pub const TARGET: &str = "#14213d";
/// The place expected after the change.
pub const PREDICTED: &str = "#b3470f";
/// The flank itself.
pub const STEEL: &str = "#e9edf2";
/// Lesser lines and words.
pub const QUIET: &str = "#5b6678";
/// Hairlines between rows.
pub const RULE: &str = "#ccd3dd";
/// The ground that a picture stands on where it does not fill its frame.
pub const GROUND: &str = "#f3f5f8";
/// The letters of pictures; the file is part of the program.
pub const LETTERS: &str = "DejaVu Sans, sans-serif";
