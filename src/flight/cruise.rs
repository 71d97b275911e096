//! Level cruise.

use super::flown::FlightError;
use super::fly::LEAST_GROUND_SPEED_M_S;
use super::flyer::{Flyer, level_control};
use super::kernel::{Control, ground_speed_m_s, instant, level_speed_m_s};
use super::script::Cruise;
use crate::aircraft::Configuration;
use crate::quantity::{M_PER_FT, M_PER_NM};
use crate::trip::AirSample;

/// Longest step in cruise of a recorded flight, m.
const CRUISE_STEP_M: f64 = 10.0 * M_PER_NM;
/// The same in a search, m: winds between stations change little in it.
const SEARCH_CRUISE_STEP_M: f64 = 25.0 * M_PER_NM;
/// Nearer than this to the steady speed the approach is taken in closed form, m/s.
const TRANSIENT_M_S: f64 = 2.0;
/// The same in a recorded flight, whose clock must not jump, m/s.
const RECORDED_TRANSIENT_M_S: f64 = 0.05;
/// Largest change of cruise speed from one point to the next taken in a single Newton step, m/s.
const NEWTON_M_S: f64 = 0.5;

/// Steady cruise at the end of a stretch.
#[derive(Debug, Clone, Copy)]
pub(super) struct Steady {
    pub(super) fuel_kg_s: f64,
    pub(super) rev_s: f64,
    pub(super) ground_speed_m_s: f64,
}

impl Flyer<'_> {
    /// Cruises to a distance: quasi-steady between wind nodes, two Gauss points a step.
    pub(super) fn cruise(&mut self, leg: &Cruise, to_m: f64) -> Result<Steady, FlightError> {
        let levers = leg.levers();
        let control = level_control(levers);
        let p = self.p;
        let cannot = FlightError::CannotCruise {
            altitude_ft: leg.level_m / M_PER_FT,
        };
        let air_at = |s_m: f64, time_s: f64| {
            p.air_state(s_m, p.pressure_altitude_m(s_m, leg.level_m), time_s)
        };
        let gs_of = |tas: f64, sample: &AirSample| {
            let gs = ground_speed_m_s(tas, 0.0, sample);
            if gs < LEAST_GROUND_SPEED_M_S {
                Err(FlightError::NoGroundSpeed)
            } else {
                Ok(gs)
            }
        };
        let (air, _) = air_at(self.state.distance_m, self.state.time_s);
        let mass = self.mass_kg();
        let (mut v, mut tau) =
            level_speed_m_s(p, air, mass, levers, self.state.tas_m_s, &self.near).ok_or(cannot)?;
        // Far from the steady speed the approach to it is flown.
        let nearly_m_s = if self.fine {
            RECORDED_TRANSIENT_M_S
        } else {
            TRANSIENT_M_S
        };
        while (self.state.tas_m_s - v).abs() > nearly_m_s && self.state.distance_m < to_m {
            let here = instant(p, &self.state, &control, &self.near);
            // The steady speed moves with weight, wind and air while it is approached.
            if (here.acceleration_m_s2 * tau).abs() < nearly_m_s {
                let tas = self.state.tas_m_s;
                (v, tau) = level_speed_m_s(p, here.air, here.mass_kg, levers, tas, &self.near)
                    .ok_or(cannot)?;
                if (tas - v).abs() <= nearly_m_s {
                    break;
                }
            }
            self.visit(&here, &control);
            let dt = self
                .step_s
                .min((to_m - self.state.distance_m) / here.ground_speed_m_s.max(1.0) + 1e-3);
            self.state = self.stepped(&here, &control, dt);
            self.still_flying()?;
        }
        let (air, sample) = air_at(self.state.distance_m, self.state.time_s);
        let mut gs = gs_of(v, &sample)?;
        if (self.state.tas_m_s - v).abs() > nearly_m_s {
            // The stretch is over before the speed has settled.
            let here = instant(p, &self.state, &control, &self.near);
            self.visit(&here, &control);
            return Ok(Steady {
                fuel_kg_s: here.performance.fuel_kg_s,
                rev_s: here.performance.rev_s,
                ground_speed_m_s: here.ground_speed_m_s,
            });
        }
        let mut perf = self.set_at(air, v, levers);
        // Transient after setting power: the excess speed decays with tau, so the aeroplane is (V0 - V) tau ahead.
        let saved_s = (self.state.tas_m_s - v) * tau / gs;
        self.state.time_s -= saved_s;
        self.state.fuel_kg -= saved_s * perf.fuel_kg_s;
        self.state.revolutions -= saved_s * perf.rev_s;
        self.cruise_visit(v, &control);
        let first_m_s = v;
        let longest_m = if self.fine {
            CRUISE_STEP_M
        } else {
            SEARCH_CRUISE_STEP_M
        };
        while self.state.distance_m < to_m - 1e-6 {
            let end = p
                .legs
                .iter()
                .map(|l| l.to_m)
                .find(|&b| b > self.state.distance_m + 1e-6)
                .unwrap_or(to_m)
                .min(to_m);
            let left = end - self.state.distance_m;
            let ds = left / (left / longest_m).ceil();
            // Gauss points of the unit interval, weights 1/2 each.
            let half = 0.5 * 3.0_f64.sqrt() / 3.0;
            let (mut dt, mut fuel, mut revs) = (0.0, 0.0, 0.0);
            for x in [0.5 - half, 0.5 + half] {
                let mass = self.mass_kg() - perf.fuel_kg_s * x * ds / gs;
                let (air, sample) = air_at(
                    self.state.distance_m + x * ds,
                    self.state.time_s + x * ds / gs,
                );
                // The speed changes little from point to point: one Newton step with the slope of the last full solution, and a
                // full solution where that moves far.
                perf = self.set_at(air, v, levers);
                let excess =
                    perf.thrust_n - p.aircraft.drag_n(air, v, mass, Configuration::default());
                let change = excess * tau / mass;
                if change.abs() < NEWTON_M_S {
                    v += change;
                } else {
                    (v, tau) =
                        level_speed_m_s(p, air, mass, levers, v, &self.near).ok_or(cannot)?;
                    perf = self.set_at(air, v, levers);
                }
                gs = gs_of(v, &sample)?;
                let share = 0.5 * ds / gs;
                dt += share;
                fuel += share * perf.fuel_kg_s;
                revs += share * perf.rev_s;
                self.note_cruise_power(&perf);
            }
            self.state.time_s += dt;
            self.state.fuel_kg += fuel;
            self.state.revolutions += revs;
            self.state.distance_m += ds;
            self.state.pressure_altitude_m =
                p.pressure_altitude_m(self.state.distance_m, leg.level_m);
            self.cruise_visit(v, &control);
        }
        // The speed lags behind the steady one by tau while that changes with wind, weight and air.
        let lag_s = (first_m_s - v) * tau / gs;
        self.state.time_s -= lag_s;
        self.state.fuel_kg -= lag_s * perf.fuel_kg_s;
        self.state.revolutions -= lag_s * perf.rev_s;
        Ok(Steady {
            fuel_kg_s: perf.fuel_kg_s,
            rev_s: perf.rev_s,
            ground_speed_m_s: gs,
        })
    }

    pub(super) fn cruise_visit(&mut self, tas_m_s: f64, control: &Control) {
        self.state.tas_m_s = tas_m_s;
        let here = instant(self.p, &self.state, control, &self.near);
        let ias_m_s = self.visit(&here, control);
        self.note_cruise_power(&here.performance);
        self.note_mixture(&here.performance, control.levers.mixture);
        self.note_low_speed(&here, ias_m_s);
    }
}
