//! A plan for the tests of the faces: an invented aeroplane on an invented route, flown by hand-written settings.

use super::Figures;
use crate::aircraft::engine::{Engine, EngineSpec, Mixture, Throttle};
use crate::aircraft::propeller::{PropellerGeometry, PropellerTable, Stops};
use crate::aircraft::{
    Aircraft, Airframe, Flap, FuelSystem, HubWithoutOil, Masses, Procedures, Propeller, Speeds,
};
use crate::earth::geodesic;
use crate::earth::place::Position;
use crate::flight::testbed::plain_trip;
use crate::flight::{
    Climb, Cruise, Descent, DescentPart, FlightError, Flown, Limit, PathRule, Reduction, Script,
    ThrottleRule, fly_recorded,
};
use crate::quantity::{
    KG_PER_LB, M_PER_FT, M_PER_NM, M_S_PER_FPM, M_S_PER_KT, M3_PER_CUIN, M3_PER_GAL, PA_PER_INHG,
    W_PER_HP,
};
use crate::reflight::Mismatch;
use crate::solve::{
    Alternative, AlternativeKind, CHANGES, Ideal, LeftOut, NotFlown, Plan, Sensitivity, Shifted,
    Termination, Totals, Warning,
};
use crate::trip::{HourBasis, Leg, LegLevels, Note, Prices, Problem, Roughness, RouteAir};
use std::sync::OnceLock;

const LB_PER_GAL: f64 = 6.0;

fn rev(rpm: f64) -> f64 {
    rpm / 60.0
}

fn mixture(name: &str, fuel_air: f64, relative_power: f64, max_power_fraction: f64) -> Mixture {
    Mixture {
        name: name.to_owned(),
        fuel_air,
        relative_power,
        max_power_fraction,
    }
}

fn aircraft() -> Aircraft {
    let kt = M_S_PER_KT;
    let gal = LB_PER_GAL * KG_PER_LB;
    let (low, high) = (12.5_f64.to_radians(), 30.0_f64.to_radians());
    let geometry =
        PropellerGeometry::standard(74.0 * 0.0254, 2, 1.0).expect("an ordinary propeller");
    let engine = Engine::new(EngineSpec {
        displacement_m3: 360.0 * M3_PER_CUIN,
        compression_ratio: 8.7,
        rated_power_w: 200.0 * W_PER_HP,
        rated_rev_s: rev(2_700.0),
        induction_loss_pa: 1.2 * PA_PER_INHG,
        ram_recovery: 0.5,
        volumetric_efficiency: 0.85,
        charge_heating_k: 15.0,
        friction_pa: [0.4e5, 0.12e5, 0.08e5],
        idle_fuel_kg_s: 1.5 * gal / 3600.0,
        mixtures: vec![
            mixture("full rich", 0.088, 0.965, 1.0),
            mixture("best power", 0.078, 1.0, 0.8),
            mixture("peak EGT", 0.067, 0.95, 0.75),
        ],
        turbo: None,
    })
    .expect("an ordinary engine");
    Aircraft {
        name: "invented 200-hp retractable".to_owned(),
        seats: 4,
        masses: Masses {
            empty_kg: 1_650.0 * KG_PER_LB,
            max_take_off_kg: 2_740.0 * KG_PER_LB,
            max_landing_kg: 2_740.0 * KG_PER_LB,
        },
        fuel: FuelSystem {
            usable_kg: 64.0 * gal,
            density_kg_m3: gal / M3_PER_GAL,
        },
        speeds: Speeds {
            vs_m_s: 57.0 * kt,
            va_m_s: 118.0 * kt,
            vno_m_s: 152.0 * kt,
            vne_m_s: 176.0 * kt,
            vy_m_s: vec![(0.0, 88.0 * kt), (3_000.0, 85.0 * kt)],
            vlo_extend_m_s: 132.0 * kt,
            vlo_retract_m_s: 107.0 * kt,
            vle_m_s: 132.0 * kt,
            least_cooling_m_s: 90.0 * kt,
            correction: vec![],
        },
        airframe: Airframe {
            wing_area_m2: 170.0 * 0.092_903_04,
            cd0: 0.0235,
            k: 0.058,
            cd_gear: 0.016,
            flaps: vec![Flap {
                angle_rad: 15.0_f64.to_radians(),
                cd: 0.02,
                vfe_m_s: 110.0 * kt,
            }],
            cd_cooling: 0.0,
        },
        engines: 1,
        engine,
        equipment: crate::aircraft::Equipment::default(),
        propeller: Propeller {
            table: PropellerTable::build(&geometry, low, high).expect("ordinary stops"),
            stops: Stops {
                low_rad: low,
                high_rad: high,
            },
            lowest_governed_rev_s: rev(1_500.0),
            highest_governed_rev_s: rev(2_700.0),
            hub: HubWithoutOil::Fine,
            avoid: vec![],
            installed_factor: 0.93,
            feathered: None,
        },
        procedures: Procedures {
            taxi_fuel_kg: 1.2 * gal,
            taxi_time_s: 600.0,
            take_off_fuel_kg: 0.3 * gal,
            climb_rev_s: vec![rev(2_700.0), rev(2_500.0)],
            cruise_power_fraction: 0.75,
            map_limit: vec![
                (rev(1_800.0), 23.0 * PA_PER_INHG),
                (rev(2_700.0), 29.0 * PA_PER_INHG),
            ],
            full_rich_density_altitude_m: 5_000.0 * M_PER_FT,
            least_descent_map_pa: 15.0 * PA_PER_INHG,
            map_reduction_pa_s: 2.0 * PA_PER_INHG / 60.0,
            map_step_pa: 0.5 * PA_PER_INHG,
            rev_step_s: rev(50.0),
            speed_step_m_s: 5.0 * kt,
            tank_change_s: 3_600.0,
            gear_as_brake: false,
            pattern_m_s: 90.0 * kt,
        },
        textbook: None,
    }
}

