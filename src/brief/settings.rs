//! The power-setting table: figures, text, JSON and CSV.

use super::json::pretty;
use super::measure::Units;
use super::terminal::Sheet;
use super::units::{Fuel, celsius, ft, inhg, kt, lb, percent, rpm};
use super::words::{
    EACH_ENGINE, ONE_ENGINE, down, feet, inches, knots, number, revs, sentence, up,
};
use crate::aircraft::{Aircraft, Governed, Refusal, Warmth};
use crate::tables::settings::{Cell, Hold, SettingsTable};
use schemars::JsonSchema;
use serde::Serialize;

/// The title of the table.
pub const SETTINGS_TITLE: &str =
    "Power settings: advice; the approved flight manual and the engine maker's limits decide";

/// One allowed setting.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SettingFigures {
    /// Manifold pressure, of each engine.
    pub map_inhg: f64,
    /// Crankshaft speed.
    pub rpm: f64,
    /// Brake power of rated power.
    pub power_percent: f64,
    /// Fuel flow, all engines together.
    pub fuel_flow_gph: f64,
    /// True airspeed in level flight.
    pub tas_kt: f64,
    /// Indicated airspeed.
    pub ias_kt: f64,
}

/// Why a setting is left out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct ReasonFigures {
    /// A name that does not change.
    pub code: &'static str,
    /// In words.
    pub text: String,
}

/// One cell: a setting or why there is none.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct CellFigures {
    /// What is held: "power", "full_throttle" or "rpm".
    pub hold: &'static str,
    /// The power held.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hold_power_percent: Option<f64>,
    /// The setting, if it is allowed.
    pub setting: Option<SettingFigures>,
    /// Why not, the weightiest first.
    pub left_out: Vec<ReasonFigures>,
}

/// One row.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SettingsRow {
    /// Pressure altitude.
    pub pressure_altitude_ft: f64,
    /// Outside air temperature.
    pub temperature_c: f64,
    /// Density altitude.
    pub density_altitude_ft: f64,
    /// Crankshaft speed to set; none at full throttle with a fixed pitch.
    pub rpm: Option<f64>,
    /// The cells.
    pub cells: Vec<CellFigures>,
}

/// The table in cockpit figures.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SettingsFigures {
    /// In which units the text is.
    #[serde(skip)]
    #[schemars(skip)]
    pub units: Units,
    /// Title.
    pub title: &'static str,
    /// The aircraft.
    pub aircraft: String,
    /// How many engines.
    pub engines: u32,
    /// Mass.
    pub weight_lb: f64,
    /// Mixture.
    pub mixture: String,
    /// Warmer than standard by this, unless a temperature was given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub isa_deviation_c: Option<f64>,
    /// Least indicated speed of the table.
    pub least_ias_kt: f64,
    /// Rows.
    pub rows: Vec<SettingsRow>,
    /// What must be said besides.
    pub notes: Vec<String>,
}

/// A reason in words; it does not name what the row says already.
pub(super) fn words(why: &Refusal, aircraft: &Aircraft, mixture: &str) -> String {
    let most = |fraction: f64| number(percent(fraction), 0);
    match why {
        Refusal::MapLimit { .. } if aircraft.procedures.map_limit.is_empty() => {
            "MAP over RPM/100, which is kept to because the profile has no limit line".to_owned()
        }
        Refusal::MapLimit { .. } => "MAP over the profile's limit line".to_owned(),
        Refusal::RpmBand(b) => {
            let above = if b.above_map_pa > 0.0 {
                format!(" above {} in", inches(inhg(b.above_map_pa)))
            } else {
                String::new()
            };
            format!(
                "the profile avoids {} to {} rpm{above}",
                revs(rpm(b.from_rev_s)),
                revs(rpm(b.to_rev_s))
            )
        }
        Refusal::MixtureBand { most: m } => {
            format!("{mixture} is for {} % power at most", most(*m))
        }
        Refusal::CruisePower { most: m } => {
            format!("over the greatest cruise power, {} %", most(*m))
        }
        Refusal::Overspeed { most_rev_s } => format!("over {} rpm", revs(rpm(*most_rev_s))),
        Refusal::Stopped => "the propeller stops".to_owned(),
        Refusal::PitchStop(Governed::OnHighStop) => {
            "the blades lie on the high pitch stop and RPM rises above what is set".to_owned()
        }
        Refusal::PitchStop(_) => {
            "the blades lie on the low pitch stop and RPM sags below what is set".to_owned()
        }
        Refusal::OutOfReach if aircraft.propeller.is_fixed() => {
            "no throttle position gives this RPM in level flight".to_owned()
        }
        Refusal::OutOfReach => "full throttle does not give this power".to_owned(),
        Refusal::NotLevel => "does not hold level flight".to_owned(),
        Refusal::TooSlow { least_m_s } => format!(
            "slower than 1.3 times the stall speed, {} KIAS",
            number(up(kt(*least_m_s), 0), 0)
        ),
        Refusal::TooFast { most_m_s } => {
            format!(
                "faster than Vno, {} KIAS",
                number(down(kt(*most_m_s), 0), 0)
            )
        }
    }
}

