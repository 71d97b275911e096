//! What a file is, by its content, and what is understood of it in one line.
//!
//! Each kind of input is one row of `KINDS`: how it is told, and how it is read. A new format adds its row.

use std::io::Read as _;
use std::path::{Path, PathBuf};

use jiff::Timestamp;

use super::diagnostic::{FileError, Finding, FindingKind, without_mark};
use super::stations::find_station;
use super::{
    answers, bulletin, climate, gpx, grib2, handbook, hgt, keep_out, notes, places, profile,
    report, season_log, trip, weather,
};
use crate::air::triangle::wind_from_vector;
use crate::quantity::{
    KG_PER_LB, M_PER_FT, M_PER_NM, M_S_PER_KT, M3_PER_GAL, PA_PER_INHG, W_PER_HP, ZERO_C_K,
};
use crate::trip::{FuelLoad, resolve};

/// So many of a file's own things are named, and of more the number.
const NAMED: usize = 3;
/// Largest file looked at, bytes: a forecast for a continent fits in.
const LARGEST_BYTES: u64 = 512 << 20;

/// A file as it was found.
pub struct Content {
    /// Where it is.
    pub path: PathBuf,
    /// What is in it.
    pub bytes: Vec<u8>,
    /// The same as text without a byte-order mark, where it is UTF-8 without a zero byte; else empty.
    pub text: String,
}

/// A kind of input.
pub struct Kind {
    /// Its name, as a user calls it.
    pub name: &'static str,
    /// Whether a file is meant to be one.
    is: fn(&Content) -> bool,
    /// Reads it with everything it names; what was understood, in one line.
    read: fn(&Content) -> Result<String, FileError>,
}

/// Every kind, the surest told first.
const KINDS: &[Kind] = &[
    Kind {
        name: "GRIB2",
        is: |c| grib2::looks_like_grib(&c.bytes),
        read: read_grib,
    },
    Kind {
        name: "SRTM tile",
        is: |c| hgt::looks_like_tile(&c.path, c.bytes.len()),
        read: read_tile,
    },
    Kind {
        name: "keep-out volumes",
        is: is_geojson,
        read: read_keep_outs,
    },
    Kind {
        name: "answers to a worksheet",
        is: |c| answers::looks_like_answers(&c.text),
        read: read_answers,
    },
    Kind {
        name: "GPX",
        is: |c| c.text.trim_start().starts_with('<') && c.text.contains("<gpx"),
        read: read_gpx,
    },
    Kind {
        name: "trip",
        is: |c| has_key(c, &["place", "route", "departure_utc", "leg"]),
        read: read_trip,
    },
    Kind {
        name: "handbook",
        is: |c| {
            has_key(
                c,
                &[
                    "cruise",
                    "climb",
                    "glide",
                    "stall",
                    "rows_csv",
                    "fit",
                    "uncertainty",
                ],
            )
        },
        read: read_handbook,
    },
    Kind {
        name: "aircraft profile",
        is: |c| has_key(c, &["aircraft", "engine", "propeller", "procedures"]),
        read: read_profile,
    },
    Kind {
        name: "winds aloft",
        is: is_bulletin,
        read: read_bulletin,
    },
    Kind {
        name: "weather reports",
        is: |c| report::looks_like_report(&c.text),
        read: read_reports,
    },
    Kind {
        name: "log of a season",
        is: |c| season_log::looks_like_season(&c.text),
        read: read_season,
    },
    Kind {
        name: "climate",
        is: |c| climate::looks_like_climate(&c.text),
        read: read_climate,
    },
    Kind {
        name: "notes of a flight",
        is: |c| notes::looks_like_notes(&c.text),
        read: read_notes,
    },
    Kind {
        name: "places",
        is: is_places,
        read: read_places,
    },
];

/// A file that was understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Understood {
    /// Name of its kind.
    pub kind: &'static str,
    /// What is in it.
    pub line: String,
}

