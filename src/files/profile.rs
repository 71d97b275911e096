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

use std::path::Path;

use super::check;
use super::diagnostic::{
    FileError, Finding, FindingKind, did_you_mean, quoted, read_text, without_mark,
};
use super::sheet::{Num, Section, Sheet};
use super::shipped::{self, PROFILES};
use crate::aircraft::propeller::{
    Blade, GeometryError, PropellerGeometry, PropellerTable, Station, Stops,
};
use crate::aircraft::{
    Aircraft, Airframe, AvoidBand, Engine, EngineSpec, Equipment, Flap, FuelSystem, Gear,
    HubWithoutOil, Induction, Masses, Mixture, Procedures, Propeller, Speeds, Turbo, engine,
};
use crate::quantity::{
    Duration, Ias, KG_PER_LB, M_PER_FT, M3_PER_CUIN, M3_PER_GAL, ManifoldPressure, Mass,
    PA_PER_INHG, Rpm, W_PER_HP,
};

/// Square metres in a square foot (exact).
const M2_PER_SQFT: f64 = M_PER_FT * M_PER_FT;
/// Metres in an inch (exact).
const M_PER_IN: f64 = M_PER_FT / 12.0;
/// Pascals in a bar (exact).
const PA_PER_BAR: f64 = 1e5;
/// Least manifold pressure in the descent when the profile gives none, inHg (DESIGN section 5: common practice, no source).
const LEAST_DESCENT_MAP_INHG: f64 = 15.0;
/// Greatest reduction of manifold pressure when the profile gives none, inHg/min (the same).
const MAP_REDUCTION_INHG_PER_MIN: f64 = 2.0;
/// Blade angle of a feathered propeller when the profile gives none, degrees: a twisted blade turns least a little below 90
/// (common practice, no source).
const FEATHERED_PITCH_DEG: f64 = 85.0;

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

/// The speeds, and the numbers that other sections are checked against.
struct ReadSpeeds {
    speeds: Speeds,
    vs: Num,
    vno: Num,
}

