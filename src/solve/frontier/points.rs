//! Plans as points of time and fuel: which are beaten, which are best at some value of time, which differ too little.

/// A plan as a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimeFuel {
    /// Time, s.
    pub time_s: f64,
    /// Fuel, kg.
    pub fuel_kg: f64,
}

/// How much more fuel a second saved costs on the way from one plan to a quicker one, kg/s.
pub fn price_kg_s(slower: TimeFuel, quicker: TimeFuel) -> f64 {
    (quicker.fuel_kg - slower.fuel_kg) / (slower.time_s - quicker.time_s)
}

/// Times, and fuels, that differ by less than this share tie (DESIGN section 5: 0.01 %).
const TIE: f64 = 1e-4;

/// Whether a point loses to another that ties with it in the one and is better in the other by more than a tie.
pub fn loses_to(a: TimeFuel, b: TimeFuel) -> bool {
    let no_worse = |b: f64, a: f64| b <= a * (1.0 + TIE);
    let better = |b: f64, a: f64| b < a * (1.0 - TIE);
    (no_worse(b.time_s, a.time_s) && better(b.fuel_kg, a.fuel_kg))
        || (better(b.time_s, a.time_s) && no_worse(b.fuel_kg, a.fuel_kg))
}

/// The points that no other beats in both, quickest first, as indices; of equal points the first.
pub fn undominated(points: &[TimeFuel]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..points.len()).collect();
    order.sort_by(|&a, &b| {
        let (p, q) = (points[a], points[b]);
        p.time_s
            .total_cmp(&q.time_s)
            .then(p.fuel_kg.total_cmp(&q.fuel_kg))
    });
    let mut least_kg = f64::INFINITY;
    order.retain(|&i| {
        let better = points[i].fuel_kg < least_kg;
        if better {
            least_kg = points[i].fuel_kg;
        }
        better
    });
    order
}

/// Of undominated points, quickest first, those that are best at some value of time: the corners of their lower convex hull, as
/// indices, quickest first.
pub fn corners(points: &[TimeFuel]) -> Vec<usize> {
    let mut hull: Vec<usize> = Vec::new();
    for (i, &p) in points.iter().enumerate() {
        while let [.., a, b] = hull[..] {
            // From quick to slow the price of a second falls; a corner at which it does not is none.
            if price_kg_s(points[b], points[a]) > price_kg_s(p, points[b]) {
                break;
            }
            hull.pop();
        }
        hull.push(i);
    }
    hull
}

/// The least and the greatest value of a second \[kg/s\] at which each point is best, `None` for one in a hollow: quickest first. The
/// thriftiest is best from nothing, the quickest to infinity.
pub fn best_between(points: &[TimeFuel]) -> Vec<Option<(f64, f64)>> {
    let hull = corners(points);
    let mut out = vec![None; points.len()];
    for (k, &i) in hull.iter().enumerate() {
        let from = hull
            .get(k + 1)
            .map_or(0.0, |&next| price_kg_s(points[next], points[i]));
        let to = k.checked_sub(1).map_or(f64::INFINITY, |before| {
            price_kg_s(points[i], points[hull[before]])
        });
        out[i] = Some((from, to));
    }
    out
}

/// The point of best value, of undominated points, quickest first: where both axes run from nought at the least to one at the most,
/// the point farthest below the straight line from the quickest to the thriftiest. `None` where none lies below it.
pub fn best_value(points: &[TimeFuel]) -> Option<usize> {
    let (first, last) = (points.first()?, points.last()?);
    let below = |p: &TimeFuel| {
        1.0 - (p.time_s - first.time_s) / (last.time_s - first.time_s)
            - (p.fuel_kg - last.fuel_kg) / (first.fuel_kg - last.fuel_kg)
    };
    let (i, depth) = points
        .iter()
        .map(below)
        .enumerate()
        .fold((0, 0.0), |best, x| if x.1 > best.1 { x } else { best });
    // The ends lie on the line itself but for float noise.
    (depth > 1e-9).then_some(i)
}

