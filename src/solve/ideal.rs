//! Ideal flight: the cheapest flight of this aircraft on this route in the model, with levels, comfort and few lever moves
//! dropped (DESIGN section 6.6).
//!
//! Dynamic programming on (distance, energy height). An edge runs over one stretch from one energy height to another; its cost
//! is the least over the speed of `J/GS` with the thrust the energy equation asks for:
//! `T = D + W (GS/V)(dE/ds)(1 + (V/g) dw/dh)`, `E = h + V²/2g` (the energy-state idea of Erzberger and Lee, J. Guidance and
//! Control 3, 1980). Height and speed may be exchanged freely between stretches. The least cost rate for a thrust comes from the
//! settings envelope, its lower convex hull taken, since a mix of two settings is as good as either (lever moves are free here).
//! Climb settings are allowed on edges that gain at least 500 ft of energy height or belong to the first climb.
//!
//! The start is the end of the initial climb, the end is the pattern point at pattern speed; what lies outside is the plan's own.

use super::plan::Part;
use crate::air::{isa, speed};
use crate::aircraft::{AirState, Configuration, Levers, Speeds, Throttle};
use crate::flight::{Flown, SegmentKind};
use crate::quantity::{G_M_S2, M_PER_FT, M_PER_NM, M_S_PER_KT, PA_PER_INHG};
use crate::trip::{CostRates, PLAIN_CLIMB_M_S, Problem};
use std::cell::Cell;

/// Step of the energy grid, m.
const ENERGY_STEP_M: f64 = 160.0 * M_PER_FT;
/// Stretches, m at most.
const STRETCH_M: f64 = 3.0 * M_PER_NM;
/// Energy height a restarted climb must gain in one stretch, m (DESIGN section 6.6: 500 ft).
const RESTART_M: f64 = 500.0 * M_PER_FT;
/// Speeds per height in the envelope.
const SPEED_STEP_M_S: f64 = 5.0 * M_S_PER_KT;
/// Heights in the envelope, m.
const HEIGHT_STEP_M: f64 = 1_000.0 * M_PER_FT;
/// Steepest change of energy height per distance that is tried.
const STEEPEST: f64 = 0.12;
/// By so much floor and ceiling may be passed: the rounding of the heights, m.
const HEIGHT_SLACK_M: f64 = 1.0;
/// Least manifold pressure in the envelope, Pa.
const LEAST_MAP_PA: f64 = 7.0 * PA_PER_INHG;
/// Steps of thrust by which a hull is entered.
const BINS: u16 = 32;
/// Corners that weigh less than this are left out.
const LEAST_WEIGHT: f64 = 1e-9;
/// Rounding by which a bound may pass what it bounds, relative.
const NOISE: f64 = 1e-12;

/// Lower convex hull of cost rate over thrust: (thrust N, cost per s, fuel kg/s), thrust rising.
#[derive(Debug, Clone, Default)]
struct Hull {
    points: Vec<(f64, f64, f64)>,
    /// For each of [`BINS`] equal steps of thrust, the first point at or beyond its lower end.
    first: Vec<u32>,
    bins_per_n: f64,
}

impl Hull {
    fn of(mut points: Vec<(f64, f64, f64)>) -> Self {
        // More thrust is never needed than asked for, so a point that gives more for less stands for the weaker ones too.
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut hull: Vec<(f64, f64, f64)> = Vec::new();
        for p in points {
            while let [.., a, b] = hull[..] {
                let turn = (b.0 - a.0) * (p.1 - a.1) - (b.1 - a.1) * (p.0 - a.0);
                if turn <= 0.0 {
                    hull.pop()
                } else {
                    break;
                };
            }
            hull.push(p);
        }
        let (low, high) = (
            hull.first().map_or(0.0, |p| p.0),
            hull.last().map_or(0.0, |p| p.0),
        );
        let bins_per_n = f64::from(BINS) / (high - low).max(f64::MIN_POSITIVE);
        let first = (0..BINS)
            .map(|bin| {
                let thrust_n = low + f64::from(bin) / bins_per_n;
                #[expect(clippy::cast_possible_truncation, reason = "a few hundred")]
                let i = hull.partition_point(|p| p.0 < thrust_n).max(1) as u32;
                i
            })
            .collect();
        Self {
            points: hull,
            first,
            bins_per_n,
        }
    }

