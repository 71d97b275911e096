//! A TOML file being read: every wrong key and value is noted, and reading goes on.
//!
//! A number that is missing or wrong reads as NaN and leaves a [`Finding`], so that one pass finds everything and
//! comparisons with it say nothing. [`Sheet::verdict`] must be asked before anything is built from the values; NaN never
//! passes it.

use std::cell::RefCell;
use std::ops::Range as Span;
use std::path::Path;

use toml::de::{DeTable, DeValue};

use super::diagnostic::{FileError, Finding, FindingKind, did_you_mean, quoted, range_hint};
use crate::quantity::range;

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

/// A table of the file.
pub(super) struct Section<'a> {
    sheet: &'a Sheet<'a>,
    /// Key path, empty for the whole file.
    key: String,
    span: Span<usize>,
    /// `None` for a section that is missing, which has been noted: reading from it is silent.
    table: Option<&'a DeTable<'a>>,
    known: RefCell<Vec<&'static str>>,
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

impl<'a> Section<'a> {
    pub(super) fn span(&self) -> Span<usize> {
        self.span.clone()
    }

    /// Whether the section stands in the file.
    pub(super) fn is_there(&self) -> bool {
        self.table.is_some()
    }

    /// The key path of a key of this section.
    pub(super) fn path(&self, key: &str) -> String {
        if self.key.is_empty() {
            key.to_owned()
        } else {
            format!("{}.{key}", self.key)
        }
    }

    /// Whether a key is there; makes it known.
    pub(super) fn has(&self, key: &'static str) -> bool {
        self.find(key).is_some()
    }

    fn find(&self, key: &'static str) -> Option<(&'a DeValue<'a>, Span<usize>)> {
        if !self.known.borrow().contains(&key) {
            self.known.borrow_mut().push(key);
        }
        self.table?
            .get(key)
            .map(|value| (value.get_ref(), value.span()))
    }

    /// Where the value of a key stands, or the head of the section.
    pub(super) fn span_of(&self, key: &'static str) -> Span<usize> {
        self.find(key).map_or(self.span(), |(_, span)| span)
    }

    fn need(&self, key: &'static str, what: &str) -> Option<(&'a DeValue<'a>, Span<usize>)> {
        let found = self.find(key);
        if found.is_none() {
            self.missing(key, what);
        }
        found
    }

    /// Notes that a key is missing.
    pub(super) fn missing(&self, key: &'static str, what: &str) {
        if !self.is_there() {
            return;
        }
        let message = format!("{} is missing", self.path(key));
        let place = if self.key.is_empty() {
            "before the first section"
        } else {
            "in this section"
        };
        self.sheet.note(
            Finding::new(
                FindingKind::Missing,
                &self.path(key),
                Some(self.span()),
                message,
            )
            .label(format!("no `{key}` {place}"))
            .hint(format!("add `{key} = ` with {what}")),
        );
    }

    fn wrong_type(&self, key: &str, span: &Span<usize>, found: &DeValue<'_>, expected: &str) {
        let what = match found {
            DeValue::String(text) => format!("the text {}", quoted(text)),
            DeValue::Integer(_) | DeValue::Float(_) => "a number".to_owned(),
            DeValue::Boolean(yes) => format!("`{yes}`"),
            DeValue::Datetime(_) => "a date or time".to_owned(),
            DeValue::Array(_) => "a list".to_owned(),
            DeValue::Table(_) => "a section".to_owned(),
        };
        let mut finding = Finding::new(
            FindingKind::WrongType,
            key,
            Some(span.clone()),
            format!("{key} is {what}, but {expected} is expected"),
        )
        .label(format!("expected {}", expected.trim_end_matches(',')));
        if let DeValue::String(text) = found
            && text
                .trim_start()
                .starts_with(|c: char| c.is_ascii_digit() || "+-.".contains(c))
            && expected.contains("number")
        {
            finding = finding.hint("write the number alone, without quotation marks; its unit is the ending of the key");
        }
        self.sheet.note(finding);
    }

