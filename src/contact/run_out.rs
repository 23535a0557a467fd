//! Bearing or back-face run-out: a once-per-turn axial move of the ring gear.

use super::{EaseOff, Misalignment, Model, State};
use std::f64::consts::TAU;

impl Model {
    /// The state at `places` equal steps of one turn of the ring gear, its axial place swinging by
    /// `run_out_mm` in all (total indicator reading at the mean radius' back face) about that of
    /// `misalignment`.
    pub fn turn_with_run_out(
        &self,
        misalignment: &Misalignment,
        ease_off: &[EaseOff; 2],
        film_mm: f64,
        run_out_mm: f64,
        places: usize,
    ) -> Vec<State> {
        (0..places)
            .map(|k| {
                let swing = 0.5 * run_out_mm * (TAU * k as f64 / places as f64).sin();
                let here = Misalignment {
                    ring_mm: misalignment.ring_mm + swing,
                    ..*misalignment
                };
                self.state(&here, ease_off, film_mm)
            })
            .collect()
    }
}
