//! A plan in cockpit figures: the one conversion from which every face is made.
//!
//! Field names are the keys of the JSON face (DESIGN section 7), unit included. The whole stands here; what its parts are of, in the modules below.

mod choices;
mod conditions;
mod descent;
mod limits;
mod line;
mod path;
mod route;
mod totals;
mod trip;
mod warnings;

pub(super) use choices::choice;
pub use choices::{AlternativeFigures, SensitivityFigures};
pub use conditions::{Conditions, StretchWind, WeightPoint, WindLevel};
pub use descent::Descent;
pub(super) use path::mixture_name;
pub use path::{Point, SegmentFigures};
pub(super) use route::places;
pub use route::{AlternateFigures, BarredFigures, FieldFigures, LegFigures, Stretch};
pub use totals::{Gain, IdealFigures, Reflight, TotalsFigures};
pub(super) use totals::{objective_unit, objective_value, objective_word, saves, totals};
pub use trip::{ObjectiveFigures, StartFigures, TripFigures};
pub(super) use warnings::{cautions, warning_words};

use super::as_flown::AsFlownFigures;
use super::card::{CardLine, lever_card};
use super::circling::{CirclingFigures, of_flight};
use super::cruise::{CruiseFigures, cruise};
use super::frontier::FrontierFigures;
use super::marks::{Calendar, MarkFigures};
use super::measure::Units;
use super::otherwise::{LateFigures, RoughFigures, TopOfDescentShift, rough_figures, shift};
use super::runner_up::RunnerUp;
use super::times::TimesFigures;
use super::units::{Fuel, course_deg, fpm, ft, inhg, kt, lb, min, nm, percent, plain};
use super::waypoints::{WaypointFigures, waypoints};
use super::weather::{LaterFigures, SourceFigures};
use super::words::sentence;
use super::{TITLE, marks};
use crate::flight::{Flown, field_climb};
use crate::solve::{Late, Plan, Termination, late};
use crate::trip::Problem;
use choices::{alternative, left_out, sensitivity};
use conditions::conditions;
use descent::descent;
use limits::limit_words;
use line::in_one_line;
use path::segments_and_track;
use route::{barred, true_height_correction_m};
use schemars::JsonSchema;
use serde::Serialize;
use totals::{gain, legal_rule, ordinary};
use trip::bounds;
use warnings::card_notes;

/// Levels cruised at, in order, ft indicated.
pub(super) fn levels_ft(flown: &Flown) -> Vec<f64> {
    flown.script.cruise.iter().map(|c| ft(c.level_m)).collect()
}

/// The second speed of a climb.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct SecondSpeed {
    /// Of the first part, indicated.
    pub first_ias_kt: f64,
    /// Indicated altitude from which the second is flown.
    pub from_ft: f64,
    /// Indicated airspeed from there.
    pub ias_kt: f64,
}

/// Something said: a key for programs and a sentence for people.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Said {
    /// Key.
    pub kind: &'static str,
    /// In words.
    pub text: String,
}

