//! How easily a thread turns: nut factors by its state, each with where it was read.

use super::threads::Thread;
use schemars::JsonSchema;
use serde::Serialize;

/// What is known of a thread's friction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Friction {
    /// Nut factor K in `T = K D F`.
    NutFactor(f64),
    /// Coefficient of friction of thread and head alike.
    Coefficient(f64),
    /// A usual state of the thread.
    State(ThreadState),
}

/// A nut factor and the custom it comes from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub(crate) struct Custom {
    /// Nut factor.
    pub nut_factor: f64,
    /// Where it was read.
    pub source: &'static str,
}

/// Usual states of a thread.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema, clap::ValueEnum)]
#[serde(rename_all = "snake_case")]
pub(crate) enum ThreadState {
    /// Plain and dry: K 0.20.
    Dry,
    /// Zinc plated, dry: K 0.16 to 0.18, by two customs.
    Plated,
    /// A little oil: K 0.18.
    Oiled,
    /// Lubricated: K 0.15.
    Lubricated,
    /// Waxed: K 0.10.
    Waxed,
}

const TABLE: &str = "IFI N-68 on 75 % of proof, as quoted";

const fn of(nut_factor: f64, source: &'static str) -> Custom {
    Custom { nut_factor, source }
}

const DRY: &[Custom] = &[of(0.20, TABLE)];
const PLATED: &[Custom] = &[
    of(
        0.16,
        "dry less 20 % for plating, TM 9-2320-362-14&P appendix F",
    ),
    of(0.18, TABLE),
];
const OILED: &[Custom] = &[of(
    0.18,
    "dry less 10 % for oil, TM 9-2320-362-14&P appendix F, and IFI N-68, as quoted, alike",
)];
const LUBRICATED: &[Custom] = &[of(0.15, TABLE)];
const WAXED: &[Custom] = &[of(0.10, "common practice, no source")];

impl ThreadState {
    /// The customs for it, the slipperiest first: that one is worked with, for it asks the least torque for a tension
    /// and finds the most tension in a torque.
    pub(crate) const fn customs(self) -> &'static [Custom] {
        match self {
            Self::Dry => DRY,
            Self::Plated => PLATED,
            Self::Oiled => OILED,
            Self::Lubricated => LUBRICATED,
            Self::Waxed => WAXED,
        }
    }
}

impl Friction {
    /// The nut factor to work with.
    ///
    /// `K = (P / 2π + d₂ μ / (2 cos 30°) + ½ D_b μ) / D`: wedge, flanks of a 60° thread, head; the head bearing at
    /// `D_b = 1.3 D` is from memory and printed so.
    pub(crate) fn nut_factor(self, thread: &Thread) -> f64 {
        match self {
            Self::NutFactor(k) => k,
            Self::Coefficient(mu) => {
                (0.159 * thread.pitch_mm
                    + 0.578 * thread.pitch_diameter_mm() * mu
                    + 0.5 * 1.3 * thread.diameter_mm * mu)
                    / thread.diameter_mm
            }
            Self::State(state) => state.customs()[0].nut_factor,
        }
    }

    /// The customs a state goes by; none for a number that was given.
    pub(crate) const fn customs(self) -> &'static [Custom] {
        match self {
            Self::State(state) => state.customs(),
            Self::NutFactor(_) | Self::Coefficient(_) => &[],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::ValueEnum as _;

    #[test]
    fn the_slipperiest_custom_stands_first() {
        for state in ThreadState::value_variants() {
            let customs = state.customs();
            assert!(
                customs
                    .iter()
                    .all(|custom| custom.nut_factor >= customs[0].nut_factor)
            );
        }
    }

    /// TM 9-2320-362-14&P appendix F: oiled 10 % less than dry, plated 20 % less.
    #[test]
    fn oil_and_plating_take_off_what_the_manual_says() {
        let first = |state: ThreadState| state.customs()[0].nut_factor;
        let dry = first(ThreadState::Dry);
        assert!((first(ThreadState::Oiled) - 0.9 * dry).abs() < 1e-12);
        assert!((first(ThreadState::Plated) - 0.8 * dry).abs() < 1e-12);
    }

    /// A friction of 0.15 gives a nut factor of about 0.2 on usual threads (rule of thumb, from memory).
    #[test]
    fn friction_as_a_coefficient() {
        let k = Friction::Coefficient(0.15).nut_factor(&Thread::parse("M12").unwrap());
        assert!((k - 0.20).abs() < 0.015, "{k}");
    }
}
