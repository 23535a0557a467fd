//! Mirrored photos, and pictures that hold no painted gear at all.

use crate::common::root;
use flankread::{Hand, Photo, ReadOptions, Reading, ReasonCode, Side, Status, read_photo};
use image::{Rgb, RgbImage, imageops};

/// A right-hand ring gear's drive flanks, by the renderer's own words (`h007.json`).
fn rendered() -> Photo {
    Photo::open(root("fixtures/rendered/h007.jpg")).unwrap()
}

/// The same in a mirror.
fn in_a_mirror() -> Photo {
    let picture = image::open(root("fixtures/rendered/h007.jpg")).unwrap();
    of(&imageops::flip_horizontal(&picture.into_rgb8()))
}

fn of(picture: &RgbImage) -> Photo {
    let (width, height) = picture.dimensions();
    Photo::from_rgb("drawn", width, height, picture.clone().into_raw()).unwrap()
}

fn read(photo: &Photo, hand: Option<Hand>, mirrored: bool) -> Reading {
    let mut options = ReadOptions::default();
    options.hand = hand;
    options.mirrored = mirrored;
    read_photo(photo, &options).reading
}

fn says_mirrored(reading: &Reading) -> bool {
    let mut codes = reading.reasons.iter().map(|reason| reason.code);
    codes.any(|code| code == ReasonCode::Mirrored)
}

#[test]
fn a_mirrored_photo_reads_the_same_and_is_told_by_the_cards_hand() {
    let upright = read(&rendered(), Some(Hand::Right), false);
    assert_eq!(upright.status, Status::Read, "{:?}", upright.reasons);
    assert_eq!(upright.hand, Some(Hand::Right));
    assert!(!says_mirrored(&upright));

    let flipped = in_a_mirror();
    let unsaid = read(&flipped, Some(Hand::Right), false);
    assert_eq!(unsaid.status, Status::Unsure);
    assert!(says_mirrored(&unsaid), "{:?}", unsaid.reasons);

    let said = read(&flipped, Some(Hand::Right), true);
    assert!(!says_mirrored(&said), "{:?}", said.reasons);
    assert_eq!(said.hand, Some(Hand::Right));
    assert_eq!(said.flank.unwrap().side, Side::Drive);
    let (a, b) = (upright.mean.unwrap().centre, said.mean.unwrap().centre);
    let near = said.uncertainty.unwrap();
    assert!((a.length - b.length).abs() < near.length, "{a:?} {b:?}");
    assert!((a.height - b.height).abs() < near.height, "{a:?} {b:?}");
}

#[test]
fn without_a_cards_word_on_the_hand_nothing_is_said_of_mirrors() {
    let reading = read(&in_a_mirror(), None, false);
    assert!(!says_mirrored(&reading));
    assert_eq!(reading.hand, Some(Hand::Left));
    assert!(reading.mean.is_some(), "{:?}", reading.reasons);
}

#[test]
#[ignore = "slow: by .ci/run"]
fn plain_colours_noise_and_patterns_are_never_answered() {
    let mut state = 1u32;
    let mut chance = || {
        // Constants of Numerical Recipes' quick generator, from memory; any would do.
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 24) as u8
    };
    let size = (480, 360);
    let plain = |colour| RgbImage::from_pixel(size.0, size.1, Rgb(colour));
    let mut pictures = vec![
        plain([0, 0, 0]),
        plain([255, 255, 255]),
        plain([128, 128, 128]),
        plain([220, 180, 40]),
    ];
    pictures.push(RgbImage::from_fn(size.0, size.1, |_, _| {
        Rgb([chance(), chance(), chance()])
    }));
    pictures.push(RgbImage::from_fn(size.0, size.1, |x, y| {
        let wave = 127.0 + 120.0 * ((x as f32 + 0.5 * y as f32) / 9.0).sin();
        Rgb([wave as u8, (0.8 * wave) as u8, 40])
    }));
    for (index, picture) in pictures.into_iter().enumerate() {
        let reading = read(&of(&picture), None, false);
        assert_eq!(reading.status, Status::Unreadable, "picture {index}");
    }
}