/// The plan in cockpit figures.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Figures {
    /// In which units the words are, and the faces for eyes.
    #[serde(skip)]
    #[schemars(skip)]
    pub units: Units,
    /// Title of every face.
    pub title: &'static str,
    /// The plan in one line.
    pub in_one_line: String,
    /// The same for the card, where fuel is said to half a gallon.
    #[serde(skip)]
    #[schemars(skip)]
    pub in_one_line_on_card: String,
    /// The trip.
    pub trip: TripFigures,
    /// What was least.
    pub objective: ObjectiveFigures,
    /// Totals.
    pub totals: TotalsFigures,
    /// The rule the legal reserve comes from.
    pub legal_reserve_rule: &'static str,
    /// When the flight is where.
    pub times: TimesFigures,
    /// What it gains over the ordinary descent.
    pub gain_over_ordinary: Option<Gain>,
    /// The ideal flight.
    pub ideal: IdealFigures,
    /// Re-flight.
    pub reflight: Reflight,
    /// Cruise levels, first to last.
    pub levels_ft: Vec<f64>,
    /// How each of these levels is flown.
    pub cruise: Vec<CruiseFigures>,
    /// Where the first level is reached.
    pub top_of_climb_nm: f64,
    /// When.
    pub top_of_climb_min: f64,
    /// The second speed of the climb, where it has one.
    pub second_climb_speed: Option<SecondSpeed>,
    /// The part of the climb that is flown circling over the departure, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub circling_climb: Option<CirclingFigures>,
    /// The part of the descent that is flown circling over the destination, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub circling_descent: Option<CirclingFigures>,
    /// Where the descent starts.
    pub top_of_descent_nm: f64,
    /// The same, to go.
    pub top_of_descent_to_go_nm: f64,
    /// When, since lift-off.
    pub top_of_descent_min: f64,
    /// How far that moves with the ground speed.
    pub top_of_descent_shift: TopOfDescentShift,
    /// The descent.
    pub descent: Descent,
    /// Power and speed to go to in the descent if it is rough.
    pub if_rough: Option<RoughFigures>,
    /// The descent begun late, or told early; where a face was asked for that shows it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub if_late: Option<LateFigures>,
    /// The places of the flight in order, top of climb and top of descent among them.
    pub waypoints: Vec<WaypointFigures>,
    /// Pattern altitude.
    pub pattern_altitude_ft: f64,
    /// Where pattern altitude and speed are to be met.
    pub pattern_point_nm: f64,
    /// Legs.
    pub legs: Vec<LegFigures>,
    /// What no part of the path may enter: keep-out volumes, cloud with its distances, ice.
    pub barred: Vec<BarredFigures>,
    /// Departure and destination.
    pub fields: Vec<FieldFigures>,
    /// Segments.
    pub segments: Vec<SegmentFigures>,
    /// Path.
    pub track: Vec<Point>,
    /// Places of the route and points where what is done changes, in the order of the flight.
    pub marks: Vec<MarkFigures>,
    /// The plan beside what was noted in flight, where notes were given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub as_flown: Option<AsFlownFigures>,
    /// Wind, temperature, weight.
    pub conditions: Conditions,
    /// Where the weather is from.
    pub weather: Vec<SourceFigures>,
    /// The trip at later times of departure, where these were asked for.
    pub later: Vec<LaterFigures>,
    /// Other ways.
    pub alternatives: Vec<AlternativeFigures>,
    /// The best of them that goes by another level or down otherwise, with its path; none where there is no such way.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub runner_up: Option<RunnerUp>,
    /// Other ways that no flight within the limits goes, with the limits in the way.
    pub left_out: Vec<Said>,
    /// The trip with wind, weight and temperature other than planned with.
    pub sensitivity: Vec<SensitivityFigures>,
    /// On to the alternate, if the trip has one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub alternate: Option<AlternateFigures>,
    /// Fuel against time, where that was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub frontier: Option<FrontierFigures>,
    /// Limits the plan lies on.
    pub binding_limits: Vec<Said>,
    /// Warnings.
    pub warnings: Vec<Said>,
    /// What is not checked and who decides.
    pub cautions: Vec<String>,
    /// How the lever card was written, as far as the pilot must know.
    pub card_notes: Vec<String>,
    /// What was taken from elsewhere than the trip, or for granted.
    pub notes: Vec<String>,
    /// How the search ended.
    pub termination: &'static str,
    /// Full flights flown in the search.
    pub flights: usize,
    /// The lever card.
    pub lever_card: Vec<CardLine>,
}

impl Figures {
    /// The figures of a plan, its words in US units.
    pub fn new(plan: &Plan, problem: &Problem) -> Self {
        Self::in_units(plan, problem, Units::Us)
    }

