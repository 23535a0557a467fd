//! Which numbers of an assembly stand outside the limits in force.

use crate::schema::record::{Assembly, Record};
use crate::schema::{Card, Condition};
use crate::setup::verdict;
use crate::units::Shown;

/// A number outside its limit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Outside {
    /// What it is called, also on the sheet.
    pub name: &'static str,
    /// How it stands, without a full stop.
    pub says: String,
}

/// The rotating torque of the pinion.
pub(crate) const ROTATING_TORQUE: &str = "rotating torque";
/// The torque of pinion and carrier together.
pub(crate) const TOTAL_TORQUE: &str = "pinion and carrier";

/// The window of the pinion's rotating torque: it goes by the bearings, not by the gears.
pub(crate) const fn rotating_window(card: &Card, bearings: Condition) -> Option<[f64; 2]> {
    match bearings {
        Condition::Used => card.limits.pinion_torque_used_nm,
        Condition::New => card.limits.pinion_torque_new_nm,
    }
}

/// `13.0 lb-in to 15.0 lb-in`.
pub(crate) fn range(window: [f64; 2], words: impl Fn(f64) -> String) -> String {
    format!("{} to {}", words(window[0]), words(window[1]))
}

/// What is outside in an assembly; nothing of the axle as found, which is as it is.
pub(crate) fn of_assembly(record: &Record, assembly: &Assembly, shown: &Shown) -> Vec<Outside> {
    let (trial, bench) = (&assembly.trial, &assembly.bench);
    if trial.as_found {
        return Vec::new();
    }
    let card = record.card_in_force();
    let limits = &card.limits;
    let shim = |mm: f64| shown.shim(mm);
    let torque = |nm: f64| shown.torque(nm);
    let mut found = Vec::new();
    found.extend(against(
        "backlash",
        trial.mean_backlash_mm(),
        limits.backlash_mm,
        shim,
    ));
    if let (Some(variation_mm), Some(limit_mm)) =
        (trial.backlash_variation_mm(), limits.backlash_variation_mm)
        && variation_mm > limit_mm + 1e-9
    {
        found.push(Outside {
            name: "backlash",
            says: format!(
                "backlash varies by {} round the gear, the limit is {}",
                shim(variation_mm),
                shim(limit_mm)
            ),
        });
    }
    found.extend(against(
        ROTATING_TORQUE,
        trial.pinion_torque_nm,
        rotating_window(&card, record.bearings(assembly)),
        torque,
    ));
    found.extend(against(
        "pinion nut",
        bench.pinion_nut_nm,
        limits.pinion_nut_torque_nm,
        |nm| shown.fastener(nm),
    ));
    if let Some(total_nm) = mean(&bench.total_readings_nm) {
        found.extend(total(&card, total_nm, trial.pinion_torque_nm, shown));
    }
    found
}

/// What is outside of the newest assembly. A torque once found holds until it is measured again.
pub(crate) fn of_newest(record: &Record, shown: &Shown) -> Vec<Outside> {
    let built = || record.counting().filter(|a| !a.trial.as_found).rev();
    let Some(last) = built().next() else {
        return Vec::new();
    };
    let mut found = of_assembly(record, last, shown);
    if last.trial.pinion_torque_nm.is_none()
        && let Some(before) = built().find(|a| a.trial.pinion_torque_nm.is_some())
    {
        let of_before = of_assembly(record, before, shown);
        found.extend(of_before.into_iter().filter(|o| o.name == ROTATING_TORQUE));
    }
    found
}

