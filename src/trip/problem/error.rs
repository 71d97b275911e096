//! Why a trip cannot be made definite.

use crate::air::field::FieldError;
use crate::earth::geodesic::GeodesicError;
use crate::earth::magnetic::MagneticError;

/// Why a trip cannot be made definite.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ProblemError {
    /// A route needs two places.
    #[error("a route needs at least a departure and a destination; {0} place(s) given")]
    TooFewPlaces(usize),
    /// Two places of the route are the same.
    #[error("leg {from} to {to}: {source}")]
    Leg {
        /// From.
        from: String,
        /// To.
        to: String,
        /// What the geodesic says.
        source: GeodesicError,
    },
    /// Weather not to be had at a point of the route.
    #[error(
        "weather on leg {from} to {to}, {along_nm:.0} nm from its start, at {altitude_ft:.0} ft: {source}"
    )]
    Weather {
        /// From.
        from: String,
        /// To.
        to: String,
        /// Distance from the start of the leg, nm.
        along_nm: f64,
        /// Pressure altitude, ft.
        altitude_ft: f64,
        /// What the field says.
        source: Box<FieldError>,
    },
    /// Variation not to be had.
    #[error("magnetic variation on leg {from} to {to}: {source}")]
    Magnetic {
        /// From.
        from: String,
        /// To.
        to: String,
        /// What the model says.
        source: MagneticError,
    },
    /// A field without elevation.
    #[error("{0} is a field of the trip and needs an elevation")]
    NoElevation(String),
    /// The least load is asked for in flight.
    #[error("in flight the fuel on board is what it is: give it in gallons, not the least")]
    LeastInFlight,
    /// The flight begins under the ground.
    #[error(
        "the flight begins at {start_ft:.0} ft, and the highest ground of the stretch there is {ground_ft:.0} ft; give the indicated altitude now, in feet"
    )]
    StartInGround {
        /// Indicated altitude of the start.
        start_ft: f64,
        /// Ground.
        ground_ft: f64,
    },
    /// The flight begins slower than the stall or faster than may ever be flown.
    #[error(
        "the flight begins at {start_kt:.0} KIAS, and between the stall at that weight and never-exceed are {stall_kt:.0} to {never_kt:.0} KIAS; give the indicated airspeed now, in knots"
    )]
    StartSpeed {
        /// Indicated airspeed of the start.
        start_kt: f64,
        /// Stall, clean.
        stall_kt: f64,
        /// Never exceed.
        never_kt: f64,
    },
    /// Nothing is left after taxi.
    #[error(
        "{fuel_gal:.1} gal of fuel on board, and start-up and taxi take {taxi_gal:.1} gal: give the fuel on board at start-up, in US gallons"
    )]
    NoFuel {
        /// On board.
        fuel_gal: f64,
        /// Burnt before take-off.
        taxi_gal: f64,
    },
    /// Too much fuel for the tanks.
    #[error(
        "{fuel_gal:.1} gal of fuel, but the tanks hold {usable_gal:.1} gal usable: give no more, or correct the profile (fuel.usable_gal)"
    )]
    Tanks {
        /// Asked for.
        fuel_gal: f64,
        /// Usable.
        usable_gal: f64,
    },
    /// Too heavy.
    #[error(
        "take-off mass {mass_lb:.0} lb is {over_lb:.0} lb over the greatest of {max_lb:.0} lb: leave load or fuel behind"
    )]
    TooHeavy {
        /// Mass at take-off.
        mass_lb: f64,
        /// Limit.
        max_lb: f64,
        /// Difference.
        over_lb: f64,
    },
    /// Forecasts out of order.
    #[error("a trip needs a forecast, and of several each must be valid later than the one before")]
    ForecastTimes,
    /// Ground is given for another number of legs.
    #[error("the route has {legs} leg(s) but ground is given for {ground}")]
    GroundCount {
        /// Legs of the route.
        legs: usize,
        /// Ground entries.
        ground: usize,
    },
    /// The pattern altitude is not above the field.
    #[error("pattern altitude {pattern_ft:.0} ft is not above the field at {field_ft:.0} ft")]
    Pattern {
        /// Pattern altitude.
        pattern_ft: f64,
        /// Field.
        field_ft: f64,
    },
}
