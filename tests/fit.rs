//! Fits: scratch.
use fellrun::fit::*;
#[test]
fn scratch() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(std::env::var("HB").unwrap_or("examples/faa-65-percent.toml".into()));
    let file = match fellrun::files::handbook::load(&path) { Ok(f) => f, Err(e) => panic!("{}", e.render(false)) };
    let t = std::time::Instant::now();
    let fitted = fellrun::fit::fit(&file.handbook).expect("fit");
    println!("{:?}", t.elapsed());
    println!("{}", fellrun::files::handbook::report_text(&file, &fitted));
    let (mut worst_tas, mut rms, mut wff, mut wmap, mut n) = (0.0f64, 0.0, 0.0f64, 0.0f64, 0);
    for l in include_str!("data/faa65/faa_65_percent.csv").lines().skip(1) {
        let c: Vec<&str> = l.split(',').collect();
        let dev = match c[0] { "ISA-20" => -20.0, "ISA+20" => 20.0, _ => continue };
        let ft: f64 = c[1].parse().unwrap();
        let full = ft >= 12000.0 || (dev > 0.0 && ft >= 10000.0);
        let g = |i: usize| c[i].parse::<f64>().unwrap();
        let mut row = file.handbook.rows[0].clone();
        row.condition.pressure_altitude_m = ft * 0.3048; row.condition.deviation_k = dev;
        let engine = EngineSetting { throttle: if full { Setting::FullThrottle } else { Setting::Power(0.65) }, rev_s: 2450.0/60.0, mixture: 1 };
        let (v, p) = level_flight(&fitted.aircraft, &row.condition, &engine, g(8)*0.5144);
        let (dt, df, dm) = (v/0.514444-g(8), p.fuel_kg_s*3600.0/0.45359237/6.0-g(7), p.map_pa/3386.389-g(5));
        println!("{} {} {:+.2} {:+.2} {:+.2} {}", c[0], ft, dt, df, dm, if full {"full"} else {""});
        worst_tas = worst_tas.max(dt.abs()); rms += dt*dt; n+=1; wff = wff.max(df.abs()); if !full { wmap = wmap.max(dm.abs()); }
    }
    println!("WORST tas {worst_tas:.2} rms {:.2} ff {wff:.2} map {wmap:.3}", (rms/n as f64).sqrt());
}
