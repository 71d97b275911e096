//! The power reduction, one step an interval.

use crate::aircraft::{Configuration, Throttle};
use crate::reflight::motion::{Control, Hand, Path};

/// Manifold pressures that differ by less are the same, Pa: a few ten-thousandths of an inch.
const SAME_MAP_PA: f64 = 1.0;
/// Crankshaft speeds that differ by less are the same, rev/s: a hundredth of a revolution per minute.
const SAME_REV_S: f64 = 0.01 / 60.0;

/// Times that are less apart are the same, s.
const SAME_TIME_S: f64 = 1e-6;

/// The throttle hand in descent and slow-down.
#[derive(Debug, Clone, Copy)]
pub(super) struct Power {
    /// Set by the tachometer (fixed pitch: rev/s) rather than by manifold pressure (Pa).
    pub(super) by_rpm: bool,
    pub(super) step: f64,
    /// Readings are set in multiples of this.
    pub(super) settable: f64,
    pub(super) interval_s: f64,
    pub(super) floor: f64,
    pub(super) rev_s: f64,
    pub(super) mixture: usize,
    pub(super) hand: Hand,
    /// Reading of the step of the moment.
    pub(super) cut: f64,
    /// Where the steps end.
    pub(super) cut_floor: f64,
    /// Time of the next step, if one is to come, s.
    pub(super) next_cut_s: Option<f64>,
    /// An interval after the last step, s: none comes earlier.
    pub(super) ready_s: f64,
}

impl Power {
    pub(super) fn control(&self, path: Path, configuration: Configuration) -> Control {
        Control {
            hand: self.hand,
            rev_s: self.rev_s,
            mixture: self.mixture,
            path,
            configuration,
            inward_m_s2: 0.0,
        }
    }

    /// Begins to reduce from a reading to a floor: the first step now, or as soon as the last is an interval ago.
    pub(super) fn begin(&mut self, from: f64, floor: f64, now_s: f64) {
        self.cut = from;
        // Power never goes up by a reduction.
        self.cut_floor = floor.min(from);
        if self.ready_s <= now_s + SAME_TIME_S {
            self.next_cut_s = Some(now_s);
            self.cut();
        } else {
            self.next_cut_s = Some(self.ready_s);
            self.set();
        }
    }

    /// One step down, and the time of the next.
    pub(super) fn cut(&mut self) {
        let Some(due_s) = self.next_cut_s else { return };
        // At most a step, to a mark the hand can set.
        let marks = (self.cut - self.step) / self.settable;
        let set = (marks - 1e-6).ceil() * self.settable;
        self.cut = set.clamp(self.cut_floor, self.cut);
        self.set();
        let same = if self.by_rpm { SAME_REV_S } else { SAME_MAP_PA };
        self.ready_s = due_s + self.interval_s;
        self.next_cut_s = (self.cut > self.cut_floor + same).then_some(self.ready_s);
    }

    /// Sets the reading of the moment.
    fn set(&mut self) {
        if self.by_rpm {
            self.rev_s = self.cut;
            self.hand = Hand::Set(Throttle::Rpm);
        } else {
            self.hand = Hand::Set(Throttle::Map(self.cut));
        }
    }
}
