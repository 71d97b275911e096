//! The grid: thrust, drag, fuel flow and power at every point of pressure altitude, true airspeed, crankshaft speed, manifold
//! pressure and mixture, one row at a time, so that it may be larger than memory.

use crate::aircraft::{
    AirState, Aircraft, Configuration, Governed, Levers, Performance, Refusal, Speeds, Throttle,
    Warmth,
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
    /// Crankshaft speeds set, rev/s. Those the governor (fixed pitch: the profile) does not allow are no points.
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
    /// The crankshaft speeds that can be set, rev/s.
    fn settable(&self, aircraft: &Aircraft) -> impl Iterator<Item = f64> {
        let p = &aircraft.propeller;
        let range =
            p.lowest_governed_rev_s * (1.0 - SAME)..=p.highest_governed_rev_s * (1.0 + SAME);
        self.rev_s
            .iter()
            .copied()
            .filter(move |r| range.contains(r))
    }

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
    /// Crankshaft speed set, rev/s; what turns is in `performance`. Fixed pitch at full throttle: what turns.
    pub rev_s: f64,
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
/// Fixed pitch: the points are the crankshaft speeds that the throttle can give, manifold pressure follows, and the last row of each
/// speed and mixture is full throttle with the crankshaft speed that balances.
///
/// # Errors
/// The first error of `each`.
pub fn grid<E>(
    aircraft: &Aircraft,
    axes: &GridAxes,
    mut each: impl FnMut(&Row<'_>) -> Result<(), E>,
) -> Result<Count, E> {
    let lightest = axes.masses_kg.iter().copied().fold(f64::INFINITY, f64::min);
    let stall_m_s = Speeds::at_mass(
        aircraft.speeds.vs_m_s,
        lightest,
        aircraft.masses.max_take_off_kg,
    );
    let vne_m_s = aircraft.speeds.vne_m_s;
    let fixed = aircraft.propeller.is_fixed();
    let mut count = Count::default();
    let mut drag_n = Vec::new();
    let mut refusals = Vec::new();
    let mut points = Vec::new();
    for &pressure_altitude_m in &axes.pressure_altitude_m {
        let air = axes.warmth.air(pressure_altitude_m);
        for &tas_m_s in &axes.tas_m_s {
            let ias = aircraft.ias_from_tas(air, tas_m_s);
            let too_slow = (ias < stall_m_s).then_some(Refusal::TooSlow {
                least_m_s: stall_m_s,
            });
            let too_fast = (ias > vne_m_s).then_some(Refusal::TooFast { most_m_s: vne_m_s });
            drag_n.clear();
            drag_n.extend(
                axes.masses_kg
                    .iter()
                    .map(|&m| aircraft.drag_n(air, tas_m_s, m, Configuration::default())),
            );
            points.clear();
            if fixed {
                fixed_pitch_points(aircraft, axes, &mut points);
            } else {
                governed_points(aircraft, axes, air, tas_m_s, &mut points);
            }
            for &(kind, levers) in &points {
                let performance = aircraft.perform(air, tas_m_s, levers);
                let mut rev_s = levers.rev_s;
                if fixed && kind == Kind::FullThrottle {
                    rev_s = performance.rev_s;
                } else if performance.governed == Governed::FixedPitch {
                    continue;
                }
                refusals.clear();
                refusals.extend(aircraft.refusals(&performance, levers.mixture));
                refusals.extend(too_slow);
                refusals.extend(too_fast);
                count.rows += 1;
                count.allowed += u64::from(refusals.is_empty());
                each(&Row {
                    pressure_altitude_m,
                    tas_m_s,
                    rev_s,
                    kind,
                    levers,
                    performance: &performance,
                    drag_n: &drag_n,
                    refusals: &refusals,
                })?;
            }
        }
    }
    Ok(count)
}

/// The settings at one altitude and speed, with a governor.
fn governed_points(
    aircraft: &Aircraft,
    axes: &GridAxes,
    air: AirState,
    tas_m_s: f64,
    points: &mut Vec<(Kind, Levers)>,
) {
    let intake = aircraft.intake(air, tas_m_s);
    let mut throttles = Vec::with_capacity(axes.map_pa.len() + 2);
    for rev_s in axes.settable(aircraft) {
        let full = aircraft.engine.map_pa(Throttle::Full, rev_s, intake);
        let shut = aircraft.engine.map_pa(Throttle::Shut, rev_s, intake);
        let limit = Some(aircraft.map_limit_pa(rev_s)).filter(|&l| l < full && l > shut);
        let same = |a: f64, b: f64| (a / b - 1.0).abs() <= SAME;
        throttles.clear();
        throttles.extend(
            axes.map_pa
                .iter()
                .filter(|&&m| m > shut && m < full && !same(m, full))
                .filter(|&&m| limit.is_none_or(|l| !same(m, l)))
                .map(|&m| (Kind::Held, m)),
        );
        throttles.extend(limit.map(|l| (Kind::LimitLine, l)));
        throttles.push((Kind::FullThrottle, full));
        throttles.sort_by(|a, b| a.1.total_cmp(&b.1));
        for &mixture in &axes.mixtures {
            points.extend(throttles.iter().map(|&(kind, map_pa)| {
                let throttle = match kind {
                    Kind::FullThrottle => Throttle::Full,
                    Kind::Held | Kind::LimitLine => Throttle::Map(map_pa),
                };
                let levers = Levers {
                    throttle,
                    rev_s,
                    mixture,
                };
                (kind, levers)
            }));
        }
    }
}

/// The settings with a fixed pitch; which of them the throttle can give is seen when they are flown.
fn fixed_pitch_points(aircraft: &Aircraft, axes: &GridAxes, points: &mut Vec<(Kind, Levers)>) {
    for &mixture in &axes.mixtures {
        let held = axes
            .settable(aircraft)
            .map(|rev_s| (Kind::Held, Throttle::Rpm, rev_s));
        let full = (
            Kind::FullThrottle,
            Throttle::Full,
            aircraft.propeller.highest_governed_rev_s,
        );
        points.extend(held.chain([full]).map(|(kind, throttle, rev_s)| {
            let levers = Levers {
                throttle,
                rev_s,
                mixture,
            };
            (kind, levers)
        }));
    }
}
