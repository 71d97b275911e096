//! Every point of the lever path of cards of random trips, in all five profiles, against limit line, RPM bands and mixture bands as the
//! profile file has them, read and interpolated here.

use crate::common::{self, PROFILES, profile, profile_path};
use fellrun::aircraft::{Aircraft, Throttle};
use fellrun::brief::{CardLine, Group, Lever, LeverPoint, Units, lever_card};
use fellrun::quantity::{M_PER_FT, M_PER_NM, M_S_PER_FPM, M_S_PER_KT, PA_PER_INHG};
use fellrun::solve::{Plan, plan};
use fellrun::trip::{Objective, Problem, Roughness, legal_levels};
use proptest::strategy::{Strategy, ValueTree};
use proptest::test_runner::TestRunner;
use toml::{Table, Value};

/// Trips drawn for each profile; with the dev profile's optimisation each takes a fraction of a second.
const TRIPS: usize = 8;
/// Of the forty so many must have a plan, or the test looks at nothing.
const LEAST_PLANNED: usize = 20;
/// What the audit of a flight takes for rounding (a tenth of 0.1 in), and as much as a figure of the card is rounded by, inHg.
const MAP_INHG: f64 = 0.06;
/// A reading in words is a tenth of an inch, or ten rpm.
const WORD_INHG: f64 = 0.051;
const WORD_RPM: f64 = 5.01;
/// What the audit takes for rounding, twice, in per cent of power; and the air between two points of the track.
const POWER_PERCENT: f64 = 0.3;
/// Points between two points of the path that are looked at.
const BETWEEN: u32 = 20;

/// The limits of a profile file.
struct Limits {
    /// RPM and inHg, slowest first; none: RPM/100, or with a fixed pitch no limit.
    line: Vec<(f64, f64)>,
    /// From, to, above which MAP.
    bands: Vec<(f64, f64, f64)>,
    /// Names and greatest per cent of power.
    mixtures: Vec<(String, f64)>,
    fixed: bool,
    highest_rpm: f64,
}

fn number(v: &Value) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "figures of a profile")]
    v.as_float()
        .or_else(|| v.as_integer().map(|i| i as f64))
        .expect("a number")
}

fn rows<'a>(table: &'a Value, key: &str) -> Vec<&'a Value> {
    table
        .get(key)
        .and_then(Value::as_array)
        .map_or(vec![], |a| a.iter().collect())
}

fn limits(name: &str) -> Limits {
    let text = std::fs::read_to_string(profile_path(name)).expect("a profile");
    let profile: Table = text.parse().expect("TOML");
    let (propeller, procedures) = (&profile["propeller"], &profile["procedures"]);
    let fixed = propeller.get("kind").and_then(Value::as_str) == Some("fixed");
    let highest = if fixed {
        "redline_rpm"
    } else {
        "highest_governed_rpm"
    };
    Limits {
        line: rows(procedures, "map_limit")
            .iter()
            .map(|r| (number(&r["rpm"]), number(&r["map_inhg"])))
            .collect(),
        bands: rows(propeller, "avoid")
            .iter()
            .map(|r| {
                (
                    number(&r["from_rpm"]),
                    number(&r["to_rpm"]),
                    r.get("above_map_inhg").map_or(0.0, number),
                )
            })
            .collect(),
        mixtures: rows(&profile["engine"], "mixture")
            .iter()
            .map(|r| {
                (
                    r["name"].as_str().expect("a name").to_owned(),
                    number(&r["max_power_percent"]),
                )
            })
            .collect(),
        fixed,
        highest_rpm: number(&propeller[highest]),
    }
}

impl Limits {
    fn most_inhg(&self, rpm: f64) -> f64 {
        match self.line.as_slice() {
            [] if self.fixed => f64::INFINITY,
            [] => rpm / 100.0,
            [first, ..] if rpm <= first.0 => first.1,
            rows => rows
                .windows(2)
                .find(|w| rpm <= w[1].0)
                .map_or(rows[rows.len() - 1].1, |w| {
                    w[0].1 + (w[1].1 - w[0].1) * (rpm - w[0].0) / (w[1].0 - w[0].0)
                }),
        }
    }

    /// With the lever full forward (take-off, circuit, go-around) neither line nor bands hold: DESIGN section 5.
    fn forward(&self, p: &LeverPoint) -> bool {
        p.rpm > self.highest_rpm - 1.0
    }
}

