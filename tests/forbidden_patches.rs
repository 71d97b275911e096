//! Patches of distance and height that no part of a flight may pass through, and greatest altitudes of legs.

use crate::common::{demo, problem};
use fellrun::flight::{Flown, Limit};
use fellrun::quantity::{M_PER_FT, M_PER_NM, M_S_PER_KT};
use fellrun::reflight::refly;
use fellrun::solve::{Plan, SolveError, charged, plan};
use fellrun::trip::{Objective, Patch, PatchKind, PathPoint, Problem, RouteAir, legal_levels};
use proptest::strategy::{Strategy, ValueTree};
use proptest::test_runner::TestRunner;

/// What the audit takes for rounding, m: a tenth of its unit of 30 ft.
const ROUNDING_M: f64 = 3.0 * M_PER_FT;
/// What the re-flight may be off, m: its bound of height.
const REFLOWN_M: f64 = 50.0 * M_PER_FT;

fn patch(nm: (f64, f64), ft: (f64, f64)) -> Patch {
    Patch {
        from_m: nm.0 * M_PER_NM,
        to_m: nm.1 * M_PER_NM,
        low_m: ft.0 * M_PER_FT,
        high_m: ft.1 * M_PER_FT,
        name: "the test's own".into(),
        kind: PatchKind::KeepOut,
    }
}

/// How deep a path is in what is barred, m.
fn deepest(p: &Problem, path: &[PathPoint]) -> f64 {
    assert!(path.len() > 20);
    path.windows(2)
        .map(|w| p.barred_depth_m(w[0], w[1]))
        .fold(f64::NEG_INFINITY, f64::max)
}

fn path(f: &Flown) -> Vec<PathPoint> {
    f.track
        .iter()
        .map(|t| (t.state.distance_m, t.indicated_m))
        .collect()
}

/// Plan and re-flight keep out; the ideal flight does as well, so that no plan beats it (DESIGN section 6.6: by 0.1 %).
fn keeps_out(p: &Problem, answer: &Plan) {
    let flown_m = deepest(p, &path(&answer.flown));
    assert!(flown_m <= ROUNDING_M, "flown {flown_m} m deep");
    let reflown = refly(p, &answer.flown.script).expect("re-flies");
    let samples: Vec<_> = reflown
        .samples
        .iter()
        .map(|x| (x.distance_m, x.indicated_m))
        .collect();
    let reflown_m = deepest(p, &samples);
    assert!(reflown_m <= REFLOWN_M, "re-flown {reflown_m} m deep");
    assert!(answer.reflight.within_bounds(p.aircraft.fuel.density_kg_m3));
    assert!(
        answer.ideal.margin > -1e-3,
        "margin {}",
        answer.ideal.margin
    );
}

/// Four knots more in each thousand feet: height pays.
fn tail_wind_aloft(p: &mut Problem) {
    let along = |hp: f64| (4.0 * M_S_PER_KT * hp / (1_000.0 * M_PER_FT), 0.0);
    p.objective = Objective::Fuel;
    p.air = RouteAir::by_height(p.length_m, 0.0, 25_000.0 * M_PER_FT, along);
}

fn levels_ft(f: &Flown) -> Vec<f64> {
    f.script
        .cruise
        .iter()
        .map(|c| (c.level_m / M_PER_FT).round())
        .collect()
}

#[test]
fn crosscheck_patch_across_the_best_level_forces_another_or_a_step() {
    let free = problem(demo(), 300.0, 0.0, 0.0);
    let before = plan(&free).expect("a plan");
    let best_ft = levels_ft(&before.flown)[0];
    let mut p = free.clone();
    p.forbidden = vec![patch((130.0, 190.0), (best_ft - 300.0, best_ft + 300.0))];
    // It lies in the way of that plan.
    assert!(deepest(&p, &path(&before.flown)) > 299.0 * M_PER_FT);
    let answer = plan(&p).expect("a plan round it");
    keeps_out(&p, &answer);
    assert_ne!(levels_ft(&answer.flown), [best_ft]);
    // Never to use the level at all is one way round. None is as cheap as where nothing is in the way.
    let mut without = free.clone();
    without.levels[0]
        .levels_m
        .retain(|m| (m / M_PER_FT - best_ft).abs() > 1.0);
    let without = plan(&without).expect("a plan at another level");
    assert!(charged(&answer.flown) <= charged(&without.flown) * (1.0 + 1e-4));
    assert!(charged(&answer.flown) > charged(&before.flown));
}

