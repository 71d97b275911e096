//! The ordinary descent: power reduced to hold the cruise IAS at a steady rate, that of common practice or another.

use super::Search;
use crate::aircraft::Configuration;
use crate::aircraft::propeller::Nearby;
use crate::flight::{
    Descent, DescentPart, Flown, Limit, Mark, PathRule, Script, ThrottleRule, level_speed_m_s,
};
use crate::quantity::{M_PER_NM, M_S_PER_FPM};
use crate::solve::power::{needed_thrust_n, reading_for};
use crate::solve::refine::{Pilot, to_step};
use crate::solve::{circling, descent};
use std::cell::Cell;

/// Rate of the ordinary descent, m/s: 500 ft/min (common practice, no source).
pub(in crate::solve) const ORDINARY_M_S: f64 = 500.0 * M_S_PER_FPM;

impl Search<'_> {
    /// Cruise RPM, MAP reduced to hold the cruise IAS at 500 fpm (or the trip's rate if less): everything else as in the plan. At
    /// fixed pitch the RPM is reduced.
    pub(in crate::solve) fn ordinary(&self, pilot: &Pilot, plan: &Flown) -> Option<Flown> {
        self.reduced(
            pilot,
            &plan.script_free(),
            plan.top_of_descent,
            ORDINARY_M_S,
        )
    }

    /// The same at another rate \[m/s\] for a script that starts down near a mark.
    pub(in crate::solve) fn reduced(
        &self,
        pilot: &Pilot,
        script: &Script,
        start: Mark,
        rate_m_s: f64,
    ) -> Option<Flown> {
        let p = self.p;
        let mut script = script.clone();
        let last = *script.cruise.last()?;
        let hp = 0.5
            * (p.pressure_altitude_m(start.distance_m, last.level_m)
                + p.pressure_altitude_m(p.length_m, p.arrival.pattern_altitude_m));
        let rate = rate_m_s.min(p.limits.max_descent_m_s);
        let cruise_hp = p.pressure_altitude_m(start.distance_m, last.level_m);
        let (cruise_air, _) = p.air_state(start.distance_m, cruise_hp, start.time_s);
        let mass = self.lift_off_kg() - start.fuel_kg;
        let levers = last.levers();
        let near = Cell::new(Nearby::NONE);
        let (tas, _) = level_speed_m_s(p, cruise_air, mass, levers, 75.0, &near)?;
        let ias = p.aircraft.ias_from_tas(cruise_air, tas);
        // MAP, or RPM at fixed pitch, for that IAS at that rate, half-way down.
        let half_way_m = p.length_m - 30.0 * M_PER_NM;
        let (air, sample) = p.air_state(half_way_m, hp, p.time_s(half_way_m));
        let v = p.aircraft.tas_from_ias(air, ias);
        let needed = needed_thrust_n(
            p,
            air,
            &sample,
            hp,
            (v, rate),
            (mass, Configuration::default()),
        );
        let fixed = p.aircraft.propeller.is_fixed();
        let procedures = &p.aircraft.procedures;
        let (step, least) = if fixed {
            (
                procedures.rev_step_s,
                p.aircraft.propeller.lowest_governed_rev_s,
            )
        } else {
            (procedures.map_step_pa, p.limits.least_map_pa)
        };
        let first = to_step(reading_for(p, air, v, levers, needed), step).max(least);
        let held = |reading: f64, path: PathRule| Descent {
            first: DescentPart {
                throttle: if fixed {
                    ThrottleRule::Rpm
                } else {
                    ThrottleRule::Held(reading)
                },
                rev_s: if fixed { reading } else { last.rev_s },
                mixture: last.mixture,
                path,
                gear_down: false,
            },
            second: None,
            reduce_at_m: p.arrival.pattern_altitude_m,
            to_go_m: f64::NAN,
            circle: circling::over_destination(p),
        };
        // With so little power at cruise RPM the blades may reach the fine stop and the RPM sag: harmless, and flown so.
        let keeps = |flown: &Flown| flown.audit.broken().iter().all(|&l| l == Limit::Governor);
        // Slower where the air does not allow that speed, and gentler where it is not slow enough.
        for share in [1.0, 0.8, 0.6, 0.4] {
            let mut reading = first;
            while reading >= least - 1e-6 {
                script.descent = held(reading, PathRule::Rate(share * rate));
                if let Some(flown) = pilot.fly(&script).filter(keeps) {
                    return Some(flown);
                }
                reading -= step;
            }
        }
        // Or slowed down level first to the speed the air allows all the way, and then down with it.
        let fastest = descent::fastest_all_the_way_m_s(p, last.level_m, mass);
        for slower in [0.0, 1.0, 2.0] {
            let speed = fastest - slower * p.aircraft.procedures.speed_step_m_s;
            let mut reading = least;
            while reading <= first + step {
                script.descent = held(reading, PathRule::Ias(speed));
                if let Some(flown) = pilot.fly(&script).filter(keeps) {
                    return Some(flown);
                }
                reading += step;
            }
        }
        None
    }
}
