//! A budget that lets photos in as long as their memory lasts.

use std::sync::{Condvar, Mutex, PoisonError};

/// Memory shared by the photos that are open at the same time.
#[derive(Debug)]
pub(crate) struct MemoryBudget {
    limit: u64,
    taken: Mutex<u64>,
    freed: Condvar,
}

/// A photo's place; given back when it is dropped.
#[derive(Debug)]
pub(crate) struct Reservation<'a> {
    budget: &'a MemoryBudget,
    bytes: u64,
}

impl MemoryBudget {
    /// A budget for `limit` bytes.
    pub(crate) fn new(limit: u64) -> Self {
        Self {
            limit,
            taken: Mutex::new(0),
            freed: Condvar::new(),
        }
    }

    /// Waits until `bytes` fit. One that never fits is let in alone.
    pub(crate) fn enter(&self, bytes: u64) -> Reservation<'_> {
        let bytes = bytes.min(self.limit);
        let taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
        let mut taken = self
            .freed
            .wait_while(taken, |taken| *taken + bytes > self.limit)
            .unwrap_or_else(PoisonError::into_inner);
        *taken += bytes;
        Reservation {
            budget: self,
            bytes,
        }
    }
}

impl Drop for Reservation<'_> {
    fn drop(&mut self) {
        let budget = self.budget;
        *budget.taken.lock().unwrap_or_else(PoisonError::into_inner) -= self.bytes;
        budget.freed.notify_all();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicU64, Ordering};

    #[test]
    fn no_more_is_inside_than_fits_and_the_oversized_goes_alone() {
        let budget = MemoryBudget::new(10);
        let (inside, most) = (AtomicU64::new(0), AtomicU64::new(0));
        std::thread::scope(|scope| {
            for bytes in [4, 4, 4, 99, 4, 4] {
                let (budget, inside, most) = (&budget, &inside, &most);
                scope.spawn(move || {
                    for _ in 0..50 {
                        let place = budget.enter(bytes);
                        let now = inside.fetch_add(place.bytes, Ordering::SeqCst) + place.bytes;
                        most.fetch_max(now, Ordering::SeqCst);
                        std::thread::yield_now();
                        inside.fetch_sub(place.bytes, Ordering::SeqCst);
                    }
                });
            }
        });
        assert!((4..=10).contains(&most.load(Ordering::SeqCst)));
        assert_eq!(*budget.taken.lock().unwrap(), 0);
    }
}
