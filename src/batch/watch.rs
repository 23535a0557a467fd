//! Waiting for a folder to fill.

use super::BatchError;
use super::shown::shown;
use super::walk::has_photo_ending;
use notify::{Event, RecommendedWatcher, RecursiveMode, Watcher};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::{Duration, Instant};

/// The folder must be quiet for so long before it is looked through: photos are still being copied.
const QUIET: Duration = Duration::from_millis(1500);
/// Shares of other machines tell of no changes: look by yourself now and then.
const ANYWAY: Duration = Duration::from_secs(60);
/// How often the wish to stop is looked at.
const BREATH: Duration = Duration::from_millis(200);

/// A folder under watch.
#[derive(Debug)]
pub(crate) struct Watch {
    changes: Receiver<()>,
    // Watching ends when this is dropped.
    _watcher: RecommendedWatcher,
}

impl Watch {
    /// Watches the tree under `folder`; what happens under `except`, where results are written, is
    /// passed over.
    ///
    /// # Errors
    /// The system allows no watch.
    pub(crate) fn new(folder: &Path, except: &Path) -> Result<Self, BatchError> {
        let failed = |error: notify::Error| BatchError::Watch {
            path: shown(folder),
            detail: error.to_string(),
        };
        let except = except.canonicalize().unwrap_or_else(|_| except.to_owned());
        let root = folder.canonicalize().unwrap_or_else(|_| folder.to_owned());
        let (tell, changes) = channel();
        let mut watcher = notify::recommended_watcher(move |event: notify::Result<Event>| {
            if event.map_or(true, |event| matters(&event, &except)) {
                // The other end is gone only when the program ends.
                let _ = tell.send(());
            }
        })
        .map_err(failed)?;
        watcher
            .watch(&root, RecursiveMode::Recursive)
            .map_err(failed)?;
        Ok(Self {
            changes,
            _watcher: watcher,
        })
    }

    /// Waits for a change and then for quiet. False when `stop` is set.
    pub(crate) fn wait(&self, stop: &AtomicBool) -> bool {
        let start = Instant::now();
        let mut last_change: Option<Instant> = None;
        loop {
            if stop.load(Ordering::SeqCst) {
                return false;
            }
            match self.changes.recv_timeout(BREATH) {
                Ok(()) => last_change = Some(Instant::now()),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => std::thread::sleep(BREATH),
            }
            let quiet = last_change.is_some_and(|at| at.elapsed() >= QUIET);
            if quiet || (last_change.is_none() && start.elapsed() >= ANYWAY) {
                return true;
            }
        }
    }
}

/// Whether what happened may have brought a photo: more than a look, and not only files of ours under `except`.
fn matters(event: &Event, except: &Path) -> bool {
    let is_another = |path: &PathBuf| !path.starts_with(except) || has_photo_ending(path);
    !event.kind.is_access() && event.paths.iter().any(is_another)
}

#[cfg(test)]
mod tests {
    use super::*;
    use notify::EventKind;
    use notify::event::{AccessKind, CreateKind};

    #[test]
    fn a_new_photo_matters_and_results_and_looks_do_not() {
        let happened = |kind, path: &str| {
            matters(&Event::new(kind).add_path(path.into()), Path::new("in/out"))
        };
        let made = EventKind::Create(CreateKind::File);
        assert!(happened(made, "in/a.jpg"));
        assert!(!happened(made, "in/out/sheet.html"));
        assert!(happened(made, "in/out/customer.jpg"));
        assert!(!happened(EventKind::Access(AccessKind::Any), "in/a.jpg"));
    }

    #[test]
    fn a_new_file_ends_the_waiting() {
        let folder = tempfile::tempdir().unwrap();
        let watch = Watch::new(folder.path(), &folder.path().join("out")).unwrap();
        std::fs::write(folder.path().join("a.jpg"), "x").unwrap();
        assert!(watch.wait(&AtomicBool::new(false)));
        assert!(!watch.wait(&AtomicBool::new(true)));
    }
}
