//! A trip with nothing out of the ordinary, from which the trips that tests build in code begin; each changes what it is about. The library's
//! own tests take this file in by its path, so it calls the library by its name.

use fellrun::aircraft::Aircraft;
use fellrun::earth::{Position, geodesic};
use fellrun::quantity::{M_PER_FT, M_PER_NM, M_S_PER_FPM, PA_PER_INHG};
use fellrun::trip::{
    Arrival, Field, HourBasis, Leg, Limits, Objective, Prices, Problem, RouteAir, Rules,
};

/// A straight leg of this length over flat ground at sea level.
fn leg(from: &str, to: &str, length_m: f64) -> Leg {
    let start = Position::new(45.0, -100.0).expect("a place");
    let end = geodesic::destination(start, 1.0, length_m);
    Leg {
        from: from.into(),
        to: to.into(),
        line: geodesic::Leg::new(start, end).expect("two places"),
        from_m: 0.0,
        to_m: length_m,
        true_rad: 1.0,
        magnetic_rad: 1.0,
        magnetic_ends_rad: [1.0; 2],
        variation_rad: 0.0,
        ground: vec![(0.0, length_m, 0.0)],
        under_track: vec![],
        minimum_m: 1_000.0 * M_PER_FT,
        maximum_m: None,
        mountainous: false,
        ground_source: "flat, for the test".into(),
    }
}

/// One leg between two fields at sea level with the standard altimeter setting, full tanks, all up to the greatest take-off weight; levels are
/// not filled in.
pub fn plain_trip(
    aircraft: Aircraft,
    (from, to): (&str, &str),
    length_m: f64,
    air: RouteAir,
) -> Problem {
    let field = |ident: &str| Field {
        ident: ident.into(),
        elevation_m: 0.0,
        datum_m: 0.0,
    };
    let fuel_kg = aircraft.fuel.usable_kg;
    Problem {
        title: "test".into(),
        departure_time: jiff::Timestamp::UNIX_EPOCH,
        start: Default::default(),
        valid_until: None,
        sources: vec![],
        legs: vec![leg(from, to, length_m)],
        length_m,
        air,
        departure: field(from),
        destination: field(to),
        zero_fuel_kg: aircraft.masses.max_take_off_kg - fuel_kg,
        fuel_kg,
        alternate_kg: 0.0,
        alternate_ground_m: None,
        objective: Objective::Money,
        prices: Prices {
            per_s: 120.0 / 3_600.0,
            basis: HourBasis::Airborne,
            fuel_per_kg: 2.4,
        },
        limits: Limits {
            max_altitude_m: 12_500.0 * M_PER_FT,
            clearance_m: 1_000.0 * M_PER_FT,
            mountain_clearance_m: 2_000.0 * M_PER_FT,
            air: vec![],
            smooth_near_ground: false,
            max_descent_m_s: 500.0 * M_S_PER_FPM,
            least_map_pa: 15.0 * PA_PER_INHG,
            map_reduction_pa_s: 2.0 * PA_PER_INHG / 60.0,
            oxygen: false,
            no_oxygen_m: 12_500.0 * M_PER_FT,
            reserve_s: 2_700.0,
            reserve_kg: 0.0,
            sector_from_rad: 0.0,
        },
        rules: Rules::UsVfr,
        night: false,
        arrival: Arrival {
            pattern_altitude_m: 1_000.0 * M_PER_FT,
            before_m: 5.0 * M_PER_NM,
            circuit_s: 240.0,
        },
        levels: vec![],
        bounds: Default::default(),
        charge: Default::default(),
        clock: vec![],
        circling: Default::default(),
        forbidden: vec![],
        forbidden_to_turns: vec![],
        clouds: vec![],
        notes: vec![],
        aircraft,
    }
}
