//! The equations of motion against their own statement in the module above, and the steps against a general-purpose integrator.

use super::*;
use crate::air::speed;
use crate::aircraft::{Textbook, Throttle};
use crate::flight::testbed::*;
use ode_solvers::{Dopri5, OutputType, SVector, System};

/// Rounding of a dozen terms, m/s and m/s².
const ROUNDING: f64 = 1e-11;

/// The test aircraft with constant efficiency and consumption: its forces have closed forms.
fn textbook() -> crate::aircraft::Aircraft {
    let mut a = aircraft(1.0);
    a.textbook = Some(Textbook {
        power_w: 150e3,
        efficiency: 0.8,
        consumption_kg_j: 8e-8,
    });
    a
}

/// Uniform wind and warm air; air that changes with place and height, under an altimeter setting that falls along the route.
fn days() -> [Problem; 2] {
    let uniform = Day {
        along_kt: -20.0,
        cross_kt: 25.0,
        deviation_k: 11.0,
        altimeter_inhg: STANDARD_INHG,
    };
    [
        problem(aircraft(1.0), 200.0, uniform),
        windy(aircraft(1.0), 6.0, (30.32, 29.42)),
    ]
}

fn state(pressure_altitude_m: f64, tas_m_s: f64) -> State {
    State {
        time_s: 300.0,
        distance_m: 120_000.0,
        pressure_altitude_m,
        tas_m_s,
        fuel_kg: 12.0,
        revolutions: 9_000.0,
    }
}

fn control(vertical: Vertical) -> Control {
    Control {
        levers: Levers {
            throttle: Throttle::Map(20.0 * IN),
            rev_s: 2_300.0 * RPM,
            mixture: 1,
        },
        vertical,
        configuration: Configuration::default(),
        bank_rad: 0.0,
    }
}

const VERTICALS: [Vertical; 6] = [
    Vertical::Level,
    Vertical::Rate(-3.0),
    Vertical::Rate(1.5),
    Vertical::Ias(60.0),
    Vertical::Trade(0.4),
    Vertical::Trade(-0.3),
];

fn nowhere() -> Cell<Nearby> {
    Cell::new(Nearby::NONE)
}

/// `(T - D) V / (m g) = dh/dt + (V/g) (dV/dt + (dw/dh_p) dh_p/dt)`, with the geometric climb `dh/dt` what is left of the rate of pressure altitude
/// after the drift along a sloping pressure surface, times `T/T_std`; ground speed by the angles of the wind triangle.
#[test]
fn closed_form_every_vertical_keeps_the_energy_equation() {
    // Dips of the path are under three degrees: the drift is reckoned with the ground speed of level flight.
    const DRIFT: f64 = 2e-3;
    let mut checked = 0;
    for p in days() {
        for hp in [900.0, 2_600.0] {
            for vertical in VERTICALS {
                let s = state(hp, 64.0);
                let i = instant(&p, &s, &control(vertical), &nowhere());
                let sample = p.air.at(s.distance_m, hp, s.time_s);
                let (density, pressure) = (i.air.density_kg_m3, isa::pressure_pa(hp));
                assert!(
                    (density * 287.052_87 * sample.temperature_k / pressure - 1.0).abs() < 1e-12
                );
                // Taxi and take-off burned 3 and 1 kg of what was on board at start-up.
                assert!((i.mass_kg - (p.zero_fuel_kg + p.fuel_kg - 3.0 - 1.0 - 12.0)).abs() < 1e-9);
                let v = i.tas_m_s;
                match vertical {
                    Vertical::Ias(ias) => {
                        let tas = speed::cas_to_tas_m_s(ias, pressure, sample.temperature_k);
                        assert!((v - tas).abs() < 1e-9);
                    }
                    _ => assert_eq!(v, 64.0),
                }
                let weight = i.mass_kg * G_M_S2;
                let polar = &p.aircraft.airframe;
                let lift = 0.5 * density * v * v * polar.wing_area_m2;
                let drag = lift * (polar.cd0 + polar.k * (weight / lift).powi(2));
                let thrust = p
                    .aircraft
                    .perform(i.air, v, control(vertical).levers)
                    .thrust_n;
                let warm = sample.temperature_k / isa::temperature_k(hp);
                let level_gs =
                    (v * v - sample.cross_m_s * sample.cross_m_s).sqrt() + sample.along_m_s;
                let drift = p.level_slope() * level_gs;
                let climb = (i.rate_m_s - drift) * warm;
                if vertical == Vertical::Level {
                    assert!((i.rate_m_s - drift).abs() < ROUNDING && climb.abs() < ROUNDING);
                }
                let shear = sample.along_per_m
                    * (i.rate_m_s
                        - if vertical == Vertical::Level {
                            drift
                        } else {
                            0.0
                        });
                let gains = climb + v / G_M_S2 * (i.acceleration_m_s2 + shear);
                let power = (thrust - drag) * v / weight;
                assert!(
                    (power - gains).abs() < 1e-9,
                    "{vertical:?}: {power} {gains}"
                );
                let path = (climb / v).asin();
                let across = (sample.cross_m_s / (v * path.cos())).asin();
                let gs = v * path.cos() * across.cos() + sample.along_m_s;
                assert!(
                    (i.ground_speed_m_s - gs).abs() < DRIFT * v * (climb / v).abs() + 1e-9,
                    "{vertical:?}"
                );
                match vertical {
                    Vertical::Rate(rate) => assert_eq!(i.rate_m_s, rate),
                    Vertical::Trade(a) => assert_eq!(i.acceleration_m_s2, a),
                    _ => {}
                }
                assert_eq!(i.load_factor, 1.0);
                checked += 1;
            }
        }
        assert!(p.level_slope().abs() > 1e-6 || p.departure.ident == "AAAA");
    }
    assert_eq!(checked, 24);
}

