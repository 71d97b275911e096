//! Engine, propeller and airframe joined: each figure of a flight condition by its own equation.

use crate::common::{demo, profile};
use fellrun::air::isa;
use fellrun::aircraft::propeller::Forces;
use fellrun::aircraft::{
    AirState, Aircraft, Configuration, EngineState, Flap, GlidePropeller, Governed, HubWithoutOil,
    Levers, Performance, Speeds, Throttle,
};
use std::f64::consts::TAU;

/// Sums and products of a dozen terms, relative.
const ROUNDING: f64 = 1e-12;
/// A shaft speed or blade angle that is the root of a balance: power left over, relative to the rated power.
const BALANCE: f64 = 1e-6;
/// Balanced shaft speeds from different starts, relative: both searches end within 3e-9 of the greatest; thrust goes with some power of it.
const SAME_SPEED: f64 = 1e-8;

fn air(height_m: f64, warmer_k: f64) -> AirState {
    AirState::new(
        isa::pressure_pa(height_m),
        isa::temperature_k(height_m) + warmer_k,
    )
}

/// Forces of one propeller in a flight condition.
fn forces(a: &Aircraft, air: AirState, tas_m_s: f64, p: &Performance) -> Forces {
    let table = &a.propeller.table;
    table.forces(
        air.density_kg_m3,
        tas_m_s,
        p.rev_s,
        p.blade_angle_rad,
        air.sound_m_s,
    )
}

fn same(got: f64, want: f64, relative: f64, what: &str) {
    let bound = relative * got.abs().max(want.abs());
    assert!(
        (got - want).abs() <= bound,
        "{what}: got {got}, want {want}"
    );
}

/// Sea level of the standard: 1.2250 kg/m³ and 340.29 m/s (U.S. Standard Atmosphere 1976, table 4, from memory).
#[test]
fn published_air_of_the_standard_at_sea_level() {
    let a = AirState::new(101_325.0, 288.15);
    assert!(
        (a.density_kg_m3 - 1.225_0).abs() < 5e-5 && (a.sound_m_s - 340.29).abs() < 5e-3,
        "{a:?}"
    );
}

/// What the engine gives is what the propeller takes, at the speed and blade angle that are reported, whatever the governor does; readings are
/// of one engine, power, thrust and fuel flow of all; thrust is that of the propeller times the installed factor.
#[test]
fn closed_form_engine_and_propeller_balance() {
    let (mut governed, mut low, mut high, mut fixed) = (0, 0, 0, 0);
    let mut twin = demo();
    twin.engines = 2;
    twin.propeller.installed_factor = 0.93;
    twin.engine.spec.ram_recovery = 0.7;
    for a in [
        twin,
        profile("trainer-160hp"),
        profile("turbo-retractable-300hp"),
    ] {
        let engines = f64::from(a.engines);
        for (height, warmer) in [(0.0, 0.0), (2_500.0, 15.0)] {
            let air = air(height, warmer);
            for tas in [25.0, 50.0, 75.0, 110.0] {
                for throttle in [Throttle::Full, Throttle::Map(50e3), Throttle::Shut] {
                    for rpm in [1_900.0, 2_300.0, 2_700.0_f64] {
                        let levers = Levers {
                            throttle,
                            rev_s: rpm / 60.0,
                            mixture: 1,
                        };
                        let p = a.perform(air, tas, levers);
                        // Ram: the share of the dynamic pressure that the intake recovers.
                        let intake = a.intake(air, tas);
                        let ram = a.engine.spec.ram_recovery * 0.5 * air.density_kg_m3 * tas * tas;
                        same(intake.upstream_pa, air.pressure_pa + ram, ROUNDING, "ram");
                        assert_eq!(
                            (intake.ambient_pa, intake.temperature_k),
                            (air.pressure_pa, air.temperature_k)
                        );
                        if p.governed == Governed::Stopped {
                            continue;
                        }
                        let run = a.engine.run(throttle, p.rev_s, 1, intake);
                        same(p.map_pa, run.map_pa, BALANCE, "map");
                        same(p.fuel_kg_s, engines * run.fuel_kg_s, BALANCE, "fuel");
                        let rated = a.engine.spec.rated_power_w;
                        assert!((p.shaft_power_w - engines * run.power_w).abs() < BALANCE * rated);
                        assert!((p.power_fraction - run.power_w / rated).abs() < BALANCE);
                        let f = forces(&a, air, tas, &p);
                        let installed = engines * f.thrust_n * a.propeller.installed_factor;
                        assert!((p.thrust_n - installed).abs() < 0.05, "{p:?} {installed}");
                        let most = 1.5 * a.propeller.highest_governed_rev_s;
                        if p.rev_s < most {
                            let taken = TAU * p.rev_s * f.torque_n_m;
                            assert!(
                                (taken - run.power_w).abs() < BALANCE * rated,
                                "{taken} {run:?}"
                            );
                        }
                        let set = levers.rev_s.clamp(
                            a.propeller.lowest_governed_rev_s,
                            a.propeller.highest_governed_rev_s,
                        );
                        match p.governed {
                            Governed::Yes => {
                                assert_eq!(p.rev_s, set);
                                governed += 1;
                            }
                            Governed::OnLowStop => {
                                assert_eq!(p.blade_angle_rad, a.propeller.stops.low_rad);
                                assert!(p.rev_s < set);
                                low += 1;
                            }
                            Governed::OnHighStop => {
                                assert_eq!(p.blade_angle_rad, a.propeller.stops.high_rad);
                                assert!(p.rev_s > set && p.rev_s <= most);
                                high += 1;
                            }
                            _ => fixed += 1,
                        }
                    }
                }
            }
        }
    }
    println!("{governed} {low} {high} {fixed}");
    assert!(
        governed > 40 && low > 10 && fixed > 20,
        "{governed} {low} {high} {fixed}"
    );
}

