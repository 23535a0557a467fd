//! Finding the flanks without marks: the network proposes, the fitted gear judges.

use super::Outline;
use super::calibration::CALIBRATION;
use super::coordinate_map::{FlankCoordinateMap, Window};
use super::correspondence::Correspondence;
use super::flank_edges::{FlankEdges, flank_edges};
use super::hidden_ends::{Ends, ends};
use super::marked_flank::MarkedFlank;
use super::pose::fit::fit_proposed;
use super::pose::gear_fit::GearFit;
use super::pose::hidden_end::HiddenEnd;
use super::pose::known_gear::KnownGear;
use super::pose::regular_teeth::{SeenTooth, refine};
use super::proposal::{Proposal, proposals};
use super::seen_cutting::seen_cutting;
use crate::frames::FlankPoint;
use crate::photo::Photo;
use crate::schema::{FlankForm, Hand, Reason, ReasonCode, SeenCutting};

/// The end of the flanks that is the toe, as it lies in the photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "cli", derive(clap::ValueEnum))]
pub enum ToeEnd {
    /// Towards the left edge.
    Left,
    /// Towards the right edge.
    Right,
    /// Towards the upper edge.
    Up,
    /// Towards the lower edge.
    Down,
}

impl ToeEnd {
    /// How far a step in the photo goes towards this end.
    fn towards(self, (x, y): (f64, f64)) -> f64 {
        match self {
            Self::Left => -x,
            Self::Right => x,
            Self::Up => -y,
            Self::Down => y,
        }
    }
}

/// What is known of a photo before its flanks are looked for.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct FindHints {
    /// Lengthwise form of the flanks that are asked for.
    pub form: Option<FlankForm>,
    /// Which end is the toe.
    pub toe: Option<ToeEnd>,
}

/// The flanks found in a photo.
#[derive(Debug, Clone)]
pub(crate) struct FoundFlanks {
    /// Their outlines, in order of their angle about the gear.
    pub outlines: Vec<Outline>,
    /// Their lengthwise form.
    pub form: FlankForm,
    /// Hand of the ring gear, where the fitted gear is of the form that is seen and the other hand fits
    /// clearly worse.
    pub hand: Option<Hand>,
    /// The end of the flanks that something hides.
    pub hidden: Option<HiddenEnd>,
    /// How far off the fit is.
    pub scatter: FitScatter,
    /// How the gear was cut, where the photo tells.
    pub cutting: Option<SeenCutting>,
    /// Remarks that keep the reading from being sure.
    pub doubts: Vec<Reason>,
    /// Other flanks show that nobody painted.
    others_bare: bool,
    /// The gear they are flanks of.
    fit: GearFit,
}

/// How far off a gear fitted to found flanks is, standard deviations in shares of length and height.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct FitScatter {
    /// What every outline's doubt counts for it, by which readings are refused: on the safe side.
    pub counted: FlankPoint,
    /// What was measured.
    pub measured: FlankPoint,
}

/// Looks for the flanks of the ring gear in a photo.
#[derive(Debug)]
pub(crate) struct FlankFinder<'a> {
    photo: &'a Photo,
    known: &'a KnownGear,
    coordinates: FlankCoordinateMap,
    /// The gear as an earlier pass found it.
    near: Option<GearFit>,
}

impl<'a> FlankFinder<'a> {
    /// The first pass over a photo.
    ///
    /// # Errors
    /// The reasons for which no flanks can be looked for.
    pub(crate) fn new(photo: &'a Photo, known: &'a KnownGear) -> Result<Self, Vec<Reason>> {
        let window = FlankCoordinateMap::found(photo)
            .flanks_window(photo)
            .ok_or_else(no_gear)?;
        Ok(Self::at(photo, known, window))
    }

    fn at(photo: &'a Photo, known: &'a KnownGear, window: Window) -> Self {
        Self {
            photo,
            known,
            coordinates: FlankCoordinateMap::measured(photo, window),
            near: None,
        }
    }

    /// Finders that look closer, for flanks too small to be seen at a glance: each begins where the one before found
    /// nothing. They look at the photo in ever smaller parts, then at what carries compound in the part that shows most.
    pub(crate) fn closer(photo: &'a Photo, known: &'a KnownGear) -> impl Iterator<Item = Self> {
        CALIBRATION
            .network
            .parts_across
            .iter()
            .filter_map(move |&across| {
                let looks = FlankCoordinateMap::found_in_parts(photo, across);
                let places = looks.iter().map(FlankCoordinateMap::painted_places);
                let most = places.max_by_key(Vec::len)?;
                if most.len() < CALIBRATION.network.fewest_cells_of_gear {
                    return None;
                }
                let window = Window::about(photo, most.into_iter());
                Some(Self::at(photo, known, window))
            })
    }

