//! A photo, with or without marks → its reading.

use super::OutlineSource;
use super::calibration::CALIBRATION;
use super::judge::too_uncertain;
use super::measure_patches::{FlankContext, OutlinedReading, unreadable};
use super::passes::{CoarsePass, read_outlined};
use super::picture_quality::why_unseen;
use crate::flank::find::{FindHints, FlankFinder, FoundFlanks};
use crate::flank::marks::Marks;
use crate::flank::pose::fit::fit_marked;
use crate::flank::pose::known_gear::KnownGear;
use crate::flank::{GearFit, Outline};
use crate::frames::Side;
use crate::photo::{Layout, Photo};
use crate::schema::{
    Card, Cutting, FlankForm, FlankSide, Hand, Polarity, Reason, ReasonCode, SeenCutting, Source,
};

/// What the user says about a photo.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct ReadOptions {
    /// The marks, if there are any.
    pub marks: Option<Marks>,
    /// How contact shows; goes before what the marks say.
    pub polarity: Option<Polarity>,
    /// Which flank; goes before what the marks say.
    pub flank: Option<Side>,
    /// Which end is the toe; goes before what the marks say.
    pub hints: FindHints,
    /// Which form the drive flank of this gear set has.
    pub drives_on: FlankForm,
    /// Hand of this ring gear's spiral, if it is known.
    pub hand: Option<Hand>,
    /// How this ring gear was cut, if it is known.
    pub cutting: Option<Cutting>,
    /// What is known of the ring gear's sizes.
    pub gear: KnownGear,
    /// The photo shows the gear mirrored, as front cameras, some apps and inspection mirrors do. Sides, ends
    /// and numbers are the same as without; only the hand is the other.
    pub mirrored: bool,
}

impl Default for ReadOptions {
    /// Nothing said; drive flanks are convex, as on the usual rear axle.
    fn default() -> Self {
        Self {
            marks: None,
            polarity: None,
            flank: None,
            hints: FindHints::default(),
            drives_on: FlankForm::Convex,
            hand: None,
            cutting: None,
            gear: KnownGear::default(),
            mirrored: false,
        }
    }
}

impl ReadOptions {
    /// What a card knows of a photo of its gear: which form drives, the hand of the spiral, the gear's sizes.
    ///
    /// ```
    /// # use flankread::{Card, FlankForm, ReadOptions};
    /// let card = Card::read("examples/larchfield/card.toml")?;
    /// assert_eq!(ReadOptions::of_card(&card).drives_on, FlankForm::Convex);
    /// # Ok::<(), flankread::Error>(())
    /// ```
    pub fn of_card(card: &Card) -> Self {
        Self {
            drives_on: card.gear.drives_on,
            hand: card.gear.hand,
            cutting: Some(card.gear.cutting),
            gear: KnownGear::of_card(card),
            ..Self::default()
        }
    }

    /// The same for a photo that is known to show this flank.
    ///
    /// ```
    /// # use flankread::{ReadOptions, Side};
    /// assert_eq!(ReadOptions::default().of_flank(Side::Coast).flank, Some(Side::Coast));
    /// ```
    #[must_use]
    pub fn of_flank(self, side: Side) -> Self {
        Self {
            flank: Some(side),
            ..self
        }
    }
}

/// Reads a photo: on its marked flanks if there are marks, else on the flanks found in it. Bars about it are left out; a
/// picture of several photos is refused, and its [`Photo::parts`] are read one by one.
pub fn read_photo(photo: &Photo, options: &ReadOptions) -> OutlinedReading {
    let area = match photo.part.map(|(area, ..)| area) {
        Some(area) => area,
        None => match photo.layout() {
            Layout::Whole => return read_whole(photo, options),
            Layout::Framed(area) => *area,
            // Who marks flanks in it has said which photo is meant.
            Layout::Collage(_) if has_marked_teeth(options) => return read_whole(photo, options),
            Layout::Collage(areas) => return refused_collage(photo, options, areas.len()),
        },
    };
    let place = photo.area_in_photo(area);
    let marks = options.marks.as_ref().map(|marks| Marks {
        teeth: (marks.teeth.iter())
            .map(|tooth| tooth.shifted(-place.left, -place.top))
            .collect(),
        ..marks.clone()
    });
    let options = ReadOptions {
        marks,
        ..options.clone()
    };
    let mut read = read_whole(&photo.cropped(area), &options);
    read.in_whole(photo, place);
    read
}

