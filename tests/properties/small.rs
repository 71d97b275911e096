//! A trip of few whole numbers, which is written as a file: what breaks a property shrinks to such a file, to be kept.

use crate::limits::Drawn;
use fellrun::aircraft::{Aircraft, AvoidBand};
use fellrun::earth::geodesic::{self, Leg};
use fellrun::earth::place::Position;
use fellrun::files::trip::parse_trip;
use fellrun::quantity::M_PER_NM;
use fellrun::solve::{Plan, plan_trip};
use fellrun::trip::Trip;
use proptest::prelude::*;
use std::fmt::{self, Write};
use std::path::Path;

/// Profiles by name, with usable fuel in gal and the useful load with it in lb.
pub const PROFILES: [(&str, f64, f64); 5] = [
    ("retractable-200hp", 64.0, 676.0),
    ("retractable-285hp", 80.0, 870.0),
    ("trainer-160hp", 48.0, 612.0),
    ("turbo-retractable-300hp", 88.0, 872.0),
    ("twin-200hp", 100.0, 700.0),
];
/// Rows of ground on a leg.
const ROWS: u32 = 6;

/// Limits besides those that every trip has; none of them by default.
#[derive(Clone, Default, PartialEq)]
pub struct Added {
    pub minimum_ft: Option<u32>,
    pub maximum_ft: Option<u32>,
    pub mountainous: bool,
    pub clearance_ft: Option<u32>,
    pub map_reduction: Option<u32>,
    pub least_map: Option<u32>,
    pub oxygen_above_ft: Option<u32>,
    /// RPM, from and to: a band to avoid in the profile.
    pub avoid: Option<(u32, u32)>,
    /// Per cent of power that the profile is kept to in cruise.
    pub power: Option<u32>,
}

