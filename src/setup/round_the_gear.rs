//! Backlash at several places round the gear: mean, range, run-out, and the indicator's direction.

use super::backlash_cure::Cure;
use super::{Answer, SetupError, StationResult, Step, verdict};
use crate::schema::BacklashDirection;
use crate::units::Shown;
use nalgebra::{Matrix3, Vector3};
use schemars::JsonSchema;
use serde::Serialize;

/// One place round the gear.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub(crate) struct BacklashAt {
    /// Where, degrees in the direction of counting.
    pub at_deg: f64,
    /// Backlash there.
    pub backlash_mm: f64,
}

/// Places at equal steps round the gear.
pub(crate) fn evenly(backlash_mm: &[f64]) -> Vec<BacklashAt> {
    let step = 360.0 / backlash_mm.len().max(1) as f64;
    (0..)
        .zip(backlash_mm)
        .map(|(i, mm)| BacklashAt {
            at_deg: step * f64::from(i),
            backlash_mm: *mm,
        })
        .collect()
}

/// Once-per-turn part of the backlash.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub(crate) struct RunOut {
    /// Largest less smallest of the fitted wave.
    pub swing_mm: f64,
    /// Where backlash is largest, degrees.
    pub loose_at_deg: f64,
    /// Where it is smallest: the high spot of the ring gear.
    pub high_spot_deg: f64,
    /// Standard deviation of the readings about the wave; none with three readings, which it meets exactly.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scatter_mm: Option<f64>,
    /// Axial run-out of the ring gear that would give this swing, with the ratio at hand.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub axial_mm: Option<f64>,
}

/// What the readings say.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(crate) struct Round {
    /// Mean.
    pub mean_mm: f64,
    /// Smallest reading.
    pub least_mm: f64,
    /// Largest reading.
    pub most_mm: f64,
    /// Largest less smallest.
    pub variation_mm: f64,
    /// Once-per-turn part, from three places on.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub run_out: Option<RunOut>,
    /// Against the window, by the mean: below, within, above.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mean_is: Option<&'static str>,
    /// Whether each single reading is in the window.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub every_reading_within: Option<bool>,
    /// Whether the variation is allowed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub variation_ok: Option<bool>,
    /// The mean as an indicator standing the other way would show it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub other_direction_mm: Option<f64>,
    /// What that was worked out with.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub conversion: Option<Conversion>,
    /// What brings a mean that is outside to the middle of its window.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cure: Option<Cure>,
}

/// How a backlash read one way is turned into the other.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub(crate) struct Conversion {
    /// How it was read.
    pub read: BacklashDirection,
    /// Normal pressure angle; that with the mean cosine of both flanks where they differ.
    pub pressure_angle_deg: f64,
    /// Spiral angle.
    pub spiral_angle_deg: f64,
    /// Radius of the reading square to the tooth, and of the one along the circle; one and the same without.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub radii_mm: Option<[f64; 2]>,
}

impl Conversion {
    /// Turns a backlash into the other direction: `square = tangential · cos α · cos β · (r_square / r_tangential)`. The
    /// free angle is one, the arms and the direction differ: dj_n = dj_t cos α_n cos β by the geometry of the normal section, so
    /// that backlash reads larger in the plane of rotation, at one radius.
    pub(crate) fn other_mm(&self, backlash_mm: f64) -> f64 {
        let arms = self
            .radii_mm
            .map_or(1.0, |[square, tangential]| square / tangential);
        let angles =
            self.pressure_angle_deg.to_radians().cos() * self.spiral_angle_deg.to_radians().cos();
        match self.read {
            BacklashDirection::Tangential => backlash_mm * angles * arms,
            BacklashDirection::Square => backlash_mm / (angles * arms),
        }
    }

    fn step(&self, mean_mm: f64, shown: &Shown) -> Step {
        let (what, by) = match self.read {
            BacklashDirection::Tangential => ("the same square to the tooth", "×"),
            BacklashDirection::Square => ("the same along the circle", "/"),
        };
        let arms = self.radii_mm.map_or_else(
            || " at one radius".to_owned(),
            |[square, tangential]| {
                format!(
                    " {by} ({} / {})",
                    shown.length(square),
                    shown.length(tangential)
                )
            },
        );
        Step::new(
            what,
            "square = tangential × cos α × cos β × radius square / radius tangential",
            format!(
                "{} {by} cos {:.1}° {by} cos {:.1}°{arms}",
                shown.shim(mean_mm),
                self.pressure_angle_deg,
                self.spiral_angle_deg
            ),
            shown.shim(self.other_mm(mean_mm)),
        )
    }
}

