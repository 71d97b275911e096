//! `fellrun settings`: the power-setting table of a profile.

use super::beside::Asked;
use super::{Failure, UnitsArg, profile, what_if};
use crate::aircraft::Aircraft;
use crate::brief::{SettingsFigures, settings_csv, settings_json, settings_text};
use crate::quantity::{M_PER_FT, Rpm};
use crate::tables::settings::{SettingsAsk, settings};
use clap::Args;
use std::path::PathBuf;

/// Arguments of `settings` as typed.
#[derive(Debug, Args)]
pub struct SettingsArgs {
    /// The aircraft profile: a TOML file, or the name of one that comes with fellrun
    #[arg(value_name = "PROFILE.toml")]
    pub profile: PathBuf,
    /// Pressure altitudes, with commas or given more than once; without it every 2,000 ft
    #[arg(
        long,
        value_name = "FT",
        value_delimiter = ',',
        allow_negative_numbers = true
    )]
    pub altitude_ft: Vec<f64>,
    /// Crankshaft speeds to set; without it every 200 rpm from the highest
    #[arg(
        long,
        value_name = "RPM",
        value_delimiter = ',',
        allow_negative_numbers = true
    )]
    pub rpm: Vec<f64>,
    /// Powers, in per cent of rated power [default: 75,65,55]
    #[arg(
        long,
        value_name = "PERCENT",
        value_delimiter = ',',
        allow_negative_numbers = true
    )]
    pub power_percent: Vec<f64>,
    /// How much warmer than standard it is; colder below zero
    #[arg(long, value_name = "C", allow_negative_numbers = true)]
    pub isa_dev_c: Option<f64>,
    /// Outside air temperature instead, for one altitude
    #[arg(
        long,
        value_name = "C",
        allow_negative_numbers = true,
        conflicts_with = "isa_dev_c"
    )]
    pub temperature_c: Option<f64>,
    /// Weight; without it the greatest at take-off
    #[arg(long, value_name = "LB", allow_negative_numbers = true)]
    pub weight_lb: Option<f64>,
    /// Mixture by its name in the profile; without it the one for best power
    #[arg(long, value_name = "NAME")]
    pub mixture: Option<String>,
    /// Units of the text; JSON and CSV name the unit in each key and stay as they are
    #[arg(long, value_enum, value_name = "UNITS", default_value_t = UnitsArg::Us)]
    pub units: UnitsArg,
    /// Write every figure as JSON; - for standard output
    #[arg(long, value_name = "PATH")]
    pub json: Option<PathBuf>,
    /// Write one line for each setting as CSV; - for standard output
    #[arg(long, value_name = "PATH")]
    pub csv: Option<PathBuf>,
    /// Show instead what happens when one lever moves alone from one setting, and which lever goes first; takes one --altitude-ft [default: 6000] and one --rpm
    #[arg(long, conflicts_with_all = ["csv", "power_percent"])]
    pub what_if: bool,
    /// Manifold pressure to begin from; without it about 65 % of power
    #[arg(long, value_name = "IN", requires = "what_if")]
    pub map_inhg: Option<f64>,
    /// Manifold pressure to go to [default: 4 in less]
    #[arg(long, value_name = "IN", requires = "what_if")]
    pub to_map_inhg: Option<f64>,
    /// Crankshaft speed to go to [default: 300 less]
    #[arg(long, value_name = "RPM", requires = "what_if")]
    pub to_rpm: Option<f64>,
    /// Pressure altitude of the high field of the go-around [default: 7000]
    #[arg(
        long,
        value_name = "FT",
        requires = "what_if",
        allow_negative_numbers = true
    )]
    pub field_ft: Option<f64>,
    /// Draw the two ways from one setting to the other against the limit line, .svg or .png by its ending; - for SVG to standard output
    #[arg(long, value_name = "PATH", requires = "what_if")]
    pub chart: Vec<PathBuf>,
}

