//! Making a card by question and answer: what is needed, and where on the axle it is found.

use super::error::CardError;
use super::key::{Key, Kind};
use super::keys::{keys, unknown};
use super::kit_counts::sizes_and_counts;
use super::questions::SHORT;
pub(crate) use super::questions::{QUESTIONS, Question};
use super::values::read_value;
use crate::schema::Card;
use crate::units::listed;
use serde_json::{Map, Number, Value, json};
use std::collections::BTreeMap;

/// The questions by their places in [`QUESTIONS`]: all, or the short form.
pub(crate) fn asked(short: bool) -> Vec<usize> {
    (0..QUESTIONS.len())
        .filter(|place| !short || SHORT.contains(&QUESTIONS[*place].name))
        .collect()
}

/// The questions that a card's text leaves open.
///
/// # Errors
/// What any card's reader would say of the text.
pub(crate) fn left_open(text: &str) -> Result<Vec<usize>, CardError> {
    Card::from_toml(text)?;
    let there: toml::Table = toml::from_str(text).map_err(|e| CardError::Syntax(e.to_string()))?;
    let answered = |question: &Question| match question.table {
        "" => there.contains_key(question.name),
        table => there
            .get(table)
            .and_then(toml::Value::as_table)
            .is_some_and(|table| table.contains_key(question.name)),
    };
    Ok((0..QUESTIONS.len())
        .filter(|place| !answered(&QUESTIONS[*place]))
        .collect())
}

/// `41-11`, `11 x 41`, `41/11`: the teeth of both gears, the ring gear's first.
pub(crate) fn both_teeth(answer: &str) -> Option<[String; 2]> {
    let parts: Vec<&str> = answer
        .split(|c: char| !c.is_ascii_digit())
        .filter(|part| !part.is_empty())
        .collect();
    let marks = answer.chars().filter(|c| !c.is_ascii_digit());
    let [one, other] = parts.as_slice() else {
        return None;
    };
    if !marks.into_iter().all(|c| " -x×/:,".contains(c)) {
        return None;
    }
    let (a, b) = (one.parse::<u32>().ok()?, other.parse::<u32>().ok()?);
    Some([a.max(b).to_string(), a.min(b).to_string()])
}

/// A card's text with more answers in it; what stood there stays as it was.
///
/// # Errors
/// As [`written`].
pub(crate) fn completed(
    text: &str,
    answers: &BTreeMap<usize, String>,
) -> Result<String, CardError> {
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    for (place, answer) in answers {
        let question = &QUESTIONS[*place];
        let Some(key) = question.key() else { continue };
        let header = |line: &str| {
            let line = line.split('#').next().unwrap_or_default().trim();
            line.strip_prefix('[')
                .and_then(|l| l.strip_suffix(']'))
                .map(|name| name.trim().to_owned())
        };
        let entry = entry(question, key, answer)?;
        let start = if question.table.is_empty() {
            Some(0)
        } else {
            let at = lines
                .iter()
                .position(|line| header(line).as_deref() == Some(question.table));
            at.map(|at| at + 1)
        };
        match start {
            Some(start) => {
                let next = lines[start..]
                    .iter()
                    .position(|line| header(line).is_some());
                let mut end = next.map_or(lines.len(), |n| start + n);
                while end > start && lines[end - 1].trim().is_empty() {
                    end -= 1;
                }
                lines.splice(end..end, entry.lines().map(str::to_owned));
            }
            None => {
                lines.push(String::new());
                lines.push(format!("[{}]", question.table));
                lines.extend(entry.lines().map(str::to_owned));
            }
        }
    }
    let text = lines.join("\n") + "\n";
    Card::from_toml(&text)?;
    Ok(text)
}

/// The lines of a card for one answer, with its question as a comment.
fn entry(question: &Question, key: &Key, answer: &str) -> Result<String, CardError> {
    let value = answer_value(key, answer)?;
    Ok(format!(
        "# {}\n#   {}\n{} = {}\n",
        question.ask,
        question.find,
        question.name,
        toml_value(&key.kind, &value)
    ))
}

impl Question {
    fn key(&self) -> Option<&'static Key> {
        keys().find(|key| key.table == self.table && key.name == self.name)
    }

    /// Whether a card without it is refused.
    pub(crate) fn required(&self) -> bool {
        self.key().is_some_and(|key| key.required)
    }
}

/// The card as TOML with its comments; `answers` by the question's place in [`QUESTIONS`]. It is read once the way any
/// card is, so that what is saved can be used.
///
/// # Errors
/// Answers that do not go together, or a needed one that is missing.
pub(crate) fn written(answers: &BTreeMap<usize, String>) -> Result<String, CardError> {
    let mut text = String::from(
        "# A gear set, its limits, and where its shims sit. Limits and torques are those of the axle's manual.\n",
    );
    let mut table = "";
    for (number, question) in QUESTIONS.iter().enumerate() {
        let (Some(answer), Some(key)) = (answers.get(&number), question.key()) else {
            continue;
        };
        if question.table != table {
            table = question.table;
            text += &format!("\n[{table}]\n");
        }
        text += &entry(question, key, answer)?;
    }
    Card::from_toml(&text)?;
    Ok(text)
}

