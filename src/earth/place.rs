//! Places: latitude and longitude, and the ways people write them.
//!
//! Read are decimal degrees, degrees and minutes, and degrees, minutes and seconds, with a sign or a hemisphere letter
//! before or after: `39.4521`, `-104.9`, `39.4521N`, `N39.4521`, `39 27.5 N`, `39-27-07N`, `W104°54'08.5"`.
//! Blanks, hyphens, colons and the marks `° º ' ′ ’ " ″ ”` separate the parts. Only the last part may have
//! decimals, minutes and seconds must be under 60, and a sign and a letter together are refused.

/// Why a latitude or longitude could not be read.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PlaceError {
    /// The text is not a latitude or longitude.
    #[error("reading {what} '{text}': {reason}; write it like {example}")]
    Form {
        /// "latitude", "longitude" or "position".
        what: &'static str,
        /// The text given.
        text: String,
        /// What is wrong with it.
        reason: String,
        /// A good example.
        example: &'static str,
    },
    /// The value is out of range.
    #[error(
        "reading {what}: {value_deg} deg is not in the required range of -{limit_deg}..={limit_deg} deg"
    )]
    Range {
        /// "latitude" or "longitude".
        what: &'static str,
        /// The value (deg).
        value_deg: f64,
        /// Greatest magnitude allowed (deg).
        limit_deg: f64,
    },
}

/// A place on the Earth. Latitude is in -90..=90 and longitude in -180..=180 degrees, positive north and east.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Position {
    lat_deg: f64,
    lon_deg: f64,
}

impl Position {
    /// A place from degrees, positive north and east.
    ///
    /// # Errors
    /// [`PlaceError::Range`] for a latitude outside -90..=90, a longitude outside -180..=180 or NaN.
    pub fn new(lat_deg: f64, lon_deg: f64) -> Result<Position, PlaceError> {
        in_range("latitude", lat_deg, 90.0)?;
        in_range("longitude", lon_deg, 180.0)?;
        Ok(Position { lat_deg, lon_deg })
    }

    /// A place from computed degrees: longitude is brought into -180..=180, latitude clamped, NaN becomes 0.
    pub(crate) fn wrapped(lat_deg: f64, lon_deg: f64) -> Position {
        let lat_deg = if lat_deg.is_nan() {
            0.0
        } else {
            lat_deg.clamp(-90.0, 90.0)
        };
        Position {
            lat_deg,
            lon_deg: wrap_longitude_deg(lon_deg),
        }
    }

    /// Reads a pair such as `39.45,-104.9`, `39.45N 104.9W`, `N39 27 07 W104 54 08` or `393607N/1045408W`.
    ///
    /// A comma, a slash or a hemisphere letter parts latitude from longitude; latitude comes first.
    ///
    /// # Errors
    /// [`PlaceError`] saying which half is wrong and why.
    pub fn parse(text: &str) -> Result<Position, PlaceError> {
        let form = |reason: &str| PlaceError::Form {
            what: "position",
            text: text.to_owned(),
            reason: reason.to_owned(),
            example: "39.4521N 104.9022W or 39.4521,-104.9022",
        };
        let t = text.trim();
        let (lat, lon) = if let Some(parts) = t.split_once([',', '/']) {
            parts
        } else if let Some(i) = t.find(['N', 'S', 'n', 's']) {
            // the letter is ASCII, so i + 1 is a character boundary
            if i == 0 {
                let j = t
                    .find(['E', 'W', 'e', 'w'])
                    .ok_or_else(|| form("no E or W begins the longitude"))?;
                t.split_at(j)
            } else {
                t.split_at(i + 1)
            }
        } else {
            t.split_once(char::is_whitespace)
                .ok_or_else(|| form("latitude and longitude are not parted"))?
        };
        Position::new(parse_latitude_deg(lat)?, parse_longitude_deg(lon)?)
    }

    /// Latitude, positive north, in -90..=90 (deg).
    pub fn lat_deg(&self) -> f64 {
        self.lat_deg
    }

    /// Longitude, positive east, in -180..=180 (deg).
    pub fn lon_deg(&self) -> f64 {
        self.lon_deg
    }
}

impl std::fmt::Display for Position {
    /// Prints like `39.4521N 104.9022W`, to 1e-4 degree (about 10 m).
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let ns = if self.lat_deg < 0.0 { 'S' } else { 'N' };
        let ew = if self.lon_deg < 0.0 { 'W' } else { 'E' };
        write!(
            f,
            "{:.4}{ns} {:.4}{ew}",
            self.lat_deg.abs(),
            self.lon_deg.abs()
        )
    }
}

fn in_range(what: &'static str, value_deg: f64, limit_deg: f64) -> Result<(), PlaceError> {
    if value_deg.abs() <= limit_deg {
        Ok(())
    } else {
        Err(PlaceError::Range {
            what,
            value_deg,
            limit_deg,
        })
    }
}

/// A longitude brought into -180..=180 degrees; values already there are unchanged, what is not finite becomes 0.
pub fn wrap_longitude_deg(lon_deg: f64) -> f64 {
    if !lon_deg.is_finite() {
        0.0
    } else if lon_deg.abs() <= 180.0 {
        lon_deg
    } else {
        (lon_deg + 180.0).rem_euclid(360.0) - 180.0
    }
}

