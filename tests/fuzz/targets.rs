//! What is fuzzed, and how inputs are made from bytes: shared by `tests/fuzz.rs` and the targets of `fuzz/`.
//!
//! A target takes bytes. Those of parsers take them as they are (`arbitrary`), or as instructions for damaging a good specimen
//! (`damaged`); that of `plan` takes them as draws of the figures of a trip. Nothing here may panic, whatever the bytes; what a target
//! asserts is that an error has words, and that a plan has figures.

use fellrun::brief::{Figures, card_text, json, page, terminal};
use fellrun::files::{
    answers, bulletin, check, gpx, handbook, keep_out, notes, places, profile, report, route, trip,
};
use fellrun::quantity::range;
use fellrun::solve::plan_trip;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// A target: its name, its specimens, and what is done with bytes.
pub struct Target {
    /// Name, and folder of its corpus.
    pub name: &'static str,
    /// Good inputs, by their path in the repository.
    pub specimens: &'static [&'static str],
    /// Reads the bytes.
    pub run: fn(&[u8]),
}

/// Every parser. `check` reads GRIB2 and SRTM tiles too, which are told by content and by name.
pub const PARSERS: &[Target] = &[
    Target {
        name: "profile",
        specimens: &[
            "profiles/retractable-200hp.toml",
            "profiles/turbo-retractable-300hp.toml",
            "profiles/trainer-160hp.toml",
        ],
        run: profile,
    },
    Target {
        name: "trip",
        specimens: &[
            "tests/hostile/specimens/table.toml",
            "examples/first-trip.toml",
            "examples/hot-afternoon.toml",
        ],
        run: trip,
    },
    Target {
        name: "handbook",
        specimens: &["examples/faa-65-percent.toml"],
        run: handbook,
    },
    Target {
        name: "rows",
        specimens: &["tests/hostile/specimens/rows.csv"],
        run: rows,
    },
    Target {
        name: "bulletin",
        specimens: &["examples/weather/FBUS33_FD3US3_2026-01-31_310158Z.txt"],
        run: bulletin,
    },
    Target {
        name: "report",
        specimens: &["tests/hostile/specimens/report.txt"],
        run: report,
    },
    Target {
        name: "keep_out",
        specimens: &["tests/hostile/specimens/keep-out.geojson"],
        run: keep_out,
    },
    Target {
        name: "gpx",
        specimens: &["tests/hostile/specimens/route.gpx"],
        run: gpx,
    },
    Target {
        name: "places",
        specimens: &["tests/hostile/specimens/places.csv"],
        run: places,
    },
    Target {
        name: "notes",
        specimens: &["tests/hostile/specimens/notes.csv"],
        run: notes,
    },
    Target {
        name: "answers",
        specimens: &["tests/hostile/specimens/answers.json"],
        run: answers,
    },
    Target {
        name: "grib",
        specimens: &["tests/data/grib/gfs_flux_jpeg2000_template5.40.grib2"],
        run: grib,
    },
    Target {
        name: "tile",
        specimens: &[],
        run: tile,
    },
];

/// The repository.
pub fn root() -> &'static Path {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    // from `fuzz/` it is the folder above
    if here.ends_with("fuzz") {
        here.parent().expect("a folder above")
    } else {
        here
    }
}

/// Bytes given out one after the other; when there are no more, zeros.
pub struct Draw<'a>(pub &'a [u8]);

impl Draw<'_> {
    fn byte(&mut self) -> u8 {
        match self.0.split_first() {
            Some((first, rest)) => {
                self.0 = rest;
                *first
            }
            None => 0,
        }
    }

    fn below(&mut self, n: usize) -> usize {
        let word = u32::from_le_bytes(std::array::from_fn(|_| self.byte()));
        word as usize % n.max(1)
    }

    fn one<T: Copy>(&mut self, of: &[T]) -> T {
        of[self.below(of.len())]
    }

    /// From one number to another, in 65,535 steps.
    fn between(&mut self, low: f64, high: f64) -> f64 {
        let word = u16::from_le_bytes([self.byte(), self.byte()]);
        low + (high - low) * f64::from(word) / f64::from(u16::MAX)
    }

    fn chance(&mut self, of_256: u8) -> bool {
        self.byte() < of_256
    }
}

/// What stands where a number, a word or a mark stood.
const ODD: &[&str] = &[
    "nan",
    "inf",
    "-inf",
    "1e308",
    "-1e308",
    "1e-320",
    "0",
    "-0.0",
    "-1",
    "9999999999999999999999",
    "0x7fffffffffffffff",
    "",
    "\"",
    "'",
    "[",
    "]",
    "{",
    "}",
    ",",
    "=",
    "#",
    "\u{feff}",
    "\u{0}",
    "\u{202e}",
    "é",
    "🛩",
    "true",
    "null",
    "1979-05-27",
    "\r",
    "\n",
    "\t",
    "-180",
    "360",
    "1e9",
    "0.1",
    "18446744073709551616",
    "99",
    "/",
    "..",
    "M99",
    "990099",
    "\\u0000",
];

