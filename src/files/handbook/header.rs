//! The header of a handbook: a profile with figures left out, completed with standard values.

use std::fmt::Write as _;
use std::ops::Range as Span;

use toml::de::{DeTable, DeValue};
use toml::{Table, Value};

use super::super::diagnostic::Finding;

/// Sections of a profile, in the order in which they are written.
pub(super) const SECTIONS: [&str; 8] = [
    "aircraft",
    "weights",
    "fuel",
    "speeds",
    "drag",
    "engine",
    "propeller",
    "procedures",
];

/// Greatest lift coefficient, clean, power off, from which a stall speed is assumed. Common for light aeroplanes; no source.
const CL_MAX: f64 = 1.45;
/// Drag increment of open cowl flaps that is assumed before the fit where rows were flown with them; judgement, no source.
pub(super) const COOLING_CD: f64 = 0.002;
/// Rated power over displacement that is assumed before the fit, hp per cubic inch: the middle of unsupercharged light-aeroplane
/// engines, 0.49 to 0.56; no source.
const HP_PER_CUIN: f64 = 0.53;
/// Load factor of the manoeuvring speed (14 CFR 23.337, normal category, before amendment 64; from memory).
const LIMIT_LOAD_FACTOR: f64 = 3.8;
/// Idle fuel flow over displacement, gph per cubic inch: that of the invented 200-hp engine; no source.
const IDLE_GPH_PER_CUIN: f64 = 1.2 / 361.0;

/// The header as given.
#[derive(Debug, Clone)]
pub(super) struct Header {
    given: Table,
}

/// What a profile says of the figures of a section.
pub(super) struct Says {
    /// The section.
    pub(super) section: &'static str,
    /// Where its figures come from.
    pub(super) source: String,
    /// Keys and notes on them.
    pub(super) notes: Vec<(String, String)>,
}

/// A header with every standard value put in.
pub(super) struct Completed {
    table: Table,
    /// Keys that took a standard value, in order.
    pub(super) assumed: Vec<(&'static str, &'static str)>,
    /// Keys, as `section.key`, whose standard value follows from others that are missing.
    pub(super) waiting: Vec<String>,
}

impl Header {
    /// From the text of a handbook.
    pub(super) fn new(text: &str) -> Result<Self, String> {
        let all: Table = toml::from_str(text).map_err(|e| e.message().to_owned())?;
        let given = all
            .into_iter()
            .filter(|(key, _)| SECTIONS.contains(&key.as_str()))
            .collect();
        Ok(Self { given })
    }

    fn section(&self, section: &str) -> Option<&Table> {
        self.given.get(section).and_then(Value::as_table)
    }

    /// Whether a key is given.
    pub(super) fn has(&self, section: &str, key: &str) -> bool {
        self.section(section).is_some_and(|s| s.contains_key(key))
    }

    /// A number that is given.
    pub(super) fn number(&self, section: &str, key: &str) -> Option<f64> {
        number(self.section(section)?.get(key)?)
    }

    /// Whether a word is given.
    pub(super) fn says(&self, section: &str, key: &str, word: &str) -> bool {
        self.section(section)
            .and_then(|s| s.get(key))
            .and_then(Value::as_str)
            == Some(word)
    }

    /// The source of a section, where given.
    pub(super) fn source(&self, section: &str) -> Option<&str> {
        self.section(section)?.get("source")?.as_str()
    }

    /// With a figure put in; fitted figures are given to the header before it is completed.
    pub(super) fn put(&mut self, section: &str, key: &str, value: Value) {
        let table = self
            .given
            .entry(section)
            .or_insert_with(|| Value::Table(Table::new()));
        if let Value::Table(table) = table {
            table.insert(key.to_owned(), value);
        }
    }

    /// Names, fuel-air ratios and relative powers of the mixtures, given or standard.
    pub(super) fn mixtures(&self) -> Vec<(String, f64, f64)> {
        let standard = standard_mixtures();
        let given = self.section("engine").and_then(|e| e.get("mixture"));
        let rows = given
            .unwrap_or(&standard)
            .as_array()
            .cloned()
            .unwrap_or_default();
        let of = |row: &Value| {
            let number = |key| row.get(key).and_then(number).unwrap_or(f64::NAN);
            let name = row
                .get("name")
                .and_then(Value::as_str)
                .unwrap_or("")
                .trim()
                .to_owned();
            (name, number("fuel_air"), number("relative_power"))
        };
        rows.iter().map(of).collect()
    }

