//! `flankread worker`: requests on standard input, answers on standard output, a line each.

use super::Outcome;
use crate::Result;
use crate::batch::fetch::Fetcher;
use crate::batch::worker::serve;
use clap::Args;

/// Answers one request a line, for programs that spread work over processes and machines.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: echo '{\"id\":1,\"photo\":\"drive.jpg\",\"flank\":\"drive\"}' | flankread worker

A request is a JSON object on one line: photo (a path, or s3://, gs://, az:// and file://
where the program was built with the feature `cloud`), and if wanted id, flank, toe,
polarity, drives_on, mirrored, marks (a path or the marks themselves), card (a path or the card).
Each line gets one answer, in order: id and line, and reading or error. Errors of kind
`fetch` may go away when asked again; the others will not. One worker uses one core: start
as many as there are cores."
)]
pub(super) struct Worker {}

impl Worker {
    /// Answers until the input ends.
    ///
    /// # Errors
    /// Standard input or output breaks.
    pub(super) fn run(&self) -> Result<Outcome> {
        let served = serve(
            std::io::stdin().lock(),
            std::io::stdout().lock(),
            &mut Fetcher::default(),
        )?;
        Ok(if served.lines > 0 && served.readable == 0 {
            Outcome::NothingReadable
        } else {
            Outcome::Answered
        })
    }
}
