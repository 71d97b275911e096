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

use std::collections::HashMap;
use std::fmt;

use jiff::{Timestamp, ToSpan, civil, tz::TimeZone};

use crate::air::Datum;
use crate::air::triangle::wind_vector_m_s;
use crate::quantity::{M_PER_FT, M_S_PER_KT, ZERO_C_K};

/// First level given as pressure altitude (ft).
const FIRST_PRESSURE_LEVEL_FT: u32 = 18_000;
/// Level above which temperatures lack their sign, unless the heading says otherwise (ft).
const NEGATIVE_ABOVE_FT: u32 = 24_000;
/// Characters of a station identifier.
const ID_WIDTH: usize = 3;
/// Highest label accepted as a level (ft).
const HIGHEST_LEVEL_FT: u32 = 60_000;
/// Greatest time between data and valid time (h); published products have 6, 12 and 24.
const GREATEST_LEAD_H: i64 = 48;
/// Speed coded 99 with 100 added: "199 knots or more".
const CAPPED_SPEED_KT: u32 = 199;
/// Longest excerpt of offending text quoted in an error, in characters.
const QUOTE_LENGTH: usize = 40;

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

/// A remark on a bulletin or on a wind field made from bulletins.
#[derive(Debug, Clone, PartialEq)]
pub enum Note {
    /// A row has nothing at levels above one it does give: the line may have been cut short.
    CutShort {
        /// Line, from 1.
        line: usize,
        /// Station.
        station: String,
        /// Lowest level without a forecast above one with (ft).
        level_ft: u32,
    },
    /// A station has two rows; the first is used.
    Repeated {
        /// Line of the second row, from 1.
        line: usize,
        /// Station.
        station: String,
        /// Whether both rows say the same.
        same: bool,
    },
    /// A row without any forecast.
    EmptyRow {
        /// Line, from 1.
        line: usize,
        /// Station.
        station: String,
    },
    /// A wind of 199 knots or more, of which only 199 is known.
    Capped {
        /// Line, from 1.
        line: usize,
        /// Station.
        station: String,
        /// Level (ft).
        level_ft: u32,
    },
    /// The heading has no period of use; three hours around the valid time are assumed.
    NoPeriodOfUse {
        /// Line of the table's heading, from 1.
        line: usize,
    },
    /// A station's position is not known, so that its column is not used.
    UnknownStation {
        /// Station.
        station: String,
    },
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Note::CutShort {
                line,
                station,
                level_ft,
            } => write!(
                f,
                "line {line}: {station} has nothing at {level_ft} ft above levels it does give; the line may be cut short"
            ),
            Note::Repeated {
                line,
                station,
                same: true,
            } => {
                write!(f, "line {line}: {station} is repeated with the same values")
            }
            Note::Repeated {
                line,
                station,
                same: false,
            } => write!(
                f,
                "line {line}: {station} is repeated with other values; its first row is used"
            ),
            Note::EmptyRow { line, station } => {
                write!(f, "line {line}: {station} has no forecast at any level")
            }
            Note::Capped {
                line,
                station,
                level_ft,
            } => write!(
                f,
                "line {line}: {station} at {level_ft} ft is coded 199 kt, which means 199 kt or more"
            ),
            Note::NoPeriodOfUse { line } => write!(
                f,
                "line {line}: the heading has no FOR USE period; three hours around the valid time are assumed"
            ),
            Note::UnknownStation { station } => {
                write!(
                    f,
                    "the position of {station} is not known, so it is not used; give it to use it"
                )
            }
        }
    }
}

/// So many stations are named where many cannot be used.
const NAMED: usize = 4;

/// Remarks as text, those on stations without a position in one.
pub fn in_short(notes: &[Note]) -> Vec<String> {
    let mut unknown: Vec<&str> = Vec::new();
    let mut out: Vec<String> = Vec::new();
    for note in notes {
        match note {
            Note::UnknownStation { station } => unknown.push(station),
            other => out.push(other.to_string()),
        }
    }
    let (some, others) = unknown.split_at(unknown.len().min(NAMED));
    if !unknown.is_empty() {
        let others = match others.len() {
            0 => String::new(),
            count => format!(" and {count} more"),
        };
        out.push(format!(
            "not used, their positions being unknown: {}{others}",
            some.join(", ")
        ));
    }
    out
}