    /// A closer look at flanks that were found, where they are small in what the network was shown, or are the painted few of a
    /// gear that fills it.
    pub(crate) fn nearer(&self, found: &FoundFlanks) -> Option<Self> {
        if found.outlines.is_empty() {
            return None;
        }
        let network = &CALIBRATION.network;
        let lengths = found.outlines.iter().map(|outline| outline.size_px().0);
        let longest = lengths.fold(0.0, f64::max);
        let outlines = found.outlines.iter();
        let corners = outlines.flat_map(|outline| outline.corners().ring());
        let small = self.coordinates.shown_px(longest) <= network.small_flank_px;
        let window = Window::about(self.photo, corners).grown(self.photo, longest);
        let few = found.others_bare
            && window.longest() < network.clearly_nearer * self.coordinates.window().longest();
        (small || few).then(|| Self::at(self.photo, self.known, window))
    }

    /// The same with a second pass, over the photo mirrored, that starts from what the first one found.
    pub(crate) fn with_mirrored_pass(&self, first: &FoundFlanks) -> Self {
        Self {
            photo: self.photo,
            known: self.known,
            coordinates: self.coordinates.and_mirrored(self.photo),
            near: Some(first.fit.clone()),
        }
    }

    /// Finds the flanks of the form that is asked for, else of the one that shows more.
    ///
    /// # Errors
    /// The reasons for which none can be outlined.
    pub(crate) fn find(&self, hints: &FindHints) -> Result<FoundFlanks, Vec<Reason>> {
        let (photo, coordinates) = (self.photo, &self.coordinates);
        let limits = &CALIBRATION.finding;
        let forms: Vec<Option<FlankForm>> = (0..coordinates.len())
            .map(|cell| coordinates.form(cell))
            .collect();
        let cells_of = |form| forms.iter().filter(|&&of| of == Some(form)).count() as f64;
        let (convex, concave) = (cells_of(FlankForm::Convex), cells_of(FlankForm::Concave));
        let form = hints.form.unwrap_or(if convex >= concave {
            FlankForm::Convex
        } else {
            FlankForm::Concave
        });
        let mut proposed = proposals(coordinates, &forms, form);
        proposed.truncate(limits.most_flanks);
        let fit = fit_without_strays(photo, &proposed, self.known, self.near.as_ref())
            .filter(|fit| fit.misfit < limits.no_gear_misfit)
            .ok_or_else(no_gear)?;
        let (fit, teeth) = refine(photo, coordinates, self.known, &fit).ok_or_else(no_gear)?;
        let (readable, others_bare) = readable(&teeth);
        let seen = flank_edges(photo, &fit, &readable);
        let Ends {
            fit: other_fit,
            hiding,
            length_doubt,
            length_scatter,
        } = ends(photo, self.known, &fit, &teeth, seen.ends)?;
        let (fit, seen) = match other_fit {
            Some(fit) => {
                let seen = flank_edges(photo, &fit, &readable);
                (fit, seen)
            }
            None => (fit, seen),
        };
        let cutting = match hiding {
            None => seen_cutting(&seen, &fit.form),
            Some(_) => None,
        };
        let outline_doubt = &CALIBRATION.outline;
        let measured = outline_doubt.found_scatter.at(fit.misfit);
        let scatter = FitScatter {
            counted: outline_doubt.found.at(fit.misfit),
            measured: FlankPoint {
                length: measured.length.hypot(length_scatter),
                ..measured
            },
        };
        let doubt = FlankPoint {
            length: scatter.counted.length.hypot(length_doubt),
            ..scatter.counted
        };
        let outlines: Vec<Outline> = readable
            .into_iter()
            .map(|tooth| {
                let outline = outline(&fit, &seen.of_all, tooth, doubt);
                match &hiding {
                    Some(hiding) => outline.with_hidden(|at, _| hiding.hides(tooth, at)),
                    None => outline,
                }
            })
            .collect();
        let sure_of_hand = fit.other_hand_cost_ratio > limits.sure_hand_cost_ratio_found;
        let doubts = doubts(hints, form, (convex, concave), &fit, &outlines);
        Ok(FoundFlanks {
            outlines,
            form,
            hand: (fit.kind.form == form && sure_of_hand).then_some(fit.kind.hand),
            hidden: hiding.map(|hiding| hiding.end),
            scatter,
            cutting,
            doubts,
            others_bare,
            fit,
        })
    }
}