impl SettingsFigures {
    /// Cockpit figures of a table.
    pub fn new(table: &SettingsTable, aircraft: &Aircraft) -> Self {
        Self::in_units(table, aircraft, Units::Us)
    }

    /// The same with its text in `units`; figures are in the units of their keys whatever is asked for.
    pub fn in_units(table: &SettingsTable, aircraft: &Aircraft, units: Units) -> Self {
        let fuel = Fuel::new(aircraft.fuel.density_kg_m3);
        let mixture = aircraft
            .engine
            .spec
            .mixtures
            .get(table.ask.mixture)
            .map_or_else(String::new, |m| m.name.clone());
        let cell = |hold: Hold, cell: &Cell| {
            let (hold, hold_power_percent) = match hold {
                Hold::Power(f) => ("power", Some(percent(f))),
                Hold::FullThrottle => ("full_throttle", None),
                Hold::Tachometer => ("rpm", None),
            };
            let left_out = match cell {
                Ok(_) => vec![],
                Err(why) => why
                    .iter()
                    .map(|w| ReasonFigures {
                        code: w.code(),
                        text: words(w, aircraft, &mixture),
                    })
                    .collect(),
            };
            CellFigures {
                hold,
                hold_power_percent,
                setting: cell.as_ref().ok().map(|s| SettingFigures {
                    map_inhg: inhg(s.performance.map_pa),
                    rpm: rpm(s.performance.rev_s),
                    power_percent: percent(s.performance.power_fraction),
                    fuel_flow_gph: fuel.gph(s.performance.fuel_kg_s),
                    tas_kt: kt(s.tas_m_s),
                    ias_kt: kt(s.ias_m_s),
                }),
                left_out,
            }
        };
        let rows = table
            .rows
            .iter()
            .map(|r| SettingsRow {
                pressure_altitude_ft: ft(r.pressure_altitude_m),
                temperature_c: celsius(r.air.temperature_k),
                density_altitude_ft: ft(r.density_altitude_m),
                rpm: r.rev_s.map(rpm),
                cells: r
                    .cells
                    .iter()
                    .zip(&table.columns)
                    .map(|(c, &hold)| {
                        // Fixed pitch: the row without RPM is full throttle.
                        let hold = if r.rev_s.is_none() {
                            Hold::FullThrottle
                        } else {
                            hold
                        };
                        cell(hold, c)
                    })
                    .collect(),
            })
            .collect();
        let mut notes = vec![
            "Level flight, clean, steady speed. Fuel flow is rounded up, speed and MAP down."
                .to_owned(),
            "CHT is not modelled: watch it.".to_owned(),
        ];
        if aircraft.engines > 1 {
            notes.push(format!("{EACH_ENGINE} {ONE_ENGINE}"));
        }
        if aircraft.procedures.map_limit.is_empty() && !aircraft.propeller.is_fixed() {
            notes.push(
                "The profile has no MAP/RPM limit line, so MAP (in) is kept to RPM/100; entering the engine maker's line frees more."
                    .to_owned(),
            );
        }
        Self {
            units,
            title: SETTINGS_TITLE,
            aircraft: aircraft.name.clone(),
            engines: aircraft.engines,
            weight_lb: lb(table.ask.mass_kg),
            mixture,
            isa_deviation_c: match table.ask.warmth {
                Warmth::AboveStandard(k) => Some(super::units::plain(k)),
                Warmth::Outside(_) => None,
            },
            least_ias_kt: kt(table.least_m_s),
            rows,
            notes,
        }
    }
}

