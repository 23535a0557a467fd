//! What to mind, whatever the verdict.

use super::calibration::CALIBRATION;
use super::explain::SAFETY;
use crate::frames::Side;
use crate::schema::{Advice, Card, Condition, Cutting, Preload, Trial};
use crate::units::Units;

/// Whether the coast patches differ in height from tooth to tooth far more than readings do and than the drive patches: a
/// radial shift of the ring gear moves the steeper coast flank's patch, an axial one both.
fn teeth_differ_in_coast_height(last: &Trial) -> bool {
    let spread = |side| last.reading(side).and_then(|r| r.spread).map(|s| s.height);
    let limits = &CALIBRATION.verdict;
    match (spread(Side::Drive), spread(Side::Coast)) {
        (Some(drive), Some(coast)) => {
            coast > limits.teeth_differ && coast > limits.more_than_drive * drive
        }
        _ => false,
    }
}

/// What to mind, whatever the verdict.
pub(crate) fn write(advice: &mut Advice, card: &Card, last: &Trial, units: Units) {
    let list = &mut advice.cautions;
    if card.limits.backlash_mm.is_none() {
        let [low, high] = card.backlash_window_mm();
        list.push(format!(
            "The card has no backlash window; {} to {} is only a usual value: check the manual of your \
             axle.",
            units.shim(low),
            units.shim(high)
        ));
    }
    let moved = advice.change.unwrap_or_default();
    if moved.pinion_mm != 0.0 {
        list.push(match card.pinion.preload {
            Preload::Shims => {
                "Check the pinion's rotating torque again after changing its pack; its preload \
                shims may have to follow."
                    .into()
            }
            Preload::Sleeve => {
                "Use a set-up spacer or a new collapsible sleeve; never back off an \
                over-crushed one."
                    .into()
            }
        });
    }
    if moved != crate::schema::Move::default() {
        list.push(
            "Measure backlash again before painting: a photo older than the change tells nothing."
                .into(),
        );
    }
    let windows = match last.bearings.or(last.condition) {
        Some(Condition::Used) => card.limits.pinion_torque_used_nm,
        _ => card.limits.pinion_torque_new_nm,
    };
    if let (Some(torque), Some([low, high])) = (last.pinion_torque_nm, windows)
        && !(low..=high).contains(&torque)
    {
        list.push(format!(
            "The pinion's rotating torque of {} is outside {} to {}: set the preload before trusting the \
             patch.",
            units.torque(torque),
            units.torque(low),
            units.torque(high)
        ));
    }
    if teeth_differ_in_coast_height(last) {
        list.push(
            "The coast patches stand at clearly different heights from tooth to tooth, the drive patches do not: a ring gear \
             that runs out radially shows so. Look for dirt or a burr on its seat and measure its run-out before shims are \
             chosen by these heights."
                .into(),
        );
    }
    if last.condition == Some(Condition::Used) {
        list.push(
            "Used gears are set to the pattern and backlash they ran with; elsewhere they howl."
                .into(),
        );
    }
    if card.gear.cutting == Cutting::FaceHobbed {
        list.push("A face-hobbed patch runs slanted; do not try to square it with shims.".into());
    }
    list.push(SAFETY.into());
}
