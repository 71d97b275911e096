//! Descents from a cruise, priced once for each cruise, and looked for again from the cruise that a flight was settled to.

use super::Search;
use crate::flight::{Cruise, Flown, Script, State};
use crate::solve::refine::{Pilot, settle};
use crate::solve::{cruise, descent};

/// Times the descent is priced again from the cruise that was settled to.
const MOST_AGAIN: usize = 3;

/// Descents found from a cruise.
pub(super) struct Priced {
    cruise: Cruise,
    found: Vec<descent::Candidate>,
    /// By the whole search, rather than carried over from another cruise.
    anew: bool,
}

impl Priced {
    fn begins_in(&self, cruise: &Cruise) -> bool {
        same_setting(&self.cruise, cruise)
    }
}

/// Whether two cruises are at one level with one setting.
pub(super) fn same_setting(a: &Cruise, b: &Cruise) -> bool {
    a.level_m == b.level_m
        && a.throttle == b.throttle
        && a.rev_s == b.rev_s
        && a.mixture == b.mixture
}

impl Search<'_> {
    /// Descent candidates, those in two parts with them where all are wanted or the air's limit changes on the way down, for then one part is a
    /// poor measure of two; sequences that end in the same cruise share them.
    pub(super) fn descents(
        &self,
        script: &Script,
        start: State,
        per_m: f64,
        all: bool,
    ) -> Vec<descent::Candidate> {
        let Some(last) = script.cruise.last().copied() else {
            return vec![];
        };
        if let Some(known) = self.priced.borrow().iter().find(|k| k.begins_in(&last)) {
            return known.found.clone();
        }
        let pricing = descent::Pricing::new(self.p, self.rates, script, start, per_m);
        let pattern_m = self.p.arrival.pattern_altitude_m;
        let mut edges = self.p.limits.air_edges_m(pattern_m, last.level_m);
        let limited = edges.next().is_some();
        // The descent from one cruise is much like that from another, unless limits are hard to keep.
        let kept = |found: &Vec<descent::Candidate>| found.iter().any(|c| c.violation == 0.0);
        let near = self
            .priced
            .borrow()
            .iter()
            .find(|known| !limited && kept(&known.found))
            .map(|known| pricing.search_near(&known.cruise, &known.found));
        let near = near.filter(kept);
        let found = near.unwrap_or_else(|| {
            if all || limited {
                pricing.search()
            } else {
                pricing.search_quickly()
            }
        });
        self.priced.borrow_mut().push(Priced {
            cruise: last,
            found: found.clone(),
            anew: false,
        });
        found
    }

    /// What the whole search finds from a cruise, searched once for each.
    fn descents_anew(&self, pricing: &descent::Pricing, last: &Cruise) -> Vec<descent::Candidate> {
        let known = self
            .priced
            .borrow()
            .iter()
            .find(|k| k.anew && k.begins_in(last))
            .map(|k| k.found.clone());
        known.map_or_else(
            || {
                let found = pricing.search();
                self.priced.borrow_mut().push(Priced {
                    cruise: *last,
                    found: found.clone(),
                    anew: true,
                });
                found
            },
            // Distance may be worth a little more or less than it was.
            |found| pricing.again(&found),
        )
    }

    /// A settled flight with its descent looked for again from the cruise it was settled to, and settled from there while that is better:
    /// from every start where the cruise is another than it was, else by walks.
    pub(super) fn descent_again(
        &self,
        pilot: &Pilot,
        mut best: Flown,
        mut from: Option<Cruise>,
    ) -> Flown {
        for _ in 0..MOST_AGAIN {
            let last = *best.script.last_cruise();
            let anew = from.is_none_or(|c| !same_setting(&c, &last));
            from = Some(last);
            let Some(better) = self.descent_better(pilot, &best, anew) else {
                break;
            };
            best = better;
        }
        best
    }

    fn descent_better(&self, pilot: &Pilot, best: &Flown, anew: bool) -> Option<Flown> {
        let p = self.p;
        let script = best.script_free();
        let last = *script.cruise.last()?;
        let start = self.cruise_state(last.level_m, &[], &script)?;
        let sample = p
            .air
            .at(start.distance_m, start.pressure_altitude_m, start.time_s);
        let ground_speed = cruise::ground_speed_m_s(start.tas_m_s, &sample);
        let per_m = self.rates.rate(best.last_cruise_fuel_kg_s, last.rev_s) / ground_speed;
        let pricing = descent::Pricing::new(p, self.rates, &script, start, per_m);
        let settled = pricing
            .better(
                &script.descent,
                anew.then(|| self.descents_anew(&pricing, &last)),
            )
            .into_iter()
            .filter_map(|found| {
                let trial = Script {
                    descent: found.descent,
                    ..script.clone()
                };
                settle(pilot, &trial, &|s| self.prepare(s)).ok()
            });
        settled
            .min_by(|a, b| Pilot::charged(a).total_cmp(&Pilot::charged(b)))
            .filter(|f| Pilot::charged(f) < Pilot::charged(best))
    }
}
