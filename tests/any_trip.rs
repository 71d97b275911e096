//! Trips drawn at random, with ground, keep-out volumes, cloud and rules: the flown path against every limit, by code of its own.
//!
//! Nothing here asks the problem or the solver what is allowed: positions come from the geodesic, true height from the closed form of
//! the column of air that was drawn, and each limit is written again from what was drawn.

mod common;

use fellrun::air::{Datum, LevelValue, Station, WindField, isa};
use fellrun::aircraft::Aircraft;
use fellrun::earth::geodesic::{self, Leg};
use fellrun::earth::keep_out::{Area, Volume};
use fellrun::earth::place::Position;
use fellrun::files::profile::load_profile;
use fellrun::files::trip::parse_trip;
use fellrun::flight::{SegmentKind, TrackPoint};
use fellrun::quantity::{
    KG_PER_LB, M_PER_FT, M_PER_NM, M_S_PER_FPM, M_S_PER_KT, PA_PER_INHG, ZERO_C_K,
};
use fellrun::solve::{Plan, plan};
use fellrun::trip::{
    Airspace, Cloud, FuelLoad, LegGround, Objective, Place, Roughness, Rules, Trip, resolve,
};
use proptest::strategy::{Strategy, ValueTree};
use proptest::test_runner::TestRunner;
use std::path::Path;

/// Trips drawn; with the dev profile's optimisation each takes a few seconds.
const TRIPS: usize = 20;
/// Of these so many must have a plan, or the test looks at nothing.
const LEAST_PLANNED: usize = 10;
/// What the audit takes for rounding, a tenth of its units: 3 ft, 0.1 kt, 1 fpm, 0.01 inHg; and as much again for
/// the straight lines between points here.
const HEIGHT_M: f64 = 6.0 * M_PER_FT;
const SPEED_M_S: f64 = 0.2 * M_S_PER_KT;
const RATE_M_S: f64 = 2.0 * M_S_PER_FPM;
const MAP_PA: f64 = 0.02 * PA_PER_INHG;
/// 0.02 % of power, twice.
const POWER: f64 = 0.000_4;
/// Time for the speed to settle, s: twice the longest time constant that is held for cruise.
const SETTLED_S: f64 = 240.0;
/// The table of the air against the closed form of its column, m: linear between nodes 500 ft apart.
const COLUMN_M: f64 = 2.0;
/// Edges on the map, m: chords of a mile, and a margin taken 0.5 % too large.
const EDGE_M: f64 = 30.0;

/// Numbers from 0 to 1, one after the other.
struct Draw(std::vec::IntoIter<f64>);

impl Draw {
    fn new(runner: &mut TestRunner) -> Self {
        let numbers = proptest::collection::vec(0.0..1.0_f64, 400);
        Self(
            numbers
                .new_tree(runner)
                .expect("numbers")
                .current()
                .into_iter(),
        )
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.next().expect("enough numbers")
    }

    fn chance(&mut self, share: f64) -> bool {
        self.between(0.0, 1.0) < share
    }

    fn one<T: Copy>(&mut self, of: &[T]) -> T {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a few"
        )]
        let i = self.between(0.0, of.len() as f64) as usize;
        of[i.min(of.len() - 1)]
    }
}

/// What was drawn, as the checks need it.
struct Drawn {
    trip: Trip,
    aircraft: Aircraft,
    legs: Vec<Leg>,
    /// Corners of the keep-out volumes (longitude, latitude) with lower and upper, m.
    boxes: Vec<(Vec<[f64; 2]>, f64, f64)>,
    isa_deviation_k: f64,
}

