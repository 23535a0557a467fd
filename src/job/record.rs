//! The whole of one job, as it is stored, printed and carried to another workshop.

use crate::rules;
use crate::schema::record::{Assembly, Followed, Record};
use crate::schema::{Advice, BacklashDirection, Card, Condition, Trial};
use crate::setup::backlash_ratio::PlaceAndBacklash;
use crate::setup::preload::PreloadTrial;
use crate::setup::sleeve::SleeveStep;

impl Record {
    /// The assemblies that count: those not struck out.
    pub(crate) fn counting(&self) -> impl DoubleEndedIterator<Item = &Assembly> {
        self.trials.iter().filter(|a| a.bench.struck.is_none())
    }

    /// The trials as the advice reads them, up to the last that counts. A struck one stays as an empty place that says
    /// so, so that trials keep their numbers.
    pub(crate) fn rules_trials(&self) -> Vec<Trial> {
        let last = self.last().map_or(0, |last| last.number);
        self.trials
            .iter()
            .filter(|a| a.number <= last)
            .map(|a| match a.bench.struck {
                None => Trial {
                    bearings: Some(self.bearings(a)),
                    // Final parts go in with their preload.
                    side_preload: a.bench.side_preload || a.bench.final_parts,
                    ..a.trial.clone()
                },
                Some(_) => Trial {
                    struck: true,
                    ..Trial::default()
                },
            })
            .collect()
    }

    /// New or used pinion bearings in an assembly: as last said of one that was built, else new; as found, as the gears.
    pub(crate) fn bearings(&self, assembly: &Assembly) -> Condition {
        if assembly.trial.as_found {
            let said = assembly.bench.bearings.or(assembly.trial.condition);
            return said.unwrap_or(Condition::Used);
        }
        self.built()
            .rev()
            .filter(|a| a.number < assembly.number)
            .fold(assembly.bench.bearings, |said, a| said.or(a.bench.bearings))
            .unwrap_or(Condition::New)
    }

    /// New or used pinion bearings in the newest assembly.
    pub(crate) fn newest_bearings(&self) -> Condition {
        let newest = self.built().next_back();
        newest.map_or(Condition::New, |newest| self.bearings(newest))
    }

    /// The assemblies that count and were built, not found.
    pub(crate) fn built(&self) -> impl DoubleEndedIterator<Item = &Assembly> {
        self.counting().filter(|a| !a.trial.as_found)
    }

    /// The card with the backlash window and the target in force: a used set's are those that it ran with.
    pub(crate) fn card_in_force(&self) -> Card {
        rules::as_it_ran(&self.card, &self.rules_trials())
    }

    /// The job as `flankread advise` reads it, `flankread/job/1`.
    pub(crate) fn as_job(&self) -> serde_json::Value {
        serde_json::json!({
            "schema": rules::job::SCHEMA,
            "card": self.card,
            "trials": self.rules_trials(),
        })
    }

    /// Preload packs and the torques they gave, without the axle as found and without readings that hold a seal.
    pub(crate) fn preload_trials(&self) -> Vec<PreloadTrial> {
        self.counting()
            .filter(|a| !a.trial.as_found && !a.bench.seal)
            .filter_map(|a| {
                Some(PreloadTrial {
                    of_job: Some(a.number),
                    pack_mm: a.bench.preload_pack_mm?,
                    torque_nm: a.trial.pinion_torque_nm?,
                })
            })
            .collect()
    }

    /// Torques that the nut was brought to and what the pinion then turned with, without the axle as found and without
    /// readings that hold a seal. A new preload begins with the last nut that was slackened for a new sleeve; which that
    /// was nobody writes down, so all are there.
    pub(crate) fn sleeve_steps(&self) -> Vec<SleeveStep> {
        self.built()
            .filter(|a| !a.bench.seal)
            .filter_map(|a| {
                Some(SleeveStep {
                    nut_nm: a.bench.pinion_nut_nm?,
                    rotating_nm: a.trial.pinion_torque_nm?,
                })
            })
            .collect()
    }

    /// Places of the ring gear (minus the ring-side pack, or its notches) and the backlash there, with what the pinion's own moves
    /// did to it taken out by the contact model. Assemblies with preloaded side bearings are left out: their packs
    /// do not tell the place alone.
    ///
    /// # Errors
    /// The card's gears cannot mesh.
    pub(crate) fn backlash_trials(&self) -> crate::Result<Vec<PlaceAndBacklash>> {
        let model = crate::contact::Model::new(&self.card.gear_set())?;
        let ratios = model.pinion_backlash_ratio(self.card.backlash_radius_mm());
        let pinion_ratio = match self.card.carrier.backlash_direction {
            Some(BacklashDirection::Square) => ratios.square,
            Some(BacklashDirection::Tangential) => ratios.transverse,
            None => 0.5 * (ratios.square + ratios.transverse),
        };
        let away = self.card.pinion.shim_place.away_per_thicker();
        Ok(self
            .counting()
            .filter(|a| !a.trial.as_found && !a.bench.side_preload)
            .filter_map(|a| {
                let pinion_mm = away * a.trial.pinion_shim_mm?;
                let by_notches = a.trial.ring_notches.zip(self.card.carrier.notch_mm());
                Some(PlaceAndBacklash {
                    away_mm: match by_notches {
                        Some((notches, notch_mm)) => f64::from(notches) * notch_mm,
                        None => -a.trial.ring_side_shim_mm?,
                    },
                    backlash_mm: a.trial.mean_backlash_mm()? - pinion_ratio * pinion_mm,
                })
            })
            .collect())
    }

