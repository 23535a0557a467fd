use super::*;
use crate::frames::FlankPoint;
use crate::schema::record::{Bench, Given, Head, Note, SCHEMA, Tick};
use crate::schema::{Advice, Card, Diagnosis, FlankReading, Trial};

fn record() -> Record {
    Record {
        schema: SCHEMA.into(),
        head: Head::default(),
        card: Card::from_toml(include_str!("../../../examples/larchfield/card.toml")).unwrap(),
        trials: Vec::new(),
        advice: Vec::new(),
        closing: Vec::new(),
        notes: Vec::new(),
    }
}

fn assembly(number: i64, trial: Trial) -> Assembly {
    Assembly {
        number,
        trial,
        ..Assembly::default()
    }
}

fn reading() -> FlankReading {
    FlankReading::at(FlankPoint::new(0.5, 0.5))
}

fn given(after: i64, verdict: Verdict) -> Given {
    Given {
        after,
        at: String::new(),
        advice: Advice {
            schema: crate::schema::advice::SCHEMA.into(),
            verdict,
            summary: String::new(),
            instruction: String::new(),
            suspects: Vec::new(),
            diagnosis: Diagnosis::default(),
            checks: Vec::new(),
            change: None,
            shims: None,
            predicted: None,
            chance: None,
            chance_now: None,
            runner_up: None,
            uncertainty: None,
            stands: None,
            unexplained: None,
            shares: Vec::new(),
            why: Vec::new(),
            cautions: Vec::new(),
        },
        followed: None,
        remark: String::new(),
        outdated: String::new(),
    }
}

/// The station; whichever it is, manual, local rules and licensed practice go before it.
fn station_of(record: &Record) -> Station {
    let next = next(record, &Shown::default());
    let said = next.remarks.join(" ");
    assert!(said.contains("manual of your axle, local rules and licensed practice"));
    next.station
}

/// The order of the stations: common practice, no source.
#[test]
fn a_job_goes_from_station_to_station() {
    let mut job = record();
    assert_eq!(station_of(&job), Station::AsFound);
    job.trials.push(assembly(
        1,
        Trial {
            as_found: true,
            ..Trial::default()
        },
    ));
    assert_eq!(station_of(&job), Station::PinionShim);
    job.trials.push(assembly(
        2,
        Trial {
            pinion_shim_mm: Some(0.762),
            ..Trial::default()
        },
    ));
    assert_eq!(station_of(&job), Station::PinionPreload);
    // 30 lb-in on a window of 11.5 to 14.5.
    job.trials[1].trial.pinion_torque_nm = Some(3.39);
    assert_eq!(station_of(&job), Station::PinionPreload);
    job.trials[1].trial.pinion_torque_nm = Some(1.5);
    assert_eq!(station_of(&job), Station::Backlash);
    job.trials[1].trial.backlash_mm = vec![0.2; 4];
    assert_eq!(station_of(&job), Station::Pattern);
    job.trials[1].trial.drive = Some(reading());
    let missing = next(&job, &Shown::default()).missing;
    assert!(
        missing.len() == 1 && missing[0].contains("coast"),
        "{missing:?}"
    );
    job.trials[1].trial.coast = Some(reading());
    assert_eq!(station_of(&job), Station::Advice);
    job.advice.push(given(2, Verdict::Change));
    assert_eq!(station_of(&job), Station::Change);
    job.advice.push(given(2, Verdict::Measure));
    assert_eq!(station_of(&job), Station::Check);
    job.advice.push(given(2, Verdict::Good));
    assert_eq!(station_of(&job), Station::SidePreload);
    let mut preloaded = assembly(
        3,
        Trial {
            backlash_mm: vec![0.2; 4],
            ..Trial::default()
        },
    );
    preloaded.bench.side_preload = true;
    job.trials.push(preloaded);
    assert_eq!(station_of(&job), Station::FinalAssembly);
    let mut closed_up = assembly(
        4,
        Trial {
            backlash_mm: vec![0.2; 4],
            ..Trial::default()
        },
    );
    closed_up.bench = Bench {
        side_preload: true,
        final_parts: true,
        ..Bench::default()
    };
    job.trials.push(closed_up);
    assert_eq!(station_of(&job), Station::Pattern);
    job.trials[3].trial.drive = Some(reading());
    job.trials[3].trial.coast = Some(reading());
    job.advice.push(given(4, Verdict::Good));
    assert_eq!(station_of(&job), Station::Closing);
    job.closing.extend(Item::ALL.map(|item| Tick {
        item,
        at: String::new(),
        by: String::new(),
        value: String::new(),
        because: String::new(),
    }));
    assert_eq!(station_of(&job), Station::Done);
    job.trials[3].trial.backlash_mm.truncate(2);
    let missing = next(&job, &Shown::default()).missing;
    assert!(missing[0].contains("4 places"), "{missing:?}");
}

