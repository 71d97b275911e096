//! Circling over the fields: the turn by closed forms, the plan by the independent re-flight, and when it is flown at all.

use crate::common::{self, problem, textbook};
use fellrun::air::{Datum, LevelValue, Station, WindField};
use fellrun::aircraft::{Aircraft, Throttle};
use fellrun::brief::{Figures, svg, terminal};
use fellrun::earth::geodesic;
use fellrun::earth::keep_out::{Area, Volume};
use fellrun::files::trip::parse_trip;
use fellrun::flight::{
    Circle, Climb, Cruise, Descent, DescentPart, Flown, PathRule, Reduction, Script, SegmentKind,
    ThrottleRule, fly_recorded, turns,
};
use fellrun::quantity::*;
use fellrun::reflight::{Mismatch, refly};
use fellrun::solve::{Plan, Warning, plan, prepared};
use fellrun::trip::{Circling, Cloud, Objective, Problem, Start, Trip, resolve};
use std::path::Path;

/// Standard gravity, m/s².
const G: f64 = 9.806_65;
/// Bank of the turns, rad.
const BANK: f64 = 20.0 * std::f64::consts::PI / 180.0;
/// What is left of a sum over the points of a path, as a share: they are 10 s apart or less while the speed changes.
const SUM: f64 = 1e-3;
/// Rounding of a distance that does not change, m.
const STILL_M: f64 = 1e-9;

/// An aeroplane with a power plant of constant power and efficiency.
fn aeroplane() -> Aircraft {
    textbook(150_000.0, 0.8, 7.5e-8)
}

/// Up to 9,500 ft and down at 500 ft/min, in turns below these heights.
fn script(up_ft: Option<f64>, down_ft: Option<f64>) -> Script {
    let circle = |ft: f64| Circle {
        height_m: ft * M_PER_FT,
        bank_rad: BANK,
    };
    Script {
        initial_ias_m_s: 90.0 * M_S_PER_KT,
        initial_mixture: 0,
        climb: Climb {
            ias_m_s: 95.0 * M_S_PER_KT,
            second: None,
            rev_s: 2_500.0 / 60.0,
            mixture: 0,
            lean_at_m: f64::INFINITY,
            circle: up_ft.map(circle),
        },
        cruise: vec![Cruise {
            level_m: 9_500.0 * M_PER_FT,
            from_m: 0.0,
            throttle: Throttle::Map(20.0 * PA_PER_INHG),
            rev_s: 2_300.0 / 60.0,
            mixture: 0,
            set_at_ias_m_s: 110.0 * M_S_PER_KT,
        }],
        descent: Descent {
            first: DescentPart {
                throttle: ThrottleRule::Held(16.0 * PA_PER_INHG),
                rev_s: 2_000.0 / 60.0,
                mixture: 0,
                path: PathRule::Rate(500.0 * M_S_PER_FPM),
                gear_down: false,
            },
            second: None,
            reduce_at_m: 1_000.0 * M_PER_FT,
            to_go_m: f64::NAN,
            circle: down_ft.map(circle),
        },
        reduction: Reduction {
            step_pa: PA_PER_INHG,
            step_rev_s: 50.0 / 60.0,
            interval_s: 30.0,
            floor_pa: 12.0 * PA_PER_INHG,
            floor_rev_s: 30.0,
        },
    }
}

fn flown(problem: &Problem, up_ft: Option<f64>, down_ft: Option<f64>) -> Flown {
    fly_recorded(problem, &script(up_ft, down_ft)).expect("flies")
}

#[test]
fn closed_form_no_ground_is_gained_in_turns_and_the_wind_changes_nothing() {
    // Uniform wind is still air to who turns in it: time and fuel of the turns are those of a calm.
    let calm = problem(aeroplane(), 150.0, 0.0, 0.0);
    let windy = problem(aeroplane(), 150.0, 30.0, 0.0);
    let of = |p: &Problem| {
        flown(p, Some(6_500.0), None)
            .circling_climb()
            .expect("turns")
    };
    let (a, b) = (of(&calm), of(&windy));
    for c in [&a, &b] {
        let moved = c.end.state.distance_m - c.begin.state.distance_m;
        assert!(moved.abs() < STILL_M, "{moved} m");
        assert!((c.begin.indicated_m - 1_000.0 * M_PER_FT).abs() < 0.1);
        assert!((c.end.indicated_m - 6_500.0 * M_PER_FT).abs() < 0.1);
    }
    let took = |c: &fellrun::flight::Circled| {
        (
            c.end.state.time_s - c.begin.state.time_s,
            c.end.state.fuel_kg - c.begin.state.fuel_kg,
        )
    };
    assert!((took(&a).0 - took(&b).0).abs() < 1e-6 * took(&a).0);
    assert!((took(&a).1 - took(&b).1).abs() < 1e-6 * took(&a).1);
}

