//! The machine-readable face: the figures, key by key.

use super::Figures;
use serde::Serialize;

/// The plan as JSON, pretty-printed, a newline at the end.
///
/// # Errors
/// Only if the figures cannot be written as JSON, which would be our bug.
pub fn json(figures: &Figures) -> Result<String, serde_json::Error> {
    pretty(figures)
}

/// Anything as JSON for people too, a newline at the end.
pub(super) fn pretty(figures: &impl Serialize) -> Result<String, serde_json::Error> {
    let mut text = serde_json::to_string_pretty(figures)?;
    text.push('\n');
    Ok(text)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::brief::sample;
    use serde_json::Value;

    fn document() -> Value {
        let text = json(sample::figures()).expect("figures are plain numbers and text");
        serde_json::from_str(&text).expect("what was just written")
    }

    #[test]
    fn closed_form_every_key_of_the_design_is_there() {
        let d = document();
        let keys: &[(&str, &[&str])] = &[
            ("/objective", &["kind", "value", "unit", "bounds"]),
            (
                "/totals",
                &[
                    "time_min",
                    "fuel_gal",
                    "block_time_min",
                    "block_fuel_gal",
                    "cost",
                    "distance_nm",
                    "landing_fuel_gal",
                    "reserve_min",
                    "fuel_required_gal",
                ],
            ),
            (
                "/ideal",
                &[
                    "objective_value",
                    "cost",
                    "time_min",
                    "fuel_gal",
                    "margin_percent",
                ],
            ),
            (
                "/reflight",
                &[
                    "time_error_s",
                    "fuel_error_gal",
                    "height_error_ft",
                    "speed_error_kt",
                ],
            ),
            (
                "",
                &[
                    "levels_ft",
                    "top_of_climb_nm",
                    "top_of_descent_nm",
                    "top_of_descent_to_go_nm",
                    "segments",
                    "track",
                    "marks",
                    "conditions",
                    "alternatives",
                    "binding_limits",
                    "warnings",
                    "termination",
                    "lever_card",
                ],
            ),
            (
                "/track/0",
                &[
                    "distance_nm",
                    "time_min",
                    "pressure_altitude_ft",
                    "indicated_altitude_ft",
                    "ias_kt",
                    "tas_kt",
                    "gs_kt",
                    "vs_fpm",
                    "map_inhg",
                    "rpm",
                    "mixture",
                    "power_percent",
                    "fuel_flow_gph",
                    "fuel_left_gal",
                    "wind_along_kt",
                    "weight_lb",
                    "segment",
                ],
            ),
            (
                "/marks/0",
                &[
                    "kind",
                    "name",
                    "distance_nm",
                    "latitude_deg",
                    "longitude_deg",
                    "time_min",
                    "time_utc",
                    "true_altitude_ft",
                    "fuel_left_gal",
                ],
            ),
            (
                "/alternatives/0",
                &[
                    "kind",
                    "name",
                    "totals",
                    "difference",
                    "difference_min",
                    "difference_gal",
                    "no_real_difference",
                    "top_of_descent_to_go_nm",
                ],
            ),
            ("/left_out/0", &["kind", "text"]),
            ("/sensitivity/0", &["kind", "name", "planned_anew"]),
            (
                "/sensitivity/0/outcome",
                &[
                    "totals",
                    "difference",
                    "difference_min",
                    "difference_gal",
                    "top_of_descent_to_go_nm",
                    "levels_ft",
                    "broken_limits",
                ],
            ),
            ("/sensitivity/2", &["not_flown"]),
            (
                "/lever_card/0",
                &["order", "trigger", "action", "expect", "distance_nm"],
            ),
            ("/segments/0", &["kind", "start", "end"]),
            (
                "/conditions/winds/0/levels/0",
                &[
                    "pressure_altitude_ft",
                    "wind_along_kt",
                    "wind_cross_kt",
                    "temperature_c",
                ],
            ),
        ];
        for (at, names) in keys {
            let part = d.pointer(at).unwrap_or_else(|| panic!("no {at}"));
            for name in *names {
                let v = part.get(name).unwrap_or_else(|| panic!("no {at}/{name}"));
                assert!(!v.is_null(), "{at}/{name} is null");
            }
        }
    }

    #[test]
    fn closed_form_every_number_but_counts_and_money_says_its_unit() {
        const UNITS: [&str; 17] = [
            "_min",
            "_gal",
            "_nm",
            "_ft",
            "_kt",
            "_fpm",
            "_inhg",
            "_gph",
            "_lb",
            "_percent",
            "_s",
            "_deg",
            "_c",
            "rpm",
            "cost",
            "value",
            "difference",
        ];
        const COUNTS: [&str; 4] = ["segment", "flights", "order", "engines"];
        fn walk(key: &str, v: &Value, seen: &mut usize) {
            match v {
                Value::Number(_) => {
                    *seen += 1;
                    let ok = UNITS.iter().any(|u| key.ends_with(u)) || COUNTS.contains(&key);
                    assert!(ok, "{key} has no unit");
                }
                Value::Array(a) => a.iter().for_each(|v| walk(key, v, seen)),
                Value::Object(o) => o.iter().for_each(|(k, v)| walk(k, v, seen)),
                Value::Null | Value::Bool(_) | Value::String(_) => {}
            }
        }
        let mut seen = 0;
        walk("", &document(), &mut seen);
        assert!(seen > 500, "only {seen} numbers");
    }

    #[test]
    fn closed_form_segments_join_and_sum_to_the_totals() {
        // Rounding of the figures is 1e-6 of a unit each.
        const SUM: f64 = 1e-4;
        let f = sample::figures();
        assert!(f.segments.len() >= 8, "{}", f.segments.len());
        for pair in f.segments.windows(2) {
            assert_eq!(pair[0].end.distance_nm, pair[1].start.distance_nm);
            assert_eq!(pair[0].end.time_min, pair[1].start.time_min);
        }
        let time: f64 = f.segments.iter().map(|s| s.time_min).sum();
        let fuel: f64 = f.segments.iter().map(|s| s.fuel_gal).sum();
        assert!(
            (time - f.totals.time_min).abs() < SUM,
            "{time} {}",
            f.totals.time_min
        );
        assert!((fuel + f.trip.take_off_run_fuel_gal - f.totals.fuel_gal).abs() < SUM);
        assert!(
            (f.top_of_descent_nm + f.top_of_descent_to_go_nm - f.totals.distance_nm).abs() < SUM
        );
        for t in &f.track {
            assert!(t.segment < f.segments.len());
        }
    }
}
