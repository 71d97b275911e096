//! A plan in cockpit figures: the one conversion from which every face is made.
//!
//! Field names are the keys of the JSON face (DESIGN section 7), unit included.

use super::as_flown::AsFlownFigures;
use super::card::{CardLine, lever_card};
use super::circling::{CirclingFigures, in_short, of_flight, turns_of};
use super::cruise::{CruiseFigures, cruise};
use super::freezing::{FreezingPoint, freezing};
use super::frontier::FrontierFigures;
use super::marks::{Calendar, MarkFigures};
use super::measure::{Amount, Units};
use super::otherwise::{LateFigures, RoughFigures, TopOfDescentShift, rough_figures, shift};
use super::runner_up::RunnerUp;
use super::terminal::WIDEST;
use super::times::TimesFigures;
use super::units::{
    Fuel, celsius, course_deg, degrees, fpm, ft, inhg, kt, lb, min, nm, percent, plain, rpm,
};
use super::waypoints::{WaypointFigures, waypoints};
use super::weather::{LaterFigures, SourceFigures};
use super::words::{
    EACH_ENGINE, ONE_ENGINE, down, feet, inches, knots, near, number, revs, sentence, up,
};
use super::{CAUTIONS, TITLE, marks};
use crate::aircraft::{Aircraft, Induction, Speeds, Throttle};
use crate::flight::{
    DescentPart, Limit, PathRule, Script, SegmentKind, ThrottleRule, TrackPoint, field_climb,
};
use crate::quantity::{M_PER_FT, M_PER_NM};
use crate::solve::{
    Alternative, AlternativeKind, DescentMeans, Late, LeftOut, NO_DIFFERENCE_M3, NO_DIFFERENCE_S,
    NotFlown, Plan, Reason, Sensitivity, Termination, Totals, Warning, because, late,
};
use crate::trip::{
    Change, Leg, Note, Objective, Patch, PatchKind, Problem, Roughness, Rules, Start,
};
use schemars::JsonSchema;
use serde::Serialize;

/// Longest stretch of the table of conditions, m.
const STRETCH_M: f64 = 30.0 * M_PER_NM;
/// Step in height of the table of conditions, m.
const CONDITION_STEP_M: f64 = 1_000.0 * M_PER_FT;
/// Spacing of the weight schedule, m.
const WEIGHT_STEP_M: f64 = 25.0 * M_PER_NM;
/// In a descent with the power on the engine gives at least this fraction of rated power half-way down. Windmilling and
/// approach power are below it, the least cruise settings above.
const POWER_ON: f64 = 0.35;

/// The trip in a few words.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct TripFigures {
    /// Title as the trip file gives it.
    pub name: String,
    /// Aircraft.
    pub aircraft: String,
    /// Start-up; in flight the time the flight is planned from.
    pub departure_utc: String,
    /// Lift-off, from which times in minutes count.
    pub take_off_utc: String,
    /// How many engines it has; MAP and RPM are those of each, fuel and totals those of the aeroplane.
    pub engines: u32,
    /// Fixed pitch: power is set by RPM, and MAP is only computed.
    pub fixed_pitch: bool,
    /// Departure, via points, destination.
    pub places: Vec<String>,
    /// Where the flight begins in the air: height and speed there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub start_in_flight: Option<StartFigures>,
    /// Fuel on board at start-up, or where the flight begins in the air.
    pub fuel_on_board_gal: f64,
    /// Mass at take-off, or where the flight begins in the air.
    pub take_off_weight_lb: f64,
    /// Mass at landing.
    pub landing_weight_lb: f64,
    /// From start-up to take-off.
    pub taxi_fuel_gal: f64,
    /// Burned in the take-off run, part of the total but of no segment.
    pub take_off_run_fuel_gal: f64,
}

/// How a flight begins in the air.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct StartFigures {
    /// Indicated altitude.
    pub altitude_ft: f64,
    /// Indicated airspeed.
    pub ias_kt: f64,
}

impl StartFigures {
    /// Of a trip that begins in the air.
    pub(super) fn of(problem: &Problem) -> Option<Self> {
        match problem.start {
            Start::Ground => None,
            Start::InFlight {
                indicated_m,
                ias_m_s,
            } => Some(Self {
                altitude_ft: ft(indicated_m),
                ias_kt: kt(ias_m_s),
            }),
        }
    }
}

/// What was least.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ObjectiveFigures {
    /// time, fuel or money.
    pub kind: &'static str,
    /// Its value over the flown part.
    pub value: f64,
    /// min, gal or money.
    pub unit: &'static str,
    /// Bounds on the other quantities.
    pub bounds: Vec<Said>,
    /// By how much rounding to what a pilot can set made it dearer.
    pub rounding_loss_percent: f64,
}

/// Totals of one plan.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct TotalsFigures {
    /// Take-off to landing.
    pub time_min: f64,
    /// Take-off to landing.
    pub fuel_gal: f64,
    /// Start-up to shutdown.
    pub block_time_min: f64,
    /// Start-up to shutdown.
    pub block_fuel_gal: f64,
    /// Money at the trip's prices.
    pub cost: f64,
    /// Length of the route.
    pub distance_nm: f64,
    /// Left at landing.
    pub landing_fuel_gal: f64,
    /// That lasts so long at planned cruise flow.
    pub reserve_min: f64,
    /// Reserve asked for.
    pub reserve_required_gal: f64,
    /// Reserve asked for.
    pub reserve_required_min: f64,
    /// Least by the rule that applies.
    pub legal_reserve_gal: f64,
    /// Least by the rule that applies.
    pub legal_reserve_min: f64,
    /// To go on to the alternate; zero without one.
    pub alternate_fuel_gal: f64,
    /// Block fuel, fuel for the alternate and the reserve asked for.
    pub fuel_required_gal: f64,
}

/// The rule the legal least of the reserve comes from.
fn legal_rule(problem: &Problem) -> &'static str {
    match problem.rules {
        Rules::UsIfr => "14 CFR 91.167",
        Rules::IcaoIfr => "NCO.OP.125, IFR",
        Rules::IcaoVfr if problem.night => "NCO.OP.125, night",
        Rules::IcaoVfr => "NCO.OP.125, day",
        Rules::UsVfr | Rules::None if problem.night => "14 CFR 91.151, night",
        Rules::UsVfr | Rules::None => "14 CFR 91.151, day",
    }
}

