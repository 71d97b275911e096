//! Heights that may not be flown along a part of the route.

use super::Problem;

/// A patch of distance and indicated altitude that no part of the flight may pass through, climb and descent included. Its edges are
/// outside.
#[derive(Debug, Clone, PartialEq)]
pub struct Patch {
    /// Where it begins, m along the route; minus infinity where it lies over the departure.
    pub from_m: f64,
    /// Where it ends, m along the route; infinite where it lies over the destination.
    pub to_m: f64,
    /// Bottom, m indicated.
    pub low_m: f64,
    /// Top, m indicated; may be infinite.
    pub high_m: f64,
    /// What it is called.
    pub name: String,
    /// What makes it forbidden.
    pub kind: PatchKind,
}

/// What makes a patch forbidden.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PatchKind {
    /// A keep-out volume.
    KeepOut,
    /// Cloud, with the distances from it that visual flight keeps.
    Cloud,
    /// Cloud at or below freezing.
    Ice,
}

/// A point of a path: distance along the route and indicated altitude, m.
pub type PathPoint = (f64, f64);

/// A level this little inside a patch only touches it, m: rounding.
const TOUCHES_M: f64 = 0.1;

/// How deep a straight path is at its deepest between two heights within a stretch, m, by the way out up or down; below zero is room.
/// `None` where it does not come over the stretch.
fn depth_m(
    (from_m, to_m): (f64, f64),
    (low_m, high_m): (f64, f64),
    a: PathPoint,
    b: PathPoint,
) -> Option<f64> {
    if a.0 >= to_m || b.0 <= from_m {
        return None;
    }
    let height = |s_m: f64, end_m: f64| {
        if b.0 > a.0 {
            a.1 + (b.1 - a.1) * (s_m - a.0) / (b.0 - a.0)
        } else {
            end_m
        }
    };
    let (h0, h1) = (height(a.0.max(from_m), a.1), height(b.0.min(to_m), b.1));
    let depth = |h: f64| (h - low_m).min(high_m - h);
    let middle_m = 0.5 * (low_m + high_m);
    let through = (h0 - middle_m) * (h1 - middle_m) < 0.0;
    Some(if through {
        depth(middle_m)
    } else {
        depth(h0).max(depth(h1))
    })
}

impl Patch {
    /// How deep a straight path from one point to another is in the patch at its deepest, m, by the way out up or down; below zero is
    /// room. `None` where it does not come over the patch.
    pub fn depth_m(&self, a: PathPoint, b: PathPoint) -> Option<f64> {
        depth_m((self.from_m, self.to_m), (self.low_m, self.high_m), a, b)
    }
}

impl Problem {
    /// How deep a straight path is in a forbidden patch at its deepest, m; below zero is room. `None` where it comes over none.
    pub fn forbidden_depth_m(&self, a: PathPoint, b: PathPoint) -> Option<f64> {
        let deep = self.forbidden.iter().filter_map(|p| p.depth_m(a, b));
        deep.reduce(f64::max)
    }

    /// The same for the turns over a place of the route \[m\] that lead from one indicated altitude \[m\] to another.
    pub fn forbidden_to_turns_m(&self, s_m: f64, from_m: f64, to_m: f64) -> Option<f64> {
        let patches = self.forbidden_to_turns.iter();
        let deep = patches.filter_map(|p| p.depth_m((s_m, from_m), (s_m, to_m)));
        deep.reduce(f64::max)
    }

    /// Names of the forbidden patches, those of turns included, each once.
    pub fn forbidden_names(&self) -> Vec<&str> {
        let mut names: Vec<&str> = Vec::new();
        for patch in self.forbidden.iter().chain(&self.forbidden_to_turns) {
            if !names.contains(&patch.name.as_str()) {
                names.push(&patch.name);
            }
        }
        names
    }