#[test]
fn closed_form_turns_are_time_by_rate_of_turn() {
    // omega = g tan(bank) / V (FAA-H-8083-25, chapter 5, from memory: 1,091 tan(bank) / kt in degrees a second).
    let p = problem(aeroplane(), 150.0, 0.0, 0.0);
    let f = flown(&p, Some(6_500.0), Some(5_000.0));
    for c in [f.circling_climb(), f.circling_descent()] {
        let c = c.expect("turns");
        let inside = |t: f64| (c.begin.state.time_s..=c.end.state.time_s).contains(&t);
        let path: Vec<_> = f.track.iter().filter(|t| inside(t.state.time_s)).collect();
        let mut degrees = 0.0;
        for w in path.windows(2) {
            let dt = w[1].state.time_s - w[0].state.time_s;
            let kt = 0.5 * (w[0].state.tas_m_s + w[1].state.tas_m_s) / M_S_PER_KT;
            degrees += dt * 1_091.0 * BANK.tan() / kt;
        }
        // The handbook's constant is g in its units, 1,092.2, rounded down by 0.11 %.
        assert!(
            (c.turns / (degrees / 360.0) - 1.0).abs() < SUM + 1.2e-3,
            "{} turns",
            c.turns
        );
        assert!(c.turns > 2.0);
        assert!((c.begin.bank_rad - BANK).abs() < 1e-12);
    }
    assert_eq!(turns(&flown(&p, None, None).track), 0.0);
    // 4,000 ft at 500 ft a minute are 8 minutes, and the slow-down in the turn comes on top.
    let down = f.circling_descent().expect("turns");
    let level = f.level_off.time_s - down.begin.state.time_s;
    assert!((level - 480.0).abs() < 0.1, "{level} s");
    assert!(down.end.state.time_s >= f.level_off.time_s);
}

#[test]
fn closed_form_induced_drag_grows_with_the_square_of_the_load_factor() {
    // Same state, straight and in the turn: W (dh/dt)(1 + V/g dV/dh) = (T - D) V, so the rates differ by
    // V k W² (n² - 1) / (q S) over that, n = 1 / cos(bank).
    let p = problem(aeroplane(), 150.0, 0.0, 0.0);
    let first = |up: Option<f64>, kind: SegmentKind| {
        let f = flown(&p, up, None);
        let s = f.segments.iter().find(|s| s.kind == kind).expect("a climb");
        f.track[s.first]
    };
    let straight = first(None, SegmentKind::Climb);
    let turning = first(Some(6_500.0), SegmentKind::CirclingClimb);
    assert_eq!(straight.state, turning.state);
    let (v, hp) = (straight.state.tas_m_s, straight.state.pressure_altitude_m);
    let weight = straight.mass_kg * G;
    let (air, _) = p.air_state(0.0, hp, 0.0);
    let (above, _) = p.air_state(0.0, hp + 50.0, 0.0);
    let (below, _) = p.air_state(0.0, hp - 50.0, 0.0);
    let tas = |air| p.aircraft.tas_from_ias(air, straight.ias_m_s);
    let per_m = (tas(above) - tas(below)) / 100.0;
    let frame = &p.aircraft.airframe;
    let qs = 0.5 * air.density_kg_m3 * v * v * frame.wing_area_m2;
    let n = 1.0 / BANK.cos();
    let more_n = frame.k * weight * weight * (n * n - 1.0) / qs;
    let slower = more_n * v / (weight * (1.0 + v / G * per_m));
    let found = straight.rate_m_s - turning.rate_m_s;
    assert!(
        (found / slower - 1.0).abs() < SUM,
        "{found} m/s, not {slower}"
    );
    assert!(found > 0.05, "the turn must cost something to be seen");
}

