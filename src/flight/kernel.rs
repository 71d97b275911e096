//! Equations of motion and the steps that integrate them.

use crate::air::{isa, turn};
use crate::aircraft::propeller::Nearby;
use crate::aircraft::{AirState, Configuration, Levers, Performance};
use crate::quantity::G_M_S2;
use crate::trip::{AirSample, Problem};
use std::cell::Cell;

/// State of the flight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct State {
    /// Since lift-off, s.
    pub time_s: f64,
    /// Along the route, m.
    pub distance_m: f64,
    /// Pressure altitude, m.
    pub pressure_altitude_m: f64,
    /// True airspeed, m/s.
    pub tas_m_s: f64,
    /// Fuel burned since lift-off, kg.
    pub fuel_kg: f64,
    /// Revolutions of the crankshaft since lift-off.
    pub revolutions: f64,
}

/// Slower than this no aeroplane of the kind flies, m/s.
const LEAST_TAS_M_S: f64 = 15.0;

impl State {
    /// Whether there is speed to fly with.
    pub(super) fn flies(&self) -> bool {
        let whole = self.distance_m.is_finite() && self.pressure_altitude_m.is_finite();
        whole && self.tas_m_s > LEAST_TAS_M_S
    }
}

/// What is held in the vertical.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Vertical {
    /// Indicated altitude; the speed is free.
    Level,
    /// Rate of pressure altitude [m/s], up positive; the speed is free.
    Rate(f64),
    /// Indicated airspeed [m/s]; the rate is free.
    Ias(f64),
    /// Rate of true airspeed [m/s²]: speed is traded for height; the rate is free.
    Trade(f64),
}

/// What the pilot holds during a step.
#[derive(Debug, Clone, Copy)]
pub(super) struct Control {
    pub levers: Levers,
    pub vertical: Vertical,
    pub configuration: Configuration,
    /// Bank of a turn over a field, rad; zero on the route.
    pub bank_rad: f64,
}

/// What levers gave near a state.
#[derive(Debug, Clone, Copy)]
pub(super) struct Given {
    pub levers: Levers,
    pub tas_m_s: f64,
    pub performance: Performance,
}

impl Given {
    fn of(control: &Control, there: &Instant) -> Self {
        Self {
            levers: control.levers,
            tas_m_s: there.tas_m_s,
            performance: there.performance,
        }
    }

    /// At another true airspeed [m/s] near there: the propeller makes as good as the same power of it.
    pub(super) fn at(&self, tas_m_s: f64) -> Performance {
        let thrust_n = self.performance.thrust_n;
        Performance {
            thrust_n: if thrust_n > 0.0 {
                thrust_n * self.tas_m_s / tas_m_s
            } else {
                thrust_n
            },
            ..self.performance
        }
    }
}

/// Everything about one instant.
#[derive(Debug, Clone, Copy)]
pub(super) struct Instant {
    pub air: AirState,
    pub sample: AirSample,
    pub performance: Performance,
    pub mass_kg: f64,
    pub tas_m_s: f64,
    pub ground_speed_m_s: f64,
    /// Rate of pressure altitude, m/s.
    pub rate_m_s: f64,
    /// Rate of true airspeed, m/s².
    pub acceleration_m_s2: f64,
    /// Lift over weight.
    pub load_factor: f64,
}

/// A level speed whose time constant is longer than this, s, is not held by leaving the levers alone: our choice, no source.
const SLOWEST_SETTLING_S: f64 = 120.0;
/// Longest step toward a level speed, and the shortest from which a slope is taken, m/s.
const LONGEST_SECANT_M_S: f64 = 10.0;
const SHORTEST_SECANT_M_S: f64 = 0.1;
/// Step in pressure altitude over which the change of TAS at constant IAS is taken, m.
const PROBE_M: f64 = 30.0;

/// Step in true airspeed over which the change of drag is taken, m/s.
const PROBE_M_S: f64 = 1.0;

/// Ground speed [m/s] from true airspeed, rate of climb and wind.
pub(super) fn ground_speed_m_s(tas_m_s: f64, climb_m_s: f64, sample: &AirSample) -> f64 {
    let level2 = tas_m_s * tas_m_s - climb_m_s * climb_m_s - sample.cross_m_s * sample.cross_m_s;
    level2.max(1.0).sqrt() + sample.along_m_s
}

