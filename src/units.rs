//! The one place where lengths, torques, forces and angles are parsed, printed and converted.
//!
//! Inside the program a length is in millimetres, a torque in newton-metres, a force in newtons and
//! an angle in radians. What a user writes carries its unit (`0.030in`, `30thou`, `14 lb-in`); a bare
//! number is refused with the question which unit was meant, because a shim of "0.03" is either a
//! good guess in inches or a wild one in millimetres.
//!
//! Factors are the exact ones of NIST Special Publication 811 (2008), appendix B.8.

#[cfg(feature = "cli")]
mod as_written;
#[cfg(feature = "cli")]
mod shown;

#[cfg(feature = "cli")]
pub(crate) use as_written::{AsWritten, Measured};
#[cfg(feature = "cli")]
pub(crate) use shown::{KSI_MPA, Shown};

use std::str::FromStr;

/// Millimetres in an inch, exact (NIST SP 811, B.8).
pub(crate) const INCH_MM: f64 = 25.4;
/// Millimetres in a thousandth of an inch, exact.
pub(crate) const THOU_MM: f64 = 0.0254;
/// Newtons in a pound-force, exact (NIST SP 811, B.8).
pub(crate) const POUND_FORCE_N: f64 = 4.448_221_615_260_5;
/// Newtons in a kilogram-force, exact (NIST SP 811, B.8).
pub(crate) const KILOGRAM_FORCE_N: f64 = 9.806_65;

/// Newton-metres in a pound-force inch, exact (NIST SP 811, B.8).
pub(crate) const LB_IN_NM: f64 = POUND_FORCE_N * INCH_MM / 1000.0;

/// A number with a unit that cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub(crate) enum UnitError {
    /// A number without its unit.
    #[error("`{text}` has no unit: was {choices} meant? Write the unit with the number")]
    NoUnit {
        /// What was written.
        text: String,
        /// The same number with the usual units.
        choices: String,
    },
    /// A unit that is none of this quantity.
    #[error(
        "`{text}`: `{unit}` is no unit of {quantity}; the nearest is `{nearest}`, known are {known}"
    )]
    UnknownUnit {
        /// What was written.
        text: String,
        /// The part taken for the unit.
        unit: String,
        /// What the number should have been.
        quantity: &'static str,
        /// The known unit that looks most like it.
        nearest: &'static str,
        /// All usual units of the quantity.
        known: String,
    },
    /// No number at all.
    #[error("`{text}` is not a {quantity}; write it like `{example}`")]
    NotANumber {
        /// What was written.
        text: String,
        /// What it should have been.
        quantity: &'static str,
        /// A good example.
        example: &'static str,
    },
}

/// How a quantity is written: every spelling with its factor to the inside unit.
struct Quantity {
    name: &'static str,
    example: &'static str,
    /// The spellings offered in messages.
    usual: &'static [&'static str],
    /// Spellings after [`plain`] with the factor to the inside unit.
    units: &'static [(&'static str, f64)],
}

const LENGTH: Quantity = Quantity {
    name: "length",
    example: "0.030in",
    usual: &["mm", "in", "thou"],
    units: &[
        ("mm", 1.0),
        ("cm", 10.0),
        ("m", 1000.0),
        ("um", 0.001),
        ("µm", 0.001),
        ("μm", 0.001),
        ("in", INCH_MM),
        ("inch", INCH_MM),
        ("inches", INCH_MM),
        ("\"", INCH_MM),
        ("thou", THOU_MM),
    ],
};

const TORQUE: Quantity = Quantity {
    name: "torque",
    example: "14 lb-in",
    usual: &["N·m", "N·cm", "kgf·cm", "lb-in", "lb-ft"],
    units: &[
        ("nm", 1.0),
        ("ncm", 0.01),
        ("kgfcm", KILOGRAM_FORCE_N * 0.01),
        ("kgcm", KILOGRAM_FORCE_N * 0.01),
        ("kgfm", KILOGRAM_FORCE_N),
        ("kgm", KILOGRAM_FORCE_N),
        ("lbin", LB_IN_NM),
        ("lbsin", LB_IN_NM),
        ("lbfin", LB_IN_NM),
        ("inlb", LB_IN_NM),
        ("inlbs", LB_IN_NM),
        ("inlbf", LB_IN_NM),
        ("lbft", LB_IN_NM * 12.0),
        ("lbsft", LB_IN_NM * 12.0),
        ("lbfft", LB_IN_NM * 12.0),
        ("ftlb", LB_IN_NM * 12.0),
        ("ftlbs", LB_IN_NM * 12.0),
        ("ftlbf", LB_IN_NM * 12.0),
        ("ozin", LB_IN_NM / 16.0),
        ("inoz", LB_IN_NM / 16.0),
    ],
};