/// What the plan gains over ordinary flying; below zero it costs more.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Gain {
    /// Quicker by.
    pub time_min: f64,
    /// Thriftier by.
    pub fuel_gal: f64,
    /// Cheaper by.
    pub cost: f64,
    /// Start-down point of the ordinary descent, to go.
    pub ordinary_top_of_descent_to_go_nm: f64,
    /// Less than 2 min and less than 0.5 gal gained.
    pub small_gain: bool,
    /// The two flights differ by less than 2 min and less than 0.5 gal.
    pub no_real_difference: bool,
}

/// The ideal flight.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct IdealFigures {
    /// In the unit of the objective.
    pub objective_value: f64,
    /// Money at the trip's prices.
    pub cost: f64,
    /// Time.
    pub time_min: f64,
    /// Fuel.
    pub fuel_gal: f64,
    /// Margin of the plan over it.
    pub margin_percent: f64,
}

/// What the independent re-flight misses.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Reflight {
    /// Re-flown less planned time.
    pub time_error_s: f64,
    /// Re-flown less planned fuel.
    pub fuel_error_gal: f64,
    /// Above pattern altitude at the pattern point.
    pub height_error_ft: f64,
    /// Above pattern speed at the pattern point.
    pub speed_error_kt: f64,
}

/// One point of the path.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Point {
    /// Along the route.
    pub distance_nm: f64,
    /// WGS 84, north positive.
    pub latitude_deg: f64,
    /// WGS 84, east positive.
    pub longitude_deg: f64,
    /// Since lift-off.
    pub time_min: f64,
    /// The same by the clock, to the second.
    pub time_utc: String,
    /// Pressure altitude.
    pub pressure_altitude_ft: f64,
    /// What the altimeter shows.
    pub indicated_altitude_ft: f64,
    /// Above mean sea level.
    pub true_altitude_ft: f64,
    /// Indicated airspeed.
    pub ias_kt: f64,
    /// True airspeed.
    pub tas_kt: f64,
    /// Ground speed.
    pub gs_kt: f64,
    /// Rate of climb.
    pub vs_fpm: f64,
    /// Manifold pressure.
    pub map_inhg: f64,
    /// Crankshaft speed.
    pub rpm: f64,
    /// Mixture by its name in the profile.
    pub mixture: String,
    /// Brake power over rated power.
    pub power_percent: f64,
    /// Fuel flow.
    pub fuel_flow_gph: f64,
    /// Left in the tanks.
    pub fuel_left_gal: f64,
    /// Wind along the course, a tail wind positive.
    pub wind_along_kt: f64,
    /// Weight.
    pub weight_lb: f64,
    /// Index into the segments.
    pub segment: usize,
}

/// One segment.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SegmentFigures {
    /// What is done.
    pub kind: &'static str,
    /// Where it begins.
    pub start: Point,
    /// Where it ends.
    pub end: Point,
    /// How long it lasts.
    pub time_min: f64,
    /// How far it goes.
    pub distance_nm: f64,
    /// What it burns.
    pub fuel_gal: f64,
    /// Greatest manifold pressure in it.
    pub map_peak_inhg: f64,
    /// Turns flown in it; none on the route.
    pub turns: Option<f64>,
}

/// Wind and temperature at one height.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct WindLevel {
    /// Pressure altitude.
    pub pressure_altitude_ft: f64,
    /// What the altimeter shows there.
    pub indicated_altitude_ft: f64,
    /// Along the course, a tail wind positive.
    pub wind_along_kt: f64,
    /// Across the course, from the left positive.
    pub wind_cross_kt: f64,
    /// Temperature.
    pub temperature_c: f64,
}

/// Conditions over one stretch, taken in its middle.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct StretchWind {
    /// From.
    pub from_nm: f64,
    /// To.
    pub to_nm: f64,
    /// By height.
    pub levels: Vec<WindLevel>,
}

/// Weight at one distance.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct WeightPoint {
    /// Along the route.
    pub distance_nm: f64,
    /// Weight.
    pub weight_lb: f64,
}

/// What the plan was made in.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Conditions {
    /// Wind and temperature per 1,000 ft and stretch.
    pub winds: Vec<StretchWind>,
    /// Where the air is at 0 °C, along the route.
    pub freezing: Vec<FreezingPoint>,
    /// Weight along the route.
    pub weights: Vec<WeightPoint>,
}

/// A stretch of ground.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Stretch {
    /// From.
    pub from_nm: f64,
    /// To.
    pub to_nm: f64,
    /// Highest ground in it.
    pub ground_ft: f64,
}

/// One leg.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LegFigures {
    /// Place at its start.
    pub from: String,
    /// Place at its end.
    pub to: String,
    /// Distance along the route at its start.
    pub from_nm: f64,
    /// Distance along the route at its end.
    pub to_nm: f64,
    /// Magnetic course at mid-leg.
    pub magnetic_course_deg: f64,
    /// True course at mid-leg.
    pub true_course_deg: f64,
    /// Least cruise altitude.
    pub minimum_altitude_ft: f64,
    /// Greatest altitude of the leg itself, where it has one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub maximum_altitude_ft: Option<f64>,
    /// Cruise altitudes allowed on it, lowest first.
    pub legal_levels_ft: Vec<f64>,
    /// True less indicated altitude on the flown path of the leg, where the two differ most.
    pub true_height_correction_ft: f64,
    /// Ground.
    pub ground: Vec<Stretch>,
    /// Where ground and minimum come from.
    pub ground_source: String,
}

/// A part of the route and heights over it that no part of the path may enter.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct BarredFigures {
    /// What it is called.
    pub name: String,
    /// `keep_out`, `cloud` or `ice`.
    pub kind: &'static str,
    /// Where it begins.
    pub from_nm: f64,
    /// Where it ends.
    pub to_nm: f64,
    /// Bottom, indicated; none from the ground up.
    pub low_ft: Option<f64>,
    /// Top, indicated; none without a top.
    pub high_ft: Option<f64>,
}

/// The flight from a go-around at the destination on to the alternate.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct AlternateFigures {
    /// Identifier.
    pub ident: String,
    /// How far.
    pub distance_nm: f64,
    /// Magnetic course at mid-way.
    pub magnetic_course_deg: f64,
    /// Level.
    pub altitude_ft: f64,
    /// Least cruise altitude.
    pub minimum_altitude_ft: f64,
    /// Highest ground on the way, if it is known.
    pub highest_ground_ft: Option<f64>,
    /// Go-around to landing.
    pub time_min: f64,
    /// Go-around to landing.
    pub fuel_gal: f64,
    /// Lets down circling over it from this indicated altitude, where it does.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub circling_from_ft: Option<f64>,
}