    /// Puts the standard values in. Keys without one stay away, and the profile's reader says so.
    pub(super) fn complete(&self, cowl_flaps: bool) -> Completed {
        let mut table = self.given.clone();
        let (mut assumed, mut waiting) = (Vec::new(), Vec::new());
        for section in SECTIONS {
            table
                .entry(section)
                .or_insert_with(|| Value::Table(Table::new()));
        }
        let mut put = |section: &'static str, key: &'static str, value: Option<Value>| {
            let Some(Value::Table(t)) = table.get_mut(section) else {
                return;
            };
            if t.contains_key(key) {
                return;
            }
            match value {
                Some(value) => {
                    t.insert(key.to_owned(), value);
                    assumed.push((section, key));
                }
                None => waiting.push(format!("{section}.{key}")),
            }
        };
        let float = |x: f64| Some(Value::Float(round(x, 5)));
        let whole = |x: f64| Some(Value::Float(x.round()));
        let most_lb = self.number("weights", "max_take_off_lb");
        let vno_kt = self.number("speeds", "vno_kt");
        let rated_rpm = self.number("engine", "rated_rpm");
        let cuin = self.number("engine", "displacement_cuin");
        put("aircraft", "seats", Some(Value::Integer(4)));
        put("weights", "empty_lb", most_lb.and_then(|w| whole(0.62 * w)));
        put("weights", "max_landing_lb", most_lb.and_then(float));
        put("fuel", "density_lb_per_gal", float(6.0));
        let area_sqft = self.number("drag", "wing_area_sqft");
        // V = sqrt(2 W / (rho S CL)): knots from pounds and square feet, rho 0.0023769 slug/cu ft
        let from_area = most_lb
            .zip(area_sqft)
            .map(|(w, s)| (2.0 * w / (0.002_376_9 * s * CL_MAX)).sqrt() / 1.687_81);
        let vs_kt = self.number("speeds", "vs_kt").or(from_area);
        put("speeds", "vs_kt", from_area.and_then(whole));
        let below_vno = |factor: f64| {
            let kt = (factor * vs_kt?).round();
            Some(vno_kt.map_or(kt, |vno| kt.min(vno)))
        };
        let va_kt = below_vno(LIMIT_LOAD_FACTOR.sqrt());
        put("speeds", "va_kt", va_kt.and_then(float));
        let va_kt = self.number("speeds", "va_kt").or(va_kt);
        let vy = |altitude_ft: f64, factor: f64| {
            let kt = (factor * vs_kt?)
                .round()
                .min(vno_kt.map_or(f64::INFINITY, |v| v - 1.0));
            let row = [("altitude_ft", altitude_ft), ("ias_kt", kt)];
            Some(Value::Table(
                row.map(|(k, v)| (k.to_owned(), Value::Float(v)))
                    .into_iter()
                    .collect(),
            ))
        };
        let both = vy(0.0, 1.45).zip(vy(12_000.0, 1.33));
        put("speeds", "vy", both.map(|(a, b)| Value::Array(vec![a, b])));
        if !self.says("aircraft", "gear", "fixed") {
            for key in ["vlo_extend_kt", "vlo_retract_kt", "vle_kt"] {
                put("speeds", key, va_kt.and_then(float));
            }
            put("drag", "gear_cd", float(0.016));
        }
        put(
            "speeds",
            "least_cooling_kt",
            vs_kt.and_then(|v| whole(1.3 * v)),
        );
        put("drag", "cd0", float(0.026));
        put("drag", "k", float(0.055));
        put(
            "drag",
            "cooling_cd",
            float(if cowl_flaps { COOLING_CD } else { 0.0 }),
        );
        put("engine", "compression_ratio", float(8.5));
        put(
            "engine",
            "rated_power_hp",
            cuin.and_then(|d| whole(HP_PER_CUIN * d)),
        );
        put("engine", "induction_loss_inhg", float(0.7));
        put("engine", "ram_recovery", float(0.8));
        put("engine", "volumetric_efficiency", float(0.9));
        put("engine", "charge_heating_c", float(15.0));
        let friction = [0.97, 0.15, 0.05].map(Value::Float).to_vec();
        put("engine", "friction_bar", Some(Value::Array(friction)));
        put(
            "engine",
            "idle_gph",
            cuin.and_then(|d| float(round(IDLE_GPH_PER_CUIN * d, 2))),
        );
        put("engine", "mixture", Some(standard_mixtures()));
        put("propeller", "blades", Some(Value::Integer(2)));
        if !self.has("propeller", "station") {
            put(
                "propeller",
                "planform",
                Some(Value::String("standard".to_owned())),
            );
            put("propeller", "chord_scale", float(1.0));
        }
        let fixed = self.says("propeller", "kind", "fixed");
        if !fixed {
            put("propeller", "low_pitch_deg", float(12.5));
            put("propeller", "high_pitch_deg", float(34.0));
            put("propeller", "lowest_governed_rpm", float(1_500.0));
            put(
                "propeller",
                "highest_governed_rpm",
                rated_rpm.and_then(float),
            );
            put(
                "propeller",
                "without_oil",
                Some(Value::String("fine".to_owned())),
            );
        }
        put("propeller", "installed_factor", float(0.93));
        let top_rpm = self
            .number("propeller", "highest_governed_rpm")
            .or(rated_rpm);
        put("procedures", "taxi_fuel_gal", float(1.2));
        put("procedures", "taxi_min", float(8.0));
        put("procedures", "take_off_fuel_gal", float(0.4));
        if !fixed {
            put(
                "procedures",
                "climb_rpm",
                top_rpm.map(|n| Value::Array(vec![Value::Float(n)])),
            );
        }
        put("procedures", "max_cruise_power_percent", float(75.0));
        put(
            "procedures",
            "full_rich_density_altitude_ft",
            float(5_000.0),
        );
        put("procedures", "map_step_inhg", float(0.5));
        put("procedures", "rpm_step", float(50.0));
        put("procedures", "speed_step_kt", float(5.0));
        put("procedures", "tank_change_min", float(30.0));
        put(
            "procedures",
            "pattern_kt",
            vs_kt.and_then(|v| whole(1.5 * v)),
        );
        // the turbocharger is a section of its own, with its own source
        if let Some(Value::Table(turbo)) = table.get_mut("engine").and_then(|e| e.get_mut("turbo"))
        {
            turbo
                .entry("source")
                .or_insert_with(|| Value::String("Given in the handbook.".to_owned()));
        }
        Completed {
            table,
            assumed,
            waiting,
        }
    }
}

