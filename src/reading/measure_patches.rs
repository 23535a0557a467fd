//! Outlined flanks of a photo → its reading.

use super::calibration::CALIBRATION;
use super::combine::{Combined, ToothPatch, combine};
use super::coverage::{OutlineSource, half_width_90};
use super::judge;
use super::judge::Judged;
use super::numbers::patch_numbers;
use super::patch_cells::{burnt_share, glare_share, share_behind, without_burnt};
use super::picture_quality::quality_of;
use crate::flank::rectify::{FINE_MAP_SIZE, MAP_SIZE};
use crate::flank::{FitScatter, FlankMap, HiddenEnd, Outline};
use crate::frames::FlankPoint;
use crate::photo::Photo;
use crate::schema::reading::SCHEMA;
use crate::schema::{
    Compound, FlankSide, Hand, PhotoFacts, Polarity, Reading, Reason, ReasonCode, SeenCutting,
    Status, Tooth,
};
use crate::segment::mask::Mask;
use crate::segment::{FoundPatch, SeenCompound, compound_on, find_patches, segment_flanks};

/// What is known of a photo before its patches are looked at.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct FlankContext {
    /// Which flank the outlines are of, and who said so.
    pub flank: Option<FlankSide>,
    /// How contact shows, when the user said so.
    pub polarity: Option<Polarity>,
    /// Who drew the outlines.
    pub outline_source: OutlineSource,
    /// Hand of the ring gear, if the outlines tell.
    pub hand: Option<Hand>,
    /// How the gear was cut, if the outlines tell.
    pub cutting: Option<SeenCutting>,
    /// The end of the flanks that something hides.
    pub hidden: Option<HiddenEnd>,
    /// How far off the fitted gear is, if the flanks were found.
    pub scatter: Option<FitScatter>,
}

/// A reading with what its pictures need.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub struct OutlinedReading {
    /// The reading.
    pub reading: Reading,
    /// Patch region of each of the reading's teeth on a map of length × height.
    pub(crate) regions: Vec<Option<Mask>>,
    /// Outline of each of the reading's teeth.
    pub(crate) outlines: Vec<Outline>,
}

impl OutlinedReading {
    /// Adds doubts from before the patches were looked at: a sure reading becomes unsure.
    pub(super) fn doubt(&mut self, doubts: Vec<Reason>) {
        if !doubts.is_empty() && self.reading.status == Status::Read {
            self.reading.status = Status::Unsure;
        }
        self.reading.reasons.extend(doubts);
    }

