//! `fellrun worksheet`: exercises with an answer key, and a student's answers marked.

use super::output::{self, Target};
use super::{Failure, profile};
use crate::aircraft::Aircraft;
use crate::brief::{
    MarksFigures, WorksheetFigures, answer_form, marks_json, marks_text, worksheet_html,
    worksheet_json, worksheet_markdown,
};
use crate::files::answers::{GivenAnswers, load_answers};
use crate::files::profile::parse_profile;
use crate::teach::worksheet::{
    Exercise, Grade, MOST, RuleBook, SheetAsk, SheetError, Teacher, Topic, sheet, suits,
};
use clap::Args;
use std::path::{Path, PathBuf};

/// The aircraft of a sheet for which no profile is named.
const OWN_AIRCRAFT: &str = include_str!("../../profiles/retractable-200hp.toml");
/// What errors call it.
const OWN_PATH: &str = "profiles/retractable-200hp.toml (built in)";
/// Exercises on a sheet unless a number is typed.
const USUAL_COUNT: usize = 10;

/// Arguments of `worksheet` as typed.
#[derive(Debug, Args)]
pub struct WorksheetArgs {
    /// The aircraft profile; without it the invented 200-hp retractable that comes with fellrun
    #[arg(long, value_name = "PROFILE.toml")]
    pub profile: Option<PathBuf>,
    /// Topics, with commas or given more than once: tod, rate, settings, rpm, fuel, late, density, wind, levels, slowdown, glide, or all [default: all]
    #[arg(long, value_name = "NAME", value_delimiter = ',')]
    pub topic: Vec<String>,
    /// Grades, with commas or given more than once: easy, medium, hard [default: all three]
    #[arg(long, value_name = "NAME", value_delimiter = ',')]
    pub grade: Vec<String>,
    /// Whose rules of the air the topic levels is about, with commas or given more than once: us, icao (which SERA has too) [default: us]
    #[arg(long, value_name = "NAME", value_delimiter = ',')]
    pub rules: Vec<String>,
    /// What the numbers are drawn from: the same seed gives the same sheet
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// How many exercises, 1 to 60 [default: 10]
    #[arg(long, value_name = "K")]
    pub count: Option<usize>,
    /// Write the sheet, .md, .html or .json by its ending; - for Markdown to standard output
    #[arg(long, value_name = "PATH")]
    pub out: Vec<PathBuf>,
    /// Write the answer key, with steps, tolerances and sources, in the same kinds
    #[arg(long, value_name = "PATH")]
    pub key: Vec<PathBuf>,
    /// Write an empty form for the answers as JSON, to be filled in for --mark
    #[arg(long, value_name = "PATH")]
    pub form: Option<PathBuf>,
    /// Mark the answers in this file, a filled form
    #[arg(
        long,
        value_name = "ANSWERS.json",
        conflicts_with_all = ["topic", "grade", "rules", "seed", "count", "out", "key", "form"]
    )]
    pub mark: Option<PathBuf>,
    /// Write every figure as JSON, answers or marks included; - for standard output
    #[arg(long, value_name = "PATH")]
    pub json: Option<PathBuf>,
}

/// Kinds of file a sheet is written as.
#[derive(Debug, Clone, Copy)]
enum Kind {
    Markdown,
    Page,
    Json,
}

fn kind(option: &str, path: &Path) -> Result<(Kind, Target), Failure> {
    let target = Target::new(path);
    let kind = match (&target, target.extension().as_deref()) {
        (Target::Stdout, _) | (_, Some("md")) => Kind::Markdown,
        (_, Some("html")) => Kind::Page,
        (_, Some("json")) => Kind::Json,
        _ => {
            return Err(Failure::input(format!(
                "{option} {}: a sheet is .md, .html or .json",
                path.display()
            ))
            .hint("give the file one of these endings"));
        }
    };
    Ok((kind, target))
}

fn written(kind: Kind, figures: &WorksheetFigures) -> Result<Vec<u8>, Failure> {
    Ok(match kind {
        Kind::Markdown => worksheet_markdown(figures),
        Kind::Page => worksheet_html(figures),
        Kind::Json => worksheet_json(figures).map_err(Failure::bug)?,
    }
    .into_bytes())
}

