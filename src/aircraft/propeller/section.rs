//! One Clark-Y-like blade section for every angle of attack.
//!
//! # Conventions
//! * Angle of attack `alpha` is measured from the **flat lower surface**, because that is the line
//!   from which propeller reports measure the blade angle (NACA practice, from memory).
//! * `alpha_e = alpha - alpha_L0` is the angle from the zero-lift line. Inside the kernels a section
//!   is a function of `(sin alpha_e, cos alpha_e)`, so no trigonometry is needed in the inner loop
//!   and the model is periodic by construction.
//! * `t` is the thickness ratio, `M` the Mach number of the undisturbed flow at the element.

use std::f64::consts::TAU;

/// Constants of the section family.
///
/// Source: the *shape* of each law is a textbook one, from memory (thin-aerofoil camber scaling,
/// Prandtl-Glauert, flat-plate normal force `sin a/(p + q sin a)` after Hoerner, Lock's fourth-power
/// drag rise with Korn's thickness rule). The *numbers* marked "25" were fitted to the 25-degree rows
/// of the NACA 658 set in `tests/data/naca658/` and to nothing else; those marked "memory" are typical
/// wind-tunnel values of Clark Y remembered, not read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct SectionModel {
    /// Zero-lift angle per unit thickness ratio \[rad\], thin limit. 25.
    pub(crate) zero_lift_per_thickness_rad: f64,
    /// Thickness ratio at which camber lift has lost half its linear growth. 25.
    pub(crate) zero_lift_fade_thickness: f64,
    /// Lift slope over `2 pi` of a thin section. 25.
    pub(crate) slope_factor: f64,
    /// Thickness ratio at which the lift slope is halved (round shanks make no lift). memory.
    pub(crate) slope_fade_thickness: f64,
    /// Least drag of a thin section. 25.
    pub(crate) drag_thin: f64,
    /// Factor on the `60 t^4` of Hoerner's thick-section drag. 25.
    pub(crate) drag_thickness: f64,
    /// Curvature of the drag bucket, `d(cd)/d(cl^2)`. 25.
    pub(crate) bucket: f64,
    /// Lift coefficient of least drag per unit thickness ratio (the camber scales with it). memory.
    pub(crate) ideal_lift_per_thickness: f64,
    /// `sin alpha_e` where positive stall begins. 25.
    pub(crate) stall_begin: f64,
    /// `sin alpha_e` where positive stall is complete. 25.
    pub(crate) stall_end: f64,
    /// `-sin alpha_e` where negative stall begins. memory.
    pub(crate) negative_stall_begin: f64,
    /// `-sin alpha_e` where negative stall is complete. memory.
    pub(crate) negative_stall_end: f64,
    /// `p` of the flat plate `c_n = sin/(p + q |sin|)`. 25.
    pub(crate) plate_p: f64,
    /// `q` of the flat plate. 25.
    pub(crate) plate_q: f64,
    /// Drag coefficient broadside, wind on the flat side: between a plate of aspect ratio 7 (1.24,
    /// Viterna's 1.11 + 0.018 AR) and a two-dimensional one (2.0). memory.
    pub(crate) drag_flat_side: f64,
    /// Drag coefficient broadside, wind on the cambered side (a stopped propeller): a convex strip. memory.
    pub(crate) drag_round_side: f64,
}

/// The calibrated Clark-Y-like family.
pub(crate) const CLARK_Y: SectionModel = SectionModel {
    zero_lift_per_thickness_rad: 0.866,
    zero_lift_fade_thickness: 0.327,
    slope_factor: 0.871,
    slope_fade_thickness: 0.45,
    drag_thin: 0.006_67,
    drag_thickness: 1.195,
    bucket: 0.013_76,
    ideal_lift_per_thickness: 3.5,
    stall_begin: 0.104_4,
    stall_end: 0.413_6,
    negative_stall_begin: 0.11,
    negative_stall_end: 0.42,
    plate_p: 0.185_7,
    plate_q: 0.260_1,
    drag_flat_side: 1.5,
    drag_round_side: 1.15,
};

/// Width `e` of the rounding of the Prandtl-Glauert pole: the factor peaks at Mach 1 near 1.6.
const GLAUERT_ROUNDING: f64 = 0.4;
/// Korn technology factor of an old, rather flat-topped section (0.87 for NACA 6-series; from memory).
const KORN_FACTOR: f64 = 0.87;
/// Drag-divergence Mach number lies this far above the critical one, `(0.1/80)^(1/3)` (Mason, from memory).
const CRITICAL_MARGIN: f64 = 0.107_7;
/// Lock's constant in `dcd = 20 (M - Mcr)^4`.
const LOCK: f64 = 20.0;
/// Drag rise at which the fourth-power law saturates: blunt sections at sonic speed have `cd` near 0.1.
const WAVE_DRAG_LIMIT: f64 = 0.10;
/// Lowest critical Mach number used, so thick shanks keep a finite drag rise.
const LEAST_CRITICAL_MACH: f64 = 0.30;

