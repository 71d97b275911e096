//! What an edge of the energy grid costs: the speeds that may be flown at an energy, and the cheapest of them for a gain.

use super::super::cruise::ground_speed_m_s;
use super::envelope::{Corners, Table};
use crate::air::{isa, speed};
use crate::aircraft::{AirState, Configuration, Speeds};
use crate::quantity::G_M_S2;
use crate::trip::{AirColumn, Patch, Problem};

/// By so much floor and ceiling may be passed: the rounding of the heights, m.
const HEIGHT_SLACK_M: f64 = 1.0;
/// Rounding by which a bound may pass what it bounds, relative.
const NOISE: f64 = 1e-12;
/// Steps of speed that are leapt over at once while all is too slow.
const LEAP: u32 = 4;
/// No aeroplane of the kind is faster, m/s.
const FASTEST_M_S: f64 = 110.0;

/// One edge tried.
#[derive(Debug, Clone, Copy)]
pub(super) struct Edge {
    pub(super) cost: f64,
    pub(super) time_s: f64,
    pub(super) fuel_kg: f64,
    /// True airspeed, of several edges that of the last, m/s.
    pub(super) tas_m_s: f64,
}

impl Edge {
    pub(super) const NOTHING: Self = Self {
        cost: 0.0,
        time_s: 0.0,
        fuel_kg: 0.0,
        tas_m_s: f64::NAN,
    };

    /// Both, one after the other.
    pub(super) fn and(self, next: Self) -> Self {
        Self {
            cost: self.cost + next.cost,
            time_s: self.time_s + next.time_s,
            fuel_kg: self.fuel_kg + next.fuel_kg,
            tas_m_s: next.tas_m_s,
        }
    }
}

/// Where climb settings may be used: a slower climb than the least would be a cruise with more than cruise power.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Climbing {
    Always,
    Never,
    /// Where energy height is gained at this rate, m/s.
    AtLeast(f64),
}

impl Climbing {
    fn here(self, gain_m: f64, time_s: f64) -> bool {
        match self {
            Self::Always => true,
            Self::Never => false,
            Self::AtLeast(rate_m_s) => gain_m >= rate_m_s * time_s,
        }
    }
}

/// A speed looked at for an edge.
#[derive(Debug, Clone, Copy)]
pub(super) struct Choice {
    thrust_n: f64,
    /// The most thrust there is, N.
    most_n: f64,
    climbs: bool,
    /// No price is lower; infinite where it cannot be flown.
    bound: f64,
    /// Where the thrust there is gives out between the slower speed and this one: the share of the way to this one.
    gives_out: Option<f64>,
}

/// The cheapest way to gain an energy height over a stretch.
///
/// First the least that each speed may cost is found, then what the most promising one costs, then only those are priced that
/// may be cheaper. The greatest speed that the power allows lies between two speeds, and is priced between them. `None` if there is
/// none for less than `most`.
fn cheapest(
    list: &[Condition],
    gain_m: f64,
    climbing: Climbing,
    most: f64,
    choices: &mut Vec<Choice>,
) -> Option<Edge> {
    choices.clear();
    let mut promising = (f64::INFINITY, 0);
    for (i, c) in list.iter().enumerate() {
        let thrust = c.drag_n + c.per_gain_n_m * gain_m;
        let climbs = climbing.here(gain_m, c.time_s);
        let (thrust_n, most_n) = if climbs {
            (thrust, c.most_climb_n)
        } else if thrust < c.least_n - c.gear_n {
            // Thrust cannot go lower; gear may add drag below its speed.
            (f64::INFINITY, c.most_cruise_n)
        } else {
            (thrust.max(c.least_n), c.most_cruise_n)
        };
        let bound = || c.bound(thrust_n);
        let mut choice = Choice {
            thrust_n,
            most_n,
            climbs,
            bound: f64::INFINITY,
            gives_out: None,
        };
        if thrust_n <= most_n {
            choice.bound = bound();
        } else if let Some(slower) = choices
            .last()
            .filter(|s| s.bound < f64::INFINITY && s.gives_out.is_none() && s.climbs == climbs)
            && thrust_n < f64::INFINITY
        {
            let (left, lacking) = (slower.most_n - slower.thrust_n, thrust_n - most_n);
            let share = left / (left + lacking);
            choice.bound = slower.bound + share * (bound() - slower.bound);
            choice.gives_out = Some(share);
        }
        if choice.bound < promising.0 {
            promising = (choice.bound, i);
        }
        choices.push(choice);
    }
    let at = |i: usize| {
        let (c, choice) = (&list[i], &choices[i]);
        let (rate, fuel) = c.corners.at(choice.thrust_n, choice.climbs)?;
        Some(Edge {
            cost: rate * c.time_s,
            time_s: c.time_s,
            fuel_kg: fuel * c.time_s,
            tas_m_s: c.tas_m_s,
        })
    };
    let price = |i: usize| match choices[i].gives_out {
        None => at(i),
        Some(share) => {
            let (slower, faster) = (at(i - 1)?, at(i)?);
            let mix = |a: f64, b: f64| a + share * (b - a);
            Some(Edge {
                cost: mix(slower.cost, faster.cost),
                time_s: mix(slower.time_s, faster.time_s),
                fuel_kg: mix(slower.fuel_kg, faster.fuel_kg),
                tas_m_s: mix(slower.tas_m_s, faster.tas_m_s),
            })
        }
    };
    if promising.0 >= most {
        return None;
    }
    let mut best = price(promising.1).map(|edge| (edge, promising.1));
    for (i, choice) in choices.iter().enumerate() {
        let bound = choice.bound;
        if i == promising.1 || bound == f64::INFINITY || best.is_some_and(|(b, _)| bound > b.cost) {
            continue;
        }
        // Of equals the slowest, in whatever order they are priced.
        if let Some(edge) = price(i)
            && best.is_none_or(|(b, j)| edge.cost < b.cost || (edge.cost == b.cost && i < j))
        {
            best = Some((edge, i));
        }
    }
    best.map(|(edge, _)| edge)
}

