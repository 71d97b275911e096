//! Keep-out volumes, cloud, ice, oxygen, reserves and weights: from files to the limits of a trip, and what is said of them.

use crate::common;
use std::path::Path;

use fellrun::brief::Figures;
use fellrun::files::diagnostic::FileError;
use fellrun::files::keep_out::parse_keep_outs;
use fellrun::files::trip::{TripFile, parse_trip};
use fellrun::quantity::{KG_PER_LB, M_PER_FT, M_PER_NM, M_S_PER_KT, ZERO_C_K};
use fellrun::solve::{SolveError, TripError, Warning, plan, plan_trip};
use fellrun::trip::{Cloud, Patch, PatchKind, Problem, RouteAir, Rules, legal_levels, resolve};

/// Heights typed in feet come back to this, m.
const SAME_M: f64 = 1e-6;

fn square(west: f64, south: f64, size: f64) -> String {
    let (east, north) = (west + size, south + size);
    format!(
        "[[{west},{south}],[{east},{south}],[{east},{north}],[{west},{north}],[{west},{south}]]"
    )
}

fn feature(properties: &str, geometry: &str) -> String {
    format!("{{\"type\":\"Feature\",\"properties\":{{{properties}}},\"geometry\":{geometry}}}")
}

fn collection(features: &[String]) -> String {
    format!(
        "{{\"type\":\"FeatureCollection\",\"features\":[{}]}}",
        features.join(",")
    )
}

fn polygon(rings: &str) -> String {
    format!("{{\"type\":\"Polygon\",\"coordinates\":[{rings}]}}")
}

/// The first demo trip with pieces of its text replaced, from a folder.
fn trip(folder: &Path, changes: &[(&str, &str)]) -> Result<TripFile, FileError> {
    let root = env!("CARGO_MANIFEST_DIR");
    let mut text =
        std::fs::read_to_string(format!("{root}/examples/first-trip.toml")).expect("a demo");
    text = text
        .replace("../profiles", &format!("{root}/profiles"))
        .replace("weather/FBUS", &format!("{root}/examples/weather/FBUS"));
    for (old, new) in changes {
        assert!(text.contains(old), "{old:?} is not in the demo any more");
        text = text.replacen(old, new, 1);
    }
    parse_trip(&text, &folder.join("trip.toml"), None)
}

fn problem(changes: &[(&str, &str)]) -> Problem {
    let file = trip(Path::new("."), changes).unwrap_or_else(|e| panic!("{e}"));
    resolve(&file.trip, file.aircraft).unwrap_or_else(|e| panic!("{e}"))
}

fn wrong(changes: &[(&str, &str)]) -> String {
    match trip(Path::new("."), changes) {
        Ok(_) => panic!("the trip is taken"),
        Err(e) => e.findings[0].message.clone(),
    }
}

#[test]
fn closed_form_volumes_of_a_file() {
    let both = polygon(&format!(
        "{},{}",
        square(-118.0, 43.0, 1.0),
        square(-117.8, 43.2, 0.2)
    ));
    let two = format!(
        "{{\"type\":\"MultiPolygon\",\"coordinates\":[[{}],[{}]]}}",
        square(10.0, 50.0, 1.0),
        square(12.0, 50.0, 1.0)
    );
    let text = collection(&[
        feature(
            "\"name\":\" North range \",\"lower_ft\":0,\"upper_ft\":9500,\"class\":\"R\"",
            &both,
        ),
        feature(
            "\"name\":\"Two parts\",\"lower_ft\":null,\"upper_ft\":null",
            &two,
        ),
    ]);
    let volumes = parse_keep_outs(&text, Path::new("k.geojson")).expect("two volumes");
    assert_eq!(volumes.len(), 2);
    assert_eq!(
        (volumes[0].name.as_str(), volumes[0].areas.len()),
        ("North range", 1)
    );
    assert!((volumes[0].upper_m - 9_500.0 * M_PER_FT).abs() < SAME_M);
    assert_eq!(volumes[1].areas.len(), 2);
    assert_eq!(
        (volumes[1].lower_m, volumes[1].upper_m),
        (f64::NEG_INFINITY, f64::INFINITY)
    );
}

