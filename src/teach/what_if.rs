//! What happens when one lever moves alone: RPM, manifold pressure or mixture; and why the order of two moves matters.
//!
//! Every state is steady level flight with its levers ([`Aircraft::level_flight`]), so the speed has settled; the corners between two
//! moves are at the speed of the first state, for a hand is quicker than an aeroplane. Brake mean effective pressure is
//! `p = 2 P / (V n)` for a four-stroke engine of displacement `V` at `n` rev/s. Source: Heywood, Internal Combustion Engine Fundamentals
//! (1988), section 2.7 (from memory).

use crate::air::isa;
use crate::aircraft::engine::Intake;
use crate::aircraft::{
    AirState, Aircraft, Configuration, Governed, Levers, Performance, Refusal, Throttle, Warmth,
};
use crate::quantity::{G_M_S2, M_PER_FT, PA_PER_INHG};
use crate::tables::settings::speed_refusals;

/// Float noise in a comparison of two manifold pressures, relative.
const NOISE: f64 = 1e-9;
/// Steps of RPM alone, rev/s (100 rpm), either way.
const REV_STEP_S: f64 = 100.0 / 60.0;
/// How many of them each way.
const REV_STEPS: i32 = 4;
/// Steps of manifold pressure alone, Pa (1 in), either way.
const MAP_STEP_PA: f64 = PA_PER_INHG;
/// How many of them each way.
const MAP_STEPS: i32 = 4;
/// Pieces in which a path at a fixed throttle is drawn.
const PIECES: u32 = 24;
/// Pieces in which the limit line is drawn, a few rpm each.
const LINE_PIECES: u32 = 240;
/// Usual power from which the lesson starts, where the profile allows it.
const USUAL_POWER: f64 = 0.65;
/// Usual move to less: RPM, rev/s (300 rpm).
const USUAL_LESS_REV_S: f64 = 300.0 / 60.0;
/// Usual move to less: manifold pressure, Pa (4 in).
const USUAL_LESS_PA: f64 = 4.0 * PA_PER_INHG;
/// Usual pressure altitude of the high field, m (7,000 ft).
const USUAL_FIELD_M: f64 = 7_000.0 * M_PER_FT;
/// Usual pressure altitude of the cruise, m (6,000 ft).
pub const USUAL_CRUISE_M: f64 = 6_000.0 * M_PER_FT;

/// What is asked.
#[derive(Debug, Clone, PartialEq)]
pub struct WhatIfAsk {
    /// Pressure altitude, m.
    pub pressure_altitude_m: f64,
    /// Temperature.
    pub warmth: Warmth,
    /// Mass, kg.
    pub mass_kg: f64,
    /// Manifold pressure now, Pa.
    pub map_pa: f64,
    /// Crankshaft speed now, rev/s.
    pub rev_s: f64,
    /// Row of the mixture table now.
    pub mixture: usize,
    /// Manifold pressure to go to, Pa.
    pub to_map_pa: f64,
    /// Crankshaft speed to go to, rev/s.
    pub to_rev_s: f64,
    /// Pressure altitude of the high field, m.
    pub field_m: f64,
}

/// To the step of a lever.
fn settable(x: f64, step: f64) -> f64 {
    (x / step).round() * step
}

