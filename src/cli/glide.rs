//! `fellrun glide`: the glide without power.

use super::beside::Asked;
use super::{Failure, UnitsArg, profile};
use crate::aircraft::Aircraft;
use crate::brief::{GlideFigures, glide_json, glide_text};
use crate::quantity::{KG_PER_LB, M_PER_FT, M_S_PER_KT};
use crate::teach::glide::{GlideAsk, study};
use clap::Args;
use std::path::PathBuf;

/// Height above the ground where the glide begins unless another is typed, ft.
const HEIGHT_FT: f64 = 5_000.0;
/// The usual light weight has this part of the useful load.
const LIGHT: f64 = 0.25;

/// Arguments of `glide` as typed.
#[derive(Debug, Args)]
pub struct GlideArgs {
    /// The aircraft profile: a TOML file, or the name of one that comes with fellrun
    #[arg(value_name = "PROFILE.toml")]
    pub profile: PathBuf,
    /// Weights, with commas or given more than once, the first in full; without it the greatest at take-off and two lighter
    #[arg(
        long,
        value_name = "LB",
        value_delimiter = ',',
        allow_negative_numbers = true
    )]
    pub weight_lb: Vec<f64>,
    /// Height above the ground where the glide begins [default: 5000]
    #[arg(long, value_name = "FT", allow_negative_numbers = true)]
    pub height_ft: Option<f64>,
    /// Pressure altitude of the ground [default: 0]
    #[arg(long, value_name = "FT", allow_negative_numbers = true)]
    pub ground_ft: Option<f64>,
    /// Head wind on the way; a tail wind below zero [default: 0]
    #[arg(long, value_name = "KT", allow_negative_numbers = true)]
    pub wind_kt: Option<f64>,
    /// How much warmer than standard it is; colder below zero
    #[arg(long, value_name = "C", allow_negative_numbers = true)]
    pub isa_dev_c: Option<f64>,
    /// Units of the text; JSON names the unit in each key and stays as it is
    #[arg(long, value_enum, value_name = "UNITS", default_value_t = UnitsArg::Us)]
    pub units: UnitsArg,
    /// Write every figure as JSON; - for standard output
    #[arg(long, value_name = "PATH")]
    pub json: Option<PathBuf>,
}

/// The greatest take-off mass, a light one, and half-way, in tens of pounds but the first.
fn usual_kg(aircraft: &Aircraft) -> Vec<f64> {
    let m = aircraft.masses;
    let light = m.empty_kg + LIGHT * (m.max_take_off_kg - m.empty_kg);
    let tens = |kg: f64| (kg / KG_PER_LB / 10.0).ceil() * 10.0 * KG_PER_LB;
    vec![
        m.max_take_off_kg,
        tens(0.5 * (light + m.max_take_off_kg)).min(m.max_take_off_kg),
        tens(light).min(m.max_take_off_kg),
    ]
}

fn ask(args: &GlideArgs, aircraft: &Aircraft) -> Result<GlideAsk, Failure> {
    let wind_kt = args.wind_kt.unwrap_or(0.0);
    profile::checked("--wind-kt", "wind speed", wind_kt.abs())?;
    Ok(GlideAsk {
        masses_kg: profile::masses_kg(
            aircraft,
            &args.profile,
            &args.weight_lb,
            usual_kg(aircraft),
        )?,
        ground_m: M_PER_FT
            * profile::checked("--ground-ft", "elevation", args.ground_ft.unwrap_or(0.0))?,
        height_m: M_PER_FT
            * profile::checked("--height-ft", "height", args.height_ft.unwrap_or(HEIGHT_FT))?,
        warmth: profile::warmth(args.isa_dev_c)?,
        head_wind_m_s: wind_kt * M_S_PER_KT,
    })
}

/// Works the glide out and writes it: the file first, the text last; the text goes to standard error when standard output is taken.
///
/// # Errors
/// [`Failure`]; then no output file was touched.
pub fn run(args: &GlideArgs) -> Result<(), Failure> {
    let beside = Asked {
        json: args.json.as_ref(),
        ..Asked::default()
    }
    .open(&[&args.profile])?;
    let aircraft = profile::load(&args.profile)?;
    let found = study(&aircraft, ask(args, &aircraft)?);
    let figures = GlideFigures::in_units(&found, &aircraft, args.units.into());
    // What a program reads is the same whatever is asked for.
    let keyed = || GlideFigures::new(&found, &aircraft);
    beside
        .json(|| glide_json(&keyed()))?
        .with_text(&glide_text(&figures, profile::columns()))
}
