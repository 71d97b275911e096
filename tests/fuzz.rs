//! Parsers on arbitrary and damaged input, and `plan` on drawn trips: none panics, an error has words, a plan has figures.
//!
//! The same targets and generators as those of `fuzz/` (libFuzzer, whose inputs are led by what code they reach), here with bytes drawn by proptest,
//! so that they run everywhere. `FELLRUN_FUZZ_CASES=100000 cargo test --test whole fuzz::` runs each parser so many times, and `plan` a
//! thousandth of it; inputs that once failed stand in `fuzz/corpus` and are run first.

mod targets;

use proptest::prelude::any;
use proptest::test_runner::{Config, TestCaseError, TestRunner};
use std::cell::Cell;
use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use targets::{PARSERS, Target, damaged, plan, root};

/// Inputs for each parser, half of them damaged specimens, unless the environment says how many.
const USUAL: u32 = 60;
/// Drawn trips, likewise; each takes seconds.
const USUAL_TRIPS: u32 = 10;
/// Inputs for a parser to each trip when the environment says how many.
const FOR_A_TRIP: u32 = 1_000;

fn cases() -> Option<u32> {
    let typed = std::env::var("FELLRUN_FUZZ_CASES").ok()?;
    Some(typed.parse().expect("FELLRUN_FUZZ_CASES is a number"))
}

fn runner(cases: u32) -> TestRunner {
    let config = Config {
        cases,
        max_shrink_iters: 200,
        failure_persistence: None,
        ..Config::default()
    };
    match std::env::var_os("FELLRUN_FUZZ_CASES") {
        // a long run looks somewhere else each time
        Some(_) => TestRunner::new(config),
        None => TestRunner::new_with_rng(
            config.clone(),
            proptest::test_runner::TestRng::deterministic_rng(config.rng_algorithm),
        ),
    }
}

/// Runs a target, what it panics with as the failure of a case; the input is kept for the corpus.
fn tried(name: &str, bytes: &[u8], run: impl FnOnce(&[u8])) -> Result<(), TestCaseError> {
    catch_unwind(AssertUnwindSafe(|| run(bytes))).map_err(|_| {
        let path = std::env::temp_dir().join(format!("fellrun-fuzz-{name}"));
        // the path is for the reader; without the file the message still tells the bytes
        let _ = fs::write(&path, bytes);
        TestCaseError::fail(format!("{name} panics on {}", path.display()))
    })
}

fn corpus(target: &Target) {
    let folder = root().join("fuzz/corpus").join(target.name);
    for entry in fs::read_dir(folder).into_iter().flatten() {
        let path = entry.expect("an entry").path();
        (target.run)(&fs::read(&path).expect("reads"));
    }
}

#[test]
fn regress_the_corpus_stays_quiet() {
    for target in PARSERS {
        corpus(target);
    }
    let folder = root().join("fuzz/corpus/plan");
    for entry in fs::read_dir(folder).into_iter().flatten() {
        plan(&fs::read(entry.expect("an entry").path()).expect("reads"));
    }
}

#[test]
fn closed_form_parsers_never_panic() {
    let cases = cases().unwrap_or(USUAL);
    let run = Cell::new(0_u64);
    for target in PARSERS {
        let specimens: Vec<Vec<u8>> = target
            .specimens
            .iter()
            .map(|path| fs::read(root().join(path)).expect("a specimen"))
            .collect();
        // A specimen itself is good, or damage to it says nothing.
        for specimen in &specimens {
            (target.run)(specimen);
        }
        let draws = (any::<u8>(), proptest::collection::vec(any::<u8>(), 0..400));
        runner(cases)
            .run(&draws, |(which, bytes)| {
                run.set(run.get() + 1);
                let pick = usize::from(which >> 1);
                match specimens.get(pick % specimens.len().max(1)) {
                    Some(specimen) if which % 4 != 0 => {
                        tried(target.name, &damaged(specimen, &bytes), target.run)
                    }
                    _ => tried(target.name, &bytes, target.run),
                }
            })
            .unwrap_or_else(|why| panic!("{}: {why}", target.name));
    }
    assert!(run.get() >= u64::from(cases) * PARSERS.len() as u64);
    eprintln!("{} inputs", run.get());
}

#[test]
fn closed_form_drawn_trips_are_planned_or_refused() {
    let cases = cases().map_or(USUAL_TRIPS, |n| n.div_ceil(FOR_A_TRIP));
    let (run, planned) = (Cell::new(0), Cell::new(0));
    runner(cases)
        .run(&proptest::collection::vec(any::<u8>(), 220..260), |draws| {
            run.set(run.get() + 1);
            tried("plan", &draws, |draws| {
                planned.set(planned.get() + u32::from(plan(draws)));
            })
        })
        .unwrap_or_else(|why| panic!("plan: {why}"));
    eprintln!("{} trips, {} with a plan", run.get(), planned.get());
    assert!(planned.get() > 0, "no drawn trip has a plan");
}
