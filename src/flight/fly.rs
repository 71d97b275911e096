//! Flying a script from lift-off to the field.

use super::audit::{Audit, Limit};
use super::descend::stays_clear;
use super::flown::{FlightError, Flown, Hint, Mark, SegmentKind, TrackPoint};
use super::flyer::Flyer;
use super::kernel::State;
use super::memory::Memory;
use super::script::Script;
use crate::quantity::M_PER_NM;
use crate::trip::{Problem, Start};
use std::cell::RefCell;

/// Step in time where the speed is free, s, for a recorded flight: a quarter of the time constant of the speed or less.
pub(super) const TIME_STEP_S: f64 = 10.0;
/// The same while searching, where the approach to a speed is solved exactly in each step.
pub(super) const SEARCH_STEP_S: f64 = 60.0;
/// A level is held at least this long before it is changed, m: less is no cruise.
pub const SHORTEST_CRUISE_M: f64 = 10.0 * M_PER_NM;
/// A bound on time is kept with this to spare, s: what the audit takes for rounding.
const KEPT_S: f64 = 0.6;
/// A bound on fuel is kept with this to spare, kg: what the audit takes for rounding.
const KEPT_KG: f64 = 0.01;
/// Less ground speed than this is none, m/s.
pub(super) const LEAST_GROUND_SPEED_M_S: f64 = 5.0;

/// Flies a script without keeping the path. What it has in common with earlier flights of this problem comes from the memory.
///
/// # Errors
/// [`FlightError`] where it cannot be flown to the end. A flight that breaks limits is returned with its [`Audit`].
pub fn fly(
    problem: &Problem,
    script: &Script,
    hint: Option<Hint>,
    memory: &RefCell<Memory>,
) -> Result<Flown, FlightError> {
    fly_within(problem, script, hint, memory, f64::INFINITY)
}

/// [`fly`] for a flight that is of no use if it breaks limits by more than `most_violation` scale units.
///
/// # Errors
/// As [`fly`], and [`FlightError::GivenUp`].
pub fn fly_within(
    problem: &Problem,
    script: &Script,
    hint: Option<Hint>,
    memory: &RefCell<Memory>,
    most_violation: f64,
) -> Result<Flown, FlightError> {
    Flyer {
        memory: Some(memory),
        most_violation,
        ..Flyer::at_start(problem, script, false)
    }
    .whole(script, hint)
}

/// [`fly`] in the small steps of [`fly_recorded`]; keeps no path either.
///
/// # Errors
/// As [`fly`].
pub fn fly_fine(
    problem: &Problem,
    script: &Script,
    hint: Option<Hint>,
    memory: &RefCell<Memory>,
) -> Result<Flown, FlightError> {
    Flyer {
        memory: Some(memory),
        track: None,
        ..Flyer::at_start(problem, script, true)
    }
    .whole(script, hint)
}

/// Flies a script and keeps path and segments.
///
/// # Errors
/// As [`fly`].
pub fn fly_recorded(problem: &Problem, script: &Script) -> Result<Flown, FlightError> {
    Flyer::at_start(problem, script, true).whole(script, None)
}

/// The climb on reaching a level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClimbState {
    /// State.
    pub state: State,
    /// Rate of climb, m/s.
    pub rate_m_s: f64,
    /// Violations of limits on the way, scale units.
    pub violation: f64,
    /// Of these, what lies in forbidden patches or above the greatest altitude of a leg.
    pub barred: f64,
}