/// Part of a straight way between two places that far along it.
fn line(from_nm: f64, to_nm: f64) -> geodesic::Leg {
    let first = Position::new(43.0, -119.0).expect("a place");
    let place = |nm: f64| geodesic::destination(first, 1.6, nm * M_PER_NM);
    geodesic::Leg::new(place(from_nm), place(to_nm)).expect("two places")
}

fn made_problem() -> Problem {
    let length_m = 292.0 * M_PER_NM;
    let ft = M_PER_FT;
    let nm = M_PER_NM;
    let leg = |from: &str,
               to: &str,
               from_nm: f64,
               to_nm: f64,
               ground: &[(f64, f64)],
               minimum_ft: f64,
               course: f64| {
        let mut start = from_nm;
        let ground = ground
            .iter()
            .map(|&(end, height_ft)| {
                let g = (start * nm, end * nm, height_ft * ft);
                start = end;
                g
            })
            .collect();
        Leg {
            from: from.to_owned(),
            to: to.to_owned(),
            line: line(from_nm, to_nm),
            from_m: from_nm * nm,
            to_m: to_nm * nm,
            true_rad: f64::to_radians(course + 12.0),
            magnetic_rad: f64::to_radians(course),
            magnetic_ends_rad: [f64::to_radians(course); 2],
            variation_rad: f64::to_radians(12.0),
            ground,
            under_track: vec![],
            minimum_m: minimum_ft * ft,
            maximum_m: None,
            mountainous: true,
            ground_source: "drawn by hand for the tests".to_owned(),
        }
    };
    let gal = LB_PER_GAL * KG_PER_LB;
    let air = RouteAir::uniform(
        length_m,
        -12.0 * M_S_PER_KT,
        8.0 * M_S_PER_KT,
        9.0,
        16_000.0 * ft,
    );
    let mut p = plain_trip(aircraft(), ("AAA", "BBB"), length_m, air);
    p.title = "Up the valley and over".to_owned();
    p.legs = vec![
        leg(
            "AAA",
            "MID",
            0.0,
            140.0,
            &[
                (20.0, 4_600.0),
                (45.0, 5_900.0),
                (80.0, 7_050.0),
                (110.0, 6_200.0),
                (140.0, 6_700.0),
            ],
            9_100.0,
            312.0,
        ),
        leg(
            "MID",
            "BBB",
            140.0,
            292.0,
            &[
                (170.0, 7_300.0),
                (215.0, 6_400.0),
                (255.0, 5_400.0),
                (292.0, 3_900.0),
            ],
            9_300.0,
            296.0,
        ),
    ];
    p.departure.elevation_m = 4_227.0 * ft;
    p.destination.elevation_m = 2_871.0 * ft;
    p.zero_fuel_kg = 2_240.0 * KG_PER_LB;
    p.fuel_kg = 58.0 * gal;
    p.prices = Prices {
        per_s: 140.0 / 3_600.0,
        basis: HourBasis::Clock,
        fuel_per_kg: 6.2 / gal,
    };
    p.limits.max_altitude_m = 13_000.0 * ft;
    p.limits.air = vec![(20_000.0 * ft, Roughness::Light)];
    p.arrival.pattern_altitude_m = 3_900.0 * ft;
    let levels = LegLevels {
        levels_m: vec![10_500.0 * ft, 12_500.0 * ft],
    };
    p.levels = vec![levels.clone(), levels];
    p
}

