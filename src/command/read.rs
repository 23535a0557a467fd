//! `flankread read`: photos of one gear set → readings, pictures, and the advice that follows.

use super::photo_words::PhotoWords;
use super::set_folder::SetFolder;
use super::terminal::harmless;
use super::{Outcome, OutputOptions};
use crate::flank::find::FindHints;
use crate::flank::marks;
use crate::frames::Side;
use crate::photo::{self, Photo};
use crate::reading::{ONE_PHOTO, ReadOptions, doubt_set, read_photo, shows_both};
use crate::report::reading::pictures::{PhotoReading, write_pictures};
use crate::report::reading::text::answer_text;
use crate::rules::direction::{SetSizes, direction};
use crate::rules::trial::{of_both_flanks, usable};
use crate::rules::{self, FlankNotUsable, NotUsable};
use crate::schema::direction::Direction;
use crate::schema::read::{ReadAnswer, SCHEMA as READ_SCHEMA};
use crate::schema::{Card, Cutting, Reading, Status, Trial};
use crate::units::{Length, Units};
use crate::{Error, Result};
use clap::Args;
use std::path::{Path, PathBuf};

/// Reads where the contact patch lies on the flanks in photos of one gear set; with a card and both
/// flanks it goes on to the advice.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  flankread read --card axle.toml --drive drive.jpg --coast coast.jpg --out pictures
  flankread read larchfield

A photo that shows both flanks well serves for both, and each photo of a collage is read by itself. Bars about
a photo, as screenshots have them, are left out. Without a card the direction is told
that holds for every set.

A folder stands for one set: photos named drive and coast, card.toml, and in trial.json what
was measured, as in a trial of a job: {\"pinion_shim_mm\": 0.762, \"backlash_mm\": [0.28]}.
What is said beside it goes before.

Exit status 1: nothing could be read, or there is no advice although a card was given with
photos of both flanks or with shims and backlash.")]
pub(super) struct ReadArgs {
    /// The photos: JPEG, PNG, WebP, TIFF or HEIC; or one folder that holds a set. Marks in PHOTO.marks.json beside a photo
    /// are used.
    #[arg(value_name = "PHOTO", required_unless_present_any = ["drive", "coast"])]
    photos: Vec<PathBuf>,
    /// A photo of the drive flanks.
    #[arg(long, value_name = "PHOTO")]
    drive: Option<PathBuf>,
    /// A photo of the coast flanks.
    #[arg(long, value_name = "PHOTO")]
    coast: Option<PathBuf>,
    /// Marks for the photo, instead of those beside it (one photo only).
    #[arg(long, value_name = "FILE")]
    marks: Option<PathBuf>,
    /// Which flank the photos show.
    #[arg(long)]
    flank: Option<Side>,
    #[command(flatten)]
    words: PhotoWords,
    /// Teeth of the ring gear, as they were counted.
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u32).range(20..=80))]
    ring_teeth: Option<u32>,
    /// Outer diameter of the ring gear, with its unit.
    #[arg(long, value_name = "LENGTH")]
    ring_diameter: Option<Length>,
    /// Face width of the ring gear, with its unit; goes with --ring-diameter.
    #[arg(long, value_name = "LENGTH", requires = "ring_diameter")]
    face_width: Option<Length>,
    /// How the ring gear was cut; with its teeth and diameter a first amount can be told without a card.
    #[arg(long, value_enum, requires_all = ["ring_teeth", "ring_diameter"])]
    cutting: Option<Cutting>,
    /// The card of the gear set: with both flanks read, advice follows.
    #[arg(long, value_name = "FILE")]
    card: Option<PathBuf>,
    /// Backlash as it was measured, with its unit; once for each place round the gear.
    #[arg(long, value_name = "LENGTH")]
    backlash: Vec<Length>,
    /// Thickness of the pinion's pack that is in, with its unit.
    #[arg(long, value_name = "LENGTH")]
    pinion_shim: Option<Length>,
    /// Thickness of the pack behind the ring gear that is in.
    #[arg(long, value_name = "LENGTH")]
    ring_side_shim: Option<Length>,
    /// Thickness of the pack on the other side that is in.
    #[arg(long, value_name = "LENGTH")]
    far_side_shim: Option<Length>,
    /// Read both flanks of the one photo, where it shows both well. With a card this is tried unasked.
    #[arg(long, conflicts_with_all = ["drive", "coast", "flank", "marks"])]
    both_flanks: bool,
    /// Take readings that are unsure for the advice: you have looked at the pictures.
    #[arg(long)]
    use_unsure: bool,
    /// Folder for the pictures: each photo with its patches, each flank, and one page of all.
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// Overwrite pictures that are there.
    #[arg(long, requires = "out")]
    force: bool,
}

/// What is to be read: photos with the flank each was given for, the card, shims and backlash.
struct Wanted {
    photos: Vec<(PathBuf, Option<Side>)>,
    card: Option<Card>,
    measured: Trial,
}