const FORCE: Quantity = Quantity {
    name: "force",
    example: "45 N",
    usual: &["N", "kN", "kgf", "lbf"],
    units: &[
        ("n", 1.0),
        ("kn", 1000.0),
        ("kgf", KILOGRAM_FORCE_N),
        ("lbf", POUND_FORCE_N),
        ("lb", POUND_FORCE_N),
        ("lbs", POUND_FORCE_N),
    ],
};

const ANGLE: Quantity = Quantity {
    name: "angle",
    example: "31deg",
    usual: &["deg", "rad"],
    units: &[
        ("deg", std::f64::consts::PI / 180.0),
        ("degrees", std::f64::consts::PI / 180.0),
        ("°", std::f64::consts::PI / 180.0),
        ("min", std::f64::consts::PI / 10_800.0),
        ("'", std::f64::consts::PI / 10_800.0),
        ("rad", 1.0),
        ("mrad", 0.001),
    ],
};

/// Lower case without the marks people put between the parts of a unit.
fn plain(unit: &str) -> String {
    unit.chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, '-' | '·' | '⋅' | '*' | '.' | '/'))
        .flat_map(char::to_lowercase)
        .collect()
}

/// Splits `text` where its number ends. A number may be a fraction of whole numbers (`3/8`).
fn split_number(text: &str) -> Option<(f64, &str)> {
    let text = text.trim();
    let sign = usize::from(text.starts_with(['+', '-']));
    let digits = |from: usize| {
        text[from..]
            .find(|c: char| !c.is_ascii_digit() && c != '.')
            .map_or(text.len(), |n| from + n)
    };
    let mut end = digits(sign);
    let rest = &text[end..];
    if let Some(power) = rest.strip_prefix(['e', 'E']) {
        let signed = usize::from(power.starts_with(['+', '-']));
        if power[signed..].starts_with(|c: char| c.is_ascii_digit()) {
            end = digits(end + 1 + signed);
        }
    }
    let number: f64 = text[..end].parse().ok()?;
    if let Some(below) = text[end..].strip_prefix('/') {
        let length = below
            .find(|c: char| !c.is_ascii_digit())
            .unwrap_or(below.len());
        if let Ok(divisor) = below[..length].parse::<u32>() {
            return (divisor > 0).then(|| (number / f64::from(divisor), below[length..].trim()));
        }
    }
    number.is_finite().then(|| (number, text[end..].trim()))
}

fn parse(text: &str, quantity: &Quantity) -> Result<f64, UnitError> {
    let Some((number, unit)) = split_number(text) else {
        return Err(UnitError::NotANumber {
            text: text.trim().to_owned(),
            quantity: quantity.name,
            example: quantity.example,
        });
    };
    if unit.is_empty() {
        let bare = text.trim();
        let choices: Vec<String> = quantity
            .usual
            .iter()
            .map(|unit| format!("`{bare} {unit}`"))
            .collect();
        return Err(UnitError::NoUnit {
            text: bare.to_owned(),
            choices: one_of(&choices),
        });
    }
    let key = plain(unit);
    if let Some((_, factor)) = quantity.units.iter().find(|(name, _)| *name == key) {
        return Ok(number * factor);
    }
    let nearest = quantity
        .usual
        .iter()
        .max_by(|a, b| {
            let likeness = |name: &str| strsim::jaro_winkler(&plain(name), &key);
            likeness(a).total_cmp(&likeness(b))
        })
        .copied()
        .unwrap_or("mm");
    Err(UnitError::UnknownUnit {
        text: text.trim().to_owned(),
        unit: unit.to_owned(),
        quantity: quantity.name,
        nearest,
        known: quantity.usual.join(", "),
    })
}