/// Why a bulletin could not be decoded: where, what stands there, what was expected, and the way out.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("reading the winds-aloft bulletin, line {line}, column {column}{}: found '{found}', expected {expected}; {way_out}", station.as_ref().map(|s| format!(", station {s}")).unwrap_or_default())]
pub struct BulletinError {
    /// Line, from 1.
    pub line: usize,
    /// Column, from 1.
    pub column: usize,
    /// The station of the row, when one is known.
    pub station: Option<String>,
    /// The offending text.
    pub found: String,
    /// What was expected there.
    pub expected: String,
    /// What the user can do.
    pub way_out: &'static str,
}

/// Way out for damage in the body of a bulletin.
const FETCH_AGAIN: &str = "fetch the bulletin again, or delete this row to do without the station";
/// Way out for damage in the heading.
const WHOLE_TEXT: &str =
    "give the whole bulletin, from its DATA BASED ON line to its last row, as plain text";

fn quote(text: &str) -> String {
    let trimmed = text.trim();
    let mut quoted: String = trimmed.chars().take(QUOTE_LENGTH).collect();
    if trimmed.chars().count() > QUOTE_LENGTH {
        quoted.push_str("...");
    }
    quoted
}

/// A line of the text, upper case, without line end, outer control characters and trailing blanks.
struct Line {
    number: usize,
    chars: Vec<char>,
}

impl Line {
    fn text(&self) -> String {
        self.chars.iter().collect()
    }

    fn indent(&self) -> usize {
        self.chars.iter().take_while(|c| **c == ' ').count()
    }

    fn is_blank(&self) -> bool {
        self.indent() == self.chars.len()
    }

    fn error(
        &self,
        column: usize,
        found: &str,
        expected: &str,
        way_out: &'static str,
    ) -> BulletinError {
        BulletinError {
            line: self.number,
            column: column + 1,
            station: None,
            found: quote(found),
            expected: expected.to_owned(),
            way_out,
        }
    }
}

fn lines(text: &str) -> Vec<Line> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    text.split('\n')
        .enumerate()
        .map(|(i, raw)| {
            let raw = raw.trim_end_matches(|c: char| c.is_whitespace() || c.is_control());
            let raw = raw.trim_start_matches(|c: char| c.is_control() && c != '\t');
            Line {
                number: i + 1,
                chars: raw.chars().map(|c| c.to_ascii_uppercase()).collect(),
            }
        })
        .collect()
}

/// The heading of a bulletin as far as it has been read.
struct Heading {
    based_on: DayTime,
    valid: Option<DayTime>,
    for_use: Option<(ClockTime, ClockTime)>,
    negative_above_ft: u32,
    tables: usize,
}

/// A table being read.
struct Table {
    bulletin: Bulletin,
    /// Column of the `F` of `FT`.
    margin: usize,
    negative_above_ft: u32,
    /// Line of the `FT` heading.
    line: usize,
    /// Where each station stands in the bulletin, so that a long text stays quick to read.
    index: HashMap<String, usize>,
}

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

/// Number of characters in front of a byte position.
fn column_of(text: &str, byte: usize) -> usize {
    text.get(..byte).map_or(0, |before| before.chars().count())
}

/// The text after a keyword, blanks skipped, and the byte position where it begins.
fn after<'a>(text: &'a str, keyword: &str) -> Option<(usize, &'a str)> {
    let begin = text.find(keyword)? + keyword.len();
    let rest = text.get(begin..)?;
    let word = rest.trim_start();
    Some((begin + rest.len() - word.len(), word))
}

/// Splits leading digits off a text.
fn digits(text: &str) -> (&str, &str) {
    text.split_at(
        text.find(|c: char| !c.is_ascii_digit())
            .unwrap_or(text.len()),
    )
}

/// Splits a time of `width` digits with an optional `Z` off a text.
fn time_digits(text: &str, width: usize) -> Option<(&str, &str)> {
    let (number, rest) = digits(text);
    (number.len() == width).then(|| (number, rest.strip_prefix('Z').unwrap_or(rest)))
}