/// A blade section: one thickness ratio of the Clark-Y-like family.
///
/// Valid for every angle of attack, thickness ratio 0.03..1.0 and Mach 0..1.1; once differentiable
/// in all of them.
///
/// ```
/// use fellrun::aircraft::propeller::Section;
/// let s = Section::new(0.117);
/// let at_zero_lift = s.coefficients(s.zero_lift_rad(), 0.2);
/// assert!(at_zero_lift.lift.abs() < 1e-12);
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Section {
    model: SectionModel,
    thickness: f64,
    zero_lift_rad: f64,
    tilt: (f64, f64),
    slope: f64,
    drag_least: f64,
    lift_ideal: f64,
    mach_critical: f64,
}

/// Lift and drag coefficient of a section, referred to its chord and the local dynamic pressure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SectionCoefficients {
    /// Lift coefficient `c_l` \[-\], positive towards the cambered side.
    pub lift: f64,
    /// Drag coefficient `c_d` \[-\], always positive.
    pub drag: f64,
}

impl Section {
    /// The section of thickness ratio `t` \[-\] (clamped to 0.03..1).
    ///
    /// Zero-lift angle `alpha_L0 = -k t / (1 + (t/t_f)^2)`: the camber of Clark Y scales with its
    /// thickness, and on thick sections the boundary layer eats the camber.
    pub fn new(thickness: f64) -> Self {
        Self::with_model(CLARK_Y, thickness)
    }

    pub(crate) fn with_model(model: SectionModel, thickness: f64) -> Self {
        let t = thickness.clamp(0.03, 1.0);
        let fade = 1.0 + (t / model.zero_lift_fade_thickness).powi(2);
        let slope_fade = 1.0 + (t / model.slope_fade_thickness).powi(4);
        let lift_ideal = (model.ideal_lift_per_thickness * t).min(0.7);
        let zero_lift_rad = -model.zero_lift_per_thickness_rad * t / fade;
        Self {
            model,
            thickness: t,
            zero_lift_rad,
            tilt: (-zero_lift_rad).sin_cos(),
            slope: TAU * model.slope_factor / slope_fade,
            drag_least: model.drag_thin * (1.0 + 2.0 * t + 60.0 * model.drag_thickness * t.powi(4)),
            lift_ideal,
            mach_critical: (KORN_FACTOR - t - 0.1 * lift_ideal - CRITICAL_MARGIN)
                .max(LEAST_CRITICAL_MACH),
        }
    }

    /// Thickness ratio \[-\].
    pub fn thickness(&self) -> f64 {
        self.thickness
    }

    /// Zero-lift angle of attack `alpha_L0` \[rad\] from the flat lower surface; negative.
    pub fn zero_lift_rad(&self) -> f64 {
        self.zero_lift_rad
    }

    /// Lift and drag at angle of attack `alpha_rad` (any value) and Mach number `mach` (0..1.1).
    pub fn coefficients(&self, alpha_rad: f64, mach: f64) -> SectionCoefficients {
        let (s, c) = (alpha_rad - self.zero_lift_rad).sin_cos();
        let at = self.at_mach(mach);
        let lift = at.lift(s, c).0;
        SectionCoefficients {
            lift,
            drag: at.drag(s, c),
        }
    }

    /// The section with every Mach-dependent number worked out.
    ///
    /// Lift slope grows as `((1-M^2)^2 + e^2)^(-1/4)`, normalised to 1 at `M = 0`: Prandtl-Glauert with
    /// a rounded pole. Stall comes at the same lift coefficient, hence at a smaller angle. Drag rise
    /// `20 (M - Mcr)^4` (Lock), saturating, with Korn's `Mcr = k - t - cl/10 - 0.108`.
    #[inline]
    pub(crate) fn at_mach(&self, mach: f64) -> SectionAtMach {
        let b2 = 1.0 - mach * mach;
        const E2: f64 = GLAUERT_ROUNDING * GLAUERT_ROUNDING;
        let glauert = ((1.0 + E2) / (b2 * b2 + E2)).sqrt().sqrt();
        let m = &self.model;
        let over = (mach - self.mach_critical).max(0.0);
        let lock = LOCK * over * over * over * over;
        let wave = lock / (1.0 + lock / WAVE_DRAG_LIMIT);
        let inv = 1.0 / glauert;
        SectionAtMach {
            slope: self.slope * glauert,
            positive: Blend::new(m.stall_begin * inv, m.stall_end),
            negative: Blend::new(m.negative_stall_begin * inv, m.negative_stall_end),
            plate_p: m.plate_p,
            plate_q: m.plate_q,
            plate_r: (
                1.0 / m.drag_flat_side - m.plate_p - m.plate_q,
                1.0 / m.drag_round_side - m.plate_p - m.plate_q,
            ),
            tilt: self.tilt,
            drag_least: self.drag_least + wave,
            bucket: m.bucket,
            lift_ideal: self.lift_ideal,
        }
    }
}

