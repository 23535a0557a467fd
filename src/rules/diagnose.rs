//! Where a patch stands against its target, in the trade's words.

use super::calibration::CALIBRATION;
use crate::frames::{FlankPoint, Side};
use crate::schema::{Diagnosis, FlankDiagnosis, Target, Trial};

/// To a ten-thousandth: a hundredth of what a reading can tell.
fn round(share: f64) -> f64 {
    (share * 1e4).round() / 1e4
}

/// One flank against its target.
pub(crate) fn flank(
    centre: FlankPoint,
    target: FlankPoint,
    tolerance: FlankPoint,
) -> FlankDiagnosis {
    let length = round(centre.length - target.length);
    let height = round(centre.height - target.height);
    let word = |offset: f64, tolerance: f64, below: &'static str, above: &'static str| {
        if offset.abs() <= CALIBRATION.verdict.centred_share * tolerance {
            None
        } else if offset < 0.0 {
            Some(below)
        } else {
            Some(above)
        }
    };
    let words: Vec<&str> = [
        word(height, tolerance.height, "low", "high"),
        word(length, tolerance.length, "toe", "heel"),
    ]
    .into_iter()
    .flatten()
    .collect();
    FlankDiagnosis {
        words: if words.is_empty() {
            "centred".into()
        } else {
            words.join(" ")
        },
        length,
        height,
    }
}

/// Both flanks of one trial, as far as they were read.
pub(crate) fn trial(trial: &Trial, target: &Target) -> Diagnosis {
    let of = |side| {
        trial
            .reading(side)
            .map(|reading| flank(reading.centre, target.of(side), target.tolerance))
    };
    Diagnosis {
        drive: of(Side::Drive),
        coast: of(Side::Coast),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(length: f64, height: f64) -> String {
        let target = Target::default();
        let at = FlankPoint::new(target.drive.length + length, target.drive.height + height);
        flank(at, target.drive, target.tolerance).words
    }

    #[test]
    fn words_are_the_trade_s() {
        assert_eq!(words(0.0, 0.0), "centred");
        assert_eq!(words(0.09, -0.05), "centred");
        assert_eq!(words(0.0, 0.1), "high");
        assert_eq!(words(0.0, -0.1), "low");
        assert_eq!(words(0.15, 0.21), "high heel");
        assert_eq!(words(-0.15, -0.21), "low toe");
        assert_eq!(words(-0.15, 0.0), "toe");
    }
}
