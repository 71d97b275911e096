//! The pilot: what is done at each trigger of the card.

use super::event::{Integrator, Stop};
use super::motion::{
    CARRIED, Control, DRAG_WORK, FUEL, HP, Hand, Model, Path, REV, S, SHEAR_WORK, State,
    THRUST_WORK, V, Z,
};
use super::{Effort, Energy, Phase, ReflightError, Reflown, Sample};
use crate::aircraft::{Configuration, Levers, Speeds, Throttle};
use crate::flight::{Circle, Cruise, DescentPart, Mark, PathRule, Reduction, Script, ThrottleRule};
use crate::quantity::{M_PER_FT, M_S_PER_KT};
use crate::trip::{Problem, Start};

/// No lever but gear and flaps is moved below this height above the field, m (DESIGN section 5: 1,000 ft).
const LEVERS_FROM_M: f64 = 1_000.0 * M_PER_FT;
/// A held manifold pressure is trimmed at each multiple of this, indicated, m.
const TRIM_EACH_M: f64 = 1_000.0 * M_PER_FT;
/// A trim due within this of the last is not made again, m: a tenth of a foot.
const SAME_TRIM_M: f64 = 0.03;
/// Altitudes that differ by less are the same, m.
const SAME_HEIGHT_M: f64 = 0.05;
/// Speeds that differ by less are the same, m/s.
const SAME_SPEED_M_S: f64 = 1e-6;
/// Manifold pressures that differ by less are the same, Pa: a few ten-thousandths of an inch.
const SAME_MAP_PA: f64 = 1.0;
/// Crankshaft speeds that differ by less are the same, rev/s: a hundredth of a revolution per minute.
const SAME_REV_S: f64 = 0.01 / 60.0;
/// The pilot takes the speed as settled when it rises by less than this, m/s²: a knot in a minute.
const SETTLED_M_S2: f64 = 0.01;
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

    /// Level at these levers until the IAS is reached or no longer rises.
    fn gain_speed(
        &mut self,
        phase: Phase,
        levers: Levers,
        ias_m_s: f64,
        circle: Option<Circle>,
    ) -> Result<(), ReflightError> {
        let stops = [
            Stop::FasterThan(ias_m_s - SAME_SPEED_M_S),
            Stop::AccelerationBelow(SETTLED_M_S2),
        ];
        let equipment = self.p.aircraft.equipment;
        let control = Control::climb(levers, Path::Level, equipment).within(circle);
        self.fly_to(phase, &control, &stops).map(|_| ())
    }

    /// Climbs at the IAS of the moment, in turns below the height of a circle.
    fn climb_to(
        &mut self,
        phase: Phase,
        levers: Levers,
        indicated_m: f64,
        circle: Option<Circle>,
    ) -> Result<(), ReflightError> {
        let mut circle = circle.filter(|c| c.height_m > self.indicated_m() + SAME_HEIGHT_M);
        if let Some(c) = circle.take_if(|c| c.height_m < indicated_m - SAME_HEIGHT_M) {
            self.climb_to(phase, levers, c.height_m, Some(c))?;
        }
        let stops = [
            Stop::ClimbedTo(indicated_m),
            Stop::RateBelow(LEAST_RATE_M_S),
        ];
        let straight = Control::climb(levers, Path::HeldIas, self.p.aircraft.equipment);
        let phase = if circle.is_some() {
            Phase::CirclingClimb
        } else {
            phase
        };
        let control = straight.within(circle);
        match self.fly_to(phase, &control, &stops)? {
            0 => Ok(()),
            _ => Err(ReflightError::CannotClimb {
                altitude_ft: self.altitude_ft(),
            }),
        }
    }

    /// Levers of the climb at the height of the moment.
    fn climb_levers(&self, script: &Script) -> Levers {
        let c = &script.climb;
        let leaned = self.indicated_m() >= c.lean_at_m - SAME_HEIGHT_M;
        Levers {
            throttle: Throttle::Full,
            rev_s: c.rev_s,
            mixture: if leaned {
                self.p.aircraft.engine.best_power_mixture()
            } else {
                c.mixture
            },
        }
    }

    /// Climbs at the speed of the moment to a height, leaned on the way where it lies past that height.
    fn climb_and_lean(&mut self, script: &Script, to_m: f64) -> Result<(), ReflightError> {
        let lean_m = script.climb.lean_at_m;
        if lean_m > self.indicated_m() && lean_m < to_m {
            let levers = self.climb_levers(script);
            self.climb_to(Phase::Climb, levers, lean_m, script.climb.circle)?;
        }
        if to_m > self.indicated_m() {
            let levers = self.climb_levers(script);
            self.climb_to(Phase::Climb, levers, to_m, script.climb.circle)?;
        }
        Ok(())
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

    /// From lift-off to the first level and the speed at which cruise power is set; where the level was reached.
    fn climb_out(&mut self, script: &Script) -> Result<Mark, ReflightError> {
        let p = self.p;
        let take_off = Levers {
            throttle: Throttle::Full,
            rev_s: p.aircraft.propeller.highest_governed_rev_s,
            mixture: script.initial_mixture,
        };
        self.climb_to(
            Phase::InitialClimb,
            take_off,
            p.departure.elevation_m + LEVERS_FROM_M,
            None,
        )?;
        let climb_ias = script.climb.ias_m_s;
        let levers = self.climb_levers(script);
        if climb_ias < self.ias_m_s() - SAME_SPEED_M_S {
            self.trade(levers, &[Stop::SlowerThan(climb_ias)], None)?;
        } else {
            self.gain_speed(Phase::ToClimbSpeed, levers, climb_ias, None)?;
        }
        self.climb_on(script)
    }

    /// From the speed of the climb on to the first level and the speed at which cruise power is set; where the level was reached.
    fn climb_on(&mut self, script: &Script) -> Result<Mark, ReflightError> {
        let first = &script.cruise[0];
        if let Some((from_m, ias_m_s)) = script.climb.second
            && from_m > self.indicated_m() + SAME_HEIGHT_M
            && from_m < first.level_m
        {
            self.climb_and_lean(script, from_m)?;
            self.take_speed(script, ias_m_s, first.level_m)?;
        }
        self.climb_and_lean(script, first.level_m)?;
        let top_of_climb = self.mark();
        self.gain_speed(
            Phase::LevelOff,
            self.climb_levers(script),
            first.set_at_ias_m_s,
            None,
        )?;
        Ok(top_of_climb)
    }

    /// From the start in flight to the first level, and after a climb to the speed at which cruise power is set; where the level was
    /// reached.
    fn join(&mut self, script: &Script) -> Result<Mark, ReflightError> {
        let first = &script.cruise[0];
        let up_m = first.level_m - self.indicated_m();
        if up_m.abs() < SAME_HEIGHT_M {
            return Ok(self.mark());
        }
        if up_m < 0.0 {
            let down = Path::Rate(-self.p.limits.max_descent_m_s);
            let control = Control::clean(levers_of(first), down);
            let stop = [Stop::DescendedTo(first.level_m)];
            self.fly_to(Phase::LevelChange, &control, &stop)?;
            return Ok(self.mark());
        }
        self.take_speed(script, self.climb_ias_m_s(script), first.level_m)?;
        self.climb_on(script)
    }

    /// The speed of a climb from here, indicated, m/s.
    fn climb_ias_m_s(&self, script: &Script) -> f64 {
        let climb = &script.climb;
        let second = climb.second.filter(|s| self.indicated_m() >= s.0);
        second.map_or(climb.ias_m_s, |s| s.1)
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

    /// Descends to pattern altitude; returns the state of the power reduction there, whether the gear is down, and the turns it is in.
    fn descend(
        &mut self,
        script: &Script,
        last: &Cruise,
    ) -> Result<(Power, bool, Option<Circle>), ReflightError> {
        let p = self.p;
        let d = &script.descent;
        let pattern_m = p.arrival.pattern_altitude_m;
        let cruise_control = Control::clean(levers_of(last), Path::Level);
        let mut trim_m = f64::NEG_INFINITY;
        let mut part = d.first;
        let mut power = self.take(&part, &script.reduction, &cruise_control, &mut trim_m);
        let mut second = d.second;
        let mut reducing = false;
        let mut on_speed = false;
        let mut begin_ias = self.ias_m_s();
        let stop_reduce = d.reduce_at_m > pattern_m;
        let vlo = p.aircraft.speeds.vlo_extend_m_s;
        let mut configuration = Configuration::default();
        let mut circle = d.circle.filter(|c| c.height_m > pattern_m);
        let mut turning: Option<Circle> = None;
        loop {
            if let Some(c) = circle.take_if(|c| self.indicated_m() <= c.height_m + SAME_HEIGHT_M) {
                turning = Some(c);
            }
            configuration.gear_down = configuration.gear_down
                || (part.gear_down && self.ias_m_s() <= vlo + SAME_SPEED_M_S);
            let too_fast = part.gear_down && !configuration.gear_down;
            let path = match part.path {
                // The gear first, and for that slow enough.
                _ if too_fast => Path::Level,
                PathRule::Rate(rate) => Path::Rate(-rate),
                PathRule::Ias(_) if on_speed => Path::HeldIas,
                // Too fast: slow down level first. Too slow: gain speed at the greatest rate of descent.
                PathRule::Ias(ias) if begin_ias > ias => Path::Level,
                PathRule::Ias(_) => Path::Rate(-p.limits.max_descent_m_s),
            };
            let control = power.control(path, configuration).within(turning);
            if turning.is_some() && self.pattern_m.is_infinite() && self.pattern_point.is_none() {
                let begun = self.sample(self.time_s, &self.y, &control, Phase::CirclingDescent);
                self.pattern_point = Some(begun);
            }
            if let Some((_, next)) = second
                .filter(|(from_m, _)| !reducing && self.indicated_m() <= from_m + SAME_HEIGHT_M)
            {
                trim_m = f64::NEG_INFINITY;
                power = self.take(&next, &script.reduction, &control, &mut trim_m);
                part = next;
                second = None;
                on_speed = false;
                begin_ias = self.ias_m_s();
                continue;
            }
            // A reduction that begins with the descent, or at a height passed already.
            if stop_reduce && !reducing && self.indicated_m() <= d.reduce_at_m + SAME_HEIGHT_M {
                reducing = true;
                trim_m = f64::NEG_INFINITY;
                power.begin(self.shows(&control), power.floor, self.time_s);
                continue;
            }
            let mut stops = vec![(Trigger::Level, Stop::DescendedTo(pattern_m))];
            if let Some((from_m, _)) = second.filter(|_| !reducing) {
                stops.push((Trigger::Second, Stop::DescendedTo(from_m)));
            }
            if stop_reduce && !reducing {
                stops.push((Trigger::Reduce, Stop::DescendedTo(d.reduce_at_m)));
            }
            if let Some(c) = circle {
                stops.push((Trigger::Circle, Stop::DescendedTo(c.height_m)));
            }
            if trim_m > pattern_m && !reducing {
                stops.push((Trigger::Trim, Stop::DescendedTo(trim_m)));
            }
            match (part.path, path) {
                (_, Path::Level) if too_fast => stops.push((Trigger::Gear, Stop::SlowerThan(vlo))),
                (PathRule::Ias(ias), Path::Level) => {
                    stops.push((Trigger::OnSpeed, Stop::SlowerThan(ias)))
                }
                (PathRule::Ias(ias), Path::Rate(_)) => {
                    stops.push((Trigger::OnSpeed, Stop::FasterThan(ias)))
                }
                (_, Path::HeldIas) => {
                    stops.push((Trigger::Shallow, Stop::RateAbove(-LEAST_RATE_M_S)))
                }
                _ => {}
            }
            let limit_s = power.next_cut_s.map_or(
                if path == Path::Level {
                    SLOW_LIMIT_S
                } else {
                    PHASE_LIMIT_S
                },
                |t| (t - self.time_s).max(0.0),
            );
            let list: Vec<Stop> = stops.iter().map(|s| s.1).collect();
            let phase = if turning.is_some() {
                Phase::CirclingDescent
            } else {
                Phase::Descent
            };
            let fired = self.fly(phase, &control, &list, limit_s)?;
            match fired.and_then(|i| stops.get(i)).map(|s| s.0) {
                Some(Trigger::Level) => break,
                // Begun at the head of the loop.
                Some(Trigger::Reduce | Trigger::Second | Trigger::Circle) => {}
                Some(Trigger::Trim) => self.leave(&mut power, part.throttle, &mut trim_m),
                Some(Trigger::Gear) => {
                    configuration.gear_down = true;
                    begin_ias = self.ias_m_s();
                }
                Some(Trigger::OnSpeed) => on_speed = true,
                Some(Trigger::Shallow) => {
                    return Err(ReflightError::CannotDescend {
                        altitude_ft: self.altitude_ft(),
                    });
                }
                None if power.next_cut_s.is_some() => {
                    power.cut();
                    if power.next_cut_s.is_none() && !reducing {
                        self.leave(&mut power, part.throttle, &mut trim_m);
                    }
                }
                None if path == Path::Level => {
                    return Err(never_slows(begin_ias.min(self.ias_m_s())));
                }
                None => {
                    return Err(ReflightError::Endless {
                        phase: Phase::Descent,
                        limit_h: PHASE_LIMIT_S / 3_600.0,
                    });
                }
            }
        }
        if !reducing {
            let control = power.control(Path::Level, configuration).within(turning);
            power.begin(self.shows(&control), power.floor, self.time_s);
        }
        Ok((power, configuration.gear_down, turning))
    }

    /// What is done with the levers at the beginning of a part of the descent, coming from a control.
    fn take(
        &self,
        part: &DescentPart,
        cuts: &Reduction,
        before: &Control,
        trim_m: &mut f64,
    ) -> Power {
        let p = self.p;
        let procedures = &p.aircraft.procedures;
        let by_rpm = p.aircraft.propeller.is_fixed();
        let (step, settable, floor) = if by_rpm {
            (cuts.step_rev_s, procedures.rev_step_s, cuts.floor_rev_s)
        } else {
            (cuts.step_pa, procedures.map_step_pa, cuts.floor_pa)
        };
        let limit_pa = p.aircraft.map_limit_pa(part.rev_s);
        let mut power = Power {
            by_rpm,
            step,
            settable,
            interval_s: cuts.interval_s,
            floor,
            rev_s: part.rev_s,
            mixture: part.mixture,
            // Full throttle until told otherwise: beyond any conductance, but kept to the limit line.
            hand: Hand::Left {
                conductance: f64::MAX,
                limit_pa,
            },
            cut: f64::INFINITY,
            cut_floor: f64::INFINITY,
            next_cut_s: None,
        };
        let shown = self.shows(before);
        let wanted = match part.throttle {
            ThrottleRule::Held(x) | ThrottleRule::LeftAlone(x) => Some(x),
            ThrottleRule::Rpm => Some(part.rev_s),
            ThrottleRule::Full => None,
            ThrottleRule::Untouched => {
                power.hand = Hand::Left {
                    conductance: self.conductance_of(before),
                    limit_pa,
                };
                None
            }
        };
        match wanted {
            Some(set) if set < shown => {
                // The first steps of the reduction bring the setting.
                power.begin(shown, set, self.time_s);
                if power.next_cut_s.is_none() {
                    self.leave(&mut power, part.throttle, trim_m);
                }
            }
            Some(_) => self.leave(&mut power, part.throttle, trim_m),
            None => {}
        }
        power
    }

    /// Takes the hand off the throttle at the set manifold pressure and notes the next trim; or works it to hold the RPM.
    fn leave(&self, power: &mut Power, rule: ThrottleRule, trim_m: &mut f64) {
        if rule == ThrottleRule::Rpm {
            power.hand = Hand::Set(Throttle::Rpm);
        }
        let Some(set_pa) = rule.set_map_pa() else {
            return;
        };
        let aircraft = &self.p.aircraft;
        let (air, _) = self.p.air_state(self.y[S], self.y[HP], self.time_s);
        let intake = aircraft.intake(air, self.y[V]);
        // The gauge shows the set pressure at the crankshaft speed there is.
        let levers = Levers {
            throttle: Throttle::Map(set_pa),
            rev_s: power.rev_s,
            mixture: power.mixture,
        };
        let rev_s = aircraft.perform(air, self.y[V], levers).rev_s;
        power.hand = Hand::Left {
            conductance: aircraft.engine.conductance(set_pa, rev_s, intake),
            limit_pa: aircraft.map_limit_pa(power.rev_s),
        };
        if matches!(rule, ThrottleRule::Held(_)) {
            *trim_m = ((self.indicated_m() - SAME_TRIM_M) / TRIM_EACH_M).floor() * TRIM_EACH_M;
        }
    }

    /// Level at pattern altitude: power goes on coming off, gear at its speed, until pattern speed.
    fn slow_down(
        &mut self,
        mut power: Power,
        braking: bool,
        circle: Option<Circle>,
    ) -> Result<(), ReflightError> {
        let target = self.p.aircraft.procedures.pattern_m_s;
        let vlo = self.p.aircraft.speeds.vlo_extend_m_s;
        let end_s = self.time_s + SLOW_LIMIT_S;
        let mut gear_down = braking;
        loop {
            gear_down = gear_down || self.ias_m_s() <= vlo + SAME_SPEED_M_S;
            let configuration = Configuration {
                gear_down,
                ..Configuration::default()
            };
            let control = power.control(Path::Level, configuration).within(circle);
            let mut stops = vec![Stop::SlowerThan(target)];
            if !gear_down && vlo > target {
                stops.push(Stop::SlowerThan(vlo));
            }
            let until_s = power.next_cut_s.map_or(end_s, |t| t.min(end_s));
            let limit_s = (until_s - self.time_s).max(0.0);
            match self.fly(Phase::SlowDown, &control, &stops, limit_s)? {
                Some(0) => return Ok(()),
                Some(_) => gear_down = true,
                None if self.time_s >= end_s - 1e-9 => return Err(never_slows(target)),
                None => power.cut(),
            }
        }
    }

    fn pattern_control(&self, path: Path) -> Control {
        let p = self.p;
        Control {
            hand: Hand::Set(Throttle::Full),
            rev_s: p.aircraft.propeller.highest_governed_rev_s,
            mixture: p
                .aircraft
                .high_power_mixture(p.density_altitude_m(&p.destination, self.time_s)),
            path,
            configuration: Configuration {
                gear_down: true,
                ..Configuration::default()
            },
            inward_m_s2: 0.0,
        }
    }

    /// To the field at the speed reached, gear down, propeller forward, the throttle worked.
    fn pattern(&mut self) -> Result<(), ReflightError> {
        let control = self.pattern_control(Path::LevelHeldIas);
        self.fly_to(Phase::Pattern, &control, &[Stop::Distance(self.p.length_m)])
            .map(|_| ())
    }

    /// The circuit: as at the field, for its time.
    fn circuit(&mut self) {
        let control = self.pattern_control(Path::LevelHeldIas);
        let set = self
            .model
            .moment(self.time_s, &self.y, &control)
            .performance;
        let span_s = self.p.arrival.circuit_s;
        self.time_s += span_s;
        self.y[FUEL] += span_s * set.fuel_kg_s;
        self.y[REV] += span_s * set.rev_s;
        let end = self.sample(self.time_s, &self.y, &control, Phase::Circuit);
        self.samples.push(end);
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

/// Triggers of the descent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Trigger {
    Level,
    Second,
    Circle,
    Reduce,
    Trim,
    Gear,
    OnSpeed,
    Shallow,
}

/// The throttle hand in descent and slow-down.
#[derive(Debug, Clone, Copy)]
struct Power {
    /// Set by the tachometer (fixed pitch: rev/s) rather than by manifold pressure (Pa).
    by_rpm: bool,
    step: f64,
    /// Readings are set in multiples of this.
    settable: f64,
    interval_s: f64,
    floor: f64,
    rev_s: f64,
    mixture: usize,
    hand: Hand,
    /// Reading of the step of the moment.
    cut: f64,
    /// Where the steps end.
    cut_floor: f64,
    /// Time of the next step, if one is to come, s.
    next_cut_s: Option<f64>,
}

impl Power {
    fn control(&self, path: Path, configuration: Configuration) -> Control {
        Control {
            hand: self.hand,
            rev_s: self.rev_s,
            mixture: self.mixture,
            path,
            configuration,
            inward_m_s2: 0.0,
        }
    }

    /// Begins to reduce from a reading to a floor: the first step now.
    fn begin(&mut self, from: f64, floor: f64, now_s: f64) {
        self.cut = from;
        // Power never goes up by a reduction.
        self.cut_floor = floor.min(from);
        self.next_cut_s = Some(now_s);
        self.cut();
    }

    /// One step down, and the time of the next.
    fn cut(&mut self) {
        let Some(due_s) = self.next_cut_s else { return };
        // At most a step, to a mark the hand can set.
        let marks = (self.cut - self.step) / self.settable;
        let set = (marks - 1e-6).ceil() * self.settable;
        self.cut = set.clamp(self.cut_floor, self.cut);
        let same = if self.by_rpm {
            self.rev_s = self.cut;
            self.hand = Hand::Set(Throttle::Rpm);
            SAME_REV_S
        } else {
            self.hand = Hand::Set(Throttle::Map(self.cut));
            SAME_MAP_PA
        };
        self.next_cut_s = (self.cut > self.cut_floor + same).then_some(due_s + self.interval_s);
    }
}
