//! The model against figures of others, and its own properties.

mod published_motion;
mod sweep;

use super::*;
use crate::schema::{Cutting, Hand};

/// Figures of an independent prototype of the same method (11 × 41, 200 mm): f_αlim, move of the pinion, of the ring gear
/// and of the offset, drive centre, coast centre, backlash at the outer diameter. The prototype takes how far the
/// ease-off travels from the flank's middle, here it is each point's own.
type WorkedRow = (f64, [f64; 3], [f64; 2], [f64; 2], f64);
const MILLED: [WorkedRow; 8] = [
    (0.0, [0.0, 0.0, 0.0], [0.503, 0.501], [0.502, 0.498], 0.0),
    (0.0, [0.1, 0.0, 0.0], [0.574, 0.559], [0.489, 0.601], 0.041),
    (0.0, [0.0, 0.1, 0.0], [0.546, 0.519], [0.502, 0.520], 0.095),
    (0.0, [0.0, 0.0, 0.05], [0.485, 0.523], [0.543, 0.547], 0.012),
    (1.0, [0.0, 0.0, 0.0], [0.501, 0.501], [0.503, 0.497], 0.0),
    (1.0, [0.1, 0.0, 0.0], [0.570, 0.571], [0.486, 0.558], 0.040),
    (1.0, [0.0, 0.1, 0.0], [0.532, 0.513], [0.509, 0.523], 0.098),
    (1.0, [0.0, 0.0, 0.05], [0.480, 0.532], [0.537, 0.525], 0.011),
];
const HOBBED: [WorkedRow; 4] = [
    (0.0, [0.1, 0.0, 0.0], [0.534, 0.550], [0.549, 0.605], 0.037),
    (0.0, [0.0, 0.1, 0.0], [0.539, 0.520], [0.493, 0.519], 0.096),
    (1.0, [0.1, 0.0, 0.0], [0.537, 0.562], [0.530, 0.557], 0.036),
    (1.0, [0.0, 0.1, 0.0], [0.531, 0.514], [0.501, 0.517], 0.099),
];

#[test]
fn worked_sets_agree_with_an_independent_prototype() {
    for (cutting, rows) in [
        (Cutting::FaceMilled, &MILLED[..]),
        (Cutting::FaceHobbed, &HOBBED[..]),
    ] {
        for &(factor, [pinion_mm, ring_mm, offset_mm], drive, coast, backlash) in rows {
            let set = GearSet {
                limit_angle_factor: Some(factor),
                ..GearSet::example(cutting)
            };
            let model = Model::new(&set).unwrap();
            let (pair, d) = (model.pair(), model.dimensions());
            for (angle, expected) in [
                (pair.offset_angle, -22.41f64),
                (pair.pinion_spiral, 53.41),
                (pair.pinion_angle, 14.85),
                (d.convex_angle, 20.0 - 9.486 * factor),
                (d.concave_angle, 20.0 + 9.486 * factor),
            ] {
                assert!((angle - expected.to_radians()).abs() < 0.02f64.to_radians());
            }
            let (ease_off, film) = model.defaults();
            let moved = Misalignment {
                pinion_mm,
                ring_mm,
                offset_mm,
                ..Misalignment::default()
            };
            let state = model.state(&moved, &ease_off, film);
            for (side, [length, height]) in [(Side::Drive, drive), (Side::Coast, coast)] {
                let centre = state.side(side).patch.unwrap().centre;
                assert!(
                    (centre.length - length).abs() < 0.004
                        && (centre.height - height).abs() < 0.004,
                    "{cutting:?} {factor} {moved:?} {side:?}: {centre:?}"
                );
            }
            assert!((state.backlash_change_mm - backlash).abs() < 0.001);
        }
    }
}

use proptest::prelude::*;

fn model(cutting: Cutting) -> Model {
    Model::new(&GearSet::example(cutting)).unwrap()
}

fn moved(pinion_mm: f64, ring_mm: f64, offset_mm: f64) -> Misalignment {
    Misalignment {
        pinion_mm,
        ring_mm,
        offset_mm,
        ..Misalignment::default()
    }
}

#[test]
fn the_other_hand_changes_nothing_but_the_hand() {
    for cutting in [Cutting::FaceMilled, Cutting::FaceHobbed] {
        let set = |hand| GearSet {
            hand,
            ..GearSet::example(cutting)
        };
        let (left, right) = (
            Model::new(&set(Hand::Left)).unwrap(),
            Model::new(&set(Hand::Right)).unwrap(),
        );
        let (ease_off, film) = left.defaults();
        let m = moved(0.07, -0.03, 0.02);
        assert_eq!(
            left.state(&m, &ease_off, film),
            right.state(&m, &ease_off, film)
        );
    }
}

