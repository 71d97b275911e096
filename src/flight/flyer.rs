//! Who flies: the state, what is held against the limits on the way, and the steps that every stretch is made of.

use super::audit::{Audit, Limit};
use super::flown::{FlightError, Segment, SegmentKind, TrackPoint};
use super::fly::{SEARCH_STEP_S, TIME_STEP_S};
use super::kernel::{
    Control, Given, Instant, State, Vertical, instant, instant_in, lift_off_kg, step_height,
    step_settling, step_time,
};
use super::memory::Memory;
use super::script::Script;
use crate::aircraft::propeller::Nearby;
use crate::aircraft::{AirState, Configuration, Governed, Levers, Performance, Throttle};
use crate::quantity::M_PER_FT;
use crate::trip::{AirSample, LevelGround, Problem};
use std::cell::{Cell, RefCell};

/// Step in height of climbs, m.
const CLIMB_STEP_M: f64 = 250.0;
/// Longest acceleration or slow-down, s; beyond it the speed is not reached.
pub(super) const LONGEST_CHANGE_S: f64 = 1_200.0;
/// Below this acceleration [m/s²] at climb power the speed is as good as reached.
pub(super) const LEAST_ACCELERATION_M_S2: f64 = 0.01;
/// This far above the highest floor of a stretch neither ground nor the speed limit of the air near it change anything, m: that limit
/// reaches to 3,000 ft above the ground, less than the floor and this.
const CLEAR_OF_GROUND_M: f64 = 3_000.0 * M_PER_FT;
/// A descent at a held speed is slow at less than this rate, m/s: our choice. Thrust found near there was off by 2e-5, which is a
/// ten-thousandth of that rate.
const SLOWLY_DOWN_M_S: f64 = 1.0;
/// What lies on either side of an edge is asked this far from it, m.
const EDGE_M: f64 = 0.01;

/// A point of the path as ground and speed limit see it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Passing {
    distance_m: f64,
    true_altitude_m: f64,
    indicated_m: f64,
    ias_m_s: f64,
}

impl Passing {
    /// The point this share of the way to another.
    fn toward(self, other: Self, share: f64) -> Self {
        let mix = |a: f64, b: f64| a + share * (b - a);
        Self {
            distance_m: mix(self.distance_m, other.distance_m),
            true_altitude_m: mix(self.true_altitude_m, other.true_altitude_m),
            indicated_m: mix(self.indicated_m, other.indicated_m),
            ias_m_s: mix(self.ias_m_s, other.ias_m_s),
        }
    }
}

/// Distance, pressure altitude and time, and the air there then.
pub(super) type AirOf = ([f64; 3], (AirState, AirSample));

/// What a flyer comes back to.
pub(super) type Saved = (State, Audit, Option<Vec<TrackPoint>>, Vec<Segment>);

pub(super) struct Flyer<'a> {
    pub(super) p: &'a Problem,
    pub(super) last: Option<Passing>,
    pub(super) state: State,
    pub(super) audit: Audit,
    pub(super) track: Option<Vec<TrackPoint>>,
    pub(super) segments: Vec<Segment>,
    pub(super) step_s: f64,
    /// Flown as the final plan is: small steps, the top of descent met.
    pub(super) fine: bool,
    /// What flights of one search have in common, while searching.
    pub(super) memory: Option<&'a RefCell<Memory>>,
    /// Blade angle or shaft speed of the last instant, where the next search begins.
    pub(super) near: Cell<Nearby>,
    /// Violations \[scale units\] beyond which the descent is of no use.
    pub(super) most_violation: f64,
    /// The descent begins where it will; else it is moved along the route once it is known how far it goes.
    pub(super) in_place: bool,
    /// Bank of the turns over a field that are flown now, rad; zero on the route.
    pub(super) bank_rad: f64,
    /// The air last asked for: of this distance, pressure altitude and time.
    pub(super) air: Cell<Option<AirOf>>,
    /// The level ground last flown over.
    pub(super) level: Cell<Option<LevelGround>>,
}

