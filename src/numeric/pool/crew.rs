//! The threads that share work: the caller's own and the library's, never more at once than the process may have.

use std::cell::RefCell;
use std::hint::spin_loop;
use std::ops::Range;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, TryLockError};
use std::time::Duration;

use rayon::{ThreadPool, ThreadPoolBuilder};

/// Names of environment variables that set the number of threads; the first valid one counts.
const VARIABLES: [&str; 3] = ["CATOPTRIC_NUM_THREADS", "RAYON_NUM_THREADS", "OMP_NUM_THREADS"];

/// Who has no more to do looks so often whether the others are done before it sleeps: some 2 us, less than sleeping and
/// waking cost.
const LOOKS: u32 = 50;

/// A thread takes this share of what is left for one thread at a time: pieces get smaller toward the end, where all are
/// to be done together.
const PIECES: usize = 16;

thread_local! {
    /// The crew for which this thread is at work, as its caller or as a helper.
    static AT_WORK_FOR: RefCell<Option<Arc<Crew>>> = const { RefCell::new(None) };
}

/// The threads of one process.
pub(super) struct Crew {
    /// One less than `most`: whoever calls takes its share.
    helpers: ThreadPool,
    /// How many threads may be at work at once.
    most: usize,
    /// How many are, callers counted.
    at_work: AtomicUsize,
}

/// A crew and the process whose threads it holds; no crew where one thread is all there is.
struct Owned {
    process: u32,
    crew: Option<Arc<Crew>>,
}

/// The crew that this thread works for, or else that of the process.
pub(super) fn of_this_thread() -> Option<Arc<Crew>> {
    static SLOT: Mutex<Option<Owned>> = Mutex::new(None);
    AT_WORK_FOR.with_borrow(Clone::clone).or_else(|| {
        let mut slot = lock_patiently(&SLOT)?;
        crew_of(&mut slot, std::process::id(), || thread_count(|name| std::env::var(name).ok()))
    })
}

/// The crew in the slot if `process` made it, otherwise a new one in its place.
fn crew_of(slot: &mut Option<Owned>, process: u32, thread_count: impl Fn() -> usize) -> Option<Arc<Crew>> {
    if let Some(owned) = slot.as_ref()
        && owned.process == process
    {
        return owned.crew.clone();
    }
    // A crew that came through a fork has no threads, and its locks may be held by threads that
    // no longer exist. Dropping it would call on both; it is left alone for good.
    std::mem::forget(slot.take());
    let crew = Crew::new(thread_count()).map(Arc::new);
    *slot = Some(Owned { process, crew: crew.clone() });
    crew
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

fn thread_count(variable: impl Fn(&str) -> Option<String>) -> usize {
    let positive = |text: String| text.trim().parse().ok().filter(|&threads: &usize| threads > 0);
    let set = VARIABLES.iter().find_map(|name| variable(name).and_then(positive));
    set.unwrap_or_else(|| std::thread::available_parallelism().map_or(1, usize::from))
}

impl Crew {
    /// None for one thread, or where the system gives none: the caller then works alone.
    fn new(most: usize) -> Option<Self> {
        if most < 2 {
            return None;
        }
        let name = |k| format!("catoptric-{k}");
        let helpers = ThreadPoolBuilder::new().num_threads(most - 1).thread_name(name).build().ok()?;
        Some(Self { helpers, most, at_work: AtomicUsize::new(0) })
    }

    /// The results of `f(0)` to `f(count - 1)`, in that order. A helper does its share inside of `on_helper`.
    ///
    /// The caller begins at once and asks for help whenever some thread is free, so that nobody waits for a helper
    /// that is busy elsewhere.
    pub(super) fn map<T: Send>(
        self: &Arc<Self>,
        count: usize,
        f: &(impl Fn(usize) -> T + Sync),
        on_helper: impl Fn(&mut dyn FnMut()) + Sync,
    ) -> Vec<T> {
        let job = Job::new(count, self.most);
        let _here = Here::as_caller(self);
        self.helpers.in_place_scope(|scope| {
            job.share(f, || {
                while job.wants_help() && self.enlist() {
                    job.coming.fetch_add(1, Ordering::Relaxed);
                    job.helping.fetch_add(1, Ordering::Relaxed);
                    let (job, on_helper) = (&job, &on_helper);
                    scope.spawn(move |_| {
                        let _done = Done(&job.helping);
                        let _here = Here::as_helper(self);
                        job.coming.fetch_sub(1, Ordering::Relaxed);
                        on_helper(&mut || job.share(f, || {}));
                    });
                }
            });
            for _ in 0..LOOKS {
                if job.helping.load(Ordering::Acquire) == 0 {
                    break;
                }
                spin_loop();
            }
        });
        job.in_order()
    }

    /// Counts one more thread as at work, if there may be one more.
    fn enlist(&self) -> bool {
        let one_more = |at_work: usize| (at_work < self.most).then_some(at_work + 1);
        self.at_work.load(Ordering::Relaxed) < self.most
            && self.at_work.fetch_update(Ordering::Relaxed, Ordering::Relaxed, one_more).is_ok()
    }
}

/// A thread's stay with a crew; it leaves when this is dropped, also by a panic.
struct Here<'a> {
    /// The crew whose count goes down again.
    counted: Option<&'a Crew>,
    before: Option<Arc<Crew>>,
}

