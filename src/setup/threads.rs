//! Screw threads and the strength of their steels.

use super::SetupError;
use crate::units::{INCH_MM, KSI_MPA};
use schemars::JsonSchema;
use serde::Serialize;
use std::f64::consts::FRAC_PI_4;

/// A screw thread.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub(crate) struct Thread {
    /// Nominal diameter.
    pub diameter_mm: f64,
    /// Pitch.
    pub pitch_mm: f64,
    /// Inch thread (60°, threads per inch) or metric.
    pub inch: bool,
    /// The pitch was not given and is the coarse one.
    #[serde(skip)]
    pub usual_pitch: bool,
}

/// Coarse pitches of metric threads (ISO 261, from memory and printed so): diameter and pitch, mm.
const COARSE: [(f64, f64); 16] = [
    (4.0, 0.7),
    (5.0, 0.8),
    (6.0, 1.0),
    (7.0, 1.0),
    (8.0, 1.25),
    (10.0, 1.5),
    (12.0, 1.75),
    (14.0, 2.0),
    (16.0, 2.0),
    (18.0, 2.5),
    (20.0, 2.5),
    (22.0, 2.5),
    (24.0, 3.0),
    (27.0, 3.0),
    (30.0, 3.5),
    (36.0, 4.0),
];

impl Thread {
    /// Reads `3/8-24`, `3/8" x 24 UNF`, `1 1/4-12`, `M10x1.25`, `M12` (coarse).
    ///
    /// # Errors
    /// No thread of that name, or sizes no axle has.
    pub(crate) fn parse(text: &str) -> Result<Self, SetupError> {
        let bad = |why: &str| SetupError::Thread {
            text: text.trim().to_owned(),
            why: why.to_owned(),
        };
        let plain = text.trim().to_ascii_lowercase().replace('×', "x");
        let thread = if let Some(metric) = plain.strip_prefix('m') {
            let (diameter, pitch) = match metric.split_once('x') {
                Some((d, p)) => (number(d), number(p)),
                None => {
                    let diameter = number(metric);
                    let coarse = COARSE.iter().find(|(d, _)| Some(*d) == diameter);
                    (diameter, coarse.map(|(_, pitch)| *pitch))
                }
            };
            let diameter_mm = diameter.ok_or_else(|| bad("the diameter is no number"))?;
            let pitch_mm = pitch.ok_or_else(|| bad("its pitch is not given"))?;
            Self {
                diameter_mm,
                pitch_mm,
                inch: false,
                usual_pitch: !metric.contains('x'),
            }
        } else {
            let inch = plain
                .trim_end_matches(|c: char| c.is_alphabetic())
                .replace('"', "");
            let (size, per_inch) = inch
                .rsplit_once(['-', 'x'])
                .ok_or_else(|| bad("the threads per inch are missing"))?;
            let diameter = inches(size).ok_or_else(|| bad("the size is no number of inches"))?;
            let per_inch = number(per_inch)
                .filter(|n| *n > 0.0)
                .ok_or_else(|| bad("the threads per inch are no number"))?;
            Self {
                diameter_mm: diameter * INCH_MM,
                pitch_mm: INCH_MM / per_inch,
                inch: true,
                usual_pitch: false,
            }
        };
        if !(3.0..=60.0).contains(&thread.diameter_mm) {
            return Err(bad("threads from 3 to 60 mm (1/8 to 2 1/4 in) are known"));
        }
        if !(0.03..=0.25).contains(&(thread.pitch_mm / thread.diameter_mm)) {
            return Err(bad("its pitch does not go with its diameter"));
        }
        Ok(thread)
    }

    /// Stress area, mm²: `π/4 (D − 0.9743/n)²` for inch threads, `π/4 (d − 0.9382 P)²` for metric ones
    /// (ISO 898-1, from memory and printed so; the inch form agrees with the clamp loads of IFI N-68, see the tests).
    pub(crate) fn stress_area_mm2(&self) -> f64 {
        let factor = if self.inch { 0.9743 } else { 0.9382 };
        FRAC_PI_4 * (self.diameter_mm - factor * self.pitch_mm).powi(2)
    }

    /// Pitch diameter of a 60° thread, mm: `d − 2 · 3/8 · (√3/2) P`, by its geometry.
    pub(crate) fn pitch_diameter_mm(&self) -> f64 {
        self.diameter_mm - 0.6495 * self.pitch_mm
    }
}

fn number(text: &str) -> Option<f64> {
    text.trim().parse().ok().filter(|x: &f64| x.is_finite())
}

/// `3/8`, `1 1/4`, `0.375`, `1`.
fn inches(text: &str) -> Option<f64> {
    let part = |text: &str| match text.split_once('/') {
        Some((above, below)) => Some(number(above)? / number(below).filter(|n| *n > 0.0)?),
        None => number(text),
    };
    match text.trim().split_once(' ') {
        Some((whole, fraction)) => Some(part(whole)? + part(fraction)?),
        None => part(text),
    }
}

