//! The passes over the outlined flanks of a photo: coarse, fine where need be, and once more for patches of any shape.

use super::calibration::CALIBRATION;
use super::coverage::OutlineSource;
use super::judge;
use super::measure_patches::{FlankContext, OutlinedReading, read_maps, unreadable};
use super::picture_quality::quality_of;
use crate::flank::rectify::{FINE_MAP_SIZE, MAP_SIZE};
use crate::flank::{FlankMap, Outline};
use crate::photo::Photo;
use crate::schema::{Reason, ReasonCode, Status};
use crate::segment::Shapes;

/// Reads the patches on the outlined flanks of a photo: where a coarse pass over them does not end with a sure
/// reading of plain patches, a fine one follows, and counts if its reading is sure.
pub(crate) fn read_outlined(
    photo: &Photo,
    outlines: &[Outline],
    context: FlankContext,
) -> OutlinedReading {
    CoarsePass::over(photo, outlines, context, Vec::new()).finish()
}

/// The reading of small maps of outlined flanks.
pub(super) struct CoarsePass<'a> {
    photo: &'a Photo,
    context: FlankContext,
    /// Of the flanks, from before their patches were looked at.
    doubts: Vec<Reason>,
    read: OutlinedReading,
    /// How plain the patches are, 0 … 1; `None` where a fine pass could add nothing.
    contrast: Option<f64>,
}

impl<'a> CoarsePass<'a> {
    pub(super) fn over(
        photo: &'a Photo,
        outlines: &[Outline],
        context: FlankContext,
        doubts: Vec<Reason>,
    ) -> Self {
        let maps = flattened(photo, outlines, MAP_SIZE);
        let against = judge::against_flanks(outlines, quality_of(photo, outlines, &maps));
        let (read, contrast) = if against.is_empty() {
            let (read, contrast) = read_maps(photo, outlines, context, &maps, Shapes::Usual);
            (read, Some(contrast))
        } else {
            let no_hand = FlankContext {
                hand: None,
                cutting: None,
                ..context
            };
            let read = unreadable(photo, no_hand, against);
            let outlines = outlines.to_vec();
            (OutlinedReading { outlines, ..read }, None)
        };
        Self {
            photo,
            context,
            doubts,
            read,
            contrast,
        }
    }

    /// One that a fine pass adds nothing to.
    #[cfg(test)]
    pub(super) fn settled(photo: &'a Photo, read: OutlinedReading) -> Self {
        Self {
            photo,
            context: FlankContext::default(),
            doubts: Vec::new(),
            read,
            contrast: None,
        }
    }

    /// Whether it is unsure for reasons like these, and for no others.
    pub(super) fn is_unsure_for(&self, reasons: &[ReasonCode]) -> bool {
        let among = |doubt: &Reason| reasons.contains(&doubt.code);
        let reading = &self.read.reading;
        reading.status == Status::Unsure && reading.reasons.iter().chain(&self.doubts).all(among)
    }

    /// The reading, with a fine pass where need be.
    pub(super) fn finish(self) -> OutlinedReading {
        let pass = |outlines: &[Outline], size, shapes| {
            let maps = flattened(self.photo, outlines, size);
            read_maps(self.photo, outlines, self.context, &maps, shapes).0
        };
        let fine_pass = |outlines: &[Outline]| pass(outlines, FINE_MAP_SIZE, Shapes::Usual);
        let mut read = match self.contrast {
            Some(contrast) => {
                // Of marked flanks nothing had to be found, which leaves time for a fine pass.
                let plain = self.context.outline_source == OutlineSource::Found
                    && contrast > CALIBRATION.patches.plain_contrast;
                let read = finer_if_sure(self.read, plain, fine_pass);
                of_any_shape(read, |outlines, size| pass(outlines, size, Shapes::Any))
            }
            None => self.read,
        };
        read.doubt(self.doubts);
        read
    }
}

/// The coarse pass's reading if it is sure and plain, else the fine pass's, unless only the coarse one's is sure. The
/// fine pass is made only where need be.
fn finer_if_sure(
    coarse: OutlinedReading,
    plain: bool,
    fine_pass: impl FnOnce(&[Outline]) -> OutlinedReading,
) -> OutlinedReading {
    if coarse.is_sure() && plain {
        return coarse;
    }
    let mut fine = fine_pass(&coarse.outlines);
    match (coarse.is_sure(), fine.is_sure()) {
        (true, false) => coarse,
        (true, true) => {
            fine.doubt_by(&coarse.reading);
            fine
        }
        _ => fine,
    }
}

