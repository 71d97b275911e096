//! The plan beside what the pilot noted on the day: errors by leg, and what was measured in level cruise.

use crate::air::{isa, speed};
use crate::flight::Waymark;
use crate::trip::{Noted, NotedFuel, Problem};

/// From one noted point to the next.
#[derive(Debug, Clone, PartialEq)]
pub struct LegFlown {
    /// Name of the first.
    pub from: String,
    /// Name of the second.
    pub to: String,
    /// How far it is, m.
    pub distance_m: f64,
    /// Time planned, s.
    pub planned_s: f64,
    /// Time flown, s.
    pub flown_s: f64,
    /// Fuel planned, kg.
    pub planned_kg: f64,
    /// Fuel flown, kg, where it was noted at both ends.
    pub flown_kg: Option<f64>,
    /// True airspeed noted in cruise less that planned, m/s: mean of the two ends, or that of the one that has it.
    pub tas_error_m_s: Option<f64>,
}

impl LegFlown {
    /// Mean ground speed planned and flown, m/s; none between points at one place.
    pub fn ground_speeds_m_s(&self) -> Option<(f64, f64)> {
        let whole = self.distance_m > 0.0 && self.planned_s > 0.0 && self.flown_s > 0.0;
        whole.then(|| {
            (
                self.distance_m / self.planned_s,
                self.distance_m / self.flown_s,
            )
        })
    }

    /// By how much the wind along the course was other than planned with, m/s, a tail wind positive: the difference in ground speed
    /// that the true airspeed noted does not account for. Without one, had it been as planned.
    pub fn wind_error_m_s(&self) -> Option<f64> {
        let (planned, flown) = self.ground_speeds_m_s()?;
        Some(flown - planned - self.tas_error_m_s.unwrap_or(0.0))
    }
}

/// First noted point to last.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TotalFlown {
    /// Time planned, s.
    pub planned_s: f64,
    /// Time flown, s.
    pub flown_s: f64,
    /// Fuel planned, kg.
    pub planned_kg: f64,
    /// Fuel flown, kg, where it was noted at both ends.
    pub flown_kg: Option<f64>,
}

/// What was measured in level cruise at one setting, complete enough to fit an aircraft to.
#[derive(Debug, Clone, PartialEq)]
pub struct Steady {
    /// Where.
    pub name: String,
    /// Pressure altitude, m.
    pub pressure_altitude_m: f64,
    /// Outside air temperature, K.
    pub outside_k: f64,
    /// Mass, kg: by the fuel noted, else by the fuel planned.
    pub mass_kg: f64,
    /// Manifold pressure, Pa; none at fixed pitch, where it need not be noted.
    pub map_pa: Option<f64>,
    /// Crankshaft speed, rev/s.
    pub rev_s: f64,
    /// Row of the mixture table.
    pub mixture: usize,
    /// Indicated airspeed, m/s.
    pub ias_m_s: Option<f64>,
    /// Fuel flow, kg/s.
    pub fuel_kg_s: Option<f64>,
}

/// Why a note is no measurement in level cruise.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NotSteady {
    /// Up to there the plan climbs, descends, or changes speed.
    NotInCruise,
    /// These were not noted.
    Lacks(Vec<&'static str>),
}

/// The plan beside what was flown.
#[derive(Debug, Clone, PartialEq)]
pub struct AsFlown {
    /// Legs between noted points, in the order of the flight.
    pub legs: Vec<LegFlown>,
    /// All of them.
    pub total: Option<TotalFlown>,
    /// Take-off after the planned time of it, s, where both are by the clock.
    pub late_s: Option<f64>,
    /// Measurements.
    pub steady: Vec<Steady>,
    /// Notes that are none, by the name of the point.
    pub not_steady: Vec<(String, NotSteady)>,
}

/// One note with what the plan has there.
struct Point<'a> {
    mark: &'a Waymark,
    time_s: f64,
    /// Used since the fuel on board was counted.
    used_kg: Option<f64>,
    tas_error_m_s: Option<f64>,
}

/// Fuel \[kg\] used since the fuel on board was counted.
fn used_kg(problem: &Problem, fuel: Option<NotedFuel>) -> Option<f64> {
    fuel.map(|f| match f {
        NotedFuel::Left(kg) => problem.fuel_kg - kg,
        NotedFuel::Used(kg) => kg,
    })
}

/// Pressure altitude \[m\] and temperature \[K\] of a note, those of the plan where it has none.
fn air(problem: &Problem, mark: &Waymark, note: &Noted) -> (f64, f64) {
    let state = &mark.at.state;
    let altitude_m = note.indicated_m.map_or(state.pressure_altitude_m, |m| {
        problem.pressure_altitude_m(state.distance_m, m)
    });
    let outside_k = note.outside_k.unwrap_or_else(|| {
        let sample = problem.air.at(state.distance_m, altitude_m, state.time_s);
        sample.temperature_k
    });
    (altitude_m, outside_k)
}