/// A bolt's property class.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema, clap::ValueEnum)]
pub(crate) enum Grade {
    /// SAE J429 grade 2.
    #[value(name = "2")]
    Sae2,
    /// SAE J429 grade 5.
    #[value(name = "5")]
    Sae5,
    /// SAE J429 grade 8.
    #[value(name = "8")]
    Sae8,
    /// ISO 898-1 class 8.8.
    #[value(name = "8.8")]
    Iso88,
    /// ISO 898-1 class 9.8.
    #[value(name = "9.8")]
    Iso98,
    /// ISO 898-1 class 10.9.
    #[value(name = "10.9")]
    Iso109,
    /// ISO 898-1 class 12.9.
    #[value(name = "12.9")]
    Iso129,
}

impl Grade {
    /// How it is named.
    pub(crate) const fn words(self) -> &'static str {
        match self {
            Self::Sae2 => "SAE J429 grade 2",
            Self::Sae5 => "SAE J429 grade 5",
            Self::Sae8 => "SAE J429 grade 8",
            Self::Iso88 => "ISO 898-1 class 8.8",
            Self::Iso98 => "ISO 898-1 class 9.8",
            Self::Iso109 => "ISO 898-1 class 10.9",
            Self::Iso129 => "ISO 898-1 class 12.9",
        }
    }

    /// Proof strength, MPa, for a nominal diameter; `None` where no document at hand has it.
    ///
    /// SAE J429, as the clamp loads of IFI N-68 on 75 % of proof, as quoted in a torque table, have it, 55, 85 and 120 ksi, and the
    /// proof loads of TM 10-3930-647-14&P for grade 8 up to 3/4 in (see the tests); larger sizes have lower values, which no
    /// document at hand names. ISO 898-1 table 3, from memory and printed so: 8.8 580 to 16 mm, 600 above; 9.8 650; 10.9
    /// 830; 12.9 970.
    pub(crate) fn proof_mpa(self, diameter_mm: f64) -> Option<f64> {
        let ksi = |ksi: f64| (diameter_mm <= 0.75 * INCH_MM + 1e-9).then_some(ksi * KSI_MPA);
        match self {
            Self::Sae2 => ksi(55.0),
            Self::Sae5 => ksi(85.0),
            Self::Sae8 => ksi(120.0),
            Self::Iso88 if diameter_mm <= 16.0 => Some(580.0),
            Self::Iso88 => Some(600.0),
            Self::Iso98 => Some(650.0),
            Self::Iso109 => Some(830.0),
            Self::Iso129 => Some(970.0),
        }
    }

    /// Whether its proof strength is from memory, without a document beside it.
    pub(crate) const fn is_from_memory(self) -> bool {
        matches!(
            self,
            Self::Iso88 | Self::Iso98 | Self::Iso109 | Self::Iso129
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Computed from the clamp loads of IFI N-68, as quoted, on 75 % of 120 ksi: 7905, 10 684 and 14 396 lb over 90 000 are .0878,
    /// .1187 and .1600 in².
    #[test]
    fn stress_areas_of_inch_threads() {
        for (text, area) in [("3/8-24", 0.0878), ("7/16-20", 0.1187), ("1/2-20", 0.1600)] {
            let found = Thread::parse(text).unwrap().stress_area_mm2() / (INCH_MM * INCH_MM);
            assert!((found - area).abs() < 6e-5, "{text}: {found}");
        }
    }

    /// ISO 898-1 table 4 (from memory): M8 36.6, M10 58.0, M12 84.3, M10×1.25 61.2, M12×1.25 92.1 mm².
    #[test]
    fn metric_stress_areas() {
        for (text, area) in [
            ("M8", 36.6),
            ("M10", 58.0),
            ("M12", 84.3),
            ("M10x1.25", 61.2),
            ("m12×1.25", 92.1),
        ] {
            let found = Thread::parse(text).unwrap().stress_area_mm2();
            assert!((found - area).abs() < 0.06, "{text}: {found}");
        }
    }

    /// ISO 898-1 table 3, from memory, as it is printed: 8.8 is weaker to 16 mm. SAE J429 in no size above 3/4 in.
    #[test]
    fn proof_strengths_depend_on_the_size() {
        assert_eq!(Grade::Iso88.proof_mpa(16.0), Some(580.0));
        assert_eq!(Grade::Iso88.proof_mpa(18.0), Some(600.0));
        assert!(Grade::Sae8.proof_mpa(0.75 * INCH_MM).is_some());
        assert_eq!(Grade::Sae8.proof_mpa(0.875 * INCH_MM), None);
    }

    #[test]
    fn what_is_no_thread_is_refused_with_the_reason() {
        for (text, part) in [
            ("3/8", "threads per inch"),
            ("M11", "pitch is not given"),
            ("M10x9", "does not go with"),
            ("3/0-24", "size"),
            ("x-24", "size"),
            ("99-8", "are known"),
            ("", "threads per inch"),
        ] {
            let error = Thread::parse(text).unwrap_err().to_string();
            assert!(error.contains(part), "{text}: {error}");
        }
        assert!((Thread::parse("1 1/4-12").unwrap().diameter_mm - 31.75).abs() < 1e-9);
        for text in ["3/8\" x 24", "3/8-24 UNF", "3/8 X 24"] {
            assert_eq!(Thread::parse(text), Thread::parse("3/8-24"), "{text}");
        }
    }

    #[test]
    fn no_thread_has_nought_threads_per_inch() {
        assert!(Thread::parse("3/8-0").is_err());
    }
}
