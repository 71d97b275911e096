//! From lift-off to the first level.

use super::{LEAST_RATE_M_S, Pilot, SAME_HEIGHT_M, SAME_SPEED_M_S, levers_of};
use crate::aircraft::{Levers, Throttle};
use crate::flight::{Circle, Mark, Script};
use crate::quantity::M_PER_FT;
use crate::reflight::event::Stop;
use crate::reflight::motion::{Control, Path};
use crate::reflight::{Phase, ReflightError};

/// No lever but gear and flaps is moved below this height above the field, m (DESIGN section 5: 1,000 ft).
const LEVERS_FROM_M: f64 = 1_000.0 * M_PER_FT;
/// The pilot takes the speed as settled when it rises by less than this, m/s²: a knot in a minute.
const SETTLED_M_S2: f64 = 0.01;

impl Pilot<'_> {
    /// Level at these levers until the IAS is reached or no longer rises.
    pub(super) fn gain_speed(
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
    pub(super) fn climb_to(
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
    pub(super) fn climb_levers(&self, script: &Script) -> Levers {
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

    /// From lift-off to the first level and the speed at which cruise power is set; where the level was reached.
    pub(super) fn climb_out(&mut self, script: &Script) -> Result<Mark, ReflightError> {
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
    pub(super) fn join(&mut self, script: &Script) -> Result<Mark, ReflightError> {
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
    pub(super) fn climb_ias_m_s(&self, script: &Script) -> f64 {
        let climb = &script.climb;
        let second = climb.second.filter(|s| self.indicated_m() >= s.0);
        second.map_or(climb.ias_m_s, |s| s.1)
    }
}
