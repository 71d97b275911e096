//! One plan, many faces: terminal text, chart, JSON and lever card (text, Markdown, HTML).
//!
//! [`Figures`] turns a plan into cockpit figures once; JSON is those figures written out, and every other face only words and
//! draws them, so that no two faces can disagree. Rounding happens where a figure is written (`words`), always to the safe
//! side: fuel burned and the distance of the top of descent up, fuel left and rates of climb down.
//!
//! **Invariant:** no face computes a number of its own, and none reads a [`crate::solve::Plan`]; only `figures` and what it gathers
//! (`card`, `marks`, `otherwise`, `waypoints`) do.

mod as_flown;
mod card;
use card::html as card_html;
mod chart;
mod circling;
mod compare;
mod compare_chart;
mod cruise;
mod descend;
mod descend_chart;
mod descend_figures;
mod descend_page;
mod descend_text;
mod differences;
mod figures;
mod freezing;
mod frontier;
mod frontier_chart;
mod frontier_text;
mod glide;
mod gpx;
mod grid;
mod json;
mod kml;
mod marking;
mod marks;
mod measure;
mod otherwise;
mod page;
mod runner_up;
#[cfg(test)]
pub(crate) mod sample;
mod schema;
mod season;
mod season_chart;
mod season_text;
mod settings;
mod spread;
mod spread_chart;
mod spread_text;
mod stops;
mod stretches;
mod terminal;
mod times;
mod track_csv;
mod units;
mod waypoints;
mod weather;
mod what_if;
mod what_if_chart;
mod what_if_words;
mod winds;
mod winds_chart;
mod winds_text;
mod wording;
mod words;
mod worksheet;
mod xml;

pub use as_flown::{AsFlownFigures, FitRow, LegFlownFigures, TotalFlownFigures, fit_rows_csv};
pub use card::{
    CARD_LINES_A_SIDE, CardLine, Group, Lever, LeverPoint, card_markdown, card_text, lever_card,
};
pub use card_html::card_html;
pub use chart::{ChartError, svg};
#[cfg(feature = "png")]
pub use chart::{in_pixels, png};
pub use circling::CirclingFigures;
pub use compare::{
    COMPARE_TITLE, CompareFigures, Compared, ComparedFigures, ComparedPlanFigures, MoreFigures,
    PathPointFigures, compare_json, compare_text,
};
pub use compare_chart::compare_svg;
pub use cruise::CruiseFigures;
pub use descend::{
    AgainstOrdinary, DESCEND_TITLE, DescendCruise, DescendFigures, DescendPoint, DownFigures,
    MapCellFigures, MapFigures, MapPanelFigures, ThumbFigures, WayFigures, descend_json,
};
pub use descend_chart::{descend_map_svg, descend_svg};
pub use descend_figures::descend_question;
pub use descend_page::descend_page;
pub use descend_text::descend_text;
pub use figures::{
    AlternativeFigures, BarredFigures, Conditions, Descent, FieldFigures, Figures, Gain,
    IdealFigures, LegFigures, ObjectiveFigures, Point, Reflight, Said, SecondSpeed, SegmentFigures,
    Stretch, StretchWind, TotalsFigures, TripFigures, WeightPoint, WindLevel,
};
pub use freezing::FreezingPoint;
pub use frontier::{
    ApartFigures, DescentFigures, FRONTIER_TITLE, FrontierCruiseFigures, FrontierFigures,
    FrontierPlanFigures, HourFigures, MinuteFigures, PriceFigures, frontier_csv, frontier_json,
};
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
pub use marking::{MARKS_TITLE, MarkedFigures, MarksFigures, marks_json, marks_text};
pub use marks::MarkFigures;
pub use measure::Units;
pub use otherwise::{
    EarlyFigures, LateFigures, LateStartFigures, OtherDescent, RoughFigures, TopOfDescentShift,
};
pub use page::{frontier_page, page};
pub use runner_up::{RunnerUp, RunnerUpPoint};
pub use schema::{Document, schema};
pub use season::{
    ChargeFigures, FlightFigures, MeasureFigures, NotFlownFigures, OverWinds, PolicyFigures,
    SEASON_TITLE, Season, SeasonFigures, SeasonTripFigures, UsualFigures, policy_word, season_csv,
    season_json,
};
pub use season_chart::season_svg;
pub use season_text::season_text;
pub use settings::{
    CellFigures, ReasonFigures, SETTINGS_TITLE, SettingFigures, SettingsFigures, SettingsRow,
    settings_csv, settings_json, settings_text,
};
pub use spread::{
    ErrorFigures, LevelSpreadFigures, LimitFigures, PercentileFigures, SPREAD_TITLE, SampleFigures,
    SpreadFigures, USUAL_SOURCE, spread_csv, spread_json,
};
pub use spread_chart::spread_svg;
pub use spread_text::spread_text;
pub use stops::{More, Stop, Stops};
pub use terminal::terminal;
pub use times::{TimesFigures, ZoneFigures};
pub use track_csv::{segments_csv, track_csv};
pub use waypoints::WaypointFigures;
pub use weather::{LaterFigures, LaterOutcome, SourceFigures};
pub use what_if::{
    GaugeFigures, GoAroundFigures, LeverWayFigures, SquareFigures, StateFigures, WHAT_IF_TITLE,
    WhatIfFigures, what_if_json, what_if_text,
};
pub use what_if_chart::what_if_svg;
pub use winds::{WINDS_TITLE, WindStretch, WindsFigures, WindsLevel, winds_json};
pub use winds_chart::winds_svg;
pub use winds_text::winds_text;
pub use words::{EACH_ENGINE, ONE_ENGINE};
pub use worksheet::{
    ColumnFigures, ExerciseFigures, KEY_TITLE, KeyFigures, NumberFigures, TableFigures,
    WORKSHEET_TITLE, WorksheetFigures, answer_form, worksheet_html, worksheet_json,
    worksheet_markdown,
};

/// The title of every face.
pub const TITLE: &str = "Trip sheet: advice, not a weather briefing, not a filed flight plan";

/// What every sheet must say besides the plan.
pub const CAUTIONS: [&str; 4] = [
    "Advisory only. The approved flight manual, a weather briefing, notices, local rules and the pilot in command decide.",
    "Not checked: runway length, take-off and landing distance, centre of gravity.",
    "CHT is not modelled: watch it.",
    "Engine-care figures are those of your profile, not proven limits.",
];
