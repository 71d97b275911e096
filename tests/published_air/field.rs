//! The field of winds and temperatures between stations, levels and times.

use super::{ROUNDING, cases, close};
use Datum::{PressureAltitude as P, Surface as S, TrueAltitude as T};
use fellrun::air::triangle::wind_vector_m_s;
use fellrun::air::{Air, Datum, FieldError, LevelValue, Station, WindField, field};
use fellrun::quantity::{M_PER_FT as FT, M_S_PER_KT as KT};
use proptest::prelude::*;

// --- wind field --------------------------------------------------------------------------------------------------

fn level(datum: Datum, feet: f64, from_deg: f64, kt: f64, celsius: Option<f64>) -> LevelValue {
    let (u_m_s, v_m_s) = wind_vector_m_s(from_deg.to_radians(), kt * KT);
    let temperature_k = celsius.map(|c| c + 273.15);
    LevelValue {
        datum,
        height_m: feet * FT,
        u_m_s,
        v_m_s,
        temperature_k,
    }
}

fn station(name: &str, lat_deg: f64, lon_deg: f64, levels: Vec<LevelValue>) -> Station {
    Station {
        name: name.to_owned(),
        lat_deg,
        lon_deg,
        elevation_m: 300.0,
        levels,
    }
}

/// A column as in bulletins: 3,000 to 18,000 ft, temperatures from 6,000 ft.
fn column() -> Vec<LevelValue> {
    vec![
        level(T, 3_000.0, 350.0, 20.0, None),
        level(T, 6_000.0, 10.0, 20.0, Some(6.0)),
        level(T, 9_000.0, 30.0, 30.0, Some(2.0)),
        level(T, 12_000.0, 270.0, 40.0, Some(-4.0)),
        level(P, 18_000.0, 270.0, 60.0, Some(-16.0)),
    ]
}

fn read(field: &WindField, feet: f64) -> Air {
    field.at(40.0, -100.0, feet * FT, feet * FT).unwrap()
}

#[test]
fn closed_form_vertical_interpolation_is_of_vectors() {
    let field = WindField::new(&[station("A", 40.0, -100.0, column())]).unwrap();
    // half-way between 350/20 and 010/20: from north at 20 cos 10 = 19.696 kt. Averaging directions would give 180.
    let air = read(&field, 4_500.0);
    close(air.u_m_s, 0.0, ROUNDING, "u");
    close(
        air.v_m_s / KT,
        -20.0 * 10_f64.to_radians().cos(),
        ROUNDING,
        "v",
    );
    // at a level, the level
    let air = read(&field, 9_000.0);
    let (u, v) = wind_vector_m_s(30_f64.to_radians(), 30.0 * KT);
    assert_eq!((air.u_m_s, air.v_m_s), (u, v));
    close(
        air.temperature_k,
        275.15,
        ROUNDING,
        "temperature at a level",
    );
    assert_eq!(air.fill, field::Fill::default());
    // 10,500 ft: mean of 30/30 and 270/40
    let air = read(&field, 10_500.0);
    close(air.temperature_k, 272.15, ROUNDING, "temperature between");
    close(air.u_m_s / KT, (40.0 - 15.0) / 2.0, 1e-8, "u between");
    // between the last true and the first pressure level the two fractions are joined: true 14,000 ft (2,000 above) and
    // pressure altitude 14,000 ft (4,000 to go) is a third of the way
    let air = read(&field, 14_000.0);
    close(air.u_m_s / KT, 40.0 + 20.0 / 3.0, 1e-8, "u in the gap");
    close(
        air.temperature_k,
        269.15 - 12.0 / 3.0,
        1e-8,
        "temperature in the gap",
    );
    // a true altitude of 12,000 ft reads the 12,000 ft level whatever the pressure altitude
    let air = field
        .at(40.0, -100.0, 12_000.0 * FT, 11_000.0 * FT)
        .unwrap();
    close(air.u_m_s / KT, 40.0, 1e-8, "true level");
    // a pressure altitude of 18,000 ft reads the 18,000 ft level whatever the true altitude
    let air = field
        .at(40.0, -100.0, 17_000.0 * FT, 18_000.0 * FT)
        .unwrap();
    close(air.u_m_s / KT, 60.0, 1e-8, "pressure level");
}

#[test]
fn closed_form_below_the_lowest_level() {
    let field = WindField::new(&[station("A", 40.0, -100.0, column())]).unwrap();
    // the lowest wind is held; temperature rises 1.98 C per 1,000 ft from the 6,000 ft level (+6 C) downwards
    let air = read(&field, 1_000.0);
    let (u, v) = wind_vector_m_s(350_f64.to_radians(), 20.0 * KT);
    assert_eq!((air.u_m_s, air.v_m_s), (u, v));
    close(
        air.temperature_k,
        279.15 + 1.98 * 5.0,
        ROUNDING,
        "filled temperature",
    );
    close(air.fill.wind_below_m / FT, 2_000.0, 1e-9, "wind span");
    close(
        air.fill.temperature_below_m / FT,
        5_000.0,
        1e-9,
        "temperature span",
    );
    assert!(!air.fill.surface_used);
    // at 3,000 ft, where wind is forecast but temperature is not
    let air = read(&field, 3_000.0);
    close(
        air.temperature_k,
        279.15 + 1.98 * 3.0,
        ROUNDING,
        "filled temperature",
    );
    assert_eq!(air.fill.wind_below_m, 0.0);
}

