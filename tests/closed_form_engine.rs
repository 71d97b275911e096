//! The engine asked from outside, with the engines of the profiles.

use crate::common::profile;
use fellrun::air::isa;
use fellrun::aircraft::engine::{EngineError, EngineSpec, HEATING_VALUE_J_KG, Intake};
use fellrun::aircraft::{Engine, Throttle};

/// Sums and products of a dozen terms, relative.
const ROUNDING: f64 = 1e-11;
/// A pressure that is the root of an equation, relative: ten times what the search for the deck pressure leaves.
const ROOT: f64 = 1e-10;
/// Sea level of the standard atmosphere, Pa and K.
const P0: f64 = 101_325.0;
const T0: f64 = 288.15;
/// Gas constant of dry air, J/(kg K), of the standard atmosphere.
const R: f64 = 287.052_87;

fn spec(name: &str) -> EngineSpec {
    profile(name).engine.spec
}

/// Both kinds: drawing from the air, and turbocharged with every figure off its default.
fn both() -> [Engine; 2] {
    let mut turbo = spec("turbo-retractable-300hp");
    let charger = turbo.turbo.as_mut().expect("it has one");
    (
        charger.exhaust_rise,
        charger.compressor_efficiency,
        charger.intercooler,
    ) = (0.7, 0.6, 0.4);
    let mut plain = spec("retractable-200hp");
    plain.charge_heating_k = 15.0;
    // A mixture richer than the richest, so that best power is the third row, and a best power that is not the unit of the others.
    let mut richest = plain.mixtures[0].clone();
    (richest.fuel_air, richest.relative_power) = (1.1 * richest.fuel_air, 0.9);
    plain.mixtures.insert(0, richest);
    plain
        .mixtures
        .iter_mut()
        .for_each(|m| m.relative_power *= 0.97);
    [plain, turbo].map(|spec| Engine::new(spec).expect("the figures agree"))
}

/// Close, relative to the greater of two.
fn same(got: f64, want: f64, relative: f64, what: &str) {
    let bound = relative * got.abs().max(want.abs());
    assert!(
        (got - want).abs() <= bound,
        "{what}: got {got}, want {want}"
    );
}

/// `a` and `b` of the residual-gas term `(k-1)/k + (r - p_exh/p_man)/(k (r-1))`, k = 1.4 (Heywood, section 6.2.2, from memory).
fn breathing(r: f64) -> (f64, f64) {
    (0.4 / 1.4 + r / (1.4 * (r - 1.0)), 1.0 / (1.4 * (r - 1.0)))
}

/// Volumes swept in a second, a four-stroke cylinder every second turn, m³/s.
fn swept(spec: &EngineSpec, rev_s: f64) -> f64 {
    0.5 * spec.displacement_m3 * rev_s
}

/// Air flow [kg/s]: the gas equation for the swept volume, at the mean temperature `sqrt(T0 T)` of the charge.
fn air_kg_s(
    spec: &EngineSpec,
    map_pa: f64,
    exhaust_pa: f64,
    temperature_k: f64,
    rev_s: f64,
) -> f64 {
    let (a, b) = breathing(spec.compression_ratio);
    let mean_k = (T0 * (temperature_k + spec.charge_heating_k)).sqrt();
    spec.volumetric_efficiency * (a * map_pa - b * exhaust_pa) * swept(spec, rev_s) / (R * mean_k)
}

/// Friction and pumping by their mean effective pressures, W.
fn losses_w(spec: &EngineSpec, map_pa: f64, exhaust_pa: f64, rev_s: f64) -> f64 {
    let n = 0.06 * rev_s;
    let [c0, c1, c2] = spec.friction_pa;
    (c0 + c1 * n + c2 * n * n + exhaust_pa - map_pa) * swept(spec, rev_s)
}

