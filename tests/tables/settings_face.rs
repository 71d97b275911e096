//! The table as text and CSV.

use super::{PROFILES, profile};
use fellrun::brief::{CellFigures, SettingsFigures, settings_csv, settings_text};
use fellrun::quantity::M_PER_FT;
use fellrun::tables::settings::{SettingsAsk, settings};

fn figures(name: &str, powers: &[f64]) -> SettingsFigures {
    let aircraft = profile(name);
    let mut ask = SettingsAsk::usual(&aircraft);
    ask.pressure_altitude_m = vec![2_000.0 * M_PER_FT, 12_000.0 * M_PER_FT];
    if !powers.is_empty() {
        ask.powers = powers.to_vec();
    }
    SettingsFigures::new(&settings(&aircraft, ask), &aircraft)
}

fn plain(f: &SettingsFigures, width: usize) -> String {
    anstream::adapter::strip_str(&settings_text(f, width)).to_string()
}

#[test]
fn closed_form_fits_its_width_and_says_why_cells_are_empty() {
    const MANY: [f64; 6] = [0.75, 0.7, 0.65, 0.6, 0.55, 0.5];
    let usual = PROFILES.map(|name| (name, &[][..]));
    for (name, powers) in usual.into_iter().chain([("twin-200hp", &MANY[..])]) {
        let f = figures(name, powers);
        assert!(
            f.rows
                .iter()
                .flat_map(|r| &r.cells)
                .any(|c| c.setting.is_some())
        );
        for width in [80, 100] {
            let text = plain(&f, width);
            assert!(text.lines().count() > 10);
            for line in text.lines() {
                assert!(line.chars().count() <= width, "{name} {width}: {line:?}");
            }
            for cell in f.rows.iter().flat_map(|r| &r.cells) {
                assert_eq!(cell.setting.is_none(), !cell.left_out.is_empty());
                if let Some(why) = cell.left_out.first() {
                    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
                    assert!(flat.contains(&why.text[1..]), "{}", why.text);
                }
            }
        }
    }
}

#[test]
fn closed_form_three_powers_and_full_throttle_stand_side_by_side_in_80_columns() {
    let text = plain(&figures("retractable-200hp", &[]), 80);
    assert_eq!(
        text.matches("RPM").count() - text.matches("RPM/").count(),
        1,
        "{text}"
    );
}

#[test]
fn closed_form_text_and_csv_are_the_figures() {
    let f = figures("retractable-200hp", &[]);
    let text = plain(&f, 100);
    let csv_bytes = settings_csv(&f).expect("memory can be written");
    let mut reader = csv::Reader::from_reader(&csv_bytes[..]);
    let head = reader.headers().expect("a head").clone();
    let column = |name: &str| head.iter().position(|h| h == name).expect("a column");
    let records: Vec<csv::StringRecord> =
        reader.records().collect::<Result<_, _>>().expect("reads");
    let cells: Vec<&CellFigures> = f.rows.iter().flat_map(|r| &r.cells).collect();
    assert_eq!(records.len(), cells.len());
    let mut checked = 0;
    for (record, cell) in records.iter().zip(&cells) {
        let allowed = &record[column("allowed")] == "true";
        assert_eq!(allowed, record[column("reason")].is_empty());
        assert_eq!(allowed, cell.setting.is_some());
        if let Some(s) = &cell.setting {
            assert_eq!(record[column("map_inhg")].parse(), Ok(s.map_inhg));
            assert_eq!(record[column("tas_kt")].parse(), Ok(s.tas_kt));
            let gph = format!("{:.1}", (s.fuel_flow_gph * 10.0 - 1e-4).ceil() / 10.0);
            let map = format!("{:.1}", (s.map_inhg * 10.0 + 1e-4).floor() / 10.0);
            assert!(text.contains(&gph) && text.contains(&map), "{map} {gph}");
            checked += 1;
        }
    }
    assert!(checked > 10);
}
