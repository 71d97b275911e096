//! Rows of a handbook.

use super::super::diagnostic::did_you_mean;
use super::super::sheet::{Num, Section, Sheet};
use super::header::Header;
use crate::air::isa;
use crate::aircraft::{Configuration, EngineState, GlidePropeller};
use crate::fit::{Condition, EngineSetting, Flight, Quantity, Row, Seen, Setting};
use crate::quantity::{
    Duration, Ias, KG_PER_LB, M_PER_FT, M_PER_NM, M_S_PER_FPM, ManifoldPressure, Mass, ZERO_C_K,
};

/// Kinds of rows, in the order in which they are read.
pub(super) const KINDS: [&str; 4] = ["cruise", "climb", "glide", "stall"];
/// Columns of a CSV file besides `kind`.
pub(super) const COLUMNS: [&str; 26] = [
    "altitude_ft",
    "weight_lb",
    "temperature_c",
    "isa_dev_c",
    "trust",
    "note",
    "gear_down",
    "cowl_flaps_open",
    "rpm",
    "map_inhg",
    "full_throttle",
    "power_is_set",
    "mixture",
    "power_percent",
    "fuel_flow_gph",
    "tas_kt",
    "ias_kt",
    "from_ft",
    "rate_fpm",
    "time_min",
    "fuel_gal",
    "distance_nm",
    "engine",
    "lever",
    "ratio",
    "kind",
];
/// Least standard error of a printed rate of climb, fpm.
const RATE_FPM: f64 = 20.0;
/// Reading errors of climb charts beside their percentage: minutes, gallons, nautical miles.
const CHART_READING: (f64, f64, f64) = (0.3, 0.15, 0.3);

/// A dead engine that the air turns: throttle shut, oil pressure up.
const DEAD: EngineState = EngineState::Dead {
    throttle_open: false,
    oil_pressure: true,
};

/// Standard errors of figures: fractions, and Pa.
#[derive(Debug, Clone, Copy)]
pub(super) struct Errors {
    speed: f64,
    fuel_flow: f64,
    power: f64,
    map_pa: f64,
    climb_rate: f64,
    climb: f64,
    glide: f64,
    stall: f64,
}

/// Reads `[uncertainty]`. The defaults are what handbooks are read and flown to; judgement, no source.
pub(super) fn errors(section: Option<Section<'_>>) -> Errors {
    let percent = |key: &'static str, default: f64| {
        let given = section
            .as_ref()
            .and_then(|s| s.optional(key, "standard error percent"));
        given.map_or(default, |n| n.value) / 100.0
    };
    let map = section
        .as_ref()
        .and_then(|s| s.optional("map_inhg", "map standard error"));
    let errors = Errors {
        speed: percent("speed_percent", 1.0),
        fuel_flow: percent("fuel_flow_percent", 2.0),
        power: percent("power_percent", 1.0),
        map_pa: ManifoldPressure::inhg(map.map_or(0.2, |n| n.value)).to_pa(),
        climb_rate: percent("climb_rate_percent", 4.0),
        climb: percent("climb_percent", 3.0),
        glide: percent("glide_percent", 4.0),
        stall: percent("stall_percent", 2.0),
    };
    if let Some(section) = section {
        section.finish();
    }
    errors
}

/// What the keys of its kind tell of a row.
struct Told {
    condition: Condition,
    flight: Flight,
    seen: Vec<Seen>,
    /// Figures of which it must have one, in words.
    wanted: &'static str,
}

/// What rows need of the header.
pub(super) struct RowReader {
    mixtures: Vec<String>,
    best_power: usize,
    most_lb: f64,
    rated_rpm: f64,
    kg_per_gal: f64,
    fixed_pitch: bool,
    errors: Errors,
}

impl RowReader {
    pub(super) fn new(header: &Header, errors: Errors) -> Self {
        let mixtures = header.mixtures();
        let best = (0..mixtures.len()).max_by(|a, b| mixtures[*a].2.total_cmp(&mixtures[*b].2));
        // what is missing is noted by the profile's reader, and NaN goes no farther
        Self {
            best_power: best.unwrap_or(0),
            mixtures: mixtures.into_iter().map(|(name, _, _)| name).collect(),
            most_lb: header
                .number("weights", "max_take_off_lb")
                .unwrap_or(f64::NAN),
            rated_rpm: header.number("engine", "rated_rpm").unwrap_or(f64::NAN),
            kg_per_gal: header.number("fuel", "density_lb_per_gal").unwrap_or(6.0) * KG_PER_LB,
            fixed_pitch: header.says("propeller", "kind", "fixed"),
            errors,
        }
    }