/// Intakes from the sea to 20,000 ft, with ram and without, warm and cold.
fn intakes() -> Vec<Intake> {
    let heights = [0.0, 1_500.0, 3_000.0, 6_100.0];
    let all = heights.into_iter().flat_map(|h| {
        [(0.0, -15.0), (1_800.0, 12.0)].map(|(ram_pa, warmer_k)| Intake {
            upstream_pa: isa::pressure_pa(h) + ram_pa,
            ambient_pa: isa::pressure_pa(h),
            temperature_k: isa::temperature_k(h) + warmer_k,
        })
    });
    all.collect()
}

/// Behind every place of the throttle the flow into the cylinders is that through the orifice: `G sqrt(p (p_up - p))`, choked from
/// `p = p_up / 2` on at `G p_up / 2` (the short form for pneumatic valves, from memory). The stops are where they are by definition: full
/// throttle leaves the induction loss at the rated condition, shut throttle the idle flow.
#[test]
fn closed_form_the_throttle_is_an_orifice() {
    for engine in both() {
        let spec = &engine.spec;
        let (a, b) = breathing(spec.compression_ratio);
        let sea = Intake {
            upstream_pa: P0,
            ambient_pa: P0,
            temperature_k: T0,
        };
        let shut = engine.conductance(0.0, 40.0, sea);
        let full = engine.conductance(f64::MAX, 40.0, sea);
        let idle_air = 0.5 * shut * P0 * spec.volumetric_efficiency * spec.displacement_m3
            / (2.0 * R * (T0 * (T0 + spec.charge_heating_k)).sqrt());
        same(
            idle_air * spec.mixtures[0].fuel_air,
            spec.idle_fuel_kg_s,
            ROUNDING,
            "idle",
        );
        let rated = spec
            .turbo
            .map_or(P0 - spec.induction_loss_pa, |t| t.rated_map_pa);
        let deck = rated + spec.induction_loss_pa;
        let exhaust = spec
            .turbo
            .map_or(P0, |t| P0 + t.exhaust_rise * (deck - P0).max(0.0));
        let orifice = full * (rated * (deck - rated)).sqrt();
        same(
            spec.rated_rev_s * (a * rated - b * exhaust),
            orifice,
            ROUNDING,
            "full throttle",
        );
        let (mut free, mut choked, mut capped) = (0, 0, 0);
        for intake in intakes() {
            for rev_s in [6.0, 12.0, 25.0, 38.0, 45.0] {
                for step in 0..=24 {
                    let g = shut + (full - shut) * (f64::from(step) / 24.0).powi(2);
                    let map = engine.map_pa(Throttle::Fixed(g), rev_s, intake);
                    // A throttle opened past the stop is one at the stop.
                    let past = engine.map_pa(Throttle::Fixed(g + full), rev_s, intake);
                    assert_eq!(past, engine.map_pa(Throttle::Full, rev_s, intake));
                    assert_eq!(
                        engine.map_pa(Throttle::Fixed(0.0), rev_s, intake),
                        engine.map_pa(Throttle::Shut, rev_s, intake)
                    );
                    if spec.turbo.is_some_and(|t| map >= t.rated_map_pa) {
                        capped += 1;
                        continue;
                    }
                    let charge = engine.charge(map, rev_s, intake);
                    let up = charge.upstream_pa;
                    let into = rev_s * (a * map - b * charge.exhaust_pa);
                    let through = if map > 0.5 * up {
                        free += 1;
                        g * (map * (up - map)).max(0.0).sqrt()
                    } else {
                        choked += 1;
                        0.5 * g * up
                    };
                    // Nearly open at low speed the pressure drop is the small difference of two pressures.
                    let drop = ROOT * g * up;
                    assert!(
                        (into - through).abs() < drop.max(1e-7 * through),
                        "{g} {rev_s} {intake:?}: {into} {through}"
                    );
                    if map < 0.999 * up {
                        same(
                            engine.conductance(map, rev_s, intake),
                            g,
                            1e-6,
                            "the way back",
                        );
                    }
                }
            }
        }
        assert!(free > 200 && choked > 100, "{free} {choked}");
        assert_eq!(capped > 50, spec.turbo.is_some(), "{capped}");
    }
}

