//! What a learner answers.

use super::QuizError;
use crate::units::{Length, Units};
use serde::{Deserialize, Serialize};

/// One thing that is wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Fault {
    /// Pinion too near the ring gear.
    PinionNear,
    /// Pinion too far from the ring gear.
    PinionFar,
    /// Ring gear too near the pinion.
    RingNear,
    /// Ring gear too far from the pinion.
    RingFar,
}

impl Fault {
    const ALL: [(Self, &'static str); 4] = [
        (Self::PinionNear, "pinion near"),
        (Self::PinionFar, "pinion far"),
        (Self::RingNear, "ring near"),
        (Self::RingFar, "ring far"),
    ];

    /// As it is written.
    pub(crate) fn word(self) -> &'static str {
        Self::ALL
            .iter()
            .find(|(fault, _)| *fault == self)
            .map_or("", |(_, word)| word)
    }

    /// Reads `none`, one fault, or two with `+` between them.
    ///
    /// # Errors
    /// Other words, named with what would do.
    pub(crate) fn several(text: &str) -> Result<Vec<Self>, QuizError> {
        let text = text.trim().to_lowercase();
        if text == "none" {
            return Ok(Vec::new());
        }
        text.split(['+', ','])
            .map(|part| {
                let part = part.split_whitespace().collect::<Vec<_>>().join(" ");
                let part = part.replace("gear ", "").replace("too ", "");
                Self::ALL
                    .iter()
                    .find(|(_, word)| *word == part)
                    .map(|(fault, _)| *fault)
                    .ok_or_else(|| {
                        QuizError::Answer(format!(
                            "`{part}` is no fault; write `pinion near`, `pinion far`, `ring near`, `ring far` or `none`, two with `+` between"
                        ))
                    })
            })
            .collect()
    }
}

/// One answer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, schemars::JsonSchema)]
pub(crate) struct Answer {
    /// Whether photo a shows the drive flanks.
    pub drive_first: bool,
    /// What is wrong; empty when nothing is.
    pub faults: Vec<Fault>,
    /// How far to move the pinion, + = away from the ring gear.
    pub pinion_mm: f64,
    /// How far to move the ring gear, + = away from the pinion.
    pub ring_mm: f64,
}

/// Reads `a` or `b`; whether it is `a`.
///
/// # Errors
/// Anything else.
pub(crate) fn photo(text: &str) -> Result<bool, QuizError> {
    match text.trim().to_lowercase().as_str() {
        "a" => Ok(true),
        "b" => Ok(false),
        other => Err(QuizError::Answer(format!(
            "`{other}` is no photo; write a or b"
        ))),
    }
}

/// No learner moves a gear farther than this, mm.
const FARTHEST_MM: f64 = 3.0;

/// Reads a move: `0.10mm away`, `4thou toward`, `0`; a number without a unit is in the units given.
///
/// # Errors
/// No amount, no way, or an amount that no shim makes.
pub(crate) fn movement(text: &str, units: Units) -> Result<f64, QuizError> {
    let text = text.trim().to_lowercase();
    let wrong = || {
        QuizError::Answer(format!(
            "`{text}` is no move; write the amount and the way, like `0.10mm toward`, `4thou away`, or `0`"
        ))
    };
    let (amount, way) = if let Some(amount) = text.strip_suffix("toward") {
        (amount, Some(-1.0))
    } else if let Some(amount) = text.strip_suffix("away") {
        (amount, Some(1.0))
    } else {
        (text.as_str(), None)
    };
    let mm = match amount.trim().parse::<f64>() {
        Ok(number) => {
            let unit = match units {
                Units::Mm => "mm",
                Units::In => "thou",
            };
            format!("{number}{unit}").parse::<Length>()
        }
        Err(_) => amount.parse::<Length>(),
    }
    .map_err(|_| wrong())?
    .mm();
    match way {
        _ if !mm.is_finite() || mm.abs() > FARTHEST_MM => Err(wrong()),
        _ if mm == 0.0 => Ok(0.0),
        Some(way) if mm > 0.0 => Ok(way * mm),
        // A sign and a way might say two things; an amount without a way says nothing.
        _ => Err(wrong()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moves_have_an_amount_and_a_way() {
        let mm = |text| movement(text, Units::Mm).unwrap();
        assert_eq!(mm("0.10mm toward"), -0.10);
        assert!((mm("4 thou away") - 0.1016).abs() < 1e-12);
        assert_eq!(mm("0.2 away"), 0.2);
        assert_eq!(mm("0"), 0.0);
        assert!((movement("5 toward", Units::In).unwrap() + 0.127).abs() < 1e-12);
        for bad in [
            "",
            "0.1",
            "-0.1 away",
            "toward",
            "nan away",
            "9in away",
            "0.1 up",
        ] {
            assert!(movement(bad, Units::Mm).is_err(), "{bad}");
        }
    }

    #[test]
    fn faults_are_written_in_words() {
        assert_eq!(Fault::several("none").unwrap(), vec![]);
        assert_eq!(
            Fault::several("Pinion too far + ring gear near").unwrap(),
            vec![Fault::PinionFar, Fault::RingNear]
        );
        let message = Fault::several("pinion up").unwrap_err().to_string();
        assert!(message.contains("pinion near"), "{message}");
        assert!(photo("c").is_err() && photo(" A ").unwrap());
    }
}