/// The card: backlash 6.5–10.5 thou, 1.8 round the gear, 11.5–14.5 lb-in.
#[test]
fn nothing_final_goes_in_while_a_number_is_outside_its_limit() {
    let mut job = record();
    for (number, backlash_mm, torque_nm) in [(1, vec![0.2; 4], None), (2, vec![0.2; 4], Some(1.5))]
    {
        job.trials.push(assembly(
            number,
            Trial {
                as_found: number == 1,
                backlash_mm,
                pinion_torque_nm: torque_nm,
                drive: Some(reading()),
                coast: Some(reading()),
                ..Trial::default()
            },
        ));
    }
    job.advice.push(given(2, Verdict::Good));
    assert_eq!(station_of(&job), Station::SidePreload);
    // 22 lb-in.
    job.trials[1].trial.pinion_torque_nm = Some(2.49);
    assert_eq!(station_of(&job), Station::PinionPreload);
    job.trials[1].trial.pinion_torque_nm = Some(1.5);
    job.trials[1].bench.side_preload = true;
    assert_eq!(station_of(&job), Station::FinalAssembly);
    // 4.2 thou in the mean, varying by 5.
    job.trials[1].trial.backlash_mm = vec![0.107, 0.043, 0.17];
    let next = next(&job, &Shown::default());
    assert_eq!(next.station, Station::Backlash);
    assert_eq!(next.missing.len(), 2, "{:?}", next.missing);
    job.trials[1].trial.backlash_mm = vec![0.2; 4];
    assert_eq!(station_of(&job), Station::FinalAssembly);
    job.advice[0].outdated = "trial 2 was put right".into();
    assert_eq!(station_of(&job), Station::Advice);
}

#[test]
fn an_axle_that_came_in_pieces_goes_on_without_a_record_as_found() {
    let mut job = record();
    job.notes.push(Note {
        at: String::new(),
        by: String::new(),
        text: format!("{NOT_FOUND}. It came in a box"),
    });
    assert_eq!(station_of(&job), Station::PinionShim);
    job.card.limits = crate::schema::Limits::default();
    let remarks = next(&job, &Shown::default()).remarks;
    assert!(
        remarks.iter().any(|r| r.contains("backlash_variation")),
        "{remarks:?}"
    );
}

/// Four set-ups that agree, then the final parts with 0.08 mm less of backlash, which preload and new bearings take away: as
/// it will be driven it is right, and that decides.
#[test]
fn what_reads_right_with_its_final_parts_is_right_whatever_was_set_up_before() {
    let built = |number: i64, pinion_shim_mm: f64, height: f64, backlash_mm: f64| {
        let flank = |up: f64| {
            let mut reading = reading();
            reading.centre = FlankPoint::new(0.50, 0.5 + up);
            Some(reading)
        };
        assembly(
            number,
            Trial {
                pinion_shim_mm: Some(pinion_shim_mm),
                ring_side_shim_mm: Some(2.0),
                far_side_shim_mm: Some(2.0),
                backlash_mm: vec![backlash_mm; 4],
                drive: flank(height),
                coast: flank(height),
                ..Trial::default()
            },
        )
    };
    let mut job = record();
    job.trials = vec![
        built(1, 0.762, 0.15, 0.30),
        built(2, 0.94, 0.04, 0.25),
        built(3, 0.94, 0.04, 0.25),
        built(4, 0.94, 0.04, 0.25),
        built(5, 0.94, 0.04, 0.17),
    ];
    let advice = |job: &Record| crate::rules::advise(&job.card, &job.rules_trials()).unwrap();
    let set_up = advice(&job);
    assert!(!set_up.checks.is_empty(), "{:?}", set_up.why);
    job.trials[4].bench.final_parts = true;
    let closed_up = advice(&job);
    assert_eq!(closed_up.verdict, Verdict::Good, "{:?}", closed_up.why);
    let note = closed_up.why.join(" ");
    assert!(note.contains("preload moves it a little"), "{note}");
    // Right alone, without anything that came before it.
    let mut alone = record();
    alone.trials = vec![Assembly {
        number: 1,
        ..job.trials[4].clone()
    }];
    assert_eq!(advice(&alone).verdict, Verdict::Good);
}
