//! Ideal flight: the cheapest flight of this aircraft on this route in the model, with levels, comfort and few lever moves
//! dropped (DESIGN section 6.6).
//!
//! Dynamic programming on (distance, energy height). An edge runs over one stretch from one energy height to another; its cost
//! is the least over the speed of `J/GS` with the thrust the energy equation asks for:
//! `T = D + W (GS/V)(dE/ds)(1 + (V/g) dw/dh)`, `E = h + V²/2g` (the energy-state idea of Erzberger and Lee, J. Guidance and
//! Control 3, 1980). Height and speed may be exchanged freely between stretches. The least cost rate for a thrust comes from the
//! settings envelope, its lower convex hull taken, since a mix of two settings is as good as either (lever moves are free here).
//! Climb settings are allowed on edges that gain at least 500 ft of energy height in each 3 nm or belong to the first climb.
//!
//! A coarse sweep over every energy finds where the flight lies, a fine one near it, in energy and in speed, what it costs; where the fine
//! one would leave the neighbourhood it is made again round what it found.
//!
//! The start is the end of the initial climb, or of the turns over the departure, or where the flight begins in the air; the end is the
//! pattern point at pattern speed, or where turns over the destination begin; what lies outside is the plan's own.

mod edge;
mod envelope;

use super::plan::{Part, open_from};
use crate::aircraft::interpolate;
use crate::flight::Flown;
use crate::quantity::{G_M_S2, M_PER_FT, M_PER_NM, M_S_PER_KT};
use crate::trip::{CostRates, PLAIN_CLIMB_M_S, Patch, Problem};
use edge::{AtEnergy, Climbing, Edge, Stretch};
use envelope::{HEIGHT_STEP_M, Table};

/// How finely a sweep looks.
#[derive(Debug, Clone, Copy)]
struct Fineness {
    /// Stretches, m at most.
    stretch_m: f64,
    /// Step of the energy grid, m.
    energy_m: f64,
    /// Step of the true airspeed, m/s.
    speed_m_s: f64,
    /// Heights and speeds of the settings envelope that are read: every one, or every second.
    every: usize,
}

const COARSE: Fineness = Fineness {
    stretch_m: 6.0 * M_PER_NM,
    energy_m: 320.0 * M_PER_FT,
    speed_m_s: 5.0 * M_S_PER_KT,
    every: 2,
};
const FINE: Fineness = Fineness {
    stretch_m: 3.0 * M_PER_NM,
    energy_m: 160.0 * M_PER_FT,
    speed_m_s: 2.5 * M_S_PER_KT,
    every: 1,
};
/// Step of the true airspeed once the path is known, m/s.
const FINEST_SPEED_M_S: f64 = 0.5 * M_S_PER_KT;

/// How far from a path a sweep looks.
#[derive(Debug, Clone, Copy)]
struct Near {
    /// To either side in energy height, m.
    energy_m: f64,
    /// Slower and faster, m/s.
    speed_m_s: f64,
}

