//! Torque to turn: readings over several turns, and pinion and carrier together.

use super::{Answer, SetupError, StationResult, Step, TurningTorque, verdict};
use crate::units::{LB_IN_NM, Shown};
use schemars::JsonSchema;
use serde::Serialize;

/// What a beam or dial wrench is good for: half a pound-inch and a twentieth of the reading. Common practice, no source.
const WRENCH_NM: f64 = 0.5 * LB_IN_NM;
const WRENCH_SHARE: f64 = 0.05;

/// Standard uncertainty of a rotating torque as read.
pub(super) fn noise_nm(torque_nm: f64) -> f64 {
    WRENCH_NM.hypot(WRENCH_SHARE * torque_nm)
}

/// Whether a torque is less than another by more than their readings scatter: twice the standard uncertainty of the
/// difference.
pub(super) fn clearly_less(torque_nm: f64, than_nm: f64) -> bool {
    let noise = noise_nm(torque_nm).hypot(noise_nm(than_nm));
    torque_nm < than_nm - 2.0 * noise
}

/// Several readings of one rotating torque.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(crate) struct Readings {
    /// As read while turning.
    pub readings_nm: Vec<f64>,
    /// Their mean.
    pub mean_nm: f64,
    /// Largest less smallest.
    pub range_nm: f64,
    /// Standard deviation of the mean; none with one reading.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub deviation_nm: Option<f64>,
}

/// The mean of readings over several turns.
///
/// # Errors
/// No reading, or one below nothing.
pub(crate) fn readings(readings_nm: &[f64]) -> Result<Readings, SetupError> {
    if readings_nm.is_empty() {
        return Err(SetupError::Missing(
            "give what the wrench showed while turning, one reading a turn".into(),
        ));
    }
    if readings_nm.iter().any(|nm| !(nm.is_finite() && *nm >= 0.0)) {
        return Err(SetupError::Impossible(
            "a rotating torque cannot be below nothing".into(),
        ));
    }
    let n = readings_nm.len() as f64;
    let mean_nm = readings_nm.iter().sum::<f64>() / n;
    let square: f64 = readings_nm.iter().map(|nm| (nm - mean_nm).powi(2)).sum();
    let most = readings_nm.iter().copied().fold(f64::MIN, f64::max);
    let least = readings_nm.iter().copied().fold(f64::MAX, f64::min);
    Ok(Readings {
        readings_nm: readings_nm.to_vec(),
        mean_nm,
        range_nm: most - least,
        deviation_nm: (readings_nm.len() > 1).then(|| (square / (n * (n - 1.0))).sqrt()),
    })
}

/// Pinion and carrier together.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(crate) struct TotalTorque {
    /// The pinion alone.
    pub pinion: Readings,
    /// Pinion and carrier, read at the pinion.
    pub total: Readings,
    /// What the carrier adds, read at the pinion.
    pub rise_nm: f64,
    /// What that is at the carrier itself, with the number of teeth.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub carrier_nm: Option<f64>,
    /// Window for the rise.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rise_window_nm: Option<[f64; 2]>,
    /// How the rise stands to it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rise_is: Option<&'static str>,
    /// Window for the total.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub total_window_nm: Option<[f64; 2]>,
    /// How the total stands to it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub total_is: Option<&'static str>,
}

/// Windows and ratio for the total.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct TotalLimits {
    /// Window for the rise.
    pub rise_nm: Option<[f64; 2]>,
    /// Window for the total.
    pub total_nm: Option<[f64; 2]>,
    /// Teeth of ring gear over teeth of pinion.
    pub gear_ratio: Option<f64>,
}

/// `rise = total − pinion`; at the carrier the same friction asks for `rise · ring teeth / pinion teeth`, because
/// the carrier turns that much slower (derived from equal power, losses of the mesh left out).
///
/// # Errors
/// A carrier that would make the pinion turn easier.
pub(crate) fn total(
    pinion: Readings,
    total: Readings,
    limits: &TotalLimits,
) -> Result<TotalTorque, SetupError> {
    let rise_nm = total.mean_nm - pinion.mean_nm;
    if rise_nm < -0.1 {
        return Err(SetupError::Impossible(format!(
            "the carrier would make the pinion turn {:.2} N·m easier, which no bearing does; were the two swapped, \
             or was one the torque to start it?",
            -rise_nm
        )));
    }
    Ok(TotalTorque {
        carrier_nm: limits.gear_ratio.map(|ratio| rise_nm * ratio),
        rise_window_nm: limits.rise_nm,
        rise_is: limits.rise_nm.map(|window| verdict(rise_nm, window)),
        total_window_nm: limits.total_nm,
        total_is: limits.total_nm.map(|window| verdict(total.mean_nm, window)),
        rise_nm,
        pinion,
        total,
    })
}

fn mean_step(what: &str, readings: &Readings, shown: &Shown) -> Step {
    let list: Vec<String> = readings
        .readings_nm
        .iter()
        .map(|nm| shown.torque(*nm))
        .collect();
    Step::new(
        what,
        "mean of the readings while turning",
        list.join(", "),
        format!(
            "{}{}",
            shown.torque(readings.mean_nm),
            readings.deviation_nm.map_or(String::new(), |nm| format!(
                " ± {}, range {}",
                shown.torque(nm),
                shown.torque(readings.range_nm)
            ))
        ),
    )
}

