//! `flankread simulate`: the patch on both flanks for a card and a misalignment.

use super::{Outcome, OutputOptions};
use crate::card::blank;
use crate::contact::sensitivity::Cause;
use crate::contact::{Misalignment, Model, State};
use crate::files;
use crate::gear::blank::{Blank, BlankInput};
use crate::gear::blank_of_model::blank_of_model;
use crate::gear::tooth_solid::ToothSolid;
use crate::report::draw::raster;
use crate::report::simulation::error_plot;
use crate::report::simulation::flank_picture;
use crate::report::simulation::flank_picture::Frames;
use crate::report::simulation::numbers;
use crate::report::simulation::numbers::Assembly;
use crate::report::simulation::text::simulation_text;
use crate::schema::Card;
use crate::schema::simulation::{Contact, Derived, SCHEMA, Simulation};
use crate::units::{Angle, Length, Units};
use crate::{Error, Result};
use clap::Args;
use std::path::{Path, PathBuf};

/// Contact patch, transmission error, backlash and sensitivities of a card's gear set.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  flankread simulate fixtures/cards/larchfield-8in.toml --pinion 0.1mm --picture flanks.png
  flankread simulate axle.toml --sweep pinion -0.3..0.3mm --picture strip.svg
  flankread simulate axle.toml --json --tooth tooth.stl

+ pinion: away from the ring gear. + ring: away from the pinion (more backlash).")]
pub(crate) struct Simulate {
    /// The card (TOML): [gear], or [blank] with initial data of ISO 23509, or both.
    #[arg(required_unless_present = "card_option")]
    card: Option<PathBuf>,
    /// The card, for those who like options better.
    #[arg(long = "card", value_name = "CARD", conflicts_with = "card")]
    card_option: Option<PathBuf>,
    /// Pinion withdrawn by this much.
    #[arg(long, allow_hyphen_values = true, default_value = "0mm")]
    pinion: Length,
    /// Ring gear backed off by this much.
    #[arg(long, allow_hyphen_values = true, default_value = "0mm")]
    ring: Length,
    /// Axes further apart by this much.
    #[arg(long, allow_hyphen_values = true, default_value = "0mm")]
    offset: Length,
    /// Shaft angle larger by this much.
    #[arg(long, allow_hyphen_values = true, default_value = "0deg")]
    shaft_angle: Angle,
    /// Ease-off at toe and heel, instead of the card's.
    #[arg(long)]
    crowning_length: Option<Length>,
    /// Ease-off at tip and root, instead of the card's.
    #[arg(long)]
    crowning_height: Option<Length>,
    /// Bias: ease-off at the heel-tip and toe-root corners.
    #[arg(long, allow_hyphen_values = true)]
    bias: Option<Length>,
    /// Thickness of the marking film, instead of the card's.
    #[arg(long)]
    film: Option<Length>,
    /// Run-out of the ring gear's back face: what one turn does.
    #[arg(long)]
    run_out: Option<Length>,
    /// Sweep one cause over a range, as in `--sweep pinion -0.3..0.3mm`.
    #[arg(long, num_args = 2, value_names = ["WHAT", "FROM..TO"], allow_hyphen_values = true)]
    sweep: Option<Vec<String>>,
    /// Frames of the sweep.
    #[arg(long, default_value_t = 7, value_parser = clap::value_parser!(u16).range(2..=60))]
    steps: u16,
    /// Write the picture of both flanks, or the filmstrip of a sweep (.svg or .png).
    #[arg(long, value_name = "FILE")]
    picture: Option<PathBuf>,
    /// Write the plot of the transmission error (.svg or .png).
    #[arg(long, value_name = "FILE")]
    error_plot: Option<PathBuf>,
    /// Write teeth of the ring gear as a solid (.stl or .obj).
    #[arg(long, value_name = "FILE")]
    tooth: Option<PathBuf>,
    /// How many teeth the solid has.
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=400))]
    teeth: u32,
    /// Overwrite files that exist.
    #[arg(long)]
    force: bool,
}