/// A specimen, damaged as the bytes say: bits, cuts, lines doubled and dropped, tokens swapped, figures at their extremes.
pub fn damaged(specimen: &[u8], draws: &[u8]) -> Vec<u8> {
    let mut d = Draw(draws);
    let mut out = specimen.to_vec();
    for _ in 0..1 + d.below(6) {
        if out.is_empty() {
            return out;
        }
        match d.below(8) {
            0 => {
                let at = d.below(out.len());
                out[at] ^= 1 << d.below(8);
            }
            1 => {
                let at = d.below(out.len());
                out.truncate(at);
            }
            2 | 3 => {
                let mut lines: Vec<&[u8]> = out.split_inclusive(|b| *b == b'\n').collect();
                let at = d.below(lines.len());
                if d.chance(128) {
                    let to = d.below(lines.len());
                    lines.insert(to, lines[at]);
                } else {
                    lines.remove(at);
                }
                out = lines.concat();
            }
            4 => {
                let [a, b] = [(); 2].map(|()| token(&out, d.below(out.len())));
                let (a, b) = if a.start <= b.start { (a, b) } else { (b, a) };
                if a.end <= b.start {
                    let parts = [
                        &out[..a.start],
                        &out[b.clone()],
                        &out[a.end..b.start],
                        &out[a],
                        &out[b.end..],
                    ];
                    out = parts.concat();
                }
            }
            5 | 6 => {
                let at = token(&out, d.below(out.len()));
                out.splice(at, d.one(ODD).bytes());
            }
            _ => {
                let at = d.below(out.len());
                let count = d.below(9);
                let some: Vec<u8> = (0..count).map(|_| d.byte()).collect();
                out.splice(at..at, some);
            }
        }
    }
    out
}

/// The word or number around a place.
fn token(bytes: &[u8], at: usize) -> std::ops::Range<usize> {
    let part = |b: &u8| b.is_ascii_alphanumeric() || b"_.-+".contains(b);
    if !part(&bytes[at]) {
        return at..at + 1;
    }
    let begin = bytes[..at]
        .iter()
        .rposition(|b| !part(b))
        .map_or(0, |i| i + 1);
    let end = bytes[at..]
        .iter()
        .position(|b| !part(b))
        .map_or(bytes.len(), |i| at + i);
    begin..end
}

/// An error says something, in one line and drawn.
fn told<T>(result: Result<T, fellrun::files::diagnostic::FileError>) {
    if let Err(error) = result {
        assert!(!error.findings.is_empty() && !error.to_string().is_empty());
        assert!(error.render(false).contains("error"));
    }
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn profile(bytes: &[u8]) {
    told(profile::parse_profile(
        &text(bytes),
        Path::new("profile.toml"),
    ));
}

/// Profile and weather by names that are found from the examples.
fn trip(bytes: &[u8]) {
    let text = text(bytes).replace("\"profile.toml\"", "\"retractable-200hp\"");
    let read = trip::parse_trip(&text, &root().join("examples/trip.toml"), None);
    if let Ok(file) = &read
        && let Err(why) = fellrun::trip::resolve(&file.trip, file.aircraft.clone())
    {
        assert!(!why.to_string().is_empty());
    }
    told(read);
}

fn handbook(bytes: &[u8]) {
    told(handbook::parse(
        &text(bytes),
        &root().join("examples/handbook.toml"),
    ));
}

/// Rows are read with the handbook that names them.
fn rows(bytes: &[u8]) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    std::fs::write(folder.path().join("rows.csv"), bytes).expect("writes");
    let head =
        std::fs::read_to_string(root().join("examples/faa-65-percent.toml")).expect("the example");
    let head = format!("rows_csv = \"rows.csv\"\n{head}");
    told(handbook::parse(&head, &folder.path().join("handbook.toml")));
}

fn bulletin(bytes: &[u8]) {
    match bulletin::decode(&text(bytes)) {
        Ok(all) => assert!(!all.is_empty()),
        Err(why) => assert!(!why.to_string().is_empty()),
    }
}

fn report(bytes: &[u8]) {
    let near = "2026-06-01T15:00:00Z".parse().expect("a time");
    if let Err(why) = report::decode(&text(bytes), near) {
        assert!(!why.to_string().is_empty());
    }
}

fn keep_out(bytes: &[u8]) {
    told(keep_out::parse_keep_outs(
        &text(bytes),
        Path::new("k.geojson"),
    ));
}

