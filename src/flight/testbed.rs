//! An invented aeroplane and trips for the tests of this module and of the re-flight.

#[path = "../../tests/common/plain_trip.rs"]
mod plain_trip;

use crate::air::field::{Datum, LevelValue, Station, WindField};
use crate::aircraft::propeller::{PropellerGeometry, PropellerTable, Stops};
use crate::aircraft::{
    Aircraft, Airframe, Engine, EngineSpec, FuelSystem, HubWithoutOil, Masses, Mixture, Procedures,
    Propeller, Speeds, Throttle,
};
use crate::earth::place::Position;
use crate::flight::{
    Climb, Cruise, Descent, DescentPart, PathRule, Reduction, Script, ThrottleRule,
};
use crate::quantity::{
    KG_PER_LB, M_PER_FT, M_PER_NM, M_S_PER_KT, M3_PER_CUIN, M3_PER_GAL, PA_PER_INHG, W_PER_HP,
};
use crate::trip::{
    Field, Forecast, FuelLoad, HourBasis, LegGround, LegLevels, Objective, Place, Prices, Problem,
    RouteAir, Rules, Trip, Weather, resolve,
};

pub(crate) use plain_trip::plain_trip;

/// Avgas, kg/m³ (6.0 lb/US gal).
pub(crate) const DENSITY_KG_M3: f64 = 6.0 * KG_PER_LB / M3_PER_GAL;
/// Inches of mercury, Pa.
pub(crate) const IN: f64 = PA_PER_INHG;
/// Feet, m.
pub(crate) const FT: f64 = M_PER_FT;
/// Knots, m/s.
pub(crate) const KT: f64 = M_S_PER_KT;
/// Rev/min, rev/s.
pub(crate) const RPM: f64 = 1.0 / 60.0;

/// Altimeter setting of the standard at both ends, inHg.
pub(crate) const STANDARD_INHG: (f64, f64) = (29.921_26, 29.921_26);

/// A made-up retractable of 200 hp; every figure is invented. `fuel_factor` multiplies the fuel-air ratio of every mixture.
pub(crate) fn aircraft(fuel_factor: f64) -> Aircraft {
    let geometry = PropellerGeometry::standard(74.0 * 0.0254, 2, 1.0)
        .expect("a chord scale of one is in range");
    let (low, high) = (12.0_f64.to_radians(), 34.0_f64.to_radians());
    let table = PropellerTable::build(&geometry, low, high).expect("the stops lie in the table");
    let mixture =
        |name: &str, fuel_air: f64, relative_power: f64, max_power_fraction: f64| Mixture {
            name: name.into(),
            fuel_air: fuel_air * fuel_factor,
            relative_power,
            max_power_fraction,
        };
    let engine = Engine::new(EngineSpec {
        displacement_m3: 360.0 * M3_PER_CUIN,
        compression_ratio: 8.7,
        rated_power_w: 200.0 * W_PER_HP,
        rated_rev_s: 2_700.0 * RPM,
        induction_loss_pa: 1.0 * IN,
        ram_recovery: 0.6,
        volumetric_efficiency: 0.86,
        charge_heating_k: 20.0,
        friction_pa: [60e3, 20e3, 5e3],
        idle_fuel_kg_s: 0.001,
        mixtures: vec![
            mixture("full rich", 0.088, 0.97, 1.1),
            mixture("best power", 0.078, 1.0, 1.1),
            mixture("peak EGT", 0.067, 0.955, 0.75),
            mixture("lean of peak", 0.059, 0.87, 0.65),
        ],
        turbo: None,
    })
    .expect("the figures of the test engine agree");
    Aircraft {
        name: "test retractable".into(),
        seats: 4,
        masses: Masses {
            empty_kg: 1_700.0 * KG_PER_LB,
            max_take_off_kg: 2_740.0 * KG_PER_LB,
            max_landing_kg: 2_740.0 * KG_PER_LB,
        },
        fuel: FuelSystem {
            usable_kg: 64.0 * M3_PER_GAL * DENSITY_KG_M3,
            density_kg_m3: DENSITY_KG_M3,
        },
        speeds: Speeds {
            vs_m_s: 60.0 * KT,
            va_m_s: 118.0 * KT,
            vno_m_s: 152.0 * KT,
            vne_m_s: 174.0 * KT,
            vy_m_s: vec![(0.0, 90.0 * KT), (4_500.0, 84.0 * KT)],
            vlo_extend_m_s: 132.0 * KT,
            vlo_retract_m_s: 107.0 * KT,
            vle_m_s: 132.0 * KT,
            least_cooling_m_s: 80.0 * KT,
            correction: vec![],
        },
        airframe: Airframe {
            wing_area_m2: 170.0 * M_PER_FT * M_PER_FT,
            cd0: 0.024,
            k: 0.057,
            cd_gear: 0.015,
            flaps: vec![],
            cd_cooling: 0.0,
        },
        engines: 1,
        engine,
        equipment: crate::aircraft::Equipment::default(),
        propeller: Propeller {
            table,
            stops: Stops {
                low_rad: low,
                high_rad: high,
            },
            lowest_governed_rev_s: 1_500.0 * RPM,
            highest_governed_rev_s: 2_700.0 * RPM,
            hub: HubWithoutOil::Fine,
            avoid: vec![],
            installed_factor: 0.95,
            feathered: None,
        },
        procedures: Procedures {
            taxi_fuel_kg: 3.0,
            taxi_time_s: 600.0,
            take_off_fuel_kg: 1.0,
            climb_rev_s: vec![2_700.0 * RPM, 2_600.0 * RPM],
            cruise_power_fraction: 0.75,
            map_limit: vec![
                (1_500.0 * RPM, 24.0 * IN),
                (2_000.0 * RPM, 26.0 * IN),
                (2_700.0 * RPM, 29.5 * IN),
            ],
            full_rich_density_altitude_m: 5_000.0 * FT,
            least_descent_map_pa: 15.0 * IN,
            map_reduction_pa_s: 2.0 * IN / 60.0,
            map_step_pa: 0.5 * IN,
            rev_step_s: 50.0 * RPM,
            speed_step_m_s: 5.0 * KT,
            tank_change_s: 1_800.0,
            gear_as_brake: false,
            pattern_m_s: 90.0 * KT,
        },
        textbook: None,
    }
}

