//! A table of the file: its keys, the tables in it, and what it lacks.

use std::cell::RefCell;
use std::ops::Range as Span;

use toml::de::{DeTable, DeValue};

use super::Sheet;
use crate::files::diagnostic::{Finding, FindingKind, did_you_mean, quoted};

/// A table of the file.
pub(in crate::files) struct Section<'a> {
    pub(super) sheet: &'a Sheet<'a>,
    /// Key path, empty for the whole file.
    pub(super) key: String,
    pub(super) span: Span<usize>,
    /// `None` for a section that is missing, which has been noted: reading from it is silent.
    pub(super) table: Option<&'a DeTable<'a>>,
    pub(super) known: RefCell<Vec<&'static str>>,
}

impl<'a> Section<'a> {
    pub(in crate::files) fn span(&self) -> Span<usize> {
        self.span.clone()
    }

    /// Whether the section stands in the file.
    pub(in crate::files) fn is_there(&self) -> bool {
        self.table.is_some()
    }

    /// The key path of a key of this section.
    pub(in crate::files) fn path(&self, key: &str) -> String {
        if self.key.is_empty() {
            key.to_owned()
        } else {
            format!("{}.{key}", self.key)
        }
    }

    /// Whether a key is there; makes it known.
    pub(in crate::files) fn has(&self, key: &'static str) -> bool {
        self.find(key).is_some()
    }

    pub(super) fn find(&self, key: &'static str) -> Option<(&'a DeValue<'a>, Span<usize>)> {
        if !self.known.borrow().contains(&key) {
            self.known.borrow_mut().push(key);
        }
        self.table?
            .get(key)
            .map(|value| (value.get_ref(), value.span()))
    }

    /// Where the value of a key stands, or the head of the section.
    pub(in crate::files) fn span_of(&self, key: &'static str) -> Span<usize> {
        self.find(key).map_or(self.span(), |(_, span)| span)
    }

    pub(super) fn need(
        &self,
        key: &'static str,
        what: &str,
    ) -> Option<(&'a DeValue<'a>, Span<usize>)> {
        let found = self.find(key);
        if found.is_none() {
            self.missing(key, what);
        }
        found
    }

    /// Notes that a key is missing.
    pub(in crate::files) fn missing(&self, key: &'static str, what: &str) {
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

    pub(super) fn wrong_type(
        &self,
        key: &str,
        span: &Span<usize>,
        found: &DeValue<'_>,
        expected: &str,
    ) {
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

    /// The value itself, for keys that take more than one form.
    pub(in crate::files) fn any(
        &self,
        key: &'static str,
        what: &str,
    ) -> Option<(&'a DeValue<'a>, Span<usize>)> {
        self.need(key, what)
    }

    /// Notes that a value has a form none of those expected.
    pub(in crate::files) fn wrong_form(&self, key: &'static str, expected: &str) {
        if let Some((value, span)) = self.find(key) {
            self.wrong_type(&self.path(key), &span, value, expected);
        }
    }

    /// A section inside this one that must be there.
    pub(in crate::files) fn section(&self, key: &'static str) -> Section<'a> {
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
    pub(in crate::files) fn lacks(&self, key: &'static str, message: &str, hint: &str) {
        let finding = Finding::new(
            FindingKind::Missing,
            &self.path(key),
            Some(self.span()),
            message.to_owned(),
        );
        self.sheet.note(finding.label("in this file").hint(hint));
    }

    /// A section inside this one that may be left out: then reading from it is silent.
    pub(in crate::files) fn optional_section(&self, key: &'static str) -> Section<'a> {
        if self.has(key) {
            self.section(key)
        } else {
            self.inner(self.path(key), self.span(), None)
        }
    }

    /// The rows of a table of tables: `[[name]]`, or a list of `{ ... }`. None is an empty list.
    pub(in crate::files) fn rows(&self, key: &'static str) -> Vec<Section<'a>> {
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
    pub(in crate::files) fn source_and_notes(&self) {
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
    pub(in crate::files) fn finish(self) {
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
