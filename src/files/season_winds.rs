//! The winds of a season: files of winds aloft, or winds drawn from a climate.

use std::path::{Path, PathBuf};

use jiff::Timestamp;

use super::climate::Climate;
use super::diagnostic::{FileError, Finding, FindingKind, read_text};
use super::grib2::{self, is_grib};
use super::weather::{minute, nearest_elevation_m, read_bulletins};
use super::winds::wind_slices;
use crate::air::{FieldError, LevelValue, Station, WindField};
use crate::earth::geodesic::Leg;
use crate::quantity::M_PER_NM;
use crate::trip::{Place, Trip};

/// A wind that is the same everywhere stands at places of a route no farther apart than this, m: within the radius of a station.
const EVERY_M: f64 = 100.0 * M_PER_NM;
/// The air is asked for up to this pressure altitude, m: above what any of the aeroplanes here reaches.
const TOP_M: f64 = 14_000.0;

/// Wind and temperature aloft, one of those a season is flown in; it does not change.
#[derive(Debug, Clone, PartialEq)]
pub struct SeasonWind {
    /// Its name.
    pub name: String,
    aloft: Aloft,
}

#[derive(Debug, Clone, PartialEq)]
enum Aloft {
    Field(WindField),
    /// The same everywhere.
    Everywhere(Vec<LevelValue>),
}

impl SeasonWind {
    /// The wind over a trip.
    ///
    /// # Errors
    /// [`FieldError`] where the levels make no field.
    pub fn over(&self, trip: &Trip) -> Result<WindField, FieldError> {
        let levels = match &self.aloft {
            Aloft::Field(field) => return Ok(field.clone()),
            Aloft::Everywhere(levels) => levels,
        };
        let alternate = trip.alternate.as_ref().map(|a| &a.place);
        let places: Vec<&Place> = trip.places.iter().chain(alternate).collect();
        let mut at: Vec<_> = places.iter().map(|p| p.position).collect();
        for pair in places.windows(2) {
            if let Ok(leg) = Leg::new(pair[0].position, pair[1].position) {
                let pieces = leg.pieces(EVERY_M);
                let along = |i| leg.point_at(leg.distance_m() * f64::from(i) / f64::from(pieces));
                at.extend((1..pieces).map(along));
            }
        }
        let stations: Vec<Station> = at
            .into_iter()
            .map(|place| Station {
                name: self.name.clone(),
                lat_deg: place.lat_deg(),
                lon_deg: place.lon_deg(),
                elevation_m: 0.0,
                levels: levels.clone(),
            })
            .collect();
        WindField::new(&stations)
    }
}

/// Winds drawn from a climate with a seed, so many.
pub fn drawn_winds(climate: &Climate, seed: u64, count: u64) -> Vec<SeasonWind> {
    (0..count)
        .map(|number| SeasonWind {
            name: format!("drawn {}", number + 1),
            aloft: Aloft::Everywhere(climate.drawn(seed, number)),
        })
        .collect()
}

/// The winds of bulletins and GRIB2 files, each valid time of each file one wind, for trips over these places. What day it is does not matter;
/// `near` places the days of bulletins in the calendar.
///
/// # Errors
/// [`FileError`] of the first file that cannot be read, or has no wind in it.
pub fn load_winds(
    paths: &[PathBuf],
    places: &[&Place],
    near: Timestamp,
) -> Result<Vec<SeasonWind>, FileError> {
    let mut winds = Vec::new();
    for path in paths {
        let fields = if is_grib(path) {
            of_grid(path, places)?
        } else {
            of_bulletins(path, near)?
        };
        let name = path.display();
        let alone = fields.len() == 1;
        winds.extend(fields.into_iter().map(|(valid, field)| SeasonWind {
            name: if alone {
                name.to_string()
            } else {
                format!("{name} {}", minute(valid))
            },
            aloft: Aloft::Field(field),
        }));
    }
    Ok(winds)
}

type Fields = Vec<(Timestamp, WindField)>;

fn unusable(path: &Path, message: String) -> FileError {
    let hint = "give other winds: bulletins of winds aloft, or GRIB2 with wind, temperature and height by pressure";
    let finding = Finding::new(FindingKind::Weather, "", None, message).hint(hint);
    FileError::new(path, "", vec![finding])
}

fn of_bulletins(path: &Path, near: Timestamp) -> Result<Fields, FileError> {
    let bulletins = read_bulletins(&read_text(path)?, path, "")?;
    let slices = wind_slices(&bulletins, near, &[], &[])
        .map_err(|e| unusable(path, format!("{}: {e}", path.display())))?;
    Ok(slices
        .into_iter()
        .map(|s| (s.times.valid, s.field))
        .collect())
}