/// Looks at a file: tells its kind, reads it, and says what was understood.
///
/// # Errors
/// [`FileError`]: the file cannot be read, is of no kind that is known, or is wrong.
pub fn check(path: &Path) -> Result<Understood, FileError> {
    let content = content(path)?;
    let Some(kind) = KINDS.iter().find(|k| (k.is)(&content)) else {
        let names: Vec<&str> = KINDS.iter().map(|k| k.name).collect();
        let message = format!("{} is of no kind that is known here", path.display());
        let finding = Finding::new(FindingKind::Syntax, "", None, message)
            .hint(format!("known are {}", names.join(", ")));
        return Err(FileError::new(path, "", vec![finding]));
    };
    let line = (kind.read)(&content)?;
    Ok(Understood {
        kind: kind.name,
        line,
    })
}

/// Why a text is not of the kind that belongs there: that it is empty, or of another kind, if it is; else what its reader says.
pub(super) fn meant(wanted: &str, path: &Path, text: &str, error: FileError) -> FileError {
    // What is wrong with a file that this one names is told of that.
    if error.path != path {
        return error;
    }
    let (message, hint) = if text.trim().is_empty() {
        (
            format!("{} is empty, where {wanted} belongs", path.display()),
            "give the path of a file with something in it; fellrun new writes files to begin with"
                .to_owned(),
        )
    } else {
        let content = Content {
            path: path.to_owned(),
            bytes: text.as_bytes().to_vec(),
            text: text.to_owned(),
        };
        match KINDS.iter().find(|k| (k.is)(&content)) {
            Some(kind) if !wanted.ends_with(kind.name) => (
                format!(
                    "{} looks like {}, where {wanted} belongs",
                    path.display(),
                    kind.article()
                ),
                format!("give the path of {wanted}"),
            ),
            _ => return error,
        }
    };
    let finding = Finding::new(FindingKind::Syntax, "", None, message).hint(hint);
    FileError::new(path, text, vec![finding])
}

impl Kind {
    /// Its name with its article, where it is one thing.
    fn article(&self) -> String {
        match self.name {
            name @ ("GPX" | "GRIB2" | "SRTM tile") => format!("{name} data"),
            name @ "aircraft profile" => format!("an {name}"),
            name @ ("trip" | "handbook" | "log of a season" | "climate") => format!("a {name}"),
            name => name.to_owned(),
        }
    }
}

fn content(path: &Path) -> Result<Content, FileError> {
    let read = || -> std::io::Result<Vec<u8>> {
        let file = std::fs::File::open(path)?;
        if file.metadata()?.is_dir() {
            return Err(std::io::Error::other("it is a directory"));
        }
        let mut bytes = Vec::new();
        file.take(LARGEST_BYTES + 1).read_to_end(&mut bytes)?;
        if bytes.len() as u64 > LARGEST_BYTES {
            return Err(std::io::Error::other("it is larger than 512 MiB"));
        }
        Ok(bytes)
    };
    let bytes = read().map_err(|why| FileError::unreadable(path, &why))?;
    let text = std::str::from_utf8(&bytes).unwrap_or("");
    let text = if text.contains('\0') {
        ""
    } else {
        without_mark(text)
    };
    Ok(Content {
        path: path.to_owned(),
        text: text.to_owned(),
        bytes,
    })
}

/// Whether a line of the text is, as TOML has it, a key or the head of a section of one of these names. The text need not be TOML
/// throughout: an error in it is found by reading it as what it is meant to be.
fn has_key(content: &Content, names: &[&str]) -> bool {
    content.text.lines().any(|line| {
        let line = line.trim_start();
        let head = line.trim_start_matches('[');
        let end = head.find(|c: char| !c.is_ascii_alphanumeric() && c != '_');
        let (word, rest) = head.split_at(end.unwrap_or(head.len()));
        let section = line.len() > head.len() && rest.starts_with([']', '.']);
        let key = line.len() == head.len() && rest.trim_start().starts_with('=');
        (section || key) && names.contains(&word)
    })
}

