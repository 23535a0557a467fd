//! What numbers are usual at each station, and the question for one that is not.
//!
//! The ranges are wide: they only catch a number whose unit was most likely another.

use super::SetupError;
use crate::units::{AsWritten, Measured};

/// The usual range of a quantity, in the inside unit.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Usual {
    /// What the quantity is called in a question.
    pub what: &'static str,
    /// Below this it is questioned.
    pub low: f64,
    /// Above this it is questioned.
    pub high: f64,
}

/// Backlash, mm. TM 5-3810-300-24&P2 p. 4-255 has 0.026 in at the upper end; 0.003 in at the lower and the range's
/// own ends: common practice, no source.
pub(crate) const BACKLASH: Usual = usual("backlash", 0.02, 1.5);
/// Backlash where none at all may be meant, mm.
pub(crate) const BACKLASH_OR_NONE: Usual = usual("backlash", 0.0, 1.5);
/// A pinion pack, mm. TM 9-2320-280-34 has 0.084–0.111 in; common practice, no source, for the ends.
pub(crate) const PINION_PACK: Usual = usual("pinion pack", 0.05, 6.0);
/// An oil slinger or baffle, mm: a pressed sheet. Common practice, no source.
pub(crate) const SLINGER: Usual = usual("slinger", 0.2, 6.0);
/// A side pack with its spacer, mm. TM 9-2320-280-34 has 0.077–0.117 in; common practice, no source, for the ends.
pub(crate) const SIDE_PACK: Usual = usual("side pack", 0.1, 30.0);
/// A pinion-bearing preload pack or spacer, mm. Common practice (about 0.080 in on a light axle), no source.
pub(crate) const PRELOAD_PACK: Usual = usual("preload pack", 0.2, 20.0);
/// Rotating torque of a pinion, N·m. Limits run from 5 to 45 lb-in
/// (TM 9-2320-289-34 p. 6-119, TM 10-3930-660-34 p. 9-16).
pub(crate) const ROTATING: Usual = usual("rotating torque", 0.0, 12.0);
/// Rotating torque of pinion and carrier together, N·m.
pub(crate) const TOTAL_ROTATING: Usual = usual("total turning torque", 0.1, 20.0);
/// Torque of a pinion nut, N·m. By thread from 200 to 1500 lb-ft (DF02-30: 7/8-20
/// 200–275 … 2-12 1200–1500); 150 lb-ft on a light axle: common practice, no source.
pub(crate) const PINION_NUT: Usual = usual("pinion nut torque", 60.0, 2500.0);
/// Torque of a ring-gear or cap bolt, N·m. TM 9-2320-260-34-1 p. 10-42: caps 290–370 lb-ft; the range's ends: common practice,
/// no source.
pub(crate) const BOLT: Usual = usual("bolt torque", 10.0, 900.0);
/// A preload shim for the side bearings, mm. TM 9-2320-289-34: 0.004 in a side.
pub(crate) const SIDE_PRELOAD: Usual = usual("side preload", 0.0, 0.6);
/// Case spread, mm. MM-15103: 0.002–0.009 in; TM 5-3810-306-34 p. 8-34: 0.006–0.013 in; the range's ends: common practice, no
/// source.
pub(crate) const SPREAD: Usual = usual("case spread", 0.0, 0.8);
/// A mounting distance or another length of a housing, mm.
pub(crate) const HOUSING: Usual = usual("length", 5.0, 600.0);

const fn usual(what: &'static str, low: f64, high: f64) -> Usual {
    Usual { what, low, high }
}

