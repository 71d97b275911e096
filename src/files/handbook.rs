//! Handbooks: what a flight manual or a test flight says of an aeroplane, to [`Handbook`]; and a fit back to a profile.
//!
//! A handbook is a profile (see [`super::profile`]) with figures left out, and rows. Sections and keys of the header are those
//! of a profile, and mean the same. A key that is left out takes a standard value, said in the `source` and notes of the profile
//! that comes out, or is fitted; one that has no standard value must be there. A given key is held, unless `[fit] free` names it.
//!
//! # Keys besides those of a profile
//! | section | keys (with default) |
//! | --- | --- |
//! | top of the file | `rows_csv`: path of a CSV file with more rows |
//! | `[fit]` | `free`: keys given that are fitted all the same, their values the centre; `hold`: keys not given that are not fitted |
//! | `[uncertainty]` | standard error of figures: `speed_percent` (1), `fuel_flow_percent` (2), `power_percent` (1, of rated power), `map_inhg` (0.2), `climb_rate_percent` (4, at least 20 fpm), `climb_percent` (3, and 0.3 min, 0.15 gal, 0.3 nm), `glide_percent` (4), `stall_percent` (2) |
//! | every row | `altitude_ft` (pressure), `weight_lb` (greatest take-off), `temperature_c` or `isa_dev_c` (0), `trust` (1: weight of the row), `note`; except `[[stall]]`: `gear_down` (false), `cowl_flaps_open` (false) |
//! | `[[cruise]]` | `rpm`, `map_inhg` or `full_throttle` or neither and `power_percent` (fixed pitch: or nothing, for then the speed sets the throttle); `mixture` (best power); any of `power_percent`, `fuel_flow_gph`, `tas_kt`, `ias_kt` |
//! | `[[climb]]` | `ias_kt`, `rpm` (rated), `map_inhg` (full throttle), `mixture` (full rich); any of `rate_fpm`, `fuel_flow_gph`; or from `from_ft` up to `altitude_ft` any of `time_min`, `fuel_gal`, `distance_nm` |
//! | `[[glide]]` | `ias_kt`, `engine` (dead, idle), `lever` (forward, back); any of `ratio`, `rate_fpm` |
//! | `[[stall]]`, clean, power off | `weight_lb`, `ias_kt` |
//!
//! With `full_throttle = true`, `map_inhg` is a reading; so it is with `power_is_set = true`, for tables headed by a power, where
//! `power_percent` is what was set. CSV: the first line names the columns, which are `kind` (cruise, climb,
//! glide, stall) and the keys above; empty cells are left out; lines that start with `#` are skipped.

mod csv_rows;
mod header;
mod output;
mod report;
mod rows;

use std::path::{Path, PathBuf};

use super::diagnostic::{FileError, Finding, FindingKind, read_text, without_mark};
use super::sheet::Sheet;
use crate::fit::{Flight, Handbook, Parameter, Prior};
use header::Header;
pub use output::{parameter_name, profile_text};
pub use report::report_text;
use rows::RowReader;

/// A handbook file: what is fitted, and what the profile is written from.
#[derive(Debug, Clone)]
pub struct HandbookFile {
    /// What is fitted.
    pub handbook: Handbook,
    /// The header as given.
    header: Header,
    /// Figures that took a standard value, as `section.key`.
    pub assumed: Vec<String>,
}

/// Reads a handbook.
///
/// # Errors
/// [`FileError`] with everything that is wrong with the file, or with the CSV file it names.
pub fn load(path: &Path) -> Result<HandbookFile, FileError> {
    parse(&read_text(path)?, path)
}

