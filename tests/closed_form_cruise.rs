//! Cruise and climb against the closed forms of performance theory, with the textbook power plant (constant efficiency and
//! specific consumption), which has them.

use crate::common::{demo, problem, textbook};
use fellrun::air::isa;
use fellrun::aircraft::propeller::Nearby;
use fellrun::aircraft::{AirState, Aircraft, Configuration, Levers, Throttle};
use fellrun::flight::level_speed_m_s;
use fellrun::quantity::*;
use fellrun::solve::cruise;
use fellrun::trip::{CostRates, Problem, Roughness};
use std::cell::Cell;

/// The speed found by Brent's method on the manifold pressure sits on a flat minimum: argmin stops at the square root of the
/// machine precision, 1e-8 in MAP, and the level-speed solution adds 1e-4 m/s. A wrong exponent or a lost factor moves the speed
/// by per cents.
const SPEED_TOLERANCE: f64 = 2e-3;

/// Standard air at a height.
fn standard(h: f64) -> AirState {
    AirState::new(isa::pressure_pa(h), isa::temperature_k(h))
}

/// What counts is fuel alone.
const FUEL_ALONE: CostRates = CostRates {
    per_s: 0.0,
    per_kg: 1.0,
    per_rev: 0.0,
};

/// Speed of best lift/drag [m/s TAS]: `V_md = sqrt(2 W / (rho S)) (k / CD0)^(1/4)`.
fn v_md(a: &Aircraft, air: AirState, mass: f64) -> f64 {
    let w = mass * G_M_S2;
    (2.0 * w / (air.density_kg_m3 * a.airframe.wing_area_m2)).sqrt()
        * (a.airframe.k / a.airframe.cd0).powf(0.25)
}

fn best(p: &Problem, rates: CostRates, level_m: f64, mass: f64) -> f64 {
    let s = 0.5 * p.length_m;
    let sample = p.air.at(s, level_m, 0.0);
    let options = cruise::options(p, level_m, s, mass);
    assert!(!options.is_empty(), "no cruise option at all");
    options
        .iter()
        .map(|o| cruise::polish(p, rates, o, level_m, s, mass))
        .min_by(|a, b| {
            cruise::cost_per_m(rates, a, &sample).total_cmp(&cruise::cost_per_m(rates, b, &sample))
        })
        .expect("one option")
        .tas_m_s
}

/// Efficiency and consumption [kg/J] of the textbook power plant.
const ETA: f64 = 0.8;
const B_KG_J: f64 = 7.0e-8;

/// A textbook aircraft whose power for `v` times the best lift/drag speed takes about 18 inHg at 2,000 m: in the middle of what
/// the search tries.
fn sized_for(v: f64) -> Aircraft {
    let a = slow_stall(textbook(1.0, ETA, B_KG_J));
    let mass = a.masses.max_take_off_kg;
    let air = standard(2_000.0);
    let speed = v * v_md(&a, air, mass);
    let power = a.drag_n(air, speed, mass, Configuration::default()) * speed / ETA;
    slow_stall(textbook(
        power / (18.0 / 29.92) * air.temperature_k / 288.15,
        ETA,
        B_KG_J,
    ))
}

fn slow_stall(mut a: Aircraft) -> Aircraft {
    // Best lift/drag must not be hidden by the 1.3 Vs rule, nor fast cruise by Vno.
    a.speeds.vs_m_s = 15.0;
    a.speeds.vno_m_s = 110.0;
    a
}