/// A trip over the plains of the middle of the country.
#[derive(Clone)]
pub struct Small {
    pub profile: usize,
    pub length_nm: u32,
    pub course_deg: u32,
    /// By how much the route turns at a place half way; none where it is straight.
    pub bend_deg: Option<i32>,
    /// Longitude of the departure.
    pub west_deg: u32,
    /// The other way.
    pub back: bool,
    /// Each row of ground in two of one height.
    pub cut_rows: bool,
    pub ends_hundred_ft: [u32; 2],
    /// Hills in the middle half of each leg.
    pub hills_hundred_ft: u32,
    /// True direction it comes from; knots at sea level and at 18,000 ft.
    pub wind: (f64, u32, u32),
    pub isa_deviation_k: i32,
    /// Hundredths of an inch over 29.92.
    pub altimeter: [i32; 2],
    pub objective: &'static str,
    pub rules: &'static str,
    pub night: bool,
    pub oxygen: bool,
    pub max_altitude_ft: u32,
    pub max_descent_fpm: u32,
    pub reserve_min: u32,
    pub air: Vec<(u32, &'static str)>,
    /// Base and thickness in hundreds of feet, and the tenth of the route that it begins at; it is two tenths long.
    pub cloud: Option<(u32, u32, u32)>,
    pub fuel_percent: u32,
    pub load_percent: u32,
    pub hourly: u32,
    pub per_gal: u32,
    pub added: Added,
}

/// Any such trip, without added limits. What is drawn first is what it shrinks to.
pub fn any() -> impl Strategy<Value = Small> {
    let route = (
        0..PROFILES.len(),
        60..=300_u32,
        0..360_u32,
        prop::option::weighted(0.3, -40..=40_i32),
        [0..40_u32, 0..40_u32],
        0..45_u32,
    );
    let air = (
        (0..36_u32, 0..25_u32, 0..50_u32),
        -20..=20_i32,
        [-40..=50_i32, -40..=50_i32],
        prop_oneof![
            Just(vec![]),
            Just(vec![(30_000, "smooth")]),
            (4..12_u32).prop_map(|k| vec![(1_000 * k, "rough")]),
            (4..12_u32).prop_map(|k| vec![(1_000 * k, "light"), (30_000, "smooth")]),
            (4..8_u32).prop_map(|k| vec![
                (1_000 * k, "rough"),
                (1_000 * k + 3_000, "smooth"),
                (30_000, "rough")
            ]),
        ],
        prop::option::weighted(0.3, (40..110_u32, 3..30_u32, 2..7_u32)),
    );
    let limits = (
        prop::sample::select(vec!["money", "time", "fuel"]),
        prop::sample::select(vec!["none", "us-vfr", "us-ifr", "icao-vfr", "icao-ifr"]),
        prop::bool::weighted(0.2),
        any_bool(),
        prop::sample::select(vec![12_500_u32, 9_500, 14_500]),
        4..=8_u32,
        30..=60_u32,
    );
    let load = (60..=100_u32, 40..=95_u32, 40..=250_u32, 4..=12_u32);
    (route, air, limits, load).prop_map(|(route, air, limits, load)| {
        let (from, low, high) = air.0;
        Small {
            profile: route.0,
            length_nm: route.1,
            course_deg: route.2,
            bend_deg: route.3,
            west_deg: 99,
            back: false,
            cut_rows: false,
            ends_hundred_ft: route.4,
            hills_hundred_ft: route.5,
            wind: (f64::from(10 * from), low, high),
            isa_deviation_k: air.1,
            altimeter: air.2,
            objective: limits.0,
            rules: limits.1,
            night: limits.2,
            oxygen: limits.3,
            max_altitude_ft: limits.4,
            max_descent_fpm: 100 * limits.5,
            reserve_min: limits.6,
            air: air.3,
            cloud: air.4,
            fuel_percent: load.0,
            load_percent: load.1,
            hourly: load.2,
            per_gal: load.3,
            added: Added::default(),
        }
    })
}

fn any_bool() -> impl Strategy<Value = bool> {
    prop::bool::ANY
}

/// A plain one: no hills, cloud, bands of air or bend; the standard altimeter setting; any level that is a multiple of 500 ft.
pub fn plain() -> impl Strategy<Value = Small> {
    any().prop_map(|small| Small {
        bend_deg: None,
        hills_hundred_ft: 0,
        wind: (0.0, 0, 0),
        altimeter: [0, 0],
        rules: "none",
        air: vec![],
        cloud: None,
        ..small
    })
}

impl Small {
    /// Places in order.
    pub fn positions(&self) -> Vec<Position> {
        let start = Position::new(38.0, -f64::from(self.west_deg)).expect("a place");
        let course = f64::from(self.course_deg).to_radians();
        let length_m = f64::from(self.length_nm) * M_PER_NM;
        let mut all = vec![start];
        match self.bend_deg {
            None => all.push(geodesic::destination(start, course, length_m)),
            Some(bend) => {
                let via = geodesic::destination(start, course, 0.5 * length_m);
                let on = course + f64::from(bend).to_radians();
                all.extend([via, geodesic::destination(via, on, 0.5 * length_m)]);
            }
        }
        if self.back {
            all.reverse();
        }
        // As they are written.
        let six = |x: f64| (x * 1e6).round() / 1e6;
        all.iter()
            .map(|p| Position::new(six(p.lat_deg()), six(p.lon_deg())).expect("a place"))
            .collect()
    }

    /// The same in wind along the course alone: knots on the tail.
    pub fn with_tail_wind(&self, kt: i32) -> Self {
        let places = self.positions();
        let line = Leg::new(places[0], places[places.len() - 1]).expect("a leg");
        let course = line.course_mid_rad().to_degrees();
        let from = if kt > 0 { course + 180.0 } else { course };
        Self {
            wind: (from.rem_euclid(360.0), kt.unsigned_abs(), kt.unsigned_abs()),
            ..self.clone()
        }
    }

