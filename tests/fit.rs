//! Fits: public tables predicted from other cells of theirs, known profiles found again, and what the report says.

#![allow(
    clippy::unwrap_used,
    reason = "a test that cannot get at its data must fail"
)]

mod files;
mod known;
mod printed;

use fellrun::aircraft::{Aircraft, Configuration};
use fellrun::files::handbook::{HandbookFile, load};
use fellrun::fit::{Condition, EngineSetting, Fitted, Termination, fit, level_flight};
use fellrun::quantity::{KG_PER_LB, M_PER_FT, M_S_PER_KT, PA_PER_INHG};
use std::path::{Path, PathBuf};

fn root(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

fn fitted(path: &str) -> (HandbookFile, Fitted) {
    let file = load(&root(path)).unwrap_or_else(|e| panic!("{}", e.render(false)));
    let fitted = fit(&file.handbook).unwrap();
    assert_eq!(fitted.report.termination, Termination::Converged);
    (file, fitted)
}

fn at(altitude_ft: f64, deviation_k: f64, mass_lb: f64) -> Condition {
    Condition {
        pressure_altitude_m: altitude_ft * M_PER_FT,
        deviation_k,
        mass_kg: mass_lb * KG_PER_LB,
        configuration: Configuration::default(),
    }
}

/// TAS (kt), fuel flow (gph of 6 lb), MAP (inHg) in level flight.
fn level(aircraft: &Aircraft, condition: &Condition, engine: &EngineSetting) -> [f64; 3] {
    let (v, p) = level_flight(aircraft, condition, engine, 80.0);
    [
        v / M_S_PER_KT,
        p.fuel_kg_s * 3_600.0 / (6.0 * KG_PER_LB),
        p.map_pa / PA_PER_INHG,
    ]
}
