//! The route in stretches, each with one figure for its wind or weather in a table or drawing.

use crate::quantity::M_PER_NM;
use crate::trip::{Leg, Problem};

/// Longest stretch, m.
const LONGEST_M: f64 = 30.0 * M_PER_NM;

/// Every leg in equal stretches as long as they may be: the leg, the distance at which the stretch begins \[m\], and its length \[m\].
pub(super) fn stretches(problem: &Problem) -> impl Iterator<Item = (&Leg, f64, f64)> {
    problem.legs.iter().flat_map(|leg| {
        let pieces = ((leg.to_m - leg.from_m) / LONGEST_M).ceil().max(1.0);
        let length_m = (leg.to_m - leg.from_m) / pieces;
        std::iter::successors(Some(leg.from_m), move |from_m| Some(from_m + length_m))
            .take_while(move |from_m| *from_m < leg.to_m - 0.5 * length_m)
            .map(move |from_m| (leg, from_m, length_m))
    })
}