    /// Least cost rate and its fuel flow for a thrust; beyond the most: the last piece goes on, for the most lies between the
    /// corners of a cell; below the least: the least.
    #[inline]
    fn at(&self, thrust_n: f64) -> Option<(f64, f64)> {
        let h = &self.points;
        let (first, last) = (h.first()?, h.last()?);
        if thrust_n <= first.0 || h.len() < 2 {
            return (thrust_n <= last.0).then_some((first.1, first.2));
        }
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "between the ends"
        )]
        let bin = ((thrust_n - first.0) * self.bins_per_n) as usize;
        let mut i = self.first[bin.min(self.first.len() - 1)] as usize;
        // Rounding may have entered one point late.
        while h[i - 1].0 >= thrust_n {
            i -= 1;
        }
        while i + 1 < h.len() && h[i].0 < thrust_n {
            i += 1;
        }
        let (a, b) = (h[i - 1], h[i]);
        let x = (thrust_n - a.0) / (b.0 - a.0);
        Some((a.1 + x * (b.1 - a.1), a.2 + x * (b.2 - a.2)))
    }

    fn least_n(&self) -> f64 {
        self.points.first().map_or(f64::INFINITY, |p| p.0)
    }

    fn most_n(&self) -> f64 {
        self.points.last().map_or(f64::NEG_INFINITY, |p| p.0)
    }

    /// A straight line that lies nowhere above [`Hull::at`] and touches it at a thrust: cost per s without thrust and for each
    /// newton. Minus infinity if the hull falls there, for it is level below its least thrust.
    fn line_at(&self, thrust_n: f64) -> (f64, f64) {
        let h = &self.points;
        let i = h
            .partition_point(|p| p.0 < thrust_n)
            .clamp(1, h.len().max(2) - 1);
        let (Some(a), Some(b)) = (h.get(i - 1), h.get(i)) else {
            return (f64::NEG_INFINITY, 0.0);
        };
        let slope = (b.1 - a.1) / (b.0 - a.0);
        if slope >= 0.0 {
            (a.1 - slope * a.0, slope)
        } else {
            (f64::NEG_INFINITY, 0.0)
        }
    }
}

/// Settings envelope at one height and speed.
#[derive(Debug, Clone, Default)]
struct Envelope {
    cruise: Hull,
    climb: Hull,
    /// Lines nowhere above either hull: in descent, level and in climb.
    lines: [(f64, f64); 3],
}

struct Table {
    bottom_m: f64,
    slowest_m_s: f64,
    rows: Vec<Vec<Envelope>>,
}

/// Builds the envelope over pressure altitude and true airspeed in the air of the middle of the route.
fn table(problem: &Problem, rates: CostRates, bottom_m: f64, top_m: f64) -> Table {
    let aircraft = &problem.aircraft;
    let slowest = 0.9 * aircraft.speeds.vs_m_s;
    let middle = 0.5 * problem.length_m;
    let mut rows = Vec::new();
    let mut hp = bottom_m;
    while hp < top_m + HEIGHT_STEP_M {
        let (air, _) = problem.air_state(middle, hp);
        let fastest = aircraft.tas_from_ias(air, aircraft.speeds.vno_m_s);
        let density_altitude = isa::density_altitude_m(hp, air.temperature_k);
        let mut row = Vec::new();
        let mut v = slowest;
        while v < fastest + SPEED_STEP_M_S {
            row.push(envelope(problem, rates, air, v, density_altitude));
            v += SPEED_STEP_M_S;
        }
        rows.push(row);
        hp += HEIGHT_STEP_M;
    }
    Table {
        bottom_m,
        slowest_m_s: slowest,
        rows,
    }
}

