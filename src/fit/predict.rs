//! What an aircraft would show in the place of a row.

use super::row::{Condition, EngineSetting, Flight, Quantity, Row, Setting};
use crate::air::isa;
use crate::aircraft::engine::Throttle;
use crate::aircraft::{AirState, Aircraft, Levers, Performance, Speeds};
use crate::quantity::G_M_S2;

/// Relative tolerance of a solved speed: far below the smallest step of a finite difference of the fit.
const SPEED_TOLERANCE: f64 = 1e-11;
/// Factor between the speeds that bracket level flight.
const SPEED_STEP: f64 = 1.06;
/// Steps of the bracket: a factor of 3.2 each way.
const BRACKET_STEPS: usize = 20;
/// Steps inside the bracket.
const ROOT_STEPS: usize = 60;
/// Half of the height over which the acceleration of a constant indicated speed is taken, m.
const HALF_STEP_M: f64 = 50.0;
/// Parts of a climb between two altitudes; Simpson's rule, so even. The integrand is smooth: the error is below 0.01 %.
const SPAN_PARTS: usize = 6;
/// Slowest climb that is integrated, m/s; below it time per height goes on linearly, so that a fit can come back from there.
const SLOWEST_CLIMB_M_S: f64 = 0.25;

/// Steady state with power on or off at a given speed.
struct Steady {
    tas_m_s: f64,
    performance: Performance,
    /// Rate of climb in pressure altitude, m/s.
    rate_m_s: f64,
    /// Sine of the path angle.
    sine: f64,
}

fn air(condition: &Condition, pressure_altitude_m: f64) -> AirState {
    AirState::new(
        isa::pressure_pa(pressure_altitude_m),
        isa::temperature_k(pressure_altitude_m) + condition.deviation_k,
    )
}

fn levers(aircraft: &Aircraft, air: AirState, engine: &EngineSetting, tas_m_s: f64) -> Levers {
    let throttle = match engine.throttle {
        Setting::FullThrottle => Throttle::Full,
        Setting::Map(pa) => Throttle::Map(pa),
        Setting::Speed => Throttle::Rpm,
        Setting::Power(fraction) => {
            let intake = aircraft.intake(air, tas_m_s);
            let power_w = fraction * aircraft.engine.spec.rated_power_w;
            Throttle::Map(aircraft.engine.map_for_power_pa(
                power_w,
                engine.rev_s,
                engine.mixture,
                intake,
            ))
        }
    };
    Levers {
        throttle,
        rev_s: engine.rev_s,
        mixture: engine.mixture,
    }
}

/// The fast speed \[m/s\] of level flight near a guess, with what the aeroplane does there.
///
/// `T(V) = D(V)`, bracketed from the guess and solved by regula falsi (Illinois). Where thrust nowhere reaches drag, the
/// speed of least lack is given, less the lack over drag: wrong, but falling with it, so that a fit finds its way back.
pub fn level_flight(
    aircraft: &Aircraft,
    condition: &Condition,
    engine: &EngineSetting,
    guess_m_s: f64,
) -> (f64, Performance) {
    let here = air(condition, condition.pressure_altitude_m);
    let perform = |v: f64| aircraft.perform(here, v, levers(aircraft, here, engine, v));
    let drag = |v: f64| aircraft.drag_n(here, v, condition.mass_kg, condition.configuration);
    let excess = |v: f64| perform(v).thrust_n - drag(v);
    let mut a = (guess_m_s, excess(guess_m_s));
    let up = a.1 > 0.0;
    let mut best = a;
    let mut b = a;
    for _ in 0..BRACKET_STEPS {
        let v = if up {
            a.0 * SPEED_STEP
        } else {
            a.0 / SPEED_STEP
        };
        b = (v, excess(v));
        if (b.1 > 0.0) != up {
            break;
        }
        if b.1 > best.1 {
            best = b;
        }
        a = b;
    }
    if (a.1 > 0.0) == (b.1 > 0.0) {
        let v = if up {
            b.0
        } else {
            best.0 * (1.0 + best.1 / drag(best.0))
        };
        return (v, perform(v));
    }
    for _ in 0..ROOT_STEPS {
        let v = (a.0 * b.1 - b.0 * a.1) / (b.1 - a.1);
        let f = excess(v);
        if f * b.1 <= 0.0 {
            a = b;
        } else {
            a.1 *= 0.5;
        }
        let step = (v - b.0).abs();
        b = (v, f);
        if f == 0.0 || step <= SPEED_TOLERANCE * v {
            break;
        }
    }
    (b.0, perform(b.0))
}