    fn number_of(
        &self,
        key: String,
        value: &DeValue<'_>,
        span: Span<usize>,
        range_key: &str,
    ) -> Num {
        let limits = range(range_key);
        let number = match value {
            DeValue::Integer(i) => i64::from_str_radix(i.as_str(), i.radix())
                .ok()
                .map(|i| i as f64),
            DeValue::Float(f) => f.as_str().parse().ok(),
            other => {
                self.wrong_type(&key, &span, other, "a number");
                return Num::wrong(key, span);
            }
        };
        match limits.check(number.unwrap_or(f64::INFINITY)) {
            Ok(value) => Num { value, span, key },
            Err(wrong) => {
                let unit = if limits.unit.is_empty() {
                    String::new()
                } else {
                    format!(" {}", limits.unit)
                };
                let text = wrong.to_string();
                let mut finding = Finding::new(
                    FindingKind::OutOfRange(wrong),
                    &key,
                    Some(span.clone()),
                    format!("{key} = {}", text.trim_end()),
                )
                .label(format!("expected {} to {}{unit}", limits.min, limits.max));
                finding.hint = range_hint(&wrong);
                self.sheet.note(finding);
                Num::wrong(key, span)
            }
        }
    }

    /// A number that must be there, in a range of the table.
    pub(super) fn number(&self, key: &'static str, range_key: &str) -> Num {
        let limits = range(range_key);
        let what = format!(
            "a number from {} to {} {}",
            limits.min, limits.max, limits.unit
        );
        match self.need(key, what.trim_end()) {
            Some((value, span)) => self.number_of(self.path(key), value, span, range_key),
            None => Num::wrong(self.path(key), self.span()),
        }
    }

    /// A number that may be left out.
    pub(super) fn optional(&self, key: &'static str, range_key: &str) -> Option<Num> {
        let (value, span) = self.find(key)?;
        Some(self.number_of(self.path(key), value, span, range_key))
    }

    /// A number with a default; the default stands at the head of the section.
    pub(super) fn number_or(&self, key: &'static str, range_key: &str, default: f64) -> Num {
        self.optional(key, range_key).unwrap_or_else(|| Num {
            value: default,
            span: self.span(),
            key: self.path(key),
        })
    }

    /// A whole number that must be there.
    pub(super) fn count(&self, key: &'static str, range_key: &str) -> u32 {
        let number = self.number(key, range_key);
        if number.value.fract() != 0.0 && !number.value.is_nan() {
            let message = format!("{} = {} is not a whole number", number.key, number.value);
            self.sheet
                .contradiction(&number, message, &[], "give a whole number");
        }
        number.value as u32
    }

    /// A list of numbers, at least one.
    pub(super) fn numbers(&self, key: &'static str, range_key: &str) -> Vec<Num> {
        let Some((value, span)) = self.need(key, "a list of numbers like [2700, 2500]") else {
            return Vec::new();
        };
        let path = self.path(key);
        let DeValue::Array(values) = value else {
            self.wrong_type(&path, &span, value, "a list of numbers");
            return Vec::new();
        };
        if values.is_empty() {
            let at = Num::wrong(path, span);
            self.sheet.contradiction(
                &at,
                format!("{} is an empty list", at.key),
                &[],
                "give at least one number",
            );
            return Vec::new();
        }
        let each = |(i, v): (usize, &toml::Spanned<DeValue<'_>>)| {
            self.number_of(
                format!("{path}[{}]", i + 1),
                v.get_ref(),
                v.span(),
                range_key,
            )
        };
        values.iter().enumerate().map(each).collect()
    }

    /// Text that must be there and not be empty; empty if it is wrong.
    pub(super) fn text(&self, key: &'static str, what: &str) -> String {
        let Some((value, span)) = self.need(key, &format!("{what} in quotation marks")) else {
            return String::new();
        };
        self.text_of(&self.path(key), value, &span)
    }

    fn text_of(&self, path: &str, value: &DeValue<'_>, span: &Span<usize>) -> String {
        let DeValue::String(text) = value else {
            self.wrong_type(path, span, value, "text in quotation marks");
            return String::new();
        };
        if text.trim().is_empty() {
            let at = Num::wrong(path.to_owned(), span.clone());
            self.sheet
                .contradiction(&at, format!("{path} is empty"), &[], "say something there");
        }
        text.trim().to_owned()
    }