/// Smooth weight of attached flow: 1 below `begin`, 0 above `end`, quintic between (C2).
#[derive(Debug, Clone, Copy)]
struct Blend {
    begin: f64,
    inv_width: f64,
}

impl Blend {
    #[inline]
    fn new(begin: f64, end: f64) -> Self {
        Self {
            begin,
            inv_width: 1.0 / (end - begin),
        }
    }

    /// Weight and its derivative.
    #[inline]
    fn weight(&self, s: f64) -> (f64, f64) {
        let x = ((s - self.begin) * self.inv_width).clamp(0.0, 1.0);
        let y = x * (1.0 - x);
        (
            1.0 - x * x * x * (10.0 - x * (15.0 - 6.0 * x)),
            -30.0 * y * y * self.inv_width,
        )
    }
}

/// A section at one Mach number; see [`Section::at_mach`].
#[derive(Debug, Clone, Copy)]
pub(crate) struct SectionAtMach {
    slope: f64,
    positive: Blend,
    negative: Blend,
    plate_p: f64,
    plate_q: f64,
    /// `r` with the wind on the flat side and on the cambered side.
    plate_r: (f64, f64),
    /// Sine and cosine of `-alpha_L0`: the plate is the flat lower surface, not the zero-lift line.
    tilt: (f64, f64),
    drag_least: f64,
    bucket: f64,
    lift_ideal: f64,
}

impl SectionAtMach {
    /// Attached-flow lift slope \[1/rad\].
    #[inline]
    pub(crate) fn slope(&self) -> f64 {
        self.slope
    }

    /// Weight of attached flow and its derivative with respect to `sin alpha_e`.
    #[inline]
    fn attached(&self, s: f64, c: f64) -> (f64, f64) {
        if c <= 0.0 {
            (0.0, 0.0)
        } else if s >= 0.0 {
            self.positive.weight(s)
        } else {
            let (w, dw) = self.negative.weight(-s);
            (w, -dw)
        }
    }

    /// Sine and cosine of the angle of attack of the flat lower surface.
    #[inline]
    fn plate_angle(&self, s: f64, c: f64) -> (f64, f64) {
        (
            s * self.tilt.1 - c * self.tilt.0,
            c * self.tilt.1 + s * self.tilt.0,
        )
    }

    /// `1/(p + q |s| + r |s|^3)` and `r |s|^3`.
    #[inline]
    fn plate_divisor(&self, s: f64) -> (f64, f64) {
        let a = s.abs();
        let r = if s >= 0.0 {
            self.plate_r.0
        } else {
            self.plate_r.1
        };
        let cubic = r * a * a * a;
        (1.0 / (self.plate_p + self.plate_q * a + cubic), cubic)
    }

    /// Lift coefficient and its derivative with respect to the angle of attack.
    #[inline]
    pub(crate) fn lift(&self, s: f64, c: f64) -> (f64, f64) {
        let (w, dw) = self.attached(s, c);
        let (d, cubic) = self.plate_divisor(s);
        let cn = s * d;
        let (sin_a, cos_a) = self.plate_angle(s, c);
        let plate = cn * cos_a;
        let dplate = (self.plate_p - 2.0 * cubic) * d * d * c * cos_a - cn * sin_a;
        let flow = self.slope * s;
        (
            plate + w * (flow - plate),
            dplate + w * (self.slope * c - dplate) + dw * c * (flow - plate),
        )
    }

    /// Drag coefficient.
    #[inline]
    pub(crate) fn drag(&self, s: f64, c: f64) -> f64 {
        let (w, _) = self.attached(s, c);
        // In reversed flow the tilt fades (C1), so that drag stays drag.
        let ahead = c.max(0.0);
        let tilt = ahead * ahead * ahead * (3.0 - 2.0 * ahead) * self.tilt.0;
        let plate = s * (s * self.tilt.1 - tilt) * self.plate_divisor(s).0;
        let off = self.slope * s - self.lift_ideal;
        self.drag_least + w * self.bucket * off * off + (1.0 - w) * plate
    }
}
