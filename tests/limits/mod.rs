//! The flown path of a drawn trip against every limit, by code of its own.
//!
//! Nothing here asks the problem or the solver what is allowed: positions come from the geodesic, true height from the closed form of
//! the column of air that was drawn, and each limit is written again from what was drawn.

use fellrun::air::isa;
use fellrun::aircraft::Aircraft;
use fellrun::earth::geodesic::{self, Leg};
use fellrun::earth::place::Position;
use fellrun::flight::{SegmentKind, TrackPoint};
use fellrun::quantity::{M_PER_FT, M_PER_NM, M_S_PER_FPM, M_S_PER_KT, PA_PER_INHG, ZERO_C_K};
use fellrun::solve::Plan;
use fellrun::trip::{FuelLoad, LegGround, Place, Roughness, Rules, Trip};

/// What the audit takes for rounding, a tenth of its units: 3 ft, 0.1 kt, 1 fpm, 0.01 inHg; and as much again for
/// the straight lines between points here.
const HEIGHT_M: f64 = 6.0 * M_PER_FT;
const SPEED_M_S: f64 = 0.2 * M_S_PER_KT;
const RATE_M_S: f64 = 2.0 * M_S_PER_FPM;
const MAP_PA: f64 = 0.02 * PA_PER_INHG;
/// 0.02 % of power, twice.
const POWER: f64 = 0.000_4;
/// 1 rpm, rev/s: what an integration makes of an RPM that is set.
const REV_S: f64 = 1.0 / 60.0;
/// Time for the speed to settle, s: twice the longest time constant that is held for cruise.
const SETTLED_S: f64 = 240.0;
/// The table of the air against the closed form of its column, m: linear between nodes 500 ft apart.
const COLUMN_M: f64 = 2.0;
/// Edges on the map, m: chords of a mile, and a margin taken 0.5 % too large.
const EDGE_M: f64 = 30.0;