pub(super) fn run(args: &ReadArgs, output: OutputOptions) -> Result<Outcome> {
    let wanted = wanted(args)?;
    let card = wanted.card.as_ref();
    let units = output.units(card);
    let opened = open_all(&wanted.photos, args, card)?;
    let count = opened.len();
    let mut told: Vec<PhotoReading> = opened
        .into_iter()
        .flat_map(|(photo, asked)| {
            let read = read_photo(&photo, &asked);
            let told = PhotoReading { photo, read };
            let one = count == 1 && (card.is_some() || args.both_flanks);
            let other = one.then(|| other_flank(&told, asked)).flatten();
            std::iter::once(told).chain(other)
        })
        .collect();
    doubt_set(
        &mut told
            .iter_mut()
            .map(|told| &mut told.read)
            .collect::<Vec<_>>(),
    );
    // Told a card, photos of both flanks or what was measured, a user wants the advice.
    let wants_advice = card.is_some() && (told.len() > 1 || wanted.measured != Trial::default());
    let answer = answer(args, card, wanted.measured, &told, units)?;
    if let Some(folder) = &args.out {
        let written = write_pictures(folder, args.force, &told, card, &answer, units)?;
        if !output.quiet {
            for path in written {
                eprintln!("wrote {}", harmless(&path.display().to_string()));
            }
        }
    }
    if output.json {
        super::print_json(&answer.document(card.is_some()))?;
    } else {
        super::print(&answer_text(&answer, units))?;
    }
    let any = answer
        .readings
        .iter()
        .any(|r| r.status != Status::Unreadable);
    Ok(match &answer.advice {
        _ if !any => Outcome::NothingReadable,
        None if wants_advice => Outcome::NoAdvice,
        _ => Outcome::Answered,
    })
}

/// The reading of the other flank, when the one photo that there is shows both well: it may serve for both.
fn other_flank(told: &PhotoReading, asked: ReadOptions) -> Option<PhotoReading> {
    let first = &told.read.reading;
    if asked.flank.is_some() || asked.marks.is_some() || first.status != Status::Read {
        return None;
    }
    let other = match first.flank?.side {
        Side::Drive => Side::Coast,
        Side::Coast => Side::Drive,
    };
    let read = read_photo(&told.photo, &asked.of_flank(other));
    shows_both(first, &read.reading).then(|| PhotoReading {
        photo: told.photo.clone(),
        read,
    })
}

/// Readings with the advice, or without a card the direction, that follows from them.
fn answer(
    args: &ReadArgs,
    card: Option<&Card>,
    measured: Trial,
    told: &[PhotoReading],
    units: Units,
) -> Result<ReadAnswer> {
    let mut answer = ReadAnswer {
        schema: READ_SCHEMA.into(),
        readings: told.iter().map(|told| told.read.reading.clone()).collect(),
        advice: None,
        no_advice: None,
        direction: None,
    };
    match card {
        None => answer.direction = direction_of(args, told, units),
        Some(card) => match trial(args, measured, told) {
            Ok(trial) => answer.advice = Some(rules::advise_in(card, &[trial], units)?),
            Err(refused) => answer.no_advice = Some(why_no_advice(&refused)),
        },
    }
    let one_photo =
        matches!(told, [a, b] if a.photo.sha256 == b.photo.sha256 && a.photo.part == b.photo.part);
    if one_photo {
        let advice = answer.advice.as_mut().map(|advice| &mut advice.cautions);
        let direction = answer.direction.as_mut().map(|found| &mut found.cautions);
        for cautions in advice.into_iter().chain(direction) {
            cautions.push(ONE_PHOTO.into());
        }
    }
    Ok(answer)
}

/// What holds for every set whose patches stand as the readings that may be used say.
fn direction_of(args: &ReadArgs, told: &[PhotoReading], units: Units) -> Option<Direction> {
    let centre = |side| {
        let of_side = of_side(told, side);
        match of_side.as_slice() {
            [reading] => usable(reading, args.use_unsure)
                .ok()
                .map(|read| read.centre),
            _ => None,
        }
    };
    let sizes = args.cutting.zip(args.ring_teeth).zip(args.ring_diameter);
    direction(
        Side::BOTH.map(centre),
        sizes.map(|((cutting, ring_teeth), diameter)| SetSizes {
            ring_teeth,
            ring_diameter_mm: diameter.mm(),
            cutting,
        }),
        units,
    )
}

/// The readings of one flank.
fn of_side(told: &[PhotoReading], side: Side) -> Vec<&Reading> {
    told.iter()
        .map(|told| &told.read.reading)
        .filter(|reading| reading.flank.is_some_and(|flank| flank.side == side))
        .collect()
}