/// Limits to judge by.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Limits {
    /// Window for the backlash.
    pub window_mm: Option<[f64; 2]>,
    /// Greatest variation.
    pub variation_mm: Option<f64>,
    /// Backlash per axial move, to turn the swing into run-out.
    pub ratio: Option<f64>,
}

/// Judges the readings.
///
/// # Errors
/// No reading; two places at the same angle that leave the wave open.
pub(crate) fn judge(places: &[BacklashAt], limits: &Limits) -> Result<Round, SetupError> {
    if places.is_empty() {
        return Err(SetupError::Missing(
            "give the backlash at four places round the gear or more, as --reading 0.18mm for each"
                .into(),
        ));
    }
    let n = places.len() as f64;
    let values = || places.iter().map(|p| p.backlash_mm);
    let mean_mm = values().sum::<f64>() / n;
    let least_mm = values().fold(f64::INFINITY, f64::min);
    let most_mm = values().fold(f64::NEG_INFINITY, f64::max);
    let variation_mm = most_mm - least_mm;
    let several = places.len() > 1;
    Ok(Round {
        mean_mm,
        least_mm,
        most_mm,
        variation_mm,
        run_out: if places.len() >= 3 {
            Some(wave(places, limits)?)
        } else {
            None
        },
        mean_is: limits.window_mm.map(|window| verdict(mean_mm, window)),
        every_reading_within: limits
            .window_mm
            .map(|window| values().all(|mm| verdict(mm, window) == "within")),
        variation_ok: limits
            .variation_mm
            .filter(|_| several)
            .map(|limit| variation_mm <= limit + 1e-9),
        other_direction_mm: None,
        cure: None,
        conversion: None,
    })
}

/// `b(θ) = m + p cos θ + q sin θ` by least squares.
fn wave(places: &[BacklashAt], limits: &Limits) -> Result<RunOut, SetupError> {
    let mut normal = Matrix3::zeros();
    let mut right = Vector3::zeros();
    let row = |at_deg: f64| {
        let (sin, cos) = at_deg.to_radians().sin_cos();
        Vector3::new(1.0, cos, sin)
    };
    for place in places {
        let row = row(place.at_deg);
        normal += row * row.transpose();
        right += row * place.backlash_mm;
    }
    // Three places bunched together fit any wave; the smallest pivot tells.
    let fitted = (normal.determinant().abs() > 1e-3)
        .then(|| normal.try_inverse())
        .flatten()
        .map(|inverse| inverse * right)
        .ok_or_else(|| {
            SetupError::Impossible(
                "the places must be spread round the gear: at least three at clearly different angles".into(),
            )
        })?;
    let swing_mm = 2.0 * fitted[1].hypot(fitted[2]);
    let loose_at_deg = fitted[2].atan2(fitted[1]).to_degrees().rem_euclid(360.0);
    let free = places.len() as f64 - 3.0;
    let square: f64 = places
        .iter()
        .map(|p| (p.backlash_mm - row(p.at_deg).dot(&fitted)).powi(2))
        .sum();
    Ok(RunOut {
        swing_mm,
        loose_at_deg,
        high_spot_deg: (loose_at_deg + 180.0).rem_euclid(360.0),
        scatter_mm: (free > 0.5).then(|| (square / free).sqrt()),
        axial_mm: limits
            .ratio
            .filter(|r| *r > 0.0)
            .map(|ratio| swing_mm / ratio),
    })
}

/// The answer in words.
pub(crate) fn answer(
    places: &[BacklashAt],
    round: &Round,
    limits: &Limits,
    shown: &Shown,
) -> Answer {
    let mut answer = Answer::new(StationResult::Backlash(round.clone()), says(round, shown));
    answer.steps = steps(places, round, limits, shown);
    answer.remarks = remarks(places, round);
    answer
}

fn says(round: &Round, shown: &Shown) -> String {
    let s = |mm: f64| shown.shim(mm);
    let mut says = format!(
        "Mean {}, varies by {}",
        s(round.mean_mm),
        s(round.variation_mm)
    );
    match (round.mean_is, round.variation_ok) {
        (Some(mean), ok) => {
            says += &format!(": the mean is {mean} the window");
            match ok {
                Some(true) => says += ", the variation is allowed",
                Some(false) => says += ", the variation is too much",
                None => {}
            }
        }
        (None, Some(false)) => says += ": more than allowed",
        (None, _) => {}
    }
    says.push('.');
    if let Some(cure) = &round.cure {
        says += &format!(" {}", cure.words(shown));
    }
    says
}

