//! Bars of the engine and of `perform`: published ratios, closed forms, and properties over the whole envelope.

use super::rig::*;
use fellrun::aircraft::{AirState, Aircraft, Governed, Levers, OVERSPEED, Performance, Throttle};
use fellrun::quantity::{PA_PER_INHG, W_PER_HP};
use proptest::prelude::*;
use std::f64::consts::{PI, TAU};

/// The normally aspirated ones.
fn breathing() -> [(&'static str, &'static Aircraft); 4] {
    [
        ("demo", &DEMO),
        ("six seats", &SIX),
        ("trainer", &TRAINER),
        ("twin", &TWIN),
    ]
}

#[test]
fn crosscheck_cold_air_gives_more_power() {
    // REFERENCES A.4, the worked example of an engine manual ("for illustration only"): 2,100 rpm, 23.2 in, 1,500 ft; 157 hp at the
    // standard 54 F, 163 hp at 14 F by its rule of 1 % for 10 F. sqrt((460 + 54)/(460 + 14)) x 157 = 163.5.
    // The rule applies the root to brake power. Here the root applies to the air, so to indicated power, while friction does not fall
    // with it: indicated x sqrt(300.4/278.2) = 1.039 (induction air 15 K warmer), over a mechanical efficiency of about 0.83 +4.7 %,
    // that is 164.4. One percent of the power, the step of the rule, is allowed between the two.
    const TOLERANCE_HP: f64 = 1.6;
    let kelvin = |fahrenheit: f64| (fahrenheit - 32.0) / 1.8 + 273.15;
    for (name, a) in breathing() {
        let hp = |temperature_k: f64| {
            let air = AirState::new(air(1_500.0, 0.0).pressure_pa, temperature_k);
            let intake = a.intake(air, 0.0);
            a.engine
                .at_map(23.2 * PA_PER_INHG, 2_100.0 * RPM, 1, intake)
                .power_w
                / W_PER_HP
        };
        let cold = 157.0 * hp(kelvin(14.0)) / hp(kelvin(54.0));
        println!("{name}: 157 hp becomes {cold:.2}");
        assert!((cold - 163.0).abs() < TOLERANCE_HP, "{name} {cold}");
    }
}

#[test]
fn crosscheck_full_throttle_fuel_flow_ratios() {
    // REFERENCES A.2d, UK CAP 697 (second-hand): full throttle, 2,300 rpm, 8,000 ft: 68.5 / 71.1 lb/h = 0.963 for ISA+20 over ISA;
    // 10,000 over 8,000 ft: 66.2 / 71.1 = 0.931. No fit. Tolerance of issue 3.
    const TOLERANCE: f64 = 0.01;
    for (name, a) in [("demo", &*DEMO), ("six seats", &*SIX), ("twin", &*TWIN)] {
        let flow = |altitude: f64, deviation: f64| {
            level(
                a,
                air(altitude, deviation),
                levers(Throttle::Full, 2_300.0, 1),
            )
            .1
            .fuel_kg_s
        };
        let warm = flow(8_000.0, 20.0) / flow(8_000.0, 0.0);
        let high = flow(10_000.0, 0.0) / flow(8_000.0, 0.0);
        println!("{name}: ISA+20 over ISA {warm:.4}, 10,000 over 8,000 ft {high:.4}");
        assert!((warm - 0.963).abs() < TOLERANCE, "{name} {warm}");
        assert!((high - 0.931).abs() < TOLERANCE, "{name} {high}");
    }
}

#[test]
fn closed_form_power_rises_with_height_at_constant_manifold_pressure() {
    // Colder charge and less back pressure: every thousand feet gives more.
    for (name, a) in breathing() {
        let hp = |altitude: f64| {
            let intake = a.intake(air(altitude, 0.0), 0.0);
            a.engine
                .at_map(18.0 * PA_PER_INHG, 2_300.0 * RPM, 1, intake)
                .power_w
        };
        for thousands in 0..12 {
            let h = 1_000.0 * f64::from(thousands);
            assert!(hp(h + 1_000.0) > 1.001 * hp(h), "{name} {h}");
        }
        println!(
            "{name}: 10,000 ft over sea level at 18 in {:.3}",
            hp(10_000.0) / hp(0.0)
        );
    }
}