/// At held IAS the speed rises with height as CAS to TAS says.
#[test]
fn closed_form_held_ias_accelerates_with_height() {
    // The slope is taken over 30 m to one side: half of that times the second derivative, 0.1 % of the first.
    const ONE_SIDED: f64 = 2e-3;
    let [p, _] = days();
    for hp in [500.0, 3_000.0] {
        let i = instant(
            &p,
            &state(hp, 64.0),
            &control(Vertical::Ias(60.0)),
            &nowhere(),
        );
        let tas = |hp: f64| {
            speed::cas_to_tas_m_s(60.0, isa::pressure_pa(hp), isa::temperature_k(hp) + 11.0)
        };
        let per_m = (tas(hp + 1.0) - tas(hp - 1.0)) / 2.0;
        assert!(i.rate_m_s.abs() > 0.1);
        let measured = i.acceleration_m_s2 / i.rate_m_s;
        assert!(
            (measured / per_m - 1.0).abs() < ONE_SIDED,
            "{measured} {per_m}"
        );
    }
}

/// In a turn lift carries the weight and bends the path, `n = 1/cos(bank)`; no ground is gained, and wind and slopes of pressure add nothing.
#[test]
fn closed_form_a_turn_gains_no_ground_and_costs_induced_drag() {
    let [_, p] = days();
    for vertical in [Vertical::Level, Vertical::Rate(-3.0), Vertical::Ias(60.0)] {
        let s = state(1_500.0, 64.0);
        let bank_rad = 30_f64.to_radians();
        let turning = Control {
            bank_rad,
            ..control(vertical)
        };
        let i = instant(&p, &s, &turning, &nowhere());
        let n = 2.0 / 3.0_f64.sqrt();
        assert!((i.load_factor - n).abs() < ROUNDING);
        assert_eq!(i.ground_speed_m_s, 0.0);
        let v = i.tas_m_s;
        let polar = &p.aircraft.airframe;
        let lift = 0.5 * i.air.density_kg_m3 * v * v * polar.wing_area_m2;
        let weight = i.mass_kg * G_M_S2;
        let drag = lift * (polar.cd0 + polar.k * (n * weight / lift).powi(2));
        let warm = i.sample.temperature_k / isa::temperature_k(1_500.0);
        let gains = i.rate_m_s * warm + v / G_M_S2 * i.acceleration_m_s2;
        let power = (i.performance.thrust_n - drag) * v / weight;
        assert!(
            (power - gains).abs() < 1e-9,
            "{vertical:?}: {power} {gains}"
        );
    }
}