/// Reads a latitude [deg, positive north] in any form of the module header; also the compact `DDMMN` and `DDMMSSN`.
///
/// # Errors
/// [`PlaceError`] with the text and what is wrong with it.
pub fn parse_latitude_deg(text: &str) -> Result<f64, PlaceError> {
    parse_deg(text, &LATITUDE)
}

/// Reads a longitude [deg, positive east] in any form of the module header; also the compact `DDDMMW` and `DDDMMSSW`.
///
/// # Errors
/// [`PlaceError`] with the text and what is wrong with it.
pub fn parse_longitude_deg(text: &str) -> Result<f64, PlaceError> {
    parse_deg(text, &LONGITUDE)
}

/// What differs between reading a latitude and a longitude.
struct Kind {
    what: &'static str,
    plus: char,
    minus: char,
    limit_deg: f64,
    /// Digits of the degrees in the compact form.
    degree_digits: usize,
    example: &'static str,
}

const LATITUDE: Kind = Kind {
    what: "latitude",
    plus: 'N',
    minus: 'S',
    limit_deg: 90.0,
    degree_digits: 2,
    example: "39.4521, 39.4521N or 39 27 07 N",
};
const LONGITUDE: Kind = Kind {
    what: "longitude",
    plus: 'E',
    minus: 'W',
    limit_deg: 180.0,
    degree_digits: 3,
    example: "-104.9022, 104.9022W or 104 54 08 W",
};

fn parse_deg(text: &str, kind: &Kind) -> Result<f64, PlaceError> {
    let form = |reason: String| PlaceError::Form {
        what: kind.what,
        text: text.trim().to_owned(),
        reason,
        example: kind.example,
    };
    let t = text.trim();
    let hemisphere = |c: char| match c.to_ascii_uppercase() {
        c if c == kind.plus => Some(1.0),
        c if c == kind.minus => Some(-1.0),
        _ => None,
    };
    let first = t
        .chars()
        .next()
        .ok_or_else(|| form("it is empty".to_owned()))?;
    let last = t.chars().next_back().unwrap_or(first);
    let (sign, body) = match (hemisphere(first), hemisphere(last)) {
        (Some(_), Some(_)) if t.len() > 1 => {
            return Err(form("it has two hemisphere letters".to_owned()));
        }
        // the letters are ASCII, so one byte is one character
        (Some(sign), _) => (Some(sign), &t[1..]),
        (None, Some(sign)) => (Some(sign), &t[..t.len() - 1]),
        (None, None) => (None, t),
    };
    let body = body.trim();
    let (sign, body) = match (sign, body.strip_prefix(['-', '−']), body.strip_prefix('+')) {
        (Some(_), Some(_), _) | (Some(_), _, Some(_)) => {
            return Err(form(
                "it has both a sign and a hemisphere letter".to_owned(),
            ));
        }
        (Some(sign), None, None) => (sign, body),
        (None, Some(rest), _) => (-1.0, rest),
        (None, None, Some(rest)) => (1.0, rest),
        (None, None, None) => (1.0, body),
    };
    let body = body.trim_start();
    if !body.starts_with(|c: char| c.is_ascii_digit() || c == '.') {
        return Err(form(
            "no figures follow the sign or letter, if any".to_owned(),
        ));
    }
    let separator = |c: char| c.is_whitespace() || "-:°º'′’\"″”".contains(c);
    let mut parts: Vec<&str> = body.split(separator).filter(|p| !p.is_empty()).collect();
    // compact: DDMM or DDMMSS with no separators (and decimals, if any, on the last part)
    if let [only] = parts[..] {
        let whole = only.split('.').next().unwrap_or(only).len();
        let d = kind.degree_digits;
        if only.is_ascii() && whole == d + 2 {
            parts = vec![&only[..d], &only[d..]];
        } else if only.is_ascii() && whole == d + 4 {
            parts = vec![&only[..d], &only[d..d + 2], &only[d + 2..]];
        }
    }
    if parts.is_empty() || parts.len() > 3 {
        return Err(form(format!(
            "it has {} numbers where 1 to 3 belong",
            parts.len()
        )));
    }
    let mut value = 0.0;
    for (i, part) in parts.iter().enumerate() {
        let plain = part.chars().all(|c| c.is_ascii_digit() || c == '.');
        let number: f64 = match part.parse() {
            Ok(number) if plain => number,
            _ => return Err(form(format!("'{part}' is not a number"))),
        };
        if i + 1 < parts.len() && part.contains('.') {
            return Err(form(format!(
                "'{part}' has decimals though it is not the last part"
            )));
        }
        if i > 0 && number >= 60.0 {
            return Err(form(format!("{part} minutes or seconds is not under 60")));
        }
        value += number / [1.0, 60.0, 3600.0][i];
    }
    let value_deg = sign * value;
    in_range(kind.what, value_deg, kind.limit_deg)?;
    Ok(value_deg)
}