    /// Every row of a file, kind by kind.
    pub(super) fn read(&self, sheet: &Sheet<'_>, root: &Section<'_>) -> Vec<Row> {
        let mut all = Vec::new();
        for kind in KINDS {
            for (i, section) in root.rows(kind).into_iter().enumerate() {
                let label = format!("{kind} {}", i + 1);
                let told = match kind {
                    "cruise" => self.cruise(sheet, &section),
                    "climb" => self.climb(sheet, &section),
                    "glide" => self.glide(sheet, &section),
                    _ => self.stall(sheet, &section),
                };
                all.push(self.finish(sheet, section, label, told));
            }
        }
        all
    }

    fn condition(&self, sheet: &Sheet<'_>, row: &Section<'_>) -> Condition {
        let altitude_m = row.number("altitude_ft", "altitude").value * M_PER_FT;
        let temperature = row.optional("temperature_c", "temperature");
        let deviation = row.optional("isa_dev_c", "ISA deviation");
        if let (Some(t), Some(d)) = (&temperature, &deviation) {
            let message = format!("both {} and {} are given", t.key, d.key);
            sheet.contradiction(t, message, &[d], "give one of them");
        }
        let deviation_k = match (temperature, deviation) {
            (_, Some(d)) => d.value,
            (Some(t), None) => t.value + ZERO_C_K - isa::temperature_k(altitude_m),
            (None, None) => 0.0,
        };
        Condition {
            pressure_altitude_m: altitude_m,
            deviation_k,
            mass_kg: self.mass_kg(sheet, row),
            configuration: Configuration {
                gear_down: row.flag("gear_down"),
                cowl_flaps_open: row.flag("cowl_flaps_open"),
                flap: 0,
            },
        }
    }

    fn mass_kg(&self, sheet: &Sheet<'_>, row: &Section<'_>) -> f64 {
        let typed = row.optional("weight_lb", "mass");
        if let Some(n) = typed.as_ref().filter(|n| n.value > self.most_lb) {
            let message = format!(
                "{} = {} is above weights.max_take_off_lb = {}",
                n.key, n.value, self.most_lb
            );
            sheet.contradiction(n, message, &[], "correct one of the two");
        }
        Mass::lb(typed.map_or(self.most_lb, |n| n.value)).to_kg()
    }

    fn mixture(&self, sheet: &Sheet<'_>, row: &Section<'_>, default: usize) -> usize {
        if !row.has("mixture") {
            return default;
        }
        let name = row.text("mixture", "the name of a mixture");
        if let Some(i) = self.mixtures.iter().position(|m| *m == name) {
            return i;
        }
        if !name.is_empty() {
            let at = at(row, "mixture");
            let known: Vec<String> = self.mixtures.iter().map(|m| format!("\"{m}\"")).collect();
            let message = format!(
                "{} = \"{}\" is no mixture here",
                at.key,
                name.escape_debug()
            );
            let hint = match did_you_mean(&name, self.mixtures.iter().map(String::as_str)) {
                Some(word) => format!("did you mean \"{word}\"?"),
                None => format!(
                    "the mixtures are {}; others stand in [[engine.mixture]]",
                    known.join(", ")
                ),
            };
            sheet.contradiction(&at, message, &[], &hint);
        }
        default
    }

    /// Ends a row: spreads of its figures by its trust, at least one figure.
    fn finish(&self, sheet: &Sheet<'_>, row: Section<'_>, label: String, told: Told) -> Row {
        let mut seen = told.seen;
        let trust = row.optional("trust", "trust").map_or(1.0, |n| n.value);
        if row.has("note") {
            row.text("note", "a remark");
        }
        for figure in &mut seen {
            figure.sigma /= trust.sqrt();
        }
        if seen.is_empty() {
            let at = Num {
                value: f64::NAN,
                span: row.span(),
                key: row.path(""),
            };
            let key = at.key.trim_end_matches('.').to_owned();
            let message = format!("{key} has no figure to fit to");
            sheet.contradiction(&at, message, &[], &format!("give any of {}", told.wanted));
        }
        row.finish();
        Row {
            label,
            condition: told.condition,
            flight: told.flight,
            seen,
        }
    }