#[test]
fn crosscheck_wall_is_passed_beneath_and_climbed_after() {
    // Nothing but the lowest levels for the first 100 nm: low, then up, where every level alone is either barred or poor.
    let mut p = problem(demo(), 340.0, 0.0, 0.0);
    tail_wind_aloft(&mut p);
    let before = plan(&p).expect("a plan");
    assert!(levels_ft(&before.flown)[0] > 7_000.0);
    p.forbidden = vec![patch((15.0, 60.0), (4_000.0, 60_000.0))];
    let answer = plan(&p).expect("a plan under it");
    keeps_out(&p, &answer);
    let levels = levels_ft(&answer.flown);
    assert!(
        levels.len() > 1 && levels[0] < 4_000.0 && levels[1] > 7_000.0,
        "{levels:?}"
    );
}

#[test]
fn crosscheck_patch_on_the_descent_moves_its_top() {
    let free = problem(demo(), 200.0, 0.0, 0.0);
    let before = plan(&free).expect("a plan");
    let way = path(&before.flown);
    let (top_m, bottom_m) = (
        before.flown.top_of_descent.distance_m,
        before.flown.level_off.distance_m,
    );
    let middle_m = 0.5 * (top_m + bottom_m);
    let i = way.partition_point(|x| x.0 < middle_m);
    let (s_nm, h_ft) = (way[i].0 / M_PER_NM, way[i].1 / M_PER_FT);
    let mut p = free.clone();
    p.forbidden = vec![patch(
        (s_nm - 3.0, s_nm + 3.0),
        (h_ft - 500.0, h_ft + 500.0),
    )];
    assert!(deepest(&p, &way) > 490.0 * M_PER_FT);
    let answer = plan(&p).expect("a plan round it");
    keeps_out(&p, &answer);
    let moved_nm = (answer.flown.top_of_descent.distance_m - top_m).abs() / M_PER_NM;
    // Three miles and 500 ft at the ends of a path of about 2 nm in 500 ft: half a mile is more than any rounding of the trigger.
    assert!(moved_nm > 0.5, "moved {moved_nm} nm");
    assert!(charged(&answer.flown) > charged(&before.flown));
}

#[test]
fn closed_form_no_flight_lies_in_a_patch() {
    let free = problem(demo(), 140.0, -15.0, 0.0);
    let patches = (
        5.0..130.0_f64,
        3.0..40.0_f64,
        500.0..9_000.0_f64,
        400.0..4_000.0_f64,
    )
        .prop_map(|(from, long, low, thick)| patch((from, from + long), (low, low + thick)));
    let two = (patches.clone(), patches);
    let mut runner = TestRunner::deterministic();
    let (mut flown, mut bent) = (0, 0);
    let usual = plan(&free).expect("a plan");
    for _ in 0..16 {
        let (a, b) = two
            .new_tree(&mut runner)
            .expect("a pair of patches")
            .current();
        let mut p = free.clone();
        p.forbidden = vec![a, b];
        match plan(&p) {
            Ok(answer) => {
                keeps_out(&p, &answer);
                flown += 1;
                bent += usize::from(deepest(&p, &path(&usual.flown)) > ROUNDING_M);
            }
            Err(SolveError::Infeasible { limits, .. }) => {
                assert!(
                    limits.contains("forbidden") && limits.contains("the test's own"),
                    "{limits}"
                );
            }
            Err(other) => panic!("{other}"),
        }
    }
    assert!(flown > 8 && bent > 3, "{flown} flown, {bent} bent");
}

#[test]
fn crosscheck_a_leg_has_its_own_greatest_altitude() {
    let mut p = problem(demo(), 260.0, 0.0, 0.0);
    tail_wind_aloft(&mut p);
    let mut second = p.legs[0].clone();
    let middle_m = 150.0 * M_PER_NM;
    p.legs[0].to_m = middle_m;
    p.legs[0].ground = vec![(0.0, middle_m, 0.0)];
    second.from_m = middle_m;
    second.ground = vec![(middle_m, p.length_m, 0.0)];
    p.legs.push(second);
    p.levels = p.legs.iter().map(|l| legal_levels(&p, l)).collect();
    let before = plan(&p).expect("a plan");
    assert!(levels_ft(&before.flown)[0] > 7_000.0);
    assert!(!before.flown.audit.broken().contains(&Limit::Ceiling));
    p.legs[1].maximum_m = Some(5_500.0 * M_PER_FT);
    p.levels = p.legs.iter().map(|l| legal_levels(&p, l)).collect();
    assert_eq!(p.ceiling_m(middle_m + 1.0), 5_500.0 * M_PER_FT);
    assert_eq!(p.ceiling_m(middle_m - 1.0), p.limits.max_altitude_m);
    let answer = plan(&p).expect("a plan");
    keeps_out(&p, &answer);
    let high = answer
        .flown
        .track
        .iter()
        .filter(|t| t.state.distance_m > middle_m)
        .map(|t| t.indicated_m / M_PER_FT)
        .fold(0.0, f64::max);
    assert!(high <= 5_503.0 && high > 4_000.0, "{high} ft");
}