fn draw(d: &mut Draw, base: &Trip, aircraft: &[Aircraft]) -> Drawn {
    let aircraft = aircraft[d.one(&[0, 1, 2])].clone();
    let ft = M_PER_FT;
    // Places: a route of one or two legs over the middle of the country.
    let first = Position::new(d.between(36.0, 40.0), d.between(-101.0, -97.0)).expect("a place");
    let course = d.between(0.0, std::f64::consts::TAU);
    let mut positions = vec![first];
    let legs_wanted = if d.chance(0.4) { 2 } else { 1 };
    for _ in 0..legs_wanted {
        let bend = d.between(-0.6, 0.6);
        let length_m = d.between(90.0, 150.0) * M_PER_NM;
        let from = positions[positions.len() - 1];
        positions.push(geodesic::destination(from, course + bend, length_m));
    }
    let ends_m = [d.between(0.0, 3_000.0) * ft, d.between(0.0, 3_000.0) * ft];
    let count = positions.len();
    let places: Vec<Place> = positions
        .iter()
        .enumerate()
        .map(|(i, &position)| Place {
            ident: format!("P{i}"),
            position,
            elevation_m: match i {
                0 => Some(ends_m[0]),
                _ if i + 1 == count => Some(ends_m[1]),
                _ => None,
            },
        })
        .collect();
    let legs: Vec<Leg> = positions
        .windows(2)
        .map(|w| Leg::new(w[0], w[1]).expect("a leg"))
        .collect();
    let length_m: f64 = legs.iter().map(Leg::distance_m).sum();
    // Ground in stretches of 2 to 8 nm: hills between the fields, none within 25 nm of one.
    let hills_m = d.between(0.0, 4_500.0) * ft;
    let mut ground = Vec::new();
    let mut along_m = 0.0;
    for leg in &legs {
        let mut rows = Vec::new();
        let mut to_m: f64 = 0.0;
        while to_m < leg.distance_m() {
            to_m = (to_m + d.between(2.0, 8.0) * M_PER_NM).min(leg.distance_m());
            let s = along_m + to_m;
            let plain_m = ends_m[0] + (ends_m[1] - ends_m[0]) * s / length_m;
            let far = s > 33.0 * M_PER_NM && s < length_m - 25.0 * M_PER_NM;
            let hill_m = if far {
                d.between(0.0, hills_m.max(1.0))
            } else {
                0.0
            };
            rows.push((to_m, plain_m + hill_m));
        }
        along_m += leg.distance_m();
        ground.push(LegGround {
            ground: rows,
            under_track: Vec::new(),
            minimum_m: d.between(1_000.0, 4_500.0) * ft,
            maximum_m: d.chance(0.2).then(|| d.between(8_500.0, 11_000.0) * ft),
            mountainous: d.chance(0.2),
            source: "drawn".into(),
        });
    }
    // Air: one deviation from the standard everywhere, wind that turns and grows with height.
    let isa_deviation_k = d.between(-35.0, 15.0);
    let (wind_m_s, from_rad) = (
        d.between(0.0, 35.0) * M_S_PER_KT,
        d.between(0.0, std::f64::consts::TAU),
    );
    let station = |name: &str, lat_deg: f64, lon_deg: f64| Station {
        name: name.into(),
        lat_deg,
        lon_deg,
        elevation_m: 0.0,
        levels: (0..=26)
            .map(|i| 1_000.0 * ft * f64::from(i))
            .map(|z| {
                let strength = wind_m_s * (0.4 + z / 6_000.0);
                LevelValue {
                    datum: Datum::TrueAltitude,
                    height_m: z,
                    u_m_s: strength * (from_rad + z / 8_000.0).sin(),
                    v_m_s: strength * (from_rad + z / 8_000.0).cos(),
                    temperature_k: Some(288.15 + isa_deviation_k - 0.0065 * z),
                }
            })
            .collect(),
    };
    let mut stations = Vec::new();
    for lat in [32.0, 35.0, 38.0, 41.0, 44.0] {
        for lon in [-107.0, -104.0, -101.0, -98.0, -95.0, -92.0] {
            stations.push(station(&format!("{lat} {lon}"), lat, lon));
        }
    }
    // Volumes across the route, and a layer of cloud on a part of it.
    let mut boxes = Vec::new();
    for _ in 0..d.one(&[0, 1, 2]) {
        let leg = legs[d.one(&[0, legs.len() - 1])];
        let s = d.between(0.2, 0.8) * leg.distance_m();
        let turn = d.between(0.0, 1.5);
        let middle =
            geodesic::destination(leg.point_at(s), turn * 4.0, d.between(0.0, 6.0) * M_PER_NM);
        let size_m = d.between(4.0, 14.0) * M_PER_NM;
        let mut corners: Vec<[f64; 2]> = (0..4)
            .map(|k| turn + f64::from(k) * std::f64::consts::FRAC_PI_2)
            .map(|c| geodesic::destination(middle, c, size_m))
            .map(|p| [p.lon_deg(), p.lat_deg()])
            .collect();
        corners.push(corners[0]);
        let lower_m = d.between(0.0, 9_000.0) * ft;
        boxes.push((corners, lower_m, lower_m + d.between(1_000.0, 5_000.0) * ft));
    }
    let mut clouds = Vec::new();
    if d.chance(0.6) {
        let from_m = d.between(0.15, 0.5) * length_m;
        let base_m = d.between(4_000.0, 11_000.0) * ft;
        clouds.push(Cloud {
            base_m,
            top_m: base_m + d.between(300.0, 3_000.0) * ft,
            from_m,
            to_m: from_m + d.between(0.1, 0.3) * length_m,
        });
    }
    let mut trip = base.clone();
    let rules = [
        Rules::UsVfr,
        Rules::UsIfr,
        Rules::IcaoVfr,
        Rules::IcaoIfr,
        Rules::None,
    ];
    trip.rules = d.one(&rules);
    trip.objective = d.one(&[Objective::Time, Objective::Fuel, Objective::Money]);
    trip.places = places;
    trip.ground = ground;
    trip.weather.forecasts.truncate(1);
    trip.weather.forecasts[0].field = WindField::new(&stations).expect("in order");
    trip.weather.valid_until = None;
    trip.weather.departure_altimeter_pa = d.between(29.2, 30.6) * PA_PER_INHG;
    trip.weather.destination_altimeter_pa = d.between(29.2, 30.6) * PA_PER_INHG;
    trip.airspace = Airspace {
        keep_outs: boxes
            .iter()
            .map(|(corners, lower_m, upper_m)| Volume {
                name: "drawn".into(),
                areas: vec![Area::new(std::slice::from_ref(corners)).expect("an area")],
                lower_m: *lower_m,
                upper_m: *upper_m,
            })
            .collect(),
        margin_m: d.one(&[0.0, 2.0]) * M_PER_NM,
        clouds,
    };
    trip.variation_rad = Some(d.between(-20.0, 20.0_f64).to_radians());
    trip.night = d.chance(0.3);
    trip.limits.max_altitude_m = d.one(&[9_500.0, 12_500.0, 14_000.0]) * ft;
    trip.limits.oxygen = d.chance(0.3);
    trip.limits.no_oxygen_m = trip.rules.no_oxygen_m();
    trip.limits.sector_from_rad = match trip.rules {
        Rules::IcaoVfr | Rules::IcaoIfr => d.one(&[0.0, 90.0_f64]).to_radians(),
        _ => 0.0,
    };
    trip.limits.max_descent_m_s = d.one(&[400.0, 500.0, 700.0]) * M_S_PER_FPM;
    trip.limits.reserve_s = d.one(&[0.0, 45.0, 60.0]) * 60.0;
    trip.limits.reserve_kg = d.one(&[0.0, 0.0, 20.0]);
    if d.chance(0.4) {
        trip.limits.air = vec![(30_000.0 * ft, Roughness::Smooth)];
    }
    trip.arrival.pattern_altitude_m = ends_m[1] + 1_000.0 * ft;
    trip.fuel = FuelLoad::Kg(0.9 * aircraft.fuel.usable_kg);
    trip.load_kg = d.between(200.0, 420.0) * KG_PER_LB;
    // Ground under the track near the fields: hills that grow with the distance from the field, by nautical mile.
    let rise_ft = d.between(0.0, 160.0);
    let mut along_m = 0.0;
    for (leg, ground) in legs.iter().zip(&mut trip.ground) {
        for mile in 1..=(leg.distance_m() / M_PER_NM).ceil() as i32 {
            let to_m = (f64::from(mile) * M_PER_NM).min(leg.distance_m());
            let s = along_m + to_m;
            let off_nm = s.min(length_m - s) / M_PER_NM;
            let hill_m = if off_nm < 16.0 {
                d.between(0.0, rise_ft * off_nm) * ft
            } else {
                0.0
            };
            let plain_m = ends_m[0] + (ends_m[1] - ends_m[0]) * s / length_m;
            ground.under_track.push((to_m, plain_m + hill_m));
        }
        along_m += leg.distance_m();
    }
    // Now and then a mountain 10 to 20 nm from one of the fields, which may take circling to clear.
    if d.chance(0.3) {
        let near_end = d.chance(0.5);
        let high_m = ends_m[0].max(ends_m[1]) + d.between(3_000.0, 6_000.0) * ft;
        let mut along_m = 0.0;
        for (leg, ground) in legs.iter().zip(&mut trip.ground) {
            for row in &mut ground.ground {
                let s = along_m + row.0;
                let out_m = if near_end { length_m - s } else { s };
                if (11.0 * M_PER_NM..17.0 * M_PER_NM).contains(&out_m) {
                    row.1 = row.1.max(high_m);
                }
            }
            along_m += leg.distance_m();
        }
    }
    Drawn {
        trip,
        aircraft,
        legs,
        boxes,
        isa_deviation_k,
    }
}

