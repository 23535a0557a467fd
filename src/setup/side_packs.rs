//! Side packs: from zero end play to the backlash wanted, with the bearings preloaded.

use super::backlash_ratio::{Ratio, SHOP};
use super::kit_packs::{BuiltPair, ShimsAtHand, WantedPair};
use super::{Answer, SetupError, StationResult, Step, verdict};
use crate::schema::PreloadOn;
use crate::units::{Shown, Units};
use schemars::JsonSchema;
use serde::Serialize;

/// What was found with the side bearings just free of end play.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Found {
    /// Pack behind the ring gear.
    pub ring_side_mm: f64,
    /// Pack on the other side.
    pub far_side_mm: f64,
    /// Mean backlash there.
    pub backlash_mm: f64,
}

/// What is wanted.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Wanted {
    /// Backlash to aim at, with the preload in.
    pub backlash_mm: f64,
    /// Preload to add, in all.
    pub preload_mm: f64,
    /// Where it goes.
    pub preload_on: PreloadOn,
    /// Window of the backlash.
    pub window_mm: Option<[f64; 2]>,
}

/// Packs for the sides.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(crate) struct SidePacks {
    /// The ring gear's move that backlash asks for, + = away from the pinion, preload not counted.
    pub ring_moves_mm: f64,
    /// Behind the ring gear, before preload.
    pub ring_side_without_preload_mm: f64,
    /// On the other side, before preload.
    pub far_side_without_preload_mm: f64,
    /// Behind the ring gear.
    pub ring_side_mm: f64,
    /// On the other side.
    pub far_side_mm: f64,
    /// Both together.
    pub total_mm: f64,
    /// Backlash before preload.
    pub backlash_before_preload_mm: f64,
    /// What the preload adds to the backlash where it goes; 0 on both sides alike.
    pub preload_changes_backlash_mm: f64,
    /// Backlash to expect in the end.
    pub backlash_mm: f64,
    /// One standard deviation of it.
    pub backlash_deviation_mm: f64,
    /// Backlash had the preload gone the other way.
    pub backlash_other_way_mm: f64,
    /// The ratio it was worked out with.
    pub ratio: Ratio,
    /// The nearest packs that the shims at hand make up, and what they give.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from_kit: Option<BuiltPair>,
}

/// Share of a one-sided preload shim by which the ring gear is pushed over: both bearings and both ends of
/// the case give way alike, so half. Between 0.25 and 0.75 where they do not. Derived for equal springs, no source.
const PUSHED_OVER: f64 = 0.5;
const PUSHED_OVER_DEVIATION: f64 = 0.125;
/// Preload off by more than this is said, mm (0.001 in): a quarter of what a manual puts on a side
/// (TM 9-2320-289-34: 0.004 in).
const PRELOAD_OFF_MM: f64 = 0.0254;
/// Standard uncertainty of the measured backlash, mm.
const READING_MM: f64 = 0.006;

/// How far preload on the ring side moves the ring gear, mm, + = away.
fn pushed_mm(preload_mm: f64, on: PreloadOn) -> f64 {
    match on {
        PreloadOn::BothSides => 0.0,
        PreloadOn::RingSide => -PUSHED_OVER * preload_mm,
    }
}

/// Splits the packs.
///
/// `move = (wanted − found) / ratio`; the ring side gives what the far side takes, the total stays that of
/// zero end play; then preload is added, half on each side or all on the ring side. With preload on the ring
/// side the gear is first moved out by what it will be pushed back.
///
/// Then the packs are built from the shims at hand, as near to that as they go.
///
/// # Errors
/// A pack that would be thinner than nothing.
pub(crate) fn split(
    found: &Found,
    wanted: &Wanted,
    ratio: Ratio,
    kit: &ShimsAtHand,
) -> Result<SidePacks, SetupError> {
    let pushed = pushed_mm(wanted.preload_mm, wanted.preload_on);
    let before = wanted.backlash_mm - ratio.ratio * pushed;
    let ring_moves_mm = (before - found.backlash_mm) / ratio.ratio;
    let half = 0.5 * wanted.preload_mm;
    let (ring_adds, far_adds) = match wanted.preload_on {
        PreloadOn::BothSides => (half, half),
        PreloadOn::RingSide => (wanted.preload_mm, 0.0),
    };
    let ring = found.ring_side_mm - ring_moves_mm;
    let far = found.far_side_mm + ring_moves_mm;
    if ring + ring_adds <= 0.0 || far + far_adds <= 0.0 {
        return Err(SetupError::Impossible(format!(
            "moving the ring gear by {} would leave a side pack of {}; measure the \
             backlash and both packs again, and look whether the ring gear sits on its flange",
            Units::both(ring_moves_mm),
            Units::both(ring.min(far))
        )));
    }
    let other = match wanted.preload_on {
        PreloadOn::BothSides => pushed_mm(wanted.preload_mm, PreloadOn::RingSide),
        PreloadOn::RingSide => 0.0,
    };
    let unsure_push = match wanted.preload_on {
        PreloadOn::BothSides => 0.0,
        PreloadOn::RingSide => ratio.ratio * wanted.preload_mm * PUSHED_OVER_DEVIATION,
    };
    let from_kit = kit.nearest_pair(&WantedPair {
        ring_side_mm: ring + ring_adds,
        far_side_mm: far + far_adds,
        backlash_mm: wanted.backlash_mm,
        window_mm: wanted.window_mm,
        zero_mm: found.ring_side_mm + found.far_side_mm,
        ratio: ratio.ratio,
    });
    Ok(SidePacks {
        ring_moves_mm,
        ring_side_without_preload_mm: ring,
        far_side_without_preload_mm: far,
        ring_side_mm: ring + ring_adds,
        far_side_mm: far + far_adds,
        total_mm: ring + far + wanted.preload_mm,
        backlash_before_preload_mm: before,
        preload_changes_backlash_mm: ratio.ratio * pushed,
        backlash_mm: wanted.backlash_mm,
        backlash_deviation_mm: (ratio.deviation * ring_moves_mm)
            .hypot(READING_MM)
            .hypot(unsure_push),
        backlash_other_way_mm: before + ratio.ratio * other,
        ratio,
        from_kit,
    })
}