    /// The figures of a plan. Figures are in the units of their keys whatever is asked for; words, and the faces made of them, are in
    /// `units`.
    pub fn in_units(plan: &Plan, problem: &Problem, units: Units) -> Self {
        let aircraft = &problem.aircraft;
        let fuel = Fuel::new(aircraft.fuel.density_kg_m3);
        let flown = &plan.flown;
        let calendar = Calendar::new(problem);
        let (segments, track) = segments_and_track(plan, problem, &calendar, fuel);
        let [circling_climb, circling_descent] = of_flight(flown, fuel, units);
        let all = totals(problem, fuel, &plan.totals, flown.cruise_fuel_kg_s);
        let cruise = cruise(plan, problem, &segments);
        let take_off_kg = problem.zero_fuel_kg + problem.fuel_kg - aircraft.procedures.taxi_fuel_kg;
        let value = |si: f64| objective_value(plan.objective, fuel, si);
        let ends = [
            (&problem.departure, 0.0),
            (&problem.destination, flown.slowed.time_s),
        ];
        let start_in_flight = StartFigures::of(problem);
        // A start in flight is no field.
        let ends = &ends[usize::from(start_in_flight.is_some())..];
        let fields = ends.iter().map(|&(f, time_s)| {
            let density_m = problem.density_altitude_m(f, time_s);
            let departs = f == &problem.departure;
            let mass_kg = if departs {
                take_off_kg
            } else {
                problem.zero_fuel_kg + plan.totals.landing_fuel_kg
            };
            let climb = field_climb(problem, departs, mass_kg, time_s);
            FieldFigures {
                ident: f.ident.clone(),
                elevation_ft: ft(f.elevation_m),
                altimeter_inhg: inhg(crate::air::isa::pressure_pa(f.datum_m)),
                density_altitude_ft: ft(density_m),
                high_power_mixture: mixture_name(problem, aircraft.high_power_mixture(density_m)),
                weight_lb: lb(mass_kg),
                climb_ias_kt: kt(climb.ias_m_s),
                climb_fpm: fpm(climb.rate_m_s),
                go_around_fpm: fpm(climb.gear_down_m_s),
            }
        });
        let fields = fields.collect();
        let descent = descent(plan, problem, (fuel, units), &track, &segments);
        Self {
            units,
            title: TITLE,
            in_one_line: in_one_line(plan, problem, &cruise, &units.left(all.landing_fuel_gal)),
            in_one_line_on_card: in_one_line(
                plan,
                problem,
                &cruise,
                &units.left_on_card(all.landing_fuel_gal),
            ),
            trip: TripFigures {
                name: problem.title.clone(),
                aircraft: aircraft.name.clone(),
                departure_utc: problem.departure_time.to_string(),
                take_off_utc: calendar.utc(0.0),
                engines: aircraft.engines,
                fixed_pitch: aircraft.propeller.is_fixed(),
                places: places(problem),
                start_in_flight,
                fuel_on_board_gal: fuel.gal(problem.fuel_kg),
                take_off_weight_lb: lb(take_off_kg),
                landing_weight_lb: lb(take_off_kg - plan.totals.fuel_kg),
                taxi_fuel_gal: fuel.gal(aircraft.procedures.taxi_fuel_kg),
                take_off_run_fuel_gal: fuel.gal(aircraft.procedures.take_off_fuel_kg),
            },
            objective: ObjectiveFigures {
                kind: objective_word(plan.objective),
                value: value(plan.objective_value),
                unit: objective_unit(plan.objective),
                bounds: bounds(problem, fuel, units),
                rounding_loss_percent: percent(plan.objective_value / plan.unrounded_value - 1.0),
            },
            totals: all,
            legal_reserve_rule: legal_rule(problem),
            times: TimesFigures::new(plan, problem, &calendar),
            gain_over_ordinary: gain(plan, problem, fuel),
            ideal: IdealFigures {
                objective_value: value(plan.ideal.objective_value),
                cost: plain(plan.ideal.money),
                time_min: min(plan.ideal.time_s),
                fuel_gal: fuel.gal(plan.ideal.fuel_kg),
                margin_percent: percent(plan.ideal.margin),
            },
            reflight: Reflight {
                time_error_s: plain(plan.reflight.time_s),
                fuel_error_gal: fuel.gal(plan.reflight.fuel_kg),
                height_error_ft: ft(plan.reflight.height_m),
                speed_error_kt: kt(plan.reflight.speed_m_s),
            },
            levels_ft: levels_ft(flown),
            cruise,
            top_of_climb_nm: nm(flown.top_of_climb.distance_m),
            top_of_climb_min: min(flown.top_of_climb.time_s),
            second_climb_speed: flown
                .script
                .climb
                .second
                .map(|(from_m, ias_m_s)| SecondSpeed {
                    first_ias_kt: kt(flown.script.climb.ias_m_s),
                    from_ft: ft(from_m),
                    ias_kt: kt(ias_m_s),
                }),
            circling_climb,
            circling_descent,
            top_of_descent_nm: nm(flown.top_of_descent.distance_m),
            top_of_descent_to_go_nm: nm(problem.length_m - flown.top_of_descent.distance_m),
            top_of_descent_min: min(flown.top_of_descent.time_s),
            top_of_descent_shift: shift(plan),
            if_rough: rough_figures(
                plan,
                problem,
                ordinary(plan).map(|o| nm(problem.length_m - o.flown.top_of_descent.distance_m)),
                descent.rough_up_to_ft,
            ),
            descent,
            if_late: None,
            waypoints: waypoints(plan, problem),
            pattern_altitude_ft: ft(problem.arrival.pattern_altitude_m),
            pattern_point_nm: nm(problem.pattern_point_m(flown.script.descent.circle.is_some())),
            barred: barred(problem),
            legs: problem
                .legs
                .iter()
                .zip(&problem.levels)
                .map(|(l, levels)| LegFigures {
                    from: l.from.clone(),
                    to: l.to.clone(),
                    from_nm: nm(l.from_m),
                    to_nm: nm(l.to_m),
                    magnetic_course_deg: course_deg(l.magnetic_rad),
                    true_course_deg: course_deg(l.true_rad),
                    minimum_altitude_ft: ft(l.minimum_m),
                    maximum_altitude_ft: l.maximum_m.map(ft),
                    legal_levels_ft: levels.levels_m.iter().map(|&m| ft(m)).collect(),
                    true_height_correction_ft: ft(true_height_correction_m(plan, l)),
                    ground: l
                        .ground
                        .iter()
                        .map(|&(a, b, h)| Stretch {
                            from_nm: nm(a),
                            to_nm: nm(b),
                            ground_ft: ft(h),
                        })
                        .collect(),
                    ground_source: l.ground_source.clone(),
                })
                .collect(),
            fields,
            conditions: conditions(plan, problem, &track),
            weather: problem.sources.iter().map(SourceFigures::new).collect(),
            later: plan
                .later
                .iter()
                .map(|l| LaterFigures::new(l, fuel))
                .collect(),
            alternatives: plan
                .alternatives
                .iter()
                .map(|a| alternative(a, plan, problem, fuel))
                .collect(),
            runner_up: RunnerUp::new(plan, fuel),
            left_out: plan.left_out.iter().map(|l| left_out(l, plan)).collect(),
            sensitivity: plan
                .sensitivity
                .iter()
                .map(|s| sensitivity(s, plan, problem, fuel, units))
                .collect(),
            alternate: plan.alternate.as_ref().map(|a| AlternateFigures {
                ident: a.ident.clone(),
                distance_nm: nm(a.distance_m),
                magnetic_course_deg: course_deg(a.magnetic_rad),
                altitude_ft: ft(a.level_m),
                minimum_altitude_ft: ft(a.minimum_m),
                highest_ground_ft: problem.alternate_ground_m.map(ft),
                time_min: min(a.time_s),
                fuel_gal: fuel.gal(a.fuel_kg),
                circling_from_ft: a.let_down_from_m.map(ft),
            }),
            frontier: None,
            binding_limits: plan
                .binding
                .iter()
                .map(|&l| limit_words(l, plan, problem))
                .collect(),
            warnings: plan
                .warnings
                .iter()
                .map(|w| warning_words(w, problem, fuel, units))
                .collect(),
            cautions: cautions(aircraft),
            card_notes: card_notes(aircraft),
            notes: Vec::new(),
            termination: match plan.termination {
                Termination::Converged => "converged",
                Termination::StepsExhausted => "steps_exhausted",
            },
            flights: plan.flights,
            lever_card: lever_card(plan, problem, units),
            marks: marks::figures(plan, problem, &calendar, fuel),
            as_flown: None,
            segments,
            track,
        }
    }