/// Mass [kg] at lift-off.
pub(super) fn lift_off_kg(problem: &Problem) -> f64 {
    problem.zero_fuel_kg + problem.fuel_kg
        - problem.aircraft.procedures.taxi_fuel_kg
        - problem.aircraft.procedures.take_off_fuel_kg
}

/// The instant at a state under a control.
///
/// `near` carries the blade angle from one instant of a flight to the next ([`crate::aircraft::Aircraft::perform_near`]).
pub(super) fn instant(
    problem: &Problem,
    state: &State,
    control: &Control,
    near: &Cell<Nearby>,
) -> Instant {
    let hp = state.pressure_altitude_m;
    let air = problem.air_state(state.distance_m, hp, state.time_s);
    instant_in(problem, state, control, air, |air, tas| {
        problem
            .aircraft
            .perform_under_redline(air, tas, control.levers, near)
    })
}

/// [`instant`] in the air there, with what the levers give in it at the true airspeed [m/s].
pub(super) fn instant_in(
    problem: &Problem,
    state: &State,
    control: &Control,
    (air, sample): (AirState, AirSample),
    perform: impl FnOnce(AirState, f64) -> Performance,
) -> Instant {
    let hp = state.pressure_altitude_m;
    let mass_kg = lift_off_kg(problem) - state.fuel_kg;
    let tas = match control.vertical {
        Vertical::Ias(ias) => problem.aircraft.tas_from_ias(air, ias),
        Vertical::Level | Vertical::Rate(_) | Vertical::Trade(_) => state.tas_m_s,
    };
    let performance = perform(air, tas);
    // In a turn lift is more than weight. No way is made along the route, and over whole turns the wind adds neither ground nor shear.
    let turning = control.bank_rad > 0.0;
    let load_factor = turn::load_factor(control.bank_rad);
    let over_ground_m_s = |climb_m_s: f64| {
        if turning {
            0.0
        } else {
            ground_speed_m_s(tas, climb_m_s, &sample)
        }
    };
    let shear_per_s = if turning { 0.0 } else { sample.along_per_m };
    let drag = problem
        .aircraft
        .drag_n(air, tas, mass_kg * load_factor, control.configuration);
    let excess_n = performance.thrust_n - drag;
    let hydrostatic = air.temperature_k / isa::temperature_k(hp);
    // Pressure altitude drifts where the altimeter setting changes along the route: that part of its rate is no climb.
    let drift = problem.level_slope() * over_ground_m_s(0.0);
    let (rate, acceleration) = match control.vertical {
        Vertical::Level => (0.0, excess_n / mass_kg),
        Vertical::Rate(rate) => (
            rate,
            excess_n / mass_kg - G_M_S2 * (rate - drift) * hydrostatic / tas - shear_per_s * rate,
        ),
        Vertical::Ias(ias) => {
            let (above, _) = problem.air_state(state.distance_m, hp + PROBE_M, state.time_s);
            let tas_above = problem.aircraft.tas_from_ias(above, ias);
            let per_m = (tas_above - tas) / PROBE_M;
            let specific = excess_n * tas / (mass_kg * G_M_S2);
            let rate = (specific + hydrostatic * drift)
                / (hydrostatic + tas / G_M_S2 * (per_m + shear_per_s));
            (rate, per_m * rate)
        }
        Vertical::Trade(acceleration) => {
            let specific = (excess_n / mass_kg - acceleration) * tas / G_M_S2;
            let rate =
                (specific + hydrostatic * drift) / (hydrostatic + tas / G_M_S2 * shear_per_s);
            (rate, acceleration)
        }
    };
    let gs = over_ground_m_s(rate * hydrostatic);
    // Level flight follows the altimeter setting along the route.
    let rate = if control.vertical == Vertical::Level {
        drift
    } else {
        rate
    };
    Instant {
        air,
        sample,
        performance,
        mass_kg,
        tas_m_s: tas,
        ground_speed_m_s: gs,
        rate_m_s: rate,
        acceleration_m_s2: acceleration,
        load_factor,
    }
}

