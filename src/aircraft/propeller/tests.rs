//! Tests of the propeller that need its insides, or no published data.

mod table;

use super::*;
use crate::aircraft::Feathered;
use proptest::prelude::*;
use std::cell::Cell;
use std::f64::consts::{FRAC_PI_2, PI, TAU};

/// Rounding of sums of a few dozen terms.
const ROUNDING: f64 = 1e-12;
/// Table against direct runs, relative; the design's figure.
const TABLE_RELATIVE: f64 = 0.005;
/// Part of the peak coefficient below which the table's error counts against that part instead.
const NEAR_ZERO: f64 = 0.10;
/// Table against direct runs outside the normal envelope, against the peak: deep negative stall at low blade
/// angle is the roughest corner.
const TABLE_OFF_ENVELOPE: f64 = 0.005;
/// Blade angle recovered from its own torque \[rad\]; the solver's own figure with a margin.
const INVERSE_RAD: f64 = 1e-6;
/// The bound of the actuator disc may be met, not passed; rounding.
const BOUND: f64 = 1e-9;

fn light() -> PropellerGeometry {
    PropellerGeometry::standard(1.93, 2, 1.0).expect("in range")
}

fn table() -> &'static PropellerTable {
    use std::sync::OnceLock;
    static TABLE: OnceLock<PropellerTable> = OnceLock::new();
    TABLE.get_or_init(|| {
        PropellerTable::build(&light(), 10_f64.to_radians(), 40_f64.to_radians()).expect("in range")
    })
}

fn stops() -> Stops {
    Stops {
        low_rad: 10_f64.to_radians(),
        high_rad: 40_f64.to_radians(),
    }
}

/// Advance angle and tip Mach number of (V, n) for the light propeller, sound 335 m/s.
fn angles(v: f64, n: f64) -> (f64, f64) {
    let tip = PI * 1.93 * n;
    (v.atan2(0.75 * tip), v.hypot(tip) / 335.0)
}

#[test]
fn closed_form_clark_y_lift_at_low_speed() {
    // From memory: Clark Y, 11.7 % thick, lifts nothing about 5 degrees below its flat side, and its slope
    // is a little under 2 pi per radian.
    let s = Section::new(0.117);
    assert!((s.zero_lift_rad().to_degrees() + 5.2).abs() < 0.5);
    let a = s.zero_lift_rad();
    let slope = (s.coefficients(a + 0.02, 0.0).lift - s.coefficients(a, 0.0).lift) / 0.02;
    assert!(slope > 0.85 * TAU && slope < TAU, "{slope}");
}

#[test]
fn closed_form_lift_slope_grows_as_prandtl_glauert() {
    let s = Section::new(0.08);
    let a = s.zero_lift_rad() + 0.03;
    for mach in [0.2, 0.4, 0.6_f64] {
        let grown = s.coefficients(a, mach).lift / s.coefficients(a, 0.0).lift;
        let glauert = 1.0 / (1.0 - mach * mach).sqrt();
        // The rounded pole takes 4.4 % of the growth factor at Mach 0.6.
        assert!(
            (grown / glauert - 1.0).abs() < 0.05,
            "{mach}: {grown} {glauert}"
        );
    }
}

#[test]
fn closed_form_broadside_section_is_a_plate() {
    // 1.15 on the cambered side, wind along the normal; turning from zero-lift line to flat side is a cosine.
    let s = Section::new(0.03);
    let c = s.coefficients(-FRAC_PI_2, 0.0);
    assert!((c.drag - 1.15).abs() < 0.02, "{c:?}");
    assert!(c.lift.abs() < 0.05, "{c:?}");
}

/// C1: the jump of the slope across any point of a fine grid is no more than curvature can explain.
#[test]
fn closed_form_section_is_smooth_for_every_angle() {
    for t in [0.06, 0.12, 0.3, 0.9] {
        let s = Section::new(t);
        let h = 1e-4;
        for mach in [0.0, 0.5, 0.8, 1.0] {
            for i in -3150..3150 {
                let a = 1e-3 * f64::from(i);
                let f = |x: f64| s.coefficients(x, mach);
                let (l, m, r) = (f(a - h), f(a), f(a + h));
                // A kink of slope k gives k h; curvature of at most 400 per rad^2 gives 400 h^2 = 0.04 h.
                let kink = (l.lift - 2.0 * m.lift + r.lift).abs() / h;
                let drag_kink = (l.drag - 2.0 * m.drag + r.drag).abs() / h;
                assert!(
                    kink < 0.04 && drag_kink < 0.04,
                    "{t} {mach} {a}: {kink} {drag_kink}"
                );
                assert!(m.drag > 0.0);
            }
        }
    }
}

