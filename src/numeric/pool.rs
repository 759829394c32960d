//! The library's own threads: results in order, and a flag that stops long work.
//!
//! Rayon's global pool is never used: it cannot be remade, and in a process made by `fork` its
//! threads are gone, so that work given to it waits for ever. The crew in `pool/crew.rs` remembers the process
//! that made it and is made anew in another one; whoever calls works with it.

#[cfg(feature = "parallel")]
mod crew;

use std::cell::RefCell;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

/// A flag that asks long work to stop; clones share it.
///
/// Work under [`stoppable`] looks at it between pieces. It is never lowered again.
///
/// ```
/// let flag = catoptric::numeric::pool::StopFlag::default();
/// let seen_by_the_work = flag.clone();
/// flag.stop();
/// assert!(seen_by_the_work.stopped());
/// ```
#[derive(Clone, Debug, Default)]
pub struct StopFlag {
    raised: Arc<AtomicBool>,
}

impl StopFlag {
    /// Raises the flag.
    pub fn stop(&self) {
        self.raised.store(true, Ordering::Relaxed);
    }

    /// Whether the flag is up.
    pub fn stopped(&self) -> bool {
        self.raised.load(Ordering::Relaxed)
    }
}

thread_local! {
    /// The flag that the work on this thread heeds.
    static HEEDED: RefCell<Option<StopFlag>> = const { RefCell::new(None) };
}

/// What unwinds the stack when work stops on request.
struct OnRequest;

/// The result of `work`, or none if `flag` went up and stopped it.
///
/// Each [`map_ordered`] in the work, at any depth and on any of the library's threads, looks at the flag before each
/// call. A raised flag unwinds the stack to here, without a panic's message, so that no layer between has to
/// hand the news on; a program built with `panic = "abort"` must not raise it. Real panics pass on to the caller.
/// Leaves out: work between two looks is finished first.
///
/// ```
/// use catoptric::numeric::pool::{StopFlag, map_ordered, stoppable};
/// let flag = StopFlag::default();
/// assert_eq!(stoppable(&flag, || map_ordered(3, true, |k| k)), Some(vec![0, 1, 2]));
/// flag.stop();
/// assert_eq!(stoppable(&flag, || map_ordered(3, true, |k| k)), None);
/// ```
pub fn stoppable<T>(flag: &StopFlag, work: impl FnOnce() -> T) -> Option<T> {
    match catch_unwind(AssertUnwindSafe(|| heeding(Some(flag.clone()), work))) {
        Ok(result) => Some(result),
        Err(cause) if cause.is::<OnRequest>() => None,
        Err(panic) => resume_unwind(panic),
    }
}

/// Does work under a flag, and puts the thread's former flag back, however the work ends.
fn heeding<T>(flag: Option<StopFlag>, work: impl FnOnce() -> T) -> T {
    struct Restore(Option<StopFlag>);
    impl Drop for Restore {
        fn drop(&mut self) {
            HEEDED.set(self.0.take());
        }
    }
    let _restore = Restore(HEEDED.replace(flag));
    work()
}

/// Unwinds the stack if the flag is up.
fn heed(flag: Option<&StopFlag>) {
    if flag.is_some_and(StopFlag::stopped) {
        resume_unwind(Box::new(OnRequest));
    }
}

/// Ends [`stoppable`] work here if its flag is up: for long loops that are not shared.
///
/// ```
/// use catoptric::numeric::pool::{StopFlag, end_if_stopped, stoppable};
/// let flag = StopFlag::default();
/// flag.stop();
/// assert_eq!(stoppable(&flag, || end_if_stopped()), None);
/// ```
pub fn end_if_stopped() {
    HEEDED.with_borrow(|flag| heed(flag.as_ref()));
}

/// The results of `f(0)` to `f(count - 1)`, in that order.
///
/// The calling thread and the library's own share the calls if the feature `parallel` is on, there is more than one
/// call, and the work is `worthwhile`: more than some 50 us in all. Handing over costs 2 us where another core is free, 12 us
/// where both threads have to share one; on two free cores 15 us of work then take 1.2 times less, 45 us 1.6 times, 95 us
/// 1.8 times, 300 us 1.9 times and 10 ms 2.0 times (`benches/threads.rs`). Work within this work is shared by whoever is free,
/// and done by its own thread alone, at 0.2 us, where nobody is. Each result depends on its own index only, so it has the
/// same bits at any number of threads. A panic in `f` passes on to the caller; [`stoppable`] work stops between two calls.
///
/// The number of threads, the caller's included, is read once in a process, from `CATOPTRIC_NUM_THREADS`,
/// `RAYON_NUM_THREADS`, `OMP_NUM_THREADS` in this order; values that are not positive whole numbers
/// are passed over; without any, it is what the machine offers this process.
///
/// ```
/// let squares = catoptric::numeric::pool::map_ordered(4, true, |k| k * k);
/// assert_eq!(squares, [0, 1, 4, 9]);
/// ```
pub fn map_ordered<T: Send>(count: usize, worthwhile: bool, f: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let flag = HEEDED.with_borrow(Clone::clone);
    let f = |k| {
        heed(flag.as_ref());
        f(k)
    };
    #[cfg(feature = "parallel")]
    if worthwhile
        && count > 1
        && let Some(crew) = crew::of_this_thread()
    {
        // The library's threads heed no flag of their own: work within this work has to find it there.
        return crew.map(count, &f, |work| heeding(flag.clone(), work));
    }
    #[cfg(not(feature = "parallel"))]
    let _ = worthwhile;
    (0..count).map(f).collect()
}