/// The same from a text; `path` is for messages, and its folder is where `rows_csv` starts from.
///
/// # Errors
/// As [`load`].
pub fn parse(text: &str, path: &Path) -> Result<HandbookFile, FileError> {
    let text = without_mark(text);
    let sheet = Sheet::new(path, text);
    let table = sheet.parse()?;
    let root = sheet.root(&table);
    let header = Header::new(text).map_err(|why| {
        sheet.fail(Finding::new(FindingKind::Syntax, "", Some(0..0), why).label("in this file"))
    })?;

    let fit = root.has("fit").then(|| root.section("fit"));
    let names = |key: &'static str| match &fit {
        Some(section) if section.has(key) => {
            section.texts(key, "names of keys, like [\"cd0\", \"k\"]")
        }
        _ => Vec::new(),
    };
    let (free, hold) = (names("free"), names("hold"));
    for (name, span) in free.iter().chain(&hold) {
        if !output::FITTED_KEYS.iter().any(|(_, key)| key == name) {
            let known: Vec<&str> = output::FITTED_KEYS.iter().map(|(_, key)| *key).collect();
            let message = format!("\"{}\" is no figure that is fitted", name.escape_debug());
            sheet.note(
                Finding::new(
                    FindingKind::Contradiction,
                    "fit",
                    Some(span.clone()),
                    message,
                )
                .label("here")
                .hint(format!("those are {}", known.join(", "))),
            );
        }
    }
    if let Some(section) = fit {
        section.finish();
    }

    let errors = rows::errors(root.has("uncertainty").then(|| root.section("uncertainty")));
    let reader = RowReader::new(&header, errors);
    let mut rows = reader.read(&sheet, &root);
    let csv = root
        .has("rows_csv")
        .then(|| root.text("rows_csv", "a path"));
    for section in header::SECTIONS {
        root.has(section);
    }
    root.finish();

    // what is wrong with the header is found by the profile's own reader, on the completed text
    let gear = rows.iter().any(|r| r.condition.configuration.gear_down);
    let cowl = rows
        .iter()
        .any(|r| r.condition.configuration.cowl_flaps_open);
    let completed = header.complete(cowl);
    let built = super::profile::parse_profile(&completed.text(&[]), path);
    let aircraft = match built {
        Ok(aircraft) => Some(aircraft),
        Err(error) => {
            // what waits for another missing figure is not itself missing
            let waits =
                |f: &Finding| f.kind == FindingKind::Missing && completed.waiting.contains(&f.key);
            let all_wait = error.findings.iter().all(waits);
            for finding in error.findings.into_iter().filter(|f| all_wait || !waits(f)) {
                sheet.note(header::place(&table, finding));
            }
            None
        }
    };
    sheet.verdict()?;
    let Some(mut aircraft) = aircraft else {
        // a profile error has findings, so the verdict was an error
        return Err(FileError::new(path, text, Vec::new()));
    };
    if let Some(csv) = csv {
        let csv_path = path
            .parent()
            .map_or_else(|| PathBuf::from(&csv), |p| p.join(&csv));
        rows.extend(csv_rows::parse(&read_text(&csv_path)?, &csv_path, &reader)?);
    }
    let gear = gear || rows.iter().any(|r| r.condition.configuration.gear_down);
    let cowl_later = rows
        .iter()
        .any(|r| r.condition.configuration.cowl_flaps_open)
        && !cowl;
    if cowl_later && !header.has("drag", "cooling_cd") {
        aircraft.airframe.cd_cooling = header::COOLING_CD;
    }
    if rows.is_empty() {
        let finding = Finding::new(
            FindingKind::Missing,
            "",
            None,
            "the handbook has no rows".to_owned(),
        )
        .hint("add rows headed [[cruise]], [[climb]], [[glide]] or [[stall]]");
        return Err(sheet.fail(finding));
    }

    let is_free = |parameter: Parameter| {
        let (section, key) = output::key_of(parameter);
        if header.has(section, key) {
            free.iter().any(|(name, _)| name == key)
        } else {
            !hold.iter().any(|(name, _)| name == key)
        }
    };
    let mut parameters = vec![
        Parameter::Cd0,
        Parameter::InducedFactor,
        Parameter::InstalledFactor,
    ];
    if gear {
        parameters.push(Parameter::GearDrag);
    }
    if rows
        .iter()
        .any(|r| r.condition.configuration.cowl_flaps_open)
    {
        parameters.push(Parameter::CoolingDrag);
    }
    parameters.extend([
        Parameter::RatedPower,
        Parameter::CompressionRatio,
        Parameter::InductionLoss,
        Parameter::RamRecovery,
        Parameter::VolumetricEfficiency,
        Parameter::ChargeHeating,
        Parameter::FrictionScale,
    ]);
    for i in 0..aircraft.engine.spec.mixtures.len() {
        let used = rows.iter().any(|r| match &r.flight {
            Flight::Cruise { engine }
            | Flight::Climb { engine, .. }
            | Flight::ClimbSpan { engine, .. } => engine.mixture == i,
            Flight::Glide { .. } | Flight::Stall => false,
        });
        if used {
            parameters.push(Parameter::FuelAir(i));
            if i != aircraft.engine.best_power_mixture() {
                parameters.push(Parameter::RelativePower(i));
            }
        }
    }
    if rows.iter().any(|r| r.flight == Flight::Stall) {
        parameters.push(Parameter::StallSpeed);
    }
    let priors: Vec<Prior> = parameters
        .into_iter()
        .filter(|p| is_free(*p))
        .map(|p| Prior::standard(p, &aircraft))
        .collect();
    let fitted: Vec<(&str, &str)> = priors.iter().map(|p| output::key_of(p.parameter)).collect();
    let assumed = completed
        .assumed
        .iter()
        .filter(|(section, key)| !fitted.contains(&(*section, *key)))
        .map(|(section, key)| format!("{section}.{key}"))
        .collect();
    Ok(HandbookFile {
        handbook: Handbook {
            aircraft,
            priors,
            rows,
        },
        header,
        assumed,
    })
}

/// A commented handbook to fill in.
pub fn template() -> &'static str {
    include_str!("handbook/template.toml")
}
