//! Brute force within the flyable class: scripts made of settable values, each fully flown, the best that keeps every limit kept.
//!
//! Every settable value of everything at once is out of reach (some 1e12 flights), so the search is exhaustive by blocks: all values
//! of the climb, of one cruise, of the first part of the descent or of its second, the other blocks as in the best so far, block
//! after block until none finds anything better. Large blocks are searched on a coarse grid and then finely around the best. Nothing
//! here comes from the solver but the start, how a flight is flown and what a lever change is charged.

mod blocks;
pub mod frontier;

use fellrun::aircraft::Throttle;
use fellrun::flight::{
    Cruise, Flown, Hint, Memory, Script, SegmentKind, fly, fly_fine, fly_recorded,
};
use fellrun::quantity::{M_PER_NM, PA_PER_INHG};
use fellrun::solve::{charged, prepared};
use fellrun::trip::Problem;
use std::cell::RefCell;
use std::collections::HashSet;

/// Rounds of the blocks.
const ROUNDS: usize = 4;
/// Better by less than this share is no better.
const TIE: f64 = 1e-6;
/// Levels are the same within this, m.
const SAME_M: f64 = 1.0;
/// At most this far from either field climb or let-down may still go on, m: how a level is used nearer is for the flown path to say.
const ENDS_M: f64 = 30.0 * M_PER_NM;

/// A change of level goes on at least this far, m.
const CHANGING_M: f64 = 1.5 * M_PER_NM;

/// A flown script.
#[derive(Debug, Clone)]
pub struct Kept {
    pub script: Script,
    pub charged: f64,
    pub cost: f64,
    /// Whether it keeps every limit.
    pub keeps: bool,
    pub time_s: f64,
    pub fuel_kg: f64,
}

impl Kept {
    fn beats(&self, other: &Self) -> bool {
        (self.keeps && !other.keeps)
            || (self.keeps == other.keeps && self.charged < other.charged * (1.0 - TIE))
    }
}

/// How fine a block is searched.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Grid {
    Coarse,
    /// Every settable value next to the best.
    Near,
    /// Every settable value.
    Whole,
}

pub struct Brute<'a> {
    pub p: &'a Problem,
    memory: RefCell<Memory>,
    /// Where the descent of the last flight began.
    hint: Option<Hint>,
    fine: RefCell<Memory>,
    /// The best of the scripts offered since the last start.
    pub best: Option<Kept>,
    /// What was offered since then.
    offered: HashSet<String>,
    pub flights: usize,
    /// A level may be used where the rule of levels does not allow it: to find settings for a level that only some legs allow.
    pub any_level: bool,
}

pub fn steps(from: f64, to: f64, step: f64) -> Vec<f64> {
    let mut out = vec![];
    let mut x = from;
    while x <= to + 1e-9 {
        out.push(x);
        x += step;
    }
    out
}

/// Levels that some leg allows, with room below them for a descent, m.
pub fn levels(p: &Problem) -> Vec<f64> {
    let mut all: Vec<f64> = p
        .levels
        .iter()
        .flat_map(|l| l.levels_m.iter().copied())
        .filter(|&l| l > p.arrival.pattern_altitude_m + SAME_M)
        .collect();
    all.sort_by(f64::total_cmp);
    all.dedup_by(|a, b| (*a - *b).abs() < SAME_M);
    all
}

/// Whether a level is allowed from one distance to another, m.
fn allowed(p: &Problem, level_m: f64, from_m: f64, to_m: f64) -> bool {
    p.legs.iter().zip(&p.levels).all(|(leg, legal)| {
        leg.from_m >= to_m - SAME_M
            || leg.to_m <= from_m + SAME_M
            || legal.levels_m.iter().any(|m| (m - level_m).abs() < SAME_M)
    })
}

