//! Flights that begin in the air: no taxi and no take-off, the height of the moment a level only where the rules allow it.

use crate::common::{demo, problem};
use assert_cmd::Command;
use fellrun::brief::{Units, lever_card};
use fellrun::flight::{Descent, Flown, SegmentKind, State, fly_recorded};
use fellrun::quantity::{M_PER_FT, M_PER_NM, M_S_PER_KT};
use fellrun::solve::{Plan, charged, plan};
use fellrun::trip::{FuelLoad, Objective, Problem, ProblemError, Rules, Start, resolve};
use std::path::{Path, PathBuf};

/// In flight at the beginning of a route.
fn from(p: &Problem, ft: f64, kt: f64) -> Problem {
    p.in_flight(ft * M_PER_FT, kt * M_S_PER_KT)
}

fn first_kinds(f: &Flown) -> Vec<SegmentKind> {
    f.segments.iter().map(|s| s.kind).collect()
}

/// What holds for every flight that begins in the air.
fn begins_there(p: &Problem, answer: &Plan) {
    let Start::InFlight {
        indicated_m,
        ias_m_s,
    } = p.start
    else {
        panic!("in flight");
    };
    let start = answer.flown.track.first().expect("a path");
    // A cruise that begins within 0.1 kt of its steady speed takes what is left of the transient in closed form: under 0.1 s.
    assert!(start.state.time_s.abs() < 0.1 && start.state.fuel_kg.abs() < 1e-3);
    assert_eq!(start.state.distance_m, 0.0);
    // The altimeter reads what it read, there and back through the scales; and the airspeed but for that transient.
    assert!((start.indicated_m - indicated_m).abs() < 1e-6);
    assert!((start.ias_m_s - ias_m_s).abs() < 0.1 * M_S_PER_KT);
    // All the fuel that is there is there: nothing went into taxi and take-off.
    assert!((start.mass_kg - p.zero_fuel_kg - p.fuel_kg).abs() < 1e-3);
    assert!((answer.totals.block_fuel_kg - answer.flown.fuel_kg).abs() < 1e-9);
    assert!((answer.totals.block_time_s - answer.flown.time_s).abs() < 1e-9);
    let kinds = first_kinds(&answer.flown);
    assert!(!kinds.contains(&SegmentKind::InitialClimb), "{kinds:?}");
    // The usual bounds of the re-flight, and of the ideal flight (DESIGN section 6.6: 0.1 %).
    assert!(
        answer.reflight.within_bounds(p.aircraft.fuel.density_kg_m3),
        "{:?}",
        answer.reflight
    );
    assert!(answer.ideal.margin > -1e-3, "{}", answer.ideal.margin);
    assert_eq!(answer.flown.audit.violation(), 0.0);
    // The card says first what to do now, and nothing of a take-off; going around has a line of its own.
    let card = lever_card(answer, p, Units::Us);
    assert_eq!(card[0].trigger, "now", "{card:?}");
    assert!(
        card.iter()
            .filter(|l| l.trigger != "if going around")
            .all(|l| !l.trigger.contains("lined up") && !l.action.contains("GEAR up"))
    );
}

/// Tops of descent of two descents that cost the same may differ by this, nm; each is rounded up to a tenth.
const TOP_NM: f64 = 0.5;
/// And their costs, lever changes charged, by this share: a few ties (DESIGN section 5: 0.01 %).
const SAME_COST: f64 = 5e-4;
/// What the rest of a flight may cost more than the end of a whole one, share of it: a lever change saved (DESIGN section 5: 0.1 %),
/// and [`SAME_COST`].
const TIE: f64 = 1e-3 + SAME_COST;
/// By so much of the whole flight may its end be dearer: two lever changes, which must pay 0.1 % each of the whole flight there, and
/// of the short one here (DESIGN section 5).
const MOVES: f64 = 2e-3;

