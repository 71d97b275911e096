//! Worksheets on paper and screen: the sheet and its answer key.

use super::json::pretty;
use super::units::plain;
use super::words::{EACH_ENGINE, ONE_ENGINE, number};
use crate::aircraft::Aircraft;
use crate::teach::worksheet::{Exercise, Grade, Named, Number, SheetAsk, Unit, code};
use maud::{DOCTYPE, Markup, PreEscaped, html};
use serde::Serialize;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// The title of a sheet.
pub const WORKSHEET_TITLE: &str = "Worksheet: exercises on paper, not a flight manual";
/// The title of its answers.
pub const KEY_TITLE: &str = "Answer key: exercises on paper, not a flight manual";

/// A number and its unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct NumberFigures {
    /// The value.
    pub value: f64,
    /// Its unit; empty for a ratio.
    pub unit: &'static str,
}

/// A column of a table.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ColumnFigures {
    /// Its head.
    pub name: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// Decimal places that are printed.
    pub places: u8,
}

/// A table to read from.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TableFigures {
    /// What it is of.
    pub caption: String,
    /// Columns.
    pub columns: Vec<ColumnFigures>,
    /// Rows.
    pub rows: Vec<Vec<f64>>,
}

/// What the key says to an exercise.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct KeyFigures {
    /// The answer.
    pub answer: NumberFigures,
    /// The same in words.
    pub answer_text: String,
    /// An answer is right within this.
    pub tolerance: f64,
    /// The same in words.
    pub tolerance_text: String,
    /// Why so much.
    pub tolerance_reason: &'static str,
    /// The way there.
    pub steps: Vec<String>,
    /// What the steps rest on.
    pub source: &'static str,
}

/// One exercise.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ExerciseFigures {
    /// Its number on the sheet, from 1.
    pub number: usize,
    /// Short name of its topic.
    pub topic: &'static str,
    /// The topic in words.
    pub topic_title: &'static str,
    /// How hard it is.
    pub grade: &'static str,
    /// Which question of the topic; the name does not change.
    pub kind: &'static str,
    /// The question.
    pub question: String,
    /// What is given, by name.
    pub given: BTreeMap<&'static str, NumberFigures>,
    /// A table to read from.
    pub table: Option<TableFigures>,
    /// Unit of the answer.
    pub answer_unit: &'static str,
    /// The answer; left out on the student's sheet.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub key: Option<KeyFigures>,
}

/// A sheet with its answers.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WorksheetFigures {
    /// Title.
    pub title: &'static str,
    /// The aircraft.
    pub aircraft: String,
    /// Path of its profile; none for the aircraft that comes with the program.
    pub profile: Option<String>,
    /// Topics, with commas.
    pub topic: String,
    /// Grades, with commas.
    pub grade: String,
    /// Rules of the air, with commas.
    pub rules: String,
    /// Seed.
    pub seed: u64,
    /// How many exercises.
    pub count: usize,
    /// Code of what is asked on the sheet.
    pub sheet: String,
    /// The exercises.
    pub exercises: Vec<ExerciseFigures>,
    /// What to beware of.
    pub cautions: Vec<String>,
}

/// A number as it is written on a sheet.
fn say(n: Number) -> String {
    let Number { value, unit } = n;
    let text = number(unit.rounded(value), usize::from(unit.places()));
    // A tenth of nought says nothing where whole numbers are usual.
    let trims = matches!(
        unit,
        Unit::Nm | Unit::Minutes | Unit::Inches | Unit::Percent | Unit::Gallons
    );
    let text = text.strip_suffix(".0").filter(|_| trims).unwrap_or(&text);
    match unit {
        Unit::Direction => format!("{:03.0}°", unit.rounded(value)),
        Unit::Degrees => format!("{text}°"),
        Unit::KnotsPerSecond => format!("{text} kt"),
        Unit::Setting => format!("{text} in"),
        Unit::Ratio | Unit::Fraction => text.to_owned(),
        _ => format!("{text} {}", unit.symbol()),
    }
}

/// Words with the numbers of an exercise in their places.
fn filled(words: &str, e: &Exercise) -> String {
    let mut out = String::with_capacity(words.len() + 32);
    let mut rest = words;
    while let Some((before, after)) = rest.split_once('{') {
        out.push_str(before);
        let Some((name, after)) = after.split_once('}') else {
            rest = after;
            break;
        };
        // A name without a number is a mistake of ours, which a test looks for; the reader sees the gap.
        out.push_str(&e.number(name).map_or_else(|| "?".to_owned(), say));
        rest = after;
    }
    out.push_str(rest);
    out.replace(" x ", " × ")
}

fn figure(n: Number) -> NumberFigures {
    NumberFigures {
        value: plain(n.value),
        unit: n.unit.symbol(),
    }
}

