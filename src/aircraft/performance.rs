//! One flight condition: what the aeroplane does with its levers where they are.

use super::propeller::{Balance, BladeAngle};
use super::{Aircraft, Configuration, engine::Intake, engine::Throttle};
use std::f64::consts::TAU;

/// The search for the speed on the high stop ends at this many times the highest governed speed.
const OVERSPEED: f64 = 1.5;

/// The air the aeroplane flies in, with what follows from it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirState {
    /// Static pressure, Pa.
    pub pressure_pa: f64,
    /// Temperature, K.
    pub temperature_k: f64,
    /// Density, kg/m³.
    pub density_kg_m3: f64,
    /// Speed of sound, m/s.
    pub sound_m_s: f64,
}

impl AirState {
    /// Dry air at a pressure and temperature.
    pub fn new(pressure_pa: f64, temperature_k: f64) -> Self {
        const R_AIR: f64 = 287.052_87;
        Self {
            pressure_pa,
            temperature_k,
            density_kg_m3: pressure_pa / (R_AIR * temperature_k),
            sound_m_s: (1.4 * R_AIR * temperature_k).sqrt(),
        }
    }
}

/// The three levers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Levers {
    /// Throttle.
    pub throttle: Throttle,
    /// Crankshaft speed set by the propeller lever, rev/s.
    pub rev_s: f64,
    /// Row of the mixture table.
    pub mixture: usize,
}

/// Whether the governor holds the speed that is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Governed {
    /// It does.
    Yes,
    /// The blades are on the low pitch stop and the speed has sagged.
    OnLowStop,
    /// The blades are on the high pitch stop and the speed has risen.
    OnHighStop,
    /// No steady speed was found: the propeller stops.
    Stopped,
}

/// What the aeroplane does, all engines together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Performance {
    /// Manifold pressure, Pa.
    pub map_pa: f64,
    /// Crankshaft speed, rev/s.
    pub rev_s: f64,
    /// Blade angle at 0.75 R, rad.
    pub blade_angle_rad: f64,
    /// What the governor does.
    pub governed: Governed,
    /// Brake power, W.
    pub shaft_power_w: f64,
    /// Brake power over rated power.
    pub power_fraction: f64,
    /// Installed thrust along the flight path, N.
    pub thrust_n: f64,
    /// Fuel flow, kg/s.
    pub fuel_kg_s: f64,
}

impl Aircraft {
    /// Pressures around the engine at a true airspeed [m/s].
    pub fn intake(&self, air: AirState, tas_m_s: f64) -> Intake {
        let ram_pa = 0.5 * air.density_kg_m3 * tas_m_s * tas_m_s * self.engine.spec.ram_recovery;
        Intake {
            upstream_pa: air.pressure_pa + ram_pa,
            ambient_pa: air.pressure_pa,
            temperature_k: air.temperature_k,
        }
    }

