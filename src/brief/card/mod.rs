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

mod arrival;
mod departure;
mod descent;
mod face;
pub(in crate::brief) mod html;
mod levers;
mod markdown;
mod text;

pub use levers::Lever;
pub use markdown::card_markdown;
pub use text::card_text;

use super::circling::turns_words;
use super::figures::mixture_name;
use super::measure::Units;
use super::units::{Fuel, fpm, inhg, min, nm, rpm};
use super::words::{down, inches, number, revs, up};
use crate::aircraft::{Throttle, engine::Intake};
use crate::flight::{Circled, Cruise, Flown, Reduction, Segment, SegmentKind, TrackPoint};
use crate::quantity::{M_PER_FT, M_PER_NM, M_S_PER_KT, PA_PER_INHG};
use crate::solve::Plan;
use crate::trip::Problem;
use levers::{Move, NO_MOVE_REV_S, Setting, readings, row};
use schemars::JsonSchema;
use serde::Serialize;

/// Most lines on a side of the card: departure (take-off, climb, cruise) and arrival (descent, arrival).
pub const CARD_LINES_A_SIDE: usize = 9;
/// Who is to circle over the field is over it from here, m: the top of descent is given in tenths of a mile.
const OVER_FIELD_M: f64 = 0.2 * M_PER_NM;
/// Height between trims of a held manifold pressure, m.
const TRIM_M: f64 = 1_000.0 * M_PER_FT;
/// A difference in speed too small to be flown, m/s.
const NO_MOVE_M_S: f64 = 0.1 * M_S_PER_KT;
/// Manifold pressure that moves by less than this on a stretch holds, Pa.
const HOLDS_PA: f64 = 0.5 * PA_PER_INHG;

/// Which part of the flight a line belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
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
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
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
    /// The path of the levers: where they and the gauges stand after each move of the line, and at the highest reading before the
    /// next.
    pub levers: Vec<LeverPoint>,
}

/// Where levers and gauges stand at a point of a line.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LeverPoint {
    /// What was moved to get there.
    pub moved: Lever,
    /// Manifold pressure; none at fixed pitch, where it is only computed.
    pub map_inhg: Option<f64>,
    /// Crankshaft speed.
    pub rpm: f64,
    /// Mixture by its name in the profile.
    pub mixture: String,
}

const THEN: &str = "then";
/// A line that stands by itself, however many there are.
const GO_AROUND: &str = "if going around";

struct Writer<'a> {
    problem: &'a Problem,
    flown: &'a Flown,
    fuel: Fuel,
    units: Units,
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
            levers: vec![],
        });
    }

    /// Adds a point to the path of the levers of the line written last; `map_pa` and `rev_s` as the gauges show them.
    fn point(&mut self, moved: Lever, map_pa: f64, rev_s: f64, mixture: usize) {
        let point = LeverPoint {
            moved,
            map_inhg: (!self.fixed() && map_pa.is_finite()).then(|| inhg(map_pa)),
            rpm: rpm(rev_s),
            mixture: mixture_name(self.problem, mixture),
        };
        if let Some(line) = self.lines.last_mut() {
            line.levers.push(point);
        }
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
            self.point(m.lever, m.map_pa, m.rev_s, m.mixture);
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
            row(
                &readings(from_rev_s, to_rev_s, cuts.step_rev_s, NO_MOVE_REV_S),
                |r| revs(rpm(r))
            )
        )
    }

    fn flow(&self, t: &TrackPoint) -> String {
        self.units.flow(self.fuel.gph(t.fuel_kg_s)).to_string()
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
                    on_side(a) && on_side(b) && a.group == b.group && b.trigger != GO_AROUND
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
                first.levers.extend(second.levers);
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

/// A rate \[m/s\] in tens of feet a minute, rounded down.
fn down_to_tens(rate_m_s: f64) -> f64 {
    down(fpm(rate_m_s), -1)
}

/// The lever card of a plan: at most [`CARD_LINES_A_SIDE`] lines up to the top of descent and as many after it; fuel flows in these units.
pub fn lever_card(plan: &Plan, problem: &Problem, units: Units) -> Vec<CardLine> {
    let mut writer = Writer {
        problem,
        flown: &plan.flown,
        fuel: Fuel::new(problem.aircraft.fuel.density_kg_m3),
        units,
        lines: vec![],
        gear_down: false,
    };
    writer.departure(plan);
    writer.arrival(plan);
    writer.fit();
    writer.lines
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

#[cfg(test)]
mod tests;
