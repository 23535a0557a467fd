use super::*;
use crate::job::new_trial::sha256;
use crate::job::open::Purpose;
use crate::schema::Trial;
use crate::schema::record::{Followed, Shows};
use std::path::Path;

fn card() -> Card {
    Card::from_toml(include_str!("../../../examples/larchfield/card.toml")).unwrap()
}

fn with_a_job(folder: &Path) -> (Store, i64) {
    let mut store = Store::open(&folder.join("w.db"), Purpose::Begin).unwrap();
    let head = Head {
        uid: "u".into(),
        name: "Rear axle".into(),
        ..Head::default()
    };
    let job = store.new_job(&head, &card()).unwrap();
    (store, job)
}

fn photo(bytes: Vec<u8>) -> NewPhoto {
    NewPhoto {
        name: "a.jpg".into(),
        bytes,
        original_sha256: None,
        shows: Shows::Other,
        reading: None,
        picture: None,
    }
}

fn trial(backlash_mm: f64, photos: Vec<NewPhoto>) -> NewTrial {
    NewTrial {
        trial: Trial {
            backlash_mm: vec![backlash_mm],
            ..Trial::default()
        },
        photos,
        ..NewTrial::default()
    }
}

#[test]
fn what_is_recorded_comes_back() {
    let folder = tempfile::tempdir().unwrap();
    let (mut store, job) = with_a_job(folder.path());
    let number = store
        .add_trial(
            job,
            &trial(0.2, vec![photo(vec![1, 2, 3])]),
            "2026-05-04T10:30:00Z",
            "Robin",
        )
        .unwrap();
    assert_eq!(number, 1);
    drop(store);
    let store = Store::open(&folder.path().join("w.db"), Purpose::Begin).unwrap();
    let record = store.record(job).unwrap();
    assert_eq!(record.card, card());
    assert_eq!(record.trials[0].trial.backlash_mm, [0.2]);
    assert_eq!(record.trials[0].by, "Robin");
    let kept = &record.trials[0].photos[0];
    assert_eq!(kept.sha256, sha256(&[1, 2, 3]));
    assert_eq!(store.photo(&kept.sha256).unwrap(), [1, 2, 3]);
    assert_eq!(store.jobs().unwrap()[0].photos, 1);
    assert!(matches!(
        store.job(Some(99)).unwrap_err(),
        JobError::NoJob { number: 99 }
    ));
}

#[test]
fn the_same_photo_is_kept_once() {
    let folder = tempfile::tempdir().unwrap();
    let (mut store, job) = with_a_job(folder.path());
    for _ in 0..3 {
        store
            .add_trial(job, &trial(0.2, vec![photo(vec![7; 1000])]), "t", "")
            .unwrap();
    }
    let photos: i64 = store
        .connection
        .query_row("SELECT count(*) FROM photo", [], |row| row.get(0))
        .unwrap();
    assert_eq!(photos, 1);
}

/// The database's own limit of pages is the same answer a full disk gives (SQLITE_FULL).
#[test]
fn a_full_disk_says_so_and_leaves_all_as_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let (mut store, job) = with_a_job(folder.path());
    store
        .add_trial(job, &trial(0.2, vec![photo(vec![1; 50_000])]), "t", "")
        .unwrap();
    let before = store.record(job).unwrap();
    let pages: i64 = store
        .connection
        .pragma_query_value(None, "page_count", |row| row.get(0))
        .unwrap();
    store
        .connection
        .pragma_update_and_check(None, "max_page_count", pages + 4, |_| Ok(()))
        .unwrap();
    let error = store
        .add_trial(job, &trial(0.3, vec![photo(vec![2; 500_000])]), "t", "")
        .unwrap_err();
    assert!(matches!(error, JobError::Full { .. }), "{error}");
    assert_eq!(crate::Error::from(error).kind(), crate::ErrorKind::Machine);
    assert_eq!(store.record(job).unwrap(), before);
    store
        .connection
        .pragma_update_and_check(None, "max_page_count", pages + 4000, |_| Ok(()))
        .unwrap();
    store
        .add_trial(job, &trial(0.3, vec![photo(vec![2; 500_000])]), "t", "")
        .unwrap();
    assert_eq!(store.record(job).unwrap().trials.len(), 2);
}

#[test]
fn a_closed_job_takes_no_more_trials() {
    let folder = tempfile::tempdir().unwrap();
    let (mut store, job) = with_a_job(folder.path());
    store.close(job, Some("2026-05-04T10:30:00Z")).unwrap();
    let error = store
        .add_trial(job, &trial(0.2, Vec::new()), "t", "")
        .unwrap_err();
    assert!(error.to_string().contains("--reopen"), "{error}");
    assert!(matches!(store.job(None).unwrap_err(), JobError::NoOpenJob));
    store.close(job, None).unwrap();
    assert_eq!(store.job(None).unwrap(), job);
}

#[test]
fn a_file_that_is_no_database_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("notes.txt");
    std::fs::write(
        &path,
        "just some notes, long enough to be looked at as a database header",
    )
    .unwrap();
    let error = Store::open(&path, Purpose::Begin).unwrap_err();
    assert!(matches!(error, JobError::NotAStore { .. }), "{error}");
    assert!(
        std::fs::read_to_string(&path)
            .unwrap()
            .starts_with("just some notes")
    );
}

