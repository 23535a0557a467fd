//! Every number of this stage that was fitted or chosen, and what speaks for it.
//!
//! Sets of photos and the command are those of `src/flank/calibration.rs`, as are the figures of all stages together on
//! splits without a say. "Chosen, no evidence": no comparison of values was kept.

/// The numbers of this stage.
pub(super) struct Calibration {
    /// Contact is where it is likelier than this: even odds, and what the network was trained for.
    pub patch_probability: f32,
    /// Likelihoods at which the band about a patch's edge is drawn: half the way its centre moves between them goes into
    /// the ±. Chosen, no evidence but the ± as a whole (the reading's coverage factors).
    pub band: [f32; 2],
    /// Less than this share of a flank is chance, not a patch. Chosen, no evidence.
    pub least_area: f64,
    /// A second region of this share of the largest and more is an island of the patch, not a speck. Chosen, no evidence.
    pub least_island: f64,
    /// Islands that are those of the patch, and not stains, overlap so much with what most flanks have. Chosen, no evidence.
    pub islands_alike: f64,
    /// Compound is there from this mean likelihood on, in the patches or beside them: the middle between bare flanks and painted ones.
    /// Seeds 11400000 and 11500000, *other*, *wide*: 0.12 at most on bare flanks, 0.16 on smeared ones, 0.57 and more on painted ones.
    pub painted: f64,
    /// The polarity is sure when the likelihoods in and beside the patches differ by this share of their sum. Chosen, no
    /// evidence.
    pub sure_polarity_share: f64,
    /// Prints are white from this linear light on, in every channel. Chosen, no evidence: no bare steel is so bright but for
    /// reflections, and two channels are burnt out at 0.95.
    pub white: f64,
    /// Added to both likelihoods first: what bare steel may give, the 0.03 of [`Self::painted`].
    pub bare: f64,
}

/// The numbers.
pub(super) const CALIBRATION: Calibration = Calibration {
    patch_probability: 0.5,
    band: [1.0 / 3.0, 2.0 / 3.0],
    least_area: 0.01,
    least_island: 0.3,
    islands_alike: 0.5,
    painted: 0.35,
    sure_polarity_share: 0.8,
    white: 0.8,
    bare: 0.03,
};
