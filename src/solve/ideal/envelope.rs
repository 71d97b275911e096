//! Settings envelope: the least cost rate for each thrust, over height and true airspeed.

use super::super::cruise::settable_rev_s;
use crate::air::isa;
use crate::aircraft::engine::{Charge, EngineOutput};
use crate::aircraft::propeller::Nearby;
use crate::aircraft::{AirState, Configuration, Levers, Throttle};
use crate::quantity::{M_PER_FT, M_S_PER_KT, PA_PER_INHG};
use crate::trip::{CostRates, Problem};
use std::cell::{Cell, OnceCell};

/// Speeds per height in the envelope.
const SPEED_STEP_M_S: f64 = 5.0 * M_S_PER_KT;
/// Heights in the envelope, m.
pub(super) const HEIGHT_STEP_M: f64 = 1_000.0 * M_PER_FT;
/// Steps of manifold pressure from the least to the greatest at each RPM.
const SETTING_STEPS: u32 = 10;
/// Least manifold pressure in the envelope, Pa.
const LEAST_MAP_PA: f64 = 7.0 * PA_PER_INHG;
/// Steps of thrust by which a hull is entered.
const BINS: u16 = 32;
/// Corners that weigh less than this are left out.
const LEAST_WEIGHT: f64 = 1e-9;

/// Lower convex hull of cost rate over thrust: (thrust N, cost per s, fuel kg/s), thrust rising.
#[derive(Debug, Clone, Default)]
pub(super) struct Hull {
    points: Vec<Point>,
    /// For each of [`BINS`] equal steps of thrust, the first point at or beyond its lower end.
    first: Vec<u32>,
    bins_per_n: f64,
}

/// Thrust N, cost per s, fuel kg/s.
type Point = (f64, f64, f64);

