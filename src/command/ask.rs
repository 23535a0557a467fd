//! Questions on standard error, answers a line each on standard input: from a person, or from a file.

use crate::{Error, Result};
use std::io::{BufRead as _, IsTerminal as _, Write as _};
use std::path::Path;

/// One answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Answer {
    /// Something was written.
    Said(String),
    /// An empty line.
    Skip,
    /// Back to the question before.
    Back,
    /// There are no more answers.
    Ended,
}

impl Answer {
    /// A line as it was written.
    fn of(line: &str) -> Self {
        match line.trim() {
            "" => Self::Skip,
            "<" | "back" => Self::Back,
            text => Self::Said(text.to_owned()),
        }
    }
}

/// Asks and listens.
pub(super) struct Asker {
    input: std::io::StdinLock<'static>,
    out: std::io::Stderr,
    /// Somebody types the answers.
    typed: bool,
}

impl Asker {
    pub(super) fn new() -> Self {
        Self {
            input: std::io::stdin().lock(),
            out: std::io::stderr(),
            typed: std::io::stdin().is_terminal(),
        }
    }

    /// Says something. A terminal that has gone away is no reason to lose the answers.
    pub(super) fn say(&mut self, text: &str) {
        let _ = self.out.write_all(text.as_bytes());
        let _ = self.out.flush();
    }

    /// The next answer.
    ///
    /// # Errors
    /// Standard input cannot be read.
    pub(super) fn answer(&mut self) -> Result<Answer> {
        self.say("\n  > ");
        let mut line = String::new();
        let read = self.input.read_line(&mut line);
        let length = read.map_err(|source| Error::input(Path::new("standard input"), source))?;
        if !self.typed {
            // An answer out of a file is shown, so that what was asked can be read afterwards.
            self.say(&format!("{}\n", line.trim_end()));
        }
        Ok(if length == 0 {
            Answer::Ended
        } else {
            Answer::of(&line)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_says_skips_or_goes_back() {
        assert_eq!(Answer::of("  \n"), Answer::Skip);
        assert_eq!(Answer::of("<\n"), Answer::Back);
        assert_eq!(Answer::of("back\r\n"), Answer::Back);
        assert_eq!(Answer::of(" 41 \n"), Answer::Said("41".into()));
    }
}
