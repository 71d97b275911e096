//! Air that changes while the flight goes on: the clock of the flight decides which wind it meets.

use crate::common::{demo, problem};
use fellrun::air::WindField;
use fellrun::air::field::{Datum, LevelValue, Station};
use fellrun::flight::{Flown, fly_recorded};
use fellrun::quantity::{M_PER_FT, M_PER_NM, M_S_PER_KT};
use fellrun::reflight::refly;
use fellrun::solve::{charged, plan};
use fellrun::trip::{Forecast, LegLevels, Objective, Problem, RouteAir, resolve};
use std::path::Path;

const TOP_M: f64 = 25_000.0 * M_PER_FT;

/// Distance flown by a time, m, linear between the points of the path.
fn distance_at(path: &[(f64, f64)], time_s: f64) -> f64 {
    let i = path
        .partition_point(|p| p.0 <= time_s)
        .clamp(1, path.len() - 1);
    let ((t0, s0), (t1, s1)) = (path[i - 1], path[i]);
    s0 + (s1 - s0) * (time_s - t0) / (t1 - t0)
}

/// Distances that should agree, m: a chord of ten miles of cruise, over which the airspeed changes by some tenths of a knot, is off by
/// less. The wind makes 25 km; taking it where a stretch begins or by another clock is hundreds of metres off.
const DISTANCE_M: f64 = 15.0;

#[test]
fn closed_form_distance_in_a_wind_that_changes_linearly() {
    // The same at every place and height, w(t) = w0 + a t: what the aeroplane does to the air is as in calm air, so that after a time t
    // it is w0 t + a t^2 / 2 farther. From -10 kt at lift-off to +50 kt two hours later.
    let (w0, w1, hours) = (-10.0 * M_S_PER_KT, 50.0 * M_S_PER_KT, 2.0);
    let a = (w1 - w0) / (hours * 3_600.0);
    let calm = problem(demo(), 300.0, 0.0, 0.0);
    let plan = plan(&calm).expect("a plan");
    let mut windy = calm.clone();
    let slice = |w| RouteAir::uniform(calm.length_m, w, 0.0, 0.0, TOP_M);
    windy.air = RouteAir::through_time(vec![(0.0, slice(w0)), (hours * 3_600.0, slice(w1))])
        .expect("rising times");
    let script = &plan.flown.script;
    let farther = |t: f64| w0 * t + 0.5 * a * t * t;
    let check = |still: &[(f64, f64)], moving: &[(f64, f64)], tod_m: f64| {
        // As far as the cruise goes in both, the throttle not yet touched, and before the wind stops changing.
        let until_s = still.iter().find(|p| p.1 >= tod_m).expect("descends").0;
        let mut looked = 0;
        for &(t, s) in moving.iter().filter(|p| p.1 < tod_m && p.0 < until_s) {
            let miss_m = s - distance_at(still, t) - farther(t);
            assert!(miss_m.abs() < DISTANCE_M, "{miss_m} m off after {t} s");
            looked += 1;
        }
        assert!(looked > 20, "only {looked} points");
    };
    let path = |f: &Flown| {
        f.track
            .iter()
            .map(|t| (t.state.time_s, t.state.distance_m))
            .collect::<Vec<_>>()
    };
    let moving = fly_recorded(&windy, script).expect("flies");
    let tod_m = calm.length_m - script.descent.to_go_m;
    check(&path(&plan.flown), &path(&moving), tod_m);
    // And the independent integrator.
    let samples = |p: &Problem| {
        let r = refly(p, script).expect("re-flies");
        r.samples
            .iter()
            .map(|x| (x.time_s, x.distance_m))
            .collect::<Vec<_>>()
    };
    check(&samples(&calm), &samples(&windy), tod_m);
}

/// The demo trip with one forecast or with a second, three hours after the first: warmer, the wind a fresh easterly.
fn forecasts(count: usize, objective: Objective) -> Problem {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/first-trip.toml");
    let file = fellrun::files::trip::load_trip(&path, None).expect("the demo trip loads");
    let mut trip = file.trip;
    trip.objective = objective;
    let ends = [&trip.places[0], &trip.places[trip.places.len() - 1]];
    let stations: Vec<Station> = ends
        .iter()
        .map(|place| Station {
            name: place.ident.clone(),
            lat_deg: place.position.lat_deg(),
            lon_deg: place.position.lon_deg(),
            elevation_m: 0.0,
            levels: [
                (3_000.0, 5.0, 288.0),
                (9_000.0, 35.0, 277.0),
                (18_000.0, 60.0, 258.0),
            ]
            .map(|(ft, kt, kelvin)| LevelValue {
                datum: Datum::TrueAltitude,
                height_m: ft * M_PER_FT,
                u_m_s: -kt * M_S_PER_KT,
                v_m_s: 0.5 * kt * M_S_PER_KT,
                temperature_k: Some(kelvin),
            })
            .to_vec(),
        })
        .collect();
    let first = trip.weather.forecasts[0].clone();
    trip.weather.forecasts = vec![
        Forecast {
            valid: trip.departure_time,
            ..first
        },
        Forecast {
            valid: trip.departure_time + jiff::SignedDuration::from_hours(3),
            field: WindField::new(&stations).expect("in order"),
        },
    ];
    trip.weather.forecasts.truncate(count);
    resolve(&trip, file.aircraft).expect("resolves")
}

