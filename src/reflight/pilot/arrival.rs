//! From pattern altitude to the field: slowing down, the pattern, the circuit.

use super::power::Power;
use super::{Pilot, SAME_SPEED_M_S, SLOW_LIMIT_S, never_slows};
use crate::aircraft::{Configuration, Throttle};
use crate::flight::Circle;
use crate::reflight::event::Stop;
use crate::reflight::motion::{Control, FUEL, Hand, Path, REV};
use crate::reflight::{Phase, ReflightError};

impl Pilot<'_> {
    /// Level at pattern altitude: power goes on coming off, gear at its speed, until pattern speed.
    pub(super) fn slow_down(
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
    pub(super) fn pattern(&mut self) -> Result<(), ReflightError> {
        let control = self.pattern_control(Path::LevelHeldIas);
        self.fly_to(Phase::Pattern, &control, &[Stop::Distance(self.p.length_m)])
            .map(|_| ())
    }

    /// The circuit: as at the field, for its time.
    pub(super) fn circuit(&mut self) {
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
