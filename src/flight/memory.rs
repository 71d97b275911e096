//! What the flights of one search have in common, flown once and kept.
//!
//! Scripts that a search compares differ in a lever or two: most share their climb, and of those most share the cruise as far as
//! some way before the top of descent. What is kept is what would be flown again, bit for bit.

use super::audit::Audit;
use super::flown::{FlightError, Mark};
use super::flyer::{Flyer, Passing};
use super::kernel::State;
use super::script::{Cruise, Script};
use crate::aircraft::Throttle;
use std::collections::HashMap;

/// Where a flyer was, and how close to the limits it had come.
#[derive(Debug, Clone)]
pub(super) struct Kept {
    state: State,
    audit: Audit,
    last: Option<Passing>,
    near_rad: f64,
    top_of_climb: Mark,
}

type Key = [u64; 11];

/// Climbs and cruises of one problem flown so far. Never to be used with another problem.
#[derive(Debug, Default)]
pub struct Memory {
    climbs: HashMap<Key, Result<Kept, FlightError>>,
    cruises: HashMap<Key, Result<Kept, FlightError>>,
}

fn climb_key(script: &Script) -> Key {
    let (climb, first) = (&script.climb, &script.cruise[0]);
    [
        script.initial_ias_m_s.to_bits(),
        script.initial_mixture as u64,
        climb.ias_m_s.to_bits(),
        climb.rev_s.to_bits(),
        climb.mixture as u64,
        climb.lean_at_m.to_bits(),
        first.level_m.to_bits(),
        first.set_at_ias_m_s.to_bits(),
        0,
        0,
        0,
    ]
}

fn cruise_key(start: &State, leg: &Cruise, to_m: f64) -> Key {
    let (kind, value) = match leg.throttle {
        Throttle::Full => (0, 0.0),
        Throttle::Map(pa) => (1, pa),
        Throttle::Fixed(g) => (2, g),
        Throttle::Shut => (3, 0.0),
        Throttle::Rpm => (4, 0.0),
    };
    [
        start.time_s.to_bits(),
        start.distance_m.to_bits(),
        start.pressure_altitude_m.to_bits(),
        start.tas_m_s.to_bits(),
        start.fuel_kg.to_bits(),
        leg.level_m.to_bits(),
        kind,
        value.to_bits(),
        leg.rev_s.to_bits(),
        leg.mixture as u64,
        to_m.to_bits(),
    ]
}

impl Flyer<'_> {
    fn keep(&self, top_of_climb: Mark) -> Kept {
        Kept {
            state: self.state,
            audit: self.audit.clone(),
            last: self.last,
            near_rad: self.near.get(),
            top_of_climb,
        }
    }

    fn recall(&mut self, kept: &Kept) -> Mark {
        self.state = kept.state;
        self.audit.clone_from(&kept.audit);
        self.last = kept.last;
        self.near.set(kept.near_rad);
        kept.top_of_climb
    }

    /// From lift-off to cruise speed at the first level; where the level was reached.
    pub(super) fn climbed(&mut self, script: &Script) -> Result<Mark, FlightError> {
        let Some(memory) = self.memory else {
            return self.climb_to_cruise(script);
        };
        let key = climb_key(script);
        if let Some(known) = memory.borrow().climbs.get(&key) {
            return known.as_ref().map(|k| self.recall(k)).map_err(|&e| e);
        }
        let flown = self.climb_to_cruise(script).map(|mark| self.keep(mark));
        let result = flown.as_ref().map(|k| k.top_of_climb).map_err(|&e| e);
        memory.borrow_mut().climbs.insert(key, flown);
        result
    }

    /// Cruises to a distance that many flights share.
    pub(super) fn cruise_to(&mut self, leg: &Cruise, to_m: f64) -> Result<(), FlightError> {
        let Some(memory) = self.memory else {
            return self.cruise(leg, to_m).map(|_| ());
        };
        // The limits met so far belong to the climb, which the state stands for.
        let key = cruise_key(&self.state, leg, to_m);
        if let Some(known) = memory.borrow().cruises.get(&key) {
            return known
                .as_ref()
                .map(|k| self.recall(k))
                .map(|_| ())
                .map_err(|&e| e);
        }
        let start = super::flown::Mark::from(&self.state);
        let flown = self.cruise(leg, to_m).map(|_| self.keep(start));
        let result = flown.as_ref().map(|_| ()).map_err(|&e| e);
        memory.borrow_mut().cruises.insert(key, flown);
        result
    }
}
