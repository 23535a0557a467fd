//! Outlined flanks of a photo → its reading.

use super::combine::{Combined, ToothPatch, combine};
use super::held::{Drawn, half_width_90};
use super::numbers::patch_numbers;
use super::reasons::{self, Judged, LEAST_CLEAR, PLAINLY_CLEAR, clearness};
use super::{Compound, FlankSide, PhotoFacts, Polarity, Reading, Reason, SCHEMA, Status, Tooth};
use crate::flank::find::SeenFilm;
use crate::flank::{FlankMap, Outline};
use crate::frames::FlankPoint;
use crate::gear::set::Hand;
use crate::photo::{Photo, quality::quality};
use crate::segment::morphology::{Mask, and, area, overlap};
use crate::segment::{
    Colours, FoundPatch, find_patches, likely_patches, separate, without_brightness,
};
use ndarray::Array2;

/// How much it counts that patches lie where contact is likely, beside how clear they are.
const LIKELY_WEIGHT: f64 = 2.0;

/// Patches share at least this much with the likely contact, or another way to see them is looked
/// for.
const LIKELY_ENOUGH: f64 = 0.3;

/// How far the likely contact is off the patch, one standard deviation (two dozen path-traced
/// renders).
const COARSE: FlankPoint = FlankPoint::new(0.02, 0.03);

/// What is known of a photo before its patches are looked at.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Known {
    /// Which flank the outlines are of, and who said so.
    pub flank: Option<FlankSide>,
    /// How contact shows, when the user said so.
    pub polarity: Option<Polarity>,
    /// Who drew the outlines.
    pub drawn: Drawn,
    /// Hand of the ring gear, if the outlines tell.
    pub hand: Option<Hand>,
}

/// A reading with what its pictures need.
#[derive(Debug, Clone)]
pub struct OutlinedReading {
    /// The reading.
    pub reading: Reading,
    /// Patch region of each of the reading's teeth on a map of length × height.
    pub regions: Vec<Option<Mask>>,
    /// Outline of each of the reading's teeth.
    pub outlines: Vec<Outline>,
}

impl OutlinedReading {
    /// Adds doubts from before the patches were looked at: a sure reading becomes unsure.
    pub(super) fn doubt(&mut self, doubts: Vec<Reason>) {
        if !doubts.is_empty() && self.reading.status == Status::Read {
            self.reading.status = Status::Unsure;
        }
        self.reading.reasons.extend(doubts);
    }
}