impl Simulate {
    /// Simulates and prints.
    ///
    /// # Errors
    /// A card that cannot be used or cannot mesh; files that cannot be written.
    pub(crate) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let path = self.card.as_ref().or(self.card_option.as_ref());
        let card = Card::read(path.map_or(Path::new(""), PathBuf::as_path))?;
        let units = output.units(Some(&card));
        let sweep = self.sweep_range()?;
        let model = Model::new(&card.gear_set());
        let mut document = Simulation {
            schema: SCHEMA,
            card: card.name.clone(),
            contact: None,
            no_contact: None,
            blank: numbers::blank_numbers(&blank_of(&card, model.as_ref().ok())?),
            derived: blank_derived(&card)?,
        };
        match model {
            // A blank may be asked for whose teeth no model can mesh.
            Err(error) if card.blank.is_some() && !self.wants_files() => {
                document.no_contact = Some(error.to_string());
            }
            Err(error) => return Err(error.into()),
            Ok(model) => {
                document.derived.extend(numbers::derived_numbers(&model));
                document.contact = Some(self.simulate(&model, &card, sweep, units)?);
            }
        }
        if output.json {
            super::print_json(&document)?;
        } else {
            super::print(&simulation_text(&document, units))?;
        }
        Ok(Outcome::Answered)
    }

    fn wants_files(&self) -> bool {
        self.picture.is_some() || self.error_plot.is_some() || self.tooth.is_some()
    }

    fn simulate(
        &self,
        model: &Model,
        card: &Card,
        sweep: Option<(Cause, [f64; 2])>,
        units: Units,
    ) -> Result<Contact> {
        let assembly = self.assembly(model, units)?;
        let state = assembly.state(model);
        let mut contact = numbers::contact_numbers(model, &assembly, &state);
        contact.run_out = self
            .run_out
            .map(|w| numbers::run_out_numbers(model, &assembly, w.mm()));
        let strip = sweep.map(|(cause, range)| (cause, self.sweep(model, &assembly, cause, range)));
        if let Some((cause, steps)) = &strip {
            contact.sweep = Some(numbers::sweep_numbers(*cause, steps));
        }
        let title = |what: &str| match card.name.as_str() {
            "" => what.to_owned(),
            name => format!("{name}: {what}"),
        };
        if let Some(path) = &self.picture {
            let svg = match &strip {
                Some((cause, steps)) => {
                    let frames: Vec<Frames<'_>> = steps
                        .iter()
                        .map(|(value, state)| Frames {
                            label: value_words(*cause, *value, units),
                            state,
                        })
                        .collect();
                    let what = format!("sweep of {}", cause.word().replace('_', " "));
                    flank_picture::filmstrip_svg(model, &frames, &title(&what))?
                }
                None => flank_picture::state_svg(model, &state, &title(&self.move_words(units)))?,
            };
            self.write_picture(path, &svg)?;
        }
        if let Some(path) = &self.error_plot {
            self.write_picture(
                path,
                &error_plot::error_svg(&state, &title("transmission error"))?,
            )?;
        }
        if let Some(path) = &self.tooth {
            let solid = ToothSolid::new(model.dimensions(), model.pair(), self.teeth)
                .map_err(crate::contact::ContactError::from)?;
            let bytes = match extension(path).as_str() {
                "stl" => solid.to_stl(),
                "obj" => solid.to_obj().into_bytes(),
                _ => return Err(wrong_extension(path, ".stl or .obj")),
            };
            files::write(path, &bytes, self.force)?;
        }
        Ok(contact)
    }

    fn assembly(&self, model: &Model, units: Units) -> Result<Assembly> {
        let (mut ease_off, mut film_mm) = model.defaults();
        let positive = |name: &str, value: Option<Length>, now: &mut f64| match value {
            Some(v) if v.mm() > 0.0 && v.mm() <= 5.0 => {
                *now = v.mm();
                Ok(())
            }
            Some(v) => Err(Error::usage(format!(
                "--{name} is {}: it must be more than 0 and at most {}; usual is {}",
                units.shim(v.mm()),
                units.shim(5.0),
                units.shim(*now)
            ))),
            None => Ok(()),
        };
        for e in &mut ease_off {
            positive("crowning-length", self.crowning_length, &mut e.length_mm)?;
            positive("crowning-height", self.crowning_height, &mut e.height_mm)?;
            e.bias_mm = self.bias.map_or(e.bias_mm, Length::mm);
        }
        positive("film", self.film, &mut film_mm)?;
        let moves = [
            ("pinion", self.pinion.mm()),
            ("ring", self.ring.mm()),
            ("offset", self.offset.mm()),
        ];
        for (name, mm) in moves {
            if mm.is_nan() || mm.abs() > 10.0 {
                return Err(Error::usage(format!(
                    "--{name} is {}: the teeth would be out of mesh; at most {} can be simulated",
                    units.shim(mm),
                    units.shim(10.0)
                )));
            }
        }
        let shaft_angle = self.shaft_angle.rad();
        if shaft_angle.is_nan() || shaft_angle.abs() > 0.1 {
            return Err(Error::usage(
                "--shaft-angle is too large for an assembly error: at most 5deg can be simulated",
            ));
        }
        Ok(Assembly {
            misalignment: Misalignment {
                pinion_mm: self.pinion.mm(),
                ring_mm: self.ring.mm(),
                offset_mm: self.offset.mm(),
                shaft_angle,
            },
            ease_off,
            film_mm,
        })
    }

    /// The swept cause and its ends, mm or radians.
    fn sweep_range(&self) -> Result<Option<(Cause, [f64; 2])>> {
        let Some([what, range]) = self.sweep.as_deref() else {
            return Ok(None);
        };
        let word = what.replace('-', "_");
        let cause = Cause::ALL
            .into_iter()
            .find(|cause| cause.word() == word)
            .ok_or_else(|| {
                let all = Cause::ALL.map(|c| c.word().replace('_', "-")).join(", ");
                Error::usage(format!(
                    "--sweep {what}: nothing of that name; one of {all}"
                ))
            })?;
        let form = || {
            Error::usage(format!(
                "--sweep {what} {range}: write the range like -0.3..0.3mm"
            ))
        };
        let (from, to) = range.split_once("..").ok_or_else(form)?;
        // The unit may stand once, at the end.
        let number = |c: char| c.is_ascii_digit() || "+-. ".contains(c);
        let unit = to.trim_start_matches(number);
        let read = |text: &str| -> Result<f64> {
            let text = if text.trim_end().ends_with(|c: char| c.is_ascii_digit()) {
                format!("{text}{unit}")
            } else {
                text.to_owned()
            };
            let wrong = |error: crate::units::UnitError| Error::usage(error.to_string());
            if cause.is_angle() {
                text.parse::<Angle>().map(Angle::rad).map_err(wrong)
            } else {
                text.parse::<Length>().map(Length::mm).map_err(wrong)
            }
        };
        let ends = [read(from)?, read(to)?];
        if ends[0] == ends[1] || ends.iter().any(|e| !e.is_finite() || e.abs() > 10.0) {
            return Err(form());
        }
        Ok(Some((cause, ends)))
    }

    fn sweep(
        &self,
        model: &Model,
        assembly: &Assembly,
        cause: Cause,
        [from, to]: [f64; 2],
    ) -> Vec<(f64, State)> {
        let last = f64::from(self.steps - 1);
        (0..self.steps)
            .map(|k| {
                let value = from + (to - from) * f64::from(k) / last;
                (value, assembly.with(cause, value).state(model))
            })
            .collect()
    }

    fn move_words(&self, units: Units) -> String {
        let moved: Vec<String> = [
            ("pinion", self.pinion.mm(), "out", "in"),
            ("ring gear", self.ring.mm(), "out", "in"),
            ("offset", self.offset.mm(), "more", "less"),
        ]
        .into_iter()
        .filter(|m| m.1 != 0.0)
        .map(|(name, mm, more, less)| {
            let way = if mm > 0.0 { more } else { less };
            format!("{name} {} {way}", units.shim(mm.abs()))
        })
        .collect();
        if moved.is_empty() {
            "in the right place".to_owned()
        } else {
            moved.join(", ")
        }
    }

    fn write_picture(&self, path: &Path, svg: &str) -> Result<()> {
        let bytes = match extension(path).as_str() {
            "svg" => svg.as_bytes().to_vec(),
            "png" => raster::png(svg, 2.0)?,
            _ => return Err(wrong_extension(path, ".svg or .png")),
        };
        files::write(path, &bytes, self.force)
    }
}

