//! Blade geometry: what a ruler and a protractor measure.

use super::section::Section;
use thiserror::Error;

/// Radius fraction of the reference station at which blade angle is quoted.
pub const REFERENCE_RADIUS: f64 = 0.75;

/// Radius fraction below which the hub and spinner hide the blade.
pub const DEFAULT_CUTOUT: f64 = 0.2;

/// One measured station of a blade.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Station {
    /// Radius over tip radius, `r/R` \[-\], 0..=1.
    pub radius: f64,
    /// Chord over tip radius, `c/R` \[-\].
    pub chord: f64,
    /// Thickness over chord, `t/c` \[-\], 0..=1.
    pub thickness: f64,
    /// Blade angle minus the blade angle at 0.75 R \[rad\]; positive inboard.
    pub twist_rad: f64,
}

/// What can be wrong with a blade description.
#[derive(Debug, Error, Clone, PartialEq)]
#[non_exhaustive]
pub enum GeometryError {
    /// Fewer than two stations.
    #[error("a blade needs at least 2 stations, found {found}")]
    TooFewStations {
        /// Number of stations given.
        found: usize,
    },
    /// Stations must run outwards.
    #[error("station radius {radius} does not lie outside the one before it")]
    NotOutwards {
        /// The offending radius fraction.
        radius: f64,
    },
    /// A quantity outside its range.
    #[error("{what} = {value} is not in the required range of {low}..={high}")]
    OutOfRange {
        /// Name of the quantity.
        what: &'static str,
        /// Its value.
        value: f64,
        /// Least value allowed.
        low: f64,
        /// Greatest value allowed.
        high: f64,
    },
}

fn check(what: &'static str, value: f64, low: f64, high: f64) -> Result<(), GeometryError> {
    if (low..=high).contains(&value) {
        Ok(())
    } else {
        Err(GeometryError::OutOfRange {
            what,
            value,
            low,
            high,
        })
    }
}

/// One blade: stations from the hub cut-out to the tip.
#[derive(Debug, Clone, PartialEq)]
pub struct Blade {
    stations: Vec<Station>,
    cutout: f64,
}

/// Planform of a light two-blade metal propeller: `(r/R, c/R, t/c)`.
///
/// Source: a representative shape drawn for this crate (from memory of such blades in general: widest
/// near mid-span, about 15 % of the radius; 8 % thick at 0.75 R, 20 % at 0.3 R). Not any one product.
const STANDARD_PLANFORM: [(f64, f64, f64); 11] = [
    (0.20, 0.112, 0.420),
    (0.30, 0.138, 0.225),
    (0.40, 0.152, 0.160),
    (0.50, 0.157, 0.125),
    (0.60, 0.154, 0.103),
    (0.70, 0.145, 0.088),
    (0.75, 0.139, 0.082),
    (0.80, 0.131, 0.076),
    (0.90, 0.109, 0.066),
    (0.95, 0.092, 0.062),
    (1.00, 0.050, 0.060),
];

/// Blade angle at 0.75 R at which the standard planform has one pitch from root to tip \[rad\] (20 deg).
const STANDARD_DESIGN_ANGLE_RAD: f64 = 20.0 * std::f64::consts::PI / 180.0;

impl Blade {
    /// A blade from explicit stations, root to tip.
    ///
    /// `r/R` must rise and lie in 0..=1, `c/R` in 0.005..=0.5, `t/c` in 0.02..=1, twist in
    /// -60..=90 degrees and within 1 degree of zero at 0.75 R. Between stations the shape is a monotone cubic; outside them the end value.
    ///
    /// # Errors
    /// [`GeometryError`] names the quantity, its value and its range.
    pub fn from_stations(stations: &[Station]) -> Result<Self, GeometryError> {
        if stations.len() < 2 {
            return Err(GeometryError::TooFewStations {
                found: stations.len(),
            });
        }
        let mut last = f64::NEG_INFINITY;
        for s in stations {
            check("station radius r/R", s.radius, 0.0, 1.0)?;
            check("chord c/R", s.chord, 0.005, 0.5)?;
            check("thickness t/c", s.thickness, 0.02, 1.0)?;
            check("twist [deg]", s.twist_rad.to_degrees(), -60.0, 90.0)?;
            if s.radius <= last {
                return Err(GeometryError::NotOutwards { radius: s.radius });
            }
            last = s.radius;
        }
        let blade = Self {
            stations: stations.to_vec(),
            cutout: DEFAULT_CUTOUT,
        };
        check(
            "twist at 0.75 R [deg]",
            blade.at(REFERENCE_RADIUS).twist_rad.to_degrees(),
            -1.0,
            1.0,
        )?;
        Ok(blade)
    }

