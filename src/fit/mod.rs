//! Fitting an aircraft profile to the rows of a handbook, or to what was measured in flight.
//!
//! Rows are predicted with [`Aircraft::perform`], level speed and rate of climb solved for each; the figures no type plate
//! gives ([`Parameter`]) are moved until the weighted squares of the differences, and of the distances from what is known
//! beforehand ([`Prior`]), are least. Blade geometry is held, so the propeller table is built once.
//!
//! # Equations
//! With residuals `r = (model - row) / sigma`, their Jacobian `J` by central differences and the prior's precision `P`:
//! covariance `C = (J'J + P)^-1`, in which a standard error already holds what was known beforehand. Leaving row `i` out
//! moves its own residuals from `r_i` to `(1 - J_i C J_i')^-1 r_i`: the linearised formula, exact for a linear model
//! (Cook & Weisberg, *Residuals and Influence in Regression* (1982), section 2.2, from memory; priors count as rows that stay).
//!
//! # What this does not do
//! Blade geometry and pitch stops are not fitted; rows with different flaps are not read; mass is constant
//! within a row.
//!
//! **Invariant:** SI units only, and no files: `files::handbook` reads, writes and prints.

mod least_squares;
mod parameter;
mod predict;
mod row;

pub use least_squares::Termination;
pub use parameter::{INDICATED_EFFICIENCY, INDICATED_EFFICIENCY_SD, Parameter, Prior};
pub use predict::{level_flight, predict};
pub use row::{Condition, EngineSetting, Flight, Quantity, Row, Seen, Setting};

use nalgebra::{DMatrix, DVector};

use crate::aircraft::Aircraft;
use crate::aircraft::engine::{Engine, EngineError};

/// A residual beyond this many standard errors contradicts the other rows: by chance 1 in 370.
pub const CONTRADICTION: f64 = 3.0;
/// A parameter is not determined where its standard error is more than this part of what it was beforehand.
pub const UNDETERMINED: f64 = 0.9;
/// Two parameters cannot be told apart beyond this correlation, from the rows with next to no priors: each is known 2.3 times
/// worse than it would be with the other known (`1 / sqrt(1 - rho^2)`).
pub const TIED: f64 = 0.9;
/// For that question prior deviations are widened this many times.
const LOOSE: f64 = 10.0;
/// A parameter within this part of its range of a bound is on it.
const ON_BOUND: f64 = 0.01;
/// Fewest observations beyond which the mean square says something about the rows as a whole.
const FEW: usize = 5;

/// What is to be fitted to what.
#[derive(Debug, Clone)]
pub struct Handbook {
    /// The aircraft with every prior at its centre.
    pub aircraft: Aircraft,
    /// What to fit. Everything else of the aircraft is held.
    pub priors: Vec<Prior>,
    /// The rows.
    pub rows: Vec<Row>,
}

/// A fitted parameter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// What was known beforehand.
    pub prior: Prior,
    /// The fitted value.
    pub value: f64,
    /// Its standard error, prior included; widened by the mean square where that is above one.
    pub error: f64,
    /// Standard deviation after over before the fit, both in the fitted variable; one where the rows say nothing.
    pub narrowing: f64,
}

/// One figure of one row after the fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Residual {
    /// Number of the row in the handbook.
    pub row: usize,
    /// The figure as it was read.
    pub seen: Seen,
    /// What the fitted aircraft shows.
    pub model: f64,
    /// Model less row with this row left out of the fit, linearised.
    pub left_out: f64,
}

impl Residual {
    /// Model less row.
    pub fn difference(&self) -> f64 {
        self.model - self.seen.value
    }

    /// Difference over the standard error of the figure.
    pub fn normalised(&self) -> f64 {
        self.difference() / self.seen.sigma
    }
}

/// Two parameters that the rows do not tell apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tie {
    /// One.
    pub a: Parameter,
    /// The other.
    pub b: Parameter,
    /// Correlation of the two from the rows alone, priors widened ten times.
    pub correlation: f64,
}

