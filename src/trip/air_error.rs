//! How wrong a forecast may be: errors of wind and temperature that go together over distance and height.
//!
//! The error of each component of the wind (east, north) and of the temperature is a normal deviate at every node of the air table, the three
//! independent of each other, the same all through the flight. Between two nodes it is correlated by the product of
//! `(1 + d/L) exp(-d/L)` of the distance between their places and the same of the difference of their pressure altitudes: the second-order
//! autoregressive function of data assimilation (Daley, Atmospheric Data Analysis, 1991, from memory), which unlike a plain exponential
//! makes no steps of wind from one height to the next. A product of two such factors needs one Cholesky factor each.

use super::Problem;
use super::route_air::Added;
use crate::air::triangle::along_and_cross_m_s;
use crate::quantity::{M_PER_FT, M_PER_NM, M_S_PER_KT};
use nalgebra::DMatrix;

/// Mean radius of the Earth, m (IUGG): distances between nodes are those through a sphere, for which the correlation holds on a bent route as
/// well; over 300 nm they are short of the geodesic by less than a third of a per cent.
const EARTH_M: f64 = 6_371_008.8;
/// Added to the diagonal of a correlation so that places which are one have a Cholesky factor: their errors differ by this, squared.
const NUGGET: f64 = 1e-9;

/// How far off a forecast may be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ForecastError {
    /// Standard deviation of each component of the wind, m/s.
    pub wind_m_s: f64,
    /// Standard deviation of the temperature, K.
    pub temperature_k: f64,
    /// Length of the correlation by distance, m; infinite for the same error everywhere.
    pub distance_m: f64,
    /// Length of the correlation by height, m; infinite for the same error at every height.
    pub height_m: f64,
}

impl ForecastError {
    /// What is taken when nothing better is known.
    ///
    /// Wind: 8 kt a component, 11 kt as a vector; aircraft reports against forecasts of a few hours gave root mean square vector errors of 4.5 to
    /// 6.5 m/s, 9 to 13 kt (Schwartz, Benjamin, Green and Jardin, Weather and Forecasting 15, 2000, from memory). Temperature 2 °C and the
    /// lengths, 100 nm and 3,000 ft, by which correlation falls to a half in 170 nm and 5,000 ft: round values of our own within what is
    /// reported of short forecasts, some hundreds of km and 1 to 3 km (Hollingsworth and Lönnberg, Tellus 38A, 1986, from memory).
    pub const USUAL: Self = Self {
        wind_m_s: 8.0 * M_S_PER_KT,
        temperature_k: 2.0,
        distance_m: 100.0 * M_PER_NM,
        height_m: 3_000.0 * M_PER_FT,
    };
}

/// Correlation of errors as far apart as this many of its lengths.
pub fn correlation(lengths: f64) -> f64 {
    (1.0 + lengths) * (-lengths).exp()
}

/// Where the errors of one problem are drawn, and how they hang together.
#[derive(Debug, Clone)]
pub struct ErrorField {
    error: ForecastError,
    /// True course at each column, rad.
    courses_rad: Vec<f64>,
    rows: usize,
    /// Lower Cholesky factors of the correlation of columns and of rows, row by row.
    by_distance: Vec<Vec<f64>>,
    by_height: Vec<Vec<f64>>,
    /// What of the numbers drawn, east and then north, makes up the leading sum, by shares of which the squares add up to one; empty without one.
    leading: Vec<f64>,
}

/// The error of one forecast: what is added to it at each node.
#[derive(Debug, Clone, PartialEq)]
pub struct AirError {
    rows: usize,
    /// Column after column, each from the bottom.
    nodes: Vec<Added>,
}