fn clock(number: &str, last_hour: i8) -> Option<ClockTime> {
    let hour: i8 = number.get(..2)?.parse().ok()?;
    let minute: i8 = number.get(2..)?.parse().ok()?;
    let inside = hour <= last_hour && minute <= 59 && (hour < 24 || minute == 0);
    inside.then_some(ClockTime { hour, minute })
}

fn day_time(text: &str) -> Option<DayTime> {
    let (number, rest) = time_digits(text, 6)?;
    if rest.starts_with(|c: char| c.is_ascii_alphanumeric()) {
        return None;
    }
    let day: i8 = number.get(..2)?.parse().ok()?;
    let clock = clock(number.get(2..)?, 23)?;
    (1..=31).contains(&day).then_some(DayTime { day, clock })
}

fn period(text: &str) -> Option<(ClockTime, ClockTime)> {
    let (from, rest) = time_digits(text, 4)?;
    let rest = rest.trim_start().strip_prefix('-')?.trim_start();
    let (to, _) = time_digits(rest, 4)?;
    Some((clock(from, 24)?, clock(to, 24)?))
}

fn read_based_on(line: &Line, text: &str) -> Result<Heading, BulletinError> {
    let (at, word) = after(text, BASED_ON).unwrap_or((0, ""));
    let based_on = day_time(word).ok_or_else(|| {
        line.error(
            column_of(text, at),
            word,
            "day, hour and minute like 310000Z",
            WHOLE_TEXT,
        )
    })?;
    Ok(Heading {
        based_on,
        valid: None,
        for_use: None,
        negative_above_ft: NEGATIVE_ABOVE_FT,
        tables: 0,
    })
}

/// Reads `VALID`, `FOR USE` and `TEMPS NEG ABV` where a heading line has them; whether it had any.
fn read_times(line: &Line, text: &str, heading: &mut Heading) -> Result<bool, BulletinError> {
    let mut any = false;
    if let Some((at, word)) = after(text, "VALID") {
        heading.valid = Some(day_time(word).ok_or_else(|| {
            line.error(
                column_of(text, at),
                word,
                "day, hour and minute like 310600Z",
                WHOLE_TEXT,
            )
        })?);
        any = true;
    }
    if let Some((at, word)) = after(text, "FOR USE") {
        heading.for_use = Some(period(word).ok_or_else(|| {
            line.error(
                column_of(text, at),
                word,
                "a period like 0200-0900Z",
                WHOLE_TEXT,
            )
        })?);
        any = true;
    }
    if let Some((at, word)) = after(text, "TEMPS NEG ABV") {
        heading.negative_above_ft = digits(word).0.parse().map_err(|_| {
            line.error(column_of(text, at), word, "a height like 24000", WHOLE_TEXT)
        })?;
        any = true;
    }
    Ok(any)
}

fn begin_table(
    line: &Line,
    text: &str,
    heading: Option<&mut Heading>,
) -> Result<Table, BulletinError> {
    let Some(open) = heading else {
        return Err(line.error(0, text, "a DATA BASED ON line before the table", WHOLE_TEXT));
    };
    let Some(valid) = open.valid else {
        return Err(line.error(
            0,
            text,
            "a VALID line like VALID 310600Z before it",
            WHOLE_TEXT,
        ));
    };
    open.tables += 1;
    let notes = match open.for_use {
        Some(_) => Vec::new(),
        None => vec![Note::NoPeriodOfUse { line: line.number }],
    };
    Ok(Table {
        bulletin: Bulletin {
            based_on: open.based_on,
            valid,
            for_use: open.for_use,
            levels: read_levels(line)?,
            stations: Vec::new(),
            notes,
        },
        margin: line.indent(),
        negative_above_ft: open.negative_above_ft,
        line: line.number,
        index: HashMap::new(),
    })
}

