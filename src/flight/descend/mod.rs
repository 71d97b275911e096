//! Descent and slow-down.

mod gauge;
mod hand;

use super::audit::Limit;
use super::cruise::Steady;
use super::flown::{FlightError, Hint, Mark, SegmentKind};
use super::flyer::{Flyer, LEAST_ACCELERATION_M_S2, LONGEST_CHANGE_S, Saved};
use super::kernel::{Control, Given, State, Vertical};
use super::script::{Circle, Cruise, PathRule, Reduction, Script, ThrottleRule, trigger_m};
use crate::aircraft::{Configuration, Performance, Throttle};
use crate::quantity::{M_PER_FT, M_PER_NM, M_S_PER_FPM};
use hand::{Hand, SAME_TIME_S};

/// Top of descent found nearer than this in a search is moved in closed form: the cruise is longer or shorter by the miss, m.
const SHIFT_M: f64 = 1.0 * M_PER_NM;
/// The same in a fine flight whose path is not kept: the wind of a cruise hardly changes in this, m.
const FINE_SHIFT_M: f64 = 0.1 * M_PER_NM;
/// A step toward a speed is at most this many times as long as it takes at the deceleration of the moment.
const OVERSHOOT: f64 = 1.5;
/// No descent is steeper, as a gradient.
const STEEPEST_DESCENT: f64 = 0.15;
/// True height changes by no more than this for a change of pressure altitude.
const TRUE_HEIGHT: f64 = 1.2;
/// Cruise is flown afresh from about this far before the top of descent while that is searched for, m.
const REWIND_M: f64 = 15.0 * M_PER_NM;
/// It is flown to that point from a multiple of this, so that flights share what lies before, m.
const SHARED_M: f64 = 10.0 * M_PER_NM;
/// Trims of a held manifold pressure: at each whole thousand feet of indicated altitude, m.
const TRIM_M: f64 = 1_000.0 * M_PER_FT;
/// Tries to meet the pattern point.
const MOST_TRIES: usize = 12;
/// The pattern speed must be met this near the pattern point, m.
const TOD_TOLERANCE_M: f64 = 3.0;
/// Longest step in time at a held speed, s: the rate follows the power at once, and the power changes on the way.
const IAS_STEP_S: f64 = 30.0;
/// A step of a search in a slow descent on the last leg is as long as this height takes, m, once the speed changes no faster than the other,
/// m/s²: what still changes goes by the air, which changes with height, and by the wind along the course, which jumps where legs meet.
const SEARCH_HEIGHT_M: f64 = 500.0 * M_PER_FT;
const SETTLED_M_S2: f64 = 0.02;
/// A search takes pattern speed and gear speed for met this near, m/s: a fortieth of a second of slowing down.
const SEARCH_SPEED_M_S: f64 = 5e-3;
/// What sinks slower than this does not go down, m/s.
const LEAST_M_S: f64 = 0.05;
/// At a held speed and the power of the descent no slower than this, m/s: 100 ft/min, the least rate that is held. A path more level is cruise, but
/// by none of its rules of power and level. In a fine flight a tenth slower, our choice: a search, in longer steps, asks at fewer places.
const LEAST_AT_SPEED_M_S: [f64; 2] = [100.0 * M_S_PER_FPM, 90.0 * M_S_PER_FPM];
/// A speed to be held is met this near, m/s.
const ON_SPEED_M_S: f64 = 2e-3;

/// Whether a path that is so deep in the ground \[m\], below zero clear of it, is clear of it too when it is moved along the route by a distance
/// \[m\]: it comes nearer by its gradient, where that is steepest, times the distance. Moved far, over ground that was not looked at, by more.
pub(super) fn stays_clear(into_ground_m: f64, steepest: f64, moved_m: f64) -> bool {
    let gradient = if moved_m.abs() < SHIFT_M {
        TRUE_HEIGHT * steepest
    } else {
        STEEPEST_DESCENT
    };
    into_ground_m < -gradient * moved_m.abs()
}

/// Where cruise is flown afresh from for a top of descent.
fn rewound_m(tod_m: f64) -> f64 {
    ((tod_m - REWIND_M) / SHARED_M).floor() * SHARED_M
}

/// A descent as far as pattern speed.
#[derive(Debug, Clone, Copy)]
pub(super) struct Down {
    /// Level at pattern altitude.
    pub(super) level_off: Mark,
    /// Where it began to circle.
    circled_from: Option<State>,
    /// Its gradient where that is steepest.
    pub(super) steepest: f64,
}