fn value_words(cause: Cause, value: f64, units: Units) -> String {
    if cause.is_angle() {
        format!("{:+.3}°", value.to_degrees())
    } else {
        units.shim(value)
    }
}

fn blank_input(card: &Card) -> Result<Option<BlankInput>> {
    blank::input_of(card).map_err(|error| error.of("the card"))
}

/// What the card's `[blank]` left out.
fn blank_derived(card: &Card) -> Result<Vec<Derived>> {
    let (Some(table), Some(input)) = (&card.blank, blank_input(card)?) else {
        return Ok(Vec::new());
    };
    let derived = table.derived(&input).into_iter();
    Ok(derived
        .map(|(key, value, how)| Derived {
            key: format!("blank.{key}"),
            value,
            how,
        })
        .collect())
}

/// The blank of the card's `[blank]`, else that of the model's own cones.
fn blank_of(card: &Card, model: Option<&Model>) -> Result<Blank> {
    let blank = match (blank_input(card)?, model) {
        (Some(input), _) => Blank::new(&input),
        (None, Some(model)) => blank_of_model(model.dimensions(), model.pair()),
        (None, None) => {
            // Setting the model up again says why it cannot be.
            let model = Model::new(&card.gear_set())?;
            blank_of_model(model.dimensions(), model.pair())
        }
    };
    Ok(blank.map_err(crate::contact::ContactError::from)?)
}

fn extension(path: &Path) -> String {
    path.extension()
        .map(|e| e.to_string_lossy().to_lowercase())
        .unwrap_or_default()
}

fn wrong_extension(path: &Path, known: &str) -> Error {
    Error::usage(format!("{}: the name must end in {known}", path.display()))
}