/// One speed that may be flown at an energy.
#[derive(Debug, Clone, Copy)]
struct Condition<'a> {
    tas_m_s: f64,
    /// Time over the stretch.
    time_s: f64,
    drag_n: f64,
    /// Thrust for each metre of energy height gained over the stretch.
    per_gain_n_m: f64,
    /// Drag the gear may add.
    gear_n: f64,
    /// Least thrust.
    least_n: f64,
    most_cruise_n: f64,
    most_climb_n: f64,
    /// [`Corners::lines`].
    lines: [(f64, f64); 3],
    corners: Corners<'a>,
}

impl Condition<'_> {
    /// No way to fly the stretch at this speed with a thrust or with more costs less.
    fn bound(&self, thrust_n: f64) -> f64 {
        let lines = self.lines.iter();
        let least = lines
            .map(|line| line.0 + line.1 * thrust_n)
            .fold(f64::NEG_INFINITY, f64::max);
        (least - NOISE * least.abs()) * self.time_s
    }
}

/// The speeds looked at for an energy, and what no flight at any of them costs less than.
#[derive(Debug, Default)]
pub(super) struct AtEnergy<'a> {
    list: Vec<Condition<'a>>,
    /// For a gain of energy height of zero or more, and for any.
    level_or_up: f64,
    any: f64,
}

impl<'a> AtEnergy<'a> {
    /// Looks at an energy height \[m\] of a stretch.
    pub(super) fn look(&mut self, stretch: &Stretch<'a, '_>, energy_m: f64) {
        self.list.clear();
        stretch.conditions(energy_m, &mut self.list);
        // Where the thrust gives out between two speeds, the faster one has its part in the price.
        let least = |thrust_n: &dyn Fn(&Condition) -> f64| {
            let (mut floor, mut slower) = (f64::INFINITY, false);
            for c in &self.list {
                let thrust_n = thrust_n(c);
                let flies = thrust_n <= c.most_climb_n.max(c.most_cruise_n);
                if flies || slower {
                    floor = c.bound(thrust_n).min(floor);
                }
                slower = flies;
            }
            floor
        };
        // In a shear so strong that speed is gained by climbing, thrust may be less than drag there.
        let plain = self.list.iter().all(|c| c.per_gain_n_m >= 0.0);
        self.any = least(&|c| c.least_n);
        self.level_or_up = if plain {
            least(&|c| c.drag_n)
        } else {
            self.any
        };
    }

    /// [`cheapest`] of them.
    pub(super) fn cheapest(
        &self,
        gain_m: f64,
        climbing: Climbing,
        most: f64,
        choices: &mut Vec<Choice>,
    ) -> Option<Edge> {
        let floor = if gain_m >= 0.0 {
            self.level_or_up
        } else {
            self.any
        };
        if floor >= most {
            return None;
        }
        cheapest(&self.list, gain_m, climbing, most, choices)
    }
}

/// The air and the limits over one stretch, as its middle has them.
pub(super) struct Stretch<'a, 'p> {
    pub(super) problem: &'p Problem,
    pub(super) table: &'a Table<'p>,
    /// Middle, m along the route.
    pub(super) middle_m: f64,
    pub(super) length_m: f64,
    /// The air over its middle when the plan is there.
    pub(super) air: AirColumn,
    pub(super) mass_kg: f64,
    /// True heights that may be flown, m.
    pub(super) floor_m: f64,
    pub(super) ceiling_m: f64,
    /// Patches not to be in.
    pub(super) forbidden: Vec<&'p Patch>,
    pub(super) ground_m: f64,
    /// Pressure altitude at true height 0 and its change with true height.
    pub(super) pressure_altitude: (f64, f64),
    pub(super) speed_step_m_s: f64,
    /// Slowest and fastest true airspeed that is looked at, m/s.
    pub(super) speeds_m_s: (f64, f64),
    /// See [`Table::corners`].
    pub(super) every: usize,
}