/// Power, fuel flow and losses by the equations at the head of the module, each worked again here; the rated power at the rated condition.
#[test]
fn closed_form_power_and_fuel_flow() {
    for engine in both() {
        let spec = &engine.spec;
        let best = engine.best_power_mixture();
        assert_eq!(best, if spec.turbo.is_some() { 1 } else { 2 });
        let relative = spec.mixtures[best].relative_power;
        // J of indicated work for each kg of air, from the rated condition.
        let rated = spec
            .turbo
            .map_or(P0 - spec.induction_loss_pa, |t| t.rated_map_pa);
        let sea = Intake {
            upstream_pa: P0,
            ambient_pa: P0,
            temperature_k: T0,
        };
        let charge = engine.charge(rated, spec.rated_rev_s, sea);
        let n = spec.rated_rev_s;
        let air = air_kg_s(spec, rated, charge.exhaust_pa, charge.temperature_k, n);
        let work =
            (spec.rated_power_w + losses_w(spec, rated, charge.exhaust_pa, n)) / (air * relative);
        let full = engine.run(Throttle::Full, n, best, sea);
        same(full.power_w, spec.rated_power_w, ROUNDING, "rated power");
        let heat = full.fuel_kg_s * HEATING_VALUE_J_KG;
        same(
            engine.indicated_efficiency(),
            work * relative * air / heat,
            ROUNDING,
            "efficiency",
        );
        let mut idling = 0;
        for intake in intakes() {
            for rev_s in [8.0, 25.0, 40.0] {
                for map in [15e3, 40e3, 70e3, 95e3] {
                    let charge = engine.charge(map, rev_s, intake);
                    let air = air_kg_s(spec, map, charge.exhaust_pa, charge.temperature_k, rev_s)
                        .max(0.0);
                    let losses = losses_w(spec, map, charge.exhaust_pa, rev_s);
                    for (row, mix) in spec.mixtures.iter().enumerate() {
                        let out = engine.at_map(map, rev_s, row, intake);
                        same(
                            out.indicated_w,
                            air * work * mix.relative_power,
                            ROUNDING,
                            "indicated",
                        );
                        let brake = out.indicated_w - losses;
                        assert!((out.power_w - brake).abs() < ROUNDING * spec.rated_power_w);
                        let fuel = air * mix.fuel_air;
                        idling += usize::from(fuel < spec.idle_fuel_kg_s);
                        same(
                            out.fuel_kg_s,
                            fuel.max(spec.idle_fuel_kg_s),
                            ROUNDING,
                            "fuel",
                        );
                        // Linear in manifold pressure, so its inverse is exact; with a turbocharger it is a search to 1e-3 Pa.
                        let back = engine.map_for_power_pa(out.power_w, rev_s, row, intake);
                        if air > 0.0 && (spec.turbo.is_none() || rev_s > 20.0) {
                            assert!((back - map).abs() < 2e-3, "{map} {back} {rev_s} {intake:?}");
                        }
                    }
                    // Dead: nothing burns, and the exhaust is open to the air.
                    for throttle in [
                        Throttle::Full,
                        Throttle::Shut,
                        Throttle::Map(map),
                        Throttle::Fixed(20.0),
                    ] {
                        let dead = engine.dead(throttle, rev_s, intake);
                        let losses = losses_w(spec, dead.map_pa, intake.ambient_pa, rev_s);
                        assert!((dead.power_w + losses).abs() < ROUNDING * spec.rated_power_w);
                        assert_eq!((dead.fuel_kg_s, dead.indicated_w), (0.0, 0.0));
                        if spec.turbo.is_none() {
                            let alive = engine.map_pa(throttle, rev_s, intake);
                            assert!((dead.map_pa - alive).abs() < 1e-3, "{throttle:?}");
                        }
                    }
                }
            }
        }
        assert!(idling > 10, "{idling}");
        // A row beyond the table is its last, the leanest; the first is full rich.
        let last = spec.mixtures.len() - 1;
        let beyond = engine.at_map(70e3, 38.0, last + 5, sea);
        assert_eq!(beyond, engine.at_map(70e3, 38.0, last, sea));
        assert_ne!(beyond, engine.at_map(70e3, 38.0, last - 1, sea));
        assert_eq!(engine.full_rich_mixture(), 0);
    }
}