#[test]
fn crosscheck_lean_of_peak_rule() {
    // REFERENCES A.4 (second-hand, from test data of an engine shop): power lean of peak is k hp for each gallon an hour, with
    // k = 1.1604 CR + 5.030 = 1.1604 x 8.7 + 5.030 = 15.13 for the demo. Band of 8 %: k is a straight line
    // through a range that bends, as one of its users warns, and the demo's row is invented.
    const BAND: f64 = 0.08;
    let a = &*DEMO;
    let lean = a
        .engine
        .spec
        .mixtures
        .iter()
        .position(|m| m.name == "lean of peak")
        .expect("the demo has a lean-of-peak row");
    let k = 1.1604 * a.engine.spec.compression_ratio + 5.030;
    assert!((k - 15.13).abs() < 0.005);
    let mut asked = 0;
    for altitude in [4_000.0, 7_000.0, 10_000.0] {
        for rpm in [2_300.0, 2_500.0] {
            let (_, set) = level(a, air(altitude, 0.0), levers(Throttle::Full, rpm, lean));
            if set.power_fraction > a.engine.spec.mixtures[lean].max_power_fraction {
                continue;
            }
            asked += 1;
            let measured = set.shaft_power_w / W_PER_HP / (set.fuel_kg_s / GPH);
            println!(
                "{altitude} ft {rpm} rpm {:.0} %: {measured:.2} hp per gph, rule {k:.2}",
                100.0 * set.power_fraction
            );
            assert!((measured / k - 1.0).abs() < BAND, "{measured}");
        }
    }
    assert!(asked >= 3);
}

#[test]
fn closed_form_turbocharged_charge() {
    // At rated speed and full throttle at the critical altitude of 17,000 ft, still standard air: ambient 15.57 in and
    // 254.47 K (288.15 - 1.9812 x 17); before the throttle 35 + 0.9 = 35.9 in; ratio 2.3057.
    // Compressor: 254.47 (2.3057^0.285714 - 1) / 0.65 = 254.47 x 0.26963 / 0.65 = 105.56 K, of which half goes
    // in the intercooler: 307.25 K. Exhaust: 15.57 + 0.8 (35.9 - 15.57) = 31.83 in.
    let a = &*TURBO;
    let intake = a.intake(air(17_000.0, 0.0), 0.0);
    let rev_s = a.engine.spec.rated_rev_s;
    let full = a.engine.map_pa(Throttle::Full, rev_s, intake);
    let charge = a.engine.charge(full, rev_s, intake);
    assert!((charge.upstream_pa / PA_PER_INHG - 35.9).abs() < 0.01);
    assert!(
        (charge.temperature_k - 307.25).abs() < 0.1,
        "{}",
        charge.temperature_k
    );
    assert!((charge.exhaust_pa / PA_PER_INHG - 31.83).abs() < 0.02);
    // The rated power is that at rated pressure, sea level, best power.
    let intake = a.intake(air(0.0, 0.0), 0.0);
    let best = a.engine.best_power_mixture();
    let rated = a.engine.at_map(35.0 * PA_PER_INHG, rev_s, best, intake);
    assert!((rated.power_w / (300.0 * W_PER_HP) - 1.0).abs() < 1e-6);
    // Without a turbocharger the charge is the air at the intake.
    let charge = DEMO.engine.charge(20.0 * PA_PER_INHG, 40.0, intake);
    assert_eq!(
        (charge.upstream_pa, charge.exhaust_pa, charge.temperature_k),
        (intake.upstream_pa, intake.ambient_pa, intake.temperature_k)
    );
}

/// A place in the envelope of one of the profiles.
#[derive(Debug, Clone, Copy)]
struct Place {
    profile: usize,
    altitude_ft: f64,
    deviation_k: f64,
    tas_m_s: f64,
    levers: Levers,
}

impl Place {
    fn aircraft(&self) -> &'static Aircraft {
        all()[self.profile].1
    }

    fn air(&self) -> AirState {
        air(self.altitude_ft, self.deviation_k)
    }

    fn perform(&self) -> Performance {
        self.aircraft()
            .perform(self.air(), self.tas_m_s, self.levers)
    }
}

fn places() -> impl Strategy<Value = Place> {
    let throttle = prop_oneof![
        Just(Throttle::Full),
        Just(Throttle::Shut),
        Just(Throttle::Rpm),
        (10.0..36.0_f64).prop_map(map),
        (0.1..200.0_f64).prop_map(Throttle::Fixed),
    ];
    (
        0..5_usize,
        -1_000.0..22_000.0_f64,
        -30.0..30.0_f64,
        0.0..105.0_f64,
        throttle,
        0.0..1.0_f64,
        0..4_usize,
    )
        .prop_map(
            |(profile, altitude_ft, deviation_k, tas_m_s, throttle, speed, mixture)| {
                let p = &all()[profile].1.propeller;
                let rev_s = p.lowest_governed_rev_s
                    + speed * (p.highest_governed_rev_s - p.lowest_governed_rev_s);
                let levers = Levers {
                    throttle,
                    rev_s,
                    mixture,
                };
                Place {
                    profile,
                    altitude_ft,
                    deviation_k,
                    tas_m_s,
                    levers,
                }
            },
        )
}

