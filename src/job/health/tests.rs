use super::*;
use crate::job::Store;
use crate::job::open::Purpose;
use crate::job::open::tests::{begin_job, names};

/// A workshop of one job with one photo of these bytes.
fn workshop(path: &Path, photo: &[u8]) {
    let mut store = Store::open(path, Purpose::Begin).unwrap();
    begin_job(&mut store);
    store
        .connection
        .execute(
            "INSERT INTO photo (sha256, bytes) VALUES (?1, ?2)",
            rusqlite::params![sha256(photo), photo],
        )
        .unwrap();
}

#[test]
fn nothing_is_created_or_changed_by_a_look() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("w.db");
    assert_eq!(checkup(&path).health, Health::Absent);
    assert!(names(folder.path()).is_empty());
    workshop(&path, b"a photo");
    let before = std::fs::read(&path).unwrap();
    let found = checkup(&path);
    assert_eq!(found.health, Health::Whole, "{found:?}");
    let holds = found.holds.unwrap();
    assert_eq!((holds.jobs, holds.open_jobs, holds.photos), (1, 1, 1));
    assert_eq!(std::fs::read(&path).unwrap(), before);
    assert_eq!(names(folder.path()), ["w.db"]);
}

/// SQLite has no sums of its pages: a byte of a photo is told by the photo's own name.
#[test]
fn one_changed_byte_of_a_photo_and_a_cleared_page_are_damage() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("w.db");
    // No byte twice in a row, so that no page looks like another.
    let photo: Vec<u8> = (0..40_000_u32).map(|i| (i * 7 % 251) as u8).collect();
    workshop(&path, &photo);
    let whole = std::fs::read(&path).unwrap();
    let piece = &photo[20_000..20_064];
    let at = whole
        .windows(64)
        .position(|window| window == piece)
        .unwrap();
    let mut changed = whole.clone();
    changed[at] ^= 1;
    std::fs::write(&path, &changed).unwrap();
    let found = checkup(&path);
    assert_eq!(found.health, Health::Damaged, "{found:?}");
    let fault = found.fault.unwrap().to_string();
    assert!(fault.contains("is not what was recorded"), "{fault}");
    for page in (0..whole.len()).step_by(4096) {
        let mut cleared = whole.clone();
        cleared[page..page + 4096].fill(0);
        std::fs::write(&path, &cleared).unwrap();
        let found = checkup(&path);
        assert_eq!(found.health, Health::Damaged, "at {page}: {found:?}");
        let error = back_up(&path, &folder.path().join("copy.db"), false).unwrap_err();
        assert!(error.to_string().contains("is damaged"), "{error}");
    }
    assert_eq!(names(folder.path()), ["w.db"]);
}

#[test]
fn what_is_no_workshop_s_record_is_not_called_damaged() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("notes.txt");
    std::fs::write(&path, b"notes of my own, no database").unwrap();
    assert_eq!(checkup(&path).health, Health::Unusable);
    assert_eq!(checkup(folder.path()).health, Health::Unusable);
    assert_eq!(checkup(Path::new(":memory:")).health, Health::Unusable);
}

#[test]
fn a_copy_holds_what_is_still_in_the_log_and_overwrites_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let (path, copy) = (folder.path().join("w.db"), folder.path().join("copy.db"));
    workshop(&path, b"a photo");
    let mut store = Store::open(&path, Purpose::Change).unwrap();
    begin_job(&mut store);
    assert!(has_log(&path));
    assert!(back_up(&path, &path, true).is_err());
    let size = back_up(&path, &copy, false).unwrap();
    assert_eq!(std::fs::metadata(&copy).unwrap().len(), size);
    let copied = Store::open(&copy, Purpose::Look).unwrap();
    assert_eq!(copied.jobs().unwrap(), store.jobs().unwrap());
    drop(copied);
    let error = back_up(&path, &copy, false).unwrap_err().to_string();
    assert!(error.contains("--force"), "{error}");
    begin_job(&mut store);
    back_up(&path, &copy, true).unwrap();
    assert_eq!(checkup(&copy).holds.unwrap().jobs, 3);
    drop(store);
    assert_eq!(names(folder.path()), ["copy.db", "w.db"]);
}

#[test]
fn a_workshop_at_work_is_whole_at_every_look_and_in_every_copy() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("w.db");
    workshop(&path, b"a photo");
    std::thread::scope(|scope| {
        let at_work = scope.spawn(|| {
            for _ in 0..40 {
                // Each begins and ends its own log.
                begin_job(&mut Store::open(&path, Purpose::Change).unwrap());
            }
        });
        let mut seen = 0;
        let mut copies = 0;
        while !at_work.is_finished() {
            let found = checkup(&path);
            assert_eq!(found.health, Health::Whole, "{found:?}");
            let jobs = found.holds.unwrap().jobs;
            assert!(jobs >= seen);
            seen = jobs;
            let copy = folder.path().join(format!("copy{copies}.db"));
            back_up(&path, &copy, false).unwrap();
            assert!(checkup(&copy).holds.unwrap().jobs >= seen);
            copies += 1;
        }
        at_work.join().unwrap();
        assert!(copies > 0);
    });
    assert_eq!(checkup(&path).holds.unwrap().jobs, 41);
}
