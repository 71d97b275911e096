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
        // Invariant of a script: there is a cruise.
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::flight::PathRule;
    use crate::flight::testbed::script;
    use crate::quantity::{M_S_PER_KT, PA_PER_INHG};

    /// Down in two parts at one speed, all with the RPM of cruise.
    fn all_alike() -> Script {
        let held = ThrottleRule::Held(18.0 * PA_PER_INHG);
        let mut s = script(held, PathRule::Ias(140.0 * M_S_PER_KT), 1_800.0);
        s.descent.first.rev_s = s.last_cruise().rev_s;
        s.descent.second = Some((1_000.0, s.descent.first));
        s.descent.to_go_m = 50_000.0;
        s
    }

    #[test]
    fn closed_form_what_is_alike_follows_and_what_is_not_stays() {
        let s = all_alike();
        let alike = Alike::of(&s);
        let leaders: Vec<Knob> = alike.leaders(&s).collect();
        assert_eq!(
            leaders,
            [Knob::CruiseRev(0), Knob::PartPath(Which::First)],
            "one leader for each lever"
        );
        assert!(leaders.iter().all(|&knob| !alike.follows(knob)));
        let mut turned = s.clone();
        turned.cruise[0].rev_s -= 2.0;
        turned.descent.first.path = PathRule::Ias(130.0 * M_S_PER_KT);
        alike.keep(&mut turned);
        let (first, second) = (turned.descent.first, turned.descent.last());
        assert_eq!([first.rev_s, second.rev_s], [turned.cruise[0].rev_s; 2]);
        assert_eq!(first.path, second.path);
        // Others are left as they are.
        let mut own = s;
        own.descent.first.rev_s -= 5.0;
        let before = own.clone();
        let alike = Alike::of(&own);
        alike.keep(&mut own);
        assert_eq!(own, before);
        assert_eq!(
            alike.leaders(&own).collect::<Vec<_>>(),
            [Knob::PartPath(Which::First)]
        );
        // At a fixed pitch an RPM that is held is set anew in any case.
        own.descent.first.rev_s = own.last_cruise().rev_s;
        own.descent.first.throttle = ThrottleRule::Rpm;
        assert!(!Alike::of(&own).follows(Knob::PartRev(Which::First)));
    }
}
