//! The lever card on plans of several shapes.

use super::descent::map_change;
use super::levers::{Lever, Move, Setting, lever_moves};
use super::*;
use crate::aircraft::{Gear, Induction};
use crate::brief::sample;
use crate::flight::ThrottleRule;
use crate::quantity::{ManifoldPressure, Rpm};

fn setting(map_inhg: Option<f64>, revs: f64, mixture: usize) -> Setting {
    Setting {
        throttle: map_inhg.map_or(Throttle::Full, |m| {
            Throttle::Map(ManifoldPressure::inhg(m).to_pa())
        }),
        rev_s: Rpm::per_min(revs).to_rev_s(),
        mixture,
    }
}

fn intake() -> Intake {
    Intake {
        upstream_pa: 80_000.0,
        ambient_pa: 79_000.0,
        temperature_k: 275.0,
    }
}

fn moves(from: Setting, to: Setting) -> Vec<Move> {
    let problem = sample::problem();
    let now = problem
        .aircraft
        .engine
        .map_pa(from.throttle, from.rev_s, intake());
    lever_moves(problem, intake(), now, from, to)
}

fn levers(moves: &[Move]) -> Vec<Lever> {
    moves.iter().map(|m| m.lever).collect()
}

#[test]
fn closed_form_reducing_is_throttle_prop_throttle_mixture() {
    let m = moves(setting(None, 2_500.0, 0), setting(Some(19.0), 2_100.0, 2));
    assert_eq!(
        levers(&m),
        [
            Lever::Throttle,
            Lever::Prop,
            Lever::Throttle,
            Lever::Mixture
        ],
        "{m:?}"
    );
}

#[test]
fn closed_form_adding_is_mixture_prop_throttle() {
    let m = moves(setting(Some(18.0), 2_100.0, 2), setting(None, 2_500.0, 0));
    assert_eq!(
        levers(&m),
        [Lever::Mixture, Lever::Prop, Lever::Throttle],
        "{m:?}"
    );
}

#[test]
fn closed_form_prop_back_at_full_throttle_moves_no_throttle() {
    let m = moves(setting(None, 2_500.0, 1), setting(None, 2_300.0, 1));
    assert_eq!(levers(&m), [Lever::Prop], "{m:?}");
}

#[test]
fn closed_form_the_retard_pays_for_the_rise() {
    // Whatever the settings, no reading on the way lies above both ends by more than half a map step.
    let problem = sample::problem();
    let mut checked = 0;
    for from_in in [17.0, 18.5, 20.0, 22.0] {
        for to_in in [16.0, 18.0, 19.5] {
            for (a, b) in [(2_700.0, 1_900.0), (2_500.0, 2_100.0), (2_300.0, 2_000.0)] {
                let (from, to) = (setting(Some(from_in), a, 1), setting(Some(to_in), b, 1));
                let m = moves(from, to);
                let half_step = 0.5 * problem.aircraft.procedures.map_step_pa;
                let now = problem
                    .aircraft
                    .engine
                    .map_pa(from.throttle, from.rev_s, intake());
                let end = problem
                    .aircraft
                    .engine
                    .map_pa(to.throttle, to.rev_s, intake());
                for x in &m {
                    assert!(
                        x.map_pa <= now.max(end) + half_step,
                        "{from_in} {to_in} {a} {b}: {m:?}"
                    );
                }
                if let Some(prop) = m.iter().position(|x| x.lever == Lever::Prop)
                    && prop > 0
                    && m[prop - 1].lever == Lever::Throttle
                {
                    checked += 1;
                    assert!(
                        m[prop].map_pa > m[prop - 1].map_pa,
                        "MAP comes up with the PROP: {m:?}"
                    );
                    assert!(
                        m[prop].map_pa <= end + 1.0,
                        "and not past the reading wanted: {m:?}"
                    );
                }
            }
        }
    }
    assert!(checked > 5, "only {checked} retards");
}

