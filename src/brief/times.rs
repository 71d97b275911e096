//! Times of the day: Coordinated Universal Time, and a zone that the pilot names.

use super::marks::Calendar;
use crate::solve::Plan;
use crate::trip::Problem;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use schemars::JsonSchema;
use serde::Serialize;

/// When the flight is where, to the minute: start down never late, the rest never early.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct TimesFigures {
    /// Start-up, or now in flight.
    pub start_utc: String,
    /// Take-off; none in flight.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub take_off_utc: Option<String>,
    /// Top of descent.
    pub top_of_descent_utc: String,
    /// Landing.
    pub landing_utc: String,
    /// The same in a zone, where one was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub zone: Option<ZoneFigures>,
}

/// The same times in a zone.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ZoneFigures {
    /// Its name in the time zone database.
    pub name: String,
    /// Start-up, or now in flight, with the offset from UTC.
    pub start: String,
    /// Take-off; none in flight.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub take_off: Option<String>,
    /// Top of descent.
    pub top_of_descent: String,
    /// Landing.
    pub landing: String,
}

/// A whole minute \[s\], down or up.
fn minute(time: Timestamp, up: bool) -> String {
    let past = time.as_second().rem_euclid(60);
    let whole = time.as_second() - past + if up && past > 0 { 60 } else { 0 };
    Timestamp::from_second(whole).unwrap_or(time).to_string()
}

impl TimesFigures {
    /// Of a plan.
    pub(super) fn new(plan: &Plan, problem: &Problem, calendar: &Calendar) -> Self {
        let in_flight = problem.start != crate::trip::Start::Ground;
        Self {
            start_utc: minute(problem.departure_time, false),
            take_off_utc: (!in_flight).then(|| minute(calendar.at(0.0), true)),
            top_of_descent_utc: minute(calendar.at(plan.flown.top_of_descent.time_s), false),
            landing_utc: minute(calendar.at(plan.totals.time_s), true),
            zone: None,
        }
    }

    /// With the same in a zone.
    pub(super) fn in_zone(mut self, zone: &TimeZone) -> Self {
        let there = |utc: &str| -> String {
            // Invariant: written as a time above.
            let time: Timestamp = utc.parse().unwrap_or(Timestamp::UNIX_EPOCH);
            let local = time.to_zoned_datetime(zone.clone());
            local.strftime("%Y-%m-%dT%H:%M%:z").to_string()
        };
        self.zone = Some(ZoneFigures {
            name: zone.iana_name().unwrap_or("UTC").to_owned(),
            start: there(&self.start_utc),
            take_off: self.take_off_utc.as_deref().map(there),
            top_of_descent: there(&self.top_of_descent_utc),
            landing: there(&self.landing_utc),
        });
        self
    }

    /// In a line of the sheet.
    pub(super) fn words(&self) -> String {
        let short = |iso: &str| iso.get(11..16).unwrap_or("").to_owned();
        let day = self.start_utc.get(..10).unwrap_or("");
        let first = if self.take_off_utc.is_some() {
            "start-up"
        } else {
            "now"
        };
        let each = |take_off: Option<&String>, rest: [&String; 3], z: &str| {
            let [start, down, landing] = rest.map(|t| short(t));
            let off = take_off.map_or(String::new(), |t| format!("take-off {}{z}, ", short(t)));
            format!("{first} {start}{z}, {off}start down {down}{z}, landing {landing}{z}")
        };
        let utc = each(
            self.take_off_utc.as_ref(),
            [&self.start_utc, &self.top_of_descent_utc, &self.landing_utc],
            "Z",
        );
        let zone = self.zone.as_ref().map_or(String::new(), |z| {
            let there = each(
                z.take_off.as_ref(),
                [&z.start, &z.top_of_descent, &z.landing],
                "",
            );
            format!("; {}, {there}", z.name)
        });
        format!("{day}, {utc}{zone}")
    }
}