/// The table as JSON, a newline at the end.
///
/// # Errors
/// Only if the figures cannot be written as JSON, which would be our bug.
pub fn settings_json(figures: &SettingsFigures) -> Result<String, serde_json::Error> {
    pretty(figures)
}

/// The table as CSV, one line for each cell.
///
/// # Errors
/// Only if the text cannot be written to memory, which would be our bug.
pub fn settings_csv(figures: &SettingsFigures) -> Result<Vec<u8>, csv::Error> {
    let mut out = csv::Writer::from_writer(Vec::new());
    out.write_record([
        "pressure_altitude_ft",
        "temperature_c",
        "rpm",
        "hold",
        "hold_power_percent",
        "allowed",
        "reason",
        "map_inhg",
        "power_percent",
        "fuel_flow_gph",
        "tas_kt",
        "ias_kt",
    ])?;
    let some = |x: Option<f64>| x.map_or_else(String::new, |x| x.to_string());
    for row in &figures.rows {
        for cell in &row.cells {
            let s = cell.setting.as_ref();
            let codes: Vec<&str> = cell.left_out.iter().map(|w| w.code).collect();
            out.write_record([
                row.pressure_altitude_ft.to_string(),
                row.temperature_c.to_string(),
                some(row.rpm.or(s.map(|s| s.rpm))),
                cell.hold.to_owned(),
                some(cell.hold_power_percent),
                s.is_some().to_string(),
                codes.join(";"),
                some(s.map(|s| s.map_inhg)),
                some(s.map(|s| s.power_percent)),
                some(s.map(|s| s.fuel_flow_gph)),
                some(s.map(|s| s.tas_kt)),
                some(s.map(|s| s.ias_kt)),
            ])?;
        }
    }
    out.into_inner().map_err(|e| e.into_error().into())
}

/// Columns of altitude, temperature and RPM.
const LEFT: usize = 16;
/// Columns of a power, with the gap before it.
const POWER: usize = 15;
/// Columns of full throttle or a fixed pitch, with the gap before it.
const FULL: usize = 19;

/// Whether a column also says its power.
fn says_power(cell: &CellFigures) -> bool {
    cell.hold != "power"
}

fn width_of(cell: &CellFigures) -> usize {
    if says_power(cell) { FULL } else { POWER }
}

/// Reasons in order of appearance; each has a letter.
#[derive(Default)]
struct Legend(Vec<String>);

impl Legend {
    fn letter(&mut self, text: &str) -> String {
        let at = self.0.iter().position(|t| t == text).unwrap_or_else(|| {
            self.0.push(text.to_owned());
            self.0.len() - 1
        });
        // There are fewer kinds of reason than letters, bands to avoid aside.
        u8::try_from(at)
            .ok()
            .filter(|&n| n < 26)
            .map_or_else(|| "*".to_owned(), |n| char::from(b'a' + n).to_string())
    }
}

fn cell_words(cell: &CellFigures, legend: &mut Legend, units: Units) -> String {
    let map = |x: f64| number(down(x, 1), 1);
    match (&cell.setting, cell.left_out.first()) {
        (Some(s), _) => {
            let flow = units.flow(s.fuel_flow_gph).figure;
            let tas = knots(down(s.tas_kt, 0));
            if says_power(cell) {
                let power = number(down(s.power_percent, 0), 0);
                format!("  {:>4} {power:>3} {flow:>4} {tas:>3}", map(s.map_inhg))
            } else {
                format!("  {:>4} {flow:>4} {tas:>3}", map(s.map_inhg))
            }
        }
        (None, Some(why)) => {
            format!("  {:>4}", legend.letter(&why.text))
        }
        (None, None) => String::new(),
    }
}

