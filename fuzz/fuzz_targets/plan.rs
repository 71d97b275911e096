//! `plan` on trips drawn from the bytes; with `FELLRUN_FUZZ_SAY` the trip is printed.
#![no_main]

#[path = "../../tests/fuzz/targets.rs"]
#[expect(dead_code, reason = "each target uses its own part")]
mod targets;

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    if std::env::var_os("FELLRUN_FUZZ_SAY").is_some() {
        println!("{}", targets::drawn_trip(data));
    }
    targets::plan(data);
});
