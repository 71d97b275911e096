//! Worksheets: exercises drawn from a seed, with numbers from the model of an aircraft, and their answers.
//!
//! The numbers are those a pilot reads, in cockpit units and rounded as they are printed; every answer is computed from the printed
//! numbers, so that a student with paper gets the same. An exercise that makes no sense (a limit of its numbers broken, a setting that is
//! not allowed) is thrown away and another is drawn, and so is one that stands on the sheet already.

mod air;
mod descent;
mod exercise;
mod glide;
mod levels;
mod power;
mod slow;
mod teacher;

pub use exercise::{Exercise, Grade, Named, Number, RuleBook, Table, Topic, Unit};
pub use teacher::Teacher;

use crate::quantity::Draw;

/// Most exercises on a sheet.
pub const MOST: usize = 60;
/// So many drawings without a new exercise end the search.
const MOST_DRAWS: u32 = 2_000;

/// Stands for the topic where the order of the topics is drawn.
const ROUND: u8 = u8::MAX;

/// What sheet is asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SheetAsk {
    /// Topics, each once; every so many exercises have each of them once, in an order that is drawn.
    pub topics: Vec<Topic>,
    /// Grades, each once; the sheet goes from the easiest to the hardest.
    pub grades: Vec<Grade>,
    /// Whose rules of the air, each once.
    pub rules: Vec<RuleBook>,
    /// What the numbers are drawn from.
    pub seed: u64,
    /// How many exercises, 1 to [`MOST`].
    pub count: usize,
}

/// Why there is no such sheet.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SheetError {
    /// No topic, no grade, no rules, or not 1 to [`MOST`] exercises.
    #[error(
        "a sheet has 1 to {MOST} exercises of at least one topic and one grade, by the rules of at least one book"
    )]
    Empty,
    /// The topic needs what the aircraft has not.
    #[error("the topic {} is about a propeller lever, and this aircraft has a fixed-pitch propeller", .0.name())]
    FixedPitch(Topic),
    /// No exercise of this topic and grade that makes sense could be drawn, or none that is new.
    #[error("no further {} exercise on {} could be drawn from this aircraft after {found} of them", .grade.name(), .topic.name())]
    Exhausted {
        /// The topic.
        topic: Topic,
        /// The grade.
        grade: Grade,
        /// How many the sheet has of both.
        found: usize,
    },
}

/// Whether an aircraft has what a topic is about.
pub fn suits(topic: Topic, aircraft: &crate::aircraft::Aircraft) -> bool {
    topic != Topic::Rpm || !aircraft.propeller.is_fixed()
}

/// Draws a sheet. The same question, seed and aircraft give the same sheet.
///
/// # Errors
/// [`SheetError`].
pub fn sheet(teacher: &Teacher, ask: &SheetAsk) -> Result<Vec<Exercise>, SheetError> {
    let mut grades = ask.grades.clone();
    grades.sort_unstable();
    grades.dedup();
    let none = ask.topics.is_empty() || grades.is_empty() || ask.rules.is_empty();
    if none || !(1..=MOST).contains(&ask.count) {
        return Err(SheetError::Empty);
    }
    if let Some(&topic) = ask.topics.iter().find(|&&t| !suits(t, teacher.aircraft())) {
        return Err(SheetError::FixedPitch(topic));
    }
    let mut found: Vec<Exercise> = Vec::with_capacity(ask.count);
    let mut round = Vec::new();
    for place in 0..ask.count {
        if place % ask.topics.len() == 0 {
            round = ask.topics.clone();
            Draw::new(ask.seed, ROUND, place as u64).shuffle(&mut round);
        }
        let topic = round[place % ask.topics.len()];
        let grade = grades[place * grades.len() / ask.count];
        let mut draw = Draw::new(ask.seed, stream(topic, grade), place as u64);
        let new = (0..MOST_DRAWS).find_map(|_| {
            exercise(teacher, topic, (grade, &ask.rules), &mut draw)
                .filter(|e| !found.iter().any(|f| f.same_as(e)))
        });
        found.push(new.ok_or_else(|| {
            SheetError::Exhausted {
                topic,
                grade,
                found: found
                    .iter()
                    .filter(|e| e.topic == topic && e.grade == grade)
                    .count(),
            }
        })?);
    }
    Ok(found)
}

/// What the numbers of a topic and grade are drawn by, so that another grade has other numbers; below [`ROUND`], for there are fewer topics than 16.
fn stream(topic: Topic, grade: Grade) -> u8 {
    topic as u8 | (grade as u8) << 4
}

/// One drawing; `None` if it makes no sense.
fn exercise(
    teacher: &Teacher,
    topic: Topic,
    (grade, rules): (Grade, &[RuleBook]),
    draw: &mut Draw,
) -> Option<Exercise> {
    match topic {
        Topic::Tod => descent::tod(teacher, grade, draw),
        Topic::Rate => descent::rate(teacher, grade, draw),
        Topic::Fuel => descent::fuel(teacher, grade, draw),
        Topic::Late => descent::late(teacher, grade, draw),
        Topic::Settings => power::settings(teacher, grade, draw),
        Topic::Rpm => power::rpm(teacher, grade, draw),
        Topic::Density => air::density(teacher, grade, draw),
        Topic::Wind => air::wind(teacher, grade, draw),
        Topic::Levels => levels::levels(grade, rules, draw),
        Topic::Slowdown => slow::slowdown(teacher, grade, draw),
        Topic::Glide => glide::glide(teacher, grade, draw),
    }
}

/// A short code of what the student sees on a sheet, by which a sheet drawn again is known to be the same: FNV-1a, 64 bits, of the
/// questions, numbers and tables as they are held.
///
/// Source: Fowler, Noll, Vo, the FNV hash (public domain), offset 14695981039346656037, prime 1099511628211 (from memory).
pub fn code(exercises: &[Exercise]) -> String {
    let mut hash = 14_695_981_039_346_656_037_u64;
    let mut take = |bytes: &[u8]| {
        for &b in bytes {
            hash = (hash ^ u64::from(b)).wrapping_mul(1_099_511_628_211);
        }
    };
    for e in exercises {
        take(e.question.as_bytes());
        for n in &e.given {
            take(n.name.as_bytes());
            take(&n.number.value.to_bits().to_le_bytes());
        }
        for x in e.table.iter().flat_map(|t| t.rows.iter().flatten()) {
            take(&x.to_bits().to_le_bytes());
        }
    }
    format!("{hash:016x}")
}
