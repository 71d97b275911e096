//! The weather of a trip: `[weather]` and the files it names, to wind fields and altimeter settings.
//!
//! # Which forecasts a flight uses
//! Winds aloft come from one kind of source: bulletins, GRIB2 files, or a table in the trip. Each valid time is one forecast
//! with a period of use: a bulletin's own, and for the others the time from the forecast before to the one after where these
//! are no more than [`BRIDGED_H`] away, else [`STANDS_H`] either way. A flight uses every forecast whose period touches it,
//! blended by the time over each point. It must depart inside a period; if it lasts beyond the last that joins on, it is warned.
//! A table without a time holds throughout.
//!
//! How long the flight lasts is not known here: it is taken to fly at no less than [`SLOWEST_KT`] over the ground.
//!
//! # What the trip says itself
//! goes before what a weather report says: `altimeter_inhg`, and a whole `[[weather.surface]]` row.

mod on_hand;
mod refused;
mod reports;
mod section;
mod winds;

pub use on_hand::{Chosen, Period, WindsOnHand, periods};
pub(super) use reports::read_reports;
pub(super) use section::{ReadWeather, weather};
pub(super) use winds::{minute, nearest_elevation_m, read_bulletins};

use std::path::Path;

use jiff::{SignedDuration, Timestamp};

use super::diagnostic::{FileError, Finding, FindingKind};
use super::sheet::Sheet;
use super::stations::StationPosition;
use crate::air::isa::SEA_LEVEL_PRESSURE_PA;
use crate::earth::geodesic::Leg;
use crate::earth::place::Position;
use crate::quantity::M_PER_NM;
use crate::trip::{Place, Weather};
use refused::{covers, none_holds};
use reports::{reports, said};
use winds::{from_bulletins, from_grib, from_table};

/// Forecasts this far apart are joined, h: models are issued in steps of one, three or six hours, late ones in twelve.
pub const BRIDGED_H: i64 = 12;
/// A forecast without a neighbour stands for this long before and after its time, h: as a bulletin without a period of use.
pub const STANDS_H: i64 = 3;
/// Least speed over the ground by which the end of a flight is estimated, kt: a slow aeroplane in a strong head wind.
pub const SLOWEST_KT: f64 = 60.0;
/// The latest that a flight is put off to see whether it is better then, h.
pub const LATEST_LEAVE_H: i64 = 3;
/// Distance between the points of the route that are looked up in the wind field, nm: well inside the 150 nm radius.
const LOOK_EVERY_NM: f64 = 20.0;

/// The route as the weather needs it.
pub(super) struct Route<'a> {
    /// The places, in order.
    pub places: Vec<&'a Place>,
    /// Name and line of each leg that has one.
    pub lines: Vec<(&'a str, &'a Leg)>,
    /// Positions of stations of bulletins that go before the built-in table's.
    pub stations: Vec<StationPosition>,
}

impl Route<'_> {
    /// Points along the route, at most [`LOOK_EVERY_NM`] apart: name of the leg, distance from its start \[m\], and where.
    fn points(&self) -> impl Iterator<Item = (&str, f64, Position)> {
        self.lines.iter().flat_map(|(name, line)| {
            let pieces = line.pieces(LOOK_EVERY_NM * M_PER_NM);
            (0..=pieces).map(move |i| {
                let along_m = line.distance_m() * f64::from(i) / f64::from(pieces);
                (*name, along_m, line.point_at(along_m))
            })
        })
    }

    /// How long the flight may last.
    fn lasts(&self) -> SignedDuration {
        let length_m: f64 = self.lines.iter().map(|(_, line)| line.distance_m()).sum();
        let hours = 1.0 + length_m / (SLOWEST_KT * M_PER_NM);
        SignedDuration::from_secs_f64(hours * 3_600.0)
    }
}

