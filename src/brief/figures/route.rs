//! What the plan is flown over and between: legs and ground, what may not be entered, the fields at the ends, the alternate.

use crate::brief::units::{ft, nm};
use crate::flight::TrackPoint;
use crate::solve::Plan;
use crate::trip::{Leg, Patch, PatchKind, Problem};
use schemars::JsonSchema;
use serde::Serialize;

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

/// Departure, via points and destination.
pub(in crate::brief) fn places(problem: &Problem) -> Vec<String> {
    let mut places: Vec<String> = problem.legs.iter().map(|l| l.from.clone()).collect();
    places.extend(problem.legs.last().map(|l| l.to.clone()));
    places
}

pub(super) fn barred(problem: &Problem) -> Vec<BarredFigures> {
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
pub(super) fn true_height_correction_m(plan: &Plan, leg: &Leg) -> f64 {
    let on_it = |t: &&TrackPoint| (leg.from_m..=leg.to_m).contains(&t.state.distance_m);
    let points = plan.flown.track.iter().filter(on_it);
    let differences = points.map(|t| t.true_altitude_m - t.indicated_m);
    differences
        .max_by(|a, b| a.abs().total_cmp(&b.abs()))
        .unwrap_or(0.0)
}
