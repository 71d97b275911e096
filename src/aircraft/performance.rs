//! One flight condition: what the aeroplane does with its levers where they are.

use super::engine::{EngineOutput, Intake, Throttle};
use super::propeller::{Absorbed, Balance, Nearby};
use super::{Aircraft, Configuration, Feathered, HubWithoutOil};
use crate::air::isa::GAS_CONSTANT_J_KG_K;
use std::cell::Cell;
use std::f64::consts::TAU;

/// The search for the speed on the high stop or at a fixed pitch ends at this many times the highest governed speed; the
/// performance reported there is not a balance, and far beyond every limit.
pub const OVERSPEED: f64 = 1.5;

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
        Self {
            pressure_pa,
            temperature_k,
            density_kg_m3: pressure_pa / (GAS_CONSTANT_J_KG_K * temperature_k),
            sound_m_s: (1.4 * GAS_CONSTANT_J_KG_K * temperature_k).sqrt(),
        }
    }
}

/// The three levers; two with a fixed pitch. Engines of a twin are set alike.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Levers {
    /// Throttle.
    pub throttle: Throttle,
    /// Crankshaft speed set by the propeller lever, rev/s. Fixed pitch: what the tachometer is to show with [`Throttle::Rpm`], and
    /// nothing with any other throttle.
    pub rev_s: f64,
    /// Row of the mixture table.
    pub mixture: usize,
}

/// Whether the speed that is set is held.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Governed {
    /// It is: by the governor, or at fixed pitch by the throttle ([`Throttle::Rpm`]).
    Yes,
    /// Fixed pitch, and the speed is what balances at this throttle.
    FixedPitch,
    /// The blades are on the low pitch stop and the speed has sagged.
    OnLowStop,
    /// The blades are on the high pitch stop and the speed has risen.
    OnHighStop,
    /// No steady speed was found: the propeller stops.
    Stopped,
}

/// What the aeroplane does: instrument readings of one engine, power, thrust and fuel flow of all together.
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
    /// Brake power of all engines, W.
    pub shaft_power_w: f64,
    /// Brake power over rated power; the same for one engine and for all.
    pub power_fraction: f64,
    /// Installed thrust of all propellers along the flight path, N.
    pub thrust_n: f64,
    /// Fuel flow of all engines, kg/s.
    pub fuel_kg_s: f64,
}

/// What a pilot gliding without power does with the propeller.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GlidePropeller {
    /// Lever full forward.
    LeverForward,
    /// Lever full back, short of feather. Where the propeller windmills slower than the lowest governed speed this does nothing:
    /// the governor asks for fine pitch all the same.
    LeverBack,
    /// Stopped, blades on the fine stop. For understanding only: nobody should slow down to stop it.
    Stopped,
    /// Feathered and stopped. A hub that cannot feather ([`super::Propeller::feathers`]) does what it does with the lever back.
    Feathered,
}