/// Reads the patches on the outlined flanks of a photo.
pub fn read_outlined(
    photo: &Photo,
    outlines: &[Outline],
    known: Known,
    seen: Option<&SeenFilm>,
) -> OutlinedReading {
    let maps: Vec<FlankMap> = outlines
        .iter()
        .map(|outline| FlankMap::new(photo, outline))
        .collect();
    let quality = quality(&maps);
    let Segmented {
        colours,
        patches,
        clear,
        coarse,
    } = segment(&maps, known, seen);
    let mut teeth = Vec::new();
    let mut regions = Vec::new();
    let mut counted = Vec::new();
    for (i, outline) in outlines.iter().enumerate() {
        let found = patches.get(i).and_then(Option::as_ref);
        let numbers = found.and_then(|found| patch_numbers(&found.region, outline.proportion));
        let confidence = found.map_or(0.0, |found| confidence(found, &maps[i]));
        if let (Some(found), Some(patch)) = (found, numbers) {
            counted.push(ToothPatch {
                patch,
                band: band_of(found, coarse),
                doubt: outline.doubt,
                confidence,
            });
        }
        teeth.push(Tooth {
            corners: outline.corners(),
            root: outline.side(0.0),
            tip: outline.side(1.0),
            patch: numbers,
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
    let glare = glare_share(&maps, &regions);
    let (status, reasons) = reasons::judge(&Judged {
        outlines,
        photo,
        quality,
        colours: colours.as_ref(),
        patches: &patches,
        combined: combined.as_ref(),
        glare,
        clear,
        film_seen: seen.is_some_and(SeenFilm::painted),
        flank: known.flank,
    });
    let reading = assemble(
        photo, known, status, reasons, colours, teeth, combined, &maps,
    );
    if reading.status == Status::Unreadable {
        regions.clear();
    }
    OutlinedReading {
        reading,
        regions,
        outlines: outlines.to_vec(),
    }
}

/// One way to see the patches.
struct Segmented {
    colours: Option<Colours>,
    patches: Vec<Option<FoundPatch>>,
    /// How clearly the patches stand out, more if they lie where contact is likely.
    clear: f64,
    /// Whether they are known from the likely contact alone.
    coarse: bool,
}

/// Finds the patches by colour and brightness, and where these stand out poorly by colour alone,
/// and from where contact is likely; the clearest counts.
fn segment(maps: &[FlankMap], known: Known, seen: Option<&SeenFilm>) -> Segmented {
    let look = |maps: &[FlankMap], likely: Option<&[Array2<f32>]>| {
        let colours = separate(
            maps,
            known.polarity.or(seen.and_then(SeenFilm::polarity)),
            likely,
        );
        let patches = colours
            .as_ref()
            .map_or_else(Vec::new, |colours| find_patches(colours, likely));
        let clear = clearness(colours.as_ref(), &patches)
            + seen.map_or(0.0, |seen| LIKELY_WEIGHT * agreement(seen, &patches));
        Segmented {
            colours,
            patches,
            clear,
            coarse: false,
        }
    };
    let best = look(maps, None);
    let agrees = seen.is_none_or(|seen| agreement(seen, &best.patches) > LIKELY_ENOUGH);
    if best.clear > PLAINLY_CLEAR && agrees {
        return best;
    }
    let plain = without_brightness(maps);
    let likely = seen.map(|seen| seen.contact.as_slice());
    let mut best = best;
    let mut others = vec![look(&plain, None)];
    if likely.is_some() {
        others.push(look(maps, likely));
        others.push(look(&plain, likely));
    }
    for other in others {
        let (Some(now), Some(before)) = (&other.colours, &best.colours) else {
            continue;
        };
        if other.clear > best.clear {
            let colours = Colours {
                compound: before.compound,
                steel: before.steel,
                ..now.clone()
            };
            best = Segmented {
                colours: Some(colours),
                ..other
            };
        }
    }
    // Nothing stands in on marks: it took painted teeth that were never rolled for contact
    // (fixtures/painted/not-rolled.jpg) and added no right answer.
    let found = seen.filter(|_| known.drawn == Drawn::Found);
    match found.and_then(|seen| stand_in(seen, &best)) {
        Some(patches) => Segmented {
            patches,
            clear: best.clear.max(LEAST_CLEAR),
            coarse: true,
            ..best
        },
        None => best,
    }
}

/// The likely contact itself, where the colours show no patch or one elsewhere, and the flanks are
/// painted.
fn stand_in(seen: &SeenFilm, best: &Segmented) -> Option<Vec<Option<FoundPatch>>> {
    let told = best.clear > LEAST_CLEAR && agreement(seen, &best.patches) > LIKELY_ENOUGH;
    (seen.painted() && !told).then(|| likely_patches(&seen.contact))?
}

/// Mean share of the patches and the likely contact that is common to both.
fn agreement(seen: &SeenFilm, patches: &[Option<FoundPatch>]) -> f64 {
    let shares = seen.contact.iter().zip(patches).map(|(contact, patch)| {
        let likely = contact.mapv(|likely| likely > 0.5);
        patch
            .as_ref()
            .map_or(0.0, |patch| overlap(&patch.region, &likely))
    });
    shares.sum::<f64>() / seen.contact.len().max(1) as f64
}

/// A reading of a photo on which no flanks are known, with the reasons for it.
pub fn unreadable(photo: &Photo, known: Known, reasons: Vec<Reason>) -> OutlinedReading {
    OutlinedReading {
        reading: Reading {
            schema: SCHEMA.to_owned(),
            photo: facts(photo),
            status: Status::Unreadable,
            reasons,
            flank: known.flank,
            hand: known.hand,
            compound: None,
            teeth: Vec::new(),
            mean: None,
            uncertainty: None,
        },
        regions: Vec::new(),
        outlines: Vec::new(),
    }
}

#[allow(clippy::too_many_arguments)]
fn assemble(
    photo: &Photo,
    known: Known,
    status: Status,
    reasons: Vec<Reason>,
    colours: Option<Colours>,
    teeth: Vec<Tooth>,
    combined: Option<Combined>,
    maps: &[FlankMap],
) -> Reading {
    let told = status != Status::Unreadable;
    Reading {
        schema: SCHEMA.to_owned(),
        photo: facts(photo),
        status,
        reasons,
        flank: known.flank,
        hand: known.hand.filter(|_| told),
        compound: colours.filter(|_| told).map(|colours| Compound {
            colour: reasons::colour_word(colours.compound).to_owned(),
            polarity: colours.polarity,
            coverage: coverage(&colours, &teeth, maps.len()),
        }),
        mean: combined.as_ref().filter(|_| told).map(|c| c.mean),
        uncertainty: combined
            .as_ref()
            .filter(|_| told)
            .map(|c| half_width_90(c.uncertainty, known.drawn)),
        teeth: if told { teeth } else { Vec::new() },
    }
}

fn facts(photo: &Photo) -> PhotoFacts {
    PhotoFacts {
        path: photo.path.clone(),
        width: photo.width,
        height: photo.height,
        sha256: photo.sha256.clone(),
    }
}

/// Share of the flanks under compound, the patch counted with it when it was wiped.
fn coverage(colours: &Colours, teeth: &[Tooth], flanks: usize) -> f64 {
    let ground: f64 = colours
        .flanks
        .iter()
        .map(|flank| area(&flank.ground) as f64 / flank.ground.len() as f64)
        .sum();
    let patch: f64 = teeth.iter().filter_map(|t| t.patch).map(|p| p.area).sum();
    let share = match colours.polarity {
        Polarity::Wiped => ground + patch,
        Polarity::Transferred => patch,
    };
    (share / flanks.max(1) as f64).clamp(0.0, 1.0)
}

/// Half the way the centre moves between the edges of the film's band; at least what the likely
/// contact was off on path-traced renders where it alone shows the patch.
fn band_of(found: &FoundPatch, coarse: bool) -> FlankPoint {
    let least = if coarse {
        COARSE
    } else {
        FlankPoint::new(0.0, 0.0)
    };
    let centre = |region: &Mask| patch_numbers(region, 1.0).map(|patch| patch.centre);
    match (centre(&found.band[0]), centre(&found.band[1])) {
        (Some(a), Some(b)) => FlankPoint::new(
            ((a.length - b.length).abs() / 2.0).max(least.length),
            ((a.height - b.height).abs() / 2.0).max(least.height),
        ),
        _ => FlankPoint::new(0.02, 0.03),
    }
}

/// How far one tooth is to be trusted, before it is compared with the others' centres.
fn confidence(found: &FoundPatch, map: &FlankMap) -> f64 {
    let contrast = ((found.contrast - 1.0) / 3.0).clamp(0.0, 1.0);
    let agreement = ((found.agreement - 0.3) / 0.4).clamp(0.0, 1.0);
    let cells = area(&found.region).max(1) as f64;
    let clipped = area(&and(&found.region, &map.clipped)) as f64 / cells;
    // A patch of which a fifth is hidden has its centre off by a tenth of its size: worth little
    // beside teeth that show all of theirs.
    contrast * agreement * (1.0 - clipped) * (1.0 - found.hidden).powi(6)
}

/// Share of burnt-out cells in the patches.
fn glare_share(maps: &[FlankMap], regions: &[Option<Mask>]) -> f64 {
    let (mut burnt, mut cells) = (0usize, 0usize);
    for (map, region) in maps.iter().zip(regions) {
        if let Some(region) = region {
            burnt += area(&and(region, &map.clipped));
            cells += area(region);
        }
    }
    burnt as f64 / cells.max(1) as f64
}