    /// A list of texts with their places, at least one.
    pub(super) fn texts(&self, key: &'static str, what: &str) -> Vec<(String, Span<usize>)> {
        let Some((value, span)) = self.need(key, what) else {
            return Vec::new();
        };
        let path = self.path(key);
        let DeValue::Array(values) = value else {
            self.wrong_type(&path, &span, value, "a list of texts");
            return Vec::new();
        };
        if values.is_empty() {
            let at = Num::wrong(path, span);
            self.sheet.contradiction(
                &at,
                format!("{} is an empty list", at.key),
                &[],
                &format!("give {what}"),
            );
            return Vec::new();
        }
        let each = |(i, v): (usize, &toml::Spanned<DeValue<'_>>)| {
            (
                self.text_of(&format!("{path}[{}]", i + 1), v.get_ref(), &v.span()),
                v.span(),
            )
        };
        values.iter().enumerate().map(each).collect()
    }

    /// A word that stands for one of some choices; `None` if it is wrong.
    pub(super) fn choice<T: Copy>(
        &self,
        key: &'static str,
        choices: &[(&'static str, T)],
    ) -> Option<T> {
        let words: Vec<String> = choices
            .iter()
            .map(|(word, _)| format!("\"{word}\""))
            .collect();
        let words = words.join(", ");
        let (value, span) = self.need(key, &format!("one of {words}"))?;
        let path = self.path(key);
        let DeValue::String(text) = value else {
            self.wrong_type(&path, &span, value, &format!("one of {words}"));
            return None;
        };
        let found = choices
            .iter()
            .find(|(word, _)| word == text)
            .map(|(_, choice)| *choice);
        if found.is_none() {
            let message = format!("{path} = {} is none of {words}", quoted(text));
            let hint = match did_you_mean(text, choices.iter().map(|(word, _)| *word)) {
                Some(word) => format!("did you mean \"{word}\"?"),
                None => format!("write one of {words}"),
            };
            self.sheet.note(
                Finding::new(FindingKind::Contradiction, &path, Some(span), message)
                    .label(format!("expected one of {words}"))
                    .hint(hint),
            );
        }
        found
    }

    /// A yes or no that must be there.
    pub(super) fn answer(&self, key: &'static str) -> bool {
        self.need(key, "true or false");
        self.flag(key)
    }

    /// A yes or no that is no when left out.
    pub(super) fn flag(&self, key: &'static str) -> bool {
        match self.find(key) {
            None => false,
            Some((DeValue::Boolean(yes), _)) => *yes,
            Some((other, span)) => {
                self.wrong_type(&self.path(key), &span, other, "true or false");
                false
            }
        }
    }

    /// The value itself, for keys that take more than one form.
    pub(super) fn any(
        &self,
        key: &'static str,
        what: &str,
    ) -> Option<(&'a DeValue<'a>, Span<usize>)> {
        self.need(key, what)
    }

    /// Notes that a value has a form none of those expected.
    pub(super) fn wrong_form(&self, key: &'static str, expected: &str) {
        if let Some((value, span)) = self.find(key) {
            self.wrong_type(&self.path(key), &span, value, expected);
        }
    }

    /// A section inside this one that must be there.
    pub(super) fn section(&self, key: &'static str) -> Section<'a> {
        let path = self.path(key);
        match self.find(key) {
            Some((DeValue::Table(table), span)) => self.inner(path, span, Some(table)),
            Some((other, span)) => {
                self.wrong_type(&path, &span, other, &format!("a section [{path}]"));
                self.inner(path, span, None)
            }
            None => {
                if self.is_there() {
                    let message = format!("the section [{path}] is missing");
                    self.sheet.note(
                        Finding::new(FindingKind::Missing, &path, Some(self.span()), message)
                            .label("in this file")
                            .hint(format!("add [{path}] with its keys")),
                    );
                }
                self.inner(path, self.span(), None)
            }
        }
    }

    /// A section that is missing, with what makes it needed and the way out.
    pub(super) fn lacks(&self, key: &'static str, message: &str, hint: &str) {
        let finding = Finding::new(
            FindingKind::Missing,
            &self.path(key),
            Some(self.span()),
            message.to_owned(),
        );
        self.sheet.note(finding.label("in this file").hint(hint));
    }

    /// A section inside this one that may be left out: then reading from it is silent.
    pub(super) fn optional_section(&self, key: &'static str) -> Section<'a> {
        if self.has(key) {
            self.section(key)
        } else {
            self.inner(self.path(key), self.span(), None)
        }
    }

    /// Text that may be left out.
    pub(super) fn optional_text(&self, key: &'static str) -> Option<String> {
        self.has(key).then(|| self.text(key, "text"))
    }

    /// A list of texts that may be left out.
    pub(super) fn optional_texts(
        &self,
        key: &'static str,
        what: &str,
    ) -> Vec<(String, Span<usize>)> {
        if self.has(key) {
            self.texts(key, what)
        } else {
            Vec::new()
        }
    }

    /// The rows of a table of tables: `[[name]]`, or a list of `{ ... }`. None is an empty list.
    pub(super) fn rows(&self, key: &'static str) -> Vec<Section<'a>> {
        let path = self.path(key);
        let expected = format!("rows headed [[{path}]]");
        match self.find(key) {
            None => Vec::new(),
            Some((DeValue::Array(values), _)) => {
                let mut rows = Vec::new();
                for (i, value) in values.iter().enumerate() {
                    let path = format!("{path}[{}]", i + 1);
                    match value.get_ref() {
                        DeValue::Table(table) => {
                            rows.push(self.inner(path, value.span(), Some(table)))
                        }
                        other => self.wrong_type(
                            &path,
                            &value.span(),
                            other,
                            "a row like { key = value }",
                        ),
                    }
                }
                rows
            }
            Some((other, span)) => {
                self.wrong_type(&path, &span, other, &expected);
                Vec::new()
            }
        }
    }

    fn inner(&self, key: String, span: Span<usize>, table: Option<&'a DeTable<'a>>) -> Section<'a> {
        // a section made of dotted keys only may have no place of its own
        Section {
            sheet: self.sheet,
            key,
            span,
            table,
            known: RefCell::default(),
        }
    }

    /// Where the numbers of this section come from, and the notes on single keys: each must be a key of the section.
    pub(super) fn source_and_notes(&self) {
        self.text(
            "source",
            "where these numbers come from, or that they are invented,",
        );
        let (Some(table), Some((value, span))) = (self.table, self.find("notes")) else {
            return;
        };
        let path = self.path("notes");
        let DeValue::Table(notes) = value else {
            self.wrong_type(&path, &span, value, &format!("a section [{path}]"));
            return;
        };
        let noted = |key: &str| key != "source" && key != "notes" && table.contains_key(key);
        for (key, text) in notes.iter() {
            let here = format!("{path}.{}", key.get_ref());
            self.text_of(&here, text.get_ref(), &text.span());
            if !noted(key.get_ref()) {
                let keys = table
                    .keys()
                    .map(|k| k.get_ref().as_ref())
                    .filter(|k| noted(k));
                let hint = match did_you_mean(key.get_ref(), keys) {
                    Some(word) => format!("did you mean `{word}`?"),
                    None => "a note belongs to a key of its section".to_owned(),
                };
                let message = format!(
                    "{} is a note on a key that [{}] does not have",
                    here.escape_debug(),
                    self.key
                );
                self.sheet.note(
                    Finding::new(FindingKind::UnknownKey, &here, Some(key.span()), message)
                        .label("no such key to note")
                        .hint(hint),
                );
            }
        }
    }

    /// Ends the reading of this section: notes every key nobody asked for.
    pub(super) fn finish(self) {
        let Some(table) = self.table else { return };
        let known = self.known.borrow();
        for key in table
            .keys()
            .filter(|key| !known.contains(&key.get_ref().as_ref()))
        {
            let path = self.path(key.get_ref()).escape_debug().to_string();
            let absent = known
                .iter()
                .copied()
                .filter(|known| !table.contains_key(*known));
            let hint = match did_you_mean(key.get_ref(), absent) {
                Some(word) => {
                    self.sheet.misspelt(&self.path(word));
                    format!("did you mean `{word}`?")
                }
                None => format!("the keys here are {}", known.join(", ")),
            };
            self.sheet.note(
                Finding::new(
                    FindingKind::UnknownKey,
                    &path,
                    Some(key.span()),
                    format!("there is no key {path}"),
                )
                .label("unknown key")
                .hint(hint),
            );
        }
    }
}