fn has_marked_teeth(options: &ReadOptions) -> bool {
    (options.marks.as_ref()).is_some_and(|marks| !marks.teeth.is_empty())
}

fn refused_collage(photo: &Photo, options: &ReadOptions, photos: usize) -> OutlinedReading {
    let marks = options.marks.clone().unwrap_or_default();
    let why = Reason::new(
        ReasonCode::Collage,
        format!(
            "{photos} photos stand in this one picture. Give each of them as a file of its own, at its full size."
        ),
    );
    unreadable(photo, flank_context(options, &marks, None, None), vec![why])
}

/// Reads all of a picture as one photo.
fn read_whole(photo: &Photo, options: &ReadOptions) -> OutlinedReading {
    let marks = options.marks.clone().unwrap_or_default();
    let mut read = if marks.teeth.is_empty() {
        read_found(photo, options, &marks)
    } else {
        read_marked(photo, options, &marks)
    };
    let doubt = doubt_of_hand(read.reading.hand, options);
    read.doubt(doubt.into_iter().collect());
    let remark = other_cutting(read.reading.cutting, options);
    read.reading.reasons.extend(remark);
    read
}

/// What is known before patches are looked at, with what the flanks themselves tell.
fn flank_context(
    options: &ReadOptions,
    marks: &Marks,
    side: Option<Side>,
    hand: Option<Hand>,
) -> FlankContext {
    let given = options.flank.map(|side| (side, Source::Given));
    let marked = marks.flank.map(|side| (side, Source::Marked));
    let inferred = side.map(|side| (side, Source::Inferred));
    FlankContext {
        flank: (given.or(marked).or(inferred)).map(|(side, source)| FlankSide { side, source }),
        polarity: options.polarity.or(marks.polarity),
        hand: hand.map(|hand| if options.mirrored { hand.other() } else { hand }),
        outline_source: if marks.teeth.is_empty() {
            OutlineSource::Found
        } else {
            OutlineSource::Marked
        },
        hidden: None,
        scatter: None,
        cutting: None,
    }
}

/// Reads a photo on the flanks found in it; the marks may say which they are.
fn read_found(photo: &Photo, options: &ReadOptions, marks: &Marks) -> OutlinedReading {
    let hints = FindHints {
        form: (options.flank.or(marks.flank)).map(|side| form_of(side, options.drives_on)),
        ..options.hints
    };
    let (finder, first) = match found_flanks(photo, &options.gear, &hints) {
        Ok(found) => found,
        Err(reasons) => {
            let why = why_unseen(photo, reasons);
            return unreadable(photo, flank_context(options, marks, None, None), why);
        }
    };
    let coarse_pass = |found: &FoundFlanks| {
        let side = side_of(found.form, options.drives_on);
        let context = FlankContext {
            hidden: found.hidden,
            scatter: Some(found.scatter),
            cutting: found.cutting,
            ..flank_context(options, marks, Some(side), found.hand)
        };
        CoarsePass::over(photo, &found.outlines, context, found.doubts.clone())
    };
    let second_pass = || finder.with_mirrored_pass(&first).find(&hints);
    if outlines_are_doubtful(&first.outlines, &first.doubts) {
        return coarse_pass(second_pass().as_ref().unwrap_or(&first)).finish();
    }
    second_if_sure(coarse_pass(&first), || {
        Some(coarse_pass(&second_pass().ok()?).finish())
    })
}

