//! Propeller model against NACA 658 and 640 (tests/data/naca658/SOURCE.md).

use crate::common::naca658::{coefficients, naca_5868_9, numbers};
use fellrun::aircraft::propeller::{
    Balance, BladeElements, Nearby, PropellerGeometry, PropellerTable,
};
use std::f64::consts::{FRAC_PI_2, PI, TAU};

/// Zero-thrust advance ratio: the digitised sets differ from each other by up to 0.03 in blade setting.
const J_ZERO_TOLERANCE: f64 = 0.04;
/// Efficiency: two digitisations of the same propeller differ by 0.04 at 15 degrees.
const EFFICIENCY_TOLERANCE: f64 = 0.04;
/// Power coefficient; about half a degree of blade angle.
const POWER_TOLERANCE: f64 = 0.10;
/// Power coefficient at 35 degrees near stall, where the section model is least certain.
const POWER_TOLERANCE_NEAR_STALL: f64 = 0.12;
/// Advance ratio below which the 35-degree row is near stall.
const NEAR_STALL_J: f64 = 1.1;

struct Row {
    beta_deg: f64,
    j: f64,
    eta: f64,
    cp: f64,
}

fn rows() -> Vec<Row> {
    coefficients()
        .into_iter()
        .map(|f| Row {
            beta_deg: f[0],
            j: f[1],
            eta: f[2],
            cp: f[4],
        })
        .collect()
}

/// Tip Mach number of a run: at most 1000 rpm (nD 50.8 m/s) and 115 mph (51.4 m/s), sound 340 m/s.
fn mach(j: f64) -> f64 {
    let nd = 50.8_f64.min(51.4 / j.max(1e-9));
    nd * j.hypot(PI) / 340.0
}

/// C_T and C_P by direct blade elements: referred speed squared over (nD)^2 is J^2 + (0.75 pi)^2.
fn run(e: &BladeElements, beta_deg: f64, j: f64) -> (f64, f64) {
    let w = 0.75 * PI;
    let c = e.coefficients(j.atan2(w), beta_deg.to_radians(), mach(j));
    let u2 = j * j + w * w;
    (c.thrust * u2, TAU * c.torque * u2)
}

fn zero(mut low: f64, mut high: f64, f: impl Fn(f64) -> f64) -> f64 {
    assert!(f(low) > 0.0 && f(high) < 0.0, "no sign change");
    for _ in 0..60 {
        let m = 0.5 * (low + high);
        if f(m) > 0.0 { low = m } else { high = m }
    }
    0.5 * (low + high)
}

fn zero_thrust_j(e: &BladeElements, beta_deg: f64) -> f64 {
    zero(0.3, 5.0, |j| run(e, beta_deg, j).0)
}

fn greatest_efficiency(e: &BladeElements, beta_deg: f64) -> f64 {
    (20..400)
        .map(|i| 0.01 * f64::from(i))
        .map(|j| {
            let (ct, cp) = run(e, beta_deg, j);
            if ct > 0.0 { j * ct / cp } else { 0.0 }
        })
        .fold(0.0, f64::max)
}

#[test]
fn published_naca658_zero_thrust_and_greatest_efficiency() {
    let e = BladeElements::new(&naca_5868_9());
    // Section 3a: beta, zero-thrust J, greatest efficiency.
    for (beta, j0, eta) in [
        (15.0, 0.81, 0.817),
        (25.0, 1.285, 0.863),
        (35.0, 1.835, 0.850),
    ] {
        let j = zero_thrust_j(&e, beta);
        let best = greatest_efficiency(&e, beta);
        println!(
            "{beta} deg: zero thrust at J {j:.3} ({j0}), greatest efficiency {best:.3} ({eta})"
        );
        assert!((j - j0).abs() < J_ZERO_TOLERANCE, "{beta} deg: J0 {j}");
        assert!(
            (best - eta).abs() < EFFICIENCY_TOLERANCE,
            "{beta} deg: eta {best}"
        );
    }
}

#[test]
fn published_naca658_efficiency_and_power_between_half_and_085_j0() {
    let e = BladeElements::new(&naca_5868_9());
    let mut checked = 0;
    for (beta, j0) in [(15.0, 0.81), (25.0, 1.285), (35.0, 1.835)] {
        for r in rows().iter().filter(|r| r.beta_deg == beta) {
            if r.j < 0.5 * j0 || r.j > 0.85 * j0 {
                continue;
            }
            let (ct, cp) = run(&e, beta, r.j);
            let eta = r.j * ct / cp;
            let power = if beta == 35.0 && r.j < NEAR_STALL_J {
                POWER_TOLERANCE_NEAR_STALL
            } else {
                POWER_TOLERANCE
            };
            let off = cp / r.cp - 1.0;
            println!(
                "{beta} deg J {:.2}: eta {eta:.3} ({:.3}), C_P {cp:.4} ({off:+.3})",
                r.j, r.eta
            );
            assert!(
                (eta - r.eta).abs() < EFFICIENCY_TOLERANCE,
                "{beta} deg J {}: {eta}",
                r.j
            );
            assert!(off.abs() < power, "{beta} deg J {}: C_P off by {off}", r.j);
            checked += 1;
        }
    }
    // 3 rows at 15 deg, 5 at 25, 6 at 35.
    assert_eq!(checked, 14);
}

