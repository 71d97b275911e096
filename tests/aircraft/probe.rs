use super::rig::*;
use fellrun::aircraft::*;
use fellrun::quantity::*;
#[test]
fn probe() {
    for (name, a) in all() {
        println!("== {name}");
        let best = a.engine.best_power_mixture();
        let hi = a.propeller.highest_governed_rev_s / RPM;
        for (alt, rpm) in [(0.0, hi), (4000.0, 2400.0), (6000.0, 2400.0), (8000.0, 2400.0), (8000.0, 2500.0),(8000.0,2600.0), (12000.0, 2400.0),(16000.0,2400.0),(18000.0,2500.0),(20000.0,2500.0),(24000.0,2500.0)] {
            let ar = air(alt, 0.0);
            if alt > 13000.0 && name != "turbo" { continue }
            let thr: Vec<Throttle> = if a.propeller.is_fixed() { vec![Throttle::Full, Throttle::Rpm] } else { vec![Throttle::Full, map(30.0), map(28.0), map(23.0), map(21.0)] };
            for t in thr {
                let (v, p) = level(a, ar, levers(t, rpm, best));
                println!("{alt:6.0} {t:?} rpm {:.0} map {:.2} {:?} {:.1}% {:.1} kt tas {:.1} ias {:.2} gph beta {:.1} eff {:.3}", p.rev_s/RPM, p.map_pa/PA_PER_INHG, p.governed, 100.0*p.power_fraction, v/M_S_PER_KT, ias_kt(a,v,ar), p.fuel_kg_s/GPH, p.blade_angle_rad.to_degrees(), p.thrust_n*v/p.shaft_power_w);
            }
        }
        for alt in [0.0, 5000.0, 10000.0, 15000.0, 18000.0, 22000.0] {
            let ar = air(alt, 0.0);
            let vy = a.speeds.vy_at_m_s(alt*M_PER_FT, a.masses.max_take_off_kg, a.masses.max_take_off_kg)/M_S_PER_KT;
            for ias in [vy-15.0, vy-8.0, vy, vy + 8.0, vy+15.0] {
            let tas = tas_m_s(a, ias, ar);
            let p = a.perform(ar, tas, levers(Throttle::Full, hi, a.high_power_mixture(alt*M_PER_FT)));
            println!("climb {alt} ias {ias:.0}: {:.0} fpm rpm {:.0} map {:.2} {:.1}% {:.1} gph {:?}", rate_fpm(a, ar, tas, p.thrust_n, Configuration::default()), p.rev_s/RPM, p.map_pa/PA_PER_INHG, 100.0*p.power_fraction, p.fuel_kg_s/GPH, p.governed);
            }
        }
        let p = a.perform(air(0.0,0.0), 0.0, levers(Throttle::Full, hi, 0));
        println!("static rpm {:.0} thrust {:.0} lbf map {:.2} {:?}", p.rev_s/RPM, p.thrust_n/4.448, p.map_pa/PA_PER_INHG, p.governed);
        let ar = air(7000.0, 0.0);
        for (n, e) in [("idle", EngineState::Idling), ("dead", DEAD), ("dead open", EngineState::Dead{throttle_open:true, oil_pressure:true}), ("no oil", EngineState::Dead{throttle_open:false, oil_pressure:false})] {
            for g in [GlidePropeller::LeverForward, GlidePropeller::LeverBack, GlidePropeller::Stopped, GlidePropeller::Feathered] {
                let (r, k) = best_glide(a, ar, g, e);
                let tas = tas_m_s(a, 100.0, ar);
                let p = a.glide_drag(ar, tas, g, e);
                println!("glide {n} {g:?}: {r:.2} at {k}; at 100: rpm {:.0} {:?} beta {:.1} sink {:.0} fuel {:.2} map {:.1}", p.rev_s/RPM, p.governed, p.blade_angle_rad.to_degrees(), rate_fpm(a, ar, tas, p.thrust_n, Configuration::default()), p.fuel_kg_s/GPH, p.map_pa/PA_PER_INHG);
            }
        }
    }
}