/// The fine sweep looks so far.
const NEAR: Near = Near {
    energy_m: 480.0 * M_PER_FT,
    speed_m_s: 12.5 * M_S_PER_KT,
};
/// One between looks so far, where no flight is so near, as a climb that the finer grid cannot follow, or where [`NARROW_SWEEPS`] have
/// not come to rest.
const FAR: Near = Near {
    energy_m: 2_400.0 * M_PER_FT,
    speed_m_s: 60.0 * M_S_PER_KT,
};
/// Steps of that: what it finds is looked at more closely by those that follow.
const FAR_FINE: Fineness = Fineness {
    energy_m: 320.0 * M_PER_FT,
    speed_m_s: 5.0 * M_S_PER_KT,
    ..FINE
};
/// The finest speed is looked for this much slower and faster than the fine sweep has it, m/s.
const ALONG_M_S: f64 = 10.0 * M_S_PER_KT;
/// Fine sweeps round what the last one found that look no farther than they must. In 90 trips on which some were still on their way after
/// three, those went astray by up to 0.6 %, all others by 0.1 % at most.
const NARROW_SWEEPS: usize = 3;
/// Searches of so many narrow sweeps, each but the first after one that looks farther; after them everything is looked at.
const MOST_SEARCHES: usize = 3;
/// A sweep that makes the flight cheaper by no more than this share has found it (DESIGN section 5: ties within 0.01 %).
const TIE: f64 = 1e-4;
/// Energy height a restarted climb must gain in a stretch of [`RESTART_STRETCH_M`], in longer and shorter ones in proportion, m (DESIGN
/// section 6.6: 500 ft).
const RESTART_M: f64 = 500.0 * M_PER_FT;
/// See [`RESTART_M`], m.
const RESTART_STRETCH_M: f64 = 3.0 * M_PER_NM;
/// The first climb may go on to here, m, or to the plan's top of climb.
const FIRST_CLIMB_M: f64 = 60.0 * M_PER_NM;
/// Energy height \[m\] above the ceiling up to which the grid reaches: a speed of 100 m/s there, and 300 m to spare.
const FASTEST_E_M: f64 = 100.0 * 100.0 / (2.0 * G_M_S2) + 300.0;
/// Farther than this from both ends of the route stretches are longer, m.
const NEAR_END_M: f64 = 60.0 * M_PER_NM;
/// So many times: between climb and descent wind and weight change slowly, and the path hardly rises.
const LONGER: f64 = 3.0;
/// A path less high above the floor is near it, m.
const NEAR_GROUND_M: f64 = 1_500.0 * M_PER_FT;
/// Steepest change of energy height per distance that is tried.
const STEEPEST: f64 = 0.12;

/// A flight as a sweep finds it.
#[derive(Debug, Clone)]
struct Path {
    /// Energy height over distance, m and m, from start to end.
    nodes: Vec<(f64, f64)>,
    /// True airspeed of the stretches between, m/s.
    speeds_m_s: Vec<f64>,
}

impl Path {
    /// Energy height \[m\] at a distance \[m\].
    fn energy_at(&self, distance_m: f64) -> f64 {
        interpolate(&self.nodes, distance_m)
    }

    /// Slowest and fastest true airspeed \[m/s\] on a stretch and in the stretches next to it.
    fn speeds_near(&self, from_m: f64, to_m: f64) -> (f64, f64) {
        let first = self.nodes.partition_point(|n| n.0 <= from_m);
        let last = self.nodes.partition_point(|n| n.0 < to_m);
        let end = (last + 1).min(self.speeds_m_s.len());
        let near = &self.speeds_m_s[first.saturating_sub(2).min(end)..end];
        near.iter().fold((f64::INFINITY, 0.0), |(low, high), &v| {
            (low.min(v), high.max(v))
        })
    }

    /// Whether another path stays so near to it that the grid of a sweep went on beyond.
    fn holds(&self, other: &Self, near: Near, grid: Fineness) -> bool {
        let room_m = near.energy_m - grid.energy_m;
        let room_m_s = near.speed_m_s - grid.speed_m_s;
        let mut stretches = other.nodes.windows(2).zip(&other.speeds_m_s);
        let speeds_inside = stretches.all(|(pair, &v)| {
            let (low, high) = self.speeds_near(pair[0].0, pair[1].0);
            (low - room_m_s..=high + room_m_s).contains(&v)
        });
        let mut nodes = other.nodes.iter();
        speeds_inside && nodes.all(|&(s, e)| (e - self.energy_at(s)).abs() <= room_m)
    }
}