fn script(descent_map_inhg: f64, descent_rpm: f64) -> Script {
    Script {
        initial_ias_m_s: 90.0 * M_S_PER_KT,
        initial_mixture: 1,
        climb: Climb {
            ias_m_s: 105.0 * M_S_PER_KT,
            second: None,
            rev_s: rev(2_500.0),
            mixture: 1,
            lean_at_m: f64::INFINITY,
            circle: None,
        },
        cruise: vec![Cruise {
            level_m: 10_500.0 * M_PER_FT,
            from_m: 0.0,
            throttle: Throttle::Full,
            rev_s: rev(2_300.0),
            mixture: 2,
            set_at_ias_m_s: 118.0 * M_S_PER_KT,
        }],
        descent: Descent {
            first: DescentPart {
                throttle: ThrottleRule::Held(descent_map_inhg * PA_PER_INHG),
                rev_s: rev(descent_rpm),
                mixture: 2,
                path: PathRule::Rate(500.0 * M_S_PER_FPM),
                gear_down: false,
            },
            second: None,
            reduce_at_m: 4_900.0 * M_PER_FT,
            to_go_m: f64::NAN,
            circle: None,
        },
        reduction: Reduction {
            step_pa: PA_PER_INHG,
            step_rev_s: 50.0 / 60.0,
            floor_rev_s: 30.0,
            interval_s: 30.0,
            floor_pa: 13.0 * PA_PER_INHG,
        },
    }
}

fn totals(problem: &Problem, flown: &Flown) -> Totals {
    let a = &problem.aircraft.procedures;
    let landing_fuel_kg = problem.fuel_kg - a.taxi_fuel_kg - flown.fuel_kg;
    let block_time_s = flown.time_s + a.taxi_time_s;
    let block_fuel_kg = flown.fuel_kg + a.taxi_fuel_kg;
    let reserve_required_kg = problem.limits.reserve_s * flown.cruise_fuel_kg_s;
    Totals {
        time_s: flown.time_s,
        fuel_kg: flown.fuel_kg,
        block_time_s,
        block_fuel_kg,
        money: block_time_s * problem.prices.per_s + block_fuel_kg * problem.prices.fuel_per_kg,
        distance_m: problem.length_m,
        landing_fuel_kg,
        reserve_s: landing_fuel_kg / flown.cruise_fuel_kg_s,
        reserve_required_kg,
        legal_reserve_kg: 1_800.0 * flown.cruise_fuel_kg_s,
        alternate_kg: 0.0,
        fuel_required_kg: block_fuel_kg + reserve_required_kg,
    }
}

/// The ordinary descent, and the same flight under every other name.
fn alternatives(flown: &Flown, other: &Flown, totals: Totals) -> Vec<Alternative> {
    let kinds = [
        AlternativeKind::OrdinaryDescent,
        AlternativeKind::Level(10_500.0 * M_PER_FT),
        AlternativeKind::ClimbVy(85.0 * M_S_PER_KT),
        AlternativeKind::CruiseClimb(105.0 * M_S_PER_KT),
        AlternativeKind::CruiseRevDown,
        AlternativeKind::CoarseDown(rev(1_800.0)),
        AlternativeKind::CruiseThrottle(0, Throttle::Map(19.0 * PA_PER_INHG)),
        AlternativeKind::CruiseThrottle(0, Throttle::Full),
        AlternativeKind::CruiseRev(0, rev(2_450.0)),
    ];
    let difference = other.cost - flown.cost;
    kinds
        .into_iter()
        .enumerate()
        .map(|(i, kind)| Alternative {
            kind,
            totals,
            // The second is the plan's equal, the third cheaper.
            difference: match i {
                1 => 1e-4 * flown.cost,
                2 => -2e-3 * flown.cost,
                _ => difference,
            },
            charged_difference: difference,
            flown: other.clone(),
        })
        .collect()
}

