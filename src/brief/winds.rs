//! The wind of a trip by height and stretch: along the course, across it, and the temperature, as figures and JSON.

use super::json::pretty;
use super::stretches::stretches;
use super::units::{celsius, course_deg, ft, kt, nm};
use super::weather::SourceFigures;
use crate::quantity::M_PER_FT;
use crate::trip::Problem;
use schemars::JsonSchema;
use serde::Serialize;

/// The title of this face.
pub const WINDS_TITLE: &str =
    "Wind along the trip: from the forecasts given, not a weather briefing";
/// Steps in height, ft: the first one that gives no more rows than [`MOST_ROWS`].
pub(super) const STEPS_FT: [f64; 3] = [1_000.0, 2_000.0, 5_000.0];
/// Most rows of the table.
const MOST_ROWS: f64 = 18.0;

/// Wind and temperature at one height of a stretch.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct WindsLevel {
    /// What the altimeter shows.
    pub indicated_altitude_ft: f64,
    /// Along the course, a tail wind positive.
    pub wind_along_kt: f64,
    /// Across the course, from the left positive.
    pub wind_cross_kt: f64,
    /// Temperature.
    pub temperature_c: f64,
    /// Above the highest ground of the stretch.
    pub above_ground: bool,
}

/// One stretch; the wind is that in its middle.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct WindStretch {
    /// From.
    pub from_nm: f64,
    /// To.
    pub to_nm: f64,
    /// True course of its leg.
    pub true_course_deg: f64,
    /// Highest ground, if it is known.
    pub ground_ft: Option<f64>,
    /// By height, lowest first; the same heights in each stretch.
    pub levels: Vec<WindsLevel>,
}

/// The winds of a trip.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct WindsFigures {
    /// Title.
    pub title: &'static str,
    /// Title of the trip.
    pub name: String,
    /// Departure, via points, destination, with where each is.
    pub places: Vec<String>,
    /// Distance of each place.
    pub places_nm: Vec<f64>,
    /// Start-up.
    pub departure_utc: String,
    /// Where the weather is from.
    pub weather: Vec<SourceFigures>,
    /// Stretches, first to last.
    pub stretches: Vec<WindStretch>,
}

impl WindsFigures {
    /// The winds a problem is asked in, at the time the flight is expected over each place.
    pub fn new(problem: &Problem) -> Self {
        let ground_ft = |from_m: f64, to_m: f64| -> Option<f64> {
            let touching = problem.legs.iter().flat_map(|l| &l.ground);
            let high = touching.filter(|g| g.0 < to_m && from_m < g.1);
            let highest_m = high.map(|g| g.2).reduce(f64::max);
            problem.ground_m(from_m)?;
            highest_m.map(ft)
        };
        let lowest_ft = ft(problem
            .departure
            .elevation_m
            .min(problem.destination.elevation_m));
        let top_ft = ft(problem.limits.max_altitude_m);
        let rows = |step: f64| (top_ft / step).floor() - (lowest_ft / step).ceil() + 1.0;
        let step_ft = STEPS_FT
            .into_iter()
            .find(|s| rows(*s) <= MOST_ROWS)
            .unwrap_or(STEPS_FT[2]);
        let mut found = Vec::new();
        for (leg, from_m, length_m) in stretches(problem) {
            let middle_m = from_m + 0.5 * length_m;
            let ground_ft = ground_ft(from_m, from_m + length_m);
            let mut levels = Vec::new();
            let mut height_ft = (lowest_ft / step_ft).ceil() * step_ft;
            while height_ft <= top_ft {
                let hp_m = problem.pressure_altitude_m(middle_m, height_ft * M_PER_FT);
                let air = problem.air.at(middle_m, hp_m, problem.time_s(middle_m));
                levels.push(WindsLevel {
                    indicated_altitude_ft: height_ft,
                    wind_along_kt: kt(air.along_m_s),
                    wind_cross_kt: kt(air.cross_m_s),
                    temperature_c: celsius(air.temperature_k),
                    above_ground: ground_ft.is_none_or(|g| height_ft >= g),
                });
                height_ft += step_ft;
            }
            found.push(WindStretch {
                from_nm: nm(from_m),
                to_nm: nm(from_m + length_m),
                true_course_deg: course_deg(leg.true_rad),
                ground_ft,
                levels,
            });
        }
        let first = problem.legs.first().map(|l| (l.from.clone(), 0.0));
        let places = first
            .into_iter()
            .chain(problem.legs.iter().map(|l| (l.to.clone(), nm(l.to_m))));
        let (places, places_nm) = places.unzip();
        Self {
            title: WINDS_TITLE,
            name: problem.title.clone(),
            places,
            places_nm,
            departure_utc: problem.departure_time.to_string(),
            weather: problem.sources.iter().map(SourceFigures::new).collect(),
            stretches: found,
        }
    }

    pub(super) fn rows(&self) -> usize {
        self.stretches.first().map_or(0, |s| s.levels.len())
    }