/// Light loading, no drag limit: the induced loss of an element is that of momentum theory, so thrust grows
/// with the number of blades slower than in proportion but never falls.
#[test]
fn closed_form_more_blades_more_thrust() {
    let run = |blades| {
        let g = PropellerGeometry::standard(1.93, blades, 1.0).expect("in range");
        BladeElements::new(&g).coefficients(0.3, 0.42, 0.6).thrust
    };
    let (two, three, four) = (run(2), run(3), run(4));
    assert!(two < three && three < four);
    assert!(three / two < 1.5 && four / two < 2.0);
}

#[test]
fn closed_form_coefficients_depend_on_ratios_only() {
    let t = table();
    let a = t.coefficients(40.0, 20.0, 0.35, 340.0);
    let b = t.coefficients(60.0, 30.0, 0.35, 510.0);
    assert!((a.thrust - b.thrust).abs() < ROUNDING && (a.torque - b.torque).abs() < ROUNDING);
}

#[test]
fn closed_form_still_propeller_in_still_air_makes_no_force() {
    let f = table().forces(1.2, 0.0, 0.0, 0.3, 340.0);
    assert_eq!((f.thrust_n, f.torque_n_m), (0.0, 0.0));
    assert_eq!(
        table().blade_angle_for_torque(1.2, 0.0, 0.0, 100.0, 340.0, stops()),
        BladeAngle::AboveHighStop
    );
}

#[test]
fn closed_form_explicit_rows_reproduce_the_standard_blade() {
    let standard = Blade::standard(1.0).expect("in range");
    let copy = Blade::from_stations(standard.stations()).expect("in range");
    assert_eq!(standard, copy);
    assert!(standard.at(0.75).twist_rad.abs() < ROUNDING);
    assert!((80.0..110.0).contains(&standard.activity_factor()));
}

#[test]
fn closed_form_bad_geometry_is_named() {
    let station = |radius, chord| Station {
        radius,
        chord,
        thickness: 0.1,
        twist_rad: 0.0,
    };
    let error =
        Blade::from_stations(&[station(0.2, 0.1), station(1.0, 0.9)]).expect_err("chord too wide");
    assert_eq!(
        error.to_string(),
        "chord c/R = 0.9 is not in the required range of 0.005..=0.5"
    );
    assert!(Blade::from_stations(&[station(0.5, 0.1), station(0.5, 0.1)]).is_err());
    assert!(Blade::from_stations(&[station(f64::NAN, 0.1), station(1.0, 0.1)]).is_err());
    assert!(PropellerTable::build(&light(), 0.6, 0.3).is_err());
    assert!(PropellerTable::build(&light(), 0.01, 0.3).is_err());
}

/// The balance of every element has one answer, for blades up to 1.5 times as wide as the standard. Two
/// corners no aeroplane visits are exempt: stalling a nearly feathered blade (3 balances at 85 deg blade angle,
/// 6 deg advance), and the supersonic dive in fine pitch (Mach 0.9 with the advance angle above 50 deg).
#[test]
fn regress_element_balance_is_unique() {
    for (blades, scale) in [(2, 1.0), (3, 1.0), (2, 1.5)] {
        let g = PropellerGeometry::standard(1.93, blades, scale).expect("in range");
        let e = BladeElements::new(&g);
        for beta in [5.0, 10.0, 20.0, 30.0, 40.0, 60.0, 85.0_f64] {
            for theta in (0..=30).map(|i| 3.0 * f64::from(i)) {
                for mach in [0.3, 0.9] {
                    let n = e.count_balances(theta.to_radians(), beta.to_radians(), mach);
                    let exotic = beta > 80.0 || (mach > 0.5 && theta > 50.0);
                    assert!(
                        n <= 1 || exotic,
                        "{blades} {scale} {beta} {theta} {mach}: {n} balances"
                    );
                }
            }
        }
    }
}

