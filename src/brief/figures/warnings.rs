//! Warnings about the plan and cautions about any plan, in words.

use super::Said;
use crate::aircraft::{Aircraft, Induction};
use crate::brief::CAUTIONS;
use crate::brief::measure::Units;
use crate::brief::units::{Fuel, celsius, course_deg, ft, kt, nm, rpm};
use crate::brief::words::{EACH_ENGINE, ONE_ENGINE, feet, knots, near, number, revs, up};
use crate::solve::Warning;
use crate::trip::{Note, Problem};

fn leg_name(problem: &Problem, leg: usize) -> String {
    problem
        .legs
        .get(leg)
        .map_or(String::new(), |l| format!("{} to {}", l.from, l.to))
}

pub(in crate::brief) fn warning_words(
    warning: &Warning,
    problem: &Problem,
    fuel: Fuel,
    units: Units,
) -> Said {
    let burned = |kg: f64| units.burned(fuel.gal(kg));
    let (kind, text) = match warning {
        Warning::Note(Note::MagneticDate) => (
            "magnetic_date",
            "the magnetic model does not cover the day of the trip; its nearest day was used for the variation".to_owned(),
        ),
        Warning::Note(Note::BelowForecast(m)) => (
            "below_forecast",
            format!(
                "wind or temperature was filled in below the lowest forecast level, over {} ft at most",
                number(up(ft(*m), -1), 0)
            ),
        ),
        Warning::Note(Note::NearSplit { from, to, magnetic_rad }) => {
            let [start, middle, end] = magnetic_rad.map(|c| number(near(course_deg(c), 0).rem_euclid(360.0), 0));
            (
                "near_split",
                format!(
                    "leg {from} to {to}: the magnetic course ({start} deg at its start, {middle} half-way, {end} at its end) is so near the split of the sectors that the levels of both halves were taken: check which hold"
                ),
            )
        }
        Warning::Note(Note::GroundMissing { leg, tiles }) => (
            "ground_missing",
            format!(
                "GROUND NOT KNOWN on leg {leg}: no terrain tile {tiles}; taken for the sea, which has no tiles. Check the chart, or add the tiles"
            ),
        ),
        Warning::Note(Note::GroundVoid { leg, posts }) => (
            "ground_void",
            format!(
                "leg {leg}: {posts} posts of the terrain have no height; the highest ground of the stretches beside was taken"
            ),
        ),
        Warning::LowerThanRead { leg, by_m, indicated_m } => (
            "lower_than_read",
            format!(
                "leg {}: cold air or low pressure, up to {} ft lower than the altimeter reads (at {} ft indicated); ground is cleared by true height",
                leg_name(problem, *leg),
                number(up(ft(*by_m), -1), 0),
                feet(ft(*indicated_m))
            ),
        ),
        Warning::NearIce { distance_m, temperature_k } => (
            "near_ice",
            format!(
                "in cloud at {} C, {} nm along: ice is possible",
                number(near(celsius(*temperature_k), 0), 0),
                number(near(nm(*distance_m), 0), 0)
            ),
        ),
        Warning::OxygenAdvised { above_m, highest_m } => (
            "oxygen_advised",
            format!(
                "oxygen is recommended above {} ft {} (AIM 8-1-2); this plan goes to {} ft pressure altitude without",
                feet(ft(*above_m)),
                if problem.night { "at night" } else { "by day" },
                feet(up(ft(*highest_m), 0))
            ),
        ),
        Warning::OxygenForEach { highest_m } => (
            "oxygen_for_each",
            format!(
                "up to {} ft pressure altitude: oxygen for each occupant (14 CFR 91.211(a)(3))",
                feet(up(ft(*highest_m), 0))
            ),
        ),
        Warning::RidgeWind { leg, at_m, wind_m_s, ground_m, lee_m } => {
            let lee = lee_m.map_or(String::new(), |(a, b)| {
                format!("; from {} to {} nm the route is in its lee", number(near(nm(a), 0), 0), number(near(nm(b), 0), 0))
            });
            (
                "ridge_wind",
                format!(
                    "leg {}: {} kt of wind at the height of the ground at {} nm ({} ft){lee}: turbulence and down-draughts, advisory",
                    leg_name(problem, *leg),
                    number(up(kt(*wind_m_s), 0), 0),
                    number(near(nm(*at_m), 0), 0),
                    feet(ft(*ground_m))
                ),
            )
        }
        Warning::Note(Note::NoTerrain(legs)) => {
            let names: Vec<String> = legs.iter().map(|(a, b)| format!("{a} to {b}")).collect();
            (
                "no_terrain_data",
                format!(
                    "NO TERRAIN DATA from {}: nothing but the least cruise altitude keeps this plan off the ground there, and \
                     climb and let-down are held to no height; look at the chart",
                    names.join(", ")
                ),
            )
        }
        Warning::ForecastEnds(over_s) => (
            "forecast_ends",
            format!(
                "the flight ends {} min after the period the winds aloft are for: take the next ones",
                number(up(over_s / 60.0, 0), 0)
            ),
        ),
        Warning::ForecastEndsOnward(over_s) => (
            "forecast_ends_onward",
            format!(
                "a flight on to the alternate ends {} min after the period the winds aloft are for",
                number(up(over_s / 60.0, 0), 0)
            ),
        ),
        Warning::BelowReserve(kg) => {
            ("below_reserve", format!("lands {} short of the reserve you asked for", burned(*kg)))
        }
        Warning::BelowLegalReserve(kg) => {
            ("below_legal_reserve", format!("lands {} short of the LEGAL reserve: not a flight to make", burned(*kg)))
        }
        Warning::NoLimitLine => (
            "no_limit_line",
            "your profile has no MAP/RPM limit line, so MAP was kept to RPM/100; entering the engine maker's line frees more"
                .to_owned(),
        ),
        Warning::PatternAboveVlo => (
            "pattern_above_vlo",
            format!(
                "pattern speed {} KIAS is above the speed for extending the gear, {} KIAS",
                knots(kt(problem.aircraft.procedures.pattern_m_s)),
                knots(kt(problem.aircraft.speeds.vlo_extend_m_s))
            ),
        ),
        Warning::Circling { radius_m, up: climbs, down: lets_down } => {
            let fields = match (climbs, lets_down) {
                (true, true) => "both fields",
                (true, false) => "the departure",
                _ => "the destination",
            };
            (
                "circling",
                format!(
                    "no straight flight was found that keeps every limit: this plan circles over {fields}, up to {} nm across in still air. The ground there is taken to be that at the field: look at the chart. Staying over the field in the wind, and up to one more turn to be on course, are yours",
                    number(up(2.0 * nm(*radius_m), 1), 1)
                ),
            )
        }
        Warning::Reflight => (
            "reflight",
            "the independent re-flight misses this plan by more than it should: do not rely on it".to_owned(),
        ),
        Warning::NotConverged => {
            ("not_converged", "the search stopped before it was done; a better plan may exist".to_owned())
        }
    };
    Said { kind, text }
}