    /// By how much a straight path is above the greatest altitude of a leg that has one, at its worst, m; below zero is room. `None`
    /// where it comes over no such leg.
    pub fn over_ceiling_m(&self, a: PathPoint, b: PathPoint) -> Option<f64> {
        let over = self
            .legs
            .iter()
            .filter_map(|l| depth_m((l.from_m, l.to_m), (l.maximum_m?, f64::INFINITY), a, b));
        over.reduce(f64::max)
    }

    /// Greatest indicated altitude \[m\] at a distance \[m\]: of the trip, or of the leg where that is lower.
    pub fn ceiling_m(&self, distance_m: f64) -> f64 {
        let leg = &self.legs[self.leg_index(distance_m)];
        let most_m = self.limits.max_altitude_m;
        leg.maximum_m.map_or(most_m, |m| m.min(most_m))
    }

    /// Whether height is bounded otherwise than by ground and the trip's greatest altitude somewhere between two distances \[m\], or as far as
    /// this beside them, m.
    pub fn has_patches(&self, from_m: f64, to_m: f64, beside_m: f64) -> bool {
        let over = |a_m: f64, b_m: f64| a_m < to_m + beside_m && b_m > from_m - beside_m;
        let mut ceilings = self.legs.iter().filter(|l| l.maximum_m.is_some());
        let mut patches = self.forbidden.iter().chain(&self.forbidden_to_turns);
        patches.any(|p| over(p.from_m, p.to_m)) || ceilings.any(|l| over(l.from_m, l.to_m))
    }

    /// How deep a straight path is in what is barred to it, forbidden patches and heights above those of the leg, m; below zero is
    /// room, minus infinity where nothing is barred.
    pub fn barred_depth_m(&self, a: PathPoint, b: PathPoint) -> f64 {
        let both = [self.forbidden_depth_m(a, b), self.over_ceiling_m(a, b)];
        both.into_iter().flatten().fold(f64::NEG_INFINITY, f64::max)
    }

    /// Whether a straight path passes through what is barred to it.
    pub fn is_barred(&self, a: PathPoint, b: PathPoint) -> bool {
        self.barred_depth_m(a, b) > TOUCHES_M
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closed_form_depth_in_a_patch() {
        let patch = Patch {
            from_m: 100.0,
            to_m: 200.0,
            low_m: 1_000.0,
            high_m: 1_400.0,
            name: "test".into(),
            kind: PatchKind::KeepOut,
        };
        let depth = |a, b| patch.depth_m(a, b);
        // Before it, behind it and on its edges.
        assert_eq!(depth((0.0, 1_200.0), (100.0, 1_200.0)), None);
        assert_eq!(depth((200.0, 1_200.0), (300.0, 1_200.0)), None);
        assert_eq!(depth((100.0, 1_200.0), (100.0, 1_200.0)), None);
        // Below, above, and level in it.
        assert_eq!(depth((0.0, 900.0), (300.0, 900.0)), Some(-100.0));
        assert_eq!(depth((0.0, 1_450.0), (300.0, 1_450.0)), Some(-50.0));
        assert_eq!(depth((0.0, 1_000.0), (300.0, 1_000.0)), Some(0.0));
        assert_eq!(depth((150.0, 1_300.0), (150.0, 1_300.0)), Some(100.0));
        // Down through the whole of it: deepest in the middle.
        assert_eq!(depth((0.0, 2_000.0), (300.0, 500.0)), Some(200.0));
        // Over the corner at the end: 1,250 m there, by 150 m; past the corner the path goes on down.
        assert_eq!(depth((0.0, 1_650.0), (400.0, 850.0)), Some(150.0));
        // Under the corner at the beginning: 950 m there, coming down.
        assert_eq!(depth((0.0, 1_000.0), (200.0, 900.0)), Some(-50.0));
        // No top: depth grows with height.
        let open = Patch {
            high_m: f64::INFINITY,
            ..patch
        };
        assert_eq!(
            open.depth_m((150.0, 9_000.0), (160.0, 9_000.0)),
            Some(8_000.0)
        );
    }
}
