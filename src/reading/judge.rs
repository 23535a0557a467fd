//! May the numbers be used? Each reason that speaks against it, with what to do.

use super::calibration::CALIBRATION;
use super::combine::Combined;
use super::coverage::OutlineSource;
use super::image_quality::Quality;
use crate::flank::{HiddenEnd, Outline};
use crate::frames::FlankPoint;
use crate::photo::Photo;
use crate::schema::{FlankSide, Reason, ReasonCode, Status};
use crate::segment::{FoundPatch, SeenCompound};

/// Everything a reading is judged by.
pub(super) struct Judged<'a> {
    pub outlines: &'a [Outline],
    pub photo: &'a Photo,
    /// The compound on the flanks; `None` where too little of them is seen.
    pub compound: Option<&'a SeenCompound>,
    pub patches: &'a [Option<FoundPatch>],
    pub combined: Option<&'a Combined>,
    pub glare: f64,
    /// The end that something hides, and the share of the patches that runs on behind it.
    pub behind: Option<(HiddenEnd, f64)>,
    pub flank: Option<FlankSide>,
    /// Who drew the outlines.
    pub outline_source: OutlineSource,
}

/// The status of a reading and the reasons for it.
pub(super) fn judge(judged: &Judged) -> (Status, Vec<Reason>) {
    if let Some(against) = against_patches(judged) {
        return (Status::Unreadable, vec![against]);
    }
    let doubts = doubts(judged);
    let status = if doubts.is_empty() {
        Status::Read
    } else {
        Status::Unsure
    };
    (status, doubts)
}

/// Whether a centre with this standard uncertainty is too uncertain for shims to be chosen by it.
pub(super) fn too_uncertain(deviation: FlankPoint) -> bool {
    is_beyond(deviation, CALIBRATION.agreement.most_uncertain)
}

/// Whether the centres of the coarse and the fine pass lie so far apart that they are those of no one patch.
pub(super) fn passes_disagree(apart: FlankPoint) -> bool {
    is_beyond(apart, CALIBRATION.agreement.most_spread_found)
}

fn is_beyond(apart: FlankPoint, most: FlankPoint) -> bool {
    apart.length > most.length || apart.height > most.height
}

/// What speaks against flanks before their patches are looked at: size, light, sharpness.
pub(super) fn against_flanks(outlines: &[Outline], quality: Option<Quality>) -> Vec<Reason> {
    let limits = &CALIBRATION.flanks;
    let mut against = Vec::new();
    let mut say = |code, message: String| against.push(Reason::new(code, message));
    let Some(quality) = quality else {
        say(
            ReasonCode::NoGear,
            "No tooth flank was found. Mark the four corners of one or more flanks, or take the photo nearer and squarer to the flanks.".into(),
        );
        return against;
    };
    let sizes: Vec<(f64, f64)> = outlines.iter().map(Outline::size_px).collect();
    let most = |get: fn(&(f64, f64)) -> f64| sizes.iter().map(get).fold(0.0, f64::max);
    let (length, height) = (most(|s| s.0), most(|s| s.1));
    if length < limits.least_length_px || height < limits.least_height_px {
        say(
            ReasonCode::TooSmall,
            format!(
                "The flanks are only {length:.0} × {height:.0} pixels; at least {:.0} × {:.0} are needed. Go nearer, or send the photo at its full size.",
                limits.least_length_px, limits.least_height_px
            ),
        );
    }
    let light = &CALIBRATION.light;
    if quality.burnt_share > light.most_burnt
        && quality.darkest_fifth > light.lightest_darkest_fifth
    {
        say(
            ReasonCode::BurntOut,
            format!(
                "{:.0} % of the flanks are burnt out. Take the flash off, or tap on the gear to expose for it.",
                100.0 * quality.burnt_share
            ),
        );
    }
    if quality.brightness < light.least_brightness {
        say(
            ReasonCode::TooDark,
            "The flanks are too dark to tell steel from compound. Bring a lamp and take the photo again.".into(),
        );
    }
    let sharp = &CALIBRATION.sharpness;
    let soft_about = |about: f64| about < sharp.least_of_picture;
    if quality.sharpness < sharp.least || quality.surroundings.is_some_and(soft_about) {
        say(
            ReasonCode::Blurred,
            "The flanks are not sharp. Tap on the painted teeth to focus, hold still, and take the photo again.".into(),
        );
    }
    against
}