/// What the arguments ask for, with what a folder says where they are silent.
fn wanted(args: &ReadArgs) -> Result<Wanted> {
    let sides = [(&args.drive, Side::Drive), (&args.coast, Side::Coast)];
    let given = sides
        .into_iter()
        .filter_map(|(path, side)| path.clone().map(|path| (path, Some(side))));
    let (mut photos, card, measured) = match args.photos.as_slice() {
        [folder] if folder.is_dir() => {
            let set = SetFolder::look(folder)?;
            let photos = set
                .photos
                .into_iter()
                .map(|(path, side)| (path, Some(side)));
            (photos.collect(), set.card, set.measured)
        }
        photos => {
            let photos = photos.iter().map(|path| (path.clone(), args.flank));
            (photos.collect::<Vec<_>>(), None, Trial::default())
        }
    };
    photos.extend(given);
    if args.marks.is_some() && photos.len() > 1 {
        return Err(Error::usage(
            "--marks goes with one photo; put the marks of several into PHOTO.marks.json beside each",
        ));
    }
    let card = args.card.clone().or(card);
    let said = args.measured(measured);
    if card.is_none() && said != Trial::default() {
        return Err(Error::usage(
            "shims and backlash are for the advice, which needs the gear set: give its card with --card",
        ));
    }
    Ok(Wanted {
        photos,
        card: card.map(Card::read).transpose()?,
        measured: said,
    })
}

impl ReadArgs {
    /// Shims and backlash as the arguments say them, else as they were.
    fn measured(&self, was: Trial) -> Trial {
        let said = |length: Option<Length>, was: Option<f64>| length.map(Length::mm).or(was);
        let backlash_mm = match self.backlash.as_slice() {
            [] => was.backlash_mm,
            said => said.iter().map(|length| length.mm()).collect(),
        };
        Trial {
            pinion_shim_mm: said(self.pinion_shim, was.pinion_shim_mm),
            ring_side_shim_mm: said(self.ring_side_shim, was.ring_side_shim_mm),
            far_side_shim_mm: said(self.far_side_shim, was.far_side_shim_mm),
            backlash_mm,
            ..was
        }
    }
}

/// Opens every photo and its marks before anything is read; all that fail are named.
fn open_all(
    wanted: &[(PathBuf, Option<Side>)],
    args: &ReadArgs,
    card: Option<&Card>,
) -> Result<Vec<(Photo, ReadOptions)>> {
    let mut opened = Vec::new();
    let mut failed = Vec::new();
    for (path, side) in wanted {
        match open_one(path, *side, args, card) {
            Ok(one) => opened.push(one),
            Err(error) => failed.push(error),
        }
    }
    match failed.len() {
        0 => Ok(opened.into_iter().flat_map(parts).collect()),
        1 => Err(failed.remove(0)),
        _ => Err(Error::several(failed)),
    }
}

/// The photos of a collage one by one, unless marks say which is meant.
fn parts((photo, asked): (Photo, ReadOptions)) -> Vec<(Photo, ReadOptions)> {
    let is_marked = (asked.marks.as_ref()).is_some_and(|marks| !marks.teeth.is_empty());
    match photo.parts() {
        parts if parts.is_empty() || is_marked => vec![(photo, asked)],
        parts => parts
            .into_iter()
            .map(|part| (part, asked.clone()))
            .collect(),
    }
}

fn open_one(
    path: &Path,
    side: Option<Side>,
    args: &ReadArgs,
    card: Option<&Card>,
) -> Result<(Photo, ReadOptions)> {
    let photo = photo::open(path)?;
    let marks = match args.marks.clone().or_else(|| marks::beside(path)) {
        Some(path) => Some(marks::load(&path, &photo)?),
        None => None,
    };
    let of_card = card.map(ReadOptions::of_card).unwrap_or_default();
    let face_per_diameter = (args.face_width.zip(args.ring_diameter))
        .map(|(face, diameter)| face.mm() / diameter.mm())
        .filter(|ratio| ratio.is_finite() && *ratio > 0.0);
    Ok((
        photo,
        ReadOptions {
            marks,
            polarity: args.words.polarity,
            flank: side,
            hints: FindHints {
                toe: args.words.toe,
                form: None,
            },
            mirrored: args.words.mirrored,
            cutting: args.cutting.or(of_card.cutting),
            gear: (of_card.gear).with_sizes(args.ring_teeth, face_per_diameter),
            ..of_card
        },
    ))
}

/// The assembly that the photos show.
fn trial(
    args: &ReadArgs,
    measured: Trial,
    told: &[PhotoReading],
) -> std::result::Result<Trial, FlankNotUsable> {
    of_both_flanks(measured, |side| match of_side(told, side).as_slice() {
        [] => Err(NotUsable::NoPhoto),
        [reading] => usable(reading, args.use_unsure),
        several => Err(NotUsable::SeveralPhotos(several.len())),
    })
}

/// Why the photos make no advice, and what to do about it.
fn why_no_advice(FlankNotUsable { side, why }: &FlankNotUsable) -> String {
    let word = side.word();
    match why {
        NotUsable::NoPhoto => format!("no photo shows the {word} flanks; give one with --{word}"),
        NotUsable::SeveralPhotos(count) => {
            format!("{count} photos show the {word} flanks; give the one that counts with --{word}")
        }
        NotUsable::Mirrored => format!(
            "the photo of the {word} flanks does not show the hand that the card says; if it is mirrored, say --mirrored"
        ),
        NotUsable::Unsure => format!(
            "the reading of the {word} flanks is unsure; look at its picture (--out), then take a better photo or say --use-unsure"
        ),
        NotUsable::Unreadable { .. } | NotUsable::Contradicted => {
            format!("the {word} flanks could not be read")
        }
    }
}