#[test]
fn closed_form_wrong_volumes_are_told_by_feature() {
    let good = polygon(&square(-118.0, 43.0, 1.0));
    let heights = "\"lower_ft\":0,\"upper_ft\":9500";
    let one = |properties: &str, geometry: &str| collection(&[feature(properties, geometry)]);
    let named = |rest: &str| format!("\"name\":\"Range\",{rest}");
    for (text, words) in [
        ("{".to_owned(), "this is not JSON"),
        ("{}".to_owned(), "this is not GeoJSON"),
        (
            "{\"type\":\"FeatureCollection\",\"features\":[]}".to_owned(),
            "there is no feature",
        ),
        (good.clone(), "a geometry without properties"),
        (
            one(heights, &good),
            "feature 1: the property name is missing",
        ),
        (
            one(&named("\"lower_ft\":0"), &good),
            "feature 1 \"Range\": the property upper_ft is missing",
        ),
        (
            one(&named("\"lower_ft\":\"GND\",\"upper_ft\":1"), &good),
            "lower_ft = \"GND\" is not a number",
        ),
        (
            one(&named("\"lower_ft\":5000,\"upper_ft\":4000"), &good),
            "lower_ft = 5000 is not below upper_ft = 4000",
        ),
        (
            one(&named("\"lower_ft\":0,\"upper_ft\":900000"), &good),
            "not in the required range of -1500..=100000 ft",
        ),
        (one(&named(heights), "null"), "it has no geometry"),
        (
            one(
                &named(heights),
                "{\"type\":\"Point\",\"coordinates\":[1,2]}",
            ),
            "is a Point, not an area",
        ),
        (
            one(&named(heights), &polygon("[[1,2],[2,2],[1,2]]")),
            "has 2 corner(s)",
        ),
        (
            one(&named(heights), &polygon("[[1,2],[2,2],[2,3],[1,3]]")),
            "ring 1 is not closed",
        ),
        (
            one(
                &named(heights),
                &polygon("[[43,118],[44,118],[44,119],[43,118]]"),
            ),
            "latitude in -90..=90",
        ),
        (
            one(&named(heights), &polygon("[[1],[2,2],[2,3],[1]]")),
            "fewer than two numbers",
        ),
        (
            one(
                &named(heights),
                "{\"type\":\"MultiPolygon\",\"coordinates\":[]}",
            ),
            "has no part",
        ),
    ] {
        let error = parse_keep_outs(&text, Path::new("k.geojson")).expect_err("a wrong file");
        let finding = &error.findings[0];
        assert!(
            finding.message.contains(words),
            "{} says not {words:?}",
            finding.message
        );
        assert!(finding.hint.is_some());
        assert!(error.render(false).contains("k.geojson"));
    }
    // Everything wrong at once.
    let text = collection(&[feature(heights, &good), feature(&named(heights), "null")]);
    let error = parse_keep_outs(&text, Path::new("k.geojson")).expect_err("a wrong file");
    assert_eq!(error.findings.len(), 2);
    // Each at its own place: the second begins where its text is found.
    let second = text.rfind("{\"type\":\"Feature\"").expect("there");
    assert_eq!(error.findings[1].column, second + 1);
}

#[test]
fn closed_form_damaged_volumes_never_panic() {
    let text = collection(&[feature(
        "\"name\":\"Range\",\"lower_ft\":0,\"upper_ft\":9500",
        &polygon(&square(-118.0, 43.0, 1.0)),
    )]);
    let (mut read, mut refused) = (0, 0);
    for at in 0..text.len() {
        for with in ["", "9", "-", "\"", "]", "null"] {
            let damaged = format!("{}{with}{}", &text[..at], &text[at + 1..]);
            match parse_keep_outs(&damaged, Path::new("k.geojson")) {
                Ok(_) => read += 1,
                Err(_) => refused += 1,
            }
        }
    }
    assert!(read > 0 && refused > 100);
}

