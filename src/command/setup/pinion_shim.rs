//! `flankread setup pinion-shim`.

use super::Common;
use crate::Result;
use crate::command::OutputOptions;
use crate::schema::{Card, MarkSense, MarkUnit, ShimPlace};
use crate::setup::kit_packs::ShimsAtHand;
use crate::setup::pinion_shim::{
    Gauge, Marks, Slinger, answer, from_dimensions, from_etched, from_gauge, from_marks,
    unexplained_mark,
};
use crate::setup::usual::{HOUSING, PINION_PACK, SLINGER};
use crate::setup::{Answer, SetupError, Step};
use crate::units::{AsWritten, Length, THOU_MM, plain_number};
use clap::{Args, Subcommand, ValueEnum};

/// The pack to start the pinion with: from old and new marks, from a depth gauge, or from etched values.
#[derive(Debug, Args)]
pub(super) struct PinionShim {
    #[command(subcommand)]
    way: Way,
}

#[derive(Debug, Subcommand)]
enum Way {
    /// From the old pack and the marks of the old and the new pinion.
    #[command(
        after_help = "Example: flankread setup pinion-shim marks --old-shim 0.031in --new-mark -3 --mark-unit 0.001in --mark-sense plus-thicker"
    )]
    Marks(MarksWay),
    /// From a depth gauge: measured distance against the nominal one and the mark.
    #[command(
        after_help = "Example: flankread setup pinion-shim gauge --shim-in 0.030in --measured 2.504in --nominal 2.500in --place behind-head-bearing"
    )]
    Gauge(GaugeWay),
    /// From a base pack and values etched on case, bearing and pinion, each with its sign for the pack.
    #[command(
        after_help = "Example: flankread setup pinion-shim etched --base 0.030in --etched 0.002in --etched=-0.005in"
    )]
    Etched(EtchedWay),
    /// From the depth of the case, the width of the bearing and the pinion's mounting distance.
    #[command(
        after_help = "Example: flankread setup pinion-shim dimensions --case 4.250in --bearing 1.125in --mounting-distance 3.095in"
    )]
    Dimensions(DimensionsWay),
}

/// A mark as it stands on the pinion: a number of steps.
fn mark(text: &str) -> std::result::Result<f64, String> {
    if let Ok(steps) = plain_number(text.trim().trim_start_matches('+')) {
        return Ok(steps);
    }
    let asks = "a mark is the plain number that stands on the pinion, such as 2 or -3; what a step is goes into --mark-unit";
    let Ok(length) = text.parse::<Length>() else {
        return Err(asks.to_owned());
    };
    let steps =
        [(THOU_MM, "0.001in"), (0.01, "0.01mm"), (0.001, "0.001mm")].map(|(step_mm, unit)| {
            let steps = length.mm() / step_mm;
            ((steps - steps.round()).abs() < 1e-6)
                .then(|| format!("`{steps:.0}` with --mark-unit {unit}"))
        });
    Err(match steps.into_iter().flatten().next() {
        Some(meant) => format!("{asks}; was {meant} meant?"),
        None => asks.to_owned(),
    })
}

/// How pinion marks are meant.
#[derive(Debug, Args)]
struct MarkArgs {
    /// What one step of a mark is; never guessed.
    #[arg(long, value_enum, value_name = "UNIT")]
    mark_unit: Option<MarkUnit>,
    /// What a plus asks for; never guessed.
    #[arg(long, value_enum, value_name = "SENSE")]
    mark_sense: Option<MarkSense>,
}

impl MarkArgs {
    /// As given, or as the card has it.
    fn marks(&self, card: Option<&Card>) -> Option<Marks> {
        let pinion = card.map(|card| card.pinion);
        Some(Marks {
            unit: self.mark_unit.or(pinion.and_then(|p| p.mark_unit))?,
            sense: self.mark_sense.or(pinion.and_then(|p| p.mark_sense))?,
        })
    }
}

