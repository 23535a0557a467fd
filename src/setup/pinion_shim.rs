//! The pack to start the pinion with.

use super::kit_packs::ShimsAtHand;
use super::{Answer, SetupError, StationResult, Step};
use crate::schema::{MarkSense, MarkUnit, ShimPlace};
use crate::units::{Shown, Units};
use schemars::JsonSchema;
use serde::Serialize;

/// How pinion marks are meant.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Marks {
    /// One step of the mark.
    pub unit: MarkUnit,
    /// Which way a plus goes.
    pub sense: MarkSense,
}

impl Marks {
    /// Thicker pack that a mark asks for, millimetres.
    pub(crate) fn thicker_mm(&self, mark: f64) -> f64 {
        self.sense.thicker_per_plus() * mark * self.unit.mm()
    }
}

/// Spread of pinion marks, millimetres: ±0.10; common practice, no source.
const USUAL_MARK_MM: f64 = 0.10;
/// A mark beyond this was most likely read in the wrong unit, millimetres.
const MOST_MARK_MM: f64 = 0.5;

/// The pack to start with.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(crate) struct StartingPack {
    /// The pack.
    pub pack_mm: f64,
    /// Thicker than the pack it was worked out from.
    pub change_mm: f64,
    /// Where the pinion goes by that, + = away from the ring gear; with the card's shim place.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pinion_moves_mm: Option<f64>,
    /// The shims alone, where an oil slinger or baffle between pinion head and bearing takes the place of some.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shims_mm: Option<f64>,
    /// The shims of the kit that come nearest, thickest first.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub stack_mm: Vec<f64>,
}

/// A pack this near to the one worked out is the same, mm: a quarter of a thou.
const NEAR_ENOUGH_MM: f64 = 0.006;

/// A mark that cannot be in its unit.
///
/// # Errors
/// Asks for the unit of a mark of more than half a millimetre.
fn believable(mark: f64, marks: &Marks) -> Result<(), SetupError> {
    let mm = mark * marks.unit.mm();
    if mm.abs() > MOST_MARK_MM {
        return Err(SetupError::Question(format!(
            "a pinion mark of {mark:+} in steps of {} would be {}, but marks stay within about \
             ± {}; are the steps 0.01 mm or 0.001 mm?",
            marks.unit.word(),
            Units::both(mm),
            Units::both(USUAL_MARK_MM)
        )));
    }
    Ok(())
}

/// The pack for a new pinion from the pack and the mark of the old one.
///
/// `new pack = old pack + s (new mark − old mark) u`, u the step of the marks and s = +1 where a plus
/// asks for a thicker pack (TM 9-2320-289-34 p. 6-37), −1 where for a thinner one (TM 9-2320-280-34).
///
/// # Errors
/// Marks that cannot be; a pack thinner than nothing.
pub(crate) fn from_marks(
    old_pack_mm: f64,
    old_mark: f64,
    new_mark: f64,
    marks: &Marks,
) -> Result<StartingPack, SetupError> {
    believable(old_mark, marks)?;
    believable(new_mark, marks)?;
    pack(
        old_pack_mm,
        marks.thicker_mm(new_mark) - marks.thicker_mm(old_mark),
    )
}

/// What a depth gauge found with a known pack in.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Gauge {
    /// The pack that was in; 0 when the gauge sat on the bare seat.
    pub pack_mm: f64,
    /// From the ring gear's axis to the pinion's face, as measured: what the gauge read, and half the
    /// arbor where the gauge starts at its surface.
    pub measured_mm: f64,
    /// The same for a mark of nought.
    pub nominal_mm: f64,
    /// The pinion's mark.
    pub mark: f64,
    /// How marks are meant; not needed for a mark of 0.
    pub marks: Option<Marks>,
    /// Where the shims sit.
    pub place: ShimPlace,
}

