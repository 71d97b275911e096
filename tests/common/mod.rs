//! Problems built in code for the integration tests: the demo aircraft, or one with the textbook power plant, in uniform air.
#![allow(dead_code, reason = "each test binary uses its own part")]

pub mod naca658;
mod plain_trip;
pub mod text_boxes;

use fellrun::air::{Datum, LevelValue, Station, WindField};
use fellrun::aircraft::{Aircraft, Textbook};
use fellrun::earth::Position;
use fellrun::quantity::*;
use fellrun::trip::*;
use plain_trip::plain_trip;
use std::path::{Path, PathBuf};

/// Every profile that ships.
pub const PROFILES: [&str; 5] = [
    "retractable-200hp",
    "retractable-285hp",
    "trainer-160hp",
    "turbo-retractable-300hp",
    "twin-200hp",
];

/// The file of a profile that ships.
pub fn profile_path(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("profiles/{name}.toml"))
}

/// A profile that ships, by its name.
pub fn profile(name: &str) -> Aircraft {
    match fellrun::files::profile::load_profile(&profile_path(name)) {
        Ok(aircraft) => aircraft,
        Err(error) => panic!("{error:#}"),
    }
}

/// On how many drawn trips properties are to be tried, where the environment says.
pub fn trips_asked() -> Option<u32> {
    let asked = std::env::var("FELLRUN_TRIPS").ok()?;
    Some(asked.parse().expect("FELLRUN_TRIPS is a number"))
}

/// The demo aircraft.
pub fn demo() -> Aircraft {
    profile("retractable-200hp")
}

/// A demo trip, by its file name in examples/, for an objective.
pub fn demo_trip(trip: &str, objective: Objective) -> Problem {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("examples")
        .join(trip);
    let file = fellrun::files::trip::load_trip(&path, None).expect("the demo trip loads");
    let mut trip = file.trip;
    trip.objective = objective;
    resolve(&trip, file.aircraft).expect("the demo trip resolves")
}

/// The demo aircraft with constant efficiency and consumption, and no limit of power, RPM line or mixture that could interfere.
pub fn textbook(power_w: f64, efficiency: f64, consumption_kg_j: f64) -> Aircraft {
    let mut a = demo();
    a.textbook = Some(Textbook {
        power_w,
        efficiency,
        consumption_kg_j,
    });
    a.procedures.cruise_power_fraction = 1.0;
    a.procedures.map_limit = vec![(0.0, 1e6)];
    a.propeller.avoid.clear();
    a.engine
        .spec
        .mixtures
        .iter_mut()
        .for_each(|m| m.max_power_fraction = 2.0);
    a
}

/// A straight route in uniform air between fields at sea level, standard altimeter setting.
pub fn problem(aircraft: Aircraft, length_nm: f64, along_kt: f64, isa_deviation_k: f64) -> Problem {
    let length_m = length_nm * M_PER_NM;
    let top_m = 25_000.0 * M_PER_FT;
    let air = RouteAir::uniform(length_m, along_kt * M_S_PER_KT, 0.0, isa_deviation_k, top_m);
    let mut p = plain_trip(aircraft, ("A", "B"), length_m, air);
    p.departure_time = "2026-06-01T12:00:00Z".parse().expect("a time");
    p.limits.oxygen = true;
    p.arrival.circuit_s = 180.0;
    p.levels = p.legs.iter().map(|l| legal_levels(&p, l)).collect();
    p
}

/// Identifier, latitude, longitude, elevation in feet (from the open airport table named in REFERENCES B.7, rounded).
pub const FIELDS: [(&str, f64, f64, f64); 9] = [
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

/// The row of a field.
pub fn field(ident: &str) -> (&'static str, f64, f64, f64) {
    *FIELDS
        .iter()
        .find(|f| f.0 == ident)
        .expect("a field of the table")
}

/// A trip between fields of the table. Positions and elevations are public; ground heights are made up for the test (a slope between
/// the fields and 200 ft), the bulletin is the one of the first demo trip.
pub fn trip_text(profile: &str, fuel_gal: u32, route: &[&str], rest: &str) -> String {
    use std::fmt::Write;
    let root = env!("CARGO_MANIFEST_DIR");
    let mut text = format!(
        "title = \"test\"\nprofile = \"{root}/profiles/{profile}.toml\"\ndeparture_utc = \"2026-01-31T15:00:00Z\"\n"
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
        "[load]\npeople_lb = 340\nbaggage_lb = 40\n[fuel]\non_board_gal = {fuel_gal}\n[prices]\nhourly = 120\nbasis = \"airborne\"\n\
         fuel_per_gal = 6.5\n[weather]\nbulletins = [\"{root}/examples/weather/FBUS33_FD3US3_2026-01-31_310158Z.txt\"]\n\
         altimeter_inhg = 30.10\n[objective]\nkind = \"money\"\n[limits]\nrules = \"us-vfr\"\nmax_altitude_ft = 12500\n{rest}\n[arrival]\npattern_altitude_ft = {}\n",
        last.3 + 1_000.0
    );
    text
}

/// A station in calm standard air from sea level up to a height \[ft\], at a latitude and longitude and an elevation \[m\].
pub fn calm_station(name: &str, at_deg: (f64, f64), elevation_m: f64, top_ft: f64) -> Station {
    Station {
        name: name.into(),
        lat_deg: at_deg.0,
        lon_deg: at_deg.1,
        elevation_m,
        levels: [0.0, top_ft]
            .map(|ft| LevelValue {
                datum: Datum::TrueAltitude,
                height_m: ft * M_PER_FT,
                u_m_s: 0.0,
                v_m_s: 0.0,
                temperature_k: Some(288.15 - 0.0065 * ft * M_PER_FT),
            })
            .to_vec(),
    }
}

/// A trip on which a second climb speed pays: 282 nm in calm standard air for least time, no cruise below 10,000 ft, with an
/// aeroplane that climbs at the least rate there well before that at any but a slow speed.
pub fn two_speed_trip() -> Problem {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let profile = root.join("profiles/retractable-285hp.toml");
    let trip = root.join("examples/first-trip.toml");
    let file = fellrun::files::trip::load_trip(&trip, Some(&profile)).expect("the demo trip loads");
    let mut trip = file.trip;
    trip.objective = Objective::Time;
    let station = |name: &str, lon_deg: f64| calm_station(name, (43.3, lon_deg), 100.0, 24_000.0);
    trip.weather.forecasts.truncate(1);
    trip.weather.forecasts[0].field =
        WindField::new(&[station("W", -119.0), station("E", -112.0)]).expect("in order");
    trip.weather.valid_until = None;
    trip.places.remove(1);
    trip.ground.remove(1);
    for place in &mut trip.places {
        place.elevation_m = Some(0.0);
    }
    trip.ground[0] = LegGround {
        ground: vec![(1e7, 0.0)],
        under_track: Vec::new(),
        minimum_m: 10_000.0 * M_PER_FT,
        maximum_m: None,
        mountainous: false,
        source: "flat, for the test".into(),
    };
    trip.arrival.pattern_altitude_m = 1_000.0 * M_PER_FT;
    resolve(&trip, file.aircraft).expect("the trip resolves")
}
