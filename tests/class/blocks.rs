//! The blocks of the brute force: every settable value of the climb, of one cruise, of the first part of the descent and of its second.

use super::{Brute, Grid, SAME_M, steps};
use fellrun::aircraft::Throttle;
use fellrun::flight::{Cruise, Descent, DescentPart, PathRule, ThrottleRule};
use fellrun::quantity::{M_PER_FT, M_PER_NM, M_S_PER_FPM, M_S_PER_KT, PA_PER_INHG};

impl<'a> Brute<'a> {
    /// Settable crankshaft speeds, rev/s.
    pub(super) fn revs(&self, grid: Grid, near: f64) -> Vec<f64> {
        let range = &self.p.aircraft.propeller;
        let step = match grid {
            Grid::Coarse => 200.0,
            Grid::Near | Grid::Whole => 50.0,
        };
        let (low, high) = (
            range.lowest_governed_rev_s * 60.0,
            range.highest_governed_rev_s * 60.0,
        );
        let mut out = match grid {
            Grid::Near => steps(
                (near * 60.0 - 100.0).max(low),
                (near * 60.0 + 100.0).min(high),
                step,
            ),
            _ => steps(low, high, step),
        };
        if grid == Grid::Coarse {
            out.push(high);
            out.dedup();
        }
        out.into_iter().map(|rpm| rpm / 60.0).collect()
    }

    /// Settable manifold pressures, Pa.
    pub(super) fn maps(&self, grid: Grid, near: Option<f64>, top_in: f64) -> Vec<f64> {
        let step = if grid == Grid::Coarse { 1.0 } else { 0.5 };
        match (grid, near) {
            (Grid::Near, Some(pa)) => {
                let at = pa / PA_PER_INHG;
                steps(at - 1.0, at + 1.0, step)
            }
            _ => steps(15.0, top_in, step),
        }
        .into_iter()
        .map(|inhg| inhg * PA_PER_INHG)
        .collect()
    }

    pub(super) fn most_map_in(&self) -> f64 {
        let a = &self.p.aircraft;
        let most = a.map_limit_pa(a.propeller.highest_governed_rev_s) / PA_PER_INHG;
        // Without a turbocharger there is never more than the air gives.
        if a.engine.spec.turbo.is_some() {
            most
        } else {
            most.min(27.0)
        }
    }

    pub fn climbs(&mut self) -> bool {
        let p = self.p;
        let speeds = &p.aircraft.speeds;
        let mut any = false;
        for ias in steps(65.0, speeds.vno_m_s / M_S_PER_KT, 5.0) {
            for &rev_s in &p.aircraft.procedures.climb_rev_s {
                let Some(mut s) = self.here() else {
                    return false;
                };
                s.climb.ias_m_s = ias * M_S_PER_KT;
                s.climb.rev_s = rev_s;
                any |= self.offer(&s);
            }
        }
        any
    }

    /// Settings of one cruise.
    pub fn cruises(&mut self, i: usize, grid: Grid) -> bool {
        let Some(start) = self.here() else {
            return false;
        };
        let now = start.cruise[i];
        let near = match now.throttle {
            Throttle::Map(pa) => Some(pa),
            _ => None,
        };
        let mut throttles: Vec<Throttle> = self
            .maps(grid, near, self.most_map_in())
            .into_iter()
            .map(Throttle::Map)
            .collect();
        throttles.push(Throttle::Full);
        let mut any = false;
        for rev_s in self.revs(grid, now.rev_s) {
            for mixture in 0..self.p.aircraft.engine.spec.mixtures.len() {
                for &throttle in &throttles {
                    let Some(mut s) = self.here() else {
                        return false;
                    };
                    let c = &mut s.cruise[i];
                    (c.throttle, c.rev_s, c.mixture) = (throttle, rev_s, mixture);
                    any |= self.offer(&s);
                }
            }
        }
        any
    }

    pub(super) fn paths(&self, grid: Grid, near: PathRule) -> Vec<PathRule> {
        let p = self.p;
        let most = p.limits.max_descent_m_s / M_S_PER_FPM;
        let (slow, fast) = (
            p.aircraft.procedures.pattern_m_s / M_S_PER_KT,
            p.aircraft.speeds.vno_m_s / M_S_PER_KT,
        );
        let (rates, speeds) = match (grid, near) {
            (Grid::Whole, _) => (steps(100.0, most, 50.0), steps(slow, fast, 5.0)),
            (Grid::Coarse, _) => (steps(0.2 * most, most, 0.2 * most), steps(slow, fast, 15.0)),
            (Grid::Near, PathRule::Rate(r)) => {
                let at = r / M_S_PER_FPM;
                (
                    steps((at - 50.0).max(100.0), (at + 50.0).min(most), 50.0),
                    vec![],
                )
            }
            (Grid::Near, PathRule::Ias(v)) => {
                let at = v / M_S_PER_KT;
                (
                    vec![],
                    steps((at - 5.0).max(slow), (at + 5.0).min(fast), 5.0),
                )
            }
        };
        let rates = rates
            .into_iter()
            .map(|r| PathRule::Rate(r.round() * M_S_PER_FPM));
        let speeds = speeds.into_iter().map(|v| PathRule::Ias(v * M_S_PER_KT));
        rates.chain(speeds).collect()
    }

