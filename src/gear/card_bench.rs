//! What the bench asks of a card beside the gears: how pinion marks are meant, how the side
//! bearings are preloaded, the torques of the fasteners.

use super::card_keys::{Key, Kind, key};
use crate::units::THOU_MM;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Keys of the bench.
pub const KEYS: &[Key] = &[
    optional(
        "pinion",
        "mark_unit",
        Kind::Choice(&["0.001in", "0.01mm", "0.001mm"]),
    ),
    optional(
        "pinion",
        "mark_sense",
        Kind::Choice(&["plus is thicker", "plus is thinner"]),
    ),
    optional("pinion", "mounting_distance", Kind::Length(10.0, 600.0)),
    optional("carrier", "side_preload", Kind::Length(0.0, 1.0)),
    optional(
        "carrier",
        "preload_on",
        Kind::Choice(&["both sides", "ring side"]),
    ),
    optional("limits", "total_torque", Kind::TorqueWindow(0.1, 30.0)),
    optional(
        "limits",
        "pinion_nut_torque",
        Kind::TorqueWindow(60.0, 3000.0),
    ),
    optional(
        "limits",
        "ring_bolt_torque",
        Kind::TorqueWindow(15.0, 1000.0),
    ),
    optional(
        "limits",
        "cap_bolt_torque",
        Kind::TorqueWindow(15.0, 1000.0),
    ),
    optional("limits", "case_spread", Kind::Window(0.01, 1.0)),
];

const fn optional(table: &'static str, name: &'static str, kind: Kind) -> Key {
    key(table, name, kind, false)
}

/// What one step of a pinion's mark is worth. Makers use all three; none can be told from the
/// number alone.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema, clap::ValueEnum,
)]
pub enum MarkUnit {
    /// Thousandths of an inch.
    #[serde(rename = "0.001in")]
    #[value(name = "0.001in", alias = "thou")]
    Thou,
    /// Hundredths of a millimetre.
    #[serde(rename = "0.01mm")]
    #[value(name = "0.01mm")]
    Hundredth,
    /// Thousandths of a millimetre.
    #[serde(rename = "0.001mm")]
    #[value(name = "0.001mm", alias = "um")]
    Thousandth,
}

impl MarkUnit {
    /// One step of the mark, millimetres.
    pub const fn mm(self) -> f64 {
        match self {
            Self::Thou => THOU_MM,
            Self::Hundredth => 0.01,
            Self::Thousandth => 0.001,
        }
    }

    /// How a card writes it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Thou => "0.001 in",
            Self::Hundredth => "0.01 mm",
            Self::Thousandth => "0.001 mm",
        }
    }
}

/// Which way a pinion's mark goes. Both are in use: TM 9-2320-280-34 takes a plus off the pack,
/// TM 9-2320-289-34 puts it on.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema, clap::ValueEnum,
)]
pub enum MarkSense {
    /// A plus asks for a thicker pack.
    #[serde(rename = "plus is thicker")]
    #[value(name = "plus-thicker")]
    PlusThicker,
    /// A plus asks for a thinner pack.
    #[serde(rename = "plus is thinner")]
    #[value(name = "plus-thinner")]
    PlusThinner,
}

impl MarkSense {
    /// Thicker pack per step of the mark: +1 or −1.
    pub const fn thicker_per_plus(self) -> f64 {
        match self {
            Self::PlusThicker => 1.0,
            Self::PlusThinner => -1.0,
        }
    }
}

/// On which side the shim that preloads the side bearings goes.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema, clap::ValueEnum,
)]
pub enum PreloadOn {
    /// Half on each side: the ring gear stays.
    #[serde(rename = "both sides")]
    #[value(name = "both-sides", alias = "both")]
    BothSides,
    /// All behind the ring gear: the ring gear moves toward the pinion.
    #[serde(rename = "ring side")]
    #[value(name = "ring-side", alias = "ring")]
    RingSide,
}