fn is_bulletin(content: &Content) -> bool {
    let text = content.text.to_ascii_uppercase();
    text.contains("DATA BASED ON") || text.lines().any(|l| l.trim_start().starts_with("FT  3000"))
}

/// A JSON object that says it is of a type of GeoJSON.
fn is_geojson(content: &Content) -> bool {
    let types = [
        "\"FeatureCollection\"",
        "\"Feature\"",
        "\"Polygon\"",
        "\"MultiPolygon\"",
    ];
    content.text.trim_start().starts_with('{') && types.iter().any(|t| content.text.contains(t))
}

fn is_places(content: &Content) -> bool {
    let head = content
        .text
        .lines()
        .find(|l| !l.trim().is_empty() && !l.starts_with('#'));
    head.is_some_and(|head| {
        let columns: Vec<&str> = head.split(',').map(str::trim).collect();
        columns.len() > 1
            && ["ident", "lat", "lon"]
                .iter()
                .filter(|c| columns.contains(c))
                .count()
                >= 2
    })
}

fn count(n: usize, one: &str, more: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { more })
}

fn read_gpx(content: &Content) -> Result<String, FileError> {
    let file = gpx::parse(&content.text, &content.path)?;
    let points = |lines: &[gpx::Line]| lines.iter().map(|l| l.points.len()).sum();
    Ok(format!(
        "{}, {} of {}, {} of {}",
        count(file.waypoints.len(), "waypoint", "waypoints"),
        count(file.routes.len(), "route", "routes"),
        count(points(&file.routes), "point", "points"),
        count(file.tracks.len(), "track", "tracks"),
        count(points(&file.tracks), "point", "points"),
    ))
}

fn read_trip(content: &Content) -> Result<String, FileError> {
    let file = trip::parse_trip(&content.text, &content.path, None)?;
    let name = file.aircraft.name.clone();
    let density_kg_m3 = file.aircraft.fuel.density_kg_m3;
    let problem = resolve(&file.trip, file.aircraft).map_err(|e| {
        let message = format!("{}: {e}", content.path.display());
        let finding = Finding::new(FindingKind::Contradiction, "", None, message);
        FileError::new(&content.path, &content.text, vec![finding])
    })?;
    let route: Vec<&str> = file.trip.places.iter().map(|p| p.ident.as_str()).collect();
    let unknown = problem.legs.iter().filter(|l| l.ground.is_empty()).count();
    let fuel = match file.trip.fuel {
        FuelLoad::Kg(kg) => format!("{:.1} gal", kg / density_kg_m3 / M3_PER_GAL),
        FuelLoad::Least => "the least fuel".to_owned(),
    };
    Ok(format!(
        "{}, {:.0} nm, {} with {fuel} from {}, {}",
        route.join(" to "),
        problem.length_m / M_PER_NM,
        name,
        file.trip.departure_time,
        match unknown {
            0 => "ground of every leg".to_owned(),
            n => format!(
                "NO TERRAIN DATA for {} of {}",
                n,
                count(problem.legs.len(), "leg", "legs")
            ),
        },
    ))
}

fn read_profile(content: &Content) -> Result<String, FileError> {
    let a = profile::parse_profile(&content.text, &content.path)?;
    Ok(format!(
        "{}, {:.0} hp, empty {:.0} lb, at most {:.0} lb, {:.0} gal usable, {}",
        a.name,
        a.engine.spec.rated_power_w / W_PER_HP,
        a.masses.empty_kg / KG_PER_LB,
        a.masses.max_take_off_kg / KG_PER_LB,
        a.fuel.usable_kg / a.fuel.density_kg_m3 / M3_PER_GAL,
        if a.propeller.is_fixed() {
            "fixed pitch"
        } else {
            "constant speed"
        },
    ))
}

fn read_handbook(content: &Content) -> Result<String, FileError> {
    let file = handbook::parse(&content.text, &content.path)?;
    Ok(format!(
        "{}, {}, {} to fit",
        file.handbook.aircraft.name,
        count(file.handbook.rows.len(), "row", "rows"),
        count(file.handbook.priors.len(), "figure", "figures"),
    ))
}

