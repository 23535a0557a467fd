//! How quantities are printed: the usual units of a system, or one unit that was asked for.

use super::{INCH_MM, KILOGRAM_FORCE_N, LB_IN_NM, POUND_FORCE_N, THOU_MM, Units, unsigned_zero};

/// A unit that all lengths are printed in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum LengthUnit {
    /// Millimetres.
    Mm,
    /// Inches.
    In,
    /// Thousandths of an inch.
    Thou,
}

/// A unit that all torques are printed in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum TorqueUnit {
    /// Newton-metres.
    #[value(name = "nm", alias = "n-m")]
    Nm,
    /// Newton-centimetres.
    #[value(name = "ncm", alias = "n-cm")]
    Ncm,
    /// Kilogram-force centimetres.
    #[value(name = "kgf-cm", alias = "kgfcm")]
    KgfCm,
    /// Pound-inches.
    #[value(name = "lb-in", alias = "lbin")]
    LbIn,
    /// Pound-feet.
    #[value(name = "lb-ft", alias = "lbft")]
    LbFt,
}

/// What texts are printed in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Shown {
    /// The system.
    pub units: Units,
    /// One unit for all lengths.
    pub length: Option<LengthUnit>,
    /// One unit for all torques.
    pub torque: Option<TorqueUnit>,
}

impl From<Units> for Shown {
    fn from(units: Units) -> Self {
        Self {
            units,
            ..Self::default()
        }
    }
}

impl Shown {
    /// A length of the size of a shim or a backlash.
    pub(crate) fn shim(&self, mm: f64) -> String {
        match self.length {
            None => self.units.shim(mm),
            Some(LengthUnit::Mm) => Units::Mm.shim(mm),
            Some(LengthUnit::Thou) => format!("{} thou", unsigned_zero(mm / THOU_MM, 1)),
            Some(LengthUnit::In) => format!("{} in", unsigned_zero(mm / INCH_MM, 4)),
        }
    }

    /// A shim's change, with its sign.
    pub(crate) fn signed_shim(&self, mm: f64) -> String {
        let text = self.shim(mm);
        if mm > 0.0 && !text.starts_with("0 ") {
            format!("+{text}")
        } else {
            text
        }
    }

    /// A length of the size of a gear or a housing. Differences of such lengths are shims, so they
    /// are printed to the same last digit.
    pub(crate) fn length(&self, mm: f64) -> String {
        match (self.length, self.units) {
            (None, Units::Mm) | (Some(LengthUnit::Mm), _) => {
                format!("{} mm", unsigned_zero(mm, 3))
            }
            (Some(LengthUnit::Thou), _) => format!("{} thou", unsigned_zero(mm / THOU_MM, 1)),
            (None, Units::In) | (Some(LengthUnit::In), _) => {
                format!("{} in", unsigned_zero(mm / INCH_MM, 4))
            }
        }
    }

    /// A torque.
    pub(crate) fn torque(&self, nm: f64) -> String {
        let (value, digits, unit) = match self.torque {
            None => return self.units.torque(nm),
            Some(TorqueUnit::Nm) => (nm, 2, "N·m"),
            Some(TorqueUnit::Ncm) => (nm * 100.0, 0, "N·cm"),
            Some(TorqueUnit::KgfCm) => (nm / (0.01 * KILOGRAM_FORCE_N), 1, "kgf·cm"),
            Some(TorqueUnit::LbIn) => (nm / LB_IN_NM, 1, "lb-in"),
            Some(TorqueUnit::LbFt) => (nm / (12.0 * LB_IN_NM), 1, "lb-ft"),
        };
        format!("{} {unit}", unsigned_zero(value, digits))
    }

    /// The torque of a nut or bolt, which is pound-feet however small.
    pub(crate) fn fastener(&self, nm: f64) -> String {
        match (self.torque, self.units) {
            (None, Units::In) => format!("{} lb-ft", unsigned_zero(nm / (12.0 * LB_IN_NM), 1)),
            _ => self.torque(nm),
        }
    }

    /// A force of the size of a bolt's tension.
    pub(crate) fn force(&self, n: f64) -> String {
        match self.units {
            Units::Mm => format!("{} kN", unsigned_zero(n / 1000.0, 2)),
            Units::In => format!("{} lb", unsigned_zero(n / POUND_FORCE_N, 0)),
        }
    }

    /// A stress.
    pub(crate) fn stress(&self, mpa: f64) -> String {
        match self.units {
            Units::Mm => format!("{} MPa", unsigned_zero(mpa, 0)),
            Units::In => format!("{} ksi", unsigned_zero(mpa / KSI_MPA, 1)),
        }
    }

    /// A cross-section.
    pub(crate) fn area(&self, mm2: f64) -> String {
        match self.units {
            Units::Mm => format!("{} mm²", unsigned_zero(mm2, 2)),
            Units::In => format!("{} in²", unsigned_zero(mm2 / (INCH_MM * INCH_MM), 4)),
        }
    }
}

/// Megapascals in a thousand pounds-force per square inch (NIST SP 811, B.8).
pub(crate) const KSI_MPA: f64 = 1000.0 * POUND_FORCE_N / (INCH_MM * INCH_MM);

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Length, Measured as _, Torque};

    #[test]
    fn one_unit_for_all_when_asked_for() {
        let nm = "14 lb-in".parse::<Torque>().unwrap().inside();
        let with = |torque| Shown {
            torque: Some(torque),
            ..Shown::default()
        };
        // NIST SP 811, B.8: 14 × 0.112 984 8 = 1.581 79 N·m = 16.13 kgf·cm.
        assert_eq!(with(TorqueUnit::Nm).torque(nm), "1.58 N·m");
        assert_eq!(with(TorqueUnit::Ncm).torque(nm), "158 N·cm");
        assert_eq!(with(TorqueUnit::KgfCm).torque(nm), "16.1 kgf·cm");
        assert_eq!(with(TorqueUnit::LbIn).torque(nm), "14.0 lb-in");
        assert_eq!(with(TorqueUnit::LbFt).torque(nm), "1.2 lb-ft");
        let inches = Shown {
            length: Some(LengthUnit::In),
            ..Shown::default()
        };
        assert_eq!(inches.shim(0.762), "0.0300 in");
        assert_eq!(Shown::from(Units::In).shim(0.762), "30.0 thou");
        assert_eq!(Shown::from(Units::In).signed_shim(-0.127), "-5.0 thou");
    }

    #[test]
    fn every_printed_torque_and_length_reads_back() {
        for unit in [
            TorqueUnit::Nm,
            TorqueUnit::Ncm,
            TorqueUnit::KgfCm,
            TorqueUnit::LbIn,
            TorqueUnit::LbFt,
        ] {
            let shown = Shown {
                torque: Some(unit),
                ..Shown::default()
            };
            let read: Torque = shown.torque(74.5).parse().unwrap();
            assert!((read.inside() - 74.5).abs() < 0.07, "{unit:?}");
        }
        for unit in [LengthUnit::Mm, LengthUnit::In, LengthUnit::Thou] {
            let shown = Shown {
                length: Some(unit),
                ..Shown::default()
            };
            let read: Length = shown.shim(1.234).parse().unwrap();
            assert!((read.mm() - 1.234).abs() < 0.0013, "{unit:?}");
        }
    }

    /// SAE J429 grade 8: 120 ksi is printed as 830 MPa in metric tables, 827 exactly.
    #[test]
    fn stresses_convert() {
        assert!((120.0 * KSI_MPA - 827.37).abs() < 0.01);
        assert_eq!(Shown::from(Units::In).stress(827.37), "120.0 ksi");
    }
}
