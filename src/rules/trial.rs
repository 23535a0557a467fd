//! The one door between what photos say and what advice is made of: which reading may be used, and how readings, shims
//! and backlash become a trial.

use crate::frames::{FlankPoint, Side};
use crate::schema::{FlankReading, Mean, Reading, ReasonCode, Status, Trial};

/// Why what is there of a flank is not used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotUsable {
    /// No photo shows the flank.
    #[error("no photo shows it")]
    NoPhoto,
    /// Several photos show it and none was said to count.
    #[error("{0} photos show it")]
    SeveralPhotos(usize),
    /// There are numbers, but the photo seems mirrored and was not said to be, or the other way round.
    #[error(
        "its photo does not show the hand that the card says: say --mirrored if it is mirrored"
    )]
    Mirrored,
    /// There are numbers, and the user did not say to use them.
    #[error("its reading is unsure")]
    Unsure,
    /// There are no numbers.
    #[error("it could not be read ({})", .reason.as_deref().unwrap_or("no reason given"))]
    Unreadable {
        /// The first reason of the reading, a sentence.
        reason: Option<String>,
    },
    /// Sure photos of it show different places.
    #[error("its photos show the patch in different places")]
    Contradicted,
}

impl From<NotUsable> for crate::Error {
    fn from(error: NotUsable) -> Self {
        Self::of(crate::ErrorKind::Input, error)
    }
}

/// Why there is no trial that advice could be made of.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the {} flank is not usable: {why}", .side.word())]
pub(crate) struct FlankNotUsable {
    /// Which flank.
    pub side: Side,
    /// Why.
    pub why: NotUsable,
}

/// The reading of a photo as a trial holds it.
///
/// ```
/// use flankread::{NotUsable, Photo, ReadOptions, read_photo, usable};
/// let nothing = Photo::from_rgb("black", 640, 480, vec![0; 640 * 480 * 3]).unwrap();
/// let read = read_photo(&nothing, &ReadOptions::default());
/// assert!(matches!(usable(&read.reading, true), Err(NotUsable::Unreadable { .. })));
/// ```
///
/// # Errors
/// The reading is unsure and `use_unsure` is not said, or there is none.
pub fn usable(reading: &Reading, use_unsure: bool) -> Result<FlankReading, NotUsable> {
    let reason = || reading.reasons.first().map(|r| r.message.clone());
    let mirrored = (reading.reasons.iter()).any(|r| r.code == ReasonCode::Mirrored);
    usable_mean(
        reading.status,
        reading.mean,
        reading.uncertainty,
        use_unsure,
    )
    .map_err(|why| match why {
        NotUsable::Unsure if mirrored => NotUsable::Mirrored,
        NotUsable::Unreadable { .. } => NotUsable::Unreadable { reason: reason() },
        other => other,
    })
}

/// The same of what is kept of a reading: its status, its mean and that mean's half widths.
///
/// # Errors
/// As [`usable`].
pub(crate) fn usable_mean(
    status: Status,
    mean: Option<Mean>,
    uncertainty: Option<FlankPoint>,
    use_unsure: bool,
) -> Result<FlankReading, NotUsable> {
    match (status, mean) {
        (Status::Read, Some(mean)) => Ok(FlankReading::from_mean(&mean, uncertainty)),
        (Status::Unsure, Some(mean)) if use_unsure => {
            Ok(FlankReading::from_mean(&mean, uncertainty))
        }
        (Status::Unsure, _) => Err(NotUsable::Unsure),
        _ => Err(NotUsable::Unreadable { reason: None }),
    }
}

/// The trial of one assembly: shims and backlash as `measured`, and what `read` says of each flank.
///
/// # Errors
/// The first flank that is not usable, drive before coast.
pub(crate) fn of_both_flanks(
    measured: Trial,
    read: impl Fn(Side) -> Result<FlankReading, NotUsable>,
) -> Result<Trial, FlankNotUsable> {
    let of = |side| read(side).map_err(|why| FlankNotUsable { side, why });
    Ok(Trial {
        drive: Some(of(Side::Drive)?),
        coast: Some(of(Side::Coast)?),
        ..measured
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mean() -> Mean {
        let middle = FlankPoint::new(0.5, 0.5);
        Mean {
            centre: middle,
            extent: middle,
            lean_deg: 0.0,
            spread: FlankPoint::new(0.01, 0.01),
            teeth: 3,
        }
    }

    #[test]
    fn an_unsure_reading_needs_the_user_s_word() {
        let read = |status, mean, word| usable_mean(status, mean, None, word);
        assert!(read(Status::Read, Some(mean()), false).is_ok());
        assert!(read(Status::Unsure, Some(mean()), true).is_ok());
        assert_eq!(
            read(Status::Unsure, Some(mean()), false),
            Err(NotUsable::Unsure)
        );
        assert_eq!(read(Status::Unsure, None, true), Err(NotUsable::Unsure));
        for word in [false, true] {
            assert_eq!(
                read(Status::Unreadable, Some(mean()), word),
                Err(NotUsable::Unreadable { reason: None })
            );
        }
    }

    #[test]
    fn both_flanks_make_a_trial_and_the_first_that_does_not_is_named() {
        let read = || usable_mean(Status::Read, Some(mean()), None, false);
        let measured = || Trial {
            backlash_mm: vec![0.2],
            ..Trial::default()
        };
        let trial = of_both_flanks(measured(), |_| read()).unwrap();
        assert!(trial.drive.is_some() && trial.coast.is_some());
        assert_eq!(trial.backlash_mm, [0.2]);
        let refused = of_both_flanks(measured(), |side| match side {
            Side::Drive => read(),
            Side::Coast => Err(NotUsable::NoPhoto),
        });
        let side = Side::Coast;
        let why = NotUsable::NoPhoto;
        assert_eq!(refused, Err(FlankNotUsable { side, why }));
    }
}