fn aircraft(path: Option<&Path>) -> Result<Aircraft, Failure> {
    match path {
        Some(path) => profile::load(path),
        None => parse_profile(OWN_AIRCRAFT, Path::new(OWN_PATH)).map_err(Failure::bug),
    }
}

/// Topics by their names, each once; without any, all that the aircraft has what they are about.
fn topics(from: &str, names: &[String], aircraft: &Aircraft) -> Result<Vec<Topic>, Failure> {
    let all = || {
        Topic::ALL
            .into_iter()
            .filter(|&t| suits(t, aircraft))
            .collect::<Vec<_>>()
    };
    if names.is_empty() {
        return Ok(all());
    }
    let mut found = Vec::new();
    for name in names {
        let name = name.trim();
        let some = if name == "all" {
            all()
        } else {
            vec![Topic::named(name).ok_or_else(|| {
                let known: Vec<&str> = Topic::ALL.iter().map(|t| t.name()).collect();
                Failure::input(format!("{from} {name:?}: there is no such topic"))
                    .hint(format!("there are {}, or all", known.join(", ")))
            })?]
        };
        for topic in some {
            if !found.contains(&topic) {
                found.push(topic);
            }
        }
    }
    Ok(found)
}

/// Grades by their names, each once and the easiest first; without any, all.
fn grades(from: &str, names: &[String]) -> Result<Vec<Grade>, Failure> {
    if names.is_empty() {
        return Ok(Grade::ALL.to_vec());
    }
    let mut found = Vec::new();
    for name in names {
        found.push(Grade::named(name.trim()).ok_or_else(|| {
            Failure::input(format!("{from} {name:?}: there is no such grade"))
                .hint("there are easy, medium and hard")
        })?);
    }
    found.sort_unstable();
    found.dedup();
    Ok(found)
}

/// Rules of the air by their names, each once; without any, those of the US.
fn rules(from: &str, names: &[String]) -> Result<Vec<RuleBook>, Failure> {
    if names.is_empty() {
        return Ok(vec![RuleBook::Us]);
    }
    let mut found = Vec::new();
    for name in names {
        found.push(RuleBook::named(name.trim()).ok_or_else(|| {
            Failure::input(format!("{from} {name:?}: there are no such rules"))
                .hint("there are us and icao")
        })?);
    }
    found.sort_unstable();
    found.dedup();
    Ok(found)
}

fn count(from: &str, count: usize) -> Result<usize, Failure> {
    if (1..=MOST).contains(&count) {
        Ok(count)
    } else {
        Err(Failure::input(format!(
            "{from} {count} is not in the required range of 1..={MOST} exercises"
        ))
        .hint("ask for more sheets with other seeds"))
    }
}

fn drawn(aircraft: &Aircraft, ask: &SheetAsk) -> Result<Vec<Exercise>, Failure> {
    sheet(&Teacher::new(aircraft), ask).map_err(|e| {
        let hint = match e {
            SheetError::FixedPitch(_) => "leave the topic out, or name another aircraft",
            _ => "ask for fewer exercises, or for more topics or grades",
        };
        Failure::input(e).hint(hint)
    })
}

/// Writes a sheet, or marks answers: files first, the text last; the text goes to standard error when standard output is taken.
///
/// # Errors
/// [`Failure`]; then no output file was touched.
pub fn run(args: &WorksheetArgs) -> Result<(), Failure> {
    match &args.mark {
        Some(path) => mark(args, path),
        None => write(args),
    }
}