    /// The file.
    pub fn text(&self) -> String {
        let (profile, usable_gal, useful_lb) = PROFILES[self.profile];
        let places = self.positions();
        let last = places.len() - 1;
        let mut t = String::new();
        let mut line = |text: std::fmt::Arguments<'_>| {
            t.write_fmt(text).expect("a string takes it");
            t.push('\n');
        };
        line(format_args!(
            "title = \"drawn\"\nprofile = \"profiles/{profile}.toml\""
        ));
        if let Some(percent) = self.added.power {
            line(format_args!(
                "# in that profile: max_cruise_power_percent = {percent}"
            ));
        }
        if let Some((from, to)) = self.added.avoid {
            line(format_args!(
                "# in that profile: [[propeller.avoid]] from {from} to {to} rpm at any manifold pressure"
            ));
        }
        line(format_args!(
            "departure_utc = 2026-06-01T15:00:00Z\nnight = {}\nvariation_deg = 0",
            self.night
        ));
        for (i, p) in places.iter().enumerate() {
            line(format_args!(
                "[[place]]\nident = \"P{i}\"\nlat = {}\nlon = {}",
                p.lat_deg(),
                p.lon_deg()
            ));
            match i {
                0 => line(format_args!(
                    "elevation_ft = {}",
                    100 * self.ends_hundred_ft[0]
                )),
                _ if i == last => line(format_args!(
                    "elevation_ft = {}",
                    100 * self.ends_hundred_ft[1]
                )),
                _ => (),
            }
        }
        let [a, b] = self.ends_hundred_ft.map(|e| f64::from(100 * e));
        let rows = ROWS * last as u32;
        for (i, pair) in places.windows(2).enumerate() {
            line(format_args!(
                "[[leg]]\nsource = \"drawn\"\nmountainous = {}",
                self.added.mountainous
            ));
            if let Some(ft) = self.added.minimum_ft {
                line(format_args!("minimum_altitude_ft = {ft}"));
            }
            if let Some(ft) = self.added.maximum_ft {
                line(format_args!("maximum_altitude_ft = {ft}"));
            }
            let length_nm = geodesic::distance_m(pair[0], pair[1]) / M_PER_NM;
            let ground: Vec<String> = (1..=ROWS)
                .flat_map(|k| {
                    let at =
                        |k: u32| a + (b - a) * f64::from(k + ROWS * i as u32) / f64::from(rows);
                    let plain_ft = at(k - 1).max(at(k)).ceil();
                    // Room of 25 nm to climb to a hill and to let down from it.
                    let along_nm = f64::from(k + ROWS * i as u32) / f64::from(rows)
                        * f64::from(self.length_nm);
                    let one_nm = f64::from(self.length_nm) / f64::from(rows);
                    let far =
                        along_nm - one_nm > 25.0 && f64::from(self.length_nm) - along_nm > 25.0;
                    let hill_ft = if far { 100 * self.hills_hundred_ft } else { 0 };
                    let ground_ft = plain_ft.max(f64::from(hill_ft));
                    let row = |k: f64| {
                        let to_nm = length_nm * k / f64::from(ROWS);
                        format!("{{ to_nm = {to_nm:.3}, ground_ft = {ground_ft} }}")
                    };
                    let k = f64::from(k);
                    let half = self.cut_rows.then(|| row(k - 0.5));
                    half.into_iter().chain([row(k)]).collect::<Vec<_>>()
                })
                .collect();
            line(format_args!("ground = [{}]", ground.join(", ")));
        }
        let fuel_gal = (usable_gal * f64::from(self.fuel_percent) / 100.0).round();
        let people_lb =
            ((useful_lb + 6.0 * (usable_gal - fuel_gal)) * f64::from(self.load_percent) / 100.0)
                .min(useful_lb)
                .floor();
        line(format_args!(
            "[load]\npeople_lb = {people_lb}\n[fuel]\non_board_gal = {fuel_gal}"
        ));
        line(format_args!(
            "[prices]\nhourly = {}\nbasis = \"airborne\"\nfuel_per_gal = {}",
            self.hourly, self.per_gal
        ));
        let inhg = self.altimeter.map(|a| f64::from(2_992 + a) / 100.0);
        line(format_args!(
            "[weather]\naltimeter_inhg = {{ departure = {}, destination = {} }}",
            inhg[0], inhg[1]
        ));
        if let Some((base, thick, tenth)) = self.cloud {
            let nm = |tenths: u32| f64::from(self.length_nm * tenths) / 10.0;
            line(format_args!(
                "[[weather.cloud]]\nbase_ft = {}\ntop_ft = {}\nfrom_nm = {}\nto_nm = {}",
                100 * base,
                100 * (base + thick),
                nm(tenth),
                nm(tenth + 2)
            ));
        }
        // The same column of air at both ends and half way.
        let (from_deg, low, high) = self.wind;
        let levels: Vec<String> = [0, 3_000, 6_000, 9_000, 12_000, 15_000, 17_900]
            .map(f64::from)
            .iter()
            .map(|ft| {
                let share = ft / 18_000.0;
                let kt = f64::from(low) + share * (f64::from(high) - f64::from(low));
                let c = 15.0 + f64::from(self.isa_deviation_k) - 0.0065 * 0.3048 * ft;
                format!("{{ altitude_ft = {ft}, wind_from_deg = {from_deg:.3}, wind_kt = {kt:.2}, temperature_c = {c:.4} }}")
            })
            .collect();
        let middle = Leg::new(places[0], places[last]).expect("a leg");
        let middle = middle.point_at(0.5 * middle.distance_m());
        for p in [places[0], middle, places[last]] {
            line(format_args!(
                "[[weather.aloft]]\nlat = {:.4}\nlon = {:.4}\nlevels = [{}]",
                p.lat_deg(),
                p.lon_deg(),
                levels.join(", ")
            ));
        }
        line(format_args!(
            "[objective]\nkind = \"{}\"\n[limits]\nrules = \"{}\"\nmax_altitude_ft = {}\nmax_descent_fpm = {}\noxygen = {}\nreserve_min = {}",
            self.objective,
            self.rules,
            self.max_altitude_ft,
            self.max_descent_fpm,
            self.oxygen,
            self.reserve_min
        ));
        let added = &self.added;
        for (key, value) in [
            ("clearance_ft", added.clearance_ft),
            ("map_reduction_inhg_per_min", added.map_reduction),
            ("least_map_inhg", added.least_map),
            ("oxygen_above_ft", added.oxygen_above_ft),
        ] {
            if let Some(value) = value {
                line(format_args!("{key} = {value}"));
            }
        }
        for (up_to_ft, air) in &self.air {
            line(format_args!(
                "[[limits.air]]\nup_to_ft = {up_to_ft}\nair = \"{air}\""
            ));
        }
        t
    }

