//! The pilot: what is done at each trigger of the card.

mod arrival;
mod climb;
mod descent;
mod power;

use super::event::{Integrator, Stop};
use super::motion::{
    CARRIED, Control, DRAG_WORK, FUEL, HP, Model, Path, REV, S, SHEAR_WORK, State, THRUST_WORK, V,
    Z,
};
use super::{Effort, Energy, Phase, ReflightError, Reflown, Sample};
use crate::aircraft::{Levers, Speeds};
use crate::flight::{Circle, Cruise, Mark, Script};
use crate::quantity::{M_PER_FT, M_S_PER_KT};
use crate::trip::{Problem, Start};

/// Altitudes that differ by less are the same, m.
const SAME_HEIGHT_M: f64 = 0.05;
/// Speeds that differ by less are the same, m/s.
const SAME_SPEED_M_S: f64 = 1e-6;
/// Below this rate of climb or descent the aeroplane is said not to climb or descend, m/s: 10 ft/min.
const LEAST_RATE_M_S: f64 = 0.05;
/// Speed is traded for height at this, m/s²: a knot a second.
const TRADE_M_S2: f64 = M_S_PER_KT;
/// Longest slow-down, s.
const SLOW_LIMIT_S: f64 = 1_200.0;
/// Longest phase, s.
const PHASE_LIMIT_S: f64 = 12.0 * 3_600.0;
/// The pattern point is found to this, s: under a tenth of a metre.
const PATTERN_POINT_S: f64 = 1e-3;
/// Least ground speed, m/s.
const LEAST_GROUND_SPEED_M_S: f64 = 5.0;

/// Flies the card; see [`super::refly`].
pub(super) fn fly_card(problem: &Problem, script: &Script) -> Result<Reflown, ReflightError> {
    if script.cruise.is_empty() {
        return Err(ReflightError::NoCruise);
    }
    if !script.descent.to_go_m.is_finite() {
        return Err(ReflightError::NoTopOfDescent);
    }
    let model = Model::new(problem);
    let (indicated_m, ias_m_s) = problem.begins_at(script.initial_ias_m_s);
    let hp = problem.pressure_altitude_m(0.0, indicated_m);
    let (air, sample) = problem.air_state(0.0, hp, 0.0);
    let mut y = State::zeros();
    y[HP] = hp;
    y[V] = problem.aircraft.tas_from_ias(air, ias_m_s);
    y[Z] = sample.true_altitude_m;
    let mut pilot = Pilot {
        p: problem,
        model: &model,
        time_s: 0.0,
        y,
        samples: vec![],
        pattern_point: None,
        pattern_m: if script.descent.circle.is_some() {
            f64::INFINITY
        } else {
            problem.length_m - problem.arrival.before_m
        },
        turned_rad: [0.0; 2],
        effort: Effort::default(),
    };
    pilot.whole(script)
}

struct Pilot<'a> {
    p: &'a Problem,
    model: &'a Model<'a>,
    time_s: f64,
    y: State,
    samples: Vec<Sample>,
    pattern_point: Option<Sample>,
    /// Where along the route that is noted; at infinity where turns begin there, and are what is noted, m.
    pattern_m: f64,
    /// Angle turned through over the departure and over the destination.
    turned_rad: [f64; 2],
    effort: Effort,
}

