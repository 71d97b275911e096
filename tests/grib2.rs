//! GRIB2 files of weather models, against values decoded by other code.

use fellrun::air::{FieldError, Station, WindField, isa};
use fellrun::earth::place::Position;
use fellrun::files::grib2::{Area, Ask, GridForecast, GridPoint, read};
use fellrun::files::trip::parse_trip;
use fellrun::quantity::{M_PER_FT, M_PER_NM};
use fellrun::solve::plan_trip;
use fellrun::trip::SourceKind;
use std::path::{Path, PathBuf};

const GFS: &str = "gfs_2p5deg_20111008T00Z_f072_small_T_GH_UV.grib2";
const NAM: &str = "nam_lambert_20180917T00Z_f000_awp211.grib2";
const FLUX: &str = "gfs_flux_jpeg2000_template5.40.grib2";
/// Of single precision at 10,000 m half a unit in the last place is 0.0005; a wrong scale or point is off by far more.
const AS_DECODED: f64 = 1e-3;

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/grib")
        .join(name)
}

/// Everything around a place within a distance \[nm\], at all times and heights.
fn around(name: &str, lat: f64, lon: f64, radius_nm: f64) -> GridForecast {
    let ask = Ask {
        area: Area {
            middle: Position::new(lat, lon).expect("a position"),
            radius_m: radius_nm * M_PER_NM,
        },
        from: "1900-01-01T00:00:00Z".parse().expect("a time"),
        to: "2200-01-01T00:00:00Z".parse().expect("a time"),
        top_m: 30_000.0,
    };
    let mut all = read(&[data(name)], &ask).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(all.len(), 1, "one time");
    all.remove(0)
}

/// The grid point at a place.
fn at(forecast: &GridForecast, lat: f64, lon: f64) -> &GridPoint {
    let same = |p: &&GridPoint| {
        (p.lat_deg - lat).abs() < 1e-6
            && (p.lon_deg - lon)
                .rem_euclid(360.0)
                .min((lon - p.lon_deg).rem_euclid(360.0))
                < 1e-6
    };
    forecast
        .points
        .iter()
        .find(same)
        .expect("a grid point there")
}

#[test]
fn crosscheck_every_reference_value() {
    // 36 fields at 12 points, decoded by ecCodes 2.50.0 (tests/data/grib/SOURCE.md).
    let whole = around(GFS, 0.0, 0.0, 10_900.0);
    assert_eq!(whole.valid.to_string(), "2011-10-11T00:00:00Z");
    assert_eq!(whole.run.to_string(), "2011-10-08T00:00:00Z");
    assert!(whole.notes.is_empty(), "{:?}", whole.notes);
    let mut checked = 0;
    let mut rows = csv::Reader::from_path(data("gfs_small_reference_values.csv")).expect("opens");
    for row in rows.records() {
        let row = row.expect("a row");
        let number = |i: usize| row[i].parse::<f64>().expect("a number");
        let point = at(&whole, number(2), number(3));
        let level = point
            .levels
            .iter()
            .find(|l| l.pressure_pa == 100.0 * number(1))
            .expect("the level");
        let value = match &row[0] {
            "gh" => level.height_m.expect("a height"),
            "t" => level.temperature_k.expect("a temperature"),
            "u" => level.u_m_s,
            "v" => level.v_m_s,
            other => panic!("{other}"),
        };
        assert!((value - number(4)).abs() < AS_DECODED, "{row:?}: {value}");
        checked += 1;
    }
    assert_eq!(checked, 432);
}