/// What two plans must differ by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Apart {
    /// Plans that differ by less than both are as one.
    pub both: TimeFuel,
    /// One that gains less than this in the one against a loss of [`Apart::both`] in the other is of no use.
    pub hardly: TimeFuel,
}

impl Apart {
    fn as_one(&self, a: TimeFuel, b: TimeFuel) -> bool {
        (a.time_s - b.time_s).abs() < self.both.time_s
            && (a.fuel_kg - b.fuel_kg).abs() < self.both.fuel_kg
    }

    /// Whether a point is all but beaten by another.
    fn is_useless(&self, a: TimeFuel, b: TimeFuel) -> bool {
        let (later_s, more_kg) = (a.time_s - b.time_s, a.fuel_kg - b.fuel_kg);
        (more_kg >= self.both.fuel_kg && -later_s < self.hardly.time_s)
            || (later_s >= self.both.time_s && -more_kg < self.hardly.fuel_kg)
    }
}

/// The points to show of undominated ones, quickest first, as indices: `first`, the two ends and the corners go before the rest, and of the
/// rest none is shown that is as one with one that is, or of no use beside any.
pub fn merged(points: &[TimeFuel], first: &[usize], apart: Apart) -> Vec<usize> {
    let Some(last) = points.len().checked_sub(1) else {
        return vec![];
    };
    let mut kept: Vec<usize> = Vec::new();
    let always = [0, last].into_iter().chain(first.iter().copied());
    for i in always {
        if !kept.contains(&i) {
            kept.push(i);
        }
    }
    let of_use =
        (0..points.len()).filter(|&i| !points.iter().any(|&p| apart.is_useless(points[i], p)));
    for i in corners(points).into_iter().chain(of_use) {
        if !kept.iter().any(|&k| apart.as_one(points[k], points[i])) {
            kept.push(i);
        }
    }
    kept.sort_unstable();
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(list: &[(f64, f64)]) -> Vec<TimeFuel> {
        list.iter()
            .map(|&(time_s, fuel_kg)| TimeFuel { time_s, fuel_kg })
            .collect()
    }

    #[test]
    fn closed_form_beaten_points_go() {
        let p = points(&[
            (5.0, 1.0),
            (1.0, 9.0),
            (3.0, 4.0),
            (3.0, 5.0),
            (2.0, 9.0),
            (3.0, 4.0),
            (6.0, 1.0),
        ]);
        assert_eq!(undominated(&p), [1, 2, 0]);
        assert_eq!(undominated(&[]), Vec::<usize>::new());
    }

    #[test]
    fn closed_form_a_gain_of_a_tie_loses_to_a_real_one() {
        // 0.3 s of 6,308 s is 0.005 % and ties; 2 % of fuel does not. A second, 0.016 %, is a gain, and so is it the other way about.
        let p = points(&[
            (6_307.7, 52.4),
            (6_308.0, 51.4),
            (6_309.0, 50.0),
            (7_000.0, 40.003),
            (7_100.0, 40.0),
        ]);
        let loses = |i: usize| p.iter().any(|&q| loses_to(p[i], q));
        assert_eq!(
            [0, 1, 2, 3, 4].map(loses),
            [true, false, false, false, true]
        );
        assert!(!loses_to(p[0], p[0]) && !loses_to(p[1], p[0]));
    }

    #[test]
    fn closed_form_corners_and_the_value_of_time_they_are_best_at() {
        // The point at 3 lies in a hollow: above the line from 2 to 4, which is at 4.5 there.
        let p = points(&[(1.0, 10.0), (2.0, 6.0), (3.0, 5.5), (4.0, 3.0), (6.0, 2.0)]);
        assert_eq!(corners(&p), [0, 1, 3, 4]);
        assert_eq!(
            best_between(&p),
            [
                Some((4.0, f64::INFINITY)),
                Some((1.5, 4.0)),
                None,
                Some((0.5, 1.5)),
                Some((0.0, 0.5))
            ]
        );
        // What "best" says: at each value of time inside its range a point costs least.
        for (i, range) in best_between(&p).into_iter().enumerate() {
            let Some((from, to)) = range else { continue };
            let value = 0.5 * (from + to.min(10.0));
            let cost = |q: &TimeFuel| q.fuel_kg + value * q.time_s;
            assert!(p.iter().all(|q| cost(&p[i]) <= cost(q)), "{i}");
        }
    }

    #[test]
    fn closed_form_best_value_is_farthest_below_the_line_of_the_ends() {
        // f = 1/t between 1/4 and 4: by symmetry of the normalised curve the middle, t = f = 1.
        let p: Vec<TimeFuel> = (0..=40)
            .map(|i| {
                let t = 4_f64.powf(f64::from(i) / 20.0 - 1.0);
                TimeFuel {
                    time_s: t,
                    fuel_kg: 1.0 / t,
                }
            })
            .collect();
        assert_eq!(best_value(&p), Some(20));
        // On a straight line, bulging upwards, or with one or two points there is none.
        assert_eq!(
            best_value(&points(&[(1.0, 3.0), (2.0, 2.0), (3.0, 1.0)])),
            None
        );
        assert_eq!(
            best_value(&points(&[(1.0, 3.0), (2.0, 2.9), (3.0, 1.0)])),
            None
        );
        assert_eq!(best_value(&points(&[(1.0, 3.0), (2.0, 2.0)])), None);
        assert_eq!(best_value(&points(&[(1.0, 3.0)])), None);
        assert_eq!(best_value(&[]), None);
    }

    #[test]
    fn closed_form_the_next_second_saved_has_its_price() {
        let p = points(&[(100.0, 9.0), (110.0, 4.0)]);
        assert_eq!(price_kg_s(p[1], p[0]), 0.5);
    }

    #[test]
    fn closed_form_points_that_differ_too_little_are_one() {
        let apart = Apart {
            both: TimeFuel {
                time_s: 1.0,
                fuel_kg: 1.0,
            },
            hardly: TimeFuel {
                time_s: 0.1,
                fuel_kg: 0.1,
            },
        };
        let p = points(&[
            (0.0, 10.0),
            (0.5, 9.5),
            (0.6, 8.6),
            (2.0, 6.0),
            (2.9, 5.1),
            (9.0, 4.9),
            (9.3, 4.8),
        ]);
        // 1 is close to 0; 2 is not, by its fuel; 4 is close to 3 in both; 5 to the thriftiest, which stays.
        assert_eq!(merged(&p, &[], apart), [0, 2, 3, 6]);
        // What is to be shown is shown, and what is close to it goes.
        assert_eq!(merged(&p, &[4], apart), [0, 2, 4, 6]);
        assert_eq!(merged(&p[..1], &[], apart), [0]);
        assert_eq!(merged(&[], &[], apart), Vec::<usize>::new());
        // Nothing left out is farther from all that is shown than that.
        for (i, q) in p.iter().enumerate() {
            let near = merged(&p, &[], apart).into_iter().any(|k| {
                k == i
                    || (p[k].time_s - q.time_s).abs() < 1.0
                        && (p[k].fuel_kg - q.fuel_kg).abs() < 1.0
            });
            assert!(near, "{i}");
        }
    }

    #[test]
    fn closed_form_a_point_all_but_beaten_is_not_shown() {
        let one = |time_s, fuel_kg| TimeFuel { time_s, fuel_kg };
        let apart = Apart {
            both: one(1.0, 1.0),
            hardly: one(0.1, 0.1),
        };
        // 1 is 0.05 quicker than 2 for 2 more; 4 saves 0.05 beside 3 and takes 2 longer. Neither is a corner.
        let p = points(&[
            (0.0, 20.0),
            (3.95, 10.0),
            (4.0, 8.0),
            (8.0, 4.0),
            (10.0, 3.95),
            (16.0, 0.0),
        ]);
        assert_eq!(corners(&p), [0, 2, 3, 5]);
        assert_eq!(merged(&p, &[], apart), [0, 2, 3, 5]);
        assert_eq!(merged(&p, &[4], apart), [0, 2, 3, 4, 5]);
    }
}