/// The pack from a depth gauge's measurement.
///
/// The pinion must move away by `nominal − measured`; the mark's own correction is added.
///
/// # Errors
/// Marks that cannot be, or that are not explained; a pack thinner than nothing.
pub(crate) fn from_gauge(gauge: &Gauge) -> Result<StartingPack, SetupError> {
    let by_place = (gauge.nominal_mm - gauge.measured_mm) / gauge.place.away_per_thicker();
    let by_mark = match gauge.marks {
        Some(marks) => {
            believable(gauge.mark, &marks)?;
            marks.thicker_mm(gauge.mark)
        }
        None if gauge.mark == 0.0 => 0.0,
        None => return Err(unexplained_mark()),
    };
    pack(gauge.pack_mm, by_place + by_mark)
}

/// The pack from a base and what is etched on the parts, each with its sign as it applies to the pack.
///
/// `pack = base + a + b + …` (TM 10-3930-660-34: 0.030 + 0.002 − 0.005 = 0.027 in).
///
/// # Errors
/// A pack thinner than nothing.
pub(crate) fn from_etched(base_mm: f64, etched_mm: &[f64]) -> Result<StartingPack, SetupError> {
    pack(base_mm, etched_mm.iter().sum())
}

/// The pack that fills what case, bearing and pinion leave, shims behind the head bearing.
///
/// `pack = case depth − bearing width − mounting distance`: seen from the ring gear's axis, the pinion
/// head, its bearing and the pack reach the seat in the case one behind the other. Derived, no source.
///
/// # Errors
/// A pack thinner than nothing.
pub(crate) fn from_dimensions(
    case_mm: f64,
    bearing_mm: f64,
    mounting_mm: f64,
    mark_mm: f64,
) -> Result<StartingPack, SetupError> {
    let bare = case_mm - bearing_mm - mounting_mm;
    pack(bare, mark_mm)
}

/// What to say of a mark without its convention.
pub(crate) fn unexplained_mark() -> SetupError {
    SetupError::Missing(
        "pinion marks go both ways and come in three units, so they are never guessed: say what a plus \
         does (--mark-sense plus-thicker or plus-thinner) and what one step is (--mark-unit 0.001in, \
         0.01mm or 0.001mm), or write mark_sense and mark_unit in [pinion] of the card. The axle's \
         manual says both"
            .into(),
    )
}

fn pack(from_mm: f64, change_mm: f64) -> Result<StartingPack, SetupError> {
    let pack_mm = from_mm + change_mm;
    if pack_mm < 0.0 {
        return Err(SetupError::Impossible(format!(
            "the pack would be {}, thinner than nothing; check the signs and the measurement",
            Units::both(pack_mm)
        )));
    }
    Ok(StartingPack {
        pack_mm,
        change_mm,
        pinion_moves_mm: None,
        shims_mm: None,
        stack_mm: Vec::new(),
    })
}

/// An oil slinger or baffle between pinion head and bearing that was not in when the pack was measured.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Slinger {
    /// How thick it is.
    pub thick_mm: f64,
    /// Where the shims sit.
    pub place: ShimPlace,
}

impl Slinger {
    /// The shims beside it. Behind the head bearing it takes the place of shims; with shims under the cage it pushes the
    /// pinion toward the ring gear, and as much more goes under the cage. Derived, no source.
    fn shims_mm(self, pack_mm: f64) -> f64 {
        pack_mm + self.place.away_per_thicker() * self.thick_mm
    }
}

/// What to say where nothing was said of a slinger.
const SLINGER: &str = "An oil slinger or baffle that sits between pinion head and bearing is part of the pack: measured with \
    the shims it is in the number already; if it was left out, give its thickness with --slinger.";

