//! Keep-out volumes and cloud, laid along the route as forbidden patches.

use super::{Patch, PatchKind, Problem, Trip};
use crate::earth::geodesic;
use crate::earth::keep_out::Volume;
use crate::quantity::{M_PER_FT, M_PER_NM, ZERO_C_K};

/// What is in the air along the route besides air.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Airspace {
    /// Volumes to keep out of.
    pub keep_outs: Vec<Volume>,
    /// How far beside the route a volume still counts, m.
    pub margin_m: f64,
    /// Layers of cloud.
    pub clouds: Vec<Cloud>,
}

/// A layer of cloud or other visible moisture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cloud {
    /// Base, indicated, m.
    pub base_m: f64,
    /// Top, indicated, m.
    pub top_m: f64,
    /// Where it begins along the route, m; minus infinity where it lies at the departure already.
    pub from_m: f64,
    /// Where it ends along the route, m; infinity where it reaches beyond the destination.
    pub to_m: f64,
}

impl Cloud {
    /// The same for a flight that goes on from the end of a route of this length \[m\], wherever it goes; `None` where the layer ends
    /// before.
    pub fn from_the_end_of(&self, length_m: f64) -> Option<Self> {
        (self.to_m >= length_m).then_some(Self {
            from_m: f64::NEG_INFINITY,
            to_m: self.to_m - length_m,
            ..*self
        })
    }

    /// Whether a point of the route \[m\] at an indicated altitude \[m\] is in it, its edges included.
    pub fn holds(&self, distance_m: f64, indicated_m: f64) -> bool {
        (self.from_m..=self.to_m).contains(&distance_m)
            && (self.base_m..=self.top_m).contains(&indicated_m)
    }
}

// 14 CFR 91.155(a), Class E: below 10,000 ft MSL 500 ft below, 1,000 ft above and 2,000 ft beside cloud; at and above, 1,000 ft
// below, 1,000 ft above and 1 statute mile beside. ICAO Annex 2 table 3-1 and SERA.5001 (from memory) ask for 1,000 ft and 1,500 m
// from 3,000 ft AMSL on, which is taken where those rules hold.
const HIGH_FROM_M: f64 = 10_000.0 * M_PER_FT;
const BELOW_M: f64 = 500.0 * M_PER_FT;
const THOUSAND_M: f64 = 1_000.0 * M_PER_FT;
const BESIDE_M: f64 = 2_000.0 * M_PER_FT;
const STATUTE_MILE_M: f64 = 5_280.0 * M_PER_FT;
const ICAO_HIGH_FROM_M: f64 = 3_000.0 * M_PER_FT;
const ICAO_BESIDE_M: f64 = 1_500.0;
/// The distances "at and above" a height hold at that height itself: a patch, whose edges are outside, begins this far below.
const AT_IT_M: f64 = M_PER_FT;

/// Cloud is looked through for ice in stretches of at most this length, m, and steps of this height.
const ICE_STRETCH_M: f64 = 5.0 * M_PER_NM;
const ICE_STEP_M: f64 = 100.0 * M_PER_FT;

/// Turns over a field take so much room all round, m: 3 nm, the diameter of a turn with 20 degrees of bank at 193 KTAS (2 V²/(g tan(bank))),
/// about as fast as what is held in light air goes at 10,000 ft.
pub(super) const TURNING_ROOM_M: f64 = 3.0 * M_PER_NM;
/// A patch that ends this near an end of the route reaches over the field there, m: a path ends as near to it, on either side.
const AT_THE_END_M: f64 = 10.0;

/// A patch that reaches an end of the route goes on beyond it: what is flown over the field is in it.
fn over_the_ends(mut patch: Patch, length_m: f64) -> Patch {
    if patch.from_m < AT_THE_END_M {
        patch.from_m = f64::NEG_INFINITY;
    }
    if patch.to_m > length_m - AT_THE_END_M {
        patch.to_m = f64::INFINITY;
    }
    patch
}