/// Flies the climb of a script and gives what it comes to on reaching each of these indicated altitudes [m, lowest first]; the
/// list ends where the aeroplane stops climbing. Where the flight begins in the air: the climb from the lowest of them, at its speed.
pub fn climb_states(problem: &Problem, script: &Script, levels_m: &[f64]) -> Vec<ClimbState> {
    let mut flyer = Flyer::at_start(problem, script, false);
    let mut out = Vec::with_capacity(levels_m.len());
    match (problem.start, levels_m.first()) {
        (Start::InFlight { .. }, Some(&lowest_m)) => {
            let hp = problem.pressure_altitude_m(0.0, lowest_m);
            let (air, _) = problem.air_state(0.0, hp, 0.0);
            flyer.state.pressure_altitude_m = hp;
            flyer.state.tas_m_s = problem
                .aircraft
                .tas_from_ias(air, script.climb.ias_from_m_s(lowest_m));
        }
        _ => {
            if flyer.reach_climb_speed(script).is_err() {
                return out;
            }
        }
    }
    for &level in levels_m {
        let Ok(rate) = flyer.climb_to_level(script, level) else {
            break;
        };
        out.push(ClimbState {
            state: flyer.state,
            rate_m_s: rate,
            violation: flyer.audit.violation(),
            barred: flyer
                .audit
                .violation_of(&[Limit::Forbidden, Limit::Ceiling]),
        });
    }
    out
}

/// Flies a script that begins in the air as far as its first level, after a climb to the speed at which cruise power is set.
///
/// # Errors
/// [`FlightError`] where it cannot be flown.
pub fn joined(problem: &Problem, script: &Script) -> Result<ClimbState, FlightError> {
    let mut flyer = Flyer::at_start(problem, script, false);
    let (_, rate_m_s) = flyer.join(script)?;
    Ok(ClimbState {
        state: flyer.state,
        rate_m_s,
        violation: flyer.audit.violation(),
        barred: flyer
            .audit
            .violation_of(&[Limit::Forbidden, Limit::Ceiling]),
    })
}

/// A descent and slow-down flown from a given state, wherever that ends.
#[derive(Debug, Clone, PartialEq)]
pub struct LetDown {
    /// Where pattern speed is met.
    pub end: State,
    /// Limits on the way.
    pub audit: Audit,
    /// Its gradient where that is steepest.
    steepest: f64,
}

impl LetDown {
    /// Whether the path would be clear of the ground when it is moved along the route by a distance \[m\].
    pub fn stays_clear(&self, moved_m: f64) -> bool {
        stays_clear(self.audit.excess(Limit::Ground), self.steepest, moved_m)
    }
}

/// Flies the descent and slow-down of a script from a state in its last cruise stretch, unless it breaks limits by more than
/// `most_violation` scale units; those of ground, air and airspace do not count unless it is `in_place`.
///
/// # Errors
/// [`FlightError`] where it cannot be flown, or is of no use.
pub fn let_down(
    problem: &Problem,
    script: &Script,
    start: State,
    most_violation: f64,
    in_place: bool,
) -> Result<LetDown, FlightError> {
    let mut flyer = Flyer::at_start(problem, script, false);
    flyer.state = start;
    flyer.most_violation = most_violation;
    flyer.in_place = in_place;
    let last = script.last_cruise();
    let down = flyer.descend(script, last)?;
    Ok(LetDown {
        end: flyer.state,
        audit: flyer.audit,
        steepest: down.steepest,
    })
}

/// [`let_down`] after cruising on from the state to a distance \[m\], in the small steps of a recorded flight; with the path from
/// there.
///
/// # Errors
/// [`FlightError`] where it cannot be flown.
pub fn let_down_recorded(
    problem: &Problem,
    script: &Script,
    start: State,
    from_m: f64,
) -> Result<(LetDown, Vec<TrackPoint>), FlightError> {
    let mut flyer = Flyer::at_start(problem, script, true);
    flyer.state = start;
    let last = script.last_cruise();
    flyer.begin(SegmentKind::Cruise, last.mixture);
    if from_m > start.distance_m {
        flyer.cruise(last, from_m)?;
    }
    let steepest = flyer.descend(script, last)?.steepest;
    let down = flyer
        .segments
        .iter()
        .find(|s| s.kind == SegmentKind::Descent);
    let first = down.map_or(0, |s| s.first);
    let track = flyer.track.take().unwrap_or_default();
    let letdown = LetDown {
        end: flyer.state,
        audit: flyer.audit,
        steepest,
    };
    Ok((letdown, track[first.min(track.len())..].to_vec()))
}

/// A cruise shorter than this has no mean fuel flow, s.
const LEAST_CRUISE_S: f64 = 1.0;

