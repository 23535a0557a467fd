//! Reading a card: TOML or JSON text, the check of every key, the check that the values go together.

use super::error::CardError;
use super::keys::normalise;
use crate::files::{MOST_TEXT_BYTES, read};
use crate::schema::{Adjust, Card};
use crate::units::{Units, most_written};
use serde_json::Value;
use std::path::Path;

impl Card {
    /// Reads a card in TOML.
    ///
    /// ```
    /// let error = flankread::Card::from_toml("[gear]\nring_teth = 41").unwrap_err();
    /// assert!(error.to_string().contains("`ring_teeth`"));
    /// ```
    ///
    /// # Errors
    /// No TOML, unknown or missing keys, values that cannot be.
    pub fn from_toml(text: &str) -> Result<Self, CardError> {
        let table: toml::Table =
            toml::from_str(text).map_err(|error| CardError::Syntax(error.to_string()))?;
        let written =
            serde_json::to_value(table).map_err(|error| CardError::Syntax(error.to_string()))?;
        Self::of(&written, most_written(texts(&written).into_iter()))
    }

    /// Reads a card in JSON, where the unit stands in the key (`ring_diameter_mm`).
    ///
    /// ```
    /// # use flankread::Card;
    /// let card = Card::read("examples/larchfield/card.toml")?;
    /// assert_eq!(Card::from_json(&serde_json::to_value(&card).unwrap()).unwrap(), card);
    /// # Ok::<(), flankread::Error>(())
    /// ```
    ///
    /// # Errors
    /// Unknown or missing keys, values that cannot be.
    pub fn from_json(written: &Value) -> Result<Self, CardError> {
        Self::of(written, None)
    }

    /// A written card; `units` are those it is written in, unless it names others.
    fn of(written: &Value, units: Option<Units>) -> Result<Self, CardError> {
        let mut card: Self = serde_json::from_value(normalise(written)?)
            .map_err(|error| CardError::Together(error.to_string()))?;
        card.units = card.units.or(units);
        card.check()?;
        Ok(card)
    }

    /// Reads the TOML file of a card.
    ///
    /// ```
    /// let card = flankread::Card::read("examples/larchfield/card.toml")?;
    /// assert_eq!((card.gear.pinion_teeth, card.gear.ring_teeth), (11, 41));
    /// # Ok::<(), flankread::Error>(())
    /// ```
    ///
    /// # Errors
    /// The file cannot be read, or [`Card::from_toml`]; the message names the file.
    pub fn read(path: impl AsRef<Path>) -> crate::Result<Self> {
        let path = path.as_ref();
        let bytes =
            read(path, MOST_TEXT_BYTES).map_err(|source| crate::Error::input(path, source))?;
        let text = String::from_utf8(bytes).map_err(|_| CardError::NoText.of(path.display()))?;
        Self::from_toml(&text).map_err(|error| error.of(path.display()))
    }

    fn check(&self) -> Result<(), CardError> {
        let gear = &self.gear;
        let together = |message: String| Err(CardError::Together(message));
        let shown = |mm: f64| self.units.unwrap_or_default().length(mm);
        if gear.pinion_teeth >= gear.ring_teeth {
            return together(format!(
                "the pinion has {} teeth and the ring gear {}; the pinion is the one with fewer",
                gear.pinion_teeth, gear.ring_teeth
            ));
        }
        let radius_mm = gear.ring_diameter_mm / 2.0;
        if gear.face_width_mm >= 0.5 * radius_mm {
            return together(format!(
                "face width {} on a ring gear of {}; at most {} would be sensible",
                shown(gear.face_width_mm),
                shown(gear.ring_diameter_mm),
                shown(0.5 * radius_mm)
            ));
        }
        if gear.offset_mm >= 0.6 * radius_mm {
            return together(format!(
                "offset {} on a ring gear of {}; at most {} would be sensible",
                shown(gear.offset_mm),
                shown(gear.ring_diameter_mm),
                shown(0.6 * radius_mm)
            ));
        }
        if let Some(indicator_mm) = self.carrier.backlash_radius_mm
            && indicator_mm > 1.1 * radius_mm
        {
            return together(format!(
                "the indicator at a radius of {} on a ring gear of radius {}; was the diameter written?",
                shown(indicator_mm),
                shown(radius_mm)
            ));
        }
        if self.carrier.adjust == Adjust::Threaded && self.carrier.notch_mm().is_none() {
            return together(
                "threaded adjusters need `pitch` and `notches_per_turn` in [carrier]".into(),
            );
        }
        Ok(())
    }
}