/// The cheapest flight from the end of the plan's initial climb to the pattern point, with the plan's schedule of weight and time.
///
/// `None` if the grid holds no flight (a route shorter than two stretches).
pub fn ideal(problem: &Problem, rates: CostRates, plan: &Flown) -> Option<Part> {
    let course = Course::new(problem, rates, plan)?;
    let near = || -> Option<Edge> {
        let mut path = course.sweep(COARSE, None)?.1;
        let mut best: Option<(Edge, Path)> = None;
        for search in 0..MOST_SEARCHES {
            if search > 0 {
                path = course.sweep(FAR_FINE, Some((&path, FAR)))?.1;
            }
            let mut before = f64::INFINITY;
            for _ in 0..NARROW_SWEEPS {
                let Some((whole, found)) = course.sweep(FINE, Some((&path, NEAR))) else {
                    break;
                };
                // Where many paths cost as good as the same, the cheapest wanders and gains nothing by it.
                let as_good = whole.cost > before - TIE * before.abs();
                let at_rest = as_good || path.holds(&found, NEAR, FINE);
                before = whole.cost;
                path.clone_from(&found);
                if best.as_ref().is_none_or(|b| whole.cost < b.0.cost) {
                    best = Some((whole, found));
                }
                if at_rest {
                    return best.map(|(whole, path)| course.along(&path).unwrap_or(whole));
                }
            }
        }
        None
    };
    let whole = near().or_else(|| course.sweep(FINE, None).map(|(whole, _)| whole))?;
    Some(Part {
        cost: whole.cost,
        time_s: whole.time_s,
        fuel_kg: whole.fuel_kg,
    })
}

/// What every sweep shares.
struct Course<'p> {
    problem: &'p Problem,
    plan: &'p Flown,
    table: Table<'p>,
    /// Distances of start and end, m.
    start_m: f64,
    end_m: f64,
    /// Energy heights there, m.
    start_e: f64,
    end_e: f64,
    /// Pressure altitude of the pattern, m.
    end_hp: f64,
    /// Where nothing else bounds it: the lower of start and end, m true height.
    floor_m: f64,
}

impl<'p> Course<'p> {
    fn new(p: &'p Problem, rates: CostRates, plan: &'p Flown) -> Option<Self> {
        let begin = open_from(plan)?;
        let circled = plan.circling_descent().map(|c| c.begin);
        let end_m = match &circled {
            Some(begin) => begin.state.distance_m,
            None => p.pattern_point_m(false),
        };
        let pattern_hp = p.pressure_altitude_m(end_m, p.arrival.pattern_altitude_m);
        let end_hp = circled
            .as_ref()
            .map_or(pattern_hp, |begin| begin.state.pressure_altitude_m);
        let end_s = circled
            .as_ref()
            .map_or(plan.slowed.time_s, |begin| begin.state.time_s);
        let (end_air, end_sample) = p.air_state(end_m, end_hp, end_s);
        let end_v = circled.as_ref().map_or_else(
            || {
                p.aircraft
                    .tas_from_ias(end_air, p.aircraft.procedures.pattern_m_s)
            },
            |begin| begin.state.tas_m_s,
        );
        let energy = |z: f64, v: f64| z + v * v / (2.0 * G_M_S2);
        let low_hp = begin.state.pressure_altitude_m.min(end_hp) - HEIGHT_STEP_M;
        Some(Self {
            problem: p,
            plan,
            table: Table::new(p, rates, low_hp, p.limits.max_altitude_m + HEIGHT_STEP_M),
            start_m: begin.state.distance_m,
            end_m,
            start_e: energy(begin.true_altitude_m, begin.state.tas_m_s),
            end_e: energy(end_sample.true_altitude_m, end_v),
            end_hp: pattern_hp,
            floor_m: end_sample.true_altitude_m.min(begin.true_altitude_m),
        })
    }

    /// Mass \[kg\] and time \[s\] of the plan at a distance \[m\].
    fn schedule(&self, distance_m: f64) -> (f64, f64) {
        let track = &self.plan.track;
        let i = track
            .partition_point(|t| t.state.distance_m < distance_m)
            .min(track.len() - 1);
        (track[i].mass_kg, track[i].state.time_s)
    }