impl<'a> Here<'a> {
    /// The thread of a caller; within work of the same crew it is counted already.
    fn as_caller(crew: &'a Arc<Crew>) -> Self {
        let is_here = AT_WORK_FOR.with_borrow(|own| own.as_ref().is_some_and(|own| Arc::ptr_eq(own, crew)));
        if is_here {
            return Self { counted: None, before: Some(Arc::clone(crew)) };
        }
        crew.at_work.fetch_add(1, Ordering::Relaxed);
        Self::as_helper(crew)
    }

    /// A thread that is counted already, and leaves.
    fn as_helper(crew: &'a Arc<Crew>) -> Self {
        Self { counted: Some(crew), before: AT_WORK_FOR.replace(Some(Arc::clone(crew))) }
    }
}

impl Drop for Here<'_> {
    fn drop(&mut self) {
        AT_WORK_FOR.set(self.before.take());
        if let Some(crew) = self.counted {
            crew.at_work.fetch_sub(1, Ordering::Relaxed);
        }
    }
}

/// Counts down when it is dropped.
struct Done<'a>(&'a AtomicUsize);

impl Drop for Done<'_> {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::Release);
    }
}

/// Calls that are handed out, piece by piece.
struct Job<T> {
    count: usize,
    /// The first that nobody has taken.
    next: AtomicUsize,
    /// A piece is so small a part of what is left.
    parts: usize,
    /// Helpers that have been asked and have not begun.
    coming: AtomicUsize,
    /// Helpers that have been asked and are not done.
    helping: AtomicUsize,
    found: Mutex<Vec<(usize, T)>>,
}

impl<T> Job<T> {
    fn new(count: usize, threads: usize) -> Self {
        let zero = || AtomicUsize::new(0);
        let parts = PIECES * threads;
        Self { count, next: zero(), parts, coming: zero(), helping: zero(), found: Mutex::default() }
    }

    fn left(&self) -> usize {
        self.count.saturating_sub(self.next.load(Ordering::Relaxed))
    }

    /// Whether more is left than those will take who are on their way.
    fn wants_help(&self) -> bool {
        self.left() > self.coming.load(Ordering::Relaxed)
    }

    fn take(&self) -> Option<Range<usize>> {
        let piece = |next: usize| ((self.count - next) / self.parts).max(1);
        let after = |next: usize| (next < self.count).then(|| next + piece(next));
        let first = self.next.fetch_update(Ordering::Relaxed, Ordering::Relaxed, after).ok()?;
        Some(first..first + piece(first))
    }

    /// Makes calls until none is left; `between` comes before each piece.
    fn share(&self, f: &impl Fn(usize) -> T, between: impl Fn()) {
        /// After a panic nobody needs to go on.
        struct Ends<'a, T>(&'a Job<T>);
        impl<T> Drop for Ends<'_, T> {
            fn drop(&mut self) {
                if std::thread::panicking() {
                    self.0.next.store(self.0.count, Ordering::Relaxed);
                }
            }
        }
        let _ends = Ends(self);
        let mut own = Vec::new();
        while let Some(piece) = self.take() {
            between();
            own.extend(piece.map(|k| (k, f(k))));
        }
        let mut found = self.found.lock().unwrap_or_else(PoisonError::into_inner);
        if found.is_empty() {
            *found = own;
        } else {
            found.append(&mut own);
        }
    }

    /// All results; every call has been made.
    fn in_order(self) -> Vec<T> {
        let found = self.found.into_inner().unwrap_or_else(PoisonError::into_inner);
        if found.iter().enumerate().all(|(place, (k, _))| place == *k) {
            return found.into_iter().map(|(_, result)| result).collect();
        }
        let mut places: Vec<Option<T>> = std::iter::repeat_with(|| None).take(self.count).collect();
        for (k, result) in found {
            places[k] = Some(result);
        }
        places.into_iter().flatten().collect()
    }
}

#[cfg(test)]
mod tests {
    use std::panic::{AssertUnwindSafe, catch_unwind};
    use std::thread;

    use super::*;

    fn crew(most: usize) -> Arc<Crew> {
        Arc::new(Crew::new(most).expect("several threads"))
    }

    fn pause() {
        thread::sleep(Duration::from_millis(1));
    }

