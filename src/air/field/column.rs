//! Within a column, and below its lowest level: rules 1 and 3 of [`super`].

use super::sphere::UnitVector;
use super::{Datum, FILL_LAPSE_K_M, NO_TEMPERATURE_BELOW_M, NO_WIND_BELOW_M};
use crate::air::isa;

#[derive(Debug, Clone, PartialEq)]
pub(super) struct Column {
    pub(super) name: String,
    pub(super) place: UnitVector,
    pub(super) wind: Profile<[f64; 2]>,
    pub(super) temperature: Profile<f64>,
}

/// The two heights of one point.
#[derive(Debug, Clone, Copy)]
pub(super) struct Heights {
    pub(super) true_m: f64,
    pub(super) pressure_m: f64,
}

impl Heights {
    /// The point `by_m` higher. Pressure altitude is moved by the same amount: this is only used to read the
    /// forecast a few hundred metres up, where the difference is a few percent of those.
    fn raised(self, by_m: f64) -> Heights {
        Heights {
            true_m: self.true_m + by_m,
            pressure_m: self.pressure_m + by_m,
        }
    }
}

/// A quantity that can be blended.
pub(super) trait Blend: Copy {
    fn mix(self, other: Self, fraction: f64) -> Self;
}

impl Blend for f64 {
    fn mix(self, other: f64, fraction: f64) -> f64 {
        self + (other - self) * fraction
    }
}

impl Blend for [f64; 2] {
    fn mix(self, other: [f64; 2], fraction: f64) -> [f64; 2] {
        [
            self[0].mix(other[0], fraction),
            self[1].mix(other[1], fraction),
        ]
    }
}

/// One quantity against height: sorted true-altitude levels, then sorted pressure-altitude levels.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Profile<T> {
    pub(super) by_true: Vec<(f64, T)>,
    pub(super) by_pressure: Vec<(f64, T)>,
}

impl<T: Blend> Profile<T> {
    /// Lowest level: how far the point lies below it (negative above) and its value.
    fn lowest(&self, at: Heights) -> Option<(f64, T)> {
        match (self.by_true.first(), self.by_pressure.first()) {
            (Some(&(h, value)), _) => Some((h - at.true_m, value)),
            (None, Some(&(h, value))) => Some((h - at.pressure_m, value)),
            (None, None) => None,
        }
    }

    /// Highest level: how far the point lies above it, its height and value.
    pub(super) fn highest(&self, at: Heights) -> Option<(f64, f64, Datum, T)> {
        match (self.by_true.last(), self.by_pressure.last()) {
            (_, Some(&(h, value))) => Some((at.pressure_m - h, h, Datum::PressureAltitude, value)),
            (Some(&(h, value)), None) => Some((at.true_m - h, h, Datum::TrueAltitude, value)),
            (None, None) => None,
        }
    }

    /// Rule 1 of the module header; outside the levels the nearest one is held.
    fn read(&self, at: Heights) -> Option<T> {
        let (Some(&(last, lower)), Some(&(first, upper))) =
            (self.by_true.last(), self.by_pressure.first())
        else {
            return within(&self.by_true, at.true_m).or(within(&self.by_pressure, at.pressure_m));
        };
        if at.true_m <= last {
            within(&self.by_true, at.true_m)
        } else if at.pressure_m >= first {
            within(&self.by_pressure, at.pressure_m)
        } else {
            let above = at.true_m - last;
            let to_go = first - at.pressure_m;
            // above > 0 and to_go > 0 by the two tests before
            Some(lower.mix(upper, above / (above + to_go)))
        }
    }
}

/// Linear interpolation in a sorted list, the ends held; `None` when it is empty.
fn within<T: Blend>(levels: &[(f64, T)], height_m: f64) -> Option<T> {
    let i = levels.partition_point(|&(h, _)| h < height_m);
    match (
        i.checked_sub(1).and_then(|below| levels.get(below)),
        levels.get(i),
    ) {
        (Some(&(h0, below)), Some(&(h1, above))) => {
            Some(below.mix(above, (height_m - h0) / (h1 - h0)))
        }
        (Some(&(_, end)), None) | (None, Some(&(_, end))) => Some(end),
        (None, None) => None,
    }
}