    /// Read back.
    pub fn read(&self) -> (Trip, Aircraft) {
        let (trip, mut aircraft) = read(&self.text());
        if let Some(percent) = self.added.power {
            aircraft.procedures.cruise_power_fraction = f64::from(percent) / 100.0;
        }
        if let Some((from, to)) = self.added.avoid {
            aircraft.propeller.avoid.push(AvoidBand {
                from_rev_s: f64::from(from) / 60.0,
                to_rev_s: f64::from(to) / 60.0,
                above_map_pa: 0.0,
            });
        }
        (trip, aircraft)
    }

    /// The plan, or why there is none.
    pub fn planned(&self) -> Result<Plan, String> {
        let (trip, aircraft) = self.read();
        let answer = plan_trip(&trip, &aircraft).map_err(|why| why.to_string())?;
        Ok(answer.1)
    }

    /// For the checks of limits.
    pub fn drawn(&self) -> Drawn {
        let (trip, aircraft) = self.read();
        let legs = trip
            .places
            .windows(2)
            .map(|w| Leg::new(w[0].position, w[1].position).expect("a leg"))
            .collect();
        Drawn {
            trip,
            aircraft,
            legs,
            boxes: vec![],
            isa_deviation_k: f64::from(self.isa_deviation_k),
        }
    }
}

/// A trip file that lies at the root of the repository.
pub fn read(text: &str) -> (Trip, Aircraft) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("trip.toml");
    let file = parse_trip(text, &path, None).unwrap_or_else(|e| panic!("{e}\n{text}"));
    (file.trip, file.aircraft)
}

impl fmt::Debug for Small {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "\n----- trip.toml\n{}-----\n", self.text())
    }
}
