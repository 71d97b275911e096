//! The report of a fit, for the terminal.

use std::fmt::Write as _;

use super::HandbookFile;
use super::output::{parameter_name, rows_in_words, unit_of, with_error};
use crate::aircraft::Aircraft;
use crate::fit::{
    CONTRADICTION, Fitted, Flight, Parameter, Quantity, Residual, Row, Setting, Termination,
};
use crate::quantity::{
    KG_PER_LB, M_PER_FT, M_PER_NM, M_S_PER_FPM, M_S_PER_KT, M3_PER_GAL, PA_PER_INHG,
};

/// Width of the report in columns.
const WIDTH: usize = 100;

/// Name, unit, factor from SI and decimals of a figure.
fn shown(quantity: Quantity, aircraft: &Aircraft) -> (&'static str, &'static str, f64, usize) {
    let gal = aircraft.fuel.density_kg_m3 * M3_PER_GAL;
    match quantity {
        Quantity::PowerFraction => ("power", "%", 100.0, 1),
        Quantity::FuelFlow => ("fuel flow", "gph", 3_600.0 / gal, 2),
        Quantity::Tas => ("TAS", "kt", 1.0 / M_S_PER_KT, 1),
        Quantity::Ias => ("IAS", "kt", 1.0 / M_S_PER_KT, 1),
        Quantity::ManifoldPressure => ("MAP", "inHg", 1.0 / PA_PER_INHG, 2),
        Quantity::ClimbRate => ("climb", "fpm", 1.0 / M_S_PER_FPM, 0),
        Quantity::ClimbTime => ("time", "min", 1.0 / 60.0, 1),
        Quantity::ClimbFuel => ("fuel", "gal", 1.0 / gal, 2),
        Quantity::ClimbDistance => ("distance", "nm", 1.0 / M_PER_NM, 1),
        Quantity::GlideRatio => ("glide ratio", "", 1.0, 2),
        Quantity::SinkRate => ("sink", "fpm", 1.0 / M_S_PER_FPM, 0),
        Quantity::StallSpeed => ("stall", "kt", 1.0 / M_S_PER_KT, 1),
    }
}

/// A row in a few words.
fn describe(row: &Row) -> String {
    let ft = row.condition.pressure_altitude_m / M_PER_FT;
    let lb = row.condition.mass_kg / KG_PER_LB;
    let dev = row.condition.deviation_k;
    let isa = if dev.abs() < 0.5 {
        "ISA".to_owned()
    } else {
        format!("ISA{dev:+.0}")
    };
    match &row.flight {
        Flight::Stall => format!("{}, {lb:.0} lb", row.label),
        Flight::ClimbSpan { from_m, .. } => {
            format!("{}, {:.0}-{ft:.0} ft {isa}", row.label, from_m / M_PER_FT)
        }
        _ => format!("{}, {ft:.0} ft {isa}", row.label),
    }
}

