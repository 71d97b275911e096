//! Tests with files changed at random: an answer or an error, never a panic.

use std::path::Path;

use proptest::prelude::*;

use super::{PROFILE, TRIPS, root, text};
use crate::files::profile::parse_profile;
use crate::files::trip::parse_trip;

/// Mutations of a demo file: pieces cut, doubled, swapped or overwritten.
fn mutate(text: &str, changes: &[(usize, u8, usize, char)]) -> String {
    let mut chars: Vec<char> = text.chars().collect();
    for &(at, kind, length, c) in changes {
        let at = at % (chars.len() + 1);
        let end = (at + length).min(chars.len());
        match kind % 4 {
            0 => drop(chars.drain(at..end)),
            1 => chars.insert(at, c),
            2 => chars[at..end].fill(c),
            _ => {
                let piece = chars[at..end].to_vec();
                let to = (at * 7919) % (chars.len() + 1);
                drop(chars.splice(to..to, piece));
            }
        }
    }
    chars.into_iter().collect()
}

fn a_character() -> impl Strategy<Value = char> {
    prop_oneof![
        proptest::sample::select(vec![
            '0', '9', '.', '-', '=', '[', ']', '{', '}', '"', '\n', '\r', '\t', '#', 'e',
            '\u{feff}', '\u{1b}', 'é', '漢', '\0'
        ]),
        any::<char>(),
    ]
}

const ESCAPE: char = '\u{1b}';

/// A demo file with one of its numbers replaced.
fn with_number(text: &str, which: usize, number: &str) -> String {
    let digit = |c: char| c.is_ascii_digit() || c == '.';
    let mut starts = Vec::new();
    let mut before = '\n';
    for (i, c) in text.char_indices() {
        if c.is_ascii_digit() && (before == ' ' || before == '[') {
            starts.push(i);
        }
        before = c;
    }
    let at = starts[which % starts.len()];
    let rest = &text[at..];
    format!("{}{number}{}", &text[..at], rest.trim_start_matches(digit))
}

fn a_number() -> impl Strategy<Value = String> {
    prop_oneof![
        (-20_000_i32..20_000).prop_map(|i| i.to_string()),
        (0.0..2.0_f64).prop_map(|x| format!("{x:.3}")),
        any::<f64>().prop_map(|x| format!("{x:e}")),
        (0_i32..150).prop_map(|i| i.to_string()),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn closed_form_mutated_files_never_panic(
        changes in prop::collection::vec((any::<usize>().prop_map(|i| i % 1_000_000), any::<u8>(), 0_usize..40, a_character()), 1..6),
        which in 0_usize..4,
    ) {
        let path = [PROFILE, TRIPS[0], TRIPS[1], TRIPS[2]][which];
        let changed = mutate(&text(path), &changes);
        let error = if which == 0 {
            parse_profile(&changed, Path::new("p.toml")).err()
        } else {
            parse_trip(&changed, &root(path), None).err()
        };
        if let Some(error) = error {
            prop_assert!(!error.findings.is_empty());
            let clean = !error.render(false).contains(ESCAPE);
            prop_assert!(clean);
            prop_assert!(!error.render(true).is_empty() && !error.to_string().is_empty());
        }
    }

    #[test]
    fn closed_form_replaced_numbers_never_panic(
        numbers in prop::collection::vec((any::<usize>(), a_number()), 1..4),
        which in 0_usize..4,
    ) {
        let path = [PROFILE, TRIPS[0], TRIPS[1], TRIPS[2]][which];
        let changed = numbers.iter().fold(text(path), |t, (which, n)| with_number(&t, *which, n));
        let error = if which == 0 {
            parse_profile(&changed, Path::new("p.toml")).err()
        } else {
            parse_trip(&changed, &root(path), None).err()
        };
        if let Some(error) = error {
            prop_assert!(!error.findings.is_empty() && !error.render(true).is_empty());
            prop_assert!(!error.to_string().contains("NaN"), "{}", error);
        }
    }
}