/// The levels of an `FT` line and their columns.
fn read_levels(line: &Line) -> Result<Vec<Level>, BulletinError> {
    const WAY_OUT: &str = "restore the FT line as issued; the columns of the table hang on it";
    let margin = line.indent();
    let chars = line.chars.get(margin..).unwrap_or(&[]);
    let mut levels: Vec<Level> = Vec::new();
    // past the two letters FT
    let mut i = 2;
    while let Some(&c) = chars.get(i) {
        if c == ' ' {
            i += 1;
            continue;
        }
        let label: String = chars.iter().skip(i).take_while(|c| **c != ' ').collect();
        let last = i + label.chars().count() - 1;
        let wrong = |expected: &str| line.error(margin + i, &label, expected, WAY_OUT);
        let label_ft: u32 = match label.parse() {
            Ok(ft) if label.len() >= 4 && ft <= HIGHEST_LEVEL_FT && ft > 0 => ft,
            _ => return Err(wrong("a level in feet, like 9000")),
        };
        if levels
            .last()
            .is_some_and(|below| label_ft <= below.label_ft)
        {
            return Err(wrong("levels that rise from left to right"));
        }
        let first = levels.last().map_or(ID_WIDTH, |below| below.columns.1 + 1);
        // a separating blank and the four figures of a wind
        if last < first + 4 {
            return Err(wrong("labels far enough apart for the groups under them"));
        }
        levels.push(Level {
            label_ft,
            height_m: f64::from(label_ft) * M_PER_FT,
            datum: if label_ft < FIRST_PRESSURE_LEVEL_FT {
                Datum::TrueAltitude
            } else {
                Datum::PressureAltitude
            },
            columns: (first, last),
        });
        i = last + 1;
    }
    if levels.is_empty() {
        return Err(line.error(margin + 2, &line.text(), "levels after FT", WAY_OUT));
    }
    Ok(levels)
}

impl Table {
    fn read_row(&mut self, line: &Line) -> Result<(), BulletinError> {
        let row = line.chars.get(self.margin..).unwrap_or(&[]);
        let id: String = row.iter().take(ID_WIDTH).collect();
        let in_place = line.indent() == self.margin;
        if !in_place || id.len() != ID_WIDTH || !id.chars().all(|c| c.is_ascii_alphanumeric()) {
            return Err(line.error(
                line.indent(),
                &line.text(),
                &format!(
                    "a station of three letters or figures from column {}",
                    self.margin + 1
                ),
                FETCH_AGAIN,
            ));
        }
        if let Some(tab) = row.iter().position(|c| *c == '\t') {
            let mut error = line.error(
                self.margin + tab,
                "a tab",
                "blanks, since columns count",
                "save the bulletin as plain text with its blanks",
            );
            error.station = Some(id);
            return Err(error);
        }
        let levels = self.read_fields(line, row).map_err(|mut error| {
            error.station = Some(id.clone());
            error
        })?;
        self.remark(line.number, &id, &levels);
        if !self.index.contains_key(&id) {
            self.index.insert(id.clone(), self.bulletin.stations.len());
            self.bulletin.stations.push(StationForecast {
                id,
                levels,
                line: line.number,
            });
        }
        Ok(())
    }

    fn read_fields(&self, line: &Line, row: &[char]) -> Result<Vec<Option<Group>>, BulletinError> {
        let mut groups = Vec::with_capacity(self.bulletin.levels.len());
        let mut end = ID_WIDTH;
        for level in &self.bulletin.levels {
            let (first, last) = level.columns;
            end = last + 1;
            let field: Vec<char> = row
                .iter()
                .skip(first)
                .take(last + 1 - first)
                .copied()
                .collect();
            let text: String = field.iter().collect();
            let lead = field.iter().take_while(|c| **c == ' ').count();
            if lead == field.len() {
                groups.push(None);
                continue;
            }
            let group = text.trim();
            let wrong = |expected: &str| {
                line.error(self.margin + first + lead, group, expected, FETCH_AGAIN)
            };
            if lead == 0 {
                // show the whole word that stands across the boundary
                let from = row
                    .iter()
                    .take(first)
                    .rposition(|c| *c == ' ')
                    .map_or(0, |i| i + 1);
                let word: String = row.iter().skip(from).take_while(|c| **c != ' ').collect();
                return Err(line.error(
                    self.margin + from,
                    &word,
                    &format!(
                        "a blank in column {} before the group at {} ft",
                        self.margin + first + 1,
                        level.label_ft
                    ),
                    FETCH_AGAIN,
                ));
            }
            groups.push(Some(
                read_group(group, level, self.negative_above_ft).map_err(|e| wrong(&e))?,
            ));
        }
        if let Some(extra) = row.iter().skip(end).position(|c| *c != ' ') {
            let text: String = row.iter().skip(end + extra).collect();
            return Err(line.error(
                self.margin + end + extra,
                &text,
                "nothing after the field of the last level",
                FETCH_AGAIN,
            ));
        }
        Ok(groups)
    }