/// The answer in words.
pub(crate) fn answer(found: &Found, wanted: &Wanted, packs: &SidePacks, shown: &Shown) -> Answer {
    let s = |mm: f64| shown.shim(mm);
    let says = match &packs.from_kit {
        None => format!(
            "Ring side {}, far side {}: expect {} ± {} of backlash.",
            s(packs.ring_side_mm),
            s(packs.far_side_mm),
            s(packs.backlash_mm),
            s(packs.backlash_deviation_mm)
        ),
        Some(built) => format!(
            "Ring side {}, far side {}: expect {} ± {} of backlash.",
            built.ring_side.words(shown),
            built.far_side.words(shown),
            s(built.backlash_mm),
            s(packs.backlash_deviation_mm)
        ),
    };
    let mut answer = Answer::new(StationResult::SideShims(packs.clone()), says);
    answer.steps.extend(steps(found, packs, shown));
    if wanted.preload_mm > 0.0 {
        answer.steps.extend(preload_steps(wanted, packs, shown));
    }
    answer.steps.push(ratio_step(packs.ratio));
    if let Some(built) = &packs.from_kit {
        answer.steps.push(kit_step(packs, built, shown));
        answer.remarks.extend(kit_remarks(wanted, built, shown));
    }
    answer.remarks.push(
        "Turn the gear some turns to seat the bearings, bring the caps to their torque, then measure backlash \
         again: the number above is a forecast."
            .into(),
    );
    answer.cautions.push(
        "Caps go back on their own side and the same way up; mark them before they come off."
            .into(),
    );
    answer
}

/// From zero end play to packs without preload.
fn steps(found: &Found, packs: &SidePacks, shown: &Shown) -> [Step; 3] {
    let s = |mm: f64| shown.shim(mm);
    [
        Step::new(
            "zero end play",
            "ring side + far side",
            format!("{} + {}", s(found.ring_side_mm), s(found.far_side_mm)),
            s(found.ring_side_mm + found.far_side_mm),
        ),
        Step::new(
            "ring gear moves",
            "(backlash before preload − backlash found) / ratio",
            format!(
                "({} − {}) / {:.2}",
                s(packs.backlash_before_preload_mm),
                s(found.backlash_mm),
                packs.ratio.ratio
            ),
            format!(
                "{} {} the pinion",
                s(packs.ring_moves_mm.abs()),
                if packs.ring_moves_mm < 0.0 {
                    "toward"
                } else {
                    "away from"
                }
            ),
        ),
        Step::new(
            "packs without preload",
            "ring side − move, far side + move",
            format!(
                "{} − {}, {} + {}",
                s(found.ring_side_mm),
                s(packs.ring_moves_mm),
                s(found.far_side_mm),
                s(packs.ring_moves_mm)
            ),
            format!(
                "{} and {}",
                s(packs.ring_side_without_preload_mm),
                s(packs.far_side_without_preload_mm)
            ),
        ),
    ]
}

