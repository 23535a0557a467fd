//! What the bench asks of a card beside the gears: how pinion marks are meant, how the side
//! bearings are preloaded, the torques of the fasteners.

use super::key::{Key, Kind, key};

/// Keys of the bench.
pub(crate) const KEYS: &[Key] = &[
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