fn envelope(
    problem: &Problem,
    rates: CostRates,
    air: AirState,
    tas: f64,
    density_altitude_m: f64,
) -> Envelope {
    let aircraft = &problem.aircraft;
    let engine = &aircraft.engine;
    let intake = aircraft.intake(air, tas);
    // Settings are those of one engine; power, thrust and fuel flow below are the aeroplane's.
    let engines = f64::from(aircraft.engines);
    let mut climb = Vec::new();
    let (mut cruise, governed_rev_s) = if aircraft.propeller.is_fixed() {
        (fixed_pitch_settings(problem, rates, air, tas), vec![])
    } else {
        (vec![], super::cruise::settable_rev_s(problem, 100.0 / 60.0))
    };
    for rev_s in governed_rev_s {
        let full = engine.map_pa(Throttle::Full, rev_s, intake);
        let most = full.min(aircraft.map_limit_pa(rev_s));
        // Thrust against brake power at this speed and RPM is smooth: five points, linear between.
        let lowest = LEAST_MAP_PA.min(0.5 * most);
        let best = engine.best_power_mixture();
        let knots = 5;
        let mut curve = Vec::with_capacity(knots + 1);
        for i in 0..=knots {
            #[expect(clippy::cast_precision_loss, reason = "five")]
            let map = lowest + (most - lowest) * i as f64 / knots as f64;
            let set = aircraft.perform(
                air,
                tas,
                Levers {
                    throttle: Throttle::Map(map),
                    rev_s,
                    mixture: best,
                },
            );
            curve.push((set.shaft_power_w, set.thrust_n));
        }
        let thrust = |power: f64| {
            let i = curve
                .partition_point(|c| c.0 < power)
                .clamp(1, curve.len() - 1);
            let ((p0, t0), (p1, t1)) = (curve[i - 1], curve[i]);
            t0 + (t1 - t0) * ((power - p0) / (p1 - p0)).clamp(-0.2, 1.2)
        };
        for (m, mix) in engine.spec.mixtures.iter().enumerate() {
            let band = mix
                .max_power_fraction
                .min(aircraft.procedures.cruise_power_fraction)
                * engine.spec.rated_power_w;
            let at_band = engine.map_for_power_pa(band, rev_s, m, intake);
            let high = most.min(at_band);
            if high <= lowest {
                continue;
            }
            let steps = 8;
            for i in 0..=steps {
                let map = lowest + (high - lowest) * i as f64 / steps as f64;
                if aircraft.in_avoid_band(rev_s, map) {
                    continue;
                }
                let out = engine.at_map(map, rev_s, m, intake);
                cruise.push((
                    thrust(engines * out.power_w),
                    rates.rate(engines * out.fuel_kg_s, rev_s),
                    engines * out.fuel_kg_s,
                ));
            }
        }
    }
    let mixture = aircraft.high_power_mixture(density_altitude_m);
    // Best power in the climb where the rule asks for it or its own band allows it.
    let band = engine.spec.mixtures[engine.best_power_mixture()].max_power_fraction;
    for &rev_s in &aircraft.procedures.climb_rev_s {
        for leaned in [mixture, engine.best_power_mixture()] {
            let levers = Levers {
                throttle: Throttle::Full,
                rev_s,
                mixture: leaned,
            };
            let near = Cell::new(f64::NAN);
            let set = aircraft.perform_under_redline(air, tas, levers, &near);
            if leaned != mixture && set.power_fraction > band {
                continue;
            }
            climb.push((
                set.thrust_n,
                rates.rate(set.fuel_kg_s, set.rev_s),
                set.fuel_kg_s,
            ));
        }
    }
    let cruise = Hull::of(cruise);
    // The points inside the one hull are inside the other.
    climb.extend(cruise.points.iter().copied());
    let climb = Hull::of(climb);
    // The climb has every setting of the cruise, so its hull is nowhere above. Where the lines touch makes them sharp, not right.
    let level_n = aircraft.drag_n(
        air,
        tas,
        aircraft.masses.max_take_off_kg,
        Configuration::default(),
    );
    let lines =
        [climb.least_n(), level_n, climb.most_n()].map(|end| climb.line_at(0.5 * (level_n + end)));
    Envelope {
        cruise,
        climb,
        lines,
    }
}