impl Completed {
    /// The profile as text, with what is said of its sections; a section of which nothing is said keeps its own source.
    pub(super) fn text(&self, says: &[Says]) -> String {
        let mut out = String::new();
        for section in SECTIONS {
            let Some(Value::Table(table)) = self.table.get(section) else {
                // a header value where a section belongs: let the reader complain
                if let Some(value) = self.table.get(section) {
                    out.insert_str(0, &format!("{section} = {value}\n"));
                }
                continue;
            };
            let (mut long, mut source, mut notes) = (String::new(), None, Vec::new());
            if let Some(said) = says.iter().find(|s| s.section == section) {
                source = Some(said.source.clone());
                notes.clone_from(&said.notes);
            }
            // writing to a String cannot fail
            let _ = writeln!(out, "[{section}]");
            let keys = ORDER.iter().copied().filter(|k| table.contains_key(*k));
            let others = table
                .keys()
                .map(String::as_str)
                .filter(|k| !ORDER.contains(k));
            for key in keys.chain(others) {
                let value = &table[key];
                match value {
                    Value::Table(inner) if key == "notes" => {
                        for (k, v) in inner {
                            if !notes.iter().any(|(noted, _)| noted == k) {
                                notes.push((k.clone(), v.as_str().unwrap_or("").to_owned()));
                            }
                        }
                    }
                    _ if key == "source" => {
                        if source.is_none() {
                            let _ = writeln!(out, "source = {value}");
                        }
                    }
                    Value::Array(rows) if rows.iter().any(Value::is_table) => {
                        let _ = writeln!(long, "{} = [", bare(key));
                        for row in rows {
                            let _ = writeln!(long, "    {},", inline(row));
                        }
                        long.push_str("]\n");
                    }
                    _ => {
                        let _ = writeln!(out, "{} = {}", bare(key), inline(value));
                    }
                }
            }
            out.push_str(&long);
            match source {
                Some(source) => {
                    let _ = writeln!(out, "source = {}", Value::String(source));
                }
                None if !table.contains_key("source") => {
                    out.push_str("source = \"Not yet fitted.\"\n");
                }
                None => {}
            }
            if !notes.is_empty() {
                let _ = writeln!(out, "[{section}.notes]");
                for (key, note) in notes {
                    let _ = writeln!(out, "{} = {}", bare(&key), Value::String(note));
                }
            }
            out.push('\n');
        }
        out
    }
}

/// Order of keys inside sections; those not named follow by the alphabet.
const ORDER: &[&str] = &[
    "name",
    "seats",
    "empty_lb",
    "max_take_off_lb",
    "max_landing_lb",
    "usable_gal",
    "density_lb_per_gal",
    "vs_kt",
    "va_kt",
    "vno_kt",
    "vne_kt",
    "vlo_extend_kt",
    "vlo_retract_kt",
    "vle_kt",
    "least_cooling_kt",
    "wing_area_sqft",
    "cd0",
    "k",
    "gear_cd",
    "cooling_cd",
    "displacement_cuin",
    "compression_ratio",
    "rated_power_hp",
    "rated_rpm",
    "induction_loss_inhg",
    "ram_recovery",
    "volumetric_efficiency",
    "charge_heating_c",
    "friction_bar",
    "idle_gph",
    "diameter_in",
    "blades",
    "planform",
    "chord_scale",
    "low_pitch_deg",
    "high_pitch_deg",
    "lowest_governed_rpm",
    "highest_governed_rpm",
    "without_oil",
    "installed_factor",
    "angle_deg",
    "fuel_air",
    "relative_power",
    "max_power_percent",
    "altitude_ft",
    "ias_kt",
];

