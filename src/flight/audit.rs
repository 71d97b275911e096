//! The limits that a flight must keep, and how close it came to each.

use crate::quantity::{KG_PER_LB, M_PER_FT, M_S_PER_FPM, M_S_PER_KT, PA_PER_INHG};

/// A limit on the flown path.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Limit {
    /// Indicated speed by the air, Vno and Va.
    Airspeed,
    /// Indicated speed at least 1.3 Vs (cruise), Vy and cooling (climb), pattern speed (descent).
    LowSpeed,
    /// MAP/RPM limit line.
    ManifoldPressure,
    /// RPM bands to avoid.
    RpmBand,
    /// Greatest cruise power of the profile, in cruise and in the descent to the field; from level to level it is that of the cruise before.
    CruisePower,
    /// Power band of the mixture.
    Mixture,
    /// Least manifold pressure in the descent.
    LeastManifoldPressure,
    /// Rate of climb on reaching a level, and where a second climb speed begins.
    ClimbRate,
    /// Rate of descent.
    DescentRate,
    /// Indicated speed at which the gear is extended in the descent, Vlo.
    GearExtension,
    /// Indicated speed with the gear down in the descent, Vle.
    GearDown,
    /// True height over ground.
    Ground,
    /// Forbidden patches of distance and height.
    Forbidden,
    /// Greatest altitude of a leg.
    Ceiling,
    /// Levels allowed on a leg: distance held at another, m.
    Level,
    /// The governor does not hold the set RPM.
    Governor,
    /// Greatest RPM of a fixed-pitch propeller.
    Redline,
    /// Landing fuel below the reserve.
    Fuel,
    /// Mass at landing.
    LandingMass,
    /// Longest from start-up to landing that was asked for.
    ArriveWithin,
    /// Most fuel, or least left, that was asked for.
    FuelBound,
    /// No room on the route for climb, cruise and descent.
    Distance,
}

impl Limit {
    /// Limits that depend on where along the route a descent is: the speed limit is that of the air near the ground.
    pub(super) const OF_THE_PLACE: [Self; 4] =
        [Self::Airspeed, Self::Ground, Self::Forbidden, Self::Ceiling];

    /// All limits.
    pub const ALL: [Self; 22] = [
        Self::Airspeed,
        Self::LowSpeed,
        Self::ManifoldPressure,
        Self::RpmBand,
        Self::CruisePower,
        Self::Mixture,
        Self::LeastManifoldPressure,
        Self::ClimbRate,
        Self::DescentRate,
        Self::GearExtension,
        Self::GearDown,
        Self::Ground,
        Self::Forbidden,
        Self::Ceiling,
        Self::Level,
        Self::Governor,
        Self::Redline,
        Self::Fuel,
        Self::LandingMass,
        Self::ArriveWithin,
        Self::FuelBound,
        Self::Distance,
    ];

