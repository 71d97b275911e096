//! Lines and cells of a CSV text with their places, so that an error can point at a cell. (The `csv` crate gives lines alone.)

use std::ops::Range as Span;

use super::diagnostic::{Finding, FindingKind, did_you_mean, quoted, range_hint};
use crate::quantity::range;

/// Byte spans of the lines.
pub(super) fn lines(text: &str) -> Vec<Span<usize>> {
    let mut begin = 0;
    let mut all = Vec::new();
    for line in text.split('\n') {
        all.push(begin..begin + line.trim_end_matches('\r').len());
        begin += line.len() + 1;
    }
    all
}

/// Cells of a line, trimmed, with their spans. A cell may stand in quotation marks and then hold commas.
pub(super) fn cells(text: &str, line: Span<usize>) -> Vec<(String, Span<usize>)> {
    let mut all = Vec::new();
    let mut begin = line.start;
    let mut inside = false;
    let content = &text[line.clone()];
    let ends = content.char_indices().filter_map(|(i, c)| {
        if c == '"' {
            inside = !inside;
        }
        (c == ',' && !inside).then_some(line.start + i)
    });
    let ends: Vec<usize> = ends.chain([line.end]).collect();
    for end in ends {
        let cell = text[begin..end].trim();
        let cell = cell
            .strip_prefix('"')
            .and_then(|c| c.strip_suffix('"'))
            .unwrap_or(cell);
        all.push((cell.trim().replace("\"\"", "\""), begin..end));
        begin = end + 1;
    }
    all
}

/// A CSV text whose first line names the columns.
pub(super) struct Table<'a> {
    text: &'a str,
    /// The first line.
    pub(super) head: Span<usize>,
    /// Names of the columns, and where they stand.
    pub(super) columns: Vec<(String, Span<usize>)>,
    /// The other lines, without those that are empty or begin with `#`.
    pub(super) lines: Vec<Span<usize>>,
}

impl<'a> Table<'a> {
    /// Reads the head. What is wrong with it is noted: a column that is none of those known, or twice there; and without any line there
    /// is no table. `hint` says what a head is.
    pub(super) fn new(
        text: &'a str,
        known: &[&str],
        hint: &str,
        findings: &mut Vec<Finding>,
    ) -> Option<Self> {
        let content = |l: &Span<usize>| {
            let line = &text[l.clone()];
            !line.trim().is_empty() && !line.starts_with('#')
        };
        let mut lines = lines(text).into_iter().filter(content);
        let Some(head) = lines.next() else {
            let message = "there is no line".to_owned();
            findings.push(cell_finding(FindingKind::Missing, "", 0..0, message, hint));
            return None;
        };
        let columns = cells(text, head.clone());
        for (i, (name, span)) in columns.iter().enumerate() {
            if !known.contains(&name.as_str()) {
                let message = format!("there is no column {}", quoted(name));
                let hint = match did_you_mean(name, known.iter().copied()) {
                    Some(word) => format!("did you mean `{word}`?"),
                    None => hint.to_owned(),
                };
                let kind = FindingKind::UnknownKey;
                findings.push(cell_finding(kind, name, span.clone(), message, &hint));
            } else if columns[..i].iter().any(|(other, _)| other == name) {
                let message = format!("the column {name} stands twice");
                let kind = FindingKind::Syntax;
                findings.push(cell_finding(
                    kind,
                    name,
                    span.clone(),
                    message,
                    "take one out",
                ));
            }
        }
        Some(Self {
            text,
            head,
            columns,
            lines: lines.collect(),
        })
    }

    /// Which column has this name.
    pub(super) fn column(&self, name: &str) -> Option<usize> {
        self.columns.iter().position(|(column, _)| column == name)
    }

    /// Notes that a column is missing.
    pub(super) fn misses(&self, name: &str, hint: &str, findings: &mut Vec<Finding>) {
        let message = format!("there is no column {name}");
        let kind = FindingKind::Missing;
        findings.push(cell_finding(kind, name, self.head.clone(), message, hint));
    }

    /// Notes that there is no row under the head.
    pub(super) fn lacks_rows(&self, message: &str, hint: &str, findings: &mut Vec<Finding>) {
        let kind = FindingKind::Missing;
        let message = message.to_owned();
        findings.push(cell_finding(kind, "", self.head.clone(), message, hint));
    }

    /// The cells of a line, as many as there are columns; else that is noted.
    pub(super) fn row(
        &self,
        line: &Span<usize>,
        findings: &mut Vec<Finding>,
    ) -> Option<Vec<(String, Span<usize>)>> {
        if self.text[line.clone()].matches('"').count() % 2 == 1 {
            let message = "a quotation mark is opened and not closed".to_owned();
            let hint =
                "a cell in quotation marks ends on its line with another; one within it is doubled";
            let kind = FindingKind::Syntax;
            findings.push(cell_finding(kind, "", line.clone(), message, hint));
            return None;
        }
        let row = cells(self.text, line.clone());
        if row.len() == self.columns.len() {
            return Some(row);
        }
        let message = format!("{} cells, but {} columns", row.len(), self.columns.len());
        let hint = "an empty cell needs its comma too; a cell with a comma in it stands in quotation marks";
        let kind = FindingKind::Syntax;
        findings.push(cell_finding(kind, "", line.clone(), message, hint));
        None
    }
}

/// A number in a cell, in a row of the table of ranges; an empty cell has none, and what is wrong is noted. `hint` says what to give.
pub(super) fn number(
    key: &str,
    range_key: &str,
    (cell, span): &(String, Span<usize>),
    hint: &str,
    findings: &mut Vec<Finding>,
) -> Option<f64> {
    if cell.is_empty() {
        return None;
    }
    let (kind, message, hint) = match cell.parse().map(|x: f64| range(range_key).check(x)) {
        Ok(Ok(value)) => return Some(value),
        Ok(Err(wrong)) => {
            let hint = range_hint(&wrong).unwrap_or_else(|| hint.to_owned());
            let kind = FindingKind::OutOfRange(wrong);
            (kind, format!("{key} = {wrong}"), hint)
        }
        Err(_) => (
            FindingKind::WrongType,
            format!("{key} = {} is not a number", quoted(cell)),
            format!("{hint}, without the unit"),
        ),
    };
    findings.push(cell_finding(kind, key, span.clone(), message, &hint));
    None
}

/// What is wrong with a cell.
pub(super) fn cell_finding(
    kind: FindingKind,
    key: &str,
    span: Span<usize>,
    message: String,
    hint: &str,
) -> Finding {
    Finding::new(kind, key, Some(span), message)
        .label("here")
        .hint(hint)
}
