//! Blade-element momentum theory.
//!
//! Each element sees the undisturbed flow `U` at the angle `phi0 = atan2(Ua, Ut)`, `Ua = V`,
//! `Ut = 2 pi n r`. Loading tilts it by `delta` to `phi = phi0 + delta`. The induced velocity is
//! perpendicular to the resultant `W`, so `W = U cos(delta)` and its swirl part is
//! `v_t = U sin(delta) sin(phi)`. Circulation from the section, `W c cl / 2`, equals that from the
//! wake, `v_t 4 pi r F / B`, hence with solidity `sigma = B c / (2 pi r)`
//!
//! ```text
//! 4 F |sin(phi)| tan(delta) = sigma cl(beta - phi)
//! F = (2/pi) acos(exp(-f)),   f = B (R - r) / (2 r |sin(phi)|)      (Prandtl)
//! ```
//!
//! Source: Glauert's strip theory with Prandtl's tip factor, in the one-angle form of Drela, *QPROP
//! Formulation* (2006), without its wake-rotation core factor; from memory.
//!
//! **Bracket.** At `delta = 0` the left side is zero; at the zero-lift inflow angle the right side is
//! zero; at `delta = +-90 deg` the left side is unbounded. The sign of the lift at `phi0` therefore picks
//! the side, and a root always lies on it, for every advance angle 0..=90 degrees.
//!
//! **Branch.** Newton starts from the attached-flow estimate, so that where a very wide blade has
//! more than one balance the search begins below blade stall. For ordinary solidity the stall of
//! [`super::section`] is gentle enough that the balance is unique (tested), except when a nearly feathered
//! blade is stalled and in a dive at Mach 0.9 in fine pitch: there the coefficients may jump.

use super::blade::{PropellerGeometry, REFERENCE_RADIUS};
use super::section::{CLARK_Y, Section, SectionModel};
use std::f64::consts::{FRAC_2_PI, PI};

/// Number of radial stations.
pub const STATIONS: usize = 14;

/// Rounds the corner of `|sin phi|` at zero inflow \[-\]; a thousandth of a radian.
const INFLOW_ROUNDING: f64 = 1e-3;
/// `tan(delta)` beyond which nothing physical lies.
const TAN_LIMIT: f64 = 1e7;
/// Iterations after which the bracket is narrower than the arithmetic can tell.
const MAX_ITERATIONS: u32 = 200;
/// Residual step at which a direct run stops.
const DIRECT_TOLERANCE: f64 = 1e-13;

/// Thrust and torque coefficient referred to `rho (V^2 + (0.75 pi n D)^2)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coefficients {
    /// `T / (rho U^2 D^2)` \[-\].
    pub thrust: f64,
    /// `Q / (rho U^2 D^3)` \[-\]; negative when the propeller drives the engine.
    pub torque: f64,
}

/// Square of the effective helical tip Mach number: the real square confined to 0.25^2..1.05^2 with
/// rounded (C1) corners.
///
/// Below 0.25 compressibility is worth 3 %; above 1.05 strip theory means nothing.
#[inline]
pub fn effective_mach_squared(mach_squared: f64) -> f64 {
    // The common case first: clear of both corners the rounding changes nothing.
    if (MACH2_LOW + MACH2_CORNER..=MACH2_HIGH - MACH2_CORNER).contains(&mach_squared) {
        return mach_squared;
    }
    let up = round_max(mach_squared - MACH2_LOW);
    MACH2_HIGH - round_max(MACH2_HIGH - MACH2_LOW - up)
}

/// Square of the least effective tip Mach number, 0.25.
pub(crate) const MACH2_LOW: f64 = 0.0625;
/// Square of the greatest effective tip Mach number, 1.05.
pub(crate) const MACH2_HIGH: f64 = 1.1025;
/// Half-width of the rounded corners.
const MACH2_CORNER: f64 = 0.02;

/// `max(x, 0)` with the corner replaced by a parabola over `-h..h`.
#[inline]
fn round_max(x: f64) -> f64 {
    let y = (x + MACH2_CORNER).clamp(0.0, 2.0 * MACH2_CORNER);
    y * y / (4.0 * MACH2_CORNER) + (x - MACH2_CORNER).max(0.0)
}