/// The flanks at a glance, else from nearer by. What the first look that saw a gear says against it stands.
fn found_flanks<'a>(
    photo: &'a Photo,
    gear: &'a KnownGear,
    hints: &FindHints,
) -> Result<(FlankFinder<'a>, FoundFlanks), Vec<Reason>> {
    let look = |finder: FlankFinder<'a>| finder.find(hints).map(|found| (finder, found));
    let mut best = FlankFinder::new(photo, gear).and_then(look);
    let mut closer = FlankFinder::closer(photo, gear);
    while let Err(reasons) = &best
        && reasons
            .iter()
            .all(|reason| reason.code == ReasonCode::NoGear)
        && let Some(finder) = closer.next()
    {
        best = look(finder);
    }
    let (finder, found) = best?;
    let nearer = finder.nearer(&found).and_then(|finder| look(finder).ok());
    Ok(nearer.unwrap_or((finder, found)))
}

/// Reads a photo on its marked flanks.
fn read_marked(photo: &Photo, options: &ReadOptions, marks: &Marks) -> OutlinedReading {
    let fit = fit_marked(photo, &marks.teeth, &options.gear)
        .filter(|fit| fit.misfit < CALIBRATION.marked_fit.worst_misfit);
    let outlines: Vec<Outline> = marks
        .teeth
        .iter()
        .enumerate()
        .map(|(tooth, marked)| match &fit {
            Some(fit) => Outline::from_fit(fit, tooth, marked),
            None => Outline::from_sides(marked),
        })
        .collect();
    let kind = fit.filter(identifies_flank).map(|fit| fit.kind);
    let side = kind.map(|kind| side_of(kind.form, options.drives_on));
    let context = flank_context(options, marks, side, kind.map(|kind| kind.hand));
    read_outlined(photo, &outlines, context)
}

/// Doubts that a second pass over the flanks may end: where they lie. Others are of the photo; which flank is meant
/// is said by the user.
const ENDED_BY_SECOND_PASS: [ReasonCode; 3] = [
    ReasonCode::TeethDisagree,
    ReasonCode::PlaceUnsure,
    ReasonCode::FewTeeth,
];

/// Whether it is in doubt where the flanks lie, and not whose they are, before their patches are looked at: whatever
/// those tell, the reading would be unsure.
fn outlines_are_doubtful(outlines: &[Outline], doubts: &[Reason]) -> bool {
    let by_flanks = |doubt: &Reason| ENDED_BY_SECOND_PASS.contains(&doubt.code);
    let uncertain = outlines.iter().any(|o| too_uncertain(o.doubt));
    doubts.iter().all(by_flanks) && (uncertain || !doubts.is_empty())
}

/// The reading after the first pass over the flanks, unless its coarse pass leaves in doubt where they lie and the
/// reading after the second is sure. A photo that was refused is refused: two passes over one that cannot be read are
/// two chances to be wrong.
fn second_if_sure(
    first: CoarsePass,
    second: impl FnOnce() -> Option<OutlinedReading>,
) -> OutlinedReading {
    if first.is_unsure_for(&ENDED_BY_SECOND_PASS)
        && let Some(second) = second()
        && second.is_sure()
    {
        return second;
    }
    first.finish()
}

/// What speaks against the photo when the gear in it spirals to the other hand than the card's.
fn doubt_of_hand(seen: Option<Hand>, options: &ReadOptions) -> Option<Reason> {
    let (seen, known) = (seen?, options.hand?);
    let word = |hand: Hand| match hand {
        Hand::Left => "left",
        Hand::Right => "right",
    };
    let what = if options.mirrored {
        "The photo is said to be mirrored and does not seem so. If it is not, leave --mirrored away"
    } else {
        "The photo seems mirrored, as front cameras, some apps and inspection mirrors do it. If it is, say --mirrored"
    };
    (seen != known).then(|| {
        Reason::new(
            ReasonCode::Mirrored,
            format!(
                "The ring gear in the photo would be {}-hand, the card's is {}-hand. {what}; else look whether card and gear belong together.",
                word(seen),
                word(known)
            ),
        )
    })
}