/// The last miles planned from the air, against the end of a plan from take-off: the two flights, the second with its problem.
/// `None` where the first is on its way down there: it has no cruise left to take up.
fn miles_out(objective: Objective, along_kt: f64, out_nm: f64) -> Option<(Flown, Flown, Problem)> {
    let of = |nm: f64| Problem {
        objective,
        ..problem(demo(), nm, along_kt, 0.0)
    };
    let whole = of(160.0 + out_nm);
    let before = plan(&whole).expect("a plan").flown;
    let level_ft = before.script.cruise[0].level_m / M_PER_FT;
    // Where that flight is so far before its end.
    let here_m = whole.length_m - out_nm * M_PER_NM;
    if before.top_of_descent.distance_m < here_m {
        return None;
    }
    let i = before
        .track
        .partition_point(|t| t.state.distance_m < here_m);
    let (a, b) = (&before.track[i - 1], &before.track[i]);
    let x = (here_m - a.state.distance_m) / (b.state.distance_m - a.state.distance_m);
    let mix = |a: f64, b: f64| a + x * (b - a);
    let mut rest = of(out_nm);
    rest.fuel_kg = mix(a.mass_kg, b.mass_kg) - rest.zero_fuel_kg;
    let rest = from(&rest, level_ft, mix(a.ias_m_s, b.ias_m_s) / M_S_PER_KT);
    let answer = plan(&rest).expect("a plan from there");
    begins_there(&rest, &answer);
    // It costs what that flight had left.
    let rates = whole.cost_rates();
    let spent = |s: &State| rates.of(s.time_s, s.fuel_kg, s.revolutions);
    let take_off = rates.of(0.0, whole.aircraft.procedures.take_off_fuel_kg, 0.0);
    let left = before.cost - take_off - mix(spent(&a.state), spent(&b.state));
    let gained = left - answer.flown.cost;
    assert!(
        gained > -TIE * left && gained < MOVES * before.cost,
        "{objective:?} {along_kt} kt: {gained} of {left}"
    );
    Some((before, answer.flown, rest))
}

#[test]
fn crosscheck_a_start_in_cruise_is_the_end_of_the_whole_flight() {
    is_the_end(&[(25.0, 100.0), (-25.0, 100.0), (0.0, 100.0), (0.0, 120.0)]);
}

/// Of least-time flights in winds along the course \[kt\], taken up so far before their end \[nm\].
fn is_the_end(flights: &[(f64, f64)]) {
    let mut compared = 0;
    for &(along_kt, out_nm) in flights {
        let Some((whole, rest, p)) = miles_out(Objective::Time, along_kt, out_nm) else {
            continue;
        };
        // The same cruise, and down from the same place where both go down at the same rate.
        let (a, b) = (&whole.script, &rest.script);
        assert_eq!(b.cruise.len(), 1);
        assert!((a.cruise[0].level_m - b.cruise[0].level_m).abs() < 1e-6);
        if a.descent.first.path == b.descent.first.path {
            let miss_nm = (a.descent.to_go_m - b.descent.to_go_m).abs() / M_PER_NM;
            assert!(miss_nm < TOP_NM, "{along_kt} kt: {miss_nm} nm");
        }
        compared += 1;
        // Where the levers are set otherwise, it is as good: a lever change is charged as a share of the flight, here a short one.
        let theirs = with_end_of(&whole, &rest, &p);
        let ratio = charged(&rest) / charged(&theirs);
        let least = 1.0 - MOVES * whole.cost / rest.cost;
        assert!(
            ratio > least && ratio < 1.0 + SAME_COST,
            "{along_kt} kt: {ratio}"
        );
    }
    assert!(compared > 0);
}

/// The last cruise and the descent of a whole flight flown from where the rest begins.
fn with_end_of(whole: &Flown, rest: &Flown, p: &Problem) -> Flown {
    let mut script = rest.script.clone();
    script.cruise = whole.script.cruise.clone();
    script.descent = Descent {
        to_go_m: f64::NAN,
        ..whole.script.descent
    };
    fly_recorded(p, &script).expect("flies")
}

/// For money and fuel several descents cost the same to a few hundredths of a per cent; which is taken may differ, what it costs may not.
#[test]
fn crosscheck_a_start_in_cruise_costs_what_the_whole_flight_had_left() {
    let mut compared = 0;
    for objective in [Objective::Money, Objective::Fuel] {
        for along_kt in [0.0, 25.0, -25.0] {
            let Some((whole, rest, p)) = miles_out(objective, along_kt, 60.0) else {
                continue;
            };
            compared += 1;
            // The end of the whole flight flown from there is no better.
            let theirs = with_end_of(&whole, &rest, &p);
            assert!(charged(&rest) < charged(&theirs) * (1.0 + TIE));
        }
    }
    assert!(compared >= 4, "{compared}");
}

#[test]
fn closed_form_below_every_level_the_climb_begins_at_once() {
    // 91.159 eastbound: 2,000 ft is none, and at the trip's minimum of 4,000 ft the lowest is 5,500 ft. Slower and faster than the climb.
    for kt in [75.0, 130.0] {
        let mut p = problem(demo(), 180.0, 0.0, 0.0);
        p.legs[0].minimum_m = 4_000.0 * M_PER_FT;
        let p = from(&p, 2_000.0, kt);
        let answer = plan(&p).expect("a plan");
        begins_there(&p, &answer);
        let level = answer.flown.script.cruise[0].level_m / M_PER_FT;
        assert!((level - 5_500.0) % 2_000.0 < 1.0, "{level}");
        let kinds = first_kinds(&answer.flown);
        let first = if kt < 80.0 {
            SegmentKind::Accelerate
        } else {
            SegmentKind::Climb
        };
        assert_eq!(kinds[0], first);
        assert!(kinds.contains(&SegmentKind::LevelOff));
        let told = &lever_card(&answer, &p, Units::Us)[1].action;
        let begins = if kt < 80.0 {
            "hold height to"
        } else {
            "NOSE UP to"
        };
        assert!(
            told.starts_with(begins) && told.contains(",500 ft"),
            "{told}"
        );
    }
}