fn steps(places: &[BacklashAt], round: &Round, limits: &Limits, shown: &Shown) -> Vec<Step> {
    let s = |mm: f64| shown.shim(mm);
    let mut steps = Vec::new();
    let list: Vec<String> = places.iter().map(|p| s(p.backlash_mm)).collect();
    steps.push(Step::new(
        "mean",
        "sum of the readings / their number",
        format!("({}) / {}", list.join(" + "), places.len()),
        s(round.mean_mm),
    ));
    steps.push(Step::new(
        "variation",
        "largest − smallest",
        format!("{} − {}", s(round.most_mm), s(round.least_mm)),
        match limits.variation_mm {
            Some(limit) => format!("{}, limit {}", s(round.variation_mm), s(limit)),
            None => s(round.variation_mm),
        },
    ));
    if let Some(window) = limits.window_mm {
        steps.push(Step::new(
            "window",
            "low ≤ mean ≤ high",
            format!("{} to {}", s(window[0]), s(window[1])),
            round.mean_is.unwrap_or("").to_owned(),
        ));
    }
    if let Some(wave) = round.run_out {
        steps.push(run_out_step(wave, shown));
    }
    if let Some(conversion) = round.conversion {
        steps.push(conversion.step(round.mean_mm, shown));
    }
    steps
}

fn run_out_step(wave: RunOut, shown: &Shown) -> Step {
    let s = |mm: f64| shown.shim(mm);
    Step::new(
        "run-out",
        "mean + a wave once a turn, least squares",
        format!(
            "loosest at {:.0}°, tightest (high spot) at {:.0}°{}",
            wave.loose_at_deg,
            wave.high_spot_deg,
            wave.scatter_mm
                .map_or(String::new(), |mm| format!(", scatter {}", s(mm)))
        ),
        format!(
            "swings by {}{}",
            s(wave.swing_mm),
            wave.axial_mm.map_or(String::new(), |mm| format!(
                ", as an axial run-out of {} would",
                s(mm)
            ))
        ),
    )
}

