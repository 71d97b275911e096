//! The grid: thrust, drag, fuel flow and power at every point of pressure altitude, true airspeed, crankshaft speed, manifold
//! pressure and mixture, one row at a time, so that it may be larger than memory.

use super::{Warmth, fixed_pitch, ias_m_s};
use crate::aircraft::{
    Aircraft, Configuration, Levers, Performance, Refusal, Speeds, Throttle,
};

/// Two values nearer than this are the same point, relative.
const SAME: f64 = 1e-9;

/// The axes of the grid, each rising.
#[derive(Debug, Clone, PartialEq)]
pub struct GridAxes {
    /// Pressure altitudes, m.
    pub pressure_altitude_m: Vec<f64>,
    /// True airspeeds, m/s.
    pub tas_m_s: Vec<f64>,
    /// Crankshaft speeds set, rev/s.
    pub rev_s: Vec<f64>,
    /// Manifold pressures, Pa. Those beyond full throttle or below the shut throttle are no points.
    pub map_pa: Vec<f64>,
    /// Rows of the mixture table.
    pub mixtures: Vec<usize>,
    /// Masses for which drag is given, kg; at least one.
    pub masses_kg: Vec<f64>,
    /// Temperature.
    pub warmth: Warmth,
}

impl GridAxes {
    /// No more rows than this.
    pub fn most_rows(&self) -> f64 {
        // Full throttle and limit line besides the axis; floats, for the product may be beyond any integer.
        [
            self.pressure_altitude_m.len(),
            self.tas_m_s.len(),
            self.rev_s.len(),
            self.map_pa.len() + 2,
            self.mixtures.len(),
        ]
        .iter()
        .map(|&n| n as f64)
        .product()
    }
}

/// What a point of the grid is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A value of the manifold-pressure axis (fixed pitch: of the crankshaft-speed axis).
    Held,
    /// The limit line at the speed that is set, where full throttle reaches it.
    LimitLine,
    /// Full throttle.
    FullThrottle,
}

/// One point.
#[derive(Debug, Clone, Copy)]
pub struct Row<'a> {
    /// Pressure altitude, m.
    pub pressure_altitude_m: f64,
    /// True airspeed, m/s.
    pub tas_m_s: f64,
    /// Crankshaft speed set, rev/s; what turns is in `performance`.
    pub rev_s: f64,
    /// Row of the mixture table.
    pub mixture: usize,
    /// What it is.
    pub kind: Kind,
    /// The levers.
    pub levers: Levers,
    /// What the aeroplane does there, all engines together.
    pub performance: &'a Performance,
    /// Clean drag for each mass, N.
    pub drag_n: &'a [f64],
    /// Why it is not allowed; empty if it is.
    pub refusals: &'a [Refusal],
}

/// How many rows there were.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Count {
    /// Rows.
    pub rows: u64,
    /// Rows that are allowed.
    pub allowed: u64,
}

/// Gives every point to `each`: by altitude, speed, crankshaft speed, mixture and manifold pressure, the last fastest.
///
/// In each line of manifold pressures the full-throttle point is a row, and the point on the limit line where full throttle is above it,
/// whether or not the axis has them. A row is allowed if [`Aircraft::refusals`] has nothing against it and the indicated speed lies
/// between the stall speed of the smallest mass and never-exceed.
///
/// # Errors
/// The first error of `each`.
pub fn grid<E>(
    aircraft: &Aircraft,
    axes: &GridAxes,
    mut each: impl FnMut(&Row<'_>) -> Result<(), E>,
) -> Result<Count, E> {
    let fixed = fixed_pitch(aircraft);
    let lightest = axes.masses_kg.iter().copied().fold(f64::INFINITY, f64::min);
    let stall_m_s = Speeds::at_mass(
        aircraft.speeds.vs_m_s,
        lightest,
        aircraft.masses.max_take_off_kg,
    );
    let mut count = Count::default();
    let mut drag_n = Vec::new();
    let mut refusals = Vec::new();
    let mut points = Vec::new();
    for &pressure_altitude_m in &axes.pressure_altitude_m {
        let air = axes.warmth.air(pressure_altitude_m);
        for &tas_m_s in &axes.tas_m_s {
            let ias = ias_m_s(aircraft, air, tas_m_s);
            let intake = aircraft.intake(air, tas_m_s);
            drag_n.clear();
            drag_n.extend(
                axes.masses_kg
                    .iter()
                    .map(|&m| aircraft.drag_n(air, tas_m_s, m, Configuration::default())),
            );
            for &rev_s in &axes.rev_s {
                points.clear();
                if fixed {
                    points.push((Kind::FullThrottle, Throttle::Full));
                } else {
                    let full = aircraft.engine.map_pa(Throttle::Full, rev_s, intake);
                    let shut = aircraft.engine.map_pa(Throttle::Shut, rev_s, intake);
                    let limit = Some(aircraft.map_limit_pa(rev_s)).filter(|&l| l < full && l > shut);
                    let mut limit_due = limit;
                    for &map in axes.map_pa.iter().filter(|&&m| m > shut && m < full) {
                        if let Some(l) = limit_due.filter(|&l| l <= map * (1.0 + SAME)) {
                            points.push((Kind::LimitLine, Throttle::Map(l)));
                            limit_due = None;
                        }
                        if limit.is_none_or(|l| (map / l - 1.0).abs() > SAME)
                            && map < full * (1.0 - SAME)
                        {
                            points.push((Kind::Held, Throttle::Map(map)));
                        }
                    }
                    points.extend(limit_due.map(|l| (Kind::LimitLine, Throttle::Map(l))));
                    points.push((Kind::FullThrottle, Throttle::Full));
                }
                for &mixture in &axes.mixtures {
                    for &(kind, throttle) in &points {
                        let levers = Levers {
                            throttle,
                            rev_s,
                            mixture,
                        };
                        let performance = aircraft.perform(air, tas_m_s, levers);
                        refusals.clear();
                        refusals.extend(aircraft.refusals(&performance, mixture));
                        if ias < stall_m_s {
                            refusals.push(Refusal::TooSlow {
                                least_m_s: stall_m_s,
                            });
                        }
                        if ias > aircraft.speeds.vne_m_s {
                            refusals.push(Refusal::TooFast {
                                most_m_s: aircraft.speeds.vne_m_s,
                            });
                        }
                        count.rows += 1;
                        count.allowed += u64::from(refusals.is_empty());
                        each(&Row {
                            pressure_altitude_m,
                            tas_m_s,
                            rev_s,
                            mixture,
                            kind,
                            levers,
                            performance: &performance,
                            drag_n: &drag_n,
                            refusals: &refusals,
                        })?;
                    }
                }
            }
        }
    }
    Ok(count)
}
