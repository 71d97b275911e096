//! What the trip is to be least in, and its prices.

use crate::files::sheet::{Section, Sheet};
use crate::quantity::{Duration, Rpm};
use crate::trip::{HourBasis, Objective};

/// Prices as far as they do not hang on the aircraft's fuel.
pub(super) struct ReadPrices {
    pub(super) per_s: f64,
    pub(super) basis: HourBasis,
    pub(super) fuel_per_gal: f64,
}

impl ReadPrices {
    /// Of a trip that names none.
    pub(super) const NONE: Self = Self {
        per_s: 0.0,
        basis: HourBasis::Airborne,
        fuel_per_gal: 0.0,
    };
}

pub(super) fn prices(
    sheet: &Sheet<'_>,
    section: Section<'_>,
    objective: Option<Objective>,
) -> ReadPrices {
    #[derive(Clone, Copy, PartialEq)]
    enum Basis {
        Clock,
        Airborne,
        Tachometer,
    }
    let hourly = section.number("hourly", "price");
    let basis = section.choice(
        "basis",
        &[
            ("clock", Basis::Clock),
            ("airborne", Basis::Airborne),
            ("tachometer", Basis::Tachometer),
        ],
    );
    // without a reading by tachometer the key has no meaning, and is refused as unknown
    let basis = match basis {
        Some(Basis::Tachometer) => HourBasis::Tachometer(
            Rpm::per_min(section.number("tach_reference_rpm", "rpm").value).to_rev_s(),
        ),
        Some(Basis::Airborne) => HourBasis::Airborne,
        Some(Basis::Clock) | None => HourBasis::Clock,
    };
    let fuel_per_gal = section.number("fuel_per_gal", "price");
    section.finish();
    if objective == Some(Objective::Money) && hourly.value + fuel_per_gal.value == 0.0 {
        let message = "the objective is money, but every price is 0".to_owned();
        let hint = "give a price, or choose time or fuel as the objective";
        sheet.contradiction(&hourly, message, &[&fuel_per_gal], hint);
    }
    ReadPrices {
        per_s: hourly.value / Duration::h(1.0).to_s(),
        basis,
        fuel_per_gal: fuel_per_gal.value,
    }
}

pub(super) fn objective(section: Section<'_>) -> Option<Objective> {
    let kind = section.choice(
        "kind",
        &[
            ("money", Objective::Money),
            ("time", Objective::Time),
            ("fuel", Objective::Fuel),
        ],
    );
    section.finish();
    kind
}