/// A reading that saw no patch, or what is seen by networks that know patches of any shape: sure where both their passes
/// are, unsure where one of them is. They are asked only then, for a patch of a usual shape they place less well.
fn of_any_shape(
    read: OutlinedReading,
    pass: impl Fn(&[Outline], (usize, usize)) -> OutlinedReading,
) -> OutlinedReading {
    let reading = &read.reading;
    let without_patch = [ReasonCode::NoPatch, ReasonCode::NoCompound];
    let sees_none = reading.status == Status::Unreadable
        && (reading.reasons.iter()).all(|reason| without_patch.contains(&reason.code));
    if !sees_none {
        return read;
    }
    let [coarse, mut fine] = [MAP_SIZE, FINE_MAP_SIZE].map(|size| pass(&read.outlines, size));
    let mut one_alone = match (coarse.is_sure(), fine.is_sure()) {
        (true, true) => {
            fine.doubt_by(&coarse.reading);
            return fine;
        }
        (true, false) => coarse,
        (false, true) => fine,
        (false, false) => return read,
    };
    one_alone.doubt(vec![Reason::new(
        ReasonCode::PlaceUnsure,
        "Only one of two looks was sure of this patch: it is faint, or of an unusual shape. Look at its outline on the picture. Take the photo nearer, or paint the teeth afresh and thinly, roll them and take it again.",
    )]);
    one_alone
}

fn flattened(photo: &Photo, outlines: &[Outline], size: (usize, usize)) -> Vec<FlankMap> {
    let flatten = |outline| FlankMap::new(photo, outline, size);
    outlines.iter().map(flatten).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frames::FlankPoint;
    use crate::schema::Mean;
    use image::RgbImage;

    #[test]
    fn a_fine_pass_follows_where_the_coarse_one_is_not_sure_and_plain_and_counts_if_it_is_sure() {
        let read = |name: &str, status| {
            let photo = Photo::from_pixels(name, RgbImage::new(8, 8));
            let mut read = unreadable(&photo, FlankContext::default(), Vec::new());
            read.reading.status = status;
            read
        };
        let best = |coarse, plain, fine| {
            let followed = std::cell::Cell::new(false);
            let best = finer_if_sure(read("coarse", coarse), plain, |_| {
                followed.set(true);
                read("fine", fine)
            });
            (best.reading.photo.path, followed.get())
        };
        use Status::{Read, Unreadable, Unsure};
        assert_eq!(best(Read, true, Read), ("coarse".into(), false));
        assert_eq!(best(Read, false, Read), ("fine".into(), true));
        assert_eq!(best(Read, false, Unsure), ("coarse".into(), true));
        assert_eq!(best(Unsure, true, Read), ("fine".into(), true));
        assert_eq!(best(Unsure, true, Unreadable), ("fine".into(), true));
    }

    #[test]
    fn passes_that_differ_doubt_each_other_and_far_apart_they_tell_nothing() {
        let pass = |length: f64, height: f64| {
            let photo = Photo::from_pixels("drawn", RgbImage::new(8, 8));
            let mut read = unreadable(&photo, FlankContext::default(), Vec::new());
            let centre = FlankPoint::new(length, height);
            read.reading.status = Status::Read;
            read.reading.uncertainty = Some(FlankPoint::new(0.03, 0.04));
            read.reading.mean = Some(Mean {
                centre,
                extent: FlankPoint::new(0.5, 0.5),
                lean_deg: 0.0,
                spread: FlankPoint::new(0.01, 0.01),
                teeth: 4,
            });
            read
        };
        let mut near = pass(0.54, 0.53);
        near.doubt_by(&pass(0.5, 0.5).reading);
        let widened = near.reading.uncertainty.unwrap();
        assert!((widened.length - 0.05).abs() < 1e-9 && (widened.height - 0.05).abs() < 1e-9);
        assert_eq!(near.reading.status, Status::Read);
        let mut far = pass(0.6, 0.5);
        far.doubt_by(&pass(0.5, 0.5).reading);
        assert_eq!(far.reading.status, Status::Unsure);
    }

    #[test]
    fn where_no_patch_is_seen_it_takes_two_passes_for_any_shape_to_be_sure() {
        use Status::{Read, Unreadable, Unsure};
        let read = |name: &str, status, code: Option<ReasonCode>| {
            let photo = Photo::from_pixels(name, RgbImage::new(8, 8));
            let reasons = code
                .map(|code| Reason::new(code, "…"))
                .into_iter()
                .collect();
            let mut read = unreadable(&photo, FlankContext::default(), reasons);
            read.reading.status = status;
            read
        };
        let best = |status, code, coarse, fine| {
            let first = read("first", status, code);
            let best = of_any_shape(first, |_, size| match size {
                MAP_SIZE => read("coarse", coarse, None),
                _ => read("fine", fine, None),
            });
            (best.reading.photo.path, best.reading.status)
        };
        let none = Some(ReasonCode::NoPatch);
        let same = |path: &str, status| (path.to_owned(), status);
        assert_eq!(best(Unreadable, none, Read, Read), same("fine", Read));
        assert_eq!(best(Unreadable, none, Unsure, Read), same("fine", Unsure));
        assert_eq!(best(Unreadable, none, Read, Unsure), same("coarse", Unsure));
        let first = same("first", Unreadable);
        assert_eq!(best(Unreadable, none, Unsure, Unsure), first);
        let hidden = Some(ReasonCode::FlankHidden);
        assert_eq!(best(Unreadable, hidden, Read, Read), first);
        assert_eq!(best(Unsure, none, Read, Read), same("first", Unsure));
        assert_eq!(best(Read, None, Read, Read), same("first", Read));
    }
}
