//! Every number of this stage that was fitted or chosen, and what speaks for it.
//!
//! Sets of photos and the command are those of `src/flank/calibration.rs`: *other*, *changed*, *ours*, *later*, *large*,
//! *new*, *latest* and *wide*, read by `cargo run --release --example accuracy -- FOLDER`. What the numbers of flanks,
//! segmentation and reading score together on *latest* at first sight and on *wide*, which never had a say, stands there
//! as well. "Chosen, no evidence": no comparison of values was kept.

use crate::frames::FlankPoint;

/// The numbers of this stage, by what they are for.
pub(super) struct Calibration {
    pub marked_fit: MarkedFit,
    pub flanks: Flanks,
    pub light: Light,
    pub sharpness: Sharpness,
    pub patches: Patches,
    pub combining: Combining,
    pub agreement: Agreement,
    /// Printed half width over the standard deviation that is put together from the parts, of marked outlines; of a normal
    /// distribution it would be 1.64. 999 photos of all sets but *wide*: they cover 97 to 99.6 in a hundred, more than is
    /// promised, for other photos may be worse, and the same photo turned, scaled or relit should stay within them (of
    /// 8,991 copies none moved farther). No split without a say.
    pub coverage_factor_marked: FlankPoint,
    pub colour: Colour,
}

/// What a gear fitted to marks tells.
pub(super) struct MarkedFit {
    /// A fit worse than this (flank lengths) explains nothing; the marked sides are taken as they are. Chosen, no evidence.
    pub worst_misfit: f64,
    /// It tells the kind of flank when its corners lie this near the marks (flank lengths) … Chosen, no evidence.
    pub sure_misfit: f64,
    /// … and the other hand's cost is this many times its own: twice what found flanks need, why was not kept. Chosen, no
    /// evidence.
    pub sure_hand_cost_ratio_marked: f64,
}

/// Flanks that are large enough and inside the photo.
pub(super) struct Flanks {
    /// Shortest flank that is read, full-size pixels. Chosen, no evidence.
    pub least_length_px: f64,
    /// Lowest flank that is read, full-size pixels. Chosen, no evidence.
    pub least_height_px: f64,
    /// A flank of which less lies within the photo is cropped. Chosen, no evidence.
    pub least_share_in_photo: f64,
}

/// Too much light and too little.
pub(super) struct Light {
    /// Linear light from which a colour of a cell counts as burnt out: level 247 of 255. Chosen, no evidence.
    pub burnt: f32,
    /// Above this share of burnt-out cells, if [`Self::lightest_darkest_fifth`] is passed as well, the flanks tell nothing.
    /// All sets but *wide*: photos exposed far too long measure 0.48 at least, readable ones 0.65 at most (yellow compound
    /// burns out in red, and is as plain as before beside steel that does not): alone it would not do.
    pub most_burnt: f64,
    /// The darkest fifth of the cells is lighter than this. The same photos: 0.71 at least, 0.54 at most, so that 0.08 lie
    /// on either side.
    pub lightest_darkest_fifth: f64,
    /// Below this linear light (level 22 of 255) even the brightest tenth of the flanks is lost in the camera's noise and the
    /// file's steps. Black steel of one real gear under blue compound measures 0.009 and is as plain as any once it is
    /// brightened: what is dark and noisy is refused for its sharpness and its patches. It was 0.025, of no evidence but that
    /// path-traced photos, whose steel is lighter, all measure 0.061 and more.
    pub least_brightness: f64,
}