    /// That the ground is not known, if it is not.
    pub fn unknown_ground(&self) -> Option<String> {
        let unknown = self.legs.iter().filter(|l| l.ground.is_empty()).count();
        let where_to = match unknown {
            0 => return None,
            n if n == self.legs.len() => "",
            _ => " on part of the route",
        };
        Some(format!(
            "NO TERRAIN DATA{where_to}: heights over the ground are not checked"
        ))
    }

    /// With the descent begun late or told early, for the faces that show it.
    #[must_use]
    pub fn with_late(self, plan: &Plan, problem: &Problem) -> Self {
        self.with_late_flown(late(problem, plan).as_ref(), plan, problem)
    }

    /// The same with what was flown for it, so that it is flown once for figures in two units.
    #[must_use]
    pub fn with_late_flown(mut self, flown: Option<&Late>, plan: &Plan, problem: &Problem) -> Self {
        let units = self.units;
        self.if_late = flown.map(|l| LateFigures::new(l, plan, problem, units));
        self
    }

    /// With fuel against time.
    #[must_use]
    pub fn with_frontier(mut self, frontier: FrontierFigures) -> Self {
        self.frontier = Some(frontier);
        self
    }

    /// With the times in a zone besides UTC.
    #[must_use]
    pub fn with_zone(mut self, zone: &jiff::tz::TimeZone) -> Self {
        self.times = self.times.in_zone(zone);
        self
    }

    /// With what the reader of the trip has to say.
    #[must_use]
    pub fn with_notes(mut self, notes: &[String]) -> Self {
        self.notes.extend_from_slice(notes);
        self
    }

    /// "KAAA to KBBB via MID".
    pub fn route(&self) -> String {
        match self.trip.places.as_slice() {
            [from, via @ .., to] if !via.is_empty() => {
                format!("{from} to {to} via {}", via.join(", "))
            }
            [from, .., to] => format!("{from} to {to}"),
            _ => self.trip.places.join(" "),
        }
    }

    /// "least money", and what was to be kept besides.
    pub fn least(&self) -> String {
        let mut words = format!("least {}", self.objective.kind);
        for b in &self.objective.bounds {
            words.push_str(&format!(", {}", b.text));
        }
        words
    }

    /// The sentence on the descent, with a capital.
    pub fn descent_sentence(&self) -> String {
        let lead = if self.descent.coarse_and_fast {
            "coarse and fast: "
        } else {
            ""
        };
        sentence(&format!("{lead}{}.", self.descent.sentence))
    }
}
