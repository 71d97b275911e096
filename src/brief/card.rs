//! The lever card: the plan as cockpit actions in order, each with a trigger a pilot can see.
//!
//! # Order of levers
//! Reducing power: throttle, propeller, mixture. Adding power: mixture, propeller, throttle. With the throttle left where it
//! is, manifold pressure comes up when the propeller comes back, because the engine draws less; so the throttle is retarded
//! first, to the reading from which the propeller brings it up to the one wanted ([`Engine::conductance`] of the wanted
//! reading, read again at the old RPM), and set again after.
//!
//! With a fixed pitch there is no propeller lever: power is set by the tachometer, and the card speaks of RPM alone.
//!
//! # Equipment
//! Cowl flaps, auxiliary pump and carburettor heat stand on the card of a profile that has them, at the moments of common
//! practice (no source); the flight manual's order rules, and the sheet says so.
//!
//! [`Engine::conductance`]: crate::aircraft::Engine::conductance

use super::circling::turns_words;
use super::figures::mixture_name;
use super::units::{Fuel, fpm, ft, inhg, kt, min, nm, rpm};
use super::words::{down, feet, inches, knots, number, revs, tens, up};
use crate::aircraft::{Gear, Induction, Throttle, engine::Intake};
use crate::flight::{
    Circled, Cruise, DescentPart, Flown, PathRule, Reduction, Segment, SegmentKind, ThrottleRule,
    TrackPoint,
};
use crate::quantity::{M_PER_FT, M_PER_NM, M_S_PER_KT, PA_PER_INHG};
use crate::solve::Plan;
use crate::trip::{Problem, Start};
use serde::Serialize;

/// Most lines on a side of the card: departure (take-off, climb, cruise) and arrival (descent, arrival).
pub const CARD_LINES_A_SIDE: usize = 9;
/// Height between trims of a held manifold pressure, m.
const TRIM_M: f64 = 1_000.0 * M_PER_FT;
/// A difference in manifold pressure too small to move a lever for, Pa.
const NO_MOVE_PA: f64 = 0.25 * PA_PER_INHG;
/// A difference in manifold pressure too small to be read on a gauge, to which the throttle is not set again, Pa.
const UNSEEN_PA: f64 = 0.1 * PA_PER_INHG;
/// A difference in crankshaft speed too small to move a lever for, rev/s.
const NO_MOVE_REV_S: f64 = 5.0 / 60.0;
/// A difference in speed too small to be flown, m/s.
const NO_MOVE_M_S: f64 = 0.1 * M_S_PER_KT;
/// Heights that differ by less are the same, m.
const SAME_HEIGHT_M: f64 = 0.1;
/// How power changed by less than this fraction counts as reduced, which is the more careful order.
const SAME_POWER: f64 = 0.005;
/// Manifold pressure that moves by less than this on a stretch holds, Pa.
const HOLDS_PA: f64 = 0.5 * PA_PER_INHG;
/// A descent that takes at least this fraction of rated power off begins with a large reduction, for which a carburettor is
/// heated.
const LARGE_REDUCTION: f64 = 0.1;
/// Who is to circle over the field is over it from here, m: the top of descent is given in tenths of a mile.
const OVER_FIELD_M: f64 = 0.2 * M_PER_NM;
/// No tank is changed below this height above ground, ft.
const TANK_CHANGE_FT: f64 = 1_500.0;

/// Which part of the flight a line belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Group {
    /// Lined up, to 1,000 ft above the field.
    TakeOff,
    /// To the top of climb.
    Climb,
    /// To the top of descent.
    Cruise,
    /// To pattern altitude.
    Descent,
    /// To the circuit.
    Arrival,
}

impl Group {
    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Self::TakeOff => "Take-off",
            Self::Climb => "Climb",
            Self::Cruise => "Cruise",
            Self::Descent => "Descent",
            Self::Arrival => "Arrival",
        }
    }

    /// Whether it is on the arrival side of the card.
    pub fn arrival_side(self) -> bool {
        matches!(self, Self::Descent | Self::Arrival)
    }
}

/// One line: what you see, which lever to what, what to expect.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CardLine {
    /// From 1.
    pub order: usize,
    /// Part of the flight.
    pub group: Group,
    /// What the pilot sees; "then" for straight after the line above.
    pub trigger: String,
    /// Lever, way and reading.
    pub action: String,
    /// What to expect after it; may be empty.
    pub expect: String,
    /// Where along the route.
    pub distance_nm: f64,
}

const THEN: &str = "then";

/// What the levers are set to.
#[derive(Debug, Clone, Copy)]
struct Setting {
    /// Full, at a manifold pressure, or (fixed pitch) where `rev_s` has it.
    throttle: Throttle,
    /// What is set; fixed pitch: what the tachometer shows.
    rev_s: f64,
    mixture: usize,
}

impl Setting {
    /// Full throttle.
    fn full(rev_s: f64, mixture: usize) -> Self {
        Self {
            throttle: Throttle::Full,
            rev_s,
            mixture,
        }
    }

    fn is_full(self) -> bool {
        self.throttle == Throttle::Full
    }

    /// The reading set, Pa; `None`: full throttle.
    fn map_pa(self) -> Option<f64> {
        match self.throttle {
            Throttle::Map(p) => Some(p),
            _ => None,
        }
    }
}