/// Time derivative: distance, pressure altitude, speed, fuel, revolutions.
type Slope = [f64; 5];

fn slope(i: &Instant) -> Slope {
    [
        i.ground_speed_m_s,
        i.rate_m_s,
        i.acceleration_m_s2,
        i.performance.fuel_kg_s,
        i.performance.rev_s,
    ]
}

fn moved(state: &State, slope: &Slope, dt: f64) -> State {
    State {
        time_s: state.time_s + dt,
        distance_m: state.distance_m + slope[0] * dt,
        pressure_altitude_m: state.pressure_altitude_m + slope[1] * dt,
        tas_m_s: state.tas_m_s + slope[2] * dt,
        fuel_kg: state.fuel_kg + slope[3] * dt,
        revolutions: state.revolutions + slope[4] * dt,
    }
}

/// One classical Runge-Kutta step of fourth order in time, with what the levers gave at the end of it. `first` is the instant at `state`. Where the speed is lost on the way the
/// state is one that does not fly ([`State::flies`]).
pub(super) fn step_time(
    problem: &Problem,
    state: &State,
    first: &Instant,
    control: &Control,
    dt: f64,
    near: &Cell<Nearby>,
) -> (State, Option<Given>) {
    let k1 = slope(first);
    let mut k = [k1; 4];
    let mut given = None;
    for (i, (share, from)) in [(0.5, 0), (0.5, 1), (1.0, 2)].into_iter().enumerate() {
        let there = moved(state, &k[from], share * dt);
        if !there.flies() {
            return (there, None);
        }
        let here = instant(problem, &there, control, near);
        k[i + 1] = slope(&here);
        given = Some(Given::of(control, &here));
    }
    let [k1, k2, k3, k4] = k;
    let mean: Slope = std::array::from_fn(|j| (k1[j] + 2.0 * (k2[j] + k3[j]) + k4[j]) / 6.0);
    (moved(state, &mean, dt), given)
}

/// How quickly the speed of a flight with free speed comes to rest [1/s, negative], from the slope of each force with speed: thrust at
/// constant power, drag by its polar, and the share of the weight along the path.
fn settling_per_s(problem: &Problem, first: &Instant, control: &Control) -> f64 {
    let tas = first.tas_m_s;
    let weight = first.mass_kg * first.load_factor;
    let drag = |v: f64| {
        let configuration = control.configuration;
        problem.aircraft.drag_n(first.air, v, weight, configuration)
    };
    let along_path = G_M_S2 * first.rate_m_s / (tas * tas);
    let excess = excess_per_m_s(drag, tas, first.performance.thrust_n);
    (along_path + excess / first.mass_kg).min(0.0)
}

/// The slope of thrust at constant power less drag with true airspeed, N s/m.
fn excess_per_m_s(drag: impl Fn(f64) -> f64, tas_m_s: f64, thrust_n: f64) -> f64 {
    let drag_slope = (drag(tas_m_s + PROBE_M_S) - drag(tas_m_s - PROBE_M_S)) / (2.0 * PROBE_M_S);
    -(drag_slope + thrust_n.max(0.0) / tas_m_s)
}

