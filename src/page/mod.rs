//! The page for the phone beside the axle: a small server on this machine, its files inside the program.
//!
//! [`gate`] says who may come in, [`serve`] takes connections, [`routes`] names every address once, for the server and for
//! [`openapi`]; a handler reads what it is given into types of our own and calls the rooms below. The page's own files
//! stand in `assets`; they use the addresses below `/api` and nothing else.

mod answer;
mod bench;
mod body;
#[cfg(test)]
mod browser_tests;
mod fields;
mod folder;
mod gate;
mod jobs;
mod learn;
mod openapi;
mod pages;
mod photo_answer;
mod photos;
mod queue;
mod routes;
mod serve;
#[cfg(test)]
mod tests;
mod told;

pub(crate) use bench::Settings;
pub(crate) use gate::Pass;
pub(crate) use serve::{Listening, own_addresses};
