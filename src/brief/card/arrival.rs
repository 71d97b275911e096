//! The arrival side: the descent as a whole, the slow-down, the pattern and going around.

use super::levers::{Lever, NO_MOVE_PA, NO_MOVE_REV_S, Setting, mixture_move, readings};
use super::{GO_AROUND, Group, THEN, Writer};
use crate::aircraft::{Gear, Induction, Throttle};
use crate::brief::figures::mixture_name;
use crate::brief::units::{ft, inhg, kt, min};
use crate::brief::words::{feet, inches, knots, number, tens, up};
use crate::flight::{Circled, Segment, SegmentKind, TrackPoint};
use crate::quantity::PA_PER_INHG;
use crate::solve::Plan;

/// Heights that differ by less are the same, m.
const SAME_HEIGHT_M: f64 = 0.1;

impl Writer<'_> {
    pub(super) fn arrival(&mut self, plan: &Plan) {
        let script = &plan.flown.script;
        let d = &script.descent;
        let pattern_m = self.problem.arrival.pattern_altitude_m;
        let Some(last) = script.cruise.last() else {
            return;
        };
        let segments: Vec<Segment> = self.segments_that(SegmentKind::descends).copied().collect();
        let Some(first) = segments.first().copied() else {
            return;
        };
        // A part may go on into the turns over the field.
        let from_m = d.second.map_or(f64::NEG_INFINITY, |(from_m, _)| from_m);
        let begins = |s: &&Segment| {
            let begin = self.points(s).first();
            begin.is_some_and(|t| t.indicated_m <= from_m + SAME_HEIGHT_M)
        };
        let second = segments.iter().skip(1).find(begins).copied();
        let end_of = |s: Option<Segment>| s.map_or(usize::MAX, |s| s.first);
        let part = |from: usize, to: usize| -> Vec<TrackPoint> {
            let inside = segments.iter().filter(|s| (from..to).contains(&s.first));
            inside.flat_map(|s| self.points(s)).copied().collect()
        };
        let points = part(first.first, end_of(second));
        let rest = second.map(|s| part(s.first, usize::MAX));
        let Some(begin) = points.first().copied() else {
            return;
        };
        let trigger = format!(
            "{}, {} ft, {} min before landing",
            self.to_go(begin.state.distance_m),
            feet(ft(begin.indicated_m)),
            number(up(min(self.flown.time_s - begin.state.time_s), 0), 0)
        );
        let cruising = self.point_before(&first).unwrap_or(begin);
        let before = self.cruise_setting(last, &cruising);
        let reduce_m = d.reduce_at_m.max(pattern_m);
        let until_m = d
            .second
            .map_or(reduce_m, |(from_m, _)| from_m.max(reduce_m));
        let set = self.descent_part(
            plan, &trigger, before, &cruising, &d.first, until_m, &points,
        );
        // Turns that begin with the power already coming off are told with that.
        let circled = self
            .flown
            .circling_descent()
            .filter(|c| c.begin.indicated_m > d.reduce_at_m - SAME_HEIGHT_M);
        let in_first = |c: &Circled| c.begin.indicated_m > from_m + SAME_HEIGHT_M;
        if let Some(c) = circled.filter(in_first) {
            self.circle_down(Group::Descent, &c);
        }
        let mut all = points;
        if let (Some((_, part)), Some(points)) = (d.second, rest)
            && let (Some(begin), Some(end)) = (points.first(), all.last().copied())
        {
            let trigger = format!(
                "passing {} ft, {}",
                tens(ft(begin.indicated_m)),
                self.to_go(begin.state.distance_m)
            );
            // The throttle stands where the first part has it by then.
            let before = Setting {
                throttle: match set.throttle {
                    Throttle::Map(_) => Throttle::Map(end.map_pa),
                    other => other,
                },
                rev_s: if self.fixed() { end.rev_s } else { set.rev_s },
                ..set
            };
            self.descent_part(plan, &trigger, before, &end, &part, reduce_m, &points);
            all.extend(points);
        }
        if let Some(c) = circled.filter(|c| !in_first(c)) {
            self.circle_down(Group::Descent, &c);
        }
        self.slow_down(plan, &all);
        self.pattern(plan);
    }

    fn slow_down(&mut self, plan: &Plan, descent: &[TrackPoint]) {
        let p = self.problem;
        let d = &plan.flown.script.descent;
        let cuts = &plan.flown.script.reduction;
        let Some(slow) = self.segments(SegmentKind::SlowDown).next().copied() else {
            return;
        };
        let slow = self.points(&slow).to_vec();
        let (Some(begin), Some(end)) = (slow.first().copied(), slow.last().copied()) else {
            return;
        };
        let pattern_m = p.arrival.pattern_altitude_m;
        let early = d.reduce_at_m > pattern_m + 1.0;
        let cut = if early {
            descent
                .iter()
                .find(|t| t.indicated_m <= d.reduce_at_m + 1.0)
        } else {
            None
        };
        let cut = cut.copied().unwrap_or(begin);
        let lowest = slow.iter().map(|t| t.map_pa).fold(cut.map_pa, f64::min);
        let place = if early && cut.indicated_m > pattern_m + 1.0 {
            format!(
                "passing {} ft, {}",
                tens(ft(cut.indicated_m)),
                self.to_go(cut.state.distance_m)
            )
        } else {
            format!(
                "level at {} ft, {}",
                feet(ft(pattern_m)),
                self.to_go(cut.state.distance_m)
            )
        };
        let level = if early {
            format!("level at {} ft", feet(ft(pattern_m)))
        } else {
            "hold height".to_owned()
        };
        let slowed = format!(
            "{} KIAS {}{}",
            knots(kt(p.aircraft.procedures.pattern_m_s)),
            if d.circle.is_some() { "" } else { "at " },
            self.to_go(end.state.distance_m)
        );
        let lowered = p.aircraft.equipment.gear == Gear::Fixed || self.gear_down;
        let mut trigger = place.as_str();
        if p.aircraft.equipment.induction == Induction::Carburettor {
            self.push(
                Group::Arrival,
                trigger,
                "CARB HEAT on".to_owned(),
                String::new(),
                cut.state.distance_m,
            );
            trigger = THEN;
        }
        let expect = if lowered {
            format!("{level}, {slowed}")
        } else {
            format!("{level}, speed falls")
        };
        let at = cut.state.distance_m;
        let mixture = d.last().mixture;
        if self.fixed() {
            // The first step is taken at the trigger itself.
            let lowest = slow.iter().map(|t| t.rev_s).fold(cut.rev_s, f64::min);
            let from = cut.rev_s + cuts.step_rev_s;
            let action = self.rev_reduction(from, lowest, cuts);
            self.push(Group::Arrival, trigger, action, expect, at);
            for r in readings(from, lowest, cuts.step_rev_s, NO_MOVE_REV_S) {
                self.point(Lever::Throttle, f64::NAN, r, mixture);
            }
        } else if cut.map_pa > lowest + NO_MOVE_PA {
            // So the reading there is already one step down.
            let ends = (cut.map_pa + cuts.step_pa, lowest);
            let set = (d.last().rev_s, mixture);
            self.throttle_steps(Group::Arrival, trigger, ends, cuts, expect, at, set);
        } else {
            let action = format!("THROTTLE back to {} in", inches(inhg(lowest)));
            self.push(Group::Arrival, trigger, action, expect, at);
            self.point(Lever::Throttle, lowest, d.last().rev_s, mixture);
        }
        let circled = self.flown.circling_descent();
        if let Some(c) = circled.filter(|c| c.begin.indicated_m <= d.reduce_at_m - SAME_HEIGHT_M) {
            self.circle_down(Group::Arrival, &c);
        }
        if lowered {
            return;
        }
        let vlo = p.aircraft.speeds.vlo_extend_m_s;
        let gear = slow
            .iter()
            .find(|t| t.ias_m_s <= vlo + 0.01)
            .copied()
            .unwrap_or(end);
        self.push(
            Group::Arrival,
            &format!("below {} KIAS", knots(kt(vlo).floor())),
            "GEAR down".to_owned(),
            slowed,
            gear.state.distance_m,
        );
    }

    /// The check before landing in the form handbooks print (fuel, undercarriage, mixture, propeller), the power of the circuit,
    /// and going around.
    fn pattern(&mut self, plan: &Plan) {
        let p = self.problem;
        let Some(segment) = self.segments(SegmentKind::Pattern).next().copied() else {
            return;
        };
        let Some(t) = self.points(&segment).first().copied() else {
            return;
        };
        let d = &plan.flown.script.descent;
        let at = t.state.distance_m;
        let density_m = p.density_altitude_m(&p.destination, t.state.time_s);
        let mixture = p.aircraft.high_power_mixture(density_m);
        let name = mixture_name(p, mixture);
        let ias = knots(kt(p.aircraft.procedures.pattern_m_s));
        let equipment = p.aircraft.equipment;
        let retractable = equipment.gear == Gear::Retractable;
        let mut check = Vec::new();
        if equipment.auxiliary_pump {
            check.push("AUX PUMP on".to_owned());
        }
        check.push("FUEL fullest tank".to_owned());
        if retractable {
            check.push("GEAR checked down".to_owned());
        }
        check.push(
            mixture_move(p, d.last().mixture, mixture)
                .unwrap_or_else(|| format!("MIXTURE stays {name}")),
        );
        let expect = format!(
            "go-around mixture at density altitude {} ft",
            number(up(ft(density_m), -1), 0)
        );
        let before = self.last_levers();
        let (trigger, expect) = if self.fixed() {
            ("downwind check".to_owned(), expect)
        } else {
            check.push("PROP full forward, smoothly".to_owned());
            (
                format!("downwind check, power back, {ias} KIAS or slower"),
                format!("before base at the latest; {expect}"),
            )
        };
        self.push(Group::Arrival, &trigger, check.join(", "), expect, at);
        let (map_pa, rev_s) = before.unwrap_or((t.map_pa, t.rev_s));
        self.point(Lever::Mixture, map_pa, rev_s, mixture);
        if !self.fixed() {
            let engine = &p.aircraft.engine;
            let intake = self.intake(&t);
            let left = Throttle::Fixed(engine.conductance(map_pa, rev_s, intake));
            let fallen = engine.map_pa(left, t.rev_s, intake);
            self.point(Lever::Prop, fallen, t.rev_s, mixture);
        }
        let reads = if self.fixed() {
            self.reads(&t)
        } else {
            format!("about {} in", inches(inhg(t.map_pa)))
        };
        self.push(
            Group::Arrival,
            "in the pattern",
            format!("THROTTLE set to hold {ias} KIAS"),
            format!("{reads}, {}", self.flow(&t)),
            at,
        );
        self.point(Lever::Throttle, t.map_pa, t.rev_s, mixture);
        let mut set = vec![format!("MIXTURE {name}")];
        if !self.fixed() {
            set.push("PROP full forward".to_owned());
        }
        set.push("THROTTLE full forward".to_owned());
        if equipment.induction == Induction::Carburettor {
            set.push("CARB HEAT off".to_owned());
        }
        if equipment.cowl_flaps {
            set.push("COWL FLAPS open".to_owned());
        }
        if !p.aircraft.airframe.flaps.is_empty() {
            set.push("FLAPS to take-off".to_owned());
        }
        if retractable {
            set.push("positive climb: GEAR up".to_owned());
        }
        self.push(
            Group::Arrival,
            GO_AROUND,
            set.join(", "),
            "the flight manual's order rules".to_owned(),
            at,
        );
        let full_pa = p
            .aircraft
            .engine
            .map_pa(Throttle::Full, t.rev_s, self.intake(&t));
        self.point(Lever::Mixture, t.map_pa, t.rev_s, mixture);
        self.point(Lever::Prop, t.map_pa, t.rev_s, mixture);
        self.point(Lever::Throttle, full_pa, t.rev_s, mixture);
    }

    /// Manifold pressure \[Pa\] and crankshaft speed \[rev/s\] where the card has the levers so far, under a governor.
    fn last_levers(&self) -> Option<(f64, f64)> {
        let last = self.lines.iter().rev().find_map(|l| l.levers.last())?;
        Some((last.map_inhg? * PA_PER_INHG, last.rpm / 60.0))
    }
}
