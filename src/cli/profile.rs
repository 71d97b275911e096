//! What the commands that take an aircraft profile share: loading it, and arguments checked against it.

use super::Failure;
use crate::aircraft::{Aircraft, Warmth};
use crate::files::diagnostic::range_hint;
use crate::files::profile::load_named;
use crate::quantity::{KG_PER_LB, ZERO_C_K, range};
use std::path::Path;

/// Reads a profile: a file, or one that comes with the program by its name.
pub(super) fn load(path: &Path) -> Result<Aircraft, Failure> {
    load_named(Path::new(""), path).map_err(|e| Failure::drawn(e.render_for_stderr()))
}

/// A value of an option inside the range of the table of ranges.
pub(super) fn checked(option: &str, key: &str, value: f64) -> Result<f64, Failure> {
    range(key).check(value).map_err(|e| {
        let failure = Failure::input(format!("{option} {e}"));
        match range_hint(&e) {
            Some(hint) => failure.hint(hint),
            None => failure,
        }
    })
}

/// A mass [kg] typed in pounds, between those of the profile.
pub(super) fn mass_kg(aircraft: &Aircraft, path: &Path, lb: f64) -> Result<f64, Failure> {
    let masses = aircraft.masses;
    let kg = lb * KG_PER_LB;
    // A pound typed as the profile has it is that pound.
    let slack = 1e-9 * masses.max_take_off_kg;
    if kg >= masses.empty_kg - slack && kg <= masses.max_take_off_kg + slack {
        Ok(kg)
    } else {
        Err(Failure::input(format!(
            "--weight-lb {lb}: {} allows {:.0} (weights.empty_lb) to {:.0} lb (weights.max_take_off_lb)",
            path.display(),
            masses.empty_kg / KG_PER_LB,
            masses.max_take_off_kg / KG_PER_LB
        )))
    }
}

/// The masses typed, or the usual ones if none was.
pub(super) fn masses_kg(
    aircraft: &Aircraft,
    path: &Path,
    typed_lb: &[f64],
    usual_kg: Vec<f64>,
) -> Result<Vec<f64>, Failure> {
    if typed_lb.is_empty() {
        return Ok(usual_kg);
    }
    typed_lb
        .iter()
        .map(|&lb| mass_kg(aircraft, path, lb))
        .collect()
}

/// The row of a mixture by its name.
pub(super) fn mixture(aircraft: &Aircraft, path: &Path, name: &str) -> Result<usize, Failure> {
    let rows = &aircraft.engine.spec.mixtures;
    rows.iter()
        .position(|m| m.name.eq_ignore_ascii_case(name.trim()))
        .ok_or_else(|| {
            let names: Vec<String> = rows.iter().map(|m| format!("{:?}", m.name)).collect();
            Failure::input(format!(
                "--mixture {name:?}: {} has no engine.mixture of that name",
                path.display()
            ))
            .hint(format!("it has {}", names.join(", ")))
        })
}

/// Temperature by its deviation from standard, zero if none was typed.
pub(super) fn warmth(isa_dev_c: Option<f64>) -> Result<Warmth, Failure> {
    let c = isa_dev_c.map_or(Ok(0.0), |c| checked("--isa-dev-c", "isa deviation", c))?;
    Ok(Warmth::AboveStandard(c))
}

/// Temperature typed as it is outside.
pub(super) fn outside(celsius: f64) -> Result<Warmth, Failure> {
    checked("--temperature-c", "temperature", celsius).map(|c| Warmth::Outside(c + ZERO_C_K))
}

/// Columns of the terminal, or the widest there is when it is not one.
pub(super) fn columns() -> usize {
    terminal_size::terminal_size().map_or(usize::MAX, |(w, _)| usize::from(w.0))
}