#[test]
fn published_only_the_points_near_the_route_are_kept() {
    // 60 nm about Denver on a grid of 2.5 degrees: the cells that reach into it and some more, of 10,512 grid points.
    let near = around(GFS, 39.75, -104.87, 60.0);
    assert!(near.points.len() < 120, "{}", near.points.len());
    at(&near, 40.0, 255.0);
    // Across the meridian where the rows of the file begin, and across a pole, nothing is torn.
    for (lat, lon) in [
        (51.5, 0.5),
        (51.5, -1.0),
        (-35.2, 179.9),
        (89.9, 30.0),
        (-89.0, -100.0),
    ] {
        let forecast = around(GFS, lat, lon, 60.0);
        let stations: Vec<Station> = forecast.points.iter().map(|p| p.station(0.0)).collect();
        let field = WindField::on_mesh(forecast.width, &stations, &[]).expect("a field");
        field
            .at(lat, lon, 3_000.0, 3_000.0)
            .unwrap_or_else(|e| panic!("{lat} {lon}: {e}"));
    }
}

#[test]
fn closed_form_a_grid_gives_back_its_points_and_is_linear_between_them() {
    let forecast = around(GFS, 42.0, -95.0, 300.0);
    let stations: Vec<Station> = forecast.points.iter().map(|p| p.station(0.0)).collect();
    let field = WindField::on_mesh(forecast.width, &stations, &[]).expect("a field");
    let hp = isa::pressure_altitude_m(70_000.0);
    let air = |lat: f64, lon: f64| field.at(lat, lon, hp, hp).expect("inside");
    let level = |lat: f64, lon: f64| {
        let point = at(&forecast, lat, lon + 360.0);
        *point
            .levels
            .iter()
            .find(|l| l.pressure_pa == 70_000.0)
            .expect("700 hPa")
    };
    for (lat, lon) in [(42.5, -95.0), (40.0, -97.5), (42.5, -92.5)] {
        let (air, level) = (air(lat, lon), level(lat, lon));
        assert!((air.u_m_s - level.u_m_s).abs() < 1e-9 && (air.v_m_s - level.v_m_s).abs() < 1e-9);
        assert!((air.temperature_k - level.temperature_k.expect("given")).abs() < 1e-9);
    }
    // In the middle of a cell the mean of its corners, winds turned by sin(lat) times the difference of longitude. The middle in degrees
    // is not quite that of the great circles between the corners: 0.02 degrees of 2.5 here, by which the values change by at most
    // this share of their spread; a wrong cell or weight is off by a quarter of it and more.
    const SHARE: f64 = 0.02;
    let places = [(40.0, -97.5), (40.0, -95.0), (42.5, -97.5), (42.5, -95.0)];
    let corners = places.map(|(lat, lon): (f64, f64)| {
        let l = level(lat, lon);
        let (sin, cos) = ((lon - -96.25).to_radians() * lat.to_radians().sin()).sin_cos();
        [
            l.u_m_s * cos - l.v_m_s * sin,
            l.u_m_s * sin + l.v_m_s * cos,
            l.temperature_k.expect("given"),
        ]
    });
    let middle = air(41.25, -96.25);
    for (k, value) in [middle.u_m_s, middle.v_m_s, middle.temperature_k]
        .into_iter()
        .enumerate()
    {
        let of = corners.map(|c| c[k]);
        let (low, high) = (
            of.iter().copied().fold(f64::MAX, f64::min),
            of.iter().copied().fold(f64::MIN, f64::max),
        );
        let mean = of.iter().sum::<f64>() / 4.0;
        assert!(
            (value - mean).abs() <= SHARE * (high - low),
            "{k}: {value} {mean} {low} {high}"
        );
    }
    // Far outside there is nothing.
    assert!(matches!(
        field.at(42.0, 20.0, hp, hp),
        Err(FieldError::OffMesh { .. })
    ));
}