/// A volume across the demo route from 43.0 N to 44.0 N, 117.5 W to 117.0 W, through the level that the demo flies, is flown round by height
/// and named.
#[test]
fn crosscheck_a_volume_in_the_way_changes_the_plan_and_is_named() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |lower: u32, upper: u32| {
        let properties =
            format!("\"name\":\"Owyhee test range\",\"lower_ft\":{lower},\"upper_ft\":{upper}");
        let rings = "[[-117.5,43.0],[-117.0,43.0],[-117.0,44.0],[-117.5,44.0],[-117.5,43.0]]";
        let text = collection(&[feature(&properties, &polygon(rings))]);
        std::fs::write(folder.path().join("range.geojson"), text).expect("written");
        let keys = "[limits]\nkeep_outs = [\"range.geojson\"]\nkeep_out_margin_nm = 1";
        let file = trip(folder.path(), &[("[limits]", keys)]).unwrap_or_else(|e| panic!("{e}"));
        plan_trip(&file.trip, &file.aircraft)
    };
    let level_over = |p: &Problem, answer: &fellrun::solve::Plan| {
        let patch = &p.forbidden[0];
        let over = |s: f64| (patch.from_m..=patch.to_m).contains(&s);
        let track = answer
            .flown
            .track
            .iter()
            .filter(|t| over(t.state.distance_m));
        track.map(|t| t.indicated_m / M_PER_FT).collect::<Vec<_>>()
    };
    // High above everything it changes nothing.
    let (p, free) = at(20_000, 30_000).expect("a plan");
    let (width_nm, before) = (
        (p.forbidden[0].to_m - p.forbidden[0].from_m) / M_PER_NM,
        level_over(&p, &free),
    );
    // Half a degree of longitude at 43.4 N is 21.9 nm, on a course of 98 degrees 22 nm, and 1 nm more at each end.
    assert!((23.0..25.5).contains(&width_nm), "{width_nm}");
    let level = before[before.len() / 2];
    // 300 ft each way of it.
    let [lower, upper] = [level - 300.0, level + 300.0].map(|ft| ft.round() as u32);
    let (p, round) = at(lower, upper).expect("a plan round it");
    let after = level_over(&p, &round);
    assert!(!after.is_empty());
    // The faces have it: the JSON by its figures, the chart by name where the box lies on it and is tall enough.
    let mut figures = Figures::new(&round, &p);
    let b = &mut figures.barred[0];
    assert_eq!(
        (b.kind, b.low_ft.map(f64::round)),
        ("keep_out", Some(f64::from(lower)))
    );
    (b.low_ft, b.high_ft) = (Some(8_000.0), Some(10_500.0));
    let chart = fellrun::brief::svg(&figures).expect("a chart");
    assert!(["Owyhee", "range"].iter().all(|word| chart.contains(word)));
    // From the ground up to 40,000 ft there is no way, and it is said what would free it.
    let Err(TripError::Solve(SolveError::Infeasible { limits, ways })) = at(0, 40_000) else {
        panic!("a plan through it");
    };
    assert!(limits.contains("forbidden"), "{limits}");
    assert!(
        ways.contains("no Owyhee test range: a via place round it"),
        "{ways}"
    );
}

fn by_kind(p: &Problem, kind: PatchKind) -> Vec<Patch> {
    p.forbidden
        .iter()
        .filter(|x| x.kind == kind)
        .cloned()
        .collect()
}

fn cloud(base_ft: f64, top_ft: f64, rest: &str) -> String {
    format!("[[weather.cloud]]\nbase_ft = {base_ft}\ntop_ft = {top_ft}\n{rest}\n[objective]")
}