    fn remark(&mut self, line: usize, id: &str, levels: &[Option<Group>]) {
        let station = id.to_owned();
        let notes = &mut self.bulletin.notes;
        let first = self
            .index
            .get(id)
            .and_then(|i| self.bulletin.stations.get(*i));
        if let Some(first) = first {
            notes.push(Note::Repeated {
                line,
                station,
                same: first.levels == levels,
            });
            return;
        }
        let given = levels.iter().position(Option::is_some);
        let Some(given) = given else {
            notes.push(Note::EmptyRow { line, station });
            return;
        };
        for (level, group) in self.bulletin.levels.iter().zip(levels) {
            if group.is_some_and(|g| g.capped) {
                let station = station.clone();
                notes.push(Note::Capped {
                    line,
                    station,
                    level_ft: level.label_ft,
                });
            }
        }
        let missing = levels.iter().skip(given).position(Option::is_none);
        if let Some(level) = missing.and_then(|i| self.bulletin.levels.get(given + i)) {
            notes.push(Note::CutShort {
                line,
                station,
                level_ft: level.label_ft,
            });
        }
    }
}

/// Decodes one group, blanks removed, by the table of the module header; the error says what was expected.
fn read_group(group: &str, level: &Level, negative_above_ft: u32) -> Result<Group, String> {
    let unsigned = level.label_ft > negative_above_ft;
    let form = || {
        let examples = if unsigned {
            "273645 or 990045"
        } else {
            "2715, 2715+05, 2715-05 or 9900"
        };
        format!("a group like {examples} at {} ft", level.label_ft)
    };
    if !group.is_ascii() {
        return Err(form());
    }
    let (wind, temperature) = group.split_at(group.len().min(4));
    if wind.len() != 4 || !wind.chars().all(|c| c.is_ascii_digit()) {
        return Err(form());
    }
    let two_figures = |t: &str| -> Option<f64> {
        let plain = t.len() == 2 && t.chars().all(|c| c.is_ascii_digit());
        t.parse().ok().filter(|_| plain)
    };
    let celsius = match temperature.chars().next() {
        None if unsigned => return Err(form()),
        None => None,
        Some('-') => Some(-two_figures(&temperature[1..]).ok_or_else(form)?),
        Some('+') if !unsigned => Some(two_figures(&temperature[1..]).ok_or_else(form)?),
        Some(_) if unsigned => Some(-two_figures(temperature).ok_or_else(form)?),
        Some(_) => return Err(form()),
    };
    if celsius.is_some_and(|c| c > HOTTEST_C) {
        return Err(format!(
            "a temperature of at most +{HOTTEST_C} degrees Celsius"
        ));
    }
    let tens: u32 = wind[..2].parse().map_err(|_| form())?;
    let knots: u32 = wind[2..].parse().map_err(|_| form())?;
    let temperature_k = celsius.map(|c| c + ZERO_C_K);
    let (tens, knots) = match tens {
        1..=36 => (tens, knots),
        51..=86 => (tens - 50, knots + 100),
        99 if knots == 0 => {
            return Ok(Group {
                wind: Wind::LightAndVariable,
                temperature_k,
                capped: false,
            });
        }
        _ => {
            return Err("a direction of 01 to 36, 51 to 86 from 100 knots, or 9900".to_owned());
        }
    };
    Ok(Group {
        wind: Wind::From {
            direction_rad: f64::from(tens * 10).to_radians(),
            speed_m_s: f64::from(knots) * M_S_PER_KT,
        },
        temperature_k,
        capped: knots == CAPPED_SPEED_KT,
    })
}

/// Hottest temperature accepted (degrees Celsius); no free air at a bulletin's levels comes near it.
const HOTTEST_C: f64 = 60.0;