/// What speaks against the patches as a whole.
fn against_patches(judged: &Judged) -> Option<Reason> {
    let limits = &CALIBRATION.patches;
    if let Some((end, behind)) = judged.behind
        && behind > limits.most_behind
    {
        let end = match end {
            HiddenEnd::Toe => "toe (inner)",
            HiddenEnd::Heel => "heel (outer)",
        };
        return Some(Reason::new(
            ReasonCode::FlankHidden,
            format!(
                "Something hides the {end} end of the flanks, and the patch runs on behind it. Turn the gear or go aside until the whole of the painted flanks is in view."
            ),
        ));
    }
    let patches = judged.patches.iter().flatten();
    let agreed = patches
        .filter(|patch| {
            patch.contrast > limits.least_contrast && patch.agreement > limits.least_agreement
        })
        .count();
    // Chance patches of single flanks do not lie where those of the others do.
    let counted = judged.combined.map_or(0, |all| all.mean.teeth);
    let shared = agreed.min(counted);
    match judged.compound {
        // Light and shade lie alike on bare flanks.
        Some(compound) if !compound.painted() => Some(Reason::new(
            ReasonCode::NoCompound,
            "No marking compound was found on the flanks. Paint four or five teeth thinly, roll them through the mesh, then take the photo.",
        )),
        Some(_)
            if shared > 0
                && shared as f64 >= limits.least_share_of_flanks * judged.outlines.len() as f64 =>
        {
            None
        }
        Some(_) => Some(Reason::new(
            ReasonCode::NoPatch,
            "There is compound, but no patch that the teeth share: they were not rolled, or one tooth alone was painted. Paint four or five teeth in a row, roll them through the mesh both ways under a light brake, then take the photo.",
        )),
        None => Some(Reason::new(
            ReasonCode::NoCompound,
            "Too little of the flanks can be seen to find compound on them. Take the photo squarer to the flanks.",
        )),
    }
}

fn doubts(judged: &Judged) -> Vec<Reason> {
    let mut doubts = Vec::new();
    let mut say = |code, message: String| doubts.push(Reason::new(code, message));
    let (Some(combined), Some(compound)) = (judged.combined, judged.compound) else {
        return doubts;
    };
    if judged.flank.is_none() {
        say(
            ReasonCode::WhichFlank,
            "It cannot be told whether these are drive or coast flanks. Say it with --flank drive or --flank coast.".into(),
        );
    }
    let limits = &CALIBRATION.patches;
    if compound.polarity_sure < limits.least_polarity_confidence {
        say(
            ReasonCode::Polarity,
            "It cannot be told whether contact wiped compound off or left it there. Say it with --polarity wiped or --polarity transferred.".into(),
        );
    }
    if judged.glare > limits.most_glare {
        say(
            ReasonCode::Glare,
            format!(
                "Reflections cover {:.0} % of the patch. Move the light or yourself a little and take the photo again.",
                100.0 * judged.glare
            ),
        );
    }
    let split = (judged.patches.iter().flatten()).filter(|patch| !patch.islands.is_empty());
    if split.count() > 0 {
        say(
            ReasonCode::TwoPatches,
            "The contact lies in two islands; the centre given is that of both together. Roll once more with fresh compound; if it stays in two, look at the picture: the gears may be worn, bent or wrongly matched, and no shim joins the islands.".into(),
        );
    }
    let cropped = judged
        .outlines
        .iter()
        .filter(|o| {
            o.share_in_photo(judged.photo.width, judged.photo.height)
                < CALIBRATION.flanks.least_share_in_photo
        })
        .count();
    if cropped * 2 > judged.outlines.len() {
        say(
            ReasonCode::FlankCropped,
            "Most flanks are cut off by the edge of the photo. Take it from farther away, or with the painted teeth in the middle.".into(),
        );
    }
    doubts.extend(doubts_of_teeth(judged, combined));
    doubts
}