/// Cruise settings at a fixed pitch: every mixture from a throttle nearly shut to full, power within the band of the mixture.
fn fixed_pitch_settings(
    problem: &Problem,
    rates: CostRates,
    air: AirState,
    tas: f64,
) -> Vec<(f64, f64, f64)> {
    const STEPS: u32 = 20;
    let aircraft = &problem.aircraft;
    let near = Cell::new(f64::NAN);
    let full_pa = aircraft
        .engine
        .map_pa(Throttle::Full, 0.0, aircraft.intake(air, tas));
    let mut found = Vec::new();
    for (mixture, mix) in aircraft.engine.spec.mixtures.iter().enumerate() {
        let most = mix
            .max_power_fraction
            .min(aircraft.procedures.cruise_power_fraction);
        for i in 0..=STEPS {
            let map_pa = LEAST_MAP_PA + (full_pa - LEAST_MAP_PA) * f64::from(i) / f64::from(STEPS);
            let levers = Levers {
                throttle: Throttle::Map(map_pa),
                rev_s: aircraft.propeller.highest_governed_rev_s,
                mixture,
            };
            let set = aircraft.perform_under_redline(air, tas, levers, &near);
            if set.power_fraction <= most && !aircraft.in_avoid_band(set.rev_s, set.map_pa) {
                found.push((
                    set.thrust_n,
                    rates.rate(set.fuel_kg_s, set.rev_s),
                    set.fuel_kg_s,
                ));
            }
        }
    }
    found
}

impl Table {
    /// The corners round a height and a true airspeed with their bilinear weights; `None` beyond the fastest.
    fn corners(&self, hp_m: f64, tas_m_s: f64) -> Option<Corners<'_>> {
        let y = ((hp_m - self.bottom_m) / HEIGHT_STEP_M).max(0.0);
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "not negative"
        )]
        let r = (y as usize).min(self.rows.len() - 2);
        let x = ((tas_m_s - self.slowest_m_s) / SPEED_STEP_M_S).max(0.0);
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "not negative"
        )]
        let c = x as usize;
        #[expect(clippy::cast_precision_loss, reason = "small")]
        let (fy, fx) = ((y - r as f64).clamp(0.0, 1.0), x - c as f64);
        let mut corners = Corners {
            count: 0,
            of: [(&self.rows[r][0], 0.0); 4],
        };
        for (row, wy) in [(r, 1.0 - fy), (r + 1, fy)] {
            for (col, wx) in [(c, 1.0 - fx), (c + 1, fx)] {
                let w = wx * wy;
                if w < LEAST_WEIGHT {
                    continue;
                }
                corners.of[corners.count] = (self.rows[row].get(col)?, w);
                corners.count += 1;
            }
        }
        Some(corners)
    }

    fn least_n(&self, hp_m: f64, tas_m_s: f64) -> f64 {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "not negative"
        )]
        let (r, c) = (
            ((hp_m - self.bottom_m) / HEIGHT_STEP_M).max(0.0).round() as usize,
            ((tas_m_s - self.slowest_m_s) / SPEED_STEP_M_S)
                .max(0.0)
                .round() as usize,
        );
        self.rows[r.min(self.rows.len() - 1)]
            .get(c)
            .map_or(f64::INFINITY, |e| e.cruise.least_n())
    }
}