/// What the preload adds, and what it does to the backlash.
fn preload_steps(wanted: &Wanted, packs: &SidePacks, shown: &Shown) -> [Step; 2] {
    let s = |mm: f64| shown.shim(mm);
    let on = match wanted.preload_on {
        PreloadOn::BothSides => "half on each side",
        PreloadOn::RingSide => "all behind the ring gear",
    };
    [
        Step::new(
            "with preload",
            format!("{} added, {on}", s(wanted.preload_mm)),
            format!("total {}", s(packs.total_mm)),
            format!("{} and {}", s(packs.ring_side_mm), s(packs.far_side_mm)),
        ),
        Step::new(
            "what preload does to backlash",
            "ratio × what it pushes the ring gear over",
            match wanted.preload_on {
                PreloadOn::BothSides => "pushed from both sides alike".to_owned(),
                PreloadOn::RingSide => format!(
                    "{:.2} × half of {}, toward the pinion",
                    packs.ratio.ratio,
                    s(wanted.preload_mm)
                ),
            },
            if packs.backlash_other_way_mm > 0.0 {
                format!(
                    "{}; placed the other way the end would be {}",
                    shown.signed_shim(packs.preload_changes_backlash_mm),
                    s(packs.backlash_other_way_mm)
                )
            } else {
                format!(
                    "{}; placed the other way no backlash would be left and the teeth would bind",
                    shown.signed_shim(packs.preload_changes_backlash_mm)
                )
            },
        ),
    ]
}

/// From the packs worked out to those that can be built.
pub(crate) fn kit_step(packs: &SidePacks, built: &BuiltPair, shown: &Shown) -> Step {
    let s = |mm: f64| shown.shim(mm);
    Step::new(
        "from the shims at hand",
        "nearest in backlash and preload",
        format!(
            "{} and {}",
            built.ring_side.words(shown),
            built.far_side.words(shown)
        ),
        format!(
            "{} instead of {}, {} instead of {}",
            s(built.ring_side.pack_mm),
            s(packs.ring_side_mm),
            s(built.far_side.pack_mm),
            s(packs.far_side_mm)
        ),
    )
}

/// What the shims at hand do not reach.
fn kit_remarks(wanted: &Wanted, built: &BuiltPair, shown: &Shown) -> Vec<String> {
    let mut remarks = Vec::new();
    if let Some(window) = wanted.window_mm
        && verdict(built.backlash_mm, window) != "within"
    {
        remarks.push(format!(
            "No packs of the shims at hand bring the backlash into {} to {}: get shims in between.",
            shown.shim(window[0]),
            shown.shim(window[1])
        ));
    }
    if (built.preload_mm - wanted.preload_mm).abs() > PRELOAD_OFF_MM {
        remarks.push(format!(
            "These packs give {} of preload instead of {}: get shims in between.",
            shown.signed_shim(built.preload_mm),
            shown.shim(wanted.preload_mm)
        ));
    }
    remarks
}