/// What the engine does in a glide without power.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EngineState {
    /// It runs with the throttle shut, full rich.
    Idling,
    /// Nothing burns; the propeller turns it, or not.
    Dead {
        /// Throttle open rather than shut: the cylinders pump less.
        throttle_open: bool,
        /// Whether the turning engine still makes oil pressure. Without it the hub goes where springs and counterweights take it
        /// ([`HubWithoutOil`]).
        oil_pressure: bool,
    },
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
    /// power balance is solved on the stop (DESIGN section 4, governor). Fixed pitch: the speed is what balances at that pitch, or
    /// with [`Throttle::Rpm`] the throttle is what gives the speed. `tas_m_s` at least zero.
    pub fn perform(&self, air: AirState, tas_m_s: f64, levers: Levers) -> Performance {
        self.perform_near(air, tas_m_s, levers, &Cell::new(Nearby::NONE))
    }

    /// Brake power over rated power with these levers where a governor holds the speed, by the engine alone: `None` where it takes the propeller to
    /// tell. `levers.rev_s` within what the governor can be set to.
    pub(crate) fn governed_power_fraction(
        &self,
        air: AirState,
        tas_m_s: f64,
        levers: Levers,
    ) -> Option<f64> {
        if self.propeller.is_fixed() || self.textbook.is_some() {
            return None;
        }
        let intake = self.intake(air, tas_m_s);
        let held = self
            .engine
            .run(levers.throttle, levers.rev_s, levers.mixture, intake);
        Some(held.power_w / self.engine.spec.rated_power_w)
    }

    /// [`Aircraft::perform`] with blade angle or shaft speed of a condition nearby to begin the search from; what is found is left
    /// there for the next. It makes a sequence of conditions quicker and changes nothing beyond the
    /// tolerance of the search.
    pub fn perform_near(
        &self,
        air: AirState,
        tas_m_s: f64,
        levers: Levers,
        near: &Cell<Nearby>,
    ) -> Performance {
        let intake = self.intake(air, tas_m_s);
        if let Some(textbook) = &self.textbook {
            let fixed_pa = self.engine.map_pa(levers.throttle, levers.rev_s, intake);
            return textbook.perform(air, tas_m_s, levers, fixed_pa);
        }
        let p = &self.propeller;
        let set = levers
            .rev_s
            .clamp(p.lowest_governed_rev_s, p.highest_governed_rev_s);
        let run = |throttle: Throttle, rev_s: f64| {
            self.engine.run(throttle, rev_s, levers.mixture, intake)
        };
        if !p.is_fixed() {
            return self.governed(air, tas_m_s, set, near, set, |rev_s| {
                run(levers.throttle, rev_s)
            });
        }
        let angle = p.stops.low_rad;
        let throttle = if levers.throttle == Throttle::Rpm {
            let load = p
                .table
                .forces(air.density_kg_m3, tas_m_s, set, angle, air.sound_m_s);
            let needed_w = load.torque_n_m * TAU * set;
            let map_pa = self
                .engine
                .map_for_power_pa(needed_w, set, levers.mixture, intake);
            if map_pa > self.engine.map_pa(Throttle::Full, set, intake) {
                Throttle::Full
            } else if map_pa < self.engine.map_pa(Throttle::Shut, set, intake) {
                Throttle::Shut
            } else {
                let engine = self.engine.at_map(map_pa, set, levers.mixture, intake);
                return self.figures(air, tas_m_s, set, angle, Governed::Yes, engine);
            }
        } else {
            levers.throttle
        };
        let set = self.balanced(
            air,
            tas_m_s,
            angle,
            near.get(),
            Governed::FixedPitch,
            |rev_s| run(throttle, rev_s),
        );
        near.set(near.get().balanced(set.rev_s));
        set
    }

    /// [`Aircraft::perform_near`] with a pilot who keeps the propeller under its greatest speed: at fixed pitch the throttle comes back
    /// where RPM would rise above the redline. A governor needs no such help.
    pub fn perform_under_redline(
        &self,
        air: AirState,
        tas_m_s: f64,
        levers: Levers,
        near: &Cell<Nearby>,
    ) -> Performance {
        let set = self.perform_near(air, tas_m_s, levers, near);
        let most_rev_s = self.propeller.highest_governed_rev_s;
        if !self.propeller.is_fixed() || set.rev_s <= most_rev_s {
            return set;
        }
        let held = Levers {
            throttle: Throttle::Rpm,
            rev_s: most_rev_s,
            ..levers
        };
        self.perform_near(air, tas_m_s, held, near)
    }

    /// One state of the shaft.
    fn figures(
        &self,
        air: AirState,
        tas_m_s: f64,
        rev_s: f64,
        angle_rad: f64,
        governed: Governed,
        engine: EngineOutput,
    ) -> Performance {
        let forces = self.propeller.table.forces(
            air.density_kg_m3,
            tas_m_s,
            rev_s,
            angle_rad,
            air.sound_m_s,
        );
        self.whole(rev_s, angle_rad, governed, engine, forces.thrust_n)
    }

    /// The one place where one engine and propeller become the aeroplane's.
    fn whole(
        &self,
        rev_s: f64,
        angle_rad: f64,
        governed: Governed,
        engine: EngineOutput,
        thrust_n: f64,
    ) -> Performance {
        let engines = f64::from(self.engines);
        Performance {
            map_pa: engine.map_pa,
            rev_s,
            blade_angle_rad: angle_rad,
            governed,
            shaft_power_w: engines * engine.power_w,
            power_fraction: engine.power_w / self.engine.spec.rated_power_w,
            thrust_n: engines * thrust_n * self.propeller.installed_factor,
            fuel_kg_s: engines * engine.fuel_kg_s,
        }
    }

    /// The governor set to a speed [rev/s], with an engine that gives `run(rev_s)`. If the blades go onto a stop, the speed there is
    /// looked for first near `near_rev_s`, not a number for none.
    fn governed(
        &self,
        air: AirState,
        tas_m_s: f64,
        set_rev_s: f64,
        near: &Cell<Nearby>,
        near_rev_s: f64,
        run: impl Fn(f64) -> EngineOutput,
    ) -> Performance {
        let p = &self.propeller;
        let engine = run(set_rev_s);
        let (stop, governed) = match p.table.absorb(
            air.density_kg_m3,
            tas_m_s,
            set_rev_s,
            engine.power_w / (TAU * set_rev_s),
            air.sound_m_s,
            p.stops,
            near,
        ) {
            Absorbed::Within {
                angle_rad,
                thrust_n,
            } => {
                return self.whole(set_rev_s, angle_rad, Governed::Yes, engine, thrust_n);
            }
            Absorbed::BelowLowStop => (p.stops.low_rad, Governed::OnLowStop),
            Absorbed::AboveHighStop => (p.stops.high_rad, Governed::OnHighStop),
        };
        let mut from = near.get();
        if from.balanced_rev_s().is_nan() {
            from = from.balanced(near_rev_s);
        }
        let set = self.balanced(air, tas_m_s, stop, from, governed, run);
        near.set(near.get().balanced(set.rev_s));
        set
    }

    /// What balances on one blade angle \[rad\], looked for first near a speed if there is one.
    fn balanced(
        &self,
        air: AirState,
        tas_m_s: f64,
        angle_rad: f64,
        near: Nearby,
        governed: Governed,
        run: impl Fn(f64) -> EngineOutput,
    ) -> Performance {
        let rev_max_s = OVERSPEED * self.propeller.highest_governed_rev_s;
        let on_angle = |rev_s: f64, governed| {
            self.figures(air, tas_m_s, rev_s, angle_rad, governed, run(rev_s))
        };
        match self.propeller.table.rpm_at_blade_angle(
            air.density_kg_m3,
            tas_m_s,
            angle_rad,
            air.sound_m_s,
            rev_max_s,
            near,
            |rev_s| run(rev_s).power_w / (TAU * rev_s),
        ) {
            Balance::Turning { rev_s, thrust_n } => {
                self.whole(rev_s, angle_rad, governed, run(rev_s), thrust_n)
            }
            Balance::Stopped => on_angle(0.0, Governed::Stopped),
            Balance::AboveMaximum => on_angle(rev_max_s, governed),
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
        let governed = if self.propeller.is_fixed() {
            Governed::FixedPitch
        } else if blade_angle_rad == self.propeller.stops.high_rad {
            Governed::OnHighStop
        } else {
            Governed::OnLowStop
        };
        let none = Nearby::NONE;
        self.balanced(air, tas_m_s, blade_angle_rad, none, governed, |rev_s| {
            self.engine.dead(throttle, rev_s, intake)
        })
    }

    /// A glide without power: drag of all propellers as negative thrust \[N\], speed, fuel flow.
    ///
    /// Meaning: what the propeller does is what the hub and governor do. With oil pressure the governor holds the set speed (highest with
    /// the lever forward, lowest with it back) while a blade angle between the stops takes just the torque of the engine; a propeller that windmills
    /// slower than that on the fine stop stays on it. Without oil pressure a fine-going hub lies on the fine stop wherever the lever is; a
    /// coarse-going hub feathers, or lies on the high stop if it cannot. Start locks that keep a slowly turning propeller from feathering
    /// are not modelled. Fixed pitch: the lever is not there, and both positions are the same.
    ///
    /// [`GlidePropeller::Stopped`] and [`GlidePropeller::Feathered`] are dead and still whatever the engine state says; whether the air would
    /// let the propeller stop there is not asked. Equations: the balance of [`Aircraft::perform`], with the torque of
    /// [`super::Engine::dead`], or of the idling engine.
    pub fn glide_drag(
        &self,
        air: AirState,
        tas_m_s: f64,
        propeller: GlidePropeller,
        engine: EngineState,
    ) -> Performance {
        let p = &self.propeller;
        let intake = self.intake(air, tas_m_s);
        let throttle = match engine {
            EngineState::Dead {
                throttle_open: true,
                ..
            } => Throttle::Full,
            _ => Throttle::Shut,
        };
        let run = |rev_s: f64| match engine {
            EngineState::Idling => {
                self.engine
                    .run(throttle, rev_s, self.engine.full_rich_mixture(), intake)
            }
            EngineState::Dead { .. } => self.engine.dead(throttle, rev_s, intake),
        };
        let still = |angle_rad: f64| {
            let dead = self.engine.dead(throttle, 0.0, intake);
            self.figures(air, tas_m_s, 0.0, angle_rad, Governed::Stopped, dead)
        };
        let feathered = |f: Feathered| {
            let dead = self.engine.dead(throttle, 0.0, intake);
            let speed_m2_s = tas_m_s * p.table.diameter_m();
            let thrust_n = f.thrust * air.density_kg_m3 * speed_m2_s * speed_m2_s;
            self.whole(0.0, f.angle_rad, Governed::Stopped, dead, thrust_n)
        };
        let set_rev_s = match (propeller, p.feathered) {
            (GlidePropeller::Stopped, _) => return still(p.stops.low_rad),
            (GlidePropeller::Feathered, Some(f)) => return feathered(f),
            (GlidePropeller::LeverForward, _) => p.highest_governed_rev_s,
            (GlidePropeller::LeverBack | GlidePropeller::Feathered, _) => p.lowest_governed_rev_s,
        };
        if p.is_fixed() {
            return self.balanced(
                air,
                tas_m_s,
                p.stops.low_rad,
                Nearby::NONE,
                Governed::FixedPitch,
                run,
            );
        }
        match engine {
            EngineState::Dead {
                oil_pressure: false,
                ..
            } => match (p.hub, p.feathered) {
                (HubWithoutOil::Fine, _) => self.balanced(
                    air,
                    tas_m_s,
                    p.stops.low_rad,
                    Nearby::NONE,
                    Governed::OnLowStop,
                    run,
                ),
                (HubWithoutOil::Coarse, Some(f)) => feathered(f),
                (HubWithoutOil::Coarse, None) => self.balanced(
                    air,
                    tas_m_s,
                    p.stops.high_rad,
                    Nearby::NONE,
                    Governed::OnHighStop,
                    run,
                ),
            },
            _ => {
                // From above, so that on a stop the lever changes not even the rounding.
                let none = f64::NAN;
                self.governed(air, tas_m_s, set_rev_s, &Cell::new(Nearby::NONE), none, run)
            }
        }
    }
}