#[test]
fn closed_form_surface_observation() {
    // field at 1,000 ft, wind 350/08, +17 C, at the station's place: both run linearly from the lowest level to it
    let surface = Station {
        elevation_m: 1_000.0 * FT,
        ..station(
            "F",
            40.0,
            -100.0,
            vec![level(S, 1_000.0, 350.0, 8.0, Some(17.0))],
        )
    };
    let field = WindField::new(&[station("A", 40.0, -100.0, column()), surface.clone()]).unwrap();
    let air = read(&field, 1_000.0);
    close(
        air.u_m_s.hypot(air.v_m_s) / KT,
        8.0,
        ROUNDING,
        "at the field",
    );
    close(air.temperature_k, 290.15, ROUNDING, "at the field");
    assert!(air.fill.surface_used);
    // half-way from 3,000 ft (20 kt) to 1,000 ft (8 kt): 14 kt; temperature 2/5 of the way from 17 at 1,000 to 6 at 6,000
    let air = read(&field, 2_000.0);
    close(air.u_m_s.hypot(air.v_m_s) / KT, 14.0, 1e-8, "half-way");
    close(
        air.temperature_k,
        290.15 - 11.0 / 5.0,
        1e-8,
        "a fifth of the way up",
    );
    // at and above the lowest level the forecast
    let air = read(&field, 3_000.0);
    close(air.u_m_s.hypot(air.v_m_s) / KT, 20.0, 1e-8, "lowest level");
    // beyond 100 nm the observation has no say
    let far = Station {
        lat_deg: 41.8,
        ..surface
    };
    let field = WindField::new(&[station("A", 40.0, -100.0, column()), far]).unwrap();
    close(
        read(&field, 1_000.0)
            .u_m_s
            .hypot(read(&field, 1_000.0).v_m_s)
            / KT,
        20.0,
        1e-8,
        "far",
    );
    // a high field (8,000 ft) below a plains column: the observation holds at the field, the forecast 2,500 ft above it
    let high = Station {
        elevation_m: 8_000.0 * FT,
        ..station(
            "H",
            40.0,
            -100.0,
            vec![level(S, 8_000.0, 0.0, 0.0, Some(10.0))],
        )
    };
    let field = WindField::new(&[station("A", 40.0, -100.0, column()), high]).unwrap();
    let air = read(&field, 8_000.0);
    close(
        air.u_m_s.hypot(air.v_m_s),
        0.0,
        ROUNDING,
        "calm at the high field",
    );
    close(air.temperature_k, 283.15, ROUNDING, "at the high field");
    close(
        read(&field, 10_500.0).temperature_k,
        272.15,
        ROUNDING,
        "2,500 ft above it",
    );
}

#[test]
fn closed_form_limits_of_the_field() {
    let field = WindField::new(&[station("A", 40.0, -100.0, column())]).unwrap();
    assert!(field.at(40.0, -100.0, 18_000.0 * FT, 18_000.0 * FT).is_ok());
    let error = field
        .at(40.0, -100.0, 19_000.0 * FT, 19_000.0 * FT)
        .unwrap_err();
    assert!(
        matches!(error, FieldError::AboveTop { datum: P, .. }),
        "{error}"
    );
    // one degree of latitude is 60.04 nm on the sphere used: 2.49 degrees is inside 150 nm, 2.51 is outside
    assert!(field.at(42.49, -100.0, 3_000.0, 3_000.0).is_ok());
    let error = field.at(42.51, -100.0, 3_000.0, 3_000.0).unwrap_err();
    assert!(
        matches!(&error, FieldError::TooFar { station, .. } if station == "A"),
        "{error}"
    );
    // the other side of the date line is near
    let field = WindField::new(&[station("A", 40.0, 179.9, column())]).unwrap();
    assert!(field.at(40.0, -179.9, 3_000.0, 3_000.0).is_ok());
    assert_eq!(field.at(f64::NAN, 0.0, 0.0, 0.0), Err(FieldError::BadPoint));
    assert_eq!(field.at(91.0, 0.0, 0.0, 0.0), Err(FieldError::BadPoint));
    assert_eq!(WindField::new(&[]), Err(FieldError::NoForecast));
    let twice = vec![
        level(T, 3_000.0, 0.0, 1.0, None),
        level(T, 3_000.0, 0.0, 2.0, None),
    ];
    let error = WindField::new(&[station("A", 0.0, 0.0, twice)]).unwrap_err();
    assert!(matches!(error, FieldError::SameHeight { .. }));
    let nan = vec![level(T, f64::NAN, 0.0, 1.0, None)];
    let error = WindField::new(&[station("A", 0.0, 0.0, nan)]).unwrap_err();
    assert!(matches!(error, FieldError::OutOfRange { .. }));
    let order = vec![
        level(T, 12_000.0, 0.0, 1.0, None),
        level(P, 11_000.0, 0.0, 1.0, None),
    ];
    let error = WindField::new(&[station("A", 0.0, 0.0, order)]).unwrap_err();
    assert!(matches!(error, FieldError::DatumOrder { .. }));
}

