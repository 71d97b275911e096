//! What is wrong with an input file: where, what stands there, what belongs there, and the way out.
//!
//! One [`FileError`] is about one file and lists every [`Finding`] in it. `Display` gives one line a finding
//! (`file:line:column: message; hint`), for logs and error chains; [`FileError::render`] draws each finding under its line of
//! the file, for people.

use std::fmt::{self, Write as _};
use std::io::{self, Read as _};
use std::ops::Range as Span;
use std::path::{Path, PathBuf};

use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};

use crate::quantity::OutOfRange;

/// Largest input file read (bytes); the largest real one, a winds-aloft bulletin, has 12,504.
const LARGEST_FILE_BYTES: u64 = 4 << 20;
/// Longest piece of a file quoted in a message, in characters.
const QUOTE_LENGTH: usize = 40;

/// The kind of a finding.
#[derive(Debug, Clone, PartialEq)]
pub enum FindingKind {
    /// The file cannot be read.
    Unreadable,
    /// The text is not TOML, or not the format it should be.
    Syntax,
    /// No such key in this place.
    UnknownKey,
    /// A key or section that must be there is not.
    Missing,
    /// Text where a number belongs, and the like.
    WrongType,
    /// A number outside its allowed range.
    OutOfRange(OutOfRange),
    /// Two values contradict each other, or a value is none of those allowed.
    Contradiction,
    /// The weather does not cover the trip.
    Weather,
}

/// One thing wrong with a file.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// What kind of thing.
    pub kind: FindingKind,
    /// The key, as a path such as `engine.mixture[2].fuel_air`; rows count from 1. Empty if there is none.
    pub key: String,
    /// Where in the text, in bytes; `None` if the finding is about the whole file.
    pub span: Option<Span<usize>>,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// What is wrong: key, value, range and unit.
    pub message: String,
    /// Short text under the line.
    pub label: String,
    /// Other places that matter, with a short text each.
    pub related: Vec<(Span<usize>, String)>,
    /// The way out.
    pub hint: Option<String>,
}

/// Everything wrong with one input file; never empty.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub struct FileError {
    /// The file.
    pub path: PathBuf,
    /// Its text, without a byte-order mark; empty if it could not be read.
    pub text: String,
    /// What is wrong, in the order of the text.
    pub findings: Vec<Finding>,
}

impl Finding {
    /// A finding at a place of a text.
    pub fn new(kind: FindingKind, key: &str, span: Option<Span<usize>>, message: String) -> Self {
        Self {
            kind,
            key: key.to_owned(),
            span,
            line: 0,
            column: 0,
            message,
            label: String::new(),
            related: Vec::new(),
            hint: None,
        }
    }

    /// With a short text under the line.
    pub fn label(mut self, label: impl Into<String>) -> Self {
        self.label = label.into();
        self
    }

    /// With a way out.
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }

    /// With another place that matters.
    pub fn related(mut self, span: Span<usize>, label: impl Into<String>) -> Self {
        self.related.push((span, label.into()));
        self
    }
}

impl FileError {
    /// Puts findings in the order of the text and gives them line and column.
    pub fn new(path: &Path, text: &str, mut findings: Vec<Finding>) -> Self {
        for finding in &mut findings {
            if let Some(span) = &finding.span {
                let span = on_characters(text, span);
                (finding.line, finding.column) = line_and_column(text, span.start);
                finding.span = Some(span);
            }
            for (span, _) in &mut finding.related {
                *span = on_characters(text, span);
            }
        }
        findings.sort_by_key(|f| f.span.as_ref().map_or(0, |s| s.start));
        Self {
            path: path.to_owned(),
            text: text.to_owned(),
            findings,
        }
    }

    /// A file that cannot be read.
    pub fn unreadable(path: &Path, why: &io::Error) -> Self {
        let (what, hint) = match why.kind() {
            io::ErrorKind::NotFound => (
                "there is no such file".to_owned(),
                "check the path; paths inside a trip start from the trip file",
            ),
            io::ErrorKind::PermissionDenied => (
                "reading it is not permitted".to_owned(),
                "check the permissions of the file",
            ),
            io::ErrorKind::InvalidData => (
                "it is not plain UTF-8 text".to_owned(),
                "save it as plain text in UTF-8",
            ),
            _ => (why.to_string(), "give the path of a readable text file"),
        };
        let message = format!("cannot read {}: {what}", path.display());
        Self::new(
            path,
            "",
            vec![Finding::new(FindingKind::Unreadable, "", None, message).hint(hint)],
        )
    }