/// A field at one end.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct FieldFigures {
    /// Identifier.
    pub ident: String,
    /// Elevation.
    pub elevation_ft: f64,
    /// Altimeter setting.
    pub altimeter_inhg: f64,
    /// Density altitude today.
    pub density_altitude_ft: f64,
    /// Mixture for take-off, climb or go-around there today.
    pub high_power_mixture: String,
    /// Weight at take-off, or at landing.
    pub weight_lb: f64,
    /// Speed of the climbs that follow: Vy at that weight, or the least that cools the engine.
    pub climb_ias_kt: f64,
    /// Rate of climb there at full power, gear up, flaps up; below zero it sinks.
    pub climb_fpm: f64,
    /// The same with the gear down, as a go-around begins.
    pub go_around_fpm: f64,
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

/// The descent as the pilot is told it.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Descent {
    /// full, held or left_alone; at fixed pitch rpm_held, untouched or full.
    pub throttle: &'static str,
    /// Manifold pressure set; none at full throttle and at fixed pitch.
    pub map_inhg: Option<f64>,
    /// Crankshaft speed; at fixed pitch what is held, else the greatest allowed.
    pub rpm: f64,
    /// Mixture.
    pub mixture: String,
    /// Indicated airspeed half-way down.
    pub ias_kt: f64,
    /// Rate of descent half-way down.
    pub rate_fpm: f64,
    /// Brake power half-way down.
    pub power_percent: f64,
    /// RPM below that of cruise with the power on.
    pub coarse_and_fast: bool,
    /// Greatest speed in rough air at the weight of the descent: Va.
    pub rough_air_ias_kt: f64,
    /// The trip expects rough air on the way down, up to this indicated altitude.
    pub rough_up_to_ft: Option<f64>,
    /// Indicated altitude at which the second part begins, if there is one.
    pub second_from_ft: Option<f64>,
    /// The gear is down in the descent, before it is needed, as a brake.
    pub gear_as_brake: bool,
    /// The descent in one sentence.
    pub sentence: String,
}

/// Another way to fly the trip.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct AlternativeFigures {
    /// ordinary_descent, level, climb, descent_rpm, cruise_map or cruise_rpm.
    pub kind: &'static str,
    /// What was changed.
    pub name: String,
    /// Its totals.
    pub totals: TotalsFigures,
    /// Its objective less that of the plan, in the unit of the objective.
    pub difference: f64,
    /// Its time less that of the plan.
    pub difference_min: f64,
    /// Its fuel less that of the plan.
    pub difference_gal: f64,
    /// The objective differs by less than 0.1 %.
    pub no_real_difference: bool,
    /// Where it starts down, to go.
    pub top_of_descent_to_go_nm: f64,
}

/// The trip when something is other than planned with.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SensitivityFigures {
    /// head_wind, tail_wind, heavier, lighter, warmer or colder.
    pub kind: &'static str,
    /// What is other.
    pub name: String,
    /// The plan was made anew for it; else the same settings were flown with the top of descent moved.
    pub planned_anew: bool,
    /// What it comes to; none where it cannot be flown.
    pub outcome: Option<ShiftedFigures>,
    /// Why it cannot be flown.
    pub not_flown: Option<String>,
}

/// What a change does to the plan.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ShiftedFigures {
    /// Totals.
    pub totals: TotalsFigures,
    /// Objective less that of the plan, in the unit of the objective.
    pub difference: f64,
    /// Time less that of the plan.
    pub difference_min: f64,
    /// Fuel less that of the plan.
    pub difference_gal: f64,
    /// Where it starts down, to go.
    pub top_of_descent_to_go_nm: f64,
    /// Cruise levels.
    pub levels_ft: Vec<f64>,
    /// Limits that the settings then break.
    pub broken_limits: Vec<&'static str>,
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

/// Word of a segment kind, as the JSON has it.
fn kind_key(kind: SegmentKind) -> &'static str {
    match kind {
        SegmentKind::InitialClimb => "initial_climb",
        SegmentKind::Accelerate => "accelerate",
        SegmentKind::Climb => "climb",
        SegmentKind::CirclingClimb => "circling_climb",
        SegmentKind::LevelOff => "level_off",
        SegmentKind::Cruise => "cruise",
        SegmentKind::LevelChange => "level_change",
        SegmentKind::Descent => "descent",
        SegmentKind::CirclingDescent => "circling_descent",
        SegmentKind::SlowDown => "slow_down",
        SegmentKind::Pattern => "pattern",
        SegmentKind::Circuit => "circuit",
    }
}

/// Name of a row of the mixture table; an index past its end is the last row, as the engine takes it.
pub(super) fn mixture_name(problem: &Problem, row: usize) -> String {
    let rows = &problem.aircraft.engine.spec.mixtures;
    rows.get(row)
        .or(rows.last())
        .map_or_else(String::new, |m| m.name.clone())
}

fn point(
    problem: &Problem,
    calendar: &Calendar,
    fuel: Fuel,
    t: &TrackPoint,
    segment: usize,
) -> Point {
    let place = problem.position(t.state.distance_m);
    let procedures = &problem.aircraft.procedures;
    let left =
        problem.fuel_kg - procedures.taxi_fuel_kg - procedures.take_off_fuel_kg - t.state.fuel_kg;
    Point {
        distance_nm: nm(t.state.distance_m),
        latitude_deg: degrees(place.lat_deg()),
        longitude_deg: degrees(place.lon_deg()),
        time_min: min(t.state.time_s),
        time_utc: calendar.utc(t.state.time_s),
        pressure_altitude_ft: ft(t.state.pressure_altitude_m),
        indicated_altitude_ft: ft(t.indicated_m),
        true_altitude_ft: ft(t.true_altitude_m),
        ias_kt: kt(t.ias_m_s),
        tas_kt: kt(t.state.tas_m_s),
        gs_kt: kt(t.ground_speed_m_s),
        vs_fpm: fpm(t.rate_m_s),
        map_inhg: inhg(t.map_pa),
        rpm: rpm(t.rev_s),
        mixture: mixture_name(problem, t.mixture),
        power_percent: percent(t.power_fraction),
        fuel_flow_gph: fuel.gph(t.fuel_kg_s),
        fuel_left_gal: fuel.gal(left),
        wind_along_kt: kt(t.wind_along_m_s),
        weight_lb: lb(t.mass_kg),
        segment,
    }
}

