//! Equations of motion of the re-flight.
//!
//! # Conventions
//! `h_p` pressure altitude, `z` geometric height, `V` true airspeed, `w` wind along the course, `x` wind across it, `m` mass. SI.
//!
//! # Equations
//! ```text
//! (T - D) V / (m g) = dz/dt + (V/g) (dV/dt + (dw/dh_p) dh_p/dt)                      energy
//! dz/dt = (T_air/T_std(h_p)) (dh_p/dt - i ds/dt)                                     hydrostatics
//! ds/dt = sqrt(V² - (dz/dt)² - x²) + w                                               wind triangle
//! dm/dt = -fuel flow
//! ```
//! `i` is the change of pressure altitude with distance along which the altimeter shows the same (the altimeter setting runs from that
//! of the departure to that of the destination): who follows the altimeter along a sloping pressure surface does not climb. With one
//! altimeter setting `i = 0` and the second line is `dh_p/dt = dz/dt T_std/T_air`.
//!
//! In turns over a field at a bank `b` the path bends with `a = g tan b`: lift is `m sqrt(g² + a²)`, the heading turns with `a/V`, and
//! `ds/dt = 0`, `dw/dh_p = 0`, for round a whole turn both winds come and go.
//!
//! Held CAS: with `f(M) = (1 + 0.2 M²)^3.5 - 1` and `f(M) p` constant, `V = a M` has
//! ```text
//! dV/dh_p = V/(2T) dT/dh_p + a f/(1.4 M (1 + 0.2 M²)^2.5) g/(R T_std(h_p))
//! dV/ds   = V/(2T) dT/ds
//! dV/dt   = V/(2T) dT/dt           where the air itself grows warmer
//! ```
//! because `dp/dh_p = -p g/(R T_std)`. The first term of the first line is the change of the speed of sound, the second that of the
//! Mach number, both at constant CAS. Derived here from the relations at the head of [`crate::air::speed`]; tested against them.
//!
//! Source of the point-mass form: DESIGN section 4, "Motion".

use crate::air::isa;
use crate::aircraft::propeller::Nearby;
use crate::aircraft::{AirState, Configuration, Equipment, Levers, Performance, Throttle};
use crate::flight::Circle;
use crate::quantity::G_M_S2;
use crate::trip::{AirSample, Problem};
use ode_solvers::SVector;
use std::cell::Cell;

/// Number of states.
pub(super) const STATES: usize = 10;

/// State vector; the index constants below name its parts.
pub(super) type State = SVector<f64, STATES>;

/// Distance along the route, m.
pub(super) const S: usize = 0;
/// Pressure altitude, m.
pub(super) const HP: usize = 1;
/// True airspeed, m/s.
pub(super) const V: usize = 2;
/// Fuel burned since lift-off, kg.
pub(super) const FUEL: usize = 3;
/// Revolutions since lift-off.
pub(super) const REV: usize = 4;
/// Geometric height, m.
pub(super) const Z: usize = 5;
/// Work of the thrust, J.
pub(super) const THRUST_WORK: usize = 6;
/// Work against the drag, J.
pub(super) const DRAG_WORK: usize = 7;
/// Work against the wind shear, J.
pub(super) const SHEAR_WORK: usize = 8;
/// Energy gone with the burned fuel, J.
pub(super) const CARRIED: usize = 9;

/// Half of the distance over which the lapse of the air table is taken, m: the table is linear between rows 152 m apart.
const LAPSE_M: f64 = 0.25;
/// The same along the route, m: the nodes of the table are kilometres apart.
const ALONG_M: f64 = 5.0;
/// The same in time, s: the slices of the table are hours apart.
const AROUND_S: f64 = 1.0;
/// Passes of the loop rate - ground speed: each shrinks the error by the slope of the flight path times that of the pressure
/// surfaces, 1e-3 or less.
const COUPLING_PASSES: u32 = 4;
/// The thrust that holds a speed is met to this, N: a millionth of the drag.
const THRUST_TOLERANCE_N: f64 = 1e-6;