impl<'a> Flyer<'a> {
    /// At lift-off, or where the flight begins in the air.
    pub(super) fn at_start(problem: &'a Problem, script: &Script, record: bool) -> Self {
        let (indicated_m, ias_m_s) = problem.begins_at(script.initial_ias_m_s);
        let start_hp = problem.pressure_altitude_m(0.0, indicated_m);
        let (air, _) = problem.air_state(0.0, start_hp, 0.0);
        Flyer {
            p: problem,
            last: None,
            state: State {
                time_s: 0.0,
                distance_m: 0.0,
                pressure_altitude_m: start_hp,
                tas_m_s: problem.aircraft.tas_from_ias(air, ias_m_s),
                fuel_kg: 0.0,
                revolutions: 0.0,
            },
            audit: Audit::default(),
            track: record.then(Vec::new),
            segments: vec![],
            step_s: if record { TIME_STEP_S } else { SEARCH_STEP_S },
            fine: record,
            memory: None,
            near: Cell::new(if record {
                Nearby::NONE
            } else {
                Nearby::ROUGHLY
            }),
            most_violation: f64::INFINITY,
            in_place: true,
            bank_rad: 0.0,
            air: Cell::new(None),
            level: Cell::new(None),
        }
    }
}

/// Level flight, clean, speed free.
pub(super) fn level_control(levers: Levers) -> Control {
    Control {
        levers,
        vertical: Vertical::Level,
        configuration: Configuration::default(),
        bank_rad: 0.0,
    }
}

