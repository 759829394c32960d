//! The library's own threads: results in order, and a flag that stops long work.
//!
//! Rayon's global pool is never used: it cannot be remade, and in a process made by `fork` its
//! threads are gone, so that work given to it waits for ever. The pool here remembers the process
//! that made it and is made anew in another one.

use std::cell::RefCell;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

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

/// The results of `f(0)` to `f(count - 1)`, in that order.
///
/// The calls run on the library's threads if the feature `parallel` is on, there is more than one
/// call, and the work is `worthwhile`: more than some hundred microseconds in all, as handing it
/// over costs tens. Each result depends on its own index only, so it has the same bits at any
/// number of threads. A panic in `f` passes on to the caller; [`stoppable`] work stops between two calls.
///
/// The number of threads is read once in a process, from `CATOPTRIC_NUM_THREADS`,
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
        if flag.as_ref().is_some_and(StopFlag::stopped) {
            resume_unwind(Box::new(OnRequest));
        }
        f(k)
    };
    #[cfg(feature = "parallel")]
    if worthwhile
        && count > 1
        && let Some(pool) = threads::pool_of_this_process()
    {
        use rayon::iter::{IntoParallelIterator, ParallelIterator};
        // The library's threads heed no flag of their own: work within this work has to find it there.
        let f = |k| heeding(flag.clone(), || f(k));
        return pool.install(|| (0..count).into_par_iter().map(f).collect());
    }
    #[cfg(not(feature = "parallel"))]
    let _ = worthwhile;
    (0..count).map(f).collect()
}

#[cfg(feature = "parallel")]
mod threads {
    use std::sync::{Arc, Mutex, MutexGuard, PoisonError, TryLockError};
    use std::time::Duration;

    use rayon::{ThreadPool, ThreadPoolBuilder};

    /// Names of environment variables that set the number of threads; the first valid one counts.
    const VARIABLES: [&str; 3] = ["CATOPTRIC_NUM_THREADS", "RAYON_NUM_THREADS", "OMP_NUM_THREADS"];

    /// A pool and the process whose threads it holds; no pool where one thread is all there is.
    pub(super) struct Owned {
        process: u32,
        pool: Option<Arc<ThreadPool>>,
    }

    pub(super) fn pool_of_this_process() -> Option<Arc<ThreadPool>> {
        static SLOT: Mutex<Option<Owned>> = Mutex::new(None);
        let mut slot = lock_patiently(&SLOT)?;
        pool_of(&mut slot, std::process::id(), || thread_count(|name| std::env::var(name).ok()))
    }

    /// The pool in the slot if `process` made it, otherwise a new one in its place.
    pub(super) fn pool_of(
        slot: &mut Option<Owned>,
        process: u32,
        thread_count: impl Fn() -> usize,
    ) -> Option<Arc<ThreadPool>> {
        if let Some(owned) = slot.as_ref()
            && owned.process == process
        {
            return owned.pool.clone();
        }
        // A pool that came through a fork has no threads, and its locks may be held by threads that
        // no longer exist. Dropping it would call on both; it is left alone for good.
        std::mem::forget(slot.take());
        let pool = make_pool(thread_count());
        *slot = Some(Owned { process, pool: pool.clone() });
        pool
    }

    /// No pool for one thread, or where the system gives none: the caller then works alone.
    fn make_pool(threads: usize) -> Option<Arc<ThreadPool>> {
        if threads < 2 {
            return None;
        }
        let name = |k| format!("catoptric-{k}");
        ThreadPoolBuilder::new().num_threads(threads).thread_name(name).build().ok().map(Arc::new)
    }

    /// Waits for a lock that is held for moments only. If a fork happened in such a moment, it is
    /// held for ever in the new process: then none, and the caller works alone.
    fn lock_patiently<T>(mutex: &Mutex<T>) -> Option<MutexGuard<'_, T>> {
        const TRIES: u32 = 100;
        for _ in 0..TRIES {
            match mutex.try_lock() {
                Ok(guard) => return Some(guard),
                Err(TryLockError::Poisoned(poisoned)) => return Some(PoisonError::into_inner(poisoned)),
                Err(TryLockError::WouldBlock) => std::thread::sleep(Duration::from_millis(1)),
            }
        }
        None
    }

    pub(super) fn thread_count(variable: impl Fn(&str) -> Option<String>) -> usize {
        let positive = |text: String| text.trim().parse().ok().filter(|&threads: &usize| threads > 0);
        let set = VARIABLES.iter().find_map(|name| variable(name).and_then(positive));
        set.unwrap_or_else(|| std::thread::available_parallelism().map_or(1, usize::from))
    }

    #[cfg(test)]
    mod tests {
        use super::*;

        #[test]
        fn another_process_gets_a_new_pool_and_the_same_one_keeps_it() {
            let mut slot = None;
            let first = pool_of(&mut slot, 1, || 2).expect("two threads");
            let again = pool_of(&mut slot, 1, || 3).expect("two threads");
            assert!(Arc::ptr_eq(&first, &again));
            let forked = pool_of(&mut slot, 2, || 3).expect("three threads");
            assert!(!Arc::ptr_eq(&first, &forked));
            assert_eq!(forked.current_num_threads(), 3);
            // The old pool was neither dropped nor is it still in the slot: the clones here, and
            // the one given up for good.
            assert_eq!(Arc::strong_count(&first), 3);
            assert!(pool_of(&mut slot, 3, || 1).is_none());
        }

        #[test]
        fn a_lock_that_is_never_released_does_not_hang() {
            let mutex = Mutex::new(());
            let held = mutex.lock();
            assert!(lock_patiently(&mutex).is_none());
            drop(held);
            assert!(lock_patiently(&mutex).is_some());
        }

        #[test]
        fn the_first_valid_variable_sets_the_number_of_threads() {
            let count = |set: &'static [(&str, &str)]| {
                thread_count(|name| {
                    set.iter().find(|(key, _)| *key == name).map(|(_, text)| (*text).to_owned())
                })
            };
            assert_eq!(count(&[("OMP_NUM_THREADS", "3"), ("CATOPTRIC_NUM_THREADS", "5")]), 5);
            assert_eq!(count(&[("OMP_NUM_THREADS", "3"), ("RAYON_NUM_THREADS", " 4 ")]), 4);
            assert_eq!(count(&[("OMP_NUM_THREADS", "3"), ("RAYON_NUM_THREADS", "0")]), 3);
            assert!(count(&[("OMP_NUM_THREADS", "many")]) >= 1);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