/// One step in time whose length is not bound by the time constant of the speed: an exponential Runge-Kutta step of second order
/// (Cox & Matthews, J. Comput. Phys. 176, 2002, equations 20 to 22, from memory), with the approach to the speed solved exactly and the
/// distance as its integral. For searches; `first` is the instant at `state`, and only one more is asked for: what the levers gave there, near
/// the end of the step, comes with the state after it, for a next step with the same levers.
pub(super) fn step_settling(
    problem: &Problem,
    state: &State,
    first: &Instant,
    control: &Control,
    dt: f64,
    near: &Cell<Nearby>,
) -> (State, Option<Given>) {
    let free = matches!(control.vertical, Vertical::Level | Vertical::Rate(_));
    let rate = if free {
        settling_per_s(problem, first, control)
    } else {
        0.0
    };
    // In turns over a field no way is made, at any speed.
    let on_route = control.bank_rad <= 0.0;
    let [phi1, phi2, phi3] = exponential_weights(rate * dt);
    let k1 = slope(first);
    let mut there = moved(state, &k1, dt);
    there.tas_m_s = state.tas_m_s + dt * phi1 * k1[2];
    if on_route {
        there.distance_m += dt * dt * phi2 * k1[2];
    }
    if !there.flies() {
        return (there, None);
    }
    let second = instant(problem, &there, control, near);
    let k2 = slope(&second);
    let mean: Slope = std::array::from_fn(|j| 0.5 * (k1[j] + k2[j]));
    let mut next = moved(state, &mean, dt);
    if free {
        // What the linear part leaves of the acceleration, at the end less at the beginning.
        let rest = k2[2] - k1[2] - rate * (there.tas_m_s - state.tas_m_s);
        next.tas_m_s = there.tas_m_s + dt * phi2 * rest;
        if on_route {
            // Ground speed is airspeed and what changes slowly.
            let slow = 0.5 * ((k1[0] - state.tas_m_s) + (k2[0] - there.tas_m_s));
            next.distance_m =
                state.distance_m + dt * (state.tas_m_s + slow + dt * (phi2 * k1[2] + phi3 * rest));
        }
    }
    (next, Some(Given::of(control, &second)))
}

/// `phi_k(z)` of exponential integrators, `(e^z - 1)/z` and on by `phi_{k+1} = (phi_k - 1/k!)/z`, for `z` of zero or less.
fn exponential_weights(z: f64) -> [f64; 3] {
    if z > -0.05 {
        // Series; the next term is below 1e-8.
        let series = |k: f64| {
            1.0 + z / (k + 1.0)
                * (1.0 + z / (k + 2.0) * (1.0 + z / (k + 3.0) * (1.0 + z / (k + 4.0))))
        };
        return [series(1.0), series(2.0) / 2.0, series(3.0) / 6.0];
    }
    let phi1 = z.exp_m1() / z;
    let phi2 = (phi1 - 1.0) / z;
    [phi1, phi2, (phi2 - 0.5) / z]
}

/// One Runge-Kutta step of fourth order in pressure altitude, for held IAS. `None` where the rate does not lead there.
pub(super) fn step_height(
    problem: &Problem,
    state: &State,
    first: &Instant,
    control: &Control,
    dh: f64,
    near: &Cell<Nearby>,
) -> Option<State> {
    // d/dh = (d/dt) / (dh/dt): slopes over height, time included.
    let over = |i: &Instant| -> Option<[f64; 4]> {
        (i.rate_m_s * dh > 0.0).then(|| {
            let r = 1.0 / i.rate_m_s;
            [
                r,
                i.ground_speed_m_s * r,
                i.performance.fuel_kg_s * r,
                i.performance.rev_s * r,
            ]
        })
    };
    let at = |k: &[f64; 4], d: f64| State {
        time_s: state.time_s + k[0] * d,
        distance_m: state.distance_m + k[1] * d,
        pressure_altitude_m: state.pressure_altitude_m + d,
        tas_m_s: state.tas_m_s,
        fuel_kg: state.fuel_kg + k[2] * d,
        revolutions: state.revolutions + k[3] * d,
    };
    let k1 = over(first)?;
    let k2 = over(&instant(problem, &at(&k1, 0.5 * dh), control, near))?;
    let k3 = over(&instant(problem, &at(&k2, 0.5 * dh), control, near))?;
    let k4 = over(&instant(problem, &at(&k3, dh), control, near))?;
    let mean: [f64; 4] = std::array::from_fn(|j| (k1[j] + 2.0 * (k2[j] + k3[j]) + k4[j]) / 6.0);
    let mut next = at(&mean, dh);
    if let Vertical::Ias(ias) = control.vertical {
        let (air, _) = problem.air_state(next.distance_m, next.pressure_altitude_m, next.time_s);
        next.tas_m_s = problem.aircraft.tas_from_ias(air, ias);
    }
    Some(next)
}

/// How near the search for a steady speed comes to it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Nearness {
    /// Product of the last two secant steps, m²/s²: the error left is that times half the curvature of the excess over its slope, which is one
    /// over a speed.
    product_m2_s2: f64,
    /// The last step is no longer than this, m/s.
    last_m_s: f64,
}