#[test]
fn closed_form_cost_optimal_speed_solves_the_quartic() {
    // Constant efficiency eta and consumption b, no wind: cost per distance (c_t + c_f b D V / eta) / V. With v = V / Vmd and c the
    // ratio of time cost to fuel cost at Vmd: v^4 - c v - 1 = 0 (REFERENCES A.5b, derived there). Carson's speed 3^(1/4) Vmd is
    // where time cost equals fuel cost, c = 1.5197.
    for (c, v_table) in [
        (0.4219, 1.10),
        (0.8947, 1.20),
        (1.5197, 3.0_f64.powf(0.25)),
        (2.708, 1.50),
    ] {
        let a = sized_for(v_table);
        let mass = a.masses.max_take_off_kg;
        let p = problem(a.clone(), 300.0, 0.0, 0.0);
        let level = 2_000.0;
        let air = standard(level);
        let md = v_md(&a, air, mass);
        let fuel_rate_md = B_KG_J * a.drag_n(air, md, mass, Configuration::default()) * md / ETA;
        let rates = CostRates {
            per_s: c * fuel_rate_md,
            per_kg: 1.0,
            per_rev: 0.0,
        };
        let v = best(&p, rates, level, mass) / md;
        assert!(
            (v - v_table).abs() < SPEED_TOLERANCE,
            "c {c}: v {v}, table {v_table}"
        );
        assert!(
            (v.powi(4) - c * v - 1.0).abs() < 4.0 * SPEED_TOLERANCE * v.powi(3),
            "c {c}: quartic at {v}"
        );
    }
}

#[test]
fn closed_form_least_fuel_is_flown_at_best_lift_drag() {
    // Quartic with c = 0: v = 1.
    let a = sized_for(1.0);
    let mass = a.masses.max_take_off_kg;
    let p = problem(a.clone(), 300.0, 0.0, 0.0);
    let level = 2_000.0;
    let air = standard(level);
    let v = best(&p, FUEL_ALONE, level, mass);
    assert!(
        (v / v_md(&a, air, mass) - 1.0).abs() < SPEED_TOLERANCE,
        "{v}"
    );
}

#[test]
fn closed_form_best_range_speed_in_wind() {
    // (3 v² - v^-2)(v - w) = v³ + v^-1 with w the head wind in units of Vmd (REFERENCES A.5b table).
    let a = sized_for(1.0);
    let mass = a.masses.max_take_off_kg;
    let level = 2_000.0;
    let air = standard(level);
    let md = v_md(&a, air, mass);
    for (w, v_table) in [
        (-0.3, 0.9411),
        (-0.1, 0.9770),
        (0.1, 1.0274),
        (0.2, 1.0601),
        (0.3, 1.0996),
        (0.5, 1.2040),
    ] {
        let a = sized_for(v_table);
        let p = problem(a.clone(), 300.0, -w * md / M_S_PER_KT, 0.0);
        let v = best(&p, FUEL_ALONE, level, mass) / md;
        assert!(
            (v - v_table).abs() < SPEED_TOLERANCE,
            "w {w}: {v}, table {v_table}"
        );
    }
}

/// CP-1 of Anderson, *Introduction to Flight*, ch. 6; inputs and the exactly recomputed column of REFERENCES A.5a.
fn cp1() -> (Aircraft, f64) {
    let bhp_h_lb = KG_PER_LB / (W_PER_HP * 3600.0);
    let mut a = textbook(230.0 * W_PER_HP, 0.8, 0.45 * bhp_h_lb);
    let (s_m2, b_m) = (174.0 * M_PER_FT * M_PER_FT, 35.8 * M_PER_FT);
    a.airframe.wing_area_m2 = s_m2;
    a.airframe.cd0 = 0.025;
    a.airframe.k = 1.0 / (std::f64::consts::PI * 0.8 * b_m * b_m / s_m2);
    (a, 2_950.0 * KG_PER_LB)
}

/// Excess power over weight at a speed: quasi-steady rate of climb, m/s.
fn climb_m_s(a: &Aircraft, mass: f64, h: f64, v: f64) -> f64 {
    let air = standard(h);
    let set = a.perform(
        air,
        v,
        Levers {
            throttle: Throttle::Full,
            rev_s: 45.0,
            mixture: 0,
        },
    );
    (set.thrust_n - a.drag_n(air, v, mass, Configuration::default())) * v / (mass * G_M_S2)
}

