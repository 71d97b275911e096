//! Weather reports of aerodromes (METAR and SPECI), as text: surface wind, temperature and altimeter setting.
//!
//! A text may hold many reports. One begins on the line with its station and time (`KBNO 311553Z`), perhaps after the word METAR or
//! SPECI, and goes on over the lines after it that begin with a blank, or up to its `=`. Lines outside any report are passed over.
//! The groups are decoded by the `metar` crate. Day and hour are placed in the month that brings them nearest to the flight.
//!
//! Wind of variable direction is taken as a zero vector. Gusts are passed over: what acts along a flight is the mean.
//!
//! Source: ICAO Annex 3, appendix 3, and the forms in the tests of the `metar` crate.

use jiff::{Timestamp, ToSpan, civil, tz::TimeZone};
use metar::{Data, Metar, Pressure, Wind, WindDirection, WindSpeed};

use crate::air::triangle::wind_vector_m_s;
use crate::quantity::{M_S_PER_KT, PA_PER_INHG, ZERO_C_K};

/// What the user can do about a report that cannot be read.
pub const WAY_OUT: &str =
    "correct the report, or leave it out and give altimeter_inhg and [[weather.surface]] by hand";
/// A wind of variable direction stronger than this is remarked upon, kt: reports use VRB to 3 kt, and beyond only where no one
/// direction can be given.
const VARIABLE_KT: f64 = 6.0;

/// A weather report as far as a flight needs it.
#[derive(Debug, Clone, PartialEq)]
pub struct Report {
    /// The aerodrome, four letters.
    pub station: String,
    /// When it was observed.
    pub time: Timestamp,
    /// Vector the air moves along, east and north (m/s), if reported.
    pub wind_m_s: Option<(f64, f64)>,
    /// Temperature (K), if reported.
    pub temperature_k: Option<f64>,
    /// Altimeter setting (Pa), if reported.
    pub altimeter_pa: Option<f64>,
    /// What a careful reader would remark.
    pub notes: Vec<String>,
}

/// Why a report cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: {message}; {WAY_OUT}")]
pub struct ReportError {
    /// Line where it begins, from 1.
    pub line: usize,
    /// What is wrong.
    pub message: String,
}

/// Whether words begin a report: a station and a time, perhaps after METAR or SPECI.
fn begins(line: &str) -> bool {
    let mut words = line.split_whitespace().peekable();
    while words
        .next_if(|w| matches!(*w, "METAR" | "SPECI" | "COR" | "AUTO"))
        .is_some()
    {}
    let (station, time) = (words.next().unwrap_or(""), words.next().unwrap_or(""));
    let figures = |t: &str| t.len() == 6 && t.chars().all(|c| c.is_ascii_digit());
    station.len() == 4
        && station
            .chars()
            .all(|c| c.is_ascii_uppercase() || c.is_ascii_digit())
        && time.strip_suffix('Z').is_some_and(figures)
}

/// Whether a text is a report itself rather than the name of a file.
pub fn looks_like_report(text: &str) -> bool {
    text.lines().any(begins)
}

/// Every report of a text, in order; `near` supplies month and year.
///
/// # Errors
/// [`ReportError`] at the first report that cannot be decoded, or if there is none.
pub fn decode(text: &str, near: Timestamp) -> Result<Vec<Report>, ReportError> {
    let mut found: Vec<(usize, String)> = Vec::new();
    let mut open = false;
    for (i, line) in text.lines().enumerate() {
        if begins(line) {
            found.push((i + 1, String::new()));
            open = true;
        } else if !line.starts_with([' ', '\t']) {
            open = false;
        }
        if let (true, Some((_, report))) = (open, found.last_mut()) {
            for word in line.split_whitespace() {
                if !report.is_empty() {
                    report.push(' ');
                }
                report.push_str(word.trim_end_matches('='));
                open &= !word.ends_with('=');
            }
        }
    }
    if found.is_empty() {
        return Err(ReportError {
            line: 1,
            message: "there is no weather report in this text: none of its lines begins like KBNO 311553Z".into(),
        });
    }
    let read = |(line, report): (usize, String)| {
        one(&report, near).map_err(|message| ReportError { line, message })
    };
    found.into_iter().map(read).collect()
}