/// What keeps a reading of found flanks from being sure; of the cells on flanks so many are convex and concave.
fn doubts(
    hints: &FindHints,
    form: FlankForm,
    (convex, concave): (f64, f64),
    fit: &GearFit,
    outlines: &[Outline],
) -> Vec<Reason> {
    let limits = &CALIBRATION.finding;
    let mut doubts = Vec::new();
    if fit.misfit > limits.doubtful_misfit {
        doubts.push(Reason::new(
            ReasonCode::TeethDisagree,
            "The flanks that were found do not lie as on one ring gear. Look at the outlines; if they are off, mark a flank or take the photo squarer to the teeth.",
        ));
    }
    let (own, other) = match form {
        FlankForm::Convex => (convex, concave),
        FlankForm::Concave => (concave, convex),
    };
    if hints.form.is_some() && other > limits.other_shows * own {
        doubts.push(Reason::new(
            ReasonCode::WhichFlank,
            "The photo mostly shows the other flanks than those it is said to show. Look at the outlines; if they lie on the wrong flanks, name the other ones or take the photo from the other side.",
        ));
    }
    let both_show = convex.min(concave) > limits.clearly_less * convex.max(concave);
    let sure_of_hand = fit.other_hand_cost_ratio > limits.sure_hand_cost_ratio_found;
    let contradicts = fit.kind.form != form && sure_of_hand;
    if hints.form.is_none() && (both_show || contradicts) {
        doubts.push(Reason::new(
            ReasonCode::WhichFlank,
            "The photo does not say for sure whether these are the drive or the coast flanks. Say it with --flank.",
        ));
    }
    if hints.toe.is_some_and(|toe| !toe_lies(outlines, toe)) {
        doubts.push(Reason::new(
            ReasonCode::WhichEnd,
            "The toe was found at the other end than --toe says. Look at the outlines, and mark a flank if they are wrong.",
        ));
    }
    doubts
}

/// The gear that fits the proposed flanks, near a known one if that is a good fit. Where it fits poorly, some
/// of the flanks may be none of this gear: those are left out whose leaving helps most.
fn fit_without_strays(
    photo: &Photo,
    proposed: &[Proposal],
    known: &KnownGear,
    near: Option<&GearFit>,
) -> Option<GearFit> {
    let limits = &CALIBRATION.finding;
    let fit_to = |proposed: &[&Proposal], near: Option<&GearFit>| {
        let marked: Vec<MarkedFlank> = proposed.iter().map(|p| p.marked.clone()).collect();
        let points: Vec<Vec<Correspondence>> = proposed.iter().map(|p| p.points.clone()).collect();
        fit_proposed(photo, &marked, &points, known, near)
    };
    let mut proposed: Vec<&Proposal> = proposed.iter().collect();
    let mut best = near
        .and_then(|near| fit_to(&proposed, Some(near)))
        .filter(|fit| fit.misfit < limits.poor_misfit)
        .or_else(|| fit_to(&proposed, None))?;
    for _ in 0..limits.most_strays {
        if best.misfit < limits.poor_misfit || proposed.len() <= limits.fewest_fitted {
            break;
        }
        let without = (0..proposed.len()).filter_map(|stray| {
            let mut others = proposed.clone();
            others.remove(stray);
            Some((fit_to(&others, Some(&best))?.misfit, stray))
        });
        let (_, stray) = without.min_by(|a, b| a.0.total_cmp(&b.0))?;
        proposed.remove(stray);
        best = fit_to(&proposed, None)?;
    }
    Some(best)
}

/// The flanks to be read, those that show best in the order of the teeth; and whether others show that nobody painted. A bare
/// flank has no patch, and what looks like one on it misleads the others.
fn readable(teeth: &[SeenTooth]) -> (Vec<usize>, bool) {
    let limits = &CALIBRATION.finding;
    let mut best: Vec<usize> = (0..teeth.len())
        .filter(|&tooth| {
            teeth[tooth].visible_share > limits.read_visible_share
                && teeth[tooth].in_photo > limits.least_in_photo
        })
        .collect();
    let painted = |tooth: usize| teeth[tooth].painted_share;
    let most = (best.iter().map(|&tooth| painted(tooth))).fold(0.0, f64::max);
    let all = best.len();
    if most > limits.painted_share {
        best.retain(|&tooth| painted(tooth) > limits.bare_share * most);
    }
    let others_bare = best.len() < all;
    let shows = |tooth: usize| teeth[tooth].visible_share;
    best.sort_by(|&a, &b| shows(b).total_cmp(&shows(a)));
    best.truncate(limits.most_flanks);
    best.sort_unstable();
    (best, others_bare)
}

