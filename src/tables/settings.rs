//! The power-setting table: level cruise by altitude and crankshaft speed, for chosen powers and full throttle.

use crate::air::isa;
use crate::aircraft::{
    AirState, Aircraft, Governed, LevelFlight, Levers, Performance, Refusal, Throttle, Warmth,
};
use crate::quantity::M_PER_FT;

/// Float noise in a comparison of two manifold pressures, relative.
const NOISE: f64 = 1e-9;
/// Usual step of the crankshaft speeds, rev/s (200 rpm).
const REV_STEP_S: f64 = 200.0 / 60.0;
/// Usual table: speeds down to this part of the greatest.
const LOWEST_REV: f64 = 0.7;
/// Usual powers, fractions of rated power.
const POWERS: [f64; 3] = [0.75, 0.65, 0.55];
/// Usual step of the altitudes, m.
const ALTITUDE_STEP_M: f64 = 2_000.0 * M_PER_FT;
/// Usual highest altitude, m.
const HIGHEST_M: f64 = 12_000.0 * M_PER_FT;
/// The same where a turbocharger helps at most, m.
const HIGHEST_TURBO_M: f64 = 24_000.0 * M_PER_FT;

/// What the table is asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct SettingsAsk {
    /// Pressure altitudes, m.
    pub pressure_altitude_m: Vec<f64>,
    /// Crankshaft speeds to set, rev/s.
    pub rev_s: Vec<f64>,
    /// Brake powers over rated power.
    pub powers: Vec<f64>,
    /// Temperature.
    pub warmth: Warmth,
    /// Mass, kg.
    pub mass_kg: f64,
    /// Row of the mixture table.
    pub mixture: usize,
}

impl SettingsAsk {
    /// The usual table of an aeroplane: every 2,000 ft to [`highest_usual_m`], every 200 rpm, 75, 65 and 55 %, standard day, greatest
    /// take-off mass, best power.
    pub fn usual(aircraft: &Aircraft) -> Self {
        let p = &aircraft.propeller;
        let highest = p.highest_governed_rev_s;
        let lowest = p.lowest_governed_rev_s.max(LOWEST_REV * highest);
        Self {
            pressure_altitude_m: multiples(ALTITUDE_STEP_M, highest_usual_m(aircraft)),
            rev_s: (0..)
                .map(|i| highest - f64::from(i) * REV_STEP_S)
                .take_while(|&r| r >= lowest * (1.0 - NOISE))
                .collect(),
            powers: POWERS.to_vec(),
            warmth: Warmth::AboveStandard(0.0),
            mass_kg: aircraft.masses.max_take_off_kg,
            mixture: aircraft.engine.best_power_mixture(),
        }
    }
}

/// Multiples of a step from the first to a last value.
fn multiples(step: f64, last: f64) -> Vec<f64> {
    (1..)
        .map(|i| f64::from(i) * step)
        .take_while(|&x| x <= last * (1.0 + NOISE))
        .collect()
}

/// Highest pressure altitude of the usual tables, m: 12,000 ft, or for a turbocharged engine the second multiple of 2,000 ft above the
/// critical altitude, at most 24,000 ft.
pub fn highest_usual_m(aircraft: &Aircraft) -> f64 {
    aircraft.engine.spec.turbo.map_or(HIGHEST_M, |t| {
        let above = (t.critical_altitude_m / ALTITUDE_STEP_M).ceil() + 1.0;
        (above * ALTITUDE_STEP_M).clamp(HIGHEST_M, HIGHEST_TURBO_M)
    })
}

/// What a cell of the table holds still.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Hold {
    /// This brake power over rated power.
    Power(f64),
    /// Full throttle.
    FullThrottle,
    /// Fixed pitch: the throttle that gives the crankshaft speed of the row.
    Tachometer,
}

/// One allowed setting in steady level flight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setting {
    /// The levers.
    pub levers: Levers,
    /// True airspeed, m/s.
    pub tas_m_s: f64,
    /// Indicated airspeed, m/s.
    pub ias_m_s: f64,
    /// What [`Aircraft::perform`] gives there.
    pub performance: Performance,
}

/// A setting, or why there is none: at least one reason, the weightiest first.
pub type Cell = Result<Setting, Vec<Refusal>>;

/// One altitude and crankshaft speed.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Pressure altitude, m.
    pub pressure_altitude_m: f64,
    /// The air there.
    pub air: AirState,
    /// Density altitude, m.
    pub density_altitude_m: f64,
    /// Crankshaft speed set, rev/s; `None` at full throttle with a fixed pitch, where it follows.
    pub rev_s: Option<f64>,
    /// One cell for each column of the table.
    pub cells: Vec<Cell>,
}

