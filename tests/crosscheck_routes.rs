//! Plans beyond the demo trips: short and long, with and against the wind, one leg and several, light air and rough, by money, time
//! and fuel, each confirmed by the re-flight and kept by every limit.
//!
//! Positions and elevations of the fields are public; ground heights are made up for the test (a slope between the fields and
//! 200 ft), the bulletin is the one of the demo trip.

use fellrun::files::trip::parse_trip;
use fellrun::solve::{Warning, plan_trip};
use fellrun::trip::Objective;
use std::fmt::Write;
use std::path::Path;

/// Re-flight against plan in time, s. The bound of the sheet is 2 s, kept on the demo trips; one shallow descent at a held IAS among
/// these misses by 2.5 s, and its sheet warns. A lost unit or trigger moves minutes.
const TIME_S: f64 = 3.0;
/// The same in fuel, kg: 0.05 US gal.
const FUEL_KG: f64 = 0.136;

/// Identifier, latitude, longitude, elevation in feet (from the open airport table named in REFERENCES B.7, rounded).
const FIELDS: [(&str, f64, f64, f64); 9] = [
    ("KDEN", 39.861_656, -104.673_178, 5_433.0),
    ("KAMA", 35.22, -101.7, 3_607.0),
    ("KLBB", 33.66, -101.82, 3_282.0),
    ("KICT", 37.65, -97.43, 1_333.0),
    ("KOKC", 35.39, -97.6, 1_296.0),
    ("KDSM", 41.534, -93.663, 958.0),
    ("KMSP", 44.88, -93.22, 841.0),
    ("KSLN", 38.79, -97.65, 1_288.0),
    ("KMCI", 39.3, -94.71, 1_026.0),
];

fn field(ident: &str) -> (&'static str, f64, f64, f64) {
    *FIELDS
        .iter()
        .find(|f| f.0 == ident)
        .expect("a field of the table")
}

fn trip_text(route: &[&str], rest: &str) -> String {
    use fellrun::earth::Position;
    let root = env!("CARGO_MANIFEST_DIR");
    let mut text = format!(
        "title = \"test\"\nprofile = \"{root}/profiles/retractable-200hp.toml\"\ndeparture_utc = \"2026-01-31T15:00:00Z\"\n"
    );
    for ident in route {
        let f = field(ident);
        let _ = write!(
            text,
            "[[place]]\nident = \"{}\"\nlat = {}\nlon = {}\nelevation_ft = {}\n",
            f.0, f.1, f.2, f.3
        );
    }
    for pair in route.windows(2) {
        let (a, b) = (field(pair[0]), field(pair[1]));
        let at = |f: (&str, f64, f64, f64)| Position::new(f.1, f.2).expect("a position");
        let length_nm = fellrun::earth::geodesic::distance_m(at(a), at(b)) / 1852.0;
        let rows: Vec<String> = (1..=8)
            .map(|i| {
                let share = |k: i32| a.3 + (b.3 - a.3) * f64::from(k) / 8.0;
                let ground = share(i - 1).max(share(i)) + 200.0;
                format!(
                    "{{ to_nm = {:.1}, ground_ft = {:.0} }}",
                    length_nm * f64::from(i) / 8.0,
                    ground
                )
            })
            .collect();
        let _ = write!(
            text,
            "[[leg]]\nminimum_altitude_ft = {:.0}\nmountainous = false\nground = [{}]\nsource = \"made up\"\n",
            a.3.max(b.3) + 1_300.0,
            rows.join(", ")
        );
    }
    let last = field(route[route.len() - 1]);
    let _ = write!(
        text,
        "[load]\npeople_lb = 340\nbaggage_lb = 40\n[fuel]\non_board_gal = 60\n[prices]\nhourly = 120\nbasis = \"airborne\"\n\
         fuel_per_gal = 6.5\n[weather]\nbulletins = [\"{root}/examples/weather/FBUS33_FD3US3_2026-01-31_310158Z.txt\"]\n\
         altimeter_inhg = 30.10\n[objective]\nkind = \"money\"\n[limits]\nrules = \"us-vfr\"\nmax_altitude_ft = 12500\n{rest}\n[arrival]\npattern_altitude_ft = {}\n",
        last.3 + 1_000.0
    );
    text
}

#[test]
fn crosscheck_routes_short_long_and_bent() {
    let rough = "[[limits.air]]\nup_to_ft = 6000\nair = \"rough\"\n[[limits.air]]\nup_to_ft = 20000\nair = \"smooth\"";
    let cases: [(&[&str], &str); 8] = [
        (&["KICT", "KOKC"], ""),
        (&["KOKC", "KICT"], ""),
        (&["KSLN", "KICT"], ""),
        (&["KDEN", "KICT"], ""),
        (&["KSLN", "KDEN"], ""),
        (&["KMSP", "KDSM", "KMCI"], ""),
        (&["KDEN", "KAMA", "KLBB"], ""),
        (&["KICT", "KDSM"], rough),
    ];
    let mut planned = 0;
    for (route, rest) in cases {
        let text = trip_text(route, rest);
        let file = parse_trip(&text, Path::new("trip.toml"), None)
            .unwrap_or_else(|e| panic!("{route:?}: {e}"));
        for objective in [Objective::Money, Objective::Time, Objective::Fuel] {
            let mut trip = file.trip.clone();
            trip.objective = objective;
            let (p, plan) = plan_trip(&trip, &file.aircraft)
                .unwrap_or_else(|e| panic!("{route:?} {objective:?}: {e}"));
            let miss = plan.reflight;
            let what = format!("{route:?} {objective:?}: {miss:?}");
            assert!(
                miss.time_s.abs() <= TIME_S && miss.height_m.abs() <= 15.0,
                "{what}"
            );
            assert!(
                miss.fuel_kg.abs() <= FUEL_KG && miss.speed_m_s.abs() <= 1.03,
                "{what}"
            );
            // Beyond its bounds the sheet must say so.
            let confirmed = miss.within_bounds(p.aircraft.fuel.density_kg_m3);
            assert_eq!(
                plan.warnings.contains(&Warning::Reflight),
                !confirmed,
                "{what}"
            );
            assert_eq!(plan.flown.audit.broken(), [], "{route:?} {objective:?}");
            // The ideal flight is a bound: 0.1 % is what its grid may cost (DESIGN section 6.6).
            assert!(
                plan.unrounded_value >= plan.ideal.objective_value * 0.999,
                "{route:?} {objective:?}: {} beats the ideal {}",
                plan.unrounded_value,
                plan.ideal.objective_value
            );
            planned += 1;
        }
    }
    assert_eq!(planned, 24);
}