    pub(super) fn length_nm(&self) -> f64 {
        self.stretches.last().map_or(0.0, |s| s.to_nm)
    }

    /// Mean along the whole route at a height (row), weighed by distance; none where ground is in the way.
    pub(super) fn mean_along_kt(&self, row: usize) -> Option<f64> {
        let mut sum = 0.0;
        for s in &self.stretches {
            let level = s.levels.get(row).filter(|l| l.above_ground)?;
            sum += level.wind_along_kt * (s.to_nm - s.from_nm);
        }
        Some(sum / self.length_nm())
    }
}

/// The winds as JSON, a newline at the end.
///
/// # Errors
/// Only if the figures cannot be written as JSON, which would be our bug.
pub fn winds_json(f: &WindsFigures) -> Result<String, serde_json::Error> {
    pretty(f)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::brief::sample;
    use crate::brief::winds_chart::winds_svg;
    use crate::brief::winds_text::{cross, signed, winds_text};
    use crate::brief::words::number;
    use crate::quantity::M_PER_NM;

    fn figures() -> WindsFigures {
        WindsFigures::new(sample::problem())
    }

    #[test]
    fn closed_form_fits_its_width_and_loses_no_stretch() {
        let f = figures();
        assert!(f.stretches.len() > 8 && f.rows() > 5);
        for width in [80, 100] {
            let text = winds_text(&f, width);
            for line in text.lines() {
                assert!(line.chars().count() <= width, "{width}: {line:?}");
                assert!(!line.contains(".."), "cut short: {line:?}");
            }
            for s in &f.stretches {
                let head = format!("{}-{} nm", number(s.from_nm, 0), number(s.to_nm, 0));
                assert!(text.contains(&head), "{width}: no {head}");
            }
            let rows = text
                .lines()
                .filter(|l| l.trim_start().starts_with("10,000"))
                .count();
            assert!(rows > 1, "one row in each block");
        }
    }

    #[test]
    fn closed_form_components_are_those_of_the_air() {
        let (f, p) = (figures(), sample::problem());
        let s = &f.stretches[2];
        let l = s.levels[s.levels.len() - 1];
        let middle_m = 0.5 * (s.from_nm + s.to_nm) * M_PER_NM;
        let hp_m = p.pressure_altitude_m(middle_m, l.indicated_altitude_ft * M_PER_FT);
        let air = p.air.at(middle_m, hp_m, p.time_s(middle_m));
        // figures are written to a millionth
        assert!((l.wind_along_kt - kt(air.along_m_s)).abs() < 1e-4);
        assert!((l.wind_cross_kt - kt(air.cross_m_s)).abs() < 1e-4);
        assert_eq!(
            (cross(12.3), cross(-4.4), cross(0.2)),
            ("12L".into(), "4R".into(), "0 ".into())
        );
        assert_eq!(
            (signed(3.6), signed(-3.6), signed(0.3)),
            ("+4".into(), "-4".into(), "0".into())
        );
    }

    #[test]
    fn closed_form_no_figure_is_too_small_to_be_read() {
        for many in [1, 2, 6] {
            // The route several times over, so that its stretches become narrow.
            let mut f = figures();
            let (once, length) = (f.stretches.clone(), f.length_nm());
            for i in 1..many {
                let by = length * f64::from(i);
                f.stretches.extend(once.iter().cloned().map(|mut s| {
                    (s.from_nm, s.to_nm) = (s.from_nm + by, s.to_nm + by);
                    s
                }));
            }
            let svg = winds_svg(&f).expect("draws");
            let size = |text: &str| -> Option<f64> {
                let after = text.split_once("font-size=\"")?.1;
                after.split('"').next()?.parse().ok()
            };
            let texts: Vec<&str> = svg.split("<text").skip(1).collect();
            // The foot is in the smallest letters there are, six points on A5 (chart::pen).
            let foot = texts
                .iter()
                .find(|t| t.contains(WINDS_TITLE))
                .and_then(|t| size(t));
            let least = texts
                .iter()
                .filter_map(|t| size(t))
                .fold(f64::INFINITY, f64::min);
            assert!(texts.len() > 40 && Some(least) == foot, "{least} {foot:?}");
            let written = texts.iter().filter(|t| t.contains('°')).count();
            assert!(written >= 12, "only {written} for {many}");
        }
    }

    #[test]
    fn closed_form_drawing_and_json_hold_every_stretch() {
        let f = figures();
        let svg = winds_svg(&f).expect("draws");
        assert!(svg.starts_with("<svg") && svg.contains(&f.name));
        for place in &f.places {
            assert!(svg.contains(place.as_str()), "{place}");
        }
        let json: serde_json::Value =
            serde_json::from_str(&winds_json(&f).expect("writes")).expect("JSON");
        let stretches = json["stretches"].as_array().expect("a list");
        assert_eq!(stretches.len(), f.stretches.len());
        assert!(stretches[0]["levels"][0]["wind_along_kt"].is_number());
    }
}
