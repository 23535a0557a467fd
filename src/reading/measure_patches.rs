//! Outlined flanks of a photo → its reading.

use super::calibration::CALIBRATION;
use super::combine::{Combined, ToothPatch, combine};
use super::coverage::{OutlineSource, half_width_90};
use super::judge;
use super::judge::Judged;
use super::numbers::patch_numbers;
use super::patch_cells::{burnt_share, glare_share, share_behind, without_burnt};
use crate::flank::{FitScatter, FlankMap, HiddenEnd, Outline};
use crate::frames::FlankPoint;
use crate::photo::Photo;
use crate::schema::reading::SCHEMA;
use crate::schema::{
    Compound, FlankSide, Hand, PhotoFacts, Polarity, Reading, Reason, ReasonCode, SeenCutting,
    Status, Tooth,
};
use crate::segment::mask::Mask;
use crate::segment::{FoundPatch, SeenCompound, Shapes, compound_on, find_patches, segment_flanks};

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
        if !doubts.is_empty() && self.is_sure() {
            self.reading.status = Status::Unsure;
        }
        self.reading.reasons.extend(doubts);
    }

    pub(super) fn is_sure(&self) -> bool {
        self.reading.status == Status::Read
    }

    /// A fine pass is as much in doubt as the coarse one differs from it.
    pub(super) fn doubt_by(&mut self, coarse: &Reading) {
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

/// Reads the patches on flattened flanks, and says how plain they are, 0 … 1: the median of the flanks
/// that have one.
pub(super) fn read_maps(
    photo: &Photo,
    outlines: &[Outline],
    context: FlankContext,
    maps: &[FlankMap],
    shapes: Shapes,
) -> (OutlinedReading, f64) {
    let probabilities = segment_flanks(maps, shapes);
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