/// What is to be looked at when the teeth look cut by the other method than the card's: places do not change with it, what
/// moves them does.
fn other_cutting(seen: Option<SeenCutting>, options: &ReadOptions) -> Option<Reason> {
    let (seen, known) = (seen?, options.cutting?);
    let look = match seen.method {
        Cutting::FaceMilled => {
            "taper towards the toe, as face-milled ones do; the card says face-hobbed"
        }
        Cutting::FaceHobbed => {
            "are as deep at the toe as at the heel, as face-hobbed ones are; the card says face-milled"
        }
    };
    (seen.method != known).then(|| {
        Reason::new(
            ReasonCode::CuttingDiffers,
            format!(
                "The teeth in the photo {look} ({:.0} in 100 that the photo is right). Measure a tooth's depth at both ends, for the pattern moves otherwise on the other kind.",
                100.0 * seen.probability
            ),
        )
    })
}

/// Whether a gear fitted to marks tells which kind of flank they are of.
fn identifies_flank(fit: &GearFit) -> bool {
    let sure = &CALIBRATION.marked_fit;
    fit.misfit < sure.sure_misfit && fit.other_hand_cost_ratio > sure.sure_hand_cost_ratio_marked
}

/// Drive or coast, by which form drives.
fn side_of(form: FlankForm, drives_on: FlankForm) -> Side {
    if form == drives_on {
        Side::Drive
    } else {
        Side::Coast
    }
}

