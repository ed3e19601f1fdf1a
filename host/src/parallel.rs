//! Work on several threads at once. Where the system has no thread to give, the caller's own does all of it.

use std::num::NonZero;
use std::panic::resume_unwind;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread::{self, Builder, ScopedJoinHandle};

/// What `work` makes of each item, on as many threads as there are cores; in the order of the items, whoever was done first.
pub fn map<T: Sync, R: Send>(items: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let threads = thread::available_parallelism().map_or(1, NonZero::get).min(items.len());
    let next = AtomicUsize::new(0);
    let worker = || {
        let mut done = Vec::new();
        while let (at, Some(item)) = taken(&next, items) {
            done.push((at, work(item)));
        }
        done
    };
    let mut all: Vec<(usize, R)> = thread::scope(|scope| {
        let others: Vec<_> =
            (1..threads).filter_map(|_| Builder::new().spawn_scoped(scope, worker).ok()).collect();
        let own = worker();
        others.into_iter().flat_map(end_of).chain(own).collect()
    });
    all.sort_by_key(|(at, _)| *at);
    all.into_iter().map(|(_, made)| made).collect()
}

/// The next item that no thread has taken yet, and its place.
fn taken<'i, T>(next: &AtomicUsize, items: &'i [T]) -> (usize, Option<&'i T>) {
    let at = next.fetch_add(1, Ordering::Relaxed);
    (at, items.get(at))
}

/// What two pieces of work make, done at the same time.
pub fn both<A: Send, B>(one: impl Fn() -> A + Sync, other: impl FnOnce() -> B) -> (A, B) {
    thread::scope(|scope| {
        let begun = Builder::new().spawn_scoped(scope, &one);
        let other = other();
        (begun.map_or_else(|_| one(), end_of), other)
    })
}

/// What a thread made; its panic goes on in the caller's.
fn end_of<R>(thread: ScopedJoinHandle<'_, R>) -> R {
    thread.join().unwrap_or_else(|panic| resume_unwind(panic))
}

#[cfg(test)]
mod tests {
    use std::sync::Barrier;
    use std::time::Duration;

    #[test]
    fn what_is_made_stands_in_the_order_of_the_items() {
        let items: Vec<u64> = (0..50).collect();
        let made = super::map(&items, |item| {
            std::thread::sleep(Duration::from_micros(50 * (item % 7)));
            item * item
        });
        assert_eq!(made, items.iter().map(|item| item * item).collect::<Vec<_>>());
        assert!(super::map(&[0_u64; 0], |item| *item).is_empty());
    }

    /// Each waits for the other.
    #[test]
    fn both_are_done_at_the_same_time() {
        let met = Barrier::new(2);
        let wait = || usize::from(met.wait().is_leader());
        let (one, other) = super::both(wait, wait);
        assert_eq!(one + other, 1);
    }
}