/// Segments that have a path, and the path with its segments renumbered to them.
fn segments_and_track(
    plan: &Plan,
    problem: &Problem,
    calendar: &Calendar,
    fuel: Fuel,
) -> (Vec<SegmentFigures>, Vec<Point>) {
    let flown = &plan.flown;
    let mut kept = Vec::new();
    let mut number_of = vec![0; flown.segments.len()];
    for (i, s) in flown.segments.iter().enumerate() {
        number_of[i] = kept.len();
        if flown.track.get(s.first).is_some_and(|t| t.segment == i) {
            kept.push(s);
        }
    }
    let track: Vec<Point> = flown
        .track
        .iter()
        .map(|t| {
            point(
                problem,
                calendar,
                fuel,
                t,
                number_of.get(t.segment).copied().unwrap_or(0),
            )
        })
        .collect();
    let mut segments = Vec::new();
    for (i, s) in kept.iter().enumerate() {
        let (Some(start), Some(last)) = (track.get(s.first), track.get(s.last)) else {
            continue;
        };
        // A segment ends where the next begins; its own last point may lie a step before.
        let mut end = last.clone();
        let next = kept.get(i + 1).map(|n| n.first);
        let upto = next.filter(|&n| n < track.len()).unwrap_or(s.last);
        if let Some(next) = kept.get(i + 1).and_then(|n| track.get(n.first)) {
            end.distance_nm = next.distance_nm;
            (end.latitude_deg, end.longitude_deg) = (next.latitude_deg, next.longitude_deg);
            end.time_min = next.time_min;
            end.time_utc.clone_from(&next.time_utc);
            end.pressure_altitude_ft = next.pressure_altitude_ft;
            end.indicated_altitude_ft = next.indicated_altitude_ft;
            end.true_altitude_ft = next.true_altitude_ft;
            end.fuel_left_gal = next.fuel_left_gal;
            end.weight_lb = next.weight_lb;
        }
        segments.push(SegmentFigures {
            kind: kind_key(s.kind),
            time_min: plain(end.time_min - start.time_min),
            distance_nm: plain(end.distance_nm - start.distance_nm),
            fuel_gal: plain(start.fuel_left_gal - end.fuel_left_gal),
            map_peak_inhg: track[s.first..=s.last]
                .iter()
                .map(|t| t.map_inhg)
                .fold(0.0, f64::max),
            turns: turns_of(&flown.track[s.first..=upto]),
            start: start.clone(),
            end,
        });
    }
    (segments, track)
}

pub(super) fn totals(problem: &Problem, fuel: Fuel, t: &Totals, cruise_kg_s: f64) -> TotalsFigures {
    TotalsFigures {
        time_min: min(t.time_s),
        fuel_gal: fuel.gal(t.fuel_kg),
        block_time_min: min(t.block_time_s),
        block_fuel_gal: fuel.gal(t.block_fuel_kg),
        cost: plain(t.money),
        distance_nm: nm(t.distance_m),
        landing_fuel_gal: fuel.gal(t.landing_fuel_kg),
        reserve_min: min(t.reserve_s),
        reserve_required_gal: fuel.gal(t.reserve_required_kg),
        reserve_required_min: min(problem.limits.reserve_s),
        legal_reserve_gal: fuel.gal(t.legal_reserve_kg),
        legal_reserve_min: if cruise_kg_s > 0.0 {
            min(t.legal_reserve_kg / cruise_kg_s)
        } else {
            0.0
        },
        alternate_fuel_gal: fuel.gal(t.alternate_kg),
        fuel_required_gal: fuel.gal(t.fuel_required_kg),
    }
}

pub(super) fn objective_value(objective: Objective, fuel: Fuel, si: f64) -> f64 {
    match objective {
        Objective::Time => min(si),
        Objective::Fuel => fuel.gal(si),
        Objective::Money => plain(si),
    }
}

/// Key and words of a choice, in the script that has it.
pub(super) fn choice(kind: AlternativeKind, script: &Script) -> (&'static str, String) {
    // Which stretch, where there are several.
    let stretch = |i: usize| match script.cruise.get(i) {
        Some(c) if script.cruise.len() > 1 => format!(" at {} ft", feet(ft(c.level_m))),
        _ => String::new(),
    };
    match kind {
        AlternativeKind::OrdinaryDescent => ("ordinary_descent", "ordinary descent".to_owned()),
        AlternativeKind::Level(_) => {
            let steps: Vec<String> = script
                .cruise
                .iter()
                .enumerate()
                .map(|(i, c)| {
                    let level = format!("{} ft", feet(ft(c.level_m)));
                    if i == 0 {
                        level
                    } else {
                        format!("{level} from {} nm", number(nm(c.from_m), 0))
                    }
                })
                .collect();
            ("level", format!("cruise at {}", steps.join(", ")))
        }
        AlternativeKind::ClimbVy(v) => ("climb", format!("climb at Vy, {} KIAS", knots(kt(v)))),
        AlternativeKind::CruiseClimb(v) => ("climb", format!("climb at {} KIAS", knots(kt(v)))),
        AlternativeKind::CruiseRevDown => (
            "descent_rpm",
            format!(
                "PROP stays at {} in the descent",
                revs(rpm(script.cruise.last().map_or(0.0, |c| c.rev_s)))
            ),
        ),
        AlternativeKind::CoarseDown(r) => (
            "descent_rpm",
            format!("PROP back to {} in the descent", revs(rpm(r))),
        ),
        AlternativeKind::CruiseThrottle(i, Throttle::Map(p)) => (
            "cruise_map",
            format!("cruise{} with {} in", stretch(i), inches(inhg(p))),
        ),
        AlternativeKind::CruiseThrottle(i, _) => (
            "cruise_map",
            format!("cruise{} with full throttle", stretch(i)),
        ),
        AlternativeKind::CruiseRev(i, r) | AlternativeKind::CruiseRpmHeld(i, r) => (
            "cruise_rpm",
            format!("cruise{} with {} rpm", stretch(i), revs(rpm(r))),
        ),
    }
}

/// A difference of less than 0.1 % of the objective, what a lever change must be worth, is none.
const NO_DIFFERENCE: f64 = 1e-3;

fn alternative(a: &Alternative, plan: &Plan, problem: &Problem, fuel: Fuel) -> AlternativeFigures {
    let (kind, name) = choice(a.kind, &a.flown.script);
    AlternativeFigures {
        kind,
        name,
        totals: totals(problem, fuel, &a.totals, a.flown.cruise_fuel_kg_s),
        difference: objective_value(plan.objective, fuel, a.difference),
        difference_min: min(a.totals.time_s - plan.totals.time_s),
        difference_gal: fuel.gal(a.totals.fuel_kg - plan.totals.fuel_kg),
        no_real_difference: a.difference.abs() < NO_DIFFERENCE * plan.objective_value.abs(),
        top_of_descent_to_go_nm: nm(problem.length_m - a.flown.top_of_descent.distance_m),
    }
}

