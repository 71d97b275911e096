//! The winds aloft a trip has by their periods of use, and which of them a flight uses.

use jiff::{SignedDuration, Timestamp};

use super::{BRIDGED_H, STANDS_H};
use crate::air::WindField;
use crate::trip::{Forecast, Source};

/// From when to when.
pub type Period = (Timestamp, Timestamp);

/// From when to when each of some forecasts is used, by their times in order: see the head of this module.
pub fn periods(valid: &[Timestamp]) -> Vec<Period> {
    let hours = SignedDuration::from_hours;
    let near = |other: Option<&Timestamp>, here: Timestamp| {
        other
            .copied()
            .filter(|o| here.duration_since(*o).unsigned_abs() <= hours(BRIDGED_H).unsigned_abs())
    };
    let off = |t: Timestamp, by: i64| t.saturating_add(hours(by)).unwrap_or(t);
    (0..valid.len())
        .map(|i| {
            let t = valid[i];
            let before = near(i.checked_sub(1).and_then(|b| valid.get(b)), t);
            let after = near(valid.get(i + 1), t);
            (
                before.unwrap_or_else(|| off(t, -STANDS_H)),
                after.unwrap_or_else(|| off(t, STANDS_H)),
            )
        })
        .collect()
}

/// One valid time.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Slice {
    pub(super) valid: Timestamp,
    pub(super) field: WindField,
    pub(super) source: Source,
}

impl Slice {
    /// Whether it is for use at some moment from one to the other.
    fn touches(&self, from: Timestamp, to: Timestamp) -> bool {
        self.source
            .period
            .is_none_or(|(begin, end)| begin <= to && from <= end)
    }
}

/// The winds aloft a trip has, for more times than its flight may need.
#[derive(Debug, Clone, PartialEq)]
pub struct WindsOnHand {
    pub(super) slices: Vec<Slice>,
    pub(super) lasts: SignedDuration,
}

/// The winds aloft of one flight.
#[derive(Debug, Clone, PartialEq)]
pub struct Chosen {
    /// Forecasts, earliest first.
    pub forecasts: Vec<Forecast>,
    /// Where they are from.
    pub sources: Vec<Source>,
    /// Up to when they are for use.
    pub until: Option<Timestamp>,
}

impl WindsOnHand {
    /// Every forecast there is, for use at some time of this trip or not, earliest first.
    pub fn all(&self) -> Vec<Forecast> {
        let of = |s: &Slice| Forecast {
            valid: s.valid,
            field: s.field.clone(),
        };
        self.slices.iter().map(of).collect()
    }

    /// The forecasts of a flight that starts up at a time; `None` if none is for use then.
    pub fn at(&self, departure: Timestamp) -> Option<Chosen> {
        if !self.slices.iter().any(|s| s.touches(departure, departure)) {
            return None;
        }
        // As far as one period joins the next.
        let mut until = Some(departure);
        loop {
            let reached = self.slices.iter().filter_map(|s| {
                let end = until?;
                s.touches(departure.min(end), end)
                    .then_some(s.source.period.map(|p| p.1))
            });
            // a forecast without a period holds for ever
            let next = reached.fold(until, |best, end| match (best, end) {
                (Some(a), Some(b)) => Some(a.max(b)),
                _ => None,
            });
            if next == until {
                break;
            }
            until = next;
        }
        let lands = departure.saturating_add(self.lasts).unwrap_or(departure);
        let end = until.map_or(lands, |u| u.min(lands));
        let used = self.slices.iter().filter(|s| s.touches(departure, end));
        let (mut forecasts, mut sources) = (Vec::new(), Vec::new());
        for slice in used {
            forecasts.push(Forecast {
                valid: slice.valid,
                field: slice.field.clone(),
            });
            sources.push(slice.source.clone());
        }
        Some(Chosen {
            forecasts,
            sources,
            until,
        })
    }
}