fn read_bulletin(content: &Content) -> Result<String, FileError> {
    let bulletins = weather::read_bulletins(&content.text, &content.path, "")?;
    let each = bulletins.iter().map(|b| {
        let placed = b.stations.iter().filter(|s| find_station(&s.id).is_some()).count();
        let ft = |level: Option<&bulletin::Level>| level.map_or(0, |l| l.label_ft);
        format!(
            "valid day {:02} at {:02}:{:02}Z, {}, {placed} with a known position, levels {} to {} ft",
            b.valid.day,
            b.valid.clock.hour,
            b.valid.clock.minute,
            count(b.stations.len(), "station", "stations"),
            ft(b.levels.first()),
            ft(b.levels.last()),
        )
    });
    Ok(each.collect::<Vec<_>>().join("; "))
}

fn read_season(content: &Content) -> Result<String, FileError> {
    let with = season_log::RowsWith {
        profile: None,
        // Which one makes no difference to what is read.
        stand_in: Some(PathBuf::from("retractable-200hp")),
        places: vec![],
        terrain: None,
        rules: "none",
        day: season_log::DAY,
    };
    let rows = season_log::parse_season(&content.text, &content.path, &with)?;
    let flights: f64 = rows.iter().map(|r| r.times).sum();
    let names: Vec<&str> = rows.iter().take(NAMED).map(|r| r.name.as_str()).collect();
    Ok(format!(
        "{} ({}{}), {flights} flights a year",
        count(rows.len(), "trip", "trips"),
        names.join(", "),
        if rows.len() > NAMED { ", ..." } else { "" },
    ))
}

fn read_climate(content: &Content) -> Result<String, FileError> {
    let climate = climate::parse_climate(&content.text, &content.path, "")?;
    let ft = |l: Option<&climate::ClimateLevel>| l.map_or(f64::NAN, |l| l.altitude_ft);
    Ok(format!(
        "{}, {:.0} to {:.0} ft",
        count(climate.levels.len(), "level", "levels"),
        ft(climate.levels.first()),
        ft(climate.levels.last()),
    ))
}

fn read_places(content: &Content) -> Result<String, FileError> {
    let all = places::parse_places(&content.text, &content.path)?;
    let high = all
        .iter()
        .filter_map(|p| p.elevation_m)
        .map(|m| m / M_PER_FT);
    let names: Vec<&str> = all.iter().take(NAMED).map(|p| p.ident.as_str()).collect();
    Ok(format!(
        "{} ({}{}), {} with an elevation",
        count(all.len(), "place", "places"),
        names.join(", "),
        if all.len() > names.len() { ", ..." } else { "" },
        high.count(),
    ))
}

fn read_notes(content: &Content) -> Result<String, FileError> {
    let all = notes::parse_notes(&content.text, &content.path, None)?;
    let min = match all.as_slice() {
        [first, .., last] => (last.time_s - first.time_s) / 60.0,
        _ => 0.0,
    };
    Ok(format!(
        "{} over {min:.0} min, {} with fuel",
        count(all.len(), "note", "notes"),
        all.iter().filter(|n| n.fuel.is_some()).count(),
    ))
}

fn read_grib(content: &Content) -> Result<String, FileError> {
    let file = grib2::overview(&content.path)?;
    // Kinds on as many levels are said together.
    let mut together: Vec<(String, usize)> = Vec::new();
    for &(kind, levels) in &file.kinds {
        match together.last_mut() {
            Some((kinds, same)) if *same == levels && levels > 0 => *kinds += &format!(", {kind}"),
            _ => together.push((kind.to_owned(), levels)),
        }
    }
    let mut parts: Vec<String> = together
        .into_iter()
        .map(|(kinds, levels)| match levels {
            0 => kinds,
            n => format!("{kinds} at {}", count(n, "level", "levels")),
        })
        .collect();
    if let Some((low_pa, high_pa)) = file.surfaces_pa {
        parts.push(format!(
            "{:.0} to {:.0} hPa",
            low_pa / 100.0,
            high_pa / 100.0
        ));
    }
    let times: Vec<String> = file.valid.iter().copied().map(weather::minute).collect();
    parts.push(match times.as_slice() {
        [one] => format!("valid {one}"),
        [first, .., last] => format!("{} times from {first} to {last}", times.len()),
        [] => "no time".to_owned(),
    });
    parts.extend(file.grids);
    if !file.kinds.iter().any(|(kind, _)| kind.starts_with("wind")) {
        parts.push("NO WIND: of use only beside a file that has it".to_owned());
    }
    let mut line = parts.join(", ");
    if !file.skipped.is_empty() {
        let skipped = count(file.skipped.len(), "field", "fields");
        line += &format!(
            "; skipped {skipped} of {}: {}",
            file.fields,
            file.skipped.join("; ")
        );
    }
    Ok(line)
}

