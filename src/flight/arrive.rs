//! From the pattern point to the field.

use super::flown::{FlightError, SegmentKind};
use super::fly::LEAST_GROUND_SPEED_M_S;
use super::flyer::Flyer;
use super::kernel::{Control, Vertical, ground_speed_m_s, instant};
use crate::aircraft::{Configuration, Levers, Throttle};

/// Steps of a search in a bracket.
const MOST_STEPS: u32 = 60;
/// The thrust that holds pattern speed is met to this, N: a hundred-thousandth of the drag.
const THRUST_N: f64 = 0.01;

impl Flyer<'_> {
    /// From the point where pattern speed is met to the field, and the circuit: level at pattern speed, gear down, propeller
    /// forward, with the power that holds the speed.
    pub(super) fn arrive(&mut self) -> Result<(), FlightError> {
        let p = self.p;
        let mixture = p
            .aircraft
            .high_power_mixture(p.density_altitude_m(&p.destination, self.state.time_s));
        self.begin(SegmentKind::Pattern, mixture);
        let configuration = Configuration {
            gear_down: true,
            ..Configuration::default()
        };
        let rev_s = p.aircraft.propeller.highest_governed_rev_s;
        let level = p.arrival.pattern_altitude_m;
        let balanced = |s_m: f64, mass_kg: f64, time_s: f64| {
            let hp = p.pressure_altitude_m(s_m, level);
            let (air, sample) = p.air_state(s_m, hp, time_s);
            let tas = p
                .aircraft
                .tas_from_ias(air, p.aircraft.procedures.pattern_m_s);
            let drag = p.aircraft.drag_n(air, tas, mass_kg, configuration);
            let excess = |map| {
                let levers = Levers {
                    throttle: Throttle::Map(map),
                    rev_s,
                    mixture,
                };
                p.aircraft
                    .perform_near(air, tas, levers, &self.near)
                    .thrust_n
                    - drag
            };
            // Thrust is nearly linear in manifold pressure: regula falsi, an end that stays halved (the Illinois rule).
            let (mut low, mut high) = (0.0, air.pressure_pa);
            let (mut below, mut above) = (excess(low), excess(high));
            let (mut map, mut side) = (high, 0);
            for _ in 0..MOST_STEPS {
                if below >= 0.0 || above <= 0.0 {
                    break;
                }
                map = (low * above - high * below) / (above - below);
                let here = excess(map);
                if here.abs() < THRUST_N {
                    break;
                }
                if here > 0.0 {
                    (high, above) = (map, here);
                    below *= if side == 1 { 0.5 } else { 1.0 };
                    side = 1;
                } else {
                    (low, below) = (map, here);
                    above *= if side == -1 { 0.5 } else { 1.0 };
                    side = -1;
                }
            }
            (map, ground_speed_m_s(tas, 0.0, &sample), tas)
        };
        let left = (p.length_m - self.state.distance_m).max(0.0);
        let (map, gs, tas) = balanced(
            self.state.distance_m + 0.5 * left,
            self.mass_kg(),
            self.state.time_s + 0.5 * left / self.state.tas_m_s,
        );
        if gs < LEAST_GROUND_SPEED_M_S {
            return Err(FlightError::NoGroundSpeed);
        }
        let control = Control {
            levers: Levers {
                throttle: Throttle::Map(map),
                rev_s,
                mixture,
            },
            vertical: Vertical::Level,
            configuration,
            bank_rad: 0.0,
        };
        let pass = |flyer: &mut Self, dt: f64, ds: f64| {
            flyer.state.tas_m_s = tas;
            let here = instant(p, &flyer.state, &control, &flyer.near);
            flyer.visit(&here, &control);
            flyer.state.time_s += dt;
            flyer.state.fuel_kg += dt * here.performance.fuel_kg_s;
            flyer.state.revolutions += dt * here.performance.rev_s;
            flyer.state.distance_m += ds;
            flyer.state.pressure_altitude_m = p.pressure_altitude_m(flyer.state.distance_m, level);
            let here = instant(p, &flyer.state, &control, &flyer.near);
            flyer.visit(&here, &control);
        };
        pass(self, left / gs, left);
        self.begin(SegmentKind::Circuit, mixture);
        pass(self, p.arrival.circuit_s, 0.0);
        Ok(())
    }
}