fn best_climb_m_s(a: &Aircraft, mass: f64, h: f64) -> f64 {
    (0..4_000)
        .map(|i| 25.0 + 0.01 * f64::from(i))
        .map(|v| climb_m_s(a, mass, h, v))
        .fold(f64::MIN, f64::max)
}

#[test]
fn published_cp1_exact_column() {
    let (a, mass) = cp1();
    let w_lb = 2_950.0;
    // (L/D)max 13.606; minimum thrust required 216.8 lb at 144.8 ft/s; min power 50.1 hp at 110.0 ft/s, sea level.
    let air = standard(0.0);
    let drag = |v: f64| a.drag_n(air, v, mass, Configuration::default());
    let grid = || (0..60_000).map(|i| 25.0 + 0.001 * f64::from(i));
    let v_min_drag = grid()
        .min_by(|x, y| drag(*x).total_cmp(&drag(*y)))
        .expect("a grid");
    let lbf = KG_PER_LB * G_M_S2;
    assert!(
        (drag(v_min_drag) / lbf - 216.8).abs() < 0.05,
        "{}",
        drag(v_min_drag) / lbf
    );
    assert!(
        (v_min_drag / M_PER_FT - 144.8).abs() < 0.05,
        "{}",
        v_min_drag / M_PER_FT
    );
    assert!((w_lb / (drag(v_min_drag) / lbf) - 13.606).abs() < 5e-4);
    let v_min_power = grid()
        .min_by(|x, y| (drag(*x) * x).total_cmp(&(drag(*y) * y)))
        .expect("a grid");
    assert!((drag(v_min_power) * v_min_power / W_PER_HP - 50.1).abs() < 0.05);
    assert!((v_min_power / M_PER_FT - 110.0).abs() < 0.05);
    // Vmax at sea level 261.6 ft/s: level_speed on the fast side.
    let p = problem(a.clone(), 300.0, 0.0, 0.0);
    let full = Levers {
        throttle: Throttle::Full,
        rev_s: 45.0,
        mixture: 0,
    };
    let near = std::cell::Cell::new(fellrun::aircraft::propeller::Nearby::NONE);
    let (v_max, _) =
        fellrun::flight::level_speed_m_s(&p, air, mass, full, 85.0, &near).expect("level flight");
    assert!(
        (v_max / M_PER_FT - 261.6).abs() < 0.05,
        "{}",
        v_max / M_PER_FT
    );
    // Rate of climb 1,498 fpm at sea level, 754 at 12,000 ft (printed to 1 fpm).
    assert!((best_climb_m_s(&a, mass, 0.0) / M_S_PER_FPM - 1_498.0).abs() < 0.6);
    assert!((best_climb_m_s(&a, mass, 12_000.0 * M_PER_FT) / M_S_PER_FPM - 754.0).abs() < 0.6);
    // Absolute ceiling 26,820 ft, service ceiling (100 fpm) 24,690 ft, printed to 10 ft.
    let ceiling = |rate_fpm: f64| {
        let (mut low, mut high) = (15_000.0, 35_000.0);
        for _ in 0..60 {
            let mid = 0.5 * (low + high);
            if best_climb_m_s(&a, mass, mid * M_PER_FT) > rate_fpm * M_S_PER_FPM {
                low = mid
            } else {
                high = mid
            }
        }
        low
    };
    assert!((ceiling(0.0) - 26_820.0).abs() < 10.0, "{}", ceiling(0.0));
    assert!(
        (ceiling(100.0) - 24_690.0).abs() < 10.0,
        "{}",
        ceiling(100.0)
    );
    // Time to 20,000 ft 26.9 min: Simpson's rule over dh / (R/C).
    let n = 40;
    let dh = 20_000.0 * M_PER_FT / f64::from(n);
    let time: f64 = (0..=n)
        .map(|i| {
            let weight = if i == 0 || i == n {
                1.0
            } else if i % 2 == 1 {
                4.0
            } else {
                2.0
            };
            weight / best_climb_m_s(&a, mass, dh * f64::from(i))
        })
        .sum::<f64>()
        * dh
        / 3.0;
    assert!((time / 60.0 - 26.9).abs() < 0.05, "{}", time / 60.0);
}