/// One lever moved.
#[derive(Debug, Clone, PartialEq)]
struct Move {
    lever: Lever,
    action: String,
    expect: String,
    /// Reading after it, Pa and rev/s: the path of the levers.
    map_pa: f64,
    rev_s: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Lever {
    Throttle,
    Prop,
    Mixture,
    CowlFlaps,
}

/// The names of the mixtures, richest first, with their fuel-air ratio.
fn mixture_move(problem: &Problem, from: usize, to: usize) -> Option<String> {
    let rows = &problem.aircraft.engine.spec.mixtures;
    let (a, b) = (rows.get(from)?, rows.get(to)?);
    if from == to {
        None
    } else if b.fuel_air > a.fuel_air {
        let full = to == problem.aircraft.engine.full_rich_mixture();
        Some(format!(
            "MIXTURE {} {}",
            if full { "full forward," } else { "forward to" },
            b.name
        ))
    } else {
        Some(format!("MIXTURE back to {}", b.name))
    }
}

/// Lever moves from one setting to another in air and speed of the moment, in the right order.
///
/// `now_pa` is what the manifold pressure gauge shows before.
fn lever_moves(
    problem: &Problem,
    intake: Intake,
    now_pa: f64,
    from: Setting,
    to: Setting,
) -> Vec<Move> {
    let aircraft = &problem.aircraft;
    if aircraft.propeller.is_fixed() {
        return fixed_pitch_moves(problem, from, to);
    }
    let engine = &aircraft.engine;
    let end_pa = engine.map_pa(to.throttle, to.rev_s, intake);
    let power = |map, rev, mix| engine.at_map(map, rev, mix, intake).power_w;
    let before_w = power(now_pa, from.rev_s, from.mixture);
    let after_w = power(end_pa, to.rev_s, to.mixture);
    let reducing = after_w <= before_w + SAME_POWER * engine.spec.rated_power_w;
    let mut moves = Vec::new();
    let mut map_pa = now_pa;
    let mut rev_s = from.rev_s;
    let mut full = from.is_full();
    let mixture = |moves: &mut Vec<Move>, map_pa: f64, rev_s: f64| {
        if let Some(action) = mixture_move(problem, from.mixture, to.mixture) {
            moves.push(Move {
                lever: Lever::Mixture,
                action,
                expect: String::new(),
                map_pa,
                rev_s,
            });
        }
    };
    if !reducing {
        mixture(&mut moves, map_pa, rev_s);
    }
    let prop_back = to.rev_s < from.rev_s - NO_MOVE_REV_S;
    let reached = to
        .map_pa()
        .is_some_and(|wanted| wanted <= end_pa + NO_MOVE_PA);
    if reducing && prop_back && reached {
        let g = engine.conductance(end_pa, to.rev_s, intake);
        let retard = engine.map_pa(Throttle::Fixed(g), from.rev_s, intake);
        let step = aircraft.procedures.map_step_pa.max(1.0);
        // With a turbocharger the reading hardly moves as the propeller comes back: then straight to the one wanted.
        let retard = if retard < end_pa - NO_MOVE_PA {
            (retard / step + 1e-6).floor() * step
        } else {
            end_pa
        };
        if retard < map_pa - NO_MOVE_PA {
            let left = Throttle::Fixed(engine.conductance(retard, from.rev_s, intake));
            let rise = engine.map_pa(left, to.rev_s, intake) - retard;
            map_pa = retard;
            full = false;
            moves.push(Move {
                lever: Lever::Throttle,
                action: format!("THROTTLE back to {} in", inches(inhg(retard))),
                expect: if rise > NO_MOVE_PA {
                    format!("PROP will bring MAP up about {}", inches(inhg(rise)))
                } else {
                    String::new()
                },
                map_pa,
                rev_s,
            });
        }
    }
    if (to.rev_s - rev_s).abs() > NO_MOVE_REV_S {
        let fixed = if full {
            Throttle::Full
        } else {
            Throttle::Fixed(engine.conductance(map_pa, rev_s, intake))
        };
        let risen = engine.map_pa(fixed, to.rev_s, intake);
        let way = if to.rev_s < rev_s { "back" } else { "forward" };
        let changed = if (risen - map_pa).abs() < 0.05 * PA_PER_INHG {
            String::new()
        } else if risen > map_pa {
            format!("MAP comes up to about {}", inches(inhg(risen)))
        } else {
            format!("MAP falls to about {}", inches(inhg(risen)))
        };
        map_pa = risen;
        rev_s = to.rev_s;
        moves.push(Move {
            lever: Lever::Prop,
            action: format!("PROP {way} to {}", revs(rpm(to.rev_s))),
            expect: changed,
            map_pa,
            rev_s,
        });
    }
    match to.map_pa() {
        None if !full => moves.push(Move {
            lever: Lever::Throttle,
            action: "THROTTLE full forward".to_owned(),
            expect: format!("about {} in", inches(inhg(end_pa))),
            map_pa: end_pa,
            rev_s,
        }),
        None => {}
        // A reading above what full throttle gives here: it is reached lower down.
        Some(wanted) if wanted > end_pa + NO_MOVE_PA && !full => moves.push(Move {
            lever: Lever::Throttle,
            action: format!(
                "THROTTLE full forward, {} in when reached",
                inches(inhg(wanted))
            ),
            expect: format!("about {} in here", inches(inhg(end_pa))),
            map_pa: end_pa,
            rev_s,
        }),
        Some(wanted) if wanted > end_pa + NO_MOVE_PA => {}
        Some(wanted) => {
            let touched = moves.iter().any(|m| m.lever != Lever::Mixture);
            let off_pa = (wanted - map_pa).abs();
            if off_pa > NO_MOVE_PA || (touched && off_pa > UNSEEN_PA) {
                let way = if wanted < map_pa - NO_MOVE_PA {
                    "back to"
                } else if wanted > map_pa + NO_MOVE_PA {
                    "forward to"
                } else {
                    "set"
                };
                moves.push(Move {
                    lever: Lever::Throttle,
                    action: format!("THROTTLE {way} {} in", inches(inhg(wanted))),
                    expect: String::new(),
                    map_pa: wanted,
                    rev_s,
                });
            }
        }
    }
    if reducing {
        mixture(&mut moves, map_pa, rev_s);
    }
    moves
}

/// The same with a fixed pitch: the throttle is set by the tachometer. `from.rev_s` is what it shows before.
fn fixed_pitch_moves(problem: &Problem, from: Setting, to: Setting) -> Vec<Move> {
    let way = if to.is_full() {
        (!from.is_full()).then(|| "full forward".to_owned())
    } else if to.rev_s < from.rev_s - NO_MOVE_REV_S {
        Some(format!("back to {} rpm", revs(rpm(to.rev_s))))
    } else if to.rev_s > from.rev_s + NO_MOVE_REV_S {
        Some(format!("forward to {} rpm", revs(rpm(to.rev_s))))
    } else {
        None
    };
    let adding = (to.is_full() && !from.is_full()) || to.rev_s > from.rev_s + NO_MOVE_REV_S;
    let one = |lever: Lever, action: String| Move {
        lever,
        action,
        expect: String::new(),
        map_pa: f64::NAN,
        rev_s: to.rev_s,
    };
    let throttle = way.map(|way| one(Lever::Throttle, format!("THROTTLE {way}")));
    let mixture =
        mixture_move(problem, from.mixture, to.mixture).map(|action| one(Lever::Mixture, action));
    if adding {
        mixture.into_iter().chain(throttle).collect()
    } else {
        throttle.into_iter().chain(mixture).collect()
    }
}

/// "21, 20, 19.5": readings of a reduction from one reading to another. `unseen` is a step too small to take.
fn readings(from: f64, to: f64, step: f64, unseen: f64, write: impl Fn(f64) -> String) -> String {
    let mut readings = Vec::new();
    let mut here = from;
    while here > to + 0.01 * unseen && step > unseen && readings.len() < 40 {
        // A last step too small to see is taken with the one before.
        here = if here - step < to + unseen {
            to
        } else {
            here - step
        };
        readings.push(write(here));
    }
    if readings.len() > 5 {
        format!(
            "{}, {}, ... {}",
            readings[0],
            readings[1],
            readings[readings.len() - 1]
        )
    } else {
        readings.join(", ")
    }
}

/// The same in inches: "21, 20, 19.5 in".
fn steps(from_pa: f64, to_pa: f64, step_pa: f64) -> String {
    let all = readings(from_pa, to_pa, step_pa, NO_MOVE_PA, |p| inches(inhg(p)));
    format!("{all} in")
}

/// "an inch every 30 s".
fn pace(step_pa: f64, interval_s: f64) -> String {
    let step = inches(inhg(step_pa));
    let one = if step == "1" {
        "an inch".to_owned()
    } else {
        format!("{step} in")
    };
    if (interval_s - 60.0).abs() < 0.5 {
        format!("{one} a minute")
    } else {
        format!("{one} every {} s", number(interval_s, 0))
    }
}

struct Writer<'a> {
    problem: &'a Problem,
    flown: &'a Flown,
    fuel: Fuel,
    lines: Vec<CardLine>,
    /// The gear has its line already.
    gear_down: bool,
}