/// A trip in uniform air between two fields, drawn.
fn draw(runner: &mut TestRunner, aircraft: &Aircraft) -> Problem {
    let drawn = proptest::collection::vec(0.0..1.0_f64, 16)
        .new_tree(runner)
        .expect("numbers")
        .current();
    let mut drawn = drawn.into_iter();
    let mut between = |low: f64, high: f64| low + (high - low) * drawn.next().expect("enough");
    let mut p = common::problem(
        aircraft.clone(),
        between(60.0, 380.0),
        between(-35.0, 35.0),
        between(-25.0, 25.0),
    );
    p.departure.elevation_m = between(0.0, 4_000.0) * M_PER_FT;
    p.destination.elevation_m = between(0.0, 4_000.0) * M_PER_FT;
    let highest_m = p.departure.elevation_m.max(p.destination.elevation_m);
    for leg in &mut p.legs {
        leg.ground = vec![(0.0, p.length_m, highest_m)];
        leg.minimum_m = highest_m + 1_500.0 * M_PER_FT;
    }
    p.arrival.pattern_altitude_m = p.destination.elevation_m + 1_000.0 * M_PER_FT;
    p.arrival.before_m = between(3.0, 8.0) * M_PER_NM;
    p.objective = [Objective::Time, Objective::Fuel, Objective::Money][if between(0.0, 3.0) < 1.0 {
        0
    } else {
        1 + usize::from(between(0.0, 1.0) < 0.5)
    }];
    p.limits.max_descent_m_s = between(350.0, 900.0) * M_S_PER_FPM;
    p.limits.least_map_pa = between(13.0, 17.0) * PA_PER_INHG;
    p.limits.map_reduction_pa_s = between(1.0, 3.0) * PA_PER_INHG / 60.0;
    p.limits.air = if between(0.0, 1.0) < 0.4 {
        vec![(between(3_000.0, 9_000.0) * M_PER_FT, Roughness::Rough)]
    } else {
        vec![]
    };
    p.zero_fuel_kg -= between(0.0, 0.15) * p.zero_fuel_kg;
    p.levels = p.legs.iter().map(|l| legal_levels(&p, l)).collect();
    p
}

/// Brake power at a point of the path in per cent of rated, by the engine in the air and at the speed of the track there.
fn power_percent(problem: &Problem, plan: &Plan, line: &CardLine, point: &LeverPoint) -> f64 {
    let at_m = line.distance_nm * M_PER_NM;
    let track = &plan.flown.track;
    let i = track
        .partition_point(|t| t.state.distance_m < at_m - 1.0)
        .min(track.len() - 1);
    let s = &track[i].state;
    let (air, _) = problem.air_state(s.distance_m, s.pressure_altitude_m, s.time_s);
    let engine = &problem.aircraft.engine;
    let mixture = engine
        .spec
        .mixtures
        .iter()
        .position(|m| m.name == point.mixture)
        .expect("a mixture of the profile");
    let map_pa = point.map_inhg.expect("under a governor") * PA_PER_INHG;
    let intake = problem.aircraft.intake(air, s.tas_m_s);
    let out = engine.at_map(map_pa, point.rpm / 60.0, mixture, intake);
    100.0 * out.power_w / engine.spec.rated_power_w
}

/// Numbers that follow a phrase in the words of an action.
fn after(text: &str, phrase: &str) -> Vec<f64> {
    text.match_indices(phrase)
        .filter_map(|(i, _)| {
            let digits: String = text[i + phrase.len()..]
                .chars()
                .take_while(|c| c.is_ascii_digit() || *c == '.' || *c == ',')
                .filter(|c| *c != ',')
                .collect();
            digits.trim_end_matches('.').parse().ok()
        })
        .collect()
}

/// The words of a line against its path.
fn check_words(l: &CardLine, fixed: bool) -> usize {
    let has = |want: f64, off: f64, get: &dyn Fn(&LeverPoint) -> Option<f64>| {
        l.levers
            .iter()
            .filter_map(get)
            .any(|x| (x - want).abs() <= off)
    };
    let mut seen = 0;
    for way in ["THROTTLE back to ", "THROTTLE forward to ", "THROTTLE set "] {
        for said in after(&l.action, way) {
            seen += 1;
            let found = if fixed {
                has(said, WORD_RPM, &|p| Some(p.rpm))
            } else {
                has(said, WORD_INHG, &|p| p.map_inhg)
            };
            assert!(found, "{said} is not on the path of {l:#?}");
        }
    }
    for way in ["PROP back to ", "PROP forward to "] {
        for said in after(&l.action, way) {
            seen += 1;
            assert!(has(said, WORD_RPM, &|p| Some(p.rpm)), "{said}: {l:#?}");
        }
    }
    seen
}