/// The answer for a rotating torque alone.
pub(crate) fn readings_answer(
    readings: &Readings,
    window_nm: Option<[f64; 2]>,
    shown: &Shown,
) -> Answer {
    let against = window_nm.map_or(String::new(), |window| {
        format!(
            ", {} {} to {}",
            verdict(readings.mean_nm, window),
            shown.torque(window[0]),
            shown.torque(window[1])
        )
    });
    let mut answer = Answer::new(
        StationResult::TurningTorque(TurningTorque::Pinion(readings.clone())),
        format!(
            "The rotating torque is {}{against}.",
            shown.torque(readings.mean_nm)
        ),
    );
    answer
        .steps
        .push(mean_step("rotating torque", readings, shown));
    uneven(&mut answer, readings);
    answer
}

/// The answer for pinion and carrier.
pub(crate) fn total_answer(found: &TotalTorque, shown: &Shown) -> Answer {
    let mut says = format!(
        "{} in all, {} of it from the carrier",
        shown.torque(found.total.mean_nm),
        shown.torque(found.rise_nm)
    );
    for (word, is, window) in [
        ("rise", found.rise_is, found.rise_window_nm),
        ("total", found.total_is, found.total_window_nm),
    ] {
        if let (Some(is), Some([low, high])) = (is, window) {
            says += &format!(
                "; the {word} is {is} {} to {}",
                shown.torque(low),
                shown.torque(high)
            );
        }
    }
    says.push('.');
    let mut answer = Answer::new(
        StationResult::TurningTorque(TurningTorque::Total(found.clone())),
        says,
    );
    answer
        .steps
        .push(mean_step("pinion alone", &found.pinion, shown));
    answer
        .steps
        .push(mean_step("pinion and carrier", &found.total, shown));
    answer.steps.push(Step::new(
        "rise",
        "total − pinion",
        format!(
            "{} − {}",
            shown.torque(found.total.mean_nm),
            shown.torque(found.pinion.mean_nm)
        ),
        shown.torque(found.rise_nm),
    ));
    if let Some(nm) = found.carrier_nm {
        answer.steps.push(Step::new(
            "at the carrier",
            "rise × ring teeth / pinion teeth",
            shown.torque(found.rise_nm),
            shown.torque(nm),
        ));
    }
    match found.rise_is {
        Some("below") => answer.remarks.push("Too little: the side bearings want more preload.".into()),
        Some("above") => answer.remarks.push("Too much: less preload on the side bearings, or the teeth bind; check that there is backlash everywhere.".into()),
        _ => {}
    }
    uneven(&mut answer, &found.total);
    answer
}

fn uneven(answer: &mut Answer, readings: &Readings) {
    if readings.range_nm > 0.25 * readings.mean_nm.max(0.4) {
        answer.remarks.push(
            "The readings differ much from turn to turn: turn steadily, leave the first pull out, and look for a \
             rough bearing if it stays so."
                .into(),
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LB_IN: f64 = 0.112_984_8;

    fn of(list: &[f64]) -> Readings {
        let nm: Vec<f64> = list.iter().map(|lb_in| lb_in * LB_IN).collect();
        readings(&nm).unwrap()
    }

    /// Total = pinion + 7–11 lb-in (common practice, no source); TM 5-3805-260-24: a rise of 2–4 lb-in.
    #[test]
    fn usual_rises_are_judged() {
        for (window, total_lb_in, is) in [
            ([7.0, 11.0], 22.0, "within"),
            ([7.0, 11.0], 27.0, "above"),
            ([2.0, 4.0], 16.5, "within"),
            ([2.0, 4.0], 14.0, "below"),
        ] {
            let limits = TotalLimits {
                rise_nm: Some(window.map(|w| w * LB_IN)),
                total_nm: None,
                gear_ratio: Some(41.0 / 11.0),
            };
            let found = total(of(&[13.0, 14.0, 12.0]), of(&[total_lb_in]), &limits).unwrap();
            assert_eq!(found.rise_is, Some(is), "{total_lb_in}");
            assert!((found.carrier_nm.unwrap() / found.rise_nm - 41.0 / 11.0).abs() < 1e-12);
        }
    }

    #[test]
    fn the_mean_over_turns_and_its_deviation() {
        // By hand: 13, 14, 12 lb-in: mean 13, range 2, deviation of the mean 1/√3.
        let found = of(&[13.0, 14.0, 12.0]);
        assert!((found.mean_nm / LB_IN - 13.0).abs() < 1e-12);
        assert!((found.range_nm / LB_IN - 2.0).abs() < 1e-12);
        assert!((found.deviation_nm.unwrap() / LB_IN - 3_f64.sqrt().recip()).abs() < 1e-12);
        assert!(readings(&[]).is_err());
        assert!(readings(&[-1.0]).is_err());
        assert!(total(of(&[20.0]), of(&[12.0]), &TotalLimits::default()).is_err());
    }

    #[test]
    fn a_rise_out_of_its_window_is_told_which_way() {
        let told = |total_lb_in: f64| {
            let limits = TotalLimits {
                rise_nm: Some([7.0 * LB_IN, 11.0 * LB_IN]),
                ..TotalLimits::default()
            };
            let found = total(of(&[13.0]), of(&[total_lb_in]), &limits).unwrap();
            let answer = total_answer(&found, &Shown::default());
            ["Too little", "Too much"]
                .map(|word| answer.remarks.iter().any(|said| said.starts_with(word)))
        };
        assert_eq!(told(15.0), [true, false]);
        assert_eq!(told(22.0), [false, false]);
        assert_eq!(told(30.0), [false, true]);
    }
}