/// A TOML value on one line, whole numbers without a point.
fn inline(value: &Value) -> String {
    match value {
        Value::Float(x) if x.fract() == 0.0 && x.abs() < 1e9 => format!("{x:.0}"),
        Value::Array(values) => {
            format!(
                "[{}]",
                values.iter().map(inline).collect::<Vec<_>>().join(", ")
            )
        }
        Value::Table(table) => {
            let keys = ORDER.iter().copied().filter(|k| table.contains_key(*k));
            let others = table
                .keys()
                .map(String::as_str)
                .filter(|k| !ORDER.contains(k));
            let each = |key: &str| format!("{} = {}", bare(key), inline(&table[key]));
            format!(
                "{{ {} }}",
                keys.chain(others).map(each).collect::<Vec<_>>().join(", ")
            )
        }
        other => other.to_string(),
    }
}

/// A key, in quotation marks where it needs them.
fn bare(key: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '-';
    if !key.is_empty() && key.chars().all(plain) {
        key.to_owned()
    } else {
        Value::String(key.to_owned()).to_string()
    }
}

fn number(value: &Value) -> Option<f64> {
    match value {
        Value::Integer(i) => Some(*i as f64),
        Value::Float(x) => Some(*x),
        _ => None,
    }
}

/// Rounded to significant digits.
pub(super) fn round(x: f64, digits: i32) -> f64 {
    if x == 0.0 || !x.is_finite() {
        return x;
    }
    let places = (digits - 1 - x.abs().log10().floor() as i32).max(0);
    format!("{x:.*}", places as usize).parse().unwrap_or(x)
}

/// The usual four mixtures, within the usual spread of fuel-air ratios (0.067 is chemically correct) and powers; from memory.
fn standard_mixtures() -> Value {
    let rows = [
        ("full rich", 0.098, 0.965, 100),
        ("best power", 0.080, 1.0, 80),
        ("peak EGT", 0.067, 0.955, 65),
        ("lean of peak", 0.060, 0.885, 65),
    ];
    let row = |(name, fuel_air, power, most): (&str, f64, f64, i64)| {
        let mut table = Table::new();
        table.insert("name".to_owned(), Value::String(name.to_owned()));
        table.insert("fuel_air".to_owned(), Value::Float(fuel_air));
        table.insert("relative_power".to_owned(), Value::Float(power));
        table.insert("max_power_percent".to_owned(), Value::Integer(most));
        Value::Table(table)
    };
    Value::Array(rows.map(row).to_vec())
}

/// Moves a finding on the completed text to where its key stands in the handbook.
pub(super) fn place(table: &DeTable<'_>, mut finding: Finding) -> Finding {
    match find(table, &finding.key) {
        Found::There(span) => finding.span = Some(span),
        Found::Parent(span) => {
            finding.span = Some(span.unwrap_or(0..0));
            finding.label = format!("{} is not in the handbook", finding.key);
        }
    }
    finding.related = finding
        .related
        .into_iter()
        .filter_map(|(_, label)| {
            let key = label.strip_suffix(" is set here")?;
            match find(table, key) {
                Found::There(span) => Some((span, label)),
                Found::Parent(_) => None,
            }
        })
        .collect();
    finding
}

enum Found {
    There(Span<usize>),
    Parent(Option<Span<usize>>),
}

/// Where a key path such as `engine.mixture[2].fuel_air` stands, or the nearest section around it.
fn find(root: &DeTable<'_>, path: &str) -> Found {
    let mut table = root;
    let mut around = None;
    let mut parts = path.split('.').peekable();
    while let Some(part) = parts.next() {
        let (name, index) = match part.split_once('[') {
            Some((name, rest)) => (name, rest.trim_end_matches(']').parse::<usize>().ok()),
            None => (part, None),
        };
        let Some(mut value) = table.get(name) else {
            return Found::Parent(around);
        };
        if let (DeValue::Array(rows), Some(i)) = (value.get_ref(), index) {
            match i.checked_sub(1).and_then(|i| rows.get(i)) {
                Some(row) => value = row,
                None => return Found::Parent(around),
            }
        }
        let span = value.span();
        if parts.peek().is_none() {
            return Found::There(span);
        }
        around = Some(span);
        match value.get_ref() {
            DeValue::Table(inner) => table = inner,
            _ => return Found::Parent(around),
        }
    }
    Found::Parent(around)
}
