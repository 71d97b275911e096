//! How the section constants marked "25" were found: a random search on the 25-degree rows of NACA 658.
//!
//! `cargo test --release --lib fit -- --ignored --nocapture` runs it again and prints the constants.
//! Data and residuals: tests/data/naca658/SOURCE.md.

#[path = "../../../tests/common/naca658.rs"]
mod naca658;

use super::section::{CLARK_Y, SectionModel};
use super::{BladeElements, PropellerGeometry};
use naca658::{coefficients, naca_5868_9};
use std::f64::consts::{PI, TAU};

const PARAMETERS: usize = 10;

/// Textbook value and spread of each fitted constant, all from memory; order of [`model`].
const PRIOR: [(f64, f64); PARAMETERS] = [
    (0.79, 0.06),   // zero-lift angle: 5.3 degrees at 11.7 % thick
    (0.30, 0.05),   // its fade
    (0.95, 0.04),   // lift slope over 2 pi
    (0.006, 0.001), // least drag, thin
    (0.008, 0.003), // bucket
    (0.19, 0.02),   // stall begins
    (0.44, 0.04),   // stall complete
    (0.42, 0.06),   // plate p
    (0.33, 0.06),   // plate q
    (1.5, 0.5),     // thick-section drag over Hoerner's
];

fn model(v: &[f64; PARAMETERS]) -> SectionModel {
    SectionModel {
        zero_lift_per_thickness_rad: v[0],
        zero_lift_fade_thickness: v[1],
        slope_factor: v[2],
        drag_thin: v[3],
        bucket: v[4],
        stall_begin: v[5],
        stall_end: v[6],
        plate_p: v[7],
        plate_q: v[8],
        drag_thickness: v[9],
        ..CLARK_Y
    }
}

fn adopted() -> [f64; PARAMETERS] {
    let m = CLARK_Y;
    [
        m.zero_lift_per_thickness_rad,
        m.zero_lift_fade_thickness,
        m.slope_factor,
        m.drag_thin,
        m.bucket,
        m.stall_begin,
        m.stall_end,
        m.plate_p,
        m.plate_q,
        m.drag_thickness,
    ]
}

struct Set {
    geometry: PropellerGeometry,
    /// J, efficiency, C_T, C_P.
    rows: Vec<[f64; 4]>,
}

fn set() -> Set {
    Set {
        geometry: naca_5868_9(),
        rows: coefficients()
            .iter()
            .filter(|f| f[0] == 25.0)
            .map(|f| [f[1], f[2], f[3], f[4]])
            .collect(),
    }
}

/// Weighted squares of the residuals at 25 degrees, plus the distance from the priors.
fn cost(set: &Set, v: &[f64; PARAMETERS]) -> f64 {
    if v[6] < v[5] + 0.1 {
        return f64::INFINITY;
    }
    let e = BladeElements::with_model(&set.geometry, model(v));
    let w = 0.75 * PI;
    let run = |j: f64| {
        let nd = 50.8_f64.min(51.4 / j.max(1e-9));
        let c = e.coefficients(j.atan2(w), 25_f64.to_radians(), nd * j.hypot(PI) / 340.0);
        let u2 = j * j + w * w;
        (c.thrust * u2, TAU * c.torque * u2)
    };
    let mut sum = 0.0;
    for &[j, eta, ct, cp] in &set.rows {
        let (t, p) = run(j);
        let weight = if j < 0.45 { 0.5 } else { 1.0 };
        sum += weight * (((t - ct) / 0.004).powi(2) + ((p - cp) / (0.001 + 0.02 * cp)).powi(2));
        if j > 0.5 && j < 1.2 {
            sum += ((j * t / p - eta) / 0.006).powi(2);
        }
    }
    let (mut low, mut high) = (0.2, 8.0);
    for _ in 0..50 {
        let m = 0.5 * (low + high);
        if run(m).0 > 0.0 { low = m } else { high = m }
    }
    sum += ((low - 1.286) / 0.020_f64).powi(2);
    sum + v
        .iter()
        .zip(PRIOR)
        .map(|(x, (mean, spread))| ((x - mean) / spread).powi(2))
        .sum::<f64>()
}

/// The adopted constants are a least of the cost: no step of a fifth of its spread in any one of them gains 1 %.
#[test]
fn regress_section_constants_are_the_fit_to_25_degrees() {
    let set = set();
    assert_eq!(set.rows.len(), 16);
    let here = adopted();
    let least = cost(&set, &here);
    println!("cost {least:.2}");
    for i in 0..PARAMETERS {
        for sign in [-1.0, 1.0] {
            let mut v = here;
            v[i] += sign * 0.2 * PRIOR[i].1;
            let there = cost(&set, &v);
            assert!(there > 0.99 * least, "constant {i}: {there} {least}");
        }
    }
}

/// The search itself, from the priors; about two seconds in release.
#[test]
#[ignore = "the calibration itself; prints constants"]
fn regress_fit_from_the_priors() {
    let set = set();
    let mut best_v: [f64; PARAMETERS] = std::array::from_fn(|i| PRIOR[i].0);
    let mut best = cost(&set, &best_v);
    let mut state = 12_345_u64;
    let mut random = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1_u64 << 53) as f64
    };
    let mut scale = 1.0_f64;
    for _ in 0..6000 {
        let mut v = best_v;
        for (x, (_, spread)) in v.iter_mut().zip(PRIOR) {
            if random() < 0.4 {
                *x += scale * spread * (random() + random() + random() - 1.5);
            }
        }
        let there = cost(&set, &v);
        if there < best {
            (best, best_v) = (there, v);
            scale = (1.3 * scale).min(2.0);
        } else {
            scale = (0.985 * scale).max(0.01);
        }
    }
    println!("cost {best:.2}: {best_v:?}");
    assert!(cost(&set, &adopted()) < 1.05 * best);
}
