//! The sum of a pack's shims, against what the stack measures.

use super::{Answer, SetupError, StationResult, Step};
use crate::units::Shown;
use schemars::JsonSchema;
use serde::Serialize;

/// A pack stacked from single shims, against what the whole measured.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(crate) struct Sum {
    /// The shims.
    pub shims_mm: Vec<f64>,
    /// Their sum.
    pub total_mm: f64,
    /// What the stack measured as a whole.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub measured_mm: Option<f64>,
}

/// A stack measures more than its shims when dirt or burrs are between them, mm (0.0005 in a shim at most; common practice, no source).
const STACK_SLACK_MM: f64 = 0.0127;

/// Sums up shims.
///
/// # Errors
/// No shim.
pub(crate) fn sum(shims_mm: &[f64], measured_mm: Option<f64>) -> Result<Sum, SetupError> {
    if shims_mm.is_empty() {
        return Err(SetupError::Missing(
            "give the shims of the pack, each with its unit".into(),
        ));
    }
    Ok(Sum {
        shims_mm: shims_mm.to_vec(),
        total_mm: shims_mm.iter().sum(),
        measured_mm,
    })
}

/// The answer in words.
pub(crate) fn sum_answer(sum: &Sum, shown: &Shown) -> Answer {
    let mut answer = Answer::new(
        StationResult::Sum(sum.clone()),
        format!("The pack is {}.", shown.shim(sum.total_mm)),
    );
    let parts: Vec<String> = sum.shims_mm.iter().map(|mm| shown.shim(*mm)).collect();
    answer.steps.push(Step::new(
        "pack",
        "sum of the shims",
        parts.join(" + "),
        shown.shim(sum.total_mm),
    ));
    if let Some(measured) = sum.measured_mm {
        let off = measured - sum.total_mm;
        answer.steps.push(Step::new(
            "check",
            "measured − sum",
            format!("{} − {}", shown.shim(measured), shown.shim(sum.total_mm)),
            shown.signed_shim(off),
        ));
        if off.abs() > STACK_SLACK_MM * sum.shims_mm.len() as f64 {
            answer.cautions.push("The stack does not measure what its shims add up to: clean them, look for burrs, and measure each one.".into());
        }
    }
    answer
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pack_is_the_sum_of_its_shims() {
        let thou = 0.0254;
        let pack = sum(&[30.0 * thou, 5.0 * thou, 2.0 * thou], Some(40.0 * thou)).unwrap();
        assert!((pack.total_mm / thou - 37.0).abs() < 1e-9);
        let answer = sum_answer(&pack, &Shown::default());
        assert!(
            answer
                .cautions
                .iter()
                .any(|caution| caution.contains("burrs"))
        );
        assert!(sum(&[], None).is_err());
    }

    #[test]
    fn a_pack_that_measures_more_is_off_by_so_much_more() {
        let pack = sum(&[0.5, 0.25], Some(0.80)).unwrap();
        let answer = sum_answer(&pack, &Shown::default());
        let check = answer
            .steps
            .iter()
            .find(|step| step.what == "check")
            .unwrap();
        assert!(check.result.contains("0.05"), "{check:?}");
    }
}
