//! US winds- and temperatures-aloft bulletins (FB, formerly FD), as text.
//!
//! # What is read
//! Low-level products (3,000 to 39,000 ft), high-level products (45,000 and 53,000 ft) and regional extracts, alone or one
//! after another in one file. A bulletin begins at `DATA BASED ON`; headings before that line (`000`, `FBUS31 KWNO ...`,
//! `FD1US1`, `(Extracted from ...)`, mail headers) carry nothing needed and are passed over. `VALID` and `FOR USE` may
//! stand on that line or on following ones. Byte-order mark, CR LF, trailing blanks, control characters at line ends
//! and a common left margin are tolerated; tabs in a table are not, since they destroy its columns.
//!
//! # Columns
//! The heading line `FT  3000    6000 ...` fixes the columns: the field of a level ends in the column in which its label
//! ends, and begins after the field before it (the first one after the three characters of the station), its first column
//! being blank. Fields differ in width between products, and blank fields are common, so a row is never split on blanks.
//!
//! # Coding of a group
//! | text | meaning |
//! | --- | --- |
//! | `DDff` | wind from DD x 10 degrees true at ff knots, no temperature |
//! | `DDff+TT`, `DDff-TT` | the same with the temperature in degrees Celsius |
//! | `DDffTT` | above 24,000 ft (or the level the heading names): the temperature is negative, its sign left out |
//! | `99ff` with ff = 00 | light and variable (under 5 knots), with or without temperature |
//! | DD from 51 to 86 | subtract 50 from DD and add 100 to ff |
//! | DD from 51 to 86 with ff = 99 | 199 knots *or more*: flagged as capped |
//! | blank | not forecast (no wind within 1,500 ft of the ground, no temperature within 2,500 ft) |
//!
//! Anything else is an error that names line, column and station. DD = 00 is refused: north is coded 36.
//!
//! Levels below 18,000 ft are true altitude, those from 18,000 ft pressure altitude.
//!
//! Source: FAA Pilot's Handbook of Aeronautical Knowledge, ch. 12 (reprinted at flightlearnings.com/2011/11/24); the rules
//! agree with every group of the bulletins in `tests/data/fb`.

mod heading;
mod line;
mod note;
mod table;
mod times;

pub use line::BulletinError;
pub use note::{Note, in_short};
pub(super) use table::datum_of_level;
pub use times::{ResolvedTimes, TimesError, resolve_times};

use std::fmt;

use crate::air::Datum;
use crate::air::triangle::wind_vector_m_s;
use heading::{Heading, read_based_on, read_times};
use line::{Line, lines};
use table::{Table, begin_table};

/// Characters of a station identifier.
const ID_WIDTH: usize = 3;

/// A time of a bulletin: day of the month, hour and minute, UTC. Month and year are not in the text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct DayTime {
    /// Day of the month, 1..=31.
    pub day: i8,
    /// Clock time.
    pub clock: ClockTime,
}

/// A clock time, UTC. `2400` is accepted in a period of use and means midnight at the end of the day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct ClockTime {
    /// Hour, 0..=24.
    pub hour: i8,
    /// Minute, 0..=59.
    pub minute: i8,
}

impl fmt::Display for DayTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:02}{}", self.day, self.clock)
    }
}

impl fmt::Display for ClockTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:02}{:02}Z", self.hour, self.minute)
    }
}

/// A level of a bulletin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// The label as printed (ft), for messages.
    pub label_ft: u32,
    /// The same in metres.
    pub height_m: f64,
    /// True altitude below 18,000 ft, pressure altitude from there.
    pub datum: Datum,
    /// First and last column of its field, counted from 0 at the `F` of `FT`.
    pub columns: (usize, usize),
}

/// Wind as coded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Wind {
    /// Under 5 knots from no particular direction; a zero vector in the wind field.
    LightAndVariable,
    /// From a true direction, at a speed.
    From {
        /// True direction the wind blows from, in `(0, 2 pi]` as coded (north is 2 pi) (rad).
        direction_rad: f64,
        /// Speed (m/s).
        speed_m_s: f64,
    },
}

/// One forecast: wind, perhaps temperature, at one level of one station.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Group {
    /// The wind.
    pub wind: Wind,
    /// The temperature (K), when given.
    pub temperature_k: Option<f64>,
    /// The speed was coded 199 knots, which means "199 or more".
    pub capped: bool,
}

impl Group {
    /// Vector the air moves along, `(u east, v north)` (m/s); zero for light and variable.
    pub fn vector_m_s(&self) -> (f64, f64) {
        match self.wind {
            Wind::LightAndVariable => (0.0, 0.0),
            Wind::From {
                direction_rad,
                speed_m_s,
            } => wind_vector_m_s(direction_rad, speed_m_s),
        }
    }

    /// Wind speed (m/s); zero for light and variable.
    pub fn speed_m_s(&self) -> f64 {
        match self.wind {
            Wind::LightAndVariable => 0.0,
            Wind::From { speed_m_s, .. } => speed_m_s,
        }
    }
}

/// A row of a bulletin.
#[derive(Debug, Clone, PartialEq)]
pub struct StationForecast {
    /// Identifier, such as `DEN`.
    pub id: String,
    /// One entry per level of the bulletin; `None` is "not forecast".
    pub levels: Vec<Option<Group>>,
    /// Line of the text, from 1.
    pub line: usize,
}

