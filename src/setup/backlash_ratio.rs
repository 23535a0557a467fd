//! How much backlash a millimetre of the ring gear's axial move is worth: the shop's rule, the card's own
//! by the contact model, and what the job's trials say.

use crate::contact::Model;
use crate::schema::Card;
use schemars::JsonSchema;
use serde::Serialize;

/// The shop's rule: 0.005 in of shim across for 0.003 in of backlash. Common practice, no source;
/// TM 9-2320-289-34 p. 6-19, Table 6-1, has 0.5 to 0.8.
pub(crate) const SHOP: f64 = 0.6;
/// How far the shop's rule may be off (one standard deviation), chosen so that twice it covers 0.5 … 0.9.
const SHOP_DEVIATION: f64 = 0.15;
/// How far the model's ratio may be off, as a share: the formula of the normal section and
/// tooth-contact analysis differ by 3.5 % (computed from the published settings of NASA CR-191009); the rest is for play of the
/// mounting, chosen.
const MODEL_SHARE: f64 = 0.08;
/// Standard uncertainty of a measured backlash, mm; that of the advice (src/rules/calibration.rs).
const READING_MM: f64 = 0.006;

/// A ratio with how sure it is and where it came from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub(crate) struct Ratio {
    /// Backlash per unit of the ring gear's move away from the pinion.
    pub ratio: f64,
    /// One standard deviation.
    pub deviation: f64,
    /// Where it came from.
    pub source: RatioSource,
}

/// Where a ratio came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum RatioSource {
    /// The user's word.
    Given,
    /// The contact model on the card's gears.
    Model,
    /// The shop's rule.
    Shop,
    /// The model or the rule, corrected by the job's own trials.
    Trials,
}

impl RatioSource {
    /// How texts name it.
    pub(crate) const fn words(self) -> &'static str {
        match self {
            Self::Given => "as given",
            Self::Model => "the card's gears by the contact model",
            Self::Shop => "the shop's rule",
            Self::Trials => "corrected by this job's trials",
        }
    }
}

/// The shop's rule as a ratio.
pub(crate) const fn shop() -> Ratio {
    Ratio {
        ratio: SHOP,
        deviation: SHOP_DEVIATION,
        source: RatioSource::Shop,
    }
}

/// The model's ratio for the way the card's indicator stands; half-way between both ways, and less sure,
/// when the card is silent.
///
/// # Errors
/// Gears that cannot mesh.
pub(crate) fn of_card(card: &Card) -> Result<Ratio, crate::contact::ContactError> {
    let model = Model::new(&card.gear_set())?;
    let outer_mm = 0.5 * model.dimensions().ring_diameter_mm;
    let at_outer = model.ring_backlash_ratio(outer_mm).transverse;
    let dial = card.dial(&model);
    let ratio = at_outer * dial.share;
    Ok(Ratio {
        ratio,
        deviation: (MODEL_SHARE * ratio).hypot(at_outer * dial.spread),
        source: RatioSource::Model,
    })
}

/// One assembly: where the ring gear stood and the mean backlash there.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub(crate) struct PlaceAndBacklash {
    /// Millimetres, + = away from the pinion, from any zero that stays the same.
    pub away_mm: f64,
    /// Mean backlash.
    pub backlash_mm: f64,
}