/// Weather of a test trip.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Day {
    pub along_kt: f64,
    pub cross_kt: f64,
    pub deviation_k: f64,
    pub altimeter_inhg: (f64, f64),
}

/// Still standard air.
pub(crate) const CALM: Day = Day {
    along_kt: 0.0,
    cross_kt: 0.0,
    deviation_k: 0.0,
    altimeter_inhg: STANDARD_INHG,
};

/// A trip of this length over flat ground between two fields near sea level.
pub(crate) fn problem(aircraft: Aircraft, length_nm: f64, day: Day) -> Problem {
    let length_m = length_nm * M_PER_NM;
    let field = |ident: &str, elevation_ft: f64, inhg: f64| Field {
        ident: ident.into(),
        elevation_m: elevation_ft * FT,
        datum_m: crate::air::isa::pressure_altitude_m(inhg * IN),
    };
    let air = RouteAir::uniform(
        length_m,
        day.along_kt * KT,
        day.cross_kt * KT,
        day.deviation_k,
        20_000.0 * FT,
    );
    let mut p = plain_trip(aircraft, ("AAAA", "BBBB"), length_m, air);
    p.legs[0].minimum_m = 2_000.0 * FT;
    p.departure = field("AAAA", 500.0, day.altimeter_inhg.0);
    p.destination = field("BBBB", 800.0, day.altimeter_inhg.1);
    p.zero_fuel_kg = 2_300.0 * KG_PER_LB;
    p.fuel_kg = 60.0 * M3_PER_GAL * DENSITY_KG_M3;
    p.objective = Objective::Time;
    p.prices = Prices {
        per_s: 0.02,
        basis: HourBasis::Clock,
        fuel_per_kg: 2.0,
    };
    p.arrival.pattern_altitude_m = 1_800.0 * FT;
    p.levels = vec![LegLevels { levels_m: vec![] }];
    p
}

