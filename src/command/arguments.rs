//! Makes of what people type what the options understand: `30 thou` in two words, the trade's words, capitals,
//! numbers below nought.

use crate::trade_words::understood;
use crate::units::{Angle, AsWritten, Force, Length, Measured, Torque};
use clap::Command;
use clap::builder::PossibleValue;
use std::any::TypeId;
use std::collections::VecDeque;
use std::ffi::OsString;

/// The command with options that take numbers below nought where a number is asked for.
pub(super) fn with_negatives(command: Command) -> Command {
    let numbers = [
        TypeId::of::<Length>(),
        TypeId::of::<Torque>(),
        TypeId::of::<Force>(),
        TypeId::of::<Angle>(),
        TypeId::of::<AsWritten<Length>>(),
        TypeId::of::<AsWritten<Torque>>(),
        TypeId::of::<f64>(),
        TypeId::of::<i32>(),
    ];
    command
        .mut_args(|arg| {
            let number = numbers
                .iter()
                .any(|one| arg.get_value_parser().type_id() == *one);
            // A positional number would swallow the options behind it.
            if number && arg.get_long().is_some() {
                arg.allow_hyphen_values(true)
            } else {
                arg
            }
        })
        .mut_subcommands(with_negatives)
}

/// The arguments as the options understand them.
pub(super) fn understood_arguments(root: &Command, typed: Vec<OsString>) -> Vec<OsString> {
    let mut rest: VecDeque<OsString> = joined(typed).into();
    let mut out: Vec<OsString> = rest.pop_front().into_iter().collect();
    let mut command = root;
    while let Some(argument) = rest.pop_front() {
        let Some(text) = argument.to_str() else {
            out.push(argument);
            continue;
        };
        if text == "--" {
            out.push(argument);
            out.extend(rest);
            break;
        }
        if let Some(option) = text.strip_prefix("--") {
            let (name, said) = match option.split_once('=') {
                Some((name, said)) => (name, Some(said)),
                None => (option, None),
            };
            let words = words_of(root, command, name);
            match (said, words.is_empty()) {
                (Some(said), false) => {
                    out.push(format!("--{name}={}", word(name, said, &words)).into())
                }
                (None, false) => {
                    out.push(argument.clone());
                    if let Some(said) = rest.pop_front() {
                        out.push(match said.to_str() {
                            Some(said) => word(name, said, &words).into(),
                            None => said,
                        });
                    }
                }
                _ => out.push(argument),
            }
            continue;
        }
        if let Some(next) = command.find_subcommand(text) {
            command = next;
        }
        out.push(argument);
    }
    out
}

/// The words an option takes; none for an option of another kind.
fn words_of(root: &Command, command: &Command, name: &str) -> Vec<String> {
    let of = |command: &Command| {
        let arg = command
            .get_arguments()
            .find(|arg| arg.get_long() == Some(name))?;
        let takes = arg.get_num_args().is_none_or(|count| count.takes_values());
        let values = arg.get_possible_values();
        takes.then(|| {
            values
                .iter()
                .map(PossibleValue::get_name)
                .map(str::to_owned)
                .collect()
        })
    };
    of(command).or_else(|| of(root)).unwrap_or_default()
}

fn word(option: &str, said: &str, words: &[String]) -> String {
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    understood(&option.replace('-', "_"), said, &words)
        .unwrap_or(said)
        .to_owned()
}

/// Numbers and their units that stand in two or three words put together: `30 thou`, `14 lb in`.
fn joined(typed: Vec<OsString>) -> Vec<OsString> {
    let mut out: Vec<OsString> = Vec::with_capacity(typed.len());
    let mut at = 0;
    while let Some(argument) = typed.get(at) {
        let text = |place: usize| typed.get(place).and_then(|argument| argument.to_str());
        let together = text(at)
            .filter(|number| ends_in_bare_number(number))
            .and_then(|number| {
                [2, 1].into_iter().find_map(|more| {
                    let unit: Option<Vec<&str>> = (at + 1..=at + more).map(text).collect();
                    let unit = unit?.join(" ");
                    is_unit(&unit).then(|| (format!("{number} {unit}"), more))
                })
            });
        match together {
            Some((whole, more)) => {
                out.push(whole.into());
                at += 1 + more;
            }
            None => {
                out.push(argument.clone());
                at += 1;
            }
        }
    }
    out
}

/// `30`, `-.5`, `--shim=30`, `0.080in=14`.
fn ends_in_bare_number(text: &str) -> bool {
    let number = text.rsplit_once('=').map_or(text, |(_, number)| number);
    number.ends_with(|c: char| c.is_ascii_digit())
        && number
            .chars()
            .all(|c| c.is_ascii_digit() || "+-.,/".contains(c))
}

fn is_unit(text: &str) -> bool {
    fn of<T: Measured>(text: &str) -> bool {
        format!("1{text}").parse::<T>().is_ok()
    }
    // A bare sign or digits would make a longer number of the one before.
    text.starts_with(|c: char| c.is_alphabetic() || c == '"' || c == '°')
        && (of::<Length>(text) || of::<Torque>(text) || of::<Force>(text) || of::<Angle>(text))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::command::program;

    fn made_of(typed: &str) -> String {
        let typed = std::iter::once("flankread")
            .chain(typed.split(' '))
            .map(OsString::from);
        let root = with_negatives(program());
        let made = understood_arguments(&root, typed.collect());
        let made: Vec<&str> = made
            .iter()
            .skip(1)
            .map(|one| one.to_str().unwrap())
            .collect();
        made.join("|")
    }

    #[test]
    fn numbers_and_units_in_several_words_are_put_together() {
        assert_eq!(
            made_of("read --backlash 11 thou --pinion-shim .5 mm a.jpg"),
            "read|--backlash|11 thou|--pinion-shim|.5 mm|a.jpg"
        );
        assert_eq!(
            made_of("setup torque --pinion=14 lb in --json"),
            "setup|torque|--pinion=14 lb in|--json"
        );
        assert_eq!(
            made_of("setup preload --trial 80thou=14 lb-in"),
            "setup|preload|--trial|80thou=14 lb-in"
        );
        // Counts, seeds and photos stay alone.
        assert_eq!(
            made_of("read --ring-teeth 41 in.jpg"),
            "read|--ring-teeth|41|in.jpg"
        );
        assert_eq!(
            made_of("read --ring-teeth 41 12 mm"),
            "read|--ring-teeth|41|12 mm"
        );
    }

    #[test]
    fn the_trades_words_become_the_options() {
        assert_eq!(
            made_of("setup fasteners M12 --state Zinc"),
            "setup|fasteners|M12|--state|plated"
        );
        assert_eq!(
            made_of("read --flank=DRIVE a.jpg"),
            "read|--flank=drive|a.jpg"
        );
        assert_eq!(
            made_of("setup sum 1mm --units Inches"),
            "setup|sum|1mm|--units|in"
        );
        assert_eq!(
            made_of("read --flank sideways -- --flank RH"),
            "read|--flank|sideways|--|--flank|RH"
        );
    }
}