    pub(super) fn rules(&self, grid: Grid, last: &Cruise, near: Option<f64>) -> Vec<ThrottleRule> {
        let top_in = 24.0_f64.min(self.most_map_in());
        let held = match grid {
            Grid::Coarse => steps(15.0, top_in, 2.0)
                .into_iter()
                .map(|i| i * PA_PER_INHG)
                .collect(),
            Grid::Near => self.maps(Grid::Near, near, top_in),
            Grid::Whole => steps(15.0, top_in, 1.0)
                .into_iter()
                .map(|i| i * PA_PER_INHG)
                .collect(),
        };
        let mut rules: Vec<ThrottleRule> = held.iter().map(|&pa| ThrottleRule::Held(pa)).collect();
        rules.push(ThrottleRule::Full);
        if let Throttle::Map(pa) = last.throttle {
            rules.push(ThrottleRule::LeftAlone(pa));
        } else {
            let alone = held.iter().filter(|&&pa| pa > 17.5 * PA_PER_INHG);
            rules.extend(alone.map(|&pa| ThrottleRule::LeftAlone(pa)));
        }
        rules
    }

    /// Descents in one part.
    pub fn descents(&mut self, grid: Grid) -> bool {
        let Some(start) = self.here() else {
            return false;
        };
        let pattern_m = self.p.arrival.pattern_altitude_m;
        let last = start.cruise[start.cruise.len() - 1];
        let now = start.descent;
        let mut revs = self.revs(
            if grid == Grid::Near {
                grid
            } else {
                Grid::Coarse
            },
            now.first.rev_s,
        );
        revs.push(last.rev_s);
        let mut mixtures = vec![last.mixture, now.first.mixture];
        mixtures.dedup();
        let leads_m: Vec<f64> = match grid {
            Grid::Coarse => vec![0.0, 1_500.0 * M_PER_FT],
            Grid::Whole => [0.0, 750.0, 1_500.0, 2_500.0]
                .map(|ft| ft * M_PER_FT)
                .to_vec(),
            Grid::Near => {
                let at = now.reduce_at_m - pattern_m;
                [-250.0, 0.0, 250.0]
                    .map(|ft| at + ft * M_PER_FT)
                    .into_iter()
                    .filter(|&lead| lead > -SAME_M)
                    .collect()
            }
        };
        let rules = self.rules(grid, &last, now.first.throttle.set_map_pa());
        let paths = self.paths(grid, now.first.path);
        let mut any = false;
        for &rev_s in &revs {
            for &throttle in &rules {
                for &path in &paths {
                    for &lead_m in &leads_m {
                        if lead_m > SAME_M && matches!(path, PathRule::Ias(_)) {
                            continue;
                        }
                        for &mixture in &mixtures {
                            let Some(mut s) = self.here() else {
                                return false;
                            };
                            s.descent = Descent {
                                first: DescentPart {
                                    throttle,
                                    rev_s,
                                    mixture,
                                    path,
                                    gear_down: false,
                                },
                                second: None,
                                reduce_at_m: pattern_m + lead_m,
                                to_go_m: f64::NAN,
                                circle: None,
                            };
                            any |= self.offer(&s);
                        }
                    }
                }
            }
        }
        any
    }

    /// Indicated altitudes at which a second part may begin, m: clearly above or below each height at which the air's limit changes.
    fn second_heights_m(&self, grid: Grid, level_m: f64, near: Option<f64>) -> Vec<f64> {
        let p = self.p;
        let edges_m: Vec<f64> = p.limits.air.iter().map(|a| a.0).collect();
        let pattern_m = p.arrival.pattern_altitude_m;
        let mut all: Vec<f64> = match (grid, near) {
            (Grid::Near, Some(at)) => [-250.0, 0.0, 250.0].map(|ft| at + ft * M_PER_FT).to_vec(),
            _ => {
                let from = (pattern_m / M_PER_FT / 500.0).floor() * 500.0 + 1_000.0;
                steps(from, level_m / M_PER_FT - 500.0, 1_500.0)
                    .into_iter()
                    .map(|ft| ft * M_PER_FT)
                    .chain(edges_m.iter().map(|e| e + 250.0 * M_PER_FT))
                    .collect()
            }
        };
        let clear = |h: f64| {
            !edges_m
                .iter()
                .any(|e| h > e - SAME_M && h < e + 100.0 * M_PER_FT)
        };
        all.retain(|&h| h > pattern_m + SAME_M && h < level_m - SAME_M && clear(h));
        all
    }