fn gpx(bytes: &[u8]) {
    let (text, path) = (text(bytes), Path::new("route.gpx"));
    told(gpx::parse(&text, path));
    told(route::parse(&text, path, None, 1.0));
}

fn places(bytes: &[u8]) {
    told(places::parse_places(&text(bytes), Path::new("places.csv")));
}

fn notes(bytes: &[u8]) {
    let asked = notes::NotesFor {
        points: ["KLBB", "TOC", "TOD", "KAMA"].map(str::to_owned).to_vec(),
        mixtures: vec!["peak EGT".to_owned()],
        start_up: "2026-06-01T15:00:00Z".parse().expect("a time"),
        taxi_s: 480.0,
        fuel_kg: 100.0,
        density_kg_m3: 719.0,
    };
    told(notes::parse_notes(
        &text(bytes),
        Path::new("notes.csv"),
        Some(&asked),
    ));
    told(notes::parse_notes(
        &text(bytes),
        Path::new("notes.csv"),
        None,
    ));
}

fn answers(bytes: &[u8]) {
    told(answers::parse_answers(
        &text(bytes),
        Path::new("answers.json"),
    ));
}

/// A file of this name with these bytes, looked at as `fellrun check` does.
fn looked_at(name: &str, bytes: &[u8]) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path: PathBuf = folder.path().join(name);
    std::fs::write(&path, bytes).expect("writes");
    told(check::check(&path));
}

fn grib(bytes: &[u8]) {
    looked_at("forecast.grib2", bytes);
}

fn tile(bytes: &[u8]) {
    let mut d = Draw(bytes);
    let name = d.one(&[
        "N34W102.hgt",
        "S90E180.hgt",
        "N00E000.hgt",
        "x.hgt",
        "N34W102.txt",
        "N99W999.hgt",
    ]);
    if d.chance(32) {
        // whole, of one height, voids among them
        let height = i16::from_le_bytes([d.byte(), d.byte()]);
        looked_at(name, &height.to_be_bytes().repeat(1_201 * 1_201));
    } else {
        looked_at(name, d.0);
    }
}

/// A figure of a trip: in what is usual, at an end of its range, or a little outside.
fn figure(d: &mut Draw<'_>, key: &str, low: f64, high: f64) -> String {
    let r = range(key);
    let x = match d.below(300) {
        0 => r.min,
        1 => r.max,
        2 => r.min - 0.01 * (r.max - r.min) - 0.1,
        3 => r.max * 1.01 + 0.1,
        _ => d.between(low, high),
    };
    format!("{x:.2}")
}

