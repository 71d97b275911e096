//! The heading of a bulletin: its times.

use super::line::{BulletinError, Line};
use super::{BASED_ON, ClockTime, DayTime, WHOLE_TEXT};

/// Level above which temperatures lack their sign, unless the heading says otherwise (ft).
const NEGATIVE_ABOVE_FT: u32 = 24_000;

/// The heading of a bulletin as far as it has been read.
pub(super) struct Heading {
    pub(super) based_on: DayTime,
    pub(super) valid: Option<DayTime>,
    pub(super) for_use: Option<(ClockTime, ClockTime)>,
    pub(super) negative_above_ft: u32,
    pub(super) tables: usize,
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

pub(super) fn read_based_on(line: &Line, text: &str) -> Result<Heading, BulletinError> {
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
pub(super) fn read_times(
    line: &Line,
    text: &str,
    heading: &mut Heading,
) -> Result<bool, BulletinError> {
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
