//! What is read off a flown path, and how limits are kept count of.

use fellrun::flight::{Audit, Limit, State, TrackPoint, point_at};

/// A point of a path on which every figure that varies is its own straight line over the distance.
fn point(distance_m: f64, segment: usize) -> TrackPoint {
    let line = |at_zero: f64, per_km: f64| at_zero + per_km * distance_m / 1_000.0;
    TrackPoint {
        state: State {
            time_s: line(10.0, 15.0),
            distance_m,
            pressure_altitude_m: line(500.0, 30.0),
            tas_m_s: line(50.0, 2.0),
            fuel_kg: line(1.0, 0.2),
            revolutions: line(100.0, 600.0),
        },
        indicated_m: line(450.0, 31.0),
        true_altitude_m: line(470.0, 29.0),
        ias_m_s: line(48.0, 1.5),
        ground_speed_m_s: line(55.0, 1.0),
        rate_m_s: 3.0,
        map_pa: 80e3,
        rev_s: 40.0,
        mixture: 1,
        power_fraction: 0.7,
        fuel_kg_s: 0.01,
        wind_along_m_s: line(-3.0, 0.5),
        mass_kg: line(1_200.0, -0.2),
        bank_rad: 0.0,
        segment,
    }
}

/// Between two points of the path everything that varies does so in a straight line, and what is set is as at the earlier point; within a metre of a
/// point it is that point, of two at one distance the earlier; before the path it is its first point, and beyond it there is none.
#[test]
fn closed_form_the_path_between_two_points() {
    let mut waiting = point(4_000.0, 1);
    waiting.state.time_s += 30.0;
    let track = [
        point(1_000.0, 0),
        point(4_000.0, 1),
        waiting,
        point(9_000.0, 2),
    ];
    for (d, segment) in [
        (1_700.0, 0),
        (3_998.0, 0),
        (4_002.0, 1),
        (6_500.0, 1),
        (8_990.0, 1),
    ] {
        let got = point_at(&track, d).expect("on the path");
        let mut want = point(d, segment);
        if d > 4_000.0 {
            // From the later of the two points at 4 km.
            want.state.time_s += 30.0 * (9_000.0 - d) / 5_000.0;
        }
        let figures = |t: &TrackPoint| {
            let s = &t.state;
            [
                s.distance_m,
                s.time_s,
                s.pressure_altitude_m,
                s.tas_m_s,
                s.fuel_kg,
                s.revolutions,
                t.indicated_m,
                t.true_altitude_m,
                t.ias_m_s,
                t.ground_speed_m_s,
                t.wind_along_m_s,
                t.mass_kg,
            ]
        };
        for (a, b) in figures(&got).into_iter().zip(figures(&want)) {
            assert!(
                (a - b).abs() < 1e-9 * b.abs().max(1.0),
                "{d}: {got:?} {want:?}"
            );
        }
        assert_eq!((got.segment, got.mixture, got.rev_s), (segment, 1, 40.0));
    }
    for (d, want) in [
        (0.0, track[0]),
        (1_000.0, track[0]),
        (1_000.9, track[0]),
        (3_999.5, track[1]),
    ] {
        let got = point_at(&track, d).expect("on the path");
        assert!(
            (got.state.time_s - want.state.time_s).abs() < 0.01,
            "{d}: {got:?}"
        );
    }
    // Of two points at one place the earlier.
    let got = point_at(&track, 4_000.0).expect("on the path");
    assert!((got.state.time_s - track[1].state.time_s).abs() < 1e-9);
    let got = point_at(&track, 4_000.9).expect("on the path");
    assert!((got.state.time_s - track[1].state.time_s).abs() < 1e-9);
    assert!(point_at(&track, 9_000.9).is_some() && point_at(&track, 9_001.1).is_none());
    assert_eq!(point_at(&[], 0.0), None);
}

/// Of what is noted the worst is kept, in its own unit; violations count in tenths of an inch of mercury, ten feet a minute, five RPM and the
/// like, and below a tenth of that they are rounding.
#[test]
fn closed_form_limits_are_kept_count_of() {
    const INHG: f64 = 3_386.389;
    // A knot, a tenth of an inch of mercury, 10 rpm, 0.2 %, 10 fpm, 30 ft, 5 rpm, 0.1 kg, a pound, 6 s, 100 m: one unit each.
    let units = [
        (Limit::Airspeed, 1_852.0 / 3_600.0),
        (Limit::GearDown, 1_852.0 / 3_600.0),
        (Limit::ManifoldPressure, 0.1 * INHG),
        (Limit::RpmBand, 1.0 / 6.0),
        (Limit::CruisePower, 0.002),
        (Limit::DescentRate, 3.048 / 60.0),
        (Limit::Ground, 9.144),
        (Limit::Governor, 1.0 / 12.0),
        (Limit::Fuel, 0.1),
        (Limit::LandingMass, 0.453_592_37),
        (Limit::ArriveWithin, 6.0),
        (Limit::Distance, 100.0),
    ];
    for (limit, unit) in units {
        let mut audit = Audit::default();
        assert_eq!(
            (
                audit.violation(),
                audit.broken().len(),
                audit.binding().len()
            ),
            (0.0, 0, 0)
        );
        assert_eq!(audit.excess(limit), f64::NEG_INFINITY);
        // Room, and not near.
        audit.note(limit, -1.5 * unit);
        assert_eq!(
            (
                audit.violation(),
                audit.broken().len(),
                audit.binding().len()
            ),
            (0.0, 0, 0)
        );
        // On it.
        audit.note(limit, -0.5 * unit);
        audit.note(limit, -0.9 * unit);
        assert!((audit.excess(limit) + 0.5 * unit).abs() < 1e-9 * unit);
        assert_eq!((audit.violation(), audit.binding()), (0.0, vec![limit]));
        // Rounding.
        audit.note(limit, 0.09 * unit);
        assert_eq!(
            (audit.violation(), audit.broken().len(), audit.binding()),
            (0.0, 0, vec![limit])
        );
        // Broken.
        audit.note(limit, 2.5 * unit);
        assert!(
            (audit.violation() - 2.5).abs() < 1e-5,
            "{limit:?} {}",
            audit.violation()
        );
        assert_eq!((audit.broken(), audit.binding()), (vec![limit], vec![]));
        assert_eq!(
            (audit.broken_by(2.4), audit.broken_by(2.6)),
            (vec![limit], vec![])
        );
        // A second one adds; asked for alone it is told alone.
        let other = if limit == Limit::Mixture {
            Limit::Fuel
        } else {
            Limit::Mixture
        };
        audit.note(other, 0.003);
        assert!((audit.violation() - 4.0).abs() < 1e-5);
        assert!((audit.violation_of(&[other]) - 1.5).abs() < 1e-9);
        assert!((audit.violation_of(&[limit, other]) - audit.violation()).abs() < 1e-12);
        assert_eq!(audit.violation_of(&[Limit::Level]), 0.0);
        // Not a number is no pass.
        audit.note(Limit::Level, f64::NAN);
        assert!(audit.violation() > 1e5 && audit.broken().contains(&Limit::Level));
    }
}
