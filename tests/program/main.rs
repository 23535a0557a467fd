//! The whole program, one file a command or a concern; one binary, so that all of it is linked once.

#[path = "../common/mod.rs"]
mod common;

mod advise;
mod advise_on_the_bench;
mod advise_words;
mod bench;
mod cautions;
mod directions;
mod doctor;
mod hostile;
mod inputs;
mod job;
mod lesson;
mod machines;
mod mirrored;
mod mistakes;
mod one_photo;
mod page;
mod read;
mod readme;
mod setup;
mod simulate;
mod stations;
mod technicians_units;