/// The line that sets the ratio beside the shop's.
pub(super) fn ratio_step(ratio: Ratio) -> Step {
    Step::new(
        "backlash per move",
        format!("ratio, {}", ratio.source.words()),
        format!("{:.2} ± {:.2}", ratio.ratio, ratio.deviation),
        format!("the shop's rule says {SHOP:.2}"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::setup::backlash_ratio::{RatioSource, shop};
    use crate::units::THOU_MM;
    use proptest::prelude::*;

    fn none() -> ShimsAtHand {
        ShimsAtHand::default()
    }

    fn given(ratio: f64) -> Ratio {
        Ratio {
            ratio,
            deviation: 0.05,
            source: RatioSource::Given,
        }
    }

    /// TM 9-2320-289-34 (rule of Table 6-1 and the preload step): from zero lash L and R, take 0.010 across, then add
    /// 0.004 a side: L − 0.006 and R + 0.014, total + 0.008; 0.010 across gives
    /// 0.005–0.008 in of backlash. The ratio is theirs, backlash over shim; what is tested is the split into packs.
    #[test]
    fn the_published_split_with_preload_on_both_sides() {
        let (left, right) = (95.0, 88.0);
        for backlash in [5.0, 6.5, 8.0] {
            let found = Found {
                ring_side_mm: left * THOU_MM,
                far_side_mm: right * THOU_MM,
                backlash_mm: 0.0,
            };
            let wanted = Wanted {
                backlash_mm: backlash * THOU_MM,
                preload_mm: 8.0 * THOU_MM,
                preload_on: PreloadOn::BothSides,
                window_mm: None,
            };
            let packs = split(&found, &wanted, given(backlash / 10.0), &none()).unwrap();
            let thou = |mm: f64| mm / THOU_MM;
            assert!((thou(packs.ring_side_without_preload_mm) - (left - 10.0)).abs() < 1e-9);
            assert!((thou(packs.ring_side_mm) - (left - 6.0)).abs() < 1e-9);
            assert!((thou(packs.far_side_mm) - (right + 14.0)).abs() < 1e-9);
            assert!((thou(packs.total_mm) - (left + right + 8.0)).abs() < 1e-9);
            assert_eq!(packs.preload_changes_backlash_mm, 0.0);
        }
    }

    /// By hand: 0.004 in behind the ring gear alone pushes it over by 0.002, worth 0.0012 in at 0.6; so the gear
    /// starts 0.002 in further out.
    #[test]
    fn preload_on_the_ring_side_takes_backlash_away() {
        let found = Found {
            ring_side_mm: 90.0 * THOU_MM,
            far_side_mm: 90.0 * THOU_MM,
            backlash_mm: 8.0 * THOU_MM,
        };
        let wanted = |preload_on| Wanted {
            backlash_mm: 8.0 * THOU_MM,
            preload_mm: 4.0 * THOU_MM,
            preload_on,
            window_mm: None,
        };
        let ring = split(&found, &wanted(PreloadOn::RingSide), shop(), &none()).unwrap();
        assert!((ring.preload_changes_backlash_mm / THOU_MM + 1.2).abs() < 1e-9);
        assert!((ring.ring_moves_mm / THOU_MM - 2.0).abs() < 1e-9);
        assert!((ring.ring_side_mm / THOU_MM - 92.0).abs() < 1e-9);
        assert!((ring.far_side_mm / THOU_MM - 92.0).abs() < 1e-9);
        let both = split(&found, &wanted(PreloadOn::BothSides), shop(), &none()).unwrap();
        assert_eq!(both.ring_moves_mm, 0.0);
        assert!((both.backlash_other_way_mm / THOU_MM - 6.8).abs() < 1e-9);
        assert!(ring.backlash_deviation_mm > both.backlash_deviation_mm);
        // Beside the dial's 0.006 mm: the ratio's share of what is moved, and a push that is known to an eighth of the shim.
        let push_mm = 0.6 * 4.0 * THOU_MM * 0.125;
        let moved_mm = shop().deviation * 2.0 * THOU_MM;
        let deviation_mm = READING_MM.hypot(push_mm).hypot(moved_mm);
        assert!((ring.backlash_deviation_mm - deviation_mm).abs() < 1e-9);
    }

    #[test]
    fn a_split_that_leaves_no_shim_is_refused() {
        let found = Found {
            ring_side_mm: 0.2,
            far_side_mm: 2.0,
            backlash_mm: 0.0,
        };
        let wanted = Wanted {
            backlash_mm: 0.3,
            preload_mm: 0.0,
            preload_on: PreloadOn::BothSides,
            window_mm: None,
        };
        assert!(split(&found, &wanted, shop(), &none()).is_err());
        // As well where the far side is what runs out.
        let found = Found {
            ring_side_mm: 2.0,
            far_side_mm: 0.2,
            backlash_mm: 0.6,
        };
        assert!(split(&found, &wanted, shop(), &none()).is_err());
    }

    proptest! {
        /// The total never depends on the split, and the forecast is what was asked for.
        #[test]
        fn totals_hold(
            found in 0.0..0.4_f64, wanted in 0.1..0.4_f64, preload in 0.0..0.3_f64, ratio in 0.5..0.9_f64,
            ring_side in any::<bool>(),
        ) {
            let start = Found { ring_side_mm: 2.3, far_side_mm: 2.1, backlash_mm: found };
            let preload_on = if ring_side { PreloadOn::RingSide } else { PreloadOn::BothSides };
            let wanted = Wanted { backlash_mm: wanted, preload_mm: preload, preload_on, window_mm: None };
            let packs = split(&start, &wanted, given(ratio), &none()).unwrap();
            prop_assert!((packs.ring_side_mm + packs.far_side_mm - 4.4 - preload).abs() < 1e-12);
            let end = found + ratio * (packs.ring_moves_mm) + packs.preload_changes_backlash_mm;
            prop_assert!((end - wanted.backlash_mm).abs() < 1e-12);
        }
    }

    #[test]
    fn what_preload_placed_the_other_way_would_leave_is_told() {
        let told = |backlash_thou: f64| {
            let found = Found {
                ring_side_mm: 90.0 * THOU_MM,
                far_side_mm: 90.0 * THOU_MM,
                backlash_mm: backlash_thou * THOU_MM,
            };
            let wanted = Wanted {
                backlash_mm: backlash_thou * THOU_MM,
                preload_mm: 8.0 * THOU_MM,
                preload_on: PreloadOn::BothSides,
                window_mm: None,
            };
            let packs = split(&found, &wanted, given(0.6), &none()).unwrap();
            let [_, pushed] = preload_steps(&wanted, &packs, &Shown::default());
            pushed.result.contains("would bind")
        };
        // By hand: 8 thou behind the ring gear alone would push it over by 4, worth 2.4 thou at 0.6.
        assert_eq!((told(8.0), told(2.0)), (false, true));
    }
}
