//! The closing list: what must have been done before the axle goes back on the road.

use crate::schema::Card;
use crate::schema::record::Item;
use crate::setup::SetupError;
use crate::setup::usual::{BOLT, PINION_NUT, ROTATING, TOTAL_ROTATING, Usual};
use crate::units::{AsWritten, Shown, Torque};

/// What an item's value is.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Value {
    /// A torque with a usual range.
    Torque(Usual),
    /// Any words, or none.
    Words,
}

impl Item {
    /// All of them in order.
    pub(crate) const ALL: [Self; 12] = [
        Self::FinalBearings,
        Self::SealAndNut,
        Self::ThreadLocker,
        Self::RingBolts,
        Self::CapBolts,
        Self::PinionNut,
        Self::PinionTorque,
        Self::TotalTorque,
        Self::Locks,
        Self::Oil,
        Self::LeakCheck,
        Self::BreakIn,
    ];

    /// How the command line names it.
    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::FinalBearings => "final-bearings",
            Self::SealAndNut => "seal-and-nut",
            Self::ThreadLocker => "thread-locker",
            Self::RingBolts => "ring-bolts",
            Self::CapBolts => "cap-bolts",
            Self::PinionNut => "pinion-nut",
            Self::PinionTorque => "pinion-torque",
            Self::TotalTorque => "total-torque",
            Self::Locks => "locks",
            Self::Oil => "oil",
            Self::LeakCheck => "leak-check",
            Self::BreakIn => "break-in",
        }
    }

    /// What is to be done.
    pub(crate) const fn asks(self) -> &'static str {
        match self {
            Self::FinalBearings => "Final bearings pressed on, set-up bearings out",
            Self::SealAndNut => "New seal, new nut or new sleeve",
            Self::ThreadLocker => "Ring-gear bolts clean, thread locker on",
            Self::RingBolts => "Ring-gear bolts at their torque",
            Self::CapBolts => "Cap bolts at their torque, caps on their own sides",
            Self::PinionNut => "Pinion nut at its torque",
            Self::PinionTorque => "Pinion's rotating torque with the final parts",
            Self::TotalTorque => "Torque to turn pinion and carrier together",
            Self::Locks => "Locks of adjusters, caps and nut in place",
            Self::Oil => "Filled with the oil the manual asks for",
            Self::LeakCheck => "Dry after standing overnight",
            // Common practice: 15–20 gentle miles, oil at 500 miles, no towing before, no source.
            Self::BreakIn => {
                "Owner told: 15 to 20 gentle miles, cool down, oil change at 500 miles, no towing before"
            }
        }
    }

    /// What its value is.
    pub(crate) const fn value(self) -> Value {
        match self {
            Self::RingBolts | Self::CapBolts => Value::Torque(BOLT),
            Self::PinionNut => Value::Torque(PINION_NUT),
            Self::PinionTorque => Value::Torque(ROTATING),
            Self::TotalTorque => Value::Torque(TOTAL_ROTATING),
            _ => Value::Words,
        }
    }

    /// The card's window for it.
    pub(crate) fn window_nm(self, card: &Card, used_bearings: bool) -> Option<[f64; 2]> {
        match self {
            Self::RingBolts => card.limits.ring_bolt_torque_nm,
            Self::CapBolts => card.limits.cap_bolt_torque_nm,
            Self::PinionNut => card.limits.pinion_nut_torque_nm,
            Self::PinionTorque if used_bearings => card.limits.pinion_torque_used_nm,
            Self::PinionTorque => card.limits.pinion_torque_new_nm,
            Self::TotalTorque => card.limits.total_torque_nm,
            _ => None,
        }
    }
}

/// Checks the value of an item and says how it stands to the card's window.
///
/// # Errors
/// A torque without its unit, missing, or probably meant otherwise.
pub(crate) fn check(
    item: Item,
    value: Option<&str>,
    window_nm: Option<[f64; 2]>,
    as_written: bool,
    shown: &Shown,
) -> crate::Result<Option<String>> {
    let Value::Torque(usual) = item.value() else {
        return Ok(None);
    };
    let text = value.ok_or_else(|| {
        SetupError::Missing(format!(
            "{}: give the torque that was used, as --value 55lb-ft",
            item.word()
        ))
    })?;
    let said: AsWritten<Torque> = text
        .parse()
        .map_err(|error: crate::units::UnitError| SetupError::Impossible(error.to_string()))?;
    let nm = usual.check(&said, as_written)?;
    Ok(window_nm.and_then(|window| {
        let is = crate::setup::verdict(nm, window);
        (is != "within").then(|| {
            format!(
                "{} is {is} the card's {} to {}. Look again before you drive it.",
                shown.torque(nm),
                shown.torque(window[0]),
                shown.torque(window[1])
            )
        })
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::ValueEnum as _;

    #[test]
    fn every_item_is_named_as_the_command_line_names_it() {
        assert_eq!(Item::ALL.len(), Item::value_variants().len());
        for item in Item::ALL {
            let name = item.to_possible_value().unwrap().get_name().to_owned();
            assert_eq!(name, item.word());
        }
    }

    #[test]
    fn a_nut_at_pound_inches_is_asked_back_and_a_low_one_remarked() {
        let shown = Shown::default();
        let error = check(Item::PinionNut, Some("150 lb-in"), None, false, &shown).unwrap_err();
        assert!(error.to_string().contains("150 lb-ft"), "{error}");
        let low = check(
            Item::RingBolts,
            Some("40lb-ft"),
            Some([67.0, 75.0]),
            false,
            &shown,
        );
        assert!(low.unwrap().unwrap().contains("below"));
        assert!(check(Item::CapBolts, None, None, false, &shown).is_err());
        assert!(
            check(Item::Oil, None, None, false, &shown)
                .unwrap()
                .is_none()
        );
    }
}
