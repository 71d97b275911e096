//! The glide without power: best-glide speed, what the propeller does to it, and how far it goes in a wind.
//!
//! # Equations
//! Quasi-steady glide at constant indicated airspeed, lift equal to weight (a glide of 1 in 9 has 0.6 % less):
//! `dh/dt = (T - D) V / (W (1 + (V/g) dV/dh))` with `T` the (negative) thrust of [`Aircraft::glide_drag`], `V` true airspeed and `dV/dh`
//! that of constant indicated airspeed. Over the ground `sqrt(V^2 - (dh/dt)^2) - w` with `w` the head wind, the same at every height.
//! Source: the point-mass equations of DESIGN section 4. The quasi-steady glide is also the optimal one (Miele, as cited in REFERENCES A.6).

use crate::air::isa;
use crate::aircraft::{
    AirState, Aircraft, Configuration, EngineState, GlidePropeller, Governed, Performance, Speeds,
    Warmth,
};
use crate::quantity::{G_M_S2, M_PER_FT, M_S_PER_KT};

/// Height kept back for a pattern, m (1,000 ft).
pub const KEPT_BACK_M: f64 = 1_000.0 * M_PER_FT;
/// Part of the distance that is counted; the rest is kept back.
pub const COUNTED: f64 = 0.8;
/// No best glide is sought below this many times the stall speed: our choice, no source.
pub const LEAST_OVER_STALL: f64 = 1.2;
/// A second, faster best counts only if it carries so much farther than the slower one, relative: our choice, no source.
const WORTH_FLYING_FASTER: f64 = 0.03;
/// Step of the search for the best speed before it is refined, m/s.
const SCAN_M_S: f64 = 1.0 * M_S_PER_KT;
/// A best speed is found this near, m/s.
const TOLERANCE_M_S: f64 = 1e-4;
/// Golden section: each step leaves this part.
const GOLD: f64 = 0.618_033_988_749_894_9;
/// Step in pressure altitude over which the change of TAS at constant IAS is taken, m.
const PROBE_M: f64 = 30.0;
/// Layers of the height glided through.
const LAYERS: u32 = 16;

/// What is asked.
#[derive(Debug, Clone, PartialEq)]
pub struct GlideAsk {
    /// Masses, kg.
    pub masses_kg: Vec<f64>,
    /// Pressure altitude of the ground, m.
    pub ground_m: f64,
    /// Height above it where the glide begins, m.
    pub height_m: f64,
    /// Temperature.
    pub warmth: Warmth,
    /// Head wind, negative for a tail wind, m/s.
    pub head_wind_m_s: f64,
}

impl GlideAsk {
    /// Pressure altitude at half the height, for which speeds, ratios and rates are given, m.
    pub fn middle_m(&self) -> f64 {
        self.ground_m + 0.5 * self.height_m
    }
}

/// What engine and propeller do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct GlideCase {
    /// The engine.
    pub engine: EngineState,
    /// The propeller.
    pub propeller: GlidePropeller,
}

/// A glide at one indicated airspeed, at half the height.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GlidePoint {
    /// Indicated airspeed, m/s.
    pub ias_m_s: f64,
    /// True airspeed, m/s.
    pub tas_m_s: f64,
    /// Rate of descent of the altimeter, positive down, m/s.
    pub sink_m_s: f64,
    /// Distance over the ground for each unit of height; not above zero where the wind wins.
    pub ratio: f64,
    /// Propeller and engine.
    pub performance: Performance,
}

/// Best glide of one case at one mass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BestGlide {
    /// Engine and propeller.
    pub case: GlideCase,
    /// Best in still air.
    pub still: GlidePoint,
    /// Best over the ground in the wind.
    pub wind: GlidePoint,
    /// Distance over the ground in the wind that is counted on, m: [`KEPT_BACK_M`] and a fifth of the distance are kept back.
    pub distance_m: f64,
}

/// What pulling the lever back is worth, engine dead, throttle shut.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeverBack {
    /// Speed of the windmilling propeller at best glide with the lever forward, rev/s.
    pub windmilling_rev_s: f64,
    /// Lowest governed speed, rev/s.
    pub lowest_governed_rev_s: f64,
    /// Whether the governor can slow the propeller: it windmills above the lowest governed speed.
    pub governs: bool,
    /// Glide ratio with the lever back over that with it forward, both at the best speed with the lever forward, less one.
    pub gain_same_speed: f64,
    /// The same, each at its own best speed.
    pub gain: f64,
    /// Best indicated speed with the lever back, m/s.
    pub back_ias_m_s: f64,
}