/// The flank of one tooth, where its edges were seen, less what the next tooth hides.
fn outline(fit: &GearFit, edges: &FlankEdges, tooth: usize, doubt: FlankPoint) -> Outline {
    let doubt = FlankPoint::new(
        doubt.length.hypot(edges.doubt.length),
        doubt.height.hypot(edges.doubt.height),
    );
    let (flank, angle) = (fit.flank(), fit.angles[tooth]);
    let outline = Outline::from_map(fit.form.depth_over_length(), doubt, |at| {
        fit.camera.project(flank.point(angle, edges.in_fit(at)))
    });
    match fit.next_tooth(tooth) {
        Some(next) => outline.with_hidden(|_, place| next.covers(place)),
        None => outline,
    }
}

/// Whether the toes of most flanks lie towards the end that was named.
fn toe_lies(outlines: &[Outline], toe: ToeEnd) -> bool {
    let way: f64 = outlines
        .iter()
        .map(|outline| {
            let heel = outline.place(FlankPoint::new(1.0, 0.5));
            let inner = outline.place(FlankPoint::new(0.0, 0.5));
            toe.towards((inner.x - heel.x, inner.y - heel.y))
        })
        .sum();
    way > 0.0
}

fn no_gear() -> Vec<Reason> {
    vec![Reason::new(
        ReasonCode::NoGear,
        "No ring gear was found. Go nearer until four or five painted teeth fill the photo, turn the gear so that one kind of flank faces the camera, and light it from the side; or mark the corners of two or three flanks.",
    )]
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::RgbImage;

    #[test]
    fn plain_and_striped_pictures_hold_no_gear() {
        let plain = RgbImage::from_pixel(640, 480, image::Rgb([120, 110, 60]));
        let striped = RgbImage::from_fn(640, 480, |x, y| {
            let light = if (x + y / 2) % 40 < 20 { 220 } else { 30 };
            image::Rgb([light, light, 20])
        });
        let known = KnownGear::default();
        for picture in [plain, striped] {
            let photo = Photo::from_pixels("drawn", picture);
            let found = FlankFinder::new(&photo, &known)
                .and_then(|finder| finder.find(&FindHints::default()));
            let reasons = found.unwrap_err();
            assert_eq!(reasons[0].code, ReasonCode::NoGear);
        }
    }

    #[test]
    fn of_a_gear_with_a_few_painted_teeth_these_are_read() {
        let row = |painted: &[f64]| -> Vec<SeenTooth> {
            let teeth = painted.iter().enumerate();
            let shown = |i| if i % 2 == 0 { 0.7 } else { 0.95 };
            teeth
                .map(|(i, &painted)| SeenTooth::of_shares(i as f64, shown(i), painted))
                .collect()
        };
        // Twelve bare teeth show as well as the four with a print.
        let mut painted = vec![0.02; 16];
        painted[5..9].fill(0.18);
        assert_eq!(readable(&row(&painted)), (vec![5, 6, 7, 8], true));
        // Teeth in better and worse light are painted all the same, and those that show best are read.
        let (read, others_bare) = readable(&row(&[
            0.8, 0.3, 0.5, 0.6, 0.7, 0.4, 0.3, 0.8, 0.7, 0.6, 0.5, 0.4,
        ]));
        assert_eq!((read.len(), others_bare), (8, false));
        assert!([1, 3, 5, 7, 9, 11].iter().all(|tooth| read.contains(tooth)));
        // On a bare gear a stain is no paint.
        assert_eq!(readable(&row(&[0.0, 0.05, 0.0])), (vec![0, 1, 2], false));
    }

    #[test]
    fn the_toe_is_checked_against_the_hint() {
        let outline = Outline::from_map(0.3, FlankPoint::new(0.0, 0.0), |at| {
            crate::frames::PhotoPoint::new(100.0 + 50.0 * at.length, 80.0 - 10.0 * at.height)
        });
        assert!(toe_lies(std::slice::from_ref(&outline), ToeEnd::Left));
        assert!(!toe_lies(&[outline], ToeEnd::Right));
    }
}