impl<'a> Stretch<'a, '_> {
    fn pressure_altitude_m(&self, true_altitude_m: f64) -> f64 {
        self.pressure_altitude.0 + self.pressure_altitude.1 * true_altitude_m
    }

    /// Every speed looked at that may be flown at an energy height \[m\].
    fn conditions(&self, energy_m: f64, list: &mut Vec<Condition<'a>>) {
        let (p, s_m, mass) = (self.problem, self.middle_m, self.mass_kg);
        let aircraft = &p.aircraft;
        let most_kg = aircraft.masses.max_take_off_kg;
        // Indicated altitude is pressure altitude and this.
        let indicated_m = p.indicated_m(s_m, 0.0);
        // Airspeeds are compared as impact pressures, which are the cheaper to find.
        let impact_of = |ias: f64| speed::cas_to_impact_pa(aircraft.cas_from_ias(ias));
        let least_pa = impact_of(aircraft.least_cruise_m_s(mass));
        let gear_pa = impact_of(aircraft.speeds.vlo_extend_m_s);
        let most_pa = impact_of(aircraft.speeds.vne_m_s.max(aircraft.speeds.vno_m_s));
        // The limit of the air is the same at most speeds.
        let mut last_top = (f64::NAN, f64::NAN);
        let mut impact_of_top = |top: f64| {
            if top != last_top.0 {
                last_top = (top, impact_of(top));
            }
            last_top.1
        };
        let true_altitude_m = |v: f64| energy_m - v * v / (2.0 * G_M_S2);
        // The air at a pressure altitude, and what a speed there comes to.
        let at = |v: f64, hp: f64| {
            let sample = self.air.at(hp);
            let air = AirState::new(isa::pressure_pa(hp), sample.temperature_k);
            let impact_pa = speed::mach_to_impact_pa(v / air.sound_m_s, air.pressure_pa);
            (sample, air, impact_pa)
        };
        // What a speed means at this energy, and by how much it stays below the limit of the air.
        let mut look = |v: f64| {
            let z = true_altitude_m(v);
            if z < self.floor_m - HEIGHT_SLACK_M || z > self.ceiling_m + HEIGHT_SLACK_M {
                return None;
            }
            let hp = self.pressure_altitude_m(z);
            let inside = |x: &&Patch| {
                let h = hp + indicated_m;
                h > x.low_m + HEIGHT_SLACK_M && h < x.high_m - HEIGHT_SLACK_M
            };
            if self.forbidden.iter().any(inside) {
                return None;
            }
            let (sample, air, impact_pa) = at(v, hp);
            let top = p.limits.speed_limit_m_s(
                &aircraft.speeds,
                mass / most_kg,
                hp + indicated_m,
                z - self.ground_m,
            );
            Some((hp, air, sample, impact_pa, impact_of_top(top) - impact_pa))
        };
        // Slower than the slowest there is nothing, and at an energy the airspeed grows with speed.
        let slow = |v: f64| at(v, self.pressure_altitude_m(true_altitude_m(v))).2 < least_pa;
        let leap = |v: f64| (0..LEAP).fold(v, |v, _| v + self.speed_step_m_s);
        let mut within: Option<(f64, f64)> = None;
        let mut v = 1.1 * Speeds::at_mass(aircraft.speeds.vs_m_s, mass, most_kg);
        while leap(v) < FASTEST_M_S && slow(leap(v)) {
            v = leap(v);
        }
        let (slowest, fastest) = self.speeds_m_s;
        while v + self.speed_step_m_s <= slowest {
            v += self.speed_step_m_s;
        }
        while v < fastest.min(FASTEST_M_S) {
            let mut here = v;
            v += self.speed_step_m_s;
            let slower = within.take();
            let Some(mut seen) = look(here) else {
                continue;
            };
            if seen.4 >= 0.0 {
                within = Some((here, seen.4));
            } else if let Some((last, room)) = slower {
                // The limit itself lies between the last speed and this one, and is flown more than any other.
                here = last + (here - last) * room / (room - seen.4);
                let Some(limit) = look(here) else {
                    continue;
                };
                seen = limit;
            } else if seen.3 > most_pa {
                // Faster still the air speed only grows, for height is lost.
                break;
            } else {
                continue;
            }
            let (hp, air, sample, impact_pa, _) = seen;
            if impact_pa < least_pa {
                continue;
            }
            let gs = ground_speed_m_s(here, &sample);
            if gs < 5.0 {
                continue;
            }
            let Some(corners) = self.table.corners(hp, here, self.every) else {
                continue;
            };
            let drag = |gear_down| {
                let configuration = Configuration {
                    gear_down,
                    ..Configuration::default()
                };
                aircraft.drag_n(air, here, mass, configuration)
            };
            let drag_n = drag(false);
            let (most_cruise_n, most_climb_n) = corners.most_n();
            list.push(Condition {
                tas_m_s: here,
                time_s: self.length_m / gs,
                drag_n,
                per_gain_n_m: mass * G_M_S2 * (gs / here) / self.length_m
                    * (1.0 + here / G_M_S2 * sample.along_per_m),
                gear_n: if impact_pa <= gear_pa {
                    drag(true) - drag_n
                } else {
                    0.0
                },
                least_n: corners.least_n(),
                most_cruise_n,
                most_climb_n,
                lines: corners.lines(),
                corners,
            });
        }
    }
}
