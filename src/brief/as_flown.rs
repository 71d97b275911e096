//! The plan beside what was noted in flight: errors by leg, and rows to fit the aircraft to.

use super::Figures;
use super::differences::Differences;
use super::figures::{Said, mixture_name};
use super::units::{Fuel, celsius, ft, inhg, kt, lb, min, nm, rpm};
use super::wording::{signed, with_sign};
use super::words::number;
use crate::solve::{AsFlown, LegFlown, NotSteady, Steady};
use crate::trip::Problem;
use schemars::JsonSchema;
use serde::Serialize;

/// From one noted point to the next.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LegFlownFigures {
    /// Name of the first point.
    pub from: String,
    /// Name of the second.
    pub to: String,
    /// How far it is.
    pub distance_nm: f64,
    /// Time planned.
    pub planned_min: f64,
    /// Time flown.
    pub flown_min: f64,
    /// Flown less planned.
    pub difference_min: f64,
    /// Fuel planned.
    pub planned_gal: f64,
    /// Fuel flown; none where it was not noted at both ends.
    pub flown_gal: Option<f64>,
    /// Flown less planned.
    pub difference_gal: Option<f64>,
    /// Mean ground speed planned; none between points at one place.
    pub planned_gs_kt: Option<f64>,
    /// Mean ground speed flown.
    pub flown_gs_kt: Option<f64>,
    /// Flown less planned.
    pub difference_gs_kt: Option<f64>,
    /// True airspeed by the notes in cruise less that planned; none where no airspeed was noted in cruise.
    pub difference_tas_kt: Option<f64>,
    /// Wind along the course less that planned with, a tail wind positive: the difference in ground speed that true airspeed does not
    /// account for; without one, had it been as planned.
    pub difference_wind_kt: Option<f64>,
}

/// First noted point to last.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct TotalFlownFigures {
    /// Time planned.
    pub planned_min: f64,
    /// Time flown.
    pub flown_min: f64,
    /// Flown less planned.
    pub difference_min: f64,
    /// Fuel planned.
    pub planned_gal: f64,
    /// Fuel flown; none where it was not noted at both ends.
    pub flown_gal: Option<f64>,
    /// Flown less planned.
    pub difference_gal: Option<f64>,
}

/// A row of a handbook, measured in level cruise; the keys are those that `fit` reads.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct FitRow {
    /// cruise.
    pub kind: &'static str,
    /// Pressure altitude.
    pub altitude_ft: f64,
    /// Mass.
    pub weight_lb: f64,
    /// Outside air temperature.
    pub temperature_c: f64,
    /// Crankshaft speed.
    pub rpm: f64,
    /// Manifold pressure; none at fixed pitch.
    pub map_inhg: Option<f64>,
    /// Mixture by its name in the profile.
    pub mixture: String,
    /// Fuel flow, of all engines together.
    pub fuel_flow_gph: Option<f64>,
    /// Indicated airspeed.
    pub ias_kt: Option<f64>,
    /// Where it was noted.
    pub note: String,
}

/// The plan beside what was noted.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct AsFlownFigures {
    /// Legs between noted points, in the order of the flight.
    pub legs: Vec<LegFlownFigures>,
    /// All of them; none with fewer than two points.
    pub total: Option<TotalFlownFigures>,
    /// Take-off after the planned time of it; none where it was not noted by the clock.
    pub late_min: Option<f64>,
    /// What was measured in level cruise, for `fit`.
    pub fit_rows: Vec<FitRow>,
    /// Notes that give no such row, and why.
    pub no_fit_row: Vec<Said>,
}

fn leg(l: &LegFlown, fuel: Fuel) -> LegFlownFigures {
    let speeds = l.ground_speeds_m_s();
    LegFlownFigures {
        from: l.from.clone(),
        to: l.to.clone(),
        distance_nm: nm(l.distance_m),
        planned_min: min(l.planned_s),
        flown_min: min(l.flown_s),
        difference_min: min(l.flown_s - l.planned_s),
        planned_gal: fuel.gal(l.planned_kg),
        flown_gal: l.flown_kg.map(|kg| fuel.gal(kg)),
        difference_gal: l.flown_kg.map(|kg| fuel.gal(kg - l.planned_kg)),
        planned_gs_kt: speeds.map(|s| kt(s.0)),
        flown_gs_kt: speeds.map(|s| kt(s.1)),
        difference_gs_kt: speeds.map(|s| kt(s.1 - s.0)),
        difference_tas_kt: l.tas_error_m_s.map(kt),
        difference_wind_kt: l.wind_error_m_s().map(kt),
    }
}

fn fit_row(s: &Steady, problem: &Problem, fuel: Fuel) -> FitRow {
    FitRow {
        kind: "cruise",
        altitude_ft: ft(s.pressure_altitude_m),
        weight_lb: lb(s.mass_kg),
        temperature_c: celsius(s.outside_k),
        rpm: rpm(s.rev_s),
        map_inhg: s.map_pa.map(inhg),
        mixture: mixture_name(problem, s.mixture),
        fuel_flow_gph: s.fuel_kg_s.map(|kg_s| fuel.gph(kg_s)),
        ias_kt: s.ias_m_s.map(kt),
        note: format!("noted at {}", s.name),
    }
}