/// A fixed pitch held at a speed by the throttle: the manifold pressure is what gives the power that the propeller takes there. Out of reach
/// the throttle is at its stop, and the speed what balances. Over the redline the throttle comes back to it.
#[test]
fn closed_form_fixed_pitch_is_held_by_the_throttle() {
    let a = profile("trainer-160hp");
    assert!(a.propeller.is_fixed());
    let air = air(1_000.0, 5.0);
    let (mut held, mut full, mut shut) = (0, 0, 0);
    for tas in [30.0, 45.0, 60.0, 75.0] {
        for rpm in [1_500.0, 1_900.0, 2_200.0, 2_500.0, 2_700.0] {
            let set = f64::clamp(
                rpm / 60.0,
                a.propeller.lowest_governed_rev_s,
                a.propeller.highest_governed_rev_s,
            );
            let levers = Levers {
                throttle: Throttle::Rpm,
                rev_s: set,
                mixture: 0,
            };
            let p = a.perform(air, tas, levers);
            let at = |throttle| a.perform(air, tas, Levers { throttle, ..levers });
            let f = forces(&a, air, tas, &p);
            let taken = TAU * p.rev_s * f.torque_n_m;
            assert!((taken - p.shaft_power_w).abs() < BALANCE * a.engine.spec.rated_power_w);
            if at(Throttle::Full).rev_s < set {
                assert_eq!(p, at(Throttle::Full));
                full += 1;
            } else if at(Throttle::Shut).rev_s > set {
                assert_eq!(p, at(Throttle::Shut));
                shut += 1;
            } else {
                assert_eq!((p.rev_s, p.governed), (set, Governed::Yes));
                held += 1;
            }
        }
    }
    assert!(held > 8 && full > 1 && shut > 0, "{held} {full} {shut}");
    // A dive at full throttle.
    let near = std::cell::Cell::new(fellrun::aircraft::propeller::Nearby::NONE);
    let levers = Levers {
        throttle: Throttle::Full,
        rev_s: 45.0,
        mixture: 0,
    };
    let most = a.propeller.highest_governed_rev_s;
    assert!(a.perform(air, 75.0, levers).rev_s > most);
    assert_eq!(
        a.perform_under_redline(air, 75.0, levers, &near).rev_s,
        most
    );
    let slow = a.perform(air, 30.0, levers);
    assert!(slow.rev_s < most);
    // Looked for from what balanced in the dive: as near as the search from above ends.
    let same = a.perform_under_redline(air, 30.0, levers, &near);
    assert!((same.rev_s - slow.rev_s).abs() < SAME_SPEED * most);
    assert!((same.thrust_n - slow.thrust_n).abs() < 5.0 * SAME_SPEED * slow.thrust_n);
    // A governor needs no such help: on the high stop the speed is what balances.
    let a = demo();
    let fast = Levers {
        throttle: Throttle::Full,
        rev_s: a.propeller.highest_governed_rev_s,
        mixture: 0,
    };
    assert_eq!(
        a.perform_under_redline(air, 140.0, fast, &near).governed,
        a.perform(air, 140.0, fast).governed
    );
}

