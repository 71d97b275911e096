//! The field of winds made of a bulletin and the places of its stations.

use super::{HIGH, JANUARY, LOW, ROUNDING, at, one, with_row};
use fellrun::air::Air;
use fellrun::files::bulletin::{Note, decode};
use fellrun::files::stations::{StationPosition, find_station};
use fellrun::files::winds::{WindsError, surface_station, wind_slices};
use fellrun::quantity::{M_PER_FT as FT, M_S_PER_KT as KT};

// --- stations and the field --------------------------------------------------------------------------------------

#[test]
fn published_station_table() {
    // 157 of the 176 stations of a whole bulletin are placed (tests/data/fb/SOURCE.md)
    let bulletin = one(JANUARY);
    let placed = bulletin
        .stations
        .iter()
        .filter(|s| find_station(&s.id).is_some());
    assert_eq!((bulletin.stations.len(), placed.count()), (176, 157));
    let abi = find_station("ABI").unwrap();
    // data/fb/fb_stations_from_airportsdata.csv: 32.411333, -99.681889, 1,790.6 ft
    assert_eq!((abi.lat_deg, abi.lon_deg), (32.411_333, -99.681_889));
    assert!((abi.elevation_m / FT - 1_790.6).abs() < ROUNDING);
    assert_eq!(find_station("ZUN"), None);
    assert_eq!(find_station(""), None);
}

#[test]
fn closed_form_field_from_bulletins() {
    let reference = at("2026-03-03T20:00Z");
    let bulletins = decode(&[LOW, HIGH].concat()).unwrap();
    let slices = wind_slices(&bulletins, reference, &[], &[]).unwrap();
    assert_eq!(
        slices.len(),
        1,
        "low and high levels of one valid time are one field"
    );
    assert_eq!(slices[0].times.valid, at("2026-03-04T00:00Z"));
    let abi = find_station("ABI").unwrap();
    let read = |feet: f64| {
        slices[0]
            .field
            .at(abi.lat_deg, abi.lon_deg, feet * FT, feet * FT)
            .unwrap()
    };
    // at the station and level: 6,000 ft 050/17 +6; 53,000 ft 270/54 -66
    let air = read(6_000.0);
    let (sin, cos) = 50_f64.to_radians().sin_cos();
    assert!(
        (air.u_m_s + 17.0 * KT * sin).abs() < ROUNDING
            && (air.v_m_s + 17.0 * KT * cos).abs() < ROUNDING
    );
    assert!((air.temperature_k - 279.15).abs() < ROUNDING);
    assert!((read(53_000.0).u_m_s - 54.0 * KT).abs() < ROUNDING);
    // different valid times are different slices, earliest first
    let two = decode(
        &[
            JANUARY.replace(
                "VALID 310600Z   FOR USE 0200-0900Z",
                "VALID 311200Z   FOR USE 0900-1800Z",
            ),
            JANUARY.to_owned(),
        ]
        .concat(),
    )
    .unwrap();
    let slices = wind_slices(&two, at("2026-01-31T00:00Z"), &[], &[]).unwrap();
    assert_eq!(slices.len(), 2);
    assert!(slices[0].times.valid < slices[1].times.valid);
    // 19 stations have no known position: skipped, with a note each; a position given by the user places one
    let unknown = |notes: &[Note]| {
        notes
            .iter()
            .filter(|n| matches!(n, Note::UnknownStation { .. }))
            .count()
    };
    assert_eq!(
        (unknown(&slices[0].notes), slices[0].field.station_count()),
        (19, 157)
    );
    let own = [StationPosition {
        id: "ZUN".to_owned(),
        lat_deg: 34.97,
        lon_deg: -109.15,
        elevation_m: 1_980.0,
    }];
    let field = &wind_slices(&two, at("2026-01-31T00:00Z"), &own, &[]).unwrap()[0];
    assert_eq!(
        (unknown(&field.notes), field.field.station_count()),
        (18, 158)
    );
    assert!(matches!(
        wind_slices(&[], reference, &[], &[]),
        Err(WindsError::NoBulletin)
    ));
    let nowhere = one(&with_row("QQQ 2715 2715+05"));
    assert!(matches!(
        wind_slices(&[nowhere], at("2026-01-31T00:00Z"), &[], &[]),
        Err(WindsError::NoPosition { count: 1, .. })
    ));
}