fn left_out(l: &LeftOut, plan: &Plan) -> Said {
    let (kind, mut text) = choice(l.kind, &plan.flown.script);
    // The level is not in the script of the plan.
    if let AlternativeKind::Level(m) = l.kind {
        text = format!("cruise at {} ft", feet(ft(m)));
    }
    let why = if l.limits.is_empty() {
        "no such flight keeps every limit".to_owned()
    } else {
        l.limits
            .iter()
            .map(|l| l.words())
            .collect::<Vec<_>>()
            .join(", ")
    };
    Said {
        kind,
        text: format!("{text}: {why}"),
    }
}

/// Key and words of a change.
fn change_words(change: Change, units: Units) -> (&'static str, String) {
    match change {
        Change::AlongWind(w) if w < 0.0 => {
            ("head_wind", format!("{} kt more head wind", knots(kt(-w))))
        }
        Change::AlongWind(w) => ("tail_wind", format!("{} kt more tail wind", knots(kt(w)))),
        Change::Load(m) if m < 0.0 => ("lighter", format!("{} lighter", units.load(lb(-m)))),
        Change::Load(m) => ("heavier", format!("{} heavier", units.load(lb(m)))),
        Change::Temperature(k) if k < 0.0 => ("colder", format!("{} °C colder", number(-k, 0))),
        Change::Temperature(k) => ("warmer", format!("{} °C warmer", number(k, 0))),
    }
}

fn sensitivity(
    s: &Sensitivity,
    plan: &Plan,
    problem: &Problem,
    fuel: Fuel,
    units: Units,
) -> SensitivityFigures {
    let (kind, name) = change_words(s.change, units);
    let flown = s.outcome.as_ref().map_err(|e| match e {
        NotFlown::TooHeavy(kg) => format!("{e} by {}", units.overweight(lb(*kg))),
        e => e.to_string(),
    });
    let changed = problem.changed(s.change);
    SensitivityFigures {
        kind,
        name,
        planned_anew: s.anew,
        outcome: flown.as_ref().ok().map(|f| ShiftedFigures {
            totals: totals(&changed, fuel, &f.totals, f.flown.cruise_fuel_kg_s),
            difference: objective_value(plan.objective, fuel, f.difference),
            difference_min: min(f.totals.time_s - plan.totals.time_s),
            difference_gal: fuel.gal(f.totals.fuel_kg - plan.totals.fuel_kg),
            top_of_descent_to_go_nm: nm(problem.length_m - f.flown.top_of_descent.distance_m),
            levels_ft: f
                .flown
                .script
                .cruise
                .iter()
                .map(|c| ft(c.level_m))
                .collect(),
            broken_limits: f.broken.iter().map(|l| l.words()).collect(),
        }),
        not_flown: flown.err(),
    }
}

/// ", because ...": why the plan's descent pays, by the figures of the two flights.
fn because_words(plan: &Plan, problem: &Problem, fuel: Fuel, units: Units) -> String {
    let Some(b) = ordinary(plan).and_then(|o| because(problem, &plan.flown, &o.flown)) else {
        return String::new();
    };
    let (p, o) = (&b.plan, &b.ordinary);
    let gs = |m: &DescentMeans| knots(kt(m.ground_speed_m_s));
    let words = match b.reason {
        Reason::HeightBuysSpeed => format!(
            "the height lost buys speed with {} % power left on, where the ordinary descent gives it away with the throttle, at {} %: {} kt GS on \
             average to the pattern against {}",
            number(percent(p.power_fraction), 0),
            number(percent(o.power_fraction), 0),
            gs(p),
            gs(o)
        ),
        Reason::MoreTailWind => format!(
            "it keeps the tail wind aloft longer: {} kt of it on average to the pattern against {}",
            knots(kt(p.wind_along_m_s)),
            knots(kt(o.wind_along_m_s))
        ),
        Reason::LessHeadWind => format!(
            "it meets less head wind: {} kt on average to the pattern against {}",
            knots(kt(-p.wind_along_m_s)),
            knots(kt(-o.wind_along_m_s))
        ),
        Reason::LessFuelFlow => format!(
            "it burns less on the way down: {} on average to the pattern against {}",
            units.mean_flow(fuel.gph(p.fuel_kg / p.time_s)),
            units.mean_flow(fuel.gph(o.fuel_kg / o.time_s)).figure
        ),
        Reason::FewerRevolutions => format!(
            "the tachometer hour runs slower: {} turns to the pattern against {}",
            number(p.revolutions, 0),
            number(o.revolutions, 0)
        ),
    };
    format!(", because {words}")
}

fn ordinary(plan: &Plan) -> Option<&Alternative> {
    plan.alternatives
        .iter()
        .find(|a| a.kind == AlternativeKind::OrdinaryDescent)
}

fn gain(plan: &Plan, problem: &Problem, fuel: Fuel) -> Option<Gain> {
    let other = ordinary(plan)?;
    let time_s = other.totals.time_s - plan.totals.time_s;
    let fuel_kg = other.totals.fuel_kg - plan.totals.fuel_kg;
    let least_kg = NO_DIFFERENCE_M3 * problem.aircraft.fuel.density_kg_m3;
    Some(Gain {
        time_min: min(time_s),
        fuel_gal: fuel.gal(fuel_kg),
        cost: plain(other.totals.money - plan.totals.money),
        ordinary_top_of_descent_to_go_nm: nm(
            problem.length_m - other.flown.top_of_descent.distance_m
        ),
        small_gain: time_s < NO_DIFFERENCE_S && fuel_kg < least_kg,
        no_real_difference: time_s.abs() < NO_DIFFERENCE_S && fuel_kg.abs() < least_kg,
    })
}

/// "saves 1.8 min and 0.1 gal", or what it costs instead.
pub(super) fn saves(gain: &Gain, units: Units) -> String {
    let (min, gal) = (gain.time_min, gain.fuel_gal);
    // What is lost is rounded up, so that it is never none.
    let (quicker, thriftier) = (min >= 0.0, gal >= 0.0);
    let shown = if quicker { down(min, 1) } else { up(-min, 1) };
    let time = format!("{} min", number(shown, 1));
    let fuel = if thriftier {
        units.left(gal)
    } else {
        units.burned(-gal)
    };
    match (quicker, thriftier) {
        (true, true) => format!("saves {time} and {fuel}"),
        (true, false) => format!("saves {time}, burns {fuel} more"),
        (false, true) => format!("saves {fuel}, takes {time} more"),
        (false, false) => format!("takes {time} and {fuel} more"),
    }
}