    /// A fine pass is as much in doubt as the coarse one differs from it.
    fn doubt_by(&mut self, coarse: &Reading) {
        let (Some(fine), Some(coarse)) = (self.reading.mean, coarse.mean) else {
            return;
        };
        let apart = FlankPoint::new(
            (fine.centre.length - coarse.centre.length).abs(),
            (fine.centre.height - coarse.centre.height).abs(),
        );
        if let Some(uncertainty) = &mut self.reading.uncertainty {
            uncertainty.length = uncertainty.length.hypot(apart.length);
            uncertainty.height = uncertainty.height.hypot(apart.height);
        }
        if judge::passes_disagree(apart) {
            self.doubt(vec![Reason::new(
                ReasonCode::PlaceUnsure,
                "Looked at coarsely and finely, the flanks show the patch in different places. Take the photo nearer or at its full size; if it stays so, paint afresh and roll again.",
            )]);
        }
    }
}

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
            let (read, contrast) = read_maps(photo, outlines, context, &maps);
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
        let fine_pass = |outlines: &[Outline]| {
            let maps = flattened(self.photo, outlines, FINE_MAP_SIZE);
            read_maps(self.photo, outlines, self.context, &maps).0
        };
        let mut read = match self.contrast {
            Some(contrast) => {
                // Of marked flanks nothing had to be found, which leaves time for a fine pass.
                let plain = self.context.outline_source == OutlineSource::Found
                    && contrast > CALIBRATION.patches.plain_contrast;
                finer_if_sure(self.read, plain, fine_pass)
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
    let is_sure = |read: &OutlinedReading| read.reading.status == Status::Read;
    if is_sure(&coarse) && plain {
        return coarse;
    }
    let mut fine = fine_pass(&coarse.outlines);
    match (is_sure(&coarse), is_sure(&fine)) {
        (true, false) => coarse,
        (true, true) => {
            fine.doubt_by(&coarse.reading);
            fine
        }
        _ => fine,
    }
}

fn flattened(photo: &Photo, outlines: &[Outline], size: (usize, usize)) -> Vec<FlankMap> {
    let flatten = |outline| FlankMap::new(photo, outline, size);
    outlines.iter().map(flatten).collect()
}

/// Reads the patches on flattened flanks, and says how plain they are, 0 … 1: the median of the flanks
/// that have one.
fn read_maps(
    photo: &Photo,
    outlines: &[Outline],
    context: FlankContext,
    maps: &[FlankMap],
) -> (OutlinedReading, f64) {
    let probabilities = segment_flanks(maps);
    let patches = find_patches(&probabilities, maps);
    let wiped: Vec<Option<&Mask>> = patches
        .iter()
        .map(|patch| patch.as_ref().map(|patch| &patch.region))
        .collect();
    let compound = compound_on(&probabilities, maps, &wiped, context.polarity);
    let own_white = compound.as_ref().is_some_and(SeenCompound::is_white_print);
    let unburnt: Vec<FlankMap>;
    let maps = if own_white {
        unburnt = (maps.iter().zip(&wiped))
            .map(|(map, patch)| without_burnt(map, *patch))
            .collect();
        &unburnt
    } else {
        maps
    };
    let mut teeth = Vec::new();
    let mut regions = Vec::new();
    let mut counted = Vec::new();
    for (i, outline) in outlines.iter().enumerate() {
        let found = patches.get(i).and_then(Option::as_ref);
        let numbers =
            found.and_then(|found| patch_numbers(&found.region, outline.depth_over_length));
        let confidence = found.map_or(0.0, |found| confidence(found, &maps[i]));
        if let (Some(found), Some(patch)) = (found, numbers) {
            counted.push(ToothPatch {
                patch,
                band: band_of(found),
                doubt: doubt_of(photo, outline, &maps[i], found, patch.extent),
                confidence,
            });
        }
        teeth.push(Tooth {
            corners: outline.corners(),
            root: outline.side(0.0),
            tip: outline.side(1.0),
            patch: numbers,
            islands: found.map_or_else(Vec::new, |found| {
                let of = |island| patch_numbers(island, outline.depth_over_length);
                found.islands.iter().filter_map(of).collect()
            }),
            confidence,
        });
        regions.push(found.map(|found| found.region.clone()));
    }
    let combined = combine(&counted);
    if let Some(combined) = &combined {
        let with_patch = teeth.iter_mut().filter(|tooth| tooth.patch.is_some());
        for (tooth, &weight) in with_patch.zip(&combined.weights) {
            tooth.confidence = tooth.confidence.min(weight.max(0.0));
        }
    }
    let glare = glare_share(maps, &regions);
    let (status, reasons) = judge::judge(&Judged {
        outlines,
        photo,
        compound: compound.as_ref(),
        patches: &patches,
        combined: combined.as_ref(),
        glare,
        behind: context
            .hidden
            .map(|end| (end, share_behind(maps, &regions))),
        flank: context.flank,
        outline_source: context.outline_source,
    });
    let reading = assemble(photo, context, status, reasons, compound, teeth, combined);
    if reading.status == Status::Unreadable {
        regions.clear();
    }
    let read = OutlinedReading {
        reading,
        regions,
        outlines: outlines.to_vec(),
    };
    let mut contrast: Vec<f64> = (patches.iter().flatten())
        .map(|patch| patch.contrast)
        .collect();
    contrast.sort_by(f64::total_cmp);
    let middle = contrast.get(contrast.len() / 2).copied();
    (read, middle.unwrap_or(0.0))
}

/// A reading of a photo on which no flanks are known, with the reasons for it.
pub(crate) fn unreadable(
    photo: &Photo,
    context: FlankContext,
    reasons: Vec<Reason>,
) -> OutlinedReading {
    OutlinedReading {
        reading: Reading {
            flank: context.flank,
            hand: context.hand,
            ..Reading::unreadable(facts(photo), reasons)
        },
        regions: Vec::new(),
        outlines: Vec::new(),
    }
}

fn assemble(
    photo: &Photo,
    context: FlankContext,
    status: Status,
    reasons: Vec<Reason>,
    compound: Option<SeenCompound>,
    teeth: Vec<Tooth>,
    combined: Option<Combined>,
) -> Reading {
    let readable = status != Status::Unreadable;
    Reading {
        schema: SCHEMA.to_owned(),
        photo: facts(photo),
        status,
        reasons,
        flank: context.flank,
        hand: context.hand.filter(|_| readable),
        cutting: context.cutting.filter(|_| readable),
        compound: compound.filter(|_| readable).map(|seen| Compound {
            colour: judge::colour_word(seen.light).to_owned(),
            polarity: seen.polarity,
            coverage: seen.coverage,
        }),
        mean: combined.as_ref().filter(|_| readable).map(|c| c.mean),
        uncertainty: combined
            .as_ref()
            .filter(|_| readable)
            .map(|c| half_width_90(c.uncertainty, context.scatter.as_ref())),
        teeth: if readable { teeth } else { Vec::new() },
    }
}

fn facts(photo: &Photo) -> PhotoFacts {
    PhotoFacts {
        path: photo.path.clone(),
        width: photo.width,
        height: photo.height,
        sha256: photo.sha256.clone(),
        area: None,
    }
}

/// Half the way the centre moves between the edges of the band about the patch's edge.
fn band_of(found: &FoundPatch) -> FlankPoint {
    let centre = |region: &Mask| patch_numbers(region, 1.0).map(|patch| patch.centre);
    match (centre(&found.band[0]), centre(&found.band[1])) {
        (Some(a), Some(b)) => FlankPoint::new(
            (a.length - b.length).abs() / 2.0,
            (a.height - b.height).abs() / 2.0,
        ),
        _ => CALIBRATION.patches.usual_band,
    }
}

/// Standard deviation of what the teeth of a photo have in common: the outline, the pixels, and light that burnt
/// cells of the patch to white, so that they might as well be none of it.
fn doubt_of(
    photo: &Photo,
    outline: &Outline,
    map: &FlankMap,
    found: &FoundPatch,
    extent: FlankPoint,
) -> FlankPoint {
    // An edge lies anywhere in its pixel, a cell of an even patch anywhere in its extent: the standard deviation
    // of a uniform distribution is 1/√12 of its width.
    let uniform = 12f64.sqrt().recip();
    let burnt = burnt_share(found, map);
    let of = |outline: f64, size_px: f64, extent: f64| {
        let pixel = uniform / (size_px * photo.scale).max(1.0);
        outline.hypot(pixel).hypot(uniform * burnt * extent)
    };
    let (length_px, height_px) = outline.size_px();
    FlankPoint::new(
        of(outline.doubt.length, length_px, extent.length),
        of(outline.doubt.height, height_px, extent.height),
    )
}

/// How far one tooth is to be trusted, before it is compared with the others' centres.
fn confidence(found: &FoundPatch, map: &FlankMap) -> f64 {
    let patches = &CALIBRATION.patches;
    let contrast = patches.contrast_confidence.of(found.contrast);
    let agreement = patches.agreement_confidence.of(found.agreement);
    // A patch of which a fifth is hidden has its centre off by a tenth of its size: worth little
    // beside teeth that show all of theirs.
    contrast * agreement * (1.0 - burnt_share(found, map)) * (1.0 - found.hidden).powi(2)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frames::PhotoPoint;
    use crate::schema::Mean;
    use image::RgbImage;
    use ndarray::{Array2, s};

    /// A flank of 200 × 40 pixels, half of it patch, of which so many of its 20 columns are burnt.
    fn doubt(scale: f64, burnt_columns: usize) -> FlankPoint {
        let photo = Photo {
            scale,
            ..Photo::from_pixels("drawn", RgbImage::new(400, 300))
        };
        let outline = Outline::from_map(0.2, FlankPoint::new(0.003, 0.004), |at| {
            PhotoPoint::new(100.0 + 200.0 * at.length, 200.0 - 40.0 * at.height)
        });
        let mut map = FlankMap::new(&photo, &outline, (40, 10));
        map.clipped.slice_mut(s![.., ..burnt_columns]).fill(true);
        let mut region = Array2::from_elem((10, 40), false);
        region.slice_mut(s![.., ..20]).fill(true);
        let found = FoundPatch {
            band: [region.clone(), region.clone()],
            islands: Vec::new(),
            region,
            contrast: 0.9,
            agreement: 1.0,
            hidden: 0.0,
        };
        doubt_of(&photo, &outline, &map, &found, FlankPoint::new(0.5, 1.0))
    }

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
    fn the_smaller_the_picture_the_less_is_known() {
        // 0.288675 is the standard deviation of a uniform distribution of width 1.
        let [whole, half] = [1.0, 0.5].map(|scale| doubt(scale, 0));
        assert!((whole.height - 0.004f64.hypot(0.288_675 / 40.0)).abs() < 1e-6);
        assert!((half.height - 0.004f64.hypot(0.288_675 / 20.0)).abs() < 1e-6);
        assert!((half.length - 0.003f64.hypot(0.288_675 / 100.0)).abs() < 1e-6);
    }

    #[test]
    fn a_burnt_part_of_the_patch_is_doubt_in_proportion_to_its_extent() {
        let (clear, burnt) = (doubt(1.0, 0), doubt(1.0, 5));
        // A quarter of the patch is white.
        let more = |extent: f64| 0.288_675 * 0.25 * extent;
        assert!((burnt.length - clear.length.hypot(more(0.5))).abs() < 1e-6);
        assert!((burnt.height - clear.height.hypot(more(1.0))).abs() < 1e-6);
    }
}
