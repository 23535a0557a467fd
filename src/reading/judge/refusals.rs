//! Each word against a reading by what it is about: a sound one says none, and one thing that is wrong says its own.

use super::tests::wiped;
use super::*;
use crate::frames::{PhotoPoint, Side};
use crate::reading::combine::{ToothPatch, combine};
use crate::reading::numbers::patch_numbers;
use crate::schema::Source;
use crate::segment::mask::Mask;
use image::RgbImage;
use ndarray::s;

/// A flank of so many pixels that begins so many from the left edge.
fn outline(left: f64, length_px: f64, height_px: f64) -> Outline {
    Outline::from_map(0.2, FlankPoint::new(0.004, 0.006), |at| {
        PhotoPoint::new(left + length_px * at.length, 200.0 - height_px * at.height)
    })
}

const SOUND: Quality = Quality {
    sharpness: 4.0,
    surroundings: None,
    burnt_share: 0.0,
    darkest_fifth: 0.1,
    brightness: 0.3,
};

fn against(length_px: f64, height_px: f64, quality: Quality) -> Vec<ReasonCode> {
    let outline = outline(50.0, length_px, height_px);
    let said = against_flanks(&[outline], Some(quality));
    said.into_iter().map(|reason| reason.code).collect()
}

#[test]
fn small_dark_and_blurred_flanks_are_each_refused_for_what_they_are() {
    assert_eq!(against(200.0, 40.0, SOUND), []);
    // The README: flanks are tried from 40 pixels of length on.
    assert_eq!(against(41.0, 40.0, SOUND), []);
    assert_eq!(against(38.0, 40.0, SOUND), [ReasonCode::TooSmall]);
    assert_eq!(against(200.0, 3.0, SOUND), [ReasonCode::TooSmall]);
    let dark = Quality {
        brightness: 0.0,
        ..SOUND
    };
    assert_eq!(against(200.0, 40.0, dark), [ReasonCode::TooDark]);
    let blurred = Quality {
        sharpness: 0.1,
        ..SOUND
    };
    assert_eq!(against(200.0, 40.0, blurred), [ReasonCode::Blurred]);
    let thinly_painted = |surroundings| Quality {
        sharpness: 2.2,
        surroundings: Some(surroundings),
        ..SOUND
    };
    assert_eq!(against(200.0, 40.0, thinly_painted(3.0)), []);
    let soft = against(200.0, 40.0, thinly_painted(1.4));
    assert_eq!(soft, [ReasonCode::Blurred]);
    let none: Vec<ReasonCode> = against_flanks(&[], None).iter().map(|r| r.code).collect();
    assert_eq!(none, [ReasonCode::NoGear]);
}

/// What is seen of the compound and the patches, which a test changes in one thing.
struct Seen {
    compound: SeenCompound,
    left: f64,
    islands: usize,
    patches: bool,
    glare: f64,
    behind: f64,
    side: Option<Side>,
}

impl Default for Seen {
    fn default() -> Self {
        Self {
            compound: wiped(),
            left: 100.0,
            islands: 0,
            patches: true,
            glare: 0.0,
            behind: 0.0,
            side: Some(Side::Drive),
        }
    }
}

fn judged(seen: &Seen) -> (Status, Vec<ReasonCode>) {
    let mut region = Mask::from_elem((48, 128), false);
    region.slice_mut(s![16..32, 40..88]).fill(true);
    let numbers = patch_numbers(&region, 0.2).unwrap();
    let tooth = || ToothPatch {
        patch: numbers,
        band: FlankPoint::new(0.004, 0.006),
        doubt: FlankPoint::new(0.004, 0.006),
        confidence: 1.0,
    };
    let combined = combine(&[tooth(), tooth(), tooth(), tooth()]);
    let photo = Photo::from_pixels("drawn", RgbImage::new(400, 300));
    let patch = FoundPatch {
        islands: vec![region.clone(); seen.islands],
        band: [region.clone(), region.clone()],
        region,
        contrast: 1.0,
        agreement: 1.0,
        hidden: 0.0,
    };
    let patch = seen.patches.then_some(patch);
    let judged = Judged {
        outlines: &vec![outline(seen.left, 200.0, 40.0); 4],
        photo: &photo,
        compound: Some(&seen.compound),
        patches: &vec![patch; 4],
        combined: combined.as_ref(),
        glare: seen.glare,
        behind: Some((HiddenEnd::Toe, seen.behind)),
        flank: seen.side.map(|side| FlankSide {
            side,
            source: Source::Given,
        }),
        outline_source: OutlineSource::Found,
    };
    let (status, reasons) = judge(&judged);
    (status, reasons.into_iter().map(|one| one.code).collect())
}

#[test]
fn each_doubt_about_a_patch_is_said_by_its_own_word() {
    let sound = Seen::default();
    assert_eq!(judged(&sound), (Status::Read, vec![]));
    let unsure = |seen: Seen, code| assert_eq!(judged(&seen), (Status::Unsure, vec![code]));
    let with = Seen::default;
    let mut either_way = with();
    either_way.compound.polarity_sure = 0.0;
    unsure(either_way, ReasonCode::Polarity);
    unsure(
        Seen {
            glare: 0.9,
            ..with()
        },
        ReasonCode::Glare,
    );
    unsure(
        Seen {
            side: None,
            ..with()
        },
        ReasonCode::WhichFlank,
    );
    // Three quarters of every flank lie outside the photo, which ends at 400.
    unsure(
        Seen {
            left: 350.0,
            ..with()
        },
        ReasonCode::FlankCropped,
    );
    unsure(
        Seen {
            islands: 2,
            ..with()
        },
        ReasonCode::TwoPatches,
    );
}

#[test]
fn flanks_without_a_shared_patch_are_refused_as_not_rolled_or_as_bare() {
    let mut seen = Seen {
        patches: false,
        ..Seen::default()
    };
    assert_eq!(
        judged(&seen),
        (Status::Unreadable, vec![ReasonCode::NoPatch])
    );
    (seen.compound.beside, seen.compound.in_patch) = (0.0, 0.0);
    assert_eq!(
        judged(&seen),
        (Status::Unreadable, vec![ReasonCode::NoCompound])
    );
}

#[test]
fn light_that_lies_alike_on_bare_flanks_is_no_patch() {
    let mut seen = Seen::default();
    (seen.compound.beside, seen.compound.in_patch) = (0.02, 0.12);
    assert_eq!(
        judged(&seen),
        (Status::Unreadable, vec![ReasonCode::NoCompound])
    );
}

#[test]
fn a_patch_that_runs_on_behind_what_hides_an_end_is_refused() {
    let behind = |behind: f64| {
        judged(&Seen {
            behind,
            ..Seen::default()
        })
    };
    assert_eq!(behind(0.1), (Status::Read, vec![]));
    let hidden = (Status::Unreadable, vec![ReasonCode::FlankHidden]);
    assert_eq!(behind(0.9), hidden);
}
