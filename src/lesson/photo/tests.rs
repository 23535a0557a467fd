use super::*;
use crate::contact::Misalignment;
use crate::flank::marks::Marks;
use crate::gear::set::GearSet;
use crate::photo::Photo;
use crate::reading::{ReadOptions, read_photo};
use crate::schema::{Cutting, Hand, Status};

fn rendered(model: &Model, state: &State, shot: &Shot) -> Rendered {
    Studio::new(model)
        .unwrap()
        .render(model, state, shot)
        .unwrap()
}

/// A random state within what pinion and ring gear do to a set on the bench.
fn case(seed: u64) -> (Model, State, Shot) {
    let random = |k: u64| noise::share(seed, 500 + k);
    let cutting = if seed.is_multiple_of(2) {
        Cutting::FaceMilled
    } else {
        Cutting::FaceHobbed
    };
    let set = GearSet {
        hand: if seed.is_multiple_of(3) {
            Hand::Right
        } else {
            Hand::Left
        },
        ..GearSet::example(cutting)
    };
    let model = Model::with_grid(&set, 41, 21).unwrap();
    let (ease_off, film) = model.defaults();
    let misalignment = Misalignment {
        pinion_mm: 0.2 * (2.0 * random(1) - 1.0),
        ring_mm: 0.2 * (2.0 * random(2) - 1.0),
        ..Misalignment::default()
    };
    let state = model.state(&misalignment, &ease_off, film);
    let side = if random(3) < 0.5 {
        Side::Drive
    } else {
        Side::Coast
    };
    (model, state, Shot::new(side, (1200, 900), seed))
}

fn median(mut values: Vec<f64>, share: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    values[((values.len() - 1) as f64 * share).round() as usize]
}

fn errors(seeds: std::ops::Range<u64>) -> (Vec<[f64; 2]>, usize) {
    let all = (seeds.end - seeds.start) as usize;
    let mut found = Vec::new();
    for seed in seeds {
        let (model, state, shot) = case(seed);
        let rendered = self::rendered(&model, &state, &shot);
        let asked = ReadOptions {
            marks: Some(Marks {
                flank: Some(shot.side),
                polarity: None,
                teeth: rendered.marks.iter().take(3).cloned().collect(),
            }),
            ..ReadOptions::default()
        };
        let photo = Photo::from_pixels("rendered", rendered.picture);
        let reading = read_photo(&photo, &asked).reading;
        let truth = rendered.patch.unwrap().centre;
        if let (Status::Read, Some(mean)) = (reading.status, reading.mean) {
            found.push([
                (mean.centre.length - truth.length).abs(),
                (mean.centre.height - truth.height).abs(),
            ]);
        }
    }
    (found, all)
}

#[test]
fn the_same_seed_gives_the_same_picture_and_another_does_not() {
    let (model, state, shot) = case(3);
    let small = Shot {
        size: (200, 150),
        ..shot
    };
    let one = rendered(&model, &state, &small);
    let again = rendered(&model, &state, &small);
    let other = rendered(&model, &state, &Shot { seed: 4, ..small });
    assert!(one.picture == again.picture && one.marks == again.marks);
    assert!(one.picture != other.picture);
}

/// The truth is the contact model's own patch; the bars are those for photos with marks.
#[test]
#[ignore = "slow: by .ci/run"]
fn marked_photos_read_as_the_model_has_it() {
    let (errors, all) = errors(0..10);
    assert_eq!(errors.len(), all, "all are read");
    let of = |k: usize| errors.iter().map(|e| e[k]).collect::<Vec<f64>>();
    let (length, height) = (of(0), of(1));
    let figures = [
        median(length.clone(), 0.5),
        median(length, 0.9),
        median(height.clone(), 0.5),
        median(height, 0.9),
    ];
    println!("{} of {all} read, {figures:?}", errors.len());
    assert!(figures[0] < 0.008 && figures[1] < 0.015, "{figures:?}");
    assert!(figures[2] < 0.015 && figures[3] < 0.03, "{figures:?}");
}
