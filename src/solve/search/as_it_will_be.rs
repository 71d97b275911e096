//! From the flights that a search found to the one that is flown as a plan is: finely, recorded and confirmed.

use super::totals::recorded_flight;
use super::{MORE_SEQUENCES, MOST_STARTS, Search};
use crate::flight::{Flown, Limit};
use crate::reflight::Mismatch;
use crate::solve::levels::{LevelCost, Sequence};
use crate::solve::refine::{COARSE_ERROR, Pilot, settle};

impl Search<'_> {
    /// Of the best flight, and of the rest of those flown, the cheapest first, one that keeps every limit as it will be flown and that the independent integrator confirms, path
    /// recorded, with its re-flight; one that it does not confirm if there is no other. One that lies on the wrong side of a limit by the
    /// search's own error is settled again with flights of that kind, and where that makes it dearer than others are, they are tried too, and
    /// the proposals that promise less. If none is left, what that error hid, as room that there is not, is looked for again in some sequences
    /// with flights of the exact kind.
    pub(super) fn flown_as_it_will_be(
        &self,
        pilot: &Pilot,
        levels: &[LevelCost],
        best: &Flown,
        flown: &[(Sequence, Flown)],
        far: &[Sequence],
        broken: &mut Vec<Limit>,
    ) -> Option<(Flown, Mismatch)> {
        let exact = Pilot::exact(self.p);
        let mut finished: Option<Finished> = None;
        let finish = |candidate: &Flown, broken: &mut Vec<Limit>| {
            let kept = match exact.fly(&candidate.script_free()) {
                Some(f) if f.audit.violation() == 0.0 => Ok(f),
                _ => settle(&exact, &candidate.script, &|s| self.prepare(s)),
            };
            match kept {
                Ok(f) => self.recorded(&f),
                Err(in_the_way) => {
                    broken.extend(in_the_way);
                    None
                }
            }
        };
        // The first of those flown is the best before it was refined.
        for candidate in std::iter::once(best).chain(flown.iter().skip(1).map(|f| &f.1)) {
            if let Some(f) = &finished
                && f.confirmed
                && f.charged() <= Pilot::charged(candidate) * (1.0 + COARSE_ERROR)
            {
                break;
            }
            finished = better(finished, finish(candidate, broken));
        }
        let hoped = Pilot::charged(best);
        for sequence in far.iter().take(MORE_SEQUENCES) {
            let Some(f) = &finished else { break };
            let less = self.promises_less(sequence, &f.flown, COARSE_ERROR);
            if f.charged() <= hoped * (1.0 + COARSE_ERROR) || !less {
                break;
            }
            if flown.iter().all(|other| other.0.steps != sequence.steps)
                && let Ok(candidate) = self.fly_sequence(pilot, levels, sequence, 1)
                && Pilot::charged(&candidate) < f.charged()
            {
                finished = better(finished, finish(&candidate, broken));
            }
        }
        if finished.is_none() {
            let again = flown.iter().map(|f| &f.0).chain(far);
            for sequence in again.take(MORE_SEQUENCES) {
                if let Ok(f) = self.fly_sequence(&exact, levels, sequence, MOST_STARTS) {
                    finished = better(finished, self.recorded(&f));
                }
                if finished.as_ref().is_some_and(|f| f.confirmed) {
                    break;
                }
            }
        }
        finished.map(|f| (f.flown, f.mismatch))
    }

    /// A flight with its path recorded and flown again.
    fn recorded(&self, flown: &Flown) -> Option<Finished> {
        let (flown, mismatch) = recorded_flight(self.p, &flown.script)?;
        Some(Finished {
            confirmed: mismatch.within_bounds(self.p.aircraft.fuel.density_kg_m3),
            flown,
            mismatch,
        })
    }
}

/// A flight as it will be flown.
struct Finished {
    flown: Flown,
    mismatch: Mismatch,
    /// Whether the independent integrator confirms it.
    confirmed: bool,
}

impl Finished {
    fn charged(&self) -> f64 {
        Pilot::charged(&self.flown)
    }
}

/// The confirmed one of two, or the cheaper.
fn better(one: Option<Finished>, other: Option<Finished>) -> Option<Finished> {
    let (Some(a), Some(b)) = (&one, &other) else {
        return one.or(other);
    };
    let other_is =
        b.confirmed && !a.confirmed || b.confirmed == a.confirmed && b.charged() < a.charged();
    if other_is { other } else { one }
}
