//! The closing list: what must have been done before the axle goes back on the road.

use super::limits::{range, rotating_window, total};
use crate::schema::record::{Item, Record};
use crate::setup::usual::{BOLT, PINION_NUT, ROTATING, TOTAL_ROTATING, Usual};
use crate::setup::{SetupError, verdict};
use crate::units::{AsWritten, Measured as _, Shown, Torque};

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
    pub(crate) const ALL: [Self; 17] = [
        Self::Slinger,
        Self::FinalBearings,
        Self::SealAndNut,
        Self::Washers,
        Self::ThreadLocker,
        Self::RingBolts,
        Self::CapSides,
        Self::CapBolts,
        Self::PinionNut,
        Self::PinionTorque,
        Self::TotalTorque,
        Self::Locks,
        Self::Magnet,
        Self::Vent,
        Self::Oil,
        Self::LeakCheck,
        Self::BreakIn,
    ];

    /// How the command line names it.
    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::Slinger => "slinger",
            Self::FinalBearings => "final-bearings",
            Self::SealAndNut => "seal-and-nut",
            Self::Washers => "washers",
            Self::ThreadLocker => "thread-locker",
            Self::RingBolts => "ring-bolts",
            Self::CapSides => "cap-sides",
            Self::CapBolts => "cap-bolts",
            Self::PinionNut => "pinion-nut",
            Self::PinionTorque => "pinion-torque",
            Self::TotalTorque => "total-torque",
            Self::Locks => "locks",
            Self::Magnet => "magnet",
            Self::Vent => "vent",
            Self::Oil => "oil",
            Self::LeakCheck => "leak-check",
            Self::BreakIn => "break-in",
        }
    }

    /// What is to be done. The small parts are those that are forgotten and cost a tear-down (common practice, no
    /// source).
    pub(crate) const fn asks(self) -> &'static str {
        match self {
            Self::Slinger => {
                "Oil slinger or baffle back in its place; between pinion head and bearing it is part of the pack"
            }
            Self::FinalBearings => "Final bearings pressed on, set-up bearings out",
            Self::SealAndNut => "New seal, new nut or new sleeve",
            Self::Washers => {
                "New crush washers in, and torque and preload read again once they were crushed"
            }
            Self::ThreadLocker => "Ring-gear bolts clean, thread locker on",
            Self::RingBolts => "Ring-gear bolts at their torque",
            Self::CapSides => "Caps on their own sides and the same way up, by their marks",
            Self::CapBolts => "Cap bolts at their torque",
            Self::PinionNut => "Pinion nut at its torque",
            Self::PinionTorque => "Pinion's rotating torque with the final parts",
            Self::TotalTorque => "Torque to turn pinion and carrier together",
            Self::Locks => "Locks of adjusters, caps and nut in place",
            Self::Magnet => "Magnet clean and back in its place",
            Self::Vent => "Vent clear",
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

    /// The limit in force for it.
    fn window_nm(self, record: &Record) -> Option<[f64; 2]> {
        let limits = &record.card.limits;
        match self {
            Self::RingBolts => limits.ring_bolt_torque_nm,
            Self::CapBolts => limits.cap_bolt_torque_nm,
            Self::PinionNut => limits.pinion_nut_torque_nm,
            Self::PinionTorque => rotating_window(&record.card, record.newest_bearings()),
            Self::TotalTorque => limits.total_torque_nm,
            _ => None,
        }
    }

    /// A torque of it in words: of a nut or bolt, or of what turns.
    fn words(self, nm: f64, shown: &Shown) -> String {
        match self {
            Self::RingBolts | Self::CapBolts | Self::PinionNut => shown.fastener(nm),
            _ => shown.torque(nm),
        }
    }

    /// Its limit in words.
    pub(crate) fn limit(self, record: &Record, shown: &Shown) -> Option<String> {
        let torque = |nm: f64| self.words(nm, shown);
        match (self, self.window_nm(record)) {
            (_, Some(window)) => Some(range(window, torque)),
            (Self::TotalTorque, None) => {
                let rise = record.card.limits.total_torque_rise_nm?;
                Some(format!("{} above the pinion's own", range(rise, torque)))
            }
            _ => None,
        }
    }
}

/// How an item stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Standing {
    /// Not done; what is written of it already and why that does not do.
    Open(Option<String>),
    /// Done.
    Done,
    /// Outside its limit, and a reason stands beside it.
    Outside(String),
}

