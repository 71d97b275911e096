//! Aircraft profiles: TOML to [`Aircraft`].
//!
//! Sections `[aircraft]`, `[weights]`, `[fuel]`, `[speeds]`, `[drag]`, `[engine]`, `[propeller]`, `[procedures]`. Every
//! section has `source`, which says where its numbers come from or that they are invented, and may have `[section.notes]`
//! with a note on any of its keys. The unit of a number is the ending of its key. Unknown keys are errors.
//!
//! # Keys
//! | section | keys (with default) |
//! | --- | --- |
//! | `[aircraft]` | `name`, `seats`, `engines` (1; 1 or 2, all alike), `gear` ("retractable"; or "fixed"), `approved_for_icing` (false: no cloud at or below freezing) |
//! | `[weights]` | `empty_lb`, `max_take_off_lb`, `max_landing_lb` |
//! | `[fuel]` | `usable_gal`, `density_lb_per_gal` |
//! | `[speeds]` | `vs_kt`, `va_kt`, `vno_kt`, `vne_kt`, `vy` = rows of `altitude_ft`, `ias_kt`; `vlo_extend_kt`, `vlo_retract_kt`, `vle_kt` (not with fixed gear), `least_cooling_kt` |
//! | `[[speeds.correction]]`, slowest first | `ias_kt`, `cas_kt`; outside the rows the difference is kept; without rows IAS is CAS |
//! | `[drag]` | `wing_area_sqft`, `cd0` (with fixed gear: gear included), `k`, `gear_cd` (not with fixed gear), `cooling_cd` (0: open cowl flaps) |
//! | `[[drag.flap]]`, least first | `angle_deg`, `cd`, `vfe_kt` |
//! | `[engine]`, one engine | `displacement_cuin`, `compression_ratio`, `rated_power_hp`, `rated_rpm`, `induction_loss_inhg`, `ram_recovery`, `volumetric_efficiency`, `charge_heating_c`, `friction_bar` (three coefficients), `idle_gph`, `induction` ("injected"; or "carburettor") |
//! | `[engine.turbo]` | `critical_altitude_ft` (at rated speed), `rated_map_inhg` (the rated power is at this), `exhaust_rise` (0.8: pressure rise before the turbine over that in the compressor), `compressor_efficiency` (0.65), `intercooler` (0: part of the heat of compression taken away) |
//! | `[[engine.mixture]]`, richest first | `name`, `fuel_air`, `relative_power`, `max_power_percent` |
//! | `[propeller]` | `kind` ("constant-speed"; or "fixed"), `diameter_in`, `blades`, `planform` = "standard" and `chord_scale`, or stations; `installed_factor` |
//! | constant speed | `low_pitch_deg`, `high_pitch_deg`, `lowest_governed_rpm`, `highest_governed_rpm`, `without_oil` (fine, coarse), `feathers` (false), `feathered_pitch_deg` (85, only where it feathers) |
//! | fixed pitch | `pitch_deg`, `lowest_rpm` (to set in flight), `redline_rpm` |
//! | `[[propeller.station]]`, outwards | `radius`, `chord` (both over tip radius), `thickness` (over chord), `twist_deg` |
//! | `[[propeller.avoid]]` | `from_rpm`, `to_rpm`, `above_map_inhg` (always) |
//! | `[procedures]` | `taxi_fuel_gal`, `taxi_min`, `take_off_fuel_gal`, `climb_rpm` (highest first; not with fixed pitch), `max_cruise_power_percent`, `full_rich_density_altitude_ft`, `least_descent_map_inhg` (15), `map_reduction_inhg_per_min` (2), `map_step_inhg`, `rpm_step`, `speed_step_kt`, `tank_change_min`, `gear_as_brake` (false), `cowl_flaps` (false), `auxiliary_pump` (false), `pattern_kt` |
//! | `gear_as_brake` | true: a descent may be flown with the gear down, extended at or below `vlo_extend_kt` and never faster than `vle_kt`; no meaning with fixed gear. Source: the flight manual, or an owner's choice |
//! | `[[procedures.map_limit]]`, slowest first | `rpm`, `map_inhg`; without rows MAP (inHg) is kept to RPM/100, and not limited at fixed pitch |

mod engine;
mod procedures;
mod propeller;
mod speeds;

use std::path::Path;

use super::check;
use super::diagnostic::{FileError, Finding, FindingKind, did_you_mean, read_text, without_mark};
use super::sheet::{Num, Section, Sheet};
use super::shipped::{self, PROFILES};
use crate::aircraft::{Aircraft, Airframe, Engine, Equipment, Flap, FuelSystem, Gear, Masses};
use crate::quantity::{
    Duration, Ias, KG_PER_LB, M_PER_FT, M3_PER_GAL, ManifoldPressure, Mass, Rpm,
};
use engine::engine;
use procedures::procedures;
use propeller::propeller;
use speeds::speeds;