/// `phi_k(z) = integral over 0..1 of exp((1 - s) z) s^(k-1)/(k-1)!`, by Simpson's rule on 2,000 steps: across the change from series to formula,
/// and into the stiff range.
#[test]
fn closed_form_exponential_weights() {
    // The series leaves out terms below 1e-8; Simpson's error is (h^4/180) z^4, below 1e-10.
    const WEIGHT: f64 = 1e-8;
    for z in [0.0, -1e-3, -0.02, -0.0499, -0.0501, -0.3, -2.0, -9.0] {
        let got = exponential_weights(z);
        for (k, got) in got.into_iter().enumerate() {
            let steps = 2_000;
            let of = |j: i32| {
                let s = f64::from(j) / f64::from(steps);
                let factorial = if k == 2 { 2.0 } else { 1.0 };
                ((1.0 - s) * z).exp() * s.powi(k as i32) / factorial
            };
            let sum: f64 = (0..=steps)
                .map(|j| if j == 0 || j == steps { 1.0 } else { f64::from(2 + 2 * (j % 2)) } * of(j))
                .sum();
            let simpson = sum / (3.0 * f64::from(steps));
            assert!(
                (got - simpson).abs() < WEIGHT,
                "phi{} of {z}: {got} {simpson}",
                k + 1
            );
        }
    }
}

/// The right-hand side of a flight, for the library.
struct Motion<'a>(&'a Problem, Control);

type Vector = SVector<f64, 5>;

impl System<f64, Vector> for Motion<'_> {
    fn system(&self, time_s: f64, y: &Vector, dy: &mut Vector) {
        let s = State {
            time_s,
            distance_m: y[0],
            pressure_altitude_m: y[1],
            tas_m_s: y[2],
            fuel_kg: y[3],
            revolutions: y[4],
        };
        let i = instant(self.0, &s, &self.1, &nowhere());
        dy.copy_from_slice(&[
            i.ground_speed_m_s,
            i.rate_m_s,
            i.acceleration_m_s2,
            i.performance.fuel_kg_s,
            i.performance.rev_s,
        ]);
    }
}

/// The state some time later, by Dormand and Prince's pair in the `ode_solvers` crate.
fn later(p: &Problem, from: &State, control: Control, dt: f64) -> State {
    let y = Vector::from([
        from.distance_m,
        from.pressure_altitude_m,
        from.tas_m_s,
        from.fuel_kg,
        from.revolutions,
    ]);
    let (begin, end) = (from.time_s, from.time_s + dt);
    let mut solver = Dopri5::from_param(
        Motion(p, control),
        begin,
        end,
        dt,
        y,
        1e-12,
        1e-12,
        0.9,
        0.04,
        0.2,
        10.0,
        dt,
        0.0,
        100_000,
        1_000,
        OutputType::Sparse,
    );
    solver.integrate().expect("it is integrated");
    let y = solver.y_out().last().expect("an end");
    State {
        time_s: end,
        distance_m: y[0],
        pressure_altitude_m: y[1],
        tas_m_s: y[2],
        fuel_kg: y[3],
        revolutions: y[4],
    }
}

/// By how much two states differ: metres of distance and height, m/s, grams of fuel, tenths of a turn; the greatest.
fn miss(a: &State, b: &State) -> f64 {
    let parts = [
        a.time_s - b.time_s,
        a.distance_m - b.distance_m,
        a.pressure_altitude_m - b.pressure_altitude_m,
        a.tas_m_s - b.tas_m_s,
        1e3 * (a.fuel_kg - b.fuel_kg),
        10.0 * (a.revolutions - b.revolutions),
    ];
    parts
        .into_iter()
        .fold(0.0, |most: f64, x| most.max(x.abs()))
}