/// Up to four envelopes with weights.
#[derive(Debug, Clone, Copy)]
struct Corners<'a> {
    count: usize,
    of: [(&'a Envelope, f64); 4],
}

impl<'a> Corners<'a> {
    fn iter(&self) -> impl Iterator<Item = (&'a Envelope, f64)> + '_ {
        self.of[..self.count].iter().copied()
    }

    /// Greatest thrust in cruise and in the climb, between those of the corners.
    fn most_n(&self) -> (f64, f64) {
        (
            self.iter().map(|(e, w)| w * e.cruise.most_n()).sum(),
            self.iter().map(|(e, w)| w * e.climb.most_n()).sum(),
        )
    }

    /// [`Envelope::lines`] between the corners.
    fn lines(&self) -> [(f64, f64); 3] {
        let mut lines = [(0.0, 0.0); 3];
        for (e, w) in self.iter() {
            for (sum, line) in lines.iter_mut().zip(&e.lines) {
                sum.0 += w * line.0;
                sum.1 += w * line.1;
            }
        }
        lines
    }

    /// Least cost per s and fuel flow at a thrust.
    fn at(&self, thrust_n: f64, climb: bool) -> Option<(f64, f64)> {
        let (mut rate, mut fuel) = (0.0, 0.0);
        for (e, w) in self.iter() {
            let hull = if climb { &e.climb } else { &e.cruise };
            let (k, f) = hull.at(thrust_n)?;
            rate += w * k;
            fuel += w * f;
        }
        Some((rate, fuel))
    }
}

/// One edge tried.
#[derive(Debug, Clone, Copy)]
struct Edge {
    cost: f64,
    time_s: f64,
    fuel_kg: f64,
}

/// The cheapest flight from the end of the plan's initial climb to the pattern point, with the plan's weight schedule.
///
/// `None` if the grid holds no flight (a route shorter than two stretches).
pub fn ideal(problem: &Problem, rates: CostRates, plan: &Flown) -> Option<Part> {
    let p = problem;
    let first = plan
        .segments
        .iter()
        .find(|s| s.kind == SegmentKind::InitialClimb)?;
    let begin = plan.track.get(first.last)?;
    let start_m = begin.state.distance_m;
    let end_m = p.length_m - p.arrival.before_m;
    let length = end_m - start_m;
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a few hundred"
    )]
    let n = (length / STRETCH_M).ceil().max(2.0) as usize;
    #[expect(clippy::cast_precision_loss, reason = "a few hundred")]
    let ds = length / n as f64;
    let aircraft = &p.aircraft;
    let end_hp = p.pressure_altitude_m(end_m, p.arrival.pattern_altitude_m);
    let (end_air, end_sample) = p.air_state(end_m, end_hp);
    let end_v = aircraft.tas_from_ias(end_air, aircraft.procedures.pattern_m_s);
    let energy = |z: f64, v: f64| z + v * v / (2.0 * G_M_S2);
    let start_e = energy(begin.true_altitude_m, begin.state.tas_m_s);
    let end_e = energy(end_sample.true_altitude_m, end_v);
    let ceiling_m = p.limits.max_altitude_m;
    let top_e = energy(ceiling_m, 100.0) + 300.0;
    let bottom_e = start_e.min(end_e) - 2.0 * ENERGY_STEP_M;
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a few hundred"
    )]
    let m = ((top_e - bottom_e) / ENERGY_STEP_M).ceil() as usize + 1;
    #[expect(clippy::cast_precision_loss, reason = "a few hundred")]
    let e_of = |i: usize| bottom_e + ENERGY_STEP_M * i as f64;
    let low_hp = begin.state.pressure_altitude_m.min(end_hp) - HEIGHT_STEP_M;
    let table = table(p, rates, low_hp, ceiling_m + HEIGHT_STEP_M);
    let max_kg = aircraft.masses.max_take_off_kg;
    let mass_at = |s: f64| {
        let i = plan
            .track
            .partition_point(|t| t.state.distance_m < s)
            .min(plan.track.len() - 1);
        plan.track[i].mass_kg
    };
    #[expect(clippy::cast_possible_truncation, reason = "a few dozen")]
    let reach = (STEEPEST * ds / ENERGY_STEP_M).ceil() as isize;
    // Steps of energy, the nearest first.
    let steps: Vec<isize> = (0..=reach).flat_map(|r| [r, -r]).skip(1).collect();
    // The exact start lies between grid energies: the first stretch runs from it.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a few hundred"
    )]
    let start = ((start_e - bottom_e) / ENERGY_STEP_M).round() as usize;
    let nothing = Edge {
        cost: 0.0,
        time_s: 0.0,
        fuel_kg: 0.0,
    };
    let mut origin: Vec<Option<(f64, Edge)>> = vec![None; m];
    *origin.get_mut(start)? = Some((start_e, nothing));
    for k in 0..n {
        #[expect(clippy::cast_precision_loss, reason = "a few hundred")]
        let from_s = start_m + ds * k as f64;
        let mid_s = from_s + 0.5 * ds;
        let mass = mass_at(mid_s);
        let stall = Speeds::at_mass(aircraft.speeds.vs_m_s, mass, max_kg);
        // True height against pressure altitude in the middle of the stretch.
        let z_of = |hp: f64| p.air.at(mid_s, hp).true_altitude_m;
        let (hp_a, hp_b) = (end_hp, p.pressure_altitude_m(mid_s, ceiling_m));
        let (z_a, z_b) = (z_of(hp_a), z_of(hp_b));
        let hp_of = |z: f64| hp_a + (z - z_a) * (hp_b - hp_a) / (z_b - z_a);
        let floor_z = p
            .floor_m(mid_s)
            .unwrap_or(end_sample.true_altitude_m.min(begin.true_altitude_m));
        let ceiling_z = z_b;
        let ground = p.ground_m(mid_s);
        // Speeds and what they mean at an energy: prepared once per middle energy.
        let half_index = 2 * m;
        let mut conditions: Vec<Option<Vec<Condition>>> = vec![None; half_index + 1];
        let mut bounds = Vec::new();
        // From everywhere in reach to an energy, the nearest first: what they cost bars most of the others.
        let mut reached = |to: isize, e1: f64, steps: &[isize]| {
            let mut best: Option<(Edge, isize)> = None;
            for step in steps {
                let from = to - step;
                let known = usize::try_from(from).ok().and_then(|i| origin.get(i));
                let Some(&Some((e0, so_far))) = known else {
                    continue;
                };
                let mid_e = 0.5 * (e0 + e1);
                let gain = e1 - e0;
                #[expect(
                    clippy::cast_possible_truncation,
                    clippy::cast_sign_loss,
                    reason = "a few hundred"
                )]
                let slot = ((mid_e - bottom_e) / (0.5 * ENERGY_STEP_M))
                    .round()
                    .max(0.0) as usize;
                let slot = slot.min(half_index);
                let list = conditions[slot].get_or_insert_with(|| {
                    conditions_at(
                        p,
                        &table,
                        mid_s,
                        ds,
                        mass,
                        stall,
                        mid_e,
                        (floor_z, ceiling_z),
                        ground,
                        &hp_of,
                    )
                });
                let first_climb = mid_s < plan.top_of_climb.distance_m.max(60.0 * M_PER_NM);
                let climbing = if gain >= RESTART_M * (ds / STRETCH_M).min(1.0) {
                    Climbing::Always
                } else if first_climb && gain > 0.0 {
                    Climbing::AtLeast(PLAIN_CLIMB_M_S)
                } else {
                    Climbing::Never
                };
                let most = best.map_or(f64::INFINITY, |(b, _)| b.cost - so_far.cost);
                let Some(edge) = cheapest(list, gain, climbing, most, &mut bounds) else {
                    continue;
                };
                let total = Edge {
                    cost: so_far.cost + edge.cost,
                    time_s: so_far.time_s + edge.time_s,
                    fuel_kg: so_far.fuel_kg + edge.fuel_kg,
                };
                // Of equals the lowest, in whatever order they are tried.
                if best
                    .is_none_or(|(b, i)| total.cost < b.cost || (total.cost == b.cost && from < i))
                {
                    best = Some((total, from));
                }
            }
            best.map(|(edge, _)| edge)
        };
        if k + 1 == n {
            // From every energy to the one wanted.
            let all: Vec<isize> = (0..origin.len().cast_signed()).map(|i| -i).collect();
            return reached(0, end_e, &all).map(|e| Part {
                cost: e.cost,
                time_s: e.time_s,
                fuel_kg: e.fuel_kg,
            });
        }
        origin = (0..m)
            .map(|j| reached(j.cast_signed(), e_of(j), &steps).map(|edge| (e_of(j), edge)))
            .collect();
    }
    None
}

