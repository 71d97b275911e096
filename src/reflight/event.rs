//! Integration up to a trigger.
//!
//! Dormand and Prince's pair of order 5(4) (J. Comp. Appl. Math. 6, 1980) from the `ode_solvers` crate steps until an event function
//! changes sign; the crossing is then found by a bracketed secant, each trial being a new step from the last point before it.
//!
//! The air table is piecewise linear. Stopping at its nodes was tried and costs more than the steps that the kinks reject (11,300
//! against 5,600 evaluations on the test trip with changing wind).

use super::motion::{Control, HP, Model, S, STATES, State, V};
use super::{Effort, Phase, ReflightError};
use ode_solvers::{Dopri5, OutputType, SVector, System};

/// Relative tolerance of a step.
const RELATIVE: f64 = 1e-8;
/// Absolute tolerance of a step, in the unit of each state.
const ABSOLUTE: f64 = 1e-7;
/// Longest step, s: the path is recorded at least this often.
const LONGEST_STEP_S: f64 = 120.0;
/// Most steps of one stretch; a flight of ten hours needs some hundreds.
const MOST_STEPS: u32 = 20_000;
/// A trigger is found to this, s: a tenth of a millimetre along the route.
const TRIGGER_S: f64 = 1e-6;

/// What ends a phase. The event is when its function falls to zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Stop {
    /// Indicated altitude [m] reached from below.
    ClimbedTo(f64),
    /// Indicated altitude [m] reached from above.
    DescendedTo(f64),
    /// Indicated airspeed [m/s] reached from below.
    FasterThan(f64),
    /// Indicated airspeed [m/s] reached from above.
    SlowerThan(f64),
    /// Distance along the route [m].
    Distance(f64),
    /// Acceleration less than this, m/s².
    AccelerationBelow(f64),
    /// Rate of pressure altitude less than this, m/s.
    RateBelow(f64),
    /// Rate of pressure altitude more than this, m/s.
    RateAbove(f64),
}

impl Stop {
    fn value(self, model: &Model, time_s: f64, y: &State, rate: &State) -> f64 {
        match self {
            Self::ClimbedTo(m) => m - model.indicated_m(y),
            Self::DescendedTo(m) => model.indicated_m(y) - m,
            Self::FasterThan(ias) => ias - model.ias_m_s(time_s, y),
            Self::SlowerThan(ias) => model.ias_m_s(time_s, y) - ias,
            Self::Distance(m) => m - y[S],
            Self::AccelerationBelow(a) => rate[V] - a,
            Self::RateBelow(r) => rate[HP] - r,
            Self::RateAbove(r) => r - rate[HP],
        }
    }
}

/// Least of the event functions, with its place in the list.
fn least(model: &Model, stops: &[Stop], time_s: f64, y: &State, rate: &State) -> (f64, usize) {
    let mut found = (f64::INFINITY, usize::MAX);
    for (i, stop) in stops.iter().enumerate() {
        let value = stop.value(model, time_s, y, rate);
        if value < found.0 {
            found = (value, i);
        }
    }
    found
}

struct Flight<'a> {
    model: &'a Model<'a>,
    control: &'a Control,
    stops: &'a [Stop],
    /// Where the integrator's own clock begins on that of the flight, s.
    from_s: f64,
}

impl System<f64, SVector<f64, STATES>> for Flight<'_> {
    fn system(&self, x: f64, y: &State, dy: &mut State) {
        *dy = self.model.moment(self.from_s + x, y, self.control).rate;
    }

    fn solout(&mut self, x: f64, y: &State, dy: &State) -> bool {
        least(self.model, self.stops, self.from_s + x, y, dy).0 <= 0.0
    }
}

/// A stretch of the solution.
pub(super) struct Stretch {
    /// Time from its start [s] and state, the start included.
    pub points: Vec<(f64, State)>,
    /// The event that ended it, or none if the time ran out.
    pub stop: Option<usize>,
}

/// The integrator of one phase.
pub(super) struct Integrator<'a> {
    pub model: &'a Model<'a>,
    pub control: Control,
    pub phase: Phase,
    /// The clock of the flight as the phase begins, s.
    pub began_s: f64,
}

