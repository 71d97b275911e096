//! Take-off, climb and changes of level.

use super::audit::Limit;
use super::flown::{FlightError, Mark, SegmentKind};
use super::flyer::{Flyer, level_control};
use super::kernel::{Control, State, Vertical, instant, lift_off_kg};
use super::script::{Cruise, Script};
use crate::aircraft::propeller::Nearby;
use crate::aircraft::{Configuration, Levers, Throttle};
use crate::quantity::{M_PER_FT, M_S_PER_KT};
use crate::trip::Problem;
use std::cell::Cell;

/// Take-off power stays to this height above the field, m (DESIGN section 5: 1,000 ft).
const INITIAL_CLIMB_M: f64 = 1_000.0 * M_PER_FT;
/// Speed is traded for height at this, m/s²: a knot a second.
const TRADE_M_S2: f64 = M_S_PER_KT;
/// A step toward a slower speed takes this share of the time that it would need if the dial fell as fast as the speed.
const CLOSES_IN: f64 = 0.9;
/// Heights nearer than this are the same, m.
const SAME_HEIGHT_M: f64 = 0.05;

/// What the aircraft climbs at over a field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FieldClimb {
    /// Mass, kg.
    pub mass_kg: f64,
    /// The least speed of a climb there, indicated, m/s: Vy, or what cools the engine if that is more.
    pub ias_m_s: f64,
    /// Steady rate of climb by the altimeter at full power, gear up, m/s; below zero it sinks.
    pub rate_m_s: f64,
    /// The same with the gear down, as a go-around begins. Flaps are not counted.
    pub gear_down_m_s: f64,
}

/// The climb over the departure as it is left, or over the destination at a mass \[kg\], in the air at a time since lift-off \[s\]:
/// full throttle, greatest RPM, the mixture for high power there, in still air over the ground.
pub fn field_climb(problem: &Problem, departs: bool, mass_kg: f64, time_s: f64) -> FieldClimb {
    let aircraft = &problem.aircraft;
    let (field, distance_m) = if departs {
        (&problem.departure, 0.0)
    } else {
        (&problem.destination, problem.length_m)
    };
    let pressure_altitude_m = problem.pressure_altitude_m(distance_m, field.elevation_m);
    let ias_m_s = aircraft.least_climb_ias_m_s(pressure_altitude_m, mass_kg);
    let state = State {
        time_s,
        distance_m,
        pressure_altitude_m,
        tas_m_s: 0.0,
        fuel_kg: lift_off_kg(problem) - mass_kg,
        revolutions: 0.0,
    };
    let near = Cell::new(Nearby::NONE);
    let rate_m_s = |gear_down: bool| {
        let control = Control {
            levers: Levers {
                throttle: Throttle::Full,
                rev_s: aircraft.propeller.highest_governed_rev_s,
                mixture: aircraft.high_power_mixture(problem.density_altitude_m(field, time_s)),
            },
            vertical: Vertical::Ias(ias_m_s),
            configuration: Configuration {
                gear_down,
                cowl_flaps_open: aircraft.equipment.cowl_flaps,
                ..Configuration::default()
            },
            bank_rad: 0.0,
        };
        instant(problem, &state, &control, &near).rate_m_s
    };
    FieldClimb {
        mass_kg,
        ias_m_s,
        rate_m_s: rate_m_s(false),
        gear_down_m_s: rate_m_s(true),
    }
}

