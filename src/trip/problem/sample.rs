//! The air table of a forecast along the route.

use super::error::ProblemError;
use super::{Note, Problem};
use crate::air::field::WindField;
use crate::air::{isa, triangle};
use crate::earth::geodesic;
use crate::quantity::{M_PER_FT, M_PER_NM};
use crate::trip::RouteAir;
use crate::trip::route_air::{BOTTOM_M, Column, LegAir, STEP_M};

/// Greatest distance between two nodes of the air table, m.
const NODE_M: f64 = 10.0 * M_PER_NM;

impl Problem {
    /// Notes wind or temperature filled in below the forecast; of several forecasts the worst.
    fn note_below_forecast(&mut self, filled_m: f64) {
        let known = self.notes.iter_mut().find_map(|n| match n {
            Note::BelowForecast(m) => Some(m),
            _ => None,
        });
        match known {
            Some(m) => *m = m.max(filled_m),
            None => self.notes.push(Note::BelowForecast(filled_m)),
        }
    }
}

/// The air table of one forecast: at each node true height is found by going up from the surface, where the altimeter setting ties
/// pressure altitude to elevation, in steps of `dz = (T / T_std) dh_p` (hydrostatic), and the weather is asked there.
pub(super) fn sample_air(
    field: &WindField,
    geodesics: &[geodesic::Leg],
    problem: &mut Problem,
) -> Result<RouteAir, ProblemError> {
    let mut legs = Vec::with_capacity(problem.legs.len());
    let top_m = problem.limits.max_altitude_m + 2_000.0 * M_PER_FT;
    let mut filled_m: f64 = 0.0;
    for (leg, line) in problem.legs.iter().zip(geodesics) {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a few hundred at most"
        )]
        let intervals = (line.distance_m() / NODE_M).ceil().max(1.0) as usize;
        let mut columns = Vec::with_capacity(intervals + 1);
        for i in 0..=intervals {
            #[expect(clippy::cast_precision_loss, reason = "a few hundred at most")]
            let x_m = line.distance_m() * i as f64 / intervals as f64;
            let here = line.point_at(x_m);
            let course_rad = line.course_at_rad(x_m);
            let s = leg.from_m + x_m;
            let share = s / problem.length_m;
            let reference_m = problem.departure.elevation_m
                + share * (problem.destination.elevation_m - problem.departure.elevation_m);
            let reference_hp_m = problem.pressure_altitude_m(s, reference_m);
            let failed = |hp_m: f64, source| ProblemError::Weather {
                from: leg.from.clone(),
                to: leg.to.clone(),
                along_nm: x_m / M_PER_NM,
                altitude_ft: hp_m / M_PER_FT,
                source: Box::new(source),
            };
            let over = field
                .over(here.lat_deg(), here.lon_deg())
                .map_err(|e| failed(reference_hp_m, e))?;
            let ask = |true_m: f64, hp_m: f64| over.at(true_m, hp_m).map_err(|e| failed(hp_m, e));
            // True height of a pressure altitude by quarter steps from the reference, upwards or downwards.
            let walk = |mut z: f64, mut hp: f64, to_hp: f64| -> Result<f64, ProblemError> {
                let quarters = 4;
                let d = (to_hp - hp) / f64::from(quarters);
                for _ in 0..quarters {
                    let t = ask(z, hp)?.temperature_k;
                    let mid =
                        ask(z + 0.5 * d * t / isa::temperature_k(hp), hp + 0.5 * d)?.temperature_k;
                    z += d * mid / isa::temperature_k(hp + 0.5 * d);
                    hp += d;
                }
                Ok(z)
            };
            let mut column = Column::default();
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "under 100"
            )]
            let rows = ((top_m - BOTTOM_M) / STEP_M).ceil() as usize + 1;
            #[expect(clippy::cast_precision_loss, reason = "under 100")]
            let hp_of = |r: usize| BOTTOM_M + STEP_M * r as f64;
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "clamped"
            )]
            let anchor =
                (((reference_hp_m - BOTTOM_M) / STEP_M).ceil().max(0.0) as usize).min(rows - 1);
            let mut heights = vec![0.0; rows];
            heights[anchor] = walk(reference_m, reference_hp_m, hp_of(anchor))?;
            for r in anchor + 1..rows {
                heights[r] = walk(heights[r - 1], hp_of(r - 1), hp_of(r))?;
            }
            for r in (0..anchor).rev() {
                heights[r] = walk(heights[r + 1], hp_of(r + 1), hp_of(r))?;
            }
            let ground_m = problem
                .ground_m(s)
                .map_or(reference_m, |g| g.min(reference_m));
            for (r, &z) in heights.iter().enumerate() {
                let air = ask(z, hp_of(r))?;
                if z >= ground_m {
                    filled_m = filled_m
                        .max(air.fill.wind_below_m)
                        .max(air.fill.temperature_below_m);
                }
                let (along, cross) =
                    triangle::along_and_cross_m_s(course_rad, air.u_m_s, air.v_m_s);
                column.temperature_k.push(air.temperature_k);
                column.along_m_s.push(along);
                column.cross_m_s.push(cross);
                column.true_altitude_m.push(z);
            }
            columns.push(column);
        }
        legs.push(LegAir::new(leg.from_m, leg.to_m, &columns));
    }
    if filled_m > 1.0 {
        problem.note_below_forecast(filled_m);
    }
    Ok(RouteAir::of_legs(legs))
}
