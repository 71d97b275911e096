//! What the flights of one search have in common, flown once and kept.
//!
//! Scripts that a search compares differ in a lever or two: most share their climb, and of those most share the cruise as far as
//! some way before the top of descent. What is kept is what would be flown again, to
//! where a search for a blade angle or a shaft speed begins, which changes nothing beyond its tolerance.

use super::audit::Audit;
use super::flown::{FlightError, Mark};
use super::flyer::{Flyer, Passing};
use super::kernel::State;
use super::script::{Cruise, Script};
use crate::aircraft::propeller::Nearby;
use std::collections::HashMap;
use std::hash::Hash;

/// Where a flyer was, and how close to the limits it had come.
#[derive(Debug, Clone)]
struct Kept {
    state: State,
    audit: Audit,
    last: Option<Passing>,
    near: Nearby,
}

/// What a stretch led to: where the flyer was after it, and what the stretch itself gives.
type Stretch<T> = Result<(Kept, T), FlightError>;

/// Climbs and cruises of one problem flown so far. Never to be used with another problem.
#[derive(Debug, Default)]
pub struct Memory {
    /// With where the level was reached.
    climbs: HashMap<[u64; 12], Stretch<Mark>>,
    /// As far as another level, with time \[s\] and fuel \[kg\] of the cruise before it.
    changes: HashMap<Vec<u64>, Stretch<(f64, f64)>>,
    cruises: HashMap<[u64; 11], Stretch<()>>,
}

fn climb_key(script: &Script) -> [u64; 12] {
    let (climb, first) = (&script.climb, &script.cruise[0]);
    let (second_m, second_m_s) = climb.second.unwrap_or((f64::INFINITY, 0.0));
    let (circle_m, bank_rad) = climb
        .circle
        .map_or((0.0, 0.0), |c| (c.height_m, c.bank_rad));
    [
        script.initial_ias_m_s.to_bits(),
        script.initial_mixture as u64,
        climb.ias_m_s.to_bits(),
        second_m.to_bits(),
        second_m_s.to_bits(),
        climb.rev_s.to_bits(),
        climb.mixture as u64,
        climb.lean_at_m.to_bits(),
        circle_m.to_bits(),
        bank_rad.to_bits(),
        first.level_m.to_bits(),
        first.set_at_ias_m_s.to_bits(),
    ]
}

/// What decides a flight as far as the level after the cruise stretch of that number, and on reaching it.
fn change_key(script: &Script, stretch: usize) -> Vec<u64> {
    let mut key = climb_key(script).to_vec();
    for pair in script.cruise[..=stretch + 1].windows(2) {
        let [from, to] = [pair[0], pair[1]];
        let [kind, value] = from.throttle.bits();
        // Only after a climb is speed gained before cruise power is set.
        let set_at_m_s = if to.level_m > from.level_m {
            to.set_at_ias_m_s
        } else {
            f64::NAN
        };
        key.extend([kind, value, from.mixture as u64]);
        key.extend([from.rev_s, to.from_m, to.level_m, set_at_m_s].map(f64::to_bits));
    }
    key
}

fn cruise_key(start: &State, leg: &Cruise, to_m: f64) -> [u64; 11] {
    let [kind, value] = leg.throttle.bits();
    [
        start.time_s.to_bits(),
        start.distance_m.to_bits(),
        start.pressure_altitude_m.to_bits(),
        start.tas_m_s.to_bits(),
        start.fuel_kg.to_bits(),
        leg.level_m.to_bits(),
        kind,
        value,
        leg.rev_s.to_bits(),
        leg.mixture as u64,
        to_m.to_bits(),
    ]
}

impl Flyer<'_> {
    /// A stretch that is in one of the books of the memory, or flown and written there.
    fn once<K: Eq + Hash, T: Copy>(
        &mut self,
        book: fn(&mut Memory) -> &mut HashMap<K, Stretch<T>>,
        key: K,
        stretch: impl FnOnce(&mut Self) -> Result<T, FlightError>,
    ) -> Result<T, FlightError> {
        let Some(memory) = self.memory else {
            return stretch(self);
        };
        if let Some(known) = book(&mut memory.borrow_mut()).get(&key) {
            let (kept, given) = known.as_ref().map_err(|&e| e)?;
            self.state = kept.state;
            self.audit.clone_from(&kept.audit);
            self.last = kept.last;
            self.near.set(kept.near);
            return Ok(*given);
        }
        let given = stretch(self);
        let kept = Kept {
            state: self.state,
            audit: self.audit.clone(),
            last: self.last,
            near: self.near.get(),
        };
        book(&mut memory.borrow_mut()).insert(key, given.map(|given| (kept, given)));
        given
    }

    /// From lift-off to cruise speed at the first level; where the level was reached.
    pub(super) fn climbed(&mut self, script: &Script) -> Result<Mark, FlightError> {
        self.once(
            |memory| &mut memory.climbs,
            climb_key(script),
            |flyer| flyer.climb_to_cruise(script),
        )
    }

    /// Along the cruise stretch of that number and to the level of the next; time \[s\] and fuel \[kg\] of the cruise.
    pub(super) fn cruised_and_changed(
        &mut self,
        script: &Script,
        stretch: usize,
    ) -> Result<(f64, f64), FlightError> {
        self.once(
            |memory| &mut memory.changes,
            change_key(script, stretch),
            |flyer| flyer.cruise_and_change(script, stretch),
        )
    }

    /// Cruises to a distance that many flights share. The limits met so far belong to the climb, which the state stands for.
    pub(super) fn cruise_to(&mut self, leg: &Cruise, to_m: f64) -> Result<(), FlightError> {
        self.once(
            |memory| &mut memory.cruises,
            cruise_key(&self.state, leg, to_m),
            |flyer| flyer.cruise(leg, to_m).map(|_| ()),
        )
    }
}
