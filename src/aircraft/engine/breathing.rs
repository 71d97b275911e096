//! What the cylinders breathe: throttle, turbocharger and the charge they leave (equations with [`super`]).

use super::{Engine, KAPPA, MAX_STEPS, Throttle, Turbo};

/// Of the pressure ratio in the isentropic temperature ratio.
const EXPONENT: f64 = (KAPPA - 1.0) / KAPPA;
/// The last step toward the pressure before the throttle, over the pressure held. What is left is its square times the curvature,
/// which is some hundredths: 1e-11; next to where the controller begins to cap the manifold pressure, or the throttle chokes, up to the step itself.
const DECK_STEP: f64 = 2e-5;

/// The air around the engine.
#[derive(Debug, Clone, Copy)]
pub struct Intake {
    /// Pressure at the air intake: ambient and ram, Pa.
    pub upstream_pa: f64,
    /// Ambient pressure, into which the exhaust blows, Pa.
    pub ambient_pa: f64,
    /// Outside air temperature, K.
    pub temperature_k: f64,
}

/// What the cylinders breathe from and into: the intake as the turbocharger, if there is one, leaves it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Charge {
    /// Pressure before the throttle, Pa.
    pub upstream_pa: f64,
    /// Pressure behind the exhaust valves, Pa.
    pub exhaust_pa: f64,
    /// Temperature before the throttle, K.
    pub temperature_k: f64,
}

impl Charge {
    /// Air straight from the intake, exhaust straight overboard.
    pub(super) fn plain(intake: Intake) -> Self {
        Self {
            upstream_pa: intake.upstream_pa,
            exhaust_pa: intake.ambient_pa,
            temperature_k: intake.temperature_k,
        }
    }

    /// The same through a compressor that delivers `deck_pa`, and by how much warmer each pascal more makes it, K/Pa.
    pub(super) fn compressed(turbo: &Turbo, deck_pa: f64, intake: Intake) -> (Self, f64) {
        let isentropic = (deck_pa / intake.upstream_pa).powf(EXPONENT);
        let left = (1.0 - turbo.intercooler) * intake.temperature_k / turbo.compressor_efficiency;
        let charge = Self {
            upstream_pa: deck_pa,
            exhaust_pa: intake.ambient_pa + turbo.exhaust_rise * (deck_pa - intake.upstream_pa),
            temperature_k: intake.temperature_k + left * (isentropic - 1.0),
        };
        (charge, left * EXPONENT * isentropic / deck_pa)
    }
}

impl Engine {
    /// What the cylinders breathe from and into at a manifold pressure.
    pub fn charge(&self, map_pa: f64, rev_s: f64, intake: Intake) -> Charge {
        self.charge_where(rev_s, intake, |_| (map_pa, 0.0))
    }

    /// The same where the manifold pressure, given with its change for each pascal of the pressure before the throttle, follows from
    /// the charge.
    ///
    /// The pressure before the throttle solves `p_d = p_up + K m(p_d)`; the right side grows by less than one for each unit of
    /// `p_d`, so the root is unique. It is nearly a straight line, so that a parabola from above and one Newton step mostly reach it.
    fn charge_where(
        &self,
        rev_s: f64,
        intake: Intake,
        map: impl Fn(Charge) -> (f64, f64),
    ) -> Charge {
        let plain = Charge::plain(intake);
        let Some(turbo) = &self.spec.turbo else {
            return plain;
        };
        let (mut low_pa, mut high_pa) = (intake.upstream_pa, self.deck_pa);
        if high_pa <= low_pa {
            return plain;
        }
        let (map_pa, _) = map(plain);
        let unboosted = self.air_flow_kg_s(map_pa, rev_s, plain);
        if unboosted <= 0.0 {
            return plain;
        }
        let mut deck_pa = high_pa;
        let mut charge = plain;
        for _ in 0..MAX_STEPS {
            let warmth_k_pa;
            (charge, warmth_k_pa) = Charge::compressed(turbo, deck_pa, intake);
            let (map_pa, map_slope) = map(charge);
            let air = self.air_flow_kg_s(map_pa, rev_s, charge);
            let spare_pa = intake.upstream_pa + self.rise_pa_s_kg * air - deck_pa;
            if spare_pa >= 0.0 {
                if deck_pa >= self.deck_pa {
                    return charge;
                }
                low_pa = deck_pa;
            } else {
                high_pa = deck_pa;
            }
            // d ln m: the charge rises with the manifold pressure, falls with the exhaust's, and is thinned by warmth.
            let inlet_k = charge.temperature_k + self.spec.charge_heating_k;
            let filled_pa = self.a * map_pa - self.b * charge.exhaust_pa;
            let air_slope = if filled_pa > 0.0 {
                air * ((self.a * map_slope - self.b * turbo.exhaust_rise) / filled_pa
                    - 0.5 * warmth_k_pa / inlet_k)
            } else {
                0.0
            };
            let slope = self.rise_pa_s_kg * air_slope - 1.0;
            let step_pa = if deck_pa >= self.deck_pa {
                // The first step: to the root of the parabola through what is known at both ends.
                let span_pa = deck_pa - low_pa;
                let bend = (self.rise_pa_s_kg * unboosted - spare_pa + slope * span_pa)
                    / (span_pa * span_pa);
                let root = (slope * slope - 4.0 * bend * spare_pa).max(0.0).sqrt();
                -2.0 * spare_pa / (slope - root)
            } else {
                -spare_pa / slope
            };
            if step_pa.abs() <= DECK_STEP * self.deck_pa {
                // The power of the pressure ratio, to the second order of the step.
                let bent = 1.0 + 0.5 * (EXPONENT - 1.0) * step_pa / deck_pa;
                return Charge {
                    upstream_pa: deck_pa + step_pa,
                    exhaust_pa: charge.exhaust_pa + turbo.exhaust_rise * step_pa,
                    temperature_k: charge.temperature_k + warmth_k_pa * bent * step_pa,
                };
            }
            let next_pa = deck_pa + step_pa;
            deck_pa = if next_pa > low_pa && next_pa < high_pa {
                next_pa
            } else {
                0.5 * (low_pa + high_pa)
            };
        }
        charge
    }