    fn engine_figures(&self, row: &Section<'_>, seen: &mut Vec<Seen>) {
        if let Some(n) = row.optional("power_percent", "percent") {
            seen.push(figure(
                Quantity::PowerFraction,
                n.value / 100.0,
                self.errors.power,
            ));
        }
        if let Some(n) = row.optional("fuel_flow_gph", "fuel flow") {
            let kg_s = n.value * self.kg_per_gal / Duration::h(1.0).to_s();
            seen.push(figure(
                Quantity::FuelFlow,
                kg_s,
                self.errors.fuel_flow * kg_s,
            ));
        }
    }

    fn map_figure(&self, map: Option<&Num>, seen: &mut Vec<Seen>) {
        if let Some(n) = map {
            let pa = ManifoldPressure::inhg(n.value).to_pa();
            seen.push(figure(Quantity::ManifoldPressure, pa, self.errors.map_pa));
        }
    }

    fn cruise(&self, sheet: &Sheet<'_>, row: &Section<'_>) -> Told {
        let condition = self.condition(sheet, row);
        let rev_s = row.number("rpm", "rpm").value / 60.0;
        let map = row.optional("map_inhg", "manifold pressure");
        let full = row.flag("full_throttle");
        let mixture = self.mixture(sheet, row, self.best_power);
        let mut seen = Vec::new();
        self.engine_figures(row, &mut seen);
        let power = seen
            .iter()
            .find(|s| s.quantity == Quantity::PowerFraction)
            .map(|s| s.value);
        let power_set = row.flag("power_is_set");
        if power_set && (full || power.is_none()) {
            let at = at(row, "power_is_set");
            let why = if full {
                "the throttle is full"
            } else {
                "no power_percent is given"
            };
            let hint = "leave power_is_set out, or give power_percent and no full_throttle";
            sheet.contradiction(&at, format!("{} is true, but {why}", at.key), &[], hint);
        }
        let throttle = match (full, &map, power) {
            (true, _, _) => Setting::FullThrottle,
            (false, _, Some(fraction)) if power_set => Setting::Power(fraction),
            (false, Some(n), _) => Setting::Map(ManifoldPressure::inhg(n.value).to_pa()),
            (false, None, Some(fraction)) => Setting::Power(fraction),
            (false, None, None) if self.fixed_pitch => Setting::Speed,
            (false, None, None) => {
                row.missing(
                    "map_inhg",
                    "a number, or full_throttle = true, or power_percent",
                );
                Setting::FullThrottle
            }
        };
        if matches!(throttle, Setting::Power(_)) {
            // it was set, not read
            seen.retain(|s| s.quantity != Quantity::PowerFraction);
        }
        for (key, quantity) in [("tas_kt", Quantity::Tas), ("ias_kt", Quantity::Ias)] {
            if let Some(n) = row.optional(key, "speed") {
                let m_s = Ias::kt(n.value).to_m_s();
                seen.push(figure(quantity, m_s, self.errors.speed * m_s));
            }
        }
        let wanted = "power_percent, fuel_flow_gph, tas_kt, ias_kt";
        let flight = Flight::Cruise {
            engine: EngineSetting {
                throttle,
                rev_s,
                mixture,
            },
        };
        if !seen.is_empty() || full || power_set {
            self.map_figure(map.as_ref(), &mut seen);
        }
        Told {
            condition,
            flight,
            seen,
            wanted,
        }
    }

