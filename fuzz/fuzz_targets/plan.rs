//! `plan` on trips drawn from the bytes.
#![no_main]

#[path = "../../tests/fuzz/targets.rs"]
#[expect(dead_code, reason = "each target uses its own part")]
mod targets;

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    targets::plan(data);
});