/// One radial station.
#[derive(Debug, Clone)]
pub(crate) struct Element {
    pub(crate) section: Section,
    /// `r/R`.
    radius: f64,
    /// Tangential speed over reference speed, `x / 0.75`.
    tangential: f64,
    /// `sigma = B c / (2 pi r)`.
    solidity: f64,
    /// Twist minus zero-lift angle.
    pub(crate) twist_e_rad: f64,
    /// `B (1 - x) / (2 x)`.
    tip: f64,
    /// Weight of the thrust integral.
    thrust_weight: f64,
    /// Weight of the torque integral.
    torque_weight: f64,
}

/// Undisturbed flow at an element.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Inflow {
    pub(crate) speed2: f64,
    pub(crate) sin: f64,
    pub(crate) cos: f64,
}

/// The flow at an element once it has turned by the induced angle `delta`.
struct Turned {
    /// `cos^2 delta`.
    k2: f64,
    /// Sine and cosine of the inflow angle `phi`.
    sin_phi: f64,
    cos_phi: f64,
    /// Sine and cosine of the angle from zero lift.
    s: f64,
    c: f64,
}

impl Inflow {
    /// The flow turned by `t = tan(delta)`; `angle` is sine and cosine of the angle from zero lift before that.
    #[inline(always)]
    fn turned(&self, angle: (f64, f64), t: f64) -> Turned {
        let k2 = 1.0 / (1.0 + t * t);
        let k = k2.sqrt();
        let sd = t * k;
        Turned {
            k2,
            sin_phi: self.sin * k + self.cos * sd,
            cos_phi: self.cos * k - self.sin * sd,
            s: angle.0 * k - angle.1 * sd,
            c: angle.1 * k + angle.0 * sd,
        }
    }
}

impl Element {
    /// Inflow for the advance angle whose sine and cosine are given (reference speed 1).
    #[inline]
    pub(crate) fn inflow(&self, sin_advance: f64, cos_advance: f64) -> Inflow {
        let ut = cos_advance * self.tangential;
        let speed2 = sin_advance * sin_advance + ut * ut;
        let inv = 1.0 / speed2.sqrt();
        Inflow {
            speed2,
            sin: sin_advance * inv,
            cos: ut * inv,
        }
    }

    /// Balance residual of `t = tan(delta)`: value, slope, and the angles it went through.
    #[inline]
    fn residual(
        &self,
        flow: &Inflow,
        at: &super::section::SectionAtMach,
        angle: (f64, f64),
        t: f64,
    ) -> (f64, f64) {
        let Turned {
            k2,
            sin_phi,
            cos_phi,
            s,
            c,
        } = flow.turned(angle, t);
        let (cl, dcl) = at.lift(s, c);
        let round = (sin_phi * sin_phi + INFLOW_ROUNDING * INFLOW_ROUNDING).sqrt();
        let inv = 1.0 / round;
        let f = self.tip * inv;
        let e = (-f).exp();
        let tip = FRAC_2_PI * e.acos();
        let dround = sin_phi * cos_phi * inv;
        let dtip = -FRAC_2_PI * e * f * dround * inv / (1.0 - e * e).max(1e-30).sqrt();
        let g = 4.0 * tip * round;
        let dg = 4.0 * (dtip * round + tip * dround);
        (
            g * t - self.solidity * cl,
            g + (dg * t + self.solidity * dcl) * k2,
        )
    }