#[test]
fn closed_form_card_of_the_sample() {
    let card = lever_card(sample::plan(), sample::problem(), Units::Us);
    for side in [false, true] {
        let n = card
            .iter()
            .filter(|l| l.group.arrival_side() == side)
            .count();
        assert!((4..=CARD_LINES_A_SIDE).contains(&n), "{n} lines");
    }
    for (i, l) in card.iter().enumerate() {
        assert_eq!(l.order, i + 1);
        assert!(!l.trigger.is_empty() && !l.action.is_empty());
    }
    assert!(
        card.windows(2)
            .all(|w| w[0].distance_nm <= w[1].distance_nm + 1e-6 || w[0].trigger.contains("every"))
    );
    let at = |text: &str| {
        card.iter()
            .position(|l| l.action.contains(text))
            .unwrap_or_else(|| panic!("no {text}: {card:#?}"))
    };
    assert!(at("GEAR up") < at("CLIMB"));
    assert!(at("leave climb power on") < at("PROP back to 2,300"));
    assert!(at("PROP back to 2,100") < at("GEAR down"));
    assert!(at("GEAR down") < at("PROP full forward, smoothly"));
    // That of the go-around apart.
    let last_mixture = card[..card.len() - 1]
        .iter()
        .rposition(|l| l.action.contains("MIXTURE"))
        .expect("a mixture line");
    assert!(last_mixture <= at("PROP full forward, smoothly"));
}

#[test]
fn closed_form_cards_of_other_shapes_keep_size_and_order() {
    let shapes = sample::shapes();
    assert_eq!(shapes.len(), 3);
    for plan in &shapes {
        let card = lever_card(plan, sample::problem(), Units::Us);
        for side in [false, true] {
            let n = card
                .iter()
                .filter(|l| l.group.arrival_side() == side)
                .count();
            assert!((4..=CARD_LINES_A_SIDE).contains(&n), "{n} lines: {card:#?}");
        }
        // Departure before arrival, groups in the order of the flight.
        assert!(
            card.windows(2)
                .all(|w| w[0].group as u8 <= w[1].group as u8),
            "{card:#?}"
        );
        assert!(!card[0].trigger.starts_with(THEN));
        let gear = card
            .iter()
            .position(|l| l.action.contains("GEAR down"))
            .expect("gear");
        let forward = card
            .iter()
            .position(|l| l.action.contains("PROP full forward, smoothly"))
            .expect("prop");
        assert!(gear < forward || card[gear].action.contains("PROP full forward, smoothly"));
    }
}

/// Actions of a card, with the trigger of each, and where one is.
fn place(card: &[CardLine], action: &str) -> usize {
    card.iter()
        .position(|l| l.action.contains(action))
        .unwrap_or_else(|| panic!("no {action}: {card:#?}"))
}

fn few_enough(card: &[CardLine]) {
    for side in [false, true] {
        let n = card
            .iter()
            .filter(|l| l.group.arrival_side() == side)
            .count();
        assert!((4..=CARD_LINES_A_SIDE).contains(&n), "{n} lines: {card:#?}");
    }
}