/// The ratio corrected by trials in which nothing but the ring gear moved.
///
/// The slope of `backlash = b₀ + ratio · away` by least squares, weighed with the prior by their variances;
/// b₀ is free. Trials closer together than their scatter change next to nothing, by the same weights.
pub(crate) fn updated(prior: Ratio, trials: &[PlaceAndBacklash]) -> Ratio {
    let n = trials.len() as f64;
    if trials.len() < 2 {
        return prior;
    }
    let mean = |of: fn(&PlaceAndBacklash) -> f64| trials.iter().map(of).sum::<f64>() / n;
    let (place, backlash) = (mean(|t| t.away_mm), mean(|t| t.backlash_mm));
    let (mut spread, mut cross) = (0.0, 0.0);
    for trial in trials {
        let off = trial.away_mm - place;
        spread += off * off;
        cross += off * (trial.backlash_mm - backlash);
    }
    if spread < 1e-8 {
        return prior;
    }
    let from_trials = spread / (READING_MM * READING_MM);
    let from_prior = 1.0 / (prior.deviation * prior.deviation);
    let weight = from_trials + from_prior;
    Ratio {
        ratio: (from_trials * cross / spread + from_prior * prior.ratio) / weight,
        deviation: weight.sqrt().recip(),
        source: RatioSource::Trials,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const LARCHFIELD: &str = include_str!("../../examples/larchfield/card.toml");

    /// About 0.8 tangential and 0.65 square by the normal section (2 tan α sin δ / cos β and 2 sin α sin δ, computed on
    /// ISO 23509:2016, Annex F, samples 1 and 2, as quoted: 0.84 and 0.87, 0.64 and 0.64); TM 9-2320-289-34 p. 6-19: 0.5–0.8. The
    /// model's gears are others, and their dial stands at the outer radius: hence the bands.
    #[test]
    fn the_model_is_near_the_normal_section_and_the_manual() {
        let card = Card::from_toml(LARCHFIELD).unwrap();
        let square = of_card(&card).unwrap();
        let tangential = LARCHFIELD.replace(
            "backlash_direction = \"square\"",
            "backlash_direction = \"tangential\"",
        );
        let tangential = of_card(&Card::from_toml(&tangential).unwrap()).unwrap();
        assert!((0.5..=0.75).contains(&square.ratio), "{square:?}");
        assert!((0.7..=1.05).contains(&tangential.ratio), "{tangential:?}");
        let silent = LARCHFIELD.replace("backlash_direction = \"square\"", "");
        let silent = of_card(&Card::from_toml(&silent).unwrap()).unwrap();
        assert!(silent.deviation > 1.5 * square.deviation);
    }

    /// TM 9-2320-289-34 p. 6-19: 0.010 in taken across from zero backlash gives 0.005–0.008 in; the others are common
    /// practice, no source. All stand inside what the prior holds for likely.
    #[test]
    fn ratios_of_the_trade_lie_within_two_deviations() {
        for (source, moved, backlash) in [
            ("common practice, no source: 0.05 mm → 0.03 mm", 0.05, 0.03),
            ("TM 9-2320-289-34, low end", 0.010, 0.005),
            ("TM 9-2320-289-34, high end", 0.010, 0.008),
            ("common practice, no source: 0.010 → 0.007", 0.010, 0.007),
            (
                "common practice, no source: 0.0049 for 0.004",
                0.0049,
                0.0040,
            ),
        ] {
            let ratio: f64 = backlash / moved;
            assert!(
                (ratio - SHOP).abs() <= 2.0 * SHOP_DEVIATION,
                "{source}: {ratio}"
            );
        }
    }

    #[test]
    fn trials_pull_the_ratio_as_far_as_they_are_apart() {
        let trials = |apart: f64| {
            [0.0, apart].map(|away_mm| PlaceAndBacklash {
                away_mm,
                backlash_mm: 0.1 + 0.8 * away_mm,
            })
        };
        let near = updated(shop(), &trials(0.005));
        let far = updated(shop(), &trials(0.25));
        assert!((near.ratio - 0.6).abs() < 0.01, "{near:?}");
        assert!((far.ratio - 0.8).abs() < 0.01, "{far:?}");
        assert!(far.deviation < near.deviation);
        assert_eq!(updated(shop(), &trials(0.0)), shop());
    }

    proptest! {
        #[test]
        fn trials_never_make_the_ratio_less_sure(
            places in prop::collection::vec((-0.5..0.5_f64, 0.0..0.6_f64), 0..6)
        ) {
            let trials: Vec<PlaceAndBacklash> = places
                .iter()
                .map(|(away_mm, backlash_mm)| PlaceAndBacklash { away_mm: *away_mm, backlash_mm: *backlash_mm })
                .collect();
            prop_assert!(updated(shop(), &trials).deviation <= SHOP_DEVIATION + 1e-12);
        }
    }
}
