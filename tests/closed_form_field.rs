//! Interpolation of the wind field, station by station and on grids of any shape, against its own formulas worked another way.

use fellrun::air::field::Fill;
use fellrun::air::{Air, Datum, FieldError, LevelValue, Station, WindField};

/// Chains of trigonometry at the scale of the values.
const ROUNDING: f64 = 1e-9;
/// Mean radius of the Earth (IUGG R1), m.
const EARTH_M: f64 = 6_371_008.8;
/// Reach of a station, m (150 nm).
const REACH_M: f64 = 277_800.0;

/// A place with one level, high enough that nothing is filled in.
fn place(lat_deg: f64, lon_deg: f64, wind: [f64; 2], temperature_k: f64) -> Station {
    Station {
        name: format!("{lat_deg:.2} {lon_deg:.2}"),
        lat_deg,
        lon_deg,
        elevation_m: 0.0,
        levels: vec![LevelValue {
            datum: Datum::TrueAltitude,
            height_m: 3_000.0,
            u_m_s: wind[0],
            v_m_s: wind[1],
            temperature_k: Some(temperature_k),
        }],
    }
}

/// Great-circle distance [m] by the cosine theorem of the sphere; good to a metre from a mile on.
fn arc_m(a: (f64, f64), b: (f64, f64)) -> f64 {
    let (p, q) = (a.0.to_radians(), b.0.to_radians());
    let turn = (b.1 - a.1).to_radians();
    EARTH_M * (p.sin() * q.sin() + p.cos() * q.cos() * turn.cos()).acos()
}

/// Weights `((R - d)/(R d))^2` over their sum (Franke & Little, cited from memory), at a point with stations at unlike distances, one of them just
/// out of reach; that one alone is too far.
#[test]
fn closed_form_weights_of_franke_and_little() {
    // The cosine theorem loses digits at short distances: of a weight a millionth.
    const WEIGHT: f64 = 1e-6;
    let here = (44.0, 7.0);
    let stations = [
        (44.3, 7.1),
        (43.1, 6.2),
        (44.2, 9.1),
        (42.0, 8.5),
        (46.6, 6.9),
    ];
    let values = [2.0, -7.0, 11.0, 5.0, 100.0];
    let all: Vec<Station> = stations
        .iter()
        .zip(values)
        .map(|(&(lat, lon), x)| place(lat, lon, [x, -2.0 * x], 280.0 + 0.1 * x))
        .collect();
    let reach = stations.map(|s| arc_m(here, s));
    assert!(reach[..4].iter().all(|d| *d < REACH_M) && reach[4] > REACH_M);
    let weights: Vec<f64> = reach[..4]
        .iter()
        .map(|d| ((REACH_M - d) / (REACH_M * d)).powi(2))
        .collect();
    let sum: f64 = weights.iter().sum();
    let mean: f64 = weights.iter().zip(values).map(|(w, x)| w * x).sum::<f64>() / sum;
    let air = WindField::new(&all)
        .and_then(|f| f.at(here.0, here.1, 3_000.0, 3_000.0))
        .expect("in reach");
    assert!(
        (air.u_m_s - mean).abs() < WEIGHT * 11.0,
        "{} {mean}",
        air.u_m_s
    );
    assert!((air.v_m_s + 2.0 * mean).abs() < WEIGHT * 22.0);
    assert!((air.temperature_k - 280.0 - 0.1 * mean).abs() < WEIGHT);
    let far = WindField::new(&all[4..]).and_then(|f| f.at(here.0, here.1, 3_000.0, 3_000.0));
    let Err(FieldError::TooFar { distance_m, .. }) = far else {
        panic!("{far:?}");
    };
    assert!((distance_m - reach[4]).abs() < 1.0, "{distance_m}");
}

