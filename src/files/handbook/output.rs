//! A fitted aircraft as a profile, with where each figure comes from.

use toml::Value;

use super::HandbookFile;
use super::header::{Says, round};
use crate::fit::{Estimate, Fitted, Flight, Parameter};
use crate::quantity::{M_S_PER_KT, PA_PER_INHG, W_PER_HP};

/// Significant digits of a fitted figure in a profile: finer than any standard error.
const DIGITS: i32 = 5;

/// Keys that can be fitted, with their sections.
pub(super) const FITTED_KEYS: [(&str, &str); 14] = [
    ("drag", "cd0"),
    ("drag", "k"),
    ("drag", "gear_cd"),
    ("drag", "cooling_cd"),
    ("propeller", "installed_factor"),
    ("engine", "rated_power_hp"),
    ("engine", "induction_loss_inhg"),
    ("engine", "ram_recovery"),
    ("engine", "volumetric_efficiency"),
    ("engine", "charge_heating_c"),
    ("engine", "friction_bar"),
    ("engine", "mixture"),
    ("speeds", "vs_kt"),
    ("engine", "compression_ratio"),
];

/// Section and key of a parameter.
pub(super) fn key_of(parameter: Parameter) -> (&'static str, &'static str) {
    FITTED_KEYS[match parameter {
        Parameter::Cd0 => 0,
        Parameter::InducedFactor => 1,
        Parameter::GearDrag => 2,
        Parameter::CoolingDrag => 3,
        Parameter::InstalledFactor => 4,
        Parameter::RatedPower => 5,
        Parameter::InductionLoss => 6,
        Parameter::RamRecovery => 7,
        Parameter::VolumetricEfficiency => 8,
        Parameter::ChargeHeating => 9,
        Parameter::FrictionScale => 10,
        Parameter::FuelAir(_) | Parameter::RelativePower(_) => 11,
        Parameter::StallSpeed => 12,
        Parameter::CompressionRatio => 13,
    }]
}

/// Factor from SI to the unit of a profile or a report, and that unit.
pub(super) fn unit_of(parameter: Parameter) -> (f64, &'static str) {
    match parameter {
        Parameter::RatedPower => (1.0 / W_PER_HP, "hp"),
        Parameter::InductionLoss => (1.0 / PA_PER_INHG, "inHg"),
        Parameter::ChargeHeating => (1.0, "C"),
        Parameter::StallSpeed => (1.0 / M_S_PER_KT, "kt"),
        _ => (1.0, ""),
    }
}

/// The name of a parameter in plain words.
pub fn parameter_name(parameter: Parameter, fitted: &Fitted) -> String {
    let mixture = |i: usize| {
        fitted
            .aircraft
            .engine
            .spec
            .mixtures
            .get(i)
            .map_or("?", |m| m.name.as_str())
            .to_owned()
    };
    match parameter {
        Parameter::Cd0 => "zero-lift drag CD0".into(),
        Parameter::InducedFactor => "induced drag factor k".into(),
        Parameter::GearDrag => "drag of the gear".into(),
        Parameter::CoolingDrag => "drag of the cowl flaps".into(),
        Parameter::InstalledFactor => "installed propeller factor".into(),
        Parameter::RatedPower => "rated power".into(),
        Parameter::CompressionRatio => "compression ratio".into(),
        Parameter::InductionLoss => "induction loss".into(),
        Parameter::RamRecovery => "ram recovery".into(),
        Parameter::VolumetricEfficiency => "volumetric efficiency".into(),
        Parameter::ChargeHeating => "charge heating".into(),
        Parameter::FrictionScale => "friction (times the standard)".into(),
        Parameter::FuelAir(i) => format!("fuel-air ratio, {}", mixture(i)),
        Parameter::RelativePower(i) => format!("relative power, {}", mixture(i)),
        Parameter::StallSpeed => "stall speed".into(),
    }
}

/// A number to a fixed number of digits that fits its error.
pub(super) fn with_error(value: f64, error: f64) -> String {
    let places = if error > 0.0 {
        (1.0 - error.log10().floor()).clamp(0.0, 6.0) as usize
    } else {
        5
    };
    format!("{value:.places$} +/- {error:.places$}")
}

