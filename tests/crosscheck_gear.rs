//! Gear as a speed brake: a descent that high ground makes steep, with the permission of the profile and without.

use crate::common::{demo, problem};
use fellrun::brief::{Figures, json};
use fellrun::quantity::*;
use fellrun::reflight::refly;
use fellrun::solve::{charged, plan};
use fellrun::trip::{Objective, Problem, legal_levels};

const KNOT: f64 = M_S_PER_KT;
/// Walks may end on neighbours that differ by what counts as a tie, relative (DESIGN section 5).
const NOTHING: f64 = 1e-4;

/// 150 nm in calm air; ground of 6,500 ft up to so far before the field, sea level after it; down at up to 1,500 fpm.
fn steep(before_nm: f64, permission: bool) -> Problem {
    let mut aircraft = demo();
    aircraft.procedures.gear_as_brake = permission;
    let mut p = problem(aircraft, 150.0, 0.0, 0.0);
    let edge_m = p.length_m - before_nm * M_PER_NM;
    p.legs[0].ground = vec![
        (0.0, 20.0 * M_PER_NM, 0.0),
        (20.0 * M_PER_NM, edge_m, 6_500.0 * M_PER_FT),
        (edge_m, p.length_m, 0.0),
    ];
    p.legs[0].minimum_m = 8_000.0 * M_PER_FT;
    p.limits.max_descent_m_s = 1_500.0 * M_S_PER_FPM;
    p.objective = Objective::Time;
    p.levels = p.legs.iter().map(|l| legal_levels(&p, l)).collect();
    p
}

#[test]
fn crosscheck_the_gear_makes_a_steep_descent_that_is_else_not_to_be_had() {
    // From 15 to 18 nm no clean descent on the route keeps every limit: it is circled down over the field.
    for before_nm in [15.0, 16.0, 17.0, 18.0] {
        let clean = plan(&steep(before_nm, false)).expect("circling");
        assert!(clean.flown.script.descent.circle.is_some(), "{before_nm}");
        let p = steep(before_nm, true);
        let plan = plan(&p).expect("with the gear down");
        assert!(plan.flown.script.descent.last().gear_down);
        assert!(plan.flown.script.descent.circle.is_none());
        assert_eq!(plan.flown.audit.broken(), []);
        let density = p.aircraft.fuel.density_kg_m3;
        assert!(plan.reflight.within_bounds(density), "{:?}", plan.reflight);
        // As the independent re-flight has it: extended at or below Vlo, never faster than Vle with it, and once.
        let again = refly(&p, &plan.flown.script).expect("re-flown");
        let speeds = &p.aircraft.speeds;
        let down: Vec<_> = again
            .samples
            .iter()
            .filter(|s| s.configuration.gear_down)
            .collect();
        assert!(down.len() > 10);
        assert!(down[0].ias_m_s <= speeds.vlo_extend_m_s + KNOT * 0.01);
        assert!(down[0].indicated_m > p.arrival.pattern_altitude_m + 500.0 * M_PER_FT);
        let fastest = down.iter().map(|s| s.ias_m_s).fold(0.0, f64::max);
        assert!(fastest <= speeds.vle_m_s + KNOT * 0.1, "{fastest}");
        assert_eq!(
            down.last().expect("some").time_s,
            again.samples.last().expect("some").time_s
        );
        let changes = again
            .samples
            .windows(2)
            .filter(|w| w[0].configuration.gear_down != w[1].configuration.gear_down)
            .count();
        assert_eq!(changes, 1);
        // Card and JSON.
        let figures = Figures::new(&plan, &p);
        let gear: Vec<_> = figures
            .lever_card
            .iter()
            .filter(|l| l.action.contains("GEAR down"))
            .collect();
        assert_eq!(gear.len(), 1, "{:#?}", figures.lever_card);
        assert!(
            gear[0].action.contains("GEAR down at or below 125 KIAS"),
            "{gear:?}"
        );
        assert!(figures.descent.sentence.contains("gear down"));
        let text = json(&figures).expect("numbers and text");
        assert!(text.contains("\"gear_as_brake\": true"));
    }
}

#[test]
fn crosscheck_a_permission_takes_nothing_away_and_is_needed() {
    for before_nm in [20.0, 24.0] {
        let without = plan(&steep(before_nm, false)).expect("clean");
        let with = plan(&steep(before_nm, true)).expect("either way");
        assert!(!without.flown.script.descent.last().gear_down);
        let (a, b) = (charged(&with.flown), charged(&without.flown));
        assert!(a <= b * (1.0 + NOTHING), "{before_nm}: {a} {b}");
        let text = json(&Figures::new(&without, &steep(before_nm, false))).expect("text");
        assert!(text.contains("\"gear_as_brake\": false"));
    }
}
