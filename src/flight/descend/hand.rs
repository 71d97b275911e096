//! The throttle hand of a descent.

use super::gauge::Gauge;
use crate::aircraft::{Levers, Performance, Throttle};
use crate::flight::audit::Limit;
use crate::flight::flyer::Flyer;
use crate::flight::script::{DescentPart, Reduction, ThrottleRule};

/// Times that are less apart are the same, s.
pub(super) const SAME_TIME_S: f64 = 1e-6;

/// The throttle hand in a part of the descent.
#[derive(Debug, Clone, Copy)]
pub(super) struct Hand {
    pub(super) part: DescentPart,
    /// What the part wants on the gauge, if that is a reading.
    pub(super) target: Option<f64>,
    /// The reading of the moment in a reduction.
    pub(super) reading: f64,
    /// No step of a reduction before this time, s.
    pub(super) next_cut_s: f64,
    /// On the way to the target.
    pub(super) settling: bool,
    /// Set by the reading of a reduction, rather than left.
    pub(super) by_reading: bool,
    /// Conductance of a throttle that is left, rev/s.
    pub(super) fixed: Option<f64>,
    /// Indicated altitude of the next trim, m.
    pub(super) trim_m: f64,
}

impl Flyer<'_> {
    /// The throttle hand at the beginning of a part: from what is set now to what the part wants, one step an interval, none before it is ready
    /// \[s\].
    pub(super) fn take(
        &mut self,
        part: DescentPart,
        now: &Performance,
        cuts: &Reduction,
        ready_s: f64,
    ) -> Hand {
        let p = self.p;
        let gauge = self.gauge();
        let from = gauge.reading(now);
        let limit_pa = p.aircraft.map_limit_pa(part.rev_s);
        let target = match part.throttle {
            // What the limit line of the new RPM does not allow is not set.
            ThrottleRule::Held(map_pa) | ThrottleRule::LeftAlone(map_pa) => {
                Some(map_pa.min(limit_pa))
            }
            ThrottleRule::Rpm => Some(part.rev_s),
            ThrottleRule::Full | ThrottleRule::Untouched => None,
        };
        if let Some(map_pa) = part.throttle.set_map_pa() {
            self.audit
                .note(Limit::LeastManifoldPressure, p.limits.least_map_pa - map_pa);
        }
        if !p.aircraft.propeller.is_fixed() {
            // Nor may the limit line at the new RPM take off more than a step at once.
            self.audit
                .note(Limit::ManifoldPressure, from - cuts.step_pa - limit_pa);
        }
        let (reading, next_cut_s) = match target {
            Some(t) if t < from && self.state.time_s < ready_s - SAME_TIME_S => (from, ready_s),
            Some(t) if t < from => (
                gauge.next_cut(cuts, from).max(t),
                self.state.time_s + cuts.interval_s,
            ),
            Some(t) => (t, ready_s),
            None => (f64::INFINITY, ready_s),
        };
        Hand {
            part,
            target,
            reading,
            next_cut_s,
            settling: target.is_some_and(|t| reading > t + gauge.same()),
            by_reading: false,
            fixed: (part.throttle == ThrottleRule::Untouched).then(|| self.conductance(*now)),
            trim_m: f64::NAN,
        }
    }

    /// Begins the reduction for the pattern: the first step now, or an interval after the last one where that is less long ago.
    pub(super) fn reduce(&self, hand: &mut Hand, cuts: &Reduction) {
        let gauge = self.gauge();
        hand.by_reading = hand.settling;
        hand.reading = gauge.reading(&self.set_here(self.descent_levers(hand)));
        if self.state.time_s >= hand.next_cut_s - SAME_TIME_S {
            hand.reading = gauge.next_cut(cuts, hand.reading);
            hand.next_cut_s = self.state.time_s + cuts.interval_s;
        }
        hand.settling = false;
        hand.by_reading = true;
        hand.fixed = None;
    }

    /// Conductance of the throttle that gives what is set here.
    pub(super) fn conductance(&self, set: Performance) -> f64 {
        let (air, _) = self.air_of(&self.state);
        let aircraft = &self.p.aircraft;
        aircraft.engine.conductance(
            set.map_pa,
            set.rev_s,
            aircraft.intake(air, self.state.tas_m_s),
        )
    }

    /// The levers of the moment in a descent: at the reading of a reduction, with the throttle left where it is, or at full
    /// throttle, or at the RPM held. Under a governor never over the limit line.
    pub(super) fn descent_levers(&self, hand: &Hand) -> Levers {
        let gauge = self.gauge();
        let d = &hand.part;
        let fixed = hand.fixed;
        if hand.by_reading {
            return gauge.levers(hand.reading, d);
        }
        if let (None, Some(map_pa)) = (fixed, d.throttle.set_map_pa()) {
            let limit_pa = self.p.aircraft.map_limit_pa(d.rev_s);
            return gauge.levers(map_pa.min(limit_pa), d);
        }
        let throttle = match (fixed, gauge) {
            (Some(g), Gauge::Tachometer { .. }) => Throttle::Fixed(g),
            (None, Gauge::Tachometer { .. }) if d.throttle == ThrottleRule::Rpm => Throttle::Rpm,
            (None, Gauge::Tachometer { .. }) => Throttle::Full,
            (throttle, Gauge::ManifoldPressure { .. }) => {
                let throttle = throttle.map_or(Throttle::Full, Throttle::Fixed);
                let (air, _) = self.air_of(&self.state);
                let aircraft = &self.p.aircraft;
                let intake = aircraft.intake(air, self.state.tas_m_s);
                let limit_pa = aircraft.map_limit_pa(d.rev_s);
                if aircraft.engine.map_pa(throttle, d.rev_s, intake) > limit_pa {
                    Throttle::Map(limit_pa)
                } else {
                    throttle
                }
            }
        };
        Levers {
            throttle,
            rev_s: d.rev_s,
            mixture: d.mixture,
        }
    }
}