impl Drawn {
    fn length_m(&self) -> f64 {
        self.legs.iter().map(Leg::distance_m).sum()
    }

    /// The leg at a distance, and how far along it.
    fn on_leg(&self, s: f64) -> (usize, f64) {
        let mut begin = 0.0;
        for (i, leg) in self.legs.iter().enumerate() {
            if s < begin + leg.distance_m() || i + 1 == self.legs.len() {
                return (i, s - begin);
            }
            begin += leg.distance_m();
        }
        unreachable!("a route has a leg")
    }

    fn ground_m(&self, s: f64) -> f64 {
        self.row_m(s, |g| &g.ground)
    }

    fn under_track_m(&self, s: f64) -> f64 {
        self.row_m(s, |g| &g.under_track)
    }

    fn row_m(&self, s: f64, rows: impl Fn(&LegGround) -> &Vec<(f64, f64)>) -> f64 {
        let (i, x) = self.on_leg(s);
        let rows = rows(&self.trip.ground[i]);
        rows.iter()
            .find(|r| x < r.0)
            .or(rows.last())
            .expect("rows")
            .1
    }

    /// Pressure altitude of what an altimeter on the setting along the route shows.
    fn pressure_altitude_m(&self, s: f64, indicated_m: f64) -> f64 {
        let w = &self.trip.weather;
        let [a, b] =
            [w.departure_altimeter_pa, w.destination_altimeter_pa].map(isa::pressure_altitude_m);
        indicated_m + a + (b - a) * s / self.length_m()
    }