    /// One stretch, looked at in steps of speed between two \[m/s\].
    fn stretch(
        &self,
        (from_m, to_m): (f64, f64),
        speed_step_m_s: f64,
        speeds_m_s: (f64, f64),
        every: usize,
    ) -> Stretch<'_, 'p> {
        let p = self.problem;
        let (middle_m, length_m) = (0.5 * (from_m + to_m), to_m - from_m);
        // Pressure altitude against true height between the pattern and the ceiling.
        let (mass_kg, time_s) = self.schedule(middle_m);
        let ceiling_hp = p.pressure_altitude_m(middle_m, p.limits.max_altitude_m);
        let air = p.air.column(middle_m, time_s);
        let true_m = |hp: f64| air.at(hp).true_altitude_m;
        let (low_m, ceiling_m) = (true_m(self.end_hp), true_m(ceiling_hp));
        let slope = (ceiling_hp - self.end_hp) / (ceiling_m - low_m);
        let own_m = p.ceiling_m(middle_m);
        let ceiling_m = if own_m < p.limits.max_altitude_m {
            true_m(p.pressure_altitude_m(middle_m, own_m))
        } else {
            ceiling_m
        };
        // A patch counts in a stretch that it covers half of, or that covers half of it.
        let counts = |x: &&Patch| {
            let common_m = x.to_m.min(to_m) - x.from_m.max(from_m);
            let patch_m = x.to_m.min(self.end_m) - x.from_m.max(self.start_m);
            common_m > 0.0 && common_m >= 0.5 * length_m.min(patch_m)
        };
        Stretch {
            problem: p,
            table: &self.table,
            middle_m,
            length_m,
            mass_kg,
            floor_m: p.lowest_floor_m(from_m, to_m).unwrap_or(self.floor_m),
            ceiling_m,
            forbidden: p.forbidden.iter().filter(counts).collect(),
            // Not known: never smooth, as `Problem::above_ground_m` has it.
            ground_m: p.lowest_ground_m(from_m, to_m).unwrap_or(f64::INFINITY),
            pressure_altitude: (self.end_hp - slope * low_m, slope),
            speed_step_m_s,
            speeds_m_s,
            every,
            air,
        }
    }

    /// What a path of the fine grid costs when every stretch of it is flown at its best speed, looked for in the finest steps.
    fn along(&self, path: &Path) -> Option<Edge> {
        let mut whole = Edge::NOTHING;
        let (mut at, mut choices) = (AtEnergy::default(), vec![]);
        for (pair, v) in path.nodes.windows(2).zip(&path.speeds_m_s) {
            let ((from_m, e0), (to_m, e1)) = (pair[0], pair[1]);
            let speeds = (v - ALONG_M_S, v + ALONG_M_S);
            let stretch = self.stretch((from_m, to_m), FINEST_SPEED_M_S, speeds, FINE.every);
            at.look(&stretch, 0.5 * (e0 + e1));
            let gain_m = e1 - e0;
            let climbing = self.climbing(&stretch, gain_m);
            let edge = at.cheapest(gain_m, climbing, f64::INFINITY, &mut choices)?;
            whole = whole.and(edge);
        }
        Some(whole)
    }

    /// Where a stretch may be flown with climb settings for a gain of energy height \[m\].
    fn climbing(&self, stretch: &Stretch, gain_m: f64) -> Climbing {
        let first_m = self.plan.top_of_climb.distance_m.max(FIRST_CLIMB_M);
        if gain_m >= RESTART_M * (stretch.length_m / RESTART_STRETCH_M) {
            Climbing::Always
        } else if stretch.middle_m < first_m && gain_m > 0.0 {
            Climbing::AtLeast(PLAIN_CLIMB_M_S)
        } else {
            Climbing::Never
        }
    }

