//! Lever moves from one setting to another, in the right order.

use crate::aircraft::{Throttle, engine::Intake};
use crate::brief::units::{inhg, rpm};
use crate::brief::words::{inches, number, revs};
use crate::quantity::PA_PER_INHG;
use crate::trip::Problem;
use schemars::JsonSchema;
use serde::Serialize;

/// A difference in manifold pressure too small to move a lever for, Pa.
pub(super) const NO_MOVE_PA: f64 = 0.25 * PA_PER_INHG;
/// A difference in manifold pressure too small to be read on a gauge, to which the throttle is not set again, Pa.
const UNSEEN_PA: f64 = 0.1 * PA_PER_INHG;
/// What is read on a manifold pressure gauge, Pa.
const GAUGE_PA: f64 = 0.1 * PA_PER_INHG;
/// A difference in crankshaft speed too small to move a lever for, rev/s.
pub(super) const NO_MOVE_REV_S: f64 = 5.0 / 60.0;
/// How power changed by less than this fraction counts as reduced, which is the more careful order.
const SAME_POWER: f64 = 0.005;

/// What the levers are set to.
#[derive(Debug, Clone, Copy)]
pub(super) struct Setting {
    /// Full, at a manifold pressure, or (fixed pitch) where `rev_s` has it.
    pub(super) throttle: Throttle,
    /// What is set; fixed pitch: what the tachometer shows.
    pub(super) rev_s: f64,
    pub(super) mixture: usize,
}

impl Setting {
    /// Full throttle.
    pub(super) fn full(rev_s: f64, mixture: usize) -> Self {
        Self {
            throttle: Throttle::Full,
            rev_s,
            mixture,
        }
    }

    pub(super) fn is_full(self) -> bool {
        self.throttle == Throttle::Full
    }

    /// The reading set, Pa; `None`: full throttle.
    pub(super) fn map_pa(self) -> Option<f64> {
        match self.throttle {
            Throttle::Map(p) => Some(p),
            _ => None,
        }
    }
}

/// One lever moved.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Move {
    pub(super) lever: Lever,
    pub(super) action: String,
    pub(super) expect: String,
    /// Reading after it, Pa (not a number at fixed pitch) and rev/s, and the mixture: the path of the levers.
    pub(super) map_pa: f64,
    pub(super) rev_s: f64,
    pub(super) mixture: usize,
}

/// What a hand moves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Lever {
    /// Throttle.
    Throttle,
    /// Propeller lever.
    Prop,
    /// Mixture.
    Mixture,
    /// Cowl flaps: engine gauges stay.
    CowlFlaps,
    /// None: the gauge moves by itself.
    None,
}

/// The names of the mixtures, richest first, with their fuel-air ratio.
pub(super) fn mixture_move(problem: &Problem, from: usize, to: usize) -> Option<String> {
    let rows = &problem.aircraft.engine.spec.mixtures;
    let (a, b) = (rows.get(from)?, rows.get(to)?);
    if from == to {
        None
    } else if b.fuel_air > a.fuel_air {
        let full = to == problem.aircraft.engine.full_rich_mixture();
        Some(format!(
            "MIXTURE {} {}",
            if full { "full forward," } else { "forward to" },
            b.name
        ))
    } else {
        Some(format!("MIXTURE back to {}", b.name))
    }
}