#[test]
fn published_winds_on_a_lambert_grid_are_turned_to_true() {
    // The file says that winds are relative to the grid, Lambert with LoV = 265 E and one standard parallel of 25 N. East of LoV the
    // meridians lean left of the grid's y axis by n (lon - LoV), n = sin 25 deg = 0.422618 (Snyder, USGS Professional Paper 1395, pp.
    // 105-107; rotation of grid winds: WMO-No. 306, flag table 3.3, bit 5): u_true = u cos + v sin, v_true = v cos - u sin.
    let turned = around(NAM, 40.0, -95.0, 5_000.0);
    assert_eq!(turned.points.len(), 93 * 65);
    assert_eq!(turned.width, 93);
    let raw = raw_winds(&data(NAM), 85_000.0);
    assert_eq!(raw.len(), 93 * 65);
    let n = 0.422_618_261_7;
    // Worked by hand for three points of the grid: west, near the middle, east.
    let mut checked = 0;
    for (node, about_lon) in [
        (32 * 93 + 5, -130.0),
        (32 * 93 + 45, -98.0),
        (40 * 93 + 85, -60.0),
    ] {
        let p = &turned.points[node];
        let (lat, lon, u, v) = raw[node];
        assert!((p.lat_deg - lat).abs() < 1e-9 && (p.lon_deg - lon).abs() < 1e-9);
        assert!((p.lon_deg - about_lon).abs() < 12.0, "{}", p.lon_deg);
        let a: f64 = (n * (lon - -95.0_f64)).to_radians();
        let level = p
            .levels
            .iter()
            .find(|l| l.pressure_pa == 85_000.0)
            .expect("850 hPa");
        let (east, north) = (u * a.cos() + v * a.sin(), v * a.cos() - u * a.sin());
        assert!(
            (level.u_m_s - east).abs() < AS_DECODED && (level.v_m_s - north).abs() < AS_DECODED
        );
        // The turn keeps the speed, and is no small thing away from LoV.
        assert!((level.u_m_s.hypot(level.v_m_s) - u.hypot(v)).abs() < AS_DECODED);
        checked += 1;
    }
    assert_eq!(checked, 3);
}

/// Latitude, longitude and the winds of one level as the file has them, row after row.
fn raw_winds(path: &Path, pressure_pa: f64) -> Vec<(f64, f64, f64, f64)> {
    use grib::LatLons as _;
    let bytes = std::fs::read(path).expect("reads");
    let file = grib::from_bytes(bytes).expect("GRIB2");
    let mut places = Vec::new();
    let mut winds = [Vec::new(), Vec::new()];
    for (_, message) in file.iter() {
        let product = message.prod_def();
        let number = (product.parameter_category(), product.parameter_number());
        let surface = product.fixed_surfaces().expect("a surface").0;
        if surface.surface_type != 100 || surface.value() != pressure_pa {
            continue;
        }
        let k = match number {
            (Some(2), Some(2)) => 0,
            (Some(2), Some(3)) => 1,
            _ => continue,
        };
        places = message.latlons().expect("located").collect();
        let decoder = grib::Grib2SubmessageDecoder::from(message).expect("decodes");
        winds[k] = decoder
            .dispatch()
            .expect("decodes")
            .map(f64::from)
            .collect();
    }
    let [u, v] = winds;
    places
        .into_iter()
        .zip(u.into_iter().zip(v))
        .map(|((a, b), (u, v))| (a, b, u, v))
        .collect()
}

#[test]
fn closed_form_cone_constants() {
    use fellrun::files::grib2::cone_constant;
    let rad = f64::to_radians;
    // One standard parallel: its sine. Two near each other: the sine of their mean, to the second order of their distance.
    assert!((cone_constant(rad(25.0), rad(25.0)) - rad(25.0).sin()).abs() < 1e-12);
    assert!((cone_constant(rad(39.9), rad(40.1)) - rad(40.0).sin()).abs() < 1e-5);
    // Snyder, p. 297 (from memory): parallels 33 and 45 N on the sphere give n = 0.6304777.
    assert!((cone_constant(rad(33.0), rad(45.0)) - 0.630_477_7).abs() < 5e-8);
}