/// Steps of fourth order leave a sixteenth of the error when they are halved, of second order a quarter, and both come near the library's answer.
#[test]
fn crosscheck_steps_in_time_have_their_order() {
    // A step, from what the levers gave near its beginning where that is known; what they give near its end where the next may know it.
    type Step = fn((&Problem, &State, &Control), f64, Option<Given>) -> (State, Option<Given>);
    let fourth: Step = |(p, s, c), dt, _| {
        let (near, first) = (nowhere(), instant(p, s, c, &nowhere()));
        (step_time(p, s, &first, c, dt, &near).0, None)
    };
    let second: Step = |(p, s, c), dt, _| {
        let (near, first) = (nowhere(), instant(p, s, c, &nowhere()));
        (step_settling(p, s, &first, c, dt, &near).0, None)
    };
    let second_ahead: Step = |(p, s, c), dt, given| {
        let first = match given {
            Some(given) => {
                let air = p.air_state(s.distance_m, s.pressure_altitude_m, s.time_s);
                instant_in(p, s, c, air, |_, tas_m_s| given.at(tas_m_s))
            }
            None => instant(p, s, c, &nowhere()),
        };
        step_settling(p, s, &first, c, dt, &nowhere())
    };
    let [_, p] = days();
    let mut wrong = Vec::new();
    // Order; span and number of steps; greatest miss with that number.
    for (step, order, span_s, steps, most) in [
        (fourth, 4, 60.0, 6, 2e-2),
        (second, 2, 60.0, 6, 1.5),
        (second_ahead, 2, 60.0, 6, 1.5),
    ] {
        for (vertical, bank_rad) in [
            (Vertical::Level, 0.0),
            (Vertical::Rate(-3.0), 0.0),
            (Vertical::Ias(60.0), 0.0),
            (Vertical::Rate(-3.0), 0.5),
        ] {
            let c = Control {
                bank_rad,
                ..control(vertical)
            };
            // 12 m/s from the speed it settles at.
            let mut from = state(2_600.0, 52.0);
            if let Vertical::Ias(ias) = vertical {
                let (air, _) = p.air_state(from.distance_m, from.pressure_altitude_m, from.time_s);
                from.tas_m_s = p.aircraft.tas_from_ias(air, ias);
            }
            let exact = later(&p, &from, c, span_s);
            let off = |steps: u32| {
                let (mut s, mut given) = (from, None);
                for _ in 0..steps {
                    (s, given) = step((&p, &s, &c), span_s / f64::from(steps), given);
                }
                miss(&s, &exact)
            };
            let (whole, halved) = (off(steps), off(2 * steps));
            println!("{order} {vertical:?} {bank_rad}: {whole:.2e} {halved:.2e}");
            // Seven tenths of the power of two; below that rounding and the kinks of the air table speak.
            let falls = whole / halved;
            let in_order = falls > 0.7 * f64::from(1 << order) || whole < 2e-4;
            if !in_order || whole.is_nan() || whole > most {
                wrong.push(format!("{order} {vertical:?} {bank_rad}: {whole} {halved}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:?}");
}

/// A step in height ends where the library does when it is there.
#[test]
fn crosscheck_steps_in_height() {
    // Fourth order over 100 m, with a kink of the air table between: a centimetre in five kilometres.
    const LEFT: f64 = 2e-2;
    let [_, p] = days();
    for (throttle, dh) in [(Throttle::Full, 100.0), (Throttle::Map(12.0 * IN), -100.0)] {
        let mut c = control(Vertical::Ias(60.0));
        c.levers.throttle = throttle;
        let mut from = state(1_530.0, 0.0);
        let (air, _) = p.air_state(from.distance_m, from.pressure_altitude_m, from.time_s);
        from.tas_m_s = p.aircraft.tas_from_ias(air, 60.0);
        let near = nowhere();
        let first = instant(&p, &from, &c, &near);
        let there = step_height(&p, &from, &first, &c, dh, &near).expect("it leads there");
        assert_eq!(there.pressure_altitude_m, from.pressure_altitude_m + dh);
        let mut exact = later(&p, &from, c, there.time_s - from.time_s);
        exact.tas_m_s = instant(&p, &exact, &c, &near).tas_m_s;
        assert!(miss(&there, &exact) < LEFT, "{there:?} {exact:?}");
        // The other way does not lead there.
        assert_eq!(step_height(&p, &from, &first, &c, -dh, &near), None);
    }
}

/// At constant power thrust falls as `1/V` exactly, so how quickly the speed settles is the slope of its acceleration with speed.
#[test]
fn closed_form_settling_is_the_slope_of_the_acceleration() {
    // Central differences over 1 m/s of `1/V^2`: of the slope a few ten-thousandths.
    const SLOPE: f64 = 2e-3;
    let day = Day {
        deviation_k: 8.0,
        ..CALM
    };
    let p = problem(textbook(), 200.0, day);
    for vertical in [Vertical::Level, Vertical::Rate(-3.0), Vertical::Rate(2.0)] {
        for bank_rad in [0.0, 0.6] {
            let c = Control {
                bank_rad,
                ..control(vertical)
            };
            let at = |v: f64| instant(&p, &state(2_000.0, v), &c, &nowhere());
            for v in [45.0, 60.0, 75.0] {
                let slope = (at(v + 0.1).acceleration_m_s2 - at(v - 0.1).acceleration_m_s2) / 0.2;
                let settles = settling_per_s(&p, &at(v), &c);
                // The share of the weight along the path leaves out the warmth of the air: 3 % of it.
                let path = 0.03 * G_M_S2 * at(v).rate_m_s.abs() / (v * v);
                let want = slope.min(0.0);
                assert!(
                    (settles - want).abs() < SLOPE * slope.abs() + path,
                    "{vertical:?} {bank_rad} {v}: {settles} {want}"
                );
            }
        }
    }
    // Behind the power curve it never settles.
    let slow = instant(
        &p,
        &state(2_000.0, 24.0),
        &control(Vertical::Rate(6.0)),
        &nowhere(),
    );
    assert_eq!(
        settling_per_s(&p, &slow, &control(Vertical::Rate(6.0))),
        0.0
    );
}

/// Level speed: thrust is drag there, the time constant is the mass over the slope of what is left, and no speed is given that is slow to settle.
#[test]
fn closed_form_level_speed_balances_and_settles() {
    // The last step is under 1e-4 m/s, of a slope of some 20 N s/m.
    const LEFT_N: f64 = 5e-3;
    let p = problem(aircraft(1.0), 200.0, CALM);
    let air = AirState::new(isa::pressure_pa(2_000.0), isa::temperature_k(2_000.0));
    let (mut found, mut none, mut slow) = (0, 0, 0);
    for map in [10.0, 13.0, 14.0, 15.0, 16.0, 17.0, 18.0, 20.0, 22.0, 23.4] {
        let levers = Levers {
            throttle: Throttle::Map(map * IN),
            rev_s: 2_300.0 * RPM,
            mixture: 1,
        };
        let excess = |v: f64| {
            p.aircraft.perform(air, v, levers).thrust_n
                - p.aircraft.drag_n(air, v, 1_150.0, Configuration::default())
        };
        for guess in [62.0, 70.0, 78.0, 95.0] {
            let got = level_speed_m_s(&p, air, 1_150.0, levers, guess, &nowhere());
            let most = (0..600)
                .map(|i| excess(30.0 + 0.1 * f64::from(i)))
                .fold(f64::MIN, f64::max);
            let Some((v, tau)) = got else {
                // Nowhere thrust enough, or so little more that it would settle slowly: 1,150 kg in 120 s are 9.6 N for each m/s.
                assert!(most < 25.0, "{map} {guess}: {most}");
                if most < 0.0 {
                    none += 1
                } else {
                    slow += 1
                }
                continue;
            };
            assert!(excess(v).abs() < LEFT_N, "{map} {guess}: {}", excess(v));
            let slope = (excess(v + 0.05) - excess(v - 0.05)) / 0.1;
            assert!(
                (tau * -slope / 1_150.0 - 1.0).abs() < 0.02,
                "{map} {guess}: {tau} {slope}"
            );
            assert!(tau > 0.0 && tau < 120.0);
            found += 1;
        }
    }
    println!("{found} {none} {slow}");
    assert!(found >= 24 && none > 0, "{found} {none} {slow}");
}

/// What flies: finite, and faster than 15 m/s.
#[test]
fn closed_form_what_flies() {
    assert!(
        state(1_000.0, 15.1).flies()
            && !state(1_000.0, 15.0).flies()
            && !state(1_000.0, f64::NAN).flies()
    );
    assert!(!state(f64::NAN, 60.0).flies());
    let lost = State {
        distance_m: f64::INFINITY,
        ..state(1_000.0, 60.0)
    };
    assert!(!lost.flies());
}