    /// Manifold pressure over upstream pressure for a throttle conductance [rev/s], and its change with the exhaust pressure over
    /// upstream pressure.
    fn pressure_ratio(&self, conductance: f64, rev_s: f64, exhaust_ratio: f64) -> (f64, f64) {
        // (a x - b e)² N² = G² x (1 - x); choked: (a x - b e) N = G / 2. The larger root is the flow through the engine.
        let (n2, g2) = (rev_s * rev_s, conductance * conductance);
        let be = self.b * exhaust_ratio;
        let qa = self.a * self.a * n2 + g2;
        let qb = 2.0 * self.a * be * n2 + g2;
        let qc = be * be * n2;
        let root = (qb * qb - 4.0 * qa * qc).max(0.0).sqrt();
        let x = (qb + root) / (2.0 * qa);
        if x >= 0.5 || rev_s <= 0.0 {
            let slope = if x < 1.0 && root > 0.0 {
                2.0 * self.b * n2 * (self.a * x - be) / root
            } else {
                0.0
            };
            (x.min(1.0), slope)
        } else {
            let choked = (be + 0.5 * conductance / rev_s) / self.a;
            if choked < 0.5 {
                (choked, self.b / self.a)
            } else {
                (0.5, 0.0)
            }
        }
    }

    /// Manifold pressure \[Pa\] behind a throttle of this conductance [rev/s], which the controller caps, and its change for each
    /// pascal of the pressure before it.
    pub(super) fn manifold_pa(&self, conductance: f64, rev_s: f64, charge: Charge) -> (f64, f64) {
        let exhaust_ratio = charge.exhaust_pa / charge.upstream_pa;
        let (ratio, ratio_slope) = self.pressure_ratio(conductance, rev_s, exhaust_ratio);
        let map_pa = charge.upstream_pa * ratio;
        let Some(turbo) = &self.spec.turbo else {
            return (map_pa, ratio);
        };
        if map_pa > turbo.rated_map_pa {
            return (turbo.rated_map_pa, 0.0);
        }
        let slope = ratio + ratio_slope * (turbo.exhaust_rise - exhaust_ratio);
        (map_pa, slope)
    }

    /// Manifold pressure \[Pa\] for a throttle position. A stopped engine reads the pressure at the intake.
    pub fn map_pa(&self, throttle: Throttle, rev_s: f64, intake: Intake) -> f64 {
        self.breathing(throttle, rev_s, intake).0
    }

    /// Manifold pressure \[Pa\] and charge for a throttle position.
    pub(super) fn breathing(
        &self,
        throttle: Throttle,
        rev_s: f64,
        intake: Intake,
    ) -> (f64, Charge) {
        let at = |conductance: f64| {
            let charge =
                self.charge_where(rev_s, intake, |c| self.manifold_pa(conductance, rev_s, c));
            (self.manifold_pa(conductance, rev_s, charge).0, charge)
        };
        match throttle {
            Throttle::Full | Throttle::Rpm => at(self.conductance_full),
            Throttle::Shut => at(self.conductance_shut),
            Throttle::Fixed(g) => at(g.clamp(self.conductance_shut, self.conductance_full)),
            Throttle::Map(map_pa) => {
                let charge = self.charge(map_pa, rev_s, intake);
                if self.within_throttle(map_pa, rev_s, charge) {
                    return (map_pa, charge);
                }
                let full = at(self.conductance_full);
                if map_pa >= full.0 {
                    return full;
                }
                let shut = at(self.conductance_shut);
                if map_pa <= shut.0 {
                    return shut;
                }
                (map_pa, charge)
            }
        }
    }

    /// Whether some place of the throttle between its stops gives this manifold pressure \[Pa\]: the orifice law asked the other
    /// way round, which needs no root. Where it says no, the stops themselves are to be asked.
    fn within_throttle(&self, map_pa: f64, rev_s: f64, charge: Charge) -> bool {
        let capped = self.spec.turbo.is_some_and(|t| map_pa > t.rated_map_pa);
        let up = charge.upstream_pa;
        let flow = (self.a * map_pa - self.b * charge.exhaust_pa) * rev_s;
        let (shut, full) = (self.conductance_shut, self.conductance_full);
        if capped || flow.is_nan() || flow <= 0.0 || map_pa >= up {
            false
        } else if map_pa > 0.5 * up {
            let psi2 = map_pa * (up - map_pa);
            let flow2 = flow * flow;
            flow2 >= shut * shut * psi2 && flow2 <= full * full * psi2
        } else {
            flow >= 0.5 * shut * up && flow <= 0.5 * full * up
        }
    }
}