#[test]
fn crosscheck_heights_of_the_file_are_those_of_the_hydrostatic_walk() {
    // dz = (T / T_std) dh_p from level to level, T linear in pressure altitude, is how the planner gets from pressure altitude to
    // true altitude; the file's heights are the model's own. They differ by humidity (12 g of vapour in a kg of
    // warm moist air is 0.7 % of virtual temperature) and by a straight line for T; a forgotten temperature is 3 to 5 %.
    const SHARE: f64 = 0.012;
    // The plains, where the model's ground is under all these levels.
    let forecast = around(GFS, 42.0, -92.0, 350.0);
    let mut checked = 0;
    for p in forecast
        .points
        .iter()
        .filter(|p| p.lon_deg.rem_euclid(360.0) > 262.0)
    {
        let levels: Vec<_> = p.above_ground(300.0).collect();
        for pair in levels.windows(2).filter(|w| w[0].pressure_pa > 40_000.0) {
            let hp = |i: usize| isa::pressure_altitude_m(pair[i].pressure_pa);
            let ratio =
                |i: usize| pair[i].temperature_k.expect("given") / isa::temperature_k(hp(i));
            let walked = 0.5 * (ratio(0) + ratio(1)) * (hp(1) - hp(0));
            let given = pair[1].height_m.expect("given") - pair[0].height_m.expect("given");
            assert!(
                (walked / given - 1.0).abs() < SHARE,
                "{walked} {given} at {} {}",
                p.lat_deg,
                p.lon_deg
            );
            checked += 1;
        }
    }
    assert!(checked > 100, "{checked}");
}

#[test]
fn published_levels_below_the_ground_are_left_out() {
    // REFERENCES B.2: at 40 N 105 W 1000, 925 and 850 hPa lie below the ground of the Rocky Mountains. The file has no ground of its
    // own, so that of the nearest field counts: Denver, 5,433 ft (open airport table).
    let forecast = around(GFS, 39.75, -104.87, 60.0);
    let point = at(&forecast, 40.0, 255.0);
    assert_eq!(point.levels.len(), 9);
    let lowest = |ground_m: f64| {
        point
            .above_ground(ground_m)
            .map(|l| l.pressure_pa)
            .fold(0.0, f64::max)
    };
    assert_eq!(lowest(5_433.0 * M_PER_FT), 80_000.0);
    // The model's own ground goes before that, by height or by pressure.
    let mut own = point.clone();
    own.ground_m = Some(3_200.0);
    assert_eq!(
        own.above_ground(0.0)
            .map(|l| l.pressure_pa)
            .fold(0.0, f64::max),
        60_000.0
    );
    own.ground_m = None;
    own.ground_pa = Some(84_000.0);
    assert_eq!(
        own.above_ground(0.0)
            .map(|l| l.pressure_pa)
            .fold(0.0, f64::max),
        80_000.0
    );
}

#[test]
fn closed_form_a_file_without_winds_is_refused_by_name() {
    // Fluxes at the ground, packed as JPEG 2000.
    let ask = Ask {
        area: Area {
            middle: Position::new(40.0, -100.0).expect("a position"),
            radius_m: 1e5,
        },
        from: "2000-01-01T00:00:00Z".parse().expect("a time"),
        to: "2030-01-01T00:00:00Z".parse().expect("a time"),
        top_m: 5_000.0,
    };
    let error = read(&[data(FLUX)], &ask).expect_err("no winds").to_string();
    for words in [FLUX, "none is wind on an isobaric surface", "UGRD"] {
        assert!(error.contains(words), "{error}");
    }
    let error = read(&[data("gfs_small_reference_values.csv")], &ask)
        .expect_err("no GRIB")
        .to_string();
    assert!(
        error.contains("is not GRIB2") && error.contains("give a GRIB2 file"),
        "{error}"
    );
}