/// An answer written on one line as the value a card holds: windows and lists with commas (or `to`).
///
/// # Errors
/// What a card would say of the value.
pub(crate) fn answer_value(key: &Key, answer: &str) -> Result<Value, CardError> {
    let parts = || -> Vec<Value> {
        listed(&answer.replace(" to ", " ; "))
            .map(|part| Value::String(part.to_owned()))
            .collect()
    };
    let number = || answer.parse::<f64>().ok().and_then(Number::from_f64);
    let value = match key.kind {
        Kind::Text | Kind::Length(..) | Kind::Choice(..) => Value::String(answer.to_owned()),
        Kind::Count(..) => match answer.parse::<u32>() {
            Ok(count) => Value::from(count),
            Err(_) => Value::String(answer.to_owned()),
        },
        Kind::Lengths(..) => Value::Array(parts().into_iter().map(counted).collect()),
        Kind::Window(..) | Kind::TorqueWindow(..) | Kind::Counts(..) => Value::Array(parts()),
        Kind::Number(..) | Kind::Degrees(..) => {
            number().map_or_else(|| Value::String(answer.to_owned()), Value::Number)
        }
        Kind::Flank(..) => {
            let mut point = Map::new();
            for (name, part) in ["length", "height"].into_iter().zip(answer.split(',')) {
                if let Some(share) = part.trim().parse().ok().and_then(Number::from_f64) {
                    point.insert(name.to_owned(), Value::Number(share));
                }
            }
            Value::Object(point)
        }
    };
    let unit_in_key = matches!(key.kind, Kind::Degrees(..));
    match sizes_and_counts(key, &value)? {
        Some((sizes, _)) => read_value(key, &sizes, unit_in_key)?,
        None => read_value(key, &value, unit_in_key)?,
    };
    Ok(value)
}

/// `2 x 0.003in` or `0.003in x 2` as a shim with how many there are of it; anything else as it was.
fn counted(part: Value) -> Value {
    let text = part.as_str().unwrap_or_default();
    let Some((left, right)) = text.split_once(['x', '×']) else {
        return part;
    };
    let (left, right) = (left.trim(), right.trim());
    let (size, count) = match (left.parse::<u32>(), right.parse::<u32>()) {
        (Ok(count), Err(_)) => (right, count),
        (Err(_), Ok(count)) => (left, count),
        _ => return part,
    };
    json!({"size": size, "count": count})
}

/// Whether an answer could stand in a card.
///
/// # Errors
/// What a card would say of the value; a key that a card does not have.
pub(crate) fn check_answer(table: &str, name: &str, answer: &str) -> Result<(), CardError> {
    match keys().find(|key| key.table == table && key.name == name) {
        Some(key) => answer_value(key, answer).map(|_| ()),
        None => Err(unknown(table, name)),
    }
}

