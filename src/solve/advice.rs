//! What the pilot is told about the air along a planned flight: ice, oxygen, cold air, wind over ridges; and that it circles. Nothing here bars a plan.

use super::plan::Warning;
use crate::air::turn;
use crate::flight::Flown;
use crate::quantity::{M_PER_FT, M_PER_NM, M_S_PER_KT, ZERO_C_K};
use crate::trip::{Leg, Problem};

/// A difference between true and indicated altitude matters from here, m: half of what an altimeter is read to.
const MATTERS_M: f64 = 50.0 * M_PER_FT;
/// Moisture is said to be near freezing this far above it, K: the error of a forecast temperature, our choice.
const NEAR_ICE_K: f64 = 2.0;
/// Wind at ridge level that is warned of, m/s: where mountain waves and strong turbulence begin (FAA AC 00-57, from memory).
const RIDGE_WIND_M_S: f64 = 25.0 * M_S_PER_KT;
/// Ground is a ridge when it rises this much, m, over other ground within this distance, m: our choice.
const RIDGE_M: f64 = 1_000.0 * M_PER_FT;
const RIDGE_WITHIN_M: f64 = 10.0 * M_PER_NM;
/// The wind blows across a ridge, and so along the route, with at least this share: our choice.
const ACROSS_SHARE: f64 = 0.5;
/// Oxygen is recommended above these pressure altitudes, by day and by night, m: FAA AIM 8-1-2.
const ADVISED_M: (f64, f64) = (10_000.0 * M_PER_FT, 5_000.0 * M_PER_FT);
/// Above this pressure altitude each occupant is provided with oxygen, m: 14 CFR 91.211(a)(3).
const EACH_M: f64 = 15_000.0 * M_PER_FT;

/// Everything of the kind for a recorded flight.
pub(super) fn advice(problem: &Problem, flown: &Flown) -> Vec<Warning> {
    let mut out = Vec::new();
    lower_than_read(problem, flown, &mut out);
    near_ice(problem, flown, &mut out);
    oxygen(problem, flown, &mut out);
    circling(flown, &mut out);
    for (i, leg) in problem.legs.iter().enumerate() {
        out.extend(ridge(problem, i, leg));
    }
    out
}

fn lower_than_read(problem: &Problem, flown: &Flown, out: &mut Vec<Warning>) {
    for (i, leg) in problem.legs.iter().enumerate() {
        let on_it = |s: f64| (leg.from_m..=leg.to_m).contains(&s);
        let low = flown.track.iter().filter(|t| on_it(t.state.distance_m));
        let worst = low
            .map(|t| (t.indicated_m - t.true_altitude_m, t.indicated_m))
            .max_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((by_m, indicated_m)) = worst
            && by_m > MATTERS_M
        {
            out.push(Warning::LowerThanRead {
                leg: i,
                by_m,
                indicated_m,
            });
        }
    }
}

fn near_ice(problem: &Problem, flown: &Flown, out: &mut Vec<Warning>) {
    let in_cloud = flown.track.iter().filter(|t| {
        let inside = |c: &crate::trip::Cloud| c.holds(t.state.distance_m, t.indicated_m);
        problem.clouds.iter().any(inside)
    });
    let coldest = in_cloud
        .map(|t| {
            let s = &t.state;
            let air = problem
                .air
                .at(s.distance_m, s.pressure_altitude_m, s.time_s);
            (air.temperature_k, s.distance_m)
        })
        .min_by(|a, b| a.0.total_cmp(&b.0));
    if let Some((temperature_k, distance_m)) = coldest
        && temperature_k <= ZERO_C_K + NEAR_ICE_K
    {
        out.push(Warning::NearIce {
            distance_m,
            temperature_k,
        });
    }
}

fn oxygen(problem: &Problem, flown: &Flown, out: &mut Vec<Warning>) {
    let heights = flown.track.iter().map(|t| t.state.pressure_altitude_m);
    let highest_m = heights.fold(f64::NEG_INFINITY, f64::max);
    let advised_m = if problem.night {
        ADVISED_M.1
    } else {
        ADVISED_M.0
    };
    if highest_m > advised_m + MATTERS_M && !problem.limits.oxygen {
        out.push(Warning::OxygenAdvised {
            above_m: advised_m,
            highest_m,
        });
    } else if highest_m > EACH_M {
        out.push(Warning::OxygenForEach { highest_m });
    }
}

fn circling(flown: &Flown, out: &mut Vec<Warning>) {
    let turning = flown.track.iter().filter(|t| t.bank_rad > 0.0);
    let radii = turning.map(|t| turn::radius_m(t.state.tas_m_s, t.bank_rad));
    let radius_m = radii.fold(0.0, f64::max);
    if radius_m > 0.0 {
        out.push(Warning::Circling {
            radius_m,
            up: flown.circling_climb().is_some(),
            down: flown.circling_descent().is_some(),
        });
    }
}

/// The windiest ridge of a leg, if it is windy enough, and the part of the route in its lee.
fn ridge(problem: &Problem, index: usize, leg: &Leg) -> Option<Warning> {
    let near = |s: f64, g: &&(f64, f64, f64)| g.0 < s + RIDGE_WITHIN_M && g.1 > s - RIDGE_WITHIN_M;
    let mut worst: Option<(f64, f64, f64, f64)> = None;
    for &(from_m, to_m, ground_m) in &leg.ground {
        let s = 0.5 * (from_m + to_m);
        let around = leg.ground.iter().filter(|g| near(s, g)).map(|g| g.2);
        if around.fold(f64::INFINITY, f64::min) > ground_m - RIDGE_M {
            continue;
        }
        let hp = problem.pressure_altitude_m(s, ground_m);
        let air = problem.air.at(s, hp, problem.time_s(s));
        let wind_m_s = air.along_m_s.hypot(air.cross_m_s);
        let windiest = worst.is_none_or(|w| wind_m_s > w.1);
        if wind_m_s > RIDGE_WIND_M_S && windiest {
            worst = Some((s, wind_m_s, ground_m, air.along_m_s));
        }
    }
    let (at_m, wind_m_s, ground_m, along_m_s) = worst?;
    // Downwind of it, as far as the ground stays well below it.
    let lee = (along_m_s.abs() > ACROSS_SHARE * wind_m_s).then(|| {
        let below = leg.ground.iter().filter(|g| {
            let downwind = if along_m_s > 0.0 {
                g.1 > at_m && g.0 < at_m + RIDGE_WITHIN_M
            } else {
                g.0 < at_m && g.1 > at_m - RIDGE_WITHIN_M
            };
            downwind && g.2 <= ground_m - RIDGE_M
        });
        let (mut lo, mut hi) = (f64::INFINITY, f64::NEG_INFINITY);
        for g in below {
            lo = lo.min(g.0.max(at_m - RIDGE_WITHIN_M));
            hi = hi.max(g.1.min(at_m + RIDGE_WITHIN_M));
        }
        (lo, hi)
    });
    Some(Warning::RidgeWind {
        leg: index,
        at_m,
        wind_m_s,
        ground_m,
        lee_m: lee.filter(|(lo, hi)| lo < hi),
    })
}
