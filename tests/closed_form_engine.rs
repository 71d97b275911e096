//! The engine asked from outside, with the engines of the profiles.

use fellrun::air::isa;
use fellrun::aircraft::Throttle;
use fellrun::aircraft::engine::Intake;
use fellrun::files::profile::load_profile;
use std::path::Path;

/// A manifold pressure that is set stays between what the stops of the throttle give, and the engine runs at it.
#[test]
fn closed_form_manifold_pressure_is_kept_between_the_stops() {
    // The orifice law asked either way round, where neither side is at a stop.
    const SAME_PA: f64 = 1e-3;
    for name in ["retractable-200hp", "turbo-retractable-300hp"] {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("profiles/{name}.toml"));
        let engine = load_profile(&path).expect("the profile loads").engine;
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
                    assert_eq!(run, engine.at_map(got, rev_s, 0, intake));
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