/// `D = q S (CD0 + gear + cowl flaps + flaps + k CL^2)` with `CL = W / (q S)`.
#[test]
fn closed_form_drag_of_every_configuration() {
    let mut a = demo();
    (a.airframe.cd_gear, a.airframe.cd_cooling) = (0.013, 0.004);
    let flap = |cd: f64| Flap {
        angle_rad: 0.2,
        cd,
        vfe_m_s: 50.0,
    };
    a.airframe.flaps = vec![flap(0.02), flap(0.05)];
    let air = air(1_500.0, 0.0);
    let f = &a.airframe;
    for gear_down in [false, true] {
        for cowl_flaps_open in [false, true] {
            for (flap, more) in [(0, 0.0), (1, 0.02), (2, 0.05)] {
                let configuration = Configuration {
                    gear_down,
                    cowl_flaps_open,
                    flap,
                };
                let (tas, mass) = (48.0, 1_100.0);
                let qs = 0.5 * air.density_kg_m3 * tas * tas * f.wing_area_m2;
                let cl = mass * 9.806_65 / qs;
                let mut cd = f.cd0 + f.k * cl * cl + more;
                cd += if gear_down { 0.013 } else { 0.0 };
                cd += if cowl_flaps_open { 0.004 } else { 0.0 };
                same(
                    a.drag_n(air, tas, mass, configuration),
                    qs * cd,
                    ROUNDING,
                    "drag",
                );
            }
        }
    }
}

/// Speeds given at the greatest mass go with the square root of the mass, for lift is weight at one angle of attack; best-rate speed lies on a
/// straight line between its rows, and is held beyond them.
#[test]
fn closed_form_speeds_by_mass_and_height() {
    same(
        Speeds::at_mass(60.0, 810.0, 1_000.0),
        54.0,
        ROUNDING,
        "0.9 of it",
    );
    let mut a = demo();
    a.speeds.vy_m_s = vec![(0.0, 46.0), (1_000.0, 45.0), (4_000.0, 39.0)];
    a.masses.max_take_off_kg = 1_000.0;
    a.speeds.least_cooling_m_s = 0.0;
    for (height, vy) in [
        (-200.0, 46.0),
        (0.0, 46.0),
        (250.0, 45.75),
        (1_000.0, 45.0),
        (2_500.0, 42.0),
        (9_000.0, 39.0),
    ] {
        same(
            a.speeds.vy_at_m_s(height, 1_000.0, 1_000.0),
            vy,
            ROUNDING,
            "vy",
        );
        same(
            a.least_climb_ias_m_s(height, 810.0),
            0.9 * vy,
            ROUNDING,
            "least climb",
        );
    }
    a.speeds.least_cooling_m_s = 44.0;
    assert_eq!(a.least_climb_ias_m_s(2_500.0, 1_000.0), 44.0);
}