/// The throttle in a descent with a fixed pitch; `stays`: cruise has the same RPM.
fn fixed_pitch_descent(rule: ThrottleRule, stays: bool, rev_s: f64) -> String {
    let revs = revs(rpm(rev_s));
    match rule {
        ThrottleRule::Full => format!("full throttle, at most {revs} rpm"),
        ThrottleRule::Untouched => format!("leave the throttle, at most {revs} rpm"),
        _ if stays => format!("THROTTLE back as RPM rises, {revs} rpm held"),
        _ => format!("THROTTLE to {revs} rpm, held"),
    }
}

/// "from 6,000 ft hold 15 in, PROP stays, 110 KIAS": the second part of a descent after the first.
fn second_words(problem: &Problem, from_m: f64, part: &DescentPart, first: &DescentPart) -> String {
    let fixed = problem.aircraft.propeller.is_fixed();
    let power = match (part.throttle, part.throttle.set_map_pa()) {
        (_, Some(p)) => format!("hold {} in", inches(inhg(p))),
        (ThrottleRule::Rpm, _) => format!("hold {} rpm", revs(rpm(part.rev_s))),
        (ThrottleRule::Full, _) => "full throttle".to_owned(),
        _ => "throttle as it is".to_owned(),
    };
    let half_step = 0.5 * problem.aircraft.procedures.rev_step_s;
    let prop = if fixed || (part.rev_s - first.rev_s).abs() <= half_step {
        String::new()
    } else {
        format!(", PROP {}", revs(rpm(part.rev_s)))
    };
    let path = match part.path {
        PathRule::Rate(r) => format!("{} fpm", number(fpm(r), 0)),
        PathRule::Ias(v) => format!("{} KIAS", knots(kt(v))),
    };
    let gear = if part.gear_down && !first.gear_down {
        ", gear down"
    } else {
        ""
    };
    format!("from {} ft {power}{prop}{gear}, {path}", feet(ft(from_m)))
}

fn descent(
    plan: &Plan,
    problem: &Problem,
    (fuel, units): (Fuel, Units),
    track: &[Point],
    segments: &[SegmentFigures],
) -> Descent {
    let second = plan.flown.script.descent.second;
    let d = &plan.flown.script.descent.first;
    let cruise = plan.flown.script.cruise.last();
    let found = segments
        .iter()
        .find(|s| s.kind == "descent" || s.kind == "circling_descent");
    let middle = found.and_then(|s| {
        let half = 0.5 * (s.start.indicated_altitude_ft + s.end.indicated_altitude_ft);
        track
            .iter()
            .find(|t| t.segment == s.start.segment && t.indicated_altitude_ft <= half)
    });
    let middle = middle.or(found.map(|s| &s.start));
    let (ias_kt, rate_fpm) = match d.path {
        PathRule::Rate(r) => (middle.map_or(0.0, |m| m.ias_kt), fpm(r)),
        PathRule::Ias(v) => (kt(v), middle.map_or(0.0, |m| -m.vs_fpm)),
    };
    let power_percent = middle.map_or(0.0, |m| m.power_percent);
    let half_step = 0.5 * problem.aircraft.procedures.rev_step_s;
    let fixed = problem.aircraft.propeller.is_fixed();
    let coarse_and_fast = !fixed
        && cruise.is_some_and(|c| d.rev_s < c.rev_s - half_step)
        && power_percent >= percent(POWER_ON);
    // What is set: the flight keeps every reading under the limit line.
    let map_inhg = d
        .throttle
        .set_map_pa()
        .filter(|_| !fixed)
        .map(|p| inhg(p.min(problem.aircraft.map_limit_pa(d.rev_s))));
    let mass_kg = middle.map_or(problem.zero_fuel_kg, |m| {
        m.weight_lb * crate::quantity::KG_PER_LB
    });
    let aircraft = &problem.aircraft;
    let va = Speeds::at_mass(
        aircraft.speeds.va_m_s,
        mass_kg,
        aircraft.masses.max_take_off_kg,
    );
    let rough_up_to_ft = plan
        .flown
        .track
        .iter()
        .filter(|t| plan.flown.segments[t.segment].kind.descends())
        .filter(|t| {
            let above = problem.above_ground_m(t.state.distance_m, t.true_altitude_m);
            problem.limits.roughness(t.indicated_m, above) == Roughness::Rough
        })
        .filter_map(|t| {
            problem
                .limits
                .air
                .iter()
                .find(|(top, _)| t.indicated_m <= *top)
        })
        .map(|(top, _)| ft(*top))
        .fold(None, |most: Option<f64>, x| {
            Some(most.map_or(x, |m| m.max(x)))
        });
    let to_go = up(
        nm(problem.length_m - plan.flown.top_of_descent.distance_m),
        0,
    );
    let flown_so = match d.path {
        PathRule::Rate(_) => format!("{} fpm, about {} KIAS", number(rate_fpm, 0), knots(ias_kt)),
        PathRule::Ias(_) => format!(
            "{} KIAS, about {} fpm",
            knots(ias_kt),
            number(down(rate_fpm, -1), 0)
        ),
    };
    let stays = cruise.is_some_and(|c| (d.rev_s - c.rev_s).abs() <= half_step);
    let most_rev_s = problem.aircraft.propeller.highest_governed_rev_s;
    let held = fixed && matches!(d.throttle, ThrottleRule::Rpm);
    let rev_s = if fixed && !held { most_rev_s } else { d.rev_s };
    let map_words = match map_inhg {
        None => "leave full throttle".to_owned(),
        Some(set) => {
            let now = found.map_or(0.0, |s| s.start.map_inhg);
            let verb = match d.throttle {
                ThrottleRule::LeftAlone(_) => "set and leave",
                _ if set > now + 0.5 => "full throttle till it gives",
                _ if coarse_and_fast && (set - now).abs() < 0.75 => "keep",
                _ => "hold",
            };
            format!("{verb} {} in", inches(set))
        }
    };
    let prop = if stays {
        format!("PROP stays at {}", revs(rpm(d.rev_s)))
    } else if coarse_and_fast {
        format!("PROP back to {}", revs(rpm(d.rev_s)))
    } else {
        format!("PROP {}", revs(rpm(d.rev_s)))
    };
    let set = if fixed {
        fixed_pitch_descent(d.throttle, stays, rev_s)
    } else {
        format!("{map_words}, {prop}")
    };
    let gear = if d.gear_down { ", gear down" } else { "" };
    let from = if to_go > 0.0 {
        format!("{} nm", number(to_go, 0))
    } else {
        "over the field".to_owned()
    };
    let mut words = format!("{set}{gear}, {flown_so}, from {from}");
    if let Some((from_m, part)) = &second {
        let second = second_words(problem, *from_m, part, d);
        words.push_str(&format!("; {second}"));
    }
    if let [_, Some(circling)] = in_short(&plan.flown) {
        words.push_str(&format!("; over the field {circling}"));
    }
    if coarse_and_fast {
        if let Some(g) = gain(plan, problem, fuel) {
            words.push_str(&format!(
                ": {} against the ordinary descent",
                saves(&g, units)
            ));
            words.push_str(&because_words(plan, problem, fuel, units));
        }
        words.push_str("; if bumpy, don't");
    }
    Descent {
        throttle: match d.throttle {
            ThrottleRule::Full => "full",
            ThrottleRule::Rpm => "rpm_held",
            ThrottleRule::Untouched => "untouched",
            ThrottleRule::Held(_) => "held",
            ThrottleRule::LeftAlone(_) => "left_alone",
        },
        map_inhg,
        rpm: rpm(rev_s),
        mixture: mixture_name(problem, d.mixture),
        ias_kt,
        rate_fpm,
        power_percent,
        coarse_and_fast,
        rough_air_ias_kt: kt(va),
        rough_up_to_ft,
        second_from_ft: second.map(|s| ft(s.0)),
        gear_as_brake: plan.flown.script.descent.last().gear_down,
        sentence: words,
    }
}

