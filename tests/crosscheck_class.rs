//! The solver against exhaustive search within the flyable class: from the plan, every settable value of one block of choices at a
//! time (climb, cruise, descent), each fully flown, block after block until none finds anything better. Nothing here comes from
//! the solver but the start, how a flight is flown and what a lever change is charged.

use fellrun::aircraft::Throttle;
use fellrun::files::trip::parse_trip;
use fellrun::flight::{
    Descent, DescentPart, Flown, Memory, PathRule, Script, ThrottleRule, fly, fly_fine,
};
use fellrun::quantity::{M_PER_FT, M_S_PER_FPM, M_S_PER_KT, PA_PER_INHG};
use fellrun::solve::{charged, plan_trip, prepared};
use fellrun::trip::{Objective, Problem};
use std::cell::RefCell;
use std::path::Path;

/// What the solver may leave on the table, relative: one lever change.
const LEFT: f64 = 1e-3;
/// Rounds of the blocks.
const ROUNDS: usize = 3;

struct Best<'a> {
    p: &'a Problem,
    memory: RefCell<Memory>,
    fine: RefCell<Memory>,
    script: Script,
    cost: f64,
    flights: usize,
}

impl Best<'_> {
    fn fly(&mut self, script: &Script) -> Option<Flown> {
        let mut script = prepared(self.p, script);
        script.descent.to_go_m = f64::NAN;
        self.flights += 1;
        fly(self.p, &script, None, &self.memory).ok()
    }

    fn offer(&mut self, script: &Script) -> bool {
        let Some(f) = self.fly(script) else {
            return false;
        };
        let mut better = f.audit.violation() == 0.0 && charged(&f) < self.cost * (1.0 - 1e-6);
        if better {
            // As the final plan is flown, for a limit that is just kept in coarse steps may not be in fine ones.
            let open = Script {
                descent: Descent {
                    to_go_m: f64::NAN,
                    ..f.script.descent
                },
                ..f.script.clone()
            };
            let fine = fly_fine(self.p, &open, None, &self.fine);
            better = fine.is_ok_and(|f| f.audit.violation() == 0.0);
        }
        if better {
            self.cost = charged(&f);
            self.script = f.script;
        }
        better
    }
}

fn steps(from: f64, to: f64, step: f64) -> Vec<f64> {
    let mut out = vec![];
    let mut x = from;
    while x <= to + 1e-9 {
        out.push(x);
        x += step;
    }
    out
}

fn climbs(best: &mut Best) -> bool {
    let p = best.p;
    let mut any = false;
    for ias in steps(75.0, 130.0, 5.0) {
        for &rev_s in &p.aircraft.procedures.climb_rev_s {
            let mut s = best.script.clone();
            s.climb.ias_m_s = ias * M_S_PER_KT;
            s.climb.rev_s = rev_s;
            any |= best.offer(&s);
        }
    }
    any
}

fn cruises(best: &mut Best) -> bool {
    let p = best.p;
    let mut any = false;
    for i in 0..best.script.cruise.len() {
        for rpm in steps(1_500.0, 2_700.0, 50.0) {
            for mixture in 0..p.aircraft.engine.spec.mixtures.len() {
                let throttles = steps(15.0, 26.0, 0.5)
                    .into_iter()
                    .map(|m| Throttle::Map(m * PA_PER_INHG))
                    .chain([Throttle::Full]);
                for throttle in throttles {
                    let mut s = best.script.clone();
                    let c = &mut s.cruise[i];
                    (c.throttle, c.rev_s, c.mixture) = (throttle, rpm / 60.0, mixture);
                    any |= best.offer(&s);
                }
            }
        }
    }
    any
}

fn descents(best: &mut Best, fine: bool) -> bool {
    let p = best.p;
    let pattern_m = p.arrival.pattern_altitude_m;
    let last = best.script.cruise[best.script.cruise.len() - 1];
    let mut any = false;
    let (rev_step, map_step) = if fine { (50.0, 0.5) } else { (200.0, 1.0) };
    let paths: Vec<PathRule> = steps(100.0, p.limits.max_descent_m_s / M_S_PER_FPM, 50.0)
        .into_iter()
        .map(|r| PathRule::Rate(r * M_S_PER_FPM))
        .chain(
            steps(90.0, 160.0, 5.0)
                .into_iter()
                .map(|v| PathRule::Ias(v * M_S_PER_KT)),
        )
        .collect();
    let mut revs = steps(1_500.0, 2_700.0, rev_step);
    revs.push(last.rev_s * 60.0);
    for rpm in revs {
        let mut rules: Vec<ThrottleRule> = steps(15.0, 24.0, map_step)
            .into_iter()
            .map(|m| ThrottleRule::Held(m * PA_PER_INHG))
            .collect();
        rules.push(ThrottleRule::Full);
        if let Throttle::Map(pa) = last.throttle {
            rules.push(ThrottleRule::LeftAlone(pa));
        } else {
            rules.extend(
                steps(18.0, 24.0, 1.0)
                    .into_iter()
                    .map(|m| ThrottleRule::LeftAlone(m * PA_PER_INHG)),
            );
        }
        for &throttle in &rules {
            for &path in &paths {
                for lead_ft in [0.0, 750.0, 1_500.0, 2_500.0] {
                    if lead_ft > 0.0 && matches!(path, PathRule::Ias(_)) {
                        continue;
                    }
                    for mixture in [last.mixture, best.script.descent.first.mixture] {
                        let mut s = best.script.clone();
                        s.descent = Descent {
                            first: DescentPart {
                                throttle,
                                rev_s: rpm / 60.0,
                                mixture,
                                path,
                                gear_down: false,
                            },
                            second: None,
                            reduce_at_m: pattern_m + lead_ft * M_PER_FT,
                            to_go_m: f64::NAN,
                        };
                        any |= best.offer(&s);
                        if last.mixture == best.script.descent.first.mixture {
                            break;
                        }
                    }
                }
            }
        }
    }
    any
}

#[test]
fn crosscheck_no_better_plan_in_the_class() {
    for t in ["first-trip", "hot-afternoon", "into-the-wind"] {
        let path = format!("{}/examples/{t}.toml", env!("CARGO_MANIFEST_DIR"));
        let text = std::fs::read_to_string(&path).expect("reads");
        let file = parse_trip(&text, Path::new(&path), None).expect("parses");
        for objective in [Objective::Time, Objective::Fuel, Objective::Money] {
            let mut trip = file.trip.clone();
            trip.objective = objective;
            let (p, plan) = plan_trip(&trip, &file.aircraft).expect("plans");
            let mut best = Best {
                p: &p,
                memory: RefCell::default(),
                fine: RefCell::default(),
                script: plan.flown.script.clone(),
                cost: f64::INFINITY,
                flights: 0,
            };
            let first = best.fly(&plan.flown.script).expect("flies");
            best.cost = charged(&first);
            let begin = best.cost;
            for _ in 0..ROUNDS {
                let mut any = descents(&mut best, false);
                any |= cruises(&mut best);
                any |= climbs(&mut best);
                if !any {
                    break;
                }
            }
            let gain = begin / best.cost - 1.0;
            println!(
                "{t} {objective:?}: {:.3} % better in {} flights",
                100.0 * gain,
                best.flights
            );
            assert!(gain < LEFT, "{t} {objective:?}: {gain} {:?}", best.script);
        }
    }
}