impl Pilot<'_> {
    fn indicated_m(&self) -> f64 {
        self.model.indicated_m(&self.y)
    }

    fn ias_m_s(&self) -> f64 {
        self.model.ias_m_s(self.time_s, &self.y)
    }

    fn altitude_ft(&self) -> f64 {
        self.indicated_m() / M_PER_FT
    }

    fn mark(&self) -> Mark {
        Mark {
            distance_m: self.y[S],
            time_s: self.time_s,
            fuel_kg: self.y[FUEL],
        }
    }

    /// What the power gauge shows under a control: crankshaft speed [rev/s] or manifold pressure \[Pa\].
    fn shows(&self, control: &Control) -> f64 {
        let set = self.model.moment(self.time_s, &self.y, control).performance;
        if self.p.aircraft.propeller.is_fixed() {
            set.rev_s
        } else {
            set.map_pa
        }
    }

    /// Conductance of the throttle [rev/s] under a control.
    fn conductance_of(&self, control: &Control) -> f64 {
        let now = self.model.moment(self.time_s, &self.y, control);
        let aircraft = &self.p.aircraft;
        aircraft.engine.conductance(
            now.performance.map_pa,
            now.performance.rev_s,
            aircraft.intake(now.air, self.y[V]),
        )
    }

    fn sample(&self, time_s: f64, y: &State, control: &Control, phase: Phase) -> Sample {
        let m = self.model.moment(time_s, y, control);
        Sample {
            time_s,
            distance_m: y[S],
            pressure_altitude_m: y[HP],
            indicated_m: self.model.indicated_m(y),
            true_altitude_m: m.sample.true_altitude_m,
            tas_m_s: y[V],
            ias_m_s: self.p.aircraft.ias_from_tas(m.air, y[V]),
            ground_speed_m_s: m.rate[S],
            rate_m_s: m.rate[HP],
            map_pa: m.performance.map_pa,
            rev_s: m.performance.rev_s,
            fuel_kg: y[FUEL],
            fuel_kg_s: m.performance.fuel_kg_s,
            mass_kg: m.mass_kg,
            power_fraction: m.performance.power_fraction,
            thrust_n: m.performance.thrust_n,
            drag_n: m.drag_n,
            configuration: control.configuration,
            phase,
        }
    }

    /// Flies under a control until the first of the stops (its place in the list) or for a time (none).
    fn fly(
        &mut self,
        phase: Phase,
        control: &Control,
        stops: &[Stop],
        limit_s: f64,
    ) -> Result<Option<usize>, ReflightError> {
        let integrator = Integrator {
            model: self.model,
            control: *control,
            phase,
            began_s: self.time_s,
        };
        let stretch = integrator.until(&self.y, stops, limit_s, &mut self.effort)?;
        let pattern_m = self.pattern_m;
        let turning = control.inward_m_s2 > 0.0;
        for (i, (t, y)) in stretch.points.iter().enumerate() {
            let sample = self.sample(self.time_s + t, y, control, phase);
            if !turning && sample.ground_speed_m_s < LEAST_GROUND_SPEED_M_S {
                return Err(ReflightError::NoGroundSpeed);
            }
            if self.pattern_point.is_none() && y[S] >= pattern_m {
                let at = match i.checked_sub(1).and_then(|j| stretch.points.get(j)) {
                    Some((t0, before)) => {
                        let stop = [Stop::Distance(pattern_m)];
                        let (dt, state) = integrator.crossing(
                            *t0,
                            before,
                            t - t0,
                            y,
                            &stop,
                            PATTERN_POINT_S,
                            &mut self.effort,
                        )?;
                        self.sample(self.time_s + t0 + dt, &state, control, phase)
                    }
                    None => sample,
                };
                self.pattern_point = Some(at);
            }
            self.samples.push(sample);
        }
        if turning {
            let over = usize::from(matches!(phase, Phase::CirclingDescent | Phase::SlowDown));
            let rate = |y: &State| control.inward_m_s2 / y[V];
            let angles = stretch.points.windows(2);
            let angles = angles.map(|w| 0.5 * (rate(&w[0].1) + rate(&w[1].1)) * (w[1].0 - w[0].0));
            self.turned_rad[over] += angles.sum::<f64>();
        }
        if let Some((t, y)) = stretch.points.last() {
            self.time_s += t;
            self.y = *y;
        }
        Ok(stretch.stop)
    }

    /// As [`Self::fly`], for phases that must end by a stop.
    fn fly_to(
        &mut self,
        phase: Phase,
        control: &Control,
        stops: &[Stop],
    ) -> Result<usize, ReflightError> {
        self.fly(phase, control, stops, PHASE_LIMIT_S)?
            .ok_or(ReflightError::Endless {
                phase,
                limit_h: PHASE_LIMIT_S / 3_600.0,
            })
    }

    /// To another speed of the climb: level to a faster one, nose up to a slower one, but not past the level.
    fn take_speed(
        &mut self,
        script: &Script,
        ias_m_s: f64,
        level_m: f64,
    ) -> Result<(), ReflightError> {
        let levers = self.climb_levers(script);
        let here_m = self.indicated_m() + SAME_HEIGHT_M;
        let circle = script.climb.circle.filter(|c| c.height_m > here_m);
        if ias_m_s > self.ias_m_s() {
            self.gain_speed(Phase::ToClimbSpeed, levers, ias_m_s, circle)
        } else {
            let to_m = circle.map_or(level_m, |c| level_m.min(c.height_m));
            let stops = [Stop::SlowerThan(ias_m_s), Stop::ClimbedTo(to_m)];
            self.trade(levers, &stops, circle)
        }
    }

    /// Trades speed for height at climb power.
    fn trade(
        &mut self,
        levers: Levers,
        stops: &[Stop],
        circle: Option<Circle>,
    ) -> Result<(), ReflightError> {
        let path = Path::Trade(-TRADE_M_S2);
        let control = Control::climb(levers, path, self.p.aircraft.equipment).within(circle);
        self.fly_to(Phase::ToClimbSpeed, &control, stops)
            .map(|_| ())
    }

    fn whole(&mut self, script: &Script) -> Result<Reflown, ReflightError> {
        let p = self.p;
        let start_energy = self.model.energy_j(&self.y);
        let top_of_climb = match p.start {
            Start::Ground => self.climb_out(script)?,
            Start::InFlight { .. } => self.join(script)?,
        };
        for pair in script.cruise.windows(2) {
            self.cruise(&pair[0], pair[1].from_m)?;
            self.change_level(script, &pair[0], &pair[1])?;
        }
        let last = script.last_cruise();
        self.cruise(last, p.length_m - script.descent.to_go_m)?;
        let top_of_descent = self.mark();
        let (power, gear_down, circle) = self.descend(script, last)?;
        let level_off = self.mark();
        self.slow_down(power, gear_down, circle)?;
        let slowed = self.mark();
        self.pattern()?;
        let energy = Energy {
            thrust_j: self.y[THRUST_WORK],
            drag_j: self.y[DRAG_WORK],
            shear_j: self.y[SHEAR_WORK],
            carried_j: self.y[CARRIED],
            change_j: self.model.energy_j(&self.y) - start_energy,
        };
        self.circuit();
        Ok(Reflown {
            time_s: self.time_s,
            fuel_kg: self.y[FUEL] + p.aircraft.procedures.take_off_fuel_kg,
            revolutions: self.y[REV],
            pattern_point: self.pattern_point.ok_or(ReflightError::NoPatternPoint)?,
            top_of_climb,
            top_of_descent,
            level_off,
            slowed,
            geometric_end_m: self.y[Z],
            samples: std::mem::take(&mut self.samples),
            energy,
            turns: self.turned_rad.map(|angle| angle / std::f64::consts::TAU),
            effort: self.effort,
        })
    }

    /// Level at a cruise setting to a distance.
    fn cruise(&mut self, leg: &Cruise, to_m: f64) -> Result<(), ReflightError> {
        let levers = levers_of(leg);
        let control = Control::clean(levers, Path::Level);
        // Below the stall the equations mean nothing: say so before.
        let stall = Speeds::at_mass(
            self.p.aircraft.speeds.vs_m_s,
            self.model.start_kg - self.y[FUEL],
            self.p.aircraft.masses.max_take_off_kg,
        );
        match self.fly_to(
            Phase::Cruise,
            &control,
            &[Stop::Distance(to_m), Stop::SlowerThan(stall)],
        )? {
            0 => Ok(()),
            _ => Err(ReflightError::CannotHoldLevel {
                altitude_ft: self.altitude_ft(),
            }),
        }
    }

    /// From one cruise level to the next.
    fn change_level(
        &mut self,
        script: &Script,
        from: &Cruise,
        to: &Cruise,
    ) -> Result<(), ReflightError> {
        if to.level_m > from.level_m {
            let levers = self.climb_levers(script);
            let climb_ias = self.climb_ias_m_s(script);
            if self.ias_m_s() < climb_ias {
                self.gain_speed(Phase::LevelChange, levers, climb_ias, None)?;
            }
            // Leaned on the way where the level changes past that height.
            let lean_m = script.climb.lean_at_m;
            if lean_m > self.indicated_m() + SAME_HEIGHT_M && lean_m < to.level_m {
                self.climb_to(Phase::LevelChange, levers, lean_m, None)?;
            }
            let levers = self.climb_levers(script);
            self.climb_to(Phase::LevelChange, levers, to.level_m, None)?;
            self.gain_speed(
                Phase::LevelOff,
                self.climb_levers(script),
                to.set_at_ias_m_s,
                None,
            )
        } else {
            let levers = levers_of(from);
            let control = Control::clean(levers, Path::Rate(-self.p.limits.max_descent_m_s));
            self.fly_to(
                Phase::LevelChange,
                &control,
                &[Stop::DescendedTo(to.level_m)],
            )
            .map(|_| ())
        }
    }
}

/// The levers of a cruise.
fn levers_of(cruise: &Cruise) -> Levers {
    Levers {
        throttle: cruise.throttle,
        rev_s: cruise.rev_s,
        mixture: cruise.mixture,
    }
}

fn never_slows(target_m_s: f64) -> ReflightError {
    ReflightError::NeverSlows {
        target_kt: target_m_s / M_S_PER_KT,
        limit_min: SLOW_LIMIT_S / 60.0,
    }
}