    /// The last assembly that counts.
    pub(crate) fn last(&self) -> Option<&Assembly> {
        self.counting().next_back()
    }
}

/// Packs nearer than this are one and the same, millimetres: a quarter of a thou.
const SAME_PACK_MM: f64 = 0.006;

/// Whether an assembly follows advice, by its packs; `None` when that cannot be told.
pub(crate) fn follows(advice: &Advice, before: &Trial, now: &Trial) -> Option<Followed> {
    let shims = advice.shims.as_ref()?;
    let pack = |advised: Option<&crate::schema::Pack>, had: Option<f64>, has: Option<f64>| {
        let (wanted, has) = (advised.map(|p| p.to_mm).or(had)?, has?);
        Some((wanted - has).abs() < SAME_PACK_MM)
    };
    let notches = shims
        .ring_notches
        .zip(before.ring_notches)
        .zip(now.ring_notches)
        .map(|((turn, had), has)| had + turn == has);
    let told: Vec<bool> = [
        pack(
            shims.pinion.as_ref(),
            before.pinion_shim_mm,
            now.pinion_shim_mm,
        ),
        pack(
            shims.ring_side.as_ref(),
            before.ring_side_shim_mm,
            now.ring_side_shim_mm,
        ),
        pack(
            shims.far_side.as_ref(),
            before.far_side_shim_mm,
            now.far_side_shim_mm,
        ),
        notches,
    ]
    .into_iter()
    .flatten()
    .collect();
    if told.is_empty() {
        return None;
    }
    Some(if told.iter().all(|same| *same) {
        Followed::Yes
    } else if told.iter().any(|same| *same) {
        Followed::Partly
    } else {
        Followed::No
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schema::record::{Head, SCHEMA};
    use crate::setup::backlash_ratio::{of_card, updated};

    fn job(card: &str, trials: Vec<Trial>) -> Record {
        let trials = (1..)
            .zip(trials)
            .map(|(number, trial)| Assembly {
                number,
                trial,
                ..Assembly::default()
            })
            .collect();
        Record {
            schema: SCHEMA.into(),
            head: Head::default(),
            card: Card::from_toml(card).unwrap(),
            trials,
            advice: Vec::new(),
            closing: Vec::new(),
            notes: Vec::new(),
        }
    }

    const SHIMS: &str = include_str!("../../examples/larchfield/card.toml");

    /// An axle whose backlash goes up by 0.75 of each move, by hand: the pinion's own share is the model's 0.30.
    #[test]
    fn a_job_s_trials_teach_the_ratio_with_shims_and_with_notches() {
        let threaded = SHIMS.replace(
            "adjust = \"shims\"",
            "adjust = \"threaded\"\npitch = \"1.5mm\"\nnotches_per_turn = 15",
        );
        for card in [SHIMS, &threaded] {
            let trial = |away_mm: f64, pinion_shim_mm: f64| {
                let pinion_away_mm = 0.762 - pinion_shim_mm;
                Trial {
                    pinion_shim_mm: Some(pinion_shim_mm),
                    ring_side_shim_mm: (card == SHIMS).then_some(2.1 - away_mm),
                    ring_notches: (card != SHIMS).then_some((away_mm / 0.1).round() as i32),
                    backlash_mm: vec![0.1 + 0.75 * away_mm + 0.30 * pinion_away_mm],
                    ..Trial::default()
                }
            };
            let record = job(
                card,
                vec![trial(0.0, 0.762), trial(0.2, 0.762), trial(0.4, 0.94)],
            );
            let prior = of_card(&record.card).unwrap();
            let taught = updated(prior, &record.backlash_trials().unwrap());
            assert!((taught.ratio - 0.75).abs() < 0.02, "{taught:?}");
            assert!((prior.ratio - 0.75).abs() > 0.05);
        }
    }

    #[test]
    fn following_is_told_by_the_packs() {
        let pack = |to_mm| {
            Some(crate::schema::Pack {
                from_mm: 0.762,
                to_mm,
                stack_mm: Vec::new(),
            })
        };
        let text = r#"{"schema":"flankread/advice/1","verdict":"correct","diagnosis":{},"why":[],"cautions":[]}"#;
        let mut advice: Advice = serde_json::from_str(text).unwrap();
        let packs = |pinion_mm, ring_mm| Trial {
            pinion_shim_mm: Some(pinion_mm),
            ring_side_shim_mm: Some(ring_mm),
            ..Trial::default()
        };
        assert_eq!(
            follows(&advice, &packs(0.762, 2.1), &packs(0.889, 2.1)),
            None
        );
        advice.shims = Some(crate::schema::Shims {
            pinion: pack(0.889),
            ring_side: pack(2.2),
            ..Default::default()
        });
        let before = packs(0.762, 2.1);
        for (pinion_mm, ring_mm, followed) in [
            (0.890, 2.2, Followed::Yes),
            (0.889, 2.1, Followed::Partly),
            (0.762, 2.1, Followed::No),
        ] {
            let now = packs(pinion_mm, ring_mm);
            assert_eq!(follows(&advice, &before, &now), Some(followed));
        }
    }
}
