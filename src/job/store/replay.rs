//! Trials, strikes and amendments in any order, against a record that is kept by hand beside the database.

use super::super::archive::{export, import};
use super::super::new_trial::{NewPhoto, NewTrial, sha256};
use super::super::open::Purpose;
use super::*;
use crate::schema::Trial;
use crate::schema::record::{Amendment, Assembly, Bench, Head, Shows};
use proptest::prelude::*;
use serde_json::json;
use std::io::Cursor;
use std::path::Path;

/// What is done to a job; trials are named by a number that is brought into the range of those there are.
#[derive(Debug, Clone)]
enum Step {
    Trial {
        backlash_mm: f64,
        shade: Option<u8>,
    },
    Strike {
        which: usize,
    },
    Amend {
        which: usize,
        backlash_mm: f64,
        shade: Option<u8>,
    },
    Reopen,
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let backlash = || (5_u32..60).prop_map(|n| f64::from(n) / 100.0);
    let shade = || prop::option::of(0_u8..3);
    let step = prop_oneof![
        4 => (backlash(), shade()).prop_map(|(backlash_mm, shade)| Step::Trial { backlash_mm, shade }),
        1 => (0_usize..9).prop_map(|which| Step::Strike { which }),
        2 => (0_usize..9, backlash(), shade())
            .prop_map(|(which, backlash_mm, shade)| Step::Amend { which, backlash_mm, shade }),
        1 => Just(Step::Reopen),
    ];
    prop::collection::vec(step, 1..14)
}

/// A picture of one shade.
fn photo(shade: u8) -> NewPhoto {
    let mut bytes = Vec::new();
    image::RgbImage::from_pixel(2, 2, image::Rgb([shade; 3]))
        .write_to(&mut Cursor::new(&mut bytes), image::ImageFormat::Png)
        .unwrap();
    NewPhoto {
        name: format!("{shade}.png"),
        bytes,
        original_sha256: None,
        shows: Shows::Drive,
        reading: None,
        picture: None,
    }
}

fn told(backlash_mm: f64, shade: Option<u8>) -> NewTrial {
    NewTrial {
        trial: Trial {
            backlash_mm: vec![backlash_mm],
            ..Trial::default()
        },
        photos: shade.map(photo).into_iter().collect(),
        ..NewTrial::default()
    }
}

/// What is kept by hand of a trial.
#[derive(Debug, Clone, PartialEq)]
struct Kept {
    number: i64,
    backlash_mm: Vec<f64>,
    was_mm: Vec<f64>,
    struck: bool,
    photos: Vec<String>,
}

impl Kept {
    fn of(assembly: &Assembly) -> Self {
        let was = |one: &Amendment| one.was[0].as_f64().unwrap();
        Self {
            number: assembly.number,
            backlash_mm: assembly.trial.backlash_mm.clone(),
            was_mm: assembly.bench.amended.iter().map(was).collect(),
            struck: assembly.bench.struck.is_some(),
            photos: assembly.photos.iter().map(|p| p.sha256.clone()).collect(),
        }
    }
}

fn open(folder: &Path, name: &str) -> Store {
    Store::open(&folder.join(name), Purpose::Begin).unwrap()
}

/// Does a step to the database and to what is kept by hand; both must agree on whether it can be done.
fn take(store: &mut Store, job: i64, step: &Step, kept: &mut Vec<Kept>) {
    let hash = |shade: Option<u8>| shade.map(|shade| sha256(&photo(shade).bytes));
    match *step {
        Step::Trial { backlash_mm, shade } => {
            let new = told(backlash_mm, shade);
            let number = store.add_trial(job, &new, "2026-05-04T08:00:00Z", "Robin");
            kept.push(Kept {
                number: number.unwrap(),
                backlash_mm: vec![backlash_mm],
                was_mm: Vec::new(),
                struck: false,
                photos: hash(shade).into_iter().collect(),
            });
        }
        Step::Strike { which } => {
            let which = which % (kept.len() + 1);
            let done = store.strike(job, which as i64 + 1, "wrong axle").is_ok();
            let counts = kept.get(which).is_some_and(|trial| !trial.struck);
            assert_eq!(done, counts);
            if counts {
                kept[which].struck = true;
            }
        }
        Step::Amend {
            which,
            backlash_mm,
            shade,
        } => {
            let which = which % (kept.len() + 1);
            let mut new = told(backlash_mm, shade);
            if let Some(trial) = kept.get(which) {
                let of = |was: f64| Amendment {
                    at: "2026-05-04T09:00:00Z".into(),
                    by: "Robin".into(),
                    what: "backlash_mm".into(),
                    was: json!([was]),
                    now: json!([backlash_mm]),
                    because: String::new(),
                };
                let all = trial.was_mm.iter().chain(&trial.backlash_mm);
                new.bench = Bench {
                    amended: all.map(|was| of(*was)).collect(),
                    ..Bench::default()
                };
            }
            let done = store.amend(job, which as i64 + 1, &new, &[]).is_ok();
            let counts = kept.get(which).is_some_and(|trial| !trial.struck);
            assert_eq!(done, counts);
            if counts {
                let trial = &mut kept[which];
                trial.was_mm.append(&mut trial.backlash_mm);
                trial.backlash_mm = vec![backlash_mm];
                trial.photos.extend(hash(shade));
            }
        }
        Step::Reopen => {}
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn a_job_replayed_from_the_database_is_what_was_recorded_and_travels_unchanged(steps in steps()) {
        let folder = tempfile::tempdir().unwrap();
        let mut store = open(folder.path(), "here.db");
        let head = Head { uid: "u".into(), name: "Rear axle".into(), ..Head::default() };
        let card = Card::from_toml(include_str!("../../../examples/larchfield/card.toml")).unwrap();
        let job = store.new_job(&head, &card).unwrap();
        let mut kept = Vec::new();
        for step in &steps {
            if matches!(step, Step::Reopen) {
                drop(store);
                store = open(folder.path(), "here.db");
            }
            take(&mut store, job, step, &mut kept);
            let shown = store.record(job).unwrap();
            let shown: Vec<Kept> = shown.trials.iter().map(Kept::of).collect();
            prop_assert_eq!(&shown, &kept);
        }
        let numbers: Vec<i64> = kept.iter().map(|trial| trial.number).collect();
        prop_assert_eq!(numbers, (1..=kept.len() as i64).collect::<Vec<_>>());
        let archive = export(&store, job).unwrap();
        let mut there = open(folder.path(), "there.db");
        let arrived = import(&mut there, &archive, false).unwrap();
        prop_assert_eq!(there.record(arrived).unwrap(), store.record(job).unwrap());
        prop_assert!(export(&there, arrived).unwrap() == archive);
    }
}
