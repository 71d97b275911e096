//! From decoded bulletins and surface observations to wind fields: where `files` meets `air`.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;

use super::bulletin::{Bulletin, Group, Level, Note, ResolvedTimes, TimesError, resolve_times};
use super::stations::{StationPosition, find_station};
use crate::air::{Datum, FieldError, LevelValue, Station, WindField};

/// The wind field of one valid time.
#[derive(Debug, Clone, PartialEq)]
pub struct FieldSlice {
    /// Its times; the period of use is that of the newest bulletin in it.
    pub times: ResolvedTimes,
    /// The field.
    pub field: WindField,
    /// Remarks of the bulletins, and the stations skipped for want of a position.
    pub notes: Vec<Note>,
}

/// Why bulletins could not be made into wind fields.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum WindsError {
    /// The times of a bulletin make no sense.
    #[error(transparent)]
    Times(#[from] TimesError),
    /// No field could be built from the bulletins of one valid time.
    #[error("winds valid {valid}: {source}")]
    Field {
        /// The valid time.
        valid: Timestamp,
        /// Why.
        source: FieldError,
    },
    /// No bulletin was given.
    #[error("making a wind field: no bulletin was given")]
    NoBulletin,
    /// None of the stations has a known position.
    #[error(
        "winds valid {valid}: none of the {count} stations has a known position; give their positions in a file of places"
    )]
    NoPosition {
        /// The valid time.
        valid: Timestamp,
        /// Number of stations.
        count: usize,
    },
}

/// One column per station with a known position: `own` positions first, then the built-in table.
///
/// Returns the columns in order of the identifier, and a note for every station without a position. Bulletins are
/// merged level by level; where two give the same level of the same station, the later one in the slice counts.
pub fn wind_columns(bulletins: &[&Bulletin], own: &[StationPosition]) -> (Vec<Station>, Vec<Note>) {
    let mut rows: BTreeMap<&str, BTreeMap<u32, (&Level, Group)>> = BTreeMap::new();
    for bulletin in bulletins {
        for station in &bulletin.stations {
            let row = rows.entry(&station.id).or_default();
            for (level, group) in bulletin.levels.iter().zip(&station.levels) {
                if let Some(group) = group {
                    row.insert(level.label_ft, (level, *group));
                }
            }
        }
    }
    let mut stations = Vec::new();
    let mut notes = Vec::new();
    for (id, row) in rows {
        let Some(position) = own
            .iter()
            .find(|s| s.id == id)
            .cloned()
            .or_else(|| find_station(id))
        else {
            notes.push(Note::UnknownStation {
                station: id.to_owned(),
            });
            continue;
        };
        let levels = row.values().map(|(level, group)| {
            let (u_m_s, v_m_s) = group.vector_m_s();
            LevelValue {
                datum: level.datum,
                height_m: level.height_m,
                u_m_s,
                v_m_s,
                temperature_k: group.temperature_k,
            }
        });
        stations.push(Station {
            name: id.to_owned(),
            lat_deg: position.lat_deg,
            lon_deg: position.lon_deg,
            elevation_m: position.elevation_m,
            levels: levels.collect(),
        });
    }
    (stations, notes)
}

/// A surface observation as a station of a wind field: wind vector (m/s) and temperature (K) at a field's elevation (m).
pub fn surface_station(
    position: &StationPosition,
    vector_m_s: (f64, f64),
    temperature_k: Option<f64>,
) -> Station {
    Station {
        name: position.id.clone(),
        lat_deg: position.lat_deg,
        lon_deg: position.lon_deg,
        elevation_m: position.elevation_m,
        levels: vec![LevelValue {
            datum: Datum::Surface,
            height_m: position.elevation_m,
            u_m_s: vector_m_s.0,
            v_m_s: vector_m_s.1,
            temperature_k,
        }],
    }
}

/// Wind fields from bulletins, one per valid time, earliest first.
///
/// Bulletins of the same valid time (low and high levels, or two issues) are merged, the newest data counting. `reference`
/// supplies month and year; `own` adds or overrides station positions; `surface` observations go into every field.
///
/// # Errors
/// [`WindsError`] when there is no bulletin, its times make no sense, no station can be placed or a field cannot be built.
pub fn wind_slices(
    bulletins: &[Bulletin],
    reference: Timestamp,
    own: &[StationPosition],
    surface: &[Station],
) -> Result<Vec<FieldSlice>, WindsError> {
    let mut by_valid: BTreeMap<Timestamp, Vec<(ResolvedTimes, &Bulletin)>> = BTreeMap::new();
    for bulletin in bulletins {
        let times = resolve_times(bulletin, reference)?;
        by_valid
            .entry(times.valid)
            .or_default()
            .push((times, bulletin));
    }
    let mut slices = Vec::new();
    for (valid, mut group) in by_valid {
        group.sort_by_key(|(times, _)| times.data);
        let Some((times, _)) = group.last().copied() else {
            continue;
        };
        let merged: Vec<&Bulletin> = group.iter().map(|(_, b)| *b).collect();
        let (mut stations, unknown) = wind_columns(&merged, own);
        if stations.is_empty() {
            let ids: BTreeSet<&str> = merged
                .iter()
                .flat_map(|b| b.stations.iter().map(|s| s.id.as_str()))
                .collect();
            return Err(WindsError::NoPosition {
                valid,
                count: ids.len(),
            });
        }
        stations.extend_from_slice(surface);
        let field =
            WindField::new(&stations).map_err(|source| WindsError::Field { valid, source })?;
        let mut notes: Vec<Note> = merged.iter().flat_map(|b| b.notes.clone()).collect();
        notes.extend(unknown);
        slices.push(FieldSlice {
            times,
            field,
            notes,
        });
    }
    if slices.is_empty() {
        return Err(WindsError::NoBulletin);
    }
    Ok(slices)
}
