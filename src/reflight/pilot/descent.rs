//! The let-down to pattern altitude.

use super::power::Power;
use super::{
    LEAST_RATE_M_S, PHASE_LIMIT_S, Pilot, SAME_HEIGHT_M, SAME_SPEED_M_S, SLOW_LIMIT_S, levers_of,
    never_slows,
};
use crate::aircraft::{Configuration, Levers, Throttle};
use crate::flight::{Circle, Cruise, DescentPart, PathRule, Reduction, Script, ThrottleRule};
use crate::quantity::M_PER_FT;
use crate::reflight::event::Stop;
use crate::reflight::motion::{Control, HP, Hand, Path, S, V};
use crate::reflight::{Phase, ReflightError};

/// A held manifold pressure is trimmed at each multiple of this, indicated, m.
const TRIM_EACH_M: f64 = 1_000.0 * M_PER_FT;
/// A trim due within this of the last is not made again, m: a tenth of a foot.
const SAME_TRIM_M: f64 = 0.03;

impl Pilot<'_> {
    /// Descends to pattern altitude; returns the state of the power reduction there, whether the gear is down, and the turns it is in.
    pub(super) fn descend(
        &mut self,
        script: &Script,
        last: &Cruise,
    ) -> Result<(Power, bool, Option<Circle>), ReflightError> {
        let p = self.p;
        let d = &script.descent;
        let pattern_m = p.arrival.pattern_altitude_m;
        let cruise_control = Control::clean(levers_of(last), Path::Level);
        let mut trim_m = f64::NEG_INFINITY;
        let mut part = d.first;
        let never = f64::NEG_INFINITY;
        let mut power = self.take(
            &part,
            &script.reduction,
            &cruise_control,
            &mut trim_m,
            never,
        );
        let mut second = d.second;
        let mut reducing = false;
        let mut on_speed = false;
        let mut begin_ias = self.ias_m_s();
        let stop_reduce = d.reduce_at_m > pattern_m;
        let vlo = p.aircraft.speeds.vlo_extend_m_s;
        let mut configuration = Configuration::default();
        let mut circle = d.circle.filter(|c| c.height_m > pattern_m);
        let mut turning: Option<Circle> = None;
        loop {
            if let Some(c) = circle.take_if(|c| self.indicated_m() <= c.height_m + SAME_HEIGHT_M) {
                turning = Some(c);
            }
            configuration.gear_down = configuration.gear_down
                || (part.gear_down && self.ias_m_s() <= vlo + SAME_SPEED_M_S);
            let too_fast = part.gear_down && !configuration.gear_down;
            let path = match part.path {
                // The gear first, and for that slow enough.
                _ if too_fast => Path::Level,
                PathRule::Rate(rate) => Path::Rate(-rate),
                PathRule::Ias(_) if on_speed => Path::HeldIas,
                // Too fast: slow down level first. Too slow: gain speed at the greatest rate of descent.
                PathRule::Ias(ias) if begin_ias > ias => Path::Level,
                PathRule::Ias(_) => Path::Rate(-p.limits.max_descent_m_s),
            };
            let control = power.control(path, configuration).within(turning);
            if turning.is_some() && self.pattern_m.is_infinite() && self.pattern_point.is_none() {
                let begun = self.sample(self.time_s, &self.y, &control, Phase::CirclingDescent);
                self.pattern_point = Some(begun);
            }
            if let Some((_, next)) = second
                .filter(|(from_m, _)| !reducing && self.indicated_m() <= from_m + SAME_HEIGHT_M)
            {
                trim_m = f64::NEG_INFINITY;
                let ready_s = power.ready_s;
                power = self.take(&next, &script.reduction, &control, &mut trim_m, ready_s);
                part = next;
                second = None;
                on_speed = false;
                begin_ias = self.ias_m_s();
                continue;
            }
            // A reduction that begins with the descent, or at a height passed already.
            if stop_reduce && !reducing && self.indicated_m() <= d.reduce_at_m + SAME_HEIGHT_M {
                reducing = true;
                trim_m = f64::NEG_INFINITY;
                power.begin(self.shows(&control), power.floor, self.time_s);
                continue;
            }
            let mut stops = vec![(Trigger::Level, Stop::DescendedTo(pattern_m))];
            if let Some((from_m, _)) = second.filter(|_| !reducing) {
                stops.push((Trigger::Second, Stop::DescendedTo(from_m)));
            }
            if stop_reduce && !reducing {
                stops.push((Trigger::Reduce, Stop::DescendedTo(d.reduce_at_m)));
            }
            if let Some(c) = circle {
                stops.push((Trigger::Circle, Stop::DescendedTo(c.height_m)));
            }
            // What begins at the height of a trim stands in its place.
            let begins_m = [
                second.filter(|_| !reducing).map(|s| s.0),
                (stop_reduce && !reducing).then_some(d.reduce_at_m),
            ];
            let begins_m = begins_m.into_iter().flatten().fold(pattern_m, f64::max);
            if trim_m > begins_m + SAME_HEIGHT_M && !reducing {
                stops.push((Trigger::Trim, Stop::DescendedTo(trim_m)));
            }
            match (part.path, path) {
                (_, Path::Level) if too_fast => stops.push((Trigger::Gear, Stop::SlowerThan(vlo))),
                (PathRule::Ias(ias), Path::Level) => {
                    stops.push((Trigger::OnSpeed, Stop::SlowerThan(ias)))
                }
                (PathRule::Ias(ias), Path::Rate(_)) => {
                    stops.push((Trigger::OnSpeed, Stop::FasterThan(ias)))
                }
                (_, Path::HeldIas) => {
                    stops.push((Trigger::Shallow, Stop::RateAbove(-LEAST_RATE_M_S)))
                }
                _ => {}
            }
            let limit_s = power.next_cut_s.map_or(
                if path == Path::Level {
                    SLOW_LIMIT_S
                } else {
                    PHASE_LIMIT_S
                },
                |t| (t - self.time_s).max(0.0),
            );
            let list: Vec<Stop> = stops.iter().map(|s| s.1).collect();
            let phase = if turning.is_some() {
                Phase::CirclingDescent
            } else {
                Phase::Descent
            };
            let fired = self.fly(phase, &control, &list, limit_s)?;
            match fired.and_then(|i| stops.get(i)).map(|s| s.0) {
                Some(Trigger::Level) => break,
                // Begun at the head of the loop.
                Some(Trigger::Reduce | Trigger::Second | Trigger::Circle) => {}
                Some(Trigger::Trim) => self.leave(&mut power, part.throttle, &mut trim_m),
                Some(Trigger::Gear) => {
                    configuration.gear_down = true;
                    begin_ias = self.ias_m_s();
                }
                Some(Trigger::OnSpeed) => on_speed = true,
                Some(Trigger::Shallow) => {
                    return Err(ReflightError::CannotDescend {
                        altitude_ft: self.altitude_ft(),
                    });
                }
                None if power.next_cut_s.is_some() => {
                    power.cut();
                    if power.next_cut_s.is_none() && !reducing {
                        self.leave(&mut power, part.throttle, &mut trim_m);
                    }
                }
                None if path == Path::Level => {
                    return Err(never_slows(begin_ias.min(self.ias_m_s())));
                }
                None => {
                    return Err(ReflightError::Endless {
                        phase: Phase::Descent,
                        limit_h: PHASE_LIMIT_S / 3_600.0,
                    });
                }
            }
        }
        if !reducing {
            let control = power.control(Path::Level, configuration).within(turning);
            power.begin(self.shows(&control), power.floor, self.time_s);
        }
        Ok((power, configuration.gear_down, turning))
    }

    /// What is done with the levers at the beginning of a part of the descent, coming from a control; no step of the throttle before it is ready
    /// \[s\].
    fn take(
        &self,
        part: &DescentPart,
        cuts: &Reduction,
        before: &Control,
        trim_m: &mut f64,
        ready_s: f64,
    ) -> Power {
        let p = self.p;
        let procedures = &p.aircraft.procedures;
        let by_rpm = p.aircraft.propeller.is_fixed();
        let (step, settable, floor) = if by_rpm {
            (cuts.step_rev_s, procedures.rev_step_s, cuts.floor_rev_s)
        } else {
            (cuts.step_pa, procedures.map_step_pa, cuts.floor_pa)
        };
        let limit_pa = p.aircraft.map_limit_pa(part.rev_s);
        let mut power = Power {
            by_rpm,
            step,
            settable,
            interval_s: cuts.interval_s,
            floor,
            rev_s: part.rev_s,
            mixture: part.mixture,
            // Full throttle until told otherwise: beyond any conductance, but kept to the limit line.
            hand: Hand::Left {
                conductance: f64::MAX,
                limit_pa,
            },
            cut: f64::INFINITY,
            cut_floor: f64::INFINITY,
            next_cut_s: None,
            ready_s,
        };
        let shown = self.shows(before);
        let wanted = match part.throttle {
            // No more than the limit line of the new RPM allows.
            ThrottleRule::Held(map_pa) | ThrottleRule::LeftAlone(map_pa) => {
                Some(map_pa.min(limit_pa))
            }
            ThrottleRule::Rpm => Some(part.rev_s),
            ThrottleRule::Full => None,
            ThrottleRule::Untouched => {
                power.hand = Hand::Left {
                    conductance: self.conductance_of(before),
                    limit_pa,
                };
                None
            }
        };
        match wanted {
            Some(set) if set < shown => {
                // The first steps of the reduction bring the setting.
                power.begin(shown, set, self.time_s);
                if power.next_cut_s.is_none() {
                    self.leave(&mut power, part.throttle, trim_m);
                }
            }
            Some(_) => self.leave(&mut power, part.throttle, trim_m),
            None => {}
        }
        power
    }

    /// Takes the hand off the throttle at the set manifold pressure and notes the next trim; or works it to hold the RPM.
    fn leave(&self, power: &mut Power, rule: ThrottleRule, trim_m: &mut f64) {
        if rule == ThrottleRule::Rpm {
            power.hand = Hand::Set(Throttle::Rpm);
        }
        let Some(set_pa) = rule.set_map_pa() else {
            return;
        };
        let aircraft = &self.p.aircraft;
        let (air, _) = self.p.air_state(self.y[S], self.y[HP], self.time_s);
        let intake = aircraft.intake(air, self.y[V]);
        // The gauge shows the set pressure at the crankshaft speed there is.
        let levers = Levers {
            throttle: Throttle::Map(set_pa),
            rev_s: power.rev_s,
            mixture: power.mixture,
        };
        let rev_s = aircraft.perform(air, self.y[V], levers).rev_s;
        power.hand = Hand::Left {
            conductance: aircraft.engine.conductance(set_pa, rev_s, intake),
            limit_pa: aircraft.map_limit_pa(power.rev_s),
        };
        if matches!(rule, ThrottleRule::Held(_)) {
            *trim_m = ((self.indicated_m() - SAME_TRIM_M) / TRIM_EACH_M).floor() * TRIM_EACH_M;
        }
    }
}

/// Triggers of the descent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Trigger {
    Level,
    Second,
    Circle,
    Reduce,
    Trim,
    Gear,
    OnSpeed,
    Shallow,
}