/// What was asked to be kept besides.
fn bounds(problem: &Problem, fuel: Fuel, units: Units) -> Vec<Said> {
    let b = &problem.bounds;
    let begin = match problem.start {
        Start::Ground => "start-up",
        Start::InFlight { .. } => "now",
    };
    let said = |kind, text| Said { kind, text };
    [
        b.within_s.map(|s| {
            said(
                "arrive_within",
                format!(
                    "landing within {} of {begin}",
                    super::words::clock((s / 60.0 + 1e-6).floor())
                ),
            )
        }),
        b.most_fuel_kg.map(|kg| {
            said(
                "fuel_at_most",
                format!(
                    "at most {} from {begin} to shutdown",
                    units.left(fuel.gal(kg))
                ),
            )
        }),
        b.least_landing_kg.map(|kg| {
            said(
                "land_with",
                format!("at least {} left", units.burned(fuel.gal(kg))),
            )
        }),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn conditions(plan: &Plan, problem: &Problem, track: &[Point]) -> Conditions {
    let top_m = plan
        .flown
        .script
        .cruise
        .iter()
        .map(|c| c.level_m)
        .fold(0.0, f64::max)
        + 2.0 * CONDITION_STEP_M;
    let mut winds = Vec::new();
    for leg in &problem.legs {
        let pieces = ((leg.to_m - leg.from_m) / STRETCH_M).ceil().max(1.0);
        let length_m = (leg.to_m - leg.from_m) / pieces;
        let mut from_m = leg.from_m;
        while from_m < leg.to_m - 0.5 * length_m {
            let middle_m = from_m + 0.5 * length_m;
            // From the sea up where the ground is not known.
            let ground_m = problem.ground_m(middle_m).unwrap_or(0.0);
            let ground_hp_m = problem.pressure_altitude_m(middle_m, ground_m);
            let mut hp_m = (ground_hp_m / CONDITION_STEP_M).floor() * CONDITION_STEP_M;
            let mut levels = Vec::new();
            while hp_m <= top_m {
                let air = problem.air.at(middle_m, hp_m, problem.time_s(middle_m));
                levels.push(WindLevel {
                    pressure_altitude_ft: ft(hp_m),
                    indicated_altitude_ft: ft(problem.indicated_m(middle_m, hp_m)),
                    wind_along_kt: kt(air.along_m_s),
                    wind_cross_kt: kt(air.cross_m_s),
                    temperature_c: celsius(air.temperature_k),
                });
                hp_m += CONDITION_STEP_M;
            }
            winds.push(StretchWind {
                from_nm: nm(from_m),
                to_nm: nm(from_m + length_m),
                levels,
            });
            from_m += length_m;
        }
    }
    let mut weights: Vec<WeightPoint> = Vec::new();
    for p in track {
        let due = weights
            .last()
            .is_none_or(|w| p.distance_nm >= w.distance_nm + nm(WEIGHT_STEP_M) - 1e-3);
        if due {
            weights.push(WeightPoint {
                distance_nm: p.distance_nm,
                weight_lb: p.weight_lb,
            });
        }
    }
    if let (Some(end), Some(last)) = (track.last(), weights.last())
        && end.weight_lb < last.weight_lb
    {
        weights.push(WeightPoint {
            distance_nm: end.distance_nm,
            weight_lb: end.weight_lb,
        });
    }
    Conditions {
        winds,
        freezing: freezing(problem, top_m),
        weights,
    }
}

fn limit_words(limit: Limit, plan: &Plan, problem: &Problem) -> Said {
    let limits = &problem.limits;
    let (kind, text) = match limit {
        Limit::Airspeed => ("airspeed", "indicated airspeed is at the most the air allows".to_owned()),
        Limit::LowSpeed => (
            "low_speed",
            "indicated airspeed is at its least (1.3 Vs in cruise, Vy or cooling in the climb, pattern speed in the descent)"
                .to_owned(),
        ),
        Limit::ManifoldPressure => ("manifold_pressure", "MAP is on the limit line for the RPM".to_owned()),
        Limit::RpmBand => ("rpm_band", "RPM is at the edge of a band to avoid".to_owned()),
        Limit::CruisePower => (
            "cruise_power",
            format!(
                "cruise power is at the greatest of your profile, {} %",
                number(percent(problem.aircraft.procedures.cruise_power_fraction), 0)
            ),
        ),
        Limit::Mixture => ("mixture", "power is at the most the mixture may be used with".to_owned()),
        Limit::LeastManifoldPressure => (
            "least_manifold_pressure",
            format!("MAP in the descent is at the least asked for, {} in", inches(inhg(limits.least_map_pa))),
        ),
        Limit::ClimbRate => {
            ("climb_rate", "rate of climb on reaching the level is at the least that is planned with".to_owned())
        }
        Limit::DescentRate => (
            "descent_rate",
            format!("rate of descent is at the greatest asked for, {} fpm", number(fpm(limits.max_descent_m_s), 0)),
        ),
        Limit::GearExtension => ("gear_extension", "the gear is extended at the greatest speed for it, Vlo".to_owned()),
        Limit::GearDown => ("gear_down", "indicated airspeed is at the most with the gear down, Vle".to_owned()),
        Limit::Ground => ("ground", "height over the ground is at its least".to_owned()),
        Limit::Forbidden => {
            let names = touched(plan, problem);
            ("forbidden", format!("the path runs along heights that are forbidden ({})", names.join(", ")))
        }
        Limit::Ceiling => ("ceiling", "altitude is at the most a leg allows".to_owned()),
        Limit::Level => (
            "level",
            "a level is held to the end of the legs that allow it".to_owned(),
        ),
        Limit::Governor => ("governor", "the propeller is about to reach a pitch stop".to_owned()),
        Limit::Redline => (
            "redline",
            format!(
                "RPM is at the redline, {}: the throttle keeps it there",
                revs(rpm(problem.aircraft.propeller.highest_governed_rev_s))
            ),
        ),
        Limit::Fuel => ("fuel", "the fuel on board is all needed".to_owned()),
        Limit::LandingMass => ("landing_weight", "weight at landing is at its greatest".to_owned()),
        Limit::ArriveWithin => ("arrive_within", "the time asked for is all used".to_owned()),
        Limit::FuelBound => ("fuel_bound", "the fuel asked for is all used".to_owned()),
        Limit::Distance => ("distance", "climb and descent leave no room for cruise".to_owned()),
    };
    Said { kind, text }
}

fn barred(problem: &Problem) -> Vec<BarredFigures> {
    let bound = |m: f64| m.is_finite().then_some(ft(m));
    let figure = |p: &Patch| BarredFigures {
        name: p.name.clone(),
        kind: match p.kind {
            PatchKind::KeepOut => "keep_out",
            PatchKind::Cloud => "cloud",
            PatchKind::Ice => "ice",
        },
        from_nm: nm(p.from_m.max(0.0)),
        to_nm: nm(p.to_m.min(problem.length_m)),
        low_ft: bound(p.low_m),
        high_ft: bound(p.high_m),
    };
    problem.forbidden.iter().map(figure).collect()
}

/// True less indicated altitude on the part of a flown path over a leg, where the two differ most, m.
fn true_height_correction_m(plan: &Plan, leg: &Leg) -> f64 {
    let on_it = |t: &&TrackPoint| (leg.from_m..=leg.to_m).contains(&t.state.distance_m);
    let points = plan.flown.track.iter().filter(on_it);
    let differences = points.map(|t| t.true_altitude_m - t.indicated_m);
    differences
        .max_by(|a, b| a.abs().total_cmp(&b.abs()))
        .unwrap_or(0.0)
}

/// Names of the forbidden patches that the path comes next to.
fn touched<'a>(plan: &Plan, problem: &'a Problem) -> Vec<&'a str> {
    // What the audit calls next to a limit.
    const NEXT_TO_M: f64 = 30.0 * M_PER_FT;
    let path = |t: &TrackPoint| (t.state.distance_m, t.indicated_m);
    let mut names: Vec<&str> = Vec::new();
    for patch in &problem.forbidden {
        let near = plan.flown.track.windows(2).any(|w| {
            patch
                .depth_m(path(&w[0]), path(&w[1]))
                .is_some_and(|depth_m| depth_m > -NEXT_TO_M)
        });
        if near && !names.contains(&patch.name.as_str()) {
            names.push(&patch.name);
        }
    }
    names
}