#[test]
fn published_naca640_zero_thrust_from_15_to_45_deg() {
    let e = BladeElements::new(&naca_5868_9());
    let table = numbers(include_str!("../data/naca658/zero_thrust_640.csv"));
    assert_eq!(table.len(), 7);
    for f in table {
        let j = zero_thrust_j(&e, f[0]);
        let best = greatest_efficiency(&e, f[0]);
        println!(
            "{} deg: J0 {j:.3} ({}), eta {best:.3} ({})",
            f[0], f[1], f[2]
        );
        assert!((j - f[1]).abs() < J_ZERO_TOLERANCE, "{} deg: {j}", f[0]);
        // At 15 deg this set is 0.04 below NACA 658; at 40 deg and above the measured efficiency falls
        // away (body and hub drag at high advance ratio) and the model stays 0.05 too good.
        if (20.0..=35.0).contains(&f[0]) {
            assert!(
                (best - f[2]).abs() < EFFICIENCY_TOLERANCE,
                "{} deg: {best}",
                f[0]
            );
        }
    }
}

/// A free-wheeling propeller still drags: at zero thrust it still takes power.
#[test]
fn published_zero_torque_lies_beyond_zero_thrust() {
    let e = BladeElements::new(&naca_5868_9());
    for beta in [10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0] {
        let j_thrust = zero_thrust_j(&e, beta);
        let j_torque = zero(0.3, 6.0, |j| run(&e, beta, j).1);
        assert!(run(&e, beta, j_thrust).1 > 0.0, "{beta} deg");
        assert!(j_torque > j_thrust, "{beta} deg: {j_torque} {j_thrust}");
        assert!(
            run(&e, beta, 0.5 * (j_thrust + j_torque)).0 < 0.0,
            "{beta} deg"
        );
    }
}

/// Motoring friction of a 5.9-litre direct-drive engine with closed throttle: about 1.8 bar mean pressure
/// (friction 1.1, pumping 0.7; from memory), so `Q = 1.8e5 * 5.9e-3 / (4 pi) = 84.5 N m`.
const FRICTION_N_M: f64 = 84.5;
const RHO: f64 = 1.1;
const SOUND: f64 = 335.0;

fn light_propeller() -> PropellerTable {
    let geometry = PropellerGeometry::standard(1.93, 2, 1.0).expect("standard");
    PropellerTable::build(&geometry, 8_f64.to_radians(), 40_f64.to_radians()).expect("in range")
}

fn windmilling(t: &PropellerTable, v: f64, beta_deg: f64) -> (f64, f64) {
    let beta = beta_deg.to_radians();
    match t.rpm_at_blade_angle(RHO, v, beta, SOUND, 60.0, Nearby::NONE, |_| -FRICTION_N_M) {
        Balance::Turning { rev_s, thrust_n } => (rev_s, thrust_n),
        other => panic!("{beta_deg} deg does not windmill: {other:?}"),
    }
}

/// "Below roughly 20 degrees windmilling drag exceeds stopped drag, reversed above"; an answer reads 22
/// degrees off a textbook figure [V2] (shared references, part A 3c). Band 17..27 degrees.
///
/// Where they cross depends on how hard the dead engine is to turn, `Q / (rho V^2 D^3)`: a propeller without
/// friction never drags more turning than stopped. Taken at a glide of 80 kt, 41.2 m/s (`Q` coefficient 0.0063);
/// at 50 m/s the model crosses at 16 degrees, at 36 m/s at 27.
#[test]
fn published_windmilling_and_stopped_drag_cross_near_22_deg() {
    let t = light_propeller();
    let v = 41.2;
    let excess = |beta: f64| {
        let stopped = t.forces(RHO, v, 0.0, beta.to_radians(), SOUND).thrust_n;
        stopped - windmilling(&t, v, beta).1
    };
    let crossover = zero(9.0, 35.0, excess);
    println!("crossover at {crossover:.1} deg");
    assert!((17.0..27.0).contains(&crossover), "{crossover}");
}

/// One constant-speed light single, throttle closed, about 7,000 ft, 100 KIAS: 1,200 fpm in fine pitch,
/// 1,000 fpm in coarse [V] (shared references, part A 3c); 15 hp at an assumed 2,500 lb. An order of
/// magnitude: within a factor of two.
#[test]
fn published_coarse_pitch_saves_about_15_hp_of_idle_drag() {
    let t = light_propeller();
    let v = 57.0;
    let (n_fine, fine) = windmilling(&t, v, 13.0);
    let (n_coarse, coarse) = windmilling(&t, v, 29.0);
    assert!(n_coarse < n_fine);
    let saved_hp = (coarse - fine) * v / 745.7;
    println!(
        "fine {n_fine:.1} rev/s {fine:.0} N, coarse {n_coarse:.1} rev/s {coarse:.0} N: {saved_hp:.1} hp"
    );
    assert!((7.5..30.0).contains(&saved_hp), "{saved_hp}");
}

/// A feathered propeller has a small fraction of the drag of one stopped in fine pitch (NACA 464, abstract).
#[test]
fn published_feathering_greatly_reduces_stopped_drag() {
    let e = BladeElements::new(&naca_5868_9());
    let at = |deg: f64| -e.coefficients(FRAC_PI_2, f64::to_radians(deg), 0.25).thrust;
    assert!(
        at(86.0) > 0.0 && at(86.0) < 0.1 * at(15.0),
        "{} {}",
        at(86.0),
        at(15.0)
    );
}
