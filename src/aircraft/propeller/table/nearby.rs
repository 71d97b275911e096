//! Answers of a moment before, that the next search begins from.

/// A blade angle found at one condition, with what carries it over to a condition nearby.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Nearby {
    pub(super) angle_rad: f64,
    /// Tangent of the advance angle.
    pub(super) advance: f64,
    /// Torque coefficient that was absorbed, and its slope with blade angle \[1/rad\].
    pub(super) torque: f64,
    pub(super) torque_slope: f64,
    /// Speed that balanced on a stop or at a fixed pitch \[rev/s\].
    pub(super) balanced_rev_s: f64,
    /// A Newton step as short as this \[rad\] ends the search for an angle.
    pub(super) last_step_rad: f64,
    /// A product as small as this of the last two secant steps, relative to the greatest speed, ends that for a speed.
    pub(super) last_product: f64,
}

/// Last Newton step of a blade angle \[rad\]: the error left is its square times the curvature over the slope, of order one.
const LAST_STEP_RAD: f64 = 1e-5;
/// The same for whom a hundred-thousandth of the torque is near enough \[rad\].
const LAST_ROUGH_STEP_RAD: f64 = 2e-3;
/// Product of the last two secant steps of a shaft speed, relative to the greatest: the error left is at most some 1.5 times that (measured
/// far from the answer), a fifth of what the check of both searches allows.
const LAST_PRODUCT: f64 = 2e-9;
/// The same for whom a hundred-thousandth of the thrust is near enough, which goes with up to the fourth power of the speed.
const LAST_ROUGH_PRODUCT: f64 = 1e-6;

impl Nearby {
    /// Of nowhere.
    pub const NONE: Self = Self {
        angle_rad: f64::NAN,
        advance: f64::NAN,
        torque: f64::NAN,
        torque_slope: f64::NAN,
        balanced_rev_s: f64::NAN,
        last_step_rad: LAST_STEP_RAD,
        last_product: LAST_PRODUCT,
    };
    /// The same for searches, which fly what they choose again: thrust within some 1e-5 of what it is, for one look at the table in
    /// most cases.
    pub const ROUGHLY: Self = Self {
        last_step_rad: LAST_ROUGH_STEP_RAD,
        last_product: LAST_ROUGH_PRODUCT,
        ..Self::NONE
    };

    /// A blade angle \[rad\] of which no more is known.
    pub const fn angle(angle_rad: f64) -> Self {
        Self::NONE.at_angle(angle_rad)
    }

    /// The same for one who asks as this one does.
    pub(super) const fn at_angle(self, angle_rad: f64) -> Self {
        Self {
            angle_rad,
            last_step_rad: self.last_step_rad,
            last_product: self.last_product,
            ..Self::NONE
        }
    }

    /// The same with the speed [rev/s] that balanced there, on a stop or at a fixed pitch; not a number for none.
    pub const fn balanced(self, balanced_rev_s: f64) -> Self {
        Self {
            balanced_rev_s,
            ..self
        }
    }

    /// The speed [rev/s] that balanced on a stop or at a fixed pitch; not a number where there was none.
    pub const fn balanced_rev_s(&self) -> f64 {
        self.balanced_rev_s
    }

    /// The blade angle expected where the advance and the torque coefficient are these: turned with the inflow, and as much more as
    /// the torque asks for.
    pub(super) fn expected_rad(&self, advance: f64, torque: f64) -> f64 {
        let known = |x: f64| if x.is_finite() { x } else { 0.0 };
        let turned = (advance - self.advance) / (1.0 + advance * self.advance);
        self.angle_rad + known(turned) + known((torque - self.torque) / self.torque_slope)
    }
}
