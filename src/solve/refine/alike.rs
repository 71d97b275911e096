//! Levers that stay where the part before has them.

use super::knobs::{Knob, Which};
use super::same_rev;
use crate::flight::{Script, ThrottleRule};

/// Levers that one part of a script has as the part before it, where another setting of their own would be a lever more to move: they are turned
/// together.
#[derive(Debug, Clone, Copy)]
pub(super) struct Alike {
    /// RPM of the descent, as in cruise.
    rev_down: bool,
    /// RPM and path of its second part, as in the first.
    second_rev: bool,
    second_path: bool,
}

impl Alike {
    /// Those of a script.
    pub(super) fn of(script: &Script) -> Self {
        let d = &script.descent;
        let cruise = script.last_cruise();
        let second = d.second.map(|s| s.1);
        Self {
            rev_down: d.first.throttle != ThrottleRule::Rpm
                && same_rev(d.first.rev_s, cruise.rev_s),
            second_rev: second.is_some_and(|s| {
                s.throttle != ThrottleRule::Rpm && same_rev(s.rev_s, d.first.rev_s)
            }),
            second_path: second.is_some_and(|s| s.path == d.first.path),
        }
    }

    /// Whether a knob follows another.
    pub(super) fn follows(self, knob: Knob) -> bool {
        match knob {
            Knob::PartRev(Which::First) => self.rev_down,
            Knob::PartRev(Which::Second) => self.second_rev,
            Knob::PartPath(Which::Second) => self.second_path,
            _ => false,
        }
    }

    /// Turns what follows to where that is which it follows.
    pub(super) fn keep(self, script: &mut Script) {
        let cruise_rev_s = script.last_cruise().rev_s;
        let d = &mut script.descent;
        if self.rev_down {
            d.first.rev_s = cruise_rev_s;
        }
        if let Some((_, second)) = &mut d.second {
            if self.second_rev {
                second.rev_s = d.first.rev_s;
            }
            if self.second_path {
                second.path = d.first.path;
            }
        }
    }

    /// The knobs that others follow.
    pub(super) fn leaders(self, script: &Script) -> impl Iterator<Item = Knob> {
        let last = script.cruise.len() - 1;
        let followed = [
            (self.rev_down, Knob::CruiseRev(last)),
            (
                self.second_rev && !self.rev_down,
                Knob::PartRev(Which::First),
            ),
            (self.second_path, Knob::PartPath(Which::First)),
        ];
        followed.into_iter().filter(|f| f.0).map(|f| f.1)
    }
}
