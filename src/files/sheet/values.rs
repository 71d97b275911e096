//! The values of a table: numbers, texts and choices.

use std::ops::Range as Span;

use toml::Spanned;
use toml::de::DeValue;

use super::Num;
use super::section::Section;
use crate::files::diagnostic::{Finding, FindingKind, did_you_mean, quoted, range_hint};
use crate::quantity::range;

impl<'a> Section<'a> {
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
    pub(in crate::files) fn number(&self, key: &'static str, range_key: &str) -> Num {
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
    pub(in crate::files) fn optional(&self, key: &'static str, range_key: &str) -> Option<Num> {
        let (value, span) = self.find(key)?;
        Some(self.number_of(self.path(key), value, span, range_key))
    }

    /// A number with a default; the default stands at the head of the section.
    pub(in crate::files) fn number_or(
        &self,
        key: &'static str,
        range_key: &str,
        default: f64,
    ) -> Num {
        self.optional(key, range_key).unwrap_or_else(|| Num {
            value: default,
            span: self.span(),
            key: self.path(key),
        })
    }

    /// A whole number that must be there.
    pub(in crate::files) fn count(&self, key: &'static str, range_key: &str) -> u32 {
        let number = self.number(key, range_key);
        if number.value.fract() != 0.0 && !number.value.is_nan() {
            let message = format!("{} = {} is not a whole number", number.key, number.value);
            self.sheet
                .contradiction(&number, message, &[], "give a whole number");
        }
        number.value as u32
    }

    /// The path and the entries of a list of what is named, at least one; `None` if it is wrong. `needed` is said where it is missing, `least`
    /// where it is empty.
    fn list(
        &self,
        key: &'static str,
        needed: &str,
        of: &str,
        least: &str,
    ) -> Option<(String, &'a [Spanned<DeValue<'a>>])> {
        let (value, span) = self.need(key, needed)?;
        let path = self.path(key);
        let DeValue::Array(values) = value else {
            self.wrong_type(&path, &span, value, &format!("a list of {of}"));
            return None;
        };
        if values.is_empty() {
            let at = Num::wrong(path, span);
            let message = format!("{} is an empty list", at.key);
            self.sheet
                .contradiction(&at, message, &[], &format!("give {least}"));
            return None;
        }
        Some((path, values))
    }

    /// A list of numbers, at least one.
    pub(in crate::files) fn numbers(&self, key: &'static str, range_key: &str) -> Vec<Num> {
        let needed = "a list of numbers like [2700, 2500]";
        let Some((path, values)) = self.list(key, needed, "numbers", "at least one number") else {
            return Vec::new();
        };
        let each = |(i, v): (usize, &Spanned<DeValue<'_>>)| {
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
    pub(in crate::files) fn text(&self, key: &'static str, what: &str) -> String {
        let Some((value, span)) = self.need(key, &format!("{what} in quotation marks")) else {
            return String::new();
        };
        self.text_of(&self.path(key), value, &span)
    }

    pub(super) fn text_of(&self, path: &str, value: &DeValue<'_>, span: &Span<usize>) -> String {
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
    pub(in crate::files) fn texts(
        &self,
        key: &'static str,
        what: &str,
    ) -> Vec<(String, Span<usize>)> {
        let Some((path, values)) = self.list(key, what, "texts", what) else {
            return Vec::new();
        };
        let each = |(i, v): (usize, &Spanned<DeValue<'_>>)| {
            (
                self.text_of(&format!("{path}[{}]", i + 1), v.get_ref(), &v.span()),
                v.span(),
            )
        };
        values.iter().enumerate().map(each).collect()
    }

    /// A word that stands for one of some choices; `None` if it is wrong.
    pub(in crate::files) fn choice<T: Copy>(
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
    pub(in crate::files) fn answer(&self, key: &'static str) -> bool {
        self.need(key, "true or false");
        self.flag(key)
    }

    /// A yes or no that is no when left out.
    pub(in crate::files) fn flag(&self, key: &'static str) -> bool {
        match self.find(key) {
            None => false,
            Some((DeValue::Boolean(yes), _)) => *yes,
            Some((other, span)) => {
                self.wrong_type(&self.path(key), &span, other, "true or false");
                false
            }
        }
    }

    /// Text that may be left out.
    pub(in crate::files) fn optional_text(&self, key: &'static str) -> Option<String> {
        self.has(key).then(|| self.text(key, "text"))
    }

    /// A list of texts that may be left out.
    pub(in crate::files) fn optional_texts(
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
}