    #[test]
    fn another_process_gets_a_new_crew_and_the_same_one_keeps_it() {
        let mut slot = None;
        let first = crew_of(&mut slot, 1, || 2).expect("two threads");
        let again = crew_of(&mut slot, 1, || 3).expect("two threads");
        assert!(Arc::ptr_eq(&first, &again));
        let forked = crew_of(&mut slot, 2, || 3).expect("three threads");
        assert!(!Arc::ptr_eq(&first, &forked));
        assert_eq!(forked.helpers.current_num_threads(), 2, "the third is the caller's");
        // The old crew was neither dropped nor is it still in the slot: the clones here, and
        // the one given up for good.
        assert_eq!(Arc::strong_count(&first), 3);
        assert!(crew_of(&mut slot, 3, || 1).is_none());
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
            thread_count(|name| set.iter().find(|(key, _)| *key == name).map(|(_, text)| (*text).to_owned()))
        };
        assert_eq!(count(&[("OMP_NUM_THREADS", "3"), ("CATOPTRIC_NUM_THREADS", "5")]), 5);
        assert_eq!(count(&[("OMP_NUM_THREADS", "3"), ("RAYON_NUM_THREADS", " 4 ")]), 4);
        assert_eq!(count(&[("OMP_NUM_THREADS", "3"), ("RAYON_NUM_THREADS", "0")]), 3);
        assert!(count(&[("OMP_NUM_THREADS", "many")]) >= 1);
    }

    #[test]
    fn every_call_is_made_once_and_the_caller_takes_its_share() {
        for most in [2, 3, 8] {
            let crew = crew(most);
            for count in [0, 1, 2, 7, 1000, 100_000] {
                let found = crew.map(count, &|k| k * k, |work| work());
                assert!(found.into_iter().eq((0..count).map(|k| k * k)), "{count} calls, {most} threads");
            }
            let caller = thread::current().id();
            let threads = crew.map(most, &|_| (pause(), thread::current().id()).1, |work| work());
            assert!(threads.contains(&caller), "{threads:?}");
            assert_eq!(crew.at_work.load(Ordering::Relaxed), 0);
        }
    }

    #[test]
    fn pieces_are_many_and_the_last_ones_single() {
        let job = Job::<()>::new(100_000, 2);
        let pieces: Vec<Range<usize>> = std::iter::from_fn(|| job.take()).collect();
        assert!(pieces.windows(2).all(|pair| pair[0].end == pair[1].start));
        assert_eq!((pieces[0].start, pieces[pieces.len() - 1].end), (0, 100_000));
        assert!(pieces[0].len() <= 100_000 / 32 && pieces.len() > 100);
        assert!(pieces[pieces.len() - 20..].iter().all(|piece| piece.len() == 1));
    }

    #[test]
    fn never_more_threads_are_at_work_than_there_may_be() {
        let crew = crew(3);
        let (now, most) = (AtomicUsize::new(0), AtomicUsize::new(0));
        let leaf = |_| {
            most.fetch_max(now.fetch_add(1, Ordering::SeqCst) + 1, Ordering::SeqCst);
            pause();
            now.fetch_sub(1, Ordering::SeqCst);
        };
        // Three levels deep, each of which asks for help.
        let middle = |_| crew.map(4, &|_| crew.map(8, &leaf, |work| work()).len(), |work| work()).len();
        assert_eq!(crew.map(4, &middle, |work| work()), [4; 4]);
        assert!((2..=3).contains(&most.load(Ordering::SeqCst)), "{most:?} at once");
        assert_eq!(crew.at_work.load(Ordering::Relaxed), 0);
    }

    #[test]
    fn work_within_the_last_call_is_shared_by_those_who_are_done() {
        let crew = crew(2);
        let caller = thread::current().id();
        let inner = |_| (pause(), thread::current().id()).1;
        // One of the two outer calls is short: whoever made it helps with the inner calls of the other.
        let outer = |k: usize| if k == 0 { Vec::new() } else { crew.map(40, &inner, |work| work()) };
        let threads = crew.map(2, &outer, |work| work()).concat();
        let by_caller = threads.iter().filter(|thread| **thread == caller).count();
        assert_eq!(threads.len(), 40);
        assert!(threads.iter().any(|thread| *thread != threads[0]), "{by_caller} of 40 by the caller");
    }

    #[test]
    fn callers_at_once_do_not_wait_for_one_another() {
        let crew = crew(2);
        let callers: Vec<_> = (0..4)
            .map(|caller| {
                let crew = Arc::clone(&crew);
                thread::spawn(move || crew.map(300, &|k| k + caller, |work| work()))
            })
            .collect();
        for (caller, handle) in callers.into_iter().enumerate() {
            assert!(handle.join().expect("no panic").into_iter().eq(caller..caller + 300));
        }
        assert_eq!(crew.at_work.load(Ordering::Relaxed), 0);
    }

    #[test]
    fn a_panic_on_any_thread_ends_the_work_and_passes_on() {
        let crew = crew(3);
        let caller = thread::current().id();
        for on_caller in [false, true] {
            let calls = AtomicUsize::new(0);
            let broken = |k: usize| {
                calls.fetch_add(1, Ordering::Relaxed);
                pause();
                assert!((thread::current().id() == caller) != on_caller, "wanted");
                k
            };
            let result = catch_unwind(AssertUnwindSafe(|| crew.map(1000, &broken, |work| work())));
            assert!(result.is_err());
            assert!(calls.load(Ordering::Relaxed) < 500, "the others stop soon");
            assert_eq!(crew.at_work.load(Ordering::Relaxed), 0);
        }
        assert_eq!(crew.map(3, &|k| k, |work| work()), [0, 1, 2], "it works on");
    }
}