/// The lower factor of a correlation between points, row by row.
fn factor(n: usize, apart: impl Fn(usize, usize) -> f64, length: f64) -> Vec<Vec<f64>> {
    let correlations = DMatrix::from_fn(n, n, |i, j| {
        let nugget = if i == j { NUGGET } else { 0.0 };
        correlation(apart(i, j) / length) + nugget
    });
    let lower = correlations
        .cholesky()
        .map_or_else(|| DMatrix::identity(n, n), nalgebra::Cholesky::unpack);
    (0..n)
        .map(|i| (0..=i).map(|j| lower[(i, j)]).collect())
        .collect()
}

impl ErrorField {
    /// Errors on the nodes of a problem's air.
    pub fn new(problem: &Problem, error: ForecastError) -> Self {
        let columns_m = problem.air.columns_m();
        // Where legs meet their ends come one after the other at one distance: the second is the beginning of the next leg.
        let mut leg = 0;
        let mut courses_rad = Vec::with_capacity(columns_m.len());
        let mut places: Vec<[f64; 3]> = Vec::with_capacity(columns_m.len());
        let mut before_m = f64::NEG_INFINITY;
        for &s_m in &columns_m {
            let ends = problem
                .legs
                .get(leg)
                .is_some_and(|l| before_m >= l.to_m - 1e-3);
            if ends && leg + 1 < problem.legs.len() {
                leg += 1;
            }
            before_m = s_m;
            let Some(here) = problem.legs.get(leg) else {
                continue;
            };
            let along_m = s_m - here.from_m;
            courses_rad.push(here.line.course_at_rad(along_m));
            let place = here.line.point_at(along_m);
            let (lat, lon) = (place.lat_deg().to_radians(), place.lon_deg().to_radians());
            places.push([
                EARTH_M * lat.cos() * lon.cos(),
                EARTH_M * lat.cos() * lon.sin(),
                EARTH_M * lat.sin(),
            ]);
        }
        let rows_m = problem.air.rows_m();
        let apart_m = |i: usize, j: usize| {
            let square = |q: usize| (places[i][q] - places[j][q]).powi(2);
            (square(0) + square(1) + square(2)).sqrt()
        };
        Self {
            error,
            by_distance: factor(places.len(), apart_m, error.distance_m),
            by_height: factor(
                rows_m.len(),
                |i, j| (rows_m[i] - rows_m[j]).abs(),
                error.height_m,
            ),
            courses_rad,
            rows: rows_m.len(),
            leading: vec![],
        }
    }

    /// With a sum of the errors of the wind, along the course and across it \[m/s\], at places with two weights each as what leads:
    /// [`ErrorField::drawn`] is told it. Places are distance along the route and pressure altitude \[m\].
    ///
    /// The sum is one of normal numbers, so what is drawn can be split into it, in units of its standard deviation, and the rest, which is
    /// independent of it: stratified sampling along a direction (Glasserman, Monte Carlo Methods in Financial Engineering, 2003, section 4.3.2).
    pub fn led_by(
        mut self,
        problem: &Problem,
        places: impl Iterator<Item = ((f64, f64), (f64, f64))>,
    ) -> Self {
        let nodes = self.courses_rad.len() * self.rows;
        let (mut east, mut north) = (vec![0.0; nodes], vec![0.0; nodes]);
        for ((distance_m, pressure_altitude_m), (along, cross)) in places {
            for ((column, row), share) in problem.air.nodes_at(distance_m, pressure_altitude_m) {
                let (sin, cos) = self.courses_rad[column].sin_cos();
                let node = column * self.rows + row;
                // Along and across are turned from east and north by the course, as in [`along_and_cross_m_s`]; so are their weights, the other way.
                east[node] += share * (along * sin + cross * cos);
                north[node] += share * (along * cos - cross * sin);
            }
        }
        let mut leading = self.drawn_for(&east);
        leading.extend(self.drawn_for(&north));
        let length = leading.iter().map(|x| x * x).sum::<f64>().sqrt();
        self.leading = if length > 0.0 {
            leading.iter().map(|x| x / length).collect()
        } else {
            vec![]
        };
        self
    }