    /// True height of an indicated one: the column T = T0 + off - L z over where the altimeter reads right.
    fn true_m(&self, s: f64, indicated_m: f64) -> f64 {
        let elevation = |p: &Place| p.elevation_m.expect("a field");
        let (a, b) = (
            elevation(&self.trip.places[0]),
            elevation(&self.trip.places[self.trip.places.len() - 1]),
        );
        let right_m = a + (b - a) * s / self.length_m();
        let pressure = |h: f64| isa::pressure_pa(self.pressure_altitude_m(s, h));
        let t0 = 288.15 + self.isa_deviation_k;
        let at_right = t0 - 0.0065 * right_m;
        let exponent = 287.052_87 * 0.0065 / 9.806_65;
        (t0 - at_right * (pressure(indicated_m) / pressure(right_m)).powf(exponent)) / 0.0065
    }

    fn place(&self, s: f64) -> Position {
        let (i, x) = self.on_leg(s);
        self.legs[i].point_at(x)
    }

    /// Whether a level is one of the rules on a leg, or so low over it that they say nothing.
    fn legal(&self, leg: usize, level_m: f64) -> bool {
        // An altimeter is read to no less than this.
        let level_ft = (level_m / M_PER_FT / 10.0).round() * 10.0;
        let l = &self.legs[leg];
        let variation = self.trip.variation_rad.expect("drawn");
        let mut halves = [false; 2];
        for course in [l.course_start_rad(), l.course_mid_rad(), l.course_end_rad()] {
            let past = (course - variation - self.trip.limits.sector_from_rad)
                .to_degrees()
                .rem_euclid(360.0);
            for (begin, allowed) in [0.0, 180.0].into_iter().zip(&mut halves) {
                // From 3 degrees before the half begins to 3 degrees after it ends.
                let (low, high) = (begin - 3.0, begin + 183.0);
                *allowed |= [past - 360.0, past, past + 360.0]
                    .iter()
                    .any(|c| (low..=high).contains(c));
            }
        }
        let visual = matches!(self.trip.rules, Rules::UsVfr | Rules::IcaoVfr);
        if self.trip.rules == Rules::None {
            return (level_ft % 500.0).abs() < 1e-9;
        }
        let lowest = self.trip.ground[leg]
            .ground
            .iter()
            .map(|g| g.1)
            .fold(f64::INFINITY, f64::min);
        if visual && level_m <= lowest + 3_000.0 * M_PER_FT + 0.1 {
            return (level_ft % 500.0).abs() < 1e-9;
        }
        let thousands = (level_ft - if visual { 500.0 } else { 0.0 }) / 1_000.0;
        if thousands.fract() != 0.0 {
            return false;
        }
        halves[if thousands.rem_euclid(2.0) == 1.0 {
            0
        } else {
            1
        }]
    }
}