impl WhatIfAsk {
    /// The usual lesson at a pressure altitude \[m\]: 65 % of power (or the greatest of cruise), near the middle of the governed speeds,
    /// best power, and from there less of both.
    pub fn usual(aircraft: &Aircraft, pressure_altitude_m: Option<f64>, warmth: Warmth) -> Self {
        let (p, e) = (&aircraft.procedures, &aircraft.engine);
        let pressure_altitude_m = pressure_altitude_m.unwrap_or(USUAL_CRUISE_M);
        let air = warmth.air(pressure_altitude_m);
        let mixture = e.best_power_mixture();
        let high = aircraft.propeller.highest_governed_rev_s;
        let rev_s = settable(high - USUAL_LESS_REV_S, REV_STEP_S)
            .clamp(aircraft.propeller.lowest_governed_rev_s, high);
        let power_w = USUAL_POWER.min(p.cruise_power_fraction) * e.spec.rated_power_w;
        let intake = aircraft.intake(air, aircraft.tas_from_ias(air, aircraft.speeds.va_m_s));
        let wanted = e.map_for_power_pa(power_w, rev_s, mixture, intake);
        let full = e.map_pa(Throttle::Full, rev_s, intake);
        let map_pa = p.map_step_pa * (wanted.min(full) / p.map_step_pa).floor();
        let mut ask = Self {
            pressure_altitude_m,
            warmth,
            mass_kg: aircraft.masses.max_take_off_kg,
            map_pa,
            rev_s,
            mixture,
            to_map_pa: map_pa,
            to_rev_s: rev_s,
            field_m: USUAL_FIELD_M,
        };
        ask.usual_target(aircraft);
        ask
    }

    /// Less of both levers from where they are, as far as the profile has it.
    pub fn usual_target(&mut self, aircraft: &Aircraft) {
        let p = &aircraft.procedures;
        self.to_map_pa = (self.map_pa - USUAL_LESS_PA)
            .max(p.least_descent_map_pa)
            .min(self.map_pa);
        self.to_rev_s = (self.rev_s - USUAL_LESS_REV_S)
            .max(aircraft.propeller.lowest_governed_rev_s)
            .min(self.rev_s);
    }
}

/// Steady level flight with a setting.
#[derive(Debug, Clone, PartialEq)]
pub struct State {
    /// The levers.
    pub levers: Levers,
    /// True airspeed, m/s.
    pub tas_m_s: f64,
    /// Indicated airspeed, m/s.
    pub ias_m_s: f64,
    /// What the aircraft does there.
    pub performance: Performance,
    /// Brake mean effective pressure, Pa.
    pub mean_effective_pa: f64,
    /// Why it is not to be used, the weightiest first; empty if it is.
    pub refusals: Vec<Refusal>,
}

/// A place on the two gauges.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gauges {
    /// Crankshaft speed, rev/s.
    pub rev_s: f64,
    /// Manifold pressure, Pa.
    pub map_pa: f64,
}

/// A way from one setting to another.
#[derive(Debug, Clone, PartialEq)]
pub struct Way {
    /// Places on the way.
    pub points: Vec<Gauges>,
    /// The place nearest the limit line, or farthest over it.
    pub worst: Gauges,
    /// Limit line less manifold pressure there, Pa; below zero over the line.
    pub margin_pa: f64,
}

/// Two ways to less: throttle first, and propeller first with the throttle left alone until the propeller is back.
#[derive(Debug, Clone, PartialEq)]
pub struct Ways {
    /// Throttle, then propeller, then the throttle trimmed.
    pub throttle_first: Way,
    /// Propeller, then throttle.
    pub propeller_first: Way,
    /// Manifold pressure after the propeller alone came back, Pa.
    pub risen_pa: f64,
    /// From full throttle at the highest governed speed with the propeller alone brought back, where the limit line is met; `None` if
    /// nowhere.
    pub full_throttle_meets: Option<Gauges>,
    /// Manifold pressure at full throttle and the highest governed speed, Pa.
    pub full_throttle_pa: f64,
}

/// The limit line at one crankshaft speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Square {
    /// Crankshaft speed, rev/s.
    pub rev_s: f64,
    /// RPM/100 inches, Pa.
    pub square_pa: f64,
    /// The limit, Pa.
    pub limit_pa: f64,
    /// Brake mean effective pressure at the limit over that at rated power; sea level, standard day, full rich.
    pub effort_at_limit: f64,
    /// The same at RPM/100 inches.
    pub effort_at_square: f64,
}