#[test]
fn a_set_that_drives_on_the_concave_flank_swaps_drive_and_coast() {
    let usual = model(Cutting::FaceMilled);
    let swapped = Model::new(&GearSet {
        drives_on: FlankForm::Concave,
        ..GearSet::example(Cutting::FaceMilled)
    })
    .unwrap();
    let (ease_off, film) = usual.defaults();
    let m = moved(0.1, 0.05, 0.0);
    let (a, b) = (
        usual.state(&m, &ease_off, film),
        swapped.state(&m, &ease_off, film),
    );
    assert_eq!((a.drive, a.coast), (b.coast, b.drive));
}

/// Turning the pinion about the ring gear's axis, or about its own, changes no more than the
/// rotation between the two: the patch stays, and every lag grows by the same angle.
#[test]
fn moves_that_only_turn_the_mesh_leave_the_patch() {
    for cutting in [Cutting::FaceMilled, Cutting::FaceHobbed] {
        let model = model(cutting);
        let (ease_off, film) = model.defaults();
        let pair = model.pair();
        let angle = 1e-3;
        let about_ring = (
            Vector3::z().cross(&pair.crossing_point) * angle,
            Vector3::z() * angle,
        );
        let about_own = (Vector3::zeros(), pair.pinion_axis * angle);
        for i in [0, 1] {
            let still = (Vector3::zeros(), Vector3::zeros());
            let contact =
                |(shift, turn)| model.flanks[i].contact(&ease_off[i], &shift, &turn, film);
            let before = contact(still);
            for (turned, by) in [(about_ring, angle), (about_own, angle / pair.ratio)] {
                let after = contact(turned);
                let (a, b) = (before.patch.unwrap(), after.patch.unwrap());
                assert!((a.centre.length - b.centre.length).abs() < 1e-6);
                assert!((a.centre.height - b.centre.height).abs() < 1e-6);
                assert!(((after.least_lag - before.least_lag).abs() - by).abs() < 1e-9);
            }
        }
    }
}

/// The centre converges with the square of the grid's step.
#[test]
fn refining_the_grid_converges() {
    let set = GearSet::example(Cutting::FaceMilled);
    let centre = |n: usize| {
        let model = Model::with_grid(&set, 2 * n + 1, n + 1).unwrap();
        let (ease_off, film) = model.defaults();
        let state = model.state(&moved(0.08, 0.05, 0.0), &ease_off, film);
        [state.drive, state.coast].map(|f| f.patch.unwrap().centre)
    };
    let finest = centre(180);
    let miss = |n: usize| {
        centre(n)
            .iter()
            .zip(&finest)
            .map(|(a, b)| (a.length - b.length).abs().max((a.height - b.height).abs()))
            .fold(0.0, f64::max)
    };
    let (coarse, usual) = (miss(12), miss(30));
    let order = (coarse / usual).ln() / (30f64 / 12.0).ln();
    assert!(usual < 0.001, "{usual}");
    assert!(order > 1.5, "order {order}: {coarse} {usual}");
}

/// The centre is fitted by finite differences: between neighbouring moves it must not jitter. What is
/// left of it after a parabola through its neighbours is below a ten-thousandth of the flank.
#[test]
fn the_centre_moves_smoothly() {
    for cutting in [Cutting::FaceMilled, Cutting::FaceHobbed] {
        let model = model(cutting);
        let (ease_off, film) = model.defaults();
        let centres: Vec<[FlankPoint; 2]> = (0..60)
            .map(|k| {
                let m = moved(-0.06 + 0.002 * f64::from(k), 0.02, 0.0);
                let state = model.state(&m, &ease_off, film);
                Side::BOTH.map(|side| state.side(side).patch.unwrap().centre)
            })
            .collect();
        for side in [0, 1] {
            for value in [|c: &FlankPoint| c.length, |c: &FlankPoint| c.height] {
                let path: Vec<f64> = centres.iter().map(|c| value(&c[side])).collect();
                for w in path.windows(4) {
                    let jitter = (w[3] - 3.0 * w[2] + 3.0 * w[1] - w[0]).abs() / 8.0;
                    assert!(jitter < 1e-4, "{cutting:?} {side}: {jitter}");
                }
            }
        }
    }
}

#[test]
fn a_patch_that_runs_off_the_flank_is_still_given() {
    let model = model(Cutting::FaceMilled);
    let (ease_off, film) = model.defaults();
    let state = model.state(&moved(0.6, 0.4, 0.0), &ease_off, film);
    for side in Side::BOTH {
        let patch = state.side(side).patch.unwrap();
        assert!(patch.margin.tip < 1e-9, "{side:?} {patch:?}");
        assert!(patch.area > 0.001 && patch.centre.height > 0.7);
    }
}