/// What is sharp.
pub(super) struct Sharpness {
    /// Flanks whose edges measure this are sharp beyond question. Sharp ones of 864 photos of all sets but *wide* measure 2.82
    /// with marks and 2.92 found at least, but for one of 2.30; those out of focus 2.02 at most.
    pub plain: f64,
    /// Below this they are a blur. Between the two thin compound and little light look like it: then the picture about
    /// them tells. One real gear painted by program measures 2.15 to 2.7, photos out of focus 1.70 and less.
    pub least: f64,
    /// A picture whose edges measure less is not sharp (`picture_quality.rs`), about flanks or as a whole. By the same sums in numpy,
    /// about the truth's corners, on *close* 11400000, *real* 11500000 and *other*: as a whole 1.24 to 1.63 out of focus, 2.17 and more
    /// sharp; about the flanks 1.65 and 2.03 (*fresh real*, looked at before it was set: one a little out of focus 1.92). It follows the
    /// blur alone: 34 sharp photos smoothed by 0.03, 0.05, 0.07 and 0.1 of the flanks' height measure 2.2, 1.8, 1.5 and 1.3 (medians), their
    /// readings then move by 0.005, 0.009, 0.013 and 0.021 of the height. No split without a say.
    pub least_of_picture: f64,
    /// Linear light that is hardly more than none in a whole picture. Chosen, no evidence.
    pub faint_of_picture: f32,
    /// Shares of red and of blue count this many times beside the logarithm of the light. 864 readable photos of all sets
    /// but *wide*, and 17 out of focus, least and most with marks: 1.89 and 2.58 with 0, 2.08 and 2.12 with 3, 2.30 and 2.02
    /// with 8. Compound is often as light as the steel beside it, and shadows are soft however sharp the photo is.
    pub colour: f32,
    /// An edge this steep, shades per row, counts as it is. Chosen, no evidence: it only scales the measure.
    pub steep: f32,
    /// A steeper edge counts for more and a weaker one for less by this power: what is out of focus is weak as well, and
    /// noise all that is left of it. 547 with marks, least readable and most out of focus: 1.93 and 1.89 with 0, 2.05 and
    /// 1.58 with 0.1, 2.12 and 1.35 with 0.2, 2.12 and 1.18 with 0.3.
    pub steepness_power: f32,
    /// Linear light that is hardly more than none: what is darker tells neither light nor colour. Chosen, no evidence.
    pub faint: f32,
    /// How many rows to each side the running means reach when little is smoothed away, and when much is. *Other* and
    /// *ours*, most of blurred and least of readable photos: 1.43 and 2.18 with 1 and 6, 1.24 and 1.56 with 2 and 6, 1.21
    /// and 1.40 with 1 and 3.
    pub reaches: [usize; 2],
}

/// A share that grows from nought to one over a range.
pub(super) struct Ramp {
    /// Up to here it is nought.
    pub from: f64,
    /// It is one so much farther on.
    pub width: f64,
}

impl Ramp {
    /// The share of a value.
    pub(crate) const fn of(&self, value: f64) -> f64 {
        ((value - self.from) / self.width).clamp(0.0, 1.0)
    }
}

/// What a patch is.
pub(super) struct Patches {
    /// A patch counts from this contrast … Chosen, no evidence.
    pub least_contrast: f64,
    /// … and this agreement on … Chosen, no evidence.
    pub least_agreement: f64,
    /// … and must be on this share of the flanks, about the same place. Chosen, no evidence.
    pub least_share_of_flanks: f64,
    /// Patches of found flanks with this contrast (median) on small maps need no fine pass. *Other*, *ours*, *changed*:
    /// answered 16, 143, 124 with it, 16, 142, 125 with small maps alone. With the network before, the patches of all
    /// readable photos with marks had 0.86 and more but one's, 0.69, which is read 0.028 wrong without the fine pass and 0.017
    /// with it.
    pub plain_contrast: f64,
    /// How far a centre moves with the likelihood where that cannot be told. Chosen, no evidence.
    pub usual_band: FlankPoint,
    /// Confidence in a tooth by its contrast. Chosen, no evidence.
    pub contrast_confidence: Ramp,
    /// The same by its agreement with the others. Chosen, no evidence.
    pub agreement_confidence: Ramp,
    /// Burnt-out share of the patch from which its edge is in doubt. Of 242 readings of photos as they were taken none
    /// has more than 0.04; one made a stop brighter, a third of its patches white, moved by 0.043.
    pub most_glare: f64,
    /// Largest share of a patch's rows that may run on behind what hides an end. Chosen, no evidence: the rest is cut off by
    /// the flank's own edge.
    pub most_behind: f64,
    /// Below this confidence in how contact shows it is asked. Chosen, no evidence.
    pub least_polarity_confidence: f64,
}

/// A tooth counts as read from this confidence on. Chosen, no evidence.
pub(crate) const COUNTED_CONFIDENCE: f64 = 0.25;

/// How teeth make a mean.
pub(super) struct Combining {
    /// Spread of centres among teeth that is normal, so that fewer teeth than needed to know it do not throw each other
    /// out (shares of length and height). Chosen, no evidence.
    pub usual_spread: FlankPoint,
    /// Share of the spread that does not average out: outlines that err from tooth to tooth err in common as well. 681
    /// photos: found heights are off by 0.032 (root mean square) where they spread by 0.01 … 0.02, by 0.052 at 0.03 …
    /// 0.05, by 0.072 above 0.06; then 89 to 99 of 100 within the ± without this part. Lengths show no such thing.
    pub common_of_spread: FlankPoint,
    /// A tooth counts in the mean's number of teeth from this weight on: [`COUNTED_CONFIDENCE`].
    pub counted_weight: f64,
    /// No tooth weighs less before teeth are compared. Chosen, no evidence.
    pub least_weight: f64,
    /// Areas that differ by this (natural logarithm) halve a weight. Chosen, no evidence.
    pub area_log_spread: f64,
    /// So many deviations from the middle halve a weight. Chosen, no evidence.
    pub outlier_deviations: f64,
}

