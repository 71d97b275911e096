//! Flights of a grid at one level, whole: every setting of cruise, then every climb and every descent; what is best of each, all with all, so
//! many as are told. No plan and no objective of the solver has a part in it.

use super::{Brute, Grid, Kept, open, steps, undominated};
use fellrun::aircraft::Throttle;
use fellrun::flight::{Cruise, Descent, DescentPart, Script};
use fellrun::quantity::{M_PER_FT, M_S_PER_KT, PA_PER_INHG};

/// At most so many of each go into what is flown all with all, the ends among them.
const SETTINGS: usize = 20;
/// See [`SETTINGS`].
const CLIMBS: usize = 5;
/// See [`SETTINGS`].
const DESCENTS: usize = 30;

/// So many of all, evenly.
fn some(all: &[Kept], most: usize) -> Vec<&Kept> {
    let most = most.min(all.len());
    let at = |i: usize| &all[i * (all.len() - 1) / (most - 1).max(1)];
    (0..most).map(at).collect()
}

/// With lever changes charged, as the solver compares flights.
pub fn charged(k: &Kept) -> Kept {
    let share = k.charged / k.cost;
    Kept {
        time_s: k.time_s * share,
        fuel_kg: k.fuel_kg * share,
        ..k.clone()
    }
}

impl Brute<'_> {
    fn best_of(&mut self, scripts: Vec<Script>) -> Vec<Kept> {
        let flown: Vec<Kept> = scripts.iter().filter_map(|s| self.fly(s)).collect();
        undominated(flown.iter().filter(|k| k.keeps).map(charged).collect())
    }

    fn every_cruise(&self, from: &Script) -> Vec<Script> {
        let mut throttles: Vec<Throttle> = steps(15.0, self.most_map_in(), 1.0)
            .into_iter()
            .map(|inhg| Throttle::Map(inhg * PA_PER_INHG))
            .collect();
        throttles.push(Throttle::Full);
        let mut out = vec![];
        for rev_s in self.revs(Grid::Coarse, 0.0) {
            for mixture in 0..self.p.aircraft.engine.spec.mixtures.len() {
                for &throttle in &throttles {
                    let mut s = from.clone();
                    let c = &mut s.cruise[0];
                    (c.throttle, c.rev_s, c.mixture) = (throttle, rev_s, mixture);
                    out.push(s);
                }
            }
        }
        out
    }

    fn every_climb(&self, from: &Script) -> Vec<Script> {
        let mut out = vec![];
        for ias in steps(85.0, 125.0, 10.0) {
            for &rev_s in &self.p.aircraft.procedures.climb_rev_s {
                let mut s = from.clone();
                s.climb.ias_m_s = ias * M_S_PER_KT;
                s.climb.rev_s = rev_s;
                s.climb.second = None;
                out.push(s);
            }
        }
        out
    }

    fn every_descent(&self, from: &Script) -> Vec<Script> {
        let last = from.cruise[0];
        let pattern_m = self.p.arrival.pattern_altitude_m;
        let rules = self.rules(Grid::Coarse, &last, None);
        let mut out = vec![];
        for rev_s in [self.revs(Grid::Coarse, 0.0), vec![last.rev_s]].concat() {
            for &throttle in &rules {
                for path in self.paths(Grid::Coarse, from.descent.first.path) {
                    let mut s = from.clone();
                    s.descent = Descent {
                        first: DescentPart {
                            throttle,
                            rev_s,
                            mixture: last.mixture,
                            path,
                            gear_down: false,
                        },
                        second: None,
                        reduce_at_m: pattern_m + 1_000.0 * M_PER_FT,
                        to_go_m: f64::NAN,
                        circle: None,
                    };
                    out.push(s);
                }
            }
        }
        out
    }

    /// Every flight of the grid at a level that no other beats, lever changes charged, the quickest first. `any` lends what the grid does not
    /// vary: the initial climb, mixtures by rule, the reduction of power.
    pub fn all_at(&mut self, any: &Script, level_m: f64) -> Vec<Kept> {
        let mut from = open(any);
        from.cruise = vec![Cruise {
            level_m,
            from_m: 0.0,
            ..any.cruise[0]
        }];
        from.climb.second = None;
        from.descent.second = None;
        let settings = self.best_of(self.every_cruise(&from));
        let (Some(quick), Some(thrifty)) = (settings.first(), settings.last()) else {
            return vec![];
        };
        let middle = &settings[settings.len() / 2];
        let mut climbs = vec![];
        let mut descents = vec![];
        for at in [quick, middle, thrifty] {
            climbs.extend(self.best_of(self.every_climb(&at.script)));
            descents.extend(self.best_of(self.every_descent(&at.script)));
        }
        // One of each, however many settings like it.
        let once = |all: Vec<Kept>, of: &dyn Fn(&Kept) -> String| {
            let mut seen = std::collections::HashSet::new();
            let keep = |k: &Kept| seen.insert(of(k));
            let mut all = all;
            all.retain(keep);
            all
        };
        let climbs = once(climbs, &|k| format!("{:?}", k.script.climb));
        let descents = once(descents, &|k| format!("{:?}", k.script.descent));
        let mut all = vec![];
        for setting in some(&settings, SETTINGS) {
            for climb in some(&climbs, CLIMBS) {
                for down in some(&descents, DESCENTS) {
                    let mut s = climb.script.clone();
                    s.cruise = setting.script.cruise.clone();
                    s.descent = down.script.descent;
                    all.push(s);
                }
            }
        }
        self.best_of(all)
    }
}