/// The form of the drive or coast flank, by which form drives.
fn form_of(side: Side, drives_on: FlankForm) -> FlankForm {
    match (side, drives_on) {
        (Side::Drive, form) => form,
        (Side::Coast, FlankForm::Convex) => FlankForm::Concave,
        (Side::Coast, FlankForm::Concave) => FlankForm::Convex,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frames::{FlankPoint, PhotoPoint};
    use crate::schema::Status;
    use image::RgbImage;

    /// A reading of that name, with these doubts.
    fn reading(status: Status, codes: &[ReasonCode], path: &str) -> OutlinedReading {
        let photo = Photo::from_pixels(path, RgbImage::new(40, 30));
        let doubts = codes.iter().map(|&code| Reason::new(code, "")).collect();
        let mut read = unreadable(&photo, FlankContext::default(), doubts);
        read.reading.status = status;
        read
    }

    /// Which pass's reading is taken, and whether there was a second one.
    fn taken(first: Status, codes: &[ReasonCode], second: Status) -> (String, bool) {
        let mut has_second = false;
        let photo = Photo::from_pixels("drawn", RgbImage::new(40, 30));
        let first = CoarsePass::settled(&photo, reading(first, codes, "first"));
        let read = second_if_sure(first, || {
            has_second = true;
            Some(reading(second, &[], "second"))
        });
        (read.reading.photo.path, has_second)
    }

    #[test]
    fn flanks_lie_in_doubt_where_no_patch_could_make_it_less() {
        use ReasonCode::{TeethDisagree, WhichFlank};
        let in_doubt = |deviation: f64, codes: &[ReasonCode]| {
            let doubt = FlankPoint::new(deviation, deviation);
            let outline = Outline::from_map(0.2, doubt, |at| {
                PhotoPoint::new(100.0 + 50.0 * at.length, 80.0 - 10.0 * at.height)
            });
            let doubts: Vec<Reason> = codes.iter().map(|&code| Reason::new(code, "")).collect();
            outlines_are_doubtful(&[outline], &doubts)
        };
        assert!(!in_doubt(0.05, &[]));
        assert!(in_doubt(0.1, &[]));
        assert!(in_doubt(0.05, &[TeethDisagree]));
        assert!(!in_doubt(0.05, &[WhichFlank]));
        assert!(!in_doubt(0.1, &[WhichFlank]));
    }

    #[test]
    fn a_second_pass_is_for_doubts_about_the_flanks() {
        use ReasonCode::{FewTeeth, NoPatch, PlaceUnsure, TeethDisagree, WhichFlank};
        use Status::{Read, Unreadable, Unsure};
        assert_eq!(taken(Read, &[], Read), ("first".into(), false));
        let flanks = [TeethDisagree, PlaceUnsure, FewTeeth];
        assert_eq!(taken(Unsure, &flanks, Read), ("second".into(), true));
        assert_eq!(taken(Unsure, &flanks, Unsure), ("first".into(), true));
        assert_eq!(taken(Unsure, &flanks, Unreadable), ("first".into(), true));
        let side = [TeethDisagree, WhichFlank];
        assert_eq!(taken(Unsure, &side, Read), ("first".into(), false));
        assert_eq!(taken(Unreadable, &[NoPatch], Read), ("first".into(), false));
    }

    #[test]
    fn a_doubt_makes_what_is_sure_unsure_and_nothing_else() {
        use Status::{Read, Unreadable, Unsure};
        let doubted = |status: Status, doubts: &[ReasonCode]| {
            let mut read = reading(status, &[], "drawn");
            read.doubt(doubts.iter().map(|&code| Reason::new(code, "")).collect());
            (read.reading.status, read.reading.reasons.len())
        };
        let doubt = [ReasonCode::WhichFlank];
        assert_eq!(doubted(Read, &doubt), (Unsure, 1));
        assert_eq!(doubted(Unsure, &doubt), (Unsure, 1));
        assert_eq!(doubted(Unreadable, &doubt), (Unreadable, 1));
        assert_eq!(doubted(Read, &[]), (Read, 0));
    }

    /// Marks are made in the whole picture, bars and all.
    #[test]
    fn marks_in_a_picture_with_bars_mean_the_same_teeth() {
        let path = format!(
            "{}/fixtures/painted/drive-yellow.jpg",
            env!("CARGO_MANIFEST_DIR")
        );
        let photo = Photo::open(&path).unwrap();
        let marks = Marks::read(format!("{path}.marks.json"), &photo).unwrap();
        let read_with = |photo: &Photo, marks: Marks| {
            let options = ReadOptions {
                marks: Some(marks),
                ..ReadOptions::default()
            };
            read_photo(photo, &options).reading
        };
        let pixels = image::open(&path).unwrap().into_rgb8();
        let bar = pixels.height() / 4;
        let mut framed = RgbImage::new(pixels.width() + 2 * bar, pixels.height() + 2 * bar);
        image::imageops::replace(&mut framed, &pixels, i64::from(bar), i64::from(bar));
        let framed = Photo::from_pixels("framed", framed);
        assert!(matches!(framed.layout(), Layout::Framed(_)));
        let moved = Marks {
            teeth: (marks.teeth.iter())
                .map(|tooth| tooth.shifted(f64::from(bar), f64::from(bar)))
                .collect(),
            ..marks.clone()
        };
        let whole = Photo::from_pixels("whole", pixels);
        let whole = read_with(&whole, marks).mean.unwrap();
        let framed = read_with(&framed, moved).mean.unwrap();
        assert!(
            (whole.centre.length - framed.centre.length).abs() < 0.005
                && (whole.centre.height - framed.centre.height).abs() < 0.02,
            "{whole:?} {framed:?}"
        );
    }

    /// Who marks flanks in a picture of several photos has said which one is meant.
    #[test]
    fn of_several_photos_the_one_with_marks_is_read() {
        let photo = format!(
            "{}/fixtures/painted/drive-yellow.jpg",
            env!("CARGO_MANIFEST_DIR")
        );
        let marks = Marks::read(format!("{photo}.marks.json"), &Photo::open(&photo).unwrap());
        let one = image::open(&photo).unwrap().into_rgb8();
        let mut both =
            RgbImage::from_pixel(one.width(), 2 * one.height() + 20, image::Rgb([255; 3]));
        image::imageops::replace(&mut both, &one, 0, 0);
        image::imageops::replace(&mut both, &one, 0, i64::from(one.height() + 20));
        let both = Photo::from_pixels("both", both);
        let status = |marks: Option<Marks>| {
            let options = ReadOptions {
                marks,
                ..ReadOptions::default()
            };
            read_photo(&both, &options).reading.status
        };
        assert_eq!(status(Some(marks.unwrap())), Status::Read);
        assert_eq!(status(None), Status::Unreadable);
        assert_eq!(status(Some(Marks::default())), Status::Unreadable);
    }
}