/// Even-odd on the map.
fn inside(at: Position, corners: &[[f64; 2]]) -> bool {
    let (x, y) = (at.lon_deg(), at.lat_deg());
    let crosses = |w: &&[[f64; 2]]| {
        let (a, b) = (w[0], w[1]);
        (a[1] > y) != (b[1] > y) && x < a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0])
    };
    corners.windows(2).filter(crosses).count() % 2 == 1
}

/// One point of the path, all that holds everywhere.
fn check_place(d: &Drawn, s: f64, indicated_m: f64) {
    let trip = &d.trip;
    let (leg, _) = d.on_leg(s);
    let (to_go, limits) = (d.length_m() - s, &trip.limits);
    // Ground: the whole clearance beyond 20 nm of the fields, 500 ft from 10 nm on; nearer 48 ft over the ground under the track for
    // each mile, except in the mile next to the field.
    let off_nm = s.min(to_go) / M_PER_NM;
    if (1.01..9.99).contains(&off_nm) {
        let over_m = d.true_m(s, indicated_m) - d.under_track_m(s);
        assert!(
            over_m > 48.0 * off_nm * M_PER_FT - HEIGHT_M - COLUMN_M,
            "{over_m} m over the ground under the track {off_nm} nm from a field"
        );
    }
    let over_m = d.true_m(s, indicated_m) - d.ground_m(s);
    let wanted_ft = if s >= 20.0 * M_PER_NM && to_go >= 20.0 * M_PER_NM {
        if trip.ground[leg].mountainous {
            limits.mountain_clearance_m / M_PER_FT
        } else {
            limits.clearance_m / M_PER_FT
        }
    } else if s >= 10.0 * M_PER_NM && to_go >= 10.0 * M_PER_NM {
        500.0
    } else {
        f64::NEG_INFINITY
    };
    assert!(
        over_m > wanted_ft * M_PER_FT - HEIGHT_M - COLUMN_M,
        "{over_m} m over ground at {s} m, not {wanted_ft} ft"
    );
    let ceiling_m = trip.ground[leg]
        .maximum_m
        .map_or(limits.max_altitude_m, |m| m.min(limits.max_altitude_m));
    assert!(
        indicated_m < ceiling_m + HEIGHT_M,
        "{indicated_m} m over the ceiling"
    );
    if !limits.oxygen {
        let ft = match trip.rules {
            Rules::IcaoVfr | Rules::IcaoIfr => 10_000.0,
            _ => 12_500.0,
        };
        assert!(
            d.pressure_altitude_m(s, indicated_m) < ft * M_PER_FT + HEIGHT_M,
            "no oxygen"
        );
    }
    // Volumes, with the margin by places all round.
    let here = d.place(s);
    for (corners, lower_m, upper_m) in &d.boxes {
        if indicated_m < lower_m + HEIGHT_M || indicated_m > upper_m - HEIGHT_M {
            continue;
        }
        let margin_m = trip.airspace.margin_m;
        let round = (0..16).map(|k| f64::from(k) * std::f64::consts::TAU / 16.0);
        let near = |c: f64| geodesic::destination(here, c, (margin_m - EDGE_M).max(0.0));
        let touches = round.map(near).any(|p| inside(p, corners));
        // On the edge itself it is open.
        let deep = margin_m > 0.0
            || (0..16)
                .map(|k| {
                    geodesic::destination(here, f64::from(k) * std::f64::consts::TAU / 16.0, EDGE_M)
                })
                .all(|p| inside(p, corners));
        assert!(!(touches && deep), "in a volume at {s} m, {indicated_m} m");
    }
    for c in &trip.airspace.clouds {
        let h_ft = indicated_m / M_PER_FT;
        let (below_ft, above_ft, beside_m) = match trip.rules {
            Rules::UsVfr if h_ft < 10_000.0 => (500.0, 1_000.0, 2_000.0 * M_PER_FT),
            Rules::UsVfr => (1_000.0, 1_000.0, 5_280.0 * M_PER_FT),
            Rules::IcaoVfr if h_ft < 3_000.0 => (500.0, 1_000.0, 2_000.0 * M_PER_FT),
            Rules::IcaoVfr => (1_000.0, 1_000.0, 1_500.0),
            // In instrument flight and without rules no ice: cloud above freezing may be flown in.
            _ => {
                let t = 288.15 + d.isa_deviation_k - 0.0065 * d.true_m(s, indicated_m);
                if t > ZERO_C_K {
                    continue;
                }
                (0.0, 0.0, 0.0)
            }
        };
        let (low_m, high_m) = (
            c.base_m - below_ft * M_PER_FT,
            c.top_m + above_ft * M_PER_FT,
        );
        let in_height = indicated_m > low_m + HEIGHT_M && indicated_m < high_m - HEIGHT_M;
        let in_length = s > c.from_m - beside_m + EDGE_M && s < c.to_m + beside_m - EDGE_M;
        assert!(
            !(in_height && in_length),
            "too near cloud at {s} m, {h_ft} ft"
        );
    }
}