/// Normal envelope: 0 to 120 m/s, 1,200 to 2,800 rpm, the whole range of blade angles, but not more than
/// 14 degrees below the advance angle (negative stall): static, climb, cruise, windmilling.
#[test]
fn crosscheck_table_against_direct_runs_within_half_a_per_cent() {
    let e = BladeElements::new(&light());
    let t = table();
    let (mut worst, mut worst_off, mut checked) = (0.0_f64, 0.0_f64, 0);
    let (mut peak_t, mut peak_q) = (0.0_f64, 0.0_f64);
    let mut points = Vec::new();
    for i in 0..24 {
        for j in 0..24 {
            for k in 0..31 {
                // Irrational offsets keep the points off the knots.
                let v = 120.0 * (f64::from(i) / 24.0 + 0.014_142);
                let n = 20.0 + 26.0 * (f64::from(j) / 24.0 + 0.017_320);
                let beta = (10.0 + 30.0 * (f64::from(k) / 31.0 + 0.011_180)).to_radians();
                let (theta, mach) = angles(v, n);
                let direct = e.coefficients(theta, beta, mach);
                let looked_up = t.coefficients(v, n, beta, 335.0);
                peak_t = peak_t.max(direct.thrust.abs());
                peak_q = peak_q.max(direct.torque.abs());
                points.push((theta - beta, direct, looked_up));
            }
        }
    }
    for (below, direct, looked_up) in points {
        let off = |d: f64, l: f64, peak: f64| (d - l).abs() / d.abs().max(NEAR_ZERO * peak);
        let error = off(direct.thrust, looked_up.thrust, peak_t).max(off(
            direct.torque,
            looked_up.torque,
            peak_q,
        ));
        if below < 14_f64.to_radians() {
            worst = worst.max(error);
            checked += 1;
        }
        worst_off = worst_off
            .max((direct.thrust - looked_up.thrust).abs() / peak_t)
            .max((direct.torque - looked_up.torque).abs() / peak_q);
    }
    println!("{checked} points, worst {worst:.2e}, anywhere against the peak {worst_off:.2e}");
    println!("peaks {peak_t:.4} {peak_q:.5}");
    assert!(checked > 10_000);
    assert!(worst < TABLE_RELATIVE, "{worst}");
    assert!(worst_off < TABLE_OFF_ENVELOPE, "{worst_off}");
}

/// The stopped end and the feathered end are ends of the same smooth table.
#[test]
fn crosscheck_table_stopped_and_feathered() {
    let t = PropellerTable::build(&light(), 12_f64.to_radians(), 85_f64.to_radians())
        .expect("in range");
    let e = BladeElements::new(&light());
    // Stopped in fine pitch, drag 0.03; the error is against that.
    for beta in [12.0, 20.0, 33.3, 50.0, 70.0, 80.0, 85.0_f64] {
        let b = beta.to_radians();
        let direct = e.coefficients(FRAC_PI_2, b, 50.0 / 335.0);
        let looked_up = t.coefficients(50.0, 0.0, b, 335.0);
        assert!(direct.thrust < 0.0 && looked_up.thrust < 0.0, "{beta}");
        assert!(
            (direct.thrust - looked_up.thrust).abs() < TABLE_RELATIVE * 0.03,
            "{beta}"
        );
        assert!(
            (direct.torque - looked_up.torque).abs() < TABLE_RELATIVE * 0.005,
            "{beta}"
        );
    }
    // The one coefficient of a feathered propeller, with the speed squared and the diameter squared.
    let feathered = Feathered::new(&light(), 85_f64.to_radians());
    let f = t.forces(1.1, 50.0, 0.0, feathered.angle_rad, 335.0);
    let thrust_n = feathered.thrust * 1.1 * (50.0 * t.diameter_m()).powi(2);
    assert!(f.thrust_n < 0.0 && (thrust_n / f.thrust_n - 1.0).abs() < 0.02);
}

#[test]
fn closed_form_torque_beyond_the_stops_is_said() {
    let t = table();
    let at = |torque| t.blade_angle_for_torque(1.1, 60.0, 38.0, torque, 335.0, stops());
    assert_eq!(at(1e5), BladeAngle::AboveHighStop);
    assert_eq!(at(-1e5), BladeAngle::BelowLowStop);
    assert!(matches!(at(300.0), BladeAngle::Within(_)));
}

