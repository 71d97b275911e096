//! Limits, and the rules they come from.

use crate::aircraft::Aircraft;
use crate::files::diagnostic::FileError;
use crate::files::sheet::{Num, Section, Sheet};
use crate::quantity::{Duration, M_PER_FT, M_S_PER_FPM, ManifoldPressure};
use crate::trip::{Limits, Roughness, Rules};

/// Clearance over ground when the trip gives none, ft: 14 CFR 91.177(a)(2), plain and mountainous.
const CLEARANCE_FT: f64 = 1_000.0;
/// The same in mountains.
const MOUNTAIN_CLEARANCE_FT: f64 = 2_000.0;
/// Greatest rate of descent when the trip gives none, fpm (DESIGN section 5: for ears).
const MAX_DESCENT_FPM: f64 = 500.0;
/// Planned reserve when the trip gives none, min: by day and by night.
const RESERVE_MIN: (f64, f64) = (45.0, 60.0);

/// The limits as far as they do not hang on the aircraft.
pub(super) struct ReadLimits {
    pub(super) max_altitude: Num,
    pub(super) limits: Limits,
    least_map: Option<Num>,
    reduction: Option<Num>,
    reserve_gal: f64,
}

impl ReadLimits {
    /// With what the trip leaves to the profile; the trip may be stricter than the profile, never looser.
    pub(super) fn with(
        self,
        sheet: &Sheet<'_>,
        aircraft: &Aircraft,
        kg_per_gal: f64,
    ) -> Result<Limits, FileError> {
        let mut limits = self.limits;
        limits.reserve_kg = self.reserve_gal * kg_per_gal;
        limits.least_map_pa = aircraft.procedures.least_descent_map_pa;
        limits.map_reduction_pa_s = aircraft.procedures.map_reduction_pa_s;
        let hint = "the profile's own limit stands; change it there, or leave the key out";
        if let Some(map) = self.least_map {
            let asked_pa = ManifoldPressure::inhg(map.value).to_pa();
            // the same number typed in both files is converted the same way, so they compare equal
            if asked_pa < limits.least_map_pa {
                let own = ManifoldPressure::pa(limits.least_map_pa).to_inhg();
                let message = format!(
                    "{} = {} is below the profile's least of {own:.1} inHg",
                    map.key, map.value
                );
                sheet.contradiction(&map, message, &[], hint);
            }
            limits.least_map_pa = asked_pa;
        }
        if let Some(rate) = self.reduction {
            let asked_pa_s = ManifoldPressure::inhg(rate.value).to_pa() / Duration::min(1.0).to_s();
            if asked_pa_s > limits.map_reduction_pa_s {
                let own = ManifoldPressure::pa(limits.map_reduction_pa_s).to_inhg()
                    * Duration::min(1.0).to_s();
                let message = format!(
                    "{} = {} is above the profile's greatest of {own:.1} inHg/min",
                    rate.key, rate.value
                );
                sheet.contradiction(&rate, message, &[], hint);
            }
            limits.map_reduction_pa_s = asked_pa_s;
        }
        sheet.verdict()?;
        Ok(limits)
    }
}

pub(super) fn limits(
    sheet: &Sheet<'_>,
    section: Section<'_>,
    night: bool,
) -> (ReadLimits, Option<Rules>) {
    let max_altitude = section.number("max_altitude_ft", "altitude");
    let clearance = section.number_or("clearance_ft", "clearance", CLEARANCE_FT);
    let mountains = section.number_or("mountain_clearance_ft", "clearance", MOUNTAIN_CLEARANCE_FT);
    let smooth_near_ground = section.flag("smooth_near_ground");
    let descent = section.number_or("max_descent_fpm", "rate of descent", MAX_DESCENT_FPM);
    let least_map = section.optional("least_map_inhg", "manifold pressure");
    let reduction = section.optional("map_reduction_inhg_per_min", "pressure rate");
    let oxygen = section.flag("oxygen");
    let oxygen_above = section.optional("oxygen_above_ft", "altitude");
    let reserve_gal = section.optional("reserve_gal", "fuel");
    // A reserve in gallons stands for itself.
    let reserve_min = match (&reserve_gal, night) {
        (Some(_), _) => 0.0,
        (None, true) => RESERVE_MIN.1,
        (None, false) => RESERVE_MIN.0,
    };
    let reserve = section.number_or("reserve_min", "reserve", reserve_min);
    let rules = section.choice(
        "rules",
        &[
            ("us-vfr", Rules::UsVfr),
            ("us-ifr", Rules::UsIfr),
            ("icao-vfr", Rules::IcaoVfr),
            ("icao-ifr", Rules::IcaoIfr),
            ("none", Rules::None),
        ],
    );
    // Only where a country may have turned the sectors has the key a meaning; elsewhere it is refused as unknown.
    let sector = match rules {
        Some(Rules::IcaoVfr | Rules::IcaoIfr) => {
            section.number_or("sector_from_deg", "direction", 0.0).value
        }
        _ => 0.0,
    };
    let (mut tops, mut air) = (Vec::new(), Vec::new());
    for row in section.rows("air") {
        let top = row.number("up_to_ft", "altitude");
        let kind = row.choice(
            "air",
            &[
                ("smooth", Roughness::Smooth),
                ("light", Roughness::Light),
                ("rough", Roughness::Rough),
            ],
        );
        row.finish();
        air.push((top.value * M_PER_FT, kind.unwrap_or(Roughness::Light)));
        tops.push(top);
    }
    section.finish();
    sheet.rising(&tops.iter().collect::<Vec<_>>());
    sheet.at_least(&mountains, &clearance);
    let limits = Limits {
        max_altitude_m: max_altitude.value * M_PER_FT,
        clearance_m: clearance.value * M_PER_FT,
        mountain_clearance_m: mountains.value * M_PER_FT,
        air,
        smooth_near_ground,
        max_descent_m_s: descent.value * M_S_PER_FPM,
        least_map_pa: f64::NAN,
        map_reduction_pa_s: f64::NAN,
        oxygen,
        no_oxygen_m: oxygen_above.map_or(rules.unwrap_or(Rules::None).no_oxygen_m(), |n| {
            n.value * M_PER_FT
        }),
        reserve_s: Duration::min(reserve.value).to_s(),
        reserve_kg: f64::NAN,
        sector_from_rad: sector.to_radians(),
    };
    (
        ReadLimits {
            max_altitude,
            limits,
            least_map,
            reduction,
            reserve_gal: reserve_gal.map_or(0.0, |n| n.value),
        },
        rules,
    )
}
