//! The grid as CSV, row by row.

use super::units::{Fuel, ft, inhg, kt, lb, rpm};
use crate::aircraft::{Aircraft, Governed};
use crate::quantity::W_PER_HP;
use crate::tables::grid::{Count, GridAxes, Kind, Row, grid};
use std::io::{self, Write};

/// A figure with no more decimals than asked for.
fn places(x: f64, digits: i32) -> String {
    let s = 10_f64.powi(digits);
    let rounded = (x * s).round() / s;
    (if rounded == 0.0 { 0.0 } else { rounded }).to_string()
}

/// The names of the columns. Drag is `drag_n`, or with several masses `drag_n_<mass>lb` each.
fn heads(axes: &GridAxes) -> Vec<String> {
    let mut names: Vec<String> = [
        "pressure_altitude_ft",
        "tas_kt",
        "rpm",
        "map_inhg",
        "mixture",
        "thrust_n",
    ]
    .map(str::to_owned)
    .to_vec();
    match axes.masses_kg.as_slice() {
        [_] => names.push("drag_n".to_owned()),
        several => names.extend(
            several
                .iter()
                .map(|&m| format!("drag_n_{}lb", places(lb(m), 3))),
        ),
    }
    names.extend(
        [
            "fuel_flow_gph",
            "shaft_power_hp",
            "blade_angle_deg",
            "governed",
            "allowed",
            "reason",
            "turning_rpm",
            "point",
        ]
        .map(str::to_owned),
    );
    names
}

/// What went wrong while writing, as the writer below said it.
fn io_error(e: csv::Error) -> io::Error {
    let text = e.to_string();
    match e.into_kind() {
        csv::ErrorKind::Io(e) => e,
        _ => io::Error::other(text),
    }
}

/// Works the grid out and writes it as it comes. Thrust, fuel flow and power are those of all engines, RPM and MAP those of each; `rpm`
/// is what is set and `turning_rpm` what turns; `reason` holds the codes of [`crate::aircraft::Refusal::code`] with semicolons between
/// them, and is empty where `allowed` is true.
///
/// # Errors
/// The first error of the writer.
pub fn grid_csv(aircraft: &Aircraft, axes: &GridAxes, out: &mut dyn Write) -> io::Result<Count> {
    let fuel = Fuel::new(aircraft.fuel.density_kg_m3);
    let mut csv = csv::Writer::from_writer(out);
    csv.write_record(heads(axes)).map_err(io_error)?;
    let mut reason = String::new();
    let count = grid(aircraft, axes, |r: &Row<'_>| {
        let p = r.performance;
        reason.clear();
        for w in r.refusals {
            if !reason.is_empty() {
                reason.push(';');
            }
            reason.push_str(w.code());
        }
        let mixtures = &aircraft.engine.spec.mixtures;
        let mixture = mixtures
            .get(r.levers.mixture)
            .map_or("", |m| m.name.as_str());
        let mut field = |text: &str| csv.write_field(text).map_err(io_error);
        field(&places(ft(r.pressure_altitude_m), 3))?;
        field(&places(kt(r.tas_m_s), 4))?;
        field(&places(rpm(r.rev_s), 3))?;
        field(&places(inhg(p.map_pa), 6))?;
        field(mixture)?;
        field(&places(p.thrust_n, 4))?;
        for &drag in r.drag_n {
            field(&places(drag, 4))?;
        }
        field(&places(fuel.gph(p.fuel_kg_s), 6))?;
        field(&places(p.shaft_power_w / W_PER_HP, 5))?;
        field(&places(p.blade_angle_rad.to_degrees(), 5))?;
        field(if p.governed == Governed::Yes {
            "true"
        } else {
            "false"
        })?;
        field(if r.refusals.is_empty() {
            "true"
        } else {
            "false"
        })?;
        field(&reason)?;
        field(&places(rpm(p.rev_s), 3))?;
        field(match r.kind {
            Kind::Held => "held",
            Kind::LimitLine => "limit_line",
            Kind::FullThrottle => "full_throttle",
        })?;
        csv.write_record(None::<&[u8]>).map_err(io_error)
    })?;
    csv.flush()?;
    Ok(count)
}