    /// Thrust, power and fuel flow at one flight condition.
    ///
    /// The governor holds the set speed while the blade angle that absorbs the power lies between the stops; beyond them the
    /// power balance is solved on the stop (DESIGN section 4, governor). `tas_m_s` at least zero.
    pub fn perform(&self, air: AirState, tas_m_s: f64, levers: Levers) -> Performance {
        let intake = self.intake(air, tas_m_s);
        if let Some(textbook) = &self.textbook {
            let fixed_pa = self.engine.map_pa(levers.throttle, levers.rev_s, intake);
            return textbook.perform(air, tas_m_s, levers, fixed_pa);
        }
        let p = &self.propeller;
        let set = levers
            .rev_s
            .clamp(p.lowest_governed_rev_s, p.highest_governed_rev_s);
        let run = |rev_s: f64| {
            self.engine
                .run(levers.throttle, rev_s, levers.mixture, intake)
        };
        let engine = run(set);
        let torque = engine.power_w / (TAU * set);
        let at = |rev_s: f64, angle: f64, governed, engine: super::engine::EngineOutput| {
            let forces = p
                .table
                .forces(air.density_kg_m3, tas_m_s, rev_s, angle, air.sound_m_s);
            Performance {
                map_pa: engine.map_pa,
                rev_s,
                blade_angle_rad: angle,
                governed,
                shaft_power_w: engine.power_w,
                power_fraction: engine.power_w / self.engine.spec.rated_power_w,
                thrust_n: forces.thrust_n * p.installed_factor,
                fuel_kg_s: engine.fuel_kg_s,
            }
        };
        let (stop, governed) = match p.table.blade_angle_for_torque(
            air.density_kg_m3,
            tas_m_s,
            set,
            torque,
            air.sound_m_s,
            p.stops,
        ) {
            BladeAngle::Within(angle) => return at(set, angle, Governed::Yes, engine),
            BladeAngle::BelowLowStop => (p.stops.low_rad, Governed::OnLowStop),
            BladeAngle::AboveHighStop => (p.stops.high_rad, Governed::OnHighStop),
        };
        let torque_of = |rev_s: f64| run(rev_s).power_w / (TAU * rev_s);
        match p.table.rpm_at_blade_angle(
            air.density_kg_m3,
            tas_m_s,
            stop,
            air.sound_m_s,
            OVERSPEED * p.highest_governed_rev_s,
            torque_of,
        ) {
            Balance::Turning(rev_s) => at(rev_s, stop, governed, run(rev_s)),
            Balance::Stopped => at(0.0, stop, Governed::Stopped, run(0.0)),
            Balance::AboveMaximum => {
                let rev_s = OVERSPEED * p.highest_governed_rev_s;
                at(rev_s, stop, governed, run(rev_s))
            }
        }
    }

    /// Drag \[N\] at a true airspeed [m/s] and mass \[kg\], lift equal to weight.
    pub fn drag_n(
        &self,
        air: AirState,
        tas_m_s: f64,
        mass_kg: f64,
        configuration: Configuration,
    ) -> f64 {
        let q_pa = 0.5 * air.density_kg_m3 * tas_m_s * tas_m_s;
        self.airframe
            .drag_n(q_pa, mass_kg * crate::quantity::G_M_S2, configuration)
    }
}

impl Aircraft {
    /// Drag [N, as negative thrust] and speed of a propeller that the air turns with the engine dead, on one blade angle \[rad\].
    ///
    /// The torque the propeller must give is friction and pumping at the manifold pressure the throttle leaves; nothing burns.
    pub fn windmill(
        &self,
        air: AirState,
        tas_m_s: f64,
        throttle: Throttle,
        blade_angle_rad: f64,
    ) -> Performance {
        let intake = self.intake(air, tas_m_s);
        let p = &self.propeller;
        let drag_w = |rev_s: f64| {
            let map_pa = self.engine.map_pa(throttle, rev_s, intake);
            self.engine.friction_w(rev_s) + self.engine.pumping_w(map_pa, rev_s, intake)
        };
        let rev_max_s = OVERSPEED * p.highest_governed_rev_s;
        let balance = p.table.rpm_at_blade_angle(
            air.density_kg_m3,
            tas_m_s,
            blade_angle_rad,
            air.sound_m_s,
            rev_max_s,
            |rev_s| -drag_w(rev_s) / (TAU * rev_s),
        );
        let (rev_s, governed) = match balance {
            Balance::Turning(rev_s) => (rev_s, Governed::OnLowStop),
            Balance::Stopped => (0.0, Governed::Stopped),
            Balance::AboveMaximum => (rev_max_s, Governed::OnLowStop),
        };
        let forces = p.table.forces(
            air.density_kg_m3,
            tas_m_s,
            rev_s,
            blade_angle_rad,
            air.sound_m_s,
        );
        Performance {
            map_pa: self.engine.map_pa(throttle, rev_s, intake),
            rev_s,
            blade_angle_rad,
            governed,
            shaft_power_w: -drag_w(rev_s),
            power_fraction: -drag_w(rev_s) / self.engine.spec.rated_power_w,
            thrust_n: forces.thrust_n * p.installed_factor,
            fuel_kg_s: 0.0,
        }
    }
}