impl Usual {
    /// The value, or the question what was meant; `as_written` takes it all the same.
    ///
    /// # Errors
    /// A number outside the usual range.
    pub(crate) fn check<T: Measured>(
        &self,
        said: &AsWritten<T>,
        as_written: bool,
    ) -> Result<f64, SetupError> {
        let value = said.inside();
        if value < 0.0 && self.low >= 0.0 {
            return Err(SetupError::Impossible(format!(
                "a {} of {} is below nothing, which cannot be",
                self.what, said.text
            )));
        }
        if as_written || (self.low..=self.high).contains(&value) {
            return Ok(value);
        }
        let meant: Vec<String> = said
            .in_other_units()
            .into_iter()
            .filter(|(_, value)| (self.low.max(1e-6)..=self.high).contains(value))
            .map(|(text, _)| format!("`{text}`"))
            .collect();
        let size = if value < self.low { "less" } else { "more" };
        let asks = match meant.as_slice() {
            [] => "measure it again.".to_owned(),
            [one] => format!("was {one} meant?"),
            [first @ .., last] => format!("was {} or {last} meant?", first.join(", ")),
        };
        Err(SetupError::Question(format!(
            "a {} of {} is far {size} than any axle has; {asks} If it is right as it stands, add --as-written",
            self.what, said.text
        )))
    }

    /// As [`Usual::check`] for a list.
    ///
    /// # Errors
    /// The first number outside the usual range.
    pub(crate) fn check_all<T: Measured>(
        &self,
        said: &[AsWritten<T>],
        as_written: bool,
    ) -> Result<Vec<f64>, SetupError> {
        said.iter().map(|one| self.check(one, as_written)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Length, Torque};

    fn asked<T: Measured>(usual: &Usual, text: &str) -> String {
        let said: AsWritten<T> = text.parse().unwrap();
        usual.check(&said, false).unwrap_err().to_string()
    }

    #[test]
    fn nonsense_pairs_are_asked_back() {
        let question = asked::<Length>(&BACKLASH, "0.2in");
        assert!(question.contains("`0.2 mm`"), "{question}");
        let question = asked::<Torque>(&PINION_NUT, "150 lb-in");
        assert!(question.contains("`150 lb-ft`"), "{question}");
        let question = asked::<Torque>(&ROTATING, "14 lb-ft");
        assert!(question.contains("`14 lb-in`"), "{question}");
        let question = asked::<Length>(&PINION_PACK, "30mm");
        assert!(question.contains("`30 thou`"), "{question}");
        let question = asked::<Length>(&BACKLASH, "0.008mm");
        assert!(question.contains("`0.008 in`"), "{question}");
    }

    #[test]
    fn what_is_below_nothing_is_refused_even_as_written() {
        let said: AsWritten<Length> = "-0.05mm".parse().unwrap();
        for usual in [&BACKLASH, &BACKLASH_OR_NONE, &SIDE_PRELOAD, &PINION_PACK] {
            let error = usual.check(&said, true).unwrap_err().to_string();
            assert!(error.contains("below nothing"), "{error}");
        }
    }

    #[test]
    fn as_written_goes_through() {
        let said: AsWritten<Length> = "0.2in".parse().unwrap();
        assert!((BACKLASH.check(&said, true).unwrap() - 5.08).abs() < 1e-12);
    }

    /// Limits of TM 10-3930-660-34 (5–45 lb-in), of DF02-30 by thread (200–1500 lb-ft), of TM 5-3810-300-24&P2 (0.026 in
    /// of backlash) pass unasked; so do those of a light axle (common practice, no source).
    #[test]
    fn usual_limits_are_not_questioned() {
        for text in ["5 lb-in", "45 lb-in", "12 lb-in", "15 lb-in", "30 lb-in"] {
            assert!(
                ROTATING
                    .check(&text.parse::<AsWritten<Torque>>().unwrap(), false)
                    .is_ok()
            );
        }
        for text in ["200 lb-ft", "1500 lb-ft", "150 lb-ft", "350 lb-ft"] {
            assert!(
                PINION_NUT
                    .check(&text.parse::<AsWritten<Torque>>().unwrap(), false)
                    .is_ok()
            );
        }
        for text in ["0.003in", "0.026in", "0.18mm"] {
            assert!(
                BACKLASH
                    .check(&text.parse::<AsWritten<Length>>().unwrap(), false)
                    .is_ok()
            );
        }
        for text in ["55 lb-ft", "400 lb-ft", "44 lb-ft"] {
            assert!(
                BOLT.check(&text.parse::<AsWritten<Torque>>().unwrap(), false)
                    .is_ok()
            );
        }
    }
}