/// What the pilot holds in the vertical and with the throttle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Path {
    /// Indicated altitude; speed free.
    Level,
    /// Rate of pressure altitude, m/s, up positive (what the vertical speed indicator shows); speed free.
    Rate(f64),
    /// Indicated airspeed; rate free.
    HeldIas,
    /// Change of true airspeed, m/s²: speed is traded for height.
    Trade(f64),
    /// Indicated altitude and indicated airspeed; the throttle is worked.
    LevelHeldIas,
}

/// Throttle hand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Hand {
    /// A throttle position or manifold pressure.
    Set(Throttle),
    /// Left at this conductance [rev/s], but retarded to keep this manifold pressure [Pa] where it would rise above it.
    Left { conductance: f64, limit_pa: f64 },
}

/// What the pilot does during a phase.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Control {
    pub hand: Hand,
    pub rev_s: f64,
    pub mixture: usize,
    pub path: Path,
    pub configuration: Configuration,
    /// Acceleration toward the middle of a turn over a field, m/s²; zero on the route.
    pub inward_m_s2: f64,
}

impl Control {
    /// The same in a level-bank turn, if there is one: a bank tilts the lift so that it carries the weight and pulls inward with `g tan(bank)`.
    pub fn within(mut self, circle: Option<Circle>) -> Self {
        self.inward_m_s2 = circle.map_or(0.0, |c| G_M_S2 * c.bank_rad.tan());
        self
    }

    /// Climb power: clean but for the cowl flaps, which are open where there are any.
    pub fn climb(levers: Levers, path: Path, equipment: Equipment) -> Self {
        let mut control = Self::clean(levers, path);
        control.configuration.cowl_flaps_open = equipment.cowl_flaps;
        control
    }

    /// Clean, with a throttle setting.
    pub fn clean(levers: Levers, path: Path) -> Self {
        Self {
            hand: Hand::Set(levers.throttle),
            rev_s: levers.rev_s,
            mixture: levers.mixture,
            path,
            configuration: Configuration::default(),
            inward_m_s2: 0.0,
        }
    }
}

/// The aeroplane at one instant.
#[derive(Debug, Clone, Copy)]
pub(super) struct Moment {
    pub air: AirState,
    pub sample: AirSample,
    pub performance: Performance,
    pub drag_n: f64,
    pub mass_kg: f64,
    /// Rates of the states.
    pub rate: State,
}

/// The aeroplane in its air.
#[derive(Debug, Clone, Copy)]
pub(super) struct Model<'a> {
    pub problem: &'a Problem,
    /// Mass at lift-off, kg.
    pub start_kg: f64,
    /// `i` of the module's equations.
    slope: f64,
}

impl<'a> Model<'a> {
    pub fn new(problem: &'a Problem) -> Self {
        let procedures = &problem.aircraft.procedures;
        Self {
            problem,
            start_kg: problem.zero_fuel_kg + problem.fuel_kg
                - procedures.taxi_fuel_kg
                - procedures.take_off_fuel_kg,
            slope: problem.level_slope(),
        }
    }

    /// Indicated altitude [m].
    pub fn indicated_m(&self, y: &State) -> f64 {
        self.problem.indicated_m(y[S], y[HP])
    }

    /// Indicated airspeed [m/s] at a time [s].
    pub fn ias_m_s(&self, time_s: f64, y: &State) -> f64 {
        let (air, _) = self.problem.air_state(y[S], y[HP], time_s);
        self.problem.aircraft.ias_from_tas(air, y[V])
    }