/// True airspeed noted less that planned \[m/s\], of a note in cruise.
fn tas_error_m_s(problem: &Problem, mark: &Waymark, note: &Noted) -> Option<f64> {
    let ias_m_s = note.ias_m_s.filter(|_| mark.cruising)?;
    let (altitude_m, outside_k) = air(problem, mark, note);
    let cas_m_s = problem.aircraft.cas_from_ias(ias_m_s);
    let tas_m_s = speed::cas_to_tas_m_s(cas_m_s, isa::pressure_pa(altitude_m), outside_k);
    Some(tas_m_s - mark.at.state.tas_m_s)
}

fn steady(problem: &Problem, mark: &Waymark, note: &Noted) -> Result<Steady, NotSteady> {
    if !mark.cruising {
        return Err(NotSteady::NotInCruise);
    }
    let fixed = problem.aircraft.propeller.is_fixed();
    let lacking = [
        (note.indicated_m.is_none(), "altitude_ft"),
        (note.outside_k.is_none(), "oat_c"),
        (note.map_pa.is_none() && !fixed, "map_inhg"),
        (note.rev_s.is_none(), "rpm"),
        (note.mixture.is_none(), "mixture"),
        (
            note.ias_m_s.is_none() && note.fuel_kg_s.is_none(),
            "ias_kt or fuel_flow_gph",
        ),
    ];
    let lacks: Vec<&str> = lacking.iter().filter(|l| l.0).map(|l| l.1).collect();
    let (Some(rev_s), Some(mixture), []) = (note.rev_s, note.mixture, &lacks[..]) else {
        return Err(NotSteady::Lacks(lacks));
    };
    let (pressure_altitude_m, outside_k) = air(problem, mark, note);
    let mass_kg = used_kg(problem, note.fuel).map_or(mark.at.mass_kg, |used| {
        problem.zero_fuel_kg + problem.fuel_kg - used
    });
    Ok(Steady {
        name: mark.name.clone(),
        pressure_altitude_m,
        outside_k,
        mass_kg,
        map_pa: note.map_pa.filter(|_| !fixed),
        rev_s,
        mixture,
        ias_m_s: note.ias_m_s,
        fuel_kg_s: note.fuel_kg_s,
    })
}

/// Sets a plan beside notes of its waymarks; `notes` are in the order of the flight, each later than the one before, and those whose
/// point is none of the waymarks are passed over. Where the times count from take-off and the departure is not noted, the flight
/// begins there at nought.
pub fn as_flown(problem: &Problem, marks: &[Waymark], notes: &[Noted]) -> AsFlown {
    let mut points = Vec::new();
    let from_take_off = notes.first().is_some_and(|n| !n.by_clock && n.point > 0);
    if let (true, Some(mark)) = (from_take_off, marks.first()) {
        points.push(Point {
            mark,
            time_s: 0.0,
            used_kg: None,
            tas_error_m_s: None,
        });
    }
    let (mut measured, mut not_steady) = (Vec::new(), Vec::new());
    for note in notes {
        let Some(mark) = marks.get(note.point) else {
            continue;
        };
        points.push(Point {
            mark,
            time_s: note.time_s,
            used_kg: used_kg(problem, note.fuel),
            tas_error_m_s: tas_error_m_s(problem, mark, note),
        });
        match steady(problem, mark, note) {
            Ok(s) => measured.push(s),
            Err(why) => not_steady.push((mark.name.clone(), why)),
        }
    }
    let leg = |a: &Point<'_>, b: &Point<'_>| {
        let (from, to) = (&a.mark.at.state, &b.mark.at.state);
        let errors: Vec<f64> = [a, b].iter().filter_map(|p| p.tas_error_m_s).collect();
        #[expect(clippy::cast_precision_loss, reason = "one or two")]
        let mean = errors.iter().sum::<f64>() / errors.len() as f64;
        LegFlown {
            from: a.mark.name.clone(),
            to: b.mark.name.clone(),
            distance_m: to.distance_m - from.distance_m,
            planned_s: to.time_s - from.time_s,
            flown_s: b.time_s - a.time_s,
            planned_kg: to.fuel_kg - from.fuel_kg,
            flown_kg: b.used_kg.zip(a.used_kg).map(|(b, a)| b - a),
            tas_error_m_s: (!errors.is_empty()).then_some(mean),
        }
    };
    let legs = points.windows(2).map(|p| leg(&p[0], &p[1])).collect();
    let total = match points.as_slice() {
        [first, .., last] => {
            let all = leg(first, last);
            Some(TotalFlown {
                planned_s: all.planned_s,
                flown_s: all.flown_s,
                planned_kg: all.planned_kg,
                flown_kg: all.flown_kg,
            })
        }
        _ => None,
    };
    let left = notes.first().filter(|n| n.point == 0 && n.by_clock);
    AsFlown {
        legs,
        total,
        late_s: left.map(|n| n.time_s),
        steady: measured,
        not_steady,
    }
}