/// One change flown, one that breaks limits, and others that cannot be flown.
fn sensitivity(other: &Flown, totals: Totals) -> Vec<Sensitivity> {
    let shifted = |broken: Vec<Limit>| {
        Ok(Shifted {
            totals,
            difference: 12.3,
            broken,
            flown: other.clone(),
        })
    };
    let outcomes = [
        shifted(vec![]),
        shifted(vec![Limit::ClimbRate, Limit::Mixture]),
        Err(NotFlown::TooHeavy(20.0)),
        Err(NotFlown::Flight(FlightError::CannotCruise {
            altitude_ft: 10_500.0,
        })),
        shifted(vec![]),
        shifted(vec![]),
    ];
    CHANGES
        .into_iter()
        .zip(outcomes)
        .map(|(change, outcome)| Sensitivity {
            change,
            anew: false,
            outcome,
        })
        .collect()
}

fn made_plan(problem: &Problem, script_flown: &Script) -> Plan {
    let flown = fly_recorded(problem, script_flown).expect("the sample flies");
    let other = fly_recorded(problem, &script(16.5, 2_300.0)).expect("the ordinary descent flies");
    let (mine, theirs) = (totals(problem, &flown), totals(problem, &other));
    Plan {
        objective: problem.objective,
        objective_value: flown.cost,
        unrounded_value: flown.cost * 0.9994,
        ideal: Ideal {
            objective_value: flown.cost / 1.013,
            money: mine.money / 1.013,
            time_s: mine.time_s / 1.01,
            fuel_kg: mine.fuel_kg / 1.02,
            margin: 0.013,
        },
        reflight: Mismatch {
            time_s: -0.4,
            fuel_kg: 0.012,
            height_m: 1.1,
            speed_m_s: -0.05,
            barred_m: 0.0,
        },
        alternatives: alternatives(&flown, &other, theirs),
        left_out: vec![LeftOut {
            kind: AlternativeKind::Level(16_500.0 * M_PER_FT),
            limits: vec![Limit::ClimbRate],
        }],
        sensitivity: sensitivity(&other, theirs),
        later: vec![],
        binding: vec![Limit::DescentRate, Limit::CruisePower],
        alternate: None,
        warnings: vec![
            Warning::Note(Note::BelowForecast(640.0)),
            Warning::NoLimitLine,
        ],
        termination: Termination::Converged,
        flights: 4_321,
        totals: mine,
        flown,
    }
}

/// The problem.
pub fn problem() -> &'static Problem {
    static PROBLEM: OnceLock<Problem> = OnceLock::new();
    PROBLEM.get_or_init(made_problem)
}

/// The plan.
pub fn plan() -> &'static Plan {
    static PLAN: OnceLock<Plan> = OnceLock::new();
    PLAN.get_or_init(|| made_plan(problem(), &script(22.0, 2_100.0)))
}

/// A plan whose climb has this speed from a height on.
pub fn second_climb_speed(from_ft: f64, ias_kt: f64) -> Plan {
    let mut s = script(22.0, 2_100.0);
    s.climb.second = Some((from_ft * M_PER_FT, ias_kt * M_S_PER_KT));
    made_plan(problem(), &s)
}

