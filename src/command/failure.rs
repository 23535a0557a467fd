//! What is said and printed when a command fails, and the exit status.

use super::terminal::{harmless, harmless_json};
use crate::schema::failure::{Failure, FailureKind, SCHEMA, status};
use crate::trade_words::misspelt;
use crate::{Error, ErrorKind};
use clap::error::{ContextKind, ContextValue};
use std::ffi::OsString;
use std::process::ExitCode;

/// Whether machines are to read what comes out; looked for in the arguments themselves, which may be wrong otherwise.
pub(super) fn asked_for_json(arguments: &[OsString]) -> bool {
    let options = arguments.iter().take_while(|argument| *argument != "--");
    options.into_iter().any(|argument| argument == "--json")
}

/// A command that could not be carried out.
pub(super) fn of_run(error: &Error, json: bool) -> ExitCode {
    let (kind, status) = match error.kind() {
        ErrorKind::Machine => (FailureKind::Machine, 3),
        ErrorKind::Input => (FailureKind::Input, 2),
    };
    for message in error.messages() {
        eprintln!("flankread: {}", harmless(&message));
    }
    if json {
        document(kind, error.messages(), status);
    }
    ExitCode::from(status)
}

/// Arguments that are not understood, or the help that was asked for.
pub(super) fn of_usage(mut error: clap::Error, arguments: &[OsString]) -> ExitCode {
    nearest_word(&mut error);
    // The reader may have gone away.
    let _ = error.print();
    if !error.use_stderr() {
        return ExitCode::SUCCESS;
    }
    if asked_for_json(arguments) {
        let text = error.render().to_string();
        // The usage and the way to the help are for people.
        let message = text.trim_start_matches("error: ");
        let end = ["\n\nUsage:", "\n\nFor more information"]
            .iter()
            .filter_map(|part| message.find(part))
            .min();
        let message = message[..end.unwrap_or(message.len())].trim().to_owned();
        document(FailureKind::Usage, vec![message], 2);
    }
    ExitCode::from(2)
}

/// Leaves a near word only where it was misspelt: the likeness of letters alone offers the opposite.
fn nearest_word(error: &mut clap::Error) {
    if error.remove(ContextKind::SuggestedValue).is_none() {
        return;
    }
    let (Some(ContextValue::String(said)), Some(ContextValue::Strings(words))) = (
        error.get(ContextKind::InvalidValue),
        error.get(ContextKind::ValidValue),
    ) else {
        return;
    };
    let nearest = misspelt(said, words.iter().map(String::as_str)).map(str::to_owned);
    if let Some(nearest) = nearest {
        error.insert(
            ContextKind::SuggestedValue,
            ContextValue::Strings(vec![nearest]),
        );
    }
}

/// One line, so that it may follow the lines of a batch.
fn document(kind: FailureKind, messages: Vec<String>, exit_status: u8) {
    let failure = Failure {
        schema: SCHEMA.to_owned(),
        status: status(),
        kind,
        messages,
        exit_status,
    };
    if let Ok(text) = serde_json::to_string(&failure) {
        // Nobody to read it changes nothing.
        let _ = super::print_as_is(&harmless_json(&format!("{text}\n")));
    }
}