/// A decoded bulletin: one table of forecasts for one valid time.
#[derive(Debug, Clone, PartialEq)]
pub struct Bulletin {
    /// Time of the data the forecast starts from.
    pub based_on: DayTime,
    /// Time the forecast is for.
    pub valid: DayTime,
    /// Start and end of the period of use. Some old headings have none.
    pub for_use: Option<(ClockTime, ClockTime)>,
    /// The levels, lowest first.
    pub levels: Vec<Level>,
    /// The rows, in the order of the text.
    pub stations: Vec<StationForecast>,
    /// What a careful reader would remark.
    pub notes: Vec<Note>,
}

/// Way out for damage in the heading.
const WHOLE_TEXT: &str =
    "give the whole bulletin, from its DATA BASED ON line to its last row, as plain text";

/// Decodes every bulletin of a text, in order.
///
/// Two bulletins of one text may have the same or different times and levels; nothing is merged here. The result is
/// never empty, and no bulletin in it is without rows.
///
/// # Errors
/// [`BulletinError`] at the first place that breaks the rules of the module header: no bulletin at all, a heading
/// without times or table, a group that is malformed or stands across a column, or a line in a table that is no row.
pub fn decode(text: &str) -> Result<Vec<Bulletin>, BulletinError> {
    let lines = lines(text);
    let mut bulletins: Vec<Bulletin> = Vec::new();
    let mut heading: Option<Heading> = None;
    let mut table: Option<Table> = None;
    for line in lines.iter().filter(|line| !line.is_blank()) {
        let text = line.text();
        if text.contains(BASED_ON) {
            finish(&mut table, &mut bulletins)?;
            has_table(&heading, line)?;
            let mut open = read_based_on(line, &text)?;
            read_times(line, &text, &mut open)?;
            heading = Some(open);
        } else if text.split_whitespace().next() == Some("FT") {
            finish(&mut table, &mut bulletins)?;
            table = Some(begin_table(line, &text, heading.as_mut())?);
        } else if ends_table(&text) {
            finish(&mut table, &mut bulletins)?;
        } else if let Some(open) = &mut table {
            open.read_row(line)?;
        } else if let Some(open) = &mut heading {
            let times = open.tables == 0 && read_times(line, &text, open)?;
            if !times && looks_like_row(&text) {
                return Err(line.error(
                    0,
                    &text,
                    "no row here: the table has no FT line above it, or has ended",
                    WHOLE_TEXT,
                ));
            }
        }
    }
    finish(&mut table, &mut bulletins)?;
    let end = Line {
        number: lines.len(),
        chars: Vec::new(),
    };
    has_table(&heading, &end)?;
    if bulletins.is_empty() {
        return Err(end.error(0, END_OF_TEXT, "a line with DATA BASED ON", WHOLE_TEXT));
    }
    Ok(bulletins)
}

/// The words that begin a bulletin.
const BASED_ON: &str = "DATA BASED ON";
/// What is "found" when the text ends too early.
const END_OF_TEXT: &str = "the end of the text";

/// A heading must have had a table by the time the next one, or the end, is reached at `line`.
fn has_table(heading: &Option<Heading>, line: &Line) -> Result<(), BulletinError> {
    if heading.as_ref().is_some_and(|h| h.tables == 0) {
        let text = line.text();
        let found = if line.chars.is_empty() {
            END_OF_TEXT
        } else {
            &text
        };
        return Err(line.error(
            0,
            found,
            "a line beginning with FT and the levels",
            WHOLE_TEXT,
        ));
    }
    Ok(())
}

fn finish(table: &mut Option<Table>, bulletins: &mut Vec<Bulletin>) -> Result<(), BulletinError> {
    if let Some(done) = table.take() {
        if done.bulletin.stations.is_empty() {
            let line = Line {
                number: done.line,
                chars: Vec::new(),
            };
            return Err(line.error(
                0,
                "a table without rows",
                "at least one station",
                WHOLE_TEXT,
            ));
        }
        bulletins.push(done.bulletin);
    }
    Ok(())
}

/// Whether a line stands outside every table: message numbers, WMO and AWIPS headings, end marks, mark-up.
fn ends_table(text: &str) -> bool {
    let t = text.trim();
    let mut words = t.split_whitespace();
    let (Some(first), second) = (words.next(), words.next()) else {
        return false;
    };
    let is_wmo = |w: &str| {
        w.len() == 6
            && w.chars().take(4).all(|c| c.is_ascii_alphabetic())
            && w.chars().skip(4).all(|c| c.is_ascii_digit())
    };
    if t.starts_with(['(', '<', '$', '&', '=']) || is_wmo(first) {
        return true;
    }
    let alone = second.is_none();
    let number = first.chars().all(|c| c.is_ascii_digit());
    let code = (4..=6).contains(&first.len()) && first.chars().all(|c| c.is_ascii_alphanumeric());
    alone && (number || code)
}

/// Whether a line outside a table has the look of a row: a station and at least one group, and nothing else.
fn looks_like_row(text: &str) -> bool {
    let mut words = text.split_whitespace();
    let id = words.next().unwrap_or("");
    let mut groups = words.peekable();
    id.len() == ID_WIDTH
        && id.chars().all(|c| c.is_ascii_alphanumeric())
        && groups.peek().is_some()
        && groups.all(|w| {
            matches!(w.len(), 4 | 6 | 7)
                && w.chars().all(|c| c.is_ascii_digit() || "+-".contains(c))
        })
}