/// How well the fit went.
#[derive(Debug, Clone, PartialEq)]
pub struct Report {
    /// Every figure of every row.
    pub residuals: Vec<Residual>,
    /// Sum of the squares of the normalised residuals, and of the distances from the priors in prior deviations, over the
    /// number of figures: about one where the stated errors are right, however strong the priors.
    pub mean_square: f64,
    /// Parameters as wide as before.
    pub undetermined: Vec<Parameter>,
    /// Pairs that only stand together.
    pub ties: Vec<Tie>,
    /// Parameters at a bound.
    pub on_bound: Vec<Parameter>,
    /// Indices into `residuals` beyond [`CONTRADICTION`].
    pub contradictions: Vec<usize>,
    /// The mean square is so high that the rows as a whole contradict each other, or the stated errors are too small:
    /// above `1 + 3 sqrt(2 / n)`.
    pub inconsistent: bool,
    /// Why the search ended.
    pub termination: Termination,
    /// Steps of the search.
    pub steps: usize,
}

/// A fitted aircraft.
#[derive(Debug, Clone)]
pub struct Fitted {
    /// The aircraft.
    pub aircraft: Aircraft,
    /// What was fitted, in the order of the priors.
    pub estimates: Vec<Estimate>,
    /// How well.
    pub report: Report,
}

/// Why there is no fit.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FitError {
    /// No row has a figure to fit to.
    #[error("the handbook has no row to fit to")]
    NoRows,
    /// The engine of the priors cannot be.
    #[error("the engine before the fit cannot be: {0}")]
    Engine(#[from] EngineError),
    /// A row asks for what the aircraft of the priors cannot do at all.
    #[error("{label} cannot be flown by any aeroplane like this one")]
    Row {
        /// The row.
        label: String,
    },
    /// A figure without a finite value or a standard error above zero.
    #[error("{label} has a figure without a finite value and error")]
    Figure {
        /// The row.
        label: String,
    },
}

/// Fits the priors of a handbook to its rows.
///
/// # Errors
/// [`FitError`]; rows that merely contradict each other are no error but part of the [`Report`].
pub fn fit(handbook: &Handbook) -> Result<Fitted, FitError> {
    let base = &handbook.aircraft;
    let priors = &handbook.priors;
    let figures: Vec<(usize, Seen)> = handbook
        .rows
        .iter()
        .enumerate()
        .flat_map(|(i, row)| row.seen.iter().map(move |s| (i, *s)))
        .collect();
    if figures.is_empty() {
        return Err(FitError::NoRows);
    }
    let label = |row: usize| handbook.rows[row].label.clone();
    for (row, seen) in &figures {
        if !seen.value.is_finite() || !seen.sigma.is_finite() || seen.sigma <= 0.0 {
            return Err(FitError::Figure { label: label(*row) });
        }
    }
    Engine::new(base.engine.spec.clone())?;

    let mut aircraft = base.clone();
    let mut model_at = |x: &DVector<f64>| -> Option<(Vec<f64>, f64)> {
        let values = priors.iter().zip(x.iter()).map(|(p, x)| p.value_at(*x));
        parameter::remake(base, priors, values, &mut aircraft).ok()?;
        let model = handbook
            .rows
            .iter()
            .flat_map(|row| predict(&aircraft, row))
            .collect();
        let efficiency = aircraft.engine.indicated_efficiency();
        Some((
            model,
            (efficiency / INDICATED_EFFICIENCY).ln() / INDICATED_EFFICIENCY_SD,
        ))
    };
    // The last residual is the prior on the indicated efficiency, which no single parameter holds.
    let mut residuals = |x: &DVector<f64>| {
        let (model, efficiency) = model_at(x)?;
        let of_rows = model
            .iter()
            .zip(&figures)
            .map(|(m, (_, s))| (m - s.value) / s.sigma);
        let all: Vec<f64> = of_rows.chain([efficiency]).collect();
        all.iter()
            .all(|r| r.is_finite())
            .then(|| DVector::from_vec(all))
    };
    let n = priors.len();
    let mean = DVector::from_iterator(n, priors.iter().map(|p| p.variable(p.mean)));
    let sd = DVector::from_iterator(n, priors.iter().map(|p| p.sd_x()));
    let Some(minimum) = least_squares::minimise(&mean, &sd, &mut residuals) else {
        let unflown = handbook
            .rows
            .iter()
            .find(|row| predict(base, row).iter().any(|m| !m.is_finite()));
        return Err(FitError::Row {
            label: unflown.map_or_else(|| "a row".to_owned(), |row| row.label.clone()),
        });
    };

    let values: Vec<f64> = priors
        .iter()
        .zip(minimum.x.iter())
        .map(|(p, x)| p.value_at(*x))
        .collect();
    let mut fitted = base.clone();
    parameter::remake(base, priors, values.iter().copied(), &mut fitted)?;

    let squares =
        minimum.residuals.norm_squared() + (&minimum.x - &mean).component_div(&sd).norm_squared();
    let mean_square = squares / counted(handbook, &figures) as f64;
    let widening = mean_square.max(1.0).sqrt();
    let estimates: Vec<Estimate> = (0..n)
        .map(|j| {
            let error_x = minimum.covariance[(j, j)].sqrt();
            Estimate {
                prior: priors[j],
                value: values[j],
                error: error_x * priors[j].slope(values[j]) * widening,
                narrowing: error_x / sd[j],
            }
        })
        .collect();
    let report = report(handbook, &figures, &minimum, &estimates, mean_square);
    Ok(Fitted {
        aircraft: fitted,
        estimates,
        report,
    })
}

