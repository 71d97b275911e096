//! Procedures: `[procedures]`.

use super::speeds::ReadSpeeds;
use super::{ft, inhg, kt, minutes, rows_fall, rows_rise, rpm};
use crate::aircraft::Procedures;
use crate::files::sheet::{Num, Section, Sheet};
use crate::quantity::Duration;

/// Least manifold pressure in the descent when the profile gives none, inHg (DESIGN section 5: common practice, no source).
const LEAST_DESCENT_MAP_INHG: f64 = 15.0;
/// Greatest reduction of manifold pressure when the profile gives none, inHg/min (the same).
const MAP_REDUCTION_INHG_PER_MIN: f64 = 2.0;

/// The procedures, and whether there are cowl flaps and an auxiliary pump to handle.
pub(super) fn procedures(
    sheet: &Sheet<'_>,
    section: Section<'_>,
    kg_per_gal: f64,
    governed: &(Num, Num),
    fixed_pitch: bool,
    speeds: &ReadSpeeds,
) -> (Procedures, bool, bool) {
    let taxi_fuel = section.number("taxi_fuel_gal", "allowance");
    let taxi = section.number("taxi_min", "minutes");
    let take_off = section.number("take_off_fuel_gal", "allowance");
    let climb = if fixed_pitch {
        Vec::new()
    } else {
        section.numbers("climb_rpm", "rpm")
    };
    let cruise = section.number("max_cruise_power_percent", "power percent");
    let full_rich = section.number("full_rich_density_altitude_ft", "altitude");
    let least = section.number_or(
        "least_descent_map_inhg",
        "manifold pressure",
        LEAST_DESCENT_MAP_INHG,
    );
    let reduction = section.number_or(
        "map_reduction_inhg_per_min",
        "pressure rate",
        MAP_REDUCTION_INHG_PER_MIN,
    );
    let map_step = section.number("map_step_inhg", "map step");
    let rpm_step = section.number("rpm_step", "rpm step");
    let speed_step = section.number("speed_step_kt", "speed step");
    let tank = section.number("tank_change_min", "tank time");
    let gear_as_brake = section.flag("gear_as_brake");
    let cowl_flaps = section.flag("cowl_flaps");
    let auxiliary_pump = section.flag("auxiliary_pump");
    let pattern = section.number("pattern_kt", "speed");
    let (mut limit_rpm, mut limit_map) = (Vec::new(), Vec::new());
    for row in section.rows("map_limit") {
        limit_rpm.push(row.number("rpm", "rpm"));
        limit_map.push(row.number("map_inhg", "manifold pressure"));
        row.finish();
    }
    section.source_and_notes();
    section.finish();
    rows_fall(sheet, &climb, "climb speeds stand highest first");
    let (lowest, highest) = governed;
    for n in &climb {
        sheet.at_least(n, lowest);
        sheet.at_least(highest, n);
    }
    rows_rise(sheet, &limit_rpm);
    for pair in limit_map.windows(2) {
        sheet.at_least(&pair[1], &pair[0]);
    }
    for map in &limit_map {
        sheet.at_least(map, &least);
    }
    sheet.rising(&[&speeds.vs, &pattern]);
    sheet.rising(&[&pattern, &speeds.vno]);
    // at fixed pitch the climb is flown at full throttle, whatever the speed
    let climb_rev_s = if fixed_pitch {
        vec![rpm(highest)]
    } else {
        climb.iter().map(rpm).collect()
    };
    let procedures = Procedures {
        taxi_fuel_kg: taxi_fuel.value * kg_per_gal,
        taxi_time_s: minutes(&taxi),
        take_off_fuel_kg: take_off.value * kg_per_gal,
        climb_rev_s,
        cruise_power_fraction: cruise.value / 100.0,
        map_limit: limit_rpm
            .iter()
            .zip(&limit_map)
            .map(|(n, map)| (rpm(n), inhg(map)))
            .collect(),
        full_rich_density_altitude_m: ft(&full_rich),
        least_descent_map_pa: inhg(&least),
        map_reduction_pa_s: inhg(&reduction) / Duration::min(1.0).to_s(),
        map_step_pa: inhg(&map_step),
        rev_step_s: rpm(&rpm_step),
        speed_step_m_s: kt(&speed_step),
        tank_change_s: minutes(&tank),
        gear_as_brake,
        pattern_m_s: kt(&pattern),
    };
    (procedures, cowl_flaps, auxiliary_pump)
}