/// The report of a fit as plain text, at most 100 columns wide.
pub fn report_text(file: &HandbookFile, fitted: &Fitted) -> String {
    let mut out = String::new();
    let report = &fitted.report;
    let aircraft = &fitted.aircraft;
    let rows = &file.handbook.rows;
    let name = |p: Parameter| parameter_name(p, fitted);
    // writing to a String cannot fail
    let _ = writeln!(
        out,
        "Fit of {} to {}\n",
        aircraft.name.escape_debug(),
        rows_in_words(file)
    );
    let _ = match report.termination {
        Termination::Converged => Ok(()),
        Termination::Stalled => writeln!(
            out,
            "NOT CONVERGED: the search could not get lower; the figures may not be the best.\n"
        ),
        Termination::StepLimit => writeln!(
            out,
            "NOT CONVERGED: stopped after {} steps; the figures may not be the best.\n",
            report.steps
        ),
    };

    let _ = writeln!(
        out,
        "{:<34}{:>24}  {:<6}{:>18}",
        "fitted", "value and std. error", "", "beforehand"
    );
    for e in &fitted.estimates {
        let (factor, unit) = unit_of(e.prior.parameter);
        let mark = if report.undetermined.contains(&e.prior.parameter) {
            "  not determined"
        } else {
            ""
        };
        let _ = writeln!(
            out,
            "{:<34}{:>24}  {unit:<6}{:>18}{mark}",
            name(e.prior.parameter),
            with_error(e.value * factor, e.error * factor),
            with_error(e.prior.mean * factor, e.prior.sd * factor),
        );
    }

    let _ = writeln!(
        out,
        "\n{:<32}{:<13}{:>10}{:>10}{:>9}{:>9}{:>9}",
        "row", "figure", "read", "model", "diff.", "/error", "left out"
    );
    for (i, r) in report.residuals.iter().enumerate() {
        let row = &rows[r.row];
        if is_within_reach(row, r) {
            continue;
        }
        let (what, unit, factor, places) = shown(r.seen.quantity, aircraft);
        let first = i == 0 || report.residuals[i - 1].row != r.row;
        let label: String = if first {
            describe(row).chars().take(31).collect()
        } else {
            String::new()
        };
        let mark = if report.contradictions.contains(&i) {
            " <<<"
        } else {
            ""
        };
        let _ = writeln!(
            out,
            "{label:<32}{:<13}{:>10.places$}{:>10.places$}{:>+9.places$}{:>+9.1}{:>+9.places$}{mark}",
            format!("{what} {unit}").trim_end(),
            r.seen.value * factor,
            r.model * factor,
            r.difference() * factor,
            r.normalised(),
            r.left_out * factor,
        );
    }
    paragraph(
        &mut out,
        "diff.: model less row. /error: diff. over the standard error given to the figure. left out: what diff. would be had the fit not seen that row (linearised formula, not a second fit).",
    );
    leave_one_out(&mut out, fitted);

    out.push('\n');
    let _ = writeln!(
        out,
        "Mean square of the differences over their errors: {:.2} (about 1 or less is sound).",
        report.mean_square
    );
    for i in &report.contradictions {
        let r = &report.residuals[*i];
        let (what, unit, factor, places) = shown(r.seen.quantity, aircraft);
        paragraph(
            &mut out,
            &format!(
                "WARNING: {} contradicts the other rows: {what} {:.places$} {unit} was read, {:.places$} fits the others, {:.1} times its standard error. Look for a slip of the pen, the wrong weight, temperature or mixture.",
                describe(&rows[r.row]),
                r.seen.value * factor,
                (r.seen.value + r.left_out) * factor,
                r.normalised().abs(),
            ),
        );
    }
    if report.inconsistent {
        paragraph(
            &mut out,
            &format!(
                "WARNING: the rows as a whole do not fit one aeroplane within the errors given to them{}. Standard errors above are widened accordingly.",
                if report.contradictions.is_empty() {
                    format!(", though none is beyond {CONTRADICTION:.0} errors")
                } else {
                    String::new()
                },
            ),
        );
    }
    if !report.undetermined.is_empty() {
        let names: Vec<String> = report.undetermined.iter().map(|p| name(*p)).collect();
        paragraph(
            &mut out,
            &format!(
                "The rows say next to nothing of: {}. These are known little better than beforehand.",
                names.join("; ")
            ),
        );
    }
    for tie in &report.ties {
        let both = |x, y| (tie.a == x && tie.b == y) || (tie.a == y && tie.b == x);
        let why = if both(Parameter::Cd0, Parameter::InstalledFactor) {
            ": level flight shows only drag over thrust. A glide row with a known ratio would tell them apart"
        } else if matches!(
            (tie.a, tie.b),
            (Parameter::VolumetricEfficiency, Parameter::FuelAir(_))
        ) {
            ": fuel flow shows only their product"
        } else if both(Parameter::InductionLoss, Parameter::RamRecovery) {
            ": full throttle shows only their difference. Full-throttle rows at two speeds would tell them apart"
        } else {
            ""
        };
        paragraph(
            &mut out,
            &format!(
                "These rows cannot tell apart: {} and {} (correlation {:+.2}){why}. Either alone is a guess; together they give the rows.",
                name(tie.a),
                name(tie.b),
                tie.correlation,
            ),
        );
    }
    for p in &report.on_bound {
        paragraph(
            &mut out,
            &format!(
                "WARNING: {} stands at the end of what is possible; something typed in is wrong, or the model does not suit this aeroplane.",
                name(*p)
            ),
        );
    }
    if !file.assumed.is_empty() {
        paragraph(
            &mut out,
            &format!(
                "Standard values, not of this aeroplane: {}.",
                file.assumed.join(", ")
            ),
        );
    }
    out
}

/// A manifold pressure that was set and is reached: no reading.
fn is_within_reach(row: &Row, r: &Residual) -> bool {
    let set = match &row.flight {
        Flight::Cruise { engine }
        | Flight::Climb { engine, .. }
        | Flight::ClimbSpan { engine, .. } => {
            matches!(engine.throttle, Setting::Map(_))
        }
        Flight::Glide { .. } | Flight::Stall => false,
    };
    set && r.seen.quantity == Quantity::ManifoldPressure && r.normalised().abs() < 0.05
}

/// Root mean square and greatest difference with each row left out, by figure.
fn leave_one_out(out: &mut String, fitted: &Fitted) {
    let mut quantities: Vec<Quantity> = Vec::new();
    for r in &fitted.report.residuals {
        if !quantities.contains(&r.seen.quantity) {
            quantities.push(r.seen.quantity);
        }
    }
    let mut parts = Vec::new();
    for quantity in quantities {
        let of: Vec<f64> = fitted
            .report
            .residuals
            .iter()
            .filter(|r| r.seen.quantity == quantity)
            .map(|r| r.left_out)
            .collect();
        let mean = (of.iter().map(|x| x * x).sum::<f64>() / of.len() as f64).sqrt();
        let most = of.iter().fold(0.0_f64, |a, x| a.max(x.abs()));
        let (what, unit, factor, places) = shown(quantity, &fitted.aircraft);
        if most * factor >= 0.5 * 10f64.powi(-(places as i32)) {
            parts.push(format!(
                "{what} {:.places$} {unit} (most {:.places$})",
                mean * factor,
                most * factor
            ));
        }
    }
    if !parts.is_empty() {
        paragraph(
            out,
            &format!(
                "Each row predicted from the others, root mean square: {}.",
                parts.join(", ")
            ),
        );
    }
}

/// Appends text broken at spaces.
fn paragraph(out: &mut String, text: &str) {
    let mut column = 0;
    for word in text.split_whitespace() {
        let length = word.chars().count();
        if column > 0 && column + 1 + length > WIDTH {
            out.push('\n');
            column = 0;
        }
        if column > 0 {
            out.push(' ');
            column += 1;
        }
        out.push_str(word);
        column += length;
    }
    out.push('\n');
}