/// Whether a figure is a manifold pressure that was set: it is no reading, and its residual is zero within reach.
fn is_set(row: &Row, seen: &Seen) -> bool {
    let engine = match &row.flight {
        Flight::Cruise { engine }
        | Flight::Climb { engine, .. }
        | Flight::ClimbSpan { engine, .. } => engine,
        Flight::Glide { .. } | Flight::Stall => return false,
    };
    seen.quantity == Quantity::ManifoldPressure && matches!(engine.throttle, Setting::Map(_))
}

/// Number of figures that are readings, at least one.
fn counted(handbook: &Handbook, figures: &[(usize, Seen)]) -> usize {
    figures
        .iter()
        .filter(|(row, seen)| !is_set(&handbook.rows[*row], seen))
        .count()
        .max(1)
}

fn report(
    handbook: &Handbook,
    figures: &[(usize, Seen)],
    minimum: &least_squares::Minimum,
    estimates: &[Estimate],
    mean_square: f64,
) -> Report {
    let mut residuals = Vec::with_capacity(figures.len());
    let mut first = 0;
    for (index, row) in handbook.rows.iter().enumerate() {
        let count = row.seen.len();
        let rows = minimum.jacobian.rows(first, count);
        let r = minimum.residuals.rows(first, count).into_owned();
        let hat = rows * &minimum.covariance * rows.transpose();
        let without = (DMatrix::identity(count, count) - hat)
            .lu()
            .solve(&r)
            .unwrap_or(r.clone());
        for (i, seen) in row.seen.iter().enumerate() {
            residuals.push(Residual {
                row: index,
                seen: *seen,
                model: seen.value + r[i] * seen.sigma,
                left_out: without[i] * seen.sigma,
            });
        }
        first += count;
    }
    let c = &minimum.loose_covariance(LOOSE);
    let mut ties = Vec::new();
    for i in 0..estimates.len() {
        for j in i + 1..estimates.len() {
            let correlation = c[(i, j)] / (c[(i, i)] * c[(j, j)]).sqrt();
            if correlation.abs() > TIED {
                let (a, b) = (estimates[i].prior.parameter, estimates[j].prior.parameter);
                ties.push(Tie { a, b, correlation });
            }
        }
    }
    let of = |f: &dyn Fn(&Estimate) -> bool| {
        estimates
            .iter()
            .filter(|e| f(e))
            .map(|e| e.prior.parameter)
            .collect()
    };
    let n = counted(handbook, figures);
    Report {
        mean_square,
        undetermined: of(&|e| e.narrowing > UNDETERMINED),
        ties,
        on_bound: of(&|e| {
            let part = (e.value - e.prior.low) / (e.prior.high - e.prior.low);
            !(ON_BOUND..=1.0 - ON_BOUND).contains(&part)
        }),
        contradictions: (0..residuals.len())
            .filter(|&i| residuals[i].normalised().abs() > CONTRADICTION)
            .collect(),
        inconsistent: n >= FEW && mean_square > 1.0 + 3.0 * (2.0 / n as f64).sqrt(),
        residuals,
        termination: minimum.termination,
        steps: minimum.steps,
    }
}