/// A trip over the plains at the time of the GFS file; positions from the open airport table, ground made up.
fn trip(departure: &str, weather: &str) -> String {
    let root = env!("CARGO_MANIFEST_DIR");
    format!(
        r#"
title = "Salina to Des Moines"
profile = "{root}/profiles/retractable-200hp.toml"
departure_utc = "{departure}"
[[place]]
ident = "KSLN"
lat = 38.79
lon = -97.65
elevation_ft = 1288
[[place]]
ident = "KDSM"
lat = 41.534
lon = -93.663
elevation_ft = 958
[[leg]]
minimum_altitude_ft = 3000
mountainous = false
ground = [{{ to_nm = 247, ground_ft = 1600 }}]
source = "made up"
[load]
people_lb = 340
[fuel]
on_board_gal = 55
[prices]
hourly = 120
basis = "airborne"
fuel_per_gal = 6.5
[objective]
kind = "money"
[limits]
rules = "us-vfr"
max_altitude_ft = 12500
[arrival]
pattern_altitude_ft = 2000
[weather]
altimeter_inhg = 30.00
{weather}
"#
    )
}

fn load(departure: &str, weather: &str) -> Result<fellrun::files::trip::TripFile, String> {
    let text = trip(departure, weather);
    parse_trip(&text, Path::new("/nowhere/trip.toml"), None).map_err(|e| e.to_string())
}

#[test]
fn published_a_plan_over_the_file_end_to_end() {
    let weather = format!("grib = [{:?}]", data(GFS));
    let file = load("2011-10-10T22:30:00Z", &weather).expect("loads");
    let source = &file.trip.weather.sources[0];
    assert_eq!(source.kind, SourceKind::Grid);
    assert!(source.name.ends_with(GFS));
    assert_eq!(
        source.valid.expect("a time").to_string(),
        "2011-10-11T00:00:00Z"
    );
    assert!(
        source
            .notes
            .iter()
            .any(|n| n.contains("run of 2011-10-08 00:00Z")),
        "{:?}",
        source.notes
    );
    let (problem, plan) = plan_trip(&file.trip, &file.aircraft).expect("a plan");
    assert!(
        plan.reflight
            .within_bounds(problem.aircraft.fuel.density_kg_m3)
    );
    // Along the route the wind at 700 hPa is between those of the grid points about it.
    let forecast = around(GFS, 40.2, -95.7, 250.0);
    let hp = isa::pressure_altitude_m(70_000.0);
    let speeds: Vec<f64> = forecast
        .points
        .iter()
        .flat_map(|p| p.levels.iter().filter(|l| l.pressure_pa == 70_000.0))
        .map(|l| l.u_m_s.hypot(l.v_m_s))
        .collect();
    let most = speeds.iter().copied().fold(0.0, f64::max);
    for share in [0.0, 0.3, 0.7, 1.0] {
        let air = problem.air.at(share * problem.length_m, hp, 0.0);
        let speed = air.along_m_s.hypot(air.cross_m_s);
        assert!(speed > 0.1 && speed <= most, "{speed} {most}");
    }
    // A forecast that is alone stands for three hours either way.
    for (departure, words) in [
        ("2011-10-10T20:59:00Z", "depart later"),
        ("2011-10-11T03:01:00Z", "depart earlier"),
    ] {
        let error = load(departure, &weather).expect_err("outside");
        assert!(
            error.contains(words) && error.contains("2011-10-10T21:00:00Z"),
            "{error}"
        );
    }
    let missing = load("2011-10-11T00:00:00Z", "grib = [\"none.grib2\"]").expect_err("missing");
    assert!(
        missing.contains("trip.toml:") && missing.contains("no such file"),
        "{missing}"
    );
}