fn write(args: &WorksheetArgs) -> Result<(), Failure> {
    let sheets = args.out.iter().map(|p| kind("--out", p));
    let sheets = sheets.collect::<Result<Vec<_>, _>>()?;
    let keys = args.key.iter().map(|p| kind("--key", p));
    let keys = keys.collect::<Result<Vec<_>, _>>()?;
    let rest = [&args.form, &args.json].into_iter().flatten();
    let targets: Vec<Target> = sheets
        .iter()
        .chain(&keys)
        .map(|k| k.1.clone())
        .chain(rest.map(|p| Target::new(p)))
        .collect();
    let inputs: Vec<&Path> = args.profile.as_deref().into_iter().collect();
    let outputs = output::open(&targets, &inputs)?;
    let aircraft = aircraft(args.profile.as_deref())?;
    let ask = SheetAsk {
        topics: topics("--topic", &args.topic, &aircraft)?,
        grades: grades("--grade", &args.grade)?,
        rules: rules("--rules", &args.rules)?,
        seed: args.seed,
        count: count("--count", args.count.unwrap_or(USUAL_COUNT))?,
    };
    let exercises = drawn(&aircraft, &ask)?;
    let named = args.profile.as_ref().map(|p| p.display().to_string());
    let figures = WorksheetFigures::new(&ask, &exercises, &aircraft, named);
    let (student, key) = (figures.for_students(), figures.as_key());
    let mut contents = Vec::new();
    for (kind, _) in &sheets {
        contents.push(written(*kind, &student)?);
    }
    for (kind, _) in &keys {
        contents.push(written(*kind, &key)?);
    }
    if args.form.is_some() {
        contents.push(answer_form(&figures).map_err(Failure::bug)?.into_bytes());
    }
    if args.json.is_some() {
        contents.push(worksheet_json(&figures).map_err(Failure::bug)?.into_bytes());
    }
    output::commit(outputs, &contents)?;
    output::talk(&worksheet_markdown(&student), &targets)
}

/// The sheet that answers belong to.
fn asked(given: &GivenAnswers, path: &Path, aircraft: &Aircraft) -> Result<SheetAsk, Failure> {
    let names = |text: &str| -> Vec<String> { text.split(',').map(str::to_owned).collect() };
    let key = |name: &str| format!("{}: {name}", path.display());
    Ok(SheetAsk {
        topics: topics(&key("topic"), &names(&given.topic), aircraft)?,
        grades: grades(&key("grade"), &names(&given.grade))?,
        rules: rules(
            &key("rules"),
            &given.rules.as_deref().map(names).unwrap_or_default(),
        )?,
        seed: given.seed,
        count: count(&key("count"), given.count)?,
    })
}

fn mark(args: &WorksheetArgs, path: &Path) -> Result<(), Failure> {
    let targets: Vec<Target> = args.json.iter().map(|p| Target::new(p)).collect();
    let inputs: Vec<&Path> = args.profile.as_deref().into_iter().chain([path]).collect();
    let outputs = output::open(&targets, &inputs)?;
    let given = load_answers(path).map_err(|e| Failure::drawn(e.render_for_stderr()))?;
    let named = args
        .profile
        .clone()
        .or_else(|| given.profile.as_ref().map(PathBuf::from));
    let aircraft = aircraft(named.as_deref())?;
    let ask = asked(&given, path, &aircraft)?;
    let exercises = drawn(&aircraft, &ask)?;
    let named = named.map(|p| p.display().to_string());
    let figures = WorksheetFigures::new(&ask, &exercises, &aircraft, named);
    if let Some(sheet) = given.sheet.as_ref().filter(|s| **s != figures.sheet) {
        return Err(Failure::input(format!(
            "{}: sheet = {sheet:?}, but topic, grade, rules, seed, count and profile give the sheet {:?} now",
            path.display(),
            figures.sheet
        ))
        .hint(
            "the profile, the program or one of these keys is another than when the sheet was written: give --profile, or write the sheet \
             anew",
        ));
    }
    let mut values = vec![None; exercises.len()];
    for answer in &given.answers {
        // Numbers were held against the count when the file was read.
        if let Some(place) = answer.number.checked_sub(1).and_then(|i| values.get_mut(i)) {
            *place = answer.value;
        }
    }
    let marks = MarksFigures::new(&figures, &exercises, &values);
    let mut contents = Vec::new();
    if args.json.is_some() {
        contents.push(marks_json(&marks).map_err(Failure::bug)?.into_bytes());
    }
    output::commit(outputs, &contents)?;
    output::talk(&marks_text(&marks, profile::columns()), &targets)
}