#[test]
fn closed_form_a_second_climb_speed_has_its_line_at_its_height() {
    // The sample climbs at 105 KIAS from 1,000 ft above its field to 10,500 ft.
    let one = lever_card(sample::plan(), sample::problem(), Units::Us);
    let climbs = |card: &[CardLine]| -> Vec<(String, String)> {
        card.iter()
            .filter(|l| l.action.contains("CLIMB at"))
            .map(|l| (l.trigger.clone(), l.action.clone()))
            .collect()
    };
    assert_eq!(climbs(&one).len(), 1);
    for (ias_kt, words) in [
        (95.0, "NOSE UP to 95 KIAS, CLIMB at that"),
        (115.0, "hold height to 115 KIAS, then CLIMB at 115 KIAS"),
    ] {
        let plan = sample::second_climb_speed(8_000.0, ias_kt);
        let card = lever_card(&plan, sample::problem(), Units::Us);
        few_enough(&card);
        assert!(
            card.windows(2)
                .all(|w| w[0].distance_nm <= w[1].distance_nm + 1e-6
                    || w[0].trigger.contains("every")),
            "{card:#?}"
        );
        let found = climbs(&card);
        assert_eq!(found.len(), 2, "{card:#?}");
        assert_eq!(found[0], climbs(&one)[0]);
        assert_eq!(found[1], ("passing 8,000 ft".to_owned(), words.to_owned()));
        let line = &card[place(&card, words)];
        assert!(line.expect.ends_with(" fpm"), "{line:?}");
        // JSON and sheet say the same.
        let figures = crate::brief::Figures::new(&plan, sample::problem());
        let text = crate::brief::json(&figures).expect("numbers and text");
        let json: serde_json::Value = serde_json::from_str(&text).expect("just written");
        let near = |key: &str, value: f64| {
            let said = json["second_climb_speed"][key].as_f64().expect("a number");
            assert!((said - value).abs() < 1e-6, "{key} {said}");
        };
        near("first_ias_kt", 105.0);
        near("from_ft", 8_000.0);
        near("ias_kt", ias_kt);
        let kinds: Vec<&str> = json["segments"]
            .as_array()
            .expect("segments")
            .iter()
            .filter_map(|s| s["kind"].as_str())
            .take_while(|k| *k != "cruise")
            .collect();
        let change = if ias_kt > 105.0 {
            "accelerate"
        } else {
            "climb"
        };
        assert_eq!(
            kinds,
            [
                "initial_climb",
                "accelerate",
                "climb",
                change,
                "climb",
                "level_off"
            ]
        );
    }
}

#[test]
fn closed_form_equipment_stands_where_practice_has_it() {
    // Common practice, no source: see the head of this file.
    const WORDS: [&str; 3] = ["COWL FLAPS", "AUX PUMP", "CARB HEAT"];
    let bare = lever_card(sample::plan(), sample::problem(), Units::Us);
    for l in &bare {
        assert!(!WORDS.iter().any(|w| l.action.contains(w)), "{l:?}");
    }
    let mut problem = sample::problem().clone();
    problem.aircraft.equipment.cowl_flaps = true;
    problem.aircraft.equipment.auxiliary_pump = true;
    problem.aircraft.equipment.induction = Induction::Carburettor;
    let mut plans = sample::shapes();
    plans.push(sample::plan().clone());
    for plan in &plans {
        let card = lever_card(plan, &problem, Units::Us);
        few_enough(&card);
        let at = |action: &str| place(&card, action);
        // Before take-off power is set.
        let first = &card[0].action;
        let throttle = first.find("THROTTLE").expect("take-off power");
        for set in ["COWL FLAPS open", "AUX PUMP on", "CARB HEAT off"] {
            assert!(first.find(set).is_some_and(|i| i < throttle), "{first}");
        }
        // The pump goes off in the climb after the first 1,000 ft, and is on for a change of tank and the landing.
        assert_eq!(card[at("AUX PUMP off")].group, Group::Climb);
        assert!(
            at("AUX PUMP on, FUEL other tank, at last the fullest, AUX PUMP off")
                > at("AUX PUMP off")
        );
        let landing = card.iter().rposition(|l| l.action.contains("AUX PUMP on"));
        assert_eq!(card[landing.expect("a pump")].group, Group::Arrival);
        assert!(landing <= card.iter().rposition(|l| l.action.contains("MIXTURE")));
        // Cowl flaps closed with the cruise setting, kept so in the descent, open on going around.
        assert_eq!(card[at("COWL FLAPS closed")].group, Group::Cruise);
        assert!(at("COWL FLAPS closed") > at("leave climb power on"));
        assert!(
            card.iter()
                .any(|l| l.group == Group::Descent && l.expect.ends_with("; COWL FLAPS closed"))
        );
        // Heat before the power for the pattern comes off, none for going around.
        let heat = at("CARB HEAT on");
        let last_heat = card
            .iter()
            .rposition(|l| l.action.contains("CARB HEAT on"))
            .expect("heat");
        assert!(heat <= last_heat);
        let l = &card[last_heat];
        assert_eq!(l.group, Group::Arrival);
        let together = l.action.find("THROTTLE back");
        let next = &card[last_heat + 1].action;
        assert!(
            together.is_some_and(|i| i > l.action.find("CARB HEAT on").unwrap_or(usize::MAX))
                || next.starts_with("THROTTLE back"),
            "{card:#?}"
        );
        let around = card.last().expect("lines");
        assert_eq!(
            (around.trigger.as_str(), around.action.as_str()),
            (
                "if going around",
                "MIXTURE full rich, PROP full forward, THROTTLE full forward, CARB HEAT off, COWL FLAPS open, FLAPS to take-off, \
                 positive climb: GEAR up"
            )
        );
    }
}