    /// Whether the file could not be read at all.
    pub fn is_unreadable(&self) -> bool {
        self.findings
            .iter()
            .any(|f| f.kind == FindingKind::Unreadable)
    }

    /// All findings drawn under their lines, one after another, with or without colour codes.
    pub fn render(&self, colour: bool) -> String {
        let renderer = if colour {
            Renderer::styled()
        } else {
            Renderer::plain()
        };
        let path = self.path.display().to_string();
        let mut out = String::new();
        for finding in &self.findings {
            let title = Level::ERROR.primary_title(printable(&finding.message));
            let mut group = match &finding.span {
                None => Group::with_title(title),
                Some(span) => {
                    let main = AnnotationKind::Primary
                        .span(span.clone())
                        .label(printable(&finding.label));
                    let others = finding.related.iter().map(|(span, label)| {
                        AnnotationKind::Context
                            .span(span.clone())
                            .label(printable(label))
                    });
                    title.element(
                        Snippet::source(&self.text)
                            .path(printable(&path))
                            .annotation(main)
                            .annotations(others),
                    )
                }
            };
            if let Some(hint) = &finding.hint {
                group = group.element(Level::HELP.message(printable(hint)));
            }
            if !out.is_empty() {
                out.push_str("\n\n");
            }
            out.push_str(&renderer.render(&[group]));
        }
        if self.findings.len() > 1 {
            // writing to a String cannot fail
            let _ = write!(
                out,
                "\n\n{} errors in {}",
                self.findings.len(),
                printable(&path)
            );
        }
        out
    }

    /// [`FileError::render`] for standard error: coloured if that is a terminal and `NO_COLOR` is not set.
    pub fn render_for_stderr(&self) -> String {
        let choice = anstream::AutoStream::choice(&io::stderr());
        self.render(choice != anstream::ColorChoice::Never)
    }
}

impl fmt::Display for FileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, finding) in self.findings.iter().enumerate() {
            if i > 0 {
                f.write_char('\n')?;
            }
            if finding.span.is_some() {
                write!(
                    f,
                    "{}:{}:{}: ",
                    self.path.display(),
                    finding.line,
                    finding.column
                )?;
            }
            f.write_str(&finding.message)?;
            if let Some(hint) = &finding.hint {
                write!(f, "; {hint}")?;
            }
        }
        Ok(())
    }
}

/// Reads a text file, without its byte-order mark.
///
/// # Errors
/// A [`FileError`] of kind [`FindingKind::Unreadable`]: not there, not permitted, a directory, not UTF-8 or over 4 MiB.
pub fn read_text(path: &Path) -> Result<String, FileError> {
    let read = || -> io::Result<String> {
        let file = std::fs::File::open(path)?;
        if file.metadata()?.is_dir() {
            return Err(io::Error::other("it is a directory"));
        }
        let mut text = String::new();
        let length = file
            .take(LARGEST_FILE_BYTES + 1)
            .read_to_string(&mut text)?;
        if length as u64 > LARGEST_FILE_BYTES {
            return Err(io::Error::other(
                "it is larger than 4 MiB, so it is no trip, profile or bulletin",
            ));
        }
        Ok(text)
    };
    let text = read().map_err(|why| FileError::unreadable(path, &why))?;
    Ok(without_mark(&text).to_owned())
}

/// A text without its byte-order mark.
pub(super) fn without_mark(text: &str) -> &str {
    text.strip_prefix('\u{feff}').unwrap_or(text)
}

/// A piece of a file in quotation marks, printable and not too long.
pub(super) fn quoted(text: &str) -> String {
    let mut short: String = text.chars().take(QUOTE_LENGTH).collect();
    if text.chars().nth(QUOTE_LENGTH).is_some() {
        short.push_str("...");
    }
    format!("\"{}\"", printable(&short))
}

/// Control characters, which could move the cursor or colour a terminal, as escapes.
fn printable(text: &str) -> String {
    text.chars()
        .flat_map(|c| {
            if c.is_control() {
                c.escape_default().collect()
            } else {
                vec![c]
            }
        })
        .collect()
}

/// A span inside the text, on character boundaries, its end not before its start.
fn on_characters(text: &str, span: &Span<usize>) -> Span<usize> {
    let start = text.floor_char_boundary(span.start.min(text.len()));
    let end = text.ceil_char_boundary(span.end.clamp(start, text.len()));
    start..end
}

/// Line and column, from 1, of a byte position on a character boundary.
fn line_and_column(text: &str, at: usize) -> (usize, usize) {
    let before = text.get(..at).unwrap_or(text);
    let line = before.matches('\n').count() + 1;
    let begin = before.rfind('\n').map_or(0, |i| i + 1);
    (
        line,
        before.get(begin..).map_or(0, |s| s.chars().count()) + 1,
    )
}

