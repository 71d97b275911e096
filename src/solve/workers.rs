//! Work done on several threads, with one answer whatever their number.

use std::num::NonZero;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Threads there are to work on.
pub fn threads() -> usize {
    std::thread::available_parallelism().map_or(1, NonZero::get)
}

/// What `work` makes of each job, in the order of the jobs. No job knows of another, so that it does not matter who does which.
pub fn each_of<J: Sync, R: Send>(
    threads: usize,
    jobs: &[J],
    work: impl Fn(&J) -> R + Sync,
) -> Vec<R> {
    let next = AtomicUsize::new(0);
    let done: Mutex<Vec<(usize, R)>> = Mutex::new(Vec::with_capacity(jobs.len()));
    let worker = || {
        while let Some((i, job)) =
            Some(next.fetch_add(1, Ordering::Relaxed)).and_then(|i| jobs.get(i).map(|job| (i, job)))
        {
            let result = work(job);
            done.lock()
                .unwrap_or_else(std::sync::PoisonError::into_inner)
                .push((i, result));
        }
    };
    std::thread::scope(|scope| {
        for _ in 1..threads.min(jobs.len()) {
            scope.spawn(worker);
        }
        worker();
    });
    let mut done = done
        .into_inner()
        .unwrap_or_else(std::sync::PoisonError::into_inner);
    done.sort_by_key(|d| d.0);
    done.into_iter().map(|d| d.1).collect()
}

#[cfg(test)]
mod tests {
    use super::each_of;

    #[test]
    fn closed_form_results_come_in_the_order_of_the_jobs() {
        let jobs: Vec<u64> = (0..100).collect();
        let squares: Vec<u64> = jobs.iter().map(|j| j * j).collect();
        for threads in [0, 1, 2, 7, 1_000] {
            // The first jobs take longest.
            let found = each_of(threads, &jobs, |&j| {
                std::thread::sleep(std::time::Duration::from_micros(100 - j));
                j * j
            });
            assert_eq!(found, squares, "{threads}");
        }
        assert_eq!(each_of(2, &[], |j: &u64| *j), Vec::<u64>::new());
    }
}
