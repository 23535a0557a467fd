use super::*;
use crate::job::new_trial::sha256;
use crate::schema::Trial;
use crate::schema::record::Shows;

fn card() -> Card {
    Card::from_toml(include_str!("../../../examples/larchfield/card.toml")).unwrap()
}

fn with_a_job(folder: &Path) -> (Store, i64) {
    let mut store = Store::open(&folder.join("w.db")).unwrap();
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
    let store = Store::open(&folder.path().join("w.db")).unwrap();
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
    let error = Store::open(&path).unwrap_err();
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