/// A go-around from the high field with one mixture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GoAround {
    /// Row of the mixture table.
    pub mixture: usize,
    /// Full throttle, highest governed speed, at Vy.
    pub performance: Performance,
    /// Rate of climb, clean, m/s.
    pub climb_m_s: f64,
}

/// The lesson.
#[derive(Debug, Clone, PartialEq)]
pub struct WhatIf {
    /// What was asked.
    pub ask: WhatIfAsk,
    /// Temperature, K.
    pub temperature_k: f64,
    /// Now.
    pub here: State,
    /// RPM alone, the highest first; now among them.
    pub by_rev: Vec<State>,
    /// Manifold pressure alone, the highest first; now among them.
    pub by_map: Vec<State>,
    /// Every mixture of the table with the other levers where they are.
    pub by_mixture: Vec<State>,
    /// The two ways to less.
    pub ways: Ways,
    /// The limit line against RPM/100, every 200 rpm.
    pub square: Vec<Square>,
    /// The limit line to be drawn, from the lowest governed speed to the highest.
    pub limit_line: Vec<Gauges>,
    /// Density altitude of the high field, m.
    pub field_density_m: f64,
    /// Mixture that the profile takes for full power there.
    pub field_mixture: usize,
    /// A go-around there with every mixture that is allowed full power, or for which the profile asks.
    pub go_around: Vec<GoAround>,
}

/// Why there is no lesson.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum WhatIfError {
    /// There is no propeller lever.
    #[error("a fixed-pitch propeller has no lever to move")]
    FixedPitch,
    /// The levers do not hold level flight.
    #[error("this setting does not hold level flight here")]
    NotLevel,
    /// Full throttle gives less.
    #[error("full throttle does not give this manifold pressure here")]
    OutOfReach,
}

struct Lesson<'a> {
    aircraft: &'a Aircraft,
    ask: &'a WhatIfAsk,
    air: AirState,
}

