//! The propeller.

mod blade;
mod element;
mod section;

pub use blade::{Blade, DEFAULT_CUTOUT, GeometryError, PropellerGeometry, REFERENCE_RADIUS, Station};
pub use element::{BladeElements, Coefficients, STATIONS, effective_mach};
pub use section::{Section, SectionCoefficients};