#[test]
fn published_91_155_distances_from_cloud() {
    // 14 CFR 91.155(a), Class E below 10,000 ft MSL: 500 ft below, 1,000 ft above, 2,000 ft beside; at or above: 1,000 ft below, 1,000 ft
    // above, 1 statute mile beside. A path of no length at a height is inside a patch or not.
    let text = cloud(10_800.0, 12_000.0, "from_nm = 50\nto_nm = 100");
    let p = problem(&[("[objective]", &text)]);
    let barred = |nm: f64, more_ft: f64, ft: f64| {
        let at = (nm * M_PER_NM + more_ft * M_PER_FT, ft * M_PER_FT);
        p.is_barred(at, at)
    };
    for (nm, more_ft, ft, expected) in [
        (70.0, 0.0, 10_000.0, true),
        (70.0, 0.0, 9_990.0, false),
        (70.0, 0.0, 12_990.0, true),
        (70.0, 0.0, 13_000.0, false),
        // 1 statute mile, 5,280 ft, and no more.
        (50.0, -5_200.0, 10_400.0, true),
        (50.0, -5_400.0, 10_400.0, false),
        (100.0, 5_200.0, 12_500.0, true),
        (100.0, 5_400.0, 12_500.0, false),
    ] {
        assert_eq!(
            barred(nm, more_ft, ft),
            expected,
            "{nm} nm {more_ft} ft at {ft} ft"
        );
    }
    let text = cloud(8_000.0, 8_500.0, "from_nm = 50\nto_nm = 100");
    let p = problem(&[("[objective]", &text)]);
    let barred = |nm: f64, more_ft: f64, ft: f64| {
        let at = (nm * M_PER_NM + more_ft * M_PER_FT, ft * M_PER_FT);
        p.is_barred(at, at)
    };
    for (nm, more_ft, ft, expected) in [
        (70.0, 0.0, 7_490.0, false),
        (70.0, 0.0, 7_510.0, true),
        (70.0, 0.0, 9_490.0, true),
        (70.0, 0.0, 9_510.0, false),
        (50.0, -1_900.0, 8_200.0, true),
        (50.0, -2_100.0, 8_200.0, false),
    ] {
        assert_eq!(
            barred(nm, more_ft, ft),
            expected,
            "{nm} nm {more_ft} ft at {ft} ft"
        );
    }
    // Instrument flight may be in cloud.
    let p = problem(&[("[objective]", &text), ("\"us-vfr\"", "\"us-ifr\"")]);
    assert!(by_kind(&p, PatchKind::Cloud).is_empty());
    assert_eq!(
        wrong(&[("[objective]", &cloud(9_000.0, 8_000.0, ""))]),
        "weather.cloud[1].top_ft = 8000 is not above weather.cloud[1].base_ft = 9000"
    );
}

/// Cloud is given along the route; it lies on the way to the alternate only where it reaches the end of the route.
#[test]
fn closed_form_cloud_on_the_way_to_the_alternate() {
    let alternate = "[alternate]\nident = \"KTWF\"\n[objective]";
    let onward = |layers: &str| {
        let text = format!("{layers}\n{alternate}");
        let file =
            trip(Path::new("."), &[("[objective]", &text)]).unwrap_or_else(|e| panic!("{e}"));
        let (_, answer) = plan_trip(&file.trip, &file.aircraft).unwrap_or_else(|e| panic!("{e}"));
        answer.alternate.expect("a flight to the alternate")
    };
    let layer = |from_nm: f64, to_nm: f64| {
        let text = cloud(
            5_500.0,
            9_400.0,
            &format!("from_nm = {from_nm}\nto_nm = {to_nm}"),
        );
        text.replace("\n[objective]", "")
    };
    let free = onward("");
    // Below the cruise of the demo, and across every lower level of a way of its length.
    assert_eq!(free, onward(&layer(20.0, 120.0)));
    let cloud = Cloud {
        base_m: 1.0,
        top_m: 2.0,
        from_m: 20.0,
        to_m: 120.0,
    };
    assert_eq!(cloud.from_the_end_of(121.0), None);
    let on = cloud.from_the_end_of(100.0).expect("it reaches on");
    assert_eq!((on.base_m, on.top_m, on.to_m), (1.0, 2.0, 20.0));
    assert!(on.holds(0.0, 1.5) && on.holds(20.0, 1.5) && !on.holds(21.0, 1.5));
}

#[test]
fn closed_form_ice_is_cloud_at_or_below_freezing() {
    let text = cloud(3_000.0, 14_000.0, "");
    let p = problem(&[("[objective]", &text), ("\"us-vfr\"", "\"us-ifr\"")]);
    let ice = by_kind(&p, PatchKind::Ice);
    assert!(ice.len() > 20);
    let (mut cold, mut warm) = (0, 0);
    for i in 0..=90 {
        for ft in (3_100..14_000).step_by(100) {
            let (s, h) = (p.length_m * f64::from(i) / 90.0, f64::from(ft) * M_PER_FT);
            let t = p.air.at(s, p.pressure_altitude_m(s, h), 0.0).temperature_k;
            let inside = ice
                .iter()
                .any(|x| x.from_m <= s && s <= x.to_m && x.low_m <= h && h <= x.high_m);
            if t <= ZERO_C_K {
                assert!(inside, "{s} m, {ft} ft, {t} K");
                cold += 1;
            } else if t > ZERO_C_K + 1.5 {
                // A stretch of 5 nm and a step of 100 ft more than needed, no further.
                assert!(!inside, "{s} m, {ft} ft, {t} K");
                warm += 1;
            }
        }
    }
    assert!(cold > 1_000, "{cold} cold, {warm} warm");
    // None for an aircraft that is approved, and none in visual flight, which keeps out of cloud.
    let mut approved = trip(
        Path::new("."),
        &[("[objective]", &text), ("\"us-vfr\"", "\"us-ifr\"")],
    )
    .expect("a trip");
    approved.aircraft.equipment.approved_for_icing = true;
    let p = resolve(&approved.trip, approved.aircraft).expect("resolves");
    assert!(p.forbidden.is_empty());
    assert!(by_kind(&problem(&[("[objective]", &text)]), PatchKind::Ice).is_empty());
}