impl Writer<'_> {
    fn push(
        &mut self,
        group: Group,
        trigger: &str,
        action: String,
        expect: String,
        distance_m: f64,
    ) {
        self.lines.push(CardLine {
            order: 0,
            group,
            trigger: trigger.to_owned(),
            action,
            expect,
            distance_nm: nm(distance_m),
        });
    }

    /// Lines of some moves, the first with this trigger; what to expect in the end goes to the last.
    fn push_moves(
        &mut self,
        group: Group,
        trigger: &str,
        moves: Vec<Move>,
        end: &str,
        distance_m: f64,
    ) {
        let last = moves.len();
        for (i, m) in moves.into_iter().enumerate() {
            let trigger = if i == 0 { trigger } else { THEN };
            let expect = match (i + 1 == last, m.expect.is_empty()) {
                (true, true) => end.to_owned(),
                (true, false) if !end.is_empty() => format!("{}; {end}", m.expect),
                _ => m.expect,
            };
            self.push(group, trigger, m.action, expect, distance_m);
        }
    }

    fn segments(&self, kind: SegmentKind) -> impl Iterator<Item = &Segment> {
        self.segments_that(move |k| k == kind)
    }

    /// The climb to the first level, in turns or straight.
    fn climbs(&self) -> Vec<Segment> {
        self.segments_that(SegmentKind::climbs).copied().collect()
    }

    fn segments_that(&self, is: impl Fn(SegmentKind) -> bool) -> impl Iterator<Item = &Segment> {
        let track = &self.flown.track;
        self.flown
            .segments
            .iter()
            .enumerate()
            .filter(move |(i, s)| is(s.kind) && track.get(s.first).is_some_and(|t| t.segment == *i))
            .map(|(_, s)| s)
    }

    fn points(&self, s: &Segment) -> &[TrackPoint] {
        self.flown.track.get(s.first..=s.last).unwrap_or(&[])
    }

    fn first_point(&self, kind: SegmentKind) -> Option<TrackPoint> {
        self.segments(kind)
            .next()
            .and_then(|s| self.points(s).first().copied())
    }

    fn first_of_climb(&self) -> Option<TrackPoint> {
        self.segments_that(SegmentKind::climbs)
            .next()
            .and_then(|s| self.points(s).first().copied())
    }

    fn fixed(&self) -> bool {
        self.problem.aircraft.propeller.is_fixed()
    }

    /// The point just before a segment.
    fn point_before(&self, s: &Segment) -> Option<TrackPoint> {
        self.flown.track.get(s.first.checked_sub(1)?).copied()
    }

    /// What a setting makes the gauge read: MAP and RPM, or at fixed pitch RPM alone.
    fn reads(&self, t: &TrackPoint) -> String {
        if self.fixed() {
            format!("about {} rpm", revs(rpm(t.rev_s)))
        } else {
            format!(
                "about {} in, {}",
                inches(inhg(t.map_pa)),
                revs(rpm(t.rev_s))
            )
        }
    }

    /// The setting of a cruise stretch; `t` is a point of it, for a throttle given by its position and for the speed of a
    /// fixed pitch at full throttle.
    fn cruise_setting(&self, c: &Cruise, t: &TrackPoint) -> Setting {
        let (throttle, rev_s) = match c.throttle {
            Throttle::Full if self.fixed() => (Throttle::Full, t.rev_s),
            Throttle::Full => (Throttle::Full, c.rev_s),
            _ if self.fixed() => (Throttle::Rpm, c.rev_s),
            Throttle::Map(p) => (Throttle::Map(p), c.rev_s),
            Throttle::Fixed(_) | Throttle::Shut | Throttle::Rpm => {
                (Throttle::Map(t.map_pa), c.rev_s)
            }
        };
        Setting {
            throttle,
            rev_s,
            mixture: c.mixture,
        }
    }

    /// What the engine gauge does in the climb, as flown.
    fn gauge_in_climb(&self) -> String {
        let climbs = self.climbs();
        let ends = climbs
            .first()
            .zip(climbs.last())
            .and_then(|(a, b)| Some((*self.points(a).first()?, *self.points(b).last()?)));
        match ends {
            None => String::new(),
            Some((a, _)) if self.fixed() => self.reads(&a),
            Some((a, b)) if (a.map_pa - b.map_pa).abs() < HOLDS_PA => {
                format!("MAP holds about {}", inches(inhg(a.map_pa)))
            }
            Some(_) => "MAP falls about 1 in each 1,000 ft".to_owned(),
        }
    }

    fn intake(&self, t: &TrackPoint) -> Intake {
        let s = &t.state;
        let (air, _) = self
            .problem
            .air_state(s.distance_m, s.pressure_altitude_m, s.time_s);
        self.problem.aircraft.intake(air, t.state.tas_m_s)
    }

    /// A reduction by the tachometer.
    fn rev_reduction(&self, from_rev_s: f64, to_rev_s: f64, cuts: &Reduction) -> String {
        if from_rev_s < to_rev_s + 1.5 * cuts.step_rev_s {
            return format!("THROTTLE back to {} rpm", revs(rpm(to_rev_s)));
        }
        format!(
            "THROTTLE back, {} rpm every {} s: {} rpm",
            revs(rpm(cuts.step_rev_s)),
            number(cuts.interval_s, 0),
            readings(from_rev_s, to_rev_s, cuts.step_rev_s, NO_MOVE_REV_S, |r| {
                revs(rpm(r))
            })
        )
    }

    fn flow(&self, t: &TrackPoint) -> String {
        format!("{} gph", number(up(self.fuel.gph(t.fuel_kg_s), 1), 1))
    }

    fn to_go(&self, distance_m: f64) -> String {
        let circles = self.flown.script.descent.circle.is_some();
        if circles && self.problem.length_m - distance_m < OVER_FIELD_M {
            return "over the field".to_owned();
        }
        format!(
            "{} nm to go",
            number(up(nm(self.problem.length_m - distance_m), 0), 0)
        )
    }

    fn departure(&mut self, plan: &Plan) {
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
                format!("hold height to {ias} KIAS, then {climbing}")
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
                    hold_height_to(&ias)
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

    fn tanks(&mut self) {
        let interval_s = self.problem.aircraft.procedures.tank_change_s;
        let tod = self.flown.top_of_descent;
        if !interval_s.is_finite() || interval_s <= 0.0 || tod.time_s <= interval_s {
            return;
        }
        let aircraft = &self.problem.aircraft;
        let tank = if aircraft.engines > 1 {
            "FUEL next tank of each engine"
        } else {
            "FUEL other tank"
        };
        let change = if aircraft.equipment.auxiliary_pump {
            format!("AUX PUMP on, {tank}, AUX PUMP off")
        } else {
            tank.to_owned()
        };
        self.push(
            Group::Cruise,
            &format!("every {} min", number(min(interval_s), 0)),
            format!("{change}; before top of descent the fullest"),
            format!("never below {} ft above ground", number(TANK_CHANGE_FT, 0)),
            tod.distance_m,
        );
    }

    fn arrival(&mut self, plan: &Plan) {
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
        let cut = |now: f64, step: f64, t: f64| if t < now { (now - step).max(t) } else { t };
        let set = d.throttle.set_map_pa().filter(|_| !self.fixed());
        // No reading is over the limit line.
        let target = set.map(|t| t.min(limit_pa));
        let first = set.map(|t| cut(now, cuts.step_pa, t).min(limit_pa));
        let to = match (first, d.throttle) {
            (Some(map_pa), _) => Setting {
                throttle: Throttle::Map(map_pa),
                rev_s: d.rev_s,
                mixture: d.mixture,
            },
            (None, ThrottleRule::Rpm) => Setting {
                throttle: Throttle::Rpm,
                rev_s: cut(before.rev_s, cuts.step_rev_s, d.rev_s),
                mixture: d.mixture,
            },
            (None, ThrottleRule::Untouched) => Setting {
                rev_s: if self.fixed() { before.rev_s } else { d.rev_s },
                mixture: d.mixture,
                ..before
            },
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
            let action = format!(
                "THROTTLE back, {}: {}",
                pace(cuts.step_pa, cuts.interval_s),
                steps(f, t, cuts.step_pa)
            );
            self.push(Group::Descent, THEN, action, String::new(), top);
        }
        if d.throttle == ThrottleRule::Rpm && to.rev_s > d.rev_s + NO_MOVE_REV_S {
            let action = self.rev_reduction(to.rev_s, d.rev_s, cuts);
            self.push(Group::Descent, THEN, action, String::new(), top);
        }
        self.on_the_way_down(d.throttle, d.rev_s, d.mixture, until_m, points);
        Setting {
            throttle: target.map_or(to.throttle, Throttle::Map),
            rev_s: d.rev_s,
            mixture: d.mixture,
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
            self.push(
                Group::Descent,
                "every 2,000 ft down",
                format!("MIXTURE forward to hold {}", mixture_name(p, mixture)),
                format!("{} at {} ft", self.flow(end), tens(ft(end.indicated_m))),
                begin.state.distance_m,
            );
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
            return;
        }
        let limit_pa = p.aircraft.map_limit_pa(rev_s);
        match rule {
            ThrottleRule::Held(set) => {
                let mut trims = Vec::new();
                let mut height_m = ((begin.indicated_m - 1.0) / TRIM_M).floor() * TRIM_M;
                let mut first_m = begin.state.distance_m;
                while height_m > until_m + 1.0 {
                    let before = points.iter().rfind(|t| t.indicated_m > height_m + 1.0);
                    if let Some(t) = before.filter(|t| t.map_pa > set + NO_MOVE_PA) {
                        if trims.is_empty() {
                            first_m = t.state.distance_m;
                        }
                        trims.push(feet(ft(height_m)));
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
        // The first step is taken at the trigger itself, so the reading there is already one step down.
        let action = if self.fixed() {
            // The first step is taken at the trigger itself.
            let lowest = slow.iter().map(|t| t.rev_s).fold(cut.rev_s, f64::min);
            self.rev_reduction(cut.rev_s + cuts.step_rev_s, lowest, cuts)
        } else if cut.map_pa > lowest + NO_MOVE_PA {
            format!(
                "THROTTLE back, {}: {}",
                pace(cuts.step_pa, cuts.interval_s),
                steps(cut.map_pa + cuts.step_pa, lowest, cuts.step_pa)
            )
        } else {
            format!("THROTTLE back to {} in", inches(inhg(lowest)))
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
        self.push(
            Group::Arrival,
            trigger,
            action,
            if lowered {
                format!("{level}, {slowed}")
            } else {
                format!("{level}, speed falls")
            },
            cut.state.distance_m,
        );
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
        let action = mixture_move(p, d.last().mixture, mixture)
            .unwrap_or_else(|| format!("MIXTURE stays {}", mixture_name(p, mixture)));
        let ias = knots(kt(p.aircraft.procedures.pattern_m_s));
        let equipment = p.aircraft.equipment;
        let mut trigger = "before landing";
        if equipment.auxiliary_pump {
            self.push(
                Group::Arrival,
                trigger,
                "AUX PUMP on".to_owned(),
                String::new(),
                at,
            );
            trigger = THEN;
        }
        self.push(
            Group::Arrival,
            trigger,
            action,
            format!(
                "go-around mixture at density altitude {} ft",
                number(up(ft(density_m), -1), 0)
            ),
            at,
        );
        let (trigger, reads) = if self.fixed() {
            ("in the pattern", self.reads(&t))
        } else {
            self.push(
                Group::Arrival,
                &format!("power back, {ias} KIAS or slower"),
                "PROP full forward, smoothly".to_owned(),
                "at the latest before base".to_owned(),
                at,
            );
            (THEN, format!("about {} in", inches(inhg(t.map_pa))))
        };
        self.push(
            Group::Arrival,
            trigger,
            format!("THROTTLE set to hold {ias} KIAS"),
            format!("{reads}, {}", self.flow(&t)),
            at,
        );
        let heated = equipment.induction == Induction::Carburettor;
        if heated || equipment.cowl_flaps {
            let mut set = Vec::new();
            if heated {
                set.push("CARB HEAT off");
            }
            set.push("THROTTLE full forward");
            if equipment.cowl_flaps {
                set.push("COWL FLAPS open");
            }
            self.push(
                Group::Arrival,
                "if going around",
                set.join(", "),
                "the flight manual's order rules".to_owned(),
                at,
            );
        }
    }

    /// Joins lines of a side until there are few enough: first those that follow straight on the line above.
    fn fit(&mut self) {
        for side in [false, true] {
            loop {
                let on_side = |l: &CardLine| l.group.arrival_side() == side;
                if self.lines.iter().filter(|l| on_side(l)).count() <= CARD_LINES_A_SIDE {
                    break;
                }
                let joins = |i: &usize| {
                    let (a, b) = (&self.lines[*i - 1], &self.lines[*i]);
                    on_side(a) && on_side(b) && a.group == b.group
                };
                // The shortest pair first, so that no line grows long while another is short.
                let size =
                    |i: &usize| self.lines[*i - 1].action.len() + self.lines[*i].action.len();
                let candidates: Vec<usize> = (1..self.lines.len()).filter(joins).collect();
                let straight_on = candidates
                    .iter()
                    .copied()
                    .filter(|&i| self.lines[i].trigger == THEN)
                    .min_by_key(size);
                let Some(i) = straight_on.or_else(|| candidates.iter().copied().min_by_key(size))
                else {
                    break;
                };
                let second = self.lines.remove(i);
                let first = &mut self.lines[i - 1];
                let link = if second.trigger == THEN {
                    ", then ".to_owned()
                } else {
                    format!("; {}: ", second.trigger)
                };
                first.action = format!("{}{link}{}", first.action, second.action);
                if !second.expect.is_empty() {
                    first.expect = second.expect;
                }
            }
        }
        for (i, l) in self.lines.iter_mut().enumerate() {
            l.order = i + 1;
        }
    }
}

/// ", 150 kt GS"; nothing in a turn.
fn over_ground(t: &TrackPoint) -> String {
    if t.bank_rad > 0.0 {
        String::new()
    } else {
        format!(", {} kt GS", knots(kt(t.ground_speed_m_s)))
    }
}

/// "about 4 turns in 5 min at 20° bank; ".
fn circle_words(c: &Circled) -> String {
    format!(
        "{} in {} min at {}° bank; ",
        turns_words(c.turns),
        number(up(min(c.end.state.time_s - c.begin.state.time_s), 0), 0),
        number(c.begin.bank_rad.to_degrees(), 0)
    )
}

/// To a faster climb: level first.
fn hold_height_to(ias: &str) -> String {
    format!("hold height to {ias} KIAS, then CLIMB at {ias} KIAS")
}

/// What manifold pressure does between two readings with the throttle left alone.
fn map_change(from_pa: f64, to_pa: f64) -> String {
    let way = if to_pa > from_pa + HOLDS_PA {
        "rises to"
    } else if to_pa < from_pa - HOLDS_PA {
        "falls to"
    } else {
        "stays at"
    };
    format!("MAP {way} about {} in", inches(inhg(to_pa)))
}

/// A rate \[m/s\] in tens of feet a minute, rounded down.
fn down_to_tens(rate_m_s: f64) -> f64 {
    down(fpm(rate_m_s), -1)
}

/// The lever card of a plan: at most [`CARD_LINES_A_SIDE`] lines up to the top of descent and as many after it.
pub fn lever_card(plan: &Plan, problem: &Problem) -> Vec<CardLine> {
    let mut writer = Writer {
        problem,
        flown: &plan.flown,
        fuel: Fuel::new(problem.aircraft.fuel.density_kg_m3),
        lines: vec![],
        gear_down: false,
    };
    writer.departure(plan);
    writer.arrival(plan);
    writer.fit();
    writer.lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::brief::sample;
    use crate::quantity::{ManifoldPressure, Rpm};

    fn setting(map_inhg: Option<f64>, revs: f64, mixture: usize) -> Setting {
        Setting {
            throttle: map_inhg.map_or(Throttle::Full, |m| {
                Throttle::Map(ManifoldPressure::inhg(m).to_pa())
            }),
            rev_s: Rpm::per_min(revs).to_rev_s(),
            mixture,
        }
    }

    fn intake() -> Intake {
        Intake {
            upstream_pa: 80_000.0,
            ambient_pa: 79_000.0,
            temperature_k: 275.0,
        }
    }

    fn moves(from: Setting, to: Setting) -> Vec<Move> {
        let problem = sample::problem();
        let now = problem
            .aircraft
            .engine
            .map_pa(from.throttle, from.rev_s, intake());
        lever_moves(problem, intake(), now, from, to)
    }

    fn levers(moves: &[Move]) -> Vec<Lever> {
        moves.iter().map(|m| m.lever).collect()
    }

    #[test]
    fn closed_form_reducing_is_throttle_prop_throttle_mixture() {
        let m = moves(setting(None, 2_500.0, 0), setting(Some(19.0), 2_100.0, 2));
        assert_eq!(
            levers(&m),
            [
                Lever::Throttle,
                Lever::Prop,
                Lever::Throttle,
                Lever::Mixture
            ],
            "{m:?}"
        );
    }

    #[test]
    fn closed_form_adding_is_mixture_prop_throttle() {
        let m = moves(setting(Some(18.0), 2_100.0, 2), setting(None, 2_500.0, 0));
        assert_eq!(
            levers(&m),
            [Lever::Mixture, Lever::Prop, Lever::Throttle],
            "{m:?}"
        );
    }

    #[test]
    fn closed_form_prop_back_at_full_throttle_moves_no_throttle() {
        let m = moves(setting(None, 2_500.0, 1), setting(None, 2_300.0, 1));
        assert_eq!(levers(&m), [Lever::Prop], "{m:?}");
    }

    #[test]
    fn closed_form_the_retard_pays_for_the_rise() {
        // Whatever the settings, no reading on the way lies above both ends by more than half a map step.
        let problem = sample::problem();
        let mut checked = 0;
        for from_in in [17.0, 18.5, 20.0, 22.0] {
            for to_in in [16.0, 18.0, 19.5] {
                for (a, b) in [(2_700.0, 1_900.0), (2_500.0, 2_100.0), (2_300.0, 2_000.0)] {
                    let (from, to) = (setting(Some(from_in), a, 1), setting(Some(to_in), b, 1));
                    let m = moves(from, to);
                    let half_step = 0.5 * problem.aircraft.procedures.map_step_pa;
                    let now = problem
                        .aircraft
                        .engine
                        .map_pa(from.throttle, from.rev_s, intake());
                    let end = problem
                        .aircraft
                        .engine
                        .map_pa(to.throttle, to.rev_s, intake());
                    for x in &m {
                        assert!(
                            x.map_pa <= now.max(end) + half_step,
                            "{from_in} {to_in} {a} {b}: {m:?}"
                        );
                    }
                    if let Some(prop) = m.iter().position(|x| x.lever == Lever::Prop)
                        && prop > 0
                        && m[prop - 1].lever == Lever::Throttle
                    {
                        checked += 1;
                        assert!(
                            m[prop].map_pa > m[prop - 1].map_pa,
                            "MAP comes up with the PROP: {m:?}"
                        );
                        assert!(
                            m[prop].map_pa <= end + 1.0,
                            "and not past the reading wanted: {m:?}"
                        );
                    }
                }
            }
        }
        assert!(checked > 5, "only {checked} retards");
    }

    #[test]
    fn closed_form_card_of_the_sample() {
        let card = lever_card(sample::plan(), sample::problem());
        for side in [false, true] {
            let n = card
                .iter()
                .filter(|l| l.group.arrival_side() == side)
                .count();
            assert!((4..=CARD_LINES_A_SIDE).contains(&n), "{n} lines");
        }
        for (i, l) in card.iter().enumerate() {
            assert_eq!(l.order, i + 1);
            assert!(!l.trigger.is_empty() && !l.action.is_empty());
        }
        assert!(
            card.windows(2)
                .all(|w| w[0].distance_nm <= w[1].distance_nm + 1e-6
                    || w[0].trigger.contains("every"))
        );
        let at = |text: &str| {
            card.iter()
                .position(|l| l.action.contains(text))
                .unwrap_or_else(|| panic!("no {text}: {card:#?}"))
        };
        assert!(at("GEAR up") < at("CLIMB"));
        assert!(at("leave climb power on") < at("PROP back to 2,300"));
        assert!(at("PROP back to 2,100") < at("GEAR down"));
        assert!(at("GEAR down") < at("PROP full forward, smoothly"));
        let last_mixture = card
            .iter()
            .rposition(|l| l.action.contains("MIXTURE"))
            .expect("a mixture line");
        assert!(last_mixture <= at("PROP full forward, smoothly"));
    }

    #[test]
    fn closed_form_cards_of_other_shapes_keep_size_and_order() {
        let shapes = sample::shapes();
        assert_eq!(shapes.len(), 3);
        for plan in &shapes {
            let card = lever_card(plan, sample::problem());
            for side in [false, true] {
                let n = card
                    .iter()
                    .filter(|l| l.group.arrival_side() == side)
                    .count();
                assert!((4..=CARD_LINES_A_SIDE).contains(&n), "{n} lines: {card:#?}");
            }
            // Departure before arrival, groups in the order of the flight.
            assert!(
                card.windows(2)
                    .all(|w| w[0].group as u8 <= w[1].group as u8),
                "{card:#?}"
            );
            assert!(!card[0].trigger.starts_with(THEN));
            let gear = card
                .iter()
                .position(|l| l.action.contains("GEAR down"))
                .expect("gear");
            let forward = card
                .iter()
                .position(|l| l.action.contains("PROP full forward, smoothly"))
                .expect("prop");
            assert!(gear < forward || card[gear].action.contains("PROP full forward, smoothly"));
        }
    }

    /// Actions of a card, with the trigger of each, and where one is.
    fn place(card: &[CardLine], action: &str) -> usize {
        card.iter()
            .position(|l| l.action.contains(action))
            .unwrap_or_else(|| panic!("no {action}: {card:#?}"))
    }

    fn few_enough(card: &[CardLine]) {
        for side in [false, true] {
            let n = card
                .iter()
                .filter(|l| l.group.arrival_side() == side)
                .count();
            assert!((4..=CARD_LINES_A_SIDE).contains(&n), "{n} lines: {card:#?}");
        }
    }

    #[test]
    fn closed_form_a_second_climb_speed_has_its_line_at_its_height() {
        // The sample climbs at 105 KIAS from 1,000 ft above its field to 10,500 ft.
        let one = lever_card(sample::plan(), sample::problem());
        let climbs = |card: &[CardLine]| -> Vec<(String, String)> {
            card.iter()
                .filter(|l| l.action.contains("CLIMB at"))
                .map(|l| (l.trigger.clone(), l.action.clone()))
                .collect()
        };
        assert_eq!(climbs(&one).len(), 1);
        for (ias_kt, words) in [
            (95.0, "NOSE UP to 95 KIAS, CLIMB at that"),
            (115.0, "hold height to 115 KIAS, then CLIMB at 115 KIAS"),
        ] {
            let plan = sample::second_climb_speed(8_000.0, ias_kt);
            let card = lever_card(&plan, sample::problem());
            few_enough(&card);
            assert!(
                card.windows(2)
                    .all(|w| w[0].distance_nm <= w[1].distance_nm + 1e-6
                        || w[0].trigger.contains("every")),
                "{card:#?}"
            );
            let found = climbs(&card);
            assert_eq!(found.len(), 2, "{card:#?}");
            assert_eq!(found[0], climbs(&one)[0]);
            assert_eq!(found[1], ("passing 8,000 ft".to_owned(), words.to_owned()));
            let line = &card[place(&card, words)];
            assert!(line.expect.ends_with(" fpm"), "{line:?}");
            // JSON and sheet say the same.
            let figures = crate::brief::Figures::new(&plan, sample::problem());
            let text = crate::brief::json(&figures).expect("numbers and text");
            let json: serde_json::Value = serde_json::from_str(&text).expect("just written");
            let near = |key: &str, value: f64| {
                let said = json["second_climb_speed"][key].as_f64().expect("a number");
                assert!((said - value).abs() < 1e-6, "{key} {said}");
            };
            near("first_ias_kt", 105.0);
            near("from_ft", 8_000.0);
            near("ias_kt", ias_kt);
            let kinds: Vec<&str> = json["segments"]
                .as_array()
                .expect("segments")
                .iter()
                .filter_map(|s| s["kind"].as_str())
                .take_while(|k| *k != "cruise")
                .collect();
            let change = if ias_kt > 105.0 {
                "accelerate"
            } else {
                "climb"
            };
            assert_eq!(
                kinds,
                [
                    "initial_climb",
                    "accelerate",
                    "climb",
                    change,
                    "climb",
                    "level_off"
                ]
            );
        }
    }

    #[test]
    fn closed_form_equipment_stands_where_practice_has_it() {
        // Common practice, no source: see the head of this file.
        const WORDS: [&str; 3] = ["COWL FLAPS", "AUX PUMP", "CARB HEAT"];
        let bare = lever_card(sample::plan(), sample::problem());
        for l in &bare {
            assert!(!WORDS.iter().any(|w| l.action.contains(w)), "{l:?}");
        }
        let mut problem = sample::problem().clone();
        problem.aircraft.equipment.cowl_flaps = true;
        problem.aircraft.equipment.auxiliary_pump = true;
        problem.aircraft.equipment.induction = Induction::Carburettor;
        let mut plans = sample::shapes();
        plans.push(sample::plan().clone());
        for plan in &plans {
            let card = lever_card(plan, &problem);
            few_enough(&card);
            let at = |action: &str| place(&card, action);
            // Before take-off power is set.
            let first = &card[0].action;
            let throttle = first.find("THROTTLE").expect("take-off power");
            for set in ["COWL FLAPS open", "AUX PUMP on", "CARB HEAT off"] {
                assert!(first.find(set).is_some_and(|i| i < throttle), "{first}");
            }
            // The pump goes off in the climb after the first 1,000 ft, and is on for a change of tank and the landing.
            assert_eq!(card[at("AUX PUMP off")].group, Group::Climb);
            assert!(at("AUX PUMP on, FUEL other tank, AUX PUMP off") > at("AUX PUMP off"));
            let landing = card.iter().rposition(|l| l.action.contains("AUX PUMP on"));
            assert_eq!(card[landing.expect("a pump")].group, Group::Arrival);
            assert!(landing <= card.iter().rposition(|l| l.action.contains("MIXTURE")));
            // Cowl flaps closed with the cruise setting, kept so in the descent, open on going around.
            assert_eq!(card[at("COWL FLAPS closed")].group, Group::Cruise);
            assert!(at("COWL FLAPS closed") > at("leave climb power on"));
            assert!(card.iter().any(
                |l| l.group == Group::Descent && l.expect.ends_with("; COWL FLAPS closed")
            ));
            // Heat before the power for the pattern comes off, none for going around.
            let heat = at("CARB HEAT on");
            let last_heat = card
                .iter()
                .rposition(|l| l.action.contains("CARB HEAT on"))
                .expect("heat");
            assert!(heat <= last_heat);
            let l = &card[last_heat];
            assert_eq!(l.group, Group::Arrival);
            let together = l.action.find("THROTTLE back");
            let next = &card[last_heat + 1].action;
            assert!(
                together.is_some_and(|i| i > l.action.find("CARB HEAT on").unwrap_or(usize::MAX))
                    || next.starts_with("THROTTLE back"),
                "{card:#?}"
            );
            let around = card.last().expect("lines");
            assert_eq!(
                (around.trigger.as_str(), around.action.as_str()),
                (
                    "if going around",
                    "CARB HEAT off, THROTTLE full forward, COWL FLAPS open"
                )
            );
        }
    }

    #[test]
    fn closed_form_heat_before_a_descent_only_when_much_power_comes_off() {
        let mut problem = sample::problem().clone();
        problem.aircraft.equipment.induction = Induction::Carburettor;
        let heated = |plan: &Plan| {
            lever_card(plan, &problem)
                .iter()
                .any(|l| l.action.contains("until the descent is settled"))
        };
        // Full throttle all the way down takes no power off; 17.5 in at 1,900 after 20.5 in at 2,300 does.
        let shapes = sample::shapes();
        assert!(!heated(&shapes[2]));
        assert!(heated(&shapes[1]));
    }

    #[test]
    fn closed_form_fixed_pitch_speaks_of_rpm_alone() {
        for left in [false, true] {
            let (mut problem, plan) = sample::fixed_pitch(left);
            problem.aircraft.equipment.gear = Gear::Fixed;
            let card = lever_card(&plan, &problem);
            few_enough(&card);
            for l in &card {
                for words in [&l.action, &l.expect] {
                    for no in ["PROP", "MAP", "GEAR"] {
                        assert!(!words.contains(no), "{no}: {l:?}");
                    }
                    // No reading in inches.
                    let inches = words
                        .split_whitespace()
                        .zip(words.split_whitespace().skip(1))
                        .any(|(a, b)| {
                            a.starts_with(|c: char| c.is_ascii_digit())
                                && matches!(b, "in" | "in," | "in;")
                        });
                    assert!(!inches, "{l:?}");
                }
            }
            place(&card, "THROTTLE back to 2,400 rpm");
            if left {
                place(&card, "THROTTLE leave alone, but at most 2,700 rpm");
                assert!(!card.iter().any(|l| l.group == Group::Descent
                    && l.action.contains("THROTTLE back to")));
            } else {
                // One step of 50 rpm at the top of descent, the rest at its pace, then held.
                let first = place(&card, "THROTTLE back to 2,350 rpm");
                let steps = place(
                    &card,
                    "THROTTLE back, 50 rpm every 30 s: 2,300, 2,250, 2,200 rpm",
                );
                assert!(first <= steps && steps < place(&card, "THROTTLE back to hold 2,200 rpm"));
            }
        }
    }

    #[test]
    fn closed_form_fixed_pitch_order_of_levers() {
        let (problem, _) = sample::fixed_pitch(false);
        let set = |throttle: Throttle, revs: f64, mixture: usize| Setting {
            throttle,
            rev_s: Rpm::per_min(revs).to_rev_s(),
            mixture,
        };
        let order = |from: Setting, to: Setting| {
            let m = lever_moves(&problem, intake(), 0.0, from, to);
            let words: Vec<String> = m.iter().map(|m| m.action.clone()).collect();
            (levers(&m), words)
        };
        let (cruise, climb) = (
            set(Throttle::Rpm, 2_400.0, 2),
            set(Throttle::Full, 2_500.0, 0),
        );
        let (down, words) = order(climb, cruise);
        assert_eq!(down, [Lever::Throttle, Lever::Mixture]);
        assert_eq!(words[0], "THROTTLE back to 2,400 rpm");
        let (up, words) = order(cruise, climb);
        assert_eq!(up, [Lever::Mixture, Lever::Throttle]);
        assert_eq!(words[1], "THROTTLE full forward");
        assert!(order(climb, set(Throttle::Full, 2_550.0, 0)).0.is_empty());
        assert!(order(cruise, set(Throttle::Rpm, 2_403.0, 2)).0.is_empty());
        assert_eq!(
            order(cruise, set(Throttle::Rpm, 2_450.0, 2)).1,
            ["THROTTLE forward to 2,450 rpm"]
        );
    }

    #[test]
    fn closed_form_a_throttle_left_alone_is_never_set_over_the_limit_line() {
        // 28 in left alone at 1,800 rpm, where the line of the sample has 23: what is set is 23.
        let problem = sample::problem();
        let mut plan = sample::plan().clone();
        plan.flown.script.descent.first.throttle =
            ThrottleRule::LeftAlone(ManifoldPressure::inhg(28.0).to_pa());
        plan.flown.script.descent.first.rev_s = Rpm::per_min(1_800.0).to_rev_s();
        for l in lever_card(&plan, problem) {
            assert!(!l.action.contains("28 in"), "{l:?}");
        }
        let figures = crate::brief::Figures::new(&plan, problem);
        assert!((figures.descent.map_inhg.expect("set") - 23.0).abs() < 1e-9);
    }

    #[test]
    fn closed_form_map_left_alone_is_said_as_it_goes() {
        let inch = PA_PER_INHG;
        assert_eq!(
            map_change(20.0 * inch, 23.0 * inch),
            "MAP rises to about 23 in"
        );
        assert_eq!(
            map_change(23.0 * inch, 22.0 * inch),
            "MAP falls to about 22 in"
        );
        assert_eq!(
            map_change(23.0 * inch, 23.2 * inch),
            "MAP stays at about 23.2 in"
        );
    }
}