/// With both gears in place the gap is in proportion to ease-off and film together, so that scaling both leaves the patch;
/// more crowning alone makes it smaller. Out of place the ease-off has moved with the pinion, and proportion is lost.
#[test]
fn only_the_proportions_of_ease_off_and_film_count() {
    let model = model(Cutting::FaceHobbed);
    let (mut ease_off, film) = model.defaults();
    let patch = |e: &[EaseOff; 2], film: f64| {
        let state = model.state(&Misalignment::default(), e, film);
        state.drive.patch.unwrap()
    };
    let before = patch(&ease_off, film);
    for e in &mut ease_off {
        e.length_mm *= 2.0;
        e.height_mm *= 2.0;
    }
    let same = patch(&ease_off, 2.0 * film);
    assert!((same.centre.length - before.centre.length).abs() < 1e-9);
    assert!((same.extent.height - before.extent.height).abs() < 1e-9);
    let crowned = patch(&ease_off, film);
    assert!(crowned.extent.length < 0.95 * before.extent.length);
    assert!(crowned.area < 0.85 * before.area);
}

/// A back face run out by w swings backlash and patch once a turn (about 0.8 w in the plane of
/// rotation at the mean radius on usual sets, from the normal section).
#[test]
fn run_out_swings_backlash_and_patch_once_a_turn() {
    let model = model(Cutting::FaceMilled);
    let (ease_off, film) = model.defaults();
    let turn = model.turn_with_run_out(&Misalignment::default(), &ease_off, film, 0.1, 8);
    let swing = |value: fn(&State) -> f64| {
        let values: Vec<f64> = turn.iter().map(value).collect();
        let high = values.iter().copied().fold(f64::MIN, f64::max);
        let low = values.iter().copied().fold(f64::MAX, f64::min);
        assert!((values[2] - high).abs() < 1e-12 && (values[6] - low).abs() < 1e-12);
        high - low
    };
    let ratio = model.ring_backlash_ratio(100.0).transverse;
    assert!((swing(|s| s.backlash_change_mm) / (0.1 * ratio) - 1.0).abs() < 0.02);
    let length = swing(|s| s.drive.patch.unwrap().centre.length);
    // The prototype's ring gear backed off by 0.1 mm.
    assert!((length - 0.031).abs() < 0.003, "{length}");
}

/// A generated ring gear meshes like a formed one: both patches to the tip when the pinion is
/// withdrawn, backlash by the normal section. A generated profile is curved, so that the patch has to
/// stand on the pitch cone for that: the addendum is half the working depth here.
#[test]
fn generated_ring_gears_and_spiral_bevel_sets_mesh() {
    for (generated, offset_mm) in [(true, 35.0), (true, 0.0), (false, 0.0)] {
        let set = GearSet {
            generated,
            offset_mm,
            pitch_angle: None,
            addendum_mm: Some(4.25),
            ..GearSet::example(Cutting::FaceMilled)
        };
        let model = Model::new(&set).unwrap();
        let (ease_off, film) = model.defaults();
        let right = model.state(&Misalignment::default(), &ease_off, film);
        let out = model.state(&moved(0.05, 0.0, 0.0), &ease_off, film);
        let back = model.state(&moved(0.0, 0.1, 0.0), &ease_off, film);
        for side in Side::BOTH {
            let (a, b) = (
                right.side(side).patch.unwrap(),
                out.side(side).patch.unwrap(),
            );
            assert!((a.centre.length - 0.5).abs() < 0.02 && (a.centre.height - 0.5).abs() < 0.02);
            assert!(
                b.centre.height > a.centre.height + 0.005,
                "{generated} {offset_mm} {side:?}"
            );
        }
        let d = model.dimensions();
        let pair = model.pair();
        let ratio = (d.convex_angle.tan() + d.concave_angle.tan()) * pair.ring_angle.sin()
            / pair.ring_spiral.cos()
            * 0.5
            * d.ring_diameter_mm
            / pair.ring_radius_mm;
        let found = back.backlash_change_mm / (0.1 * ratio);
        assert!(
            (found - 1.0).abs() < 0.02,
            "{generated} {offset_mm}: {found}"
        );
    }
}