#[test]
fn closed_form_horizontal_interpolation_is_of_vectors() {
    // two stations on one meridian with 350/20 and 010/20: half-way from the north; with 360/20 and 180/20: calm
    let pair = |a: f64, b: f64| {
        WindField::new(&[
            station(
                "A",
                39.5,
                -100.0,
                vec![level(T, 3_000.0, a, 20.0, Some(5.0))],
            ),
            station(
                "B",
                40.5,
                -100.0,
                vec![level(T, 3_000.0, b, 20.0, Some(7.0))],
            ),
        ])
        .unwrap()
    };
    let air = read(&pair(350.0, 10.0), 3_000.0);
    close(air.u_m_s, 0.0, ROUNDING, "u");
    close(
        air.v_m_s / KT,
        -20.0 * 10_f64.to_radians().cos(),
        ROUNDING,
        "v",
    );
    close(air.temperature_k, 279.15, ROUNDING, "temperature");
    close(
        read(&pair(0.0, 180.0), 3_000.0).v_m_s,
        0.0,
        ROUNDING,
        "calm",
    );
}

#[test]
fn closed_form_blend_of_two_times() {
    let a = Air {
        u_m_s: 10.0,
        ..Air::standard(0.0, 0.0)
    };
    let b = Air {
        u_m_s: -10.0,
        temperature_k: 278.15,
        ..a
    };
    let mid = a.between(&b, 0.25);
    close(mid.u_m_s, 5.0, ROUNDING, "u");
    close(mid.temperature_k, 288.15 - 2.5, ROUNDING, "temperature");
}

fn places() -> impl Strategy<Value = Vec<(f64, f64)>> {
    proptest::collection::vec((38.0..42.0_f64, -103.0..-97.0_f64), 1..12)
}

proptest! {
    #![proptest_config(cases(256))]

    #[test]
    fn closed_form_constant_field_comes_back_exactly(
        places in places(), u in -50.0..50.0_f64, v in -50.0..50.0_f64, t in 220.0..310.0_f64,
        lat in 38.0..42.0_f64, lon in -103.0..-97.0_f64, h in 1_000.0..5_000.0_f64, surface in any::<bool>(),
    ) {
        let levels = |datum: Datum| vec![
            LevelValue { datum, height_m: 1_000.0, u_m_s: u, v_m_s: v, temperature_k: Some(t) },
        ];
        let mut stations: Vec<Station> = places.iter().map(|&(lat, lon)| {
            let mut both = levels(T);
            both.push(LevelValue { datum: P, height_m: 5_500.0, ..both[0] });
            station("X", lat, lon, both)
        }).collect();
        if surface {
            stations.push(station("S", 40.0, -100.0, levels(S)));
        }
        if let Ok(air) = WindField::new(&stations).unwrap().at(lat, lon, h, h) {
            prop_assert_eq!((air.u_m_s, air.v_m_s), (u, v));
            if !surface {
                prop_assert_eq!(air.temperature_k, t);
            }
        }
    }

    #[test]
    fn closed_form_stations_come_back(places in places(), seed in 0.0..100.0_f64) {
        let value = |i: usize| (seed + 13.0 * i as f64) % 40.0 - 20.0;
        let stations: Vec<Station> = places.iter().enumerate().map(|(i, &(lat, lon))| {
            let l = LevelValue { datum: T, height_m: 2_000.0, u_m_s: value(i), v_m_s: -value(i), temperature_k: Some(280.0 + value(i)) };
            station("X", lat, lon, vec![l])
        }).collect();
        let field = WindField::new(&stations).unwrap();
        for (i, s) in stations.iter().enumerate() {
            let air = field.at(s.lat_deg, s.lon_deg, 2_000.0, 2_000.0).unwrap();
            prop_assert!((air.u_m_s - value(i)).abs() < 1e-12);
            prop_assert!((air.temperature_k - 280.0 - value(i)).abs() < 1e-9);
        }
    }

    #[test]
    fn closed_form_answers_stay_between_the_stations(
        places in places(), lat in 38.0..42.0_f64, lon in -103.0..-97.0_f64,
    ) {
        let stations: Vec<Station> = places.iter().enumerate().map(|(i, &(lat, lon))| {
            let l = LevelValue { datum: T, height_m: 2_000.0, u_m_s: i as f64, v_m_s: 0.0, temperature_k: None };
            station("X", lat, lon, vec![l])
        }).collect();
        if let Ok(air) = WindField::new(&stations).unwrap().at(lat, lon, 2_000.0, 2_000.0) {
            prop_assert!(air.u_m_s >= -1e-12 && air.u_m_s <= (places.len() - 1) as f64 + 1e-12);
            prop_assert!(air.fill.standard_temperature);
        }
    }
}