/// Where a level may begin: on a grid, and a little before each via point, m.
pub fn change_points(p: &Problem, grid_m: f64) -> Vec<f64> {
    let vias = p.legs.iter().skip(1);
    let mut all: Vec<f64> = steps(grid_m, p.length_m, grid_m)
        .into_iter()
        .chain(vias.map(|l| (l.from_m / M_PER_NM).floor() * M_PER_NM))
        .collect();
    all.sort_by(f64::total_cmp);
    all
}

/// Whether a script may keep the rule of levels, as far as that is seen before it is flown.
pub fn may_be_legal(p: &Problem, script: &Script) -> bool {
    let ends = script.cruise.iter().skip(1).map(|c| c.from_m);
    let last_m = p.length_m - ENDS_M;
    script
        .cruise
        .iter()
        .zip(ends.chain([last_m]))
        .all(|(c, to_m)| {
            let begin_m = (c.from_m + CHANGING_M).max(ENDS_M);
            allowed(p, c.level_m, begin_m, to_m.min(last_m))
        })
}

/// Whether every cruise of a recorded flight is at a level that its legs allow.
pub fn is_legal(p: &Problem, flown: &Flown) -> bool {
    flown
        .segments
        .iter()
        .filter(|s| s.kind == SegmentKind::Cruise)
        .zip(&flown.script.cruise)
        .all(|(s, c)| {
            let at = |i: usize| flown.track[i].state.distance_m;
            allowed(p, c.level_m, at(s.first), at(s.last))
        })
}

/// A script with its top of descent left open.
pub fn open(script: &Script) -> Script {
    let mut script = script.clone();
    script.descent.to_go_m = f64::NAN;
    script
}

/// A script with its last cruise, at another level all the way.
pub fn moved_to(script: &Script, level_m: f64) -> Script {
    let mut script = open(script);
    let last = script.cruise[script.cruise.len() - 1];
    script.cruise = vec![Cruise {
        level_m,
        from_m: 0.0,
        ..last
    }];
    if script
        .descent
        .second
        .is_some_and(|s| s.0 > level_m - SAME_M)
    {
        script.descent.second = None;
    }
    script
}

impl<'a> Brute<'a> {
    pub fn new(p: &'a Problem) -> Self {
        Self {
            p,
            memory: RefCell::default(),
            hint: None,
            fine: RefCell::default(),
            best: None,
            offered: HashSet::new(),
            flights: 0,
            any_level: false,
        }
    }

    /// Begins anew, with a best or none.
    pub fn start(&mut self, best: Option<Kept>) {
        self.best = best;
        self.offered.clear();
    }

    pub fn fly(&mut self, script: &Script) -> Option<Kept> {
        let script = prepared(self.p, &open(script));
        self.flights += 1;
        let f = fly(self.p, &script, self.hint, &self.memory).ok()?;
        self.hint = Some(Hint {
            top_of_descent_m: f.top_of_descent.distance_m,
        });
        let charged = charged(&f);
        charged.is_finite().then(|| Kept {
            charged,
            cost: f.cost,
            keeps: f.audit.violation() == 0.0,
            time_s: f.time_s,
            fuel_kg: f.fuel_kg,
            script: open(&f.script),
        })
    }

    /// As the final plan is flown, for a limit that is just kept in coarse steps may not be in fine ones; and at legal levels.
    fn confirmed(&self, script: &Script) -> bool {
        if self.p.legs.len() == 1 || self.any_level {
            fly_fine(self.p, script, None, &self.fine).is_ok_and(|f| f.audit.violation() == 0.0)
        } else {
            fly_recorded(self.p, script)
                .is_ok_and(|f| f.audit.violation() == 0.0 && is_legal(self.p, &f))
        }
    }

    /// Flies a script and keeps it if it is the best.
    pub fn offer(&mut self, script: &Script) -> bool {
        if !self.any_level && !may_be_legal(self.p, script) {
            return false;
        }
        // The best only gets better: what was not kept once never is.
        if !self.offered.insert(format!("{script:?}")) {
            return false;
        }
        let Some(kept) = self.fly(script) else {
            return false;
        };
        let better = self.best.as_ref().is_none_or(|b| kept.beats(b));
        if !better || (kept.keeps && !self.confirmed(&kept.script)) {
            return false;
        }
        self.best = Some(kept);
        true
    }