#[test]
fn closed_form_heat_before_a_descent_only_when_much_power_comes_off() {
    let mut problem = sample::problem().clone();
    problem.aircraft.equipment.induction = Induction::Carburettor;
    let heated = |plan: &Plan| {
        lever_card(plan, &problem, Units::Us)
            .iter()
            .any(|l| l.action.contains("until the descent is settled"))
    };
    // Full throttle all the way down takes no power off; 17.5 in at 1,900 after 20.5 in at 2,300 does.
    let shapes = sample::shapes();
    assert!(!heated(&shapes[2]));
    assert!(heated(&shapes[1]));
}

#[test]
fn closed_form_fixed_pitch_speaks_of_rpm_alone() {
    for left in [false, true] {
        let (mut problem, plan) = sample::fixed_pitch(left);
        problem.aircraft.equipment.gear = Gear::Fixed;
        let card = lever_card(&plan, &problem, Units::Us);
        few_enough(&card);
        for l in &card {
            for words in [&l.action, &l.expect] {
                for no in ["PROP", "MAP", "GEAR"] {
                    assert!(!words.contains(no), "{no}: {l:?}");
                }
                // No reading in inches.
                let inches = words
                    .split_whitespace()
                    .zip(words.split_whitespace().skip(1))
                    .any(|(a, b)| {
                        a.starts_with(|c: char| c.is_ascii_digit())
                            && matches!(b, "in" | "in," | "in;")
                    });
                assert!(!inches, "{l:?}");
            }
        }
        place(&card, "THROTTLE back to 2,400 rpm");
        if left {
            place(&card, "THROTTLE leave alone, but at most 2,700 rpm");
            assert!(
                !card
                    .iter()
                    .any(|l| l.group == Group::Descent && l.action.contains("THROTTLE back to"))
            );
        } else {
            // One step of 50 rpm at the top of descent, the rest at its pace, then held.
            let first = place(&card, "THROTTLE back to 2,350 rpm");
            let steps = place(
                &card,
                "THROTTLE back, 50 rpm every 30 s: 2,300, 2,250, 2,200 rpm",
            );
            assert!(first <= steps && steps < place(&card, "THROTTLE back to hold 2,200 rpm"));
        }
    }
}

#[test]
fn closed_form_fixed_pitch_order_of_levers() {
    let (problem, _) = sample::fixed_pitch(false);
    let set = |throttle: Throttle, revs: f64, mixture: usize| Setting {
        throttle,
        rev_s: Rpm::per_min(revs).to_rev_s(),
        mixture,
    };
    let order = |from: Setting, to: Setting| {
        let m = lever_moves(&problem, intake(), 0.0, from, to);
        let words: Vec<String> = m.iter().map(|m| m.action.clone()).collect();
        (levers(&m), words)
    };
    let (cruise, climb) = (
        set(Throttle::Rpm, 2_400.0, 2),
        set(Throttle::Full, 2_500.0, 0),
    );
    let (down, words) = order(climb, cruise);
    assert_eq!(down, [Lever::Throttle, Lever::Mixture]);
    assert_eq!(words[0], "THROTTLE back to 2,400 rpm");
    let (up, words) = order(cruise, climb);
    assert_eq!(up, [Lever::Mixture, Lever::Throttle]);
    assert_eq!(words[1], "THROTTLE full forward");
    assert!(order(climb, set(Throttle::Full, 2_550.0, 0)).0.is_empty());
    assert!(order(cruise, set(Throttle::Rpm, 2_403.0, 2)).0.is_empty());
    assert_eq!(
        order(cruise, set(Throttle::Rpm, 2_450.0, 2)).1,
        ["THROTTLE forward to 2,450 rpm"]
    );
}