fn exercise(place: usize, e: &Exercise) -> ExerciseFigures {
    let answer_text = say(e.answer);
    let tolerance_text = if e.tolerance == 0.0 {
        "exactly".to_owned()
    } else {
        format!(
            "within {}",
            say(Number {
                value: e.tolerance,
                unit: match e.answer.unit {
                    Unit::Direction => Unit::Degrees,
                    unit => unit,
                },
            })
        )
    };
    ExerciseFigures {
        number: place + 1,
        topic: e.topic.name(),
        topic_title: e.topic.title(),
        grade: e.grade.name(),
        kind: e.kind,
        question: filled(e.question, e),
        given: e
            .given
            .iter()
            .map(|&Named { name, number }| (name, figure(number)))
            .collect(),
        table: e.table.as_ref().map(|t| TableFigures {
            caption: filled(t.caption, e),
            columns: t
                .columns
                .iter()
                .map(|&(name, unit)| ColumnFigures {
                    name,
                    unit: unit.symbol(),
                    places: unit.places(),
                })
                .collect(),
            rows: t
                .rows
                .iter()
                .map(|r| r.iter().map(|&x| plain(x)).collect())
                .collect(),
        }),
        answer_unit: e.answer.unit.symbol(),
        key: Some(KeyFigures {
            answer: figure(e.answer),
            answer_text,
            tolerance: plain(e.tolerance),
            tolerance_text,
            tolerance_reason: e.because,
            steps: e.steps.iter().map(|s| filled(s, e)).collect(),
            source: e.source,
        }),
    }
}

fn cautions(aircraft: &Aircraft) -> Vec<String> {
    let mut said = vec![
        "For the desk, not for flight. The numbers come from a model of the aircraft and from chance; the approved flight manual, local \
         rules and your instructor decide."
            .to_owned(),
        "Rules of thumb are marked as such. Rules of the air are quoted as they stood; read the current text.".to_owned(),
    ];
    if aircraft.engines > 1 {
        said.push(format!(
            "{EACH_ENGINE} {ONE_ENGINE} A glide is with all engines out."
        ));
    }
    said
}

impl WorksheetFigures {
    /// The figures of a sheet; `profile` is the path of the aircraft's profile as typed.
    pub fn new(
        ask: &SheetAsk,
        exercises: &[Exercise],
        aircraft: &Aircraft,
        profile: Option<String>,
    ) -> Self {
        let topics: Vec<&str> = ask.topics.iter().map(|t| t.name()).collect();
        let grades: Vec<&str> = ask.grades.iter().map(|g| g.name()).collect();
        let rules: Vec<&str> = ask.rules.iter().map(|b| b.name()).collect();
        Self {
            title: WORKSHEET_TITLE,
            aircraft: aircraft.name.clone(),
            profile,
            topic: topics.join(","),
            grade: grades.join(","),
            rules: rules.join(","),
            seed: ask.seed,
            count: exercises.len(),
            sheet: code(exercises),
            exercises: exercises
                .iter()
                .enumerate()
                .map(|(i, e)| exercise(i, e))
                .collect(),
            cautions: cautions(aircraft),
        }
    }

    /// The same without answers.
    #[must_use]
    pub fn for_students(&self) -> Self {
        let mut sheet = self.clone();
        for e in &mut sheet.exercises {
            e.key = None;
        }
        sheet
    }

    /// The same as an answer key.
    #[must_use]
    pub fn as_key(&self) -> Self {
        Self {
            title: KEY_TITLE,
            ..self.clone()
        }
    }

    fn subtitle(&self) -> String {
        format!("Seed {}, sheet {}", self.seed, self.sheet)
    }

    /// Exercises by grade, the easiest first.
    fn by_grade(&self) -> impl Iterator<Item = (&'static str, Vec<&ExerciseFigures>)> {
        Grade::ALL.into_iter().filter_map(|g| {
            let some: Vec<_> = self
                .exercises
                .iter()
                .filter(|e| e.grade == g.name())
                .collect();
            (!some.is_empty()).then(|| (g.name(), some))
        })
    }
}

/// The sheet as JSON, a newline at the end.
///
/// # Errors
/// Only if the figures cannot be written as JSON, which would be our bug.
pub fn worksheet_json(figures: &WorksheetFigures) -> Result<String, serde_json::Error> {
    pretty(figures)
}

/// An empty form for the answers, as the reader of answers takes it back.
///
/// # Errors
/// Only if it cannot be written as JSON, which would be our bug.
pub fn answer_form(figures: &WorksheetFigures) -> Result<String, serde_json::Error> {
    #[derive(Serialize)]
    struct Row {
        number: usize,
        value: Option<f64>,
    }
    #[derive(Serialize)]
    struct Form<'a> {
        profile: &'a Option<String>,
        topic: &'a str,
        grade: &'a str,
        rules: &'a str,
        seed: u64,
        count: usize,
        sheet: &'a str,
        answers: Vec<Row>,
    }
    pretty(&Form {
        profile: &figures.profile,
        topic: &figures.topic,
        grade: &figures.grade,
        rules: &figures.rules,
        seed: figures.seed,
        count: figures.count,
        sheet: &figures.sheet,
        answers: (1..=figures.count)
            .map(|number| Row {
                number,
                value: None,
            })
            .collect(),
    })
}

pub(super) fn head(c: &ColumnFigures) -> String {
    match c.name {
        "RPM" => c.name.to_owned(),
        name => format!("{name}, {}", c.unit),
    }
}