/// The times of a bulletin, with month and year.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ResolvedTimes {
    /// Time of the data.
    pub data: Timestamp,
    /// Time the forecast is for.
    pub valid: Timestamp,
    /// Start of the period of use.
    pub use_from: Timestamp,
    /// End of the period of use.
    pub use_to: Timestamp,
}

/// Why the times of a bulletin make no sense.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TimesError {
    /// No month near the reference has these two days with the data before the valid time and within 48 hours.
    #[error(
        "placing the bulletin in the calendar: data of {based_on} and valid time {valid} (day, hour, minute) do not fit \
         any month near {reference}; data must come before the valid time by 48 h at most"
    )]
    Calendar {
        /// Time of the data.
        based_on: DayTime,
        /// Valid time.
        valid: DayTime,
        /// The reference date.
        reference: Timestamp,
    },
    /// The valid time lies outside the period of use.
    #[error(
        "placing the bulletin in the calendar: its valid time {valid} lies outside its period of use {from} to {to}"
    )]
    PeriodOfUse {
        /// Valid time.
        valid: DayTime,
        /// Start of the period.
        from: ClockTime,
        /// End of the period.
        to: ClockTime,
    },
}

/// Gives a bulletin's times their month and year: those that bring the valid time nearest to `reference` and the data
/// time before it by 48 hours at most. The period of use is the one around the valid time; it may cross midnight. Without
/// one, three hours before and after the valid time are taken.
///
/// # Errors
/// [`TimesError`] when no month within two of the reference fits, or the period of use does not hold the valid time.
pub fn resolve_times(
    bulletin: &Bulletin,
    reference: Timestamp,
) -> Result<ResolvedTimes, TimesError> {
    const HOUR_S: i64 = 3_600;
    const DAY_S: i64 = 24 * HOUR_S;
    let calendar = || TimesError::Calendar {
        based_on: bulletin.based_on,
        valid: bulletin.valid,
        reference,
    };
    let month = TimeZone::UTC.to_datetime(reference).date().first_of_month();
    let in_month = |offset: i64, time: DayTime| -> Option<i64> {
        let month = month.checked_add(offset.months()).ok()?;
        let date = civil::Date::new(month.year(), month.month(), time.day).ok()?;
        let time = date.at(time.clock.hour, time.clock.minute, 0, 0);
        Some(TimeZone::UTC.to_timestamp(time).ok()?.as_second())
    };
    let (data_s, valid_s) = (-2..=2)
        .filter_map(|offset| {
            let valid_s = in_month(offset, bulletin.valid)?;
            let data_s = [offset - 1, offset]
                .into_iter()
                .filter_map(|offset| in_month(offset, bulletin.based_on))
                .filter(|data_s| (0..=GREATEST_LEAD_H * HOUR_S).contains(&(valid_s - data_s)))
                .max()?;
            Some((data_s, valid_s))
        })
        .min_by_key(|(_, valid_s)| (valid_s - reference.as_second()).abs())
        .ok_or_else(calendar)?;
    let (from_s, to_s) = match bulletin.for_use {
        None => (valid_s - 3 * HOUR_S, valid_s + 3 * HOUR_S),
        Some((from, to)) => {
            let seconds = |c: ClockTime| i64::from(c.hour) * HOUR_S + i64::from(c.minute) * 60;
            let midnight_s = valid_s - seconds(bulletin.valid.clock);
            let mut from_s = midnight_s + seconds(from);
            if from_s > valid_s {
                from_s -= DAY_S;
            }
            let mut to_s = from_s - seconds(from) + seconds(to);
            if to_s <= from_s {
                to_s += DAY_S;
            }
            if valid_s > to_s {
                return Err(TimesError::PeriodOfUse {
                    valid: bulletin.valid,
                    from,
                    to,
                });
            }
            (from_s, to_s)
        }
    };
    let stamp = |s: i64| Timestamp::from_second(s).map_err(|_| calendar());
    Ok(ResolvedTimes {
        data: stamp(data_s)?,
        valid: stamp(valid_s)?,
        use_from: stamp(from_s)?,
        use_to: stamp(to_s)?,
    })
}