#[test]
fn closed_form_between_levels_the_descent_begins_at_once() {
    // 10,300 ft is no level of any rule of semicircles; the greatest altitude leaves only those below.
    let mut p = problem(demo(), 180.0, 0.0, 0.0);
    p.limits.max_altitude_m = 10_000.0 * M_PER_FT;
    let p = from(&p, 10_300.0, 120.0);
    let answer = plan(&p).expect("a plan");
    begins_there(&p, &answer);
    assert_eq!(
        first_kinds(&answer.flown)[..2],
        [SegmentKind::LevelChange, SegmentKind::Cruise]
    );
    assert!(
        lever_card(&answer, &p, Units::Us)[1]
            .action
            .starts_with("DOWN to")
    );
}

#[test]
fn published_91_159_the_height_of_the_moment_is_a_level_if_the_rules_allow() {
    let p = problem(demo(), 180.0, 0.0, 0.0);
    let levels = |ft: f64, rules: Rules| {
        let mut p = p.clone();
        p.rules = rules;
        let p = from(&p, ft, 120.0);
        p.levels[0]
            .levels_m
            .iter()
            .any(|m| (m / M_PER_FT - ft).abs() < 0.5)
    };
    // More than 3,000 ft above the ground by the rule; at or below, any height (14 CFR 91.159 begins above 3,000 ft).
    assert!(levels(9_500.0, Rules::UsVfr) && levels(2_350.0, Rules::UsVfr));
    assert!(!levels(8_500.0, Rules::UsVfr) && !levels(9_350.0, Rules::UsVfr));
    assert!(levels(9_350.0, Rules::None) && !levels(9_350.0, Rules::IcaoIfr));
}

fn demo_file() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/start/sixty-out.toml")
}

#[test]
fn closed_form_what_cannot_be_in_flight_is_said() {
    let file = fellrun::files::trip::load_trip(&demo_file(), None).expect("the trip loads");
    let mut least = file.trip.clone();
    least.fuel = FuelLoad::Least;
    let error = resolve(&least, file.aircraft.clone()).expect_err("no least in flight");
    assert_eq!(error, ProblemError::LeastInFlight);
    let mut low = file.trip.clone();
    low.start = Start::InFlight {
        indicated_m: 5_000.0 * M_PER_FT,
        ias_m_s: 60.0,
    };
    let error = resolve(&low, file.aircraft).expect_err("in the ground");
    assert!(
        matches!(error, ProblemError::StartInGround { .. }),
        "{error}"
    );
}

#[test]
fn closed_form_faces_of_a_flight_taken_up_in_the_air() {
    let run = |json: bool| {
        let mut command = Command::cargo_bin("fellrun").expect("the command is built");
        command.arg("plan").arg(demo_file());
        if json {
            command.args(["--json", "-"]);
        }
        let out = command.assert().success().get_output().stdout.clone();
        String::from_utf8(out).expect("text")
    };
    let sheet = run(false);
    for words in [
        "from now to landing",
        "from now to shutdown",
        "Lever card, from here",
        "STAY at 9,500 ft",
    ] {
        assert!(sheet.contains(words), "{words}\n{sheet}");
    }
    for words in [
        "take-off to landing",
        "start-up",
        "after take-off",
        "take-off run",
        "lined up",
    ] {
        assert!(!sheet.contains(words), "{words}\n{sheet}");
    }
    let json: serde_json::Value = serde_json::from_str(&run(true)).expect("JSON");
    assert_eq!(json["trip"]["start_in_flight"]["altitude_ft"], 9_500.0);
    assert_eq!(
        json["trip"]["start_in_flight"]["ias_kt"]
            .as_f64()
            .map(f64::round),
        Some(135.0)
    );
    assert_eq!(json["lever_card"][0]["trigger"], "now");
    assert_eq!(json["lever_card"][0]["distance_nm"], 0.0);
    assert_eq!(json["trip"]["taxi_fuel_gal"], 0.0);
    assert_eq!(json["segments"][0]["kind"], "cruise");
    // On the ground there is no such key.
    let ground = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/first-trip.toml");
    let file = fellrun::files::trip::load_trip(&ground, None).expect("loads");
    assert_eq!(file.trip.start, Start::Ground);
}