#[test]
fn published_cp1_breguet_range_and_endurance() {
    // Range 1,205.1 statute miles at (L/D)max 13.606; R = (eta / b g) (L/D) ln(W0/W1), 65 gal = 367 lb of fuel. Flown here by
    // burning the fuel in 2,000 steps at the best lift/drag speed of the moment, sea level, with the aircraft's own thrust and
    // fuel flow.
    let (a, mass0) = cp1();
    let fuel = 1_632.5 / G_M_S2;
    let air = standard(0.0);
    let textbook = a.textbook.expect("it is the textbook aircraft");
    let steps = 2_000;
    let mut range = 0.0;
    for i in 0..steps {
        let mass = mass0 - fuel * (f64::from(i) + 0.5) / f64::from(steps);
        let v = v_md(&a, air, mass);
        let drag = a.drag_n(air, v, mass, Configuration::default());
        // Throttle so that thrust equals drag.
        let share = drag * v / (textbook.efficiency * textbook.power_w);
        let set = a.perform(
            air,
            v,
            Levers {
                throttle: Throttle::Map(share * 101_325.0),
                rev_s: 45.0,
                mixture: 0,
            },
        );
        assert!((set.thrust_n / drag - 1.0).abs() < 1e-9);
        range += v * fuel / f64::from(steps) / set.fuel_kg_s;
    }
    let miles = range / 1_609.344;
    // The published weight is 13,127.5 N; 2,950 lb is 13,122.3 N, which moves the range by 0.04 %: half a mile.
    assert!((miles - 1_205.1).abs() < 0.6, "{miles}");
}

/// In rough air the speed is what limits: of the quickest setting at each level, a step of the hand more is too fast, by the definition of the most that
/// can be set. One RPM and one mixture, among which no other setting comes nearer by chance.
#[test]
fn closed_form_the_quickest_setting_is_the_most_that_a_hand_can_set() {
    let mut one = demo();
    one.engine.spec.mixtures.truncate(1);
    one.propeller.lowest_governed_rev_s = one.propeller.highest_governed_rev_s;
    let mut p = problem(one, 200.0, 0.0, 0.0);
    p.limits.air = vec![(30_000.0 * M_PER_FT, Roughness::Rough)];
    let (aircraft, s) = (&p.aircraft, 0.5 * p.length_m);
    let mass = 0.95 * aircraft.masses.max_take_off_kg;
    for level in 4..=22 {
        let level_m = 500.0 * f64::from(level) * M_PER_FT;
        let options = cruise::options(&p, level_m, s, mass);
        let quickest = options
            .iter()
            .max_by(|a, b| a.tas_m_s.total_cmp(&b.tas_m_s))
            .expect("one option");
        let Throttle::Map(map) = quickest.levers.throttle else {
            panic!("full throttle is too fast: {quickest:?}");
        };
        let more = Levers {
            throttle: Throttle::Map(map + aircraft.procedures.map_step_pa),
            ..quickest.levers
        };
        let air = standard(level_m);
        let near = Cell::new(Nearby::NONE);
        let (tas, _) = level_speed_m_s(&p, air, mass, more, quickest.tas_m_s, &near)
            .expect("more power flies level");
        let top = p
            .limits
            .speed_limit_m_s(&aircraft.speeds, 0.95, level_m, level_m);
        let (ias, ias_more) = (quickest.ias_m_s, aircraft.ias_from_tas(air, tas));
        assert!(
            ias <= top && top < ias_more,
            "{level_m}: {ias} and {ias_more} of {top}"
        );
    }
}