/// What the teeth's number and agreement leave in doubt.
fn doubts_of_teeth(judged: &Judged, combined: &Combined) -> Vec<Reason> {
    let mut doubts = Vec::new();
    let mut say = |code, message: String| doubts.push(Reason::new(code, message));
    let agreement = &CALIBRATION.agreement;
    let mean = &combined.mean;
    let (spread, unsure) = (mean.spread, combined.uncertainty);
    if mean.teeth < 2 {
        say(
            ReasonCode::FewTeeth,
            "Only one tooth could be read. Show at least two painted teeth; three or more make the reading sure.".into(),
        );
    } else if judged.outline_source == OutlineSource::Found && mean.teeth < agreement.fewest_found {
        say(
            ReasonCode::FewTeeth,
            "The patch could be read on two teeth only. Show at least three painted teeth whole, or mark the flanks.".into(),
        );
    } else if judged.outline_source == OutlineSource::Found
        && mean.teeth == agreement.fewest_found
        && unsure.length > agreement.most_uncertain_length_of_fewest
    {
        say(
            ReasonCode::FewTeeth,
            "The patch could be read on three teeth only, and where their ends lie is not sure. Show more painted teeth whole, or mark the flanks.".into(),
        );
    }
    let most_spread = match judged.outline_source {
        OutlineSource::Marked => agreement.most_spread_marked,
        OutlineSource::Found => agreement.most_spread_found,
    };
    if is_beyond(spread, most_spread) {
        say(
            ReasonCode::TeethDisagree,
            format!(
                "The teeth do not agree (spread {:.2} of the length, {:.2} of the height). Paint afresh, roll again, and take the photo squarer to the flanks.",
                spread.length, spread.height
            ),
        );
    } else if too_uncertain(unsure) {
        say(
            ReasonCode::PlaceUnsure,
            "Where the patch stands on the flanks is not sure enough to choose shims by. Take the photo nearer and squarer to the teeth, or mark two or three flanks with points along root and tip.".into(),
        );
    }
    doubts
}

/// A plain word for the colour of a linear light.
pub(super) fn colour_word(light: [f64; 3]) -> &'static str {
    let [r, g, b] = light;
    let high = r.max(g).max(b);
    let low = r.min(g).min(b);
    if high <= 0.0 || (high - low) / high < CALIBRATION.colour.least_saturation {
        return "white";
    }
    // Hue of linear light, degrees: mixed paints keep their order on it.
    let hue = if high == r {
        60.0 * (g - b) / (high - low)
    } else if high == g {
        120.0 + 60.0 * (b - r) / (high - low)
    } else {
        240.0 + 60.0 * (r - g) / (high - low)
    };
    let hue = hue.rem_euclid(360.0);
    let words = CALIBRATION.colour.words_below_hue;
    let word = words.iter().find(|(below, _)| hue < *below);
    word.map_or("red", |(_, word)| word)
}