/// What was drawn, as the checks need it.
pub struct Drawn {
    /// What was asked.
    pub trip: Trip,
    /// Who flies.
    pub aircraft: Aircraft,
    /// The lines of the legs.
    pub legs: Vec<Leg>,
    /// Corners of the keep-out volumes (longitude, latitude) with lower and upper, m.
    pub boxes: Vec<(Vec<[f64; 2]>, f64, f64)>,
    /// Of the whole column of air, K.
    pub isa_deviation_k: f64,
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
        self.row_m(s, |g| &g.ground).expect("rows of ground")
    }

    /// None where it is not known.
    fn under_track_m(&self, s: f64) -> Option<f64> {
        self.row_m(s, |g| &g.under_track)
    }

    fn row_m(&self, s: f64, rows: impl Fn(&LegGround) -> &Vec<(f64, f64)>) -> Option<f64> {
        let (i, x) = self.on_leg(s);
        let rows = rows(&self.trip.ground[i]);
        Some(rows.iter().find(|r| x < r.0).or(rows.last())?.1)
    }

    /// Greatest speed of the air at an indicated altitude (DESIGN section 5): smooth Vno, light Vno less 10 kt, rough Va at the weight or
    /// below; light above the last band, and no smoother within 3,000 ft of the ground.
    fn air_limit_m_s(&self, indicated_m: f64, over_ground_m: f64, mass_fraction: f64) -> f64 {
        let speeds = &self.aircraft.speeds;
        let light_m_s = speeds.vno_m_s - 10.0 * M_S_PER_KT;
        let bands = &self.trip.limits.air;
        let band = bands.iter().find(|(up_to_m, _)| indicated_m <= *up_to_m);
        match band.map_or(Roughness::Light, |b| b.1) {
            Roughness::Smooth if over_ground_m >= 3_000.0 * M_PER_FT => speeds.vno_m_s,
            Roughness::Smooth | Roughness::Light => light_m_s,
            Roughness::Rough => light_m_s.min(speeds.va_m_s * mass_fraction.sqrt()),
        }
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
    let under = d.under_track_m(s);
    if let Some(under_m) = under.filter(|_| (1.01..9.99).contains(&off_nm)) {
        let over_m = d.true_m(s, indicated_m) - under_m;
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

/// What lies between two points of the path is checked on the straight line between them, so they must be near: in cruise as the wind
/// is taken (10 nm), in climbs by height (250 m), in the circuit, which is at the field, as it may be, elsewhere by time (10 s).
fn check_gap(p: &TrackPoint, q: &TrackPoint, kind: SegmentKind) {
    let apart_m = q.state.distance_m - p.state.distance_m;
    let apart_s = q.state.time_s - p.state.time_s;
    let height_m = (q.indicated_m - p.indicated_m).abs();
    let near = match kind {
        SegmentKind::Cruise => apart_m < 10.01 * M_PER_NM,
        SegmentKind::Pattern => height_m < 1.0,
        SegmentKind::Circuit => apart_m < 1.0,
        SegmentKind::InitialClimb | SegmentKind::Climb | SegmentKind::CirclingClimb => {
            height_m < 251.0
        }
        // Up or down.
        SegmentKind::LevelChange => apart_s < 10.01 || height_m < 251.0,
        _ => apart_s < 10.01,
    };
    assert!(
        near,
        "{kind:?}: {apart_m:.0} m, {apart_s:.1} s, {height_m:.0} m of height between points"
    );
}

/// The whole flight. Panics where a limit is not kept.
pub fn check(d: &Drawn, answer: &Plan) {
    let (flown, a, limits) = (&answer.flown, &d.aircraft, &d.trip.limits);
    for w in flown.track.windows(2) {
        let (p, q) = (&w[0], &w[1]);
        check_gap(p, q, flown.segments[q.segment].kind);
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
    let mixtures = &a.engine.spec.mixtures;
    for t in &flown.track {
        let s = t.state.distance_m;
        let true_m = d.true_m(s, t.indicated_m);
        assert!(
            (true_m - t.true_altitude_m).abs() < COLUMN_M,
            "{true_m} m, not {}",
            t.true_altitude_m
        );
        let mass = t.mass_kg / a.masses.max_take_off_kg;
        // On the edge of a band the freer one counts.
        let over_m = true_m - d.ground_m(s) + COLUMN_M;
        let most = [-HEIGHT_M, HEIGHT_M]
            .map(|off_m| d.air_limit_m_s(t.indicated_m + off_m, over_m, mass))
            .into_iter()
            .fold(0.0, f64::max);
        assert!(
            t.ias_m_s < most + SPEED_M_S,
            "too fast at {s} m, {} m: {} m/s, not {most}",
            t.indicated_m,
            t.ias_m_s
        );
        assert!(t.ias_m_s < 250.0 * M_S_PER_KT);
        if kind(t) == SegmentKind::Cruise {
            assert!(t.ias_m_s > 1.3 * a.speeds.vs_m_s * mass.sqrt() - SPEED_M_S);
            // The owner's greatest power is that of steady cruise: the ram of speed brought along adds to it for a minute or two.
            let since_s =
                t.state.time_s - flown.track[flown.segments[t.segment].first].state.time_s;
            let most = a
                .procedures
                .cruise_power_fraction
                .min(mixtures[t.mixture].max_power_fraction);
            assert!(
                since_s < SETTLED_S || t.power_fraction < most + POWER,
                "{} of power in cruise at {s} m, not {most}",
                t.power_fraction
            );
        }
        if matches!(kind(t), SegmentKind::Descent | SegmentKind::CirclingDescent) {
            assert!(
                t.rate_m_s > -limits.max_descent_m_s - RATE_M_S,
                "down at {}",
                t.rate_m_s
            );
            let most = a
                .procedures
                .cruise_power_fraction
                .min(mixtures[t.mixture].max_power_fraction);
            assert!(
                t.power_fraction < most + POWER,
                "{} of power in the descent at {s} m, not {most} as in cruise and with this mixture",
                t.power_fraction
            );
        }
        // Bands of RPM are for continuous use: cruise and descent; a lever moves through them.
        let steady = matches!(kind(t), SegmentKind::Cruise | SegmentKind::Descent);
        for band in a.propeller.avoid.iter().filter(|_| steady) {
            let inside = t.rev_s > band.from_rev_s + REV_S && t.rev_s < band.to_rev_s - REV_S;
            assert!(
                !inside || t.map_pa < band.above_map_pa + MAP_PA,
                "{} rev/s at {s} m, {} Pa",
                t.rev_s,
                t.map_pa
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