#[test]
fn closed_form_a_throttle_left_alone_is_never_set_over_the_limit_line() {
    // 28 in left alone at 1,800 rpm, where the line of the sample has 23: what is set is 23.
    let problem = sample::problem();
    let mut plan = sample::plan().clone();
    plan.flown.script.descent.first.throttle =
        ThrottleRule::LeftAlone(ManifoldPressure::inhg(28.0).to_pa());
    plan.flown.script.descent.first.rev_s = Rpm::per_min(1_800.0).to_rev_s();
    for l in lever_card(&plan, problem, Units::Us) {
        assert!(!l.action.contains("28 in"), "{l:?}");
    }
    let figures = crate::brief::Figures::new(&plan, problem);
    assert!((figures.descent.map_inhg.expect("set") - 23.0).abs() < 1e-9);
}

#[test]
fn closed_form_map_left_alone_is_said_as_it_goes() {
    let inch = PA_PER_INHG;
    assert_eq!(
        map_change(20.0 * inch, 23.0 * inch),
        "MAP rises to about 23 in"
    );
    assert_eq!(
        map_change(23.0 * inch, 22.0 * inch),
        "MAP falls to about 22 in"
    );
    assert_eq!(
        map_change(23.0 * inch, 23.2 * inch),
        "MAP stays at about 23.2 in"
    );
}

#[test]
fn closed_form_reducing_with_the_propeller_forward_begins_with_the_throttle() {
    let m = moves(
        setting(Some(22.0), 2_100.0, 2),
        setting(Some(15.0), 2_300.0, 2),
    );
    assert_eq!(
        levers(&m),
        [Lever::Throttle, Lever::Prop, Lever::Throttle],
        "{m:?}"
    );
    assert!(m[1].map_pa < m[0].map_pa, "MAP falls with the PROP: {m:?}");
}

#[test]
fn closed_form_check_and_go_around_stand_by_themselves_in_their_order() {
    // Fuel, undercarriage, mixture, propeller: the order of the check is that of the issue; handbooks print it so (common practice, no
    // source).
    let mut plans = sample::shapes();
    plans.push(sample::plan().clone());
    for plan in &plans {
        let card = lever_card(plan, sample::problem(), Units::Us);
        let check = &card[place(&card, "FUEL fullest tank")].action;
        let at = |word: &str| {
            check
                .find(word)
                .unwrap_or_else(|| panic!("no {word}: {check}"))
        };
        assert!(at("FUEL") < at("GEAR checked down") && at("GEAR checked down") < at("MIXTURE"));
        assert!(at("MIXTURE") < at("PROP full forward, smoothly"));
        let around = card.last().expect("lines");
        assert_eq!(around.trigger, "if going around");
        assert!(around.action.starts_with("MIXTURE "), "{around:?}");
        assert_eq!(card.iter().filter(|l| l.trigger == GO_AROUND).count(), 1);
    }
}

#[test]
fn closed_form_tanks_are_changed_in_time_and_the_last_before_the_descent() {
    // Change every 60 min of the sample; lift-off to top of descent is its time below.
    let (problem, plan) = (sample::problem(), sample::plan());
    let card = lever_card(plan, problem, Units::Us);
    let line = &card[place(&card, "FUEL other tank")];
    let tod_s = plan.flown.top_of_descent.time_s;
    assert!((3_900.0..7_800.0).contains(&tod_s), "{tod_s}");
    assert_eq!(line.trigger, "at 1:00; 5 min before top of descent");
    assert!(
        line.expect.contains("1,500 ft above ground"),
        "{}",
        line.expect
    );
}
