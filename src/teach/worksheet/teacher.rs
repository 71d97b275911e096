//! The aircraft as exercises need it: settings that are allowed, what it does there, its glide. Worked out once and remembered.

use crate::aircraft::{
    AirState, Aircraft, Configuration, Gear, GlidePropeller, Governed, Levers, Throttle, Warmth,
};
use crate::quantity::Draw;
use crate::quantity::{KG_PER_LB, M_PER_FT, M_S_PER_KT, M3_PER_GAL, PA_PER_INHG};
use crate::tables::settings::{SettingsAsk, settings};
use crate::teach::glide::{GlideAsk, GlideStudy, study};
use std::cell::{OnceCell, RefCell};
use std::collections::BTreeMap;

/// Highest level of an exercise, ft: below it no oxygen is needed (14 CFR 91.211, 12,500 ft).
pub(super) const HIGHEST_FT: f64 = 12_000.0;
/// Height above the ground from which the remembered glides start, ft.
const GLIDE_FROM_FT: f64 = 6_000.0;

/// A setting in level flight, in cockpit units, not rounded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Cruise {
    pub map_in: f64,
    pub power_percent: f64,
    pub gph: f64,
    pub tas_kt: f64,
    pub ias_kt: f64,
}

/// A best glide with the engine dead and the throttle shut, at one weight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Gliding {
    pub weight_lb: f64,
    pub tas_kt: f64,
    pub ias_kt: f64,
    pub ratio: f64,
    /// The propeller windmills at this, RPM.
    pub rpm: f64,
    /// The same with the lever back, at its own best speed, where that does something.
    pub back: Option<(f64, f64)>,
}

/// What is held in a cruise of an exercise.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Held {
    /// Altitude, ft; RPM; per cent of rated power, 0 at fixed pitch.
    Power(i32, i32, i32),
    /// Altitude, ft; RPM; tenths of an inch.
    Map(i32, i32, i32),
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "drawn numbers are small and whole"
)]
fn whole(x: f64) -> i32 {
    x.round() as i32
}

/// Works out and remembers what exercises ask of an aircraft.
#[derive(Debug)]
pub struct Teacher<'a> {
    aircraft: &'a Aircraft,
    cruises: RefCell<BTreeMap<Held, Option<Cruise>>>,
    glides: OnceCell<Vec<Gliding>>,
}

impl<'a> Teacher<'a> {
    /// Of an aircraft; works nothing out yet.
    pub fn new(aircraft: &'a Aircraft) -> Self {
        Self {
            aircraft,
            cruises: RefCell::default(),
            glides: OnceCell::new(),
        }
    }

