//! `fellrun grid`: thrust, drag, fuel flow and power over every axis, for a machine to read.

use super::output::{self, Target};
use super::{Failure, profile};
use crate::aircraft::{Aircraft, Throttle};
use crate::brief::{EACH_ENGINE, ONE_ENGINE, grid_csv};
use crate::quantity::{M_PER_FT, M_S_PER_KT, PA_PER_INHG, Rpm};
use crate::tables::grid::GridAxes;
use crate::tables::settings::highest_usual_m;
use clap::Args;
use std::io::Write;
use std::path::PathBuf;
use std::str::FromStr;

/// No grid has more rows than this: some ten gigabytes.
const MOST_ROWS: f64 = 1e8;
/// Float noise in an axis, relative to its step.
const NOISE: f64 = 1e-9;

/// From one value to another, as typed: `FROM..TO`, or one value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    from: f64,
    to: f64,
}

impl FromStr for Span {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let number = |t: &str| {
            t.trim()
                .parse::<f64>()
                .map_err(|_| format!("{t:?} is no number; write FROM..TO"))
        };
        let (from, to) = match text.split_once("..") {
            Some((a, b)) => (number(a)?, number(b)?),
            None => (number(text)?, number(text)?),
        };
        if from <= to {
            Ok(Self { from, to })
        } else {
            Err(format!("{from} to {to} does not rise"))
        }
    }
}

/// Arguments of `grid` as typed.
#[derive(Debug, Args)]
pub struct GridArgs {
    /// The aircraft profile: a TOML file, or the name of one that comes with fellrun
    #[arg(value_name = "PROFILE.toml")]
    pub profile: PathBuf,
    /// Write the grid here as CSV; - for standard output
    #[arg(long, value_name = "PATH")]
    pub out: PathBuf,
    /// Weights for which drag is given, with commas or given more than once [default: the greatest at take-off]
    #[arg(
        long,
        value_name = "LB",
        value_delimiter = ',',
        allow_negative_numbers = true
    )]
    pub weight_lb: Vec<f64>,
    /// How much warmer than standard it is; colder below zero
    #[arg(long, value_name = "C", allow_negative_numbers = true)]
    pub isa_dev_c: Option<f64>,
    /// Mixtures by name, with commas or given more than once [default: all]
    #[arg(long, value_name = "NAME", value_delimiter = ',')]
    pub mixture: Vec<String>,
    /// Pressure altitudes [default: 0..12000, higher with a turbocharger]
    #[arg(long, value_name = "FROM..TO", allow_hyphen_values = true)]
    pub altitude_ft: Option<Span>,
    /// True airspeeds [default: from the stall speed to never-exceed at the highest altitude]
    #[arg(long, value_name = "FROM..TO", allow_hyphen_values = true)]
    pub tas_kt: Option<Span>,
    /// Crankshaft speeds to set [default: all that can be]
    #[arg(long, value_name = "FROM..TO", allow_hyphen_values = true)]
    pub rpm: Option<Span>,
    /// Manifold pressures [default: from the profile's least for the descent to full throttle]
    #[arg(long, value_name = "FROM..TO", allow_hyphen_values = true)]
    pub map_inhg: Option<Span>,
    /// Step of the altitudes
    #[arg(
        long,
        value_name = "FT",
        default_value_t = 500.0,
        allow_negative_numbers = true
    )]
    pub step_altitude_ft: f64,
    /// Step of the airspeeds
    #[arg(
        long,
        value_name = "KT",
        default_value_t = 5.0,
        allow_negative_numbers = true
    )]
    pub step_tas_kt: f64,
    /// Step of the crankshaft speeds
    #[arg(
        long,
        value_name = "RPM",
        default_value_t = 100.0,
        allow_negative_numbers = true
    )]
    pub step_rpm: f64,
    /// Step of the manifold pressures
    #[arg(
        long,
        value_name = "INHG",
        default_value_t = 0.5,
        allow_negative_numbers = true
    )]
    pub step_map_inhg: f64,
}

