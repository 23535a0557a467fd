//! The units of each quantity in every spelling, with their factors.

use super::possible::{MOST_DEG, MOST_MM, MOST_N, MOST_NM};
use super::{INCH_MM, KILOGRAM_FORCE_N, LB_IN_NM, POUND_FORCE_N, THOU_MM};

/// How a quantity is written: every spelling with its factor to the inside unit.
pub(super) struct Quantity {
    pub(super) name: &'static str,
    pub(super) example: &'static str,
    /// The spellings offered in messages.
    pub(super) usual: &'static [&'static str],
    /// Spellings after [`plain`] with the factor to the inside unit.
    pub(super) units: &'static [(&'static str, f64)],
    /// `.030` without a unit is inches: three or four decimals and nothing before the point are how inches are written
    /// in the trade, and millimetres nowhere.
    pub(super) bare_inches: bool,
    /// The largest that can be, in the inside unit.
    pub(super) most: f64,
}

pub(super) const LENGTH: Quantity = Quantity {
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
        ("thous", THOU_MM),
        ("thousandth", THOU_MM),
        ("thousandths", THOU_MM),
        ("mil", THOU_MM),
        ("mils", THOU_MM),
    ],
    bare_inches: true,
    most: MOST_MM,
};

pub(super) const TORQUE: Quantity = Quantity {
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
        ("mkg", KILOGRAM_FORCE_N),
        ("newtonmetres", 1.0),
        ("newtonmeters", 1.0),
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
        ("inchpound", LB_IN_NM),
        ("inchpounds", LB_IN_NM),
        ("poundinch", LB_IN_NM),
        ("poundinches", LB_IN_NM),
        ("footpound", LB_IN_NM * 12.0),
        ("footpounds", LB_IN_NM * 12.0),
        ("poundfoot", LB_IN_NM * 12.0),
        ("poundfeet", LB_IN_NM * 12.0),
        ("ozin", LB_IN_NM / 16.0),
        ("inoz", LB_IN_NM / 16.0),
    ],
    bare_inches: false,
    most: MOST_NM,
};

pub(super) const FORCE: Quantity = Quantity {
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
    bare_inches: false,
    most: MOST_N,
};

pub(super) const ANGLE: Quantity = Quantity {
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
    bare_inches: false,
    most: MOST_DEG.to_radians(),
};