/// Lever moves from one setting to another in air and speed of the moment, in the right order.
///
/// `now_pa` is what the manifold pressure gauge shows before.
pub(super) fn lever_moves(
    problem: &Problem,
    intake: Intake,
    now_pa: f64,
    from: Setting,
    to: Setting,
) -> Vec<Move> {
    let aircraft = &problem.aircraft;
    if aircraft.propeller.is_fixed() {
        return fixed_pitch_moves(problem, from, to);
    }
    let engine = &aircraft.engine;
    // Full throttle that would pass the limit line is set to what the line allows, as it is flown.
    let limit_pa = if to.rev_s < aircraft.propeller.highest_governed_rev_s - NO_MOVE_REV_S {
        aircraft.map_limit_pa(to.rev_s)
    } else {
        f64::INFINITY
    };
    let to = if to.is_full() && engine.map_pa(to.throttle, to.rev_s, intake) > limit_pa + 1.0 {
        Setting {
            throttle: Throttle::Map((limit_pa / GAUGE_PA + 1e-6).floor() * GAUGE_PA),
            ..to
        }
    } else {
        to
    };
    let end_pa = engine.map_pa(to.throttle, to.rev_s, intake);
    let power = |map, rev, mix| engine.at_map(map, rev, mix, intake).power_w;
    let before_w = power(now_pa, from.rev_s, from.mixture);
    let after_w = power(end_pa, to.rev_s, to.mixture);
    let reducing = after_w <= before_w + SAME_POWER * engine.spec.rated_power_w;
    let mut moves = Vec::new();
    let mut map_pa = now_pa;
    let mut rev_s = from.rev_s;
    let mut full = from.is_full();
    let mixture = |moves: &mut Vec<Move>, map_pa: f64, rev_s: f64| {
        if let Some(action) = mixture_move(problem, from.mixture, to.mixture) {
            moves.push(Move {
                lever: Lever::Mixture,
                action,
                expect: String::new(),
                map_pa,
                rev_s,
                mixture: to.mixture,
            });
        }
    };
    let mut held = from.mixture;
    if !reducing {
        mixture(&mut moves, map_pa, rev_s);
        held = to.mixture;
    }
    let prop_back = to.rev_s < from.rev_s - NO_MOVE_REV_S;
    let reached = to
        .map_pa()
        .is_some_and(|wanted| wanted <= end_pa + NO_MOVE_PA);
    if reducing && prop_back && reached {
        let g = engine.conductance(end_pa, to.rev_s, intake);
        let retard = engine.map_pa(Throttle::Fixed(g), from.rev_s, intake);
        let step = aircraft.procedures.map_step_pa.max(1.0);
        // With a turbocharger the reading hardly moves as the propeller comes back: then straight to the one wanted.
        let retard = if retard < end_pa - 0.5 * GAUGE_PA {
            (retard / step + 1e-6).floor() * step
        } else {
            end_pa
        };
        if retard < map_pa - NO_MOVE_PA {
            let left = Throttle::Fixed(engine.conductance(retard, from.rev_s, intake));
            let rise = engine.map_pa(left, to.rev_s, intake) - retard;
            map_pa = retard;
            full = false;
            moves.push(Move {
                lever: Lever::Throttle,
                action: if rise > UNSEEN_PA {
                    format!(
                        "THROTTLE back to {} in (PROP will add {})",
                        inches(inhg(retard)),
                        inches(inhg(rise))
                    )
                } else {
                    format!("THROTTLE back to {} in", inches(inhg(retard)))
                },
                expect: String::new(),
                map_pa,
                rev_s,
                mixture: held,
            });
        }
    }
    // Power comes off by the throttle first also where the propeller then goes forward.
    let prop_forward = to.rev_s > from.rev_s + NO_MOVE_REV_S;
    if let Some(wanted) = to
        .map_pa()
        .filter(|&wanted| reducing && prop_forward && wanted < map_pa - NO_MOVE_PA)
    {
        map_pa = wanted;
        full = false;
        moves.push(Move {
            lever: Lever::Throttle,
            action: format!("THROTTLE back to {} in", inches(inhg(wanted))),
            expect: String::new(),
            map_pa,
            rev_s,
            mixture: held,
        });
    }
    if (to.rev_s - rev_s).abs() > NO_MOVE_REV_S {
        let fixed = if full {
            Throttle::Full
        } else {
            Throttle::Fixed(engine.conductance(map_pa, rev_s, intake))
        };
        let risen = engine.map_pa(fixed, to.rev_s, intake);
        let way = if to.rev_s < rev_s { "back" } else { "forward" };
        let changed = if (risen - map_pa).abs() < 0.05 * PA_PER_INHG {
            String::new()
        } else if risen > map_pa {
            format!("MAP comes up to about {}", inches(inhg(risen)))
        } else {
            format!("MAP falls to about {}", inches(inhg(risen)))
        };
        map_pa = risen;
        rev_s = to.rev_s;
        moves.push(Move {
            lever: Lever::Prop,
            action: format!("PROP {way} to {}", revs(rpm(to.rev_s))),
            expect: changed,
            map_pa,
            rev_s,
            mixture: held,
        });
    }
    match to.map_pa() {
        None if !full => moves.push(Move {
            lever: Lever::Throttle,
            action: "THROTTLE full forward".to_owned(),
            expect: format!("about {} in", inches(inhg(end_pa))),
            map_pa: end_pa,
            rev_s,
            mixture: held,
        }),
        None => {}
        // A reading above what full throttle gives here: it is reached lower down.
        Some(wanted) if wanted > end_pa + NO_MOVE_PA && !full => moves.push(Move {
            lever: Lever::Throttle,
            action: format!(
                "THROTTLE full forward, {} in when reached",
                inches(inhg(wanted))
            ),
            expect: format!("about {} in here", inches(inhg(end_pa))),
            map_pa: end_pa,
            rev_s,
            mixture: held,
        }),
        Some(wanted) if wanted > end_pa + NO_MOVE_PA => {}
        Some(wanted) => {
            let touched = moves.iter().any(|m| m.lever != Lever::Mixture);
            let off_pa = (wanted - map_pa).abs();
            if off_pa > NO_MOVE_PA || (touched && off_pa > UNSEEN_PA) {
                let way = if wanted < map_pa - NO_MOVE_PA {
                    "back to"
                } else if wanted > map_pa + NO_MOVE_PA {
                    "forward to"
                } else {
                    "set"
                };
                moves.push(Move {
                    lever: Lever::Throttle,
                    action: format!("THROTTLE {way} {} in", inches(inhg(wanted))),
                    expect: String::new(),
                    map_pa: wanted,
                    rev_s,
                    mixture: held,
                });
            }
        }
    }
    if reducing {
        // Where the throttle was set last it shows what was wanted.
        let last_pa = moves.last().map_or(map_pa, |m| m.map_pa);
        mixture(&mut moves, last_pa, rev_s);
    }
    moves
}