    /// Solve the balance; returns `tan(delta)`.
    ///
    /// `angle` is sine and cosine of `beta + twist - alpha_L0 - phi0`, the angle from zero lift in the
    /// undisturbed flow. `start` is a first guess (any value; NaN for none).
    #[inline]
    pub(crate) fn balance(
        &self,
        flow: &Inflow,
        at: &super::section::SectionAtMach,
        angle: (f64, f64),
        start: f64,
        tolerance: f64,
    ) -> f64 {
        let lift0 = at.lift(angle.0, angle.1).0;
        if lift0 == 0.0 {
            return 0.0;
        }
        let (mut low, mut high) = bracket(lift0, angle);
        let mut t = start;
        if !(low < t && t < high) {
            // Attached flow, small angles, no tip loss: 4 d^2 + (4 sin phi0 + sigma a) d - sigma a A = 0.
            let sa = self.solidity * at.slope();
            let b = 4.0 * flow.sin + sa;
            let root = (b * b + 16.0 * sa * angle.0.abs()).sqrt();
            t = (2.0 * sa * angle.0.abs() / (b + root)).copysign(lift0);
            if !(low < t && t < high) {
                t = 0.5 * (low.max(-1.0) + high.min(1.0));
            }
        }
        for _ in 0..MAX_ITERATIONS {
            let (g, dg) = self.residual(flow, at, angle, t);
            if g > 0.0 {
                high = t;
            } else {
                low = t;
            }
            let mut next = t - g / dg;
            if !(low <= next && next <= high) || dg <= 0.0 {
                next = (0.5 * (low.atan() + high.atan())).tan();
            }
            let step = (next - t).abs();
            t = next;
            if step <= tolerance * (1.0 + t.abs()) || high - low <= tolerance {
                break;
            }
        }
        t
    }

    /// Add this element's thrust and torque (reference speed 1).
    #[inline]
    pub(crate) fn load(
        &self,
        flow: &Inflow,
        at: &super::section::SectionAtMach,
        angle: (f64, f64),
        t: f64,
    ) -> (f64, f64) {
        let Turned {
            k2,
            sin_phi,
            cos_phi,
            s,
            c,
        } = flow.turned(angle, t);
        let cl = at.lift(s, c).0;
        let cd = at.drag(s, c);
        let w2 = flow.speed2 * k2;
        (
            w2 * self.thrust_weight * (cl * cos_phi - cd * sin_phi),
            w2 * self.torque_weight * (cl * sin_phi + cd * cos_phi),
        )
    }
}

/// The elements of a propeller, ready to run.
#[derive(Debug, Clone)]
pub struct BladeElements {
    elements: Vec<Element>,
}

impl BladeElements {
    /// Lay [`STATIONS`] stations on the blade, Gauss-Legendre in `y` with `r/R = 1 - (1-x0) y^2`, which
    /// makes the square root of the tip loss smooth.
    pub fn new(geometry: &PropellerGeometry) -> Self {
        Self::with_model(geometry, CLARK_Y)
    }

    pub(crate) fn with_model(geometry: &PropellerGeometry, model: SectionModel) -> Self {
        let blade = geometry.blade();
        let blades = f64::from(geometry.blades());
        let span = 1.0 - blade.cutout();
        let elements = gauss_legendre(STATIONS)
            .into_iter()
            .map(|(y, w)| {
                let x = 1.0 - span * y * y;
                let dx = 2.0 * span * y * w;
                let shape = blade.at(x);
                let section = Section::with_model(model, shape.thickness);
                Element {
                    section,
                    radius: x,
                    tangential: x / REFERENCE_RADIUS,
                    solidity: blades * shape.chord / (2.0 * PI * x),
                    twist_e_rad: shape.twist_rad - section.zero_lift_rad(),
                    tip: blades * (1.0 - x) / (2.0 * x),
                    // 1/2 B c dr / D^2 and 1/2 B c r dr / D^3, lengths in radii.
                    thrust_weight: 0.5 * blades * shape.chord * dx / 4.0,
                    torque_weight: 0.5 * blades * shape.chord * x * dx / 8.0,
                }
            })
            .collect();
        Self { elements }
    }

    pub(crate) fn elements(&self) -> &[Element] {
        &self.elements
    }