/// Adds a point at or beyond the last of a lower convex hull.
fn extend(hull: &mut Vec<Point>, p: Point) {
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

/// A hull that grows by short runs of points. Most of a run lies above what is there already, so that merging run after run costs a
/// quarter of sorting all points.
#[derive(Debug, Default)]
struct Growing {
    hull: Vec<Point>,
    spare: Vec<Point>,
}

impl Growing {
    fn add(&mut self, run: &mut [Point]) {
        if !run.is_sorted_by(|a, b| a.0 <= b.0) {
            run.sort_by(|a, b| a.0.total_cmp(&b.0));
        }
        self.spare.clear();
        let (mut old, mut new) = (self.hull.iter().peekable(), run.iter().peekable());
        loop {
            let next = match (old.peek(), new.peek()) {
                (Some(a), Some(b)) if a.0 <= b.0 => old.next(),
                (Some(_), None) => old.next(),
                _ => new.next(),
            };
            match next {
                Some(&p) => extend(&mut self.spare, p),
                None => break,
            }
        }
        std::mem::swap(&mut self.hull, &mut self.spare);
    }
}

impl Hull {
    /// Of points in any order.
    fn of(mut points: Vec<Point>) -> Self {
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut hull = Vec::new();
        for p in points {
            extend(&mut hull, p);
        }
        Self::entered(hull)
    }

    /// Of the points of a hull. More thrust is never needed than asked for, so a point that gives more for less stands for the weaker
    /// ones too.
    fn entered(hull: Vec<Point>) -> Self {
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
pub(super) struct Envelope {
    cruise: Hull,
    climb: Hull,
    /// Lines nowhere above either hull: in descent, level and in climb.
    lines: [(f64, f64); 3],
}

/// The envelope over pressure altitude and true airspeed in the air of the middle of the route; worked out where it is asked for.
pub(super) struct Table<'p> {
    problem: &'p Problem,
    rates: CostRates,
    bottom_m: f64,
    slowest_m_s: f64,
    /// An odd number, so that every second one reaches both ends.
    rows: Vec<Row>,
}

struct Row {
    air: AirState,
    density_altitude_m: f64,
    /// Speeds up to the fastest.
    speeds: usize,
    /// By speed; an odd number.
    cells: Vec<OnceCell<Envelope>>,
}

/// A number if it is odd, else the next.
fn odd(n: usize) -> usize {
    n | 1
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
    let mut cruise = Growing::default();
    let governed_rev_s = if aircraft.propeller.is_fixed() {
        cruise.add(&mut fixed_pitch_settings(problem, rates, air, tas));
        vec![]
    } else {
        settable_rev_s(problem, 100.0 / 60.0)
    };
    let mut run = Vec::new();
    let near = Cell::new(Nearby::ROUGHLY);
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
            let levers = Levers {
                throttle: Throttle::Map(map),
                rev_s,
                mixture: best,
            };
            let set = aircraft.perform_near(air, tas, levers, &near);
            curve.push((set.shaft_power_w, set.thrust_n));
        }
        let thrust = |power: f64| {
            let i = curve
                .partition_point(|c| c.0 < power)
                .clamp(1, curve.len() - 1);
            let ((p0, t0), (p1, t1)) = (curve[i - 1], curve[i]);
            t0 + (t1 - t0) * ((power - p0) / (p1 - p0)).clamp(-0.2, 1.2)
        };
        // What the cylinders breathe is the same with every mixture.
        let maps = (0..=SETTING_STEPS).map(|i| {
            let map = lowest + (most - lowest) * f64::from(i) / f64::from(SETTING_STEPS);
            (map, engine.charge(map, rev_s, intake))
        });
        let breathed: Vec<(f64, Charge)> = maps.collect();
        for m in 0..engine.spec.mixtures.len() {
            let band_w = aircraft.most_cruise_power(m) * engine.spec.rated_power_w;
            let mut point = |out: EngineOutput| {
                if !aircraft.in_avoid_band(rev_s, out.map_pa) {
                    run.push((
                        thrust(engines * out.power_w),
                        rates.rate(engines * out.fuel_kg_s, rev_s),
                        engines * out.fuel_kg_s,
                    ));
                }
            };
            let mut below: Option<EngineOutput> = None;
            for &(map, charge) in &breathed {
                let out = engine.at_charge(map, rev_s, m, charge);
                if out.power_w > band_w {
                    // The band ends between two settings; power is as good as linear in manifold pressure.
                    if let Some(below) = below {
                        let share = (band_w - below.power_w) / (out.power_w - below.power_w);
                        let map = below.map_pa + share * (map - below.map_pa);
                        point(engine.at_map(map, rev_s, m, intake));
                    }
                    break;
                }
                point(out);
                below = Some(out);
            }
            cruise.add(&mut run);
            run.clear();
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
            let near = Cell::new(Nearby::ROUGHLY);
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
    let cruise = Hull::entered(cruise.hull);
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
) -> Vec<Point> {
    const STEPS: u32 = 20;
    let aircraft = &problem.aircraft;
    let near = Cell::new(Nearby::ROUGHLY);
    let full_pa = aircraft
        .engine
        .map_pa(Throttle::Full, 0.0, aircraft.intake(air, tas));
    let mut found = Vec::new();
    for mixture in 0..aircraft.engine.spec.mixtures.len() {
        let most = aircraft.most_cruise_power(mixture);
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

impl<'p> Table<'p> {
    pub(super) fn new(problem: &'p Problem, rates: CostRates, bottom_m: f64, top_m: f64) -> Self {
        let aircraft = &problem.aircraft;
        let middle = 0.5 * problem.length_m;
        let time_s = problem.time_s(middle);
        // Nothing is flown slower than this.
        let (bottom_air, _) = problem.air_state(middle, bottom_m, time_s);
        let least_m_s = aircraft.least_cruise_m_s(problem.zero_fuel_kg);
        let slowest_m_s = aircraft.tas_from_ias(bottom_air, least_m_s);
        let whole = |x: f64| {
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "a few dozen"
            )]
            let n = x.ceil().max(1.0) as usize;
            n
        };
        let rows = (0..odd(whole((top_m - bottom_m) / HEIGHT_STEP_M) + 1))
            .map(|r| {
                #[expect(clippy::cast_precision_loss, reason = "a few dozen")]
                let hp = bottom_m + HEIGHT_STEP_M * r as f64;
                let (air, _) = problem.air_state(middle, hp, time_s);
                let fastest = aircraft.tas_from_ias(air, aircraft.speeds.vno_m_s);
                let speeds = whole((fastest - slowest_m_s) / SPEED_STEP_M_S) + 1;
                Row {
                    air,
                    density_altitude_m: isa::density_altitude_m(hp, air.temperature_k),
                    speeds,
                    cells: vec![OnceCell::new(); odd(speeds)],
                }
            })
            .collect();
        Self {
            problem,
            rates,
            bottom_m,
            slowest_m_s,
            rows,
        }
    }

    /// `None` beyond the fastest; where not every speed is asked for, that may lie one farther.
    fn cell(&self, row: usize, column: usize, every: usize) -> Option<&Envelope> {
        let row = &self.rows[row];
        if every == 1 && column >= row.speeds {
            return None;
        }
        #[expect(clippy::cast_precision_loss, reason = "a few dozen")]
        let tas_m_s = self.slowest_m_s + SPEED_STEP_M_S * column as f64;
        let find = || {
            envelope(
                self.problem,
                self.rates,
                row.air,
                tas_m_s,
                row.density_altitude_m,
            )
        };
        row.cells.get(column).map(|cell| cell.get_or_init(find))
    }

    /// Steps from the lowest and from the slowest to a height and a true airspeed, if every so many of them are asked for.
    fn steps(&self, hp_m: f64, tas_m_s: f64, every: usize) -> (f64, f64) {
        #[expect(clippy::cast_precision_loss, reason = "one or two")]
        let every = every as f64;
        (
            ((hp_m - self.bottom_m) / (every * HEIGHT_STEP_M)).max(0.0),
            ((tas_m_s - self.slowest_m_s) / (every * SPEED_STEP_M_S)).max(0.0),
        )
    }

    /// The corners round a height and a true airspeed, of every so many heights and speeds, with their bilinear weights; `None` beyond the
    /// fastest.
    pub(super) fn corners(&self, hp_m: f64, tas_m_s: f64, every: usize) -> Option<Corners<'_>> {
        let (y, x) = self.steps(hp_m, tas_m_s, every);
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "not negative"
        )]
        let (r, c) = (
            (y as usize).min((self.rows.len() - 1) / every - 1),
            x as usize,
        );
        #[expect(clippy::cast_precision_loss, reason = "small")]
        let (fy, fx) = ((y - r as f64).clamp(0.0, 1.0), x - c as f64);
        let cell = |row: usize, column: usize| self.cell(row * every, column * every, every);
        let nearest = cell(r + usize::from(fy >= 0.5), c + usize::from(fx >= 0.5))?;
        let mut corners = Corners {
            nearest,
            count: 0,
            of: [(nearest, 0.0); 4],
        };
        for (row, wy) in [(r, 1.0 - fy), (r + 1, fy)] {
            for (column, wx) in [(c, 1.0 - fx), (c + 1, fx)] {
                let w = wx * wy;
                if w < LEAST_WEIGHT {
                    continue;
                }
                corners.of[corners.count] = (cell(row, column)?, w);
                corners.count += 1;
            }
        }
        Some(corners)
    }
}

