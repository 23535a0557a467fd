//! Photos that are taken to be of one gear set: whether they can be.

use super::OutlinedReading;
use crate::frames::PhotoPoint;
use crate::schema::{Corners, Hand, Reading, Reason, ReasonCode, Status};

/// What goes with numbers of both flanks that came from one photo.
pub(crate) const ONE_PHOTO: &str = "Both flanks were read from one photo, one of them seen at a slant: look at the outlines of \
    both, and take a photo of each flank where it matters.";

/// Adds the doubts that readings of photos of one gear set raise together: the same file twice, ring gears of both hands.
pub(crate) fn doubt_set(readings: &mut [&mut OutlinedReading]) {
    let word = |hand: Hand| match hand {
        Hand::Left => "left",
        Hand::Right => "right",
    };
    let mut found: Vec<(usize, String)> = Vec::new();
    for later in 1..readings.len() {
        let reading = &readings[later].reading;
        for (earlier, other) in readings[..later].iter().enumerate() {
            let other = &other.reading;
            let same_file =
                !reading.photo.sha256.is_empty() && reading.photo.sha256 == other.photo.sha256;
            if same_file && shows_both(other, reading) {
                continue;
            }
            if same_file {
                let message = format!(
                    "{} and {} are the same file, and it does not show both flanks well. Give one photo of each flank.",
                    other.photo.path, reading.photo.path
                );
                found.push((earlier, message.clone()));
                found.push((later, message));
            } else if let (Some(one), Some(two)) = (other.hand, reading.hand)
                && one != two
            {
                let message = format!(
                    "The ring gear in {} is {}-hand, the one in {} {}-hand: they are not one gear, or one of the photos is mirrored. Look whether they belong together, or say --mirrored for the one that is.",
                    other.photo.path,
                    word(one),
                    reading.photo.path,
                    word(two)
                );
                found.push((earlier, message.clone()));
                found.push((later, message));
            }
        }
    }
    for (which, message) in found {
        readings[which].doubt(vec![Reason::new(ReasonCode::TwoGears, message)]);
    }
}

/// Whether two readings of one photo are of its two kinds of flanks: both sure, of one gear's hand, no flank of the one
/// lying on a flank of the other. One flank taken for both kinds lies on itself, and would be of the other hand.
pub(crate) fn shows_both(one: &Reading, two: &Reading) -> bool {
    let sure = |reading: &Reading| reading.status == Status::Read;
    let sides = one
        .flank
        .zip(two.flank)
        .is_some_and(|(one, two)| one.side != two.side);
    let hands = one.hand.is_some() && one.hand == two.hand;
    let apart = |a: &Reading, b: &Reading| {
        a.teeth.iter().all(|tooth| {
            let middle = middle(&tooth.corners);
            b.teeth
                .iter()
                .all(|other| !is_inside(middle, &other.corners))
        })
    };
    sure(one) && sure(two) && sides && hands && apart(one, two) && apart(two, one)
}

fn middle(corners: &Corners) -> PhotoPoint {
    let [a, b, c, d] = corners.ring();
    a.lerp(c, 0.5).lerp(b.lerp(d, 0.5), 0.5)
}

/// Whether a point lies within the four corners, by counting the sides to its right.
fn is_inside(point: PhotoPoint, corners: &Corners) -> bool {
    let ring = corners.ring();
    let crossed = (0..4).filter(|&i| {
        let (a, b) = (ring[i], ring[(i + 1) % 4]);
        (a.y > point.y) != (b.y > point.y)
            && point.x < a.x + (b.x - a.x) * (point.y - a.y) / (b.y - a.y)
    });
    crossed.count() % 2 == 1
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frames::Side;
    use crate::photo::Photo;
    use crate::reading::measure_patches::{FlankContext, unreadable};
    use crate::schema::{FlankSide, Source, Tooth};
    use image::RgbImage;

    fn read(path: &str, sha256: &str, hand: Option<Hand>) -> OutlinedReading {
        let photo = Photo {
            sha256: sha256.into(),
            ..Photo::from_pixels(path, RgbImage::new(40, 30))
        };
        let context = FlankContext {
            hand,
            ..FlankContext::default()
        };
        let mut read = unreadable(&photo, context, Vec::new());
        read.reading.status = Status::Read;
        read
    }

    /// How many of these are doubted.
    fn doubted(mut readings: Vec<OutlinedReading>) -> usize {
        doubt_set(&mut readings.iter_mut().collect::<Vec<_>>());
        let unsure = readings.iter().filter(|read| {
            let codes = read.reading.reasons.iter().map(|reason| reason.code);
            read.reading.status == Status::Unsure && codes.eq([ReasonCode::TwoGears])
        });
        unsure.count()
    }

    #[test]
    fn gears_of_both_hands_and_the_same_file_twice_are_no_set() {
        let (left, right) = (Some(Hand::Left), Some(Hand::Right));
        assert_eq!(doubted(vec![read("a", "1", left), read("b", "2", left)]), 0);
        assert_eq!(doubted(vec![read("a", "1", left), read("b", "2", None)]), 0);
        assert_eq!(
            doubted(vec![read("a", "1", left), read("b", "2", right)]),
            2
        );
        assert_eq!(doubted(vec![read("a", "1", None), read("b", "1", None)]), 2);
        assert_eq!(doubted(vec![read("a", "", None), read("b", "", None)]), 0);
    }

    /// One photo serves for both kinds of flanks where each reading is sure, of the other kind, of one gear, and no flank was
    /// taken for both.
    #[test]
    fn one_photo_shows_both_kinds_of_flanks_or_it_does_not() {
        let flank = |side: Side, left: f64| {
            let mut read = read("a", "1", Some(Hand::Left)).reading;
            read.flank = Some(FlankSide {
                side,
                source: Source::Given,
            });
            let at = |x: f64, y: f64| PhotoPoint::new(left + x, y);
            read.teeth = vec![Tooth {
                corners: Corners {
                    toe_root: at(0.0, 10.0),
                    toe_tip: at(0.0, 0.0),
                    heel_tip: at(30.0, 0.0),
                    heel_root: at(30.0, 10.0),
                },
                root: Vec::new(),
                tip: Vec::new(),
                patch: None,
                islands: Vec::new(),
                confidence: 1.0,
            }];
            read
        };
        let drive = flank(Side::Drive, 0.0);
        let coast = flank(Side::Coast, 50.0);
        assert!(shows_both(&drive, &coast));
        assert!(!shows_both(&drive, &flank(Side::Drive, 50.0)));
        assert!(!shows_both(&drive, &flank(Side::Coast, 5.0)));
        // A small one at the end of a large one: the middle of the large one lies free.
        let mut small = flank(Side::Coast, 0.0);
        small.teeth[0].corners = small.teeth[0]
            .corners
            .map(|p| PhotoPoint::new(0.2 * p.x, p.y));
        assert!(!shows_both(&drive, &small) && !shows_both(&small, &drive));
        for spoilt in [
            |read: &mut Reading| read.status = Status::Unsure,
            |read: &mut Reading| read.hand = Some(Hand::Right),
            |read: &mut Reading| read.hand = None,
            |read: &mut Reading| read.flank = None,
        ] {
            let mut one = coast.clone();
            spoilt(&mut one);
            assert!(!shows_both(&drive, &one) && !shows_both(&one, &drive));
        }
    }
}
