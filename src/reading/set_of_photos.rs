//! Photos that are taken to be of one gear set: whether they can be.

use super::OutlinedReading;
use crate::schema::{Hand, Reason, ReasonCode};

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
            if !reading.photo.sha256.is_empty() && reading.photo.sha256 == other.photo.sha256 {
                let message = format!(
                    "{} and {} are the same file. Give one photo of each flank.",
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::photo::Photo;
    use crate::reading::measure_patches::{FlankContext, unreadable};
    use crate::schema::Status;
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
}