/// Where climb settings may be used: a slower climb than the least would be a cruise with more than cruise power.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Climbing {
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

/// The cheapest way to gain an energy height over a stretch.
///
/// First the least that each speed may cost is found, then what the most promising one costs, then only those are priced that
/// may be cheaper. `None` if there is none for less than `most`.
fn cheapest(
    list: &[Condition],
    gain_m: f64,
    climbing: Climbing,
    most: f64,
    bounds: &mut Vec<(f64, f64)>,
) -> Option<Edge> {
    bounds.clear();
    let mut promising = (f64::INFINITY, 0);
    for (i, c) in list.iter().enumerate() {
        let thrust = c.drag_n + c.per_gain_n_m * gain_m;
        let (thrust, most) = if climbing.here(gain_m, c.time_s) {
            (thrust, c.most_climb_n)
        } else if thrust < c.least_n - c.gear_n {
            // Thrust cannot go lower; gear may add drag below its speed.
            (f64::INFINITY, c.most_cruise_n)
        } else {
            (thrust.max(c.least_n), c.most_cruise_n)
        };
        let bound = if thrust > most {
            f64::INFINITY
        } else {
            let least = c
                .lines
                .iter()
                .map(|line| line.0 + line.1 * thrust)
                .fold(f64::NEG_INFINITY, f64::max);
            (least - NOISE * least.abs()) * c.time_s
        };
        if bound < promising.0 {
            promising = (bound, i);
        }
        bounds.push((thrust, bound));
    }
    let price = |i: usize| {
        let c = &list[i];
        let climb = climbing.here(gain_m, c.time_s);
        let (rate, fuel) = c.corners.at(bounds[i].0, climb)?;
        Some(Edge {
            cost: rate * c.time_s,
            time_s: c.time_s,
            fuel_kg: fuel * c.time_s,
        })
    };
    if promising.0 >= most {
        return None;
    }
    let mut best = price(promising.1).map(|edge| (edge, promising.1));
    for (i, &(_, bound)) in bounds.iter().enumerate() {
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

#[expect(
    clippy::too_many_arguments,
    reason = "one stretch of one grid, called in one place"
)]
fn conditions_at<'a>(
    p: &Problem,
    table: &'a Table,
    s_m: f64,
    stretch_m: f64,
    mass: f64,
    stall: f64,
    e: f64,
    bounds: (f64, f64),
    ground_m: f64,
    hp_of: &dyn Fn(f64) -> f64,
) -> Vec<Condition<'a>> {
    let aircraft = &p.aircraft;
    // Indicated altitude is pressure altitude and this.
    let indicated_m = p.indicated_m(s_m, 0.0);
    let mut list = Vec::new();
    let mut v = 1.1 * stall;
    let stall_cas = aircraft.cas_from_ias(aircraft.least_cruise_m_s(mass));
    // What a speed means at this energy, and by how much it stays below the limit of the air, both calibrated.
    let look = |v: f64| {
        let z = e - v * v / (2.0 * G_M_S2);
        if z < bounds.0 - HEIGHT_SLACK_M || z > bounds.1 + HEIGHT_SLACK_M {
            return None;
        }
        let hp = hp_of(z);
        let (air, sample) = p.air_state(s_m, hp);
        let top = p.limits.speed_limit_m_s(
            &aircraft.speeds,
            mass / aircraft.masses.max_take_off_kg,
            hp + indicated_m,
            z - ground_m,
        );
        let cas = speed::tas_to_cas_m_s(v, air.pressure_pa, air.temperature_k);
        Some((hp, air, sample, cas, aircraft.cas_from_ias(top) - cas))
    };
    let mut within: Option<(f64, f64)> = None;
    while v < 110.0 {
        let mut here = v;
        v += 0.25 * SPEED_STEP_M_S;
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
        } else {
            continue;
        }
        let (hp, air, sample, cas, _) = seen;
        if cas < stall_cas {
            continue;
        }
        let gs = super::cruise::ground_speed_m_s(here, &sample);
        if gs < 5.0 {
            continue;
        }
        let drag = aircraft.drag_n(air, here, mass, Configuration::default());
        let gear = if cas <= aircraft.cas_from_ias(aircraft.speeds.vlo_extend_m_s) {
            aircraft.drag_n(
                air,
                here,
                mass,
                Configuration {
                    gear_down: true,
                    ..Configuration::default()
                },
            ) - drag
        } else {
            0.0
        };
        let Some(corners) = table.corners(hp, here) else {
            continue;
        };
        let (most_cruise_n, most_climb_n) = corners.most_n();
        list.push(Condition {
            time_s: stretch_m / gs,
            drag_n: drag,
            per_gain_n_m: mass * G_M_S2 * (gs / here) / stretch_m
                * (1.0 + here / G_M_S2 * sample.along_per_m),
            gear_n: gear,
            least_n: table.least_n(hp, here),
            most_cruise_n,
            most_climb_n,
            lines: corners.lines(),
            corners,
        });
    }
    list
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A hull read through its bins against the definition; its lines nowhere above it.
    #[test]
    fn closed_form_hull_and_lines() {
        // Points on a parabola, unevenly spaced, and others above it that must not count.
        let cost = |t: f64| 3.0 + 0.02 * (t + 300.0).powi(2) / 1_000.0;
        let place = |i: u32| -200.0 + 4.0 * f64::from(i * i);
        let mut points: Vec<_> = (0..20).map(|i| (place(i), cost(place(i)), 1.0)).collect();
        points.extend((0..40).map(|i| (f64::from(i) * 30.0, cost(f64::from(i) * 30.0) + 5.0, 9.0)));
        let hull = Hull::of(points);
        assert_eq!(hull.points.len(), 20);
        let lines: Vec<_> = (-3..17)
            .map(|i| hull.line_at(100.0 * f64::from(i)))
            .collect();
        for i in 0..=1_444 {
            let t = f64::from(i) - 200.0;
            let j = (1..20).find(|&j| t <= place(j)).expect("inside");
            let (a, b) = (place(j - 1), place(j));
            let exact = cost(a) + (cost(b) - cost(a)) * (t - a) / (b - a);
            let (found, _) = hull.at(t).expect("inside");
            assert!(
                (found - exact).abs() < 1e-12 * exact,
                "{t}: {found} {exact}"
            );
            assert!(lines.iter().all(|l| l.0 + l.1 * t <= found + 1e-9), "{t}");
        }
        // Beyond the most the last piece goes on.
        let (a, b) = (place(18), place(19));
        let beyond = cost(b) + (cost(b) - cost(a)) / (b - a);
        assert!((hull.at(b + 1.0).expect("goes on").0 - beyond).abs() < 1e-12 * beyond);
        assert_eq!(hull.at(-500.0), Some((cost(-200.0), 1.0)));
    }
}