    /// The aircraft.
    pub fn aircraft(&self) -> &'a Aircraft {
        self.aircraft
    }

    pub(super) fn fixed(&self) -> bool {
        self.aircraft.propeller.is_fixed()
    }

    pub(super) fn retractable(&self) -> bool {
        self.aircraft.equipment.gear == Gear::Retractable
    }

    /// Standard air at a pressure altitude \[ft\].
    pub(super) fn air(altitude_ft: f64) -> AirState {
        Warmth::AboveStandard(0.0).air(altitude_ft * M_PER_FT)
    }

    pub(super) fn gph(&self, kg_s: f64) -> f64 {
        kg_s * 3600.0 / (self.aircraft.fuel.density_kg_m3 * M3_PER_GAL)
    }

    /// True airspeed [kt] of an indicated one [kt] at a pressure altitude [ft] on a standard day.
    pub(super) fn tas_kt(&self, altitude_ft: f64, ias_kt: f64) -> f64 {
        let air = Self::air(altitude_ft);
        self.aircraft.tas_from_ias(air, ias_kt * M_S_PER_KT) / M_S_PER_KT
    }

    /// A crankshaft speed to cruise with, in hundreds.
    pub(super) fn draw_rpm(&self, draw: &mut Draw) -> f64 {
        let p = &self.aircraft.propeller;
        let high = (p.highest_governed_rev_s * 0.6).floor() * 100.0;
        let low = (p.lowest_governed_rev_s * 0.6).ceil() * 100.0;
        draw.step(
            low.max((0.0075 * high).ceil() * 100.0).min(high),
            high,
            100.0,
        )
    }

    /// A setting that is allowed at an altitude: RPM, per cent of power and what comes of it; `None` if the drawing is not allowed.
    pub(super) fn draw_cruise(
        &self,
        draw: &mut Draw,
        altitude_ft: f64,
    ) -> Option<(f64, f64, Cruise)> {
        let rpm = self.draw_rpm(draw);
        let most = (self.aircraft.procedures.cruise_power_fraction * 20.0).floor() * 5.0;
        let power = draw.step(50.0_f64.min(most), most, 5.0);
        Some((rpm, power, self.cruise(altitude_ft, rpm, power)?))
    }

    /// Level flight with a power [%] (at fixed pitch with the throttle that gives the RPM), if the setting is allowed.
    pub(super) fn cruise(&self, altitude_ft: f64, rpm: f64, power: f64) -> Option<Cruise> {
        let power = if self.fixed() { 0.0 } else { power };
        let key = Held::Power(whole(altitude_ft), whole(rpm), whole(power));
        self.remembered(key, || {
            let mut ask = SettingsAsk::usual(self.aircraft);
            ask.pressure_altitude_m = vec![altitude_ft * M_PER_FT];
            ask.rev_s = vec![rpm / 60.0];
            ask.powers = vec![power / 100.0];
            // At fixed pitch full throttle comes first; the last row is the one with the RPM. Its first cell holds what was asked.
            let table = settings(self.aircraft, ask);
            let s = *table.rows.last()?.cells.first()?.as_ref().ok()?;
            Some(Cruise {
                map_in: s.performance.map_pa / PA_PER_INHG,
                power_percent: s.performance.power_fraction * 100.0,
                gph: self.gph(s.performance.fuel_kg_s),
                tas_kt: s.tas_m_s / M_S_PER_KT,
                ias_kt: s.ias_m_s / M_S_PER_KT,
            })
        })
    }

    /// Level flight with a manifold pressure [in], if the setting is allowed; best-power mixture.
    pub(super) fn cruise_at_map(&self, altitude_ft: f64, rpm: f64, map_in: f64) -> Option<Cruise> {
        let key = Held::Map(whole(altitude_ft), whole(rpm), whole(10.0 * map_in));
        self.remembered(key, || {
            let a = self.aircraft;
            let air = Self::air(altitude_ft);
            let mass_kg = a.masses.max_take_off_kg;
            let mixture = a.engine.best_power_mixture();
            let levers = Levers {
                throttle: Throttle::Map(map_in * PA_PER_INHG),
                rev_s: rpm / 60.0,
                mixture,
            };
            let flight = a.level_flight(air, mass_kg, |_| levers)?;
            let set = a.perform(air, flight.tas_m_s, levers);
            let ias_m_s = a.ias_from_tas(air, flight.tas_m_s);
            let held = set.governed == Governed::Yes
                && (set.map_pa / PA_PER_INHG - map_in).abs() < 0.01
                && ias_m_s >= a.least_cruise_m_s(mass_kg)
                && ias_m_s <= a.speeds.vno_m_s
                && a.refusals(&set, mixture).next().is_none();
            held.then(|| Cruise {
                map_in,
                power_percent: set.power_fraction * 100.0,
                gph: self.gph(set.fuel_kg_s),
                tas_kt: flight.tas_m_s / M_S_PER_KT,
                ias_kt: ias_m_s / M_S_PER_KT,
            })
        })
    }

    fn remembered(&self, key: Held, work: impl FnOnce() -> Option<Cruise>) -> Option<Cruise> {
        if let Some(&known) = self.cruises.borrow().get(&key) {
            return known;
        }
        let new = work();
        self.cruises.borrow_mut().insert(key, new);
        new
    }

    /// Fuel that can be used, gal.
    pub(super) fn usable_gal(&self) -> f64 {
        let fuel = self.aircraft.fuel;
        fuel.usable_kg / (fuel.density_kg_m3 * M3_PER_GAL)
    }

    /// Levers of a slow-down: a manifold pressure [in] and RPM; at fixed pitch the throttle shut.
    fn let_down(&self, rpm: f64, map_in: f64) -> Levers {
        Levers {
            throttle: if self.fixed() {
                Throttle::Shut
            } else {
                Throttle::Map(map_in * PA_PER_INHG)
            },
            rev_s: rpm / 60.0,
            mixture: self.aircraft.engine.best_power_mixture(),
        }
    }

    /// Fuel flow [gph] at a pressure altitude [ft] and indicated airspeed [kt] with a manifold pressure [in] and RPM, at fixed pitch with the
    /// throttle that gives the RPM; `None` where these are not to be had.
    pub(super) fn descent_gph(
        &self,
        altitude_ft: f64,
        ias_kt: f64,
        rpm: f64,
        map_in: f64,
    ) -> Option<f64> {
        let a = self.aircraft;
        let air = Self::air(altitude_ft);
        let tas = a.tas_from_ias(air, ias_kt * M_S_PER_KT);
        let mut levers = self.let_down(rpm, map_in);
        if self.fixed() {
            levers.throttle = Throttle::Rpm;
        }
        let set = a.perform(air, tas, levers);
        let map_held = self.fixed() || (set.map_pa / PA_PER_INHG - map_in).abs() < 0.01;
        let as_set = map_held && (set.rev_s * 60.0 - rpm).abs() < 1.0;
        as_set.then(|| self.gph(set.fuel_kg_s))
    }

    /// Seconds in which level flight slows from one indicated airspeed [kt] to another, clean, at the greatest take-off weight: Simpson's
    /// rule over `m dV / (D - T)`. `None` where drag does not exceed thrust.
    pub(super) fn slow_down_s(
        &self,
        altitude_ft: f64,
        from_kt: f64,
        to_kt: f64,
        rpm: f64,
        map_in: f64,
    ) -> Option<f64> {
        /// Even, and fine enough for a tenth of a second.
        const PIECES: u32 = 16;
        let a = self.aircraft;
        let air = Self::air(altitude_ft);
        let mass_kg = a.masses.max_take_off_kg;
        let [fast, slow] = [from_kt, to_kt].map(|kt| a.tas_from_ias(air, kt * M_S_PER_KT));
        let width = (fast - slow) / f64::from(PIECES);
        let mut sum = 0.0;
        for i in 0..=PIECES {
            let v = slow + width * f64::from(i);
            let thrust_n = a.perform(air, v, self.let_down(rpm, map_in)).thrust_n;
            let brake_n = a.drag_n(air, v, mass_kg, Configuration::default()) - thrust_n;
            if brake_n <= 0.0 {
                return None;
            }
            let weight = match i {
                0 | PIECES => 1.0,
                i if i % 2 == 1 => 4.0,
                _ => 2.0,
            };
            sum += weight * mass_kg / brake_n;
        }
        Some(sum * width / 3.0)
    }

    /// The best glides at three weights, engine dead and throttle shut.
    pub(super) fn glides(&self) -> &[Gliding] {
        self.glides.get_or_init(|| {
            let m = self.aircraft.masses;
            let ten_lb = |part: f64| {
                let kg = m.empty_kg + part * (m.max_take_off_kg - m.empty_kg);
                ((kg / KG_PER_LB / 10.0).floor() * 10.0 * KG_PER_LB).max(m.empty_kg)
            };
            let all = study(
                self.aircraft,
                GlideAsk {
                    masses_kg: [1.0, 0.7, 0.4].map(ten_lb).to_vec(),
                    ground_m: 0.0,
                    height_m: GLIDE_FROM_FT * M_PER_FT,
                    warmth: Warmth::AboveStandard(0.0),
                    head_wind_m_s: 0.0,
                },
            );
            gliding(&all)
        })
    }
}

/// Cockpit figures of a study.
fn gliding(all: &GlideStudy) -> Vec<Gliding> {
    let governs = all.lever.is_some_and(|l| l.governs);
    let each = all.ask.masses_kg.iter().zip(&all.masses);
    each.filter_map(|(kg, cases)| {
        let of = |propeller| cases.iter().find(|g| g.case.propeller == propeller);
        // The first case of each kind is that of the dead engine with the throttle shut.
        let forward = of(GlidePropeller::LeverForward)?.still;
        let back = of(GlidePropeller::LeverBack).filter(|_| governs);
        Some(Gliding {
            weight_lb: kg / KG_PER_LB,
            tas_kt: forward.tas_m_s / M_S_PER_KT,
            // Up: at fixed pitch the best may lie where a slower propeller stops.
            ias_kt: (forward.ias_m_s / M_S_PER_KT).ceil(),
            ratio: forward.ratio,
            rpm: 10.0 * (forward.performance.rev_s * 6.0).round(),
            back: back.map(|b| (b.still.ratio, b.still.ias_m_s / M_S_PER_KT)),
        })
    })
    .collect()
}