fn toml_value(kind: &Kind, value: &Value) -> String {
    match (kind, value) {
        (Kind::Flank(..), Value::Object(parts)) => format!(
            "{{length = {}, height = {}}}",
            parts.get("length").unwrap_or(&Value::Null),
            parts.get("height").unwrap_or(&Value::Null)
        ),
        (Kind::Lengths(..), Value::Array(items)) if items.iter().any(Value::is_object) => {
            let shims: Vec<String> = items
                .iter()
                .map(|shim| format!("{{size = {}, count = {}}}", shim["size"], shim["count"]))
                .collect();
            format!("[{}]", shims.join(", "))
        }
        // JSON's strings, numbers and lists of them are also TOML's.
        _ => value.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schema::{MarkSense, MarkUnit};

    fn answers(list: &[(&str, &str)]) -> BTreeMap<usize, String> {
        list.iter()
            .map(|(name, answer)| {
                let number = QUESTIONS.iter().position(|q| q.name == *name).unwrap();
                (number, (*answer).to_owned())
            })
            .collect()
    }

    const NEEDED: [(&str, &str); 7] = [
        ("ring_teeth", "41"),
        ("pinion_teeth", "11"),
        ("ring_diameter", "8.0in"),
        ("face_width", "1.2in"),
        ("offset", "1.4in"),
        ("spiral_angle_deg", "31"),
        ("cutting", "face-milled"),
    ];

    #[test]
    fn every_question_is_a_key_and_every_needed_key_a_question() {
        assert!(QUESTIONS.iter().all(|q| q.key().is_some()));
        for key in keys().filter(|key| key.required) {
            assert!(
                QUESTIONS
                    .iter()
                    .any(|q| q.table == key.table && q.name == key.name),
                "{}",
                key.name
            );
        }
    }

    #[test]
    fn answers_become_a_card_with_comments() {
        let mut all = NEEDED.to_vec();
        all.extend([
            ("name", "Larchfield \"eight inch\""),
            ("backlash", "0.006in, 0.010in"),
            ("pinion_torque_new", "12 lb-in to 15 lb-in"),
            ("mark_unit", "0.01mm"),
            ("mark_sense", "plus is thinner"),
            ("pinion_shims", "0.003in, 0.005in,0.010in"),
        ]);
        let text = written(&answers(&all)).unwrap();
        assert!(text.contains("# Backlash window"), "{text}");
        let card = Card::from_toml(&text).unwrap();
        assert_eq!(card.name, "Larchfield \"eight inch\"");
        assert_eq!(card.gear.ring_diameter_mm, 203.2);
        assert_eq!(card.pinion.mark_unit, Some(MarkUnit::Hundredth));
        assert_eq!(card.pinion.mark_sense, Some(MarkSense::PlusThinner));
        assert_eq!(card.kit.pinion_shims_mm.len(), 3);
        assert!((card.limits.pinion_torque_new_nm.unwrap()[0] - 12.0 * 0.112_984_8).abs() < 1e-6);
    }

    #[test]
    fn teeth_are_taken_as_they_are_stamped() {
        for text in ["41-11", "11 x 41", "41/11", "11×41", "41:11"] {
            let [ring, pinion] = both_teeth(text).unwrap();
            assert_eq!((ring.as_str(), pinion.as_str()), ("41", "11"), "{text}");
        }
        for text in ["41", "many", "41.5", "41-11-3", "3.73 41"] {
            assert_eq!(both_teeth(text), None, "{text}");
        }
    }

    #[test]
    fn the_short_form_asks_eight_things_and_the_rest_can_be_added_later() {
        let short = asked(true);
        // The teeth of both gears are one question.
        assert_eq!(short.len() - 1, 8);
        let mut all = NEEDED.to_vec();
        all.push(("shim_place", "under cage"));
        let text = written(&answers(&all)).unwrap();
        let open = left_open(&text).unwrap();
        assert_eq!(open.len() + all.len(), QUESTIONS.len());
        let later = answers(&[
            ("backlash", "0.006in, 0.010in"),
            ("pinion_nut_torque", "145lb-ft, 160lb-ft"),
            ("name", "Larchfield"),
            ("preload", "sleeve"),
        ]);
        let text = text.replace("offset =", "# measured twice\noffset =");
        let more = completed(&text, &later).unwrap();
        let card = Card::from_toml(&more).unwrap();
        assert_eq!(card.name, "Larchfield");
        assert_eq!(card.limits.backlash_mm.unwrap()[1], 0.254);
        assert_eq!(card.pinion.preload, crate::schema::Preload::Sleeve);
        assert!(more.contains("# measured twice"), "{more}");
        assert!(completed(&text, &answers(&[("backlash", "0.006in")])).is_err());
    }

    #[test]
    fn a_kit_may_be_answered_with_how_many_there_are_of_each_shim() {
        let mut all = NEEDED.to_vec();
        all.push(("side_shims", "2 x 0.003in, 0.005in x4, 1×0.76mm"));
        let text = written(&answers(&all)).unwrap();
        let kit = Card::from_toml(&text).unwrap().kit;
        assert_eq!(kit.side_shim_counts, [2, 4, 1]);
        assert!((kit.side_shims_mm[2] - 0.76).abs() < 1e-9);
        for (answer, part) in [
            ("2 x 0.003in, 0.005in", "every shim"),
            ("2 x 0.003", "no unit"),
            ("400 x 0.003in", "whole number from 0 to 99"),
        ] {
            let error = check_answer("kit", "side_shims", answer)
                .unwrap_err()
                .to_string();
            assert!(error.contains(part), "{answer}: {error}");
        }
    }

    #[test]
    fn answers_that_cannot_be_are_refused_with_what_would_do() {
        for (table, name, answer, part) in [
            ("gear", "ring_teeth", "many", "whole number"),
            ("gear", "ring_diameter", "8.0", "no unit"),
            (
                "gear",
                "cutting",
                "face-miled",
                "nearest is \"face-milled\"",
            ),
            ("limits", "backlash", "0.006in", "low then high"),
            (
                "limits",
                "pinion_nut_torque",
                "150lb-in, 160lb-in",
                "outside",
            ),
            ("pinion", "mark_unit", "mm", "must be one of"),
        ] {
            let error = check_answer(table, name, answer).unwrap_err().to_string();
            assert!(error.contains(part), "{name}: {error}");
        }
        assert!(written(&answers(&NEEDED[1..])).is_err());
    }
}
