//! Ideal flight: the cheapest flight of this aircraft on this route in the model, with levels, comfort and few lever moves
//! dropped (DESIGN section 6.6).
//!
//! Dynamic programming on (distance, energy height). An edge runs over one stretch from one energy height to another; its cost
//! is the least over the speed of `J/GS` with the thrust the energy equation asks for:
//! `T = D + W (GS/V)(dE/ds)(1 + (V/g) dw/dh)`, `E = h + V²/2g` (the energy-state idea of Erzberger and Lee, J. Guidance and
//! Control 3, 1980). Height and speed may be exchanged freely between stretches. The least cost rate for a thrust comes from the
//! settings envelope, its lower convex hull taken, since a mix of two settings is as good as either (lever moves are free here).
//! Climb settings are allowed on edges that gain at least 500 ft of energy height, or belong to the first climb and gain it at the
//! least rate of climb that is planned with.
//!
//! The start is the end of the initial climb, the end is the pattern point at pattern speed; what lies outside is the plan's own.

use super::plan::Part;
use crate::air::{isa, speed};
use crate::aircraft::{AirState, Configuration, Levers, Speeds, Throttle};
use crate::flight::{Flown, SegmentKind};
use crate::quantity::{G_M_S2, M_PER_FT, M_PER_NM, M_S_PER_KT, PA_PER_INHG};
use crate::trip::{CostRates, PLAIN_CLIMB_M_S, Problem};

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
/// Thrust points of a hull.
const LEAST_MAP_PA: f64 = 7.0 * PA_PER_INHG;

/// Lower convex hull of cost rate over thrust: (thrust N, cost per s, fuel kg/s), thrust rising.
#[derive(Debug, Clone, Default)]
struct Hull(Vec<(f64, f64, f64)>);

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
        Self(hull)
    }

    /// Least cost rate and its fuel flow for a thrust; beyond the most: the last piece goes on, for the most lies between the
    /// corners of a cell; below the least: the least.
    fn at(&self, thrust_n: f64) -> Option<(f64, f64)> {
        let h = &self.0;
        let (first, last) = (h.first()?, h.last()?);
        if thrust_n <= first.0 || h.len() < 2 {
            return (thrust_n <= last.0).then_some((first.1, first.2));
        }
        let i = h.partition_point(|p| p.0 < thrust_n).min(h.len() - 1);
        let (a, b) = (h[i - 1], h[i]);
        let x = (thrust_n - a.0) / (b.0 - a.0);
        Some((a.1 + x * (b.1 - a.1), a.2 + x * (b.2 - a.2)))
    }

    fn least_n(&self) -> f64 {
        self.0.first().map_or(f64::INFINITY, |p| p.0)
    }

    fn most_n(&self) -> f64 {
        self.0.last().map_or(f64::NEG_INFINITY, |p| p.0)
    }
}

