//! The departure side: take-off, climb, cruise.

use super::levers::{Lever, Move, Setting, lever_moves, mixture_move};
use super::{CardLine, Group, NO_MOVE_M_S, THEN, Writer, circle_words, down_to_tens};
use crate::aircraft::{Gear, Induction, Throttle};
use crate::brief::figures::mixture_name;
use crate::brief::units::{fpm, ft, inhg, kt, min, nm, rpm};
use crate::brief::words::{clock, down, feet, inches, knots, number, revs, tens, up};
use crate::flight::{Cruise, Segment, SegmentKind, TrackPoint};
use crate::quantity::M_PER_FT;
use crate::solve::Plan;
use crate::trip::Start;

/// No tank is changed below this height above ground, ft.
const TANK_CHANGE_FT: f64 = 1_500.0;
/// The last tank change is made this long before the top of descent, s (our choice: done and settled when the descent begins).
const BEFORE_DESCENT_S: f64 = 300.0;

impl Writer<'_> {
    pub(super) fn departure(&mut self, plan: &Plan) {
        let p = self.problem;
        let a = &p.aircraft;
        let script = &plan.flown.script;
        let highest = a.propeller.highest_governed_rev_s;
        let name = mixture_name(p, script.initial_mixture);
        if let Some(t) = self.first_point(SegmentKind::InitialClimb) {
            let density_ft = number(up(ft(p.density_altitude_m(&p.departure, 0.0)), -1), 0);
            let mut set = Vec::new();
            if a.equipment.cowl_flaps {
                set.push("COWL FLAPS open".to_owned());
            }
            if a.equipment.induction == Induction::Carburettor {
                set.push("CARB HEAT off".to_owned());
            }
            if a.equipment.auxiliary_pump {
                set.push("AUX PUMP on".to_owned());
            }
            set.push(format!("MIXTURE {name}"));
            if !self.fixed() {
                set.push("PROP full forward".to_owned());
            }
            set.push("THROTTLE full forward".to_owned());
            self.push(
                Group::TakeOff,
                "lined up",
                set.join(", "),
                format!(
                    "{}, {}; density altitude {density_ft} ft",
                    self.reads(&t),
                    self.flow(&t)
                ),
                0.0,
            );
            self.point(Lever::Mixture, t.map_pa, t.rev_s, script.initial_mixture);
            self.point(Lever::Throttle, t.map_pa, t.rev_s, script.initial_mixture);
            let ias = knots(kt(script.initial_ias_m_s));
            let rate = number(down(fpm(t.rate_m_s), -1), 0);
            match a.equipment.gear {
                Gear::Retractable => self.push(
                    Group::TakeOff,
                    "climbing, no runway left",
                    format!("GEAR up below {} KIAS", knots(kt(a.speeds.vlo_retract_m_s))),
                    format!("{ias} KIAS, {rate} fpm"),
                    0.0,
                ),
                Gear::Fixed => self.push(
                    Group::TakeOff,
                    "off the ground",
                    format!("CLIMB at {ias} KIAS"),
                    format!("{rate} fpm"),
                    0.0,
                ),
            }
        }
        // The point where the climb setting is made: the end of the initial climb.
        let end_of_initial = self
            .segments(SegmentKind::InitialClimb)
            .next()
            .and_then(|s| self.points(s).last().copied());
        if let Some(t) = end_of_initial {
            let mixture = self.climb_mixture(plan, t.indicated_m);
            let to = Setting::full(script.climb.rev_s, mixture);
            let from = Setting::full(highest, script.initial_mixture);
            let trigger = format!("{} ft, 1,000 above the field", tens(ft(t.indicated_m)));
            let moves = lever_moves(p, self.intake(&t), t.map_pa, from, to);
            let after = self
                .first_point(SegmentKind::Accelerate)
                .or(self.first_of_climb());
            let end = after.map_or(String::new(), |t| {
                format!("throttle stays full, {}", self.flow(&t))
            });
            let mut trigger = trigger.as_str();
            if !moves.is_empty() {
                self.push_moves(Group::Climb, trigger, moves, &end, t.state.distance_m);
                trigger = THEN;
            }
            let climb = self.first_of_climb();
            let rate = climb.map_or(String::new(), |c| {
                format!("{} fpm; ", number(down(fpm(c.rate_m_s), -1), 0))
            });
            let ias = knots(kt(script.climb.ias_m_s));
            let first_m = climb.map_or(f64::INFINITY, |c| c.state.distance_m);
            let accelerates = self
                .first_point(SegmentKind::Accelerate)
                .is_some_and(|t| t.state.distance_m < first_m);
            let circled = self.flown.circling_climb();
            let climbing = match &circled {
                Some(c) => format!(
                    "CIRCLE over the field, climbing at {ias} KIAS, to {} ft, then on course",
                    feet(ft(c.end.indicated_m))
                ),
                None => format!("CLIMB at {ias} KIAS"),
            };
            let action = if accelerates {
                hold_height_to(&ias, &climbing)
            } else {
                climbing
            };
            let turns = circled.map_or(String::new(), |c| circle_words(&c));
            self.push(
                Group::Climb,
                trigger,
                action,
                format!("{turns}{rate}{}", self.gauge_in_climb()),
                t.state.distance_m,
            );
            if a.equipment.auxiliary_pump {
                self.push(
                    Group::Climb,
                    THEN,
                    "AUX PUMP off".to_owned(),
                    String::new(),
                    t.state.distance_m,
                );
            }
        }
        if p.start != Start::Ground {
            self.take_up(plan);
        }
        // Leaning on the way up, and the second speed.
        let climbs = self.climbs();
        let mut second = script.climb.second;
        for pair in climbs.windows(2) {
            let (Some(end), Some(t)) = (
                self.points(&pair[0]).last().copied(),
                self.points(&pair[1]).first().copied(),
            ) else {
                continue;
            };
            if let Some((_, ias_m_s)) = second.filter(|s| end.indicated_m > s.0 - 1.0) {
                second = None;
                let ias = knots(kt(ias_m_s));
                let action = if ias_m_s > script.climb.ias_m_s {
                    hold_height_to(&ias, &format!("CLIMB at {ias} KIAS"))
                } else {
                    format!("NOSE UP to {ias} KIAS, CLIMB at that")
                };
                let rate = climbs
                    .iter()
                    .filter_map(|s| self.points(s).first())
                    .find(|c| {
                        c.indicated_m > end.indicated_m - 1.0
                            && (c.ias_m_s - ias_m_s).abs() < NO_MOVE_M_S
                    });
                let expect = rate.map_or(String::new(), |c| {
                    format!("{} fpm", number(down(fpm(c.rate_m_s), -1), 0))
                });
                let trigger = format!("passing {} ft", tens(ft(end.indicated_m)));
                self.push(Group::Climb, &trigger, action, expect, end.state.distance_m);
            }
            if let Some(action) = mixture_move(p, pair[0].mixture, pair[1].mixture) {
                let expect = self.flow(&t);
                let trigger = format!("passing {} ft", tens(ft(t.indicated_m)));
                self.push(Group::Climb, &trigger, action, expect, t.state.distance_m);
                self.point(Lever::Mixture, t.map_pa, t.rev_s, pair[1].mixture);
            }
        }
        // Who begins in flight may have no climb to a first level.
        if !climbs.is_empty() {
            self.level_off(plan);
        }
        self.level_changes(plan);
        self.tanks();
    }

    /// What is to be done now by who begins in flight: every lever by its reading, for nothing has said where it stands.
    fn take_up(&mut self, plan: &Plan) {
        let script = &plan.flown.script;
        let (Some(first), Some(now)) = (script.cruise.first(), self.flown.track.first().copied())
        else {
            return;
        };
        let level = feet(ft(first.level_m));
        let climb = self.first_of_climb();
        let down = self
            .first_point(SegmentKind::LevelChange)
            .filter(|t| t.state.time_s == 0.0);
        let (group, setting, action, expect) = match (climb, down) {
            (Some(_), _) => {
                let ias_m_s = script.climb.ias_from_m_s(now.indicated_m);
                let ias = knots(kt(ias_m_s));
                let slower = now.ias_m_s < ias_m_s;
                let action = if slower {
                    format!("hold height to {ias} KIAS, then CLIMB to {level} ft at {ias} KIAS")
                } else {
                    format!("NOSE UP to {ias} KIAS, CLIMB at that to {level} ft")
                };
                let mixture = self.climb_mixture(plan, now.indicated_m);
                let rate = self
                    .segments_that(SegmentKind::climbs)
                    .filter_map(|s| self.points(s).first())
                    .find(|c| (c.ias_m_s - ias_m_s).abs() < NO_MOVE_M_S)
                    .map_or(String::new(), |c| {
                        format!("{} fpm; ", number(down_to_tens(c.rate_m_s), 0))
                    });
                (
                    Group::Climb,
                    Setting::full(script.climb.rev_s, mixture),
                    action,
                    format!("{rate}{}", self.gauge_in_climb()),
                )
            }
            (None, Some(t)) => (
                Group::Cruise,
                self.cruise_setting(first, &t),
                format!(
                    "DOWN to {level} ft at {} fpm",
                    number(down_to_tens(-t.rate_m_s), 0)
                ),
                String::new(),
            ),
            (None, None) => {
                let steady = self.segments(SegmentKind::Cruise).next().copied();
                let steady = steady.and_then(|s| self.points(&s).last().copied());
                let t = steady.unwrap_or(now);
                (
                    Group::Cruise,
                    self.cruise_setting(first, &now),
                    format!("STAY at {level} ft"),
                    self.cruise_end(&t),
                )
            }
        };
        let equipment = &self.problem.aircraft.equipment;
        let mut set = vec![format!(
            "MIXTURE {}",
            mixture_name(self.problem, setting.mixture)
        )];
        if equipment.cowl_flaps {
            let way = if climb.is_some() { "open" } else { "closed" };
            set.push(format!("COWL FLAPS {way}"));
        }
        if !self.fixed() {
            set.push(format!("PROP {}", revs(rpm(setting.rev_s))));
        }
        set.push(match setting.throttle {
            Throttle::Map(pa) => format!("THROTTLE {} in", inches(inhg(pa))),
            Throttle::Rpm => format!("THROTTLE {} rpm", revs(rpm(setting.rev_s))),
            Throttle::Full | Throttle::Fixed(_) | Throttle::Shut => "THROTTLE full".to_owned(),
        });
        self.push(group, "now", set.join(", "), self.reads(&now), 0.0);
        self.point(Lever::Mixture, now.map_pa, now.rev_s, setting.mixture);
        self.point(Lever::Prop, now.map_pa, now.rev_s, setting.mixture);
        self.point(Lever::Throttle, now.map_pa, now.rev_s, setting.mixture);
        self.push(group, THEN, action, expect, 0.0);
    }

    fn climb_mixture(&self, plan: &Plan, indicated_m: f64) -> usize {
        let c = &plan.flown.script.climb;
        if indicated_m >= c.lean_at_m - 0.1 {
            self.problem.aircraft.engine.best_power_mixture()
        } else {
            c.mixture
        }
    }

    fn cruise_end(&self, t: &TrackPoint) -> String {
        format!(
            "{} KIAS, {} KTAS, {}",
            knots(kt(t.ias_m_s)),
            knots(kt(t.state.tas_m_s)),
            self.flow(t)
        )
    }

    /// The first level: speed first, at climb power, then the cruise setting.
    fn level_off(&mut self, plan: &Plan) {
        let script = &plan.flown.script;
        let Some(first) = script.cruise.first() else {
            return;
        };
        let (Some(level), Some(steady)) = (
            self.first_point(SegmentKind::LevelOff),
            self.segments(SegmentKind::Cruise).next().copied(),
        ) else {
            return;
        };
        let before = self.point_before(&steady).unwrap_or(level);
        let steady = self.points(&steady).first().copied();
        let Some(steady) = steady else { return };
        let ias = knots(kt(first.set_at_ias_m_s));
        self.push(
            Group::Climb,
            &format!(
                "{} ft, {} nm out, {} min",
                feet(ft(first.level_m)),
                number(up(nm(level.state.distance_m), 0), 0),
                number(up(min(level.state.time_s), 0), 0)
            ),
            format!("LEVEL, leave climb power on to {ias} KIAS"),
            String::new(),
            level.state.distance_m,
        );
        let from = Setting::full(
            self.climb_rev_s(plan, &before),
            self.climb_mixture(plan, level.indicated_m),
        );
        let mut moves = self.set_cruise(&steady, from, first);
        if self.problem.aircraft.equipment.cowl_flaps {
            moves.push(Move {
                lever: Lever::CowlFlaps,
                action: "COWL FLAPS closed".to_owned(),
                expect: String::new(),
                map_pa: steady.map_pa,
                rev_s: steady.rev_s,
                mixture: first.mixture,
            });
        }
        let end = self.cruise_end(&steady);
        let trigger = format!("passing {ias} KIAS");
        self.push_moves(
            Group::Cruise,
            &trigger,
            moves,
            &end,
            steady.state.distance_m,
        );
    }

    fn set_cruise(&self, t: &TrackPoint, from: Setting, cruise: &Cruise) -> Vec<Move> {
        let engine = &self.problem.aircraft.engine;
        let intake = self.intake(t);
        let now = engine.map_pa(from.throttle, from.rev_s, intake);
        let to = self.cruise_setting(cruise, t);
        lever_moves(self.problem, intake, now, from, to)
    }

    /// Crankshaft speed at the end of a climb: what is set, at fixed pitch what turns.
    fn climb_rev_s(&self, plan: &Plan, end: &TrackPoint) -> f64 {
        if self.fixed() {
            end.rev_s
        } else {
            plan.flown.script.climb.rev_s
        }
    }

    /// Later levels.
    fn level_changes(&mut self, plan: &Plan) {
        let script = &plan.flown.script;
        let cruises: Vec<Segment> = self.segments(SegmentKind::Cruise).copied().collect();
        // A change that a flight begins with in the air leads to its first cruise.
        let first = cruises.first().map_or(0, |c| c.first);
        let changes: Vec<Segment> = self
            .segments(SegmentKind::LevelChange)
            .filter(|s| s.first >= first)
            .copied()
            .collect();
        for ((pair, change), steady) in script
            .cruise
            .windows(2)
            .zip(changes)
            .zip(cruises.into_iter().skip(1))
        {
            let (Some(begin), Some(end), Some(steady)) = (
                self.points(&change).first().copied(),
                self.point_before(&steady),
                self.points(&steady).first().copied(),
            ) else {
                continue;
            };
            let at = format!("{} nm out", number(nm(begin.state.distance_m), 0));
            let level = feet(ft(pair[1].level_m));
            let cruising = self.point_before(&change).unwrap_or(begin);
            let before = self.cruise_setting(&pair[0], &cruising);
            let mut from = before;
            if pair[1].level_m > pair[0].level_m {
                let climb = Setting::full(
                    self.climb_rev_s(plan, &end),
                    self.climb_mixture(plan, begin.indicated_m),
                );
                let intake = self.intake(&begin);
                let now =
                    self.problem
                        .aircraft
                        .engine
                        .map_pa(before.throttle, before.rev_s, intake);
                let moves = lever_moves(self.problem, intake, now, before, climb);
                self.push_moves(Group::Cruise, &at, moves, "", begin.state.distance_m);
                let ias = knots(kt(begin.ias_m_s));
                self.push(
                    Group::Cruise,
                    THEN,
                    format!("CLIMB to {level} ft at {ias} KIAS"),
                    if self.problem.aircraft.equipment.cowl_flaps {
                        "COWL FLAPS as CHT needs".to_owned()
                    } else {
                        String::new()
                    },
                    begin.state.distance_m,
                );
                from = climb;
            } else {
                let rate = number(-fpm(begin.rate_m_s), 0);
                self.push(
                    Group::Cruise,
                    &at,
                    format!("DOWN to {level} ft at {rate} fpm"),
                    format!(
                        "{} rises: trim to the setting",
                        if self.fixed() { "RPM" } else { "MAP" }
                    ),
                    begin.state.distance_m,
                );
            }
            let moves = self.set_cruise(&steady, from, &pair[1]);
            let end = self.cruise_end(&steady);
            let trigger = if pair[1].level_m > pair[0].level_m {
                format!("level, {} KIAS", knots(kt(pair[1].set_at_ias_m_s)))
            } else {
                format!("level at {level} ft")
            };
            self.push_moves(
                Group::Cruise,
                &trigger,
                moves,
                &end,
                steady.state.distance_m,
            );
        }
    }

    /// Tank changes at the interval of the profile; the last before the descent, to the fullest.
    pub(super) fn tanks(&mut self) {
        let interval_s = self.problem.aircraft.procedures.tank_change_s;
        let tod = self.flown.top_of_descent;
        if !interval_s.is_finite() || interval_s <= 0.0 || tod.time_s <= interval_s {
            return;
        }
        // High enough over the ground, where that is known.
        let track = &self.flown.track;
        let high = |t: &&TrackPoint| {
            let s = t.state.distance_m;
            let ground_m = self.problem.ground_m(s).unwrap_or(f64::NEG_INFINITY);
            t.true_altitude_m - ground_m >= TANK_CHANGE_FT * M_PER_FT
        };
        let last_s = tod.time_s - BEFORE_DESCENT_S;
        let mut due = Vec::new();
        let mut next_s = interval_s;
        // What falls due when the last is near waits for that.
        while next_s < last_s - BEFORE_DESCENT_S {
            let from = track.iter().filter(|t| t.state.time_s >= next_s - 1e-6);
            match from.clone().find(high) {
                Some(t) if t.state.time_s < last_s - BEFORE_DESCENT_S => {
                    // On time where it is high enough then; else as soon as it is.
                    let first = from.clone().next().map_or(0.0, |t| t.state.time_s);
                    let at_s = if t.state.time_s > first {
                        t.state.time_s
                    } else {
                        next_s
                    };
                    due.push(at_s);
                    next_s = at_s + interval_s;
                }
                _ => break,
            }
        }
        let last = format!(
            "{} min before top of descent",
            number(min(BEFORE_DESCENT_S), 0)
        );
        let aircraft = &self.problem.aircraft;
        let (tank, each) = if aircraft.engines > 1 {
            ("FUEL next tank", " of each engine")
        } else {
            ("FUEL other tank", "")
        };
        let change = if due.is_empty() {
            format!("FUEL fullest tank{each}")
        } else {
            format!("{tank}{each}, at last the fullest")
        };
        let action = if aircraft.equipment.auxiliary_pump {
            format!("AUX PUMP on, {change}, AUX PUMP off")
        } else {
            change
        };
        let times: Vec<String> = due.iter().map(|&s| clock(min(s))).collect();
        let trigger = if times.is_empty() {
            last
        } else {
            format!("at {}; {last}", times.join(", "))
        };
        // Among the lines of the cruise, after what is done before the first change.
        let first_s = due.first().copied().unwrap_or(last_s);
        let at_m = track
            .iter()
            .find(|t| t.state.time_s >= first_s)
            .map_or(tod.distance_m, |t| t.state.distance_m);
        self.push(
            Group::Cruise,
            &trigger,
            action,
            format!("never below {} ft above ground", number(TANK_CHANGE_FT, 0)),
            at_m,
        );
        let line = self.lines.pop();
        let later = |l: &CardLine| {
            l.group == Group::Cruise && l.trigger != THEN && l.distance_nm > nm(at_m)
        };
        let place = self.lines.iter().position(later);
        let place = place.unwrap_or(self.lines.len());
        if let Some(line) = line {
            self.lines.insert(place, line);
        }
    }
}

/// To a faster climb: level first.
fn hold_height_to(ias: &str, climbing: &str) -> String {
    format!("hold height to {ias} KIAS, then {climbing}")
}