#[test]
fn crosscheck_circling_flights_are_reflown() {
    let mut p = problem(aeroplane(), 150.0, 20.0, 5.0);
    // The altimeter setting falls along the route: who circles stays at one place of it.
    p.destination.datum_m = 60.0;
    for (up, down) in [
        (Some(6_500.0), None),
        (None, Some(5_000.0)),
        (Some(9_500.0), Some(9_500.0)),
    ] {
        let flown = flown(&p, up, down);
        let again = refly(&p, &flown.script).expect("re-flown");
        let mismatch = Mismatch::between(&p, &flown, &again);
        assert!(
            mismatch.within_bounds(p.aircraft.fuel.density_kg_m3),
            "{up:?} {down:?}: {mismatch:?}"
        );
        let planned =
            [flown.circling_climb(), flown.circling_descent()].map(|c| c.map_or(0.0, |c| c.turns));
        for (a, b) in planned.iter().zip(again.turns) {
            assert!((a - b).abs() < 0.01, "{a} turns, re-flown {b}");
        }
        // Of some ten megajoules at every turn, what the integration leaves is not a joule in a thousand.
        assert!(again.energy.residual_j().abs() < 1e-3 * again.energy.drag_j);
    }
    // A re-flight in another bank, or a top of descent a mile off, is told from the plan.
    let flown = flown(&p, None, Some(5_000.0));
    let mut steep = flown.script.clone();
    steep.descent.circle = Some(Circle {
        height_m: 5_000.0 * M_PER_FT,
        bank_rad: 2.0 * BANK,
    });
    let told = |script: &Script| {
        let again = refly(&p, script).expect("re-flown");
        let turned = again.turns[1] - flown.circling_descent().expect("turns").turns;
        let holds =
            Mismatch::between(&p, &flown, &again).within_bounds(p.aircraft.fuel.density_kg_m3);
        (turned, holds)
    };
    assert!(told(&steep).0 > 2.0);
    let mut late = flown.script.clone();
    late.descent.to_go_m -= 0.5 * M_PER_NM;
    assert!(!told(&late).1);
}

/// A flight between public fields (identifiers, places and elevations of the built-in table) over ground made up for the test: rows of
/// miles from the start and feet.
fn trip(
    profile: &str,
    fields: [&str; 2],
    ground: &[(f64, f64)],
    minimum_ft: f64,
    pattern_ft: f64,
    rest: &str,
    change: &dyn Fn(&mut Trip),
) -> Problem {
    let root = env!("CARGO_MANIFEST_DIR");
    let rows: Vec<String> = ground
        .iter()
        .map(|(to, ft)| format!("{{ to_nm = {to}, ground_ft = {ft} }}"))
        .collect();
    let text = format!(
        "title = \"test\"\nprofile = \"{root}/profiles/{profile}.toml\"\ndeparture_utc = 2026-01-31T16:00:00Z\n{rest}\n\
         [[place]]\nident = \"{}\"\n[[place]]\nident = \"{}\"\n\
         [[leg]]\nminimum_altitude_ft = {minimum_ft}\nmountainous = false\nground = [{}]\nsource = \"made up\"\n\
         [load]\npeople_lb = 340\nbaggage_lb = 60\n[fuel]\non_board_gal = 45\n\
         [prices]\nhourly = 120\nbasis = \"airborne\"\nfuel_per_gal = 6.5\n\
         [weather]\naltimeter_inhg = 30.00\n[[weather.aloft]]\nlat = 34.5\nlon = -117.0\nlevels = [\
         {{ altitude_ft = 0, wind_from_deg = 270, wind_kt = 5, temperature_c = 15 }}, \
         {{ altitude_ft = 15000, wind_from_deg = 280, wind_kt = 30, temperature_c = -14 }}]\n\
         [objective]\nkind = \"money\"\n[limits]\nrules = \"none\"\nmax_altitude_ft = 12500\nclearance_ft = 1000\n\
         [arrival]\npattern_altitude_ft = {pattern_ft}\n",
        fields[0],
        fields[1],
        rows.join(", ")
    );
    let mut file = parse_trip(&text, Path::new("trip.toml"), None).expect("a trip");
    change(&mut file.trip);
    resolve(&file.trip, file.aircraft).expect("resolves")
}