impl Nearness {
    /// To 1e-4 m/s.
    const FLOWN: Self = Self {
        product_m2_s2: 5e-3,
        last_m_s: LONGEST_SECANT_M_S,
    };
    /// To 0.01 m/s, for comparing settings. What was found in the last look is near enough too: at a fixed pitch, RPM held, power changes by three
    /// thousandths of itself in that step.
    pub(crate) const COMPARED: Self = Self {
        product_m2_s2: 0.5,
        last_m_s: 0.1,
    };
}

/// A step so short ends it with whatever slope, m/s.
const LAST_SECANT_M_S: f64 = 1e-4;

/// Steady level flight.
pub(crate) struct Steady {
    pub(crate) tas_m_s: f64,
    /// Time constant of the approach to it, s.
    tau_s: f64,
    /// What the levers give within the last step of it.
    pub(crate) near_there: Performance,
}

/// The steady speed of level flight [m/s TAS] with these levers, on the fast side of the drag curve, with the time constant
/// \[s\] of the approach to it; `None` if thrust is below drag at every speed, or so little above it that the speed would take
/// minutes to come back after a gust: that is no cruise.
///
/// `guess_m_s` should be on the fast side; the search starts there. `near` carries the blade angle, as in
/// [`crate::aircraft::Aircraft::perform_near`].
pub fn level_speed_m_s(
    problem: &Problem,
    air: AirState,
    mass_kg: f64,
    levers: Levers,
    guess_m_s: f64,
    near: &Cell<Nearby>,
) -> Option<(f64, f64)> {
    let nearness = Nearness::FLOWN;
    let steady = steady_level(problem, air, mass_kg, levers, guess_m_s, near, nearness)?;
    Some((steady.tas_m_s, steady.tau_s))
}

/// [`level_speed_m_s`] as near as is asked for.
pub(crate) fn steady_level(
    problem: &Problem,
    air: AirState,
    mass_kg: f64,
    levers: Levers,
    guess_m_s: f64,
    near: &Cell<Nearby>,
    nearness: Nearness,
) -> Option<Steady> {
    let aircraft = &problem.aircraft;
    let perform = |v: f64| aircraft.perform_under_redline(air, v, levers, near);
    let drag = |v: f64| aircraft.drag_n(air, v, mass_kg, Configuration::default());
    // Secant steps from the guess, the first with the slope of thrust at constant power less drag, then the slope for that of here. Excess falls
    // with speed on the fast side.
    let mut v0 = guess_m_s;
    let thrust_n = perform(v0).thrust_n;
    let mut f0 = thrust_n - drag(v0);
    let mut per = excess_per_m_s(drag, v0, thrust_n).min(-mass_kg / SLOWEST_SETTLING_S);
    let first = (-f0 / per).clamp(-LONGEST_SECANT_M_S, LONGEST_SECANT_M_S);
    let mut v1 = v0 + first.abs().max(SHORTEST_SECANT_M_S).copysign(f0);
    for _ in 0..40 {
        let there = perform(v1);
        let f1 = there.thrust_n - drag(v1);
        let measured = (f1 - f0) / (v1 - v0);
        if measured < -1e-3 {
            per = measured;
        } else if f1 < 0.0 {
            // Behind the power curve, or no level flight: look faster once more from above.
            return None;
        }
        let next = (v1 - f1 / per).clamp(v1 - LONGEST_SECANT_M_S, v1 + LONGEST_SECANT_M_S);
        if !next.is_finite() || next < 15.0 {
            return None;
        }
        let steps_m2_s2 = ((next - v1) * (v1 - v0)).abs();
        let last_m_s = (next - v1).abs();
        let settled = measured == per
            && steps_m2_s2 < nearness.product_m2_s2
            && last_m_s <= nearness.last_m_s;
        if settled || last_m_s < LAST_SECANT_M_S {
            let tau_s = -mass_kg / per;
            return (tau_s < SLOWEST_SETTLING_S).then_some(Steady {
                tas_m_s: next,
                tau_s,
                near_there: there,
            });
        }
        (v0, f0, v1) = (v1, f1, next);
    }
    None
}

#[cfg(test)]
mod tests;