#[cfg(test)]
mod refusals;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frames::{PhotoPoint, Side};
    use crate::photo::linear_from_srgb;
    use crate::reading::combine::{ToothPatch, combine};
    use crate::reading::numbers::patch_numbers;
    use crate::schema::{Polarity, Source};
    use crate::segment::mask::Mask;
    use image::RgbImage;
    use ndarray::s;

    #[test]
    fn flanks_are_burnt_out_where_their_steel_is_too() {
        let outline = Outline::from_map(0.2, FlankPoint::new(0.003, 0.004), |at| {
            PhotoPoint::new(100.0 + 200.0 * at.length, 200.0 - 40.0 * at.height)
        });
        let codes = |burnt_share, darkest_fifth| -> Vec<ReasonCode> {
            let quality = Quality {
                sharpness: 4.0,
                surroundings: None,
                burnt_share,
                darkest_fifth,
                brightness: 0.3,
            };
            let against = against_flanks(std::slice::from_ref(&outline), Some(quality));
            against.into_iter().map(|reason| reason.code).collect()
        };
        assert_eq!(codes(0.65, 0.4), []);
        assert_eq!(codes(0.3, 0.8), []);
        assert_eq!(codes(0.5, 0.7), [ReasonCode::BurntOut]);
    }

    /// A tooth whose patch lies so many columns of 128 from the middle, on an outline of which so much is not sure in
    /// length.
    fn tooth(columns: isize, length: f64) -> ToothPatch {
        let small = FlankPoint::new(0.004, 0.006);
        let mut region = Mask::from_elem((48, 128), false);
        region
            .slice_mut(s![16..32, 40 + columns..88 + columns])
            .fill(true);
        ToothPatch {
            patch: patch_numbers(&region, 0.2).unwrap(),
            band: small,
            doubt: FlankPoint { length, ..small },
            confidence: 1.0,
        }
    }

    /// Compound that contact wiped off, beyond doubt.
    pub(super) const fn wiped() -> SeenCompound {
        SeenCompound {
            polarity: Polarity::Wiped,
            polarity_sure: 1.0,
            light: [0.6, 0.4, 0.1],
            beside: 0.9,
            in_patch: 0.1,
            coverage: 0.8,
        }
    }

    /// Doubts about the patch that these teeth show.
    fn doubts_of(outline_source: OutlineSource, teeth: &[ToothPatch]) -> Vec<ReasonCode> {
        let compound = wiped();
        let outline = Outline::from_map(0.2, FlankPoint::new(0.004, 0.006), |place| {
            PhotoPoint::new(100.0 + 200.0 * place.length, 200.0 - 40.0 * place.height)
        });
        let combined = combine(teeth);
        let photo = Photo::from_pixels("drawn", RgbImage::new(400, 300));
        let judged = Judged {
            outlines: &vec![outline; teeth.len()],
            photo: &photo,
            compound: Some(&compound),
            patches: &[],
            combined: combined.as_ref(),
            glare: 0.0,
            behind: None,
            flank: Some(FlankSide {
                side: Side::Drive,
                source: Source::Given,
            }),
            outline_source,
        };
        doubts(&judged).iter().map(|doubt| doubt.code).collect()
    }

    #[test]
    fn two_teeth_tell_if_they_are_marked_and_three_if_they_were_found() {
        let alike = |count: usize, length: f64| vec![tooth(0, length); count];
        let few = [ReasonCode::FewTeeth];
        assert_eq!(doubts_of(OutlineSource::Marked, &alike(1, 0.01)), few);
        assert_eq!(doubts_of(OutlineSource::Marked, &alike(2, 0.01)), []);
        assert_eq!(doubts_of(OutlineSource::Found, &alike(2, 0.01)), few);
        assert_eq!(doubts_of(OutlineSource::Found, &alike(3, 0.01)), []);
        assert_eq!(doubts_of(OutlineSource::Found, &alike(3, 0.06)), few);
        assert_eq!(doubts_of(OutlineSource::Found, &alike(4, 0.06)), []);
        // They agree: what is not sure is where all of them stand.
        let unsure = [ReasonCode::PlaceUnsure];
        assert_eq!(doubts_of(OutlineSource::Found, &alike(4, 0.2)), unsure);
    }

    #[test]
    fn marked_teeth_may_differ_more_than_found_ones() {
        let apart = |columns: isize| {
            let all = [-3, -2, -1, 0, 1, 2, 3].map(|step| tooth(step * columns, 0.01));
            [OutlineSource::Marked, OutlineSource::Found].map(|source| doubts_of(source, &all))
        };
        // The standard deviation is 2.16 steps: 0.05, 0.08 and 0.12 of the length.
        assert_eq!(apart(3), [[], []]);
        assert_eq!(apart(5), [vec![], vec![ReasonCode::TeethDisagree]]);
        assert_eq!(apart(7), [[ReasonCode::TeethDisagree; 1]; 2]);
    }

    #[test]
    fn colours_get_their_plain_words() {
        // sRGB levels of paints as a painter would mix them on a screen; no source.
        let cases = [
            ([230, 190, 30], "yellow"),
            ([235, 232, 220], "white"),
            ([220, 110, 25], "orange"),
            ([180, 30, 25], "red"),
            ([25, 55, 150], "blue"),
            ([40, 140, 60], "green"),
            ([200, 60, 60], "red"),
            ([125, 125, 200], "blue"),
            // Of the reds, whose hue lies beyond blue's.
            ([200, 25, 180], "red"),
            ([190, 20, 200], "red"),
        ];
        for (levels, word) in cases {
            let light = levels.map(|level| f64::from(linear_from_srgb(level)));
            assert_eq!(colour_word(light), word, "{levels:?}");
        }
    }
}