/// `a`, `a or b`, `a, b or c`.
fn one_of(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [only] => only.clone(),
        [first @ .., last] => format!("{} or {last}", first.join(", ")),
    }
}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $table:expr, $get:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
        pub(crate) struct $name(f64);

        impl $name {
            /// In the inside unit.
            pub(crate) const fn $get(self) -> f64 {
                self.0
            }
        }

        impl FromStr for $name {
            type Err = UnitError;

            /// A number with its unit.
            ///
            /// # Errors
            /// No number, no unit, or a unit of something else.
            fn from_str(text: &str) -> Result<Self, UnitError> {
                parse(text, &$table).map(Self)
            }
        }

        #[cfg(feature = "cli")]
        impl Measured for $name {
            fn inside(self) -> f64 {
                self.0
            }

            fn units() -> &'static [&'static str] {
                $table.usual
            }
        }
    };
}

quantity!(
    /// A length as a user writes it; millimetres inside.
    Length, LENGTH, mm
);
quantity!(
    /// A torque as a user writes it; newton-metres inside.
    Torque, TORQUE, nm
);
quantity!(
    /// A force as a user writes it; newtons inside.
    Force, FORCE, n
);
quantity!(
    /// An angle as a user writes it; radians inside.
    Angle, ANGLE, rad
);

/// Which units people want to read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "cli", derive(clap::ValueEnum))]
pub enum Units {
    /// Millimetres and newton-metres.
    #[default]
    Mm,
    /// Thousandths of an inch, inches, pound-inches and pound-feet.
    In,
}

impl Units {
    /// A length of the size of a shim or a backlash: `0.762 mm` or `30.0 thou`.
    pub fn shim(self, mm: f64) -> String {
        match self {
            Self::Mm => format!("{} mm", unsigned_zero(mm, 3)),
            Self::In => format!("{} thou", unsigned_zero(mm / THOU_MM, 1)),
        }
    }

    /// The step of shim that tables of sensitivities are made for, mm: 0.1 mm or 5 thou.
    pub const fn shim_step_mm(self) -> f64 {
        match self {
            Self::Mm => 0.1,
            Self::In => 5.0 * THOU_MM,
        }
    }

    /// A length of the size of a gear: `203.20 mm` or `8.000 in`.
    pub fn length(self, mm: f64) -> String {
        match self {
            Self::Mm => format!("{} mm", unsigned_zero(mm, 2)),
            Self::In => format!("{} in", unsigned_zero(mm / INCH_MM, 3)),
        }
    }

    /// A torque: newton-metres, or pound-inches that turn into pound-feet at 20 lb-ft.
    pub fn torque(self, nm: f64) -> String {
        match self {
            Self::Mm if nm.abs() < 10.0 => format!("{} N·m", unsigned_zero(nm, 2)),
            Self::Mm => format!("{} N·m", unsigned_zero(nm, 1)),
            Self::In if nm.abs() < 20.0 * 12.0 * LB_IN_NM => {
                format!("{} lb-in", unsigned_zero(nm / LB_IN_NM, 1))
            }
            Self::In => format!("{} lb-ft", unsigned_zero(nm / (12.0 * LB_IN_NM), 1)),
        }
    }
}