/// A grid: its name, the length of a row, and latitude and longitude of its points.
type Grid = (&'static str, usize, Vec<(f64, f64)>);

/// Grids of several shapes.
fn grids() -> Vec<Grid> {
    let square = |lat0: f64, lon0: f64, step: f64| -> Vec<(f64, f64)> {
        (0..6)
            .flat_map(|j| {
                (0..7).map(move |i| (lat0 + step * f64::from(j), lon0 + step * f64::from(i)))
            })
            .collect()
    };
    // Rotated by 30 degrees, and a slanted one whose rows shift.
    let turned = |lat0: f64, lon0: f64, shear: f64| -> Vec<(f64, f64)> {
        (0..6)
            .flat_map(|j| {
                (0..7).map(move |i| {
                    let (x, y) = (f64::from(i), f64::from(j));
                    (
                        lat0 + 0.5 * (0.5 * x + 0.866 * y),
                        lon0 + 0.6 * (0.866 * x - 0.5 * y + shear * y),
                    )
                })
            })
            .collect()
    };
    vec![
        ("square", 7, square(40.0, 5.0, 0.5)),
        ("over the antimeridian", 7, square(-20.0, 178.0, 0.7)),
        (
            "rows from north to south",
            7,
            square(40.0, 5.0, 0.5)
                .chunks(7)
                .rev()
                .flatten()
                .copied()
                .collect(),
        ),
        ("rotated", 7, turned(50.0, -10.0, 0.0)),
        ("slanted", 7, turned(-35.0, 140.0, 0.6)),
    ]
}

/// Points well inside a grid: between four of its points, by unlike shares.
fn inside(width: usize, points: &[(f64, f64)]) -> Vec<((f64, f64), [usize; 4])> {
    let mut all = Vec::new();
    for j in 0..points.len() / width - 1 {
        for i in 0..width - 1 {
            let low = j * width + i;
            let corners = [low, low + 1, low + width, low + width + 1];
            for (s, t) in [(0.5, 0.5), (0.13, 0.71), (0.92, 0.24), (0.31, 0.05)] {
                let w = [(1.0 - s) * (1.0 - t), s * (1.0 - t), (1.0 - s) * t, s * t];
                let mean = |f: &dyn Fn((f64, f64)) -> f64| -> f64 {
                    corners.iter().zip(w).map(|(&c, w)| w * f(points[c])).sum()
                };
                all.push(((mean(&|p| p.0), mean(&|p| p.1)), corners));
            }
        }
    }
    all
}

/// Bilinear weights reproduce what is linear on the plane they are made on: a temperature linear in the gnomonic coordinates about the
/// point is at the point what it is at its origin, on a grid of any shape. The coordinates by Snyder, *Map Projections: a working manual*,
/// equations 22-4 and 22-5 (from memory). Only the corners of the cell speak: every other point of the grid is far off.
#[test]
fn closed_form_bilinear_weights_on_any_grid() {
    for (name, width, points) in grids() {
        let mut checked = 0;
        for ((lat, lon), corners) in inside(width, &points) {
            let (p0, l0) = (lat.to_radians(), lon.to_radians());
            let stations: Vec<Station> = points
                .iter()
                .enumerate()
                .map(|(k, &(a, b))| {
                    let (p, l) = (a.to_radians(), b.to_radians());
                    let c = p0.sin() * p.sin() + p0.cos() * p.cos() * (l - l0).cos();
                    let x = p.cos() * (l - l0).sin() / c;
                    let y = (p0.cos() * p.sin() - p0.sin() * p.cos() * (l - l0).cos()) / c;
                    let t = 280.0 + 300.0 * x - 500.0 * y;
                    let far = if corners.contains(&k) { 0.0 } else { 20.0 };
                    place(a, b, [0.0, 0.0], t + far)
                })
                .collect();
            let air = WindField::on_mesh(width, &stations, &[])
                .and_then(|f| f.at(lat, lon, 3_000.0, 3_000.0))
                .unwrap_or_else(|e| panic!("{name} {lat} {lon}: {e}"));
            let off = air.temperature_k - 280.0;
            assert!(off.abs() < ROUNDING, "{name} {lat} {lon}: {off}");
            checked += 1;
        }
        assert_eq!(checked, 120, "{name}");
    }
}

/// A wind along one meridian that all the corners see, over the pole: the vector is one and the same in space, so it comes back turned by the
/// difference of longitudes. In the plane that touches the pole the components of a fixed direction at longitude `l` are its angle less `l`.
#[test]
fn closed_form_winds_turn_with_the_meridians_near_the_pole() {
    // The spherical turn is not quite the difference of longitudes two degrees off the pole: (1 - sin 88) of it.
    const TURNED: f64 = 2e-3;
    let wind = |lon_deg: f64| {
        // 20 m/s along the direction of longitude 30 as seen at the pole: north there points against the meridian one stands on.
        let angle = (30.0 - lon_deg).to_radians();
        [20.0 * angle.sin(), -20.0 * angle.cos()]
    };
    // A square of 4 by 4 in the plane that touches the pole, in degrees from it; no grid point is the pole.
    let mut points = Vec::new();
    for y in [-2.0, -0.7, 0.6, 2.0_f64] {
        for x in [-2.0, -0.6, 0.7, 2.0_f64] {
            let lon = y.atan2(x).to_degrees();
            points.push((90.0 - x.hypot(y), lon));
        }
    }
    let stations: Vec<Station> = points
        .iter()
        .map(|&(lat, lon)| place(lat, lon, wind(lon), 250.0))
        .collect();
    let field = WindField::on_mesh(4, &stations, &[]).expect("a grid");
    for (x, y) in [
        (0.1, 0.2),
        (-1.1, 0.3),
        (1.3, -1.2),
        (-0.2, -1.6),
        (1.6, 1.5_f64),
    ] {
        let lon = y.atan2(x).to_degrees();
        let air = field
            .at(90.0 - f64::hypot(x, y), lon, 3_000.0, 3_000.0)
            .expect("inside");
        let [u, v] = wind(lon);
        let off = (air.u_m_s - u).hypot(air.v_m_s - v);
        assert!(off < 20.0 * TURNED, "{x} {y}: {air:?} {u} {v}");
        // Turned, not stretched: four directions TURNED apart lose the square of that.
        let speed = air.u_m_s.hypot(air.v_m_s);
        assert!((speed - 20.0).abs() < 20.0 * 1e-5, "{x} {y}: {speed}");
    }
}

/// Outside the grid, and where all four corners are holes, there is no forecast; where one is, the others speak by their weights.
#[test]
fn closed_form_outside_a_grid_and_over_its_holes() {
    let (_, width, points) = grids().remove(0);
    let grid = |holes: &[usize]| {
        let stations: Vec<Station> = points
            .iter()
            .enumerate()
            .map(|(k, &(a, b))| {
                let mut station = place(a, b, [f64::from(k as u32), 0.0], 280.0);
                if holes.contains(&k) {
                    station.levels.clear();
                }
                station
            })
            .collect();
        WindField::on_mesh(width, &stations, &[]).expect("a grid")
    };
    let whole = grid(&[]);
    // 40 to 42.5 north, 5 to 8 east. A great circle bows 0.002 degrees outside the parallel between two points of the rim.
    for (lat, lon) in [(39.99, 6.3), (42.51, 6.3), (41.2, 4.99), (41.2, 8.01)] {
        let found = whole.at(lat, lon, 3_000.0, 3_000.0);
        let Err(FieldError::OffMesh { distance_m, .. }) = found else {
            panic!("{lat} {lon}: {found:?}");
        };
        let nearest = points
            .iter()
            .map(|p| arc_m((lat, lon), *p))
            .fold(f64::INFINITY, f64::min);
        assert!((distance_m - nearest).abs() < 1.0, "{distance_m} {nearest}");
    }
    for (lat, lon) in [
        (40.01, 6.3),
        (42.49, 6.3),
        (41.2, 5.01),
        (41.2, 7.99),
        (42.5, 8.0),
        (40.0, 5.0),
    ] {
        whole.at(lat, lon, 3_000.0, 3_000.0).expect("inside");
    }
    // The cell of grid points 8, 9, 15, 16 (40.5 to 41, 5.5 to 6), without the first: thirds of what is left in the middle, all but.
    let air = grid(&[8])
        .at(40.75, 5.75, 3_000.0, 3_000.0)
        .expect("three speak");
    assert!(
        (air.u_m_s - (9.0 + 15.0 + 16.0) / 3.0).abs() < 0.01,
        "{air:?}"
    );
    let hole = grid(&[8, 9, 15, 16]).at(40.75, 5.75, 3_000.0, 3_000.0);
    assert!(matches!(hole, Err(FieldError::Hole { .. })), "{hole:?}");
    // A grid needs two rows of two.
    let some = |count: usize| -> Vec<Station> {
        points[..count]
            .iter()
            .map(|&(a, b)| place(a, b, [0.0; 2], 280.0))
            .collect()
    };
    for (width, count) in [(1, 4), (0, 0), (2, 2), (2, 3), (3, 4), (4, 7)] {
        let found = WindField::on_mesh(width, &some(count), &[]);
        assert!(
            matches!(found, Err(FieldError::NoMesh { .. })),
            "{width} {count}"
        );
    }
    assert!(
        WindField::on_mesh(2, &some(4), &[]).is_ok()
            && WindField::on_mesh(2, &some(6), &[]).is_ok()
    );
}

/// A column at a place whose wind and temperature rise in a straight line with height: `2 + 0.004 h` m/s to the east, `290 - 0.005 h` K.
fn sloped(datum: Datum, heights_m: &[f64], lat_deg: f64, lon_deg: f64) -> Station {
    Station {
        levels: heights_m
            .iter()
            .map(|&height_m| LevelValue {
                datum,
                height_m,
                u_m_s: 2.0 + 0.004 * height_m,
                v_m_s: 0.0,
                temperature_k: Some(290.0 - 0.005 * height_m),
            })
            .collect(),
        ..place(lat_deg, lon_deg, [0.0; 2], 280.0)
    }
}

/// An observation at the ground: 12 m/s to the east, 295 K.
fn observed(elevation_m: f64, lat_deg: f64, lon_deg: f64) -> Station {
    let at_ground = LevelValue {
        datum: Datum::Surface,
        height_m: elevation_m,
        u_m_s: 12.0,
        v_m_s: 0.0,
        temperature_k: Some(295.0),
    };
    Station {
        elevation_m,
        levels: vec![at_ground],
        ..place(lat_deg, lon_deg, [0.0; 2], 280.0)
    }
}

/// Rule 3 of the field by hand: from the lowest level, or 1,500 ft (457.2 m, wind) and 2,500 ft (762 m, temperature) above the ground if that is
/// higher, in a straight line to the observation; as much of that as the observation has a say; and how far below the forecast that is.
#[test]
fn closed_form_down_to_an_observation() {
    let (lat, lon) = (45.0, 10.0);
    let low = [600.0, 2_000.0, 5_000.0];
    // 65 nm along the meridian, half-way from 30 to 100 nm: the smooth step is one half there.
    let half = (65.0 * 1852.0 / EARTH_M).to_degrees();
    // Datum of the column, lowest levels, degrees off, say of the observation.
    for (datum, off_deg, say) in [
        (Datum::TrueAltitude, 0.0, 1.0),
        (Datum::PressureAltitude, 0.0, 1.0),
        (Datum::TrueAltitude, half, 0.5),
        (Datum::PressureAltitude, half, 0.5),
    ] {
        let field = WindField::new(&[
            sloped(datum, &low, lat, lon),
            observed(500.0, lat + off_deg, lon),
        ])
        .expect("in order");
        // Pressure altitude 150 m above true altitude: a column is read in its own.
        let own = |true_m: f64| match datum {
            Datum::TrueAltitude => true_m,
            _ => true_m + 150.0,
        };
        let wind = |own_m: f64| 2.0 + 0.004 * f64::max(own_m, 600.0);
        // Below the lowest temperature 1.98 K per 1,000 ft.
        let warmth = |own_m: f64| {
            290.0 - 0.005 * f64::max(own_m, 600.0) + 1.98 / 304.8 * (600.0 - own_m).max(0.0)
        };
        for true_m in [
            380.0, 500.0, 520.0, 700.0, 950.0, 1_000.0, 1_200.0, 1_300.0, 2_400.0,
        ] {
            let air = field
                .at(lat, lon, true_m, true_m + 150.0)
                .expect("under the top");
            let above = true_m - 500.0;
            let below = (600.0 - own(true_m)).max(0.0);
            let mut want = (wind(own(true_m)), warmth(own(true_m)), below, below);
            for (bottom, temperature) in [(457.2, false), (762.0, true)] {
                let bottom = f64::max(above + below, bottom);
                if above >= bottom {
                    continue;
                }
                let from = own(true_m) + bottom - above;
                let down = (1.0 - above / bottom).min(1.0);
                if temperature {
                    let under = 1.98 / 304.8 * (-above).max(0.0);
                    let joined = warmth(from) + down * (295.0 - warmth(from)) + under;
                    want.1 += say * (joined - want.1);
                    want.3 = f64::max(below, say * (bottom - above));
                } else {
                    let joined = wind(from) + down * (12.0 - wind(from));
                    want.0 += say * (joined - want.0);
                    want.2 = f64::max(below, say * (bottom - above));
                }
            }
            let what = format!("{datum:?} {off_deg} {true_m}: {air:?} {want:?}");
            assert!((air.u_m_s - want.0).abs() < ROUNDING, "{what}");
            assert!((air.temperature_k - want.1).abs() < ROUNDING, "{what}");
            assert!((air.fill.wind_below_m - want.2).abs() < 1e-6, "{what}");
            assert!(
                (air.fill.temperature_below_m - want.3).abs() < 1e-6,
                "{what}"
            );
            assert_eq!(
                air.fill.surface_used,
                want.2 > 0.0 || want.3 > 0.0,
                "{what}"
            );
        }
    }
}

/// Above the highest temperature the standard lapse of 6.5 K/km goes on, where winds go higher.
#[test]
fn closed_form_above_the_highest_temperature() {
    for datum in [Datum::TrueAltitude, Datum::PressureAltitude] {
        let mut station = sloped(datum, &[1_000.0, 3_000.0, 6_000.0], 45.0, 10.0);
        station.levels[2].temperature_k = None;
        let field = WindField::new(&[station]).expect("in order");
        for own_m in [3_000.0, 3_500.0, 5_900.0] {
            let (true_m, pressure_m) = match datum {
                Datum::TrueAltitude => (own_m, own_m - 400.0),
                _ => (own_m - 400.0, own_m),
            };
            let air = field
                .at(45.0, 10.0, true_m, pressure_m)
                .expect("under the top");
            let want = 275.0 - 0.006_5 * (own_m - 3_000.0);
            assert!(
                (air.temperature_k - want).abs() < ROUNDING,
                "{datum:?} {own_m}"
            );
        }
        let top = field.at(45.0, 10.0, 6_100.0, 6_100.0);
        let Err(FieldError::AboveTop {
            height_m,
            top_m,
            datum: of,
        }) = top
        else {
            panic!("{top:?}");
        };
        assert_eq!((height_m, top_m, of), (6_100.0, 6_000.0, datum));
    }
}

/// What an answer owes to its filling is owed by the blend of two as well, whichever of them owes it; without a forecast the air is
/// standard, warmer by the deviation.
#[test]
fn closed_form_a_blend_owes_what_either_owes() {
    let plain = Air::standard(0.0, 10.0);
    assert!((plain.temperature_k - 298.15).abs() < ROUNDING);
    for bits in 0..16_u32 {
        let flag = |k: u32| bits & (1 << k) != 0;
        let with = |surface_used, standard_temperature, below| Air {
            fill: Fill {
                surface_used,
                standard_temperature,
                wind_below_m: below,
                temperature_below_m: 2.0 * below,
            },
            ..plain
        };
        let (a, b) = (with(flag(0), flag(1), 100.0), with(flag(2), flag(3), 250.0));
        for (first, second) in [(a, b), (b, a)] {
            let fill = first.between(&second, 0.3).fill;
            assert_eq!(fill.surface_used, flag(0) || flag(2));
            assert_eq!(fill.standard_temperature, flag(1) || flag(3));
            assert_eq!(
                (fill.wind_below_m, fill.temperature_below_m),
                (250.0, 500.0)
            );
        }
    }
}

/// Of several columns that end below a point the one that ends nearest to it is told; a point has both its heights, and a pole is a place.
#[test]
fn closed_form_what_is_told_of_points_that_have_no_air() {
    let column =
        |top_m: f64, lon_deg: f64| sloped(Datum::TrueAltitude, &[1_000.0, top_m], 45.0, lon_deg);
    for tops in [[4_000.0, 5_000.0], [5_000.0, 4_000.0]] {
        let field =
            WindField::new(&[column(tops[0], 9.9), column(tops[1], 10.2)]).expect("in order");
        assert_eq!(field.station_count(), 2);
        let Err(FieldError::AboveTop {
            height_m, top_m, ..
        }) = field.at(45.0, 10.0, 6_000.0, 6_000.0)
        else {
            panic!("above both");
        };
        assert_eq!((height_m, top_m), (6_000.0, 5_000.0));
        for (true_m, pressure_m) in [
            (f64::NAN, 2_000.0),
            (2_000.0, f64::NAN),
            (f64::INFINITY, 2_000.0),
        ] {
            assert_eq!(
                field.at(45.0, 10.0, true_m, pressure_m),
                Err(FieldError::BadPoint)
            );
        }
        for (lat, lon) in [
            (90.1, 10.0),
            (-90.1, 10.0),
            (f64::NAN, 10.0),
            (45.0, f64::NAN),
        ] {
            assert_eq!(
                field.at(lat, lon, 2_000.0, 2_000.0),
                Err(FieldError::BadPoint)
            );
        }
    }
    let pole = sloped(Datum::TrueAltitude, &[1_000.0, 4_000.0], 90.0, 0.0);
    assert!(
        WindField::new(&[pole])
            .expect("in order")
            .at(90.0, 77.0, 2_000.0, 2_000.0)
            .is_ok()
    );
}

/// An observation of wind alone takes part where it changes the wind, and nowhere else.
#[test]
fn closed_form_an_observation_without_temperature() {
    let mut ground = observed(500.0, 45.0, 10.0);
    ground.levels[0].temperature_k = None;
    let field = WindField::new(&[
        sloped(Datum::TrueAltitude, &[600.0, 5_000.0], 45.0, 10.0),
        ground,
    ])
    .expect("in order");
    for (true_m, used) in [
        (700.0, true),
        (950.0, true),
        (960.0, false),
        (1_200.0, false),
    ] {
        let fill = field.at(45.0, 10.0, true_m, true_m).expect("inside").fill;
        assert_eq!(
            (fill.surface_used, fill.wind_below_m > 0.0),
            (used, used),
            "{true_m}"
        );
        assert_eq!(fill.temperature_below_m, 0.0);
    }
}

/// Figures of a station in the wrong unit are refused on either side of their range.
#[test]
fn closed_form_stations_out_of_range() {
    let good = || place(45.0, 10.0, [5.0, 5.0], 280.0);
    assert!(WindField::new(&[good()]).is_ok());
    let changes: [fn(&mut Station); 13] = [
        |s| s.lat_deg = 90.5,
        |s| s.lat_deg = -90.5,
        |s| s.lon_deg = 721.0,
        |s| s.lon_deg = -721.0,
        |s| s.elevation_m = 30_001.0,
        |s| s.elevation_m = -1_001.0,
        |s| s.levels[0].height_m = 30_001.0,
        |s| s.levels[0].height_m = -1_001.0,
        |s| s.levels[0].u_m_s = 201.0,
        |s| s.levels[0].v_m_s = -201.0,
        |s| s.levels[0].v_m_s = 201.0,
        |s| s.levels[0].temperature_k = Some(149.0),
        |s| s.levels[0].temperature_k = Some(351.0),
    ];
    for (i, change) in changes.iter().enumerate() {
        let mut station = good();
        change(&mut station);
        let got = WindField::new(&[station]);
        assert!(
            matches!(got, Err(FieldError::OutOfRange { .. })),
            "{i}: {got:?}"
        );
    }
}