    /// Descents in two parts: the first as it is, or with the power of cruise at the greatest rate or at any speed; the second from a
    /// grid of heights, throttles, RPM and paths.
    pub fn seconds(&mut self, grid: Grid) -> bool {
        let Some(start) = self.here() else {
            return false;
        };
        let p = self.p;
        let last = start.cruise[start.cruise.len() - 1];
        let now = start.descent;
        if grid == Grid::Near && now.second.is_none() {
            return false;
        }
        let mut firsts = vec![now.first];
        if grid != Grid::Near {
            let power_on = |path| DescentPart {
                throttle: ThrottleRule::Untouched,
                rev_s: last.rev_s,
                mixture: last.mixture,
                path,
                gear_down: false,
            };
            firsts.push(power_on(PathRule::Rate(p.limits.max_descent_m_s)));
            firsts.extend(
                steps(140.0, p.aircraft.speeds.vno_m_s / M_S_PER_KT, 10.0)
                    .into_iter()
                    .map(|v| power_on(PathRule::Ias(v * M_S_PER_KT))),
            );
        }
        let heights = self.second_heights_m(grid, last.level_m, now.second.map(|s| s.0));
        let mut any = false;
        for first in firsts {
            let part = now.second.map_or(first, |s| s.1);
            let (near_map, near_path) = (part.throttle.set_map_pa(), part.path);
            let mut rules = vec![ThrottleRule::Untouched];
            let mut revs = vec![first.rev_s];
            if grid == Grid::Near {
                revs = self.revs(Grid::Near, part.rev_s);
                if near_map.is_some() {
                    rules = self
                        .maps(Grid::Near, near_map, 24.0)
                        .into_iter()
                        .map(ThrottleRule::Held)
                        .collect();
                    rules.push(ThrottleRule::Untouched);
                }
            } else {
                rules.extend([15.0, 18.0, 21.0].map(|i| ThrottleRule::Held(i * PA_PER_INHG)));
                revs.push(p.aircraft.propeller.lowest_governed_rev_s);
            }
            let paths = self.paths(grid, near_path);
            for &from_m in &heights {
                for &throttle in &rules {
                    for &rev_s in &revs {
                        for &path in &paths {
                            let Some(mut s) = self.here() else {
                                return false;
                            };
                            let second = DescentPart {
                                throttle,
                                rev_s,
                                mixture: first.mixture,
                                path,
                                gear_down: false,
                            };
                            s.descent = Descent {
                                first,
                                second: Some((from_m, second)),
                                reduce_at_m: p.arrival.pattern_altitude_m,
                                to_go_m: f64::NAN,
                                circle: None,
                            };
                            any |= self.offer(&s);
                        }
                    }
                }
            }
        }
        any
    }

    /// The first of two parts, its second as it is.
    pub fn first_parts(&mut self) -> bool {
        let Some(start) = self.here().filter(|s| s.descent.second.is_some()) else {
            return false;
        };
        let last = start.cruise[start.cruise.len() - 1];
        let now = start.descent.first;
        let mut rules = self.rules(Grid::Near, &last, now.throttle.set_map_pa());
        rules.push(ThrottleRule::Untouched);
        let mut any = false;
        for rev_s in self.revs(Grid::Near, now.rev_s) {
            for &throttle in &rules {
                for path in self.paths(Grid::Near, now.path) {
                    let Some(mut s) = self.here() else {
                        return false;
                    };
                    s.descent.first = DescentPart {
                        throttle,
                        rev_s,
                        path,
                        ..now
                    };
                    any |= self.offer(&s);
                }
            }
        }
        any
    }

    /// Where each level begins, by single miles.
    pub fn changes(&mut self) -> bool {
        let mut any = false;
        let n = self.here().map_or(0, |s| s.cruise.len());
        for i in 1..n {
            let Some(start) = self.here() else {
                return false;
            };
            for nm in steps(-10.0, 10.0, 1.0) {
                let Some(mut s) = self.here() else {
                    return false;
                };
                s.cruise[i].from_m = start.cruise[i].from_m + nm * M_PER_NM;
                any |= self.offer(&s);
            }
        }
        any
    }
}