    /// What each number drawn for a quantity adds to a weighted sum of it over the nodes: [`ErrorField::quantity`] turned about.
    fn drawn_for(&self, weights: &[f64]) -> Vec<f64> {
        let rows = self.rows;
        let mut by_distance = vec![0.0; weights.len()];
        for (column, factors) in weights.chunks(rows).zip(&self.by_distance) {
            for (f, into) in factors.iter().zip(by_distance.chunks_mut(rows)) {
                for (x, w) in into.iter_mut().zip(column) {
                    *x += f * w;
                }
            }
        }
        let mut out = vec![0.0; weights.len()];
        for (column, into) in by_distance.chunks(rows).zip(out.chunks_mut(rows)) {
            for (w, factors) in column.iter().zip(&self.by_height) {
                for (x, f) in into.iter_mut().zip(factors) {
                    *x += f * w;
                }
            }
        }
        out
    }

    /// One quantity at every node, column after column, with a standard deviation of one, from as many numbers.
    fn quantity(&self, drawn: &[f64]) -> Vec<f64> {
        let (columns, rows) = (self.courses_rad.len(), self.rows);
        // Correlated by height within each column, then by distance within each row.
        let mut by_height = vec![0.0; columns * rows];
        for (column, drawn) in by_height.chunks_mut(rows).zip(drawn.chunks(rows)) {
            for (x, factors) in column.iter_mut().zip(&self.by_height) {
                *x = factors.iter().zip(drawn).map(|(f, d)| f * d).sum();
            }
        }
        let mut out = vec![0.0; columns * rows];
        for (column, factors) in out.chunks_mut(rows).zip(&self.by_distance) {
            for (f, from) in factors.iter().zip(by_height.chunks(rows)) {
                for (x, d) in column.iter_mut().zip(from) {
                    *x += f * d;
                }
            }
        }
        out
    }

    /// One error, from numbers of the normal distribution of mean 0 and standard deviation 1; `leading` is one of them, which the sum that
    /// leads ([`ErrorField::led_by`]) is to have, and stands for nothing without such a sum.
    pub fn drawn(&self, normal: &mut dyn FnMut() -> f64, leading: f64) -> AirError {
        let nodes = self.courses_rad.len() * self.rows;
        let mut numbers: Vec<f64> = (0..3 * nodes).map(|_| normal()).collect();
        let sum: f64 = self.leading.iter().zip(&numbers).map(|(l, x)| l * x).sum();
        for (x, l) in numbers.iter_mut().zip(&self.leading) {
            *x += l * (leading - sum);
        }
        let of = |quantity: usize| self.quantity(&numbers[quantity * nodes..][..nodes]);
        let (east, north, warm) = (of(0), of(1), of(2));
        let e = self.error;
        let node = |i: usize| {
            let course_rad = self.courses_rad[i / self.rows];
            let (along, cross) =
                along_and_cross_m_s(course_rad, e.wind_m_s * east[i], e.wind_m_s * north[i]);
            Added {
                along_m_s: along,
                cross_m_s: cross,
                temperature_k: e.temperature_k * warm[i],
            }
        };
        AirError {
            rows: self.rows,
            nodes: (0..east.len()).map(node).collect(),
        }
    }
}

impl Problem {
    /// The problem in air that is so much other than forecast. Pressure altitudes and altimeter settings stay; with the temperature change
    /// densities, true heights and so the legal levels, and where ice is in cloud. The error is one of this problem's own [`ErrorField`].
    pub fn in_error(&self, error: &AirError) -> Self {
        self.in_other_air(&|column, row| {
            let node = error.nodes.get(column * error.rows + row);
            node.copied().unwrap_or_default()
        })
    }

    /// How much the forecasts of this problem differ from one time to the next between two pressure altitudes \[m\], as root mean squares: of a
    /// component of the wind \[m/s\] and of the temperature \[K\]. `None` with one forecast.
    pub fn change_between_forecasts(&self, from_m: f64, to_m: f64) -> Option<(f64, f64)> {
        self.air.change_between_times(from_m, to_m)
    }
}