/// A number with `digits` decimals that never reads `-0.0`.
fn unsigned_zero(value: f64, digits: usize) -> String {
    let text = format!("{value:.digits$}");
    if text
        .trim_start_matches('-')
        .chars()
        .all(|c| c == '0' || c == '.')
    {
        text.trim_start_matches('-').to_owned()
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn mm(text: &str) -> f64 {
        text.parse::<Length>().unwrap().mm()
    }

    fn nm(text: &str) -> f64 {
        text.parse::<Torque>().unwrap().nm()
    }

    #[test]
    fn lengths_in_every_spelling() {
        assert_eq!(mm("0.030in"), 0.030 * 25.4);
        assert_eq!(mm("30thou"), 30.0 * 0.0254);
        assert_eq!(mm(" 0.76 mm "), 0.76);
        assert_eq!(mm("1e-2in"), 0.254);
        assert!((mm("3/8 in") - 9.525).abs() < 1e-12);
        assert_eq!(mm("-12 µm"), -0.012);
        assert_eq!(mm("1.2\""), 1.2 * 25.4);
    }

    /// NIST SP 811 (2008), B.8: pound-force inch 1.129 848 E-01, pound-force foot 1.355 818 E+00,
    /// kilogram-force meter 9.806 65 E+00 newton metre; pound-force 4.448 222 E+00,
    /// kilogram-force 9.806 65 E+00 newton.
    #[test]
    fn torques_and_forces_agree_with_the_published_factors() {
        for (text, expected) in [
            ("1 lb-in", 0.112_984_8),
            ("1 lbf·in", 0.112_984_8),
            ("1 in-lb", 0.112_984_8),
            ("1 lb-ft", 1.355_818),
            ("1ft-lbs", 1.355_818),
            ("1 kgf·cm", 0.098_066_5),
            ("1 N·m", 1.0),
            ("1Nm", 1.0),
            ("1 N·cm", 0.01),
        ] {
            let got = nm(text);
            assert!((got / expected - 1.0).abs() < 5e-7, "{text}: {got}");
        }
        let pound = "1 lbf".parse::<Force>().unwrap().n();
        assert!((pound / 4.448_222 - 1.0).abs() < 1e-6);
        assert_eq!("2 kgf".parse::<Force>().unwrap().n(), 19.6133);
    }

    /// 20–25 lb-in = 2.26–2.82 N·m: an independent conversion of a maker's pinion torque.
    #[test]
    fn pound_inches_of_a_pinion_torque() {
        assert!((nm("20 lb-in") - 2.26).abs() < 0.005);
        assert!((nm("25 lb-in") - 2.82).abs() < 0.005);
    }

    #[test]
    fn a_bare_number_is_answered_with_a_question() {
        let error = "0.03".parse::<Length>().unwrap_err().to_string();
        assert!(
            error.contains("`0.03 mm`, `0.03 in` or `0.03 thou`"),
            "{error}"
        );
        assert!(
            "14".parse::<Torque>()
                .unwrap_err()
                .to_string()
                .contains("14 lb-in")
        );
    }

    #[test]
    fn a_unit_of_something_else_is_named() {
        let error = "14 lb-in".parse::<Length>().unwrap_err().to_string();
        assert!(
            error.contains("lb-in") && error.contains("length"),
            "{error}"
        );
        let error = "0.03 inn".parse::<Length>().unwrap_err().to_string();
        assert!(error.contains("nearest is `in`"), "{error}");
    }

    #[test]
    fn nonsense_is_no_number() {
        for text in [
            "", "in", "1/0in", "0,76mm", "..", "--3mm", "nanmm", "1e999mm", "١mm",
        ] {
            assert!(text.parse::<Length>().is_err(), "{text}");
        }
    }

    #[test]
    fn printing_in_either_system() {
        assert_eq!(Units::In.shim(0.762), "30.0 thou");
        assert_eq!(Units::Mm.shim(0.762), "0.762 mm");
        assert_eq!(Units::In.shim(-0.000_001), "0.0 thou");
        assert_eq!(Units::In.length(203.2), "8.000 in");
        assert_eq!(Units::In.torque(nm("14 lb-in")), "14.0 lb-in");
        assert_eq!(Units::In.torque(nm("150 lb-ft")), "150.0 lb-ft");
        assert_eq!(Units::Mm.torque(2.0), "2.00 N·m");
    }

    proptest! {
        #[test]
        fn inches_thou_and_millimetres_are_one_length(inches in -50.0..50.0_f64) {
            let direct = mm(&format!("{inches}in"));
            let thou = mm(&format!("{}thou", inches * 1000.0));
            let metric = mm(&format!("{}mm", inches * 25.4));
            prop_assert!((direct - thou).abs() <= 1e-12 * direct.abs().max(1.0));
            prop_assert!((direct - metric).abs() <= 1e-12 * direct.abs().max(1.0));
        }

        #[test]
        fn what_is_printed_reads_back(mm_in in -2.0..2.0_f64) {
            for (units, half_digit) in [(Units::Mm, 0.000_51), (Units::In, 0.05 * 0.0254 + 1e-9)] {
                prop_assert!((mm(&units.shim(mm_in)) - mm_in).abs() <= half_digit);
            }
        }

        #[test]
        fn torques_read_back(nm_in in 0.0..900.0_f64) {
            for units in [Units::Mm, Units::In] {
                prop_assert!((nm(&units.torque(nm_in)) - nm_in).abs() <= 0.05 * 1.3559 + 1e-9);
            }
        }

        #[test]
        fn any_text_is_answered_without_a_panic(text in "\\PC*") {
            let _ = text.parse::<Length>();
            let _ = text.parse::<Torque>();
            let _ = text.parse::<Angle>();
        }
    }
}