#[test]
fn a_struck_trial_stays_and_counts_no_more() {
    let folder = tempfile::tempdir().unwrap();
    let (mut store, job) = with_a_job(folder.path());
    for backlash_mm in [0.2, 0.3, 0.4] {
        store
            .add_trial(job, &trial(backlash_mm, Vec::new()), "t", "")
            .unwrap();
    }
    store.strike(job, 2, "wrong shim").unwrap();
    let record = store.record(job).unwrap();
    assert_eq!(record.trials.len(), 3);
    assert_eq!(record.counting().count(), 2);
    // The place stays, so that the advice counts trials as the record does.
    let trials = record.rules_trials();
    assert_eq!(trials.len(), 3);
    assert!(trials[1].backlash_mm.is_empty());
    store.strike(job, 3, "wrong shim").unwrap();
    let record = store.record(job).unwrap();
    assert_eq!(record.last().unwrap().number, 1);
    assert_eq!(record.rules_trials().len(), 1);
    assert!(store.strike(job, 3, "again").is_err());
    assert!(store.strike(job, 9, "none").is_err());
}

/// Advice that holds on a trial and asks for nothing.
fn advice() -> Advice {
    let text =
        r#"{"schema":"flankread/advice/2","verdict":"good","diagnosis":{},"why":[],"cautions":[]}"#;
    serde_json::from_str(text).unwrap()
}

#[test]
fn a_trial_put_right_keeps_what_was_there_and_outdates_advice_made_with_it() {
    let folder = tempfile::tempdir().unwrap();
    let (mut store, job) = with_a_job(folder.path());
    let mut first = photo(vec![1]);
    first.shows = Shows::Coast;
    for backlash_mm in [0.2, 0.3] {
        let new = trial(backlash_mm, vec![first.clone()]);
        store.add_trial(job, &new, "t", "Robin").unwrap();
    }
    store.add_advice(job, 1, &advice(), "t").unwrap();
    store.add_advice(job, 2, &advice(), "t").unwrap();
    let mut second = photo(vec![2]);
    second.shows = Shows::Coast;
    let mut amended = trial(0.25, vec![second]);
    amended.bench.amended = vec![crate::schema::record::Amendment {
        at: "t".into(),
        by: "Robin".into(),
        what: "backlash_mm".into(),
        was: serde_json::json!([0.3]),
        now: serde_json::json!([0.25]),
        because: String::new(),
    }];
    store.amend(job, 2, &amended, &[0]).unwrap();
    let record = store.record(job).unwrap();
    let found = &record.trials[1];
    assert_eq!(found.trial.backlash_mm, [0.25]);
    assert_eq!(found.bench.amended[0].was, serde_json::json!([0.3]));
    let shows: Vec<Shows> = found.photos.iter().map(|photo| photo.shows).collect();
    assert_eq!(shows, [Shows::Other, Shows::Coast]);
    let outdated: Vec<bool> = (record.advice.iter())
        .map(|given| !given.outdated.is_empty())
        .collect();
    assert_eq!(outdated, [false, true]);
    // The same advice given anew is kept beside the one that is out of date.
    store.add_advice(job, 2, &advice(), "t").unwrap();
    assert_eq!(store.record(job).unwrap().advice.len(), 3);
    assert!(store.amend(job, 9, &amended, &[]).is_err());
}

#[test]
fn a_closed_job_takes_nothing_until_it_is_opened_again() {
    let folder = tempfile::tempdir().unwrap();
    let (mut store, job) = with_a_job(folder.path());
    store
        .add_trial(job, &trial(0.2, Vec::new()), "t", "")
        .unwrap();
    store.add_advice(job, 1, &advice(), "t").unwrap();
    store.close(job, Some("2026-05-04T10:30:00Z")).unwrap();
    let before = store.record(job).unwrap();
    let note = Note {
        at: "t".into(),
        by: String::new(),
        text: "late".into(),
    };
    let tick = Tick {
        item: crate::schema::record::Item::Vent,
        at: "t".into(),
        by: String::new(),
        value: String::new(),
        because: String::new(),
    };
    assert!(store.note(job, &note).is_err());
    assert!(store.tick(job, &tick, false).is_err());
    assert!(store.set_followed(job, None, Followed::Yes, "").is_err());
    assert!(store.set_card(job, &card(), &note).is_err());
    assert!(store.amend(job, 1, &trial(0.3, Vec::new()), &[]).is_err());
    assert!(store.add_advice(job, 1, &advice(), "u").is_err());
    assert_eq!(store.record(job).unwrap(), before);
    store.close(job, None).unwrap();
    store.note(job, &note).unwrap();
    store
        .set_followed(job, Some(1), Followed::No, "no shim left")
        .unwrap();
    assert!(store.set_followed(job, Some(7), Followed::No, "").is_err());
    assert_eq!(
        store.record(job).unwrap().advice[0].followed,
        Some(Followed::No)
    );
}