/// The whole flight.
fn check(d: &Drawn, answer: &Plan) {
    let (flown, a, limits) = (&answer.flown, &d.aircraft, &d.trip.limits);
    assert!(flown.track.len() > 50);
    for w in flown.track.windows(2) {
        let (p, q) = (&w[0], &w[1]);
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a few hundred"
        )]
        let steps = ((q.state.distance_m - p.state.distance_m) / 200.0)
            .ceil()
            .max(1.0) as u32;
        for i in 0..=steps {
            let x = f64::from(i) / f64::from(steps);
            let mix = |a: f64, b: f64| a + x * (b - a);
            let s = mix(p.state.distance_m, q.state.distance_m).clamp(0.0, d.length_m());
            check_place(d, s, mix(p.indicated_m, q.indicated_m));
        }
    }
    let kind = |t: &TrackPoint| flown.segments[t.segment].kind;
    let vno = a.speeds.vno_m_s;
    for t in &flown.track {
        let s = t.state.distance_m;
        let true_m = d.true_m(s, t.indicated_m);
        assert!(
            (true_m - t.true_altitude_m).abs() < COLUMN_M,
            "{true_m} m, not {}",
            t.true_altitude_m
        );
        let smooth =
            !limits.air.is_empty() && true_m - d.ground_m(s) >= 3_000.0 * M_PER_FT - COLUMN_M;
        let most = if smooth { vno } else { vno - 10.0 * M_S_PER_KT };
        assert!(t.ias_m_s < most + SPEED_M_S, "too fast: {} m/s", t.ias_m_s);
        assert!(t.ias_m_s < 250.0 * M_S_PER_KT);
        let mass = t.mass_kg / a.masses.max_take_off_kg;
        if kind(t) == SegmentKind::Cruise {
            assert!(t.ias_m_s > 1.3 * a.speeds.vs_m_s * mass.sqrt() - SPEED_M_S);
            // The owner's greatest power is that of steady cruise: the ram of speed brought along adds to it for a minute or two.
            let since_s =
                t.state.time_s - flown.track[flown.segments[t.segment].first].state.time_s;
            assert!(
                since_s < SETTLED_S
                    || t.power_fraction < a.procedures.cruise_power_fraction + POWER,
                "{} of power in cruise at {s} m",
                t.power_fraction
            );
        }
        if matches!(kind(t), SegmentKind::Descent | SegmentKind::CirclingDescent) {
            assert!(
                t.rate_m_s > -limits.max_descent_m_s - RATE_M_S,
                "down at {}",
                t.rate_m_s
            );
        }
        // In turns: no way made, near a field, and the margin over the stall at the load factor.
        assert_eq!(t.bank_rad > 0.0, t.ground_speed_m_s == 0.0, "{:?}", kind(t));
        if t.bank_rad > 0.0 {
            let from_field_m = s.min(d.length_m() - s);
            assert!(from_field_m < 5.0 * M_PER_NM, "turns {from_field_m} m off");
            let least = 1.3 * a.speeds.vs_m_s * (mass / t.bank_rad.cos()).sqrt();
            assert!(
                t.ias_m_s > least - SPEED_M_S,
                "{} m/s in the turn",
                t.ias_m_s
            );
        }
        if a.propeller.is_fixed() {
            assert!(t.rev_s < a.propeller.highest_governed_rev_s + 0.02);
        } else if t.rev_s < a.propeller.highest_governed_rev_s - 0.02 {
            assert!(t.map_pa < a.map_limit_pa(t.rev_s) + MAP_PA);
        }
    }
    for segment in flown
        .segments
        .iter()
        .filter(|g| g.kind == SegmentKind::Cruise)
    {
        let (from, to) = (&flown.track[segment.first], &flown.track[segment.last]);
        let mut begin = 0.0;
        for (i, leg) in d.legs.iter().enumerate() {
            let end = begin + leg.distance_m();
            let on_it = to.state.distance_m.min(end) - from.state.distance_m.max(begin);
            if on_it > 50.0 {
                assert!(
                    d.legal(i, from.indicated_m),
                    "{} ft on leg {i}",
                    from.indicated_m / M_PER_FT
                );
                assert!(from.indicated_m > d.trip.ground[i].minimum_m - HEIGHT_M);
                assert!(
                    d.true_m(from.state.distance_m, from.indicated_m)
                        > d.trip.ground[i].minimum_m - 51.0 * M_PER_FT - COLUMN_M
                );
            }
            begin = end;
        }
    }
    // Weights and fuel.
    let FuelLoad::Kg(fuel_kg) = d.trip.fuel else {
        panic!("fuel was given");
    };
    let taxi_kg = a.procedures.taxi_fuel_kg;
    let take_off_kg = a.masses.empty_kg + d.trip.load_kg + fuel_kg - taxi_kg;
    let landing_kg = take_off_kg - flown.fuel_kg;
    assert!(take_off_kg <= a.masses.max_take_off_kg && fuel_kg <= a.fuel.usable_kg);
    assert!(landing_kg < a.masses.max_landing_kg + 0.1);
    let last = flown
        .segments
        .iter()
        .rev()
        .find(|g| g.kind == SegmentKind::Cruise)
        .expect("a cruise");
    let flow = flown.track[last.last].fuel_kg_s;
    let night = if d.trip.night { 45.0 } else { 30.0 };
    let legal_min = match d.trip.rules {
        Rules::None => 0.0,
        Rules::UsIfr | Rules::IcaoIfr => 45.0,
        Rules::UsVfr | Rules::IcaoVfr => night,
    };
    let wanted_kg = (limits.reserve_s * flow + limits.reserve_kg).max(legal_min * 60.0 * flow);
    let left_kg = fuel_kg - taxi_kg - flown.fuel_kg;
    // The flow at the end of the last cruise changes by grams in a minute of it.
    assert!(
        left_kg > wanted_kg * 0.999 - 0.02,
        "{left_kg} kg left of {wanted_kg}"
    );
}