/// A NaN must come out as a NaN, never as a plausible number.
#[test]
fn closed_form_nan_stays_nan() {
    let t = table();
    for (v, n, beta, sound) in [
        (f64::NAN, 40.0, 0.3, 340.0),
        (50.0, f64::NAN, 0.3, 340.0),
        (50.0, 40.0, f64::NAN, 340.0),
        (50.0, 40.0, 0.3, f64::NAN),
    ] {
        let f = t.forces(1.2, v, n, beta, sound);
        assert!(
            f.thrust_n.is_nan() && f.torque_n_m.is_nan(),
            "{v} {n} {beta} {sound}: {f:?}"
        );
    }
    assert!(matches!(
        t.blade_angle_for_torque(1.2, 50.0, 40.0, f64::NAN, 340.0, stops()),
        BladeAngle::Within(b) if b.is_nan()
    ));
    assert!(matches!(
        t.rpm_at_blade_angle(1.2, f64::NAN, 0.3, 340.0, 60.0, Nearby::NONE, |_| 300.0),
        Balance::Turning { rev_s, .. } if rev_s.is_nan()
    ));
}

#[test]
fn closed_form_fixed_blade_balance() {
    let t = table();
    let beta = 18_f64.to_radians();
    // An engine of constant torque 350 N m: the balance absorbs exactly that.
    let Balance::Turning { rev_s: n, thrust_n } =
        t.rpm_at_blade_angle(1.2, 50.0, beta, 340.0, 80.0, Nearby::NONE, |_| 350.0)
    else {
        panic!("no balance");
    };
    let there = t.forces(1.2, 50.0, n, beta, 340.0);
    assert!((there.torque_n_m - 350.0).abs() < 1e-3, "{there:?}");
    assert_eq!(thrust_n, there.thrust_n);
    // A dead engine with 80 N m of friction windmills at 50 m/s, and stands at 15 m/s.
    let dead = |v| t.rpm_at_blade_angle(1.2, v, beta, 340.0, 80.0, Nearby::NONE, |_| -80.0);
    assert!(matches!(dead(50.0), Balance::Turning { .. }));
    assert_eq!(dead(15.0), Balance::Stopped);
    // More torque than the propeller can hold at 20 rev/s.
    assert_eq!(
        t.rpm_at_blade_angle(1.2, 50.0, beta, 340.0, 20.0, Nearby::NONE, |_| 500.0),
        Balance::AboveMaximum
    );
}

