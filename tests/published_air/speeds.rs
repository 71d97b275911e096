//! Airspeeds and the wind triangle.

use super::atmosphere::{cell, table};
use super::{ROUNDING, cases, close};
use fellrun::air::triangle::{TriangleError, hold_course, hold_heading, wind_vector_m_s};
use fellrun::air::{isa, speed, triangle};
use fellrun::quantity::{M_PER_FT as FT, M_S_PER_KT as KT};
use proptest::prelude::*;

// --- airspeeds ---------------------------------------------------------------------------------------------------

/// Impact pressure by its series, `rho V^2 / 2 (1 + M^2/4 + M^4/40 + M^6/1600 - ...)` (expansion of the isentropic relation; any textbook of
/// compressible flow, from memory): of a calibrated airspeed at standard sea level, of a Mach number at any pressure. It has the sign of the speed.
#[test]
fn closed_form_impact_pressure_by_its_series() {
    let factor = |mach: f64| {
        let m2 = mach * mach;
        1.0 + m2 / 4.0 + m2 * m2 / 40.0 + m2 * m2 * m2 / 1_600.0
    };
    // The next term is M^8/80,000.
    let left = |mach: f64| mach.powi(8) / 40_000.0 + 1e-13;
    for mach in [0.02, 0.1, 0.25, 0.4, 0.5] {
        let cas = mach * isa::speed_of_sound_m_s(288.15);
        let slow = 0.5 * isa::SEA_LEVEL_DENSITY_KG_M3 * cas * cas;
        let got = speed::cas_to_impact_pa(cas) / (slow * factor(mach)) - 1.0;
        assert!(got.abs() < left(mach), "CAS {cas}: {got}");
        close(
            speed::cas_to_impact_pa(-cas),
            -speed::cas_to_impact_pa(cas),
            0.0,
            "backwards",
        );
        // rho V^2 / 2 = 0.7 p M^2
        let slow = 0.7 * 60_000.0 * mach * mach;
        let got = speed::mach_to_impact_pa(mach, 60_000.0) / (slow * factor(mach)) - 1.0;
        assert!(got.abs() < left(mach), "Mach {mach}: {got}");
        close(
            speed::mach_to_impact_pa(-mach, 6e4),
            -speed::mach_to_impact_pa(mach, 6e4),
            0.0,
            "backwards",
        );
    }
}

/// Mach number of a calibrated airspeed by the logarithms of its definition, below and above the change of method at Mach 0.52.
#[test]
fn closed_form_mach_of_cas_to_the_last_digits() {
    // Of a dozen roundings; the step that is meant to leave a cube of 3e-5 leaves 1e-9 without its second term.
    const DIGITS: f64 = 1e-13;
    for pressure_pa in [40e3, 70e3, 101_325.0] {
        for i in 1..60 {
            let cas = 4.0 * f64::from(i);
            let sea = cas / isa::speed_of_sound_m_s(288.15);
            let ratio = (3.5 * (0.2 * sea * sea).ln_1p()).exp_m1() * 101_325.0 / pressure_pa;
            let exact = (5.0 * (ratio.ln_1p() / 3.5).exp_m1()).sqrt();
            let got = speed::cas_to_mach(cas, pressure_pa);
            assert!(
                (got / exact - 1.0).abs() < DIGITS,
                "{cas} {pressure_pa}: {}",
                got / exact - 1.0
            );
        }
    }
}

#[test]
fn crosscheck_cas_to_tas_table() {
    // tests/data/isa: TAS to 0.001 kt, Mach to 1e-5 (half of the last digit, twice)
    let rows = table("isa/cas_to_tas_computed.csv");
    assert_eq!(rows.len(), 150);
    for row in &rows {
        let h = cell(row, 1) * FT;
        let (p, t) = (isa::pressure_pa(h), isa::temperature_k(h) + cell(row, 2));
        close(
            speed::cas_to_tas_m_s(cell(row, 0) * KT, p, t) / KT,
            cell(row, 3),
            1e-3,
            "TAS kt",
        );
        close(
            speed::cas_to_mach(cell(row, 0) * KT, p),
            cell(row, 4),
            1e-5,
            "Mach",
        );
    }
}