#[test]
fn crosscheck_every_limit_on_trips_drawn_at_random() {
    let root = env!("CARGO_MANIFEST_DIR");
    let text = common::trip_text("retractable-200hp", 60, &["KICT", "KOKC"], "");
    let base = parse_trip(&text, Path::new("trip.toml"), None)
        .expect("a trip")
        .trip;
    let aircraft = ["retractable-200hp", "retractable-285hp", "trainer-160hp"].map(|name| {
        load_profile(&Path::new(root).join(format!("profiles/{name}.toml"))).expect("a profile")
    });
    let mut runner = TestRunner::deterministic();
    let (mut planned, mut without) = (0, vec![]);
    for i in 0..TRIPS {
        let d = draw(&mut Draw::new(&mut runner), &base, &aircraft);
        let problem = match resolve(&d.trip, d.aircraft.clone()) {
            Ok(problem) => problem,
            Err(why) => {
                without.push(format!("{i}: {why}"));
                continue;
            }
        };
        match plan(&problem) {
            Ok(answer) => {
                let circles = [
                    answer.flown.circling_climb(),
                    answer.flown.circling_descent(),
                ]
                .map(|c| c.map(|c| c.turns));
                println!(
                    "{i}: {:?} {circles:?} {:?}",
                    d.trip.rules,
                    answer
                        .flown
                        .script
                        .cruise
                        .iter()
                        .map(|c| c.level_m / M_PER_FT)
                        .collect::<Vec<_>>()
                );
                check(&d, &answer);
                planned += 1;
            }
            Err(why) => {
                let told = why.to_string();
                assert!(told.contains("What would free it"), "{told}");
                without.push(format!("{i}: {why}"));
            }
        }
    }
    println!("{planned} planned; {}", without.join("\n"));
    assert!(
        planned >= LEAST_PLANNED,
        "{planned} planned; {}",
        without.join("\n")
    );
}