    /// Ends of the stretches \[m\] from start to end, none longer than this; in the middle of the route, where little changes, than
    /// [`LONGER`] times as much, but where anything is barred, and near ground that changes from mile to mile. Farther off the
    /// lowest of that ground stands for all of it.
    fn stretches(&self, longest_m: f64, near_ground: impl Fn(f64, f64) -> bool) -> Vec<f64> {
        let p = self.problem;
        let (from_m, to_m) = (self.start_m + NEAR_END_M, self.end_m - NEAR_END_M);
        let inside = |m: &f64| *m > from_m && *m < to_m;
        let mut edges: Vec<f64> = p
            .legs
            .iter()
            .map(|l| l.from_m)
            .chain(p.forbidden.iter().flat_map(|x| [x.from_m, x.to_m]))
            .filter(inside)
            .collect();
        let steps: Vec<f64> = p.floor_edges_m(from_m, to_m).filter(inside).collect();
        #[expect(clippy::cast_precision_loss, reason = "a few hundred")]
        let spaced = |edges: usize| longest_m * edges as f64 <= to_m - from_m;
        let quiet = from_m < to_m && spaced(edges.len());
        let stepped = !spaced(edges.len() + steps.len());
        let mut knots = vec![self.start_m];
        if quiet {
            if !stepped {
                edges.extend(steps);
            }
            edges.sort_by(f64::total_cmp);
            edges.dedup();
            knots.push(from_m);
            knots.extend(edges);
            knots.push(to_m);
        }
        knots.push(self.end_m);
        let mut ends_m = vec![self.start_m];
        let mut cut = |from_m: f64, to_m: f64, longest_m: f64, least: f64| {
            let n = ((to_m - from_m) / longest_m).ceil().max(least);
            let mut k = 1.0;
            while k <= n {
                ends_m.push(from_m + (to_m - from_m) * k / n);
                k += 1.0;
            }
        };
        for pair in knots.windows(2) {
            let barred = |x: &Patch| x.from_m < pair[1] && x.to_m > pair[0];
            let middle = quiet && pair[0] >= from_m && pair[1] <= to_m;
            if !middle || p.forbidden.iter().any(barred) {
                cut(pair[0], pair[1], longest_m, if quiet { 1.0 } else { 2.0 });
            } else if !stepped {
                cut(pair[0], pair[1], LONGER * longest_m, 1.0);
            } else {
                let length_m = pair[1] - pair[0];
                let n = (length_m / (LONGER * longest_m)).ceil();
                let end = |k: f64| pair[0] + length_m * k / n;
                let mut k = 0.0;
                while k < n {
                    let (a, b) = (end(k), end(k + 1.0));
                    let longest_m = if near_ground(a, b) {
                        longest_m
                    } else {
                        LONGER * longest_m
                    };
                    cut(a, b, longest_m, 1.0);
                    k += 1.0;
                }
            }
        }
        ends_m
    }

    /// Whether a path comes near the floor between two distances, m.
    fn near_ground(&self, path: &Path, from_m: f64, to_m: f64) -> bool {
        let Some(floor_m) = self.problem.floor_at_most_m(from_m, to_m) else {
            return false;
        };
        let (_, fastest) = path.speeds_near(from_m, to_m);
        let between = |n: &&(f64, f64)| n.0 > from_m && n.0 < to_m;
        let inner_m = path.nodes.iter().filter(between).map(|n| n.1);
        let ends_m = [from_m, to_m].map(|m| path.energy_at(m));
        let energy_m = inner_m.chain(ends_m).fold(f64::INFINITY, f64::min);
        energy_m - fastest * fastest / (2.0 * G_M_S2) < floor_m + NEAR_GROUND_M
    }

