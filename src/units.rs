//! The one place where lengths, torques, forces and angles are parsed, printed and converted.
//!
//! Inside the program a length is in millimetres, a torque in newton-metres, a force in newtons and
//! an angle in radians. What a user writes carries its unit (`0.030in`, `30thou`, `14 lb-in`); a bare
//! number is refused with the question which unit was meant, because a shim of "0.03" is either a
//! good guess in inches or a wild one in millimetres.
//!
//! Factors are the exact ones of NIST Special Publication 811 (2008), appendix B.8.

mod as_written;
mod parse;
mod possible;
#[cfg(feature = "cli")]
mod shown;
mod system;
mod tables;

pub(crate) use as_written::{AsWritten, Measured};
pub(crate) use parse::listed;
#[cfg(feature = "cli")]
pub(crate) use possible::plain_number;
pub(crate) use possible::{ImpossibleNumber, possible, possible_numbers};
#[cfg(feature = "cli")]
pub(crate) use shown::{KSI_MPA, LengthUnit, Shown, TorqueUnit};
pub(crate) use system::most_written;

use parse::parse;
use std::str::FromStr;
use tables::{ANGLE, FORCE, LENGTH, TORQUE};

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
    #[error("`{text}`: `{unit}` is no unit of {quantity}; {hint}")]
    UnknownUnit {
        /// What was written.
        text: String,
        /// The part taken for the unit.
        unit: String,
        /// What the number should have been.
        quantity: &'static str,
        /// The unit that was misspelt, else all usual ones.
        hint: String,
    },
    /// A comma that may part the decimals or the thousands.
    #[error(
        "`{text}`: the comma may stand before decimals or between thousands; write `{decimal}` or `{thousands}`"
    )]
    Comma {
        /// What was written.
        text: String,
        /// Read as a decimal comma.
        decimal: String,
        /// Read as a mark between thousands.
        thousands: String,
    },
    /// A number beyond everything.
    #[error(
        "`{text}` is more than any {quantity} of an axle; measure or write it again, like `{example}`"
    )]
    Impossible {
        /// What was written.
        text: String,
        /// What the number should have been.
        quantity: &'static str,
        /// A good example.
        example: &'static str,
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

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $table:expr $(, $get:ident)?) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
        pub(crate) struct $name(f64);

        $(impl $name {
            /// In the inside unit.
            pub(crate) const fn $get(self) -> f64 {
                self.0
            }
        })?

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
    Torque, TORQUE
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
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    Default,
    serde::Serialize,
    serde::Deserialize,
    schemars::JsonSchema,
)]
#[cfg_attr(feature = "cli", derive(clap::ValueEnum))]
#[serde(rename_all = "lowercase")]
pub enum Units {
    /// Millimetres and newton-metres.
    #[default]
    #[cfg_attr(feature = "cli", value(alias = "metric"))]
    Mm,
    /// Thousandths of an inch, inches, pound-inches and pound-feet.
    #[cfg_attr(feature = "cli", value(aliases = ["inch", "inches", "thou"]))]
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

    /// In both systems, for sentences that do not know their reader: `0.762 mm (30.0 thou)`.
    pub(crate) fn both(mm: f64) -> String {
        format!("{} ({})", Self::Mm.shim(mm), Self::In.shim(mm))
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
        text.parse::<Torque>().unwrap().inside()
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

    /// 20–25 lb-in = 2.26–2.82 N·m by NIST SP 811, B.8: 1 lbf·in = 0.112 984 8 N·m.
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
        let error = "0.03 inhc".parse::<Length>().unwrap_err().to_string();
        assert!(error.contains("nearest is `in`"), "{error}");
    }

    #[test]
    fn lengths_as_they_are_said_in_a_workshop() {
        assert_eq!(mm("0,76mm"), 0.76);
        assert_eq!(mm("-0,762 MM"), -0.762);
        assert_eq!(mm("30 mil"), mm("30thou"));
        assert!((mm("30 THOU") - mm("0.030 In")).abs() < 1e-12);
        assert_eq!(mm(".030"), 0.030 * 25.4);
        assert_eq!(mm("-.0305"), -0.0305 * 25.4);
        assert_eq!(nm("14 inch-pounds"), nm("14 lb-in"));
        assert_eq!(nm("50 foot pounds"), nm("50 lb-ft"));
        let error = "1,250mm".parse::<Length>().unwrap_err().to_string();
        assert!(error.contains("`1.250mm` or `1250mm`"), "{error}");
        // Two decimals are as likely millimetres.
        for bare in [".76", "0.030", "-.3"] {
            let error = bare.parse::<Length>().unwrap_err().to_string();
            assert!(error.contains("has no unit"), "{error}");
        }
    }

    #[test]
    fn no_unit_of_another_size_is_offered() {
        for text in ["14 lb", "14 in", "3 m-in"] {
            let error = text.parse::<Torque>().unwrap_err().to_string();
            assert!(!error.contains("nearest"), "{error}");
        }
        let error = "14 lb".parse::<Torque>().unwrap_err().to_string();
        assert!(
            error.contains("was `14 lb-in` or `14 lb-ft` meant?"),
            "{error}"
        );
        let error = "14 lb-inn".parse::<Torque>().unwrap_err().to_string();
        assert!(error.contains("nearest is `lb-in`"), "{error}");
    }

    #[test]
    fn nonsense_is_no_number() {
        for text in [
            "", "in", "1/0in", "0,7,6mm", ",76mm", "..", "--3mm", "nanmm", "1e999mm", "١mm",
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

        /// 1 lbf·in = 0.112 984 8 N·m, 1 lbf·ft = 1.355 818 N·m, 1 kgf·m = 9.806 65 N·m (NIST SP 811, B.8).
        #[test]
        fn one_torque_in_every_unit_is_one_torque(nm_in in 0.01..900.0_f64) {
            for (unit, per_nm) in [
                ("lb-in", 1.0 / 0.112_984_8),
                ("lb-ft", 1.0 / 1.355_818),
                ("kgf-cm", 100.0 / 9.806_65),
                ("Ncm", 100.0),
                ("N·m", 1.0),
            ] {
                let read = nm(&format!("{} {unit}", nm_in * per_nm));
                prop_assert!((read / nm_in - 1.0).abs() < 1e-6, "{unit}: {read} for {nm_in}");
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
