//! The standard atmosphere and density altitude.

use super::{ROUNDING, cases, close};
use fellrun::air::{isa, speed};
use fellrun::quantity::{M_PER_FT as FT, M_S_PER_KT as KT};
use proptest::prelude::*;

/// Pascals in one inch of mercury (conventional, 0 C): 3,386.389.
const INHG: f64 = 3_386.389;

pub(super) fn table(path: &str) -> Vec<csv::StringRecord> {
    let path = format!("{}/tests/data/{path}", env!("CARGO_MANIFEST_DIR"));
    let rows: Vec<_> = csv::Reader::from_path(path)
        .unwrap()
        .records()
        .collect::<Result<_, _>>()
        .unwrap();
    assert!(!rows.is_empty(), "a test that reads no rows checks nothing");
    rows
}

pub(super) fn cell(row: &csv::StringRecord, i: usize) -> f64 {
    row[i].parse().unwrap()
}

// --- standard atmosphere -----------------------------------------------------------------------------------------

#[test]
fn crosscheck_standard_atmosphere_every_1000_ft() {
    // tests/data/isa: computed apart from this crate; each tolerance is half a unit of the table's last digit
    // plus the same again for values that fall near a rounding edge.
    let rows = table("isa/isa_0_45000ft_computed.csv");
    assert!(rows.len() >= 46);
    for row in &rows {
        let h = cell(row, 0) * FT;
        close(isa::temperature_k(h), cell(row, 1), 1e-3, "temperature K");
        close(
            isa::pressure_pa(h) / 100.0,
            cell(row, 3),
            1e-4,
            "pressure hPa",
        );
        close(
            isa::pressure_pa(h) / INHG,
            cell(row, 4),
            1e-4,
            "pressure inHg",
        );
        close(isa::density_kg_m3(h), cell(row, 6), 1e-6, "density");
        close(
            isa::density_kg_m3(h) / isa::SEA_LEVEL_DENSITY_KG_M3,
            cell(row, 7),
            1e-6,
            "sigma",
        );
        close(
            isa::speed_of_sound_m_s(isa::temperature_k(h)) / KT,
            cell(row, 9),
            1e-3,
            "sound kt",
        );
        close(
            isa::pressure_altitude_m(isa::pressure_pa(h)),
            h,
            1e-8,
            "inverse",
        );
    }
}

#[test]
fn published_standard_atmosphere_points() {
    // scipp.ucsc.edu, "US Standard Atmosphere, 1976", at 36,089 ft: theta .751865, delta .223361, sigma .297076.
    let h = 36_089.0 * FT;
    // MathWorks takes R = 287.0531 where the standard has 287.05287: 4e-7 of the speed of sound, plus half the last digit
    const SOUND: f64 = 2e-4;
    // the printed digits belong to 36,089.24 ft; 0.24 ft of 145,442 is 1.7e-6 in theta and 1.1e-5 of delta
    close(isa::temperature_k(h) / 288.15, 0.751_865, 2.2e-6, "theta");
    close(isa::pressure_pa(h) / 101_325.0, 0.223_361, 4e-6, "delta");
    close(isa::density_kg_m3(h) / 1.225, 0.297_076, 4e-6, "sigma");
    // MathWorks atmosisa: 1,000 m: 281.65 K, 336.4341 m/s, 8.9875e4 Pa, 1.1116 kg/m3 (half of the last digit).
    close(isa::temperature_k(1000.0), 281.65, 5e-3, "T at 1 km");
    close(
        isa::speed_of_sound_m_s(281.65),
        336.434_1,
        SOUND,
        "a at 1 km",
    );
    close(isa::pressure_pa(1000.0), 8.987_5e4, 0.5, "p at 1 km");
    close(isa::density_kg_m3(1000.0), 1.111_6, 1e-4, "rho at 1 km");
    // the same at 11,000 m: 216.65 K, 295.0696 m/s, 2.2632e4 Pa, 0.3639 kg/m3
    close(isa::temperature_k(11_000.0), 216.65, 5e-3, "T at 11 km");
    close(
        isa::speed_of_sound_m_s(216.65),
        295.069_6,
        SOUND,
        "a at 11 km",
    );
    close(isa::pressure_pa(11_000.0), 2.263_2e4, 0.5, "p at 11 km");
    close(isa::density_kg_m3(11_000.0), 0.363_9, 5e-5, "rho at 11 km");
    // fxsolver layer table: 11,000 m: 22,632.1 Pa, 6.683245 inHg
    // (half the last digit, and 0.02 Pa by which the standard's own table, 22,632.06, differs from its constants)
    close(isa::pressure_pa(11_000.0), 22_632.1, 0.07, "p11");
    close(
        isa::pressure_pa(11_000.0) / INHG,
        6.683_245,
        5e-5,
        "p11 inHg",
    );
}