impl Flyer<'_> {
    pub(super) fn indicated_m(&self) -> f64 {
        self.p
            .indicated_m(self.state.distance_m, self.state.pressure_altitude_m)
    }

    pub(super) fn mass_kg(&self) -> f64 {
        lift_off_kg(self.p) - self.state.fuel_kg
    }

    pub(super) fn ias_m_s(&self, i: &Instant) -> f64 {
        self.p.aircraft.ias_from_tas(i.air, i.tas_m_s)
    }

    /// Opens a segment.
    pub(super) fn begin(&mut self, kind: SegmentKind, mixture: usize) {
        let kind = match kind {
            SegmentKind::Climb if self.bank_rad > 0.0 => SegmentKind::CirclingClimb,
            SegmentKind::Descent if self.bank_rad > 0.0 => SegmentKind::CirclingDescent,
            other => other,
        };
        if let Some(track) = &self.track {
            self.segments.push(Segment {
                kind,
                first: track.len(),
                last: track.len(),
                mixture,
            });
        }
    }

    /// Keeps a point of the path and checks the limits that hold always. The indicated airspeed there, m/s.
    pub(super) fn visit(&mut self, i: &Instant, control: &Control) -> f64 {
        let p = self.p;
        let indicated_m = self.indicated_m();
        let ias_m_s = self.ias_m_s(i);
        let here = Passing {
            distance_m: self.state.distance_m,
            true_altitude_m: i.sample.true_altitude_m,
            indicated_m,
            ias_m_s,
        };
        self.pass(here, i.mass_kg);
        if control.bank_rad > 0.0 {
            self.note_low_speed(i, ias_m_s);
        }
        let set = &i.performance;
        let most_rev_s = p.aircraft.propeller.highest_governed_rev_s;
        if p.aircraft.propeller.is_fixed() {
            self.audit.note(Limit::Redline, set.rev_s - most_rev_s);
            self.audit.note(
                Limit::ManifoldPressure,
                set.map_pa - p.aircraft.map_limit_pa(set.rev_s),
            );
            // The RPM of a full-throttle climb and of the circuit are nobody's choice.
            let chosen = matches!(control.levers.throttle, Throttle::Rpm | Throttle::Fixed(_));
            if chosen && p.aircraft.in_avoid_band(set.rev_s, set.map_pa) {
                self.audit.note(Limit::RpmBand, 1.0);
            }
            if control.levers.throttle == Throttle::Rpm && set.governed != Governed::Yes {
                self.audit
                    .note(Limit::Governor, (set.rev_s - control.levers.rev_s).abs());
            }
        } else if control.levers.rev_s < most_rev_s - 1e-9 {
            // With the lever full forward (take-off, circuit) neither limit line nor bands hold, and the RPM may sag.
            if set.governed != Governed::Yes {
                self.audit
                    .note(Limit::Governor, (set.rev_s - control.levers.rev_s).abs());
            }
            self.audit.note(
                Limit::ManifoldPressure,
                set.map_pa - p.aircraft.map_limit_pa(set.rev_s),
            );
            if p.aircraft.in_avoid_band(set.rev_s, set.map_pa) {
                self.audit.note(Limit::RpmBand, 1.0);
            }
        }
        if let Some(track) = &mut self.track {
            let segment = self.segments.len().saturating_sub(1);
            if let Some(s) = self.segments.last_mut() {
                s.last = track.len();
            }
            track.push(TrackPoint {
                state: State {
                    tas_m_s: i.tas_m_s,
                    ..self.state
                },
                indicated_m,
                true_altitude_m: i.sample.true_altitude_m,
                ias_m_s,
                ground_speed_m_s: i.ground_speed_m_s,
                rate_m_s: i.rate_m_s,
                map_pa: set.map_pa,
                rev_s: set.rev_s,
                mixture: control.levers.mixture,
                power_fraction: set.power_fraction,
                fuel_kg_s: set.fuel_kg_s,
                wind_along_m_s: i.sample.along_m_s,
                mass_kg: i.mass_kg,
                bank_rad: control.bank_rad,
                segment,
            });
        }
        ias_m_s
    }

    /// Holds a point of the path, and the path since the last one, against ground and speed limit. Both change in steps, with
    /// distance and with height, so the path is also looked at where a step lies between two points, on both its sides.
    pub(super) fn pass(&mut self, here: Passing, mass_kg: f64) {
        self.keep_out(self.last.unwrap_or(here), here);
        let last = self.last.replace(here);
        if !last.is_some_and(|last| self.pass_over_ground(last, here, mass_kg)) {
            self.hold_off_ground(here, here.distance_m);
        }
        if let Some(last) = last {
            let p = self.p;
            let (h0, h1) = (last.indicated_m, here.indicated_m);
            for edge in p.limits.speed_edges_m(&p.aircraft.speeds) {
                if (h0 - edge) * (h1 - edge) < 0.0 {
                    let at = last.toward(here, (edge - h0) / (h1 - h0));
                    self.hold_speed(at, at.distance_m, edge - EDGE_M, mass_kg);
                    self.hold_speed(at, at.distance_m, edge + EDGE_M, mass_kg);
                }
            }
        }
        self.hold_speed(here, here.distance_m, here.indicated_m, mass_kg);
    }

    /// Holds the path from one point to another against the ground between them, which changes in steps, and where the speed limit goes by the
    /// height above it against that; whether that says all of the ground as far as the other point.
    fn pass_over_ground(&mut self, last: Passing, here: Passing, mass_kg: f64) -> bool {
        let p = self.p;
        let [a, b] = [last, here].map(|x| (x.distance_m, x.true_altitude_m));
        let level = self.level_ground(b.0);
        if level.is_some_and(|level| level.holds(a.0)) {
            // Over level ground the ends of a straight path say all.
            return false;
        }
        if !p.limits.speed_goes_by_ground() {
            let below_m = p.below_floor_m(a, b);
            self.audit
                .note(Limit::Ground, below_m.unwrap_or(f64::NEG_INFINITY));
            return below_m.is_some();
        }
        let lowest_m = a.1.min(b.1);
        match p.floor_at_most_m(a.0, b.0) {
            // So high above all of it that no edge is of interest.
            Some(floor_m) if lowest_m > floor_m + CLEAR_OF_GROUND_M => {
                self.audit.note(Limit::Ground, floor_m - lowest_m);
            }
            _ => {
                for edge in p.floor_edges_m(a.0, b.0) {
                    let at = last.toward(here, (edge - a.0) / (b.0 - a.0));
                    for beside_m in [edge - EDGE_M, edge + EDGE_M] {
                        self.hold_off_ground(at, beside_m);
                        self.hold_speed(at, beside_m, at.indicated_m, mass_kg);
                    }
                }
            }
        }
        false
    }

    /// Holds the path from one point to another against forbidden patches and the greatest altitudes of legs.
    fn keep_out(&mut self, from: Passing, to: Passing) {
        let [a, b] = [from, to].map(|x| (x.distance_m, x.indicated_m));
        if let Some(depth_m) = self.p.forbidden_depth_m(a, b) {
            self.audit.note(Limit::Forbidden, depth_m);
        }
        // A turn makes no way; what led to it does.
        if self.bank_rad > 0.0
            && a.0 == b.0
            && let Some(depth_m) = self.p.forbidden_to_turns_m(b.0, a.1, b.1)
        {
            self.audit.note(Limit::Forbidden, depth_m);
        }
        if let Some(over_m) = self.p.over_ceiling_m(a, b) {
            self.audit.note(Limit::Ceiling, over_m);
        }
    }

    /// Notes the height over the ground of one place for a point of the path.
    fn hold_off_ground(&mut self, at: Passing, distance_m: f64) {
        let level = self.level_ground(distance_m);
        let floor_m = level.map_or_else(|| self.p.floor_m(distance_m), |level| level.floor_m);
        if let Some(floor_m) = floor_m {
            self.audit.note(Limit::Ground, floor_m - at.true_altitude_m);
        }
    }

    /// Notes the speed limit of one place for a point of the path.
    fn hold_speed(&mut self, at: Passing, distance_m: f64, indicated_m: f64, mass_kg: f64) {
        let p = self.p;
        let above_ground = if p.limits.speed_goes_by_ground() {
            let level = self.level_ground(distance_m);
            let ground_m = level.map_or_else(|| p.ground_m(distance_m), |level| level.ground_m);
            Problem::above_m(ground_m, at.true_altitude_m)
        } else {
            0.0
        };
        let fraction = mass_kg / p.aircraft.masses.max_take_off_kg;
        let top = p
            .limits
            .speed_limit_m_s(&p.aircraft.speeds, fraction, indicated_m, above_ground);
        self.audit.note(Limit::Airspeed, at.ias_m_s - top);
    }

    /// [`Problem::level_ground`], looked up again where it ends.
    fn level_ground(&self, distance_m: f64) -> Option<LevelGround> {
        if !self.level.get().is_some_and(|l| l.holds(distance_m)) {
            self.level.set(self.p.level_ground(distance_m));
        }
        self.level.get()
    }

    /// Climbs at a held IAS to an indicated altitude. After the initial climb the IAS is held against the least of a climb at each
    /// height: Vy, and what cools the engine.
    pub(super) fn climb(
        &mut self,
        kind: SegmentKind,
        levers: Levers,
        ias_m_s: f64,
        to_indicated_m: f64,
    ) -> Result<Instant, FlightError> {
        let control = Control {
            vertical: Vertical::Ias(ias_m_s),
            ..self.climb_power(levers)
        };
        self.begin(kind, levers.mixture);
        let mut here = instant(self.p, &self.state, &control, &self.near);
        self.visit(&here, &control);
        loop {
            if kind != SegmentKind::InitialClimb {
                let hp = self.state.pressure_altitude_m;
                let least_m_s = self.p.aircraft.least_climb_ias_m_s(hp, here.mass_kg);
                self.audit.note(Limit::LowSpeed, least_m_s - ias_m_s);
            }
            let left = self
                .p
                .pressure_altitude_m(self.state.distance_m, to_indicated_m)
                - self.state.pressure_altitude_m;
            if left < 0.05 {
                return Ok(here);
            }
            let steps = (left / CLIMB_STEP_M).ceil();
            // The height to reach moves with the altimeter setting while it is climbed to.
            let moves = self.p.level_slope() * here.ground_speed_m_s / here.rate_m_s;
            let dh = left / steps / (1.0 - moves.clamp(-0.5, 0.5));
            let next = step_height(self.p, &self.state, &here, &control, dh, &self.near);
            let Some(next) = next.filter(|s| s.time_s - self.state.time_s < LONGEST_CHANGE_S)
            else {
                return Err(FlightError::CannotClimb {
                    altitude_ft: self.indicated_m() / M_PER_FT,
                });
            };
            self.state = next;
            here = instant(self.p, &self.state, &control, &self.near);
            self.visit(&here, &control);
        }
    }

    /// Gains speed until it passes a target IAS, or as good as no longer rises.
    pub(super) fn gain_speed(
        &mut self,
        control: &Control,
        to_ias_m_s: f64,
    ) -> Result<(), FlightError> {
        let began = self.state.time_s;
        let mut here = instant(self.p, &self.state, control, &self.near);
        let p = self.p;
        let short = |i: &Instant| to_ias_m_s - p.aircraft.ias_from_tas(i.air, i.tas_m_s);
        let mut short_m_s = to_ias_m_s - self.visit(&here, control);
        while short_m_s > 1e-4 {
            if here.acceleration_m_s2 < LEAST_ACCELERATION_M_S2
                || self.state.time_s - began > LONGEST_CHANGE_S
            {
                return Ok(());
            }
            let mut dt = self.step_s;
            let mut next = self.stepped(&here, control, dt);
            if !next.flies() {
                return Err(FlightError::StopsFlying);
            }
            let mut there = instant(self.p, &next, control, &self.near);
            // The last step is shortened until the speed is met.
            for _ in 0..6 {
                let miss = short(&there);
                if miss > -1e-5 {
                    break;
                }
                let slope = (short_m_s - miss) / dt;
                dt = (dt + miss / slope).max(1e-3);
                next = self.stepped(&here, control, dt);
                there = instant(self.p, &next, control, &self.near);
            }
            self.state = next;
            self.still_flying()?;
            here = there;
            short_m_s = to_ias_m_s - self.visit(&here, control);
        }
        Ok(())
    }

    /// Notes how close the power comes to the band of the mixture: in cruise and descent. Take-off, climb and circuit
    /// have a rule of their own (DESIGN section 5).
    pub(super) fn note_mixture(&mut self, set: &Performance, mixture: usize) {
        let mix = &self.p.aircraft.engine.spec.mixtures[mixture];
        self.audit
            .note(Limit::Mixture, set.power_fraction - mix.max_power_fraction);
    }

    /// Notes how close it comes to the greatest of cruise, in cruise and descent.
    pub(super) fn note_cruise_power(&mut self, set: &Performance) {
        let most = self.p.aircraft.procedures.cruise_power_fraction;
        self.audit
            .note(Limit::CruisePower, set.power_fraction - most);
    }

    pub(super) fn note_low_speed(&mut self, here: &Instant, ias_m_s: f64) {
        // The stall speed goes with the root of the load factor.
        let least_m_s = self.p.aircraft.least_cruise_m_s(here.mass_kg) * here.load_factor.sqrt();
        self.audit.note(Limit::LowSpeed, least_m_s - ias_m_s);
    }

    /// The limits are not broken by more than is of use: the violations of a flight never become less on the way.
    pub(super) fn still_of_use(&self) -> Result<(), FlightError> {
        if self.most_violation.is_finite() {
            // Away from its place a descent breaks limits that it will not, and keeps others.
            let elsewhere = if self.in_place {
                0.0
            } else {
                self.audit.violation_of(&Limit::OF_THE_PLACE)
            };
            if self.audit.violation() - elsewhere > self.most_violation {
                return Err(FlightError::GivenUp);
            }
        }
        Ok(())
    }

    /// The speed has not fallen away, as it does where thrust and height lost do not make up for drag.
    pub(super) fn still_flying(&self) -> Result<(), FlightError> {
        if self.state.flies() {
            Ok(())
        } else {
            Err(FlightError::StopsFlying)
        }
    }

    pub(super) fn ias_now(&self) -> f64 {
        self.ias_of(&self.state)
    }

    /// The air of a state; asked for again of the last one it is not looked up again.
    pub(super) fn air_of(&self, s: &State) -> (AirState, AirSample) {
        let place = [s.distance_m, s.pressure_altitude_m, s.time_s];
        if let Some((last, air)) = self.air.get()
            && last == place
        {
            return air;
        }
        let air = self
            .p
            .air_state(s.distance_m, s.pressure_altitude_m, s.time_s);
        self.air.set(Some((place, air)));
        air
    }

    /// Indicated airspeed [m/s] of a state.
    pub(super) fn ias_of(&self, s: &State) -> f64 {
        let (air, _) = self.air_of(s);
        self.p.aircraft.ias_from_tas(air, s.tas_m_s)
    }

    /// The state after a step in time, from the instant here.
    pub(super) fn stepped(&self, here: &Instant, control: &Control, dt: f64) -> State {
        self.stepped_toward(here, control, dt).0
    }

    /// The same, with what the levers give near there.
    pub(super) fn stepped_toward(
        &self,
        here: &Instant,
        control: &Control,
        dt: f64,
    ) -> (State, Option<Given>) {
        let (p, state, near) = (self.p, &self.state, &self.near);
        if self.fine {
            step_time(p, state, here, control, dt, near)
        } else {
            step_settling(p, state, here, control, dt, near)
        }
    }

    /// The instant here, in a search with what was found near here with some levers where they are still the same. At a fixed pitch and on a stop power goes
    /// with speed, and in a slow descent at a held speed the rate is the little that thrust leaves of drag: there near is not near enough.
    pub(super) fn instant_after(&self, control: &Control, before: Option<Given>) -> Instant {
        let air = self.air_of(&self.state);
        let anew = |air, tas_m_s| self.set_at(air, tas_m_s, control.levers);
        let fits = |given: &Given| {
            given.levers == control.levers && given.performance.governed == Governed::Yes
        };
        let fixed = self.p.aircraft.propeller.is_fixed();
        if let Some(given) = before.filter(|given| !self.fine && !fixed && fits(given)) {
            let here = instant_in(self.p, &self.state, control, air, |_, tas| given.at(tas));
            let speed_held = matches!(control.vertical, Vertical::Ias(_));
            if !speed_held || here.rate_m_s.abs() > SLOWLY_DOWN_M_S {
                return here;
            }
        }
        instant_in(self.p, &self.state, control, air, anew)
    }

    /// What these levers give here and now.
    pub(super) fn set_here(&self, levers: Levers) -> Performance {
        let (air, _) = self.air_of(&self.state);
        self.set_at(air, self.state.tas_m_s, levers)
    }

    /// What they give in some air at a true airspeed [m/s].
    pub(super) fn set_at(&self, air: AirState, tas_m_s: f64, levers: Levers) -> Performance {
        self.p
            .aircraft
            .perform_under_redline(air, tas_m_s, levers, &self.near)
    }

    pub(super) fn save(&self) -> Saved {
        (
            self.state,
            self.audit.clone(),
            self.track.clone(),
            self.segments.clone(),
        )
    }

    pub(super) fn restore(&mut self, saved: Saved) {
        (self.state, self.audit, self.track, self.segments) = saved;
        self.last = None;
    }
}