/// Every text in a written card.
fn texts(written: &Value) -> Vec<&str> {
    match written {
        Value::String(text) => vec![text],
        Value::Array(items) => items.iter().flat_map(texts).collect(),
        Value::Object(table) => table.values().flat_map(texts).collect(),
        _ => Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schema::{ShimPlace, Target};

    const LARCH: &str = r#"
name = "Larchfield 8-inch rear axle"
[gear]
ring_teeth = 41
pinion_teeth = 11
ring_diameter = "8.0in"
face_width = "1.2in"
offset = "1.4in"
spiral_angle_deg = 31
pressure_angle_deg = 20
cutting = "face-milled"
hand = "left"
[target]
drive = {length = 0.45, height = 0.50}
[limits]
backlash = ["0.006in", "0.010in"]
backlash_variation = "0.002in"
pinion_torque_new = ["12lb-in", "15lb-in"]
[pinion]
shim_place = "under cage"
[carrier]
adjust = "shims"
backlash_direction = "tangential"
[kit]
pinion_shims = ["0.003in", "0.005in", "0.010in", "0.030in"]
side_shims = ["0.003in", "0.005in", "0.010in", "0.030in"]
"#;

    fn refused(from: &str, to: &str) -> String {
        assert!(LARCH.contains(from), "{from}");
        Card::from_toml(&LARCH.replace(from, to))
            .unwrap_err()
            .to_string()
    }

    #[test]
    fn a_kit_may_say_how_many_there_are_of_each_shim() {
        let counted =
            "side_shims = [{size = \"0.003in\", count = 2}, {size = \"0.005in\", count = 4}]";
        let plain = "side_shims = [\"0.003in\", \"0.005in\", \"0.010in\", \"0.030in\"]";
        let text = LARCH.replace(plain, counted);
        let card = Card::from_toml(&text).unwrap();
        assert_eq!(card.kit.side_shim_counts, [2, 4]);
        assert!((card.kit.side_shims_mm[1] - 0.127).abs() < 1e-9);
        let again = Card::from_json(&serde_json::to_value(&card).unwrap()).unwrap();
        assert_eq!(again, card);
        let short = text.replace("side_shims =", "side_shim_counts = [1]\nside_shims =");
        assert!(Card::from_toml(&short).is_err());
        let mixed = text.replace("{size = \"0.005in\", count = 4}", "\"0.005in\"");
        let error = Card::from_toml(&mixed).unwrap_err().to_string();
        assert!(error.contains("count = 2"), "{error}");
    }

    #[test]
    fn the_ring_gears_cut_may_be_said_in_new_and_in_old_words() {
        for (word, generated) in [
            ("non-generated", false),
            ("plunged", false),
            ("generated", true),
            ("rolled", true),
        ] {
            let text = LARCH.replace("[target]", &format!("ring_cut = \"{word}\"\n[target]"));
            let card = Card::from_toml(&text).unwrap();
            assert_eq!(card.gear_set().generated, generated, "{word}");
            let json = serde_json::to_value(&card).unwrap();
            let old = if generated { "rolled" } else { "plunged" };
            assert_eq!(json["gear"]["ring_cut"], old);
        }
    }

    #[test]
    fn a_card_is_read_into_millimetres() {
        let card = Card::from_toml(LARCH).unwrap();
        assert_eq!(card.gear.ring_diameter_mm, 203.2);
        assert_eq!(card.limits.backlash_mm, Some([0.006 * 25.4, 0.010 * 25.4]));
        assert_eq!(card.target.drive.length, 0.45);
        assert_eq!(card.target.coast, Target::default().coast);
        assert_eq!(card.pinion.shim_place, ShimPlace::UnderCage);
        assert_eq!(card.kit.pinion_shims_mm.len(), 4);
        assert_eq!(card.backlash_radius_mm(), 101.6);
        assert!((card.gear_set().spiral_angle.to_degrees() - 31.0).abs() < 1e-12);
    }

    #[test]
    fn json_with_units_in_the_keys_is_the_same_card() {
        let card = Card::from_toml(LARCH).unwrap();
        let json = serde_json::to_value(&card).unwrap();
        assert_eq!(json["gear"]["ring_diameter_mm"], 203.2);
        assert_eq!(Card::from_json(&json).unwrap(), card);
    }

    #[test]
    fn an_unknown_key_is_named_with_the_nearest_known() {
        let error = refused(
            "ring_teeth = 41",
            "ring_teeth = 41\nring_diametre = \"8in\"",
        );
        assert!(error.contains("`ring_diametre` in [gear]"), "{error}");
        assert!(error.contains("`ring_diameter`"), "{error}");
        let error = refused("[kit]", "[kits]");
        assert!(error.contains("`kit`"), "{error}");
        let error = refused("adjust = \"shims\"", "shim_place = \"under cage\"");
        assert!(error.contains("belongs in [pinion]"), "{error}");
    }

    #[test]
    fn a_missing_key_is_named() {
        let error = refused("pinion_teeth = 11\n", "");
        assert!(error.contains("`pinion_teeth` in [gear]"), "{error}");
    }

    #[test]
    fn a_number_without_unit_is_answered_with_a_question() {
        let error = refused("\"1.2in\"", "1.2");
        assert!(error.contains("\"1.2in\""), "{error}");
        let error = refused("\"12lb-in\"", "12");
        assert!(error.contains("lb-in"), "{error}");
    }

    #[test]
    fn the_other_unit_is_asked_for_when_it_would_fit() {
        let error = refused("\"8.0in\"", "\"8.0mm\"");
        assert!(error.contains("8 in meant"), "{error}");
        let error = refused("\"0.006in\", \"0.010in\"", "\"0.15in\", \"0.25in\"");
        assert!(error.contains("0.15 mm meant"), "{error}");
    }

    #[test]
    fn values_that_cannot_be_are_refused_with_the_nearest() {
        for (from, to, part) in [
            ("ring_teeth = 41", "ring_teeth = 0", "nearest is 12"),
            (
                "\"face-milled\"",
                "\"face-miled\"",
                "nearest is \"face-milled\"",
            ),
            (
                "spiral_angle_deg = 31",
                "spiral_angle_deg = 310",
                "nearest that would pass is 50",
            ),
            (
                "\"0.006in\", \"0.010in\"",
                "\"0.010in\", \"0.006in\"",
                "low then high",
            ),
            ("pinion_teeth = 11", "pinion_teeth = 45", "fewer"),
            ("\"1.4in\"", "\"3.5in\"", "would be sensible"),
            (
                "adjust = \"shims\"",
                "adjust = \"threaded\"",
                "notches_per_turn",
            ),
            ("height = 0.50", "height = 50", "fraction"),
            ("[gear]", "gear", "TOML"),
        ] {
            let error = refused(from, to);
            assert!(error.contains(part), "{to}: {error}");
        }
    }
}