/// A shaft speed to begin from changes nothing but the way there; for whom it need only be near, thrust by no more than is said.
#[test]
fn crosscheck_balance_from_nearby_and_from_above() {
    // Both searches end within 3e-9 of the greatest speed, 2e-7 rev/s; five times that. Thrust of a few kN goes with some square of it.
    const SAME_REV_S: f64 = 1e-6;
    const SAME_N: f64 = 1e-3;
    // What is said of it, of the thrust that the propeller has at work.
    const ROUGHLY_SAME_N: f64 = 1e-5 * 2_000.0;
    let t = table();
    let (mut compared, mut worst_n) = (0, 0.0_f64);
    for v in [20.0, 40.0, 60.0, 80.0] {
        for beta_deg in [10.0_f64, 14.0, 20.0, 40.0] {
            for torque in [-60.0, 0.0, 100.0, 300.0, 500.0] {
                let find = |near| {
                    let engine = |n: f64| torque - 0.5 * n;
                    t.rpm_at_blade_angle(1.1, v, beta_deg.to_radians(), 335.0, 67.5, near, engine)
                };
                let turning = |b: Balance| match b {
                    Balance::Turning { rev_s, thrust_n } => Some((rev_s, thrust_n)),
                    _ => None,
                };
                for near in [35.0, 45.0] {
                    let [above, exact, rough] = [
                        Nearby::NONE,
                        Nearby::NONE.balanced(near),
                        Nearby::ROUGHLY.balanced(near),
                    ]
                    .map(find);
                    let (Some(a), Some(b), Some(c)) =
                        (turning(above), turning(exact), turning(rough))
                    else {
                        assert_eq!([exact, rough], [above; 2], "{v} {beta_deg} {torque}");
                        continue;
                    };
                    let same = (a.0 - b.0).abs() < SAME_REV_S && (a.1 - b.1).abs() < SAME_N;
                    assert!(same, "{v} {beta_deg} {torque}: {a:?} {b:?}");
                    worst_n = worst_n.max((a.1 - c.1).abs());
                    compared += 1;
                }
            }
        }
    }
    println!("{compared} compared, roughly within {worst_n:.5} N");
    assert!(worst_n < ROUGHLY_SAME_N, "{worst_n}");
    assert!(compared > 60, "{compared}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    /// Ideal efficiency `2 / (1 + sqrt(1 + T/(qA)))` (actuator disc, from memory) is never passed, by direct
    /// runs or by the table; and the propeller never returns more power than it is given.
    #[test]
    fn closed_form_actuator_disc_bound(
        v in 1.0..130.0_f64, n in 5.0..46.0_f64, beta_deg in 10.0..40.0_f64,
    ) {
        let beta = beta_deg.to_radians();
        let (theta, mach) = angles(v, n);
        let direct = BladeElements::new(&light()).coefficients(theta, beta, mach);
        let looked_up = table().coefficients(v, n, beta, 335.0);
        let reference2 = v * v + (0.75 * PI * 1.93 * n).powi(2);
        for c in [direct, looked_up] {
            let thrust = c.thrust * reference2 * 1.93 * 1.93;
            let power = c.torque * reference2 * 1.93_f64.powi(3) * TAU * n;
            // Air density 1. Dissipation is never negative; interpolation error allowed in proportion.
            prop_assert!(power - thrust * v >= -1e-4 * reference2 * v);
            if thrust > 0.0 && power > 0.0 {
                let area = PI * 1.93 * 1.93 / 4.0;
                let ideal = 2.0 / (1.0 + (1.0 + thrust / (0.5 * v * v * area)).sqrt());
                prop_assert!(thrust * v / power <= ideal + BOUND, "{} {ideal}", thrust * v / power);
            }
        }
    }

    /// Finite for every input, the ends included.
    #[test]
    fn closed_form_always_finite(
        theta_deg in 0.0..=90.0_f64, beta_deg in 3.0..=88.0_f64, mach in 0.0..=1.1_f64,
        v in prop_oneof![Just(0.0), 0.0..200.0_f64], n in prop_oneof![Just(0.0), 0.0..60.0_f64],
        blades in 2..=4_u32, scale in 0.4..2.5_f64,
    ) {
        let g = PropellerGeometry::standard(1.93, blades, scale).expect("in range");
        let e = BladeElements::new(&g);
        for theta in [theta_deg, 0.0, 90.0] {
            let c = e.coefficients(theta.to_radians(), beta_deg.to_radians(), mach);
            prop_assert!(c.thrust.is_finite() && c.torque.is_finite(), "{theta} {c:?}");
            prop_assert!(c.thrust.abs() < 1.0 && c.torque.abs() < 0.5, "{theta} {c:?}");
        }
        let f = table().forces(1.2, v, n, beta_deg.to_radians(), 340.0);
        prop_assert!(f.thrust_n.is_finite() && f.torque_n_m.is_finite());
    }

    /// A guess of the blade angle changes the answer by no more than the tolerance of the search, and the thrust that comes with
    /// the angle is that of the table there.
    #[test]
    fn crosscheck_guessed_blade_angle(
        v in 0.0..120.0_f64, n in 15.0..46.0_f64, beta_deg in 10.5..39.5_f64, off in -0.1..0.1_f64,
    ) {
        // Of a blade angle, rad, and of a thrust coefficient, whose slope with blade angle is about one.
        const SAME: f64 = 1e-8;
        let beta = beta_deg.to_radians();
        let (theta, _) = angles(v, n);
        prop_assume!(theta - beta < 8_f64.to_radians());
        let torque = table().forces(1.1, v, n, beta, 335.0).torque_n_m;
        let scale = 1.1 * (v * v + (0.75 * PI * 1.93 * n).powi(2)) * 1.93 * 1.93;
        for guess in [Nearby::NONE, Nearby::angle(beta + off), Nearby::angle(beta + 0.01 * off)] {
            match table().absorb(1.1, v, n, torque, 335.0, stops(), &Cell::new(guess)) {
                Absorbed::Within { angle_rad, thrust_n } => {
                    prop_assert!((angle_rad - beta).abs() < SAME, "{angle_rad} {beta} from {guess:?}");
                    let exact = table().forces(1.1, v, n, angle_rad, 335.0).thrust_n;
                    prop_assert!((thrust_n - exact).abs() < SAME * scale, "{thrust_n} {exact}");
                }
                other => prop_assert!(false, "{other:?} from {guess:?}"),
            }
        }
    }

    /// The governed blade angle gives back the torque asked for, and finds its own angle on the branch.
    #[test]
    fn closed_form_governed_blade_angle_inverts_torque(
        v in 0.0..120.0_f64, n in 15.0..46.0_f64, beta_deg in 10.0..40.0_f64,
    ) {
        let beta = beta_deg.to_radians();
        let (theta, _) = angles(v, n);
        let torque = table().forces(1.1, v, n, beta, 335.0).torque_n_m;
        match table().blade_angle_for_torque(1.1, v, n, torque, 335.0, stops()) {
            BladeAngle::Within(found) => {
                let again = table().forces(1.1, v, n, found, 335.0).torque_n_m;
                let scale = 1.1 * (v * v + (0.75 * PI * 1.93 * n).powi(2)) * 1.93_f64.powi(3);
                prop_assert!((again - torque).abs() < 1e-7 * scale, "{again} {torque}");
                // Short of negative stall the angle itself is unique.
                if theta - beta < 10_f64.to_radians() {
                    prop_assert!((found - beta).abs() < INVERSE_RAD, "{found} {beta}");
                }
            }
            // Only the rounding at a stop, or the stalled side of the least torque, may refuse.
            other => prop_assert!(
                theta - beta > 9_f64.to_radians()
                    || (beta_deg - 10.0).abs() < 1e-3
                    || (beta_deg - 40.0).abs() < 1e-3,
                "{other:?}"
            ),
        }
    }
}

/// The build bar of 10 ms and the look-up bar of 60 ns are kept by `cargo test --release`, best of many.
#[cfg(not(debug_assertions))]
#[test]
#[ignore = "timing: run alone with --release -- --ignored --nocapture"]
fn regress_speed() {
    use std::time::Instant;
    let g = light();
    let (low, high) = (10_f64.to_radians(), 40_f64.to_radians());
    let best = |repeat: usize, f: &mut dyn FnMut()| {
        (0..repeat).fold(f64::INFINITY, |best, _| {
            let start = Instant::now();
            f();
            best.min(start.elapsed().as_secs_f64())
        })
    };
    let build = best(30, &mut || {
        std::hint::black_box(PropellerTable::build(&g, low, high).expect("in range"));
    });
    let t = table();
    // A scattered but repeatable thousand of points.
    let points: Vec<(f64, f64, f64)> = (0..1000)
        .map(|i| {
            let x = |k: f64| (f64::from(i) * k).fract();
            let n = 22.0 + 22.0 * x(0.618_034);
            let v = 20.0 + 80.0 * x(0.754_878);
            let (theta, _) = angles(v, n);
            (v, n, (theta + 0.02 + 0.15 * x(0.569_840)).clamp(low, high))
        })
        .collect();
    let evaluate = best(500, &mut || {
        for &(v, n, beta) in &points {
            std::hint::black_box(t.coefficients(v, n, beta, 335.0));
        }
    }) / 1000.0;
    let torques: Vec<f64> = points
        .iter()
        .map(|&(v, n, b)| t.forces(1.1, v, n, b, 335.0).torque_n_m)
        .collect();
    let invert = best(500, &mut || {
        for (&(v, n, _), &q) in points.iter().zip(&torques) {
            std::hint::black_box(t.blade_angle_for_torque(1.1, v, n, q, 335.0, stops()));
        }
    }) / 1000.0;
    println!(
        "build {:.2} ms, evaluate {:.1} ns, invert {:.0} ns",
        build * 1e3,
        evaluate * 1e9,
        invert * 1e9
    );
    assert!(build < 10e-3 && evaluate < 60e-9 && invert < 400e-9);
}