    fn climb(&self, sheet: &Sheet<'_>, row: &Section<'_>) -> Told {
        let condition = self.condition(sheet, row);
        let ias_m_s = ias_m_s(row);
        let rpm = row
            .optional("rpm", "rpm")
            .map_or(self.rated_rpm, |n| n.value);
        let map = row.optional("map_inhg", "manifold pressure");
        let full = row.flag("full_throttle");
        let mixture = self.mixture(sheet, row, 0);
        let throttle = match &map {
            Some(n) if !full => Setting::Map(ManifoldPressure::inhg(n.value).to_pa()),
            _ => Setting::FullThrottle,
        };
        let engine = EngineSetting {
            throttle,
            rev_s: rpm / 60.0,
            mixture,
        };
        let from = row.optional("from_ft", "altitude");
        let mut seen = Vec::new();
        let e = self.errors;
        let (flight, wanted) = if let Some(from) = from {
            let to = at_value(row, "altitude_ft", condition.pressure_altitude_m / M_PER_FT);
            sheet.rising(&[&from, &to]);
            for (key, what, quantity, reading, si) in [
                (
                    "time_min",
                    "minutes",
                    Quantity::ClimbTime,
                    CHART_READING.0,
                    60.0,
                ),
                (
                    "fuel_gal",
                    "fuel",
                    Quantity::ClimbFuel,
                    CHART_READING.1,
                    self.kg_per_gal,
                ),
                (
                    "distance_nm",
                    "distance",
                    Quantity::ClimbDistance,
                    CHART_READING.2,
                    M_PER_NM,
                ),
            ] {
                if let Some(n) = row.optional(key, what) {
                    let error = (e.climb * n.value).hypot(reading);
                    seen.push(figure(quantity, n.value * si, error * si));
                }
            }
            let from_m = from.value * M_PER_FT;
            (
                Flight::ClimbSpan {
                    engine,
                    ias_m_s,
                    from_m,
                },
                "time_min, fuel_gal, distance_nm",
            )
        } else {
            if let Some(n) = row.optional("rate_fpm", "rate of climb") {
                let error_fpm = (e.climb_rate * n.value.abs()).max(RATE_FPM);
                let (rate, error) = (n.value * M_S_PER_FPM, error_fpm * M_S_PER_FPM);
                seen.push(figure(Quantity::ClimbRate, rate, error));
            }
            self.engine_figures(row, &mut seen);
            if !seen.is_empty() || full {
                self.map_figure(map.as_ref(), &mut seen);
            }
            (
                Flight::Climb { engine, ias_m_s },
                "rate_fpm, fuel_flow_gph, power_percent",
            )
        };
        Told {
            condition,
            flight,
            seen,
            wanted,
        }
    }

    fn glide(&self, sheet: &Sheet<'_>, row: &Section<'_>) -> Told {
        let condition = self.condition(sheet, row);
        let ias_m_s = ias_m_s(row);
        let lever = if row.has("lever") {
            let words = [
                ("forward", GlidePropeller::LeverForward),
                ("back", GlidePropeller::LeverBack),
            ];
            row.choice("lever", &words)
        } else {
            None
        };
        let engine = if row.has("engine") {
            row.choice("engine", &[("dead", DEAD), ("idle", EngineState::Idling)])
        } else {
            None
        };
        let mut seen = Vec::new();
        if let Some(n) = row.optional("ratio", "glide ratio") {
            seen.push(figure(
                Quantity::GlideRatio,
                n.value,
                self.errors.glide * n.value,
            ));
        }
        if let Some(n) = row.optional("rate_fpm", "rate of descent") {
            let rate = n.value * M_S_PER_FPM;
            seen.push(figure(Quantity::SinkRate, rate, self.errors.glide * rate));
        }
        let flight = Flight::Glide {
            ias_m_s,
            lever: lever.unwrap_or(GlidePropeller::LeverForward),
            engine: engine.unwrap_or(DEAD),
        };
        Told {
            condition,
            flight,
            seen,
            wanted: "ratio, rate_fpm",
        }
    }

    fn stall(&self, sheet: &Sheet<'_>, row: &Section<'_>) -> Told {
        let condition = Condition {
            pressure_altitude_m: 0.0,
            deviation_k: 0.0,
            mass_kg: self.mass_kg(sheet, row),
            configuration: Configuration::default(),
        };
        let vs = ias_m_s(row);
        let seen = vec![figure(Quantity::StallSpeed, vs, self.errors.stall * vs)];
        Told {
            condition,
            flight: Flight::Stall,
            seen,
            wanted: "ias_kt",
        }
    }
}

fn figure(quantity: Quantity, value: f64, sigma: f64) -> Seen {
    Seen {
        quantity,
        value,
        sigma,
    }
}

fn ias_m_s(row: &Section<'_>) -> f64 {
    Ias::kt(row.number("ias_kt", "speed").value).to_m_s()
}

fn at(row: &Section<'_>, key: &'static str) -> Num {
    at_value(row, key, f64::NAN)
}

fn at_value(row: &Section<'_>, key: &'static str, value: f64) -> Num {
    Num {
        value,
        span: row.span_of(key),
        key: row.path(key),
    }
}