/// Rate of climb or sink from thrust and drag at a constant indicated speed.
///
/// `(T - D) V / W = dh/dt (1 + (V/g) dV/dh)`, h geometric; pressure altitude moves as `dh/dt T_std / T` (DESIGN
/// section 4, motion).
fn steady(
    aircraft: &Aircraft,
    condition: &Condition,
    altitude_m: f64,
    ias_m_s: f64,
    perform: impl Fn(AirState, f64) -> Performance,
) -> Steady {
    let here = air(condition, altitude_m);
    let tas = |h: f64| aircraft.tas_from_ias(air(condition, h), ias_m_s);
    let v = tas(altitude_m);
    let per_pressure_m =
        (tas(altitude_m + HALF_STEP_M) - tas(altitude_m - HALF_STEP_M)) / (2.0 * HALF_STEP_M);
    let standard = isa::temperature_k(altitude_m) / here.temperature_k;
    let performance = perform(here, v);
    let drag = aircraft.drag_n(here, v, condition.mass_kg, condition.configuration);
    let weight_n = condition.mass_kg * G_M_S2;
    let sine =
        (performance.thrust_n - drag) / (weight_n * (1.0 + v / G_M_S2 * per_pressure_m * standard));
    Steady {
        tas_m_s: v,
        performance,
        rate_m_s: v * sine * standard,
        sine,
    }
}

fn climb(
    aircraft: &Aircraft,
    condition: &Condition,
    altitude_m: f64,
    ias_m_s: f64,
    engine: &EngineSetting,
) -> Steady {
    steady(aircraft, condition, altitude_m, ias_m_s, |here, v| {
        aircraft.perform(here, v, levers(aircraft, here, engine, v))
    })
}

/// What the aircraft shows for each figure of a row, in their order.
pub fn predict(aircraft: &Aircraft, row: &Row) -> Vec<f64> {
    let c = &row.condition;
    let every = |f: &dyn Fn(Quantity) -> f64| row.seen.iter().map(|s| f(s.quantity)).collect();
    let of_engine = |quantity: Quantity, p: &Performance| match quantity {
        Quantity::PowerFraction => p.power_fraction,
        Quantity::FuelFlow => p.fuel_kg_s,
        Quantity::ManifoldPressure => p.map_pa,
        // files give a row only figures of its kind
        _ => f64::NAN,
    };
    match &row.flight {
        Flight::Cruise { engine } => {
            let here = air(c, c.pressure_altitude_m);
            let (v, p) = level_flight(aircraft, c, engine, guess_m_s(aircraft, row));
            every(&|quantity| match quantity {
                Quantity::Tas => v,
                Quantity::Ias => aircraft.ias_from_tas(here, v),
                other => of_engine(other, &p),
            })
        }
        Flight::Climb { engine, ias_m_s } => {
            let s = climb(aircraft, c, c.pressure_altitude_m, *ias_m_s, engine);
            every(&|quantity| match quantity {
                Quantity::ClimbRate => s.rate_m_s,
                other => of_engine(other, &s.performance),
            })
        }
        Flight::ClimbSpan {
            engine,
            ias_m_s,
            from_m,
        } => {
            let step_m = (c.pressure_altitude_m - from_m) / SPAN_PARTS as f64;
            let mut sums = [0.0; 3];
            for i in 0..=SPAN_PARTS {
                let s = climb(aircraft, c, from_m + i as f64 * step_m, *ias_m_s, engine);
                let weight = match i {
                    0 | SPAN_PARTS => 1.0,
                    i if i % 2 == 1 => 4.0,
                    _ => 2.0,
                } * step_m
                    / 3.0;
                let slowness = if s.rate_m_s > SLOWEST_CLIMB_M_S {
                    1.0 / s.rate_m_s
                } else {
                    (2.0 - s.rate_m_s / SLOWEST_CLIMB_M_S) / SLOWEST_CLIMB_M_S
                };
                let cosine = (1.0 - s.sine * s.sine).max(0.0).sqrt();
                let each = [1.0, s.performance.fuel_kg_s, s.tas_m_s * cosine];
                for (sum, part) in sums.iter_mut().zip(each) {
                    *sum += weight * slowness * part;
                }
            }
            every(&|quantity| match quantity {
                Quantity::ClimbTime => sums[0],
                Quantity::ClimbFuel => sums[1],
                Quantity::ClimbDistance => sums[2],
                _ => f64::NAN,
            })
        }
        Flight::Glide {
            ias_m_s,
            lever,
            engine,
        } => {
            let s = steady(aircraft, c, c.pressure_altitude_m, *ias_m_s, |here, v| {
                aircraft.glide_drag(here, v, *lever, *engine)
            });
            every(&|quantity| match quantity {
                Quantity::SinkRate => -s.rate_m_s,
                Quantity::GlideRatio => (1.0 - s.sine * s.sine).max(0.0).sqrt() / -s.sine,
                _ => f64::NAN,
            })
        }
        Flight::Stall => {
            let vs = aircraft.speeds.vs_m_s;
            let vs = Speeds::at_mass(vs, c.mass_kg, aircraft.masses.max_take_off_kg);
            every(&|_| vs)
        }
    }
}

/// First guess of a level speed: what was read, else Vno, which lies above most cruising speeds.
fn guess_m_s(aircraft: &Aircraft, row: &Row) -> f64 {
    let here = air(&row.condition, row.condition.pressure_altitude_m);
    let tas = |ias: f64| aircraft.tas_from_ias(here, ias);
    let read = row.seen.iter().find_map(|s| match s.quantity {
        Quantity::Tas => Some(s.value),
        Quantity::Ias => Some(tas(s.value)),
        _ => None,
    });
    read.unwrap_or_else(|| tas(aircraft.speeds.vno_m_s))
}