/// Byte span from a line and column, both from 1, to the end of that line.
pub(super) fn span_at(text: &str, line: usize, column: usize) -> Span<usize> {
    let mut begin = 0;
    for (i, content) in text.split('\n').enumerate() {
        if i + 1 == line {
            let content = content.trim_end();
            let skip: usize = content
                .chars()
                .take(column.saturating_sub(1))
                .map(char::len_utf8)
                .sum();
            return begin + skip..begin + content.len();
        }
        begin += content.len() + 1;
    }
    text.len()..text.len()
}

/// The nearest of some words to one that is none of them, if one is near enough to be meant.
pub(super) fn did_you_mean<'a>(
    found: &str,
    known: impl IntoIterator<Item = &'a str>,
) -> Option<&'a str> {
    let stem = |s: &str| s.rsplit_once('_').map_or(s, |(stem, _)| stem).to_owned();
    known
        .into_iter()
        .map(|word| {
            let far = distance(found, word);
            // the same words with another unit are meant more surely than a few changed letters
            if stem(found) == stem(word) {
                (far.min(1), word)
            } else {
                (far, word)
            }
        })
        .filter(|(far, word)| *far <= (word.chars().count() / 3).max(1))
        .min_by_key(|(far, _)| *far)
        .map(|(_, word)| word)
}

/// Number of letters to insert, leave out or change to turn one word into the other (Levenshtein).
fn distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, ca) in a.chars().take(QUOTE_LENGTH).enumerate() {
        let mut diagonal = i;
        row[0] = i + 1;
        for (j, cb) in b.iter().enumerate() {
            let change = diagonal + usize::from(ca != *cb);
            diagonal = row[j + 1];
            row[j + 1] = change.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row.last().copied().unwrap_or(0)
}

/// What a value outside its range may have been meant as.
pub(crate) fn range_hint(wrong: &OutOfRange) -> Option<String> {
    let (x, range) = (wrong.value, wrong.range);
    let fits = |y: f64| range.check(y).is_ok();
    let round_to = |y: f64, parts: f64| (y * parts).round() / parts;
    let round = |y: f64| round_to(y, 100.0);
    let inside = match range.unit {
        "in" => "inches",
        unit => unit,
    };
    let from =
        |unit: &str, y: f64| format!("{x} {unit} is {} {inside}; give it in {inside}", round(y),);
    // Metric figures, where they are the likelier mistake.
    let metric = [
        ("sq ft", "square metres", 10.763_91),
        ("in", "metres", 39.370_08),
        ("in", "centimetres", 0.393_700_8),
        ("cu in", "litres", 61.023_74),
        ("rpm", "revolutions per second", 60.0),
        ("fpm", "metres per second", 196.850_4),
    ];
    match range.unit {
        "deg" if range.key == "latitude" && x.abs() <= 180.0 => Some(
            "are latitude and longitude swapped? Latitude comes first, south and west are negative"
                .to_owned(),
        ),
        "deg" if range.key == "longitude" && (180.0..=360.0).contains(&x) => Some(format!(
            "west is negative: write {}",
            round_to(x - 360.0, 1e6)
        )),
        "inHg" if fits(x / 33.863_89) => Some(from("hPa", x / 33.863_89)),
        "C" if fits(x - 273.15) && x > 150.0 => Some(from("K", x - 273.15)),
        "C" if fits((x - 32.0) / 1.8) => Some(from("degrees Fahrenheit", (x - 32.0) / 1.8)),
        "lb/gal" if fits(x * 8.345_404) => Some(from("kg per litre", x * 8.345_404)),
        "%" if x > 0.0 && x <= 1.0 && fits(x * 100.0) => Some(format!(
            "write {} for {} %",
            round(x * 100.0),
            round(x * 100.0)
        )),
        "" if range.max <= 1.5 && x > 1.5 && fits(x / 100.0) => {
            Some(format!("it is a fraction: write {} for {x} %", x / 100.0))
        }
        unit if x > 0.0 && metric.iter().any(|m| m.0 == unit && fits(x * m.2)) => metric
            .iter()
            .find(|m| m.0 == unit && fits(x * m.2))
            .map(|m| from(m.1, x * m.2)),
        _ if fits(x / 10.0) => Some("is there a digit too many?".to_owned()),
        _ if fits(x * 10.0) && x != 0.0 => Some("is a digit missing?".to_owned()),
        _ => None,
    }
}