/// Plans of other shapes: a step climb and a throttle left alone at a held IAS; a lower cruise at part throttle leaned on the
/// way up, with a held reading; a step down, full throttle in the descent and power back on levelling off.
pub fn shapes() -> Vec<Plan> {
    let ft = M_PER_FT;
    let left_alone = {
        let mut s = script(20.0, 2_300.0);
        let mut higher = s.cruise[0];
        higher.level_m = 11_500.0 * ft;
        higher.from_m = 130.0 * M_PER_NM;
        s.cruise.push(higher);
        s.descent.first.throttle = ThrottleRule::LeftAlone(17.0 * PA_PER_INHG);
        s.descent.first.path = PathRule::Ias(125.0 * M_S_PER_KT);
        s
    };
    let part_throttle = {
        let mut s = script(17.5, 1_900.0);
        s.initial_mixture = 0;
        s.climb.mixture = 0;
        s.climb.lean_at_m = 6_000.0 * ft;
        s.cruise[0].level_m = 8_500.0 * ft;
        s.cruise[0].throttle = Throttle::Map(20.5 * PA_PER_INHG);
        s.descent.reduce_at_m = 3_900.0 * ft;
        s
    };
    let step_down = {
        let mut s = script(18.0, 2_300.0);
        let mut lower = s.cruise[0];
        lower.level_m = 8_500.0 * ft;
        lower.from_m = 150.0 * M_PER_NM;
        lower.throttle = Throttle::Map(21.0 * PA_PER_INHG);
        s.cruise.push(lower);
        s.descent.first.throttle = ThrottleRule::Full;
        s.descent.first.rev_s = rev(2_500.0);
        s.descent.first.mixture = 1;
        s.descent.reduce_at_m = 3_900.0 * ft;
        s
    };
    [left_alone, part_throttle, step_down]
        .iter()
        .map(|s| made_plan(problem(), s))
        .collect()
}

/// The same trip in an aeroplane of the same flight with a fixed pitch: for the words, which ask the settings and the path only.
/// Cruise at 2,400 rpm; the descent at 2,200, or with the throttle left where it was.
pub fn fixed_pitch(left: bool) -> (Problem, Plan) {
    let (mut problem, mut plan) = (problem().clone(), plan().clone());
    problem.aircraft.propeller.stops.high_rad = problem.aircraft.propeller.stops.low_rad;
    plan.alternatives
        .retain(|a| a.kind == AlternativeKind::OrdinaryDescent);
    plan.left_out = vec![LeftOut {
        kind: AlternativeKind::CruiseRpmHeld(0, rev(2_450.0)),
        limits: vec![Limit::Redline],
    }];
    let script = &mut plan.flown.script;
    for c in &mut script.cruise {
        (c.throttle, c.rev_s) = (Throttle::Rpm, rev(2_400.0));
    }
    (script.descent.first.throttle, script.descent.first.rev_s) = if left {
        (ThrottleRule::Untouched, rev(2_400.0))
    } else {
        (ThrottleRule::Rpm, rev(2_200.0))
    };
    (problem, plan)
}

/// The figures of the same flight, of an aeroplane that has two engines: for the words.
pub fn twin() -> Figures {
    let mut problem = problem().clone();
    problem.aircraft.engines = 2;
    Figures::new(plan(), &problem)
}

/// Its figures.
pub fn figures() -> &'static Figures {
    static FIGURES: OnceLock<Figures> = OnceLock::new();
    FIGURES.get_or_init(|| Figures::new(plan(), problem()))
}

/// Writes the faces of the sample where a person can look at them: `cargo test faces_for_the_eye -- --ignored`.
#[test]
#[ignore = "for the eye, checks nothing"]
fn faces_for_the_eye() {
    let folder = std::env::temp_dir().join("fellrun-faces");
    std::fs::create_dir_all(&folder).expect("makes the folder");
    let mut all = vec![figures().clone()];
    all.extend(shapes().iter().map(|p| Figures::new(p, problem())));
    for (i, f) in all.iter().enumerate() {
        for width in [80, 100] {
            let text = anstream::adapter::strip_str(&super::terminal(f, width)).to_string();
            std::fs::write(folder.join(format!("sheet-{i}-{width}.txt")), text).expect("writes");
        }
        std::fs::write(
            folder.join(format!("chart-{i}.svg")),
            super::svg(f).expect("draws"),
        )
        .expect("writes");
        #[cfg(feature = "png")]
        std::fs::write(
            folder.join(format!("chart-{i}.png")),
            super::png(f).expect("draws"),
        )
        .expect("writes");
        std::fs::write(
            folder.join(format!("plan-{i}.json")),
            super::json(f).expect("writes"),
        )
        .expect("writes");
    }
}