pub(super) fn cell(x: f64, c: &ColumnFigures) -> String {
    number(x, usize::from(c.places))
}

/// The sheet as Markdown; with its answers where it has them.
pub fn worksheet_markdown(figures: &WorksheetFigures) -> String {
    let mut out = format!(
        "# {}\n\n**{}**. {}.\n",
        figures.title,
        figures.aircraft,
        figures.subtitle()
    );
    for (grade, some) in figures.by_grade() {
        let _ = write!(out, "\n## {}\n", super::words::sentence(grade));
        for e in some {
            let _ = write!(
                out,
                "\n**{}. {}.** {}\n",
                e.number, e.topic_title, e.question
            );
            if let Some(t) = &e.table {
                let _ = write!(out, "\n{}:\n\n|", t.caption);
                for c in &t.columns {
                    let _ = write!(out, " {} |", head(c));
                }
                out.push_str("\n|");
                for _ in &t.columns {
                    out.push_str(" ---: |");
                }
                out.push('\n');
                for row in &t.rows {
                    out.push('|');
                    for (x, c) in row.iter().zip(&t.columns) {
                        let _ = write!(out, " {} |", cell(*x, c));
                    }
                    out.push('\n');
                }
            }
            if let Some(k) = &e.key {
                let _ = write!(
                    out,
                    "\nAnswer: **{}**, right {}: {}.\n\n",
                    k.answer_text,
                    if e.key.as_ref().is_some_and(|k| k.tolerance > 0.0) {
                        &k.tolerance_text
                    } else {
                        "only exactly"
                    },
                    k.tolerance_reason
                );
                for (i, s) in k.steps.iter().enumerate() {
                    let _ = writeln!(out, "{}. {s}", i + 1);
                }
                let _ = write!(out, "\nSource: {}.\n", k.source);
            } else {
                let _ = write!(out, "\nAnswer: ____________ {}\n", e.answer_unit);
            }
        }
    }
    out.push_str("\n## Cautions\n\n");
    for c in &figures.cautions {
        let _ = writeln!(out, "* {c}");
    }
    out
}

/// How the page looks on paper.
const STYLE: &str = "@page{margin:18mm 16mm}body{font:11pt/1.45 Georgia,'DejaVu Serif',serif;color:#1d2b3a;max-width:46em;margin:1.5em auto;\
padding:0 1em}h1{font-size:15pt;margin:0 0 .2em}h2{font-size:12pt;margin:1.4em 0 .4em;border-bottom:1px solid #9aa2a9}\
.ex{break-inside:avoid;margin:0 0 1.1em}.ex p{margin:.2em 0}table{border-collapse:collapse;margin:.4em 0 .4em 1.2em;font-size:10pt}\
caption{text-align:left;font-style:italic;padding:.1em 0;white-space:nowrap}th,td{padding:.1em .8em;text-align:right;border-bottom:1px solid \
#d9dcdf}th{font-weight:600;border-bottom:1px solid #1d2b3a}.blank{margin-top:.5em}.blank span{display:inline-block;width:9em;\
border-bottom:1px solid #1d2b3a}.work{height:2.6em}ol{margin:.2em 0 .2em 1.2em;padding-left:1em}.small{font-size:9.5pt;color:#4a545d}\
.name{margin:.6em 0 0}.name span{display:inline-block;width:16em;border-bottom:1px solid #1d2b3a}";

fn page_exercise(e: &ExerciseFigures) -> Markup {
    html! {
        div class="ex" {
            p { b { (e.number) ". " (e.topic_title) "." } " " (e.question) }
            @if let Some(t) = &e.table {
                table {
                    caption { (t.caption) }
                    tr { @for c in &t.columns { th { (head(c)) } } }
                    @for row in &t.rows {
                        tr { @for (x, c) in row.iter().zip(&t.columns) { td { (cell(*x, c)) } } }
                    }
                }
            }
            @if let Some(k) = &e.key {
                p { "Answer: " b { (k.answer_text) } ", right "
                    @if k.tolerance > 0.0 { (k.tolerance_text) } @else { "only exactly" }
                    ": " (k.tolerance_reason) "." }
                ol { @for s in &k.steps { li { (s) } } }
                p class="small" { "Source: " (k.source) "." }
            } @else {
                div class="work" {}
                p class="blank" { "Answer: " span {} " " (e.answer_unit) }
            }
        }
    }
}

/// The sheet as a page to print; with its answers where it has them.
pub fn worksheet_html(figures: &WorksheetFigures) -> String {
    let student = figures.exercises.iter().all(|e| e.key.is_none());
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width";
                title { (figures.title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                h1 { (figures.title) }
                p { b { (figures.aircraft) } ". " (figures.subtitle()) "." }
                @if student { p class="name" { "Name: " span {} } }
                @for (grade, some) in figures.by_grade() {
                    h2 { (super::words::sentence(grade)) }
                    @for e in some { (page_exercise(e)) }
                }
                h2 { "Cautions" }
                ul class="small" { @for c in &figures.cautions { li { (c) } } }
            }
        }
    }
    .into_string()
}