/// Share of rated power that the balance of the shaft may miss: an inverted blade angle is good to about 1e-9 rad, a balanced speed
/// to 1e-9 of the greatest; a lost unit or a factor of the engines is far more.
const BALANCE: f64 = 1e-6;

proptest! {
    #![proptest_config(ProptestConfig { cases: 2_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn closed_form_fuel_flow_is_positive(place in places()) {
        let set = place.perform();
        let a = place.aircraft();
        let least = f64::from(a.engines) * a.engine.spec.idle_fuel_kg_s;
        prop_assert!(set.fuel_kg_s >= least && least > 0.0);
        prop_assert!(set.fuel_kg_s.is_finite() && set.thrust_n.is_finite() && set.rev_s >= 0.0);
        prop_assert!(set.map_pa > 0.0);
    }

    #[test]
    fn closed_form_energy_balance(place in places()) {
        let (a, set, air) = (place.aircraft(), place.perform(), place.air());
        let p = &a.propeller;
        let forces = p.table.forces(air.density_kg_m3, place.tas_m_s, set.rev_s, set.blade_angle_rad, air.sound_m_s);
        let engines = f64::from(a.engines);
        let rated = engines * a.engine.spec.rated_power_w;
        prop_assert!((set.thrust_n - engines * p.installed_factor * forces.thrust_n).abs() < 1e-9 * rated);
        if set.governed != Governed::Stopped && set.rev_s < 0.999 * OVERSPEED * p.highest_governed_rev_s {
            // What the shaft takes is what the engine gives.
            let shaft = engines * forces.torque_n_m * TAU * set.rev_s;
            prop_assert!((shaft - set.shaft_power_w).abs() < BALANCE * rated, "{} {}", shaft, set.shaft_power_w);
        }
        if set.shaft_power_w > 0.0 && set.thrust_n > 0.0 {
            prop_assert!(set.thrust_n * place.tas_m_s <= set.shaft_power_w);
        }
        // A governor keeps what it says it keeps; stops are stops.
        if set.governed == Governed::Yes {
            prop_assert!((set.rev_s - place.levers.rev_s).abs() < 1e-12 * set.rev_s);
        }
        prop_assert!(set.blade_angle_rad >= p.stops.low_rad && set.blade_angle_rad <= p.stops.high_rad);
    }

    #[test]
    fn closed_form_actuator_disc_is_never_beaten(place in places()) {
        // Momentum theory: a disc of area A needs at least T (V + v), v = -V/2 + sqrt(V^2/4 + T/(2 rho A)), for a thrust T;
        // the form eta <= 2/(1 + sqrt(1 + T/(qA))) of REFERENCES A.3d, from memory. Thrust without the installed factor:
        // the harder test.
        let (a, set, air) = (place.aircraft(), place.perform(), place.air());
        let thrust = set.thrust_n / a.propeller.installed_factor / f64::from(a.engines);
        let shaft = set.shaft_power_w / f64::from(a.engines);
        if thrust > 0.0 && set.governed != Governed::Stopped && set.rev_s < 0.999 * OVERSPEED * a.propeller.highest_governed_rev_s {
            let area = PI / 4.0 * a.propeller.table.diameter_m().powi(2);
            let v = place.tas_m_s;
            let induced = -0.5 * v + (0.25 * v * v + thrust / (2.0 * air.density_kg_m3 * area)).sqrt();
            prop_assert!(thrust * (v + induced) <= shaft, "{} {}", thrust * (v + induced), shaft);
        }
    }

    #[test]
    fn closed_form_throttle_left_alone_reads_the_same(place in places()) {
        // The conductance of a reading gives that reading back, turbocharged or not.
        let a = place.aircraft();
        let intake = a.intake(place.air(), place.tas_m_s);
        let rev_s = place.levers.rev_s;
        let map_pa = a.engine.map_pa(place.levers.throttle, rev_s, intake);
        let left = a.engine.conductance(map_pa, rev_s, intake);
        let again = a.engine.map_pa(Throttle::Fixed(left), rev_s, intake);
        prop_assert!((again - map_pa).abs() < 1e-3 * PA_PER_INHG, "{} {}", again, map_pa);
        // And the manifold pressure for a power gives that power, where the engine can.
        let power = a.engine.at_map(map_pa, rev_s, place.levers.mixture, intake).power_w;
        if map_pa > 10.0 * PA_PER_INHG {
            let back = a.engine.map_for_power_pa(power, rev_s, place.levers.mixture, intake);
            prop_assert!((back - map_pa).abs() < 1e-4 * PA_PER_INHG, "{} {}", back, map_pa);
        }
    }
}