/// Square metres in a square foot (exact).
const M2_PER_SQFT: f64 = M_PER_FT * M_PER_FT;

/// Reads an aircraft profile and builds the aircraft, propeller table included.
///
/// # Errors
/// [`FileError`] with everything that is wrong with the file.
pub fn load_profile(path: &Path) -> Result<Aircraft, FileError> {
    let text = read_text(path)?;
    parse_meant(&text, path)
}

/// A profile from a text that may be of another kind of file.
fn parse_meant(text: &str, path: &Path) -> Result<Aircraft, FileError> {
    parse_profile(text, path).map_err(|e| check::meant("an aircraft profile", path, text, e))
}

/// The same by the name of a file in a folder, or by the name alone of a profile that comes with the program, if there is no such file.
///
/// # Errors
/// As [`load_profile`].
pub fn load_named(folder: &Path, name: &Path) -> Result<Aircraft, FileError> {
    let text = read_named(folder, name)?;
    let path = folder.join(name);
    parse_meant(&text, if path.exists() { &path } else { name })
}

/// The text of that profile.
///
/// # Errors
/// [`FileError`] where there is none, or it cannot be read.
pub fn read_named(folder: &Path, name: &Path) -> Result<String, FileError> {
    let path = folder.join(name);
    let Err(why) = std::fs::metadata(&path) else {
        return read_text(&path);
    };
    if let Some(text) = name.to_str().and_then(shipped::profile) {
        return Ok(text.to_owned());
    }
    let mut error = FileError::unreadable(&path, &why);
    let meant = name
        .to_str()
        .and_then(|typed| did_you_mean(typed, PROFILES.iter().map(|(known, _)| *known)));
    if let (Some(meant), Some(finding)) = (meant, error.findings.first_mut()) {
        finding.hint = Some(format!("did you mean `{meant}`, which comes with fellrun?"));
        return Err(error);
    }
    for hint in error.findings.iter_mut().filter_map(|f| f.hint.as_mut()) {
        *hint += &format!("; by name alone there are {}", shipped::names());
    }
    Err(error)
}

/// The same from a text; `path` is only for messages.
///
/// # Errors
/// As [`load_profile`].
pub fn parse_profile(text: &str, path: &Path) -> Result<Aircraft, FileError> {
    let sheet = Sheet::new(path, without_mark(text));
    let table = sheet.parse()?;
    let root = sheet.root(&table);

    let section = root.section("aircraft");
    let name = section.text("name", "what it is");
    let seats = section.count("seats", "seats");
    let engines = if section.has("engines") {
        section.count("engines", "engines")
    } else {
        1
    };
    let gears = [("retractable", Gear::Retractable), ("fixed", Gear::Fixed)];
    let gear = choice_or(&section, "gear", &gears);
    let approved_for_icing = section.flag("approved_for_icing");
    section.source_and_notes();
    section.finish();

    let masses = masses(&sheet, root.section("weights"));
    let (fuel, kg_per_gal) = fuel(root.section("fuel"));
    let speeds = speeds(&sheet, root.section("speeds"), gear);
    let airframe = drag(&sheet, root.section("drag"), &speeds.vno, gear);
    let engine_section = root.section("engine");
    let engine_span = engine_section.span();
    let (engine, induction, rated_rpm) = engine(&sheet, engine_section, kg_per_gal);
    let propeller_section = root.section("propeller");
    let propeller_span = propeller_section.span();
    let (blank, governed) = propeller(&sheet, propeller_section, &rated_rpm);
    let (procedures, cowl_flaps, auxiliary_pump) = procedures(
        &sheet,
        root.section("procedures"),
        kg_per_gal,
        &governed,
        blank.fixed,
        &speeds,
    );
    root.finish();
    sheet.verdict()?;

    let refused = |key: &str, span, why: String| {
        sheet.fail(
            Finding::new(
                FindingKind::Contradiction,
                key,
                Some(span),
                format!("[{key}]: {why}"),
            )
            .label("these figures contradict each other")
            .hint(format!("correct the figures of [{key}]")),
        )
    };
    let engine =
        Engine::new(engine).map_err(|e| refused("engine", engine_span.clone(), e.to_string()))?;
    let (needed, ideal) = (engine.indicated_efficiency(), engine.ideal_efficiency());
    if needed > ideal {
        let why = format!(
            "an engine of this displacement and rated_rpm would turn {:.0} % of the heat of its fuel into work at rated_power_hp, and an \
             ideal one of this compression_ratio turns {:.0} %",
            100.0 * needed,
            100.0 * ideal
        );
        return Err(refused("engine", engine_span, why));
    }
    let propeller = blank
        .build()
        .map_err(|e| refused("propeller", propeller_span, e.to_string()))?;
    Ok(Aircraft {
        name,
        seats,
        masses,
        fuel,
        speeds: speeds.speeds,
        airframe,
        engines,
        engine,
        propeller,
        equipment: Equipment {
            gear,
            induction,
            cowl_flaps,
            auxiliary_pump,
            approved_for_icing,
        },
        procedures,
        textbook: None,
    })
}

