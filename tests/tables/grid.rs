//! The grid against the aircraft, row by row.

use super::profile;
use fellrun::aircraft::{Aircraft, Governed, Refusal, Throttle, Warmth};
use fellrun::quantity::{M_PER_FT, M_S_PER_KT, PA_PER_INHG};
use fellrun::tables::grid::{GridAxes, Kind, grid};
use std::collections::BTreeMap;
use std::convert::Infallible;

/// Float noise at a limit, relative.
const SAME: f64 = 1e-9;

fn axes(aircraft: &Aircraft, rpm: &[f64]) -> GridAxes {
    let each = |values: &[f64], unit: f64| values.iter().map(|v| v * unit).collect();
    GridAxes {
        pressure_altitude_m: each(&[0.0, 8_000.0], M_PER_FT),
        tas_m_s: each(&[50.0, 100.0, 140.0, 190.0], M_S_PER_KT),
        rev_s: each(rpm, 1.0 / 60.0),
        map_pa: each(&[3.0, 18.0, 21.0, 24.0, 27.0, 40.0], PA_PER_INHG),
        mixtures: (0..aircraft.engine.spec.mixtures.len()).collect(),
        masses_kg: vec![aircraft.masses.max_take_off_kg, aircraft.masses.empty_kg],
        warmth: Warmth::AboveStandard(0.0),
    }
}

#[test]
fn crosscheck_every_line_has_its_full_throttle_and_limit_line() {
    let aircraft = profile("retractable-200hp");
    let axes = axes(&aircraft, &[2_000.0, 2_300.0, 2_700.0]);
    let mut lines: BTreeMap<_, Vec<(Kind, f64)>> = BTreeMap::new();
    let count = grid(&aircraft, &axes, |r| {
        let again = aircraft.perform(axes.warmth.air(r.pressure_altitude_m), r.tas_m_s, r.levers);
        assert_eq!(&again, r.performance);
        assert_eq!(r.drag_n.len(), 2);
        assert!(r.drag_n[0] > r.drag_n[1] && r.drag_n[1] > 0.0);
        if r.kind == Kind::LimitLine {
            let over = |w: &Refusal| matches!(w, Refusal::MapLimit { .. });
            assert!(!r.refusals.iter().any(over) || r.performance.governed != Governed::Yes);
        }
        let map = match r.levers.throttle {
            Throttle::Map(p) => p,
            _ => f64::INFINITY,
        };
        let key = [r.pressure_altitude_m, r.tas_m_s, r.rev_s].map(f64::to_bits);
        lines
            .entry((key, r.levers.mixture))
            .or_default()
            .push((r.kind, map));
        Ok::<_, Infallible>(())
    });
    let Ok(count) = count;
    assert_eq!(lines.len(), 2 * 4 * 3 * 4);
    assert_eq!(
        count.rows,
        lines.values().map(|l| l.len() as u64).sum::<u64>()
    );
    assert!(count.allowed > 0 && count.allowed < count.rows);
    assert!(count.rows as f64 <= axes.most_rows());
    let mut with_limit = 0;
    for line in lines.values() {
        assert!(line.windows(2).all(|w| w[0].1 < w[1].1), "{line:?}");
        assert_eq!(line.last().map(|p| p.0), Some(Kind::FullThrottle));
        assert_eq!(line.iter().filter(|p| p.0 == Kind::FullThrottle).count(), 1);
        with_limit += line.iter().filter(|p| p.0 == Kind::LimitLine).count();
    }
    // The line of the profile stands at 24 in (2,000 rpm), 27 (2,300) and 30 (2,700). Sea-level full throttle, ram counted,
    // is above the first two, and above the third at 190 kt: 29.9 less 0.7 lost plus 0.8 of 1.7 in of ram is 30.6 in. At 8,000 ft
    // ambient is 22.2 in.
    assert_eq!(with_limit, (4 * 2 + 1) * 4);
}

#[test]
fn closed_form_allowed_means_no_reason() {
    let aircraft = profile("retractable-200hp");
    let axes = axes(&aircraft, &[2_000.0, 2_700.0]);
    let (mut slow, mut fast, mut fine) = (0, 0, 0);
    let Ok(_) = grid(&aircraft, &axes, |r| {
        // 50 kt is below the stall speed of the empty aeroplane (60 sqrt(1680/2740) = 47 kt) nowhere at sea level; 190 kt is above 175.
        let knots = r.tas_m_s / M_S_PER_KT;
        let has = |code: &str| r.refusals.iter().any(|w| w.code() == code);
        if knots < 60.0 && r.pressure_altitude_m > 0.0 {
            assert!(has("too_slow"));
            slow += 1;
        }
        if knots > 180.0 && r.pressure_altitude_m == 0.0 {
            assert!(has("too_fast"));
            fast += 1;
        }
        let p = r.performance;
        assert_eq!(has("cruise_power"), p.power_fraction > 0.75 * (1.0 + SAME));
        let band = aircraft.engine.spec.mixtures[r.levers.mixture].max_power_fraction;
        assert_eq!(has("mixture_band"), p.power_fraction > band * (1.0 + SAME));
        fine += usize::from(r.refusals.is_empty());
        Ok::<_, Infallible>(())
    });
    assert!(slow > 0 && fast > 0 && fine > 0);
}

#[test]
fn closed_form_fixed_pitch_rows_turn_as_set_or_at_full_throttle() {
    let aircraft = profile("trainer-160hp");
    let axes = axes(&aircraft, &[1_800.0, 2_000.0, 2_200.0, 2_400.0]);
    let (mut held, mut full) = (0, 0);
    let Ok(_) = grid(&aircraft, &axes, |r| {
        assert_eq!(r.rev_s, r.performance.rev_s);
        assert!(r.rev_s >= aircraft.propeller.lowest_governed_rev_s);
        match r.kind {
            Kind::Held => held += 1,
            Kind::FullThrottle => full += 1,
            Kind::LimitLine => panic!("no limit line at fixed pitch"),
        }
        Ok::<_, Infallible>(())
    });
    assert_eq!(full, 2 * 4 * axes.mixtures.len());
    assert!(held > 10, "{held}");
}