#[test]
fn closed_form_oxygen_sectors_and_reserves_of_a_trip() {
    let p = problem(&[]);
    assert!((p.limits.no_oxygen_m - 12_500.0 * M_PER_FT).abs() < SAME_M);
    let p = problem(&[("\"us-vfr\"", "\"icao-vfr\"\nsector_from_deg = 90")]);
    assert!((p.limits.no_oxygen_m - 10_000.0 * M_PER_FT).abs() < SAME_M);
    assert!((p.limits.sector_from_rad.to_degrees() - 90.0).abs() < 1e-9);
    for levels in &p.levels {
        for &m in &levels.levels_m {
            assert!(p.pressure_altitude_m(0.0, m) <= 10_000.0 * M_PER_FT);
        }
    }
    let p = problem(&[("oxygen = false", "oxygen = false\noxygen_above_ft = 9000")]);
    assert!((p.limits.no_oxygen_m - 9_000.0 * M_PER_FT).abs() < SAME_M);
    assert!(
        wrong(&[("\"us-vfr\"", "\"us-vfr\"\nsector_from_deg = 90")]).contains("sector_from_deg")
    );
    // 10 gal at 6 lb/gal are 60 lb; under the rules never less than theirs: 30 min by day, at 10 gph 5 gal.
    let flow = 60.0 * KG_PER_LB / 3_600.0;
    let p = problem(&[("reserve_min = 45", "reserve_gal = 10")]);
    assert!((p.reserve_kg(flow) - 60.0 * KG_PER_LB).abs() < 1e-3);
    let p = problem(&[("reserve_min = 45", "reserve_gal = 1")]);
    assert!((p.reserve_kg(flow) - 30.0 * KG_PER_LB).abs() < 1e-3);
    let p = problem(&[
        ("reserve_min = 45", "reserve_gal = 1"),
        ("\"us-vfr\"", "\"none\""),
    ]);
    assert!((p.reserve_kg(flow) - 6.0 * KG_PER_LB).abs() < 1e-3);
    let p = problem(&[
        ("reserve_min = 45", "reserve_gal = 1"),
        ("\"us-vfr\"", "\"us-ifr\""),
    ]);
    assert!((p.reserve_kg(flow) - 45.0 * KG_PER_LB).abs() < 1e-3);
    assert_eq!(Rules::IcaoVfr.reserve_s(true), 2_700.0);
}

#[test]
fn crosscheck_greatest_landing_weight_is_kept() {
    let mut file = trip(Path::new("."), &[]).expect("a trip");
    let (p, answer) = plan_trip(&file.trip, &file.aircraft).expect("a plan");
    let landing_kg = p.zero_fuel_kg + answer.totals.landing_fuel_kg;
    file.aircraft.masses.max_landing_kg = landing_kg - 40.0;
    match plan_trip(&file.trip, &file.aircraft) {
        Err(TripError::Solve(SolveError::Infeasible { limits, ways })) => {
            assert!(limits.contains("landing weight"), "{limits}; {ways}");
            assert!(ways.contains("load"), "{ways}");
        }
        Err(other) => panic!("{other}"),
        Ok(_) => panic!("lands 88 lb too heavy"),
    }
}

#[test]
fn closed_form_a_leg_without_level_says_what_would_free_it() {
    let file = trip(
        Path::new("."),
        &[("max_altitude_ft = 12500", "max_altitude_ft = 9000")],
    )
    .expect("a trip");
    let Err(TripError::Solve(e @ SolveError::NoLevel { .. })) =
        plan_trip(&file.trip, &file.aircraft)
    else {
        panic!("a level between 8,800 and 9,000 ft");
    };
    let told = e.to_string();
    assert!(told.contains("What would free it: "), "{told}");
    assert!(
        told.contains("a higher greatest altitude (limits.max_altitude_ft)"),
        "{told}"
    );
    assert!(!told.contains("oxygen on board"), "{told}");
}

