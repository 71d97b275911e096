//! `fellrun settings --what-if`: one lever alone.

use super::beside::Asked;
use super::settings::{SettingsArgs, settable};
use super::{Failure, profile};
use crate::air::isa;
use crate::aircraft::{Aircraft, Warmth};
use crate::brief::{WhatIfFigures, what_if_json, what_if_svg, what_if_text};
use crate::quantity::{M_PER_FT, PA_PER_INHG};
use crate::teach::what_if::{USUAL_CRUISE_M, WhatIfAsk, WhatIfError, what_if};

/// The one value of an option that a table takes several of.
fn only(option: &str, values: &[f64]) -> Result<Option<f64>, Failure> {
    match values {
        [] => Ok(None),
        [one] => Ok(Some(*one)),
        _ => Err(Failure::input(format!(
            "--what-if begins from one setting, but {option} has {} values",
            values.len()
        ))
        .hint(format!("give one {option}"))),
    }
}

fn map_pa(option: &str, inhg: f64) -> Result<f64, Failure> {
    profile::checked(option, "manifold pressure", inhg).map(|x| x * PA_PER_INHG)
}

fn ask(args: &SettingsArgs, aircraft: &Aircraft) -> Result<WhatIfAsk, Failure> {
    let altitude_m = only("--altitude-ft", &args.altitude_ft)?
        .map(|ft| profile::checked("--altitude-ft", "altitude", ft).map(|ft| ft * M_PER_FT))
        .transpose()?;
    let warmth = match args.temperature_c {
        // As warm against the standard at the high field as here.
        Some(c) => {
            let outside = profile::outside(c)?.air(altitude_m.unwrap_or(USUAL_CRUISE_M));
            let standard_k = isa::temperature_k(altitude_m.unwrap_or(USUAL_CRUISE_M));
            Warmth::AboveStandard(outside.temperature_k - standard_k)
        }
        None => profile::warmth(args.isa_dev_c)?,
    };
    let mut ask = WhatIfAsk::usual(aircraft, altitude_m, warmth);
    if let Some(rpm) = only("--rpm", &args.rpm)? {
        ask.rev_s = settable(aircraft, args, "--rpm", rpm)?;
    }
    if let Some(inhg) = args.map_inhg {
        ask.map_pa = map_pa("--map-inhg", inhg)?;
    }
    if let Some(lb) = args.weight_lb {
        ask.mass_kg = profile::mass_kg(aircraft, &args.profile, lb)?;
    }
    if let Some(name) = &args.mixture {
        ask.mixture = profile::mixture(aircraft, &args.profile, name)?;
    }
    ask.usual_target(aircraft);
    if let Some(inhg) = args.to_map_inhg {
        ask.to_map_pa = map_pa("--to-map-inhg", inhg)?;
    }
    if let Some(rpm) = args.to_rpm {
        ask.to_rev_s = settable(aircraft, args, "--to-rpm", rpm)?;
    }
    if ask.to_map_pa > ask.map_pa || ask.to_rev_s > ask.rev_s {
        return Err(Failure::input(format!(
            "the lesson goes from more to less, but {:.1} in / {:.0} is more than {:.1} in / {:.0}",
            ask.to_map_pa / PA_PER_INHG,
            ask.to_rev_s * 60.0,
            ask.map_pa / PA_PER_INHG,
            ask.rev_s * 60.0
        ))
        .hint("give a smaller --to-map-inhg or --to-rpm; adding is the same way back"));
    }
    if let Some(ft) = args.field_ft {
        ask.field_m = M_PER_FT * profile::checked("--field-ft", "elevation", ft)?;
    }
    Ok(ask)
}

/// Works the lesson out and writes it: files first, the text last; it goes to standard error when standard output is taken.
///
/// # Errors
/// [`Failure`]; then no output file was touched.
pub(super) fn run(args: &SettingsArgs) -> Result<(), Failure> {
    let beside = Asked {
        charts: &args.chart,
        json: args.json.as_ref(),
        ..Asked::default()
    }
    .open(&[&args.profile])?;
    let aircraft = profile::load(&args.profile)?;
    let fixed = |e: &dyn std::fmt::Display| {
        Failure::input(format!("--what-if: {}: {e}", args.profile.display()))
            .hint("fellrun settings without --what-if has its table by RPM")
    };
    if aircraft.propeller.is_fixed() {
        return Err(fixed(&WhatIfError::FixedPitch));
    }
    let lesson = what_if(&aircraft, ask(args, &aircraft)?).map_err(|e| match e {
        WhatIfError::FixedPitch => fixed(&e),
        WhatIfError::NotLevel => Failure::input(format!("--what-if: {e}"))
            .hint("give a lower --altitude-ft, or more --map-inhg or --rpm"),
        WhatIfError::OutOfReach => Failure::input(format!("--what-if: {e}"))
            .hint("give a lower --map-inhg or --altitude-ft"),
    })?;
    let figures = WhatIfFigures::in_units(&lesson, &aircraft, args.units.into());
    // What a program reads is the same whatever is asked for.
    let keyed = || WhatIfFigures::new(&lesson, &aircraft);
    beside
        .chart(|| what_if_svg(&figures))?
        .json(|| what_if_json(&keyed()))?
        .with_text(&what_if_text(&figures, profile::columns()))
}