/// Palm Springs to Palmdale: 9,400 ft from 9 to 20 nm out.
fn up() -> Problem {
    let ground = [
        (9.0, 5_000.0),
        (20.0, 9_400.0),
        (40.0, 7_000.0),
        (60.0, 5_500.0),
        (91.0, 4_000.0),
    ];
    trip(
        "retractable-200hp",
        ["KPSP", "KPMD"],
        &ground,
        10_500.0,
        3_500.0,
        "",
        &|_| {},
    )
}

/// The other way: the same ground before the field.
fn down(rest: &str) -> Problem {
    down_with(rest, &|_| {})
}

/// The same with the trip changed.
fn down_with(rest: &str, change: &dyn Fn(&mut Trip)) -> Problem {
    let ground = [
        (50.0, 6_000.0),
        (72.0, 7_000.0),
        (82.0, 9_400.0),
        (91.0, 5_000.0),
    ];
    trip(
        "retractable-200hp",
        ["KPMD", "KPSP"],
        &ground,
        10_500.0,
        1_500.0,
        rest,
        change,
    )
}

/// The flight of a plan against the limits that hold in turns, by code of its own, and what the plan says of it.
fn check(p: &Problem, plan: &Plan, over: [bool; 2]) {
    let f = &plan.flown;
    let circles = [f.circling_climb(), f.circling_descent()];
    assert_eq!(circles.map(|c| c.is_some()), over);
    assert_eq!(f.audit.violation(), 0.0);
    assert!(
        plan.reflight.within_bounds(p.aircraft.fuel.density_kg_m3),
        "{:?}",
        plan.reflight
    );
    assert!(
        plan.warnings
            .iter()
            .any(|w| matches!(w, Warning::Circling { .. }))
    );
    let n = 1.0 / BANK.cos();
    for t in f.track.iter().filter(|t| t.bank_rad > 0.0) {
        let mass = t.mass_kg / p.aircraft.masses.max_take_off_kg;
        let least = 1.3 * p.aircraft.speeds.vs_m_s * (mass * n).sqrt();
        assert!(
            t.ias_m_s > least - 0.1 * M_S_PER_KT,
            "{} of {least} m/s",
            t.ias_m_s
        );
        assert!(t.ias_m_s < p.aircraft.speeds.vno_m_s - 9.8 * M_S_PER_KT);
        assert!(t.rate_m_s > -p.limits.max_descent_m_s - 0.01);
        assert_eq!(t.ground_speed_m_s, 0.0);
        let from_field = t.state.distance_m.min(p.length_m - t.state.distance_m);
        assert!(from_field < 3.0 * M_PER_NM, "{from_field} m from the field");
    }
    // 500 ft above ground from 10 nm of a field on, 1,000 ft from 20 nm.
    for t in &f.track {
        let from_field = t.state.distance_m.min(p.length_m - t.state.distance_m) / M_PER_NM;
        let ground = p.legs[0]
            .ground
            .iter()
            .find(|g| t.state.distance_m < g.1)
            .map_or(0.0, |g| g.2);
        let clear = if from_field > 20.01 {
            1_000.0
        } else if from_field > 10.01 {
            500.0
        } else {
            continue;
        };
        assert!(
            t.true_altitude_m > ground + clear * M_PER_FT - 2.0,
            "{from_field} nm from a field"
        );
    }
    for c in circles.iter().flatten() {
        assert!((c.end.state.distance_m - c.begin.state.distance_m).abs() < STILL_M);
    }
    if let [Some(c), _] = circles {
        // Whole 500 ft, above the first thousand.
        let steps = c.end.indicated_m / (500.0 * M_PER_FT);
        assert!((steps - steps.round()).abs() < 1e-3 && c.turns > 0.0);
    }
    if let [_, Some(c)] = circles {
        assert!((p.length_m - c.begin.state.distance_m).abs() < 0.11 * M_PER_NM);
        assert!((c.end.indicated_m - p.arrival.pattern_altitude_m).abs() < 1.0);
        assert!((c.end.ias_m_s - p.aircraft.procedures.pattern_m_s).abs() < 0.1 * M_S_PER_KT);
    }
    faces(p, plan);
}

