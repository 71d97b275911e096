//! Circling over the fields.

/// Turns over a field, where a straight climb or let-down does not clear the ground. None in a problem as asked: the solver finds
/// whether they are needed, and how high.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Circling {
    /// Climb circling over the departure, from the end of the initial climb to this indicated altitude, m.
    pub climb_to_m: Option<f64>,
    /// Let down circling over the destination, from this indicated altitude to the pattern, m.
    pub let_down_from_m: Option<f64>,
}