    /// A direct run: coefficients at advance angle `advance_rad` = atan2(V, 0.75 pi n D) (0..=pi/2), blade
    /// angle at 0.75 R `beta_rad` and helical tip Mach number `tip_mach`.
    pub fn coefficients(&self, advance_rad: f64, beta_rad: f64, tip_mach: f64) -> Coefficients {
        let (sa, ca) = advance_rad.sin_cos();
        let mach = effective_mach_squared(tip_mach * tip_mach).sqrt();
        let mut out = (0.0, 0.0);
        for e in &self.elements {
            let flow = e.inflow(sa, ca);
            let at = e.section.at_mach(mach * local_mach_ratio(&flow, sa, ca));
            let angle = angle_from_zero_lift((beta_rad + e.twist_e_rad).sin_cos(), &flow);
            let t = e.balance(&flow, &at, angle, f64::NAN, DIRECT_TOLERANCE);
            let (dt, dq) = e.load(&flow, &at, angle, t);
            out.0 += dt;
            out.1 += dq;
        }
        Coefficients {
            thrust: out.0,
            torque: out.1,
        }
    }

    /// The greatest number of balances any element has between the undisturbed and the zero-lift inflow.
    #[cfg(test)]
    pub(crate) fn count_balances(&self, advance_rad: f64, beta_rad: f64, mach: f64) -> usize {
        const STEPS: u32 = 2000;
        let (sa, ca) = advance_rad.sin_cos();
        let count = |e: &Element| {
            let flow = e.inflow(sa, ca);
            let at = e.section.at_mach(mach * local_mach_ratio(&flow, sa, ca));
            let angle = angle_from_zero_lift((beta_rad + e.twist_e_rad).sin_cos(), &flow);
            let (low, high) = bracket(at.lift(angle.0, angle.1).0, angle);
            let (low, high) = (low.atan(), high.atan());
            let positive: Vec<bool> = (0..=STEPS)
                .map(|i| low + (high - low) * f64::from(i) / f64::from(STEPS))
                .map(|delta| e.residual(&flow, &at, angle, delta.tan()).0 > 0.0)
                .collect();
            positive.windows(2).filter(|w| w[0] != w[1]).count()
        };
        self.elements.iter().map(count).max().unwrap_or(0)
    }

    /// Radius fractions of the stations, tip first.
    pub fn radii(&self) -> impl Iterator<Item = f64> + '_ {
        self.elements.iter().map(|e| e.radius)
    }
}

/// Range of `tan(delta)` that holds the balance: residual <= 0 at the low end, >= 0 at the high end.
#[inline]
fn bracket(lift0: f64, angle: (f64, f64)) -> (f64, f64) {
    let limit = if angle.1 > 1e-6 && lift0 * angle.0 > 0.0 {
        (angle.0 / angle.1).abs()
    } else {
        TAN_LIMIT
    };
    if lift0 > 0.0 {
        (0.0, limit)
    } else {
        (-limit, 0.0)
    }
}

/// Speed at the element over helical tip speed.
#[inline]
pub(crate) fn local_mach_ratio(flow: &Inflow, sin_advance: f64, cos_advance: f64) -> f64 {
    let ut = cos_advance / REFERENCE_RADIUS;
    (flow.speed2 / (sin_advance * sin_advance + ut * ut)).sqrt()
}

/// Sine and cosine of `a - phi0` from those of `a`.
#[inline]
pub(crate) fn angle_from_zero_lift(a: (f64, f64), flow: &Inflow) -> (f64, f64) {
    (
        a.0 * flow.cos - a.1 * flow.sin,
        a.1 * flow.cos + a.0 * flow.sin,
    )
}

/// Gauss-Legendre nodes and weights on 0..1, by Newton on the Legendre polynomial.
fn gauss_legendre(n: usize) -> Vec<(f64, f64)> {
    let nf = n as f64;
    (0..n)
        .map(|i| {
            let mut x = (PI * (i as f64 + 0.75) / (nf + 0.5)).cos();
            let mut slope = 1.0;
            for _ in 0..20 {
                let (mut p0, mut p1) = (1.0, x);
                for k in 2..=n {
                    let kf = k as f64;
                    (p0, p1) = (p1, ((2.0 * kf - 1.0) * x * p1 - (kf - 1.0) * p0) / kf);
                }
                slope = nf * (x * p1 - p0) / (x * x - 1.0);
                x -= p1 / slope;
            }
            (0.5 * (1.0 - x), 1.0 / ((1.0 - x * x) * slope * slope))
        })
        .collect()
}