/// The GFS file with its forecast hour (message octets of section 4) and winds left, another hour written in: 72 to 75 h.
fn three_hours_later(bytes: &[u8]) -> Vec<u8> {
    let mut out = bytes.to_vec();
    let mut changed = 0;
    // Every section 4 of template 0: length 34, number 4, no coordinates, template 0; unit of time 1 and 72 of them 13 octets on.
    for i in 0..out.len() - 34 {
        if out[i..i + 9] == [0, 0, 0, 34, 4, 0, 0, 0, 0] && out[i + 17..i + 22] == [1, 0, 0, 0, 72]
        {
            out[i + 21] = 75;
            changed += 1;
        }
    }
    assert_eq!(changed, 36, "fields of the file");
    out
}

#[test]
fn closed_form_two_hours_in_two_files_are_blended() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let later = folder.path().join("later.grib2");
    let bytes = std::fs::read(data(GFS)).expect("reads");
    std::fs::write(&later, three_hours_later(&bytes)).expect("writes");
    let weather = format!("grib = [{:?}, {:?}]", later, data(GFS));
    let file = load("2011-10-11T01:00:00Z", &weather).expect("loads");
    let valid: Vec<String> = file
        .trip
        .weather
        .forecasts
        .iter()
        .map(|f| f.valid.to_string())
        .collect();
    assert_eq!(valid, ["2011-10-11T00:00:00Z", "2011-10-11T03:00:00Z"]);
    assert_eq!(
        file.trip.weather.valid_until.expect("limited").to_string(),
        "2011-10-11T06:00:00Z"
    );
    let problem = fellrun::trip::resolve(&file.trip, file.aircraft).expect("resolves");
    assert!(!problem.air.is_steady());
    // In one file one after the other they are the same.
    let both = folder.path().join("both.grib2");
    let mut joined = bytes.clone();
    joined.extend(three_hours_later(&bytes));
    std::fs::write(&both, joined).expect("writes");
    let one = load("2011-10-11T01:00:00Z", &format!("grib = [{both:?}]")).expect("loads");
    assert_eq!(one.trip.weather.forecasts, file.trip.weather.forecasts);
    // The same hour twice is once.
    let twice = load(
        "2011-10-11T01:00:00Z",
        &format!("grib = [{:?}, {:?}]", data(GFS), data(GFS)),
    );
    assert_eq!(twice.expect("loads").trip.weather.forecasts.len(), 1);
}

#[test]
fn closed_form_damaged_files_are_errors_or_lose_fields() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("damaged.grib2");
    let bytes = std::fs::read(data(GFS)).expect("reads");
    let ask = Ask {
        area: Area {
            middle: Position::new(40.0, -96.0).expect("a position"),
            radius_m: 3e5,
        },
        from: "1900-01-01T00:00:00Z".parse().expect("a time"),
        to: "2200-01-01T00:00:00Z".parse().expect("a time"),
        top_m: 4_000.0,
    };
    let (mut errors, mut notes, mut same) = (0, 0, 0);
    let mut tried = |bytes: &[u8]| {
        std::fs::write(&path, bytes).expect("writes");
        match read(std::slice::from_ref(&path), &ask) {
            Err(e) => {
                assert!(e.to_string().len() > 20);
                errors += 1;
            }
            Ok(all) if all.iter().any(|f| !f.notes.is_empty()) => notes += 1,
            Ok(_) => same += 1,
        }
    };
    // Cut short anywhere.
    for cut in [
        0,
        3,
        4,
        15,
        16,
        20,
        100,
        500,
        18_000,
        18_300,
        250_000,
        bytes.len() - 1,
    ] {
        tried(&bytes[..cut]);
    }
    // Octets of every kind of section changed, those of the headings one by one.
    let mut seed = 1_u64;
    for i in 0..220 {
        let mut damaged = bytes.clone();
        // an old linear congruential rule: the same damage every time
        seed = seed
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        damaged[i] = (seed >> 33) as u8;
        damaged[18_000 + (seed >> 40) as usize % 100_000] ^= 0x55;
        tried(&damaged);
    }
    assert!(
        errors > 20 && errors + notes + same == 232,
        "{errors} {notes} {same}"
    );
}