/// The text, at most 100 columns wide and laid out for no fewer than 80.
pub fn settings_text(figures: &SettingsFigures, width: usize) -> String {
    let mut sheet = Sheet::new(width);
    sheet.paragraph("", "", figures.title);
    let air = figures.isa_deviation_c.map_or_else(
        || "temperature as given".to_owned(),
        |c| match c {
            0.0 => "standard temperature".to_owned(),
            c if c > 0.0 => format!("ISA +{}", number(c, 1)),
            c => format!("ISA {}", number(c, 1)),
        },
    );
    sheet.strong(&format!(
        "{}: {}, {}, {air}",
        figures.aircraft,
        figures.units.load(figures.weight_lb),
        figures.mixture
    ));
    let flow = figures.units.flow_unit();
    let all = if figures.engines > 1 {
        " of all engines"
    } else {
        ""
    };
    sheet.paragraph(
        "",
        "",
        &format!("Pressure altitude ft, MAP in, {flow}{all}, kt true airspeed, % of rated power"),
    );
    let mut legend = Legend::default();
    let columns = figures.rows.first().map_or(&[][..], |r| &r.cells[..]);
    let mut from = 0;
    while from < columns.len() {
        // As many columns as fit, at least one.
        let mut used = LEFT + width_of(&columns[from]);
        let mut to = from + 1;
        while to < columns.len() && used + width_of(&columns[to]) <= sheet.width() {
            used += width_of(&columns[to]);
            to += 1;
        }
        block(&mut sheet, figures, from..to, &mut legend);
        from = to;
    }
    if !legend.0.is_empty() {
        sheet.heading("Left out, and why");
        for text in &legend.0.clone() {
            let letter = legend.letter(text);
            sheet.paragraph(
                &format!("  {letter} "),
                "    ",
                &format!("{}.", sentence(text)),
            );
        }
    }
    sheet.blank();
    for note in &figures.notes {
        sheet.paragraph("", "  ", note);
    }
    sheet.finish()
}

fn block(
    sheet: &mut Sheet,
    figures: &SettingsFigures,
    columns: std::ops::Range<usize>,
    legend: &mut Legend,
) {
    sheet.blank();
    let heads = figures
        .rows
        .last()
        .map_or(&[][..], |r| &r.cells[columns.clone()]);
    let flow = figures.units.flow_unit();
    let mut first = " ".repeat(LEFT);
    let mut second = format!("{:>6} {:>3} {:>5}", "ft", "C", "RPM");
    for cell in heads {
        match (cell.hold, cell.hold_power_percent) {
            ("power", Some(p)) => {
                first.push_str(&format!("  {:─^13}", format!(" {} % ", number(p, 0))));
                second.push_str(&format!("  {:>4} {flow:>4} {:>3}", "MAP", "kt"));
            }
            (hold, _) => {
                let name = if hold == "rpm" { "" } else { " full throttle " };
                if !name.is_empty() {
                    first.push_str(&format!("  {name:─^17}"));
                }
                second.push_str(&format!("  {:>4} {:>3} {flow:>4} {:>3}", "MAP", "%", "kt"));
            }
        }
    }
    if !first.trim().is_empty() {
        sheet.line(&first);
    }
    sheet.line(&second);
    let mut last = None;
    for row in &figures.rows {
        let mut line = if last == Some(row.pressure_altitude_ft) {
            " ".repeat(10)
        } else {
            let c = number(row.temperature_c, 0);
            format!("{:>6} {c:>3}", feet(row.pressure_altitude_ft))
        };
        last = Some(row.pressure_altitude_ft);
        let turning = row.rpm.or_else(|| {
            let s = row.cells.first().and_then(|c| c.setting.as_ref());
            s.map(|s| s.rpm)
        });
        let set = turning.map_or_else(|| "full".to_owned(), revs);
        line.push_str(&format!(" {set:>5}"));
        for cell in &row.cells[columns.clone()] {
            let w = width_of(cell);
            line.push_str(&format!("{:<w$}", cell_words(cell, legend, figures.units)));
        }
        if row.rpm.is_none() && turning.is_some() {
            line.push_str("  full throttle");
        }
        sheet.line(line.trim_end());
    }
}
