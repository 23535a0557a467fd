//! Finding the flanks without marks: the network proposes, the fitted gear judges.

use super::Outline;
use super::fields::{Fields, Window};
use super::gear_fit::{self, GearFit, MarkedFlank};
use super::proposal::{Proposal, proposals};
use crate::frames::{FlankPoint, PhotoPoint};
use crate::gear::set::FlankForm;
use crate::photo::Photo;
use crate::reading::{Reason, ReasonCode, reason};

/// The end of the flanks that is the toe, as it lies in the photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
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

/// What is known of a photo before its flanks are looked for.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Help {
    /// Lengthwise form of the flanks that are asked for.
    pub form: Option<FlankForm>,
    /// Which end is the toe.
    pub toe: Option<ToeEnd>,
    /// Number of teeth of the ring gear.
    pub ring_teeth: Option<u32>,
}

/// The flanks found in a photo.
#[derive(Debug, Clone)]
pub struct Found {
    /// Their outlines, in order along the gear.
    pub outlines: Vec<Outline>,
    /// Their lengthwise form.
    pub form: FlankForm,
    /// Remarks that keep the reading from being sure.
    pub doubts: Vec<Reason>,
}

/// Most flanks that go into a reading: more cost time and add little.
const MOST_FLANKS: usize = 8;

/// Finds the flanks of the ring gear in a photo.
///
/// # Errors
/// The reasons for which none can be outlined.
pub fn find(photo: &Photo, help: &Help) -> Result<Found, Vec<Reason>> {
    let fields = Fields::of(photo, Window::whole(photo));
    let form = help.form.unwrap_or_else(|| larger_form(&fields));
    let mut proposed = proposals(&fields, form);
    proposed.truncate(MOST_FLANKS);
    let marked: Vec<MarkedFlank> = proposed.iter().map(|p| p.marked.clone()).collect();
    let fit = gear_fit::fit(photo, &marked).ok_or_else(no_gear)?;
    if std::env::var_os("FLANKREAD_TRACE").is_some() {
        eprintln!("{} flanks, misfit {:.4}, other hand {:.2}, kind {:?} wanted {form:?}", marked.len(), fit.misfit, fit.other_hand, fit.kind);
        for p in &proposed { eprintln!("   cells {} scatter {:.4}", p.cells, p.scatter); }
    }
    let outlines = (0..marked.len()).map(|tooth| outline(&fit, tooth)).collect();
    Ok(Found { outlines, form, doubts: Vec::new() })
}

fn outline(fit: &GearFit, tooth: usize) -> Outline {
    Outline::from_map(fit.form.proportion(), FlankPoint::new(0.01, 0.02), |at| fit.place(tooth, at))
}

fn larger_form(fields: &Fields) -> FlankForm {
    let count = |form| (0..fields.len()).filter(|&cell| fields.form(cell) == Some(form)).count();
    if count(FlankForm::Convex) >= count(FlankForm::Concave) {
        FlankForm::Convex
    } else {
        FlankForm::Concave
    }
}

fn no_gear() -> Vec<Reason> {
    vec![reason(
        ReasonCode::NoGear,
        "No ring gear was found: take the photo so that several whole teeth are in it, lit from the side, or mark a flank.",
    )]
}
