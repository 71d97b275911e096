//! Fits: scratch.
#[test]
fn scratch() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/faa-65-percent.toml");
    let file = match fellrun::files::handbook::load(&path) { Ok(f) => f, Err(e) => panic!("{}", e.render(false)) };
    let t = std::time::Instant::now();
    let fitted = fellrun::fit::fit(&file.handbook).expect("fit");
    println!("{:?}", t.elapsed());
    println!("{}", fellrun::files::handbook::report_text(&file, &fitted));
    println!("{}", fellrun::files::handbook::profile_text(&file, &fitted));
}