/// The text of a trip drawn from bytes: one of the five profiles, two or three places, winds by hand, limits; most can be read.
pub fn drawn_trip(draws: &[u8]) -> String {
    let mut d = Draw(draws);
    let profiles = [
        "retractable-200hp",
        "retractable-285hp",
        "trainer-160hp",
        "turbo-retractable-300hp",
        "twin-200hp",
    ];
    let mut t = String::new();
    // writing to a String cannot fail
    let _ = writeln!(
        t,
        "title = \"drawn\"\nprofile = \"{}\"\ndeparture_utc = 2026-06-01T15:00:00Z",
        d.one(&profiles)
    );
    let _ = writeln!(t, "night = {}", d.chance(40));
    let far = d.one(&[0.05, 0.3, 1.0, 1.0, 2.0, 3.0, 4.0]);
    let (mut lat, mut lon) = (d.between(-60.0, 60.0), d.between(-180.0, 180.0));
    let (first_lat, first_lon) = (lat, lon);
    for place in 0..2 + d.below(2) {
        if place > 0 {
            lat = (lat + far * d.between(-1.0, 1.0)).clamp(-90.0, 90.0);
            lon += far * d.between(-1.0, 1.0);
            lon -= if lon > 180.0 { 360.0 } else { 0.0 };
            lon += if lon < -180.0 { 360.0 } else { 0.0 };
        }
        let elevation = figure(&mut d, "elevation", -200.0, 7_000.0);
        let _ = writeln!(
            t,
            "[[place]]\nident = \"P{place}\"\nlat = {lat:.4}\nlon = {lon:.4}\nelevation_ft = {elevation}"
        );
    }
    if d.chance(30) {
        let (altitude, ias) = (
            figure(&mut d, "altitude", 3_000.0, 12_000.0),
            figure(&mut d, "speed", 70.0, 170.0),
        );
        let _ = writeln!(t, "[start]\naltitude_ft = {altitude}\nias_kt = {ias}");
    }
    let _ = writeln!(
        t,
        "[load]\npeople_lb = {}\nbaggage_lb = {}",
        figure(&mut d, "mass", 100.0, 700.0),
        figure(&mut d, "mass", 0.0, 150.0)
    );
    let fuel = if d.chance(40) {
        "\"least\"".to_owned()
    } else {
        figure(&mut d, "fuel", 5.0, 70.0)
    };
    let _ = writeln!(t, "[fuel]\non_board_gal = {fuel}");
    let _ = writeln!(
        t,
        "[prices]\nhourly = {}\nbasis = \"{}\"\nfuel_per_gal = {}",
        figure(&mut d, "price", 0.0, 400.0),
        d.one(&["clock", "airborne"]),
        figure(&mut d, "price", 0.0, 20.0)
    );
    let _ = writeln!(
        t,
        "[weather]\naltimeter_inhg = {}",
        figure(&mut d, "altimeter setting", 28.5, 31.0)
    );
    let _ = writeln!(
        t,
        "[[weather.aloft]]\nlat = {first_lat:.3}\nlon = {first_lon:.3}\nlevels = ["
    );
    let (warm, strength) = (d.between(-40.0, 30.0), d.between(0.0, 120.0));
    let mut altitude = d.between(0.0, 4_000.0);
    while altitude < 32_000.0 {
        let temperature = (15.0 + warm - 0.00198 * altitude).clamp(-79.0, 59.0);
        let (from, wind) = (d.between(0.0, 360.0), strength * d.between(0.2, 1.0));
        let _ = writeln!(
            t,
            "{{ altitude_ft = {altitude:.0}, wind_from_deg = {from:.0}, wind_kt = {wind:.0}, temperature_c = {temperature:.1} }},"
        );
        altitude += d.between(500.0, 6_000.0);
    }
    let _ = writeln!(t, "]");
    if d.chance(50) {
        let base = d.between(1_000.0, 12_000.0);
        let top = base + d.between(100.0, 8_000.0);
        let _ = writeln!(
            t,
            "[[weather.cloud]]\nbase_ft = {base:.0}\ntop_ft = {top:.0}"
        );
    }
    let _ = writeln!(
        t,
        "[objective]\nkind = \"{}\"",
        d.one(&["money", "time", "fuel"])
    );
    let _ = writeln!(
        t,
        "[limits]\nrules = \"{}\"\nmax_altitude_ft = {}",
        d.one(&["us-vfr", "us-ifr", "icao-vfr", "icao-ifr", "none"]),
        figure(&mut d, "altitude", 5_000.0, 17_500.0)
    );
    let _ = writeln!(t, "oxygen = {}", d.chance(100));
    if d.chance(128) {
        let _ = writeln!(
            t,
            "max_descent_fpm = {}",
            figure(&mut d, "rate of descent", 200.0, 1_200.0)
        );
        let _ = writeln!(t, "reserve_min = {}", figure(&mut d, "reserve", 0.0, 90.0));
    }
    if d.chance(60) {
        let _ = writeln!(
            t,
            "[[limits.air]]\nup_to_ft = {}\nair = \"{}\"",
            figure(&mut d, "altitude", 3_000.0, 9_000.0),
            d.one(&["rough", "smooth", "light"])
        );
    }
    if d.chance(100) {
        let _ = writeln!(
            t,
            "[arrival]\nbefore_nm = {}",
            figure(&mut d, "pattern distance", 0.0, 12.0)
        );
    }
    t
}

/// Plans a drawn trip and writes its faces. `true` if there was a plan.
pub fn plan(draws: &[u8]) -> bool {
    let text = drawn_trip(draws);
    let file = match trip::parse_trip(&text, &root().join("examples/drawn.toml"), None) {
        Ok(file) => file,
        Err(error) => {
            assert!(error.render(false).contains("error"));
            return false;
        }
    };
    let (problem, plan) = match plan_trip(&file.trip, &file.aircraft) {
        Ok(found) => found,
        Err(why) => {
            assert!(!why.to_string().is_empty());
            return false;
        }
    };
    let figures = Figures::new(&plan, &problem).with_notes(&file.notes);
    let written = json(&figures).expect("figures are written");
    let value: serde_json::Value = serde_json::from_str(&written).expect("JSON");
    for key in ["time_min", "fuel_gal", "distance_nm", "landing_fuel_gal"] {
        let x = value["totals"][key].as_f64();
        assert!(
            x.is_some_and(|x| x.is_finite() && x >= 0.0),
            "{key} = {x:?} in\n{text}"
        );
    }
    for face in [
        terminal(&figures, 100),
        card_text(&figures),
        page(&figures, None).expect("a page"),
    ] {
        let odd = |word: &str| {
            matches!(
                word.trim_matches(['(', ')', ',', '+', '-', ';']),
                "NaN" | "inf"
            )
        };
        assert!(!face.split_whitespace().any(odd), "{face}\nof\n{text}");
    }
    true
}