/// From one end to the other in steps, both ends included.
fn axis(span: Span, step: f64) -> Vec<f64> {
    let last = span.to - NOISE * step;
    let mut values: Vec<f64> = (0..)
        .map(|i| span.from + f64::from(i) * step)
        .take_while(|&x| x < last)
        .collect();
    values.push(span.to);
    values
}

/// One axis as typed or as usual, checked, in its own unit.
struct Axis {
    option: &'static str,
    key: &'static str,
    typed: Option<Span>,
    usual: Span,
    step_option: &'static str,
    step_key: &'static str,
    step: f64,
}

impl Axis {
    fn values(&self) -> Result<Vec<f64>, Failure> {
        let step = profile::checked(self.step_option, self.step_key, self.step)?;
        if let Some(span) = self.typed {
            profile::checked(self.option, self.key, span.from)?;
            profile::checked(self.option, self.key, span.to)?;
            return Ok(axis(span, step));
        }
        Ok(axis(self.usual, step))
    }
}

fn axes(args: &GridArgs, aircraft: &Aircraft) -> Result<GridAxes, Failure> {
    let warmth = profile::warmth(args.isa_dev_c)?;
    let usual = vec![aircraft.masses.max_take_off_kg];
    let masses_kg = profile::masses_kg(aircraft, &args.profile, &args.weight_lb, usual)?;
    let mixtures = if args.mixture.is_empty() {
        (0..aircraft.engine.spec.mixtures.len()).collect()
    } else {
        args.mixture
            .iter()
            .map(|name| profile::mixture(aircraft, &args.profile, name))
            .collect::<Result<_, _>>()?
    };
    let altitudes_ft = Axis {
        option: "--altitude-ft",
        key: "altitude",
        typed: args.altitude_ft,
        usual: Span {
            from: 0.0,
            to: (highest_usual_m(aircraft) / M_PER_FT).round(),
        },
        step_option: "--step-altitude-ft",
        step_key: "altitude step",
        step: args.step_altitude_ft,
    }
    .values()?;
    // An axis is never empty: it has its last value.
    let (lowest_ft, highest_ft) = (
        altitudes_ft.iter().copied().fold(f64::INFINITY, f64::min),
        altitudes_ft
            .iter()
            .copied()
            .fold(f64::NEG_INFINITY, f64::max),
    );
    let (low, high) = (
        warmth.air(lowest_ft * M_PER_FT),
        warmth.air(highest_ft * M_PER_FT),
    );
    let lightest = masses_kg.iter().copied().fold(f64::INFINITY, f64::min);
    let stall = crate::aircraft::Speeds::at_mass(
        aircraft.speeds.vs_m_s,
        lightest,
        aircraft.masses.max_take_off_kg,
    );
    let slowest_kt = aircraft.tas_from_ias(low, stall) / M_S_PER_KT;
    let fastest_m_s = aircraft.tas_from_ias(high, aircraft.speeds.vne_m_s);
    let tas_kt = Axis {
        option: "--tas-kt",
        key: "speed",
        typed: args.tas_kt,
        usual: Span {
            // A speed on a multiple but for rounding is on it.
            from: (slowest_kt / 5.0 * (1.0 + NOISE)).floor() * 5.0,
            to: (fastest_m_s / M_S_PER_KT / 5.0 * (1.0 - NOISE)).ceil() * 5.0,
        },
        step_option: "--step-tas-kt",
        step_key: "speed step",
        step: args.step_tas_kt,
    }
    .values()?;
    let p = &aircraft.propeller;
    let settable = Span {
        from: Rpm::rev_s(p.lowest_governed_rev_s).to_per_min(),
        to: Rpm::rev_s(p.highest_governed_rev_s).to_per_min(),
    };
    if let Some(typed) = args.rpm
        && (typed.from < settable.from * (1.0 - NOISE) || typed.to > settable.to * (1.0 + NOISE))
    {
        return Err(Failure::input(format!(
            "--rpm {}..{}: {} allows {:.0} to {:.0} rpm",
            typed.from,
            typed.to,
            args.profile.display(),
            settable.from,
            settable.to
        ))
        .hint("the profile's [propeller] says so"));
    }
    let rpm = Axis {
        option: "--rpm",
        key: "rpm",
        typed: args.rpm,
        usual: settable,
        step_option: "--step-rpm",
        step_key: "rpm step",
        step: args.step_rpm,
    }
    .values()?;
    let intake = aircraft.intake(low, fastest_m_s);
    let full_pa = aircraft
        .engine
        .map_pa(Throttle::Full, p.lowest_governed_rev_s, intake);
    let least_inhg = aircraft.procedures.least_descent_map_pa / PA_PER_INHG;
    let map_inhg = Axis {
        option: "--map-inhg",
        key: "manifold pressure",
        typed: args.map_inhg,
        usual: Span {
            from: least_inhg,
            to: (full_pa / PA_PER_INHG * (1.0 - NOISE))
                .ceil()
                .max(least_inhg),
        },
        step_option: "--step-map-inhg",
        step_key: "map step",
        step: args.step_map_inhg,
    }
    .values()?;
    let each = |values: Vec<f64>, unit: f64| values.into_iter().map(|v| v * unit).collect();
    Ok(GridAxes {
        pressure_altitude_m: each(altitudes_ft, M_PER_FT),
        tas_m_s: each(tas_kt, M_S_PER_KT),
        rev_s: rpm.iter().map(|&n| Rpm::per_min(n).to_rev_s()).collect(),
        map_pa: each(map_inhg, PA_PER_INHG),
        mixtures,
        masses_kg,
        warmth,
    })
}