#[test]
fn crosscheck_plans_in_changing_air_re_fly() {
    for objective in [Objective::Time, Objective::Fuel, Objective::Money] {
        let p = forecasts(2, objective);
        assert!(!p.air.is_steady());
        let answer = plan(&p).expect("a plan");
        // The usual bounds of the re-flight: 2 s, 0.05 gal, 50 ft, 2 kt.
        assert!(
            answer.reflight.within_bounds(p.aircraft.fuel.density_kg_m3),
            "{objective:?}: {:?}",
            answer.reflight
        );
        // DESIGN section 6.6: no plan beats the ideal flight by more than 0.1 %.
        assert!(
            answer.ideal.margin > -1e-3,
            "{objective:?}: {}",
            answer.ideal.margin
        );
        // The change matters: in the air of one time the same settings fly another time altogether.
        let early = forecasts(1, objective);
        assert!(early.air.is_steady());
        let other = fly_recorded(&early, &answer.flown.script).expect("flies");
        assert!((other.time_s - answer.flown.time_s).abs() > 60.0);
    }
}

#[test]
fn closed_form_forecasts_must_be_in_order() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/first-trip.toml");
    let file = fellrun::files::trip::load_trip(&path, None).expect("the demo trip loads");
    for count in [0, 2] {
        let mut trip = file.trip.clone();
        trip.weather.forecasts = vec![file.trip.weather.forecasts[0].clone(); count];
        let error =
            resolve(&trip, file.aircraft.clone()).expect_err("no forecast, or twice one time");
        assert!(error.to_string().contains("forecast"), "{error}");
    }
}

/// Wind aloft that swings within two hours, m/s along the course by height: none at the ground, this much \[kt\] at 9,500 ft.
fn aloft(kt: f64) -> impl Fn(f64) -> (f64, f64) {
    move |hp| {
        (
            kt * M_S_PER_KT * (hp / M_PER_FT / 9_500.0).clamp(0.0, 1.0),
            0.0,
        )
    }
}

fn swinging(objective: Objective, kt: (f64, f64), levels_ft: &[f64]) -> Problem {
    let mut p = problem(demo(), 340.0, 0.0, 0.0);
    p.objective = objective;
    let slice = |kt: f64| RouteAir::by_height(p.length_m, 0.0, TOP_M, aloft(kt));
    p.air = RouteAir::through_time(vec![(0.0, slice(kt.0)), (7_200.0, slice(kt.1))])
        .expect("rising times");
    p.levels = vec![LegLevels {
        levels_m: levels_ft.iter().map(|ft| ft * M_PER_FT).collect(),
    }];
    p
}

/// Step of the change of level by brute force, nm.
const CHANGE_NM: usize = 5;

/// A head wind aloft that becomes a tail wind: low first, then high, against every place of the change.
#[test]
fn crosscheck_climbs_on_as_the_wind_turns_where_brute_force_does() {
    let (objective, kt) = (Objective::Fuel, (-40.0, 60.0));
    let (first_ft, last_ft) = (3_500.0, 9_500.0);
    let alone = |ft: f64| {
        plan(&swinging(objective, kt, &[ft]))
            .expect("a plan at one level")
            .flown
    };
    let (first, last) = (alone(first_ft), alone(last_ft));
    let p = swinging(objective, kt, &[first_ft, last_ft]);
    let answer = plan(&p).expect("a plan").flown;
    // By brute force: climb and cruise of the plan at the one level alone, then cruise and descent of that at the other.
    let mut best: Option<(f64, f64)> = None;
    for nm in (30_u32..300).step_by(CHANGE_NM) {
        let from_m = f64::from(nm) * M_PER_NM;
        let mut script = first.script.clone();
        script.cruise.extend(last.script.cruise.iter().copied());
        script.cruise[1].from_m = from_m;
        script.descent = last.script.descent;
        script.descent.to_go_m = f64::NAN;
        let script = fellrun::solve::prepared(&p, &script);
        let Some(flown) = fly_recorded(&p, &script)
            .ok()
            .filter(|f| f.audit.violation() == 0.0)
        else {
            continue;
        };
        let cost = charged(&flown);
        if best.is_none_or(|b| cost < b.0) {
            best = Some((cost, from_m));
        }
    }
    let (cost, from_m) = best.expect("some change can be flown");
    // The change pays, by more than it is charged.
    assert!(cost < charged(&first) && cost < charged(&last));
    let levels: Vec<f64> = answer
        .script
        .cruise
        .iter()
        .map(|c| (c.level_m / M_PER_FT).round())
        .collect();
    assert_eq!(levels, [first_ft, last_ft]);
    // No worse than brute force, by more than the tie of the search (0.01 %).
    assert!(
        charged(&answer) < cost * (1.0 + 1e-4),
        "{} {cost}",
        charged(&answer)
    );
    // And the change about where brute force has it, whose settings are not quite the plan's: the optimum is flat.
    let miss_nm = (answer.script.cruise[1].from_m - from_m).abs() / M_PER_NM;
    assert!(
        miss_nm <= 15.0,
        "{miss_nm} nm from {} nm",
        from_m / M_PER_NM
    );
    // In the air of the beginning or of the end throughout no level is left.
    for kt in [kt.0, kt.1] {
        let mut still = p.clone();
        still.air = RouteAir::by_height(p.length_m, 0.0, TOP_M, aloft(kt));
        let one = plan(&still).expect("a plan").flown;
        assert_eq!(one.script.cruise.len(), 1, "{kt} kt");
    }
}
