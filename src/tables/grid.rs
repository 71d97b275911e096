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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::profile::load_profile;
    use crate::quantity::{M_PER_FT, M_S_PER_KT, PA_PER_INHG};
    use std::collections::BTreeMap;
    use std::convert::Infallible;
    use std::path::Path;

    fn profile(name: &str) -> Aircraft {
        let path = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("profiles")
            .join(name);
        load_profile(&path).expect("a profile of this repository loads")
    }

    fn axes(aircraft: &Aircraft, rpm: &[f64]) -> GridAxes {
        let each = |values: &[f64], unit: f64| values.iter().map(|v| v * unit).collect();
        GridAxes {
            pressure_altitude_m: each(&[0.0, 8_000.0], M_PER_FT),
            tas_m_s: each(&[50.0, 100.0, 140.0, 190.0], M_S_PER_KT),
            rev_s: each(rpm, 1.0 / 60.0),
            map_pa: each(&[3.0, 18.0, 21.0, 24.0, 27.0, 40.0], PA_PER_INHG),
            mixtures: (0..aircraft.engine.spec.mixtures.len()).collect(),
            masses_kg: vec![aircraft.masses.max_take_off_kg, aircraft.masses.empty_kg],
            warmth: Warmth::AboveStandard(0.0),
        }
    }

    #[test]
    fn crosscheck_every_line_has_its_full_throttle_and_limit_line() {
        let aircraft = profile("retractable-200hp.toml");
        let axes = axes(&aircraft, &[2_000.0, 2_300.0, 2_700.0]);
        let mut lines: BTreeMap<_, Vec<(Kind, f64)>> = BTreeMap::new();
        let count = grid(&aircraft, &axes, |r| {
            let again =
                aircraft.perform(axes.warmth.air(r.pressure_altitude_m), r.tas_m_s, r.levers);
            assert_eq!(&again, r.performance);
            assert_eq!(r.drag_n.len(), 2);
            assert!(r.drag_n[0] > r.drag_n[1] && r.drag_n[1] > 0.0);
            if r.kind == Kind::LimitLine {
                let over = |w: &Refusal| matches!(w, Refusal::MapLimit { .. });
                assert!(!r.refusals.iter().any(over) || r.performance.governed != Governed::Yes);
            }
            let map = match r.levers.throttle {
                Throttle::Map(p) => p,
                _ => f64::INFINITY,
            };
            let key = [r.pressure_altitude_m, r.tas_m_s, r.rev_s].map(f64::to_bits);
            lines
                .entry((key, r.levers.mixture))
                .or_default()
                .push((r.kind, map));
            Ok::<_, Infallible>(())
        });
        let Ok(count) = count;
        assert_eq!(lines.len(), 2 * 4 * 3 * 4);
        assert_eq!(
            count.rows,
            lines.values().map(|l| l.len() as u64).sum::<u64>()
        );
        assert!(count.allowed > 0 && count.allowed < count.rows);
        assert!(count.rows as f64 <= axes.most_rows());
        let mut with_limit = 0;
        for line in lines.values() {
            assert!(line.windows(2).all(|w| w[0].1 < w[1].1), "{line:?}");
            assert_eq!(line.last().map(|p| p.0), Some(Kind::FullThrottle));
            assert_eq!(line.iter().filter(|p| p.0 == Kind::FullThrottle).count(), 1);
            with_limit += line.iter().filter(|p| p.0 == Kind::LimitLine).count();
        }
        // The line of the profile stands at 24 in (2,000 rpm), 27 (2,300) and 30 (2,700). Sea-level full throttle, ram counted,
        // is above the first two, and above the third at 190 kt: 29.9 less 0.7 lost plus 0.8 of 1.7 in of ram is 30.6 in. At 8,000 ft
        // ambient is 22.2 in.
        assert_eq!(with_limit, (4 * 2 + 1) * 4);
    }

    #[test]
    fn closed_form_allowed_means_no_reason() {
        let aircraft = profile("retractable-200hp.toml");
        let axes = axes(&aircraft, &[2_000.0, 2_700.0]);
        let (mut slow, mut fast, mut fine) = (0, 0, 0);
        let Ok(_) = grid(&aircraft, &axes, |r| {
            // 50 kt is below the stall speed of the empty aeroplane (60 sqrt(1680/2740) = 47 kt) nowhere at sea level; 190 kt is above 175.
            let knots = r.tas_m_s / M_S_PER_KT;
            let has = |code: &str| r.refusals.iter().any(|w| w.code() == code);
            if knots < 60.0 && r.pressure_altitude_m > 0.0 {
                assert!(has("too_slow"));
                slow += 1;
            }
            if knots > 180.0 && r.pressure_altitude_m == 0.0 {
                assert!(has("too_fast"));
                fast += 1;
            }
            let p = r.performance;
            assert_eq!(has("cruise_power"), p.power_fraction > 0.75 * (1.0 + SAME));
            let band = aircraft.engine.spec.mixtures[r.levers.mixture].max_power_fraction;
            assert_eq!(has("mixture_band"), p.power_fraction > band * (1.0 + SAME));
            fine += usize::from(r.refusals.is_empty());
            Ok::<_, Infallible>(())
        });
        assert!(slow > 0 && fast > 0 && fine > 0);
    }

    #[test]
    fn closed_form_fixed_pitch_rows_turn_as_set_or_at_full_throttle() {
        let aircraft = profile("trainer-160hp.toml");
        let axes = axes(&aircraft, &[1_800.0, 2_000.0, 2_200.0, 2_400.0]);
        let (mut held, mut full) = (0, 0);
        let Ok(_) = grid(&aircraft, &axes, |r| {
            assert_eq!(r.rev_s, r.performance.rev_s);
            assert!(r.rev_s >= aircraft.propeller.lowest_governed_rev_s);
            match r.kind {
                Kind::Held => held += 1,
                Kind::FullThrottle => full += 1,
                Kind::LimitLine => panic!("no limit line at fixed pitch"),
            }
            Ok::<_, Infallible>(())
        });
        assert_eq!(full, 2 * 4 * axes.mixtures.len());
        assert!(held > 10, "{held}");
    }
}