#[test]
fn sets_that_cannot_mesh_are_refused_with_what_would_work() {
    let usual = GearSet::example(Cutting::FaceMilled);
    let refused = |set: GearSet| Model::new(&set).unwrap_err().to_string();
    let toothless = refused(GearSet {
        pinion_teeth: 0,
        ..usual.clone()
    });
    assert!(toothless.contains("pinion_teeth is 0") && toothless.contains("works is 4"));
    let past_apex = refused(GearSet {
        face_width_mm: 110.0,
        ..usual.clone()
    });
    assert!(past_apex.contains("reaches the pitch apex"), "{past_apex}");
    let wide_offset = refused(GearSet {
        offset_mm: 79.0,
        ..usual.clone()
    });
    assert!(
        wide_offset.contains("the largest that works is"),
        "{wide_offset}"
    );
    let narrow = refused(GearSet {
        face_width_mm: 4.0,
        whole_depth_mm: Some(1.0),
        clearance_mm: Some(0.1),
        addendum_mm: Some(0.4),
        ..usual.clone()
    });
    assert!(
        narrow.contains("in mesh for") && narrow.contains("nearest that works"),
        "{narrow}"
    );
    let undercut = refused(GearSet {
        pinion_teeth: 6,
        addendum_mm: Some(7.0),
        ..usual
    });
    assert!(undercut.contains("would undercut"), "{undercut}");
    assert!(undercut.contains("a ring gear addendum of"), "{undercut}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Small moves act in proportion.
    #[test]
    fn small_moves_are_linear(
        hobbed in any::<bool>(), pinion in -1.0f64..1.0, ring in -1.0f64..1.0, offset in -1.0f64..1.0,
    ) {
        let cutting = if hobbed { Cutting::FaceHobbed } else { Cutting::FaceMilled };
        let model = model(cutting);
        let (ease_off, film) = model.defaults();
        let centre = |by: f64, side: Side| {
            let m = moved(by * pinion, by * ring, by * offset);
            model.state(&m, &ease_off, film).side(side).patch.unwrap().centre
        };
        for side in Side::BOTH {
            let (one, two, zero) = (centre(0.01, side), centre(0.02, side), centre(0.0, side));
            let twice = 2.0 * (one.length - zero.length);
            prop_assert!((two.length - zero.length - twice).abs() < 5e-4 + 0.05 * twice.abs());
            let twice = 2.0 * (one.height - zero.height);
            prop_assert!((two.height - zero.height - twice).abs() < 5e-4 + 0.05 * twice.abs());
        }
    }

    /// Whatever the move, what is printed of a patch is finite and on the flank.
    #[test]
    fn patches_stay_on_the_flank(
        hobbed in any::<bool>(), pinion in -2.0f64..2.0, ring in -2.0f64..2.0,
        offset in -2.0f64..2.0, angle in -0.01f64..0.01, film in 0.001f64..0.05,
    ) {
        let cutting = if hobbed { Cutting::FaceHobbed } else { Cutting::FaceMilled };
        let model = model(cutting);
        let (ease_off, _) = model.defaults();
        let m = Misalignment { shaft_angle: angle, ..moved(pinion, ring, offset) };
        let state = model.state(&m, &ease_off, film);
        prop_assert!(state.backlash_change_mm.is_finite());
        for side in Side::BOTH {
            if let Some(p) = state.side(side).patch {
                for x in [p.centre.length, p.centre.height, p.extent.length, p.extent.height, p.area] {
                    prop_assert!((0.0..=1.0).contains(&x), "{:?}", p);
                }
                prop_assert!(p.lean.is_finite());
            }
        }
    }

    /// Any set is either refused in words or gives finite numbers; nothing panics.
    #[test]
    fn wild_sets_are_refused_or_computed(
        kind in 0..3u8, teeth in (0u32..60, 0u32..120), diameter in 1.0f64..600.0,
        face in 0.0f64..300.0, offset in -10.0f64..200.0, spiral in -0.2f64..1.2,
        pressure in 0.0f64..0.8, pitch in proptest::option::of(0.1f64..1.6),
        cutter in proptest::option::of(0.0f64..500.0), depth in proptest::option::of(0.0f64..60.0),
        taper in proptest::option::of(0.0f64..0.5), groups in proptest::option::of(0u32..60),
    ) {
        let set = GearSet {
            cutting: if kind == 2 { Cutting::FaceHobbed } else { Cutting::FaceMilled },
            generated: kind == 1,
            pinion_teeth: teeth.0,
            ring_teeth: teeth.1,
            ring_diameter_mm: diameter,
            face_width_mm: face,
            offset_mm: offset,
            spiral_angle: spiral,
            pressure_angle: pressure,
            pitch_angle: pitch,
            cutter_radius_mm: cutter,
            whole_depth_mm: depth,
            clearance_mm: None,
            addendum_mm: None,
            taper,
            blade_groups: groups,
            ..GearSet::example(Cutting::FaceMilled)
        };
        match Model::with_grid(&set, 15, 9) {
            Err(error) => prop_assert!(error.to_string().len() > 30, "{}", error),
            Ok(model) => {
                let (ease_off, film) = model.defaults();
                let state = model.state(&moved(0.1, 0.1, 0.1), &ease_off, film);
                prop_assert!(state.backlash_change_mm.is_finite(), "{:?}", set);
            }
        }
    }
}