#[test]
fn published_cas_of_tas() {
    // MathWorks correctairspeed: TAS to CAS at a = 336.4 m/s, p = 89,874.6 Pa; four decimals printed.
    const LAST_DIGIT: f64 = 1e-4;
    for (tas, cas) in [
        (25.722_2, 24.507_7),
        (10.288_9, 9.802_4),
        (3.086_7, 2.940_7),
    ] {
        close(
            speed::mach_to_cas_m_s(tas / 336.4, 89_874.6),
            cas,
            LAST_DIGIT,
            "CAS",
        );
    }
    // EASA question bank: CAS 120 kt, FL80, +20 C -> 141 kt; CAS 320, FL330, ISA+15 -> 530 kt. The bank uses a circular
    // slide rule: 1 %.
    const SLIDE_RULE: f64 = 0.01;
    let tas = speed::cas_to_tas_m_s(120.0 * KT, isa::pressure_pa(8_000.0 * FT), 293.15) / KT;
    close(tas, 141.0, 141.0 * SLIDE_RULE, "FL80");
    let h = 33_000.0 * FT;
    let t = isa::temperature_k(h) + 15.0;
    let tas = speed::cas_to_tas_m_s(320.0 * KT, isa::pressure_pa(h), t) / KT;
    close(tas, 530.0, 530.0 * SLIDE_RULE, "FL330");
}

// --- wind triangle -----------------------------------------------------------------------------------------------

#[test]
fn published_wind_triangles_course_given() {
    // course, TAS, wind from, wind speed, published heading and ground speed, exact correction and ground speed.
    // Published to whole degrees and knots; "exact" is the formula evaluated apart, to its last digit.
    const WHOLE: f64 = 0.5;
    const LAST_DIGIT: f64 = 1e-3;
    let cases = [
        // FAA PHAK Fig. 15-20/21 (flightlearnings.com/2012/07/21); its heading 076 is quoted from memory
        (
            90.0,
            120.0,
            45.0,
            40.0,
            Some(76.0),
            Some(88.0),
            -13.633,
            88.335,
        ),
        // EASA question bank
        (
            110.0,
            200.0,
            15.0,
            40.0,
            Some(99.0),
            Some(199.0),
            -11.492,
            199.476,
        ),
        (
            180.0,
            180.0,
            100.0,
            18.0,
            Some(174.0),
            Some(176.0),
            -5.652,
            175.999,
        ),
        (255.0, 100.0, 200.0, 10.0, Some(250.0), None, -4.699, 93.928),
        // US training text of the 1940s, transcription.si.edu/view/19964: +10 degrees, 146 kt (its drawing is 0.65 off)
        (94.0, 165.0, 154.0, 34.0, Some(104.0), None, 10.280, 145.351),
    ];
    for (course, tas, from, wind, heading, gs, correction, exact_gs) in cases {
        let (u, v) = wind_vector_m_s(f64::to_radians(from), wind * KT);
        let t = hold_course(f64::to_radians(course), tas * KT, 0.0, u, v).unwrap();
        if let Some(heading) = heading {
            close(t.heading_rad.to_degrees(), heading, WHOLE, "heading");
        }
        if let Some(gs) = gs {
            close(t.ground_speed_m_s / KT, gs, WHOLE, "ground speed");
        }
        close(
            t.correction_rad.to_degrees(),
            correction,
            LAST_DIGIT,
            "correction",
        );
        close(
            t.ground_speed_m_s / KT,
            exact_gs,
            LAST_DIGIT,
            "exact ground speed",
        );
    }
}