impl Flyer<'_> {
    /// Cruises, descends and slows down so that pattern speed is met at the pattern point: flown, and flown again with the top of
    /// descent moved by the miss. A search stops at a small miss and moves the rest in closed form; a recorded flight goes on until
    /// it is met.
    pub(super) fn let_down_to_meet(
        &mut self,
        script: &Script,
        last: &Cruise,
        pattern_m: f64,
        hint: Option<Hint>,
    ) -> Result<(Steady, Mark, Mark), FlightError> {
        let (p, fine, recorded) = (self.p, self.fine, self.track.is_some());
        let top_of_climb_m = self.state.distance_m;
        let expected_m = hint.map_or_else(
            || {
                let rate = match script.descent.first.path {
                    PathRule::Rate(r) => r,
                    PathRule::Ias(_) => self.p.limits.max_descent_m_s,
                };
                let straight_to_m = script
                    .descent
                    .straight_to_m(self.p.arrival.pattern_altitude_m, last.level_m);
                let down_s = (last.level_m - straight_to_m) / rate + 60.0;
                pattern_m - down_s * self.state.tas_m_s.max(40.0)
            },
            |h| h.top_of_descent_m,
        );
        let mut tod_m = expected_m.max(top_of_climb_m);
        let origin = self.save();
        // Most of the cruise is flown once; if the top of descent proves to lie before that, it is flown again.
        let mut saved = self.cruise_and_save(last, rewound_m(tod_m))?;
        for i in 0..MOST_TRIES {
            self.in_place = i > 0;
            if tod_m < self.state.distance_m && self.state.distance_m > top_of_climb_m {
                self.restore(origin.clone());
                saved = self.cruise_and_save(last, rewound_m(tod_m))?;
            }
            let from_m = tod_m.max(top_of_climb_m);
            let steady = self.cruise(last, from_m)?;
            let top = self.state;
            let before_m = self.audit.excess(Limit::Ground);
            let Down {
                level_off,
                circled_from,
                steepest,
            } = self.descend(script, last)?;
            let miss_m = pattern_m - self.state.distance_m;
            // Moved along the route it may come over what is barred; how deep in the ground it would be is for another try to find out.
            let (first_m, last_m) = (top.distance_m, pattern_m.max(self.state.distance_m));
            let barred = || p.has_patches(first_m, last_m, miss_m.abs());
            let into_ground_m = self.audit.excess(Limit::Ground);
            let clear = stays_clear(into_ground_m, steepest, miss_m)
                || into_ground_m > STEEPEST_DESCENT * miss_m.abs();
            let shift_m = if fine { FINE_SHIFT_M } else { SHIFT_M };
            let met = miss_m.abs() < TOD_TOLERANCE_M
                || (!recorded && miss_m.abs() < shift_m && clear && !barred());
            // Where there is no room the search goes on with how much is lacking; what is recorded is flown from the top of climb.
            let no_room = tod_m + miss_m < top_of_climb_m && (!fine || tod_m <= top_of_climb_m);
            if met || no_room {
                // The rest in closed form; for a recorded flight it is within the tolerance and nothing is moved.
                let moves = !fine || (met && !recorded);
                let move_m = if moves { miss_m } else { 0.0 };
                if moves && self.audit.excess(Limit::Ground) > before_m {
                    // The trigger begins it that much earlier, and so lower over the ground.
                    let to_go_m = p.length_m - (tod_m + miss_m);
                    let earlier_m = trigger_m(to_go_m) - to_go_m;
                    // Of the straight part.
                    let (end_hp, end_m) = circled_from.map_or(
                        (self.state.pressure_altitude_m, level_off.distance_m),
                        |s| (s.pressure_altitude_m, s.distance_m),
                    );
                    let gradient =
                        (top.pressure_altitude_m - end_hp) / (end_m - top.distance_m).max(1.0);
                    let excess_m = self.audit.excess(Limit::Ground) + gradient * earlier_m;
                    self.audit.note(Limit::Ground, excess_m);
                }
                let dt = move_m / steady.ground_speed_m_s;
                self.audit
                    .note(Limit::Distance, top_of_climb_m - (tod_m + miss_m));
                self.state.time_s += dt;
                self.state.fuel_kg += dt * steady.fuel_kg_s;
                self.state.revolutions += dt * steady.rev_s;
                self.state.distance_m += move_m;
                let shift = |m: Mark| Mark {
                    distance_m: m.distance_m + move_m,
                    time_s: m.time_s + dt,
                    fuel_kg: m.fuel_kg + dt * steady.fuel_kg_s,
                };
                return Ok((steady, shift(Mark::from(&top)), shift(level_off)));
            }
            tod_m = (tod_m + miss_m).max(top_of_climb_m);
            self.restore(saved.clone());
        }
        Err(FlightError::NoTopOfDescent)
    }

    fn cruise_and_save(&mut self, leg: &Cruise, to_m: f64) -> Result<Saved, FlightError> {
        if to_m > self.state.distance_m {
            self.cruise_to(leg, to_m)?;
        }
        Ok(self.save())
    }

    /// Descends from cruise, in turns over the field as far as the script says, and slows down.
    pub(super) fn descend(&mut self, script: &Script, last: &Cruise) -> Result<Down, FlightError> {
        let p = self.p;
        let d = &script.descent;
        let cuts = &script.reduction;
        let pattern_m = p.arrival.pattern_altitude_m;
        self.bank_rad = 0.0;
        let mut circle = d.circle.filter(|c| c.height_m > pattern_m);
        let mut circled_from = self.circle_now(&mut circle);
        self.begin(SegmentKind::Descent, d.first.mixture);
        let gauge = self.gauge();
        let cruise = self.set_here(last.levers());
        let mut hand = self.take(d.first, &cruise, cuts, f64::NEG_INFINITY);
        let mut second = d.second;
        let mut reducing = false;
        let mut on_speed = false;
        let mut steepest = 0.0_f64;
        let speeds = &p.aircraft.speeds;
        let mut configuration = Configuration::default();
        // What these levers gave near here.
        let mut before: Option<Given> = None;
        loop {
            let indicated = self.indicated_m();
            if indicated <= pattern_m + 0.05 {
                break;
            }
            if let Some((_, part)) =
                second.filter(|(from_m, _)| !reducing && indicated <= from_m + 0.05)
            {
                if hand.settling {
                    // A first part whose power is still on its way when the second begins is none: there is no room for it.
                    let left =
                        (hand.reading - hand.target.unwrap_or(hand.reading)) / gauge.step(cuts);
                    let room_m = left.max(1.0) * cuts.interval_s * self.state.tas_m_s;
                    self.audit.note(Limit::Distance, room_m);
                }
                let now = self.set_here(self.descent_levers(&hand));
                hand = self.take(part, &now, cuts, hand.next_cut_s);
                second = None;
                on_speed = false;
                self.begin(SegmentKind::Descent, part.mixture);
            }
            if circle.is_some() {
                circled_from = self.circle_now(&mut circle);
                if circled_from.is_some() {
                    self.begin(SegmentKind::Descent, hand.part.mixture);
                }
            }
            if !reducing && indicated <= d.reduce_at_m + 0.05 && d.reduce_at_m > pattern_m {
                reducing = true;
                self.reduce(&mut hand, cuts);
            }
            if (reducing || hand.settling) && self.state.time_s >= hand.next_cut_s - SAME_TIME_S {
                let floor = if reducing {
                    gauge.floor(cuts)
                } else {
                    hand.target.unwrap_or(hand.reading)
                };
                hand.reading = gauge
                    .next_cut(cuts, hand.reading)
                    .max(floor.min(hand.reading));
                hand.next_cut_s += cuts.interval_s;
                hand.settling = hand.settling && hand.reading > floor + gauge.same();
            }
            hand.by_reading = reducing || hand.settling;
            // Trims: the throttle stays between them and the MAP rises.
            let mut stop_m = match second {
                Some((from_m, _)) if !reducing => from_m.max(pattern_m),
                _ => pattern_m,
            };
            let mut just_set = None;
            if !hand.by_reading {
                let set = match hand.part.throttle {
                    ThrottleRule::Held(set)
                        if !hand.trim_m.is_finite() || indicated <= hand.trim_m + 0.05 =>
                    {
                        hand.trim_m = ((indicated - 0.1) / TRIM_M).floor() * TRIM_M;
                        Some(set)
                    }
                    ThrottleRule::LeftAlone(set) if hand.fixed.is_none() => Some(set),
                    _ => None,
                };
                just_set = set.map(|set| self.set_here(gauge.levers(set, &hand.part)));
                if let Some(now) = just_set {
                    hand.fixed = Some(self.conductance(now));
                }
                if let ThrottleRule::Held(_) = hand.part.throttle {
                    stop_m = stop_m.max(hand.trim_m);
                }
            }
            if !reducing && d.reduce_at_m > pattern_m {
                stop_m = stop_m.max(d.reduce_at_m);
            }
            if let Some(c) = circle {
                stop_m = stop_m.max(c.height_m);
            }
            let levers = self.descent_levers(&hand);
            // The throttle left where it was just set gives what it was set to.
            if let (Some(now), Throttle::Fixed(_), false) = (just_set, levers.throttle, self.fine) {
                before = Some(Given {
                    levers,
                    tas_m_s: self.state.tas_m_s,
                    performance: now,
                });
            }
            let path = hand.part.path;
            let mut lowering = hand.part.gear_down && !configuration.gear_down;
            if lowering {
                let over = self.ias_now() - speeds.vlo_extend_m_s;
                if over <= ON_SPEED_M_S {
                    self.audit.note(Limit::GearExtension, over);
                    configuration.gear_down = true;
                    lowering = false;
                }
            }
            let vertical = match path {
                // Level with the power of the descent until the gear may be extended.
                _ if lowering => Vertical::Level,
                PathRule::Rate(r) => Vertical::Rate(-r),
                PathRule::Ias(ias) => {
                    // From a faster speed: level with the power of the descent until slowed to it; from a slower one: down at
                    // the greatest rate until it is reached.
                    let over = if on_speed { 0.0 } else { self.ias_now() - ias };
                    on_speed = over.abs() <= ON_SPEED_M_S;
                    if on_speed {
                        Vertical::Ias(ias)
                    } else if over > 0.0 {
                        Vertical::Level
                    } else {
                        Vertical::Rate(-p.limits.max_descent_m_s)
                    }
                }
            };
            let toward_m_s = match path {
                _ if lowering => Some(speeds.vlo_extend_m_s),
                PathRule::Ias(ias) if !on_speed => Some(ias),
                _ => None,
            };
            let control = Control {
                levers,
                vertical,
                configuration,
                bank_rad: self.bank_rad,
            };
            self.still_of_use()?;
            let here = self.instant_after(&control, before);
            let ias_m_s = self.visit(&here, &control);
            self.note_power_down(&here.performance, hand.part.mixture);
            let slowing = vertical == Vertical::Level;
            if slowing && here.acceleration_m_s2 > -LEAST_ACCELERATION_M_S2 && !hand.settling {
                return Err(FlightError::NeverSlows);
            }
            let least_m_s = match vertical {
                Vertical::Ias(_) if !hand.settling => LEAST_AT_SPEED_M_S[usize::from(self.fine)],
                _ => LEAST_M_S,
            };
            if !slowing && here.rate_m_s > -least_m_s {
                return Err(FlightError::CannotDescend);
            }
            steepest = steepest.max(-here.rate_m_s / here.ground_speed_m_s);
            self.audit.note(
                Limit::DescentRate,
                -here.rate_m_s - p.limits.max_descent_m_s,
            );
            self.note_low_speed(&here, ias_m_s);
            if configuration.gear_down {
                self.audit.note(Limit::GearDown, ias_m_s - speeds.vle_m_s);
            }
            let mut dt = match vertical {
                Vertical::Ias(_) => self.step_s.min(IAS_STEP_S),
                Vertical::Rate(_)
                    if !self.fine
                        && here.acceleration_m_s2.abs() < SETTLED_M_S2
                        && p.leg_index(self.state.distance_m) + 1 == p.legs.len() =>
                {
                    self.step_s.max(SEARCH_HEIGHT_M / -here.rate_m_s)
                }
                _ => self.step_s,
            };
            if hand.by_reading {
                dt = dt.min((hand.next_cut_s - self.state.time_s).max(0.1));
            }
            let height_left = indicated - stop_m;
            if !slowing {
                dt = dt.min(height_left / -here.rate_m_s);
            }
            let (mut next, mut given) = self.stepped_toward(&here, &control, dt);
            if let Some(ias) = toward_m_s {
                // Meet the speed, not pass it.
                let sign = if slowing { -1.0 } else { 1.0 };
                let short = sign * (ias - self.ias_now());
                for _ in 0..6 {
                    if !next.flies() {
                        break;
                    }
                    let over = sign * (self.ias_of(&next) - ias);
                    if over < 1e-3 {
                        break;
                    }
                    dt *= (short / (short + over)).clamp(0.02, 1.0);
                    (next, given) = self.stepped_toward(&here, &control, dt);
                }
            }
            // Power rises on the way down, and is the most just before a lever moves.
            if let Some(end) = &given {
                self.note_power_down(&end.performance, hand.part.mixture);
            }
            before = given;
            self.state = next;
            self.still_flying()?;
            if let Vertical::Ias(ias) = vertical {
                // TAS follows from the held IAS.
                let (air, _) = self.air_of(&self.state);
                self.state.tas_m_s = p.aircraft.tas_from_ias(air, ias);
            }
        }
        let level_off = Mark::from(&self.state);
        // The pattern speed is met from above.
        self.audit.note(
            Limit::LowSpeed,
            p.aircraft.procedures.pattern_m_s - self.ias_now(),
        );
        // Level at pattern altitude: go on reducing, gear at its speed, until pattern speed.
        if !reducing {
            self.reduce(&mut hand, cuts);
        }
        self.slow_down(hand, cuts, configuration.gear_down)?;
        self.bank_rad = 0.0;
        Ok(Down {
            level_off,
            circled_from,
            steepest,
        })
    }

    fn note_power_down(&mut self, set: &Performance, mixture: usize) {
        self.note_mixture(set, mixture);
        self.note_cruise_power(set);
    }

    /// Begins to circle where the height for it is reached: the state there.
    fn circle_now(&mut self, circle: &mut Option<Circle>) -> Option<State> {
        let reached = circle.take_if(|c| self.indicated_m() <= c.height_m + 0.05)?;
        self.bank_rad = reached.bank_rad;
        Some(self.state)
    }

    fn slow_down(
        &mut self,
        hand: Hand,
        cuts: &Reduction,
        braking: bool,
    ) -> Result<(), FlightError> {
        let p = self.p;
        let gauge = self.gauge();
        let (mut reading, mut next_cut_s) = (hand.reading, hand.next_cut_s);
        self.begin(SegmentKind::SlowDown, hand.part.mixture);
        let began = self.state.time_s;
        let target = p.aircraft.procedures.pattern_m_s;
        let vlo = p.aircraft.speeds.vlo_extend_m_s;
        let mut gear_down = braking;
        // Where a speed is as good as met, and how far it may be passed.
        let (at_m_s, past_m_s) = if self.fine {
            (1e-4, 1e-5)
        } else {
            (SEARCH_SPEED_M_S, SEARCH_SPEED_M_S)
        };
        let mut before: Option<Given> = None;
        loop {
            if self.state.time_s >= next_cut_s - SAME_TIME_S {
                reading = gauge.next_cut(cuts, reading);
                next_cut_s += cuts.interval_s;
            }
            gear_down = gear_down || self.ias_now() <= vlo + at_m_s;
            let levers = gauge.levers(reading, &hand.part);
            let control = Control {
                levers,
                vertical: Vertical::Level,
                configuration: Configuration {
                    gear_down,
                    ..Configuration::default()
                },
                bank_rad: self.bank_rad,
            };
            self.still_of_use()?;
            let here = self.instant_after(&control, before);
            let ias = self.visit(&here, &control);
            if ias <= target + at_m_s {
                return Ok(());
            }
            if self.state.time_s - began > LONGEST_CHANGE_S {
                return Err(FlightError::NeverSlows);
            }
            let stop = if gear_down { target } else { target.max(vlo) };
            let mut dt = self.step_s.min((next_cut_s - self.state.time_s).max(0.1));
            if here.acceleration_m_s2 < 0.0 {
                dt = dt
                    .min(OVERSHOOT * (ias - stop) / -here.acceleration_m_s2)
                    .max(1e-3);
            }
            let (mut next, mut given) = self.stepped_toward(&here, &control, dt);
            for _ in 0..MOST_TRIES {
                if !next.flies() {
                    dt *= 0.25;
                    (next, given) = self.stepped_toward(&here, &control, dt);
                    continue;
                }
                let lost = ias - self.ias_of(&next);
                if lost - (ias - stop) < past_m_s {
                    break;
                }
                // The parabola through the speeds here and there with the slope of here.
                let slope = -here.acceleration_m_s2 * ias / here.tas_m_s;
                let curve = (lost / dt - slope) / dt;
                let root = slope * slope + 4.0 * curve * (ias - stop);
                dt = (2.0 * (ias - stop) / (slope + root.max(0.0).sqrt())).clamp(0.0, dt);
                (next, given) = self.stepped_toward(&here, &control, dt.max(1e-4));
            }
            before = given;
            self.state = next;
            self.still_flying()?;
        }
    }
}