/// As [`map_ordered`], each call with a thing of its own to change, such as a piece of a table: `f(k, &mut things[k])`.
///
/// ```
/// use catoptric::numeric::pool::map_each;
/// let mut numbers = [0; 5];
/// let lengths = map_each(numbers.chunks_mut(2), true, |k, piece| {
///     piece.fill(k);
///     piece.len()
/// });
/// assert_eq!((numbers, lengths), ([0, 0, 1, 1, 2], vec![2, 2, 1]));
/// ```
pub fn map_each<P: Send, T: Send>(
    things: impl IntoIterator<Item = P>,
    worthwhile: bool,
    f: impl Fn(usize, &mut P) -> T + Sync,
) -> Vec<T> {
    // Nobody ever waits for a lock: each is taken by one call alone.
    let things: Vec<_> = things.into_iter().map(Mutex::new).collect();
    map_ordered(things.len(), worthwhile, |k| {
        f(k, &mut things[k].lock().unwrap_or_else(PoisonError::into_inner))
    })
}

/// Parts that a long sum is left in: sixteen for each of eight threads.
const PARTS: usize = 128;

/// The sum of `f(0)` to `f(count - 1)` in at most 128 parts, each the sum of neighbours, in their order.
///
/// As [`map_ordered`], but memory does not grow with `count`: what comes out depends on `count` alone, never on the number
/// of threads. Whoever wants one number adds the parts.
///
/// ```
/// use catoptric::numeric::pool::sum_ordered;
/// let parts = sum_ordered(1000, true, |k| k, |a, b| a + b);
/// assert!(parts.len() <= 128 && parts.iter().sum::<usize>() == 499_500);
/// ```
pub fn sum_ordered<T: Send>(
    count: usize,
    worthwhile: bool,
    f: impl Fn(usize) -> T + Sync,
    add: impl Fn(T, T) -> T + Sync,
) -> Vec<T> {
    let flag = HEEDED.with_borrow(Clone::clone);
    let many = count.div_ceil(PARTS).max(1);
    let part = |p: usize| {
        let rest = p * many + 1..count.min((p + 1) * many);
        rest.fold(f(p * many), |sum, k| {
            heed(flag.as_ref());
            add(sum, f(k))
        })
    };
    map_ordered(count.div_ceil(many), worthwhile, part)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_parts_of_a_sum_hold_each_term_once() {
        for count in [0, 1, 127, 128, 129, 1000, 12_345] {
            let join = |mut a: Vec<usize>, b: Vec<usize>| {
                a.extend(b);
                a
            };
            let parts = sum_ordered(count, true, |k| vec![k], join);
            assert!(parts.len() <= PARTS && parts.concat().into_iter().eq(0..count), "{count}");
        }
    }

    #[test]
    fn results_come_in_order_however_the_work_is_shared() {
        let work = |k: usize| (0..k % 97).map(|i| (i as f64).sqrt()).sum::<f64>().to_bits();
        let alone = map_ordered(1000, false, work);
        assert_eq!(map_ordered(1000, true, work), alone);
        assert!(map_ordered(0, true, work).is_empty());
        assert_eq!(map_ordered(1, true, |k| k), [0]);
    }

    #[test]
    fn work_within_work_is_done() {
        let rows = map_ordered(20, true, |i| map_ordered(20, true, move |j| i * j));
        assert_eq!(rows[7][11], 77);
    }

    #[test]
    fn a_raised_flag_stops_the_work_at_the_next_call() {
        use std::sync::atomic::AtomicUsize;
        for parallel in [false, true] {
            let (flag, calls) = (StopFlag::default(), AtomicUsize::new(0));
            let row = |i: usize| {
                map_ordered(1000, parallel, |j| {
                    if calls.fetch_add(1, Ordering::SeqCst) == 10 {
                        flag.stop();
                    }
                    std::thread::sleep(std::time::Duration::from_micros(100));
                    i * j
                })
            };
            assert!(stoppable(&flag, || map_ordered(1000, parallel, row)).is_none());
            // Each thread may have been at one call when the flag went up; of a million, hardly any was made.
            let made = calls.load(Ordering::SeqCst);
            assert!((11..1000).contains(&made), "{made}");
            // The flag is gone with its work.
            assert_eq!(map_ordered(2, parallel, |k| k), [0, 1]);
        }
    }

    #[test]
    fn a_flag_that_stays_down_changes_nothing_and_panics_pass() {
        let flag = StopFlag::default();
        let inner = StopFlag::default();
        inner.stop();
        let work = || {
            assert!(stoppable(&inner, || map_ordered(4, true, |k| k)).is_none());
            map_ordered(4, true, |k| k + 1)
        };
        assert_eq!(stoppable(&flag, work), Some(vec![1, 2, 3, 4]));
        let broken = catch_unwind(|| stoppable(&flag, || map_ordered(4, true, |k| [0; 3][k])));
        assert!(broken.is_err_and(|cause| !cause.is::<OnRequest>()));
    }
}