/// What every sheet says, and what this aeroplane adds.
pub(in crate::brief) fn cautions(aircraft: &Aircraft) -> Vec<String> {
    let mut said = CAUTIONS.map(str::to_owned).to_vec();
    if aircraft.engines > 1 {
        said.push(format!("{ONE_ENGINE} {EACH_ENGINE}"));
    }
    if aircraft.propeller.is_fixed() {
        said.push(format!(
            "Fixed pitch: RPM rises in the descent; keep it at or below the redline, {}, with the throttle. MAP is computed, not to be set.",
            revs(rpm(aircraft.propeller.highest_governed_rev_s))
        ));
    }
    said.push(match aircraft.equipment.induction {
        Induction::Carburettor => {
            "Carburettor ice and heat are not modelled: with heat on, power and mixture change. Use it as the flight manual says."
                .to_owned()
        }
        Induction::Injected => {
            "Induction ice is not modelled: if it is suspected, alternate air as the flight manual says.".to_owned()
        }
    });
    said
}

/// Which lines of the card are no part of the flight as computed.
pub(super) fn card_notes(aircraft: &Aircraft) -> Vec<String> {
    let e = aircraft.equipment;
    let there: Vec<&str> = [
        (e.cowl_flaps, "the cowl flaps"),
        (e.auxiliary_pump, "the auxiliary pump"),
        (e.induction == Induction::Carburettor, "carburettor heat"),
    ]
    .into_iter()
    .filter_map(|(there, name)| there.then_some(name))
    .collect();
    let names = match there.as_slice() {
        [] => return vec![],
        [one] => (*one).to_owned(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    };
    vec![format!(
        "Where the lever card puts {names} is common practice; the flight manual's order rules."
    )]
}
