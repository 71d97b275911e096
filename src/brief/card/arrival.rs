//! The arrival side: descent and arrival.

use super::levers::{
    Lever, NO_MOVE_PA, NO_MOVE_REV_S, Setting, lever_moves, mixture_move, pace, readings, row,
};
use super::{GO_AROUND, Group, HOLDS_PA, THEN, TRIM_M, Writer, circle_words};
use crate::aircraft::{Gear, Induction, Throttle};
use crate::brief::figures::mixture_name;
use crate::brief::units::{fpm, ft, inhg, kt, min, rpm};
use crate::brief::words::{down, feet, inches, knots, number, revs, tens, up};
use crate::flight::{
    Circled, DescentPart, PathRule, Reduction, Segment, SegmentKind, ThrottleRule, TrackPoint,
};
use crate::quantity::PA_PER_INHG;
use crate::solve::Plan;

/// Heights that differ by less are the same, m.
const SAME_HEIGHT_M: f64 = 0.1;
/// A descent that takes at least this fraction of rated power off begins with a large reduction, for which a carburettor is
/// heated.
const LARGE_REDUCTION: f64 = 0.1;
/// Mixture steps on the way down: every 2,000 ft, in trims.
const MIXTURE_TRIMS: f64 = 2.0;

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

    /// The turns over the destination.
    fn circle_down(&mut self, group: Group, c: &Circled) {
        let trigger = format!("over the field, {} ft", tens(ft(c.begin.indicated_m)));
        let pattern_m = self.problem.arrival.pattern_altitude_m;
        self.push(
            group,
            &trigger,
            format!("CIRCLE down over the field to {} ft", feet(ft(pattern_m))),
            circle_words(c).trim_end_matches("; ").to_owned(),
            c.begin.state.distance_m,
        );
    }

    /// One part of the descent: what is set, what is held, what is done on the way down; the setting.
    #[expect(
        clippy::too_many_arguments,
        reason = "one part of one descent, called for the first and the second"
    )]
    fn descent_part(
        &mut self,
        plan: &Plan,
        trigger: &str,
        before: Setting,
        coming: &TrackPoint,
        d: &DescentPart,
        until_m: f64,
        points: &[TrackPoint],
    ) -> Setting {
        let p = self.problem;
        let cuts = &plan.flown.script.reduction;
        let Some(begin) = points.first().copied() else {
            return before;
        };
        let top = begin.state.distance_m;
        // What flight does: RPM and mixture at once, manifold pressure one step, the rest at its pace.
        let intake = self.intake(&begin);
        let now = p
            .aircraft
            .engine
            .map_pa(before.throttle, before.rev_s, intake);
        let limit_pa = p.aircraft.map_limit_pa(d.rev_s);
        // To what a hand can set, as it is flown.
        let cut = |now: f64, step: f64, settable: f64, t: f64| {
            if t < now {
                (((now - step) / settable - 1e-6).ceil() * settable)
                    .min(now)
                    .max(t)
            } else {
                t
            }
        };
        let procedures = &p.aircraft.procedures;
        let set = d.throttle.set_map_pa().filter(|_| !self.fixed());
        // No reading is over the limit line.
        let target = set.map(|t| t.min(limit_pa));
        let first = set.map(|t| cut(now, cuts.step_pa, procedures.map_step_pa, t).min(limit_pa));
        let to = match (first, d.throttle) {
            (Some(map_pa), _) => Setting {
                throttle: Throttle::Map(map_pa),
                rev_s: d.rev_s,
                mixture: d.mixture,
            },
            (None, ThrottleRule::Rpm) => Setting {
                throttle: Throttle::Rpm,
                rev_s: cut(
                    before.rev_s,
                    cuts.step_rev_s,
                    procedures.rev_step_s,
                    d.rev_s,
                ),
                mixture: d.mixture,
            },
            (None, ThrottleRule::Untouched) if self.fixed() || before.is_full() => Setting {
                rev_s: if self.fixed() { before.rev_s } else { d.rev_s },
                mixture: d.mixture,
                ..before
            },
            (None, ThrottleRule::Untouched) => {
                // The lever stays, the reading goes with the RPM.
                let engine = &p.aircraft.engine;
                let left = Throttle::Fixed(engine.conductance(now, before.rev_s, intake));
                let reading = engine.map_pa(left, d.rev_s, intake).min(limit_pa);
                Setting {
                    throttle: Throttle::Map(reading),
                    rev_s: d.rev_s,
                    mixture: d.mixture,
                }
            }
            (None, _) => Setting::full(d.rev_s, d.mixture),
        };
        let moves = lever_moves(p, intake, now, before, to);
        let middle = points[points.len() / 2];
        let mut trigger = trigger;
        if p.aircraft.equipment.induction == Induction::Carburettor
            && middle.power_fraction < coming.power_fraction - LARGE_REDUCTION
        {
            self.push(
                Group::Descent,
                trigger,
                "CARB HEAT on until the descent is settled".to_owned(),
                String::new(),
                top,
            );
            trigger = THEN;
        }
        if !moves.is_empty() {
            self.push_moves(Group::Descent, trigger, moves, "", top);
            trigger = THEN;
        }
        let mut top = top;
        if d.gear_down && !self.gear_down {
            self.gear_down = true;
            let speeds = &p.aircraft.speeds;
            let vlo = knots(kt(speeds.vlo_extend_m_s).floor());
            if coming.ias_m_s > speeds.vlo_extend_m_s {
                let action = format!("LEVEL, slow to {vlo} KIAS");
                self.push(Group::Descent, trigger, action, String::new(), top);
                trigger = THEN;
            }
            let out = points
                .iter()
                .find(|t| t.ias_m_s <= speeds.vlo_extend_m_s + 0.01);
            top = out.map_or(top, |t| t.state.distance_m);
            self.push(
                Group::Descent,
                trigger,
                format!("GEAR down at or below {vlo} KIAS"),
                format!(
                    "at most {} KIAS with it down",
                    knots(kt(speeds.vle_m_s).floor())
                ),
                top,
            );
            trigger = THEN;
        }
        let (action, expect) = match d.path {
            PathRule::Rate(r) => (
                format!("DOWN at {} fpm", number(fpm(r), 0)),
                format!(
                    "about {} KIAS{}",
                    knots(kt(middle.ias_m_s)),
                    over_ground(&middle)
                ),
            ),
            PathRule::Ias(v) => (
                if coming.ias_m_s > v + 0.5 * p.aircraft.procedures.speed_step_m_s {
                    format!("LEVEL, slow to {} KIAS, then DOWN at that", knots(kt(v)))
                } else {
                    format!("NOSE DOWN to {} KIAS", knots(kt(v)))
                },
                format!(
                    "about {} fpm{}",
                    number(down(-fpm(middle.rate_m_s), -1), 0),
                    over_ground(&middle)
                ),
            ),
        };
        let closed = if p.aircraft.equipment.cowl_flaps {
            "; COWL FLAPS closed"
        } else {
            ""
        };
        self.push(
            Group::Descent,
            trigger,
            action,
            format!("{expect}{closed}"),
            top,
        );
        if let (Some(t), Some(f)) = (target, first)
            && f > t + 1.0
        {
            self.throttle_steps(Group::Descent, THEN, (f, t), cuts, String::new(), top, {
                (d.rev_s, d.mixture)
            });
        }
        if d.throttle == ThrottleRule::Rpm && to.rev_s > d.rev_s + NO_MOVE_REV_S {
            let action = self.rev_reduction(to.rev_s, d.rev_s, cuts);
            self.push(Group::Descent, THEN, action, String::new(), top);
            for r in readings(to.rev_s, d.rev_s, cuts.step_rev_s, NO_MOVE_REV_S) {
                self.point(Lever::Throttle, f64::NAN, r, d.mixture);
            }
        }
        self.on_the_way_down(d.throttle, d.rev_s, d.mixture, until_m, points);
        Setting {
            throttle: target.map_or(to.throttle, Throttle::Map),
            rev_s: d.rev_s,
            mixture: d.mixture,
        }
    }

    /// "THROTTLE back, an inch every 30 s: 21, 20, 19 in", from the first of two readings to the second, at an RPM and mixture.
    #[expect(
        clippy::too_many_arguments,
        reason = "one line, called for the descent and the slow-down"
    )]
    fn throttle_steps(
        &mut self,
        group: Group,
        trigger: &str,
        (from_pa, to_pa): (f64, f64),
        cuts: &Reduction,
        expect: String,
        distance_m: f64,
        (rev_s, mixture): (f64, usize),
    ) {
        let steps = readings(from_pa, to_pa, cuts.step_pa, NO_MOVE_PA);
        let action = format!(
            "THROTTLE back, {}: {} in",
            pace(cuts.step_pa, cuts.interval_s),
            row(&steps, |p| inches(inhg(p)))
        );
        self.push(group, trigger, action, expect, distance_m);
        for p in steps {
            self.point(Lever::Throttle, p, rev_s, mixture);
        }
    }

    /// Trims, or what the throttle left alone does; mixture.
    fn on_the_way_down(
        &mut self,
        rule: ThrottleRule,
        rev_s: f64,
        mixture: usize,
        until_m: f64,
        points: &[TrackPoint],
    ) {
        let p = self.problem;
        let (Some(begin), Some(end)) = (
            points.first(),
            points.iter().rfind(|t| t.indicated_m >= until_m - 1.0),
        ) else {
            return;
        };
        if mixture != p.aircraft.engine.full_rich_mixture()
            && begin.indicated_m > until_m + 2.0 * TRIM_M
        {
            // What the flow comes to at each step, and at the last.
            let mut flows = Vec::new();
            let mut height_m = ((begin.indicated_m - 1.0) / (0.5 * TRIM_M)).round() * 0.5 * TRIM_M
                - MIXTURE_TRIMS * TRIM_M;
            while height_m > end.indicated_m + TRIM_M && flows.len() < 2 {
                let at = points.iter().rfind(|t| t.indicated_m >= height_m - 1.0);
                flows.extend(at.map(|t| (self.flow(t), tens(ft(height_m)))));
                height_m -= MIXTURE_TRIMS * TRIM_M;
            }
            flows.push((self.flow(end), tens(ft(end.indicated_m))));
            let flows: Vec<String> = flows
                .into_iter()
                .map(|(flow, height)| format!("{flow} at {height} ft"))
                .collect();
            self.push(
                Group::Descent,
                "every 2,000 ft down",
                format!("MIXTURE forward to hold {}", mixture_name(p, mixture)),
                flows.join(", "),
                begin.state.distance_m,
            );
            self.point(Lever::Mixture, begin.map_pa, begin.rev_s, mixture);
        }
        if self.fixed() {
            let most = revs(rpm(p.aircraft.propeller.highest_governed_rev_s));
            let highest = points.iter().map(|t| t.rev_s).fold(0.0, f64::max);
            let (action, expect) = match rule {
                ThrottleRule::Rpm => (
                    format!("THROTTLE back to hold {} rpm", revs(rpm(rev_s))),
                    "RPM rises in thicker air".to_owned(),
                ),
                _ => (
                    format!("THROTTLE leave alone, but at most {most} rpm"),
                    format!("RPM goes to about {}", revs(rpm(highest))),
                ),
            };
            self.push(
                Group::Descent,
                "on the way down",
                action,
                expect,
                begin.state.distance_m,
            );
            self.point(Lever::None, f64::NAN, highest, mixture);
            self.point(Lever::Throttle, f64::NAN, end.rev_s, mixture);
            return;
        }
        let limit_pa = p.aircraft.map_limit_pa(rev_s);
        match rule {
            ThrottleRule::Held(set) => {
                let mut trims = Vec::new();
                let mut peaks = Vec::new();
                let mut height_m = ((begin.indicated_m - 1.0) / TRIM_M).floor() * TRIM_M;
                let mut first_m = begin.state.distance_m;
                while height_m > until_m + 1.0 {
                    let before = points.iter().rfind(|t| t.indicated_m > height_m + 1.0);
                    if let Some(t) = before.filter(|t| t.map_pa > set + NO_MOVE_PA) {
                        if trims.is_empty() {
                            first_m = t.state.distance_m;
                        }
                        trims.push(feet(ft(height_m)));
                        peaks.push(t.map_pa);
                    }
                    height_m -= TRIM_M;
                }
                if !trims.is_empty() {
                    self.push(
                        Group::Descent,
                        &format!("{} ft", trims.join(", ")),
                        format!("THROTTLE back to {} in", inches(inhg(set))),
                        "MAP rises about 1 in each 1,000 ft between".to_owned(),
                        first_m,
                    );
                    for peak in peaks {
                        self.point(Lever::None, peak, rev_s, mixture);
                        self.point(Lever::Throttle, set, rev_s, mixture);
                    }
                }
            }
            ThrottleRule::LeftAlone(_)
            | ThrottleRule::Full
            | ThrottleRule::Rpm
            | ThrottleRule::Untouched => {
                let held = end.map_pa > limit_pa - NO_MOVE_PA;
                let action = if held {
                    format!(
                        "THROTTLE leave alone, but never over {} in",
                        inches(inhg(limit_pa))
                    )
                } else {
                    "THROTTLE leave alone".to_owned()
                };
                self.push(
                    Group::Descent,
                    "on the way down",
                    action,
                    map_change(begin.map_pa, end.map_pa),
                    begin.state.distance_m,
                );
                let most_pa = points.iter().map(|t| t.map_pa).fold(0.0, f64::max);
                self.point(Lever::None, most_pa, rev_s, mixture);
            }
        }
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

/// What manifold pressure does between two readings with the throttle left alone.
pub(super) fn map_change(from_pa: f64, to_pa: f64) -> String {
    let way = if to_pa > from_pa + HOLDS_PA {
        "rises to"
    } else if to_pa < from_pa - HOLDS_PA {
        "falls to"
    } else {
        "stays at"
    };
    format!("MAP {way} about {} in", inches(inhg(to_pa)))
}

/// ", 150 kt GS"; nothing in a turn.
fn over_ground(t: &TrackPoint) -> String {
    if t.bank_rad > 0.0 {
        String::new()
    } else {
        format!(", {} kt GS", knots(kt(t.ground_speed_m_s)))
    }
}