/// How an item of a job stands, by what is written of it and the limits of the card.
pub(crate) fn standing(record: &Record, item: Item, shown: &Shown) -> Standing {
    let Some(tick) = record.closing.iter().find(|tick| tick.item == item) else {
        return Standing::Open(None);
    };
    let found = written_nm(record, item).and_then(|nm| outside(record, item, nm, shown));
    match found {
        None => Standing::Done,
        Some(says) if tick.because.is_empty() => Standing::Open(Some(says)),
        Some(says) => Standing::Outside(says),
    }
}

/// The torque that is written of an item.
fn written_nm(record: &Record, item: Item) -> Option<f64> {
    let tick = record.closing.iter().find(|tick| tick.item == item)?;
    match item.value() {
        Value::Torque(_) => Some(tick.value.parse::<Torque>().ok()?.inside()),
        Value::Words => None,
    }
}

/// How a torque stands outside the limits of its item; nothing where it is inside, or where there is none.
pub(crate) fn outside(record: &Record, item: Item, nm: f64, shown: &Shown) -> Option<String> {
    if item == Item::TotalTorque {
        let of_assembly = |a: &crate::schema::record::Assembly| a.trial.pinion_torque_nm;
        let pinion_nm = written_nm(record, Item::PinionTorque).or_else(|| {
            let mut built = record.counting().rev().filter(|a| !a.trial.as_found);
            built.find_map(of_assembly)
        });
        let found = total(&record.card, nm, pinion_nm, shown);
        return found.into_iter().next().map(|outside| outside.says);
    }
    let window = item.window_nm(record)?;
    let is = verdict(nm, window);
    (is != "within").then(|| {
        format!(
            "{} is {is} {}",
            item.words(nm, shown),
            range(window, |nm| item.words(nm, shown))
        )
    })
}

/// The torque of an item as a user gave it; nothing for an item that takes words.
///
/// # Errors
/// A torque without its unit, missing, or probably meant otherwise.
pub(crate) fn torque_nm(
    item: Item,
    value: Option<&str>,
    as_written: bool,
) -> crate::Result<Option<f64>> {
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
    Ok(Some(usual.check(&said, as_written)?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schema::Card;
    use crate::schema::record::{Head, SCHEMA, Tick};
    use crate::units::Units;
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
    fn a_nut_at_pound_inches_is_asked_back() {
        let error = torque_nm(Item::PinionNut, Some("150 lb-in"), false).unwrap_err();
        assert!(error.to_string().contains("150 lb-ft"), "{error}");
        assert!(torque_nm(Item::CapBolts, None, false).is_err());
        assert!(torque_nm(Item::Oil, None, false).unwrap().is_none());
    }

    /// The card of the example: ring bolts 49–54 lb-ft, nut 138–157 lb-ft, 11.5–14.5 lb-in, rise 2.5–5.5 lb-in.
    #[test]
    fn a_torque_outside_its_limit_stays_open_until_a_reason_stands_beside_it() {
        let tick = |item, value: &str, because: &str| Tick {
            item,
            at: String::new(),
            by: String::new(),
            value: value.into(),
            because: because.into(),
        };
        let mut record = Record {
            schema: SCHEMA.into(),
            head: Head::default(),
            card: Card::from_toml(include_str!("../../examples/larchfield/card.toml")).unwrap(),
            trials: Vec::new(),
            advice: Vec::new(),
            closing: vec![
                tick(Item::RingBolts, "85lb-ft", ""),
                tick(Item::PinionNut, "200 lb-ft", "the manual's supplement"),
                tick(Item::PinionTorque, "13lb-in", ""),
                tick(Item::TotalTorque, "12lb-in", ""),
            ],
            notes: Vec::new(),
        };
        let shown = Shown::from(Units::In);
        let says = |record: &Record, item| match standing(record, item, &shown) {
            Standing::Open(says) => says,
            other => panic!("{item:?}: {other:?}"),
        };
        let ring = says(&record, Item::RingBolts).unwrap();
        assert_eq!(ring, "85.0 lb-ft is above 49.0 lb-ft to 54.0 lb-ft");
        assert!(
            says(&record, Item::TotalTorque)
                .unwrap()
                .contains("13.0 lb-in")
        );
        assert_eq!(says(&record, Item::Oil), None);
        assert_eq!(
            standing(&record, Item::PinionTorque, &shown),
            Standing::Done
        );
        assert!(matches!(
            standing(&record, Item::PinionNut, &shown),
            Standing::Outside(_)
        ));
        record.closing[3].value = "25lb-in".into();
        assert!(
            says(&record, Item::TotalTorque)
                .unwrap()
                .contains("above 2.5 lb-in")
        );
        record.closing[3].value = "17lb-in".into();
        assert_eq!(standing(&record, Item::TotalTorque, &shown), Standing::Done);
    }
}
