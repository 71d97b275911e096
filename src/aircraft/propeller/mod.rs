//! The propeller: from a ruler and a protractor to thrust and torque.
//!
//! * [`Section`]: one Clark-Y-like blade section for every angle of attack.
//! * [`Blade`], [`PropellerGeometry`]: shape.
//! * [`BladeElements`]: blade-element momentum theory, the slow and direct answer.
//! * [`PropellerTable`]: the same numbers in a smooth table, built at load, with its inverses.
//!
//! # Conventions
//! SI throughout; shaft speed in rev/s; blade angle at 0.75 R from the flat lower surface; torque positive
//! when the engine drives the propeller; thrust positive forwards.
//!
//! # What this does not model
//! Body blockage and slipstream drag (an installed-propeller factor belongs to the aeroplane), inclined
//! inflow, reverse pitch, ground effect, spinner drag.

mod blade;
mod element;
#[cfg(test)]
mod fit;
mod section;
mod spline;
mod table;
#[cfg(test)]
mod tests;

pub use blade::{
    Blade, DEFAULT_CUTOUT, GeometryError, PropellerGeometry, REFERENCE_RADIUS, Station,
};
pub use element::{BladeElements, Coefficients, STATIONS, effective_mach_squared};
pub use section::{Section, SectionCoefficients};
pub use table::{
    Absorbed, BLADE_ANGLE_MARGIN_RAD, Balance, BladeAngle, Forces, GREATEST_BLADE_ANGLE_RAD,
    LEAST_BLADE_ANGLE_RAD, Nearby, PropellerTable, Stops,
};