/// What every face says of the turns.
fn faces(p: &Problem, plan: &Plan) {
    let figures = Figures::new(plan, p);
    let sheet: String = terminal(&figures, 100)
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    let chart = svg(&figures).expect("a chart");
    let json: serde_json::Value =
        serde_json::from_str(&fellrun::brief::json(&figures).expect("figures")).expect("JSON");
    let card: Vec<&str> = figures
        .lever_card
        .iter()
        .map(|l| l.action.as_str())
        .collect();
    let both = [
        (
            plan.flown.circling_climb(),
            "circling_climb",
            "CIRCLE over the field, climbing at",
        ),
        (
            plan.flown.circling_descent(),
            "circling_descent",
            "CIRCLE down over the field to",
        ),
    ];
    for (circled, key, action) in both {
        assert_eq!(json[key].is_null(), circled.is_none(), "{key}");
        assert_eq!(
            card.iter().any(|l| l.contains(action)),
            circled.is_some(),
            "{card:?}"
        );
        let Some(c) = circled else { continue };
        let turns = json[key]["turns"].as_f64().expect("turns");
        assert!((turns - c.turns).abs() < 1e-5);
        let minutes = (c.end.state.time_s - c.begin.state.time_s) / 60.0;
        assert!((json[key]["time_min"].as_f64().expect("a time") - minutes).abs() < 1e-4);
        let segments = json["segments"].as_array().expect("segments").iter();
        let of_kind = segments.filter(|s| {
            s["kind"] == key || (key == "circling_descent" && s["kind"] == "slow_down")
        });
        let sum: f64 = of_kind.map(|s| s["turns"].as_f64().expect("turns")).sum();
        assert!(
            (sum - turns).abs() < 1e-4,
            "{sum} in segments, {turns} in all"
        );
        assert!(
            sheet.contains(json[key]["sentence"].as_str().expect("a sentence")),
            "{sheet}"
        );
        let words = if turns > 1.5 {
            format!("about {turns:.0} turns")
        } else {
            "a turn".to_owned()
        };
        assert!(chart.contains(&words), "{turns}");
    }
    assert!(sheet.contains("this plan circles over"), "{sheet}");
    // One line is one line at the widest.
    assert!(
        figures.in_one_line.chars().count() <= 100,
        "{}",
        figures.in_one_line
    );
}

#[test]
fn crosscheck_high_ground_near_the_departure_is_cleared_circling() {
    let p = up();
    let planned = plan(&p).expect("a plan");
    check(&p, &planned, [true, false]);
    // No higher than it must: the same settings from 500 ft lower do not clear the ground.
    let mut lower = planned.flown.script.clone();
    let circle = lower.climb.circle.as_mut().expect("turns");
    circle.height_m -= 500.0 * M_PER_FT;
    lower.descent.to_go_m = f64::NAN;
    let flown = fly_recorded(&p, &prepared(&p, &lower)).expect("flies");
    assert!(flown.audit.violation() > 0.0);
}

#[test]
fn crosscheck_high_ground_near_the_destination_is_cleared_circling() {
    let p = down("");
    check(&p, &plan(&p).expect("a plan"), [false, true]);
    // The same for who is in flight already.
    let q = p.in_flight(11_500.0 * M_PER_FT, 120.0 * M_S_PER_KT);
    check(&q, &plan(&q).expect("a plan"), [false, true]);
}

#[test]
fn crosscheck_both_fields_in_holes_with_two_engines_and_a_fixed_pitch() {
    for (profile, high) in [("twin-200hp", 9_400.0), ("trainer-160hp", 6_500.0)] {
        let ground = [
            (9.0, 3_000.0),
            (20.0, high),
            (100.0, 5_000.0),
            (138.0, 5_500.0),
            (149.0, high),
            (158.0, 1_000.0),
        ];
        let p = trip(
            profile,
            ["KPSP", "KL06"],
            &ground,
            high + 1_100.0,
            1_000.0,
            "",
            &|_| {},
        );
        check(&p, &plan(&p).expect("a plan"), [true, true]);
    }
}