#[derive(Debug, Args)]
struct MarksWay {
    /// The pack that was in, with its unit.
    #[arg(long, value_name = "LENGTH")]
    old_shim: AsWritten<Length>,
    /// The old pinion's mark; 0 when the pack is that of an unmarked pinion.
    #[arg(long, value_parser = mark, allow_hyphen_values = true, default_value_t = 0.0, value_name = "MARK")]
    old_mark: f64,
    /// The new pinion's mark.
    #[arg(long, value_parser = mark, allow_hyphen_values = true, value_name = "MARK")]
    new_mark: f64,
    #[command(flatten)]
    marks: MarkArgs,
    #[command(flatten)]
    slinger: SlingerArgs,
    #[command(flatten)]
    common: Common,
}

#[derive(Debug, Args)]
struct GaugeWay {
    /// The pack that was in while measuring; 0mm on the bare seat.
    #[arg(long, value_name = "LENGTH")]
    shim_in: Length,
    /// What the gauge measured, from the ring gear's axis (or, with --arbor, from the arbor's surface) to the pinion.
    #[arg(long, value_name = "LENGTH")]
    measured: AsWritten<Length>,
    /// Diameter of the arbor, when the gauge starts at its surface.
    #[arg(long, value_name = "LENGTH")]
    arbor: Option<Length>,
    /// Nominal distance; from the card when not given.
    #[arg(long, value_name = "LENGTH")]
    nominal: Option<AsWritten<Length>>,
    /// The pinion's mark.
    #[arg(long, value_parser = mark, allow_hyphen_values = true, default_value_t = 0.0)]
    mark: f64,
    /// Where the shims sit; from the card when not given.
    #[arg(long, value_enum)]
    place: Option<PlaceArg>,
    #[command(flatten)]
    marks: MarkArgs,
    #[command(flatten)]
    slinger: SlingerArgs,
    #[command(flatten)]
    common: Common,
}

/// Where the shims sit, as the command line writes it.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum PlaceArg {
    /// Thicker moves the pinion toward the ring gear.
    BehindHeadBearing,
    /// Thicker moves the pinion away from the ring gear.
    UnderCage,
}

#[derive(Debug, Args)]
struct EtchedWay {
    /// The pack for parts without etched values.
    #[arg(long, value_name = "LENGTH")]
    base: AsWritten<Length>,
    /// A value etched on case, bearing or pinion, with the sign it has for the pack.
    #[arg(
        long,
        allow_hyphen_values = true,
        value_name = "LENGTH",
        required = true
    )]
    etched: Vec<Length>,
    #[command(flatten)]
    slinger: SlingerArgs,
    #[command(flatten)]
    common: Common,
}

#[derive(Debug, Args)]
struct DimensionsWay {
    /// From the ring gear's axis to the bearing's seat in the case.
    #[arg(long, value_name = "LENGTH")]
    case: AsWritten<Length>,
    /// Width of the head bearing, cone and cup pressed together.
    #[arg(long, value_name = "LENGTH")]
    bearing: AsWritten<Length>,
    /// From the ring gear's axis to the back of the pinion's head; from the card when not given.
    #[arg(long, value_name = "LENGTH")]
    mounting_distance: Option<AsWritten<Length>>,
    /// The pinion's mark.
    #[arg(long, value_parser = mark, allow_hyphen_values = true, default_value_t = 0.0)]
    mark: f64,
    #[command(flatten)]
    marks: MarkArgs,
    #[command(flatten)]
    slinger: SlingerArgs,
    #[command(flatten)]
    common: Common,
}

impl PinionShim {
    pub(super) fn answer(&self, output: OutputOptions) -> Result<Answer> {
        match &self.way {
            Way::Marks(way) => way.answer(output),
            Way::Gauge(way) => way.answer(output),
            Way::Etched(way) => way.answer(output),
            Way::Dimensions(way) => way.answer(output),
        }
    }
}

/// An oil slinger or baffle.
#[derive(Debug, Args)]
struct SlingerArgs {
    /// Thickness of an oil slinger or baffle that will sit between pinion head and bearing and was not in when the pack was
    /// measured.
    #[arg(long, value_name = "LENGTH")]
    slinger: Option<AsWritten<Length>>,
}