/// Up to four envelopes with weights.
#[derive(Debug, Clone, Copy)]
pub(super) struct Corners<'a> {
    nearest: &'a Envelope,
    count: usize,
    of: [(&'a Envelope, f64); 4],
}

impl<'a> Corners<'a> {
    fn iter(&self) -> impl Iterator<Item = (&'a Envelope, f64)> + '_ {
        self.of[..self.count].iter().copied()
    }

    /// Least thrust in cruise, at the nearest.
    pub(super) fn least_n(&self) -> f64 {
        self.nearest.cruise.least_n()
    }

    /// Greatest thrust in cruise and in the climb, between those of the corners.
    pub(super) fn most_n(&self) -> (f64, f64) {
        (
            self.iter().map(|(e, w)| w * e.cruise.most_n()).sum(),
            self.iter().map(|(e, w)| w * e.climb.most_n()).sum(),
        )
    }

    /// [`Envelope::lines`] between the corners.
    pub(super) fn lines(&self) -> [(f64, f64); 3] {
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
    pub(super) fn at(&self, thrust_n: f64, climb: bool) -> Option<(f64, f64)> {
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
        let mut grown = Growing::default();
        // Runs of seven, one of them backwards.
        for (i, run) in points.clone().chunks_mut(7).enumerate() {
            if i == 2 {
                run.reverse();
            }
            grown.add(run);
        }
        let hull = Hull::of(points);
        assert_eq!(hull.points.len(), 20);
        assert_eq!(grown.hull, hull.points);
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