fn ask(args: &SettingsArgs, aircraft: &Aircraft) -> Result<SettingsAsk, Failure> {
    let mut ask = SettingsAsk::usual(aircraft);
    if !args.altitude_ft.is_empty() {
        ask.pressure_altitude_m = args
            .altitude_ft
            .iter()
            .map(|&ft| profile::checked("--altitude-ft", "altitude", ft).map(|ft| ft * M_PER_FT))
            .collect::<Result<_, _>>()?;
    }
    if !args.rpm.is_empty() {
        ask.rev_s = args
            .rpm
            .iter()
            .map(|&rpm| settable(aircraft, args, "--rpm", rpm))
            .collect::<Result<_, _>>()?;
    }
    if !args.power_percent.is_empty() {
        if aircraft.propeller.is_fixed() {
            return Err(Failure::input(format!(
                "--power-percent: {} has a fixed-pitch propeller, which is set by RPM",
                args.profile.display()
            ))
            .hint("ask for --rpm; the table says the power"));
        }
        ask.powers = args
            .power_percent
            .iter()
            .map(|&p| profile::checked("--power-percent", "power percent", p).map(|p| p / 100.0))
            .collect::<Result<_, _>>()?;
    }
    ask.warmth = match args.temperature_c {
        Some(_) if ask.pressure_altitude_m.len() != 1 => {
            return Err(Failure::input(
                "--temperature-c belongs to one altitude, but the table has several",
            )
            .hint("give one --altitude-ft, or --isa-dev-c for all"));
        }
        Some(c) => profile::outside(c)?,
        None => profile::warmth(args.isa_dev_c)?,
    };
    if let Some(lb) = args.weight_lb {
        ask.mass_kg = profile::mass_kg(aircraft, &args.profile, lb)?;
    }
    if let Some(name) = &args.mixture {
        ask.mixture = profile::mixture(aircraft, &args.profile, name)?;
    }
    Ok(ask)
}

/// A crankshaft speed [rev/s] that can be set.
pub(super) fn settable(
    aircraft: &Aircraft,
    args: &SettingsArgs,
    option: &str,
    rpm: f64,
) -> Result<f64, Failure> {
    let p = &aircraft.propeller;
    let rev_s = Rpm::per_min(rpm).to_rev_s();
    let slack = 1e-9 * p.highest_governed_rev_s;
    if rev_s >= p.lowest_governed_rev_s - slack && rev_s <= p.highest_governed_rev_s + slack {
        Ok(rev_s)
    } else {
        let keys = if p.is_fixed() {
            ["propeller.lowest_rpm", "propeller.redline_rpm"]
        } else {
            [
                "propeller.lowest_governed_rpm",
                "propeller.highest_governed_rpm",
            ]
        };
        Err(Failure::input(format!(
            "{option} {rpm}: {} allows {:.0} ({}) to {:.0} rpm ({})",
            args.profile.display(),
            p.lowest_governed_rev_s * 60.0,
            keys[0],
            p.highest_governed_rev_s * 60.0,
            keys[1]
        )))
    }
}

/// Works the table out and writes it: files first, the text last; the text goes to standard error when standard output is taken.
///
/// # Errors
/// [`Failure`]; then no output file was touched.
pub fn run(args: &SettingsArgs) -> Result<(), Failure> {
    if args.what_if {
        return what_if::run(args);
    }
    let beside = Asked {
        json: args.json.as_ref(),
        csv: args.csv.as_ref(),
        ..Asked::default()
    }
    .open(&[&args.profile])?;
    let aircraft = profile::load(&args.profile)?;
    let table = settings(&aircraft, ask(args, &aircraft)?);
    let figures = SettingsFigures::in_units(&table, &aircraft, args.units.into());
    beside
        .json(|| settings_json(&figures))?
        .csv(|| settings_csv(&figures))?
        .with_text(&settings_text(&figures, profile::columns()))
}