fn remarks(places: &[BacklashAt], round: &Round) -> Vec<String> {
    let mut remarks: Vec<String> = Vec::new();
    if round.every_reading_within == Some(false) && round.mean_is == Some("within") {
        remarks.push("The mean is in the window, but not every single place is.".into());
    }
    if round.variation_ok == Some(false) {
        remarks.push(
            "Too much variation is not cured by shims: look for dirt or a burr under the ring gear, bolts not \
             evenly tight, a bent flange or case; check the run-out of the back face."
                .into(),
        );
    }
    if places.len() < 4 {
        remarks.push("Measure at four places or more.".into());
    }
    remarks.push(
        "Hold the pinion still, the indicator's foot square to the tooth at its heel end, unless your manual asks otherwise."
            .into(),
    );
    remarks
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::THOU_MM;
    use proptest::prelude::*;

    /// TM 9-2320-289-34: more than 0.002 in, look for run-out; eight places: common practice, no source.
    #[test]
    fn more_variation_than_0_002_in_is_told() {
        let limits = Limits {
            window_mm: Some([5.0 * THOU_MM, 8.0 * THOU_MM]),
            variation_mm: Some(2.0 * THOU_MM),
            ratio: None,
        };
        let eight = |thou: [f64; 8]| evenly(&thou.map(|t| t * THOU_MM));
        let good = judge(&eight([6.0, 6.5, 7.0, 7.5, 8.0, 7.5, 7.0, 6.5]), &limits).unwrap();
        assert_eq!(
            (good.mean_is, good.variation_ok),
            (Some("within"), Some(true))
        );
        let bad = judge(&eight([6.0, 6.5, 7.0, 7.5, 8.5, 7.5, 7.0, 6.5]), &limits).unwrap();
        assert_eq!(bad.variation_ok, Some(false));
        assert_eq!(bad.every_reading_within, Some(false));
    }

    /// By hand: readings that a wave of 0.0024 in swings through, loosest at 130°. At 0.8 of backlash for each unit of axial
    /// move (computed, see `contact/tests/sweep.rs`) a back face 0.003 in out does that: 0.8 × 0.003 = 0.0024.
    #[test]
    fn a_swing_is_found_and_told_as_the_run_out_that_makes_it() {
        // 0.2 + 0.03048 cos(θ − 130°) at every 45°, worked out by another program, mm.
        let readings = [
            0.180_408, 0.202_657, 0.223_349, 0.230_364, 0.219_592, 0.197_343, 0.176_651, 0.169_636,
        ];
        let limits = Limits {
            variation_mm: Some(0.002 * 25.4),
            ratio: Some(0.8),
            window_mm: None,
        };
        let round = judge(&evenly(&readings), &limits).unwrap();
        let wave = round.run_out.unwrap();
        assert!((wave.swing_mm / 25.4 - 0.0024).abs() < 1e-6, "{wave:?}");
        assert!((wave.axial_mm.unwrap() / 25.4 - 0.003).abs() < 1e-6);
        assert!((wave.loose_at_deg - 130.0).abs() < 0.01);
        assert!((wave.high_spot_deg - 310.0).abs() < 0.01);
        assert_eq!(round.variation_ok, Some(false));
    }

    /// By hand: what goes up and down from each sixth to the next is no wave; 6 × 0.01² over the three places more than a wave
    /// has numbers is a scatter of 0.01 √2.
    #[test]
    fn what_is_no_wave_is_scatter() {
        let round = judge(
            &evenly(&[0.21, 0.19, 0.21, 0.19, 0.21, 0.19]),
            &Limits::default(),
        )
        .unwrap();
        let wave = round.run_out.unwrap();
        assert!(wave.swing_mm < 1e-9);
        let scatter_mm = wave.scatter_mm.unwrap();
        assert!((scatter_mm - 0.014_142).abs() < 1e-6, "{wave:?}");
    }

    /// By hand on the angles of ISO 23509:2016, Annex F, samples 2 and 1 (as quoted): 1 / (cos 20° cos 38.61°) = 1.362,
    /// 1 / (cos 20° cos 35°) = 1.299.
    #[test]
    fn square_and_tangential_convert_by_the_cosines() {
        for (spiral_angle_deg, factor) in [(38.61, 1.362), (35.0, 1.299)] {
            let conversion = Conversion {
                read: BacklashDirection::Square,
                pressure_angle_deg: 20.0,
                spiral_angle_deg,
                radii_mm: None,
            };
            let tangential = conversion.other_mm(1.0);
            assert!((tangential - factor).abs() < 0.001, "{tangential}");
            let step = conversion.step(1.0, &Shown::default());
            assert!(step.numbers.contains("cos 20.0°"), "{}", step.numbers);
        }
    }

    #[test]
    fn bunched_places_and_none_are_refused() {
        let place = |at_deg| BacklashAt {
            at_deg,
            backlash_mm: 0.2,
        };
        assert!(judge(&[], &Limits::default()).is_err());
        assert!(judge(&[place(0.0), place(0.0), place(360.0)], &Limits::default()).is_err());
        assert!(
            judge(&[place(0.0), place(1.0)], &Limits::default())
                .unwrap()
                .run_out
                .is_none()
        );
    }

    proptest! {
        /// A pure wave is found again, wherever it stands and however many places are read.
        #[test]
        fn a_wave_is_found(n in 3_usize..12, swing in 0.01..0.3_f64, at in 0.0..360.0_f64, mean in 0.1..0.4_f64) {
            let readings: Vec<f64> = evenly(&vec![0.0; n])
                .iter()
                .map(|p| mean + 0.5 * swing * (p.at_deg - at).to_radians().cos())
                .collect();
            let wave = judge(&evenly(&readings), &Limits::default()).unwrap().run_out.unwrap();
            prop_assert!((wave.swing_mm - swing).abs() < 1e-9);
            let off = (wave.loose_at_deg - at).rem_euclid(360.0);
            prop_assert!(off.min(360.0 - off) < 1e-6);
        }

        #[test]
        fn there_and_back(mm in 0.01..1.0_f64, ratio in 0.8..1.2_f64) {
            let of = |read| Conversion {
                read,
                pressure_angle_deg: 20.0,
                spiral_angle_deg: 31.0,
                radii_mm: Some([ratio, 1.0]),
            };
            let square = of(BacklashDirection::Tangential).other_mm(mm);
            let back = of(BacklashDirection::Square).other_mm(square);
            prop_assert!((back - mm).abs() < 1e-12);
        }
    }
}