/// Settings envelope at one height and speed.
#[derive(Debug, Clone, Default)]
struct Envelope {
    cruise: Hull,
    climb: Hull,
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
        let fastest =
            speed::cas_to_tas_m_s(aircraft.speeds.vno_m_s, air.pressure_pa, air.temperature_k);
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
    let mut cruise = Vec::new();
    let mut climb = Vec::new();
    for rev_s in super::cruise::settable_rev_s(problem, 100.0 / 60.0) {
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
            let set = aircraft.perform(
                air,
                tas,
                Levers {
                    throttle: Throttle::Full,
                    rev_s,
                    mixture: leaned,
                },
            );
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
    climb.extend(cruise.iter().copied());
    Envelope {
        cruise: Hull::of(cruise),
        climb: Hull::of(climb),
    }
}

impl Table {
    /// Bilinear over height and speed of the hull values at a thrust scaled by nothing: each corner is asked for the thrust
    /// less the corner's own share of the difference in drag.
    fn at(&self, hp_m: f64, tas_m_s: f64, thrust_n: f64, climb: bool) -> Option<(f64, f64)> {
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
        let mut rate = 0.0;
        let mut fuel = 0.0;
        let mut most = 0.0;
        for (row, wy) in [(r, 1.0 - fy), (r + 1, fy)] {
            for (col, wx) in [(c, 1.0 - fx), (c + 1, fx)] {
                let w = wx * wy;
                if w < 1e-9 {
                    continue;
                }
                let e = self.rows[row].get(col)?;
                let hull = if climb { &e.climb } else { &e.cruise };
                let (k, f) = hull.at(thrust_n)?;
                rate += w * k;
                fuel += w * f;
                most += w * hull.most_n();
            }
        }
        (thrust_n <= most).then_some((rate, fuel))
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
    let end_v = speed::cas_to_tas_m_s(
        aircraft.procedures.pattern_m_s,
        end_air.pressure_pa,
        end_air.temperature_k,
    );
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
    // The exact start lies between grid energies: the first stretch runs from it.
    let mut origin = vec![(
        start_e,
        Edge {
            cost: 0.0,
            time_s: 0.0,
            fuel_kg: 0.0,
        },
    )];
    for k in 0..n {
        #[expect(clippy::cast_precision_loss, reason = "a few hundred")]
        let from_s = start_m + ds * k as f64;
        let mid_s = from_s + 0.5 * ds;
        let mass = mass_at(mid_s);
        let weight = mass * G_M_S2;
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
        let mut next = vec![None::<Edge>; m];
        let mut last_edges: Option<Edge> = None;
        let last = k + 1 == n;
        let half_index = 2 * m;
        let mut conditions: Vec<Option<Vec<Condition>>> = vec![None; half_index + 1];
        for &(e0, so_far) in &origin {
            #[expect(clippy::cast_possible_truncation, reason = "a few hundred")]
            let i0 = ((e0 - bottom_e) / ENERGY_STEP_M).round() as isize;
            for step in -reach..=reach {
                let j = i0 + step;
                if j < 0 || j as usize >= m {
                    continue;
                }
                #[expect(clippy::cast_sign_loss, reason = "checked above")]
                let j = j as usize;
                let e1 = if last {
                    if step != 0 {
                        continue;
                    }
                    end_e
                } else {
                    e_of(j)
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
                        mass,
                        stall,
                        mid_e,
                        (floor_z, ceiling_z),
                        ground,
                        &hp_of,
                    )
                });
                let restart = gain >= RESTART_M * (ds / STRETCH_M).min(1.0);
                let first_climb = mid_s < plan.top_of_climb.distance_m.max(60.0 * M_PER_NM);
                let mut edge: Option<Edge> = None;
                for c in list.iter() {
                    // A slower climb would be a cruise with more than cruise power.
                    let climbing =
                        restart || (first_climb && gain * c.gs_m_s >= PLAIN_CLIMB_M_S * ds);
                    let thrust = c.drag_n
                        + weight
                            * (c.gs_m_s / c.tas_m_s)
                            * (gain / ds)
                            * (1.0 + c.tas_m_s / G_M_S2 * c.shear);
                    let found = if climbing {
                        table.at(c.hp_m, c.tas_m_s, thrust, true)
                    } else if thrust < c.least_n {
                        // Thrust cannot go lower; gear may add drag below its speed.
                        if thrust < c.least_n - c.gear_n {
                            continue;
                        }
                        table.at(c.hp_m, c.tas_m_s, c.least_n, false)
                    } else {
                        table.at(c.hp_m, c.tas_m_s, thrust, false)
                    };
                    let Some((rate, fuel)) = found else { continue };
                    let dt = ds / c.gs_m_s;
                    if edge.is_none_or(|e| rate * dt < e.cost) {
                        edge = Some(Edge {
                            cost: rate * dt,
                            time_s: dt,
                            fuel_kg: fuel * dt,
                        });
                    }
                }
                let Some(edge) = edge else { continue };
                let total = Edge {
                    cost: so_far.cost + edge.cost,
                    time_s: so_far.time_s + edge.time_s,
                    fuel_kg: so_far.fuel_kg + edge.fuel_kg,
                };
                let place = if last { &mut last_edges } else { &mut next[j] };
                if place.is_none_or(|b| total.cost < b.cost) {
                    *place = Some(total);
                }
            }
        }
        if last {
            return last_edges.map(|e| Part {
                cost: e.cost,
                time_s: e.time_s,
                fuel_kg: e.fuel_kg,
            });
        }
        origin = next
            .iter()
            .enumerate()
            .filter_map(|(j, e)| e.map(|e| (e_of(j), e)))
            .collect();
    }
    None
}

/// One speed that may be flown at an energy.
#[derive(Debug, Clone, Copy)]
struct Condition {
    hp_m: f64,
    tas_m_s: f64,
    gs_m_s: f64,
    drag_n: f64,
    gear_n: f64,
    least_n: f64,
    shear: f64,
}

#[expect(
    clippy::too_many_arguments,
    reason = "one stretch of one grid, called in one place"
)]
fn conditions_at(
    p: &Problem,
    table: &Table,
    s_m: f64,
    mass: f64,
    stall: f64,
    e: f64,
    bounds: (f64, f64),
    ground_m: f64,
    hp_of: &dyn Fn(f64) -> f64,
) -> Vec<Condition> {
    let aircraft = &p.aircraft;
    let mut list = Vec::new();
    let mut v = 1.1 * stall;
    // What a speed means at this energy, and by how much it stays below the limit of the air.
    let look = |v: f64| {
        let z = e - v * v / (2.0 * G_M_S2);
        if z < bounds.0 - HEIGHT_SLACK_M || z > bounds.1 + HEIGHT_SLACK_M {
            return None;
        }
        let hp = hp_of(z);
        let (air, sample) = p.air_state(s_m, hp);
        let ias = speed::tas_to_cas_m_s(v, air.pressure_pa, air.temperature_k);
        let top = p.limits.speed_limit_m_s(
            &aircraft.speeds,
            mass / aircraft.masses.max_take_off_kg,
            p.indicated_m(s_m, hp),
            z - ground_m,
        );
        Some((hp, air, sample, ias, top - ias))
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
        let (hp, air, sample, ias, _) = seen;
        if ias < super::cruise::OVER_STALL * stall {
            continue;
        }
        let gs = super::cruise::ground_speed_m_s(here, &sample);
        if gs < 5.0 {
            continue;
        }
        let drag = aircraft.drag_n(air, here, mass, Configuration::default());
        let gear = if ias <= aircraft.speeds.vlo_extend_m_s {
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
        list.push(Condition {
            hp_m: hp,
            tas_m_s: here,
            gs_m_s: gs,
            drag_n: drag,
            gear_n: gear,
            least_n: table.least_n(hp, here),
            shear: sample.along_per_m,
        });
    }
    list
}