    /// The cheapest flight on a grid, no farther from a path than so much if one is given, and its own path.
    fn sweep(&self, fineness: Fineness, near: Option<(&Path, Near)>) -> Option<(Edge, Path)> {
        let step_m = fineness.energy_m;
        // A coarse sweep does not look closely, and a fine one everywhere where there is no path.
        let near_ground = |a: f64, b: f64| match near {
            Some((path, _)) => self.near_ground(path, a, b),
            None => fineness.every == FINE.every,
        };
        let ends_m = self.stretches(fineness.stretch_m, near_ground);
        let n = ends_m.len() - 1;
        let bottom_e = self.start_e.min(self.end_e) - 2.0 * step_m;
        let top_e = self.problem.limits.max_altitude_m + FASTEST_E_M;
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a few hundred"
        )]
        let m = ((top_e - bottom_e) / step_m).ceil().max(1.0) as usize + 1;
        #[expect(clippy::cast_precision_loss, reason = "a few hundred")]
        let e_of = |i: usize| bottom_e + step_m * i as f64;
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a few hundred"
        )]
        let start = ((self.start_e - bottom_e) / step_m).round() as usize;
        // The exact start lies between grid energies: the first stretch runs from it.
        let mut origin: Vec<Option<(f64, Edge)>> = vec![None; m];
        *origin.get_mut(start)? = Some((self.start_e, Edge::NOTHING));
        // Where each node was reached from, and at what speed, stretch after stretch.
        let mut came: Vec<Vec<(isize, f64)>> = Vec::with_capacity(n);
        // Speeds and what they mean, for each middle energy of a stretch.
        let mut conditions: Vec<AtEnergy> = (0..=2 * m).map(|_| AtEnergy::default()).collect();
        let mut known = vec![false; 2 * m + 1];
        let mut choices = Vec::new();
        for k in 0..n {
            let (from_m, to_m) = (ends_m[k], ends_m[k + 1]);
            let ds = to_m - from_m;
            let speeds = near.map_or((0.0, f64::INFINITY), |(path, near)| {
                let (low, high) = path.speeds_near(from_m, to_m);
                (low - near.speed_m_s, high + near.speed_m_s)
            });
            let (step_m_s, every) = (fineness.speed_m_s, fineness.every);
            let stretch = self.stretch((from_m, to_m), step_m_s, speeds, every);
            #[expect(clippy::cast_possible_truncation, reason = "a few dozen")]
            let reach = (STEEPEST * ds / step_m).ceil() as isize;
            // Steps of energy, the nearest first.
            let steps: Vec<isize> = (0..=reach).flat_map(|r| [r, -r]).skip(1).collect();
            known.fill(false);
            // From everywhere in reach to an energy, the nearest first: what they cost bars most of the others.
            let mut reached = |to: isize, e1: f64, steps: &[isize]| {
                let mut best: Option<(Edge, isize)> = None;
                for step in steps {
                    let from = to - step;
                    let begin = usize::try_from(from).ok().and_then(|i| origin.get(i));
                    let Some(&Some((e0, so_far))) = begin else {
                        continue;
                    };
                    let mid_e = 0.5 * (e0 + e1);
                    let gain = e1 - e0;
                    #[expect(
                        clippy::cast_possible_truncation,
                        clippy::cast_sign_loss,
                        reason = "a few hundred"
                    )]
                    let slot = ((mid_e - bottom_e) / (0.5 * step_m)).round().max(0.0) as usize;
                    // A coarse sweep looks at whole steps alone.
                    let slot = slot.min(2 * m) / every * every;
                    if !known[slot] {
                        known[slot] = true;
                        #[expect(clippy::cast_precision_loss, reason = "a few hundred")]
                        let whole_e = bottom_e + 0.5 * step_m * slot as f64;
                        conditions[slot].look(&stretch, if every > 1 { whole_e } else { mid_e });
                    }
                    let climbing = self.climbing(&stretch, gain);
                    let most = best.map_or(f64::INFINITY, |(b, _)| b.cost - so_far.cost);
                    let Some(edge) = conditions[slot].cheapest(gain, climbing, most, &mut choices)
                    else {
                        continue;
                    };
                    let total = so_far.and(edge);
                    // Of equals the lowest, in whatever order they are tried.
                    if best.is_none_or(|(b, i)| {
                        total.cost < b.cost || (total.cost == b.cost && from < i)
                    }) {
                        best = Some((total, from));
                    }
                }
                best
            };
            if k + 1 == n {
                // From every energy to the one wanted.
                let all: Vec<isize> = (0..origin.len().cast_signed()).map(|i| -i).collect();
                let (whole, last) = reached(0, self.end_e, &all)?;
                let mut nodes = vec![(self.end_m, self.end_e)];
                let mut speeds_m_s = vec![whole.tas_m_s];
                let mut at = last;
                for k in (0..n).rev() {
                    let e = usize::try_from(at).ok().map(e_of)?;
                    nodes.push((ends_m[k], if k == 0 { self.start_e } else { e }));
                    let Some(before) = k.checked_sub(1) else {
                        break;
                    };
                    let (from, v) = *came[before].get(usize::try_from(at).ok()?)?;
                    speeds_m_s.push(v);
                    at = from;
                }
                nodes.reverse();
                speeds_m_s.reverse();
                return Some((whole, Path { nodes, speeds_m_s }));
            }
            let center = near.map(|(path, near)| (path.energy_at(to_m), near.energy_m));
            let mut next = Vec::with_capacity(m);
            let mut parents = Vec::with_capacity(m);
            for j in 0..m {
                let e = e_of(j);
                let found = center
                    .is_none_or(|(center_e, near_m)| (e - center_e).abs() <= near_m)
                    .then(|| reached(j.cast_signed(), e, &steps))
                    .flatten();
                next.push(found.map(|(edge, _)| (e, edge)));
                parents.push(found.map_or((-1, f64::NAN), |(edge, from)| (from, edge.tas_m_s)));
            }
            origin = next;
            came.push(parents);
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn path(speeds_m_s: &[f64]) -> Path {
        let nodes = (0..=speeds_m_s.len()).map(|i| {
            #[expect(clippy::cast_precision_loss, reason = "a few")]
            let s = 1_000.0 * i as f64;
            (s, 2_000.0)
        });
        Path {
            nodes: nodes.collect(),
            speeds_m_s: speeds_m_s.to_vec(),
        }
    }

    /// The speeds of a stretch and of its neighbours; of a finer stretch those of the one it lies in and of that one's neighbours.
    #[test]
    fn closed_form_speeds_near_a_stretch() {
        let path = path(&[50.0, 60.0, 70.0, 90.0]);
        assert_eq!(path.speeds_near(0.0, 1_000.0), (50.0, 60.0));
        assert_eq!(path.speeds_near(1_000.0, 2_000.0), (50.0, 70.0));
        assert_eq!(path.speeds_near(1_200.0, 1_700.0), (50.0, 70.0));
        assert_eq!(path.speeds_near(3_000.0, 4_000.0), (70.0, 90.0));
        assert_eq!(path.speeds_near(1_500.0, 2_500.0), (50.0, 90.0));
    }

    /// A sweep round a path holds one whose ends in energy and in speed it looks beyond, and none that comes to those ends.
    #[test]
    fn closed_form_a_path_holds_what_is_near() {
        let near = NEAR;
        let here = path(&[60.0; 4]);
        for (beyond, held) in [(-1.0, true), (1.0, false)] {
            let mut other = here.clone();
            other.speeds_m_s[2] += near.speed_m_s - FINE.speed_m_s + beyond;
            assert_eq!(here.holds(&other, near, FINE), held);
            let mut other = here.clone();
            other.nodes[1].1 -= near.energy_m - FINE.energy_m + beyond;
            assert_eq!(here.holds(&other, near, FINE), held);
        }
    }
}