fn speeds(sheet: &Sheet<'_>, section: Section<'_>, gear: Gear) -> ReadSpeeds {
    let vs = section.number("vs_kt", "speed");
    let va = section.number("va_kt", "speed");
    let vno = section.number("vno_kt", "speed");
    let vne = section.number("vne_kt", "speed");
    // a gear that stays down limits no speed
    let gear_speeds = match gear {
        Gear::Retractable => Some((
            section.number("vlo_extend_kt", "speed"),
            section.number("vlo_retract_kt", "speed"),
            section.number("vle_kt", "speed"),
        )),
        Gear::Fixed => None,
    };
    let cooling = section.number("least_cooling_kt", "speed");
    if !section.has("vy") {
        section.missing("vy", "rows like { altitude_ft = 0, ias_kt = 90 }");
    }
    let mut altitudes = Vec::new();
    let mut best_rate = Vec::new();
    for row in section.rows("vy") {
        altitudes.push(row.number("altitude_ft", "altitude"));
        best_rate.push(row.number("ias_kt", "speed"));
        row.finish();
    }
    let (mut indicated, mut calibrated) = (Vec::new(), Vec::new());
    for row in section.rows("correction") {
        indicated.push(row.number("ias_kt", "speed"));
        calibrated.push(row.number("cas_kt", "speed"));
        row.finish();
    }
    section.source_and_notes();
    section.finish();
    sheet.rising(&[&vs, &va]);
    sheet.at_least(&vno, &va);
    sheet.rising(&[&vno, &vne]);
    rows_rise(sheet, &altitudes);
    for vy in &best_rate {
        sheet.rising(&[&vs, vy]);
        sheet.rising(&[vy, &vno]);
    }
    rows_rise(sheet, &indicated);
    rows_rise(sheet, &calibrated);
    if let Some((extend, retract, vle)) = &gear_speeds {
        for gear in [extend, retract, vle] {
            sheet.rising(&[&vs, gear]);
            sheet.at_least(&vne, gear);
        }
        // a gear that may be lowered at a speed may be flown with at that speed
        sheet.at_least(vle, extend);
    }
    sheet.rising(&[&cooling, &vno]);
    let vy_m_s = altitudes
        .iter()
        .zip(&best_rate)
        .map(|(a, v)| (ft(a), kt(v)))
        .collect();
    let (extend, retract, vle) = gear_speeds
        .as_ref()
        .map_or((&vne, &vne, &vne), |(extend, retract, vle)| {
            (extend, retract, vle)
        });
    ReadSpeeds {
        speeds: Speeds {
            vs_m_s: kt(&vs),
            va_m_s: kt(&va),
            vno_m_s: kt(&vno),
            vne_m_s: kt(&vne),
            vy_m_s,
            vlo_extend_m_s: kt(extend),
            vlo_retract_m_s: kt(retract),
            vle_m_s: kt(vle),
            least_cooling_m_s: kt(&cooling),
            correction: indicated
                .iter()
                .zip(&calibrated)
                .map(|(ias, cas)| (kt(ias), kt(cas)))
                .collect(),
        },
        vs,
        vno,
    }
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

/// The engine's figures, how fuel meets air, and its rated speed.
fn engine(
    sheet: &Sheet<'_>,
    section: Section<'_>,
    kg_per_gal: f64,
) -> (EngineSpec, Induction, Num) {
    let displacement = section.number("displacement_cuin", "displacement");
    let ratio = section.number("compression_ratio", "compression ratio");
    let power = section.number("rated_power_hp", "power");
    let rated = section.number("rated_rpm", "rpm");
    let loss = section.number("induction_loss_inhg", "pressure difference");
    let ram = section.number("ram_recovery", "fraction");
    let volumetric = section.number("volumetric_efficiency", "volumetric efficiency");
    let heating = section.number("charge_heating_c", "temperature difference");
    let friction = section.numbers("friction_bar", "friction coefficient");
    let idle = section.number("idle_gph", "fuel flow");
    let inductions = [
        ("injected", Induction::Injected),
        ("carburettor", Induction::Carburettor),
    ];
    let induction = choice_or(&section, "induction", &inductions);
    let turbo = section
        .has("turbo")
        .then(|| turbo(section.section("turbo")));
    if !friction.is_empty() && friction.len() != 3 {
        let at = Num {
            value: f64::NAN,
            span: section.span_of("friction_bar"),
            key: section.path("friction_bar"),
        };
        let message = format!(
            "{} has {} number(s), but 3 belong there",
            at.key,
            friction.len()
        );
        let hint = "give c0, c1 and c2 of c0 + c1 n + c2 n^2, n in thousands of rpm";
        sheet.contradiction(&at, message, &[], hint);
    }
    if !section.has("mixture") {
        section.missing("mixture", "rows headed [[engine.mixture]]");
    }
    let (mut names, mut ratios, mut powers, mut greatest) =
        (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for row in section.rows("mixture") {
        names.push(row.text("name", "the name of the setting"));
        ratios.push(row.number("fuel_air", "fuel-air ratio"));
        powers.push(row.number("relative_power", "relative power"));
        greatest.push(row.number("max_power_percent", "power percent"));
        row.finish();
    }
    section.source_and_notes();
    section.finish();
    rows_fall(sheet, &ratios, "mixtures stand richest first");
    for (i, (name, ratio)) in names.iter().zip(&ratios).enumerate() {
        if !name.is_empty() && names[..i].contains(name) {
            let message = format!("two mixtures are called {}", quoted(name));
            sheet.contradiction(ratio, message, &[], "give each its own name");
        }
    }
    if let Some(first) = greatest.first()
        && first.value < 100.0
    {
        let message = format!(
            "{} = {} leaves no mixture for take-off power",
            first.key, first.value
        );
        sheet.contradiction(
            first,
            message,
            &[],
            "the richest mixture must be allowed up to 100 percent",
        );
    }
    let mixtures = names.into_iter().zip(&ratios).zip(&powers).zip(&greatest);
    let mixtures = mixtures.map(|(((name, fuel_air), relative), max)| Mixture {
        name,
        fuel_air: fuel_air.value,
        relative_power: relative.value,
        max_power_fraction: max.value / 100.0,
    });
    let friction = |i: usize| friction.get(i).map_or(f64::NAN, |c| c.value * PA_PER_BAR);
    let spec = EngineSpec {
        displacement_m3: displacement.value * M3_PER_CUIN,
        compression_ratio: ratio.value,
        rated_power_w: power.value * W_PER_HP,
        rated_rev_s: rpm(&rated),
        induction_loss_pa: loss.value * PA_PER_INHG,
        ram_recovery: ram.value,
        volumetric_efficiency: volumetric.value,
        charge_heating_k: heating.value,
        friction_pa: [friction(0), friction(1), friction(2)],
        idle_fuel_kg_s: idle.value * kg_per_gal / Duration::h(1.0).to_s(),
        mixtures: mixtures.collect(),
        turbo,
    };
    (spec, induction, rated)
}

fn turbo(section: Section<'_>) -> Turbo {
    let critical = section.number("critical_altitude_ft", "altitude");
    let map = section.number("rated_map_inhg", "manifold pressure");
    let rise = section.number_or(
        "exhaust_rise",
        "exhaust pressure rise",
        engine::DEFAULT_EXHAUST_RISE,
    );
    let compressor = section.number_or(
        "compressor_efficiency",
        "compressor efficiency",
        engine::DEFAULT_COMPRESSOR_EFFICIENCY,
    );
    let intercooler = section.number_or("intercooler", "fraction", 0.0);
    section.source_and_notes();
    section.finish();
    Turbo {
        critical_altitude_m: ft(&critical),
        rated_map_pa: inhg(&map),
        exhaust_rise: rise.value,
        compressor_efficiency: compressor.value,
        intercooler: intercooler.value,
    }
}

/// A blade as the profile gives it.
enum BladeShape {
    Standard(f64),
    Stations(Vec<Station>),
}

/// Everything of the propeller but its table, which takes time to build.
struct Blank {
    diameter_m: f64,
    blades: u32,
    shape: BladeShape,
    stops: Stops,
    governed_rev_s: (f64, f64),
    hub: HubWithoutOil,
    avoid: Vec<AvoidBand>,
    installed_factor: f64,
    feathered_rad: Option<f64>,
    fixed: bool,
}

impl Blank {
    fn build(self) -> Result<Propeller, GeometryError> {
        let blade = match self.shape {
            BladeShape::Standard(chord_scale) => Blade::standard(chord_scale)?,
            BladeShape::Stations(stations) => Blade::from_stations(&stations)?,
        };
        let geometry = PropellerGeometry::new(self.diameter_m, self.blades, blade)?;
        let coarsest_rad = self.feathered_rad.unwrap_or(self.stops.high_rad);
        Ok(Propeller {
            table: PropellerTable::build(&geometry, self.stops.low_rad, coarsest_rad)?,
            stops: self.stops,
            lowest_governed_rev_s: self.governed_rev_s.0,
            highest_governed_rev_s: self.governed_rev_s.1,
            hub: self.hub,
            avoid: self.avoid,
            installed_factor: self.installed_factor,
            feathered_rad: self.feathered_rad,
        })
    }
}

/// The propeller, and its lowest and highest governed speed (fixed pitch: lowest to set, and greatest).
fn propeller(sheet: &Sheet<'_>, section: Section<'_>, rated: &Num) -> (Blank, (Num, Num)) {
    let diameter = section.number("diameter_in", "propeller diameter");
    let blades = section.count("blades", "blades");
    let shape = blade_shape(sheet, &section);
    // constant speed unless it says fixed
    let kinds = [("constant-speed", false), ("fixed", true)];
    let fixed = choice_or(&section, "kind", &kinds);
    let (low, high, lowest, highest, hub, feathered) = if fixed {
        let pitch = section.number("pitch_deg", "blade angle");
        let lowest = section.number("lowest_rpm", "rpm");
        let redline = section.number("redline_rpm", "rpm");
        (pitch.clone(), pitch, lowest, redline, None, None)
    } else {
        let low = section.number("low_pitch_deg", "blade angle");
        let high = section.number("high_pitch_deg", "blade angle");
        let lowest = section.number("lowest_governed_rpm", "rpm");
        let highest = section.number("highest_governed_rpm", "rpm");
        let hub = section.choice(
            "without_oil",
            &[
                ("fine", HubWithoutOil::Fine),
                ("coarse", HubWithoutOil::Coarse),
            ],
        );
        let feathered = section
            .flag("feathers")
            .then(|| section.number_or("feathered_pitch_deg", "blade angle", FEATHERED_PITCH_DEG));
        sheet.rising(&[&low, &high]);
        if let Some(feathered) = &feathered {
            sheet.rising(&[&high, feathered]);
        }
        (low, high, lowest, highest, hub, feathered)
    };
    let factor = section.number("installed_factor", "factor");
    let mut avoid = Vec::new();
    for row in section.rows("avoid") {
        let from = row.number("from_rpm", "rpm");
        let to = row.number("to_rpm", "rpm");
        let above = row.optional("above_map_inhg", "manifold pressure");
        row.finish();
        sheet.rising(&[&from, &to]);
        avoid.push(AvoidBand {
            from_rev_s: rpm(&from),
            to_rev_s: rpm(&to),
            above_map_pa: above.as_ref().map_or(0.0, inhg),
        });
    }
    section.source_and_notes();
    section.finish();
    sheet.rising(&[&lowest, &highest]);
    sheet.at_least(rated, &highest);
    let blank = Blank {
        diameter_m: diameter.value * M_PER_IN,
        blades,
        shape,
        stops: Stops {
            low_rad: low.value.to_radians(),
            high_rad: high.value.to_radians(),
        },
        governed_rev_s: (rpm(&lowest), rpm(&highest)),
        hub: hub.unwrap_or(HubWithoutOil::Fine),
        avoid,
        installed_factor: factor.value,
        feathered_rad: feathered.map(|angle| angle.value.to_radians()),
        fixed,
    };
    (blank, (lowest, highest))
}

fn blade_shape(sheet: &Sheet<'_>, section: &Section<'_>) -> BladeShape {
    let planform = section.has("planform");
    if section.has("station") {
        let mut stations = Vec::new();
        let mut radii = Vec::new();
        for row in section.rows("station") {
            let radius = row.number("radius", "blade station");
            stations.push(Station {
                radius: radius.value,
                chord: row.number("chord", "blade chord").value,
                thickness: row.number("thickness", "blade thickness").value,
                twist_rad: row.number("twist_deg", "blade twist").value.to_radians(),
            });
            radii.push(radius);
            row.finish();
        }
        rows_rise(sheet, &radii);
        if planform || section.has("chord_scale") {
            let at = Num {
                value: f64::NAN,
                span: section.span_of(if planform { "planform" } else { "chord_scale" }),
                key: section.path("planform"),
            };
            let message = "the blade has both a planform and measured stations".to_owned();
            sheet.contradiction(
                &at,
                message,
                &[],
                "give planform and chord_scale, or [[propeller.station]] rows",
            );
        }
        return BladeShape::Stations(stations);
    }
    section.choice("planform", &[("standard", ())]);
    BladeShape::Standard(section.number("chord_scale", "chord scale").value)
}

/// The procedures, and whether there are cowl flaps and an auxiliary pump to handle.
fn procedures(
    sheet: &Sheet<'_>,
    section: Section<'_>,
    kg_per_gal: f64,
    governed: &(Num, Num),
    fixed_pitch: bool,
    speeds: &ReadSpeeds,
) -> (Procedures, bool, bool) {
    let taxi_fuel = section.number("taxi_fuel_gal", "allowance");
    let taxi = section.number("taxi_min", "minutes");
    let take_off = section.number("take_off_fuel_gal", "allowance");
    let climb = if fixed_pitch {
        Vec::new()
    } else {
        section.numbers("climb_rpm", "rpm")
    };
    let cruise = section.number("max_cruise_power_percent", "power percent");
    let full_rich = section.number("full_rich_density_altitude_ft", "altitude");
    let least = section.number_or(
        "least_descent_map_inhg",
        "manifold pressure",
        LEAST_DESCENT_MAP_INHG,
    );
    let reduction = section.number_or(
        "map_reduction_inhg_per_min",
        "pressure rate",
        MAP_REDUCTION_INHG_PER_MIN,
    );
    let map_step = section.number("map_step_inhg", "map step");
    let rpm_step = section.number("rpm_step", "rpm step");
    let speed_step = section.number("speed_step_kt", "speed step");
    let tank = section.number("tank_change_min", "tank time");
    let gear_as_brake = section.flag("gear_as_brake");
    let cowl_flaps = section.flag("cowl_flaps");
    let auxiliary_pump = section.flag("auxiliary_pump");
    let pattern = section.number("pattern_kt", "speed");
    let (mut limit_rpm, mut limit_map) = (Vec::new(), Vec::new());
    for row in section.rows("map_limit") {
        limit_rpm.push(row.number("rpm", "rpm"));
        limit_map.push(row.number("map_inhg", "manifold pressure"));
        row.finish();
    }
    section.source_and_notes();
    section.finish();
    rows_fall(sheet, &climb, "climb speeds stand highest first");
    let (lowest, highest) = governed;
    for n in &climb {
        sheet.at_least(n, lowest);
        sheet.at_least(highest, n);
    }
    rows_rise(sheet, &limit_rpm);
    for pair in limit_map.windows(2) {
        sheet.at_least(&pair[1], &pair[0]);
    }
    for map in &limit_map {
        sheet.at_least(map, &least);
    }
    sheet.rising(&[&speeds.vs, &pattern]);
    sheet.rising(&[&pattern, &speeds.vno]);
    // at fixed pitch the climb is flown at full throttle, whatever the speed
    let climb_rev_s = if fixed_pitch {
        vec![rpm(highest)]
    } else {
        climb.iter().map(rpm).collect()
    };
    let procedures = Procedures {
        taxi_fuel_kg: taxi_fuel.value * kg_per_gal,
        taxi_time_s: minutes(&taxi),
        take_off_fuel_kg: take_off.value * kg_per_gal,
        climb_rev_s,
        cruise_power_fraction: cruise.value / 100.0,
        map_limit: limit_rpm
            .iter()
            .zip(&limit_map)
            .map(|(n, map)| (rpm(n), inhg(map)))
            .collect(),
        full_rich_density_altitude_m: ft(&full_rich),
        least_descent_map_pa: inhg(&least),
        map_reduction_pa_s: inhg(&reduction) / Duration::min(1.0).to_s(),
        map_step_pa: inhg(&map_step),
        rev_step_s: rpm(&rpm_step),
        speed_step_m_s: kt(&speed_step),
        tank_change_s: minutes(&tank),
        gear_as_brake,
        pattern_m_s: kt(&pattern),
    };
    (procedures, cowl_flaps, auxiliary_pump)
}