impl SlingerArgs {
    /// The slinger, with where the shims sit.
    fn of(&self, place: Option<ShimPlace>, as_written: bool) -> Result<Option<Slinger>> {
        let Some(said) = &self.slinger else {
            return Ok(None);
        };
        let place = place.ok_or_else(|| {
            SetupError::Missing(
                "say where the shims sit, with --card or --job: beside a slinger they are less behind the head bearing and \
                 more under the cage"
                    .into(),
            )
        })?;
        Ok(Some(Slinger {
            thick_mm: SLINGER.check(said, as_written)?,
            place,
        }))
    }
}

fn place_of(card: Option<&Card>) -> Option<ShimPlace> {
    card.map(|card| card.pinion.shim_place)
}

impl MarksWay {
    fn answer(&self, output: OutputOptions) -> Result<Answer> {
        let card = self.common.card()?;
        let shown = output.shown(card.as_ref());
        let old_mm = PINION_PACK.check(&self.old_shim, self.common.as_written)?;
        let marks = self
            .marks
            .marks(card.as_ref())
            .ok_or_else(unexplained_mark)?;
        let found = from_marks(old_mm, self.old_mark, self.new_mark, &marks)?;
        let (formula, first, second) = match marks.sense {
            MarkSense::PlusThicker => (
                "old pack + (new mark − old mark) × step",
                self.new_mark,
                self.old_mark,
            ),
            MarkSense::PlusThinner => (
                "old pack + (old mark − new mark) × step",
                self.old_mark,
                self.new_mark,
            ),
        };
        let step = Step::new(
            "pack from marks",
            formula,
            format!(
                "{} + ({first:+} − ({second:+})) × {}",
                shown.shim(old_mm),
                marks.unit.word()
            ),
            format!(
                "{}, {} changed",
                shown.shim(found.pack_mm),
                shown.signed_shim(found.change_mm)
            ),
        );
        let place = place_of(card.as_ref());
        let slinger = self.slinger.of(place, self.common.as_written)?;
        let kit = ShimsAtHand::for_pinion(card.as_ref(), &[old_mm]);
        Ok(answer(found, step, place, slinger, &kit, &shown)?)
    }
}

impl GaugeWay {
    fn answer(&self, output: OutputOptions) -> Result<Answer> {
        let card = self.common.card()?;
        let shown = output.shown(card.as_ref());
        let sure = self.common.as_written;
        let place = match (self.place, card.as_ref()) {
            (Some(PlaceArg::BehindHeadBearing), _) => ShimPlace::BehindHeadBearing,
            (Some(PlaceArg::UnderCage), _) => ShimPlace::UnderCage,
            (None, Some(card)) => card.pinion.shim_place,
            (None, None) => {
                return Err(SetupError::Missing(
                    "say where the shims sit: --place behind-head-bearing or under-cage; a thicker pack moves the \
                     pinion toward the ring gear in the one and away in the other"
                        .into(),
                )
                .into());
            }
        };
        let nominal_mm = nominal(self.nominal.as_ref(), card.as_ref(), "--nominal", sure)?;
        let read_mm = HOUSING.check(&self.measured, sure)?;
        let arbor_mm = self.arbor.map_or(0.0, Length::mm);
        let gauge = Gauge {
            pack_mm: self.shim_in.mm(),
            measured_mm: read_mm + arbor_mm / 2.0,
            nominal_mm,
            mark: self.mark,
            marks: self.marks.marks(card.as_ref()),
            place,
        };
        let found = from_gauge(&gauge)?;
        let (formula, numbers) = match place {
            ShimPlace::BehindHeadBearing => (
                "pack in + measured − nominal + mark",
                format!(
                    "{} + {} − {}",
                    shown.shim(gauge.pack_mm),
                    shown.length(gauge.measured_mm),
                    shown.length(nominal_mm)
                ),
            ),
            ShimPlace::UnderCage => (
                "pack in + nominal − measured + mark",
                format!(
                    "{} + {} − {}",
                    shown.shim(gauge.pack_mm),
                    shown.length(nominal_mm),
                    shown.length(gauge.measured_mm)
                ),
            ),
        };
        let by_mark = gauge.marks.map_or(0.0, |marks| marks.thicker_mm(self.mark));
        let step = Step::new(
            "pack from the gauge",
            formula,
            format!("{numbers} + ({})", shown.signed_shim(by_mark)),
            format!(
                "{}, {} changed",
                shown.shim(found.pack_mm),
                shown.signed_shim(found.change_mm)
            ),
        );
        let slinger = self.slinger.of(Some(place), sure)?;
        let kit = ShimsAtHand::for_pinion(card.as_ref(), &[gauge.pack_mm]);
        Ok(answer(found, step, Some(place), slinger, &kit, &shown)?)
    }
}

