//! Case spread: how far the side bearings' preload pushes the bearing caps apart.

use super::{Answer, SetupError, StationResult, Step, verdict};
use crate::units::{Shown, Units};
use schemars::JsonSchema;
use serde::Serialize;

/// The spread against its window.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(crate) struct Spread {
    /// Caps apart without preload.
    pub before_mm: f64,
    /// Caps apart with it.
    pub after_mm: f64,
    /// The difference.
    pub spread_mm: f64,
    /// The window, if one is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub window_mm: Option<[f64; 2]>,
    /// How the spread stands to it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub is: Option<&'static str>,
}

/// `spread = after − before`, measured cap to cap across the case.
///
/// # Errors
/// Caps that come closer under preload.
pub(crate) fn spread(
    before_mm: f64,
    after_mm: f64,
    window_mm: Option<[f64; 2]>,
) -> Result<Spread, SetupError> {
    let spread_mm = after_mm - before_mm;
    if spread_mm < -0.005 {
        return Err(SetupError::Impossible(format!(
            "the caps would have come {} closer; preload spreads them. Were the two measurements swapped?",
            Units::both(-spread_mm)
        )));
    }
    Ok(Spread {
        before_mm,
        after_mm,
        spread_mm,
        window_mm,
        is: window_mm.map(|window| verdict(spread_mm, window)),
    })
}

/// The answer in words.
pub(crate) fn answer(found: &Spread, shown: &Shown) -> Answer {
    let against = match (found.window_mm, found.is) {
        (Some([low, high]), Some(is)) => {
            format!(", {is} {} to {}", shown.shim(low), shown.shim(high))
        }
        _ => String::new(),
    };
    let mut answer = Answer::new(
        StationResult::CaseSpread(found.clone()),
        format!(
            "The case spreads by {}{against}.",
            shown.shim(found.spread_mm)
        ),
    );
    answer.steps.push(Step::new(
        "spread",
        "cap to cap with preload − without",
        format!(
            "{} − {}",
            shown.length(found.after_mm),
            shown.length(found.before_mm)
        ),
        shown.shim(found.spread_mm),
    ));
    match found.is {
        Some("below") => answer.remarks.push("Too little preload on the side bearings: add side shims, the same on both sides, or tighten the adjusters.".into()),
        Some("above") => answer.remarks.push("Too much preload on the side bearings: take side shims out, the same on both sides, or loosen the adjusters.".into()),
        _ => {}
    }
    answer.remarks.push(
        "Measure at the same two spots both times, caps at their torque, case at one temperature."
            .into(),
    );
    answer
}

#[cfg(test)]
mod tests {
    use super::*;

    /// MM-15103: 13.927 → 13.932 in is a spread of 0.005 in, window 0.002–0.009; TM 5-3810-306-34 p. 8-34: window 0.006–0.013; by
    /// hand, 15.315 → 15.324 is 0.009.
    #[test]
    fn spreads_are_what_the_screw_s_length_grows_by() {
        for (before, after, window, expected) in [
            (13.927, 13.932, [0.002, 0.009], 0.005),
            (15.315, 15.324, [0.006, 0.013], 0.009),
        ] {
            let found =
                spread(before * 25.4, after * 25.4, Some(window.map(|w| w * 25.4))).unwrap();
            assert!((found.spread_mm / 25.4 - expected).abs() < 1e-9);
            assert_eq!(found.is, Some("within"));
        }
        assert!(spread(13.932 * 25.4, 13.927 * 25.4, None).is_err());
        // 0.005 in is below 0.006–0.013.
        let low = spread(0.0, 0.005 * 25.4, Some([0.006 * 25.4, 0.013 * 25.4])).unwrap();
        assert_eq!(low.is, Some("below"));
    }
}
