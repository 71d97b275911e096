//! One part of a descent on the card: what is set, the way down with its trims or the throttle left alone, and turns over the field.

use super::levers::{Lever, NO_MOVE_PA, NO_MOVE_REV_S, Setting, lever_moves, pace, readings, row};
use super::{Group, HOLDS_PA, THEN, TRIM_M, Writer, circle_words};
use crate::aircraft::{Induction, Throttle};
use crate::brief::figures::mixture_name;
use crate::brief::units::{fpm, ft, inhg, kt, rpm};
use crate::brief::words::{down, feet, inches, knots, number, revs, tens};
use crate::flight::{Circled, DescentPart, PathRule, Reduction, ThrottleRule, TrackPoint};
use crate::solve::Plan;

/// A descent that takes at least this fraction of rated power off begins with a large reduction, for which a carburettor is
/// heated.
const LARGE_REDUCTION: f64 = 0.1;
/// Mixture steps on the way down: every 2,000 ft, in trims.
const MIXTURE_TRIMS: f64 = 2.0;

impl Writer<'_> {
    /// The turns over the destination.
    pub(super) fn circle_down(&mut self, group: Group, c: &Circled) {
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
    pub(super) fn descent_part(
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
    pub(super) fn throttle_steps(
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