/// The turbocharger by its own laws: the deck pressure is `p_up + K m` or what the controller holds; `K` is such that full throttle at rated
/// speed and the critical altitude needs all of it; exhaust pressure, compressor and intercooler by their definitions.
#[test]
fn closed_form_the_turbocharger_keeps_its_laws() {
    let [_, engine] = both();
    let spec = &engine.spec;
    let turbo = spec.turbo.expect("it has one");
    let held = turbo.rated_map_pa + spec.induction_loss_pa;
    let air_of = |map: f64, rev_s: f64, intake: Intake| {
        let c = engine.charge(map, rev_s, intake);
        (air_kg_s(spec, map, c.exhaust_pa, c.temperature_k, rev_s), c)
    };
    let high = turbo.critical_altitude_m;
    let critical = Intake {
        upstream_pa: isa::pressure_pa(high),
        ambient_pa: isa::pressure_pa(high),
        temperature_k: isa::temperature_k(high),
    };
    let map = engine.map_pa(Throttle::Full, spec.rated_rev_s, critical);
    let (air, charge) = air_of(map, spec.rated_rev_s, critical);
    same(charge.upstream_pa, held, ROOT, "at the critical altitude");
    let k = (held - critical.ambient_pa) / air;
    let (mut at_limit, mut by_turbine, mut idle) = (0, 0, 0);
    for intake in intakes() {
        for rev_s in [10.0, 25.0, 38.0, 45.0] {
            for map in [20e3, 45e3, 70e3, 95e3, 120e3] {
                let (air, c) = air_of(map, rev_s, intake);
                let gives = intake.upstream_pa + k * air.max(0.0);
                if intake.upstream_pa >= held {
                    assert_eq!(c.upstream_pa, intake.upstream_pa);
                    idle += 1;
                } else if c.upstream_pa == held {
                    assert!(gives >= held * (1.0 - ROOT));
                    at_limit += 1;
                } else {
                    same(c.upstream_pa, gives, ROOT, "deck");
                    by_turbine += 1;
                }
                let rise = c.upstream_pa - intake.upstream_pa;
                same(
                    c.exhaust_pa,
                    intake.ambient_pa + turbo.exhaust_rise * rise,
                    ROUNDING,
                    "exhaust",
                );
                let ideal = intake.temperature_k
                    * ((c.upstream_pa / intake.upstream_pa).powf(2.0 / 7.0) - 1.0);
                let after = ideal / turbo.compressor_efficiency;
                let kept = intake.temperature_k + after * (1.0 - turbo.intercooler);
                same(c.temperature_k, kept, ROUNDING, "charge temperature");
            }
        }
    }
    assert!(
        at_limit > 20 && by_turbine > 20,
        "{at_limit} {by_turbine} {idle}"
    );
}

/// Efficiency of the constant-volume air-standard cycle at a compression ratio of 8 with k = 1.4: 56.5 % (any textbook of
/// thermodynamics, from memory).
#[test]
fn published_ideal_efficiency_at_a_ratio_of_8() {
    let mut spec = spec("retractable-200hp");
    spec.compression_ratio = 8.0;
    let engine = Engine::new(spec).expect("the figures agree");
    assert!((engine.ideal_efficiency() - 0.565).abs() < 5e-4);
}