impl Lesson<'_> {
    fn effective_pa(&self, power_w: f64, rev_s: f64) -> f64 {
        2.0 * power_w / (self.aircraft.engine.spec.displacement_m3 * rev_s)
    }

    /// Level flight with a setting; `None` if there is none.
    fn state(&self, map_pa: f64, rev_s: f64, mixture: usize) -> Option<State> {
        let a = self.aircraft;
        let levers = Levers {
            throttle: Throttle::Map(map_pa),
            rev_s,
            mixture,
        };
        let tas_m_s = a
            .level_flight(self.air, self.ask.mass_kg, |_| levers)?
            .tas_m_s;
        let performance = a.perform(self.air, tas_m_s, levers);
        let ias_m_s = a.ias_from_tas(self.air, tas_m_s);
        let mut refusals = Vec::new();
        if performance.map_pa < map_pa * (1.0 - NOISE) {
            refusals.push(Refusal::OutOfReach);
        }
        refusals.extend(a.refusals(&performance, mixture));
        if !matches!(performance.governed, Governed::Yes | Governed::Stopped) {
            refusals.push(Refusal::PitchStop(performance.governed));
        }
        let least_m_s = a.least_cruise_m_s(self.ask.mass_kg);
        refusals.extend(speed_refusals(a, ias_m_s, least_m_s));
        let mean_effective_pa = self.effective_pa(
            performance.shaft_power_w / f64::from(a.engines.max(1)),
            performance.rev_s,
        );
        Some(State {
            levers,
            tas_m_s,
            ias_m_s,
            performance,
            mean_effective_pa,
            refusals,
        })
    }

    /// The place nearest the limit line.
    fn way(&self, points: Vec<Gauges>) -> Way {
        let margin = |g: &Gauges| self.aircraft.map_limit_pa(g.rev_s) - g.map_pa;
        let mut worst = Gauges {
            rev_s: self.ask.rev_s,
            map_pa: self.ask.map_pa,
        };
        for p in &points {
            if margin(p) < margin(&worst) {
                worst = *p;
            }
        }
        Way {
            margin_pa: margin(&worst),
            points,
            worst,
        }
    }

    /// Places on the gauges as the propeller alone moves with the throttle left at a place.
    fn propeller_alone(&self, from: Gauges, to_rev_s: f64, intake: Intake) -> Vec<Gauges> {
        let engine = &self.aircraft.engine;
        let throttle = Throttle::Fixed(engine.conductance(from.map_pa, from.rev_s, intake));
        (0..=PIECES)
            .map(|i| {
                let rev_s = from.rev_s + (to_rev_s - from.rev_s) * f64::from(i) / f64::from(PIECES);
                Gauges {
                    rev_s,
                    map_pa: engine.map_pa(throttle, rev_s, intake),
                }
            })
            .collect()
    }

    fn ways(&self, tas_m_s: f64) -> Ways {
        let (a, ask) = (self.aircraft, self.ask);
        let intake = a.intake(self.air, tas_m_s);
        let gauges = |map_pa, rev_s| Gauges { rev_s, map_pa };
        let (here, target) = (
            gauges(ask.map_pa, ask.rev_s),
            gauges(ask.to_map_pa, ask.to_rev_s),
        );
        let mut first = vec![here];
        first.extend(self.propeller_alone(gauges(ask.to_map_pa, ask.rev_s), ask.to_rev_s, intake));
        first.push(target);
        let mut second = self.propeller_alone(here, ask.to_rev_s, intake);
        let risen_pa = second.last().map_or(ask.map_pa, |g| g.map_pa);
        second.push(target);
        let top = a.propeller.highest_governed_rev_s;
        let full_throttle_pa = a.engine.map_pa(Throttle::Full, top, intake);
        let low = a.propeller.lowest_governed_rev_s;
        let meets = (0..=1_000).find_map(|i| {
            let rev_s = top + (low - top) * f64::from(i) / 1_000.0;
            let map_pa = a.engine.map_pa(Throttle::Full, rev_s, intake);
            (map_pa > a.map_limit_pa(rev_s)).then(|| gauges(map_pa, rev_s))
        });
        Ways {
            throttle_first: self.way(first),
            propeller_first: self.way(second),
            risen_pa,
            full_throttle_meets: meets,
            full_throttle_pa,
        }
    }

    fn square(&self) -> Vec<Square> {
        let a = self.aircraft;
        let sea = AirState::new(isa::SEA_LEVEL_PRESSURE_PA, isa::SEA_LEVEL_TEMPERATURE_K);
        let intake = a.intake(sea, 0.0);
        let rated = self.effective_pa(a.engine.spec.rated_power_w, a.engine.spec.rated_rev_s);
        let rich = a.engine.full_rich_mixture();
        let p = &a.propeller;
        let step = 2.0 * REV_STEP_S;
        let first = (p.highest_governed_rev_s / REV_STEP_S).floor() * REV_STEP_S;
        let least = p.lowest_governed_rev_s.max(0.65 * p.highest_governed_rev_s);
        (0..)
            .map(|i| first - step * f64::from(i))
            .take_while(|&r| r >= least * (1.0 - NOISE))
            .map(|rev_s| {
                let effort = |map_pa: f64| {
                    let power_w = a.engine.at_map(map_pa, rev_s, rich, intake).power_w;
                    self.effective_pa(power_w, rev_s) / rated
                };
                let square_pa = rev_s * 60.0 / 100.0 * PA_PER_INHG;
                let limit_pa = a.map_limit_pa(rev_s);
                Square {
                    rev_s,
                    square_pa,
                    limit_pa,
                    effort_at_limit: effort(limit_pa),
                    effort_at_square: effort(square_pa),
                }
            })
            .collect()
    }

    fn limit_line(&self) -> Vec<Gauges> {
        let p = &self.aircraft.propeller;
        let span = p.highest_governed_rev_s - p.lowest_governed_rev_s;
        (0..=LINE_PIECES)
            .map(|i| p.lowest_governed_rev_s + span * f64::from(i) / f64::from(LINE_PIECES))
            .map(|rev_s| Gauges {
                rev_s,
                map_pa: self.aircraft.map_limit_pa(rev_s),
            })
            .collect()
    }

    fn go_around(&self, air: AirState, wanted: usize) -> Vec<GoAround> {
        let (a, mass_kg) = (self.aircraft, self.ask.mass_kg);
        let ias = a
            .speeds
            .vy_at_m_s(self.ask.field_m, mass_kg, a.masses.max_take_off_kg);
        let tas = a.tas_from_ias(air, ias);
        let drag_n = a.drag_n(air, tas, mass_kg, Configuration::default());
        let rows = a.engine.spec.mixtures.iter().enumerate();
        rows.filter(|(i, m)| *i == wanted || m.max_power_fraction >= 1.0 - NOISE)
            .map(|(mixture, _)| {
                let levers = Levers {
                    throttle: Throttle::Full,
                    rev_s: a.propeller.highest_governed_rev_s,
                    mixture,
                };
                let performance = a.perform(air, tas, levers);
                GoAround {
                    mixture,
                    performance,
                    climb_m_s: (performance.thrust_n - drag_n) * tas / (mass_kg * G_M_S2),
                }
            })
            .collect()
    }
}

