//! One key of a card, and the kinds of values with the range that makes sense on an axle.

/// One key of one table of the card.
pub(crate) struct Key {
    /// The table it stands in; empty for the top of the file.
    pub table: &'static str,
    /// Its name in TOML.
    pub name: &'static str,
    /// What its value is.
    pub kind: Kind,
    /// Whether a card without it is refused.
    pub required: bool,
}

/// Kinds of values with the range that makes sense on an axle.
#[derive(Clone, Copy)]
pub(crate) enum Kind {
    /// Free text.
    Text,
    /// A whole number.
    Count(u32, u32),
    /// A length with unit, range in millimetres.
    Length(f64, f64),
    /// Two lengths with unit, low then high, range in millimetres.
    Window(f64, f64),
    /// Any number of lengths with unit, range in millimetres.
    Lengths(f64, f64),
    /// Whole numbers up to this, one for each of a list of lengths.
    Counts(u32),
    /// Two torques with unit, low then high, range in newton-metres.
    TorqueWindow(f64, f64),
    /// A plain number in a range.
    Number(f64, f64),
    /// Degrees; the name ends in `_deg`.
    Degrees(f64, f64),
    /// One of these words.
    Choice(&'static [&'static str]),
    /// A place or a tolerance on the flank: `{length = …, height = …}`, range of both.
    Flank(f64, f64),
}

pub(crate) const fn key(
    table: &'static str,
    name: &'static str,
    kind: Kind,
    required: bool,
) -> Key {
    Key {
        table,
        name,
        kind,
        required,
    }
}