/// Figures that contradict each other are refused where they begin to: half the pressure lost, the idle flow through an open throttle, a
/// critical altitude below which there is nothing to boost.
#[test]
fn closed_form_contradictory_engines_are_refused() {
    let with = |change: &dyn Fn(&mut EngineSpec)| {
        let mut spec = spec("retractable-200hp");
        change(&mut spec);
        Engine::new(spec).map(|e| e.conductance(f64::MAX, 40.0, intakes()[0]))
    };
    assert!(with(&|s| s.induction_loss_pa = 0.49 * P0).is_ok());
    assert_eq!(
        with(&|s| s.induction_loss_pa = 0.51 * P0),
        Err(EngineError::LossTooHigh)
    );
    assert_eq!(
        with(&|s| s.induction_loss_pa = 0.5 * P0),
        Err(EngineError::LossTooHigh)
    );
    assert_eq!(with(&|s| s.mixtures.clear()), Err(EngineError::NoMixture));
    // The idle fuel that full throttle's flow just carries: G_full instead of G_shut in its definition.
    let base = spec("retractable-200hp");
    let full = with(&|_| ()).expect("the profile's own");
    let factor = base.volumetric_efficiency * base.displacement_m3
        / (2.0 * R * (T0 * (T0 + base.charge_heating_k)).sqrt());
    let most = 0.5 * full * P0 * factor * base.mixtures[0].fuel_air;
    assert!(with(&|s| s.idle_fuel_kg_s = 0.999 * most).is_ok());
    assert_eq!(
        with(&|s| s.idle_fuel_kg_s = 1.001 * most),
        Err(EngineError::IdleTooHigh)
    );
    let turbo = |altitude_m: f64| {
        let mut spec = spec("turbo-retractable-300hp");
        let charger = spec.turbo.as_mut().expect("it has one");
        (charger.critical_altitude_m, charger.rated_map_pa) = (altitude_m, 90e3);
        spec.induction_loss_pa = 3e3;
        Engine::new(spec).map(|_| ())
    };
    // 93 kPa is the pressure at 714 m.
    assert_eq!(turbo(700.0), Err(EngineError::NothingToBoost));
    assert_eq!(turbo(730.0), Ok(()));
}

/// A manifold pressure that is set stays between what the stops of the throttle give, and the engine runs at it.
#[test]
fn closed_form_manifold_pressure_is_kept_between_the_stops() {
    // The orifice law asked either way round, where neither side is at a stop.
    const SAME_PA: f64 = 1e-3;
    for name in ["retractable-200hp", "turbo-retractable-300hp"] {
        let engine = profile(name).engine;
        let (mut inside, mut outside) = (0, 0);
        for height in 0..12 {
            let ambient_pa = isa::pressure_pa(500.0 * f64::from(height));
            let intake = Intake {
                upstream_pa: ambient_pa + 1_500.0,
                ambient_pa,
                temperature_k: 280.0,
            };
            for rev_s in [20.0, 30.0, 40.0, 45.0] {
                let full = engine.map_pa(Throttle::Full, rev_s, intake);
                let shut = engine.map_pa(Throttle::Shut, rev_s, intake);
                for i in 0..120 {
                    let map_pa = 1_000.0 * f64::from(i);
                    let got = engine.map_pa(Throttle::Map(map_pa), rev_s, intake);
                    assert!(
                        (got - map_pa.clamp(shut, full)).abs() < SAME_PA,
                        "{name}: {map_pa} {got}"
                    );
                    let run = engine.run(Throttle::Map(map_pa), rev_s, 0, intake);
                    let at_map = engine.at_map(got, rev_s, 0, intake);
                    let apart_w = (run.power_w - at_map.power_w).abs();
                    assert!(
                        apart_w < 1e-9 * engine.spec.rated_power_w,
                        "{run:?} {at_map:?}"
                    );
                    assert!((run.fuel_kg_s / at_map.fuel_kg_s - 1.0).abs() < 1e-9);
                    if got == map_pa {
                        inside += 1;
                    } else {
                        outside += 1;
                    }
                }
            }
        }
        assert!(inside > 1_000 && outside > 500, "{inside} {outside}");
    }
}

/// Each throttle has bits of its own, the same throttle the same.
#[test]
fn closed_form_throttles_have_bits_of_their_own() {
    let all = [
        Throttle::Full,
        Throttle::Map(50e3),
        Throttle::Map(60e3),
        Throttle::Fixed(50e3),
        Throttle::Fixed(0.0),
        Throttle::Shut,
        Throttle::Rpm,
    ];
    for (i, a) in all.iter().enumerate() {
        for (j, b) in all.iter().enumerate() {
            assert_eq!(a.bits() == b.bits(), i == j, "{a:?} {b:?}");
        }
    }
}