    /// As a pilot would name it.
    pub fn words(self) -> &'static str {
        match self {
            Self::Airspeed => "speed limit of the air",
            Self::LowSpeed => "least speed",
            Self::ManifoldPressure => "manifold pressure limit for the RPM",
            Self::RpmBand => "RPM band to avoid",
            Self::CruisePower => "greatest cruise power",
            Self::Mixture => "power band of the mixture",
            Self::LeastManifoldPressure => "least manifold pressure in the descent",
            Self::ClimbRate => "least rate of climb on reaching a level",
            Self::DescentRate => "greatest rate of descent",
            Self::GearExtension => "speed to extend the gear",
            Self::GearDown => "speed with the gear down",
            Self::Ground => "height over ground",
            Self::Forbidden => "heights that are forbidden on a part of the route",
            Self::Ceiling => "greatest altitude of a leg",
            Self::Level => "levels allowed on each leg",
            Self::Governor => "RPM that can be held",
            Self::Redline => "greatest RPM",
            Self::Fuel => "fuel and reserve",
            Self::LandingMass => "greatest landing weight",
            Self::ArriveWithin => "time asked for",
            Self::FuelBound => "fuel asked for",
            Self::Distance => "room on the route for climb, cruise and descent",
        }
    }

    /// What would free a trip of it.
    pub fn way_out(self) -> &'static str {
        match self {
            Self::Airspeed => {
                "smoother air by height where it is forecast ([[limits.air]]), or a slower pattern"
            }
            Self::LowSpeed => "less load, or lower levels",
            Self::ManifoldPressure | Self::RpmBand | Self::Governor | Self::Redline => {
                "other levels, or other limits of the engine where its maker gives them (profile)"
            }
            Self::CruisePower => "a greater max_cruise_power_percent (profile)",
            Self::Mixture => "a wider power band of the mixtures (profile)",
            Self::LeastManifoldPressure => {
                "a lower limits.least_map_inhg, or a greater limits.max_descent_fpm"
            }
            Self::ClimbRate => "less load or fuel, or lower levels",
            Self::DescentRate => {
                "a greater limits.max_descent_fpm, or lower levels before the field"
            }
            Self::GearExtension | Self::GearDown => {
                "a slower descent, or gear_as_brake = false (profile)"
            }
            Self::Ground => {
                "more room to climb or let down before the high ground: a via place round it, a field farther from it, or less load"
            }
            Self::Forbidden => "a via place round it, or another time if it is cloud",
            Self::Ceiling => "a higher maximum_altitude_ft of the leg, or a via place",
            Self::Level => {
                "a level that the legs have in common (limits.rules, minimum_altitude_ft), or longer legs"
            }
            Self::Fuel => {
                "more fuel, a stop on the way, or a smaller limits.reserve_min if the rules allow it"
            }
            Self::LandingMass => "less load or fuel on board, or a longer way to burn it",
            Self::ArriveWithin => "more time",
            Self::FuelBound => "more fuel allowed",
            Self::Distance => "lower levels, a greater limits.max_descent_fpm, or a longer route",
        }
    }

    /// The amount [SI unit of the limited quantity] that counts as one unit of violation.
    fn scale(self) -> f64 {
        match self {
            Self::Airspeed | Self::LowSpeed | Self::GearExtension | Self::GearDown => M_S_PER_KT,
            Self::ManifoldPressure | Self::LeastManifoldPressure => 0.1 * PA_PER_INHG,
            Self::RpmBand => 10.0 / 60.0,
            Self::CruisePower | Self::Mixture => 0.002,
            Self::ClimbRate | Self::DescentRate => 10.0 * M_S_PER_FPM,
            Self::Ground | Self::Forbidden | Self::Ceiling => 30.0 * M_PER_FT,
            Self::Governor | Self::Redline => 5.0 / 60.0,
            Self::Fuel | Self::FuelBound => 0.1,
            Self::LandingMass => KG_PER_LB,
            Self::ArriveWithin => 6.0,
            Self::Distance | Self::Level => 100.0,
        }
    }

    /// Scale units of an amount [SI unit of the limited quantity].
    pub(crate) fn units(self, amount: f64) -> f64 {
        amount / self.scale()
    }
}

/// How far each limit was exceeded, in units of its scale; below zero is room left.
#[derive(Debug, Clone, PartialEq)]
pub struct Audit {
    worst: [f64; Limit::ALL.len()],
}

/// A violation of less than this many scale units is rounding of the integration, not a broken limit.
const TOLERANCE: f64 = 0.1;
/// A limit with less room than this many scale units binds.
const BINDING: f64 = -1.0;

impl Default for Audit {
    fn default() -> Self {
        Self {
            worst: [f64::NEG_INFINITY; Limit::ALL.len()],
        }
    }
}

impl Audit {
    /// Notes by how much a quantity exceeds its limit (below zero: room), in its SI unit. Not a number counts as a gross violation.
    pub fn note(&mut self, limit: Limit, excess: f64) {
        let units = if excess.is_nan() {
            1e6
        } else {
            limit.units(excess)
        };
        let slot = &mut self.worst[limit as usize];
        *slot = slot.max(units);
    }

    /// By how much a limit was exceeded at the worst, in its SI unit; below zero is room, minus infinity where it was never near.
    pub fn excess(&self, limit: Limit) -> f64 {
        self.worst[limit as usize] * limit.scale()
    }

    /// Sum of all violations in scale units; zero for a flight that keeps every limit.
    pub fn violation(&self) -> f64 {
        self.worst.iter().filter(|&&w| w > TOLERANCE).sum()
    }

    /// The part of [`Audit::violation`] that lies with some limits.
    pub fn violation_of(&self, limits: &[Limit]) -> f64 {
        let worst = limits.iter().map(|&l| self.worst[l as usize]);
        worst.filter(|&w| w > TOLERANCE).sum()
    }

    /// Limits that are broken.
    pub fn broken(&self) -> Vec<Limit> {
        self.broken_by(TOLERANCE)
    }

    /// Limits that are broken by more than this, scale units.
    pub fn broken_by(&self, units: f64) -> Vec<Limit> {
        Limit::ALL
            .into_iter()
            .filter(|&l| self.worst[l as usize] > units)
            .collect()
    }

    /// Limits that the flight lies on.
    pub fn binding(&self) -> Vec<Limit> {
        Limit::ALL
            .into_iter()
            .filter(|&l| (BINDING..=TOLERANCE).contains(&self.worst[l as usize]))
            .collect()
    }
}