/// A card with a cruise at 9,500 ft; the top of descent is to be found.
pub(crate) fn script(throttle: ThrottleRule, path: PathRule, reduce_at_ft: f64) -> Script {
    Script {
        initial_ias_m_s: 85.0 * KT,
        initial_mixture: 0,
        climb: Climb {
            ias_m_s: 100.0 * KT,
            second: None,
            rev_s: 2_600.0 * RPM,
            mixture: 0,
            lean_at_m: 5_000.0 * FT,
            circle: None,
        },
        cruise: vec![cruise(9_500.0, 0.0)],
        descent: Descent {
            first: DescentPart {
                throttle,
                rev_s: 2_000.0 * RPM,
                mixture: 2,
                path,
                gear_down: false,
            },
            second: None,
            reduce_at_m: reduce_at_ft * FT,
            to_go_m: f64::NAN,
            circle: None,
        },
        reduction: Reduction {
            step_pa: 1.0 * IN,
            step_rev_s: 50.0 * RPM,
            floor_rev_s: 1_800.0 * RPM,
            interval_s: 30.0,
            floor_pa: 13.0 * IN,
        },
    }
}

/// A cruise stretch.
pub(crate) fn cruise(level_ft: f64, from_nm: f64) -> Cruise {
    Cruise {
        level_m: level_ft * FT,
        from_m: from_nm * M_PER_NM,
        throttle: Throttle::Map(20.5 * IN),
        rev_s: 2_400.0 * RPM,
        mixture: 2,
        set_at_ias_m_s: 115.0 * KT,
    }
}

/// A trip of some 300 nm eastwards through air that changes with place and height: west wind growing from 10 kt near the ground at
/// the start to 45 kt aloft at the end, an inversion, and `warmer_k` of change in temperature.
pub(crate) fn windy(aircraft: Aircraft, warmer_k: f64, altimeter_inhg: (f64, f64)) -> Problem {
    let place = |ident: &str, lon_deg: f64, elevation_ft: f64| Place {
        ident: ident.into(),
        position: Position::new(40.0, lon_deg).expect("on the Earth"),
        elevation_m: Some(elevation_ft * FT),
    };
    let station = |name: &str, lon_deg: f64, more_kt: f64, warmer_k: f64| Station {
        name: name.into(),
        lat_deg: 40.1,
        lon_deg,
        elevation_m: 100.0,
        levels: [
            (3_000.0, 10.0, 3.0, 283.0),
            (6_000.0, 22.0, 6.0, 281.0),
            (9_000.0, 30.0, 4.0, 272.0),
            (12_000.0, 38.0, -2.0, 266.0),
            (18_000.0, 45.0, -8.0, 253.0),
        ]
        .map(|(ft, u_kt, v_kt, kelvin)| LevelValue {
            datum: Datum::TrueAltitude,
            height_m: ft * FT,
            u_m_s: (u_kt + more_kt) * KT,
            v_m_s: v_kt * KT,
            temperature_k: Some(kelvin + warmer_k),
        })
        .to_vec(),
    };
    let stations = [
        station("W", -100.0, 0.0, 0.0),
        station("M", -97.0, 4.0, 0.5 * warmer_k),
        station("E", -93.5, 8.0, warmer_k),
    ];
    let calm = problem(aircraft.clone(), 300.0, CALM);
    let trip = Trip {
        title: "windy".into(),
        departure_time: jiff::Timestamp::UNIX_EPOCH,
        start: Default::default(),
        places: vec![
            place("AAAA", -100.0, 500.0),
            place("CCCC", -97.5, 0.0),
            place("BBBB", -93.5, 800.0),
        ],
        ground: vec![
            LegGround {
                ground: vec![(1e6, 100.0)],
                under_track: Vec::new(),
                minimum_m: 600.0,
                maximum_m: None,
                mountainous: false,
                source: "invented".into(),
            };
            2
        ],
        load_kg: calm.zero_fuel_kg - calm.aircraft.masses.empty_kg,
        fuel: FuelLoad::Kg(calm.fuel_kg),
        prices: calm.prices,
        weather: Weather {
            valid_until: None,
            sources: vec![],
            forecasts: vec![Forecast {
                valid: jiff::Timestamp::UNIX_EPOCH,
                field: WindField::new(&stations).expect("the invented stations are in order"),
            }],
            departure_altimeter_pa: altimeter_inhg.0 * IN,
            destination_altimeter_pa: altimeter_inhg.1 * IN,
            departure_temperature_k: None,
            destination_temperature_k: None,
        },
        objective: Objective::Time,
        limits: calm.limits.clone(),
        rules: Rules::UsVfr,
        night: false,
        variation_rad: Some(0.0),
        arrival: calm.arrival,
        alternate: None,
        bounds: Default::default(),
        airspace: Default::default(),
        notes: vec![],
    };
    resolve(&trip, aircraft).expect("the invented trip is in order")
}
