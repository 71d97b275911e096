//! Every parser: the first byte chooses which, the second whether the rest is the input or says how a specimen is damaged.
#![no_main]

#[path = "../../tests/fuzz/targets.rs"]
#[expect(dead_code, reason = "each target uses its own part")]
mod targets;

use std::sync::LazyLock;

/// The specimens of each parser, read once.
static SPECIMENS: LazyLock<Vec<Vec<Vec<u8>>>> = LazyLock::new(|| {
    let read = |path: &&str| std::fs::read(targets::root().join(path)).expect("a specimen");
    targets::PARSERS
        .iter()
        .map(|t| t.specimens.iter().map(read).collect())
        .collect()
});

// libFuzzer's hook aborts at every panic, those that are caught and told of included (damaged GRIB2): the usual one says it, and what is not
// caught aborts all the same.
libfuzzer_sys::fuzz_target!(init: drop(std::panic::take_hook()), |data: &[u8]| {
    let [which, how, rest @ ..] = data else {
        return;
    };
    let which = usize::from(*which) % targets::PARSERS.len();
    let specimens = &SPECIMENS[which];
    match specimens.get(usize::from(*how) % (specimens.len() + 1)) {
        Some(specimen) => (targets::PARSERS[which].run)(&targets::damaged(specimen, rest)),
        None => (targets::PARSERS[which].run)(rest),
    }
});
