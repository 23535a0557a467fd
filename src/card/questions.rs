//! The questions that make a card: what is needed, and where on the axle it is found.

/// One question.
#[derive(Debug)]
pub(crate) struct Question {
    /// Table of the card; empty for the top.
    pub table: &'static str,
    /// Key in it.
    pub name: &'static str,
    /// The question.
    pub ask: &'static str,
    /// Where to find the answer.
    pub find: &'static str,
}

const fn q(
    table: &'static str,
    name: &'static str,
    ask: &'static str,
    find: &'static str,
) -> Question {
    Question {
        table,
        name,
        ask,
        find,
    }
}

/// The questions in the order they are asked. All where-to-finds are common practice, no source.
pub(crate) const QUESTIONS: &[Question] = &[
    q(
        "",
        "name",
        "What do you call this axle?",
        "Anything you will know it by: the tag on the cover bolt, the stamping on the tube.",
    ),
    q(
        "gear",
        "ring_teeth",
        "How many teeth has the ring gear?",
        "Stamped on the ring gear's rim or the pinion's face, often as 41-11: write both so, and the pinion is not asked for. Else mark one tooth and count.",
    ),
    q(
        "gear",
        "pinion_teeth",
        "How many teeth has the pinion?",
        "In the same stamping, the smaller number; else count. The ratio on the tag is ring teeth over pinion teeth.",
    ),
    q(
        "gear",
        "ring_diameter",
        "What is the ring gear's outer pitch diameter?",
        "Near enough the outer diameter over the heel ends: lay a tape or a large caliper across, write it like 8.0in or 203mm.",
    ),
    q(
        "gear",
        "face_width",
        "How wide is the ring gear's face?",
        "Along a tooth from toe to heel, with a caliper, like 1.2in.",
    ),
    q(
        "gear",
        "offset",
        "How far does the pinion's axis pass beside the ring gear's?",
        "Centre of the pinion bore to centre of the carrier bores, seen along the axle; 0mm on a spiral bevel set.",
    ),
    q(
        "gear",
        "spiral_angle_deg",
        "Spiral angle of the ring gear, degrees?",
        "Between tooth and a radius, at the middle of the face: lay a protractor on. 30 to 35 is usual; a degree or two off matters little.",
    ),
    q(
        "gear",
        "cutting",
        "How were the teeth cut: face-milled or face-hobbed?",
        "Depth of the teeth the same at toe and heel: face-hobbed. Teeth lower at the toe: face-milled.",
    ),
    q(
        "gear",
        "hand",
        "Hand of the ring gear's spiral: left or right?",
        "Look at the toothed face: a tooth that turns clockwise on its way from toe to heel is right, the other way left.",
    ),
    q(
        "gear",
        "drives_on",
        "Which flank drives forward: convex or concave?",
        "Convex on the usual rear axle; concave on many front axles that use the rear's gears.",
    ),
    q(
        "limits",
        "backlash",
        "Backlash window, low and high?",
        "In the axle's manual, often also on the set's paper or etched on the ring gear. Two values with a comma: 0.006in, 0.010in.",
    ),
    q(
        "limits",
        "backlash_variation",
        "How much may backlash vary round the gear?",
        "In the manual; 0.002in is usual.",
    ),
    q(
        "limits",
        "pinion_torque_new",
        "Rotating torque of the pinion with new bearings, low and high?",
        "In the manual, without the seal. Two values: 12lb-in, 15lb-in.",
    ),
    q(
        "limits",
        "pinion_torque_used",
        "The same with used bearings?",
        "In the manual; about half of the new ones.",
    ),
    q(
        "limits",
        "total_torque_rise",
        "By how much may the torque rise when the carrier is in, low and high?",
        "In the manual, if it has one.",
    ),
    q(
        "limits",
        "ring_runout",
        "Greatest run-out of the ring gear's back face?",
        "In the manual; 0.002in to 0.008in by size.",
    ),
    q(
        "limits",
        "pinion_nut_torque",
        "Torque of the pinion nut, low and high?",
        "In the manual. Pound-feet, not pound-inches.",
    ),
    q(
        "limits",
        "ring_bolt_torque",
        "Torque of the ring-gear bolts, low and high?",
        "In the manual, with or without thread locker as it says.",
    ),
    q(
        "limits",
        "cap_bolt_torque",
        "Torque of the bearing-cap bolts, low and high?",
        "In the manual.",
    ),
    q(
        "pinion",
        "shim_place",
        "Where do the pinion's shims sit: behind head bearing or under cage?",
        "Under the bearing next to the pinion's head, or under a bolted-on housing of the pinion. They work opposite ways.",
    ),
    q(
        "pinion",
        "preload",
        "How are the pinion's bearings preloaded: shims or sleeve?",
        "A second shim pack or spacer between the bearings, or a thin tube that the nut crushes.",
    ),
    q(
        "pinion",
        "mark_unit",
        "What is one step of the pinion's mark: 0.001in, 0.01mm or 0.001mm?",
        "The manual says. A mark such as +2 is etched on the pinion's head; the number alone does not tell its unit.",
    ),
    q(
        "pinion",
        "mark_sense",
        "What does a plus ask for: plus is thicker or plus is thinner?",
        "The manual says. Both are in use.",
    ),
    q(
        "pinion",
        "mounting_distance",
        "Mounting distance for a mark of nought?",
        "Etched on the pinion or in the manual; from the ring gear's axis to the pinion's face.",
    ),
    q(
        "carrier",
        "adjust",
        "How is the ring gear moved: shims or threaded?",
        "Packs of shims beside the carrier bearings, or large rings with notches.",
    ),
    q(
        "carrier",
        "pitch",
        "Threaded rings: what is the pitch of their thread?",
        "Thread gauge, or travel of one whole turn; like 1.5mm. Skip with shims.",
    ),
    q(
        "carrier",
        "notches_per_turn",
        "Threaded rings: how many notches in a turn?",
        "Count them. Skip with shims.",
    ),
    q(
        "carrier",
        "backlash_direction",
        "How does your indicator stand: square or tangential?",
        "Square to the tooth's flank (the usual way), or along the circle the gear turns in.",
    ),
    q(
        "carrier",
        "side_preload",
        "How much shim preloads the side bearings, both sides together?",
        "In the manual; like 0.008in. Skip with threaded rings.",
    ),
    q(
        "carrier",
        "preload_on",
        "Where does it go: both sides or ring side?",
        "In the manual.",
    ),
    q(
        "kit",
        "pinion_shims",
        "Which pinion shims do you have?",
        "Measure them with a micrometer. Any number with commas: 0.003in, 0.005in, 0.010in; where there are only so many: 2 x 0.003in, 4 x 0.005in.",
    ),
    q(
        "kit",
        "side_shims",
        "Which side shims do you have?",
        "As for the pinion.",
    ),
];

/// The short form: eight questions, with the teeth of both gears in one. Without the place of the shims a thicker pack
/// might move the pinion the wrong way; limits can be asked for later.
pub(super) const SHORT: [&str; 9] = [
    "name",
    "ring_teeth",
    "pinion_teeth",
    "ring_diameter",
    "face_width",
    "offset",
    "spiral_angle_deg",
    "cutting",
    "shim_place",
];