/// The table.
#[derive(Debug, Clone, PartialEq)]
pub struct SettingsTable {
    /// What was asked for.
    pub ask: SettingsAsk,
    /// What the columns hold.
    pub columns: Vec<Hold>,
    /// Rows: altitudes as asked for, and in each the crankshaft speeds as asked for.
    pub rows: Vec<Row>,
    /// Least indicated speed, m/s.
    pub least_m_s: f64,
}

/// Works the table out: each cell is the steady level speed at its setting and what the aeroplane does there, or why the setting is
/// left out. Where a power is held, manifold pressure is what gives it with the ram of the speed.
pub fn settings(aircraft: &Aircraft, ask: SettingsAsk) -> SettingsTable {
    let fixed = aircraft.propeller.is_fixed();
    let least_m_s = aircraft.least_cruise_m_s(ask.mass_kg);
    let columns: Vec<Hold> = if fixed {
        vec![Hold::Tachometer]
    } else {
        ask.powers
            .iter()
            .map(|&p| Hold::Power(p))
            .chain([Hold::FullThrottle])
            .collect()
    };
    let mut rows = Vec::new();
    for &pressure_altitude_m in &ask.pressure_altitude_m {
        let air = ask.warmth.air(pressure_altitude_m);
        let row = |rev_s: Option<f64>, cells| Row {
            pressure_altitude_m,
            air,
            density_altitude_m: isa::altitude_of_density_m(air.density_kg_m3),
            rev_s,
            cells,
        };
        let at = |hold, rev_s| cell(aircraft, &ask, air, least_m_s, hold, rev_s);
        if fixed {
            let any = aircraft.propeller.highest_governed_rev_s;
            rows.push(row(None, vec![at(Hold::FullThrottle, any)]));
        }
        for &rev_s in &ask.rev_s {
            let cells = columns.iter().map(|&hold| at(hold, rev_s)).collect();
            rows.push(row(Some(rev_s), cells));
        }
    }
    SettingsTable {
        ask,
        columns,
        rows,
        least_m_s,
    }
}

fn cell(
    aircraft: &Aircraft,
    ask: &SettingsAsk,
    air: AirState,
    least_m_s: f64,
    hold: Hold,
    rev_s: f64,
) -> Cell {
    let mixture = ask.mixture;
    let levers = |tas_m_s: f64| {
        let throttle = match hold {
            Hold::FullThrottle => Throttle::Full,
            Hold::Tachometer => Throttle::Rpm,
            Hold::Power(fraction) => Throttle::Map(aircraft.engine.map_for_power_pa(
                fraction * aircraft.engine.spec.rated_power_w,
                rev_s,
                mixture,
                aircraft.intake(air, tas_m_s),
            )),
        };
        Levers {
            throttle,
            rev_s,
            mixture,
        }
    };
    let Some(LevelFlight {
        tas_m_s, levers, ..
    }) = aircraft.level_flight(air, ask.mass_kg, levers)
    else {
        return Err(vec![Refusal::NotLevel]);
    };
    let performance = aircraft.perform(air, tas_m_s, levers);
    let ias_m_s = aircraft.ias_from_tas(air, tas_m_s);
    let mut why = Vec::new();
    if let Throttle::Map(map_pa) = levers.throttle
        && performance.map_pa < map_pa * (1.0 - NOISE)
    {
        why.push(Refusal::OutOfReach);
    }
    why.extend(aircraft.refusals(&performance, mixture));
    // Fixed pitch: a balance where a speed was asked for means that the throttle is at one of its ends.
    let out_of_hand = match performance.governed {
        Governed::OnLowStop | Governed::OnHighStop => true,
        Governed::FixedPitch => hold == Hold::Tachometer,
        Governed::Yes | Governed::Stopped => false,
    };
    if out_of_hand {
        why.push(match performance.governed {
            Governed::FixedPitch => Refusal::OutOfReach,
            governed => Refusal::PitchStop(governed),
        });
    }
    why.extend(speed_refusals(aircraft, ias_m_s, least_m_s));
    if why.is_empty() {
        Ok(Setting {
            levers,
            tas_m_s,
            ias_m_s,
            performance,
        })
    } else {
        Err(why)
    }
}

/// Why an indicated airspeed \[m/s\] is not one to cruise at: slower than the least \[m/s\], faster than Vno.
pub(crate) fn speed_refusals(
    aircraft: &Aircraft,
    ias_m_s: f64,
    least_m_s: f64,
) -> impl Iterator<Item = Refusal> {
    let most_m_s = aircraft.speeds.vno_m_s;
    let too_slow = (ias_m_s < least_m_s).then_some(Refusal::TooSlow { least_m_s });
    let too_fast = (ias_m_s > most_m_s).then_some(Refusal::TooFast { most_m_s });
    too_slow.into_iter().chain(too_fast)
}