#[test]
fn closed_form_a_trip_that_circling_does_not_free_says_so() {
    // 500 ft over 12,200 ft is above the greatest altitude of 12,500 ft, straight or circling.
    let raised = |mut p: Problem| {
        for stretch in &mut p.legs[0].ground {
            if stretch.2 > 9_000.0 * M_PER_FT {
                stretch.2 = 12_200.0 * M_PER_FT;
            }
        }
        p
    };
    let told = plan(&raised(up()))
        .expect_err("nothing clears it")
        .to_string();
    assert!(told.contains("were tried, each alone and both"), "{told}");
    assert!(
        told.contains("What would free it") && !told.contains("or circling"),
        "{told}"
    );
    // No climb in turns for who is in flight.
    let q = raised(up().in_flight(6_500.0 * M_PER_FT, 100.0 * M_S_PER_KT));
    let told = plan(&q).expect_err("nothing clears it").to_string();
    assert!(
        !told.contains("departure") && told.contains("letting down circling"),
        "{told}"
    );
    assert!(matches!(q.start, Start::InFlight { .. }));
}

#[test]
fn closed_form_who_can_fly_straight_never_circles() {
    let mut p = common::demo_trip("first-trip.toml", Objective::Money);
    let straight = plan(&p).expect("a plan");
    let script = &straight.flown.script;
    assert!(script.climb.circle.is_none() && script.descent.circle.is_none());
    assert!(straight.flown.track.iter().all(|t| t.bank_rad == 0.0));
    assert!(straight.flown.circling_climb().is_none() && p.circling == Circling::default());
    // Where turns are imposed they cost: nothing would be gained by offering them.
    p.circling.climb_to_m = Some(8_500.0 * M_PER_FT);
    let circling = plan(&p).expect("a plan");
    assert!(circling.flown.circling_climb().is_some());
    assert!(circling.flown.cost > straight.flown.cost);
}

/// A calm 20 K colder than the standard, below freezing from the ground up, and cloud in it between these along the route, nm.
fn icy(from_nm: f64, to_nm: f64) -> Problem {
    down_with("", &|trip| {
        let level = |i: i32| LevelValue {
            datum: Datum::TrueAltitude,
            height_m: 1_000.0 * f64::from(i),
            u_m_s: 0.0,
            v_m_s: 0.0,
            temperature_k: Some(268.15 - 6.5 * f64::from(i)),
        };
        let station = Station {
            name: "cold".into(),
            lat_deg: 34.5,
            lon_deg: -117.0,
            elevation_m: 0.0,
            levels: (0..6).map(level).collect(),
        };
        trip.weather.forecasts[0].field = WindField::new(&[station]).expect("air");
        trip.airspace.clouds = vec![Cloud {
            base_m: 3_000.0 * M_PER_FT,
            top_m: 3_400.0 * M_PER_FT,
            from_m: from_nm * M_PER_NM,
            to_m: to_nm * M_PER_NM,
        }];
    })
}

#[test]
fn regress_no_turn_leads_through_cloud_that_lies_over_the_field() {
    // A patch ended with the route, and a path that reached the field a metre late came down beside it.
    let over_nm = down("").length_m / M_PER_NM;
    let free = plan(&icy(-1.0, -0.5)).expect("a plan");
    let turns = free.flown.circling_descent().expect("turns");
    let (from_m, to_m) = (turns.begin.indicated_m, turns.end.indicated_m);
    assert!(from_m > 3_400.0 * M_PER_FT && to_m < 3_000.0 * M_PER_FT);
    for (from_nm, to_nm) in [
        (f64::NEG_INFINITY, f64::INFINITY),
        (80.0, over_nm),
        // A mile beside the field or so, where the turns lead.
        (80.0, over_nm - 1.0),
        (over_nm + 1.0, f64::INFINITY),
    ] {
        let found = plan(&icy(from_nm, to_nm));
        let error = found.err().map(|e| e.to_string()).unwrap_or_default();
        assert!(
            error.contains("no flight keeps every limit") && error.contains("circling"),
            "{from_nm} to {to_nm} nm: {error}"
        );
    }
    // Out of the way of the turns.
    for (from_nm, to_nm) in [(30.0, 60.0), (over_nm + 3.1, f64::INFINITY)] {
        let p = icy(from_nm, to_nm);
        let found = plan(&p).expect("a plan");
        check(&p, &found, [false, true]);
    }
}