#[test]
fn published_wind_triangles_heading_given() {
    // EASA items (brainscape deck) and transcription.si.edu 37385: heading, TAS, wind from, speed -> exact track and ground
    // speed as recomputed apart to 0.1 (published: 028 205; 235 533; 346 102; 304 153).
    const LAST_DIGIT: f64 = 0.06;
    const WHOLE: f64 = 0.6;
    let cases = [
        (29.0, 250.0, 35.0, 45.0, 27.7, 205.3, 28.0, 205.0),
        (226.0, 485.0, 110.0, 95.0, 235.2, 533.5, 235.0, 533.0),
        (355.0, 90.0, 120.0, 20.0, 345.8, 102.8, 346.0, 103.0),
        (315.0, 150.0, 45.0, 30.0, 303.7, 153.0, 304.0, 153.0),
    ];
    for (heading, tas, from, wind, track, gs, printed_track, printed_gs) in cases {
        let (u, v) = wind_vector_m_s(f64::to_radians(from), wind);
        let (got_track, got_gs) = hold_heading(f64::to_radians(heading), tas, 0.0, u, v);
        close(got_track.to_degrees(), track, LAST_DIGIT, "track");
        close(got_gs, gs, LAST_DIGIT, "ground speed");
        close(
            got_track.to_degrees(),
            printed_track,
            WHOLE,
            "printed track",
        );
        close(got_gs, printed_gs, WHOLE, "printed ground speed");
    }
}

#[test]
fn closed_form_winds_too_strong_are_errors() {
    assert!(matches!(
        hold_course(0.0, 50.0, 0.0, 50.0, 0.0),
        Err(TriangleError::CrossWind { .. })
    ));
    assert!(matches!(
        hold_course(0.0, 50.0, 0.0, 0.0, -50.0),
        Err(TriangleError::HeadWind { .. })
    ));
    assert!(matches!(
        hold_course(0.0, 0.0, 0.0, 0.0, 0.0),
        Err(TriangleError::CrossWind { .. })
    ));
    assert_eq!(
        hold_course(0.0, f64::NAN, 0.0, 0.0, 0.0),
        Err(TriangleError::NotFinite)
    );
    // what is said of it: 60 m/s from ahead, 50 m/s through the air
    assert_eq!(
        hold_course(0.0, 50.0, 0.0, 0.0, -60.0),
        Err(TriangleError::HeadWind {
            head_m_s: 60.0,
            air_m_s: 50.0
        })
    );
    // 50 m/s at 60 degrees leaves 25 m/s level: a cross wind of 30 m/s cannot be held then, but can be in level flight
    let steep = 60_f64.to_radians();
    assert!(matches!(
        hold_course(0.0, 50.0, steep, 30.0, 0.0),
        Err(TriangleError::CrossWind { .. })
    ));
    // level: sqrt(50^2 - 30^2) = 40
    close(
        hold_course(0.0, 50.0, 0.0, 30.0, 0.0)
            .unwrap()
            .ground_speed_m_s,
        40.0,
        ROUNDING,
        "3-4-5",
    );
}

proptest! {
    #![proptest_config(cases(256))]

    #[test]
    fn closed_form_course_and_heading_agree(
        course in 0.0..std::f64::consts::TAU, tas in 20.0..150.0_f64, g in -0.3..0.3_f64,
        u in -60.0..60.0_f64, v in -60.0..60.0_f64,
    ) {
        if let Ok(t) = hold_course(course, tas, g, u, v) {
            let (track, gs) = hold_heading(t.heading_rad, tas, g, u, v);
            prop_assert!((gs - t.ground_speed_m_s).abs() < 1e-9);
            let turn = (track - course).sin().abs();
            // a nearly vanishing ground speed makes the track ill-conditioned
            prop_assert!(turn * gs < 1e-9, "{turn} {gs}");
            let (from, wind) = triangle::wind_from_vector(u, v);
            let (u2, v2) = wind_vector_m_s(from, wind);
            prop_assert!((u - u2).abs() < 1e-9 && (v - v2).abs() < 1e-9);
        }
    }
}
