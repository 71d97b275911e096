//! Answers of a student to a worksheet, JSON.
//!
//! | key | what |
//! | --- | --- |
//! | `profile` | path of the aircraft profile, from where the command is run; `null` or left out: the aircraft that comes with the program |
//! | `topic`, `grade` | as the options of these names: names with commas |
//! | `rules` | as the option; may be left out: us |
//! | `seed`, `count` | whole numbers |
//! | `sheet` | the code on the sheet; may be left out |
//! | `answers` | rows of `number`, the exercise, and `value`, a number in the unit asked for or `null` |

use super::check;
use super::diagnostic::{FileError, Finding, FindingKind, read_text, span_at};
use serde::Deserialize;
use std::path::Path;

/// One answer.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GivenAnswer {
    /// Number of the exercise, from 1.
    pub number: usize,
    /// What the student found, in the unit asked for; `None` if nothing.
    #[serde(default)]
    pub value: Option<f64>,
}

/// A student's answers and the sheet they belong to.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GivenAnswers {
    /// Path of the aircraft profile.
    #[serde(default)]
    pub profile: Option<String>,
    /// Topics, with commas.
    pub topic: String,
    /// Grades, with commas.
    pub grade: String,
    /// Rules of the air, with commas.
    #[serde(default)]
    pub rules: Option<String>,
    /// Seed of the sheet.
    pub seed: u64,
    /// Exercises on the sheet.
    pub count: usize,
    /// The sheet's code.
    #[serde(default)]
    pub sheet: Option<String>,
    /// The answers.
    pub answers: Vec<GivenAnswer>,
}

const HINT: &str =
    "let fellrun worksheet --form write an empty form and fill in the values as plain numbers";

/// Reads answers.
///
/// # Errors
/// [`FileError`]: the file cannot be read, is no such JSON, or numbers an exercise twice or one that is not on the sheet.
pub fn load_answers(path: &Path) -> Result<GivenAnswers, FileError> {
    let text = read_text(path)?;
    parse_answers(&text, path)
        .map_err(|e| check::meant("a file of answers to a worksheet", path, &text, e))
}

/// The same from text; `path` is only for messages.
///
/// # Errors
/// As [`load_answers`].
pub fn parse_answers(text: &str, path: &Path) -> Result<GivenAnswers, FileError> {
    let given: GivenAnswers = serde_json::from_str(text).map_err(|why| {
        let at = span_at(text, why.line(), why.column().max(1));
        let words = why.to_string();
        // The place is drawn; serde's words end with it.
        let words = words.split(" at line ").next().unwrap_or_default();
        let words = words
            .replace("EOF", "the file ends")
            .replace("expected f64", "expected a number")
            .replace("expected u64", "expected a whole number, 0 or more")
            .replace("expected usize", "expected a whole number, 0 or more")
            .replace("string ", "the text ");
        let message = format!("these are not answers to a worksheet: {words}");
        let finding = Finding::new(FindingKind::Syntax, "", Some(at), message)
            .label("here")
            .hint(HINT);
        FileError::new(path, text, vec![finding])
    })?;
    let mut places = text
        .match_indices("\"number\"")
        .map(|(at, key)| at..at + key.len());
    let mut findings = Vec::new();
    for (i, answer) in given.answers.iter().enumerate() {
        let place = places.next();
        let key = format!("answers[{}].number", i + 1);
        let message = if answer.number == 0 || answer.number > given.count {
            format!(
                "{key} = {}: the sheet has exercises 1 to {}",
                answer.number, given.count
            )
        } else if given.answers[..i].iter().any(|a| a.number == answer.number) {
            format!("{key} = {}: this exercise is answered twice", answer.number)
        } else {
            continue;
        };
        findings.push(
            Finding::new(FindingKind::Contradiction, &key, place, message)
                .hint("give each exercise one row"),
        );
    }
    if findings.is_empty() {
        Ok(given)
    } else {
        Err(FileError::new(path, text, findings))
    }
}

/// Whether a text is meant to be such a file.
pub(super) fn looks_like_answers(text: &str) -> bool {
    text.trim_start().starts_with('{') && text.contains("\"answers\"") && text.contains("\"seed\"")
}
