//! What the table covers, and the work of its searches.

use super::*;

/// The axis of the tip Mach number, from where it is held at 0.25 to where it is held at 1.05: the air is made faster or slower for sound, and
/// nothing else changes. The normal envelope, from static to just beyond zero thrust.
#[test]
fn crosscheck_table_along_the_tip_mach_number() {
    let e = BladeElements::new(&light());
    let t = table();
    let (mut peak_t, mut peak_q, mut points) = (0.0_f64, 0.0_f64, Vec::new());
    let n = 40.0;
    let tip = PI * 1.93 * n;
    for k in 0..45 {
        let mach = 0.2 + 0.02 * f64::from(k) + 0.003_3;
        for beta_deg in [11.3_f64, 14.9, 19.2, 24.4, 31.1, 38.6] {
            for lead_deg in [-1.0, 1.7, 4.4, 7.9, 12.6] {
                let (beta, lead) = (beta_deg.to_radians(), f64::to_radians(lead_deg));
                let theta = (beta - lead).max(0.0);
                let v = 0.75 * tip * theta.tan();
                let sound = v.hypot(tip) / mach;
                let direct = e.coefficients(theta, beta, mach);
                let looked_up = t.coefficients(v, n, beta, sound);
                peak_t = peak_t.max(direct.thrust.abs());
                peak_q = peak_q.max(direct.torque.abs());
                points.push((mach, beta_deg, lead_deg, direct, looked_up));
            }
        }
    }
    let mut worst = (0.0_f64, String::new());
    for (mach, beta_deg, lead_deg, direct, looked_up) in points {
        let off = |d: f64, l: f64, peak: f64| (d - l).abs() / d.abs().max(NEAR_ZERO * peak);
        let error = off(direct.thrust, looked_up.thrust, peak_t).max(off(
            direct.torque,
            looked_up.torque,
            peak_q,
        ));
        if error > worst.0 {
            worst = (
                error,
                format!("Mach {mach}, {beta_deg} deg, {lead_deg} deg lead"),
            );
        }
    }
    println!("worst {worst:?}");
    assert!(worst.0 < TABLE_RELATIVE, "{worst:?}");
}

/// Two degrees beyond either stop, but never below 3 or above 88 degrees; those two may be stops themselves.
#[test]
fn closed_form_table_says_what_it_covers() {
    let of = |low: f64, high: f64| {
        let t =
            PropellerTable::build(&light(), low.to_radians(), high.to_radians()).expect("in range");
        assert_eq!(t.diameter_m(), 1.93);
        let (a, b) = t.blade_angle_range_rad();
        (a.to_degrees(), b.to_degrees())
    };
    for ((low, high), (a, b)) in [
        ((12.0, 34.0), (10.0, 36.0)),
        ((4.0, 87.0), (3.0, 88.0)),
        ((3.0, 88.0), (3.0, 88.0)),
    ] {
        let got = of(low, high);
        assert!(
            (got.0 - a).abs() < 1e-9 && (got.1 - b).abs() < 1e-9,
            "{got:?}"
        );
    }
    assert!(PropellerTable::build(&light(), 0.3, 88.1_f64.to_radians()).is_err());
    assert!(PropellerTable::build(&light(), 2.9_f64.to_radians(), 0.3).is_err());
}

/// Outside what it covers the table gives its ends: a speed or a shaft speed below zero is zero, a blade angle beyond the ends is the end.
#[test]
fn closed_form_table_beyond_its_ends() {
    let t = table();
    assert_eq!(
        t.forces(1.2, -4.0, 40.0, 0.3, 340.0),
        t.forces(1.2, 0.0, 40.0, 0.3, 340.0)
    );
    assert_eq!(
        t.forces(1.2, 40.0, -4.0, 0.3, 340.0),
        t.forces(1.2, 40.0, 0.0, 0.3, 340.0)
    );
    let (low, high) = t.blade_angle_range_rad();
    assert_eq!(
        t.forces(1.2, 40.0, 40.0, low - 0.1, 340.0),
        t.forces(1.2, 40.0, 40.0, low, 340.0)
    );
    assert_eq!(
        t.forces(1.2, 40.0, 40.0, high + 0.1, 340.0),
        t.forces(1.2, 40.0, 40.0, high, 340.0)
    );
    // Coefficients and forces are the same thing: T = C rho U^2 D^2, Q = C rho U^2 D^3.
    let (c, f) = (
        t.coefficients(40.0, 38.0, 0.3, 340.0),
        t.forces(1.1, 40.0, 38.0, 0.3, 340.0),
    );
    let scale = 1.1 * (1_600.0 + (0.75 * PI * 1.93 * 38.0_f64).powi(2)) * 1.93 * 1.93;
    assert!((f.thrust_n / (c.thrust * scale) - 1.0).abs() < ROUNDING);
    assert!((f.torque_n_m / (c.torque * scale * 1.93) - 1.0).abs() < ROUNDING);
}

