//! What pilots know of such aeroplanes: common practice, no source. The cells come from issue 3.

use super::rig::*;
use fellrun::aircraft::{Configuration, EngineState, GlidePropeller, Governed, Throttle};
use fellrun::quantity::{M_S_PER_KT, PA_PER_INHG};

#[test]
fn regress_stopped_engine_reads_ambient() {
    // Common practice, no source. Half a hundredth of an inch: less than a gauge shows.
    for (name, a) in all() {
        for altitude in [0.0, 5_000.0] {
            let air = air(altitude, 0.0);
            for throttle in [Throttle::Full, Throttle::Shut] {
                let intake = a.intake(air, 0.0);
                for reading in [
                    a.engine.map_pa(throttle, 0.0, intake),
                    a.engine.dead(throttle, 0.0, intake).map_pa,
                ] {
                    assert!(
                        (reading - air.pressure_pa).abs() < 0.005 * PA_PER_INHG,
                        "{name}"
                    );
                }
            }
        }
    }
}

#[test]
fn regress_full_throttle_reads_a_little_less_than_ambient() {
    // Common practice, no source. Ambient pressure at 3,000 ft is 26.8 in.
    for (name, a) in [
        ("demo", &*DEMO),
        ("six seats", &*SIX),
        ("trainer", &*TRAINER),
        ("twin", &*TWIN),
    ] {
        let reading = |altitude: f64| {
            let air = air(altitude, 0.0);
            let climb_kt = a.speeds.vy_m_s[0].1 / M_S_PER_KT;
            let rpm = a.propeller.highest_governed_rev_s / RPM;
            let set = a.perform(
                air,
                tas_m_s(a, climb_kt, air),
                levers(Throttle::Full, rpm, 0),
            );
            set.map_pa / PA_PER_INHG
        };
        let at = reading(3_000.0);
        assert!(at > 26.8 - 1.0 && at < 26.8 + 0.3, "{name} {at}");
        for altitude in [1_000.0, 3_000.0, 5_000.0, 7_000.0] {
            let fall = reading(altitude) - reading(altitude + 1_000.0);
            assert!((0.8..=1.2).contains(&fall), "{name} {altitude} {fall}");
        }
        println!(
            "{name}: {at:.2} in at 3,000 ft, {:.2} less at 4,000",
            at - reading(4_000.0)
        );
    }
}

#[test]
fn regress_ordinary_cruise() {
    // Common practice, no source: 22 to 23 in with 2,300 rpm at 3,000 to 3,500 ft is an ordinary cruise.
    let mut seen = (f64::INFINITY, 0.0_f64);
    for altitude in [3_000.0, 3_500.0] {
        for inhg in [22.0, 22.5, 23.0] {
            let (_, set) = level(&DEMO, air(altitude, 0.0), levers(map(inhg), 2_300.0, 1));
            assert!(
                (0.55..=0.68).contains(&set.power_fraction),
                "{}",
                set.power_fraction
            );
            seen = (
                seen.0.min(set.power_fraction),
                seen.1.max(set.power_fraction),
            );
        }
    }
    println!(
        "22 to 23 in, 2,300 rpm: {:.1} to {:.1} %",
        100.0 * seen.0,
        100.0 * seen.1
    );
}

#[test]
fn regress_cruise_climb_near_95_kt() {
    // Common practice, no source: a cruise climb is flown near 95 KIAS with 2,500 to 2,600 rpm at full throttle. It must be worth flying: a
    // climb that passengers still call one (500 fpm up to 5,000 ft, greatest weight), giving away less than a quarter of the best rate.
    let a = &*DEMO;
    for altitude in [2_000.0, 3_500.0, 5_000.0] {
        let air = air(altitude, 0.0);
        let rate = |ias: f64, rpm: f64| {
            let tas = tas_m_s(a, ias, air);
            let set = a.perform(air, tas, levers(Throttle::Full, rpm, 0));
            assert_eq!(set.governed, Governed::Yes);
            rate_fpm(a, air, tas, set.thrust_n, Configuration::default())
        };
        for rpm in [2_500.0, 2_600.0] {
            let best = (70..=110)
                .map(|ias| rate(f64::from(ias), rpm))
                .fold(0.0, f64::max);
            let cruise_climb = rate(95.0, rpm);
            println!("{altitude} ft, {rpm} rpm: {cruise_climb:.0} fpm at 95 kt, best {best:.0}");
            assert!(
                cruise_climb > 500.0 && cruise_climb > 0.75 * best,
                "{cruise_climb} {best}"
            );
        }
    }
}

#[test]
fn regress_gear_down_steepens_the_glide() {
    // Common practice, no source. "Markedly": a quarter more sink.
    let gear = Configuration {
        gear_down: true,
        ..Configuration::default()
    };
    for (name, a) in [
        ("demo", &*DEMO),
        ("six seats", &*SIX),
        ("turbo", &*TURBO),
        ("twin", &*TWIN),
    ] {
        let air = air(5_000.0, 0.0);
        let tas = tas_m_s(a, 100.0, air);
        let idle = a.glide_drag(air, tas, GlidePropeller::LeverForward, EngineState::Idling);
        let sink = |c| -rate_fpm(a, air, tas, idle.thrust_n, c);
        let (up, down) = (sink(Configuration::default()), sink(gear));
        println!("{name} idling at 100 kt: {up:.0} fpm, gear down {down:.0}");
        assert!(down > 1.25 * up, "{name} {up} {down}");
    }
}