/// Works the grid out row by row and writes it as it comes; tells on standard error how many rows there are.
///
/// # Errors
/// [`Failure`]; then no output file was touched.
pub fn run(args: &GridArgs) -> Result<(), Failure> {
    let mut outputs = output::open(&[Target::new(&args.out)], &[&args.profile])?;
    let aircraft = profile::load(&args.profile)?;
    let axes = axes(args, &aircraft)?;
    if axes.most_rows() > MOST_ROWS {
        return Err(Failure::input(format!(
            "this grid may have {:.0} million rows; no more than {:.0} million are written",
            axes.most_rows() / 1e6,
            MOST_ROWS / 1e6
        ))
        .hint("take narrower ranges or longer steps"));
    }
    // One target gives one output.
    let Some(out) = outputs.pop() else {
        return Err(Failure::bug("no output was opened"));
    };
    let mut count = None;
    output::stream(out, |w| {
        count = Some(grid_csv(&aircraft, &axes, w)?);
        Ok(())
    })?;
    if let Some(count) = count {
        // Talk: nothing is left to do if it cannot be said.
        let _ = writeln!(
            anstream::stderr(),
            "{} rows, {} of them allowed; thrust, fuel flow and power of all engines, drag clean",
            count.rows,
            count.allowed
        );
        if aircraft.engines > 1 {
            let _ = writeln!(anstream::stderr(), "{EACH_ENGINE} {ONE_ENGINE}");
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closed_form_axes_have_both_ends_and_no_longer_step() {
        assert_eq!(axis(Span { from: 0.0, to: 1.0 }, 0.5), [0.0, 0.5, 1.0]);
        assert_eq!(axis(Span { from: 1.0, to: 1.0 }, 0.5), [1.0]);
        assert_eq!(axis(Span { from: 0.0, to: 1.2 }, 0.5), [0.0, 0.5, 1.0, 1.2]);
        // Steps that do not add up in binary.
        let tenths = axis(Span { from: 0.0, to: 1.0 }, 0.1);
        assert_eq!(tenths.len(), 11, "{tenths:?}");
    }

    #[test]
    fn closed_form_spans_read() {
        assert_eq!(
            "0..500".parse(),
            Ok(Span {
                from: 0.0,
                to: 500.0
            })
        );
        assert_eq!(
            "-500..1e3".parse(),
            Ok(Span {
                from: -500.0,
                to: 1_000.0
            })
        );
        assert_eq!(
            "22.5".parse(),
            Ok(Span {
                from: 22.5,
                to: 22.5
            })
        );
        for bad in [
            "", "..", "5..", "5..1", "nan", "nan..nan", "a..b", "1..2..3",
        ] {
            assert!(bad.parse::<Span>().is_err(), "{bad}");
        }
    }
}
