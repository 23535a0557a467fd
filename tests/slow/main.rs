//! Hundreds of processes, tens of thousands of files, dozens of photos. `cargo test` leaves these out; `cargo test --release --test slow`
//! runs them, and so does `.ci/run`.

#[path = "../common/mod.rs"]
mod common;

mod bare;
mod batch;
mod example_job;
mod golden;
mod hidden_ends;
mod job_kill;
mod large_tree;
mod schemas;