impl Flyer<'_> {
    fn whole(&mut self, script: &Script, hint: Option<Hint>) -> Result<Flown, FlightError> {
        let p = self.p;
        let top_of_climb = match p.start {
            Start::Ground => self.climbed(script)?,
            Start::InFlight { .. } => self.join(script)?.0,
        };
        // Time and fuel in cruise at one level and another.
        let mut cruised = (0.0, 0.0);
        for stretch in 1..script.cruise.len() {
            let (time_s, fuel_kg) = self.cruised_and_changed(script, stretch - 1)?;
            cruised.0 += time_s;
            cruised.1 += fuel_kg;
        }
        let last = script.last_cruise();
        let pattern_m = p.pattern_point_m(script.descent.circle.is_some());
        self.begin(SegmentKind::Cruise, last.mixture);
        let last_from = self.state;
        let last_level_m = last_from.distance_m;
        let (steady, top_of_descent, level_off) = if script.descent.to_go_m.is_finite() {
            let tod_m = p.length_m - script.descent.to_go_m;
            self.audit
                .note(Limit::Distance, self.state.distance_m - tod_m);
            let steady = self.cruise(last, tod_m.max(self.state.distance_m))?;
            let top = Mark::from(&self.state);
            (steady, top, self.descend(script, last)?.level_off)
        } else {
            self.let_down_to_meet(script, last, pattern_m, hint)?
        };
        if script.cruise.len() > 1 {
            self.audit.note(
                Limit::Distance,
                last_level_m + SHORTEST_CRUISE_M - top_of_descent.distance_m,
            );
        }
        self.note_level(last.level_m, last_level_m, top_of_descent.distance_m);
        cruised.0 += top_of_descent.time_s - last_from.time_s;
        cruised.1 += top_of_descent.fuel_kg - last_from.fuel_kg;
        // A reserve by the last stretch alone could be made small by a slow end of the cruise.
        let cruise_fuel_kg_s = if cruised.0 > LEAST_CRUISE_S {
            cruised.1 / cruised.0
        } else {
            steady.fuel_kg_s
        };
        let slowed = Mark::from(&self.state);
        self.arrive()?;
        let burned = self.state.fuel_kg + p.aircraft.procedures.take_off_fuel_kg;
        let reserve_kg = p.reserve_kg(cruise_fuel_kg_s);
        self.audit.note(
            Limit::Fuel,
            burned + reserve_kg + p.alternate_kg - (p.fuel_kg - p.aircraft.procedures.taxi_fuel_kg),
        );
        let landing_kg = p.zero_fuel_kg + p.fuel_kg - p.aircraft.procedures.taxi_fuel_kg - burned;
        self.audit.note(
            Limit::LandingMass,
            landing_kg - p.aircraft.masses.max_landing_kg,
        );
        if let Some(within_s) = p.bounds.within_s {
            let taken_s = p.aircraft.procedures.taxi_time_s + self.state.time_s;
            self.audit
                .note(Limit::ArriveWithin, taken_s + KEPT_S - within_s);
        }
        if let Some(most_kg) = p.bounds.block_fuel_kg(p.fuel_kg) {
            let block_kg = p.aircraft.procedures.taxi_fuel_kg + burned;
            self.audit
                .note(Limit::FuelBound, block_kg + KEPT_KG - most_kg);
        }
        let rates = p.cost_rates();
        let mut resolved = script.clone();
        resolved.descent.to_go_m = p.length_m - top_of_descent.distance_m;
        Ok(Flown {
            script: resolved,
            time_s: self.state.time_s,
            fuel_kg: burned,
            revolutions: self.state.revolutions,
            cost: rates.of(self.state.time_s, burned, self.state.revolutions),
            top_of_climb,
            top_of_descent,
            level_off,
            slowed,
            audit: std::mem::take(&mut self.audit),
            cruise_fuel_kg_s,
            last_cruise_fuel_kg_s: steady.fuel_kg_s,
            segments: std::mem::take(&mut self.segments),
            track: self.track.take().unwrap_or_default(),
        })
    }

    /// Along the cruise stretch of that number and to the level of the next; time \[s\] and fuel \[kg\] of the cruise.
    pub(super) fn cruise_and_change(
        &mut self,
        script: &Script,
        stretch: usize,
    ) -> Result<(f64, f64), FlightError> {
        let [from, to] = [script.cruise[stretch], script.cruise[stretch + 1]];
        self.begin(SegmentKind::Cruise, from.mixture);
        let before = self.state;
        self.audit.note(
            Limit::Distance,
            before.distance_m + SHORTEST_CRUISE_M - to.from_m,
        );
        self.note_level(from.level_m, before.distance_m, to.from_m);
        self.cruise(&from, to.from_m)?;
        let cruised = (
            self.state.time_s - before.time_s,
            self.state.fuel_kg - before.fuel_kg,
        );
        self.change_level(script, &from, &to)?;
        Ok(cruised)
    }

    /// Notes how much of a level stretch lies on legs that do not allow its level.
    fn note_level(&mut self, level_m: f64, from_m: f64, to_m: f64) {
        let p = self.p;
        for (leg, allowed) in p.legs.iter().zip(&p.levels) {
            if !allowed.allows(level_m) {
                let on_it_m = leg.to_m.min(to_m) - leg.from_m.max(from_m);
                self.audit.note(Limit::Level, on_it_m);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::script::Cruise;
    use super::super::script::{PathRule, ThrottleRule};
    use super::super::testbed::{CALM, FT, IN, KT, RPM, aircraft, problem, script};
    use super::*;
    use crate::quantity::M_S_PER_FPM;

    /// A search moves what it has flown by less than a mile in closed form; calm air is the same there, m.
    const AS_FAR_M: f64 = 30.0;

    #[test]
    fn regress_a_top_of_descent_expected_before_the_top_of_climb_is_no_lack_of_room() {
        let p = problem(aircraft(1.0), 75.0, CALM);
        let path = PathRule::Rate(500.0 * M_S_PER_FPM);
        let s = script(ThrottleRule::Held(18.0 * IN), path, 2_500.0);
        let flown = |from_m: Option<f64>| {
            let hint = from_m.map(|top_of_descent_m| Hint { top_of_descent_m });
            fly(&p, &s, hint, &RefCell::default()).expect("flies")
        };
        let plain = flown(None);
        assert_eq!(plain.audit.excess(Limit::Distance).max(0.0), 0.0);
        let cruise_m = plain.top_of_descent.distance_m - plain.top_of_climb.distance_m;
        assert!(cruise_m > 0.0 && cruise_m < 25.0 * M_PER_NM, "{cruise_m} m");
        // Anywhere, and more than the length of the cruise before it.
        for from_m in [
            -50_000.0,
            0.0,
            plain.top_of_climb.distance_m - 2.0 * cruise_m,
        ] {
            let f = flown(Some(from_m));
            assert_eq!(f.audit.excess(Limit::Distance).max(0.0), 0.0);
            let apart_m = f.top_of_descent.distance_m - plain.top_of_descent.distance_m;
            assert!(apart_m.abs() < AS_FAR_M, "{from_m} m: {apart_m} m apart");
        }
    }

    /// At a held speed a descent is none that sinks slower than a rate that is held may be, 100 ft/min; in fine steps a tenth slower.
    #[test]
    fn closed_form_at_a_held_speed_it_goes_down_at_least_at_the_least_rate() {
        let p = problem(aircraft(1.0), 300.0, CALM);
        let (mut level, mut down) = (0, 0);
        for kt in 100..160 {
            let path = PathRule::Ias(f64::from(kt) * KT);
            let mut s = script(ThrottleRule::LeftAlone(24.0 * IN), path, 2_500.0);
            s.descent.first.rev_s = s.cruise[0].rev_s;
            match fly_recorded(&p, &s) {
                // Slower than cruise it never comes to that speed.
                Err(FlightError::NeverSlows) => assert_eq!(level + down, 0, "{kt} kt"),
                Err(FlightError::CannotDescend) => {
                    assert_eq!(down, 0, "{kt} kt: faster it sinks faster");
                    level += 1;
                }
                Err(e) => panic!("{kt} kt: {e}"),
                Ok(flown) => {
                    let way = flown
                        .segments
                        .iter()
                        .find(|s| s.kind == SegmentKind::Descent);
                    let way = way.expect("a descent");
                    let ias_m_s = f64::from(kt) * KT;
                    let points = flown.track[way.first..way.last].iter();
                    let held = points.filter(|t| (t.ias_m_s - ias_m_s).abs() < 0.1 * KT);
                    for rate_m_s in held.map(|t| -t.rate_m_s) {
                        assert!(rate_m_s >= 90.0 * M_S_PER_FPM, "{kt} kt: {rate_m_s}");
                        down += 1;
                    }
                }
            }
        }
        // Speeds, and points at a held speed.
        assert!(level > 0 && down > 100, "{level} {down}");
    }

    /// What leads to another level is kept by all that decides it: with a memory of other flights the same as with none.
    #[test]
    fn regress_a_flight_from_memory_is_that_without() {
        let p = problem(aircraft(1.0), 300.0, CALM);
        let path = PathRule::Rate(500.0 * M_S_PER_FPM);
        let mut s = script(ThrottleRule::Held(18.0 * IN), path, 2_500.0);
        let second = Cruise {
            level_m: s.cruise[0].level_m - 2_000.0 * FT,
            from_m: 120.0 * M_PER_NM,
            ..s.cruise[0]
        };
        s.cruise.push(second);
        let changes: [fn(&mut Script); 9] = [
            |_| {},
            |s| s.cruise[0].rev_s -= 100.0 * RPM,
            |s| s.cruise[0].mixture = 1,
            |s| s.cruise[1].from_m += 20.0 * M_PER_NM,
            |s| s.cruise[1].level_m += 4_000.0 * FT,
            |s| s.cruise[1].set_at_ias_m_s -= 5.0 * KT,
            |s| s.cruise[1].rev_s -= 100.0 * RPM,
            |s| s.climb.ias_m_s += 10.0 * KT,
            |s| s.descent.first.rev_s -= 100.0 * RPM,
        ];
        let shared = RefCell::default();
        let mut flown = 0;
        // Each change on its own, and then all that came before with it.
        for together in [false, true] {
            let mut here = s.clone();
            for change in changes {
                if !together {
                    here = s.clone();
                }
                change(&mut here);
                let of = |memory| {
                    fly(&p, &here, None, memory)
                        .map(|f| (f.cost, f.time_s, f.fuel_kg, f.cruise_fuel_kg_s, f.audit))
                };
                let fresh = RefCell::default();
                let alone = of(&fresh);
                assert_eq!(of(&shared), alone);
                flown += usize::from(alone.is_ok());
            }
        }
        assert!(flown > changes.len(), "{flown}");
    }

    /// With the throttle left alone power rises on the way down: the greatest cruise power is held there too.
    #[test]
    fn closed_form_cruise_power_is_the_most_on_the_way_down() {
        let path = PathRule::Rate(500.0 * M_S_PER_FPM);
        let mut s = script(ThrottleRule::LeftAlone(24.0 * IN), path, 2_500.0);
        s.descent.first.rev_s = s.cruise[0].rev_s;
        let flown = |most: f64| {
            let mut a = aircraft(1.0);
            a.procedures.cruise_power_fraction = most;
            fly_recorded(&problem(a, 300.0, CALM), &s).expect("flies")
        };
        let free = flown(1.0);
        let most = |kind: SegmentKind| {
            let segment = free.segments.iter().find(|s| s.kind == kind).expect("one");
            let powers = free.track[segment.first..=segment.last].iter();
            powers.map(|t| t.power_fraction).fold(0.0, f64::max)
        };
        let (level, down) = (most(SegmentKind::Cruise), most(SegmentKind::Descent));
        assert!(down > level + 0.05, "{level} {down}");
        let between = 0.5 * (level + down);
        // At the end of each step too: what a last step of ten seconds, 80 ft, adds is on no point of the path. A thousand feet add 4 % or less.
        const LAST_STEP: f64 = 0.04 * 0.083;
        let excess = flown(between).audit.excess(Limit::CruisePower);
        let beyond = excess - (down - between);
        assert!((-1e-9..LAST_STEP).contains(&beyond), "{beyond}");
        assert!(flown(down + 0.01).audit.excess(Limit::CruisePower) < 0.0);
    }
}