fn read_tile(content: &Content) -> Result<String, FileError> {
    let tile = hgt::TileSummary::new(&content.path).map_err(|e| {
        let finding = Finding::new(FindingKind::Syntax, "", None, e.to_string());
        FileError::new(&content.path, "", vec![finding.hint(hgt::TILE_WAY_OUT)])
    })?;
    let ft = |m: i16| f64::from(m) / M_PER_FT;
    Ok(format!(
        "{}, {} by {1} posts, {}, {}",
        tile.tile.name(),
        tile.side,
        tile.heights_m
            .map_or("no height at all".to_owned(), |(low, high)| {
                format!("ground from {:.0} to {:.0} ft", ft(low), ft(high))
            }),
        match tile.voids {
            0 => "no voids".to_owned(),
            n => count(n, "post without height", "posts without height"),
        },
    ))
}

fn read_answers(content: &Content) -> Result<String, FileError> {
    let given = answers::parse_answers(&content.text, &content.path)?;
    let answered = given.answers.iter().filter(|a| a.value.is_some()).count();
    Ok(format!(
        "{answered} of {} exercises on {} answered, seed {}",
        given.count, given.topic, given.seed
    ))
}

fn read_keep_outs(content: &Content) -> Result<String, FileError> {
    let all = keep_out::parse_keep_outs(&content.text, &content.path)?;
    let height = |m: f64, open: &str| {
        if m.is_finite() {
            format!("{:.0} ft", m / M_PER_FT)
        } else {
            open.to_owned()
        }
    };
    let named = all.iter().take(NAMED).map(|v| {
        let (low, high) = (
            height(v.lower_m, "the ground"),
            height(v.upper_m, "any height"),
        );
        format!("{} from {low} to {high}", v.name)
    });
    Ok(format!(
        "{}: {}{}",
        count(all.len(), "volume", "volumes"),
        named.collect::<Vec<_>>().join(", "),
        if all.len() > NAMED { ", ..." } else { "" },
    ))
}

fn read_reports(content: &Content) -> Result<String, FileError> {
    // Which month it is of is not told.
    let all = weather::read_reports(&content.text, &content.path, "", Timestamp::now())?;
    let each = all.iter().map(|r| {
        let mut parts = vec![format!(
            "{} day {}",
            r.station,
            r.time.strftime("%d at %H:%MZ")
        )];
        parts.extend(r.wind_m_s.map(|(u, v)| {
            let (from_rad, m_s) = wind_from_vector(u, v);
            let kt = m_s / M_S_PER_KT;
            if kt < 0.5 {
                "calm".to_owned()
            } else {
                format!("wind from {:03.0} at {kt:.0} kt", from_rad.to_degrees())
            }
        }));
        parts.extend(r.temperature_k.map(|k| format!("{:.0} C", k - ZERO_C_K)));
        parts.push(
            r.altimeter_pa
                .map_or("no altimeter setting".to_owned(), |pa| {
                    format!("altimeter {:.2} inHg", pa / PA_PER_INHG)
                }),
        );
        parts.extend(r.notes.iter().cloned());
        parts.join(", ")
    });
    Ok(each.collect::<Vec<_>>().join("; "))
}
