//! A bounded number of works at a time, and a bounded number that wait.

use super::answer::Failed;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

/// Works of one kind.
#[derive(Debug)]
pub(super) struct Queue {
    places: Arc<Semaphore>,
    waiting: AtomicUsize,
    most_waiting: usize,
    patience: Duration,
}

impl Queue {
    /// So many at a time; so many may wait, each so long.
    pub(super) fn new(at_a_time: usize, most_waiting: usize, patience: Duration) -> Self {
        Self {
            places: Arc::new(Semaphore::new(at_a_time)),
            waiting: AtomicUsize::new(0),
            most_waiting,
            patience,
        }
    }

    /// A place, held until it is dropped.
    ///
    /// # Errors
    /// Too many wait already, or it took too long.
    pub(super) async fn enter(&self) -> Result<OwnedSemaphorePermit, Failed> {
        if let Ok(place) = Arc::clone(&self.places).try_acquire_owned() {
            return Ok(place);
        }
        let _turn = Turn::take(self).ok_or_else(Failed::busy)?;
        let place = Arc::clone(&self.places).acquire_owned();
        match tokio::time::timeout(self.patience, place).await {
            Ok(Ok(place)) => Ok(place),
            _ => Err(Failed::busy()),
        }
    }

    /// Carries work out on a thread of its own, for it takes long.
    ///
    /// # Errors
    /// There is no place; what the work says.
    pub(super) async fn work<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> Result<T, Failed> + Send + 'static,
    ) -> Result<T, Failed> {
        let place = self.enter().await?;
        let done = tokio::task::spawn_blocking(move || {
            let done = work();
            // Whoever asked may have gone away: the place is free when the work is done, not before.
            drop(place);
            done
        });
        done.await.unwrap_or_else(|_| Err(Failed::broken()))
    }
}

/// One that waits; it counts as long as it does, also when its asker goes away.
struct Turn<'a>(&'a Queue);

impl<'a> Turn<'a> {
    fn take(queue: &'a Queue) -> Option<Self> {
        let before = queue.waiting.fetch_add(1, Ordering::SeqCst);
        let turn = Self(queue);
        (before < queue.most_waiting).then_some(turn)
    }
}

impl Drop for Turn<'_> {
    fn drop(&mut self) {
        self.0.waiting.fetch_sub(1, Ordering::SeqCst);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn more_than_may_wait_are_sent_away_and_places_come_free() {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_time()
            .build()
            .unwrap();
        runtime.block_on(async {
            let queue = Arc::new(Queue::new(1, 1, Duration::from_millis(50)));
            let first = queue.enter().await.unwrap();
            let waits = {
                let queue = Arc::clone(&queue);
                tokio::spawn(async move { queue.enter().await.is_ok() })
            };
            tokio::task::yield_now().await;
            assert_eq!(queue.enter().await.unwrap_err().status(), 503);
            drop(first);
            assert!(waits.await.unwrap());
            // Who waits too long is sent away too, and does not count as waiting afterwards.
            let held = queue.enter().await.unwrap();
            assert_eq!(queue.enter().await.unwrap_err().status(), 503);
            assert_eq!(queue.waiting.load(Ordering::SeqCst), 0);
            drop(held);
            assert!(queue.enter().await.is_ok());
        });
    }
}