/// The answer in words; `place` and the shims at hand come from the card.
///
/// # Errors
/// A slinger thicker than the pack.
pub(crate) fn answer(
    mut found: StartingPack,
    step: Step,
    place: Option<ShimPlace>,
    slinger: Option<Slinger>,
    kit: &ShimsAtHand,
    shown: &Shown,
) -> Result<Answer, SetupError> {
    found.pinion_moves_mm = place.map(|place| place.away_per_thicker() * found.change_mm);
    found.shims_mm = slinger.map(|slinger| slinger.shims_mm(found.pack_mm));
    let shims_mm = found.shims_mm.unwrap_or(found.pack_mm);
    if shims_mm < 0.0 {
        return Err(SetupError::Impossible(format!(
            "the slinger is thicker than the whole pack of {}; measure both again",
            shown.shim(found.pack_mm)
        )));
    }
    let built = kit.nearest(shims_mm);
    if let Some(built) = &built {
        found.stack_mm.clone_from(&built.stack_mm);
    }
    let shims = match slinger {
        None => format!("a pack of {}", shown.shim(found.pack_mm)),
        Some(slinger) => format!(
            "{} of shims beside the slinger of {}",
            shown.shim(shims_mm),
            shown.shim(slinger.thick_mm)
        ),
    };
    let nearest = match &built {
        Some(built) if (built.pack_mm - shims_mm).abs() > NEAR_ENOUGH_MM => {
            format!(
                "; the shims at hand come nearest with {}",
                built.words(shown)
            )
        }
        Some(built) if built.stack_mm.len() > 1 => {
            let parts: Vec<String> = built.stack_mm.iter().map(|mm| shown.shim(*mm)).collect();
            format!(" ({})", parts.join(" + "))
        }
        Some(_) | None => String::new(),
    };
    let says = format!("Start the pinion with {shims}{nearest}.");
    let mut answer = Answer::new(StationResult::PinionShim(found.clone()), says);
    answer.steps.push(step);
    if let Some(slinger) = slinger {
        let (formula, sign) = match slinger.place {
            ShimPlace::BehindHeadBearing => ("pack − slinger", "−"),
            ShimPlace::UnderCage => ("pack + slinger", "+"),
        };
        answer.steps.push(Step::new(
            "shims beside the slinger",
            formula,
            format!(
                "{} {sign} {}",
                shown.shim(found.pack_mm),
                shown.shim(slinger.thick_mm)
            ),
            shown.shim(shims_mm),
        ));
    }
    if let Some(built) = &built {
        let parts: Vec<String> = built.stack_mm.iter().map(|mm| shown.shim(*mm)).collect();
        answer.steps.push(Step::new(
            "from the kit",
            "fewest shims nearest to the pack",
            parts.join(" + "),
            shown.shim(built.pack_mm),
        ));
    }
    if slinger.is_none() && place != Some(ShimPlace::UnderCage) {
        answer.remarks.push(SLINGER.into());
    }
    match found.pinion_moves_mm {
        Some(away_mm) if away_mm.abs() > 1e-9 => answer.remarks.push(format!(
            "By that change the pinion stands {} {} the ring gear.",
            shown.shim(away_mm.abs()),
            if away_mm > 0.0 {
                "further from"
            } else {
                "nearer to"
            }
        )),
        _ => {}
    }
    answer.remarks.push(
        "This is where to start, not where to end: the contact pattern on both flanks decides. An extreme \
         pack is more likely a wrong measurement; measure again before you believe it."
            .into(),
    );
    Ok(answer)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const THOU: f64 = 0.0254;

    fn marks(sense: MarkSense) -> Marks {
        Marks {
            unit: MarkUnit::Thou,
            sense,
        }
    }

    /// Both conventions against the worked numbers of the manuals that use them.
    #[test]
    fn published_pinion_marks() {
        // (source, old pack, old mark, new mark, sense, new pack), thou.
        for (source, old, old_mark, new_mark, sense, new) in [
            (
                "TM 9-2320-280-34, change only: old -3, new +2 -> -5",
                100.0,
                -3.0,
                2.0,
                MarkSense::PlusThinner,
                95.0,
            ),
            (
                "TM 9-2320-289-34 p. 6-37: .019 with +2 -> .021",
                19.0,
                0.0,
                2.0,
                MarkSense::PlusThicker,
                21.0,
            ),
            (
                "TM 9-2320-289-34 p. 6-37: .031 with -3 -> .028",
                31.0,
                0.0,
                -3.0,
                MarkSense::PlusThicker,
                28.0,
            ),
        ] {
            let found = from_marks(old * THOU, old_mark, new_mark, &marks(sense)).unwrap();
            assert!((found.pack_mm / THOU - new).abs() < 1e-9, "{source}");
            assert!(
                (found.change_mm / THOU - (new - old)).abs() < 1e-9,
                "{source}"
            );
        }
    }

    /// TM 10-3930-660-34, shim behind the pinion cone: .030 + .002 − .005 = .027 in.
    #[test]
    fn published_etched_values() {
        let found = from_etched(30.0 * THOU, &[2.0 * THOU, -5.0 * THOU]).unwrap();
        assert!((found.pack_mm / THOU - 27.0).abs() < 1e-9);
    }

    /// Worked by hand: measured 0.004 in farther out than nominal, shims behind the head bearing, so the
    /// pack grows by 4; a mark of +2 that asks for thicker adds 2.
    #[test]
    fn a_pinion_measured_too_far_out_gets_a_thicker_pack_behind_the_head() {
        let gauge = |place, mark, marks| Gauge {
            pack_mm: 30.0 * THOU,
            measured_mm: 2.504 * 25.4,
            nominal_mm: 2.500 * 25.4,
            mark,
            marks,
            place,
        };
        let thicker = Some(marks(MarkSense::PlusThicker));
        let behind = from_gauge(&gauge(ShimPlace::BehindHeadBearing, 2.0, thicker)).unwrap();
        assert!((behind.pack_mm / THOU - 36.0).abs() < 1e-6);
        let cage = from_gauge(&gauge(ShimPlace::UnderCage, 0.0, None)).unwrap();
        assert!((cage.pack_mm / THOU - 26.0).abs() < 1e-6);
        let error = from_gauge(&gauge(ShimPlace::UnderCage, 2.0, None)).unwrap_err();
        assert!(error.to_string().contains("never guessed"), "{error}");
    }

    /// Worked by hand: 4.250 − 1.125 − 3.095 = 0.030 in; a pinion 0.002 in thicker asks for less.
    #[test]
    fn dimensions_leave_the_pack() {
        let inch = |x: f64| x * 25.4;
        let found = from_dimensions(inch(4.250), inch(1.125), inch(3.095), -2.0 * THOU).unwrap();
        assert!((found.pack_mm / THOU - 28.0).abs() < 1e-6);
    }

    #[test]
    fn a_mark_in_the_wrong_unit_is_asked_back() {
        let hundredths = Marks {
            unit: MarkUnit::Thou,
            sense: MarkSense::PlusThicker,
        };
        let error = from_marks(1.0, 0.0, 25.0, &hundredths)
            .unwrap_err()
            .to_string();
        assert!(error.contains("0.01 mm"), "{error}");
        assert!(from_marks(0.05, 0.0, -9.0, &hundredths).is_err());
    }

    proptest! {
        /// Putting the old pinion back undoes the change, in either sense and any unit.
        #[test]
        fn there_and_back_is_nothing(
            old in -8_i32..8, new in -8_i32..8, pack in 0.6..2.5_f64,
            unit in prop::sample::select(vec![MarkUnit::Thou, MarkUnit::Hundredth, MarkUnit::Thousandth]),
            sense in prop::sample::select(vec![MarkSense::PlusThicker, MarkSense::PlusThinner]),
        ) {
            let marks = Marks { unit, sense };
            let (old, new) = (f64::from(old), f64::from(new));
            let there = from_marks(pack, old, new, &marks).unwrap();
            let back = from_marks(there.pack_mm, new, old, &marks).unwrap();
            prop_assert!((back.pack_mm - pack).abs() < 1e-12);
        }
    }

    #[test]
    fn shims_that_do_not_come_to_the_pack_are_told_with_what_they_come_to() {
        let says = |kit: &[f64]| {
            let found = from_etched(30.0 * THOU, &[2.5 * THOU]).unwrap();
            let step = Step::new("pack", "sum", String::new(), String::new());
            let kit = ShimsAtHand::any_number(kit);
            answer(found, step, None, None, &kit, &Shown::default())
                .unwrap()
                .says
        };
        let near = says(&[30.0 * THOU, 5.0 * THOU]);
        assert!(near.contains("come nearest with"), "{near}");
        let whole = says(&[30.0 * THOU, 2.5 * THOU]);
        assert!(!whole.contains("nearest"), "{whole}");
    }
}