fn station_of(place: &Place, elevation_m: f64) -> StationPosition {
    StationPosition {
        id: place.ident.clone(),
        lat_deg: place.position.lat_deg(),
        lon_deg: place.position.lon_deg(),
        elevation_m,
    }
}

/// What the files of the weather come to.
pub(super) struct Loaded {
    /// The weather of the flight.
    pub weather: Weather,
    /// The winds aloft for other times of departure.
    pub on_hand: WindsOnHand,
}

/// No weather: standard altimeter settings, and no forecast.
pub(super) fn none(route: &Route<'_>) -> Loaded {
    Loaded {
        weather: Weather {
            forecasts: vec![],
            valid_until: None,
            sources: vec![],
            departure_altimeter_pa: SEA_LEVEL_PRESSURE_PA,
            destination_altimeter_pa: SEA_LEVEL_PRESSURE_PA,
            departure_temperature_k: None,
            destination_temperature_k: None,
        },
        on_hand: WindsOnHand {
            slices: vec![],
            lasts: route.lasts(),
        },
    }
}

/// Reads the files of the weather.
pub(super) fn load(
    sheet: &Sheet<'_>,
    folder: &Path,
    mut read: ReadWeather,
    departure: Timestamp,
    route: &Route<'_>,
    top_m: f64,
) -> Result<Loaded, FileError> {
    let reports = reports(sheet, folder, &mut read, departure, route)?;
    let lasts = route.lasts();
    let over = lasts.saturating_add(SignedDuration::from_hours(LATEST_LEAVE_H));
    let window = (
        departure,
        departure.saturating_add(over).unwrap_or(departure),
    );
    let (slices, unused) = if !read.bulletins.is_empty() {
        from_bulletins(sheet, folder, &read, window, route)?
    } else if !read.grib.is_empty() {
        from_grib(sheet, folder, &read, window, route, top_m)?
    } else {
        from_table(sheet, &read)?
    };
    let on_hand = WindsOnHand { slices, lasts };
    let Some(chosen) = on_hand.at(departure) else {
        return Err(none_holds(sheet, &read, &on_hand, unused, departure));
    };
    for (forecast, source) in chosen.forecasts.iter().zip(&chosen.sources) {
        covers(sheet, &forecast.field, &read, source, route, top_m)?;
    }
    let (mut departure_pa, mut destination_pa) = read.altimeter_pa.unwrap_or((f64::NAN, f64::NAN));
    let ends = [route.places.first(), route.places.last()];
    for (pa, place) in [&mut departure_pa, &mut destination_pa]
        .into_iter()
        .zip(ends)
    {
        let Some(place) = place.filter(|_| pa.is_nan()) else {
            continue;
        };
        let found = reports.iter().find(|r| r.station == place.ident);
        *pa = found.and_then(|r| r.altimeter_pa).ok_or_else(|| {
            let message = format!(
                "weather.altimeter_inhg is missing, and no weather report gives it for {}",
                place.ident
            );
            let at = Some(read.span.clone());
            sheet.fail(
                Finding::new(FindingKind::Missing, "weather.altimeter_inhg", at, message)
                    .label("in this section")
                    .hint("add `altimeter_inhg = `, or a report of that place with A or Q and four figures"),
            )
        })?;
    }
    let mut sources = chosen.sources;
    sources.extend(reports.iter().map(|r| said(r, departure, &read, route)));
    let temperature = |place: Option<&&Place>| {
        let station = read
            .surface
            .iter()
            .find(|s| Some(&s.name) == place.map(|p| &p.ident));
        station.and_then(|s| s.levels.first()?.temperature_k)
    };
    Ok(Loaded {
        weather: Weather {
            forecasts: chosen.forecasts,
            valid_until: chosen.until,
            sources,
            departure_altimeter_pa: departure_pa,
            destination_altimeter_pa: destination_pa,
            departure_temperature_k: temperature(route.places.first()),
            destination_temperature_k: temperature(route.places.last()),
        },
        on_hand,
    })
}