fn no_row((name, why): &(String, NotSteady)) -> Said {
    match why {
        NotSteady::NotInCruise => Said {
            kind: "not_in_cruise",
            text: format!("{name}: not in level cruise"),
        },
        NotSteady::Lacks(keys) => Said {
            kind: "lacks",
            text: format!("{name}: no {}", keys.join(", no ")),
        },
    }
}

impl Figures {
    /// With the plan set beside notes of the flight.
    #[must_use]
    pub fn with_as_flown(mut self, flown: &AsFlown, problem: &Problem) -> Self {
        let fuel = Fuel::new(problem.aircraft.fuel.density_kg_m3);
        self.as_flown = Some(AsFlownFigures {
            legs: flown.legs.iter().map(|l| leg(l, fuel)).collect(),
            total: flown.total.map(|t| TotalFlownFigures {
                planned_min: min(t.planned_s),
                flown_min: min(t.flown_s),
                difference_min: min(t.flown_s - t.planned_s),
                planned_gal: fuel.gal(t.planned_kg),
                flown_gal: t.flown_kg.map(|kg| fuel.gal(kg)),
                difference_gal: t.flown_kg.map(|kg| fuel.gal(kg - t.planned_kg)),
            }),
            late_min: flown.late_s.map(min),
            fit_rows: flown
                .steady
                .iter()
                .map(|s| fit_row(s, problem, fuel))
                .collect(),
            no_fit_row: flown.not_steady.iter().map(no_row).collect(),
        });
        self
    }
}

/// The rows for `fit` as CSV.
///
/// # Errors
/// Only if the rows cannot be written, which would be our bug.
pub fn fit_rows_csv(figures: &AsFlownFigures) -> Result<Vec<u8>, csv::Error> {
    let mut out = csv::Writer::from_writer(Vec::new());
    for row in &figures.fit_rows {
        out.serialize(row)?;
    }
    out.into_inner().map_err(|e| e.into_error().into())
}

/// What was flown beside the plan, where notes were given, with the sentence below the table.
pub(super) fn as_flown(figures: &Figures) -> Option<(Differences, String)> {
    let flown = figures.as_flown.as_ref()?;
    let units = figures.units;
    let heads = [
        "",
        "nm",
        "min",
        "off",
        units.volume(),
        "off",
        "kt GS",
        "off",
        "wind off",
        "",
    ]
    .map(str::to_owned)
    .to_vec();
    let some = |x: Option<f64>, words: &dyn Fn(f64) -> String| x.map_or("-".to_owned(), words);
    let fuel = |x: f64| units.noted(x).figure;
    let fuel_off = |x: f64| with_sign(units.noted(x).figure);
    let off = |x: f64| signed(x, 1);
    let mut rows: Vec<Vec<String>> = Vec::new();
    for l in &flown.legs {
        rows.push(vec![
            format!("{} to {}", l.from, l.to),
            number(l.distance_nm, 0),
            number(l.flown_min, 1),
            off(l.difference_min),
            some(l.flown_gal, &fuel),
            some(l.difference_gal, &fuel_off),
            some(l.flown_gs_kt, &|x| number(x, 0)),
            some(l.difference_gs_kt, &|x| signed(x, 0)),
            some(l.difference_wind_kt, &|x| signed(x, 0)),
            String::new(),
        ]);
    }
    if let Some(t) = &flown.total {
        let mut row = vec![
            "all".to_owned(),
            String::new(),
            number(t.flown_min, 1),
            off(t.difference_min),
            some(t.flown_gal, &fuel),
            some(t.difference_gal, &fuel_off),
        ];
        row.resize(heads.len(), String::new());
        rows.push(row);
    }
    let mut words = vec![
        "The wind is what the notes leave for it: ground speed off the plan less true airspeed off the plan where the cruise \
         was noted with its airspeed, else as if that had been as planned."
            .to_owned(),
    ];
    if let Some(late) = flown.late_min {
        words.push(match signed(late, 0).as_str() {
            "0" => "Took off on time.".to_owned(),
            _ if late > 0.0 => format!("Took off {} min late.", number(late, 0)),
            _ => format!("Took off {} min early.", number(-late, 0)),
        });
    }
    words.push(match flown.fit_rows.len() {
        0 => "No row for fit.".to_owned(),
        1 => "1 row for fit.".to_owned(),
        n => format!("{n} rows for fit."),
    });
    if !flown.no_fit_row.is_empty() {
        let each: Vec<&str> = flown.no_fit_row.iter().map(|s| s.text.as_str()).collect();
        words.push(format!("Without one: {}.", each.join("; ")));
    }
    let table = Differences {
        title: "As flown",
        intro: "What was noted, and by how much it is off the plan (+ is longer, more, faster, or a wind more from behind):",
        heads,
        rows,
    };
    Some((table, words.join(" ")))
}