    /// Change of true airspeed at constant CAS with pressure altitude and with distance, 1/s, and with time, m/s²; module equations.
    pub fn held_cas_slopes(
        &self,
        time_s: f64,
        s_m: f64,
        hp_m: f64,
        tas_m_s: f64,
    ) -> (f64, f64, f64) {
        let air = &self.problem.air;
        let kelvin = |s, h, t| air.at(s, h, t).temperature_k;
        let slope = |low: f64, high: f64, reach| (high - low) / (2.0 * reach);
        let here_k = kelvin(s_m, hp_m, time_s);
        let lapse = slope(
            kelvin(s_m, hp_m - LAPSE_M, time_s),
            kelvin(s_m, hp_m + LAPSE_M, time_s),
            LAPSE_M,
        );
        let along = slope(
            kelvin(s_m - ALONG_M, hp_m, time_s),
            kelvin(s_m + ALONG_M, hp_m, time_s),
            ALONG_M,
        );
        let warming = if air.is_steady() {
            0.0
        } else {
            slope(
                kelvin(s_m, hp_m, time_s - AROUND_S),
                kelvin(s_m, hp_m, time_s + AROUND_S),
                AROUND_S,
            )
        };
        let sound = isa::speed_of_sound_m_s(here_k);
        let mach2 = (tas_m_s / sound).powi(2);
        let stagnation = 1.0 + 0.2 * mach2;
        // f / f' with the Mach number divided out of f', so that it stays finite at rest.
        let mach_per =
            ((3.5 * (0.2 * mach2).ln_1p()).exp_m1()) / (1.4 * mach2.sqrt() * stagnation.powf(2.5));
        let scale = isa::GRAVITY_M_S2 / (isa::GAS_CONSTANT_J_KG_K * isa::temperature_k(hp_m));
        let thermal = tas_m_s / (2.0 * here_k);
        (
            thermal * lapse + sound * mach_per * scale,
            thermal * along,
            thermal * warming,
        )
    }

    /// What the aeroplane does with the throttle hand of a control.
    fn performance(&self, control: &Control, air: AirState, tas_m_s: f64) -> Performance {
        let at = |throttle| {
            let levers = Levers {
                throttle,
                rev_s: control.rev_s,
                mixture: control.mixture,
            };
            let near = Cell::new(Nearby::NONE);
            let aircraft = &self.problem.aircraft;
            aircraft.perform_under_redline(air, tas_m_s, levers, &near)
        };
        match control.hand {
            Hand::Set(throttle) => at(throttle),
            Hand::Left {
                conductance,
                limit_pa,
            } => {
                // By the gauge, at the crankshaft speed there is: on a pitch stop it is not the one that is set.
                let alone = at(Throttle::Fixed(conductance));
                if alone.map_pa > limit_pa {
                    at(Throttle::Map(limit_pa))
                } else {
                    alone
                }
            }
        }
    }

    /// The performance whose thrust is as wanted, by the throttle; full or shut throttle where it is out of reach.
    ///
    /// Secant steps within a bracket: thrust rises with manifold pressure.
    fn with_thrust(
        &self,
        control: &Control,
        air: AirState,
        tas_m_s: f64,
        wanted_n: f64,
    ) -> Performance {
        let at = |throttle| {
            let levers = Levers {
                throttle,
                rev_s: control.rev_s,
                mixture: control.mixture,
            };
            self.problem.aircraft.perform(air, tas_m_s, levers)
        };
        let mut high = at(Throttle::Full);
        let mut low = at(Throttle::Shut);
        if high.thrust_n <= wanted_n {
            return high;
        }
        if low.thrust_n >= wanted_n {
            return low;
        }
        let mut best = high;
        for pass in 0..60 {
            let share = (wanted_n - low.thrust_n) / (high.thrust_n - low.thrust_n);
            // Every third pass halves the bracket, so that it always shrinks.
            let share = if pass % 3 == 2 {
                0.5
            } else {
                share.clamp(0.0, 1.0)
            };
            let map_pa = low.map_pa + share * (high.map_pa - low.map_pa);
            best = at(Throttle::Map(map_pa));
            let miss = best.thrust_n - wanted_n;
            if miss.abs() < THRUST_TOLERANCE_N || high.map_pa - low.map_pa < 1e-7 {
                break;
            }
            if miss > 0.0 {
                high = best;
            } else {
                low = best;
            }
        }
        best
    }