    /// A light metal blade: the standard planform with its chord multiplied by `chord_scale` (0.4..=2.5).
    ///
    /// Twist gives one geometric pitch along the blade at 20 degrees blade angle:
    /// `tan(beta(r)) = 0.75 tan(20 deg) / (r/R)`.
    ///
    /// # Errors
    /// If `chord_scale` is out of range.
    pub fn standard(chord_scale: f64) -> Result<Self, GeometryError> {
        check("chord scale", chord_scale, 0.4, 2.5)?;
        let rows: Vec<Station> = STANDARD_PLANFORM
            .iter()
            .map(|&(radius, chord, thickness)| Station {
                radius,
                chord: chord * chord_scale,
                thickness,
                twist_rad: (REFERENCE_RADIUS * STANDARD_DESIGN_ANGLE_RAD.tan() / radius).atan()
                    - STANDARD_DESIGN_ANGLE_RAD,
            })
            .collect();
        Self::from_stations(&rows)
    }

    /// The stations, root to tip.
    pub fn stations(&self) -> &[Station] {
        &self.stations
    }

    /// Radius fraction of the hub cut-out \[-\].
    pub fn cutout(&self) -> f64 {
        self.cutout
    }

    /// Shape at `r/R`.
    pub fn at(&self, radius: f64) -> Station {
        let s = &self.stations;
        Station {
            radius,
            chord: monotone(s, radius, |p| p.chord),
            thickness: monotone(s, radius, |p| p.thickness),
            twist_rad: monotone(s, radius, |p| p.twist_rad),
        }
    }

    /// Section at `r/R`.
    pub fn section_at(&self, radius: f64) -> Section {
        Section::new(self.at(radius).thickness)
    }

    /// Activity factor per blade, `(100000/16) * integral of (c/D) (r/R)^3 d(r/R)` from 0.15 to 1 \[-\].
    ///
    /// Source: the usual propeller-chart definition, from memory.
    pub fn activity_factor(&self) -> f64 {
        const STEPS: u32 = 200;
        let h = 0.85 / f64::from(STEPS);
        let sum: f64 = (0..STEPS)
            .map(|i| {
                let x = 0.15 + h * (f64::from(i) + 0.5);
                0.5 * self.at(x).chord * x * x * x
            })
            .sum();
        sum * h * 100_000.0 / 16.0
    }
}

/// Monotone cubic interpolation with harmonic-mean slopes (Fritsch and Butland 1984, from memory).
fn monotone(s: &[Station], x: f64, get: impl Fn(&Station) -> f64) -> f64 {
    let n = s.len();
    if x <= s[0].radius {
        return get(&s[0]);
    }
    if x >= s[n - 1].radius {
        return get(&s[n - 1]);
    }
    let i = s.partition_point(|p| p.radius <= x) - 1;
    let secant = |k: usize| (get(&s[k + 1]) - get(&s[k])) / (s[k + 1].radius - s[k].radius);
    let slope = |k: usize| {
        if k == 0 {
            secant(0)
        } else if k == n - 1 {
            secant(n - 2)
        } else {
            let (a, b) = (secant(k - 1), secant(k));
            if a * b <= 0.0 {
                0.0
            } else {
                2.0 * a * b / (a + b)
            }
        }
    };
    let h = s[i + 1].radius - s[i].radius;
    let u = (x - s[i].radius) / h;
    let (y0, y1) = (get(&s[i]), get(&s[i + 1]));
    let (d0, d1) = (slope(i) * h, slope(i + 1) * h);
    let v = 1.0 - u;
    v * v * ((1.0 + 2.0 * u) * y0 + u * d0) + u * u * ((1.0 + 2.0 * v) * y1 - v * d1)
}

/// A propeller: how big, how many blades, what blades.
#[derive(Debug, Clone, PartialEq)]
pub struct PropellerGeometry {
    diameter_m: f64,
    blades: u32,
    blade: Blade,
}

impl PropellerGeometry {
    /// A propeller of `blades` (2..=8) like blades and diameter `diameter_m` (0.3..=6 m).
    ///
    /// # Errors
    /// If the diameter or the number of blades is out of range.
    pub fn new(diameter_m: f64, blades: u32, blade: Blade) -> Result<Self, GeometryError> {
        check("propeller diameter [m]", diameter_m, 0.3, 6.0)?;
        check("number of blades", f64::from(blades), 2.0, 8.0)?;
        Ok(Self {
            diameter_m,
            blades,
            blade,
        })
    }

    /// A light metal propeller with the standard planform; see [`Blade::standard`].
    ///
    /// # Errors
    /// As [`PropellerGeometry::new`] and [`Blade::standard`].
    pub fn standard(diameter_m: f64, blades: u32, chord_scale: f64) -> Result<Self, GeometryError> {
        Self::new(diameter_m, blades, Blade::standard(chord_scale)?)
    }

    /// Diameter \[m\].
    pub fn diameter_m(&self) -> f64 {
        self.diameter_m
    }

    /// Number of blades.
    pub fn blades(&self) -> u32 {
        self.blades
    }

    /// The blade.
    pub fn blade(&self) -> &Blade {
        &self.blade
    }
}