/// What the surface observations say at one point.
#[derive(Debug, Clone, Copy)]
pub(super) struct SurfaceHere {
    pub(super) height_m: f64,
    pub(super) wind: [f64; 2],
    /// 0 to 1.
    pub(super) say: f64,
    pub(super) temperature: Option<SurfaceTemperature>,
}

#[derive(Debug, Clone, Copy)]
pub(super) struct SurfaceTemperature {
    pub(super) height_m: f64,
    pub(super) temperature_k: f64,
    /// 0 to 1.
    pub(super) say: f64,
}

/// The part of the way down from `bottom_m` above the surface to the surface, 0 to 1, for a point `point_m` above it.
fn way_down(point_m: f64, bottom_m: f64) -> f64 {
    if point_m <= 0.0 {
        1.0
    } else {
        ((bottom_m - point_m) / bottom_m).clamp(0.0, 1.0)
    }
}

impl Column {
    /// Wind at the point and how far below the lowest forecast it is (m) (rules 1 and 3).
    pub(super) fn wind_at(
        &self,
        at: Heights,
        surface: Option<SurfaceHere>,
    ) -> Option<([f64; 2], f64)> {
        let held = self.wind.read(at)?;
        let (below_m, _) = self.wind.lowest(at)?;
        let below_m = below_m.max(0.0);
        let Some(s) = surface else {
            return Some((held, below_m));
        };
        let above_surface_m = at.true_m - s.height_m;
        let bottom_m = (above_surface_m + below_m).max(NO_WIND_BELOW_M);
        let from = self.wind.read(at.raised(bottom_m - above_surface_m))?;
        let joined = from.mix(s.wind, way_down(above_surface_m, bottom_m));
        Some((
            held.mix(joined, s.say),
            below_m.max(s.say * (bottom_m - above_surface_m)),
        ))
    }

    /// Temperature at the point and how far below the lowest forecast it is (m) (rules 1 and 3).
    pub(super) fn temperature_at(
        &self,
        at: Heights,
        surface: Option<SurfaceHere>,
    ) -> Option<(f64, f64)> {
        let free = self.free_temperature_k(at)?;
        let (below_m, _) = self.temperature.lowest(at)?;
        let below_m = below_m.max(0.0);
        let Some(s) = surface.and_then(|s| s.temperature) else {
            return Some((free, below_m));
        };
        let above_surface_m = at.true_m - s.height_m;
        let bottom_m = (above_surface_m + below_m).max(NO_TEMPERATURE_BELOW_M);
        let from = self.free_temperature_k(at.raised(bottom_m - above_surface_m))?;
        let under_m = (-above_surface_m).max(0.0);
        let joined = from.mix(s.temperature_k, way_down(above_surface_m, bottom_m))
            + FILL_LAPSE_K_M * under_m;
        Some((
            free.mix(joined, s.say),
            below_m.max(s.say * (bottom_m - above_surface_m)),
        ))
    }

    /// Temperature without surface observations: 1.98 K per 1,000 ft below the lowest one given, the standard
    /// lapse above the highest one given.
    fn free_temperature_k(&self, at: Heights) -> Option<f64> {
        let read = self.temperature.read(at)?;
        let (below_m, _) = self.temperature.lowest(at)?;
        if below_m > 0.0 {
            return Some(read + FILL_LAPSE_K_M * below_m);
        }
        let (above_m, height_m, _, _) = self.temperature.highest(at)?;
        if above_m > 0.0 {
            return Some(
                read + isa::temperature_k(height_m + above_m) - isa::temperature_k(height_m),
            );
        }
        Some(read)
    }
}