/// The same with a fixed pitch: the throttle is set by the tachometer. `from.rev_s` is what it shows before.
fn fixed_pitch_moves(problem: &Problem, from: Setting, to: Setting) -> Vec<Move> {
    let way = if to.is_full() {
        (!from.is_full()).then(|| "full forward".to_owned())
    } else if to.rev_s < from.rev_s - NO_MOVE_REV_S {
        Some(format!("back to {} rpm", revs(rpm(to.rev_s))))
    } else if to.rev_s > from.rev_s + NO_MOVE_REV_S {
        Some(format!("forward to {} rpm", revs(rpm(to.rev_s))))
    } else {
        None
    };
    let adding = (to.is_full() && !from.is_full()) || to.rev_s > from.rev_s + NO_MOVE_REV_S;
    let one = |lever: Lever, action: String, rev_s: f64, mixture: usize| Move {
        lever,
        action,
        expect: String::new(),
        map_pa: f64::NAN,
        rev_s,
        mixture,
    };
    let (throttle_with, mixture_at) = if adding {
        (to.mixture, from.rev_s)
    } else {
        (from.mixture, to.rev_s)
    };
    let throttle = way.map(|way| {
        one(
            Lever::Throttle,
            format!("THROTTLE {way}"),
            to.rev_s,
            throttle_with,
        )
    });
    let mixture = mixture_move(problem, from.mixture, to.mixture)
        .map(|action| one(Lever::Mixture, action, mixture_at, to.mixture));
    if adding {
        mixture.into_iter().chain(throttle).collect()
    } else {
        throttle.into_iter().chain(mixture).collect()
    }
}

/// 21, 20, 19.5: readings of a reduction from one reading to another. `unseen` is a step too small to take.
pub(super) fn readings(from: f64, to: f64, step: f64, unseen: f64) -> Vec<f64> {
    let mut readings = Vec::new();
    let mut here = from;
    while here > to + 0.01 * unseen && step > unseen && readings.len() < 40 {
        // A last step too small to see is taken with the one before.
        here = if here - step < to + unseen {
            to
        } else {
            here - step
        };
        readings.push(here);
    }
    readings
}

/// "21, 20, 19.5"; the middle of a long row is left out.
pub(super) fn row(readings: &[f64], write: impl Fn(f64) -> String) -> String {
    match readings {
        [first, second, _, _, .., last] if readings.len() > 5 => {
            format!(
                "{}, {}, ... {}",
                write(*first),
                write(*second),
                write(*last)
            )
        }
        all => all.iter().map(|&r| write(r)).collect::<Vec<_>>().join(", "),
    }
}

/// "an inch every 30 s".
pub(super) fn pace(step_pa: f64, interval_s: f64) -> String {
    let step = inches(inhg(step_pa));
    let one = if step == "1" {
        "an inch".to_owned()
    } else {
        format!("{step} in")
    };
    if (interval_s - 60.0).abs() < 0.5 {
        format!("{one} a minute")
    } else {
        format!("{one} every {} s", number(interval_s, 0))
    }
}