/// How many points and words were looked at.
fn check(name: &str, limits: &Limits, problem: &Problem, plan: &Plan) -> (usize, usize) {
    let card = lever_card(plan, problem, Units::Us);
    for side in [false, true] {
        let n = card
            .iter()
            .filter(|l| l.group.arrival_side() == side)
            .count();
        assert!(n <= 9, "{name}: {n} lines: {card:#?}");
    }
    let climb = &plan.flown.script.climb;
    let rows = &problem.aircraft.engine.spec.mixtures;
    let climb_mixtures =
        [climb.mixture, problem.aircraft.engine.best_power_mixture()].map(|i| rows[i].name.clone());
    let (mut points, mut words) = (0, 0);
    let mut before: Option<LeverPoint> = None;
    for l in &card {
        words += check_words(l, limits.fixed);
        for p in &l.levers {
            points += 1;
            let tell = || format!("{name}: {p:?} in {l:#?}");
            assert!(p.rpm <= limits.highest_rpm + 1.0, "{}", tell());
            let over = |rpm: f64, map: f64| map - limits.most_inhg(rpm) > MAP_INHG;
            if let Some(map) = p.map_inhg.filter(|_| !limits.forward(p)) {
                assert!(!over(p.rpm, map), "over the limit line: {}", tell());
                for (from, to, above) in &limits.bands {
                    let inside = p.rpm > from + 0.5 && p.rpm < to - 0.5 && map > above + MAP_INHG;
                    assert!(!inside, "in an RPM band: {}", tell());
                }
                // On the way there in a straight line.
                if let Some(b) = &before
                    && let Some(from) = b.map_inhg
                    && !limits.forward(b)
                {
                    for i in 1..BETWEEN {
                        let x = f64::from(i) / f64::from(BETWEEN);
                        let mix = |a: f64, b: f64| a + x * (b - a);
                        assert!(
                            !over(mix(b.rpm, p.rpm), mix(from, map)),
                            "over the limit line on the way from {b:?}: {}",
                            tell()
                        );
                    }
                }
                // Take-off, climb and circuit have a rule of their own for the mixture (DESIGN section 5); so has the climb's mixture until
                // it is set anew.
                let ruled = match l.group {
                    Group::TakeOff | Group::Climb => false,
                    Group::Cruise => !climb_mixtures.contains(&p.mixture),
                    Group::Descent | Group::Arrival => true,
                };
                if ruled && p.moved != Lever::CowlFlaps {
                    let band = limits.mixtures.iter().find(|m| m.0 == p.mixture);
                    let most = band.expect("a mixture of the file").1;
                    let power = power_percent(problem, plan, l, p);
                    assert!(
                        power <= most + POWER_PERCENT,
                        "{power} % of power with {most} allowed: {}",
                        tell()
                    );
                }
            }
            before = Some(p.clone());
        }
    }
    (points, words)
}

#[test]
fn crosscheck_no_point_of_a_lever_path_crosses_a_limit() {
    let mut runner = TestRunner::deterministic();
    let (mut planned, mut points, mut words) = (0, 0, 0);
    for name in PROFILES {
        let aircraft = profile(name);
        let limits = limits(name);
        let mut mine = 0;
        for i in 0..TRIPS {
            let problem = draw(&mut runner, &aircraft);
            let Ok(plan) = plan(&problem) else { continue };
            let seen = check(&format!("{name} {i}"), &limits, &problem, &plan);
            mine += 1;
            points += seen.0;
            words += seen.1;
        }
        println!("{name}: {mine} of {TRIPS} planned");
        assert!(mine >= 2, "{name}: {mine} planned");
        planned += mine;
    }
    println!("{planned} planned, {points} points, {words} readings in words");
    assert!(planned >= LEAST_PLANNED, "{planned} planned");
    assert!(points > 10 * planned && words > 2 * planned);
}

#[test]
fn closed_form_the_check_finds_what_is_over_the_line() {
    // 28 in at 2,200 rpm, where the file has 26: the check of this test must see it.
    let limits = limits("retractable-200hp");
    assert!((limits.most_inhg(2_200.0) - 26.0).abs() < 1e-9);
    assert!((limits.most_inhg(2_300.0) - 27.0).abs() < 1e-9);
    let aircraft = profile("retractable-200hp");
    let mut runner = TestRunner::deterministic();
    let (problem, mut plan) = loop {
        let problem = draw(&mut runner, &aircraft);
        if let Ok(plan) = plan(&problem) {
            break (problem, plan);
        }
    };
    let last = plan.flown.script.cruise.len() - 1;
    plan.flown.script.cruise[last].throttle = Throttle::Map(28.0 * PA_PER_INHG);
    plan.flown.script.cruise[last].rev_s = 2_200.0 / 60.0;
    for t in &mut plan.flown.track {
        // Air in which full throttle gives as much.
        t.state.pressure_altitude_m = -1_000.0 * M_PER_FT;
        t.state.tas_m_s = 140.0 * M_S_PER_KT;
    }
    let seen = std::panic::catch_unwind(|| check("bent", &limits, &problem, &plan));
    assert!(seen.is_err(), "28 in at 2,200 was let through");
}