/// Reads the January field along a straight line in latitude and longitude, `steps` steps.
fn along(field: &fellrun::air::WindField, steps: usize, feet: f64) -> Vec<Air> {
    (0..=steps)
        .map(|i| {
            let f = i as f64 / steps as f64;
            field
                .at(34.0 + 7.0 * f, -117.0 + 42.0 * f, feet * FT, feet * FT)
                .unwrap()
        })
        .collect()
}

#[test]
fn crosscheck_real_field_is_continuous_along_a_route() {
    let denver = StationPosition {
        id: "F".to_owned(),
        ..find_station("DEN").unwrap()
    };
    let surface = [surface_station(&denver, (3.0, -2.0), Some(272.0))];
    let slices = wind_slices(
        &decode(JANUARY).unwrap(),
        at("2026-01-31T00:00Z"),
        &[],
        &surface,
    )
    .unwrap();
    // some 2,000 nm across the country, over dozens of stations coming and going. A continuous field's largest jump shrinks with the
    // step (ten times finer: ten times smaller); a station dropping out with weight would leave it as it was. 0.2 allows for the
    // coarse steps missing the steepest place.
    const SHRINK: f64 = 0.2;
    for feet in [3_000.0, 7_500.0, 11_500.0, 16_000.0] {
        let jump = |steps: usize| {
            let air = along(&slices[0].field, steps, feet);
            air.windows(2)
                .map(|w| {
                    (w[1].u_m_s - w[0].u_m_s)
                        .abs()
                        .max((w[1].v_m_s - w[0].v_m_s).abs())
                        .max((w[1].temperature_k - w[0].temperature_k).abs())
                })
                .fold(0.0, f64::max)
        };
        let (coarse, fine) = (jump(2_000), jump(20_000));
        println!("{feet} ft: largest jump {coarse:.4} per nm, {fine:.5} per 0.1 nm");
        assert!(
            coarse > 0.0 && fine < SHRINK * coarse,
            "{feet}: {coarse} {fine}"
        );
    }
    // the same up and down one place, through all levels
    let column = |steps: usize| {
        let air: Vec<Air> = (0..=steps)
            .map(|i| {
                let h = 12_000.0 * i as f64 / steps as f64 * 0.98;
                slices[0].field.at(39.0, -103.0, h, h + 50.0).unwrap()
            })
            .collect();
        air.windows(2)
            .map(|w| {
                (w[1].u_m_s - w[0].u_m_s)
                    .hypot(w[1].v_m_s - w[0].v_m_s)
                    .max((w[1].temperature_k - w[0].temperature_k).abs())
            })
            .fold(0.0, f64::max)
    };
    let (coarse, fine) = (column(1_000), column(10_000));
    assert!(coarse > 0.0 && fine < SHRINK * coarse, "{coarse} {fine}");
}

#[test]
fn crosscheck_real_field_gives_back_every_station() {
    let bulletin = one(JANUARY);
    let slices = wind_slices(
        std::slice::from_ref(&bulletin),
        at("2026-01-31T00:00Z"),
        &[],
        &[],
    )
    .unwrap();
    let mut checked = 0;
    for row in &bulletin.stations {
        let Some(place) = find_station(&row.id) else {
            continue;
        };
        for (level, group) in bulletin.levels.iter().zip(&row.levels) {
            let Some(group) = group else { continue };
            let h = level.height_m;
            let air = slices[0]
                .field
                .at(place.lat_deg, place.lon_deg, h, h)
                .unwrap();
            let (u, v) = group.vector_m_s();
            assert!(
                (air.u_m_s - u).abs() < ROUNDING && (air.v_m_s - v).abs() < ROUNDING,
                "{}",
                place.id
            );
            if let Some(t) = group.temperature_k {
                assert!((air.temperature_k - t).abs() < ROUNDING);
            }
            checked += 1;
        }
    }
    assert!(checked > 1_000, "{checked}");
}
