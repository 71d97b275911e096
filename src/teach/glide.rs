//! The glide without power: best-glide speed, what the propeller does to it, and how far it goes in a wind.
//!
//! # Equations
//! Quasi-steady glide at constant indicated airspeed, lift equal to weight (a glide of 1 in 9 has 0.6 % less):
//! `dh/dt = (T - D) V / (W (1 + (V/g) dV/dh))` with `T` the (negative) thrust of [`Aircraft::glide_drag`], `V` true airspeed and `dV/dh`
//! that of constant indicated airspeed. Over the ground `sqrt(V^2 - (dh/dt)^2) - w` with `w` the head wind, the same at every height.
//! Source: the point-mass equations of DESIGN section 4. The quasi-steady glide is also the optimal one (Miele, as cited in REFERENCES A.6).

use crate::air::isa;
use crate::aircraft::{
    AirState, Aircraft, Configuration, EngineState, GlidePropeller, Performance, Speeds, Warmth,
};
use crate::quantity::{G_M_S2, M_PER_FT, M_S_PER_KT};

/// Height kept back for a pattern, m (1,000 ft).
pub const KEPT_BACK_M: f64 = 1_000.0 * M_PER_FT;
/// Part of the distance that is counted; the rest is kept back.
pub const COUNTED: f64 = 0.8;
/// No best glide is sought below this many times the stall speed: our choice, no source.
pub const LEAST_OVER_STALL: f64 = 1.2;
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
    /// Glide ratio with the lever back over that with it forward, less one.
    pub gain: f64,
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

    /// The indicated airspeed of the best ratio over the ground at half the height: a scan, for governor and stops make kinks, then
    /// golden section.
    fn best(&self, head_wind_m_s: f64) -> GlidePoint {
        let a = self.aircraft;
        let stall = Speeds::at_mass(a.speeds.vs_m_s, self.mass_kg, a.masses.max_take_off_kg);
        let (least, most) = (LEAST_OVER_STALL * stall, a.speeds.vno_m_s);
        let at = |ias: f64| self.at(self.ask.middle_m(), ias, head_wind_m_s);
        let mut best = at(least);
        let steps = ((most - least) / SCAN_M_S).max(0.0);
        let mut i = 1.0;
        while i <= steps {
            let point = at(least + i * SCAN_M_S);
            if point.ratio > best.ratio {
                best = point;
            }
            i += 1.0;
        }
        let mut low = (best.ias_m_s - SCAN_M_S).max(least);
        let mut high = best.ias_m_s + SCAN_M_S;
        let (mut x, mut y) = (high - GOLD * (high - low), low + GOLD * (high - low));
        let (mut fx, mut fy) = (at(x).ratio, at(y).ratio);
        while high - low > TOLERANCE_M_S {
            if fx > fy {
                high = y;
                (y, fy) = (x, fx);
                x = high - GOLD * (high - low);
                fx = at(x).ratio;
            } else {
                low = x;
                (x, fx) = (y, fy);
                y = low + GOLD * (high - low);
                fy = at(y).ratio;
            }
        }
        at(0.5 * (low + high))
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
            Some(LeverBack {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aircraft::Governed;
    use crate::files::profile::load_profile;
    use crate::quantity::KG_PER_LB;
    use std::path::Path;

    fn profile(name: &str) -> Aircraft {
        let path = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("profiles")
            .join(name);
        load_profile(&path).expect("a profile of this repository loads")
    }

    fn ask(masses_lb: &[f64], head_wind_kt: f64) -> GlideAsk {
        GlideAsk {
            masses_kg: masses_lb.iter().map(|lb| lb * KG_PER_LB).collect(),
            ground_m: 0.0,
            height_m: 5_000.0 * M_PER_FT,
            warmth: Warmth::AboveStandard(0.0),
            head_wind_m_s: head_wind_kt * M_S_PER_KT,
        }
    }

    fn find(glides: &[BestGlide], propeller: GlidePropeller) -> &BestGlide {
        glides
            .iter()
            .find(|g| g.case.propeller == propeller && g.case.engine == dead(false))
            .expect("every study has it")
    }

    /// No propeller at all.
    fn nothing(aircraft: &Aircraft, air: AirState, tas_m_s: f64) -> Performance {
        Performance {
            thrust_n: 0.0,
            ..aircraft.glide_drag(air, tas_m_s, GlidePropeller::Stopped, dead(false))
        }
    }

    #[test]
    fn published_wind_shift_of_the_best_speed() {
        // REFERENCES A.5b: head wind in units of the best-L/D speed, best speed and distance relative to still air, parabolic polar,
        // small angles: (3v^2 - v^-2)(v - w) = v^3 + 1/v. Drag a hundredth of the demo's keeps the angles small. The published digits
        // are four; compressibility and the speed change with height move the speed by a few ten-thousandths, so 0.001 here.
        const SPEED: f64 = 0.001;
        let mut aircraft = profile("retractable-200hp.toml");
        aircraft.airframe.cd0 *= 0.01;
        aircraft.airframe.k *= 0.01;
        // Stall and Vno far away, so that the search may go where the formula does.
        aircraft.speeds.vs_m_s *= 0.5;
        aircraft.speeds.vno_m_s *= 1.5;
        let mass_kg = 2_740.0 * KG_PER_LB;
        let still_ask = ask(&[2_740.0], 0.0);
        let glider = Glider {
            aircraft: &aircraft,
            ask: &still_ask,
            mass_kg,
            propulsion: |air, tas| nothing(&aircraft, air, tas),
        };
        let still = glider.best(0.0);
        // CL = sqrt(CD0/k), EAS = sqrt(2 W / (rho0 S CL)): 44.5 m/s for the demo at 2,740 lb.
        let cl = (0.0235_f64 / 0.058).sqrt();
        let eas = (2.0 * mass_kg * G_M_S2 / (1.225 * aircraft.airframe.wing_area_m2 * cl)).sqrt();
        assert!(
            (still.ias_m_s / eas - 1.0).abs() < SPEED,
            "{} {eas}",
            still.ias_m_s
        );
        // Fuel per ground mile in the table is the inverse of distance for height.
        for (w, v, less) in [
            (-0.5, 0.9146, 0.657),
            (-0.3, 0.9411, 0.764),
            (-0.1, 0.9770, 0.908),
            (0.1, 1.0274, 1.109),
            (0.3, 1.0996, 1.400),
            (0.5, 1.2040, 1.830),
        ] {
            let wind = glider.best(w * still.tas_m_s);
            let shift = wind.tas_m_s / still.tas_m_s;
            assert!((shift - v).abs() < SPEED, "{w}: {shift} for {v}");
            let longer = still.ratio / wind.ratio;
            assert!(
                (longer / less - 1.0).abs() < 0.002,
                "{w}: {longer} for {less}"
            );
        }
    }

    #[test]
    fn closed_form_best_glide_goes_with_the_square_root_of_weight() {
        // Stopped, the propeller is one more flat plate: drag goes with dynamic pressure, and the best speed with sqrt(W). Mach
        // effects on airspeed and blade are the rest.
        const ROOT: f64 = 0.002;
        for name in ["retractable-200hp.toml", "twin-200hp.toml"] {
            let aircraft = profile(name);
            let most = aircraft.masses.max_take_off_kg / KG_PER_LB;
            let s = study(&aircraft, ask(&[most, 0.75 * most], 0.0));
            let ias = |i: usize| find(&s.masses[i], GlidePropeller::Stopped).still.ias_m_s;
            let root = 0.75_f64.sqrt();
            assert!(
                (ias(1) / ias(0) / root - 1.0).abs() < ROOT,
                "{name} {}",
                ias(1) / ias(0)
            );
            let ratio = |i: usize| find(&s.masses[i], GlidePropeller::Stopped).still.ratio;
            assert!((ratio(1) / ratio(0) - 1.0).abs() < ROOT);
            // Windmilling, friction spoils the rule a little.
            let ias = |i: usize| {
                find(&s.masses[i], GlidePropeller::LeverForward)
                    .still
                    .ias_m_s
            };
            assert!(
                (ias(1) / ias(0) / root - 1.0).abs() < 0.03,
                "{name} {}",
                ias(1) / ias(0)
            );
        }
    }

    #[test]
    fn closed_form_head_wind_raises_the_best_speed_and_shortens_the_glide() {
        let aircraft = profile("retractable-200hp.toml");
        let [still, head, tail] =
            [0.0, 25.0, -25.0].map(|kt| study(&aircraft, ask(&[2_740.0], kt)).masses.remove(0));
        for i in 0..still.len() {
            assert_eq!(still[i].wind.ias_m_s, still[i].still.ias_m_s);
            assert!(head[i].wind.ias_m_s > still[i].wind.ias_m_s);
            assert!(tail[i].wind.ias_m_s <= still[i].wind.ias_m_s);
            assert!(head[i].distance_m < still[i].distance_m);
            assert!(tail[i].distance_m > still[i].distance_m);
            // In still air: ratio times height less 1,000 ft, times 0.8. The ratio moves little between half height and the rest.
            let by_hand = 0.8 * 4_000.0 * M_PER_FT * still[i].still.ratio;
            assert!((still[i].distance_m / by_hand - 1.0).abs() < 0.01);
            // Slower than the best in the wind is not farther.
            assert!(head[i].wind.ratio < still[i].still.ratio);
        }
    }

    #[test]
    fn closed_form_no_height_or_too_much_wind_is_no_distance() {
        let aircraft = profile("retractable-200hp.toml");
        let mut low = ask(&[2_740.0], 0.0);
        low.height_m = 900.0 * M_PER_FT;
        for s in [
            study(&aircraft, low),
            study(&aircraft, ask(&[2_740.0], 200.0)),
        ] {
            assert!(!s.masses[0].is_empty());
            assert!(s.masses[0].iter().all(|g| g.distance_m == 0.0));
        }
    }

    #[test]
    fn closed_form_the_lever_helps_only_where_the_governor_can_govern() {
        // The windmilling speed on the fine stop decides: put the lowest governed speed above it and below it.
        let mut aircraft = profile("retractable-200hp.toml");
        let turning = |a: &Aircraft| {
            let s = study(a, ask(&[2_740.0], 0.0));
            let forward = *find(&s.masses[0], GlidePropeller::LeverForward);
            let back = *find(&s.masses[0], GlidePropeller::LeverBack);
            (s.lever.expect("constant speed"), forward, back)
        };
        let windmilling = turning(&aircraft).0.windmilling_rev_s;
        aircraft.propeller.lowest_governed_rev_s = 1.1 * windmilling;
        let (lever, forward, back) = turning(&aircraft);
        assert!(!lever.governs && lever.gain.abs() < 1e-9, "{lever:?}");
        assert_eq!(forward.still.ratio, back.still.ratio);
        assert_eq!(back.still.performance.governed, Governed::OnLowStop);
        aircraft.propeller.lowest_governed_rev_s = 0.7 * windmilling;
        let (lever, forward, back) = turning(&aircraft);
        assert!(lever.governs && lever.gain > 0.02, "{lever:?}");
        assert!(back.still.performance.rev_s < forward.still.performance.rev_s);
    }

    #[test]
    fn closed_form_cases_follow_the_hub() {
        let kinds = |name: &str| -> Vec<GlidePropeller> {
            cases(&profile(name)).iter().map(|c| c.propeller).collect()
        };
        use GlidePropeller::{Feathered, LeverBack, LeverForward, Stopped};
        assert_eq!(
            kinds("trainer-160hp.toml"),
            [LeverForward, LeverForward, LeverForward, Stopped]
        );
        assert!(!kinds("retractable-200hp.toml").contains(&Feathered));
        assert!(kinds("retractable-200hp.toml").contains(&LeverBack));
        let twin = profile("twin-200hp.toml");
        assert!(kinds("twin-200hp.toml").contains(&Feathered));
        let s = study(&twin, ask(&[twin.masses.max_take_off_kg / KG_PER_LB], 0.0));
        let ratio = |p| find(&s.masses[0], p).still.ratio;
        assert!(ratio(Feathered) > 1.05 * ratio(LeverBack).max(ratio(Stopped)));
    }
}