#[test]
fn closed_form_warnings_of_wind_ice_and_oxygen() {
    // The demo trip in instrument flight through cloud that is above freezing at its level is told of ice within 2 degrees; and without
    // oxygen above 10,000 ft of the recommendation.
    let file = trip(Path::new("."), &[]).expect("a trip");
    let (p, answer) = plan_trip(&file.trip, &file.aircraft).expect("a plan");
    let highest_ft = answer
        .flown
        .track
        .iter()
        .map(|t| t.state.pressure_altitude_m / M_PER_FT)
        .fold(f64::NEG_INFINITY, f64::max);
    let advised = answer
        .warnings
        .iter()
        .any(|w| matches!(w, Warning::OxygenAdvised { .. }));
    assert_eq!(advised, highest_ft > 10_050.0);
    let figures = Figures::new(&answer, &p);
    // Every warning has its own words.
    assert_eq!(figures.warnings.len(), answer.warnings.len());
    // True height: what is said of a leg is what its points have.
    for (leg, figure) in p.legs.iter().zip(&figures.legs) {
        let on_it = answer
            .flown
            .track
            .iter()
            .filter(|t| (leg.from_m..=leg.to_m).contains(&t.state.distance_m));
        let most = on_it
            .map(|t| ((t.true_altitude_m - t.indicated_m) / M_PER_FT).abs())
            .fold(0.0, f64::max);
        assert!((figure.true_height_correction_ft.abs() - most).abs() < 0.01);
        let warned = answer.warnings.iter().any(
            |w| matches!(w, Warning::LowerThanRead { leg: i, .. } if p.legs[*i].from == leg.from),
        );
        assert!(!warned || figure.true_height_correction_ft.abs() > 49.9);
    }
}

#[test]
fn closed_form_wind_over_a_ridge_and_its_lee() {
    // A ridge from 80 to 82 nm on a plain of 2,000 ft. Where it is, its wind and its lee, nm and kt.
    type Ridge = (f64, f64, Option<(f64, f64)>);
    let told = |along_kt: f64, cross_kt: f64, ridge_ft: f64| -> Option<Ridge> {
        let mut p = common::problem(common::demo(), 200.0, 0.0, 0.0);
        let (along, cross) = (along_kt * M_S_PER_KT, cross_kt * M_S_PER_KT);
        p.air = RouteAir::uniform(p.length_m, along, cross, 0.0, 8_000.0);
        let row = |from: f64, to: f64, ft: f64| (from * M_PER_NM, to * M_PER_NM, ft * M_PER_FT);
        p.legs[0].ground = vec![
            row(0.0, 30.0, 0.0),
            row(30.0, 80.0, 2_000.0),
            row(80.0, 82.0, ridge_ft),
            row(82.0, 160.0, 2_000.0),
            row(160.0, 200.0, 0.0),
        ];
        p.levels = vec![legal_levels(&p, &p.legs[0])];
        let answer = plan(&p).expect("a plan");
        answer.warnings.iter().find_map(|w| match w {
            Warning::RidgeWind {
                leg: 0,
                at_m,
                wind_m_s,
                lee_m,
                ..
            } => Some((
                (at_m / M_PER_NM).round(),
                (wind_m_s / M_S_PER_KT).round(),
                lee_m.map(|(a, b)| ((a / M_PER_NM).round(), (b / M_PER_NM).round())),
            )),
            _ => None,
        })
    };
    // Enough wind is more than 25 kt, whichever way it blows; 3, 4, 5.
    assert_eq!(told(20.0, 10.0, 6_000.0), None);
    // A tail wind has its lee beyond the ridge, a head wind before it, to 10 nm from its middle; wind across the route none on it.
    assert_eq!(
        told(40.0, 30.0, 6_000.0),
        Some((81.0, 50.0, Some((82.0, 91.0))))
    );
    assert_eq!(
        told(-40.0, 30.0, 6_000.0),
        Some((81.0, 50.0, Some((71.0, 80.0))))
    );
    assert_eq!(told(10.0, 30.0, 6_000.0), Some((81.0, 32.0, None)));
    // Flat country has no ridge.
    assert_eq!(told(40.0, 30.0, 2_900.0), None);
}