/// The fitted aircraft as the text of a profile, which [`super::super::profile::parse_profile`] accepts.
pub fn profile_text(file: &HandbookFile, fitted: &Fitted) -> String {
    let mut header = file.header.clone();
    let spec = &fitted.aircraft.engine.spec;
    for estimate in &fitted.estimates {
        let (section, key) = key_of(estimate.prior.parameter);
        let value = match estimate.prior.parameter {
            Parameter::FuelAir(_) | Parameter::RelativePower(_) => continue,
            Parameter::FrictionScale => {
                let bar = spec
                    .friction_pa
                    .map(|pa| Value::Float(round(pa / 1e5, DIGITS)));
                Value::Array(bar.to_vec())
            }
            parameter => Value::Float(round(estimate.value * unit_of(parameter).0, DIGITS)),
        };
        header.put(section, key, value);
    }
    if fitted
        .estimates
        .iter()
        .any(|e| key_of(e.prior.parameter).1 == "mixture")
    {
        let row = |m: &crate::aircraft::Mixture| {
            let mut table = toml::Table::new();
            table.insert("name".into(), Value::String(m.name.clone()));
            table.insert("fuel_air".into(), Value::Float(round(m.fuel_air, DIGITS)));
            table.insert(
                "relative_power".into(),
                Value::Float(round(m.relative_power, DIGITS)),
            );
            let most = round(m.max_power_fraction * 100.0, DIGITS);
            table.insert("max_power_percent".into(), Value::Float(most));
            Value::Table(table)
        };
        header.put(
            "engine",
            "mixture",
            Value::Array(spec.mixtures.iter().map(row).collect()),
        );
    }
    let rows = rows_in_words(file);
    let says: Vec<_> = super::header::SECTIONS
        .iter()
        .map(|section| {
            let fits: Vec<&Estimate> = fitted
                .estimates
                .iter()
                .filter(|e| key_of(e.prior.parameter).0 == *section)
                .collect();
            let assumed: Vec<&str> = file
                .assumed
                .iter()
                .filter_map(|path| path.split_once('.'))
                .filter_map(|(s, key)| (s == *section).then_some(key))
                .collect();
            let mut source = header
                .source(section)
                .unwrap_or("Given in the handbook.")
                .to_owned();
            if !source.ends_with('.') {
                source.push('.');
            }
            if !fits.is_empty() {
                let mut keys: Vec<&str> =
                    fits.iter().map(|e| key_of(e.prior.parameter).1).collect();
                keys.dedup();
                source.push_str(&format!(" Fitted to {rows}: {}.", keys.join(", ")));
            }
            if !assumed.is_empty() {
                let keys = assumed.join(", ");
                source.push_str(&format!(" Standard values, not of this aeroplane: {keys}."));
            }
            Says {
                section,
                source,
                notes: notes(&fits, fitted),
            }
        })
        .collect();
    let open = file
        .handbook
        .rows
        .iter()
        .any(|r| r.condition.configuration.cowl_flaps_open);
    let mut text = format!(
        "# {} - fitted by fellrun to {rows}.\n# A model of what was typed in, no better than that. The handbook rules.\n\n",
        fitted.aircraft.name.escape_debug()
    );
    text.push_str(&header.complete(open).text(&says));
    text
}

/// One note for each fitted key of a section.
fn notes(fits: &[&Estimate], fitted: &Fitted) -> Vec<(String, String)> {
    let mut notes: Vec<(String, String)> = Vec::new();
    for estimate in fits {
        let parameter = estimate.prior.parameter;
        let key = key_of(parameter).1;
        let (factor, unit) = unit_of(parameter);
        let mut note = match parameter {
            Parameter::FrictionScale | Parameter::FuelAir(_) | Parameter::RelativePower(_) => {
                parameter_name(parameter, fitted) + ": "
            }
            _ => String::new(),
        };
        note.push_str(&format!(
            "fitted, {} {unit}",
            with_error(estimate.value * factor, estimate.error * factor)
        ));
        let mut note = note.trim_end().to_owned();
        if fitted.report.undetermined.contains(&parameter) {
            note.push_str("; known little better than beforehand");
        }
        match notes.iter_mut().find(|(k, _)| k == key) {
            Some((_, before)) => {
                before.push_str("; ");
                before.push_str(&note);
            }
            None => notes.push((key.to_owned(), note)),
        }
    }
    notes
}

/// How many rows of each kind: `9 cruise and 2 climb rows`.
pub(super) fn rows_in_words(file: &HandbookFile) -> String {
    let rows = &file.handbook.rows;
    let kind = |f: &Flight| match f {
        Flight::Cruise { .. } => "cruise",
        Flight::Climb { .. } | Flight::ClimbSpan { .. } => "climb",
        Flight::Glide { .. } => "glide",
        Flight::Stall => "stall",
    };
    let parts: Vec<String> = super::rows::KINDS
        .iter()
        .map(|name| {
            (
                name,
                rows.iter().filter(|r| kind(&r.flight) == *name).count(),
            )
        })
        .filter(|(_, n)| *n > 0)
        .map(|(name, n)| format!("{n} {name}"))
        .collect();
    let words = match parts.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        _ => parts.concat(),
    };
    let plural = if rows.len() == 1 { "row" } else { "rows" };
    format!("{words} {plural}")
}