impl EtchedWay {
    fn answer(&self, output: OutputOptions) -> Result<Answer> {
        let card = self.common.card()?;
        let shown = output.shown(card.as_ref());
        let base_mm = PINION_PACK.check(&self.base, self.common.as_written)?;
        let etched: Vec<f64> = self.etched.iter().map(|length| length.mm()).collect();
        let found = from_etched(base_mm, &etched)?;
        let parts: Vec<String> = etched
            .iter()
            .map(|mm| format!("({})", shown.signed_shim(*mm)))
            .collect();
        let step = Step::new(
            "pack from etched values",
            "base + each etched value with its sign",
            format!("{} + {}", shown.shim(base_mm), parts.join(" + ")),
            shown.shim(found.pack_mm),
        );
        let place = place_of(card.as_ref());
        let slinger = self.slinger.of(place, self.common.as_written)?;
        let kit = ShimsAtHand::for_pinion(card.as_ref(), &[]);
        Ok(answer(found, step, place, slinger, &kit, &shown)?)
    }
}

impl DimensionsWay {
    fn answer(&self, output: OutputOptions) -> Result<Answer> {
        let card = self.common.card()?;
        let shown = output.shown(card.as_ref());
        let sure = self.common.as_written;
        if card
            .as_ref()
            .is_some_and(|card| card.pinion.shim_place == ShimPlace::UnderCage)
        {
            return Err(SetupError::Impossible(
                "the card has its shims under the cage; case depth, bearing and mounting distance give the pack only \
                 where it sits behind the head bearing. Use `setup pinion-shim gauge`"
                    .into(),
            )
            .into());
        }
        let case_mm = HOUSING.check(&self.case, sure)?;
        let bearing_mm = HOUSING.check(&self.bearing, sure)?;
        let mounting_mm = nominal(
            self.mounting_distance.as_ref(),
            card.as_ref(),
            "--mounting-distance",
            sure,
        )?;
        let mark_mm = match self.marks.marks(card.as_ref()) {
            Some(marks) => marks.thicker_mm(self.mark),
            None if self.mark == 0.0 => 0.0,
            None => return Err(unexplained_mark().into()),
        };
        let found = from_dimensions(case_mm, bearing_mm, mounting_mm, mark_mm)?;
        let step = Step::new(
            "pack from dimensions",
            "case depth − bearing width − mounting distance + mark",
            format!(
                "{} − {} − {} + ({})",
                shown.length(case_mm),
                shown.length(bearing_mm),
                shown.length(mounting_mm),
                shown.signed_shim(mark_mm)
            ),
            shown.shim(found.pack_mm),
        );
        let slinger = self.slinger.of(Some(ShimPlace::BehindHeadBearing), sure)?;
        let kit = ShimsAtHand::for_pinion(card.as_ref(), &[]);
        // The change is against no pack at all, so no move of the pinion is told.
        Ok(answer(found, step, None, slinger, &kit, &shown)?)
    }
}

fn nominal(
    given: Option<&AsWritten<Length>>,
    card: Option<&Card>,
    option: &str,
    as_written: bool,
) -> Result<f64> {
    match (given, card.and_then(|card| card.pinion.mounting_distance_mm)) {
        (Some(said), _) => Ok(HOUSING.check(said, as_written)?),
        (None, Some(mm)) => Ok(mm),
        (None, None) => Err(SetupError::Missing(format!(
            "the nominal distance is needed: give {option}, or mounting_distance in [pinion] of the card"
        ))
        .into()),
    }
}