#[test]
fn published_density_altitude_of_the_pilots_handbook() {
    // FAA PHAK sample problem (flightlearnings.com/2011/04/14): elevation 5,883 ft, altimeter 30.10, 70 F ->
    // pressure altitude 5,718 ft (a correction of -165 read from a table in whole feet), density altitude
    // "approximately 7,700 ft" (read from a chart with lines every 1,000 ft: 50 ft).
    const TABLE_FT: f64 = 1.0;
    const CHART_FT: f64 = 50.0;
    let t = (70.0 - 32.0) / 1.8 + 273.15;
    let pa = isa::pressure_altitude_from_indicated_m(5_883.0 * FT, 30.10 * INHG);
    close(pa / FT, 5_718.0, TABLE_FT, "pressure altitude");
    close(
        isa::density_altitude_m(pa, t) / FT,
        7_700.0,
        CHART_FT,
        "density altitude",
    );
    // the exact formulas, evaluated apart: 5,718.09 and 7,709.6 (half the last digit, and 29.92126 inHg)
    close(pa / FT, 5_718.09, 0.02, "exact pressure altitude");
    close(
        isa::density_altitude_m(pa, t) / FT,
        7_709.6,
        0.1,
        "exact density altitude",
    );
    // PHAK Fig. 10-3: sea level, setting 29.7 -> 205 ft
    close(
        isa::pressure_altitude_from_indicated_m(0.0, 29.7 * INHG) / FT,
        205.0,
        TABLE_FT,
        "29.7",
    );
}

#[test]
fn closed_form_density_altitude_of_standard_air_is_its_height() {
    for h in [-1_000.0, 0.0, 3_000.0, 10_999.9, 11_000.1, 18_000.0] {
        close(
            isa::density_altitude_m(h, isa::temperature_k(h)),
            h,
            1e-7,
            "density altitude",
        );
    }
}

proptest! {
    #![proptest_config(cases(256))]

    #[test]
    fn closed_form_altimeter_conversions_invert(h in -500.0..15_000.0_f64, qnh in 90_000.0..108_000.0_f64) {
        let pa = isa::pressure_altitude_from_indicated_m(h, qnh);
        prop_assert!((isa::indicated_from_pressure_altitude_m(pa, qnh) - h).abs() < 1e-8);
        let p = isa::station_pressure_pa(h, qnh);
        prop_assert!((isa::altimeter_setting_pa(h, p) - qnh).abs() < 1e-5);
        // an altimeter set to the field's setting reads the field's elevation at the field's pressure
        let reads = isa::indicated_from_pressure_altitude_m(isa::pressure_altitude_m(p), qnh);
        prop_assert!((reads - h).abs() < 1e-7);
    }

    #[test]
    fn closed_form_airspeeds_invert(cas in 0.0..250.0_f64, h in -1_000.0..12_000.0_f64, dev in -40.0..40.0_f64) {
        let (p, t) = (isa::pressure_pa(h), isa::temperature_k(h) + dev);
        let tas = speed::cas_to_tas_m_s(cas, p, t);
        prop_assert!((speed::tas_to_cas_m_s(tas, p, t) - cas).abs() < ROUNDING);
        let eas = speed::cas_to_eas_m_s(cas, p);
        prop_assert!((speed::eas_to_cas_m_s(eas, p) - cas).abs() < ROUNDING);
        let rho = isa::density_from_kg_m3(p, t);
        prop_assert!((speed::eas_to_tas_m_s(eas, rho) - tas).abs() < ROUNDING);
        prop_assert!(eas <= cas + ROUNDING || h < 0.0);
    }
}
