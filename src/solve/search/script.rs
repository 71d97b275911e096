//! What a script is begun with, and the entries that are derived: speeds, the height to lean at, when cruise power is set.

use super::Search;
use crate::air::isa;
use crate::aircraft::propeller::Nearby;
use crate::aircraft::{Levers, Throttle};
use crate::flight::{
    Climb, Descent, DescentPart, Flown, PathRule, Reduction, Script, State, ThrottleRule,
    level_speed_m_s,
};
use crate::quantity::{M_PER_FT, M_PER_NM, M_S_PER_KT, PA_PER_INHG};
use crate::solve::circling;
use crate::solve::cruise::{self, CruiseOption};
use crate::solve::refine::keep_tied;
use std::cell::Cell;

/// At a fixed pitch power goes with the cube of crankshaft speed and with manifold pressure times crankshaft speed, so an inch of mercury
/// at 23 in is worth 50 rpm at 2,400: one step of a reduction, rev/s.
const REV_STEP_S: f64 = 50.0 / 60.0;
/// Cruise power is set this much before cruise speed is reached.
const SET_BEFORE_M_S: f64 = 2.0 * M_S_PER_KT;

impl Search<'_> {
    /// Speed to a step the pilot can fly, at or above the given one.
    pub(in crate::solve) fn speed_up(&self, ias_m_s: f64) -> f64 {
        let step = self.p.aircraft.procedures.speed_step_m_s;
        (ias_m_s / step - 1e-6).ceil() * step
    }

    /// The slowest climb after lift-off, indicated, m/s: Vy, or what cools the engine.
    pub(in crate::solve) fn slowest_climb_m_s(&self) -> f64 {
        let p = self.p;
        p.aircraft
            .least_climb_ias_m_s(p.departure.elevation_m, self.lift_off_kg())
    }

    /// Indicated altitude, in whole 500 ft, at which climb mixture is leaned: where density altitude passes the profile's.
    fn lean_at_m(&self) -> f64 {
        let p = self.p;
        let limit = p.aircraft.procedures.full_rich_density_altitude_m;
        let mut level = 0.0;
        while level <= p.limits.max_altitude_m {
            let hp = p.pressure_altitude_m(0.0, level);
            if isa::density_altitude_m(hp, p.air.at(0.0, hp, 0.0).temperature_k) > limit {
                return level;
            }
            level += 500.0 * M_PER_FT;
        }
        f64::INFINITY
    }

    /// A script with everything but cruise and descent chosen.
    pub(in crate::solve) fn skeleton(&self, ias_m_s: f64, rev_s: f64) -> Script {
        let p = self.p;
        let field_da = p.density_altitude_m(&p.departure, 0.0);
        let mixture = p.aircraft.high_power_mixture(field_da);
        let initial = (self.slowest_climb_m_s() / M_S_PER_KT).ceil() * M_S_PER_KT;
        let interval = PA_PER_INHG / p.limits.map_reduction_pa_s;
        Script {
            initial_ias_m_s: initial,
            initial_mixture: mixture,
            climb: Climb {
                ias_m_s: ias_m_s.max(initial),
                second: None,
                rev_s,
                mixture,
                lean_at_m: self.lean_at_m(),
                circle: circling::over_departure(p),
            },
            cruise: vec![],
            descent: Descent {
                first: DescentPart {
                    throttle: ThrottleRule::Full,
                    rev_s,
                    mixture,
                    path: PathRule::Rate(p.limits.max_descent_m_s),
                    gear_down: false,
                },
                second: None,
                reduce_at_m: p.arrival.pattern_altitude_m,
                to_go_m: f64::NAN,
                circle: circling::over_destination(p),
            },
            reduction: Reduction {
                step_pa: PA_PER_INHG,
                step_rev_s: REV_STEP_S,
                interval_s: interval,
                floor_pa: p.limits.least_map_pa,
                floor_rev_s: p.aircraft.propeller.lowest_governed_rev_s,
            },
        }
    }

    /// Derived entries of a script: the speed at which cruise power is set, and a throttle left alone at its cruise setting.
    pub(in crate::solve) fn prepare(&self, script: &mut Script) {
        let p = self.p;
        for c in &mut script.cruise {
            // What full throttle does not give cannot be set: it is full throttle, and told as that.
            let from_m = c.from_m.max(0.1 * p.length_m);
            if matches!(c.throttle, Throttle::Map(pa) if pa > cruise::full_throttle_pa(p, from_m, c.level_m, c.rev_s))
            {
                c.throttle = Throttle::Full;
            }
        }
        keep_tied(script);
        self.call_full_throttle_so(script);
        let climb = Levers {
            throttle: Throttle::Full,
            rev_s: script.climb.rev_s,
            mixture: p.aircraft.engine.best_power_mixture(),
        };
        for c in &mut script.cruise {
            let s = if c.from_m > 0.0 {
                c.from_m
            } else {
                0.1 * p.length_m
            };
            let cruise = self.steady_ias_m_s(c.levers(), c.level_m, s);
            let at_climb_power = self.steady_ias_m_s(climb, c.level_m, s);
            let speed = match (cruise, at_climb_power) {
                (Some(a), Some(b)) => a.min(b - SET_BEFORE_M_S),
                (Some(a), None) | (None, Some(a)) => a,
                (None, None) => 0.0,
            };
            c.set_at_ias_m_s = ((speed - SET_BEFORE_M_S) / M_S_PER_KT).floor() * M_S_PER_KT;
        }
    }

    /// A throttle left alone where it gives as much as full throttle does is full throttle.
    fn call_full_throttle_so(&self, script: &mut Script) {
        let p = self.p;
        let (Some(last), ThrottleRule::LeftAlone(map)) =
            (script.cruise.last(), script.descent.first.throttle)
        else {
            return;
        };
        let rev_s = script.descent.first.rev_s;
        let full = cruise::full_throttle_pa(p, 0.8 * p.length_m, last.level_m, rev_s);
        if last.throttle == Throttle::Full && map > full - 0.5 * p.aircraft.procedures.map_step_pa {
            script.descent.first.throttle = ThrottleRule::Full;
        }
    }

    /// Indicated airspeed [m/s] of steady flight at a level \[m\] and distance \[m\] with the mass of lift-off; `None` where there is none.
    fn steady_ias_m_s(&self, levers: Levers, level_m: f64, distance_m: f64) -> Option<f64> {
        let [kind, figure] = levers.throttle.bits();
        let asked = [
            kind,
            figure,
            levers.rev_s.to_bits(),
            levers.mixture as u64,
            level_m.to_bits(),
            distance_m.to_bits(),
        ];
        if let Some(&known) = self.unpriced.steady.borrow().get(&asked) {
            return known;
        }
        let p = self.p;
        let hp = p.pressure_altitude_m(distance_m, level_m);
        let (air, _) = p.air_state(distance_m, hp, p.time_s(distance_m));
        let guess = p.aircraft.tas_from_ias(air, p.aircraft.speeds.vno_m_s);
        let near = Cell::new(Nearby::ROUGHLY);
        let found = level_speed_m_s(p, air, self.lift_off_kg(), levers, guess, &near)
            .map(|(v, _)| p.aircraft.ias_from_tas(air, v));
        self.unpriced.steady.borrow_mut().insert(asked, found);
        found
    }

    /// A state in steady cruise some way before the pattern.
    pub(in crate::solve) fn cruise_state(
        &self,
        level_m: f64,
        options: &[CruiseOption],
        script: &Script,
    ) -> Option<State> {
        let p = self.p;
        let s = (p.length_m - p.arrival.before_m - 40.0 * M_PER_NM).max(0.4 * p.length_m);
        let cruise = script.cruise.last()?;
        let levers = cruise.levers();
        let hp = p.pressure_altitude_m(s, level_m);
        let (air, _) = p.air_state(s, hp, p.time_s(s));
        let end_kg = 2.0 * self.middle_kg - self.lift_off_kg();
        let guess = options.iter().map(|o| o.tas_m_s).fold(60.0, f64::max);
        let near = Cell::new(Nearby::NONE);
        let (tas, _) = level_speed_m_s(p, air, end_kg, levers, guess, &near)?;
        Some(State {
            time_s: p.time_s(s),
            distance_m: s,
            pressure_altitude_m: hp,
            tas_m_s: tas,
            fuel_kg: self.lift_off_kg() - end_kg,
            revolutions: 0.0,
        })
    }
}

impl Flown {
    /// The script with its top of descent left open again.
    pub(in crate::solve) fn script_free(&self) -> Script {
        let mut script = self.script.clone();
        script.descent.to_go_m = f64::NAN;
        script
    }
}