/// The torque of pinion and carrier against the card, and against the pinion's own.
pub(crate) fn total(
    card: &Card,
    total_nm: f64,
    pinion_nm: Option<f64>,
    shown: &Shown,
) -> Vec<Outside> {
    let torque = |nm: f64| shown.torque(nm);
    let mut found = Vec::new();
    found.extend(against(
        TOTAL_TORQUE,
        Some(total_nm),
        card.limits.total_torque_nm,
        torque,
    ));
    let Some(pinion_nm) = pinion_nm else {
        return found;
    };
    let rise_nm = total_nm - pinion_nm;
    if rise_nm < -1e-9 {
        found.push(Outside {
            name: TOTAL_TORQUE,
            says: format!(
                "{} for pinion and carrier is less than the pinion's own {}, which no bearing does",
                torque(total_nm),
                torque(pinion_nm)
            ),
        });
    } else if let Some(window) = card.limits.total_torque_rise_nm {
        let is = verdict(rise_nm, window);
        if is != "within" {
            found.push(Outside {
                name: TOTAL_TORQUE,
                says: format!(
                    "the rise from the pinion's own torque to that with the carrier, {}, is {is} {}",
                    torque(rise_nm),
                    range(window, torque)
                ),
            });
        }
    }
    found
}

/// The mean of readings.
pub(crate) fn mean(readings: &[f64]) -> Option<f64> {
    (!readings.is_empty()).then(|| readings.iter().sum::<f64>() / readings.len() as f64)
}

fn against(
    name: &'static str,
    value: Option<f64>,
    window: Option<[f64; 2]>,
    words: impl Fn(f64) -> String,
) -> Option<Outside> {
    let (value, window) = (value?, window?);
    let is = verdict(value, window);
    (is != "within").then(|| Outside {
        name,
        says: format!("{name} {} is {is} {}", words(value), range(window, &words)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schema::record::{Bench, Head, SCHEMA};
    use crate::schema::{Card, Trial};
    use crate::units::{LB_IN_NM, THOU_MM, Units};

    fn record(assembly: Assembly) -> Record {
        Record {
            schema: SCHEMA.into(),
            head: Head::default(),
            card: Card::from_toml(include_str!("../../examples/larchfield/card.toml")).unwrap(),
            trials: vec![assembly],
            advice: Vec::new(),
            closing: Vec::new(),
            notes: Vec::new(),
        }
    }

    /// Backlash in thou, torques in lb-in; the card: 6.5–10.5, 1.8 round the gear, 11.5–14.5 new, 5.5–7.5 used, rise
    /// 2.5–5.5.
    fn outside(backlash: &[f64], pinion: f64, total: f64, bearings: Condition) -> Vec<String> {
        let assembly = Assembly {
            number: 1,
            trial: Trial {
                backlash_mm: backlash.iter().map(|thou| thou * THOU_MM).collect(),
                pinion_torque_nm: Some(pinion * LB_IN_NM),
                condition: Some(Condition::Used),
                ..Trial::default()
            },
            bench: Bench {
                total_readings_nm: vec![total * LB_IN_NM],
                bearings: Some(bearings),
                ..Bench::default()
            },
            ..Assembly::default()
        };
        let record = record(assembly);
        of_assembly(&record, &record.trials[0], &Shown::from(Units::In))
            .into_iter()
            .map(|o| o.says)
            .collect()
    }

    #[test]
    fn what_is_within_says_nothing_and_used_gears_on_new_bearings_go_by_the_bearings() {
        let none: [String; 0] = [];
        assert_eq!(outside(&[8.0, 9.0], 13.0, 17.0, Condition::New), none);
        assert_eq!(outside(&[8.0, 9.0], 7.0, 10.0, Condition::Used), none);
        let used = outside(&[8.0], 13.0, 17.0, Condition::Used);
        assert!(used.len() == 1 && used[0].contains("above 5.5 lb-in to 7.5 lb-in"));
    }

    #[test]
    fn each_number_outside_is_said_with_its_limit() {
        let found = outside(&[3.0, 4.0, 8.0], 22.0, 39.0, Condition::New).join("; ");
        for part in [
            "backlash 5.0 thou is below 6.5 thou to 10.5 thou",
            "varies by 5.0 thou round the gear, the limit is 1.8 thou",
            "rotating torque 22.0 lb-in is above 11.5 lb-in to 14.5 lb-in",
            "17.0 lb-in, is above 2.5 lb-in to 5.5 lb-in",
        ] {
            assert!(found.contains(part), "{part}: {found}");
        }
        let found = outside(&[8.0], 13.0, 12.0, Condition::New);
        assert!(found[0].contains("less than the pinion's own"), "{found:?}");
    }
}
