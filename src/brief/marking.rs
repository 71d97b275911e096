//! A student's answers to a worksheet, marked.

use super::json::pretty;
use super::terminal::Sheet;
use super::units::plain;
use super::worksheet::{ExerciseFigures, WorksheetFigures, cell, head};
use crate::teach::worksheet::Exercise;
use serde::Serialize;

/// The title of marked answers.
pub const MARKS_TITLE: &str = "Answers marked: exercises on paper, not a flight manual";

/// One exercise marked.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MarkedFigures {
    /// Number of the exercise.
    pub number: usize,
    /// "right", "wrong" or "none": no answer was given.
    pub mark: &'static str,
    /// What the student found.
    pub given: Option<f64>,
    /// The exercise; its answer is left out where the student gave none.
    pub exercise: ExerciseFigures,
}

/// A student's answers marked.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MarksFigures {
    /// Title.
    pub title: &'static str,
    /// The aircraft.
    pub aircraft: String,
    /// Seed of the sheet.
    pub seed: u64,
    /// Code of the sheet.
    pub sheet: String,
    /// How many answers are right.
    pub right: usize,
    /// How many are wrong.
    pub wrong: usize,
    /// How many exercises have no answer.
    pub not_answered: usize,
    /// By exercise.
    pub marks: Vec<MarkedFigures>,
    /// What to beware of.
    pub cautions: Vec<String>,
}

impl MarksFigures {
    /// Marks the values given, exercise by exercise.
    pub fn new(sheet: &WorksheetFigures, exercises: &[Exercise], given: &[Option<f64>]) -> Self {
        let mut marks = Vec::new();
        for ((figures, e), value) in sheet.exercises.iter().zip(exercises).zip(given) {
            let mark = match value {
                None => "none",
                Some(v) if e.accepts(*v) => "right",
                Some(_) => "wrong",
            };
            let mut figures = figures.clone();
            if value.is_none() {
                figures.key = None;
            }
            marks.push(MarkedFigures {
                number: figures.number,
                mark,
                given: *value,
                exercise: figures,
            });
        }
        let of = |mark: &str| marks.iter().filter(|m| m.mark == mark).count();
        Self {
            title: MARKS_TITLE,
            aircraft: sheet.aircraft.clone(),
            seed: sheet.seed,
            sheet: sheet.sheet.clone(),
            right: of("right"),
            wrong: of("wrong"),
            not_answered: of("none"),
            marks,
            cautions: sheet.cautions.clone(),
        }
    }
}

/// The marks as JSON, a newline at the end.
///
/// # Errors
/// Only if the figures cannot be written as JSON, which would be our bug.
pub fn marks_json(figures: &MarksFigures) -> Result<String, serde_json::Error> {
    pretty(figures)
}

/// The marks as text, at most 100 columns wide and laid out for no fewer than 80.
pub fn marks_text(figures: &MarksFigures, width: usize) -> String {
    let mut sheet = Sheet::new(width);
    sheet.paragraph("", "", figures.title);
    sheet.strong(&format!(
        "{}: {} of {} right, {} wrong, {} without an answer",
        figures.aircraft,
        figures.right,
        figures.marks.len(),
        figures.wrong,
        figures.not_answered
    ));
    sheet.blank();
    for m in &figures.marks {
        let given = m.given.map_or_else(String::new, |v| {
            format!("{} {}", plain(v), m.exercise.answer_unit)
        });
        let against = m.exercise.key.as_ref().map_or_else(String::new, |k| {
            format!("{}, {}", k.answer_text, k.tolerance_text)
        });
        let mark = if m.mark == "none" { "-" } else { m.mark };
        let line = format!(
            "{:>3}  {mark:<6} {given:>14}   {:<10} {against}",
            m.number, m.exercise.topic
        );
        sheet.line(line.trim_end());
    }
    if figures.wrong > 0 {
        sheet.heading("The way to those that are wrong");
    }
    for m in figures.marks.iter().filter(|m| m.mark == "wrong") {
        sheet.blank();
        sheet.paragraph(&format!("{:>3}  ", m.number), "     ", &m.exercise.question);
        if let Some(t) = &m.exercise.table {
            sheet.paragraph("     ", "     ", &format!("{}:", t.caption));
            let heads: Vec<String> = t.columns.iter().map(head).collect();
            sheet.line(&format!("     {}", heads.join("  ")));
            for row in &t.rows {
                let cells: Vec<String> = row
                    .iter()
                    .zip(&t.columns)
                    .zip(&heads)
                    .map(|((x, c), h)| format!("{:>w$}", cell(*x, c), w = h.chars().count()))
                    .collect();
                sheet.line(&format!("     {}", cells.join("  ")));
            }
        }
        if let Some(k) = &m.exercise.key {
            for (i, s) in k.steps.iter().enumerate() {
                sheet.paragraph(&format!("     {} ", i + 1), "       ", s);
            }
            sheet.paragraph(
                "     ",
                "     ",
                &format!(
                    "Answer: {}, {}: {}.",
                    k.answer_text, k.tolerance_text, k.tolerance_reason
                ),
            );
        }
    }
    sheet.points("Cautions", &figures.cautions);
    sheet.finish()
}