#[test]
fn regress_lever_back_at_part_throttle_brings_manifold_pressure_up() {
    // Common practice, no source. "Somewhat": more than a quarter of an inch, less than three, for 400 rpm.
    for a in [&*DEMO, &*SIX, &*TWIN] {
        let air = air(5_000.0, 0.0);
        let (tas, set) = level(a, air, levers(map(21.0), 2_500.0, 1));
        let left = a
            .engine
            .conductance(set.map_pa, set.rev_s, a.intake(air, tas));
        let slow = a.perform(air, tas, levers(Throttle::Fixed(left), 2_100.0, 1));
        let rise = (slow.map_pa - set.map_pa) / PA_PER_INHG;
        println!("2,500 to 2,100 rpm at part throttle: {rise:+.2} in");
        assert!((0.25..=3.0).contains(&rise), "{rise}");
    }
}

#[test]
fn regress_descent_with_power_left_on_runs_fast() {
    // Common practice, no source: about 500 fpm down, RPM pulled to 2,100 or less, throttle left alone: 10 kt or more above the
    // indicated speed of the cruise.
    let a = &*DEMO;
    let cruise_air = air(6_500.0, 0.0);
    let (tas, set) = level(a, cruise_air, levers(map(22.5), 2_400.0, 1));
    let cruise_kt = ias_kt(a, tas, cruise_air);
    let left = a
        .engine
        .conductance(set.map_pa, set.rev_s, a.intake(cruise_air, tas));
    for altitude in [6_000.0, 5_000.0, 4_000.0] {
        let air = air(altitude, 0.0);
        for rpm in [2_100.0, 2_000.0] {
            // The speed at which the aeroplane sinks at 500 fpm.
            let at = |ias: f64| {
                let tas = tas_m_s(a, ias, air);
                let set = a.perform(air, tas, levers(Throttle::Fixed(left), rpm, 1));
                (
                    rate_fpm(a, air, tas, set.thrust_n, Configuration::default()),
                    set,
                )
            };
            let (mut low, mut high) = (100.0, 200.0);
            for _ in 0..40 {
                let middle = 0.5 * (low + high);
                if at(middle).0 > -500.0 {
                    low = middle
                } else {
                    high = middle
                }
            }
            let set = at(low).1;
            println!(
                "cruise {cruise_kt:.1} kt, {altitude} ft {rpm} rpm {:.1} in: {low:.1} kt",
                set.map_pa / PA_PER_INHG
            );
            assert_eq!(set.governed, Governed::Yes);
            assert!(low >= cruise_kt + 10.0, "{low} {cruise_kt}");
        }
    }
}

#[test]
fn crosscheck_lever_back_in_a_glide() {
    // REFERENCES A.3c, one flight of one constant-speed light single: throttle closed, about 7,000 ft, 100 KIAS: 1,200 fpm fine
    // pitch, 1,000 fpm coarse, 17 % less. Bands of issue 3: 8 to 25 % with a lowest governed speed of 1,200 rpm, and under
    // 3 % with 1,900, where the windmilling propeller is hardly faster than that. Friction is not tuned to this.
    // The fine stop of the invented demo was: at 12.5 degrees the idling propeller windmilled at 2,223 rpm, and the lever cut 22.5 %
    // with 1,200 rpm and 8.6 % with 1,900; 15 degrees still gives full speed standing still. So the second band says
    // what a profile of this kind does, and only the first is a check of the model.
    let air = air(7_000.0, 0.0);
    for (state, engine) in [("idling", EngineState::Idling), ("dead", DEAD)] {
        for (lowest, most) in [(1_200.0, 0.25), (1_900.0, 0.03)] {
            let mut a = DEMO.clone();
            a.propeller.lowest_governed_rev_s = lowest * RPM;
            let tas = tas_m_s(&a, 100.0, air);
            let sink = |lever| {
                let set = a.glide_drag(air, tas, lever, engine);
                (
                    -rate_fpm(&a, air, tas, set.thrust_n, Configuration::default()),
                    set,
                )
            };
            let (fine, forward) = sink(GlidePropeller::LeverForward);
            let (coarse, back) = sink(GlidePropeller::LeverBack);
            let cut = 1.0 - coarse / fine;
            println!(
                "{state}, lowest {lowest}: {fine:.0} fpm at {:.0} rpm, {coarse:.0} at {:.0}: {:.1} %",
                forward.rev_s / RPM,
                back.rev_s / RPM,
                100.0 * cut
            );
            assert!(cut >= 0.0 && cut < most, "{state} {lowest} {cut}");
            if lowest < 1_500.0 {
                assert!(cut > 0.08, "{state} {cut}");
                // The governor holds its lowest speed.
                assert_eq!((back.governed, back.rev_s), (Governed::Yes, lowest * RPM));
            }
            if forward.rev_s < lowest * RPM {
                // Below the lowest governed speed pulling does nothing.
                assert_eq!(forward, back);
            }
        }
    }
}

#[test]
fn regress_hub_without_oil_pressure_ignores_the_lever() {
    let no_oil = EngineState::Dead {
        throttle_open: true,
        oil_pressure: false,
    };
    let air = air(5_000.0, 0.0);
    for (name, a) in all() {
        let at = |lever| a.glide_drag(air, 55.0, lever, no_oil);
        let forward = at(GlidePropeller::LeverForward);
        assert_eq!(forward, at(GlidePropeller::LeverBack), "{name}");
        let finest = a.propeller.stops.low_rad;
        assert_eq!(
            forward.blade_angle_rad == finest,
            !a.propeller.feathers(),
            "{name}"
        );
        assert_eq!(forward.fuel_kg_s, 0.0);
        // An open throttle pumps less, so the same propeller drags less.
        if !a.propeller.feathers() {
            let shut = EngineState::Dead {
                throttle_open: false,
                oil_pressure: false,
            };
            let with_shut = a.glide_drag(air, 55.0, GlidePropeller::LeverForward, shut);
            assert!(with_shut.thrust_n < forward.thrust_n, "{name}");
        }
    }
}