/// The answer.
#[derive(Debug, Clone, PartialEq)]
pub struct GlideStudy {
    /// What was asked.
    pub ask: GlideAsk,
    /// For each mass, every case of [`cases`].
    pub masses: Vec<Vec<BestGlide>>,
    /// What the lever does at the first mass; `None` at fixed pitch.
    pub lever: Option<LeverBack>,
}

/// Engine dead with the throttle shut or open; the engine turns and has oil.
const fn dead(throttle_open: bool) -> EngineState {
    EngineState::Dead {
        throttle_open,
        oil_pressure: true,
    }
}

/// The cases that differ on this aircraft: engine dead (throttle shut, open) and idling with the lever forward and back, then feathered
/// where the hub can, and stopped.
pub fn cases(aircraft: &Aircraft) -> Vec<GlideCase> {
    let mut found = Vec::new();
    for engine in [dead(false), dead(true), EngineState::Idling] {
        for propeller in [GlidePropeller::LeverForward, GlidePropeller::LeverBack] {
            if propeller == GlidePropeller::LeverForward || !aircraft.propeller.is_fixed() {
                found.push(GlideCase { engine, propeller });
            }
        }
    }
    let engine = dead(false);
    if aircraft.propeller.feathers() {
        found.push(GlideCase {
            engine,
            propeller: GlidePropeller::Feathered,
        });
    }
    found.push(GlideCase {
        engine,
        propeller: GlidePropeller::Stopped,
    });
    found
}

/// A glide through the air of the question with a given propulsion.
struct Glider<'a, F> {
    aircraft: &'a Aircraft,
    ask: &'a GlideAsk,
    mass_kg: f64,
    /// Propulsion at an air state and true airspeed [m/s].
    propulsion: F,
    /// Whether the case is that of a turning propeller: speeds at which the air cannot turn it do not count then.
    turns: bool,
}

impl<F: Fn(AirState, f64) -> Performance> Glider<'_, F> {
    /// The glide at a pressure altitude [m] and indicated airspeed [m/s] with a head wind [m/s].
    fn at(&self, pressure_altitude_m: f64, ias_m_s: f64, head_wind_m_s: f64) -> GlidePoint {
        let aircraft = self.aircraft;
        let air = self.ask.warmth.air(pressure_altitude_m);
        let tas_m_s = aircraft.tas_from_ias(air, ias_m_s);
        let performance = (self.propulsion)(air, tas_m_s);
        let drag_n = aircraft.drag_n(air, tas_m_s, self.mass_kg, Configuration::default());
        // Geometric height for each unit of pressure altitude.
        let hydrostatic = air.temperature_k / isa::temperature_k(pressure_altitude_m);
        let above = self.ask.warmth.air(pressure_altitude_m + PROBE_M);
        let per_m = (aircraft.tas_from_ias(above, ias_m_s) - tas_m_s) / (PROBE_M * hydrostatic);
        let power_w = (drag_n - performance.thrust_n) * tas_m_s;
        let sink_m_s = power_w / (self.mass_kg * G_M_S2 * (1.0 + tas_m_s / G_M_S2 * per_m));
        let along_m_s = (tas_m_s * tas_m_s - sink_m_s * sink_m_s).max(0.0).sqrt();
        GlidePoint {
            ias_m_s,
            tas_m_s,
            sink_m_s: sink_m_s / hydrostatic,
            ratio: (along_m_s - head_wind_m_s) / sink_m_s,
            performance,
        }
    }

    /// What a speed is worth: the ratio over the ground; nothing where a propeller that should turn has stopped.
    fn worth(&self, point: &GlidePoint) -> f64 {
        if self.turns && point.performance.governed == Governed::Stopped {
            f64::NEG_INFINITY
        } else {
            point.ratio
        }
    }

    /// The indicated airspeed of the best ratio over the ground at half the height: a scan, for governor and stops make kinks, then
    /// golden section.
    ///
    /// Where a governor takes hold only at some speed, there are two hills. The slower one counts unless the faster is better by
    /// [`WORTH_FLYING_FASTER`].
    fn best(&self, head_wind_m_s: f64) -> GlidePoint {
        let a = self.aircraft;
        let stall = Speeds::at_mass(a.speeds.vs_m_s, self.mass_kg, a.masses.max_take_off_kg);
        let (least, most) = (LEAST_OVER_STALL * stall, a.speeds.vno_m_s);
        let at = |ias: f64| self.at(self.ask.middle_m(), ias, head_wind_m_s);
        let mut best = at(least);
        let mut climbing = true;
        let steps = ((most - least) / SCAN_M_S).max(0.0);
        let mut i = 1.0;
        while i <= steps {
            let point = at(least + i * SCAN_M_S);
            let (new, old) = (self.worth(&point), self.worth(&best));
            let much = old == f64::NEG_INFINITY || new > old + WORTH_FLYING_FASTER * old.abs();
            if (climbing && new >= old) || much {
                best = point;
                climbing = true;
            } else {
                climbing = false;
            }
            i += 1.0;
        }
        let mut low = (best.ias_m_s - SCAN_M_S).max(least);
        let mut high = best.ias_m_s + SCAN_M_S;
        let (mut x, mut y) = (high - GOLD * (high - low), low + GOLD * (high - low));
        let (mut px, mut py) = (at(x), at(y));
        while high - low > TOLERANCE_M_S {
            if self.worth(&px) > self.worth(&py) {
                high = y;
                (y, py) = (x, px);
                x = high - GOLD * (high - low);
                px = at(x);
            } else {
                low = x;
                (x, px) = (y, py);
                y = low + GOLD * (high - low);
                py = at(y);
            }
        }
        for point in [px, py] {
            if self.worth(&point) > self.worth(&best) {
                best = point;
            }
        }
        best
    }

    /// Distance over the ground [m] at an indicated airspeed, from the start of the glide to [`KEPT_BACK_M`] above the ground; never
    /// negative.
    fn distance_m(&self, ias_m_s: f64) -> f64 {
        let usable_m = (self.ask.height_m - KEPT_BACK_M).max(0.0);
        let layer_m = usable_m / f64::from(LAYERS);
        // Pressure altitude of a geometric height above the ground.
        let shrink = |hp: f64| isa::temperature_k(hp) / self.ask.warmth.air(hp).temperature_k;
        let mut hp = self.ask.ground_m;
        hp += KEPT_BACK_M * shrink(hp + 0.5 * KEPT_BACK_M);
        let mut distance_m = 0.0;
        for _ in 0..LAYERS {
            let thickness = layer_m * shrink(hp);
            let ratio = self
                .at(hp + 0.5 * thickness, ias_m_s, self.ask.head_wind_m_s)
                .ratio;
            distance_m += layer_m * ratio;
            hp += thickness;
        }
        distance_m.max(0.0)
    }
}