fn of_grid(path: &Path, places: &[&Place]) -> Result<Fields, FileError> {
    let here = [path.to_owned()];
    let times = grib2::times_of(&here)?;
    let at: Vec<_> = places.iter().map(|p| p.position).collect();
    let nothing = || unusable(path, format!("{}: there is no wind in it", path.display()));
    let area = grib2::Area::of(&at).ok_or_else(|| {
        unusable(
            path,
            format!(
                "{}: the trips have no middle to cut a grid around",
                path.display()
            ),
        )
    })?;
    let (Some(&from), Some(&to)) = (times.first(), times.last()) else {
        return Err(nothing());
    };
    let ask = grib2::Ask {
        area,
        from,
        to,
        top_m: TOP_M,
    };
    let fields: Fields = grib2::read(&here, &ask)?
        .iter()
        .map(|forecast| {
            let stations: Vec<Station> = forecast
                .points
                .iter()
                .map(|p| p.station(nearest_elevation_m(p, places)))
                .collect();
            WindField::on_mesh(forecast.width, &stations, &[])
                .map(|field| (forecast.valid, field))
                .map_err(|e| unusable(path, format!("{}: {e}", path.display())))
        })
        .collect::<Result<_, _>>()?;
    if fields.is_empty() {
        return Err(nothing());
    }
    Ok(fields)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::climate::shipped_climate;
    use crate::files::trip::load_trip;
    use crate::quantity::M_PER_FT;

    /// Means of equal numbers, m/s.
    const ROUNDING_M_S: f64 = 1e-9;

    fn demo() -> Trip {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/first-trip.toml");
        load_trip(&path, None).expect("reads").trip
    }

    #[test]
    fn closed_form_a_drawn_wind_is_the_same_all_along_a_route() {
        let trip = demo();
        let climate = shipped_climate().expect("in order");
        let winds = drawn_winds(&climate, 5, 3);
        assert_eq!(winds.len(), 3);
        let levels = climate.drawn(5, 2);
        let field = winds[2].over(&trip).expect("a field");
        let height_m = 9_000.0 * M_PER_FT;
        let mut looked = 0;
        for pair in trip.places.windows(2) {
            let leg = Leg::new(pair[0].position, pair[1].position).expect("a leg");
            for i in 0..=20 {
                let at = leg.point_at(leg.distance_m() * f64::from(i) / 20.0);
                let air = field.at(at.lat_deg(), at.lon_deg(), height_m, height_m);
                let air = air.expect("covered");
                // The third level of the climate is 9,000 ft.
                let off = (air.u_m_s - levels[2].u_m_s).hypot(air.v_m_s - levels[2].v_m_s);
                assert!(off < ROUNDING_M_S, "{off}");
                looked += 1;
            }
        }
        assert_eq!(looked, 42);
    }

    #[test]
    fn closed_form_each_valid_time_of_each_file_is_a_wind() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let trip = demo();
        let places: Vec<&Place> = trip.places.iter().collect();
        let bulletins = [
            "FBUS33_FD3US3_2026-01-31_310158Z",
            "FBUS31_FD1US1_2026-04-15_151359Z",
        ]
        .map(|name| root.join(format!("examples/weather/{name}.txt")));
        let grid = root.join("tests/data/grib/gfs_2p5deg_20111008T00Z_f072_small_T_GH_UV.grib2");
        let all: Vec<PathBuf> = bulletins.into_iter().chain([grid]).collect();
        let winds = load_winds(&all, &places, trip.departure_time).expect("reads");
        assert_eq!(winds.len(), 3);
        // The first is the wind that the trip itself has there, its surface observations aside: those end at 1,500 ft above the fields.
        let at = trip.places[1].position;
        let high_m = 9_000.0 * M_PER_FT;
        let here = |f: &WindField| {
            f.at(at.lat_deg(), at.lon_deg(), high_m, high_m)
                .expect("covered")
        };
        let (own, read) = (
            here(&trip.weather.forecasts[0].field),
            here(&winds[0].over(&trip).expect("a field")),
        );
        assert_eq!((own.u_m_s, own.v_m_s), (read.u_m_s, read.v_m_s));
        let others = [1, 2].map(|i| here(&winds[i].over(&trip).expect("a field")).u_m_s);
        assert!(others.iter().all(|u| *u != own.u_m_s), "{others:?}");
        // What is no file of winds is told.
        let none = [root.join("examples/first-trip.toml")];
        assert!(load_winds(&none, &places, trip.departure_time).is_err());
    }
}