    fn here(&self) -> Option<Script> {
        self.best.as_ref().map(|b| b.script.clone())
    }

    /// Every block next to the best, until none finds better.
    pub fn polish(&mut self) {
        let n = self.here().map_or(0, |s| s.cruise.len());
        let blocks = n + 5;
        let mut since = 0;
        for k in 0..ROUNDS * blocks {
            let better = match k % blocks {
                0 => self.changes(),
                1 => self.descents(Grid::Near),
                2 => self.seconds(Grid::Near),
                3 => self.first_parts(),
                4 => self.climbs(),
                i => self.cruises(i - 5, Grid::Near),
            };
            since = if better { 0 } else { since + 1 };
            if since == blocks {
                break;
            }
        }
    }

    /// The best found at one level all the way, from a script with other levels: coarse blocks, then fine ones if
    /// that is charged less than a bound.
    pub fn at_level(&mut self, start: &Script, level_m: f64, polish_below: f64) -> Option<Kept> {
        let mut script = moved_to(start, level_m);
        let mut starts = vec![script.clone()];
        // Less power, where the level does not take that of the start.
        script.cruise[0].throttle = Throttle::Map(19.0 * PA_PER_INHG);
        script.cruise[0].mixture = self.p.aircraft.engine.best_power_mixture();
        starts.push(script);
        self.start(None);
        for s in starts {
            self.offer(&s);
        }
        self.cruises(0, Grid::Coarse);
        self.descents(Grid::Coarse);
        self.climbs();
        if self.best.as_ref().is_none_or(|b| b.charged < polish_below) {
            self.polish();
        }
        self.best.take().filter(|b| b.keeps)
    }

    /// Every flight at one level with a cruise setting that no other beats in time and fuel, and with each of these climbs and
    /// descents. Scripts have one cruise, at this level.
    pub fn frontier(&mut self, grid: Grid, seeds: &[Script]) -> Vec<Kept> {
        let Some(seed) = seeds.first() else {
            return vec![];
        };
        let mut throttles: Vec<Throttle> = self
            .maps(grid, None, self.most_map_in())
            .into_iter()
            .map(Throttle::Map)
            .collect();
        throttles.push(Throttle::Full);
        let mut flown = vec![];
        for rev_s in self.revs(grid, 0.0) {
            for mixture in 0..self.p.aircraft.engine.spec.mixtures.len() {
                for &throttle in &throttles {
                    let mut s = seed.clone();
                    let c = &mut s.cruise[0];
                    (c.throttle, c.rev_s, c.mixture) = (throttle, rev_s, mixture);
                    flown.extend(self.fly(&s).filter(|k| k.keeps));
                }
            }
        }
        let settings: Vec<Cruise> = undominated(flown)
            .iter()
            .map(|k| k.script.cruise[0])
            .collect();
        let mut out = vec![];
        for cruise in settings {
            for climb in seeds {
                for down in seeds {
                    let mut s = climb.clone();
                    s.cruise = vec![cruise];
                    s.descent = down.descent;
                    out.extend(self.fly(&s).filter(|k| k.keeps));
                }
            }
        }
        undominated(out)
    }
}

/// Those that no other beats in time and fuel, the quickest first.
pub fn undominated(mut flown: Vec<Kept>) -> Vec<Kept> {
    flown.sort_by(|a, b| {
        a.time_s
            .total_cmp(&b.time_s)
            .then(a.fuel_kg.total_cmp(&b.fuel_kg))
    });
    let mut least_kg = f64::INFINITY;
    flown.retain(|k| {
        let better = k.fuel_kg < least_kg;
        least_kg = least_kg.min(k.fuel_kg);
        better
    });
    flown
}