/// Best glide of every case at every mass.
pub fn study(aircraft: &Aircraft, ask: GlideAsk) -> GlideStudy {
    let cases = cases(aircraft);
    let masses: Vec<Vec<BestGlide>> = ask
        .masses_kg
        .iter()
        .map(|&mass_kg| {
            cases
                .iter()
                .map(|&case| {
                    let glider = Glider {
                        aircraft,
                        ask: &ask,
                        mass_kg,
                        propulsion: |air, tas| {
                            aircraft.glide_drag(air, tas, case.propeller, case.engine)
                        },
                        turns: matches!(
                            case.propeller,
                            GlidePropeller::LeverForward | GlidePropeller::LeverBack
                        ),
                    };
                    let wind = glider.best(ask.head_wind_m_s);
                    BestGlide {
                        case,
                        still: glider.best(0.0),
                        wind,
                        distance_m: COUNTED * glider.distance_m(wind.ias_m_s),
                    }
                })
                .collect()
        })
        .collect();
    let of = |propeller| {
        masses.first()?.iter().find(|g| {
            g.case
                == GlideCase {
                    engine: dead(false),
                    propeller,
                }
        })
    };
    let lever = match (
        of(GlidePropeller::LeverForward),
        of(GlidePropeller::LeverBack),
    ) {
        (Some(forward), Some(back)) => {
            let windmilling_rev_s = forward.still.performance.rev_s;
            let lowest_governed_rev_s = aircraft.propeller.lowest_governed_rev_s;
            let glider = Glider {
                aircraft,
                ask: &ask,
                // There is a first mass, for there is a glide at it.
                mass_kg: ask.masses_kg.first().copied().unwrap_or(f64::NAN),
                propulsion: |air, tas| {
                    aircraft.glide_drag(air, tas, GlidePropeller::LeverBack, dead(false))
                },
                turns: true,
            };
            let same = glider.at(ask.middle_m(), forward.still.ias_m_s, 0.0);
            Some(LeverBack {
                gain_same_speed: same.ratio / forward.still.ratio - 1.0,
                back_ias_m_s: back.still.ias_m_s,
                windmilling_rev_s,
                lowest_governed_rev_s,
                governs: windmilling_rev_s > lowest_governed_rev_s,
                gain: back.still.ratio / forward.still.ratio - 1.0,
            })
        }
        _ => None,
    };
    GlideStudy { ask, masses, lever }
}
