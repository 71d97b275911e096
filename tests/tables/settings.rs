//! The table against the aircraft, cell by cell.

use super::profile;
use fellrun::aircraft::{Configuration, Governed, Refusal};
use fellrun::quantity::M_PER_FT;
use fellrun::tables::settings::{Hold, SettingsAsk, settings};

/// Thrust and drag meet this near, N: the speed is found to 1e-7 m/s.
const BALANCE_N: f64 = 1e-3;
/// A power asked for is met this near: manifold pressure is linear in it, so only float noise is left.
const POWER: f64 = 1e-9;

#[test]
fn crosscheck_cells_are_what_the_aircraft_does_there() {
    let aircraft = profile("retractable-200hp");
    let table = settings(&aircraft, SettingsAsk::usual(&aircraft));
    assert_eq!(table.rows.len(), 6 * 5);
    let mut checked = 0;
    for row in &table.rows {
        assert_eq!(row.cells.len(), 4);
        for (hold, cell) in table.columns.iter().zip(&row.cells) {
            match cell {
                Ok(s) => {
                    let p = aircraft.perform(row.air, s.tas_m_s, s.levers);
                    assert_eq!(p, s.performance);
                    let drag = aircraft.drag_n(
                        row.air,
                        s.tas_m_s,
                        table.ask.mass_kg,
                        Configuration::default(),
                    );
                    assert!((p.thrust_n - drag).abs() < BALANCE_N);
                    if let Hold::Power(f) = hold {
                        assert!((p.power_fraction - f).abs() < POWER, "{}", p.power_fraction);
                    }
                    assert!(p.map_pa <= aircraft.map_limit_pa(p.rev_s) * (1.0 + POWER));
                    assert!(!aircraft.in_avoid_band(p.rev_s, p.map_pa));
                    assert!(p.power_fraction <= 0.75 + POWER);
                    assert!(s.ias_m_s >= table.least_m_s);
                    assert_eq!(p.governed, Governed::Yes);
                    checked += 1;
                }
                Err(why) => assert!(!why.is_empty()),
            }
        }
    }
    assert!(checked > 40, "{checked}");
}

#[test]
fn closed_form_each_rule_leaves_its_settings_out() {
    let aircraft = profile("retractable-200hp");
    let mut ask = SettingsAsk::usual(&aircraft);
    ask.pressure_altitude_m = vec![1_000.0 * M_PER_FT, 12_000.0 * M_PER_FT];
    ask.rev_s = vec![45.0, 2_000.0 / 60.0];
    ask.powers = vec![0.9, 0.70, 0.22];
    let why = |mixture: usize| {
        let t = settings(
            &aircraft,
            SettingsAsk {
                mixture,
                ..ask.clone()
            },
        );
        t.rows
            .iter()
            .map(|r| {
                r.cells
                    .iter()
                    .map(|c| {
                        c.as_ref().err().map_or_else(Vec::new, |w| {
                            w.iter().map(Refusal::code).collect::<Vec<_>>()
                        })
                    })
                    .collect::<Vec<_>>()
            })
            .collect::<Vec<_>>()
    };
    let rich = why(0);
    // 90 % is over 75 %; 70 % is allowed; 22 % does not hold 2,740 lb up at a sane speed.
    assert!(rich[0][0].contains(&"cruise_power"), "{rich:?}");
    assert!(rich[0][1].is_empty(), "{rich:?}");
    assert!(!rich[0][2].is_empty(), "{rich:?}");
    // At 2,000 rpm full throttle at 1,000 ft is over the line of 24 in, and in the band above 24 in.
    assert!(rich[1][3].contains(&"map_limit"), "{rich:?}");
    assert!(rich[1][3].contains(&"rpm_band"), "{rich:?}");
    // No 70 % at 12,000 ft.
    assert!(rich[2][1].contains(&"out_of_reach"), "{rich:?}");
    // Peak is for 65 % and less.
    assert!(why(2)[0][1].contains(&"mixture_band"));
}