    /// Everything at a time [s] and state.
    pub fn moment(&self, time_s: f64, y: &State, control: &Control) -> Moment {
        let (s_m, hp_m, tas) = (y[S], y[HP], y[V]);
        let (air, sample) = self.problem.air_state(s_m, hp_m, time_s);
        let aircraft = &self.problem.aircraft;
        let mass_kg = self.start_kg - y[FUEL];
        let turning = control.inward_m_s2 > 0.0;
        // The lift carries the weight and bends the path: the drag is that of as much mass in straight flight.
        let lifted_kg = if turning {
            mass_kg * G_M_S2.hypot(control.inward_m_s2) / G_M_S2
        } else {
            mass_kg
        };
        let drag_n = aircraft.drag_n(air, tas, lifted_kg, control.configuration);
        let theta = sample.temperature_k / isa::temperature_k(hp_m);
        // Round a whole turn the wind is met from every side: neither ground nor shear is left of it.
        let shear = if turning { 0.0 } else { sample.along_per_m };
        let over_ground = |climb_m_s: f64| {
            if turning {
                return 0.0;
            }
            let square = tas * tas - climb_m_s * climb_m_s - sample.cross_m_s * sample.cross_m_s;
            square.max(0.0).sqrt() + sample.along_m_s
        };
        // Level flight first: what needs no thrust.
        let level_gs = over_ground(0.0);
        let level_rate = self.slope * level_gs;
        let performance = if control.path == Path::LevelHeldIas {
            let (per_hp, per_s, warming) = self.held_cas_slopes(time_s, s_m, hp_m, tas);
            let acceleration = per_hp * level_rate + per_s * level_gs + warming;
            let wanted = drag_n + mass_kg * (acceleration + shear * level_rate);
            self.with_thrust(control, air, tas, wanted)
        } else {
            self.performance(control, air, tas)
        };
        let excess = (performance.thrust_n - drag_n) / mass_kg;
        // Rate of pressure altitude, change of speed, ground speed, rate of geometric height.
        let (hp_rate, acceleration, gs, climb) = match control.path {
            Path::Level | Path::LevelHeldIas => {
                (level_rate, excess - shear * level_rate, level_gs, 0.0)
            }
            Path::Rate(rate) => {
                let mut gs = level_gs;
                let mut climb = 0.0;
                for _ in 0..COUPLING_PASSES {
                    climb = theta * (rate - self.slope * gs);
                    gs = over_ground(climb);
                }
                (
                    rate,
                    excess - G_M_S2 * climb / tas - shear * rate,
                    gs,
                    climb,
                )
            }
            Path::HeldIas | Path::Trade(_) => {
                let (per_hp, per_s, given) = match control.path {
                    Path::Trade(a) => (0.0, 0.0, a),
                    _ => self.held_cas_slopes(time_s, s_m, hp_m, tas),
                };
                let per_rate = theta + tas / G_M_S2 * (per_hp + shear);
                let mut gs = level_gs;
                let mut rate = 0.0;
                let mut climb = 0.0;
                for _ in 0..COUPLING_PASSES {
                    let power = (excess - given - per_s * gs) * tas / G_M_S2;
                    rate = (power + theta * self.slope * gs) / per_rate;
                    climb = theta * (rate - self.slope * gs);
                    gs = over_ground(climb);
                }
                (rate, given + per_hp * rate + per_s * gs, gs, climb)
            }
        };
        let fuel_flow = performance.fuel_kg_s;
        let rate = State::from([
            gs,
            hp_rate,
            acceleration,
            fuel_flow,
            performance.rev_s,
            climb,
            performance.thrust_n * tas,
            drag_n * tas,
            mass_kg * tas * shear * hp_rate,
            fuel_flow * (G_M_S2 * y[Z] + 0.5 * tas * tas),
        ]);
        Moment {
            air,
            sample,
            performance,
            drag_n,
            mass_kg,
            rate,
        }
    }

    /// Energy of motion and height, `m (g z + V²/2)`, J.
    pub fn energy_j(&self, y: &State) -> f64 {
        (self.start_kg - y[FUEL]) * (G_M_S2 * y[Z] + 0.5 * y[V] * y[V])
    }
}