/// One report, its words with one blank between them.
fn one(report: &str, near: Timestamp) -> Result<Report, String> {
    let plain = report.strip_prefix("SPECI ").unwrap_or(report);
    let head = report.split(' ').take(8).collect::<Vec<_>>().join(" ");
    // The crate panics on a range of directions that are no numbers.
    let range = |w: &str| w.len() == 7 && w.starts_with("VRBV") | w.ends_with("VVRB");
    if plain.split(' ').any(range) {
        return Err(format!(
            "the weather report \"{head} ...\" has a direction between no directions"
        ));
    }
    let metar = Metar::parse(plain).map_err(|errors| {
        let group = errors.first().and_then(|e| {
            let before = plain.get(..e.start)?;
            let from = before.rfind(' ').map_or(0, |i| i + 1);
            plain.get(from..)?.split(' ').next()
        });
        let at = group
            .filter(|g| !g.is_empty())
            .map_or("to its end".to_owned(), |g| format!("from \"{g}\" on"));
        format!("the weather report \"{head} ...\" cannot be read {at}")
    })?;
    let time = placed(&metar, near)
        .ok_or_else(|| format!("the weather report \"{head} ...\" is of no day of a month"))?;
    let mut notes = Vec::new();
    let wind_m_s = match metar.wind {
        Wind::Calm => Some((0.0, 0.0)),
        Wind::Present { dir, speed, .. } => vector(dir, speed, &mut notes),
    };
    let known = |t: Data<i32>| match t {
        Data::Known(celsius) => Some(f64::from(celsius) + ZERO_C_K),
        Data::Unknown => None,
    };
    let altimeter_pa = match metar.pressure {
        Pressure::Hectopascals(Data::Known(hpa)) => Some(f64::from(hpa) * 100.0),
        Pressure::InchesOfMercury(Data::Known(inhg)) => {
            // two decimals were given, and single precision keeps more
            Some((f64::from(inhg) * 100.0).round() / 100.0 * PA_PER_INHG)
        }
        Pressure::Hectopascals(Data::Unknown) | Pressure::InchesOfMercury(Data::Unknown) => None,
    };
    let in_range = |pa: &f64| {
        let limits = crate::quantity::range("altimeter setting");
        limits.check(*pa / PA_PER_INHG).is_ok()
    };
    if altimeter_pa.is_some_and(|pa| !in_range(&pa)) {
        return Err(format!(
            "the weather report \"{head} ...\" has an altimeter setting that cannot be"
        ));
    }
    if wind_m_s.is_none() {
        notes.push("it has no wind that can be used".to_owned());
    }
    Ok(Report {
        station: metar.station,
        time,
        wind_m_s,
        temperature_k: known(metar.temperature),
        altimeter_pa,
        notes,
    })
}

/// The wind as a vector.
fn vector(dir: WindDirection, speed: WindSpeed, notes: &mut Vec<String>) -> Option<(f64, f64)> {
    let (count, unit_m_s) = match speed {
        WindSpeed::Knots { speed, .. } => (speed, M_S_PER_KT),
        WindSpeed::MetresPerSecond { speed, .. } => (speed, 1.0),
        WindSpeed::KilometresPerHour { speed, .. } => (speed, 1.0 / 3.6),
        WindSpeed::Greater => return None,
    };
    let Data::Known(count) = count else {
        return None;
    };
    let m_s = f64::from(count) * unit_m_s;
    match dir {
        WindDirection::Heading(Data::Known(deg)) => {
            Some(wind_vector_m_s(f64::from(deg).to_radians(), m_s))
        }
        WindDirection::Variable => {
            let kt = m_s / M_S_PER_KT;
            if kt > VARIABLE_KT {
                notes.push(format!(
                    "its wind of {kt:.0} kt has no direction and is taken as calm"
                ));
            }
            Some((0.0, 0.0))
        }
        WindDirection::Heading(Data::Unknown) => (count == 0).then_some((0.0, 0.0)),
    }
}

/// Its time in the month that brings it nearest.
fn placed(metar: &Metar, near: Timestamp) -> Option<Timestamp> {
    let month = TimeZone::UTC.to_datetime(near).date().first_of_month();
    let field = |x: u8| i8::try_from(x).ok();
    let (day, hour, minute) = (
        field(metar.time.date)?,
        field(metar.time.hour)?,
        field(metar.time.minute)?,
    );
    let in_month = |offset: i64| {
        let month = month.checked_add(offset.months()).ok()?;
        let date = civil::Date::new(month.year(), month.month(), day).ok()?;
        let clock = civil::Time::new(hour, minute, 0, 0).ok()?;
        TimeZone::UTC.to_timestamp(date.to_datetime(clock)).ok()
    };
    (-1..=1)
        .filter_map(in_month)
        .min_by_key(|t| (t.as_second() - near.as_second()).abs())
}