/// A word that stands for one of some choices; the default of its type if it is left out or wrong.
fn choice_or<T: Copy + Default>(
    section: &Section<'_>,
    key: &'static str,
    choices: &[(&'static str, T)],
) -> T {
    if section.has(key) {
        section.choice(key, choices).unwrap_or_default()
    } else {
        T::default()
    }
}

fn kt(n: &Num) -> f64 {
    Ias::kt(n.value).to_m_s()
}

fn rpm(n: &Num) -> f64 {
    Rpm::per_min(n.value).to_rev_s()
}

fn inhg(n: &Num) -> f64 {
    ManifoldPressure::inhg(n.value).to_pa()
}

fn ft(n: &Num) -> f64 {
    n.value * M_PER_FT
}

fn minutes(n: &Num) -> f64 {
    Duration::min(n.value).to_s()
}

/// Notes rows whose values of one column do not rise.
fn rows_rise(sheet: &Sheet<'_>, column: &[Num]) {
    sheet.rising(&column.iter().collect::<Vec<_>>());
}

/// Notes rows whose values of one column do not fall.
fn rows_fall(sheet: &Sheet<'_>, column: &[Num], what: &str) {
    for pair in column.windows(2) {
        if pair[1].value >= pair[0].value {
            let message = format!(
                "{} = {} is not below {} = {}: {what}",
                pair[1].key, pair[1].value, pair[0].key, pair[0].value
            );
            sheet.contradiction(&pair[1], message, &[&pair[0]], "put the rows in that order");
        }
    }
}

fn masses(sheet: &Sheet<'_>, section: Section<'_>) -> Masses {
    let empty = section.number("empty_lb", "mass");
    let take_off = section.number("max_take_off_lb", "mass");
    let landing = section.number("max_landing_lb", "mass");
    section.source_and_notes();
    section.finish();
    sheet.rising(&[&empty, &take_off]);
    sheet.rising(&[&empty, &landing]);
    sheet.at_least(&take_off, &landing);
    Masses {
        empty_kg: Mass::lb(empty.value).to_kg(),
        max_take_off_kg: Mass::lb(take_off.value).to_kg(),
        max_landing_kg: Mass::lb(landing.value).to_kg(),
    }
}

/// The fuel system, and kilograms in a gallon of its fuel.
fn fuel(section: Section<'_>) -> (FuelSystem, f64) {
    let usable = section.number("usable_gal", "usable fuel");
    let density = section.number("density_lb_per_gal", "fuel density");
    section.source_and_notes();
    section.finish();
    let kg_per_gal = density.value * KG_PER_LB;
    (
        FuelSystem {
            usable_kg: usable.value * kg_per_gal,
            density_kg_m3: kg_per_gal / M3_PER_GAL,
        },
        kg_per_gal,
    )
}

fn drag(sheet: &Sheet<'_>, section: Section<'_>, vno: &Num, gear: Gear) -> Airframe {
    let area = section.number("wing_area_sqft", "wing area");
    let cd0 = section.number("cd0", "drag coefficient");
    let k = section.number("k", "induced drag factor");
    let cd_gear = match gear {
        Gear::Retractable => section.number("gear_cd", "drag increment").value,
        Gear::Fixed => 0.0,
    };
    let cooling = section.number_or("cooling_cd", "drag increment", 0.0);
    let (mut angles, mut increments, mut limits) = (Vec::new(), Vec::new(), Vec::new());
    for row in section.rows("flap") {
        angles.push(row.number("angle_deg", "flap setting"));
        increments.push(row.number("cd", "drag increment"));
        limits.push(row.number("vfe_kt", "speed"));
        row.finish();
    }
    section.source_and_notes();
    section.finish();
    rows_rise(sheet, &angles);
    for pair in limits.windows(2) {
        sheet.at_least(&pair[0], &pair[1]);
    }
    for vfe in &limits {
        sheet.at_least(vno, vfe);
    }
    let flaps = angles
        .iter()
        .zip(&increments)
        .zip(&limits)
        .map(|((angle, cd), vfe)| Flap {
            angle_rad: angle.value.to_radians(),
            cd: cd.value,
            vfe_m_s: kt(vfe),
        });
    Airframe {
        wing_area_m2: area.value * M2_PER_SQFT,
        cd0: cd0.value,
        k: k.value,
        cd_gear,
        flaps: flaps.collect(),
        cd_cooling: cooling.value,
    }
}
