//! The times of a bulletin in the calendar.

use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan, civil};

use super::{Bulletin, ClockTime, DayTime};

/// Greatest time between data and valid time (h); published products have 6, 12 and 24.
const GREATEST_LEAD_H: i64 = 48;

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
