//! The descent study: its figures, and what every face says alike. Text, chart, map and page are written from them.

use super::json::pretty;
use super::measure::Units;
use super::words::{feet, inches, knots, near, number, revs};
use serde::Serialize;

/// The title.
pub const DESCEND_TITLE: &str = "Descent study: a model to learn from, not a plan to fly";

/// Cruise that all ways begin from.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DescendCruise {
    /// Indicated altitude.
    pub altitude_ft: f64,
    /// Indicated airspeed.
    pub ias_kt: f64,
    /// True airspeed.
    pub tas_kt: f64,
    /// Ground speed.
    pub gs_kt: f64,
    /// Manifold pressure.
    pub map_inhg: f64,
    /// Crankshaft speed.
    pub rpm: f64,
    /// Mixture.
    pub mixture: String,
    /// Brake power over rated power.
    pub power_percent: f64,
    /// Fuel flow.
    pub fuel_flow_gph: f64,
    /// Wind along the course there, a tail wind positive.
    pub wind_along_kt: f64,
    /// Weight.
    pub weight_lb: f64,
}

/// A point of the path of one way.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct DescendPoint {
    /// To the pattern point.
    pub to_pattern_nm: f64,
    /// Indicated altitude.
    pub altitude_ft: f64,
    /// Indicated airspeed.
    pub ias_kt: f64,
    /// Rate of descent, positive down.
    pub rate_fpm: f64,
    /// Manifold pressure.
    pub map_inhg: f64,
    /// Crankshaft speed.
    pub rpm: f64,
}

/// What one way comes to.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DownFigures {
    /// Top of descent to the pattern point.
    pub top_of_descent_to_pattern_nm: f64,
    /// The same.
    pub top_of_descent_to_pattern_min: f64,
    /// Least and greatest rate of descent.
    pub rate_fpm: [f64; 2],
    /// Least and greatest indicated airspeed in the descent.
    pub ias_kt: [f64; 2],
    /// From the common point to the pattern point.
    pub time_min: f64,
    /// The same.
    pub fuel_gal: f64,
    /// The same; none without prices.
    pub money: Option<f64>,
    /// Against the ordinary descent; none where that cannot be flown to the end.
    pub against_ordinary: Option<AgainstOrdinary>,
    /// Least room to the speed limit of the air.
    pub to_air_limit_kt: f64,
    /// Least room to Vno.
    pub to_vno_kt: f64,
    /// Least room to Vne.
    pub to_vne_kt: f64,
    /// Least room to the speed for rough air, Va at the weight of the moment.
    pub to_rough_air_kt: f64,
    /// Greatest fall of manifold pressure within a minute.
    pub map_fall_inhg_per_min: f64,
    /// Least manifold pressure.
    pub least_map_inhg: f64,
    /// Flown level at pattern altitude to slow down.
    pub slow_down_nm: f64,
    /// coarse, power_left, reduced or both_reduced.
    pub family: &'static str,
    /// Re-flown less flown, whole flight.
    pub reflight_time_error_s: f64,
    /// The same.
    pub reflight_fuel_error_gal: f64,
    /// The path from the common point to the pattern point.
    pub path: Vec<DescendPoint>,
}

/// One way less the ordinary one; below zero is saved.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct AgainstOrdinary {
    /// Time.
    pub time_s: f64,
    /// Fuel.
    pub fuel_gal: f64,
    /// Money; none without prices.
    pub money: Option<f64>,
}

/// One way down.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WayFigures {
    /// Its letter in the chart.
    pub letter: char,
    /// ordinary, power_left, coarse, steep_late, shallow_early, least_time, least_fuel or least_money.
    pub kind: &'static str,
    /// In words.
    pub name: String,
    /// Within every limit.
    pub can_be_flown: bool,
    /// Limits it breaks.
    pub limits_broken: Vec<&'static str>,
    /// Why it cannot be flown to the end, if so.
    pub error: Option<String>,
    /// The letter of an earlier way that is the same descent.
    pub same_as: Option<char>,
    /// What is set, in order.
    pub settings: Vec<String>,
    /// What it comes to; none where it cannot be flown to the end.
    pub figures: Option<DownFigures>,
}

/// A rule of thumb beside what is flown.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ThumbFigures {
    /// The rule.
    pub rule: &'static str,
    /// What it says.
    pub says: f64,
    /// What is flown in the ordinary descent.
    pub flown: f64,
    /// The rule less what is flown.
    pub error: f64,
    /// nm or fpm.
    pub unit: &'static str,
    /// What that means.
    pub meaning: String,
}

/// One cell of a map.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MapCellFigures {
    /// To the right: head wind below zero, kt; or price of an hour.
    pub x: f64,
    /// Up: height to lose, ft; or price of a gallon.
    pub y: f64,
    /// coarse, power_left, reduced or both_reduced; of ways that tie the nearest to the ordinary one; none where no way keeps every limit.
    pub best: Option<&'static str>,
    /// The others that tie with it: less than 0.1 % between them and the cheapest.
    pub ties: Vec<&'static str>,
    /// It saves less than 0.1 %: the ordinary descent does as well.
    pub no_real_difference: bool,
    /// Money saved against the ordinary descent; none where that cannot be flown at more than half its rate.
    pub saves_money: Option<f64>,
    /// Time saved.
    pub saves_s: Option<f64>,
    /// Fuel saved.
    pub saves_gal: Option<f64>,
}