/// Patches of keep-out volumes, and those that visual flight keeps from cloud; a route of these legs and this length \[m\], with so much
/// room all round \[m\].
pub(super) fn patches(
    trip: &Trip,
    legs: &[geodesic::Leg],
    length_m: f64,
    room_m: f64,
) -> Vec<Patch> {
    let mut out = Vec::new();
    for volume in &trip.airspace.keep_outs {
        let mut begins_m = 0.0;
        for leg in legs {
            for (from_m, to_m) in volume.stretches_m(leg, trip.airspace.margin_m + room_m) {
                out.push(Patch {
                    from_m: begins_m + from_m,
                    to_m: begins_m + to_m,
                    low_m: volume.lower_m,
                    high_m: volume.upper_m,
                    name: volume.name.clone(),
                    kind: PatchKind::KeepOut,
                });
            }
            begins_m += leg.distance_m();
        }
    }
    if trip.rules.visual() {
        let us = trip.rules == super::Rules::UsVfr;
        let (high_from_m, high_beside_m) = if us {
            (HIGH_FROM_M, STATUTE_MILE_M)
        } else {
            (ICAO_HIGH_FROM_M, ICAO_BESIDE_M)
        };
        for cloud in &trip.airspace.clouds {
            let top_m = cloud.top_m + THOUSAND_M;
            let mut keep = |low_m: f64, beside_m: f64| {
                if low_m < top_m {
                    out.push(Patch {
                        from_m: cloud.from_m - beside_m - room_m,
                        to_m: cloud.to_m + beside_m + room_m,
                        low_m,
                        high_m: top_m,
                        name: cloud_name(cloud),
                        kind: PatchKind::Cloud,
                    });
                }
            };
            keep(cloud.base_m - BELOW_M, BESIDE_M);
            keep(
                (cloud.base_m - THOUSAND_M).max(high_from_m - AT_IT_M),
                high_beside_m,
            );
        }
    }
    out.into_iter()
        .map(|patch| over_the_ends(patch, length_m))
        .collect()
}

fn cloud_name(cloud: &Cloud) -> String {
    format!(
        "cloud from {:.0} to {:.0} ft",
        cloud.base_m / M_PER_FT,
        cloud.top_m / M_PER_FT
    )
}

/// Patches of cloud at or below freezing, in the coldest of the forecasts; none for an aircraft approved for icing, and none in
/// visual flight, which keeps out of cloud altogether. With so much room before and behind \[m\].
pub(super) fn ice(problem: &Problem, room_m: f64) -> Vec<Patch> {
    let mut out = Vec::new();
    if problem.aircraft.equipment.approved_for_icing || problem.rules.visual() {
        return out;
    }
    for cloud in &problem.clouds {
        let from_m = (cloud.from_m - room_m).max(0.0);
        let to_m = (cloud.to_m + room_m).min(problem.length_m);
        let count = ((to_m - from_m) / ICE_STRETCH_M).ceil().max(1.0);
        let ends = |i: f64| from_m + (to_m - from_m) * i / count;
        let steps = ((cloud.top_m - cloud.base_m) / ICE_STEP_M).ceil().max(1.0);
        let mut i = 0.0;
        while from_m < to_m && i < count {
            let (s0, s1) = (ends(i), ends(i + 1.0));
            i += 1.0;
            let icy = |h_m: f64| {
                [s0, 0.5 * (s0 + s1), s1].iter().any(|&s| {
                    let hp = problem.pressure_altitude_m(s, h_m);
                    problem.air.coldest_k(s, hp) <= ZERO_C_K
                })
            };
            // Runs of icy heights, each a step wider both ways than what was seen, so that nothing between two steps is missed.
            let height = |j: f64| cloud.base_m + (cloud.top_m - cloud.base_m) * j / steps;
            let mut run: Option<(f64, f64)> = None;
            let mut j = 0.0;
            let mut close = |run: &mut Option<(f64, f64)>| {
                if let Some((low_m, high_m)) = run.take() {
                    let patch = Patch {
                        from_m: s0,
                        to_m: s1,
                        low_m,
                        high_m,
                        name: format!("{} at or below 0 C", cloud_name(cloud)),
                        kind: PatchKind::Ice,
                    };
                    out.push(over_the_ends(patch, problem.length_m));
                }
            };
            while j <= steps {
                if icy(height(j)) {
                    let (low_m, high_m) =
                        (height((j - 1.0).max(0.0)), height((j + 1.0).min(steps)));
                    let low_m = run.map_or(low_m, |r| r.0);
                    run = Some((low_m, high_m));
                } else {
                    close(&mut run);
                }
                j += 1.0;
            }
            close(&mut run);
        }
    }
    out
}