/// Works the lesson out.
///
/// # Errors
/// [`WhatIfError`].
pub fn what_if(aircraft: &Aircraft, ask: WhatIfAsk) -> Result<WhatIf, WhatIfError> {
    if aircraft.propeller.is_fixed() {
        return Err(WhatIfError::FixedPitch);
    }
    let air = ask.warmth.air(ask.pressure_altitude_m);
    let lesson = Lesson {
        aircraft,
        ask: &ask,
        air,
    };
    let here = lesson
        .state(ask.map_pa, ask.rev_s, ask.mixture)
        .ok_or(WhatIfError::NotLevel)?;
    if here.refusals.first() == Some(&Refusal::OutOfReach) {
        return Err(WhatIfError::OutOfReach);
    }
    let p = &aircraft.propeller;
    let (low, high) = (
        p.lowest_governed_rev_s * (1.0 - NOISE),
        p.highest_governed_rev_s * (1.0 + NOISE),
    );
    let by_rev = (-REV_STEPS..=REV_STEPS)
        .rev()
        .map(|i| ask.rev_s + f64::from(i) * REV_STEP_S)
        .filter(|r| (low..=high).contains(r))
        .filter_map(|r| lesson.state(ask.map_pa, r, ask.mixture))
        .collect();
    let by_map = (-MAP_STEPS..=MAP_STEPS)
        .rev()
        .map(|i| ask.map_pa + f64::from(i) * MAP_STEP_PA)
        .filter_map(|m| lesson.state(m, ask.rev_s, ask.mixture))
        .filter(|s| s.refusals.first() != Some(&Refusal::OutOfReach))
        .collect();
    let by_mixture = (0..aircraft.engine.spec.mixtures.len())
        .filter_map(|m| lesson.state(ask.map_pa, ask.rev_s, m))
        .collect();
    let field = ask.warmth.air(ask.field_m);
    let field_density_m = isa::altitude_of_density_m(field.density_kg_m3);
    let field_mixture = aircraft.high_power_mixture(field_density_m);
    Ok(WhatIf {
        temperature_k: air.temperature_k,
        by_rev,
        by_map,
        by_mixture,
        ways: lesson.ways(here.tas_m_s),
        square: lesson.square(),
        limit_line: lesson.limit_line(),
        field_density_m,
        field_mixture,
        go_around: lesson.go_around(field, field_mixture),
        here,
        ask,
    })
}