impl MapCellFigures {
    /// The region it belongs to: the best family, "same" where that makes no real difference, none where nothing keeps the limits.
    pub(super) fn region(&self) -> Option<&'static str> {
        self.best.map(|best| {
            if self.no_real_difference {
                "same"
            } else {
                best
            }
        })
    }

    /// Whether the letter of a family stands in it.
    pub(super) fn shows(&self, family: &str) -> bool {
        !self.no_real_difference && self.best.iter().chain(&self.ties).any(|&k| k == family)
    }
}

/// One map.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MapPanelFigures {
    /// smooth, light or rough.
    pub air: &'static str,
    /// Row after row from the lowest.
    pub cells: Vec<MapCellFigures>,
}

/// Where which descent is best.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MapFigures {
    /// wind or prices.
    pub kind: &'static str,
    /// Values to the right.
    pub x: Vec<f64>,
    /// What they are.
    pub x_name: &'static str,
    /// Values upwards.
    pub y: Vec<f64>,
    /// What they are.
    pub y_name: &'static str,
    /// What is the same in all cells.
    pub fixed: String,
    /// Maps.
    pub panels: Vec<MapPanelFigures>,
}

impl MapFigures {
    /// What the values upwards are, in the units asked for.
    pub(super) fn up_name(&self, units: Units) -> String {
        if self.kind == "prices" {
            format!("price of a {}", units.volume_word())
        } else {
            self.y_name.to_owned()
        }
    }

    /// One of them.
    pub(super) fn up_words(&self, y: f64, units: Units) -> String {
        if self.kind == "prices" {
            units.price(y)
        } else {
            number(y, 0)
        }
    }
}

/// Everything about a study.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DescendFigures {
    /// In which units the words are, and the faces for eyes.
    #[serde(skip)]
    pub units: Units,
    /// Title.
    pub title: &'static str,
    /// The aircraft.
    pub aircraft: String,
    /// How many engines.
    pub engines: u32,
    /// The propeller has no lever.
    pub fixed_pitch: bool,
    /// What is asked, in one line.
    pub question: String,
    /// Cruise.
    pub cruise: DescendCruise,
    /// Pattern altitude.
    pub pattern_altitude_ft: f64,
    /// Pattern speed, indicated.
    pub pattern_ias_kt: f64,
    /// Height to lose.
    pub height_to_lose_ft: f64,
    /// From the common point to the pattern point.
    pub common_nm: f64,
    /// Prices: an hour and a gallon; none where the trip has none.
    pub prices: Option<[f64; 2]>,
    /// Vno, indicated.
    pub vno_kt: f64,
    /// Vne, indicated.
    pub vne_kt: f64,
    /// Ways down.
    pub ways: Vec<WayFigures>,
    /// Why the coarse propeller is missing, if it is.
    pub left_out: Option<&'static str>,
    /// Rules of thumb.
    pub rules_of_thumb: Vec<ThumbFigures>,
    /// Where coarse and fast pays, if asked.
    pub map: Option<MapFigures>,
    /// What was taken for granted.
    pub granted: Vec<String>,
    /// What to beware of.
    pub cautions: Vec<String>,
}

impl DescendFigures {
    /// Cruise in one line.
    pub(super) fn cruise_line(&self) -> String {
        let c = &self.cruise;
        let power = if self.fixed_pitch {
            format!("{} rpm", revs(c.rpm))
        } else {
            format!("{} in / {}", inches(c.map_inhg), revs(c.rpm))
        };
        format!(
            "Cruise {} ft, {power}, {}, {} %, {} KIAS, {} kt over the ground, {}",
            feet(c.altitude_ft),
            c.mixture,
            number(near(c.power_percent, 0), 0),
            knots(c.ias_kt),
            knots(c.gs_kt),
            self.units.mean_flow(c.fuel_flow_gph)
        )
    }

    /// What the totals are counted over.
    pub(super) fn common_line(&self) -> String {
        format!(
            "Time, fuel and money of every way from the same point in cruise, {} nm before the pattern point, to pattern altitude \
             and {} KIAS there.",
            number(near(self.common_nm, 1), 1),
            knots(self.pattern_ias_kt)
        )
    }

    /// Why a way is not to be flown; empty where it is.
    pub(super) fn broken_words(way: &WayFigures) -> String {
        match &way.error {
            Some(e) => format!("cannot be flown: {e}"),
            None if way.limits_broken.is_empty() => String::new(),
            None => format!("not within limits: {}", way.limits_broken.join(", ")),
        }
    }
}

/// The figures as JSON, a newline at the end.
///
/// # Errors
/// Only if the figures cannot be written as JSON, which would be our bug.
pub fn descend_json(figures: &DescendFigures) -> Result<String, serde_json::Error> {
    pretty(figures)
}