#[test]
fn closed_form_turns_keep_out_of_a_volume_beside_the_field() {
    // Half a mile wide, from the ground to 9,000 ft, so far beyond the field on the course of the leg.
    let beyond = |nm: f64| {
        down_with("", &|trip| {
            let [a, b] = [0, 1].map(|i| trip.places[i].position);
            let course = geodesic::Leg::new(a, b).expect("a leg").course_end_rad();
            let corner = |nm: f64, side_rad: f64| {
                let middle = geodesic::destination(b, course, nm * M_PER_NM);
                let p = geodesic::destination(middle, course + side_rad, 0.25 * M_PER_NM);
                [p.lon_deg(), p.lat_deg()]
            };
            let (left, right) = (-0.5 * std::f64::consts::PI, 0.5 * std::f64::consts::PI);
            let ring = vec![
                corner(nm, left),
                corner(nm, right),
                corner(nm + 0.5, right),
                corner(nm + 0.5, left),
                corner(nm, left),
            ];
            trip.airspace.keep_outs = vec![Volume {
                name: "beside".into(),
                areas: vec![Area::new(&[ring]).expect("an area")],
                lower_m: f64::NEG_INFINITY,
                upper_m: 9_000.0 * M_PER_FT,
            }];
        })
    };
    // No straight path comes near it, and with 20 degrees of bank a turn at 130 KTAS is 1.35 nm wide: V²/(g tan(bank)), twice.
    let in_the_way = plan(&beyond(1.0)).map(|p| p.flown.script);
    assert!(
        in_the_way
            .as_ref()
            .is_err_and(|e| e.to_string().contains("circling")),
        "{in_the_way:?}"
    );
    let free = plan(&down("")).expect("a plan");
    let clear = plan(&beyond(3.1)).expect("a plan");
    assert_eq!(free.flown.script, clear.flown.script);
}

/// Over mountains 500 fpm are to be kept on reaching a level, 300 elsewhere: turns over the field reach it where 300 do.
#[test]
fn regress_a_level_is_reached_in_turns_where_less_climb_is_asked_for() {
    // Two legs, invented: an ordinary one of some miles, then mountains.
    let root = env!("CARGO_MANIFEST_DIR");
    let text = format!(
        "title = \"test\"\nprofile = \"{root}/profiles/trainer-160hp.toml\"\ndeparture_utc = 2026-04-15T17:00:00Z\n\
         [[place]]\nident = \"AAA\"\nlat = 43.0\nlon = -112.0\nelevation_ft = 4400\n\
         [[place]]\nident = \"BBB\"\nlat = 43.0\nlon = -112.15\nelevation_ft = 4400\n\
         [[place]]\nident = \"CCC\"\nlat = 43.0\nlon = -114.6\nelevation_ft = 4400\n\
         [[leg]]\nminimum_altitude_ft = 8400\nmountainous = false\nsource = \"made up\"\n\
         [[leg]]\nminimum_altitude_ft = 8400\nmountainous = true\nsource = \"made up\"\n\
         [load]\npeople_lb = 300\nbaggage_lb = 20\n[fuel]\non_board_gal = 40\n\
         [prices]\nhourly = 120\nbasis = \"airborne\"\nfuel_per_gal = 6.5\n\
         [weather]\naltimeter_inhg = 29.92\n[[weather.aloft]]\nplace = \"AAA\"\nlevels = [\
         {{ altitude_ft = 6000, wind_from_deg = 240, wind_kt = 5, temperature_c = 10 }}, \
         {{ altitude_ft = 18000, wind_from_deg = 240, wind_kt = 5, temperature_c = -18 }}]\n\
         [objective]\nkind = \"time\"\n[limits]\nrules = \"us-vfr\"\nmax_altitude_ft = 12500\n"
    );
    let file = parse_trip(&text, Path::new("trip.toml"), None).expect("a trip");
    let p = resolve(&file.trip, file.aircraft).expect("resolves");
    let found = plan(&p).expect("climbs circling");
    assert!(found.flown.circling_climb().is_some());
    let level = found.flown.script.cruise[0].level_m;
    assert!(level > 8_400.0 * M_PER_FT, "{level}");
}
