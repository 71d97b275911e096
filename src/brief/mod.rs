//! One plan, many faces: terminal text, chart, JSON and lever card.
//!
//! [`Figures`] turns a plan into cockpit figures once; JSON is those figures written out, and every other face only words and
//! draws them, so that no two faces can disagree. Rounding happens where a figure is written (`words`), always to the safe
//! side: fuel burned and the distance of the top of descent up, fuel left and rates of climb down.
//!
//! **Invariant:** no face computes a number of its own, and none reads a [`crate::solve::Plan`]; only `figures`, `marks` and `card` do.

mod as_flown;
mod card;
mod chart;
mod figures;
mod frontier;
mod frontier_chart;
mod frontier_text;
mod glide;
mod gpx;
mod grid;
mod json;
mod kml;
mod marks;
#[cfg(test)]
pub(crate) mod sample;
mod schema;
mod settings;
mod terminal;
mod track_csv;
mod units;
mod weather;
mod winds;
mod words;
mod xml;

pub use as_flown::{AsFlownFigures, FitRow, LegFlownFigures, TotalFlownFigures, fit_rows_csv};
pub use card::{CARD_LINES_A_SIDE, CardLine, Group, lever_card};
#[cfg(feature = "png")]
pub use chart::png;
pub use chart::{ChartError, svg};
pub use figures::{
    AlternativeFigures, Conditions, Descent, FieldFigures, Figures, Gain, IdealFigures, LegFigures,
    ObjectiveFigures, Point, Reflight, Said, SecondSpeed, SegmentFigures, Stretch, StretchWind,
    TotalsFigures, TripFigures, WeightPoint, WindLevel,
};
pub use frontier::{
    ApartFigures, CruiseFigures, DescentFigures, FRONTIER_TITLE, FrontierFigures,
    FrontierPlanFigures, HourFigures, MinuteFigures, PriceFigures, frontier_csv, frontier_json,
};
#[cfg(feature = "png")]
pub use frontier_chart::frontier_png;
pub use frontier_chart::frontier_svg;
pub use frontier_text::frontier_text;
pub use glide::{
    GLIDE_TITLE, GlideCaseFigures, GlideFigures, GlidePointFigures, GlideWeight, LeverFigures,
    glide_json, glide_text,
};
pub use gpx::gpx;
pub use grid::grid_csv;
pub use json::json;
pub use kml::kml;
pub use marks::MarkFigures;
pub use schema::{Document, schema};
pub use settings::{
    CellFigures, ReasonFigures, SETTINGS_TITLE, SettingFigures, SettingsFigures, SettingsRow,
    settings_csv, settings_json, settings_text,
};
pub use terminal::terminal;
pub use track_csv::{segments_csv, track_csv};
pub use weather::{LaterFigures, LaterOutcome, SourceFigures};
#[cfg(feature = "png")]
pub use winds::winds_png;
pub use winds::{
    WINDS_TITLE, WindStretch, WindsFigures, WindsLevel, winds_json, winds_svg, winds_text,
};
pub use words::{EACH_ENGINE, ONE_ENGINE};

/// The title of every face.
pub const TITLE: &str = "Trip sheet: advice, not a weather briefing, not a filed flight plan";

/// What every sheet must say besides the plan.
pub const CAUTIONS: [&str; 4] = [
    "Advisory only. The approved flight manual, a weather briefing, notices, local rules and the pilot in command decide.",
    "Not checked: runway length, take-off and landing distance, centre of gravity.",
    "CHT is not modelled: watch it.",
    "Engine-care figures are those of your profile, not proven limits.",
];