/// A shaft speed to begin from is there to save work: it asks the engine less than half as often as the search from above, whatever the speed is
/// that was tried to be held.
#[test]
fn regress_a_speed_nearby_saves_work() {
    let t = table();
    let asked = |near: Nearby| {
        let count = Cell::new(0_u32);
        for v in [30.0, 45.0, 60.0, 75.0] {
            for beta_deg in [10.0_f64, 14.0, 18.0] {
                for torque in [200.0, 320.0, 440.0] {
                    let engine = |n: f64| {
                        count.set(count.get() + 1);
                        torque - 0.5 * n
                    };
                    let _ = t.rpm_at_blade_angle(
                        1.1,
                        v,
                        beta_deg.to_radians(),
                        335.0,
                        67.5,
                        near,
                        engine,
                    );
                }
            }
        }
        count.get()
    };
    let from_above = asked(Nearby::NONE);
    for near in [35.0, 42.0, 50.0] {
        let from_near = asked(Nearby::NONE.balanced(near));
        println!("{near}: {from_near} of {from_above}");
        assert!(
            2 * from_near < from_above,
            "{near}: {from_near} {from_above}"
        );
    }
}

/// The blade angle of a torque against a scan of the table in steps of a hundredth of a degree, with the blades far below their inflow too, where
/// they stall downwards and torque first falls with blade angle: the answer lies on the branch that rises from the angle of least torque, from
/// wherever it is looked for.
#[test]
fn crosscheck_blade_angle_against_a_scan() {
    // The scan is read off in a straight line between two of its points: curvature over the slope times the step squared, with a margin.
    const SCANNED_RAD: f64 = 2e-6;
    // Near the least torque the slope is nothing: there the angle is not held to this.
    const SHARES: [f64; 4] = [0.05, 0.2, 0.5, 0.9];
    // Blade angles from stop to stop from which it is looked for.
    const GUESSES: usize = 20;
    let t = table();
    let steps = 3_000_usize;
    let beta = |i: usize| (10.0 + 30.0 * i as f64 / steps as f64).to_radians();
    let (mut stalled, mut plain, mut below, mut above) = (0, 0, 0, 0);
    for v in [15.0, 40.0, 65.0, 90.0] {
        for n in [4.0, 8.0, 12.0, 16.0, 22.0, 30.0, 42.0] {
            let scan: Vec<Forces> = (0..=steps)
                .map(|i| t.forces(1.1, v, n, beta(i), 335.0))
                .collect();
            let q = |i: usize| scan[i].torque_n_m;
            let least = (0..=steps)
                .min_by(|&a, &b| q(a).total_cmp(&q(b)))
                .expect("a scan");
            // Coarse blades at low advance stall upwards, and are left out where the branch is not one.
            if least == steps || !(least..steps).all(|i| q(i + 1) > q(i)) {
                continue;
            }
            let find_from = |torque: f64, near: Nearby| {
                t.absorb(1.1, v, n, torque, 335.0, stops(), &Cell::new(near))
            };
            let find = |torque: f64| find_from(torque, Nearby::NONE);
            let span = q(steps) - q(least);
            for share in SHARES {
                let torque = q(least) + share * span;
                let i = (least..steps)
                    .find(|&i| q(i + 1) >= torque)
                    .expect("it is reached");
                let part = (torque - q(i)) / (q(i + 1) - q(i));
                let want = beta(i) + part * (beta(i + 1) - beta(i));
                let thrust = scan[i].thrust_n + part * (scan[i + 1].thrust_n - scan[i].thrust_n);
                match find(torque) {
                    Absorbed::Within {
                        angle_rad,
                        thrust_n,
                    } => {
                        assert!(
                            (angle_rad - want).abs() < SCANNED_RAD,
                            "{v} {n} {share}: {angle_rad} {want}"
                        );
                        // Thrust and torque are of one size where the angle is: a share of the span for each radian.
                        let bound =
                            SCANNED_RAD * 20.0 * (scan[steps].thrust_n - scan[0].thrust_n).abs();
                        assert!(
                            (thrust_n - thrust).abs() < bound,
                            "{v} {n} {share}: {thrust_n} {thrust}"
                        );
                    }
                    other => panic!("{v} {n} {share}: {other:?}"),
                }
                for k in 0..=GUESSES {
                    let guess = Nearby::angle(beta(k * steps / GUESSES));
                    let Absorbed::Within { angle_rad, .. } = find_from(torque, guess) else {
                        panic!("{v} {n} {share}: none from guess {k}");
                    };
                    assert!(
                        (angle_rad - want).abs() < SCANNED_RAD,
                        "{v} {n} {share}, guess {k}: {angle_rad} {want}"
                    );
                }
                *if least > 0 { &mut stalled } else { &mut plain } += 1;
            }
            for k in 0..=GUESSES {
                let guess = Nearby::angle(beta(k * steps / GUESSES));
                assert_eq!(
                    find_from(q(least) - 0.02 * span, guess),
                    Absorbed::BelowLowStop,
                    "{v} {n}, guess {k}"
                );
            }
            assert_eq!(
                find(q(least) - 0.02 * span),
                Absorbed::BelowLowStop,
                "{v} {n}"
            );
            assert_eq!(
                find(q(steps) + 0.02 * span),
                Absorbed::AboveHighStop,
                "{v} {n}"
            );
            below += 1;
            above += 1;
        }
    }
    println!("{stalled} {plain} {below} {above}");
    assert!(stalled > 20 && plain > 20, "{stalled} {plain}");
}