/// How far teeth may differ, and a centre be unsure.
pub(super) struct Agreement {
    /// Largest standard uncertainty of the mean centre with which shims are chosen. Lengths, 531 photos of the sets before
    /// *latest*: five fewer answered at 0.065. Heights: with 0.10 where 0.083 stood three more were answered, and the
    /// mirrored copy of one read 0.56 of the height wrong.
    pub most_uncertain: FlankPoint,
    /// Largest standard deviation among found teeth that is still one patch, and largest difference of the coarse and the
    /// fine pass. Chosen, no evidence but that no set would gain by 0.09 of the length.
    pub most_spread_found: FlankPoint,
    /// The same of marked teeth, where only the gear's own run-out is left: *latest* has one of 0.077 of the length, its mean
    /// read within 0.01. 0.013 lie between it and the limit.
    pub most_spread_marked: FlankPoint,
    /// On outlines that nobody drew so many teeth must tell: one outline that is off must be outvoted. All sets but *latest*
    /// and *wide*: no readable photo was answered on two, one out of focus was.
    pub fewest_found: usize,
    /// As few found flanks hardly tell how well a gear fits them: largest standard uncertainty of their length. Of 1,251
    /// copies two were answered wrongly on three flanks, ± 0.094 and 0.097; the next had ± 0.079: this limit is a ± of
    /// 0.088, 0.006 below the nearer wrong one and 0.009 above the right one.
    pub most_uncertain_length_of_fewest: f64,
}

/// Words for colours. Paints as a painter would mix them on a screen; no photo had a say. *Wide*: white under warm light
/// is called yellow, ochre orange.
pub(super) struct Colour {
    /// Less saturated light is white.
    pub least_saturation: f64,
    /// Words for hues below so many degrees, in order; beyond the last, red again.
    pub words_below_hue: [(f64, &'static str); 5],
}

/// The numbers.
pub(super) const CALIBRATION: Calibration = Calibration {
    marked_fit: MarkedFit {
        worst_misfit: 0.04,
        sure_misfit: 0.02,
        sure_hand_cost_ratio_marked: 4.0,
    },
    flanks: Flanks {
        least_length_px: 40.0,
        least_height_px: 8.0,
        least_share_in_photo: 0.6,
    },
    light: Light {
        burnt: 0.93,
        most_burnt: 0.43,
        lightest_darkest_fifth: 0.62,
        least_brightness: 0.008,
    },
    sharpness: Sharpness {
        plain: 2.6,
        least: 1.9,
        least_of_picture: 1.85,
        faint_of_picture: 0.01,
        colour: 8.0,
        steep: 0.1,
        steepness_power: 0.2,
        faint: 0.004,
        reaches: [1, 6],
    },
    patches: Patches {
        least_contrast: 0.6,
        least_agreement: 0.4,
        least_share_of_flanks: 1.0 / 3.0,
        plain_contrast: 0.8,
        usual_band: FlankPoint::new(0.02, 0.03),
        contrast_confidence: Ramp {
            from: 0.25,
            width: 0.75,
        },
        agreement_confidence: Ramp {
            from: 0.3,
            width: 0.4,
        },
        most_glare: 0.25,
        most_behind: 0.25,
        least_polarity_confidence: 0.3,
    },
    combining: Combining {
        usual_spread: FlankPoint::new(0.012, 0.018),
        common_of_spread: FlankPoint::new(0.0, 0.5),
        counted_weight: COUNTED_CONFIDENCE,
        least_weight: 0.05,
        area_log_spread: 0.35,
        outlier_deviations: 3.0,
    },
    agreement: Agreement {
        most_uncertain: FlankPoint::new(0.078, 0.089),
        most_spread_found: FlankPoint::new(0.07, 0.12),
        most_spread_marked: FlankPoint::new(0.09, 0.12),
        fewest_found: 3,
        most_uncertain_length_of_fewest: 0.055,
    },
    coverage_factor_marked: FlankPoint::new(1.7, 1.6),
    colour: Colour {
        least_saturation: 0.55,
        words_below_hue: [
            (9.0, "red"),
            (24.0, "orange"),
            (75.0, "yellow"),
            (170.0, "green"),
            (290.0, "blue"),
        ],
    },
};
