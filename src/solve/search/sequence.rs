//! A level sequence as a script, flown and settled.

use super::{MOST_STARTS, Search};
use crate::flight::{Flown, Limit, Script, fly_recorded};
use crate::solve::cruise;
use crate::solve::levels::{LevelCost, Sequence, sequences};
use crate::solve::refine::{Pilot, rounded, settle_loosely, settle_strictly};
use crate::trip::Start;

/// A flight that breaks limits and is charged so many times as much, that included, as another that was settled within all will not be as cheap.
const HOPELESS: f64 = 1.1;

impl Search<'_> {
    /// The script of a sequence with the best climb and cruise of the cost field.
    pub(super) fn with_cruise(&self, steps: &[(f64, f64)], levels: &[LevelCost]) -> Option<Script> {
        let p = self.p;
        let find = |m: f64| levels.iter().find(|l| (l.level_m - m).abs() < 1.0);
        let mut script: Option<Script> = None;
        let mut cruises = Vec::new();
        for (i, &(level_m, from_m)) in steps.iter().enumerate() {
            let level = find(level_m)?;
            let to_m = steps.get(i + 1).map_or(p.length_m, |n| n.1);
            let (cruise, per_m) = self.best_cruise(level_m, from_m, to_m, &level.options)?;
            cruises.push(cruise);
            if script.is_none() && p.start != Start::Ground {
                script = Some(self.join(cruise, per_m)?.0);
            }
            if script.is_none() {
                let (ias, rev) = self.best_climb(level_m, per_m)?;
                script = Some(self.skeleton(ias, rev));
            }
        }
        let mut script = script?;
        script.cruise = cruises;
        let last = *script.last_cruise();
        script.descent.first.rev_s = last.rev_s;
        script.descent.first.mixture = last.mixture;
        self.prepare(&mut script);
        Some(script)
    }

    /// The best rounded flight of one sequence, or the limits that were in the way.
    pub(super) fn fly_sequence(
        &self,
        pilot: &Pilot,
        levels: &[LevelCost],
        sequence: &Sequence,
        starts: usize,
    ) -> Result<Flown, Vec<Limit>> {
        let script = self
            .with_cruise(&sequence.steps, levels)
            .ok_or_else(Vec::new)?;
        self.fly_down_from(pilot, levels, &script, starts)
    }

    /// The same from the script of [`Search::with_cruise`].
    pub(super) fn fly_down_from(
        &self,
        pilot: &Pilot,
        levels: &[LevelCost],
        script: &Script,
        starts: usize,
    ) -> Result<Flown, Vec<Limit>> {
        let p = self.p;
        let last_level = script.last_cruise().level_m;
        let level = levels
            .iter()
            .find(|l| (l.level_m - last_level).abs() < 1.0)
            .ok_or(vec![])?;
        let Some(start) = self.cruise_state(last_level, &level.options, script) else {
            return Err(vec![]);
        };
        let per_m =
            cruise::least_per_m(p, self.rates, &level.options, last_level, start.distance_m);
        let candidates = self.descents(script, start, per_m, pilot.keeps());
        let prepare = |s: &mut Script| self.prepare(s);
        let mut best: Option<Flown> = None;
        // Of each the cheapest that breaks a limit.
        let mut outside: [Option<Flown>; 2] = [None, None];
        let mut broken = Vec::new();
        let cheaper = |f: &Flown, than: &Option<Flown>| {
            than.as_ref()
                .is_none_or(|b| Pilot::charged(f) < Pilot::charged(b))
        };
        // As many clean as with the gear down, so that a permission takes nothing away.
        let mut kept = [0; 2];
        let mut unmended = [false; 2];
        for (i, candidate) in candidates.iter().enumerate() {
            let gear_down = usize::from(candidate.descent.last().gear_down);
            let kept = &mut kept[gear_down];
            // The later ones are for where the first cannot be flown.
            if *kept == starts || (*kept > 0 && i >= MOST_STARTS) || unmended[gear_down] {
                continue;
            }
            let least = best.as_ref().map_or(f64::INFINITY, |b| b.cost);
            if self.left_to_the_reserve(pilot, least) {
                break;
            }
            let mut trial = script.clone();
            trial.descent = candidate.descent;
            let trial = rounded(p, &trial);
            match settle_loosely(pilot, &trial, &prepare) {
                Some(f) if f.audit.violation() == 0.0 => {
                    *kept += 1;
                    if cheaper(&f, &best) {
                        best = Some(f);
                    }
                }
                Some(f) => {
                    let in_the_way = f.audit.broken();
                    // No other descent mends a climb.
                    unmended[gear_down] = !pilot.keeps() && in_the_way == [Limit::ClimbRate];
                    broken.extend(in_the_way);
                    if cheaper(&f, &outside[gear_down]) {
                        outside[gear_down] = Some(f);
                    }
                }
                // The descent was flown from this cruise: where the whole cannot be, another makes neither the cruise nor the way there one that can.
                None if best.is_none() && outside.iter().all(Option::is_none) => break,
                None => {}
            }
        }
        // One that is the cheapest though what it breaks is charged may keep the limits at little more.
        for f in outside.into_iter().flatten() {
            let hopeless = Pilot::charged(&f) > HOPELESS * pilot.least_settled();
            if !pilot.keeps()
                && !hopeless
                && cheaper(&f, &best)
                && let Ok(f) = settle_strictly(pilot, &f.script, &prepare)
                && cheaper(&f, &best)
            {
                best = Some(f);
            }
        }
        best.ok_or(broken)
    }

    /// The flight of the first proposal of the level search that can be flown, with a plain descent, path recorded.
    pub(super) fn first_flight(&self, levels: &[LevelCost]) -> Option<Flown> {
        let p = self.p;
        sequences(p, self.rates, levels)
            .iter()
            .find_map(|sequence| {
                let mut script = self.with_cruise(&sequence.steps, levels)?;
                let last_m = sequence.steps.last()?.0;
                let level = levels.iter().find(|l| (l.level_m - last_m).abs() < 1.0)?;
                let middle_m = 0.5 * p.length_m;
                let per_m = cruise::least_per_m(p, self.rates, &level.options, last_m, middle_m);
                script.descent = self.plain_descent(&script, level, per_m)?.descent;
                fly_recorded(p, &script).ok()
            })
    }

    /// [`Search::first_flight`] with what the levels cost at the prices of this search.
    pub(in crate::solve) fn first_flight_anew(&self) -> Option<Flown> {
        self.first_flight(&self.level_costs().ok()?)
    }
}
