//! A TOML file being read: every wrong key and value is noted, and reading goes on.
//!
//! A number that is missing or wrong reads as NaN and leaves a [`Finding`], so that one pass finds everything and
//! comparisons with it say nothing. [`Sheet::verdict`] must be asked before anything is built from the values; NaN never
//! passes it.

mod section;
mod values;

pub(super) use section::Section;

use std::cell::RefCell;
use std::ops::Range as Span;
use std::path::Path;

use toml::de::DeTable;

use super::diagnostic::{FileError, Finding, FindingKind};

/// The file and what was found wrong with it so far.
pub(super) struct Sheet<'a> {
    path: &'a Path,
    text: &'a str,
    findings: RefCell<Vec<Finding>>,
}

/// A number with its place in the file.
#[derive(Debug, Clone)]
pub(super) struct Num {
    /// In the unit of the key; NaN if it is missing or wrong, which has been noted.
    pub(super) value: f64,
    /// Where it stands.
    pub(super) span: Span<usize>,
    /// Its key path.
    pub(super) key: String,
}

impl<'a> Sheet<'a> {
    pub(super) fn new(path: &'a Path, text: &'a str) -> Self {
        Self {
            path,
            text,
            findings: RefCell::new(Vec::new()),
        }
    }

    /// Parses the text.
    pub(super) fn parse(&self) -> Result<DeTable<'a>, FileError> {
        DeTable::parse(self.text)
            .map(toml::Spanned::into_inner)
            .map_err(|error| {
                let span = error.span().unwrap_or(0..0);
                let message = format!(
                    "this is not TOML: {}",
                    error.message().trim_end().replace('\n', ", ")
                );
                let mut finding =
                    Finding::new(FindingKind::Syntax, "", Some(span.clone()), message)
                        .label("here");
                let twice = error.message().starts_with("duplicate key");
                let moment = ["invalid date", "invalid time", "invalid datetime"]
                    .iter()
                    .any(|w| error.message().starts_with(w));
                finding.hint = Some(if moment {
                    "write a date and time that there is, like 2026-01-31T16:00:00Z".to_owned()
                } else if twice {
                    "a key stands once in its section, a [section] once in the file".to_owned()
                } else {
                    self.syntax_hint(span.start)
                });
                self.fail(finding)
            })
    }

    /// What may be meant where the text is not TOML.
    fn syntax_hint(&self, at: usize) -> String {
        let at = self.text.floor_char_boundary(at.min(self.text.len()));
        let (before, after) = self.text.split_at(at);
        let line = before.rsplit('\n').next().unwrap_or("").to_owned()
            + after.split('\n').next().unwrap_or("");
        let value = line.split_once('=').map_or("", |(_, v)| v.trim());
        let mut words = value.split_whitespace();
        let number = words.next().is_some_and(|w| w.parse::<f64>().is_ok());
        let comma = |line: &str| {
            let mut last = ['\0'; 2];
            line.chars().any(|c| {
                let found = last[0].is_ascii_digit() && last[1] == ',' && c.is_ascii_digit();
                last = [last[1], c];
                found
            })
        };
        if self.text[at..].trim().is_empty() && !line.contains('=') && !self.text.ends_with('\n') {
            "the file ends in the middle of a line: is it cut short?".to_owned()
        } else if number
            && words
                .next()
                .is_some_and(|w| w.starts_with(char::is_alphabetic))
        {
            "write the number alone; its unit is the ending of the key".to_owned()
        } else if comma(&line) {
            "write a decimal point, and no comma in thousands".to_owned()
        } else {
            "a line is `key = value`, `[section]` or `[[row]]`; text stands in \"quotation marks\""
                .to_owned()
        }
    }

    /// The whole file as a section.
    pub(super) fn root(&'a self, table: &'a DeTable<'a>) -> Section<'a> {
        Section {
            sheet: self,
            key: String::new(),
            span: 0..0,
            table: Some(table),
            known: RefCell::default(),
        }
    }

    pub(super) fn note(&self, finding: Finding) {
        self.findings.borrow_mut().push(finding);
    }

    /// Takes back that a key is missing: it is there, misspelt, which is noted instead.
    fn misspelt(&self, key: &str) {
        self.findings
            .borrow_mut()
            .retain(|f| f.kind != FindingKind::Missing || f.key != key);
    }

    /// Notes that a value cannot be, given another one or what is allowed.
    pub(super) fn contradiction(&self, at: &Num, message: String, others: &[&Num], hint: &str) {
        let mut finding = Finding::new(
            FindingKind::Contradiction,
            &at.key,
            Some(at.span.clone()),
            message,
        )
        .label("here")
        .hint(hint);
        for other in others {
            finding = finding.related(other.span.clone(), format!("{} is set here", other.key));
        }
        self.note(finding);
    }

    /// Notes where values do not rise from each to the next.
    pub(super) fn rising(&self, values: &[&Num]) {
        for pair in values.windows(2) {
            if pair[0].value >= pair[1].value {
                self.order(pair[1], "not above", pair[0]);
            }
        }
    }

    /// Notes where a value is not at least another.
    pub(super) fn at_least(&self, value: &Num, least: &Num) {
        if value.value < least.value {
            self.order(value, "below", least);
        }
    }

    fn order(&self, value: &Num, words: &str, other: &Num) {
        let message = format!(
            "{} = {} is {words} {} = {}",
            value.key, value.value, other.key, other.value
        );
        self.contradiction(value, message, &[other], "correct one of the two");
    }

    /// The error made of one more finding.
    pub(super) fn fail(&self, finding: Finding) -> FileError {
        self.note(finding);
        FileError::new(self.path, self.text, self.findings.take())
    }

    /// Ends the reading: an error if anything was noted.
    pub(super) fn verdict(&self) -> Result<(), FileError> {
        let findings = self.findings.take();
        if findings.is_empty() {
            Ok(())
        } else {
            Err(FileError::new(self.path, self.text, findings))
        }
    }
}

impl Num {
    fn wrong(key: String, span: Span<usize>) -> Self {
        Self {
            value: f64::NAN,
            span,
            key,
        }
    }
}
