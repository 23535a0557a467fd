//! How the gear was cut, from the depth of its teeth at toe and heel: face-milled teeth taper, face-hobbed ones are even.

use super::calibration::CALIBRATION;
use super::flank_edges::{FlankEdges, SeenEdges, deviation_of_mean};
use super::pose::gear_form::RingForm;
use crate::schema::{Cutting, SeenCutting};

/// The cutting method, where the edges of the flanks tell it. Both ends must show.
pub(super) fn seen_cutting(edges: &SeenEdges, form: &RingForm) -> Option<SeenCutting> {
    let seen = taper(&edges.of_all, form)?;
    let of_each: Vec<f64> = (edges.of_each.iter())
        .filter_map(|edges| taper(edges, form))
        .collect();
    cutting_of(seen, deviation_of_mean(of_each.iter().copied()))
}

/// The cutting method of teeth that are seen to taper so much, where that tells it; by so much, a standard deviation, the teeth
/// of the photo leave it open.
fn cutting_of(taper: f64, deviation: f64) -> Option<SeenCutting> {
    let told = &CALIBRATION.cutting;
    let density = |middle: f64, spread: f64| {
        let spread = spread.hypot(deviation);
        (-0.5 * ((taper - middle) / spread).powi(2)).exp() / spread
    };
    let milled = density(told.milled.0, told.milled.1);
    let hobbed = density(told.hobbed.0, told.hobbed.1);
    // Neither is likelier before the photo is looked at.
    let likely = milled / (milled + hobbed);
    let (method, probability) = if likely > 0.5 {
        (Cutting::FaceMilled, likely)
    } else {
        (Cutting::FaceHobbed, 1.0 - likely)
    };
    (probability > told.sure).then_some(SeenCutting {
        method,
        probability,
    })
}

/// Depth at the heel less depth at the toe, over their mean; `None` where the edges cross.
fn taper(edges: &FlankEdges, form: &RingForm) -> Option<f64> {
    let [toe_root, toe_tip, heel_tip, heel_root] = edges.corners().map(|corner| corner.height);
    let toe = (1.0 - 0.5 * form.taper) * (toe_tip - toe_root);
    let heel = (1.0 + 0.5 * form.taper) * (heel_tip - heel_root);
    (toe > 0.0 && heel > 0.0).then(|| 2.0 * (heel - toe) / (heel + toe))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn method(taper: f64, deviation: f64) -> Option<Cutting> {
        cutting_of(taper, deviation).map(|seen| seen.method)
    }

    #[test]
    fn even_and_tapered_teeth_are_told_and_what_lies_between_is_not() {
        // Common practice, no source: face-milled teeth are some three tenths shallower at the toe, face-hobbed ones even.
        assert_eq!(method(0.0, 0.0), Some(Cutting::FaceHobbed));
        assert_eq!(method(0.4, 0.0), Some(Cutting::FaceMilled));
        assert_eq!(method(0.2, 0.0), None);
    }

    #[test]
    fn teeth_that_differ_tell_nothing() {
        assert_eq!(method(0.4, 0.3), None);
        assert_eq!(method(0.0, 0.3), None);
    }

    #[test]
    fn the_taper_of_a_form_is_seen_where_its_edges_are_those_of_the_fit() {
        let form = RingForm {
            taper: 0.3,
            ..RingForm::USUAL
        };
        let seen = taper(&FlankEdges::OF_FIT, &form).unwrap();
        assert!((seen - 0.3).abs() < 1e-12);
    }
}
