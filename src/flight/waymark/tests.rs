//! Waymarks of flights whose script says where they must be.

use super::*;
use crate::flight::testbed::*;
use crate::flight::{PathRule, ThrottleRule, fly_recorded};
use crate::quantity::M_S_PER_FPM;

/// Levels \[ft\] from places \[nm\] on, down at 500 fpm.
fn marks(problem: &Problem, levels: &[(f64, f64)]) -> (Flown, Vec<Waymark>) {
    let mut card = script(
        ThrottleRule::Held(18.0 * IN),
        PathRule::Rate(500.0 * M_S_PER_FPM),
        1_800.0,
    );
    card.cruise = levels.iter().map(|&(ft, nm)| cruise(ft, nm)).collect();
    let flown = fly_recorded(problem, &card).expect("the test script can be flown");
    let all = waymarks(problem, &flown);
    (flown, all)
}

/// In the order of the flight, each where the script or the route has it, with the time and fuel that the flight notes there; level cruise comes
/// before places on the way, changes of level and the top of descent, and before nothing else.
#[test]
fn closed_form_waymarks_are_where_the_script_has_them() {
    use WaymarkKind::*;
    let problem = windy(aircraft(1.0), 3.0, STANDARD_INHG);
    let via_m = problem.legs[1].from_m;
    for (levels, names) in [
        (
            &[(7_500.0, 0.0)][..],
            &["AAAA", "TOC", "CCCC", "TOD", "SLOW DOWN", "PATTERN", "BBBB"][..],
        ),
        (
            &[(7_500.0, 0.0), (9_500.0, 160.0)],
            &[
                "AAAA",
                "TOC",
                "CCCC",
                "NEW LEVEL",
                "TOD",
                "SLOW DOWN",
                "PATTERN",
                "BBBB",
            ],
        ),
        (
            &[(7_500.0, 0.0), (9_500.0, 70.0), (8_500.0, 180.0)],
            &[
                "AAAA",
                "TOC",
                "NEW LEVEL 1",
                "CCCC",
                "NEW LEVEL 2",
                "TOD",
                "SLOW DOWN",
                "PATTERN",
                "BBBB",
            ],
        ),
    ] {
        let (flown, all) = marks(&problem, levels);
        let got: Vec<&str> = all.iter().map(|w| w.name.as_str()).collect();
        assert_eq!(got, names);
        let mut changes = levels[1..].iter();
        for w in &all {
            let (d, s) = (w.at.state.distance_m, w.at.state);
            let near = |m: f64| assert!((d - m).abs() < 1.5, "{}: {d} {m}", w.name);
            let noted = |m: &Mark| {
                near(m.distance_m);
                assert_eq!((s.time_s, s.fuel_kg), (m.time_s, m.fuel_kg), "{}", w.name);
            };
            let cruising = match w.kind {
                Departure => {
                    assert_eq!((d, s.time_s), (0.0, 0.0));
                    false
                }
                TopOfClimb => {
                    noted(&flown.top_of_climb);
                    false
                }
                Via => {
                    near(via_m);
                    true
                }
                LevelChange => {
                    near(
                        changes.next().expect("as many as asked for").1 * crate::quantity::M_PER_NM,
                    );
                    true
                }
                TopOfDescent => {
                    noted(&flown.top_of_descent);
                    true
                }
                SlowDown => {
                    near(flown.level_off.distance_m);
                    false
                }
                PatternPoint => {
                    near(problem.length_m - problem.arrival.before_m);
                    false
                }
                Destination => {
                    assert_eq!(w.at, *flown.track.last().expect("a path"));
                    false
                }
                Start => panic!("it began on the ground"),
            };
            assert_eq!(w.cruising, cruising, "{}", w.name);
        }
        let in_order = all
            .windows(2)
            .all(|p| p[0].at.state.time_s <= p[1].at.state.time_s);
        assert!(in_order && changes.next().is_none());
    }
}

/// Of a flight that begins on its level in the air the first waymark is where it is, and there is no top of climb; of one that kept no path there are
/// none.
#[test]
fn closed_form_waymarks_of_a_flight_from_the_air() {
    let problem = windy(aircraft(1.0), 3.0, STANDARD_INHG).in_flight(7_500.0 * FT, 130.0 * KT);
    let (mut flown, all) = marks(&problem, &[(7_500.0, 0.0)]);
    let kinds: Vec<WaymarkKind> = all.iter().map(|w| w.kind).collect();
    assert_eq!(kinds[..2], [WaymarkKind::Start, WaymarkKind::Via]);
    flown.track.clear();
    assert_eq!(waymarks(&problem, &flown), vec![]);
}