impl Flyer<'_> {
    /// Level at climb power, speed free, cowl flaps open where there are any.
    pub(super) fn climb_power(&self, levers: Levers) -> Control {
        Control {
            configuration: Configuration {
                cowl_flaps_open: self.p.aircraft.equipment.cowl_flaps,
                ..Configuration::default()
            },
            bank_rad: self.bank_rad,
            ..level_control(levers)
        }
    }

    pub(super) fn climb_levers(&self, script: &Script) -> Levers {
        let c = &script.climb;
        let lean = self.indicated_m() >= c.lean_at_m - 0.1;
        Levers {
            throttle: Throttle::Full,
            rev_s: c.rev_s,
            mixture: if lean {
                self.p.aircraft.engine.best_power_mixture()
            } else {
                c.mixture
            },
        }
    }

    pub(super) fn note_climb_rate(&mut self, rate_m_s: f64) {
        let leg = &self.p.legs[self.p.leg_index(self.state.distance_m)];
        self.audit
            .note(Limit::ClimbRate, leg.least_climb_m_s() - rate_m_s);
    }

    /// Take-off power to a thousand feet, then the climb setting and the speed of the climb.
    pub(super) fn reach_climb_speed(&mut self, script: &Script) -> Result<(), FlightError> {
        let p = self.p;
        let take_off = Levers {
            throttle: Throttle::Full,
            rev_s: p.aircraft.propeller.highest_governed_rev_s,
            mixture: script.initial_mixture,
        };
        self.climb(
            SegmentKind::InitialClimb,
            take_off,
            script.initial_ias_m_s,
            p.departure.elevation_m + INITIAL_CLIMB_M,
        )?;
        let levers = self.climb_levers(script);
        if script.climb.ias_m_s > script.initial_ias_m_s + 1e-6 {
            self.begin(SegmentKind::Accelerate, levers.mixture);
            self.gain_speed(&self.climb_power(levers), script.climb.ias_m_s)?;
        }
        Ok(())
    }

    /// From lift-off to the first level and there, at climb power, to the speed at which cruise power is set; where the level was
    /// reached.
    pub(super) fn climb_to_cruise(&mut self, script: &Script) -> Result<Mark, FlightError> {
        self.reach_climb_speed(script)?;
        let rate = self.climb_to_level(script, script.cruise[0].level_m)?;
        self.level_off(script, rate)
    }

    /// At the first level, reached at a rate [m/s]: at climb power to the speed at which cruise power is set; where the level was
    /// reached.
    fn level_off(&mut self, script: &Script, rate_m_s: f64) -> Result<Mark, FlightError> {
        let first = &script.cruise[0];
        self.note_climb_rate(rate_m_s);
        let top_of_climb = Mark::from(&self.state);
        let levers = self.climb_levers(script);
        self.begin(SegmentKind::LevelOff, levers.mixture);
        self.gain_speed(&self.climb_power(levers), first.set_at_ias_m_s)?;
        Ok(top_of_climb)
    }

    /// From the start in flight to the first level: a climb, the speed first, or a descent at the setting of the cruise there; where
    /// the level was reached, and the rate of climb on reaching it [m/s], zero without a climb.
    pub(super) fn join(&mut self, script: &Script) -> Result<(Mark, f64), FlightError> {
        let first = script.cruise[0];
        let up_m = first.level_m - self.indicated_m();
        if up_m.abs() < SAME_HEIGHT_M {
            return Ok((Mark::from(&self.state), 0.0));
        }
        if up_m < 0.0 {
            self.come_down(&first, first.level_m)?;
            return Ok((Mark::from(&self.state), 0.0));
        }
        let ias = script.climb.ias_from_m_s(self.indicated_m());
        self.change_speed(script, ias, first.level_m)?;
        let rate = if self.indicated_m() < first.level_m - SAME_HEIGHT_M {
            self.climb_to_level(script, first.level_m)?
        } else {
            // At the level before the speed: what the climb would be at that of the moment.
            let control = Control {
                vertical: Vertical::Ias(self.ias_now()),
                ..self.climb_power(self.climb_levers(script))
            };
            instant(self.p, &self.state, &control, &self.near).rate_m_s
        };
        Ok((self.level_off(script, rate)?, rate))
    }

    /// Climbs on to an indicated altitude at the speed or the two of the climb, circling over the field as far as the script says; the
    /// rate of climb on reaching it [m/s].
    pub(super) fn climb_to_level(
        &mut self,
        script: &Script,
        to_m: f64,
    ) -> Result<f64, FlightError> {
        if let Some(circle) = script.climb.circle
            && self.indicated_m() < circle.height_m.min(to_m) - SAME_HEIGHT_M
        {
            self.bank_rad = circle.bank_rad;
            let rate = self.climb_at_speeds(script, circle.height_m.min(to_m));
            self.bank_rad = 0.0;
            if circle.height_m >= to_m - SAME_HEIGHT_M {
                return rate;
            }
            rate?;
        }
        self.climb_at_speeds(script, to_m)
    }

    fn climb_at_speeds(&mut self, script: &Script, to_m: f64) -> Result<f64, FlightError> {
        let climb = &script.climb;
        let mut ias_m_s = climb.ias_m_s;
        if let Some((from_m, second_m_s)) = climb.second.filter(|s| s.0 < to_m) {
            if self.indicated_m() < from_m - SAME_HEIGHT_M {
                // A slow second part is no excuse for a first that hardly climbs.
                let rate = self.climb_on(script, ias_m_s, from_m, SegmentKind::Climb)?;
                self.note_climb_rate(rate);
                self.change_speed(script, second_m_s, to_m)?;
            }
            ias_m_s = second_m_s;
        }
        self.climb_on(script, ias_m_s, to_m, SegmentKind::Climb)
    }

    /// To another speed of the climb: level to a faster one, nose up to a slower one.
    fn change_speed(
        &mut self,
        script: &Script,
        ias_m_s: f64,
        to_m: f64,
    ) -> Result<(), FlightError> {
        let levers = self.climb_levers(script);
        let faster = self.ias_now() < ias_m_s;
        self.begin(
            if faster {
                SegmentKind::Accelerate
            } else {
                SegmentKind::Climb
            },
            levers.mixture,
        );
        if faster {
            return self.gain_speed(&self.climb_power(levers), ias_m_s);
        }
        let control = Control {
            vertical: Vertical::Trade(-TRADE_M_S2),
            ..self.climb_power(levers)
        };
        loop {
            let here = instant(self.p, &self.state, &control, &self.near);
            let over = self.visit(&here, &control) - ias_m_s;
            let left_m = to_m - self.indicated_m();
            if over < 1e-4 || left_m < SAME_HEIGHT_M {
                return Ok(());
            }
            if here.rate_m_s <= 0.0 {
                return Err(FlightError::CannotClimb {
                    altitude_ft: self.indicated_m() / M_PER_FT,
                });
            }
            // Neither past the speed, which near sea level falls a little faster by the dial than through the air, nor past the level.
            let dt = (CLOSES_IN * over / TRADE_M_S2)
                .min(left_m / here.rate_m_s)
                .min(self.step_s)
                .max(1e-3);
            self.state = self.stepped(&here, &control, dt);
            self.still_flying()?;
        }
    }

    /// Climbs on to an indicated altitude with the climb setting; the rate of climb on reaching it [m/s].
    pub(super) fn climb_on(
        &mut self,
        script: &Script,
        ias_m_s: f64,
        to_m: f64,
        kind: SegmentKind,
    ) -> Result<f64, FlightError> {
        let lean_at_m = script.climb.lean_at_m;
        if lean_at_m > self.indicated_m() && lean_at_m < to_m {
            let levers = self.climb_levers(script);
            self.climb(kind, levers, ias_m_s, lean_at_m)?;
        }
        let levers = self.climb_levers(script);
        Ok(self.climb(kind, levers, ias_m_s, to_m)?.rate_m_s)
    }

    /// Flies from one cruise level to the next.
    pub(super) fn change_level(
        &mut self,
        script: &Script,
        from: &Cruise,
        to: &Cruise,
    ) -> Result<(), FlightError> {
        if to.level_m > from.level_m {
            // Flown at the speed of the moment: slowing down to climb speed first would give height away.
            let now = self.ias_now();
            let slowest = script.climb.ias_from_m_s(self.indicated_m());
            if now < slowest {
                let levers = self.climb_levers(script);
                self.begin(SegmentKind::LevelChange, levers.mixture);
                self.gain_speed(&self.climb_power(levers), slowest)?;
            }
            let ias = slowest.max(now);
            let rate = self.climb_on(script, ias, to.level_m, SegmentKind::LevelChange)?;
            self.note_climb_rate(rate);
            let levers = self.climb_levers(script);
            self.begin(SegmentKind::LevelOff, levers.mixture);
            self.gain_speed(&self.climb_power(levers), to.set_at_ias_m_s)
        } else {
            self.come_down(from, to.level_m)
        }
    }

    /// Down to an indicated altitude at the greatest rate with the setting of a cruise.
    fn come_down(&mut self, setting: &Cruise, to_indicated_m: f64) -> Result<(), FlightError> {
        let levers = setting.levers();
        self.begin(SegmentKind::LevelChange, levers.mixture);
        let rate = Vertical::Rate(-self.p.limits.max_descent_m_s);
        let control = Control {
            levers,
            vertical: rate,
            configuration: Configuration::default(),
            bank_rad: 0.0,
        };
        let mut here = instant(self.p, &self.state, &control, &self.near);
        self.visit(&here, &control);
        loop {
            let left = self.state.pressure_altitude_m
                - self
                    .p
                    .pressure_altitude_m(self.state.distance_m, to_indicated_m);
            if left < SAME_HEIGHT_M {
                return Ok(());
            }
            let dt = (left / self.p.limits.max_descent_m_s).min(self.step_s);
            self.state = self.stepped(&here, &control, dt);
            self.still_flying()?;
            here = instant(self.p, &self.state, &control, &self.near);
            self.visit(&here, &control);
        }
    }
}
