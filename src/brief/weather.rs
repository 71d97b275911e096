//! What the weather of a plan is from, and the plan at other times of departure.

use super::units::{Fuel, ft, min, plain};
use crate::solve::Later;
use crate::trip::{Source, SourceKind};
use jiff::Timestamp;
use schemars::JsonSchema;
use serde::Serialize;

/// Where weather is from.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SourceFigures {
    /// bulletin, grib2, table or report.
    pub kind: &'static str,
    /// Files without their folders, or places.
    pub name: String,
    /// The time it is for, or was observed at; none holds throughout.
    pub valid_utc: Option<String>,
    /// For use from.
    pub use_from_utc: Option<String>,
    /// For use to.
    pub use_to_utc: Option<String>,
    /// What a careful reader would remark.
    pub notes: Vec<String>,
}

impl SourceFigures {
    /// One source in words.
    pub(super) fn new(source: &Source) -> Self {
        let time = |t: Timestamp| t.to_string();
        Self {
            kind: match source.kind {
                SourceKind::Bulletin => "bulletin",
                SourceKind::Grid => "grib2",
                SourceKind::Table => "table",
                SourceKind::Report => "report",
            },
            name: match source.kind {
                SourceKind::Bulletin | SourceKind::Grid => without_folders(&source.name),
                SourceKind::Table | SourceKind::Report => source.name.clone(),
            },
            valid_utc: source.valid.map(time),
            use_from_utc: source.period.map(|p| time(p.0)),
            use_to_utc: source.period.map(|p| time(p.1)),
            notes: source.notes.clone(),
        }
    }

    /// The source in one sentence.
    pub(super) fn words(&self) -> String {
        let what = match self.kind {
            "bulletin" => "Winds aloft by bulletin",
            "grib2" => "Winds aloft by model",
            "table" => "Winds aloft by hand at",
            _ => "Weather report of",
        };
        let mut words = format!("{what} {}", self.name);
        let short = |t: &Option<String>| t.as_deref().map_or(String::new(), short_time);
        if self.kind == "report" {
            words.push_str(&format!(", {}", short(&self.valid_utc)));
        } else if self.valid_utc.is_some() {
            words.push_str(&format!(
                ", valid {}, for use {} to {}",
                short(&self.valid_utc),
                short(&self.use_from_utc),
                short(&self.use_to_utc)
            ));
        } else {
            words.push_str(", held throughout");
        }
        for note in &self.notes {
            words.push_str("; ");
            words.push_str(note);
        }
        words.push('.');
        words
    }
}

/// File names of a list of paths: the folders are other ones on another machine.
fn without_folders(paths: &str) -> String {
    let file = |path: &str| path.rsplit(['/', '\\']).next().map(str::to_owned);
    let files: Vec<String> = paths.split(", ").filter_map(file).collect();
    files.join(", ")
}

/// "311600Z" of a full time, as weather is dated: day, hour, minute.
fn short_time(time: &str) -> String {
    let part = |from: usize| time.get(from..from + 2).unwrap_or("");
    format!("{}{}{}Z", part(8), part(11), part(14))
}

/// The trip started up later.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LaterFigures {
    /// Start-up.
    pub departure_utc: String,
    /// Later than asked for by this.
    pub later_min: f64,
    /// What it comes to; none where it is not planned.
    pub outcome: Option<LaterOutcome>,
    /// Why it is not planned.
    pub not_planned: Option<String>,
}

/// What the trip comes to when started up later.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LaterOutcome {
    /// Take-off to landing.
    pub time_min: f64,
    /// Take-off to landing.
    pub fuel_gal: f64,
    /// Money at the trip's prices.
    pub cost: f64,
    /// Cruise levels.
    pub levels_ft: Vec<f64>,
}

impl LaterFigures {
    pub(super) fn new(later: &Later, fuel: Fuel) -> Self {
        Self {
            departure_utc: later.departure.to_string(),
            later_min: min(later.by_s),
            outcome: later.outcome.as_ref().ok().map(|p| LaterOutcome {
                time_min: min(p.totals.time_s),
                fuel_gal: fuel.gal(p.totals.fuel_kg),
                cost: plain(p.totals.money),
                levels_ft: p.levels_m.iter().map(|&m| ft(m)).collect(),
            }),
            not_planned: later.outcome.as_ref().err().map(ToString::to_string),
        }
    }

    /// "311600Z", start-up.
    pub(super) fn clock(&self) -> String {
        short_time(&self.departure_utc)
    }
}
