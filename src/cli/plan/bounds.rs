//! Time and fuel bounds as typed to those of a trip.

use super::PlanArgs;
use crate::cli::Failure;
use crate::quantity::M3_PER_GAL;
use crate::trip::{Bounds, Trip};

/// Longest time that may be asked for, min.
const MOST_MIN: f64 = 24.0 * 60.0;
/// Most fuel that may be asked for, US gallons.
const MOST_GAL: f64 = 1_000.0;

/// "95" or "1:35", in minutes.
pub(super) fn minutes(typed: &str) -> Option<f64> {
    let number = |text: &str| text.parse::<f64>().ok().filter(|x| x.is_finite());
    match typed.split_once(':') {
        None => number(typed),
        Some((h, m)) => {
            let (h, m) = (h.parse::<u32>().ok()?, m.parse::<u32>().ok()?);
            (m < 60).then(|| 60.0 * f64::from(h) + f64::from(m))
        }
    }
}

/// The bounds typed, for a trip and the density of its fuel \[kg/m³\].
pub(super) fn bounds(args: &PlanArgs, trip: &Trip, density_kg_m3: f64) -> Result<Bounds, Failure> {
    let mut within_s = None;
    if let Some(typed) = &args.arrive_within {
        let min = minutes(typed).filter(|m| *m > 0.0 && *m <= MOST_MIN);
        within_s = Some(
            60.0 * min.ok_or_else(|| {
                Failure::input(format!(
                    "--arrive-within {typed}: not a time above 0 and up to {MOST_MIN:.0} min"
                ))
                .hint("give minutes as 95, or hours and minutes as 1:35")
            })?,
        );
    }
    if let Some(typed) = &args.arrive_at {
        let spelled = "give the date and time in UTC, as 2026-01-31T17:30Z";
        let at: jiff::Timestamp = typed.parse().map_err(|e| {
            Failure::input(format!("--arrive-at {typed}: not a time: {e}")).hint(spelled)
        })?;
        #[expect(clippy::cast_precision_loss, reason = "seconds of a day")]
        let left_s = (at.as_second() - trip.departure_time.as_second()) as f64;
        if left_s <= 0.0 || left_s > 60.0 * MOST_MIN {
            return Err(Failure::input(format!(
                "--arrive-at {typed}: start-up is at {}, and landing must be after it and within 24 hours",
                trip.departure_time
            ))
            .hint(spelled));
        }
        within_s = Some(left_s);
    }
    let kg = |flag: &str, gal: Option<f64>| {
        gal.map(|g| {
            if g > 0.0 && g <= MOST_GAL {
                Ok(g * M3_PER_GAL * density_kg_m3)
            } else {
                Err(Failure::input(format!(
                    "{flag} {g}: not above 0 and up to {MOST_GAL:.0} gal"
                ))
                .hint("give US gallons"))
            }
        })
        .transpose()
    };
    Ok(Bounds {
        within_s,
        most_fuel_kg: kg("--fuel-at-most", args.fuel_at_most)?,
        least_landing_kg: kg("--land-with", args.land_with)?,
    })
}
