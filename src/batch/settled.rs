//! Waiting a moment for a file that is still being written.

use std::path::Path;
use std::time::{Duration, Instant, SystemTime};

/// A file that nobody wrote to for so long is taken to be whole.
const QUIET: Duration = Duration::from_millis(1000);
/// Nobody waits longer than this for a file that goes on changing, nor for the rest of one that is cut short.
const LONGEST: Duration = Duration::from_secs(5);
const FOR_THE_REST: Duration = Duration::from_secs(2);
/// A cut file that is older than this stays as it is.
const ON_ITS_WAY: Duration = Duration::from_secs(60);
const BREATH: Duration = Duration::from_millis(100);

/// Size and time of the last change, where the system tells them.
pub(crate) type Stamp = Option<(u64, SystemTime)>;

pub(super) fn stamp(path: &Path) -> Stamp {
    let about = std::fs::metadata(path).ok()?;
    Some((about.len(), about.modified().ok()?))
}

/// How long ago a file was changed; `None` of one that is not there, or changed in what the clock calls the future.
fn age(stamp: Stamp) -> Option<Duration> {
    SystemTime::now().duration_since(stamp?.1).ok()
}

/// Waits until a file is quiet. False of one that is still being written.
pub(super) fn is_settled(path: &Path) -> bool {
    let start = Instant::now();
    while age(stamp(path)).is_some_and(|age| age < QUIET) {
        if start.elapsed() >= LONGEST {
            return false;
        }
        std::thread::sleep(BREATH);
    }
    true
}

/// Whether a file that was cut short when it had this stamp may still be on its way.
pub(super) fn may_grow(was: Stamp) -> bool {
    age(was).is_some_and(|age| age < ON_ITS_WAY)
}

/// Waits for more of such a file. True when something came.
pub(super) fn has_grown(path: &Path, was: Stamp) -> bool {
    let start = Instant::now();
    while start.elapsed() < FOR_THE_REST {
        if stamp(path) != was {
            return true;
        }
        std::thread::sleep(BREATH);
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write as _;

    #[test]
    #[ignore = "slow: by .ci/run"]
    fn a_file_that_is_being_written_is_waited_for_and_an_old_one_is_not() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.jpg");
        std::fs::write(&path, "one").unwrap();
        let old = SystemTime::now() - Duration::from_secs(3600);
        let file = std::fs::File::options().write(true).open(&path).unwrap();
        file.set_modified(old).unwrap();
        let start = Instant::now();
        assert!(is_settled(&path) && start.elapsed() < QUIET);
        assert!(!may_grow(stamp(&path)));
        let slow = path.clone();
        let writer = std::thread::spawn(move || {
            let mut file = std::fs::File::options().append(true).open(&slow).unwrap();
            for _ in 0..8 {
                file.write_all(b" more").unwrap();
                std::thread::sleep(Duration::from_millis(250));
            }
        });
        std::thread::sleep(Duration::from_millis(100));
        assert!(is_settled(&path));
        writer.join().unwrap();
        assert_eq!(std::fs::read(&path).unwrap().len(), 3 + 8 * 5);
        let was = stamp(&path);
        assert!(may_grow(was) && !has_grown(&path, was));
    }

    #[test]
    #[ignore = "slow: by .ci/run"]
    fn nobody_waits_for_ever() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.jpg");
        std::fs::write(&path, "").unwrap();
        let end = Instant::now() + LONGEST + 2 * QUIET;
        let endless = path.clone();
        let writer = std::thread::spawn(move || {
            while Instant::now() < end {
                std::fs::write(&endless, "again").unwrap();
                std::thread::sleep(Duration::from_millis(100));
            }
        });
        assert!(!is_settled(&path));
        writer.join().unwrap();
    }
}
