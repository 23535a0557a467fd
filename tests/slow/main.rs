//! Hundreds of processes and tens of thousands of files. `cargo test` leaves these out; `cargo test --release --test slow`
//! runs them, and so does `.ci/run`.

#[path = "../common/mod.rs"]
mod common;

mod job_kill;
mod large_tree;