fn leg_name(problem: &Problem, leg: usize) -> String {
    problem
        .legs
        .get(leg)
        .map_or(String::new(), |l| format!("{} to {}", l.from, l.to))
}

pub(super) fn warning_words(
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
pub(super) fn cautions(aircraft: &Aircraft) -> Vec<String> {
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
fn card_notes(aircraft: &Aircraft) -> Vec<String> {
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

/// What the plan in one line leaves out to be one line, the least missed first.
const SHORTER: [&str; 3] = ["heights of circling", "throttle readings", "later settings"];

fn in_one_line(
    plan: &Plan,
    problem: &Problem,
    cruise: &[CruiseFigures],
    landing: &Amount,
) -> String {
    let to_go = up(
        nm(problem.length_m - plan.flown.top_of_descent.distance_m),
        0,
    );
    let circling = in_short(&plan.flown);
    let line = |without: usize| {
        let [heights, readings, later] = std::array::from_fn(|i| i >= without);
        let mut parts = Vec::new();
        for (i, c) in cruise.iter().enumerate() {
            let level = if i > 0 {
                format!(
                    "then {} ft from {} nm",
                    feet(c.level_ft),
                    number(c.from_nm, 0)
                )
            } else {
                format!("{} ft", feet(c.level_ft))
            };
            parts.push(level);
            if i == 0 || later {
                parts.push(if readings {
                    c.setting.clone()
                } else {
                    without_brackets(&c.setting)
                });
            }
        }
        let turns = |words: &String, short: &str| {
            if heights {
                words.clone()
            } else {
                short.to_owned()
            }
        };
        let [up_circling, down_circling] = &circling;
        let climb = up_circling.as_ref();
        parts.extend(climb.map(|words| format!("climb {}", turns(words, "circling"))));
        parts.push(if to_go > 0.0 {
            format!("down at {} nm", number(to_go, 0))
        } else {
            "down over the field".to_owned()
        });
        parts.extend(down_circling.as_ref().map(|words| turns(words, "circling")));
        parts.push(format!("lands with {landing}"));
        parts.join(", ")
    };
    let lines = (0..=SHORTER.len()).map(line);
    let mut shortest = String::new();
    for one in lines {
        shortest = one;
        if shortest.chars().count() <= WIDEST {
            break;
        }
    }
    shortest
}

/// "full throttle / 2,500" of "full throttle (19.6 in) / 2,500".
fn without_brackets(setting: &str) -> String {
    match (setting.find(" ("), setting.find(')')) {
        (Some(from), Some(to)) if from < to => {
            format!("{}{}", &setting[..from], &setting[to + 1..])
        }
        _ => setting.to_owned(),
    }
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
        let mut places: Vec<String> = problem.legs.iter().map(|l| l.from.clone()).collect();
        places.extend(problem.legs.last().map(|l| l.to.clone()));
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
                places,
                start_in_flight,
                fuel_on_board_gal: fuel.gal(problem.fuel_kg),
                take_off_weight_lb: lb(take_off_kg),
                landing_weight_lb: lb(take_off_kg - plan.totals.fuel_kg),
                taxi_fuel_gal: fuel.gal(aircraft.procedures.taxi_fuel_kg),
                take_off_run_fuel_gal: fuel.gal(aircraft.procedures.take_off_fuel_kg),
            },
            objective: ObjectiveFigures {
                kind: match plan.objective {
                    Objective::Time => "time",
                    Objective::Fuel => "fuel",
                    Objective::Money => "money",
                },
                value: value(plan.objective_value),
                unit: match plan.objective {
                    Objective::Time => "min",
                    Objective::Fuel => "gal",
                    Objective::Money => "money",
                },
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
            levels_ft: flown.script.cruise.iter().map(|c| ft(c.level_m)).collect(),
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