impl Integrator<'_> {
    fn run(
        &self,
        from_s: f64,
        y: &State,
        span_s: f64,
        first_step_s: f64,
        stops: &[Stop],
        effort: &mut Effort,
    ) -> Result<Vec<(f64, State)>, ReflightError> {
        let flight = Flight {
            model: self.model,
            control: &self.control,
            stops,
            from_s: self.began_s + from_s,
        };
        // Safety factor, step-size controller and limits are the crate's own defaults; stiffness is not looked for.
        let mut solver = Dopri5::from_param(
            flight,
            0.0,
            span_s,
            span_s,
            *y,
            RELATIVE,
            ABSOLUTE,
            0.9,
            0.04,
            0.2,
            10.0,
            span_s.min(LONGEST_STEP_S),
            first_step_s.min(span_s),
            MOST_STEPS,
            u32::MAX,
            OutputType::Sparse,
        );
        let stats = solver.integrate().map_err(|e| ReflightError::Integration {
            phase: self.phase,
            what: e.to_string(),
        })?;
        effort.steps += stats.accepted_steps;
        effort.rejected += stats.rejected_steps;
        effort.evaluations += stats.num_eval;
        let (times, states) = solver.results().get();
        Ok(times.iter().copied().zip(states.iter().copied()).collect())
    }

    /// The state a time [s] after another, itself that long after the phase began.
    pub fn after(
        &self,
        from_s: f64,
        y: &State,
        span_s: f64,
        effort: &mut Effort,
    ) -> Result<State, ReflightError> {
        if span_s <= 0.0 {
            return Ok(*y);
        }
        let points = self.run(from_s, y, span_s, span_s, &[], effort)?;
        Ok(points.last().map_or(*y, |p| p.1))
    }

    /// The first time [s] and state at which an event function is zero or below, between a state and a later one where it is; both
    /// times after the first state, which is `from_s` after the phase began.
    #[expect(clippy::too_many_arguments, reason = "two states, each with its time")]
    pub fn crossing(
        &self,
        from_s: f64,
        y: &State,
        span_s: f64,
        later: &State,
        stops: &[Stop],
        within_s: f64,
        effort: &mut Effort,
    ) -> Result<(f64, State), ReflightError> {
        let value = |after_s: f64, y: &State| {
            let time_s = self.began_s + from_s + after_s;
            let needs_rate = stops.iter().any(|s| {
                matches!(
                    s,
                    Stop::AccelerationBelow(_) | Stop::RateBelow(_) | Stop::RateAbove(_)
                )
            });
            let rate = if needs_rate {
                self.model.moment(time_s, y, &self.control).rate
            } else {
                State::zeros()
            };
            least(self.model, stops, time_s, y, &rate).0
        };
        let (mut low_s, mut low) = (0.0, value(0.0, y));
        let (mut high_s, mut high) = (span_s, value(span_s, later));
        let mut state = *later;
        let mut last_side = 0;
        // A bracketed secant that halves the value of an end that stays (the Illinois rule) ends in a dozen passes.
        for _ in 0..100 {
            if high_s - low_s <= within_s || high == 0.0 {
                break;
            }
            let guess_s = low_s + (high_s - low_s) * (low / (low - high)).clamp(0.0, 1.0);
            // Past the root by a fraction of the tolerance: the end that counts is the one behind the event.
            let guess_s = (guess_s + 0.3 * within_s).clamp(low_s + 0.1 * within_s, high_s);
            let trial = self.after(from_s, y, guess_s, effort)?;
            let there = value(guess_s, &trial);
            if there > 0.0 {
                (low_s, low) = (guess_s, there);
                if last_side == -1 {
                    high *= 0.5;
                }
                last_side = -1;
            } else {
                let moved = high_s - guess_s;
                (high_s, high, state) = (guess_s, there, trial);
                if last_side == 1 {
                    low *= 0.5;
                }
                last_side = 1;
                if moved == 0.0 {
                    break;
                }
            }
        }
        Ok((high_s, state))
    }

    /// Integrates until the first of the stops, or for a time [s].
    pub fn until(
        &self,
        start: &State,
        stops: &[Stop],
        limit_s: f64,
        effort: &mut Effort,
    ) -> Result<Stretch, ReflightError> {
        let mut points = vec![(0.0, *start)];
        let (mut now_s, mut y) = (0.0, *start);
        loop {
            let time_s = self.began_s + now_s;
            let rate = self.model.moment(time_s, &y, &self.control).rate;
            if !rate.iter().all(|r| r.is_finite()) {
                return Err(ReflightError::Integration {
                    phase: self.phase,
                    what: "a rate is not a number".into(),
                });
            }
            let (value, which) = least(self.model, stops, time_s, &y, &rate);
            if value <= 0.0 {
                return Ok(Stretch {
                    points,
                    stop: Some(which),
                });
            }
            if now_s >= limit_s {
                return Ok(Stretch { points, stop: None });
            }
            let run = self.run(now_s, &y, limit_s - now_s, 0.0, stops, effort)?;
            let [.., before, last] = run.as_slice() else {
                return Ok(Stretch { points, stop: None });
            };
            let last_s = time_s + last.0;
            let last_rate = self.model.moment(last_s, &last.1, &self.control).rate;
            let crossed = least(self.model, stops, last_s, &last.1, &last_rate).0 <= 0.0;
            points.extend(run[1..run.len() - 1].iter().map(|p| (now_s + p.0, p.1)));
            let (at_s, state) = if crossed {
                let (d, state) = self.crossing(
                    now_s + before.0,
                    &before.1,
                    last.0 - before.0,
                    &last.1,
                    stops,
                    TRIGGER_S,
                    effort,
                )?;
                (before.0 + d, state)
            } else {
                *last
            };
            now_s = if crossed { now_s + at_s } else { limit_s };
            y = state;
            points.push((now_s, y));
        }
    }
}