/// Without power the propeller takes from the air what friction and pumping of the dead engine need, at the throttle and on the blade angle that hub
/// and governor leave; a stopped one has the drag of its blades.
#[test]
fn closed_form_a_dead_engine_is_turned_by_the_air() {
    let air = air(1_200.0, 0.0);
    let tas = 55.0;
    let mut a = demo();
    let dead = |throttle_open: bool, oil_pressure: bool| EngineState::Dead {
        throttle_open,
        oil_pressure,
    };
    let balanced = |a: &Aircraft, p: &Performance, throttle: Throttle| {
        let out = a.engine.dead(throttle, p.rev_s, a.intake(air, tas));
        let f = forces(a, air, tas, p);
        let left = TAU * p.rev_s * f.torque_n_m - out.power_w;
        assert!(
            left.abs() < BALANCE * a.engine.spec.rated_power_w,
            "{left} {p:?}"
        );
        assert!(p.thrust_n < 0.0 && p.fuel_kg_s == 0.0 && p.shaft_power_w < 0.0);
        same(p.map_pa, out.map_pa, 1e-9, "map");
    };
    let back = GlidePropeller::LeverBack;
    // With oil pressure, throttle shut or open; shut it pumps more, so it turns slower or in finer pitch.
    for (open, throttle) in [(true, Throttle::Full), (false, Throttle::Shut)] {
        for lever in [back, GlidePropeller::LeverForward] {
            let p = a.glide_drag(air, tas, lever, dead(open, true));
            balanced(&a, &p, throttle);
        }
    }
    let open = a.glide_drag(air, tas, back, dead(true, true));
    let shut = a.glide_drag(air, tas, back, dead(false, true));
    assert!(open.map_pa > 2.0 * shut.map_pa && open.thrust_n > shut.thrust_n);
    // Without it: on the fine stop wherever the lever is; a coarse-going hub on the high stop.
    for (hub, stop, governed) in [
        (
            HubWithoutOil::Fine,
            a.propeller.stops.low_rad,
            Governed::OnLowStop,
        ),
        (
            HubWithoutOil::Coarse,
            a.propeller.stops.high_rad,
            Governed::OnHighStop,
        ),
    ] {
        a.propeller.hub = hub;
        for lever in [back, GlidePropeller::LeverForward] {
            let p = a.glide_drag(air, tas, lever, dead(false, false));
            assert_eq!(p.blade_angle_rad, stop);
            if p.rev_s > 0.0 {
                assert_eq!(p.governed, governed);
                balanced(&a, &p, Throttle::Shut);
            }
        }
    }
    // On a blade angle of one's choice: on a stop it says which.
    for (angle, governed) in [
        (a.propeller.stops.low_rad, Governed::OnLowStop),
        (a.propeller.stops.high_rad, Governed::OnHighStop),
    ] {
        let p = a.windmill(air, tas, Throttle::Full, angle);
        if p.rev_s > 0.0 {
            assert_eq!(p.governed, governed);
            balanced(&a, &p, Throttle::Full);
        }
    }
    // Idling it burns its idle fuel, full rich.
    let p = a.glide_drag(air, tas, back, EngineState::Idling);
    let run = a.engine.run(Throttle::Shut, p.rev_s, 0, a.intake(air, tas));
    same(p.fuel_kg_s, run.fuel_kg_s, 1e-9, "idle fuel");
    assert!((p.shaft_power_w - run.power_w).abs() < BALANCE * a.engine.spec.rated_power_w);
    // Stopped: the drag of the blades standing on the fine stop.
    let p = a.glide_drag(air, tas, GlidePropeller::Stopped, dead(false, true));
    let f = a.propeller.table.forces(
        air.density_kg_m3,
        tas,
        0.0,
        a.propeller.stops.low_rad,
        air.sound_m_s,
    );
    same(
        p.thrust_n,
        f.thrust_n * a.propeller.installed_factor * f64::from(a.engines),
        ROUNDING,
        "stopped",
    );
    assert_eq!((p.rev_s, p.fuel_kg_s), (0.0, 0.0));
}

/// The table of position error: a straight line between its rows, the difference of the end row beyond them; and the way back is its inverse.
#[test]
fn closed_form_position_error() {
    let mut a = demo();
    a.speeds.correction = vec![(30.0, 32.0), (50.0, 51.0), (70.0, 68.0)];
    for (ias, cas) in [
        (20.0, 22.0),
        (30.0, 32.0),
        (40.0, 41.5),
        (60.0, 59.5),
        (70.0, 68.0),
        (90.0, 88.0),
    ] {
        same(a.cas_from_ias(ias), cas, ROUNDING, "CAS");
        same(a.ias_from_cas(cas), ias, ROUNDING, "IAS");
    }
}
